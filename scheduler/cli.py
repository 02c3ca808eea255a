"""The command line: the only place that reads the clock and chooses adapters.

Libraries that compute are imported inside the commands that need them, so that help, notes and
checks answer at once.
"""

from __future__ import annotations

import io
import os
import shutil
import sys
import textwrap
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scheduler import __version__
from scheduler.errors import FarmFileError, UsageError, WhitethreadError

if TYPE_CHECKING:
    from scheduler.adapters.farmfile import Answers
    from scheduler.adapters.journal import FarmDatabase, Imported
    from scheduler.ports import Progress
    from scheduler.records import Event, Farm, Morning

MORNING_AT = time(6)  # the hour a day without an hour is asked for
PAGE_WIDTH = 80
SHOWN_PAST, SHOWN_AHEAD = timedelta(days=30), timedelta(days=7)  # of `weather show`
USAGE_FAULT: type[Exception] = next(
    kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException"
)
"""What the command parser raises on a word it does not know."""
INTERRUPTED = 130  # status of a command ended by Ctrl-C
TRY_LATER = 75  # status of a command that could reach nobody: worth another try later
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

        beside = Path(__file__).parent / "models" / "soil_column" / "__pycache__"
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


# -------------------------------------------------------------- first steps


@app.command()
def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="New or empty folder for the demo farm.")
    ] = Path("whitethread-demo"),
    width: WidthOption = None,
) -> None:
    """Write an invented farm and print its list of a morning.

    The farm, its journal and its forecasts are invented; the weather is a real station's of 2013.
    """
    from scheduler.adapters.demo import DEMO_AS_OF, write_demo_farm
    from scheduler.adapters.journal.moments import zone_of

    with progress_shown(is_heavy=False) as progress:
        written = write_demo_farm(folder, progress)
    found = morning_page(written, DEMO_AS_OF, is_json=False, width=width)
    zone = zone_of(found.farm.place.time_zone)
    first, later = (
        f"'{moment.astimezone(zone):%Y-%m-%d %H:%M}'"
        for moment in (DEMO_AS_OF, DEMO_AS_OF + timedelta(days=7))
    )
    typer.echo()
    typer.echo(f"This is a demo: an invented farm with the real weather of 2013, in {folder}. Try:")
    typer.echo(f"  whitethread bed {found.beds[0].bed} --farm {folder} --as-of {first}")
    typer.echo(f"  whitethread today --farm {folder} --as-of {later}")


@app.command()
def init(
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="Folder for the farm; made if it is missing.")
    ] = Path(),
    is_all_default: Annotated[
        bool, typer.Option("--yes", help="Take every default and ask nothing.")
    ] = False,
) -> None:
    """Start a farm: eight questions, whether weather may be asked for, a working folder."""
    from scheduler.adapters.farmfile import (
        INIT_QUESTIONS,
        Answers,
        answer_fault,
        farm_text,
        require_free_folder,
        write_new_farm,
    )
    from scheduler.adapters.journal import open_farm_database

    require_free_folder(folder)
    answers: dict[str, str] = {}
    contact: str | None = None
    if not is_all_default:
        for question in INIT_QUESTIONS:
            answers[question.key] = asked_until_right(
                question.text,
                question.default(answers.get("units", "us")),
                partial(answer_fault, question.key),
            )
        contact = contact_of_consent(Answers(**answers))
    path = write_new_farm(folder, Answers(**answers), contact)
    with open_farm_database(folder, create=True) as database:
        database.write_farm_version(farm_text(folder), now_utc())
    typer.echo(f"wrote {path} and farm.db: change farm.toml to your beds, soils and tools")
    if contact is not None:
        typer.echo("next: whitethread check, then whitethread weather update")
        return
    typer.echo("weather is asked of nobody; consent = true in [weather] of farm.toml changes that")
    typer.echo(
        "next: whitethread check, then whitethread weather import FILE, or whitethread log rain "
        "and log temp"
    )


