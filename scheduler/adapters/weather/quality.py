"""Checks of weather values that need no second station.

A value that cannot be right is given a reason (`suspect`); it is then left out of use, never
changed and never deleted. What concerns a file as a whole, or is only a hint, becomes a message.
The limits are set so that clean records pass: a false alarm costs a day of weather.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.models.sun import (
    extraterrestrial_daily_mj_m2,
    extraterrestrial_hourly_mj_m2,
    solar_day_of_year,
)
from scheduler.records import Kind, Place, WeatherValue

MOST_RAIN_24H_MM = 150.0
LOWEST_C, HIGHEST_C = -60.0, 60.0
HOTTEST_IN_FAHRENHEIT = 140.0  # 60 C; a column beyond it is in Kelvin
MOST_HUMIDITY_FRAC = 1.05
LEAST_HUMIDITY_FRAC = 0.02
MOST_WIND_HOUR_M_S = 35.0  # at 2 m: about 47 m/s at 10 m
MOST_WIND_DAY_M_S = 15.0
MOST_WIND_FILE_M_S = 10.0
SPIKE_K = 12.0
TEMP_STREAK_HOURS, TEMP_STREAK_DAYS = 24, 10
WIND_STREAK_HOURS, CALM_HOURS, WIND_STREAK_DAYS = 18, 72, 7
SOLAR_STREAK_HOURS, SOLAR_STREAK_DAYS = 4, 4
HUMIDITY_STREAK_HOURS, HUMIDITY_STREAK_DAYS = 36, 10
HEAVY_RAIN_MM, HEAVY_STREAK, LIGHT_STREAK = 1.0, 5, 20
ACCUMULATED_MM = 20.0
LEAST_WET_RECORDS = 20
INCH_MM = 25.4
TENTHS_MEDIAN, TENTHS_MOST = 15.0, 60.0  # wet days of whole numbers: half and a tenth lie above
FREQUENT_DAYS = 10  # wet days in a row among which one value may not come too often
FREQUENT = ((0.3, 9), (0.5, 8), (0.7, 7), (0.9, 5))  # its share of all wet days below; how often
OUTLIER_FACTOR, OUTLIER_DAYS = 9.0, 14  # times the 95th percentile of the same weeks
MOST_NAMED = 3

_HOUR = timedelta(hours=1)
_WORDS = {
    "rain_mm": "rain",
    "air_temp_c": "temperature",
    "air_temp_min_c": "t min",
    "air_temp_max_c": "t max",
    "humidity_frac": "humidity",
    "wind_2m_m_s": "wind",
    "solar_mj_m2": "solar",
}
_TEMPERATURES = ("air_temp_c", "air_temp_min_c", "air_temp_max_c")
_UNITS = {
    "rain_mm": ("mm", 1.0),
    **dict.fromkeys(_TEMPERATURES, ("C", 1.0)),
    "humidity_frac": ("%", 100.0),
    "wind_2m_m_s": ("m/s", 1.0),
    "solar_mj_m2": ("MJ/m2", 1.0),
}
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class CheckedWeather:
    """The same values in the same order, some marked, and what is to be told."""

    values: tuple[WeatherValue, ...]
    messages: tuple[str, ...]

    @property
    def n_suspect(self) -> int:
        """Number of values that are left out of use."""
        return sum(1 for value in self.values if value.suspect)


@dataclass(frozen=True)
class _Track:
    """Values of one variable, kind, source and step, in order of time."""

    variable: str
    is_daily: bool
    places: NDArray[np.int64]  # where each value stands among all values
    start_s: NDArray[np.int64]
    end_s: NDArray[np.int64]
    value: FloatArray

    @property
    def words(self) -> str:
        """The variable as it is called in messages."""
        return _WORDS.get(self.variable, self.variable)

    @property
    def step_s(self) -> int:
        """The usual length of an interval [s]."""
        return 86400 if self.is_daily else 3600


Suspects = dict[int, str]
Messages = list[str]


def checked_weather(values: Sequence[WeatherValue], now: datetime, place: Place) -> CheckedWeather:
    """Mark what cannot be right and say what looks wrong.

    Parameters
    ----------
    values : sequence of WeatherValue
        Values as imported; those marked already keep their mark and take no part.
    now : datetime
        Observations that end later lie in the future.
    place : Place
        Where the values were taken: sun and season, and the zone of dates in messages.

    Returns
    -------
    CheckedWeather
        The values, in their order, and messages.
    """
    zone = ZoneInfo(place.time_zone)
    suspects: Suspects = {}
    messages: Messages = []
    _future(values, now, suspects)
    _doubled(values, suspects)
    tracks = _tracks(values, suspects)
    for track in tracks:
        _bounds(track, place, suspects, messages)
        _whole_file(track, place, suspects, messages)
        _spikes(track, suspects)
        _streaks(track, suspects)
        if track.variable == "rain_mm":
            _rain_of_24_hours(track, suspects)
            _inches(track, messages)
            _accumulated(track, zone, messages)
            _weekends(track, zone, messages)
            _same_months(track, zone, suspects, messages)
            _tenths(track, suspects, messages)
            _frequent(track, zone, messages)
            _outliers(track, zone, suspects, messages)
    _gaps(tracks, zone, messages)
    _crossed_extremes(values, suspects)
    _days_against_hours(tracks, zone, suspects, messages)
    _tell_suspects(values, suspects, zone, messages)
    marked = tuple(
        replace(value, suspect=suspects[at]) if at in suspects and not value.suspect else value
        for at, value in enumerate(values)
    )
    return CheckedWeather(marked, tuple(messages))


def _tracks(values: Sequence[WeatherValue], suspects: Mapping[int, str]) -> list[_Track]:
    """Values sorted by what they are and when; marked ones take no part."""
    groups: dict[tuple[str, bool, Kind, str], list[int]] = {}
    for at, value in enumerate(values):
        if value.suspect or at in suspects or value.kind not in (Kind.OBSERVED, Kind.OWN_GAUGE):
            continue
        is_daily = value.end_at - value.start_at > 2 * _HOUR
        groups.setdefault((value.variable, is_daily, value.kind, value.source), []).append(at)
    tracks = []
    for (variable, is_daily, _, _), places in sorted(groups.items()):
        places.sort(key=lambda at: values[at].start_at)
        own = [values[at] for at in places]
        tracks.append(
            _Track(
                variable,
                is_daily,
                np.array(places, dtype=np.int64),
                np.array([int(v.start_at.timestamp()) for v in own], dtype=np.int64),
                np.array([int(v.end_at.timestamp()) for v in own], dtype=np.int64),
                np.array([v.value for v in own], dtype=np.float64),
            )
        )
    return tracks


# ------------------------------------------------------------------ telling


def _when(second: int, zone: ZoneInfo, is_daily: bool = False) -> str:
    """A local moment, or date, in words."""
    local = datetime.fromtimestamp(second, zone)
    day = f"{local.day} {local:%b %Y}"
    return day if is_daily else f"{day} {local:%H:%M}"


def day_words(moment: datetime, zone: ZoneInfo) -> str:
    """A local date in words, as "8 May 2013"."""
    return _when(int(moment.timestamp()), zone, True)


def variable_words(variable: str) -> str:
    """A variable as it is called in messages."""
    return _WORDS.get(variable, variable)


def value_words(variable: str, value: float) -> str:
    """A value with its unit, as "400 mm"; what cannot be right may be any number."""
    unit, factor = _UNITS.get(variable, ("", 1.0))
    shown = value * factor
    figure = f"{shown:.4g}" if 0.01 <= abs(shown) < 1e4 else f"{shown:.0f}"
    return f"{figure} {unit}".rstrip()


def _some(names: Sequence[str]) -> str:
    """The first few of many names."""
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _mark(suspects: Suspects, track: _Track, is_bad: NDArray[np.bool_], reason: str) -> None:
    """Mark values of a track, the first reason stays."""
    for at in track.places[is_bad]:
        suspects.setdefault(int(at), reason)


def _tell_suspects(
    values: Sequence[WeatherValue], suspects: Suspects, zone: ZoneInfo, messages: Messages
) -> None:
    """One message for each reason: how many, where first."""
    by_reason: dict[tuple[str, str], list[int]] = {}
    for at, reason in suspects.items():
        by_reason.setdefault((values[at].variable, reason), []).append(at)
    for (variable, reason), places in by_reason.items():
        places.sort(key=lambda at: values[at].start_at)
        first = values[places[0]]
        is_daily = first.end_at - first.start_at > 2 * _HOUR
        start = _when(int(first.start_at.timestamp()), zone, is_daily)
        count = f"{len(places)} values, the first" if len(places) > 1 else "1 value,"
        messages.append(
            f"{variable_words(variable)}: {count} of {start} "
            f"({value_words(variable, first.value)}), "
            f"left out: {reason}"
        )


# ------------------------------------------------------------------ single values


def _future(values: Sequence[WeatherValue], now: datetime, suspects: Suspects) -> None:
    """Observations of hours that are not over."""
    for at, value in enumerate(values):
        if value.kind >= Kind.OBSERVED and value.end_at > now and not value.suspect:
            suspects[at] = "lies after now: check the zone and the date"


def _doubled(values: Sequence[WeatherValue], suspects: Suspects) -> None:
    """The same hours twice from one source."""
    seen: dict[tuple[str, datetime, datetime, str], int] = {}
    for at, value in enumerate(values):
        if value.suspect:
            continue
        key = (value.variable, value.start_at, value.end_at, value.source)
        first = seen.setdefault(key, at)
        if first == at:
            continue
        if values[first].value == value.value:
            suspects.setdefault(at, "the same hours stand twice with the same value")
        else:
            for each in (first, at):
                suspects.setdefault(each, "the same hours stand twice with different values")


def _bounds(track: _Track, place: Place, suspects: Suspects, messages: Messages) -> None:
    """Values no instrument of a farm can mean."""
    value = track.value
    if track.variable == "rain_mm":
        _mark(suspects, track, value < 0.0, "below zero: write t for a trace")
        limit = f"more than {MOST_RAIN_24H_MM:g} mm: if it is true, log it by hand"
        days = np.maximum((track.end_s - track.start_s) / 86400.0, 1.0)
        _mark(suspects, track, value > MOST_RAIN_24H_MM * days, limit)
    elif track.variable in _TEMPERATURES:
        _mark(suspects, track, value > HIGHEST_C, "above 60 C: Fahrenheit or Kelvin given as C?")
        _mark(suspects, track, value < LOWEST_C, "below -60 C")
    elif track.variable == "humidity_frac":
        _mark(suspects, track, value > MOST_HUMIDITY_FRAC, "above 105 %")
        reason = "below 2 %: a fraction given as %?"
        _mark(suspects, track, value < LEAST_HUMIDITY_FRAC, reason)
    elif track.variable == "wind_2m_m_s":
        limit_m_s = MOST_WIND_DAY_M_S if track.is_daily else MOST_WIND_HOUR_M_S
        span = "a day" if track.is_daily else "an hour"
        _mark(suspects, track, value < 0.0, "below zero")
        _mark(
            suspects, track, value > limit_m_s, f"a mean of more than {limit_m_s:g} m/s in {span}"
        )
    elif track.variable == "solar_mj_m2":
        _sun(track, place, suspects, messages)


def _sun(track: _Track, place: Place, suspects: Suspects, messages: Messages) -> None:
    """Radiation against the sun above the clouds."""
    _mark(suspects, track, track.value < -0.05, "below zero")
    middle_h = (track.start_s + track.end_s) / 7200.0
    if track.is_daily:
        day_of_year = solar_day_of_year(middle_h - 0.5, place.longitude_deg)
        above = extraterrestrial_daily_mj_m2(place.latitude_deg, day_of_year)
        reason = "more than the sun gives above the clouds: check the unit"
        _mark(suspects, track, track.value > above * 1.02 + 0.1, reason)
        return
    start_h = track.start_s / 3600.0
    sun = [
        extraterrestrial_hourly_mj_m2(start_h + shift, place.latitude_deg, place.longitude_deg)
        for shift in (-1.0, 0.0, 1.0)
    ]
    above = np.maximum.reduce(sun)  # an hour of slack for clouds that reflect and slow clocks
    is_too_much = track.value > above * 1.1 + 0.1
    n_lit = int(np.count_nonzero(track.value > 0.1))
    if n_lit and np.count_nonzero(is_too_much) > 0.05 * n_lit:
        n_bad = int(np.count_nonzero(is_too_much))
        messages.append(
            f"solar: {n_bad} of {n_lit} lit hours exceed the sun above the clouds: "
            "check the unit, the zone and which end of the hour the stamp marks"
        )
    _mark(suspects, track, is_too_much, "more than the sun gives above the clouds")


def _whole_file(track: _Track, place: Place, suspects: Suspects, messages: Messages) -> None:
    """A unit that is wrong throughout."""
    value = track.value
    if value.size < 5:
        return
    everything = np.ones(value.size, np.bool_)
    if track.variable in ("air_temp_c", "air_temp_max_c"):
        hot = np.quantile(value, 0.9)
        if hot > (50.0 if track.variable == "air_temp_max_c" else 48.0):
            unit = "Kelvin" if hot > HOTTEST_IN_FAHRENHEIT else "Fahrenheit"
            messages.append(
                f"{track.words}: a tenth of the values lie above {hot:.0f} C: "
                f"was {unit} given as C?"
            )
            _mark(suspects, track, everything, "the whole column is too hot: check its unit")
        is_summer = _is_summer(track, place)
        if np.count_nonzero(is_summer) >= 5 and abs(place.latitude_deg) < 60.0:
            mean_c = float(value[is_summer].mean())
            if mean_c < 3.0 and place.elevation_m < 2500.0:
                messages.append(
                    f"{track.words}: the summer averages {mean_c:.0f} C: was C given as Fahrenheit?"
                )
                _mark(suspects, track, everything, "the whole column is too cold: check its unit")
    elif track.variable == "wind_2m_m_s" and float(value.mean()) > MOST_WIND_FILE_M_S:
        messages.append(
            f"wind: averages {value.mean():.0f} m/s at 2 m: was km/h, mph or kt given as m/s?"
        )
        _mark(suspects, track, everything, "the whole column is too windy: check its unit")
    elif track.variable == "humidity_frac" and float(np.quantile(value, 0.9)) < 0.05:
        messages.append(
            f"humidity: nine tenths lie below {100 * np.quantile(value, 0.9):.1f} %: "
            "was a fraction given as %?"
        )
        _mark(suspects, track, everything, "the whole column is too dry: check its unit")
    if track.variable == "wind_2m_m_s" and not track.is_daily:
        _windy_days(track, suspects)


def _is_summer(track: _Track, place: Place) -> NDArray[np.bool_]:
    """Whether a value lies in the three warmest months."""
    month = track.start_s.astype("datetime64[s]").astype("datetime64[M]").astype(np.int64) % 12
    warm = (5, 6, 7) if place.latitude_deg >= 0.0 else (11, 0, 1)
    return np.isin(month, warm)


def _windy_days(track: _Track, suspects: Suspects) -> None:
    """Days of hourly wind whose mean is absurd though no single hour is."""
    is_sound = (track.value <= MOST_WIND_HOUR_M_S) & (track.value >= 0.0)
    day = track.start_s // 86400
    _, index = np.unique(day, return_inverse=True)
    count = np.bincount(index, weights=is_sound)
    total = np.bincount(index, weights=np.where(is_sound, track.value, 0.0))
    is_windy = (count >= 12) & (total > MOST_WIND_DAY_M_S * np.maximum(count, 1))
    reason = f"a mean of more than {MOST_WIND_DAY_M_S:g} m/s in a day"
    _mark(suspects, track, is_windy[index] & is_sound, reason)


def _spikes(track: _Track, suspects: Suspects) -> None:
    """One hour far above, or far below, both its neighbours."""
    if track.variable != "air_temp_c" or track.is_daily or track.value.size < 3:
        return
    before = track.value[1:-1] - track.value[:-2]
    after = track.value[1:-1] - track.value[2:]
    is_near = track.start_s[2:] - track.start_s[:-2] <= 3 * 3600
    is_spike = np.zeros(track.value.size, np.bool_)
    is_spike[1:-1] = is_near & (
        (np.minimum(before, after) > SPIKE_K) | (np.maximum(before, after) < -SPIKE_K)
    )
    _mark(suspects, track, is_spike, f"more than {SPIKE_K:g} K away from both neighbours")


# ------------------------------------------------------------------ runs


def _runs(track: _Track) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Start and length of each run of equal values on consecutive hours, or days."""
    n = track.value.size
    breaks = (np.diff(track.value) != 0.0) | (np.diff(track.start_s) > 1.5 * track.step_s)
    starts = np.concatenate(([0], np.flatnonzero(breaks) + 1))
    return starts.astype(np.int64), np.diff(np.concatenate((starts, [n]))).astype(np.int64)


