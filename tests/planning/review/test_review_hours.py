"""Hours of the grower, minutes of passes, and half-days on which a soil was found unfit."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time, timedelta

import pytest

from scheduler.planning.review.hours import day_loads, found_unfit, pass_minutes
from scheduler.records import Blocked, WorkPlan
from tests.planning.made import START, entry, farm, kit, planting

MARKET = WorkPlan(
    time(7),
    time(19),
    (2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 0.0),
    (Blocked(2, time(7), time(12), "market"),),
)


def test_a_timed_pass_outranks_what_is_reckoned() -> None:
    tools = kit()
    timed = entry("pass", 30.0, tool="hoe", work_min=17.0)
    plain = entry("pass", 30.0, tool="hoe")
    assert pass_minutes(timed, planting(), tools) == 17.0
    assert 1.0 < pass_minutes(plain, planting(), tools) < 17.0


def test_a_pass_with_an_unknown_tool_has_five_minutes_and_one_in_vain_what_was_timed() -> None:
    assert pass_minutes(entry("pass", 30.0, tool="borrowed"), planting(), kit()) == 5.0
    vain = entry("pass", 30.0, tool="hoe", worked=False)
    assert pass_minutes(vain, planting(), kit()) == 0.0


def test_hours_of_a_day_and_what_took_them() -> None:
    """1 May 2013 is a Wednesday: two hours, market until noon."""
    day = START.date()
    events = [
        entry("pass", 14.0, tool="tines"),
        entry("pass", 15.0, tool="tines", bed="A2"),
        entry("hand", 16.0, work_min=60.0),
        entry("hand", 24.0 + 16.0, work_min=99.0),
    ]
    minutes = {events[0].event_id: 4.0, events[1].event_id: 6.0}
    first, second = day_loads(farm(work=MARKET), events, [day, day + timedelta(days=1)], minutes)
    assert first.left_min == 120.0 - (4.0 + 6.0) - 10.0 - 60.0  # the tines are hung on once
    assert second.left_min == 120.0 - 99.0
    assert (first.closed_words, second.closed_words) == (
        "market 07:00 to 12:00",
        "outside the working day",
    )


def test_a_day_without_hours_says_so() -> None:
    sunday = datetime(2013, 5, 5).date()
    load = day_loads(farm(work=MARKET), [], [sunday], {})[0]
    assert (load.left_min, load.closed_words) == (0.0, "no hours on a Sunday")


@pytest.mark.parametrize(
    ("kind", "data", "said"),
    [
        ("pass", {"worked": False, "found": "too wet"}, "wet"),
        ("pass", {"worked": False, "found": "too hard"}, "hard"),
        ("feel", {"feel": "smears"}, "wet"),
        ("pass", {"worked": False}, None),
        ("pass", {"worked": True}, None),
        ("feel", {"feel": "crumbles"}, None),
    ],
)
def test_who_found_a_soil_unfit(kind: str, data: dict[str, object], said: str | None) -> None:
    """At ten in the morning it speaks for that half-day and that soil."""
    found = found_unfit([entry(kind, 10.0, **data)], farm())
    assert found == ({} if said is None else {("middle", START.date(), True): said})


def test_an_afternoon_is_another_half_day() -> None:
    visit = entry("pass", 14.0, worked=False, found="too wet")
    assert list(found_unfit([visit], farm())) == [("middle", START.date(), False)]
    elsewhere = replace(visit, bed="Z9")
    assert found_unfit([elsewhere], farm()) == {}
