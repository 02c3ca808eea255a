"""Weather in and out, and the journal as CSV."""

from __future__ import annotations

import sys
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.cli.app import (
    AsOfOption,
    FarmOption,
    WidthOption,
    crop_names,
    farm_as_known,
    farm_database,
    farm_folder,
    farm_names,
    imported_words,
    journal_app,
    now_utc,
    page_width,
    past_moment,
    progress_shown,
    told,
    weather_app,
)
from scheduler.errors import UsageError

if TYPE_CHECKING:
    pass


SHOWN_PAST, SHOWN_AHEAD = timedelta(days=30), timedelta(days=7)  # of `weather show`
TRY_LATER = 75  # status of a command that could reach nobody: worth another try later
WEATHER_KINDS = {"gauge": "OWN_GAUGE", "station": "OBSERVED", "model": "MODEL"}
KindOption = Annotated[
    str,
    typer.Option(
        "--kind",
        metavar="KIND",
        help="gauge (your own, outranks the rest), station, or model.",
    ),
]


@weather_app.command("import")
def weather_import(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Hourly or daily CSV.")],
    farm: FarmOption = None,
    kind: KindOption = "station",
    source: Annotated[
        str | None,
        typer.Option("--source", metavar="NAME", help="Name of the source; else the file's name."),
    ] = None,
    is_known_then: Annotated[
        bool,
        typer.Option(
            "--known-then",
            help="Take each value as known when its hour or day ended, to ask for past mornings.",
        ),
    ] = False,
) -> None:
    """Read a CSV of weather, with units in its header.

    Hourly or daily; values that cannot be right are named and left out of use. A file is taken
    whole or not at all.
    """
    from scheduler.adapters.farmfile import read_farm
    from scheduler.adapters.journal.entries import names_hint
    from scheduler.adapters.weather.csv_import import read_weather_csv
    from scheduler.adapters.weather.quality import checked_weather
    from scheduler.records import Kind

    if kind not in WEATHER_KINDS:
        raise UsageError(f"--kind: found {kind!r}; {names_hint(kind, WEATHER_KINDS)}")
    folder = farm_folder(farm)
    place = read_farm(folder).place
    now = now_utc()
    found = read_weather_csv(
        file,
        kind=Kind[WEATHER_KINDS[kind]],
        source=file.stem if source is None else source,
        known_at=None if is_known_then else now,
        time_zone=place.time_zone,
    )
    checked = checked_weather(found.values, now, place)
    with farm_database(folder) as database:
        n_added = database.add_weather_values(checked.values)
    for message in (*found.messages, *checked.messages):
        typer.echo(message)
    typer.echo(
        f"{file.name}: {n_added} values new, {len(checked.values) - n_added} known already; "
        f"{checked.n_suspect} left out of use"
    )


@weather_app.command("update")
def weather_update(farm: FarmOption = None) -> None:
    """Fetch observations and the forecast, where farm.toml consents to it.

    What cannot be had is told, with what stands instead. The status is 75 where all that was asked
    failed: try again later.
    """
    from platformdirs import user_cache_path

    from scheduler.adapters.farmfile import farm_text, read_farm
    from scheduler.adapters.weather.http import Fetcher
    from scheduler.adapters.weather.sources import require_consent
    from scheduler.adapters.weather.update import update_weather

    folder = farm_folder(farm)
    described = read_farm(folder, crop_names())
    require_consent(described)
    now = now_utc()
    cache = user_cache_path("whitethread", appauthor=False)
    contact = str(described.weather.get("contact", ""))
    with (
        farm_database(folder) as database,
        Fetcher(cache / "http", contact) as fetcher,
        progress_shown(is_heavy=False) as progress,
    ):
        database.write_farm_version(farm_text(folder), now)
        found = update_weather(described, database, fetcher, cache / "stations", now, progress)
    for note in found.notes:
        typer.echo(note)
    if not found.ok:
        told("weather: nothing could be had; the list still comes from what stands, less sure")
        raise typer.Exit(TRY_LATER)


@weather_app.command("show")
def weather_show(
    farm: FarmOption = None, as_of: AsOfOption = None, width: WidthOption = None
) -> None:
    """Show the weather on record, and what is missing.

    By day, with where each value comes from, what was left out, and the forecast in use.
    """
    from scheduler.adapters.weather.doubts import (
        DOUBT_DAYS,
        REVISED_DAYS,
        revised_lines,
        weather_doubts,
    )
    from scheduler.adapters.weather.show import weather_text
    from scheduler.adapters.weather.sources import credit_lines
    from scheduler.service.weather import past_years, weather_on_record

    folder = farm_folder(farm)
    moment = now_utc() if as_of is None else past_moment(folder, as_of)
    hour = moment.replace(minute=0, second=0, microsecond=0)
    start_at, end_at = hour - SHOWN_PAST, hour + SHOWN_AHEAD
    with farm_database(folder) as database:
        described = farm_as_known(folder, database, None if as_of is None else moment)
        events = [event for event in database.events(moment) if event.happened_at <= moment]
        values = database.weather_values(moment, hour - timedelta(days=DOUBT_DAYS), end_at)
        revisions = database.all_weather_values(moment, moment - timedelta(days=REVISED_DAYS))
        years = past_years(described, events, database, moment, hour, SHOWN_AHEAD)
        series = weather_on_record(
            described, events, database, moment, start_at, end_at, n_past_years=len(years)
        )
    place = described.place
    page = weather_text(
        series,
        moment,
        described.place,
        described.units,
        page_width(width),
        values=values,
        doubts=(
            *weather_doubts(values, events, moment, place),
            *revised_lines(revisions, moment, place),
        ),
        credits_due=credit_lines(series.sources),
    )
    sys.stdout.write(page)


@journal_app.command("export")
def journal_export(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder for the CSV files.")],
    farm: FarmOption = None,
) -> None:
    """Write events.csv and weather.csv, complete to the digit."""
    from scheduler.adapters.journal import export_csv

    for path in export_csv(farm_folder(farm), folder):
        typer.echo(f"wrote {path}")


@journal_app.command("import")
def journal_import(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV of entries or of weather.")],
    farm: FarmOption = None,
) -> None:
    """Add the rows of a CSV file, all or none; reading a file again adds nothing."""
    from scheduler.adapters.farmfile import read_farm
    from scheduler.adapters.journal import import_csv

    folder = farm_folder(farm)
    described = read_farm(folder)
    beds, tools, crops = farm_names(described)
    with farm_database(folder):
        found = import_csv(
            folder,
            file,
            now=now_utc(),
            time_zone=described.place.time_zone,
            beds=beds,
            tools=tools,
            crops=crops,
        )
    typer.echo(f"{file.name}: {imported_words(found)}")
