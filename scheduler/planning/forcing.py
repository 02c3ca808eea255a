"""One hourly weather series out of everything that is known at a moment.

For each hour the best kind counts: own gauge, station, model, forecast, climate. An hour that has
ended and that nobody observed takes the forecast issued last before it. Missing rain stays missing
(NaN) and is said; a rain total whose hours nobody saw is handed on as a total, to be drawn
by member. What the other variables lack is filled by stated rules and marked by its kind. What
bears on this morning is noted; routine fillings are listed apart.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.errors import RangeError
from scheduler.models.air import humidity_from_dew_point_frac
from scheduler.models.disaggregation import (
    hourly_humidity_frac,
    hourly_solar_mj_m2,
    hourly_temperature_c,
)
from scheduler.models.sun import (
    clear_sky_mj_m2,
    extraterrestrial_hourly_mj_m2,
    solar_day,
    solar_from_range_mj_m2,
)
from scheduler.records import (
    RAIN_RANGE,
    BoolArray,
    Event,
    FloatArray,
    Forecast,
    IntArray,
    Kind,
    Place,
    RainTotal,
    WeatherSeries,
    WeatherValue,
)

KindArray = NDArray[np.int8]

HOUR_S = 3600
PAD_HOURS = 72
SHORT_GAP_HOURS = 6
NEIGHBOUR_DAYS = (3, 7, 15)
DEFAULT_WIND_2M_M_S = 2.0
SHAPE_KNOWN_FRAC = 0.9  # share of an interval a station must cover to lend it its hours
DISAGREE_MM = 2.0
DISAGREE_FRAC = 0.3
MM_PER_INCH = 25.4
MOST_GAUGE_NOTES = 3
NOTED_RAIN_DAYS = 14  # unknown rain of these last days is noted, older rain only if it is much
NOTED_GAUGE_DAYS = 7
NOTED_TEMP_DAYS = 7
MUCH_UNKNOWN_HOURS = 24
OWN_SOURCE = "own gauge"
NOTED_AGE_H = 24.0  # weather older than this is noted
OBSERVED_LIMIT_H = 120.0  # without a reading for longer the soil is not known: nothing is ranked
FORECAST_LIMIT_H = 36.0  # an older forecast is told not to be counted on

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_BEST_FIRST = (Kind.OWN_GAUGE, Kind.OBSERVED, Kind.MODEL, Kind.FORECAST, Kind.CLIMATE)
_WORDS = {
    "rain_mm": "rain",
    "air_temp_c": "temperature",
    "air_temp_min_c": "lowest temperature",
    "air_temp_max_c": "highest temperature",
    "humidity_frac": "humidity",
    "wind_2m_m_s": "wind",
    "solar_mj_m2": "solar radiation",
}


@dataclass(frozen=True)
class ValueColumns:
    """Weather values of one variable as columns; row i held over [start_s[i], end_s[i]).

    Moments are seconds since 1970-01-01 00:00 UTC [s]; all arrays have shape (n,).
    """

    variable: str
    start_s: IntArray
    end_s: IntArray
    value: FloatArray
    kind: KindArray
    known_s: IntArray
    is_suspect: BoolArray
    source_index: IntArray
    sources: tuple[str, ...]


@dataclass(frozen=True)
class WeatherAges:
    """How old the weather of a series is [h]; None where there is none.

    `rain_h` and `temp_h` count from the end of the last hour that a gauge, a station or a model of
    the hour itself gave, `forecast_h` from the issue of the forecast.
    """

    rain_h: float | None
    temp_h: float | None
    forecast_h: float | None

    @property
    def observed_h(self) -> float | None:
        """The age of rain or of temperature, whichever is older [h]; None if either is missing."""
        if self.rain_h is None or self.temp_h is None:
            return None
        return max(self.rain_h, self.temp_h)

    @property
    def is_soil_unknown(self) -> bool:
        """Whether the rain was observed too long ago to say how wet the soil is."""
        return self.rain_h is None or self.rain_h > OBSERVED_LIMIT_H

    @property
    def is_forecast_old(self) -> bool:
        """Whether there is a forecast and it is too old to be counted on."""
        return self.forecast_h is not None and self.forecast_h > FORECAST_LIMIT_H


@dataclass(frozen=True)
class _Issued:
    """Forecasts known at `now`, in order of issue."""

    all: tuple[Forecast, ...]

    @property
    def latest(self) -> Forecast | None:
        """The one issued last: it counts for the hours to come."""
        return self.all[-1] if self.all else None


@dataclass(frozen=True)
class _Span:
    """A value over more than an hour: [first, last) in hours of the grid."""

    first: int
    last: int
    value: float
    kind: Kind
    source: str
    known_s: int


@dataclass
class _Grid:
    """The padded hourly grid that a series is made on, and what is said about it."""

    first_hour: int
    n_hours: int
    inner: slice
    now: datetime
    zone: ZoneInfo
    lead_h: FloatArray  # of the forecasts that elapsed hours rest on; NaN elsewhere
    stood_in: set[str] = field(default_factory=set)  # sources of those forecasts
    notes: list[str] = field(default_factory=list)
    fills: list[str] = field(default_factory=list)

    @property
    def hours(self) -> IntArray:
        """Hours since 1970 of every element [h]."""
        return np.arange(self.first_hour, self.first_hour + self.n_hours, dtype=np.int64)

    @property
    def now_s(self) -> int:
        """`now` in seconds since 1970 [s]."""
        return _seconds(self.now)

    @property
    def now_element(self) -> int:
        """The element that holds `now`; below 0 or beyond the last where `now` lies outside."""
        return self.now_s // HOUR_S - self.first_hour

    @property
    def n_past(self) -> int:
        """Number of leading elements whose hour has ended by `now`."""
        return int(np.clip(self.now_element, 0, self.n_hours))

    def is_past(self, last_days: int | None = None) -> BoolArray:
        """Which elements have ended by `now`; of the last days only, if their number is given."""
        element = np.arange(self.n_hours)
        is_past = element < self.n_past
        if last_days is not None:
            is_past &= element >= self.now_element - 24 * last_days
        return np.asarray(is_past, dtype=np.bool_)

    def when(self, element: int) -> str:
        """The local time at which an element begins, in words."""
        moment = _EPOCH + timedelta(hours=int(self.first_hour + element))
        local = moment.astimezone(self.zone)
        year = "" if local.year == self.now.astimezone(self.zone).year else f" {local.year}"
        return f"{local.day} {local:%b}{year} {local:%H:%M}"

    def within(self, first: int, last: int) -> bool:
        """Whether [first, last) touches the part of the grid that is handed out."""
        return bool(first < self.inner.stop and last > self.inner.start)

    def note_hours(self, is_meant: BoolArray, text: str) -> None:
        """Note `text` with the hours meant, if there are any."""
        self._say_hours(self.notes, is_meant, text)

    def list_fill(self, is_meant: BoolArray, text: str) -> None:
        """List `text` among the fillings with the hours meant, if there are any."""
        self._say_hours(self.fills, is_meant, text)

    def _say_hours(self, said: list[str], is_meant: BoolArray, text: str) -> None:
        """Add `text` with the number of hours meant and the span they lie in, if there are any."""
        at = np.flatnonzero(is_meant[self.inner]) + self.inner.start
        if at.size:
            n_runs = 1 + int(np.count_nonzero(np.diff(at) > 1))
            runs = f" in {n_runs} stretches" if n_runs > 1 else ""
            hours = f"{at.size} hour{'' if at.size == 1 else 's'}{runs}"
            span = f"{hours} between {self.when(at[0])} and {self.when(at[-1] + 1)}"
            said.append(text.format(hours=span))


def _seconds(moment: datetime) -> int:
    """Seconds since 1970-01-01 00:00 UTC [s] of an aware moment."""
    if moment.tzinfo is None:
        raise RangeError(
            f"moment: found {moment.isoformat()} without a zone, allowed aware moments; "
            "give it its zone"
        )
    return int((moment - _EPOCH) // timedelta(seconds=1))


def value_columns(values: Sequence[WeatherValue]) -> dict[str, ValueColumns]:
    """Weather values sorted into columns, one set for each variable.

    Parameters
    ----------
    values : sequence of WeatherValue
        Values in any order.

    Returns
    -------
    dict of str to ValueColumns
        By variable name; rows keep the order of `values`.

    Raises
    ------
    RangeError
        If a moment has no zone.

    References
    ----------
    Bookkeeping of this program. Definition of this project.

    Examples
    --------
    >>> hour = datetime(2013, 5, 1, 6, tzinfo=UTC)
    >>> end = hour + timedelta(hours=1)
    >>> one = WeatherValue("rain_mm", hour, end, 2.0, Kind.OBSERVED, "A", end)
    >>> value_columns([one])["rain_mm"].value
    array([2.])
    """
    rows: dict[str, list[WeatherValue]] = {}
    for value in values:
        rows.setdefault(value.variable, []).append(value)
    return {variable: _columns(variable, own) for variable, own in rows.items()}


def _columns(variable: str, values: Sequence[WeatherValue]) -> ValueColumns:
    """The columns of values of one variable."""
    index: dict[str, int] = {}
    seconds: dict[datetime, int] = {}  # neighbours share their moments

    def second(moment: datetime) -> int:
        known = seconds.get(moment)
        if known is None:
            known = seconds[moment] = _seconds(moment)
        return known

    n = len(values)
    return ValueColumns(
        variable=variable,
        start_s=np.fromiter((second(v.start_at) for v in values), np.int64, n),
        end_s=np.fromiter((second(v.end_at) for v in values), np.int64, n),
        value=np.fromiter((v.value for v in values), np.float64, n),
        kind=np.fromiter((int(v.kind) for v in values), np.int8, n),
        known_s=np.fromiter((second(v.known_at) for v in values), np.int64, n),
        is_suspect=np.fromiter((bool(v.suspect) for v in values), np.bool_, n),
        source_index=np.fromiter(
            (index.setdefault(v.source, len(index)) for v in values), np.int64, n
        ),
        sources=tuple(index),
    )


def hourly_series(
    values: Sequence[WeatherValue] | Mapping[str, ValueColumns],
    rain_and_temp_events: Sequence[Event],
    forecast: Forecast | Sequence[Forecast] | None,
    start_at: datetime,
    end_at: datetime,
    now: datetime,
    place: Place,
) -> WeatherSeries:
    """The hourly weather of [start_at, end_at) as it is known at `now`.

    Order of trust for each hour: own gauge, station, model, forecast, climate. The forecast issued
    last counts for the hours that end after `now`; an hour that has ended without an observation
    takes the forecast issued last before its end (kind FORECAST). Observations count for hours that
    have ended. Suspect values and values that became known after `now` are left out.

    - Rain: an own total takes the hours of the station where the station saw rain in the interval,
      else it stays a `RainTotal`; so does any other total longer than an hour. A total inside a
      longer one is part of it. Unknown rain stays NaN.
    - Temperature: daily extremes are spread by `hourly_temperature_c`; own extremes stretch the
      station's hours to fit. Gaps of up to 6 hours are interpolated (kind MODEL), longer ones take
      the mean of the same hour of neighbouring days (kind CLIMATE).
    - Humidity: daily means at constant vapour pressure; short gaps interpolated; else the dew point
      is the lowest temperature of the day (kind MODEL).
    - Wind: daily means stay level; short gaps interpolated; else 2 m/s (kind MODEL).
    - Solar radiation: daily sums in the shape of the sun above the clouds; else from the daily
      range of temperature with kRs = 0.16 (kind MODEL).

    Parameters
    ----------
    values : sequence of WeatherValue, or mapping of str to ValueColumns
        What stations, files and models say; newest revision only.
    rain_and_temp_events : sequence of Event
        Entries of kind `rain` and `temp` (others are passed over), corrections applied.
    forecast : Forecast, sequence of Forecast, or None
        The forecast issued last, or all that may stand in for hours nobody observed.
    start_at, end_at : datetime
        Span of the series, aware, on full hours.
    now : datetime
        The moment of the answer, aware.
    place : Place
        Where the farm lies; its zone is used in the notes only.

    Returns
    -------
    WeatherSeries
        Arrays of shape (hours of the span,), the kind of each hour, totals, and in plain words:
        `notes` (rain unknown in the last 14 days or for more than 24 hours in all; gauge against
        station in the last 7 days; forecast absent or ending early; temperature missing for more
        than 24 hours of the last 7 days; readings or forecast older than 24 hours, first) and
        `fills` (all else that was filled or left out).

    Raises
    ------
    RangeError
        If the span is empty, not on full hours or without a zone, or a value is shorter than half
        an hour.

    References
    ----------
    FAO-56, equations 11, 28, 37, 48 and 50 and its missing-data rules (`fao56_1998`); the order of
    trust is this program's.

    Examples
    --------
    >>> day = datetime(2013, 5, 1, tzinfo=UTC)
    >>> rain = Event("1", "rain", day, day, data={"rain_mm": 4.0,
    ...     "start_at": "2013-05-01T00:00+00:00", "end_at": "2013-05-01T06:00+00:00"})
    >>> series = hourly_series([], [rain], None, day, day + timedelta(hours=8),
    ...     day + timedelta(hours=8), Place(45.0, 0.0, 100.0, "UTC"))
    >>> series.rain_totals[0].rain_mm, series.rain_totals[0].n_hours
    (4.0, 6)
    >>> series.notes[0]
    'rain unknown for 2 hours between 1 May 06:00 and 1 May 08:00'
    """
    grid = _grid(start_at, end_at, now, place)
    columns = values if isinstance(values, Mapping) else value_columns(values)
    issued = _issued(forecast, now)
    events = [event for event in rain_and_temp_events if event.recorded_at <= now]
    usable = _usable(columns, grid)

    rain_mm, rain_kind, totals = _rain(grid, usable, events, issued)
    temp_c, temp_kind = _temperature(grid, usable, events, issued, place)
    sun_mj_m2 = extraterrestrial_hourly_mj_m2(grid.hours, place.latitude_deg, place.longitude_deg)
    humidity, humidity_kind = _humidity(grid, usable, issued, temp_c, place)
    wind_m_s, wind_kind = _wind(grid, usable, issued)
    solar_mj_m2, solar_kind = _solar(grid, usable, issued, temp_c, sun_mj_m2, place)
    _say_ages(grid, rain_kind, temp_kind, issued.latest)

    inner = grid.inner
    kinds = {
        "rain_mm": rain_kind[inner],
        "air_temp_c": temp_kind[inner],
        "humidity_frac": humidity_kind[inner],
        "wind_2m_m_s": wind_kind[inner],
        "solar_mj_m2": solar_kind[inner],
    }
    lead_h = grid.lead_h[inner]
    return WeatherSeries(
        start_at=start_at.astimezone(UTC),
        rain_mm=rain_mm[inner],
        air_temp_c=temp_c[inner],
        humidity_frac=humidity[inner],
        wind_2m_m_s=wind_m_s[inner],
        solar_mj_m2=solar_mj_m2[inner],
        kinds=kinds,
        rain_totals=_inner_totals(totals, grid),
        notes=tuple(grid.notes),
        sources=_sources(grid, usable, events, issued.latest),
        last_observed_at=_last_observed_at(grid, usable, events),
        forecast_issued_at=None if issued.latest is None else issued.latest.issued_at,
        fills=tuple(grid.fills),
        forecast_lead_h=lead_h if np.isfinite(lead_h).any() else None,
        rain_range_mm=_rain_range(issued.latest, grid),
    )


def weather_ages(series: WeatherSeries, now: datetime) -> WeatherAges:
    """How old the rain, the temperature and the forecast of a series are.

    Parameters
    ----------
    series : WeatherSeries
        As `hourly_series` returns it.
    now : datetime
        The moment of the answer, aware.

    Returns
    -------
    WeatherAges
        Ages [h].

    Notes
    -----
    A model of an hour that has ended counts as its reading; a forecast of it does not. Rain older
    than 120 h leaves the water of the soil unknown, a forecast older than 36 h says little of
    today. Definition of this project. No range stated.

    Examples
    --------
    >>> day = datetime(2013, 5, 1, tzinfo=UTC)
    >>> air = [WeatherValue(name, day, day + timedelta(hours=1), 0.5, Kind.OBSERVED, "A",
    ...     day + timedelta(hours=1)) for name in ("rain_mm", "air_temp_c")]
    >>> now = day + timedelta(days=6, hours=1)
    >>> ages = weather_ages(hourly_series(air, [], None, day, now, now,
    ...     Place(45.0, 0.0, 100.0, "UTC")), now)
    >>> ages.rain_h, ages.is_soil_unknown, ages.forecast_h
    (144.0, True, None)
    """
    n_past = int(np.clip((now - series.start_at) // timedelta(hours=1), 0, series.n_hours))

    def age_h(name: str) -> float | None:
        known = np.flatnonzero(series.kinds[name][:n_past] >= Kind.MODEL)
        if not known.size:
            return None
        return (now - series.start_at) / timedelta(hours=1) - float(known[-1]) - 1.0

    issued_at = series.forecast_issued_at
    forecast_h = None if issued_at is None else (now - issued_at) / timedelta(hours=1)
    return WeatherAges(age_h("rain_mm"), age_h("air_temp_c"), forecast_h)


def _issued(forecast: Forecast | Sequence[Forecast] | None, now: datetime) -> _Issued:
    """The forecasts that were known at `now`, in order of issue."""
    found: Sequence[Forecast]
    if forecast is None:
        found = ()
    elif isinstance(forecast, Forecast):
        found = (forecast,)
    else:
        found = forecast
    known = [each for each in found if max(each.known_at, each.issued_at) <= now]
    return _Issued(tuple(sorted(known, key=lambda f: (f.issued_at, f.known_at, f.source))))


def _grid(start_at: datetime, end_at: datetime, now: datetime, place: Place) -> _Grid:
    """The padded grid of a span."""
    start_s, end_s = _seconds(start_at), _seconds(end_at)
    _seconds(now)
    if end_s <= start_s or start_s % HOUR_S or end_s % HOUR_S:
        raise RangeError(
            f"start_at and end_at: found {start_at.isoformat()} and {end_at.isoformat()}, "
            "allowed full hours, the end after the start; round them"
        )
    n_inner = (end_s - start_s) // HOUR_S
    return _Grid(
        first_hour=start_s // HOUR_S - PAD_HOURS,
        n_hours=n_inner + 2 * PAD_HOURS,
        inner=slice(PAD_HOURS, PAD_HOURS + n_inner),
        now=now,
        zone=ZoneInfo(place.time_zone),
        lead_h=np.full(n_inner + 2 * PAD_HOURS, np.nan),
    )


# ------------------------------------------------------------------ what may be used


def _usable(columns: Mapping[str, ValueColumns], grid: _Grid) -> dict[str, ValueColumns]:
    """The rows that touch the grid, are known, not suspect, and on their side of `now`."""
    grid_start_s = grid.first_hour * HOUR_S
    grid_end_s = grid_start_s + grid.n_hours * HOUR_S
    inner_start_s = grid_start_s + PAD_HOURS * HOUR_S
    inner_end_s = grid_end_s - PAD_HOURS * HOUR_S
    unknown = sorted(columns.keys() - _WORDS.keys())
    if unknown:
        raise RangeError(
            f"values: found the variable {unknown[0]}, allowed {', '.join(_WORDS)}; rename it"
        )
    usable: dict[str, ValueColumns] = {}
    suspects: list[str] = []
    n_future = 0
    for variable, own in columns.items():
        is_known = (own.known_s <= grid.now_s) & np.isfinite(own.value)
        is_known &= (own.start_s < grid_end_s) & (own.end_s > grid_start_s)
        is_inner = is_known & (own.start_s < inner_end_s) & (own.end_s > inner_start_s)
        n_suspect = int(np.count_nonzero(is_inner & own.is_suspect))
        if n_suspect:
            suspects.append(f"{n_suspect} of {_WORDS[variable]}")
        is_used = is_known & ~own.is_suspect
        is_over = own.end_s <= grid.now_s
        kind = own.kind.copy()
        kind[(kind == Kind.MODEL) & ~is_over] = Kind.FORECAST  # a model of the future forecasts
        is_future = is_used & ~is_over & (kind >= Kind.OBSERVED)
        n_future += int(np.count_nonzero(is_future & is_inner))
        is_used &= ~is_future & ~(is_over & (kind == Kind.FORECAST)) & (kind > Kind.MISSING)
        too_short = is_used & (own.end_s - own.start_s < HOUR_S // 2)
        if np.any(too_short):
            raise RangeError(
                f"{variable}: found {int(np.count_nonzero(too_short))} values shorter than half "
                "an hour, allowed an hour or longer; sum or average them to hours first"
            )
        usable[variable] = ValueColumns(
            variable,
            own.start_s[is_used],
            own.end_s[is_used],
            own.value[is_used],
            kind[is_used],
            own.known_s[is_used],
            own.is_suspect[is_used],
            own.source_index[is_used],
            own.sources,
        )
    if suspects:
        grid.fills.append(f"suspect values left out: {', '.join(suspects)}")
    if n_future:
        grid.fills.append(f"{n_future} observed values lie after now: left out")
    return usable


def _hourly_and_spans(
    usable: Mapping[str, ValueColumns], variable: str, grid: _Grid
) -> tuple[FloatArray, KindArray, list[_Span], dict[Kind, FloatArray]]:
    """Hourly values by trust, their kinds, the longer spans, and hourly values of each kind."""
    value = np.full(grid.n_hours, np.nan)
    kind = np.zeros(grid.n_hours, np.int8)
    by_kind = {each: np.full(grid.n_hours, np.nan) for each in _BEST_FIRST}
    own = usable.get(variable)
    if own is None:
        return value, kind, [], by_kind
    first = (own.start_s + HOUR_S // 2) // HOUR_S - grid.first_hour
    last = (own.end_s + HOUR_S // 2) // HOUR_S - grid.first_hour
    is_hourly = own.end_s - own.start_s <= HOUR_S * 3 // 2
    fits = is_hourly & (first >= 0) & (first < grid.n_hours)
    rank = np.argsort(np.argsort(np.array(own.sources)))[own.source_index]
    rows = np.flatnonzero(fits)  # the best is written last, whatever the order of the input
    order = np.lexsort((own.value[rows], rank[rows], own.known_s[rows], own.kind[rows]))
    rows = rows[order]
    value[first[rows]] = own.value[rows]
    kind[first[rows]] = own.kind[rows]
    for each, array in by_kind.items():
        same = rows[own.kind[rows] == each]
        array[first[same]] = own.value[same]
    spans = [
        _Span(
            int(first[row]),
            max(int(last[row]), int(first[row]) + 1),
            float(own.value[row]),
            Kind(int(own.kind[row])),
            own.sources[int(own.source_index[row])],
            int(own.known_s[row]),
        )
        for row in np.flatnonzero(~is_hourly)
    ]
    return value, kind, spans, by_kind


def _forecast_values(forecast: Forecast | None, variable: str, grid: _Grid) -> FloatArray:
    """Values of an issued forecast on the grid, NaN before `now` and where it says nothing."""
    result = np.full(grid.n_hours, np.nan)
    if forecast is None or variable not in forecast.values:
        return result
    issued = np.asarray(forecast.values[variable], dtype=np.float64)
    offset = (_seconds(forecast.start_at) + HOUR_S // 2) // HOUR_S - grid.first_hour
    low, high = max(offset, grid.n_past), min(offset + issued.size, grid.n_hours)
    if high > low:
        result[low:high] = issued[low - offset : high - offset]
    return result


def _rain_range(forecast: Forecast | None, grid: _Grid) -> FloatArray | None:
    """Least and most rain of the hours to come by the forecast's own range, if it gives one."""
    ends = np.stack([_forecast_values(forecast, name, grid)[grid.inner] for name in RAIN_RANGE])
    return ends if np.isfinite(ends).any() else None


