"""From played seasons to figures: gains, frontiers, shares, bins. Nothing is played here.

Total minutes are those by hand and half of those with the machine; the whole holds the stand lost
besides. Minutes with the machine hold passes, set-ups and visits in vain. Where a best fixed rule
is named it was chosen afterwards, for each weather, which is in its favour.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tests.season.played import Played

Array = NDArray[np.float64]
Knots = Sequence[tuple[float, float]]  # stated and told

MACHINE_PRICE = 0.5
NEVER, CALENDAR, SINGLE, ATTENTIVE, WEEKLY, WORKABLE, OURS, LOOKING, ORACLE, ABLATION = (
    "never",
    "calendar",
    "one tool",
    "attentive",
    "weekly",
    "workable",
    "ours",
    "ours with looks",
    "oracle",
    "ablation",
)
FIXED = (NEVER, CALENDAR, SINGLE, ATTENTIVE, WEEKLY, WORKABLE)
BIN_EDGES = (0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0)
PAIR = ["weather", "truth"]


def frame(rows: Sequence[Played]) -> pd.DataFrame:
    """Rows as a table, with the sums that are compared."""
    table = pd.DataFrame([asdict(row) for row in rows])
    if table.empty:
        return table
    table["tractor_min"] = table["machine_min"] + table["vain_min"]
    table["total_min"] = table["hand_min"] + MACHINE_PRICE * table["tractor_min"]
    table["whole_min"] = table["total_min"] + table["stand_lost_min"]
    return table


def three(values: pd.Series | Array) -> tuple[float, float, float]:
    """Median, 10 and 90 %."""
    low, mid, high = np.quantile(np.asarray(values, dtype=float), [0.1, 0.5, 0.9])
    return float(mid), float(low), float(high)


# ------------------------------------------------------------------ frontiers


def frontier(machine_min: Array, hand_min: Array) -> Callable[[float], float]:
    """Least minutes by hand that a mix of rules leaves, as a function of minutes with the machine.

    The lower convex hull of the points (a farm may keep one rule in some beds and another in the
    rest), never rising: who has more minutes than the last rule uses may leave them.
    """
    order = np.lexsort((hand_min, machine_min))
    hull: list[tuple[float, float]] = []
    for x, y in zip(machine_min[order], hand_min[order], strict=True):
        if hull and x == hull[-1][0]:
            continue
        while len(hull) >= 2:
            (x1, y1), (x2, y2) = hull[-2], hull[-1]
            if (y2 - y1) * (x - x1) < (y - y1) * (x2 - x1):
                break
            hull.pop()
        hull.append((float(x), float(y)))
    xs = np.array([p[0] for p in hull])
    ys = np.minimum.accumulate(np.array([p[1] for p in hull]))
    return lambda machine: float(np.interp(machine, xs, ys))


def means_by_rule(table: pd.DataFrame, families: Sequence[str]) -> pd.DataFrame:
    """Means over truths of each rule of some families; the table is of one weather and budget."""
    held = table[table["family"].isin(list(families))]
    columns = ["hand_min", "tractor_min", "total_min", "whole_min"]
    return held.groupby("rule")[columns].mean()


def frontier_gain(table: pd.DataFrame, rule: str, families: Sequence[str]) -> float:
    """Share of minutes by hand saved against the frontier of fixed rules at our machine minutes.

    The table is of one weather and budget; only truths that every rule has played count.
    """
    table = common_truths(table, families, [rule])
    ours = table[table["rule"] == rule][["hand_min", "tractor_min"]].mean()
    points = means_by_rule(table, [*families, NEVER])
    if points.empty or np.isnan(ours["hand_min"]):
        return float("nan")
    at = frontier(points["tractor_min"].to_numpy(), points["hand_min"].to_numpy())
    return 1.0 - float(ours["hand_min"]) / at(float(ours["tractor_min"]))


def common_truths(
    table: pd.DataFrame, families: Sequence[str], rules: Sequence[str] = ()
) -> pd.DataFrame:
    """Rows of the truths that all the rules of these families, and `rules`, have played."""
    is_meant = table["family"].isin([*families, NEVER]) | table["rule"].isin(list(rules))
    held = table[is_meant]
    truths: set[object] | None = None
    for _, part in held.groupby("rule"):
        here = set(map(tuple, part[PAIR].to_numpy()))
        truths = here if truths is None else truths & here
    is_common = [tuple(pair) in (truths or set()) for pair in held[PAIR].to_numpy()]
    return held[is_common]


def undominated(table: pd.DataFrame, family: str) -> list[str]:
    """Rules of a family that no other one beats by hand and with the machine alike, on means."""
    means = means_by_rule(table, [family])
    hand, machine = means["hand_min"].to_numpy(), means["tractor_min"].to_numpy()
    kept = []
    for i, rule in enumerate(means.index):
        is_beaten = (hand <= hand[i]) & (machine <= machine[i])
        is_beaten &= (hand < hand[i]) | (machine < machine[i])
        if not is_beaten.any():
            kept.append(str(rule))
    return kept


# ------------------------------------------------------------------ gains


def best_rule(table: pd.DataFrame, families: Sequence[str], by: str = "hand_min") -> str | None:
    """The rule of some families with the least mean over truths; one weather and budget."""
    means = means_by_rule(common_truths(table, families), families)
    return None if means.empty else str(means[by].idxmin())


@dataclass(frozen=True)
class Gain:
    """What a rule saves against another, by pair of weather and truth; shares."""

    by_pair: pd.Series
    machine_share: float  # minutes with the machine over those of the other

    @property
    def mean(self) -> float:
        """Mean over the pairs."""
        return float(self.by_pair.mean()) if self.by_pair.size else float("nan")

    @property
    def lower_tenth(self) -> float:
        """10 % of the truths, weathers pooled."""
        return float(self.by_pair.quantile(0.1)) if self.by_pair.size else float("nan")

    @property
    def upper_tenth(self) -> float:
        """90 % of the truths, weathers pooled."""
        return float(self.by_pair.quantile(0.9)) if self.by_pair.size else float("nan")

    @property
    def worse_share(self) -> float:
        """Share of pairs in which nothing is saved."""
        return float((self.by_pair < 0.0).mean()) if self.by_pair.size else float("nan")


def gain_over_best(
    table: pd.DataFrame, rule: str, families: Sequence[str], what: str = "hand_min"
) -> Gain:
    """What `rule` saves against the best of some families, named afterwards for each weather.

    The table is of one budget.
    """
    parts, machine, other_machine = [], [], []
    for _, here in table.groupby("weather"):
        other = best_rule(here, families, by=what)
        ours = here[here["rule"] == rule].set_index(PAIR)
        if other is None or ours.empty:
            continue
        theirs = here[here["rule"] == other].set_index(PAIR)
        both = ours.index.intersection(theirs.index)
        parts.append(1.0 - ours.loc[both, what] / theirs.loc[both, what])
        machine.append(ours.loc[both, "tractor_min"].to_numpy())
        other_machine.append(theirs.loc[both, "tractor_min"].to_numpy())
    if not parts:
        return Gain(pd.Series(dtype=float), float("nan"))
    ours_min = np.concatenate(machine).sum()
    theirs_min = np.concatenate(other_machine).sum()
    share = float(ours_min / theirs_min) if theirs_min > 0.0 else float("nan")
    return Gain(pd.concat(parts), share)


def oracle_share(table: pd.DataFrame, rule: str, oracle: str) -> float:
    """Share of the oracle's gain in total minutes over the best fixed rule; one budget.

    NaN where the oracle gains nothing.
    """
    table = common_truths(table, FIXED, [rule, oracle])
    fixed, ours, best = 0.0, 0.0, 0.0
    for _, here in table.groupby("weather"):
        means = here.groupby("rule")["total_min"].mean()
        if rule not in means or oracle not in means:
            continue
        fixed += float(means_by_rule(here, FIXED)["total_min"].min())
        ours += float(means[rule])
        best += float(means[oracle])
    return (fixed - ours) / (fixed - best) if fixed > best else float("nan")


# ------------------------------------------------------------------ sure


@dataclass(frozen=True)
class Bin:
    """Lines stated within one span, and the share of them that came true."""

    low: float
    high: float
    n_lines: int
    stated: float
    came_true: float


def sure_bins(
    table: pd.DataFrame, edges: Sequence[float] = BIN_EDGES, knots: Knots | None = None
) -> list[Bin]:
    """Lines of a rule by what they stated; the last bin holds its upper edge.

    With `knots` by what they are told as.
    """
    stated = np.array([s for row in table["stated"] for s in row], dtype=float)
    if knots is not None:
        stated = np.interp(stated, [k[0] for k in knots], [k[1] for k in knots])
    came = np.array([c for row in table["came_true"] for c in row], dtype=bool)
    bins = []
    for low, high in pairwise(edges):
        is_in = (stated >= low) & ((stated < high) | ((high == edges[-1]) & (stated <= high)))
        n = int(is_in.sum())
        nan = float("nan")
        bins.append(
            Bin(
                low,
                high,
                n,
                float(stated[is_in].mean()) if n else nan,
                float(came[is_in].mean()) if n else nan,
            )
        )
    return bins


# ------------------------------------------------------------------ ablations


@dataclass(frozen=True)
class Change:
    """What taking one part away changes, shares of the whole rule's minutes; + is worse."""

    rule: str
    n_pairs: int
    total: float
    total_se: float
    hand: float
    machine: float
    vain_min: float
    n_passes: float


def ablation_changes(table: pd.DataFrame, whole: str) -> list[Change]:
    """Each ablation against the whole rule on the same pairs; one budget."""
    base = table[table["rule"] == whole].set_index(PAIR)
    changes = []
    for rule, part in table[table["family"] == ABLATION].groupby("rule", sort=False):
        here = part.set_index(PAIR)
        both = here.index.intersection(base.index)
        if not len(both):
            continue
        a, b = here.loc[both], base.loc[both]
        by_pair = (a["total_min"] / b["total_min"] - 1.0).to_numpy()
        se = float(by_pair.std(ddof=1) / np.sqrt(by_pair.size)) if by_pair.size > 1 else np.nan
        changes.append(
            Change(
                str(rule),
                len(both),
                float(a["total_min"].sum() / b["total_min"].sum() - 1.0),
                se,
                float(a["hand_min"].sum() / b["hand_min"].sum() - 1.0),
                float(a["tractor_min"].sum() / max(b["tractor_min"].sum(), 1e-9) - 1.0),
                float((a["vain_min"] - b["vain_min"]).mean()),
                float((a["n_passes"] - b["n_passes"]).mean()),
            )
        )
    return changes
