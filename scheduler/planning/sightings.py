"""What entries of looks say of the particles of a planting: one likelihood for each.

Entries that say the same thing together, as counts of one fixed quadrat on several days, form a
group; groups are independent of one another. Likelihoods are those of `scheduler.models.looks`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache
from typing import Any

import numpy as np

from scheduler.models.looks import (
    FEW_M2,
    MANY_M2,
    estimate_log_likelihood,
    loose_counts_log_likelihood,
    range_log_likelihood,
    sighting_log_likelihood,
    stage_mix_log_likelihood,
)
from scheduler.models.looks import fixed_counts_log_likelihood as fixed_counts
from scheduler.models.weeds.cohorts import STAGES
from scheduler.planning.draws import keyed_generator
from scheduler.planning.ensemble import Sky
from scheduler.planning.plantings import touches
from scheduler.records import Event, FloatArray, Planting

SEARCHED_M2 = 1.0  # by a look that does not say
GREEN_TIMES = 4.0  # as easily found as a thread
ONE_LOOK_H = 0.25  # in which the same words of the same place are one look, entered twice
FORGOTTEN_HALF_D = 30.0  # a look this old counts half: other flushes, other places
MOST_SPROUTS = 20  # that an estimate of several stages tells of their shares
_DUG_M2 = 3.0  # scratched at most for some sprouts; how much a grower seldom says
_ANYTHING_M2 = (0.1, 1e6)  # where nothing is known, and any unit may have been meant
_N_ANYTHING = 400

Group = tuple["Sighting", ...]


@dataclass(frozen=True)
class Sighting:
    """One look on the sky's clock, and what share of its word it keeps for its age."""

    event: Event
    hour: float
    keeps_frac: float

    @property
    def data(self) -> Mapping[str, Any]:
        """What the entry says."""
        return self.event.data


@dataclass(frozen=True)
class Foretold:
    """What particles say of some hours.

    `unit` (n_particles, n_hours, 5) are weeds by stage for a full flush of one weed per m2,
    `standing_m2` (n_particles, n_hours) grown weeds from before the record that stand there
    besides.
    """

    hours: FloatArray
    unit: FloatArray
    standing_m2: FloatArray

    def at(self, hour: float) -> _Weeds:
        """Weeds at one of the hours."""
        t = int(np.argmin(np.abs(self.hours - hour)))
        return _Weeds(self.unit[:, t], self.standing_m2[:, t])


@dataclass(frozen=True)
class _Weeds:
    """What particles say of one hour: stages of a flush of one weed, and old weeds."""

    unit: FloatArray  # (n_particles, 5)
    old_m2: FloatArray  # (n_particles,)

    def threads_m2(self, size_m2: FloatArray) -> FloatArray:
        """By size, (n_particles, n_sizes)."""
        return np.asarray(self.unit[:, :1] * size_m2)

    def green_m2(self, size_m2: FloatArray) -> FloatArray:
        """Likewise, with the old ones."""
        return np.asarray(self.unit[:, 1:].sum(axis=1)[:, None] * size_m2 + self.old_m2[:, None])

    def whole_m2(self, size_m2: FloatArray) -> FloatArray:
        """Both."""
        return np.asarray(self.threads_m2(size_m2) + self.green_m2(size_m2))

    def found_m2(self, size_m2: FloatArray) -> FloatArray:
        """Weeds by how easily they are found, in threads that are as easily found."""
        return np.asarray(self.threads_m2(size_m2) + GREEN_TIMES * self.green_m2(size_m2))


