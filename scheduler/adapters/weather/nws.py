"""Forecasts of the US National Weather Service: the grid cell of a place, its layers, their hours.

A layer holds values over intervals of whole hours. Levels hold for each hour of theirs; amounts
of rain are sums and are spread evenly. Hours that no interval covers stay unknown: rain is
foreseen for fewer days than temperature. Sun is computed from sky cover.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from scheduler.adapters.weather.http import Fetched, Fetcher
from scheduler.adapters.weather.payload import (
    Hours,
    forecast_of,
    full_hour,
    hours_between,
    json_object,
    moment_of,
    number_or_nan,
    part_of,
    require_contact,
    require_near,
    sun_under_cloud_mj_m2,
    wind_2m,
)
from scheduler.errors import WeatherFetchError
from scheduler.models.air import humidity_from_dew_point_frac
from scheduler.records import FloatArray, Forecast, Place

NAME = "US National Weather Service"
ENDPOINT = "https://api.weather.gov"
STALE_AFTER = timedelta(hours=12)  # old grids are handed out with status 200

_Convert = Callable[[float], float]
_TEMPERATURES: Mapping[str, _Convert] = {
    "degC": lambda value: value,
    "degF": lambda value: (value - 32.0) / 1.8,
    "K": lambda value: value - 273.15,
}
_SHARES: Mapping[str, _Convert] = {"percent": lambda value: value / 100.0}
_SPEEDS: Mapping[str, _Convert] = {
    "km_h-1": lambda value: value / 3.6,
    "m_s-1": lambda value: value,
}
_AMOUNTS: Mapping[str, _Convert] = {
    "mm": lambda value: value,
    "m": lambda value: value * 1000.0,
    "in": lambda value: value * 25.4,
}
_UNITS: Mapping[str, Mapping[str, _Convert]] = {
    "quantitativePrecipitation": _AMOUNTS,
    "temperature": _TEMPERATURES,
    "dewpoint": _TEMPERATURES,
    "relativeHumidity": _SHARES,
    "windSpeed": _SPEEDS,
    "skyCover": _SHARES,
}
_SUM = "quantitativePrecipitation"
_NEEDED = (_SUM, "temperature")
_LENGTH = re.compile(
    r"P(?:(?P<weeks>\d+)W)?(?:(?P<days>\d+)D)?(?:T(?:(?P<hours>\d+)H)?)?", re.ASCII
)
_GRID = re.compile(r"[A-Z]{2,5}", re.ASCII)

_Interval = tuple[int, int, float]  # first hour, number of hours, value in SI


def points_url(place: Place) -> str:
    """Return the address that names the grid cell of a place, rounded to about a kilometre.

    Examples
    --------
    >>> points_url(Place(40.7812, -73.9665, 12.0, "America/New_York"))
    'https://api.weather.gov/points/40.78,-73.97'
    """
    latitude, longitude = (
        f"{round(degrees, 2) + 0.0:.2f}".rstrip("0").rstrip(".")  # the service redirects from 40.50
        for degrees in (place.latitude_deg, place.longitude_deg)
    )
    return f"{ENDPOINT}/points/{latitude},{longitude}"


def fetch_forecast(place: Place, fetcher: Fetcher, now: datetime) -> tuple[Forecast, Fetched]:
    """Ask for the grid cell of a place and its forecast; also how the forecast came.

    Raises
    ------
    WeatherFetchError
        If no contact is set (nothing is asked then), nothing can be had, or the answer is wrong or
        more than 12 hours old.
    """
    require_contact(fetcher, NAME)

    def check_point(body: bytes, headers: Mapping[str, str]) -> None:
        grid_url(body)

    def check_grid(body: bytes, headers: Mapping[str, str]) -> None:
        parse_forecast(body, place, now)

    try:
        point = fetcher.get(points_url(place), now=now, check=check_point)
    except WeatherFetchError as error:
        if error.status != 404:
            raise
        raise WeatherFetchError(
            f"{NAME}: has no forecast for {place.latitude_deg:.2f}, {place.longitude_deg:.2f}; "
            'write forecast = "metno" in [weather] of farm.toml if the farm is not in its area',
            404,
        ) from error
    found = fetcher.get(grid_url(point.body), now=now, check=check_grid)
    return parse_forecast(found.body, place, now), found


def grid_url(body: bytes) -> str:
    """Return the address of the layers of a grid cell from the answer that names the cell.

    Only the name of the cell is taken from the answer, never an address.

    Raises
    ------
    WeatherFetchError
        If it names none.
    """
    found = part_of(json_object(body, NAME), NAME, "properties")
    office, x, y = (part_of(found, NAME, key) for key in ("gridId", "gridX", "gridY"))
    is_cell = isinstance(office, str) and _GRID.fullmatch(office) is not None
    for number in (x, y):
        is_cell &= isinstance(number, int) and not isinstance(number, bool) and 0 <= number < 10000
    if not is_cell:
        raise WeatherFetchError(
            f"{NAME}: the place has the grid cell {office!r} {x!r},{y!r}; expected an office and "
            "two whole numbers"
        )
    return f"{ENDPOINT}/gridpoints/{office}/{x},{y}"


def parse_forecast(body: bytes, place: Place, known_at: datetime) -> Forecast:
    """Return the hourly forecast of the layers of a grid cell.

    Parameters
    ----------
    body
        The answer with all layers.
    place
        Of the farm; the sun is computed for it.
    known_at
        When the answer came.

    Raises
    ------
    WeatherFetchError
        If the answer is not what it should be, or was made more than 12 hours before `known_at`.
    """
    document = json_object(body, NAME)
    found = part_of(document, NAME, "properties")
    _require_cell(document, place)
    issued_at = moment_of(part_of(found, NAME, "updateTime"), NAME, "updateTime")
    if known_at - issued_at > STALE_AFTER:
        age_h = (known_at - issued_at) / timedelta(hours=1)
        raise WeatherFetchError(
            f"{NAME}: handed out a forecast made {issued_at:%Y-%m-%d %H:%M} UTC, {age_h:.0f} h old;"
            f" allowed: up to {STALE_AFTER // timedelta(hours=1)} h; what stands is kept"
        )
    layers = {name: _intervals(found, name) for name in _UNITS}
    ends = [(first, first + count) for name in _NEEDED for first, count, _ in layers[name]]
    if not ends:
        raise WeatherFetchError(f"{NAME}: the answer has neither rain nor temperature")
    hours = hours_between(min(e[0] for e in ends), max(e[1] for e in ends), NAME)
    rows = {name: _row(intervals, hours, name == _SUM) for name, intervals in layers.items()}
    humidity = rows["relativeHumidity"]
    from_dew = humidity_from_dew_point_frac(rows["temperature"], rows["dewpoint"])
    values = {
        "rain_mm": rows[_SUM],
        "air_temp_c": rows["temperature"],
        "humidity_frac": np.where(np.isfinite(humidity), humidity, from_dew),
        "wind_2m_m_s": wind_2m(rows["windSpeed"]),
        "solar_mj_m2": sun_under_cloud_mj_m2(rows["skyCover"], hours, place),
    }
    return forecast_of(NAME, issued_at, known_at, hours, values)


def _require_cell(document: Mapping[str, Any], place: Place) -> None:
    """Refuse the layers of a cell that lies elsewhere; a cell without a shape passes."""
    geometry = document.get("geometry")
    if not isinstance(geometry, dict) or geometry.get("type") != "Polygon":
        return
    rings = geometry.get("coordinates")
    corner = rings
    for _ in range(2):
        corner = corner[0] if isinstance(corner, list) and corner else None
    if not isinstance(corner, list) or len(corner) < 2:
        raise WeatherFetchError(f"{NAME}: the grid cell has no corners; expected a polygon")
    require_near(corner[1], corner[0], place, NAME)


def _intervals(found: Mapping[str, Any], name: str) -> list[_Interval]:
    """The intervals of one layer in order of time, in SI; none where the layer is not given."""
    if name not in found and name not in _NEEDED:
        return []
    rows = part_of(found, NAME, name, "values")
    if not isinstance(rows, list):
        raise WeatherFetchError(f"{NAME}: {name}.values is no list; expected intervals")
    if not rows:
        return []
    convert = _conversion(part_of(found, NAME, name, "uom"), name)
    intervals: list[_Interval] = []
    for row in rows:
        first, count = _span(part_of(row, NAME, "validTime"), name)
        value = number_or_nan(part_of(row, NAME, "value"), NAME, name)
        intervals.append((first, count, convert(value)))
    intervals.sort(key=lambda interval: interval[0])
    for before, after in pairwise(intervals):
        if after[0] < before[0] + before[1]:
            raise WeatherFetchError(
                f"{NAME}: two intervals of {name} overlap; a sum over them would count rain twice"
            )
    return intervals


def _conversion(unit: Any, name: str) -> _Convert:
    """What turns a value of a layer into SI, by the unit the layer states."""
    allowed = _UNITS[name]
    word = unit.rsplit(":", 1)[-1] if isinstance(unit, str) else ""
    if word not in allowed:
        raise WeatherFetchError(
            f"{NAME}: {name} is in {unit!r}; expected wmoUnit: {' or '.join(allowed)}"
        )
    return allowed[word]


def _span(text: Any, name: str) -> tuple[int, int]:
    """First hour since 1970 and number of hours of an interval such as "...T06:00+00:00/PT6H"."""
    start, _, length = text.partition("/") if isinstance(text, str) else ("", "", "")
    match = _LENGTH.fullmatch(length)
    count = 0
    if match is not None:
        weeks, days, hours = (int(part or 0) for part in match.group("weeks", "days", "hours"))
        count = 24 * (7 * weeks + days) + hours
    if not 0 < count <= 24 * 40:
        raise WeatherFetchError(
            f"{NAME}: an interval of {name} is {text!r}; expected a start and whole hours, such as "
            "2022-02-04T06:00:00+00:00/PT6H"
        )
    return full_hour(moment_of(start, NAME, f"a start of {name}"), NAME), count


def _row(intervals: list[_Interval], hours: Hours, is_sum: bool) -> FloatArray:
    """One value an hour: the level of its interval, or its even share of the sum."""
    row = hours.empty()
    for first, count, value in intervals:
        low = max(first - hours.first, 0)
        high = min(first + count - hours.first, hours.count)
        if high > low:
            row[low:high] = value / count if is_sum else value
    return row
