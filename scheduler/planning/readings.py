"""What one planting's answer says of soil, crust, flush and weeds, before any verdict."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from scheduler.planning.day import FIT_CHANCE, Day, local_moment
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.hours import local_day
from scheduler.planning.outlook import FlushOutlook, Outlook, WorkOutlook
from scheduler.planning.weeds import BETWEEN, IN_ROW, HandRates, WeedOutlook
from scheduler.records import (
    BedAnswer,
    CrustAnswer,
    FloatArray,
    FlushAnswer,
    Planting,
    Range,
    SoilAnswer,
)

_WEED_STAGES_HAND = slice(1, 5)
_CRUST_CHANCE = 0.2  # from which a crust to come is told
_WETTING_CHANCE = 0.3  # from which a wetting to come is told


def base_answer(outlook: Outlook, day: Day) -> BedAnswer:
    """Soil, crust, flush and planting of an answer; the verdict is still to be given.

    Parameters
    ----------
    outlook : Outlook
        The planting's outlook.
    day : Day
        The clock.

    Returns
    -------
    BedAnswer
        Verdict `nothing`, `clean` until another is given.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_order.py; whole
    mornings: tests/scenes.
    """
    sky, stored = day.sky, day.stored
    now = sky.now_hour - stored
    work = ruling_work(outlook, day)
    first = next(
        (
            i
            for i in range(now, work.chance_frac.size - 1)
            if work.chance_frac[i] >= FIT_CHANCE and work.chance_frac[i + 1] >= FIT_CHANCE
        ),
        None,
    )
    w = outlook.weights
    planting = outlook.planting
    soil = SoilAnswer(
        float(work.chance_frac[max(now - 1, 0)]),
        None if first is None else local_moment(sky.at(stored + first), day),
        float(weighted_quantiles(outlook.surface_rel_water[:, max(now - 1, 0)], w)[1]),
        float(weighted_quantiles(outlook.surface_temp_c[:, max(now - 1, 0)], w)[1]),
    )
    break_by = None
    if outlook.first_up_hours is not None:
        hour = weighted_quantiles(outlook.first_up_hours, w)[0]
        if not np.isnan(hour):
            break_by = local_moment(sky.at(int(hour)), day)
    crust = CrustAnswer(
        float(weighted_quantiles(outlook.crust_index[:, max(now - 1, 0)], w)[1]),
        None
        if outlook.crust_expected_hour is None or outlook.crust_chance < _CRUST_CHANCE
        else local_moment(sky.at(outlook.crust_expected_hour), day),
        outlook.crust_chance,
        break_by if outlook.crust_chance >= _CRUST_CHANCE else None,
    )
    return BedAnswer(
        rank=None,
        bed=planting.bed.name,
        part=planting.part,
        crop=planting.crop,
        verdict="nothing",
        because="clean",
        until=None,
        sure=None,
        action=None,
        soil=soil,
        crust=crust,
        flush=flush_answer(outlook.flush, outlook.weights, day),
        why=(),
        is_sown=planting.is_sown,
        soil_name=planting.bed.soil,
        established_on=None
        if planting.established_at is None
        else local_day(planting.established_at, day.farm.place.time_zone),
    )


def flush_answer(flush: FlushOutlook, weights: FloatArray, day: Day) -> FlushAnswer:
    """A flush in dates and in growing degree-days.

    Parameters
    ----------
    flush : FlushOutlook
        The flush of one guild.
    weights : array
        Member weights, shape (n_members,).
    day : Day
        The clock.

    Returns
    -------
    FlushAnswer
        Medians; None beyond sight.

    Notes
    -----
    Definition of this project. No range stated. Worked mornings: tests/scenes.
    """
    sky = day.sky

    def moment(hour: float | None) -> datetime | None:
        return None if hour is None else local_moment(sky.at(round(hour)), day)

    def reached(name: str) -> datetime | None:
        return moment(_median(flush.reached[name], weights))

    next_at = flush.next_expected_hour if flush.next_chance >= _WETTING_CHANCE else None
    if flush.opened_hour is None:
        return FlushAnswer(None, None, None, None, None, None, None, moment(next_at))
    return FlushAnswer(
        moment(flush.opened_hour),
        flush.opened_by,
        flush.shares["heat"].mid,
        reached("first_thread"),
        reached("peak_thread"),
        reached("too_late"),
        flush.shares["to_come"],
        moment(next_at),
    )


def with_weeds(base: BedAnswer, weeds: WeedOutlook, day: Day) -> BedAnswer:
    """Weeds by stage, and the dates of the flush from the particles where these lie ahead.

    Parameters
    ----------
    base : BedAnswer
        As `base_answer` gives it.
    weeds : WeedOutlook
        Weeds of the planting; the first hour is now.
    day : Day
        The clock.

    Returns
    -------
    BedAnswer
        With weeds and dates.

    Notes
    -----
    Definition of this project. No range stated. Whole mornings: tests/scenes.
    """
    flush = base.flush
    to_come = weeds.to_come_m2(0)
    whole = to_come + weeds.density_m2(0).sum(axis=1)
    share = np.where(whole > 1e-6, to_come / np.maximum(whole, 1e-6), np.nan)
    quantiles = weighted_quantiles(share, weights=weeds.weights)
    if flush is not None and flush.opened_at is not None and np.isfinite(quantiles).all():
        flush = replace(flush, to_come_frac=Range(*(float(q) for q in quantiles)))
    if flush is not None and weeds.course is not None:
        course = weeds.course

        in_sight = local_moment(day.sky.at(day.sky.n_hours - 24), day)

        def moment(hour: float | None, by_clock: datetime | None) -> datetime | None:
            """By the particles; beyond their sight the clock's, if that is beyond it too."""
            if hour is not None:
                return local_moment(day.sky.at(round(hour)), day)
            return by_clock if by_clock is not None and by_clock > in_sight else None

        flush = replace(
            flush,
            thread_from=moment(course.thread_from_hour, flush.thread_from),
            thread_most_at=moment(course.thread_most_hour, flush.thread_most_at),
            last_good_at=moment(course.last_good_hour, flush.last_good_at),
        )
    return replace(base, weeds=weeds.ranges(0), flush=flush)


