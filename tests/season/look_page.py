"""The section "Looks in play" of the developers' guide, out of the rows on file."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from scheduler.service import settings
from tests.season import figures, page
from tests.season.figures import ATTENTIVE, CALENDAR, FIXED, PAIR, SINGLE, WEEKLY
from tests.season.page import BUDGETS, Page, percent, sure_rows, table_text

BEGIN = "<!-- looks in play: written by `python -m tests.season --looks --write`, not by hand -->"
END = "<!-- end of looks in play -->"

Value = Callable[[pd.DataFrame], float]


class LookPage:
    """Writes the section; `looking` is the program with a look a week, `blind` that without."""

    def __init__(
        self, table: pd.DataFrame, looking: str, blind: str, chosen: str, by_lot: str
    ) -> None:
        self.table, self.looking, self.blind = table, looking, blind
        self.chosen, self.by_lot = chosen, by_lot
        self.inside = table[table["kind"] == ""]
        self.page = Page(table, looking, "")
        self.lines: list[str] = []

    def head(self) -> None:
        """What was played."""
        own = self.table[self.table["rule"] == self.looking]
        n_inside = own[own["kind"] == ""]["truth"].nunique()
        n_outside = own[own["kind"] != ""]["truth"].nunique()
        marks = ", ".join(sorted(set(self.table["mark"])))
        hours = self.table["seconds"].sum() / 3600.0
        self.lines += [
            page.FIRST_SENTENCE,
            "",
            f"{len(self.table)} seasons, {len(own)} of them of {self.looking}: {n_inside} truths "
            f"inside the prior and {n_outside} outside, each under up to five weathers and in turn "
            f"under the budgets; program text {marks}; {hours:.1f} hours of one core. Nothing was "
            "tuned on these truths or on this weather. A look a week at each bed: green weeds by "
            "eye, off by a lognormal factor of 0.35 that the fixed rules with a look a week share, "
            "and up to 20 sprouts scratched up, one in ten taken for its neighbour in age. Looking "
            "costs no minutes on either side.",
            "",
        ]

    def gains(self) -> None:
        """The aims."""
        on = self.page.on
        rows = []
        for words, aims, value in (
            ("by hand below the frontier of one look a week, %", (8, 12, 15), on(WEEKLY)),
            ("... of perfect daily eyes, %", (0, 4, 4), on(ATTENTIVE)),
            ("... of calendars, %", None, on(CALENDAR)),
            ("... of calendars of one tool, %", None, on(SINGLE)),
            ("... of all fixed rules, %", None, on(*FIXED)),
            ("total below the program without looks, %", (6, 6, 6), self.total_below_blind),
            ("hand below the program without looks, %", None, self.below_blind("hand_min")),
            ("machine below it, %", None, self.below_blind("tractor_min")),
            ("total below the best fixed rule, %", None, self.page.total_gain),
            ("share of truths where that total is worse, %", None, self.page.total_worse),
        ):
            cells = []
            for i, budget in enumerate(BUDGETS):
                got = value(self.page.of_budget(self.inside, budget))
                aim = None if aims is None else aims[i]
                cells.append(self.page.judged(got, aim, words))
            rows.append([words, *cells])
        self.lines += [
            f"**What {self.looking} gains**, truths inside the prior; aims in brackets. A frontier "
            "is the best mix of rules of a kind at our minutes with the machine, for each weather "
            "chosen afterwards.",
            "",
            *table_text(["", *BUDGETS], rows),
        ]

    def total_below_blind(self, table: pd.DataFrame) -> float:
        """Share of total minutes saved against the program without looks, over all pairs."""
        return self.below_blind("total_min")(table)

    def below_blind(self, what: str) -> Value:
        """Share of the sum over the pairs that both have played."""

        def value(table: pd.DataFrame) -> float:
            ours, theirs = self._pairs(table, self.looking, self.blind, what)
            return float(1.0 - ours.sum() / theirs.sum()) if len(ours) else float("nan")

        return value

    def _pairs(
        self, table: pd.DataFrame, one: str, other: str, what: str
    ) -> tuple[pd.Series, pd.Series]:
        a, b = (table[table["rule"] == r].set_index([*PAIR, "budget"])[what] for r in (one, other))
        both = a.index.intersection(b.index)
        return a.loc[both], b.loc[both]

    def choosing(self) -> None:
        """Whether chosen looks are worth more than looks by lot."""
        rows = []
        for words, what in (("by hand", "hand_min"), ("machine", "tractor_min"),
                            ("total", "total_min")):  # fmt: skip
            one, other = self._pairs(self.inside, self.chosen, self.by_lot, what)
            if not len(one):
                return
            apart = (one / other - 1.0).to_numpy()
            error = float(apart.std(ddof=1) / np.sqrt(apart.size)) if apart.size > 1 else np.nan
            share = percent(float((apart < 0.0).mean()))
            rows.append([
                words, f"{one.mean():.0f}", f"{other.mean():.0f}",
                f"{100.0 * apart.mean():+.1f} ({100.0 * error:.1f})", share, str(apart.size),
            ])  # fmt: skip
        self.lines += [
            "**Two looks a morning**, chosen by what they are worth or by lot among the beds that "
            "a tool may go over; mean minutes.",
            "",
            *table_text(
                ["", "chosen", "by lot", "chosen over lot, % (error)", "pairs with less, %",
                 "pairs"], rows),
        ]  # fmt: skip

    def weathers_apart(self) -> None:
        """Each weather in its own row."""
        rows = []
        for (budget, weather), part in self.inside.groupby(["budget", "weather"], sort=False):
            own = part[part["rule"] == self.looking]
            if own.empty:
                continue
            cells = [self.page.pair_text(part, rule) for rule in (self.looking, self.blind)]
            best = figures.best_rule(part, [WEEKLY], "total_min")
            cells.append(self.page.pair_text(part, best, named=True))
            cells += [percent(figures.frontier_gain(part, self.looking, [f]))
                      for f in (WEEKLY, ATTENTIVE)]  # fmt: skip
            rows.append([str(budget), str(weather), *cells, str(own["truth"].nunique())])
        order = {b: i for i, b in enumerate(BUDGETS)}
        rows.sort(key=lambda r: order[r[0]])
        head = ["hours", "weather", "a look a week", "no look", "best rule with a look a week",
                "below its frontier, %", "below that of daily eyes, %", "truths"]  # fmt: skip
        self.lines += [
            "**Each weather**: hand / machine minutes, mean of the truths.", "",
            *table_text(head, rows),
        ]  # fmt: skip

    def outside(self) -> None:
        """Truths outside the prior against calendars, each way on its own."""
        away = self.table[self.table["kind"] != ""]
        rows = []
        for kind, part in away.groupby("kind", sort=True):
            cells = []
            for budget in BUDGETS:
                here = self.page.of_budget(part, budget)
                n = int((here["rule"] == self.looking).sum())
                gain = self.page.on(CALENDAR)(here) if n else float("nan")
                flag = " **worse**" if gain < 0.0 else ""
                cells.append(f"{percent(gain)}{flag} ({n})" if n else "-")
            rows.append([str(kind), *cells])
        self.lines += [
            "**Truths outside the prior**: % by hand below the calendar frontier at equal machine "
            "minutes; in brackets the seasons played.",
            "",
            *table_text(["truth", *BUDGETS], rows),
        ]

    def sure(self) -> None:
        """What `sure` is worth with looks."""
        knots = settings.sure_knots()
        rows = []
        for rule in (self.looking, self.blind):
            for words, part in (("inside", self.inside), ("all truths", self.table)):
                own = part[part["rule"] == rule]
                if own.empty:
                    continue
                name = "a look a week" if rule == self.looking else "no look"
                rows += sure_rows(f"{name}, {words}", "computed", own, None)
                if any(at != told for at, told in knots):
                    rows += sure_rows(f"{name}, {words}", "told", own, knots)
        self.lines += [
            "**`sure`** of the lines, each scored once: workable and better than leaving it, by "
            "the truth. As told: by the knots of `sure.csv`, fitted on tuning seasons.",
            "",
            *table_text(["truths", "as", "stated", "lines", "mean", "came true"], rows),
        ]

    def text(self) -> str:
        """The whole section."""
        self.lines = []
        self.head()
        self.gains()
        self.choosing()
        self.weathers_apart()
        self.outside()
        self.sure()
        return "\n".join(self.lines).rstrip() + "\n"
