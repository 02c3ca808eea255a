"""The use cases: what a command, a mail or a notebook asks for.

Sources, sinks and `now` are arguments; the same inputs give the same answer to the last digit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from scheduler import reference
from scheduler.errors import UsageError, WeatherMissingError
from scheduler.models.soil_column import WeedHeat
from scheduler.models.weeds.degree_days import Guild, flush_milestones
from scheduler.planning.cautions import cautions_for
from scheduler.planning.ensemble import (
    N_SOIL_MEMBERS,
    Ensemble,
    Sky,
    SoilPrior,
    Spread,
    member_skies,
    run_ensemble,
    soil_members,
)
from scheduler.planning.forcing import hourly_series
from scheduler.planning.hours import hours_left, local_day
from scheduler.planning.order import Day, Draft, day_of, draft_verdict, order_of_day
from scheduler.planning.outlook import GuildView, Outlook, planting_outlook
from scheduler.planning.plantings import (
    CropTraits,
    disturbances,
    plantings_at,
    surface_table,
)
from scheduler.planning.tools import ToolTraits
from scheduler.ports import Journal, Progress, WeatherStore
from scheduler.records import (
    Event,
    Farm,
    FloatArray,
    Kind,
    Morning,
    Planting,
    Soil,
    WeatherAnswer,
    WeatherSeries,
)

PAST_DAYS = 90
STORED_DAYS = 45
HORIZON_DAYS = 10
_LEAST_PAST_DAYS = 3
GATE_KPA = (100.0, 200.0, 400.0, 600.0, 800.0, 1000.0, 1200.0, 1500.0)
STAGE_KILL_FRAC = (0.9, 0.75, 0.35, 0.35)


@lru_cache(maxsize=1)
def tables() -> reference.Tables:
    """The parameter tables of the program, read once."""
    return reference.load_tables()


def crop_names() -> tuple[str, ...]:
    """Names of the crops the program knows."""
    return tables().crop_names()


def sources_table(subject: str | None = None) -> tuple[reference.Parameter, ...]:
    """Every parameter with value, range, unit, source and grade.

    Parameters
    ----------
    subject : str, optional
        Only this crop, soil, tool or model.

    Returns
    -------
    tuple of Parameter
        In the order of the tables.

    Raises
    ------
    UsageError
        If the subject does not exist.
    """
    rows = tuple(tables().parameters.values())
    if subject is None:
        return rows
    name = tables().subject_of(subject) or subject
    chosen = tuple(row for row in rows if name in (row.subject, row.table))
    if not chosen:
        names = ", ".join(sorted({row.subject for row in rows}))
        raise UsageError(f"sources: no subject {subject!r}; known are {names}")
    return chosen


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
    series = _series(farm, events, weather, now, hour_now)
    spread = _spread()
    sky = member_skies(series, hour_now, farm.place, spread, farm.seed, n_members)
    used = {bed.soil for bed in farm.beds}
    members = {
        name: soil_members(_prior(soil), spread, farm.seed, n_members)
        for name, soil in farm.soils.items()
        if name in used
    }
    traits = _crop_traits()
    tools = _tool_traits()
    plantings = plantings_at(farm, events)
    surfaces = {
        p.key: (p.bed.soil, surface_table(p, events, traits, series.start_at, series.n_hours))
        for p in plantings
    }
    stored = max(0, sky.now_hour - 24 * STORED_DAYS)
    views = _guild_views(series, sky.now_hour, now, farm)
    ensemble = run_ensemble(
        sky, members, surfaces, _weed_heat(), stored_from_hour=stored, progress=progress
    )
    outlooks = {
        p.key: planting_outlook(
            p, ensemble, disturbances(p, events), views, traits, tools, surfaces[p.key][1]
        )
        for p in plantings
    }
    day = day_of(farm, sky, stored, now)
    drafts = tuple(draft_verdict(outlooks[p.key], day, tools) for p in plantings)
    return Situation(
        farm, now, events, series, sky, ensemble, plantings, outlooks, surfaces, day, drafts
    )


def morning(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
    *,
    n_members: int = N_SOIL_MEMBERS,
    progress: Progress | None = None,
) -> Morning:
    """The list of one morning.

    Parameters
    ----------
    farm, journal, weather, now, n_members, progress
        As in `situation`.

    Returns
    -------
    Morning
        One verdict for every planting, ordered.

    Raises
    ------
    WeatherMissingError, UsageError
        As in `situation`.
    """
    return morning_of(
        situation(farm, journal, weather, now, n_members=n_members, progress=progress)
    )


def morning_of(s: Situation) -> Morning:
    """The list of a computed situation.

    Parameters
    ----------
    s : Situation
        As `situation` returns it.

    Returns
    -------
    Morning
        The list.
    """
    hours = hours_left(s.farm.work, s.now, s.farm.place.time_zone)
    beds, missed, planned, changes = order_of_day(s.drafts, hours, s.day)
    series = s.series
    last = series.last_observed_at
    return Morning(
        farm=s.farm,
        as_of=s.now,
        inputs={
            "n_events": len(s.events),
            "last_entry_at": max((e.recorded_at for e in s.events), default=None),
            "weather_sources": list(series.sources),
            "weather_from": series.start_at,
            "forecast_issued_at": series.forecast_issued_at,
        },
        n_soil_members=s.ensemble.n_members,
        n_particles=0,
        attribution=tuple(f"Weather: {source}" for source in series.sources),
        weakest_inputs=_weakest(series, s.events),
        weather=WeatherAnswer(
            last,
            ", ".join(series.sources) or "none",
            None if last is None else (s.now - last) / timedelta(hours=1),
            series.forecast_issued_at,
            series.notes,
        ),
        hours_available=hours,
        minutes_planned=planned,
        setup_changes=changes,
        beds=beds,
        not_reached=missed,
        cautions=_cautions(s),
        day=local_day(s.now, s.farm.place.time_zone),
        outlook_line=_outlook_line(s),
    )


def _series(
    farm: Farm,
    events: Sequence[Event],
    weather: WeatherStore,
    now: datetime,
    hour_now: datetime,
) -> WeatherSeries:
    start_at = hour_now - timedelta(days=PAST_DAYS)
    end_at = hour_now + timedelta(days=HORIZON_DAYS)
    values = weather.weather_values(now, start_at, end_at)
    own = [e for e in events if e.kind in ("rain", "temp")]
    forecast = weather.latest_forecast(now)
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
    series = hourly_series(values, own, forecast, first, end_at, now, farm.place)
    past = slice(0, int((hour_now - first) // timedelta(hours=1)))
    for name, label in (("air_temp_c", "temperature"), ("rain_mm", "rain")):
        is_known = series.kinds[name][past] >= Kind.MODEL
        if not is_known.any():
            raise WeatherMissingError(
                f"weather: no {label} on record since {first:%d %b %Y}; import a file with "
                f"{label} or log it by hand"
            )
    return series


@lru_cache(maxsize=1)
def _spread() -> Spread:
    t = tables()

    def v(name: str) -> float:
        return t.number("soil member", name)

    demand = t.value("soil member", "demand_factor")
    return Spread(
        theta_33_sd_m3m3=v("theta_33_sd_m3m3"),
        theta_sat_sd_m3m3=v("theta_sat_sd_m3m3"),
        ln_k_factor_sd=v("ln_k_factor_sd"),
        k_factor_cap=v("k_factor_cap"),
        ln_drained_sd=v("ln_drained_sd"),
        ln_working_sd=v("ln_working_sd"),
        demand_factor_low=demand.low,
        demand_factor_high=demand.high,
        ln_crust_energy_sd=v("ln_crust_energy_sd"),
        ln_et0_sd_estimated=v("et0_factor_sd"),
        ln_et0_sd_measured=v("et0_factor_measured_sd"),
        ln_rain_sd_gauge=v("rain_factor_gauge_sd"),
        ln_rain_sd_station=v("rain_factor_sd"),
        rain_intensity_mm_h=v("rain_intensity_mm_h"),
    )


def _prior(soil: Soil) -> SoilPrior:
    t = tables()

    def v(name: str) -> float:
        return t.number(soil.texture, name)

    return SoilPrior(
        soil.name,
        v("sand_frac") if soil.sand_frac is None else soil.sand_frac,
        v("clay_frac") if soil.clay_frac is None else soil.clay_frac,
        soil.organic_matter_pct,
        v("drained_kpa"),
        v("ceiling_kpa"),
        v("working_kpa"),
        v("stage_2_mm_sqrt_d"),
        v("stage_1_mm"),
    )


@lru_cache(maxsize=1)
def _crop_traits() -> Mapping[str, CropTraits]:
    t = tables()

    def of(crop: str, name: str) -> float | None:
        return t.number(crop, name) if t.has(crop, name) else None

    return {
        crop: CropTraits(
            of(crop, "emergence_base_c"),
            of(crop, "emergence_cd"),
            of(crop, "emergence_best_c"),
            of(crop, "close_d") if of(crop, "can_close") else None,
            of(crop, "sowing_depth_mm"),
        )
        for crop in t.crop_names()
    }


@lru_cache(maxsize=1)
def _tool_traits() -> Mapping[str, ToolTraits]:
    t = tables()
    return {
        kind: ToolTraits(
            bool(t.number(kind, "is_wheeled")),
            bool(t.number(kind, "is_in_row")),
            bool(t.number(kind, "is_between_rows")),
            bool(t.number(kind, "can_blind")),
            t.number(kind, "decides_to_mm"),
            t.number(kind, "wetness_offset_m3m3"),
        )
        for kind in t.tool_kinds()
    }


_PLAIN_GUILDS = {
    "cool": "cool-season weeds",
    "spring": "spring weeds",
    "warm": "warm-season weeds",
}


@lru_cache(maxsize=1)
def _guilds() -> tuple[Guild, ...]:
    t = tables()
    cv = t.number("flush", "shoot_rate_cv")

    def guild(name: str) -> Guild:
        def v(parameter: str) -> float:
            return t.number(name, parameter)

        return Guild(
            name=name,
            base_c=v("base_temp_c"),
            optimum_c=v("optimum_temp_c"),
            ceiling_c=v("ceiling_temp_c"),
            theta50_cd=v("germination_median_cd"),
            sigma_ln=v("germination_ln_sd"),
            psi_b50_kpa=-v("base_suction_kpa"),
            depth_mean_mm=v("depth_mean_mm"),
            depth_shape=v("depth_shape"),
            depth_max_mm=v("depth_most_mm"),
            elongation_mm_cd=v("shoot_rate_mm_cd"),
            elongation_cv=cv,
            leaf_base_c=v("leaf_base_temp_c"),
            phyllochron_cd=v("leaf_interval_cd"),
            seed_leaf_cd=v("seed_leaf_cd"),
        )

    return tuple(guild(name) for name in t.guild_names())


def _weed_heat() -> WeedHeat:
    guilds = _guilds()
    return WeedHeat(
        np.array([g.base_c for g in guilds]),
        np.array([g.optimum_c for g in guilds]),
        np.array([g.ceiling_c for g in guilds]),
        np.array([g.leaf_base_c for g in guilds]),
        np.array([g.optimum_c for g in guilds]),
        np.array(GATE_KPA),
    )


def _guild_views(
    series: WeatherSeries, now_hour: int, now: datetime, farm: Farm
) -> tuple[GuildView, ...]:
    """Guilds with the share of the seeds that would germinate at this season, largest first."""
    t = tables()
    month = now.astimezone(UTC).month
    if farm.place.latitude_deg < 0.0:
        month = (month + 5) % 12 + 1
    week = series.air_temp_c[max(0, now_hour - 168) : now_hour]
    mean_c = float(np.nanmean(week)) if np.isfinite(week).any() else 10.0
    views = []
    for guild in _guilds():
        share = t.number(guild.name, "mix_frac") * t.number(guild.name, f"season_month_{month:02d}")
        if t.has(guild.name, "season_gate_c") and mean_c < t.number(guild.name, "season_gate_c"):
            share = 0.0
        typical = min(max(mean_c, max(guild.base_c, guild.leaf_base_c) + 4.0), guild.optimum_c)
        milestones = flush_milestones(guild, STAGE_KILL_FRAC, round(typical))
        views.append(GuildView(guild, _PLAIN_GUILDS[guild.name], share, milestones))
    return tuple(sorted(views, key=lambda v: (-v.season_share, v.guild.name)))


def _weakest(series: WeatherSeries, events: Sequence[Event]) -> tuple[str, ...]:
    weak = ["flush size (not looked at)", "when this soil crumbles (no squeeze test)"]
    if not any(e.kind == "look" for e in events):
        weak[0] = "flush timing and size (no look logged)"
    if any(e.kind == "feel" for e in events):
        weak.pop(1)
    if float(np.mean(series.kinds["solar_mj_m2"] <= Kind.MODEL)) > 0.5:
        weak.append("drying (sunshine estimated from temperature)")
    return tuple(weak)


def _cautions(s: Situation) -> tuple[str, ...]:
    first, last = s.sky.now_hour, s.day.last_hour_today
    hours = [h for h in range(first, last) if s.day.is_open[h]]
    local = np.array([s.sky.at(h).astimezone(s.day.zone).hour for h in hours], dtype=np.int64)
    temp = np.array([s.sky.forcing.air_temp_c[:, h].mean() for h in hours])
    humidity = np.array([s.sky.forcing.humidity_frac[:, h].mean() for h in hours])
    return cautions_for(
        local,
        temp,
        humidity,
        has_flame=any(t.kind == "flame" for t in s.farm.tools),
        has_read_fire_rules=s.farm.flame_rules_read,
    )


def _outlook_line(s: Situation) -> str:
    """When rain comes within a day, in words."""
    now = s.sky.now_hour
    rain = s.sky.forcing.rain_mm[:, now : min(now + 24, s.sky.n_hours)]
    three = np.stack([rain[:, i : i + 3].sum(axis=1) for i in range(0, rain.shape[1], 3)], axis=1)
    chance_rain = (three >= 0.5).mean(axis=0)
    wet = np.flatnonzero(chance_rain >= 0.3)
    if not wet.size:
        return "no rain in sight until tomorrow"
    hour = s.sky.at(now + 3 * int(wet[0])).astimezone(s.day.zone)
    return f"rain from {hour:%H:%M}, {round(10 * chance_rain[wet].max())} in 10"
