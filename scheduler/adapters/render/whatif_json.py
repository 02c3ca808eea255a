"""A what-if as one object: what was asked, both lists whole, and what differs by planting."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from scheduler import __version__
from scheduler.adapters.render.answer_json import answer
from scheduler.planning.whatif import PlantingChange, Totals, WhatIf
from scheduler.records import Event, Range

SCHEMA_VERSION = "1"


def whatif_answer(found: WhatIf, lines_to_log: Sequence[str] = ()) -> dict[str, Any]:
    """The answer as plain values that `json.dumps` takes.

    Parameters
    ----------
    found
        Both lists.
    lines_to_log
        Commands that would write down what has happened already.

    Returns
    -------
    dict
        Keys as the published schema says; `before` and `after` are answers by that of the list.
        SI, moments in ISO 8601 with the farm's offset. Of a planting, `changed` tells which keys
        differ at all.
    """
    zone = ZoneInfo(found.before.farm.place.time_zone)
    before, after = answer(found.before), answer(found.after)
    lines = [
        {(line["bed"], line["part"]): line for line in whole["beds"] + whole["not_reached"]}
        for whole in (before, after)
    ]
    changes = found.changes
    return {
        "schema_version": SCHEMA_VERSION,
        "program_version": __version__,
        "farm": found.before.farm.name,
        "as_of": before["as_of"],
        "asked": {
            "rain": [
                {
                    "rain_mm": rain.rain_mm,
                    "start": _moment(rain.start_at, zone),
                    "end": _moment(rain.end_at, zone),
                }
                for rain in changes.rain
            ],
            "no_rain": changes.is_dry,
            "as_if_logged": [_event(event, zone) for event in changes.logged],
            "planned": [_event(event, zone) for event in changes.acts],
            "hours_h": changes.hours_h,
            "skip_today": changes.is_skipped,
        },
        "totals": {"before": _totals(found.before_totals), "after": _totals(found.after_totals)},
        "hand_change_min": _range(found.hand_change_min),
        "hand_until": _moment(found.hand_until, zone),
        "plantings": [_planting(p, *lines) for p in found.plantings],
        "notes": list(found.notes),
        "to_log": list(lines_to_log),
        "before": before,
        "after": after,
    }


def whatif_json(found: WhatIf, lines_to_log: Sequence[str] = ()) -> str:
    """The answer as JSON text that ends with a line break."""
    whole = whatif_answer(found, lines_to_log)
    return json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def schema() -> dict[str, Any]:
    """The published JSON Schema (draft 2020-12) of a what-if; it refers to that of the answer."""
    from importlib.resources import files

    text = files("scheduler.adapters.render").joinpath("whatif.schema.json").read_text("utf-8")
    read: dict[str, Any] = json.loads(text)
    return read


def _planting(
    p: PlantingChange,
    before: dict[tuple[str, str | None], dict[str, Any]],
    after: dict[tuple[str, str | None], dict[str, Any]],
) -> dict[str, Any]:
    key = (p.before.bed, p.before.part)
    was, then = before[key], after[key]
    return {
        "bed": p.before.bed,
        "part": p.before.part,
        "changed": sorted(name for name in was if was[name] != then[name]),
        "verdict": {"before": was["verdict"], "after": then["verdict"]},
        "because": {"before": was["because"], "after": then["because"]},
        "hand_change_min": _range(p.hand_change_min),
    }


def _totals(totals: Totals) -> dict[str, float]:
    return {
        "lines": totals.n_lines,
        "minutes": _number(totals.minutes),
        "saved_min": _number(totals.saved_min),
        "not_reached": totals.n_not_reached,
        "waiting_costs_min": _number(totals.waiting_min),
    }


def _event(event: Event, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "kind": event.kind,
        "bed": event.bed,
        "part": event.part,
        "at": _moment(event.happened_at, zone),
        "data": dict(event.data),
    }


def _range(span: Range) -> dict[str, float]:
    return {name: _number(getattr(span, name)) for name in ("low", "mid", "high")}


def _moment(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat(timespec="seconds")


def _number(value: float) -> float:
    return float(f"{float(value):.6g}")
