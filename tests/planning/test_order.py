"""The order of the day: one tool and one set-up at a time, within the hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.order import DayPlan, Draft, order_of_day
from scheduler.planning.readings import base_answer
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
    answer = replace(base, bed=bed, verdict="go", because="", action=action)
    return Draft(answer, urgency, worth_min=(1.0 + urgency) * minutes)


def parts(plan: DayPlan) -> tuple[tuple[BedAnswer, ...], tuple[BedAnswer, ...], float, int]:
    return plan.answers, plan.not_reached, plan.minutes, plan.n_setups


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
    lines, missed, planned, changes = parts(order_of_day(drafts, 6.0, day()))
    assert [line.bed for line in lines] == ["A2", "A4", "A3", "A1"]
    assert [line.rank for line in lines] == [1, 2, 3, 4]
    assert missed == ()
    assert changes == 2
    assert planned == 40.0 + SWEEPS.setup_min + TINES.setup_min
    assert setup_minutes_told(lines) == [SWEEPS.setup_min, 0.0, TINES.setup_min, 0.0]


def test_hours_in_which_no_line_can_be_done_are_none() -> None:
    """Rain from 10:00 leaves an hour and, for one bed, another in the evening of six to work."""

    def shortened(one: Draft, first: int, last: int) -> Draft:
        start, end = (day().sky.at(NOW_HOUR + hour) for hour in (first, last))
        return replace(
            one, answer=replace(one.answer, action=replace(one.action, start=start, end=end))
        )

    drafts = [draft(f"A{i}", HOE, 5.0 - i, 25.0) for i in range(5)]
    dry = [shortened(one, 2, 3) for one in drafts]
    lines, missed, planned, _ = parts(order_of_day(dry, 6.0, day()))
    assert ([line.bed for line in lines], len(missed), planned) == (["A0", "A1"], 3, 50.0)
    evening = [*dry[:4], shortened(drafts[4], 10, 11)]
    assert parts(order_of_day(evening, 6.0, day()))[2] == 100.0


def test_a_line_that_no_longer_fits_lets_a_shorter_one_pass() -> None:
    drafts = [draft("A1", HOE, 3.0, 20.0), draft("A2", HOE, 2.0, 20.0), draft("A3", HOE, 1.0, 5.0)]
    lines, missed, planned, _ = parts(order_of_day(drafts, 0.5, day()))
    assert [line.bed for line in lines] == ["A1", "A3"]
    assert [line.bed for line in missed] == ["A2"]
    assert planned == 25.0  # the hoe needs no set-up


def test_a_line_missed_is_not_the_set_up_in_use() -> None:
    """Sweeps that find no time are not mounted: the tines are charged in full, and once."""
    drafts = [draft("A1", SWEEPS, 9.0, 60.0), draft("A2", TINES, 2.0), draft("A3", TINES, 1.5)]
    lines, missed, planned, changes = parts(order_of_day(drafts, 0.75, day()))
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
            draft("A3", TINES, 1.5, 20.0),
        ]
        lines, _, planned, changes = parts(order_of_day(drafts, 6.0, of_farm))
        assert [line.bed for line in lines] == ["A1", "A2", "A3"]
        assert setup_minutes_told(lines) == [tool.setup_min, less, TINES.setup_min]
        assert planned == 40.0 + tool.setup_min + less + TINES.setup_min
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
    lines, _, _, changes = parts(order_of_day(drafts, 6.0, day()))
    assert [line.bed for line in lines] == ["A2", "A4", "A3", "A1", "A5"]
    assert settings(lines) == [
        ("sweeps", three), ("sweeps", three), ("sweeps", two), ("sweeps", two), ("tines", None),
    ]  # fmt: skip
    assert setup_minutes_told(lines) == [8.0, 0.0, 4.0, 0.0, TINES.setup_min]
    assert changes == 3


def test_no_set_up_is_a_set_up_of_its_own() -> None:
    drafts = [draft("A1", SWEEPS, 2.0), draft("A2", SWEEPS, 1.0, setup="two rows")]
    lines, _, _, changes = parts(order_of_day(drafts, 6.0, day()))
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
    lines, missed, planned, changes = parts(order_of_day(drafts, hours, day()))
    seen = settings(lines)
    runs = [key for i, key in enumerate(seen) if i == 0 or seen[i - 1] != key]
    assert len(runs) == len(set(runs)) == changes
    tools = [tool for i, (tool, _) in enumerate(runs) if i == 0 or runs[i - 1][0] != tool]
    assert len(tools) == len(set(tools))
    assert planned <= 60.0 * hours + 1e-9
    assert len(lines) + len(missed) == len(drafts)
    again = parts(order_of_day(drafts[::-1], hours, day()))
    assert again == (lines, missed, planned, changes)


# ------------------------------------------------------------------ the hours


@pytest.mark.parametrize("hours", [0.0, 0.2, 0.5, 1.0, 3.0])
def test_the_plan_fits_the_hours_and_the_rest_is_named(hours: float) -> None:
    drafts = [draft(f"A{i}", (TINES, SWEEPS)[i % 2], 1.0 + i) for i in range(12)]
    lines, missed, planned, _ = parts(order_of_day(drafts, hours, day()))
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
    lines, _, _, changes = parts(order_of_day([waiting("B1"), draft("A1", HOE, 1.0)], 6.0, day()))
    assert [(line.bed, line.rank) for line in lines] == [("A1", 1), ("B1", None)]
    assert changes == 1
    none, _, planned, changes = parts(order_of_day([waiting("B1")], 6.0, day()))
    assert (len(none), planned, changes) == (1, 0.0, 0)


def test_the_order_does_not_depend_on_the_order_of_beds() -> None:
    drafts = [draft(f"A{i}", (TINES, SWEEPS, HOE)[i % 3], 1.0) for i in range(9)]
    forward = order_of_day(drafts, 1.5, day())
    backward = order_of_day(drafts[::-1], 1.5, day())
    assert forward == backward


# ------------------------------------------------------------------ the price of time


def test_where_hours_are_scarce_the_quick_tool_is_taken() -> None:
    """Four beds: a hoe saves 45 min in 20, sweeps 25 in 4; first three hours, then 27 min."""
    drafts = []
    for i in range(4):
        slow = draft(f"A{i}", HOE, 2.0, 20.0)
        quick = draft(f"A{i}", SWEEPS, 6.0, 4.0)
        slow, quick = replace(slow, worth_min=45.0), replace(quick, worth_min=25.0)
        drafts.append(replace(slow, others=(quick,)))
    plenty = order_of_day(drafts, 3.0, day())
    assert {x.action.tool for x in plenty.answers if x.action is not None} == {"hoe"}
    assert plenty.worth_min == 180.0
    scarce = order_of_day(drafts, 0.45, day())
    assert [x.action.tool for x in scarce.answers if x.action is not None] == ["sweeps"] * 4
    assert (scarce.worth_min, scarce.minutes) == (100.0, 16.0 + SWEEPS.setup_min)


@given(st.lists(line_of_a_day, max_size=9), st.integers(0, 8), st.integers(0, 8))
def test_more_hours_never_lower_the_worth_planned(
    made: list[tuple[Tool, str | None, float, float]], quarters: int, more: int
) -> None:
    drafts = [draft(f"A{i}", t, u, m, setup) for i, (t, setup, u, m) in enumerate(made)]
    less = order_of_day(drafts, quarters / 4.0, day()).net_min
    assert order_of_day(drafts, (quarters + more) / 4.0, day()).net_min >= less - 1e-9


def test_a_set_up_that_its_lines_do_not_pay_for_stays_in_the_shed() -> None:
    """Two lines leave 4 min each; the tines take 10 to mount. With three the set-up pays."""
    few = [replace(draft(f"A{i}", TINES, 1.0, 2.0), worth_min=6.0) for i in range(2)]
    plan = order_of_day(few, 6.0, day())
    assert (plan.n_setups, plan.minutes, plan.not_reached) == (0, 0.0, ())
    assert [(x.verdict, x.because) for x in plan.answers] == [("nothing", "clean")] * 2
    assert "too little to set it up for" in plan.answers[0].why[0]
    many = [*few, replace(draft("A9", TINES, 1.0, 2.0), worth_min=6.0)]
    assert order_of_day(many, 6.0, day()).n_setups == 1
    hoed = [replace(few[0], others=(replace(draft("A0", HOE, 1.0, 3.0), worth_min=5.0),)), few[1]]
    first = order_of_day(hoed, 6.0, day()).answers[0]
    assert first.action is not None
    assert first.action.tool == "hoe"


def test_a_set_up_saved_is_worth_a_slower_tool() -> None:
    """Each line leaves 1 min more with the tines, which take 10 to mount, than with the hoe."""
    lines = [
        replace(
            draft(f"A{i}", TINES, 1.0, 2.0),
            worth_min=20.0,
            others=(replace(draft(f"A{i}", HOE, 1.0, 3.0), worth_min=20.0),),
        )
        for i in range(11)
    ]
    for n, tool in ((9, "hoe"), (11, "tines")):
        answers = order_of_day(lines[:n], 6.0, day()).answers
        assert {a.action.tool for a in answers if a.action is not None} == {tool}


def test_a_line_keeps_its_place_unless_another_gains_a_tenth() -> None:
    last = {("A1", ""): 1, ("A2", ""): 2}
    for urgency, beds in ((1.09, ["A1", "A2"]), (1.11, ["A2", "A1"])):
        drafts = [draft("A1", HOE, 1.0), draft("A2", HOE, urgency)]
        plan = order_of_day(drafts, 6.0, day(), last)
        assert [line.bed for line in plan.answers] == beds
    fresh = order_of_day([draft("A1", HOE, 1.0), draft("A2", HOE, 1.05)], 6.0, day())
    assert [line.bed for line in fresh.answers] == ["A2", "A1"]
