"""The hours around a morning: cut, counted by soil, and told as the page tells them."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from scheduler.planning.day import day_of
from scheduler.planning.readings import base_answer
from scheduler.planning.strip import day_strip
from scheduler.records import Bed, Soil
from tests.planning.made import N_HOURS, N_MEMBERS, NOW_HOUR, START, day, farm, outlook, planting
from tests.planning.made import sky as made_sky

SILT = Bed("B1", 18.0, 0.75, "silt")


def test_the_day_before_and_two_days_ahead() -> None:
    found = day_strip(day(), [outlook([(NOW_HOUR + 4, NOW_HOUR + 10)])])
    assert found.start_at == START + timedelta(hours=NOW_HOUR - 24)
    assert found.n_past == 24
    arrays = [
        found.rain_mm,
        found.rain_high_mm,
        found.is_open,
        *found.surface_rel_water.values(),
        *found.workable_frac.values(),
    ]
    assert {len(one) for one in arrays} == {72}
    fit = found.workable_frac["middle"]
    assert np.flatnonzero(fit).tolist() == list(range(24 + 4, 24 + 10))
    # 05:00 UTC is the first hour ahead; the grower works 07:00 to 19:00
    assert np.flatnonzero(found.is_open[24:48]).tolist() == list(range(2, 14))


def test_it_is_cut_where_the_clock_ends_or_nothing_is_stored() -> None:
    early = day_strip(replace(day(now_hour=30), stored=20), [outlook([])])
    assert early.n_past == 10
    assert early.start_at == START + timedelta(hours=20)
    late = day_strip(day(now_hour=N_HOURS - 6), [outlook([])])
    assert (late.n_past, len(late.rain_mm)) == (24, 30)


def test_hours_are_those_of_the_stored_part() -> None:
    """What is stored begins later than the clock: hour i of it is hour stored + i."""
    at = replace(day(), stored=NOW_HOUR - 48)
    fit = outlook([(50, 55)])  # 2 to 7 hours from now
    found = day_strip(at, [fit])
    assert np.flatnonzero(found.workable_frac["middle"]).tolist() == list(range(26, 31))


def test_rain_is_the_mean_and_what_one_in_ten_exceeds() -> None:
    sky = made_sky()
    rain = np.zeros((N_MEMBERS, N_HOURS))
    rain[0, NOW_HOUR + 3] = 8.0  # one member of eight
    rain[:, NOW_HOUR - 2] = 3.0  # measured: all alike
    sky = replace(sky, forcing=replace(sky.forcing, rain_mm=rain))
    at = day_of(farm(), sky, 0, START + timedelta(hours=NOW_HOUR, minutes=30))
    found = day_strip(at, [outlook([])])
    assert found.rain_mm[24 + 3] == pytest.approx(1.0)
    assert found.rain_high_mm[24 + 3] == pytest.approx(0.3 * 8.0)  # between 6/7 and the top
    assert found.rain_mm[22] == found.rain_high_mm[22] == 3.0
    assert found.rain_mm.sum() == pytest.approx(4.0)


def test_a_soil_is_as_half_of_its_beds_are() -> None:
    soon, later = (NOW_HOUR + 2, NOW_HOUR + 30), (NOW_HOUR + 8, NOW_HOUR + 30)
    wet = replace(outlook([later]), surface_rel_water=np.full((N_MEMBERS, N_HOURS), 0.9))
    beds = [
        outlook([soon]),
        wet,
        replace(outlook([later]), surface_rel_water=wet.surface_rel_water),
    ]
    silt = outlook([], grown=replace(planting(), bed=SILT))
    of = replace(farm(beds=(Bed("A1", 18.0, 0.75, "middle"), SILT)))
    of = replace(of, soils={**of.soils, "silt": Soil("silt", "silt", None, None, 3.0)})
    found = day_strip(day(of), [*beds, silt])
    assert list(found.workable_frac) == ["middle", "silt"]
    assert int(found.workable_frac["middle"].argmax()) == 24 + 8
    assert found.surface_rel_water["middle"][30] == pytest.approx(0.9)
    assert not found.workable_frac["silt"].any()
    two = day_strip(day(), beds[:2])  # of two beds one is half
    assert int(two.workable_frac["middle"].argmax()) == 24 + 2


def test_it_agrees_with_the_page() -> None:
    """One bed of a soil: the strip says fit from the hour that the page's sentence is made of."""
    fit = outlook([(NOW_HOUR + 5, NOW_HOUR + 9)])
    told = base_answer(fit, day()).soil.workable_from
    assert told is not None
    found = day_strip(day(), [fit])
    first = int(np.flatnonzero(found.workable_frac["middle"] >= 0.8)[0])
    assert found.start_at + timedelta(hours=first) == told


def test_weights_of_members_count() -> None:
    """A member that visits have ruled out no longer wets the soil of the picture."""
    drier = outlook([])
    water = np.full((N_MEMBERS, N_HOURS), 0.4)
    water[0] = 1.2
    weights = np.r_[0.0, np.ones(N_MEMBERS - 1)]
    found = day_strip(day(), [replace(drier, surface_rel_water=water, weights=weights)])
    assert np.allclose(found.surface_rel_water["middle"], 0.4, rtol=0.0, atol=1e-12)