def _streaks(track: _Track, suspects: Suspects) -> None:
    """A sensor that stands still."""
    starts, lengths = _runs(track)
    limits = _streak_limits(track, track.value[starts])
    span = "days" if track.is_daily else "hours"
    for run in np.flatnonzero(lengths >= limits):
        is_bad = np.zeros(track.value.size, np.bool_)
        is_bad[starts[run] : starts[run] + lengths[run]] = True
        _mark(suspects, track, is_bad, f"the same value for {lengths[run]} {span}: stuck?")


def _streak_limits(track: _Track, value: FloatArray) -> FloatArray:
    """How many equal values in a row are too many, for each value; infinite where none are."""
    days = track.is_daily
    if track.variable in _TEMPERATURES:
        return np.full(value.size, float(TEMP_STREAK_DAYS if days else TEMP_STREAK_HOURS))
    if track.variable == "wind_2m_m_s":
        calm, blowing = (WIND_STREAK_DAYS,) * 2 if days else (CALM_HOURS, WIND_STREAK_HOURS)
        return np.where(value == 0.0, float(calm), float(blowing))
    if track.variable == "solar_mj_m2":
        return np.where(value > 0.05, SOLAR_STREAK_DAYS if days else SOLAR_STREAK_HOURS, np.inf)
    if track.variable == "humidity_frac":
        limit = HUMIDITY_STREAK_DAYS if days else HUMIDITY_STREAK_HOURS
        return np.where(value < 0.98, limit, np.inf)
    return np.where(
        value == 0.0, np.inf, np.where(value >= HEAVY_RAIN_MM, HEAVY_STREAK, LIGHT_STREAK)
    )


