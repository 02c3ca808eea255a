"""What a grower asks `whatif` in words, as changes to the farm: rain, water, passes, hours.

Quantities, beds and tools are written as in a journal note; a moment may lie ahead::

    AHEAD   now | tonight [14:00] | this afternoon | this evening | [today] 14:00
            | tomorrow [14:00 | morning | noon | afternoon | evening]
            | thu [14:00] | 2013-05-16 [14:00] | in 2 h

A day alone means 10:00 of it, tonight 20:00. What lies before now is a note of the journal.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.adapters import quantities
from scheduler.adapters.journal.moments import local_moment, parse_clock, parse_day, zone_of
from scheduler.adapters.journal.notes import GAUGE_READ_AT, gauge_reading_time, parse_note
from scheduler.errors import UsageError, WhitethreadError
from scheduler.planning.whatif import Changes, RainToCome
from scheduler.records import Event, Farm

DAY_AT = time(10)
OVER_H = 3.0  # that a rain lasts where nobody says
MOST_RAIN_MM = 600.0  # in one span; more is a slip of the pen
MOMENTS = "now, 20:00, tonight 20:00, tomorrow 10:00, thu 10:00, 2013-05-16 10:00, in 2 h"
_PARTS = {
    "morning": time(9),
    "noon": time(12),
    "afternoon": time(15),
    "evening": time(18),
    "night": time(20),
}
_CLOCK = r"\d{1,2}:\d{2}"
_DAYS = r"mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun"
_PART = "|".join(_PARTS)
_AHEAD = re.compile(
    rf"(?:^|\s)(?:at )?(?P<words>now|in (?P<hours>\d+(?:[.,]\d+)?) ?h(?:ours?)?"
    rf"|(?P<this>tonight|this (?:afternoon|evening))(?: (?:at )?(?P<at1>{_CLOCK}))?"
    rf"|(?:(?P<day>today|tomorrow|(?:{_DAYS})(?:day)?|\d{{4}}-\d{{2}}-\d{{2}})[ T]?)"
    rf"(?:(?:at )?(?P<at2>{_CLOCK})|(?P<part>{_PART}))?"
    rf"|(?P<at3>{_CLOCK}))$",
    re.IGNORECASE,
)
_MONTH = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_OF_ANOTHER_DAY = re.compile(
    rf"(?:yesterday|\d (?:{_MONTH})[a-z]*|from|to)(?: at)?$", re.IGNORECASE
)


@dataclass(frozen=True)
class Asked:
    """The options of a question, as they were typed; None where one was not given."""

    rain: str | None = None
    at: str | None = None
    over: str | None = None
    fell: str | None = None
    when: str | None = None
    water: tuple[str, ...] = ()
    passes: tuple[str, ...] = ()
    hours: str | None = None
    is_dry: bool = False
    is_skipped: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether nothing at all is asked."""
        return self == Asked()


@dataclass(frozen=True)
class Names:
    """Names that words may use."""

    beds: Collection[str]
    tools: Collection[str]
    crops: Collection[str]
    setups: Mapping[str, Collection[str]]


def asked_changes(
    asked: Asked, farm: Farm, names: Names, now: datetime
) -> tuple[Changes, tuple[str, ...]]:
    """The changes that words ask for, and the lines that would log what happened already.

    Parameters
    ----------
    asked
        The options as typed.
    farm
        The farm.
    names
        Of its beds, tools, crops and set-ups.
    now
        The moment of the list.

    Raises
    ------
    WhitethreadError
        One line: which option, what was found, what is allowed.
    """
    zone = zone_of(farm.place.time_zone)
    _check_together(asked)
    logged: list[Event] = []
    lines: list[str] = []
    if asked.fell is not None:
        words = " ".join(f"{asked.fell} {asked.when or ''}".split())
        logged.append(_note("--fell", f"rain {words}", farm, names, now))
        lines.append(f"whitethread log rain {words}")
    acts: list[Event] = []
    for option, kind, many in (("--water", "water", asked.water), ("--pass", "pass", asked.passes)):
        for words in many:
            said = words
            if kind == "water" and asked.at is not None and asked.rain is None:
                said = f"{words} {asked.at}"
            event = _act(option, kind, said, farm, names, now, zone)
            if event.happened_at >= now:
                acts.append(event)
            else:
                logged.append(event)
                lines.append(f"whitethread log {kind} {' '.join(said.split())}")
    changes = Changes(
        rain=_rain_to_come(asked, now, zone),
        is_dry=asked.is_dry,
        logged=tuple(logged),
        acts=tuple(acts),
        hours_h=None if asked.hours is None else _hours_h(asked.hours),
        is_skipped=asked.is_skipped,
    )
    return changes, tuple(lines)


