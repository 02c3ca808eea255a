"""The grower's hours, over clock changes and blocked times."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.planning.hours import (
    at_local,
    daily_sums,
    day_starts,
    hours_left,
    is_working_hour,
    local_day,
)
from scheduler.records import Blocked, WorkPlan

NEW_YORK = "America/New_York"
PLAN = WorkPlan(time(7), time(19), (0.0, 3.0, 3.0, 3.0, 3.0, 5.0, 2.0))


def open_clock(plan: WorkPlan, day: date, zone: str) -> list[int]:
    """Local hours of a day that are open."""
    start = datetime.combine(day, time(0), ZoneInfo(zone)).astimezone(UTC)
    is_open = is_working_hour(plan, start, 26, zone)
    moments = [(start + timedelta(hours=int(i))).astimezone(ZoneInfo(zone)) for i in range(26)]
    return [m.hour for m, o in zip(moments, is_open, strict=True) if o and m.date() == day]


@pytest.mark.parametrize(
    "day",
    [
        date(2013, 3, 10),  # clock goes forward in New York, a Sunday
        date(2013, 11, 3),  # and back
        date(2013, 6, 9),
    ],
)
def test_the_open_hours_are_wall_hours_on_every_day(day: date) -> None:
    assert open_clock(PLAN, day, NEW_YORK) == list(range(7, 19))


def test_a_weekday_without_hours_and_blocked_times_are_closed() -> None:
    plan = replace(PLAN, blocked=(Blocked(2, time(9), time(12), "market"),))
    assert open_clock(plan, date(2013, 5, 13), NEW_YORK) == []  # Monday
    assert open_clock(plan, date(2013, 5, 15), NEW_YORK) == [7, 8, *range(12, 19)]
    assert open_clock(plan, date(2013, 5, 16), NEW_YORK) == list(range(7, 19))


def test_hours_left_shrink_with_the_day_and_stop_at_the_grower_s_own() -> None:
    day = date(2013, 5, 16)  # Thursday, 3 h

    def left(clock: time, plan: WorkPlan = PLAN) -> float:
        return hours_left(plan, at_local(day, clock, NEW_YORK), NEW_YORK)

    assert left(time(5, 30)) == 3.0
    assert left(time(15)) == 3.0
    assert left(time(17, 30)) == 1.5
    assert left(time(19)) == 0.0
    assert left(time(22)) == 0.0
    blocked = replace(PLAN, blocked=(Blocked(3, time(16), time(18, 30), "delivery"),))
    assert left(time(16), blocked) == 0.5


def test_hours_left_on_the_days_the_clock_changes() -> None:
    for day in (date(2013, 3, 10), date(2013, 11, 3)):
        before_dawn = at_local(day, time(0, 30), NEW_YORK)
        wide = replace(PLAN, hours=(20.0,) * 7)
        assert hours_left(wide, before_dawn, NEW_YORK) == 12.0


@pytest.mark.parametrize(
    ("day", "n_hours"), [(date(2013, 3, 10), 23), (date(2013, 11, 3), 25), (date(2013, 6, 9), 24)]
)
def test_days_hold_their_real_hours(day: date, n_hours: int) -> None:
    start = datetime.combine(day, time(0), ZoneInfo(NEW_YORK)).astimezone(UTC)
    days = day_starts(start - timedelta(hours=30), 24 * 4, NEW_YORK)
    lengths = {d: last - first for d, first, last in days}
    assert lengths[day] == n_hours
    assert days[0][1] == 0
    assert days[-1][2] == 24 * 4
    assert all(a[2] == b[1] for a, b in pairwise(days))
    sums = daily_sums(np.ones((2, 24 * 4)), days)
    assert sums.sum(axis=1).tolist() == [96.0, 96.0]


def test_local_dates_of_moments() -> None:
    moment = datetime(2013, 5, 8, 2, tzinfo=UTC)
    assert local_day(moment, NEW_YORK) == date(2013, 5, 7)
    assert local_day(moment, "Asia/Tokyo") == date(2013, 5, 8)
    skipped = at_local(date(2013, 3, 10), time(2, 30), NEW_YORK)
    assert skipped.astimezone(UTC) == datetime(2013, 3, 10, 7, 30, tzinfo=UTC)
