"""What looks wrong when the own gauge is held against a station, and what was left out.

Nothing is changed here: each doubt is a sentence with what was found, for the page of the weather.
The gauge keeps its rank; a station kilometres away differs from shower to shower, so single days
are not judged, only what repeats.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.adapters.weather.quality import day_words, value_words, variable_words
from scheduler.records import Event, Kind, Place, WeatherValue

DOUBT_DAYS = 120  # looked back on
WET_MM = 1.0
LEAST_WET_DAYS = 15
SHIFT_MARGIN = 0.15  # by which another day must fit better
RATIO_EVENTS = 10
RATIO_TOLERANCE = 0.12
MM_PER_INCH = 25.4
LEAST_RATIO_MM = 0.25  # a hundredth of an inch
BLOCKED_DAYS, BLOCKED_LOW, BLOCKED_HIGH, BLOCKED_MM = 30, 0.5, 2.0, 20.0
ZERO_DAYS, ZERO_WET_DAYS, ZERO_WET_MM = 14, 3, 5.0
SUMMED_MM, SUMMED_ELSEWHERE_MM = 10.0, 5.0  # a reading after noughts; the station's rain of those
COVERED_FRAC = 0.9
SNOW_C = 1.0
REVISED_DAYS = 30
DRY_MM = 0.5
LIKE_FRAC = 0.3
MOST_NAMED = 3

_HOUR_S = 3600
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class _Reading:
    """Rain of the own gauge over [start_s, end_s)."""

    start_s: int
    end_s: int
    rain_mm: float


def weather_doubts(
    values: Sequence[WeatherValue], events: Sequence[Event], now: datetime, place: Place
) -> tuple[str, ...]:
    """Sentences on what was left out, and on what does not fit together.

    Parameters
    ----------
    values : sequence of WeatherValue
        What is on record for the last months, newest revision only, suspect values too.
    events : sequence of Event
        Entries that stand; rain and water are read.
    now : datetime
        The moment of the page.
    place : Place
        Its zone decides what a day is called.

    Returns
    -------
    tuple of str
        Empty where nothing is in doubt.
    """
    zone = ZoneInfo(place.time_zone)
    since_s = int((now - timedelta(days=DOUBT_DAYS)).timestamp())
    said = _left_out(values, zone)
    hours = _StationHours(values, since_s, int(now.timestamp()))
    readings = [r for r in _readings(values, events) if r.start_s >= since_s]
    if hours.has_any and readings:
        mixed = _unit(readings, hours)
        said += mixed or _blocked(readings, hours, now)
        said += _shifted(readings, hours)
        said += _false_zeros(readings, hours, zone)
        said += [] if mixed else _summed(readings, hours, zone)
        said += _watered(readings, hours, events, zone)
    said += _snow(values, hours, zone, now)
    return tuple(said)


def revised_lines(
    revisions: Sequence[WeatherValue], now: datetime, place: Place
) -> tuple[str, ...]:
    """Sentences on rain that a source told otherwise later: the later figure counts.

    Parameters
    ----------
    revisions : sequence of WeatherValue
        Every revision of the values on record.
    now : datetime
        The moment of the page.
    place : Place
        Its zone decides what a day is.

    Returns
    -------
    tuple of str
        One a source, of the last `REVISED_DAYS` days, where a day changed by `WET_MM` or more.
    """
    zone = ZoneInfo(place.time_zone)
    since = now - timedelta(days=REVISED_DAYS)
    of_hours: dict[tuple[str, datetime, datetime], list[WeatherValue]] = {}
    for value in revisions:
        if value.variable == "rain_mm" and since <= value.start_at < now and not value.suspect:
            of_hours.setdefault((value.source, value.start_at, value.end_at), []).append(value)
    days: dict[tuple[str, str], list[float]] = {}
    for (source, start_at, _), told in of_hours.items():
        told.sort(key=lambda v: v.known_at)
        day = days.setdefault((source, day_words(start_at, zone)), [0.0, 0.0])
        day[0] += told[0].value
        day[1] += told[-1].value
    said: dict[str, list[str]] = {}
    for (source, day_told), (first, last) in days.items():
        if abs(last - first) >= WET_MM:
            said.setdefault(source, []).append(f"{day_told} from {first:.0f} mm to {last:.0f} mm")
    return tuple(
        f"{source} changed its rain of {', '.join(changed[:MOST_NAMED])}"
        f"{f' and {n} more days' if (n := len(changed) - MOST_NAMED) > 0 else ''}: "
        "the later figure counts from then on"
        for source, changed in sorted(said.items())
    )


# ------------------------------------------------------------------ left out


def _left_out(values: Sequence[WeatherValue], zone: ZoneInfo) -> list[str]:
    """Values marked suspect, by reason: how many, of whom, from when to when."""
    groups: dict[tuple[str, str, str], list[WeatherValue]] = {}
    for value in values:
        if value.suspect:
            groups.setdefault((value.variable, value.source, value.suspect), []).append(value)
    said = []
    for (variable, source, reason), own in sorted(groups.items()):
        first = min(own, key=lambda v: v.start_at)
        last = max(own, key=lambda v: v.start_at)
        count = "1 value" if len(own) == 1 else f"{len(own)} values"
        span = day_words(first.start_at, zone)
        if len(own) > 1 and day_words(last.start_at, zone) != span:
            span = f"{span} to {day_words(last.start_at, zone)}"
        said.append(
            f"{variable_words(variable)} of {source}: {count} of {span} "
            f"({value_words(variable, first.value)}) left out: {reason}"
        )
    return said


# ------------------------------------------------------------------ the two records


class _StationHours:
    """Rain of the station hour by hour, and daily totals where there are no hours."""

    def __init__(self, values: Sequence[WeatherValue], since_s: int, until_s: int) -> None:
        self.first = since_s // _HOUR_S - 72
        n_hours = max(1, until_s // _HOUR_S + 72 - self.first)
        self.rain_mm: FloatArray = np.full(n_hours, np.nan)
        self.temp_c: FloatArray = np.full(n_hours, np.nan)
        daily = []
        for value in values:
            if value.suspect or value.kind is not Kind.OBSERVED:
                continue
            start = int(value.start_at.timestamp()) // _HOUR_S - self.first
            end = int(value.end_at.timestamp()) // _HOUR_S - self.first
            if value.variable == "rain_mm" and start >= 0 and end <= n_hours:
                if end - start <= 1:
                    self.rain_mm[start] = value.value
                else:
                    daily.append((start, end, value.value))
            elif value.variable in ("air_temp_c", "air_temp_max_c") and 0 <= start < n_hours:
                span = slice(start, max(end, start + 1))
                is_new = np.isnan(self.temp_c[span]) | (end - start <= 1)
                self.temp_c[span] = np.where(is_new, value.value, self.temp_c[span])
        for start, end, total in daily:
            if np.isnan(self.rain_mm[start:end]).all():
                self.rain_mm[start:end] = total / (end - start)
        known = np.isfinite(self.rain_mm)
        self.has_any = bool(known.any())
        self._sum = np.concatenate(([0.0], np.cumsum(np.where(known, self.rain_mm, 0.0))))
        self._known = np.concatenate(([0], np.cumsum(known)))

    def total_mm(self, start_s: int, end_s: int) -> float:
        """Rain over a span [mm]; NaN where the station knows too little of it."""
        first = round(start_s / _HOUR_S) - self.first
        last = round(end_s / _HOUR_S) - self.first
        if first < 0 or last > self.rain_mm.size or last <= first:
            return float("nan")
        if self._known[last] - self._known[first] < COVERED_FRAC * (last - first):
            return float("nan")
        return float(self._sum[last] - self._sum[first])


def _readings(values: Sequence[WeatherValue], events: Sequence[Event]) -> list[_Reading]:
    """Readings of the own gauge, from entries and from files, in order of time."""
    found: dict[tuple[int, int], float] = {}
    for value in values:
        if value.variable == "rain_mm" and value.kind is Kind.OWN_GAUGE and not value.suspect:
            span = int(value.start_at.timestamp()), int(value.end_at.timestamp())
            if span[1] - span[0] > 2 * _HOUR_S:
                found[span] = value.value
    for event in events:
        if event.kind == "rain" and "start_at" in event.data:
            start = datetime.fromisoformat(str(event.data["start_at"]))
            end = datetime.fromisoformat(str(event.data["end_at"]))
            key = int(start.timestamp()), int(end.timestamp())
            found[key] = float(event.data.get("rain_mm", 0.0))
    return [_Reading(*span, mm) for span, mm in sorted(found.items())]


def _pairs(readings: Sequence[_Reading], hours: _StationHours, lag_d: int = 0) -> FloatArray:
    """Gauge and station of each reading, shape (n, 2); the station's span moved by `lag_d` days."""
    rows = [
        (r.rain_mm, hours.total_mm(r.start_s + 86400 * lag_d, r.end_s + 86400 * lag_d))
        for r in readings
    ]
    pairs = np.array(rows, dtype=np.float64).reshape(-1, 2)
    return pairs[np.isfinite(pairs[:, 1])]


