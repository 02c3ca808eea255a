"""The week of a farm as a calendar file: today's work, what opens later, what ends, what is due.

Few entries: one a block of hours today, one a day for what waits, ends or sheds seed, one a plan.
An entry keeps its name from morning to morning. What changes in it counts up; what is gone is
called off as long as it would still lie ahead. Times are in UTC, so that no client has to know the
farm's zone; an entry of whole days has dates.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from scheduler import __version__
from scheduler.adapters.quantities import duration_text
from scheduler.adapters.render.clean import clean_text
from scheduler.adapters.render.phrases import REASON_WORDS, bed_ranges, hour_words, natural_key
from scheduler.adapters.render.statements import NOT_IN_SIGHT, DayWords, planting_name
from scheduler.errors import UsageError
from scheduler.records import BedAnswer, Farm, Morning

if TYPE_CHECKING:
    import icalendar

AHEAD = timedelta(days=7)
SHORTEST = timedelta(hours=1)
NAMED = 6  # beds in a title
TITLE_WIDTH = 70
MAKER = "-//Whitethread//"
PRODUCT = f"{MAKER}whitethread {__version__}//EN"
REFRESH = timedelta(hours=3)
LONGEST_TITLE = 160
UNTIL_THEN = {
    "no_hours": "worth it, but no hours before",
    "rain_after": "held back for rain until then",
    "unknown": "not known before: look",
}
CANCELLED, CONFIRMED = "CANCELLED", "CONFIRMED"


@dataclass(frozen=True)
class Entry:
    """One entry of the calendar; whole days where start and end are dates, the end exclusive."""

    key: str  # what it is, from morning to morning
    start: datetime | date
    end: datetime | date
    title: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Written:
    """One entry as it stands in a calendar file."""

    uid: str
    start: datetime | date
    end: datetime | date
    title: str
    text: str
    stamped_at: datetime
    sequence: int = 0
    status: str = CONFIRMED

    @property
    def is_like(self) -> tuple[Any, ...]:
        """What a reader sees of it."""
        return self.start, self.end, self.title, self.text, self.status


def calendar_ics(morning: Morning, previous: bytes | None = None) -> bytes:
    """The week of a farm as an iCalendar file.

    Parameters
    ----------
    morning
        The answer; its moment stamps what is new or changed.
    previous
        The calendar written last, where there is one: what has not changed stays as it stands in
        it, what has counts up, and what is gone but would lie ahead is called off.

    Returns
    -------
    bytes
        UTF-8, lines of at most 75 octets that end with CR and LF.

    Raises
    ------
    UsageError
        If `previous` is no calendar, or that of another program.
    """
    farm = morning.farm
    stamped_at = morning.as_of.astimezone(UTC).replace(microsecond=0)
    before = _read(previous)
    written = []
    for entry in week(morning):
        one = _written(entry, farm, stamped_at)
        old = before.pop(one.uid, None)
        if old is not None and old.is_like == one.is_like:
            one = old
        elif old is not None:
            one = replace(one, sequence=old.sequence + 1)
        written.append(one)
    for old in before.values():
        if not _is_ahead(old, morning):
            continue
        if old.status != CANCELLED:
            old = replace(old, status=CANCELLED, sequence=old.sequence + 1, stamped_at=stamped_at)
        written.append(old)
    return _calendar(written, farm)


def week(morning: Morning) -> list[Entry]:
    """What the calendar holds from a morning on, in order of time.

    Parameters
    ----------
    morning
        The answer.

    Returns
    -------
    list of Entry
        Work of today by block of hours; by day what waits until then, what is good until then and
        which weeds shed seed after it; what a planned sowing or setting asks for, and itself.
    """
    words = DayWords(morning, morning.farm.units)
    found = [
        *_work(words),
        *_waits(words),
        *_last_hours(words),
        *_last_calls(words),
        *_plans(words),
    ]
    return sorted(found, key=lambda entry: (str(entry.start), entry.key))


# ----------------------------------------------------------------------- entries


def _work(words: DayWords) -> list[Entry]:
    """Today's list: one entry a block of hours."""
    blocks: list[list[tuple[int, BedAnswer]]] = []
    ends: list[datetime] = []
    by_start = sorted(enumerate(words.go_beds, start=1), key=lambda item: (_hours(item[1]), item))
    for place, bed in by_start:
        start, end = _hours(bed)
        if not blocks or start > ends[-1]:
            blocks.append([])
            ends.append(end)
        ends[-1] = max(ends[-1], end)
        blocks[-1].append((place, bed))
    entries = []
    for number, (block, end) in enumerate(zip(blocks, ends, strict=True), start=1):
        block.sort(key=lambda item: item[0])
        beds = [bed for _, bed in block]
        work_min = sum(bed.action.work_min + bed.action.setup_min for bed in beds if bed.action)
        lines = [f"{place} {_line(words, bed)}" for place, bed in block]
        summary = words.summary()
        entries.append(
            Entry(
                f"work {words.today} {number}",
                min(_hours(bed)[0] for bed in beds),
                end,
                f"Cultivate {_few(words, beds)} ({duration_text(work_min)})",
                (summary, *lines),
            )
        )
    return entries


