"""Crops: when they come up, how much ground they cover, how much water they take."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from scheduler.errors import RangeError
from scheduler.records import BoolArray, FloatArray, IntArray

NEVER = -1
TABLE_DEPTH_MM = 13.0


def ground_cover_frac(
    days_since_establishment_d: ArrayLike,
    close_d: ArrayLike,
    emergence_d: ArrayLike,
    is_transplant: ArrayLike,
    max_cover_frac: ArrayLike,
    transplant_cover_frac: float = 0.05,
) -> FloatArray:
    """Share of the ground under leaves, from sowing or planting to closing.

    A smooth step from the start of leaf growth to closing: ``x = (d - start)/(close - start)`` held
    within 0 and 1, ``cover = c0 + (max - c0) x^2 (3 - 2x)``. A sown crop starts at its emergence
    with nothing; a transplant starts when it is planted, with a little.

    Parameters
    ----------
    days_since_establishment_d : ArrayLike
        Days since sowing or planting [d]; before it the cover is 0. Any shape.
    close_d : ArrayLike
        Days from sowing or planting to the largest cover [d].
    emergence_d : ArrayLike
        Days from sowing to emergence [d], below `close_d`; not used for transplants.
    is_transplant : ArrayLike
        Whether the crop was set as a plant.
    max_cover_frac : ArrayLike
        Largest cover, 0 to 1; well below 1 for crops that never close.
    transplant_cover_frac : float
        Cover of a fresh transplant, 0 to 1.

    Returns
    -------
    FloatArray
        Cover, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If closing does not lie after the start of growth, or a share is not within 0 to 1.

    Notes
    -----
    Construction of this project. Closing days are initial plus development stage of `fao56_1998`
    Table 11. Cold springs are slower, this clock does not see them. No range stated.

    Examples
    --------
    >>> ground_cover_frac([0.0, 10.0, 35.0, 60.0, 90.0], 60.0, 10.0, False, 0.9).tolist()
    [0.0, 0.0, 0.45, 0.9, 0.9]
    """
    days = np.asarray(days_since_establishment_d, dtype=np.float64)
    is_set = np.asarray(is_transplant, dtype=bool)
    largest = np.asarray(max_cover_frac, dtype=np.float64)
    start = np.where(is_set, 0.0, np.asarray(emergence_d, dtype=np.float64))
    length = np.asarray(close_d, dtype=np.float64) - start
    if not np.all((length > 0.0) & np.isfinite(length)):
        raise RangeError(
            f"close_d: found {np.min(np.asarray(close_d)):g}, must be a number of days after "
            "emergence (after planting for transplants)"
        )
    if not (np.all((largest >= 0.0) & (largest <= 1.0)) and 0.0 <= transplant_cover_frac <= 1.0):
        raise RangeError(
            f"max_cover_frac and transplant_cover_frac: found {np.max(largest):g} and "
            f"{transplant_cover_frac:g}, must be 0 to 1"
        )
    first = np.where(is_set, np.minimum(transplant_cover_frac, largest), 0.0)
    grown = np.clip((days - start) / length, 0.0, 1.0)
    cover = first + (largest - first) * grown**2 * (3.0 - 2.0 * grown)
    return np.asarray(np.where(days < 0.0, 0.0, cover))


def basal_crop_coefficient(
    cover_frac: ArrayLike, kcb_initial: float = 0.15, kcb_full: float = 0.70
) -> FloatArray:
    """Transpiration of a crop over reference evapotranspiration, by its cover.

    ``Kcb = Kcb_initial + (Kcb_full - Kcb_initial) cover`` where anything grows, 0 on bare ground.

    Parameters
    ----------
    cover_frac : ArrayLike
        Ground cover, 0 to 1, any shape.
    kcb_initial, kcb_full : float
        Coefficient of a young crop and at full cover [-].

    Returns
    -------
    FloatArray
        Basal crop coefficient [-], same shape.

    Raises
    ------
    RangeError
        If the cover is not within 0 to 1.

    Notes
    -----
    Initial value `fao56_1998` Table 17; 0.70 at full cover came out of this project's comparison
    with measured soil water under grass (range 0.5 to 0.9).

    Examples
    --------
    >>> basal_crop_coefficient([0.0, 0.001, 0.5, 1.0]).round(3).tolist()
    [0.0, 0.151, 0.425, 0.7]
    """
    cover = np.asarray(cover_frac, dtype=np.float64)
    if not np.all((cover >= 0.0) & (cover <= 1.0)):
        raise RangeError(
            f"cover_frac: found {np.min(cover):g} to {np.max(cover):g}, must be numbers 0 to 1"
        )
    return np.asarray(np.where(cover > 0.0, kcb_initial + (kcb_full - kcb_initial) * cover, 0.0))


def emergence_heat_cd(
    soil_temp_c: ArrayLike,
    base_c: float,
    cap_c: float,
    ceiling_c: float = np.inf,
    coldest_c: float = -np.inf,
    suction_kpa: ArrayLike = 0.0,
    dry_kpa: ArrayLike = np.inf,
) -> FloatArray:
    """Degree-days that each hour adds towards the emergence of a sown crop.

    ``max(0, min(T, cap) - Tb)/24``; nothing above `ceiling_c`, below `coldest_c`, or while the soil
    is drier than `dry_kpa`.

    Parameters
    ----------
    soil_temp_c : ArrayLike
        Soil temperature at sowing depth [C], (n_members, n_hours).
    base_c : float
        Base temperature of the heat sum [C].
    cap_c : float
        Temperature of fastest emergence [C], above the base.
    ceiling_c : float
        Temperature above which the clock stops [C], not below the cap.
    coldest_c : float
        Lowest temperature at which the crop came up in a trial [C]; keeps a line fitted to warmer
        soil from being carried on into the cold.
    suction_kpa : ArrayLike
        Suction at sowing depth [kPa], broadcast to the temperature.
    dry_kpa : ArrayLike
        Suction above which seed stands still [kPa].

    Returns
    -------
    FloatArray
        Heat of each hour [C d], >= 0, (n_members, n_hours).

    Raises
    ------
    RangeError
        If a temperature or suction is not a number, or the temperatures do not rise in order.

    Notes
    -----
    Heat sums fitted to `harrington_minges_1954`. Range: 5 C to the cap; stands thin out near the
    ceiling even where the days look short (spinach above 20 C, lettuce at 30 C).

    Examples
    --------
    >>> emergence_heat_cd([[1.0, 14.1, 26.1, 36.0]], 2.1, 25.0, ceiling_c=35.0).round(3).tolist()
    [[0.0, 0.5, 0.954, 0.0]]
    """
    if not base_c < cap_c <= ceiling_c:
        raise RangeError(
            f"emergence heat: found base_c {base_c:g}, cap_c {cap_c:g}, ceiling_c {ceiling_c:g}, "
            "must be base_c < cap_c <= ceiling_c"
        )
    temp, is_moist = _seedbed(soil_temp_c, suction_kpa, dry_kpa)
    is_growing = is_moist & (temp <= ceiling_c) & (temp >= coldest_c)
    heat = np.maximum(np.minimum(temp, cap_c) - base_c, 0.0) / 24.0
    return np.asarray(np.where(is_growing, heat, 0.0))


def emergence_progress_frac(
    soil_temp_c: ArrayLike,
    tested_temp_c: ArrayLike,
    tested_d: ArrayLike,
    suction_kpa: ArrayLike = 0.0,
    dry_kpa: ArrayLike = np.inf,
) -> FloatArray:
    """Share of the way to emergence that each hour adds, from a trial's days by temperature.

    The rate 1/days is interpolated between the temperatures at which the crop came up, and is 0
    outside them or while the soil is too dry. For crops whose days follow no straight heat sum.

    Parameters
    ----------
    soil_temp_c : ArrayLike
        Soil temperature at sowing depth [C], (n_members, n_hours).
    tested_temp_c : ArrayLike
        Temperatures at which the crop came up [C], rising, (n_tested,), at least 2.
    tested_d : ArrayLike
        Days from sowing to emergence at these [d], above 0, (n_tested,).
    suction_kpa : ArrayLike
        Suction at sowing depth [kPa], broadcast to the temperature.
    dry_kpa : ArrayLike
        Suction above which seed stands still [kPa].

    Returns
    -------
    FloatArray
        Share of the way, >= 0, (n_members, n_hours).

    Raises
    ------
    RangeError
        If a temperature or suction is not a number, or the trial's rows do not rise or fit.

    Notes
    -----
    Rows of `harrington_minges_1954`. Range: the temperatures tested.

    Examples
    --------
    >>> bean_c, bean_d = [15.0, 20.0, 25.0, 30.0, 35.0], [16.0, 11.0, 8.0, 6.0, 6.0]
    >>> (24.0 * emergence_progress_frac([[10.0, 20.0]], bean_c, bean_d)).round(4).tolist()
    [[0.0, 0.0909]]
    """
    tested = np.asarray(tested_temp_c, dtype=np.float64)
    days = np.asarray(tested_d, dtype=np.float64)
    if (
        tested.ndim != 1
        or tested.shape != days.shape
        or tested.size < 2
        or not np.all(np.diff(tested) > 0.0)
        or not np.all(days > 0.0)
    ):
        raise RangeError(
            f"tested_temp_c and tested_d: found {tested.tolist()} and {days.tolist()}, must be two "
            "or more rising temperatures with days above 0 for each"
        )
    temp, is_moist = _seedbed(soil_temp_c, suction_kpa, dry_kpa)
    rate = np.interp(temp, tested, 1.0 / days, left=0.0, right=0.0) / 24.0
    return np.asarray(np.where(is_moist, rate, 0.0))


def emergence_need_cd(
    theta_cd: ArrayLike, sowing_depth_mm: ArrayLike, deeper_frac_per_10mm: float = 0.08
) -> FloatArray:
    """Degree-days a crop needs to come up from its sowing depth.

    ``theta (1 + 0.08 (depth - 13 mm)/10 mm)``; shallower than 13 mm it is `theta_cd`.

    Parameters
    ----------
    theta_cd : ArrayLike
        Degree-days from 13 mm [C d], above 0, any shape.
    sowing_depth_mm : ArrayLike
        Sowing depth [mm], >= 0.
    deeper_frac_per_10mm : float
        Extra share for every 10 mm beyond 13 mm [-].

    Returns
    -------
    FloatArray
        Degree-days [C d], broadcast shape.

    Raises
    ------
    RangeError
        If a heat sum is not above 0 or a depth is negative.

    Notes
    -----
    13 mm is the depth of `harrington_minges_1954`; the extra share is an assumption. A crust adds
    days that are not counted here. Range: to about 60 mm.

    Examples
    --------
    >>> emergence_need_cd(100.0, [5.0, 13.0, 33.0]).round(6).tolist()
    [100.0, 100.0, 116.0]
    """
    need = np.asarray(theta_cd, dtype=np.float64)
    depth = np.asarray(sowing_depth_mm, dtype=np.float64)
    if not (np.all(need > 0.0) and np.all(depth >= 0.0)):
        raise RangeError(
            f"theta_cd and sowing_depth_mm: found {np.min(need):g} and {np.min(depth):g}, must be "
            "above 0 and 0 or more"
        )
    deeper = np.maximum(depth - TABLE_DEPTH_MM, 0.0) / 10.0
    return np.asarray(need * (1.0 + deeper_frac_per_10mm * deeper))


def emergence_hour(
    progress: ArrayLike, need: ArrayLike, sown_hour: int, share: float = 1.0
) -> IntArray:
    """Hour by whose end a sown crop is up, or has done a share of the way.

    Parameters
    ----------
    progress : ArrayLike
        What each hour adds: heat [C d] of `emergence_heat_cd`, or share of the way [-] of
        `emergence_progress_frac`; (n_members, n_hours).
    need : ArrayLike
        What emergence takes, in the same unit: `emergence_need_cd` [C d], or for shares of the way
        `emergence_need_cd` of 1; scalar or (n_members,).
    sown_hour : int
        Hour at whose start the crop was sown, 0 to n_hours - 1.
    share : float
        Share of the way, above 0: 1 for emergence, below for gates such as the last blind pass.

    Returns
    -------
    IntArray
        Hour index, -1 if not within the series, (n_members,).

    Raises
    ------
    RangeError
        If the progress is negative or not complete, or sowing lies outside the series.

    Notes
    -----
    Range as the progress. Definition of this project.

    Examples
    --------
    >>> emergence_hour([[0.5] * 10, [0.1] * 10], 2.0, sown_hour=1).tolist()
    [4, -1]
    """
    added = np.asarray(progress, dtype=np.float64)
    if added.ndim != 2 or not np.all(added >= 0.0):
        raise RangeError(
            f"progress: found shape {added.shape}, must be (n_members, n_hours) of numbers, 0 or "
            "more"
        )
    if not 0 <= sown_hour < added.shape[1]:
        raise RangeError(
            f"sown_hour: found {sown_hour}, must be 0 to {added.shape[1] - 1}; start the series "
            "before sowing"
        )
    if not share > 0.0:
        raise RangeError(f"share of the way to emergence: found {share:g}, must be above 0")
    whole = np.broadcast_to(np.asarray(need, dtype=np.float64), (added.shape[0],))
    if not np.all(whole > 0.0):
        raise RangeError(f"need: found {np.min(whole):g}, must be above 0")
    is_reached = np.cumsum(added[:, sown_hour:], axis=1) >= share * whole[:, None] * (1.0 - 1e-9)
    first = sown_hour + is_reached.argmax(axis=1)
    return np.where(is_reached.any(axis=1), first, NEVER).astype(np.int64)


def _seedbed(
    soil_temp_c: ArrayLike, suction_kpa: ArrayLike, dry_kpa: ArrayLike
) -> tuple[FloatArray, BoolArray]:
    """Temperature at sowing depth, and whether it is moist enough there."""
    temp = np.asarray(soil_temp_c, dtype=np.float64)
    suction = np.asarray(suction_kpa, dtype=np.float64)
    if np.isnan(temp).any() or np.isnan(suction).any():
        raise RangeError(
            "soil_temp_c and suction_kpa: found values that are not numbers, must be complete; run "
            "the soil column on weather without gaps"
        )
    return temp, np.asarray(suction <= np.asarray(dry_kpa, dtype=np.float64))
