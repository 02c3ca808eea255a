"""Bring the weather of a farm up to date: observations, then the forecast, each by itself.

What comes is kept in farm.db with the moment it became known, revisions and all forecasts too. A
source that fails takes nothing away and does not stop the next one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.adapters.journal import FarmDatabase
from scheduler.adapters.render.phrases import WEEKDAYS, age_words, day_words
from scheduler.adapters.weather import metno, stations
from scheduler.adapters.weather.http import Check, Fetched, Fetcher
from scheduler.adapters.weather.quality import checked_weather
from scheduler.adapters.weather.sources import (
    SOURCES,
    attribution_lines,
    fetch_forecast,
    forecast_keys,
    require_consent,
)
from scheduler.adapters.weather.stations import Station
from scheduler.errors import WeatherFetchError, WhitethreadError
from scheduler.ports import Progress
from scheduler.records import Farm, Forecast, Kind, Place, WeatherValue

PAST_YEARS = 10
NAMED_WITHIN_KM = 500.0
LOOK_BACK = timedelta(days=120)
CONTEXT = timedelta(days=stations.PAST_DAYS)  # of values on record that new ones are judged beside
_HOUR = timedelta(hours=1)
_WINDOW_END_DAYS = (30, 45)  # of the same date a year ago: on record, so past years were fetched


@dataclass(frozen=True)
class Update:
    """What an update brought.

    `ages` are hours since the end of the newest observation (`observed`) and the issue of the
    newest forecast (`forecast`) on record; a key without a value is absent. `ok` is False where
    everything that was asked failed.
    """

    notes: tuple[str, ...]
    ages: Mapping[str, float]
    ok: bool


@dataclass
class _Told:
    """Notes as they come up, and how the requests went."""

    now: datetime
    zone: ZoneInfo
    notes: list[str] = field(default_factory=list)
    n_answered: int = 0

    def note(self, text: str) -> None:
        """Add a note once, as one line."""
        line = " ".join(text.split())
        if line not in self.notes:
            self.notes.append(line)

    def moment(self, moment: datetime) -> str:
        """A moment of the farm's clock, as "Tue 14 May 06:00"."""
        local = moment.astimezone(self.zone)
        year = "" if local.year == self.now.astimezone(self.zone).year else f" {local.year}"
        return f"{WEEKDAYS[local.weekday()]} {day_words(local.date())}{year} {local:%H:%M}"

    def age(self, moment: datetime) -> str:
        """How old a moment is, in words."""
        return age_words((self.now - moment) / _HOUR)


class _WatchedFetcher(Fetcher):
    """A fetcher that tells of each request and counts those that were answered."""

    def __init__(self, fetcher: Fetcher, told: _Told, asking: Callable[[str], None]) -> None:
        self.cache_folder = fetcher.cache_folder
        self.user_agent = fetcher.user_agent
        self._fetcher = fetcher
        self._told = told
        self._asking = asking

    def get(
        self,
        url: str,
        *,
        headers: Mapping[str, str] | None = None,
        now: datetime,
        check: Check,
    ) -> Fetched:
        """As of the fetcher that is watched."""
        self._asking(urlsplit(url).netloc)
        try:
            found = self._fetcher.get(url, headers=headers, now=now, check=check)
        except WeatherFetchError as error:
            self._told.n_answered += error.status in (404, 410)  # "no such file" is an answer
            raise
        self._told.n_answered += not found.fault
        return found


def update_weather(
    farm: Farm,
    database: FarmDatabase,
    fetcher: Fetcher,
    mirror_folder: Path,
    now: datetime,
    progress: Progress,
    *,
    archive_url: str | None = None,
) -> Update:
    """Fetch observations and the forecast and keep them in farm.db.

    Parameters
    ----------
    farm
        Its place and its [weather] say who is asked.
    database
        Where everything is kept, known at `now`.
    fetcher
        Asks the services; it carries the grower's contact.
    mirror_folder
        Where files of stations are kept; may be deleted at any time.
    now
        The moment of asking, aware.
    progress
        Told how far it has come.
    archive_url
        Where the archive of observations is, if not where it usually is.

    Returns
    -------
    Update
        What was new, what failed and what stands instead.

    Raises
    ------
    UsageError
        If the farm file gives no consent; nobody is asked then.
    """
    require_consent(farm)
    n_asked = 0

    def asking(host: str) -> None:
        nonlocal n_asked
        n_asked += 1
        progress(f"asking {host}", 0.9 * n_asked / (n_asked + 8))

    observed = _Told(now, ZoneInfo(farm.place.time_zone))
    watched = _WatchedFetcher(fetcher, observed, asking)
    url = stations.ARCHIVE_URL if archive_url is None else archive_url
    is_observed = _observed(farm, database, watched, mirror_folder, observed, url)
    foreseen = _Told(now, observed.zone)
    is_foreseen = _foreseen(farm, database, fetcher, foreseen, asking)
    progress("done", 1.0)
    return Update(
        notes=(*observed.notes, *foreseen.notes),
        ages=_ages(database, now),
        ok=is_observed or is_foreseen,
    )


