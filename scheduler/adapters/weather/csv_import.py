"""Hourly and daily weather from CSV files whose header declares every unit.

The file
--------
The first line names the columns; each later line is one hour or one day. Cells are parted by
commas (or semicolons, or tabs); decimals have a point. A column is `term [unit]`::

    time (hour ending) [America/New_York],temperature [F],wind at 10 m [mph],rain [in]
    2013-05-14 06:00,48.9,6.9,0.02

    date,rain [mm],t min [C],t max [C]
    2013-05-14,t,4.4,16.1

First column
    ``time (hour beginning) [zone]`` or ``time (hour ending) [zone]`` for hourly files: the zone is
    `UTC`, `Z`, a name such as `America/New_York`, or a fixed offset such as `-05:00`, for a logger
    that keeps standard time all year. ``date`` for daily files, local days of the farm;
    ``date [zone]`` for days of another zone; ``date (read at 07:00)`` for a gauge whose reading
    covers the 24 hours that end at 07:00 of the date; ``date (from 07:00)`` for the 24 hours that
    begin then.
Moments
    `2013-05-14 06:00`, `2013-05-14T06:00Z`, `2013-05-14`; day and month in that order only.
Columns
    `rain`, `temperature` (hourly), `t min` and `t max` (daily), `dew point`, `relative humidity`,
    `wind at 10 m` (any height), `solar`; or the program's own names such as `rain_mm`, whose unit
    is part of the name. A column to be passed over has a name that begins with `ignore`.
Cells
    Empty, `NA`, `NaN`, `M` and `-` are missing, and so are codes such as -9999 (this is said). Rain
    may be `t`, `trace` or `<0.1`: no amount, but a trace. Missing is never zero.

Wind is brought to 2 m (FAO-56 Eq. 47); dew point and temperature give the humidity.
"""

from __future__ import annotations

import csv
import difflib
import functools
import itertools
import re
import zoneinfo
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from pathlib import Path

from scheduler.errors import WeatherFileError
from scheduler.models.air import (
    humidity_from_dew_point_frac,
    saturation_vapour_pressure_kpa,
    wind_at_2m_m_s,
)
from scheduler.records import Kind, WeatherValue

MISSING_CELLS = frozenset({"", "na", "nan", "n/a", "m", "-", "null", "none"})
MISSING_CODES = frozenset({-99.0, -99.9, -999.0, -999.9, -9999.0, -9999.9, -99999.0})
TRACE_CELLS = frozenset({"t", "tr", "trace"})
MOST_NAMED = 3

# term -> quantity; `wind` is matched with its height by _WIND
TERMS = {
    "time": "time",
    "date": "date",
    "rain": "rain",
    "rainfall": "rain",
    "precipitation": "rain",
    "temperature": "temperature",
    "air temperature": "temperature",
    "t min": "t min",
    "tmin": "t min",
    "lowest temperature": "t min",
    "t max": "t max",
    "tmax": "t max",
    "highest temperature": "t max",
    "dew point": "dew point",
    "dewpoint": "dew point",
    "relative humidity": "relative humidity",
    "humidity": "relative humidity",
    "solar": "solar",
    "solar radiation": "solar",
}
OWN_NAMES = {
    "rain_mm": ("rain", "mm"),
    "air_temp_c": ("temperature", "C"),
    "air_temp_min_c": ("t min", "C"),
    "air_temp_max_c": ("t max", "C"),
    "dew_point_c": ("dew point", "C"),
    "humidity_frac": ("relative humidity", "frac"),
    "wind_2m_m_s": ("wind at 2 m", "m/s"),
    "solar_mj_m2": ("solar", "MJ/m2"),
}
VARIABLES = {
    "rain": "rain_mm",
    "temperature": "air_temp_c",
    "t min": "air_temp_min_c",
    "t max": "air_temp_max_c",
    "relative humidity": "humidity_frac",
    "wind": "wind_2m_m_s",
    "solar": "solar_mj_m2",
}

Convert = Callable[[float, float], float]  # (value, hours of the interval) -> SI


def _scale(factor: float) -> Convert:
    return lambda value, hours: value * factor


