"""The stage of a planting's crop, member by member: up, leaves, rooted, height, cover."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.models.crop_growth import crop_heat_cd, growth_frac, height_mm, leaf_count
from scheduler.models.crops import ground_cover_frac
from scheduler.models.workability import member_shares
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.traits import NO_BLIND, CropTraits
from scheduler.records import BoolArray, FloatArray, Planting

_SEASON_C = 16.0  # air of the season that closing days were printed for
_WARM_DAY_CD = 11.0  # heat of a day of that season at least: crops of warmth are sown in it
_DEFAULT_CLOSE_D = 60.0  # of a crop without a closing day; its height grows till then
_UP_SHARE = 0.2  # of the days to closing until a sown crop is up, where nothing else is known
_MOST_COVER_FRAC = 0.9
_SET_HEIGHT_MM = 50.0  # of a plant just set


@dataclass(frozen=True)
class CropHours:
    """When a sown crop comes up, by member; NaN beyond sight. Gates take the earlier table."""

    first_up: FloatArray
    last_up: FloatArray
    last_blind: FloatArray
    last_flame: FloatArray


@dataclass(frozen=True)
class CropStage:
    """How far a crop is, by member and stored hour; arrays (n_members, n_stored).

    `leaves` are true leaves of a sown crop, NaN where no clock of its leaves is known and for set
    crops. `rooted_cd` is heat since setting, without end once the grower saw it rooted, 0 for a
    sown crop. `cover_frac` is their weighted mean, (n_stored,); `established_hour` the hour of the
    sky's clock at which it was sown or set.
    """

    is_up: BoolArray
    leaves: FloatArray
    rooted_cd: FloatArray
    height_mm: FloatArray
    cover_frac: FloatArray
    established_hour: float = np.nan


def hour_of_share(hours: FloatArray, weights: FloatArray, share: float) -> float | None:
    """Hour by which a share of the members' weight has come to something; NaN is never.

    Parameters
    ----------
    hours : array
        Hour of each member, NaN beyond sight, (n_members,).
    weights : array
        Member weights, (n_members,).
    share : float
        Share of the weight, above 0 and below 1.

    Returns
    -------
    float or None
        The quantile of `weighted_quantiles`; None where fewer members come to it at all.

    Notes
    -----
    Members beyond sight are later than all others: they count in the weight. Where the quantile
    falls between the last of the others and them it is the last of the others. Definition of this
    project. No range stated.

    Examples
    --------
    >>> hours = np.array([10.0, 20.0, np.nan, np.nan])
    >>> hour_of_share(hours, np.ones(4), 0.3), hour_of_share(hours, np.ones(4), 0.6)
    (17.0, None)
    """
    is_there = np.isfinite(hours)
    seen = float(np.sum(weights[is_there]) / np.sum(weights))
    if not is_there.any() or seen < share - 1e-9:
        return None
    filled = np.where(is_there, hours, hours[is_there].max())
    return float(weighted_quantiles(filled, weights, (share,))[0])


def is_buried(planting: Planting, crop: CropTraits) -> bool:
    """Whether a crop was set below ground, as a tuber or a clove, and comes up later.

    Parameters
    ----------
    planting : Planting
        The planting.
    crop : CropTraits
        Traits of its crop.

    Returns
    -------
    bool
        True for what is set, has no heat sum from seed, and stands a pass over its row.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from scheduler.records import Bed
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> p = Planting(bed, None, 0.0, 18.0, "potato", False, None, 1, None, 100.0)
    >>> is_buried(p, CropTraits(None, None, None, None, None, 65.0, 100.0, blind=2))
    True
    """
    return not planting.is_sown and crop.emergence_cd is None and crop.blind != NO_BLIND


def crop_stage(
    planting: Planting,
    crop: CropTraits,
    ensemble: Ensemble,
    emergence_hours: FloatArray | None,
    cover_frac: FloatArray,
    weights: FloatArray | None = None,
) -> CropStage | None:
    """Stage of a planting's crop from the air temperature of each member.

    Parameters
    ----------
    planting : Planting
        The planting; what the grower saw of it (`up_at`, `rooted_at`) outranks the clock.
    crop : CropTraits
        Traits of its crop.
    ensemble : Ensemble
        For the clock and the members' air temperature.
    emergence_hours : array or None
        Hour at which each member has the crop up, NaN beyond sight, (n_members,). None: not
        computed, as for a crop sown before the stored hours.
    cover_frac : array
        Cover by days, (n_stored,); it stands for a crop that never closes.
    weights : array, optional
        Member weights for the mean cover, (n_members,); equal by default.

    Returns
    -------
    CropStage or None
        None where no crop stands.

    Notes
    -----
    Heat of the air counts from emergence, from the hour it was seen up, or from setting. Days
    before the record carry the mean heat of the record up to now. Where emergence was not computed
    the air stands for the soil in its heat sum; a crop without a heat sum, as a tuber or a clove,
    is up after a fifth of its days to closing. Closing days, which `fao56_1998` prints by season,
    become heat in air of 16 C, or 11 C above the base where that is warmer. A plant is set 50 mm
    tall; what has no heat sum from seed starts from nothing.
    Definition of this project. Range as the tables it reads.

    Examples
    --------
    Lettuce set ten days ago in air of 15 C has 100 degree-days above 5 C.

    >>> from datetime import UTC, datetime, timedelta
    >>> from types import SimpleNamespace
    >>> from scheduler.records import Bed
    >>> start = datetime(2013, 5, 1, tzinfo=UTC)
    >>> air = SimpleNamespace(air_temp_c=np.full((2, 480), 15.0))
    >>> clock = lambda moment: int((moment - start) // timedelta(hours=1))
    >>> sky = SimpleNamespace(forcing=air, now_hour=240, hour_of=clock)
    >>> ensemble = SimpleNamespace(sky=sky, stored_from_hour=0)
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> p = Planting(bed, None, 0.0, 18.0, "lettuce", False, start, 3, 250.0, None)
    >>> lettuce = CropTraits(2.8, 47.0, 25.0, None, None, 50.0, None, height_mm=300.0)
    >>> stage = crop_stage(p, lettuce, ensemble, None, np.zeros(480))
    >>> stage.rooted_cd[:, 239].round(3).tolist(), bool(stage.is_up.all())
    ([100.0, 100.0], True)
    """
    if planting.crop is None or planting.established_at is None:
        return None
    sky, stored = ensemble.sky, ensemble.stored_from_hour
    heat = crop_heat_cd(sky.forcing.air_temp_c, crop.leaf_base_c)
    hours = np.arange(stored, heat.shape[1])
    established = float(sky.hour_of(planting.established_at))
    up_hour = _up_hours(planting, crop, ensemble, emergence_hours)
    grown_cd = _heat_since(heat, up_hour, sky.now_hour)[:, stored:]
    is_up = hours[None, :] >= np.nan_to_num(up_hour, nan=np.inf)[:, None]
    rooted_cd = np.zeros_like(grown_cd)
    if not planting.is_sown:
        rooted_cd = _heat_since(heat, np.full(heat.shape[0], established), sky.now_hour)[:, stored:]
        if planting.rooted_at is not None:
            rooted_cd[:, hours >= sky.hour_of(planting.rooted_at)] = np.inf
    leaves = np.full_like(grown_cd, np.nan)
    if planting.is_sown and crop.first_leaf_cd is not None and crop.leaf_cd is not None:
        leaves = np.where(is_up, leaf_count(grown_cd, crop.first_leaf_cd, crop.leaf_cd), 0.0)
    way = 1.0 - _UP_SHARE if planting.is_sown or is_buried(planting, crop) else 1.0
    grown = growth_frac(grown_cd, way * _closing_cd(crop))
    is_plant = not planting.is_sown and crop.emergence_cd is not None
    height = height_mm(grown, crop.height_mm or 0.0, _SET_HEIGHT_MM if is_plant else 0.0)
    height[~is_up] = 0.0
    if crop.close_d is not None:
        by_member = ground_cover_frac(grown, 1.0, 0.0, is_plant, _MOST_COVER_FRAC)
        share = member_shares(weights, grown.shape[0])
        cover_frac = share @ np.where(is_up, by_member, 0.0)
    return CropStage(is_up, leaves, rooted_cd, height, cover_frac, established)


def _closing_cd(crop: CropTraits) -> float:
    """Heat from sowing or setting to closing."""
    return (crop.close_d or _DEFAULT_CLOSE_D) * max(_SEASON_C - crop.leaf_base_c, _WARM_DAY_CD)


def _up_hours(
    planting: Planting,
    crop: CropTraits,
    ensemble: Ensemble,
    emergence_hours: FloatArray | None,
) -> FloatArray:
    """Hour from which each member has the crop above ground; NaN beyond sight."""
    sky = ensemble.sky
    air_temp_c = sky.forcing.air_temp_c
    n_members = air_temp_c.shape[0]
    is_plant = not planting.is_sown and not is_buried(planting, crop)
    seen = planting.up_at or (planting.established_at if is_plant else None)
    if seen is not None:
        return np.full(n_members, float(sky.hour_of(seen)))
    if emergence_hours is not None:
        return emergence_hours
    if crop.emergence_base_c is not None and crop.emergence_cd is not None:
        heat = crop_heat_cd(air_temp_c, crop.emergence_base_c)
        need_cd = crop.emergence_cd
    else:
        heat = crop_heat_cd(air_temp_c, crop.leaf_base_c)
        need_cd = _UP_SHARE * _closing_cd(crop)
    assert planting.established_at is not None
    sown = float(sky.hour_of(planting.established_at))
    is_there = _heat_since(heat, np.full(n_members, sown), sky.now_hour) >= need_cd
    up = np.where(is_there.any(axis=1), is_there.argmax(axis=1) + 1.0, np.nan)
    if sown < 0.0:  # perhaps up before the record
        mean_cd = np.maximum(heat[:, : max(sky.now_hour, 1)].mean(axis=1), 1e-9)
        up = np.where(is_there[:, 0], np.minimum(sown + need_cd / mean_cd, 0.0), up)
    return up


def _heat_since(heat_cd: FloatArray, from_hour: FloatArray, now_hour: int) -> FloatArray:
    """Heat by the end of each hour since an hour of each member, 0 before it and beyond sight.

    Hours before the record carry the mean heat of the record up to now.
    """
    n_members, n_hours = heat_cd.shape
    so_far = np.concatenate((np.zeros((n_members, 1)), np.cumsum(heat_cd, axis=1)), axis=1)
    start = np.nan_to_num(from_hour, nan=float(n_hours))
    within = np.clip(start, 0.0, n_hours).astype(np.int64)
    mean_cd = heat_cd[:, : max(now_hour, 1)].mean(axis=1)
    before_cd = np.maximum(-start, 0.0) * mean_cd - so_far[np.arange(n_members), within]
    since_cd: FloatArray = np.maximum(so_far[:, 1:] + before_cd[:, None], 0.0)
    return since_cd
