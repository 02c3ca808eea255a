"""A season read back: with the weather that came, and the journal as it was kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.errors import UsageError
from scheduler.planning.review.scoring import scores_of
from scheduler.planning.review.totals import EMPTY, Row, Work, totals_of
from scheduler.ports import Journal, Lists, Progress, WeatherStore
from scheduler.records import (
    Event,
    Farm,
    Kind,
    Replay,
    SeasonReview,
    WeatherSeries,
)
from scheduler.service.replay import REPLAY_NOTES, replays
from scheduler.service.review.fit_days import fit_days_of
from scheduler.service.review.lanes import Read, read_lanes
from scheduler.service.review.mornings import compute_anew
from scheduler.service.review.season import Season, daily_rain, is_in, season_to_review

N_MEMBERS = 12
_TELLING = ("pass", "prep", "sow", "plant", "hand", "clear")


class Replayer(Protocol):
    """Plays a season again, as `scheduler.service.replay.replays` does."""

    def __call__(
        self,
        farm: Farm,
        events: Sequence[Event],
        series: WeatherSeries,
        *,
        progress: Progress | None = None,
    ) -> tuple[Replay, ...]:
        """Replays of the season, as logged first."""
        ...


Begin = Callable[[Farm, Sequence[Event], WeatherSeries], Callable[[], tuple[Replay, ...]]]
"""Begins to play a season again and returns what waits for it."""


def season_review(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    lists: Lists | None,
    now: datetime,
    year: int | None = None,
    *,
    n_members: int = N_MEMBERS,
    progress: Progress | None = None,
    replay: Replayer | None = replays,
    begin: Begin | None = None,
) -> SeasonReview:
    """Read a season back with what is known now.

    Parameters
    ----------
    farm : Farm
        The farm as described now.
    journal, weather : Journal, WeatherStore
        Entries and weather, filtered by `now`.
    lists : Lists or None
        Lists as they were issued.
    now : datetime
        Aware moment; nothing after it is read.
    year : int, optional
        The season; that of the last entry of work by default.
    n_members : int
        Soil members.
    progress : Progress, optional
        Told how far the computation has come.
    replay : callable, optional
        Plays the season again under other rules, told how far it is; None: no replays are told.
    begin : callable, optional
        In place of `replay`: plays it meanwhile, elsewhere.

    Returns
    -------
    SeasonReview
        Windows with reason and cost, passes, strips, fit days, scores and totals. Of a season
        without an entry of work: rain and fit days.

    Raises
    ------
    UsageError
        If `now` has no time zone, or the season lies ahead of it.
    WeatherMissingError
        If less than three days of rain and temperature of the season are on record.
    """
    if now.tzinfo is None:
        raise UsageError(f"now: found {now.isoformat()} without a time zone; give one")
    told = progress or (lambda message, done_frac: None)
    told("reading the season", 0.0)
    season, notes = season_to_review(farm, journal, weather, lists, now, year, n_members)
    has_entries = any(e.kind in _TELLING and is_in(e, season) for e in season.events)
    played_elsewhere = None
    if begin is not None and has_entries:
        played_elsewhere = begin(farm, season.events, season.series)
    fit = fit_days_of(season, weather)
    told("days fit for the field", 0.1)
    read = Read()
    if has_entries:
        read_lanes(season, read, lambda done: told("the beds", 0.1 + 0.5 * done))
        notes += compute_anew(
            season, read, journal, weather, lambda done: told("mornings", 0.6 + 0.1 * done)
        )
    else:
        notes.append("no planting on record: rain and fit days alone are told")
    played: tuple[Replay, ...] = ()
    if played_elsewhere is not None:
        told("the season under other rules", 0.7)
        played = played_elsewhere() if read.windows else ()
    elif replay is not None and read.windows:
        played = replay(
            farm,
            season.events,
            season.series,
            progress=lambda message, done: told(message, 0.7 + 0.3 * done),
        )
    told("the season", 1.0)
    notes += weak_notes(season, read)
    notes += REPLAY_NOTES if played else ()
    series = season.series
    return SeasonReview(
        farm=farm,
        year=season.days.year,
        from_on=season.days.from_on,
        to_on=season.days.to_on,
        as_of=now,
        is_over=season.days.is_over,
        windows=tuple(t.window for t, _ in read.windows),
        passes=tuple(sorted(read.passes, key=lambda p: (p.at, p.bed, p.part or ""))),
        strips=tuple(read.strips),
        rain_mm=daily_rain(season),
        fit_days=fit,
        scores=scores_of(read.marks, has_lists=bool(season.lists)),
        replays=played,
        totals=totals_of(*_rows(season, read)),
        notes=tuple(dict.fromkeys(notes)),
        attribution=tuple(f"Weather: {source}" for source in series.sources),
    )


def _rows(season: Season, read: Read) -> tuple[list[Row], list[Work]]:
    zone = ZoneInfo(season.farm.place.time_zone)
    rows = []
    for one, _ in read.windows:
        w = one.window
        at = w.best_at or min(w.last_good_at, w.closed_at)
        rows.append(
            Row(
                f"{w.key} {w.crop or EMPTY}",
                w.crop,
                at.astimezone(zone).date(),
                w.outcome == "missed",
                w.reason,
                w.best_tool,
                one.cost_min,
                one.yield_min,
            )
        )
    return rows, read.work


def weak_notes(season: Season, read: Read) -> list[str]:
    """What is missing or weak, in words."""
    notes = []
    if read.windows and not season.lists:
        notes.append("no list was issued in this season: none could be missed or followed")
    if read.windows:
        notes.append(
            "each window and each pass is weighed by itself, all else as it was done: what two "
            "passes would both have taken counts for neither, and costs of one bed may overlap"
        )
        notes.append(
            "sums come to more than the middles of what they add up: however it was, a few beds "
            "had many weeds, but which ones is not known"
        )
    untimed = sum(not p.is_timed for p in read.passes)
    if untimed:
        notes.append(f"{untimed} of {len(read.passes)} passes were not timed: minutes as reckoned")
    n_looks = sum(e.kind == "look" and is_in(e, season) for e in season.events)
    if read.windows and not n_looks:
        notes.append("no look at the weeds is on record: how many came is known within wide ranges")
    is_guessed = season.series.kinds["solar_mj_m2"] <= Kind.MODEL
    if float(np.mean(is_guessed)) > 0.5:
        notes.append("sunshine was estimated from temperature: drying is less sure")
    return notes
