"""What a pass kills in its own weather: worked by hand, walked plainly, and through the cohorts.

Figures from outside: `terpstra_kouwenhoven_1981` (seen, abstract) and `lovely_1958` (seen, as
table 4.4 of a later text). All weather and entries are invented.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.errors import RangeError
from scheduler.models.soil_column import WEED_BANDS_MM
from scheduler.models.weeds.cohorts import STAGES
from scheduler.planning import weeds as module
from scheduler.planning.ensemble import Ensemble, run_ensemble, soil_members
from scheduler.planning.passes import (
    KillSettings,
    PassRules,
    PassWeather,
    particle_kill_frac,
    pass_kill_frac,
    pass_weather,
    tool_kill_frac,
    weather_kill_frac,
)
from scheduler.planning.plantings import surface_table
from scheduler.planning.traits import ToolTraits
from scheduler.planning.weeds import (
    BETWEEN,
    IN_ROW,
    WeedHistory,
    WeedOutlook,
    weed_history,
    weed_outlook,
)
from scheduler.records import Event, FloatArray, Soil, Tool
from scheduler.service.settings import (
    GATE_KPA,
    kill_settings,
    kill_table,
    soil_prior,
    spread,
    tool_traits,
    weed_heat,
    weed_settings,
)
from tests.planning.made import BED, START, SWEEPS, TINES, entry, outlook, planting, sky

THREAD, SEED_LEAF, TRUE_LEAF, YOUNG, ESTABLISHED = range(5)
NEED = np.array([1.0, 1.0, 2.0, 4.0, np.inf])
SETTINGS = KillSettings(NEED, 1.0, 0.03, 0.3, 0.25, 0.9)
TINE = ToolTraits(
    True, True, True, True, 50.0, 0.0, drying_share=0.8, wet_after_frac=0.5, wet_before_frac=0.6,
    on_sand_frac=0.7, depth_low_mm=10.0, depth_high_mm=30.0, speed_gain_frac=0.05, speed_m_s=0.8,
    crop_gate="tine",
)  # fmt: skip
GOOD = np.array([[0.5, 0.6, 0.4, 0.2, 0.1], [0.7, 0.6, 0.4, 0.2, 0.0]])
FIRST = 100


def weather(
    dose_mm: float = 1e3, wetness: float = -0.1, n_wet: float = 0.0, is_sandy: bool = False
) -> PassWeather:
    """One member, one hour."""
    one = np.ones((1, 1))
    return PassWeather(dose_mm * one, wetness * one, n_wet * one, FIRST, is_sandy)


def kill(
    at: PassWeather,
    traits: ToolTraits = TINE,
    good: FloatArray = GOOD,
    depth_mm: float = 20.0,
    speed_m_s: float = 0.8,
    hour: float = FIRST,
) -> FloatArray:
    found = weather_kill_frac(
        good, traits, depth_mm, speed_m_s, at, np.array([hour]), SETTINGS
    )  # fmt: skip
    assert found.shape == (1, 1, 2, 5)
    return np.asarray(found[0, 0])


# ------------------------------------------------------------------ one pass by hand


def test_a_dry_pass_kills_as_the_table_says() -> None:
    """But of established weeds, which drying never kills: 1 - 0.8 x 0.5 = 0.6 of it."""
    assert_allclose(kill(weather()), GOOD * [1.0, 1.0, 1.0, 1.0, 0.6], rtol=1e-9)


def test_drying_by_stage() -> None:
    """1 mm: 0.9 of the effect on threads and seed leaves, 1 - 10^-1/2 and 1 - 10^-1/4 on larger.

    Left of the kill: 0.2 + 0.8 x (0.5 + 0.5 x dried) = 0.6 + 0.4 x dried.
    """
    dried = np.array([0.9, 0.9, 0.683772, 0.437659, 0.0])
    assert_allclose(kill(weather(1.0)), GOOD * (0.6 + 0.4 * dried), rtol=1e-6)
    assert_allclose(kill(weather(0.0)), GOOD * 0.6, rtol=1e-12)


@pytest.mark.parametrize(("wetness", "left"), [(0.05, 0.6), (0.0, 0.6), (-0.015, 0.8), (-0.03, 1)])
def test_moist_soil_before(wetness: float, left: float) -> None:
    assert_allclose(kill(weather(wetness=wetness)), left * kill(weather()), rtol=1e-9)


@pytest.mark.parametrize(("n_wet", "left"), [(1, 1.0), (4, 0.95), (7, 0.9)])
def test_wet_days_after_help_what_was_buried(n_wet: int, left: float) -> None:
    """A fifth of the kill is burial: 0.8 + 0.2 x left of a dry pass."""
    found = kill(weather(n_wet=n_wet))[:, :4]
    assert_allclose(found, GOOD[:, :4] * (0.8 + 0.2 * left), rtol=1e-9)


def test_sand_speed_and_depth() -> None:
    plain = kill(weather())
    assert_allclose(kill(weather(is_sandy=True)), 0.7 * plain, rtol=1e-9)
    # 1 km/h faster: 5 % more
    assert_allclose(kill(weather(), speed_m_s=0.8 + 1.0 / 3.6), 1.05 * plain, rtol=1e-9)
    # 30 mm uproots twice what 10 mm does, for tines; a blade does not mind
    shallow, deep = (kill(weather(), depth_mm=mm) for mm in (10.0, 30.0))
    assert_allclose(deep, 2.0 * shallow, rtol=1e-9)
    blade = replace(TINE, crop_gate="between")
    shallow, deep = (kill(weather(), blade, depth_mm=mm) for mm in (10.0, 30.0))
    assert_array_equal(deep, shallow)


def test_a_pass_before_the_stored_hours_takes_good_weather() -> None:
    """Dried to 0.9, soil not wet, nothing buried saved; stages that drying never kills as ever."""
    bad = weather(0.0, 0.05, 7.0)
    dried = np.array([0.9, 0.9, 0.9, 0.9, 0.0])
    for hour in (FIRST - 0.5, FIRST - 1, 0.0, -500.0):
        assert_allclose(kill(bad, hour=hour), GOOD * (0.6 + 0.4 * dried), rtol=1e-9)
    assert kill(bad, hour=FIRST + 0.9).max() < 0.3
    with pytest.raises(RangeError, match="found hour 101, the weather ends at hour 101"):
        kill(bad, hour=FIRST + 1)


def test_the_wetted_hoe_and_the_rotary_hoe_of_the_trials() -> None:
    """Of the hoe's 90 % a third dries; wetted at once 78 % die (`terpstra_kouwenhoven_1981`). The
    rotary hoe in time controls 72 %, wetted after or moist before 33 % (`lovely_1958`)."""
    of = tool_traits()
    none = np.full((2, 5), 0.90)
    sweeps = replace(of["sweeps"], crop_gate="between")
    wet = kill(weather(0.0), sweeps, none, speed_m_s=sweeps.speed_m_s)
    assert_allclose(wet, 0.78, rtol=0, atol=0.006)
    hoe, depth_mm = of["rotary hoe"], 0.5 * sum(
        (of["rotary hoe"].depth_low_mm, of["rotary hoe"].depth_high_mm)
    )  # fmt: skip
    timely = np.full((2, 5), 0.72)
    for at in (weather(0.0), weather(wetness=0.0)):
        found = kill(at, hoe, timely, depth_mm, hoe.speed_m_s)[:, :4]
        assert_allclose(found, 0.33, rtol=0, atol=0.006)


# ------------------------------------------------------------------ properties


spells = st.fixed_dictionaries(
    {
        "seed": st.integers(0, 10_000),
        "wet_hours": st.lists(st.integers(0, 150), max_size=6),
        "hour": st.integers(0, 47),
        "tool": st.sampled_from(sorted(tool_traits())),
    }
)


def made_weather(et0_mm: FloatArray, rain_mm: FloatArray, wetness: float = -0.01) -> PassWeather:
    """Through `pass_weather`, from hour 0 of a clock, on a loam that lies 0.01 below threshold."""
    base = sky(0, rain_mm.shape[1], rain_mm.shape[0])
    forcing = replace(base.forcing, rain_mm=rain_mm, et0_mm=et0_mm)
    members = SimpleNamespace(
        working_m3m3=np.full(rain_mm.shape[0], 0.25), dry_limit_m3m3=np.full(rain_mm.shape[0], 0.1)
    )
    ensemble: Any = SimpleNamespace(
        sky=replace(base, forcing=forcing), members={BED.soil: members}, stored_from_hour=0
    )
    of = replace(outlook([]), theta_0_30_m3m3=np.full(rain_mm.shape, 0.25 + wetness))
    return pass_weather(of, ensemble, np.zeros((rain_mm.shape[1], 6)), SETTINGS)


@settings(max_examples=60, deadline=None)
@given(spells)
def test_a_dry_day_more_never_lowers_the_kill(case: dict[str, Any]) -> None:
    """The same pass, but all water that follows comes a day later; also twice as much drying."""
    rng = np.random.default_rng(case["seed"])
    et0 = rng.uniform(0.0, 0.4, (1, 240))
    rain = np.zeros((1, 240))
    hour = case["hour"]
    for h in case["wet_hours"]:
        rain[0, hour + h] += rng.uniform(0.2, 4.0)
    later = np.zeros_like(rain)
    later[:, hour + 24 :] = rain[:, hour : 240 - 24]
    traits = tool_traits()[case["tool"]]
    good = kill_table().kill_frac[case["tool"]]

    def at(demand: FloatArray, water: FloatArray) -> FloatArray:
        return weather_kill_frac(
            good, traits, 20.0, 0.8, made_weather(demand, water), np.array([float(hour)]), SETTINGS
        )

    found = at(et0, rain)
    assert np.all((found >= 0.0) & (found <= 1.0))
    assert np.all(at(et0, later) >= found - 1e-12)
    assert np.all(at(2.0 * et0, rain) >= found - 1e-12)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.0, 0.5))
def test_wet_days_against_a_plain_walk(seed: int, chance: float) -> None:
    rng = np.random.default_rng(seed)
    rain = rng.gamma(0.5, 1.5, (2, 300)) * (rng.random((2, 300)) < 0.1 * chance)
    found = made_weather(np.full((2, 300), 0.1), rain).n_wet_days
    for m, hour in ((0, 0), (1, 17), (0, 150), (1, 290), (0, 299)):
        days = [rain[m, hour + 24 * d : hour + 24 * (d + 1)].sum() for d in range(7)]
        assert found[m, hour] == sum(water >= 1.0 for water in days)


# ------------------------------------------------------------------ several kinds on one toolbar

KNIVES = Tool("knives", "knives", 20.0, 0.8)
FINGERS = Tool("fingers", "finger weeder", 20.0, 0.8)
BAR = Tool("bar", "knives", 20.0, 0.8, carries=("finger weeder",))


def of_tool(tool: Tool, at: PassWeather, depth_mm: float, speed_m_s: float) -> FloatArray:
    """By the tables, (2, 5)."""
    of = PassRules({tool.name: tool}, tool_traits(), kill_settings(), 5)
    return tool_kill_frac(
        replace(tool, speed_m_s=speed_m_s), kill_table().kill_frac, depth_mm,
        np.array([float(FIRST)]), at, of,
    )[0, 0]  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(
    dose_mm=st.floats(0.0, 20.0),
    wetness=st.floats(-0.05, 0.05),
    n_wet=st.integers(0, 7),
    is_sandy=st.booleans(),
    depth_mm=st.floats(5.0, 45.0),
    speed_m_s=st.floats(0.3, 2.0),
)
def test_a_toolbar_is_its_knives_between_the_rows_and_its_fingers_in_them(
    dose_mm: float, wetness: float, n_wet: int, is_sandy: bool, depth_mm: float, speed_m_s: float
) -> None:
    at = weather(dose_mm, wetness, n_wet, is_sandy)
    bar, knives, fingers = (of_tool(t, at, depth_mm, speed_m_s) for t in (BAR, KNIVES, FINGERS))
    assert_allclose(bar[BETWEEN], knives[BETWEEN], rtol=1e-12)
    assert_allclose(bar[IN_ROW], fingers[IN_ROW], rtol=1e-12)


def test_rain_takes_from_the_fingers_of_a_toolbar_what_it_leaves_to_its_knives() -> None:
    """At once after: knives 1 - 0.37 x 0.36 = 0.867, fingers 1 - 0.825 x 0.55 = 0.546."""
    wet, dry = (of_tool(BAR, weather(dose), 20.0, 0.8)[:, SEED_LEAF] for dose in (0.0, 1e3))
    assert_allclose(wet / dry, [0.54625, 0.8668], rtol=1e-9)


def test_two_kinds_in_one_zone_of_a_toolbar_are_stacked_after_the_weather() -> None:
    """0.95 (1 - (1 - a)(1 - b)); the tines keep their depth, the fingers their speed."""
    both = Tool("both", "tine weeder", 20.0, 0.9, carries=("finger weeder",))
    for depth_mm, speed_m_s in ((20.0, 0.9), (10.0, 1.3)):
        a, b = (of_tool(t, weather(0.5), depth_mm, speed_m_s)[IN_ROW] for t in (TINES, FINGERS))
        found = of_tool(both, weather(0.5), depth_mm, speed_m_s)[IN_ROW]
        wanted = np.maximum(0.95 * (1.0 - (1.0 - a) * (1.0 - b)), np.maximum(a, b))
        assert_allclose(found, wanted, rtol=1e-12)
    assert np.all(of_tool(both, weather(), 10.0, 0.9) < of_tool(both, weather(), 20.0, 0.9))


# ------------------------------------------------------------------ the planting's weather


def test_weather_of_a_planting() -> None:
    """Stored hours begin at 30 of 60; 0.1 mm an hour dries; 2 mm are given at hour 40."""
    n = 2
    base = sky(35, 60, n)
    forcing = replace(base.forcing, et0_mm=np.full((n, 60), 0.1), rain_mm=np.zeros((n, 60)))
    forcing.rain_mm[1, 50] = 3.0  # in the second member alone
    forcing.et0_mm[:, 57] = -0.02  # dew
    members = SimpleNamespace(
        working_m3m3=np.array([0.2, 0.3]), dry_limit_m3m3=np.array([0.1, 0.1])
    )
    ensemble: Any = SimpleNamespace(
        sky=replace(base, forcing=forcing), members={BED.soil: members}, stored_from_hour=30
    )
    of = replace(outlook([]), theta_0_30_m3m3=np.full((n, 30), 0.22))
    surface = np.zeros((60, 6))
    surface[40, 0] = 2.0  # drip
    drip = pass_weather(of, ensemble, surface, SETTINGS)
    assert drip.first_hour == 30
    assert not drip.is_sandy
    assert_allclose(drip.wetness_m3m3, [[0.02] * 30, [-0.08] * 30], atol=1e-12)
    assert_allclose(drip.dose_mm[:, 0], [2.9, 2.0], rtol=1e-9)  # 29 hours of drying and one of dew
    surface[40, 1] = 1.0  # sprinkler
    sprinkled = pass_weather(of, ensemble, surface, SETTINGS)
    assert_allclose(sprinkled.dose_mm[:, 0], [1.0, 1.0], rtol=1e-9)
    assert_allclose(sprinkled.dose_mm[:, 11], [1.8, 0.9], rtol=1e-9)
    assert_array_equal(sprinkled.n_wet_days[:, 0], [1.0, 1.0])
    members.dry_limit_m3m3[:] = 0.0
    assert pass_weather(of, ensemble, surface, SETTINGS).is_sandy


def test_sand_has_no_dry_limit_and_loam_has_one() -> None:
    """What tells a sandy soil to `pass_weather`, from the tables' textures."""
    for texture, is_sandy in (("sand", True), ("loamy sand", True), ("loam", False)):
        soil = Soil("x", texture, None, None, 2.5)
        members = soil_members(soil_prior(soil), spread(), 5, 4)
        assert bool(members.dry_limit_m3m3.any()) is not is_sandy, texture


