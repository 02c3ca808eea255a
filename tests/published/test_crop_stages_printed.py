"""Emergence, leaves, closing and the gates of tools against printed values and trade practice.

Every row is computed by the program's own functions with the program's own tables, in air and moist
soil of one temperature. `seen`: read in the source; `memory`: not; `common practice`: a fact of the
trade, no source claimed. Temperatures that a source does not print are ours and marked so.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.models.crop_growth import crop_heat_cd, leaf_count
from scheduler.models.crops import emergence_heat_cd, emergence_hour
from scheduler.models.soil_column import ColumnForcing
from scheduler.planning.crop_stage import CropHours, CropStage, crop_stage
from scheduler.planning.ensemble import N_STORED_LAYERS, Sky
from scheduler.planning.gates import Gate, gate
from scheduler.planning.outlook import hours_of_crop
from scheduler.planning.traits import CropTraits
from scheduler.records import Bed, Planting, Tool
from scheduler.reference import load_tables
from scheduler.service.settings import crop_traits, tool_traits

SEEN, MEMORY, PRACTICE = "seen", "memory", "common practice"
START = datetime(2013, 4, 1, tzinfo=UTC)
N_HOURS = 24 * 140
BED = Bed("A1", 18.0, 0.75, "loam")


@dataclass(frozen=True)
class Grown:
    """A planting in air and moist soil of one temperature, from its first hour."""

    planting: Planting
    traits: CropTraits
    hours: CropHours | None
    stage: CropStage

    @property
    def up_d(self) -> float:
        return float(np.argmax(self.stage.is_up[0])) / 24.0

    def day_of(self, is_reached: Any) -> float:
        assert is_reached.any()
        return float(np.argmax(is_reached)) / 24.0

    def gate(self, kind: str, day: float, depth_mm: float = 18.0) -> Gate:
        kit = Tool("made", kind, depth_mm, 0.9)
        return gate(
            kit, tool_traits()[kind], self.planting, self.traits, self.stage, self.hours,
            int(24 * day), 0, np.ones(2), flame_rules_read=True,
        )  # fmt: skip

    def first_open_d(self, kind: str, from_d: float = 0.0) -> float:
        return next(d for d in np.arange(from_d, 100.0, 0.25) if self.gate(kind, float(d)).is_open)

    def last_open_d(self, kind: str) -> float:
        """Last day of the first spell in which the gate is open."""
        shut = next(d for d in np.arange(0.0, 100.0, 0.05) if not self.gate(kind, float(d)).is_open)
        return float(shut)


@lru_cache(maxsize=128)
def grown(crop: str, temp_c: float, depth_mm: float | None = None, is_sown: bool = True) -> Grown:
    zero = np.zeros((2, N_HOURS))
    air = ColumnForcing(zero, zero, zero + temp_c, zero, zero, zero, zero)
    sky = Sky(START, 0, air, np.ones(N_HOURS, bool), has_forecast=True)
    moist = SimpleNamespace(theta_33_m3m3=np.full(2, 0.3), b=np.full(2, 5.0))
    ensemble: Any = SimpleNamespace(
        sky=sky, stored_from_hour=0, members={"loam": SimpleNamespace(parameters=moist)}
    )
    of = Planting(BED, None, 0.0, 18.0, crop, is_sown, START, 3, 250.0, depth_mm)
    layers = (2, N_HOURS, N_STORED_LAYERS)
    hours = hours_of_crop(
        of, ensemble, crop_traits(), np.full(layers, temp_c), np.full(layers, 0.3)
    )
    up = None if hours is None else hours.last_up
    stage = crop_stage(of, crop_traits()[crop], ensemble, up, np.full(N_HOURS, 0.3))
    assert stage is not None
    return Grown(of, crop_traits()[crop], hours, stage)


def first_up_d(crop: str, soil_c: float) -> float:
    """Days from sowing at 13 mm by the first heat sum of the tables."""
    of = crop_traits()[crop]
    assert of.emergence_base_c is not None
    assert of.emergence_cd is not None
    assert of.fastest_c is not None
    assert of.ceiling_c is not None
    assert of.coldest_c is not None
    heat = emergence_heat_cd(
        np.full((1, N_HOURS), soil_c), of.emergence_base_c, of.fastest_c, of.ceiling_c, of.coldest_c
    )
    return (float(emergence_hour(heat, of.emergence_cd, 0)[0]) + 1.0) / 24.0


# ------------------------------------------------------------------ emergence

# `harrington_minges_1954` as a growers' paper repeats it with decimals: soil C, beet d, carrot d
BEET_BEFORE_CARROT = [
    (10.0, 16.7, 17.3, SEEN),
    (15.0, 9.7, 10.1, SEEN),
    (20.0, 6.2, 6.9, SEEN),
    (25.0, 5.0, 6.2, SEEN),
]


@pytest.mark.parametrize(("soil_c", "beet_d", "carrot_d", "seen"), BEET_BEFORE_CARROT)
def test_a_few_beets_come_up_before_the_carrots(
    soil_c: float, beet_d: float, carrot_d: float, seen: str
) -> None:
    """Printed to 0.1 d; the straight heat sum misses it by up to 8 %. What the grower looks for is
    the lead of the beets: printed 0.4 to 1.2 d, here 0.75 to 1.1 d."""
    assert_allclose(first_up_d("beet", soil_c), beet_d, rtol=0.08, atol=0.05)
    assert_allclose(first_up_d("carrot", soil_c), carrot_d, rtol=0.08, atol=0.05)
    lead_d = first_up_d("carrot", soil_c) - first_up_d("beet", soil_c)
    assert 0.4 <= lead_d <= 1.2


# `seed_merchants`: crops that the trial of 1954 has no row of; soil C, days
MERCHANTS = [
    ("broccoli", 10.0, 20, SEEN),
    ("broccoli", 15.0, 10, SEEN),
    ("broccoli", 20.0, 6, SEEN),
    ("broccoli", 25.0, 5, SEEN),
    ("summer squash", 20.0, 15, SEEN),
    ("summer squash", 25.0, 6, SEEN),
    ("winter squash", 30.0, 4, SEEN),
]


@pytest.mark.parametrize(("crop", "soil_c", "printed_d", "seen"), MERCHANTS)
def test_days_of_the_merchants(crop: str, soil_c: float, printed_d: int, seen: str) -> None:
    """Whole days are printed: within a day, or 10 %. Broccoli runs on the row of cauliflower."""
    assert abs(first_up_d(crop, soil_c) - printed_d) <= max(1.0, 0.1 * printed_d)


# `harrington_minges_1954`: none came up (seen) at the first temperature; the second is the nearest
# at which it did. Between the two the clock stands still.
NONE_CAME_UP = [
    ("head lettuce", 35.0, 30.0),
    ("leaf lettuce", 35.0, 30.0),
    ("spinach", 35.0, 30.0),
    ("celery", 25.0, 20.0),
    ("carrot", 40.0, 35.0),
    ("onion", 40.0, 35.0),
    ("tomato", 40.0, 35.0),
    ("pepper", 40.0, 35.0),
    ("sweet corn", 40.0, 35.0),
    ("parsnip", 35.0, 30.0),
    ("carrot", 0.0, 5.0),
    ("radish", 0.0, 5.0),
    ("snap bean", 10.0, 15.0),
    ("okra", 10.0, 15.0),
    ("pepper", 10.0, 15.0),
    ("cucumber", 10.0, 15.0),
    ("tomato", 5.0, 10.0),
    ("sweet corn", 5.0, 10.0),
]


@pytest.mark.parametrize(("crop", "none_c", "some_c"), NONE_CAME_UP)
def test_nothing_comes_up_where_nothing_did(crop: str, none_c: float, some_c: float) -> None:
    """By neither table, and so no last blind hour and no last flame."""
    dead, alive = (grown(crop, c, 13.0).hours for c in (none_c, some_c))
    assert dead is not None
    assert alive is not None
    for name in ("first_up", "last_up", "last_blind", "last_flame"):
        assert np.isnan(getattr(dead, name)).all(), name
        assert np.isfinite(getattr(alive, name)).all(), name
    assert not grown(crop, none_c, 13.0).stage.is_up.any()


@pytest.mark.parametrize(
    ("crop", "soil_c"),
    [("head lettuce", 33.0), ("spinach", 33.0), ("celery", 26.0), ("snap bean", 12.0)],
)
def test_nothing_comes_up_between_what_did_and_what_did_not(crop: str, soil_c: float) -> None:
    """Between two columns of the trial the clock is stopped, on the side of waiting."""
    found = grown(crop, soil_c, 13.0).hours
    assert found is not None
    assert np.isnan(found.first_up).all()
    assert np.isnan(found.last_up).all()


# Days to 50 % emergence by `bierhuizen_wagenvoort_1974`, worked out from its base and heat sum,
# from memory. Second check: the faster table, tests/models/test_crops.py.
SLOWER_TABLE = [
    ("onion", 10.0, 25.5, MEMORY),
    ("onion", 15.0, 16.1, MEMORY),
    ("onion", 20.0, 11.8, MEMORY),
    ("carrot", 10.0, 19.5, MEMORY),
    ("carrot", 15.0, 12.4, MEMORY),
    ("carrot", 20.0, 9.1, MEMORY),
]


@pytest.mark.parametrize(("crop", "soil_c", "days", "seen"), SLOWER_TABLE)
def test_a_crop_is_taken_to_be_up_by_the_slower_table(
    crop: str, soil_c: float, days: float, seen: str
) -> None:
    found = grown(crop, soil_c, 13.0)
    assert_allclose(found.up_d, days, rtol=0, atol=0.05 + 1.0 / 24.0)
    assert found.up_d > first_up_d(crop, soil_c) + 1.0
    assert found.last_open_d("tine weeder") < 0.75 * first_up_d(crop, soil_c)


# --------------------------------------------------------------------- leaves


def test_the_worked_leaf_stage_of_corn() -> None:
    """`nielsen_corn` (seen): 785 F degree-days from planting, 120 of them to emergence, 82 for
    each collared leaf: V8.1."""
    leaf_cd = 82.0 / 1.8
    heat_cd = (785.0 - 120.0) / 1.8
    assert_allclose(leaf_count([heat_cd], leaf_cd, leaf_cd), [8.1], rtol=0, atol=0.05)
    corn = crop_traits()["sweet corn"]
    assert corn.first_leaf_cd is not None
    assert corn.leaf_cd is not None
    by_tables = leaf_count([heat_cd], corn.first_leaf_cd, corn.leaf_cd)
    assert_allclose(by_tables, [8.1], rtol=0, atol=0.1)


# Stages of field corn, F degree-days (50 to 86 F) after emergence, all seen: two years and the mean
# of Arlington, Wisconsin (Lauer 1996), and the stages of Nebraska's climate network.
CORN_STAGES = [
    ("Wisconsin, mean", 380 - 125, 4.0),
    ("Wisconsin, 1995", 397 - 138, 4.0),
    ("Wisconsin, 1996", 340 - 130, 3.0),
    ("Nebraska", 240, 4.0),
]


@pytest.mark.parametrize(("where", "heat_fd", "printed"), CORN_STAGES)
def test_corn_is_never_taken_to_be_further_than_it_is(
    where: str, heat_fd: float, printed: float
) -> None:
    """Stages at which tines go in, 3 to 4 leaves: at most a leaf and a bit behind, never ahead.

    Our clock is that of Indiana, 82 F degree-days a leaf; these say 60 to 70.
    """
    corn = crop_traits()["sweet corn"]
    assert corn.first_leaf_cd is not None
    assert corn.leaf_cd is not None
    found = leaf_count([heat_fd / 1.8], corn.first_leaf_cd, corn.leaf_cd)[0]
    assert printed - 1.2 <= found <= printed


# Heat for one more leaf: base C, C d a leaf (low, high), air C; `seen` in abstracts or excerpts
LEAF_INTERVALS = [
    ("beet", 1.0, 30.0, 30.0, 10.0, "milford_1985, sugar beet, early leaves", SEEN),
    ("beet", 1.0, 30.0, 30.0, 16.0, "milford_1985, sugar beet, early leaves", SEEN),
    ("pea", 4.5, 1 / 0.037, 1 / 0.027, 10.0, "Wilson and Robson 1996, five cultivars", SEEN),
    ("pea", 4.5, 1 / 0.037, 1 / 0.027, 14.0, "Wilson and Robson 1996, five cultivars", SEEN),
    ("pea", 3.0, 40.0, 40.0, 12.0, "Olivier and Annandale 1998, as cited", SEEN),
    ("onion", 7.2, 160 / 1.8, 200 / 1.8, 12.0, "a grower of onion plants, 45 F", SEEN),
    ("onion", 7.2, 160 / 1.8, 200 / 1.8, 16.0, "a grower of onion plants, 45 F", SEEN),
    ("onion", 7.2, 160 / 1.8, 200 / 1.8, 20.0, "a grower of onion plants, 45 F", SEEN),
]


@pytest.mark.parametrize(
    ("crop", "base_c", "low_cd", "high_cd", "air_c", "source", "seen"), LEAF_INTERVALS
)
def test_days_from_leaf_to_leaf(
    crop: str, base_c: float, low_cd: float, high_cd: float, air_c: float, source: str, seen: str
) -> None:
    """Days for one leaf in air of one temperature, within the printed span and a quarter.

    Beets and peas are taken slower than printed; onions come up to a quarter faster.
    """
    leaves = grown(crop, air_c).stage.leaves[0]
    at_two, at_three = (float(np.argmax(leaves >= n)) / 24.0 for n in (2.0, 3.0))
    daily_cd = 24.0 * crop_heat_cd([air_c], base_c)[0]
    low_d, high_d = low_cd / daily_cd, high_cd / daily_cd
    assert 0.75 * low_d <= at_three - at_two <= 1.25 * high_d


def test_six_leaves_of_beet_after_three_to_four_weeks() -> None:
    """Sugar beet in spring: six true leaves after three to four weeks (growers' advice, seen); air
    of 11 C is ours."""
    found = grown("beet", 11.0)
    since_d = found.day_of(found.stage.leaves[0] >= 6.0) - found.up_d
    assert 21.0 <= since_d <= 28.0


def test_first_true_leaf_of_carrot() -> None:
    """10 to 15 days after the seedling (a handbook, seen); air of 15 C is ours."""
    found = grown("carrot", 15.0)
    assert 10.0 <= found.day_of(found.stage.leaves[0] >= 1.0) - found.up_d <= 15.0


# ---------------------------------------------------------- blind and flame

# Last blind pass and last flame: crop, soil C, days from sowing (first, last), as the trade has it.
LAST_PASSES = [
    ("tine weeder", "carrot", 15.0, 5, 8),
    ("tine weeder", "beet", 15.0, 4, 7),
    ("tine weeder", "onion", 15.0, 4, 6),
    ("tine weeder", "pea", 12.0, 6, 10),
    ("tine weeder", "snap bean", 20.0, 4, 9),
    ("tine weeder", "sweet corn", 20.0, 3, 6),
    ("tine weeder", "sweet corn", 15.0, 6, 10),
    ("flame", "carrot", 15.0, 7, 10),
    ("flame", "carrot", 10.0, 12, 16),
    ("flame", "onion", 15.0, 5, 8),
    ("flame", "leaf lettuce", 20.0, 2, 3),
    ("flame", "spinach", 10.0, 7, 11),
]


@pytest.mark.parametrize(("kind", "crop", "soil_c", "first_d", "last_d"), LAST_PASSES)
def test_last_pass_before_emergence(
    kind: str, crop: str, soil_c: float, first_d: int, last_d: int
) -> None:
    """Common practice, by crop and soil: blind a few days after sowing, flame just before."""
    found = grown(crop, soil_c)
    assert first_d <= found.last_open_d(kind) <= last_d


@pytest.mark.parametrize(("soil_c", "blind_d", "flame_d"), [(10, 11.7, 14.2), (20, 5.2, 6.3)])
def test_seven_tenths_and_seventeen_twentieths_of_the_heat(
    soil_c: float, blind_d: float, flame_d: float
) -> None:
    """Carrot, 132 degree-days above 2.1 C: 0.70 and 0.85 of them, worked out by hand."""
    found = grown("carrot", soil_c, 13.0)
    assert_allclose(found.last_open_d("tine weeder"), blind_d, rtol=0, atol=0.15)
    assert_allclose(found.last_open_d("flame"), flame_d, rtol=0, atol=0.15)


# ------------------------------------------------------------- standing crops

# Stage from which a crop stands a tool, by the trade and by trials: leaves (least, most)
FIRST_LEAVES = [
    ("tine weeder", "beet", 4, 6, "dutch_beet_1995"),
    ("finger weeder", "beet", 4, 6, "priddy_brainard_2021"),
    ("finger weeder", "carrot", 4, 5, PRACTICE),
    ("finger weeder", "onion", 3, 4, PRACTICE),
    ("tine weeder", "snap bean", 2, 3, "vangessel_1995"),  # the first trifoliate is the second leaf
    ("tine weeder", "pea", 2, 3, "lundkvist_2009"),
    ("tine weeder", "sweet corn", 2, 4, "liebman_2001"),
    ("brush weeder", "carrot", 2, 4, "fogelberg_1999"),
    ("torsion weeder", "beet", 3, 5, PRACTICE),
]


@pytest.mark.parametrize(("kind", "crop", "least", "most", "source"), FIRST_LEAVES)
@pytest.mark.parametrize("air_c", [15.0, 20.0])
def test_leaves_of_the_crop_when_a_tool_first_goes_in(
    kind: str, crop: str, least: int, most: int, source: str, air_c: float
) -> None:
    """Whatever the temperature, the day the gate opens finds the crop at the printed stage."""
    found = grown(crop, air_c)
    first_d = found.first_open_d(kind, from_d=found.up_d)
    leaves = found.stage.leaves[0, int(24 * first_d)]
    assert least - 0.05 <= leaves <= most + 0.3


# Sown, from emergence to the first pass in the row, air of an ordinary spring (ours)
FIRST_DAYS = [
    ("tine weeder", "snap bean", 20.0, 7, 14),
    ("tine weeder", "pea", 12.0, 12, 18),
    ("tine weeder", "sweet corn", 18.0, 12, 20),
    ("finger weeder", "beet", 15.0, 14, 24),
    ("finger weeder", "carrot", 15.0, 28, 42),
    ("finger weeder", "onion", 15.0, 21, 35),
]


@pytest.mark.parametrize(("kind", "crop", "air_c", "first_d", "last_d"), FIRST_DAYS)
def test_days_from_emergence_to_the_first_pass_in_the_row(
    kind: str, crop: str, air_c: float, first_d: int, last_d: int
) -> None:
    """Common practice."""
    found = grown(crop, air_c)
    assert first_d <= found.first_open_d(kind, from_d=found.up_d) - found.up_d <= last_d


# Days after setting until fingers may go in, in air of the setting season (ours)
TUG_TEST = [
    ("head lettuce", 14.0, 7, 10),
    ("cabbage", 14.0, 7, 10),
    ("broccoli", 14.0, 7, 10),
    ("kale", 14.0, 7, 10),
    ("cauliflower", 14.0, 7, 14),
    ("celery", 16.0, 10, 14),
    ("leek", 15.0, 10, 14),
    ("tomato", 20.0, 10, 14),
    ("pepper", 21.0, 10, 14),
    ("cucumber", 20.0, 7, 10),
    # the same in the heat of summer: roots take their days
    ("head lettuce", 22.0, 7, 10),
    ("head lettuce", 28.0, 7, 10),
    ("cabbage", 22.0, 7, 10),
    ("broccoli", 25.0, 7, 10),
    ("kale", 28.0, 7, 10),
    ("cauliflower", 25.0, 10, 14),
    ("celery", 25.0, 14, 15),
    ("leek", 25.0, 10, 14),
    ("planted onion", 22.0, 14, 15),
    ("tomato", 28.0, 10, 14),
    ("pepper", 28.0, 10, 14),
    ("eggplant", 25.0, 10, 14),
    ("cucumber", 28.0, 7, 10),
    ("melon", 28.0, 7, 10),
]


@pytest.mark.parametrize(("crop", "air_c", "first_d", "last_d"), TUG_TEST)
def test_fingers_go_in_a_week_or_two_after_setting(
    crop: str, air_c: float, first_d: int, last_d: int
) -> None:
    """Common practice: 7 to 14 days, by crop, when the plant passes the tug test."""
    found = grown(crop, air_c, is_sown=False)
    assert first_d <= found.first_open_d("finger weeder") <= last_d


@pytest.mark.parametrize("crop", ["cabbage", "broccoli", "cauliflower", "kale", "leek"])
@pytest.mark.parametrize("air_c", [14.0, 22.0, 28.0])
def test_tines_go_over_set_plants_after_a_week_at_the_earliest(crop: str, air_c: float) -> None:
    """Common practice."""
    assert 7 <= grown(crop, air_c, is_sown=False).first_open_d("tine weeder") <= 14


def test_tines_go_over_garlic_until_it_stands_10_cm_tall() -> None:
    """Common practice: from planting on, over the shoots as well, up to 10 cm."""
    found = grown("garlic", 12.0, is_sown=False)
    tall_d = found.day_of(found.stage.height_mm[0] > 100.0)
    assert found.up_d + 7.0 < tall_d
    assert found.gate("tine weeder", found.up_d - 3.0).is_open
    assert found.gate("tine weeder", tall_d - 1.0).is_open
    shut = found.gate("tine weeder", tall_d + 1.0)
    assert (shut.because, shut.opens_hour) == ("crop_up", None)
    assert found.gate("finger weeder", tall_d + 1.0).is_open


# -------------------------------------------------------------------- closing

# `fao56_1998` Table 11 (seen), initial and development stage from planting; the air of the season
# and place is ours. Last: what the clock says where it misses by more than a quarter.
CLOSING = [
    ("head lettuce", "April, Mediterranean", 16.5, False, 50, None),
    ("head lettuce", "February, Mediterranean", 12.0, False, 85, None),
    ("head lettuce", "October, arid", 15.0, False, 60, None),
    ("beet", "April-May, Mediterranean", 17.0, True, 40, None),
    ("beet", "February-March, Mediterranean", 12.5, True, 55, None),
    ("spinach", "April, Mediterranean", 17.0, True, 40, None),
    ("spinach", "November, arid", 14.0, True, 50, None),
    ("radish", "March-April, Europe", 15.0, True, 15, 22),
    ("pea", "March-April, Mediterranean", 14.0, True, 50, None),
    ("pea", "May, Europe", 15.0, True, 40, 54),
    ("carrot", "February-March, Mediterranean", 13.5, True, 70, None),
    ("sweet corn", "May-June, Mediterranean", 21.0, True, 45, None),
    ("cucumber", "June-August", 23.0, True, 50, None),
    ("summer squash", "May-June, Europe", 20.0, False, 50, None),
    ("pepper", "April-June, Mediterranean", 20.0, False, 65, None),
]


@pytest.mark.parametrize(("crop", "season", "air_c", "is_sown", "printed_d", "ours_d"), CLOSING)
def test_days_to_closing_by_season(
    crop: str, season: str, air_c: float, is_sown: bool, printed_d: int, ours_d: int | None
) -> None:
    """One heat sum for all seasons, within a quarter."""
    found = grown(crop, air_c, None, is_sown)
    closed_d = found.day_of(found.stage.cover_frac >= 0.899)
    if ours_d is None:
        assert_allclose(closed_d, printed_d, rtol=0.25, atol=0)
    else:
        assert abs(closed_d - printed_d) > 0.25 * printed_d
        assert_allclose(closed_d, ours_d, rtol=0, atol=1.0)


def test_the_cold_months_close_later_in_the_printed_order() -> None:
    """Lettuce: 50, 60, 85 days (seen) in April, autumn and February, in that order here too."""
    days = [
        grown("head lettuce", c, None, False).day_of(
            grown("head lettuce", c, None, False).stage.cover_frac >= 0.899
        )
        for c in (16.5, 15.0, 12.0)
    ]
    assert days == sorted(days)
    assert_allclose(days[2] / days[0], 85.0 / 50.0, rtol=0.2, atol=0)


# ------------------------------------------------- one row by the trade's rule


@pytest.mark.parametrize(
    ("kind", "crop", "is_sown", "air_c", "day", "because"),
    [
        ("finger weeder", "onion", True, 15.0, 27, "crop_tender"),  # one leaf
        ("sweeps", "onion", True, 15.0, 27, ""),
        ("tine weeder", "snap bean", True, 18.0, 14, "crop_tender"),  # in the crook
        ("tine weeder", "snap bean", True, 18.0, 30, ""),
        ("finger weeder", "head lettuce", False, 14.0, 4, "crop_tender"),
        ("finger weeder", "head lettuce", False, 14.0, 11, ""),
        ("tine weeder", "head lettuce", False, 14.0, 20, "no_fit"),
        ("tine weeder", "spinach", True, 12.0, 3, "crop_tender"),
        ("tine weeder", "carrot", True, 12.0, 3, ""),
        ("rotary hoe", "spinach", True, 12.0, 3, "crop_tender"),
        ("rotary hoe", "pea", True, 12.0, 3, ""),
        ("rotary hoe", "carrot", True, 12.0, 3, "no_fit"),  # sown at 12 mm
        ("rotary hoe", "onion", True, 12.0, 2, "no_fit"),
        ("flame", "carrot", True, 12.0, 10, ""),
        ("flame", "carrot", True, 12.0, 20, "no_fit"),
        ("flame", "sweet corn", True, 18.0, 3, "no_fit"),
        ("flame", "potato", False, 12.0, 8, "no_fit"),
        ("flame", "garlic", False, 8.0, 8, "no_fit"),
        ("tine weeder", "potato", False, 12.0, 8, ""),
        ("hilling", "sweet corn", True, 18.0, 12, "crop_tender"),
        ("hilling", "sweet corn", True, 18.0, 40, ""),
        ("hilling", "head lettuce", False, 14.0, 20, "no_fit"),
        ("sweeps", "head lettuce", False, 16.5, 60, "crop_up"),
        ("collinear hoe", "onion", True, 15.0, 20, ""),
    ],
)
def test_a_grower_would_nod(
    kind: str, crop: str, is_sown: bool, air_c: float, day: int, because: str
) -> None:
    """Common practice: what is offered and what is not."""
    found = grown(crop, air_c, None, is_sown).gate(kind, day)
    assert found.because == because, found.why
    assert found.why


def test_the_sources_named_here_exist() -> None:
    sources = load_tables().sources
    named = {row[4] for row in FIRST_LEAVES} - {PRACTICE}
    named |= {"harrington_minges_1954", "bierhuizen_wagenvoort_1974", "seed_merchants"}
    named |= {"nielsen_corn", "milford_1985", "fao56_1998"}
    assert named <= set(sources)
