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
    """Rules that are played on combinations of some truths, weathers and budgets.

    A `third` takes every third combination, so that each truth meets each weather once and each
    budget as often as any other: three blocks with the thirds 0, 1 and 2 are the whole.
    """

    rules: tuple[str, ...]
    truths: tuple[str, ...]
    weathers: tuple[str, ...]
    budgets: tuple[str, ...]
    third: int | None = None

    def combinations(self) -> Iterator[tuple[str, str, str]]:
        """Weather, truth and budget, truth by truth."""
        for (i, truth), (j, weather), (k, budget) in product(
            enumerate(self.truths), enumerate(self.weathers), enumerate(self.budgets)
        ):
            if self.third is None or (i + j + k) % 3 == self.third:
                yield weather, truth, budget


def tasks(blocks: Sequence[Block], done: Iterable[Played]) -> list[Task]:
    """What is still to be played: block by block, and within it truth by truth.

    So a run that is stopped leaves an even sample.
    """
    have = {row.key for row in done}
    found: list[Task] = []
    for block in blocks:
        for weather, truth, budget in block.combinations():
            rules = tuple(r for r in block.rules if (weather, truth, budget, r) not in have)
            have.update((weather, truth, budget, r) for r in rules)
            if rules:
                found.append(Task(weather, truth, budget, rules))
    return found


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
