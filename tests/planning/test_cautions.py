"""Heat index against printed values, and the day's cautions."""

from __future__ import annotations

import re

import numpy as np
import pytest

from scheduler.errors import RangeError
from scheduler.planning.cautions import (
    CAUTION_SHEET,
    FLAME_CAUTION,
    HEAT_ADVICE,
    HEAT_BANDS,
    MACHINE_CAUTION,
    NO_FLAME_CAUTION,
    THUNDER_CAUTION,
    cautions_for,
    heat_band,
    heat_index_c,
    heat_regression_f,
    noise_limit_min,
)
from scheduler.records import HeatBands

# US National Weather Service, heat index table in F as printed by its Tulsa office; seen.
# The tolerance is that of a printed whole degree, plus 0.1 for the rounding of the coefficients.
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
    (80, 100, 87),
    (84, 95, 100),
]


def index_f(temp_f: float, humidity_pct: float) -> float:
    temp_c = np.array((temp_f - 32.0) / 1.8)
    return float(heat_index_c(temp_c, np.array(humidity_pct / 100.0))) * 1.8 + 32.0


@pytest.mark.parametrize(("temp_f", "humidity_pct", "printed_f"), PRINTED)
def test_regression_gives_the_printed_table(
    temp_f: float, humidity_pct: float, printed_f: float
) -> None:
    found = float(heat_regression_f(np.array(float(temp_f)), np.array(float(humidity_pct))))
    assert abs(found - printed_f) <= 0.6


def test_reference_value_of_another_program() -> None:
    """MetPy's documentation prints 121.901204 F for 90 F and 90 %; seen to two decimals."""
    assert abs(index_f(90.0, 90.0) - 121.90) <= 0.005


def test_adjusted_corners() -> None:
    """The service's two adjustments, worked by hand from its page.

    95 F, 10 %: regression 90.2 less (13 - 10)/4 sqrt(17/17) = 0.75. 80 F, 100 %: regression 87.2
    plus (100 - 85)/10 (87 - 80)/5 = 2.1.
    """
    dry = float(heat_regression_f(np.array(95.0), np.array(10.0)))
    assert abs(dry - index_f(95.0, 10.0) - 0.75) <= 1e-9
    humid = float(heat_regression_f(np.array(80.0), np.array(100.0)))
    assert abs(index_f(80.0, 100.0) - humid - 2.1) <= 1e-9


def test_mild_air_takes_the_simple_form() -> None:
    """70 F, 50 %: 0.5 (70 + 61 + 2.4 + 4.7) = 69.05, mean with 70 is 69.525."""
    assert abs(index_f(70.0, 50.0) - 69.525) <= 1e-9


def test_cold_air_is_its_own_index() -> None:
    assert abs(index_f(30.0, 80.0) - 30.0) <= 1e-9


def test_missing_stays_missing() -> None:
    found = heat_index_c(np.array([np.nan, 30.0, 2.0]), np.array([0.5, np.nan, np.nan]))
    assert np.all(np.isnan(found))


def test_percent_is_refused() -> None:
    with pytest.raises(RangeError, match="fraction, not percent"):
        heat_index_c(np.array([30.0]), np.array([55.0]))


def test_bands_begin_where_the_card_says() -> None:
    edges_f = np.array([79.9, 80, 89.9, 90, 102.9, 103, 124.9, 125])
    assert heat_band((edges_f - 32) / 1.8).tolist() == [0, 1, 1, 2, 2, 3, 3, 4]
    assert HEAT_BANDS[4] == "extreme danger"
    assert heat_band(np.array([np.nan])).tolist() == [0]


OLDER_CARD = HeatBands(tuple((f - 32.0) / 1.8 for f in (80.0, 90.0, 105.0, 130.0)))
"""The weather service's older card; seen."""


def test_bands_of_another_card() -> None:
    edges_f = np.array([102.9, 103, 104.9, 105, 125, 129.9, 130])
    edges_c = (edges_f - 32) / 1.8
    assert heat_band(edges_c, OLDER_CARD.from_c).tolist() == [2, 2, 2, 3, 3, 3, 4]
    assert heat_band(edges_c).tolist() == [2, 3, 3, 3, 4, 4, 4]


@pytest.mark.parametrize("from_c", [(27.0, 32.0, 39.0), (27.0, 32.0, 32.0, 52.0)])
def test_bands_that_make_no_ladder_are_refused(from_c: tuple[float, ...]) -> None:
    with pytest.raises(RangeError, match="allowed 4 temperatures that rise"):
        heat_band(np.array([30.0]), from_c)


# Minutes a day at a level, NIOSH 1998 (98-126) table 1-1 as reprinted by an engineering reference
# site; seen. Printed in hours, minutes and seconds: to half of the last unit printed; the table
# cuts 91.6 s to 91 s in places, so a whole unit below it is allowed.
NOISE = [
    (80, 25 * 60 + 24, 1.0),
    (82, 16 * 60, 1.0),
    (86, 6 * 60 + 21, 1.0),
    (89, 3 * 60 + 10, 1.0),
    (95, 47 + 37 / 60, 1 / 60),
    (98, 23 + 49 / 60, 1 / 60),
    (103, 7.5, 1 / 60),
    (106, 3.75, 1 / 60),
    (109, 1 + 53 / 60, 1 / 60),
    (116, 22 / 60, 1 / 60),
]


