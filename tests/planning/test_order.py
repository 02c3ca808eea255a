"""Which tools a planting can take, and the order of the day within the hours."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.planning.order import Draft, order_of_day
from scheduler.planning.outlook import Outlook
from scheduler.planning.tools import fitting_tools, work_minutes
from scheduler.planning.verdict import base_answer
from scheduler.records import Action, Tool
from scheduler.service.settings import tool_traits
from tests.planning.made import (
    BED,
    HOE,
    NOW_HOUR,
    SWEEPS,
    TINES,
    day,
    farm,
    outlook,
    planting,
)

ALWAYS = [(0, 24 * 20)]
TRAITS = tool_traits()


def blind(last_blind: float) -> Outlook:
    """Carrots sown that come up long after."""
    grown = planting("carrot", NOW_HOUR - 150)
    return outlook(ALWAYS, grown=grown, emergence=500.0, last_blind=last_blind)


# ------------------------------------------------------------------ tools


def offered(of: Outlook, is_late: bool = False) -> tuple[list[str], str]:
    tools, reason = fitting_tools(of, farm().tools, TRAITS, NOW_HOUR, 0, is_late)
    return [tool.name for tool in tools], reason


def test_tools_by_what_stands_in_the_bed() -> None:
    assert offered(outlook(ALWAYS)) == (["tines", "sweeps", "hoe"], "")
    assert offered(outlook(ALWAYS), is_late=True) == (["sweeps", "hoe"], "")
    assert offered(blind(NOW_HOUR + 50)) == (["tines"], "")
    up = replace(planting("carrot", NOW_HOUR - 400), up_at=day().now)
    assert offered(outlook(ALWAYS, grown=up, cover=0.3)) == (["sweeps", "hoe"], "")
    assert offered(outlook(ALWAYS, grown=up, cover=0.85)) == ([], "crop_up")
    assert offered(blind(NOW_HOUR - 1)) == ([], "crop_tender")


def test_flame_and_hand_are_not_offered_and_a_farm_without_tools_has_no_fit() -> None:
    of = outlook(ALWAYS)
    odd = (Tool("torch", "flame", 0.0, 0.6), Tool("hands", "hand", 20.0, 0.1))
    assert fitting_tools(of, odd, TRAITS, NOW_HOUR, 0, is_late=False) == ((), "no_fit")
    assert fitting_tools(of, (), TRAITS, NOW_HOUR, 0, is_late=False) == ((), "no_fit")


def test_minutes_grow_with_length_and_with_narrow_tools() -> None:
    half = replace(planting(), to_m=9.0)
    assert work_minutes(TINES, half) < work_minutes(TINES, planting())
    assert work_minutes(HOE, planting()) > 2.0 * work_minutes(TINES, planting())
    assert work_minutes(replace(TINES, speed_m_s=1.8), planting()) < work_minutes(TINES, planting())


# ------------------------------------------------------------------ the day


def draft(bed: str, tool: Tool, urgency: float, minutes: float = 10.0) -> Draft:
    at = day()
    base = base_answer(outlook(ALWAYS), at)
    start, end = at.sky.at(NOW_HOUR + 2), at.sky.at(NOW_HOUR + 14)
    action = Action(tool.name, None, tool.depth_mm, start, end, minutes, tool.setup_min)
    return Draft(replace(base, bed=bed, verdict="go", because="", action=action), urgency)


def waiting(bed: str) -> Draft:
    at = day()
    base = base_answer(outlook(ALWAYS), at)
    until = at.sky.at(NOW_HOUR + 60)
    answer = replace(base, bed=bed, verdict="wait", because="weeds_small", until=until)
    return Draft(answer, 0.0)


def test_one_set_up_at_a_time_the_tool_with_the_most_urgent_line_first() -> None:
    drafts = [
        draft("A1", TINES, 1.0),
        draft("A2", SWEEPS, 5.0),
        draft("A3", TINES, 2.0),
        draft("A4", SWEEPS, 0.1),
    ]
    lines, missed, planned, changes = order_of_day(drafts, 6.0, day())
    assert [line.bed for line in lines] == ["A2", "A4", "A3", "A1"]
    assert [line.rank for line in lines] == [1, 2, 3, 4]
    assert missed == ()
    assert changes == 2
    assert planned == 40.0 + SWEEPS.setup_min + TINES.setup_min
    setups = [line.action.setup_min for line in lines if line.action is not None]
    assert setups == [SWEEPS.setup_min, 0.0, TINES.setup_min, 0.0]


@pytest.mark.parametrize("hours", [0.0, 0.2, 0.5, 1.0, 3.0])
def test_the_plan_fits_the_hours_and_the_rest_is_named(hours: float) -> None:
    drafts = [draft(f"A{i}", (TINES, SWEEPS)[i % 2], 1.0 + i) for i in range(12)]
    lines, missed, planned, _ = order_of_day(drafts, hours, day())
    assert planned <= 60.0 * hours + 1e-9
    assert len(lines) + len(missed) == 12
    assert sorted([x.bed for x in lines] + [x.bed for x in missed]) == sorted(
        d.answer.bed for d in drafts
    )
    told = sum(x.action.work_min + x.action.setup_min for x in lines if x.action is not None)
    assert abs(told - planned) < 1e-9
    for line in missed:
        assert (line.verdict, line.because, line.rank) == ("wait", "no_hours", None)
        assert line.until is not None
        assert line.until > day().now


def test_what_is_not_to_be_done_follows_unranked() -> None:
    lines, _, _, changes = order_of_day([waiting("B1"), draft("A1", HOE, 1.0)], 6.0, day())
    assert [(line.bed, line.rank) for line in lines] == [("A1", 1), ("B1", None)]
    assert changes == 1
    none, _, planned, changes = order_of_day([waiting("B1")], 6.0, day())
    assert (len(none), planned, changes) == (1, 0.0, 0)


def test_the_order_does_not_depend_on_the_order_of_beds() -> None:
    drafts = [draft(f"A{i}", (TINES, SWEEPS, HOE)[i % 3], 1.0) for i in range(9)]
    forward = order_of_day(drafts, 1.5, day())
    backward = order_of_day(drafts[::-1], 1.5, day())
    assert forward == backward
    assert BED.name == "A1"
