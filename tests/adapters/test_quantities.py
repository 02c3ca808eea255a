"""Text with a unit to SI and back.

Outside checks: an inch is 25.4 mm, a foot 0.3048 m, a yard 0.9144 m, a mile 1609.344 m exactly
(international yard and pound agreement, 1959); ice melts at 32 F and water boils at 212 F; -40 is
the same on both scales. These are definitions.
"""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.adapters import quantities
from scheduler.adapters.nearest import hint, nearest
from scheduler.adapters.quantities import QuantityError
from scheduler.errors import UsageError, WhitethreadError

Reader = Callable[[object], float]


@pytest.mark.parametrize(
    ("read", "text", "value"),
    [
        (quantities.length_m, "60 ft", 18.288),
        (quantities.length_m, "60ft", 18.288),
        (quantities.length_m, "60 FEET", 18.288),
        (quantities.length_m, "60 ft.", 18.288),
        (quantities.length_m, " 60  foot ", 18.288),
        (quantities.length_m, "60'", 18.288),
        (quantities.length_m, "18 m", 18.0),
        (quantities.length_m, "18 metres", 18.0),
        (quantities.length_m, "10 yd", 9.144),
        (quantities.length_m, "1.5 km", 1500.0),
        (quantities.length_m, "5 ft 6 in", 1.6764),
        (quantities.length_m, "5' 6\"", 1.6764),
        (quantities.length_m, "-3 m", -3.0),
        (quantities.length_m, "−3 m", -3.0),
        (quantities.depth_mm, "0.6 in", 15.24),
        (quantities.depth_mm, ".5 in", 12.7),
        (quantities.depth_mm, "3/4 in", 19.05),
        (quantities.depth_mm, "1 1/2 in", 38.1),
        (quantities.depth_mm, "2 cm", 20.0),
        (quantities.rain_mm, "1 inch", 25.4),
        (quantities.rain_mm, "12 mm", 12.0),
        (quantities.speed_m_s, "3.6 km/h", 1.0),
        (quantities.speed_m_s, "3.6 kph", 1.0),
        (quantities.speed_m_s, "3.6 km per hour", 1.0),
        (quantities.speed_m_s, "1 mph", 1609.344 / 3600),
        (quantities.speed_m_s, "60 ft/min", 0.3048),
        (quantities.speed_m_s, "2 m/s", 2.0),
        (quantities.duration_min, "10 min", 10.0),
        (quantities.duration_min, "1 h 20 min", 80.0),
        (quantities.duration_min, "90 s", 1.5),
        (quantities.duration_h, "3 h", 3.0),
        (quantities.duration_h, "2 hrs", 2.0),
        (quantities.duration_h, "90 min", 1.5),
        (quantities.temperature_c, "32 F", 0.0),
        (quantities.temperature_c, "212 deg F", 100.0),
        (quantities.temperature_c, "-40 F", -40.0),
        (quantities.temperature_c, "-40°F", -40.0),
        (quantities.temperature_c, "18 C", 18.0),
        (quantities.temperature_c, "18 degC", 18.0),
        (quantities.temperature_rise_c, "9 F", 5.0),
        (quantities.temperature_rise_c, "4 °C", 4.0),
        (quantities.share_pct, "20 %", 20.0),
        (quantities.share_pct, "3.5%", 3.5),
        (quantities.share_pct, "5 percent", 5.0),
        (quantities.latitude_deg, "40.78 deg N", 40.78),
        (quantities.latitude_deg, "40.78° n", 40.78),
        (quantities.latitude_deg, "33.9 S", -33.9),
        (quantities.latitude_deg, "-33.9", -33.9),
        (quantities.latitude_deg, -33.9, -33.9),
        (quantities.latitude_deg, 0, 0.0),
        (quantities.longitude_deg, "73.97 deg W", -73.97),
        (quantities.longitude_deg, "2.35 degrees E", 2.35),
        (quantities.longitude_deg, "180 E", 180.0),
    ],
)
def test_text_becomes_si(read: Reader, text: object, value: float) -> None:
    assert read(text) == pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("read", "text", "message"),
    [
        (
            quantities.length_m,
            "60 fet",
            '"60 fet" has an unknown unit; allowed units: mm, cm, m, in, ft, yd; nearest: "feet"',
        ),
        (
            quantities.length_m,
            "60 kg",
            '"60 kg" is a mass, not a length; allowed units: mm, cm, m, in, ft, yd',
        ),
        (
            quantities.rain_mm,
            "12 mm/h",
            '"12 mm/h" is a speed, not a length; allowed units: mm, cm, m, in, ft, yd',
        ),
        (
            quantities.length_m,
            "3 F",
            '"3 F" is a temperature, not a length; allowed units: mm, cm, m, in, ft, yd',
        ),
        (
            quantities.speed_m_s,
            "3 km/hh",
            '"3 km/hh" has an unknown unit; allowed units: km/h, m/s, mph, ft/min; nearest: "km/h"',
        ),
        (
            quantities.temperature_c,
            "300 K",
            '"300 K" has an unknown unit; allowed units: C, F',
        ),
        (
            quantities.length_m,
            60,
            '60 has no unit; write a length such as "60 ft" or "18 m", in quotes',
        ),
        (
            quantities.rain_mm,
            "0,6 in",
            '"0,6 in" is not a number with a unit; write a length such as "60 ft" or "18 m"; '
            "a decimal takes a point, not a comma",
        ),
        (
            quantities.share_pct,
            "20 % 5 %",
            '"20 % 5 %" is more than one quantity; write a share such as "20 %"',
        ),
        (
            quantities.latitude_deg,
            "91 N",
            '"91 N" is out of range; a latitude lies between -90 and 90 degrees',
        ),
        (
            quantities.longitude_deg,
            "-73.97 W",
            '"-73.97 W" is not a longitude; write decimal degrees such as "73.97 deg W" or '
            '"-73.97"',
        ),
    ],
)
def test_wrong_text_is_told_exactly(read: Reader, text: object, message: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read(text)
    assert str(caught.value) == message
    assert isinstance(caught.value, UsageError)
    assert isinstance(caught.value, WhitethreadError)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "ft",
        "nan ft",
        "inf m",
        "1e3 ft",
        "6-12 in",
        "1/0 in",
        "²3 m",
        "٣ m",
        "3",
        None,
        True,
        "x" * 1000,
        "3 " + "m" * 1000,
        [],
        {},
        "5 ft -6 in",
        "5 ft, 6 in",
        "__import__('os') m",
    ],
)
def test_what_is_no_length_is_refused_in_one_line(text: object) -> None:
    with pytest.raises(QuantityError) as caught:
        quantities.length_m(text)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 250


