"""A small made farm and made weather, for scenes. Everything here is invented."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time, timedelta
from typing import Any

import numpy as np

from scheduler.records import (
    Bed,
    Event,
    Farm,
    Forecast,
    Kind,
    Place,
    Soil,
    Tool,
    WeatherValue,
    WorkPlan,
)

PLACE = Place(41.0, -74.0, 10.0, "America/New_York")
TOOLS = (
    Tool("tines", "tine weeder", 18.0, 0.9, width_m=0.8, travel="in the paths", setup_min=3.0),
    Tool("sweeps", "sweeps", 25.0, 0.9, width_m=0.8, travel="in the paths", setup_min=3.0),
    Tool("hoe", "wheel hoe", 20.0, 0.7, width_m=0.2, travel="by hand", setup_min=0.0),
)
_IN_ROWS = {"rows": (2, 3), "row_spacings_mm": (250.0, 375.0), "travel": "in the paths"}
FINGERS = Tool("fingers", "finger weeder", 20.0, 0.8, width_m=0.8, setup_min=3.0, **_IN_ROWS)
BAR = replace(FINGERS, name="bar", kind="knives", carries=("finger weeder",))
FLAMER = Tool("flamer", "flame", 0.0, 0.65, width_m=0.75, travel="by hand", setup_min=5.0)


def local(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    """A moment of New York summer time."""
    return datetime(year, month, day, hour, minute, tzinfo=UTC) + timedelta(hours=4)


def made_farm(beds: Sequence[Bed], tools: Sequence[Tool] = TOOLS) -> Farm:
    """A farm with three soils and hours every day."""
    soils = {
        "sand": Soil("sand", "sandy loam", None, None, 2.5),
        "middle": Soil("middle", "loam", None, None, 3.0),
        "silt": Soil("silt", "silt loam", None, None, 3.0),
    }
    work = WorkPlan(time(7), time(19), (6.0,) * 7)
    return Farm("made farm", PLACE, "metric", 5, soils, tuple(beds), tuple(tools), work)


@dataclass
class MadeStore:
    """Journal and weather in memory, filtered by when an entry became known."""

    entries: list[Event] = field(default_factory=list)
    values: list[WeatherValue] = field(default_factory=list)
    forecasts: list[Forecast] = field(default_factory=list)

    def events(self, known_at: datetime) -> tuple[Event, ...]:
        known = [e for e in self.entries if e.recorded_at <= known_at]
        gone = {e.supersedes for e in known}
        kept = [e for e in known if e.event_id not in gone and e.kind != "undo"]
        return tuple(sorted(kept, key=lambda e: (e.happened_at, e.event_id)))

    def weather_values(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> list[WeatherValue]:
        return [
            v
            for v in self.values
            if v.known_at <= known_at and v.start_at < end_at and v.end_at > start_at
        ]

    def latest_forecast(self, known_at: datetime) -> Forecast | None:
        known = [f for f in self.forecasts if f.known_at <= known_at]
        return max(known, key=lambda f: f.issued_at, default=None)

    def forecasts_since(self, known_at: datetime, issued_from: datetime) -> list[Forecast]:
        known = [f for f in self.forecasts if f.known_at <= known_at and f.issued_at >= issued_from]
        return sorted(known, key=lambda f: f.issued_at)

    def log(self, kind: str, at: datetime, bed: str | None = None, **data: Any) -> Event:
        """Add an entry recorded an hour after it happened, or at `recorded_at`."""
        recorded = data.pop("recorded_at", at + timedelta(hours=1))
        event = Event(f"e{len(self.entries):04d}", kind, at, recorded, bed, None, data)
        self.entries.append(event)
        return event


def made_hours(
    start_at: datetime,
    n_hours: int,
    *,
    mean_c: float = 16.0,
    swing_c: float = 6.0,
    sun: float = 1.0,
    humidity: float = 0.6,
    rain: Iterable[tuple[datetime, float]] = (),
) -> dict[str, np.ndarray]:
    """Hourly weather with a daily course; `rain` gives an hour and millimetres."""
    hour = (np.arange(n_hours) + start_at.hour - 4.0) % 24.0
    temp = mean_c + swing_c * np.sin((hour - 9.0) / 12.0 * np.pi)
    solar = np.maximum(0.0, np.sin((hour - 5.0) / 14.0 * np.pi)) * 2.6 * sun
    rain_mm = np.zeros(n_hours)
    for at, mm in rain:
        index = int((at - start_at) // timedelta(hours=1))
        if 0 <= index < n_hours:
            rain_mm[index] += mm
    return {
        "air_temp_c": temp,
        "humidity_frac": np.full(n_hours, humidity),
        "wind_2m_m_s": np.full(n_hours, 2.0),
        "solar_mj_m2": solar,
        "rain_mm": rain_mm,
    }


def observed(start_at: datetime, hours: dict[str, np.ndarray]) -> list[WeatherValue]:
    """Station values, each known half an hour after its hour."""
    result = []
    for name, values in hours.items():
        for i, value in enumerate(values):
            begin = start_at + timedelta(hours=i)
            end = begin + timedelta(hours=1)
            known = end + timedelta(minutes=20)
            result.append(
                WeatherValue(name, begin, end, float(value), Kind.OBSERVED, "station", known)
            )
    return result


def forecast(issued_at: datetime, hours: dict[str, np.ndarray]) -> Forecast:
    """A forecast from the full hour of its issue on."""
    start = issued_at.replace(minute=0)
    return Forecast("made forecast", issued_at, issued_at, start, hours)
