"""Minutes of a pass by hand, set-ups by rows and by name, and the last time in the grower's words.

Turns, access and set-ups are assumptions of this project (rules.csv, subject work); the formula is
checked with figures worked here by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.errors import RangeError
from scheduler.planning.geometry import Fit
from scheduler.planning.work import last_time, setup_minutes, setup_of, work_minutes
from scheduler.records import Bed, Event, Planting, Setup, Tool

START = datetime(2013, 5, 1, tzinfo=UTC)
BED = Bed("A1", 18.0, 0.75, "middle")
TINES = Tool("tines", "tine weeder", 18.0, 0.9, width_m=0.8, setup_min=10.0)
SWEEPS = Tool("sweeps", "sweeps", 25.0, 0.9, width_m=0.8, setup_min=8.0)


def planting(crop: str | None = None) -> Planting:
    """The whole bed in three rows at 250 mm."""
    return Planting(BED, None, 0.0, 18.0, crop, crop is not None, START, 3, 250.0, 15.0)


def entry(kind: str, hour: float, bed: str = "A1", part: str | None = None, **data: Any) -> Event:
    """An entry at an hour of the clock."""
    at = START + timedelta(hours=hour)
    return Event(f"{kind}-{hour:g}-{part or ''}", kind, at, at, bed, part, data)


# ------------------------------------------------------------------------ minutes


def test_minutes_of_a_pass_worked_by_hand() -> None:
    """Two runs of 18 m at 0.9 m/s with 25 s a turn: 1 + 2 (20 + 25) / 60 = 2.5 min."""
    way = Fit(True, "", n_runs=2, turn_s=25.0, run_m=18.0, treated_m=17.0)
    assert work_minutes(TINES, planting(), way) == pytest.approx(2.5)
    backing = replace(way, back_s=40.0)  # 18 m at 0.45 m/s
    assert work_minutes(TINES, planting(), backing) == pytest.approx(2.5 + 2 * 40 / 60)
    lifted = replace(way, lift_over=("A1/north", "A1/south"))
    assert work_minutes(TINES, planting(), lifted) == pytest.approx(2.5 + 2 * 2 * 20 / 60)
    twice_set = replace(way, n_settings=2)  # half of 10 min
    assert work_minutes(TINES, planting(), twice_set) == pytest.approx(2.5 + 5.0)


def test_short_beds_are_mostly_turning() -> None:
    """Efficiencies of 36-45, 53-62 and 62-71 % for 10, 20 and 30 m at 0.6 m/s, turns of 20-30 s.

    The spans were worked out from L / (L + v t) in this project's notes, not measured.
    """
    tool = replace(TINES, speed_m_s=0.6)
    for length_m, low, high in ((10.0, 0.36, 0.45), (20.0, 0.53, 0.62), (30.0, 0.62, 0.71)):
        way = Fit(True, "", n_runs=1, turn_s=25.0, run_m=length_m)
        moving_min = length_m / 0.6 / 60.0
        assert low < moving_min / (work_minutes(tool, planting(), way) - 1.0) < high


def test_minutes_of_a_tool_that_does_not_fit_are_an_error() -> None:
    with pytest.raises(RangeError, match=r"'sweeps' on A1: it does not fit \(too wide\)"):
        work_minutes(SWEEPS, planting(), Fit(False, "too wide", "no_fit"))


@given(
    st.integers(1, 6), st.floats(1.0, 60.0), st.floats(5.0, 60.0), st.floats(0.0, 60.0),
    st.floats(0.1, 2.0),
)  # fmt: skip
def test_more_of_anything_never_takes_less_time(
    n_runs: int, run_m: float, turn_s: float, back_s: float, speed_m_s: float
) -> None:
    tool = replace(TINES, speed_m_s=speed_m_s)
    way = Fit(True, "", n_runs=n_runs, turn_s=turn_s, run_m=run_m, back_s=back_s)
    base = work_minutes(tool, planting(), way)
    assert base > 1.0
    for more in (
        replace(way, n_runs=n_runs + 1),
        replace(way, run_m=run_m + 1.0),
        replace(way, back_s=back_s + 1.0),
        replace(way, lift_over=("A1/north",)),
        replace(way, n_settings=2),
    ):
        assert work_minutes(tool, planting(), more) > base


# ----------------------------------------------------------------------- set-ups

CARROT_3 = replace(planting("carrot"), row_spacing_mm=254.0)
CARROT_2 = replace(CARROT_3, n_rows=2, row_spacing_mm=381.0)


def with_setups(*setups: Setup) -> Tool:
    return replace(TINES, setups=setups)


def name_of(tool: Tool, on: Planting, purpose: str) -> str | None:
    setup = setup_of(tool, on, purpose)
    return None if setup is None else setup.name


def test_a_set_up_by_its_own_rows_and_spacing() -> None:
    tool = with_setups(
        Setup("wide", n_rows=3, row_spacing_mm=381.0),
        Setup("narrow", n_rows=3, row_spacing_mm=250.0),
        Setup("pair", n_rows=2),
        Setup("twelve inches", row_spacing_mm=305.0),
    )
    assert name_of(tool, CARROT_3, "standing") == "narrow"
    assert name_of(tool, CARROT_2, "standing") == "pair"
    assert name_of(tool, replace(CARROT_3, n_rows=4, row_spacing_mm=300.0), "standing") == (
        "twelve inches"
    )
    assert name_of(tool, replace(CARROT_3, n_rows=4, row_spacing_mm=150.0), "standing") is None
    assert name_of(tool, replace(CARROT_3, row_spacing_mm=None), "standing") is None


def test_a_set_up_by_the_number_in_its_name() -> None:
    tool = with_setups(Setup("two-row beds"), Setup("3 rows"), Setup("thirty days"))
    assert name_of(tool, CARROT_3, "standing") == "3 rows"
    assert name_of(tool, CARROT_2, "standing") == "two-row beds"
    assert name_of(tool, replace(CARROT_3, n_rows=1), "standing") is None
    assert name_of(tool, replace(CARROT_3, n_rows=None), "standing") is None


def test_what_a_set_up_is_made_for_outranks_its_name() -> None:
    tool = with_setups(Setup("three rows", n_rows=2), Setup("three rows of leek"))
    assert name_of(tool, CARROT_3, "standing") == "three rows of leek"
    assert name_of(tool, CARROT_2, "standing") == "three rows"


def test_blind_and_stale_set_ups() -> None:
    tool = with_setups(Setup("Blind, three rows"), Setup("standing crop"))
    assert name_of(tool, CARROT_3, "blind") == "Blind, three rows"
    assert name_of(tool, CARROT_3, "stale") == "Blind, three rows"
    assert name_of(tool, CARROT_3, "standing") == "standing crop"
    own = with_setups(Setup("blind"), Setup("stale bed"))
    assert name_of(own, CARROT_3, "stale") == "stale bed"
    assert name_of(own, CARROT_3, "standing") is None
    assert name_of(TINES, CARROT_3, "blind") is None
    assert name_of(with_setups(Setup("three rows")), CARROT_3, "blind") is None


def test_an_unknown_purpose_is_an_error() -> None:
    with pytest.raises(RangeError, match="no purpose 'hilling'"):
        setup_of(TINES, CARROT_3, "hilling")


@pytest.mark.parametrize(
    ("before", "after", "setup_min", "minutes"),
    [
        (("tines", "blind"), ("tines", "blind"), 10.0, 0.0),
        (("tines", None), ("tines", None), 10.0, 0.0),
        (("tines", "blind"), ("tines", "standing crop"), 8.0, 4.0),
        (("tines", "blind"), ("tines", None), 8.0, 4.0),
        (("tines", "blind"), ("tines", "standing crop"), 15.0, 5.0),
        (("sweeps", "blind"), ("tines", "blind"), 15.0, 15.0),
        (None, ("tines", None), 15.0, 15.0),
        (("hoe", None), ("tines", None), 1.0, 1.0),
    ],
)
def test_minutes_from_what_was_ready_before(
    before: tuple[str, str | None] | None,
    after: tuple[str, str | None],
    setup_min: float,
    minutes: float,
) -> None:
    assert setup_minutes(before, after, replace(TINES, setup_min=setup_min)) == minutes


# ---------------------------------------------------------------------- last time

KALE = planting("kale")


def logged(hour: float, bed: str = "A1", note: str = "", **data: str | bool) -> Event:
    """A pass with the tines."""
    return replace(entry("pass", hour, bed, **{"tool": "tines", **data}), note=note)


def words(*events: Event, setup: str | None = None, crop: str | None = "kale") -> str:
    return last_time(events, KALE, "tines", setup, crop)


SET = entry("plant", 1, crop="kale")
SET_B = entry("plant", 1, "B2", crop="Kale")
LEEK_C = entry("plant", 1, "C3", crop="leek")


def test_the_newest_pass_here_speaks() -> None:
    old, new = logged(10, how="poorly"), logged(50, how="fair", note="one notch closer")
    assert words(SET, old, new) == "last time here: fair, one notch closer"
    assert words(SET, old) == "last time here: poorly"
    assert words(SET, logged(10, note="slower")) == "last time here: slower"
    assert words(SET, logged(10, worked=False)) == "last time here: not worked"


def test_a_pass_that_says_nothing_is_passed_over() -> None:
    assert words(SET, logged(10, how="well"), logged(50, worked=True)) == "last time here: well"
    assert words(SET, logged(50)) == ""
    assert words() == ""


def test_this_bed_before_the_same_crop_before_the_same_set_up() -> None:
    here, there = logged(10, how="well"), logged(50, "B2", how="poorly")
    other = logged(80, "C3", how="fair", setup="three rows")
    both = (SET, SET_B, LEEK_C)
    assert words(*both, here, there, other, setup="three rows") == "last time here: well"
    assert words(*both, there, other, setup="three rows") == "last time in kale, B2: poorly"
    assert words(*both, other, setup="three rows") == "last time with three rows, C3: fair"
    assert words(*both, other) == ""


def test_another_crop_in_this_bed_is_not_this_one() -> None:
    before = entry("sow", 1, crop="carrot")
    passed = logged(10, how="well")
    assert words(before, passed, entry("plant", 30, crop="kale")) == ""
    assert words(SET, entry("clear", 5), passed) == ""


def test_another_tool_or_set_up_says_nothing() -> None:
    assert words(SET, replace(logged(10, how="well"), data={"tool": "hoe", "how": "well"})) == ""
    blind = logged(10, how="well", setup="blind")
    assert words(SET, blind, setup="standing crop") == ""
    assert words(SET, blind, setup="blind") == "last time here: well"
    assert words(SET, blind) == "last time here: well"


def test_parts_of_a_bed() -> None:
    north = entry("plant", 1, "A1", "north", crop="kale")
    south = entry("plant", 2, "A1", "south", crop="leek")
    in_south = replace(logged(10, how="poorly"), part="south")
    whole = logged(5, how="well")
    of_north = replace(KALE, part="north")
    assert last_time((north, south, in_south), of_north, "tines", None, "kale") == ""
    assert last_time((north, south, whole, in_south), of_north, "tines", None, "kale") == (
        "last time here: well"
    )


def test_an_empty_bed_asks_for_a_pass_over_an_empty_bed() -> None:
    bare = replace(KALE, crop=None)
    over_empty = logged(10, how="fair")
    assert last_time((over_empty,), bare, "tines", None, None) == "last time here: fair"
    assert last_time((SET, over_empty), bare, "tines", None, None) == ""
    elsewhere = logged(10, "B2", how="fair")
    assert last_time((elsewhere,), bare, "tines", None, None) == (
        "last time over an empty bed, B2: fair"
    )