_TEMPERATURE_UNITS: dict[str, Convert] = {
    "C": lambda value, hours: value,
    "F": lambda value, hours: (value - 32.0) / 1.8,
    "K": lambda value, hours: value - 273.15,
}
UNITS: dict[str, dict[str, Convert]] = {
    "rain": {
        "mm": _scale(1.0),
        "cm": _scale(10.0),
        "in": _scale(25.4),
        "0.1 mm": _scale(0.1),
        "0.01 in": _scale(0.254),
    },
    "temperature": _TEMPERATURE_UNITS,
    "t min": _TEMPERATURE_UNITS,
    "t max": _TEMPERATURE_UNITS,
    "dew point": _TEMPERATURE_UNITS,
    "relative humidity": {"%": _scale(0.01), "frac": _scale(1.0)},
    "wind": {
        "m/s": _scale(1.0),
        "km/h": _scale(1.0 / 3.6),
        "mph": _scale(0.44704),
        "kt": _scale(0.514444),
    },
    "solar": {
        "MJ/m2": _scale(1.0),
        "J/cm2": _scale(0.01),
        "kWh/m2": _scale(3.6),
        "Wh/m2": _scale(0.0036),
        "W/m2": lambda value, hours: value * hours * 0.0036,
    },
}
UNIT_SPELLINGS = {
    "°c": "C",
    "degc": "C",
    "°f": "F",
    "degf": "F",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "percent": "%",
    "knot": "kt",
    "knots": "kt",
    "kn": "kt",
    "kph": "km/h",
    "kmh": "km/h",
    "m s-1": "m/s",
    "w/m²": "W/m2",
    "w m-2": "W/m2",
    "mj/m²": "MJ/m2",
    "mj m-2": "MJ/m2",
    "kwh/m²": "kWh/m2",
    "wh/m²": "Wh/m2",
    "j/cm²": "J/cm2",
}

_CELL = re.compile(r"^(?P<term>[^\[\](]*?)\s*(?:\((?P<how>[^)]*)\))?\s*(?:\[(?P<unit>[^\]]*)\])?$")
_WIND = re.compile(r"^wind(?: speed)?(?: at (?P<height>\d+(?:\.\d+)?) ?m)?$")
_OFFSET = re.compile(r"^(?:UTC|GMT)?(?P<sign>[+-])(?P<hours>\d{1,2})(?::?(?P<minutes>\d{2}))?$")
_CLOCK = re.compile(r"^(?P<word>read at|from) (?P<hour>\d{1,2}):(?P<minute>\d{2})$")


@dataclass(frozen=True)
class WeatherImport:
    """What a weather file holds, in SI units, and what is to be told about it."""

    values: tuple[WeatherValue, ...]
    messages: tuple[str, ...]


@dataclass(frozen=True)
class _Column:
    """One data column of the header."""

    index: int
    title: str
    quantity: str
    convert: Convert


@dataclass(frozen=True)
class _Layout:
    """What the header says."""

    is_hourly: bool
    zone: tzinfo
    is_ending: bool  # the stamp marks the end of the interval
    clock: time  # when a day begins or ends
    columns: tuple[_Column, ...]
    n_cells: int
    time_index: int


@dataclass(frozen=True)
class _Row:
    """One line: its number, its interval, its cells."""

    line: int
    stamp: str
    start_at: datetime
    end_at: datetime
    cells: list[str]