# ------------------------------------------------------------------ spread and names


def rules(of: KillSettings = SETTINGS, seed: int = 5) -> PassRules:
    tools = (TINES, SWEEPS)
    return PassRules(
        {t.name: t for t in tools}, dict.fromkeys((t.key for t in tools), TINE), of, seed
    )


def spread_kill(
    days: tuple[date, ...],
    key: str = "A1",
    tool: Tool = TINES,
    of: PassRules | None = None,
    n: int = 512,
) -> FloatArray:
    """Kill of seed leaves between rows in always the same weather, (k, n)."""
    found = pass_kill_frac(
        tool, key, {tool.kind: GOOD}, 20.0, np.full(len(days), float(FIRST)), days, weather(),
        of or rules(), np.zeros(n, np.int64),
    )  # fmt: skip
    assert found.shape == (len(days), n, 2, 5)
    return np.asarray(found[:, :, BETWEEN, SEED_LEAF])


MON, TUE = date(2013, 5, 6), date(2013, 5, 7)


@pytest.mark.parametrize(("ln_farm", "ln_pass"), [(0.3, 0.25), (0.3, 0.0), (0.0, 0.25), (0.0, 0.0)])
def test_spread_has_the_stated_width(ln_farm: float, ln_pass: float) -> None:
    """10 and 90 %: 1 - (1 - k)^exp(-+1.2816 sd), sd of both draws together. With both, 0.6 dry on
    the median gives 0.43 to 0.78."""
    of = rules(replace(SETTINGS, ln_sd_farm=ln_farm, ln_sd_pass=ln_pass))
    tool = replace(TINES, speed_m_s=TINE.speed_m_s)
    found = np.quantile(spread_kill((MON,), tool=tool, of=of), [0.1, 0.5, 0.9])
    sd = np.hypot(ln_farm, ln_pass)
    wanted = 1.0 - 0.4 ** np.exp(sd * np.array([-1.2816, 0.0, 1.2816]))
    assert_allclose(found, wanted, rtol=0, atol=0.015)
    if ln_farm and ln_pass:
        assert_allclose(wanted, [0.43, 0.60, 0.78], rtol=0, atol=0.005)


