"""What `whitethread sources` prints is what the program uses: no row idle, no constant untabled."""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from scheduler.adapters.farmfile import tools as farm_tools
from scheduler.models import crop_growth, crust, disaggregation, sun
from scheduler.models import kill as pass_kill
from scheduler.models import looks as look_models
from scheduler.models import squeeze as handful
from scheduler.models.soil_column import kernel
from scheduler.models.soil_column.grid import LAYERS_MM
from scheduler.models.weeds.cohorts import STAGES
from scheduler.models.weeds.degree_days import wetting_triggers
from scheduler.planning import (
    advice,
    compare,
    crop_stage,
    day,
    ensemble,
    forcing,
    former,
    gates,
    geometry,
    lessons,
    look_choice,
    looks,
    offers,
    order,
    outlook,
    own_rates,
    passes,
    plantings,
    readings,
    sightings,
    soil_lessons,
    spans,
    special,
    squeeze,
    stale_bed,
    sure,
    value,
    verdict,
    visits,
    watched,
    weeds,
    window,
    work,
)
from scheduler.planning.cautions import HEAT_BANDS
from scheduler.planning.review import chances, costs, fit_days, judging, reading, seasons, windows
from scheduler.planning.review import hours as review_hours
from scheduler.planning.season import play, replay, truth, world
from scheduler.planning.season import rules as played_rules
from scheduler.records import HeatBands, Soil
from scheduler.reference import Parameter, Tables, load_tables
from scheduler.service import settings
from tests.planning.made import START, planting

set_ups = importlib.import_module("scheduler.service.compare")

Key = tuple[str, str]


def _default(of: Callable[..., Any], name: str) -> float:
    return float(inspect.signature(of).parameters[name].default)


def _index(fine: float, coarse: float, clay: float, organic: float, ph: float = 7.0) -> float:
    return float(crust.crust_susceptibility(fine, coarse, clay, organic, ph))


