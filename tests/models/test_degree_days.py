"""The first weed clock: pausing, triggers, dates, and a second opinion by drawing seeds."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models.weeds.degree_days import (
    MILESTONES,
    Guild,
    flush_dates,
    flush_milestones,
    flush_shares,
    germination_heat_c,
    latest_trigger,
    next_trigger,
    thermal_progress_cd,
    wetting_triggers,
)

SPRING = Guild("spring", 5, 27, 38, 70, 0.55, -1000, 12, 1.8, 50, 0.5, 0.35, 4, 25, 20)
WARM = Guild("warm", 10, 32, 42, 50, 0.50, -800, 10, 1.6, 50, 0.5, 0.35, 8, 25, 15)
STAGE_KILL_FRAC = (0.9, 0.75, 0.35, 0.10)


def test_moist_soil_gives_plain_degree_days() -> None:
    rng = np.random.default_rng(1)
    temp = rng.uniform(5.0, 27.0, (3, 240))
    found = thermal_progress_cd(temp, np.full_like(temp, 15.0), SPRING).sum(axis=1)
    assert_allclose(found, (temp.reshape(3, 10, 24).mean(axis=2) - 5.0).sum(axis=1), rtol=1e-12)


def test_warm_afternoons_count_where_the_daily_mean_does_not() -> None:
    temp = (9.0 + 6.0 * np.sin(2.0 * np.pi * np.arange(24) / 24.0))[None, :]
    assert temp.mean() < WARM.base_c
    assert thermal_progress_cd(temp, np.full_like(temp, 15.0), WARM).sum() > 0.8


def test_heat_rises_to_the_optimum_and_ends_at_the_ceiling() -> None:
    found = germination_heat_c([5.0, 27.0, 32.5, 38.0, 50.0, -3.0], SPRING)
    assert_allclose(found, [0.0, 22.0, 11.0, 0.0, 0.0, 0.0], rtol=1e-12, atol=1e-12)


def test_dryness_pauses_and_keeps() -> None:
    """A dry fortnight shifts every later date by exactly that fortnight."""
    n_hours = 24 * 60
    temp = np.full((1, n_hours), 15.0)
    moist = np.full((1, n_hours), 20.0)
    dry = moist.copy()
    dry[0, 24 * 5 : 24 * 19] = 1500.0
    milestones = flush_milestones(SPRING, STAGE_KILL_FRAC).heat_cd
    dates = [
        flush_dates(
            np.cumsum(thermal_progress_cd(temp, suction, SPRING), axis=1), [0], milestones
        ).reached_hour[:, 0]
        for suction in (moist, dry)
    ]
    before = dates[0] < 24 * 5
    assert before.any()
    assert not before.all()
    assert (dates[1] - dates[0] == np.where(before, 0, 24 * 14)).all()


def test_gate_stands_at_the_base_potential() -> None:
    found = thermal_progress_cd([[15.0, 15.0]], [[999.9, 1000.0]], SPRING)
    assert found[0, 0] > 0.0
    assert found[0, 1] == 0.0


@pytest.mark.parametrize("guild", [SPRING, WARM], ids=lambda g: g.name)
def test_shares_agree_with_drawn_seeds(guild: Guild) -> None:
    """100 000 seeds one by one, another route than the quadrature of the room."""
    rng = np.random.default_rng(77)
    n = 100_000
    germinates_cd = rng.lognormal(np.log(guild.theta50_cd), guild.sigma_ln, n)
    scale = guild.depth_mean_mm / guild.depth_shape
    depth_mm = rng.gamma(guild.depth_shape, scale, 2 * n)
    depth_mm = depth_mm[depth_mm <= guild.depth_max_mm][:n]
    spread = np.sqrt(np.log1p(guild.elongation_cv**2))
    up_cd = germinates_cd + depth_mm / rng.lognormal(np.log(guild.elongation_mm_cd), spread, n)
    heat_cd = np.array([20.0, 40.0, 70.0, 110.0, 180.0, 300.0])
    found = flush_shares(heat_cd, guild)
    drawn_up = (up_cd <= heat_cd[:, None]).mean(axis=1)
    drawn_germinated = (germinates_cd <= heat_cd[:, None]).mean(axis=1)
    # three standard errors of a share among 100 000
    assert_allclose(found.emerged_frac, drawn_up, rtol=0, atol=0.005)
    assert_allclose(found.thread_frac, drawn_germinated - drawn_up, rtol=0, atol=0.005)


@given(
    heat=st.lists(st.floats(0.0, 2000.0), min_size=2, max_size=20),
)
@settings(max_examples=30, deadline=None)
def test_shares_never_go_back(heat: list[float]) -> None:
    found = flush_shares(np.sort(heat), SPRING)
    total = found.to_germinate_frac + found.thread_frac + found.emerged_frac
    assert_allclose(total, 1.0, rtol=1e-12, atol=0)
    assert np.all(np.diff(found.emerged_frac) >= 0.0)
    assert np.all(np.diff(found.to_germinate_frac) <= 0.0)
    assert np.all(found.thread_frac >= -1e-12)
    assert np.all(np.diff(found.to_come_frac) <= 1e-12)


def test_shares_of_no_heat_and_of_unknown_heat() -> None:
    found = flush_shares([0.0, np.nan], SPRING)
    assert found.to_germinate_frac[0] == 1.0
    assert np.isnan(found.emerged_frac[1])


def test_milestones_come_in_order() -> None:
    for guild in (SPRING, WARM):
        m = flush_milestones(guild, STAGE_KILL_FRAC)
        assert m.first_thread_cd < m.emerged10_cd < m.emerged50_cd < m.emerged90_cd
        assert m.good_from_cd < m.best_cd < m.too_late_cd
        assert m.first_thread_cd < m.peak_thread_cd < m.too_late_cd
        assert m.heat_cd.shape == (len(MILESTONES),)
        assert m.heat_cd[MILESTONES.index("too_late")] == m.too_late_cd


def test_a_tool_that_kills_no_leaves_must_come_earlier() -> None:
    threads_only = flush_milestones(SPRING, (0.9, 0.2, 0.0, 0.0))
    sharp = flush_milestones(SPRING, (0.85, 0.85, 0.80, 0.65))
    assert threads_only.best_cd < sharp.best_cd
    assert threads_only.too_late_cd < sharp.too_late_cd
    assert threads_only.best_kill_frac < sharp.best_kill_frac


def test_deeper_seed_comes_later() -> None:
    deep = dataclasses.replace(SPRING, depth_mean_mm=25.0)
    assert (
        flush_milestones(deep, STAGE_KILL_FRAC).emerged50_cd
        > flush_milestones(SPRING, STAGE_KILL_FRAC).emerged50_cd + 10.0
    )


def test_dates_start_at_the_opening() -> None:
    total = np.cumsum(np.full((3, 100), 0.5), axis=1)
    dates = flush_dates(total, [0, 40, -1], [5.0, 45.0])
    assert dates.reached_hour.tolist() == [[9, 49, -1], [89, -1, -1]]
    assert dates.is_extrapolated.tolist() == [[False, False, False], [False, True, False]]
    assert_allclose(dates.extrapolated_hour[1, 1], 130.0, rtol=1e-12, atol=0)


def test_extrapolation_goes_on_where_the_series_stops() -> None:
    """A long series and a short one of the same steady weather name the same moment."""
    total = np.cumsum(np.full((1, 400), 0.25), axis=1)
    whole = flush_dates(total, [10], [80.0])
    cut = flush_dates(total[:, :200], [10], [80.0])
    assert cut.reached_hour[0, 0] == -1
    assert_allclose(cut.extrapolated_hour[0, 0], whole.reached_hour[0, 0] + 1, rtol=1e-9, atol=0)


def test_no_pace_means_no_date() -> None:
    dates = flush_dates(np.zeros((1, 50)), [3], [10.0])
    assert dates.reached_hour.tolist() == [[-1]]
    assert not dates.is_extrapolated.any()


def test_shifted_weather_shifts_dates() -> None:
    rng = np.random.default_rng(3)
    step = rng.random((2, 300))
    late = np.concatenate([np.zeros((2, 24)), step], axis=1)
    milestones = [4.0, 30.0, 90.0]
    early_hour = flush_dates(np.cumsum(step, axis=1), [5, 60], milestones).reached_hour
    late_hour = flush_dates(np.cumsum(late, axis=1), [29, 84], milestones).reached_hour
    assert (late_hour == early_hour + 24).all()


def hours_of(water: np.ndarray, **limits: float) -> list[int]:
    return np.flatnonzero(wetting_triggers(water, **limits)).tolist()


def test_rain_on_dry_ground_triggers_once() -> None:
    water = np.zeros(600)
    water[200:206] = 3.0
    assert hours_of(water) == [202]
    water[230] = 20.0  # the same wet spell
    assert hours_of(water) == [202]
    water[300] = 20.0  # three dry days only
    assert hours_of(water) == [202]
    water[450] = 8.0  # more than five dry days
    assert hours_of(water) == [202, 450]


def test_drizzle_neither_triggers_nor_ends_a_dry_spell() -> None:
    water = np.zeros(400)
    water[150] = 1.0
    assert hours_of(water) == []
    water[250] = 9.0
    assert hours_of(water) == [250]
    water[240] = 3.0  # part of the event, so it comes as soon
    assert hours_of(water) == [250]
    water[180] = 3.0  # a wet day within the five
    assert hours_of(water) == []


def test_slow_rain_counts_within_two_days() -> None:
    water = np.zeros(400)
    water[200:240] = 0.3
    assert hours_of(water) == [226]
    assert hours_of(water, event_h=20) == []


def test_the_time_before_the_series_is_not_taken_as_dry() -> None:
    water = np.zeros(300)
    water[50] = 10.0
    assert hours_of(water) == []
    assert hours_of(water, is_dry_before=True) == [50]


def test_triggers_by_member_equal_triggers_alone() -> None:
    rng = np.random.default_rng(8)
    water = np.where(rng.random((6, 2000)) < 0.02, rng.exponential(4.0, (6, 2000)), 0.0)
    together = wetting_triggers(water)
    assert together.any()
    for member in range(6):
        assert (wetting_triggers(water[member]) == together[member]).all()


def slow_triggers(water: np.ndarray) -> list[int]:
    """The rule of the docstring as a walk through the hours."""
    found: list[int] = []
    begun: list[int] = []
    for h, fallen in enumerate(water):
        if fallen > 0.0 and h >= 120 and water[h - 120 : h].sum() < 2.0:
            begun.append(h)
        for s in begun:
            caught = water[s : h + 1].sum()
            if h - s < 48 and caught >= 8.0 and not (found and s <= found[-1]):
                found.append(h)
                break
    return found


@pytest.mark.parametrize("seed", range(6))
def test_triggers_equal_a_slow_walk(seed: int) -> None:
    rng = np.random.default_rng(seed)
    water = np.where(rng.random(1500) < 0.015, rng.exponential(3.0, 1500), 0.0)
    water[rng.integers(200, 1400)] += 9.0
    assert hours_of(water) == slow_triggers(water)


def test_latest_and_next_trigger() -> None:
    is_trigger = np.zeros((2, 3, 20), dtype=bool)
    is_trigger[0, :, 4] = True
    is_trigger[1, 0, 7] = True
    is_trigger[1, 1, 4] = True
    is_trigger[1, 2, 15] = True
    hour, kind = latest_trigger(is_trigger, before_hour=10)
    assert hour.tolist() == [7, 4, 4]
    assert kind.tolist() == [1, 0, 0]
    hour, kind = latest_trigger(is_trigger, before_hour=4)
    assert hour.tolist() == kind.tolist() == [-1, -1, -1]
    hour, kind = next_trigger(is_trigger, from_hour=5)
    assert hour.tolist() == [7, -1, 15]
    assert kind.tolist() == [1, -1, 1]
    for empty in (latest_trigger(is_trigger, 0), next_trigger(is_trigger, 20)):
        assert empty[0].tolist() == empty[1].tolist() == [-1, -1, -1]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: thermal_progress_cd([[np.nan]], [[10.0]], SPRING), "soil_temp_c"),
        (lambda: thermal_progress_cd([[10.0]], [[np.nan]], SPRING), "suction_kpa"),
        (lambda: thermal_progress_cd([[10.0]], [[-100.0]], SPRING), "suction_kpa"),
        (lambda: dataclasses.replace(SPRING, psi_b50_kpa=1000.0), "psi_b50_kpa"),
        (lambda: dataclasses.replace(SPRING, optimum_c=40.0), "guild spring"),
        (lambda: dataclasses.replace(SPRING, sigma_ln=0.0), "sigma_ln"),
        (lambda: dataclasses.replace(SPRING, depth_shape=0.5), "depth_shape"),
        (lambda: flush_milestones(SPRING, (0.9, 0.7, 0.3, 1.2)), "stage_kill_frac"),
        (lambda: flush_milestones(SPRING, (0.0, 0.0, 0.0, 0.0)), "stage_kill_frac"),
        (lambda: flush_milestones(WARM, STAGE_KILL_FRAC, 10.0), "typical_temp_c"),
        (lambda: flush_dates([[1.0, 0.5]], [0], [1.0]), "cumulative_cd"),
        (lambda: flush_dates([[1.0, np.nan]], [0], [1.0]), "cumulative_cd"),
        (lambda: flush_dates([[1.0, 2.0]], [2], [1.0]), "opened_hour"),
        (lambda: flush_dates([[1.0, 2.0]], [0], [0.0]), "milestones_cd"),
        (lambda: flush_dates([[1.0, 2.0]], [0], [1.0], recent_h=0), "recent_h"),
        (lambda: wetting_triggers([np.nan]), "water_mm"),
        (lambda: wetting_triggers([-1.0]), "water_mm"),
        (lambda: wetting_triggers([1.0], wet_mm=1.0), "wetting"),
        (lambda: latest_trigger([[True]], 1), "is_trigger"),
        (lambda: latest_trigger([[[True]]], -1), "before_hour"),
        (lambda: next_trigger([[[True]]], -1), "from_hour"),
    ],
)
def test_wrong_arguments_are_named(call, said: str) -> None:
    with pytest.raises(RangeError, match=said) as caught:
        call()
    assert "\n" not in str(caught.value)
