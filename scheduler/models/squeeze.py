"""What a squeezed handful says of soil: how likely each word is at a water content.

A hand feels how far the soil is from crumbling, not its water content. The words are ordered: very
wet, smearing, then no longer wet, be it crumbling, dry or hard. Nothing here knows a bed or a date.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from scheduler.errors import RangeError
from scheduler.records import FloatArray

FEELS = ("wet", "smears", "crumbles", "dry", "hard")
FEEL_SD_M3M3 = 0.015  # of the hand, of the place in the bed and of a member's own day
HARD_MISREAD_FRAC = 0.1  # crumbling soil called hard, and hard soil crumbling
_LOGISTIC_OVER_SD = np.sqrt(3.0) / np.pi


def feel_frac(
    feel: str,
    excess_m3m3: ArrayLike,
    is_hard: ArrayLike,
    very_wet_m3m3: ArrayLike,
    *,
    sd_m3m3: float = FEEL_SD_M3M3,
) -> FloatArray:
    """Chance that soil is felt as a word, given how much wetter it is than it can be worked.

    Parameters
    ----------
    feel : str
        One of `FEELS`.
    excess_m3m3 : array
        Water above the working threshold, below nought where it can be worked [m3/m3], any shape.
    is_hard : array of bool
        Whether the layer is too hard, of a shape that broadcasts.
    very_wet_m3m3 : array
        Excess from which this grower says `wet` instead of `smears` [m3/m3], of a shape that
        broadcasts: 0 for one who calls all of it wet, infinity for one who always says it smears.
    sd_m3m3 : float
        How far hand, place and day stray [m3/m3].

    Returns
    -------
    array
        Chance [-] in the broadcast shape. `dry` says only that the soil is not too wet; the other
        four words add up to 1.

    Raises
    ------
    RangeError
        If the word is none of `FEELS`.

    Notes
    -----
    Ordered logistic, F(x) = 1 / (1 + exp(-x))::

        F((very wet - excess) / s) of soil is not very wet,  F(-excess / s) not too wet,
        s = sd sqrt(3) / pi

    Definition of this project; spread and misreading are assumptions (E). No range stated.

    Examples
    --------
    Soil 0.05 above, at and 0.05 below its threshold.

    >>> above = np.array([0.05, 0.0, -0.05])
    >>> [feel_frac(w, above, False, 0.03).round(2).tolist() for w in ("wet", "smears", "crumbles")]
    [[0.92, 0.03, 0.0], [0.08, 0.47, 0.0], [0.0, 0.45, 0.9]]
    """
    if feel not in FEELS:
        raise RangeError(f"feel: found {feel!r}, allowed {', '.join(FEELS)}")
    scale = sd_m3m3 * _LOGISTIC_OVER_SD
    excess = np.asarray(excess_m3m3, np.float64)
    not_wet = _logistic(-excess / scale)
    not_very = np.maximum(_logistic((np.asarray(very_wet_m3m3) - excess) / scale), not_wet)
    hard = np.where(is_hard, 1.0 - HARD_MISREAD_FRAC, HARD_MISREAD_FRAC)
    found = {
        "wet": 1.0 - not_very,
        "smears": not_very - not_wet,
        "crumbles": not_wet * (1.0 - hard),
        "dry": not_wet,
        "hard": not_wet * hard,
    }[feel]
    chance: FloatArray = np.asarray(found, np.float64)
    return chance


def _logistic(x: FloatArray) -> FloatArray:
    risen: FloatArray = 0.5 * (1.0 + np.tanh(0.5 * x))
    return risen
