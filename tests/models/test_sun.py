"""The sun, against other programs, printed examples and measured years."""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pyet
import pytest
import refet
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models import sun

# ASCE-EWRI 2005, appendix C, hourly example (Greeley, Colorado, 1-2 July 2000), as transcribed in
# the tests of pyet: hours beginning 15 h to 20 h next day, zone of 105 W.
ASCE_LATITUDE_DEG = float(np.rad2deg(0.7053))
ASCE_HOURS = int(np.datetime64("2000-07-01T22", "h").astype(np.int64)) + np.arange(30)
# fmt: off
ASCE_RA_MJ_M2 = np.array([
    3.26, 2.52, 1.68, 0.81, 0.09, 0, 0, 0, 0, 0, 0, 0, 0, 0.05, 0.72, 1.59, 2.43, 3.19, 3.81, 4.26,
    4.49, 4.51, 4.29, 3.87, 3.26, 2.52, 1.68, 0.81, 0.09, 0])
# fmt: on


def hours_of(day: str, n_days: int = 1) -> np.ndarray:
    first = int(np.datetime64(day, "h").astype(np.int64))
    return np.arange(first, first + 24 * n_days)


def test_hourly_radiation_agrees_with_printed_asce_example() -> None:
    ra = sun.extraterrestrial_hourly_mj_m2(ASCE_HOURS, ASCE_LATITUDE_DEG, -105.0)
    # the example takes one declination per calendar day and rounds hour angles
    assert_allclose(ra, ASCE_RA_MJ_M2, rtol=0, atol=0.016)


@pytest.mark.parametrize("longitude_deg", [-155.0, -74.0, 0.0, 12.5, 151.0])
@pytest.mark.parametrize("latitude_deg", [-41.0, 0.0, 40.7, 60.0])
def test_hourly_radiation_agrees_with_refet(latitude_deg: float, longitude_deg: float) -> None:
    hours = hours_of("2013-06-20", 3)
    hour = hours % 24
    local_day = 171 + (hours - hours[0]) // 24 + np.floor((hour + longitude_deg / 15) / 24)
    theirs = refet.calcs.ra_hourly(
        np.full(72, np.deg2rad(latitude_deg)),
        np.full(72, np.deg2rad(longitude_deg)),
        local_day,
        hour + 0.5,
    )
    ours = sun.extraterrestrial_hourly_mj_m2(hours, latitude_deg, longitude_deg)
    assert_allclose(ours, theirs, rtol=2e-3, atol=2e-3)


@pytest.mark.parametrize("latitude_deg", [-35.0, 13.733, 45.717, 50.8])
def test_daily_radiation_agrees_with_pyet(latitude_deg: float) -> None:
    days = pd.date_range("2023-01-05", "2023-12-28", freq="17D")
    doy = days.dayofyear.to_numpy()
    theirs = np.asarray(pyet.extraterrestrial_r(days, np.deg2rad(latitude_deg)))
    ours = sun.extraterrestrial_daily_mj_m2(latitude_deg, doy)
    assert_allclose(ours, theirs, rtol=1e-3, atol=1e-3)
    daylight = np.asarray(pyet.daylight_hours(days, np.deg2rad(latitude_deg)))
    assert_allclose(sun.daylight_h(latitude_deg, doy), daylight, rtol=1e-3, atol=1e-3)
    clear = np.asarray(pyet.calc_rso(theirs, 100.0))
    assert_allclose(sun.clear_sky_mj_m2(ours, 100.0), clear, rtol=1e-3, atol=1e-3)
    sunny = sun.solar_from_sunshine_mj_m2(0.4 * daylight, latitude_deg, doy)
    assert_allclose(sunny, 0.45 * theirs, rtol=1e-3, atol=1e-3)


@pytest.mark.parametrize("latitude_deg", [-60.0, -20.0, 0.0, 42.0, 66.0, 75.0])
@pytest.mark.parametrize("day", ["2013-03-21", "2013-06-21", "2013-12-21"])
def test_hours_add_up_to_the_day(latitude_deg: float, day: str) -> None:
    # Eq. 28 over 24 hours against Eq. 21: two printed formulas for one quantity. The longitude is
    # chosen so that clock day and solar day agree but for the equation of time.
    hours = hours_of(day)
    total = sun.extraterrestrial_hourly_mj_m2(hours, latitude_deg, 0.0).sum()
    expected = sun.extraterrestrial_daily_mj_m2(latitude_deg, sun.solar_day_of_year(hours[12], 0.0))
    assert_allclose(total, float(expected), rtol=2e-3, atol=1e-6)


def test_solar_noon_and_local_date() -> None:
    hours = hours_of("2013-04-15")  # the equation of time is nearly 0 in mid April
    for longitude_deg in (0.0, -75.0, 150.0):
        found = sun.extraterrestrial_hourly_mj_m2(hours, 40.0, longitude_deg)
        centre = np.angle(np.sum(found * np.exp(1j * 2 * np.pi * (hours + 0.5) / 24))) / 2 / np.pi
        assert_allclose((centre * 24 + longitude_deg / 15) % 24, 12.0, rtol=0, atol=0.05)
    new_year = int(np.datetime64("2014-01-01T02", "h").astype(np.int64))
    assert int(sun.solar_day_of_year(new_year, -75.0)) == 365
    assert int(sun.solar_day_of_year(new_year, 0.0)) == 1


def test_clearness_is_carried_through_the_night() -> None:
    hours = hours_of("2013-05-30", 3)
    clear = sun.clear_sky_mj_m2(sun.extraterrestrial_hourly_mj_m2(hours, 45.0, 0.0), 100.0)
    share = np.repeat([0.4, 0.8, 0.6], 24)
    found = sun.sky_clearness_frac(share * clear, hours, 45.0, 0.0, 100.0)
    assert_allclose(
        found[[2, 12, 22, 26, 36, 46, 50, 60]], [0.4] * 4 + [0.8] * 3 + [0.6], atol=1e-9
    )
    nothing = sun.sky_clearness_frac(np.full(72, np.nan), hours, 45.0, 0.0, 100.0)
    assert np.isnan(nothing).all()
    both = sun.sky_clearness_frac(
        np.stack([share * clear, 0.5 * share * clear]), hours, 45.0, 0.0, 100.0
    )
    assert_allclose(both[0], found, rtol=0, atol=0)
    assert_allclose(
        both[1], sun.sky_clearness_frac(0.5 * share * clear, hours, 45.0, 0.0, 100.0), atol=0
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: sun.extraterrestrial_daily_mj_m2(95.0, 10), "latitude_deg: found 95"),
        (lambda: sun.extraterrestrial_hourly_mj_m2(0, 45.0, 400.0), "longitude_deg: found 400"),
        (lambda: sun.solar_from_range_mj_m2([3.0, -2.0], 30.0), "air_temp_range_k: found -2"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(call: Callable[[], object], words: str) -> None:
    with pytest.raises(RangeError) as caught:
        call()
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


# ------------------------------------------------------------------ against measured weather


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
    above = sun.extraterrestrial_daily_mj_m2(52.1, day)
    guessed = sun.solar_from_range_mj_m2(high - low, above)
    assert np.all(seen <= above)  # nothing measured exceeds the sun above the clouds
    assert np.corrcoef(guessed, seen)[0, 1] > 0.9
    assert abs((guessed - seen).mean()) < 1.5  # of a mean of 10.1 MJ m-2 d-1
