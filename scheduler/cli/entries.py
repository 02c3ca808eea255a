"""Entries of the journal: `done`, and `log` with what can be logged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scheduler.cli.app import (
    AtOption,
    FarmOption,
    NoteOption,
    OfOption,
    TooHardOption,
    TooWetOption,
    WorkedOption,
    app,
    farm_database,
    farm_folder,
    farm_names,
    log_app,
    moment_said,
    now_utc,
    past_day,
    setup_names,
)
from scheduler.errors import UsageError

if TYPE_CHECKING:
    from scheduler.adapters.journal import FarmDatabase
    from scheduler.records import Event, Farm

TookOption = Annotated[
    str | None,
    typer.Option("--took", metavar="TIME", help="Minutes of work by the stopwatch."),
]
SetUpTookOption = Annotated[
    str | None,
    typer.Option("--set-up-took", metavar="TIME", help="Minutes to set the tool up."),
]


def written_words(event: Event, described: Farm) -> str:
    """What was written into the journal, in one line; with the year where it is of another one."""
    from scheduler.adapters.journal.moments import zone_of
    from scheduler.adapters.render.entry_words import event_words
    from scheduler.adapters.render.phrases import dated_words

    zone = zone_of(described.place.time_zone)
    local = event.happened_at.astimezone(zone)
    year = "" if local.year == event.recorded_at.astimezone(zone).year else f" {local:%Y}"
    when = f"{dated_words(local.date())}{year} {local:%H:%M}"
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
    took: TookOption = None,
    set_up_took: SetUpTookOption = None,
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
    said: dict[str, Any] = {}
    timed = ("--took", "work_min", took), ("--set-up-took", "setup_min", set_up_took)
    for option, key, words in timed:
        if words is None:
            continue
        if len(places) > 1:
            raise UsageError(
                f"{option}: found {len(places)} numbers; give the time of one at a time"
            )
        said[key] = duration_min(words)
    given = [option for option, _, words in timed if words is not None]
    said |= visit_data(worked, given, is_too_wet=is_too_wet, is_too_hard=is_too_hard)
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
    worked: str | None, timed: Sequence[str], *, is_too_wet: bool, is_too_hard: bool
) -> dict[str, Any]:
    """What --worked says, or that the soil was found too wet or too hard to work."""
    names = ("--too-wet", is_too_wet), ("--too-hard", is_too_hard)
    given = [name for name, is_given in names if is_given]
    if not given:
        return worked_data(worked)
    given += timed
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
    "look": (
        "Weeds seen in a bed, or in several where nothing is counted. A few sprouts tell when "
        "this flush comes; how many there are is a question of its own.",
        "B4 6 threads 11 seed leaves 3 true leaves",
    ),
    "feel": (
        "What a squeezed handful from working depth does: wet, sticky, crumbles, dry, hard.",
        "B4 B5 crumbles",
    ),
    "up": ("The crop has come up.", "B4 B5"),
    "rooted": ("The transplants hold.", "B5"),
    "hand": ("Hand weeding; minutes of one bed at a time.", "B4 35 min"),
    "clear": ("The bed or part is cleared.", "B4"),
}
LOOK_EXAMPLES = (
    "log look B4 6 threads 11 seed leaves 3 true leaves",
    "log look B4 12 seed leaves in 0.25 m2 quadrat nail",
    "log look B1-B4 B7 nothing yet",
)
LOOK_WORDS = (
    ("6 threads 11 seed leaves 3 true leaves", "about 20 sprouts, scratched up"),
    ("12 seed leaves in 0.25 m2", "counted there; 2 ft2 or 50 x 50 cm"),
    ("... in 0.25 m2 quadrat nail", "a fixed place; then by its name alone"),
    ("310 threads per m2, or per ft2", "what stands in the whole bed"),
    ("nothing, nothing yet", "looked and saw none"),
    ("first threads, first green", "seen for the first time"),
    ("few, some, many", "under 5 per m2, between, over 40"),
    ("survivors 4 of 20", "left of 20 marked before a pass"),
)
"""What a look may say, and what that means."""


def add_log_command(kind: str, summary: str, example: str) -> None:
    """One subcommand of `log`, whose words follow the grammar of one-line notes."""

    def write(
        words: Annotated[list[str], typer.Argument(metavar="WORDS...", help="In words, as above.")],
        farm: FarmOption = None,
        note: NoteOption = "",
    ) -> None:
        log_entry(f"{kind} {' '.join(words)}", note, farm)

    def write_look(
        words: Annotated[
            list[str], typer.Argument(metavar="WORDS...", help="Beds, and what was seen.")
        ],
        farm: FarmOption = None,
        thread: Annotated[
            str | None, typer.Option(metavar="N", help="Threads, white and not up.")
        ] = None,
        seed_leaf: Annotated[
            str | None, typer.Option(metavar="N", help="With seed leaves.")
        ] = None,
        true_leaf: Annotated[
            str | None, typer.Option(metavar="N", help="With one or two true leaves.")
        ] = None,
        young: Annotated[
            str | None, typer.Option(metavar="N", help="With three to five leaves.")
        ] = None,
        established: Annotated[
            str | None, typer.Option(metavar="N", help="With six leaves or more.")
        ] = None,
        area: Annotated[
            str | None, typer.Option("--in", metavar="AREA", help="Counted in, as 0.25 m2.")
        ] = None,
        quadrat: Annotated[
            str | None, typer.Option("--quadrat", metavar="NAME", help="A place that stays.")
        ] = None,
        per: Annotated[
            str | None, typer.Option("--per", metavar="UNIT", help="Counts are per m2 or ft2.")
        ] = None,
        is_nothing: Annotated[bool, typer.Option("--nothing", help="Nothing was seen.")] = False,
        first: Annotated[
            str | None,
            typer.Option("--first", metavar="WHAT", help="First seen: threads or green."),
        ] = None,
        amount: Annotated[
            str | None, typer.Option("--amount", metavar="WORD", help="few, some or many.")
        ] = None,
        survivors: Annotated[
            str | None, typer.Option("--survivors", metavar="N", help="As 4 of 20.")
        ] = None,
        note: NoteOption = "",
    ) -> None:
        counts = (
            (thread, "threads"),
            (seed_leaf, "seed leaves"),
            (true_leaf, "true leaves"),
            (young, "young"),
            (established, "established"),
        )
        said = [f"{number} {stage}" for number, stage in counts if number is not None]
        given = (
            ("in ", area),
            ("per ", per),
            ("first ", first),
            ("", amount),
            ("survivors ", survivors),
        )
        said += [word + text for word, text in given if text is not None]
        said += ["nothing"] if is_nothing else []
        more = {} if quadrat is None else {"quadrat": quadrat.strip()}
        log_entry(" ".join([kind, *words, *said]), note, farm, more)

    def write_pass(
        words: Annotated[list[str], typer.Argument(metavar="WORDS...", help="In words, as above.")],
        farm: FarmOption = None,
        took: TookOption = None,
        set_up_took: SetUpTookOption = None,
        setup: Annotated[
            str | None,
            typer.Option("--setup", metavar="NAME", help="The set-up the tool was in."),
        ] = None,
        worked: WorkedOption = None,
        note: NoteOption = "",
    ) -> None:
        from scheduler.adapters.quantities import duration_min

        more = worked_data(worked)
        if setup is not None:
            more["setup"] = setup
        for key, time in (("work_min", took), ("setup_min", set_up_took)):
            if time is not None:
                more[key] = duration_min(time)
        log_entry(f"{kind} {' '.join(words)}", note, farm, more)

    command: Any = {"pass": write_pass, "look": write_look}.get(kind, write)
    command.__doc__ = f"{summary} As in: log {kind} {example}"
    if kind == "look":
        meanings = [f"  {said:<39}{meaning}" for said, meaning in LOOK_WORDS]
        examples = [f"  {line}" for line in LOOK_EXAMPLES]
        blocks = (["What may be said, in words:", *meanings], ["As in:", *examples])
        command.__doc__ = "\n\n".join([summary, *("\b\n" + "\n".join(block) for block in blocks)])
    settings = {"ignore_unknown_options": True}
    log_app.command(kind, context_settings=settings)(command)


for _kind, (_summary, _example) in LOG_HELP.items():
    add_log_command(_kind, _summary, _example)


def log_entry(
    words: str, note: str, farm: Path | None, more: Mapping[str, Any] | None = None
) -> None:
    """Write one entry a bed from its words, and from what options said beside them."""
    from scheduler.adapters.farmfile import read_farm
    from scheduler.adapters.journal import (
        check_survivors,
        gauge_reading_time,
        parse_notes,
        quadrat_areas,
    )

    folder = farm_folder(farm)
    described = read_farm(folder)
    now = now_utc()
    read = partial(
        parse_notes,
        words,
        now,
        described.place.time_zone,
        *farm_names(described),
        setups=setup_names(described),
        more=more,
        remark=note,
        gauge_read_at=gauge_reading_time(described.weather),
    )
    if not words.startswith("look "):
        events = read()
        with farm_database(folder) as database:
            database.add_events(events)
    else:
        with farm_database(folder) as database:
            known = database.events(now)
            events = read(quadrats=quadrat_areas(known))
            for event in events:
                check_survivors(event, known)
            database.add_events(events)
    for event in events:
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
