"""Columns gone on from a mark, other rain, and two lists compared, with sums done by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from scheduler.errors import RangeError
from scheduler.models.soil_column import ColumnForcing
from scheduler.planning.ensemble import (
    Ensemble,
    Sky,
    rerun_ensemble,
    run_ensemble,
    sky_change_hour,
    soil_members,
)
from scheduler.planning.weeds import HandRates
from scheduler.planning.whatif import (
    Changes,
    HandAhead,
    RainToCome,
    changed_sky,
    compared,
    hand_ahead,
    totals,
)
from scheduler.records import (
    BedAnswer,
    Farm,
    FloatArray,
    Morning,
    Place,
    Range,
    Soil,
    SoilAnswer,
    WeatherAnswer,
    WorkPlan,
)
from scheduler.service.settings import soil_prior, spread, weed_heat

START = datetime(2013, 5, 1, tzinfo=UTC)
N_HOURS, NOW_HOUR = 24 * 14, 24 * 10
N_MEMBERS = 3
FIELDS = (
    "theta_m3m3",
    "temp_c",
    "skin_temp_c",
    "crust_maturity_frac",
    "evaporation_mm",
    "germination_cd",
    "elongation_cd",
    "drying_d",
    "leaf_cd",
    "totals_mm",
    "residual_mm",
    "n_substeps",
)


def sky(*rain: tuple[int, float]) -> Sky:
    """Sunny days with showers at some hours, each member a little warmer than the one before."""
    hour = np.arange(N_HOURS) % 24
    sun = np.maximum(0.0, np.sin((hour - 6) / 12 * np.pi))
    rain_mm = np.zeros((N_MEMBERS, N_HOURS))
    for at, mm in rain:
        rain_mm[:, at] = mm
    warmth = np.arange(N_MEMBERS)[:, None]
    air = 14.0 + 5.0 * np.sin((hour - 9) / 12 * np.pi) + warmth
    same = np.ones((N_MEMBERS, N_HOURS))
    forcing = ColumnForcing(
        rain_mm, 0.4 * sun * same, air, 0.65 * same, 2.0 * same, 1.8 * sun * same, 0.8 * same
    )
    return Sky(START, NOW_HOUR, forcing, np.ones(N_HOURS, bool), has_forecast=True)


def table(*done: tuple[int, int, float]) -> FloatArray:
    """A bare surface with something done: hour, column (0 water, 2 depth), amount."""
    rows = np.zeros((N_HOURS, 6))
    rows[:, 5] = 300.0
    for hour, column, amount in done:
        rows[hour, column] = amount
    return rows


LOAM = soil_members(soil_prior(Soil("loam", "loam", None, None, 3.0)), spread(), 5, N_MEMBERS)
SURFACES = {
    "A1": ("loam", table()),
    "A2": ("loam", table()),
    "A3": ("loam", table((100, 2, 20.0))),
}
SHOWERS = ((30, 6.0), (150, 9.0), (260, 4.0))


def run(of: Sky, surfaces: dict[str, tuple[str, FloatArray]]) -> Ensemble:
    marks = [NOW_HOUR + 24 * day for day in (-3, -2, -1, 0, 1, 2)]
    return run_ensemble(
        of,
        {"loam": LOAM},
        surfaces,
        weed_heat(),
        stored_from_hour=24,
        readings_from_hour=24,
        batch_groups=2,
        mark_hours=marks,
    )


def assert_same(one: Ensemble, other: Ensemble) -> None:
    """Every figure of every planting's columns, to the last bit."""
    assert one.group_of.keys() == other.group_of.keys()
    for key in one.group_of:
        (run_a, a), (run_b, b) = one.run_of(key), other.run_of(key)
        for name in FIELDS:
            assert np.array_equal(getattr(run_a, name)[a], getattr(run_b, name)[b]), (key, name)


