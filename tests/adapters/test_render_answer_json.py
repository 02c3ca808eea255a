"""The machine-readable answer against its published schema and its own promises."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from pydantic import TypeAdapter

from scheduler.adapters.render.answer_json import answer, answer_text, schema
from scheduler.adapters.render.phrases import REASON_WORDS, VERDICTS
from scheduler.records import Morning, RainAhead, Range, SoilAnswer

GOLDEN = Path(__file__).parents[1] / "golden"


@pytest.fixture(params=["spring", "wet"])
def morning(request: pytest.FixtureRequest) -> Morning:
    text = (GOLDEN / f"morning_{request.param}.json").read_text()
    return TypeAdapter(Morning).validate_json(text)


def faults(value: Any) -> list[str]:
    checker = Draft202012Validator(schema(), format_checker=Draft202012Validator.FORMAT_CHECKER)
    return [error.message for error in checker.iter_errors(value)]


def test_schema_is_itself_a_schema() -> None:
    Draft202012Validator.check_schema(schema())


def test_answer_fits_the_schema(morning: Morning) -> None:
    assert faults(json.loads(answer_text(morning))) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("beds", 0, "verdict"), "maybe"),
        (("beds", 0, "because"), "mood"),
        (("beds", 0, "sure"), 1.2),
        (("beds", 0, "action", "start"), "2013-05-14T07:00:00"),
        (("beds", 0, "action", "note"), 3),
        (("beds", 0, "last_call_on"), "2013-05-20T00:00:00-04:00"),
        (("beds", 0, "plan"), ["stale bed"]),
        (("beds", 0, "minutes"), None),
        (("schema_version",), "2"),
        (("surplus",), 1),
    ],
)
def test_schema_refuses(path: tuple[Any, ...], value: Any) -> None:
    text = (GOLDEN / "morning_spring.json").read_text()
    spoiled = answer(TypeAdapter(Morning).validate_json(text))
    place: Any = spoiled
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    assert faults(spoiled)


def test_keys_are_those_of_the_design(morning: Morning) -> None:
    """The list of keys; one that goes or changes its meaning is a new schema version."""
    whole = answer(morning)
    assert list(whole) == [
        "schema_version",
        "program_version",
        "farm",
        "as_of",
        "inputs",
        "ensemble",
        "attribution",
        "weakest_inputs",
        "weather",
        "rain_ahead",
        "plan",
        "beds",
        "not_reached",
        "cautions",
    ]
    assert list(whole["beds"][0]) == [
        "rank",
        "bed",
        "part",
        "crop",
        "verdict",
        "because",
        "until",
        "sure",
        "action",
        "soil",
        "crust",
        "flush",
        "weeds",
        "killable_frac",
        "minutes",
        "last_good_at",
        "last_call_on",
        "plan",
        "why",
        "look",
    ]


@pytest.mark.parametrize("key", ["last_call_on", "plan"])
def test_new_keys_are_required(morning: Morning, key: str) -> None:
    whole = answer(morning)
    del whole["beds"][0][key]
    assert faults(whole) == [f"{key!r} is a required property"]


def test_rain_ahead_is_told_or_null(morning: Morning) -> None:
    assert answer(replace(morning, rain_ahead=None))["rain_ahead"] is None
    zone = ZoneInfo(morning.farm.place.time_zone)
    from_at = datetime(2013, 5, 14, 18, tzinfo=zone)
    ahead = RainAhead(from_at.astimezone(UTC), 0.72, Range(0.0, 4.0, 12.0))
    whole = answer(replace(morning, rain_ahead=ahead))
    assert faults(whole) == []
    assert whole["rain_ahead"] == {
        "from_at": "2013-05-14T18:00:00-04:00",
        "chance": 0.72,
        "rain_mm": {"low": 0.0, "mid": 4.0, "high": 12.0},
    }
    dry = answer(replace(morning, rain_ahead=replace(ahead, from_at=None)))
    assert faults(dry) == []
    assert dry["rain_ahead"]["from_at"] is None


def test_what_to_remember_what_is_planned_and_the_last_call() -> None:
    text = (GOLDEN / "morning_spring.json").read_text()
    beds = {bed["bed"]: bed for bed in answer(TypeAdapter(Morning).validate_json(text))["beds"]}
    assert beds["B4"]["action"]["note"] == "last time here: fair, one notch closer"
    assert beds["B5"]["action"]["note"] is None
    assert beds["A2"]["plan"] == "stale bed for beet 20 May: kill the flush 14-16 May, shallow"
    assert beds["B4"]["plan"] is None
    assert beds["A5"]["last_call_on"] == "2013-05-18"
    assert beds["B4"]["last_call_on"] is None


def test_schema_and_pages_know_the_same_codes() -> None:
    bed = schema()["$defs"]["bed"]["properties"]
    assert set(bed["because"]["enum"]) == {*REASON_WORDS, None}
    assert tuple(bed["verdict"]["enum"]) == VERDICTS


def test_moments_carry_the_farms_offset(morning: Morning) -> None:
    """New York in May is four hours behind UTC."""
    text = answer(morning)["as_of"]
    assert text == "2013-05-14T05:30:00-04:00"
    assert datetime.fromisoformat(text) == morning.as_of


def test_what_is_not_a_number_becomes_null(morning: Morning) -> None:
    nan = float("nan")
    bed = replace(
        morning.beds[0],
        sure=nan,
        soil=SoilAnswer(nan, None, np.float64(0.123456789), float("inf")),
        weeds={"thread_m2": Range(1.0, nan, 3.0), "young_m2": Range(1.0, 2.0, 3.0)},
        minutes={"saved": Range(20.0, 40.0, 90.0)},
    )
    inputs = {"share": nan, "grid": np.array([1.0, np.nan]), "at": morning.as_of, "n": 3}
    spoiled = replace(morning, beds=(bed,), inputs=inputs)
    text = answer_text(spoiled)
    assert "NaN" not in text
    assert "Infinity" not in text
    whole = json.loads(text)
    assert faults(whole) == []
    found = whole["beds"][0]
    assert found["sure"] is None
    assert found["soil"] == {
        "workable_now": None,
        "workable_from": None,
        "surface_rel_water": 0.123457,
        "surface_temp_c": None,
    }
    assert found["weeds"]["thread_m2"] is None
    assert found["weeds"]["young_m2"] == {"low": 1.0, "mid": 2.0, "high": 3.0}
    assert found["minutes"]["saved"] == {"low": 20.0, "mid": 40.0, "high": 90.0}
    assert whole["inputs"] == {
        "share": None,
        "grid": [1.0, None],
        "at": "2013-05-14T05:30:00-04:00",
        "n": 3,
    }


def test_display_units_do_not_touch_the_answer(morning: Morning) -> None:
    us = replace(morning, farm=replace(morning.farm, units="us"))
    assert answer(us) == answer(morning)


def test_nothing_of_the_morning_is_lost(morning: Morning) -> None:
    whole = answer(morning)
    assert [bed["bed"] for bed in whole["beds"]] == [bed.bed for bed in morning.beds]
    assert [bed["bed"] for bed in whole["not_reached"]] == [bed.bed for bed in morning.not_reached]
    assert [bed["why"] for bed in whole["beds"]] == [list(bed.why) for bed in morning.beds]
