"""One entry of the journal in the grower's words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.adapters.quantities import (
    area_text,
    density_text,
    depth_text,
    duration_text,
    length_text,
    rain_text,
    spacing_text,
    temperature_text,
)
from scheduler.adapters.render.phrases import WEEKDAYS
from scheduler.records import Event


def event_words(event: Event, units: str, zone: ZoneInfo) -> str:
    """One entry in the grower's words: kind, what was given, the note.

    Parameters
    ----------
    event
        The entry.
    units
        "us" or "metric".
    zone
        The farm's clock, for spans.
    """
    data = event.data
    words = [str(data[key]) for key in ("crop", "tool") if key in data]
    words += look_words(data, units)
    if data.get("is_trace"):
        words.append("a trace")
    for key, form in _DATA_FORMS.items():
        if key in data and not (key == "rain_mm" and data.get("is_trace")):
            words.append(form(float(data[key]), units))
    if "from_m" in data:
        stretch = [length_text(float(data[key]), units) for key in ("from_m", "to_m")]
        words.append(f"from {stretch[0]} to {stretch[1]}")
    if "setup" in data:
        words.append(f"set-up {data['setup']}")
    if "setup_min" in data:
        words.append(f"set-up took {duration_text(float(data['setup_min']))}")
    if "worked" in data:
        done = f"worked {data.get('how', '')}" if data["worked"] else "not worked"
        words.append(f"{done}: {data['found']}" if "found" in data else done.strip())
    elif "how" in data:
        words.append(f"worked {data['how']}")
    if "feel" in data:
        words.append("sticky" if data["feel"] == "smears" else str(data["feel"]))
    if data.get("nothing") and "area_m2" not in data:
        words.append("nothing seen")
    if "start_at" in data:
        span = [
            datetime.fromisoformat(data[key]).astimezone(zone) for key in ("start_at", "end_at")
        ]
        first, last = (
            f"{WEEKDAYS[moment.weekday()]} {moment.day} {moment:%H:%M}" for moment in span
        )
        words.append(f"from {first} to {last}")
    head = event.kind if event.part is None else f"{event.kind} {event.part}"
    said = f"{head}: {', '.join(words)}" if words else head
    return f"{said} ({event.note})" if event.note else said


def look_words(data: Mapping[str, Any], units: str) -> list[str]:
    """What a look found, but for weeds per m2: counts and where, a first sight, survivors."""
    counts = [
        f"{data[key]:g} {one if data[key] == 1 else more}"
        for key, (one, more) in _SPROUTS.items()
        if key in data
    ]
    if counts and "area_m2" not in data:
        counts.append("as scratched up")
    if "area_m2" in data:
        found = counts.pop() if counts else "nothing seen"
        counts.append(f"{found} in {area_text(float(data['area_m2']), units)}")
    if "quadrat" in data:
        counts.append(f"quadrat {data['quadrat']}")
    if "first" in data:
        counts.append(f"first {data['first']}")
    if "amount" in data:
        counts.append(f"{data['amount']} weeds")
    if "left_n" in data:
        counts.append(f"{data['left_n']} of {data.get('of_n', '?')} survived")
    return counts


_SPROUTS: Mapping[str, tuple[str, str]] = {
    "n_thread": ("thread", "threads"),
    "n_seed_leaf": ("seed leaf", "seed leaves"),
    "n_true_leaf": ("true leaf", "true leaves"),
    "n_young": ("young", "young"),
    "n_established": ("established", "established"),
}

_DATA_FORMS: Mapping[str, Callable[[float, str], str]] = {
    "rain_mm": rain_text,
    "water_mm": rain_text,
    "air_temp_min_c": lambda value, units: f"min {temperature_text(value, units)}",
    "air_temp_max_c": lambda value, units: f"max {temperature_text(value, units)}",
    "n_rows": lambda value, units: f"{value:.0f} rows",
    "row_spacing_mm": lambda value, units: f"{spacing_text(value, units)} apart",
    "depth_mm": lambda value, units: f"{depth_text(value, units)} deep",
    "work_min": lambda value, units: duration_text(value),
    "thread": lambda value, units: f"threads {density_text(value, units)}",
    "seed_leaf": lambda value, units: f"seed leaves {density_text(value, units)}",
    "true_leaf": lambda value, units: f"true leaves {density_text(value, units)}",
    "young": lambda value, units: f"young {density_text(value, units)}",
    "established": lambda value, units: f"established {density_text(value, units)}",
}
