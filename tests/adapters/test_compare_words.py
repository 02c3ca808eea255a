"""What a grower types for `compare`, and what is wrong with it in one line."""

from __future__ import annotations

from typing import Any

import pytest
from numpy.testing import assert_allclose

from scheduler.adapters.compare_words import AskedSetUp, asked_set_up
from scheduler.errors import UsageError
from scheduler.service.compare import SetUpChange, ToolChange
from tests.golden.make_mornings import farm

CROPS = ("carrot", "head lettuce", "kale")


def asked(**said: Any) -> SetUpChange:
    return asked_set_up(AskedSetUp(**said), farm(), CROPS)


def test_rows_of_a_crop_with_their_spacing() -> None:
    found = asked(rows="Head Lettuce 3", spacing="10 in").rows[0]
    assert (found.crop, found.n_rows) == ("head lettuce", 3)
    assert_allclose(found.row_spacing_mm, 254.0)
    assert asked(rows="carrot 1").rows[0].row_spacing_mm is None


def test_tools_by_kind_by_name_and_as_a_stack() -> None:
    assert asked(tools=("Finger Weeder",)).tools == (ToolChange("Finger Weeder", "finger weeder"),)
    assert asked(tools=("mine = brush weeder",)).tools == (ToolChange("mine", "brush weeder"),)
    stack = asked(tools=("bar=knives+finger weeder",)).tools[0]
    assert (stack.name, stack.kind) == ("bar", "knives + finger weeder")


@pytest.mark.parametrize(
    ("said", "price"), [("1800", 1800.0), ("1,800.50", 1800.5), ("950 USD", 950.0)]
)
def test_prices(said: str, price: float) -> None:
    assert asked(tools=("hilling",), price=said).price == price


@pytest.mark.parametrize(
    ("said", "hours"), [("+2", 2.0), ("-1.5", -1.5), ("2 h", 2.0), ("+3 hours a week", 3.0)]
)
def test_hours(said: str, hours: float) -> None:
    assert asked(hours=said).more_h_a_week == hours


def test_stale_beds_and_tools_left_out_by_name() -> None:
    name = farm().tools[0].name
    found = asked(stale=("CARROT", "kale"), without=(name.upper(),))
    assert (found.stale, found.without) == (("carrot", "kale"), (name,))
    assert asked().is_none


@pytest.mark.parametrize(
    ("said", "part"),
    [
        ({"rows": "carrot"}, "--rows: found 'carrot'; give a crop and a number"),
        ({"rows": "carrott 2", "spacing": "15 in"}, "did you mean 'carrot'"),
        ({"rows": "carrot 2"}, "need a spacing, as: --rows carrot 2 --spacing 15 in"),
        ({"rows": "carrot 2", "spacing": "15 mph"}, "--spacing: "),
        ({"spacing": "15 in"}, "goes with --rows"),
        ({"tools": ("plough",)}, "--tool: found 'plough'; allowed: "),
        ({"tools": ("hilling",), "price": "cheap"}, "--price: found 'cheap'; give an amount"),
        ({"price": "100"}, "--price: what for?"),
        ({"hours": "many"}, "--hours: found 'many'"),
        ({"hours": "+900"}, "--hours: found '+900'"),
        ({"without": ("plough",)}, "--without: found 'plough'"),
        ({"stale": ("plough",)}, "--stale: found 'plough'; allowed: carrot"),
    ],
)
def test_what_is_wrong_is_one_line(said: dict[str, Any], part: str) -> None:
    with pytest.raises(UsageError) as error:
        asked(**said)
    assert part in str(error.value)
    assert "\n" not in str(error.value)
