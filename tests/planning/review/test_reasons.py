"""Every rule of why a window passed, each with its opposite."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.errors import RangeError
from scheduler.planning.review.reasons import (
    FREE,
    NEVER_FIT,
    NO_ROOM,
    NOT_OPEN,
    SOIL_ALONE,
    Chance,
    Told,
    best_chance,
    own_miss,
    reason_of,
)
from scheduler.planning.review.telling import said_words

FREE_DAY = Chance(
    day=3,
    tool="tines",
    hour=82.5,
    is_fit=True,
    unfit="",
    is_let_in=True,
    closed="",
    is_open=True,
    taken_by="no hours on a Sunday",
    has_room=True,
    used_by="2 passes 20 min of 120 min on 8 May",
    work_min=4.0,
    setup_min=0.0,
    depth_mm=15.0,
    worth_min=10.0,
)
WET = replace(FREE_DAY, is_fit=False, unfit="wet")
TENDER = replace(FREE_DAY, is_let_in=False, closed="crop_tender")
SUNDAY = replace(FREE_DAY, is_open=False)
BUSY = replace(FREE_DAY, has_room=False)
GO, WAIT = Told("go", ""), Told("wait", "weeds_small")


def test_how_far_a_chance_got() -> None:
    levels = [chance.level for chance in (WET, TENDER, SUNDAY, BUSY, FREE_DAY)]
    assert levels == [NEVER_FIT, SOIL_ALONE, NOT_OPEN, NO_ROOM, FREE]


def test_rain_that_nobody_read_leaves_the_reason_unknown() -> None:
    assert reason_of([WET], {}, is_weather_known=False).reason == "unknown"
    assert reason_of([WET], {}, is_weather_known=True).reason == "never_fit"


def test_never_fit_needs_every_day_unfit() -> None:
    found = reason_of([WET, replace(WET, day=4)], {})
    assert (found.reason, found.because, found.days) == ("never_fit", "wet", (3, 4))
    assert reason_of([WET, replace(FREE_DAY, day=4)], {}).reason == "no_list"


def test_never_fit_says_what_kept_it_out_on_more_days() -> None:
    hard = replace(WET, unfit="hard")
    assert reason_of([WET, hard, replace(hard, day=4)], {}).because == "hard"
    assert reason_of([WET, replace(WET, day=4), replace(hard, day=5)], {}).because == "wet"


def test_crop_speaks_only_where_the_soil_was_fit() -> None:
    assert reason_of([TENDER, WET], {}).reason == "crop"
    assert reason_of([replace(TENDER, is_fit=False, unfit="wet")], {}).reason == "never_fit"


def test_crop_and_soil_must_be_ready_on_one_day() -> None:
    """A tender crop on the fit day and a wet soil on the day the crop stood it."""
    found = reason_of([replace(TENDER, day=3), replace(WET, day=4)], {})
    assert (found.reason, found.because) == ("crop", "crop_tender")


def test_a_tool_that_does_not_fit_is_no_reason_beside_a_crop_that_says_no() -> None:
    no_fit = replace(TENDER, closed="no_fit", tool="sweeps")
    assert reason_of([no_fit, no_fit, TENDER], {}).because == "crop_tender"
    assert reason_of([no_fit], {}).because == "no_fit"
    assert reason_of([], {}).because == "no_fit"  # no tool at all


def test_no_hours_says_what_took_them() -> None:
    sunday = reason_of([SUNDAY, TENDER], {})
    assert (sunday.reason, sunday.what) == ("no_hours", "no hours on a Sunday")
    busy = reason_of([BUSY, SUNDAY], {})
    assert (busy.reason, busy.what) == ("no_hours", "2 passes 20 min of 120 min on 8 May")
    assert reason_of([BUSY, replace(FREE_DAY, day=5)], {}).reason == "no_list"


def test_listed_and_not_done_against_listed_on_another_day() -> None:
    assert reason_of([FREE_DAY], {3: GO}).reason == "not_done"
    assert reason_of([FREE_DAY], {5: GO}).reason == "no_list"  # that day was not free


def test_one_list_that_named_it_is_enough() -> None:
    chances = [FREE_DAY, replace(FREE_DAY, day=4)]
    found = reason_of(chances, {3: WAIT, 4: GO})
    assert (found.reason, found.days) == ("not_done", (4,))


def test_a_list_that_did_not_name_it() -> None:
    found = reason_of([FREE_DAY], {3: WAIT})
    assert (found.reason, found.because, found.what) == (
        "not_listed",
        "weeds_small",
        "wait weeds_small",
    )
    assert reason_of([FREE_DAY], {}).reason == "no_list"


def test_beyond_the_hours_of_the_list_is_no_hours() -> None:
    beyond = Told("wait", "no_hours")
    assert reason_of([FREE_DAY], {3: beyond}).reason == "no_hours"
    chances = [FREE_DAY, replace(FREE_DAY, day=4)]
    assert reason_of(chances, {3: beyond, 4: WAIT}).reason == "not_listed"


def test_own_miss_is_the_forecast_where_the_weather_that_came_names_it() -> None:
    assert own_miss("go") == "forecast"
    assert {own_miss(verdict) for verdict in ("wait", "hand", "nothing")} == {"model"}
    with pytest.raises(RangeError, match="no_list"):
        own_miss("no_list")


def test_the_best_chance_is_the_one_worth_most_of_those_that_got_furthest() -> None:
    dearer = replace(SUNDAY, worth_min=99.0, day=9)
    better = replace(FREE_DAY, worth_min=11.0, day=5)
    assert best_chance([FREE_DAY, dearer, better]) == better
    assert best_chance([WET, dearer]) == dearer
    assert best_chance([]) is None


def test_where_no_day_was_fit_a_tool_that_the_crop_stood_comes_first() -> None:
    closed = replace(WET, is_let_in=False, closed="crop_up", worth_min=99.0)
    assert best_chance([closed, WET]) == WET
    assert best_chance([closed]) == closed


def test_the_pass_told_is_one_of_the_reason_that_is_told() -> None:
    """A tool that never goes there is worth more, but the reason is the tender crop's."""
    never = replace(TENDER, tool="hoe", closed="no_fit", worth_min=50.0)
    best = best_chance([never, TENDER])
    assert best is not None
    assert best.closed == reason_of([never, TENDER], {}).because == "crop_tender"
    alone = best_chance([never])
    assert alone is not None
    assert alone.closed == reason_of([never], {}).because == "no_fit"


def test_a_tool_that_fits_the_rows_is_told_before_one_that_does_not() -> None:
    ridger = replace(TENDER, tool="ridger", closed="no_fit", worth_min=50.0, fits_rows=False)
    tines = replace(TENDER, closed="no_fit", closed_why="never tines over standing spinach")
    assert best_chance([ridger, tines]) == tines
    assert best_chance([ridger]) == ridger


def test_no_code_stands_in_a_sentence() -> None:
    for verdict in ("wait", "hand", "nothing"):
        for because in (
            "wet", "hard", "weeds_small", "crop_tender", "crop_up", "no_fit", "no_hours",
            "rain_after", "clean", "unknown",
        ):  # fmt: skip
            assert "_" not in said_words(verdict, because)
