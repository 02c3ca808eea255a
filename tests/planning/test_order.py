"""Verdicts of one planting, and the order of the day within the hours."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.planning.order import Draft, draft_verdict, order_of_day
from scheduler.planning.outlook import Outlook
from scheduler.planning.tools import fitting_tools, work_minutes
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
    flush,
    outlook,
    planting,
)

TODAY = (NOW_HOUR - 5, NOW_HOUR + 19)  # midnight to midnight
ALWAYS = [(0, 24 * 20)]
TRAITS = tool_traits()


def verdict(of: Outlook) -> tuple[str, str]:
    found = draft_verdict(of, day(), TRAITS).answer
    return found.verdict, found.because


def ripe() -> Outlook:
    return outlook(flush(NOW_HOUR - 24, NOW_HOUR + 96), ALWAYS)


# ------------------------------------------------------------------ one planting


def test_ripe_and_fit_is_go_with_hours_tool_and_last_good_hour() -> None:
    found = draft_verdict(ripe(), day(), TRAITS).answer
    assert (found.verdict, found.because) == ("go", "")
    assert found.action is not None
    assert found.action.tool == "tines"  # a blind tool comes first on an empty bed
    assert (found.action.start.hour, found.action.end.hour) == (7, 19)
    assert found.sure == 1.0
    assert found.last_good_at is not None
    assert found.last_good_at > found.action.start
    assert found.until is None


def test_a_clean_bed_is_never_go() -> None:
    """Whatever the soil: a flush just opened, one beyond sight, or none on record."""
    for of in (
        flush(NOW_HOUR + 100, NOW_HOUR + 200, opened_hour=NOW_HOUR - 1),
        flush(NOW_HOUR + 400, NOW_HOUR + 600, opened_hour=NOW_HOUR - 1),
        flush(0, 1, opened_hour=None),
    ):
        for hours in (ALWAYS, [TODAY], []):
            assert verdict(outlook(of, hours))[0] in ("wait", "nothing")
    soon = draft_verdict(outlook(flush(NOW_HOUR + 60, NOW_HOUR + 200), ALWAYS), day(), TRAITS)
    assert (soon.answer.verdict, soon.answer.because) == ("wait", "weeds_small")
    assert soon.answer.until is not None
    assert verdict(outlook(flush(NOW_HOUR + 400, NOW_HOUR + 600), ALWAYS)) == ("nothing", "clean")
    assert verdict(outlook(flush(0, 1, opened_hour=None), ALWAYS)) == ("nothing", "unknown")


def test_ripe_but_wet_waits_until_the_soil_is_fit() -> None:
    tomorrow = outlook(flush(NOW_HOUR - 24, NOW_HOUR + 96), [(NOW_HOUR + 24, NOW_HOUR + 40)])
    found = draft_verdict(tomorrow, day(), TRAITS).answer
    assert (found.verdict, found.because) == ("wait", "wet")
    assert found.until is not None
    assert (found.until.day, found.until.hour) == (12, 7)
    never = draft_verdict(outlook(flush(NOW_HOUR - 24, NOW_HOUR + 96), []), day(), TRAITS).answer
    assert (never.verdict, never.because) == ("wait", "wet")
    assert never.until is not None  # `wait` always says until when


def test_a_day_without_hours_waits_for_hours() -> None:
    from scheduler.planning.order import day_of
    from tests.planning.made import START, WORK, sky

    at = day()
    no_saturday = farm(work=replace(WORK, hours=(6.0, 6.0, 6.0, 6.0, 6.0, 0.0, 6.0)))
    assert at.now.weekday() == 5
    closed = day_of(no_saturday, sky(), 0, at.now)
    found = draft_verdict(ripe(), closed, TRAITS).answer
    assert (found.verdict, found.because) == ("wait", "no_hours")
    assert found.until is not None
    assert found.until > at.now > START


def test_a_flush_past_its_window_asks_for_a_look() -> None:
    assert verdict(outlook(flush(24, 100), ALWAYS)) == ("nothing", "unknown")


def blind(last_blind: float, fit: list[tuple[int, int]], emergence: float = 500.0) -> Outlook:
    grown = planting("carrot", NOW_HOUR - 150)
    of = flush(NOW_HOUR - 24, NOW_HOUR + 96)
    return outlook(of, fit, grown=grown, emergence=emergence, last_blind=last_blind)


def test_a_crop_about_to_come_up_takes_no_blind_tool_and_says_until_when() -> None:
    found = draft_verdict(blind(NOW_HOUR - 2, ALWAYS, NOW_HOUR + 30.0), day(), TRAITS).answer
    assert (found.verdict, found.because) == ("wait", "crop_tender")
    assert found.until is not None
    assert found.until.day == 12
    assert verdict(blind(NOW_HOUR + 200, ALWAYS))[0] == "go"


def test_the_last_blind_hour_is_the_last_good_hour() -> None:
    found = draft_verdict(blind(NOW_HOUR + 30, ALWAYS), day(), TRAITS).answer
    assert found.verdict == "go"
    assert found.last_good_at is not None
    assert (found.last_good_at.day, found.last_good_at.hour) == (12, 11)


def test_the_blind_pass_that_cannot_wait_leads() -> None:
    """Not ripe yet, but threads are there and the crop is up before the next chance."""
    young = flush(NOW_HOUR + 40, NOW_HOUR + 200, opened_hour=NOW_HOUR - 100)
    grown = planting("carrot", NOW_HOUR - 150)
    last = outlook(young, [TODAY], grown=grown, emergence=300.0, last_blind=NOW_HOUR + 14.0)
    now = draft_verdict(last, day(), TRAITS)
    assert now.answer.verdict == "go"
    assert "up before the next chance" in now.answer.why[0]
    assert now.urgency > draft_verdict(blind(NOW_HOUR + 200, ALWAYS), day(), TRAITS).urgency
    later = outlook(young, ALWAYS, grown=grown, emergence=300.0, last_blind=NOW_HOUR + 60.0)
    assert verdict(later) == ("wait", "weeds_small")


@pytest.mark.xfail(strict=True, reason="the hours of a blind pass run on past its last hour")
@pytest.mark.parametrize("fit_from", [NOW_HOUR + 2, NOW_HOUR + 8])
def test_no_blind_pass_is_offered_after_its_last_hour(fit_from: int) -> None:
    """Last blind hour 10:00; soil fit from 07:00 or only from 13:00."""
    last = NOW_HOUR + 5
    answer = draft_verdict(blind(last, [(fit_from, NOW_HOUR + 15)]), day(), TRAITS).answer
    if answer.action is not None:
        assert answer.action.end <= day().sky.at(last)
    assert (answer.verdict == "go") is (fit_from < last)


# ------------------------------------------------------------------ tools


def offered(of: Outlook, is_late: bool = False) -> tuple[list[str], str]:
    tools, reason = fitting_tools(of, farm().tools, TRAITS, NOW_HOUR, 0, is_late)
    return [tool.name for tool in tools], reason


def test_tools_by_what_stands_in_the_bed() -> None:
    of = flush(NOW_HOUR - 24, NOW_HOUR + 96)
    assert offered(outlook(of, ALWAYS)) == (["tines", "sweeps", "hoe"], "")
    assert offered(outlook(of, ALWAYS), is_late=True) == (["sweeps", "hoe"], "")
    assert offered(blind(NOW_HOUR + 50, ALWAYS)) == (["tines"], "")
    up = replace(planting("carrot", NOW_HOUR - 400), up_at=day().now)
    assert offered(outlook(of, ALWAYS, grown=up, cover=0.3)) == (["sweeps", "hoe"], "")
    assert offered(outlook(of, ALWAYS, grown=up, cover=0.85)) == ([], "crop_up")
    assert offered(blind(NOW_HOUR - 1, ALWAYS)) == ([], "crop_tender")


def test_flame_and_hand_are_not_offered_and_a_farm_without_tools_has_no_fit() -> None:
    of = outlook(flush(NOW_HOUR - 24, NOW_HOUR + 96), ALWAYS)
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
    base = draft_verdict(ripe(), day(), TRAITS).answer
    assert base.action is not None
    action: Action = replace(
        base.action, tool=tool.name, work_min=minutes, setup_min=tool.setup_min
    )
    return Draft(replace(base, bed=bed, action=action), urgency)


def waiting(bed: str) -> Draft:
    of = outlook(flush(NOW_HOUR + 60, NOW_HOUR + 200), ALWAYS, grown=planting())
    found = draft_verdict(of, day(), TRAITS)
    return Draft(replace(found.answer, bed=bed), 0.0)


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
