"""The machine-readable review of a season: one object with stable keys and a schema."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from scheduler import __version__
from scheduler.adapters.render.review_words import WEATHER
from scheduler.adapters.weather.sources import credit_lines
from scheduler.records import Farm, SeasonReview

SCHEMA_VERSION = "1"
STAGES = ("thread", "seed_leaf", "true_leaf", "young", "established")


def review_answer(review: SeasonReview) -> dict[str, Any]:
    """The review as plain values that `json.dumps` takes.

    Parameters
    ----------
    review
        The season.

    Returns
    -------
    dict
        Keys and units as the published schema says: SI whatever the farm's display units, moments
        as ISO 8601 text with the farm's offset, chances 0-1, an uncertain quantity as
        `{low, mid, high}`. What is not known is null, so no NaN occurs.
    """
    zone = ZoneInfo(review.farm.place.time_zone)
    found: dict[str, Any] = {
        "schema_version": SCHEMA_VERSION,
        "program_version": __version__,
        "weed_stages": list(STAGES),
    }
    found |= _plain(review, zone)
    sources = [line.removeprefix(WEATHER) for line in review.attribution]
    found["attribution"] = [*dict.fromkeys((*review.attribution, *credit_lines(sources)))]
    return found


def review_json(review: SeasonReview) -> str:
    """The review as JSON text that ends with a line break."""
    return json.dumps(review_answer(review), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def schema() -> dict[str, Any]:
    """The published JSON Schema (draft 2020-12) of the review."""
    from importlib.resources import files

    text = files("scheduler.adapters.render").joinpath("review.schema.json").read_text("utf-8")
    read: dict[str, Any] = json.loads(text)
    return read


def _plain(value: Any, zone: ZoneInfo) -> Any:
    """A record, and all that is in it, as JSON takes it; the farm goes by its name.

    The keys are the names of the records' fields: changing one changes the schema.
    """
    if isinstance(value, Farm):
        return value.name
    if is_dataclass(value) and not isinstance(value, type):
        return {found.name: _plain(getattr(value, found.name), zone) for found in fields(value)}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist(), zone)
    if isinstance(value, Mapping):
        return {str(key): _plain(item, zone) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item, zone) for item in value]
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat(timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float | np.floating):
        return float(f"{value:.6g}") if math.isfinite(value) else None
    if isinstance(value, np.generic):
        return value.item()
    return value
