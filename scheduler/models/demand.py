"""Reference evapotranspiration.

Reference evapotranspiration is that of short grass (FAO-56; ASCE-EWRI 2005), computed by the
package refet; the cloudiness of its net radiation is ours (`sun.sky_clearness_frac`). Missing stays
missing: what stands in for weather that was not measured is settled where the series is made.

Source keys: `fao56_1998`, `asce_ewri_2005`, `hargreaves_samani_1985`.
"""

from __future__ import annotations

import numpy as np
import refet
from numpy.typing import ArrayLike
from refet import calcs

from scheduler.errors import RangeError
from scheduler.models.air import saturation_vapour_pressure_kpa
from scheduler.models.sun import (
    extraterrestrial_daily_mj_m2,
    sky_clearness_frac,
    solar_day_of_year,
)
from scheduler.records import FloatArray

_POLAR_LIMIT_DEG = 66.0


def reference_et_hourly_mm(
    air_temp_c: ArrayLike,
    humidity_frac: ArrayLike,
    wind_2m_m_s: ArrayLike,
    solar_mj_m2: ArrayLike,
    hours: ArrayLike,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    *,
    day_cd: float = 0.24,
    night_cd: float = 0.96,
) -> FloatArray:
    """Hourly reference evapotranspiration of short grass, never below zero.

    Parameters
    ----------
    air_temp_c, humidity_frac, wind_2m_m_s, solar_mj_m2
        Hourly means of air temperature [degC], relative humidity as a fraction [1] and wind at
        2 m [m/s], and the hour's sum of solar radiation [MJ/m2]; shape (..., hours), all alike or
        broadcasting. Humidity above 1 counts as 1. NaN gives NaN.
    hours
        Hours since 1970-01-01 00:00 UTC at the start of each hour [h], shape (hours,).
    latitude_deg, longitude_deg
        Place [deg], north and east positive; latitude within 66 degrees of the equator.
    elevation_m
        Height above the sea [m].
    day_cd, night_cd
        Denominator coefficients [s/m]. The defaults are those of ASCE-EWRI 2005. FAO-56 itself
        uses 0.34 day and night.

    Returns
    -------
    ndarray
        Evapotranspiration of each hour [mm], broadcast shape.

    Raises
    ------
    RangeError
        A place, a humidity, a wind or a radiation that cannot be.

    Notes
    -----
    ASCE-EWRI 2005, equation 1 with table 1 (`asce_ewri_2005`); FAO-56, equation 53 (`fao56_1998`).
    FAO-56 Example 19 prints 0.63 mm/h: that is the value with 0.34; with the ASCE coefficients
    the same hour gives 0.656. Small negative values by night are set to zero. While the sun
    stands low and by night the cloudiness is that of the last hour before; refet takes a clear
    sky below 0.3 rad, which lowers a cloudy evening by up to 0.09 mm/h, so that this step is done
    here (`sky_clearness_frac`). A series without any higher sun counts as clear. No range stated
    beyond the latitude.

    Examples
    --------
    >>> start = int(np.datetime64("2013-10-01T15", "h").astype(int))
    >>> et = reference_et_hourly_mm(38.0, 0.52, 3.3, 2.45, start, 16.217, -16.25, 8.0)
    >>> print(f"{et[0]:.3f}")
    0.656
    """
    _require_place(latitude_deg, longitude_deg, elevation_m)
    temp, humidity, wind, solar, hour = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(v, dtype=np.float64))
            for v in (air_temp_c, humidity_frac, wind_2m_m_s, solar_mj_m2, hours)
        )
    )
    _require_below("air_temp_c", temp, -80.0, 70.0)
    _require_below("humidity_frac", humidity, 0.0, 1.2)
    _require_below("wind_2m_m_s", wind, 0.0, 100.0)
    _require_below("solar_mj_m2", solar, 0.0, 6.0)
    hourly = refet.Hourly(
        tmean=temp,
        rs=solar,
        uz=wind,
        zw=2.0,
        elev=elevation_m,
        lat=latitude_deg,
        lon=longitude_deg,
        doy=solar_day_of_year(hour, longitude_deg),
        time=hour % 24.0,
        ea=saturation_vapour_pressure_kpa(temp) * np.minimum(humidity, 1.0),
        method="asce",
    )
    clearness = sky_clearness_frac(solar, hours, latitude_deg, longitude_deg, elevation_m)
    cloudiness = 1.35 * np.where(np.isnan(clearness), 1.0, clearness) - 0.35
    net = calcs.rn_hourly(solar, calcs.rnl_hourly(temp, hourly.ea, cloudiness))
    is_night = net < 0.0
    et = calcs.etsz(
        rn=net,
        g=net * np.where(is_night, 0.5, 0.1),
        tmean=temp,
        u2=wind,
        vpd=hourly.vpd,
        es_slope=hourly.es_slope,
        psy=hourly.psy,
        cn=37.0,
        cd=np.where(is_night, night_cd, day_cd),
    )
    return np.asarray(np.maximum(et, 0.0))