def _in_code() -> dict[Key, float]:
    """Every row that is a constant of the code, with the code's value in the row's unit."""
    found: dict[Key, float] = {
        # the crust: defaults of the functions that the ensemble calls without them
        ("crust", "fine_silt_weight"): _index(1, 0, 1, 0),
        ("crust", "coarse_silt_weight"): _index(0, 1, 1, 0),
        ("crust", "organic_matter_weight"): _index(1, 0, 1, 0) / _index(1, 0, 0, 1),
        ("crust", "alkalinity_weight"): _index(1, 0, 1, 0) - _index(1, 0, 1, 0, 8.0),
        ("crust", "fine_silt_share_frac"): _default(crust.silt_split_pct, "fine_share_frac"),
        ("crust", "energy_scale_j_m2"): _default(crust.crust_energy_j_m2, "scale_j_m2"),
        ("crust", "energy_reference_index"): _default(crust.crust_energy_j_m2, "reference_index"),
        ("crust", "energy_slope"): _default(crust.crust_energy_j_m2, "slope"),
        ("crust", "energy_least_j_m2"): _default(crust.crust_energy_j_m2, "least_j_m2"),
        ("crust", "energy_most_j_m2"): _default(crust.crust_energy_j_m2, "most_j_m2"),
        ("crust", "strength_power"): _default(crust.crust_index, "power"),
        ("crust", "formed_from"): _default(crust.crust_class, "formed_from"),
        ("crust", "breakable_from"): outlook._CRUST_SEEN,
        ("crust", "hard_from"): outlook._CRUST_HARD,
        # the soil column
        ("crust", "decay_d"): kernel._CRUST_DECAY_D,
        ("crust", "thickness_mm"): kernel._CRUST_MM,
        ("crust", "conductivity_frac"): 1.0 - kernel._CRUST_FLOOR,
        ("crust", "sprinkler_energy_j_m2_mm"): kernel._SPRINKLER_J_M2_MM,
        ("loosened layer", "conductivity_frac"): kernel._LOOSE_FACTOR,
        ("loosened layer", "settling_rain_mm"): kernel._SETTLING_MM,
        ("surface", "ponding_mm"): kernel._PONDING_MM,
        ("cover", "interception_mm"): kernel._INTERCEPTION_MM,
        ("cover", "shade_frac"): kernel._SHADE,
        ("cover", "root_efold_mm"): kernel._ROOT_EFOLD_MM,
        ("cover", "stress_range_frac"): kernel._STRESS_RANGE,
        ("flush", "shoot_stop_kpa"): kernel._SHOOT_STOP_KPA,
        ("flush", "drying_kpa"): kernel._DRYING_KPA,
        ("flush", "drying_range_kpa"): kernel._DRYING_RANGE_KPA,
        # members and weather
        ("soil member", "model_rain_factor"): ensemble._MODEL_RAIN_FACTOR,
        ("soil member", "first_suction_kpa"): ensemble.FIRST_SUCTION_KPA,
        ("soil member", "wheel_least_factor"): ensemble._WHEEL_OVER_DRAINED[0],
        ("soil member", "wheel_most_factor"): ensemble._WHEEL_OVER_DRAINED[1],
        ("forecast", "ln_rain_sd"): ensemble._FORECAST_RAIN_LN_SD,
        ("forecast", "ln_rain_less"): ensemble._FORECAST_RAIN_LN_LESS,
        ("forecast", "range_z"): ensemble._RANGE_Z,
        ("forecast", "shift_h"): ensemble._FORECAST_SHIFT_H[0],
        ("forecast", "shift_more_h"): ensemble._FORECAST_SHIFT_H[1],
        ("forecast", "temp_sd_c"): ensemble._FORECAST_TEMP_SD_C[0],
        ("forecast", "temp_more_sd_c"): ensemble._FORECAST_TEMP_SD_C[1],
        ("weather age", "noted_h"): forcing.NOTED_AGE_H,
        ("weather age", "forecast_limit_h"): forcing.FORECAST_LIMIT_H,
        ("weather age", "observed_limit_h"): forcing.OBSERVED_LIMIT_H,
        ("past years", "shift_d"): ensemble._PAST_YEAR_SHIFT_D,
        ("past years", "enough_years"): ensemble.ENOUGH_PAST_YEARS,
        ("demand", "inland_k_rs"): sun.INLAND_K_RS,
        ("demand", "default_wind_2m_m_s"): forcing.DEFAULT_WIND_2M_M_S,
        # what covers a bed
        ("cover", "full_cover_crop_factor"): plantings._FULL_COVER_FACTOR,
        ("cover", "bare_crop_factor"): float(
            plantings.surface_table(planting(), [], {}, START, 1)[0, 4]
        ),
        ("cover", "root_empty_mm"): plantings._EMPTY_ROOTS_MM,
        ("cover", "root_young_mm"): plantings._YOUNG_ROOTS_MM,
        ("cover", "root_more_mm"): plantings._ROOTS_PER_COVER_MM,
        ("cover", "weedy_frac"): plantings._WEEDY_COVER_FRAC,
        ("cover", "most_frac"): plantings._MOST_COVER_FRAC,
        ("cover", "most_open_frac"): plantings._MOST_COVER_NEVER_CLOSED_FRAC,
        ("cover", "up_frac"): plantings._UP_SHARE,
        ("cover", "default_close_d"): plantings._DEFAULT_CLOSE_D,
        ("preparation", "ends_planting_mm"): plantings._DEEP_PREP_MM,
        # weeds
        ("flush", "trigger_rain_mm"): _default(wetting_triggers, "wet_mm"),
        ("flush", "trigger_event_h"): _default(wetting_triggers, "event_h"),
        ("flush", "trigger_dry_d"): _default(wetting_triggers, "dry_spell_d"),
        ("flush", "trigger_dry_mm"): _default(wetting_triggers, "dry_mm"),
        ("flush", "least_opening_frac"): weeds._LEAST_OPENING,
        ("flush", "reach_mm"): weeds._REACH_MM,
        ("flush", "thin_band_frac"): settings._THIN_BAND_FRAC,
        ("flush", "row_band_mm"): 1000.0 * weeds._ROW_BAND_M,
        ("sowing", "stirs_in_row_frac"): weeds._SOWING_STIRS[weeds.IN_ROW],
        ("sowing", "stirs_between_frac"): weeds._SOWING_STIRS[weeds.BETWEEN],
        ("preparation", "kill_shallow_frac"): weeds._SHALLOW_PREP_KILL,
        ("preparation", "kill_deep_frac"): weeds._DEEP_PREP_KILL,
        ("kill", "dry_for_good_mm"): offers._DRY_FOR_GOOD_MM,
        ("kill", "buried_for_d"): passes._BURIED_FOR_D,
        ("kill", "spell_gap_h"): pass_kill._SPELL_GAP_H,
        ("kill", "stacked_frac"): pass_kill._STACK_FRAC,
        ("kill", "buried_daily_frac"): pass_kill._BURIED_DAILY_FRAC,
        ("kill", "buried_daily_large_frac"): pass_kill._BURIED_DAILY_LARGE_FRAC,
        ("kill", "buried_daily_wettings"): pass_kill._DAILY_WETTINGS,
        ("kill", "speed_gain_to_m_s"): pass_kill._FASTEST_KM_H / 3.6,
        ("thrown soil", "weed_clear_mm"): -pass_kill._COVER_MM[0],
        ("thrown soil", "crop_clear_mm"): pass_kill._HILLED_CLEAR_MM[-1],
        ("uprooting", "emerging_frac"): pass_kill._UPROOTED_EMERGING_FRAC,
        ("uprooting", "seedling_frac"): pass_kill._UPROOTED_SEEDLING_FRAC,
        ("uprooting", "at_depth_mm"): pass_kill._UPROOTED_AT_MM,
        ("uprooting", "doubles_from_mm"): pass_kill._DOUBLES_MM[0],
        ("uprooting", "doubles_to_mm"): pass_kill._DOUBLES_MM[1],
        # tools and crops
        ("work", "turn_s"): geometry._TURN_S,
        ("work", "hand_turn_s"): geometry._HAND_TURN_S,
        ("work", "tight_turn_s"): geometry._TIGHT_TURN_S,
        ("work", "backing_speed_frac"): geometry._BACKING_FRAC,
        ("work", "access_min"): work._ACCESS_MIN,
        ("work", "lift_s"): work._LIFT_S,
        ("work", "other_setting_frac"): work._OTHER_SETTING_FRAC,
        ("work", "other_setting_min"): work._OTHER_SETTING_MIN,
        ("own rates", "prior_ln_sd"): own_rates._PRIOR_LN_SD,
        ("own rates", "entry_ln_sd"): own_rates._ENTRY_LN_SD,
        ("own rates", "hand_entry_ln_sd"): own_rates._HAND_ENTRY_LN_SD,
        ("own rates", "reading_min"): own_rates._READING_MIN,
        ("own rates", "shared_frac"): own_rates._SHARED_FRAC,
        ("own rates", "doubt_sd"): own_rates._DOUBT_SD,
        ("own rates", "newest_entries"): own_rates._NEWEST,
        ("own rates", "kill_strength"): own_rates._KILL_STRENGTH,
        ("own rates", "most_marked"): own_rates._MOST_MARKED,
        ("own rates", "kill_doubt_frac"): own_rates._KILL_DOUBT_FRAC,
        ("own rates", "telling_frac"): own_rates._TELLING_FRAC,
        ("own rates", "edge_frac"): own_rates._EDGE_FRAC,
        ("own rates", "after_pass_d"): own_rates._AFTER_PASS_D,
        ("own rates", "older_weeds_d"): own_rates._OLDER_WEEDS_D,
        ("geometry", "spacing_frac"): geometry._SPACING_FRAC,
        ("geometry", "hand_clear_mm"): geometry._HAND_CLEAR_MM,
        ("geometry", "hoe_width_mm"): geometry._HOE_WIDTH_MM,
        ("geometry", "wheel_clear_mm"): geometry._WHEEL_CLEAR_MM,
        ("geometry", "crop_clear_mm"): geometry._CROP_CLEAR_MM,
        ("geometry", "width_short_frac"): geometry._WIDTH_SHORT_FRAC,
        ("geometry", "headland_mm"): 1000.0 * geometry._HEADLAND_M,
        ("geometry", "least_headland_mm"): 1000.0 * geometry._LEAST_HEADLAND_M,
        ("geometry", "untreated_mm"): 1000.0 * geometry._UNTREATED_M,
        ("work", "machine_setup_min"): farm_tools._MACHINE_SETUP_MIN,
        ("work", "closed_cover_frac"): gates.CLOSED_COVER,
        ("workability", "skin_h"): outlook.SKIN_H,
        ("workability", "rains_mm"): spans.RAINS_MM,
        ("emergence", "last_blind_frac"): outlook._LAST_BLIND_SHARE,
        ("emergence", "dry_kpa"): outlook._SEEDBED_DRY_KPA,
        ("emergence", "default_depth_mm"): outlook._DEFAULT_DEPTH_MM,
        ("emergence", "all_up_frac"): gates.REACHED,
        ("emergence", "last_flame_frac"): outlook._LAST_FLAME_SHARE,
        ("gate", "above_seed_mm"): gates._ABOVE_SEED_MM,
        ("gate", "least_above_mm"): gates._LEAST_ABOVE_MM,
        ("gate", "least_blind_mm"): gates._LEAST_BLIND_MM,
        ("gate", "most_blind_loss_frac"): gates._MOST_BLIND_LOSS_FRAC,
        ("kill", "again_most_frac"): passes._TAKES_MOST,
        ("gate", "careful_loss_factor"): gates._CAREFUL_FACTOR,
        ("gate", "shallow_loss_factor"): gates._SHALLOW_FACTOR,
        ("gate", "marginal_loss_factor"): gates._MARGINAL_LOSS,
        ("gate", "margin_frac"): gates._MARGIN_SHARE,
        ("gate", "clear_mm"): gates._CLEAR_MM,
        ("gate", "stuck_h"): gates._STUCK_H,
        ("growth", "season_c"): crop_stage._SEASON_C,
        ("growth", "warm_day_cd"): crop_stage._WARM_DAY_CD,
        ("growth", "heat_cap_c"): crop_growth.HEAT_CAP_C,
        ("growth", "set_height_mm"): crop_stage._SET_HEIGHT_MM,
        # the stale bed
        ("stale bed", "apart_h"): stale_bed._APART_H,
        ("stale bed", "overgrown"): stale_bed._OVERGROWN,
        ("stale bed", "carried_d"): stale_bed._CARRIED_D,
        ("stale bed", "carried_sd_c"): stale_bed._CARRIED_SD_C,
        ("stale bed", "carried_more_sd_c"): stale_bed._CARRIED_MORE_SD_C,
        ("stale bed", "carried_most_sd_c"): stale_bed._CARRIED_MOST_SD_C,
        ("stale bed", "deepest_mm"): stale_bed._DEEPEST_MM,
        ("stale bed", "water_least_mm"): stale_bed._WATER_MM[0],
        ("stale bed", "water_most_mm"): stale_bed._WATER_MM[1],
        ("stale bed", "water_sight_h"): stale_bed._WATER_SIGHT_H,
        ("stale bed", "wetting_mm"): stale_bed._WETTING_MM,
        ("stale bed", "wetting_chance_frac"): stale_bed._WETTING_CHANCE,
        ("stale bed", "dry_after_pass_h"): stale_bed._DRY_AFTER_PASS_H,
        # crust breaking, last call before seed, flame
        ("crust break", "chance_frac"): special._CRUST_CHANCE,
        ("crust break", "depth_mm"): special._CRUST_DEPTH_MM,
        ("crust break", "sprinkle_least_mm"): special._SPRINKLE_MM[0],
        ("crust break", "sprinkle_most_mm"): special._SPRINKLE_MM[1],
        ("crust break", "kept_least_mm"): special._KEPT_MM[0],
        ("crust break", "kept_mid_mm"): special._KEPT_MM[1],
        ("crust break", "kept_most_mm"): special._KEPT_MM[2],
        ("seed set", "base_c"): special._SEED_BASE_C,
        ("seed set", "heat_cd"): special._SEED_CD,
        ("seed set", "pace_d"): special._SEED_PACE_D,
        ("seed set", "due_d"): special._SEED_DUE_D,
        ("seed set", "established_m2"): special._ESTABLISHED_M2,
        ("seed set", "survived_frac"): special._SURVIVED_FRAC,
        ("flame pass", "least_up_m2"): special._FLAME_M2,
        # what visits teach
        ("visit", "contradicted_frac"): visits._CONTRADICTED_FRAC,
        ("visit", "least_effective_frac"): visits._LEAST_EFFECTIVE_FRAC,
        ("squeeze test", "feel_sd_m3m3"): handful.FEEL_SD_M3M3,
        ("squeeze test", "hard_misread_frac"): handful.HARD_MISREAD_FRAC,
        ("squeeze test", "shift_sd_m3m3"): squeeze.SHIFT_SD_M3M3,
        ("squeeze test", "lapse_frac"): squeeze._LAPSE_FRAC,
        ("squeeze test", "doubted_frac"): squeeze._DOUBTED_FRAC,
        ("squeeze test", "kept_frac"): former.SOIL_KEPT_FRAC,
        ("squeeze test", "wheels_frac"): squeeze._WHEELS_SHARE,
        ("squeeze test", "soaked_mm"): soil_lessons._SOAKED_MM,
        ("squeeze test", "told_h"): soil_lessons._TOLD_H,
        ("squeeze test", "told_m3m3"): soil_lessons._TOLD_M3M3,
        # what a farm's own record does to `sure`
        ("sure", "least_lines"): sure._LEAST_LINES,
        ("sure", "prior_lines"): sure._PRIOR_LINES,
        ("sure", "least_off_frac"): sure._LEAST_OFF,
        # the verdict
        ("verdict", "go_chance_frac"): day.GO_CHANCE,
        ("verdict", "fit_chance_frac"): day.FIT_CHANCE,
        ("verdict", "clean_m2"): verdict._CLEAN_M2,
        ("verdict", "nearly_frac"): verdict._NEARLY,
        ("verdict", "least_share_frac"): verdict._LEAST_SHARE,
        ("verdict", "mat_m2"): verdict._MAT_M2,
        ("verdict", "most_mat_m2"): verdict._MOST_MAT_M2,
        ("verdict", "hand_young_m2"): verdict._HAND_YOUNG_M2,
        ("verdict", "hand_established_m2"): verdict._HAND_ESTABLISHED_M2,
        ("verdict", "hand_window_d"): verdict._HAND_WINDOW / timedelta(days=1),
        ("verdict", "hand_kill_frac"): verdict._HAND_KILL,
        ("verdict", "weathered_frac"): verdict._WEATHERED,
        ("verdict", "dry_surface"): verdict._DRY_SURFACE,
        ("verdict", "least_net_min"): verdict._LEAST_NET_MIN,
        ("verdict", "least_sure_frac"): verdict._LEAST_SURE,
        ("verdict", "hand_share_frac"): verdict._HAND_SHARE,
        ("verdict", "mat_weed_min"): verdict._MAT_MIN_M2,
        ("verdict", "cleans_up_frac"): verdict._CLEANS_UP,
        ("verdict", "last_chance_factor"): verdict._LAST_CHANCE,
        ("look", "asked_a_morning"): look_choice.MOST_LOOKS,
        ("look", "look_min"): look_choice.LOOK_MIN,
        ("look", "rests_d"): look_choice._RESTS / timedelta(days=1),
        ("look", "soon_d"): look_choice._SOON_D,
        ("look", "spots"): look_choice._SPOTS,
        ("look", "sprouts"): look_choice._SPROUTS,
        ("look", "searched_square_metres"): look_choice._SPOT_M2,
        ("look", "least_answer_frac"): look_choice._LEAST_CHANCE,
        ("look", "mix_temper_frac"): look_models.MIX_TEMPER,
        ("look", "mix_floor_frac"): look_models.MIX_FLOOR_FRAC,
        ("look", "found_frac"): look_models.SEEN_FRAC,
        ("look", "false_frac"): look_models.FALSE_FRAC,
        ("look", "place_clumping"): look_models.CLUMPING,
        ("look", "few_m2"): look_models.FEW_M2,
        ("look", "many_m2"): look_models.MANY_M2,
        ("look", "estimate_clumping"): look_models.ESTIMATE_CLUMPING,
        ("look", "range_ln_sd"): look_models.RANGE_LN_SD,
        ("look", "green_times"): sightings.GREEN_TIMES,
        ("look", "one_look_h"): sightings.ONE_LOOK_H,
        ("look", "forgotten_half_d"): sightings.FORGOTTEN_HALF_D,
        ("look", "anything_least_m2"): sightings._ANYTHING_M2[0],
        ("look", "anything_most_m2"): sightings._ANYTHING_M2[1],
        ("look", "least_effective_frac"): looks.LEAST_EFFECTIVE_FRAC,
        ("look", "shared_frac"): looks.SHARED_FRAC,
        ("look", "year_kept_frac"): looks.YEAR_KEPT_FRAC,
        ("look", "fewer_factor"): looks._FEWER,
        ("look", "most_told_sd"): looks.MOST_TOLD_SD,
        ("look", "shared_size_frac"): looks.SHARED_SIZE_FRAC,
        ("look", "dug_square_metres"): sightings._DUG_M2,
        ("look", "doubted_ln"): looks.DOUBTED_LN,
        ("look", "block_d"): former.BLOCK_D,
        ("look", "former_years"): former.YEARS_BACK,
        ("look", "former_kept_frac"): former.LOOKS_KEPT_FRAC,
        ("look", "told_d"): lessons.TOLD_D,
        ("look", "told_times"): lessons.TOLD_TIMES,
        ("look", "news_for_d"): lessons.NEWS_FOR_D,
        ("look", "next_to_none_m2"): lessons._FEW_M2,
        ("look", "recent_d"): lessons._RECENT_D,
        ("verdict", "crust_chance_frac"): readings._CRUST_CHANCE,
        ("verdict", "wetting_chance_frac"): readings._WETTING_CHANCE,
        ("value", "again_after_d"): value._AGAIN_AFTER_D,
        ("value", "spring_month"): window._SPRING_MONTH,
        ("value", "spring_month_south"): window._SPRING_MONTH_SOUTH,
        ("value", "winter_d"): window._WINTER / timedelta(days=1),
        ("order", "keeps_place_frac"): order._KEEPS_PLACE,
        ("review", "ripe_frac"): windows._RIPE_FRAC,
        ("review", "last_good_frac"): windows._LAST_GOOD_FRAC,
        ("review", "standing_frac"): windows._STANDING_FRAC,
        ("review", "early_frac"): windows._EARLY_FRAC,
        ("review", "at_once_h"): windows._AT_ONCE_H,
        ("review", "followed_d"): costs.FOLLOWED_D,
        ("review", "account_before_d"): judging._ACCOUNT_BEFORE_D,
        ("review", "small_min"): costs.SMALL_MIN,
        ("review", "unknown_pass_min"): review_hours._UNKNOWN_PASS_MIN,
        ("review", "fit_day_h"): fit_days._LEAST_H,
        ("review", "weeks_unknown_d"): judging._WEEKS_UNKNOWN_D,
        ("crust break", "worth_min_m2"): advice._CRUST_MIN_M2,
        ("crust break", "before_d"): advice._BEFORE_IT_D,
    }
    bands = HeatBands()
    found["heat index", "sun_allowance_c"] = bands.sun_allowance_c
    for band, from_c in zip(HEAT_BANDS[1:], bands.from_c, strict=True):
        found["heat index", f"{band.replace(' ', '_')}_from_c"] = from_c
    for lead, root in enumerate(ensemble._DAY_SKILL):
        found["forecast", f"skill_{lead:02d}_frac"] = float(root) ** 2
    for i, excess in enumerate(squeeze._VERY_WET_M3M3[:-1], 1):
        found["squeeze test", f"very_wet_{i}_m3m3"] = excess
    for i, kpa in enumerate(settings.GATE_KPA, 1):
        found["flush", f"gate_{i}_kpa"] = kpa
    for over_mm, name in (
        (0.0, "level"),
        *((d, f"over_{d:.0f}") for d in (10.0, 15.0, 20.0, 40.0)),
    ):
        found["thrown soil", f"{name}_kill_frac"] = float(pass_kill.covered_kill_frac(over_mm))
    for clear_mm, name in ((0.0, "level"), (-10.0, "over_10")):
        found["thrown soil", f"crop_{name}_loss_frac"] = float(
            pass_kill.hilled_crop_loss_frac(clear_mm)
        )
    for stage, kill in zip(STAGES, settings.STAGE_KILL_FRAC, strict=False):
        found["flush", f"one_pass_{stage}_frac"] = kill
    for stage, kill in zip(STAGES, weeds._SOWING_KILL[weeds.IN_ROW], strict=True):
        found["sowing", f"kill_{stage}_frac"] = float(kill)
    return found | {
        # a season played again
        ("replay", "every_d"): replay.EVERY_D,
        ("replay", "seen_m2"): replay.SEEN_M2,
        ("replay", "seen_gap_d"): replay.SEEN_GAP_D,
        ("replay", "out_from_min"): replay._OUT_FROM_MIN,
        ("compare", "look_every_d"): compare.LOOK_EVERY_D,
        ("compare", "stale_d"): compare.STALE_D,
        ("compare", "paid_back_seasons"): compare.PAID_BACK_SEASONS,
        ("compare", "edge_mm"): compare._EDGE_MM,
        ("compare", "machine_setup_min"): set_ups.MACHINE_SETUP_MIN,
        ("compare", "machine_width_mm"): 1000.0 * set_ups.MACHINE_WIDTH_M,
        ("compare", "hoe_width_mm"): 1000.0 * set_ups.HOE_WIDTH_M,
    }


