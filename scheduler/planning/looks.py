"""What looks teach of a planting's weeds, and what one bed's looks say of another bed.

The particles of a planting are weighed by its looks, apart from the weights of the soil members
they ride on. How many weeds there are enters every count as a factor, so it is summed out on a grid
and drawn anew for each particle; clock, spread, dryness and old weeds are drawn anew about what the
looks make of them, as often as too few particles would carry the weight. All random numbers stay
those of the planting's name, so a list does not jump where nothing was learned.

What the looks of a planting said by themselves is kept as evidence: a mean and a precision of each
normal score. Beds of one soil share half of the variance of what is not known (of how many weeds
there are three tenths), so evidence of another bed moves a bed half as far at most, and that of the
year before half as far again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from scheduler.models.weeds.cohorts import Particles
from scheduler.planning.draws import tempered_weights
from scheduler.planning.sightings import (
    Foretold,
    Group,
    Sighting,
    groups_of,
    hours_asked,
    log_evidence_of_anything,
    log_likelihood,
)
from scheduler.planning.weeds import UNKNOWNS, LearnedWeeds, Scores, particle_normals
from scheduler.records import BoolArray, FloatArray, IntArray

N_TRIED = 128  # particles by which the evidence of a planting is found
ROUNDS = 3  # of drawing anew
LEAST_EFFECTIVE_FRAC = 0.3  # of the particles that carry the weight
SHARED_FRAC = 0.5  # of the variance of what is not known that beds of one soil have in common
MOST_TOLD_SD = 2.0  # of the spread of what is not known: further out a bed is so by itself
SHARED_SIZE_FRAC = 0.3  # likewise of how many weeds there are: beds differ more in that
YEAR_KEPT_FRAC = 0.5  # of what is known of a bed or a soil, a year on
DOUBTED_LN = -3.0  # a look this much less likely than under no knowledge at all is not learned from
_SIZE, _STANDING = UNKNOWNS.index("size"), UNKNOWNS.index("standing")
_OTHERS = [i for i in range(len(UNKNOWNS)) if i != _SIZE]
_SIZE_GRID = np.linspace(-4.5, 4.5, 61)
_FEWER = 2.0  # times the spread of sizes below the middle: who sees few weeds is believed
_WIDER = 1.15  # than what was found, so that what is drawn anew covers it
_LEAST_PRECISION = 0.02
_LEAST_VARIANCE = 1e-3


class WatchedBed(Protocol):
    """A planting whose particles can be asked about some hours."""

    @property
    def key(self) -> str:
        """Name of the planting."""
        ...

    @property
    def seed(self) -> int:
        """The farm's seed."""
        ...

    @property
    def size_ln_sd(self) -> float:
        """Spread of the size of a flush about its median."""
        ...

    @property
    def size_m2(self) -> float:
        """Its median."""
        ...

    def particles(self, score: FloatArray) -> tuple[Particles, FloatArray]:
        """Particles by normal scores (n, 5), and the weight of the soil members they ride on."""
        ...

    def foretold(self, particles: Particles, score: FloatArray, hours: FloatArray) -> Foretold:
        """What they say of some hours."""
        ...


@dataclass(frozen=True)
class Evidence:
    """What looks said of one planting by themselves: normal scores of `UNKNOWNS`, (5,).

    `precision` is 0 where they said nothing; `years` is how many years ago they were made.
    """

    bed: str
    soil: str
    mean: FloatArray
    precision: FloatArray
    years: int = 0


@dataclass(frozen=True)
class Told:
    """What the looks of one planting came to by themselves."""

    evidence: Evidence
    groups: tuple[Group, ...]  # learned from
    doubted: tuple[Sighting, ...]  # that contradict all else


@dataclass(frozen=True)
class _Weighed:
    """Particles after some looks."""

    score: FloatArray  # (n, 5), the size drawn for each
    particles: Particles
    weight: FloatArray  # (n,) of the looks alone, sums to 1
    scores: Scores
    is_spread: bool  # without tempering


AS_TABLED = Scores(np.zeros(len(UNKNOWNS)), np.ones(len(UNKNOWNS)))


