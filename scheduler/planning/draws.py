"""Random numbers keyed by farm seed and name, never by order.

A draw depends on the seed, on what it is for and on the number of members; adding a bed, a soil or
an entry elsewhere changes no other draw.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from scheduler.records import FloatArray

_HALVINGS = 50


def keyed_generator(seed: int, *names: str | int) -> np.random.Generator:
    """A generator of its own for one purpose.

    Parameters
    ----------
    seed : int
        The farm's seed.
    *names : str or int
        What the numbers are for, e.g. ``"soil", "river silt", "theta_33"``.

    Returns
    -------
    numpy.random.Generator
        Independent of every generator with other names.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> a = keyed_generator(7, "soil", "loam").normal()
    >>> b = keyed_generator(7, "soil", "loam").normal()
    >>> c = keyed_generator(7, "soil", "clay").normal()
    >>> bool(a == b), bool(a == c)
    (True, False)
    """
    text = "\x1f".join((str(seed), *(str(name) for name in names)))
    digest = hashlib.blake2b(text.encode(), digest_size=16).digest()
    return np.random.default_rng(int.from_bytes(digest, "little"))


def stratified_normals(seed: int, n_members: int, *names: str | int) -> FloatArray:
    """Standard normal draws, one from each of `n_members` equal slices of the distribution.

    Stratifying keeps the spread of a small ensemble right; the slices are shuffled by key, so that
    two names are independent.

    Parameters
    ----------
    seed : int
        The farm's seed.
    n_members : int
        Number of draws.
    *names : str or int
        What they are for.

    Returns
    -------
    array
        Shape (n_members,) [-].

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> z = stratified_normals(1, 32, "k_factor")
    >>> bool(abs(z.mean()) < 0.1), bool(0.85 < z.std() < 1.1)
    (True, True)
    """
    return _stratified(seed, n_members, names).copy()


@lru_cache(maxsize=4096)
def _stratified(seed: int, n_members: int, names: tuple[str | int, ...]) -> FloatArray:
    generator = keyed_generator(seed, *names)
    slices = generator.permutation(n_members)
    uniform = (slices + generator.random(n_members)) / n_members
    normal = NormalDist()
    return np.array([normal.inv_cdf(p) for p in np.clip(uniform, 1e-9, 1.0 - 1e-9)])


def tempered_weights(
    log_weight: FloatArray, least_effective_frac: float
) -> tuple[FloatArray, float]:
    """Weights tempered by one exponent so that enough of them carry the whole.

    Parameters
    ----------
    log_weight : array
        Logarithms but for a constant, (n,).
    least_effective_frac : float
        Least effective number, 1 / sum of squares, as a share of n [-].

    Returns
    -------
    array, float
        Weights that sum to 1, (n,), and the exponent, 1 where nothing was tempered.

    Notes
    -----
    The largest exponent up to 1 that keeps the effective number, found by halving. Definition of
    this project. No range stated.

    Examples
    --------
    >>> w, exponent = tempered_weights(np.log([1.0, 0.1, 0.1, 0.1]), 0.5)
    >>> w.round(3).tolist(), exponent < 1.0
    ([0.683, 0.106, 0.106, 0.106], True)
    """
    logs = np.asarray(log_weight, np.float64) - np.max(log_weight)
    least = least_effective_frac * logs.size

    def share(exponent: float) -> FloatArray:
        weight = np.exp(exponent * logs)
        part: FloatArray = weight / weight.sum()
        return part

    def is_spread(exponent: float) -> bool:
        return bool(1.0 / (share(exponent) ** 2).sum() >= least)

    if is_spread(1.0):
        return share(1.0), 1.0
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if is_spread(middle) else (low, middle)
    return share(low), low


def weighted_quantiles(
    values: FloatArray, weights: FloatArray, probabilities: tuple[float, ...] = (0.1, 0.5, 0.9)
) -> FloatArray:
    """Quantiles of member values by member weight; NaN members are left out.

    Parameters
    ----------
    values : array
        One value a member, shape (n_members,).
    weights : array
        Member weights, shape (n_members,) [-].
    probabilities : tuple of float
        Shares of weight [-].

    Returns
    -------
    array
        Shape (len(probabilities),); NaN if no member has a value.

    Notes
    -----
    Between neighbours the quantile moves over half of the lighter one's weight on each side, so
    that a heavy member keeps the rest of its weight to itself; with equal weights these are the
    middles of the steps (Hazen). Members of one value count as one. Definition of this project.

    Examples
    --------
    >>> weighted_quantiles(np.arange(11.0), np.ones(11)).round(1).tolist()
    [0.6, 5.0, 9.4]
    >>> weighted_quantiles(np.array([1.0, 2.0, 3.0]), np.array([0.01, 0.01, 10.0])).tolist()
    [3.0, 3.0, 3.0]
    """
    is_there = np.isfinite(values)
    if not is_there.any():
        return np.full(len(probabilities), np.nan)
    v, place = np.unique(values[is_there], return_inverse=True)
    w = np.bincount(place, weights=weights[is_there])
    if v.size == 1 or w.sum() <= 0.0:
        return np.full(len(probabilities), v[0])
    cumulative = np.cumsum(w)
    lighter = 0.5 * np.minimum(w[:-1], w[1:])
    begins = np.concatenate(([0.0], cumulative[:-1] + lighter)) / cumulative[-1]
    ends = np.concatenate((cumulative[:-1] - lighter, cumulative[-1:])) / cumulative[-1]
    share = np.column_stack((begins, ends)).ravel()
    result: FloatArray = np.interp(np.asarray(probabilities), share, np.repeat(v, 2))
    return result
