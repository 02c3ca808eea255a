"""What squeeze tests changed, and those left out, in words; on the columns of the visits' tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from scheduler.planning.day import day_of
from scheduler.planning.ensemble import Ensemble, rerun_ensemble
from scheduler.planning.outlook import ground_of
from scheduler.planning.soil_lessons import doubted_feels, soil_lessons
from scheduler.planning.visits import A_SQUEEZE, taught
from scheduler.records import DoubtedEntry, Event, FloatArray, Lesson
from scheduler.service.settings import weed_heat
from tests.planning.made import START
from tests.planning.test_visits import (
    FARM,
    NOW,
    PLANTINGS,
    S1,
    STORED,
    TRAITS,
    columns,
    entry,
    made,
    vain,
)

DAY = day_of(FARM, columns().sky, STORED, START + timedelta(hours=NOW, minutes=30))
LAST_RAIN_ENDS = max(range(24 * 6, NOW, 24 * 5)) + 5


def excess() -> FloatArray:
    """Water of S1 above the threshold, (n_members, n_stored)."""
    ground = ground_of(S1, columns())
    limit = np.minimum(ground.members.working_m3m3, ground.members.ceiling_m3m3)
    return ground.water(A_SQUEEZE.decides_to_mm) - limit[:, None]


def nine_o_clock(low: float, high: float, most: int = 6) -> list[int]:
    """Mornings whose middle water lies between two excesses, the latest first."""
    middle = np.median(excess(), axis=0)
    mornings = range(24 * 7 + 9, NOW - 12, 24)
    return [h for h in reversed(mornings) if low <= middle[h - STORED] <= high][:most]


def feels(hours: Sequence[int], said: str, bed: str = "S1") -> list[Event]:
    return [entry("feel", h, bed, feel=said) for h in hours]


def lessons(events: Sequence[Event], of: Ensemble | None = None) -> tuple[Lesson, ...]:
    return soil_lessons(of or columns(), FARM, PLANTINGS, events, TRAITS, DAY)


def doubts(events: Sequence[Event], of: Ensemble | None = None) -> tuple[DoubtedEntry, ...]:
    return doubted_feels(of or columns(), FARM, PLANTINGS, events, TRAITS, DAY)


def learn(events: Sequence[Event], of: Ensemble | None = None) -> Ensemble:
    return taught(of or columns(), FARM, PLANTINGS, events, TRAITS)


WETTER = feels(nine_o_clock(0.005, 0.03), "crumbles")  # it crumbles where it was thought too wet
DRIER = feels(nine_o_clock(-0.03, -0.005), "smears")


def test_a_soil_that_crumbles_sooner_than_thought() -> None:
    assert len(WETTER) >= 4
    (lesson,) = lessons(WETTER)
    assert (lesson.what, lesson.of, lesson.n) == ("soil", "silt", len(WETTER))
    assert lesson.unit == "h"
    assert lesson.after.mid < lesson.before.mid - 1.0
    assert lesson.after.low <= lesson.after.mid <= lesson.after.high
    rain = START + timedelta(hours=LAST_RAIN_ENDS - 1)
    assert lesson.says == (
        f"{len(WETTER)} squeeze tests on silt: it can be worked {lesson.after.mid:.0f} h after the "
        f"rain of {rain.day} {rain:%b}, sooner than the {lesson.before.mid:.0f} h thought"
    )
    moved = learn(WETTER)
    assert np.all(moved.members["silt"].working_m3m3 > columns().members["silt"].working_m3m3)


def test_a_soil_that_must_be_drier_than_thought() -> None:
    assert len(DRIER) >= 4
    (lesson,) = lessons(DRIER)
    if lesson.unit == "h":
        assert lesson.after.mid > lesson.before.mid + 1.0
        assert ", later than the " in lesson.says
    else:  # it did not dry enough in sight: then by its water
        assert lesson.after.mid > lesson.before.mid + 0.005
        assert "must be drier than thought by" in lesson.says
    shift = learn(DRIER).members["silt"].working_m3m3 - columns().members["silt"].working_m3m3
    assert np.median(shift) < -0.01


def test_without_rain_in_sight_the_lesson_is_in_water() -> None:
    """The same columns with the record of rain taken away."""
    dry = columns()
    air = replace(dry.sky.forcing, rain_mm=np.zeros_like(dry.sky.forcing.rain_mm))
    dry = replace(dry, sky=replace(dry.sky, forcing=air))
    (lesson,) = lessons(WETTER, dry)
    assert lesson.unit == "m3/m3"
    assert lesson.after.mid < lesson.before.mid - 0.005
    moved = 100.0 * (lesson.before.mid - lesson.after.mid)
    assert lesson.says.endswith(f"with {moved:.1f} % of its volume more water than thought")
    (lesson,) = lessons(DRIER, dry)
    assert "must be drier than thought by" in lesson.says


def test_what_was_foretold_is_told_as_such() -> None:
    (lesson,) = lessons(feels(nine_o_clock(-0.2, -0.06), "crumbles", "S2"))
    assert lesson.says.endswith("as thought")
    assert lesson.after.mid == pytest.approx(lesson.before.mid, abs=1.0)


def test_no_handful_no_lesson_and_nothing_moves() -> None:
    passes = [vain(24 * 20 + 9), made(24 * 24 + 9)]
    assert lessons(passes) == doubts(passes) == ()
    of = learn(passes)
    assert of.members["silt"] is columns().members["silt"]
    assert of.drawn == {}


def test_a_doubted_entry_is_named_and_leaves_no_trace() -> None:
    wettest = int(np.argmax(excess()[:, : NOW - STORED].mean(axis=0))) + STORED
    wrong = entry("feel", wettest, "S2", feel="crumbles")
    others = feels(nine_o_clock(-0.2, -0.06), "crumbles", "S2")
    assert len(others) >= 4
    (doubt,) = doubts([*others, wrong])
    at = wrong.happened_at
    assert doubt.event is wrong
    assert doubt.why == (
        f"S2 felt crumbling on {at.day} {at:%b} at {at:%H:%M}, but by weather and all other "
        "entries its soil was far too wet: not learned from (another bed, day or word?)"
    )
    (lesson,) = lessons([*others, wrong])
    assert lesson.n == len(others)
    one, other = learn([*others, wrong]), learn(others)
    assert_array_equal(one.weights["silt"], other.weights["silt"])
    assert_array_equal(one.members["silt"].working_m3m3, other.members["silt"].working_m3m3)


def test_a_soil_far_from_wet_cannot_be_wet() -> None:
    driest = int(np.argmin(excess()[:, : NOW - STORED].mean(axis=0))) + STORED
    (doubt,) = doubts(feels([driest], "wet"))
    assert "felt wet" in doubt.why
    assert "its soil was far from wet" in doubt.why


def test_lessons_do_not_depend_on_whether_the_columns_were_taught() -> None:
    of = learn(WETTER)
    assert lessons(WETTER, of) == lessons(WETTER)
    again = learn(WETTER, of)
    assert_array_equal(again.members["silt"].working_m3m3, of.members["silt"].working_m3m3)
    assert_array_equal(again.weights["silt"], of.weights["silt"])
    back = learn([], of)
    assert back.members["silt"] is columns().members["silt"]
    assert back.drawn == {}
    assert learn(WETTER).members["sand"] is columns().members["sand"]


def test_a_run_taken_up_again_begins_from_members_as_drawn() -> None:
    of = learn(WETTER)
    fresh = rerun_ensemble(of, of.sky, of.histories, weed_heat())
    assert fresh.members["silt"] is columns().members["silt"]
    assert fresh.drawn == {}


def test_thresholds_stay_in_order() -> None:
    for events in (WETTER, DRIER):
        members = learn(events).members["silt"]
        assert np.all(members.working_m3m3 <= members.ceiling_m3m3)
        assert np.all(members.working_m3m3 > members.dry_limit_m3m3)
        assert np.all(members.ceiling_m3m3 <= members.parameters.theta_sat_m3m3)


def test_passes_and_handfuls_of_one_half_day_count_once_together() -> None:
    hour = WETTER[0].happened_at
    h = int((hour - START) / timedelta(hours=1))
    felt = entry("feel", h, feel="crumbles")
    alone, thrice = learn([felt]), learn([felt, entry("feel", h + 0.3, feel="crumbles"), felt])
    assert np.abs(alone.weights["silt"] - thrice.weights["silt"]).max() < 0.01
    of_pass = learn([made(h)]).weights["silt"]
    both = learn([felt, made(h)]).weights["silt"]
    assert (1.0 / (both**2).sum()) > 0.5 * (1.0 / (of_pass**2).sum())