def sightings_of(
    planting: Planting, events: Sequence[Event], sky: Sky, from_hour: float
) -> tuple[Sighting, ...]:
    """Looks at a planting that its particles can be held against.

    Parameters
    ----------
    planting : Planting
        The planting.
    events : sequence of Event
        Entries that stand.
    sky : Sky
        The clock.
    from_hour : float
        Hour from which the weeds are followed.

    Returns
    -------
    tuple of Sighting
        In order; from `from_hour` up to now.

    Notes
    -----
    A look loses half its word in thirty days. One that was entered twice counts once: two looks
    that agree would be believed where one is doubted. Survivors of a pass tell of the tool and are
    left to it. Definition of this project. No range stated. Worked: tests/planning/test_looks.py.
    """
    now = float(sky.now_hour)
    found = []
    for event in events:
        if event.kind != "look" or "of_n" in event.data or not touches(event, planting):
            continue
        hour = (event.happened_at - sky.start_at) / timedelta(hours=1)
        if from_hour <= hour <= now + 1.0:
            age_d = max(now - hour, 0.0) / 24.0
            found.append(Sighting(event, hour, 0.5 ** (age_d / FORGOTTEN_HALF_D)))
    return _each_once(sorted(found, key=lambda s: (s.hour, s.event.event_id)))


def _each_once(sightings: Sequence[Sighting]) -> tuple[Sighting, ...]:
    """Looks without those that repeat one of the minutes before to the word."""
    kept: list[Sighting] = []
    for one in sightings:
        is_again = any(
            one.hour - before.hour <= ONE_LOOK_H
            and (one.event.bed, one.event.part) == (before.event.bed, before.event.part)
            and one.data == before.data
            for before in kept
        )
        if not is_again:
            kept.append(one)
    return tuple(kept)


def groups_of(sightings: Sequence[Sighting]) -> tuple[Group, ...]:
    """Looks that say one thing together.

    Parameters
    ----------
    sightings : sequence of Sighting
        In order.

    Returns
    -------
    tuple of tuple of Sighting
        Counts of one named quadrat together, every other look alone.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_looks.py.
    """
    fixed: dict[str, list[Sighting]] = {}
    found: list[list[Sighting]] = []
    for sighting in sightings:
        name = sighting.data.get("quadrat")
        if name is None:
            found.append([sighting])
        elif str(name) in fixed:
            fixed[str(name)].append(sighting)
        else:
            fixed[str(name)] = [sighting]
            found.append(fixed[str(name)])
    return tuple(tuple(group) for group in found)


def hours_asked(sightings: Sequence[Sighting]) -> FloatArray:
    """Hours at which the particles are asked for some looks.

    Parameters
    ----------
    sightings : sequence of Sighting
        The looks.

    Returns
    -------
    array
        Ascending hours on the sky's clock; the day before a first sighting is among them.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_looks.py.
    """
    hours = {s.hour for s in sightings}
    hours |= {s.hour - 24.0 for s in sightings if "first" in s.data}
    return np.array(sorted(hours))


def log_likelihood(group: Group, foretold: Foretold, size_m2: FloatArray) -> FloatArray:
    """How likely one group of looks is under each particle and size of its flushes.

    Parameters
    ----------
    group : tuple of Sighting
        As `groups_of` gives them.
    foretold : Foretold
        What the particles say of `hours_asked`.
    size_m2 : array
        Sizes of a full flush thought of, (n_particles, n_sizes) [1/m2].

    Returns
    -------
    array
        Log-likelihood but for a constant of the group, (n_particles, n_sizes) or (n_particles, 1)
        where the size plays no part.

    Notes
    -----
    Sprouts without an area tell of stages, of their number only that so many turned up within a few
    square metres, and of grown weeds among them only where those were told of: who scratches up
    sprouts leaves the others. An estimate per square metre is a count on one square metre of which
    nobody knows how well it was counted. Older looks are tempered. Sources as
    `scheduler.models.looks`. No range stated. Worked: tests/planning/test_sightings.py.
    """
    if group[0].data.get("quadrat") is not None:
        return _fixed(group, foretold, size_m2)
    sighting = group[0]
    data = sighting.data
    weeds = foretold.at(sighting.hour)
    if any(f"n_{stage}" in data for stage in STAGES):
        logs = _sprouts(data, weeds, size_m2)
    elif data.get("nothing"):
        logs = _nothing(weeds, size_m2, float(data.get("area_m2", SEARCHED_M2)))
    elif "first" in data:
        logs = _first(sighting, foretold, size_m2)
    elif "amount" in data:
        logs = _amount(str(data["amount"]), weeds, size_m2)
    else:
        logs = _estimate(data, weeds, size_m2)
    return sighting.keeps_frac * logs


