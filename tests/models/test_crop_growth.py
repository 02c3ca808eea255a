"""Heat above ground, leaves, growth to closing, height."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models.crop_growth import crop_heat_cd, growth_frac, height_mm, leaf_count


def test_heat_counts_between_base_and_cap() -> None:
    heat = crop_heat_cd([-5.0, 5.0, 17.0, 29.0, 30.0, 38.0], 5.0)
    assert_allclose(heat, [0.0, 0.0, 0.5, 1.0, 25.0 / 24.0, 25.0 / 24.0], rtol=1e-12, atol=0)
    assert_allclose(crop_heat_cd(np.full(24, 38.0), 10.0, 35.0).sum(), 25.0, rtol=1e-12, atol=0)


def test_a_day_of_warm_and_cold_hours_counts_its_warm_ones() -> None:
    """8 C on average, half the day at the base: hour by hour there is heat, by the mean there is
    less."""
    temp = np.repeat([2.0, 14.0], 12)
    assert_allclose(crop_heat_cd(temp, 5.0).sum(), 4.5, rtol=1e-12, atol=0)
    assert temp.mean() - 5.0 < 4.5


def test_leaves_come_one_by_one() -> None:
    heat = np.array([0.0, 59.9, 60.0, 75.0, 90.0, 360.0])
    assert_allclose(
        leaf_count(heat, 60.0, 30.0), [0.0, 0.0, 1.0, 1.5, 2.0, 11.0], rtol=0, atol=1e-9
    )
    assert leaf_count([0.0], 0.0, 30.0)[0] == 1.0


def test_a_crop_grows_to_its_closing_and_not_beyond() -> None:
    grown = growth_frac([-1.0, 0.0, 250.0, 500.0, 5000.0], 500.0)
    assert_allclose(grown, [0.0, 0.0, 0.5, 1.0, 1.0], rtol=0, atol=0)
    assert_allclose(height_mm(grown, 600.0, 50.0), [50, 50, 325, 600, 600], rtol=1e-12, atol=0)
    assert_allclose(height_mm([0.0, 1.0], 30.0, 50.0), [30.0, 30.0], rtol=0, atol=0)


@pytest.mark.parametrize(
    ("call", "names"),
    [
        (lambda: crop_heat_cd([10.0], 30.0), "base_c"),
        (lambda: crop_heat_cd([np.nan], 5.0), "air_temp_c"),
        (lambda: leaf_count([1.0], -1.0, 30.0), "first_leaf_cd"),
        (lambda: leaf_count([1.0], 10.0, 0.0), "leaf_cd"),
        (lambda: leaf_count([np.nan], 10.0, 30.0), "heat_cd"),
        (lambda: growth_frac([1.0], 0.0), "closing_cd"),
        (lambda: growth_frac([np.nan], 10.0), "heat_cd"),
        (lambda: height_mm([1.2], 300.0), "grown_frac"),
        (lambda: height_mm([np.nan], 300.0), "grown_frac"),
        (lambda: height_mm([0.5], -300.0), "full_height_mm"),
    ],
)
def test_what_is_out_of_range_is_named(call: Callable[[], object], names: str) -> None:
    with pytest.raises(RangeError, match=names) as caught:
        call()
    assert "\n" not in str(caught.value)