# ------------------------------------------------------------- observations


def _observed(
    farm: Farm,
    database: FarmDatabase,
    fetcher: Fetcher,
    mirror_folder: Path,
    told: _Told,
    archive_url: str,
) -> bool:
    """Fetch and keep observations; whether the archive answered and they could be kept."""
    n_new = 0
    try:
        near, notes = stations.fetch_stations(
            farm.place, fetcher, mirror_folder, told.now, archive_url=archive_url
        )
        for note in notes:
            told.note(note)
        used = _used_stations(farm, near, mirror_folder, told)
        n_years = int(farm.weather.get("past_years", PAST_YEARS))
        labels = [station.label for station in used]
        if n_years and _has_past_years(database, told.now, labels):
            n_years = 0
        found = stations.fetch_observations(
            farm.place,
            used,
            fetcher,
            mirror_folder,
            told.now,
            since=_newest_observed_at(database, told.now, labels),
            past_years=n_years,
            archive_url=archive_url,
        )
        for note in found.notes:
            told.note(note)
        checked = _checked(database, found.values, told.now, farm.place)
        n_new = database.add_weather_values(checked)
        n_suspect = sum(1 for value in checked if value.suspect)
        if n_suspect:
            values = "1 value" if n_suspect == 1 else f"{n_suspect} values"
            told.note(f"{values} of stations left out of use as suspect: see `weather show`")
        if found.attribution:
            told.note(found.attribution)
        is_done = told.n_answered > 0
    except (WhitethreadError, OSError) as error:
        told.note(f"observations: {error}")
        is_done = False
    _say_observed(database, told, n_new, is_done)
    return is_done


def _checked(
    database: FarmDatabase, found: Sequence[WeatherValue], now: datetime, place: Place
) -> list[WeatherValue]:
    """The values found, those that cannot be right marked, judged beside what is on record.

    A value on record that turns out to be wrong comes along, marked; a mark on record is taken away
    only where the value itself is found again.
    """
    sources = {value.source for value in found}
    held = {
        _key(value): value
        for value in database.weather_values(now, now - CONTEXT, now)
        if value.source in sources and value.kind in (Kind.OBSERVED, Kind.MODEL)
    }
    fresh = {_key(value): value for value in found}
    told_again = {
        key: replace(value, known_at=now, suspect="")
        for key, value in held.items()
        if key not in fresh
    }
    together = sorted((told_again | fresh).values(), key=lambda value: value.start_at)
    return [
        value
        for value in checked_weather(together, now, place).values
        if _key(value) in fresh or (value.suspect and not held[_key(value)].suspect)
    ]


def _key(value: WeatherValue) -> tuple[str, datetime, datetime, str]:
    """What a revision has in common with the value it replaces."""
    return value.variable, value.start_at, value.end_at, value.source


def _say_observed(database: FarmDatabase, told: _Told, n_new: int, is_done: bool) -> None:
    """Say first what observations are on record after the attempt."""
    newest = _newest_observed_at(database, told.now)
    if newest is None:
        stands = f"none of the last {LOOK_BACK.days} days; your own gauge counts alone"
    else:
        stands = f"the newest ended {told.moment(newest)}, {told.age(newest)}"
    if is_done:
        brought = "1 value new" if n_new == 1 else f"{n_new} values new" if n_new else "none new"
        told.notes.insert(0, f"observations: {brought}; {stands}")
    else:
        told.notes.insert(0, f"observations: could not be brought up to date; {stands}")


def _used_stations(
    farm: Farm, near: Sequence[Station], mirror_folder: Path, told: _Told
) -> tuple[Station, ...]:
    """The stations to use: the one for rain first, then the one named, else the nearest."""
    chosen: list[Station] = []
    is_named = False
    for key in ("rain_station", "station"):
        wanted = farm.weather.get(key)
        if wanted is None:
            continue
        station = _station_named(str(wanted), farm.place, mirror_folder)
        if station is None:
            told.note(
                f"{key} {wanted}: there is no such station within {NAMED_WITHIN_KM:.0f} km; the "
                "nearest are used; correct it in [weather] of farm.toml"
            )
            continue
        is_named |= key == "station"
        if station not in chosen:
            chosen.append(station)
    if not is_named:
        chosen.extend(station for station in near if station not in chosen)
    return tuple(chosen)


