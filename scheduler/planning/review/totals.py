"""Minutes of a season under its headings: planting, crop, tool, week and reason."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from scheduler.planning.review.costs import range_of
from scheduler.records import FloatArray, Range, ReviewTotal

SEASON = "season"
HEADINGS = (SEASON, "planting", "crop", "tool", "week", "reason")
EMPTY = "empty bed"


@dataclass(frozen=True)
class Row:
    """One window as the totals see it; costs (n_particles,) in minutes, None for nought."""

    planting: str
    crop: str | None
    on: date
    is_missed: bool
    reason: str | None = None
    tool: str | None = None
    cost_min: FloatArray | None = None
    yield_min: FloatArray | None = None


@dataclass(frozen=True)
class Work:
    """Minutes of one pass, or of one round by hand."""

    planting: str
    crop: str | None
    on: date
    machine_min: float = 0.0
    hand_min: float = 0.0
    tool: str | None = None
    saved_min: FloatArray | None = None  # (n_particles,) by hand, of a pass


@dataclass
class _Sum:
    n: int = 0
    missed: int = 0
    machine: float = 0.0
    hand: float = 0.0
    cost: list[FloatArray] = field(default_factory=list)
    lost: list[FloatArray] = field(default_factory=list)
    saved: list[FloatArray] = field(default_factory=list)


def totals_of(rows: Sequence[Row], work: Sequence[Work]) -> Mapping[str, tuple[ReviewTotal, ...]]:
    """The season's minutes under every heading.

    Parameters
    ----------
    rows : sequence of Row
        Every window.
    work : sequence of Work
        Every pass and every round by hand.

    Returns
    -------
    mapping
        By heading, the costliest first, weeks in order. A window counts for the tool that would
        have taken it; under `reason` stand missed windows alone; `season` is one row of all.

    Notes
    -----
    Costs are summed particle by particle, and the range is that of the sums: beds have their own
    luck, so it is narrower than the sum of the ranges; where a few have many weeds, its middle lies
    above the sum of the middles. Definition of this project. No range stated.

    Examples
    --------
    Two missed windows, lucky and unlucky in turn: each 2 to 8 min, together 10.

    >>> one, other = np.array([2.0, 8.0]), np.array([8.0, 2.0])
    >>> day = date(2013, 5, 8)
    >>> rows = [
    ...     Row("A1 beet", "beet", day, True, "never_fit", "hoe", one, 0 * one),
    ...     Row("A2 beet", "beet", day, True, "no_hours", "hoe", other, 0 * one),
    ... ]
    >>> crop = totals_of(rows, [Work("A1 beet", "beet", day, 4.0, tool="hoe")])["crop"][0]
    >>> crop.name, crop.n_missed, crop.cost_min.low, crop.cost_min.high, crop.machine_min
    ('beet', 2, 10.0, 10.0, 4.0)
    """
    keys: Mapping[str, tuple[Callable[[Row], str | None], Callable[[Work], str | None]]] = {
        SEASON: (lambda r: SEASON, lambda w: SEASON),
        "planting": (lambda r: r.planting, lambda w: w.planting),
        "crop": (lambda r: r.crop or EMPTY, lambda w: w.crop or EMPTY),
        "tool": (lambda r: r.tool, lambda w: w.tool),
        "week": (lambda r: _week(r.on), lambda w: _week(w.on)),
        "reason": (lambda r: r.reason if r.is_missed else None, lambda w: None),
    }
    found: dict[str, tuple[ReviewTotal, ...]] = {}
    for heading, (of_row, of_work) in keys.items():
        sums: dict[str, _Sum] = {}
        for row in rows:
            name = of_row(row)
            if name is None:
                continue
            total = sums.setdefault(name, _Sum())
            total.n += 1
            total.missed += row.is_missed
            if row.is_missed and row.cost_min is not None and row.yield_min is not None:
                total.cost.append(row.cost_min)
                total.lost.append(row.yield_min)
        for each in work:
            name = of_work(each)
            if name is None:
                continue
            total = sums.setdefault(name, _Sum())
            total.machine += each.machine_min
            total.hand += each.hand_min
            if each.saved_min is not None:
                total.saved.append(each.saved_min)
        of_heading = [_total(name, total) for name, total in sums.items()]
        if heading == "week":
            of_heading.sort(key=lambda t: t.name)
        else:
            of_heading.sort(key=lambda t: (-t.cost_min.mid, -t.machine_min, t.name))
        found[heading] = tuple(of_heading)
    return found


def _total(name: str, total: _Sum) -> ReviewTotal:
    return ReviewTotal(
        name,
        total.n,
        total.missed,
        _range_of_sum(total.cost),
        _range_of_sum(total.lost),
        total.machine,
        total.hand,
        _range_of_sum(total.saved),
    )


def _range_of_sum(values: Sequence[FloatArray]) -> Range:
    return range_of(np.sum(values, axis=0) if values else np.zeros(1))


def _week(on: date) -> str:
    """The Monday of a day's week."""
    return (on - timedelta(days=on.weekday())).isoformat()
