"""Pages to read: the list, a bed, the parameters, the cautions."""

from __future__ import annotations

import os
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.cli.app import (
    FARM_VARIABLE,
    AsOfOption,
    FarmOption,
    JsonOption,
    WidthOption,
    app,
    farm_as_known,
    farm_database,
    farm_folder,
    farm_names,
    imported_words,
    now_utc,
    page_width,
    past_moment,
    progress_shown,
    setup_names,
    told,
)
from scheduler.errors import UsageError, WhitethreadError

if TYPE_CHECKING:
    from scheduler.records import Farm, Morning
    from scheduler.service.situation import Kept


def drop_read(folder: Path, described: Farm, now: datetime) -> None:
    """Take what lies in the drop folder, and tell on stderr what was taken and what is wrong."""
    from scheduler.adapters.journal import gauge_reading_time, read_drop_folder

    if not (folder / "drop").is_dir():
        return
    report = read_drop_folder(
        folder,
        now,
        described.place.time_zone,
        *farm_names(described),
        setups=setup_names(described),
        gauge_read_at=gauge_reading_time(described.weather),
    )
    for file in report.taken:
        told(f"drop: {file.name}: {imported_words(file.imported)}")
    for fault in report.faults:
        told(f"drop: {fault}")


def morning_page(
    folder: Path, as_of: datetime | None, *, is_json: bool, width: int | None
) -> Morning:
    """Compute, print and return one morning; `as_of` None means now."""
    from scheduler.adapters.farmfile import farm_text
    from scheduler.adapters.render.answer_json import answer, answer_text
    from scheduler.adapters.render.text import today_text

    now = now_utc()
    kept: list[Kept] = []
    with farm_database(folder) as database:
        described = farm_as_known(folder, database, as_of)
        if as_of is None:
            database.write_farm_version(farm_text(folder), now)
            drop_read(folder, described, now)
        with progress_shown() as progress:
            from scheduler import service
            from scheduler.adapters.kept_lessons import kept_lessons

            found = service.morning(
                described,
                database,
                database,
                as_of or now,
                lists=database,
                progress=progress,
                keep=kept.append,
                former=kept_lessons(database),
            )
        if as_of is None or not is_json:
            database.write_list(found.as_of, now, answer(found))
    sys.stdout.write(answer_text(found) if is_json else today_text(found, page_width(width)))
    sys.stdout.flush()  # it is read while the state is kept for `whatif`
    for situation in kept:
        keep_situation(folder, situation)
    return found


def keep_situation(folder: Path, kept: Kept) -> None:
    """Keep the computed state of a list in the cache folder, so that `whatif` is quick."""
    from platformdirs import user_cache_path

    from scheduler.adapters.kept import kept_path, write_kept

    write_kept(kept_path(user_cache_path("whitethread", appauthor=False), folder), kept)


@app.command()
def today(
    farm: FarmOption = None,
    as_of: AsOfOption = None,
    is_json: JsonOption = False,
    width: WidthOption = None,
) -> None:
    """Print today's list: what first, and what may wait.

    A printed page is kept, so that `done 3` means what was read last. The JSON of a past morning
    is only read: it keeps nothing.
    """
    folder = farm_folder(farm)
    moment = None if as_of is None else past_moment(folder, as_of)
    morning_page(folder, moment, is_json=is_json, width=width)


def alike(name: str, said: str) -> bool:
    """Whether two spellings of a bed differ only in letter case and outer blanks."""
    return name.casefold() == said.strip().casefold()


@app.command()
def bed(
    name: Annotated[str, typer.Argument(metavar="BED", help="A bed, or BED/PART.")],
    farm: FarmOption = None,
    as_of: AsOfOption = None,
    width: WidthOption = None,
) -> None:
    """Explain one bed, and where its numbers come from.

    Soil by depth, workable hours, crust, flushes, surface wetness and rain as a plot, entries.
    """
    from scheduler.adapters.journal.entries import names_hint
    from scheduler.adapters.render.bed_page import MIN_WIDTH, bed_text

    folder = farm_folder(farm)
    moment = now_utc() if as_of is None else past_moment(folder, as_of)
    with farm_database(folder) as database:
        described = farm_as_known(folder, database, None if as_of is None else moment)
        bed_name, _, part = name.partition("/")
        names = [bed.name for bed in described.beds]
        bed_name = next((name for name in names if alike(name, bed_name)), bed_name)
        if bed_name not in names:
            raise UsageError(f"there is no bed {bed_name!r}; {names_hint(bed_name, names)}")
        with progress_shown() as progress:
            from scheduler import service
            from scheduler.adapters.kept_lessons import kept_lessons

            page = service.bed_page(
                described,
                database,
                database,
                moment,
                bed_name,
                part or None,
                lists=database,
                progress=progress,
                former=kept_lessons(database),
            )
    sys.stdout.write(bed_text(page, max(MIN_WIDTH, page_width(width))))


@app.command()
def sources(
    subject: Annotated[
        str | None, typer.Argument(metavar="[SUBJECT]", help="A crop, soil, tool, weed or model.")
    ] = None,
    is_summed: Annotated[
        bool,
        typer.Option("--summary", help="Counts by table: grades, seen in the source or memory."),
    ] = False,
    width: WidthOption = None,
) -> None:
    """List the parameters, with range, source and grade."""
    from scheduler import service
    from scheduler.adapters.render.sources_page import (
        parameters_text,
        subjects_text,
        summary_text,
    )

    rows = service.sources_table(subject)
    page = summary_text if is_summed else subjects_text if subject is None else parameters_text
    sys.stdout.write(page(rows, page_width(width)))


@app.command()
def cautions(farm: FarmOption = None, width: WidthOption = None) -> None:
    """Print the whole sheet of cautions.

    With the units and heat bands of the farm, if there is one; it comes without a farm too.
    """
    from scheduler.adapters.render.cautions_page import cautions_text
    from scheduler.planning.cautions import USUAL_HEAT_BANDS

    described = farm_at_hand(farm)
    if described is None:
        text = cautions_text(USUAL_HEAT_BANDS, None, page_width(width))
    else:
        text = cautions_text(described.heat_bands, described.units, page_width(width))
    sys.stdout.write(text)


def farm_at_hand(farm: Path | None) -> Farm | None:
    """The farm of a command that needs none; None, with the fault on stderr, if it is wrong."""
    from scheduler.adapters.farmfile import read_farm

    is_named = farm is not None or bool(os.environ.get(FARM_VARIABLE, "").strip())
    if not is_named and not (Path.cwd() / "farm.toml").is_file():
        return None
    try:
        return read_farm(farm_folder(farm))
    except WhitethreadError as error:
        told(f"{error}; the sheet comes with the usual bands")
        return None