def _station_named(wanted: str, place: Place, mirror_folder: Path) -> Station | None:
    """The station of a name, from the list that is held."""
    everywhere = stations.nearest_stations(
        place, mirror_folder, within_km=NAMED_WITHIN_KM, most=10**6
    )
    return next((each for each in everywhere if each.id.casefold() == wanted.casefold()), None)


def _newest_observed_at(
    database: FarmDatabase, now: datetime, sources: Sequence[str] | None = None
) -> datetime | None:
    """The end of the newest observed value of the last months, of all sources or of some."""
    newest: list[int] = []
    for column in database.weather_columns(now, now - LOOK_BACK, now).values():
        is_meant = (column.kinds == Kind.OBSERVED) & ~column.is_suspect
        if sources is not None:
            numbers = [i for i, source in enumerate(column.sources) if source in sources]
            is_meant &= np.isin(column.source_numbers, numbers)
        if is_meant.any():
            newest.append(int(column.ends_s[is_meant].max()))
    return datetime.fromtimestamp(max(newest), UTC) if newest else None


def _has_past_years(database: FarmDatabase, now: datetime, sources: Sequence[str]) -> bool:
    """Whether these stations' hours of the weeks to come, a year ago, are on record."""
    first, last = (now - timedelta(days=365 - days) for days in _WINDOW_END_DAYS)
    held = database.weather_columns(now, first, last)
    return any(source in sources for column in held.values() for source in column.sources)


# ----------------------------------------------------------------- forecast


def _foreseen(
    farm: Farm,
    database: FarmDatabase,
    fetcher: Fetcher,
    told: _Told,
    asking: Callable[[str], None],
) -> bool:
    """Fetch and keep a forecast; whether one was confirmed."""
    keys = forecast_keys(farm.place, farm.weather)
    if not keys:
        told.note('forecast: none is asked for, as farm.toml says: forecast = "none"')
    for key in keys:
        if SOURCES[key].condition:
            told.note(f"{SOURCES[key].condition}.")
        asking(SOURCES[key].host)
        try:
            forecast, how = fetch_forecast(key, farm.place, fetcher, told.now)
            is_new = database.add_forecast(forecast)
        except (WhitethreadError, OSError) as error:
            told.note(f"forecast: {error}")
            continue
        _say_foreseen(forecast, how, is_new, told)
        for line in attribution_lines([forecast.source]):
            told.note(line)
        if not how.fault:
            return True
    if keys:
        _say_what_stands(database.latest_forecast(told.now), told)
    return False


def _say_foreseen(forecast: Forecast, how: Fetched, is_new: bool, told: _Told) -> None:
    """Say what a service handed out."""
    issued = f"{told.moment(forecast.issued_at)}, {told.age(forecast.issued_at)}"
    n_hours = max(row.size for row in forecast.values.values())
    ends = told.moment(forecast.start_at + n_hours * _HOUR)
    if how.fault:
        told.note(f"forecast: {forecast.source}: {how.fault}; the copy held is of {issued}")
    elif is_new:
        told.note(f"forecast: {forecast.source}, new, issued {issued}, up to {ends}")
    else:
        told.note(f"forecast: {forecast.source}, nothing newer than that of {issued}, up to {ends}")
    if forecast.note:
        told.note(f"forecast: {forecast.note}")
    if how.status == metno.VERSION_ENDS:
        told.note(
            f"forecast: {forecast.source} says that this way of asking will end; update whitethread"
        )


def _say_what_stands(held: Forecast | None, told: _Told) -> None:
    """Say what the answers rest on where no forecast could be had."""
    if held is None:
        told.note("forecast: none could be had and none is on record")
    else:
        told.note(
            f"forecast: none could be had since that of {held.source} issued "
            f"{told.moment(held.issued_at)}, {told.age(held.issued_at)}, which stands"
        )


def _ages(database: FarmDatabase, now: datetime) -> dict[str, float]:
    """Hours since the newest observation and the newest forecast on record."""
    forecast = database.latest_forecast(now)
    found = {
        "observed": _newest_observed_at(database, now),
        "forecast": None if forecast is None else forecast.issued_at,
    }
    return {name: (now - at) / _HOUR for name, at in found.items() if at is not None}
