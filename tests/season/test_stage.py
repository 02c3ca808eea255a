"""Truths and rules of the study by name, and one short task played."""

from __future__ import annotations

from tests.season import figures, played, stage, weathers
from tests.season.driver import Task


def test_half_of_the_truths_lie_outside_the_prior() -> None:
    names = stage.truth_names()
    assert len(names) == len(set(names)) >= 40
    assert sum(1 for name in names if stage.kind_of(name)) * 2 >= len(names)
    first = names[:8]
    assert sum(1 for name in first if stage.kind_of(name)) == 4  # a part of them is even too


def test_tuning_and_judging_share_no_truth() -> None:
    assert not set(stage.tuning_names()) & set(stage.truth_names())


def test_a_truth_is_the_same_under_every_weather() -> None:
    a = stage.truth_of("Newark 2013", "inside 01")
    b = stage.truth_of("Seattle 2014", "inside 01")
    assert (a.clock, a.farm_size_ln, a.kill_ln) == (b.clock, b.farm_size_ln, b.kill_ln)
    assert stage.truth_of("Newark 2013", "clock fast").clock == 1.4
    assert stage.truth_of("Newark 2013", "other build 1").build == "product"


def test_fixed_rules_keep_their_rows_when_the_planner_alone_changes() -> None:
    table = "subject,parameter,value\nvalue,pass_frac,0.5\nvalue,vain_min,4\nkill,again_frac,0.7"
    kept = played.world_rows(table)
    assert kept == played.world_rows(table.replace("pass_frac,0.5", "pass_frac,0.6"))
    assert kept != played.world_rows(table.replace("vain_min,4", "vain_min,5"))
    assert kept != played.world_rows(table.replace("0.7", "0.6"))
    marks = stage.marks()
    assert marks[True] != marks[False]


def test_the_grid_of_fixed_rules_is_whole() -> None:
    assert len(stage.rules_of(figures.ATTENTIVE)) == 24 + 24  # with any tool; with one
    assert len(stage.rules_of(figures.SINGLE)) == 12
    for days in (7, 8, 10, 14, 20):
        assert f"every {days} days" in stage.rules_of(figures.CALENDAR)
    assert "7 days after rain or pass" in stage.rules_of(figures.CALENDAR)


def test_a_task_is_played() -> None:
    weather = weathers.TUNING[0]
    rows = stage.play_task(
        Task(weather, "tuning 1", "scarce", ("never", "every 8 days")), {True: "m"}
    )
    never, calendar = rows
    assert never.n_passes == never.machine_min == 0
    assert calendar.n_passes > 20
    assert calendar.hand_min < never.hand_min
    working_days = 4 * 35
    assert calendar.machine_min + calendar.vain_min <= working_days * stage.BUDGETS_MIN["scarce"]
