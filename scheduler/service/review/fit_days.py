"""Days fit for the field of a season and of the years before it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, time, timedelta

import numpy as np

from scheduler.planning.ensemble import (
    Sky,
    SoilMembers,
    Spread,
    member_skies,
    run_ensemble,
    soil_members,
)
from scheduler.planning.hours import at_local, day_starts
from scheduler.planning.outlook import ground_of, met_by
from scheduler.planning.review.fit_days import FitYear, fit_weeks, fit_year, strictest
from scheduler.ports import WeatherStore
from scheduler.records import (
    Bed,
    BoolArray,
    Farm,
    FitDays,
    Kind,
    Planting,
    WeatherSeries,
)
from scheduler.service.review.season import HOUR, SPIN_UP, Season, local_days
from scheduler.service.settings import (
    soil_prior,
    spread,
    tool_traits,
    weed_heat,
)
from scheduler.service.weather import KNOWN_SHARE, MOST_PAST_YEARS, weather_on_record


def fit_days_of(season: Season, weather: WeatherStore) -> tuple[FitDays, ...]:
    """Days fit for the field, by bare ground of each soil, this year and in the past years."""
    days = local_days(season)
    is_open = season.book.is_open
    hours = [is_open[a:b] for _, a, b in days]
    can = _can_work(season.book.sky, season.members, season.farm)
    this = {soil: fit_year(fits, days, hours) for soil, fits in can.items()}
    past: dict[str, list[FitYear]] = {soil: [] for soil in this}
    for series, of_year in _past_seasons(season, weather):
        sd = _central()
        members = {
            name: soil_members(soil_prior(season.farm.soils[name]), sd, season.farm.seed, 1)
            for name in this
        }
        end = series.start_at + series.n_hours * HOUR
        sky = member_skies(series, end, season.farm.place, sd, season.farm.seed, 1)
        for soil, fits in _can_work(sky, members, season.farm).items():
            past[soil].append(fit_year(fits, of_year, hours))
    return tuple(
        week
        for soil in sorted(this)
        for week in fit_weeks(soil, season.days.from_on, this[soil], past[soil])
    )


def _can_work(sky: Sky, members: Mapping[str, SoilMembers], farm: Farm) -> dict[str, BoolArray]:
    """Hours in which bare ground of each soil lets in the strictest of the farm's tools."""
    bare = np.zeros((sky.n_hours, 6))
    bare[:, 5] = 300.0
    ensemble = run_ensemble(
        sky, members, {soil: (soil, bare) for soil in members}, weed_heat(), stored_from_hour=0
    )
    traits = tool_traits(farm)
    keys = sorted({tool.key for tool in farm.tools}) or sorted(traits)
    found = {}
    for soil in members:
        bed = Bed(soil, 1.0, 1.0, soil)
        ground = ground_of(Planting(bed, None, 0.0, 1.0, None, False, *(None,) * 4), ensemble)
        found[soil] = strictest({key: met_by(traits[key], ground).is_fit for key in keys})
    return found


def _central() -> Spread:
    """No spread at all: one member, with the middle of everything."""
    sd = spread()
    none = {name: 0.0 for name in sd.__dataclass_fields__ if "sd" in name}
    middle = 0.5 * (sd.demand_factor_low + sd.demand_factor_high)
    return replace(sd, **none, demand_factor_low=middle, demand_factor_high=middle)


def _past_seasons(
    season: Season, weather: WeatherStore
) -> list[tuple[WeatherSeries, list[tuple[date, int, int]]]]:
    """The same dates of past years, with the days of each, where the record holds them."""
    own = [e for e in season.events if e.kind in ("rain", "temp")]
    n_days = (season.days.to_on - season.days.from_on).days + 1
    zone = season.farm.place.time_zone
    found = []
    for back in range(1, MOST_PAST_YEARS + 1):
        shift = timedelta(days=round(365.25 * back))
        first_on = season.days.from_on - shift
        begin = at_local(first_on, time(), zone).astimezone(UTC) - SPIN_UP
        end = at_local(first_on + timedelta(days=n_days), time(), zone).astimezone(UTC)
        values = weather.weather_values(season.now, begin, end)
        then = [e for e in own if begin < e.happened_at < end]
        if not values and not then:
            continue
        series = weather_on_record(
            season.farm, then, weather, season.now, begin, end, values=values
        )
        known = [
            float(np.mean(series.kinds[name] >= Kind.MODEL)) for name in ("rain_mm", "air_temp_c")
        ]
        if min(known) < KNOWN_SHARE:
            continue
        all_days = day_starts(series.start_at, series.n_hours, zone)
        found.append((series, [d for d in all_days if d[0] >= first_on][:n_days]))
    return found
