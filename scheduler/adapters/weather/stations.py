"""Observations of weather stations: Meteostat's archive, kept in a mirror and read from there.

The files are fetched by our own means (`http`, `mirror`); meteostat only reads them, so that a
fault of the network neither empties a file nor looks like a dry month.

Hours
    The archive's stamps are UTC and end their hour: 13:00 stands for [12:00, 13:00). Hours that end
    after `now` are the archive's forecast and are left out.
Kinds
    Each value names who it comes from. Where one of them is a forecast, or nobody this program
    knows, the value is of kind MODEL.
Stations
    Rain comes from one station, never from between stations, and is not called measured from beyond
    30 km. Wind and sunshine come from one station each. Temperature and humidity are averaged over
    the stations by inverse squared distance, temperature first brought to the farm's height; what
    cannot be right at one station is marked and takes no part. Nothing is dropped unsaid.
"""

from __future__ import annotations

import logging
import math
import re
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from scheduler.adapters.weather.http import Fetcher
from scheduler.adapters.weather.mirror import age_of, csv_check, refresh, stations_check
from scheduler.adapters.weather.quality import checked_weather
from scheduler.errors import WeatherFileError
from scheduler.models.air import wind_at_2m_m_s
from scheduler.models.sun import (
    daylight_h,
    extraterrestrial_hourly_mj_m2,
    solar_day_of_year,
    solar_from_sunshine_mj_m2,
)
from scheduler.records import BoolArray, FloatArray, Kind, Place, WeatherValue

ARCHIVE_URL = "https://data.meteostat.net"
STATIONS_FILE = "stations.db"
SEARCH_KM, MOST_STATIONS = 50.0, 4
FAR_RAIN_KM, NOT_MEASURED_KM = 10.0, 30.0
FAR_HEIGHT_M = 150.0  # from here on a station's height is told: about 1 K, and other rain on slopes
LEAST_KM = 1.0  # nearer stations weigh no more than this
LAPSE_K_PER_KM = 6.5
EARTH_RADIUS_KM = 6371.0
COVERED_FRAC = 0.5  # a station that reports fewer hours leaves rain, wind or sun to the next one
PAST_DAYS, REREAD_DAYS = 90, 10
YEARS_BACK_DAYS, YEARS_AHEAD_DAYS = 10, 45  # of the same date in past years
SETTLED_AGE = timedelta(days=30)  # how long a file of years ago is believed
WIND_HEIGHT_M = 10.0
KM_H_PER_M_S = 3.6
DARK_MJ_M2 = 0.2
LICENCE = "CC BY 4.0, https://creativecommons.org/licenses/by/4.0/"
CHANGES = "units changed, temperature and humidity averaged"

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_HOUR = timedelta(hours=1)
_STATION_ID = re.compile(r"[A-Za-z0-9]{1,16}\Z")
_COLUMNS = {
    "rain_mm": ("prcp", 1.0),
    "air_temp_c": ("temp", 1.0),
    "humidity_frac": ("rhum", 0.01),
    "wind_2m_m_s": ("wspd", 1.0 / KM_H_PER_M_S),
    "sunshine_min": ("tsun", 1.0),
}


@dataclass(frozen=True)
class Station:
    """One station: where it is and how far from the farm; heights None where not known."""

    id: str
    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None
    distance_km: float
    height_difference_m: float | None  # station above farm

    @property
    def words(self) -> str:
        """Name, number and distance, as told to the grower."""
        return f"{self.name} ({self.id}), {self.distance_km:.0f} km"

    @property
    def label(self) -> str:
        """The name its values are kept under: the words, and its height where that is far off."""
        height_m = self.height_difference_m or 0.0
        if abs(height_m) < FAR_HEIGHT_M:
            return self.words
        return f"{self.words}, {abs(height_m):.0f} m {'higher' if height_m > 0.0 else 'lower'}"


@dataclass(frozen=True)
class Observations:
    """Weather of the stations around the farm, what is to be told, and whom to credit."""

    values: tuple[WeatherValue, ...]
    notes: tuple[str, ...]
    attribution: str


