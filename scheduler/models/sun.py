"""Where the sun stands, what it gives above the clouds, and what of it reaches the ground.

Time is counted in whole hours since 1970-01-01 00:00 UTC (`hours`, the start of each hour), so that
no calendar or zone enters the arithmetic; sums of a day take the local day of the year. Longitude
is positive to the east.

Source keys: `fao56_1998`, `asce_ewri_2005`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from scheduler.errors import RangeError
from scheduler.records import FloatArray, IntArray

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820
INLAND_K_RS = 0.16  # 0.19 near a coast
MOST_FROM_RANGE_FRAC = 0.75
LOW_SUN_RAD = 0.15
LEAST_CLEARNESS_FRAC = 0.3

# ------------------------------------------------------------------ where it stands


def relative_sun_distance_factor(day_of_year: ArrayLike) -> FloatArray:
    """Inverse relative distance between earth and sun, squared [1].

    dr = 1 + 0.033 cos(2 pi J / 365)

    Parameters
    ----------
    day_of_year : array_like
        J, local day of the year [1], any shape.

    Returns
    -------
    ndarray
        dr [1], shape of `day_of_year`. No range stated.

    Notes
    -----
    FAO-56, equation 23 and example 8 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{relative_sun_distance_factor(246):.3f}")
    0.985
    """
    day = np.asarray(day_of_year, dtype=np.float64)
    return np.asarray(1.0 + 0.033 * np.cos(2.0 * np.pi * day / 365.0))


def declination_rad(day_of_year: ArrayLike) -> FloatArray:
    """Solar declination [rad].

    delta = 0.409 sin(2 pi J / 365 - 1.39)

    Parameters
    ----------
    day_of_year : array_like
        J, local day of the year [1], any shape.

    Returns
    -------
    ndarray
        Declination [rad], shape of `day_of_year`. No range stated.

    Notes
    -----
    FAO-56, equation 24 and example 8 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{declination_rad(246):.3f}")
    0.120
    """
    day = np.asarray(day_of_year, dtype=np.float64)
    return np.asarray(0.409 * np.sin(2.0 * np.pi * day / 365.0 - 1.39))


def sunset_angle_rad(latitude_deg: float, day_of_year: ArrayLike) -> FloatArray:
    """Hour angle of sunset [rad]; 0 in the polar night, pi under the midnight sun.

    omega_s = arccos(-tan(phi) tan(delta)), the argument held within [-1, 1]

    Parameters
    ----------
    latitude_deg : float
        Latitude [deg], north positive.
    day_of_year : array_like
        Local day of the year [1], any shape.

    Returns
    -------
    ndarray
        Hour angle [rad], shape of `day_of_year`.

    Raises
    ------
    RangeError
        A latitude outside [-90, 90].

    Notes
    -----
    FAO-56, equation 25 and example 8 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{sunset_angle_rad(-20.0, 246):.3f}")
    1.527
    """
    if not -90.0 <= latitude_deg <= 90.0:
        raise RangeError(
            f"latitude_deg: found {latitude_deg:g}, allowed -90 to 90; give degrees, north positive"
        )
    argument = -np.tan(np.radians(latitude_deg)) * np.tan(declination_rad(day_of_year))
    return np.asarray(np.arccos(np.clip(argument, -1.0, 1.0)))


def daylight_h(latitude_deg: float, day_of_year: ArrayLike) -> FloatArray:
    """Longest possible sunshine of a day [h].

    N = 24 omega_s / pi

    Parameters
    ----------
    latitude_deg : float
        Latitude [deg], north positive.
    day_of_year : array_like
        Local day of the year [1], any shape.

    Returns
    -------
    ndarray
        Daylight [h], 0 to 24, shape of `day_of_year`.

    Raises
    ------
    RangeError
        A latitude outside [-90, 90].

    Notes
    -----
    FAO-56, equation 34 and example 9 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{daylight_h(-20.0, 246):.1f}")
    11.7
    """
    return np.asarray(24.0 / np.pi * sunset_angle_rad(latitude_deg, day_of_year))


def solar_day(hours: ArrayLike, longitude_deg: float) -> IntArray:
    """Number of the mean solar day at a longitude that holds the middle of an hour [d].

    Parameters
    ----------
    hours : array_like
        Hours since 1970-01-01 00:00 UTC at the start of each hour [h], any shape.
    longitude_deg : float
        Longitude [deg], east positive.

    Returns
    -------
    ndarray of int
        Days since 1970-01-01 [d], shape of `hours`.

    Notes
    -----
    Calendar arithmetic: 15 degrees to the hour. Definition of this project. No range stated.

    Examples
    --------
    >>> solar_day([0, 23, 24], 0.0).tolist(), int(solar_day(0, -75.0))
    ([0, 0, 1], -1)
    """
    solar = np.asarray(hours, dtype=np.float64) + 0.5 + longitude_deg / 15.0
    return np.asarray(np.floor(solar / 24.0).astype(np.int64))


def solar_day_of_year(hours: ArrayLike, longitude_deg: float) -> IntArray:
    """Day of the year of the mean solar day at a longitude [1].

    Parameters
    ----------
    hours : array_like
        Hours since 1970-01-01 00:00 UTC at the start of each hour [h], any shape.
    longitude_deg : float
        Longitude [deg], east positive.

    Returns
    -------
    ndarray of int
        Day of the year at the middle of the hour, 1 to 366, shape of `hours`.

    Notes
    -----
    Calendar arithmetic; FAO-56 wants the local date (`fao56_1998`). No range stated.

    Examples
    --------
    >>> int(solar_day_of_year(0, 0.0)), int(solar_day_of_year(0, -75.0))
    (1, 365)
    """
    days = solar_day(hours, longitude_deg).astype("datetime64[D]")
    year_start = days.astype("datetime64[Y]").astype("datetime64[D]")
    return np.asarray((days - year_start).astype(np.int64) + 1)


def solar_time_h(hours: ArrayLike, longitude_deg: float) -> FloatArray:
    """True solar time at the middle of an hour, 12 at solar noon [h].

    t + 0.06667 (Lz - Lm) + Sc, here with t in UTC, so Lz = 0
    Sc = 0.1645 sin 2b - 0.1255 cos b - 0.025 sin b, b = 2 pi (J - 81) / 364

    Parameters
    ----------
    hours : array_like
        Hours since 1970-01-01 00:00 UTC at the start of each hour [h], any shape.
    longitude_deg : float
        Longitude [deg], east positive.

    Returns
    -------
    ndarray
        Solar time [h] in [0, 24), shape of `hours`.

    Notes
    -----
    FAO-56, equations 31 to 33 (`fao56_1998`). No range stated.

    Examples
    --------
    Greenwich, 1 January: the sun runs a few minutes behind the clock.

    >>> print(f"{solar_time_h(12, 0.0):.2f}")
    12.44
    """
    hour = np.asarray(hours, dtype=np.float64)
    seasonal_rad = 2.0 * np.pi * (solar_day_of_year(hour, longitude_deg) - 81.0) / 364.0
    correction_h = (
        0.1645 * np.sin(2.0 * seasonal_rad)
        - 0.1255 * np.cos(seasonal_rad)
        - 0.025 * np.sin(seasonal_rad)
    )
    return np.asarray((hour + 0.5 + longitude_deg / 15.0 + correction_h) % 24.0)


def _hour_angle_rad(hours: ArrayLike, longitude_deg: float) -> FloatArray:
    """Hour angle of the sun in the middle of each hour [rad], 0 at solar noon."""
    return np.asarray(np.pi / 12.0 * (solar_time_h(hours, longitude_deg) - 12.0))


def _sun_height_rad(hours: ArrayLike, latitude_deg: float, longitude_deg: float) -> FloatArray:
    """Height of the sun above the horizon in the middle of each hour [rad]."""
    delta = declination_rad(solar_day_of_year(hours, longitude_deg))
    latitude_rad = np.radians(latitude_deg)
    sine = np.sin(latitude_rad) * np.sin(delta) + np.cos(latitude_rad) * np.cos(delta) * np.cos(
        _hour_angle_rad(hours, longitude_deg)
    )
    return np.asarray(np.arcsin(np.clip(sine, -1.0, 1.0)))


# ------------------------------------------------------------------ above the clouds


def extraterrestrial_daily_mj_m2(latitude_deg: float, day_of_year: ArrayLike) -> FloatArray:
    """Solar radiation of a day on a level plane above the atmosphere, Ra [MJ/m2].

    Ra = (24 * 60 / pi) Gsc dr (omega_s sin phi sin delta + cos phi cos delta sin omega_s)

    Parameters
    ----------
    latitude_deg : float
        Latitude [deg], north positive.
    day_of_year : array_like
        Local day of the year [1], any shape.

    Returns
    -------
    ndarray
        Radiation [MJ/m2 per day], zero in the polar night, shape of `day_of_year`.

    Raises
    ------
    RangeError
        A latitude outside [-90, 90].

    Notes
    -----
    FAO-56, equation 21 and example 8 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{extraterrestrial_daily_mj_m2(-20.0, 246):.1f}")
    32.2
    """
    sunset_rad = sunset_angle_rad(latitude_deg, day_of_year)
    latitude_rad = np.radians(latitude_deg)
    delta = declination_rad(day_of_year)
    return np.asarray(
        24.0
        * 60.0
        / np.pi
        * SOLAR_CONSTANT_MJ_M2_MIN
        * relative_sun_distance_factor(day_of_year)
        * (
            sunset_rad * np.sin(latitude_rad) * np.sin(delta)
            + np.cos(latitude_rad) * np.cos(delta) * np.sin(sunset_rad)
        )
    )


def extraterrestrial_hourly_mj_m2(
    hours: ArrayLike, latitude_deg: float, longitude_deg: float
) -> FloatArray:
    """Solar radiation of an hour on a level plane above the atmosphere, Ra [MJ/m2].

    Ra = (12 * 60 / pi) Gsc dr ((w2 - w1) sin phi sin delta + cos phi cos delta (sin w2 - sin w1)),
    w1 and w2 held between sunrise and sunset, so that the hours of a day sum to the day.

    Parameters
    ----------
    hours : array_like
        Hours since 1970-01-01 00:00 UTC at the start of each hour [h], any shape.
    latitude_deg, longitude_deg : float
        Place [deg], north and east positive.

    Returns
    -------
    ndarray
        Radiation of each hour [MJ/m2], zero by night, shape of `hours`.

    Raises
    ------
    RangeError
        A latitude outside [-90, 90] or a longitude outside [-180, 180].

    Notes
    -----
    FAO-56, equations 28-33 and example 19 (`fao56_1998`), and for the hours of sunrise and sunset
    ASCE-EWRI 2005, equation 56 (`asce_ewri_2005`).

    Examples
    --------
    N'Diaye, 1 October, the hour that begins at 15 h UTC.

    >>> start = int(np.datetime64("2013-10-01T15", "h").astype(int))
    >>> print(f"{extraterrestrial_hourly_mj_m2(start, 16.217, -16.25):.3f}")
    3.543
    """
    if not -180.0 <= longitude_deg <= 180.0:
        raise RangeError(
            f"longitude_deg: found {longitude_deg:g}, allowed -180 to 180; "
            "give degrees, east positive"
        )
    day = solar_day_of_year(hours, longitude_deg)
    sunset_rad = sunset_angle_rad(latitude_deg, day)
    latitude_rad = np.radians(latitude_deg)
    delta = declination_rad(day)
    middle_rad = _hour_angle_rad(hours, longitude_deg)

    def integral(from_rad: FloatArray, to_rad: FloatArray) -> FloatArray:
        low = np.clip(from_rad, -sunset_rad, sunset_rad)
        high = np.clip(to_rad, -sunset_rad, sunset_rad)
        return np.asarray(
            (high - low) * np.sin(latitude_rad) * np.sin(delta)
            + np.cos(latitude_rad) * np.cos(delta) * (np.sin(high) - np.sin(low))
        )

    from_rad = middle_rad - np.pi / 24.0
    to_rad = middle_rad + np.pi / 24.0
    whole = integral(from_rad, to_rad)
    # An hour that holds midnight belongs to both ends of the day (matters beyond the polar circle).
    whole = whole + integral(from_rad + 2.0 * np.pi, to_rad + 2.0 * np.pi)
    whole = whole + integral(from_rad - 2.0 * np.pi, to_rad - 2.0 * np.pi)
    factor = 12.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * relative_sun_distance_factor(day)
    return np.asarray(np.maximum(factor * whole, 0.0))


# ------------------------------------------------------------------ at the ground


def clear_sky_mj_m2(extraterrestrial_mj_m2: ArrayLike, elevation_m: float) -> FloatArray:
    """Solar radiation under a cloudless sky [MJ/m2].

    Rso = (0.75 + 2e-5 z) Ra

    Parameters
    ----------
    extraterrestrial_mj_m2 : array_like
        Ra, radiation above the atmosphere [MJ/m2], of an hour or a day, any shape.
    elevation_m : float
        z, height above the sea [m].

    Returns
    -------
    ndarray
        Radiation [MJ/m2] of the same span, shape of `extraterrestrial_mj_m2`. No range stated.

    Notes
    -----
    FAO-56, equation 37 and example 18 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{clear_sky_mj_m2(41.09, 100.0):.1f}")
    30.9
    """
    share = 0.75 + 2.0e-5 * elevation_m
    return np.asarray(share * np.asarray(extraterrestrial_mj_m2, dtype=np.float64))


def sky_clearness_frac(
    solar_mj_m2: ArrayLike,
    hours: ArrayLike,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
) -> FloatArray:
    """Solar radiation over that of a cloudless sky, carried through the night [1].

    Parameters
    ----------
    solar_mj_m2 : array_like
        Radiation of consecutive hours [MJ/m2], shape (..., hours), NaN where missing.
    hours : array_like
        Hours since 1970-01-01 00:00 UTC at the start of each hour [h], shape (hours,).
    latitude_deg, longitude_deg, elevation_m : float
        Place [deg, deg, m].

    Returns
    -------
    ndarray
        Clearness [1], 0.3 to 1, shape (..., hours). Hours with the sun below 0.15 rad, and hours
        without a value, take that of the last usable hour, before the first one that of the first.
        NaN throughout where there is none.

    Raises
    ------
    RangeError
        A latitude outside [-90, 90] or a longitude outside [-180, 180].

    Notes
    -----
    ASCE-EWRI 2005, equation 45 and the text on low sun (`asce_ewri_2005`). The text sets the limit
    at 0.3 rad; its own hourly example (appendix C) still uses the value of the hour at 0.17 rad,
    and the lower limit comes nearer to it.

    Examples
    --------
    >>> hours = np.arange(24) + 24 * 150
    >>> sun = 0.5 * clear_sky_mj_m2(extraterrestrial_hourly_mj_m2(hours, 41, -74), 10.0)
    >>> sky_clearness_frac(sun, hours, 41, -74, 10.0).round(2)[[0, 12]].tolist()
    [0.5, 0.5]
    """
    above = extraterrestrial_hourly_mj_m2(hours, latitude_deg, longitude_deg)
    solar, clear, height = np.broadcast_arrays(
        np.asarray(solar_mj_m2, dtype=np.float64),
        clear_sky_mj_m2(above, elevation_m),
        _sun_height_rad(hours, latitude_deg, longitude_deg),
    )
    is_usable = (height >= LOW_SUN_RAD) & ~np.isnan(solar)
    share = np.divide(solar, clear, out=np.full(solar.shape, np.nan), where=is_usable)
    share = np.clip(share, LEAST_CLEARNESS_FRAC, 1.0)
    last = np.maximum.accumulate(np.where(is_usable, np.arange(solar.shape[-1]), -1), axis=-1)
    first = np.argmax(is_usable, axis=-1)[..., np.newaxis]
    return np.asarray(np.take_along_axis(share, np.where(last < 0, first, last), axis=-1))


def solar_from_sunshine_mj_m2(
    sunshine_h: ArrayLike, latitude_deg: float, day_of_year: ArrayLike
) -> FloatArray:
    """Solar radiation of a day from its hours of sunshine [MJ/m2].

    Rs = (0.25 + 0.50 n / N) Ra

    Parameters
    ----------
    sunshine_h : array_like
        n, hours of bright sunshine [h], any shape.
    latitude_deg : float
        Latitude [deg], north positive.
    day_of_year : array_like
        Local day of the year [1], shape to match.

    Returns
    -------
    ndarray
        Radiation [MJ/m2 per day], shape of the inputs together.

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


