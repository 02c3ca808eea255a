"""From entries to plantings, and to what was done to their surface."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.planning.plantings import (
    disturbances,
    plantings_at,
    surface_history,
    surface_table,
    touches,
)
from scheduler.planning.traits import CropTraits
from scheduler.records import Bed, Event, Planting
from tests.planning.made import BED, START, entry, farm, planting

CARROT = CropTraits(2.0, 150.0, 25.0, None, None, 60.0, 13.0)
NEVER_CLOSES = CropTraits(2.0, 200.0, 25.0, None, None, None, 13.0)
TRAITS = {"carrot": CARROT, "onion": NEVER_CLOSES}


def of(*events: Event) -> tuple[Planting, ...]:
    return plantings_at(farm(), events)


def test_a_bed_without_entries_is_one_empty_planting() -> None:
    (bed,) = of()
    assert (bed.key, bed.crop, bed.from_m, bed.to_m) == ("A1", None, 0.0, 18.0)


def test_sown_then_up_then_cleared() -> None:
    sow = entry("sow", 10, crop="carrot", n_rows=4, row_spacing_mm=150.0, depth_mm=12.0)
    (bed,) = of(sow)
    assert (bed.crop, bed.is_sown, bed.n_rows, bed.sowing_depth_mm) == ("carrot", True, 4, 12.0)
    assert bed.established_at == START + timedelta(hours=10)
    assert bed.up_at is None
    (bed,) = of(sow, entry("up", 300))
    assert bed.up_at == START + timedelta(hours=300)
    (bed,) = of(sow, entry("up", 300), entry("clear", 900))
    assert (bed.crop, bed.up_at) == (None, None)
    (bed,) = of(sow, entry("up", 300), entry("sow", 901, crop="onion"))
    assert (bed.crop, bed.up_at) == ("onion", None)


def test_set_plants_take_root() -> None:
    (bed,) = of(entry("plant", 5, crop="lettuce"), entry("rooted", 100))
    assert not bed.is_sown
    assert bed.rooted_at == START + timedelta(hours=100)


def test_parts_stand_side_by_side_and_are_told_apart() -> None:
    north = entry("sow", 10, part="north", crop="carrot", from_m=9.0, to_m=18.0)
    south = entry("sow", 20, part="south", crop="onion", from_m=0.0, to_m=9.0)
    keys = [(p.key, p.crop, p.from_m, p.to_m) for p in of(north, south)]
    assert keys == [("A1/south", "onion", 0.0, 9.0), ("A1/north", "carrot", 9.0, 18.0)]
    up = of(north, south, entry("up", 300, part="north"))
    assert [p.up_at is not None for p in up] == [False, True]
    cleared = of(north, south, entry("clear", 400, part="north"))
    assert [p.crop for p in cleared] == ["onion", None]
    assert (cleared[1].from_m, cleared[1].to_m) == (9.0, 18.0)
    assert [p.key for p in of(north, south, entry("clear", 400))] == ["A1"]
    assert [p.key for p in of(north, south, entry("sow", 500, crop="carrot"))] == ["A1"]


def test_deep_preparation_ends_a_crop_and_a_shallow_one_does_not() -> None:
    sow = entry("sow", 10, crop="carrot")
    assert of(sow, entry("prep", 400, depth_mm=90.0))[0].crop is None
    assert of(sow, entry("prep", 400, depth_mm=15.0))[0].crop == "carrot"


def test_entries_of_other_beds_and_of_unknown_beds_change_nothing() -> None:
    assert of(entry("sow", 10, bed="Z9", crop="carrot"))[0].crop is None
    two = farm(beds=(BED, Bed("A2", 9.0, 0.75, "middle")))
    found = plantings_at(two, (entry("sow", 10, bed="A2", crop="carrot"),))
    assert [(p.key, p.crop) for p in found] == [("A1", None), ("A2", "carrot")]


@pytest.mark.parametrize(
    ("event_part", "planting_part", "is_meant"),
    [(None, None, True), (None, "north", True), ("north", None, True), ("north", "south", False)],
)
def test_what_an_entry_touches(
    event_part: str | None, planting_part: str | None, is_meant: bool
) -> None:
    event = entry("pass", 5, part=event_part, tool="tines")
    assert touches(event, replace(planting(), part=planting_part)) is is_meant


def test_what_stirs_or_wets_is_listed_in_order() -> None:
    events = (
        entry("prep", 5, depth_mm=90.0),
        entry("sow", 30, crop="carrot"),
        entry("look", 40),
        entry("water", 50, water_mm=12.0),
        entry("pass", 60, tool="tines", depth_mm=18.0),
        entry("pass", 70, bed="A2", tool="tines", depth_mm=18.0),
    )
    found = disturbances(planting(), events)
    assert [t.by for t in found] == ["preparation", "sowing", "watering", "pass"]
    assert found[-1].depth_mm == 18.0


def test_a_visit_that_found_the_soil_unfit_stirs_nothing() -> None:
    events = (entry("pass", 60, tool="tines", depth_mm=18.0, worked=False),)
    table = surface_table(planting(), events, TRAITS, START, 100)
    assert disturbances(planting(), events) == ()
    assert table[:, 2].max() == 0.0


def test_weeding_by_hand_opens_nothing() -> None:
    """It kills what is up (see the weeds of a planting) and leaves the clock of the flush alone."""
    assert disturbances(planting(), (entry("hand", 60, work_min=25.0),)) == ()


def test_the_surface_takes_water_passes_and_cover() -> None:
    bed = replace(planting("carrot", 24), bed=replace(BED, irrigation="sprinkler"))
    events = (
        entry("prep", 2, depth_mm=90.0),
        entry("sow", 24, crop="carrot"),
        entry("water", 30.4, water_mm=6.0),
        entry("water", 30.9, water_mm=4.0),
        entry("pass", 100, tool="tines", depth_mm=18.0),
    )
    n_hours = 24 * 90
    table = surface_table(bed, events, TRAITS, START, n_hours)
    assert table.shape == (n_hours, 6)
    assert np.isfinite(table).all()
    assert np.flatnonzero(table[:, 0]).tolist() == [30]
    assert table[30, :2].tolist() == [10.0, 1.0]
    assert np.flatnonzero(table[:, 2]).tolist() == [2, 100]
    assert table[[2, 100], 2].tolist() == [90.0, 18.0]
    cover = table[:, 3]
    assert np.all(np.diff(cover) >= 0.0)
    assert cover[: 24 + 12 * 24].max() == 0.0  # bare until a fifth of the days to closing
    assert_allclose(cover[24 + 60 * 24], 0.9, rtol=0.0, atol=0.01)
    assert_allclose(table[:, 4], 0.7 * cover, rtol=1e-12, atol=0.0)
    drip = surface_table(replace(bed, bed=BED), events, TRAITS, START, n_hours)
    assert drip[30, :2].tolist() == [10.0, 0.0]


def test_cover_ends_when_the_bed_is_cleared_and_stays_low_where_a_crop_never_closes() -> None:
    events = (entry("sow", 0, crop="onion"), entry("clear", 24 * 80))
    table = surface_table(planting("onion", 0), events, TRAITS, START, 24 * 90)
    assert_allclose(table[24 * 80 - 1, 3], 0.4, rtol=0.0, atol=1e-6)
    assert table[24 * 80 :, 3].max() == 0.0


def test_a_bed_left_weedy_is_covered_until_it_is_first_stirred() -> None:
    weedy = replace(planting(), bed=replace(BED, was="weedy"))
    table = surface_table(weedy, (entry("prep", 50, depth_mm=90.0),), TRAITS, START, 100)
    assert set(table[:50, 3]) == {0.5}
    assert set(table[50:, 3]) == {0.0}


def test_what_lies_outside_the_clock_is_left_out_but_its_cover_counts() -> None:
    events = (
        entry("water", -5, water_mm=6.0),
        entry("pass", 5000, tool="tines", depth_mm=18.0),
        entry("sow", -24 * 60, crop="carrot"),
    )
    table = surface_table(planting("carrot", -24 * 60), sorted(events, key=lambda e: e.happened_at),
                          TRAITS, START, 48)  # fmt: skip
    assert table[:, [0, 2]].max() == 0.0
    assert table[0, 3] > 0.85


def test_tables_stack_into_one_history() -> None:
    one = surface_table(planting(), (entry("pass", 3, tool="t", depth_mm=18.0),), TRAITS, START, 9)
    two = surface_table(planting(), (), TRAITS, START, 9)
    history = surface_history([one, two])
    assert history.loosened_mm.shape == (2, 9)
    assert history.loosened_mm.sum(axis=1).tolist() == [18.0, 0.0]