def _classes(by_stage: FloatArray) -> FloatArray:
    """Stages as a look tells them apart: young and established are one."""
    return np.concatenate((by_stage[..., :3], by_stage[..., 3:].sum(axis=-1, keepdims=True)), -1)


def _counts(data: Mapping[str, Any]) -> FloatArray:
    return np.array([float(data.get(f"n_{stage}", 0.0)) for stage in STAGES])


def _by_size(
    likelihood: Callable[..., FloatArray], seen: FloatArray, expected: FloatArray, **more: float
) -> FloatArray:
    """A likelihood of counts for every particle and size; `expected` (n, n_sizes, n_counts)."""
    n, n_sizes, n_counts = expected.shape
    flat = likelihood(seen, expected.reshape(n * n_sizes, n_counts), **more)
    return flat.reshape(n, n_sizes)


def _sprouts(data: Mapping[str, Any], weeds: _Weeds, size_m2: FloatArray) -> FloatArray:
    """Sprouts counted by stage; on an area they tell of the number too."""
    counts = _counts(data)
    area = data.get("area_m2")
    if counts.sum() <= 0.0:
        return _nothing(weeds, size_m2, float(data.get("area_m2", SEARCHED_M2)))
    logs = _mix(counts, weeds, size_m2, _classes_told(data, "n_"))
    if area is None:
        return np.asarray(logs + _turned_up(float(counts.sum()), weeds, size_m2))
    expected = float(area) * weeds.whole_m2(size_m2)[..., None]
    whole = np.array([counts.sum()])
    return np.asarray(logs + _by_size(loose_counts_log_likelihood, whole, expected))


def _turned_up(n: float, weeds: _Weeds, size_m2: FloatArray) -> FloatArray:
    """Sprouts turn up where there are some: hardly twenty where a square metre holds one or two."""
    expected = _DUG_M2 * weeds.whole_m2(size_m2) / n
    return np.asarray(np.log(np.maximum(1.0 - np.exp(-expected), 1e-12)))


def _classes_told(data: Mapping[str, Any], prefix: str = "") -> slice:
    """Classes that a look compares: sprouts, and grown weeds only where they were told of."""
    has_grown = any(f"{prefix}{stage}" in data for stage in STAGES[3:])
    has_threads = bool(prefix) or STAGES[0] in data
    return slice(0 if has_threads else 1, None if has_grown else 3)


def _mix(counts: FloatArray, weeds: _Weeds, size_m2: FloatArray, told: slice) -> FloatArray:
    """Stages as shares of all that were told of, (n, n_sizes); (n, 1) without old weeds.

    Old weeds are counted as grown ones, so their share falls with the size of the flush.
    """
    seen = _classes(counts)[told]
    flush = _classes(weeds.unit)[:, told]
    if told.stop is not None or not weeds.old_m2.any():
        return np.asarray(stage_mix_log_likelihood(seen, flush)[:, None])
    n, n_sizes = size_m2.shape
    whole = flush[:, None, :] * size_m2[:, :, None]
    whole[..., -1] += weeds.old_m2[:, None]
    logs = stage_mix_log_likelihood(seen, whole.reshape(n * n_sizes, -1))
    return logs.reshape(n, n_sizes)


def _fixed(group: Group, foretold: Foretold, size_m2: FloatArray) -> FloatArray:
    """Counts of one quadrat that stays, over days."""
    area = np.array([float(s.data.get("area_m2", SEARCHED_M2)) for s in group])
    whole = np.array([_counts(s.data).sum() for s in group])
    at = [foretold.at(s.hour) for s in group]
    expected = np.stack(
        [a * weeds.whole_m2(size_m2) for a, weeds in zip(area, at, strict=True)],
        axis=2,
    )
    keeps = float(np.mean([s.keeps_frac for s in group]))
    logs = keeps * _by_size(fixed_counts, whole, expected)
    for sighting, weeds in zip(group, at, strict=True):
        counts = _counts(sighting.data)
        if (counts > 0.0).sum() > 1:
            told = _classes_told(sighting.data, "n_")
            logs = logs + sighting.keeps_frac * _mix(counts, weeds, size_m2, told)
    return np.asarray(logs)


