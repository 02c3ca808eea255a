"""Weeds of the plantings at one moment: their history, what looks teach, and what stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from scheduler.planning.day import Day
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.looks import (
    Evidence,
    Told,
    evidence_beside,
    learned_weeds,
    pooled,
    told_by,
)
from scheduler.planning.offers import Kit, weed_hours
from scheduler.planning.outlook import Outlook, past_wettings
from scheduler.planning.passes import PassWeather
from scheduler.planning.sightings import sightings_of
from scheduler.planning.watched import WatchedPlanting
from scheduler.planning.weeds import (
    N_PARTICLES,
    LearnedWeeds,
    WeedHistory,
    WeedOutlook,
    flush_course,
    weed_history,
    weed_outlook,
)
from scheduler.records import Event, FloatArray, Planting
from scheduler.service.settings import GATE_KPA, STAGE_KILL_FRAC, weed_settings


@lru_cache(maxsize=1)
def _gates() -> FloatArray:
    return np.array(GATE_KPA)


def history_of(
    outlook: Outlook,
    weather: PassWeather,
    ensemble: Ensemble,
    done: Sequence[Event],
    planned: Sequence[Event],
    kit: Kit,
    latitude_deg: float,
) -> WeedHistory:
    """What was opened and killed in one planting.

    Parameters
    ----------
    outlook : Outlook
        The planting's soil.
    weather : PassWeather
        What passes met.
    ensemble : Ensemble
        Columns after their run.
    done, planned : sequence of Event
        Entries up to now, and what is thought of for later.
    kit : Kit
        The farm's tools.
    latitude_deg : float
        North positive.

    Returns
    -------
    WeedHistory
        As `weed_history`.
    """
    assert outlook.is_wetting is not None
    wettings = past_wettings(
        ensemble, outlook.is_wetting, outlook.weights, ensemble.readings_from_hour
    )
    soil = np.average(outlook.surface_temp_c, axis=0, weights=outlook.weights)
    week = np.concatenate((np.full(167, soil[0]), soil))
    weekly = np.convolve(week, np.ones(168) / 168.0, mode="valid")
    return weed_history(
        outlook.planting,
        done,
        wettings,
        weed_settings(),
        kit.kills,
        kit.rules,
        weather,
        ensemble,
        weekly,
        latitude_deg,
        planned=planned,
    )


def told_of(
    planting: Planting,
    history: WeedHistory,
    ensemble: Ensemble,
    events: Sequence[Event],
    seed: int,
    from_hour: float = -np.inf,
) -> Told | None:
    """What the looks at one planting say by themselves.

    Parameters
    ----------
    planting : Planting
        The planting.
    history : WeedHistory
        Its openings and passes.
    ensemble : Ensemble
        Columns after their run.
    events : sequence of Event
        Entries that stand.
    seed : int
        The farm's seed.
    from_hour : float
        On the sky's clock: older looks are left aside.

    Returns
    -------
    Told or None
        None without a look within the hours that the weeds are followed.
    """
    first = max(float(ensemble.readings_from_hour), from_hour)
    seen = sightings_of(planting, events, ensemble.sky, first)
    if not seen:
        return None
    bed = WatchedPlanting(planting, ensemble, history, weed_settings(), _gates(), seed)
    return told_by(bed, planting.bed.name, planting.bed.soil, seen)


def learned_of(
    planting: Planting,
    history: WeedHistory,
    ensemble: Ensemble,
    told: Mapping[str, Told],
    before: Sequence[Evidence],
    seed: int,
) -> LearnedWeeds | None:
    """The particles of one planting after its own looks and those of its neighbours.

    Parameters
    ----------
    planting : Planting
        The planting.
    history : WeedHistory
        Its openings and passes.
    ensemble : Ensemble
        Columns after their run.
    told : mapping
        What looks said, by planting.
    before : sequence of Evidence
        Of looks that the weeds are no longer followed back to.
    seed : int
        The farm's seed.

    Returns
    -------
    LearnedWeeds or None
        None where nothing is known of its soil's weeds but the tables.
    """
    bed, soil = planting.bed.name, planting.bed.soil
    others = evidence_beside(planting.key, bed, told)
    known = [e for e in (*others, *before) if e.soil == soil and e.precision.any()]
    own = told.get(planting.key)
    if not known and (own is None or not own.groups):
        return None
    watched = WatchedPlanting(planting, ensemble, history, weed_settings(), _gates(), seed)
    return learned_weeds(watched, own, pooled(bed, soil, known), N_PARTICLES)


def weeds_of(
    outlook: Outlook,
    history: WeedHistory,
    learned: LearnedWeeds | None,
    ensemble: Ensemble,
    day: Day,
) -> WeedOutlook:
    """Weeds of one planting from now on, with the dates of its flush.

    Parameters
    ----------
    outlook : Outlook
        The planting's soil and flush clock.
    history : WeedHistory
        Openings and passes.
    learned : LearnedWeeds or None
        What looks made of its particles.
    ensemble : Ensemble
        Columns after their run.
    day : Day
        The clock.

    Returns
    -------
    WeedOutlook
        With its future.
    """
    planting, seed = outlook.planting, day.farm.seed
    found = weed_outlook(
        planting, ensemble, history, weed_settings(), _gates(), seed, weed_hours(day),
        has_future=True, learned=learned,
    )  # fmt: skip
    if outlook.flush.opened_hour is None:
        return found
    course = flush_course(
        planting, ensemble, history, weed_settings(), _gates(), seed,
        float(outlook.flush.opened_hour), STAGE_KILL_FRAC,
        learned,
    )  # fmt: skip
    return replace(found, course=course)


def is_same(told: Told | None, before: Told | None) -> bool:
    """Whether looks say the same as they did.

    Parameters
    ----------
    told, before : Told or None
        What they say, and what they said.

    Returns
    -------
    bool
        To the last bit.
    """
    if told is None or before is None:
        return told is before
    return (
        np.array_equal(told.evidence.mean, before.evidence.mean)
        and np.array_equal(told.evidence.precision, before.evidence.precision)
        and told.groups == before.groups
    )
