"""What a pass kills: soil and weather around it, cover, uprooting, stacked tools, crop lost.

A tool's kill on a good day is a table value by zone and stage. Here it meets what the soil was and
what the weather does afterwards: part of the kill needs the uprooted weed to dry before the next
wetting. Drying is counted as a dose in mm of reference evapotranspiration, because no source gives
hours to death. Every argument must be complete: a value that is not a number is refused, never
turned into one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from scheduler.errors import RangeError
from scheduler.records import FloatArray

_SPELL_GAP_H = 6
_STACK_FRAC = 0.95
_DAILY_WETTINGS = 7.0
_BURIED_DAILY_FRAC = 0.9
_BURIED_DAILY_LARGE_FRAC = 0.8
_COVER_MM = (-20.0, 0.0, 10.0, 15.0, 20.0, 40.0)
_COVER_KILL_FRAC = (0.0, 0.17, 0.65, 0.90, 0.95, 1.0)
_HILLED_CLEAR_MM = (-10.0, 0.0, 20.0)
_HILLED_LOSS_FRAC = (0.95, 0.5, 0.0)
_UPROOTED_EMERGING_FRAC = 0.51
_UPROOTED_SEEDLING_FRAC = 0.21
_UPROOTED_AT_MM = 20.0
_DOUBLES_MM = (10.0, 30.0)  # between these the uprooting doubles
_DEPTH_POWER = float(np.log(2.0) / np.log(_DOUBLES_MM[1] / _DOUBLES_MM[0]))
_FASTEST_KM_H = 5.0


def drying_dose_mm(
    et0_mm: ArrayLike, water_mm: ArrayLike, rewet_mm: float = 1.0, gap_h: int = _SPELL_GAP_H
) -> FloatArray:
    """Reference evapotranspiration from the start of each hour until the next wetting.

    Water belongs to one spell while its hours start less than `gap_h` hours apart. A wetting is a
    spell of which `rewet_mm` or more is still to fall; it begins in its first wet hour. What fell
    before an hour does not count for it: an uprooted weed meets only the water after the pass. If
    no wetting comes, the dose runs to the end of the series, so that end bounds it.

    Parameters
    ----------
    et0_mm : ArrayLike
        Reference evapotranspiration of each hour [mm], >= 0, (n_members, n_hours) or (n_hours,).
    water_mm : ArrayLike
        Rain and sprinkled water of each hour [mm], >= 0, same shape or broadcast to it.
    rewet_mm : float
        Water of a spell that wets an uprooted weed again [mm], above 0.
    gap_h : int
        Hours from one wet hour to the next that part two spells [h], 1 or more.

    Returns
    -------
    FloatArray
        Drying dose of a pass at the start of each hour [mm], >= 0, broadcast shape.

    Raises
    ------
    RangeError
        If water or evapotranspiration is negative or not a number, or a limit is out of its range.

    Notes
    -----
    Definition of this project; that wetting after uprooting saves weeds is `kurstjens_kropff_2001`
    and `lovely_1958`. No range stated.

    Examples
    --------
    >>> drying_dose_mm([0.2] * 6, [0.0, 0.3, 0.0, 0.0, 0.8, 0.0]).round(6).tolist()
    [0.2, 0.0, 0.8, 0.6, 0.4, 0.2]
    """
    demand, water = np.broadcast_arrays(
        _at_least(et0_mm, 0.0, "et0_mm"), _at_least(water_mm, 0.0, "water_mm")
    )
    if demand.ndim not in (1, 2):
        raise RangeError(
            f"et0_mm and water_mm: found shape {demand.shape}, must be (n_members, n_hours) or "
            "(n_hours,)"
        )
    if not (rewet_mm > 0.0 and np.isfinite(rewet_mm) and gap_h >= 1):
        raise RangeError(
            f"rewetting: found rewet_mm {rewet_mm:g}, gap_h {gap_h}, must be above 0 and 1 or more"
        )
    n_hours = demand.shape[-1]
    hour = np.arange(n_hours)
    fallen, dried = _running_sum(water), _running_sum(demand)
    is_wet = water > 0.0
    next_wet = _next_from(np.where(is_wet, hour, n_hours + gap_h), n_hours + gap_h)
    is_last = is_wet & (next_wet[..., 1:] - hour >= gap_h)
    spell_end = _next_from(np.where(is_last, hour, n_hours), n_hours)[..., :-1]
    after_spell = np.minimum(spell_end + 1, n_hours)
    to_fall = np.take_along_axis(fallen, after_spell, axis=-1) - fallen[..., :-1]
    is_wetting = is_wet & (to_fall >= rewet_mm - 1e-9)
    begin = _next_from(np.where(is_wetting, hour, n_hours), n_hours)[..., :-1]
    dose = np.take_along_axis(dried, begin, axis=-1) - dried[..., :-1]
    return np.asarray(np.maximum(dose, 0.0))


def dried_frac(dose_mm: ArrayLike, need_mm: ArrayLike) -> FloatArray:
    """Share of the drying effect that a drying dose has reached.

    ``1 - 10^(-dose/need)``: 0.9 at ``dose = need``. An infinite need stands for weeds that drying
    does not kill and gives 0.

    Parameters
    ----------
    dose_mm : ArrayLike
        Drying dose [mm], >= 0, any shape.
    need_mm : ArrayLike
        Dose of nine tenths of the effect [mm], above 0; infinite: never reached.

    Returns
    -------
    FloatArray
        Share, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If a dose is negative or not finite, or a need is not above 0.

    Notes
    -----
    Definition of this project; the needs by stage are assumptions. No range stated.

    Examples
    --------
    >>> dried_frac([0.0, 2.0, 4.0, 4.0], [2.0, 2.0, 2.0, float("inf")]).round(2).tolist()
    [0.0, 0.9, 0.99, 0.0]
    """
    dose = _at_least(dose_mm, 0.0, "dose_mm")
    need = np.asarray(need_mm, dtype=np.float64)
    if not np.all(need > 0.0):
        raise RangeError(
            f"need_mm: found {_least(need)}, must be above 0 (infinite: drying never kills)"
        )
    return np.asarray(-np.expm1(-np.log(10.0) * dose / need))


def dry_factor(dried_frac: ArrayLike, wet_after_frac: ArrayLike) -> FloatArray:
    """Share of the drying kill that is left, between a wetting at once and a dry bed.

    ``wet_after + (1 - wet_after) dried``.

    Parameters
    ----------
    dried_frac : ArrayLike
        Share of the drying effect reached, 0 to 1, any shape.
    wet_after_frac : ArrayLike
        Share left when the bed is wetted at once, 0 to 1.

    Returns
    -------
    FloatArray
        Factor, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If a share is not within 0 to 1.

    Notes
    -----
    Ends from `terpstra_kouwenhoven_1981` (sweeps) and `lovely_1958` (rotary hoe); straight between
    them by definition of this project. No range stated.

    Examples
    --------
    >>> dry_factor([0.0, 0.9, 1.0], 0.28).round(3).tolist()
    [0.28, 0.928, 1.0]
    """
    dried = _share(dried_frac, "dried_frac")
    least = _share(wet_after_frac, "wet_after_frac")
    return np.asarray(least + (1.0 - least) * dried)


def wet_before_factor(
    theta_m3m3: ArrayLike,
    working_m3m3: ArrayLike,
    wet_before_frac: ArrayLike,
    range_m3m3: float = 0.03,
) -> FloatArray:
    """Share of the kill that soil moist at the pass leaves.

    `wet_before_frac` at or above the working threshold, 1 where the soil is `range_m3m3` drier or
    more, straight between.

    Parameters
    ----------
    theta_m3m3 : ArrayLike
        Water content of the layer the tool moves [m3/m3], 0 to 1, any shape.
    working_m3m3 : ArrayLike
        Working threshold of the same soil [m3/m3], 0 to 1.
    wet_before_frac : ArrayLike
        Share of the kill left on visibly moist soil, 0 to 1.
    range_m3m3 : float
        How much drier the soil must be for the whole kill [m3/m3], above 0.

    Returns
    -------
    FloatArray
        Factor, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If a water content or a share is not within 0 to 1, or the range is not above 0.

    Notes
    -----
    That moist soil costs kill is `lovely_1958` (rotary hoe); the range is an assumption. Moist soil
    raises uprooting (`kurstjens_2000`) but not death. Above the threshold the pass itself is in
    question, see `scheduler.models.workability`.

    Examples
    --------
    >>> wet_before_factor([0.30, 0.25, 0.235, 0.15], 0.25, 0.6).round(3).tolist()
    [0.6, 0.6, 0.8, 1.0]
    """
    theta = _share(theta_m3m3, "theta_m3m3")
    working = _share(working_m3m3, "working_m3m3")
    least = _share(wet_before_frac, "wet_before_frac")
    if not (range_m3m3 > 0.0 and np.isfinite(range_m3m3)):
        raise RangeError(f"range_m3m3: found {range_m3m3:g}, must be above 0")
    dry = np.clip((working - theta) / range_m3m3, 0.0, 1.0)
    return np.asarray(least + (1.0 - least) * dry)


def kill_frac(
    good_frac: ArrayLike,
    drying_share: ArrayLike,
    bury_factor: ArrayLike = 1.0,
    dry_factor: ArrayLike = 1.0,
    wet_before_factor: ArrayLike = 1.0,
    setup_factor: ArrayLike = 1.0,
) -> FloatArray:
    """Share of the weeds in a zone that one pass kills under its soil and weather.

    ``E = E0 [(1 - u) bury + u dry] wet_before setup``, held at 1.

    Parameters
    ----------
    good_frac : ArrayLike
        Kill on a good day E0, 0 to 1, any shape.
    drying_share : ArrayLike
        Share u of that kill that needs the uprooted weed to dry, 0 to 1.
    bury_factor : ArrayLike
        Factor on the buried and cut part, 0 to 1 (`burial_factor`).
    dry_factor : ArrayLike
        Factor on the drying part, 0 to 1 (`dry_factor`).
    wet_before_factor : ArrayLike
        Factor of soil moist at the pass, 0 to 1 (`wet_before_factor`).
    setup_factor : ArrayLike
        Speed, depth, sand, clods and the like multiplied, >= 0; may exceed 1.

    Returns
    -------
    FloatArray
        Kill, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If a share is not within 0 to 1, or the set-up factor is negative or not finite.

    Notes
    -----
    Definition of this project; reproduces the wetted pass of `terpstra_kouwenhoven_1981` and the
    programmes of `lovely_1958`. No range stated.

    Examples
    --------
    >>> kill_frac(0.9, 33 / 90, dry_factor=[1.0, 0.64]).round(2).tolist()
    [0.9, 0.78]
    """
    good = _share(good_frac, "good_frac")
    drying = _share(drying_share, "drying_share")
    bury = _share(bury_factor, "bury_factor")
    dry = _share(dry_factor, "dry_factor")
    before = _share(wet_before_factor, "wet_before_factor")
    setup = _at_least(setup_factor, 0.0, "setup_factor")
    kill = good * ((1.0 - drying) * bury + drying * dry) * before * setup
    return np.asarray(np.clip(kill, 0.0, 1.0))


def stacked_kill_frac(first_frac: ArrayLike, second_frac: ArrayLike) -> FloatArray:
    """Share that two tools on one toolbar kill in the same zone.

    ``0.95 [1 - (1 - a)(1 - b)]``, never below the better of the two.

    Parameters
    ----------
    first_frac, second_frac : ArrayLike
        Kill of each tool alone, 0 to 1, any shape.

    Returns
    -------
    FloatArray
        Kill of both in one pass, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If a share is not within 0 to 1.

    Notes
    -----
    Stacked tools beat single ones, with synergy and antagonism both reported, so no bonus is given;
    the 0.95 is an assumption. No range stated.

    Examples
    --------
    >>> stacked_kill_frac([0.6, 0.0, 0.9], [0.5, 0.5, 0.1]).round(4).tolist()
    [0.76, 0.5, 0.9]
    """
    first = _share(first_frac, "first_frac")
    second = _share(second_frac, "second_frac")
    both = _STACK_FRAC * (1.0 - (1.0 - first) * (1.0 - second))
    return np.asarray(np.maximum(both, np.maximum(first, second)))


def burial_factor(n_rewettings: ArrayLike, is_large_seeded: ArrayLike = False) -> FloatArray:
    """Share of the burial kill left when the soil is wetted again after it.

    1 for none or one wetting in the week after the pass; 0.9 with daily wetting, 0.8 for weeds of
    large seed; straight between one and seven wettings, flat beyond.

    Parameters
    ----------
    n_rewettings : ArrayLike
        Wettings in the week after burial, >= 0, any shape.
    is_large_seeded : ArrayLike
        Whether the weeds grow from large seed.

    Returns
    -------
    FloatArray
        Factor, 0.8 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If the count is negative or not finite.

    Notes
    -----
    `mohler_2016`: one wetting is no worse than none, daily water lets most recover, large seeds
    best; size of the two factors and the line between are assumptions. Range: 0 to 7 wettings.

    Examples
    --------
    >>> burial_factor([0, 1, 4, 7, 9], False).round(3).tolist()
    [1.0, 1.0, 0.95, 0.9, 0.9]
    >>> burial_factor(7, True).round(3).tolist()
    0.8
    """
    count = _at_least(n_rewettings, 0.0, "n_rewettings")
    is_large = np.asarray(is_large_seeded, dtype=bool)
    daily = np.where(is_large, _BURIED_DAILY_LARGE_FRAC, _BURIED_DAILY_FRAC)
    towards = np.clip((count - 1.0) / (_DAILY_WETTINGS - 1.0), 0.0, 1.0)
    return np.asarray(1.0 - (1.0 - daily) * towards)


def covered_kill_frac(cover_mm: ArrayLike, plant_clear_mm: ArrayLike = 0.0) -> FloatArray:
    """Share of weeds that dies of soil thrown over them, by how far it covers their top.

    Straight between nodes: clear by 20 mm 0, just level 0.17, covered by 10 mm 0.65, 15 mm 0.90,
    20 mm 0.95, 40 mm 1.

    Parameters
    ----------
    cover_mm : ArrayLike
        Soil over the top of the plant [mm], >= 0, any shape.
    plant_clear_mm : ArrayLike
        How far the plant stands out of the new surface [mm], >= 0; only where the cover is 0.

    Returns
    -------
    FloatArray
        Kill, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If a length is negative or not finite, or a plant is both covered and clear.

    Notes
    -----
    Clear by 20 mm: about all survive (`bhu_2018`). Level: covered by a harrow but not uprooted, at
    most 17 % died (`kurstjens_kropff_2001`); any part showing, over half recover (`mohler_2016`).
    15 and 20 mm: lethal for small and for taller plants (`terpstra_kouwenhoven_1981`); 20 mm: 0 to
    24 % recover, rarely over 5 %, 40 mm: none (`mohler_2016`). At 10 mm the sources part: 95 % dead
    (`bhu_2018`), against a lethal cover of 15 mm and few deaths under a harrow's thin cover. The
    node there is an assumption between them: weeds take the less deadly reading, the crop
    (`hilled_crop_loss_frac`) the deadlier one.

    Examples
    --------
    >>> covered_kill_frac([0.0, 10.0, 20.0, 50.0]).round(3).tolist()
    [0.17, 0.65, 0.95, 1.0]
    >>> covered_kill_frac(0.0, [10.0, 20.0]).round(3).tolist()
    [0.085, 0.0]
    """
    cover = _at_least(cover_mm, 0.0, "cover_mm")
    clear = _at_least(plant_clear_mm, 0.0, "plant_clear_mm")
    if np.any((cover > 0.0) & (clear > 0.0)):
        raise RangeError(
            "cover_mm and plant_clear_mm: found a plant with both above 0, must be one or the "
            "other; give the soil over its top, or how far it stands clear"
        )
    return np.asarray(np.interp(cover - clear, _COVER_MM, _COVER_KILL_FRAC))


def hilled_crop_loss_frac(crop_clear_mm: ArrayLike) -> FloatArray:
    """Share of the crop lost when soil is thrown to its row.

    0 when it stands 20 mm clear of the new surface, 0.5 when level with it, 0.95 when 10 mm or more
    lies over its top; straight between.

    Parameters
    ----------
    crop_clear_mm : ArrayLike
        How far the crop stands out of the new surface [mm]; negative: soil over its top. Any shape.

    Returns
    -------
    FloatArray
        Loss, 0 to 0.95, same shape.

    Raises
    ------
    RangeError
        If a length is not a number.

    Notes
    -----
    `bhu_2018`: 20 mm clear about all survive, 10 mm over the top 95 % and more die; level:
    `mohler_2016`, over half recover while any part shows. No range stated.

    Examples
    --------
    >>> hilled_crop_loss_frac([30.0, 20.0, 10.0, 0.0, -10.0, -25.0]).tolist()
    [0.0, 0.0, 0.25, 0.5, 0.95, 0.95]
    """
    clear = np.asarray(crop_clear_mm, dtype=np.float64)
    if np.isnan(clear).any():
        raise RangeError("crop_clear_mm: found a value that is not a number, must be a length")
    return np.asarray(np.interp(clear, _HILLED_CLEAR_MM, _HILLED_LOSS_FRAC))


def uprooted_frac(depth_mm: ArrayLike, is_emerging: ArrayLike) -> FloatArray:
    """Share of weeds that the tines of a harrow pull out, by working depth.

    ``f (depth/20 mm)^p``, at most 1, with f 0.51 for emerging plants and 0.21 for seedlings, and
    ``p = ln 2/ln 3``, so that 30 mm uproots twice as many as 10 mm.

    Parameters
    ----------
    depth_mm : ArrayLike
        Working depth [mm], >= 0, any shape.
    is_emerging : ArrayLike
        Whether the plants are just coming up; otherwise seedlings.

    Returns
    -------
    FloatArray
        Share uprooted, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If a depth is negative or not finite.

    Notes
    -----
    Shares and doubling `kurstjens_2000` (abstract; sandy soil, laboratory). That they belong to 20
    mm, the middle of the depths compared, and the power between are of this project. Uprooted is
    not dead: 47 to 61 % of them died (`kurstjens_kropff_2001`). Range: 10 to 30 mm.

    Examples
    --------
    >>> uprooted_frac([10.0, 20.0, 30.0], True).round(3).tolist()
    [0.329, 0.51, 0.659]
    """
    depth = _at_least(depth_mm, 0.0, "depth_mm")
    share = np.where(
        np.asarray(is_emerging, dtype=bool), _UPROOTED_EMERGING_FRAC, _UPROOTED_SEEDLING_FRAC
    )
    return np.asarray(np.minimum(share * (depth / _UPROOTED_AT_MM) ** _DEPTH_POWER, 1.0))


def depth_factor(depth_mm: ArrayLike, usual_mm: ArrayLike = 20.0) -> FloatArray:
    """Kill of a tine at a working depth over its kill at the usual depth.

    ``(depth/usual)^p`` with ``p = ln 2/ln 3``; deeper than 30 mm (or than the usual depth, if that
    is more) adds nothing.

    Parameters
    ----------
    depth_mm : ArrayLike
        Working depth [mm], >= 0, any shape.
    usual_mm : ArrayLike
        Depth the tool's kill is given for [mm], above 0.

    Returns
    -------
    FloatArray
        Factor, 0 at depth 0, broadcast shape.

    Raises
    ------
    RangeError
        If a depth is negative, zero where it must not be, or not finite.

    Notes
    -----
    Follows the uprooting of `kurstjens_2000`; the same curve is fair for the crop stand lost. Range
    10 to 30 mm; for tines and harrows only, a hoe gains under a tenth from 25 to 40 mm
    (`terpstra_kouwenhoven_1981`).

    Examples
    --------
    >>> depth_factor([0.0, 10.0, 20.0, 30.0, 50.0]).round(3).tolist()
    [0.0, 0.646, 1.0, 1.292, 1.292]
    """
    depth = _at_least(depth_mm, 0.0, "depth_mm")
    usual = _at_least(usual_mm, 0.0, "usual_mm")
    if not np.all(usual > 0.0):
        raise RangeError(f"usual_mm: found {_least(usual)}, must be above 0")
    deepest = np.maximum(usual, _DOUBLES_MM[1])
    return np.asarray((np.minimum(depth, deepest) / usual) ** _DEPTH_POWER)


def speed_factor(
    speed_m_s: ArrayLike, usual_m_s: ArrayLike, gain_frac_per_km_h: ArrayLike
) -> FloatArray:
    """Kill of a tool at its speed over its kill at the usual speed.

    ``1 + gain (v - usual)`` in km/h, counted up to 5 km/h, not below 0.

    Parameters
    ----------
    speed_m_s : ArrayLike
        Working speed [m/s], >= 0, any shape.
    usual_m_s : ArrayLike
        Speed the tool's kill is given for [m/s], >= 0.
    gain_frac_per_km_h : ArrayLike
        Gain for each km/h more [1/(km/h)], 0 to 1.

    Returns
    -------
    FloatArray
        Factor, >= 0, broadcast shape.

    Raises
    ------
    RangeError
        If a speed is negative or not finite, or the gain is not within 0 to 1.

    Notes
    -----
    That faster kills more is `kurstjens_2000` and `ascard_bellinder_1996`; its size is an
    assumption. Range: to 5 km/h, beyond which nothing is added.

    Examples
    --------
    >>> speed_factor([0.5, 1.0, 2.0], 1.0, 0.05).round(3).tolist()
    [0.91, 1.0, 1.07]
    """
    speed = np.minimum(3.6 * _at_least(speed_m_s, 0.0, "speed_m_s"), _FASTEST_KM_H)
    usual = np.minimum(3.6 * _at_least(usual_m_s, 0.0, "usual_m_s"), _FASTEST_KM_H)
    gain = _share(gain_frac_per_km_h, "gain_frac_per_km_h")
    return np.asarray(np.maximum(1.0 + gain * (speed - usual), 0.0))


def survivors_frac(kills_frac: ArrayLike) -> FloatArray:
    """Share of the weeds that outlives a sequence of passes.

    ``(1 - k1)(1 - k2)...`` along the last axis; 1 for no pass.

    Parameters
    ----------
    kills_frac : ArrayLike
        Kill of each pass, 0 to 1, (..., n_passes).

    Returns
    -------
    FloatArray
        Share alive, 0 to 1, (...).

    Raises
    ------
    RangeError
        If a share is not within 0 to 1.

    Notes
    -----
    Takes each pass as blind to what the last one left; survivors are often the better rooted ones,
    so this is the hopeful end. No range stated. Definition of this project.

    Examples
    --------
    >>> survivors_frac([[0.5, 0.5, 0.2], [0.0, 0.0, 1.0]]).round(3).tolist()
    [0.2, 0.0]
    """
    return np.asarray(np.prod(1.0 - _share(kills_frac, "kills_frac"), axis=-1))


def stand_loss_frac(passes_loss_frac: ArrayLike) -> FloatArray:
    """Share of the crop stand that a sequence of passes takes.

    ``1 - (1 - l1)(1 - l2)...`` along the last axis; 0 for no pass.

    Parameters
    ----------
    passes_loss_frac : ArrayLike
        Share of the standing crop lost in each pass, 0 to 1, (..., n_passes).

    Returns
    -------
    FloatArray
        Share of the first stand lost, 0 to 1, (...).

    Raises
    ------
    RangeError
        If a share is not within 0 to 1.

    Notes
    -----
    No range stated. Definition of this project.

    Examples
    --------
    >>> stand_loss_frac([0.03, 0.03, 0.05]).round(4).tolist()
    0.1061
    """
    left = np.prod(1.0 - _share(passes_loss_frac, "passes_loss_frac"), axis=-1)
    return np.asarray(1.0 - left)


def spread_kill_frac(kill_frac: ArrayLike, z: ArrayLike, ln_sd: ArrayLike) -> FloatArray:
    """Kill of one drawn bed around the mean kill of its kind.

    ``1 - (1 - k)^exp(ln_sd z)``: the dose of work varies from bed to bed, so a kill of 0 stays 0
    and one of 1 stays 1.

    Parameters
    ----------
    kill_frac : ArrayLike
        Median kill, 0 to 1, any shape.
    z : ArrayLike
        Standard normal draws, one for each bed or member [-]; above 0 more is killed.
    ln_sd : ArrayLike
        Standard deviation of the logarithm of the dose [-], >= 0.

    Returns
    -------
    FloatArray
        Kill, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If a share is not within 0 to 1, a draw is not finite or a spread is negative.

    Notes
    -----
    Definition of this project. Within a field, kill runs from about 5 to 95 % around a mean of 60
    (extension synthesis) and from 18 to 93 % over 12 trials (`cirujeda_cereals`). No range stated.

    Examples
    --------
    >>> spread_kill_frac(0.6, [-1.28, 0.0, 1.28], 0.8).round(2).tolist()
    [0.28, 0.6, 0.92]
    >>> spread_kill_frac([0.0, 1.0], -2.0, 0.8).tolist()
    [0.0, 1.0]
    """
    kill = _share(kill_frac, "kill_frac")
    spread = _at_least(ln_sd, 0.0, "ln_sd")
    draw = np.asarray(z, dtype=np.float64)
    if not np.isfinite(draw).all():
        raise RangeError("z: found a draw that is not a finite number, must be standard normal")
    return np.asarray(1.0 - (1.0 - kill) ** np.exp(spread * draw))


def _share(value: ArrayLike, name: str) -> FloatArray:
    """The value as an array, if every number of it lies within 0 to 1."""
    share = np.asarray(value, dtype=np.float64)
    is_fine = (share >= 0.0) & (share <= 1.0)
    if not np.all(is_fine):
        raise RangeError(
            f"{name}: found {_first_bad(share, is_fine)}, must be a number from 0 to 1; give a "
            "fraction, not percent"
        )
    return share


def _at_least(value: ArrayLike, least: float, name: str) -> FloatArray:
    """The value as an array, if every number of it is finite and not below `least`."""
    given = np.asarray(value, dtype=np.float64)
    is_fine = (given >= least) & (given < np.inf)
    if not np.all(is_fine):
        raise RangeError(
            f"{name}: found {_first_bad(given, is_fine)}, must be a finite number, {least:g} or "
            "more; fill gaps before the pass is judged"
        )
    return given


def _first_bad(value: FloatArray, is_fine: Any) -> str:
    return f"{value[~is_fine].flat[0]:g}"


def _least(value: FloatArray) -> str:
    return f"{np.min(value):g}"


def _running_sum(value: FloatArray) -> FloatArray:
    """Sum before each hour and after the last, (..., n_hours + 1)."""
    total = np.zeros((*value.shape[:-1], value.shape[-1] + 1))
    np.cumsum(value, axis=-1, out=total[..., 1:])
    return total


def _next_from(hour: Any, none: int) -> Any:
    """The next marked hour at or after each, `none` beyond the last, (..., n_hours + 1)."""
    padded = np.full((*hour.shape[:-1], hour.shape[-1] + 1), none)
    padded[..., :-1] = hour
    return np.minimum.accumulate(padded[..., ::-1], axis=-1)[..., ::-1]
