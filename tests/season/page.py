"""The section "Played seasons" of the developers' guide, out of the rows on file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from scheduler.service import settings
from tests.season import figures, weathers
from tests.season.figures import (
    ATTENTIVE,
    CALENDAR,
    FIXED,
    NEVER,
    ORACLE,
    OURS,
    SINGLE,
    WEEKLY,
    WORKABLE,
)

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
BEGIN = "<!-- played seasons: written by `python -m tests.season --write`, not by hand -->"
END = "<!-- end of played seasons -->"
FIRST_SENTENCE = (
    "Played inside a simulator built from the same equations as the program; it shows what the "
    "decisions are worth if the model is right, not that the model is right."
)
BUDGETS = ("scarce", "medium", "plenty")
KINDS_OF_RULE = (
    (CALENDAR, "calendar"),
    (SINGLE, "calendar, one tool"),
    (WEEKLY, "one look a week, with error"),
    (ATTENTIVE, "sees every weed each day"),
    (WORKABLE, "whenever workable"),
)


def table_text(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """A table in Markdown."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return lines + ["| " + " | ".join(row) + " |" for row in rows] + [""]


def spread_text(values: pd.Series, form: str = ".0f") -> str:
    """Median with 10 and 90 %."""
    if values.empty:
        return "-"
    mid, low, high = figures.three(values)
    return f"{mid:{form}} [{low:{form}}, {high:{form}}]"


def percent(share: float, digits: int = 0) -> str:
    """A share in per cent; a dash where there is none."""
    return "-" if not np.isfinite(share) else f"{100.0 * share:.{digits}f}"


def sure_rows(
    words: str, how: str, own: pd.DataFrame, knots: figures.Knots | None
) -> list[list[str]]:
    """Bins of the lines of one rule, and those of 0.7 to 0.9 together."""
    rows = []
    for b in figures.sure_bins(own, knots=knots):
        if b.n_lines:
            of = f"{b.low:g}-{b.high:g}"
            came = f"{b.came_true:.2f}"
            rows.append([words, how, of, str(b.n_lines), f"{b.stated:.2f}", came])
    (pooled,) = figures.sure_bins(own, (0.7, 0.9), knots=knots)
    if pooled.n_lines:
        verdict = "met" if 0.70 <= pooled.came_true <= 0.90 else "**missed**"
        came = f"{pooled.came_true:.2f} (0.70-0.90: {verdict})"
        of = "0.7-0.9 pooled"
        rows.append([words, how, of, str(pooled.n_lines), f"{pooled.stated:.2f}", came])
    return rows


