"""Kill of a pass: drying dose against a plain walk, factors at their ends, refusals."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models import kill


def walked_dose(et0: Any, water: Any, rewet_mm: float, gap_h: int) -> list[float]:
    """The dose of each hour, by walking through the hours after it one by one."""
    doses = []
    for start in range(len(et0)):
        begin, hour = len(et0), start
        while hour < len(et0):
            if water[hour] == 0.0:
                hour += 1
                continue
            last, fallen, ahead = hour, water[hour], hour + 1
            while ahead < len(et0) and ahead - last < gap_h:
                if water[ahead] > 0.0:
                    fallen, last = fallen + water[ahead], ahead
                ahead += 1
            if fallen >= rewet_mm:
                begin = hour
                break
            hour = last + 1
        doses.append(sum(et0[start:begin]))
    return doses


@pytest.mark.parametrize(("rewet_mm", "gap_h"), [(1.0, 6), (3.0, 6), (1.0, 1), (2.0, 12)])
def test_dose_is_that_of_a_plain_walk(rewet_mm: float, gap_h: int) -> None:
    rng = np.random.default_rng(7)
    et0 = rng.uniform(0.0, 0.5, (3, 240))
    water = np.where(rng.random((3, 240)) < 0.08, rng.exponential(0.9, (3, 240)), 0.0)
    found = kill.drying_dose_mm(et0, water, rewet_mm, gap_h)
    wanted = [walked_dose(e, w, rewet_mm, gap_h) for e, w in zip(et0, water, strict=True)]
    assert_allclose(found, wanted, rtol=0, atol=1e-11)
    is_wetted = np.cumsum(et0[:, ::-1], axis=1)[:, ::-1] - found > 1e-9
    assert 0.5 < is_wetted.mean() < 1.0  # both kinds are in the sample


def test_drizzle_of_one_spell_adds_up() -> None:
    """Five hours from wet hour to wet hour is one spell, six are two."""
    et0 = np.full(12, 0.1)
    water = np.zeros(12)
    water[[2, 7]] = 0.6
    assert_allclose(kill.drying_dose_mm(et0, water)[0], 0.2, rtol=0, atol=1e-12)
    water[[7, 8]] = 0.0, 0.6
    assert_allclose(kill.drying_dose_mm(et0, water)[0], 1.2, rtol=0, atol=1e-12)


def test_dose_of_a_wet_hour_is_nothing_and_of_a_dry_series_all_of_it() -> None:
    et0 = np.full(5, 0.2)
    assert kill.drying_dose_mm(et0, [0.0, 0.0, 2.0, 0.0, 0.0])[2] == 0.0
    assert_allclose(
        kill.drying_dose_mm(et0, np.zeros(5)), [1.0, 0.8, 0.6, 0.4, 0.2], rtol=0, atol=1e-12
    )


def test_water_shared_by_the_members_is_broadcast() -> None:
    et0 = np.array([[0.1, 0.1, 0.1], [0.3, 0.3, 0.3]])
    found = kill.drying_dose_mm(et0, [0.0, 0.0, 1.0])
    assert_allclose(found, [[0.2, 0.1, 0.0], [0.6, 0.3, 0.0]], rtol=0, atol=1e-12)


def test_no_hours_no_dose() -> None:
    assert kill.drying_dose_mm(np.zeros((2, 0)), np.zeros((2, 0))).shape == (2, 0)


def test_infinite_need_never_dries() -> None:
    found = kill.dried_frac([[0.0], [1e6]], [1.0, np.inf])
    assert_allclose(found, [[0.0, 0.0], [1.0, 0.0]], rtol=0, atol=1e-12)


def test_factor_of_moist_soil_between_its_ends() -> None:
    theta = np.array([0.40, 0.2501, 0.25, 0.235, 0.22, 0.10])
    found = kill.wet_before_factor(theta, 0.25, 0.46)
    assert_allclose(found, [0.46, 0.46, 0.46, 0.73, 1.0, 1.0], rtol=0, atol=1e-12)


def test_all_factors_multiply_as_the_formula_says() -> None:
    """0.6 ((1 - 0.4) 0.9 + 0.4 0.5) 0.8 1.1 worked by hand: 0.6 x 0.74 x 0.88 = 0.39072."""
    assert_allclose(kill.kill_frac(0.6, 0.4, 0.9, 0.5, 0.8, 1.1), 0.39072, rtol=0, atol=1e-12)


def test_speed_cannot_kill_more_than_all() -> None:
    assert kill.kill_frac(0.95, 0.0, setup_factor=1.2) == 1.0


def test_kill_takes_the_shapes_of_members_and_stages() -> None:
    found = kill.kill_frac(
        np.full(5, 0.5), 0.4, dry_factor=np.ones((3, 1)), wet_before_factor=np.ones((3, 1))
    )
    assert found.shape == (3, 5)


def test_stack_keeps_the_better_tool() -> None:
    assert kill.stacked_kill_frac(0.97, 0.01) == 0.97
    assert kill.stacked_kill_frac(0.0, 0.35) == 0.35
    assert_allclose(kill.stacked_kill_frac(0.6, 0.5), 0.95 * 0.8, rtol=0, atol=1e-12)


def test_cover_and_clearance_are_one_scale() -> None:
    depths = np.linspace(0.0, 60.0, 121)
    killed = kill.covered_kill_frac(depths)
    assert np.all(np.diff(killed) >= 0.0)
    assert killed[-1] == 1.0
    spared = kill.covered_kill_frac(0.0, depths)
    assert np.all(np.diff(spared) <= 0.0)
    assert spared[-1] == 0.0
    assert spared[0] == killed[0]


def test_crop_is_judged_harder_than_weeds() -> None:
    """Under the same soil a crop is never said to come off better than a weed."""
    top_mm = np.linspace(-15.0, 30.0, 91)
    weeds = kill.covered_kill_frac(np.maximum(-top_mm, 0.0), np.maximum(top_mm, 0.0))
    assert np.all(kill.hilled_crop_loss_frac(top_mm) >= weeds - 1e-12)


def test_a_hoe_is_no_tine() -> None:
    """A hoe gained under a tenth from 25 to 40 mm; the tine's curve gives more, from 25 to 30."""
    assert kill.depth_factor(40.0, 25.0) > 1.1
    assert kill.depth_factor(40.0, 25.0) == kill.depth_factor(30.0, 25.0)
    assert kill.depth_factor(40.0, 45.0) < kill.depth_factor(45.0, 45.0) == 1.0


