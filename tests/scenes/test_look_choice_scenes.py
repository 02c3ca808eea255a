"""A look is asked for, logged as it may come out, and the list then says what the asking named."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from scheduler import service
from scheduler.records import Bed, BedAnswer
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

N_MEMBERS = 16
LONG = Bed("L1", 80.0, 0.75, "sand")
START = local(2013, 4, 20)
PREPARED = local(2013, 5, 6, 14)
EARLY, LATER = local(2013, 5, 11, 5, 30), local(2013, 5, 15, 5, 30)


def stale_bed(now: datetime) -> MadeStore:
    """A long bed prepared on 6 May, a shower that night, warm dry weather since and to come."""
    n_hours = int((now.replace(minute=0) - START) / timedelta(hours=1))
    showers = (local(2013, 4, 24, 2), local(2013, 5, 7, 2))
    rain = [(day + timedelta(hours=i), 7.0 / 6.0) for day in showers for i in range(6)]
    store = MadeStore(values=observed(START, made_hours(START, n_hours, mean_c=17.0, rain=rain)))
    ahead = made_hours(now.replace(minute=0), 240, mean_c=17.0)
    store.forecasts.append(forecast(now - timedelta(minutes=25), ahead))
    store.log("prep", PREPARED, LONG.name, depth_mm=90.0)
    return store


def line(now: datetime, machine_price: float, *looks: dict[str, float | bool]) -> BedAnswer:
    """The bed on the list of a morning, after looks two hours before."""
    store = stale_bed(now)
    for look in looks:
        store.log("look", now - timedelta(hours=2), LONG.name, **look)
    farm = made_farm((LONG,))
    farm = replace(farm, work=replace(farm.work, machine_price=machine_price))
    found = service.situation(farm, store, store, now, n_members=N_MEMBERS)
    morning = service.morning_of(found)
    (answer,) = (*morning.beds, *morning.not_reached)
    return answer


@pytest.fixture(scope="module")
def asked_of_stages() -> BedAnswer:
    return line(LATER, 3.0)


@pytest.fixture(scope="module")
def asked_of_amount() -> BedAnswer:
    return line(EARLY, 6.0)


def test_it_asks_for_white_or_green_where_the_stage_decides(asked_of_stages: BedAnswer) -> None:
    look = asked_of_stages.look
    assert look is not None
    assert look["ask"] == (
        "scratch three spots; mostly white, tomorrow is better; mostly green, go today"
    )
    assert look["where"] == "across the bed"
    assert look["gain_min"] > 1.0


def test_mostly_white_and_tomorrow_is_better() -> None:
    found = line(LATER, 3.0, {"n_thread": 14, "n_seed_leaf": 6})
    assert (found.verdict, found.because) == ("wait", "weeds_small")
    assert found.until is not None
    assert found.until.date() == LATER.date() + timedelta(days=1)
    assert found.look is None  # it was looked at


def test_mostly_green_and_it_goes_today() -> None:
    found = line(LATER, 3.0, {"n_thread": 2, "n_seed_leaf": 12, "n_true_leaf": 6})
    assert found.verdict == "go"
    assert found.look is None


def test_it_asks_how_many_where_the_number_decides(asked_of_amount: BedAnswer) -> None:
    look = asked_of_amount.look
    assert look is not None
    assert look["ask"] == (
        "scratch three spots and count; fewer than 80 per m2, tomorrow is better; more, go today"
    )


def test_few_and_tomorrow_is_better() -> None:
    found = line(EARLY, 6.0, {"thread": 15.0, "seed_leaf": 5.0})
    assert (found.verdict, found.because) == ("wait", "weeds_small")
    assert found.until is not None
    assert found.until.date() == EARLY.date() + timedelta(days=1)


def test_many_and_it_goes_today() -> None:
    found = line(EARLY, 6.0, {"thread": 100.0, "seed_leaf": 30.0})
    assert found.verdict == "go"


def test_opposite_where_minutes_are_cheap_it_goes_without_a_look() -> None:
    """A pass at a twentieth of a hand minute is worth it in any bed that is not clean."""
    found = line(EARLY, 0.05)
    assert found.verdict == "go"
    assert found.look is None
