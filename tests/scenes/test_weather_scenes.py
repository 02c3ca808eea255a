"""Scene 10 of the design, its opposites, and the weather of other parts of the world."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from scheduler import service
from scheduler.records import Bed, Forecast, Kind, Morning
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

BEDS = tuple(
    Bed(f"{letter}{n}", 18.0, 0.75, soil)
    for letter, soil in (("S", "sand"), ("L", "silt"))
    for n in (1, 2)
)
NOW = local(2013, 5, 20, 5, 30)
HOUR_NOW = NOW.replace(minute=0)
START = local(2013, 4, 20)
PAST_H = int((HOUR_NOW - START) / timedelta(hours=1))
RAIN = [
    (at + timedelta(hours=i), mm / 6)
    for at, mm in (
        (local(2013, 4, 24, 2), 14.0),
        (local(2013, 5, 4, 2), 16.0),
        (local(2013, 5, 11, 2), 9.0),
    )
    for i in range(6)
]


def truth(start_at: datetime, n_hours: int) -> dict[str, np.ndarray]:
    """What comes, and what every forecast of it says: nothing goes wrong but the network."""
    return made_hours(start_at, n_hours, rain=RAIN)


def issued(at: datetime) -> Forecast:
    return forecast(at, truth(at.replace(minute=0), 240))


def cut_off(days: float) -> MadeStore:
    """A farm whose network failed `days` ago: until then readings and a forecast each morning."""
    last = HOUR_NOW - timedelta(days=days)
    n_hours = int((last - START) / timedelta(hours=1))
    store = MadeStore(values=observed(START, truth(START, n_hours)))
    for back in range(10, -1, -1):
        at = NOW - timedelta(days=back, minutes=25)
        if at <= last + timedelta(minutes=30):
            store.forecasts.append(issued(at))
    for bed in BEDS:
        store.log("prep", START + timedelta(days=2, hours=14), bed.name, depth_mm=90.0)
        store.log("pass", NOW - timedelta(days=12, hours=-8), bed.name, tool="tines", depth_mm=18.0)
    return store


def morning(store: MadeStore, now: datetime = NOW) -> Morning:
    return service.morning(made_farm(BEDS), store, store, now)


def go_lines(found: Morning) -> dict[str, float]:
    lines = [*found.beds, *found.not_reached]
    return {line.bed: line.sure or 0.0 for line in lines if line.action is not None}


@pytest.fixture(scope="module")
def by_outage() -> dict[float, Morning]:
    return {days: morning(cut_off(days)) for days in (0.0, 2.0, 4.0, 6.0)}


def test_scene_10_two_days_without_a_network(by_outage: dict[float, Morning]) -> None:
    """The list still comes, says how old the weather is, and is less sure."""
    fresh, stale = by_outage[0.0], by_outage[2.0]
    assert go_lines(fresh)
    assert go_lines(stale)
    notes = " ".join(stale.weather.notes)
    assert "no reading of rain and temperature since 18 May 05:00, 2 days" in notes
    assert "what was forecast then stands in" in notes
    assert "the forecast is 2 days old: today's rain and drying are a guess" in notes
    assert stale.weather.age_h == pytest.approx(48.5)
    assert any("not read for 2 days" in weak for weak in stale.weakest_inputs)
    shared = go_lines(fresh).keys() & go_lines(stale).keys()
    assert shared
    before = sum(go_lines(fresh)[bed] for bed in shared)
    after = sum(go_lines(stale)[bed] for bed in shared)
    assert after < before


def test_scene_10_opposite_a_fresh_morning_says_nothing_of_age(
    by_outage: dict[float, Morning],
) -> None:
    fresh = by_outage[0.0]
    notes = " ".join(fresh.weather.notes)
    assert "no reading" not in notes
    assert "days old" not in notes
    assert not any("not read" in weak or "forecast" in weak for weak in fresh.weakest_inputs)


def test_the_longer_the_outage_the_less_sure(by_outage: dict[float, Morning]) -> None:
    sums = [
        sum(line.soil.workable_now or 0.0 for line in found.beds) for found in by_outage.values()
    ]
    lines = [go_lines(by_outage[days]) for days in (0.0, 2.0, 4.0)]
    shared = set.intersection(*(set(line) for line in lines))
    totals = [sum(line[bed] for bed in shared) for line in lines]
    assert totals == sorted(totals, reverse=True)
    assert len(sums) == 4


def test_after_six_days_nothing_is_ranked_and_it_says_what_it_still_knows(
    by_outage: dict[float, Morning],
) -> None:
    dead = by_outage[6.0]
    assert not go_lines(dead)
    assert dead.weather.notes[0].startswith("rain was last read 6 days ago: no pass is ranked")
    assert dead.weather.notes[1].startswith("still known: crops and weeds by warmth")
    held = [line for line in dead.beds if line.because == "unknown"]
    assert held
    for line in held:
        assert line.verdict == "wait"
        assert line.until is not None
        assert line.until > NOW
        assert "feel this bed" in line.why[0]
    assert all(line.weeds is not None for line in dead.beds)


def test_a_gauge_read_by_hand_keeps_the_list_alive_without_a_network() -> None:
    store = cut_off(6.0)
    for back in range(6):
        end = HOUR_NOW - timedelta(days=back, hours=-2)
        span = {
            "start_at": (end - timedelta(days=1)).isoformat(),
            "end_at": min(end, NOW).isoformat(),
        }
        at = min(end, NOW)
        store.log("rain", at, rain_mm=0.0, recorded_at=at, **span)
    found = morning(store)
    assert go_lines(found)
    assert not any("no pass is ranked" in note for note in found.weather.notes)
    assert any(note.startswith("no reading of temperature") for note in found.weather.notes)


def test_a_bed_felt_this_morning_is_ranked_though_the_rain_is_unknown() -> None:
    store = cut_off(6.0)
    store.log("feel", NOW - timedelta(minutes=20), "S1", feel="crumbles", recorded_at=NOW)
    found = morning(store)
    assert set(go_lines(found)) <= {"S1", "S2"}  # the beds on that sand
    assert go_lines(found)


def test_what_was_not_known_yet_does_not_stand_in() -> None:
    """Asked later for that morning, with readings that came after it: the same answer."""
    store = cut_off(2.0)
    before = morning(store)
    late = observed(START, truth(START, PAST_H + 48))
    known = {(v.variable, v.start_at) for v in store.values}
    store.values += [
        replace(v, known_at=NOW + timedelta(days=2))
        for v in late
        if (v.variable, v.start_at) not in known
    ]
    store.forecasts.append(issued(NOW + timedelta(hours=3)))
    assert go_lines(morning(store)) == go_lines(before)


def test_past_years_stand_in_beyond_the_forecast_and_are_told_when_missing() -> None:
    store = cut_off(0.0)
    store.forecasts.clear()
    alone = morning(store)
    assert any("no past years on record" in note for note in alone.weather.notes)
    for back in (1, 2, 3):
        start = HOUR_NOW - timedelta(days=round(365.25 * back) + 5)
        store.values += observed(start, made_hours(start, 24 * 21, mean_c=11.0, sun=0.4))
    found = service.situation(made_farm(BEDS), store, store, NOW)
    assert found.sky.n_past_years == 3
    assert not any("past year" in note for note in found.series.notes + found.series.fills)
    ahead = found.sky.forcing.air_temp_c[:, found.sky.now_hour + 24 :].mean()
    assert ahead == pytest.approx(11.0, abs=0.3)
    assert found.series.kinds["rain_mm"][found.sky.now_hour :].max() == Kind.MISSING


def hand_kept(n_days: int = 25) -> MadeStore:
    """No station, no network, no forecast: a gauge and a thermometer read each day at 07:00."""
    store = MadeStore()
    hours = truth(START, PAST_H)
    read_at = [HOUR_NOW - timedelta(days=back, hours=-2) for back in range(n_days, 0, -1)]
    for end in read_at:
        first = int((end - START) / timedelta(hours=1)) - 24
        span = {"start_at": (end - timedelta(days=1)).isoformat(), "end_at": end.isoformat()}
        day = slice(first, first + 24)
        rain = round(float(hours["rain_mm"][day].sum()), 1)
        store.log("rain", end, rain_mm=rain, recorded_at=end, **span)
        low, high = (float(f(hours["air_temp_c"][day])) for f in (np.min, np.max))
        store.log("temp", end, air_temp_min_c=low, air_temp_max_c=high, recorded_at=end, **span)
    for bed in BEDS:
        store.log("pass", NOW - timedelta(days=12, hours=-8), bed.name, tool="tines", depth_mm=18.0)
    return store


def test_a_farm_without_any_network_lives_on_gauge_and_thermometer() -> None:
    found = morning(hand_kept())
    assert go_lines(found)
    assert found.weather.source == "own gauge"
    assert found.weather.forecast_issued is None
    assert found.outlook_line == "no forecast: rain to come is not known"
    assert not any("no pass is ranked" in note for note in found.weather.notes)
    rich = morning(cut_off(0.0))
    lines = {(a.bed, a.part): a for a in found.beds}
    for line in rich.beds:
        own = lines[line.bed, line.part]
        assert abs(own.soil.surface_temp_c - line.soil.surface_temp_c) < 2.5


def test_weather_known_from_forecasts_alone_ranks_no_pass() -> None:
    """Three days of forecasts and a thermometer: no rain was ever read."""
    store = hand_kept(8)
    store.entries = [e for e in store.entries if e.kind != "rain"]
    for back in range(8, -1, -1):
        store.forecasts.append(issued(NOW - timedelta(days=back, minutes=25)))
    found = morning(store)
    assert not go_lines(found)
    assert found.weather.notes[0].startswith("no rain was ever read: no pass is ranked")
