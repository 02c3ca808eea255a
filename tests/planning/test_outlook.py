"""Which trigger opened the flush in force, and when a sown crop comes up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace
from typing import Any

import numpy as np

from scheduler.models.soil_column import band_weights
from scheduler.planning import outlook
from scheduler.planning.crop_stage import CropHours
from scheduler.planning.ensemble import (
    N_STORED_LAYERS,
    Ensemble,
    SoilMembers,
    run_ensemble,
    soil_members,
)
from scheduler.planning.outlook import Ground, Outlook, met_by, planting_outlook
from scheduler.planning.plantings import Trigger, disturbances, surface_table
from scheduler.planning.traits import CropTraits, ToolTraits
from scheduler.records import Event, FloatArray, IntArray, Planting, Soil
from scheduler.service.settings import soil_prior, spread, tool_traits, weed_heat
from tests.planning.made import START, entry, planting, sky, view

N = 4
NOW = 24 * 30 + 5
N_HOURS = 24 * 40
CARROT = {"carrot": CropTraits(2.0, 150.0, 25.0, None, None, 60.0, 13.0)}


@lru_cache(maxsize=1)
def loam() -> object:
    return soil_members(soil_prior(Soil("middle", "loam", None, None, 3.0)), spread(), 5, N)


def computed(
    events: Sequence[Event] = (),
    rain: Sequence[tuple[int, int, float]] = (),
    grown: Planting | None = None,
    *,
    air_c: float = 15.0,
    rain_of_member: Sequence[Sequence[tuple[int, int, float]]] = (),
    tools: Mapping[str, ToolTraits] | None = None,
    crops: Mapping[str, CropTraits] = CARROT,
) -> Outlook:
    """A loam bed at 15 C, wetted at the start; rain as (first hour, last hour, mm an hour)."""
    base = sky(NOW, N_HOURS, N)
    water = np.zeros((N, N_HOURS))
    for first, last, each in rain:
        water[:, first:last] += each
    for m, spans in enumerate(rain_of_member):
        for first, last, each in spans:
            water[m, first:last] += each
    day = np.maximum(0.0, np.sin((np.arange(N_HOURS) % 24 - 5.5) / 12.0 * np.pi))
    et0 = np.broadcast_to(2.0 * day / day[:24].sum(), water.shape).copy()
    forcing = replace(
        base.forcing,
        rain_mm=water,
        et0_mm=et0,
        air_temp_c=np.full_like(water, air_c),
        solar_mj_m2=np.broadcast_to(1.5 * day, water.shape).copy(),
    )
    at = grown or planting()
    surface = surface_table(at, events, crops, START, N_HOURS)
    ensemble: Ensemble = run_ensemble(
        replace(base, forcing=forcing),
        {"middle": loam()},  # type: ignore[dict-item]
        {at.key: ("middle", surface)},
        weed_heat(),
        stored_from_hour=0,
        readings_from_hour=0,
    )
    return planting_outlook(
        at, ensemble, disturbances(at, events), [view()], crops, tools or tool_traits(), surface
    )


def opened(of: Outlook) -> tuple[int | None, str | None]:
    return of.flush.opened_hour, of.flush.opened_by


def test_without_anything_on_record_no_flush_is_open() -> None:
    found = computed()
    assert opened(found) == (None, None)


def test_the_last_pass_ends_the_flush_before_it_and_opens_one() -> None:
    prep = entry("prep", 200, depth_mm=90.0)
    first = computed([prep, entry("pass", 600, tool="t", depth_mm=18.0)])
    assert opened(first) == (600, "pass")
    alone = computed([prep])
    assert opened(alone) == (200, "preparation")
    heat_after, heat = (o.flush.heat_cd[:, NOW - 1] for o in (first, alone))
    assert np.all(heat_after < heat)
    assert np.all(first.flush.heat_cd[:, :600] == 0.0)


def test_sowing_opens_a_flush_as_well() -> None:
    sown = [entry("prep", 200, depth_mm=90.0), entry("sow", 500, crop="carrot")]
    assert opened(computed(sown)) == (500, "sowing")


def test_rain_on_a_running_flush_lets_it_go_on() -> None:
    """A pass ten days ago, dry ground, then 12 mm: the flush is still the pass's."""
    stirred = [entry("pass", NOW - 240, tool="t", depth_mm=18.0)]
    rain = [(NOW - 60, NOW - 58, 6.0)]
    assert opened(computed(stirred, rain)) == (NOW - 240, "pass")
    watered = [*stirred, entry("water", NOW - 60, water_mm=12.0)]
    assert opened(computed(watered)) == (NOW - 240, "pass")


def test_rain_after_a_flush_has_run_its_course_opens_the_next() -> None:
    """25 days at 15 C take a spring flush past 90 % up (173 degree-days above 5 C)."""
    stirred = [entry("pass", 24, tool="t", depth_mm=18.0)]
    found = computed(stirred, [(NOW - 40, NOW - 38, 6.0)])
    assert opened(found) == (NOW - 39, "wetting")


