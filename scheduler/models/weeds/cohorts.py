"""Cohorts of weeds: opened by a disturbance or a wetting, germinated, up, leafed, killed or dried.

A cohort is what one opening wakes in one guild and one depth band. It is followed as a sample of
equal seeds, spread evenly over ranks of germination, depths within the band and rates of
elongation; each is followed by differences of running integrals that the soil column stored, so
that a cohort, a pass or a particle costs look-ups and no new run of the soil. For a seed of rank
p, opened at t0:

- it has germinated when H(psi_b(p), t) - H(psi_b(p), t0) reaches theta(p)/clock, with
  theta(p) = theta50 exp(sigma z(p)) and psi_b(p) = psi_b50 (1 - 0.4 z(p)): quick seeds bear more
  dryness. H counts degree-days in hours in which the band is wetter than psi_b (a gate: progress
  pauses when dry and is kept). In moist soil this is plain degree-days.
- its thread is up when the degree-days of elongation since then reach depth over rate;
- leaves follow degree-days above the leaf base since emergence;
- a thread dies by drying with the hazard of its band; a share that depends on depth comes up;
- a pass kills by stage and zone; the rest goes on.

Sources: roberts_potter_1980 (dryness delays, does not lose), finch_savage_1998 (gate),
vleeshouwers_kropff_2000 and roman_1999 (structure), guild values in the parameter tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import gcd
from statistics import NormalDist
from typing import Any

import numba as nb
import numpy as np
from numpy.typing import NDArray

from scheduler.models.soil_column import Float32Array
from scheduler.records import FloatArray, IntArray

STAGES = ("thread", "seed_leaf", "true_leaf", "young", "established")
N_STAGES = len(STAGES)
N_STATES = N_STAGES + 1  # in the ground, and the stages
N_SEEDS = 40  # that stand for a cohort, each with its own rank of germination
N_RISES = 10  # pairs of depth and rate of elongation that they share
_NEVER = 1e9  # position of what lies beyond the last reading
_N_ZONES = 2
_N_LEDGER = 4  # to come, killed, dried, held below

_GOLDEN = 0.5 * (5.0**0.5 - 1.0)
_SILVER = 2.0**0.5 - 1.0
_BRONZE = 0.5 * (13.0**0.5 - 3.0)

_jit = nb.njit(cache=True, error_model="numpy")


@dataclass(frozen=True)
class GuildTable:
    """Guild values for the cohorts; arrays (n_guilds,) but for `bands` (n_guilds, 4)."""

    theta50_cd: FloatArray
    sigma_ln: FloatArray
    base_suction_kpa: FloatArray
    base_suction_sd_frac: float
    shoot_rate_mm_cd: FloatArray
    shoot_rate_cv: float
    half_depth_mm: FloatArray
    half_depth_slope_mm: float
    seed_leaf_cd: FloatArray
    phyllochron_cd: FloatArray
    band_share: FloatArray  # share of a guild's seeds by depth band
    band_mm: FloatArray  # (4, 2)
    band_hazard_d: FloatArray  # (4,) death of threads per day of full drying


@dataclass(frozen=True)
class Particles:
    """What is not known of one planting's weeds; arrays (n_particles,) but `mix` (n, n_guilds)."""

    member: IntArray  # the soil member each rides on
    clock: FloatArray  # speed of the weeds, 1 as in the tables
    spread: FloatArray  # factor on the spread of germination
    size_m2: FloatArray  # seeds a full flush opens
    mix: FloatArray  # share of the guilds; rows add to 1
    dry_bias_kpa: FloatArray  # added to the suction that the bands bear
    variant: IntArray | None = None  # which of the samples of seeds each follows, 0 without it


@dataclass(frozen=True)
class Openings:
    """Openings of one planting, in order; arrays (n_openings,) but `size` (n, n_guilds, zones)."""

    hour: FloatArray
    size: FloatArray  # share of a full flush, by guild and zone


