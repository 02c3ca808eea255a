"""What an answer rests on: entries, weather and plantings at one moment, before anything is run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from hashlib import sha256

import numpy as np

from scheduler import __version__
from scheduler.errors import UsageError, WeatherMissingError
from scheduler.planning.ensemble import N_SOIL_MEMBERS, ShiftPrior, Sky, member_skies
from scheduler.planning.looks import Evidence
from scheduler.planning.plantings import plantings_at, surface_table
from scheduler.ports import Journal, WeatherStore
from scheduler.records import (
    HOURLY_VARIABLES,
    Event,
    Farm,
    FloatArray,
    Kind,
    Planting,
    WeatherSeries,
    WeatherValue,
)
from scheduler.service.settings import crop_traits, spread
from scheduler.service.weather import past_years, weather_on_record

PAST_DAYS = 75
STORED_DAYS = 45
READING_DAYS = 60
HORIZON_DAYS = 10
MARKED_DAYS = (-7, -3, -2, -1, 0, 1, 2, 3)  # from now: from there a changed run goes on
_LEAST_PAST_DAYS = 3


@dataclass(frozen=True)
class Basis:
    """What an answer rests on, before anything is computed.

    `events` are entries that stand, up to now; `acts` are what is thought of for now or later, in
    order: ground and weeds feel them, but they teach nothing. `lessons` are those of looks before
    `looks_from`, `thought` those of squeeze tests before `feels_from`, by soil.
    """

    farm: Farm
    now: datetime
    n_members: int
    events: tuple[Event, ...]
    acts: tuple[Event, ...]
    series: WeatherSeries
    sky: Sky
    plantings: tuple[Planting, ...]
    surfaces: Mapping[str, tuple[str, FloatArray]]
    lessons: tuple[Evidence, ...] = ()
    looks_from: datetime | None = None
    thought: Mapping[str, ShiftPrior] = field(default_factory=dict)
    feels_from: datetime | None = None

    @property
    def stored(self) -> int:
        """First hour of which the profiles are kept."""
        return max(0, self.sky.now_hour - 24 * STORED_DAYS)

    @property
    def done(self) -> tuple[Event, ...]:
        """Entries, and what is thought of for this very moment."""
        return (*self.events, *(e for e in self.acts if e.happened_at <= self.now))

    @property
    def planned(self) -> tuple[Event, ...]:
        """What is thought of for later."""
        return tuple(e for e in self.acts if e.happened_at > self.now)

    def key(self) -> str:
        """A digest of all that the computed state depends on, but for the parameter tables."""
        series, sky = self.series, self.sky
        said: list[object] = [__version__, self.farm, self.now.astimezone(UTC), self.n_members]
        said += [
            self.events,
            self.acts,
            [(e.bed, e.soil, e.years, e.mean.tolist(), e.precision.tolist()) for e in self.lessons],
            self.looks_from,
            sorted(self.thought.items(), key=lambda item: item[0]),
            self.feels_from,
            series.rain_totals,
            series.notes,
            series.fills,
            series.sources,
        ]
        said += [series.last_observed_at, series.forecast_issued_at]
        said += [sky.start_at, sky.now_hour, sky.has_forecast, sky.n_past_years]
        arrays = [getattr(series, name) for name in HOURLY_VARIABLES]
        arrays += [series.kinds[name] for name in sorted(series.kinds)]
        arrays += [sky.forcing.table(), sky.is_rain_known]
        arrays += [self.surfaces[name][1] for name in sorted(self.surfaces)]
        digest = sha256("\n".join(repr(one) for one in said).encode())
        for values in arrays:
            digest.update(np.ascontiguousarray(values).data)
        return digest.hexdigest()


def basis_of(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
    *,
    n_members: int = N_SOIL_MEMBERS,
    more: Sequence[Event] = (),
    acts: Sequence[Event] = (),
) -> Basis:
    """Read what an answer rests on.

    Parameters
    ----------
    farm, journal, weather, now, n_members
        As in `situation`.
    more : sequence of Event
        Entries taken as if they had been logged, up to `now`.
    acts : sequence of Event
        What is thought of for `now` or later.

    Returns
    -------
    Basis
        Entries, weather, plantings and what was done to them.

    Raises
    ------
    WeatherMissingError, UsageError
        As in `situation`.
    """
    if now.tzinfo is None:
        raise UsageError(f"now: found {now.isoformat()} without a time zone; give one")
    hour_now = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    logged = (e for e in journal.events(now) if e.happened_at <= now)
    events = tuple(sorted((*logged, *more), key=lambda e: e.happened_at))
    later = tuple(sorted(acts, key=lambda e: e.happened_at))
    years = past_years(farm, events, weather, now, hour_now, timedelta(days=HORIZON_DAYS))
    start_at = hour_now - timedelta(days=PAST_DAYS)
    end_at = hour_now + timedelta(days=HORIZON_DAYS)
    values = weather.weather_values(now, start_at, end_at)
    own = [e for e in events if e.kind in ("rain", "temp")]
    first = first_hour(values, own, hour_now, start_at)
    series = weather_on_record(
        farm, own, weather, now, first, end_at, values=values, n_past_years=len(years)
    )
    check_is_known(series, hour_now)
    sky = member_skies(series, hour_now, farm.place, spread(), farm.seed, n_members, years)
    plantings = plantings_at(farm, events)
    return Basis(
        farm, now, n_members, events, later, series, sky, plantings,
        surfaces_of(plantings, (*events, *later), series),
    )  # fmt: skip


def surfaces_of(
    plantings: Sequence[Planting], events: Sequence[Event], series: WeatherSeries
) -> dict[str, tuple[str, FloatArray]]:
    """Soil and surface table of each planting, by what was done to it.

    Parameters
    ----------
    plantings : sequence of Planting
        The farm's.
    events : sequence of Event
        Entries, and what is thought of, in order.
    series : WeatherSeries
        For the hours.

    Returns
    -------
    dict
        By planting key.
    """
    crops = crop_traits()
    return {
        p.key: (p.bed.soil, surface_table(p, events, crops, series.start_at, series.n_hours))
        for p in plantings
    }


def first_hour(
    values: Sequence[WeatherValue], own: Sequence[Event], hour_now: datetime, start_at: datetime
) -> datetime:
    """The first hour of weather on record that an answer can go by.

    Parameters
    ----------
    values : sequence of WeatherValue
        What is on record.
    own : sequence of Event
        Entries of rain and temperature.
    hour_now, start_at : datetime
        The hour of the answer, and the earliest that is asked for.

    Returns
    -------
    datetime
        A full hour.

    Raises
    ------
    WeatherMissingError
        If it is less than three days before the answer.
    """
    begins = [v.start_at for v in values if not v.suspect] + [e.happened_at for e in own]
    if not begins:
        raise WeatherMissingError(
            f"weather: nothing on record between {start_at:%d %b %Y} and {hour_now:%d %b %Y}; "
            "import a file (weather import) or keep a log (log rain, log temp)"
        )
    first = max(start_at, min(begins).replace(minute=0, second=0, microsecond=0))
    if hour_now - first < timedelta(days=_LEAST_PAST_DAYS):
        raise WeatherMissingError(
            f"weather: the record begins {first:%d %b %Y %H:%M} UTC, the answer needs at least "
            f"{_LEAST_PAST_DAYS} days before {hour_now:%d %b %Y}; import older weather"
        )
    return first


def check_is_known(series: WeatherSeries, hour_now: datetime) -> None:
    """Refuse a past without any temperature or rain.

    Parameters
    ----------
    series : WeatherSeries
        The weather of the answer.
    hour_now : datetime
        Its hour.

    Raises
    ------
    WeatherMissingError
        If no hour of either is known.
    """
    past = slice(0, int((hour_now - series.start_at) // timedelta(hours=1)))
    for name, label in (("air_temp_c", "temperature"), ("rain_mm", "rain")):
        is_known = series.kinds[name][past] >= Kind.FORECAST
        if not is_known.any():
            raise WeatherMissingError(
                f"weather: no {label} on record since {series.start_at:%d %b %Y}; import a file "
                f"with {label} or log it by hand"
            )