def test_ten_dry_days_then_12_mm_open_a_flush_where_nothing_was_stirred() -> None:
    """Scene 2 of the design: the hour in which 8 mm have fallen."""
    assert opened(computed([], [(NOW - 50, NOW - 48, 6.0)])) == (NOW - 49, "wetting")
    assert opened(computed([], [(NOW - 50, NOW - 48, 3.0)])) == (None, None)  # 6 mm


def test_a_wetting_counts_whatever_the_hour_the_members_drew() -> None:
    """12 mm yesterday that each member drew into other hours, as from a daily record."""
    drawn = [[(NOW - 50 + 3 * m, NOW - 48 + 3 * m, 6.0)] for m in range(N)]
    hour, by = opened(computed(rain_of_member=drawn))
    assert by == "wetting"
    assert hour is not None
    assert NOW - 50 <= hour <= NOW - 38


def test_a_pass_of_this_very_hour_ends_the_flush() -> None:
    """Logged at 05:10, asked at 05:30: the bed is done."""
    before = entry("pass", 24 * 20, tool="t", depth_mm=18.0)
    found = computed([before, entry("pass", NOW + 10 / 60, tool="t", depth_mm=18.0)])
    assert opened(found)[0] == NOW


def test_rain_to_come_is_the_next_flush() -> None:
    found = computed([], [(NOW + 100, NOW + 102, 6.0)])
    assert found.flush.next_chance == 1.0
    assert found.flush.next_expected_hour == NOW + 101
    assert computed().flush.next_chance == 0.0


def test_a_warmer_soil_brings_the_flush_sooner() -> None:
    stirred = [entry("pass", NOW - 100, tool="t", depth_mm=18.0)]
    warm, cool = computed(stirred, air_c=18.0), computed(stirred, air_c=11.0)
    for name in ("first_thread", "good_from", "too_late"):
        assert np.all(warm.flush.reached[name] < cool.flush.reached[name])
    order = ("first_thread", "emerged10", "good_from", "best", "too_late")
    hours = np.array([warm.flush.reached[name] for name in order])
    assert np.all(np.diff(hours, axis=0) > 0)


def test_the_last_blind_hour_lies_between_sowing_and_emergence() -> None:
    """70 % of the heat to emergence by the earliest member."""
    sow = entry("sow", NOW - 100, crop="carrot")
    found = computed([sow], grown=replace(planting("carrot", NOW - 100), sowing_depth_mm=13.0))
    assert found.first_up_hours is not None
    assert found.last_blind_hours is not None
    blind = np.nanmin(found.last_blind_hours)
    assert NOW - 100 < blind < np.nanmin(found.first_up_hours)
    way = (blind - (NOW - 100)) / (np.nanmin(found.first_up_hours) - (NOW - 100))
    assert abs(way - 0.7) < 0.1  # one day is like the other


def test_a_crop_that_was_seen_up_waits_for_nothing() -> None:
    up = replace(planting("carrot", NOW - 100), up_at=START)
    found = computed([entry("sow", NOW - 100, crop="carrot")], grown=up)
    assert found.emergence_hours is None
    assert found.last_blind_hours is None
    assert found.crop_hours is None
    set_on = replace(planting("carrot", NOW - 100), is_sown=False)
    assert computed([], grown=set_on).emergence_hours is None


def test_a_deeply_sown_crop_has_an_outlook() -> None:
    deep = replace(planting("carrot", NOW - 100), sowing_depth_mm=150.0)
    assert computed([entry("sow", NOW - 100, crop="carrot")], grown=deep).works


def test_frozen_ground_is_not_worked_however_dry() -> None:
    kinds = tool_traits()
    cold, mild = computed(air_c=-10.0), computed()
    assert any(mild.works[kind].is_workable[:, NOW:].any() for kind in kinds)
    assert not any(cold.works[kind].is_workable[:, NOW:].any() for kind in kinds)


def test_wheels_wait_for_the_soil_below_the_tool() -> None:
    """Two tools alike but for their wheels, on the days after 40 mm."""
    by_hand = replace(tool_traits()["sweeps"], is_wheeled=False)
    pair = {"by hand": by_hand, "on wheels": replace(by_hand, is_wheeled=True)}
    works = computed([], [(NOW - 30, NOW - 20, 4.0)], tools=pair).works
    hand, wheels = (works[kind].is_workable for kind in pair)
    assert not (wheels & ~hand).any()
    assert hand[:, NOW - 20 :].sum() > wheels[:, NOW - 20 :].sum()


