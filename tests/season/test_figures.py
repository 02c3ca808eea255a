"""Figures of played seasons, on made rows whose answers can be worked by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.season import figures, played

WEATHERS = ("Wet 2001", "Dry 2002")


def row(rule: str, family: str, hand: float, machine: float, **more: object) -> played.Played:
    """A season; by default the first truth of the wet weather."""
    held: dict[str, object] = {
        "mark": "m",
        "weather": "Wet 2001",
        "truth": "truth 1",
        "kind": "",
        "budget": "medium",
        "rule": rule,
        "family": family,
        "hand_min": hand,
        "machine_min": machine,
        "vain_min": 0.0,
        "n_passes": 10,
        "n_vain": 0,
        "n_hand_rounds": 3,
        "stand_lost_min": 5.0,
        "seeds_shed": 100.0,
        "stated": (),
        "came_true": (),
        "seconds": 1.0,
    }
    return played.Played(**{**held, **more})  # type: ignore[arg-type]


def test_frontier_is_the_hull_and_never_rises() -> None:
    at = figures.frontier(
        np.array([0.0, 50.0, 100.0, 200.0]), np.array([1000.0, 990.0, 600.0, 700.0])
    )
    assert at(0.0) == 1000.0
    assert at(50.0) == pytest.approx(
        800.0
    )  # halfway between never and 100: 990 lies above the hull
    assert at(100.0) == 600.0
    assert at(400.0) == 600.0


def test_frontier_does_not_depend_on_the_order_of_points() -> None:
    x, y = np.array([0.0, 80.0, 120.0, 300.0]), np.array([900.0, 500.0, 480.0, 300.0])
    turned = figures.frontier(x[::-1].copy(), y[::-1].copy())
    for machine in (10.0, 100.0, 250.0):
        assert turned(machine) == pytest.approx(figures.frontier(x, y)(machine))


def test_gain_against_the_frontier() -> None:
    rows = [
        row("never", figures.NEVER, 1000.0, 0.0),
        row("every 8 days", figures.CALENDAR, 600.0, 200.0),
        row("ours", figures.OURS, 640.0, 100.0),
    ]
    gain = figures.frontier_gain(figures.frame(rows), "ours", [figures.CALENDAR])
    assert gain == pytest.approx(1.0 - 640.0 / 800.0)


def test_a_rule_that_needs_more_of_both_is_dominated() -> None:
    rows = [
        row("a", figures.ATTENTIVE, 500.0, 200.0),
        row("b", figures.ATTENTIVE, 400.0, 300.0),
        row("c", figures.ATTENTIVE, 500.0, 250.0),
        row("d", figures.CALENDAR, 100.0, 100.0),
    ]
    assert figures.undominated(figures.frame(rows), figures.ATTENTIVE) == ["a", "b"]


def test_visits_in_vain_are_minutes_with_the_machine() -> None:
    table = figures.frame([row("ours", figures.OURS, 100.0, 40.0, vain_min=20.0)])
    assert table["tractor_min"].tolist() == [60.0]
    assert table["total_min"].tolist() == [130.0]
    assert table["whole_min"].tolist() == [135.0]


def test_the_best_rule_is_named_for_each_weather() -> None:
    rows = []
    for weather, (eight, ten) in zip(WEATHERS, ((500.0, 600.0), (700.0, 400.0)), strict=True):
        rows += [
            row("every 8 days", figures.CALENDAR, eight, 200.0, weather=weather),
            row("every 10 days", figures.CALENDAR, ten, 100.0, weather=weather),
            row("ours", figures.OURS, 300.0, 150.0, weather=weather),
        ]
    gain = figures.gain_over_best(figures.frame(rows), "ours", [figures.CALENDAR])
    assert sorted(gain.by_pair) == pytest.approx(sorted((1 - 300 / 500, 1 - 300 / 400)))
    assert gain.machine_share == pytest.approx(300.0 / 300.0)
    assert gain.worse_share == 0.0


def test_a_rule_that_has_not_played_a_truth_takes_the_truth_out() -> None:
    rows = [
        row("every 8 days", figures.CALENDAR, 500.0, 200.0),
        row("every 10 days", figures.CALENDAR, 600.0, 200.0),
        row("every 8 days", figures.CALENDAR, 900.0, 200.0, truth="truth 2"),
    ]
    table = figures.common_truths(figures.frame(rows), [figures.CALENDAR])
    assert set(table["truth"]) == {"truth 1"}


def test_share_of_the_oracle() -> None:
    rows = [
        row("never", figures.NEVER, 1000.0, 0.0),
        row("every 8 days", figures.CALENDAR, 800.0, 200.0),  # total 900
        row("ours", figures.OURS, 700.0, 200.0),  # total 800
        row("oracle", figures.ORACLE, 600.0, 200.0),  # total 700
    ]
    assert figures.oracle_share(figures.frame(rows), "ours", "oracle") == pytest.approx(0.5)
    assert np.isnan(figures.oracle_share(figures.frame(rows[:3]), "ours", "oracle"))


def test_bins_hold_each_line_once() -> None:
    stated, came = (0.7, 0.75, 0.95, 1.0, 0.2), (True, False, True, True, False)
    rows = [row("ours", figures.OURS, 1.0, 1.0, stated=stated, came_true=came)]
    bins = figures.sure_bins(figures.frame(rows))
    assert sum(b.n_lines for b in bins) == 5
    held = {(b.low, b.high): (b.n_lines, b.came_true) for b in bins}
    assert held[(0.7, 0.8)] == (2, 0.5)
    assert held[(0.95, 1.0)] == (2, 1.0)


def test_ablations_are_compared_on_the_same_pairs() -> None:
    rows = [
        row("ours", figures.OURS, 400.0, 200.0),
        row("ours", figures.OURS, 100.0, 0.0, truth="truth 2"),
        row("ours, no clock", figures.ABLATION, 450.0, 200.0),
    ]
    (change,) = figures.ablation_changes(figures.frame(rows), "ours")
    assert change.n_pairs == 1
    assert change.total == pytest.approx(0.1)
    assert change.machine == pytest.approx(0.0)


def test_rows_come_back_from_the_file_and_a_half_line_is_dropped(tmp_path: Path) -> None:
    path = tmp_path / "results.jsonl"
    one = row("ours", figures.OURS, 1.0, 2.0, stated=(0.5,), came_true=(True,))
    list(played.add_played([one], path))
    with path.open("a", encoding="utf-8") as file:
        file.write('{"mark": "m", "wea')
    assert played.read_played(path) == [one]
    two = row("never", figures.NEVER, 3.0, 0.0)
    list(played.add_played([two], path))
    assert played.read_played(path) == [one, two]
    assert played.read_played(path, marks=["other"]) == []
