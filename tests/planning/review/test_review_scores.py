"""Forecasts against what was seen: days of the calendar, and what lies beyond sight."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.planning.review.scores import Seen, range_score
from scheduler.planning.review.scoring import days_to_up

SOWN = 19.0  # the evening of day 0


def day_at(hour: float) -> int:
    return int(hour // 24.0)


@pytest.mark.parametrize(
    ("seen_hour", "is_inside"),
    [(5 * 24 + 16.5, True), (6 * 24 + 16.5, False), (4 * 24 + 16.5, False)],
)
def test_a_crop_that_came_up_at_night_is_seen_in_the_evening(
    seen_hour: float, is_inside: bool
) -> None:
    """Told for 01:00 to 07:00 of day 5; an entry of that afternoon, hours later, bears it out."""
    seen = days_to_up(5 * 24 + np.linspace(1.0, 7.0, 13), SOWN, seen_hour, day_at)
    assert (seen.low <= seen.seen <= seen.high) is is_inside


def test_members_beyond_sight_are_late_and_not_left_out() -> None:
    """Half of the members see it on day 5, half not by the end of the record."""
    hours = np.concatenate((np.full(4, 126.0), np.full(4, np.nan)))
    seen = days_to_up(hours, SOWN, 9 * 24 + 16.5, day_at)
    assert (seen.low, seen.high, seen.seen) == (5.0, np.inf, 9.0)
    none = days_to_up(np.full(4, np.nan), SOWN, 9 * 24 + 16.5, day_at)
    assert (none.low, none.mid) == (np.inf, np.inf)


def test_what_was_told_beyond_sight_counts_and_has_no_error() -> None:
    late = Seen(np.inf, np.inf, np.inf, 9.0)
    alone = range_score("up", [late], "crops seen up", "days").words
    assert alone.startswith("few data: 1 crops seen up; 0 of 1 inside the range told")
    assert "average" not in alone
    both = range_score("up", [late, Seen(8.0, 10.0, 12.0, 11.0)], "crops seen up", "days").words
    assert "1 of 2 inside" in both
    assert "on average 1.0 days more than its middle, off by 1.0" in both