def test_a_skin_that_the_sun_dried_is_no_dry_soil_while_it_is_wet_below() -> None:
    """0-30 mm wet for a day, then dry: with wet soil below a hoe waits for half a day of it."""
    members: SoilMembers = loam()  # type: ignore[assignment]
    dry, wet = (members.working_m3m3 * factor for factor in (0.98, 1.08))
    hoe = replace(tool_traits()["wheel hoe"], wetness_offset_m3m3=0.0)
    n_hours, dried_at = 48, 24

    def first_fit(below: FloatArray) -> IntArray:
        theta = np.broadcast_to(below[:, None, None], (N, n_hours, N_STORED_LAYERS)).copy()
        is_top = band_weights(0.0, 30.0, N_STORED_LAYERS) > 0.0
        theta[:, :dried_at, is_top] = wet[:, None, None]
        theta[:, dried_at:, is_top] = dry[:, None, None]
        nothing = np.zeros((N, n_hours))
        fit = met_by(hoe, Ground(members, theta, nothing > 0.0, nothing)).is_fit
        return np.asarray(fit.argmax(axis=1))

    assert (first_fit(members.wheel_m3m3 * 0.9) == dried_at).all()
    waits_h = first_fit(members.wheel_m3m3 * 1.1) - dried_at
    assert ((waits_h > 6) & (waits_h <= outlook.SKIN_H)).all()


def test_of_two_tables_the_gates_take_the_earlier_and_up_is_the_later() -> None:
    sow, grown = entry("sow", NOW - 100, crop="carrot"), planting("carrot", NOW - 100)
    slower = {"carrot": replace(CARROT["carrot"], late_base_c=2.0, late_cd=160.0)}
    one = computed([sow], grown=grown)
    both = computed([sow], grown=grown, crops=slower)
    assert np.array_equal(both.last_blind_hours, one.last_blind_hours)
    assert np.array_equal(both.first_up_hours, one.first_up_hours)
    assert np.all(both.emergence_hours > one.emergence_hours)


def test_soil_outside_the_limits_of_a_crop_stops_both_clocks() -> None:
    """In air of 15 C the seedbed is at 14 to 21 C."""
    sow, grown = entry("sow", NOW - 500, crop="carrot"), planting("carrot", NOW - 500)
    plain = replace(CARROT["carrot"], late_base_c=2.0, late_cd=160.0)

    def hours(**limits: float) -> CropHours:
        found = computed([sow], grown=grown, crops={"carrot": replace(plain, **limits)})
        assert found.crop_hours is not None
        return found.crop_hours

    names = ("first_up", "last_up", "last_blind", "last_flame")
    free, wide = hours(), hours(coldest_c=12.0, ceiling_c=24.0)
    for name in names:
        assert np.isfinite(getattr(free, name)).all()
        assert np.array_equal(getattr(free, name), getattr(wide, name))
    for limits in ({"coldest_c": 24.0}, {"ceiling_c": 12.0}):
        for name in names:
            assert np.isnan(getattr(hours(**limits), name)).all()


def test_limits_hold_for_the_mean_of_a_day() -> None:
    noon = 8.0 * np.sin((np.arange(24 * 6) - 9) / 24.0 * 2.0 * np.pi)
    bean = replace(CARROT["carrot"], coldest_c=15.0, ceiling_c=30.0)
    for mean_c, is_within in ((16.0, True), (29.5, True), (14.0, False), (31.0, False)):
        found = outlook._is_within_limits((mean_c + noon)[None, :], bean)
        assert np.all(found[:, 24:] == is_within), mean_c
    steady = np.full((1, 48), 15.0)
    assert outlook._is_within_limits(steady, bean).all()
    assert outlook._is_within_limits(steady - 20.0, CARROT["carrot"]).all()
    turned = np.concatenate((np.full((1, 48), 10.0), np.full((1, 48), 20.0)), axis=1)
    assert outlook._is_within_limits(turned, bean)[0].argmax() == 48 + 11


def test_whether_a_flush_ran_its_course_goes_by_the_weight_of_the_members() -> None:
    """Three of four members are past nine tenths up; the fourth weighs more than all of them."""
    at = sky(NOW, N_HOURS, N)
    ensemble: Any = SimpleNamespace(sky=at)
    milestones = view().milestones
    ran_cd = np.array([2.0, 2.0, 2.0, 0.2]) * milestones.emerged90_cd
    heat = np.minimum(np.arange(N_HOURS) / 400.0, 1.0) * ran_cd[:, None]
    old, new = (Trigger(at.at(float(h)), by) for h, by in ((10, "pass"), (500, "wetting")))

    def opened_by(weights: list[float]) -> str:
        found = outlook._opening([old, new], milestones, heat, 0, ensemble, np.array(weights))
        assert found is not None
        return found.by

    assert opened_by([1.0, 1.0, 1.0, 1.0]) == "wetting"
    assert opened_by([1.0, 1.0, 1.0, 9.0]) == "pass"