@pytest.mark.parametrize(("level_dba", "printed_min", "unit_min"), NOISE)
def test_noise_gives_the_printed_minutes(
    level_dba: float, printed_min: float, unit_min: float
) -> None:
    found = float(noise_limit_min(np.array(float(level_dba))))
    assert printed_min - 0.5 * unit_min <= found < printed_min + unit_min


def test_noise_outside_the_table_is_refused() -> None:
    with pytest.raises(RangeError, match="allowed 80 to 140"):
        noise_limit_min(np.array([85.0, 141.0]))
    assert np.isnan(noise_limit_min(np.array([np.nan]))[0])


def day(temp_c: list[float], humidity_frac: float = 0.5) -> tuple[str, ...]:
    hours = np.arange(8, 8 + len(temp_c))
    return cautions_for(hours, np.array(temp_c), np.full(len(temp_c), humidity_frac))


def test_a_mild_day_has_machine_and_thunder_only() -> None:
    assert day([12.0, 15.0, 18.0]) == (MACHINE_CAUTION, THUNDER_CAUTION)
    for words in ("manual", "disengage", "stop the engine", "nobody near", "wet slope", "ears"):
        assert words in MACHINE_CAUTION


def test_heat_is_told_by_the_hour() -> None:
    """32 C and 50 % is 89.6 F and 94 F of index: extreme caution; 24 C is no band."""
    found = day([24.0, 32.0, 32.0, 24.0])[-1]
    assert found == (
        "Heat index up to 34 C: extreme caution 09:00-11:00; cooler 08:00-09:00 and 11:00-12:00."
    )


def test_sun_allowance_narrows_the_cooler_hours() -> None:
    """29 C and 50 % is an index of 86 F: a caution, and with 7 F of sun no cooler hour."""
    assert "cooler" not in day([29.0, 29.0])[-1]


def test_the_farm_may_have_other_bands_and_another_allowance() -> None:
    """32 C and 50 % is an index of 94 F or 34.5 C; 24 C is 75 F and no band by any card."""
    hours, humidity = np.arange(8, 12), np.full(4, 0.5)
    temp = np.array([24.0, 32.0, 32.0, 24.0])
    strict = HeatBands((24.0, 30.0, 34.0, 50.0), sun_allowance_c=0.0)
    found = cautions_for(hours, temp, humidity, bands=strict)[-1]
    assert found == "Heat index up to 34 C: danger 09:00-11:00; cooler 08:00-09:00 and 11:00-12:00."
    in_sun = HeatBands((24.0, 30.0, 34.0, 50.0), sun_allowance_c=8.0)
    assert "cooler" not in cautions_for(hours, temp, humidity, bands=in_sun)[-1]


def test_unknown_heat_is_told() -> None:
    assert day([float("nan")] * 3)[-1].startswith("Heat index not known")
    assert day([20.0, float("nan"), 21.0])[-1] == "Heat index not known for 1 h of the day."


@pytest.mark.parametrize(
    ("has_flame", "has_read", "expected"),
    [
        (False, False, set()),
        (False, True, set()),
        (True, False, {NO_FLAME_CAUTION}),
        (True, True, {FLAME_CAUTION}),
    ],
)
def test_flame_needs_the_fire_rules(has_flame: bool, has_read: bool, expected: set[str]) -> None:
    found = cautions_for(
        np.arange(2),
        np.full(2, 15.0),
        np.full(2, 0.6),
        has_flame=has_flame,
        has_read_fire_rules=has_read,
    )
    assert {text for text in found if "lame" in text} == expected


def test_never_says_safe() -> None:
    texts = [text for _, text in CAUTION_SHEET] + list(day([35.0] * 4, 0.8)) + list(HEAT_ADVICE)
    assert not any(re.search(r"\bsafe\b", text, re.IGNORECASE) for text in texts)


@pytest.mark.parametrize(
    "words",
    [
        # design: the machine's manual, tools, bystanders, slope, hearing and eyes, heat, thunder
        "manual rules", "isengage", "stop the engine before touching", "No bystanders",
        "wet or slippery slope is a no", "Protect ears", "Glasses", "heat index", "Thunder",
        "30 min after the last thunder", "farm file says that local fire rules were read",
        # notes on each hazard
        "fire ban", "dry mulch", "row cover", "wind", "look back", "UV index", "icks", "posture",
        "alone", "engine off and cold", "Reverse", "wall", "105 F", "130 F", "new people",
        # who overrules
        "weather service", "safety office", "fire authority", "poison centre", "overrule",
    ],
)  # fmt: skip
def test_the_sheet_names_each_hazard(words: str) -> None:
    sheet = " ".join(f"{topic}: {text}" for topic, text in CAUTION_SHEET)
    assert words in sheet


def test_unequal_arrays_are_refused() -> None:
    with pytest.raises(RangeError, match="equal length"):
        cautions_for(np.arange(3), np.zeros(2), np.zeros(3))
