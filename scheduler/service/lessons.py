"""What looks changed in what is thought of a planting, and looks that are doubted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.lessons import (
    NEWS_FOR_D,
    Rests,
    days_of,
    doubted_look,
    moved_words,
    rise_of,
    timing_lesson,
    weeds_lesson,
)
from scheduler.planning.looks import Evidence, Told
from scheduler.planning.order import Draft
from scheduler.planning.outlook import Outlook
from scheduler.planning.sightings import Sighting
from scheduler.planning.watched import passes_for
from scheduler.planning.weeds import (
    N_COURSE_PARTICLES,
    LearnedWeeds,
    WeedHistory,
    WeedOutlook,
    weed_outlook,
)
from scheduler.records import DoubtedEntry, Event, FloatArray, Lesson, Planting, Range
from scheduler.service.settings import GATE_KPA, weed_settings


def rests_of(
    planting: Planting, told: Mapping[str, Told], before: Sequence[Evidence], time_zone: str
) -> Rests:
    """The looks that what is thought of a planting rests on.

    Parameters
    ----------
    planting : Planting
        The planting.
    told : mapping
        What looks said, by planting.
    before : sequence of Evidence
        Of looks that the weeds are no longer followed back to.
    time_zone : str
        Of the farm.

    Returns
    -------
    Rests
        Its own, and the beds of its soil whose looks say anything.
    """
    own = told.get(planting.key)
    seen = [] if own is None else [s for group in own.groups for s in group]
    bed, soil = planting.bed.name, planting.bed.soil
    others = [t.evidence for key, t in told.items() if key != planting.key]
    said = [e for e in (*others, *before) if e.soil == soil and e.precision.any()]
    return Rests(
        days_of(seen, time_zone),
        tuple(sorted({e.bed for e in said if e.bed != bed})),
        has_before=any(e.bed == bed for e in said),
    )


def look_lessons(
    outlook: Outlook,
    weeds: WeedOutlook,
    learned: LearnedWeeds,
    rests: Rests,
    ensemble: Ensemble,
    seed: int,
) -> tuple[Lesson, ...]:
    """What looks changed in the timing and the number of weeds of a planting.

    Parameters
    ----------
    outlook : Outlook
        Its soil and flush clock.
    weeds : WeedOutlook
        Its weeds as the list has them; the first hour is now.
    learned : LearnedWeeds
        What looks made of its particles.
    rests : Rests
        The looks.
    ensemble : Ensemble
        Columns after their run.
    seed : int
        The farm's seed.

    Returns
    -------
    tuple of Lesson
        Timing, where a flush is in force, and weeds.
    """
    planting, history = outlook.planting, weeds.history
    settings, gates = weed_settings(), np.array(GATE_KPA)
    now_hour = float(weeds.hours[0])
    found = []
    if outlook.flush.opened_hour is not None:
        opened = float(outlook.flush.opened_hour)
        rises = [
            rise_of(planting, ensemble, history, settings, gates, seed, opened, of)
            for of in (None, learned)
        ]
        if rises[0] is not None and rises[1] is not None:
            found.append(timing_lesson(planting, rises[0], rises[1], now_hour, rests))
    before = weed_outlook(
        planting, ensemble, _of_few(history), settings, gates, seed,
        weeds.hours[:1], N_COURSE_PARTICLES,
    )  # fmt: skip
    found.append(weeds_lesson(planting, _now(before), _now(weeds), rests))
    return tuple(lesson for lesson in found if lesson is not None)


def is_news(told: Told, now_hour: float) -> bool:
    """Whether a look at a planting that was learned from is of the last week.

    Parameters
    ----------
    told : Told
        What its looks said.
    now_hour : float
        On the sky's clock.

    Returns
    -------
    bool
        False without a look.
    """
    newest = max((s.hour for group in told.groups for s in group), default=-np.inf)
    return bool(now_hour - newest <= 24.0 * NEWS_FOR_D)


def with_moved(draft: Draft, lessons: Sequence[Lesson]) -> Draft:
    """A verdict that tells, in a last clause, what looks at its own planting changed.

    Parameters
    ----------
    draft : Draft
        The verdict with all that is due.
    lessons : sequence of Lesson
        As `look_lessons`.

    Returns
    -------
    Draft
        The same where nothing moved far.
    """
    words = moved_words(lessons)
    if not words:
        return draft
    answer = replace(draft.answer, why=(*draft.answer.why, words))
    return replace(
        draft, answer=answer, others=tuple(with_moved(other, lessons) for other in draft.others)
    )


def doubted_looks(
    planting: Planting,
    told: Told,
    history: WeedHistory | None,
    ensemble: Ensemble,
    events: Sequence[Event],
    seed: int,
    time_zone: str,
) -> tuple[DoubtedEntry, ...]:
    """Looks at a planting that contradict all else.

    Parameters
    ----------
    planting : Planting
        The planting.
    told : Told
        What its looks said.
    history : WeedHistory or None
        Its openings and passes, where they are known.
    ensemble : Ensemble
        Columns after their run.
    events : sequence of Event
        Entries that stand.
    seed : int
        The farm's seed.
    time_zone : str
        Of the farm.

    Returns
    -------
    tuple of DoubtedEntry
        In order.
    """
    return tuple(
        doubted_look(
            sighting, planting, events, time_zone,
            reckoned_m2=_reckoned_m2(planting, sighting, history, ensemble, seed),
            has_others=bool(told.groups),
        )
        for sighting in sorted(told.doubted, key=lambda s: (s.hour, s.event.event_id))
    )  # fmt: skip


def _reckoned_m2(
    planting: Planting,
    sighting: Sighting,
    history: WeedHistory | None,
    ensemble: Ensemble,
    seed: int,
) -> float | None:
    """Weeds that the tables alone have at the hour of a look: the middle of the particles."""
    if history is None:
        return None
    found = weed_outlook(
        planting, ensemble, _of_few(history), weed_settings(),
        np.array(GATE_KPA), seed, np.array([sighting.hour]), N_COURSE_PARTICLES,
    )  # fmt: skip
    return _now(found)[0].mid


def _of_few(history: WeedHistory) -> WeedHistory:
    """The history with kill for fewer particles."""
    return replace(history, passes=passes_for(history.passes, N_COURSE_PARTICLES))


def _now(weeds: WeedOutlook) -> tuple[Range, Range]:
    """Weeds that stand now, and those opened and still to come."""
    return (
        _range(weeds.density_m2(0).sum(axis=1) + weeds.standing_m2, weeds.weights),
        _range(weeds.to_come_m2(0), weeds.weights),
    )


def _range(values: FloatArray, weights: FloatArray) -> Range:
    return Range(*(float(q) for q in weighted_quantiles(values, weights)))
