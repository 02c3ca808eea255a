"""Vapour and wind; printed values stand in tests/published."""

import numpy as np
import pytest
import refet
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models import air


def test_wind_profile_agrees_with_refet() -> None:
    wind = np.array([0.5, 2.0, 7.5])
    for height in (3.0, 10.0):
        theirs = refet.calcs.wind_height_adjust(wind, height)
        assert_allclose(air.wind_at_2m_m_s(wind, height), theirs, rtol=1e-12, atol=0)
    assert air.wind_at_2m_m_s(wind, 2.0).tolist() == wind.tolist()


def test_vapour_agrees_with_refet() -> None:
    temp = np.array([-15.0, 0.0, 12.0, 38.0])
    theirs = refet.calcs.sat_vapor_pressure(temp)
    assert_allclose(air.saturation_vapour_pressure_kpa(temp), theirs, rtol=1e-3, atol=0)


def test_humidity_never_exceeds_saturation() -> None:
    assert air.humidity_from_dew_point_frac([10.0, 10.0], [10.0, 12.0]).tolist() == [1.0, 1.0]


@pytest.mark.parametrize("height_m", [0.05, 0.4, 101.0])
def test_a_height_that_cannot_be_is_refused(height_m: float) -> None:
    with pytest.raises(RangeError, match=f"height_m: found {height_m:g}, allowed 0.5 to 100"):
        air.wind_at_2m_m_s(3.0, height_m)