@dataclass(frozen=True)
class Passes:
    """Passes of one planting, in order: hours (n_passes,), kill (n_passes, n, zones, stages) [-].

    n is the number of particles, each with a kill of its own, or 1: the same for all. `depth_mm`
    (n_passes,) is the working depth: threads from below it escape.
    """

    hour: FloatArray
    kill_frac: FloatArray
    depth_mm: FloatArray


@dataclass(frozen=True)
class Stand:
    """Weeds of one planting by particle.

    `count_m2` (n_particles, n_times, n_guilds, zones, stages); `ledger_m2` (n_particles, n_times,
    n_guilds, zones, 4): still to germinate, killed, dried, held below. Of every opening all seeds
    are in one of these.
    """

    count_m2: FloatArray
    ledger_m2: FloatArray
    opened_m2: FloatArray  # (n_particles, n_times, n_guilds, zones)
    ways_m2: Float32Array | None = None  # (n_particles, n_ways, zones, 216), see `stand`


@dataclass(frozen=True)
class SeedSample:
    """Seeds of equal weight that stand for a cohort, by depth band.

    `score` (n_bands, n_seeds): normal score of the rank of germination, rising. `rise` (same):
    which pair of depth and rate a seed has. `depth_frac` (n_rises,): share of the band's seeds
    above it. `rate_score` (n_bands, n_rises): normal score of the rate of elongation.
    """

    score: FloatArray
    rise: IntArray
    depth_frac: FloatArray
    rate_score: FloatArray


@lru_cache(maxsize=64)
def seed_sample(
    n_bands: int, n_seeds: int = N_SEEDS, n_rises: int = N_RISES, shift: float = 0.0
) -> SeedSample:
    """Sample of seeds spread evenly over ranks, depths and rates.

    Parameters
    ----------
    n_bands : int
        Depth bands; each has its own ranks, between those of the others.
    n_seeds : int
        Seeds that stand for a cohort; a multiple of `n_rises`.
    n_rises : int
        Pairs of depth and rate.
    shift : float
        Shift of all ranks in steps, -0.25 to 0.25: samples with other shifts lie between.

    Returns
    -------
    SeedSample
        Scores and depths.

    Notes
    -----
    A lattice: ranks in even steps, each joined to a pair of depth and rate that is far from its
    neighbour's. Derived by us; against 1600 seeds with 40 pairs a share of one particle is off by
    0.006 (root mean square), 0.05 at most; over particles with their own clocks that evens out.
    Definition of this project. No range stated.

    Examples
    --------
    >>> sample = seed_sample(1, 4, 2)
    >>> sample.score.round(2).tolist(), sample.rise.tolist(), sample.depth_frac.tolist()
    ([[-1.15, -0.32, 0.32, 1.15]], [[0, 1, 0, 1]], [0.25, 0.75])
    """
    inverse = NormalDist().inv_cdf
    seeds, rises = np.arange(n_seeds), np.arange(n_rises)
    bands = np.arange(n_bands) + 0.5
    apart = (np.argsort(np.argsort(bands * _GOLDEN % 1.0)) + 0.5) / n_bands - 0.5
    to_and_fro = np.where(seeds % 2 == 0, 0.5, -0.5)  # bands differ, none is ahead
    rank = (seeds[None, :] + 0.5 + shift + apart[:, None] * to_and_fro[None, :]) / n_seeds
    rate = (rises[None, :] * _GOLDEN + bands[:, None] * _SILVER) % 1.0
    rate = (np.argsort(np.argsort(rate, axis=1), axis=1) + 0.5) / n_rises
    turn = (n_rises * (bands * _BRONZE % 1.0)).astype(np.int64)
    step = next(i for i in (3, 5, 7, 1) if gcd(i, n_rises) == 1)
    return SeedSample(
        np.vectorize(inverse, otypes=[np.float64])(rank),
        ((seeds[None, :] * step + turn[:, None]) % n_rises).astype(np.int64),
        (rises + 0.5) / n_rises,
        np.vectorize(inverse, otypes=[np.float64])(rate),
    )


