"""Reference evapotranspiration, and what stands in for weather that was not measured.

Reference evapotranspiration is that of short grass (FAO-56; ASCE-EWRI 2005), computed by the
package refet. The radiation geometry and the rules for missing data are written here, with the
equation numbers of FAO-56, so that what was assumed can be read and told.

Missing stays missing: a function that fills says in its name what it fills from, and
`filled_weather` reports which hours it filled.

Source keys: `fao56_1998`, `asce_ewri_2005`, `hargreaves_samani_1985`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import refet
from numpy.typing import ArrayLike
from refet import calcs

from scheduler.errors import RangeError
from scheduler.records import BoolArray, FloatArray

DEFAULT_WIND_2M_M_S = 2.0
DEFAULT_K_RS = 0.16  # inland; 0.19 near a coast
_SOLAR_CONSTANT = 0.0820  # [MJ m-2 min-1]
_POLAR_LIMIT_DEG = 66.0
_LOW_SUN_RAD = 0.15
_CLEARNESS_FLOOR = 0.3
_WINDOW_H = 24
_WINDOW_NEED_H = 18

# ------------------------------------------------------ reference evapotranspiration


def reference_et_hourly_mm(
    air_temp_c: ArrayLike,
    humidity_frac: ArrayLike,
    wind_2m_m_s: ArrayLike,
    solar_mj_m2: ArrayLike,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    day_of_year: ArrayLike,
    hour_utc: ArrayLike,
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
    latitude_deg, longitude_deg
        Place [deg], north and east positive; latitude within 66 degrees of the equator.
    elevation_m
        Height above the sea [m].
    day_of_year, hour_utc
        Day of the year [1] and hour [h] of the *start* of each hour, both in UTC; shape (hours,).
        The solar day at the place is worked out from them.
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
    >>> et = reference_et_hourly_mm(38.0, 0.52, 3.3, 2.45, 16.217, -16.25, 8.0, 274, 15)
    >>> print(f"{et[0]:.3f}")
    0.656
    """
    _require_place(latitude_deg, longitude_deg, elevation_m)
    temp, humidity, wind, solar, doy, hour = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(v, dtype=np.float64))
            for v in (air_temp_c, humidity_frac, wind_2m_m_s, solar_mj_m2, day_of_year, hour_utc)
        )
    )
    _require_below("air_temp_c", temp, -80.0, 70.0)
    _require_below("humidity_frac", humidity, 0.0, 1.2)
    _require_below("wind_2m_m_s", wind, 0.0, 100.0)
    _require_below("solar_mj_m2", solar, 0.0, 6.0)
    local_day = doy + np.floor((hour + longitude_deg / 15.0) / 24.0)
    hourly = refet.Hourly(
        tmean=temp,
        rs=solar,
        uz=wind,
        zw=2.0,
        elev=elevation_m,
        lat=latitude_deg,
        lon=longitude_deg,
        doy=local_day,
        time=hour,
        ea=saturation_vapour_pressure_kpa(temp) * np.minimum(humidity, 1.0),
        method="asce",
    )
    clearness = sky_clearness_frac(solar, latitude_deg, longitude_deg, elevation_m, doy, hour)
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


# --------------------------------------------------------------------------- vapour


def saturation_vapour_pressure_kpa(air_temp_c: ArrayLike) -> FloatArray:
    """Vapour pressure of saturated air.

    Parameters
    ----------
    air_temp_c
        Air temperature [degC], any shape.

    Returns
    -------
    ndarray
        Vapour pressure [kPa].

    Notes
    -----
    FAO-56, equation 11 (`fao56_1998`). The mean over a day is the mean of the values at the highest
    and the lowest temperature, never the value at the mean temperature.

    Examples
    --------
    >>> print(f"{saturation_vapour_pressure_kpa(24.5):.3f}")
    3.075
    """
    temp = np.asarray(air_temp_c, dtype=np.float64)
    return np.asarray(0.6108 * np.exp(17.27 * temp / (temp + 237.3)))