def _check_together(asked: Asked) -> None:
    """Refuse options that say nothing without another one, or two things at once."""
    if asked.over is not None and asked.rain is None:
        raise UsageError("--over: says how long the rain of --rain lasts; give --rain too")
    if asked.at is not None and asked.rain is None and not asked.water:
        raise UsageError("--at: says when the rain of --rain begins; give --rain too")
    if asked.when is not None and asked.fell is None:
        raise UsageError("--when: says when the rain of --fell fell; give --fell too")
    if asked.hours is not None and asked.is_skipped:
        raise UsageError(
            "--hours: found beside --skip-today, a day without hours; give one of both"
        )


def _rain_to_come(asked: Asked, now: datetime, zone: ZoneInfo) -> tuple[RainToCome, ...]:
    if asked.rain is None:
        return ()
    words, at = asked.rain, asked.at
    try:
        found = _AHEAD.search(words)
        if found is not None and at is None:
            words, at = words[: found.start()], found["words"]
        rain_mm = quantities.rain_mm(words.strip())
    except WhitethreadError as error:
        raise UsageError(
            f"--rain: found {asked.rain!r}; write an amount with its unit, as 15 mm or 0.6 in, and "
            f"when, if not at the next hour: {MOMENTS}"
        ) from error
    if rain_mm > MOST_RAIN_MM:
        raise UsageError(f"--rain: found {asked.rain!r}; allowed are 0 to {MOST_RAIN_MM:.0f} mm")
    start_at = _next_hour(now) if at is None else moment_ahead(at, now, zone, "--at")
    try:
        over_h = OVER_H if asked.over is None else quantities.duration_h(asked.over)
    except WhitethreadError as error:
        raise UsageError(f"--over: {error}") from error
    if not 0.0 < over_h <= 48.0:
        raise UsageError(f"--over: found {asked.over!r}; allowed is a time up to 48 h")
    if start_at < now.replace(minute=0, second=0, microsecond=0):
        raise UsageError(
            f"--at: found {at!r}, which has passed; rain that fell goes with --fell and --when"
        )
    return (RainToCome(rain_mm, start_at, start_at + timedelta(hours=over_h)),)


def _next_hour(now: datetime) -> datetime:
    whole = now.replace(minute=0, second=0, microsecond=0)
    return whole if whole == now else whole + timedelta(hours=1)


def _hours_h(words: str) -> float:
    """Hours of today: a bare number of hours, or a time such as 90 min."""
    text = words.strip()
    try:
        plain = re.fullmatch(r"-?\d+(?:[.,]\d+)?", text)
        hours = float(text.replace(",", ".")) if plain else quantities.duration_h(text)
    except WhitethreadError:
        hours = float("nan")
    if not 0.0 <= hours <= 24.0:
        raise UsageError(
            f"--hours: found {words!r}; give hours of today from 0 to 24, as 5 or 90 min"
        )
    return hours