IN_CODE = _in_code()


@pytest.fixture(scope="module")
def tables() -> Tables:
    return load_tables()


@pytest.fixture
def read_by_service(monkeypatch: pytest.MonkeyPatch) -> set[Key]:
    """The rows that the settings ask for when everything is asked of them."""
    read: set[Key] = set()
    value = Tables.value

    def noted(self: Tables, subject: str, parameter: str) -> Parameter:
        read.add((subject, parameter))
        return value(self, subject, parameter)

    monkeypatch.setattr(Tables, "value", noted)
    for ask in (
        settings.spread, settings.crop_traits, settings.traits_by_kind, settings.guilds,
        settings.weed_settings, settings.kill_by_kind, settings.kill_settings, settings.hand_rates,
        settings.value_settings, settings.sure_knots,
    ):  # fmt: skip
        ask.__wrapped__()  # past the cache
    for texture in settings.tables().texture_names():
        settings.soil_prior(Soil(texture, texture, None, None, 2.5))
    return read


@pytest.mark.parametrize("key", sorted(IN_CODE), ids=" ".join)
def test_a_constant_of_the_code_is_its_row(tables: Tables, key: Key) -> None:
    assert IN_CODE[key] == pytest.approx(tables.number(*key), rel=1e-9)


def test_every_row_is_used(tables: Tables, read_by_service: set[Key]) -> None:
    assert len(read_by_service) > 600
    idle = [key for key in tables.parameters if key not in read_by_service and key not in IN_CODE]
    assert not idle, f"rows read by nothing: {idle}"