@dataclass
class _Hours:
    """Hours of one station on a grid: values with NaN where missing, and which are model."""

    station: Station
    values: dict[str, FloatArray]
    is_model: dict[str, BoolArray]

    def covered_frac(self, variable: str) -> float:
        """Share of the hours with an observed value."""
        seen = ~np.isnan(self.values[variable]) & ~self.is_model[variable]
        return float(seen.mean()) if seen.size else 0.0

    def has(self, variable: str) -> bool:
        """Whether there is any value."""
        return bool((~np.isnan(self.values[variable])).any())


@dataclass
class _Told:
    """What comes up while files are read."""

    notes: list[str] = field(default_factory=list)
    providers: set[str] = field(default_factory=set)

    def note(self, text: str) -> None:
        """Add a note once."""
        if text not in self.notes:
            self.notes.append(text)


# ------------------------------------------------------------ which stations


def nearest_stations(
    place: Place,
    database: Path,
    *,
    within_km: float = SEARCH_KM,
    most: int = MOST_STATIONS,
    active_since: date | None = None,
) -> tuple[Station, ...]:
    """The stations nearest to a place, nearest first.

    Parameters
    ----------
    place
        The farm.
    database
        The archive's list of stations, or the mirror folder that holds it.
    within_km, most
        How far to look [km] and how many to name.
    active_since
        Leave out stations whose record is said to end before this day.

    Raises
    ------
    WeatherFileError
        If the list cannot be read.
    """
    path = Path(database)
    path = path / STATIONS_FILE if path.is_dir() else path
    if not path.is_file():
        raise WeatherFileError(f"{path}: no such file; run `whitethread weather update`")
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
        try:
            rows = connection.execute(_NEAR_SQL, (place.latitude_deg, within_km / 110.0)).fetchall()
            ends = _record_ends(connection) if active_since is not None else {}
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise WeatherFileError(
            f"{path}: cannot be read as a list of stations ({error}); delete it and run "
            "`whitethread weather update`"
        ) from error
    found = [
        _station(place, *row)
        for row in rows
        if _STATION_ID.match(str(row[0]))
        and (active_since is None or ends.get(row[0], "9999") >= active_since.isoformat())
    ]
    near = [station for station in found if station.distance_km <= within_km]
    return tuple(sorted(near, key=lambda station: (station.distance_km, station.id))[:most])


_NEAR_SQL = """
SELECT id, coalesce(max(CASE language WHEN 'en' THEN name END), max(name), id),
       latitude, longitude, elevation
FROM stations LEFT JOIN names ON names.station = stations.id
WHERE latitude IS NOT NULL AND longitude IS NOT NULL AND abs(latitude - ?) <= ?
GROUP BY id
"""


def _record_ends(connection: sqlite3.Connection) -> dict[str, str]:
    """The last day of each station's record, as far as the list says."""
    try:
        rows = connection.execute('SELECT station, max("end") FROM inventory GROUP BY station')
        return {str(station): str(end)[:10] for station, end in rows if end is not None}
    except sqlite3.Error:
        return {}


def _station(
    place: Place,
    station_id: str,
    name: str,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float | None,
) -> Station:
    """A station with its distance and height above the farm."""
    height_m = None if elevation_m is None else float(elevation_m)
    return Station(
        str(station_id),
        str(name),
        float(latitude_deg),
        float(longitude_deg),
        height_m,
        distance_km(place, float(latitude_deg), float(longitude_deg)),
        None if height_m is None else height_m - place.elevation_m,
    )


def distance_km(place: Place, latitude_deg: float, longitude_deg: float) -> float:
    """Great-circle distance from a place to a point [km], by the haversine formula."""
    here, there = math.radians(place.latitude_deg), math.radians(latitude_deg)
    east = math.radians(longitude_deg - place.longitude_deg)
    half = (
        math.sin((there - here) / 2.0) ** 2
        + math.cos(here) * math.cos(there) * math.sin(east / 2.0) ** 2
    )
    return 2.0 * EARTH_RADIUS_KM * math.asin(math.sqrt(min(half, 1.0)))