def _act(
    option: str,
    kind: str,
    words: str,
    farm: Farm,
    names: Names,
    now: datetime,
    zone: ZoneInfo,
) -> Event:
    """A watering or a pass, at a moment ahead, or before now as the journal would have it."""
    text = " ".join(words.split())
    found = _AHEAD.search(text)
    if found is not None and _OF_ANOTHER_DAY.search(text[: found.start()]):
        found = None  # a day that has passed, said as a note says it
    moment = None if found is None else moment_ahead(found["words"], now, zone, option)
    if moment is None or moment < now:
        event = _note(option, f"{kind} {text}", farm, names, now, f", or ahead, last: {MOMENTS}")
    else:
        assert found is not None
        event = _note(option, f"{kind} {text[: found.start()]}", farm, names, now)
        event = replace(event, happened_at=moment)
    if kind == "pass" and "depth_mm" not in event.data:
        tool = next(tool for tool in farm.tools if tool.name == event.data["tool"])
        event = replace(event, data={**event.data, "depth_mm": tool.depth_mm})
    return replace(event, event_id=f"what-if {kind} {event.bed} {event.happened_at.isoformat()}")


def _note(
    option: str, words: str, farm: Farm, names: Names, now: datetime, more: str = ""
) -> Event:
    """An entry from the words of a journal note; `more` is allowed beside what notes allow."""
    known: dict[str, Any] = {"setups": names.setups}
    try:
        known["gauge_read_at"] = gauge_reading_time(farm.weather)
    except ValueError:
        known["gauge_read_at"] = GAUGE_READ_AT
    try:
        return parse_note(
            words, now, farm.place.time_zone, names.beds, names.tools, names.crops, **known
        )
    except WhitethreadError as error:
        told = more if "cannot read" in str(error) else ""
        raise UsageError(f"{option}: {error}{told}") from error


def moment_ahead(text: str, now: datetime, zone: ZoneInfo, option: str) -> datetime:
    """The moment that words mean, now or ahead of it where they leave it open.

    Parameters
    ----------
    text
        As the module describes it.
    now
        What today, tomorrow and a weekday are reckoned from.
    zone
        The farm's time zone.
    option
        Whose words they are, for the message.

    Raises
    ------
    UsageError
        If they mean no moment.

    Examples
    --------
    >>> zone = ZoneInfo("America/New_York")
    >>> now = datetime(2013, 5, 14, 5, 30, tzinfo=zone)  # a Tuesday
    >>> for words in ("now", "tonight", "tomorrow 9:00", "thu noon", "in 2 h", "4:00"):
    ...     print(moment_ahead(words, now, zone, "--at").astimezone(zone).strftime("%a %d %H:%M"))
    Tue 14 05:30
    Tue 14 20:00
    Wed 15 09:00
    Thu 16 12:00
    Tue 14 07:30
    Tue 14 04:00
    """
    found = _AHEAD.fullmatch(text.strip())
    if found is None:
        raise UsageError(f"{option}: found {text!r}; allowed are {MOMENTS}")
    words = " ".join(found["words"].lower().split())
    if words == "now":
        return now
    if found["hours"]:
        return now + timedelta(hours=float(found["hours"].replace(",", ".")))
    today = now.astimezone(zone).date()
    clock = found["at1"] or found["at2"] or found["at3"]
    try:
        day = _day(found["day"], today) if found["day"] else today
        if clock:
            at = parse_clock(clock.rjust(5, "0"))
        elif found["this"]:
            at = _PARTS["night" if "night" in words else words.split()[-1]]
        else:
            at = _PARTS[found["part"].lower()] if found["part"] else DAY_AT
    except WhitethreadError as error:
        raise UsageError(f"{option}: {error}") from error
    return local_moment(day, at, zone)


def _day(word: str, today: date) -> date:
    """Today, tomorrow, the next such weekday, or a date."""
    said = word.lower()
    if said in ("today", "tomorrow"):
        return today + timedelta(days=said == "tomorrow")
    if said[0].isdigit():
        return parse_day(said)
    names = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    return today + timedelta(days=(names.index(said[:3]) - today.weekday() - 1) % 7 + 1)