@pytest.fixture(scope="module")
def plain() -> Ensemble:
    return run(sky(*SHOWERS), SURFACES)


@pytest.mark.parametrize("at", [0, 60, NOW_HOUR - 50, NOW_HOUR, NOW_HOUR + 7, N_HOURS - 1])
def test_rain_at_any_hour_goes_on_to_the_last_bit(plain: Ensemble, at: int) -> None:
    wetter = sky(*SHOWERS, (at, 12.0))
    assert sky_change_hour(plain.sky, wetter) == at
    assert_same(rerun_ensemble(plain, wetter, SURFACES, weed_heat()), run(wetter, SURFACES))


@pytest.mark.parametrize("hour", [90, NOW_HOUR, NOW_HOUR + 30])
def test_a_pass_runs_its_own_bed_alone(plain: Ensemble, hour: int) -> None:
    passed = {**SURFACES, "A2": ("loam", table((hour, 2, 25.0)))}
    again = rerun_ensemble(plain, plain.sky, passed, weed_heat())
    assert_same(again, run(plain.sky, passed))
    for key in ("A1", "A3"):
        assert again.run_of(key)[0] is plain.run_of(key)[0]
    assert len(again.runs) == len(plain.runs) + 1
    assert again.run_of("A2")[0].theta_m3m3.shape[0] == N_MEMBERS


def test_beds_changed_alike_share_their_columns_and_others_go_apart(plain: Ensemble) -> None:
    watered = table((NOW_HOUR + 5, 0, 8.0))
    late = table((100, 2, 20.0), (NOW_HOUR + 60, 2, 20.0))
    changed = {"A1": ("loam", watered), "A2": ("loam", watered.copy()), "A3": ("loam", late)}
    again = rerun_ensemble(plain, plain.sky, changed, weed_heat())
    assert_same(again, run(plain.sky, changed))
    assert again.group_of["A1"] == again.group_of["A2"] != again.group_of["A3"]


def test_nothing_changed_runs_nothing(plain: Ensemble) -> None:
    again = rerun_ensemble(plain, sky(*SHOWERS), SURFACES, weed_heat())
    assert again.runs == plain.runs
    assert again.group_of == plain.group_of


def test_another_clock_or_soil_is_refused(plain: Ensemble) -> None:
    later = replace(sky(*SHOWERS), start_at=START + timedelta(hours=1))
    with pytest.raises(ValueError, match="run all columns anew"):
        rerun_ensemble(plain, later, SURFACES, weed_heat())
    with pytest.raises(ValueError, match="another soil"):
        rerun_ensemble(plain, plain.sky, {"A1": ("clay", table())}, weed_heat())


# --------------------------------------------------------------------- rain


def test_rain_said_takes_the_place_of_what_was_foreseen() -> None:
    of = sky((NOW_HOUR + 1, 5.0), (NOW_HOUR + 9, 3.0))
    begin = of.at(NOW_HOUR)
    wet = changed_sky(of, [RainToCome(6.0, begin, begin + timedelta(hours=3))])
    ahead = wet.forcing.rain_mm[:, NOW_HOUR : NOW_HOUR + 10]
    assert ahead[0].tolist() == [2.0, 2.0, 2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 3.0]
    assert np.array_equal(wet.forcing.et0_mm, of.forcing.et0_mm)
    dry = changed_sky(of, [], is_dry=True)
    assert dry.forcing.rain_mm[:, NOW_HOUR:].max() == 0.0
    assert changed_sky(of, []) is of


@pytest.mark.parametrize("hours", [(-1, 2), (3, 3), (0, 24 * 5)])
def test_rain_out_of_sight_is_refused(hours: tuple[int, int]) -> None:
    of = sky()
    begin, end = (of.at(NOW_HOUR + hour) for hour in hours)
    with pytest.raises(RangeError, match="must lie between"):
        changed_sky(of, [RainToCome(6.0, begin, end)])
    with pytest.raises(RangeError, match="0 or more"):
        changed_sky(of, [RainToCome(-1.0, of.at(NOW_HOUR), of.at(NOW_HOUR + 1))])