def _gaps(tracks: Sequence[_Track], zone: ZoneInfo, messages: Messages) -> None:
    """Hours, or days, without a value between the first and the last; same gaps told together."""
    words: dict[str, list[str]] = {}
    for track in tracks:
        gap_s = track.start_s[1:] - track.end_s[:-1]
        is_gap = gap_s > 0.5 * track.step_s
        if not is_gap.any():
            continue
        unit = "day" if track.is_daily else "hour"
        lengths = np.rint(gap_s[is_gap] / track.step_s).astype(np.int64)
        longest = int(np.argmax(lengths))
        at = np.flatnonzero(is_gap)[longest]
        since = _when(int(track.end_s[at]), zone, track.is_daily)
        text = f"no value for {_count(int(lengths.sum()), unit)} from {since}"
        if lengths.size > 1:
            text = (
                f"no value for {_count(int(lengths.sum()), unit)} in {lengths.size} gaps, the "
                f"longest {_count(int(lengths[longest]), unit)} from {since}"
            )
        words.setdefault(text, []).append(track.words)
    messages.extend(f"{', '.join(names)}: {text}" for text, names in words.items())


def _count(number: int, unit: str) -> str:
    """A number with its unit, in the plural where there are several."""
    return f"{number} {unit}" + ("" if number == 1 else "s")