def told_by(
    bed: WatchedBed, name: str, soil: str, sightings: Sequence[Sighting], n_particles: int = N_TRIED
) -> Told:
    """What the looks of one planting say by themselves.

    Parameters
    ----------
    bed : WatchedBed
        The planting.
    name, soil : str
        Its bed and soil.
    sightings : sequence of Sighting
        Its looks.
    n_particles : int
        Particles to find it by.

    Returns
    -------
    Told
        Evidence, the looks it rests on, and those that are doubted.

    Notes
    -----
    The group of looks that all the others make least likely is doubted where the particles, weighed
    by half of what the others say, make it less likely than no knowledge at all by `DOUBTED_LN`;
    then the next. Flushes are let be twice as far below their median there: who sees few weeds, or
    none, is believed; far too many may be a slip of a unit. Definition of this project. No range
    stated. Worked: tests/planning/test_looks.py, test_look_doubts.py.
    """
    flat = Evidence(name, soil, np.zeros(len(UNKNOWNS)), np.zeros(len(UNKNOWNS)))
    hours = hours_asked(sightings)
    if not sightings:
        return Told(flat, (), ())
    drawn = _drawn(bed, AS_TABLED, hours, n_particles)
    groups, doubted = _sifted(bed, groups_of(sightings), drawn)
    if not groups:
        return Told(flat, (), doubted)
    found = _weighed(bed, groups, AS_TABLED, drawn)
    for _ in range(ROUNDS - 1):
        if found.is_spread:
            break
        drawn = _drawn(bed, _wider(found.scores), hours, n_particles)
        found = _weighed(bed, groups, AS_TABLED, drawn)
    variance = np.maximum(found.scores.sd**2, _LEAST_VARIANCE)
    precision = np.maximum(1.0 / variance - 1.0, 0.0)
    precision = np.where(precision < _LEAST_PRECISION, 0.0, precision)
    mean = np.where(
        precision > 0.0, found.scores.mean / variance / np.maximum(precision, 1e-9), 0.0
    )
    return Told(replace(flat, mean=mean, precision=precision), groups, doubted)


def pooled(name: str, soil: str, evidence: Sequence[Evidence]) -> Scores:
    """What is thought of a planting before its own looks, from those of others and of before.

    Parameters
    ----------
    name, soil : str
        Its bed and soil.
    evidence : sequence of Evidence
        Of other plantings, and of this bed's looks of before.

    Returns
    -------
    Scores
        Normal scores; `AS_TABLED` without evidence of that soil.

    Notes
    -----
    Normal with two levels: half of the variance is common to the beds of a soil, half a bed's own
    (of how many weeds there are three tenths and seven); of both a year keeps half and draws the
    rest anew. Of another bed no more is taken over than that it lies two of the spread from the
    middle: what is further out is its own. Evidence of one bed and year is of one and the same
    thing, however many pieces it comes in. Old weeds are no other bed's or year's matter.
    Definition of this project. No range stated.

    Examples
    --------
    One neighbour known exactly moves a bed half way, and leaves it three quarters of the variance;
    in the number of weeds it moves it less.

    >>> known = Evidence("A2", "loam", np.full(5, 1.0), np.full(5, 1e9))
    >>> thought = pooled("A1", "loam", [known])
    >>> thought.mean.round(2).tolist(), (thought.sd**2).round(2).tolist()
    ([0.5, 0.5, 0.3, 0.5, 0.0], [0.75, 0.75, 0.91, 0.75, 1.0])
    """
    known = _by_bed_and_year([e for e in evidence if name == e.bed or soil == e.soil])
    mean, variance = np.zeros(len(UNKNOWNS)), np.ones(len(UNKNOWNS))
    for i in range(len(UNKNOWNS)):
        told = [e for e in known if e.precision[i] > 0.0 and i != _STANDING]
        if not told:
            continue
        beds, years = np.array([e.bed for e in told]), np.array([e.years for e in told])
        shared = SHARED_SIZE_FRAC if i == _SIZE else SHARED_FRAC
        between = _in_common(beds[:, None] == beds, np.abs(years[:, None] - years), shared)
        to_bed = _in_common(beds == name, years, shared)
        left = np.diag([1.0 / float(e.precision[i]) for e in told])
        share = np.linalg.solve(between + left, to_bed)
        mean[i] = share @ np.array([e.mean[i] if e.bed == name else _told_on(e, i) for e in told])
        variance[i] -= share @ to_bed
    return Scores(mean, np.sqrt(np.maximum(variance, _LEAST_VARIANCE)))


def _told_on(evidence: Evidence, i: int) -> float:
    """What one bed says of another: a bed far out is so by itself."""
    held = float(evidence.precision[i] / (1.0 + evidence.precision[i]))
    thought = held * float(evidence.mean[i])
    return min(max(thought, -MOST_TOLD_SD), MOST_TOLD_SD) / held