def test_speed_counts_to_five_km_h() -> None:
    usual = 3.0 / 3.6
    fast, faster = kill.speed_factor([5.0 / 3.6, 9.0 / 3.6], usual, 0.05)
    assert_allclose([fast, faster], 1.1, rtol=0, atol=1e-12)
    assert_allclose(kill.speed_factor(2.0 / 3.6, usual, 0.05), 0.95, rtol=0, atol=1e-12)
    assert kill.speed_factor(0.0, 1.3, 1.0) == 0.0


def test_no_pass_leaves_all() -> None:
    assert kill.survivors_frac([]) == 1.0
    assert kill.stand_loss_frac(np.zeros((2, 0))).tolist() == [0.0, 0.0]


def test_spread_is_symmetric_in_the_dose() -> None:
    """Twice the dose is the kill of two passes: z ln_sd = ln 2."""
    found = kill.spread_kill_frac(0.6, np.log(2.0), 1.0)
    assert_allclose(found, 1.0 - kill.survivors_frac([0.6, 0.6]), rtol=0, atol=1e-12)


NAN = float("nan")
REFUSED: list[tuple[str, Callable[[], Any]]] = [
    ("et0_mm", lambda: kill.drying_dose_mm([-0.1], [0.0])),
    ("et0_mm", lambda: kill.drying_dose_mm([NAN], [0.0])),
    ("water_mm", lambda: kill.drying_dose_mm([0.1], [NAN])),
    ("water_mm", lambda: kill.drying_dose_mm([0.1], [np.inf])),
    ("shape", lambda: kill.drying_dose_mm(0.1, 0.0)),
    ("rewet_mm 0", lambda: kill.drying_dose_mm([0.1], [0.0], rewet_mm=0.0)),
    ("rewet_mm nan", lambda: kill.drying_dose_mm([0.1], [0.0], rewet_mm=NAN)),
    ("gap_h 0", lambda: kill.drying_dose_mm([0.1], [0.0], gap_h=0)),
    ("dose_mm", lambda: kill.dried_frac(-1.0, 1.0)),
    ("dose_mm", lambda: kill.dried_frac(np.inf, np.inf)),
    ("need_mm", lambda: kill.dried_frac(1.0, 0.0)),
    ("need_mm", lambda: kill.dried_frac(1.0, NAN)),
    ("dried_frac", lambda: kill.dry_factor(1.1, 0.5)),
    ("wet_after_frac", lambda: kill.dry_factor(0.5, 50.0)),
    ("theta_m3m3", lambda: kill.wet_before_factor(25.0, 0.25, 0.6)),
    ("working_m3m3", lambda: kill.wet_before_factor(0.25, NAN, 0.6)),
    ("wet_before_frac", lambda: kill.wet_before_factor(0.25, 0.25, -0.1)),
    ("range_m3m3", lambda: kill.wet_before_factor(0.25, 0.25, 0.6, 0.0)),
    ("good_frac", lambda: kill.kill_frac(1.2, 0.5)),
    ("good_frac", lambda: kill.kill_frac(NAN, 0.5)),
    ("drying_share", lambda: kill.kill_frac(0.5, -0.5)),
    ("bury_factor", lambda: kill.kill_frac(0.5, 0.5, 1.5)),
    ("dry_factor", lambda: kill.kill_frac(0.5, 0.5, 1.0, NAN)),
    ("wet_before_factor", lambda: kill.kill_frac(0.5, 0.5, 1.0, 1.0, 2.0)),
    ("setup_factor", lambda: kill.kill_frac(0.5, 0.5, setup_factor=-1.0)),
    ("setup_factor", lambda: kill.kill_frac(0.5, 0.5, setup_factor=np.inf)),
    ("first_frac", lambda: kill.stacked_kill_frac(NAN, 0.5)),
    ("second_frac", lambda: kill.stacked_kill_frac(0.5, 1.01)),
    ("n_rewettings", lambda: kill.burial_factor(-1)),
    ("n_rewettings", lambda: kill.burial_factor(NAN)),
    ("cover_mm", lambda: kill.covered_kill_frac(NAN)),
    ("plant_clear_mm", lambda: kill.covered_kill_frac(0.0, -5.0)),
    ("both above 0", lambda: kill.covered_kill_frac([0.0, 5.0], [5.0, 5.0])),
    ("crop_clear_mm", lambda: kill.hilled_crop_loss_frac([10.0, NAN])),
    ("depth_mm", lambda: kill.uprooted_frac(-1.0, True)),
    ("depth_mm", lambda: kill.depth_factor(NAN)),
    ("usual_mm", lambda: kill.depth_factor(10.0, 0.0)),
    ("speed_m_s", lambda: kill.speed_factor(NAN, 1.0, 0.05)),
    ("usual_m_s", lambda: kill.speed_factor(1.0, -1.0, 0.05)),
    ("gain_frac_per_km_h", lambda: kill.speed_factor(1.0, 1.0, 5.0)),
    ("kills_frac", lambda: kill.survivors_frac([0.5, NAN])),
    ("passes_loss_frac", lambda: kill.stand_loss_frac([0.5, 1.5])),
    ("kill_frac", lambda: kill.spread_kill_frac(1.5, 0.0, 0.5)),
    ("z", lambda: kill.spread_kill_frac(0.5, NAN, 0.5)),
    ("z", lambda: kill.spread_kill_frac(0.5, np.inf, 0.0)),
    ("ln_sd", lambda: kill.spread_kill_frac(0.5, 0.0, -0.1)),
]


@pytest.mark.parametrize(("named", "call"), REFUSED)
def test_nonsense_is_refused_by_name(named: str, call: Callable[[], Any]) -> None:
    with pytest.raises(RangeError, match=named) as error:
        call()
    assert "must be" in str(error.value)
    assert "\n" not in str(error.value)
