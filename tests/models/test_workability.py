"""Workability: behaviour of limits, chances and spans."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models.hydraulics import saxton_rawls, theta_at_kpa
from scheduler.models.workability import (
    chance,
    dexter_bird_range,
    hard_theta_m3m3,
    is_too_hard,
    is_too_wet,
    is_workable,
    tool_bands_mm,
    wet_ceiling_theta_m3m3,
    workable_from_hour,
    working_spans,
    working_theta_m3m3,
)


def test_threshold_is_the_curve_of_the_hydraulics_room() -> None:
    loam = saxton_rawls(0.40, 0.20, 2.5)
    for kpa in (0.5, 12.0, 25.0, 200.0):
        assert_allclose(
            working_theta_m3m3(kpa, loam.theta_33_m3m3, loam.b, loam.theta_sat_m3m3),
            theta_at_kpa(kpa, loam),
            rtol=1e-12,
            atol=0,
        )


def test_suction_of_zero_leaves_only_the_ceiling() -> None:
    working = working_theta_m3m3(0.0, [0.103], [5.33], [0.462])
    assert_allclose(working, [0.462], rtol=0, atol=0)
    theta = np.array([[0.20, 0.15, 0.11]])
    assert is_too_wet(theta, working, [0.129]).tolist() == [[True, True, False]]


def test_a_drier_suction_asks_for_drier_soil() -> None:
    found = working_theta_m3m3([10.0, 20.0, 40.0], 0.28, 5.35, 0.46)
    assert np.all(np.diff(found) < 0.0)


def test_ceiling_takes_the_lower_limit_and_is_not_shifted() -> None:
    ceiling = wet_ceiling_theta_m3m3([0.345, 0.40], [0.350, 0.39])
    assert ceiling.tolist() == [0.345, 0.39]
    theta = np.array([[0.346], [0.346]])
    found = is_too_wet(theta, [0.30, 0.30], ceiling, offset_m3m3=0.10)
    assert found.tolist() == [[True], [False]]


def test_offset_by_member_is_the_squeeze_test() -> None:
    theta = np.full((2, 3), 0.30)
    found = is_too_wet(theta, [0.29, 0.29], [0.4, 0.4], offset_m3m3=[0.02, -0.02])
    assert found.tolist() == [[False] * 3, [True] * 3]


def test_loose_dry_soil_is_not_hard_but_a_crust_is() -> None:
    theta = np.full((1, 2), 0.10)
    hard = hard_theta_m3m3([0.229], [[False, True]])
    assert is_too_hard(theta, hard).tolist() == [[False, True]]
    assert is_workable(theta, [0.29], [0.345], [0.229], [[False, True]]).tolist() == [[True, False]]


def test_workable_is_neither_wet_nor_hard() -> None:
    theta = np.linspace(0.05, 0.45, 81)[None, :]
    args = ([0.294], [0.345])
    wet = is_too_wet(theta, *args, 0.02)
    hard = is_too_hard(theta, hard_theta_m3m3([0.229], True))
    found = is_workable(theta, *args, [0.229], True, 0.02)
    assert not (wet & hard).any()
    assert (found == ~(wet | hard)).all()
    assert 0.229 <= theta[found].min() < theta[found].max() <= 0.314 + 1e-12


def test_tool_bands() -> None:
    assert tool_bands_mm(50.0, is_wheeled=False) == ((0.0, 50.0),)
    assert tool_bands_mm(15.0, is_wheeled=True) == ((0.0, 30.0), (50.0, 100.0))


def test_chance_ignores_the_scale_and_the_order_of_members() -> None:
    rng = np.random.default_rng(5)
    held = rng.random((7, 20)) < 0.5
    weights = rng.random(7)
    order = rng.permutation(7)
    found = chance(held, weights)
    assert_allclose(chance(held, 40.0 * weights), found, rtol=1e-12, atol=1e-15)
    assert_allclose(chance(held[order], weights[order]), found, rtol=1e-12, atol=1e-15)
    assert_allclose(chance(np.ones((7, 2), dtype=bool), weights), [1.0, 1.0], rtol=0, atol=1e-15)
    assert chance(held, weights).max() <= 1.0


def test_workable_from_needs_the_chance_to_hold() -> None:
    found = np.array([0.9, 0.0, 0.8, 0.8, 0.0, 1.0])
    assert workable_from_hour(found) == 2
    assert workable_from_hour(found, hold_h=1) == 0
    assert workable_from_hour(found, hold_h=1, from_hour=1) == 2
    assert workable_from_hour(found, from_hour=3) is None  # the last hour cannot be held to its end
    assert workable_from_hour(found, threshold_frac=0.95, hold_h=1) == 5
    assert workable_from_hour([]) is None


def test_spans_are_cut_by_working_hours() -> None:
    found = np.array([0.9] * 8)
    is_open = [False, True, True, False, True, True, True, False]
    assert working_spans(found, is_open) == [(1, 3), (4, 7)]
    assert working_spans(found, is_open, min_h=3) == [(4, 7)]
    assert working_spans(np.zeros(8), is_open) == []


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: is_too_wet([[np.nan]], [0.3], [0.3]), "theta_m3m3"),
        (lambda: is_too_wet([[0.3]], [np.nan], [0.3]), "limits of workability"),
        (lambda: is_too_hard([[0.3]], [np.nan]), "limits of workability"),
        (lambda: is_too_hard([[np.nan]], [0.3]), "theta_m3m3"),
        (lambda: working_theta_m3m3(-1.0, 0.3, 5.0, 0.4), "suction_kpa"),
        (lambda: working_theta_m3m3(np.nan, 0.3, 5.0, 0.4), "suction_kpa"),
        (lambda: working_theta_m3m3(10.0, 0.3, 0.0, 0.4), "b of a retention curve"),
        (lambda: dexter_bird_range(0.1, 0.4, 0.01, 1.0), "n of a retention curve"),
        (lambda: dexter_bird_range(0.1, 0.4, 0.0, 1.5), "alpha_per_cm"),
        (lambda: dexter_bird_range(0.4, 0.1, 0.01, 1.5), "theta_s_m3m3"),
        (lambda: chance([[True]], [0.0]), "member weights"),
        (lambda: chance([[True], [True]], [1.0]), "member weights"),
        (lambda: chance([[True], [True]], [2.0, -1.0]), "member weights"),
        (lambda: chance([[True], [True]], [2.0, np.nan]), "member weights"),
        (lambda: workable_from_hour([1.0], hold_h=0), "hold_h"),
        (lambda: workable_from_hour([1.0], from_hour=-1), "from_hour"),
        (lambda: working_spans([1.0], [True, True]), "is_working_hour"),
        (lambda: working_spans([1.0], [True], min_h=0), "min_h"),
        (lambda: tool_bands_mm(0.0, is_wheeled=False), "depth_mm"),
    ],
)
def test_wrong_arguments_are_named(call, said: str) -> None:
    with pytest.raises(RangeError, match=said) as caught:
        call()
    assert "\n" not in str(caught.value)
