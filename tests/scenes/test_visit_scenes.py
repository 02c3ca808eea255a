"""A morning's visit and the list after it: found too wet, or worked. Everything is invented."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from scheduler import service
from scheduler.records import Bed, BedAnswer, Event
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

N_MEMBERS = 16
MEAN_C = 17.0
START = local(2013, 4, 15)
BEDS = tuple(
    Bed(f"{letter}{n}", 18.0, 0.75, soil)
    for letter, soil in (("L", "silt"), ("S", "sand"))
    for n in (1, 2, 3)
)
FARM = made_farm(BEDS)
MORNING, VISIT, AFTER = (local(2013, 5, 20, *at) for at in ((5, 30), (11,), (11, 30)))


def shower(at: datetime, mm: float) -> list[tuple[datetime, float]]:
    return [(at + timedelta(hours=i), mm / 6.0) for i in range(6)]


def spring() -> MadeStore:
    """Sunny days, a pass over every bed twelve days ago, 12 mm in the night before the last."""
    rain = [
        *shower(local(2013, 4, 24, 2), 14.0),
        *shower(local(2013, 5, 4, 2), 16.0),
        *shower(local(2013, 5, 19, 2), 12.0),
    ]
    store = MadeStore(values=observed(START, made_hours(START, 24 * 60, mean_c=MEAN_C, rain=rain)))
    for bed in BEDS:
        store.log("prep", local(2013, 4, 17, 14), bed.name, depth_mm=90.0)
        store.log("pass", local(2013, 5, 8, 14), bed.name, tool="tines", depth_mm=18.0)
    return store


def asked(store: MadeStore, now: datetime) -> dict[str, BedAnswer]:
    """Lines by bed."""
    ahead = made_hours(now.replace(minute=0), 240, mean_c=MEAN_C)
    store.forecasts = [forecast(now - timedelta(minutes=25), ahead)]
    of = service.situation(FARM, store, store, now, n_members=N_MEMBERS)
    morning = service.morning_of(of)
    return {line.bed: line for line in (*morning.beds, *morning.not_reached)}


def visit(store: MadeStore, line: BedAnswer, **found: Any) -> Event:
    """What `done` writes of a line at 11:00."""
    assert line.action is not None
    data = {"tool": line.action.tool, "depth_mm": line.action.depth_mm, **found}
    return store.log("pass", VISIT, line.bed, recorded_at=VISIT, **data)


@pytest.fixture(scope="module")
def morning() -> dict[str, BedAnswer]:
    return asked(spring(), MORNING)


@pytest.fixture(scope="module")
def without() -> dict[str, BedAnswer]:
    """The list at half past eleven, had nobody gone out."""
    return asked(spring(), AFTER)


@pytest.fixture(scope="module")
def too_wet(morning: dict[str, BedAnswer]) -> dict[str, BedAnswer]:
    store = spring()
    visit(store, morning["L3"], worked=False, found="too wet")
    return asked(store, AFTER)


@pytest.fixture(scope="module")
def worked(morning: dict[str, BedAnswer]) -> dict[str, BedAnswer]:
    store = spring()
    visit(store, morning["L3"])
    return asked(store, AFTER)


def test_the_morning_says_go_on_both_soils(morning: dict[str, BedAnswer]) -> None:
    assert {line.verdict for line in morning.values()} == {"go"}
    assert 0.6 < (morning["L3"].sure or 0.0) < 0.95


def test_found_too_wet_it_is_not_listed_again_today(too_wet: dict[str, BedAnswer]) -> None:
    line = too_wet["L3"]
    assert (line.verdict, line.because, line.action) == ("wait", "wet", None)
    assert line.until is not None
    assert line.until.date() > AFTER.date()
    assert line.why[0].startswith("found too wet with ")
    assert line.why[0].endswith(" at 11:00 today")


def test_and_the_other_beds_of_that_soil_are_less_sure(
    too_wet: dict[str, BedAnswer], without: dict[str, BedAnswer]
) -> None:
    for bed in ("L1", "L2"):
        assert too_wet[bed].soil.workable_now < without[bed].soil.workable_now - 0.2
        before, after = without[bed].action, too_wet[bed].action
        if before is not None and after is not None and before.tool == after.tool:
            assert (too_wet[bed].sure or 0.0) < (without[bed].sure or 0.0) - 0.1


def test_where_it_worked_the_other_beds_are_more_sure(
    worked: dict[str, BedAnswer], without: dict[str, BedAnswer]
) -> None:
    for bed in ("L1", "L2"):
        assert worked[bed].verdict == "go"
        assert worked[bed].soil.workable_now > without[bed].soil.workable_now + 0.1
        assert (worked[bed].sure or 0.0) > (without[bed].sure or 0.0) + 0.02


def test_the_other_soil_is_untouched_to_the_last_digit(
    too_wet: dict[str, BedAnswer],
    worked: dict[str, BedAnswer],
    without: dict[str, BedAnswer],
) -> None:
    for after in (too_wet, worked):
        for bed in ("S1", "S2", "S3"):
            same = ("verdict", "soil", "crust", "flush", "sure", "weeds", "killable_frac",
                    "minutes", "last_good_at", "why")  # fmt: skip
            for name in same:
                assert getattr(after[bed], name) == getattr(without[bed], name)


def test_taken_back_the_list_is_as_before(
    morning: dict[str, BedAnswer], without: dict[str, BedAnswer]
) -> None:
    store = spring()
    event = visit(store, morning["L3"], worked=False, found="too wet")
    undo = Event("u1", "undo", VISIT, VISIT + timedelta(minutes=5), "L3", None, {}, event.event_id)
    store.entries.append(undo)
    assert asked(store, AFTER) == without


def test_the_day_after_the_line_may_come_back(morning: dict[str, BedAnswer]) -> None:
    """A dry sunny day later the bed is listed again: the refusal was of the day."""
    store = spring()
    visit(store, morning["L3"], worked=False, found="too wet")
    assert asked(store, AFTER + timedelta(days=2))["L3"].verdict == "go"


def test_a_visit_recorded_later_changes_nothing_before(
    morning: dict[str, BedAnswer], without: dict[str, BedAnswer]
) -> None:
    store = spring()
    action = morning["L3"].action
    assert action is not None
    store.log("pass", VISIT, "L3", tool=action.tool, worked=False, found="too wet",
              recorded_at=AFTER + timedelta(hours=2))  # fmt: skip
    assert asked(store, AFTER) == without
