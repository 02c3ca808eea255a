"""What the service needs from the world, as protocols."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Protocol

from scheduler.records import Event, Farm, Forecast, WeatherValue


class Journal(Protocol):
    """Entries of the farm, filtered by when they became known."""

    def events(self, known_at: datetime) -> tuple[Event, ...]:
        """Entries recorded at or before `known_at`, corrections applied, in order of happening."""
        ...


class WeatherStore(Protocol):
    """Weather values and forecasts, filtered by when they became known."""

    def weather_values(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Sequence[WeatherValue]:
        """Values that touch [start_at, end_at), known at `known_at`; newest revision only."""
        ...

    def latest_forecast(self, known_at: datetime) -> Forecast | None:
        """The forecast issued last among those known at `known_at`."""
        ...

    def forecasts_since(self, known_at: datetime, issued_from: datetime) -> Sequence[Forecast]:
        """Forecasts issued at or after `issued_from`, known at `known_at`, in order of issue."""
        ...


class Lists(Protocol):
    """Lists as issued, so that `done 3` means what the grower read."""

    def write_list(self, as_of: datetime, recorded_at: datetime, answer: Mapping[str, Any]) -> int:
        """Store one issued list and return its number."""
        ...

    def latest_list(self, known_at: datetime) -> Mapping[str, Any] | None:
        """The list issued last at or before `known_at`."""
        ...

    def list_between(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Mapping[str, Any] | None:
        """The list issued last at or before `known_at` of those made for [start_at, end_at)."""
        ...


class LessonStore(Protocol):
    """What looks and squeeze tests of former months taught, so that it is worked out once."""

    def get(self, key: str) -> Mapping[str, Any] | None:
        """What was put under a key; None where nothing was, or it cannot be read."""
        ...

    def put(self, key: str, found: Mapping[str, Any]) -> None:
        """Keep plain values under a key, if that can be done."""
        ...

    def weather_marks(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Mapping[str, str]:
        """By UTC day, as 2013-05-01: another text wherever other values are known of it."""
        ...


class Farms(Protocol):
    """The farm file, and its versions."""

    def farm(self) -> Farm:
        """The farm as described now."""
        ...


class Progress(Protocol):
    """Told how far a long computation has come."""

    def __call__(self, message: str, done_frac: float) -> None:
        """Report `message` and the share that is done."""
        ...
