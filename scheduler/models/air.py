"""Vapour in the air, and wind at the height that formulas ask for.

Source key: `fao56_1998`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from scheduler.errors import RangeError
from scheduler.records import FloatArray


def saturation_vapour_pressure_kpa(air_temp_c: ArrayLike) -> FloatArray:
    """Vapour pressure of saturated air over water [kPa].

    e0(T) = 0.6108 exp(17.27 T / (T + 237.3))

    Parameters
    ----------
    air_temp_c : array_like
        Air temperature [degC], above -237.3, any shape.

    Returns
    -------
    ndarray
        Vapour pressure [kPa], shape of `air_temp_c`.

    Notes
    -----
    FAO-56, equation 11 and example 3 (`fao56_1998`). The mean over a day is the mean of the values
    at the highest and the lowest temperature, never the value at the mean temperature. No range
    stated.

    Examples
    --------
    >>> saturation_vapour_pressure_kpa([24.5, 15.0]).round(3)
    array([3.075, 1.705])
    """
    temp = np.asarray(air_temp_c, dtype=np.float64)
    return np.asarray(0.6108 * np.exp(17.27 * temp / (temp + 237.3)))


def vapour_pressure_kpa(
    air_temp_min_c: ArrayLike,
    air_temp_max_c: ArrayLike,
    humidity_min_frac: ArrayLike,
    humidity_max_frac: ArrayLike,
) -> FloatArray:
    """Actual vapour pressure of a day from its extremes of humidity [kPa].

    Parameters
    ----------
    air_temp_min_c, air_temp_max_c : array_like
        Lowest and highest air temperature [degC], shapes to match.
    humidity_min_frac, humidity_max_frac : array_like
        Lowest and highest relative humidity as fractions [1], shapes to match.

    Returns
    -------
    ndarray
        Vapour pressure [kPa], shape of the inputs together. No range stated.

    Notes
    -----
    FAO-56, equation 17 and example 5 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{vapour_pressure_kpa(18.0, 25.0, 0.54, 0.82):.2f}")
    1.70
    """
    return np.asarray(
        (
            saturation_vapour_pressure_kpa(air_temp_min_c) * np.asarray(humidity_max_frac)
            + saturation_vapour_pressure_kpa(air_temp_max_c) * np.asarray(humidity_min_frac)
        )
        / 2.0
    )


def humidity_from_dew_point_frac(air_temp_c: ArrayLike, dew_point_c: ArrayLike) -> FloatArray:
    """Relative humidity from the dew point [1].

    RH = e0(Tdew) / e0(T)

    Parameters
    ----------
    air_temp_c, dew_point_c : array_like
        Air temperature and dew point [degC], shapes to match.

    Returns
    -------
    ndarray
        Relative humidity as a fraction [1], at most 1, shape of the inputs together.

    Notes
    -----
    FAO-56, equations 10, 11 and 14 (`fao56_1998`). Where no humidity was measured the lowest
    temperature of the day stands for the dew point (equation 48). No range stated.

    Examples
    --------
    >>> print(f"{humidity_from_dew_point_frac(24.5, 15.0):.2f}")
    0.55
    """
    return np.asarray(
        np.minimum(
            saturation_vapour_pressure_kpa(dew_point_c)
            / saturation_vapour_pressure_kpa(air_temp_c),
            1.0,
        )
    )


def wind_at_2m_m_s(wind_m_s: ArrayLike, height_m: float) -> FloatArray:
    """Wind at 2 m from wind measured at another height over short grass [m/s].

    u2 = uz 4.87 / ln(67.8 z - 5.42)

    Parameters
    ----------
    wind_m_s : array_like
        Wind at the height of the instrument [m/s], any shape.
    height_m : float
        Height of the instrument [m], 0.5 to 100.

    Returns
    -------
    ndarray
        Wind at 2 m [m/s], shape of `wind_m_s`.

    Raises
    ------
    RangeError
        A height outside 0.5 to 100 m.

    Notes
    -----
    FAO-56, equation 47 and example 14 (`fao56_1998`). Wind measured at 2 m stays as it is.

    Examples
    --------
    >>> print(f"{wind_at_2m_m_s(3.2, 10.0):.1f}")
    2.4
    """
    if not 0.5 <= height_m <= 100.0:
        raise RangeError(
            f"height_m: found {height_m:g}, allowed 0.5 to 100; give the height of the wind sensor"
        )
    wind = np.asarray(wind_m_s, dtype=np.float64)
    if height_m == 2.0:
        return wind.copy()
    return np.asarray(wind * 4.87 / np.log(67.8 * height_m - 5.42))
