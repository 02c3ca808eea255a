"""When soil can be worked: limits of water content, and chances over the members.

A tool at its depth works the soil well while the water content lies between a hard limit and a
working threshold. The threshold is the water held at a fixed suction on the member's own
retention curve, just below the drained state; a wet ceiling stands above it, beyond which soil
smears. The chance is the member weight whose soil lies between the limits.

Nothing here is a promise about one bed: pedotransfer curves miss by 0.05 to 0.08 m3/m3, so the
threshold is meant to be shifted by the grower's squeeze tests (`offset_m3m3`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from scheduler.errors import RangeError
from scheduler.records import BoolArray, FloatArray

WHEEL_BAND_MM = (50.0, 100.0)


@dataclass(frozen=True)
class WorkRange:
    """Water contents that bound tillage, and the suctions of two of them.

    Attributes
    ----------
    dry_m3m3, optimum_m3m3, wet_m3m3 : FloatArray
        Dry limit, optimum and wet limit [m3/m3].
    optimum_suction_kpa, dry_suction_kpa : FloatArray
        Suction at the optimum and at the dry limit [kPa].
    """

    dry_m3m3: FloatArray
    optimum_m3m3: FloatArray
    wet_m3m3: FloatArray
    optimum_suction_kpa: FloatArray
    dry_suction_kpa: FloatArray


_KPA_PER_CM = 0.0980665


def dexter_bird_range(
    theta_r_m3m3: ArrayLike, theta_s_m3m3: ArrayLike, alpha_per_cm: ArrayLike, n: ArrayLike
) -> WorkRange:
    """Range of water contents for tillage from a van Genuchten curve.

    The optimum is the inflection of water content against log suction, the wet limit lies 0.4 of
    the way from there to saturation, the dry limit is the water content at about twice the
    strength the soil has at the optimum, in closed form::

        m = 1 - 1/n
        h_opt = (1/alpha) (1/m)^(1/n)          theta_opt = theta_r + (theta_s - theta_r)(1 + 1/m)^-m
        theta_wet = theta_opt + 0.4 (theta_s - theta_opt)
        h_dry = 2 h_opt n^1.1                  theta_dry = theta(h_dry)

    Parameters
    ----------
    theta_r_m3m3, theta_s_m3m3 : ArrayLike
        Residual and saturated water content [m3/m3], any shapes that broadcast.
    alpha_per_cm : ArrayLike
        Inverse of a characteristic suction [1/cm].
    n : ArrayLike
        Shape of the curve [-], above 1.

    Returns
    -------
    WorkRange
        Limits in the broadcast shape.

    Raises
    ------
    RangeError
        If n <= 1, alpha <= 0, or theta_s <= theta_r.

    Notes
    -----
    Range: the dry limit is not usable for sand and loamy sand (n above 2); use the ceiling alone
    there. Sources: `dexter_bird_2001` equations 6 and 11; `obour_2018` equation 5 for the dry
    limit. The papers work in kg/kg; the formulas are linear in theta_r and theta_s, so m3/m3
    gives the same answer.

    Examples
    --------
    >>> loam = dexter_bird_range(0.078, 0.43, 0.036, 1.56)
    >>> [round(float(x), 3) for x in (loam.wet_m3m3, loam.optimum_m3m3, loam.dry_m3m3)]
    [0.35, 0.296, 0.201]
    """
    theta_r, theta_s, alpha, shape = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (theta_r_m3m3, theta_s_m3m3, alpha_per_cm, n))
    )
    if not np.all(shape > 1.0):
        raise RangeError(f"n of a retention curve: found {np.min(shape):g}, must be above 1")
    if not np.all(alpha > 0.0):
        raise RangeError(
            f"alpha_per_cm of a retention curve: found {np.min(alpha):g}, must be above 0"
        )
    if not np.all(theta_s > theta_r):
        raise RangeError(
            "retention curve: theta_s_m3m3 must be above theta_r_m3m3, found "
            f"{np.min(theta_s - theta_r):g} between them; check the order of the arguments"
        )
    m = 1.0 - 1.0 / shape
    h_opt_cm = (1.0 / m) ** (1.0 / shape) / alpha
    h_dry_cm = 2.0 * h_opt_cm * shape**1.1
    optimum = theta_r + (theta_s - theta_r) * (1.0 + 1.0 / m) ** -m
    dry = theta_r + (theta_s - theta_r) * (1.0 + (alpha * h_dry_cm) ** shape) ** -m
    return WorkRange(
        dry_m3m3=dry,
        optimum_m3m3=optimum,
        wet_m3m3=optimum + 0.4 * (theta_s - optimum),
        optimum_suction_kpa=h_opt_cm * _KPA_PER_CM,
        dry_suction_kpa=h_dry_cm * _KPA_PER_CM,
    )


def working_theta_m3m3(
    suction_kpa: ArrayLike, theta_33_m3m3: ArrayLike, b: ArrayLike, theta_sat_m3m3: ArrayLike
) -> FloatArray:
    """Water content at the working suction, on the member's own power-law curve.

    ``theta = theta_33 (33 / suction)^(1/b)``, at most saturation. A suction of 0 gives saturation:
    that is how a coarse soil is told that only its wet ceiling counts.

    Parameters
    ----------
    suction_kpa : ArrayLike
        Suction at which work begins [kPa], >= 0; scalar or (n_members,).
    theta_33_m3m3 : ArrayLike
        Water content at 33 kPa [m3/m3], (n_members,).
    b : ArrayLike
        Slope of the curve in log-log [-], above 0, (n_members,).
    theta_sat_m3m3 : ArrayLike
        Saturated water content [m3/m3], (n_members,).

    Returns
    -------
    FloatArray
        Water content [m3/m3], (n_members,).

    Raises
    ------
    RangeError
        If the suction is negative or not a number, or b <= 0.

    Notes
    -----
    Thresholds about 1.5 to 2 times the suction of the drained state (sandy loam 12, loam 22, silt
    loam 30, clay loam 40 kPa) are a construction of this project judged against common practice;
    the curve is `saxton_rawls_2006`. Range: 0 to 1500 kPa.

    Examples
    --------
    >>> working_theta_m3m3(10.0, [0.280], [5.35], [0.460]).round(3).tolist()
    [0.35]
    """
    suction = np.asarray(suction_kpa, dtype=np.float64)
    slope = np.asarray(b, dtype=np.float64)
    if not np.all(suction >= 0.0):
        raise RangeError(f"suction_kpa: found {np.min(suction):g}, must be 0 or more")
    if not np.all(slope > 0.0):
        raise RangeError(f"b of a retention curve: found {np.min(slope):g}, must be above 0")
    saturated = np.asarray(theta_sat_m3m3, dtype=np.float64)
    with np.errstate(divide="ignore"):
        held = np.asarray(theta_33_m3m3, dtype=np.float64) * (33.0 / suction) ** (1.0 / slope)
    return np.minimum(held, saturated)


def wet_ceiling_theta_m3m3(
    dexter_bird_wet_m3m3: ArrayLike, theta_smearing_m3m3: ArrayLike
) -> FloatArray:
    """Water content above which any tool smears the soil: the lower of two limits.

    Parameters
    ----------
    dexter_bird_wet_m3m3 : ArrayLike
        Wet limit of `dexter_bird_range` [m3/m3], (n_members,).
    theta_smearing_m3m3 : ArrayLike
        Water content at the suction of smearing [m3/m3], (n_members,): 10 kPa, in coarse soils the
        suction of their drained state, so that draining alone brings them below it.

    Returns
    -------
    FloatArray
        Ceiling [m3/m3], (n_members,).

    Notes
    -----
    Sources: `dexter_bird_2001` equation 11; taking the lower of the two is a construction of this
    project. No range stated.

    Examples
    --------
    >>> wet_ceiling_theta_m3m3([0.345, 0.340], [0.350, 0.420]).tolist()
    [0.345, 0.34]
    """
    return np.minimum(
        np.asarray(dexter_bird_wet_m3m3, dtype=np.float64),
        np.asarray(theta_smearing_m3m3, dtype=np.float64),
    )


def hard_theta_m3m3(dry_m3m3: ArrayLike, is_settled: ArrayLike) -> FloatArray:
    """Water content below which the soil is too hard for a shallow tool.

    A loose dry layer is not hard, so the limit is 0 unless the layer has a crust or has settled.

    Parameters
    ----------
    dry_m3m3 : ArrayLike
        Dry limit [m3/m3], (n_members,).
    is_settled : ArrayLike
        Whether a crust or a settled layer is there, (n_members, n_hours), (n_members, 1) or scalar.

    Returns
    -------
    FloatArray
        Limit [m3/m3], (n_members, n_hours) or (n_members, 1).

    Notes
    -----
    Source: dry limit `obour_2018`; that it binds only in settled soil is a construction of this
    project after common practice. No range stated.

    Examples
    --------
    >>> hard_theta_m3m3([0.229, 0.202], [[False, True], [False, True]]).tolist()
    [[0.0, 0.229], [0.0, 0.202]]
    """
    dry = np.asarray(dry_m3m3, dtype=np.float64)
    if dry.ndim == 1:
        dry = dry[:, None]
    return np.where(np.asarray(is_settled, dtype=bool), dry, 0.0)


def is_too_wet(
    theta_m3m3: ArrayLike,
    working_m3m3: ArrayLike,
    ceiling_m3m3: ArrayLike,
    offset_m3m3: ArrayLike = 0.0,
) -> BoolArray:
    """Whether the soil is wetter than the working threshold or the wet ceiling.

    Parameters
    ----------
    theta_m3m3 : ArrayLike
        Water content of the depth band [m3/m3], (n_members, n_hours).
    working_m3m3 : ArrayLike
        Working threshold [m3/m3], (n_members,).
    ceiling_m3m3 : ArrayLike
        Wet ceiling [m3/m3], (n_members,).
    offset_m3m3 : ArrayLike
        Shift of the working threshold [m3/m3], scalar or (n_members,): by tool (hand hoe about
        +0.02, wheel or rotary tool about -0.02) and by squeeze tests. The ceiling is not shifted.

    Returns
    -------
    BoolArray
        (n_members, n_hours).

    Raises
    ------
    RangeError
        If a water content or a limit is not a number.

    Notes
    -----
    Offsets are assumptions; that hand hoes mind moisture less is reported for two sites near Berlin
    (`mueller_schindler_1998`). No range stated.

    Examples
    --------
    >>> is_too_wet([[0.34, 0.30, 0.28]], [0.29], [0.345]).tolist()
    [[True, True, False]]
    >>> is_too_wet([[0.34, 0.30, 0.28]], [0.29], [0.345], offset_m3m3=0.02).tolist()
    [[True, False, False]]
    """
    theta = _water_content(theta_m3m3)
    shifted = _by_member(working_m3m3) + _by_member(offset_m3m3)
    return np.asarray(theta > np.minimum(shifted, _by_member(ceiling_m3m3)))


def is_too_hard(theta_m3m3: ArrayLike, hard_m3m3: ArrayLike) -> BoolArray:
    """Whether a crusted or settled soil is drier than its hard limit.

    Parameters
    ----------
    theta_m3m3 : ArrayLike
        Water content of the depth band [m3/m3], (n_members, n_hours).
    hard_m3m3 : ArrayLike
        Limit from `hard_theta_m3m3` [m3/m3], (n_members, n_hours) or (n_members,).

    Returns
    -------
    BoolArray
        (n_members, n_hours).

    Raises
    ------
    RangeError
        If a water content or a limit is not a number.

    Notes
    -----
    See `hard_theta_m3m3`. No range stated. Definition of this project.

    Examples
    --------
    >>> is_too_hard([[0.30, 0.21]], hard_theta_m3m3([0.229], True)).tolist()
    [[False, True]]
    """
    return np.asarray(_water_content(theta_m3m3) < _by_member(hard_m3m3))


def is_workable(
    theta_m3m3: ArrayLike,
    working_m3m3: ArrayLike,
    ceiling_m3m3: ArrayLike,
    dry_m3m3: ArrayLike,
    is_settled: ArrayLike,
    offset_m3m3: ArrayLike = 0.0,
) -> BoolArray:
    """Whether the soil lies between its limits, hour by hour and member by member.

    Parameters
    ----------
    theta_m3m3 : ArrayLike
        Water content of the depth band [m3/m3], (n_members, n_hours).
    working_m3m3, ceiling_m3m3, dry_m3m3 : ArrayLike
        Working threshold, wet ceiling, dry limit [m3/m3], (n_members,).
    is_settled : ArrayLike
        Whether a crust or a settled layer is there, (n_members, n_hours), (n_members, 1) or scalar.
    offset_m3m3 : ArrayLike
        Shift of the working threshold [m3/m3], scalar or (n_members,).

    Returns
    -------
    BoolArray
        (n_members, n_hours).

    Raises
    ------
    RangeError
        If a water content or a limit is not a number.

    Notes
    -----
    A tool that is carried by wheels in the bed needs this in two bands (`tool_bands_mm`): combine
    them with ``&``. Sources as in the functions used. No range stated.

    Examples
    --------
    >>> is_workable([[0.34, 0.28, 0.21]], [0.29], [0.345], [0.229], is_settled=False).tolist()
    [[False, True, True]]
    >>> is_workable([[0.34, 0.28, 0.21]], [0.29], [0.345], [0.229], is_settled=True).tolist()
    [[False, True, False]]
    """
    wet = is_too_wet(theta_m3m3, working_m3m3, ceiling_m3m3, offset_m3m3)
    hard = is_too_hard(theta_m3m3, hard_theta_m3m3(dry_m3m3, is_settled))
    return np.asarray(~(wet | hard))


def tool_bands_mm(
    depth_mm: float, is_wheeled: bool, decides_to_mm: float = 30.0
) -> tuple[tuple[float, float], ...]:
    """Depth bands whose water decides for a tool.

    The first band is what the tool stirs, never thinner than `decides_to_mm`, because a thin skin
    is dry within hours and says nothing about what sticks. A wheel or rotary tool is also judged
    at 50 to 100 mm, where it carries its load.

    Parameters
    ----------
    depth_mm : float
        Working depth [mm], above 0.
    is_wheeled : bool
        Whether wheels or a driven rotor bear on the bed.
    decides_to_mm : float
        Least thickness of the first band [mm].

    Returns
    -------
    tuple of (float, float)
        Bands as (top, bottom) [mm].

    Raises
    ------
    RangeError
        If the depth is not above 0.

    Notes
    -----
    Definition of this project; 0-30 and 50-100 mm are the bands the thresholds were judged in.
    Range: tools to 100 mm.

    Examples
    --------
    >>> tool_bands_mm(15.0, is_wheeled=False)
    ((0.0, 30.0),)
    >>> tool_bands_mm(40.0, is_wheeled=True)
    ((0.0, 40.0), (50.0, 100.0))
    """
    if not depth_mm > 0.0:
        raise RangeError(f"depth_mm of a tool: found {depth_mm:g}, must be above 0")
    stirred = (0.0, max(float(decides_to_mm), float(depth_mm)))
    return (stirred, WHEEL_BAND_MM) if is_wheeled else (stirred,)


def chance(is_true: ArrayLike, weights: ArrayLike | None = None) -> FloatArray:
    """Share of member weight for which a statement holds, hour by hour.

    Parameters
    ----------
    is_true : ArrayLike
        The statement, (n_members, n_hours).
    weights : ArrayLike or None
        Member weights, >= 0 and not all 0, (n_members,); they need not sum to 1. None: all equal.

    Returns
    -------
    FloatArray
        Chance, 0 to 1, (n_hours,).

    Raises
    ------
    RangeError
        If the weights are negative, all zero, not numbers or of another length.

    Notes
    -----
    Plain weighted mean. No range stated. Definition of this project.

    Examples
    --------
    >>> chance([[True, False], [True, True]], [3.0, 1.0]).tolist()
    [1.0, 0.25]
    """
    held = np.asarray(is_true, dtype=np.float64)
    share = member_shares(weights, held.shape[0])
    return np.clip(np.tensordot(share, held, axes=(0, 0)), 0.0, 1.0)


def member_shares(weights: ArrayLike | None, n_members: int) -> FloatArray:
    """Member weights scaled to sum to 1.

    Parameters
    ----------
    weights : ArrayLike or None
        Weights >= 0, not all 0, (n_members,). None: all equal.
    n_members : int
        Number of members, at least 1.

    Returns
    -------
    FloatArray
        Shares, (n_members,).

    Raises
    ------
    RangeError
        If the weights are negative, all zero, not numbers or of another length.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> member_shares([2.0, 6.0], 2).tolist()
    [0.25, 0.75]
    """
    share = np.ones(n_members) if weights is None else np.asarray(weights, dtype=np.float64)
    if n_members < 1 or share.shape != (n_members,):
        raise RangeError(
            f"member weights: found shape {share.shape}, must be one weight for each of "
            f"{n_members} members (at least 1)"
        )
    if not (np.all(share >= 0.0) and np.isfinite(share.sum()) and share.sum() > 0.0):
        raise RangeError(
            f"member weights: found {share.min():g} to {share.max():g}, must be 0 or more, finite "
            "and not all 0"
        )
    return np.asarray(share / share.sum())


def workable_from_hour(
    chance_frac: ArrayLike, threshold_frac: float = 0.8, hold_h: int = 2, from_hour: int = 0
) -> int | None:
    """First hour from which the chance stays at the threshold or above for some hours.

    Parameters
    ----------
    chance_frac : ArrayLike
        Chance that the soil is workable, 0 to 1, (n_hours,).
    threshold_frac : float
        Chance that is enough.
    hold_h : int
        Hours it must last [h], at least 1; hours beyond the series do not count.
    from_hour : int
        First hour index looked at.

    Returns
    -------
    int or None
        Hour index, None if it never comes within the series.

    Raises
    ------
    RangeError
        If `hold_h` is below 1 or `from_hour` below 0.

    Notes
    -----
    Definition of this project (chance 0.8 for two hours). No range stated.

    Examples
    --------
    >>> workable_from_hour([0.1, 0.9, 0.5, 0.8, 0.9, 1.0])
    3
    >>> workable_from_hour([0.1, 0.2]) is None
    True
    """
    if hold_h < 1:
        raise RangeError(f"hold_h: found {hold_h}, must be 1 or more")
    if from_hour < 0:
        raise RangeError(f"from_hour: found {from_hour}, must be 0 or more")
    is_enough = np.asarray(chance_frac, dtype=np.float64) >= threshold_frac
    for start, end in _runs(is_enough[from_hour:]):
        if end - start >= hold_h:
            return from_hour + start
    return None


def working_spans(
    chance_frac: ArrayLike,
    is_working_hour: ArrayLike,
    threshold_frac: float = 0.8,
    min_h: int = 1,
) -> list[tuple[int, int]]:
    """Spans of the grower's working hours in which the soil is workable.

    Parameters
    ----------
    chance_frac : ArrayLike
        Chance that the soil is workable, 0 to 1, (n_hours,).
    is_working_hour : ArrayLike
        Whether the grower works in that hour, (n_hours,).
    threshold_frac : float
        Chance that is enough.
    min_h : int
        Shortest span kept [h], at least 1.

    Returns
    -------
    list of (int, int)
        Hour indexes as half-open [start, end), in order.

    Raises
    ------
    RangeError
        If the two series differ in length or `min_h` is below 1.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> working_spans([0.9, 0.9, 0.2, 0.9, 0.9], [False, True, True, True, True])
    [(1, 2), (3, 5)]
    """
    is_enough = np.asarray(chance_frac, dtype=np.float64) >= threshold_frac
    is_open = np.asarray(is_working_hour, dtype=bool)
    if is_enough.shape != is_open.shape:
        raise RangeError(
            f"is_working_hour: found {is_open.shape}, must match chance_frac {is_enough.shape}"
        )
    if min_h < 1:
        raise RangeError(f"min_h: found {min_h}, must be 1 or more")
    return [(start, end) for start, end in _runs(is_enough & is_open) if end - start >= min_h]


def _runs(is_true: BoolArray) -> Sequence[tuple[int, int]]:
    """Half-open index pairs of the stretches where `is_true` holds."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], is_true, [False])).astype(np.int8)))
    return [(int(start), int(end)) for start, end in edges.reshape(-1, 2)]


def _by_member(values: ArrayLike) -> FloatArray:
    """Values per member as a column, so that they broadcast over hours."""
    array = np.asarray(values, dtype=np.float64)
    if np.isnan(array).any():
        raise RangeError(
            f"limits of workability: found {int(np.isnan(array).sum())} that are not numbers, must "
            "all be water contents; check the retention curve of the soil"
        )
    return array[:, None] if array.ndim == 1 else array


def _water_content(theta_m3m3: ArrayLike) -> FloatArray:
    theta = np.asarray(theta_m3m3, dtype=np.float64)
    if np.isnan(theta).any():
        raise RangeError(
            f"theta_m3m3: found {int(np.isnan(theta).sum())} values that are not numbers, must be "
            "complete; run the soil column on weather without gaps"
        )
    return theta
