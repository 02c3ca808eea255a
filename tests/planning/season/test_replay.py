"""A logged season under other rules: hours, plans that repeat, truths that are shared."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.planning.season.garden import LoggedPass, LoggedPasses, day_at
from scheduler.planning.season.play import played
from scheduler.planning.season.replay import (
    AS_LOGGED,
    Planned,
    central_truth,
    drawn_truths,
    list_plan,
    logged_hours,
    plan_minutes,
    plan_of,
    range_of,
    replayed,
)
from scheduler.planning.season.rules import Calendar
from scheduler.planning.season.shapes import Hours
from scheduler.planning.season.truth import truth_season
from scheduler.planning.season.world import Way, World
from tests.planning.season.made import season, truth, world


def way(bed: str, tool: str, day: int) -> Way:
    return next(w for w in world().ways[day, bed] if w.tool.name == tool)


def made(*lines: tuple[str, str, int, float]) -> LoggedPasses:
    """Passes at noon of a day, with their set-up minutes."""
    return LoggedPasses(
        tuple(
            LoggedPass(
                bed,
                float(world().days[day].open_hours[5]),
                replace(way(bed, tool, day), minutes=25.0),
                False,
                up,
            )
            for bed, tool, day, up in lines
        ),
        (),
    )


def logged() -> LoggedPasses:
    return made(("K1", "tines", 49, 10.0), ("C1", "tines", 49, 0.0), ("K1", "bar", 90, 10.0))


# ----------------------------------------------------------------------- hours


def test_minutes_come_together_to_an_hour_and_none_is_used_before_it_was_logged() -> None:
    """60 min on day 49 are used there; 35 min on day 90 are too few to go out for."""
    hours = logged_hours(world(), logged())
    assert np.flatnonzero(hours.a_day_min).tolist() == [49]
    assert_allclose(hours.left_min(49, 0.0), 60.0)
    assert_allclose(hours.left_min(49, 45.0), 15.0)
    assert hours.left_min(50, 0.0) == 0.0
    assert hours.by_then_min is not None
    assert_allclose(hours.by_then_min[[48, 49, 90]], [0.0, 60.0, 95.0])


def test_without_a_logged_pass_the_hours_of_the_plan_count() -> None:
    hours = logged_hours(world(), LoggedPasses((), ()))
    assert hours.by_then_min is None
    assert_array_equal(hours.a_day_min, plan_minutes(world()))


def test_more_hours_are_shared_over_the_working_days() -> None:
    """Four days of 4 h; 8 h more a week make them 6 h, 20 h fewer leave none."""
    plain, more, none = (plan_minutes(world(), h) for h in (0.0, 8.0, -20.0))
    assert set(plain.tolist()) == {0.0, 240.0}
    assert set(more.tolist()) == {0.0, 360.0}
    assert not none.any()


def test_a_rule_keeps_within_its_hours() -> None:
    hours = logged_hours(world(), logged())
    state = played(world(), truth(), Calendar(world(), 8.0), hours, season=season())
    bill = state.bill()
    assert 0.0 < bill.machine_min + bill.vain_min <= 60.0
    made_on = {
        day_at(world(), world().hour_of(e.happened_at)) for e in state.events if e.kind == "pass"
    }
    assert made_on == {49}


# ------------------------------------------------------------------------ plans


def test_a_plan_repeats_the_play_it_was_taken_from() -> None:
    rule = Calendar(world(), 8.0, minds_wet=True)
    first = played(world(), truth(), rule, 60.0, season=season())
    again = played(world(), truth(), Planned("again", plan_of(first)), 60.0, season=season())
    assert first.bill().n_passes > 3
    assert [e.event_id for e in again.events] == [e.event_id for e in first.events]
    assert again.bill().hand_min == first.bill().hand_min


def test_the_list_is_played_within_its_hours() -> None:
    a_day = np.where([day.is_working and 44 <= day.index < 100 for day in world().days], 30.0, 0.0)
    plan = list_plan(world(), Hours(a_day), 0.5)
    assert plan.plan
    assert all(a_day[day] > 0.0 for day in plan.plan)
    central = central_truth(world())
    told: list[float] = []
    list_plan(world(), Hours(np.where(np.arange(a_day.size) == 76, 30.0, 0.0)), 0.5, told.append)
    assert told
    bill = played(world(), central, plan, Hours(a_day)).bill()
    never = played(world(), central, Planned("never", {}), Hours(a_day)).bill()
    assert bill.hand_min < never.hand_min


# ----------------------------------------------------------------------- truths


def test_truths_are_the_same_again_and_differ_in_soil_and_size() -> None:
    truths, again = drawn_truths(world(), 3), drawn_truths(world(), 3)
    assert [t.farm_size_ln for t in truths] == [t.farm_size_ln for t in again]
    assert len({t.farm_size_ln for t in truths}) == 3
    middle = [float(t.soils["middle"].working_m3m3[0]) for t in truths]
    assert len(set(middle)) == 3
    assert all(t.soils["middle"].working_m3m3.shape == (1,) for t in truths)


def test_rules_meet_the_same_truths_and_differences_are_paired() -> None:
    truths = drawn_truths(world(), 2)
    told: list[float] = []
    found = replayed(
        world(), logged(), truths, [Planned("never", {})], Hours(plan_minutes(world())), told.append
    )
    assert [replay.rule for replay in found] == [AS_LOGGED, "never"]
    own, never = found
    assert own.against_logged_min == range_of([0.0, 0.0])
    assert never.machine_min == range_of([0.0, 0.0])
    hand = [
        played(world(), t, Planned("never", {}), 60.0, season=truth_season(world(), t))
        .bill()
        .hand_min
        for t in truths
    ]
    assert never.hand_min == range_of(hand)
    assert own.n_passes == range_of([3, 3])
    assert told == [0.5, 1.0]
    assert own.n_truths == 2


def test_the_central_truth_has_no_luck() -> None:
    central = central_truth(world())
    assert (central.clock, central.farm_size_ln, central.pass_kill_ln_sd) == (1.0, 0.0, 0.0)
    assert not central.is_outside


@pytest.mark.parametrize("built", [world()])
def test_ways_of_a_rule_are_kept_and_not_copied(built: World) -> None:
    assert not replace(built, ways={}).usual_ways
