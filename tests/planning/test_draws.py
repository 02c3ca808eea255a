"""Random numbers are keyed by seed and purpose, never by order; quantiles by member weight."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from scheduler.planning.draws import keyed_generator, stratified_normals, weighted_quantiles


def test_a_draw_does_not_depend_on_what_was_drawn_before() -> None:
    alone = stratified_normals(5, 32, "soil", "loam", "k_factor")
    for name in ("theta_33", "theta_sat", "drained"):
        stratified_normals(5, 32, "soil", "loam", name)
    keyed_generator(5, "anything").random(1000)
    assert np.array_equal(stratified_normals(5, 32, "soil", "loam", "k_factor"), alone)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ((5, "soil", "loam"), (6, "soil", "loam")),
        ((5, "soil", "loam"), (5, "loam", "soil")),
        ((5, "ab", "c"), (5, "a", "bc")),
        ((51, "x"), (5, "1x")),
        ((5, "storm", 1), (5, "storm", 11)),
    ],
)
def test_other_names_give_other_numbers(one: tuple[int, ...], other: tuple[int, ...]) -> None:
    assert keyed_generator(*one).random() != keyed_generator(*other).random()


@given(st.integers(0, 10_000), st.integers(2, 64), st.text(max_size=8))
@settings(max_examples=40, deadline=None)
def test_one_normal_falls_into_each_slice(seed: int, n_members: int, name: str) -> None:
    z = stratified_normals(seed, n_members, name)
    slices = np.floor([NormalDist().cdf(x) * n_members for x in np.sort(z)])
    assert np.all(np.abs(slices - np.arange(n_members)) <= 1)  # a bound may round either way
    assert np.isfinite(z).all()


def test_two_purposes_are_independent() -> None:
    """Correlations of 200 pairs of 32 draws scatter about nought by 1/sqrt(31)."""
    pairs = [
        np.corrcoef(stratified_normals(s, 32, "a"), stratified_normals(s, 32, "b"))[0, 1]
        for s in range(200)
    ]
    assert abs(np.mean(pairs)) < 3.0 / np.sqrt(31.0 * 200.0)
    assert_allclose(np.std(pairs), 1.0 / np.sqrt(31.0), rtol=0.2, atol=0.0)


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=20), st.integers(0, 1000))
@settings(max_examples=60, deadline=None)
def test_quantiles_do_not_depend_on_the_order_of_members(values: list[float], seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.array(values)
    w = rng.random(x.size) + 0.01
    order = rng.permutation(x.size)
    low, mid, high = found = weighted_quantiles(x, w)
    assert x.min() <= low <= mid <= high <= x.max()
    if np.unique(x).size == x.size:  # equal values may carry their weights in either order
        assert_allclose(weighted_quantiles(x[order], w[order]), found, rtol=1e-12, atol=1e-12)


def test_quantiles_leave_out_what_is_not_known() -> None:
    known = weighted_quantiles(np.array([1.0, 2.0, 3.0]), np.ones(3))
    assert weighted_quantiles(np.array([1.0, np.nan, 2.0, 3.0]), np.ones(4)).tolist() == list(known)
    assert np.isnan(weighted_quantiles(np.full(3, np.nan), np.ones(3))).all()
    assert weighted_quantiles(np.array([np.nan, 7.0]), np.ones(2)).tolist() == [7.0, 7.0, 7.0]


def test_quantiles_follow_the_weights() -> None:
    """998 in 1000 of the weight stand at 3: the median is 3."""
    low, mid, _ = weighted_quantiles(np.array([1.0, 2.0, 3.0]), np.array([0.01, 0.01, 10.0]))
    assert mid > 2.9
    assert low > 2.5