def depths_within_bands(
    band_share: FloatArray, band_mm: FloatArray, depth_frac: FloatArray
) -> FloatArray:
    """Depths of seeds within their bands: more of them where the neighbouring band holds more.

    Parameters
    ----------
    band_share : array
        Share of a guild's seeds by band, (n_guilds, n_bands) [-].
    band_mm : array
        Upper and lower limit of each band, (n_bands, 2) [mm].
    depth_frac : array
        Shares of a band's seeds above the depths wanted, (n_depths,) [-].

    Returns
    -------
    array
        Depths (n_guilds, n_bands, n_depths) [mm].

    Notes
    -----
    Density is a straight line across a band between its limits' densities: the geometric mean of
    both neighbours, the band's own at the surface, carried on at the same ratio below the last.
    Derived by us: the middle of a band is 5 to 15 % deeper than its seeds where few lie deep.
    Definition of this project. Range as `stand`.

    Examples
    --------
    >>> edges = np.array([[0.0, 5.0], [5.0, 15.0], [15.0, 30.0], [30.0, 50.0]])
    >>> share = np.array([[0.31, 0.49, 0.18, 0.02]])
    >>> depths_within_bands(share, edges, np.array([0.5]))[0, :, 0].round(1).tolist()
    [2.4, 9.1, 20.0, 36.3]
    """
    width = band_mm[:, 1] - band_mm[:, 0]
    density = band_share / np.maximum(width, 1e-9)[None, :]
    between = np.sqrt(density[:, :-1] * density[:, 1:])
    top = np.concatenate((density[:, :1], between), axis=1)
    last = np.divide(
        density[:, -1:] ** 2, top[:, -1:], out=np.zeros_like(top[:, -1:]), where=top[:, -1:] > 0.0
    )
    bottom = np.concatenate((between, np.minimum(last, density[:, -1:])), axis=1)
    whole = top + bottom
    is_empty = whole <= 0.0
    a = np.where(is_empty, 1.0, top / np.where(is_empty, 1.0, whole))[..., None]
    b = np.where(is_empty, 1.0, bottom / np.where(is_empty, 1.0, whole))[..., None]
    u = depth_frac[None, None, :]
    root = np.sqrt(a**2 + (b**2 - a**2) * u)
    across = u * (a + b) / (a + root)
    depth: FloatArray = band_mm[:, 0][None, :, None] + width[None, :, None] * across
    return depth


@_jit
def _at(series, row, position):  # type: ignore[no-untyped-def]
    """Value of one row of running series at a fractional position."""
    last = series.shape[1] - 1
    if position <= 0.0:
        return float(series[row, 0])
    if position >= last:
        return float(series[row, last])
    i = int(position)
    f = position - i
    return series[row, i] * (1.0 - f) + series[row, i + 1] * f


@_jit
def _reach_between(series, row, f, begin, target, i):  # type: ignore[no-untyped-def]
    """Position at which a mix of a row and the next reaches `target`, and the reading before."""
    last = series.shape[1] - 1
    while i < last and (1.0 - f) * series[row, i + 1] + f * series[row + 1, i + 1] < target:
        i += 1
    if i >= last:
        return _NEVER, i
    here = (1.0 - f) * series[row, i] + f * series[row + 1, i]
    step = (1.0 - f) * series[row, i + 1] + f * series[row + 1, i + 1] - here
    share = (target - here) / step if step > 0.0 else 1.0
    return max(i + min(max(share, 0.0), 1.0), begin), i


@_jit
def _reach(series, row, begin, need, i):  # type: ignore[no-untyped-def]
    """Position at which a running series has risen by `need`, and the reading before."""
    last = series.shape[1] - 1
    target = _at(series, row, begin) + need
    while i < last and series[row, i + 1] < target:
        i += 1
    if i >= last:
        return _NEVER, i
    step = series[row, i + 1] - series[row, i]
    share = (target - series[row, i]) / step if step > 0.0 else 1.0
    return max(i + min(max(share, 0.0), 1.0), begin), i


