"""What squeezed handfuls teach of one soil: its members' weights, and where their thresholds lie.

No member is the soil of the farm, so weighing alone ends at the nearest of them. A threshold that
may lie a little higher or lower in every member is weighed with them, and moved to its mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.models.squeeze import FEELS, feel_frac
from scheduler.planning.draws import tempered_weights
from scheduler.planning.ensemble import ShiftPrior, SoilMembers
from scheduler.records import BoolArray, FloatArray

SHIFT_SD_M3M3 = 0.02  # of the threshold beside that of the member
_SHIFT_MOST_SD = 4.0
_N_SHIFTS = 33
_VERY_WET_M3M3 = (0.0, 0.015, 0.03, 0.06, np.inf)  # growers differ: from where one says wet
_LAPSE_FRAC = 0.05  # of entries that say anything: wrong bed, wrong day, wrong word
_DOUBTED_FRAC = 0.03  # chance of a word, by all else, below which the entry is not learned from
_WHEELS_SHARE = 0.5  # of a shift, that the limit under wheels moves by


@dataclass(frozen=True)
class Handful:
    """One squeeze test against the members of its soil, each (n_members,)."""

    feel: str
    excess_m3m3: FloatArray  # water above the working threshold, as drawn
    is_hard: BoolArray
    share: float = 1.0  # all that was found in one half-day counts as one visit


@dataclass(frozen=True)
class Squeezed:
    """What handfuls and passes say of the members of one soil."""

    weights: FloatArray  # (n_members,), sum 1
    shift_m3m3: FloatArray  # (n_members,): above nought it can be worked wetter than drawn
    doubted: tuple[int, ...]  # places of the handfuls that contradict all else
    shift_sd_m3m3: FloatArray  # (n_members,): what is left open of it


AS_DRAWN = ShiftPrior(0.0, SHIFT_SD_M3M3)


def squeezed(
    handfuls: Sequence[Handful],
    others: FloatArray,
    least: float,
    thought: ShiftPrior = AS_DRAWN,
) -> Squeezed:
    """Weights and thresholds of a soil's members after its squeeze tests.

    Parameters
    ----------
    handfuls : sequence of Handful
        At least one.
    others : array
        Log-likelihood of the members by what else was found on the soil, (n_members,).
    least : float
        Least effective number of members.
    thought : ShiftPrior
        Of the shift, before these handfuls.

    Returns
    -------
    Squeezed
        Weights, shift of the threshold by member, and doubted handfuls.

    Notes
    -----
    Joint in the member, the shift of its threshold (normal, on a grid) and the excess from which
    this grower says `wet` instead of `smears` (five values, alike at first). A word is
    as likely as `feel_frac` says, but one entry in twenty says anything. The member keeps the mean
    of its shift. A handful whose word all the others, and the members, give a chance below 0.03 is
    doubted and left out, the least likely first, until none is; three or more that agree with each
    other against the members are believed. Assumptions of this project after a simulation study
    (tests/planning/test_squeeze_study.py). No range stated.

    Examples
    --------
    Three mornings it smears where both members call it fit: both thresholds go down.

    >>> fit = Handful("smears", np.array([-0.01, -0.03]), np.zeros(2, bool))
    >>> found = squeezed([fit] * 3, np.zeros(2), 1.0)
    >>> bool(np.all(found.shift_m3m3 < -0.01)), bool(found.weights[0] > found.weights[1])
    (True, True)
    >>> found.doubted
    ()
    """
    shift = SHIFT_SD_M3M3 * np.linspace(-_SHIFT_MOST_SD, _SHIFT_MOST_SD, _N_SHIFTS)
    prior = others[:, None] - 0.5 * ((shift - thought.mean_m3m3) / thought.sd_m3m3) ** 2
    chances = [_chances(handful, shift) for handful in handfuls]
    logs = [
        handful.share * np.log((1.0 - _LAPSE_FRAC) * chance + _LAPSE_FRAC / len(FEELS))
        for handful, chance in zip(handfuls, chances, strict=True)
    ]
    kept = list(range(len(handfuls)))
    while kept:
        whole = prior + sum(logs[i] for i in kept)
        foretold = [float((_normed(whole - logs[i]) * chances[i]).sum()) for i in kept]
        worst = int(np.argmin(foretold))
        if foretold[worst] >= _DOUBTED_FRAC:
            break
        del kept[worst]
    whole = prior + sum((logs[i] for i in kept), np.zeros_like(chances[0]))
    by_member = np.logaddexp.reduce(np.logaddexp.reduce(whole, axis=2), axis=0)
    of_shift = np.exp(np.logaddexp.reduce(whole, axis=0) - by_member[:, None])
    doubted = tuple(i for i in range(len(handfuls)) if i not in kept)
    moved = of_shift @ shift if kept else np.full(others.size, thought.mean_m3m3)
    left = np.sqrt((of_shift * (shift - moved[:, None]) ** 2).sum(axis=1))
    weights, _ = tempered_weights(by_member, least / by_member.size)
    return Squeezed(weights, moved, doubted, left)


def _chances(handful: Handful, shift: FloatArray) -> FloatArray:
    """Chance of its word by grower, member and shift, (5, n_members, n_shifts)."""
    excess = handful.excess_m3m3[None, :, None] - shift
    cuts = np.array(_VERY_WET_M3M3)[:, None, None]
    return feel_frac(handful.feel, excess, handful.is_hard[None, :, None], cuts)


def _normed(logs: FloatArray) -> FloatArray:
    part = np.exp(logs - logs.max())
    normed: FloatArray = part / part.sum()
    return normed


def moved_members(members: SoilMembers, shift_m3m3: FloatArray) -> SoilMembers:
    """The members of a soil with their thresholds moved.

    Parameters
    ----------
    members : SoilMembers
        As drawn.
    shift_m3m3 : array
        By which each can be worked wetter than drawn [m3/m3], (n_members,).

    Returns
    -------
    SoilMembers
        The same columns. The working threshold moves by the whole shift, but not down to the dry
        limit nor above saturation; the ceiling only where the threshold would pass it; the limit
        under wheels, at 50-100 mm, by half.

    Notes
    -----
    Half, because what makes members differ at 0-30 mm makes them differ about half as much there
    (slope 0.2 to 0.8 over four textures in the simulation study). Definition of this project. No
    range stated.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> drawn = [np.array([x]) for x in (0.30, 0.31, 0.34, 0.2)]
    >>> column = SimpleNamespace(theta_sat_m3m3=np.array([0.45]))
    >>> moved = moved_members(SoilMembers(column, *drawn), np.array([0.02]))
    >>> round(float(moved.working_m3m3[0]), 3), round(float(moved.wheel_m3m3[0]), 3)
    (0.32, 0.32)
    """
    p = members.parameters
    least = np.minimum(members.working_m3m3, members.dry_limit_m3m3 + SHIFT_SD_M3M3)
    working = np.clip(members.working_m3m3 + shift_m3m3, least, p.theta_sat_m3m3)
    return replace(
        members,
        working_m3m3=working,
        wheel_m3m3=members.wheel_m3m3 + _WHEELS_SHARE * shift_m3m3,
        ceiling_m3m3=np.maximum(members.ceiling_m3m3, working),
    )