def test_luck_is_drawn_by_name_not_by_order() -> None:
    both = spread_kill((MON, TUE))
    assert_array_equal(spread_kill((TUE, MON)), both[::-1])
    assert_array_equal(spread_kill((TUE,))[0], both[1])
    assert not np.array_equal(both[0], both[1])
    assert not np.array_equal(spread_kill((MON,), key="A2")[0], both[0])
    assert not np.array_equal(spread_kill((MON,), tool=SWEEPS)[0], both[0])
    assert not np.array_equal(spread_kill((MON,), of=rules(seed=6))[0], both[0])
    assert spread_kill(()).shape == (0, 512)
    # two tools over one bed on one day do not share the luck of the pass either
    of = rules(replace(SETTINGS, ln_sd_farm=0.0))
    tools = (spread_kill((MON,), tool=tool, of=of)[0] for tool in (TINES, SWEEPS))
    assert not np.array_equal(*tools)


def test_a_tool_has_one_luck_on_the_farm() -> None:
    """Without the luck of the pass all beds and days see the same."""
    of = rules(replace(SETTINGS, ln_sd_pass=0.0))
    first = spread_kill((MON, TUE), of=of)
    assert_array_equal(first[0], first[1])
    assert_array_equal(spread_kill((TUE,), key="A2", of=of)[0], first[0])
    assert not np.array_equal(spread_kill((TUE,), tool=SWEEPS, of=of)[0], first[0])


