"""Cohorts of weeds: opened by a disturbance or a wetting, germinated, up, leafed, killed or dried.

A cohort is what one opening wakes in one guild and one depth band. Its seeds are spread over ranks
of germination and of emergence; each rank is followed by differences of running integrals that the
soil column stored, so that a cohort, a pass or a particle costs look-ups and no new run of the
soil. For a seed of rank p, opened at t0:

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
from statistics import NormalDist
from typing import Any

import numba as nb
import numpy as np
from numpy.typing import NDArray

from scheduler.models.soil_column import Float32Array
from scheduler.records import FloatArray, IntArray

STAGES = ("thread", "seed_leaf", "true_leaf", "young", "established")
N_STAGES = len(STAGES)
N_RANKS = 15  # of germination
N_RISES = 3  # of depth over elongation rate within a band
_N_LEDGER = 4  # to come, killed, dried, held below

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


@dataclass(frozen=True)
class Openings:
    """Openings of one planting, in order; arrays (n_openings,) but `size` (n, n_guilds, zones)."""

    hour: FloatArray
    size: FloatArray  # share of a full flush, by guild and zone


@dataclass(frozen=True)
class Passes:
    """Passes of one planting, in order: hours (n_passes,), kill (n_passes, zones, stages) [-].

    `depth_mm` (n_passes,) is the working depth: threads from below it escape.
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


def rank_scores(n_ranks: int = N_RANKS) -> tuple[FloatArray, FloatArray]:
    """Normal scores of the seed ranks and the share of seeds each stands for.

    Parameters
    ----------
    n_ranks : int
        Number of ranks.

    Returns
    -------
    tuple of array
        Scores [-] and weights [-], each (n_ranks,); the weights add to one.

    Notes
    -----
    Ranks are the middles of slices of probability, narrower in the tails so that first threads and
    last seeds are there. Derived by us.

    Examples
    --------
    >>> scores, weights = rank_scores(3)
    >>> scores.round(2).tolist(), weights.round(3).tolist()
    ([-1.28, 0.0, 1.28], [0.2, 0.6, 0.2])
    """
    angle = np.pi * np.arange(n_ranks + 1) / n_ranks
    edges = 0.5 - 0.5 * np.cos(angle)
    edges = 0.5 * edges + 0.5 * np.linspace(0.0, 1.0, n_ranks + 1)
    if n_ranks == 3:
        edges = np.array([0.0, 0.2, 0.8, 1.0])
    middle = 0.5 * (edges[1:] + edges[:-1])
    normal = NormalDist()
    return np.array([normal.inv_cdf(p) for p in middle]), np.diff(edges)


@_jit
def _at(series, position):  # type: ignore[no-untyped-def]
    """Value of a series of readings at a fractional position."""
    last = series.shape[0] - 1
    if position <= 0.0:
        return float(series[0])
    if position >= last:
        return float(series[last])
    i = int(position)
    f = position - i
    return series[i] * (1.0 - f) + series[i + 1] * f


@_jit
def _reach_between(low, high, f, begin, need, i):  # type: ignore[no-untyped-def]
    """Position at which a mix of two running series has risen by `need`, and the reading before."""
    last = low.shape[0] - 1
    target = (1.0 - f) * _at(low, begin) + f * _at(high, begin) + need
    while i < last and (1.0 - f) * low[i + 1] + f * high[i + 1] < target:
        i += 1
    if i >= last:
        return 1e9, i
    here = (1.0 - f) * low[i] + f * high[i]
    step = (1.0 - f) * low[i + 1] + f * high[i + 1] - here
    share = (target - here) / step if step > 0.0 else 1.0
    return max(i + min(max(share, 0.0), 1.0), begin), i


@_jit
def _reach(series, from_position, need):  # type: ignore[no-untyped-def]
    """Position at which a running series has risen by `need`; a large number if never."""
    start = _at(series, from_position)
    target = start + need
    last = series.shape[0] - 1
    i = int(from_position) if from_position > 0.0 else 0
    while i < last and series[i + 1] < target:
        i += 1
    if i >= last:
        return 1e9
    step = series[i + 1] - series[i]
    f = (target - series[i]) / step if step > 0.0 else 1.0
    position = i + min(max(f, 0.0), 1.0)
    return max(position, from_position)


