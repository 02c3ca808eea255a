"""A slow second opinion on the weeds: seeds drawn at random, stepped hour by hour.

Written apart from `scheduler.models.weeds.cohorts` and with none of its parts: no ranks on a
lattice, no depth bands within which seeds are alike, no gates between which progress is read off,
no running integrals, no readings. Each seed has its own quantile of germination, depth and rate of
elongation; chance decides whether a pass, a dry day or its depth takes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]
BANDS_MM = np.array([0.0, 5.0, 15.0, 30.0, 50.0])
BEARS_KPA = (100.0, 1500.0)  # no seed is stopped by wetter soil, none germinates in drier
WAITING, THREAD, SEED_LEAF, TRUE_LEAF, YOUNG, ESTABLISHED, KILLED, DRIED, HELD = range(9)
N_STATES = 9


@dataclass(frozen=True)
class Kind:
    """A guild as its table says; temperatures [C], degree-days [C d], depths [mm]."""

    base_c: float
    optimum_c: float
    ceiling_c: float
    theta50_cd: float
    sigma_ln: float
    base_suction_kpa: float
    suction_sd_frac: float
    depth_mean_mm: float
    depth_shape: float
    depth_most_mm: float
    rate_mm_cd: float
    rate_cv: float
    half_depth_mm: float
    half_depth_slope_mm: float
    leaf_base_c: float
    phyllochron_cd: float
    seed_leaf_cd: float


@dataclass(frozen=True)
class Weather:
    """Soil by hour: `temp_c`, `suction_kpa` (n_hours, 4 bands), `leaf_temp_c` (n_hours,)."""

    temp_c: Floats
    suction_kpa: Floats
    leaf_temp_c: Floats


def effective_c(temp_c: Floats, kind: Kind) -> Floats:
    """Temperature above base that counts: up to the optimum, falling to nil at the ceiling."""
    return np.interp(
        temp_c,
        [kind.base_c, kind.optimum_c, kind.ceiling_c],
        [0.0, kind.optimum_c - kind.base_c, 0.0],
    )


def spread_evenly(rng: np.random.Generator, n: int) -> Floats:
    """Numbers within 0 and 1, one at random in each of n equal steps, shuffled."""
    return rng.permutation((np.arange(n) + rng.random(n)) / n)


def step_seeds(
    kind: Kind,
    weather: Weather,
    opened_hour: int,
    passes: Sequence[tuple[int, Floats | Sequence[float], float]],
    hazard_by_mm: Sequence[tuple[float, float]],
    seen_hours: Sequence[int],
    n_seeds: int,
    seed: int,
    clocks: Floats,
    spreads: Floats,
    dry_bias_kpa: Floats,
) -> Floats:
    """Shares of seeds by state at some hours, (n_seen, 9).

    `passes`: hour, kill by stage or by particle and stage, working depth. `hazard_by_mm`: depth
    down to which and deaths per day of full drying. Seeds take the particles' `clocks`, `spreads`,
    `dry_bias_kpa` and kill in turn.
    """
    rng = np.random.default_rng(seed)
    which = rng.permutation(np.arange(n_seeds) % clocks.size)
    clock = clocks[which]
    score = stats.norm.ppf(spread_evenly(rng, n_seeds))
    need_cd = kind.theta50_cd * np.exp(kind.sigma_ln * spreads[which] * score)
    bears_kpa = kind.base_suction_kpa * (1.0 - kind.suction_sd_frac * score) + dry_bias_kpa[which]
    bears_kpa = np.clip(bears_kpa, *BEARS_KPA)
    depths = stats.gamma(kind.depth_shape, scale=kind.depth_mean_mm / kind.depth_shape)
    deepest = depths.cdf(kind.depth_most_mm)
    depth_mm = depths.ppf(spread_evenly(rng, n_seeds) * deepest)
    rate_sd = np.sqrt(np.log(1.0 + kind.rate_cv**2))
    rate = kind.rate_mm_cd * np.exp(rate_sd * stats.norm.ppf(spread_evenly(rng, n_seeds)))
    band = np.clip(np.searchsorted(BANDS_MM, depth_mm, side="right") - 1, 0, 3)
    comes_up = 1.0 / (1.0 + np.exp((depth_mm - kind.half_depth_mm) / kind.half_depth_slope_mm))
    is_held = spread_evenly(rng, n_seeds) > comes_up
    limits = np.array([mm for mm, _ in hazard_by_mm])
    hazards = np.array([h for _, h in hazard_by_mm] + [0.0])
    hazard_d = hazards[np.searchsorted(limits, depth_mm)]

    state = np.full(n_seeds, WAITING)
    progress_cd, shoot_mm, leaf_cd = np.zeros(n_seeds), np.zeros(n_seeds), np.zeros(n_seeds)
    at_hour = {
        hour: (np.broadcast_to(kill, (clocks.size, 5)), depth) for hour, kill, depth in passes
    }
    out = np.zeros((len(seen_hours), N_STATES))
    seen = {hour: i for i, hour in enumerate(seen_hours)}
    steps = np.array([1.0, 3.0, 6.0]) * kind.phyllochron_cd + kind.seed_leaf_cd
    for hour in range(opened_hour, weather.temp_c.shape[0] + 1):
        if hour in at_hour and hour > opened_hour:
            kill, tool_mm = at_hour[hour]
            stands = np.flatnonzero((state >= THREAD) & (state <= ESTABLISHED))
            chance = kill[which[stands], state[stands] - THREAD]
            chance = np.where((state[stands] == THREAD) & (depth_mm[stands] > tool_mm), 0.0, chance)
            state[stands[rng.random(stands.size) < chance]] = KILLED
        if hour in seen:
            out[seen[hour]] = np.bincount(state, minlength=N_STATES) / n_seeds
        if hour == weather.temp_c.shape[0]:
            break
        heat_cd = effective_c(weather.temp_c[hour], kind)[band] / 24.0
        suction = weather.suction_kpa[hour][band]
        up = (state >= SEED_LEAF) & (state <= ESTABLISHED)
        leaf_cd[up] += clock[up] * _leaf_heat(weather.leaf_temp_c[hour], kind)
        state[up] = SEED_LEAF + np.searchsorted(steps, leaf_cd[up], side="right")
        threads = np.flatnonzero(state == THREAD)
        slow = np.clip((1500.0 - suction[threads]) / 1500.0, 0.0, 1.0)
        shoot_mm[threads] += rate[threads] * clock[threads] * heat_cd[threads] * slow
        dry = np.clip((suction[threads] - 1500.0) / 1000.0, 0.0, 1.0) / 24.0
        dies = rng.random(threads.size) < 1.0 - np.exp(-hazard_d[threads] * dry)
        state[threads[dies]] = DRIED
        reaches = threads[~dies & (shoot_mm[threads] >= depth_mm[threads])]
        state[reaches] = np.where(is_held[reaches], HELD, SEED_LEAF)
        waits = np.flatnonzero(state == WAITING)
        is_wet = suction[waits] < bears_kpa[waits]
        progress_cd[waits] += np.where(is_wet, heat_cd[waits] * clock[waits], 0.0)
        state[waits[progress_cd[waits] >= need_cd[waits]]] = THREAD
    return out


def _leaf_heat(temp_c: float, kind: Kind) -> float:
    return max(0.0, min(temp_c, kind.optimum_c) - kind.leaf_base_c) / 24.0
