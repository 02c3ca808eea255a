"""The weeks that a crop is to be clean: from when the days of its table count, until when."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from scheduler.models.soil_column import ColumnForcing
from scheduler.planning.day import Day
from scheduler.planning.ensemble import Sky
from scheduler.planning.window import weed_free_window_h
from scheduler.records import Place, Planting
from scheduler.service.settings import crop_traits
from tests.planning import made

CROPS = crop_traits()
PAST_H = 75 * 24


def asked(
    planting: Planting, now: datetime, air_c: float, latitude_deg: float = 42.0
) -> tuple[datetime, datetime] | None:
    """The window in dates, on a record of 75 days of one air temperature."""
    n_hours = PAST_H + 240
    zero = np.zeros((2, n_hours))
    air = ColumnForcing(zero, zero, zero + air_c, zero, zero, zero, zero)
    start = now - timedelta(hours=PAST_H)
    sky = Sky(start, PAST_H, air, np.ones(n_hours, bool), has_forecast=True)
    farm = replace(made.farm(), place=Place(latitude_deg, 0.0, 100.0, "UTC"))
    day = Day(farm, sky, 0, now, np.ones(n_hours, bool))
    found = weed_free_window_h(planting, CROPS.get(planting.crop or ""), made.outlook([]), day)
    return None if found is None else (sky.at(found[0]), sky.at(found[1]))


def grown(crop: str, at: datetime, *, is_sown: bool = False) -> Planting:
    return replace(made.planting(crop), is_sown=is_sown, established_at=at)


GARLIC = grown("garlic", datetime(2012, 10, 15, tzinfo=UTC))


def test_garlic_set_in_october_is_to_be_clean_in_spring() -> None:
    """At 11 C it needs 132 degree-days above 5: 22 days from the first of March; then 70 days."""
    for now in (datetime(2013, 4, 20, tzinfo=UTC), datetime(2013, 5, 20, tzinfo=UTC)):
        found = asked(GARLIC, now, 11.0)
        assert found is not None
        assert abs(found[0] - datetime(2013, 3, 23, tzinfo=UTC)) <= timedelta(hours=2)
        assert found[1] - found[0] == timedelta(days=70)


def test_in_the_cold_it_comes_up_later_and_beyond_sight_not_at_all() -> None:
    now = datetime(2013, 4, 20, tzinfo=UTC)
    mild, cold, frozen = (asked(GARLIC, now, c) for c in (11.0, 8.0, 4.0))
    assert mild is not None
    assert cold is not None
    assert frozen is not None
    assert abs(cold[0] - datetime(2013, 4, 14, tzinfo=UTC)) <= timedelta(hours=2)  # 44 days
    assert frozen[0] == now + timedelta(days=10)


def test_shoots_seen_before_winter_wait_for_spring_and_those_seen_in_spring_speak() -> None:
    now = datetime(2013, 4, 20, tzinfo=UTC)
    before = replace(GARLIC, up_at=datetime(2012, 11, 20, tzinfo=UTC))
    after = replace(GARLIC, up_at=datetime(2013, 4, 2, tzinfo=UTC))
    for planting, begins in ((before, (3, 1)), (after, (4, 2))):
        found = asked(planting, now, 11.0)
        assert found is not None
        assert (found[0].month, found[0].day) == begins


def test_in_the_south_winter_lies_half_a_year_on() -> None:
    set_at = grown("garlic", datetime(2013, 4, 15, tzinfo=UTC))
    south = asked(set_at, datetime(2013, 10, 10, tzinfo=UTC), 11.0, -42.0)
    north = asked(set_at, datetime(2013, 6, 10, tzinfo=UTC), 11.0)
    assert south is not None
    assert north is not None
    assert abs(south[0] - datetime(2013, 9, 23, tzinfo=UTC)) <= timedelta(hours=2)
    assert abs(north[0] - datetime(2013, 5, 7, tzinfo=UTC)) <= timedelta(hours=2)


def test_potatoes_count_from_coming_up_and_plants_from_setting() -> None:
    """A fifth of 62 days at 11 degree-days is 136.4; at 16 C 12.4 days."""
    set_at, now = datetime(2013, 4, 20, tzinfo=UTC), datetime(2013, 5, 11, tzinfo=UTC)
    potato = asked(grown("potato", set_at), now, 16.0)
    tomato = asked(grown("tomato", set_at), now, 16.0)
    assert potato is not None
    assert abs(potato[0] - set_at - timedelta(days=12.4)) <= timedelta(hours=2)
    assert potato[1] - potato[0] == timedelta(days=28)
    assert tomato == (set_at + timedelta(days=24), set_at + timedelta(days=36))


def test_a_sown_crop_counts_from_coming_up_as_seen_or_by_the_median_member() -> None:
    planting = made.planting("carrot", made.NOW_HOUR - 150.0)
    of, day = made.outlook([], grown=planting, emergence=made.NOW_HOUR + 50.0), made.day()
    carrot = CROPS["carrot"]
    begins, ends = made.NOW_HOUR + 50.0, made.NOW_HOUR + 50.0 + 24.0 * 42.0
    assert weed_free_window_h(planting, carrot, of, day) == (begins, ends)
    some = of.emergence_hours
    assert some is not None
    late = replace(of, emergence_hours=np.where(np.arange(some.size) < 6, np.nan, some))
    found = weed_free_window_h(planting, carrot, late, day)
    assert found is not None
    assert found[0] == float(made.N_HOURS)
    seen = replace(planting, up_at=made.START + timedelta(hours=200))
    assert weed_free_window_h(seen, carrot, of, day) == (200.0, 200.0 + 24.0 * 42.0)


def test_sown_before_the_hours_kept_it_came_up_by_the_heat_of_the_air() -> None:
    """Not computed any more: the heat of its table in air of 15 C."""
    carrot = CROPS["carrot"]
    assert carrot.emergence_base_c is not None
    assert carrot.emergence_cd is not None
    sown_at, now = datetime(2013, 3, 1, tzinfo=UTC), datetime(2013, 5, 11, tzinfo=UTC)
    found = asked(grown("carrot", sown_at, is_sown=True), now, 15.0)
    assert found is not None
    days = carrot.emergence_cd / (15.0 - carrot.emergence_base_c)
    assert abs(found[0] - sown_at - timedelta(days=days)) <= timedelta(hours=2)


@pytest.mark.parametrize("crop", [None, "no such crop"])
def test_without_a_crop_or_its_table_there_is_no_window(crop: str | None) -> None:
    at = datetime(2013, 4, 20, tzinfo=UTC)
    planting = made.planting() if crop is None else grown(crop, at)
    assert asked(planting, at, 15.0) is None
    assert asked(replace(made.planting("carrot"), established_at=None), at, 15.0) is None