def test_particles_take_the_kill_of_their_member() -> None:
    of_member = np.stack([np.full((2, 2, 5), 0.2), np.full((2, 2, 5), 0.8)], axis=1)
    of_member[1, 1] = 0.5
    member, zero = np.array([1, 0, 1]), np.zeros(3)
    found = particle_kill_frac(of_member, member, zero, np.zeros((2, 3)), SETTINGS)
    assert_allclose(found[:, :, 0, 0], [[0.8, 0.2, 0.8], [0.5, 0.2, 0.5]], rtol=1e-12)
    lucky = particle_kill_frac(
        of_member, member, zero, np.array([zero, [1.0, 0.0, -1.0]]), SETTINGS
    )
    assert_array_equal(lucky[0], found[0])
    assert lucky[1, 0, 0, 0] > 0.5 > lucky[1, 2, 0, 0]


# ------------------------------------------------------------------ the whole way

PASS_HOUR = 24 * 9 + 12.0
N_MEMBERS, N_PARTICLES, N_HOURS = 4, 32, 24 * 16


def grown_ensemble(rain_after: tuple[int, int] | None) -> Ensemble:
    """Sixteen days at 18 C, rain at first; after the pass dry, or 8 mm in two hours."""
    base = sky(int(PASS_HOUR), N_HOURS, N_MEMBERS)
    rain = np.zeros((N_MEMBERS, N_HOURS))
    rain[:, 2:8] = 3.0
    if rain_after is not None:
        rain[:, rain_after[0] : rain_after[1]] = 4.0
    sun = np.maximum(0.0, np.sin((np.arange(N_HOURS) % 24 - 5.5) / 12.0 * np.pi))
    forcing = replace(
        base.forcing,
        rain_mm=rain,
        et0_mm=np.broadcast_to(4.0 * sun / sun[:24].sum(), rain.shape).copy(),
        air_temp_c=np.full_like(rain, 18.0),
        solar_mj_m2=np.broadcast_to(1.5 * sun, rain.shape).copy(),
    )
    soil = Soil("middle", "sandy loam", None, None, 3.0)
    surface = surface_table(planting(), made_events(), {}, START, N_HOURS)
    return run_ensemble(
        replace(base, forcing=forcing),
        {"middle": soil_members(soil_prior(soil), spread(), 5, N_MEMBERS)},
        {"A1": ("middle", surface)},
        weed_heat(),
        stored_from_hour=0,
    )


