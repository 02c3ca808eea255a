"""A farm's season for the player: its weather, its garden and what the tables say.

The weather is that on record: what a reading lacks is filled as for a list, without spread.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from scheduler.errors import UsageError, WeatherMissingError
from scheduler.models.soil_column import ColumnForcing
from scheduler.models.weeds.degree_days import flush_milestones
from scheduler.planning.ensemble import member_skies
from scheduler.planning.hours import at_local
from scheduler.planning.offers import Kit
from scheduler.planning.outlook import GuildView
from scheduler.planning.own_rates import with_own_rates
from scheduler.planning.passes import PassRules
from scheduler.planning.season.garden import logged_garden
from scheduler.planning.season.shapes import SeasonWeather
from scheduler.planning.season.world import SeasonTables, World, build_world
from scheduler.ports import Journal, WeatherStore
from scheduler.records import Event, Farm, Kind, WeatherSeries
from scheduler.service import settings
from scheduler.service.own_rates import journal_rates
from scheduler.service.weather import weather_on_record

_BEFORE = timedelta(days=10)  # of weather before the first entry, if it is on record
_SEASON_STARTS = ("prep", "sow", "plant", "pass", "clear")
_LEAST_DAYS = 20  # with less weather there is no season to play


@dataclass(frozen=True)
class FarmSeason:
    """A season of a farm as its journal has it, and what could not be played, in words."""

    year: int
    world: World
    events: tuple[Event, ...]
    left_out: tuple[str, ...]


def season_tables(farm: Farm) -> SeasonTables:
    """What the tables say for a farm, as the season player reads them.

    Parameters
    ----------
    farm : Farm
        Its tools and soils.

    Returns
    -------
    SeasonTables
        As the list reads them.
    """
    tools = {tool.name: tool for tool in farm.tools}
    rules = PassRules(tools, settings.tool_traits(farm), settings.kill_settings(), farm.seed)
    return SeasonTables(
        Kit(rules, settings.kill_table(farm), settings.crop_traits(), settings.weed_settings()),
        settings.hand_rates(),
        settings.value_settings(),
        {name: settings.soil_prior(soil) for name, soil in farm.soils.items()},
        settings.spread(),
        settings.weed_heat(),
        (_any_view(),),
    )


def _any_view() -> GuildView:
    """A guild for the crop's clock, which reads no weeds."""
    guild = settings.guilds()[0]
    return GuildView(guild, guild.name, 1.0, flush_milestones(guild, settings.STAGE_KILL_FRAC, 16))


def season_weather(farm: Farm, series: WeatherSeries, name: str) -> SeasonWeather:
    """The weather of a season as one series without doubt.

    Parameters
    ----------
    farm : Farm
        Its place and seed.
    series : WeatherSeries
        The hours of the season, all of them past.
    name : str
        Name of the season.

    Returns
    -------
    SeasonWeather
        Measured values as they are; drawn hours of daily rain and fills for what is missing. From
        the farm's first midnight on, as the player's days begin there.
    """
    exact = replace(
        settings.spread(),
        ln_et0_sd_estimated=0.0,
        ln_et0_sd_measured=0.0,
        ln_rain_sd_gauge=0.0,
        ln_rain_sd_station=0.0,
    )
    end_at = series.start_at + timedelta(hours=series.n_hours)
    sky = member_skies(series, end_at, farm.place, exact, farm.seed, 1)
    local = series.start_at.astimezone(ZoneInfo(farm.place.time_zone))
    skipped = -local.hour % 24
    forcing = ColumnForcing(
        *(getattr(sky.forcing, f.name)[:, skipped:] for f in fields(ColumnForcing))
    )
    return SeasonWeather(name, series.start_at + timedelta(hours=skipped), forcing)


