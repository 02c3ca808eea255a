"""The stale bed: when to prepare, when to kill, whether to water. Everything is invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.models.weeds.degree_days import flush_dates
from scheduler.planning.day import Day
from scheduler.planning.hours import at_local
from scheduler.planning.stale_bed import (
    Seedbed,
    StaleBed,
    heat_to_sowing_cd,
    latest_opening_hour,
    stale_bed_days,
    stale_bed_line,
    stale_bed_plan,
    stale_bed_words,
)
from scheduler.records import Plan, Planting, Tool
from scheduler.service.settings import kill_table, tool_traits, weed_settings
from tests.planning import made

TODAY = date(2013, 5, 11)
FLAME = Tool("torch", "flame", 0.0, 0.6, width_m=0.8)


def bed_at(soil_c: float, suction_kpa: float = 20.0) -> Seedbed:
    """One temperature and one suction, the same for all members."""
    shape = (made.N_MEMBERS, made.N_HOURS)
    return Seedbed(np.full(shape, soil_c), np.full(shape, suction_kpa))


def plan_of(
    sown: date,
    soil_c: float,
    *,
    guild: str = "spring",
    opened_hour: int | None = None,
    by: str = "preparation",
    suction_kpa: float = 20.0,
    grown: Planting | None = None,
    at: Day | None = None,
    is_sown: bool = True,
) -> StaleBed | None:
    """A stale bed for carrots on the made farm."""
    clock = replace(made.flush(opened_hour), lead=made.view(guild), opened_by=by)
    if opened_hour is not None:
        heat = np.full((made.N_MEMBERS, made.N_HOURS), 0.0)
        pace = max(0.0, soil_c - made.view(guild).guild.base_c) / 24.0
        heat[:, opened_hour:] = pace * np.arange(1, made.N_HOURS - opened_hour + 1)
        clock = replace(clock, heat_cd=heat)
    outlook = made.outlook([], of=clock, grown=grown)
    return stale_bed_plan(
        Plan("A1", "carrot", sown, is_sown),
        at or made.day(),
        outlook,
        bed_at(soil_c, suction_kpa),
        tool_traits(),
        kill_table(),
        weed_settings(),
    )


def lead_d(sown: date, soil_c: float, guild: str = "spring") -> int:
    stale = plan_of(sown, soil_c, guild=guild)
    assert stale is not None
    assert stale.prepare_by is not None
    return (sown - stale.prepare_by).days


# ---------------------------------------------------------------------- the clock


def test_heat_is_plain_degree_days_carried_on() -> None:
    heat = heat_to_sowing_cd(bed_at(15.0), made.view().guild, 240, 960, np.zeros(made.N_MEMBERS))
    assert_allclose(heat[:, -1], 40 * 10.0, rtol=1e-9, atol=0.0)


def test_the_mean_day_keeps_its_hours() -> None:
    """A soil at 15 C that swings by 8 C goes on swinging in step beyond sight."""
    hour = np.arange(made.N_HOURS)
    swing = 15.0 + 8.0 * np.sin(2 * np.pi * (hour - 9) / 24.0)
    bed = Seedbed(np.tile(swing, (2, 1)), np.full((2, made.N_HOURS), 20.0))
    n = made.N_HOURS + 48
    heat = heat_to_sowing_cd(bed, made.view("warm").guild, made.NOW_HOUR, n, np.zeros(2))
    steps = np.diff(heat, axis=1)
    assert_allclose(steps[:, -24:], steps[:, made.N_HOURS - 49 : made.N_HOURS - 25], atol=1e-9)


def test_error_of_the_carried_temperature_widens() -> None:
    normals = np.array([-1.0, 0.0, 1.0])
    bed = Seedbed(np.full((3, 240), 15.0), np.full((3, 240), 20.0))
    heat = heat_to_sowing_cd(bed, made.view().guild, 240, 240 + 40 * 24, normals)
    at_day = heat[:, [239 + 24, 239 + 240, 239 + 960]]
    spread = at_day[2] - at_day[0]
    assert spread[0] == pytest.approx(2.0, abs=0.11)  # one day of +-1.0 C
    assert np.all(np.diff(spread / np.array([1.0, 10.0, 40.0])) > 0.0)
    assert spread[2] < 2 * 3.0 * 40.0


def test_dry_past_does_not_count_the_future_is_watered() -> None:
    heat = heat_to_sowing_cd(
        bed_at(15.0, 2000.0), made.view().guild, 240, 480, np.zeros(made.N_MEMBERS)
    )
    assert_allclose(heat[:, 239], 0.0, rtol=0, atol=1e-12)
    assert_allclose(heat[:, 479], 100.0, rtol=1e-9, atol=0.0)


@pytest.mark.parametrize("need_cd", [5.0, 33.3, 80.0])
def test_latest_opening_is_the_flush_clock_read_backwards(need_cd: float) -> None:
    """Opened then, the flush gets there in time; opened an hour later, it does not."""
    rng = np.random.default_rng(5)
    cumulative = np.cumsum(rng.uniform(0.1, 0.8, (6, 400)), axis=1)
    target = 350
    found = latest_opening_hour(cumulative, target, need_cd).astype(np.int64)
    for later, in_time in ((0, True), (1, False)):
        dates = flush_dates(cumulative, found + later, [need_cd])
        done = (dates.reached_hour[0] >= 0) & (dates.reached_hour[0] < target)
        assert np.all(done == in_time)


# ------------------------------------------------------------------------ the plan


def test_a_flush_prepared_by_then_is_nine_tenths_up_on_the_eve() -> None:
    """By hand: spring weeds need 173 C d to 90 % up, 17.3 days at 15 C above base 5."""
    need_d = made.view().milestones.emerged90_cd / 10.0
    sown = date(2013, 5, 29)  # within sight of the made weather: no widening
    stale = plan_of(sown, 15.0, opened_hour=None)
    assert stale is not None
    eve = at_local(sown - timedelta(days=1), made.WORK.end, "UTC")
    assert stale.prepare_by == (eve - timedelta(days=need_d)).date()
    assert stale.n_flushes == 1


@pytest.mark.parametrize(("soil_c", "guild"), [(8.0, "cool"), (12.0, "spring"), (20.0, "warm")])
def test_colder_soil_is_prepared_earlier(soil_c: float, guild: str) -> None:
    sown = date(2013, 8, 10)
    assert lead_d(sown, soil_c, guild) > lead_d(sown, soil_c + 3.0, guild) + 1


def test_the_cautious_date_and_two_flushes_come_before() -> None:
    stale = plan_of(date(2013, 7, 10), 18.0)
    assert stale is not None
    assert stale.prepare_from is not None
    assert stale.prepare_by is not None
    assert stale.prepare_by_two is not None
    assert stale.prepare_from < stale.prepare_by
    assert stale.prepare_by_two < stale.prepare_by


def test_kills_of_a_prepared_bed_are_in_order_and_before_the_sowing() -> None:
    sown = date(2013, 6, 10)
    stale = plan_of(sown, 18.0, opened_hour=48)
    assert stale is not None
    assert stale.already_prepared_at is not None
    # by hand: best at 104 C d, 13 a day: 8 days a flush from 3 May, so 11, 19, 27 May and 4 June
    days = [kill.best_at.day for kill in stale.kills]
    assert_allclose(days, [11, 19, 27, 4], rtol=0, atol=1)
    ends = None
    for kill in stale.kills:
        assert kill.from_at <= kill.best_at <= kill.until_at
        assert ends is None or kill.from_at > ends
        ends = kill.best_at
        assert kill.until_at.date() < sown
    sizes = [kill.size_frac for kill in stale.kills]
    assert sizes[0] == 1.0
    assert sizes == sorted(sizes, reverse=True)
    assert stale.last_kill_on == sown - timedelta(days=1)


@pytest.mark.parametrize("guild", ["cool", "spring", "warm"])
def test_two_kills_leave_less_than_one_and_one_less_than_none(guild: str) -> None:
    left = []
    for sown in (date(2013, 5, 26), date(2013, 6, 8)):
        stale = plan_of(sown, 20.0, guild=guild, opened_hour=200)
        assert stale is not None
        assert stale.left_frac is not None
        left.append((stale.n_flushes, stale.left_frac.mid))
    (one, after_one), (two, after_two) = left
    assert one < two
    assert after_two < after_one < 1.0


def test_a_bed_not_prepared_in_time_says_so() -> None:
    stale = plan_of(date(2013, 5, 15), 15.0)
    assert stale is not None
    assert stale.n_flushes == 0
    assert stale.last_kill_on is None
    assert not stale.water_first
    assert stale_bed_line(stale, made.day()) == (
        "stale bed for carrot 15 May: no flush comes up in time any more"
    )
    assert stale_bed_days(stale, made.day()) is None
    assert "not up the day before sowing" in stale_bed_words(stale, made.day())[0]


def test_part_of_a_flush_is_called_so() -> None:
    stale = plan_of(date(2013, 5, 24), 15.0)
    assert stale is not None
    assert stale.prepare_by is not None
    assert stale.prepare_by < TODAY
    assert stale.n_flushes == 1
    assert stale_bed_line(stale, made.day()) == "stale bed for carrot 24 May: prepare it today"
    assert stale_bed_days(stale, made.day()) == (TODAY, TODAY)
    assert "only part of a flush" in stale_bed_words(stale, made.day())[0]


@pytest.mark.parametrize("on", [TODAY, TODAY - timedelta(days=1)])
def test_a_sowing_of_today_or_gone_by_has_no_stale_bed(on: date) -> None:
    assert plan_of(on, 15.0) is None


def test_weeds_beyond_a_pass_ask_for_a_new_preparation() -> None:
    """Nine tenths are up after 173 C d; at twice that the bed no longer counts as prepared."""
    for soil_c, now_hour, is_prepared in ((18.0, 240, True), (27.0, 19 * 24, False)):
        at = made.day(now_hour=now_hour)
        stale = plan_of(date(2013, 7, 1), soil_c, opened_hour=0, at=at)
        assert stale is not None
        assert (stale.already_prepared_at is not None) == is_prepared


def test_rain_on_an_empty_bed_does_not_prepare_it() -> None:
    stale = plan_of(date(2013, 6, 10), 18.0, opened_hour=48, by="wetting")
    assert stale is not None
    assert stale.already_prepared_at is None


def test_a_crop_has_to_be_cleared_first() -> None:
    stale = plan_of(date(2013, 6, 20), 18.0, opened_hour=48, grown=made.planting("lettuce", 0.0))
    assert stale is not None
    assert stale.after_crop == "lettuce"
    assert stale.already_prepared_at is None
    assert stale_bed_line(stale, made.day()).endswith("after the lettuce is cleared")
    assert stale_bed_days(stale, made.day()) == (stale.prepare_by, stale.prepare_by)
    assert "after the lettuce is cleared" in stale_bed_words(stale, made.day())[0]


# --------------------------------------------------------------------------- water


def water(suction_kpa: float, rain_mm: float = 0.0, **more: object) -> StaleBed:
    at = made.day()
    at.sky.forcing.rain_mm[:, made.NOW_HOUR + 30] = rain_mm
    stale = plan_of(
        date(2013, 6, 10),
        18.0,
        suction_kpa=suction_kpa,
        at=at,
        **more,  # type: ignore[arg-type]
    )
    assert stale is not None
    return stale


def test_water_on_dry_ground_before_a_dry_spell() -> None:
    stale = water(2000.0, opened_hour=200)
    assert stale.water_first
    assert stale.water_mm == (5.0, 10.0)
    assert any(w.startswith("water 5-10 mm now") for w in stale_bed_words(stale, made.day()))


@pytest.mark.parametrize(
    ("suction_kpa", "rain_mm", "more", "word"),
    [
        (20.0, 0.0, {"opened_hour": 200}, "moist enough"),
        (2000.0, 12.0, {"opened_hour": 200}, "wait for it"),
        (2000.0, 0.0, {"opened_hour": 220, "by": "pass"}, "two days of a pass"),
        (2000.0, 0.0, {}, "when you prepare it"),
    ],
)
def test_no_water_otherwise(
    suction_kpa: float, rain_mm: float, more: dict[str, object], word: str
) -> None:
    stale = water(suction_kpa, rain_mm, **more)
    assert not stale.water_first
    assert stale.water_mm is None
    assert word in stale.why[0]


# --------------------------------------------------------------------- tool, words


def test_the_pass_is_shallow_whatever_the_tool_is_set_to() -> None:
    deep = made.farm(tools=[replace(made.SWEEPS, depth_mm=40.0)])
    stale = plan_of(date(2013, 6, 10), 18.0, opened_hour=48, at=made.day(deep))
    assert stale is not None
    assert stale.depth_mm == 20.0


def tool_of(tools: Sequence[Tool], has_flame: bool) -> StaleBed:
    of = replace(made.farm(tools=tools), flame_rules_read=has_flame)
    stale = plan_of(date(2013, 6, 10), 18.0, opened_hour=48, at=made.day(of))
    assert stale is not None
    return stale


def test_flame_only_where_the_rules_were_read_and_it_opens_nothing() -> None:
    assert tool_of([FLAME], False).tool is None
    flamed = tool_of([FLAME], True)
    assert flamed.tool == "torch"
    assert flamed.depth_mm == 0.0
    assert flamed.n_flushes == 1
    assert flamed.kills[0].best_at == flamed.kills[0].until_at  # late: it does not reach threads


def test_words_of_a_prepared_bed() -> None:
    stale = plan_of(date(2013, 5, 25), 15.0, opened_hour=48)
    assert stale is not None
    assert stale_bed_line(stale, made.day()) == (
        "stale bed for carrot 25 May: kill the flush 11-17 May, shallow"
    )
    assert stale_bed_days(stale, made.day()) == (date(2013, 5, 11), date(2013, 5, 17))
    words = stale_bed_words(stale, made.day())
    assert words[0] == "prepared 3 May, flush open since"
    assert words[1] == "first flush: kill it 11-17 May, best 13 May"
    assert "at most 20 mm deep" in " ".join(words)
    assert "beyond the weather in sight" in words[-1]


def test_within_sight_nothing_is_said_of_carried_weather() -> None:
    stale = plan_of(date(2013, 5, 20), 15.0, opened_hour=48)
    assert stale is not None
    assert stale.beyond_sight_d == 0.0
    assert not any("beyond the weather" in w for w in stale_bed_words(stale, made.day()))


def test_many_flushes_are_told_in_one_line() -> None:
    stale = plan_of(date(2013, 6, 10), 18.0, opened_hour=48)
    assert stale is not None
    words = stale_bed_words(stale, made.day())
    assert "then one about every 8 days, 4 in all" in words
    assert sum("kill it" in w for w in words) == 2
