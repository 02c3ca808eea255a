"""A planting of the farm as looks are held against it: its particles and what they say."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from scheduler.models.weeds.cohorts import Particles, Passes
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.sightings import Foretold
from scheduler.planning.weeds import (
    UNKNOWNS,
    WeedHistory,
    WeedSettings,
    counts_at,
    draw_particles,
    in_row_share,
    standing_before_m2,
)
from scheduler.records import FloatArray, Planting

N_SEEDS = 10  # that stand for a cohort where looks are held against it
_STANDING = UNKNOWNS.index("standing")


@dataclass(frozen=True)
class WatchedPlanting:
    """One planting with its columns and history, for `scheduler.planning.looks`."""

    planting: Planting
    ensemble: Ensemble
    history: WeedHistory
    settings: WeedSettings
    gate_kpa: FloatArray
    seed: int

    @property
    def key(self) -> str:
        """Name of the planting."""
        return self.planting.key

    @property
    def size_ln_sd(self) -> float:
        """Spread of the size of a flush about its median."""
        return self.settings.size_ln_sd

    @property
    def size_m2(self) -> float:
        """Its median."""
        return self.settings.size_m2

    def particles(self, score: FloatArray) -> tuple[Particles, FloatArray]:
        """Particles by normal scores (n, 5), and the weight of the soil members they ride on."""
        drawn = draw_particles(
            self.key, self.settings, self.seed, self.ensemble.n_members, len(score), score=score
        )
        return drawn, self.ensemble.weights[self.planting.bed.soil][drawn.member]

    def foretold(self, particles: Particles, score: FloatArray, hours: FloatArray) -> Foretold:
        """What they say of some hours, weeds from before the record as each kill left them."""
        passes = passes_for(self.history.passes, particles.clock.size)
        history = replace(self.history, passes=passes)
        count = counts_at(
            self.planting, self.ensemble, history, self.settings, self.gate_kpa, particles, hours,
            N_SEEDS,
        )  # fmt: skip
        row = in_row_share(self.planting)
        of_bed = row * count[:, :, 0] + (1.0 - row) * count[:, :, 1]
        old = standing_before_m2(
            self.planting, history, self.settings, score[:, _STANDING],
            history.standing_left_at(hours),
        )  # fmt: skip
        return Foretold(hours, of_bed / particles.size_m2[:, None, None], old)


def passes_for(passes: Passes, n_particles: int) -> Passes:
    """The passes of a history with kill for another number of particles.

    Parameters
    ----------
    passes : Passes
        Kill by particle, or the same for all.
    n_particles : int
        Particles wanted; both numbers are multiples of the number of soil members.

    Returns
    -------
    Passes
        Particles on one member keep that member's kill.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> kill = np.arange(2.0)[None, :, None, None] * np.ones((1, 2, 2, 5))
    >>> few = Passes(np.zeros(1), kill, np.zeros(1))
    >>> passes_for(few, 4).kill_frac[0, :, 0, 0].tolist()
    [0.0, 1.0, 0.0, 1.0]
    """
    n_known = passes.kill_frac.shape[1]
    if n_known in (1, n_particles):
        return passes
    places = np.resize(np.arange(n_known), n_particles)
    return Passes(passes.hour, passes.kill_frac[:, places], passes.depth_mm)