def fetch_stations(
    place: Place,
    fetcher: Fetcher,
    mirror_folder: Path,
    now: datetime,
    *,
    archive_url: str = ARCHIVE_URL,
) -> tuple[tuple[Station, ...], tuple[str, ...]]:
    """The nearest stations by the archive's newest list, and what is to be told.

    Raises
    ------
    WeatherFileError
        If no list can be had and none is held.
    """
    path = Path(mirror_folder) / STATIONS_FILE
    url = f"{archive_url}/{STATIONS_FILE}"
    done = refresh(url, path, fetcher, now, stations_check(path))
    if done.age is None:
        raise WeatherFileError(
            f"{done.note}; without the list of stations the farm works with its own gauge alone"
        )
    stations = nearest_stations(place, path, active_since=(now - timedelta(days=365)).date())
    notes = [] if not done.note else [f"{done.note}; the list of {_age_text(done.age)} is used"]
    if not stations:
        notes.append(f"no weather station within {SEARCH_KM:.0f} km; log rain from your own gauge")
    else:
        notes.extend(_distance_notes(stations[0]))
    return stations, tuple(notes)


def _distance_notes(station: Station) -> list[str]:
    """What the distance and the height of the rain station mean."""
    notes = []
    if station.distance_km > NOT_MEASURED_KM:
        notes.append(
            f"rain is not measured here: the station is {station.words} away; log rain from your "
            "own gauge"
        )
    elif station.distance_km > FAR_RAIN_KM:
        notes.append(f"rain is from {station.words} away: showers may differ")
    height_m = station.height_difference_m or 0.0
    if abs(height_m) >= FAR_HEIGHT_M:
        side = "above" if height_m > 0.0 else "below"
        notes.append(
            f"{station.words}, lies {abs(height_m):.0f} m {side} your farm: its rain may differ; "
            "temperature is brought to your height"
        )
    return notes


# ------------------------------------------------------------- what they saw


def observations(
    station: Station, years: Sequence[int], mirror_folder: Path, known_at: datetime
) -> list[WeatherValue]:
    """What one station's files of the mirror say of the hours of some years, ended by `known_at`.

    Rain from beyond 30 km is of kind MODEL. A year without a file has no values.

    Raises
    ------
    WeatherFileError
        If a file is there and nothing can be read from it.
    """
    values: list[WeatherValue] = []
    for year in sorted(set(years)):
        first = _hour_of(datetime(year, 1, 1, tzinfo=UTC))
        last = min(_hour_of(datetime(year + 1, 1, 1, tzinfo=UTC)), _hour_of(known_at))
        if last > first:
            hours = _read_hours(station, first, last, Path(mirror_folder), _Told())
            values.extend(_combined((hours,), first, None, known_at))
    return values


def fetch_observations(
    place: Place,
    stations: Sequence[Station],
    fetcher: Fetcher,
    mirror_folder: Path,
    now: datetime,
    *,
    since: datetime | None = None,
    past_years: int = 0,
    archive_url: str = ARCHIVE_URL,
) -> Observations:
    """The weather around the farm up to `now`, from files brought up to date first.

    Parameters
    ----------
    place
        The farm.
    stations
        The stations to use, nearest first.
    fetcher, mirror_folder
        How files are fetched and where they are kept.
    now
        The moment of asking, aware.
    since
        The end of what is stored already: hours from ten days before it are read again, for the
        archive revises them. Without it the last 90 days are read.
    past_years
        In how many years before, from ten days before today's date to 45 days after it.
    archive_url
        Where the archive is.
    """
    folder, told = Path(mirror_folder), _Told()
    stations = sorted(stations, key=lambda station: station.distance_km)
    last = _hour_of(now)
    first = last - 24 * PAST_DAYS
    if since is not None:
        first = max(first, min(_hour_of(since), last) - 24 * REREAD_DAYS)
    spans = [(first, last)]
    for n_back in range(1, past_years + 1):
        same = _hour_of(_years_before(now, n_back))
        spans.append((same - 24 * YEARS_BACK_DAYS, same + 24 * YEARS_AHEAD_DAYS))
    years = sorted({year for span in spans for year in _years_of(*span)}, reverse=True)
    for station in stations:
        _refresh_years(station, years, fetcher, folder, now, archive_url, told)

    values: list[WeatherValue] = []
    for number, (begin, end) in enumerate(spans):
        hours = _hours_of_all(stations, begin, end, folder, told)
        values.extend(_combined(hours, begin, place, now, told if number == 0 else None))
    return Observations(tuple(values), tuple(told.notes), _attribution(told.providers))