@_jit
def _stage(time, sprouted, up, leaf_heat, seed_leaf, phyllochron):  # type: ignore[no-untyped-def]
    """-1 not germinated, 0 thread, 1 seed leaf, 2 one or two leaves, 3 three to five, 4 six up."""
    if time < sprouted:
        return -1
    if time < up:
        return 0
    if leaf_heat < seed_leaf + phyllochron:
        return 1
    if leaf_heat < seed_leaf + 3.0 * phyllochron:
        return 2
    if leaf_heat < seed_leaf + 6.0 * phyllochron:
        return 3
    return 4


@nb.njit(cache=True, parallel=True, error_model="numpy")
def _stand(  # type: ignore[no-untyped-def]
    germination, elongation, drying, leaf, gate_kpa,
    member, clock, spread, size_m2, mix, dry_bias,
    opened, opening_size, passed, kill, depth_mm, times,
    theta50, sigma, base_kpa, base_sd, rate, rise_sd, hold, seed_leaf, phyllochron,
    band_share, band_mid, band_hazard, scores, weights, rise_scores, rise_weights,
    count, ledger, opened_m2,
):  # fmt: skip
    n_guilds = theta50.shape[0]
    n_gates = gate_kpa.shape[0]
    n_times = times.shape[0]
    n_passes = passed.shape[0]
    n_zones = kill.shape[1]
    for p in nb.prange(member.shape[0]):
        m = member[p]
        alive = np.empty((n_zones, n_passes + 1))
        leaf_at = np.empty((n_guilds, n_times))
        leaf_pass = np.empty((n_guilds, n_passes))
        for g in range(n_guilds):
            for t in range(n_times):
                leaf_at[g, t] = _at(leaf[m, g], times[t])
            for k in range(n_passes):
                leaf_pass[g, k] = _at(leaf[m, g], passed[k])
        for o in range(opened.shape[0]):
            start = max(opened[o], 0.0)
            for g in range(n_guilds):
                whole = 0.0
                for z in range(n_zones):
                    whole += opening_size[o, g, z]
                if whole * mix[p, g] <= 0.0:
                    continue
                for j in range(band_share.shape[1]):
                    share = size_m2[p] * mix[p, g] * band_share[g, j]
                    if share <= 0.0:
                        continue
                    reading = int(start)
                    hazard = band_hazard[j]
                    for q in range(scores.shape[0]):
                        bears = base_kpa[g] * (1.0 - base_sd * scores[q]) + dry_bias[p]
                        k = 0
                        while k < n_gates - 2 and gate_kpa[k + 1] < bears:
                            k += 1
                        f = (bears - gate_kpa[k]) / (gate_kpa[k + 1] - gate_kpa[k])
                        f = min(max(f, 0.0), 1.0)
                        need = theta50[g] * np.exp(sigma[g] * spread[p] * scores[q]) / clock[p]
                        sprouted, reading = _reach_between(
                            germination[m, g, j, k], germination[m, g, j, k + 1], f, start, need,
                            reading,
                        )  # fmt: skip
                        for e in range(rise_scores.shape[0]):
                            part = share * weights[q] * rise_weights[e]
                            up = 1e9
                            dry_sprout = 0.0
                            dry_up = 0.0
                            leaf_up = 0.0
                            if sprouted < 1e8:
                                rise = (
                                    band_mid[j]
                                    / rate[g]
                                    * np.exp(rise_sd[j] * rise_scores[e])
                                    / clock[p]
                                )
                                up = _reach(elongation[m, g, j], sprouted, rise)
                                dry_sprout = _at(drying[m, j], sprouted)
                                dry_up = _at(drying[m, j], up)
                                leaf_up = _at(leaf[m, g], up)
                            survives_up = np.exp(-hazard * (dry_up - dry_sprout))
                            for z in range(n_zones):
                                alive[z, 0] = 1.0
                            for k2 in range(n_passes):
                                s = -1
                                if passed[k2] > start:
                                    s = _stage(
                                        passed[k2], sprouted, up,
                                        (leaf_pass[g, k2] - leaf_up) * clock[p],
                                        seed_leaf[g], phyllochron[g],
                                    )  # fmt: skip
                                for z in range(n_zones):
                                    killed = kill[k2, z, s] if s >= 0 else 0.0
                                    if s == 0 and band_mid[j] > depth_mm[k2]:
                                        killed = 0.0
                                    alive[z, k2 + 1] = alive[z, k2] * (1.0 - killed)
                            for t in range(n_times):
                                if times[t] < opened[o]:
                                    continue
                                n_done = 0
                                while n_done < n_passes and passed[n_done] <= times[t]:
                                    n_done += 1
                                s = _stage(
                                    times[t], sprouted, up,
                                    (leaf_at[g, t] - leaf_up) * clock[p],
                                    seed_leaf[g], phyllochron[g],
                                )  # fmt: skip
                                for z in range(n_zones):
                                    n = part * opening_size[o, g, z]
                                    if n <= 0.0:
                                        continue
                                    opened_m2[p, t, g, z] += n
                                    if s < 0:
                                        ledger[p, t, g, z, 0] += n
                                        continue
                                    survives = survives_up
                                    if s == 0 and hazard > 0.0:
                                        seen = _at(drying[m, j], times[t])
                                        survives = np.exp(-hazard * (seen - dry_sprout))
                                    ledger[p, t, g, z, 2] += n * (1.0 - survives)
                                    n *= survives
                                    if s > 0:
                                        ledger[p, t, g, z, 3] += n * hold[g, j]
                                        n *= 1.0 - hold[g, j]
                                    left = alive[z, n_done]
                                    ledger[p, t, g, z, 1] += n * (1.0 - left)
                                    count[p, t, g, z, s] += n * left


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
        What was killed when.
    time_hour : array
        Hours wanted, ascending, (n_times,).

    Returns
    -------
    Stand
        Counts and the ledger, per square metre of bed in the zone's share.

    Raises
    ------
    ValueError
        If shapes do not fit or the hours of openings, passes or times do not rise.

    Notes
    -----
    The order of a pass and an opening in one hour: a pass kills what stands before it, what it
    opens starts then. Range: depth 0-50 mm, annual weeds from seed.
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

    def along(values: NDArray[Any]) -> NDArray[Any]:
        """Readings on the last axis, a zero before the first."""
        moved = np.moveaxis(values, 1, -1)
        return np.concatenate((np.zeros_like(moved[..., :1]), moved), axis=-1)

    def position(hours: FloatArray) -> FloatArray:
        return (np.asarray(hours, dtype=np.float64) - first_hour) / reading_every_h

    scores, weights = rank_scores()
    rise_scores, rise_weights = rank_scores(N_RISES)
    top, bottom = guilds.band_mm[:, 0], guilds.band_mm[:, 1]
    middle = 0.5 * (top + bottom)
    depth_var = ((bottom - top) / np.maximum(middle, 1.0)) ** 2 / 12.0
    rise_sd = np.sqrt(np.log(1.0 + guilds.shoot_rate_cv**2) + depth_var)
    hold = 1.0 - 1.0 / (
        1.0 + np.exp((middle[None, :] - guilds.half_depth_mm[:, None]) / guilds.half_depth_slope_mm)
    )
    n_particles, n_times = particles.member.shape[0], time_hour.shape[0]
    n_guilds, n_zones = openings.size.shape[1], openings.size.shape[2]
    count = np.zeros((n_particles, n_times, n_guilds, n_zones, N_STAGES))
    ledger = np.zeros((n_particles, n_times, n_guilds, n_zones, _N_LEDGER))
    opened_m2 = np.zeros((n_particles, n_times, n_guilds, n_zones))
    _stand(
        along(germination_cd), along(elongation_cd), along(drying_d),
        along(leaf_cd), gate_kpa.astype(np.float64),
        particles.member, particles.clock, particles.spread, particles.size_m2, particles.mix,
        particles.dry_bias_kpa, position(openings.hour), openings.size, position(passes.hour),
        passes.kill_frac, passes.depth_mm, position(time_hour),
        guilds.theta50_cd, guilds.sigma_ln, guilds.base_suction_kpa, guilds.base_suction_sd_frac,
        guilds.shoot_rate_mm_cd, rise_sd, hold, guilds.seed_leaf_cd, guilds.phyllochron_cd,
        guilds.band_share, middle, guilds.band_hazard_d, scores, weights, rise_scores,
        rise_weights, count, ledger, opened_m2,
    )  # fmt: skip
    return Stand(count, ledger, opened_m2)
