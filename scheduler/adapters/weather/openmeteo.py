"""Forecasts of Open-Meteo, only where the grower asked for them: its free use is not for business.

Rain and sun of a stamp belong to the hour before it, the rest are instants. The service does not
say when its models ran; a forecast counts as issued when it was asked for, so it may be some hours
older than told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from scheduler.adapters.weather.http import Fetched, Fetcher
from scheduler.adapters.weather.payload import (
    forecast_of,
    full_hour,
    hours_between,
    json_object,
    means_of_instants,
    moment_of,
    number_or_nan,
    part_of,
    require_near,
    wind_2m,
)
from scheduler.errors import WeatherFetchError
from scheduler.records import Forecast, Place

NAME = "Open-Meteo"
ENDPOINT = "https://api.open-meteo.com/v1/forecast"
CONDITION = (
    "Open-Meteo's free service is for non-commercial use alone; a farm that sells is commercial "
    "and needs a paid plan of its own"
)
FORECAST_DAYS = 10

_Convert = Callable[[float], float]
_UNITS: Mapping[str, Mapping[str, _Convert]] = {
    "precipitation": {"mm": lambda value: value, "inch": lambda value: value * 25.4},
    "temperature_2m": {"°C": lambda value: value, "°F": lambda value: (value - 32.0) / 1.8},
    "relative_humidity_2m": {"%": lambda value: value / 100.0},
    "wind_speed_10m": {
        "m/s": lambda value: value,
        "km/h": lambda value: value / 3.6,
        "mp/h": lambda value: value * 0.44704,
        "kn": lambda value: value * 1852.0 / 3600.0,
    },
    "shortwave_radiation": {"W/m²": lambda value: value * 0.0036},
}


def request_url(place: Place) -> str:
    """Return the address of the forecast of a place, rounded to about a kilometre.

    Examples
    --------
    >>> request_url(Place(-33.8688, 151.2093, 3.0, "Australia/Sydney")).split("&hourly")[0]
    'https://api.open-meteo.com/v1/forecast?latitude=-33.87&longitude=151.21&elevation=3'
    """
    latitude = round(place.latitude_deg, 2) + 0.0
    longitude = round(place.longitude_deg, 2) + 0.0
    return (
        f"{ENDPOINT}?latitude={latitude:.2f}&longitude={longitude:.2f}"
        f"&elevation={round(place.elevation_m)}&hourly={','.join(_UNITS)}"
        f"&wind_speed_unit=ms&timeformat=unixtime&timezone=GMT&forecast_days={FORECAST_DAYS}"
    )


def fetch_forecast(place: Place, fetcher: Fetcher, now: datetime) -> tuple[Forecast, Fetched]:
    """Ask for the forecast of a place; also how the answer came.

    Raises
    ------
    WeatherFetchError
        If nothing can be had, or the answer is wrong.
    """

    def check(body: bytes, headers: Mapping[str, str]) -> None:
        parse_forecast(body, place, now, now)

    found = fetcher.get(request_url(place), now=now, check=check)
    return parse_forecast(found.body, place, now, found.confirmed_at), found


def parse_forecast(
    body: bytes, place: Place, known_at: datetime, asked_at: datetime | None = None
) -> Forecast:
    """Return the hourly forecast of an answer.

    Parameters
    ----------
    body
        The answer; its times in seconds since 1970, or as text at a fixed offset from UTC.
    place
        Of the farm.
    known_at
        When the answer came.
    asked_at
        When the service gave it; None: when it came.

    Raises
    ------
    WeatherFetchError
        If the answer is not what it should be; the service's own reason is told.
    """
    document = json_object(body, NAME)
    if document.get("error"):
        reason = " ".join(str(document.get("reason", "none given")).split())[:200]
        raise WeatherFetchError(f"{NAME}: refused the question: {reason}")
    require_near(
        part_of(document, NAME, "latitude"), part_of(document, NAME, "longitude"), place, NAME
    )
    at = _stamps(document)
    rows = {name: _row(document, name, len(at)) for name in _UNITS}
    hours = hours_between(at[0], at[-1], NAME)
    values = {
        "air_temp_c": means_of_instants(at, rows["temperature_2m"], hours),
        "humidity_frac": means_of_instants(at, rows["relative_humidity_2m"], hours),
        "wind_2m_m_s": wind_2m(means_of_instants(at, rows["wind_speed_10m"], hours)),
        "rain_mm": np.array(rows["precipitation"][1:]),  # a stamp closes its hour
        "solar_mj_m2": np.array(rows["shortwave_radiation"][1:]),
    }
    return forecast_of(NAME, asked_at or known_at, known_at, hours, values)


def _stamps(document: Mapping[str, Any]) -> list[int]:
    """The hours since 1970 of the stamps, one an hour."""
    stamps = part_of(document, NAME, "hourly", "time")
    if not isinstance(stamps, list) or len(stamps) < 2:
        raise WeatherFetchError(f"{NAME}: hourly.time has no stamps; expected one an hour")
    offset_s = number_or_nan(document.get("utc_offset_seconds", 0), NAME, "utc_offset_seconds")
    at: list[int] = []
    for stamp in stamps:
        if isinstance(stamp, int) and not isinstance(stamp, bool):
            if not 0 <= stamp < 2**33:
                raise WeatherFetchError(f"{NAME}: a stamp is {stamp}; expected seconds since 1970")
            moment = datetime.fromtimestamp(stamp, UTC)
        else:
            moment = moment_of(f"{stamp}+00:00", NAME, "hourly.time") - timedelta(seconds=offset_s)
        hour = full_hour(moment, NAME)
        if at and hour != at[-1] + 1:
            raise WeatherFetchError(
                f"{NAME}: the stamp {stamp!r} does not follow by an hour; were local times given "
                "over a change of the clock?"
            )
        at.append(hour)
    return at


def _row(document: Mapping[str, Any], name: str, n_stamps: int) -> list[float]:
    """One quantity at each stamp in SI, NaN where the service says null."""
    unit = part_of(document, NAME, "hourly_units", name)
    if unit not in _UNITS[name]:
        raise WeatherFetchError(
            f"{NAME}: {name} is in {unit!r}; expected {' or '.join(_UNITS[name])}"
        )
    row = part_of(document, NAME, "hourly", name)
    if not isinstance(row, list) or len(row) != n_stamps:
        raise WeatherFetchError(f"{NAME}: hourly.{name} has not one value a stamp")
    convert = _UNITS[name][unit]
    return [convert(number_or_nan(value, NAME, name)) for value in row]