def read_weather_csv(
    path: Path, *, kind: Kind, source: str, known_at: datetime | None, time_zone: str
) -> WeatherImport:
    """Read one weather file; the form is described at the head of this module.

    Parameters
    ----------
    path : Path
        The file.
    kind : Kind
        What the values are: `OWN_GAUGE`, `OBSERVED`, `MODEL`, ...
    source : str
        The name the values carry.
    known_at : datetime or None
        When the values became known; None: each at the end of its own interval.
    time_zone : str
        Zone of the farm, for daily files that name none.

    Returns
    -------
    WeatherImport
        Values in order of time, and messages about doubled or ambiguous stamps and missing codes.

    Raises
    ------
    WeatherFileError
        If the file cannot be read as it stands; nothing is kept of it then.
    """
    where = path.name
    try:
        raw = path.read_bytes()
    except FileNotFoundError as error:
        raise WeatherFileError(
            f"{where}: no such file, allowed a CSV file; check the name and the folder"
        ) from error
    except OSError as error:
        raise WeatherFileError(
            f"{where}: cannot be opened ({error.strerror}), allowed a readable CSV file; "
            "check the name and its permissions"
        ) from error
    if b"\x00" in raw:
        raise WeatherFileError(
            f"{where}: found bytes that are not text, allowed a CSV file; export the table as CSV"
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise WeatherFileError(
            f"{where}, line {line}: found a letter that is not UTF-8, allowed UTF-8 text; "
            "save the file as CSV UTF-8"
        ) from error
    return parse_weather_csv(
        text, where, kind=kind, source=source, known_at=known_at, time_zone=time_zone
    )


def parse_weather_csv(
    text: str, where: str, *, kind: Kind, source: str, known_at: datetime | None, time_zone: str
) -> WeatherImport:
    """The weather values of a CSV text; arguments and faults as `read_weather_csv`.

    Examples
    --------
    >>> text = "time (hour ending) [UTC],rain [in]\\n2013-05-14 06:00,0.1\\n"
    >>> one = parse_weather_csv(text, "rain.csv", kind=Kind.OBSERVED, source="A", known_at=None,
    ...     time_zone="UTC").values[0]
    >>> one.variable, round(one.value, 2), one.start_at.hour, one.end_at.hour
    ('rain_mm', 2.54, 5, 6)
    """
    lines = text.splitlines()
    first = next((number for number, line in enumerate(lines) if line.strip()), None)
    if first is None:
        raise WeatherFileError(
            f"{where}: found nothing, allowed a header and at least one row; check the file"
        )
    separator = _separator(lines[first])
    numbered: list[tuple[int, list[str]]] = []
    reader = csv.reader(lines, delimiter=separator)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                numbered.append((reader.line_num, [cell.strip() for cell in cells]))
    except csv.Error as error:
        raise WeatherFileError(
            f"{where}, line {reader.line_num}: found a line that is not CSV ({error}), allowed "
            "cells parted by commas; look for a stray quotation mark"
        ) from error
    layout = _layout(numbered[0][1], f"{where}, line {numbered[0][0]}", time_zone)
    if len(numbered) == 1:
        raise WeatherFileError(
            f"{where}: found a header without rows, allowed at least one row; check the export"
        )
    messages: list[str] = []
    rows = _rows(numbered[1:], layout, where, messages)
    values = _values(rows, layout, where, kind, source, known_at, messages)
    if not values:
        raise WeatherFileError(
            f"{where}: found {len(rows)} rows and no value, allowed at least one value; "
            "check the columns"
        )
    return WeatherImport(tuple(values), tuple(messages))


def _separator(header: str) -> str:
    """The separator of the cells, from the header."""
    return max((",", ";", "\t"), key=header.count)


# ------------------------------------------------------------------ header


def _layout(cells: Sequence[str], where: str, time_zone: str) -> _Layout:
    """What the header says, or its first fault."""
    columns: list[_Column] = []
    clock: tuple[int, bool, tzinfo, bool, time] | None = None
    for index, cell in enumerate(cells):
        title = cell.strip()
        if title.lower().startswith("ignore"):
            continue
        match = _CELL.match(title)
        if not title or match is None:
            raise WeatherFileError(
                f"{where}, column {index + 1}: found the header '{title}', "
                "allowed `term [unit]` such as `rain [mm]`; name the column or write `ignore`"
            )
        term = re.sub(r"[\s_]+", " ", match["term"].strip().lower())
        if TERMS.get(term) in ("time", "date"):
            if clock is not None:
                raise WeatherFileError(
                    f"{where}: found a second column of time '{title}', allowed one; "
                    "write `ignore` before it"
                )
            clock = (index, *_clock(term, match["how"], match["unit"], title, where, time_zone))
            continue
        columns.append(_column(index, title, term, match["how"], match["unit"], where))
    if clock is None:
        raise WeatherFileError(
            f"{where}: found no column of time, allowed `time (hour ending) [UTC]`, "
            "`time (hour beginning) [UTC]` or `date`; add it to the header"
        )
    if not columns:
        raise WeatherFileError(
            f"{where}: found no column of weather, allowed {_list(_allowed_terms())}; "
            "add one with its unit"
        )
    index, is_hourly, zone, is_ending, at = clock
    _check_together(columns, is_hourly, where)
    return _Layout(is_hourly, zone, is_ending, at, tuple(columns), len(cells), index)


def _clock(
    term: str, how: str | None, unit: str | None, title: str, where: str, time_zone: str
) -> tuple[bool, tzinfo, bool, time]:
    """Whether hourly, the zone, whether stamps mark the end, and when a day turns."""
    how = re.sub(r"\s+", " ", how.strip().lower()) if how else ""
    if TERMS[term] == "date":
        zone = _zone(unit, where) if unit else zoneinfo.ZoneInfo(time_zone)
        if not how:
            return False, zone, False, time(0, 0)
        match = _CLOCK.match(how)
        if match is None or int(match["hour"]) > 23 or int(match["minute"]) > 59:
            raise WeatherFileError(
                f"{where}, column '{title}': found ({how}), allowed (read at 07:00) or "
                "(from 07:00); say when the day of a reading ends or begins"
            )
        return (
            False,
            zone,
            match["word"] == "read at",
            time(int(match["hour"]), int(match["minute"])),
        )
    if how not in ("hour ending", "hour beginning"):
        found = f"({how})" if how else "no word on it"
        raise WeatherFileError(
            f"{where}, column '{title}': found {found}, allowed (hour ending) or (hour beginning); "
            "say which end of the hour the stamp marks"
        )
    if not unit:
        raise WeatherFileError(
            f"{where}, column '{title}': found no zone, allowed [UTC], a name such as "
            "[America/New_York] or an offset such as [-05:00]; add the zone of the stamps"
        )
    return True, _zone(unit, where), how == "hour ending", time(0, 0)


@functools.cache
def _zone_names() -> tuple[str, ...]:
    """Every zone name known here."""
    return tuple(sorted(zoneinfo.available_timezones()))


def _zone(text: str, where: str) -> tzinfo:
    """The zone a header names."""
    name = text.strip()
    if name.upper() in ("UTC", "Z", "GMT"):
        return UTC
    match = _OFFSET.match(name)
    if match is not None:
        minutes = int(match["hours"]) * 60 + int(match["minutes"] or 0)
        if minutes <= 14 * 60:
            return timezone(timedelta(minutes=minutes if match["sign"] == "+" else -minutes))
    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise WeatherFileError(
            f"{where}: found the zone [{name}], allowed UTC, an offset such as -05:00 or a name of "
            f"the zone database; {_hint(name, _zone_names())}"
        ) from error


def _column(
    index: int, title: str, term: str, how: str | None, unit: str | None, where: str
) -> _Column:
    """One data column, or its fault."""
    own = OWN_NAMES.get(title.split("[")[0].split("(")[0].strip().lower())
    if own is not None:
        named, own_unit = own
        if unit and _unit(unit) != own_unit:
            raise WeatherFileError(
                f"{where}, column '{title}': found [{unit}] after a name that ends in its unit, "
                f"allowed [{own_unit}] or none; rename the column to `{named} [{unit}]`"
            )
        term, unit = named, own_unit
    height_m = 2.0
    wind = _WIND.match(term)
    if wind is not None:
        if wind["height"] is None:
            raise WeatherFileError(
                f"{where}, column '{title}': found wind without a height, allowed such as "
                "`wind at 10 m [mph]`; add the height of the sensor"
            )
        height_m = float(wind["height"])
        if not 0.5 <= height_m <= 100.0:
            raise WeatherFileError(
                f"{where}, column '{title}': found the height {height_m:g} m, "
                "allowed 0.5 to 100 m; give the height of the sensor"
            )
        quantity = "wind"
    elif term in TERMS:
        quantity = TERMS[term]
    else:
        raise WeatherFileError(
            f"{where}, column {index + 1}: found the name '{title}', allowed "
            f"{_list(_allowed_terms())}; {_hint(term, _hintable())}, or write `ignore` before it"
        )
    if how:
        raise WeatherFileError(
            f"{where}, column '{title}': found ({how}), allowed no remark on this column; "
            "take it out"
        )
    allowed = UNITS[quantity]
    if not unit or not unit.strip():
        raise WeatherFileError(
            f"{where}, column '{title}': found no unit, allowed {_list(_in_brackets(allowed))}; "
            f"write it as `{title} [{next(iter(allowed))}]`"
        )
    known = _unit(unit)
    if known not in allowed:
        raise WeatherFileError(
            f"{where}, column '{title}': found the unit [{unit.strip()}], "
            f"allowed {_list(_in_brackets(allowed))}; {_hint(unit.strip(), tuple(allowed))}"
        )
    convert = allowed[known]
    if quantity == "wind" and height_m != 2.0:
        to_2m = float(wind_at_2m_m_s(1.0, height_m))
        return _Column(index, title, quantity, lambda value, hours: convert(value, hours) * to_2m)
    return _Column(index, title, quantity, convert)


def _check_together(columns: Sequence[_Column], is_hourly: bool, where: str) -> None:
    """Faults that show only between columns."""
    seen: dict[str, str] = {}
    for column in columns:
        if column.quantity in seen:
            raise WeatherFileError(
                f"{where}: found two columns of {column.quantity}, '{seen[column.quantity]}' and "
                f"'{column.title}', allowed one; write `ignore` before the other"
            )
        seen[column.quantity] = column.title
    wrong = {"t min", "t max"} if is_hourly else {"temperature"}
    for quantity in sorted(wrong & seen.keys()):
        allowed = "temperature" if is_hourly else "t min and t max"
        raise WeatherFileError(
            f"{where}, column '{seen[quantity]}': found {quantity} in "
            f"{'an hourly' if is_hourly else 'a daily'} file, allowed {allowed}; "
            "write `ignore` before it"
        )
    needed = ("temperature",) if is_hourly else ("t min", "t max")
    if "dew point" in seen and not all(each in seen for each in needed):
        raise WeatherFileError(
            f"{where}, column '{seen['dew point']}': found dew point without "
            f"{' and '.join(needed)}, allowed both together; add the temperature"
        )


def _unit(text: str) -> str:
    """A unit as this module spells it."""
    plain = re.sub(r"\s+", " ", text.strip())
    lower = plain.lower()
    if lower in UNIT_SPELLINGS:
        return UNIT_SPELLINGS[lower]
    for units in UNITS.values():
        for known in units:
            if known.lower() == lower:
                return known
    return plain


def _allowed_terms() -> tuple[str, ...]:
    """The main name of each column."""
    return (
        "rain",
        "temperature",
        "t min",
        "t max",
        "dew point",
        "relative humidity",
        "wind at 10 m",
        "solar",
    )


def _hintable() -> tuple[str, ...]:
    """Every name a column may have."""
    return (*TERMS, *(name.replace("_", " ") for name in OWN_NAMES), "wind at 10 m")


def _in_brackets(units: dict[str, Convert]) -> tuple[str, ...]:
    """Units as they stand in a header."""
    return tuple(f"[{unit}]" for unit in units)


def _list(words: Sequence[str]) -> str:
    """Words with commas."""
    return ", ".join(words)


def _hint(found: str, known: Sequence[str]) -> str:
    """The nearest known word, as advice."""
    by_lower = {word.lower(): word for word in known}
    near = difflib.get_close_matches(found.lower(), list(by_lower), n=1, cutoff=0.5)
    return f"did you mean `{by_lower[near[0]]}`?" if near else "check the spelling"


# ------------------------------------------------------------------ rows


def _rows(
    numbered: Sequence[tuple[int, list[str]]], layout: _Layout, where: str, messages: list[str]
) -> list[_Row]:
    """The lines with their intervals in UTC, in order of time."""
    stamps: list[tuple[int, datetime, list[str]]] = []
    for line, cells in numbered:
        if len(cells) != layout.n_cells:
            raise WeatherFileError(
                f"{where}, line {line}: found {len(cells)} cells, allowed {layout.n_cells} as in "
                "the header; look for a decimal comma or a missing separator"
            )
        stamps.append((line, _stamp(cells[layout.time_index], layout, where, line), cells))
    is_falling = len(stamps) > 1 and stamps[0][1].replace(tzinfo=None) > stamps[-1][1].replace(
        tzinfo=None
    )
    if is_falling:
        stamps.reverse()
    if not layout.is_hourly:
        rows = [_day(layout, *stamp) for stamp in stamps]
    else:
        rows = _hours(stamps, layout, where, messages)
    rows.sort(key=lambda row: row.start_at)
    _check_steps(rows, layout, where)
    return rows


def _stamp(text: str, layout: _Layout, where: str, line: int) -> datetime:
    """The moment or date a cell names, with the zone of the file where it names none."""
    allowed = "2013-05-14 06:00" if layout.is_hourly else "2013-05-14"
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise WeatherFileError(
            f"{where}, line {line}: found the moment '{text}', allowed such as {allowed}; "
            "write year, month, day in that order"
        ) from error
    if not layout.is_hourly and (moment.time() != time(0, 0) or moment.tzinfo is not None):
        raise WeatherFileError(
            f"{where}, line {line}: found the moment '{text}' in a daily file, allowed such as "
            "2013-05-14; name the column time if the rows are hours"
        )
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=layout.zone)