def test_no_row_is_both_read_and_a_constant(read_by_service: set[Key]) -> None:
    assert not read_by_service & set(IN_CODE)


def test_constants_that_stand_twice_agree(tables: Tables) -> None:
    """One figure, two places in the code."""
    assert _default(crust.crust_class, "breakable_from") == outlook._CRUST_SEEN
    assert _default(crust.crust_class, "hard_from") == outlook._CRUST_HARD
    assert _default(crust.crust_maturity, "decay_d") == kernel._CRUST_DECAY_D
    assert special._CRUST_HARD == outlook._CRUST_HARD
    assert special._MAT_M2 == verdict._MAT_M2
    assert chances._UNFITTING_MIN == review_hours._UNKNOWN_PASS_MIN
    assert verdict._HAND_WINDOW / timedelta(days=1) == judging._WEEKS_UNKNOWN_D
    assert reading._DEEP == plantings._DEEP_PREP_MM
    assert value._NEARLY == verdict._NEARLY
    assert truth._LEAST_OPENING == weeds._LEAST_OPENING
    assert truth._SOWING_STIRS == weeds._SOWING_STIRS
    assert (weeds._SOWING_KILL[weeds.IN_ROW] == weeds._SOWING_KILL[weeds.BETWEEN]).all()
    leaves = settings.value_settings().sowing_leaves_frac[1:]
    assert np.allclose(leaves, 1.0 - weeds._SOWING_KILL[weeds.IN_ROW])
    assert truth._REACH_MM == weeds._REACH_MM
    assert play._YOUNG_M2 == verdict._HAND_YOUNG_M2
    assert play._ESTABLISHED_M2 == verdict._HAND_ESTABLISHED_M2
    assert LAYERS_MM[0] == kernel._CRUST_MM
    assert tables.number("flush", "trigger_event_h") == outlook._WETTING_H
    assert tables.number("kill", "rewet_mm") == _default(pass_kill.drying_dose_mm, "rewet_mm")
    assert tables.number("kill", "wet_before_range_m3m3") == _default(
        pass_kill.wet_before_factor, "range_m3m3"
    )
    assert _default(pass_kill.depth_factor, "usual_mm") == pass_kill._UPROOTED_AT_MM
    assert offers.REACHED == gates.REACHED
    assert sightings.SEARCHED_M2 == look_choice._SPOT_M2
    assert sightings.MOST_SPROUTS == look_choice._SPROUTS
    assert gates._DEFAULT_DEPTH_MM == outlook._DEFAULT_DEPTH_MM
    assert crop_stage._DEFAULT_CLOSE_D == plantings._DEFAULT_CLOSE_D
    assert crop_stage._UP_SHARE == plantings._UP_SHARE
    assert crop_stage._MOST_COVER_FRAC == plantings._MOST_COVER_FRAC
    assert (
        tables.number("soil member", "rain_intensity_mm_h") == disaggregation.DEFAULT_INTENSITY_MM_H
    )