# ------------------------------------------------------------------ rain


def _rain_of_24_hours(track: _Track, suspects: Suspects) -> None:
    """Hours whose running day holds more rain than may be believed unasked."""
    if track.is_daily:
        return
    rain = np.where((track.value < 0.0) | (track.value > MOST_RAIN_24H_MM), 0.0, track.value)
    running = np.concatenate(([0.0], np.cumsum(rain)))
    first = np.searchsorted(track.start_s, track.start_s - 23 * 3600)
    total = running[1:] - running[first]
    is_bad = np.zeros(rain.size, np.bool_)
    for at in np.flatnonzero(total > MOST_RAIN_24H_MM):
        is_bad[first[at] : at + 1] = True
    reason = f"more than {MOST_RAIN_24H_MM:g} mm in 24 hours: if it is true, log it by hand"
    _mark(suspects, track, is_bad & (rain > 0.0), reason)


def _inches(track: _Track, messages: Messages) -> None:
    """Rain in steps of a hundredth that never grows large: inches taken for millimetres?"""
    wet = track.value[track.value > 0.0]
    if wet.size < LEAST_WET_RECORDS or wet.max() >= (6.0 if track.is_daily else 3.0):
        return
    in_hundredths = np.abs(wet * 100.0 - np.rint(wet * 100.0)) < 1e-6
    in_tenths = np.abs(wet * 10.0 - np.rint(wet * 10.0)) < 1e-6
    tips = np.rint(wet / 0.254)
    from_inches = np.abs(wet - tips * 0.254) < 0.0061  # a tip of 0.01 in, rounded to 0.01 mm
    if in_hundredths.mean() > 0.98 and in_tenths.mean() < 0.5 and from_inches.mean() < 0.5:
        messages.append(
            f"rain: {wet.size} wet records in steps of 0.01, none above {wet.max():.2f} mm: "
            "were inches given as mm?"
        )