def _hours(bed: BedAnswer) -> tuple[datetime, datetime]:
    assert bed.action is not None
    return bed.action.start, bed.action.end


def _line(words: DayWords, bed: BedAnswer) -> str:
    """One line of the list: bed, crop, tool, hours and minutes."""
    return (
        f"{planting_name(bed)} {words.crop_words(bed, 1)}: {words.tool_words(bed, 3)}, "
        f"{words.hours(bed)}, {words.work(bed)} min"
    )


def _waits(words: DayWords) -> list[Entry]:
    """What waits until a moment of the week, an entry a day."""
    waiting = [
        (_in_working_hours(words, bed.until), bed)
        for bed in words.all_beds()
        if bed.verdict == "wait"
        and bed.until is not None
        and not any(NOT_IN_SIGHT in why for why in bed.why)
    ]

    def entry(day: date, due: Sequence[tuple[datetime, BedAnswer]]) -> Entry:
        first = min(moment for moment, _ in due)
        closes = datetime.combine(day, words.morning.farm.work.end, words.zone)
        by_words: dict[tuple[datetime, str], list[BedAnswer]] = defaultdict(list)
        for moment, bed in due:
            by_words[moment, bed.because].append(bed)
        lines = [
            f"from {hour_words(moment, words.zone)} {words.names(beds)}: "
            f"{UNTIL_THEN.get(because) or f'{REASON_WORDS.get(because, because)} until then'}"
            for (moment, because), beds in sorted(by_words.items(), key=lambda item: item[0])
        ]
        title = f"Wait ends: {_few(words, [bed for _, bed in due])}"
        end = max(closes.astimezone(UTC), first.astimezone(UTC) + SHORTEST)
        return Entry(f"wait {day}", first, end, title, tuple(lines))

    return _by_day(words, waiting, entry)


def _in_working_hours(words: DayWords, moment: datetime) -> datetime:
    """The moment, or the beginning of that day's work where it comes before it."""
    begins = datetime.combine(words.local_day(moment), words.morning.farm.work.start, words.zone)
    return max(moment, begins)


def _last_hours(words: DayWords) -> list[Entry]:
    """Until when passes of the list are good, an entry a day."""
    good = [
        (bed.last_good_at, bed)
        for bed in words.all_beds()
        if bed.action is not None and bed.last_good_at is not None
    ]

    def entry(day: date, due: Sequence[tuple[datetime, BedAnswer]]) -> Entry:
        by_hour: dict[datetime, list[BedAnswer]] = defaultdict(list)
        for moment, bed in due:
            by_hour[moment].append(bed)
        lines = [
            f"until {hour_words(moment, words.zone)} {words.names(beds)}"
            for moment, beds in sorted(by_hour.items())
        ]
        title = f"Last good hours: {_few(words, [bed for _, bed in due])}"
        start = min(by_hour).astimezone(UTC) - SHORTEST
        return Entry(f"last good {day}", start, max(by_hour), title, tuple(lines))

    return _by_day(words, good, entry)


def _by_day(
    words: DayWords,
    due: Sequence[tuple[datetime | None, BedAnswer]],
    entry: Callable[[date, Sequence[tuple[datetime, BedAnswer]]], Entry],
) -> list[Entry]:
    """One entry for each local day of the week ahead on which something is due."""
    now = words.morning.as_of
    days: dict[date, list[tuple[datetime, BedAnswer]]] = defaultdict(list)
    for moment, bed in due:
        if moment is not None and now < moment <= now + AHEAD:
            days[words.local_day(moment)].append((moment, bed))
    return [entry(day, days[day]) for day in sorted(days)]


def _last_calls(words: DayWords) -> list[Entry]:
    """The day before standing weeds shed seed."""
    days: dict[date, list[BedAnswer]] = defaultdict(list)
    for bed in words.all_beds():
        day = bed.last_call_on
        if day is not None and words.today <= day <= words.today + AHEAD:
            days[day].append(bed)
    return [
        Entry(
            f"seed {day}",
            day,
            day + timedelta(days=1),
            f"Last call before weeds shed seed: {_few(words, days[day])}",
        )
        for day in sorted(days)
    ]


