"""From parameter tables to what planning needs: the only place that reads the tables."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from difflib import get_close_matches
from functools import lru_cache

import numpy as np

from scheduler import reference
from scheduler.errors import UsageError
from scheduler.models.soil_column import WEED_BANDS_MM, WeedHeat
from scheduler.models.weeds.cohorts import STAGES, GuildTable
from scheduler.models.weeds.degree_days import Guild, flush_milestones
from scheduler.planning.ensemble import SoilPrior, Spread
from scheduler.planning.outlook import GuildView
from scheduler.planning.passes import KillSettings
from scheduler.planning.traits import CropTraits, ToolTraits
from scheduler.planning.weeds import HandRates, KillTable, WeedSettings
from scheduler.records import Farm, FloatArray, Soil, WeatherSeries

GATE_KPA = (150.0, 400.0, 700.0, 1000.0, 1300.0, 1700.0)
_THIN_BAND_FRAC = 0.03
STAGE_KILL_FRAC = (0.9, 0.75, 0.35, 0.35)


@lru_cache(maxsize=1)
def tables() -> reference.Tables:
    """The parameter tables of the program, read once."""
    return reference.load_tables()


def crop_names() -> tuple[str, ...]:
    """Names of the crops the program knows, and the other words for them that it takes."""
    return tuple(crop_subjects())


@lru_cache(maxsize=1)
def crop_subjects() -> Mapping[str, str]:
    """Every word for a crop, to the name it has in the tables."""
    t = tables()
    names = t.crop_names()
    others = {word: name for word, name in sorted(t.aliases.items()) if name in names}
    return {**{name: name for name in names}, **others}


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
        names = sorted({row.subject for row in rows} | {row.table for row in rows})
        near = get_close_matches(subject, names, 1)
        hint = f"; nearest: {near[0]!r}" if near else ""
        raise UsageError(
            f"sources: no subject {subject!r} among {len(names)}{hint}; "
            "`whitethread sources` lists them"
        )
    return chosen


@lru_cache(maxsize=1)
def spread() -> Spread:
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
        ln_b_sd=v("ln_b_sd"),
        demand_factor_low=demand.low,
        demand_factor_high=demand.high,
        ln_crust_energy_sd=v("ln_crust_energy_sd"),
        ln_et0_sd_estimated=v("et0_factor_sd"),
        ln_et0_sd_measured=v("et0_factor_measured_sd"),
        ln_rain_sd_gauge=v("rain_factor_gauge_sd"),
        ln_rain_sd_station=v("rain_factor_sd"),
        rain_intensity_mm_h=v("rain_intensity_mm_h"),
    )


def soil_prior(soil: Soil) -> SoilPrior:
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
        soil.stone_frac,
    )


@lru_cache(maxsize=1)
def crop_traits() -> Mapping[str, CropTraits]:
    t = tables()

    def of(crop: str, name: str) -> float | None:
        return t.number(crop, name) if t.has(crop, name) else None

    return {
        word: CropTraits(
            of(crop, "emergence_base_c"),
            of(crop, "emergence_cd"),
            of(crop, "emergence_best_c"),
            of(crop, "late_emergence_base_c"),
            of(crop, "late_emergence_cd"),
            of(crop, "close_d") if of(crop, "can_close") else None,
            of(crop, "sowing_depth_mm"),
        )
        for word, crop in crop_subjects().items()
    }


@lru_cache(maxsize=1)
def tool_traits() -> Mapping[str, ToolTraits]:
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
def guilds() -> tuple[Guild, ...]:
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


def weed_heat() -> WeedHeat:
    known = guilds()
    return WeedHeat(
        np.array([g.base_c for g in known]),
        np.array([g.optimum_c for g in known]),
        np.array([g.ceiling_c for g in known]),
        np.array([g.leaf_base_c for g in known]),
        np.array([g.optimum_c for g in known]),
        np.array(GATE_KPA),
    )


def guild_views(
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
    for guild in guilds():
        share = t.number(guild.name, "mix_frac") * t.number(guild.name, f"season_month_{month:02d}")
        if t.has(guild.name, "season_gate_c") and mean_c < t.number(guild.name, "season_gate_c"):
            share = 0.0
        typical = min(max(mean_c, max(guild.base_c, guild.leaf_base_c) + 4.0), guild.optimum_c)
        milestones = flush_milestones(guild, STAGE_KILL_FRAC, round(typical))
        views.append(GuildView(guild, _PLAIN_GUILDS[guild.name], share, milestones))
    return tuple(sorted(views, key=lambda v: (-v.season_share, v.guild.name)))


@lru_cache(maxsize=1)
def weed_settings() -> WeedSettings:
    """What the tables say of weeds, in the order of `guilds`."""
    t = tables()
    known = guilds()
    bands = ("00_05", "05_15", "15_30", "30_50")

    def each(parameter: str) -> FloatArray:
        return np.array([t.number(g.name, parameter) for g in known])

    def flush(parameter: str) -> float:
        return t.number("flush", parameter)

    depths = (5, 10, 20, 30, 50)
    return WeedSettings(
        guilds=GuildTable(
            theta50_cd=np.array([g.theta50_cd for g in known]),
            sigma_ln=np.array([g.sigma_ln for g in known]),
            base_suction_kpa=np.array([-g.psi_b50_kpa for g in known]),
            base_suction_sd_frac=flush("base_suction_sd_frac"),
            shoot_rate_mm_cd=np.array([g.elongation_mm_cd for g in known]),
            shoot_rate_cv=flush("shoot_rate_cv"),
            half_depth_mm=each("half_depth_mm"),
            half_depth_slope_mm=flush("half_depth_slope_mm"),
            seed_leaf_cd=np.array([g.seed_leaf_cd for g in known]),
            phyllochron_cd=np.array([g.phyllochron_cd for g in known]),
            band_share=_followed(np.stack([each(f"band_{band}_frac") for band in bands], axis=1)),
            band_mm=np.array(WEED_BANDS_MM),
            band_hazard_d=np.array([flush(f"drying_hazard_{band}") for band in bands]),
        ),
        season=np.stack([each(f"season_month_{month:02d}") for month in range(1, 13)], axis=1),
        mix=each("mix_frac"),
        mix_concentration=flush("mix_concentration"),
        clock_ln_sd=flush("clock_ln_sd"),
        spread_ln_sd=flush("spread_ln_sd"),
        dry_bias_sd_kpa=flush("suction_bias_sd_kpa"),
        size_m2=flush("size_m2"),
        size_ln_sd=flush("size_ln_sd"),
        wetting_share=each("wetting_share_frac"),
        pass_share=flush("pass_share_frac"),
        recovery_d=flush("recovery_d"),
        refill_d=flush("pool_refill_d"),
        warm_gate_c=np.array(
            [
                t.number(g.name, "season_gate_c") if t.has(g.name, "season_gate_c") else -np.inf
                for g in known
            ]
        ),
        reset_depth_mm=flush("pool_reset_depth_mm"),
        size_depth_mm=np.array([0.0, *depths]),
        size_depth_frac=np.array([0.0, *(flush(f"size_depth_{d:02d}_frac") for d in depths)]),
        standing_m2={
            was: t.number("standing", f"{was}_m2") for was in ("unknown", "clean", "weedy", "cover")
        },
        standing_ln_sd=t.number("standing", "ln_sd"),
        flower_base_c=t.number("standing", "flower_base_c"),
        flower_cd=t.number("standing", "flower_cd"),
        seed_cd=t.number("standing", "seed_cd"),
    )


def _followed(share: FloatArray) -> FloatArray:
    """Shares by depth, where a deepest band of under 3 % is counted with the one above it."""
    followed = share.copy()
    is_thin = followed[:, -1] < _THIN_BAND_FRAC
    followed[is_thin, -2] += followed[is_thin, -1]
    followed[is_thin, -1] = 0.0
    return followed


@lru_cache(maxsize=1)
def kill_table() -> KillTable:
    """Kill by tool, zone and stage, and what each tool stirs."""
    t = tables()
    zones = ("in_row", "between")
    return KillTable(
        {
            kind: np.array(
                [[t.number(kind, f"kill_{zone}_{stage}_frac") for stage in STAGES]
                 for zone in zones]
            )
            for kind in t.tool_kinds()
        },
        {
            kind: np.array([t.number(kind, f"stirs_{zone}_frac") for zone in zones])
            for kind in t.tool_kinds()
        },
    )  # fmt: skip


@lru_cache(maxsize=1)
def hand_rates() -> HandRates:
    """Minutes of hand weeding by stage."""
    t = tables()
    stages = ("seed_leaf", "true_leaf", "young", "established")
    return HandRates(
        np.array([t.number("hand round", f"{stage}_min") for stage in stages]),
        t.number("hand round", "row_metre_min"),
    )


@lru_cache(maxsize=1)
def kill_settings() -> KillSettings:
    """Kill under the weather; drying never kills a stage without a row."""
    t = tables()

    def v(name: str) -> float:
        return t.number("kill", name)

    needs = [f"drying_need_{stage}_mm" for stage in STAGES]
    return KillSettings(
        drying_need_mm=np.array([v(need) if t.has("kill", need) else np.inf for need in needs]),
        rewet_mm=v("rewet_mm"),
        wet_before_range_m3m3=v("wet_before_range_m3m3"),
        ln_sd_farm=v("ln_sd_farm"),
        ln_sd_pass=v("ln_sd_pass"),
        unseen_dried_frac=v("unseen_dried_frac"),
    )
