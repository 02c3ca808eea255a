"""The ready pool of a planting by hand: recovery, depletion, season, depth, what is killed.

Expected values are worked out here from the table's numbers, one rule at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.planning.passes import PassRules
from scheduler.planning.plantings import Trigger
from scheduler.planning.weeds import BETWEEN, IN_ROW, WeedHistory, WeedSettings, weed_history
from scheduler.records import Event, FloatArray, Planting, Tool
from scheduler.service.settings import kill_settings, kill_table, weed_settings
from tests.planning import made

MAY, NOVEMBER = 4, 10
GUILDS = weed_settings()
NO_DEPLETION = replace(GUILDS, pass_share=0.0)
ALWAYS_READY = replace(GUILDS, recovery_d=1e-6, refill_d=1e12)


def history(
    events: Sequence[Event],
    settings: WeedSettings,
    *,
    soil_c: float = 30.0,
    latitude_deg: float = 42.0,
    wettings: Sequence[Trigger] = (),
    rules: PassRules | None = None,
    planting: Planting | None = None,
    weights: FloatArray | None = None,
) -> WeedHistory:
    same = np.full(made.N_MEMBERS, 1.0 / made.N_MEMBERS)
    clock: Any = SimpleNamespace(
        sky=made.sky(),
        stored_from_hour=0,
        readings_from_hour=0,
        n_members=made.N_MEMBERS,
        weights={made.BED.soil: same if weights is None else weights},
    )
    return weed_history(
        planting or made.planting(), events, wettings, settings, kill_table(),
        rules or made.rules(), made.unseen_weather(), clock, np.full(made.N_HOURS, soil_c),
        latitude_deg, n_particles=16,
    )  # fmt: skip


def sweeps(hour: float, depth_mm: float = 20.0, **data: Any) -> Event:
    return made.entry("pass", hour, tool="sweeps", depth_mm=depth_mm, **data)


def prep(hour: float, depth_mm: float = 90.0) -> Event:
    return made.entry("prep", hour, depth_mm=depth_mm)


def first_size(depth_frac: float, month: int = MAY) -> Any:
    """Of an untouched pool between the rows, by guild."""
    return GUILDS.season[:, month] * kill_table().stirs_frac["sweeps"][BETWEEN] * depth_frac


def depth_frac(depth_mm: float) -> float:
    return float(GUILDS.size_depth_frac[list(GUILDS.size_depth_mm).index(depth_mm)])


def test_readiness_comes_back_with_time_since_the_last_stirring() -> None:
    sizes = history([sweeps(0), sweeps(48), sweeps(48 + 240)], NO_DEPLETION).openings.size
    back = 1.0 - np.exp(-np.array([2.0, 10.0]) / GUILDS.recovery_d)
    assert 0.0 < back[0] < 0.8 * back[1] < 0.8
    for found, share in zip(sizes[1:, :, BETWEEN], back, strict=True):
        assert_allclose(found, share * sizes[0, :, BETWEEN], rtol=1e-9)


def test_each_pass_takes_its_share_from_the_pool() -> None:
    sizes = history([sweeps(24.0 * k) for k in range(4)], ALWAYS_READY).openings.size
    first = first_size(depth_frac(20.0))
    kept = 1.0 - GUILDS.pass_share * first
    assert kept.min() < 0.9
    for k, found in enumerate(sizes[:, :, BETWEEN]):
        assert_allclose(found, first * kept**k, rtol=1e-9)


def test_deep_work_brings_up_new_seed_and_shallow_work_does_not() -> None:
    before = [sweeps(24.0 * k) for k in range(4)]
    deep = history([*before, prep(120.0)], GUILDS).openings.size[-1]
    assert_allclose(deep[:, BETWEEN], GUILDS.season[:, MAY] * depth_frac(50.0), rtol=1e-9)
    shallow = history([*before, prep(120.0, 30.0)], GUILDS).openings.size[-1]
    assert (shallow[:, BETWEEN] < 0.7 * deep[:, BETWEEN])[GUILDS.season[:, MAY] > 0.0].all()


@pytest.mark.parametrize("depth_mm", [10.0, 20.0, 30.0])
def test_shallow_passes_open_less(depth_mm: float) -> None:
    found = history([sweeps(0, depth_mm)], GUILDS).openings.size[0, :, BETWEEN]
    assert depth_frac(10.0) < depth_frac(20.0) < depth_frac(30.0)
    assert_allclose(found, first_size(depth_frac(depth_mm)), rtol=1e-9)


def test_the_south_has_its_seasons_half_a_year_on() -> None:
    found = history([sweeps(0)], GUILDS, latitude_deg=-42.0).openings.size[0, :, BETWEEN]
    assert not np.allclose(GUILDS.season[:, MAY], GUILDS.season[:, NOVEMBER])
    assert_allclose(found, first_size(depth_frac(20.0), NOVEMBER), rtol=1e-9)


def test_a_guild_of_warm_soil_waits_below_its_gate() -> None:
    gated = np.isfinite(GUILDS.warm_gate_c)
    assert gated.any()
    assert not gated.all()
    gate_c = float(GUILDS.warm_gate_c[gated].max())
    cool = history([sweeps(0)], GUILDS, soil_c=gate_c - 0.1).openings.size[0, :, BETWEEN]
    warm = history([sweeps(0)], GUILDS, soil_c=gate_c + 0.1).openings.size[0, :, BETWEEN]
    assert cool[gated].max() == 0.0
    assert warm[gated].min() > 0.0
    assert_allclose(cool[~gated], warm[~gated], rtol=1e-9)


def test_what_stood_before_is_left_by_the_product_of_what_was_done() -> None:
    """Preparation leaves 5 % where deep, 30 % where shallow; sweeps what their table says.

    But sweeps a day after sweeps miss 0.85 exp(-1/3) of it.
    """
    established = kill_table().kill_frac["sweeps"][BETWEEN, -1]
    assert_allclose(history([prep(0)], GUILDS).standing_left, 0.05, rtol=1e-9)
    assert_allclose(history([prep(0, 30.0)], GUILDS).standing_left, 0.30, rtol=1e-9)
    done = history([prep(0, 30.0), sweeps(48), sweeps(72)], GUILDS)
    again = established * (1.0 - 0.85 * np.exp(-1.0 / 3.0))
    assert_allclose(done.standing_left, 0.30 * (1.0 - established) * (1.0 - again), rtol=1e-9)


def test_a_mat_is_thinned_by_the_mean_over_the_particles() -> None:
    spread = history([sweeps(0), sweeps(24)], GUILDS, rules=made.rules(ln_sd=0.4))
    kill = spread.passes.kill_frac[:, :, BETWEEN, -1]
    assert kill.shape == (2, 16)
    assert np.ptp(kill, axis=1).min() > 0.1
    assert_allclose(spread.standing_left, np.prod(1.0 - kill.mean(axis=1)), rtol=1e-9)
    # a visit told the first member from the rest: its particles, every eighth, are all that count
    first = (np.arange(made.N_MEMBERS) == 0).astype(float)
    told = history([sweeps(0), sweeps(24)], GUILDS, rules=made.rules(ln_sd=0.4), weights=first)
    assert_allclose(told.standing_left, np.prod(1.0 - kill[:, [0, 8]].mean(axis=1)), rtol=1e-9)


def test_a_pass_works_as_deep_as_its_entry_says_else_as_its_tool() -> None:
    """Depth is where threads escape, and how much is opened."""
    said = history([sweeps(0, 10.0)], GUILDS)
    silent = history([made.entry("pass", 0, tool="sweeps")], GUILDS)
    assert said.passes.depth_mm.tolist() == [10.0]
    assert silent.passes.depth_mm.tolist() == [made.SWEEPS.depth_mm]
    meant = history([sweeps(0, made.SWEEPS.depth_mm)], GUILDS)
    assert_allclose(silent.openings.size, meant.openings.size, rtol=1e-12)
    assert_allclose(silent.passes.kill_frac, meant.passes.kill_frac, rtol=1e-12)


def test_a_visit_without_work_and_an_unknown_tool_leave_all_as_it_was() -> None:
    nothing = [
        sweeps(0, worked=False),
        made.entry("pass", 24, tool="borrowed", depth_mm=20.0),
        made.entry("pass", 48, bed="A2", tool="sweeps", depth_mm=20.0),
    ]
    found = history(nothing, GUILDS)
    assert found.openings.hour.size == found.passes.hour.size == 0
    assert found.standing_left == 1.0
    # the pass with the tool that nobody owns is told, the others are no faults
    assert found.left_out == ((nothing[1].happened_at, "borrowed"),)


def test_weeding_by_hand_kills_and_opens_nothing() -> None:
    found = history([made.entry("hand", 24)], GUILDS)
    assert found.openings.hour.size == 0
    assert found.passes.hour.tolist() == [24.0]


def test_a_wetting_opens_its_share_and_keeps_readiness() -> None:
    rain = Trigger(made.START + timedelta(hours=24), "wetting")
    found = history([sweeps(0), sweeps(240)], NO_DEPLETION, wettings=[rain])
    dry = history([sweeps(0), sweeps(240)], NO_DEPLETION)
    assert found.labels == ("pass", "wetting", "pass")
    back = 1.0 - np.exp(-1.0 / GUILDS.recovery_d)
    wanted = GUILDS.season[:, MAY] * GUILDS.wetting_share * back
    assert_allclose(found.openings.size[1, :, BETWEEN], wanted, rtol=1e-9)
    assert_allclose(found.openings.size[2], dry.openings.size[1], rtol=1e-9)


# ------------------------------------------------------------------ a pass soon after another

BY_ROW = Tool("fingers", "finger weeder", 20.0, 0.8)
MISSED = 1.0 - 0.85 * np.exp(-2.0 / 3.0)  # share of the kill two days after, by the table
SOWN_AT = 0.0  # carrots


def kill_of_last(events: Sequence[Event]) -> FloatArray:
    """Of the last pass over carrots sown at hour 0, (2 zones, 5 stages)."""
    sown = made.planting("carrot", SOWN_AT)
    own = made.rules((made.TINES, made.SWEEPS, BY_ROW))
    found = history(events, GUILDS, rules=own, planting=sown)
    kills = found.passes.kill_frac
    assert np.ptp(kills, axis=1).max() == 0.0
    return np.asarray(kills[int(np.argmax(found.passes.hour)), 0])


def passed(tool: str, hour: float) -> Event:
    return made.entry("pass", hour, tool=tool, depth_mm=20.0)


def test_how_much_the_tables_say_a_second_pass_misses() -> None:
    of = kill_settings()
    assert (of.again_frac, of.again_d, of.again_thread_d) == (0.85, 3.0, 1.0)


def test_a_pass_misses_what_the_one_before_it_missed_in_each_zone() -> None:
    """Two days after: 0.56 of the kill, but of threads, which are new ones, all."""
    alone = kill_of_last([passed("tines", 96)])
    assert_allclose(alone, kill_table().kill_frac["tine weeder"], rtol=1e-12)

    def left(kind: str, zone: int) -> FloatArray:
        """All of the threads; of the rest the less, the more the pass before takes, to half."""
        took = np.minimum(kill_table().kill_frac[kind][zone] / 0.5, 1.0)
        return np.array([1.0, *(1.0 - (1.0 - MISSED) * took[1:])])

    for before, in_row, between in (
        ("tines", left("tine weeder", IN_ROW), left("tine weeder", BETWEEN)),
        ("sweeps", 1.0, left("sweeps", BETWEEN)),
        ("fingers", left("finger weeder", IN_ROW), 1.0),
    ):
        found = kill_of_last([passed(before, 48), passed("tines", 96)])
        assert_allclose(found[IN_ROW], in_row * alone[IN_ROW], rtol=1e-12, err_msg=before)
        assert_allclose(found[BETWEEN], between * alone[BETWEEN], rtol=1e-12, err_msg=before)


def test_threads_of_the_same_day_were_missed_as_well() -> None:
    alone = kill_of_last([passed("tines", 96)])
    found = kill_of_last([passed("tines", 84), passed("tines", 96)])
    took = np.minimum(kill_table().kill_frac["tine weeder"] / 0.5, 1.0)
    assert_allclose(found, alone * (1.0 - 0.85 * np.exp(-0.5 / 3.0) * took), rtol=1e-12)


@pytest.mark.parametrize(
    "before",
    [
        [made.entry("sow", 48, crop="carrot")],
        [made.entry("plant", 48, crop="carrot")],
        [made.entry("hand", 48)],
        [prep(48, 30.0)],
        [passed("tines", 24), prep(48, 30.0)],
        [passed("tines", 24), made.entry("sow", 48, crop="carrot")],
    ],
    ids=["sow", "plant", "hand", "prep", "pass, prep", "pass, sow"],
)
def test_only_passes_leave_what_the_next_one_misses(before: list[Event]) -> None:
    alone = kill_of_last([passed("tines", 96)])
    assert_allclose(kill_of_last([*before, passed("tines", 96)]), alone, rtol=1e-12)


def test_a_history_tells_the_last_pass_in_each_zone() -> None:
    own = made.rules((made.TINES, made.SWEEPS, BY_ROW))
    sown = made.planting("carrot", SOWN_AT)
    events = [passed("fingers", 24), passed("sweeps", 72), made.entry("hand", 96)]
    found = history(events, GUILDS, rules=own, planting=sown)
    assert_allclose(found.since_pass_d(np.array([96.0, 120.0])), [[3.0, 1.0], [4.0, 2.0]])
    assert np.isinf(history([], GUILDS).since_pass_d(np.array([96.0]))).all()


# ------------------------------------------------------------------ where no rows stand


def kills_of(events: Sequence[Event], now: Planting) -> FloatArray:
    """In the row and between of seed leaves by each pass, (n, 2)."""
    found = history(events, GUILDS, planting=now)
    is_pass = found.passes.depth_mm == made.SWEEPS.depth_mm
    return np.asarray(found.passes.kill_frac[is_pass, 0, :, 1])


def swept(hour: float) -> Event:
    return sweeps(hour, made.SWEEPS.depth_mm)


def test_sweeps_work_the_whole_width_of_an_empty_bed_and_leave_rows_that_stand() -> None:
    between = kill_table().kill_frac["sweeps"][BETWEEN, 1]
    whole, rows = [between, between], [0.0, between]
    crop = made.entry("sow", 24, crop="lettuce")
    clear, deep, shallow = made.entry("clear", 60), prep(60), prep(60, 30.0)
    sow = made.entry("sow", 100, crop="carrot")
    carrots = made.planting("carrot", 100)
    empty = made.planting()
    for name, events, now, wanted in (
        ("bare", [swept(0)], empty, [whole]),
        ("before and after sowing", [swept(80), sow, swept(200)], carrots, [whole, rows]),
        ("in rows that are cleared since", [crop, swept(40), clear], empty, [rows]),
        ("the same, now carrots", [crop, swept(40), clear, sow], carrots, [rows]),
        ("after clearing", [crop, clear, swept(70), sow], carrots, [whole]),
        ("after deep work", [crop, deep, swept(70), sow], carrots, [whole]),
        ("after work that leaves the crop", [crop, shallow, swept(70), sow], carrots, [rows]),
    ):
        assert_allclose(kills_of(events, now), wanted, rtol=1e-12, err_msg=name)