# ------------------------------------------------------------------ what repeats


def _unit(readings: Sequence[_Reading], hours: _StationHours) -> list[str]:
    """Millimetres taken for inches, or the other way round, over all rains or the newest ten."""
    pairs = _pairs(readings, hours)
    both = pairs[(pairs > LEAST_RATIO_MM / MM_PER_INCH).all(axis=1)]
    both = both[both.max(axis=1) >= LEAST_RATIO_MM]
    if both.shape[0] < RATIO_EVENTS:
        return []
    return _unit_of(both, "rains") or _unit_of(both[-RATIO_EVENTS:], "newest rains")


def _unit_of(both: FloatArray, which: str) -> list[str]:
    """Whether the gauge and the station of these rains are an inch to a millimetre apart."""
    ratio = float(both[:, 0].sum() / both[:, 1].sum())
    middle = float(np.median(both[:, 0] / both[:, 1]))
    for factor, text in (
        (MM_PER_INCH, "were millimetres entered as inches?"),
        (1.0 / MM_PER_INCH, "were inches entered as millimetres?"),
    ):
        if abs(ratio / factor - 1.0) <= RATIO_TOLERANCE and abs(middle / factor - 1.0) <= 0.5:
            return [
                f"your gauge says {both[:, 0].sum():.0f} mm in {both.shape[0]} {which}, the "
                f"station {both[:, 1].sum():.0f} mm, about "
                f"{'25.4 to 1' if factor > 1 else '1 to 25.4'}: {text}"
            ]
    return []


