"""A small made farm on a spring morning, and what is asked of it. Everything here is invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from scheduler import service
from scheduler.planning.whatif import Changes, RainToCome, WhatIf
from scheduler.records import Bed, BedAnswer, Event
from scheduler.service.situation import Kept
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

BEDS = (
    Bed("S1", 18.0, 0.75, "sand"),
    Bed("S2", 18.0, 0.75, "sand"),
    Bed("L1", 18.0, 0.75, "silt"),
    Bed("L2", 18.0, 0.75, "silt"),
)
FARM = made_farm(BEDS)
NOW = local(2013, 5, 20, 5, 30)
START = local(2013, 4, 20)
PAST_H = int((NOW.replace(minute=0) - START) / timedelta(hours=1))
N_MEMBERS = 8


def shower(at: datetime, mm: float, hours: int = 6) -> list[tuple[datetime, float]]:
    """Rain spread evenly over some hours."""
    return [(at + timedelta(hours=i), mm / hours) for i in range(hours)]


def spring() -> MadeStore:
    """A dry week after showers: a flush that a pass twelve days ago opened stands on every bed."""
    rain = [
        *shower(local(2013, 4, 24, 2), 14.0),
        *shower(local(2013, 5, 4, 2), 16.0),
        *shower(local(2013, 5, 12, 2), 9.0),
    ]
    store = MadeStore(values=observed(START, made_hours(START, PAST_H, rain=rain)))
    ahead = made_hours(
        NOW.replace(minute=0), 240, mean_c=18.0, swing_c=3.0, humidity=0.8,
        rain=shower(local(2013, 5, 24, 2), 5.0),
    )  # fmt: skip
    store.forecasts.append(forecast(NOW - timedelta(minutes=25), ahead))
    for bed in BEDS:
        store.log("prep", START + timedelta(days=2, hours=14), bed.name, depth_mm=90.0)
        store.log("pass", NOW - timedelta(days=12, hours=-8), bed.name, tool="tines", depth_mm=18.0)
    return store


@lru_cache(maxsize=1)
def kept() -> Kept:
    """The situation of the morning."""
    store = spring()
    return service.situation(FARM, store, store, NOW, n_members=N_MEMBERS).kept


def ask(changes: Changes, store: MadeStore | None = None) -> WhatIf:
    """What changes, gone on from the morning's situation."""
    of = spring() if store is None else store
    return service.what_if(FARM, of, of, NOW, changes, n_members=N_MEMBERS, kept=kept())


def rain(mm: float, at: datetime, hours: float = 3.0) -> Changes:
    """Rain to come."""
    return Changes(rain=(RainToCome(mm, at, at + timedelta(hours=hours)),))


def act(kind: str, bed: str, at: datetime = NOW, **data: Any) -> Event:
    """Something thought of; a pass goes with the tines if nothing is said."""
    if kind == "pass":
        data = {"tool": "tines", "depth_mm": 18.0, **data}
    return Event(f"what-if {kind} {bed} {at.isoformat()}", kind, at, NOW, bed, None, data)


def fell(mm: float, start_at: datetime, end_at: datetime) -> Event:
    """Rain as `log rain` writes it."""
    span = {"start_at": start_at.isoformat(), "end_at": end_at.isoformat()}
    return Event("what-if rain", "rain", end_at, NOW, None, None, {"rain_mm": mm, **span})


def both(*asked: Changes) -> Changes:
    """Several changes at once."""
    whole = Changes()
    for one in asked:
        whole = replace(
            whole,
            rain=whole.rain + one.rain,
            is_dry=whole.is_dry or one.is_dry,
            logged=whole.logged + one.logged,
            acts=whole.acts + one.acts,
            hours_h=whole.hours_h if one.hours_h is None else one.hours_h,
            is_skipped=whole.is_skipped or one.is_skipped,
        )
    return whole


def lines(found: WhatIf, which: str = "after") -> dict[str, BedAnswer]:
    """Answers by bed."""
    morning = getattr(found, which)
    return {line.bed: line for line in (*morning.beds, *morning.not_reached)}
