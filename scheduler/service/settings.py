"""From parameter tables to what planning needs: the only place that reads the tables."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from difflib import get_close_matches
from functools import lru_cache, reduce

import numpy as np

from scheduler import reference
from scheduler.errors import UsageError
from scheduler.models.kill import stacked_kill_frac
from scheduler.models.soil_column import WEED_BANDS_MM, WeedHeat
from scheduler.models.weeds.cohorts import STAGES, GuildTable
from scheduler.models.weeds.degree_days import Guild, flush_milestones
from scheduler.planning.ensemble import SoilPrior, Spread
from scheduler.planning.outlook import GuildView
from scheduler.planning.passes import KillSettings
from scheduler.planning.traits import CropTraits, ToolTraits
from scheduler.planning.value import ValueSettings
from scheduler.planning.weeds import HandRates, KillTable, WeedSettings
from scheduler.records import Farm, FloatArray, Soil, WeatherSeries

GATE_KPA = (150.0, 400.0, 700.0, 1000.0, 1300.0, 1700.0)
_THIN_BAND_FRAC = 0.03
STAGE_KILL_FRAC = (0.9, 0.75, 0.35, 0.35)
# Which stage of the crop a tool waits for: the numbers of the rows `crop_gate`.
CROP_GATES = ("hand", "between", "tine", "torsion", "brush", "finger", "hilling", "flame")


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
    """What the tables say of every crop, under each word a grower may use for it."""
    traits = {crop: _crop_traits(crop) for crop in tables().crop_names()}
    return {word: traits[crop] for word, crop in crop_subjects().items()}


def _crop_traits(crop: str) -> CropTraits:
    t = tables()

    def of(name: str) -> float | None:
        return t.number(crop, name) if t.has(crop, name) else None

    def can(name: str) -> bool:
        return bool(t.number(crop, name))

    return CropTraits(
        emergence_base_c=of("emergence_base_c"),
        emergence_cd=of("emergence_cd"),
        fastest_c=of("emergence_best_c"),
        late_base_c=of("late_emergence_base_c"),
        late_cd=of("late_emergence_cd"),
        close_d=of("close_d") if can("can_close") else None,
        sowing_depth_mm=of("sowing_depth_mm"),
        n_rows=int(t.number(crop, "n_rows")),
        row_spacing_mm=of("row_spacing_mm"),
        blind=int(t.number(crop, "blind_grade")),
        can_flame=can("can_flame"),
        has_crook=can("has_crook"),
        leaf_base_c=_or(of("leaf_base_c"), CropTraits.leaf_base_c),
        first_leaf_cd=of("first_leaf_cd"),
        leaf_cd=of("leaf_cd"),
        tine_leaves=of("tine_leaves"),
        finger_leaves=of("finger_leaves"),
        torsion_leaves=of("torsion_leaves"),
        brush_leaves=of("brush_leaves"),
        set_tine_cd=of("set_tine_cd"),
        set_finger_cd=of("set_finger_cd"),
        height_mm=of("height_mm"),
        can_hill=can("can_hill"),
        weed_free_from_d=of("weed_free_from_d"),
        weed_free_to_d=of("weed_free_to_d"),
        season_loss_frac=of("season_loss_frac"),
        coldest_c=of("emergence_least_c"),
        ceiling_c=of("emergence_most_c"),
        set_tine_least_d=_or(of("set_tine_least_d"), CropTraits.set_tine_least_d),
        set_finger_least_d=_or(of("set_finger_least_d"), CropTraits.set_finger_least_d),
        tine_most_height_mm=of("tine_most_height_mm"),
    )


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def tool_traits(farm: Farm | None = None) -> Mapping[str, ToolTraits]:
    """What each kind of tool can do and asks for, and each stack of kinds that a farm owns.

    Parameters
    ----------
    farm : Farm, optional
        Adds an entry for the key of every tool of the farm that carries further kinds.

    Returns
    -------
    mapping
        Traits by kind, or by kinds joined with " + ".
    """
    kinds = traits_by_kind()
    stacks = {key: _stacked_traits([kinds[kind] for kind in parts]) for key, parts in _stacks(farm)}
    return {**kinds, **stacks}


@lru_cache(maxsize=1)
def traits_by_kind() -> Mapping[str, ToolTraits]:
    """What the tables say of every kind of tool."""
    return {kind: _tool_traits(kind) for kind in tables().tool_kinds()}


def _tool_traits(kind: str) -> ToolTraits:
    t = tables()

    def v(name: str) -> float:
        return t.number(kind, name)

    depth = t.value(kind, "depth_mm")
    return ToolTraits(
        is_wheeled=bool(v("is_wheeled")),
        is_in_row=bool(v("is_in_row")),
        is_between_rows=bool(v("is_between_rows")),
        can_blind=bool(v("can_blind")),
        decides_to_mm=v("decides_to_mm"),
        wetness_offset_m3m3=v("wetness_offset_m3m3"),
        drying_share=v("drying_share_frac"),
        wet_after_frac=v("wet_after_frac"),
        wet_before_frac=v("wet_before_frac"),
        on_sand_frac=v("on_sand_frac"),
        depth_low_mm=depth.low,
        depth_high_mm=depth.high,
        speed_gain_frac=v("speed_gain_frac"),
        speed_m_s=v("speed_m_s"),
        blind_loss_frac=v("blind_loss_frac"),
        standing_loss_frac=v("standing_loss_frac"),
        row_gap_mm=v("row_gap_mm"),
        needs_rows=bool(v("has_rows_only")),
        crop_gate=CROP_GATES[int(v("crop_gate"))],
    )


def _stacks(farm: Farm | None) -> Sequence[tuple[str, tuple[str, ...]]]:
    """Keys of the tools of a farm that carry further kinds, each with its kinds."""
    tools = () if farm is None else farm.tools
    return [(tool.key, (tool.kind, *tool.carries)) for tool in tools if tool.carries]


def _stacked_traits(parts: Sequence[ToolTraits]) -> ToolTraits:
    """Several kinds on one toolbar: the strictest of what they ask, all the zones they reach.

    What a stack kills in its weather goes by the traits of each kind, not by these.
    """

    def lost(shares: Iterable[float]) -> float:
        return 1.0 - math.prod(1.0 - share for share in shares)

    return ToolTraits(
        is_wheeled=any(p.is_wheeled for p in parts),
        is_in_row=any(p.is_in_row for p in parts),
        is_between_rows=any(p.is_between_rows for p in parts),
        can_blind=all(p.can_blind for p in parts),
        decides_to_mm=max(p.decides_to_mm for p in parts),
        wetness_offset_m3m3=min(p.wetness_offset_m3m3 for p in parts),
        drying_share=max(p.drying_share for p in parts),
        wet_after_frac=min(p.wet_after_frac for p in parts),
        wet_before_frac=min(p.wet_before_frac for p in parts),
        on_sand_frac=min(p.on_sand_frac for p in parts),
        depth_low_mm=min(p.depth_low_mm for p in parts),
        depth_high_mm=max(p.depth_high_mm for p in parts),
        speed_gain_frac=min(p.speed_gain_frac for p in parts),
        speed_m_s=min(p.speed_m_s for p in parts),
        blind_loss_frac=lost(p.blind_loss_frac for p in parts),
        standing_loss_frac=lost(p.standing_loss_frac for p in parts),
        row_gap_mm=max(p.row_gap_mm for p in parts),
        needs_rows=any(p.needs_rows for p in parts),
        crop_gate=" + ".join(dict.fromkeys(p.crop_gate for p in parts)),
    )


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


def kill_table(farm: Farm | None = None) -> KillTable:
    """Kill by tool, zone and stage, and what each tool stirs.

    Parameters
    ----------
    farm : Farm, optional
        Adds an entry for the key of every tool of the farm that carries further kinds: a zone that
        one of them works is killed as by it alone; where two work it there is no bonus.

    Returns
    -------
    KillTable
        By kind, or by kinds joined with " + ".
    """
    kinds = kill_by_kind()
    kill, stirs = dict(kinds.kill_frac), dict(kinds.stirs_frac)
    for key, parts in _stacks(farm):
        kill[key] = reduce(stacked_kill_frac, [kill[kind] for kind in parts])
        stirs[key] = np.max([stirs[kind] for kind in parts], axis=0)
    return KillTable(kill, stirs)


@lru_cache(maxsize=1)
def kill_by_kind() -> KillTable:
    """Kill by each kind of tool, zone and stage, and what it stirs."""
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
    small = t.number("value", "small_between_s")
    return HandRates(
        np.array([t.number("hand round", f"{stage}_min") for stage in stages]),
        t.number("hand round", "row_metre_min"),
        np.array([small, small, small, t.number("value", "established_between_s")]) / 60.0,
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
        again_frac=v("again_frac"),
        again_d=v("again_d"),
        again_thread_d=v("again_thread_d"),
    )


@lru_cache(maxsize=1)
def sure_knots() -> tuple[tuple[float, float], ...]:
    """Stated and told `sure`, by what lines were worth in played seasons."""
    t = tables()
    begin, end = "told_at_", "_frac"
    knots = [
        (float(name.removeprefix(begin).removesuffix(end)) / 100.0, t.number("sure", name))
        for name in t.of("sure")
        if name.startswith(begin)
    ]
    return tuple(sorted(knots))


@lru_cache(maxsize=1)
def value_settings() -> ValueSettings:
    """What the tables say of the price of weeds, stand, soil and time."""
    t = tables()

    def v(name: str) -> float:
        return t.number("value", name)

    small, between = v("small_in_row_s"), v("small_between_s")
    eased, eased_between = v("small_in_row_relief_frac"), v("between_relief_frac")
    leaves_small = v("sowing_leaves_small_frac")
    return ValueSettings(
        ground_s=np.array([v("ground_in_row_s"), v("ground_between_s")]),
        ground_takes_frac=np.array(
            [v("ground_takes_in_row_frac"), v("ground_takes_between_frac")]
        ),
        stage_s=np.array(
            [
                [small, small, v("true_leaf_in_row_s"), v("young_in_row_s"),
                 v("established_in_row_s")],
                [between, between, between, between, v("established_between_s")],
            ]
        ),
        stage_relief_frac=np.array(
            [
                [eased, eased, v("true_leaf_in_row_relief_frac"), 0.0, 0.0],
                [eased_between, eased_between, eased_between, v("young_between_relief_frac"), 0.0],
            ]
        ),
        sowing_leaves_frac=np.array(
            [
                v("sowing_leaves_ground_frac"), leaves_small, leaves_small,
                v("sowing_leaves_true_leaf_frac"), v("sowing_leaves_young_frac"),
                v("sowing_leaves_established_frac"),
            ]
        ),
        unprepared_frac=v("unprepared_frac"),
        again_chance=v("again_frac"),
        pass_chance=v("pass_frac"),
        most_passes=v("most_passes"),
        up_d=v("up_d"),
        late_frac=v("late_frac"),
        row_share=v("row_share_frac"),
        empty_d=v("empty_d"),
        flush_weight=v("flush_weight"),
        relief_crop_frac=v("relief_crop_frac"),
        relief_empty_frac=v("relief_empty_frac"),
        germinated_taken_frac=v("germinated_taken_frac"),
        pass_share=t.number("flush", "pass_share_frac"),
        recovery_d=t.number("flush", "recovery_d"),
        crop_min_m2=v("crop_min_m2"),
        made_good_frac=v("made_good_frac"),
        sown_loss_factor=v("sown_loss_factor"),
        harm_frac=v("harm_frac"),
        near_wet_m3m3=v("near_wet_m3m3"),
        vain_min=v("vain_min"),
        loss_frac_d=v("loss_frac_d"),
        half_m2=v("half_m2"),
        weight_of_stage=np.array([0.0, 0.0, 0.0, v("pull_true_leaf"), v("pull_young"), 1.0]),
        seed_s=v("seed_s"),
        discount_d=v("discount_frac_d"),
    )  # fmt: skip
