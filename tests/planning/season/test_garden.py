"""A garden out of a journal: parts, preparations, clearings, and passes as they were logged."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from typing import Any

from numpy.testing import assert_allclose

from scheduler.planning.season.garden import (
    LoggedGarden,
    LoggedPasses,
    day_at,
    logged_garden,
    logged_passes,
    played_as_logged,
)
from scheduler.planning.season.play import PlayState
from scheduler.planning.season.truth import draw_truth, truth_season
from scheduler.planning.season.world import World, build_world, made_garden
from scheduler.records import Bed, Event, Farm
from tests.planning.season.made import RAIN, START, crops, moment, tables, weather

END = moment(140.0)


def farm() -> Farm:
    beds = (Bed("K1", 18.0, 0.75, "middle"), Bed("C1", 18.0, 0.75, "sandy"))
    return replace(made_garden(crops()).farm, beds=beds, plans=())


def entry(kind: str, day: float, bed: str, part: str | None = None, **data: Any) -> Event:
    at = moment(day)
    return Event(f"{kind} {bed} {part} {day} {data}", kind, at, at, bed, part, data)


def prep(day: float, bed: str, part: str | None = None, depth_mm: float = 100.0) -> Event:
    return entry("prep", day, bed, part, depth_mm=depth_mm)


def carrot(day: float, bed: str, part: str | None = None, **data: Any) -> Event:
    rows = {"n_rows": 3, "row_spacing_mm": 250.0, "depth_mm": 13.0}
    return entry("sow", day, bed, part, crop="carrot", **rows, **data)


def kale(day: float, bed: str, part: str | None = None) -> Event:
    rows = {"n_rows": 2, "row_spacing_mm": 375.0, "depth_mm": 30.0}
    return entry("plant", day, bed, part, crop="kale", **rows)


def read(*events: Event, start_at: datetime = START) -> LoggedGarden:
    return logged_garden(farm(), events, start_at, END)


def spans(found: LoggedGarden) -> list[tuple[str, str | None, datetime, datetime]]:
    return [
        (item.planting.key, item.planting.crop, item.prepared_at, item.cleared_at)
        for item in found.garden.plantings
    ]


# ------------------------------------------------------------------- the garden


def test_a_planting_runs_from_its_last_deep_preparation_to_its_clearing() -> None:
    found = read(
        prep(20, "K1"), prep(40, "K1"), prep(50, "K1", depth_mm=20.0), kale(58, "K1"),
        entry("clear", 110, "K1"),
    )  # fmt: skip
    assert spans(found) == [("K1", "kale", moment(40), moment(110))]
    assert found.left_out == ()


def test_a_crop_that_is_not_cleared_ends_with_the_next_preparation_or_grows_on() -> None:
    found = read(prep(20, "K1"), kale(30, "K1"), prep(70, "K1"), kale(80, "K1"))
    assert spans(found)[0][3] == moment(70)
    assert spans(found)[1][2] == moment(70)
    assert spans(found)[1][3] > END


def test_parts_are_beds_of_their_own_under_one_preparation() -> None:
    found = read(
        prep(20, "C1"), carrot(30, "C1", "north", to_m=9.0), carrot(32, "C1", "south", from_m=9.0),
        entry("clear", 90, "C1", "south"), entry("clear", 100, "C1", "north"),
        prep(104, "C1"), kale(110, "C1"),
    )  # fmt: skip
    keys = [(key, prepared, cleared) for key, _, prepared, cleared in spans(found)]
    assert ("C1/north", moment(20), moment(100)) in keys
    assert ("C1/south", moment(20), moment(90)) in keys
    assert ("C1", moment(104)) in [key[:2] for key in keys]
    lengths = {p.planting.key: p.planting.to_m - p.planting.from_m for p in found.garden.plantings}
    assert lengths == {"C1/north": 9.0, "C1/south": 9.0, "C1": 18.0}
    assert {bed.name for bed in found.garden.farm.beds} == set(lengths)


def test_a_part_sown_again_without_a_preparation_is_prepared_that_day_and_said_so() -> None:
    found = read(
        prep(20, "C1"), carrot(30, "C1", "north", to_m=9.0), entry("clear", 90, "C1", "north"),
        carrot(95, "C1", "north", to_m=9.0),
    )  # fmt: skip
    second = spans(found)[1]
    assert moment(94.9) < second[2] < moment(95)
    assert any("C1/north" in text and "no preparation" in text for text in found.left_out)


def test_crops_older_than_the_weather_and_still_to_come_are_not_played() -> None:
    found = read(kale(-20, "K1"), prep(10, "C1"), carrot(150, "C1"))
    assert found.garden.plantings == ()
    assert any("older than the weather" in text for text in found.left_out)


def test_seen_emergence_and_waterings_come_from_the_journal() -> None:
    found = read(
        prep(20, "C1"), carrot(30, "C1"), entry("up", 45, "C1"),
        entry("water", 31, "C1", water_mm=9.0),
    )  # fmt: skip
    assert found.garden.plantings[0].planting.up_at == moment(45)
    assert found.garden.waterings is not None
    assert [(e.bed, e.data["water_mm"]) for e in found.garden.waterings] == [("C1", 9.0)]


# ----------------------------------------------------------------------- as logged


JOURNAL = (
    prep(40, "K1"), kale(58.9, "K1"), prep(40, "C1"), carrot(50, "C1", "north", to_m=6.0),
    carrot(50, "C1", "south", from_m=6.0), entry("up", 59, "C1", "north"),
    entry("up", 59, "C1", "south"), entry("clear", 110, "K1"),
    entry("pass", 45.6, "C1", tool="tines", depth_mm=15.0, work_min=6.0),
    entry("pass", 54.6, "C1", "north", tool="tines", depth_mm=10.0),
    entry("pass", 79.6, "K1", tool="bar", depth_mm=20.0, work_min=5.5),
    entry("pass", 86.6, "K1", tool="bar", worked=False),
    entry("pass", 90.6, "K1", tool="lost tool"),
    entry("pass", 120.6, "K1", tool="bar"),
)  # fmt: skip


@lru_cache(maxsize=1)
def world() -> World:
    grows = read(*JOURNAL).garden
    return build_world(grows, weather(140, RAIN), tables(grows.farm))


@lru_cache(maxsize=1)
def logged() -> LoggedPasses:
    return logged_passes(world(), JOURNAL)


@lru_cache(maxsize=1)
def state() -> PlayState:
    season = truth_season(world(), draw_truth("a", 3, world()))
    return played_as_logged(season, logged())


def test_a_pass_over_two_parts_is_one_of_each_and_its_minutes_are_shared_by_length() -> None:
    both = [p for p in logged().passes if p.hour < 24 * 50]
    assert [(p.bed, p.way.purpose) for p in both] == [("C1/north", "stale"), ("C1/south", "stale")]
    assert_allclose([p.way.minutes for p in both], [2.0, 4.0])
    assert [p.set_up_min for p in both] == [10.0, 0.0]


def test_a_sown_crop_that_was_seen_up_may_still_be_passed_blind_before() -> None:
    blind = next(p for p in logged().passes if p.way.purpose == "blind")
    assert (blind.bed, blind.way.depth_mm) == ("C1/north", 10.0)
    ways = {
        way.purpose for (day, bed), of in world().ways.items() if bed == "C1/north" for way in of
    }
    assert "blind" in ways


def test_what_cannot_be_played_is_told() -> None:
    text = " ".join(logged().left_out)
    assert "'lost tool'" in text
    assert "1 pass over beds between crops" in text


def test_passes_are_made_at_their_hours_whatever_the_soil() -> None:
    made = [e for e in state().events if e.kind == "pass"]
    assert [(e.bed, e.data["worked"]) for e in made] == [
        ("C1/north", True), ("C1/south", True), ("C1/north", True), ("K1", True), ("K1", False),
    ]  # fmt: skip
    assert (
        made[3].happened_at == moment(79.6).replace(second=0)
        or abs((made[3].happened_at - moment(79.6)).total_seconds()) < 3600
    )


def test_the_bill_as_logged_with_a_pencil() -> None:
    """Set-ups 10 min on each of four days; 2 + 4 and 5.5 min logged; a visit in vain 4 min.

    The blind pass over the north part was not timed: a run of the whole bed, 18 m at 0.9 m/s, a
    turn of 25 s and a minute of access.
    """
    blind_min = 1.0 + (18.0 / 0.9 + 25.0) / 60.0
    bill = state().bill()
    assert_allclose(bill.machine_min, 4 * 10.0 + 6.0 + blind_min + 5.5, rtol=1e-9)
    assert_allclose(bill.vain_min, 4.0)
    assert (bill.n_passes, bill.n_vain, bill.n_setups) == (4, 1, 4)
    by_day = logged().minutes_by_day(world())
    assert_allclose(sum(by_day.values()), bill.machine_min + bill.vain_min, rtol=1e-9)
    assert_allclose(by_day[day_at(world(), 24 * 79.6)], 15.5)


def test_a_logged_pass_kills() -> None:
    season = truth_season(world(), draw_truth("a", 3, world()))
    nothing = played_as_logged(season, replace(logged(), passes=()))
    assert state().bill().hand_min != nothing.bill().hand_min
    assert len(state().kills) == 4
    assert all(kill.max() > 0.1 for _, _, kill in state().kills)