def _in_common(is_same_bed: BoolArray, years: IntArray, shared_frac: float) -> FloatArray:
    """Covariance of the scores of beds of one soil that lie some years apart."""
    of_beds = shared_frac + (1.0 - shared_frac) * is_same_bed
    return np.asarray(of_beds * YEAR_KEPT_FRAC**years)


def _by_bed_and_year(evidence: Sequence[Evidence]) -> list[Evidence]:
    """Pieces of evidence of one bed and year as one."""
    found: dict[tuple[str, int], Evidence] = {}
    for one in evidence:
        before = found.get((one.bed, one.years))
        if before is not None:
            whole = before.precision + one.precision
            weighed = before.precision * before.mean + one.precision * one.mean
            mean = np.where(whole > 0.0, weighed / np.where(whole > 0.0, whole, 1.0), 0.0)
            one = replace(one, mean=mean, precision=whole)
        found[one.bed, one.years] = one
    return list(found.values())


def evidence_beside(key: str, bed: str, told: Mapping[str, Told]) -> tuple[Evidence, ...]:
    """What looks at other plantings said, each look once.

    Parameters
    ----------
    key, bed : str
        A planting and its bed.
    told : mapping
        What looks said, by planting.

    Returns
    -------
    tuple of Evidence
        By name of the planting. Without other parts of its own bed that were told of by its own
        looks; parts of another bed that share a look share one word.

    Notes
    -----
    A look at a bed that does not say which part is one at each of its parts. Definition of this
    project. No range stated. Worked: tests/planning/test_looks.py.
    """
    looks = {of: {s.event.event_id for g in one.groups for s in g} for of, one in told.items()}
    found = []
    for of, one in sorted(told.items()):
        is_own = one.evidence.bed == bed
        if of == key or (is_own and looks[of] & looks.get(key, set())):
            continue
        n = sum(
            of == other or bool(looks[of] & looks[other])
            for other in told if told[other].evidence.bed == one.evidence.bed and other != key
        )  # fmt: skip
        found.append(replace(one.evidence, precision=one.evidence.precision / n))
    return tuple(found)


def learned_weeds(
    bed: WatchedBed, told: Told | None, thought: Scores, n_particles: int
) -> LearnedWeeds:
    """The particles of a planting after all that was seen there and elsewhere.

    Parameters
    ----------
    bed : WatchedBed
        The planting.
    told : Told or None
        What its own looks say.
    thought : Scores
        What is thought of it without them.
    n_particles : int
        Particles wanted.

    Returns
    -------
    LearnedWeeds
        With equal weights where it has no looks of its own.

    Notes
    -----
    Drawn once about the product of both and weighed by the looks; the effective number of particles
    is held at three tenths or more by one exponent on the weights. Definition of this project. No
    range stated. Worked: tests/planning/test_looks.py, test_look_study.py.
    """
    if told is None or not told.groups:
        score = thought.mean + thought.sd * particle_normals(bed.key, bed.seed, n_particles)
        particles, _ = bed.particles(score)
        return LearnedWeeds(particles, np.ones(n_particles), score[:, _STANDING], thought)
    hours = hours_asked([s for group in told.groups for s in group])
    drawn = _drawn(bed, _product(thought, told.evidence), hours, n_particles)
    found = _weighed(bed, told.groups, thought, drawn)
    return LearnedWeeds(
        found.particles,
        found.weight * n_particles,
        found.score[:, _STANDING],
        found.scores,
    )


def _product(thought: Scores, evidence: Evidence) -> Scores:
    """Where to draw: both together, a little wider."""
    precision = 1.0 / thought.sd**2 + evidence.precision
    mean = (thought.mean / thought.sd**2 + evidence.precision * evidence.mean) / precision
    return _wider(Scores(mean, 1.0 / np.sqrt(precision)))


def _wider(scores: Scores) -> Scores:
    return Scores(scores.mean, np.minimum(np.maximum(_WIDER * scores.sd, 0.15), 1.5))


@dataclass(frozen=True)
class _Drawn:
    """Particles drawn for some looks, not yet weighed."""

    normals: FloatArray  # (n, 5)
    score: FloatArray
    particles: Particles
    member_weight: FloatArray
    foretold: Foretold


def _drawn(bed: WatchedBed, scores: Scores, hours: FloatArray, n_particles: int) -> _Drawn:
    normals = particle_normals(bed.key, bed.seed, n_particles)
    score = scores.mean + scores.sd * normals
    particles, member_weight = bed.particles(score)
    foretold = bed.foretold(particles, score, hours)
    return _Drawn(normals, score, particles, member_weight, foretold)