def _accumulated(track: _Track, zone: ZoneInfo, messages: Messages) -> None:
    """A large total after days without a reading may hold the rain of all of them."""
    if not track.is_daily or track.value.size < 2:
        return
    missing_d = np.rint((track.start_s[1:] - track.end_s[:-1]) / 86400.0)
    rows = np.flatnonzero((missing_d >= 1) & (track.value[1:] >= ACCUMULATED_MM)) + 1
    names = [
        f"{_when(int(track.start_s[row]), zone, True)} ({track.value[row]:.0f} mm after "
        f"{missing_d[row - 1]:.0f} days without a reading)"
        for row in rows
    ]
    if names:
        messages.append(
            f"rain: {_some(names)} may hold the rain of several days: if so, log it with its span"
        )


def _weekends(track: _Track, zone: ZoneInfo, messages: Messages) -> None:
    """Dry weekends and wet Mondays: a gauge that nobody reads on Saturday and Sunday."""
    if not track.is_daily or track.value.size < 26 * 7:
        return
    middle = (track.start_s + track.end_s) // 2
    weekday = np.array([datetime.fromtimestamp(int(s), zone).weekday() for s in middle])
    is_wet = track.value > 0.2
    weekend, monday = np.isin(weekday, (5, 6)), weekday == 0
    middle_week = ~weekend & ~monday
    if not (weekend.any() and monday.any() and middle_week.any()):
        return
    usual_wet, usual_mm = is_wet[middle_week].mean(), track.value[middle_week].mean()
    if is_wet[weekend].mean() < 0.3 * usual_wet and track.value[monday].mean() > 1.6 * usual_mm:
        messages.append(
            f"rain: wet on {100 * is_wet[weekend].mean():.0f} % of weekend days, on "
            f"{100 * usual_wet:.0f} % of others, and Mondays are heavy: are weekends read on "
            "Monday? log such readings with their span"
        )