def reference_et_daily_mm(
    air_temp_min_c: ArrayLike,
    air_temp_max_c: ArrayLike,
    vapour_pressure_kpa: ArrayLike,
    wind_2m_m_s: ArrayLike,
    solar_mj_m2: ArrayLike,
    latitude_deg: float,
    elevation_m: float,
    day_of_year: ArrayLike,
    *,
    ground_heat_mj_m2: float = 0.0,
) -> FloatArray:
    """Daily reference evapotranspiration of short grass, never below zero.

    Parameters
    ----------
    air_temp_min_c, air_temp_max_c
        Lowest and highest air temperature of the day [degC], shape (days,).
    vapour_pressure_kpa
        Actual vapour pressure [kPa].
    wind_2m_m_s
        Mean wind at 2 m [m/s].
    solar_mj_m2
        Sum of solar radiation of the day [MJ/m2].
    latitude_deg, elevation_m
        Place [deg, m]; latitude within 66 degrees of the equator.
    day_of_year
        Local day of the year [1].
    ground_heat_mj_m2
        Heat flux into the ground [MJ/m2 per day]: zero for a day, not for a month.

    Returns
    -------
    ndarray
        Evapotranspiration [mm per day].

    Raises
    ------
    RangeError
        A place or a value that cannot be.

    Notes
    -----
    FAO-56, equation 6 (`fao56_1998`).

    Examples
    --------
    >>> et = reference_et_daily_mm(12.3, 21.5, 1.409, 2.078, 22.07, 50.8, 100.0, 187)
    >>> print(f"{et[0]:.2f}")
    3.88
    """
    _require_place(latitude_deg, 0.0, elevation_m)
    low, high, ea, wind, solar, doy = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(v, dtype=np.float64))
            for v in (
                air_temp_min_c,
                air_temp_max_c,
                vapour_pressure_kpa,
                wind_2m_m_s,
                solar_mj_m2,
                day_of_year,
            )
        )
    )
    _require_ordered(low, high)
    _require_below("vapour_pressure_kpa", ea, 0.0, 10.0)
    _require_below("wind_2m_m_s", wind, 0.0, 100.0)
    _require_below("solar_mj_m2", solar, 0.0, 50.0)
    daily = refet.Daily(
        tmin=low,
        tmax=high,
        rs=solar,
        uz=wind,
        zw=2.0,
        elev=elevation_m,
        lat=latitude_deg,
        doy=doy,
        ea=ea,
        method="asce",
    )
    et = calcs.etsz(
        rn=daily.rn,
        g=ground_heat_mj_m2,
        tmean=daily.tmean,
        u2=wind,
        vpd=daily.vpd,
        es_slope=daily.es_slope,
        psy=daily.psy,
        cn=900.0,
        cd=0.34,
    )
    return np.asarray(np.maximum(et, 0.0))


def hargreaves_et_mm(
    air_temp_min_c: ArrayLike,
    air_temp_max_c: ArrayLike,
    latitude_deg: float,
    day_of_year: ArrayLike,
) -> FloatArray:
    """Daily reference evapotranspiration from temperatures alone, never below zero.

    Parameters
    ----------
    air_temp_min_c, air_temp_max_c
        Lowest and highest air temperature of the day [degC].
    latitude_deg
        Latitude [deg].
    day_of_year
        Local day of the year [1].

    Returns
    -------
    ndarray
        Evapotranspiration [mm per day]. Expect an error of 0.6-0.9 mm per day.

    Raises
    ------
    RangeError
        A maximum below the minimum, or a latitude outside [-90, 90].

    Notes
    -----
    FAO-56, equation 52 (`fao56_1998`; `hargreaves_samani_1985`).

    Examples
    --------
    >>> print(f"{hargreaves_et_mm(14.8, 26.6, 45.717, 196):.1f}")
    5.0
    """
    low = np.asarray(air_temp_min_c, dtype=np.float64)
    high = np.asarray(air_temp_max_c, dtype=np.float64)
    _require_ordered(low, high)
    water_mm = 0.408 * extraterrestrial_daily_mj_m2(latitude_deg, day_of_year)
    et = 0.0023 * ((low + high) / 2.0 + 17.8) * np.sqrt(high - low) * water_mm
    return np.asarray(np.maximum(et, 0.0))


def _require_place(
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
) -> None:
    if not -_POLAR_LIMIT_DEG <= latitude_deg <= _POLAR_LIMIT_DEG:
        raise RangeError(
            f"latitude_deg: {latitude_deg:g} is outside -{_POLAR_LIMIT_DEG:g} to "
            f"{_POLAR_LIMIT_DEG:g}, where the sun rises and sets every day; "
            "no evapotranspiration can be computed beyond"
        )
    if not -180.0 <= longitude_deg <= 180.0:
        raise RangeError(
            f"longitude_deg: {longitude_deg:g} is outside -180 to 180; give degrees, east positive"
        )
    if not -500.0 <= elevation_m <= 6000.0:
        raise RangeError(
            f"elevation_m: {elevation_m:g} is outside -500 to 6000; give metres above the sea"
        )


def _require_below(name: str, values: FloatArray, low: float, high: float) -> None:
    is_outside = (values < low) | (values > high)  # NaN passes and stays NaN
    if np.any(is_outside):
        raise RangeError(
            f"{name}: {values[is_outside].flat[0]:g} at element {int(np.argmax(is_outside))} is "
            f"outside {low:g} to {high:g}; check the unit"
        )


def _require_ordered(low: FloatArray, high: FloatArray) -> None:
    is_wrong = np.asarray(high < low)
    if np.any(is_wrong):
        raise RangeError(
            f"air_temp_max_c: below air_temp_min_c at element {int(np.argmax(is_wrong))}; "
            "check that they are not exchanged"
        )
