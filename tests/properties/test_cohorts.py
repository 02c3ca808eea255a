"""What must hold for cohorts of weeds whatever the weather, openings and passes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from scheduler.models.weeds.cohorts import (
    GuildTable,
    Openings,
    Particles,
    Passes,
    Stand,
    stand,
)

GATES_KPA = np.array([100.0, 400.0, 800.0, 1500.0])
BANDS_MM = np.array([(0.0, 5.0), (5.0, 15.0), (15.0, 30.0), (30.0, 50.0)])
EVERY_H = 6.0
N_READINGS = 160
N_PARTICLES = 5
GUILDS = GuildTable(
    np.array([105.0, 50.0]), np.array([0.55, 0.5]), np.array([1100.0, 800.0]), 0.4,
    np.array([0.5, 0.5]), 0.35, np.array([36.0, 36.0]), 8.0, np.array([20.0, 15.0]),
    np.array([35.0, 25.0]), np.array([[0.31, 0.48, 0.19, 0.02], [0.31, 0.48, 0.18, 0.03]]),
    BANDS_MM, np.array([0.5, 0.35, 0.067, 0.0]),
)  # fmt: skip


def integrals(seed: int, dry_from: int = 0, dry_to: int = 0) -> list[Any]:
    """Running integrals of two members in random weather; from one reading to another bone dry."""
    rng = np.random.default_rng(seed)
    heat = rng.uniform(0.0, 4.0, (2, N_READINGS, 2, 4))
    suction = np.exp(rng.normal(5.5, 1.2, (2, N_READINGS, 4)))
    suction[:, dry_from:dry_to] = 5000.0
    is_wet = suction[:, :, None, :, None] < GATES_KPA
    slow = np.clip(1.0 - suction / 1500.0, 0.0, 1.0)[:, :, None, :]
    dry = np.clip((suction - 1500.0) / 1000.0, 0.0, 1.0) * EVERY_H / 24.0
    leaf = heat[..., 0] * 1.1
    parts = (heat[..., None] * is_wet, heat * slow, dry, leaf)
    return [np.cumsum(part, axis=1) for part in parts]


def particles(seed: int, n: int = N_PARTICLES) -> Particles:
    rng = np.random.default_rng(seed)
    return Particles(
        np.arange(n) % 2, np.exp(0.35 * rng.standard_normal(n)),
        np.exp(0.25 * rng.standard_normal(n)), 150.0 * np.exp(rng.standard_normal(n)),
        rng.dirichlet([3.0, 2.0], n), 150.0 * rng.standard_normal(n),
    )  # fmt: skip


def run(
    parts: list[Any],
    seeds: Particles,
    opened: Any,
    sizes: Any,
    passes: Passes,
    times: Any,
    guilds: GuildTable = GUILDS,
    first_hour: float = 0.0,
    gates: Any = GATES_KPA,
    every_h: float = EVERY_H,
) -> Stand:
    return stand(
        *(part.astype(np.float32) for part in parts), gates, first_hour, every_h, guilds, seeds,
        Openings(np.asarray(opened, float), np.asarray(sizes, float)), passes,
        np.asarray(times, float),
    )  # fmt: skip


hours = st.floats(0.0, N_READINGS * EVERY_H, allow_nan=False, allow_subnormal=False)
histories = st.fixed_dictionaries(
    {
        "seed": st.integers(0, 10_000),
        "opened": st.lists(hours, min_size=1, max_size=3),
        "passed": st.lists(hours, max_size=3),
        "times": st.lists(hours, min_size=2, max_size=6),
        "dry": st.tuples(st.integers(0, 80), st.integers(0, 60)),
    }
)


def history(case: dict[str, Any]) -> tuple[Any, Any, Passes, Any]:
    rng = np.random.default_rng(case["seed"] + 1)
    opened, passed, times = (np.sort(np.array(case[k])) for k in ("opened", "passed", "times"))
    sizes = rng.uniform(0.0, 1.0, (opened.size, 2, 2))
    kill = rng.uniform(0.0, 1.0, (passed.size, N_PARTICLES, 2, 5))
    return opened, sizes, Passes(passed, kill, rng.uniform(5.0, 60.0, passed.size)), times


def dry_integrals(case: dict[str, Any]) -> list[Any]:
    start, length = case["dry"]
    return integrals(case["seed"], start, start + length)


@settings(max_examples=40, deadline=None)
@given(histories)
def test_no_seed_is_counted_twice_or_lost(case: dict[str, Any]) -> None:
    """Opened = still to germinate + standing + killed + dried + held below."""
    opened, sizes, passes, times = history(case)
    seeds = particles(case["seed"])
    found = run(dry_integrals(case), seeds, opened, sizes, passes, times)
    all_of_them = found.count_m2.sum(axis=-1) + found.ledger_m2.sum(axis=-1)
    assert_allclose(all_of_them, found.opened_m2, rtol=1e-9, atol=1e-9)
    assert found.count_m2.min() >= 0.0
    assert found.ledger_m2.min() >= 0.0
    is_open = opened[:, None] <= times[None, :]
    wanted = np.einsum("ot,ogz->tgz", is_open, sizes)
    whole = seeds.size_m2[:, None] * seeds.mix
    assert_allclose(found.opened_m2, whole[:, None, :, None] * wanted[None], rtol=1e-9, atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(histories)
def test_what_is_done_stays_done(case: dict[str, Any]) -> None:
    """With one opening: germination never falls, nor do the killed, the dried and those held."""
    opened, sizes, passes, times = history(case)
    times = np.maximum(times, opened[0])
    found = run(
        dry_integrals(case), particles(case["seed"]), opened[:1], sizes[:1], passes, times
    )  # fmt: skip
    slack = 1e-9 * (1.0 + found.opened_m2.max())
    assert np.all(np.diff(found.ledger_m2[..., 0], axis=1) <= slack)
    assert np.all(np.diff(found.ledger_m2[..., 1:], axis=1) >= -slack)


@settings(max_examples=25, deadline=None)
@given(histories, st.integers(0, 10_000))
def test_order_of_particles_and_openings_does_not_matter(case: dict[str, Any], mixed: int) -> None:
    """Particles in another order answer alike; openings together are the sum of each alone."""
    opened, sizes, passes, times = history(case)
    parts, seeds = dry_integrals(case), particles(case["seed"])
    order = np.random.default_rng(mixed).permutation(seeds.member.size)
    seeds = replace(seeds, variant=np.arange(seeds.member.size) % 3)
    found = run(parts, seeds, opened, sizes, passes, times)
    turned = replace(seeds, **{name: getattr(seeds, name)[order] for name in vars(seeds)})
    theirs = replace(passes, kill_frac=passes.kill_frac[:, order])
    again = run(parts, turned, opened, sizes, theirs, times)
    assert_allclose(again.count_m2, found.count_m2[order], rtol=1e-12, atol=0)
    alone = [
        run(parts, seeds, opened[i : i + 1], sizes[i : i + 1], passes, times)
        for i in range(opened.size)
    ]
    total = sum(one.count_m2 for one in alone)
    assert_allclose(total, found.count_m2, rtol=1e-9, atol=1e-9)


@settings(max_examples=25, deadline=None)
@given(histories, st.integers(-5000, 5000))
def test_shifting_dates_shifts_the_answer(case: dict[str, Any], shift_h: int) -> None:
    opened, sizes, passes, times = history(case)
    opened, times = np.round(opened), np.round(times)
    passes = replace(passes, hour=np.round(passes.hour))
    parts, seeds = dry_integrals(case), particles(case["seed"])
    found = run(parts, seeds, opened, sizes, passes, times)
    moved = run(
        parts, seeds, opened + shift_h, sizes, replace(passes, hour=passes.hour + shift_h),
        times + shift_h, first_hour=float(shift_h),
    )  # fmt: skip
    assert_allclose(moved.count_m2, found.count_m2, rtol=1e-12, atol=0)
    assert_allclose(moved.ledger_m2, found.ledger_m2, rtol=1e-12, atol=0)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 60), st.integers(1, 60))
def test_a_dry_spell_only_pauses(seed: int, start: int, length: int) -> None:
    """A dry spell put between two hours delays germination by its length and loses no seed that has
    not germinated (`roberts_potter_1980`)."""
    rng = np.random.default_rng(seed)
    heat = rng.uniform(0.0, 4.0, (2, N_READINGS, 2, 4))
    spell = np.zeros((2, length, 2, 4))
    times = EVERY_H * np.arange(0.0, N_READINGS + 1.0)
    answers = []
    for by_reading in (heat, np.concatenate((heat[:, :start], spell, heat[:, start:]), axis=1)):
        run_up = np.cumsum(by_reading, axis=1)
        n = run_up.shape[1]
        parts = [
            np.broadcast_to(run_up[..., None], (2, n, 2, 4, 4)), run_up, np.zeros((2, n, 4)),
            run_up[..., 0],
        ]  # fmt: skip
        seen = times if n == N_READINGS else times + EVERY_H * length * (times > EVERY_H * start)
        answers.append(
            run(
                parts, particles(seed), [0.0], np.ones((1, 2, 1)),
                Passes(np.zeros(0), np.zeros((0, 1, 1, 5)), np.zeros(0)), seen,
            )
        )  # fmt: skip
    assert_allclose(
        answers[1].ledger_m2[..., 0], answers[0].ledger_m2[..., 0], rtol=1e-7, atol=1e-7
    )


def test_ten_seeds_by_pencil() -> None:
    """Ten seeds 10 mm deep at 15 C, base 5 C: 10 degree-days a day. Seed k needs 10 k, so it
    germinates on day k; 10 mm at 0.5 mm per degree-day are 20 degree-days: two days as thread. Leaf
    base 5 C, 10 degree-days of seed leaf and 10 a leaf: two days as seed leaf, two with one or two
    leaves, three with three to five.

    A dry spell of five days from day 4 moves what has not happened by five days. A hoe on day 6.5
    takes all threads and seed leaves: seeds 3 to 6 (threads 5, 6; seed leaves 3, 4).
    """
    n = 10
    guilds = GuildTable(
        10.0 * np.arange(1.0, n + 1.0), np.full(n, 1e-12), np.full(n, 1000.0), 0.0,
        np.full(n, 0.5), 0.0, np.full(n, 1e9), 8.0, np.full(n, 10.0), np.full(n, 10.0),
        np.ones((n, 1)), np.array([[10.0, 10.0]]), np.zeros(1),
    )  # fmt: skip
    one = np.ones(1)
    seeds = Particles(np.zeros(1, int), one, one, 10.0 * one, np.full((1, n), 0.1), 0.0 * one)

    def on(days: Any, dry: tuple[float, float] = (0.0, 0.0), hoe: bool = False) -> Any:
        hour = np.arange(24 * 30)
        heat = np.where((hour >= 24 * dry[0]) & (hour < 24 * dry[1]), 0.0, 10.0 / 24.0)
        total = np.cumsum(heat)[None, :, None, None]
        size = (1, hour.size, n, 1)
        parts = [
            np.broadcast_to(total[..., None], (*size, 2)), np.broadcast_to(total, size),
            np.zeros((1, hour.size, 1)), np.broadcast_to(total[..., 0], size[:3]),
        ]  # fmt: skip
        kill = np.array([[[[1.0, 1.0, 0.0, 0.0, 0.0]]]])
        passes = Passes(np.array([6.5 * 24.0]), kill, np.array([20.0]))
        none = Passes(np.zeros(0), np.zeros((0, 1, 1, 5)), np.zeros(0))
        return run(
            parts, seeds, [0.0], np.ones((1, n, 1)), passes if hoe else none, 24.0 * np.array(days),
            guilds, gates=np.array([100.0, 1500.0]), every_h=1.0,
        )  # fmt: skip

    def by_stage(found: Stand) -> list[list[int]]:
        return np.rint(found.count_m2[0, :, :, 0].sum(axis=1)).astype(int).tolist()

    def waiting(found: Stand) -> list[int]:
        return np.rint(found.ledger_m2[0, :, :, 0, 0].sum(axis=1)).astype(int).tolist()

    plain = on([0.5, 1.5, 3.5, 6.5, 10.5, 20.5])
    assert waiting(plain) == [10, 9, 7, 4, 0, 0]
    assert by_stage(plain) == [
        [0, 0, 0, 0, 0],
        [1, 0, 0, 0, 0],  # seed 1
        [2, 1, 0, 0, 0],  # 2 and 3; 1
        [2, 2, 2, 0, 0],  # 5 and 6; 3 and 4; 1 and 2
        [2, 2, 2, 3, 1],  # 9, 10; 7, 8; 5, 6; 2 to 4; 1
        [0, 0, 0, 0, 10],  # the last is up on day 12, has six leaves seven days later
    ]
    late = on([3.5, 6.5, 8.5, 11.5, 15.5], dry=(4.0, 9.0))
    assert waiting(late) == [7, 6, 6, 4, 0]
    assert by_stage(late)[3] == by_stage(plain)[3]  # day 11.5 after five dry days is day 6.5
    hoed = on([6.5, 10.5], hoe=True)
    assert waiting(hoed) == [4, 0]
    assert by_stage(hoed) == [[0, 0, 2, 0, 0], [2, 2, 0, 1, 1]]
    assert np.rint(hoed.ledger_m2[0, :, :, 0, 1].sum(axis=1)).tolist() == [4.0, 4.0]