# ------------------------------------------------------------------- compared


def test_minutes_by_hand_at_the_end_of_sight() -> None:
    """Ten young weeds per m2 in rows that take a quarter of 10 m2, at 0.1 min each: 2.5 min."""
    count = np.zeros((1, 3, 2, 5))
    count[0, 2, 0, 3] = 10.0
    weeds: Any = SimpleNamespace(
        hours=np.array([5.0, 12.0, 36.0]),
        weights=np.ones(1),
        row_share=0.25,
        count_m2=count,
    )
    bed = SimpleNamespace(width_m=1.0)
    planting = SimpleNamespace(bed=bed, from_m=0.0, to_m=10.0, n_rows=1)
    rates = HandRates(np.array([0.0, 0.0, 0.1, 0.0]), 0.0, np.zeros(4))
    ahead = hand_ahead(weeds, SimpleNamespace(planting=planting), rates)  # type: ignore[arg-type]
    assert ahead.hour == 36.0
    assert ahead.minutes.tolist() == [2.5]
    assert ahead.mean_min == 2.5


def line(bed: str, verdict: str, because: str = "", **minutes: float) -> BedAnswer:
    soil = SoilAnswer(0.9, None, 0.5, 14.0)
    spans = {name: Range(0.0, mid, 2 * mid) for name, mid in minutes.items()}
    return BedAnswer(
        None, bed, None, None, verdict, because, None, None, None, soil, None, None, (),
        minutes=spans,
    )  # fmt: skip


def morning(beds: list[BedAnswer], missed: list[BedAnswer], minutes: float) -> Morning:
    place = Place(41.0, -74.0, 10.0, "America/New_York")
    farm = Farm("made", place, "metric", 5, {}, (), (), WorkPlan(time(7), time(19), (6.0,) * 7))
    weather = WeatherAnswer(None, "", None, None, ())
    return Morning(
        farm, START, {}, 2, 4, (), (), weather, 6.0, minutes, 1, tuple(beds), tuple(missed), (),
        date(2013, 5, 1),
    )  # fmt: skip


def test_two_lists_are_compared_planting_by_planting() -> None:
    """Two members, two particles each: +1, +3, +3, +5 on A1, so +2 and +4 by member."""
    before = morning([line("A1", "go", saved=20.0), line("A2", "nothing", "clean")], [], 12.0)
    after = morning(
        [line("A2", "nothing", "clean")],
        [line("A1", "wait", "no_hours", saved=20.0, cost_of_waiting=7.0)],
        0.0,
    )
    weights = np.full(4, 0.25)
    own = {
        "A1": HandAhead(200.0, np.array([10.0, 20.0, 10.0, 20.0]), weights),
        "A2": HandAhead(200.0, np.zeros(4), weights),
    }
    other = {
        "A1": HandAhead(200.0, np.array([11.0, 23.0, 13.0, 25.0]), weights),
        "A2": HandAhead(200.0, np.zeros(4), weights),
    }
    until = START + timedelta(days=9)
    found = compared(Changes(is_skipped=True), before, after, own, other, until)
    a1, a2 = found.plantings
    assert (a1.key, a1.hand_mean_min, a1.is_same) == ("A1", 3.0, False)
    assert (a1.hand_change_min.low, a1.hand_change_min.high) == (1.0, 5.0)
    assert (a2.hand_mean_min, a2.is_same) == (0.0, True)
    assert (found.hand_change_min.low, found.hand_change_min.high) == (2.0, 4.0)
    assert found.before_totals == totals(before)
    assert (found.before_totals.n_lines, found.before_totals.saved_min) == (1, 20.0)
    assert (found.after_totals.n_not_reached, found.after_totals.waiting_min) == (1, 7.0)
