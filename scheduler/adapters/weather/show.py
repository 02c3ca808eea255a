"""The weather of the last days and the next as text: a table, a plot, what is missing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.adapters.quantities import M_S_PER_MPH, MM_PER_IN
from scheduler.adapters.render.phrases import WEEKDAYS, age_words, day_words, grower_text, wrapped
from scheduler.adapters.render.plotting import begin_figure, figure_lines, midnight_ticks
from scheduler.adapters.weather.sources import STATION_LABEL, full_credit
from scheduler.adapters.weather.stations import FAR_RAIN_KM, NOT_MEASURED_KM
from scheduler.records import FloatArray, Kind, Place, WeatherSeries, WeatherValue

PAST_DAYS = 7
COMING_DAYS = 4
PLOT_HEIGHT_TEMPERATURE = 12
PLOT_HEIGHT_RAIN = 8
MIN_WIDTH = 36
BAR_HOURS = 6

KIND_WORDS = {
    Kind.OWN_GAUGE: "own gauge",
    Kind.OBSERVED: "station",
    Kind.MODEL: "model",
    Kind.FORECAST: "forecast",
    Kind.CLIMATE: "near days",
    Kind.MISSING: "unknown",
}


@dataclass(frozen=True)
class _Part:
    """A day, or the part of today before or after now: elements [first, last) of the series."""

    title: str
    first: int
    last: int


@dataclass(frozen=True)
class _Units:
    """What figures are shown in."""

    rain: str
    temp: str
    wind: str
    is_us: bool

    def rain_of(self, rain_mm: float) -> float:
        return rain_mm / MM_PER_IN if self.is_us else rain_mm

    def temp_of(self, air_temp_c: float) -> float:
        return air_temp_c * 1.8 + 32.0 if self.is_us else air_temp_c

    def wind_of(self, wind_m_s: float) -> float:
        return wind_m_s / M_S_PER_MPH if self.is_us else wind_m_s

    def rain_text(self, rain_mm: float) -> str:
        return f"{self.rain_of(rain_mm):.{2 if self.is_us else 1}f}"


_METRIC = _Units("mm", "C", "m/s", False)
_US = _Units("in", "F", "mph", True)


def weather_text(
    series: WeatherSeries,
    now: datetime,
    place: Place,
    units: str,
    width: int = 80,
    *,
    is_plotted: bool = True,
    values: Sequence[WeatherValue] = (),
    doubts: Sequence[str] = (),
    credits_due: Sequence[str] = (),
) -> str:
    """The page of `weather show`.

    Parameters
    ----------
    series
        The weather as it is known at `now`.
    now
        The moment of the page; days before and after it are told apart.
    place
        Its zone decides what a day is.
    units
        "us" or "metric".
    width
        Columns of the page; no line is longer.
    is_plotted
        Whether the plot is drawn (it loads plotext).
    values
        What the sources say of the last weeks: each source is told with its age and its gaps.
    doubts
        What was left out and what does not fit together, as `weather_doubts` says it.
    credits_due
        What the licences of the sources ask to print.

    Returns
    -------
    str
        Plain text; ends with a line break.

    Raises
    ------
    ValueError
        A width below 36 columns.
    """
    if width < MIN_WIDTH:
        raise ValueError(f"width: found {width}, allowed {MIN_WIDTH} or more; widen the page")
    zone = ZoneInfo(place.time_zone)
    shown = _US if units == "us" else _METRIC
    lines = [*_head(series, now, zone, width), ""]
    parts = _parts(series, now, zone)
    lines += _table(series, parts, shown, width)
    if is_plotted and parts:
        lines += ["", *_plot(series, parts, now, zone, shown, width)]
    sources = [*_own_note_lines(series, values, now, zone), *source_lines(values, now, zone)]
    for title, said in (
        ("Sources:", sources),
        ("Missing or in doubt:", (*series.notes, *doubts)),
        ("Filled in or left out:", series.fills),
        ("Credits:", [full_credit(credit) for credit in credits_due]),
    ):
        if said:
            lines += ["", title]
            for text in said:
                lines += wrapped(grower_text(text, units), width, "- ", "  ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _head(series: WeatherSeries, now: datetime, zone: ZoneInfo, width: int) -> list[str]:
    """How old the weather is and where it comes from."""
    if series.last_observed_at is None:
        first = "Observed: nothing."
    else:
        age_h = (now - series.last_observed_at) / timedelta(hours=1)
        first = f"Observed to {_moment(series.last_observed_at, zone)}, {age_words(age_h)}."
    if series.forecast_issued_at is None:
        second = "No forecast."
    else:
        age_h = (now - series.forecast_issued_at) / timedelta(hours=1)
        second = f"Forecast of {_moment(series.forecast_issued_at, zone)}, {age_words(age_h)}."
    lines = wrapped(f"{first} {second}", width)
    if series.sources:
        lines += wrapped(f"From: {', '.join(series.sources)}.", width)
    return lines


def _moment(moment: datetime, zone: ZoneInfo) -> str:
    local = moment.astimezone(zone)
    return f"{WEEKDAYS[local.weekday()]} {day_words(local.date())} {local:%H:%M}"


# ------------------------------------------------------------------ sources


def source_lines(values: Sequence[WeatherValue], now: datetime, zone: ZoneInfo) -> list[str]:
    """One line a source: what it is, what it measures, how old its newest is, what it lacks.

    Parameters
    ----------
    values
        What is on record of the last weeks.
    now
        Values that end later belong to the future and are passed over.
    zone
        Of the moments in the lines.

    Returns
    -------
    list of str
        In order of rank, then of name.
    """
    groups: dict[tuple[int, str], list[WeatherValue]] = {}
    for value in values:
        if value.end_at <= now and value.kind >= Kind.MODEL:
            groups.setdefault((-int(value.kind), value.source), []).append(value)
    lines = []
    for (rank, source), own in sorted(groups.items()):
        names = [name for name in _NAMED if any(v.variable in _NAMED[name] for v in own)]
        newest = max(v.end_at for v in own)
        age = age_words((now - newest) / timedelta(hours=1))
        parts = [
            f"{source}: {KIND_WORDS[Kind(-rank)]}; {', '.join(names)}; to {_moment(newest, zone)}, "
            f"{age}"
        ]
        n_suspect = sum(1 for v in own if v.suspect)
        if n_suspect:
            parts.append(f"{n_suspect} left out")
        is_fill = rank == -Kind.MODEL and (-int(Kind.OBSERVED), source) in groups
        gaps = "" if is_fill else _gaps(own, newest)  # what fills gaps has none of its own
        parts += [text for text in (gaps, _far(source, names)) if text]
        lines.append("; ".join(parts))
    return lines


def _own_note_lines(
    series: WeatherSeries, values: Sequence[WeatherValue], now: datetime, zone: ZoneInfo
) -> list[str]:
    """What the gauge and the thermometer logged by hand say, and how old it is."""
    parts = []
    for name, variable in (("rain", "rain_mm"), ("temperature", "air_temp_c")):
        is_own = (series.kinds[variable] == Kind.OWN_GAUGE).copy()
        for value in values:
            if value.kind is Kind.OWN_GAUGE and value.variable in _NAMED[name]:
                is_own[_element(series, value.start_at) : _element(series, value.end_at)] = False
        if is_own.any():
            newest = series.start_at + timedelta(hours=int(np.flatnonzero(is_own)[-1]) + 1)
            age = age_words((now - newest) / timedelta(hours=1))
            parts.append(f"{name} to {_moment(newest, zone)}, {age}")
    return [f"your notes: {'; '.join(parts)}"] if parts else []


_NAMED = {
    "rain": ("rain_mm",),
    "temperature": ("air_temp_c", "air_temp_min_c", "air_temp_max_c"),
    "humidity": ("humidity_frac",),
    "wind": ("wind_2m_m_s",),
    "sun": ("solar_mj_m2",),
}


def _gaps(own: Sequence[WeatherValue], newest: datetime) -> str:
    """Hours without rain, or else without temperature, from their first value to the newest."""
    for name in ("rain", "temperature"):
        spans = sorted(
            {(v.start_at, v.end_at) for v in own if v.variable in _NAMED[name] and not v.suspect}
        )
        if not spans:
            continue
        missing, n_gaps = timedelta(0), 0
        reached = spans[0][1]
        for start_at, end_at in (*spans[1:], (newest, newest)):
            if start_at > reached:
                missing += start_at - reached
                n_gaps += 1
            reached = max(reached, end_at)
        if not n_gaps:
            return ""
        hours = round(missing / timedelta(hours=1))
        unit = "1 hour" if hours == 1 else f"{hours} hours"
        return f"{name} missing for {unit}" + (f" in {n_gaps} gaps" if n_gaps > 1 else "")
    return ""


def _far(source: str, names: Sequence[str]) -> str:
    """What the distance of a station means for its rain."""
    found = STATION_LABEL.search(source)
    if found is None or "rain" not in names or int(found[1]) <= FAR_RAIN_KM:
        return ""
    return "rain is not measured here" if int(found[1]) > NOT_MEASURED_KM else "showers may differ"


# ------------------------------------------------------------------ table


def _parts(series: WeatherSeries, now: datetime, zone: ZoneInfo) -> list[_Part]:
    """The days to show, today in two parts, in order."""
    today = now.astimezone(zone).date()
    parts = []
    at_now = _element(series, now)
    for ahead in range(-PAST_DAYS, COMING_DAYS + 1):
        day = today + timedelta(days=ahead)
        first, last = (
            _element(series, datetime(each.year, each.month, each.day, tzinfo=zone))
            for each in (day, day + timedelta(days=1))
        )
        title = f"{WEEKDAYS[day.weekday()]} {day_words(day)}"
        if ahead:
            pieces = [_Part(title, first, last)]
        else:
            middle = min(max(at_now, first), last)
            pieces = [
                _Part("today so far", first, middle),
                _Part("today to come", middle, last),
            ]
        parts += [piece for piece in pieces if piece.last > piece.first]
    return parts


def _element(series: WeatherSeries, moment: datetime) -> int:
    """The element of the series that begins at, or holds, a moment; held within the series."""
    element = int((moment - series.start_at) // timedelta(hours=1))
    return min(max(element, 0), series.n_hours)


def _table(series: WeatherSeries, parts: Sequence[_Part], shown: _Units, width: int) -> list[str]:
    """One line for each day; columns that do not fit are left away from the right."""
    if not parts:
        return ["No hour of the days around now is on record."]
    head = (
        ("", "rain", "low", "high", "wind", "rain from", "temperature from"),
        ("", shown.rain, shown.temp, shown.temp, shown.wind, "", ""),
    )
    rows = []
    marks: set[str] = set()
    for part in parts:
        rain, own_marks = _rain_cell(series, part, shown)
        marks |= own_marks
        temp = series.air_temp_c[part.first : part.last]
        wind = series.wind_2m_m_s[part.first : part.last]
        known = temp[np.isfinite(temp)]
        blown = wind[np.isfinite(wind)]
        mark = (
            "^"
            if np.any(series.kinds["air_temp_c"][part.first : part.last] == Kind.CLIMATE)
            else ""
        )
        marks |= {mark}
        rows.append(
            (
                part.title,
                rain,
                f"{shown.temp_of(float(known.min())):.0f}{mark}" if known.size else "?",
                f"{shown.temp_of(float(known.max())):.0f}{mark}" if known.size else "?",
                f"{shown.wind_of(float(blown.mean())):.0f}" if blown.size else "?",
                _kind_words(series.kinds["rain_mm"][part.first : part.last]),
                _kind_words(series.kinds["air_temp_c"][part.first : part.last]),
            )
        )
    cells = [*head, *rows]
    widths = [max(len(row[column]) for row in cells) for column in range(len(head[0]))]
    n_columns = len(widths)
    while n_columns > 2 and sum(widths[:n_columns]) + 2 * (n_columns - 1) > width:
        n_columns -= 1
    lines = []
    for row in cells:
        words = [
            row[column].rjust(widths[column])
            if 1 <= column <= 4
            else row[column].ljust(widths[column])
            for column in range(n_columns)
        ]
        lines.append("  ".join(words)[:width])
    for mark, text in (
        ("?", "? not known."),
        ("+", "+ at least: some hours are not known."),
        ("~", "~ the even share of a total over more than this day."),
        ("*", "* its hours are not known; each member of the computation draws them."),
        ("^", "^ hours nobody read or forecast are taken from the days nearest to them."),
    ):
        if mark in marks:
            lines += wrapped(text, width)
    return lines


def _rain_cell(series: WeatherSeries, part: _Part, shown: _Units) -> tuple[str, set[str]]:
    """Rain of a day as text, with the marks that qualify it."""
    hourly = series.rain_mm[part.first : part.last]
    rain_mm = float(np.nansum(hourly))
    n_unknown = int(
        np.count_nonzero(series.kinds["rain_mm"][part.first : part.last] == Kind.MISSING)
    )
    marks: set[str] = set()
    for total in series.rain_totals:
        first = max(total.first_hour, part.first)
        last = min(total.first_hour + total.n_hours, part.last)
        if last > first:
            rain_mm += total.rain_mm * (last - first) / total.n_hours
            marks.add("*" if last - first == total.n_hours else "~")
    if n_unknown == hourly.size:
        return "?", {"?"}
    if "~" in marks:
        marks.discard("*")
    if n_unknown:
        marks.add("+")
    return shown.rain_text(rain_mm) + "".join(sorted(marks)), marks


def _kind_words(kinds: NDArray[np.int8]) -> str:
    """Where the hours of a day come from: one word, or the hours of each."""
    count = {kind: int(np.count_nonzero(kinds == kind)) for kind in KIND_WORDS}
    present = [kind for kind in KIND_WORDS if count[kind]]
    if len(present) == 1:
        return KIND_WORDS[present[0]]
    return ", ".join(f"{KIND_WORDS[kind]} {count[kind]} h" for kind in present)


# ------------------------------------------------------------------ plot


def _plot(
    series: WeatherSeries,
    parts: Sequence[_Part],
    now: datetime,
    zone: ZoneInfo,
    shown: _Units,
    width: int,
) -> list[str]:
    """Temperature above, rain below, over the same days."""
    import plotext

    first, last = parts[0].first, parts[-1].last
    hours = np.arange(first, last)
    start_d = (series.start_at - now) / timedelta(days=1)
    days = np.asarray(start_d + (hours + 0.5) / 24.0, dtype=np.float64)
    span = (float(days[0]), float(days[-1]))
    ticks = midnight_ticks(now, zone, span, 2)
    figure: Any = plotext.figure
    lines: list[str] = []

    temp = np.array([shown.temp_of(value) for value in series.air_temp_c[first:last].tolist()])
    is_known = np.isfinite(temp)
    if is_known.any():
        low, high = math.floor(temp[is_known].min()), math.ceil(temp[is_known].max())
        begin_figure(figure, width, PLOT_HEIGHT_TEMPERATURE)
        figure.draw(figure.signal(days[is_known].tolist(), temp[is_known].tolist(), marker="."))
        if span[0] <= 0.0 <= span[1]:
            figure.line(0.0, "v")
        _scale(figure, span, ticks, float(low), float(max(high, low + 1)))
        lines += [f"Temperature, {shown.temp}; upright line: now.", *figure_lines(figure)]

    amounts, middles = _bars(series, first, last, days)
    top = max([shown.rain_of(2.0), *(shown.rain_of(amount) for amount in amounts)])
    begin_figure(figure, width, PLOT_HEIGHT_RAIN)
    heights = [shown.rain_of(amount) for amount in amounts]
    if any(heights):
        figure.draw(figure.bar(middles, heights, marker="#", lines=False))
    if span[0] <= 0.0 <= span[1]:
        figure.line(0.0, "v")
    _scale(figure, span, ticks, 0.0, top)
    title = f"Rain in {BAR_HOURS} hours, {shown.rain}"
    if any(_touches(total.first_hour, total.n_hours, first, last) for total in series.rain_totals):
        title += "; totals without hours are spread evenly"
    if np.any(series.kinds["rain_mm"][first:last] == Kind.MISSING):
        title += "; hours not known stay empty"
    return [*lines, *wrapped(f"{title}.", width), *figure_lines(figure)]


def _touches(start: int, length: int, first: int, last: int) -> bool:
    return start < last and start + length > first


def _bars(
    series: WeatherSeries, first: int, last: int, days: FloatArray
) -> tuple[list[float], list[float]]:
    """Rain of each few hours [mm] and the middle of each on the axis [d from now]."""
    rain = np.nan_to_num(series.rain_mm[first:last], nan=0.0)
    for total in series.rain_totals:
        low = max(total.first_hour, first) - first
        high = min(total.first_hour + total.n_hours, last) - first
        if high > low:
            rain[low:high] += total.rain_mm / total.n_hours
    starts = range(0, rain.size, BAR_HOURS)
    amounts = [float(rain[at : at + BAR_HOURS].sum()) for at in starts]
    middles = [float(days[at : at + BAR_HOURS].mean()) for at in starts]
    return amounts, middles


def _scale(
    figure: Any,
    span: tuple[float, float],
    ticks: tuple[list[float], list[str]],
    low: float,
    high: float,
) -> None:
    """Days below; the lowest and the highest at the left."""
    figure.ruler("x").lim(*span)
    figure.ruler("x").ticks(*ticks)
    figure.ruler("y").lim(low, high)
    figure.ruler("y").ticks([low, high], [f"{low:5.4g}", f"{high:5.3g}"])
