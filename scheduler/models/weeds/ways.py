"""What is left of weeds by the ways they go: alive at the end, after a pass today and a later one.

A way is the states of a weed today, on a later day and at the end (`scheduler.models.weeds.cohorts`
counts weeds by way). Weeds only grow, so a way never leads back to an earlier state. A pass today
kills by the first state, a later one by the second, and what is left costs by the third.
"""

from __future__ import annotations

import numba as nb
import numpy as np

from scheduler.models.soil_column import Float32Array
from scheduler.models.weeds.cohorts import N_STATES
from scheduler.records import FloatArray

_SECONDS = 60.0  # a minute

_S = N_STATES


@nb.njit(cache=True, error_model="numpy")
def _alive(ways, per_state, survive, alive):  # type: ignore[no-untyped-def]
    n_particles, n_days = ways.shape[:2]
    n_passes = survive.shape[0]
    for p in range(n_particles):
        for d in range(n_days):
            for z in range(2):
                way = ways[p, d, z]
                for b in range(_S):
                    for a in range(b + 1):
                        hand, pull = 0.0, 0.0
                        at = (a * _S + b) * _S
                        for c in range(b, _S):
                            n = way[at + c]
                            hand += n * per_state[z, c, 0]
                            pull += n * per_state[z, c, 1]
                        for k in range(n_passes):
                            left = survive[k, p, z, a]
                            alive[k, p, d, z, b, 0] += left * hand
                            alive[k, p, d, z, b, 1] += left * pull


@nb.njit(cache=True, error_model="numpy")
def _minutes(  # type: ignore[no-untyped-def]
    alive, survive, more_s, follower_s, rested_frac, area_m2, half_m2, lost_min, from_day, minutes
):
    n_followers, n_days, n_particles = survive.shape[:3]
    whole_m2 = max(area_m2[0] + area_m2[1], 1e-9)
    for p in range(n_particles):
        for f in range(n_followers):
            for d in range(from_day, n_days):
                cost, pulled = 0.0, 0.0
                for z in range(2):
                    hand = more_s[p, z] + follower_s[p, z, f] * rested_frac[d, z]
                    pull = 0.0
                    for b in range(_S):
                        left = survive[f, d, p, z, b]
                        hand += left * alive[p, d, z, b, 0]
                        pull += left * alive[p, d, z, b, 1]
                    cost += hand * area_m2[z]
                    pulled += pull * area_m2[z]
                pulled /= whole_m2
                minutes[f, p, d] = cost / _SECONDS + lost_min * pulled / (pulled + half_m2)


def alive_at_end(
    ways_m2: Float32Array, per_state: FloatArray, survive_frac: FloatArray
) -> FloatArray:
    """Price of what is alive at the end, by the state in which a later day finds it.

    Parameters
    ----------
    ways_m2 : array
        Weeds alive at the end by way, (n_particles, n_days, 2 zones, 216) [m-2], as `stand` has
        them: at 36 a + 6 b + c of the states today, on the day and at the end, a <= b <= c.
    per_state : array
        Two prices of a weed by zone and its last state, (2, 6, 2).
    survive_frac : array
        Share that one or several passes today leave by state, (n_passes, n_particles, 2, 6) [-].

    Returns
    -------
    array
        Prices per square metre by pass, particle, day, zone and state of the day, (n_passes,
        n_particles, n_days, 2, 6, 2).

    Raises
    ------
    ValueError
        If shapes do not fit.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    Ten threads of today that will stand as young weeds on the day and at the end; a pass today
    leaves a fifth of them.

    >>> ways = np.zeros((1, 1, 2, 216), np.float32)
    >>> ways[0, 0, 0, 36 * 1 + 6 * 4 + 4] = 10.0
    >>> price = np.zeros((2, 6, 2))
    >>> price[0, 4] = 3.0, 1.0
    >>> survive = np.ones((1, 1, 2, 6))
    >>> survive[0, 0, 0, 1] = 0.2
    >>> alive_at_end(ways, price, survive)[0, 0, 0, 0, 4].tolist()
    [6.0, 2.0]
    """
    n, n_days = ways_m2.shape[:2]
    n_passes = survive_frac.shape[0]
    found = (ways_m2.shape[2:], per_state.shape, survive_frac.shape[1:])
    wanted = ((2, _S**3), (2, _S, 2), (n, 2, _S))
    if found != wanted:
        msg = f"ways: found shapes {found} of ways, prices and passes; they must be {wanted}"
        raise ValueError(msg)
    alive = np.zeros((n_passes, n, n_days, 2, _S, 2))
    _alive(ways_m2, per_state, survive_frac, alive)
    return alive


def minutes_after(
    alive: FloatArray,
    survive_frac: FloatArray,
    more_s: FloatArray,
    follower_s: FloatArray,
    rested_frac: FloatArray,
    area_m2: FloatArray,
    half_m2: float,
    lost_min: float,
    from_day: int,
) -> FloatArray:
    """Minutes of a planting if each of some passes follows on each day.

    Parameters
    ----------
    alive : array
        Seconds by hand and pull on the crop of what is alive at the end, (n_particles, n_days, 2
        zones, 6 states of the day, 2) per square metre, as `alive_at_end` has them.
    survive_frac : array
        Share that each follower leaves by day and state, (n_followers, n_days, n_particles, 2, 6).
    more_s : array
        Seconds a square metre that come to it in any case, (n_particles, 2).
    follower_s : array
        Seconds a square metre of what the follower opens on rested ground, (n_particles, 2,
        n_followers).
    rested_frac : array
        How far the ground has rested by each day, (n_days, 2) [-].
    area_m2 : array
        By zone, (2,).
    half_m2 : float
        Pull that takes half of the most that can be lost [m-2].
    lost_min : float
        The most that pull can take [min].
    from_day : int
        First day on which a follower is thought of.

    Returns
    -------
    array
        Minutes (n_followers, n_particles, n_days), NaN before `from_day`.

    Raises
    ------
    ValueError
        If shapes do not fit.

    Notes
    -----
    Hand minutes add up; what pull p takes is `lost_min` p/(p + `half_m2`), p over the whole area.
    Definition of this project. No range stated.

    Examples
    --------
    Sixty seconds a square metre on ten square metres, of which the follower leaves a half.

    >>> alive = np.zeros((1, 1, 2, 6, 2))
    >>> alive[0, 0, 0, 1] = 60.0, 0.0
    >>> minutes_after(
    ...     alive, np.full((1, 1, 1, 2, 6), 0.5), np.zeros((1, 2)), np.zeros((1, 2, 1)),
    ...     np.ones((1, 2)), np.array([10.0, 0.0]), 3.0, 100.0, 0,
    ... ).tolist()
    [[[5.0]]]
    """
    n, n_days = alive.shape[:2]
    n_followers = survive_frac.shape[0]
    found = (alive.shape[2:], survive_frac.shape[1:], follower_s.shape, rested_frac.shape)
    wanted = ((2, _S, 2), (n_days, n, 2, _S), (n, 2, n_followers), (n_days, 2))
    if found != wanted:
        msg = f"ways: found shapes {found} of alive, passes, flush and rest; must be {wanted}"
        raise ValueError(msg)
    minutes = np.full((n_followers, n, n_days), np.nan)
    _minutes(
        alive, survive_frac, more_s, follower_s, rested_frac,
        area_m2, float(half_m2), float(lost_min), from_day, minutes,
    )  # fmt: skip
    return minutes
