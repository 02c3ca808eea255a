"""Stage of a crop by member: what the clock says, and what the grower saw."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.planning.crop_stage import CropStage, crop_stage, hour_of_share, is_buried
from scheduler.planning.traits import CropTraits
from scheduler.records import FloatArray, Planting
from tests.planning.made import START, planting, sky
from tests.planning.test_outlook import CARROT, computed

N = 4
NOW = 24 * 20
N_HOURS = 24 * 30
BEET = CropTraits(
    3.1, 109.0, 25.0, None, None, 50.0, 18.0, leaf_base_c=5.0, first_leaf_cd=60.0, leaf_cd=30.0,
    height_mm=400.0,
)  # fmt: skip
POTATO = CropTraits(
    None, None, None, None, None, 65.0, 100.0, blind=2, height_mm=600.0, can_hill=True
)


def ensemble(air_c: Any = 15.0, stored: int = 0) -> Any:
    base = sky(NOW, N_HOURS, N)
    air = np.broadcast_to(np.asarray(air_c, dtype=float), (N, N_HOURS)).copy()
    made = replace(base, forcing=replace(base.forcing, air_temp_c=air))
    return SimpleNamespace(sky=made, stored_from_hour=stored)


def stage(
    of: Planting,
    crop: CropTraits = BEET,
    emergence: FloatArray | None = None,
    air_c: Any = 15.0,
    stored: int = 0,
    cover: float = 0.25,
) -> CropStage:
    found = crop_stage(
        of, crop, ensemble(air_c, stored), emergence, np.full(N_HOURS - stored, cover)
    )
    assert found is not None
    return found


def set_out(hour: float, crop: str = "beet") -> Planting:
    return replace(planting(crop, hour), is_sown=False)


def test_an_empty_bed_has_no_stage() -> None:
    assert crop_stage(planting(), BEET, ensemble(), None, np.zeros(N_HOURS)) is None


def test_leaves_come_by_heat_from_emergence_of_each_member() -> None:
    """15 C is 10 degree-days above 5 C: the first leaf after 6 days, then one in 3 days."""
    up = np.array([24.0, 48.0, 240.0, np.nan])
    found = stage(planting("beet", 0), emergence=up)
    assert found.is_up[:, 30].tolist() == [True, False, False, False]
    assert found.is_up[:, -1].tolist() == [True, True, True, False]
    assert found.leaves[0, 24 * 7 - 2] == 0.0
    assert_allclose(found.leaves[0, 24 * 7], 1.0 + 1.0 / 72.0, rtol=0, atol=1e-9)
    assert_allclose(found.leaves[:2, 24 * 16 - 1], [4.0, 4.0 - 1 / 3], rtol=0, atol=1e-9)
    assert np.all(found.leaves[3] == 0.0)
    assert np.all(found.rooted_cd == 0.0)
    assert np.all(found.height_mm[3] == 0.0)


def test_a_warmer_member_is_ahead() -> None:
    up = np.full(N, 24.0)
    air = np.array([10.0, 15.0, 20.0, 20.0])[:, None]
    found = stage(planting("beet", 0), emergence=up, air_c=air)
    assert np.all(np.diff(found.leaves[:3, -1]) > 0.0)
    assert np.all(np.diff(found.height_mm[:3, -1]) > 0.0)


def test_stored_hours_see_the_heat_of_hours_before_them() -> None:
    up = np.full(N, 24.0)
    whole, late = (stage(planting("beet", 0), emergence=up, stored=s) for s in (0, 200))
    for name in ("leaves", "height_mm", "rooted_cd", "is_up"):
        assert_allclose(getattr(late, name), getattr(whole, name)[:, 200:], rtol=0, atol=1e-9)
    assert_allclose(late.cover_frac, whole.cover_frac[200:], rtol=0, atol=1e-9)


def test_seen_up_outranks_the_clock() -> None:
    seen = replace(planting("beet", 0), up_at=START + timedelta(hours=100))
    found = stage(seen, emergence=None)
    assert np.all(found.is_up[:, 100:])
    assert not found.is_up[:, :100].any()
    assert_allclose(found.leaves[:, 100 + 24 * 6 - 1], 1.0, rtol=0, atol=1e-9)


def test_a_set_crop_counts_from_setting_and_roots_when_seen() -> None:
    found = stage(set_out(48))
    assert np.all(found.is_up[:, 48:])
    assert np.isnan(found.leaves).all()
    assert found.established_hour == 48.0
    assert_allclose(found.rooted_cd[:, 48 + 24 * 4 - 1], 40.0, rtol=1e-12, atol=0)
    seen = replace(set_out(48), rooted_at=START + timedelta(hours=96))
    rooted = stage(seen).rooted_cd
    assert np.all(np.isinf(rooted[:, 96:]))
    assert_allclose(rooted[:, 95], 20.0, rtol=1e-12, atol=0)


def test_a_crop_older_than_the_record_carries_its_mean_heat() -> None:
    """Set 30 days before a record at 15 C: 300 degree-days at its start."""
    found = stage(set_out(-24 * 30))
    assert_allclose(found.rooted_cd[:, 0], 300.0 + 10.0 / 24.0, rtol=1e-12, atol=0)
    sown = stage(planting("beet", -24 * 60))
    assert np.all(sown.is_up)
    assert np.all(sown.leaves[:, 0] > 10.0)
    assert np.all(sown.cover_frac > 0.8)


def test_where_emergence_was_not_computed_the_air_stands_for_the_soil() -> None:
    """109 degree-days above 3.1 C at 15 C: 9.2 days. Without a heat sum a fifth of closing."""
    found = stage(planting("beet", 24))
    assert_allclose(found.is_up.argmax(axis=1), 24 + 109 / 11.9 * 24, rtol=0, atol=1.0)
    plain = replace(BEET, emergence_cd=None)
    found = stage(planting("beet", 24), plain)
    assert_allclose(found.is_up.argmax(axis=1), 24 + 0.2 * 50 * 11.0 / 10.0 * 24, rtol=0, atol=1.0)


def test_a_tuber_is_not_up_when_it_is_set() -> None:
    of = set_out(0, "potato")
    assert is_buried(of, POTATO)
    assert not is_buried(of, BEET)
    assert not is_buried(planting("potato", 0), POTATO)
    found = stage(of, POTATO)
    assert_allclose(found.is_up.argmax(axis=1), 0.2 * 65 * 11.0 / 10.0 * 24, rtol=0, atol=1.0)
    assert np.all(found.height_mm[~found.is_up] == 0.0)


@pytest.mark.parametrize(("of", "first_mm"), [(set_out(0), 50.0), (planting("beet", 0), 0.0)])
def test_closing_days_are_those_of_air_at_16_c(of: Planting, first_mm: float) -> None:
    """At 16 C, 11 degree-days above 5 C, a crop is closed after its days and half way up at the
    middle between; at 10.5 C it takes twice as long."""
    up = np.full(N, 0.2 * 50 * 24 if of.is_sown else 0.0)
    quick = replace(BEET, close_d=25.0)
    found = stage(of, quick, emergence=0.5 * up, air_c=16.0)
    closed = 25 * 24 - 1
    assert_allclose(found.cover_frac[closed], 0.9, rtol=0, atol=1e-3)
    assert found.cover_frac[closed - 48] < 0.9
    assert_allclose(found.height_mm[:, closed], 400.0, rtol=0, atol=0.5)
    middle = (closed + int(0.5 * up[0])) // 2
    assert_allclose(found.height_mm[:, middle], 0.5 * (400.0 + first_mm), rtol=0.02, atol=0)
    cool = stage(of, quick, emergence=0.5 * up, air_c=10.5)
    assert cool.cover_frac[closed] < 0.6


def test_a_crop_that_never_closes_keeps_its_cover_by_days() -> None:
    found = stage(set_out(0), replace(BEET, close_d=None))
    assert np.all(found.cover_frac == 0.25)


def test_the_outlook_carries_the_stage() -> None:
    """Sown carrots in the soil's own emergence: flame after blind, up after both."""
    sown = replace(planting("carrot", 24 * 20), n_rows=3)
    found = computed(grown=sown)
    assert found.crop_hours is not None
    assert found.stage is not None
    hours = found.crop_hours
    assert np.all(hours.last_blind < hours.last_flame)
    assert np.all(hours.last_flame < hours.first_up)
    assert np.all(hours.first_up <= hours.last_up)
    first = found.stage.is_up.argmax(axis=1)
    assert_allclose(first, hours.last_up, rtol=0, atol=0)
    empty = computed()
    assert empty.stage is None
    assert empty.crop_hours is None
    assert computed(grown=sown, crops={"beet": CARROT["carrot"]}).stage is None


