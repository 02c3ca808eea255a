"""The world of a season: its clock, its gates, what fits, what it refuses."""

from __future__ import annotations

import pickle
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.errors import UsageError
from scheduler.planning.season.world import World, build_world, made_garden, one_member_run
from tests.planning.season.made import (
    CARROT,
    KALE,
    LETTUCE,
    crops,
    garden,
    tables,
    weather,
    world,
)


def test_clock_of_a_planting() -> None:
    """Set on day 58 at 17:00 local; the weed-free weeks of kale are tabled as 28 days."""
    kale = world().plots[0]
    assert_allclose(kale.established_hour, 58 * 24 + 21.0, rtol=0, atol=1e-9)
    assert kale.up_hour == kale.established_hour
    assert_allclose(kale.window_end_hour - kale.up_hour, 28 * 24.0, rtol=0, atol=1e-9)
    assert_allclose(kale.area_m2, 18.0 * 0.75, rtol=0, atol=1e-9)
    carrot = world().plots[1]
    days_d = (carrot.up_hour - carrot.established_hour) / 24.0
    # 132 to 170 degree-days above 1.3-2.1 C, at most 25 C, in soil near 16 C by either table
    assert 132.0 / (18.0 - 1.3) < days_d < 170.0 * 1.1 / (15.0 - 2.1)


def test_working_days_are_four_a_week() -> None:
    days = [d for d in world().days if d.is_working]
    assert {d.on.weekday() for d in days} == {0, 2, 3, 5}
    assert all(d.open_hours.size == 12 for d in days)


def test_tools_follow_the_crop() -> None:
    """Any tool without rows over the empty bed, tines alone over sown carrots, then the rest."""
    names = {(day, bed): {w.tool.name for w in ways} for (day, bed), ways in world().ways.items()}
    purposes = {(day, bed): {w.purpose for w in ways} for (day, bed), ways in world().ways.items()}
    assert names[49, "C1"] == {"tines", "sweeps", "hoe"}
    assert purposes[49, "C1"] == {"stale"}
    assert names[60, "C1"] == {"tines"}
    assert purposes[60, "C1"] == {"blind"}
    assert (67, "C1") not in names  # about to come up
    assert names[70, "C1"] == {"sweeps", "hoe"}
    assert {"fingers", "bar"} <= names[102, "C1"]
    up = next(p.up_hour for p in world().plots if p.key == "C1")
    blind = [day for (day, bed), p in purposes.items() if bed == "C1" and p == {"blind"}]
    sown = next(p.established_hour for p in world().plots if p.key == "C1")
    assert all(sown < 24 * d + 12 and 24 * d + 12 < sown + 0.75 * (up - sown) for d in blind)


def test_no_tool_before_preparation_or_after_clearing() -> None:
    for plot in world().plots:
        days = [day for day, bed in world().ways if bed == plot.key]
        assert min(days) * 24 >= plot.prepared_hour - 24
        assert max(days) * 24 <= plot.cleared_hour


def test_minutes_are_those_of_the_work() -> None:
    """18 m at 0.8 m/s, one turn of 25 s, and a minute to get there (rules.csv, subject work)."""
    bar = next(w for w in world().ways[76, "K1"] if w.tool.name == "bar")
    assert_allclose(bar.minutes, 1.0 + (18.0 / 0.8 + 25.0) / 60.0, rtol=0, atol=1e-9)


def test_entries_are_a_journal() -> None:
    kinds = [(e.bed, e.kind) for e in world().events]
    assert kinds.count(("C1", "sow")) == kinds.count(("K1", "plant")) == 1
    assert ("C1", "up") in kinds
    assert ("K1", "up") not in kinds
    moments = [e.happened_at for e in world().events]
    assert moments == sorted(moments)


def test_another_bed_changes_nothing() -> None:
    """Ways of a bed are the same to the last digit beside more beds."""
    more = world(LETTUCE, KALE, CARROT)
    for key, ways in world().ways.items():
        assert more.ways[key] == ways
    for name, table in world().surfaces.items():
        assert_array_equal(more.surfaces[name], table)


def test_water_closes_in_every_column() -> None:
    w = world()
    run = one_member_run(w.garden.farm, w.weather, w.central, w.surfaces, w.tables.weed_heat)
    assert run.worst_residual_mm < 1e-6


