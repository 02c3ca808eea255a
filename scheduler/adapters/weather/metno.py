"""Forecasts of MET Norway's Locationforecast 2.0: the address, the answer, and its hours.

Instants become hourly means by straight lines; rain is tiled: an hour where the steps are of one
hour, else the block of six hours that begins at the step, spread evenly. Sun is computed from cloud
cover. Temperature in six-hour steps misses part of the day's range.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np

from scheduler.adapters.weather.http import Fetched, Fetcher
from scheduler.adapters.weather.payload import (
    Hours,
    forecast_of,
    full_hour,
    hours_between,
    json_object,
    means_of_instants,
    moment_of,
    number_or_nan,
    part_of,
    require_contact,
    require_near,
    sun_under_cloud_mj_m2,
    wind_2m,
)
from scheduler.errors import WeatherFetchError
from scheduler.records import RAIN_RANGE, FloatArray, Forecast, Place

NAME = "MET Norway"
ENDPOINT = "https://api.met.no/weatherapi/locationforecast/2.0/complete"
VERSION_ENDS = 203  # status of a version of the service that will be taken away

_UNITS = {
    "air_temperature": "celsius",
    "relative_humidity": "%",
    "wind_speed": "m/s",
    "cloud_area_fraction": "%",
    "precipitation_amount": "mm",
}
_BLOCK_HOURS = (1, 6)
_RAIN, _LEAST, _MOST = (
    "precipitation_amount",
    "precipitation_amount_min",
    "precipitation_amount_max",
)


def request_url(place: Place) -> str:
    """Return the address of the forecast of a place, rounded to about a kilometre.

    Examples
    --------
    >>> request_url(Place(59.91273, 10.74609, 23.6, "Europe/Oslo"))
    'https://api.met.no/weatherapi/locationforecast/2.0/complete?lat=59.91&lon=10.75&altitude=24'
    """
    latitude = round(place.latitude_deg, 2) + 0.0
    longitude = round(place.longitude_deg, 2) + 0.0
    return f"{ENDPOINT}?lat={latitude:.2f}&lon={longitude:.2f}&altitude={round(place.elevation_m)}"


def fetch_forecast(place: Place, fetcher: Fetcher, now: datetime) -> tuple[Forecast, Fetched]:
    """Ask for the forecast of a place; also how the answer came.

    Raises
    ------
    WeatherFetchError
        If no contact is set (nothing is asked then), nothing can be had, or the answer is wrong.
    """
    require_contact(fetcher, NAME)

    def check(body: bytes, headers: Mapping[str, str]) -> None:
        parse_forecast(body, place, now)

    found = fetcher.get(request_url(place), now=now, check=check)
    return parse_forecast(found.body, place, now), found


def parse_forecast(body: bytes, place: Place, known_at: datetime) -> Forecast:
    """Return the hourly forecast of an answer.

    Parameters
    ----------
    body
        The answer, compact or complete.
    place
        Of the farm; the sun is computed for it.
    known_at
        When the answer came.

    Raises
    ------
    WeatherFetchError
        If the answer is not what it should be; one line that says in what.
    """
    document = json_object(body, NAME)
    entries = _entries(document, place)
    issued_at = moment_of(
        part_of(document, NAME, "properties", "meta", "updated_at"), NAME, "meta.updated_at"
    )
    at = [hour for hour, _ in entries]
    blocks = _blocks(entries)
    last = max([at[-1], *(first + count for first, count, _ in blocks)])
    hours = hours_between(at[0], last, NAME)
    cloud = means_of_instants(at, _instants(entries, "cloud_area_fraction"), hours) / 100.0
    values = {
        "rain_mm": _rain(blocks, hours, _RAIN),
        "air_temp_c": means_of_instants(at, _instants(entries, "air_temperature"), hours),
        "humidity_frac": means_of_instants(at, _instants(entries, "relative_humidity"), hours)
        / 100.0,
        "wind_2m_m_s": wind_2m(means_of_instants(at, _instants(entries, "wind_speed"), hours)),
        "solar_mj_m2": sun_under_cloud_mj_m2(cloud, hours, place),
    }
    for name, told in zip(RAIN_RANGE, (_LEAST, _MOST), strict=True):
        end_mm = _rain(blocks, hours, told)
        if np.isfinite(end_mm).any():
            values[name] = end_mm
    return forecast_of(NAME, issued_at, known_at, hours, values, _note(blocks))


# ------------------------------------------------------------------ the answer

_Entry = tuple[int, Mapping[str, Any]]
_Block = tuple[int, int, Mapping[str, Any]]  # first hour, number of hours, details


def _entries(document: Mapping[str, Any], place: Place) -> list[_Entry]:
    """The steps of an answer, each with its hour since 1970 and its data; checked."""
    where = part_of(document, NAME, "geometry", "coordinates")
    if not isinstance(where, list) or len(where) < 2:
        raise WeatherFetchError(f"{NAME}: geometry.coordinates is {where!r}; expected a place")
    require_near(where[1], where[0], place, NAME)
    units = part_of(document, NAME, "properties", "meta", "units")
    for name, unit in _UNITS.items():
        found = units.get(name) if isinstance(units, dict) else None
        if found != unit:
            raise WeatherFetchError(f"{NAME}: {name} is in {found!r}; expected {unit!r}")
    steps = part_of(document, NAME, "properties", "timeseries")
    if not isinstance(steps, list) or len(steps) < 2:
        raise WeatherFetchError(f"{NAME}: properties.timeseries has no steps; expected dozens")
    entries: list[_Entry] = []
    for step in steps:
        hour = full_hour(moment_of(part_of(step, NAME, "time"), NAME, "time"), NAME)
        if entries and hour <= entries[-1][0]:
            raise WeatherFetchError(f"{NAME}: the step {step['time']} does not follow in time")
        if not isinstance(part_of(step, NAME, "data", "instant", "details"), dict):
            raise WeatherFetchError(f"{NAME}: the step {step['time']} has no table of details")
        entries.append((hour, step["data"]))
    return entries


def _instants(entries: Sequence[_Entry], name: str) -> list[float]:
    """One quantity at each step, NaN where a step does not tell it."""
    return [
        number_or_nan(part_of(data, NAME, "instant", "details").get(name), NAME, name)
        for _, data in entries
    ]


def _blocks(entries: Sequence[_Entry]) -> list[_Block]:
    """The stretches of rain that tile the steps: each as long as its step, never two over an hour.

    A step without a block of its length takes the longest one that fits; the last step, which has
    no end, the longest that it gives.
    """
    blocks: list[_Block] = []
    for number, (hour, data) in enumerate(entries):
        is_last = number + 1 == len(entries)
        step_hours = max(_BLOCK_HOURS) if is_last else entries[number + 1][0] - hour
        for count in sorted(_BLOCK_HOURS, reverse=True):
            details = _details(data, count)
            if count <= step_hours and details.get(_RAIN) is not None:
                blocks.append((hour, count, details))
                break
    return blocks


def _details(data: Mapping[str, Any], n_hours: int) -> Mapping[str, Any]:
    """What a step says of the hours that follow it; empty where it says nothing."""
    following = data.get(f"next_{n_hours}_hours")
    details = following.get("details") if isinstance(following, dict) else None
    return details if isinstance(details, dict) else {}


def _rain(blocks: Sequence[_Block], hours: Hours, told: str) -> FloatArray:
    """Rain of each hour [mm], or an end of its range; what no block covers stays unknown."""
    rain_mm = hours.empty()
    for first, count, details in blocks:
        span = slice(first - hours.first, first - hours.first + count)
        rain_mm[span] = number_or_nan(details.get(told), NAME, told) / count
    return rain_mm


def _note(blocks: Sequence[_Block]) -> str:
    """The service's own range of the rain, where it gives one."""
    ranged = [
        (count, *(number_or_nan(details.get(name), NAME, name) for name in (_LEAST, _RAIN, _MOST)))
        for _, count, details in blocks
    ]
    ranged = [each for each in ranged if not any(math.isnan(amount) for amount in each[1:])]
    if not ranged:
        return ""
    n_hours, least_mm, rain_mm, most_mm = np.array(ranged, dtype=np.float64).sum(axis=0)
    return (
        f"rain {rain_mm:.1f} mm, by the service's range {least_mm:.1f} to {most_mm:.1f} mm, "
        f"in the {n_hours:.0f} hours that have one"
    )