def test_cover_is_a_mean_by_weight() -> None:
    up, air = np.full(N, 24.0), np.array([8.0, 20.0, 20.0, 20.0])[:, None]
    of, clock = planting("beet", 0), ensemble(air)
    quick = replace(BEET, close_d=25.0)
    plain = np.zeros(N_HOURS)

    def cover(weights: FloatArray | None) -> FloatArray:
        found = crop_stage(of, quick, clock, up, plain, weights)
        assert found is not None
        return found.cover_frac

    slow, quickly = cover(np.array([1.0, 0, 0, 0])), cover(np.array([0, 1.0, 0, 0]))
    assert np.all(slow[240:] < quickly[240:])
    assert_allclose(
        cover(np.array([3.0, 1, 0, 0])), 0.75 * slow + 0.25 * quickly, rtol=1e-12, atol=0
    )
    assert_allclose(cover(None), cover(np.ones(N)), rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("hours", "weights", "share", "found"),
    [
        ([1.0, 2.0, 3.0, 4.0], [1, 1, 1, 1], 0.5, 2.5),
        ([1.0, np.nan, np.nan, np.nan], [1, 1, 1, 1], 0.1, 1.0),
        ([1.0, np.nan, np.nan, np.nan], [1, 1, 1, 1], 0.5, None),
        ([1.0, 2.0, np.nan, np.nan], [1, 1, 1, 97], 0.1, None),
        ([np.nan, np.nan], [1, 1], 0.1, None),
        ([5.0, np.inf], [9, 1], 0.5, 5.0),
    ],
)
def test_who_is_beyond_sight_comes_last(
    hours: list[float], weights: list[float], share: float, found: float | None
) -> None:
    assert hour_of_share(np.array(hours), np.array(weights, dtype=float), share) == found
