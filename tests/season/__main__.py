"""Play seasons and write the results: `python -m tests.season [--quick] [--write]`."""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from functools import partial
from pathlib import Path

from scheduler.planning.season.ours import CHOSEN_LOOKS, NO_LOOKS, RANDOM_LOOKS, WEEKLY_LOOK
from tests.season import figures, look_page, page, played, stage, weathers
from tests.season.driver import Block, rows_of, tasks

QUICK_TRUTHS, QUICK_WEATHERS = 4, 2
ABLATION_TRUTHS, ABLATION_WEATHERS = 12, 3  # every second truth lies inside the prior
PRICE_TRUTHS = 12


def blocks(is_quick: bool) -> list[Block]:
    """What is played, the most telling first; truths stand inside and outside in turn."""
    truths, names = stage.truth_names(), weathers.JUDGING
    budgets = tuple(stage.BUDGETS_MIN)
    fixed = stage.rules_of(*figures.FIXED)
    main, oracle = stage.ours_name(stage.MAIN_PRICE), stage.oracle_name()
    others = stage.rules_of(figures.OURS, figures.ORACLE)
    prices = tuple(r for r in others if r not in (main, oracle))
    if is_quick:
        few, two = truths[:QUICK_TRUTHS], (names[0], names[3])
        return [
            Block((*fixed, main, oracle), few, two, budgets),
            Block(prices, few[:1], two, budgets),
        ]
    judged = Block((*fixed, main, oracle), truths, names, budgets)
    calendars = stage.rules_of(figures.NEVER, figures.CALENDAR, figures.SINGLE)
    by_days = Block((*calendars, main, oracle), truths, names, budgets)
    inside = tuple(t for t in truths[:ABLATION_TRUTHS] if not stage.kind_of(t))
    parts = Block(
        stage.rules_of(figures.ABLATION), inside, names[:ABLATION_WEATHERS], ("scarce", "medium")
    )
    return [
        replace(judged, third=0),
        replace(parts, budgets=("medium",)),
        replace(by_days, third=1),
        Block(prices, truths[:PRICE_TRUTHS], names, budgets, third=0),
        replace(by_days, third=2),
        parts,
        judged,
    ]


def look_blocks() -> list[Block]:
    """What looks are worth: truth by truth inside and outside, then which beds are looked at."""
    truths, names = stage.truth_names(), weathers.JUDGING
    budgets = tuple(stage.BUDGETS_MIN)
    main, weekly = (stage.ours_name(stage.MAIN_PRICE, looks) for looks in (NO_LOOKS, WEEKLY_LOOK))
    fixed = stage.rules_of(*figures.FIXED)
    calendars = stage.rules_of(figures.NEVER, figures.CALENDAR, figures.SINGLE)
    few = tuple(stage.ours_name(stage.MAIN_PRICE, looks) for looks in (CHOSEN_LOOKS, RANDOM_LOOKS))
    inside = tuple(t for t in truths if not stage.kind_of(t))
    found = []
    for truth in truths:
        rules = (*calendars, weekly) if stage.kind_of(truth) else (*fixed, main, weekly)
        found.append(Block(rules, (truth,), names, budgets, third=truths.index(truth) % 3))
    chosen = Block(few, inside[:12], names[:2], ("medium",))
    half = tuple(stage.ours_name(0.5, looks) for looks in (NO_LOOKS, WEEKLY_LOOK))
    return [*found[:16], chosen, *found[16:], Block(half, inside[:12], names, budgets, third=0)]


def tuning_blocks() -> list[Block]:
    """Truths and weathers that settings may be tried on; none of them judges."""
    rules = stage.rules_of(*figures.FIXED, figures.OURS, figures.LOOKING, figures.ORACLE)
    return [Block(rules, stage.tuning_names(), weathers.TUNING, tuple(stage.BUDGETS_MIN))]


def run(todo_blocks: list[Block], path: Path, n_processes: int) -> None:
    """Play what is not on file with the marks of this program."""
    marks = stage.marks()
    todo = tasks(todo_blocks, played.read_played(path, marks.values()))
    n_all = sum(len(task.rules) for task in todo)
    print(f"{n_all} seasons to play, program text {', '.join(marks.values())}", flush=True)
    started = time.perf_counter()
    rows = rows_of(todo, partial(stage.play_task, own_marks=dict(marks)), n_processes)
    for n_done, row in enumerate(played.add_played(rows, path), start=1):
        if n_done % 200 == 0 or n_done == n_all:
            took = time.perf_counter() - started
            print(f"{n_done} of {n_all}, {took / 60.0:.0f} min, at {row.truth}", flush=True)


def only(todo_blocks: list[Block], families: list[str]) -> list[Block]:
    """The same combinations with the rules of some families alone."""
    meant = stage.rules_of(*families)
    return [replace(b, rules=tuple(r for r in b.rules if r in meant)) for b in todo_blocks]


def section_of(rows: list[played.Played], *, is_of_looks: bool) -> tuple[str, str, str]:
    """A section of the guide, and its marker lines."""
    main, table = stage.ours_name(stage.MAIN_PRICE), figures.frame(rows)
    if not is_of_looks:
        return page.Page(table, main, stage.oracle_name()).text(), page.BEGIN, page.END
    weekly, chosen, by_lot = (
        stage.ours_name(stage.MAIN_PRICE, looks)
        for looks in (WEEKLY_LOOK, CHOSEN_LOOKS, RANDOM_LOOKS)
    )
    made = look_page.LookPage(table, weekly, main, chosen, by_lot)
    return made.text(), look_page.BEGIN, look_page.END


def main() -> int:
    """Play, print, write."""
    asked = argparse.ArgumentParser(prog="python -m tests.season", description=__doc__)
    asked.add_argument("--quick", action="store_true", help="4 truths in 2 weathers")
    asked.add_argument("--looks", action="store_true", help="what looks are worth")
    asked.add_argument("--tuning", action="store_true", help="what judges nothing, for settings")
    asked.add_argument("--only", nargs="+", metavar="FAMILY", help="rules of some families alone")
    asked.add_argument("--no-play", action="store_true", help="figures of what is on file alone")
    asked.add_argument("--any-program", action="store_true", help="rows of any program text count")
    asked.add_argument("--write", action="store_true", help="write the section of DEVELOPERS.md")
    asked.add_argument("--processes", type=int, default=1)
    asked.add_argument("--results", type=Path)
    told = asked.parse_args()
    if told.tuning and told.write:
        asked.error("--tuning judges nothing and is not written")
    path = told.results or (played.TUNING_RESULTS if told.tuning else played.RESULTS)
    if not told.no_play:
        wanted = tuning_blocks() if told.tuning else blocks(told.quick)
        if told.looks:
            wanted = look_blocks()
        run(only(wanted, told.only) if told.only else wanted, path, told.processes)
    rows = played.read_played(path, None if told.any_program else stage.marks().values())
    if not rows:
        print(f"{path}: no season of this program is on file; play some first")
        return 2
    section, begin, end = section_of(rows, is_of_looks=told.looks)
    print(section)
    if told.write:
        guide = page.GUIDE.read_text(encoding="utf-8")
        page.GUIDE.write_text(page.written_guide(guide, section, begin, end), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
