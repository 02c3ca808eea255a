"""Traits that the settings make of the tables: complete, within sense, and stacks of tools."""

from __future__ import annotations

from datetime import time

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.planning.traits import CropTraits, ToolTraits
from scheduler.planning.weeds import BETWEEN, IN_ROW
from scheduler.records import Farm, Place, Tool, WorkPlan
from scheduler.reference import load_tables
from scheduler.service import settings

CROPS = load_tables().crop_names()
ALWAYS = (
    "n_rows",
    "blind_grade",
    "can_flame",
    "has_crook",
    "can_hill",
    "height_mm",
    "weed_free_from_d",
    "weed_free_to_d",
    "season_loss_frac",
)
SET_ONLY = {
    "planted onion", "garlic", "celery", "tomato", "pepper", "eggplant", "melon", "watermelon",
    "potato",
}  # fmt: skip


def crop(name: str) -> CropTraits:
    return settings.crop_traits()[name]


def tool(kind: str) -> ToolTraits:
    return settings.tool_traits()[kind]


def owning(*tools: Tool) -> Farm:
    place = Place(45.0, 0.0, 100.0, "UTC")
    work = WorkPlan(time(7), time(19), (4.0,) * 5 + (0.0, 0.0))
    return Farm("made", place, "metric", 5, {}, (), tools, work)


# ----------------------------------------------------------------------- crops


@pytest.mark.parametrize("name", CROPS)
def test_every_crop_has_what_gates_and_value_need(name: str) -> None:
    tables = load_tables()
    for parameter in ALWAYS:
        assert tables.has(name, parameter), parameter
    of = crop(name)
    assert of.weed_free_from_d is not None
    assert of.weed_free_to_d is not None
    assert of.weed_free_from_d < of.weed_free_to_d
    assert of.season_loss_frac is not None
    assert 0.0 < of.season_loss_frac <= 1.0
    assert (of.row_spacing_mm is None) == (of.n_rows == 1)
    if of.row_spacing_mm is not None:
        assert of.n_rows is not None
        assert of.n_rows * of.row_spacing_mm == pytest.approx(750.0, abs=of.n_rows)


@pytest.mark.parametrize("name", CROPS)
def test_a_sown_crop_has_a_clock_of_its_leaves(name: str) -> None:
    of = crop(name)
    assert (of.leaf_cd is None) == (name in SET_ONLY)
    assert (of.first_leaf_cd is None) == (of.leaf_cd is None)
    gates = (of.tine_leaves, of.finger_leaves, of.torsion_leaves, of.brush_leaves)
    if of.leaf_cd is None:
        assert gates == (None,) * 4
    else:
        assert (of.set_finger_cd, of.finger_leaves) != (None, None) or gates == (None,) * 4


@pytest.mark.parametrize("name", CROPS)
def test_torsion_goes_in_one_leaf_before_fingers(name: str) -> None:
    of = crop(name)
    if of.finger_leaves is None:
        assert of.torsion_leaves is None
        assert of.brush_leaves is None
    else:
        assert of.torsion_leaves == of.finger_leaves - 1.0
        assert of.brush_leaves is not None
        assert of.brush_leaves <= of.finger_leaves


@pytest.mark.parametrize("name", CROPS)
def test_tines_ask_for_rooted_crops(name: str) -> None:
    of = crop(name)
    if of.set_tine_cd is not None:
        assert of.set_finger_cd is not None
        assert of.set_tine_cd <= of.set_finger_cd


def test_only_the_bean_comes_up_bent() -> None:
    assert [name for name in CROPS if crop(name).has_crook] == ["snap bean"]
    assert crop("snap bean").tine_leaves == 2.0