def asked_until_right(text: str, default: str, fault_of: Callable[[str], str | None]) -> str:
    """The answer to a question, asked again with what is wrong until nothing is."""
    while True:
        said = str(typer.prompt(text, default=default))
        fault = fault_of(said)
        if fault is None:
            return said
        told(fault)


def contact_of_consent(answers: Answers) -> str | None:
    """The address that goes with the grower's consent to ask for weather, None without consent."""
    from scheduler.adapters.farmfile import contact_fault, new_farm_text, parse_farm
    from scheduler.adapters.weather.sources import asked_keys, what_is_sent

    place = parse_farm(new_farm_text(answers)).place
    typer.echo()
    typer.echo("Weather can be asked for from outside, each time you run `whitethread weather")
    typer.echo("update`. Then this goes out, and nothing before you say yes:")
    for sentence in what_is_sent(place, asked_keys(place, {})):
        for line in textwrap.wrap(sentence, PAGE_WIDTH - 2):
            typer.echo(f"  {line}")
    typer.echo("Without it the farm works with your own gauge, your notes and files you import.")

    def word_fault(said: str) -> str | None:
        is_word = said.strip().casefold() in ("yes", "y", "no", "n", "")
        return None if is_word else f"found {said!r}; allowed: yes, no"

    said = asked_until_right("Ask for weather from outside (yes or no)", "no", word_fault)
    if said.strip().casefold() not in ("yes", "y"):
        return None
    contact = asked_until_right(
        "Your mail address, for the services to write to (empty: do not ask after all)",
        "",
        lambda said: contact_fault(said) if said.strip() else None,
    )
    return contact.strip() or None


@app.command()
def check(farm: FarmOption = None) -> None:
    """Name every fault of the farm file at once."""
    from scheduler.adapters.farmfile import check_farm
    from scheduler.adapters.journal import open_farm_database
    from scheduler.adapters.journal.database import FILE_NAME

    folder = farm_folder(farm)
    found = check_farm(folder, crop_names())
    for warning in found.warnings:
        typer.echo(f"warning: {warning}")
    if found.farm is None:
        for fault in found.faults:
            told(fault)
        raise typer.Exit(2)
    described = found.farm
    if described.mail:
        from scheduler.adapters.mail import mail_settings

        mail_settings(described, folder)
    typer.echo(
        f"farm.toml: no fault; {counted(len(described.beds), 'bed')}, "
        f"{counted(len(described.soils), 'soil')}, {counted(len(described.tools), 'tool')}"
    )
    if not (folder / FILE_NAME).exists():
        typer.echo("farm.db: none yet; the first entry, import or list starts it")
        return
    with open_farm_database(folder) as database:
        n_entries = len(database.events(now_utc()))
    stand = "1 entry stands" if n_entries == 1 else f"{n_entries} entries stand"
    typer.echo(f"farm.db: {stand}")


# -------------------------------------------------------------------- pages


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


def morning_page(
    folder: Path, as_of: datetime | None, *, is_json: bool, width: int | None
) -> Morning:
    """Compute, print and return one morning; `as_of` None means now."""
    from scheduler.adapters.farmfile import farm_text
    from scheduler.adapters.render.answer_json import answer, answer_text
    from scheduler.adapters.render.text import today_text

    now = now_utc()
    with farm_database(folder) as database:
        described = farm_as_known(folder, database, as_of)
        if as_of is None:
            database.write_farm_version(farm_text(folder), now)
            drop_read(folder, described, now)
        with progress_shown() as progress:
            from scheduler import service

            found = service.morning(
                described, database, database, as_of or now, lists=database, progress=progress
            )
        if as_of is None or not is_json:
            database.write_list(found.as_of, now, answer(found))
    sys.stdout.write(answer_text(found) if is_json else today_text(found, page_width(width)))
    return found


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