def _elapsed_forecasts(
    issued: _Issued, variable: str, grid: _Grid
) -> tuple[FloatArray, FloatArray, IntArray]:
    """For hours that have ended: what the forecast issued last before said, its lead, its number.

    Later forecasts overwrite earlier ones from the hour of their issue on.
    """
    values = np.full(grid.n_hours, np.nan)
    lead_h = np.full(grid.n_hours, np.nan)
    number = np.full(grid.n_hours, -1, np.int64)
    for i, forecast in enumerate(issued.all):
        if variable not in forecast.values:
            continue
        said = np.asarray(forecast.values[variable], dtype=np.float64)
        offset = (_seconds(forecast.start_at) + HOUR_S // 2) // HOUR_S - grid.first_hour
        issued_s = _seconds(forecast.issued_at)
        low = max(offset, issued_s // HOUR_S - grid.first_hour, 0)
        high = min(offset + said.size, grid.n_past)
        if high <= low:
            continue
        element = np.arange(low, high)
        element = element[np.isfinite(said[element - offset])]
        values[element] = said[element - offset]
        middle_h = element + grid.first_hour + 0.5
        lead_h[element] = np.maximum(middle_h - issued_s / HOUR_S, 0.0)
        number[element] = i
    return values, lead_h, number


def _rest_on_forecasts(
    grid: _Grid, issued: _Issued, is_new: BoolArray, lead_h: FloatArray, number: IntArray
) -> None:
    """Keep for which elapsed hours a forecast stands in, how far ahead it was made, and whose."""
    grid.lead_h[is_new] = np.fmax(grid.lead_h[is_new], lead_h[is_new])
    grid.stood_in |= {issued.all[int(i)].source for i in np.unique(number[is_new])}


def _take_elapsed(
    grid: _Grid, issued: _Issued, variable: str, value: FloatArray, kinds: KindArray
) -> None:
    """Give hours that have ended unobserved what was forecast of them, in place."""
    said, lead_h, number = _elapsed_forecasts(issued, variable, grid)
    is_new = np.isnan(value) & np.isfinite(said)
    value[is_new] = said[is_new]
    kinds[is_new] = Kind.FORECAST
    _rest_on_forecasts(grid, issued, is_new, lead_h, number)
    grid.list_fill(is_new, f"{_WORDS[variable]} as it was forecast for {{hours}}")


def _event_span(event: Event, grid: _Grid) -> tuple[int, int]:
    """[first, last) of an entry in hours of the grid, its end not after `now`.

    An entry without a span is a reading of the day that ends with it. One that begins after `now`
    is empty.
    """
    end_s = _seconds(_moment(event, "end_at", event.happened_at))
    start_s = _seconds(_moment(event, "start_at", event.happened_at - timedelta(days=1)))
    end_s = min(end_s, grid.now_s)
    first = (start_s + HOUR_S // 2) // HOUR_S - grid.first_hour
    last = (end_s + HOUR_S // 2) // HOUR_S - grid.first_hour
    return (first, first) if start_s >= grid.now_s else (first, max(last, first + 1))


def _moment(event: Event, key: str, otherwise: datetime) -> datetime:
    """A moment of an entry, or `otherwise` where the entry does not give it."""
    text = event.data.get(key)
    return otherwise if text is None else datetime.fromisoformat(str(text))


# ------------------------------------------------------------------ rain


def _rain(
    grid: _Grid,
    usable: Mapping[str, ValueColumns],
    events: Sequence[Event],
    issued: _Issued,
) -> tuple[FloatArray, KindArray, list[RainTotal]]:
    """Rain of each hour, its kind, and the totals whose hours are not known."""
    _, _, spans, by_kind = _hourly_and_spans(usable, "rain_mm", grid)
    foreseen, lead_h, number = _elapsed_forecasts(issued, "rain_mm", grid)
    for said in (foreseen, _forecast_values(issued.latest, "rain_mm", grid)):
        by_kind[Kind.FORECAST] = np.where(np.isnan(said), by_kind[Kind.FORECAST], said)
    for event in events:
        if event.kind == "rain":
            first, last = _event_span(event, grid)
            spans.append(
                _Span(
                    first,
                    last,
                    float(event.data.get("rain_mm", 0.0)),  # a trace has no amount
                    Kind.OWN_GAUGE,
                    OWN_SOURCE,
                    _seconds(event.recorded_at),
                )
            )
    spans = [span for span in spans if span.first < grid.n_hours and span.last > max(span.first, 0)]
    _compare_gauge_and_station(grid, spans, by_kind[Kind.OBSERVED])

    rain_mm = np.full(grid.n_hours, np.nan)
    kinds = np.zeros(grid.n_hours, np.int8)
    totals: list[RainTotal] = []
    for kind in _BEST_FIRST:
        hourly = by_kind[kind]
        is_new = (kinds == Kind.MISSING) & np.isfinite(hourly)
        rain_mm[is_new] = hourly[is_new]
        kinds[is_new] = kind
        shape = by_kind[Kind.OBSERVED] if kind is Kind.OWN_GAUGE else None
        placed: list[_Span] = []
        same = [span for span in spans if span.kind is kind]
        for span in sorted(same, key=_shortest_first):
            _place_total(grid, span, placed, hourly, shape, rain_mm, kinds, totals)
            placed.append(span)

    is_foreseen = (kinds == Kind.FORECAST) & grid.is_past() & np.isfinite(foreseen)
    _rest_on_forecasts(grid, issued, is_foreseen, lead_h, number)
    grid.list_fill(is_foreseen, "rain as it was forecast for {hours}")
    _say_unknown_rain(grid, kinds == Kind.MISSING)
    return rain_mm, kinds, totals


def _say_unknown_rain(grid: _Grid, is_unknown: BoolArray) -> None:
    """Note the rain that is not known; a few hours of long ago are no note."""
    is_gap = is_unknown & grid.is_past()
    is_noted = is_gap
    if np.count_nonzero(is_gap[grid.inner]) <= MUCH_UNKNOWN_HOURS:
        is_noted = is_unknown & grid.is_past(NOTED_RAIN_DAYS)
    grid.note_hours(is_noted, "rain unknown for {hours}")
    grid.list_fill(is_gap & ~is_noted, "rain unknown for {hours}")
    grid.note_hours(is_unknown & ~grid.is_past(), "no forecast of rain for {hours}")


def _say_ages(
    grid: _Grid, rain_kind: KindArray, temp_kind: KindArray, latest: Forecast | None
) -> None:
    """Note, before all else, readings and a forecast that are more than a day old."""
    said: dict[str, list[str]] = {}
    for name, kinds in (("rain", rain_kind), ("temperature", temp_kind)):
        known = np.flatnonzero(kinds[: grid.n_past] >= Kind.MODEL)
        if not known.size:
            continue
        last = int(known[-1]) + 1
        age_h = grid.now_s / HOUR_S - grid.first_hour - last
        if age_h <= NOTED_AGE_H:
            continue
        is_foreseen = bool((kinds[last : grid.n_past] == Kind.FORECAST).any())
        since = "what was forecast then stands in"
        if not is_foreseen:
            since = "it may have rained" if name == "rain" else "the days before stand in"
        said.setdefault(f"since {grid.when(last)}, {_age(age_h)}: {since}", []).append(name)
    notes = [f"no reading of {' and '.join(names)} {text}" for text, names in said.items()]
    if latest is not None:
        age_h = (grid.now - latest.issued_at) / timedelta(hours=1)
        if age_h > NOTED_AGE_H:
            notes.append(f"the forecast is {_age(age_h)} old")
    grid.notes[:0] = notes


def _age(age_h: float) -> str:
    """An age in words."""
    return f"{age_h:.0f} h" if age_h < 36.0 else f"{age_h / 24.0:.0f} days"


def _newest_first(span: _Span) -> tuple[int, str, float]:
    """Order of spans that differ in nothing but their age; settles ties by what they say."""
    return -span.known_s, span.source, span.value


def _shortest_first(span: _Span) -> tuple[int, int, str, float]:
    """Order in which totals take their hours."""
    return (span.last - span.first, *_newest_first(span))


def _place_total(
    grid: _Grid,
    span: _Span,
    placed: Sequence[_Span],
    hourly: FloatArray,
    shape: FloatArray | None,
    rain_mm: FloatArray,
    kinds: KindArray,
    totals: list[RainTotal],
) -> None:
    """Give the hours of one total that nothing better holds their rain, in place."""
    first = max(span.first, 0)
    if span.kind is Kind.FORECAST:
        first = max(first, grid.n_past)
    last = min(span.last, grid.n_hours)
    if last <= first:
        return
    hours = np.arange(first, last)
    free = hours[kinds[first:last] == Kind.MISSING]
    if free.size == 0:
        if span.kind is Kind.OWN_GAUGE and any(
            (other.first, other.last) == (span.first, span.last) for other in placed
        ):
            grid.fills.append(
                f"two rain totals from {grid.when(first)} to {grid.when(last)}: "
                "the one recorded later counts"
            )
        return
    inside = [other for other in placed if span.first <= other.first and other.last <= span.last]
    own_hours = np.isfinite(hourly[first:last]) & (kinds[first:last] == span.kind)
    part_mm = sum(other.value for other in inside) + float(hourly[first:last][own_hours].sum())
    rest_mm = max(span.value - part_mm, 0.0)
    # Hours cut off by the grid, or held by a better kind, take their even share of the rest with
    # them: when within the total it fell is not known.
    n_better = int(np.count_nonzero(kinds[first:last] > span.kind))
    n_cut = (span.last - span.first) - hours.size
    rest_mm *= free.size / (free.size + n_better + n_cut)
    kinds[free] = span.kind
    if rest_mm <= 1e-9:
        rain_mm[free] = 0.0
        return
    if shape is not None:
        seen = shape[free]
        is_seen = np.isfinite(seen)
        seen_mm = float(seen[is_seen].sum())
        is_told = np.count_nonzero(is_seen) >= SHAPE_KNOWN_FRAC * free.size
        if is_told and seen_mm > np.finfo(np.float64).eps:  # less gives no shape, but overflows
            rain_mm[free] = np.where(is_seen, seen, 0.0) * (rest_mm / seen_mm)
            return
    breaks = np.flatnonzero(np.diff(free) > 1) + 1
    for run in np.split(free, breaks):
        share_mm = rest_mm * run.size / free.size
        if run.size == 1:
            rain_mm[run] = share_mm
        else:
            totals.append(RainTotal(int(run[0]), int(run.size), share_mm, span.kind, span.source))


def _compare_gauge_and_station(grid: _Grid, spans: Sequence[_Span], station_mm: FloatArray) -> None:
    """Say where an own total and the station disagree: of late a note, earlier in the list."""
    known = np.isfinite(station_mm)
    station = [span for span in spans if span.kind is Kind.OBSERVED]
    late: list[str] = []
    early: list[str] = []
    gauges = [span for span in spans if span.kind is Kind.OWN_GAUGE]
    for span in sorted(gauges, key=lambda each: (-each.last, *_shortest_first(each))):
        first, last = max(span.first, 0), min(span.last, grid.n_hours)
        if not grid.within(first, last):
            continue
        n_known = int(np.count_nonzero(known[first:last]))
        seen_mm = float(station_mm[first:last][known[first:last]].sum())
        if n_known < SHAPE_KNOWN_FRAC * (span.last - span.first):
            whole = [each for each in station if first <= each.first and each.last <= last]
            if sum(each.last - each.first for each in whole) < SHAPE_KNOWN_FRAC * (last - first):
                continue
            seen_mm = sum(each.value for each in whole)
        if abs(span.value - seen_mm) <= max(DISAGREE_MM, DISAGREE_FRAC * span.value):
            continue
        hint = ""
        if min(seen_mm, span.value) >= 0.25:  # one hundredth of an inch
            ratio = span.value / seen_mm
            if abs(ratio / MM_PER_INCH - 1.0) <= 0.1:
                hint = "; about 25.4 to 1: were the gauge's millimetres entered as inches?"
            elif abs(ratio * MM_PER_INCH - 1.0) <= 0.1:
                hint = "; about 1 to 25.4: were the gauge's inches entered as millimetres?"
        is_late = span.last > grid.now_element - 24 * NOTED_GAUGE_DAYS
        (late if is_late else early).append(
            f"{grid.when(first)} to {grid.when(last)}: your gauge says {_mm(span.value)} mm, "
            f"the station {_mm(seen_mm)} mm: the gauge counts{hint}"
        )
    for texts, said in ((late, grid.notes), (early, grid.fills)):
        said.extend(texts[:MOST_GAUGE_NOTES])
        if len(texts) > MOST_GAUGE_NOTES:
            said.append(
                f"gauge and station disagree on {len(texts) - MOST_GAUGE_NOTES} earlier readings: "
                "the gauge counts"
            )


def _mm(rain_mm: float) -> str:
    """Millimetres for a note."""
    return f"{rain_mm:.1f}".removesuffix(".0")


def _inner_totals(totals: Sequence[RainTotal], grid: _Grid) -> tuple[RainTotal, ...]:
    """Totals counted from the start of the series; one cut by its edge keeps its even share."""
    result = []
    for total in totals:
        first = max(total.first_hour, grid.inner.start)
        last = min(total.first_hour + total.n_hours, grid.inner.stop)
        if last > first:
            share = (last - first) / total.n_hours
            result.append(
                RainTotal(
                    first - grid.inner.start,
                    last - first,
                    total.rain_mm * share,
                    total.kind,
                    total.source,
                )
            )
    return tuple(sorted(result, key=lambda each: each.first_hour))


# ------------------------------------------------------------------ temperature


def _temperature(
    grid: _Grid,
    usable: Mapping[str, ValueColumns],
    events: Sequence[Event],
    issued: _Issued,
    place: Place,
) -> tuple[FloatArray, KindArray]:
    """Temperature of each hour [C] and its kind."""
    value, kinds, means, _ = _hourly_and_spans(usable, "air_temp_c", grid)
    lows = _hourly_and_spans(usable, "air_temp_min_c", grid)[2]
    highs = _hourly_and_spans(usable, "air_temp_max_c", grid)[2]
    _take_forecast(grid, issued.latest, "air_temp_c", value, kinds)
    for kind in _BEST_FIRST:
        records = _extremes(grid, kind, lows, highs)
        if kind is Kind.OWN_GAUGE:
            records = _stretched(grid, _own_extremes(events, grid, records), value, kinds)
        if records:
            ordered = np.array(records, dtype=np.float64)
            spread = hourly_temperature_c(
                grid.hours,
                ordered[:, 0] + grid.first_hour,
                ordered[:, 1] + grid.first_hour,
                ordered[:, 2],
                ordered[:, 3],
                place.latitude_deg,
                place.longitude_deg,
            )
            if kind is Kind.FORECAST:
                spread[: grid.n_past] = np.nan
            is_new = np.isfinite(spread) & (kinds < kind)
            value[is_new] = spread[is_new]
            kinds[is_new] = kind
        _level(grid, [span for span in means if span.kind is kind], value, kinds)
    known_c = value.copy()
    _interpolate(grid, "air_temp_c", value, kinds)
    _take_elapsed(grid, issued, "air_temp_c", value, kinds)
    is_gap = np.isnan(known_c) & (kinds != Kind.FORECAST) & grid.is_past(NOTED_TEMP_DAYS)
    if np.count_nonzero(is_gap[grid.inner]) > MUCH_UNKNOWN_HOURS:
        grid.note_hours(is_gap, "temperature missing for {hours}")
    _from_neighbours(grid, known_c, value, kinds)
    return value, kinds


def _extremes(
    grid: _Grid, kind: Kind, lows: Sequence[_Span], highs: Sequence[_Span]
) -> list[tuple[int, int, float, float]]:
    """Records (first, last, lowest, highest) of one kind that have both extremes."""
    best: list[dict[tuple[int, int], _Span]] = [{}, {}]
    for store, spans in zip(best, (lows, highs), strict=True):
        for span in spans:
            if span.kind is kind:
                key = (span.first, span.last)
                if key not in store or _newest_first(span) < _newest_first(store[key]):
                    store[key] = span
    records = []
    n_crossed = 0
    for key in sorted(best[0].keys() & best[1].keys()):
        low, high = best[0][key].value, best[1][key].value
        if low > high:
            n_crossed += int(grid.within(*key))
        else:
            records.append((*key, low, high))
    if n_crossed:
        grid.fills.append(
            f"{n_crossed} days whose lowest temperature exceeds the highest: left out"
        )
    return records


def _own_extremes(
    events: Sequence[Event], grid: _Grid, records: list[tuple[int, int, float, float]]
) -> list[tuple[int, int, float, float]]:
    """Records of the own thermometer: files first, then entries; an extreme not read is NaN."""
    own = {(first, last): (low, high) for first, last, low, high in records}
    for event in sorted(events, key=lambda each: (each.recorded_at, each.event_id)):
        if event.kind != "temp":
            continue
        low = float(event.data.get("air_temp_min_c", np.nan))
        high = float(event.data.get("air_temp_max_c", np.nan))
        span = _event_span(event, grid)
        if span[0] >= grid.n_hours or span[1] <= max(span[0], 0):
            continue
        if np.isnan(low) and np.isnan(high):
            continue
        if low > high:
            grid.fills.append(
                f"temp entry of {grid.when(max(span[0], 0))}: lowest above highest, left out"
            )
            continue
        own[span] = (low, high)
    return [(first, last, low, high) for (first, last), (low, high) in sorted(own.items())]


def _stretched(
    grid: _Grid,
    records: Sequence[tuple[int, int, float, float]],
    value: FloatArray,
    kinds: KindArray,
) -> list[tuple[int, int, float, float]]:
    """Fit station hours to own extremes in place; return the records that found no station."""
    station = np.where(kinds == Kind.OBSERVED, value, np.nan)
    left = []
    for first, last, low, high in records:
        low_at, high_at = max(first, 0), min(last, grid.n_hours)
        seen = station[low_at:high_at]
        if seen.size < 12 or np.any(np.isnan(seen)):
            if np.isfinite(low) and np.isfinite(high):
                left.append((first, last, low, high))
            elif grid.within(first, last):
                grid.fills.append(
                    f"temp entry of {grid.when(low_at)}: one extreme alone and no station beside "
                    "it, left out"
                )
            continue
        seen_low, seen_high = float(seen.min()), float(seen.max())
        if np.isnan(low) or np.isnan(high):
            shift = high - seen_high if np.isnan(low) else low - seen_low
            fitted = seen + shift
        elif seen_high - seen_low < 1.0:
            fitted = seen + 0.5 * (low + high) - 0.5 * (seen_low + seen_high)
        else:
            fitted = low + (seen - seen_low) * (high - low) / (seen_high - seen_low)
        value[low_at:high_at] = fitted
        kinds[low_at:high_at] = Kind.OWN_GAUGE
    return left


# ------------------------------------------------------------------ filling


def _take_forecast(
    grid: _Grid, forecast: Forecast | None, variable: str, value: FloatArray, kinds: KindArray
) -> None:
    """Write an issued forecast where nothing better is known, in place."""
    issued = _forecast_values(forecast, variable, grid)
    is_new = np.isfinite(issued) & (kinds <= Kind.FORECAST)
    value[is_new] = issued[is_new]
    kinds[is_new] = Kind.FORECAST


def _level(
    grid: _Grid,
    spans: Sequence[_Span],
    value: FloatArray,
    kinds: KindArray,
    spread: Callable[[_Span, slice], FloatArray] | None = None,
) -> None:
    """Give the hours of each span its mean, or what `spread` makes of it, in place."""
    for span in sorted(spans, key=lambda each: (-each.kind, *_newest_first(each))):
        hours = slice(max(span.first, 0), min(span.last, grid.n_hours))
        if hours.stop <= hours.start:
            continue
        new = (
            np.full(hours.stop - hours.start, span.value) if spread is None else spread(span, hours)
        )
        is_new = (kinds[hours] < span.kind) & np.isfinite(new)
        if span.kind is Kind.FORECAST:
            is_new &= np.arange(hours.start, hours.stop) >= grid.n_past
        value[hours] = np.where(is_new, new, value[hours])
        kinds[hours] = np.where(is_new, np.int8(span.kind), kinds[hours])


def _interpolate(grid: _Grid, variable: str, value: FloatArray, kinds: KindArray) -> None:
    """Fill gaps of up to `SHORT_GAP_HOURS` by straight lines, in place."""
    is_missing = np.isnan(value)
    if not is_missing.any() or is_missing.all():
        return
    edges = np.flatnonzero(np.diff(np.concatenate(([0], is_missing.astype(np.int8), [0]))))
    starts, ends = edges[::2], edges[1::2]
    is_short = (ends - starts <= SHORT_GAP_HOURS) & (starts > 0) & (ends < grid.n_hours)
    mark = np.zeros(grid.n_hours + 1, np.int64)
    np.add.at(mark, starts[is_short], 1)
    np.add.at(mark, ends[is_short], -1)
    is_filled = np.cumsum(mark[:-1]) > 0
    known = np.flatnonzero(~is_missing)
    value[is_filled] = np.interp(np.flatnonzero(is_filled), known, value[known])
    kinds[is_filled] = Kind.MODEL
    grid.list_fill(is_filled, f"{_WORDS[variable]} interpolated for {{hours}}")


def _take_guess(
    grid: _Grid, guessed: FloatArray, text: str, value: FloatArray, kinds: KindArray
) -> None:
    """Write a guess where nothing is known, in place, and list it."""
    is_new = np.isnan(value) & np.isfinite(guessed)
    value[is_new] = guessed[is_new]
    kinds[is_new] = Kind.MODEL
    grid.list_fill(is_new, text)


def _from_neighbours(
    grid: _Grid, known_c: FloatArray, temp_c: FloatArray, kinds: KindArray
) -> None:
    """Fill long gaps of temperature by the same hour of neighbouring days, in place."""
    is_missing = np.isnan(temp_c)
    if not is_missing.any() or is_missing.all():
        return
    n_days = -(-grid.n_hours // 24)
    padded = np.full(n_days * 24, np.nan)
    padded[: grid.n_hours] = known_c
    by_day = padded.reshape(n_days, 24)
    known = np.isfinite(by_day)
    running_c = np.cumsum(np.vstack([np.zeros(24), np.where(known, by_day, 0.0)]), axis=0)
    running_n = np.cumsum(np.vstack([np.zeros(24), known]), axis=0)
    day = np.arange(n_days)
    is_filled = np.zeros(grid.n_hours, np.bool_)
    for reach in NEIGHBOUR_DAYS:
        low, high = np.maximum(day - reach, 0), np.minimum(day + reach + 1, n_days)
        n_known = running_n[high] - running_n[low]
        with np.errstate(invalid="ignore", divide="ignore"):
            mean_c = ((running_c[high] - running_c[low]) / n_known).ravel()[: grid.n_hours]
        is_new = is_missing & ~is_filled & np.isfinite(mean_c)
        temp_c[is_new] = mean_c[is_new]
        is_filled |= is_new
    kinds[is_filled] = Kind.CLIMATE
    grid.list_fill(is_filled, "temperature taken from neighbouring days for {hours}")
    grid.list_fill(np.isnan(temp_c), "temperature unknown for {hours}")


def _solar_days(grid: _Grid, place: Place) -> IntArray:
    """For each hour the number of its mean solar day, counted from the first one of the grid."""
    day = solar_day(grid.hours, place.longitude_deg)
    return np.asarray(day - day[0], dtype=np.int64)


def _daily_extremes(grid: _Grid, temp_c: FloatArray, place: Place) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest temperature of the solar day of each hour [C].

    A day cut by the end of the grid counts from 18 known hours on; others are NaN.
    """
    day = _solar_days(grid, place)
    n_days = int(day[-1]) + 1
    known = np.isfinite(temp_c)
    low, high = np.full(n_days, np.inf), np.full(n_days, -np.inf)
    np.minimum.at(low, day[known], temp_c[known])
    np.maximum.at(high, day[known], temp_c[known])
    is_short = np.bincount(day[known], minlength=n_days) < 18
    low[is_short], high[is_short] = np.nan, np.nan
    return low[day], high[day]


def _humidity(
    grid: _Grid,
    usable: Mapping[str, ValueColumns],
    issued: _Issued,
    temp_c: FloatArray,
    place: Place,
) -> tuple[FloatArray, KindArray]:
    """Relative humidity of each hour [-], at most 1, and its kind."""
    value, kinds, spans, _ = _hourly_and_spans(usable, "humidity_frac", grid)
    _take_forecast(grid, issued.latest, "humidity_frac", value, kinds)

    def at_constant_vapour(span: _Span, hours: slice) -> FloatArray:
        if np.any(np.isnan(temp_c[hours])):
            return np.full(hours.stop - hours.start, span.value)
        return hourly_humidity_frac(temp_c[hours], humidity_frac=min(span.value, 1.0))

    _level(grid, spans, value, kinds, at_constant_vapour)
    _interpolate(grid, "humidity_frac", value, kinds)
    _take_elapsed(grid, issued, "humidity_frac", value, kinds)
    lowest_c, _ = _daily_extremes(grid, temp_c, place)
    guessed = humidity_from_dew_point_frac(temp_c, lowest_c)
    text = "humidity unknown for {hours}: dew point taken as the day's lowest temperature"
    _take_guess(grid, guessed, text, value, kinds)
    return np.minimum(value, 1.0), kinds


def _wind(
    grid: _Grid, usable: Mapping[str, ValueColumns], issued: _Issued
) -> tuple[FloatArray, KindArray]:
    """Wind of each hour at 2 m [m/s] and its kind."""
    value, kinds, spans, _ = _hourly_and_spans(usable, "wind_2m_m_s", grid)
    _take_forecast(grid, issued.latest, "wind_2m_m_s", value, kinds)
    _level(grid, spans, value, kinds)
    _interpolate(grid, "wind_2m_m_s", value, kinds)
    _take_elapsed(grid, issued, "wind_2m_m_s", value, kinds)
    guessed = np.full(grid.n_hours, DEFAULT_WIND_2M_M_S)
    text = f"wind unknown for {{hours}}: {DEFAULT_WIND_2M_M_S:g} m/s assumed"
    _take_guess(grid, guessed, text, value, kinds)
    return value, kinds


def _solar(
    grid: _Grid,
    usable: Mapping[str, ValueColumns],
    issued: _Issued,
    temp_c: FloatArray,
    sun_mj_m2: FloatArray,
    place: Place,
) -> tuple[FloatArray, KindArray]:
    """Solar radiation of each hour [MJ m-2] and its kind."""
    value, kinds, spans, _ = _hourly_and_spans(usable, "solar_mj_m2", grid)
    _take_forecast(grid, issued.latest, "solar_mj_m2", value, kinds)

    def like_the_sun(span: _Span, hours: slice) -> FloatArray:
        first = span.first + grid.first_hour
        if span.first >= 0 and span.last <= grid.n_hours:
            above = sun_mj_m2[hours]
        else:
            above = extraterrestrial_hourly_mj_m2(
                np.arange(first, span.last + grid.first_hour),
                place.latitude_deg,
                place.longitude_deg,
            )
        if span.value != 0.0 and not above.any():
            return np.full(hours.stop - hours.start, np.nan)
        return hourly_solar_mj_m2(span.value, above)[
            hours.start - span.first : hours.stop - span.first
        ]

    _level(grid, spans, value, kinds, like_the_sun)
    _take_elapsed(grid, issued, "solar_mj_m2", value, kinds)
    lowest_c, highest_c = _daily_extremes(grid, temp_c, place)
    guessed = np.minimum(
        solar_from_range_mj_m2(highest_c - lowest_c, sun_mj_m2),
        clear_sky_mj_m2(sun_mj_m2, place.elevation_m),
    )
    text = "solar radiation unknown for {hours}: guessed from the daily range of temperature"
    _take_guess(grid, guessed, text, value, kinds)
    return value, kinds


# ------------------------------------------------------------------ where it came from


def _inner_rows(own: ValueColumns, grid: _Grid) -> BoolArray:
    """Rows that touch the part of the grid that is handed out."""
    start_s = (grid.first_hour + grid.inner.start) * HOUR_S
    end_s = (grid.first_hour + grid.inner.stop) * HOUR_S
    return np.asarray((own.start_s < end_s) & (own.end_s > start_s), dtype=np.bool_)


def _sources(
    grid: _Grid,
    usable: Mapping[str, ValueColumns],
    events: Sequence[Event],
    forecast: Forecast | None,
) -> tuple[str, ...]:
    """Names of the sources that were used, own first, forecast last."""
    outside: set[str] = set()
    for own in usable.values():
        used = np.unique(own.source_index[_inner_rows(own, grid)])
        outside |= {own.sources[int(index)] for index in used}
    outside |= grid.stood_in
    names = [OWN_SOURCE] if any(event.kind in ("rain", "temp") for event in events) else []
    names += sorted(outside - {OWN_SOURCE}) if names else sorted(outside)
    if forecast is not None and forecast.source not in names:
        names.append(forecast.source)
    return tuple(names)


def _last_observed_at(
    grid: _Grid, usable: Mapping[str, ValueColumns], events: Sequence[Event]
) -> datetime | None:
    """End of the newest station value; of the newest own reading where there is no station."""
    newest = {Kind.OBSERVED: -1, Kind.OWN_GAUGE: -1}
    for own in usable.values():
        for kind, known in newest.items():
            rows = (own.kind == kind) & _inner_rows(own, grid)
            if rows.any():
                newest[kind] = max(known, int(own.end_s[rows].max()))
    for event in events:
        if event.kind in ("rain", "temp"):
            first, last = _event_span(event, grid)
            if first < last and grid.inner.start < last <= grid.inner.stop:
                end_s = min((grid.first_hour + last) * HOUR_S, grid.now_s)
                newest[Kind.OWN_GAUGE] = max(newest[Kind.OWN_GAUGE], end_s)
    for kind in (Kind.OBSERVED, Kind.OWN_GAUGE):
        if newest[kind] >= 0:
            return _EPOCH + timedelta(seconds=newest[kind])
    return None