@given(st.text())
def test_no_text_is_a_bug(text: str) -> None:
    for read in (quantities.length_m, quantities.temperature_c, quantities.latitude_deg):
        told = ""
        value = 0.0
        try:
            value = read(text)
        except QuantityError as error:
            told = str(error)
        assert told.isprintable()
        assert math.isfinite(value)


@pytest.mark.parametrize(
    ("shown", "text"),
    [
        (quantities.length_text(18.288, "us"), "60 ft"),
        (quantities.length_text(0.75, "metric"), "0.8 m"),
        (quantities.length_text(3.02, "us"), "9.9 ft"),
        (quantities.length_text(3.04, "us"), "10 ft"),
        (quantities.depth_text(15.0, "us"), "0.6 in"),
        (quantities.depth_text(15.24, "metric"), "15 mm"),
        (quantities.spacing_text(762.0, "us"), "30 in"),
        (quantities.spacing_text(762.0, "metric"), "76 cm"),
        (quantities.rain_text(25.4, "us"), "1.00 in"),
        (quantities.rain_text(0.0, "us"), "0.00 in"),
        (quantities.rain_text(0.254, "us"), "0.01 in"),
        (quantities.rain_text(0.254, "metric"), "0.3 mm"),
        (quantities.temperature_text(100.0, "us"), "212 F"),
        (quantities.temperature_text(-0.2, "metric"), "0 C"),
        (quantities.degree_days_text(100.0, "us"), "180 F days"),
        (quantities.speed_text(1.0, "metric"), "3.6 km/h"),
        (quantities.speed_text(0.44704, "us"), "1 mph"),
        (quantities.density_text(310.0, "us"), "29/sq ft"),
        (quantities.density_text(310.0, "metric"), "310/m2"),
        (quantities.duration_text(59.6), "1 h"),
        (quantities.duration_text(0.0), "0 min"),
        (quantities.duration_text(math.nan), "unknown"),
        (quantities.rain_text(math.nan, "us"), "unknown"),
    ],
)
def test_quantities_are_shown_small_and_tidy(shown: str, text: str) -> None:
    assert shown == text


def test_an_unknown_system_of_units_is_a_bug_and_not_a_guess() -> None:
    with pytest.raises(ValueError, match="metric, us"):
        quantities.rain_text(1.0, "imperial")


@given(st.floats(min_value=0.1, max_value=500.0), st.sampled_from(quantities.UNIT_SYSTEMS))
def test_what_is_shown_reads_back_within_its_last_digit(length_m: float, units: str) -> None:
    shown = quantities.length_text(length_m, units)
    unit_m = 0.3048 if units == "us" else 1.0
    last_digit_m = unit_m * (0.1 if length_m / unit_m < 9.95 else 1.0)
    assert quantities.length_m(shown) == pytest.approx(length_m, abs=0.51 * last_digit_m)


def test_showing_and_importing_load_no_heavy_library() -> None:
    code = (
        "import sys; import scheduler.adapters.quantities as q; q.rain_text(3.0, 'us'); "
        "print([m for m in ('pint', 'numba', 'pandas', 'scipy', 'matplotlib') if m in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def test_the_nearest_name_is_the_same_whatever_the_order() -> None:
    names = ["silt loam", "sandy loam", "silt", "loam"]
    assert nearest("Slit_Loam", names) == nearest("Slit_Loam", names[::-1]) == "silt loam"
    assert nearest("qqq", names) is None
    assert hint("qqq", names) == ""