def past_moment(folder: Path, said: str) -> datetime:
    """The moment of --as-of on the farm's clock."""
    from scheduler.adapters.farmfile import read_farm

    return moment_said(said, read_farm(folder).place.time_zone, now_utc(), MORNING_AT)


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

            page = service.bed_page(
                described, database, database, moment, bed_name, part or None, progress=progress
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


# ------------------------------------------------------------------ entries


def written_words(event: Event, described: Farm) -> str:
    """What was written into the journal, in one line."""
    from scheduler.adapters.journal.moments import zone_of
    from scheduler.adapters.render.bed_page import event_words
    from scheduler.adapters.render.phrases import WEEKDAYS, day_words

    zone = zone_of(described.place.time_zone)
    local = event.happened_at.astimezone(zone)
    when = f"{WEEKDAYS[local.weekday()]} {day_words(local.date())} {local:%H:%M}"
    where = "" if event.bed is None else f"{event.bed} "
    words = event_words(event, described.units, zone)
    return f"wrote: {where}{words}, {when} ({event.event_id})"


@app.command()
def done(
    numbers: Annotated[
        list[str], typer.Argument(metavar="NUMBER...", help="Numbers of the list read last.")
    ],
    farm: FarmOption = None,
    at: AtOption = None,
    of: OfOption = None,
    took: Annotated[
        str | None,
        typer.Option("--took", metavar="TIME", help="Minutes by the stopwatch, for one number."),
    ] = None,
    worked: WorkedOption = None,
    is_too_wet: TooWetOption = False,
    is_too_hard: TooHardOption = False,
    note: NoteOption = "",
) -> None:
    """Log passes by their numbers on the last list, done or found unfit.

    What was found counts for every bed on that soil, and a line found too wet or too hard is not
    listed again the same day. With --of the numbers are of the list of that day, and each pass
    counts from the middle of the hours its line had, unless --at says the time.
    """
    from scheduler.adapters.farmfile import read_farm
    from scheduler.adapters.quantities import duration_min

    folder = farm_folder(farm)
    described = read_farm(folder)
    now = now_utc()
    places = list_places(numbers)
    if took is not None and len(places) > 1:
        raise UsageError(f"--took: found {len(places)} numbers; give the time of one at a time")
    said: dict[str, Any] = {} if took is None else {"work_min": duration_min(took)}
    said |= visit_data(worked, took, is_too_wet=is_too_wet, is_too_hard=is_too_hard)
    with farm_database(folder) as database:
        issued, until = list_meant(database, of, described, now)
        lines = chosen_lines(issued, places)
        if of is None:
            moments = [done_moment(at, issued, described, now)] * len(lines)
        else:
            moments = [past_pass_moment(line, at, issued, described, now) for line in lines]
        events = [
            pass_event(line, moment, now, said, note)
            for line, moment in zip(lines, moments, strict=True)
        ]
        refuse_doubled(events, database.events(now), issued, max(until, *moments))
        database.add_events(events)
    for event in events:
        typer.echo(written_words(event, described))


def list_meant(
    database: FarmDatabase, of: str | None, described: Farm, now: datetime
) -> tuple[Mapping[str, Any], datetime]:
    """The list whose numbers are meant, and the end of the time it holds for.

    Raises
    ------
    UsageError
        If there is no such list.
    """
    from scheduler.adapters.journal.moments import start_of_day, zone_of

    if of is None:
        issued = database.latest_list(now)
        if issued is None:
            raise UsageError("done: no list has been printed yet; run `whitethread today` first")
        return issued, now
    zone = zone_of(described.place.time_zone)
    day = past_day(of, now.astimezone(zone).date())
    start_at, end_at = (start_of_day(day + timedelta(days=n), zone) for n in (0, 1))
    issued = database.list_between(now, start_at, end_at)
    if issued is None:
        raise UsageError(
            f"done: no list of {day} was made; log the passes with `whitethread log pass`, as: "
            f"log pass B4 tine weeder {day} 10:30"
        )
    return issued, min(now, end_at)


def past_pass_moment(
    line: Mapping[str, Any],
    at: str | None,
    issued: Mapping[str, Any],
    described: Farm,
    now: datetime,
) -> datetime:
    """When a pass of an earlier list was made: that day at the time said, else in mid-hours."""
    from scheduler.adapters.journal.moments import zone_of

    zone_name = described.place.time_zone
    listed = datetime.fromisoformat(str(issued["as_of"])).astimezone(zone_of(zone_name))
    if at is not None:
        said = at.strip()
        is_clock = len(said) <= 5 and ":" in said[1:3]
        whole = f"{listed:%Y-%m-%d} {said}" if is_clock else said
        moment = moment_said(whole, zone_name, now, None)
        if moment.astimezone(listed.tzinfo).date() < listed.date():
            raise UsageError(
                f"--at: found {at!r}, before the day of the list ({listed:%Y-%m-%d}); allowed is "
                "that day or later; other work goes in with `whitethread log pass`"
            )
        return moment
    start, end = (datetime.fromisoformat(str(line["action"][key])) for key in ("start", "end"))
    middle = (start + (end - start) / 2).astimezone(UTC).replace(second=0, microsecond=0)
    return min(middle, now)


def list_places(words: Sequence[str]) -> list[int]:
    """The numbers meant by words such as `1 3`, `1,3` and `2-4`.

    Raises
    ------
    UsageError
        If a word is no number.
    """
    places: list[int] = []
    for word in " ".join(words).replace(",", " ").split():
        first, dash, last = word.partition("-")
        ends = (first, last) if dash else (first, first)
        if not all(end.isascii() and end.isdigit() and len(end) < 5 for end in ends):
            raise UsageError(
                f"done: found {word!r}; allowed are numbers of the list read last, as 1 3 or 2-4; "
                "other work goes in with `whitethread log pass`"
            )
        places += range(int(ends[0]), int(ends[1]) + 1)
    return places


def done_moment(
    at: str | None, issued: Mapping[str, Any], described: Farm, now: datetime
) -> datetime:
    """When the passes of a list were made: as said, else now if the list is of today."""
    from scheduler.adapters.journal.moments import zone_of

    zone_name = described.place.time_zone
    if at is not None:
        return moment_said(at, zone_name, now, None)
    zone = zone_of(zone_name)
    listed = datetime.fromisoformat(str(issued["as_of"])).astimezone(zone)
    if listed.date() != now.astimezone(zone).date():
        raise UsageError(
            f"done: the list read last is of {listed:%Y-%m-%d %H:%M}, not of today; say when it "
            f"was with --at '{listed:%Y-%m-%d} 10:30', or print today's list first"
        )
    return now


def chosen_lines(issued: Mapping[str, Any], numbers: Sequence[int]) -> list[Mapping[str, Any]]:
    """The lines of an issued list that go by `numbers`, each once."""
    lines = sorted(
        (line for line in issued["beds"] if line["verdict"] == "go" and line["action"]),
        key=lambda line: (line["rank"] is None, line["rank"] or 0),
    )
    for number in numbers:
        if not 1 <= number <= len(lines):
            allowed = f"1 to {len(lines)}" if lines else "none, it had nothing to do"
            raise UsageError(
                f"done: found number {number}; the list of "
                f"{issued['as_of'][:16].replace('T', ' ')} has {allowed}; "
                "other work goes in with `whitethread log pass`"
            )
    return [lines[number - 1] for number in dict.fromkeys(numbers)]


def worked_data(worked: str | None) -> dict[str, Any]:
    """What --worked says, as the journal keeps it."""
    from scheduler.adapters.journal.entries import HOWS, names_hint

    if worked is None:
        return {}
    word = worked.strip().casefold()
    if word == "no":
        return {"worked": False}
    if word not in HOWS:
        raise UsageError(f"--worked: found {worked!r}; {names_hint(word, (*HOWS, 'no'))}")
    return {"worked": True, "how": word}


def visit_data(
    worked: str | None, took: str | None, *, is_too_wet: bool, is_too_hard: bool
) -> dict[str, Any]:
    """What --worked says, or that the soil was found too wet or too hard to work."""
    names = ("--too-wet", is_too_wet), ("--too-hard", is_too_hard)
    given = [name for name, is_given in names if is_given]
    if not given:
        return worked_data(worked)
    if took is not None:
        given.append("--took")
    if worked is not None and worked.strip().casefold() != "no":
        given.append("--worked")
    if len(given) > 1:
        raise UsageError(
            f"done: found {' and '.join(given)}; a visit that found the soil unfit takes "
            "--too-wet or --too-hard alone; say the rest with --note"
        )
    return {"worked": False, "found": "too wet" if is_too_wet else "too hard"}


def pass_event(
    line: Mapping[str, Any],
    happened_at: datetime,
    now: datetime,
    said: Mapping[str, Any],
    note: str = "",
) -> Event:
    """The journal entry of one line that was done, with what was said of it."""
    from scheduler.adapters.journal import checked_entry, new_event_id
    from scheduler.records import Event

    action = line["action"]
    data: dict[str, Any] = {"tool": action["tool"], "depth_mm": action["depth_mm"]}
    if action["setup"]:
        data["setup"] = action["setup"]
    data |= said
    bed, part = line["bed"], line["part"]
    event = checked_entry(Event("", "pass", happened_at, now, bed, part, data, None, note))
    name = new_event_id(
        event.kind,
        event.happened_at,
        recorded_at=event.recorded_at,
        bed=event.bed,
        part=event.part,
        data=event.data,
        note=event.note,
    )
    return replace(event, event_id=name)


def refuse_doubled(
    events: Sequence[Event], known: Sequence[Event], issued: Mapping[str, Any], until: datetime
) -> None:
    """Refuse a pass logged between the list and `until`, unless that was a visit in vain."""
    since = datetime.fromisoformat(str(issued["as_of"]))
    for event in events:
        for earlier in known:
            if (
                earlier.kind == "pass"
                and since <= earlier.happened_at <= until
                and (earlier.bed, earlier.part) == (event.bed, event.part)
                and earlier.data.get("tool") == event.data.get("tool")
                and (earlier.data.get("worked") is not False or event.data == earlier.data)
            ):
                where = event.bed if event.part is None else f"{event.bed}/{event.part}"
                raise UsageError(
                    f"done: {where} is logged already as {earlier.event_id}; nothing was written; "
                    "a second pass goes in with `whitethread log pass`"
                )


LOG_HELP: Mapping[str, tuple[str, str]] = {
    "rain": ("Rain by your own gauge; it outranks every other source.", "18 mm last night"),
    "temp": ("Least and highest temperature.", "min 41 F max 66 F"),
    "water": ("Irrigation of a bed.", "B4 0.5 in"),
    "sow": ("A sowing.", "B4 carrot 3 rows 10 in apart 0.5 in deep"),
    "plant": ("A planting.", "B5 leaf lettuce 3 rows 12 in apart"),
    "prep": ("Bed preparation.", "B4 2 in deep yesterday"),
    "pass": (
        "A pass with a tool, and how it worked: well, fair, poorly, or not worked (too wet, "
        "too hard), which every bed on that soil learns from.",
        "B4 tine weeder 6 min worked fair",
    ),
    "look": ("Weeds seen, by stage, or `nothing`.", "B4 30 threads 5 seed leaves per ft2"),
    "feel": ("What a squeezed handful does: wet, smears, crumbles, dry, hard.", "B4 crumbles"),
    "up": ("The crop has come up.", "B4"),
    "rooted": ("The transplants hold.", "B5"),
    "hand": ("Hand weeding.", "B4 45 min"),
    "clear": ("The bed or part is cleared.", "B4"),
}


def add_log_command(kind: str, summary: str, example: str) -> None:
    """One subcommand of `log`, whose words follow the grammar of one-line notes."""

    def write(
        words: Annotated[list[str], typer.Argument(metavar="WORDS...", help="In words, as above.")],
        farm: FarmOption = None,
        note: NoteOption = "",
    ) -> None:
        log_entry(f"{kind} {' '.join(words)}", note, farm)

    def write_pass(
        words: Annotated[list[str], typer.Argument(metavar="WORDS...", help="In words, as above.")],
        farm: FarmOption = None,
        setup: Annotated[
            str | None,
            typer.Option("--setup", metavar="NAME", help="The set-up the tool was in."),
        ] = None,
        worked: WorkedOption = None,
        note: NoteOption = "",
    ) -> None:
        more = worked_data(worked)
        if setup is not None:
            more["setup"] = setup
        log_entry(f"{kind} {' '.join(words)}", note, farm, more)

    command = write_pass if kind == "pass" else write
    command.__doc__ = f"{summary} As in: log {kind} {example}"
    settings = {"ignore_unknown_options": True}
    log_app.command(kind, context_settings=settings)(command)


for _kind, (_summary, _example) in LOG_HELP.items():
    add_log_command(_kind, _summary, _example)


def log_entry(
    words: str, note: str, farm: Path | None, more: Mapping[str, Any] | None = None
) -> None:
    """Write one entry from its words, and from what options said beside them."""
    from scheduler.adapters.farmfile import read_farm
    from scheduler.adapters.journal import gauge_reading_time, parse_note

    folder = farm_folder(farm)
    described = read_farm(folder)
    event = parse_note(
        words,
        now_utc(),
        described.place.time_zone,
        *farm_names(described),
        setups=setup_names(described),
        more=more,
        remark=note,
        gauge_read_at=gauge_reading_time(described.weather),
    )
    with farm_database(folder) as database:
        database.add_events([event])
    typer.echo(written_words(event, described))


@log_app.command("undo")
def log_undo(
    entry: Annotated[
        str | None,
        typer.Argument(metavar="[ENTRY]", help="Name of the entry; the one logged last if none."),
    ] = None,
    farm: FarmOption = None,
) -> None:
    """Take back one entry, the last if none is named.

    It stays in the journal, but no longer counts.
    """
    from scheduler.adapters.farmfile import read_farm
    from scheduler.adapters.journal import new_event_id, standing_entries
    from scheduler.adapters.journal.entries import names_hint
    from scheduler.records import Event

    folder = farm_folder(farm)
    described = read_farm(folder)
    now = now_utc()
    with farm_database(folder) as database:
        standing = standing_entries(database.all_events(now))
        if not standing:
            raise UsageError("undo: the journal holds no entry that stands; nothing was changed")
        names = {event.event_id: event for event in standing}
        name = standing[-1].event_id if entry is None else entry
        if name not in names:
            raise UsageError(
                f"undo: no standing entry is called {name!r}; {names_hint(name, names)}"
            )
        taken = names[name]
        undo_id = new_event_id(
            "undo", now, recorded_at=now, bed=taken.bed, part=taken.part, supersedes=name
        )
        database.add_events(
            [Event(undo_id, "undo", now, now, taken.bed, taken.part, {}, supersedes=name)]
        )
    typer.echo(written_words(taken, described).replace("wrote:", "taken back:", 1))


# ------------------------------------------------------------ the morning mail


FoldersArgument = Annotated[
    list[Path] | None,
    typer.Argument(metavar="[FARM...]", help="Farm folders; that of --farm if none is named."),
]
UnitsOption = Annotated[
    Path | None,
    typer.Option("--write-units", metavar="DIR", help="Write unit files for systemd, do no more."),
]


@app.command()
def morning(
    folders: FoldersArgument = None,
    farm: FarmOption = None,
    is_dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Write the mail as an .eml file, send nothing.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Where --dry-run writes: a file or a folder."),
    ] = None,
    units: UnitsOption = None,
) -> None:
    """Make and send today's mail once, for cron or a timer.

    Once a day, whatever calls it how often. The status is 0 where it is sent or nothing is due, 75
    where another try later is worth it, 78 where settings must be changed. Of several farms none
    stops the others, and 75 of one outranks 78 of another, so that it gets its next try.
    """
    from scheduler.adapters.mail import daily
    from scheduler.adapters.mail.outcome import EXIT_STATUS, PENDING, SETTINGS, DayOutcome

    chosen = farm_folders(folders, farm)
    if units is not None:
        write_unit_files(units, chosen, is_daily=True)
        return
    if out is not None and not is_dry_run:
        raise UsageError("--out: says where --dry-run writes; give both or neither")
    if out is not None and len(chosen) > 1 and not out.is_dir():
        raise UsageError(f"--out: found {out} for {len(chosen)} farms; name a folder that is there")
    now = now_utc()
    statuses = []
    for folder in chosen:
        try:
            with progress_shown(is_heavy=sys.stderr.isatty()) as progress:
                if is_dry_run:
                    found = daily.write_eml(folder, now, out, progress)
                else:
                    found = daily.daily_mail(
                        folder, now, os.environ, fetch=daily.fetch_weather, progress=progress
                    )
        except WhitethreadError as error:
            found = DayOutcome(SETTINGS, (), (daily.fault_words(error),))
        except Exception as error:
            traceback.print_exc()
            found = DayOutcome(PENDING, (), (daily.fault_words(error),))
        for line in found.lines:
            typer.echo(f"{folder}: {line}")
        for warning in found.warnings:
            told(f"{folder}: {warning}")
        statuses.append(EXIT_STATUS[found.status])
    again = EXIT_STATUS[PENDING]
    if any(statuses):
        raise typer.Exit(again if again in statuses else max(statuses))