def farm_season(
    farm: Farm, journal: Journal, weather: WeatherStore, now: datetime, year: int | None = None
) -> FarmSeason:
    """A season of a farm for the player, from what is known at a moment.

    Parameters
    ----------
    farm : Farm
        The farm as described.
    journal, weather : Journal, WeatherStore
        Entries and weather.
    now : datetime
        Aware moment.
    year : int, optional
        Of the season; the last one with a sowing or setting on record by default.

    Returns
    -------
    FarmSeason
        Garden, weather and entries of the calendar year.

    Raises
    ------
    UsageError
        If nothing was sown or set that year.
    WeatherMissingError
        If less than twenty days of weather are on record from then on.
    """
    if now.tzinfo is None:
        raise UsageError(f"now: found {now.isoformat()} without a time zone; give one")
    events = tuple(e for e in journal.events(now) if e.happened_at <= now)
    zone = farm.place.time_zone
    planted = [e for e in events if e.kind in ("sow", "plant")]
    if year is None:
        year = max((e.happened_at for e in planted), default=now).year
    first, end = (at_local(date(y, 1, 1), time(0), zone) for y in (year, year + 1))
    if not any(first <= e.happened_at < end for e in planted):
        raise UsageError(
            f"season {year}: no sowing or setting is on record; log them (log sow, log plant) or "
            "name another year"
        )
    own = [e for e in events if first <= e.happened_at < end]
    start_at = max(
        first, min(e.happened_at for e in own if e.kind in _SEASON_STARTS) - _BEFORE
    ).astimezone(UTC)
    end_at = min(end, now).astimezone(UTC)
    series = season_series(farm, own, weather, now, _full_hour(start_at), _full_hour(end_at))
    return season_on_record(farm, own, series, year)


def season_on_record(
    farm: Farm, events: Sequence[Event], series: WeatherSeries, year: int
) -> FarmSeason:
    """A season for the player from entries and weather at hand.

    Parameters
    ----------
    farm : Farm
        The farm as described; its tools go at the minutes that the entries teach.
    events : sequence of Event
        Entries of the season, in order.
    series : WeatherSeries
        Its weather.
    year : int
        Of the season.

    Returns
    -------
    FarmSeason
        World and entries.

    Raises
    ------
    UsageError
        If nothing was sown or set within the weather.
    """
    farm = with_own_rates(farm, journal_rates(farm, events))
    spell = season_weather(farm, series, f"{farm.name} {year}")
    end_at = series.start_at + timedelta(hours=series.n_hours)
    logged = logged_garden(farm, events, spell.start_at, end_at)
    if not logged.garden.plantings:
        raise UsageError(
            f"season {year}: nothing was sown or set between {spell.start_at:%d %b} and "
            f"{end_at:%d %b %Y}, where weather is on record"
        )
    world = build_world(logged.garden, spell, season_tables(farm))
    return FarmSeason(year, world, tuple(events), logged.left_out)


def season_series(
    farm: Farm,
    events: Sequence[Event],
    weather: WeatherStore,
    now: datetime,
    start_at: datetime,
    end_at: datetime,
) -> WeatherSeries:
    """Weather of a season that is past, from the first hour on that is known.

    Parameters
    ----------
    farm : Farm
        Its place.
    events : sequence of Event
        Entries.
    weather : WeatherStore
        Values.
    now : datetime
        What is known.
    start_at, end_at : datetime
        Full hours.

    Returns
    -------
    WeatherSeries
        To the last hour of temperature on record.

    Raises
    ------
    WeatherMissingError
        If less than twenty days are on record, or no rain or no temperature.
    """
    series = weather_on_record(farm, events, weather, now, start_at, end_at)
    is_known = series.kinds["air_temp_c"] >= Kind.FORECAST
    hours = is_known.nonzero()[0]
    if not hours.size or not (series.kinds["rain_mm"] >= Kind.FORECAST).any():
        raise WeatherMissingError(
            f"weather: no temperature or no rain on record between {start_at:%d %b %Y} and "
            f"{end_at:%d %b %Y}; import a file (weather import)"
        )
    known = slice(int(hours[0]), int(hours[-1]) + 1)
    if known.stop - known.start < 24 * _LEAST_DAYS:
        raise WeatherMissingError(
            f"weather: {(known.stop - known.start) // 24} days on record between "
            f"{start_at:%d %b %Y} and {end_at:%d %b %Y}; at least {_LEAST_DAYS} are needed to play "
            "a season; import older weather (weather import)"
        )
    if known.start == 0 and known.stop == series.n_hours:
        return series
    return weather_on_record(
        farm, events, weather, now,
        start_at + timedelta(hours=known.start), start_at + timedelta(hours=known.stop),
    )  # fmt: skip


def _full_hour(moment: datetime) -> datetime:
    return moment.replace(minute=0, second=0, microsecond=0)
