"""Whole pages and answers of hand-made mornings, rendered from stored records.

The files are written by make_mornings.py, on purpose only.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from scheduler import __version__
from scheduler.adapters.render.answer_json import answer
from scheduler.adapters.render.text import today_text
from scheduler.records import Morning

HERE = Path(__file__).parent


def stored(name: str) -> Morning:
    return TypeAdapter(Morning).validate_json((HERE / f"morning_{name}.json").read_text())


def differences(found: Any, expected: Any, where: str = "") -> list[str]:
    """Paths at which two answers differ; numbers may differ by 1e-5 relative, 1e-9 absolute."""
    if isinstance(found, dict) and isinstance(expected, dict):
        lost = [f"{where}/{key}" for key in found.keys() ^ expected.keys()]
        return lost + [
            fault
            for key in found.keys() & expected.keys()
            for fault in differences(found[key], expected[key], f"{where}/{key}")
        ]
    if isinstance(found, list) and isinstance(expected, list) and len(found) == len(expected):
        return [
            fault
            for place, (one, other) in enumerate(zip(found, expected, strict=True))
            for fault in differences(one, other, f"{where}/{place}")
        ]
    numbers = isinstance(found, int | float) and isinstance(expected, int | float)
    if numbers and not isinstance(found, bool) and not isinstance(expected, bool):
        same = math.isclose(found, expected, rel_tol=1e-5, abs_tol=1e-9)
    else:
        same = found == expected
    return [] if same else [f"{where}: {found!r}, expected {expected!r}"]


@pytest.mark.parametrize("name", ["spring", "wet"])
@pytest.mark.parametrize(("width", "units"), [(80, "metric"), (80, "us"), (40, "metric")])
def test_page(name: str, width: int, units: str) -> None:
    expected = (HERE / f"morning_{name}.{width}.{units}.txt").read_text()
    assert today_text(stored(name), width, units) == expected


@pytest.mark.parametrize("name", ["spring", "wet"])
def test_answer(name: str) -> None:
    expected = json.loads((HERE / f"morning_{name}.answer.json").read_text())
    expected["program_version"] = __version__
    assert differences(answer(stored(name)), expected) == []
