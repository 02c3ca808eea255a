"""What all commands share: the groups, the options, the farm at hand, the clock, progress."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.errors import UsageError, WhitethreadError

if TYPE_CHECKING:
    from scheduler.adapters.journal import FarmDatabase, Imported
    from scheduler.ports import Progress
    from scheduler.records import Farm


MORNING_AT = time(6)  # the hour a day without an hour is asked for
PAGE_WIDTH = 80
FARM_VARIABLE = "WHITETHREAD_FARM"
NOW_VARIABLE = "WHITETHREAD_NOW"

app = typer.Typer(
    name="whitethread",
    help=(
        "Says each morning which beds can be worked, where a crust or a flush of weeds is due, "
        "and what to cultivate first. FARM is the folder that holds farm.toml: --farm, else "
        f"{FARM_VARIABLE}, else the current folder. {NOW_VARIABLE} sets the moment taken as now."
    ),
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
log_app = typer.Typer(
    help="Write one journal entry, as: log rain 18 mm last night.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
weather_app = typer.Typer(
    help="Bring weather in and look at it.", no_args_is_help=True, rich_markup_mode=None
)
journal_app = typer.Typer(
    help="Take the journal out as CSV, or bring CSV in.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(log_app, name="log")
app.add_typer(weather_app, name="weather")
app.add_typer(journal_app, name="journal")

FarmOption = Annotated[
    Path | None, typer.Option("--farm", metavar="FARM", help="Folder that holds farm.toml.")
]
AsOfOption = Annotated[
    str | None,
    typer.Option(
        "--as-of",
        metavar="MOMENT",
        help="Answer as on that morning, with what was known then, as 2013-05-13 05:30.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the machine-readable answer.")]
WidthOption = Annotated[
    int | None, typer.Option("--width", min=40, max=200, help="Columns of the page.")
]
AtOption = Annotated[
    str | None,
    typer.Option("--at", metavar="MOMENT", help="When it was, as 10:30 or 2013-05-13 10:30."),
]
WorkedOption = Annotated[
    str | None,
    typer.Option("--worked", metavar="HOW", help="How it worked: well, fair, poorly or no."),
]
TooWetOption = Annotated[
    bool, typer.Option("--too-wet", help="Not done: the soil was found too wet.")
]
TooHardOption = Annotated[
    bool, typer.Option("--too-hard", help="Not done: the soil was found too hard.")
]
OfOption = Annotated[
    str | None,
    typer.Option(
        "--of",
        metavar="DAY",
        help="The list of that day, done then after all: yesterday, a weekday, or 2013-05-13.",
    ),
]
NoteOption = Annotated[
    str, typer.Option("--note", metavar="TEXT", help="A remark to keep with it.")
]


# --------------------------------------------------------------------- farm


def now_utc() -> datetime:
    """The moment taken as now: the clock, or the variable that stands in for it."""
    said = os.environ.get(NOW_VARIABLE, "").strip()
    if not said:
        return datetime.now(UTC).replace(microsecond=0)
    try:
        moment = datetime.fromisoformat(said)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise UsageError(
            f"{NOW_VARIABLE}: found {said!r}; allowed is a moment with offset, as "
            "2013-05-13T05:30-04:00; correct it or unset it"
        )
    return moment.astimezone(UTC)


def farm_folder(farm: Path | None) -> Path:
    """The farm folder of a command."""
    if farm is not None:
        return farm
    said = os.environ.get(FARM_VARIABLE, "").strip()
    if said:
        return Path(said)
    here = Path.cwd()
    if (here / "farm.toml").is_file():
        return here
    raise UsageError(
        f"no farm here: found no farm.toml in {here}; name the folder with --farm or "
        f"{FARM_VARIABLE}, or start one with `whitethread init`"
    )


def moment_said(text: str, zone_name: str, now: datetime, day_at: time | None) -> datetime:
    """The moment a grower wrote: a clock time of today, a day, or a day with a time.

    A day alone means `day_at` of it, or is refused where that is None.
    """
    from scheduler.adapters.journal.moments import (
        day_or_moment,
        local_moment,
        parse_clock,
        zone_of,
    )

    zone = zone_of(zone_name)
    said = text.strip()
    if len(said) <= 5 and ":" in said[1:3]:
        moment: date | datetime = local_moment(now.astimezone(zone).date(), parse_clock(said), zone)
    else:
        moment = day_or_moment(said, zone)
    if not isinstance(moment, datetime):
        if day_at is None:
            raise UsageError(f"found the day {said!r} without a time; write it as {said} 10:30")
        moment = local_moment(moment, day_at, zone)
    if moment > now:
        raise UsageError(
            f"found {said!r}, which lies ahead of now "
            f"({now.astimezone(zone):%Y-%m-%d %H:%M}); give a moment that has passed"
        )
    return moment


def past_day(text: str, today: date) -> date:
    """The day a grower named, not after `today`: today, yesterday, a weekday, or 2013-05-13."""
    from scheduler.adapters.journal.moments import parse_day
    from scheduler.adapters.render.phrases import WEEKDAYS, WEEKDAYS_LONG

    said = text.strip().casefold()
    ago_d = {"today": 0, "yesterday": 1}
    for number, names in enumerate(zip(WEEKDAYS, WEEKDAYS_LONG, strict=True)):
        ago_d |= {name.casefold(): (today.weekday() - number - 1) % 7 + 1 for name in names}
    if said in ago_d:
        return today - timedelta(days=ago_d[said])
    try:
        day = parse_day(said)
    except WhitethreadError as error:
        raise UsageError(
            f"--of: {error}, or say today, yesterday or a weekday such as tue"
        ) from error
    if day > today:
        raise UsageError(f"--of: found {text!r}, which lies ahead of today ({today})")
    return day


def past_moment(folder: Path, said: str) -> datetime:
    """The moment of --as-of on the farm's clock."""
    from scheduler.adapters.farmfile import read_farm

    return moment_said(said, read_farm(folder).place.time_zone, now_utc(), MORNING_AT)


