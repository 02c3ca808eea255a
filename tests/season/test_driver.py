"""What is still to be played, and that a stopped run goes on where it stopped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from tests.season import driver, figures, played
from tests.season.test_figures import row

BLOCKS = (
    driver.Block(("never", "every 8 days"), ("a", "b"), ("Wet 2001", "Dry 2002"), ("medium",)),
    driver.Block(("ours", "never"), ("a",), ("Wet 2001",), ("medium", "scarce")),
)


def made(task: driver.Task) -> Sequence[played.Played]:
    """Rows without playing."""
    more = {"weather": task.weather, "truth": task.truth, "budget": task.budget}
    return [row(rule, figures.CALENDAR, 1.0, 1.0, **more) for rule in task.rules]


def test_every_combination_is_played_once_and_truth_by_truth() -> None:
    todo = driver.tasks(BLOCKS, [])
    seasons = [(t.weather, t.truth, t.budget, rule) for t in todo for rule in t.rules]
    assert len(seasons) == len(set(seasons)) == 8 + 3
    first = [t.truth for t in todo[:4]]
    assert first == sorted(first)


def test_three_thirds_are_the_whole_and_each_is_even() -> None:
    whole = driver.Block(("never",), tuple("abcdef"), ("w", "x", "y"), ("scarce", "medium", "much"))
    thirds = [list(replace(whole, third=third).combinations()) for third in range(3)]
    assert sorted(c for third in thirds for c in third) == sorted(whole.combinations())
    for third in thirds:
        assert len({(weather, truth) for weather, truth, _ in third}) == len(third) == 18
        assert {b: sum(1 for c in third if c[2] == b) for b in whole.budgets} == {
            "scarce": 6,
            "medium": 6,
            "much": 6,
        }


def test_a_stopped_run_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "results.jsonl"
    for n, _ in enumerate(
        played.add_played(driver.rows_of(driver.tasks(BLOCKS, []), made, 1), path)
    ):
        if n == 4:
            break
    rest = driver.tasks(BLOCKS, played.read_played(path))
    assert sum(len(t.rules) for t in rest) == 11 - 5
    list(played.add_played(driver.rows_of(rest, made, 1), path))
    assert not driver.tasks(BLOCKS, played.read_played(path))
    assert len(played.read_played(path)) == 11


def test_two_processes_give_the_rows_of_one() -> None:
    todo = driver.tasks(BLOCKS, [])
    one = {r.key for r in driver.rows_of(todo, made, 1)}
    two = {r.key for r in driver.rows_of(todo, made, 2)}
    assert one == two
