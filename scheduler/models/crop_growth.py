"""How far a crop has grown by the heat it has had: leaves, growth to closing, height."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from scheduler.errors import RangeError
from scheduler.records import FloatArray

HEAT_CAP_C = 30.0


def crop_heat_cd(air_temp_c: ArrayLike, base_c: float, cap_c: float = HEAT_CAP_C) -> FloatArray:
    """Degree-days that each hour adds to the growth of a crop above ground.

    ``max(0, min(T, cap) - Tb)/24``.

    Parameters
    ----------
    air_temp_c : ArrayLike
        Air temperature [C], any shape.
    base_c : float
        Temperature below which no leaf grows [C].
    cap_c : float
        Temperature above which leaves come no faster [C], above the base.

    Returns
    -------
    FloatArray
        Heat of each hour [C d], >= 0, same shape.

    Raises
    ------
    RangeError
        If a temperature is not a number, or the cap does not lie above the base.

    Notes
    -----
    Upper and lower limit as in `nielsen_corn` (10 and 30 C for corn), there taken off the day's
    extremes, here hour by hour. No range stated.

    Examples
    --------
    >>> crop_heat_cd([2.0, 17.0, 35.0], 5.0).round(3).tolist()
    [0.0, 0.5, 1.042]
    """
    if not base_c < cap_c:
        raise RangeError(f"crop heat: found base_c {base_c:g}, cap_c {cap_c:g}, must rise in order")
    temp = np.asarray(air_temp_c, dtype=np.float64)
    if not np.all(np.isfinite(temp)):
        raise RangeError("air_temp_c: found values that are no numbers; fill them first")
    return np.asarray(np.maximum(np.minimum(temp, cap_c) - base_c, 0.0) / 24.0)


def leaf_count(heat_cd: ArrayLike, first_leaf_cd: float, leaf_cd: float) -> FloatArray:
    """True leaves of a crop by the heat since it came up.

    Nothing before the first leaf; from there ``1 + (H - first)/leaf``.

    Parameters
    ----------
    heat_cd : ArrayLike
        Heat since emergence [C d], any shape.
    first_leaf_cd : float
        Heat to the first true leaf [C d], >= 0.
    leaf_cd : float
        Heat for each further leaf [C d], above 0.

    Returns
    -------
    FloatArray
        Leaves, >= 0, same shape; parts of a leaf are the way to the next one.

    Raises
    ------
    RangeError
        If a heat sum is not a number or out of its range.

    Notes
    -----
    Leaves come in a straight line of heat: sugar beet `milford_1985`, corn to its tenth leaf
    `nielsen_corn`. Range: the first ten leaves or so, where no gate asks further.

    Examples
    --------
    >>> leaf_count([40.0, 60.0, 120.0, 150.0], 60.0, 30.0).tolist()
    [0.0, 1.0, 3.0, 4.0]
    """
    if not (first_leaf_cd >= 0.0 and leaf_cd > 0.0):
        raise RangeError(
            f"first_leaf_cd and leaf_cd: found {first_leaf_cd:g} and {leaf_cd:g}, must be 0 or "
            "more and above 0"
        )
    heat = np.asarray(heat_cd, dtype=np.float64)
    if np.any(np.isnan(heat)):
        raise RangeError("heat_cd: found values that are no numbers, must be degree-days")
    return np.asarray(np.where(heat >= first_leaf_cd, 1.0 + (heat - first_leaf_cd) / leaf_cd, 0.0))


def growth_frac(heat_cd: ArrayLike, closing_cd: float) -> FloatArray:
    """Share of the way from emergence, or setting, to closing that a crop has gone.

    Parameters
    ----------
    heat_cd : ArrayLike
        Heat since emergence or setting [C d], any shape.
    closing_cd : float
        Heat from there to closing [C d], above 0.

    Returns
    -------
    FloatArray
        Share, 0 to 1, same shape.

    Raises
    ------
    RangeError
        If a heat sum is not a number, or the heat to closing is not above 0.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> growth_frac([-5.0, 200.0, 900.0], 500.0).tolist()
    [0.0, 0.4, 1.0]
    """
    heat = np.asarray(heat_cd, dtype=np.float64)
    if not closing_cd > 0.0 or np.any(np.isnan(heat)):
        raise RangeError(
            f"heat_cd and closing_cd: found closing_cd {closing_cd:g}, must be numbers, the heat "
            "to closing above 0"
        )
    return np.asarray(np.clip(heat / closing_cd, 0.0, 1.0))


def height_mm(
    grown_frac: ArrayLike, full_height_mm: float, start_height_mm: float = 0.0
) -> FloatArray:
    """Height of a crop on its way to closing.

    ``h0 + (full - h0) x^2 (3 - 2x)``, as the cover of `ground_cover_frac`.

    Parameters
    ----------
    grown_frac : ArrayLike
        Share of the way to closing, 0 to 1, any shape.
    full_height_mm : float
        Height at closing [mm], >= 0.
    start_height_mm : float
        Height at emergence or setting [mm], >= 0; at most the full height counts.

    Returns
    -------
    FloatArray
        Height [mm], same shape.

    Raises
    ------
    RangeError
        If the share is not within 0 to 1, or a height is negative.

    Notes
    -----
    Full heights: `fao56_1998` Table 12. The course is a definition of this project. No range
    stated.

    Examples
    --------
    >>> height_mm([0.0, 0.5, 1.0], 400.0).tolist()
    [0.0, 200.0, 400.0]
    """
    grown = np.asarray(grown_frac, dtype=np.float64)
    if not np.all((grown >= 0.0) & (grown <= 1.0)):
        raise RangeError("grown_frac: found values outside 0 to 1, must be shares")
    if not (full_height_mm >= 0.0 and start_height_mm >= 0.0):
        raise RangeError(
            f"full_height_mm and start_height_mm: found {full_height_mm:g} and "
            f"{start_height_mm:g}, must be 0 or more"
        )
    first = min(start_height_mm, full_height_mm)
    return np.asarray(first + (full_height_mm - first) * grown**2 * (3.0 - 2.0 * grown))
