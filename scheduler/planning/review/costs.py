"""What a pass saved, or would have saved: hand minutes of a planting with and without it.

Weeds are followed through everything that was done afterwards, up to a day that ends the account.
Each round by hand that was made costs what stood then, by stage and zone; what stands at the end
costs as if it were weeded then, at the list's prices. The difference of two such accounts, with the
pass and without it, is what the pass is worth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.planning.draws import weighted_quantiles
from scheduler.records import FloatArray, Range

FOLLOWED_D = 21.0  # after a window or a pass, that its weeds are followed
SMALL_MIN = 3.0  # of hand weeding and yield, less the pass: under it a window is small
_SECONDS = 60.0  # a minute


@dataclass(frozen=True)
class Rates:
    """Seconds by hand of one planting.

    `round_s` (2, 5): a weed by zone and stage in a round that was made. `end_s` (2, 6): a seed in
    the ground, then a weed by stage, that is left at the end of the account. `area_m2` (2,): in the
    rows and between. `yield_min_d`: minutes that the crop loses a day under heavy pressure;
    `half_m2` grown weeds that press half as hard, `pull` (5,) of a weed by stage.
    """

    round_s: FloatArray
    end_s: FloatArray
    area_m2: FloatArray
    yield_min_d: float
    half_m2: float
    pull: FloatArray


@dataclass(frozen=True)
class Account:
    """Minutes of one planting by particle, (n_particles,)."""

    hand_min: FloatArray
    yield_min: FloatArray


def account(
    count_m2: FloatArray,
    to_come_m2: FloatArray,
    is_round: Sequence[bool],
    pressed_d: FloatArray,
    rates: Rates,
) -> Account:
    """Minutes by hand of a planting at the times of an account, and what its crop loses.

    Parameters
    ----------
    count_m2 : array
        Weeds by particle, time, zone and stage, (n_particles, n_times, 2, 5) [1/m2]; at a round by
        hand those that stood just before it. The last time is the end.
    to_come_m2 : array
        Opened and not germinated, (n_particles, n_times, 2) [1/m2].
    is_round : sequence of bool
        Whether a round by hand was made at each time, (n_times,).
    pressed_d : array
        Days within the weed-free weeks that each time stands for, (n_times,).
    rates : Rates
        Prices.

    Returns
    -------
    Account
        By particle.

    Notes
    -----
    hand = sum over rounds of area (weeds . round_s) + area (what is left . end_s), over 60; yield =
    sum over times of days x yield_min_d x pull / (pull + half). Definition of this project. No
    range stated.

    Examples
    --------
    Ten square metres, half of it rows. A round takes 6 young weeds/m2 in the row at 2 s; in the end
    3 seed leaves/m2 are left between the rows at 1 s: 5 x 6 x 2 + 5 x 3 x 1 = 75 s.

    >>> count = np.zeros((1, 2, 2, 5))
    >>> count[0, 0, 0, 3], count[0, 1, 1, 1] = 6.0, 3.0
    >>> five = np.full(2, 5.0)
    >>> rates = Rates(np.full((2, 5), 2.0), np.ones((2, 6)), five, 0.0, 50.0, np.zeros(5))
    >>> account(count, np.zeros((1, 2, 2)), [True, False], np.zeros(2), rates).hand_min.tolist()
    [1.25]
    """
    rounds = np.asarray(is_round, bool)
    by_hand = np.einsum("ptzs,zs,z->p", count_m2[:, rounds], rates.round_s, rates.area_m2)
    left = np.concatenate((to_come_m2[:, -1, :, None], count_m2[:, -1]), axis=2)
    at_end = np.einsum("pzs,zs,z->p", left, rates.end_s, rates.area_m2)
    share = rates.area_m2 / max(float(rates.area_m2.sum()), 1e-9)
    pull = np.einsum("ptzs,s,z->pt", count_m2, rates.pull, share)
    lost = (pull / (pull + rates.half_m2)) @ np.asarray(pressed_d, np.float64)
    return Account((by_hand + at_end) / _SECONDS, rates.yield_min_d * lost)


@dataclass(frozen=True)
class Saving:
    """What a pass is worth by particle: accounts without it less accounts with it."""

    hand_min: FloatArray
    yield_min: FloatArray

    def cost_min(self, price: float, work_min: float) -> FloatArray:
        """Hand minutes that it saves, its own work taken off at the farm's price."""
        net: FloatArray = self.hand_min - price * work_min
        return net


def saving(without: Account, with_pass: Account) -> Saving:
    """What a pass is worth.

    Parameters
    ----------
    without, with_pass : Account
        Of the same times.

    Returns
    -------
    Saving
        By particle, below nought where the pass did harm: the flush it opens.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> one = np.ones(1)
    >>> saved = saving(Account(30 * one, 5 * one), Account(12 * one, 1 * one))
    >>> saved.hand_min.tolist(), saved.yield_min.tolist(), saved.cost_min(1.5, 4.0).tolist()
    ([18.0], [4.0], [12.0])
    """
    return Saving(without.hand_min - with_pass.hand_min, without.yield_min - with_pass.yield_min)


def is_small(cost_min: FloatArray, yield_min: FloatArray) -> bool:
    """Whether a window was too small to be worth setting out, by the middle of the particles.

    Parameters
    ----------
    cost_min, yield_min : array
        As the review counts them, (n_particles,) [min].

    Returns
    -------
    bool
        Under three minutes in all.

    Notes
    -----
    Assumption of this project. No range stated.

    Examples
    --------
    >>> is_small(np.array([1.0, 2.0, 9.0]), np.zeros(3)), is_small(np.full(3, 2.0), np.ones(3))
    (True, False)
    """
    whole = cost_min + yield_min
    return float(weighted_quantiles(whole, np.ones(whole.size))[1]) < SMALL_MIN


def range_of(values: FloatArray) -> Range:
    """Values by particle as 10, 50 and 90 % of them.

    Parameters
    ----------
    values : array
        (n_particles,).

    Returns
    -------
    Range
        Of the same unit.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> range_of(np.full(4, 3.0))
    Range(low=3.0, mid=3.0, high=3.0)
    """
    return Range(*(float(q) for q in weighted_quantiles(values, np.ones(values.size))))
