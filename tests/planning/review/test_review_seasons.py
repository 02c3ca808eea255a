"""Which days a season has, and what lay where from when to when."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from scheduler.planning.review.seasons import lanes_of, season_days
from scheduler.records import Bed, Event, Place
from tests.planning.made import BED, farm

OTHER = Bed("A2", 18.0, 0.75, "middle")
FARM = farm(beds=(BED, OTHER))
END = datetime(2013, 10, 1, tzinfo=UTC)


def at(month: int, day: int, hour: int = 12, year: int = 2013) -> datetime:
    return datetime(year, month, day, hour, tzinfo=UTC)


def logged(
    kind: str, when: datetime, bed: str = "A1", part: str | None = None, **data: object
) -> Event:
    return Event(f"{kind} {when} {part}", kind, when, when, bed, part, data)


def test_a_season_without_entries_is_march_to_october() -> None:
    days = season_days([], FARM, at(1, 15, year=2014), 2013)
    assert (days.from_on, days.to_on, days.is_over) == (date(2013, 3, 1), date(2013, 10, 31), True)


def test_a_season_begins_with_its_first_work_and_ends_no_earlier_than_october() -> None:
    events = [logged("prep", at(4, 2)), logged("clear", at(8, 5))]
    days = season_days(events, FARM, at(1, 15, year=2014))
    assert (days.year, days.from_on, days.to_on) == (2013, date(2013, 4, 2), date(2013, 10, 31))
    late = season_days([*events, logged("hand", at(11, 20))], FARM, at(1, 15, year=2014))
    assert late.to_on == date(2013, 11, 20)


def test_rain_alone_is_no_work() -> None:
    rain = logged("rain", at(1, 2), rain_mm=3.0)
    assert season_days([rain], FARM, at(1, 15, year=2014), 2013).from_on == date(2013, 3, 1)


def test_a_season_that_is_not_over_ends_today() -> None:
    days = season_days([logged("prep", at(4, 2))], FARM, at(6, 10))
    assert (days.to_on, days.is_over) == (date(2013, 6, 10), False)


def test_a_year_that_has_not_begun_has_no_days() -> None:
    days = season_days([], FARM, at(6, 10), 2015)
    assert days.to_on < days.from_on


def test_in_the_south_a_season_goes_over_new_year() -> None:
    south = replace(FARM, place=Place(-42.0, 0.0, 100.0, "UTC"))
    events = [logged("sow", at(10, 5), crop="beet"), logged("clear", at(2, 1, year=2014))]
    days = season_days(events, south, at(6, 1, year=2014))
    assert (days.year, days.from_on, days.to_on) == (2013, date(2013, 10, 5), date(2014, 4, 30))


def test_plantings_one_after_the_other_with_what_was_seen_of_them() -> None:
    events = [
        logged("prep", at(4, 2), depth_mm=100.0),
        logged("sow", at(4, 5), crop="radish", n_rows=5),
        logged("up", at(4, 12)),
        logged("clear", at(5, 20)),
        logged("prep", at(5, 22), depth_mm=100.0),
        logged("plant", at(5, 25), crop="lettuce"),
    ]
    lane = lanes_of(FARM, events, at(4, 1), END)[0]
    assert [(s.planting.crop, s.start_at, s.end_at) for s in lane.spans] == [
        (None, at(4, 1), at(4, 5)),
        ("radish", at(4, 5), at(5, 20)),
        (None, at(5, 20), at(5, 25)),
        ("lettuce", at(5, 25), END),
    ]
    assert lane.spans[1].planting.up_at == at(4, 12)
    assert lane.spans[3].planting.up_at is None


def test_a_bed_that_is_divided_has_a_lane_for_the_whole_and_for_each_part() -> None:
    events = [
        logged("sow", at(4, 5), part="north", crop="carrot", from_m=0.0, to_m=9.0),
        logged("sow", at(4, 5, 13), part="south", crop="beet", from_m=9.0, to_m=18.0),
        logged("prep", at(7, 1), depth_mm=100.0),
    ]
    lanes = [lane for lane in lanes_of(FARM, events, at(4, 1), END) if lane.bed is BED]
    assert [lane.key for lane in lanes] == ["A1", "A1/north", "A1/south"]
    whole, north, _ = lanes
    assert [(s.start_at, s.end_at) for s in whole.spans] == [
        (at(4, 1), at(4, 5)),
        (at(7, 1), END),
    ]
    assert [(s.planting.crop, s.end_at) for s in north.spans] == [("carrot", at(7, 1))]


def test_a_bed_without_an_entry_is_one_empty_span() -> None:
    lane = lanes_of(FARM, [], at(4, 1), END)[1]
    assert [(s.planting.crop, s.end_at - s.start_at) for s in lane.spans] == [
        (None, END - at(4, 1))
    ]
    assert END - at(4, 1) > timedelta(days=150)
