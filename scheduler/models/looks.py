"""What a grower's look says of what is not known: likelihoods of sprouts, counts and sightings.

Each function takes what every particle foretells for the moment of the look and returns how likely
that makes what was seen, as a logarithm, one value a particle. Nothing here knows a bed or a date.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from scheduler.records import FloatArray

MIX_TEMPER = 0.5  # sprouts of one look come in clumps, and stages are misread
MIX_FLOOR_FRAC = 0.01  # of a class that a particle says is empty
SEEN_FRAC = 0.15  # of the threads on a searched area that are found
FALSE_FRAC = 0.02  # of looks that see what is not there
CLUMPING = 1.5  # shape of the gamma by which places of a bed differ
FEW_M2 = 5.0  # weeds per m2 up to which a grower says few
MANY_M2 = 40.0  # and from which many; between them some
ESTIMATE_CLUMPING = 4.0  # shape of the gamma of a bed's weeds as told by eye: within half
RANGE_LN_SD = 0.7  # of the weeds of a bed that is called to have few, some or many
_LEAST = 1e-12


def stage_mix_log_likelihood(
    counts: ArrayLike,
    shares: ArrayLike,
    *,
    temper: float = MIX_TEMPER,
    floor_frac: float = MIX_FLOOR_FRAC,
) -> FloatArray:
    """How likely the stages of some sprouts are, scratched up in a few spots.

    Parameters
    ----------
    counts : array
        Sprouts seen by class, (n_classes,).
    shares : array
        Weeds by class that each particle foretells, in any unit, (n_particles, n_classes).
    temper : float
        Exponent of the likelihood [-].
    floor_frac : float
        Least share of a class [-].

    Returns
    -------
    array
        Log-likelihood but for a constant, (n_particles,). A particle without weeds foretells
        every class alike.

    Notes
    -----
    Multinomial; how many weeds there are plays no part. Tempering and floor are assumptions of this
    project (E). No range stated.

    Examples
    --------
    Six threads, eleven seed leaves, three with true leaves; one particle has most as seed leaves.

    >>> foretold = np.array([[30.0, 55.0, 15.0], [90.0, 10.0, 0.0]])
    >>> found = stage_mix_log_likelihood([6, 11, 3], foretold)
    >>> bool(found[0] > found[1])
    True
    """
    seen = np.asarray(counts, np.float64)
    weeds = np.asarray(shares, np.float64)
    whole = weeds.sum(axis=1, keepdims=True)
    even = np.full_like(weeds, 1.0 / weeds.shape[1])
    part = np.where(whole > _LEAST, weeds / np.maximum(whole, _LEAST), even)
    part = np.maximum(part, floor_frac)
    part /= part.sum(axis=1, keepdims=True)
    logs: FloatArray = temper * (np.log(part) @ seen)
    return logs


def seen_frac(
    density_m2: ArrayLike,
    area_m2: float,
    *,
    found_frac: float = SEEN_FRAC,
    false_frac: float = FALSE_FRAC,
) -> FloatArray:
    """Chance that a look at an area sees any.

    Parameters
    ----------
    density_m2 : array
        Weeds of the kind looked for [1/m2], any shape.
    area_m2 : float
        Area looked at [m2].
    found_frac : float
        Share of them that a look finds [-].
    false_frac : float
        Share of looks that see what is not there [-].

    Returns
    -------
    array
        Chance [-], of the shape of `density_m2`.

    Notes
    -----
    1 - (1 - false) exp(-found x density x area): places independent. Both shares are assumptions of
    this project (E). No range stated.

    Examples
    --------
    >>> seen_frac(np.array([0.0, 10.0]), 1.0).round(3).tolist()
    [0.02, 0.781]
    """
    expected = found_frac * area_m2 * np.maximum(np.asarray(density_m2, np.float64), 0.0)
    chance: FloatArray = 1.0 - (1.0 - false_frac) * np.exp(-expected)
    return chance


def sighting_log_likelihood(looks: Sequence[tuple[ArrayLike, bool]], area_m2: float) -> FloatArray:
    """How likely a run of looks is, of which each saw some or none.

    Parameters
    ----------
    looks : sequence of (array, bool)
        What each particle foretells for each look [1/m2], (n_particles,), and whether any was seen;
        none before and some at the last is a first sighting, censored to the days between.
    area_m2 : float
        Area looked at each time [m2].

    Returns
    -------
    array
        Log-likelihood, (n_particles,).

    Notes
    -----
    As `seen_frac`, look by look. "Nothing yet" counts as much as a sighting. No range stated.

    Examples
    --------
    None on one day, some two days on; the second particle has threads on both days.

    >>> late, early = np.array([0.0, 40.0]), np.array([30.0, 60.0])
    >>> found = sighting_log_likelihood([(late, False), (early, True)], 1.0)
    >>> bool(found[0] > found[1])
    True
    """
    logs = np.zeros(np.asarray(looks[0][0], np.float64).shape[0]) if looks else np.zeros(0)
    for density, has_seen in looks:
        chance = seen_frac(density, area_m2)
        logs = logs + np.log(np.maximum(chance if has_seen else 1.0 - chance, _LEAST))
    return logs


def fixed_counts_log_likelihood(
    counts: ArrayLike, expected: ArrayLike, *, clumping: float = CLUMPING
) -> FloatArray:
    """How likely counts of one and the same quadrat on several days are.

    Parameters
    ----------
    counts : array
        Weeds counted, (n_days,).
    expected : array
        Weeds that each particle foretells on the quadrat, (n_particles, n_days).
    clumping : float
        Shape of the gamma by which the quadrat differs from its bed [-].

    Returns
    -------
    array
        Log-likelihood but for a constant, (n_particles,).

    Notes
    -----
    Poisson on every day given one factor of the quadrat, gamma with mean 1 and the shape given,
    integrated out: the negative multinomial. So the growth from day to day tells of timing however
    rich the spot is. The shape is an assumption of this project (E). No range stated.

    Examples
    --------
    Twelve, then thirty: a particle in which the flush more than doubles is likelier than one in
    which it stands still, both on a spot twice as rich as the bed.

    >>> grows, stands = [[6.0, 15.0]], [[11.0, 11.0]]
    >>> bool(fixed_counts_log_likelihood([12, 30], grows)
    ...      > fixed_counts_log_likelihood([12, 30], stands))
    True
    """
    seen = np.asarray(counts, np.float64)
    mean = np.maximum(np.asarray(expected, np.float64), 1e-9)
    total = float(seen.sum())
    whole = np.log(clumping + mean.sum(axis=1))
    logs: FloatArray = np.log(mean) @ seen - (clumping + total) * whole
    return logs


def loose_counts_log_likelihood(
    counts: ArrayLike, expected: ArrayLike, *, clumping: float = CLUMPING
) -> FloatArray:
    """How likely counts of quadrats thrown anew each time are.

    Parameters
    ----------
    counts : array
        Weeds counted, (n_throws,).
    expected : array
        Weeds that each particle foretells on each, (n_particles, n_throws).
    clumping : float
        Shape of the gamma by which places of a bed differ [-].

    Returns
    -------
    array
        Log-likelihood but for a constant, (n_particles,).

    Notes
    -----
    Negative binomial, throws independent. Range and source as `fixed_counts_log_likelihood`.

    Examples
    --------
    For a single throw both kinds of quadrat tell the same.

    >>> one = loose_counts_log_likelihood([12], [[6.0], [24.0]])
    >>> same = fixed_counts_log_likelihood([12], [[6.0], [24.0]])
    >>> bool(np.allclose(one - same, (one - same)[0]))
    True
    """
    seen = np.asarray(counts, np.float64)
    whole = np.asarray(expected, np.float64)
    logs: FloatArray = np.sum(
        [
            fixed_counts_log_likelihood(seen[i : i + 1], whole[:, i : i + 1], clumping=clumping)
            for i in range(seen.size)
        ],
        axis=0,
    )
    return logs


def estimate_log_likelihood(
    seen_m2: float, density_m2: ArrayLike, *, clumping: float = ESTIMATE_CLUMPING
) -> FloatArray:
    """How likely a number of weeds per square metre is, as told by eye for a whole bed.

    Parameters
    ----------
    seen_m2 : float
        As told [1/m2].
    density_m2 : array
        What each particle foretells [1/m2], any shape.
    clumping : float
        Shape of the gamma by which the eye and the flush err [-].

    Returns
    -------
    array
        Log-likelihood but for a constant, of the shape of `density_m2`.

    Notes
    -----
    As a count on one square metre whose mean is off by a gamma factor. The shape is an assumption
    of this project (E). No range stated.

    Examples
    --------
    >>> told = estimate_log_likelihood(30.0, [3.0, 30.0, 300.0])
    >>> int(np.argmax(told))
    1
    """
    density = np.asarray(density_m2, np.float64)
    logs = loose_counts_log_likelihood([seen_m2], density.reshape(-1, 1), clumping=clumping)
    return logs.reshape(density.shape)


def range_log_likelihood(
    low_m2: float, high_m2: float, density_m2: ArrayLike, *, ln_sd: float = RANGE_LN_SD
) -> FloatArray:
    """How likely it is that a bed is called to have between so many and so many weeds.

    Parameters
    ----------
    low_m2, high_m2 : float
        Between these, 0 and infinity allowed [1/m2].
    density_m2 : array
        What each particle foretells [1/m2], any shape.
    ln_sd : float
        Standard deviation of the logarithm of what is called [-].

    Returns
    -------
    array
        Log-likelihood, of the shape of `density_m2`.

    Notes
    -----
    Lognormal about the density; none is as few. The spread is an assumption of this project (E). No
    range stated.

    Examples
    --------
    >>> few = range_log_likelihood(0.0, FEW_M2, [0.0, 5.0, 100.0])
    >>> np.exp(few).round(2).tolist()
    [1.0, 0.5, 0.0]
    """
    ln_density = np.log(np.maximum(np.asarray(density_m2, np.float64), 1e-6))

    def below(limit_m2: float) -> FloatArray:
        if limit_m2 <= 0.0:
            return np.zeros_like(ln_density)
        if np.isinf(limit_m2):
            return np.ones_like(ln_density)
        # the normal distribution by its logistic stand-in, within 0.01
        z = (np.log(limit_m2) - ln_density) / ln_sd
        return np.asarray(1.0 / (1.0 + np.exp(-np.clip(1.702 * z, -60.0, 60.0))))

    logs: FloatArray = np.log(np.maximum(below(high_m2) - below(low_m2), _LEAST))
    return logs