@_jit
def _stage(time, up, leaf_cd, one_leaf, three_leaf, six_leaf):  # type: ignore[no-untyped-def]
    """Of a germinated seed: 0 thread, 1 seed leaf, 2 one or two leaves, 3 three to five, 4 six."""
    if time < up:
        return 0
    if leaf_cd < one_leaf:
        return 1
    if leaf_cd < three_leaf:
        return 2
    if leaf_cd < six_leaf:
        return 3
    return 4


@nb.njit(cache=True, parallel=True, error_model="numpy")
def _stand(  # type: ignore[no-untyped-def]
    germination, elongation, drying, leaf, gate_kpa,
    member, variant, clock, spread, size_m2, mix, dry_bias,
    opened, opening_size, passed, kill, depth_mm, times,
    theta50, sigma, base_kpa, base_sd, seed_depth, rise_cd, hold, seed_leaf, phyllochron,
    band_share, band_hazard, score, rise_of, reach_mm, first_way,
    count, ledger, opened_m2, ways,
):  # fmt: skip
    n_guilds, n_bands = band_share.shape
    n_gates = gate_kpa.shape[0]
    n_times = times.shape[0]
    n_passes = passed.shape[0]
    n_zones = _N_ZONES  # a constant: its loops are unrolled
    n_seeds = score.shape[2]
    n_done = np.zeros(n_times, np.int64)  # passes before each time
    for t in range(n_times):
        while n_done[t] < n_passes and passed[n_done[t]] <= times[t]:
            n_done[t] += 1
    order = np.argsort(member)  # neighbours ride on the same member: its readings stay at hand
    for i in nb.prange(member.shape[0]):
        p = order[i]
        m = member[p]
        v = variant[p]
        own_kill = np.empty((n_passes, n_zones, 5))
        for k in range(n_passes):
            own_kill[k] = kill[k, p if kill.shape[1] > 1 else 0]
        alive = np.ones((n_zones, n_passes + 1))  # share left by the passes so far
        taken = np.zeros((n_zones, n_passes + 1))  # share killed by them
        alive_up = np.ones(n_zones)  # share left by the passes before emergence
        rise_at = np.empty(rise_cd.shape[2], np.int64)
        gate = np.empty(n_seeds, np.int64)
        beyond = np.empty(n_seeds)
        need = np.empty(n_seeds)
        at_start = np.empty(n_gates)
        leaf_at = np.empty(n_times)
        leaf_pass = np.empty(n_passes)
        dry_at = np.zeros(n_times)
        dry_pass = np.zeros(n_passes)
        n_new = np.empty(n_times)  # seeds seen germinated first at each time
        state = np.zeros(n_times, np.int64)  # of one seed: 0 in the ground, 1 thread and so on
        n_ways = ways.shape[1] if ways.shape[0] > 0 else 0
        # what each time adds to the one before it: standing by stage, killed, held; ways likewise
        stands_in = np.empty((n_zones, n_times, 5))
        gone = np.empty((n_zones, n_times, 2))
        more_ways = np.zeros((n_zones, n_ways, N_STATES**3))
        for g in range(n_guilds):
            if mix[p, g] <= 0.0:
                continue
            for t in range(n_times):
                leaf_at[t] = _at(leaf, m * n_guilds + g, times[t])
            for k in range(n_passes):
                leaf_pass[k] = _at(leaf, m * n_guilds + g, passed[k])
            one_leaf = (seed_leaf[g] + phyllochron[g]) / clock[p]
            three_leaf = (seed_leaf[g] + 3.0 * phyllochron[g]) / clock[p]
            six_leaf = (seed_leaf[g] + 6.0 * phyllochron[g]) / clock[p]
            for j in range(n_bands):
                n = size_m2[p] * mix[p, g] * band_share[g, j] / n_seeds
                if n <= 0.0:
                    continue
                row = (m * n_guilds + g) * n_bands + j
                dry_row = m * n_bands + j
                hazard = band_hazard[j]
                if hazard > 0.0:
                    for t in range(n_times):
                        dry_at[t] = _at(drying, dry_row, times[t])
                    for k in range(n_passes):
                        dry_pass[k] = _at(drying, dry_row, passed[k])
                for q in range(n_seeds):
                    bears = base_kpa[g] * (1.0 - base_sd * score[v, j, q]) + dry_bias[p]
                    k = 0
                    while k < n_gates - 2 and gate_kpa[k + 1] < bears:
                        k += 1
                    f = (bears - gate_kpa[k]) / (gate_kpa[k + 1] - gate_kpa[k])
                    gate[q] = k
                    beyond[q] = min(max(f, 0.0), 1.0)
                    need[q] = theta50[g] * np.exp(sigma[g] * spread[p] * score[v, j, q]) / clock[p]
                for o in range(opened.shape[0]):
                    at_all = 0.0
                    for z in range(n_zones):
                        at_all += opening_size[o, g, z]
                    if at_all <= 0.0:
                        continue
                    first = 0  # time from which the opening is there
                    while first < n_times and times[first] < opened[o]:
                        first += 1
                    if first == n_times:
                        continue
                    stands_in[:] = 0.0
                    gone[:] = 0.0
                    n_new[:] = 0.0
                    start = max(opened[o], 0.0)
                    k_first = 0  # pass that may kill what was opened
                    while k_first < n_passes and passed[k_first] <= start:
                        k_first += 1
                    for k in range(n_gates):
                        at_start[k] = _at(germination, row * n_gates + k, start)
                    reading = int(start)
                    rise_at[:] = reading
                    seen = first  # first time at which the seed has germinated
                    for q in range(n_seeds):
                        k, f = gate[q], beyond[q]
                        sprouted, reading = _reach_between(
                            germination, row * n_gates + k, f, start,
                            (1.0 - f) * at_start[k] + f * at_start[k + 1] + need[q], reading,
                        )  # fmt: skip
                        while seen < n_times and times[seen] < sprouted:
                            seen += 1
                        if seen == n_times:  # later ranks germinate later still
                            for w in range(n_ways):
                                for z in range(n_zones):
                                    ways[p, w, z, 0] += n * opening_size[o, g, z] * (n_seeds - q)
                            break
                        n_new[seen] += 1.0
                        e = rise_of[j, q]
                        rise_at[e] = max(rise_at[e], int(sprouted))
                        up, rise_at[e] = _reach(
                            elongation, row, sprouted, rise_cd[g, j, e] / clock[p], rise_at[e]
                        )
                        leaf_up = _at(leaf, m * n_guilds + g, up)
                        dry_sprout = 0.0
                        survives_up = 1.0
                        if hazard > 0.0:
                            dry_sprout = _at(drying, dry_row, sprouted)
                            dried = _at(drying, dry_row, up) - dry_sprout
                            if dried > 0.0:
                                survives_up = np.exp(-hazard * dried)
                        stands_up = survives_up * (1.0 - hold[g, j, e])
                        for z in range(n_zones):
                            alive_up[z] = 1.0
                            for k in range(k_first + 1):
                                alive[z, k] = 1.0
                                taken[z, k] = 0.0
                        for k in range(k_first, n_passes):
                            s = -1
                            if passed[k] >= sprouted:
                                s = _stage(
                                    passed[k], up, leaf_pass[k] - leaf_up,
                                    one_leaf, three_leaf, six_leaf,
                                )  # fmt: skip
                            if s < 0 or (s == 0 and seed_depth[g, j, e] > depth_mm[k]):
                                for z in range(n_zones):
                                    alive[z, k + 1] = alive[z, k]
                                    taken[z, k + 1] = taken[z, k]
                                continue
                            stands = stands_up
                            if s == 0:
                                stands = 1.0
                                if hazard > 0.0 and dry_pass[k] > dry_sprout:
                                    stands = np.exp(-hazard * (dry_pass[k] - dry_sprout))
                            for z in range(n_zones):
                                killed = alive[z, k] * own_kill[k, z, s]
                                alive[z, k + 1] = alive[z, k] - killed
                                taken[z, k + 1] = taken[z, k] + stands * killed
                                if s == 0:
                                    alive_up[z] = alive[z, k + 1]
                        before = -1  # stage at the time before, and what stood and was done
                        done = -1
                        stood = 0.0
                        for t in range(seen, n_times):
                            s = _stage(
                                times[t], up, leaf_at[t] - leaf_up, one_leaf, three_leaf, six_leaf
                            )
                            state[t] = s + 1
                            stands = stands_up
                            if s == 0:
                                if t < n_times - 1 and seed_depth[g, j, e] > reach_mm:
                                    state[t] = 0  # a thread from below the tools
                                stands = 1.0
                                if hazard > 0.0 and dry_at[t] > dry_sprout:
                                    stands = np.exp(-hazard * (dry_at[t] - dry_sprout))
                            now = n_done[t]
                            if s == before and now == done and stands == stood:
                                continue
                            held = survives_up * hold[g, j, e] if s > 0 and before <= 0 else 0.0
                            for z in range(n_zones):
                                stands_in[z, t, s] += stands * alive[z, now]
                                gone[z, t, 0] += taken[z, now]
                                if before >= 0:
                                    stands_in[z, t, before] -= stood * alive[z, done]
                                    gone[z, t, 0] -= taken[z, done]
                                gone[z, t, 1] += held * alive_up[z]
                            before = s
                            done = now
                            stood = stands
                        if n_ways > 0:  # its share that is alive in the end
                            state[:seen] = 0
                            end = n_times - 1
                            first_state = state[first_way] * 36 + state[end]
                            last_way = -1
                            for w in range(n_ways):
                                way = first_state + state[first_way + w] * 6
                                if way == last_way:
                                    continue
                                for z in range(n_zones):
                                    lives = n * opening_size[o, g, z] * stood * alive[z, done]
                                    more_ways[z, w, way] += lives
                                    if last_way >= 0:
                                        more_ways[z, w, last_way] -= lives
                                last_way = way
                    n_up_to = 0.0
                    for t in range(first, n_times):
                        n_up_to += n_new[t]
                        for z in range(n_zones):
                            if t > first:
                                gone[z, t, 0] += gone[z, t - 1, 0]
                                gone[z, t, 1] += gone[z, t - 1, 1]
                                for s in range(5):
                                    stands_in[z, t, s] += stands_in[z, t - 1, s]
                            here = n * opening_size[o, g, z]
                            rest = n_up_to - gone[z, t, 0] - gone[z, t, 1]
                            for s in range(5):
                                standing = max(stands_in[z, t, s], 0.0)
                                count[p, t, g, z, s] += here * standing
                                rest -= standing
                            opened_m2[p, t, g, z] += here * n_seeds
                            ledger[p, t, g, z, 0] += here * (n_seeds - n_up_to)
                            ledger[p, t, g, z, 1] += here * gone[z, t, 0]
                            ledger[p, t, g, z, 2] += here * max(rest, 0.0)
                            ledger[p, t, g, z, 3] += here * gone[z, t, 1]
        for z in range(n_zones):
            for way in range(N_STATES**3 if n_ways > 0 else 0):
                lives = 0.0
                for w in range(n_ways):
                    lives += more_ways[z, w, way]
                    ways[p, w, z, way] += max(lives, 0.0)


