"""Mornings computed again, for windows that no list named."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta

from scheduler.errors import WeatherMissingError
from scheduler.planning.hours import at_local
from scheduler.planning.review.reasons import own_miss
from scheduler.planning.review.telling import Told, said_words
from scheduler.ports import Journal, WeatherStore
from scheduler.records import (
    HOURLY_VARIABLES,
    FlushWindow,
    Forecast,
    WeatherValue,
)
from scheduler.service.basis import basis_of
from scheduler.service.review.lanes import Read
from scheduler.service.review.season import HOUR, Season
from scheduler.service.situation import situation_of

MOST_ANEW = {"not_listed": 4, "no_list": 2}  # mornings computed again, the costliest first
MOST_BEDS_ANEW = 4  # on each of them
ANEW_MEMBERS = 12
MORNING = time(5, 30)  # of a list that was never made
_AHEAD = timedelta(days=10)


@dataclass(frozen=True)
class _AsItCame:
    """Weather as it was known then, with what came in place of the forecast."""

    store: WeatherStore
    came: Forecast

    def weather_values(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Sequence[WeatherValue]:
        return self.store.weather_values(known_at, start_at, end_at)

    def latest_forecast(self, known_at: datetime) -> Forecast | None:
        return self.came

    def forecasts_since(self, known_at: datetime, issued_from: datetime) -> Sequence[Forecast]:
        return (self.came,)


def compute_anew(
    season: Season,
    read: Read,
    journal: Journal,
    weather: WeatherStore,
    told: Callable[[float], None],
) -> list[str]:
    """Compute the costliest mornings again, for windows that a list did not name or had none."""
    open_ones = [
        i
        for i, (one, _) in enumerate(read.windows)
        if one.window.reason in ("not_listed", "no_list") and one.days
    ]
    if not open_ones:
        return []
    by_day: dict[tuple[int, str], list[int]] = {}
    for i in open_ones:
        one = read.windows[i][0]
        reason = str(one.window.reason)
        day = one.best_day if one.best_day in one.days else one.days[0]
        assert day is not None
        by_day.setdefault((day, reason), []).append(i)

    def cost(places: Sequence[int]) -> float:
        return sum(_whole_min(read.windows[i][0]) for i in places)

    costliest = sorted(by_day.items(), key=lambda item: (-cost(item[1]), item[0]))
    chosen = [
        item
        for reason, most in MOST_ANEW.items()
        for item in [c for c in costliest if c[0][1] == reason][:most]
    ]
    n_done = n_named = 0
    for k, ((day, reason), places) in enumerate(chosen):
        told(k / len(chosen))
        places = sorted(places, key=lambda i: -_whole_min(read.windows[i][0]))
        beds = list(dict.fromkeys(read.windows[i][0].window.bed for i in places))[:MOST_BEDS_ANEW]
        verdicts = verdicts_anew(season, day, reason, beds, journal, weather)
        for i in places:
            one, judged = read.windows[i]
            window = one.window
            said = verdicts.get((window.bed, window.part or ""))
            if said is None:
                continue
            n_done += 1
            n_named += said[0] == "go"
            read.windows[i] = (replace(one, window=_with_anew(window, reason, said)), judged)
    many = "1 window" if n_done == 1 else f"{n_done} windows"
    mornings = "1 morning was" if len(chosen) == 1 else f"{len(chosen)} mornings were"
    return [
        f"{mornings} computed again, the costliest, for {many} of {len(open_ones)} that no list "
        f"named; it names {n_named} of them"
    ]


def _whole_min(one: Told) -> float:
    return one.window.cost_min.mid + one.window.yield_min.mid


def _with_anew(window: FlushWindow, reason: str, said: tuple[str, str]) -> FlushWindow:
    """A window with what its morning says when it is computed again."""
    verdict, because = said
    words = "names it" if verdict == "go" else f"says {said_words(verdict, because)}"
    if reason == "no_list":
        because_then = None if verdict == "go" else because or verdict
        return replace(
            window,
            because=because_then,
            why=f"{window.why}; computed again with what was known then, the list {words}",
        )
    return replace(
        window,
        own_miss=own_miss(verdict),
        why=f"{window.why}; with the weather that came it {words}: the "
        f"{'forecast' if verdict == 'go' else 'model'} was wrong",
    )


def verdicts_anew(
    season: Season,
    day: int,
    reason: str,
    beds: Sequence[str],
    journal: Journal,
    weather: WeatherStore,
) -> dict[tuple[str, str], tuple[str, str]]:
    """Verdict and reason of some beds on one morning, by bed and part."""
    farm = replace(season.farm, beds=tuple(b for b in season.farm.beds if b.name in beds))
    on = season.book.days[day][0]
    issued = season.lists.get(day)
    as_of = at_local(on, MORNING, farm.place.time_zone)
    if issued is not None:
        as_of = datetime.fromisoformat(str(issued["as_of"]))
    store: WeatherStore = weather
    if reason == "not_listed":
        store = _AsItCame(weather, _came(season, as_of))
    try:
        found = situation_of(basis_of(farm, journal, store, as_of, n_members=ANEW_MEMBERS))
    except WeatherMissingError:
        return {}
    return {
        (d.answer.bed, d.answer.part or ""): (d.answer.verdict, d.answer.because)
        for d in found.drafts
    }


def _came(season: Season, as_of: datetime) -> Forecast:
    """The weather of the ten days from a moment on, as if it had been forecast."""
    series = season.series
    hour = as_of.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    first = max(0, int((hour - series.start_at) // HOUR))
    last = min(series.n_hours, first + int(_AHEAD / HOUR))
    rain = season.book.sky.forcing.rain_mm.mean(axis=0)
    values = {
        name: (rain if name == "rain_mm" else getattr(series, name))[first:last]
        for name in HOURLY_VARIABLES
    }
    start = series.start_at + first * HOUR
    return Forecast("the weather that came", as_of, as_of, start, values)