def made_events(tool: Tool | None = TINES) -> list[Event]:
    """Deep preparation, then one pass below the deepest seed, so that no thread escapes."""
    prep = entry("prep", 0.0, depth_mm=90.0)
    if tool is None:
        return [prep]
    deepest_mm = WEED_BANDS_MM[-1][1]
    return [prep, entry("pass", PASS_HOUR, tool=tool.name, depth_mm=deepest_mm)]


@pytest.fixture(scope="module")
def dry() -> Ensemble:
    return grown_ensemble(None)


@pytest.fixture(scope="module")
def wet() -> Ensemble:
    """Two hours of rain begin in the second hour after the pass."""
    return grown_ensemble((int(PASS_HOUR) + 1, int(PASS_HOUR) + 3))


def followed(ensemble: Ensemble, tool: Tool | None, hours: FloatArray) -> WeedOutlook:
    """The bed's weeds, with real tables, after one pass or none."""
    of = weed_settings()
    return weed_outlook(
        planting(), ensemble, logged(ensemble, tool), of, np.array(GATE_KPA), 5, hours, N_PARTICLES
    )  # fmt: skip


def logged(ensemble: Ensemble, tool: Tool | None) -> WeedHistory:
    run, columns = ensemble.run_of("A1")
    of_soil = replace(
        outlook([]), theta_0_30_m3m3=run.theta_m3m3[columns][:, :, :3].astype(float).mean(axis=2)
    )
    events = made_events(tool)
    surface = surface_table(planting(), events, {}, START, N_HOURS)
    at = pass_weather(of_soil, ensemble, surface, kill_settings())
    of = PassRules({t.name: t for t in (TINES, SWEEPS)}, tool_traits(), kill_settings(), 5)
    return weed_history(
        planting(), events, [], weed_settings(), kill_table(), of, at, ensemble,
        np.full(N_HOURS, 18.0), 42.0, N_PARTICLES,
    )  # fmt: skip