class Page:
    """Writes the section; `main` is the rule that stands for the program, `oracle` its ceiling."""

    def __init__(self, table: pd.DataFrame, main: str, oracle: str) -> None:
        self.table = table
        self.main, self.oracle = main, oracle
        self.inside = table[table["kind"] == ""]
        self.lines: list[str] = []

    def say(self, *lines: str) -> None:
        """Add lines."""
        self.lines += lines

    def budgets(self) -> list[str]:
        """Budgets that were played, scarce first."""
        played = set(self.table["budget"])
        return [b for b in BUDGETS if b in played]

    def of_budget(self, table: pd.DataFrame, budget: str) -> pd.DataFrame:
        """Rows of one budget."""
        return table[table["budget"] == budget]

    # -------------------------------------------------------------- the parts

    def head(self) -> None:
        """What was played."""
        n_inside = self.inside["truth"].nunique()
        n_outside = self.table[self.table["kind"] != ""]["truth"].nunique()
        names = ", ".join(n for n in weathers.JUDGING if n in set(self.table["weather"]))
        marks = ", ".join(sorted(set(self.table["mark"])))
        hours = self.table["seconds"].sum() / 3600.0
        self.say(
            FIRST_SENTENCE,
            "",
            f"{len(self.table)} seasons: {n_inside} truths inside the prior and {n_outside} "
            f"outside, weather {names}; program text {marks}; {hours:.1f} hours of one core. "
            "Nothing was tuned on these truths or on this weather. Minutes are of the whole garden "
            "and season; those with the machine hold set-ups and visits in vain; a total counts "
            "them half. The program looks at no weeds here, while the fixed rules that see do. "
            "Fixed rules take for each bed the tool that reaches most, as a grower with a bar of "
            "knives and fingers would, or keep to one tool alone, which saves set-ups: sweeps, or "
            "the wheel hoe. The program chooses among all of them. A "
            "best fixed rule is chosen afterwards for each weather, in its favour. Work rates and "
            "the price of weeds by hand are assumptions: read differences, not minutes.",
            "",
        )

    def rules(self) -> None:
        """Every rule and budget over the truths inside the prior."""
        for budget in self.budgets():
            here = self.of_budget(self.inside, budget)
            here = here[here["family"] != figures.ABLATION]
            self.say(
                f"**Hours {budget}**: median over truths [10, 90 %], mean of the weathers.", ""
            )
            rows = []
            order = {family: i for i, family in enumerate((*FIXED, OURS, ORACLE))}
            names = here[["family", "rule"]].drop_duplicates()
            names = names.assign(place=names["family"].map(order)).sort_values(
                "place", kind="stable"
            )
            shown = figures.undominated(here, ATTENTIVE)
            n_eyes = names["family"].eq(ATTENTIVE).sum()
            for family, rule in zip(names["family"], names["rule"], strict=True):
                if family == ATTENTIVE and rule not in shown:
                    continue
                own = here[here["rule"] == rule]
                by_truth = own.groupby("truth").mean(numeric_only=True)
                rows.append(
                    [
                        f"**{rule}**" if rule == self.main else rule,
                        *(
                            spread_text(by_truth[name])
                            for name in (
                                "hand_min",
                                "tractor_min",
                                "vain_min",
                                "n_passes",
                                "stand_lost_min",
                            )
                        ),
                        self.seeds_text(here, rule),
                        str(own["truth"].nunique()),
                    ]
                )
            head = ["rule", "by hand", "machine", "of it in vain", "passes", "stand lost"]
            self.say(*table_text([*head, "seeds shed (never = 1)", "truths"], rows))
            if n_eyes > len(shown):
                self.say(
                    f"Of {n_eyes} rules with daily eyes {len(shown)} are shown; each of the rest "
                    "needs more minutes than one of them by hand and with the machine.",
                    "",
                )

    def seeds_text(self, here: pd.DataFrame, rule: str) -> str:
        """Seeds shed over those of never passing, by truth."""
        sums = here.groupby(["rule", "weather", "truth"])["seeds_shed"].sum()
        if NEVER not in sums.index.get_level_values(0):
            return "-"
        never_rule = here[here["family"] == NEVER]["rule"].iloc[0]
        ratio = (sums[rule] / sums[never_rule].clip(lower=1e-9)).dropna()
        return spread_text(ratio.groupby("truth").mean(), ".2f")

    def weathers_apart(self) -> None:
        """Each weather in its own row, the worst marked."""
        self.say(
            "**Each weather**: hand / machine minutes, mean of the truths inside the prior.", ""
        )
        for budget in self.budgets():
            here = self.of_budget(self.inside, budget)
            rows, gains = [], {}
            for weather, part in here.groupby("weather", sort=False):
                cells, best = [], {}
                for family, _ in KINDS_OF_RULE:
                    best[family] = figures.best_rule(part, [family])
                    cells.append(self.pair_text(part, best[family], named=True))
                gain = figures.gain_over_best(part, self.main, [CALENDAR]).mean
                gains[weather] = gain
                cells += [self.pair_text(part, self.main), self.pair_text(part, self.oracle)]
                rows.append([str(weather), *cells, percent(gain)])
            worst = min(gains, key=lambda name: gains[name]) if gains else ""
            rows = [[f"{r[0]} (worst)" if r[0] == worst else r[0], *r[1:]] for r in rows]
            head = [f"{budget}", *(f"best: {words}" for _, words in KINDS_OF_RULE)]
            self.say(
                *table_text([*head, self.main, self.oracle, "% by hand saved on calendar"], rows)
            )

    def pair_text(self, part: pd.DataFrame, rule: str | None, named: bool = False) -> str:
        """Mean minutes by hand and with the machine."""
        own = part[part["rule"] == rule]
        if own.empty:
            return "-"
        text = f"{own['hand_min'].mean():.0f} / {own['tractor_min'].mean():.0f}"
        return f"{text} ({rule})" if named else text

    def gains(self) -> None:
        """The tests of acceptance, each with its aim."""
        self.say(f"**What {self.main} gains**, truths inside the prior; aims in brackets.", "")
        rows: list[list[str]] = []
        for name, aims, value in (
            ("hand minutes below the best calendar rule, %", (12, 20, 20), self.calendar_gain),
            ("machine minutes over those of that rule", (1.0, 1.0, 1.0), self.calendar_machine),
            ("lower tenth of truths on the first line, %", (0, 0, 0), self.calendar_tenth),
            ("hand minutes below the best calendar rule of one tool, %", None, self.single_gain),
            ("machine minutes over those of that rule", None, self.single_machine),
            ("hand, half of machine and stand lost: below its best, %", None, self.single_whole),
            ("at equal machine minutes below the calendar frontier, %", None, self.on(CALENDAR)),
            ("... the frontier of calendars of one tool, %", None, self.on(SINGLE)),
            ("... the frontier of one look a week, %", None, self.on(WEEKLY)),
            ("... the frontier of perfect daily eyes, %", None, self.on(ATTENTIVE)),
            ("... the frontier of all fixed rules, %", None, self.on(*FIXED)),
            ("total minutes below the best fixed rule, %", None, self.total_gain),
            ("share of truths where that total is worse, %", None, self.total_worse),
            ("the same total and the stand lost, below the best, %", None, self.whole_gain),
            ("share of the oracle's gain in total over the best fixed rule, %", None, self.share),
        ):
            cells = []
            for i, budget in enumerate(BUDGETS):
                if budget not in self.budgets():
                    cells.append("-")
                    continue
                got = value(self.of_budget(self.inside, budget))
                cells.append(self.judged(got, None if aims is None else aims[i], name))
            rows.append([name, *cells])
        self.say(*table_text(["", *BUDGETS], rows))

    def judged(self, got: float, aim: float | None, name: str) -> str:
        """The figure, and whether its aim is met."""
        if not np.isfinite(got):
            return "-"
        is_ratio = name.startswith("machine minutes")
        text = f"{got:.2f}" if is_ratio else f"{100.0 * got:.0f}"
        if aim is None:
            return text
        is_met = got <= aim if is_ratio else 100.0 * got >= aim
        sign = "at most" if is_ratio else "at least"
        return f"{text} ({sign} {aim:g}: {'met' if is_met else '**missed**'})"

    def calendar_gain(self, table: pd.DataFrame) -> float:
        """Mean share of hand minutes saved against the best calendar rule."""
        return figures.gain_over_best(table, self.main, [CALENDAR]).mean

    def calendar_machine(self, table: pd.DataFrame) -> float:
        """Our machine minutes over those of the best calendar rule."""
        return figures.gain_over_best(table, self.main, [CALENDAR]).machine_share

    def single_gain(self, table: pd.DataFrame) -> float:
        """Mean share of hand minutes saved against the best calendar rule of one tool."""
        return figures.gain_over_best(table, self.main, [SINGLE]).mean

    def single_machine(self, table: pd.DataFrame) -> float:
        """Our machine minutes over those of that rule."""
        return figures.gain_over_best(table, self.main, [SINGLE]).machine_share

    def single_whole(self, table: pd.DataFrame) -> float:
        """Mean share of total minutes and stand lost saved against the best of one tool."""
        return figures.gain_over_best(table, self.main, [SINGLE], "whole_min").mean

    def calendar_tenth(self, table: pd.DataFrame) -> float:
        """The lower tenth of that share."""
        return figures.gain_over_best(table, self.main, [CALENDAR]).lower_tenth

    def total_gain(self, table: pd.DataFrame) -> float:
        """Mean share of total minutes saved against the best fixed rule."""
        return figures.gain_over_best(table, self.main, FIXED, "total_min").mean

    def total_worse(self, table: pd.DataFrame) -> float:
        """Share of pairs in which the best fixed rule has fewer total minutes."""
        return figures.gain_over_best(table, self.main, FIXED, "total_min").worse_share

    def whole_gain(self, table: pd.DataFrame) -> float:
        """Mean share of total minutes and stand lost saved against the best fixed rule."""
        return figures.gain_over_best(table, self.main, FIXED, "whole_min").mean

    def share(self, table: pd.DataFrame) -> float:
        """Share of what the oracle gains."""
        return figures.oracle_share(table, self.main, self.oracle)

    def on(self, *families: str) -> Callable[[pd.DataFrame], float]:
        """Mean over weathers of the gain against a frontier."""

        def value(table: pd.DataFrame) -> float:
            gains = [
                figures.frontier_gain(part, self.main, families)
                for _, part in table.groupby("weather")
            ]
            return float(np.nanmean(gains)) if np.isfinite(gains).any() else float("nan")

        return value

    def outside(self) -> None:
        """Truths outside the prior, each way on its own."""
        away = self.table[self.table["kind"] != ""]
        if away.empty:
            return
        self.say(
            "**Truths outside the prior**: % of hand minutes saved by "
            f"{self.main}, at equal machine minutes against the calendar frontier, that of perfect "
            "daily eyes, and against the best calendar rule (machine minutes over its own).",
            "",
        )
        rows = []
        for kind, part in away.groupby("kind", sort=True):
            for budget in self.budgets():
                here = self.of_budget(part, budget)
                if here.empty:
                    continue
                plain = figures.gain_over_best(here, self.main, [CALENDAR])
                on_calendar = self.on(CALENDAR)(here)
                flag = " **worse**" if on_calendar < 0.0 else ""
                rows.append(
                    [
                        str(kind),
                        budget,
                        f"{percent(on_calendar)}{flag}",
                        percent(self.on(ATTENTIVE)(here)),
                        f"{percent(plain.mean)} ({plain.machine_share:.2f})",
                        str(here["truth"].nunique()),
                    ]
                )
        head = ["truth", "hours", "calendar frontier", "daily eyes frontier", "best calendar"]
        self.say(*table_text([*head, "truths"], rows))

    def losing(self) -> None:
        """Where the program loses."""
        self.say("**Where it loses**: cells in which a fixed rule does better.", "")
        rows = []
        for budget in self.budgets():
            for family, words in (*KINDS_OF_RULE, (NEVER, "never passing")):
                for weather, part in self.of_budget(self.inside, budget).groupby("weather"):
                    other = figures.best_rule(part, [family], "total_min")
                    gain = figures.gain_over_best(part, self.main, [family], "total_min")
                    hand = figures.gain_over_best(part, self.main, [family])
                    if gain.by_pair.size and (gain.mean < 0.0 or hand.mean < 0.0):
                        rows.append(
                            [
                                budget,
                                str(weather),
                                f"{other} ({words})",
                                percent(gain.mean),
                                percent(gain.worse_share),
                                percent(hand.mean),
                            ]
                        )
        if not rows:
            self.say("None among the truths inside the prior.", "")
            return
        head = ["hours", "weather", "best of its kind", "total saved, %", "truths worse, %"]
        self.say(*table_text([*head, "hand saved on best by hand, %"], rows))

    def sure(self) -> None:
        """What `sure` is worth, as computed and as the list tells it."""
        self.say(
            f"**`sure`** of the lines of {self.main}, each scored once: workable and better than "
            "leaving it, by the truth. As told: by the knots of `sure.csv`, fitted on tuning "
            "seasons.",
            "",
        )
        knots = settings.sure_knots()
        is_fitted = any(at != told for at, told in knots)
        rows = []
        looking = self.table["rule"].str.startswith(f"{self.main}, ")
        with_looks = sorted(set(self.table["rule"][looking & self.table["stated"].map(bool)]))
        for rule in (self.main, *with_looks):
            for words, part in (("inside the prior", self.inside), ("all truths", self.table)):
                own = part[part["rule"] == rule]
                which = f"{rule.removeprefix(self.main).removeprefix(', ')} {words}".strip()
                rows += sure_rows(which, "computed", own, None)
                if is_fitted:
                    rows += sure_rows(which, "told", own, knots)
        self.say(*table_text(["truths", "as", "stated", "lines", "mean", "came true"], rows))

    def ablations(self) -> None:
        """What each part earns."""
        if not (self.table["family"] == figures.ABLATION).any():
            return
        self.say(
            f"**What each part earns**: change of minutes when it is taken out of {self.main}; "
            "plus is worse, differences below about twice the error are noise.",
            "",
        )
        rows = []
        for budget in self.budgets():
            for c in figures.ablation_changes(self.of_budget(self.inside, budget), self.main):
                rows.append(
                    [
                        budget,
                        c.rule,
                        f"{100.0 * c.total:+.1f} ({100.0 * c.total_se:.1f})",
                        f"{100.0 * c.hand:+.1f}",
                        f"{100.0 * c.machine:+.1f}",
                        f"{c.vain_min:+.0f}",
                        f"{c.n_passes:+.0f}",
                        str(c.n_pairs),
                    ]
                )
        head = ["hours", "without", "total, % (error)", "hand, %", "machine, %", "vain, min"]
        self.say(*table_text([*head, "passes", "pairs"], rows))

    def sources(self) -> None:
        """Where the weather comes from."""
        self.say("**Weather**", "")
        names = sorted(set(self.table["weather"]))
        rows = []
        for name in names:
            station, _ = weathers.station_of(name)
            rain = weathers.season_weather(name).forcing.rain_mm.sum()
            rows.append([name, f"{rain:.0f}", station.source, station.licence])
        self.say(*table_text(["season", "rain March-October, mm", "source", "licence"], rows))

    def text(self) -> str:
        """The whole section."""
        self.lines = []
        self.head()
        for part in (
            self.gains,
            self.losing,
            self.rules,
            self.weathers_apart,
            self.outside,
            self.sure,
            self.ablations,
            self.sources,
        ):
            part()
        return "\n".join(self.lines).rstrip() + "\n"


def written_guide(guide: str, section: str, begin: str = BEGIN, end: str = END) -> str:
    """The guide's text with the section between its two marker lines."""
    before, _, rest = guide.partition(begin)
    _, _, after = rest.partition(end)
    if not rest or end not in guide:
        raise ValueError(f"DEVELOPERS.md: the lines {begin!r} and {end!r} were not found")
    return f"{before}{begin}\n\n{section}\n{end}{after}"
