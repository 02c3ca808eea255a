"""A season under another set-up as one object."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import Any

from scheduler import __version__
from scheduler.records import Range
from scheduler.service.compare import Comparison

SCHEMA_VERSION = "1"


def compare_answer(found: Comparison) -> dict[str, Any]:
    """The comparison as plain values that `json.dumps` takes.

    Parameters
    ----------
    found
        The comparison.

    Returns
    -------
    dict
        SI; ranges are 10, 50 and 90 % over the truths, `change` is paired by truth; what is never
        paid back is null.
    """
    c = found.compared
    money = c.money
    return {
        "schema_version": SCHEMA_VERSION,
        "program_version": __version__,
        "farm": found.farm.name,
        "year": found.year,
        "change": asdict(found.change),
        "tools": [asdict(tool) for tool in found.tools],
        "stale": [asdict(stale) for stale in found.stale],
        "rule": found.by,
        "n_truths": c.n_truths,
        "n_saving": c.n_saving,
        "figures": {
            name: {
                "before": _range(figure.before),
                "after": _range(figure.after),
                "change": _range(figure.change),
            }
            for name, figure in c.figures.items()
        },
        "saved_min": _range(c.saved_min),
        "row_m": {"before": c.row_m[0], "after": c.row_m[1]},
        "row_m_of": [
            {"crop": crop, "before": before, "after": after}
            for crop, before, after in found.row_m_of
        ],
        "area_m2": c.area_m2,
        "hours_of_plan_h": {"before": c.hours_of_plan_h[0], "after": c.hours_of_plan_h[1]},
        "passes_by_tool": {"before": dict(c.n_by_tool[0]), "after": dict(c.n_by_tool[1])},
        "money": None
        if money is None
        else {
            "currency": money.currency,
            "hourly_value": money.hourly_value,
            "saved": _range(money.saved),
            "price": money.price,
            "seasons_to_pay_back": _range(money.seasons_to_pay_back),
            "least_area_m2": _range(money.least_area_m2),
            "worth_of_row_metre": _range(money.worth_of_row_metre),
        },
        "left_out": list(found.left_out),
    }


def compare_json(found: Comparison) -> str:
    """The comparison as text.

    Parameters
    ----------
    found
        The comparison.
    """
    return json.dumps(compare_answer(found), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _range(span: Range | None) -> dict[str, float | None] | None:
    if span is None:
        return None
    ends = {"low": span.low, "mid": span.mid, "high": span.high}
    return {name: end if math.isfinite(end) else None for name, end in ends.items()}