# Module constants that are no parameters: names, counts, physics, grids, days of display.
NO_PARAMETER: Mapping[str, tuple[str, ...]] = {
    "ensemble": ("N_SOIL_MEMBERS", "N_STORED_LAYERS"),
    "outlook": ("_WEED_BAND_MM", "_DEEPEST_MM", "_WETTING_H"),
    "offers": ("DAYS_IN_SIGHT", "REACHED"),  # the second stands twice, see above
    "geometry": (),
    "work": (),
    "passes": ("_THREAD",),
    "plantings": (),
    "gates": ("_DEFAULT_DEPTH_MM",),  # stand twice, see above
    "crop_stage": ("_DEFAULT_CLOSE_D", "_UP_SHARE", "_MOST_COVER_FRAC"),
    "day": (),
    "weeds": ("N_PARTICLES", "N_COURSE_PARTICLES", "IN_ROW", "BETWEEN", "_N_SEEDS", "_TODAY"),
    "verdict": ("_NOTHING_MIN",),  # round-off
    "value": ("_ZONES", "_NEARLY", "_SECONDS"),  # the second stands twice, see above
    "looks": (
        "N_TRIED",
        "ROUNDS",
        "_SIZE_GRID",
        "_WIDER",
        "_LEAST_PRECISION",
        "_LEAST_VARIANCE",
    ),  # how finely
    "sightings": ("SEARCHED_M2", "MOST_SPROUTS", "_N_ANYTHING"),  # stand twice; how finely
    "watched": ("N_SEEDS", "_STANDING"),
    "former": ("BLOCKS_A_YEAR", "_SOUTH_ENDS_MONTH"),  # of the calendar
    "lessons": (
        "_LEVELS",
        "_STEP_H",
        "_N_SEEDS",
        "_N_RISING",
        "_NEAREST_H",
        "_MOST_NAMES",
    ),  # of display
    "look_choice": ("_LIMITS_M2", "_WEEK_D", "_LOGIT"),  # what is tried, days of display, numerics
    "readings": (),
    "window": (),
    "advice": (),
    "order": ("_PRICES", "_STEP_MIN"),  # what is tried
    "own_rates": ("_Z_10", "_N_GRID", "_LEAST_MIN"),  # a quantile, how finely, above nought
    # what is played is no part of an answer: garden, hidden truth, its second build, rules, hand
    "replay": ("_LIST_MEMBERS", "_LIST_PARTICLES", "_LIST_SEEDS"),
    "compare": ("_GAP_D",),
    "play": (
        "_CHECK_EVERY_D",
        "_YOUNG_M2",
        "_ESTABLISHED_M2",
        "_ESTABLISHED_BETWEEN_M2",
        "_SEEDS_A_WEED",
        "_MISREAD_FRAC",
        "_MISREAD",
    ),
    "rules": (
        "CALENDAR_D",
        "THRESHOLDS_M2",
        "GAPS_D",
        "LOOK_ERROR_LN_SD",
        "AFTER_D",
        "WET_MM",
        "_EVERY_D",
        "_SCRATCHED_M2",
    ),
    "truth": (
        "_LEAST_OPENING",
        "_SOWING_STIRS",
        "_REACH_MM",
        "_TODAY",
        "_NEVER",
        "_CLUMP",
        "_COLDEST_C",
        "_STIR_DRY",
        "_STIR_WET",
        "_CUT_DRY",
        "_CUT_WET",
        "_WET_WITHIN_H",
        "_N_COLUMNS",
    ),
    "world": (
        "_PREPARED_MM",
        "_DAYS_NEEDED",
        "_MADE_PREPARED_D",
        "_MADE_SOILS",
        "_MADE_PLAN",
        "_WATER_MM",
        "_WATER_EVERY_D",
        "_WATER_FOR_D",
        "_RAIN_ENOUGH_MM",
    ),
    "visits": ("_NOON_H",),
    "soil_lessons": ("_DAY_H",),
    "squeeze": ("_SHIFT_MOST_SD", "_N_SHIFTS"),  # how finely
    # of the review: what is computed how finely, and figures that stand twice, see above
    "windows": (),
    "costs": ("_SECONDS",),
    "fit_days": (),
    "hours": ("_NOON_H",),
    "seasons": ("_LEAST_SPAN",),
    "chances": ("_GATE_H", "_UNFITTING_MIN", "_SECONDS"),
    "reading": (
        "N_PARTICLES",
        "N_SEEDS",
        "FOLLOWED_BEFORE_D",
        "_READING_STEP",
        "_CROP_AHEAD",
        "_DEEP",
        "_WEED_BAND_MM",
        "_WEEK_H",
    ),
    "judging": (
        "_COURSE_D",
        "_COURSE_STEP_H",
        "_A_MEMBER",
        "_GRID_D",
        "_STRIP_D",
        "_CHUNK_D",
        "_JUST_H",
        "_DRY_FOR_GOOD_MM",
        "_NEAR_H",
        "_SETTLED_M3M3",
        "_SECONDS",
    ),
    "stale_bed": ("_SEED_BAND_MM", "_MOST_FLUSHES", "_TOLD_FLUSHES"),
    "special": ("_CRUST_HARD", "_MAT_M2", "_ESTABLISHED"),  # stand twice, see above
}