def _sifted(
    bed: WatchedBed, groups: tuple[Group, ...], drawn: _Drawn
) -> tuple[tuple[Group, ...], tuple[Sighting, ...]]:
    """Groups that can be learned from, and the looks that contradict all else."""
    doubted: list[Sighting] = []
    foretold, member_weight = drawn.foretold, drawn.member_weight
    n_particles = member_weight.size
    size = bed.size_m2 * np.exp(bed.size_ln_sd * _SIZE_GRID)
    sizes = np.broadcast_to(size, (n_particles, size.size))
    apart = np.where(_SIZE_GRID < 0.0, _SIZE_GRID / _FEWER, _SIZE_GRID)
    prior = (np.log(member_weight)[:, None] - 0.5 * apart**2).ravel()
    logs = [
        np.broadcast_to(log_likelihood(group, foretold, sizes), sizes.shape).ravel()
        for group in groups
    ]
    anything = [log_evidence_of_anything(group) for group in groups]
    left = list(range(len(groups)))
    while left:
        said = sum((logs[i] for i in left), np.zeros(prior.size))
        worst = min(left, key=lambda i: _surprise(logs[i], prior + said - logs[i]) - anything[i])
        others = prior + 0.5 * (said - logs[worst])
        if _surprise(logs[worst], others) - anything[worst] > DOUBTED_LN:
            break
        left.remove(worst)
        doubted += groups[worst]
    return tuple(groups[i] for i in left), tuple(doubted)


def _surprise(logs: FloatArray, log_weight: FloatArray) -> float:
    """Logarithm of the mean likelihood under some weights."""
    return _log_sum(log_weight + logs) - _log_sum(log_weight)


def _log_sum(logs: FloatArray) -> float:
    top = float(logs.max())
    return top + float(np.log(np.exp(logs - top).sum()))


def _weighed(bed: WatchedBed, groups: Sequence[Group], prior: Scores, drawn: _Drawn) -> _Weighed:
    """Drawn particles weighed by looks under a prior."""
    normals, score, particles = drawn.normals, drawn.score.copy(), drawn.particles
    foretold, member_weight = drawn.foretold, drawn.member_weight
    n_particles = member_weight.size
    grid = prior.mean[_SIZE] + prior.sd[_SIZE] * _SIZE_GRID
    size = bed.size_m2 * np.exp(bed.size_ln_sd * grid)
    sizes = np.broadcast_to(size, (n_particles, size.size))
    by_size = np.broadcast_to(-0.5 * _SIZE_GRID**2, sizes.shape).copy()
    for group in groups:
        by_size += log_likelihood(group, foretold, sizes)
    top = by_size.max(axis=1)
    part = np.exp(by_size - top[:, None])
    whole = part.sum(axis=1)
    log_weight = top + np.log(whole)
    for i in _OTHERS:
        apart = (score[:, i] - prior.mean[i]) / prior.sd[i]
        log_weight += 0.5 * normals[:, i] ** 2 - 0.5 * apart**2
    weight, exponent = tempered_weights(log_weight, LEAST_EFFECTIVE_FRAC)
    score[:, _SIZE] = _drawn_sizes(part / whole[:, None], grid, normals[:, _SIZE])
    with_members = weight * member_weight
    with_members /= with_members.sum()
    mean = with_members @ score
    sd = np.sqrt(with_members @ (score - mean) ** 2)
    sized = replace(particles, size_m2=bed.size_m2 * np.exp(bed.size_ln_sd * score[:, _SIZE]))
    scores = Scores(mean, np.maximum(sd, 1e-3))
    return _Weighed(score, sized, weight, scores, exponent >= 1.0)


def _drawn_sizes(chance: FloatArray, grid: FloatArray, normal: FloatArray) -> FloatArray:
    """A size for each particle at the rank of its own normal draw, (n,)."""
    step = grid[1] - grid[0]
    edges = np.concatenate((grid - 0.5 * step, [grid[-1] + 0.5 * step]))
    rank = _normal_share(normal)
    up_to = np.concatenate((np.zeros((chance.shape[0], 1)), np.cumsum(chance, axis=1)), axis=1)
    return np.array(
        [np.interp(r, row, edges) for r, row in zip(rank, up_to, strict=True)], dtype=np.float64
    )


def _normal_share(z: FloatArray) -> FloatArray:
    """Share of a normal distribution below, on the grid of the sizes."""
    fine = np.linspace(-6.0, 6.0, 2401)
    density = np.exp(-0.5 * fine**2)
    share = np.cumsum(density)
    return np.asarray(np.interp(z, fine, share / share[-1]))