def _plans(words: DayWords) -> list[Entry]:
    """What a planned sowing or setting asks for, and the sowing itself."""
    entries = []
    last = words.today + AHEAD
    for bed in words.all_beds():
        if bed.plan and bed.plan_days is not None:
            first, end = bed.plan_days
            if first <= last and end >= words.today:
                title = f"{planting_name(bed)}: {bed.plan}"
                entries.append(
                    Entry(f"plan {planting_name(bed)}", first, end + timedelta(days=1), title)
                )
    for plan in words.morning.farm.plans:
        if words.today <= plan.on <= last:
            verb = "sow" if plan.is_sown else "set"
            title = f"{plan.bed}: {verb} {plan.crop}, as planned"
            key = f"{verb} {plan.bed} {plan.crop} {plan.on}"
            entries.append(Entry(key, plan.on, plan.on + timedelta(days=1), title))
    return entries


def _few(words: DayWords, beds: Sequence[BedAnswer]) -> str:
    """Beds in a title: by name where they are few, else the first of them and how many more."""
    told = words.names(beds)
    if len(told) <= TITLE_WIDTH // 2 or len(beds) <= 1:
        return told
    names = sorted({planting_name(bed) for bed in beds}, key=natural_key)
    short = bed_ranges(names[:NAMED])
    rest = len(names) - NAMED
    return f"{short} and {rest} more" if rest > 0 else told


# -------------------------------------------------------------------------- file


def _uid(farm: Farm, key: str) -> str:
    """A name of an entry that no other farm's entry has, whatever is in the farm's names."""
    place = farm.place
    name = f"whitethread {farm.name} {place.latitude_deg} {place.longitude_deg} {key}"
    return str(uuid.uuid5(uuid.NAMESPACE_URL, clean_text(name)))


def _written(entry: Entry, farm: Farm, stamped_at: datetime) -> _Written:
    text = "\n".join(clean_text(line) for line in entry.lines)
    return _Written(
        _uid(farm, entry.key),
        _utc(entry.start),
        _utc(entry.end),
        _title(entry.title),
        text,
        stamped_at,
    )


def _title(text: str) -> str:
    text = clean_text(text)
    return text if len(text) <= LONGEST_TITLE else f"{text[: LONGEST_TITLE - 2]}.."


def _utc(moment: datetime | date) -> datetime | date:
    if isinstance(moment, datetime):
        return moment.astimezone(UTC).replace(microsecond=0)
    return moment


def _is_ahead(one: _Written, morning: Morning) -> bool:
    """Whether an entry ends after the morning."""
    if isinstance(one.end, datetime):
        return one.end > morning.as_of
    return one.end > morning.day


def _calendar(written: Sequence[_Written], farm: Farm) -> bytes:
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    name = clean_text(farm.name)
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT3H")
    for one in sorted(written, key=lambda one: (str(one.start), one.uid)):
        calendar.add_component(_component(one))
    return bytes(calendar.to_ical())


def _component(one: _Written) -> icalendar.Event:
    import icalendar

    event = icalendar.Event()
    event.add("uid", one.uid)
    event.add("dtstamp", one.stamped_at)
    event.add("sequence", one.sequence)
    event.add("dtstart", one.start)
    event.add("dtend", one.end)
    event.add("summary", one.title)
    if one.text:
        event.add("description", one.text)
    event.add("status", one.status)
    event.add("transp", "TRANSPARENT")
    event.add("categories", ["whitethread"])
    return event


def _read(previous: bytes | None) -> dict[str, _Written]:
    """The entries of a calendar written earlier, by their names."""
    if not previous:
        return {}
    import icalendar

    try:
        calendar = icalendar.Calendar.from_ical(previous)
        maker = str(calendar.get("PRODID", ""))
        entries = {one.uid: one for one in map(_entry_read, calendar.walk("VEVENT"))}
    except (ValueError, KeyError, AttributeError) as error:
        said = " ".join(str(error).split())
        raise UsageError(
            f"cannot be read as the calendar written before ({said}); delete it, and a new one is "
            "started"
        ) from error
    if not maker.startswith(MAKER):
        raise UsageError(
            f"is the calendar of another program ({clean_text(maker) or 'it has no PRODID'}); name "
            "another file with --out"
        )
    return entries


def _entry_read(event: Mapping[str, Any]) -> _Written:
    return _Written(
        str(event["UID"]),
        _utc(event["DTSTART"].dt),
        _utc(event["DTEND"].dt),
        str(event["SUMMARY"]),
        str(event.get("DESCRIPTION", "")),
        event["DTSTAMP"].dt.astimezone(UTC),
        int(event.get("SEQUENCE", 0)),
        str(event.get("STATUS", CONFIRMED)),
    )