def _day(layout: _Layout, line: int, stamp: datetime, cells: list[str]) -> _Row:
    """The interval of one day, its length by the clock of its zone."""
    day: date = stamp.date()
    if layout.is_ending:
        day -= timedelta(days=1)
    start = datetime.combine(day, layout.clock, layout.zone)
    end = datetime.combine(day + timedelta(days=1), layout.clock, layout.zone)
    return _Row(line, stamp.date().isoformat(), start.astimezone(UTC), end.astimezone(UTC), cells)


def _hours(
    stamps: Sequence[tuple[int, datetime, list[str]]],
    layout: _Layout,
    where: str,
    messages: list[str],
) -> list[_Row]:
    """The intervals of hours; the doubled hour of autumn is told apart by the order of lines."""
    rows: list[_Row] = []
    walls = [stamp.replace(tzinfo=None) for _, stamp, _ in stamps]
    n_times = Counter(walls)
    used: set[datetime] = set()
    alone: list[str] = []
    for (line, stamp, cells), wall in zip(stamps, walls, strict=True):
        moment = stamp
        if stamp.tzinfo is layout.zone and isinstance(layout.zone, zoneinfo.ZoneInfo):
            is_double = stamp.utcoffset() != stamp.replace(fold=1).utcoffset()
            if stamp.astimezone(UTC).astimezone(layout.zone).replace(tzinfo=None) != wall:
                raise WeatherFileError(
                    f"{where}, line {line}: found {wall:%Y-%m-%d %H:%M}, an hour that the clocks "
                    f"of {layout.zone.key} leave out, allowed hours that exist; if the logger "
                    "keeps standard time all year, declare its offset instead, such as "
                    f"[{_standard_offset(layout.zone, wall.year)}]"
                )
            if is_double:
                if wall in used:
                    moment = stamp.replace(fold=1)
                elif n_times[wall] == 1:
                    alone.append(f"{wall:%Y-%m-%d %H:%M} (line {line})")
            used.add(wall)
        at = moment.astimezone(UTC)
        start = at - timedelta(hours=1) if layout.is_ending else at
        rows.append(_Row(line, f"{wall:%Y-%m-%d %H:%M}", start, start + timedelta(hours=1), cells))
    if alone:
        messages.append(
            f"{where}: {_some(alone)} stands for two hours when the clocks go back; "
            "taken as the first of them"
        )
    return rows


