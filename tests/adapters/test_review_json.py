"""The machine-readable review of a season."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import datetime

import jsonschema
import numpy as np
import pytest

from scheduler.adapters.render.review_json import review_answer, review_json, schema
from scheduler.records import Range, SeasonReview
from tests.adapters.review_made import bare_season, big_season, half_season, small_season


@pytest.mark.parametrize("season", [small_season, big_season, half_season, bare_season])
def test_it_keeps_to_its_schema(season: Callable[[], SeasonReview]) -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    found = json.loads(review_json(season()))
    checker = jsonschema.FormatChecker()
    jsonschema.Draft202012Validator(schema(), format_checker=checker).validate(found)


def test_the_schema_names_every_field_of_the_record() -> None:
    asked = set(schema()["properties"])
    assert {found.name for found in fields(SeasonReview)} <= asked
    assert asked - {found.name for found in fields(SeasonReview)} == {
        "schema_version",
        "program_version",
        "weed_stages",
    }
    wrong = review_answer(small_season()) | {"more": 1}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(wrong, schema())


def test_figures_are_those_of_the_review() -> None:
    review = small_season()
    found = review_answer(review)
    assert found["farm"] == review.farm.name
    assert found["from_on"] == "2013-03-19"
    first, second = found["windows"][:2]
    assert first["ripe_at"] == "2013-05-06T10:00:00-04:00"
    assert datetime.fromisoformat(first["ripe_at"]) == review.windows[0].ripe_at
    assert second["cost_min"]["mid"] == 95.0
    assert second["reason"] == "never_fit"
    assert first["reason"] is None
    assert found["strips"][0]["crops"][1] == [110, 150, None]
    np.testing.assert_allclose(
        found["strips"][2]["weeds_m2"], review.strips[2].weeds_m2, rtol=1e-5, atol=1e-9
    )
    assert found["totals"]["reason"][0]["name"] == review.totals["reason"][0].name


def test_what_is_not_known_is_null() -> None:
    review = small_season()
    rain = review.rain_mm.copy()
    rain[3] = np.nan
    nan = float("nan")
    windows = (replace(review.windows[0], cost_min=Range(nan, nan, nan)), *review.windows[1:])
    text = review_json(replace(review, rain_mm=rain, windows=windows))
    assert "NaN" not in text
    found = json.loads(text)
    assert found["rain_mm"][3] is None
    assert found["windows"][0]["cost_min"] == {"low": None, "mid": None, "high": None}
    jsonschema.validate(found, schema())
