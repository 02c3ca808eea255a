"""Fit how `sure` is told to what lines came to: `python -m tests.season.recalibrate [--write]`.

Fitted on seasons of tuning alone (`python -m tests.season --tuning --only ours`), shown on those
and on the judging seasons that are on file. Straight between knots and never falling, by least
squares on the lines; some lines as stated at each knot stand against few. `--write` puts the knots
into `scheduler/reference/sure.csv`, with the spread over seasons drawn anew.
"""

from __future__ import annotations

import argparse
import csv
import io
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import nnls

from tests.season import figures, played, stage

Array = NDArray[np.float64]

TABLE = played.PROGRAM / "reference" / "sure.csv"
GRID = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0)
LEAST_A_KNOT = 100.0  # lines in reach of it: a knot with fewer lies between its neighbours
AS_STATED = 25.0  # lines at each knot that hold as stated
N_DRAWS = 200
SEED = 20130514


@dataclass(frozen=True)
class Lines:
    """Lines of lists, each once: stated, whether it came true, and the season it is of."""

    stated: Array
    came_true: Array
    season: NDArray[np.int64]

    @property
    def n(self) -> int:
        """Their number."""
        return int(self.stated.size)


def lines_of(table: pd.DataFrame) -> Lines:
    """All lines of some rows; what one truth shows under one weather is one season."""
    if table.empty:
        return Lines(np.zeros(0), np.zeros(0), np.zeros(0, np.int64))
    season = table.groupby(figures.PAIR).ngroup().to_numpy()
    counts = [len(row) for row in table["stated"]]
    return Lines(
        np.array([s for row in table["stated"] for s in row], dtype=float),
        np.array([c for row in table["came_true"] for c in row], dtype=float),
        np.repeat(season, counts),
    )


def reach(stated: Array, at: Sequence[float]) -> Array:
    """Share that each knot has in each line, (n_lines, n_knots): straight between neighbours."""
    knots = np.eye(len(at))
    return np.stack([np.interp(stated, at, knot) for knot in knots], axis=1)


def kept_knots(lines: Lines, grid: Sequence[float] = GRID) -> Array:
    """Points of the grid with lines enough in reach, and both ends."""
    is_kept = reach(lines.stated, grid).sum(axis=0) >= LEAST_A_KNOT
    is_kept[[0, -1]] = True
    kept: Array = np.array(grid)[is_kept]
    return kept


def fitted(lines: Lines, grid: Sequence[float] = GRID, as_stated: float = AS_STATED) -> Array:
    """What is told at each point of the grid, never falling, within 0 and 1."""
    at = kept_knots(lines, grid)
    share = reach(lines.stated, at.tolist())
    return _told(share.T @ share, share.T @ lines.came_true, at, grid, as_stated)


def _told(squares: Array, came: Array, at: Array, grid: Sequence[float], as_stated: float) -> Array:
    """The never falling values of least squares out of its sums, `as_stated` lines at each knot."""
    steps = np.tril(np.ones((at.size, at.size)))  # values at the knots from rises between them
    whole = squares + as_stated * np.eye(at.size)
    root = np.linalg.cholesky(whole).T  # the squares of root @ x are those of all lines
    rise, _ = nnls(root @ steps, np.linalg.solve(root.T, came + as_stated * at))
    told: Array = np.interp(grid, at, np.clip(np.cumsum(rise), 0.0, 1.0))
    return told


def spread(lines: Lines, grid: Sequence[float] = GRID, n_draws: int = N_DRAWS) -> Array:
    """10 and 90 % of what is told when the seasons are drawn anew, (2, n_grid)."""
    rng = np.random.default_rng(SEED)
    at = kept_knots(lines, grid)
    share = reach(lines.stated, at.tolist())
    squares, came = [], []
    for season in np.unique(lines.season):
        is_of = lines.season == season
        squares.append(share[is_of].T @ share[is_of])
        came.append(share[is_of].T @ lines.came_true[is_of])
    drawn = []
    for _ in range(n_draws):
        times = np.bincount(rng.integers(0, len(came), len(came)), minlength=len(came))
        drawn.append(
            _told(
                np.tensordot(times, np.array(squares), axes=1),
                times @ np.array(came),
                at,
                grid,
                AS_STATED,
            )
        )
    low_high: Array = np.quantile(np.array(drawn), [0.1, 0.9], axis=0)
    return low_high


def left_out(table: pd.DataFrame) -> list[figures.Bin]:
    """Bins of tuning lines told by what the other weathers teach."""
    parts = []
    for weather in table["weather"].unique():
        told = fitted(lines_of(table[table["weather"] != weather]))
        part = table[table["weather"] == weather].copy()
        part["stated"] = [tuple(np.interp(row, GRID, told)) for row in part["stated"]]
        parts.append(part)
    return figures.sure_bins(pd.concat(parts))


# ------------------------------------------------------------------ table


def knot_name(at: float) -> str:
    """As `told_at_095_frac`."""
    return f"told_at_{round(100.0 * at):03d}_frac"