def test_crops_that_are_slow_to_come_up_take_a_flame() -> None:
    slow = {name for name in CROPS if crop(name).can_flame}
    assert slow == {
        "carrot", "parsnip", "beet", "spinach", "leaf lettuce", "onion", "leek", "scallion",
        "parsley", "cilantro",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("name", "leaves", "mean_c", "days"),
    [("carrot", 4, 15.0, 35.0), ("onion", 3, 15.0, 30.0), ("snap bean", 2, 18.0, 12.0)],
)
def test_leaf_clocks_give_the_days_they_come_from(
    name: str, leaves: int, mean_c: float, days: float
) -> None:
    of = crop(name)
    assert of.first_leaf_cd is not None
    assert of.leaf_cd is not None
    heat_cd = of.first_leaf_cd + (leaves - 1) * of.leaf_cd
    assert heat_cd / (mean_c - of.leaf_base_c) == pytest.approx(days, abs=0.01)


@pytest.mark.parametrize("name", [name for name in CROPS if crop(name).set_finger_cd])
def test_heat_to_rooting_is_one_to_three_weeks(name: str) -> None:
    """7 to 14 d at 15 C (20 C for crops of warm soil), trade; a week more in a cool spring."""
    of = crop(name)
    assert of.set_finger_cd is not None
    mean_c = 20.0 if of.leaf_base_c >= 8.0 else 15.0
    assert 6.9 <= of.set_finger_cd / (mean_c - of.leaf_base_c) <= 21.0


def test_other_words_have_the_same_traits() -> None:
    assert crop("collard") is crop("kale")
    assert crop("celeriac") is crop("celery")
    assert crop("bok choy") is crop("kohlrabi")
    assert crop("dill") is crop("cilantro")


# ----------------------------------------------------------------------- tools


@pytest.mark.parametrize("kind", list(settings.traits_by_kind()))
def test_every_kind_of_tool_is_within_sense(kind: str) -> None:
    of = tool(kind)
    row = load_tables().value(kind, "depth_mm")
    for share in (
        of.drying_share, of.wet_after_frac, of.wet_before_frac, of.on_sand_frac,
        of.blind_loss_frac, of.standing_loss_frac,
    ):  # fmt: skip
        assert 0.0 <= share <= 1.0
    assert of.depth_low_mm <= row.value <= of.depth_high_mm
    assert of.speed_m_s > 0.0
    assert (of.blind_loss_frac > 0.0) <= of.can_blind
    assert load_tables().value(kind, "crop_gate").note == of.crop_gate
    if of.crop_gate in ("finger", "torsion", "brush", "hilling"):
        assert of.needs_rows
        assert of.row_gap_mm > 0.0
    if of.crop_gate == "between":
        assert not of.is_in_row


def test_gates_of_the_kinds() -> None:
    gates = {kind: of.crop_gate for kind, of in settings.tool_traits().items()}
    assert gates["tine weeder"] == gates["rotary hoe"] == "tine"
    assert gates["sweeps"] == gates["wheel hoe"] == "between"
    assert gates["flame"] == "flame"
    assert set(gates.values()) == set(settings.CROP_GATES)


def test_shares_follow_from_the_trials() -> None:
    """The arithmetic that the notes of the rows state, from the figures printed in the sources."""
    assert_allclose(tool("sweeps").drying_share, 33 / (57 + 33), rtol=0, atol=0.005)
    assert_allclose(tool("sweeps").wet_after_frac, (78 - 57) / 33, rtol=0, atol=0.005)
    hoe = tool("rotary hoe")
    wet = 1.0 - hoe.drying_share + hoe.drying_share * hoe.wet_after_frac
    assert_allclose(wet, 33 / 72, rtol=0, atol=0.005)
    assert_allclose(hoe.wet_before_frac, 33 / 72, rtol=0, atol=0.005)
    assert_allclose(tool("tine weeder").drying_share, 0.75 * 0.9 + 0.25 * 0.6, rtol=0, atol=1e-9)
    assert_allclose(tool("hilling").on_sand_frac, 1.0 - 0.34, rtol=0, atol=1e-9)
    # blades lose on sand only what they kill by cover, 57 of 90
    for kind in ("sweeps", "knives"):
        assert_allclose(tool(kind).on_sand_frac, 1.0 - 0.34 * 57 / 90, rtol=0, atol=0.005)


