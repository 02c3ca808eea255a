"""What looks changed in what is thought of a planting; and looks that are doubted.

Before is what the tables alone would say, after is what the list goes by. Dates of a flush are read
off few particles, so that they are a few tenths of a day off on both sides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.models.weeds.cohorts import STAGES, Openings, Passes
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.hours import local_day
from scheduler.planning.plantings import touches, was_done
from scheduler.planning.sentences import density_words
from scheduler.planning.sightings import Sighting
from scheduler.planning.weeds import (
    LearnedWeeds,
    WeedHistory,
    WeedSettings,
    course_particles,
    in_row_share,
    stand_at,
)
from scheduler.records import DoubtedEntry, Event, FloatArray, Lesson, Planting, Range

TOLD_D = 1.0  # by which timing must move to be told on the list
TOLD_TIMES = 2.0  # likewise the number of weeds
_LEVELS = ((0.5, "half"), (0.25, "a quarter"), (0.1, "a tenth"))
_STEP_H = 12.0
_N_RISING = 128  # particles that date a flush before and after
_N_SEEDS = 10
_NEAREST_H = 24.0  # an opening is the one asked for within so many hours
_FEW_M2 = 1.0  # weeds under which a number is told of those to come
_RECENT_D = 14.0  # work before a look that is named where it is doubted
_MOST_NAMES = 3
NEWS_FOR_D = 7.0  # that a look is told of on the list
_SURE = "If it is right, look again and log that: two looks that agree count."
_DONE: Mapping[str, str] = {
    "prep": "prepared",
    "sow": "sown",
    "plant": "planted",
    "pass": "worked with a tool",
    "hand": "weeded by hand",
    "clear": "cleared",
}


@dataclass(frozen=True)
class Rests:
    """What is thought of a planting rests on these looks, beside the tables.

    `own_on` are the days of its own looks that were learned from, one a look; `others` are beds of
    the same soil with looks; `has_before` where looks at this bed count that its weeds are no
    longer followed back to.
    """

    own_on: tuple[date, ...]
    others: tuple[str, ...] = ()
    has_before: bool = False

    @property
    def words(self) -> str:
        """Whose looks, as the subject of a sentence."""
        if self.own_on or self.has_before:
            return "your looks"
        more = len(self.others) - _MOST_NAMES
        names = list(self.others[:_MOST_NAMES]) + ([f"{more} more"] if more > 0 else [])
        listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
        return f"looks at {listed} on the same soil"


@dataclass(frozen=True)
class Rise:
    """Share of one flush that is up, by particle, as if nothing were done to it.

    Of those that come up at all: what is too deep or dries is not waited for.
    """

    hours: FloatArray  # (n_hours,) on the sky's clock
    up_frac: FloatArray  # (n_particles, n_hours)
    weights: FloatArray  # (n_particles,)

    def reached(self, level_frac: float) -> Range:
        """Hour at which so much is up; infinite beyond the hours."""
        share = np.maximum.accumulate(self.up_frac, axis=1)
        late = 10.0 * float(self.hours[-1])
        found = np.array([
            float(np.interp(level_frac, row, self.hours)) if row[-1] >= level_frac else late
            for row in share
        ])  # fmt: skip
        at = weighted_quantiles(found, self.weights)
        return Range(*(float(q) if q <= self.hours[-1] else np.inf for q in at))


def rise_of(
    planting: Planting,
    ensemble: Ensemble,
    history: WeedHistory,
    settings: WeedSettings,
    gate_kpa: FloatArray,
    seed: int,
    opened_hour: float,
    learned: LearnedWeeds | None = None,
) -> Rise | None:
    """How one flush of a planting comes up, as if nothing were done to it.

    Parameters
    ----------
    planting : Planting
        The planting.
    ensemble : Ensemble
        Soil members with their running integrals.
    history : WeedHistory
        Openings of the planting.
    settings : WeedSettings
        What the tables say.
    gate_kpa : array
        Gates of the integrals [kPa].
    seed : int
        The farm's seed.
    opened_hour : float
        Hour of the opening wanted on the sky's clock.
    scores : Scores, optional
        What entries made of the particles' spreads; as tabled by default.

    Returns
    -------
    Rise or None
        None where no opening lies within a day of `opened_hour`.

    Notes
    -----
    128 particles at half-day steps. Those still in the ground at the end of sight come up in the
    share in which the others did. Definition of this project. No range stated. Worked:
    tests/scenes/test_lesson_scenes.py.
    """
    apart = np.abs(history.openings.hour - opened_hour)
    if apart.size == 0 or apart.min() > _NEAREST_H:
        return None
    which = int(np.argmin(apart))
    size = history.openings.size[which : which + 1]
    alone = replace(
        history,
        openings=Openings(history.openings.hour[which : which + 1], size),
        passes=Passes(np.zeros(0), np.zeros((0, 1, 2, len(STAGES))), np.zeros(0)),
    )
    begin = max(float(alone.openings.hour[0]), float(ensemble.readings_from_hour))
    hours = np.arange(begin, float(ensemble.sky.n_hours), _STEP_H)
    if hours.size < 2:
        return None
    particles, weight = course_particles(planting, ensemble, settings, seed, learned, _N_RISING)
    weeds = stand_at(planting, ensemble, alone, settings, gate_kpa, particles, hours, _N_SEEDS)
    row = in_row_share(planting)
    zones = np.array([row, 1.0 - row])
    opened = weeds.opened_m2[:, -1].sum(axis=1) @ zones
    up = weeds.count_m2[..., 1:].sum(axis=(2, 4)) @ zones
    waiting = (weeds.count_m2[:, -1, ..., 0] + weeds.ledger_m2[:, -1, ..., 0]).sum(axis=1) @ zones
    whole = up[:, -1] * opened / np.maximum(opened - waiting, 1e-3 * opened + 1e-9)
    return Rise(hours, up / np.maximum(whole, 1e-9)[:, None], weight)


def timing_lesson(
    planting: Planting, before: Rise, after: Rise, now_hour: float, rests: Rests
) -> Lesson | None:
    """How looks moved the dates of the flush in force.

    Parameters
    ----------
    planting : Planting
        The planting.
    before, after : Rise
        By the tables alone, and after the looks.
    now_hour : float
        On the sky's clock.
    rests : Rests
        The looks.

    Returns
    -------
    Lesson or None
        In days from now; None where not even a tenth is up within the hours in sight.

    Notes
    -----
    Told by the day on which half of the flush is up in the middle particle; by a quarter or a tenth
    where half is out of sight. Definition of this project. No range stated.

    Examples
    --------
    A flush that comes up over four days, and the same two days later.

    >>> from scheduler.records import Bed
    >>> bed = Planting(Bed("A1", 18.0, 0.8, "loam"), None, 0.0, 18.0, None, False, None, None, None,
    ...                None)
    >>> hours = np.arange(0.0, 240.0, 12.0)
    >>> def rise(from_hour: float) -> Rise:
    ...     return Rise(hours, np.clip((hours - from_hour) / 96.0, 0, 1)[None], np.ones(1))
    >>> found = timing_lesson(bed, rise(24.0), rise(72.0), 48.0, Rests((date(2013, 5, 12),)))
    >>> found.before.mid, found.after.mid, found.unit
    (1.0, 3.0, 'd until half of the flush is up')
    >>> found.says
    'Your looks say this bed runs 2 days later than the model thought; adjusted.'
    """
    for level, word in _LEVELS:
        spans = [one.reached(level) for one in (before, after)]
        if all(np.isfinite(span.mid) for span in spans):
            was, found = (_since(span, now_hour) for span in spans)
            moved_d = found.mid - was.mid
            unit = f"d until {word} of the flush is up"
            n = len(rests.own_on) + len(rests.others)
            says = _timing_words(moved_d, rests)
            return Lesson("timing", planting.key, was, found, unit, n, says)
    return None


def _since(span: Range, now_hour: float) -> Range:
    return Range(*((q - now_hour) / 24.0 for q in (span.low, span.mid, span.high)))


def _timing_words(moved_d: float, rests: Rests) -> str:
    who = f"{rests.words[0].upper()}{rests.words[1:]}"
    if abs(moved_d) < TOLD_D:
        return f"{who} and the model agree on timing within a day."
    return f"{who} say this bed runs {_days(moved_d)} than the model thought; adjusted."


def _days(moved_d: float) -> str:
    n = max(1, round(abs(moved_d)))
    return f"{n} day{'' if n == 1 else 's'} {'later' if moved_d > 0 else 'earlier'}"


def weeds_lesson(
    planting: Planting, before: tuple[Range, Range], after: tuple[Range, Range], rests: Rests
) -> Lesson:
    """How looks moved the number of weeds.

    Parameters
    ----------
    planting : Planting
        The planting.
    before, after : tuple of Range
        By the tables alone, and after the looks: weeds that stand now, and those opened and still
        to come [1/m2].
    rests : Rests
        The looks.

    Returns
    -------
    Lesson
        Of what stands; of what is to come where next to nothing stands either way.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from scheduler.records import Bed
    >>> bed = Planting(Bed("A1", 18.0, 0.8, "loam"), None, 0.0, 18.0, None, False, None, None, None,
    ...                None)
    >>> none = Range(0.0, 0.0, 0.0)
    >>> few, many = (Range(20.0, 40.0, 90.0), none), (Range(40.0, 240.0, 900.0), none)
    >>> found = weeds_lesson(bed, many, few, Rests((), ("A3", "A5")))
    >>> found.says
    'Looks at A3 and A5 on the same soil say 40 weeds/m2, the model thought 240 weeds/m2; adjusted.'
    """
    which = 1 if max(before[0].mid, after[0].mid) < _FEW_M2 else 0
    was, found = before[which], after[which]
    who = f"{rests.words[0].upper()}{rests.words[1:]}"
    words = [density_words(span.mid) for span in (found, was)]
    to_come = " to come" if which else ""
    if times(was, found) < TOLD_TIMES:
        says = f"{who} and the model agree on the number of weeds within a factor of two."
    else:
        said = f"{words[0]} weeds/m2{to_come}, the model thought {words[1]} weeds/m2"
        says = f"{who} say {said}; adjusted."
    unit = f"weeds/m2 {'to come' if which else 'standing'}"
    n = len(rests.own_on) + len(rests.others)
    return Lesson("weeds", planting.key, was, found, unit, n, says)


def times(before: Range, after: Range) -> float:
    """By how many times a middle moved, up or down.

    Parameters
    ----------
    before, after : Range
        Numbers, not negative.

    Returns
    -------
    float
        1 or more [-]; less than one is taken as one.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> times(Range(1, 240, 900), Range(20, 40, 90)), times(Range(0, 0.1, 2), Range(0, 0.9, 3))
    (6.0, 1.0)
    """
    was, found = (max(span.mid, _FEW_M2) for span in (before, after))
    return max(was / found, found / was)


def moved_words(lessons: Sequence[Lesson]) -> str:
    """What a line of the list tells of looks at its planting, short.

    Parameters
    ----------
    lessons : sequence of Lesson
        Of the planting's timing and weeds.

    Returns
    -------
    str
        Empty where neither moved so far that it is worth a word.

    Notes
    -----
    From a day, or twice the number. Definition of this project. No range stated.

    Examples
    --------
    >>> day, none = Range(-1.0, 0.0, 1.0), Range(0.0, 0.0, 0.0)
    >>> late = Lesson("timing", "A1", day, Range(1.0, 2.0, 3.0), "d", 1, "")
    >>> few = Lesson("weeds", "A1", Range(9.0, 240.0, 900.0), Range(9.0, 42.0, 90.0), "", 1, "")
    >>> moved_words([late, few])
    'your looks: 2 days later than thought, a sixth of the weeds'
    >>> moved_words([few])
    'your looks: a sixth of the weeds reckoned'
    >>> moved_words([replace(few, after=Range(9.0, 25.0, 90.0))])
    'your looks: a tenth of the weeds reckoned'
    >>> moved_words([replace(late, after=day)])
    ''
    """
    said = []
    for lesson in lessons:
        if lesson.what == "timing" and abs(lesson.after.mid - lesson.before.mid) >= TOLD_D:
            said.append(f"{_days(lesson.after.mid - lesson.before.mid)} than thought")
        elif lesson.what == "weeds":
            factor = times(lesson.before, lesson.after)
            if factor >= TOLD_TIMES:
                is_more = lesson.after.mid > lesson.before.mid
                said.append(f"{_times_words(factor, is_more)} the weeds")
    if not said:
        return ""
    end = "" if said[0].endswith("thought") else " reckoned"
    return f"your looks: {', '.join(said)}{end}"


_PARTS = ("", "", "half", "a third of", "a quarter of", "a fifth of", "a sixth of", "a seventh of",
          "an eighth of", "a ninth of", "a tenth of")  # fmt: skip


def _times_words(factor: float, is_more: bool) -> str:
    n = round(factor)
    if is_more:
        return "twice" if n == 2 else f"{min(n, 20)} times" if n <= 20 else "over 20 times"
    return _PARTS[n] if n < len(_PARTS) else "under a tenth of"


def doubted_look(
    sighting: Sighting,
    planting: Planting,
    events: Sequence[Event],
    time_zone: str,
    *,
    reckoned_m2: float | None = None,
    has_others: bool = False,
) -> DoubtedEntry:
    """A look that contradicts all else, and why, in a sentence that goes after its entry.

    Parameters
    ----------
    sighting : Sighting
        The look.
    planting : Planting
        Where it is said to have been made.
    events : sequence of Event
        Entries that stand.
    time_zone : str
        Of the farm.
    reckoned_m2 : float, optional
        Weeds reckoned to stand then [1/m2].
    has_others : bool
        Whether other looks at the planting were learned from.

    Returns
    -------
    DoubtedEntry
        The entry and the sentence.

    Notes
    -----
    Names the last work of the two weeks before it. Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from scheduler.records import Bed
    >>> at = datetime(2013, 5, 14, 8, tzinfo=UTC)
    >>> look = Event("l1", "look", at, at, "B4", None, {"n_true_leaf": 20})
    >>> prep = Event("p1", "prep", at - timedelta(days=2), at, "B4", None, {"depth_mm": 80.0})
    >>> bed = Planting(Bed("B4", 18.0, 0.8, "loam"), None, 0.0, 18.0, None, False, None, None, None,
    ...                None)
    >>> doubted_look(Sighting(look, 320.0, 1.0), bed, [prep, look], "UTC", reckoned_m2=0.4).why
    'does not fit this bed (prepared on 12 May, under 1 weed/m2 reckoned then) and is not learned\
 from. Wrong bed or stage? If it is right, look again and log that: two looks that agree count.'
    """
    event = sighting.event
    known = []
    work = [
        e for e in events
        if e.kind in _DONE and touches(e, planting) and was_done(e)
        and timedelta(0) <= event.happened_at - e.happened_at <= timedelta(days=_RECENT_D)
    ]  # fmt: skip
    if work:
        last = max(work, key=lambda e: e.happened_at)
        on = last.happened_at.astimezone(ZoneInfo(time_zone))
        known.append(f"{_DONE[last.kind]} on {on.day} {on:%b}")
    if reckoned_m2 is not None:
        n = "under 1 weed" if reckoned_m2 < 1.0 else f"about {density_words(reckoned_m2)} weeds"
        known.append(f"{n}/m2 reckoned then")
    if has_others:
        known.append("other looks here say otherwise")
    said = f"does not fit this bed ({', '.join(known)})" if known else "does not fit this bed"
    return DoubtedEntry(event, f"{said} and is not learned from. {_asked(event)} {_SURE}")


def _asked(event: Event) -> str:
    data = event.data
    if data.get("nothing"):
        return "Wrong bed?"
    if "area_m2" in data or any(stage in data for stage in STAGES):
        return "Wrong bed, unit or area?"
    return "Wrong bed or stage?"


def days_of(sightings: Sequence[Sighting], time_zone: str) -> tuple[date, ...]:
    """Local days of some looks.

    Parameters
    ----------
    sightings : sequence of Sighting
        The looks.
    time_zone : str
        Of the farm.

    Returns
    -------
    tuple of date
        In order, one a look.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> at = datetime(2013, 5, 14, 2, tzinfo=UTC)
    >>> days_of([Sighting(Event("l1", "look", at, at, "B4"), 2.0, 1.0)], "America/New_York")
    (datetime.date(2013, 5, 13),)
    """
    return tuple(sorted(local_day(s.event.happened_at, time_zone) for s in sightings))
