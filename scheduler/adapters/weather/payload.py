"""What the forecast services have in common: JSON read with its faults told, and hours made of it.

An hour of `Forecast` is a mean (rain and sun: a sum) over the hour; services give instants, blocks
of hours, or the hour that has passed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from scheduler.adapters.weather.http import Fetcher
from scheduler.errors import WeatherFetchError
from scheduler.models.air import wind_at_2m_m_s
from scheduler.models.sun import clear_sky_mj_m2, extraterrestrial_hourly_mj_m2
from scheduler.records import RAIN_RANGE, FloatArray, Forecast, Place

HOUR_S = 3600
WIND_HEIGHT_M = 10.0
LONGEST_STEP_HOURS = 6  # instants further apart say nothing of the hours between
MOST_SKEW = timedelta(hours=1)  # of the clock here against the service's
FURTHEST_DEG = 0.5
LEAST_HOURS_AHEAD = 6
LONGEST_FORECAST_HOURS = 24 * 40

_ALLOWED = {
    "rain_mm": (0.0, 200.0, "mm in an hour"),
    "air_temp_c": (-70.0, 60.0, "C"),
    "humidity_frac": (0.0, 1.1, "as a fraction"),
    "wind_2m_m_s": (0.0, 60.0, "m/s"),
    "solar_mj_m2": (0.0, 5.5, "MJ/m2 in an hour"),
    **dict.fromkeys(RAIN_RANGE, (0.0, 400.0, "mm in an hour")),
}
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Hours:
    """A row of full hours [h since 1970], the frame that values are written into."""

    first: int
    count: int

    @property
    def start_at(self) -> datetime:
        """The start of the first hour."""
        return _EPOCH + timedelta(hours=self.first)

    def empty(self) -> FloatArray:
        """One value an hour, none known."""
        return np.full(self.count, np.nan)


# ------------------------------------------------------------------ reading


def require_contact(fetcher: Fetcher, who: str) -> None:
    """Refuse to ask a service that wants to know whom to write to, before anything is asked.

    Raises
    ------
    WeatherFetchError
        If the fetcher names no contact.
    """
    if len(fetcher.user_agent.split()) < 2:
        raise WeatherFetchError(
            f"{who}: wants to know whom to write to, so nothing was asked; set "
            'contact = "your mail address" in [weather] of farm.toml'
        )


def json_object(body: bytes, who: str) -> dict[str, Any]:
    """Return the JSON object of an answer.

    Raises
    ------
    WeatherFetchError
        If the body is no JSON, or no object.
    """
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        begins = " ".join(body[:40].decode("utf-8", "replace").split())
        raise WeatherFetchError(
            f"{who}: the answer is no JSON, it begins {begins!r}; is there a page to sign in to?"
        ) from None
    if not isinstance(found, dict):
        raise WeatherFetchError(
            f"{who}: the answer is no JSON object; expected one with a forecast"
        )
    return found


def part_of(node: Any, who: str, *path: str) -> Any:
    """Return what stands at a path of keys.

    Raises
    ------
    WeatherFetchError
        If a key is missing; the path is told.
    """
    for depth, key in enumerate(path):
        if not isinstance(node, dict) or key not in node:
            raise WeatherFetchError(
                f"{who}: the answer has no {'.'.join(path[: depth + 1])}; its format may have "
                "changed, or it is an answer to something else"
            )
        node = node[key]
    return node


def number_or_nan(value: Any, who: str, name: str) -> float:
    """Return a number; NaN where the service says null.

    Raises
    ------
    WeatherFetchError
        If it is neither.
    """
    if value is None:
        return math.nan
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise WeatherFetchError(f"{who}: {name} is {value!r}; expected a number or null")
    return float(value)


def moment_of(text: Any, who: str, name: str) -> datetime:
    """Return a moment in UTC from ISO 8601 text with offset.

    Raises
    ------
    WeatherFetchError
        If it is none.
    """
    try:
        moment = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        moment = None
    if moment is None or moment.tzinfo is None:
        raise WeatherFetchError(f"{who}: {name} is {text!r}; expected a moment with offset")
    return moment.astimezone(UTC)


def full_hour(moment: datetime, who: str) -> int:
    """Return the hours since 1970 of a moment on the full hour.

    Raises
    ------
    WeatherFetchError
        If it lies within an hour.
    """
    seconds = round((moment - _EPOCH) / timedelta(seconds=1))
    if seconds % HOUR_S:
        raise WeatherFetchError(f"{who}: a step begins {moment.isoformat()}; expected full hours")
    return seconds // HOUR_S


def hours_between(first: int, last: int, who: str) -> Hours:
    """Return the hours [first, last).

    Raises
    ------
    WeatherFetchError
        If there are none, or more than any forecast has.
    """
    if not 0 < last - first <= LONGEST_FORECAST_HOURS:
        raise WeatherFetchError(
            f"{who}: the forecast spans {last - first} hours; expected 1 to "
            f"{LONGEST_FORECAST_HOURS}"
        )
    return Hours(first, last - first)


def require_near(latitude_deg: Any, longitude_deg: Any, place: Place, who: str) -> None:
    """Refuse an answer for another place.

    Raises
    ------
    WeatherFetchError
        If the coordinates are further than half a degree from the farm's.
    """
    north = number_or_nan(latitude_deg, who, "latitude")
    east = number_or_nan(longitude_deg, who, "longitude")
    off_east = abs((east - place.longitude_deg + 180.0) % 360.0 - 180.0)
    shrink = max(math.cos(math.radians(place.latitude_deg)), 0.05)
    if not (abs(north - place.latitude_deg) <= FURTHEST_DEG and off_east * shrink <= FURTHEST_DEG):
        raise WeatherFetchError(
            f"{who}: the answer is for {north:.2f}, {east:.2f}, not for the farm's place"
        )


# ------------------------------------------------------------------ hours


def means_of_instants(at_hours: Sequence[int], values: Sequence[float], hours: Hours) -> FloatArray:
    """Means over full hours of a quantity given at instants, straight lines between them.

    Parameters
    ----------
    at_hours
        Hours since 1970 of each instant [h], rising.
    values
        The quantity at each; NaN where the service is silent.
    hours
        The hours wanted.

    Returns
    -------
    ndarray
        One mean an hour; NaN outside the instants and between those more than six hours apart.

    Examples
    --------
    >>> means_of_instants([0, 1, 3], [10.0, 12.0, 8.0], Hours(0, 4)).tolist()
    [11.0, 11.0, 9.0, nan]
    """
    at = np.asarray(at_hours, dtype=np.float64)
    level = np.asarray(values, dtype=np.float64)
    at, level = at[np.isfinite(level)], level[np.isfinite(level)]
    result = hours.empty()
    if at.size < 2:
        return result
    middle = hours.first + np.arange(hours.count) + 0.5
    after = np.clip(np.searchsorted(at, middle), 1, at.size - 1)
    is_known = (middle > at[0]) & (middle < at[-1])
    is_known &= at[after] - at[after - 1] <= LONGEST_STEP_HOURS
    result[is_known] = np.interp(middle[is_known], at, level)
    return result


def sun_under_cloud_mj_m2(cloud_frac: FloatArray, hours: Hours, place: Place) -> FloatArray:
    """Solar radiation of each hour under a share of cloud [MJ/m2].

    Rs = Rso (1 - 0.75 n^3.4): the clear sky of FAO-56 equation 37, dimmed as by Kasten and Czeplak
    (1980, Solar Energy 24, 177-189; from memory). Thin high cloud dims less than this says.

    Examples
    --------
    >>> noon = Hours(24 * 170 + 12, 1)
    >>> equator = Place(0.0, 0.0, 0.0, "UTC")
    >>> under = sun_under_cloud_mj_m2(np.array([1.0]), noon, equator)
    >>> clear = sun_under_cloud_mj_m2(np.array([0.0]), noon, equator)
    >>> round(float((under / clear)[0]), 4)
    0.25
    """
    at = hours.first + np.arange(hours.count)
    above = extraterrestrial_hourly_mj_m2(at, place.latitude_deg, place.longitude_deg)
    dimmed = 1.0 - 0.75 * np.clip(cloud_frac, 0.0, 1.0) ** 3.4
    return np.asarray(clear_sky_mj_m2(above, place.elevation_m) * dimmed)


def wind_2m(wind_10m_m_s: FloatArray) -> FloatArray:
    """Wind at 2 m of wind at 10 m [m/s]."""
    return wind_at_2m_m_s(wind_10m_m_s, WIND_HEIGHT_M)


def forecast_of(
    who: str,
    issued_at: datetime,
    known_at: datetime,
    hours: Hours,
    values: Mapping[str, FloatArray],
    note: str = "",
) -> Forecast:
    """Return a forecast whose values can be, issued not after it was known.

    A clock here that is up to an hour behind the service's is forgiven: the forecast then counts as
    issued when it became known.

    Raises
    ------
    WeatherFetchError
        If a value cannot be, the issue lies further ahead of `known_at`, or it says neither rain
        nor temperature of the next six hours and more.
    """
    if issued_at > known_at + MOST_SKEW:
        raise WeatherFetchError(
            f"{who}: says it was issued {issued_at:%Y-%m-%d %H:%M} UTC, but it is "
            f"{known_at:%Y-%m-%d %H:%M} UTC here; set the clock of this computer"
        )
    for name, row in values.items():
        low, high, unit = _ALLOWED[name]
        is_wrong = np.isfinite(row) & ((row < low) | (row > high))
        if is_wrong.any():
            raise WeatherFetchError(
                f"{who}: {name} is {float(row[is_wrong][0]):g}; allowed: {low:g} to {high:g} {unit}"
            )
    n_past = max(0, math.ceil((known_at - hours.start_at) / timedelta(hours=1)))
    n_ahead = [
        int(np.count_nonzero(np.isfinite(values[name][n_past:])))
        for name in ("rain_mm", "air_temp_c")
    ]
    if max(n_ahead) < LEAST_HOURS_AHEAD:
        raise WeatherFetchError(
            f"{who}: the forecast knows {max(n_ahead)} hours after now, issued "
            f"{issued_at:%Y-%m-%d %H:%M} UTC; expected {LEAST_HOURS_AHEAD} or more"
        )
    values = {**values, "humidity_frac": np.minimum(values["humidity_frac"], 1.0)}
    return Forecast(
        source=who,
        issued_at=min(issued_at, known_at),
        known_at=known_at,
        start_at=hours.start_at,
        values=values,
        note=" ".join(note.split()),
    )
