"""The machine-readable what-if against its published schema."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from scheduler.adapters.render import answer_json
from scheduler.adapters.render.whatif_json import schema, whatif_answer, whatif_json
from scheduler.planning.whatif import Changes, WhatIf
from scheduler.records import Event
from tests.golden.make_mornings import at
from tests.golden.make_what_ifs import before, fell, made, skip, storm


def planned() -> WhatIf:
    """A pass of a part of a bed tomorrow, and five hours today."""
    data = {"tool": "tine weeder", "depth_mm": 15.0}
    act = Event("e", "pass", at(15, 10), at(14, 5), "B2", "north", data)
    return made(Changes(acts=(act,), hours_h=5.0), before(), {})


def faults(value: Any) -> list[str]:
    answer = Resource.from_contents(answer_json.schema())
    checker = Draft202012Validator(
        schema(),
        registry=Registry().with_resource(answer_json.schema()["$id"], answer),
        format_checker=Draft202012Validator.FORMAT_CHECKER,
    )
    return [error.message for error in checker.iter_errors(value)]


def test_the_schema_is_itself_a_schema() -> None:
    Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("make", [fell, storm, skip, planned])
def test_it_keeps_to_its_schema(make: Callable[[], WhatIf]) -> None:
    assert faults(json.loads(whatif_json(make(), ["whitethread log rain 25 mm last night"]))) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("surplus",), 1),
        (("schema_version",), "2"),
        (("asked", "hours_h"), -1.0),
        (("asked", "rain", 0, "start"), "2013-05-14T20:00:00"),
        (("totals", "after", "lines"), None),
        (("plantings", 0, "verdict", "after"), "maybe"),
        (("plantings", 0, "because", "after"), "mood"),
        (("plantings", 0, "hand_change_min"), None),
        (("before", "beds", 0, "verdict"), "maybe"),
        (("after",), {}),
    ],
)
def test_the_schema_refuses(path: tuple[Any, ...], value: Any) -> None:
    spoiled = whatif_answer(storm())
    place: Any = spoiled
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    assert faults(spoiled)


def test_changed_names_keys_of_the_answers() -> None:
    found = whatif_answer(storm())
    names = set(answer_json.schema()["$defs"]["bed"]["properties"])
    changed = [set(p["changed"]) for p in found["plantings"]]
    assert any(changed)
    assert set().union(*changed) <= names
    same = made(Changes(), replace(before(), n_soil_members=2), {})
    assert not any(p["changed"] for p in whatif_answer(same)["plantings"])
