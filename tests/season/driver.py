"""Which seasons are played, in what order, on how many cores; rows on file are not played again."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from tests.season.played import Played


@dataclass(frozen=True)
class Task:
    """One truth under one weather and budget, and the rules still to be played there."""

    weather: str
    truth: str
    budget: str
    rules: tuple[str, ...]


@dataclass(frozen=True)
class Block:
    """Rules that are played on every combination of some truths, weathers and budgets."""

    rules: tuple[str, ...]
    truths: tuple[str, ...]
    weathers: tuple[str, ...]
    budgets: tuple[str, ...]


def tasks(blocks: Sequence[Block], done: Iterable[Played]) -> list[Task]:
    """What is still to be played, truth by truth, so that a stopped run is an even sample."""
    have = {row.key for row in done}
    wanted: dict[tuple[str, str, str], list[str]] = {}
    places = {name: i for i, name in enumerate(dict.fromkeys(t for b in blocks for t in b.truths))}
    for block in blocks:
        for truth, weather, budget in product(block.truths, block.weathers, block.budgets):
            rules = wanted.setdefault((truth, weather, budget), [])
            rules += [
                r for r in block.rules if r not in rules and (weather, truth, budget, r) not in have
            ]
    found = [Task(w, t, b, tuple(rules)) for (t, w, b), rules in wanted.items() if rules]
    return sorted(found, key=lambda task: places[task.truth])  # stable: weathers, then budgets


def rows_of(
    todo: Sequence[Task],
    play: Callable[[Task], Sequence[Played]],
    n_processes: int,
) -> Iterator[Played]:
    """Rows as they are played; `play` must be a function of a module when several play."""
    if n_processes <= 1:
        for task in todo:
            yield from play(task)
        return
    with multiprocessing.get_context("spawn").Pool(n_processes) as pool:
        for rows in pool.imap_unordered(play, todo):
            yield from rows
