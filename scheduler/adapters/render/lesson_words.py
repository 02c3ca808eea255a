"""What entries changed, before and after, and entries that are doubted, in the grower's words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from scheduler.adapters.quantities import M_PER_FT
from scheduler.adapters.render.entry_words import event_words
from scheduler.adapters.render.phrases import dated_words, day_words, grower_text
from scheduler.records import DoubtedEntry, Lesson, Range

_UNTIL = "d until "
_TIMED = {"work": "Work", "set-up": "Set-up", "hand weeding": "Weeding"}


def doubt_words(doubt: DoubtedEntry, units: str, zone: ZoneInfo) -> str:
    """One doubted entry: what and when it was, why it is doubted, how it is taken back.

    Parameters
    ----------
    doubt
        The entry with its sentence.
    units
        "us" or "metric".
    zone
        The farm's clock.

    Returns
    -------
    str
        One or more sentences.
    """
    event = doubt.event
    on = dated_words(event.happened_at.astimezone(zone).date())
    place = "" if event.bed is None else f" at {event.bed}"
    place += "" if event.part is None else f"/{event.part}"
    _, _, said = event_words(event, units, zone).partition(": ")
    head = f"{event.kind} of {on}{place}"
    head += f" ({said})" if said else ""
    text = f"{head[:1].upper()}{head[1:]}: {spoken(doubt.why, units)}"
    text = text if text.endswith((".", "?")) else f"{text}."
    return f"{text} To take it back: whitethread log undo {event.event_id}"


def spoken(sentence: str, units: str) -> str:
    """The sentence in the grower's units, areas as they are read aloud."""
    return grower_text(sentence, units).replace("/sq ft", " per sq ft").replace("/m2", " per m2")


def looks_words(looks_on: Sequence[date], looks_of: Sequence[str]) -> str:
    """What a lesson rests on, as "2 looks here, 12 and 13 May; looks at B5"; empty for none."""
    said = []
    if looks_on:
        days = sorted(set(looks_on))
        few = [day_words(day) for day in days[-3:]]
        listed = few[0] if len(few) == 1 else f"{', '.join(few[:-1])} and {few[-1]}"
        last = ", the last" if len(days) > 3 else ","
        n = len(looks_on)
        said.append(f"{n} look{'' if n == 1 else 's'} here{last} {listed}")
    if looks_of:
        more = len(looks_of) - 5
        names = ", ".join(looks_of[:5]) + (f" and {more} more" if more > 0 else "")
        said.append(f"looks at {names}, on the same soil")
    return "; ".join(said)


def before_and_after(lesson: Lesson, as_of: datetime, units: str, zone: ZoneInfo) -> str:
    """The figures of one lesson: the middle with its span before, and after.

    Parameters
    ----------
    lesson
        What changed.
    as_of
        Moment of the page, from which days are counted.
    units
        "us" or "metric".
    zone
        The farm's clock.

    Returns
    -------
    str
        As "half of the flush is up: Sat 11 May (9-14 May) before, Mon 13 May (11 May or later)
        after".
    """
    if lesson.unit.startswith(_UNTIL):
        spans = [_dates(span, as_of, zone) for span in (lesson.before, lesson.after)]
        return f"{lesson.unit.removeprefix(_UNTIL)}: {spans[0]} before, {spans[1]} after"
    by, unit = 1.0, lesson.unit
    if units == "us" and "/m2" in unit:
        by, unit = M_PER_FT**2, unit.replace("/m2", "/sq ft")
    spans = [
        f"{_figure(by * s.mid)} ({_figure(by * s.low)}-{_figure(by * s.high)})"
        for s in (lesson.before, lesson.after)
    ]
    return f"{spans[0]} before, {spans[1]} after, {spoken(unit, 'metric')}"


def minutes_of_work(lessons: Sequence[Lesson]) -> list[str]:
    """What the stopwatch taught, a sentence each for work, set-up and hand weeding."""
    said = []
    for what, head in _TIMED.items():
        told = [
            f"{lesson.of if what != 'hand weeding' else 'by hand'} {_times(lesson.after.mid)} "
            f"({lesson.n} timed)"
            for lesson in lessons
            if lesson.what == what
        ]
        if told:
            said.append(f"{head} by your stopwatch, against what was reckoned: {', '.join(told)}.")
    return said


def _times(factor: float) -> str:
    """How many times as long, to two figures."""
    return "the same" if f"{factor:.1f}" == "1.0" else f"{factor:.2g} times"


def is_timed(lesson: Lesson) -> bool:
    """Whether a lesson is of the stopwatch."""
    return lesson.what in _TIMED


def _dates(span: Range, as_of: datetime, zone: ZoneInfo) -> str:
    mid, low = (_day(days, as_of, zone) for days in (span.mid, span.low))
    if not math.isfinite(span.high):
        return f"{dated_words(mid)} ({day_words(low)} or later)"
    high = _day(span.high, as_of, zone)
    if low == high:
        return dated_words(mid)
    first = f"{low.day}" if low.month == high.month else day_words(low)
    return f"{dated_words(mid)} ({first}-{day_words(high)})"


def _day(days: float, as_of: datetime, zone: ZoneInfo) -> date:
    return (as_of + timedelta(days=days)).astimezone(zone).date()


def _figure(value: float) -> str:
    """Two figures, none of them false."""
    if value == 0.0 or abs(value) < 0.001:
        return "0"
    places = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, places):.{max(places, 0)}f}"
