"""More work than hours: the plan fits, the rest is named with its cost. Everything is invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler import service
from scheduler.records import Bed, Morning, Tool
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

N_MEMBERS = 16
START, MORNING = local(2013, 4, 15), local(2013, 5, 20, 5, 30)
HOE = Tool("hoe", "stirrup hoe", 20.0, 0.17, width_m=0.18, travel="by hand", setup_min=0.0)
BEDS = tuple(Bed(f"S{n:02d}", 90.0, 0.75, "sand") for n in range(1, 13))


def of_hours(hours: float) -> Morning:
    """A dry morning with a flush on twelve long beds, each hoed on another day of early May."""
    farm = made_farm(BEDS, (HOE,))
    farm = replace(farm, work=replace(farm.work, hours=(hours,) * 7))
    rain = [(local(2013, 5, 4, 2) + timedelta(hours=i), 3.0) for i in range(6)]
    weather = made_hours(START, 24 * 36, mean_c=17.0, rain=rain)
    store = MadeStore(values=observed(START, weather))
    for i, bed in enumerate(BEDS):
        store.log("prep", local(2013, 4, 17, 14), bed.name, depth_mm=90.0)
        day = local(2013, 5, 2, 14) + timedelta(days=i)
        store.log("pass", day, bed.name, tool="hoe", depth_mm=18.0)
    ahead = made_hours(MORNING.replace(minute=0), 240, mean_c=17.0)
    store.forecasts = [forecast(MORNING - timedelta(minutes=25), ahead)]
    return service.morning_of(service.situation(farm, store, store, MORNING, n_members=N_MEMBERS))


@pytest.fixture(scope="module")
def three() -> Morning:
    return of_hours(3.0)


@pytest.fixture(scope="module")
def plenty() -> Morning:
    return of_hours(11.0)


def test_scene_7_the_plan_fits_and_the_rest_is_named_with_its_cost(
    three: Morning, plenty: Morning
) -> None:
    """Nine hours of work wanted, three to do it in: no bed lost, the dearest to leave first."""
    asked_min = sum(line.action.work_min for line in plenty.beds if line.action is not None)
    assert asked_min / 60.0 == pytest.approx(9.0, abs=0.5)
    ranked = [line for line in three.beds if line.rank is not None]
    planned_min = sum(a.work_min + a.setup_min for x in ranked if (a := x.action))
    assert 180.0 - asked_min / len(BEDS) < planned_min <= 180.0  # no room for one more
    assert three.minutes_planned <= 180.0
    assert {line.bed for line in (*ranked, *three.not_reached)} == {bed.name for bed in BEDS}
    costs = []
    for line in three.not_reached:
        assert (line.verdict, line.because) == ("wait", "no_hours")
        assert line.until is not None
        assert line.minutes is not None
        cost = line.minutes["cost_of_waiting"]
        assert cost.low < cost.mid < cost.high
        assert cost.mid > 0.0
        costs.append(cost.mid)
    kept = [x.minutes["cost_of_waiting"].mid for x in ranked if x.minutes is not None]
    assert min(kept) >= max(costs) - 1.0


def test_scene_7_opposite_hours_enough_leave_nothing(plenty: Morning) -> None:
    assert plenty.not_reached == ()
    assert {line.verdict for line in plenty.beds} == {"go"}
