"""The season that is read back: its days, weather, entries, lists and soil members."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.errors import UsageError, WeatherMissingError
from scheduler.planning.ensemble import (
    Sky,
    SoilMembers,
    member_skies,
    soil_members,
)
from scheduler.planning.hours import at_local, day_starts, is_working_hour
from scheduler.planning.offers import Kit
from scheduler.planning.own_rates import with_own_rates
from scheduler.planning.passes import PassRules
from scheduler.planning.review.judging import (
    book_particles,
)
from scheduler.planning.review.reading import Book
from scheduler.planning.review.seasons import SeasonDays, season_days
from scheduler.ports import Journal, Lists, WeatherStore
from scheduler.records import (
    Event,
    Farm,
    FloatArray,
    Kind,
    WeatherSeries,
)
from scheduler.service.own_rates import journal_rates
from scheduler.service.settings import (
    GATE_KPA,
    STAGE_KILL_FRAC,
    crop_traits,
    guild_views,
    hand_rates,
    kill_settings,
    kill_table,
    soil_prior,
    spread,
    tool_traits,
    value_settings,
    weed_settings,
)
from scheduler.service.weather import weather_on_record

N_PARTICLES = 24
SPIN_UP = timedelta(days=24)  # before the season, in which the columns find their state
HOUR = timedelta(hours=1)
_LEAST_DAYS = 3


@dataclass(frozen=True)
class Season:
    """What a review works on."""

    farm: Farm
    now: datetime
    days: SeasonDays
    start_at: datetime  # of the season (UTC)
    end_at: datetime
    events: tuple[Event, ...]  # that stand and happened by the end
    series: WeatherSeries
    members: Mapping[str, SoilMembers]
    book: Book
    lists: Mapping[int, Mapping[str, Any]]  # issued, by place of the day


def season_to_review(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    lists: Lists | None,
    now: datetime,
    year: int | None,
    n_members: int,
) -> tuple[Season, list[str]]:
    """The season's days, weather, members and clock, and what is weak in them."""
    zone_name = farm.place.time_zone
    known = tuple(e for e in journal.events(now) if e.happened_at <= now)
    days = season_days(known, farm, now, year)
    if days.to_on < days.from_on:
        raise UsageError(
            f"season {days.year}: it begins {days.from_on:%d %b %Y}, after the review's moment "
            f"({now:%d %b %Y}); give a year that has begun"
        )
    begin = at_local(days.from_on, time(), zone_name).astimezone(UTC)
    end = min(
        at_local(days.to_on + timedelta(days=1), time(), zone_name).astimezone(UTC),
        now.astimezone(UTC).replace(minute=0, second=0, microsecond=0),
    )
    series, notes = _series(farm, known, weather, now, begin, end, days.year)
    end = series.start_at + series.n_hours * HOUR
    begin = max(begin, series.start_at)
    zone = ZoneInfo(zone_name)
    days = replace(
        days,
        from_on=begin.astimezone(zone).date(),
        to_on=(end - HOUR).astimezone(zone).date(),
    )
    events = tuple(e for e in known if e.happened_at < end)
    sd = spread()
    members = {
        name: soil_members(soil_prior(soil), sd, farm.seed, n_members)
        for name, soil in farm.soils.items()
        if name in {bed.soil for bed in farm.beds}
    }
    sky = member_skies(series, end, farm.place, sd, farm.seed, n_members)
    own = with_own_rates(farm, journal_rates(farm, known))
    book = replace(_book(own, events, series, sky, begin, n_members), is_over=days.is_over)
    season = Season(
        farm, now, days, begin, end, events, series, members, book, _issued(lists, now, book)
    )
    return season, notes