def vapour_pressure_kpa(
    air_temp_min_c: ArrayLike,
    air_temp_max_c: ArrayLike,
    humidity_min_frac: ArrayLike,
    humidity_max_frac: ArrayLike,
) -> FloatArray:
    """Actual vapour pressure of a day from its extremes of humidity.

    Parameters
    ----------
    air_temp_min_c, air_temp_max_c
        Lowest and highest air temperature [degC].
    humidity_min_frac, humidity_max_frac
        Lowest and highest relative humidity as fractions [1].

    Returns
    -------
    ndarray
        Vapour pressure [kPa].

    Notes
    -----
    FAO-56, equation 17 (`fao56_1998`).

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


def vapour_pressure_from_min_temp_kpa(
    air_temp_min_c: ArrayLike, dryness_c: float = 0.0
) -> FloatArray:
    """Actual vapour pressure where humidity was not measured: the dew point is near the minimum.

    Parameters
    ----------
    air_temp_min_c
        Lowest air temperature of the day [degC].
    dryness_c
        How far the dew point lies below the minimum [degC]: 0 where it is humid, 2 to 3 where it
        is arid.

    Returns
    -------
    ndarray
        Vapour pressure [kPa].

    Notes
    -----
    FAO-56, equation 48 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{vapour_pressure_from_min_temp_kpa(14.8):.2f}")
    1.68
    """
    return saturation_vapour_pressure_kpa(np.asarray(air_temp_min_c, dtype=np.float64) - dryness_c)


# ------------------------------------------------------------------------ radiation


def extraterrestrial_daily_mj_m2(latitude_deg: float, day_of_year: ArrayLike) -> FloatArray:
    """Solar radiation of a day above the atmosphere.

    Parameters
    ----------
    latitude_deg
        Latitude [deg], north positive.
    day_of_year
        Local day of the year [1].

    Returns
    -------
    ndarray
        Radiation [MJ/m2 per day], zero in the polar night.

    Raises
    ------
    RangeError
        A latitude outside [-90, 90].

    Notes
    -----
    FAO-56, equations 21, 23-25 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{extraterrestrial_daily_mj_m2(-20.0, 246):.1f}")
    32.2
    """
    latitude, declination, sunset, distance = _sun(latitude_deg, day_of_year)
    return np.asarray(
        24.0
        * 60.0
        / np.pi
        * _SOLAR_CONSTANT
        * distance
        * (
            sunset * np.sin(latitude) * np.sin(declination)
            + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
        )
    )


def extraterrestrial_hourly_mj_m2(
    latitude_deg: float, longitude_deg: float, day_of_year: ArrayLike, hour_utc: ArrayLike
) -> FloatArray:
    """Solar radiation of an hour above the atmosphere.

    Parameters
    ----------
    latitude_deg, longitude_deg
        Place [deg], north and east positive.
    day_of_year, hour_utc
        Day of the year and hour of the start of each hour, both in UTC.

    Returns
    -------
    ndarray
        Radiation of the hour [MJ/m2], zero by night; the parts of an hour before sunrise and
        after sunset do not count.

    Raises
    ------
    RangeError
        A place that cannot be.

    Notes
    -----
    FAO-56, equations 28-33 (`fao56_1998`), and for the hours of sunrise and sunset ASCE-EWRI 2005,
    equation 56 (`asce_ewri_2005`).

    Examples
    --------
    >>> print(f"{extraterrestrial_hourly_mj_m2(16.217, -16.25, 274, 15):.3f}")
    3.543
    """
    _require_place(latitude_deg, longitude_deg, 0.0, polar_deg=90.0)
    doy, angle = _solar_angle_rad(longitude_deg, day_of_year, hour_utc)
    latitude, declination, sunset, distance = _sun(latitude_deg, doy)
    start = np.clip(angle - np.pi / 24.0, -sunset, sunset)
    end = np.clip(angle + np.pi / 24.0, -sunset, sunset)
    return np.asarray(
        12.0
        * 60.0
        / np.pi
        * _SOLAR_CONSTANT
        * distance
        * (
            (end - start) * np.sin(latitude) * np.sin(declination)
            + np.cos(latitude) * np.cos(declination) * (np.sin(end) - np.sin(start))
        )
    )


def daylight_h(latitude_deg: float, day_of_year: ArrayLike) -> FloatArray:
    """Longest possible sunshine of a day.

    Parameters
    ----------
    latitude_deg
        Latitude [deg].
    day_of_year
        Local day of the year [1].

    Returns
    -------
    ndarray
        Daylight [h], 0 to 24.

    Raises
    ------
    RangeError
        A latitude outside [-90, 90].

    Notes
    -----
    FAO-56, equation 34 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{daylight_h(-20.0, 246):.1f}")
    11.7
    """
    return np.asarray(24.0 / np.pi * _sun(latitude_deg, day_of_year)[2])


def clear_sky_mj_m2(extraterrestrial_mj_m2: ArrayLike, elevation_m: float) -> FloatArray:
    """Solar radiation under a cloudless sky.

    Parameters
    ----------
    extraterrestrial_mj_m2
        Radiation above the atmosphere [MJ/m2], of an hour or a day.
    elevation_m
        Height above the sea [m].

    Returns
    -------
    ndarray
        Radiation [MJ/m2] of the same span.

    Notes
    -----
    FAO-56, equation 37 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{clear_sky_mj_m2(41.09, 100.0):.1f}")
    30.9
    """
    share = 0.75 + 2e-5 * elevation_m
    return np.asarray(share * np.asarray(extraterrestrial_mj_m2, dtype=np.float64))


def sky_clearness_frac(
    solar_mj_m2: ArrayLike,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    day_of_year: ArrayLike,
    hour_utc: ArrayLike,
) -> FloatArray:
    """Solar radiation over that of a cloudless sky, carried through the night.

    Parameters
    ----------
    solar_mj_m2
        Radiation of consecutive hours [MJ/m2], shape (..., hours), NaN where missing.
    latitude_deg, longitude_deg, elevation_m
        Place [deg, deg, m].
    day_of_year, hour_utc
        Day of the year and hour of the start of each hour, both in UTC; shape (hours,).

    Returns
    -------
    ndarray
        Clearness [1], 0.3 to 1, shape (..., hours). Hours with the sun below 0.15 rad, and hours
        without a value, take that of the last usable hour, before the first one that of the first.
        NaN throughout where there is none.

    Raises
    ------
    RangeError
        A place that cannot be.

    Notes
    -----
    ASCE-EWRI 2005, equation 45 and the text on low sun (`asce_ewri_2005`). The text sets the limit
    at 0.3 rad; its own hourly example (appendix C) still uses the value of the hour at 0.17 rad,
    and the lower limit comes nearer to it.

    Examples
    --------
    >>> hours = np.arange(24)
    >>> sun = 0.5 * clear_sky_mj_m2(extraterrestrial_hourly_mj_m2(41, -74, 150, hours), 10.0)
    >>> sky_clearness_frac(sun, 41, -74, 10.0, 150, hours).round(2)[[0, 12]].tolist()
    [0.5, 0.5]
    """
    doy = np.asarray(day_of_year, dtype=np.float64)
    above = extraterrestrial_hourly_mj_m2(latitude_deg, longitude_deg, doy, hour_utc)
    height = _sun_height_rad(latitude_deg, longitude_deg, doy, hour_utc)
    solar, clear, height = np.broadcast_arrays(
        np.asarray(solar_mj_m2, dtype=np.float64), clear_sky_mj_m2(above, elevation_m), height
    )
    is_usable = (height >= _LOW_SUN_RAD) & ~np.isnan(solar)
    share = np.divide(solar, clear, out=np.full(solar.shape, np.nan), where=is_usable)
    share = np.clip(share, _CLEARNESS_FLOOR, 1.0)
    last = np.maximum.accumulate(np.where(is_usable, np.arange(solar.shape[-1]), -1), axis=-1)
    first = np.argmax(is_usable, axis=-1)[..., np.newaxis]
    return np.asarray(np.take_along_axis(share, np.where(last < 0, first, last), axis=-1))


def solar_from_sunshine_mj_m2(
    sunshine_h: ArrayLike, latitude_deg: float, day_of_year: ArrayLike
) -> FloatArray:
    """Solar radiation of a day from its hours of sunshine.

    Parameters
    ----------
    sunshine_h
        Hours of bright sunshine [h].
    latitude_deg
        Latitude [deg].
    day_of_year
        Local day of the year [1].

    Returns
    -------
    ndarray
        Radiation [MJ/m2 per day].

    Raises
    ------
    RangeError
        A latitude outside [-90, 90].

    Notes
    -----
    FAO-56, equation 35 with 0.25 and 0.50 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{solar_from_sunshine_mj_m2(9.25, 50.8, 187):.2f}")
    22.07
    """
    share = np.asarray(sunshine_h, dtype=np.float64) / daylight_h(latitude_deg, day_of_year)
    return np.asarray(
        (0.25 + 0.50 * share) * extraterrestrial_daily_mj_m2(latitude_deg, day_of_year)
    )


def solar_from_temp_range_mj_m2(
    air_temp_min_c: ArrayLike,
    air_temp_max_c: ArrayLike,
    extraterrestrial_mj_m2: ArrayLike,
    elevation_m: float,
    k_rs: float = DEFAULT_K_RS,
) -> FloatArray:
    """Solar radiation where it was not measured: a wide range of temperature means a clear sky.

    Parameters
    ----------
    air_temp_min_c, air_temp_max_c
        Lowest and highest air temperature of the day [degC].
    extraterrestrial_mj_m2
        Radiation above the atmosphere [MJ/m2], of the day or of one of its hours.
    elevation_m
        Height above the sea [m].
    k_rs
        Coefficient [degC-0.5]: 0.16 inland, 0.19 near a coast.

    Returns
    -------
    ndarray
        Radiation [MJ/m2] of the same span, at most that of a cloudless sky.

    Raises
    ------
    RangeError
        A maximum below the minimum.

    Notes
    -----
    FAO-56, equation 50 (`fao56_1998`). Shared out over the hours of a day as the radiation above
    the atmosphere is.

    Examples
    --------
    >>> print(f"{solar_from_temp_range_mj_m2(14.8, 26.6, 40.55, 200.0):.1f}")
    22.3
    """
    low = np.asarray(air_temp_min_c, dtype=np.float64)
    high = np.asarray(air_temp_max_c, dtype=np.float64)
    _require_ordered(low, high)
    above = np.asarray(extraterrestrial_mj_m2, dtype=np.float64)
    return np.asarray(
        np.minimum(k_rs * np.sqrt(high - low) * above, clear_sky_mj_m2(above, elevation_m))
    )


# ----------------------------------------------------------------------------- wind


def wind_at_2m_m_s(wind_m_s: ArrayLike, height_m: float) -> FloatArray:
    """Wind at 2 m from wind measured at another height over short grass.

    Parameters
    ----------
    wind_m_s
        Wind at the height of the instrument [m/s].
    height_m
        Height of the instrument [m], above 0.1.

    Returns
    -------
    ndarray
        Wind at 2 m [m/s].

    Raises
    ------
    RangeError
        A height of 0.1 m or less.

    Notes
    -----
    FAO-56, equation 47 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{wind_at_2m_m_s(10 / 3.6, 10.0):.2f}")
    2.08
    """
    if not height_m > 0.1:
        raise RangeError(
            f"height_m: {height_m:g} is not above 0.1; give the height of the anemometer in m"
        )
    return np.asarray(
        np.asarray(wind_m_s, dtype=np.float64) * 4.87 / np.log(67.8 * height_m - 5.42)
    )


# --------------------------------------------------------------- missing-data policy


@dataclass(frozen=True)
class FilledWeather:
    """Hourly weather in which humidity, wind and sun are complete wherever temperature allows.

    Attributes
    ----------
    humidity_frac, wind_2m_m_s, solar_mj_m2
        The series, filled; shape (hours,).
    is_humidity_filled, is_wind_filled, is_solar_filled
        Which hours were filled; shape (hours,).
    """

    humidity_frac: FloatArray
    wind_2m_m_s: FloatArray
    solar_mj_m2: FloatArray
    is_humidity_filled: BoolArray
    is_wind_filled: BoolArray
    is_solar_filled: BoolArray


def filled_weather(
    air_temp_c: FloatArray,
    humidity_frac: FloatArray,
    wind_2m_m_s: FloatArray,
    solar_mj_m2: FloatArray,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    day_of_year: ArrayLike,
    hour_utc: ArrayLike,
    *,
    k_rs: float = DEFAULT_K_RS,
    dryness_c: float = 0.0,
    default_wind_2m_m_s: float = DEFAULT_WIND_2M_M_S,
) -> FilledWeather:
    """Hourly weather with the stated stand-ins for missing humidity, wind and sun.

    Humidity: the vapour pressure is that of saturated air at the lowest temperature of the 24 hours
    around. Wind: `default_wind_2m_m_s`. Sun: from the range of temperature of the 24 hours around.
    Temperature and rain are never filled here.

    Parameters
    ----------
    air_temp_c, humidity_frac, wind_2m_m_s, solar_mj_m2
        Consecutive hourly values, NaN where missing; shape (hours,), at least 24.
    latitude_deg, longitude_deg, elevation_m
        Place [deg, deg, m].
    day_of_year, hour_utc
        Day of the year and hour of the start of each hour, both in UTC; shape (hours,).
    k_rs
        Coefficient of the temperature range [degC-0.5]: 0.16 inland, 0.19 near a coast.
    dryness_c
        How far the dew point lies below the lowest temperature [degC].
    default_wind_2m_m_s
        Wind where none was measured [m/s].

    Returns
    -------
    FilledWeather
        A value stays NaN where temperature is missing in more than 6 of the 24 hours around it.
        Hours of night get a sun of zero whatever is missing.

    Raises
    ------
    RangeError
        Fewer than 24 hours, or a place that cannot be.

    Notes
    -----
    FAO-56, equations 48 and 50 and table 4 (`fao56_1998`), with a running day in place of the
    calendar day. With temperature alone expect an error of 0.6-0.9 mm per day in the demand.

    Examples
    --------
    >>> hours = np.arange(48)
    >>> temp = 18.0 + 6.0 * np.sin(2 * np.pi * (hours - 14) / 24)
    >>> nothing = np.full(48, np.nan)
    >>> weather = filled_weather(temp, nothing, nothing, nothing, 41.0, -74.0, 10.0,
    ...                          150 + hours // 24, hours % 24)
    >>> print(f"{weather.solar_mj_m2[:24].sum():.1f} {weather.wind_2m_m_s[0]:.1f}")
    22.8 2.0
    """
    temp = np.asarray(air_temp_c, dtype=np.float64)
    if temp.ndim != 1 or temp.shape[0] < _WINDOW_H:
        raise RangeError(
            f"air_temp_c: {temp.shape[0] if temp.ndim else 0} hours found, at least 24 consecutive "
            "hours are needed to fill from; give a longer series"
        )
    low, high = _running_extremes_c(temp)
    saturated = saturation_vapour_pressure_kpa(temp)
    from_minimum = vapour_pressure_from_min_temp_kpa(low, dryness_c)
    above = extraterrestrial_hourly_mj_m2(latitude_deg, longitude_deg, day_of_year, hour_utc)
    from_range = solar_from_temp_range_mj_m2(low, high, above, elevation_m, k_rs)
    from_range = np.where(above <= 0.0, 0.0, from_range)

    is_humidity_missing = np.isnan(humidity_frac)
    is_wind_missing = np.isnan(wind_2m_m_s)
    is_solar_missing = np.isnan(solar_mj_m2)
    humidity = np.where(
        is_humidity_missing, np.minimum(from_minimum / saturated, 1.0), humidity_frac
    )
    wind = np.where(is_wind_missing, default_wind_2m_m_s, wind_2m_m_s)
    solar = np.where(is_solar_missing, from_range, solar_mj_m2)
    return FilledWeather(
        humidity_frac=humidity,
        wind_2m_m_s=wind,
        solar_mj_m2=solar,
        is_humidity_filled=is_humidity_missing & ~np.isnan(humidity),
        is_wind_filled=is_wind_missing & ~np.isnan(wind),
        is_solar_filled=is_solar_missing & ~np.isnan(solar),
    )


def _running_extremes_c(temp: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest of the 24 hours around each hour; NaN where more than 6 are missing."""
    windows = np.lib.stride_tricks.sliding_window_view(temp, _WINDOW_H)
    is_known = ~np.isnan(windows)
    low = np.min(windows, axis=1, initial=np.inf, where=is_known)
    high = np.max(windows, axis=1, initial=-np.inf, where=is_known)
    is_enough = is_known.sum(axis=1) >= _WINDOW_NEED_H
    start = np.clip(np.arange(temp.shape[0]) - _WINDOW_H // 2, 0, windows.shape[0] - 1)
    return (
        np.where(is_enough, low, np.nan)[start],
        np.where(is_enough, high, np.nan)[start],
    )


def _sun(
    latitude_deg: float, day_of_year: ArrayLike
) -> tuple[float, FloatArray, FloatArray, FloatArray]:
    """Latitude and declination [rad], sunset angle [rad], inverse relative distance [1]."""
    if not -90.0 <= latitude_deg <= 90.0:
        raise RangeError(
            f"latitude_deg: {latitude_deg:g} is outside -90 to 90; give degrees, north positive"
        )
    year = 2.0 * np.pi * np.asarray(day_of_year, dtype=np.float64) / 365.0
    latitude = float(np.deg2rad(latitude_deg))
    declination = 0.409 * np.sin(year - 1.39)
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    return latitude, declination, sunset, 1.0 + 0.033 * np.cos(year)


def _solar_angle_rad(
    longitude_deg: float, day_of_year: ArrayLike, hour_utc: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Solar day of the year at the place, and hour angle of the middle of each hour [rad]."""
    solar_h = np.asarray(hour_utc, dtype=np.float64) + longitude_deg / 15.0
    doy = np.asarray(day_of_year, dtype=np.float64) + np.floor(solar_h / 24.0)
    season = 2.0 * np.pi * (doy - 81.0) / 364.0
    correction_h = 0.1645 * np.sin(2 * season) - 0.1255 * np.cos(season) - 0.025 * np.sin(season)
    return doy, np.pi / 12.0 * (np.mod(solar_h + 0.5 + correction_h, 24.0) - 12.0)


def _sun_height_rad(
    latitude_deg: float, longitude_deg: float, day_of_year: ArrayLike, hour_utc: ArrayLike
) -> FloatArray:
    """Height of the sun above the horizon in the middle of each hour [rad]."""
    doy, angle = _solar_angle_rad(longitude_deg, day_of_year, hour_utc)
    latitude, declination, _, _ = _sun(latitude_deg, doy)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(
        angle
    )
    return np.asarray(np.arcsin(np.clip(sine, -1.0, 1.0)))


def _require_place(
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    polar_deg: float = _POLAR_LIMIT_DEG,
) -> None:
    if not -polar_deg <= latitude_deg <= polar_deg:
        raise RangeError(
            f"latitude_deg: {latitude_deg:g} is outside -{polar_deg:g} to {polar_deg:g}, where the "
            "sun rises and sets every day; no evapotranspiration can be computed beyond"
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