def _hours_of_all(
    stations: Sequence[Station], first: int, last: int, folder: Path, told: _Told
) -> tuple[_Hours, ...]:
    """The hours of every station whose files can be read; the others are named."""
    found: list[_Hours] = []
    for station in stations:
        try:
            found.append(_read_hours(station, first, last, folder, told))
        except WeatherFileError as error:
            told.note(str(error))
    return tuple(found)


def _refresh_years(
    station: Station,
    years: Sequence[int],
    fetcher: Fetcher,
    folder: Path,
    now: datetime,
    archive_url: str,
    told: _Told,
) -> None:
    """Bring a station's files up to date; files of years ago are asked for once a month."""
    absent: list[int] = []
    for year in years:
        path = _path(folder, year, station)
        age = age_of(path, now)
        if age is not None and age < SETTLED_AGE and year < now.year - 1:
            continue
        url = f"{archive_url}/hourly/{year}/{station.id}.csv.gz"
        done = refresh(url, path, fetcher, now, csv_check(path, has_hours=True, now=now))
        if done.age is None and done.is_absent:
            absent.append(year)
        elif done.note:
            kept = "" if done.age is None else f"; the copy of {_age_text(done.age)} is used"
            told.note(f"{done.note}{kept}")
    if absent:
        named = ", ".join(str(year) for year in sorted(absent))
        told.note(f"the archive has no hours of {station.words} for {named}")


def _read_hours(station: Station, first: int, last: int, folder: Path, told: _Told) -> _Hours:
    """A station's hours [first, last), from the files held."""
    n_hours = last - first
    hours = _Hours(
        station,
        {variable: np.full(n_hours, np.nan) for variable in _COLUMNS},
        {variable: np.zeros(n_hours, np.bool_) for variable in _COLUMNS},
    )
    for year in _years_of(first, last):
        frame = _frame(station, year, folder)
        if frame is not None:
            _put(hours, frame, first, told)
    return hours


def _frame(station: Station, year: int, folder: Path) -> Any:
    """A station's file of one year as meteostat reads it, one row an hour and source, or None."""
    path = _path(folder, year, station)
    if not path.is_file():
        return None
    import meteostat
    from meteostat.providers.meteostat import hourly as reader

    logging.getLogger("meteostat").setLevel(logging.CRITICAL)  # a None below says it all
    meteostat.config.cache_enable = False
    meteostat.config.include_model_data = True
    reader.ENDPOINT = (
        f"{str(folder).replace('{', '{{').replace('}', '}}')}/hourly/{{year}}/{{station}}.csv.gz"
    )
    parameter = meteostat.Parameter
    series = meteostat.hourly(
        meteostat.Station(id=station.id),
        datetime(year, 1, 1),
        datetime(year, 12, 31, 23, 59, 59),
        parameters=[parameter.TEMP, parameter.RHUM, parameter.PRCP, parameter.WSPD, parameter.TSUN],
    )
    frame = series.fetch(squash=False, clean=False)  # what it would drop unsaid is marked here
    if frame is None:
        raise WeatherFileError(
            f"{path}: no hours can be read from it; delete it and run `whitethread weather update`"
        )
    return frame


def _put(hours: _Hours, frame: Any, first: int, told: _Told) -> None:
    """Put a file's rows on the grid; where two speak of an hour the observed one counts."""
    sources = frame.index.get_level_values("source")
    graded = {source: _is_model(source, told) for source in set(sources)}
    row_is_model = np.array([graded[source] for source in sources], dtype=np.bool_)
    stamps = frame.index.get_level_values("time").to_numpy().astype("datetime64[h]")
    at = stamps.astype(np.int64) - 1 - first  # stamps end their hour
    for variable, (column, factor) in _COLUMNS.items():
        if column not in frame:
            continue
        found = frame[column].astype("float64").to_numpy() * factor
        is_put = ~np.isnan(found) & (at >= 0) & (at < hours.values[variable].size)
        if variable == "wind_2m_m_s":
            found = wind_at_2m_m_s(found, WIND_HEIGHT_M)
        for is_model in (True, False):
            rows = is_put & (row_is_model == is_model)
            hours.values[variable][at[rows]] = found[rows]
            hours.is_model[variable][at[rows]] = is_model
        told.providers |= {one for source in set(sources[is_put]) for one in str(source).split()}


