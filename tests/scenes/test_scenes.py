"""Scenes 1, 9 and 11 of the design: whole mornings whose answer a gardener would know."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from scheduler import service
from scheduler.adapters.render.answer_json import answer
from scheduler.records import Bed, BedAnswer, Morning
from tests.scenes.made import (
    MadeStore,
    forecast,
    local,
    made_farm,
    made_hours,
    observed,
)

BEDS = tuple(
    Bed(f"{letter}{n}", 18.0, 0.75, soil)
    for letter, soil in (("S", "sand"), ("L", "silt"))
    for n in (1, 2)
)
NOW = local(2013, 5, 20, 5, 30)
START = local(2013, 4, 20)
PAST_H = int((NOW.replace(minute=0) - START) / timedelta(hours=1))


def morning(store: MadeStore, now: datetime = NOW) -> Morning:
    return service.morning(made_farm(BEDS), store, store, now)


def spring(rain: list[tuple[datetime, float]], *, sun_ahead: float, mean_ahead: float) -> MadeStore:
    """A month of spring with a pass on every bed twelve days ago, and ten days ahead."""
    store = MadeStore(values=observed(START, made_hours(START, PAST_H, rain=rain)))
    ahead = made_hours(
        NOW.replace(minute=0), 240, sun=sun_ahead, mean_c=mean_ahead, swing_c=3.0, humidity=0.8
    )
    store.forecasts.append(forecast(NOW - timedelta(minutes=25), ahead))
    for bed in BEDS:
        store.log("prep", START + timedelta(days=2, hours=14), bed.name, depth_mm=90.0)
        store.log("pass", NOW - timedelta(days=12, hours=-8), bed.name, tool="tines", depth_mm=18.0)
    return store


def of(answer_: Morning, prefix: str) -> list[BedAnswer]:
    lines = [*answer_.beds, *answer_.not_reached]
    return [line for line in lines if line.bed.startswith(prefix)]


def storm(at: datetime, mm: float, hours: int = 6) -> list[tuple[datetime, float]]:
    return [(at + timedelta(hours=i), mm / hours) for i in range(hours)]


SHOWERS = [
    *storm(local(2013, 4, 24, 2), 14.0),
    *storm(local(2013, 5, 4, 2), 16.0),
    *storm(local(2013, 5, 12, 2), 9.0),
]


def test_scene_1_rain_last_night_nothing_on_silt_and_sand_comes_back_first() -> None:
    """25 mm last night, cool and cloudy (common practice)."""
    wet = [*SHOWERS, *storm(local(2013, 5, 19, 20), 25.0, 8)]
    result = morning(spring(wet, sun_ahead=0.35, mean_ahead=11.0))
    assert {line.verdict for line in of(result, "L")} <= {"wait", "nothing"}
    assert all(line.soil.workable_now < 0.2 for line in of(result, "L"))
    sand = min(line.soil.workable_from for line in of(result, "S") if line.soil.workable_from)
    silt = [line.soil.workable_from for line in of(result, "L")]
    assert all(moment is None or moment > sand for moment in silt)
    for line in of(result, "L"):
        if line.verdict == "wait":
            assert line.until is not None
            assert line.until > NOW


def test_scene_1_opposite_a_dry_week_both_soils_are_worked() -> None:
    """The same beds after a dry week: the flush of the last pass is worth a pass today."""
    result = morning(spring(SHOWERS, sun_ahead=1.0, mean_ahead=18.0))
    assert {line.verdict for line in of(result, "S")} == {"go"}
    assert {line.verdict for line in of(result, "L")} == {"go"}
    assert all(line.action is not None and line.action.end > NOW for line in result.beds)


def test_scene_9_the_gauge_outranks_the_station_and_the_answer_says_so() -> None:
    """Gauge 18 mm, station 3 mm."""
    rain = [*SHOWERS, *storm(local(2013, 5, 19, 20), 3.0, 3)]
    without = spring(rain, sun_ahead=0.5, mean_ahead=13.0)
    plain = morning(without)
    without.log(
        "rain",
        local(2013, 5, 20, 5),
        rain_mm=18.0,
        start_at=local(2013, 5, 19, 7).isoformat(),
        end_at=local(2013, 5, 20, 5).isoformat(),
        is_trace=False,
        recorded_at=local(2013, 5, 20, 5, 10),
    )
    gauged = morning(without)
    said = " ".join(gauged.weather.notes)
    assert "18" in said
    assert "3" in said
    assert "gauge" in said
    before = {line.bed: line.soil.surface_rel_water for line in plain.beds + plain.not_reached}
    for line in gauged.beds + gauged.not_reached:
        assert line.soil.surface_rel_water > before[line.bed] + 0.05
    assert "go" not in {line.verdict for line in of(gauged, "L")}


def test_scene_11_an_entry_recorded_later_does_not_change_that_morning() -> None:
    store = spring(SHOWERS, sun_ahead=1.0, mean_ahead=18.0)
    before = answer(morning(store))
    store.log("pass", NOW - timedelta(days=1), "S1", tool="tines", depth_mm=18.0,
              recorded_at=NOW + timedelta(hours=2))  # fmt: skip
    store.log("rain", NOW - timedelta(hours=10), rain_mm=20.0,
              start_at=(NOW - timedelta(hours=12)).isoformat(),
              end_at=(NOW - timedelta(hours=2)).isoformat(), is_trace=False,
              recorded_at=NOW + timedelta(hours=2))  # fmt: skip
    assert answer(morning(store)) == before
    later = answer(morning(store, NOW + timedelta(hours=3)))
    assert later["beds"] != before["beds"]


@pytest.mark.parametrize("order", [(0, 1, 2, 3), (3, 1, 2, 0)])
def test_neither_order_of_beds_nor_another_bed_changes_a_figure(order: tuple[int, ...]) -> None:
    """Draws are keyed by name: a bed more, or another order, leaves every other figure alone."""
    store = spring(SHOWERS, sun_ahead=1.0, mean_ahead=18.0)
    beds = tuple(BEDS[i] for i in order)
    farm = made_farm((*beds, Bed("Z9", 9.0, 0.75, "middle")))
    more = service.morning(farm, store, store, NOW)
    plain = morning(store)
    figures = {line.bed: (line.soil, line.crust, line.flush, line.sure) for line in plain.beds}
    for line in more.beds:
        if line.bed in figures:
            assert (line.soil, line.crust, line.flush, line.sure) == figures[line.bed]


def test_the_dates_of_a_flush_come_in_order_and_from_the_particles() -> None:
    """Opened, threads from, threads most, last good: for every bed, by the particles' course."""
    store = spring(SHOWERS, sun_ahead=1.0, mean_ahead=18.0)
    computed = service.situation(made_farm(BEDS), store, store, NOW)
    lines = service.morning_of(computed)
    for line in (*lines.beds, *lines.not_reached):
        course = computed.weeds[line.bed].course
        assert course is not None
        assert course.thread_from_hour is not None
        flush = line.flush
        assert flush is not None
        assert flush.opened_at is not None
        assert flush.thread_from is not None
        assert flush.thread_most_at is not None
        assert flush.opened_at < flush.thread_from < flush.thread_most_at
        assert flush.thread_from == computed.sky.at(round(course.thread_from_hour))
        assert flush.last_good_at is None or flush.last_good_at > flush.thread_most_at
        # the clock of the leading guild runs beside it, days apart at most
        clock = computed.outlooks[line.bed].flush.reached["first_thread"]
        assert abs(float(np.median(clock)) - course.thread_from_hour) < 72.0