def stand(
    germination_cd: FloatArray | Float32Array,
    elongation_cd: FloatArray | Float32Array,
    drying_d: FloatArray | Float32Array,
    leaf_cd: FloatArray | Float32Array,
    gate_kpa: FloatArray,
    first_hour: float,
    reading_every_h: float,
    guilds: GuildTable,
    particles: Particles,
    openings: Openings,
    passes: Passes,
    time_hour: FloatArray,
    first_way: int | None = None,
    reach_mm: float = np.inf,
    n_seeds: int = N_SEEDS,
) -> Stand:
    """Weeds of one planting at some hours, by particle, guild, zone and stage.

    Parameters
    ----------
    germination_cd, elongation_cd, drying_d, leaf_cd : array
        Running integrals of the planting's soil members, as `ColumnRun` gives them: (n_members,
        n_readings, n_guilds, 4, n_gates), (.., n_guilds, 4), (.., 4), (.., n_guilds).
    gate_kpa : array
        Suctions of the gates, ascending [kPa].
    first_hour, reading_every_h : float
        Hour from which the integrals run, and hours between readings [h].
    guilds : GuildTable
        Guild values.
    particles : Particles
        One set of unknowns a particle.
    openings : Openings
        What was opened when; an opening before `first_hour` starts there.
    passes : Passes
        What was killed when, by particle or the same for all.
    time_hour : array
        Hours wanted, ascending, (n_times,).
    first_way : int, optional
        Index of the hour from which ways are wanted: way w goes by the states at the hours
        `first_way`, `first_way + w` and the last, for w from 0 to those before the last.
    n_seeds : int
        Seeds that stand for a cohort in one particle; those of other variants lie between them.
    reach_mm : float
        A thread from deeper than this counts as still in the ground, but for the last hour [mm].

    Returns
    -------
    Stand
        Counts and the ledger, per square metre of bed in the zone's share. Of each way what is
        alive at the last hour, without a pass to come, by 36 a + 6 b + c of the three states: 0 in
        the ground, then 1 to 5 as `STAGES`.

    Raises
    ------
    ValueError
        If shapes do not fit (kill by pass, particle, zone and stage among them) or the hours of
        openings, passes or times do not rise.

    Notes
    -----
    What a seed bears is held within the gates: none is stopped by soil wetter than the first, none
    germinates in soil drier than the last. The order of a pass and an opening in one hour: a pass
    kills what stands before it, what it opens starts then. What a pass killed stays killed,
    whatever dries later. Range: depth 0-50 mm, annual weeds from seed. Sources: those of the
    module.

    Examples
    --------
    Twenty moist days of 11 degree-days: of 100 seeds half have germinated after 70 degree-days,
    and nothing is lost.

    >>> one = np.ones(1)
    >>> bands = np.array([[0.0, 5.0], [5.0, 15.0], [15.0, 30.0], [30.0, 50.0]])
    >>> spring = GuildTable(
    ...     70 * one, .55 * one, 1000 * one, .4, 1.8 * one, .35, 1e6 * one, 8.0, 25 * one, 20 * one,
    ...     np.array([[.31, .49, .18, .02]]), bands, np.zeros(4),
    ... )
    >>> heat = np.cumsum(np.full(80, 11.0 / 4)).astype(np.float32)[None, :, None, None]
    >>> heat = np.repeat(heat, 4, axis=3)
    >>> weeds = stand(
    ...     np.repeat(heat[..., None], 2, axis=4), heat, np.zeros((1, 80, 4), np.float32),
    ...     heat[..., 0], np.array([100.0, 1500.0]), 0.0, 6.0, spring,
    ...     Particles(np.zeros(1, np.int64), one, one, 100 * one, one[:, None], 0 * one),
    ...     Openings(np.zeros(1), np.ones((1, 1, 1))),
    ...     Passes(np.zeros(0), np.zeros((0, 1, 1, 5)), np.zeros(0)),
    ...     np.array([24 * 70 / 11, 24 * 19.0]),
    ... )
    >>> weeds.ledger_m2[0, :, 0, 0, 0].round().tolist()
    [50.0, 2.0]
    >>> (weeds.count_m2.sum((2, 3, 4)) + weeds.ledger_m2.sum((2, 3, 4))).round(3).tolist()
    [[100.0, 100.0]]
    """
    for name, hours in (("openings", openings.hour), ("passes", passes.hour), ("times", time_hour)):
        if np.any(np.diff(hours) < 0.0):
            msg = f"weeds: hours of {name} do not rise; sort them"
            raise ValueError(msg)
    if germination_cd.shape[-1] != gate_kpa.shape[0] or gate_kpa.shape[0] < 2:
        msg = (
            f"weeds: {germination_cd.shape[-1]} gates in the integrals, {gate_kpa.shape[0]} given; "
            "they must agree and be two or more"
        )
        raise ValueError(msg)

    n_particles, n_zones = particles.member.shape[0], openings.size.shape[2]
    if not 1 <= n_zones <= _N_ZONES:
        msg = f"weeds: openings in {n_zones} zones; they must be 1 or {_N_ZONES}"
        raise ValueError(msg)
    shapes = [(passes.hour.shape[0], n, n_zones, N_STAGES) for n in (1, n_particles)]
    if passes.kill_frac.shape not in shapes:
        msg = (
            f"weeds: kill of the passes has shape {passes.kill_frac.shape}; it must be {shapes[0]} "
            f"or {shapes[1]}: passes, particles, zones, stages"
        )
        raise ValueError(msg)

    def along(values: NDArray[Any]) -> NDArray[Any]:
        """One row a series, a zero before the first reading."""
        moved = np.moveaxis(values, 1, -1)
        whole = np.zeros((*moved.shape[:-1], moved.shape[-1] + 1), dtype=values.dtype)
        whole[..., 1:] = moved
        return whole.reshape(-1, whole.shape[-1])

    def position(hours: FloatArray) -> FloatArray:
        return (np.asarray(hours, dtype=np.float64) - first_hour) / reading_every_h

    variant = np.zeros_like(particles.member) if particles.variant is None else particles.variant
    n_variants = int(variant.max(initial=0)) + 1
    shifts = 0.5 * ((np.arange(n_variants) + 0.5) / n_variants - 0.5)
    sample = seed_sample(guilds.band_mm.shape[0], n_seeds)
    score = np.stack(
        [seed_sample(guilds.band_mm.shape[0], n_seeds, shift=float(x)).score for x in shifts]
    )
    depth = depths_within_bands(guilds.band_share, guilds.band_mm, sample.depth_frac)
    rate_sd = np.sqrt(np.log(1.0 + guilds.shoot_rate_cv**2))
    rate = guilds.shoot_rate_mm_cd[:, None, None] * np.exp(rate_sd * sample.rate_score)[None]
    hold = 1.0 - 1.0 / (
        1.0 + np.exp((depth - guilds.half_depth_mm[:, None, None]) / guilds.half_depth_slope_mm)
    )
    n_times, n_guilds = time_hour.shape[0], openings.size.shape[1]
    count = np.zeros((n_particles, n_times, n_guilds, _N_ZONES, N_STAGES))
    ledger = np.zeros((n_particles, n_times, n_guilds, _N_ZONES, _N_LEDGER))
    opened_m2 = np.zeros((n_particles, n_times, n_guilds, _N_ZONES))
    is_way = first_way is not None
    n_ways = n_times - 1 - (first_way or 0)
    shape = (n_particles, n_ways, _N_ZONES, N_STATES**3) if is_way else (0, 0, 0, 0)
    missing = _N_ZONES - n_zones  # zones of which nothing opens
    size = np.pad(openings.size, ((0, 0), (0, 0), (0, missing)))
    kill_frac = np.pad(passes.kill_frac, ((0, 0), (0, 0), (0, missing), (0, 0)))
    ways = np.zeros(shape, np.float32)
    _stand(
        along(germination_cd), along(elongation_cd), along(drying_d),
        along(leaf_cd), gate_kpa.astype(np.float64),
        particles.member, variant,
        particles.clock, particles.spread, particles.size_m2, particles.mix,
        particles.dry_bias_kpa, position(openings.hour), size, position(passes.hour),
        kill_frac, passes.depth_mm, position(time_hour),
        guilds.theta50_cd, guilds.sigma_ln, guilds.base_suction_kpa, guilds.base_suction_sd_frac,
        depth, depth / rate, hold, guilds.seed_leaf_cd, guilds.phyllochron_cd,
        guilds.band_share, guilds.band_hazard_d, score, sample.rise,
        float(reach_mm), first_way or 0, count, ledger, opened_m2, ways,
    )  # fmt: skip
    return Stand(
        count[:, :, :, :n_zones],
        ledger[:, :, :, :n_zones],
        opened_m2[:, :, :, :n_zones],
        ways[:, :, :n_zones] if is_way else None,
    )
