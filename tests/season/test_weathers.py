"""Season weathers against the sums that stand in their sources."""

from __future__ import annotations

import csv
from datetime import timedelta
from importlib.resources import files

import numpy as np
import pytest

from tests.season import weathers


@pytest.mark.parametrize("name", [*weathers.JUDGING, *weathers.TUNING])
def test_a_season_is_whole_and_within_nature(name: str) -> None:
    weather = weathers.season_weather(name)
    station, year = weathers.station_of(name)
    local = weather.start_at.astimezone(station.zone)
    assert (local.year, local.month, local.day, local.hour) == (year, 3, 1, 0)
    forcing = weather.forcing
    assert forcing.n_hours == 245 * 24
    for variable, low, high in (
        ("rain_mm", 0.0, 60.0),
        ("et0_mm", 0.0, 1.6),
        ("air_temp_c", -25.0, 42.0),
        ("humidity_frac", 0.05, 1.0),
        ("wind_2m_m_s", 0.0, 25.0),
        ("solar_mj_m2", 0.0, 4.2),
        ("sky_clearness_frac", 0.0, 1.05),
    ):
        values = getattr(forcing, variable)
        assert values.shape == (1, 245 * 24)
        assert values.min() >= low, variable
        assert values.max() <= high, variable


def test_judging_and_tuning_share_no_season() -> None:
    assert not set(weathers.JUDGING) & set(weathers.TUNING)
    assert len(weathers.JUDGING) >= 5


def test_days_of_seattle_rain_are_the_recorded_ones() -> None:
    path = files("vega_datasets") / "_data" / "seattle-weather.csv"
    rows = csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    recorded = [float(r["precipitation"]) for r in rows if "2015/03/01" <= r["date"] < "2015/11/01"]
    played = weathers.day_sums(weathers.season_weather("Seattle 2015").forcing, "rain_mm")
    np.testing.assert_allclose(played, recorded, rtol=0.0, atol=1e-6)


def test_days_of_brussels_demand_are_the_recorded_ones() -> None:
    weather = weathers.season_weather("Brussels 2001")
    station, year = weathers.station_of("Brussels 2001")
    assert station.demand_mm is not None
    recorded = station.demand_mm(station, year)
    first = weather.start_at.astimezone(station.zone).date()
    played = weathers.day_sums(weather.forcing, "et0_mm")
    wanted = np.array([recorded[first + timedelta(days=i)] for i in range(played.size)])
    # a factor of two is the most that hours are scaled by, so that a few dull days stay apart
    assert np.mean(np.abs(played - wanted) < 1e-6) > 0.9
    assert played.sum() == pytest.approx(wanted.sum(), rel=0.03)


def test_an_hour_far_below_both_neighbours_is_left_out() -> None:
    values = weathers.without_spikes(np.array([18.0, 18.5, -10.0, 19.0, 12.0, 11.0]))
    assert np.flatnonzero(np.isnan(values)).tolist() == [2]


def test_a_name_gives_the_same_hours_again() -> None:
    first = weathers.season_weather("Champion 2018").forcing.rain_mm.copy()
    weathers.season_weather.cache_clear()
    np.testing.assert_array_equal(first, weathers.season_weather("Champion 2018").forcing.rain_mm)