def _blocked(readings: Sequence[_Reading], hours: _StationHours, now: datetime) -> list[str]:
    """A gauge that catches less than half, or more than twice, of a month's rain."""
    since_s = int((now - timedelta(days=BLOCKED_DAYS)).timestamp())
    pairs = _pairs([r for r in readings if r.start_s >= since_s], hours)
    if pairs.shape[0] < 5:
        return []
    own, station = (float(total) for total in pairs.sum(axis=0))
    if max(own, station) < BLOCKED_MM:
        return []
    if own < BLOCKED_LOW * station:
        reason = "may your gauge be blocked, sheltered, or read late?"
    elif own > BLOCKED_HIGH * station:
        reason = "does your gauge catch irrigation or splash, or is the station too far away?"
    else:
        return []
    return [
        f"in the readings of the last {BLOCKED_DAYS} days your gauge says {own:.0f} mm, the "
        f"station {station:.0f} mm: {reason}"
    ]


def _shifted(readings: Sequence[_Reading], hours: _StationHours) -> list[str]:
    """Readings that fit the station better a day earlier or later."""
    daily = [r for r in readings if 20 * 3600 <= r.end_s - r.start_s <= 28 * 3600]
    fits: dict[int, float] = {}
    n_wet = 0
    for lag_d in (-1, 0, 1):
        pairs = _pairs(daily, hours, lag_d)
        if pairs.shape[0] < 2 or not (pairs.std(axis=0) > 0.0).all():
            return []
        fits[lag_d] = float(np.corrcoef(np.sqrt(pairs.T))[0, 1])
        if lag_d == 0:
            n_wet = int(np.count_nonzero(pairs[:, 0] >= WET_MM))
    best = max(fits, key=lambda lag_d: fits[lag_d])
    if best == 0 or n_wet < LEAST_WET_DAYS or fits[best] - fits[0] <= SHIFT_MARGIN:
        return []
    which, advice = "after", "check the dates"
    if best < 0:
        which = "before"
        advice = (
            "what is read in the morning fell mostly the day before; log it with its span, or "
            "write the file's column as date (read at 07:00)"
        )
    return [
        f"your daily rain fits the station better for the day {which} (correlation "
        f"{fits[best]:.2f} against {fits[0]:.2f}): {advice}"
    ]


