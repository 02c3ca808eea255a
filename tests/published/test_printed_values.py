"""Values printed in the literature, computed by our own functions.

Each CSV file of this folder is a table of such values: function, inputs (JSON), field of the result
(empty for a plain number), value as printed, unit, source (a key of reference/sources.toml),
locator, seen. The tolerance is half a unit of the last printed digit; a wider one stands in
`tolerance` with its `reason`. A value from memory names a second check, which must exist.
"""

from __future__ import annotations

import csv
import importlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scheduler.reference import load_tables

FOLDER = Path(__file__).parent
COLUMNS = (
    "function",
    "inputs",
    "field",
    "value",
    "unit",
    "source",
    "locator",
    "seen",
    "tolerance",
    "reason",
    "second_check",
)


def _rows() -> list[Any]:
    rows = []
    for path in sorted(FOLDER.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            reader = csv.DictReader(file)
            if tuple(reader.fieldnames or ()) != COLUMNS:
                continue
            for row in reader:
                name = f"{path.stem}-{reader.line_num}-{row['function'].rsplit('.', 1)[1]}"
                rows.append(pytest.param(row, id=name))
    return rows


def _tolerance(row: dict[str, str]) -> float:
    if row["tolerance"]:
        return float(row["tolerance"])
    digits = row["value"].partition(".")[2]
    return 0.5 * 10.0 ** -len(digits) + 1e-9


@pytest.mark.parametrize("row", _rows())
def test_value_as_printed(row: dict[str, str]) -> None:
    module, _, name = row["function"].rpartition(".")
    result = getattr(importlib.import_module(module), name)(**json.loads(row["inputs"]))
    if row["field"]:
        result = getattr(result, row["field"])
    np.testing.assert_allclose(
        np.ravel(result), float(row["value"]), rtol=0.0, atol=_tolerance(row)
    )


def test_table_keeps_its_rules() -> None:
    sources = load_tables().sources
    root = FOLDER.parents[1]
    rows = [param.values[0] for param in _rows()]
    assert len(rows) > 80
    for row in rows:
        assert row["source"] in sources, row
        assert row["locator"], row
        assert row["seen"] in ("seen", "memory"), row
        assert bool(row["tolerance"]) == bool(row["reason"]), row
        if row["seen"] == "memory":
            path, _, test = row["second_check"].partition("::")
            assert f"def {test}(" in (root / path).read_text(encoding="utf-8"), row
