"""Crust: growth, decay, breaking, strength, and when one is expected."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models.crust import (
    CrustClass,
    crust_class,
    crust_energy_j_m2,
    crust_expected,
    crust_index,
    crust_maturity,
    crust_susceptibility,
    maturity_after,
    rain_energy_j_m2,
    rain_energy_j_m2_mm,
    silt_split_pct,
)


def hour_by_hour(energy, growth_energy, cover, broken, decay_d, before):
    """The same rule written as a plain loop over members and hours."""
    out = np.zeros_like(energy)
    for i in range(energy.shape[0]):
        m = before[i]
        for h in range(energy.shape[1]):
            if broken[i, h]:
                m = 0.0
            m = m * np.exp(-1.0 / (24.0 * decay_d[i]))
            m = 1.0 - (1.0 - m) * np.exp(-energy[i, h] * (1.0 - cover[i, h]) / growth_energy[i])
            out[i, h] = m
    return out


@pytest.mark.parametrize("seed", range(4))
def test_maturity_equals_a_plain_loop(seed: int) -> None:
    rng = np.random.default_rng(seed)
    shape = (4, 300)
    energy = np.where(rng.random(shape) < 0.04, rng.exponential(60.0, shape), 0.0)
    cover = rng.random(shape)
    broken = rng.random(shape) < 0.01
    growth_energy = rng.uniform(60.0, 500.0, 4)
    decay_d = rng.uniform(5.0, 60.0, 4)
    before = rng.random(4)
    found = crust_maturity(energy, growth_energy, cover, broken, decay_d, before)
    assert_allclose(
        found,
        hour_by_hour(energy, growth_energy, cover, broken, decay_d, before),
        rtol=1e-12,
        atol=1e-14,
    )
    assert found.min() >= 0.0
    assert found.max() <= 1.0


def test_stop_and_resume_equals_one_run() -> None:
    rng = np.random.default_rng(9)
    energy = np.where(rng.random((3, 200)) < 0.1, 40.0, 0.0)
    whole = crust_maturity(energy, 250.0, 0.2, False, 30.0)
    first = crust_maturity(energy[:, :77], 250.0, 0.2, False, 30.0)
    second = crust_maturity(energy[:, 77:], 250.0, 0.2, False, 30.0, first[:, -1])
    assert_allclose(np.concatenate([first, second], axis=1), whole, rtol=1e-12, atol=1e-15)


def test_two_showers_make_one_of_their_sum() -> None:
    halves = maturity_after(maturity_after(0.1, 120.0, 250.0, 0.3), 80.0, 250.0, 0.3)
    assert_allclose(halves, maturity_after(0.1, 200.0, 250.0, 0.3), rtol=1e-12, atol=0)


def test_leaves_keep_the_drops_off() -> None:
    energy = np.array([[300.0, 0.0]])
    bare = crust_maturity(energy, 250.0, 0.0, False)
    half = crust_maturity(energy, 250.0, 0.5, False)
    full = crust_maturity(energy, 250.0, 1.0, False)
    assert bare[0, 0] > half[0, 0] > full[0, 0] == 0.0


def test_a_pass_breaks_and_time_wears() -> None:
    broken = np.array([False] * 30 + [True] + [False] * 29)
    found = crust_maturity(np.zeros((1, 60)), 250.0, 0.0, broken, 1.0, 0.8)[0]
    assert_allclose(found[23], 0.8 * np.exp(-1.0), rtol=1e-12, atol=0)
    assert (found[30:] == 0.0).all()


def test_wet_crust_has_no_strength_and_keeps_its_maturity() -> None:
    suction = np.array([[20.0, 33.0, 300.0, 5000.0, 1e5, 3e6, 10.0]])
    found = crust_index(np.full((1, 7), 0.9), suction)[0]
    assert found[0] == found[1] == found[6] == 0.0
    assert np.all(np.diff(found[1:5]) > 0.0)
    assert_allclose(found[4:6], 0.9, rtol=1e-12, atol=0)


def test_strength_is_convex_in_the_log_of_suction() -> None:
    found = crust_index(np.ones(50), np.geomspace(34.0, 9e4, 50))
    assert np.all(np.diff(found, n=2) > 0.0)


def test_same_mean_rain_beats_harder_in_bursts() -> None:
    rain = np.array([[0.0, 6.0, 2.0]])
    steady, bursts = rain_energy_j_m2(rain), rain_energy_j_m2(rain, peak_ratio=3.0)
    assert bursts[0, 0] == steady[0, 0] == 0.0
    assert np.all(bursts[0, 1:] > steady[0, 1:])
    assert np.all(bursts[0, 1:] < 1.5 * steady[0, 1:])


def test_silt_is_split_whole() -> None:
    fine, coarse = silt_split_pct([10.0, 65.0])
    assert_allclose(fine + coarse, [10.0, 65.0], rtol=1e-12, atol=0)


def test_silt_loam_crusts_before_sand_and_clay() -> None:
    """Class centres with 2.5 % organic matter: the order of the trade (silt first)."""
    silt_pct = np.array([65.0, 40.0, 7.0, 25.0])  # silt loam, loam, sand, clay
    clay_pct = np.array([15.0, 20.0, 5.0, 50.0])
    found = crust_susceptibility(*silt_split_pct(silt_pct), clay_pct, 2.5)
    assert found.argmax() == 0
    assert found[0] > found[1] > found[3]


def test_classes() -> None:
    found = crust_class([0.19, 0.2, 0.9, 0.9], [0.9, 0.0, 0.2, 0.5])
    assert found.tolist() == [
        CrustClass.NONE,
        CrustClass.SOFT,
        CrustClass.BREAKABLE,
        CrustClass.HARD,
    ]


def test_expected_is_the_weighted_median_of_those_that_crust() -> None:
    index = np.zeros((4, 50))
    index[0, 10:] = 0.4
    index[1, 20:] = 0.4
    index[2, 30:] = 0.4
    assert crust_expected(index, 0.3) == (20, 0.75)
    hour, share = crust_expected(index, 0.3, [1.0, 1.0, 6.0, 2.0])
    assert hour == 30
    assert_allclose(share, 0.8, rtol=1e-12, atol=0)
    assert crust_expected(index, 0.3, from_hour=25) == (25, 0.75)
    assert crust_expected(index, 0.5) == (None, 0.0)
    assert crust_expected(index, 0.3, [0.0, 0.0, 0.0, 1.0]) == (None, 0.0)


def test_expected_ignores_the_order_of_members() -> None:
    rng = np.random.default_rng(2)
    index = rng.random((9, 40)).cumsum(axis=1) / 40.0
    weights = rng.random(9)
    order = rng.permutation(9)
    hour, share = crust_expected(index, 0.3, weights)
    again, share_again = crust_expected(index[order], 0.3, weights[order])
    assert hour == again
    assert_allclose(share, share_again, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: rain_energy_j_m2_mm(-1.0), "intensity_mm_h"),
        (lambda: rain_energy_j_m2_mm(np.nan), "intensity_mm_h"),
        (lambda: rain_energy_j_m2_mm(1.0, "other"), "form of rain energy"),
        (lambda: rain_energy_j_m2([1.0], peak_ratio=0.5), "peak_ratio"),
        (lambda: crust_susceptibility(10, 10, 0, 0), "clay_pct and organic_matter_pct"),
        (lambda: crust_susceptibility(10, -1, 5, 2), "coarse_silt_pct"),
        (lambda: crust_maturity([[np.nan]], 250.0, 0.0, False), "energy_j_m2"),
        (lambda: crust_maturity([1.0], 250.0, 0.0, False), "energy_j_m2"),
        (lambda: crust_maturity([[1.0]], 250.0, 1.2, False), "cover_frac"),
        (lambda: crust_maturity([[1.0]], 0.0, 0.0, False), "crust_energy_j_m2"),
        (lambda: crust_maturity([[1.0]], 250.0, 0.0, False, decay_d=0.0), "decay_d"),
        (lambda: crust_maturity([[1.0]], 250.0, 0.0, False, 45.0, np.nan), "maturity_before"),
        (lambda: crust_class([np.nan], [0.0]), "maturity and index"),
        (lambda: crust_energy_j_m2(1.0, scale_j_m2=0.0), "crust energy"),
        (lambda: crust_energy_j_m2(1.0, least_j_m2=2000.0), "crust energy"),
        (lambda: crust_index([1.0], [0.0]), "suction_kpa"),
        (lambda: crust_index([1.0], [np.nan]), "suction_kpa"),
        (lambda: crust_class([1.0], [1.0], hard_from=0.1), "hard_from"),
        (lambda: crust_expected([[np.nan]], 0.2), "index of a crust"),
        (lambda: crust_expected([[0.5]], 0.0), "threshold"),
        (lambda: crust_expected([[0.5]], 0.2, from_hour=-1), "from_hour"),
    ],
)
def test_wrong_arguments_are_named(call, said: str) -> None:
    with pytest.raises(RangeError, match=said) as caught:
        call()
    assert "\n" not in str(caught.value)
