"""Crops: cover, water use, and emergence against a published table of days."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models.crops import (
    basal_crop_coefficient,
    emergence_heat_cd,
    emergence_hour,
    emergence_need_cd,
    emergence_progress_frac,
    ground_cover_frac,
)
from scheduler.reference import load_tables

# `harrington_minges_1954`: days from sowing at 13 mm to emergence at 5, 10, 15, 20, 25 C (seen, two
# copies agree); NaN: none or not tested. Then temperature of fastest emergence, base and heat
# sum fitted for this project by least squares of 1/days on temperature, 5 C to the fastest or 25 C.
NAN = float("nan")
TESTED_C = (5.0, 10.0, 15.0, 20.0, 25.0)
DAYS = {
    "asparagus": ((NAN, 53, 24, 15, 10), 25, 6.9, 186),
    "lima bean": ((NAN, NAN, 31, 18, 7), 25, 13.0, 90),
    "beet": ((42, 17, 10, 6, 5), 25, 3.1, 109),
    "cabbage": ((NAN, 15, 9, 6, 5), 30, 2.6, 110),
    "carrot": ((51, 17, 10, 7, 6), 25, 2.1, 132),
    "cauliflower": ((NAN, 20, 10, 6, 5), 25, 5.0, 97),
    "celery": ((41, 16, 12, 7, NAN), 20, 2.1, 133),
    "sweet corn": ((NAN, 22, 12, 7, 4), 35, 7.8, 74),
    "cucumber": ((NAN, NAN, 13, 6, 4), 30, 10.5, 58),
    "eggplant": ((NAN, NAN, NAN, 13, 8), 30, 12.0, 104),
    "lettuce": ((15, 7, 4, 3, 2), 25, 2.8, 47),
    "muskmelon": ((NAN, NAN, NAN, 8, 4), 30, 15.0, 40),
    "onion": ((31, 13, 7, 5, 4), 25, 2.4, 90),
    "parsnip": ((57, 27, 19, 14, NAN), 20, -0.1, 282),
    "pea": ((36, 14, 9, 8, 6), 25, -0.1, 151),
    "pepper": ((NAN, NAN, 25, 13, 8), 25, 10.5, 118),
    "radish": ((29, 11, 6, 4, 4), 30, 1.6, 85),
    "spinach": ((23, 12, 7, 6, 5), 25, -1.1, 126),
    "tomato": ((NAN, 43, 14, 8, 6), 25, 7.5, 103),
    "watermelon": ((NAN, NAN, NAN, 12, 5), 35, 16.4, 43),
}
# Where the straight heat sum misses by more than the tolerance: what it says instead, rounded.
MISFITS = {("lima bean", 15): 45, ("lima bean", 20): 13, ("sweet corn", 10): 34}


def days_at(soil_c: float, base_c: float, cap_c: float, theta_cd: float) -> float:
    heat_cd = emergence_heat_cd(np.full((1, 24 * 100), soil_c), base_c, cap_c)
    return (int(emergence_hour(heat_cd, emergence_need_cd(theta_cd, 13.0), 0)[0]) + 1) / 24.0


@pytest.mark.parametrize("crop", DAYS)
def test_heat_sum_gives_the_days_of_the_table(crop: str) -> None:
    """10 to 25 C: within a day (the table has whole days, dug up once a day) or 15 %.

    At 5 C, the edge of the fit, within 45 %: beet and lettuce come sooner than the sum says, pea
    and radish later.
    """
    printed, cap_c, base_c, theta_cd = DAYS[crop]
    for soil_c, printed_d in zip(TESTED_C, printed, strict=True):
        if np.isnan(printed_d):
            continue
        found_d = days_at(soil_c, base_c, cap_c, theta_cd)
        if (crop, soil_c) in MISFITS:
            assert_allclose(found_d, MISFITS[crop, soil_c], rtol=0, atol=0.55)
        elif soil_c == 5.0:
            assert_allclose(found_d, printed_d, rtol=0.45, atol=0)
        else:
            assert abs(found_d - printed_d) <= max(1.0, 0.15 * printed_d), (soil_c, found_d)


@pytest.mark.parametrize("crop", DAYS)
def test_heat_sums_are_the_fit_of_the_table(crop: str) -> None:
    """The base and sum used are least squares of the printed days, to their last digit."""
    printed, _, base_c, theta_cd = DAYS[crop]
    days = np.array(printed)
    is_tested = np.isfinite(days)
    slope, start = np.polyfit(np.array(TESTED_C)[is_tested], 1.0 / days[is_tested], 1)
    assert_allclose(-start / slope, base_c, rtol=0, atol=0.055)
    assert_allclose(1.0 / slope, theta_cd, rtol=0, atol=0.5)


def test_rows_of_a_trial_give_its_days() -> None:
    """Snap bean: 16, 11, 8, 6, 6 d at 15 to 35 C, nothing at 10 or 40 C (`harrington_minges_1954`);
    a straight sum would let it come up in the cold."""
    tested_c, tested_d = [15.0, 20.0, 25.0, 30.0, 35.0], [16.0, 11.0, 8.0, 6.0, 6.0]
    temp = np.repeat(np.array([[10.0], [15.0], [20.0], [30.0], [40.0]]), 24 * 20, axis=1)
    found = emergence_hour(emergence_progress_frac(temp, tested_c, tested_d), 1.0, 0)
    assert (found + 1).tolist() == [0, 16 * 24, 11 * 24, 6 * 24, 0]
    between = emergence_progress_frac([[17.5]], tested_c, tested_d)[0, 0]
    assert 1 / 16 < 24 * between < 1 / 11


def test_published_lead_of_beets_over_carrots() -> None:
    """At 10, 15, 20, 25 C beet 16.7, 9.7, 6.2, 5.0 and carrot 17.3, 10.1, 6.9, 6.2 d (seen): the
    whole-day rows of the same trial must give a lead of no more than about a day."""
    for soil_c, beet_d, carrot_d in (
        (10.0, 16.7, 17.3),
        (15.0, 9.7, 10.1),
        (20.0, 6.2, 6.9),
        (25.0, 5.0, 6.2),
    ):
        assert_allclose(days_at(soil_c, 3.1, 25.0, 109.0), beet_d, rtol=0, atol=1.0)
        assert_allclose(days_at(soil_c, 2.1, 25.0, 132.0), carrot_d, rtol=0, atol=1.0)
        lead_d = days_at(soil_c, 2.1, 25.0, 132.0) - days_at(soil_c, 3.1, 25.0, 109.0)
        assert 0.3 < lead_d < 1.5


def test_heat_stops_in_heat_cold_and_drought() -> None:
    temp = np.array([[3.0, 12.0, 24.0, 29.0, 36.0]])
    found = emergence_heat_cd(temp, 2.8, 25.0, ceiling_c=30.0, coldest_c=5.0) * 24.0
    assert_allclose(found, [[0.0, 9.2, 21.2, 22.2, 0.0]], rtol=1e-12, atol=0)
    dry = emergence_heat_cd(temp, 2.8, 25.0, suction_kpa=[[9, 900, 500, 9, 9]], dry_kpa=500.0)
    assert (dry > 0.0).tolist() == [[True, False, True, True, True]]


def test_deeper_sowing_needs_more() -> None:
    assert_allclose(
        emergence_need_cd(132.0, [0.0, 13.0, 23.0, 43.0]),
        [132.0, 132.0, 142.56, 163.68],
        rtol=1e-12,
        atol=0,
    )


def test_gates_come_before_emergence_and_members_differ() -> None:
    heat = np.array([[0.5], [0.4]]) * np.ones((2, 400))
    up = emergence_hour(heat, [100.0, 120.0], 10)
    gate = emergence_hour(heat, [100.0, 120.0], 10, share=0.7)
    assert up.tolist() == [209, 309]
    assert gate.tolist() == [149, 219]
    assert emergence_hour(heat, 1000.0, 10).tolist() == [-1, -1]


def test_later_sowing_in_steady_soil_comes_as_much_later() -> None:
    heat = np.full((1, 500), 0.37)
    early = emergence_hour(heat, 60.0, 3)[0]
    assert emergence_hour(heat, 60.0, 103)[0] == early + 100


@pytest.mark.parametrize("is_transplant", [False, True])
def test_cover_rises_smoothly_to_its_most(is_transplant: bool) -> None:
    days = np.linspace(-5.0, 100.0, 2101)
    cover = ground_cover_frac(days, 60.0, 12.0, is_transplant, 0.85)
    assert np.all(cover[days < 0.0] == 0.0)
    grown = cover[days >= 0.0]
    assert np.all(np.diff(grown) >= 0.0)
    assert np.diff(grown).max() < 0.005
    assert_allclose(grown[-1], 0.85, rtol=1e-12, atol=0)
    assert_allclose(grown[0], 0.05 if is_transplant else 0.0, rtol=1e-12, atol=0)
    before_up = (days >= 0.0) & (days <= 12.0)
    assert np.all((cover[before_up] == 0.0) != is_transplant)


def test_cover_by_planting() -> None:
    found = ground_cover_frac(
        np.array([[30.0], [30.0]]), [[60.0], [25.0]], [[10.0], [5.0]], [[False], [False]], 1.0
    )
    assert found.shape == (2, 1)
    assert found[0, 0] < found[1, 0] == 1.0


def test_water_use_follows_cover() -> None:
    found = basal_crop_coefficient(np.linspace(0.0, 1.0, 11))
    assert found[0] == 0.0
    assert np.all(np.diff(found[1:]) > 0.0)
    assert_allclose(found[-1], 0.70, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: ground_cover_frac(5.0, 10.0, 10.0, False, 1.0), "close_d"),
        (lambda: ground_cover_frac(5.0, np.inf, 10.0, False, 1.0), "close_d"),
        (lambda: ground_cover_frac(5.0, 30.0, 10.0, False, 1.2), "max_cover_frac"),
        (lambda: basal_crop_coefficient(np.nan), "cover_frac"),
        (lambda: emergence_heat_cd([[np.nan]], 2.0, 25.0), "soil_temp_c"),
        (lambda: emergence_heat_cd([[9.0]], 2.0, 25.0, suction_kpa=np.nan), "suction_kpa"),
        (lambda: emergence_heat_cd([[9.0]], 2.0, 25.0, ceiling_c=20.0), "ceiling_c"),
        (lambda: emergence_progress_frac([[9.0]], [10.0], [5.0]), "tested_temp_c"),
        (lambda: emergence_progress_frac([[9.0]], [10.0, 9.0], [5.0, 6.0]), "tested_temp_c"),
        (lambda: emergence_progress_frac([[9.0]], [9.0, 10.0], [5.0, 0.0]), "tested_d"),
        (lambda: emergence_need_cd(0.0, 13.0), "theta_cd"),
        (lambda: emergence_need_cd(100.0, -1.0), "sowing_depth_mm"),
        (lambda: emergence_hour([[np.nan]], 1.0, 0), "progress"),
        (lambda: emergence_hour([[1.0]], 1.0, 1), "sown_hour"),
        (lambda: emergence_hour([[1.0]], 0.0, 0), "need"),
        (lambda: emergence_hour([[1.0]], 1.0, 0, share=0.0), "share"),
    ],
)
def test_wrong_arguments_are_named(call, said: str) -> None:
    with pytest.raises(RangeError, match=said) as caught:
        call()
    assert "\n" not in str(caught.value)


# `harrington_minges_1954`, all printed columns (seen in two copies): days at 0, 5, .. 40 C;
# NO: none came up; None: not tested.
NO = "none"
PRINTED_DAYS: dict[str, tuple[float | str | None, ...]] = {
    "beet": (None, 42, 17, 10, 6, 5, 5, 5, None),
    "cabbage": (None, None, 15, 9, 6, 5, 4, None, None),
    "carrot": (NO, 51, 17, 10, 7, 6, 6, 9, NO),
    "cauliflower": (None, None, 20, 10, 6, 5, 5, None, None),
    "celery": (NO, 41, 16, 12, 7, NO, NO, NO, None),
    "sweet corn": (NO, NO, 22, 12, 7, 4, 4, 3, NO),
    "cucumber": (NO, NO, NO, 13, 6, 4, 3, 3, None),
    "eggplant": (None, None, None, None, 13, 8, 5, None, None),
    "head lettuce": (49, 15, 7, 4, 3, 2, 3, NO, NO),
    "leaf lettuce": (49, 15, 7, 4, 3, 2, 3, NO, NO),
    "melon": (None, None, None, None, 8, 4, 3, None, None),
    "okra": (NO, NO, NO, 27, 17, 13, 7, 6, 7),
    "onion": (136, 31, 13, 7, 5, 4, 4, 13, NO),
    "parsley": (None, None, 29, 17, 14, 13, 12, None, None),
    "parsnip": (172, 57, 27, 19, 14, 15, 32, NO, NO),
    "pea": (None, 36, 14, 9, 8, 6, 6, None, None),
    "pepper": (NO, NO, NO, 25, 13, 8, 8, 9, NO),
    "radish": (NO, 29, 11, 6, 4, 4, 3, None, None),
    "snap bean": (NO, NO, NO, 16, 11, 8, 6, None, NO),  # 35 C: 6 days or none, by copy
    "spinach": (63, 23, 12, 7, 6, 5, 6, NO, NO),
    "tomato": (NO, NO, 43, 14, 8, 6, 6, 9, NO),
    "watermelon": (None, NO, None, None, 12, 5, 4, 3, None),
}
# The clock misses by more than a day and 20 % here; what it says, in days. Sweet corn is late in
# the cold; okra, fitted from 15 to 25 C, is late in heat.
FAR_OFF = {("sweet corn", 10): 34, ("okra", 30): 10, ("okra", 35): 8.5, ("okra", 40): 8.5}


@pytest.mark.parametrize("crop", PRINTED_DAYS)
def test_days_of_the_trial_from_the_parameter_tables(crop: str) -> None:
    """Days to emergence at 13 mm by the clock with the numbers of the parameter tables.

    From 10 C to the fastest column within a day (whole days are printed) or 20 %; at 5 C, edge of
    the fit, within 45 %. Where none came up at 5 C or warmer, the clock never arrives; at 0 C it
    arrives late or never, not sooner than 0.6 of the days printed. In heat past the fastest column
    the clock does not slow down: it may be early there (onion at 35 C, parsnip at 30 C).
    """
    row = {name: value.value for name, value in load_tables().of(crop).items()}
    base_c, best_c = row["emergence_base_c"], row["emergence_best_c"]
    n_checked = 0
    for soil_c, printed_d in zip(range(0, 45, 5), PRINTED_DAYS[crop], strict=True):
        heat_cd = emergence_heat_cd(
            np.full((1, 24 * 400), float(soil_c)),
            base_c,
            best_c,
            row["emergence_most_c"],
            row["emergence_least_c"],
        )
        hour = int(emergence_hour(heat_cd, emergence_need_cd(row["emergence_cd"], 13.0), 0)[0])
        found_d = (hour + 1) / 24.0 if hour >= 0 else np.inf
        if printed_d is None:
            continue
        if printed_d == NO:
            assert hour == -1, soil_c
            continue
        n_checked += 1
        days = float(printed_d)
        if (crop, soil_c) in FAR_OFF:
            assert_allclose(found_d, FAR_OFF[crop, soil_c], rtol=0, atol=0.55)
        elif soil_c == 0:
            assert found_d >= 0.6 * days
        elif soil_c == 5:
            assert_allclose(found_d, days, rtol=0.45, atol=0)
        elif soil_c <= best_c:
            assert abs(found_d - days) <= max(1.0, 0.2 * days), (soil_c, found_d)
        elif hour >= 0:
            assert found_d <= days + 1.0, (soil_c, found_d)
    assert n_checked >= 3