AT_PASS = np.array([PASS_HOUR])


def test_rain_after_a_pass_lets_weeds_live_tines_more_than_sweeps(
    dry: Ensemble, wet: Ensemble
) -> None:
    """Of 100 seed leaves before the pass; the same seeds, the same luck, other weather."""
    saved = {}
    for tool in (TINES, SWEEPS):
        before = followed(dry, None, AT_PASS).count_m2[:, 0, BETWEEN]
        after_dry = followed(dry, tool, AT_PASS).count_m2[:, 0, BETWEEN]
        after_wet = followed(wet, tool, AT_PASS).count_m2[:, 0, BETWEEN]
        stood = before[:, SEED_LEAF] > 0.1
        assert stood.mean() > 0.9
        for stage in (THREAD, SEED_LEAF, TRUE_LEAF):
            assert np.all(after_wet[stood, stage] >= after_dry[stood, stage])
        assert np.all(after_wet[stood, SEED_LEAF] > 1.05 * after_dry[stood, SEED_LEAF])
        share = (after_wet - after_dry)[stood, SEED_LEAF] / before[stood, SEED_LEAF]
        saved[tool.name] = float(share.mean())
    assert 0.03 < saved["sweeps"] < 0.7 * saved["tines"]


@pytest.mark.parametrize("tool", [TINES, SWEEPS], ids=["tines", "sweeps"])
def test_survivors_keep_their_stage_and_grow_on(dry: Ensemble, wet: Ensemble, tool: Tool) -> None:
    """At the pass each stage loses its own share; a day on those left are the same plants."""
    for ensemble in (dry, wet):
        hours = np.array([PASS_HOUR, PASS_HOUR + 24.0])
        left = followed(ensemble, tool, hours).count_m2
        alone = followed(ensemble, None, hours).count_m2
        share = 1.0 - logged(ensemble, tool).passes.kill_frac[1]
        assert np.ptp(share[:, BETWEEN, SEED_LEAF]) > 0.1  # by particle
        assert_allclose(left[:, 0], alone[:, 0] * share, rtol=1e-6, atol=1e-9)
        # one leaf takes three days: what has it a day later was up at the pass, and shares the fate
        # of the stages then
        grown, whole = (of[:, 1, BETWEEN, TRUE_LEAF:].sum(axis=1) for of in (left, alone))
        has_grown = whole > 0.1
        assert has_grown.mean() > 0.9
        found = grown[has_grown] / whole[has_grown]
        of_stages = np.where(alone[:, 0, BETWEEN] > 0.0, share[:, BETWEEN], np.nan)[has_grown, 1:]
        assert np.all(found >= np.nanmin(of_stages, axis=1) - 1e-6)
        assert np.all(found <= np.nanmax(of_stages, axis=1) + 1e-6)
        assert 0.05 < found.mean() < 0.95


