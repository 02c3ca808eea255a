"""Set-ups side by side: one crop in two layouts with a pencil, a tool that does not pay."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.errors import UsageError
from scheduler.planning.compare import (
    BY_LIST,
    Bills,
    Setting,
    bed_area_m2,
    bills_of_both,
    bills_of_rules,
    compared,
    other_rows,
    row_metres,
    rows_fitted,
    with_stale_beds,
)
from scheduler.planning.season.replay import Planned, drawn_truths
from scheduler.planning.season.shapes import Bill, Choose, Garden, Hours
from scheduler.planning.season.world import World, build_world
from scheduler.records import Range, Tool
from tests.planning.season.made import (
    CARROT,
    KALE,
    LETTUCE,
    RAIN,
    START,
    garden,
    grown,
    moment,
    tables,
    truth,
    weather,
    world,
)

WORK = replace(garden(KALE).farm.work, hourly_value=24.0, currency="EUR")  # 0.40 EUR a minute


def built(grows: Garden) -> World:
    return build_world(grows, weather(140, RAIN), tables(grows.farm))


def bill(hand_min: float, machine_min: float, vain_min: float = 0.0, n_setups: int = 0) -> Bill:
    none = np.zeros(0)
    return Bill(
        hand_min, machine_min, vain_min, 0, 0, 0, 0.0, 0.0, none, none.astype(bool), n_setups
    )


def all_day(of: World) -> Hours:
    return Hours(np.full(len(of.days), 240.0))


# ------------------------------------------------------- one crop, two layouts, a pencil


def fingers_of_two_rows() -> Tool:
    """Set to one or two rows, 500 mm apart: of three it takes the outer two, then the third."""
    tool = next(t for t in garden(KALE).farm.tools if t.name == "fingers")
    return replace(tool, rows=(1, 2), row_spacings_mm=(500.0,))


def test_one_crop_in_two_layouts_with_a_pencil() -> None:
    """Kale on 18 m in three rows 250 mm apart, against two rows 500 mm apart; no weeds; two passes.

    Rows:   3 x 18 = 54 m, against 2 x 18 = 36 m: 18 m of row lost.
    By hand: one look along the rows, 0.05 min a metre: 2.7 min, against 1.8 min.
    A run:  18 m at 0.8 m/s = 22.5 s, a turn 25 s: 47.5 s.
    Three rows: access 1 min, two runs 95 s, a second setting 5 min: 7.5833 min a pass.
    Two rows:   access 1 min, one run 47.5 s: 1.7917 min a pass.
    Set-ups: 10 min on each of two days, both ways.
    Tools:  2 x (10 + 7.5833) = 35.1667 min, against 2 x (10 + 1.7917) = 23.5833 min.
    Saved:  0.9 + 11.5833 = 12.4833 min = 4.9933 EUR at 24 EUR an hour.
    So a metre of row lost may bring 4.9933 / 18 = 0.2774 EUR at most.
    A price of 50 EUR is paid back in 10.0134 seasons; within 5 seasons by 2.0027 gardens as large.
    """
    own = garden(KALE)
    own = replace(own, farm=replace(own.farm, tools=(fingers_of_two_rows(),)))
    three, two = other_rows(own, "kale", 3, 250.0), other_rows(own, "kale", 2, 500.0)
    worlds = built(three), built(two)
    rule = Planned("twice", {day: (Choose("K1", "fingers"),) for day in (90, 91)})
    bare = replace(truth(), farm_size_ln=-50.0)
    bills = bills_of_rules(
        (Setting(worlds[0], all_day(worlds[0])), Setting(worlds[1], all_day(worlds[1]))),
        (rule, rule),
        (bare,),
    )
    found = compared(
        bills, (row_metres(three), row_metres(two)), bed_area_m2(own), WORK, (40.0, 40.0), 50.0
    )
    assert found.row_m == (54.0, 36.0)
    assert found.area_m2 == 13.5
    hand, tools = found.figures["hand_min"], found.figures["tool_min"]
    assert_allclose((hand.before.mid, hand.after.mid, hand.change.mid), (2.7, 1.8, -0.9))
    assert_allclose((tools.before.mid, tools.after.mid), (35.0 + 1 / 6, 23.0 + 7 / 12))
    assert found.figures["n_setups"].after.mid == 2.0
    assert_allclose(found.saved_min.mid, 12.4833, rtol=1e-5)
    assert found.n_saving == found.n_truths == 1
    assert found.money is not None
    assert_allclose(found.money.saved.mid, 4.99333, rtol=1e-5)
    assert found.money.worth_of_row_metre is not None
    assert_allclose(found.money.worth_of_row_metre.mid, 0.277407, rtol=1e-5)
    assert found.money.seasons_to_pay_back is not None
    assert_allclose(found.money.seasons_to_pay_back.mid, 10.01335, rtol=1e-5)
    assert found.money.least_area_m2 is not None
    assert_allclose(found.money.least_area_m2.mid, 13.5 * 2.00267, rtol=1e-5)
    assert found.n_by_tool == ({"fingers": 2.0}, {"fingers": 2.0})


# --------------------------------------------------------------- tools that do not pay


def with_tool(grows: Garden, *tools: Tool) -> Garden:
    return replace(grows, farm=replace(grows.farm, tools=tools))


def test_a_tool_that_nobody_takes_never_pays() -> None:
    """A ridger without rows to hill is left in the shed: every figure stays, to the last bit."""
    own = garden(KALE, CARROT)
    ridger = Tool("ridger", "hilling", 50.0, 0.8, width_m=0.8, rows=(4,), travel="in the paths")
    before, after = world(), built(with_tool(own, *own.farm.tools, ridger))
    bills = bills_of_both(Setting(before, all_day(before)), Setting(after, all_day(after)), 2, 1.0)
    found = compared(bills, (1.0, 1.0), 27.0, WORK, (40.0, 40.0), 900.0)
    assert all(figure.change == Range(0.0, 0.0, 0.0) for figure in found.figures.values())
    assert found.figures["n_passes"].before.mid > 3.0
    assert found.n_saving == 0
    assert found.money is not None
    assert found.money.seasons_to_pay_back == Range(math.inf, math.inf, math.inf)


def test_a_tool_can_pay_in_some_truths_and_never_in_others() -> None:
    """60 min saved, none, 30 min lost: 24 EUR are paid back in one season, or never."""
    bills = Bills(
        (bill(100, 20), bill(50, 20), bill(40, 10)), (bill(30, 30), bill(50, 20), bill(40, 40))
    )
    found = compared(bills, (10.0, 10.0), 100.0, WORK, (1.0, 1.0), 24.0)
    assert found.n_saving == 1
    assert_allclose(found.saved_min.mid, 0.0)
    assert found.money is not None
    assert found.money.seasons_to_pay_back == Range(1.0, math.inf, math.inf)
    assert found.money.worth_of_row_metre is None


def test_without_an_hourly_value_there_are_minutes_and_no_money() -> None:
    plain = replace(WORK, hourly_value=None)
    found = compared(Bills((bill(100, 20),), (bill(30, 30),)), (1.0, 1.0), 1.0, plain, (1.0, 1.0))
    assert found.money is None
    assert_allclose(found.saved_min.mid, 60.0)


def test_trips_in_vain_are_time_too() -> None:
    found = compared(
        Bills((bill(10, 10, 8, 3),), (bill(10, 10, 0, 1),)), (1.0, 1.0), 1.0, WORK, (1.0, 1.0)
    )
    assert_allclose(found.saved_min.mid, 8.0)
    assert found.figures["n_setups"].change.mid == -2.0
    assert_allclose(found.figures["tool_min"].before.mid, 18.0)


# ------------------------------------------------------------------------- playing


def test_nothing_changed_changes_nothing() -> None:
    of = Setting(world(), all_day(world()))
    bills = bills_of_both(of, of, 2, 1.0)
    assert [b.hand_min for b in bills.before] == [b.hand_min for b in bills.after]
    assert bills.before[0].n_passes > 3
    assert len({b.hand_min for b in bills.before}) == 2


def test_a_change_in_one_bed_leaves_the_others_alone() -> None:
    """Kale in one row: what is spent on carrot is the same."""
    changed = built(other_rows(garden(KALE, CARROT), "kale", 1, None))
    truths = drawn_truths(world(), 1)
    alone = built(garden(CARROT))
    hours = all_day(world())
    never = Planned("never", {})
    both = bills_of_rules(
        (Setting(world(), hours), Setting(changed, hours)), (never, never), truths
    )
    carrot = bills_of_rules(
        (Setting(alone, hours), Setting(alone, hours)), (never, never), truths
    ).before[0]
    assert both.before[0].hand_min > carrot.hand_min
    assert both.after[0].hand_min > carrot.hand_min
    assert both.before[0].hand_min != both.after[0].hand_min


def test_by_the_list_both_ways() -> None:
    few = Hours(
        np.where([day.is_working and 72 <= day.index < 86 for day in world().days], 40.0, 0)
    )
    fewer = Hours(np.where(np.arange(few.a_day_min.size) < 79, few.a_day_min, 0.0))
    told: list[float] = []
    bills = bills_of_both(
        Setting(world(), few), Setting(world(), fewer), 1, 0.2, BY_LIST, told.append
    )
    assert bills.before[0].n_passes > bills.after[0].n_passes >= 0
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_an_unknown_rule_is_refused() -> None:
    of = Setting(world(), all_day(world()))
    with pytest.raises(UsageError, match="eyes or list"):
        bills_of_both(of, of, 1, 1.0, "dice")


# ------------------------------------------------------------------------- gardens


def test_rows_that_do_not_fit_or_a_crop_that_was_not_grown_are_refused() -> None:
    with pytest.raises(UsageError, match="need 850 mm of bed, K1 is 750 mm wide"):
        other_rows(garden(KALE), "kale", 3, 375.0)
    with pytest.raises(UsageError, match="grown were: kale"):
        other_rows(garden(KALE), "leek", 2, 300.0)
    with pytest.raises(UsageError, match="spacing"):
        other_rows(garden(KALE), "kale", 2, None)


def test_row_metres_count_rows_and_length() -> None:
    both = garden(KALE, CARROT)
    assert row_metres(both) == 2 * 18.0 + 3 * 18.0
    assert row_metres(both, "carrot") == 54.0
    assert row_metres(other_rows(both, "carrot", 1, None), "carrot") == 18.0
    assert bed_area_m2(both) == 2 * 18.0 * 0.75


def test_a_stale_bed_is_prepared_three_weeks_before_or_once_the_bed_is_free() -> None:
    """Kale: prepared on day 40 for day 58, so on day 37. Lettuce after it: free on day 110."""
    later = grown("K1", "head lettuce", 112.0, 126.0, 139.0)
    found, earlier = with_stale_beds(garden(KALE, later), "kale", START)
    set_at = KALE.planting.established_at
    assert set_at is not None
    assert found.plantings[0].prepared_at == set_at - timedelta(days=21)
    assert_allclose(
        earlier, [(KALE.prepared_at - found.plantings[0].prepared_at) / timedelta(days=1)]
    )
    found, earlier = with_stale_beds(garden(KALE, later), "head lettuce", START)
    assert found.plantings[1].prepared_at == KALE.cleared_at
    assert_allclose(earlier, [2.0])
    built(found)  # cleared and prepared in the same hour: the play takes both in turn
    bills_of_rules(
        (Setting(built(found), all_day(world())),) * 2,
        (Planned("never", {}), Planned("never", {})),
        drawn_truths(built(found), 1),
    )


def test_a_bed_that_lay_stale_longer_stays() -> None:
    early = grown("X1", "head lettuce", 20.0, 60.0, 100.0)
    found, earlier = with_stale_beds(garden(early), "head lettuce", moment(0))
    assert found.plantings == (early,)
    assert earlier.tolist() == [0.0]


def test_a_new_tool_is_set_to_the_rows_that_are_grown() -> None:
    rows, spacings = rows_fitted(garden(KALE, CARROT, LETTUCE).plantings)
    assert rows == (2, 3)
    assert all(later > 1.15 * first for first, later in pairwise(spacings))