def farm_as_known(folder: Path, database: FarmDatabase, as_of: datetime | None) -> Farm:
    """The farm as described at `as_of`; today's file where it is None or nothing is older."""
    from scheduler.adapters.farmfile import parse_farm, read_farm

    crops = crop_names()
    if as_of is not None:
        text = database.farm_text(as_of)
        if text is not None:
            return parse_farm(text, crops)
    return read_farm(folder, crops)


def farm_database(folder: Path) -> FarmDatabase:
    """The database of a farm; an empty one, told on stderr, where only farm.toml was copied."""
    from scheduler.adapters.journal import open_farm_database
    from scheduler.adapters.journal.database import FILE_NAME

    is_new = (folder / "farm.toml").is_file() and not (folder / FILE_NAME).exists()
    database = open_farm_database(folder, create=is_new)
    if is_new:
        told(
            f"{folder / FILE_NAME}: found none, so an empty journal is started; if the farm had "
            "one, put its copy back in this place"
        )
    return database


def counted(count: int, one: str) -> str:
    """A count with its noun: "1 bed", "3 beds"."""
    return f"{count} {one}" if count == 1 else f"{count} {one}s"


def page_width(asked: int | None) -> int:
    """Columns to print: as asked, else the terminal's, at most 80."""
    if asked is not None:
        return asked
    if not sys.stdout.isatty():
        return PAGE_WIDTH
    return max(40, min(PAGE_WIDTH, shutil.get_terminal_size().columns))


def told(message: str) -> None:
    """One line on stderr."""
    typer.echo(" ".join(message.split()), err=True)


# ----------------------------------------------------------------- progress


def is_compiled() -> bool:
    """Whether compiled code of the soil model is in a cache already."""
    named = os.environ.get("NUMBA_CACHE_DIR")
    if named:
        caches = [Path(named)]
    else:
        from platformdirs import user_cache_dir

        beside = Path(__file__).parents[1] / "models" / "soil_column" / "__pycache__"
        caches = [beside, Path(user_cache_dir("numba", appauthor=False))]
    return any(next(cache.rglob("kernel.*.nbc"), None) is not None for cache in caches)


@contextmanager
def progress_shown(*, is_heavy: bool = True) -> Iterator[Progress]:
    """Tell on stderr how far a long computation is; silent where stderr is no terminal."""
    if is_heavy and not is_compiled():
        told("First run: compiling the soil model, half a minute to two; later runs take seconds.")
    if not sys.stderr.isatty():
        yield lambda message, done_frac: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(30), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading the farm", total=1.0)
        yield lambda message, done_frac: bar.update(task, description=message, completed=done_frac)


# ------------------------------------------------------------------ its names


def imported_words(found: Imported) -> str:
    """What a file brought, as "3 entries new, 1 known already"."""
    one, more = ("entry", "entries") if found.what == "events" else ("value", "values")
    return (
        f"{found.n_added} {one if found.n_added == 1 else more} new, {found.n_known} known already"
    )


def farm_names(described: Farm) -> tuple[list[str], list[str], Sequence[str]]:
    """Names of beds, tools and crops that an entry may use."""
    beds = [bed.name for bed in described.beds]
    tools = [tool.name for tool in described.tools]
    return beds, tools, crop_names()


def setup_names(described: Farm) -> dict[str, list[str]]:
    """Names of the set-ups of each tool that has any."""
    return {
        tool.name: [setup.name for setup in tool.setups] for tool in described.tools if tool.setups
    }


def crop_names() -> Sequence[str]:
    """Names of the crops that an entry or a plan may use."""
    from scheduler import service

    return service.crop_names()
