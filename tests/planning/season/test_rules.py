"""The rules of comparison: when they go, with what, and in which order."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from scheduler.planning.season.play import PlayState, played
from scheduler.planning.season.rules import (
    AfterRain,
    Attentive,
    Calendar,
    WheneverWorkable,
    in_groups,
    simple_rules,
    stirred_hour,
    usual_way,
)
from scheduler.planning.season.shapes import Rule
from scheduler.records import Event
from tests.planning.season.made import season, truth, world


def done_by(rule: Rule, budget_min: float = 240.0) -> PlayState:
    return played(world(), truth(), rule, budget_min, season=season())


def days_of(done: PlayState, bed: str, *, worked: bool = True) -> list[int]:
    return [
        int(world().hour_of(e.happened_at) // 24)
        for e in done.events
        if e.kind == "pass" and e.bed == bed and e.data["worked"] is worked
    ]


@pytest.mark.parametrize(
    ("day", "bed", "tool"),
    [(49, "K1", "tines"), (60, "C1", "tines"), (62, "K1", "sweeps"), (76, "K1", "bar"),
     (70, "C1", "sweeps"), (104, "C1", "bar")],
)  # fmt: skip
def test_usual_tool(day: int, bed: str, tool: str) -> None:
    """Blind tines before the crop is up, then sweeps, and the stack once the row may be worked."""
    way = usual_way(world().ways[day, bed], world())
    assert way is not None
    assert way.tool.name == tool


def test_no_tool_no_way() -> None:
    assert usual_way((), world()) is None


@pytest.mark.parametrize("every_d", [7, 14])
def test_a_calendar_keeps_its_days(every_d: int) -> None:
    """No two stirrings closer than its days, and no working day let go by in dry weather."""
    done = done_by(Calendar(world(), every_d))
    for plot in world().plots:
        found = days_of(done, plot.key)
        assert len(found) >= 3
        stirs = sorted([*found, int(plot.prepared_hour // 24), int(plot.established_hour // 24)])
        assert np.diff(stirs)[np.isin(stirs[1:], found)].min() >= every_d


def test_more_often_is_more_passes() -> None:
    counts = [done_by(Calendar(world(), d)).bill().n_passes for d in (7, 10, 20)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[-1]


def test_a_rule_that_minds_the_wet_makes_no_visit_in_vain() -> None:
    blind, minding = (done_by(Calendar(world(), 7, wet)).bill() for wet in (False, True))
    assert minding.n_vain == 0
    assert blind.n_vain > 0
    assert done_by(WheneverWorkable(world())).bill().n_vain == 0


def test_seven_days_after_rain_or_pass() -> None:
    """Never within seven days of a stirring, nor of the first rain of 8 mm after it."""
    done = done_by(AfterRain(world(), minds_wet=True))
    rainy = [int(d) for d, mm in ((50, 20), (66, 15), (75, 10), (84, 25), (97, 12), (108, 18))]
    days = days_of(done, "K1")
    assert days
    for before, day in zip([40, *days], days, strict=False):
        later = [r for r in rainy if r > before]
        since = min([r for r in later if r < day], default=before)
        assert day - since >= 6


def test_eyes_go_by_what_they_see() -> None:
    """The lower the threshold the more passes; above all weeds none; the gap is kept."""
    counts = [done_by(Attentive(world(), t, 1)).bill().n_passes for t in (5.0, 40.0, 1e6)]
    assert counts[0] > counts[1] > counts[2] == 0
    days = days_of(done_by(Attentive(world(), 5.0, 5)), "K1")
    assert np.diff(days).min() >= 5


def test_eyes_see_nothing_where_nothing_stands() -> None:
    """No pass within the first days after preparation, when all is in the ground or a thread."""
    days = days_of(done_by(Attentive(world(), 5.0, 1)), "K1")
    state = PlayState(season())
    state.advance(24.0 * days[0] + 11.0)
    seen = state.weeds_m2("K1")
    assert seen is not None
    a = state.weeds["K1"].plot.row_share
    assert (a * seen[0, 2:] + (1.0 - a) * seen[1, 2:]).sum() > 5.0
    threads = days_of(done_by(Attentive(world(), 5.0, 1, is_by_threads=True)), "K1")
    assert threads[0] <= days[0]


def test_a_weekly_look_waits_for_the_next_after_a_pass() -> None:
    """What was seen before a pass sends nobody out after it: at most one pass a look."""
    days = days_of(done_by(Attentive(world(), 5.0, 1, looks_every_d=7)), "K1")
    weeks = [day // 7 for day in days]
    assert len(weeks) >= 5
    assert len(set(weeks)) == len(weeks)
    assert len(days) < len(days_of(done_by(Attentive(world(), 5.0, 1)), "K1"))


def test_a_rule_with_a_memory_begins_each_season_anew() -> None:
    rule = Attentive(world(), 10.0, 3, looks_every_d=7)
    first, again = done_by(rule).bill(), done_by(rule).bill()
    assert (first.hand_min, first.n_passes) == (again.hand_min, again.n_passes)


def test_beds_of_one_tool_are_done_together() -> None:
    kale, carrot = world().plots
    tines = next(w for w in world().ways[49, "K1"] if w.tool.name == "tines")
    sweeps = next(w for w in world().ways[49, "C1"] if w.tool.name == "sweeps")
    found = in_groups([(kale, sweeps), (kale, tines), (carrot, tines)])
    assert [(c.planting_key, c.tool) for c in found] == [
        ("K1", "tines"), ("C1", "tines"), ("K1", "sweeps"),
    ]  # fmt: skip


def test_last_stirring_leaves_out_visits_in_vain() -> None:
    at = world().at(24.0 * 60)
    events = (
        Event("1", "pass", at, at, "K1", None, {"worked": True}),
        Event("2", "pass", at + timedelta(days=2), at, "C1", None, {"worked": True}),
        Event("3", "pass", at + timedelta(days=3), at, "K1", None, {"worked": False}),
        Event("4", "hand", at + timedelta(days=4), at, "K1"),
    )
    assert stirred_hour(events, world().plots[0], world()) == 24.0 * 60
    assert stirred_hour((), world().plots[0], world()) == -np.inf


def test_one_tool_alone() -> None:
    """Who keeps to one tool hangs on no other, and leaves what that tool cannot do."""
    for rule in (Calendar(world(), 7, True, "sweeps"), Attentive(world(), 5.0, 1, with_tool="hoe")):
        tools = {e.data["tool"] for e in done_by(rule).events if e.kind == "pass"}
        assert tools == {rule.with_tool}
    assert usual_way(world().ways[49, "K1"], world(), "fingers") is None


def test_the_grid_of_the_study() -> None:
    """Never, five calendars and seven days after rain in two kinds each, 24 eyes and the rest.

    With each of two tools alone the six that mind the wet, and 12 eyes.
    """
    rules = simple_rules(world())
    names = [rule.name for rule in rules]
    assert len(names) == len(set(names)) == 1 + 10 + 2 + 1 + 24 + 2 * 18 + 4 + 1