@app.command("every-morning")
def every_morning(
    folders: FoldersArgument = None, farm: FarmOption = None, units: UnitsOption = None
) -> None:
    """Send the morning mail day by day until stopped.

    Each minute it asks what is due by farm.toml and the ledger in farm.db, so that it may sleep,
    stop and start again at any time. It ends on SIGTERM or Ctrl-C; the status is 78 where no farm
    can be mailed for.
    """
    import threading

    from scheduler.adapters import every_morning as job
    from scheduler.adapters.mail import daily
    from scheduler.adapters.mail.outcome import EXIT_STATUS, SETTINGS

    chosen = farm_folders(folders, farm)
    if units is not None:
        write_unit_files(units, chosen, is_daily=False)
        return
    work = job.ChildWork(daily.do_due)
    one_at_a_time = threading.Lock()
    watches = [
        job.FarmWatch(folder, daily.seen, work, typer.echo, one_at_a_time) for folder in chosen
    ]
    n_able = 0
    for watch in watches:
        line, is_able = watch.first_words(now_utc())
        typer.echo(f"{watch.folder}: {line}", err=not is_able)
        n_able += is_able
    if not n_able:
        raise typer.Exit(EXIT_STATUS[SETTINGS])
    job.run(watches, now_utc, typer.echo, work)


