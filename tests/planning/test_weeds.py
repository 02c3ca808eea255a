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
from scheduler.planning.weeds import BETWEEN, WeedHistory, WeedSettings, weed_history
from scheduler.records import Event
from scheduler.service.settings import kill_table, weed_settings
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
) -> WeedHistory:
    clock: Any = SimpleNamespace(
        sky=made.sky(), stored_from_hour=0, readings_from_hour=0, n_members=made.N_MEMBERS
    )
    return weed_history(
        made.planting(), events, wettings, settings, kill_table(), rules or made.rules(),
        made.unseen_weather(), clock, np.full(made.N_HOURS, soil_c), latitude_deg, n_particles=16,
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
    """Preparation leaves 5 % where deep, 30 % where shallow; sweeps what their table says."""
    established = kill_table().kill_frac["sweeps"][BETWEEN, -1]
    assert_allclose(history([prep(0)], GUILDS).standing_left, 0.05, rtol=1e-9)
    assert_allclose(history([prep(0, 30.0)], GUILDS).standing_left, 0.30, rtol=1e-9)
    done = history([prep(0, 30.0), sweeps(48), sweeps(72)], GUILDS)
    assert_allclose(done.standing_left, 0.30 * (1.0 - established) ** 2, rtol=1e-9)


def test_a_mat_is_thinned_by_the_mean_over_the_particles() -> None:
    spread = history([sweeps(0), sweeps(24)], GUILDS, rules=made.rules(ln_sd=0.4))
    kill = spread.passes.kill_frac[:, :, BETWEEN, -1]
    assert kill.shape == (2, 16)
    assert np.ptp(kill, axis=1).min() > 0.1
    assert_allclose(spread.standing_left, np.prod(1.0 - kill.mean(axis=1)), rtol=1e-9)


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