def _false_zeros(readings: Sequence[_Reading], hours: _StationHours, zone: ZoneInfo) -> list[str]:
    """Two weeks and more of nought while the station had real rains."""
    said = []
    run: list[_Reading] = []
    for reading in [*readings, _Reading(0, 0, 1.0)]:
        if reading.rain_mm == 0.0:
            run.append(reading)
            continue
        if run and run[-1].end_s - run[0].start_s >= ZERO_DAYS * 86400:
            wet = [hours.total_mm(r.start_s, r.end_s) for r in run]
            wet = [mm for mm in wet if np.isfinite(mm) and mm >= ZERO_WET_MM]
            if len(wet) >= ZERO_WET_DAYS:
                first = day_words(datetime.fromtimestamp(run[0].start_s, zone), zone)
                last = day_words(datetime.fromtimestamp(run[-1].end_s, zone), zone)
                said.append(
                    f"your gauge says 0 from {first} to {last}, the station had {len(wet)} days of "
                    f"{ZERO_WET_MM:g} mm or more, {sum(wet):.0f} mm: not read, or blocked? undo "
                    "readings that were none"
                )
        run = []
    return said


def _summed(readings: Sequence[_Reading], hours: _StationHours, zone: ZoneInfo) -> list[str]:
    """A large reading after noughts that fits the station's rain of all those days together."""
    days = []
    run: list[_Reading] = []
    for reading in readings:
        if reading.rain_mm == 0.0:
            run = [*run, reading] if run and run[-1].end_s >= reading.start_s else [reading]
            continue
        if run and run[-1].end_s >= reading.start_s and reading.rain_mm >= SUMMED_MM:
            alone = hours.total_mm(reading.start_s, reading.end_s)
            before = hours.total_mm(run[0].start_s, reading.start_s)
            together = alone + before
            if (
                before >= max(SUMMED_ELSEWHERE_MM, alone)
                and abs(reading.rain_mm - together) <= LIKE_FRAC * together
            ):
                day = day_words(datetime.fromtimestamp(reading.start_s, zone), zone)
                days.append(
                    f"{reading.rain_mm:.0f} mm of {day} after noughts from "
                    f"{day_words(datetime.fromtimestamp(run[0].start_s, zone), zone)} on"
                )
        run = []
    if not days:
        return []
    more = f" and {len(days) - MOST_NAMED} more" if len(days) > MOST_NAMED else ""
    return [
        f"your gauge's {', '.join(days[:MOST_NAMED])}{more} is about what the station had over all "
        "those days: the sum of days not read? undo the noughts and log it with its span"
    ]


def _watered(
    readings: Sequence[_Reading], hours: _StationHours, events: Sequence[Event], zone: ZoneInfo
) -> list[str]:
    """Rain at the gauge that looks like the irrigation of the same day."""
    days = []
    for reading in readings:
        station = hours.total_mm(reading.start_s, reading.end_s)
        if reading.rain_mm < WET_MM or not station < DRY_MM:
            continue
        for event in events:
            at = event.happened_at.timestamp()
            if event.kind != "water" or not reading.start_s <= at < reading.end_s:
                continue
            water_mm = float(event.data.get("water_mm", 0.0))
            if abs(water_mm - reading.rain_mm) <= LIKE_FRAC * reading.rain_mm:
                days.append(day_words(event.happened_at, zone))
                break
    if not days:
        return []
    more = f" and {len(days) - MOST_NAMED} more" if len(days) > MOST_NAMED else ""
    return [
        f"rain at your gauge on {', '.join(days[:MOST_NAMED])}{more} is about what was watered "
        "that day, the station was dry: irrigation caught by the gauge? it would count twice"
    ]


def _snow(
    values: Sequence[WeatherValue], hours: _StationHours, zone: ZoneInfo, now: datetime
) -> list[str]:
    """Rain that fell at or below 1 C of late: it may lie as snow, as the soil column takes it."""
    if not hours.has_any:
        return []
    since = int((now - timedelta(days=BLOCKED_DAYS)).timestamp()) // _HOUR_S - hours.first
    cold = (hours.rain_mm > 0.0) & (hours.temp_c <= SNOW_C)
    cold[: max(since, 0)] = False
    if not cold.any() or float(hours.rain_mm[cold].sum()) < WET_MM:
        return []
    last = datetime.fromtimestamp((int(np.flatnonzero(cold)[-1]) + hours.first) * _HOUR_S, zone)
    return [
        f"{hours.rain_mm[cold].sum():.0f} mm fell at {SNOW_C:g} C or below, last on "
        f"{day_words(last, zone)}: it may have been snow; what fell below 0.5 C wets the soil "
        "as it thaws"
    ]