def solar_from_range_mj_m2(
    air_temp_range_k: ArrayLike, extraterrestrial_mj_m2: ArrayLike, k_rs: float = INLAND_K_RS
) -> FloatArray:
    """Solar radiation where it was not measured: a wide range of temperature means a clear sky.

    Rs = kRs sqrt(Tmax - Tmin) Ra, never more than 0.75 Ra

    Parameters
    ----------
    air_temp_range_k : array_like
        Tmax - Tmin of the day [K], not negative, any shape; NaN gives NaN.
    extraterrestrial_mj_m2 : array_like
        Ra, radiation above the atmosphere [MJ/m2], of the day or one of its hours, shape to match.
    k_rs : float
        Coefficient [K-0.5]: 0.16 inland, 0.19 near a coast.

    Returns
    -------
    ndarray
        Radiation [MJ/m2] of the same span, shape of the inputs together.

    Raises
    ------
    RangeError
        A range below zero.

    Notes
    -----
    FAO-56, equation 50 and example 15 (`fao56_1998`).

    Examples
    --------
    >>> print(f"{solar_from_range_mj_m2(26.6 - 14.8, 40.55):.1f}")
    22.3
    """
    spread = np.asarray(air_temp_range_k, dtype=np.float64)
    if np.any(spread < 0.0):
        raise RangeError(
            f"air_temp_range_k: found {float(np.nanmin(spread)):g}, allowed 0 or more; "
            "check that lowest and highest are not exchanged"
        )
    share = np.minimum(k_rs * np.sqrt(spread), MOST_FROM_RANGE_FRAC)
    return np.asarray(share * np.asarray(extraterrestrial_mj_m2, dtype=np.float64))