def _standard_offset(zone: zoneinfo.ZoneInfo, year: int) -> str:
    """Offset of standard time, as text."""
    winter = min(
        datetime(year, month, 1, tzinfo=zone).utcoffset() or timedelta(0) for month in (1, 7)
    )
    minutes = int(winter.total_seconds() // 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def _check_steps(rows: Sequence[_Row], layout: _Layout, where: str) -> None:
    """Refuse rows that are not an hour, or a day, apart."""
    if not layout.is_hourly or len(rows) < 3:
        return
    steps = sorted(
        int((later.start_at - row.start_at).total_seconds() // 60)
        for row, later in itertools.pairwise(rows)
        if later.start_at > row.start_at
    )
    if not steps:
        return
    usual, shortest = steps[(len(steps) - 1) // 2], steps[0]
    if usual < 45:
        raise WeatherFileError(
            f"{where}: found rows {usual} minutes apart, allowed an hour; sum rain and average "
            "the rest to hours first"
        )
    if shortest > 90:
        raise WeatherFileError(
            f"{where}: found rows {shortest / 60:g} hours apart in an hourly file, allowed an "
            "hour; name the column `date` if the rows are days"
        )


# ------------------------------------------------------------------ values


def _values(
    rows: Sequence[_Row],
    layout: _Layout,
    where: str,
    kind: Kind,
    source: str,
    known_at: datetime | None,
    messages: list[str],
) -> list[WeatherValue]:
    """All values in SI units; doubled lines are told about, contradicting ones marked."""
    codes: list[str] = []
    by_start: dict[datetime, list[tuple[_Row, list[WeatherValue]]]] = {}
    for row in rows:
        own = _row_values(row, layout, where, kind, source, known_at, codes)
        by_start.setdefault(row.start_at, []).append((row, own))
    if codes:
        messages.append(f"{where}: {_some(codes)} read as missing")
    values: list[WeatherValue] = []
    doubled: list[str] = []
    contradicting: list[str] = []
    for same in by_start.values():
        if len(same) == 1:
            values.extend(same[0][1])
            continue
        named = f"{same[0][0].stamp} (lines {_list([str(row.line) for row, _ in same])})"
        first = {value.variable: value for value in same[0][1]}
        if all({v.variable: v for v in own} == first for _, own in same[1:]):
            doubled.append(named)
            values.extend(same[0][1])
            continue
        contradicting.append(named)
        kept = [value for _, own in same for value in own]
        marked: list[WeatherValue] = []
        for value in kept:
            others = {other.value for other in kept if other.variable == value.variable}
            reason = f"stamp {named} is doubled and its values differ" if len(others) > 1 else ""
            if reason or value not in marked:
                marked.append(replace(value, suspect=reason))
        values.extend(marked)
    if doubled:
        messages.append(f"{where}: {_some(doubled)} doubled with the same values; read once")
    if contradicting:
        messages.append(
            f"{where}: {_some(contradicting)} doubled with different values; left out until one "
            "is taken away"
        )
    return values


def _row_values(
    row: _Row,
    layout: _Layout,
    where: str,
    kind: Kind,
    source: str,
    known_at: datetime | None,
    codes: list[str],
) -> list[WeatherValue]:
    """The values of one line in SI units."""
    hours = (row.end_at - row.start_at).total_seconds() / 3600.0
    found: dict[str, tuple[float, bool]] = {}
    for column in layout.columns:
        number, is_trace = _number(row, column, where, codes)
        if number is not None:
            found[column.quantity] = (column.convert(number, hours), is_trace)
    dew_point = found.pop("dew point", None)
    if dew_point is not None and "relative humidity" not in found:
        humidity = _humidity_frac(found, dew_point[0])
        if humidity is not None:
            found["relative humidity"] = (humidity, False)
    return [
        WeatherValue(
            VARIABLES[quantity],
            row.start_at,
            row.end_at,
            value,
            kind,
            source,
            row.end_at if known_at is None else known_at,
            is_trace=is_trace,
        )
        for quantity, (value, is_trace) in found.items()
    ]


def _humidity_frac(found: dict[str, tuple[float, bool]], dew_point_c: float) -> float | None:
    """Relative humidity [-] of an hour or a day from its dew point; None without temperature.

    A dew point more than half a kelvin above the temperature gives more than 1, for the checks to
    see.
    """
    if "temperature" in found:
        air_c = found["temperature"][0]
        if dew_point_c > air_c + 0.5:
            vapour_kpa = float(saturation_vapour_pressure_kpa(dew_point_c))
            return vapour_kpa / float(saturation_vapour_pressure_kpa(air_c))
        return float(humidity_from_dew_point_frac(air_c, dew_point_c))
    if "t min" in found and "t max" in found:
        saturated = saturation_vapour_pressure_kpa([found["t min"][0], found["t max"][0]])
        return float(saturation_vapour_pressure_kpa(dew_point_c) / saturated.mean())
    return None


def _number(row: _Row, column: _Column, where: str, codes: list[str]) -> tuple[float | None, bool]:
    """The number in a cell and whether it is a trace; None where it is missing."""
    text = row.cells[column.index]
    lower = text.lower()
    if column.quantity == "rain" and (lower in TRACE_CELLS or lower.startswith("<")):
        return 0.0, True
    if lower in MISSING_CELLS:
        return None, False
    try:
        number = float(text)
    except ValueError as error:
        advice = "use a decimal point" if re.match(r"^-?\d+,\d+$", text) else "mend the cell"
        trace = ", t for a trace" if column.quantity == "rain" else ""
        raise WeatherFileError(
            f"{where}, line {row.line}, column '{column.title}': found '{text}', allowed a number, "
            f"an empty cell for missing{trace}; {advice}"
        ) from error
    if number != number or number in (float("inf"), float("-inf")):
        raise WeatherFileError(
            f"{where}, line {row.line}, column '{column.title}': found '{text}', allowed a finite "
            "number or an empty cell for missing; mend the cell"
        )
    if number in MISSING_CODES:
        codes.append(f"{text} in '{column.title}' (line {row.line})")
        return None, False
    return number, False


def _some(names: Sequence[str]) -> str:
    """The first few of many names."""
    more = len(names) - MOST_NAMED
    return _list(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
