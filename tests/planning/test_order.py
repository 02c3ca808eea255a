"""The order of the day: one tool and one set-up at a time, within the hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.order import Draft, order_of_day
from scheduler.planning.verdict import base_answer
from scheduler.records import Action, BedAnswer, Tool
from tests.planning.made import HOE, NOW_HOUR, SWEEPS, TINES, day, farm, outlook

ALWAYS = [(0, 24 * 20)]


def draft(
    bed: str, tool: Tool, urgency: float, minutes: float = 10.0, setup: str | None = None
) -> Draft:
    at = day()
    base = base_answer(outlook(ALWAYS), at)
    start, end = at.sky.at(NOW_HOUR + 2), at.sky.at(NOW_HOUR + 14)
    action = Action(tool.name, setup, tool.depth_mm, start, end, minutes, tool.setup_min)
    return Draft(replace(base, bed=bed, verdict="go", because="", action=action), urgency)


def waiting(bed: str) -> Draft:
    at = day()
    base = base_answer(outlook(ALWAYS), at)
    until = at.sky.at(NOW_HOUR + 60)
    answer = replace(base, bed=bed, verdict="wait", because="weeds_small", until=until)
    return Draft(answer, 0.0)


def settings(lines: Sequence[BedAnswer]) -> list[tuple[str, str | None]]:
    return [(x.action.tool, x.action.setup) for x in lines if x.action is not None]


def setup_minutes_told(lines: Sequence[BedAnswer]) -> list[float]:
    return [x.action.setup_min for x in lines if x.action is not None]


# ------------------------------------------------------------------ one tool after the other


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
    assert setup_minutes_told(lines) == [SWEEPS.setup_min, 0.0, TINES.setup_min, 0.0]


def test_a_line_that_no_longer_fits_lets_a_shorter_one_pass() -> None:
    drafts = [draft("A1", HOE, 3.0, 20.0), draft("A2", HOE, 2.0, 20.0), draft("A3", HOE, 1.0, 5.0)]
    lines, missed, planned, _ = order_of_day(drafts, 0.5, day())
    assert [line.bed for line in lines] == ["A1", "A3"]
    assert [line.bed for line in missed] == ["A2"]
    assert planned == 25.0  # the hoe needs no set-up


def test_a_line_missed_is_not_the_set_up_in_use() -> None:
    """Sweeps that find no time are not mounted: the tines are charged in full, and once."""
    drafts = [draft("A1", SWEEPS, 9.0, 60.0), draft("A2", TINES, 1.0), draft("A3", TINES, 0.5)]
    lines, missed, planned, changes = order_of_day(drafts, 0.75, day())
    assert [line.bed for line in missed] == ["A1"]
    assert setup_minutes_told(lines) == [TINES.setup_min, 0.0]
    assert (planned, changes) == (20.0 + TINES.setup_min, 1)


# ------------------------------------------------------------------ set-ups of one tool


def test_another_setting_of_the_tool_in_use_costs_less_than_another_tool() -> None:
    """Half of the tool's own minutes, at most 5: 4 of the 8 of the sweeps, 5 of 14."""
    for tool, less in ((SWEEPS, 4.0), (replace(SWEEPS, setup_min=14.0), 5.0)):
        tools = (TINES, tool)
        of_farm = day(farm(tools))
        drafts = [
            draft("A1", tool, 3.0, setup="two rows"),
            draft("A2", tool, 2.0, setup="three rows"),
            draft("A3", TINES, 1.0),
        ]
        lines, _, planned, changes = order_of_day(drafts, 6.0, of_farm)
        assert [line.bed for line in lines] == ["A1", "A2", "A3"]
        assert setup_minutes_told(lines) == [tool.setup_min, less, TINES.setup_min]
        assert planned == 30.0 + tool.setup_min + less + TINES.setup_min
        assert changes == 3


def test_lines_of_one_set_up_stand_together_the_one_with_the_most_urgent_line_first() -> None:
    two, three = "two rows", "three rows"
    drafts = [
        draft("A1", SWEEPS, 1.0, setup=two),
        draft("A2", SWEEPS, 5.0, setup=three),
        draft("A3", SWEEPS, 4.0, setup=two),
        draft("A4", SWEEPS, 0.1, setup=three),
        draft("A5", TINES, 4.5),
    ]
    lines, _, _, changes = order_of_day(drafts, 6.0, day())
    assert [line.bed for line in lines] == ["A2", "A4", "A3", "A1", "A5"]
    assert settings(lines) == [
        ("sweeps", three), ("sweeps", three), ("sweeps", two), ("sweeps", two), ("tines", None),
    ]  # fmt: skip
    assert setup_minutes_told(lines) == [8.0, 0.0, 4.0, 0.0, TINES.setup_min]
    assert changes == 3


def test_no_set_up_is_a_set_up_of_its_own() -> None:
    drafts = [draft("A1", SWEEPS, 2.0), draft("A2", SWEEPS, 1.0, setup="two rows")]
    lines, _, _, changes = order_of_day(drafts, 6.0, day())
    assert setup_minutes_told(lines) == [8.0, 4.0]
    assert changes == 2


line_of_a_day = st.tuples(
    st.sampled_from((TINES, SWEEPS, HOE)),
    st.sampled_from((None, "two rows", "three rows")),
    st.floats(0.0, 9.0),
    st.floats(1.0, 40.0),
)


@given(st.lists(line_of_a_day, max_size=9), st.floats(0.0, 3.0))
def test_a_setting_is_mounted_once_and_each_change_is_paid(
    made: list[tuple[Tool, str | None, float, float]], hours: float
) -> None:
    drafts = [draft(f"A{i}", t, u, m, setup) for i, (t, setup, u, m) in enumerate(made)]
    lines, missed, planned, changes = order_of_day(drafts, hours, day())
    seen = settings(lines)
    runs = [key for i, key in enumerate(seen) if i == 0 or seen[i - 1] != key]
    assert len(runs) == len(set(runs)) == changes
    tools = [tool for i, (tool, _) in enumerate(runs) if i == 0 or runs[i - 1][0] != tool]
    assert len(tools) == len(set(tools))
    assert planned <= 60.0 * hours + 1e-9
    assert len(lines) + len(missed) == len(drafts)
    again = order_of_day(drafts[::-1], hours, day())
    assert again == (lines, missed, planned, changes)


# ------------------------------------------------------------------ the hours


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
