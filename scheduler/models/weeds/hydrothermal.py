"""Germination over time in steady temperature and moisture: the curves laboratories fit.

The cohorts run on a gate and ranks (see `cohorts`); these closed forms are what germination assays
are published in. They serve to check our functions against such data, and to turn a grower's or a
laboratory's assay into guild values.

Range: constant temperature below the optimum, constant water potential, one seed lot.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from scheduler.errors import RangeError
from scheduler.records import FloatArray

_erf = np.vectorize(math.erf, otypes=[np.float64])


def log_logistic_germinated_frac(
    time_d: ArrayLike, median_d: float, slope: float, germinable_frac: float = 1.0
) -> FloatArray:
    """Share germinated by a time, log-logistic: ``d / (1 + exp(-b (ln t - ln t50)))``.

    Parameters
    ----------
    time_d : ArrayLike
        Time since the seeds were wetted [d], >= 0, any shape.
    median_d : float
        Time by which half of the germinable seeds have germinated [d], above 0.
    slope : float
        Steepness b [-], above 0.
    germinable_frac : float
        Share d of the seeds that ever germinates, 0 to 1.

    Returns
    -------
    FloatArray
        Share germinated, 0 to `germinable_frac`, same shape.

    Raises
    ------
    RangeError
        If a time is negative or not a number, or a parameter is out of range.

    Notes
    -----
    Form and estimates for chickweed: `ritz_2013`. Any unit of time will do, if it is one.

    Examples
    --------
    >>> log_logistic_germinated_frac([0.0, 8.17, 9.0], 8.17, 20.8, 0.2).round(3).tolist()
    [0.0, 0.1, 0.176]
    """
    if not (median_d > 0.0 and slope > 0.0 and 0.0 <= germinable_frac <= 1.0):
        raise RangeError(
            f"median_d, slope and germinable_frac: found {median_d:g}, {slope:g} and "
            f"{germinable_frac:g}, must be above 0, above 0 and 0 to 1"
        )
    time = _times(time_d)
    with np.errstate(divide="ignore", over="ignore"):
        odds = np.exp(-slope * (np.log(time) - math.log(median_d)))
    return np.asarray(germinable_frac / (1.0 + odds))


def hydrotime_germinated_frac(
    time_d: ArrayLike,
    potential_mpa: ArrayLike,
    theta_mpa_d: float,
    base_mpa: float,
    base_sd_mpa: float,
) -> FloatArray:
    """Share germinated at one temperature: ``Phi((psi - theta/t - psi_b) / sigma)``.

    Parameters
    ----------
    time_d : ArrayLike
        Time since the seeds were wetted [d], >= 0.
    potential_mpa : ArrayLike
        Water potential [MPa], 0 or below; broadcast with the time.
    theta_mpa_d : float
        Hydrotime constant [MPa d], above 0.
    base_mpa, base_sd_mpa : float
        Base water potential of the median seed and its spread over the seeds [MPa]; spread above 0.

    Returns
    -------
    FloatArray
        Share germinated, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        If a time is negative or not a number, a potential above 0, or a parameter out of range.

    Notes
    -----
    Form of `onofri_2018`. Range: constant temperature and potential.

    Examples
    --------
    Half of oilseed rape at -0.4 MPa after theta/(psi - psi_b):

    >>> t50 = 0.751 / (-0.4 + 0.907)
    >>> hydrotime_germinated_frac([t50, 0.0, 30.0], -0.4, 0.751, -0.907, 0.237).round(3).tolist()
    [0.5, 0.0, 0.979]
    """
    return hydrothermal_germinated_frac(
        time_d, 1.0, potential_mpa, theta_mpa_d, 0.0, base_mpa, base_sd_mpa
    )


def hydrothermal_germinated_frac(
    time_d: ArrayLike,
    temp_c: ArrayLike,
    potential_mpa: ArrayLike,
    theta_mpa_cd: float,
    base_temp_c: float,
    base_mpa: float,
    base_sd_mpa: float,
    base_rise_mpa_c: float = 0.0,
) -> FloatArray:
    """Share germinated: ``Phi((psi - theta/(t (T - Tb)) - psi_b - k (T - Tb)) / sigma)``.

    Parameters
    ----------
    time_d : ArrayLike
        Time since the seeds were wetted [d], >= 0.
    temp_c : ArrayLike
        Temperature [C]; at or below the base nothing germinates.
    potential_mpa : ArrayLike
        Water potential [MPa], 0 or below. The three are broadcast.
    theta_mpa_cd : float
        Hydrothermal constant [MPa C d], above 0.
    base_temp_c : float
        Base temperature [C].
    base_mpa, base_sd_mpa : float
        Base water potential of the median seed at the base temperature, and its spread [MPa].
    base_rise_mpa_c : float
        Rise k of the base water potential with temperature [MPa/C].

    Returns
    -------
    FloatArray
        Share germinated, 0 to 1, broadcast shape.

    Raises
    ------
    RangeError
        As `hydrotime_germinated_frac`.

    Notes
    -----
    Form of `mesgaran_2017` as fitted in `onofri_2018`. The product of temperature and moisture runs
    late after light wettings in the field (`finch_savage_1998`); the cohorts use a gate instead.

    Examples
    --------
    >>> t50 = 35.4 / ((16.0 - 0.57) * (-0.3 + 2.378 - 0.0739 * (16.0 - 0.57)))
    >>> barley = (35.4, 0.57, -2.378, 0.405, 0.0739)
    >>> hydrothermal_germinated_frac(t50, [16.0, 0.5], -0.3, *barley).round(3).tolist()
    [0.5, 0.0]
    """
    if not (theta_mpa_cd > 0.0 and base_sd_mpa > 0.0):
        raise RangeError(
            f"theta and base_sd_mpa: found {theta_mpa_cd:g} and {base_sd_mpa:g}, must be above 0"
        )
    psi = np.asarray(potential_mpa, dtype=np.float64)
    warm = np.asarray(temp_c, dtype=np.float64) - base_temp_c
    if not (np.all(psi <= 0.0) and np.isfinite(warm).all()):
        raise RangeError(
            "potential_mpa and temp_c: found a potential above 0 or a value that is not a number; "
            "give potentials of 0 or below [MPa] and temperatures [C]"
        )
    heat = _times(time_d) * np.maximum(warm, 0.0)
    with np.errstate(divide="ignore"):
        margin = psi - theta_mpa_cd / heat - base_mpa - base_rise_mpa_c * warm
    return np.asarray(0.5 * (1.0 + _erf(margin / base_sd_mpa / math.sqrt(2.0))))


def _times(time_d: ArrayLike) -> FloatArray:
    time = np.asarray(time_d, dtype=np.float64)
    if not np.all(time >= 0.0):
        raise RangeError(f"time_d: found {np.min(time):g}, must be numbers of days, 0 or more")
    return time
