"""A farm at one moment, computed from what was known then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from scheduler.errors import UsageError, WeatherMissingError
from scheduler.models.weeds.degree_days import wetting_triggers
from scheduler.planning.advice import advice_for, advised
from scheduler.planning.day import Day, day_of
from scheduler.planning.ensemble import (
    N_SOIL_MEMBERS,
    Ensemble,
    Sky,
    member_skies,
    run_ensemble,
    soil_members,
)
from scheduler.planning.offers import Kit, Site, choose, weed_hours
from scheduler.planning.order import Draft
from scheduler.planning.outlook import Outlook, past_wettings, planting_outlook
from scheduler.planning.passes import PassRules, PassWeather, pass_weather
from scheduler.planning.plantings import disturbances, is_prepared, plantings_at, surface_table
from scheduler.planning.verdict import weed_verdict
from scheduler.planning.visits import after_refusal, taught
from scheduler.planning.weeds import WeedOutlook, flush_course, weed_history, weed_outlook
from scheduler.ports import Journal, Progress, WeatherStore
from scheduler.records import Event, Farm, FloatArray, Kind, Planting, WeatherSeries
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
    weed_heat,
    weed_settings,
)
from scheduler.service.weather import held_back, past_years, weather_on_record

PAST_DAYS = 75
STORED_DAYS = 45
READING_DAYS = 60
HORIZON_DAYS = 10
_LEAST_PAST_DAYS = 3


@dataclass(frozen=True)
class Situation:
    """A farm at one moment, computed: everything that answers are read from."""

    farm: Farm
    now: datetime
    events: tuple[Event, ...]
    series: WeatherSeries
    sky: Sky
    ensemble: Ensemble
    plantings: tuple[Planting, ...]
    outlooks: Mapping[str, Outlook]
    weeds: Mapping[str, WeedOutlook]
    surfaces: Mapping[str, tuple[str, FloatArray]]
    day: Day
    drafts: tuple[Draft, ...]


def situation(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
    *,
    n_members: int = N_SOIL_MEMBERS,
    progress: Progress | None = None,
) -> Situation:
    """Compute a farm at a moment from what was known then.

    Parameters
    ----------
    farm : Farm
        The farm as described.
    journal, weather : Journal, WeatherStore
        Entries and weather, filtered by `now`.
    now : datetime
        Aware moment.
    n_members : int
        Soil members.
    progress : Progress, optional
        Told how far the computation has come.

    Returns
    -------
    Situation
        Members, outlooks and verdicts.

    Raises
    ------
    WeatherMissingError
        If less than three days of temperature or no rain at all is on record.
    UsageError
        If `now` has no time zone.
    """
    if now.tzinfo is None:
        raise UsageError(f"now: found {now.isoformat()} without a time zone; give one")
    hour_now = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    events = tuple(e for e in journal.events(now) if e.happened_at <= now)
    years = past_years(farm, events, weather, now, hour_now, timedelta(days=HORIZON_DAYS))
    series = _series(farm, events, weather, now, hour_now, len(years))
    sd = spread()
    sky = member_skies(series, hour_now, farm.place, sd, farm.seed, n_members, years)
    used = {bed.soil for bed in farm.beds}
    members = {
        name: soil_members(soil_prior(soil), sd, farm.seed, n_members)
        for name, soil in farm.soils.items()
        if name in used
    }
    crops = crop_traits()
    tools = tool_traits(farm)
    plantings = plantings_at(farm, events)
    surfaces = {
        p.key: (p.bed.soil, surface_table(p, events, crops, series.start_at, series.n_hours))
        for p in plantings
    }
    stored = max(0, sky.now_hour - 24 * STORED_DAYS)
    views = guild_views(series, sky.now_hour, now, farm)
    ensemble = run_ensemble(
        sky,
        members,
        surfaces,
        weed_heat(),
        stored_from_hour=stored,
        readings_from_hour=max(0, sky.now_hour - 24 * READING_DAYS),
        progress=progress,
    )
    ensemble = taught(ensemble, farm, plantings, events, tools)
    outlooks = {
        p.key: planting_outlook(
            p, ensemble, disturbances(p, events), views, crops, tools, surfaces[p.key][1]
        )
        for p in plantings
    }
    day = day_of(farm, sky, stored, now)
    kit = Kit(
        PassRules({tool.name: tool for tool in farm.tools}, tools, kill_settings(), farm.seed),
        kill_table(farm),
        crops,
        weed_settings(),
    )
    weeds: dict[str, WeedOutlook] = {}
    drafts: list[Draft] = []
    for p in plantings:
        site = _site(p, outlooks, ensemble, events, surfaces[p.key][1], day, kit)
        drafts.append(_draft(site, kit, events, day, ensemble))
        weeds[p.key] = replace(site.weeds, future=None)  # large, and of no more use
    return Situation(
        farm,
        now,
        events,
        series,
        sky,
        ensemble,
        plantings,
        outlooks,
        weeds,
        surfaces,
        day,
        held_back(drafts, farm, events, series, day),
    )


def _draft(site: Site, kit: Kit, events: Sequence[Event], day: Day, ensemble: Ensemble) -> Draft:
    """The verdict of one planting, with what else is due there."""
    choice = choose(site, kit, events, day)
    advice = advice_for(site, choice, kit, day, ensemble)
    found = weed_verdict(site, choice, kit, day, hand_rates(), value_settings())
    each = [
        after_refusal(advised(one, advice, site, choice, day), site, choice, kit, events, day)
        for one in (replace(found, others=()), *found.others)
    ]
    go = [draft for draft in each if draft.answer.verdict == "go"]
    return replace(go[0], others=tuple(go[1:])) if go else each[0]


def _site(
    planting: Planting,
    outlooks: Mapping[str, Outlook],
    ensemble: Ensemble,
    events: Sequence[Event],
    surface: FloatArray,
    day: Day,
    kit: Kit,
) -> Site:
    """One planting as the tools meet it."""
    outlook = outlooks[planting.key]
    weather = pass_weather(outlook, ensemble, surface, kit.rules.settings)
    mates = tuple(
        other
        for key, other in outlooks.items()
        if other.planting.bed.name == planting.bed.name and key != planting.key
    )
    weeds = _weeds(outlook, weather, ensemble, events, surface, day, kit)
    return Site(outlook, weeds, weather, mates, is_prepared(planting, events))


def _weeds(
    outlook: Outlook,
    weather: PassWeather,
    ensemble: Ensemble,
    events: Sequence[Event],
    surface: FloatArray,
    day: Day,
    kit: Kit,
) -> WeedOutlook:
    farm, sky, planting = day.farm, day.sky, outlook.planting
    settings = weed_settings()
    is_wetting = wetting_triggers(sky.forcing.rain_mm + surface[None, :, 0])
    wettings = past_wettings(ensemble, is_wetting, outlook.weights, ensemble.readings_from_hour)
    soil = np.average(outlook.surface_temp_c, axis=0, weights=outlook.weights)
    week = np.concatenate((np.full(167, soil[0]), soil))
    weekly = np.convolve(week, np.ones(168) / 168.0, mode="valid")
    history = weed_history(
        planting,
        events,
        wettings,
        settings,
        kit.kills,
        kit.rules,
        weather,
        ensemble,
        weekly,
        farm.place.latitude_deg,
    )
    gates = np.array(GATE_KPA)
    found = weed_outlook(
        planting, ensemble, history, settings, gates, farm.seed, weed_hours(day), has_future=True
    )
    if outlook.flush.opened_hour is None:
        return found
    course = flush_course(
        planting,
        ensemble,
        history,
        settings,
        gates,
        farm.seed,
        float(outlook.flush.opened_hour),
        STAGE_KILL_FRAC,
    )
    return replace(found, course=course)


def _series(
    farm: Farm,
    events: Sequence[Event],
    weather: WeatherStore,
    now: datetime,
    hour_now: datetime,
    n_past_years: int,
) -> WeatherSeries:
    start_at = hour_now - timedelta(days=PAST_DAYS)
    end_at = hour_now + timedelta(days=HORIZON_DAYS)
    values = weather.weather_values(now, start_at, end_at)
    own = [e for e in events if e.kind in ("rain", "temp")]
    begins = [v.start_at for v in values if not v.suspect] + [e.happened_at for e in own]
    if not begins:
        raise WeatherMissingError(
            f"weather: nothing on record between {start_at:%d %b %Y} and {hour_now:%d %b %Y}; "
            "import a file (weather import) or keep a log (log rain, log temp)"
        )
    first = max(start_at, min(begins).replace(minute=0, second=0, microsecond=0))
    if hour_now - first < timedelta(days=_LEAST_PAST_DAYS):
        raise WeatherMissingError(
            f"weather: the record begins {first:%d %b %Y %H:%M} UTC, the answer needs at least "
            f"{_LEAST_PAST_DAYS} days before {hour_now:%d %b %Y}; import older weather"
        )
    series = weather_on_record(
        farm, own, weather, now, first, end_at, values=values, n_past_years=n_past_years
    )
    past = slice(0, int((hour_now - first) // timedelta(hours=1)))
    for name, label in (("air_temp_c", "temperature"), ("rain_mm", "rain")):
        is_known = series.kinds[name][past] >= Kind.FORECAST
        if not is_known.any():
            raise WeatherMissingError(
                f"weather: no {label} on record since {first:%d %b %Y}; import a file with "
                f"{label} or log it by hand"
            )
    return series