def _same_months(track: _Track, zone: ZoneInfo, suspects: Suspects, messages: Messages) -> None:
    """Two months with the same rain day for day: a block copied twice."""
    by_month: dict[tuple[int, int], list[tuple[date, float, int]]] = {}
    for row, second in enumerate(track.start_s):
        local = datetime.fromtimestamp(int(second), zone)
        by_month.setdefault((local.year, local.month), []).append(
            (local.date(), float(track.value[row]), row)
        )
    seen: dict[tuple[tuple[int, float], ...], tuple[int, int]] = {}
    for month, rows in sorted(by_month.items()):
        by_day: dict[int, float] = {}
        for day, mm, _ in rows:
            by_day[day.day] = by_day.get(day.day, 0.0) + mm
        pattern = tuple(  # the days that every month has
            (day, round(mm, 3)) for day, mm in sorted(by_day.items()) if mm > 0.0 and day <= 28
        )
        if len(pattern) < 3:
            continue
        first = seen.setdefault(pattern, month)
        if first != month:
            names = [f"{date(year, number, 1):%b %Y}" for year, number in (first, month)]
            messages.append(f"rain: {names[1]} repeats {names[0]} day for day: copied twice?")
            is_bad = np.zeros(track.value.size, np.bool_)
            is_bad[[row for _, _, row in rows]] = True
            _mark(suspects, track, is_bad, f"the month repeats {names[0]}")


def _tenths(track: _Track, suspects: Suspects, messages: Messages) -> None:
    """Whole numbers ten times too large: tenths of a millimetre taken for millimetres."""
    wet = track.value[track.value > 0.0]
    if not track.is_daily or wet.size < LEAST_WET_RECORDS or np.any(wet != np.rint(wet)):
        return
    if np.median(wet) < TENTHS_MEDIAN or np.quantile(wet, 0.9) < TENTHS_MOST:
        return
    messages.append(
        f"rain: {wet.size} wet days of whole numbers, half of them above {np.median(wet):.0f} mm: "
        "were tenths of a millimetre given as mm? declare the column as rain [0.1 mm]"
    )
    everything = np.ones(track.value.size, np.bool_)
    _mark(suspects, track, everything, "the whole column is too wet: check its unit")