def _series(
    farm: Farm,
    events: Sequence[Event],
    weather: WeatherStore,
    now: datetime,
    begin: datetime,
    end: datetime,
    year: int,
) -> tuple[WeatherSeries, list[str]]:
    """The weather of a season and of the weeks before it, as far as it was read."""
    first = begin - SPIN_UP
    values = weather.weather_values(now, first, end)
    own = [e for e in events if e.kind in ("rain", "temp")]
    begins = [v.start_at for v in values if not v.suspect]
    begins += [e.happened_at for e in own if first <= e.happened_at < end]
    if begins:
        first = max(first, min(begins).astimezone(UTC).replace(minute=0, second=0, microsecond=0))
    if not begins or end - first < timedelta(days=_LEAST_DAYS):
        raise WeatherMissingError(
            f"season {year}: no weather on record between {begin:%d %b %Y} and {end:%d %b %Y}; "
            "import it (weather import), the review needs three days at least"
        )
    series = weather_on_record(farm, own, weather, now, first, end, values=values)
    is_read = np.minimum(series.kinds["rain_mm"], series.kinds["air_temp_c"]) >= Kind.FORECAST
    if not is_read.any():
        raise WeatherMissingError(
            f"season {year}: rain and temperature of {begin:%d %b %Y} to {end:%d %b %Y} are not "
            "both on record; import or log what is missing"
        )
    notes = []
    last = int(np.flatnonzero(is_read)[-1]) + 1
    if first + last * HOUR <= begin:
        raise WeatherMissingError(
            f"season {year}: no weather was read after {begin:%d %b %Y}; import it"
        )
    if series.n_hours - last >= 24:
        until = (first + last * HOUR).astimezone(ZoneInfo(farm.place.time_zone))
        notes.append(
            f"no weather was read after {until.day} {until:%b}: the season is read till then"
        )
        series = weather_on_record(
            farm, own, weather, now, first, first + last * HOUR, values=values
        )
    if first > begin:
        local = first.astimezone(ZoneInfo(farm.place.time_zone))
        notes.append(f"the weather on record begins {local.day} {local:%b}: so does the review")
    return series, notes


def _book(
    farm: Farm,
    events: tuple[Event, ...],
    series: WeatherSeries,
    sky: Sky,
    begin: datetime,
    n_members: int,
) -> Book:
    zone_name = farm.place.time_zone
    days = tuple(day_starts(series.start_at, series.n_hours, zone_name))
    leads = tuple(
        guild_views(series, max(first, 1), series.start_at + first * HOUR, farm)[0]
        for _, first, _ in days
    )
    any_day = replace(farm.work, hours=(1.0,) * 7, blocked=())
    zone = ZoneInfo(zone_name)
    noon = [(series.start_at + h * HOUR).astimezone(zone).hour < 12 for h in range(series.n_hours)]
    kit = Kit(
        PassRules({t.name: t for t in farm.tools}, tool_traits(farm), kill_settings(), farm.seed),
        kill_table(farm),
        crop_traits(),
        weed_settings(),
    )
    return Book(
        farm=farm,
        events=events,
        sky=sky,
        kit=kit,
        values=value_settings(),
        hand=hand_rates(),
        gate_kpa=np.array(GATE_KPA),
        stage_kill_frac=STAGE_KILL_FRAC,
        days=days,
        leads=leads,
        is_open=is_working_hour(farm.work, series.start_at, series.n_hours, zone_name),
        is_daytime=is_working_hour(any_day, series.start_at, series.n_hours, zone_name),
        is_morning=np.array(noon),
        from_hour=sky.hour_of(begin),
        n_particles=book_particles(n_members, N_PARTICLES),
    )


def _issued(lists: Lists | None, now: datetime, book: Book) -> dict[int, Mapping[str, Any]]:
    """The list issued last for each day, by place of the day."""
    found: dict[int, Mapping[str, Any]] = {}
    start = book.sky.start_at
    if lists is None or lists.list_between(now, start, start + book.sky.n_hours * HOUR) is None:
        return found
    for place, (_, first, last) in enumerate(book.days):
        issued = lists.list_between(now, start + first * HOUR, start + last * HOUR)
        if issued is not None:
            found[place] = issued
    return found


def is_in(event: Event, season: Season) -> bool:
    """Whether an entry happened within the season."""
    return season.start_at <= event.happened_at < season.end_at


def local_days(season: Season) -> list[tuple[date, int, int]]:
    """Days of the season with their hours, without those before it."""
    return [d for d in season.book.days if season.days.from_on <= d[0] <= season.days.to_on]


def daily_rain(season: Season) -> FloatArray:
    """Rain of each day of the season, mean of the members, (n_days,) [mm]."""
    rain = season.book.sky.forcing.rain_mm.mean(axis=0)
    return np.array([float(rain[a:b].sum()) for _, a, b in local_days(season)])