def _is_model(source: object, told: _Told) -> bool:
    """Whether a source string names anything but stations that this program knows."""
    from meteostat.core.providers import provider_service
    from meteostat.enumerations import Grade

    if not isinstance(source, str) or not source.strip():
        told.note("values without a source are counted as model")
        return True
    is_model = False
    for one in source.split():
        provider = provider_service.get_provider(one)
        if provider is None:
            told.note(f"values of the unknown source '{one}' are counted as model")
        is_model |= provider is None or provider.grade not in (Grade.RECORD, Grade.OBSERVATION)
    return is_model


def _attribution(providers: set[str]) -> str:
    """The line of credit that the archive's licence asks for."""
    if not providers:
        return ""
    from meteostat.core.providers import provider_service

    credits_due = {
        one: None if provider is None or provider.license is None else provider.license.attribution
        for one in providers
        for provider in (provider_service.get_provider(one),)
    }
    names = sorted({name for name in credits_due.values() if name})
    if not names:
        credit = "Meteostat and its data providers"
    else:
        further = "" if all(credits_due.values()) else " and further data providers"
        credit = ", ".join(["Meteostat", *names]) + further
    return f"Source: {credit} ({LICENCE}); {CHANGES}"


# ----------------------------------------------------------- several stations


def _combined(
    hours: Sequence[_Hours],
    first: int,
    place: Place | None,
    known_at: datetime,
    told: _Told | None = None,
) -> list[WeatherValue]:
    """The values of a span: rain, wind and sun of one station each, the rest of all."""
    values: list[WeatherValue] = []
    told = told or _Told()
    rain = _first_with(hours, "rain_mm")
    if rain is None:
        told.note("no station near here reports hours of rain; log rain from your own gauge")
    else:
        is_far = rain.station.distance_km > NOT_MEASURED_KM
        for note in _distance_notes(rain.station):
            told.note(note)
        is_model = rain.is_model["rain_mm"] | is_far
        amounts = rain.values["rain_mm"]
        values += _values("rain_mm", amounts, is_model, first, rain.station.label, known_at)
    for variable in ("air_temp_c", "humidity_frac"):
        if place is not None:
            values += _taken_out(hours, variable, first, place, known_at)
        mean, is_model, label = _averaged(hours, variable, place)
        values += _values(variable, mean, is_model, first, label, known_at)
    wind = _first_with(hours, "wind_2m_m_s")
    if wind is not None:
        speeds, is_model = wind.values["wind_2m_m_s"], wind.is_model["wind_2m_m_s"]
        values += _values("wind_2m_m_s", speeds, is_model, first, wind.station.label, known_at)
    sun = _first_with(hours, "sunshine_min")
    if sun is not None:
        values += _solar(sun, first, known_at)
    return values


def _first_with(hours: Sequence[_Hours], variable: str) -> _Hours | None:
    """The nearest station that saw half of the hours, else the nearest with any value."""
    for one in hours:
        if one.covered_frac(variable) >= COVERED_FRAC:
            return one
    return next((one for one in hours if one.has(variable)), None)


def _taken_out(
    hours: Sequence[_Hours], variable: str, first: int, place: Place, known_at: datetime
) -> list[WeatherValue]:
    """What cannot be right at one station, marked; it takes no part in the mean over several."""
    marked: list[WeatherValue] = []
    for one in hours:
        found = one.values[variable]
        own = _values(variable, found, one.is_model[variable], first, one.station.label, known_at)
        for value in checked_weather(own, known_at, place).values:
            if value.suspect:
                found[_hour_of(value.start_at) - first] = np.nan
                marked.append(value)
    return marked


def _averaged(
    hours: Sequence[_Hours], variable: str, place: Place | None
) -> tuple[FloatArray, BoolArray, str]:
    """Mean over the stations that observed each hour, else over those with a model value."""
    near = [one for one in hours if one.station.distance_km <= SEARCH_KM]
    if not near:
        return np.empty(0), np.empty(0, np.bool_), ""
    found = np.array([one.values[variable] for one in near])
    is_model = np.array([one.is_model[variable] for one in near])
    if variable == "air_temp_c" and place is not None:
        above_km = [(one.station.height_difference_m or 0.0) / 1000.0 for one in near]
        found = found + LAPSE_K_PER_KM * np.array(above_km)[:, np.newaxis]
    is_seen = ~np.isnan(found) & ~is_model
    has_seen = is_seen.any(axis=0)
    is_used = np.where(has_seen, is_seen, ~np.isnan(found))
    distances_km = np.array([max(one.station.distance_km, LEAST_KM) for one in near])
    weights = np.where(is_used, (distances_km**-2.0)[:, np.newaxis], 0.0)
    total = weights.sum(axis=0)
    mean = np.divide(
        (weights * np.nan_to_num(found)).sum(axis=0),
        total,
        out=np.full(total.shape, np.nan),
        where=total > 0.0,
    )
    label = near[0].station.label
    if len(near) > 1:
        label = f"{len(near)} stations within {near[-1].station.distance_km:.0f} km"
    return mean, ~has_seen, label