@pytest.mark.parametrize(
    "module",
    [
        advice,
        crop_stage,
        gates,
        ensemble,
        geometry,
        look_choice,
        looks,
        lessons,
        sightings,
        watched,
        offers,
        order,
        outlook,
        own_rates,
        passes,
        plantings,
        readings,
        soil_lessons,
        special,
        squeeze,
        stale_bed,
        sure,
        day,
        value,
        weeds,
        verdict,
        visits,
        window,
        work,
        chances,
        costs,
        fit_days,
        judging,
        reading,
        review_hours,
        seasons,
        windows,
        compare,
        play,
        played_rules,
        replay,
        truth,
        world,
    ],
)
def test_no_constant_of_planning_is_left_out(module: Any) -> None:
    """Each number that a planning module defines itself stands in `_in_code` or is no parameter."""
    name = module.__name__.rsplit(".", 1)[1]
    source = inspect.getsource(module)
    here = inspect.getsource(_in_code)
    missing = [
        constant
        for constant, value in vars(module).items()
        if constant.lstrip("_").isupper()
        and f"\n{constant} = " in source
        and isinstance(value, int | float | tuple | timedelta | np.ndarray)
        and not (isinstance(value, tuple) and isinstance(value[0], str))
        and f"{name}.{constant}" not in here
        and constant not in NO_PARAMETER[name]
    ]
    assert not missing