def test_the_books_close_with_a_kill_of_each_particle(
    wet: Ensemble, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opened = to come, standing, killed, dried and held; killed is before less after."""
    seen: list[Any] = []
    stand = module.stand

    def noted(*args: Any) -> Any:
        seen.append(stand(*args))
        return seen[-1]

    monkeypatch.setattr(module, "stand", noted)
    hours = np.array([PASS_HOUR - 1e-6, PASS_HOUR, PASS_HOUR + 72.0])
    followed(wet, TINES, hours)
    found = seen[0]
    whole = found.count_m2.sum(axis=-1) + found.ledger_m2.sum(axis=-1)
    assert_allclose(whole, found.opened_m2, rtol=1e-6, atol=1e-9)
    killed = found.ledger_m2[..., 1]
    assert killed[:, 0].max() == 0.0
    fewer = (found.count_m2[:, 0] - found.count_m2[:, 1]).sum(axis=-1)
    assert_allclose(killed[:, 1], fewer, rtol=1e-4, atol=1e-3)
    assert killed[:, 1].sum() > 10.0


def test_dates_of_possible_passes_match_the_logged_one(dry: Ensemble) -> None:
    """A pass thought of for the day has the kill of the one then logged."""
    done = logged(dry, TINES)
    at = START + timedelta(hours=PASS_HOUR)
    run, columns = dry.run_of("A1")
    of_soil = replace(
        outlook([]), theta_0_30_m3m3=run.theta_m3m3[columns][:, :, :3].astype(float).mean(axis=2)
    )
    surface = surface_table(planting(), made_events(), {}, START, N_HOURS)
    of = PassRules({TINES.name: TINES}, tool_traits(), kill_settings(), 5)
    thought = pass_kill_frac(
        TINES, "A1", kill_table().kill_frac, float(WEED_BANDS_MM[-1][1]),
        np.array([PASS_HOUR, PASS_HOUR + 24.0]), [at.date(), at.date() + timedelta(days=1)],
        pass_weather(of_soil, dry, surface, kill_settings()), of,
        np.arange(N_PARTICLES) % N_MEMBERS,
    )  # fmt: skip
    assert_array_equal(thought[0], done.passes.kill_frac[1])  # nothing but preparation before it
    assert len(STAGES) == thought.shape[-1]