@app.command()
def calendar(
    farm: FarmOption = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="The file; week.ics in the farm folder if none."
        ),
    ] = None,
) -> None:
    """Write the week as a calendar file (.ics).

    Today's work, ends of waits, last good hours and plans. Written again, an entry keeps its name,
    and what is gone is called off, so that a calendar that reads the file follows it.
    """
    from scheduler.adapters.calendar import calendar_ics
    from scheduler.adapters.mail import daily

    folder = farm_folder(farm)
    path = folder / "week.ics" if out is None else out
    now = now_utc()
    try:
        previous = path.read_bytes() if path.exists() else None
        with farm_database(folder) as database, progress_shown() as progress:
            from scheduler import service

            read = daily.read_farm_or_last(folder, database, now)
            found = service.morning(
                read.farm, database, database, now, lists=database, progress=progress
            )
        written = path.with_name(f"{path.name}.new")
        written.write_bytes(calendar_ics(found, previous))
        written.replace(path)
    except UsageError as error:
        raise UsageError(f"{path}: {error}") from error
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); give --out") from error
    for notice in read.notices:
        told(notice)
    typer.echo(f"wrote {path}")


def farm_folders(folders: Sequence[Path] | None, farm: Path | None) -> list[Path]:
    """The farm folders of a command that takes several, each once, as absolute paths."""
    if folders and farm is not None:
        raise UsageError("--farm: found farm folders beside it; name all of them without --farm")
    named = folders or [farm_folder(farm)]
    return list(dict.fromkeys(folder.absolute() for folder in named))


