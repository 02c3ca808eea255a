"""How good the program was: chances against what came true, ranges against what was seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.planning.day import tenths
from scheduler.records import FloatArray, Score

_EDGES = (0.2, 0.4, 0.6, 0.8)  # between the bins of stated chance
_FEW = 10  # under which a score is said to rest on few


@dataclass(frozen=True)
class Seen:
    """A range that was told and a value that was seen, in one unit."""

    low: float
    mid: float
    high: float
    seen: float


def chance_score(what: str, stated: FloatArray, came_true: FloatArray, of: str) -> Score:
    """Stated chances against what came true.

    Parameters
    ----------
    what : str
        What was told.
    stated : array
        Chances, (n,) [-].
    came_true : array
        1 where it came true, else 0, (n,).
    of : str
        What is counted, as "visits".

    Returns
    -------
    Score
        Brier score, bins of stated chance, and what they mean in a sentence.

    Notes
    -----
    Brier: mean of (stated - came)^2; 0 is perfect, 0.25 is a coin. Where all came true, or none
    did, the sentence says that the chances were only tried from one side. Definition of this
    project. No range stated.

    Examples
    --------
    >>> stated = np.array([0.9, 0.9, 0.1])
    >>> score = chance_score("soil fit", stated, np.array([1.0, 0.0, 0.0]), "visits")
    >>> round(score.brier, 3), score.bins
    (0.277, ((0.1, 0.0, 1), (0.9, 0.5, 2)))
    >>> score.words
    'few data: 3 visits; told 9 in 10 or more true 1 of 2 times; told 1 in 10 true 0 of 1 times'
    """
    n = int(stated.size)
    if n == 0:
        return Score(what, 0, f"no {of} to hold it against")
    which = np.searchsorted(np.array(_EDGES), stated, side="right")
    bins = []
    told = []
    for k in range(len(_EDGES) + 1):
        inside = which == k
        if not inside.any():
            continue
        mean, share, many = (
            float(stated[inside].mean()),
            float(came_true[inside].mean()),
            int(inside.sum()),
        )
        bins.append((round(mean, 6), round(share, 6), many))
        told.append((mean, int(came_true[inside].sum()), many))
    words = [
        f"told {_chance_words(mean)} true {true} of {many} times" for mean, true, many in told[::-1]
    ]
    few = f"few data: {n} {of}; " if n < _FEW else f"{n} {of}; "
    one_sided = ""
    if came_true.min() == came_true.max():
        side = "fit" if came_true.max() > 0.0 else "unfit"
        one_sided = f"; none was found otherwise than {side}, so the other side is untried"
    brier = float(np.mean((stated - came_true) ** 2))
    return Score(what, n, few + "; ".join(words) + one_sided, brier, tuple(bins))


def range_score(
    what: str,
    seen: Sequence[Seen],
    of: str,
    unit: str,
    ways: tuple[str, str] = ("more", "less"),
) -> Score:
    """Ranges that were told against what was seen.

    Parameters
    ----------
    what : str
        What was told.
    seen : sequence of Seen
        Range and value, in one unit.
    of : str
        What is counted, as "crops seen up".
    unit : str
        As "days".
    ways : tuple of str
        Words for what was seen beyond what was told, and short of it.

    Returns
    -------
    Score
        Coverage of the ranges (8 in 10 is right) and the mean error, in a sentence.

    Notes
    -----
    Error: seen less the middle told; below nought it came earlier, or was less. What was told to
    lie beyond sight has no error. Definition of this project. No range stated.

    Examples
    --------
    >>> seen = [Seen(8, 10, 12, 11), Seen(8, 10, 12, 14)]
    >>> print(range_score("up", seen, "crops seen up", "days", ("later", "earlier")).words)
    few data: 2 crops seen up; 1 of 2 inside the range told, where 8 in 10 are to be; on average
    2.5 days later than its middle, off by 2.5 either way
    """
    n = len(seen)
    if n == 0:
        return Score(what, 0, f"no {of} to hold it against")
    error = np.array([s.seen - s.mid for s in seen if np.isfinite(s.mid)])
    inside = sum(s.low <= s.seen <= s.high for s in seen)
    few = "few data: " if n < _FEW else ""
    words = f"{few}{n} {of}; {inside} of {n} inside the range told, where 8 in 10 are to be"
    if error.size:
        mean = float(error.mean())
        way = ways[0] if mean >= 0.0 else ways[1]
        words += (
            f"; on average {abs(mean):.1f} {unit} {way} than its middle, off by "
            f"{float(np.abs(error).mean()):.1f} either way"
        )
    return Score(what, n, words)


def _chance_words(mean: float) -> str:
    words = tenths(mean)
    return f"{words} or more" if mean >= _EDGES[-1] and not words.startswith("over") else words
