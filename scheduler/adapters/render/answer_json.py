"""The machine-readable answer of one morning: one object with stable keys and a schema."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from scheduler import __version__
from scheduler.adapters.weather.sources import credit_lines
from scheduler.records import (
    Action,
    BedAnswer,
    CrustAnswer,
    DoubtedEntry,
    FlushAnswer,
    Morning,
    RainAhead,
    Range,
)

SCHEMA_VERSION = "1"

WEED_KEYS = ("thread_m2", "seed_leaf_m2", "true_leaf_m2", "young_m2", "established_m2")
MINUTES_KEYS = ("saved", "cost_of_waiting", "by_hand")


def answer(morning: Morning) -> dict[str, Any]:
    """The answer as plain values that `json.dumps` takes.

    Parameters
    ----------
    morning
        The answer of the service.

    Returns
    -------
    dict
        Keys and units as the published schema says: SI whatever the farm's display units, moments
        as ISO 8601 text with the farm's offset, chances 0-1, an uncertain quantity as
        `{low, mid, high}`. What is not known is null, so no NaN occurs.
    """
    zone = ZoneInfo(morning.farm.place.time_zone)
    return {
        "schema_version": SCHEMA_VERSION,
        "program_version": __version__,
        "farm": morning.farm.name,
        "as_of": _moment(morning.as_of, zone),
        "inputs": _plain(morning.inputs, zone),
        "ensemble": {
            "soil_members": morning.n_soil_members,
            "particles": morning.n_particles,
            "seed": morning.farm.seed,
        },
        "attribution": [
            *morning.attribution,
            *credit_lines(morning.inputs.get("weather_sources", ())),
        ],
        "weakest_inputs": list(morning.weakest_inputs),
        "weather": {
            "last_observed": _moment(morning.weather.last_observed, zone),
            "source": morning.weather.source,
            "age_h": _number(morning.weather.age_h),
            "forecast_issued": _moment(morning.weather.forecast_issued, zone),
            "notes": list(morning.weather.notes),
        },
        "rain_ahead": None if morning.rain_ahead is None else _rain(morning.rain_ahead, zone),
        "plan": {
            "hours_available": _number(morning.hours_available),
            "minutes_planned": _number(morning.minutes_planned),
            "setup_changes": morning.setup_changes,
            "machine_price": _number(morning.farm.work.machine_price),
        },
        "beds": [_bed(bed, zone) for bed in morning.beds],
        "not_reached": [_bed(bed, zone) for bed in morning.not_reached],
        "cautions": list(morning.cautions),
        **({} if not morning.doubts else {"doubts": [_doubt(d, zone) for d in morning.doubts]}),
    }


def answer_text(morning: Morning) -> str:
    """The answer as JSON text that ends with a line break."""
    return json.dumps(answer(morning), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def schema() -> dict[str, Any]:
    """The published JSON Schema (draft 2020-12) of the answer."""
    from importlib.resources import files

    text = files("scheduler.adapters.render").joinpath("answer.schema.json").read_text("utf-8")
    read: dict[str, Any] = json.loads(text)
    return read


def _bed(bed: BedAnswer, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "rank": bed.rank,
        "bed": bed.bed,
        "part": bed.part,
        "crop": bed.crop,
        "verdict": bed.verdict,
        "because": bed.because or None,
        "until": _moment(bed.until, zone),
        "sure": _number(bed.sure),
        **(
            {} if bed.sure_of_members is None else {"sure_of_members": _number(bed.sure_of_members)}
        ),
        "action": None if bed.action is None else _action(bed.action, zone),
        "soil": {
            "workable_now": _number(bed.soil.workable_now),
            "workable_from": _moment(bed.soil.workable_from, zone),
            "surface_rel_water": _number(bed.soil.surface_rel_water),
            "surface_temp_c": _number(bed.soil.surface_temp_c),
        },
        "crust": None if bed.crust is None else _crust(bed.crust, zone),
        "flush": None if bed.flush is None else _flush(bed.flush, zone),
        "weeds": {key: _range((bed.weeds or {}).get(key)) for key in WEED_KEYS},
        "killable_frac": _range(bed.killable_frac),
        "minutes": {key: _range((bed.minutes or {}).get(key)) for key in MINUTES_KEYS},
        "last_good_at": _moment(bed.last_good_at, zone),
        "last_call_on": None if bed.last_call_on is None else bed.last_call_on.isoformat(),
        "plan": bed.plan or None,
        "why": list(bed.why),
        "look": None
        if bed.look is None
        else {
            "ask": bed.look.get("ask"),
            "where": bed.look.get("where"),
            "gain_min": _number(bed.look.get("gain_min")),
        },
    }


def _doubt(doubt: DoubtedEntry, zone: ZoneInfo) -> dict[str, Any]:
    event = doubt.event
    return {
        "event_id": event.event_id,
        "kind": event.kind,
        "bed": event.bed,
        "part": event.part,
        "happened_at": _moment(event.happened_at, zone),
        "why": doubt.why,
    }


def _rain(rain: RainAhead, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "from_at": _moment(rain.from_at, zone),
        "chance": _number(rain.chance_frac),
        "rain_mm": _range(rain.rain_mm),
    }


def _action(action: Action, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "tool": action.tool,
        "setup": action.setup,
        "depth_mm": _number(action.depth_mm),
        "start": _moment(action.start, zone),
        "end": _moment(action.end, zone),
        "work_min": _number(action.work_min),
        "setup_min": _number(action.setup_min),
        "note": action.note or None,
    }


def _crust(crust: CrustAnswer, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "index_now": _number(crust.index_now),
        "expected_at": _moment(crust.expected_at, zone),
        "chance": _number(crust.chance),
        "break_by": _moment(crust.break_by, zone),
    }


def _flush(flush: FlushAnswer, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "opened_at": _moment(flush.opened_at, zone),
        "opened_by": flush.opened_by,
        "gdd_since_opening": _number(flush.gdd_since_opening),
        "thread_from": _moment(flush.thread_from, zone),
        "thread_most_at": _moment(flush.thread_most_at, zone),
        "last_good_at": _moment(flush.last_good_at, zone),
        "to_come_frac": _range(flush.to_come_frac),
        "next_expected_at": _moment(flush.next_expected_at, zone),
    }


def _moment(moment: datetime | None, zone: ZoneInfo) -> str | None:
    return None if moment is None else moment.astimezone(zone).isoformat(timespec="seconds")


def _number(value: float | None) -> float | None:
    """A finite number to six significant figures, else None."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{float(value):.6g}")


def _range(span: Range | None) -> dict[str, float | None] | None:
    if span is None:
        return None
    low, mid, high = _number(span.low), _number(span.mid), _number(span.high)
    if low is None or mid is None or high is None:
        return None
    return {"low": low, "mid": mid, "high": high}


def _plain(value: Any, zone: ZoneInfo) -> Any:
    """A value of the inputs as JSON takes it; arrays and tuples become lists."""
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, Mapping):
        return {str(key): _plain(item, zone) for key, item in value.items()}
    if isinstance(value, datetime):
        return _moment(value, zone)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int):
        return int(value)
    if hasattr(value, "tolist"):
        return _plain(value.tolist(), zone)
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, list | tuple | set | frozenset):
        items = sorted(value) if isinstance(value, set | frozenset) else value
        return [_plain(item, zone) for item in items]
    return str(value)
