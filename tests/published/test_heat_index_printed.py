"""Heat index: the bare regression against the printed table, the adjusted one apart.

The service's printed table (`rothfusz_1990`; as its Tulsa office prints it, seen) is the bare
regression; the two adjustments move the very dry and the very humid corner away from it.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.planning.cautions import heat_index_c, heat_regression_f

# air temperature F, humidity %, printed heat index F
PRINTED = [
    (80, 40, 80),
    (86, 60, 91),
    (88, 75, 103),
    (90, 40, 91),
    (90, 70, 106),
    (92, 55, 101),
    (94, 60, 110),
    (96, 65, 121),
    (98, 50, 113),
    (100, 40, 109),
    (100, 55, 124),
    (110, 40, 136),
]
HUMID_CORNER = [(80, 100, 87), (82, 90, 91), (84, 95, 100)]


def regression_f(temp_f: float, humidity_pct: float) -> float:
    return float(heat_regression_f(np.array(float(temp_f)), np.array(float(humidity_pct))))


def index_f(temp_f: float, humidity_pct: float) -> float:
    temp_c = np.array((temp_f - 32.0) / 1.8)
    return float(heat_index_c(temp_c, np.array(humidity_pct / 100.0))) * 1.8 + 32.0


@pytest.mark.parametrize(("temp_f", "humidity_pct", "printed_f"), PRINTED + HUMID_CORNER)
def test_regression_is_the_printed_table(
    temp_f: float, humidity_pct: float, printed_f: float
) -> None:
    """Half a printed degree."""
    assert_allclose(regression_f(temp_f, humidity_pct), printed_f, rtol=0, atol=0.5)


@pytest.mark.parametrize(("temp_f", "humidity_pct", "printed_f"), PRINTED[1:])
def test_outside_the_corners_the_index_is_the_regression(
    temp_f: float, humidity_pct: float, printed_f: float
) -> None:
    """From 80 F of index on; the first printed row lies just below, on the simple form."""
    assert_allclose(
        index_f(temp_f, humidity_pct), regression_f(temp_f, humidity_pct), rtol=0, atol=1e-9
    )


@pytest.mark.parametrize(
    ("temp_f", "humidity_pct", "added_f"),
    [
        # (R - 85)/10 (87 - T)/5 and -(13 - R)/4 sqrt((17 - |T - 95|)/17), by hand
        (80, 100, 2.1),
        (82, 90, 0.5),
        (84, 95, 0.6),
        (87, 100, 0.0),
        (95, 10, -0.75),
        (95, 5, -2.0),
        (86.5, 9, -np.sqrt(0.5)),
        (112, 5, 0.0),
    ],
)
def test_adjustment_of_the_corners(temp_f: float, humidity_pct: float, added_f: float) -> None:
    found = index_f(temp_f, humidity_pct) - regression_f(temp_f, humidity_pct)
    assert_allclose(found, added_f, rtol=0, atol=1e-6)


@pytest.mark.parametrize(("temp_f", "humidity_pct", "printed_f"), HUMID_CORNER)
def test_in_the_humid_corner_the_index_lies_above_the_table(
    temp_f: float, humidity_pct: float, printed_f: float
) -> None:
    assert printed_f + 0.5 < index_f(temp_f, humidity_pct) < printed_f + 2.5


def test_another_library_prints_the_same() -> None:
    """MetPy's documentation: 90 F and 90 % give 121.90 F, 30 C and 90 % give 40.77 C (seen)."""
    assert_allclose(index_f(90.0, 90.0), 121.90, rtol=0, atol=0.005)
    assert_allclose(heat_index_c(np.array(30.0), np.array(0.9)), 40.77, rtol=0, atol=0.005)


def test_below_the_regression_the_simple_form_holds() -> None:
    """70 F and 50 %, by hand: the mean of 70 and 0.5 (70 + 61 + 2.4 + 4.7) = 69.05 is 69.525."""
    assert_allclose(index_f(70.0, 50.0), 69.525, rtol=0, atol=1e-9)
