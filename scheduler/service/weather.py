"""The weather of a farm at a moment: the hours around it, past years, its age and what that means.

Three ages matter. Readings older than a day are told. A forecast older than 36 hours says little of
today. Rain read more than five days ago leaves the water of the soil unknown: then nothing is
ranked, and the answer says what it still knows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.planning.day import Day, local_moment
from scheduler.planning.ensemble import ENOUGH_PAST_YEARS
from scheduler.planning.forcing import NOTED_AGE_H, WeatherAges, hourly_series, weather_ages
from scheduler.planning.order import Draft
from scheduler.ports import WeatherStore
from scheduler.records import Event, Farm, Kind, WeatherSeries, WeatherValue

MOST_PAST_YEARS = 10
PAST_YEAR_SPARE = timedelta(days=4)  # before and after the days that stand in
KNOWN_SHARE = 0.9  # of the hours of a past year, of rain and of temperature
TOLD_AHEAD = timedelta(days=5)  # a forecast that ends sooner leaves much to what stands in
FELT_WITHIN = timedelta(hours=24)
_NAMES = {"rain_h": "rain", "temp_h": "temperature"}


def weather_on_record(
    farm: Farm,
    events: Sequence[Event],
    weather: WeatherStore,
    now: datetime,
    start_at: datetime,
    end_at: datetime,
    *,
    values: Sequence[WeatherValue] | None = None,
    n_past_years: int | None = None,
) -> WeatherSeries:
    """The hourly weather of [start_at, end_at) as it is known at `now`.

    Parameters
    ----------
    farm : Farm
        Its place.
    events : sequence of Event
        Entries that stand; rain and temperature are read.
    weather : WeatherStore
        Values and forecasts.
    now : datetime
        The moment of the answer, aware.
    start_at, end_at : datetime
        The span, on full hours.
    values : sequence of WeatherValue, optional
        What the store says of the span, where that was read before.
    n_past_years : int, optional
        Past years on record, to be told where they are too few; None: not told.

    Returns
    -------
    WeatherSeries
        As `hourly_series` makes it, forecasts of then in hours that nobody observed.
    """
    series = hourly_series(
        weather.weather_values(now, start_at, end_at) if values is None else values,
        [e for e in events if e.kind in ("rain", "temp")],
        weather.forecasts_since(now, start_at),
        start_at,
        end_at,
        now,
        farm.place,
    )
    if n_past_years is None or n_past_years >= ENOUGH_PAST_YEARS:
        return series
    found = {0: "no past years on record", 1: "1 past year on record"}.get(
        n_past_years, f"{n_past_years} past years on record"
    )
    text = f"{found}: beyond the forecast the days before now stand in"
    is_short = not _is_foreseen(series, now)
    return replace(
        series,
        notes=(*series.notes, text) if is_short else series.notes,
        fills=series.fills if is_short else (*series.fills, text),
    )


def _is_foreseen(series: WeatherSeries, now: datetime) -> bool:
    """Whether rain is forecast for the days that a list looks at."""
    at = int((now + TOLD_AHEAD - series.start_at) // timedelta(hours=1))
    return at < series.n_hours and series.kinds["rain_mm"][at] == Kind.FORECAST


def past_years(
    farm: Farm,
    events: Sequence[Event],
    weather: WeatherStore,
    now: datetime,
    hour_now: datetime,
    ahead: timedelta,
) -> tuple[WeatherSeries, ...]:
    """The same dates of past years, where rain and temperature of them are on record.

    Parameters
    ----------
    farm : Farm
        Its place.
    events : sequence of Event
        Entries that stand.
    weather : WeatherStore
        Values.
    now, hour_now : datetime
        The moment of the answer, and its full hour.
    ahead : timedelta
        How far the answer looks ahead.

    Returns
    -------
    tuple of WeatherSeries
        One for each of the last ten years that is known well enough, newest first.
    """
    own = [e for e in events if e.kind in ("rain", "temp")]
    found = []
    for back in range(1, MOST_PAST_YEARS + 1):
        middle = hour_now - timedelta(days=round(365.25 * back))
        start_at, end_at = middle - PAST_YEAR_SPARE, middle + ahead + PAST_YEAR_SPARE
        values = weather.weather_values(now, start_at, end_at)
        then = [e for e in own if start_at < e.happened_at < end_at + timedelta(days=1)]
        if not values and not then:
            continue
        series = hourly_series(values, then, None, start_at, end_at, now, farm.place)
        known = [
            float(np.mean(series.kinds[name] >= Kind.MODEL)) for name in ("rain_mm", "air_temp_c")
        ]
        if min(known) >= KNOWN_SHARE:
            found.append(series)
    return tuple(found)


def aged_notes(series: WeatherSeries, now: datetime) -> tuple[str, ...]:
    """The notes of a series, those of its age first and with what they mean for the list.

    Parameters
    ----------
    series : WeatherSeries
        As `hourly_series` makes it.
    now : datetime
        The moment of the answer.

    Returns
    -------
    tuple of str
        Notes.
    """
    ages = weather_ages(series, now)
    first: list[str] = []
    if ages.is_soil_unknown:
        first.append(
            f"{_last_read(ages)}: no pass is ranked; log the rain, or feel a bed and log that"
        )
        first.append("still known: crops and weeds by warmth, and what the hand can do")
    if ages.is_forecast_old and ages.forecast_h is not None:
        first.append(
            f"the forecast is {_days(ages.forecast_h)} old: today's rain and drying are a guess; "
            "soil and weeds count as they were read"
        )
    is_said = ages.is_forecast_old
    rest = [n for n in series.notes if not (is_said and n.startswith("the forecast is "))]
    return (*first, *rest)


def _last_read(ages: WeatherAges) -> str:
    """When the rain was last read, as a clause."""
    if ages.rain_h is None:
        return "no rain was ever read"
    return f"rain was last read {_days(ages.rain_h)} ago"


def aged_inputs(series: WeatherSeries, now: datetime) -> tuple[str, ...]:
    """What of the weather is weak because it is old, in a few words each.

    Parameters
    ----------
    series : WeatherSeries
        As `hourly_series` makes it.
    now : datetime
        The moment of the answer.

    Returns
    -------
    tuple of str
        Empty where readings and forecast are of the last day.
    """
    ages = weather_ages(series, now)
    old: dict[str, list[str]] = {}
    for key, name in _NAMES.items():
        age_h = getattr(ages, key)
        if age_h is not None and age_h > NOTED_AGE_H:
            old.setdefault(f"not read for {_days(age_h)}", []).append(name)
    weak = [f"{' and '.join(names)} ({text})" for text, names in old.items()]
    if ages.forecast_h is not None and ages.forecast_h > NOTED_AGE_H:
        weak.append(f"today's weather (forecast {_days(ages.forecast_h)} old)")
    return tuple(weak)


def _days(age_h: float) -> str:
    """An age in words."""
    return f"{age_h:.0f} h" if age_h < 36.0 else f"{age_h / 24.0:.0f} days"


def held_back(
    drafts: Sequence[Draft],
    farm: Farm,
    events: Sequence[Event],
    series: WeatherSeries,
    day: Day,
) -> tuple[Draft, ...]:
    """The verdicts where the rain was read too long ago to rank a pass.

    A `go` becomes `wait`, `unknown` until tomorrow, unless a visit of the last 24 hours told how
    the soil of that bed is: the grower's own hand outranks the weather.

    Parameters
    ----------
    drafts : sequence of Draft
        One a planting.
    farm : Farm
        Its beds say which soil a visit was on.
    events : sequence of Event
        Entries that stand.
    series : WeatherSeries
        The weather of the answer.
    day : Day
        The clock.

    Returns
    -------
    tuple of Draft
        The same where the rain is known.
    """
    ages = weather_ages(series, day.now)
    if not ages.is_soil_unknown:
        return tuple(drafts)
    soil_of = {bed.name: bed.soil for bed in farm.beds}
    felt = {
        soil_of.get(e.bed or "")
        for e in events
        if e.kind in ("feel", "pass") and day.now - e.happened_at <= FELT_WITHIN
    }
    tomorrow = local_moment(day.sky.at(day.last_hour_today), day)
    return tuple(
        _waiting(draft, ages, tomorrow)
        if draft.answer.verdict == "go" and soil_of.get(draft.answer.bed) not in felt
        else draft
        for draft in drafts
    )


def _waiting(draft: Draft, ages: WeatherAges, until: datetime) -> Draft:
    """A `go` that rests on weather nobody read."""
    answer = replace(
        draft.answer,
        verdict="wait",
        because="unknown",
        until=until,
        action=None,
        sure=None,
        last_good_at=None,
        why=(f"{_last_read(ages)}: feel this bed and log it, or log the rain",),
    )
    return Draft(answer, 0.0)