def _frequent(track: _Track, zone: ZoneInfo, messages: Messages) -> None:
    """One value too often among ten wet days in a row."""
    rows = np.flatnonzero(track.value > 0.0)
    wet = track.value[rows]
    if not track.is_daily or wet.size < LEAST_WET_RECORDS:
        return
    ordered = np.sort(wet)
    for first in range(wet.size - FREQUENT_DAYS + 1):
        value, count = np.unique(wet[first : first + FREQUENT_DAYS], return_counts=True)
        rank = np.searchsorted(ordered, value) / ordered.size
        for share, most in FREQUENT:
            if np.any((rank >= share) & (count >= most)):
                often = value[(rank >= share) & (count >= most)][0]
                day = _when(int(track.start_s[rows[first]]), zone, True)
                messages.append(
                    f"rain: {often:g} mm on {count[value == often][0]} of {FREQUENT_DAYS} wet "
                    f"days from {day}: a number filled in?"
                )
                return


def _outliers(track: _Track, zone: ZoneInfo, suspects: Suspects, messages: Messages) -> None:
    """Days far beyond what the same weeks of the record hold: to be confirmed, never deleted."""
    is_left_out = np.array([int(at) in suspects for at in track.places], dtype=np.bool_)
    wet = (track.value > 0.0) & ~is_left_out
    if not track.is_daily or np.count_nonzero(wet) < LEAST_WET_RECORDS:
        return
    day_of_year = (track.start_s // 86400) % 365.2425
    names = []
    for row in np.flatnonzero(wet & (track.value > 3.0 * np.quantile(track.value[wet], 0.95))):
        apart = np.abs(day_of_year - day_of_year[row])
        apart = np.minimum(apart, 365.2425 - apart)
        near = wet & (apart <= OUTLIER_DAYS)
        near[row] = False
        if np.count_nonzero(near) < LEAST_WET_RECORDS:
            near = wet.copy()
            near[row] = False
        if track.value[row] > OUTLIER_FACTOR * np.quantile(track.value[near], 0.95):
            names.append(
                f"{_when(int(track.start_s[row]), zone, True)} ({track.value[row]:.0f} mm)"
            )
    if names:
        messages.append(
            f"rain: {_some(names)} is more than {OUTLIER_FACTOR:g} times what the wettest days of "
            "that season bring here: right? it counts until you correct it"
        )


# ------------------------------------------------------------------ between columns


def _crossed_extremes(values: Sequence[WeatherValue], suspects: Suspects) -> None:
    """Lowest and highest of a day that contradict each other."""
    lows: dict[tuple[datetime, datetime, str], int] = {}
    highs: dict[tuple[datetime, datetime, str], int] = {}
    for at, value in enumerate(values):
        if value.suspect:
            continue
        key = (value.start_at, value.end_at, value.source)
        if value.variable == "air_temp_min_c":
            lows[key] = at
        elif value.variable == "air_temp_max_c":
            highs[key] = at
    for key in lows.keys() & highs.keys():
        low, high = values[lows[key]].value, values[highs[key]].value
        reason = ""
        if low > high:
            reason = "t min above t max"
        elif low == high:
            reason = "t min equals t max"
        if reason:
            suspects.setdefault(lows[key], reason)
            suspects.setdefault(highs[key], reason)


def _days_against_hours(
    tracks: Sequence[_Track], zone: ZoneInfo, suspects: Suspects, messages: Messages
) -> None:
    """Daily sums of rain that their own complete hours contradict: the hours count."""
    hourly = [t for t in tracks if t.variable == "rain_mm" and not t.is_daily]
    daily = [t for t in tracks if t.variable == "rain_mm" and t.is_daily]
    for hours in hourly:
        running = np.concatenate(([0.0], np.cumsum(hours.value)))
        for days in daily:
            first = np.searchsorted(hours.start_s, days.start_s)
            last = np.searchsorted(hours.end_s, days.end_s, side="right")
            total = running[np.maximum(last, first)] - running[first]
            is_whole = (last - first) * 3600 >= days.end_s - days.start_s - 1800
            apart = np.abs(total - days.value)
            is_bad = is_whole & (apart > np.maximum(1.0, 0.1 * np.maximum(total, days.value)))
            for row in np.flatnonzero(is_bad)[:MOST_NAMED]:
                messages.append(
                    f"rain: the day of {_when(int(days.start_s[row]), zone, True)} says "
                    f"{days.value[row]:.1f} mm, its hours {total[row]:.1f} mm: the hours count"
                )
            _mark(suspects, days, is_bad, "the sum of its hours differs")
