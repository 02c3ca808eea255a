"""The spreading of daily records over the hours of a day, and of rain over the hours it may fall.

Time is counted in whole hours since 1970-01-01 00:00 UTC (`hours`), so that no calendar or zone
enters the arithmetic. Longitude is positive to the east. Random draws take uniform numbers from
the caller; nothing here has a state.

Source key: `fao56_1998`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from scheduler.errors import RangeError
from scheduler.models.air import saturation_vapour_pressure_kpa
from scheduler.models.sun import daylight_h, solar_day_of_year, solar_time_h
from scheduler.records import FloatArray, IntArray

WARMEST_SOLAR_HOUR = 15.0
DEFAULT_INTENSITY_MM_H = 3.0
TWO_STORMS_CHANCE = 0.5

# ------------------------------------------------------------------ the hours of a day


def _extreme_hours(
    start_hours: FloatArray, latitude_deg: float, longitude_deg: float
) -> tuple[FloatArray, FloatArray]:
    """First sunrise and first 15 h solar time at or after each start [h since 1970]."""
    solar_start = solar_time_h(start_hours - 0.5, longitude_deg)
    day = solar_day_of_year(start_hours + 12.0, longitude_deg)
    sunrise = 12.0 - daylight_h(latitude_deg, day) / 2.0
    coldest = start_hours + (sunrise - solar_start) % 24.0
    warmest = start_hours + (WARMEST_SOLAR_HOUR - solar_start) % 24.0
    return coldest, warmest


def hourly_temperature_c(
    hours: IntArray,
    start_hours: ArrayLike,
    end_hours: ArrayLike,
    air_temp_min_c: ArrayLike,
    air_temp_max_c: ArrayLike,
    latitude_deg: float,
    longitude_deg: float,
) -> FloatArray:
    """Temperature of each hour from the lowest and highest of each record [C].

    The lowest stands at the first sunrise of the record, the highest at its first 15 h solar time;
    half cosine waves join them, over the border of records too. Where a neighbour is missing the
    record's own extremes repeat a day earlier and a day later.

    Parameters
    ----------
    hours : ndarray of int
        Hours wanted, since 1970-01-01 00:00 UTC [h], shape (n,).
    start_hours, end_hours : array_like
        Span of each record [h since 1970], shape (m,); spans of about a day.
    air_temp_min_c, air_temp_max_c : array_like
        Lowest and highest temperature of each record [C], shape (m,); NaN leaves the record out.
    latitude_deg, longitude_deg : float
        Latitude north positive, longitude east positive [deg].

    Returns
    -------
    ndarray
        Temperature at the middle of each hour [C], shape (n,); NaN where no record covers the hour.

    Raises
    ------
    RangeError
        If a lowest temperature exceeds its highest.

    References
    ----------
    Common practice of agrometeorology: sine wave, lowest at sunrise, highest at 15 h solar time.

    Examples
    --------
    >>> hours = np.arange(24)
    >>> day = hourly_temperature_c(hours, [0], [24], [8.0], [20.0], 45.0, 0.0)
    >>> round(float(day.min()), 1), round(float(day.max()), 1), int(day.argmax())
    (8.0, 20.0, 15)
    """
    start = np.asarray(start_hours, dtype=np.float64)
    end = np.asarray(end_hours, dtype=np.float64)
    low = np.asarray(air_temp_min_c, dtype=np.float64)
    high = np.asarray(air_temp_max_c, dtype=np.float64)
    known = np.isfinite(low) & np.isfinite(high)
    start, end, low, high = start[known], end[known], low[known], high[known]
    if np.any(low > high):
        at = int(np.flatnonzero(low > high)[0])
        raise RangeError(
            f"air_temp_min_c: found {low[at]:g} above air_temp_max_c {high[at]:g} in record {at}, "
            "allowed at most the highest; mend or leave out the record"
        )
    wanted = np.asarray(hours, dtype=np.float64) + 0.5
    result = np.full(wanted.shape, np.nan)
    if start.size == 0 or wanted.size == 0:
        return result
    order = np.argsort(start, kind="stable")
    start, end, low, high = start[order], end[order], low[order], high[order]
    coldest, warmest = _extreme_hours(start, latitude_deg, longitude_deg)
    anchors_at, anchors_c = [], []
    for moments, value in ((coldest, low), (warmest, high)):
        anchors_at.append(moments)
        anchors_c.append(value)
        for shift in (-24.0, 24.0):
            ghost = moments + shift
            near = np.abs(_nearest(moments, ghost) - ghost) < 12.0
            anchors_at.append(ghost[~near])
            anchors_c.append(value[~near])
    when = np.concatenate(anchors_at)
    what = np.concatenate(anchors_c)
    order = np.argsort(when, kind="stable")
    when, what = when[order], what[order]
    after = np.clip(np.searchsorted(when, wanted, side="right"), 1, when.size - 1)
    span = np.maximum(when[after] - when[after - 1], 1e-9)
    share = np.clip((wanted - when[after - 1]) / span, 0.0, 1.0)
    wave = what[after - 1] + (what[after] - what[after - 1]) * 0.5 * (1.0 - np.cos(np.pi * share))
    record = np.searchsorted(start, wanted, side="right") - 1
    is_covered = (record >= 0) & (wanted < end[np.maximum(record, 0)])
    result[is_covered] = wave[is_covered]
    return result


def _nearest(points: FloatArray, wanted: FloatArray) -> FloatArray:
    """The element of the sorted `points` nearest to each element of `wanted`."""
    ordered = np.sort(points)
    right = np.clip(np.searchsorted(ordered, wanted), 0, ordered.size - 1)
    left = np.maximum(right - 1, 0)
    use_left = np.abs(ordered[left] - wanted) < np.abs(ordered[right] - wanted)
    return np.where(use_left, ordered[left], ordered[right])


def hourly_solar_mj_m2(solar_mj_m2: float, extraterrestrial_mj_m2: FloatArray) -> FloatArray:
    """A sum of solar radiation spread over hours like the sun above the clouds [MJ/m2].

    Parameters
    ----------
    solar_mj_m2 : float
        Sum over all the hours [MJ/m2].
    extraterrestrial_mj_m2 : ndarray
        Radiation of each of its hours above the atmosphere [MJ/m2], shape (n,).

    Returns
    -------
    ndarray
        Radiation of each hour [MJ/m2], shape (n,); it adds up to the sum.

    Raises
    ------
    RangeError
        If there is radiation to spread and the sun never rises in the hours.

    Notes
    -----
    Common practice of agrometeorology.

    Examples
    --------
    >>> hourly_solar_mj_m2(20.0, np.array([0.0, 1.0, 3.0])).tolist()
    [0.0, 5.0, 15.0]
    """
    above = np.asarray(extraterrestrial_mj_m2, dtype=np.float64)
    total_mj_m2 = float(above.sum())
    if total_mj_m2 <= 0.0:
        if solar_mj_m2 > 0.0:
            raise RangeError(
                f"solar_mj_m2: found {solar_mj_m2:g} in hours without sun, allowed 0; "
                "check the time zone of the record"
            )
        return np.zeros_like(above)
    return np.asarray(above * (solar_mj_m2 / total_mj_m2))


def hourly_humidity_frac(
    air_temp_c: ArrayLike, humidity_frac: float | None = None, dew_point_c: float | None = None
) -> FloatArray:
    """Relative humidity of each hour of a span whose vapour pressure is constant [-].

    Parameters
    ----------
    air_temp_c : array_like
        Temperature of each hour of the span [C], shape (n,).
    humidity_frac : float, optional
        Mean relative humidity of the span [-]; the vapour pressure is chosen to meet it.
    dew_point_c : float, optional
        Dew point of the span [C]; used when no humidity is given.

    Returns
    -------
    ndarray
        Relative humidity [-], shape (n,), at most 1.

    Raises
    ------
    RangeError
        If neither humidity nor dew point is given.

    References
    ----------
    FAO-56, equations 10, 11 and 14 (`fao56_1998`); the constant vapour pressure is common practice.

    Examples
    --------
    >>> hourly_humidity_frac([10.0, 20.0], dew_point_c=10.0).round(3)
    array([1.   , 0.525])
    >>> round(float(hourly_humidity_frac([10.0, 20.0], humidity_frac=0.6).mean()), 6)
    0.6
    """
    saturated = saturation_vapour_pressure_kpa(air_temp_c)
    if humidity_frac is not None:
        if not 0.0 <= humidity_frac <= 1.0:
            raise RangeError(
                f"humidity_frac: found {humidity_frac:g}, allowed 0 to 1; check its unit"
            )
        low, high = 0.0, float(np.nanmax(saturated)) if saturated.size else 0.0
        for _ in range(60):  # the mean of min(e/es, 1) rises with e: bisection
            middle = 0.5 * (low + high)
            if float(np.nanmean(np.minimum(middle / saturated, 1.0))) < humidity_frac:
                low = middle
            else:
                high = middle
        return np.minimum(high / saturated, 1.0)
    if dew_point_c is None:
        raise RangeError(
            "hourly_humidity_frac: found neither humidity_frac nor dew_point_c; give one of them"
        )
    return np.minimum(float(saturation_vapour_pressure_kpa(dew_point_c)) / saturated, 1.0)


# ------------------------------------------------------------------ rain


def n_storm_uniforms(n_hours: int) -> int:
    """How many uniform numbers `storm_hours` takes for a span of `n_hours`.

    Parameters
    ----------
    n_hours : int
        Length of the span [h].

    Returns
    -------
    int
        Length of the last axis of `uniforms`.

    References
    ----------
    Layout of `storm_hours`. Definition of this project. No range stated.

    Examples
    --------
    >>> n_storm_uniforms(24)
    56
    """
    return 2 + 2 * (n_hours + 3)


def storm_hours(
    rain_mm: float,
    n_hours: int,
    uniforms: FloatArray,
    mean_intensity_mm_h: float = DEFAULT_INTENSITY_MM_H,
) -> FloatArray:
    """A rain total placed into random hours, as one storm or two [mm].

    The mean intensity of each storm is drawn from a gamma distribution of shape 2; the total
    divided by it gives the hours of rain. The start is uniform over the span, which is closed to a
    ring so that no hour is favoured. Within a storm the hours share the rain by exponential
    weights. A total above the mean intensity falls in two storms with chance 0.5; the first takes
    a quarter to three quarters of it.

    Parameters
    ----------
    rain_mm : float
        Total over the span [mm], not negative.
    n_hours : int
        Length of the span [h], at least 1.
    uniforms : ndarray
        Numbers in [0, 1), shape (..., n_storm_uniforms(n_hours)); each row gives one draw.
    mean_intensity_mm_h : float
        Mean of the drawn intensities [mm/h], 2 to 4 in use.

    Returns
    -------
    ndarray
        Rain of each hour [mm], shape (..., n_hours); each row adds up to `rain_mm`.

    Raises
    ------
    RangeError
        If the total is negative or not a number, the span is empty, or `uniforms` has another
        length.

    References
    ----------
    Assumption (grade E): intensities of a few mm/h. That the hour is drawn and never fixed follows
    from the project's own trial on measured soil water.

    Examples
    --------
    >>> numbers = np.random.default_rng(1).random((3, n_storm_uniforms(24)))
    >>> draws = storm_hours(12.0, 24, numbers)
    >>> draws.shape, draws.sum(axis=1).round(9).tolist()
    ((3, 24), [12.0, 12.0, 12.0])
    """
    if not rain_mm >= 0.0 or not np.isfinite(rain_mm):
        raise RangeError(
            f"rain_mm: found {rain_mm:g}, allowed 0 or more; leave unknown rain to filled_rain"
        )
    if n_hours < 1:
        raise RangeError(f"n_hours: found {n_hours}, allowed 1 or more; check the span of the rain")
    numbers = np.asarray(uniforms, dtype=np.float64)
    if numbers.ndim == 0 or numbers.shape[-1] != n_storm_uniforms(n_hours):
        raise RangeError(
            f"uniforms: found shape {numbers.shape}, allowed (..., {n_storm_uniforms(n_hours)}); "
            "ask n_storm_uniforms for the length"
        )
    rows = numbers.reshape(-1, numbers.shape[-1])
    result = np.zeros((rows.shape[0], n_hours))
    if rain_mm == 0.0:
        return result.reshape((*numbers.shape[:-1], n_hours))
    has_two = (rows[:, 0] < TWO_STORMS_CHANCE) & (rain_mm > mean_intensity_mm_h) & (n_hours > 1)
    first_frac = np.where(has_two, 0.25 + 0.5 * rows[:, 1], 1.0)
    hour = np.arange(n_hours)
    for storm, share in enumerate((first_frac, 1.0 - first_frac)):
        own = rows[:, 2 + storm * (n_hours + 3) : 2 + (storm + 1) * (n_hours + 3)]
        sum_of_two = -np.log1p(-own[:, 0]) - np.log1p(-own[:, 1])  # gamma, shape 2, scale 1
        intensity_mm_h = np.maximum(0.5 * mean_intensity_mm_h * sum_of_two, 0.05)
        length = np.clip(np.ceil(share * rain_mm / intensity_mm_h), 1, n_hours)
        start = np.minimum((own[:, 2] * n_hours).astype(np.int64), n_hours - 1)
        is_wet = (hour[None, :] - start[:, None]) % n_hours < length[:, None]
        weight = np.where(is_wet, 1e-6 - np.log1p(-own[:, 3:]), 0.0)
        result += (share / weight.sum(axis=1))[:, None] * weight
    result *= rain_mm / result.sum(axis=1)[:, None]
    return result.reshape((*numbers.shape[:-1], n_hours))


def filled_rain(
    rain_mm: FloatArray, uniforms: FloatArray, block_hours: int = 24, season_days: int = 45
) -> FloatArray:
    """Rain with its unknown hours drawn from the record itself, block by block [mm].

    Each run of unknown hours is cut into blocks of at most `block_hours`. A block is replaced by
    an equally long piece of the record that is wholly known, starts at the same hour of the day
    and lies within `season_days` of the same date in any year; where there is none, within the
    whole record; where there is none of that length, by shorter pieces. Known hours stay as they
    are.

    Parameters
    ----------
    rain_mm : ndarray
        Rain of each hour [mm], NaN where unknown, shape (n,) or (members, n); all members must be
        unknown in the same hours.
    uniforms : ndarray
        Numbers in [0, 1), shape (members, n): a block that starts at hour i uses element i.
    block_hours : int
        Longest block [h].
    season_days : int
        Half width of the season [d].

    Returns
    -------
    ndarray
        Rain of each hour [mm], shape (members, n), without NaN.

    Raises
    ------
    RangeError
        If no hour is known, shapes disagree, or members are unknown in different hours.

    References
    ----------
    Block bootstrap, common practice of statistics; block length and season are assumptions
    (grade E).

    Examples
    --------
    >>> record = np.array([[0.0, 2.0, np.nan, 1.0]])
    >>> filled_rain(record, np.full((2, 4), 0.4), block_hours=1)
    array([[0., 2., 2., 1.],
           [0., 2., 2., 1.]])
    """
    numbers = np.asarray(uniforms, dtype=np.float64)
    record = np.atleast_2d(np.asarray(rain_mm, dtype=np.float64))
    n_hours = record.shape[1]
    if numbers.ndim != 2 or numbers.shape[1] != n_hours:
        raise RangeError(
            f"uniforms: found shape {numbers.shape}, allowed (members, {n_hours}); "
            "give one number for each member and hour"
        )
    n_members = numbers.shape[0]
    if record.shape[0] not in (1, n_members):
        raise RangeError(
            f"rain_mm: found {record.shape[0]} members, allowed 1 or {n_members}; "
            "give as many rows as `uniforms` has"
        )
    is_unknown = np.isnan(record[0])
    if np.any(np.isnan(record) != is_unknown[None, :]):
        raise RangeError(
            "rain_mm: found members unknown in different hours, allowed the same hours; "
            "place rain totals before filling"
        )
    result = np.repeat(record, n_members, axis=0) if record.shape[0] == 1 else record.copy()
    if not is_unknown.any():
        return result
    if is_unknown.all():
        raise RangeError(
            "rain_mm: found no hour whose rain is known, allowed at least one to draw from; "
            "import weather or log rain first"
        )
    source = result.copy()
    unknown_before = np.concatenate(([0], np.cumsum(is_unknown)))
    edges = np.flatnonzero(np.diff(np.concatenate(([0], is_unknown.astype(np.int8), [0]))))
    member = np.arange(n_members)
    for gap_start, gap_end in zip(edges[::2], edges[1::2], strict=True):
        at = int(gap_start)
        while at < gap_end:
            length = min(block_hours, int(gap_end) - at)
            starts = _block_starts(at, length, n_hours, unknown_before, season_days)
            while starts.size == 0:
                length = max(1, length // 2)
                starts = _block_starts(at, length, n_hours, unknown_before, season_days)
            pick = np.minimum((numbers[:, at] * starts.size).astype(np.int64), starts.size - 1)
            columns = starts[pick][:, None] + np.arange(length)[None, :]
            result[:, at : at + length] = source[member[:, None], columns]
            at += length
    return result


def _block_starts(
    at: int, length: int, n_hours: int, unknown_before: IntArray, season_days: int
) -> IntArray:
    """Where a wholly known piece of `length` may start that can stand in for hour `at`."""
    starts = np.arange(at % 24, n_hours - length + 1, 24)
    if length == 1 and starts.size == 0:
        starts = np.arange(n_hours)
    starts = starts[unknown_before[starts + length] == unknown_before[starts]]
    if starts.size == 0 and length == 1:
        starts = np.arange(n_hours)
        starts = starts[unknown_before[starts + 1] == unknown_before[starts]]
    year_h = 365.2425 * 24.0
    apart = np.abs((starts - at + year_h / 2.0) % year_h - year_h / 2.0)
    in_season = starts[apart <= season_days * 24.0]
    return np.asarray(in_season if in_season.size else starts, dtype=np.int64)
