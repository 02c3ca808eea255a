"""Likelihoods of looks: against scipy's distributions, and the synthetic flush of the weed note.

The flush: guild B in moist soil of 16 C (germination after 70 degree-days above 5 C, spread 0.55,
0.5 mm per degree-day out of gamma depths of mean 12 mm), clock lognormal 0.35, spread lognormal
0.25, size lognormal about 150/m2 with a geometric standard deviation of 3. The means and standard
deviations of the day of half emergence after each look were worked out for this project before this
code existed, by another program; days of the counts and the area searched were not written down:
1 m2 and the days 12, 13 and 17 are taken here (derived, grade D). The note's "tempered by 0.5,
floor 0.01 per class" is read in its order: no class counts for less than 0.01 once tempered, a
share of 0.0001. All seven then agree within a tenth in both figures. With a share of at least 0.01
before tempering, as the program holds it against misread stages, six do, and the standard deviation
of the late mix is 16 % larger; more depths, rates of elongation that differ, depth bands, three
classes, a floor added or another day of scratching leave it there.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from scheduler.models.looks import (
    MIX_FLOOR_FRAC,
    MIX_TEMPER,
    fixed_counts_log_likelihood,
    loose_counts_log_likelihood,
    seen_frac,
    sighting_log_likelihood,
    stage_mix_log_likelihood,
)
from scheduler.records import FloatArray

N = 20000
QUADRAT_M2 = 0.25
SEARCHED_M2 = 1.0
COUNT_DAYS = (12.0, 13.0, 17.0)


class Flush:
    """Shares of the seeds of a flush in closed form, over particles and a few depths."""

    def __init__(self) -> None:
        rng = np.random.default_rng(7)

        def normals() -> FloatArray:
            drawn: FloatArray = stats.norm.ppf((rng.permutation(N) + 0.5) / N)
            return drawn

        self.clock = np.exp(0.35 * normals())
        self.spread = 0.55 * np.exp(0.25 * normals())
        self.size_m2 = 150.0 * np.exp(np.log(3.0) * normals())
        reach = stats.gamma.cdf(50.0, 1.8, scale=12.0 / 1.8)
        depth_mm = stats.gamma.ppf((np.arange(12) + 0.5) / 12 * reach, 1.8, scale=12.0 / 1.8)
        self.rise_cd = depth_mm / 0.5
        days = np.arange(1.0, 60.0, 0.5)
        up = np.stack([self.past(1, day) for day in days], axis=1)
        above = np.minimum((up < 0.5).sum(axis=1), days.size - 1)
        of = np.arange(N)
        low, high = up[of, above - 1], up[of, above]
        self.half_up_d = days[above - 1] + 0.5 * np.clip((0.5 - low) / (high - low), 0.0, 1.0)

    def past(self, step: int, day: float) -> FloatArray:
        """Germinated, up, with a true leaf, with three by a day, (n_particles,)."""
        after_d = self.rise_cd / 11.0 * (step > 0) + (0.0, 0.0, 45.0, 95.0)[step] / 12.0
        own_d = np.maximum(day * self.clock[:, None] - after_d[None, :], 1e-9)
        share: FloatArray = stats.norm.cdf(
            np.log(own_d / (70.0 / 11.0)) / self.spread[:, None]
        ).mean(axis=1)
        return share

    def mix(self, day: float) -> FloatArray:
        """Threads, seed leaves, those with one or two true leaves, and those with more."""
        shares = [self.past(step, day) for step in range(4)]
        return np.stack([*(a - b for a, b in pairwise(shares)), shares[-1]], axis=1)

    def threads_m2(self, day: float) -> FloatArray:
        return np.asarray(self.size_m2 * self.mix(day)[:, 0])

    def on_quadrat(self) -> FloatArray:
        return np.stack(
            [QUADRAT_M2 * self.size_m2 * self.past(1, day) for day in COUNT_DAYS], axis=1
        )

    def learned(self, logs: FloatArray) -> tuple[float, float]:
        """Mean and standard deviation of the day of half emergence [d]."""
        weight = np.exp(logs - logs.max())
        weight /= weight.sum()
        mean = float(weight @ self.half_up_d)
        return mean, float(np.sqrt(weight @ (self.half_up_d - mean) ** 2))


@lru_cache(maxsize=1)
def flush() -> Flush:
    return Flush()


def seen_by(days: tuple[float, ...], has_seen: tuple[bool, ...]) -> FloatArray:
    looks = [(flush().threads_m2(d), seen) for d, seen in zip(days, has_seen, strict=True)]
    return sighting_log_likelihood(looks, SEARCHED_M2)


def nothing_yet() -> FloatArray:
    return seen_by((3.0, 5.0), (False, False))


def first_seen() -> FloatArray:
    return seen_by((3.0, 5.0, 7.0), (False, False, True))


def scratched_up(
    *counts: int, floor_frac: float = MIX_FLOOR_FRAC ** (1.0 / MIX_TEMPER)
) -> FloatArray:
    return stage_mix_log_likelihood(counts, flush().mix(7.0), floor_frac=floor_frac)


@pytest.mark.parametrize(
    ("logs", "mean_d", "sd_d"),
    [
        (lambda: np.zeros(N), 9.2, 3.3),
        (nothing_yet, 11.9, 4.2),
        (first_seen, 12.1, 3.8),
        (
            lambda: (
                first_seen() + loose_counts_log_likelihood([12, 30], flush().on_quadrat()[:, :2])
            ),
            11.7,
            3.4,
        ),
        (
            lambda: first_seen() + fixed_counts_log_likelihood([12, 30, 44], flush().on_quadrat()),
            14.8,
            2.3,
        ),
        (lambda: scratched_up(6, 11, 3, 0), 7.3, 1.0),
        (lambda: scratched_up(14, 6, 0, 0), 12.0, 2.5),
    ],
    ids=[
        "prior",
        "none yet",
        "first seen",
        "loose counts",
        "fixed counts",
        "late mix",
        "early mix",
    ],
)
def test_the_synthetic_flush(logs: object, mean_d: float, sd_d: float) -> None:
    assert callable(logs)
    mean, sd = flush().learned(logs())
    assert mean == pytest.approx(mean_d, rel=0.1)
    assert sd == pytest.approx(sd_d, rel=0.1)


def test_the_floor_of_the_program_costs_the_late_mix_a_sixth() -> None:
    """A larger floor trusts a single sprout of another stage less: wider, by the same day."""
    mean, sd = flush().learned(scratched_up(6, 11, 3, 0, floor_frac=MIX_FLOOR_FRAC))
    assert mean == pytest.approx(7.3, rel=0.1)
    assert 1.0 < sd < 1.2


# ------------------------------------------------------------- reference library


def test_the_mix_is_a_tempered_multinomial() -> None:
    """Against scipy.stats.multinomial, but for its constant; the floor is not reached."""
    foretold = np.array([[30.0, 50.0, 20.0], [60.0, 30.0, 10.0], [10.0, 10.0, 80.0]])
    found = stage_mix_log_likelihood([5, 9, 6], foretold, temper=1.0, floor_frac=0.0)
    theirs = [stats.multinomial.logpmf([5, 9, 6], 20, row / row.sum()) for row in foretold]
    assert_allclose(found - found[0], np.array(theirs) - theirs[0], rtol=1e-9, atol=1e-9)
    half = stage_mix_log_likelihood([5, 9, 6], foretold, floor_frac=0.0)
    assert_allclose(half, 0.5 * found, rtol=1e-12, atol=0.0)


def test_a_class_said_empty_may_still_be_seen() -> None:
    """One thread where a particle has none costs as much as the floor of 0.01, tempered."""
    found = stage_mix_log_likelihood([1, 0], [[0.0, 10.0], [10.0, 0.0]])
    assert float(found[0] - found[1]) == pytest.approx(0.5 * np.log(0.01), abs=0.01)
    assert stage_mix_log_likelihood([3, 4], [[0.0, 0.0]])[0] == pytest.approx(7 * 0.5 * np.log(0.5))


def test_a_loose_count_is_a_negative_binomial() -> None:
    """Against scipy.stats.nbinom with shape k and mean mu, but for its constant."""
    means = np.array([[4.0], [12.0], [40.0]])
    found = loose_counts_log_likelihood([12], means)
    theirs = stats.nbinom.logpmf(12, 1.5, 1.5 / (1.5 + means[:, 0]))
    assert_allclose(found - found[0], theirs - theirs[0], rtol=1e-9, atol=1e-9)


def test_a_fixed_quadrat_is_a_mixture_over_its_richness() -> None:
    """Against a sum of Poissons over a fine grid of the gamma factor."""
    factor = stats.gamma.ppf((np.arange(20000) + 0.5) / 20000, 1.5, scale=1.0 / 1.5)
    means = np.array([[6.0, 15.0], [11.0, 11.0]])
    found = fixed_counts_log_likelihood([12, 30], means)
    theirs = [
        np.log(
            np.mean(stats.poisson.pmf(12, factor * row[0]) * stats.poisson.pmf(30, factor * row[1]))
        )
        for row in means
    ]
    assert float(found[0] - found[1]) == pytest.approx(theirs[0] - theirs[1], abs=0.01)


def test_what_is_seen_rises_with_what_is_there_and_with_the_area() -> None:
    chance = seen_frac(np.array([0.0, 1.0, 10.0, 1e6]), 0.5)
    assert np.all(np.diff(chance) > 0.0)
    assert chance[0] == pytest.approx(0.02)
    assert chance[-1] == pytest.approx(1.0)
    assert np.all(seen_frac(np.array([1.0, 10.0]), 2.0) > chance[1:3])


def test_nothing_seen_is_data() -> None:
    logs = sighting_log_likelihood([(np.array([0.0, 50.0]), False)], 1.0)
    assert logs[0] > logs[1]
    assert sighting_log_likelihood([], 1.0).size == 0
