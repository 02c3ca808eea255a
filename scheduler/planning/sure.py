"""What `sure` is told as: the members' own figure, put right by what lines like it were worth.

Only the figure that is told changes; what goes on the list is decided on the members' own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.planning.day import tenths
from scheduler.records import BedAnswer

Knots = Sequence[tuple[float, float]]
"""(stated, told) [-], in order of what was stated, from 0 to 1; straight between."""

_LEAST_LINES = 20  # lines tried, before a farm's own record changes anything
_PRIOR_LINES = 20.0  # lines that held as stated, which the record is weighed against
_LEAST_OFF = 0.02  # of it, below which a change is left out


@dataclass(frozen=True)
class OwnRecord:
    """Lines of a farm's own lists that were tried, and what is kept of `sure` after them.

    `n_meant` is the sum of what they said, `n_fit` how many found the soil fit; `kept_frac` is 1
    where nothing is to be changed.
    """

    n_lines: int
    n_meant: float
    n_fit: int
    kept_frac: float

    @property
    def is_moving(self) -> bool:
        """Whether it changes what is told."""
        return self.kept_frac < 1.0


NO_RECORD = OwnRecord(0, 0.0, 0, 1.0)


def recalibrated(stated: float, knots: Knots) -> float:
    """A chance as it is told.

    Parameters
    ----------
    stated : float
        As computed [-], 0 to 1.
    knots : sequence of (float, float)
        Stated and told [-], at least two, the stated rising from 0 to 1.

    Returns
    -------
    float
        Told [-]: straight between the knots.

    Raises
    ------
    ValueError
        If the knots do not rise from 0 to 1, or what is told falls or leaves 0 to 1.

    Notes
    -----
    Definition of this project; range 0 to 1.

    Examples
    --------
    >>> recalibrated(0.95, [(0.0, 0.0), (0.9, 0.8), (1.0, 0.9)])
    0.85
    >>> recalibrated(0.7, [(0.0, 0.0), (1.0, 1.0)])
    0.7
    """
    at = np.array([knot[0] for knot in knots])
    told = np.array([knot[1] for knot in knots])
    is_whole = at.size >= 2 and at[0] == 0.0 and at[-1] == 1.0
    if not is_whole or (np.diff(at) <= 0.0).any():
        raise ValueError(f"knots: stated must rise from 0 to 1, found {at.tolist()}")
    if (np.diff(told) < 0.0).any() or told[0] < 0.0 or told[-1] > 1.0:
        raise ValueError(f"knots: told must not fall nor leave 0 to 1, found {told.tolist()}")
    if (at == told).all():
        return stated
    return float(np.interp(stated, at, told))


def own_record(stated: Sequence[float], was_fit: Sequence[bool]) -> OwnRecord:
    """What a farm's own tried lines leave of `sure`.

    Parameters
    ----------
    stated : sequence of float
        What each line said, after the program's own recalibration [-].
    was_fit : sequence of bool
        Whether the soil was found fit there.

    Returns
    -------
    OwnRecord
        Counts, and the share to keep [-].

    Notes
    -----
    `sure` is the chance of soil that is fit and of a pass that beats leaving it, so that more
    lines must find fit soil than it says: fewer tell that it says too much, more tell nothing, and
    it is never raised. The share kept is (n_fit + k * mean stated) / ((n + k) * mean stated), at
    most 1, with k = 20 lines that held; under 20 lines, or less than a fiftieth off, nothing
    changes. Assumptions of this project. No range stated.

    Examples
    --------
    >>> own_record([0.9] * 30, [True] * 27 + [False] * 3).kept_frac
    1.0
    >>> record = own_record([0.9] * 30, [True] * 18 + [False] * 12)
    >>> record.n_fit, round(record.n_meant, 3), record.kept_frac
    (18, 27.0, 0.8)
    >>> own_record([0.9] * 19, [False] * 19).kept_frac
    1.0
    """
    n, n_meant, n_fit = len(stated), float(sum(stated)), sum(map(bool, was_fit))
    if n < _LEAST_LINES or n_meant <= 0.0:
        return OwnRecord(n, n_meant, n_fit, 1.0)
    mean = n_meant / n
    kept = (n_fit + _PRIOR_LINES * mean) / ((n + _PRIOR_LINES) * mean)
    return OwnRecord(n, n_meant, n_fit, 1.0 if kept > 1.0 - _LEAST_OFF else round(kept, 6))


def told_sure(stated: float, is_weighed: bool, knots: Knots, own: OwnRecord = NO_RECORD) -> float:
    """`sure` of a line as it is told.

    Parameters
    ----------
    stated : float
        As the members say [-].
    is_weighed : bool
        Whether it says that going beats leaving, too; the knots are of such lines. A crust to be
        broken and a mat to be cleaned up tell of the soil alone.
    knots : sequence of (float, float)
        Of the program.
    own : OwnRecord
        Of the farm.

    Returns
    -------
    float
        Told [-].

    Notes
    -----
    As `recalibrated` and `own_record`. Definition of this project. No range stated.

    Examples
    --------
    >>> knots = [(0.0, 0.0), (1.0, 0.8)]
    >>> told_sure(0.5, True, knots), told_sure(0.5, False, knots)
    (0.4, 0.5)
    """
    put_right = recalibrated(stated, knots) if is_weighed else stated
    return put_right * own.kept_frac


def with_told_sure(answer: BedAnswer, knots: Knots, own: OwnRecord = NO_RECORD) -> BedAnswer:
    """A verdict with `sure` as it is told.

    Parameters
    ----------
    answer : BedAnswer
        As decided: `sure` is the members' own.
    knots, own
        As in `told_sure`.

    Returns
    -------
    BedAnswer
        The very same where nothing changes; else `sure` told, the members' own kept beside it, and
        why in the details.

    Notes
    -----
    As `told_sure`. Worked: tests/planning/test_sure.py.
    """
    if answer.sure is None:
        return answer
    told = told_sure(answer.sure, is_weighed(answer), knots, own)
    if told == answer.sure:
        return answer
    details = (*answer.details, *_why(answer, answer.sure, told, knots, own))
    return replace(answer, sure=told, sure_of_members=answer.sure, details=details)


def _why(
    answer: BedAnswer, stated: float, told: float, knots: Knots, own: OwnRecord
) -> tuple[str, ...]:
    """Why another figure is told than the members say; nothing where it reads the same."""
    if tenths(stated) == tenths(told):
        return ()
    words = [f"sure: by the members alone {tenths(stated)}"]
    if is_weighed(answer):
        came = tenths(recalibrated(stated, knots))
        words.append(f"in seasons played on other weather {came} of such lines came true")
    if own.is_moving:
        words.append(own_words(own))
    return ("; ".join(words),)


def is_weighed(answer: BedAnswer) -> bool:
    """Whether a line's `sure` says that going beats leaving it, not of fit soil alone.

    Parameters
    ----------
    answer : BedAnswer
        A verdict.

    Returns
    -------
    bool
        True where minutes saved are told.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_sure.py.
    """
    return "saved" in (answer.minutes or {})


def own_words(own: OwnRecord) -> str:
    """What a farm's own record says, in one clause.

    Parameters
    ----------
    own : OwnRecord
        Of the farm.

    Returns
    -------
    str
        With its counts; it tells of workable soil alone.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> own_words(own_record([0.9] * 30, [True] * 18 + [False] * 12))
    'of your 30 tried lines 18 found the soil fit where 27 were to: sure is told lower for it'
    """
    return (
        f"of your {own.n_lines} tried lines {own.n_fit} found the soil fit where "
        f"{own.n_meant:.0f} were to: sure is told lower for it"
    )