def test_a_world_can_be_sent_to_another_process() -> None:
    again = pickle.loads(pickle.dumps(world()))
    assert again.ways.keys() == world().ways.keys()
    assert again.plots == world().plots


def test_made_garden_is_in_order_for_any_number_of_beds() -> None:
    """The plan repeats three days later; a world can be built of it."""
    grows = made_garden(crops(), 14)
    assert len(grows.farm.beds) == 14
    first, again = grows.plantings[0].planting, grows.plantings[20].planting
    assert (first.crop, again.crop) == ("carrot", "carrot")
    assert first.established_at is not None
    assert again.established_at is not None
    assert again.established_at - first.established_at == timedelta(days=3)
    built = build_world(grows, weather(245), tables(grows.farm))
    assert len(built.plots) == len(grows.plantings)
    _check_last_blind_days(built)
    _check_water(built)


def _check_last_blind_days(built: World) -> None:
    """A blind pass ends with its last good hour, within the day too, and does not come again."""
    cut = 0
    for (index, bed), ways in built.ways.items():
        last = float(built.days[index].open_hours[-1]) + 1.0
        for way in ways:
            if way.purpose == "blind" and way.until_hour < last:
                cut += 1
                after = [
                    w for i in range(index + 1, index + 5) for w in built.ways.get((i, bed), ())
                ]
                assert all(w.purpose == "standing" for w in after)
    assert cut >= 2


def _check_water(built: World) -> None:
    """8 mm at sowing and every third day until the crop is up, in weather without any rain."""
    for plot in built.plots:
        given = [
            (built.hour_of(e.happened_at) - plot.established_hour) / 24.0
            for e in built.events
            if e.kind == "water" and e.bed == plot.key
            and plot.prepared_hour < built.hour_of(e.happened_at) < plot.cleared_hour
        ]  # fmt: skip
        up_d = (plot.up_hour - plot.established_hour) / 24.0
        n = 1 if not plot.planting.is_sown else int((up_d - 1.0 / 24.0) // 3) + 1
        assert_allclose(given, 3.0 * np.arange(n) + 1.0 / 24.0, rtol=0, atol=1e-9)
        assert up_d < 30.0
    water_mm = sum(table[:, 0].sum() for table in built.surfaces.values())
    assert_allclose(water_mm, 8.0 * sum(e.kind == "water" for e in built.events), rtol=1e-12)


def test_no_water_where_it_rains_or_no_pipe_lies() -> None:
    assert not [e for e in world().events if e.kind == "water"]
    grows = made_garden(crops(), 1)
    wet = build_world(
        grows, weather(245, [(d, 6.0) for d in range(30, 120, 3)]), tables(grows.farm)
    )
    first = [e for e in wet.events if e.kind == "water" and e.happened_at.month < 6]
    assert len(first) == 1  # at sowing


def test_refusals() -> None:
    grows = garden(KALE, replace(KALE, prepared_at=KALE.prepared_at + timedelta(days=10)))
    with pytest.raises(UsageError, match="clear it before"):
        build_world(grows, weather(140), tables(grows.farm))
    wrong = garden(replace(CARROT, cleared_at=CARROT.prepared_at))
    with pytest.raises(UsageError, match="rising days"):
        build_world(wrong, weather(140), tables(wrong.farm))
    with pytest.raises(UsageError, match="longer series"):
        build_world(garden(KALE), weather(1), tables(grows.farm))
    with pytest.raises(UsageError, match="the weather's year"):
        build_world(garden(KALE), weather(50), tables(grows.farm))
    with pytest.raises(UsageError, match="one or more"):
        made_garden(crops(), 0)
    without = replace(KALE.planting, crop=None)
    with pytest.raises(UsageError, match="no crop or no day"):
        build_world(garden(replace(KALE, planting=without)), weather(140), tables(grows.farm))


def test_gates_do_not_wait_for_a_truth() -> None:
    """The central soil alone decides: it has one member a soil, without spread."""
    sizes = {name: m.working_m3m3.size for name, m in world().central.items()}
    assert set(sizes.values()) == {1}
    assert np.isfinite([m.working_m3m3[0] for m in world().central.values()]).all()