def _solar(sun: _Hours, first: int, known_at: datetime) -> list[WeatherValue]:
    """Radiation of whole days from their sunshine; of kind MODEL, for nobody measured it."""
    station = sun.station
    minutes = sun.values["sunshine_min"]
    offset = round(station.longitude_deg / 15.0)  # days begin near solar midnight
    begin = -(first + offset) % 24
    values: list[WeatherValue] = []
    for at in range(begin, minutes.size - 23, 24):
        span = np.arange(first + at, first + at + 24)
        day = float(solar_day_of_year(span[12], station.longitude_deg))
        is_light = (
            extraterrestrial_hourly_mj_m2(span, station.latitude_deg, station.longitude_deg)
            > DARK_MJ_M2
        )
        seen = minutes[at : at + 24]
        longest_h = float(daylight_h(station.latitude_deg, day))
        if longest_h < 1.0 or np.isnan(seen[is_light]).any():
            continue
        shone_h = min(float(np.nansum(seen)) / 60.0, longest_h)
        solar_mj_m2 = float(solar_from_sunshine_mj_m2(shone_h, station.latitude_deg, day))
        start_at = _moment(int(span[0]))
        values.append(
            WeatherValue(
                "solar_mj_m2",
                start_at,
                start_at + timedelta(hours=24),
                round(solar_mj_m2, 3),
                Kind.MODEL,
                f"{station.label}, from sunshine",
                known_at,
            )
        )
    return values


def _values(
    variable: str,
    found: FloatArray,
    is_model: BoolArray,
    first: int,
    source: str,
    known_at: datetime,
) -> list[WeatherValue]:
    """Hours on the grid as records; missing ones have none."""
    digits = {"rain_mm": 2, "air_temp_c": 2}.get(variable, 4)
    records: list[WeatherValue] = []
    for at in np.flatnonzero(~np.isnan(found)):
        start_at = _moment(first + int(at))
        kind = Kind.MODEL if is_model[at] else Kind.OBSERVED
        value = round(float(found[at]), digits)
        end_at = start_at + _HOUR
        records.append(WeatherValue(variable, start_at, end_at, value, kind, source, known_at))
    return records


# --------------------------------------------------------------------- moments


def _path(folder: Path, year: int, station: Station) -> Path:
    """Where a station's file of a year is kept."""
    if not _STATION_ID.match(station.id):
        raise WeatherFileError(
            f"station '{station.id[:40]}': allowed are letters and digits; run "
            "`whitethread weather update` to find the stations again"
        )
    return folder / "hourly" / str(year) / f"{station.id}.csv.gz"


def _hour_of(moment: datetime) -> int:
    """Full hours since 1970 at a moment; also the first hour that has not ended by then."""
    return (moment - _EPOCH) // _HOUR


def _moment(hour: int) -> datetime:
    """The start of an hour."""
    return _EPOCH + hour * _HOUR


def _years_of(first: int, last: int) -> range:
    """Years whose files hold the hours [first, last): the stamp of an hour is its end."""
    return range(_moment(first + 1).year, _moment(last).year + 1)


def _years_before(now: datetime, n_years: int) -> datetime:
    """The same date some years before; 28 February for a leap day."""
    utc = now.astimezone(UTC)
    try:
        return utc.replace(year=utc.year - n_years)
    except ValueError:
        return utc.replace(year=utc.year - n_years, day=28)


def _age_text(age: timedelta) -> str:
    """An age in words."""
    hours = age.total_seconds() / 3600.0
    if hours < 1.0:
        return "just now"
    return f"{hours:.0f} h ago" if hours < 48.0 else f"{hours / 24.0:.0f} days ago"