def _nothing(weeds: _Weeds, size_m2: FloatArray, area_m2: float) -> FloatArray:
    found = weeds.found_m2(size_m2)
    logs = sighting_log_likelihood([(found.ravel(), False)], area_m2)
    return np.asarray(logs.reshape(found.shape))


def _first(sighting: Sighting, foretold: Foretold, size_m2: FloatArray) -> FloatArray:
    """Seen now for the first time: not yet the day before."""

    def density(hour: float) -> FloatArray:
        weeds = foretold.at(hour)
        if sighting.data["first"] == "green":
            return GREEN_TIMES * weeds.green_m2(size_m2)
        return weeds.threads_m2(size_m2)

    before, now = density(sighting.hour - 24.0), density(sighting.hour)
    looks = [(before.ravel(), False), (now.ravel(), True)]
    return np.asarray(sighting_log_likelihood(looks, SEARCHED_M2).reshape(now.shape))


def _amount(amount: str, weeds: _Weeds, size_m2: FloatArray) -> FloatArray:
    """Few, some or many green weeds."""
    low, high = {"few": (0.0, FEW_M2), "some": (FEW_M2, MANY_M2)}.get(amount, (MANY_M2, np.inf))
    return range_log_likelihood(low, high, weeds.green_m2(size_m2))


def _estimate(data: Mapping[str, Any], weeds: _Weeds, size_m2: FloatArray) -> FloatArray:
    """Weeds per square metre by eye, of the stages that were told."""
    told = np.array([stage in data for stage in STAGES])
    seen = np.array([float(data.get(stage, 0.0)) for stage in STAGES])
    logs = np.zeros((size_m2.shape[0], 1))
    if told[1:].any():
        green = weeds.green_m2(size_m2)
        logs = logs + estimate_log_likelihood(float(seen[1:].sum()), green)
    if told[0]:
        threads = weeds.threads_m2(size_m2)
        logs = logs + estimate_log_likelihood(float(seen[0]), threads)
    whole = float(seen.sum())
    if whole > 0.0 and (told[0] or told[1:].sum() > 1):
        sprouts = seen * min(1.0, MOST_SPROUTS / whole)
        logs = logs + _mix(sprouts, weeds, size_m2, _classes_told(data))
    return np.asarray(logs)


def log_evidence_of_anything(group: Group) -> float:
    """How likely a group of looks is where nothing is known of a bed.

    Parameters
    ----------
    group : tuple of Sighting
        The looks.

    Returns
    -------
    float
        Logarithm, on the scale of `log_likelihood`.

    Notes
    -----
    Mean over any stages and any density from a weed in ten square metres to thousands on one, each
    hour for itself. A look that the particles make far less likely than this contradicts them.
    Definition of this project. No range stated. Worked: tests/planning/test_looks.py.
    """
    hours = hours_asked(group)
    shares, size = _anything(hours.size)
    logs = log_likelihood(group, Foretold(hours, shares, np.zeros(shares.shape[:2])), size[:, None])
    flat = np.broadcast_to(logs, (size.size, 1)).ravel()
    top = float(flat.max())
    return top + float(np.log(np.exp(flat - top).mean()))


@lru_cache(maxsize=32)
def _anything(n_hours: int) -> tuple[FloatArray, FloatArray]:
    generator = keyed_generator(0, "anything", n_hours)
    shares = generator.dirichlet(np.ones(len(STAGES)), (_N_ANYTHING, n_hours))
    low, high = np.log(_ANYTHING_M2)
    return shares, np.exp(generator.uniform(low, high, _N_ANYTHING))