def hand_minutes(weeds: WeedOutlook, outlook: Outlook, hand: HandRates) -> Range:
    """Minutes to weed the planting by hand, from its weeds by stage.

    Parameters
    ----------
    weeds : WeedOutlook
        Weeds of the planting; the first hour is now.
    outlook : Outlook
        The planting.
    hand : HandRates
        Minutes a weed, in the row and between, and a metre of row.

    Returns
    -------
    Range
        Minutes [min].

    Notes
    -----
    Linear in the weeds (melander_rasmussen_2001): in the row each is picked, between the rows a hoe
    takes them in strides; the rates are assumptions. No range stated.
    Worked: tests/planning/test_readings.py.
    """
    minutes = particle_hand_minutes(weeds, outlook, hand)
    return Range(*(float(q) for q in weighted_quantiles(minutes, weeds.weights)))


def particle_hand_minutes(
    weeds: WeedOutlook, outlook: Outlook, hand: HandRates, time: int = 0
) -> FloatArray:
    """Minutes to weed the planting by hand at one of the hours of its weeds, by particle.

    Parameters
    ----------
    weeds : WeedOutlook
        Weeds of the planting.
    outlook : Outlook
        The planting.
    hand : HandRates
        Minutes a weed, in the row and between, and a metre of row.
    time : int
        Which of the hours; the first is now.

    Returns
    -------
    array
        Minutes (n_particles,) [min].

    Notes
    -----
    As `hand_minutes`. Worked: tests/planning/test_readings.py.
    """
    return counted_hand_minutes(weeds.count_m2[:, time], outlook.planting, weeds.row_share, hand)


def counted_hand_minutes(
    count_m2: FloatArray, planting: Planting, row_share: float, hand: HandRates
) -> FloatArray:
    """Minutes to weed a planting by hand, from its weeds by zone and stage.

    Parameters
    ----------
    count_m2 : array
        Weeds, (n_particles, 2 zones, 5 stages) [1/m2].
    planting : Planting
        The planting.
    row_share : float
        Of the bed that lies in the rows [-].
    hand : HandRates
        Minutes a weed, in the row and between, and a metre of row.

    Returns
    -------
    array
        Minutes (n_particles,) [min].

    Notes
    -----
    As `hand_minutes`.

    Examples
    --------
    Ten seed leaves on each square metre of a row band of 0.1 m and of the rest, 10 m long.

    >>> from scheduler.records import Bed
    >>> bed = Bed("A1", 10.0, 1.0, "loam")
    >>> p = Planting(bed, None, 0.0, 10.0, "carrot", True, None, 1, None, None)
    >>> hand = HandRates(np.full(4, 0.1), 0.05, np.full(4, 0.01))
    >>> weeds = np.zeros((1, 2, 5))
    >>> weeds[:, :, 1] = 10.0
    >>> counted_hand_minutes(weeds, p, 0.1, hand).round(6).tolist()
    [2.4]
    """
    metres = planting.to_m - planting.from_m
    area = metres * planting.bed.width_m
    rows = planting.n_rows or 1
    rates = ((IN_ROW, row_share, hand.stage_min), (BETWEEN, 1.0 - row_share, hand.between_min))
    each = sum(
        (count_m2[:, zone][:, _WEED_STAGES_HAND] @ a_weed * part * area
         for zone, part, a_weed in rates),
        np.zeros(count_m2.shape[0]),
    )  # fmt: skip
    return np.asarray(each + hand.row_metre_min * rows * metres)


def ruling_work(outlook: Outlook, day: Day) -> WorkOutlook:
    """When every one of the farm's own tools can work a bed: what is said where it has no line.

    Parameters
    ----------
    outlook : Outlook
        The planting's outlook.
    day : Day
        The clock.

    Returns
    -------
    WorkOutlook
        Where all can work, and hour by hour the chance of the tool that has the least.

    Notes
    -----
    Hour by hour, so that what comes later in the week does not change what is said of this morning.
    Definition of this project. No range stated. Worked: tests/planning/test_strip.py.
    """
    kinds = sorted({tool.key for tool in day.farm.tools}) or sorted(outlook.works)
    works = [outlook.works[kind] for kind in kinds]
    return WorkOutlook(
        np.logical_and.reduce([work.is_workable for work in works]),
        np.minimum.reduce([work.chance_frac for work in works]),
    )


def _median(hours: FloatArray, weights: FloatArray) -> float | None:
    value = weighted_quantiles(hours, weights)[1]
    return None if np.isnan(value) else float(value)