def write_unit_files(folder: Path, farms: Sequence[Path], *, is_daily: bool) -> None:
    """Write the units of `morning` or of `every-morning`, and say how to start them."""
    import shlex

    from scheduler.adapters.farmfile import read_farm
    from scheduler.adapters.mail import mail_settings
    from scheduler.adapters.mail.units import (
        UnitFarm,
        daily_units,
        long_running_units,
        owner_of,
        write_units,
    )

    script = Path(sys.argv[0]).absolute()
    is_script = script.stem == "whitethread" and script.is_file()
    program = [str(script)] if is_script else [sys.executable, "-m", "scheduler.cli"]
    described = [(path, mail_settings(read_farm(path), path)) for path in farms]
    user = owner_of(farms)
    if is_daily:
        units = daily_units(
            [UnitFarm(path, found.time_zone, found.send_at) for path, found in described],
            program,
            user,
        )
    else:
        units = long_running_units(farms, program, user)
    paths = write_units(folder, units)
    for path in paths:
        typer.echo(f"wrote {path}")
    started = [path.name for path in paths if path.suffix == ".timer"] or [paths[0].name]
    typer.echo("next, as root:")
    copied = [str(path.absolute()) for path in paths]  # whatever folder root is in
    typer.echo(f"  {shlex.join(['cp', *copied, '/etc/systemd/system/'])}")
    typer.echo(f"  systemctl daemon-reload && systemctl enable --now {' '.join(started)}")


