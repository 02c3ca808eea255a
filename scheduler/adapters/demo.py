"""The demo: an invented farm beside a real weather station, written into a folder.

The data and their origin are told in `data/README.md`. Every value keeps the moment at which it
would have become known, so any morning of 2013 can be asked for.
"""

from __future__ import annotations

import csv
import gzip
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import groupby
from pathlib import Path

import numpy as np

from scheduler.adapters.farmfile.reading import parse_farm
from scheduler.adapters.journal.database import FarmDatabase, open_farm_database
from scheduler.adapters.journal.spreadsheets import import_csv
from scheduler.adapters.weather.csv_import import parse_weather_csv
from scheduler.errors import UsageError
from scheduler.ports import Progress
from scheduler.records import Forecast, Kind, WeatherValue

DEMO_AS_OF = datetime(2013, 5, 14, 9, 30, tzinfo=UTC)
"""Tuesday 14 May 2013, 05:30 in New York: the frozen morning of the demo.

90 mm fell from 8 to 11 May, the last 17 mm of it 60 hours before; the two days between were dry and
windy, so that one expects sand to be fit again, loam to come next and silt loam to wait. The flush
that the rain opened after a dry fortnight is six days old, and harvest takes the day until noon.
"""

DEMO_NOW = datetime(2014, 1, 1, tzinfo=UTC)
"""A moment after everything in the demo became known."""

STATION_SOURCE = "station EWR"
FORECAST_SOURCE = "demo forecast (invented)"
WEATHER_DELAY = timedelta(hours=1)  # an hour of weather is known one hour after it ended
FORECAST_DELAY = timedelta(minutes=30)
FARM_WRITTEN_AT = datetime(2013, 1, 1, tzinfo=UTC)

_FORECAST_COLUMNS = ("rain_mm", "air_temp_c", "humidity_frac", "wind_2m_m_s")


def demo_root() -> Path:
    """Return the folder of the demo's data, in the wheel or beside the package in a checkout.

    Raises
    ------
    UsageError
        If neither place has it.
    """
    package = Path(__file__).resolve().parents[1]
    for data in (package / "data", package.parent / "data"):
        if (data / "demo" / "farm.toml").is_file():
            return data / "demo"
    raise UsageError(
        f"{package}: the demo's data are missing from this installation; install whitethread again"
    )


def write_demo_farm(folder: Path | str, progress: Progress | None = None) -> Path:
    """Write the demo farm into a new or empty folder, all of it or nothing, and return the folder.

    Parameters
    ----------
    folder
        Where to write farm.toml and farm.db; made where it is missing.
    progress
        Told how far the writing has come.

    Raises
    ------
    UsageError
        If the folder holds anything already, or cannot be written.
    """
    target = Path(folder).absolute()
    try:
        _check_is_free(target)
        target.parent.mkdir(parents=True, exist_ok=True)
        building = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    except OSError as error:
        raise _not_writable(target, error) from error
    try:
        _fill(building, progress or _silent)
        building.chmod(0o755)
        if target.is_dir():
            target.rmdir()
        building.replace(target)
    except OSError as error:
        raise _not_writable(target, error) from error
    finally:
        shutil.rmtree(building, ignore_errors=True)
    return target


def _silent(message: str, done_frac: float) -> None:
    """Say nothing of the progress."""


def _check_is_free(target: Path) -> None:
    """Refuse a file, and a folder that holds anything."""
    if target.is_dir():
        held = sorted(path.name for path in target.iterdir())
        if held:
            raise UsageError(
                f"{target}: holds {len(held)} {'thing' if len(held) == 1 else 'things'} already, "
                f"such as {held[0]!r}; name a new or empty folder for the demo"
            )
    elif target.exists() or target.is_symlink():
        raise UsageError(f"{target}: is a file; name a new or empty folder for the demo")


def _not_writable(target: Path, error: OSError) -> UsageError:
    return UsageError(
        f"{target}: cannot be written ({error.strerror}); name a folder you may write to"
    )


def _fill(folder: Path, progress: Progress) -> None:
    """Write farm.toml and farm.db into an existing folder."""
    root = demo_root()
    text = (root / "farm.toml").read_text(encoding="utf-8")
    farm = parse_farm(text)
    (folder / "farm.toml").write_text(text, encoding="utf-8")
    with open_farm_database(folder, create=True) as database:
        database.write_farm_version(text, FARM_WRITTEN_AT)
        progress("reading the station's year", 0.05)
        database.add_weather_values(station_values(root))
        progress("keeping the forecasts", 0.4)
        _add_forecasts(database, root, progress)
    progress("keeping the season's entries", 0.9)
    import_csv(
        folder,
        root / "journal.csv",
        now=DEMO_NOW,
        time_zone=farm.place.time_zone,
        beds=[bed.name for bed in farm.beds],
        tools=[tool.name for tool in farm.tools],
    )
    progress("the demo farm is written", 1.0)


def _add_forecasts(database: FarmDatabase, root: Path, progress: Progress) -> None:
    forecasts = tuple(demo_forecasts(root))
    for number, forecast in enumerate(forecasts):
        database.add_forecast(forecast)
        if number % 50 == 0:
            progress("keeping the forecasts", 0.4 + 0.5 * number / len(forecasts))


def demo_forecasts(root: Path) -> Iterator[Forecast]:
    """Yield the invented forecasts, hourly; a step of six hours is spread evenly over its hours.

    Parameters
    ----------
    root
        The folder of the demo's data.
    """
    with gzip.open(root / "forecasts.csv.gz", "rt", encoding="utf-8", newline="") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        for issued, steps in groupby(rows, key=lambda row: row["issued_at"]):
            issued_at = datetime.fromisoformat(issued)
            hourly: dict[str, list[float]] = {name: [] for name in _FORECAST_COLUMNS}
            for step in steps:
                n_hours = int(step["n_hours"])
                for name, values in hourly.items():
                    value = float(step[name])
                    values += [value / n_hours if name == "rain_mm" else value] * n_hours
            yield Forecast(
                source=FORECAST_SOURCE,
                issued_at=issued_at,
                known_at=issued_at + FORECAST_DELAY,
                start_at=issued_at,
                values={name: np.array(values) for name, values in hourly.items()},
                note="invented for the demo: recorded weather plus stated, growing errors",
            )


def station_values(root: Path) -> tuple[WeatherValue, ...]:
    """Return the station's values as the importer reads them, each known an hour after its hour.

    Parameters
    ----------
    root
        The folder of the demo's data.
    """
    path = root / "station_2013_hourly.csv.gz"
    with gzip.open(path, "rt", encoding="utf-8", newline="") as file:
        text = file.read()
    read = parse_weather_csv(
        text, path.name, kind=Kind.OBSERVED, source=STATION_SOURCE, known_at=None, time_zone="UTC"
    )
    return tuple(replace(value, known_at=value.end_at + WEATHER_DELAY) for value in read.values)
