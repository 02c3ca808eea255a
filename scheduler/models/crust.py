"""Surface crust: rain energy builds it, drying shows it, a pass breaks it.

Confidence is low throughout. Growth energy by texture, the strength of a drying crust and the
class limits are constructions of this project around a handful of published facts; no open series
of crusted fields exists to test them. What can be trusted is the order: which soil crusts first,
that little happens without beating rain, and that a crust is soft while it is wet.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler.errors import RangeError
from scheduler.models.workability import member_shares
from scheduler.records import FloatArray

RainEnergyForm = Literal["van dijk", "brown foster", "rusle2"]

# form: (energy of heavy rain [J/m2/mm], share lost at no intensity, rate [h/mm])
_RAIN_ENERGY: dict[str, tuple[float, float, float]] = {
    "van dijk": (28.3, 0.52, 0.042),
    "brown foster": (29.0, 0.72, 0.05),
    "rusle2": (29.0, 0.72, 0.082),
}


def rain_energy_j_m2_mm(intensity_mm_h: ArrayLike, form: RainEnergyForm = "van dijk") -> FloatArray:
    """Kinetic energy of rain for each millimetre that falls.

    ``e = e_max (1 - a exp(-k i))`` with (e_max, a, k) = van Dijk (28.3, 0.52, 0.042), Brown and
    Foster (29, 0.72, 0.05), RUSLE2 (29, 0.72, 0.082).

    Parameters
    ----------
    intensity_mm_h : ArrayLike
        Rain intensity [mm/h], >= 0, any shape.
    form : {'van dijk', 'brown foster', 'rusle2'}
        Which relation. RUSLE2 was fitted to 15-minute rain; use another with hourly means.

    Returns
    -------
    FloatArray
        Energy [J/m2/mm], same shape. 100 J/m2/mm are 1 MJ/ha/mm.

    Raises
    ------
    RangeError
        If an intensity is negative or not a number, or the form is not known.

    Notes
    -----
    Sources: `van_dijk_2002`; `brown_foster_1987` and `rusle2_mcgregor_1995` as printed in
    `renard_1997` chapter 2. Range 0 to about 150 mm/h. Sprinkler drops are smaller: a few to 15
    J/m2/mm, drip none.

    Examples
    --------
    >>> float(rain_energy_j_m2_mm(25.0, "brown foster").round(2))
    23.02
    """
    intensity = np.asarray(intensity_mm_h, dtype=np.float64)
    if not np.all(intensity >= 0.0):
        raise RangeError(
            f"intensity_mm_h of rain: found {np.min(intensity):g}, must be a number, 0 or more"
        )
    if form not in _RAIN_ENERGY:
        raise RangeError(f"form of rain energy: found {form!r}, must be one of {[*_RAIN_ENERGY]}")
    heavy, lost, rate = _RAIN_ENERGY[form]
    return np.asarray(heavy * (1.0 - lost * np.exp(-rate * intensity)))


def rain_energy_j_m2(
    rain_mm: ArrayLike, peak_ratio: float = 1.0, form: RainEnergyForm = "van dijk"
) -> FloatArray:
    """Kinetic energy of each hour's rain.

    Parameters
    ----------
    rain_mm : ArrayLike
        Rain in each hour [mm], >= 0, any shape.
    peak_ratio : float
        Intensity while it rains, over the hour's mean [-], at least 1. Hourly means understate it.
    form : {'van dijk', 'brown foster', 'rusle2'}
        As in `rain_energy_j_m2_mm`.

    Returns
    -------
    FloatArray
        Energy [J/m2] in each hour, same shape.

    Raises
    ------
    RangeError
        If rain is negative or not a number, or the ratio is below 1.

    Notes
    -----
    Sources as `rain_energy_j_m2_mm`.

    Examples
    --------
    >>> rain_energy_j_m2([0.0, 10.0]).round(1).tolist()
    [0.0, 186.3]
    """
    if not peak_ratio >= 1.0:
        raise RangeError(f"peak_ratio of rain: found {peak_ratio:g}, must be 1 or more")
    rain = np.asarray(rain_mm, dtype=np.float64)
    return np.asarray(rain * rain_energy_j_m2_mm(rain * peak_ratio, form))


def silt_split_pct(
    silt_pct: ArrayLike, fine_share_frac: float = 0.45
) -> tuple[FloatArray, FloatArray]:
    """Fine and coarse silt where only their sum is known.

    Parameters
    ----------
    silt_pct : ArrayLike
        Silt, 2 to 50 micrometres [% by weight], any shape.
    fine_share_frac : float
        Share of it that is fine, 0 to 1.

    Returns
    -------
    tuple of FloatArray
        Fine silt (2-20 micrometres) and coarse silt (20-50 micrometres) [% by weight].

    Notes
    -----
    Assumption of this project. No range stated.

    Examples
    --------
    >>> [part.tolist() for part in silt_split_pct(60.0)]
    [27.0, 33.0]
    """
    silt = np.asarray(silt_pct, dtype=np.float64)
    return fine_share_frac * silt, (1.0 - fine_share_frac) * silt


def crust_susceptibility(
    fine_silt_pct: ArrayLike,
    coarse_silt_pct: ArrayLike,
    clay_pct: ArrayLike,
    organic_matter_pct: ArrayLike,
    ph: ArrayLike = 7.0,
) -> FloatArray:
    """How readily a soil seals under rain, from its texture and organic matter.

    ``Rc = (1.5 fine silt + 0.75 coarse silt) / (clay + 10 OM) - 0.2 max(pH - 7, 0)``.
    Below 1.4 low, 1.4-1.6 slight, 1.6-1.8 moderate, 1.8-2.0 strong, above 2 very strong.

    Parameters
    ----------
    fine_silt_pct, coarse_silt_pct, clay_pct, organic_matter_pct : ArrayLike
        Fractions [% by weight], any shapes that broadcast.
    ph : ArrayLike
        Soil pH in water [-].

    Returns
    -------
    FloatArray
        Index [-], at least 0.

    Raises
    ------
    RangeError
        If clay and organic matter are both 0 or a fraction is negative or not a number.

    Notes
    -----
    Source: `remy_marin_lafleche_1974`. Made for loess soils of northern France; no range stated.

    Examples
    --------
    >>> float(crust_susceptibility(30.0, 40.0, 12.0, 2.0).round(2))
    2.34
    """
    fine, coarse, clay, organic = (
        np.asarray(x, dtype=np.float64)
        for x in (fine_silt_pct, coarse_silt_pct, clay_pct, organic_matter_pct)
    )
    for name, part in (
        ("fine_silt_pct", fine),
        ("coarse_silt_pct", coarse),
        ("clay_pct", clay),
        ("organic_matter_pct", organic),
    ):
        if not np.all(part >= 0.0):
            raise RangeError(f"{name}: found {np.min(part):g}, must be a number, 0 or more")
    binding = clay + 10.0 * organic
    if not np.all(binding > 0.0):
        raise RangeError(
            "clay_pct and organic_matter_pct: found both 0, one must be above 0; give the soil its "
            "organic matter"
        )
    alkaline = 0.2 * np.maximum(np.asarray(ph, dtype=np.float64) - 7.0, 0.0)
    return np.maximum((1.5 * fine + 0.75 * coarse) / binding - alkaline, 0.0)


def crust_energy_j_m2(
    susceptibility: ArrayLike,
    scale_j_m2: ArrayLike = 250.0,
    reference_index: float = 1.4,
    slope: float = 1.0,
    least_j_m2: float = 60.0,
    most_j_m2: float = 1500.0,
) -> FloatArray:
    """Rain energy that builds 63 % of a crust, from the susceptibility of the soil.

    ``E_c = scale exp(slope (reference - Rc))``, held between least and most.

    Parameters
    ----------
    susceptibility : ArrayLike
        Index Rc of `crust_susceptibility` [-], any shape.
    scale_j_m2 : ArrayLike
        Energy at the reference index [J/m2], above 0, scalar or the same shape: members vary it.
    reference_index, slope : float
        Index that has the scale, and how fast energy falls with the index [-].
    least_j_m2, most_j_m2 : float
        Bounds [J/m2], 0 < least <= most.

    Returns
    -------
    FloatArray
        Energy [J/m2], same shape.

    Raises
    ------
    RangeError
        If the bounds are out of order or the scale is not above 0.

    Notes
    -----
    Definition of this project: published e-fold energies lie at 150 to 500 J/m2 (8 to 25 mm of
    rain at 10 to 20 mm/h), their ranking by texture contradicts experience, so the ranking is taken
    from the index. No range stated.

    Examples
    --------
    >>> crust_energy_j_m2([2.3, 1.4, 0.6]).round().tolist()
    [102.0, 250.0, 556.0]
    """
    index = np.asarray(susceptibility, dtype=np.float64)
    scale = np.asarray(scale_j_m2, dtype=np.float64)
    if not (0.0 < least_j_m2 <= most_j_m2 and np.all(scale > 0.0)):
        raise RangeError(
            f"crust energy: found scale {np.min(scale):g}, bounds {least_j_m2:g} to {most_j_m2:g} "
            "J/m2, must be above 0 and in this order"
        )
    return np.clip(scale * np.exp(slope * (reference_index - index)), least_j_m2, most_j_m2)


def maturity_after(
    maturity: ArrayLike, energy_j_m2: ArrayLike, crust_energy_j_m2: ArrayLike, cover_frac: ArrayLike
) -> FloatArray:
    """Maturity of a crust after some rain: ``m' = 1 - (1 - m) exp(-dE (1 - cover) / E_c)``.

    Parameters
    ----------
    maturity : ArrayLike
        Maturity before [-], 0 to 1.
    energy_j_m2 : ArrayLike
        Rain energy [J/m2], >= 0.
    crust_energy_j_m2 : ArrayLike
        Energy of `crust_energy_j_m2` [J/m2].
    cover_frac : ArrayLike
        Ground covered by leaves or mulch, 0 to 1.

    Returns
    -------
    FloatArray
        Maturity after [-], 0 to 1.

    Notes
    -----
    Falling exponentially with cumulative rain is the finding of `morin_benyamini_1977`; the
    energy is a construction of this project. No range stated.

    Examples
    --------
    >>> round(float(maturity_after(0.0, 250.0, 250.0, 0.0)), 3)
    0.632
    """
    dose = (
        np.asarray(energy_j_m2, dtype=np.float64)
        * (1.0 - np.asarray(cover_frac, dtype=np.float64))
        / np.asarray(crust_energy_j_m2, dtype=np.float64)
    )
    return np.asarray(1.0 - (1.0 - np.asarray(maturity, dtype=np.float64)) * np.exp(-dose))


def crust_maturity(
    energy_j_m2: ArrayLike,
    crust_energy_j_m2: ArrayLike,
    cover_frac: ArrayLike,
    is_broken: ArrayLike,
    decay_d: ArrayLike = 45.0,
    maturity_before: ArrayLike = 0.0,
) -> FloatArray:
    """Maturity of the crust hour by hour, at the end of each hour.

    Each hour: a pass through the crust sets it to 0, then it fades, then the rain of the hour
    builds it (`maturity_after`).

    Parameters
    ----------
    energy_j_m2 : ArrayLike
        Rain energy of each hour [J/m2], (n_members, n_hours).
    crust_energy_j_m2 : ArrayLike
        Energy that builds 63 % of a crust [J/m2], scalar or (n_members,).
    cover_frac : ArrayLike
        Ground covered by leaves or mulch, 0 to 1, scalar, (n_hours,) or (n_members, n_hours).
    is_broken : ArrayLike
        Hours in which a pass goes through the crust, scalar, (n_hours,) or (n_members, n_hours).
    decay_d : ArrayLike
        Time in which frost, wetting and drying wear a crust down to 37 % [d], scalar or
        (n_members,).
    maturity_before : ArrayLike
        Maturity before the first hour [-], 0 to 1, scalar or (n_members,).

    Returns
    -------
    FloatArray
        Maturity [-], 0 to 1, (n_members, n_hours).

    Raises
    ------
    RangeError
        If energy, cover or maturity is out of range or not a number, or a time or the energy of
        growth is not above 0.

    Notes
    -----
    Construction of this project; decay of 30 to 60 d is an assumption, its direction is backed by
    `lemos_lutz_1957` (repeated wetting and drying weakens). No range stated.

    Examples
    --------
    >>> m = crust_maturity([[0.0, 250.0, 0.0, 250.0]], 250.0, 0.0, [False, False, True, False])
    >>> m.round(3).tolist()
    [[0.0, 0.632, 0.0, 0.632]]
    """
    energy = np.asarray(energy_j_m2, dtype=np.float64)
    if energy.ndim != 2:
        raise RangeError(f"energy_j_m2: found shape {energy.shape}, must be (n_members, n_hours)")
    n_members, n_hours = energy.shape
    if not np.all(energy >= 0.0):
        raise RangeError(f"energy_j_m2: found {np.min(energy):g}, must be a number, 0 or more")
    cover = np.broadcast_to(np.asarray(cover_frac, dtype=np.float64), energy.shape)
    if not np.all((cover >= 0.0) & (cover <= 1.0)):
        raise RangeError(
            f"cover_frac: found {np.min(cover):g} to {np.max(cover):g}, must be 0 to 1"
        )
    broken = np.broadcast_to(np.asarray(is_broken, dtype=bool), energy.shape)
    growth_energy = np.broadcast_to(np.asarray(crust_energy_j_m2, dtype=np.float64), (n_members,))
    fade_h = 24.0 * np.broadcast_to(np.asarray(decay_d, dtype=np.float64), (n_members,))
    if not (np.all(growth_energy > 0.0) and np.all(fade_h > 0.0)):
        raise RangeError(
            f"crust_energy_j_m2 and decay_d: found {np.min(growth_energy):g} and "
            f"{np.min(fade_h) / 24.0:g}, must be above 0"
        )
    before = np.broadcast_to(np.asarray(maturity_before, dtype=np.float64), (n_members,))
    if not np.all((before >= 0.0) & (before <= 1.0)):
        raise RangeError(
            f"maturity_before: found {np.min(before):g} to {np.max(before):g}, must be 0 to 1"
        )
    # Between rains and passes a crust only fades: step from one such hour to the next, then fill.
    stops = np.flatnonzero((energy > 0.0).any(axis=0) | broken.any(axis=0))
    steps_h = np.diff(stops, prepend=-1)
    kept = np.where(broken[:, stops].T, 0.0, np.exp(-steps_h[:, None] / fade_h))
    grown = maturity_after(0.0, energy[:, stops].T, growth_energy, cover[:, stops].T)
    at_stops = np.empty((stops.size + 1, n_members))
    at_stops[0] = before
    for step in range(stops.size):
        at_stops[step + 1] = grown[step] + (1.0 - grown[step]) * kept[step] * at_stops[step]
    hour = np.arange(n_hours)
    latest = np.searchsorted(stops, hour, side="right")
    since_h = hour - np.concatenate(([-1], stops))[latest]
    return np.asarray(at_stops[latest].T * np.exp(-since_h / fade_h[:, None]))


def crust_index(maturity: ArrayLike, suction_kpa: ArrayLike, power: float = 1.5) -> FloatArray:
    """Strength of the crust as it is now: none while wet, full when mature and air-dry.

    ``R = m g^p``, ``g = (ln suction - ln 33) / (ln 10^5 - ln 33)`` held between 0 and 1.

    Parameters
    ----------
    maturity : ArrayLike
        Maturity of `crust_maturity` [-], (n_members, n_hours).
    suction_kpa : ArrayLike
        Suction of the top 10 mm [kPa], above 0, (n_members, n_hours).
    power : float
        Curvature [-], 1 to 2.

    Returns
    -------
    FloatArray
        Index, 0 to 1, (n_members, n_hours).

    Raises
    ------
    RangeError
        If a suction is not above 0.

    Notes
    -----
    Construction of this project, low confidence: that strength comes with drying and is lost at
    once on wetting is known (`hanks_thorp_1957`, `lemos_lutz_1957`), the curve is not.
    Range: 1 to 100 000 kPa.

    Examples
    --------
    >>> crust_index([1.0, 1.0, 0.5], [33.0, 1e5, 1e5]).tolist()
    [0.0, 1.0, 0.5]
    """
    suction = np.asarray(suction_kpa, dtype=np.float64)
    if not np.all(suction > 0.0):
        raise RangeError(
            f"suction_kpa of the top 10 mm: found {np.min(suction):g}, must be a number above 0"
        )
    dryness = np.clip(np.log(suction / 33.0) / np.log(1e5 / 33.0), 0.0, 1.0)
    return np.asarray(np.asarray(maturity, dtype=np.float64) * dryness**power)


class CrustClass(IntEnum):
    """What the surface is like; the higher, the more a seedling is held back."""

    NONE = 0
    SOFT = 1
    BREAKABLE = 2
    HARD = 3


def crust_class(
    maturity: ArrayLike,
    index: ArrayLike,
    formed_from: float = 0.2,
    breakable_from: float = 0.2,
    hard_from: float = 0.5,
) -> NDArray[np.int8]:
    """Class of the crust, as a value of `CrustClass`.

    None while its maturity is below `formed_from`; then soft, breakable or hard by its strength.

    Parameters
    ----------
    maturity : ArrayLike
        Maturity of `crust_maturity` [-], any shape.
    index : ArrayLike
        Strength of `crust_index` [-], same shape.
    formed_from : float
        Maturity from which one speaks of a crust [-].
    breakable_from, hard_from : float
        Strength index from which a crust is breakable and hard [-].

    Returns
    -------
    NDArray[int8]
        Class 0 to 3, same shape.

    Raises
    ------
    RangeError
        If `hard_from` lies below `breakable_from` or a value is not a number.

    Notes
    -----
    Low confidence. Penetrometer pressures of 0.20-0.25 MPa mark the onset of trouble for carrot and
    onion; the defaults place 0.1 and 0.25 MPa at 0.2 and 0.5 of an assumed full strength of 0.5
    MPa. No range stated. The classes are a definition of this project.

    Examples
    --------
    >>> [CrustClass(c).name for c in crust_class([0.1, 0.9, 0.9, 0.9], [0.0, 0.0, 0.3, 0.7])]
    ['NONE', 'SOFT', 'BREAKABLE', 'HARD']
    """
    if hard_from < breakable_from:
        raise RangeError(
            f"hard_from: found {hard_from:g}, must not lie below breakable_from {breakable_from:g}"
        )
    strength = np.asarray(index, dtype=np.float64)
    if np.isnan(strength).any() or np.isnan(np.asarray(maturity, dtype=np.float64)).any():
        raise RangeError(
            "maturity and index of a crust: found values that are not numbers, must "
            "be complete; run the soil column on weather without gaps"
        )
    by_strength = (
        int(CrustClass.SOFT)
        + (strength >= breakable_from).astype(np.int8)
        + (strength >= hard_from).astype(np.int8)
    )
    is_formed = np.asarray(maturity, dtype=np.float64) >= formed_from
    return np.where(is_formed, by_strength, int(CrustClass.NONE)).astype(np.int8)


def crust_expected(
    index: ArrayLike, threshold: float, weights: ArrayLike | None = None, from_hour: int = 0
) -> tuple[int | None, float]:
    """When a crust of some strength is expected, and with what chance.

    Parameters
    ----------
    index : ArrayLike
        Strength of `crust_index` [-], (n_members, n_hours).
    threshold : float
        Strength that counts [-], above 0.
    weights : ArrayLike or None
        Member weights, (n_members,). None: all equal.
    from_hour : int
        First hour index looked at.

    Returns
    -------
    tuple of (int or None, float)
        Median first hour among the members that get such a crust, by weight (None if no weight
        does), and the weight of those members, 0 to 1.

    Raises
    ------
    RangeError
        If the threshold is not above 0, `from_hour` is below 0, the index is not complete or the
        weights do not fit.

    Notes
    -----
    Low confidence, as all of this room: an hour is named, but it stands for a day or two, and the
    chance has not been scored against any record of crusted beds. No range stated. Definition of
    this project.

    Examples
    --------
    >>> crust_expected([[0.0, 0.3, 0.4], [0.0, 0.0, 0.3], [0.0, 0.1, 0.1], [0.0, 0.3, 0.3]], 0.2)
    (1, 0.75)
    """
    strength = np.asarray(index, dtype=np.float64)
    if not threshold > 0.0:
        raise RangeError(f"threshold of a crust: found {threshold:g}, must be above 0")
    if from_hour < 0:
        raise RangeError(f"from_hour: found {from_hour}, must be 0 or more")
    if strength.ndim != 2 or np.isnan(strength).any():
        raise RangeError(
            f"index of a crust: found shape {strength.shape}, must be (n_members, n_hours) and "
            "hold numbers only"
        )
    share = member_shares(weights, strength.shape[0])
    is_crusted = strength[:, from_hour:] >= threshold
    has_crust = is_crusted.any(axis=1) & (share > 0.0)
    if not has_crust.any():
        return None, 0.0
    first = is_crusted[has_crust].argmax(axis=1)
    order = np.argsort(first, kind="stable")
    reached = np.cumsum(share[has_crust][order])
    median = int(np.searchsorted(reached, 0.5 * reached[-1] * (1.0 - 1e-12)))
    return from_hour + int(first[order][median]), min(float(reached[-1]), 1.0)
