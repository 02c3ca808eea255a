"""What squeeze tests changed in what is thought of a soil, and those left out, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from scheduler.planning.day import Day, date_words, local_moment
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.outlook import ground_of, met_by
from scheduler.planning.squeeze import Squeezed
from scheduler.planning.traits import ToolTraits
from scheduler.planning.visits import A_SQUEEZE, Visit, learned_soils, taught, visits_of
from scheduler.records import (
    DoubtedEntry,
    Event,
    Farm,
    FloatArray,
    Lesson,
    Planting,
    Range,
)

_SOAKED_MM = 10.0  # within a day
_DAY_H = 24
_TOLD_H = 1.0
_TOLD_M3M3 = 0.005
_FELT_AS: Mapping[str, str] = {
    "wet": "wet",
    "smears": "sticky",
    "crumbles": "crumbling",
    "dry": "dry",
    "hard": "hard",
}


def soil_lessons(
    ensemble: Ensemble,
    farm: Farm,
    plantings: Sequence[Planting],
    events: Sequence[Event],
    traits: Mapping[str, ToolTraits],
    day: Day,
) -> tuple[Lesson, ...]:
    """What squeeze tests changed in when each soil can be worked.

    Parameters
    ----------
    ensemble : Ensemble
        Columns after their run, taught by the entries or not.
    farm : Farm
        Its tools and time zone.
    plantings : sequence of Planting
        All of the farm.
    events : sequence of Event
        Entries that stand.
    traits : mapping
        Tool traits by the tool's key.
    day : Day
        The clock.

    Returns
    -------
    tuple of Lesson
        One a soil that was squeezed within the stored hours, by name of the soil. In hours from the
        last soaking rain, 10 mm within a day, to when soil of 0-30 mm crumbles, in the bed that was
        squeezed last, where at least half of the weight saw it dry, both before and after; else in
        m3/m3 of water above the threshold at the hours of the tests.

    Notes
    -----
    Before: what passes taught, and no handful. Definition of this project. No range stated. Worked:
    tests/planning/test_soil_lessons.py.
    """
    lessons = []
    ensemble = _untaught(ensemble)
    after = taught(ensemble, farm, plantings, events, traits)
    plain = tuple(event for event in events if event.kind != "feel")
    before = taught(ensemble, farm, plantings, plain, traits)
    for soil, (visits, learned) in sorted(_felt(ensemble, farm, plantings, events, traits).items()):
        kept = [v for i, v in enumerate(visits) if i not in learned.doubted]
        if not kept:
            continue
        n = len(kept)
        said = f"{n} squeeze test{'' if n == 1 else 's'} on {soil}"
        lessons.append(
            _in_hours(soil, said, kept, before, after, day)
            or _in_water(soil, said, kept, before, after)
        )
    return tuple(lessons)


def doubted_feels(
    ensemble: Ensemble,
    farm: Farm,
    plantings: Sequence[Planting],
    events: Sequence[Event],
    traits: Mapping[str, ToolTraits],
    day: Day,
) -> tuple[DoubtedEntry, ...]:
    """Squeeze tests that contradict all else, and are not learned from.

    Parameters
    ----------
    ensemble, farm, plantings, events, traits, day
        As in `soil_lessons`.

    Returns
    -------
    tuple of DoubtedEntry
        With a sentence each, in the order of the entries.

    Notes
    -----
    As `scheduler.planning.squeeze.squeezed`. Worked: tests/planning/test_soil_lessons.py.
    """
    doubts = []
    for visits, learned in _felt(ensemble, farm, plantings, events, traits).values():
        doubts += [_doubt(visits[i], ensemble, day) for i in learned.doubted]
    places = {event.event_id: place for place, event in enumerate(events)}
    return tuple(sorted(doubts, key=lambda doubt: places[doubt.event.event_id]))


def _felt(
    ensemble: Ensemble,
    farm: Farm,
    plantings: Sequence[Planting],
    events: Sequence[Event],
    traits: Mapping[str, ToolTraits],
) -> dict[str, tuple[list[Visit], Squeezed]]:
    """Handfuls and what they say, by soil."""
    tools = {tool.name: tool for tool in farm.tools}
    visits = visits_of(plantings, events, tools, traits, ensemble, farm.place.time_zone)
    felt: dict[str, list[Visit]] = {}
    for visit in visits:
        if visit.tool == A_SQUEEZE:
            felt.setdefault(visit.planting.bed.soil, []).append(visit)
    if not felt:
        return {}
    learned = learned_soils(ensemble, visits)
    return {soil: (own, learned[soil]) for soil, own in felt.items()}


def _untaught(ensemble: Ensemble) -> Ensemble:
    """The columns with members as drawn and equal weights."""
    equal = np.full(ensemble.n_members, 1.0 / ensemble.n_members)
    return replace(
        ensemble,
        weights=dict.fromkeys(ensemble.weights, equal),
        members={**ensemble.members, **ensemble.drawn},
        drawn={},
    )


def _in_hours(
    soil: str, said: str, visits: Sequence[Visit], before: Ensemble, after: Ensemble, day: Day
) -> Lesson | None:
    """The lesson in hours after rain, where there was one and the soil dried after it."""
    planting = max(visits, key=lambda visit: visit.hour).planting
    end = _soaked_until(planting, before)
    if end is None:
        return None
    was, now = (_hours_to_fit(planting, of, end) for of in (before, after))
    if was is None or now is None:
        return None
    rain = date_words(day.sky.at(end - 1), day)
    told = f"{now.mid:.0f} h after the rain of {rain}"
    if abs(now.mid - was.mid) < _TOLD_H:
        says = f"{said}: it can be worked {told}, as thought"
    else:
        way = "sooner" if now.mid < was.mid else "later"
        says = f"{said}: it can be worked {told}, {way} than the {was.mid:.0f} h thought"
    return Lesson("soil", soil, was, now, "h", len(visits), says)


def _soaked_until(planting: Planting, ensemble: Ensemble) -> int | None:
    """First dry hour after the last day of the past with enough rain; None if there was none."""
    sky = ensemble.sky
    first, now = ensemble.stored_from_hour, sky.now_hour
    rain = sky.forcing.rain_mm[:, first:now].mean(axis=0)
    whole = np.cumsum(np.pad(rain, (_DAY_H, 0)))
    within = whole[_DAY_H:] - whole[:-_DAY_H]
    rains = np.flatnonzero((within >= _SOAKED_MM) & (rain > 0.0))
    return None if rains.size == 0 else first + int(rains[-1]) + 1


def _hours_to_fit(planting: Planting, ensemble: Ensemble, end: int) -> Range | None:
    """Hours from then to when a handful crumbles; None where less than half of the weight does."""
    stored = ensemble.stored_from_hour
    fits = met_by(A_SQUEEZE, ground_of(planting, ensemble)).is_fit[:, end - stored :]
    weights = ensemble.weights[planting.bed.soil]
    hours = np.where(fits.any(axis=1), fits.argmax(axis=1), fits.shape[1]).astype(np.float64)
    low, mid, high = (float(q) for q in weighted_quantiles(hours, weights))
    return None if mid >= fits.shape[1] else Range(low, mid, high)


def _in_water(
    soil: str, said: str, visits: Sequence[Visit], before: Ensemble, after: Ensemble
) -> Lesson:
    """The lesson in water above the threshold at the hours of the tests."""
    was, now = (_excess(visits, of) for of in (before, after))
    moved = was.mid - now.mid
    percent = f"{100.0 * abs(moved):.1f} % of its volume"
    if abs(moved) < _TOLD_M3M3:
        says = f"{said}: it can be worked when thought"
    elif moved > 0.0:
        says = f"{said}: it can be worked with {percent} more water than thought"
    else:
        says = f"{said}: it must be drier than thought by {percent} before it can be worked"
    return Lesson("soil", soil, was, now, "m3/m3", len(visits), says)


def _excess(visits: Sequence[Visit], ensemble: Ensemble) -> Range:
    """Water above the threshold, mean over the hours of the tests."""
    whole = sum((_excess_at(visit, ensemble) for visit in visits), np.zeros(ensemble.n_members))
    weights = ensemble.weights[visits[0].planting.bed.soil]
    return Range(*(float(q) for q in weighted_quantiles(whole / len(visits), weights)))


def _excess_at(visit: Visit, ensemble: Ensemble) -> FloatArray:
    at = visit.hour - ensemble.stored_from_hour
    ground = ground_of(visit.planting, ensemble, slice(at, at + 1))
    limit = np.minimum(ground.members.working_m3m3, ground.members.ceiling_m3m3)
    excess: FloatArray = ground.water(A_SQUEEZE.decides_to_mm)[:, 0] - limit
    return excess


def _doubt(visit: Visit, ensemble: Ensemble, day: Day) -> DoubtedEntry:
    """One entry, with what the soil must have been by all else."""
    event = visit.event
    at = local_moment(event.happened_at, day)
    excess = float(ensemble.weights[visit.planting.bed.soil] @ _excess_at(visit, ensemble))
    state = "far too wet" if excess > 0.0 else "far from wet"
    feel = _FELT_AS[str(event.data.get("feel"))]
    return DoubtedEntry(
        event,
        f"{event.bed} felt {feel} on {date_words(at, day)} at {at:%H:%M}, but by weather and all "
        f"other entries its soil was {state}: not learned from (another bed, day or word?)",
    )