# ------------------------------------------------------------ weather, files


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


# --------------------------------------------------------------------- main


def version_shown(is_asked: bool) -> None:
    """Print the version and end."""
    if is_asked:
        typer.echo(f"whitethread {__version__}")
        raise typer.Exit


@app.callback()
def whitethread(
    is_version_asked: Annotated[
        bool,
        typer.Option(
            "--version", callback=version_shown, is_eager=True, help="Print the version and end."
        ),
    ] = False,
) -> None:
    """Hold what all commands share."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command and end the program with its status.

    0: done. 2: something the user can mend, told in one line on stderr. 75: nobody could be
    reached, worth another try. 1: a fault of the program, with its trace.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without the letters of a bed's name
    sys.exit(status_of(lambda: run(arguments)))


def run(arguments: Sequence[str] | None) -> int:
    """Run a command and return its status; errors come out as exceptions."""
    command = typer.main.get_command(app)
    found = command.main(
        args=None if arguments is None else list(arguments),
        prog_name="whitethread",
        standalone_mode=False,
    )
    sys.stdout.flush()
    if found == INTERRUPTED:
        told("stopped")
    return found if isinstance(found, int) else 0


def leave_pipe() -> None:
    """Send what is still to be written nowhere, after the reader has left."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def status_of(work: Callable[[], int]) -> int:
    """The exit status of some work, with its errors told on stderr."""
    try:
        return work()
    except FarmFileError as error:
        more = len(error.faults) - 1
        told(
            error.faults[0]
            if more < 1
            else f"{error.faults[0]} (and {more} more: `whitethread check` names all)"
        )
        return 2
    except WhitethreadError as error:
        told(str(error))
        return 2
    except USAGE_FAULT as error:
        said = error.format_message()  # type: ignore[attr-defined]
        if type(error).__name__ == "NoArgsIsHelpError":
            typer.echo(said)
            return 0
        if said:
            told(f"{said} (see --help)")
        return 2
    except typer.Abort:
        told("stopped; nothing was written")
        return 1
    except BrokenPipeError:
        leave_pipe()
        return 0
    except SystemExit:
        leave_pipe()  # what the command parser makes of a broken pipe, and of nothing else
        return 0
    except KeyboardInterrupt:
        told("stopped")
        return INTERRUPTED
    except Exception:
        traceback.print_exc()
        return 1


if __name__ == "__main__":
    main()
