"""The program's own tables: complete, consistent, and derived values that follow their formulas."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.models.hydraulics import saxton_rawls, theta_at_kpa
from scheduler.records import TEXTURES, TOOL_KINDS
from scheduler.reference import Tables, load_tables

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def tables() -> Tables:
    return load_tables()


def test_every_texture_tool_and_guild_is_complete(tables: Tables) -> None:
    assert tables.texture_names() == TEXTURES
    assert tables.tool_kinds() == TOOL_KINDS
    assert tables.guild_names() == ("cool", "spring", "warm")
    for names in (TEXTURES, TOOL_KINDS):
        wanted = set(tables.of(names[0]))
        for name in names:
            assert set(tables.of(name)) == wanted, name
    shared = set(tables.of("cool"))
    assert set(tables.of("spring")) == shared
    assert set(tables.of("warm")) == shared | {"season_gate_c"}
    assert sum(tables.number(g, "mix_frac") for g in tables.guild_names()) == pytest.approx(1.0)


def test_every_crop_has_what_a_planting_needs(tables: Tables) -> None:
    crops = tables.crop_names()
    assert len(crops) == 38
    for crop in crops:
        row = tables.of(crop)
        assert {"can_close", "sowing_depth_mm"} <= set(row), crop
        assert ("close_d" in row) == bool(row["can_close"].value), crop
        heat = {"emergence_base_c", "emergence_cd", "emergence_best_c"}
        assert heat <= set(row) or not heat & set(row), crop
        if "emergence_cd" in row:
            assert row["emergence_base_c"].value < row["emergence_best_c"].value, crop
            assert row["emergence_least_c"].value < row["emergence_best_c"].value, crop
            assert row["emergence_best_c"].value <= row["emergence_most_c"].value, crop


def test_grades_fit_their_sources(tables: Tables) -> None:
    for row in tables.parameters.values():
        if row.source == "whitethread":
            assert row.grade in "DE", row
        if row.source == "common-practice":
            assert row.grade == "C", row
        if row.seen == "memory":
            assert row.grade in "CDE", row


def test_every_source_named_in_the_program_exists(tables: Tables) -> None:
    named: dict[str, str] = {}
    for path in sorted((ROOT / "scheduler").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        for key in re.findall(r"`([a-z]+(?:_[a-z0-9]+)*_(?:18|19|20)\d\d)`", text):
            named[key] = str(path.relative_to(ROOT))
    assert len(named) >= 6
    missing = {key: path for key, path in named.items() if key not in tables.sources}
    assert not missing


def test_texture_fractions_lie_in_their_class(tables: Tables) -> None:
    for name in TEXTURES:
        sand, clay = tables.number(name, "sand_frac"), tables.number(name, "clay_frac")
        assert 0 <= sand + clay <= 1
        saxton_rawls(sand, clay, 2.5)  # within the range of the regression


def test_stages_of_evaporation_follow_their_formulas(tables: Tables) -> None:
    for name in TEXTURES:
        sand, clay = tables.number(name, "sand_frac"), tables.number(name, "clay_frac")
        slope = 4.165 + 2.456 * sand - 1.703 * clay - 4.0 * sand**2
        first = 9.0 * max(slope - 3.0, 0.0) ** 0.42
        assert_allclose(tables.number(name, "stage_2_mm_sqrt_d"), slope, rtol=0, atol=0.0051)
        assert_allclose(tables.number(name, "stage_1_mm"), first, rtol=0, atol=0.051)


def test_working_begins_just_below_the_drained_state(tables: Tables) -> None:
    for name in TEXTURES:
        working = tables.number(name, "working_kpa")
        drained = tables.number(name, "drained_kpa")
        ceiling = tables.number(name, "ceiling_kpa")
        assert ceiling <= working
        if name == "sand":
            assert working == ceiling <= drained
        else:
            assert 1.49 <= working / drained <= 2.01, name


def test_working_thresholds_are_below_what_bare_spring_soil_holds(tables: Tables) -> None:
    """The silt loam at Bondville held 0.322-0.416 m3/m3 all spring of 1998 and was tilled.

    Source: NOAA/ARL flux site Bondville 1998, 5 cm (also in tests/measured).
    """
    silt_loam = saxton_rawls(
        tables.number("silt loam", "sand_frac"), tables.number("silt loam", "clay_frac"), 2.5
    )
    theta = theta_at_kpa(tables.number("silt loam", "working_kpa"), silt_loam)
    assert 0.30 < theta < 0.416


# Days from sowing at 13 mm to emergence, Harrington and Minges 1954, by soil temperature in C.
DAYS = {
    "carrot": {5: 51, 10: 17, 15: 10, 20: 7, 25: 6},
    "beet": {5: 42, 10: 17, 15: 10, 20: 6, 25: 5},
    "onion": {5: 31, 10: 13, 15: 7, 20: 5, 25: 4},
    "spinach": {5: 23, 10: 12, 15: 7, 20: 6, 25: 5},
    "pea": {5: 36, 10: 14, 15: 9, 20: 8, 25: 6},
    "parsnip": {5: 57, 10: 27, 15: 19, 20: 14},
    "radish": {5: 29, 10: 11, 15: 6, 20: 4, 25: 4},
    "cabbage": {10: 15, 15: 9, 20: 6, 25: 5},
    "tomato": {10: 43, 15: 14, 20: 8, 25: 6},
    "pepper": {15: 25, 20: 13, 25: 8},
    "cucumber": {15: 13, 20: 6, 25: 4},
    "sweet corn": {10: 22, 15: 12, 20: 7, 25: 4},
    "snap bean": {15: 16, 20: 11, 25: 8},
    "summer squash": {20: 15, 25: 6, 30: 4, 35: 3},
}


@pytest.mark.parametrize("crop", DAYS)
def test_emergence_follows_from_the_printed_days(tables: Tables, crop: str) -> None:
    temps, days = np.array(list(DAYS[crop])), np.array(list(DAYS[crop].values()))
    slope, start = np.polyfit(temps, 1 / days, 1)
    assert_allclose(tables.number(crop, "emergence_base_c"), -start / slope, rtol=0, atol=0.2)
    assert_allclose(tables.number(crop, "emergence_cd"), 1 / slope, rtol=0.03, atol=0)


def test_other_derived_values(tables: Tables) -> None:
    assert_allclose(tables.number("flush", "size_ln_sd"), np.log(3), rtol=0.01, atol=0)
    assert_allclose(tables.number("soil member", "ln_crust_energy_sd"), np.log(2), rtol=0.01)
    # spread of a flush: quantiles at base suction sd 0.4 give t90/t50 = 2.05 in moist soil
    sd = tables.number("flush", "base_suction_sd_frac")
    assert_allclose(1 / (1 - 1.2816 * sd), 2.05, rtol=0.02, atol=0)


def test_words_of_growers_find_their_crop(tables: Tables) -> None:
    assert tables.subject_of("Zucchini") == "summer squash"
    assert tables.subject_of("Bok Choy") == "kohlrabi"
    assert tables.subject_of("flamer") == "flame"
    for subject in tables.aliases.values():
        assert tables.of(subject)