def test_a_flame_meets_as_many_grasses_as_the_tines() -> None:
    """Three broadleaf weeds to one grass, which takes more heat than they do at every stage."""
    broadleaf, grass = np.array([0.85, 0.8, 0.6, 0.3]), np.array([0.5, 0.3, 0.15, 0.05])
    found = settings.kill_by_kind().kill_frac["flame"]
    assert_array_equal(found[:, 0], 0.0)
    for zone in found:
        assert_allclose(zone[1:], 0.75 * broadleaf + 0.25 * grass, rtol=0, atol=0.0051)


# ---------------------------------------------------------------------- stacks

BAR = Tool("bar", "knives", 30.0, 0.7, carries=("finger weeder",))
PAIR = Tool("pair", "finger weeder", 20.0, 0.7, carries=("torsion weeder",))
TRIPLE = Tool("triple", "sweeps", 30.0, 0.7, carries=("finger weeder", "torsion weeder"))
PLAIN = Tool("plain", "sweeps", 30.0, 0.7)


def test_a_farm_without_stacks_has_the_kinds_alone() -> None:
    assert settings.tool_traits(owning(PLAIN)) == settings.tool_traits()
    assert set(settings.kill_table(owning(PLAIN)).kill_frac) == set(settings.kill_table().kill_frac)


def test_knives_between_and_fingers_in_the_row() -> None:
    of = settings.tool_traits(owning(BAR))["knives + finger weeder"]
    assert of.is_in_row
    assert of.is_between_rows
    assert of.is_wheeled
    assert not of.can_blind
    assert of.needs_rows
    assert of.crop_gate == "between + finger"
    assert of.row_gap_mm == tool("finger weeder").row_gap_mm
    assert of.decides_to_mm == tool("finger weeder").decides_to_mm  # the deeper of the two
    assert of.drying_share == tool("finger weeder").drying_share
    assert of.wet_before_frac == tool("finger weeder").wet_before_frac

    table = settings.kill_table(owning(BAR))
    stack = table.kill_frac["knives + finger weeder"]
    kinds = settings.kill_table().kill_frac
    assert_allclose(stack[IN_ROW], kinds["finger weeder"][IN_ROW], rtol=0, atol=1e-12)
    assert_allclose(stack[BETWEEN], kinds["knives"][BETWEEN], rtol=0, atol=1e-12)
    stirs = settings.kill_table().stirs_frac
    assert_allclose(
        table.stirs_frac["knives + finger weeder"],
        [stirs["finger weeder"][IN_ROW], stirs["knives"][BETWEEN]], rtol=0, atol=1e-12,
    )  # fmt: skip


def test_two_tools_in_the_row_get_no_bonus() -> None:
    """Fingers and torsion on a seed leaf: .95 x (1 - .4 x .5) = .76, by hand."""
    table = settings.kill_table(owning(PAIR)).kill_frac["finger weeder + torsion weeder"]
    assert table[IN_ROW, 1] == pytest.approx(0.76)
    kinds = settings.kill_table().kill_frac
    single = np.maximum(kinds["finger weeder"], kinds["torsion weeder"])
    free = 1.0 - (1.0 - kinds["finger weeder"]) * (1.0 - kinds["torsion weeder"])
    assert np.all(table >= single)
    assert np.all(table <= free + 1e-12)
    of = settings.tool_traits(owning(PAIR))["finger weeder + torsion weeder"]
    assert of.standing_loss_frac == pytest.approx(1.0 - 0.97 * 0.98)
    assert not of.is_between_rows


def test_a_stack_of_three_is_at_least_its_pair() -> None:
    found = settings.kill_table(owning(PAIR, TRIPLE))
    three = found.kill_frac["sweeps + finger weeder + torsion weeder"]
    two = found.kill_frac["finger weeder + torsion weeder"]
    assert np.all(three >= two - 1e-12)
    assert np.all(three <= 1.0)
    assert_allclose(three[BETWEEN], found.kill_frac["sweeps"][BETWEEN], rtol=0, atol=1e-12)
    of = settings.tool_traits(owning(TRIPLE))["sweeps + finger weeder + torsion weeder"]
    assert of.crop_gate == "between + finger + torsion"
