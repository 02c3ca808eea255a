"""Gates: each rule with its opposite, and the sentence the grower reads."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.planning.crop_stage import CropHours, CropStage, crop_stage
from scheduler.planning.gates import Gate, gate
from scheduler.planning.traits import CAREFUL_BLIND, GOOD_BLIND, CropTraits, ToolTraits
from scheduler.records import Planting, Tool
from tests.planning.made import START, planting, sky

N = 8
N_HOURS = 24 * 70
UP = 24 * 12.0  # hour at which a sown crop is up

TINE = ToolTraits(
    True, True, True, True, 20.0, 0.0,
    depth_low_mm=10.0, blind_loss_frac=0.01, standing_loss_frac=0.03, crop_gate="tine",
)  # fmt: skip
ROTARY = replace(TINE, depth_low_mm=15.0)
FINGER = replace(TINE, can_blind=False, needs_rows=True, crop_gate="finger")
TORSION = replace(FINGER, crop_gate="torsion")
BRUSH = replace(FINGER, crop_gate="brush")
KNIVES = replace(FINGER, is_in_row=False, needs_rows=False, crop_gate="between")
SWEEPS = replace(KNIVES, standing_loss_frac=0.0)
HILLING = replace(FINGER, crop_gate="hilling")
FLAME = ToolTraits(False, True, True, False, 10.0, 0.0, crop_gate="flame")
STACK = replace(FINGER, crop_gate="between + finger")
HAND = replace(KNIVES, is_wheeled=False, crop_gate="hand")

BEET = CropTraits(
    3.1, 109.0, 25.0, None, None, 70.0, 25.0,
    blind=CAREFUL_BLIND, can_flame=True, first_leaf_cd=60.0, leaf_cd=30.0,
    tine_leaves=4.0, finger_leaves=5.0, torsion_leaves=4.0, brush_leaves=2.0,
    set_finger_cd=90.0, height_mm=400.0,
)  # fmt: skip
BEAN = CropTraits(
    5.2, 160.0, 30.0, None, None, 70.0, 40.0,
    blind=GOOD_BLIND, has_crook=True, first_leaf_cd=40.0, leaf_cd=80.0, tine_leaves=2.0,
    finger_leaves=2.0, height_mm=400.0, can_hill=True,
)  # fmt: skip
SPINACH = replace(BEET, blind=0, tine_leaves=None, finger_leaves=4.0)
RADISH = replace(BEET, blind=0, can_flame=False, tine_leaves=None, finger_leaves=None)
POTATO = CropTraits(None, None, None, None, None, 65.0, 100.0, blind=2, can_hill=True,
                    height_mm=600.0)  # fmt: skip


def sown(crop: str, depth_mm: float | None = 25.0) -> Planting:
    return replace(planting(crop, 0), sowing_depth_mm=depth_mm)


def set_out(crop: str) -> Planting:
    return replace(planting(crop, 0), is_sown=False, sowing_depth_mm=None)


def asked(
    tool: ToolTraits,
    of: Planting,
    crop: CropTraits | None,
    day: float,
    *,
    up: Any = UP,
    air_c: Any = 15.0,
    depth_mm: float = 18.0,
    rules_read: bool = True,
    weights: Any = None,
    known: bool = True,
) -> Gate:
    """The gate on a day; emergence at 12 days, the last blind hour at 70 % of it, flame at 85 %."""
    base = sky(int(day * 24), N_HOURS, N)
    air = np.broadcast_to(np.asarray(air_c, dtype=float), (N, N_HOURS)).copy()
    at = replace(base, forcing=replace(base.forcing, air_temp_c=air))
    ensemble: Any = SimpleNamespace(sky=at, stored_from_hour=0)
    hours = np.broadcast_to(np.asarray(up, dtype=float), (N,)).copy()
    emergence = None
    if of.is_sown and of.crop and of.up_at is None and known:
        emergence = CropHours(hours, hours, 0.70 * hours, 0.85 * hours)
    stage: CropStage | None = None
    if of.crop is not None and crop is not None:
        last_up = None if emergence is None else emergence.last_up
        stage = crop_stage(of, crop, ensemble, last_up, np.full(N_HOURS, 0.1))
    kit = Tool("made", "made", depth_mm, 0.9)
    share = np.full(N, 1.0 / N) if weights is None else np.asarray(weights, dtype=float)
    return gate(kit, tool, of, crop, stage, emergence, at.now_hour, 0, share, rules_read)


# ------------------------------------------------------------------ empty bed


def test_an_empty_bed_takes_what_needs_no_rows() -> None:
    for tool in (TINE, SWEEPS, HAND):
        found = asked(tool, planting(), None, 5)
        assert found.is_open
        assert (found.loss_frac, found.depth_mm, found.opens_hour) == (0.0, 18.0, 120.0)
    for tool in (FINGER, HILLING, STACK):
        found = asked(tool, planting(), None, 5)
        assert (found.because, found.why) == ("no_fit", "no rows to work along")


def test_flame_waits_for_the_farm_file_everywhere() -> None:
    for of, crop in ((planting(), None), (sown("beet"), BEET)):
        assert asked(FLAME, of, crop, 5).is_open
        off = asked(FLAME, of, crop, 5, rules_read=False)
        assert off.because == "no_fit"
        assert off.why == (
            "flame is off: the farm file does not say that local fire rules were read"
        )


def test_a_crop_nobody_knows_takes_no_tool() -> None:
    assert asked(TINE, sown("beet"), None, 5).because == "no_fit"


# --------------------------------------------------------------- below ground


def test_a_blind_pass_goes_until_seven_tenths_of_the_way() -> None:
    """Up on day 12: the last blind hour is on day 8.4, the last flame on day 10.2."""
    before, after = (asked(TINE, sown("beet"), BEET, d) for d in (8.0, 8.5))
    assert before.is_open
    assert before.closes_hour == pytest.approx(0.7 * UP)
    assert before.why == (
        "beet is below ground, seed at 25 mm: at most 15 mm deep, last good hour in 10 h"
    )
    assert after.because == "crop_tender"
    assert after.why == "beet is about to come up: the last good hour of a blind pass is gone"
    before, after = (asked(FLAME, sown("beet"), BEET, d) for d in (10.0, 10.5))
    assert before.is_open
    assert before.closes_hour == pytest.approx(0.85 * UP)
    assert after.because == "crop_tender"


def test_the_earliest_tenth_closes_a_blind_pass_and_the_last_tenth_opens_the_rows() -> None:
    """One member of eight is up on day 6, one on day 20: blind closes by the first of them."""
    up = np.array([6.0, *[12.0] * 6, 20.0]) * 24
    assert asked(TINE, sown("beet"), BEET, 4.0, up=up).is_open
    assert not asked(TINE, sown("beet"), BEET, 5.5, up=up).is_open
    assert not asked(KNIVES, sown("beet"), BEET, 15.0, up=up).is_open
    assert asked(KNIVES, sown("beet"), BEET, 21.0, up=up).is_open
    rare = [0.02, *[0.16] * 6, 0.02]  # the same with hardly any weight on either
    assert asked(TINE, sown("beet"), BEET, 5.5, up=up, weights=rare).is_open
    assert asked(KNIVES, sown("beet"), BEET, 15.0, up=up, weights=rare).is_open


@pytest.mark.parametrize(
    ("seed_mm", "set_mm", "depth_mm", "loss_frac"),
    [
        (40.0, 18.0, 18.0, 0.02),  # deep enough: as the tool is set
        (25.0, 18.0, 15.0, 0.02),  # 10 mm above the seed
        (20.0, 18.0, 10.0, 0.02),
        (19.0, 18.0, 10.0, 0.02),  # nearer: twice the loss and twice again, 2 % at most
        (15.0, 18.0, 10.0, 0.02),
        (15.0, 8.0, 8.0, 0.02),  # a tool set to 8 mm stays there
        (12.0, 18.0, 10.0, 0.02),  # carrot: the last 2 mm are the seed's
        (None, 18.0, 15.0, 0.02),  # sowing depth of the tables
    ],
)
def test_the_seed_sets_the_depth(
    seed_mm: float | None, set_mm: float, depth_mm: float, loss_frac: float
) -> None:
    found = asked(TINE, sown("beet", seed_mm), BEET, 5, depth_mm=set_mm)
    assert found.is_open
    assert found.depth_mm == depth_mm
    assert_allclose(found.loss_frac, loss_frac, rtol=1e-12, atol=0)


def test_a_crop_that_stands_it_well_loses_half_of_one_that_asks_for_care() -> None:
    assert_allclose(asked(TINE, sown("bean", 40), BEAN, 5).loss_frac, 0.01, rtol=1e-12, atol=0)


def test_a_tool_that_cannot_be_set_so_shallow_does_not_fit() -> None:
    found = asked(ROTARY, sown("carrot", 12.0), BEET, 5)
    assert found.because == "no_fit"
    assert found.why == (
        "seed of carrot lies at 12 mm: at most 10 mm, this tool takes 15 mm or more"
    )
    assert not asked(ROTARY, sown("carrot", 16.0), BEET, 5).is_open
    assert asked(ROTARY, sown("carrot", 17.0), BEET, 5).is_open
    assert asked(ROTARY, sown("bean", 40.0), BEAN, 5).is_open


@pytest.mark.parametrize("seed_mm", [1.0, 6.0, 9.9])
@pytest.mark.parametrize("low_mm", [0.0, 5.0, 10.0])
def test_nothing_goes_over_a_seed_that_lies_too_shallow(seed_mm: float, low_mm: float) -> None:
    tool = replace(TINE, depth_low_mm=low_mm)
    found = asked(tool, sown("carrot", seed_mm), BEET, 5)
    assert found.because == "no_fit"
    assert found.why == f"seed of carrot lies at {seed_mm:.0f} mm: nothing can go above it"


def test_a_tool_that_can_be_set_to_8_mm_keeps_further_off_a_shallow_seed() -> None:
    shallow = replace(TINE, depth_low_mm=5.0)
    assert asked(shallow, sown("carrot", 10.0), BEET, 5).depth_mm == 8.0
    assert asked(shallow, sown("carrot", 12.0), BEET, 5).depth_mm == 8.0
    assert not asked(TINE, sown("carrot", 11.0), BEET, 5).is_open


def test_nearness_alone_doubles_the_loss_of_a_crop_that_stands_it_well() -> None:
    found = asked(TINE, sown("bean", 15.0), BEAN, 5)
    assert_allclose(found.loss_frac, 0.02, rtol=1e-12, atol=0)


def test_spinach_stands_no_blind_pass_but_a_flame() -> None:
    found = asked(TINE, sown("spinach"), SPINACH, 3)
    assert found.because == "crop_tender"
    assert found.why == "spinach does not stand a pass over the sown row"
    assert asked(FLAME, sown("spinach"), SPINACH, 3).is_open
    assert asked(FLAME, sown("radish"), RADISH, 3).because == "no_fit"


def test_rows_that_are_not_to_be_seen_keep_row_tools_out_until_they_are() -> None:
    found = asked(KNIVES, sown("beet"), BEET, 5)
    assert (found.because, found.why) == (
        "crop_tender", "the rows of beet are not to be seen yet"
    )  # fmt: skip
    assert found.opens_hour == UP
    assert asked(KNIVES, sown("beet"), BEET, 12).is_open
    assert asked(FINGER, sown("beet"), BEET, 5).opens_hour == pytest.approx(UP + 18 * 24, abs=1)


def test_no_blind_pass_by_guess() -> None:
    unknown = replace(BEET, emergence_cd=None)
    assert asked(TINE, sown("beet"), unknown, 2, known=False).because == "crop_tender"
    assert asked(FLAME, sown("beet"), unknown, 2, known=False).because == "crop_tender"


def test_a_crop_that_does_not_come_up_in_sight_is_open() -> None:
    found = asked(TINE, sown("beet"), BEET, 2, up=np.nan)
    assert found.is_open
    assert found.closes_hour is None
    assert asked(FLAME, sown("beet"), BEET, 2, up=np.nan).is_open


def test_members_beyond_sight_come_up_last_of_all() -> None:
    """One of eight is up in sight, on day 6: a tenth is; of forty members one is not enough."""
    up = np.array([6.0, *[np.nan] * 7]) * 24
    assert asked(TINE, sown("beet"), BEET, 4.0, up=up).closes_hour == pytest.approx(0.7 * 144)
    gone = asked(TINE, sown("beet"), BEET, 5.0, up=up)
    assert gone.because == "crop_tender"
    assert "too dry to come up" in gone.why  # for most of them
    rare = [0.05, *[0.95 / 7] * 7]
    found = asked(TINE, sown("beet"), BEET, 5.0, up=up, weights=rare)
    assert found.is_open
    assert found.closes_hour is None
    most = np.array([*[12.0] * 5, *[np.nan] * 3]) * 24
    assert "too dry" not in asked(TINE, sown("beet"), BEET, 9.0, up=most).why


def test_never_a_tine_over_beans_in_the_crook() -> None:
    """Blind to day 8.4; then nothing until the first trifoliate, 120 degree-days after day 12."""
    assert asked(TINE, sown("bean"), BEAN, 8.0).is_open
    for day in (8.5, 11.0, 12.5, 20.0, 23.9):
        found = asked(TINE, sown("bean"), BEAN, day)
        assert found.because == "crop_tender", day
        assert "never a tine over the crook" in found.why
        assert found.opens_hour == pytest.approx(UP + 12 * 24, abs=1.0)
    assert asked(TINE, sown("bean"), BEAN, 24.1).is_open


# ------------------------------------------------------------------- standing


def test_each_tool_of_the_row_waits_for_its_leaves() -> None:
    """At 15 C the first leaf comes 6 days after emergence, then one in 3 days."""
    first = {
        name: next(
            d for d in np.arange(12.0, 40.0, 0.25) if asked(t, sown("beet"), BEET, d).is_open
        )
        for name, t in (("brush", BRUSH), ("tine", TINE), ("torsion", TORSION), ("finger", FINGER))
    }
    assert first == {"brush": 21.0, "tine": 27.0, "torsion": 27.0, "finger": 30.0}
    early, late = (asked(FINGER, sown("beet"), BEET, d) for d in (24.0, 31.0))
    assert (early.because, early.why) == ("crop_tender", "beet has 3.0 leaves, fingers wait for 5")
    assert late.why == "beet has 5.3 leaves, fingers go in from 5"


def test_a_stage_counts_when_nine_tenths_of_the_weight_have_it() -> None:
    up = np.array([*[12.0] * 7, 20.0]) * 24
    assert not asked(FINGER, sown("beet"), BEET, 32, up=up).is_open
    assert asked(FINGER, sown("beet"), BEET, 32, up=up, weights=[*[0.14] * 7, 0.02]).is_open
    assert asked(FINGER, sown("beet"), BEET, 38.1, up=up).is_open


def test_what_no_stage_opens_does_not_fit() -> None:
    found = asked(TINE, sown("spinach"), SPINACH, 30)
    assert (found.because, found.why) == ("no_fit", "never tines over standing spinach")
    assert found.opens_hour is None
    assert asked(FLAME, sown("beet"), BEET, 13).why == "never a flame over standing beet"
    assert asked(FLAME, sown("beet"), BEET, 13).because == "no_fit"
    no_clock = replace(BEET, first_leaf_cd=None)
    assert "no clock of its leaves" in asked(TINE, sown("beet"), no_clock, 30).why


def test_a_closed_canopy_lets_nothing_between() -> None:
    """70 days at 11 degree-days: 0.8 of 0.9 is reached at 0.79 of the way."""
    closing = 12 + 0.789 * 0.8 * 70 * 11 / 10
    assert asked(KNIVES, sown("beet"), BEET, closing - 2).is_open
    found = asked(KNIVES, sown("beet"), BEET, closing + 2)
    assert found.because == "crop_up"
    assert found.why.startswith("beet covers 8")
    assert found.opens_hour is None
    early = asked(KNIVES, sown("beet"), BEET, 20)
    assert early.closes_hour == pytest.approx(closing * 24, abs=24)


def test_a_tool_of_the_row_that_would_open_after_closing_never_does() -> None:
    slow = replace(BEET, finger_leaves=20.0)
    assert asked(FINGER, sown("beet"), slow, 20).opens_hour is None


def test_loss_doubles_at_the_very_stage_and_is_the_tabled_a_leaf_later() -> None:
    at, later = (asked(FINGER, sown("beet"), BEET, d).loss_frac for d in (30.05, 33.1))
    assert_allclose(at, 0.06, rtol=0.03, atol=0)
    assert_allclose(later, 0.03, rtol=1e-12, atol=0)
    assert asked(FINGER, sown("beet"), BEET, 20).loss_frac == 1.0
    assert asked(SWEEPS, sown("beet"), BEET, 20).loss_frac == 0.0


def test_seen_up_opens_the_rows_and_ends_the_blind_pass() -> None:
    seen = replace(sown("beet"), up_at=START + timedelta(days=5))
    assert asked(TINE, sown("beet"), BEET, 6).is_open
    assert asked(TINE, seen, BEET, 6).because == "crop_tender"
    assert asked(FLAME, seen, BEET, 6).because == "no_fit"
    assert asked(KNIVES, seen, BEET, 6).is_open


# ------------------------------------------------------------------------ set


def test_fingers_wait_until_plants_are_rooted() -> None:
    """90 degree-days at 15 C: nine days."""
    of = set_out("beet")
    found = asked(FINGER, of, BEET, 4)
    assert found.because == "crop_tender"
    assert found.why == "beet was set 4 days ago: not rooted yet, the tug test decides"
    assert found.opens_hour == pytest.approx(9 * 24, abs=1)
    assert asked(FINGER, of, BEET, 9.1).is_open
    assert asked(KNIVES, of, BEET, 0.1).is_open
    assert "1 day ago" in asked(FINGER, of, BEET, 1).why


def test_seen_to_be_rooted_outranks_the_heat() -> None:
    seen = replace(set_out("beet"), rooted_at=START + timedelta(days=5))
    found = asked(FINGER, seen, BEET, 5.1)
    assert found.is_open
    assert found.why == "beet was seen to be rooted"
    assert_allclose(found.loss_frac, 0.03, rtol=1e-12, atol=0)


def test_rooting_is_slower_in_the_cold() -> None:
    of = set_out("beet")
    days = [
        asked(FINGER, of, BEET, 1, air_c=c).opens_hour or np.nan for c in (10.0, 15.0, 20.0)
    ]  # fmt: skip
    assert_allclose(np.array(days) / 24, [18.0, 9.0, 6.0], rtol=0, atol=1 / 12)


@pytest.mark.parametrize(
    ("air_c", "least_d", "opens_d"), [(25.0, 7, 7), (25.0, 0, 4.5), (15, 7, 9)]
)
def test_rooting_takes_days_however_warm(air_c: float, least_d: float, opens_d: float) -> None:
    """90 degree-days take 4.5 days at 25 C; roots take a week."""
    crop, of = replace(BEET, set_finger_least_d=least_d), set_out("beet")
    found = asked(FINGER, of, crop, 4, air_c=air_c)
    assert found.opens_hour == pytest.approx(opens_d * 24, abs=1)
    assert asked(FINGER, of, crop, opens_d + 0.1, air_c=air_c).is_open
    tines = replace(crop, set_tine_cd=90.0)
    early = asked(TINE, of, tines, 4, air_c=air_c)
    assert early.opens_hour == pytest.approx((4.5 if air_c > 20 else 9) * 24, abs=1)
    later = asked(TINE, of, replace(tines, set_tine_least_d=12.0), 4, air_c=air_c)
    assert later.opens_hour == 12 * 24


def test_seen_to_be_rooted_outranks_the_days_as_well() -> None:
    crop = replace(BEET, set_finger_least_d=14.0)
    seen = replace(set_out("beet"), rooted_at=START + timedelta(days=5))
    assert not asked(FINGER, seen, crop, 4.9, air_c=25.0).is_open
    assert asked(FINGER, seen, crop, 5.1, air_c=25.0).is_open


def test_tines_leave_a_crop_that_grew_too_tall_for_them() -> None:
    """400 mm in 70 x 11 x 0.8 degree-days: 100 mm after 0.326 of the way, 20.1 days."""
    crop = replace(BEET, tine_leaves=1.0, tine_most_height_mm=100.0)
    before, after = (asked(TINE, sown("beet"), crop, 12 + d) for d in (19.5, 20.5))
    assert before.is_open
    assert before.closes_hour == pytest.approx((12 + 20.1) * 24, abs=6)
    assert after.because == "crop_up"
    assert after.why.endswith("mm tall, tines go until 100 mm")
    assert after.why.startswith("beet stands 10")
    assert after.opens_hour is None
    assert asked(FINGER, sown("beet"), crop, 12 + 20.5).is_open
    late = replace(crop, tine_leaves=15.0)
    assert asked(TINE, sown("beet"), late, 20).opens_hour is None
    ahead = np.array([*[12.0] * 7, 8.0]) * 24  # the first tenth of members decides
    assert not asked(TINE, sown("beet"), crop, 12 + 18, up=ahead).is_open


def test_a_crop_without_a_gate_for_tines_never_takes_them() -> None:
    assert asked(TINE, set_out("lettuce"), BEET, 20).why == "never tines over standing lettuce"


def test_a_crop_stands_clear_of_the_soil_thrown_to_it() -> None:
    """A ridge of 60 mm asks for 80 mm; beans reach that at a tenth of their way or so."""
    of = replace(set_out("bean"), is_sown=True)
    low, tall = (asked(HILLING, of, BEAN, d, depth_mm=60.0) for d in (16.0, 32.0))
    assert low.because == "crop_tender"
    assert "a ridge of 60 mm asks for 80 mm" in low.why
    assert tall.is_open
    assert asked(HILLING, sown("beet"), BEET, 30).because == "no_fit"


def test_a_tuber_takes_tines_and_soil_until_it_comes_up() -> None:
    of = set_out("potato")
    assert asked(TINE, of, POTATO, 5).is_open
    assert asked(HILLING, of, POTATO, 5, depth_mm=60).is_open
    assert asked(KNIVES, of, POTATO, 5).because == "crop_tender"
    up = 0.2 * 65 * 11 / 10
    assert asked(TINE, of, POTATO, up + 0.2).because == "no_fit"
    assert asked(HILLING, of, POTATO, up + 0.2, depth_mm=60).because == "crop_tender"
    assert asked(HILLING, of, POTATO, up + 20, depth_mm=60).is_open
    assert asked(KNIVES, of, POTATO, up + 0.2).is_open


def test_no_flame_over_a_tuber_whose_crop_does_not_take_it() -> None:
    burner = replace(FLAME, can_blind=True)  # as the tables have it
    for tool in (FLAME, burner, replace(burner, crop_gate="tine + flame")):
        found = asked(tool, set_out("potato"), POTATO, 5)
        assert found.because == "no_fit"
        assert found.why == "no flame over potato that is set below ground"
        assert found.opens_hour is None
    slow = replace(POTATO, can_flame=True)
    assert asked(burner, set_out("potato"), slow, 5).is_open
    assert not asked(burner, set_out("potato"), slow, 16).is_open


# --------------------------------------------------------------------- stacks


def test_of_a_stack_every_part_must_be_open_and_the_first_closed_speaks() -> None:
    found = asked(STACK, sown("beet"), BEET, 20)
    assert found.because == "crop_tender"
    assert "fingers wait for 5" in found.why
    assert found.opens_hour == pytest.approx(30 * 24, abs=1)
    below = asked(STACK, sown("beet"), BEET, 5)
    assert below.why == "the rows of beet are not to be seen yet"
    assert below.opens_hour == pytest.approx(30 * 24, abs=1)
    open_ = asked(STACK, sown("beet"), BEET, 31)
    assert open_.is_open
    assert open_.loss_frac == asked(FINGER, sown("beet"), BEET, 31).loss_frac
    assert open_.closes_hour == asked(KNIVES, sown("beet"), BEET, 31).closes_hour
    assert asked(STACK, sown("radish"), RADISH, 20).because == "no_fit"


def test_hands_work_from_when_the_crop_can_be_seen_until_it_covers_the_ground() -> None:
    assert not asked(HAND, sown("beet"), BEET, 5).is_open
    assert asked(HAND, sown("beet"), BEET, 12.1).is_open
    closed = asked(HAND, sown("beet"), BEET, 65)
    assert (closed.because, closed.why) == ("crop_up", "beet covers 85 % of the ground")
