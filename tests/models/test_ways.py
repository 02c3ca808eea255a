"""What is left by ways, against plain numpy and against the cohorts themselves."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.models.weeds.cohorts import (
    GuildTable,
    Openings,
    Particles,
    Passes,
    stand,
)
from scheduler.models.weeds.ways import alive_at_end, minutes_after


def _random_ways(n: int, n_days: int, seed: int) -> np.ndarray:
    states = np.arange(6)
    a, b, c = np.meshgrid(states, states, states, indexing="ij")
    ways = np.random.default_rng(seed).gamma(0.5, 10.0, (n, n_days, 2, 6, 6, 6))
    ways = ways * ((a <= b) & (b <= c))
    return ways.reshape(n, n_days, 2, 216).astype(np.float32)


def test_alive_at_the_end_equals_a_plain_sum_over_states() -> None:
    rng = np.random.default_rng(3)
    ways = _random_ways(7, 4, 1)
    price, survive = rng.random((2, 6, 2)), rng.random((3, 7, 2, 6))
    plain = np.einsum(
        "pdzabc,zcv,kpza->kpdzbv", ways.reshape(7, 4, 2, 6, 6, 6).astype(float), price, survive
    )
    assert_allclose(alive_at_end(ways, price, survive), plain, rtol=1e-12, atol=1e-12)


def test_minutes_equal_a_plain_sum_over_zones_and_states() -> None:
    rng = np.random.default_rng(4)
    alive, survive = rng.random((5, 3, 2, 6, 2)), rng.random((2, 3, 5, 2, 6))
    more, opens, rest = rng.random((5, 2)), rng.random((5, 2, 2)), rng.uniform(-1.0, 1.0, (3, 2))
    area = np.array([4.0, 9.0])
    got = minutes_after(alive, survive, more, opens, rest, area, 3.0, 40.0, 1)
    assert np.isnan(got[:, :, 0]).all()
    left = np.einsum("fdpzb,pdzbv->fpdzv", survive, alive)
    hand = left[..., 0] + more[None, :, None] + np.einsum("pzf,dz->fpdz", opens, rest)
    pull = left[..., 1] @ area / area.sum()
    plain = hand @ area / 60.0 + 40.0 * pull / (pull + 3.0)
    assert_allclose(got[:, :, 1:], plain[:, :, 1:], rtol=1e-12, atol=1e-12)


def test_a_pass_that_kills_nothing_changes_nothing_and_one_that_kills_all_leaves_the_ground() -> (
    None
):
    ways, price = _random_ways(4, 2, 9), np.ones((2, 6, 2))
    survive = np.ones((2, 4, 2, 6))
    survive[1, :, :, 1:] = 0.0
    alive = alive_at_end(ways, price, survive)
    whole = ways.sum(axis=3, dtype=float)
    assert_allclose(alive[0, ..., 0].sum(axis=3), whole, rtol=1e-6, atol=1e-9)
    ground = ways.reshape(4, 2, 2, 6, 36)[:, :, :, 0].sum(axis=3, dtype=float)
    assert_allclose(alive[1, ..., 0].sum(axis=3), ground, rtol=1e-6, atol=1e-9)


def test_ways_of_the_cohorts_never_lead_back() -> None:
    one = np.ones(1)
    bands = np.array([[0.0, 5.0], [5.0, 15.0], [15.0, 30.0], [30.0, 50.0]])
    guilds = GuildTable(
        70 * one, 0.55 * one, 1000 * one, 0.4, 1.8 * one, 0.35, 25 * one, 8.0, 25 * one, 20 * one,
        np.array([[0.31, 0.29, 0.28, 0.12]]), bands, np.full(4, 0.2),
    )  # fmt: skip
    rng = np.random.default_rng(2)
    heat = np.cumsum(rng.gamma(1.0, 3.0, 120)).astype(np.float32)[None, :, None, None]
    heat = np.repeat(heat, 4, axis=3)
    dry = np.cumsum(rng.random((1, 120, 4)) * 0.1, axis=1).astype(np.float32)
    kill = np.full((1, 1, 2, 5), 0.5)
    found = stand(
        np.repeat(heat[..., None], 2, axis=4), heat, dry, heat[..., 0],
        np.array([100.0, 1500.0]), 0.0, 6.0, guilds,
        Particles(np.zeros(1, np.int64), one, one, 100 * one, one[:, None], 0 * one),
        Openings(np.array([0.0, 100.0]), np.ones((2, 1, 2))),
        Passes(np.array([200.0]), kill, np.array([20.0])),
        np.arange(240.0, 640.0, 24.0), 1, 25.0,
    )  # fmt: skip
    assert found.ways_m2 is not None
    ways = found.ways_m2[0].reshape(-1, 2, 6, 6, 6)
    a, b, c = np.meshgrid(*(np.arange(6),) * 3, indexing="ij")
    assert ways[..., (a > b) | (b > c)].max() == 0.0
    assert (ways > 0.0).any(axis=(0, 1)).sum() > 15


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="ways"):
        alive_at_end(_random_ways(4, 2, 9), np.ones((2, 5, 2)), np.ones((1, 4, 2, 6)))
    with pytest.raises(ValueError, match="ways"):
        minutes_after(
            np.ones((4, 2, 2, 6, 2)), np.ones((1, 3, 4, 2, 6)), np.ones((4, 2)),
            np.ones((4, 2, 1)), np.ones((2, 2)), np.ones(2), 3.0, 1.0, 0,
        )  # fmt: skip