def written_table(text: str, lines: Lines, told: Array, low_high: Array) -> str:
    """The table with its knots replaced, and all other rows as they are."""
    header, *rows = list(csv.reader(text.splitlines()))
    near = reach(lines.stated, GRID).sum(axis=0)
    knots = []
    for i, at in enumerate(GRID):
        value = round(float(told[i]), 3)
        low, high = min(value, low_high[0, i]), max(value, low_high[1, i])
        note = (
            f"monotone least squares, straight between knots, of {lines.n} lines of tuning seasons "
            f"({near[i]:.0f} near) and {AS_STATED:.0f} at each knot as stated; range: seasons "
            "drawn anew"
        )
        knots.append(
            ["sure", knot_name(at), f"{value:g}", f"{low:.3f}", f"{high:.3f}", "frac",
             "whitethread", "season player", "D", "seen", note]
        )  # fmt: skip
    others = [row for row in rows if not row[1].startswith("told_at_")]
    written = io.StringIO()
    csv.writer(written, lineterminator="\n").writerows([header, *knots, *others])
    return written.getvalue()


# ------------------------------------------------------------------ showing


def bins_text(title: str, bins: Sequence[figures.Bin]) -> str:
    """Bins as lines of text."""
    said = [f"{title}:"]
    for b in bins:
        if b.n_lines:
            said.append(
                f"  {b.low:4.2f}-{b.high:4.2f}  {b.n_lines:6d} lines  stated {b.stated:.3f}  "
                f"came true {b.came_true:.3f}"
            )
    return "\n".join(said)


def error(bins: Sequence[figures.Bin]) -> float:
    """Mean distance of what came true from what was stated, by lines."""
    held = [b for b in bins if b.n_lines]
    n = sum(b.n_lines for b in held)
    return sum(b.n_lines * abs(b.came_true - b.stated) for b in held) / n if n else float("nan")


def meant_rows(table: pd.DataFrame, rules: Sequence[str] | None) -> pd.DataFrame:
    """Rows of the named rules; by default the program's at its main price, with looks or without.

    Raises
    ------
    SystemExit
        If a rule has no row.
    """
    main = stage.ours_name(stage.MAIN_PRICE)
    if table.empty:
        return table
    if rules is None:
        is_main = (table["rule"] == main) | table["rule"].str.startswith(f"{main}, ")
        return table[is_main & table["stated"].map(bool)]
    missing = sorted(set(rules) - set(table["rule"]))
    if missing:
        raise SystemExit(f"no row of {', '.join(missing)}; on file: {sorted(set(table['rule']))}")
    return table[table["rule"].isin(list(rules))]


def shown(title: str, table: pd.DataFrame, knots: figures.Knots) -> str:
    """Bins of each rule as computed and as told."""
    said = []
    for rule, part in table.groupby("rule"):
        for how, used in (("as computed", None), ("as told", knots)):
            bins = figures.sure_bins(part, knots=used)
            (pooled,) = figures.sure_bins(part, (0.7, 0.9), knots=used)
            said.append(bins_text(f"{title}, {rule}, {how} (off by {error(bins):.3f})", bins))
            said.append(
                f"  0.7-0.9 pooled: {pooled.n_lines} lines, came true {pooled.came_true:.3f}"
            )
    return "\n".join(said)


def main(argv: Sequence[str] | None = None) -> int:
    """Fit, show, write."""
    asked = argparse.ArgumentParser(prog="python -m tests.season.recalibrate", description=__doc__)
    asked.add_argument("--rows", type=Path, default=played.TUNING_RESULTS, help="to fit on")
    asked.add_argument("--judge", type=Path, default=played.RESULTS, help="to show it on")
    asked.add_argument("--rules", nargs="+", metavar="RULE", help="by default ours, price 1, ...")
    asked.add_argument("--any-program", action="store_true", help="rows of any program text count")
    asked.add_argument("--write", action="store_true", help="write scheduler/reference/sure.csv")
    told = asked.parse_args(argv)
    marks = None if told.any_program else stage.marks().values()
    table = meant_rows(figures.frame(played.read_played(told.rows, marks)), told.rules)
    lines = lines_of(table)
    if lines.n == 0:
        print(f"{told.rows}: no line of this program is on file; play some tuning seasons first")
        return 2
    if told.write and not table["truth"].isin(stage.tuning_names()).all():
        print(f"{told.rows}: rows that judge are among them; the table is fitted on tuning alone")
        return 2
    values = fitted(lines)
    low_high = spread(lines)
    knots = tuple(zip(GRID, values.tolist(), strict=True))
    print(f"fitted on {lines.n} lines of {len(np.unique(lines.season))} seasons")
    for i, at in enumerate(GRID):
        print(
            f"  stated {at:4.2f}: told {values[i]:.3f} ({low_high[0, i]:.3f}-{low_high[1, i]:.3f})"
        )
    print(shown("tuning", table, knots))
    if table["weather"].nunique() > 1:
        bins = left_out(table)
        title = f"tuning, told by the other weathers alone (off by {error(bins):.3f})"
        print(bins_text(title, bins))
    judged = meant_rows(figures.frame(played.read_played(told.judge, marks)), None)
    if not judged.empty:
        print(shown("judging, inside the prior", judged[judged["kind"] == ""], knots))
        print(shown("judging, all truths", judged, knots))
    if told.write:
        text = written_table(TABLE.read_text(encoding="utf-8"), lines, values, low_high)
        TABLE.write_text(text, encoding="utf-8")
        print(f"written: {TABLE.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
