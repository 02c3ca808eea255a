"""The weeks in which weeds cost a crop its yield: from when it must be clean, and until when."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from scheduler.models.crop_growth import crop_heat_cd
from scheduler.planning.crop_stage import _UP_SHARE, _closing_cd, _heat_since, is_buried
from scheduler.planning.day import Day
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.outlook import Outlook
from scheduler.planning.traits import CropTraits
from scheduler.records import Planting

_SPRING_MONTH = 3  # from its first day on, in the north
_SPRING_MONTH_SOUTH = 9
_WINTER = timedelta(days=182)  # set within that time before spring: it rests until then


def weed_free_window_h(
    planting: Planting, crop: CropTraits | None, outlook: Outlook, day: Day
) -> tuple[float, float] | None:
    """First and last hour between which weeds cost a crop its yield.

    Parameters
    ----------
    planting : Planting
        The planting; what the grower saw of it outranks the clock.
    crop : CropTraits or None
        Traits of its crop.
    outlook : Outlook
        Its emergence by member.
    day : Day
        The clock, its weather and the latitude of its farm.

    Returns
    -------
    (float, float) or None
        Hours on the sky's clock [h]; None where no window is known: an empty bed, a crop without
        one, or one of unknown age.

    Notes
    -----
    The days of the table count from coming up, of a plant from setting: as it was seen, else by the
    median of the members, else by the heat of the air since sowing. A tuber or a clove counts from
    coming up likewise; set in the half year before spring (1 March, in the south 1 September) it
    rests until then, as winter days neither let it grow nor the weeds. Beyond sight it comes up at
    the end of what is in sight. Definition of this project around the windows of the tables. Range:
    temperate climates. Worked: tests/planning/test_window.py.
    """
    if planting.crop is None or planting.established_at is None:
        return None
    if crop is None or crop.weed_free_to_d is None:
        return None
    begin = _begins_h(planting, crop, outlook, day)
    return begin + 24.0 * (crop.weed_free_from_d or 0.0), begin + 24.0 * crop.weed_free_to_d


def _begins_h(planting: Planting, crop: CropTraits, outlook: Outlook, day: Day) -> float:
    """Hour at which the days of the table begin to count."""
    sky = day.sky
    assert planting.established_at is not None
    if is_buried(planting, crop):
        spring = spring_after(planting.established_at, day.farm.place.latitude_deg)
        if spring - planting.established_at <= _WINTER:
            planting = replace(planting, established_at=spring)
            if planting.up_at is not None and planting.up_at < spring:
                return (spring - sky.start_at) / timedelta(hours=1)
    if planting.up_at is not None:
        return (planting.up_at - sky.start_at) / timedelta(hours=1)
    if not planting.is_sown and not is_buried(planting, crop):
        assert planting.established_at is not None
        return (planting.established_at - sky.start_at) / timedelta(hours=1)
    if outlook.emergence_hours is not None:
        hours = np.nan_to_num(outlook.emergence_hours, nan=float(sky.n_hours))
        return float(weighted_quantiles(hours, outlook.weights)[1])
    return _by_heat_h(planting, crop, day)


def spring_after(moment: datetime, latitude_deg: float) -> datetime:
    """The first of spring after a moment.

    Parameters
    ----------
    moment : datetime
        Aware moment.
    latitude_deg : float
        North positive.

    Returns
    -------
    datetime
        1 March (UTC), in the south 1 September.

    Notes
    -----
    Assumption of this project. Range: temperate climates.

    Examples
    --------
    >>> spring_after(datetime(2012, 10, 20, tzinfo=UTC), 42.0).date().isoformat()
    '2013-03-01'
    """
    month = _SPRING_MONTH if latitude_deg >= 0.0 else _SPRING_MONTH_SOUTH
    spring = datetime(moment.year, month, 1, tzinfo=UTC)
    return spring if spring > moment else spring.replace(year=moment.year + 1)


def _by_heat_h(planting: Planting, crop: CropTraits, day: Day) -> float:
    """Hour at which a crop whose emergence is not computed comes up by the heat of the mean air."""
    sky = day.sky
    assert planting.established_at is not None
    base_c, need_cd = crop.emergence_base_c, crop.emergence_cd
    if base_c is None or need_cd is None:
        base_c, need_cd = crop.leaf_base_c, _UP_SHARE * _closing_cd(crop)
    heat = crop_heat_cd(sky.forcing.air_temp_c.mean(axis=0, keepdims=True), base_c)
    since = (planting.established_at - sky.start_at) / timedelta(hours=1)
    is_up = _heat_since(heat, np.array([since]), sky.now_hour)[0] >= need_cd
    if not is_up.any():
        return float(sky.n_hours)
    if is_up[0] and since < 0.0:  # up before the record
        mean_cd = max(float(heat[0, : max(sky.now_hour, 1)].mean()), 1e-9)
        return float(min(since + need_cd / mean_cd, 0.0))
    return float(is_up.argmax() + 1)
