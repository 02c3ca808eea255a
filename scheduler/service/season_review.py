"""A season read back: with the weather that came, and the journal as it was kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Protocol
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.errors import UsageError, WeatherMissingError
from scheduler.planning.ensemble import (
    Sky,
    SoilMembers,
    member_skies,
    run_ensemble,
    soil_members,
)
from scheduler.planning.hours import at_local, day_starts, is_working_hour
from scheduler.planning.offers import Kit
from scheduler.planning.outlook import ground_of, met_by
from scheduler.planning.passes import PassRules
from scheduler.planning.plantings import surface_table, was_done
from scheduler.planning.review.fit_days import FitYear, fit_weeks, fit_year, strictest
from scheduler.planning.review.hours import day_loads, found_unfit, pass_minutes
from scheduler.planning.review.judging import (
    Judged,
    JudgedPass,
    LaneWork,
    book_particles,
    lane_passes,
    lane_windows,
    span_at,
    strip_weeds,
)
from scheduler.planning.review.reading import Book, CropReading, LaneReading, read_crop, read_lane
from scheduler.planning.review.reasons import Told as ListSaid
from scheduler.planning.review.reasons import own_miss
from scheduler.planning.review.scoring import Marks, lane_marks, list_marks, scores_of
from scheduler.planning.review.seasons import Lane, SeasonDays, Span, lanes_of, season_days
from scheduler.planning.review.telling import Told, pass_told, said_words, span_days, window_told
from scheduler.planning.review.totals import EMPTY, Row, Work, totals_of
from scheduler.planning.season.replay import one_thread
from scheduler.ports import Journal, Lists, Progress, WeatherStore
from scheduler.records import (
    HOURLY_VARIABLES,
    Bed,
    BoolArray,
    Event,
    Farm,
    FitDays,
    FloatArray,
    Forecast,
    Kind,
    PassReview,
    Planting,
    PlantingStrip,
    Replay,
    SeasonReview,
    WeatherSeries,
    WeatherValue,
)
from scheduler.service.replay import REPLAY_NOTES, replays
from scheduler.service.settings import (
    GATE_KPA,
    STAGE_KILL_FRAC,
    crop_traits,
    guild_views,
    hand_rates,
    kill_settings,
    kill_table,
    soil_prior,
    spread,
    tool_traits,
    value_settings,
    weed_heat,
    weed_settings,
)
from scheduler.service.situation import situation
from scheduler.service.weather import KNOWN_SHARE, MOST_PAST_YEARS, weather_on_record

N_MEMBERS = 12
N_PARTICLES = 24
SPIN_UP = timedelta(days=24)  # before the season, in which the columns find their state
MOST_ANEW = {"not_listed": 4, "no_list": 2}  # mornings computed again, the costliest first
MOST_BEDS_ANEW = 4  # on each of them
ANEW_MEMBERS = 12
MORNING = time(5, 30)  # of a list that was never made
_BATCH = 8  # lanes whose columns are kept at once
_LEAST_DAYS = 3
_READ_BEFORE_H = 120  # rain of so long before a window must have been read too
_READ_SHARE = 0.5
_AHEAD = timedelta(days=10)
_HOUR = timedelta(hours=1)
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


@dataclass(frozen=True)
class _Season:
    """What a review works on."""

    farm: Farm
    now: datetime
    days: SeasonDays
    start_at: datetime  # of the season (UTC)
    end_at: datetime
    events: tuple[Event, ...]  # that stand and happened by the end
    series: WeatherSeries
    members: Mapping[str, SoilMembers]
    book: Book
    lists: Mapping[int, Mapping[str, Any]]  # issued, by place of the day


@dataclass
class _Read:
    """What the lanes gave."""

    windows: list[tuple[Told, Judged]] = field(default_factory=list)
    passes: list[PassReview] = field(default_factory=list)
    strips: list[PlantingStrip] = field(default_factory=list)
    work: list[Work] = field(default_factory=list)
    marks: Marks = field(default_factory=Marks)


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
    season, notes = _season(farm, journal, weather, lists, now, year, n_members)
    has_entries = any(e.kind in _TELLING and _is_in(e, season) for e in season.events)
    played_elsewhere = None
    if begin is not None and has_entries:
        played_elsewhere = begin(farm, season.events, season.series)
    fit = _fit_days(season, weather)
    told("days fit for the field", 0.1)
    read = _Read()
    if has_entries:
        _read_lanes(season, read, lambda done: told("the beds", 0.1 + 0.5 * done))
        notes += _anew(
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
    notes += _weak_notes(season, read)
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
        rain_mm=_daily_rain(season),
        fit_days=fit,
        scores=scores_of(read.marks, has_lists=bool(season.lists)),
        replays=played,
        totals=totals_of(*_rows(season, read)),
        notes=tuple(dict.fromkeys(notes)),
        attribution=tuple(f"Weather: {source}" for source in series.sources),
    )


# ---------------------------------------------------------------------- season


def _season(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    lists: Lists | None,
    now: datetime,
    year: int | None,
    n_members: int,
) -> tuple[_Season, list[str]]:
    """The season's days, weather, members and clock, and what is weak in them."""
    zone_name = farm.place.time_zone
    known = tuple(e for e in journal.events(now) if e.happened_at <= now)
    days = season_days(known, farm, now, year)
    if days.to_on < days.from_on:
        raise UsageError(
            f"season {days.year}: it begins {days.from_on:%d %b %Y}, after the review's moment "
            f"({now:%d %b %Y}); give a year that has begun"
        )
    begin = at_local(days.from_on, time(), zone_name).astimezone(UTC)
    end = min(
        at_local(days.to_on + timedelta(days=1), time(), zone_name).astimezone(UTC),
        now.astimezone(UTC).replace(minute=0, second=0, microsecond=0),
    )
    series, notes = _series(farm, known, weather, now, begin, end, days.year)
    end = series.start_at + series.n_hours * _HOUR
    begin = max(begin, series.start_at)
    zone = ZoneInfo(zone_name)
    days = replace(
        days,
        from_on=begin.astimezone(zone).date(),
        to_on=(end - _HOUR).astimezone(zone).date(),
    )
    events = tuple(e for e in known if e.happened_at < end)
    sd = spread()
    members = {
        name: soil_members(soil_prior(soil), sd, farm.seed, n_members)
        for name, soil in farm.soils.items()
        if name in {bed.soil for bed in farm.beds}
    }
    sky = member_skies(series, end, farm.place, sd, farm.seed, n_members)
    book = replace(_book(farm, events, series, sky, begin, n_members), is_over=days.is_over)
    season = _Season(
        farm, now, days, begin, end, events, series, members, book, _issued(lists, now, book)
    )
    return season, notes


def _series(
    farm: Farm,
    events: Sequence[Event],
    weather: WeatherStore,
    now: datetime,
    begin: datetime,
    end: datetime,
    year: int,
) -> tuple[WeatherSeries, list[str]]:
    """The weather of a season and of the weeks before it, as far as it was read."""
    first = begin - SPIN_UP
    values = weather.weather_values(now, first, end)
    own = [e for e in events if e.kind in ("rain", "temp")]
    begins = [v.start_at for v in values if not v.suspect]
    begins += [e.happened_at for e in own if first <= e.happened_at < end]
    if begins:
        first = max(first, min(begins).astimezone(UTC).replace(minute=0, second=0, microsecond=0))
    if not begins or end - first < timedelta(days=_LEAST_DAYS):
        raise WeatherMissingError(
            f"season {year}: no weather on record between {begin:%d %b %Y} and {end:%d %b %Y}; "
            "import it (weather import), the review needs three days at least"
        )
    series = weather_on_record(farm, own, weather, now, first, end, values=values)
    is_read = np.minimum(series.kinds["rain_mm"], series.kinds["air_temp_c"]) >= Kind.FORECAST
    if not is_read.any():
        raise WeatherMissingError(
            f"season {year}: rain and temperature of {begin:%d %b %Y} to {end:%d %b %Y} are not "
            "both on record; import or log what is missing"
        )
    notes = []
    last = int(np.flatnonzero(is_read)[-1]) + 1
    if first + last * _HOUR <= begin:
        raise WeatherMissingError(
            f"season {year}: no weather was read after {begin:%d %b %Y}; import it"
        )
    if series.n_hours - last >= 24:
        until = (first + last * _HOUR).astimezone(ZoneInfo(farm.place.time_zone))
        notes.append(
            f"no weather was read after {until.day} {until:%b}: the season is read till then"
        )
        series = weather_on_record(
            farm, own, weather, now, first, first + last * _HOUR, values=values
        )
    if first > begin:
        local = first.astimezone(ZoneInfo(farm.place.time_zone))
        notes.append(f"the weather on record begins {local.day} {local:%b}: so does the review")
    return series, notes


def _book(
    farm: Farm,
    events: tuple[Event, ...],
    series: WeatherSeries,
    sky: Sky,
    begin: datetime,
    n_members: int,
) -> Book:
    zone_name = farm.place.time_zone
    days = tuple(day_starts(series.start_at, series.n_hours, zone_name))
    leads = tuple(
        guild_views(series, max(first, 1), series.start_at + first * _HOUR, farm)[0]
        for _, first, _ in days
    )
    any_day = replace(farm.work, hours=(1.0,) * 7, blocked=())
    zone = ZoneInfo(zone_name)
    noon = [(series.start_at + h * _HOUR).astimezone(zone).hour < 12 for h in range(series.n_hours)]
    kit = Kit(
        PassRules({t.name: t for t in farm.tools}, tool_traits(farm), kill_settings(), farm.seed),
        kill_table(farm),
        crop_traits(),
        weed_settings(),
    )
    return Book(
        farm=farm,
        events=events,
        sky=sky,
        kit=kit,
        values=value_settings(),
        hand=hand_rates(),
        gate_kpa=np.array(GATE_KPA),
        stage_kill_frac=STAGE_KILL_FRAC,
        days=days,
        leads=leads,
        is_open=is_working_hour(farm.work, series.start_at, series.n_hours, zone_name),
        is_daytime=is_working_hour(any_day, series.start_at, series.n_hours, zone_name),
        is_morning=np.array(noon),
        from_hour=sky.hour_of(begin),
        n_particles=book_particles(n_members, N_PARTICLES),
    )


def _issued(lists: Lists | None, now: datetime, book: Book) -> dict[int, Mapping[str, Any]]:
    """The list issued last for each day, by place of the day."""
    found: dict[int, Mapping[str, Any]] = {}
    start = book.sky.start_at
    if lists is None or lists.list_between(now, start, start + book.sky.n_hours * _HOUR) is None:
        return found
    for place, (_, first, last) in enumerate(book.days):
        issued = lists.list_between(now, start + first * _HOUR, start + last * _HOUR)
        if issued is not None:
            found[place] = issued
    return found


def _is_in(event: Event, season: _Season) -> bool:
    return season.start_at <= event.happened_at < season.end_at


def _season_days_of(season: _Season) -> list[tuple[date, int, int]]:
    """Days of the season with their hours, without those before it."""
    return [d for d in season.book.days if season.days.from_on <= d[0] <= season.days.to_on]


def _daily_rain(season: _Season) -> FloatArray:
    rain = season.book.sky.forcing.rain_mm.mean(axis=0)
    return np.array([float(rain[a:b].sum()) for _, a, b in _season_days_of(season)])


# --------------------------------------------------------------------- fit days


def _fit_days(season: _Season, weather: WeatherStore) -> tuple[FitDays, ...]:
    """Days fit for the field, by bare ground of each soil, this year and in the past years."""
    days = _season_days_of(season)
    is_open = season.book.is_open
    hours = [is_open[a:b] for _, a, b in days]
    can = _can_work(season.book.sky, season.members, season.farm)
    this = {soil: fit_year(fits, days, hours) for soil, fits in can.items()}
    past: dict[str, list[FitYear]] = {soil: [] for soil in this}
    for series, of_year in _past_seasons(season, weather):
        sd = _central()
        members = {
            name: soil_members(soil_prior(season.farm.soils[name]), sd, season.farm.seed, 1)
            for name in this
        }
        end = series.start_at + series.n_hours * _HOUR
        sky = member_skies(series, end, season.farm.place, sd, season.farm.seed, 1)
        for soil, fits in _can_work(sky, members, season.farm).items():
            past[soil].append(fit_year(fits, of_year, hours))
    return tuple(
        week
        for soil in sorted(this)
        for week in fit_weeks(soil, season.days.from_on, this[soil], past[soil])
    )


def _can_work(sky: Sky, members: Mapping[str, SoilMembers], farm: Farm) -> dict[str, BoolArray]:
    """Hours in which bare ground of each soil lets in the strictest of the farm's tools."""
    bare = np.zeros((sky.n_hours, 6))
    bare[:, 5] = 300.0
    ensemble = run_ensemble(
        sky, members, {soil: (soil, bare) for soil in members}, weed_heat(), stored_from_hour=0
    )
    traits = tool_traits(farm)
    keys = sorted({tool.key for tool in farm.tools}) or sorted(traits)
    found = {}
    for soil in members:
        bed = Bed(soil, 1.0, 1.0, soil)
        ground = ground_of(Planting(bed, None, 0.0, 1.0, None, False, *(None,) * 4), ensemble)
        found[soil] = strictest({key: met_by(traits[key], ground).is_fit for key in keys})
    return found


def _central() -> Any:
    """No spread at all: one member, with the middle of everything."""
    sd = spread()
    none = {name: 0.0 for name in sd.__dataclass_fields__ if "sd" in name}
    middle = 0.5 * (sd.demand_factor_low + sd.demand_factor_high)
    return replace(sd, **none, demand_factor_low=middle, demand_factor_high=middle)


def _past_seasons(
    season: _Season, weather: WeatherStore
) -> list[tuple[WeatherSeries, list[tuple[date, int, int]]]]:
    """The same dates of past years, with the days of each, where the record holds them."""
    own = [e for e in season.events if e.kind in ("rain", "temp")]
    n_days = (season.days.to_on - season.days.from_on).days + 1
    zone = season.farm.place.time_zone
    found = []
    for back in range(1, MOST_PAST_YEARS + 1):
        shift = timedelta(days=round(365.25 * back))
        first_on = season.days.from_on - shift
        begin = at_local(first_on, time(), zone).astimezone(UTC) - SPIN_UP
        end = at_local(first_on + timedelta(days=n_days), time(), zone).astimezone(UTC)
        values = weather.weather_values(season.now, begin, end)
        then = [e for e in own if begin < e.happened_at < end]
        if not values and not then:
            continue
        series = weather_on_record(
            season.farm, then, weather, season.now, begin, end, values=values
        )
        known = [
            float(np.mean(series.kinds[name] >= Kind.MODEL)) for name in ("rain_mm", "air_temp_c")
        ]
        if min(known) < KNOWN_SHARE:
            continue
        all_days = day_starts(series.start_at, series.n_hours, zone)
        found.append((series, [d for d in all_days if d[0] >= first_on][:n_days]))
    return found


# ------------------------------------------------------------------------ lanes


def _read_lanes(season: _Season, read: _Read, told: Callable[[float], None]) -> None:
    """Every bed and part, in batches whose columns are freed before the next."""
    farm, book = season.farm, season.book
    lanes = lanes_of(farm, season.events, season.start_at, season.end_at)
    minutes = _minutes_of_passes(season, lanes)
    loads = day_loads(farm, season.events, [on for on, _, _ in book.days], minutes)
    unfit = found_unfit(season.events, farm)
    done = 0
    for batch in _batches(lanes):
        surfaces = {
            lane.key: (
                lane.bed.soil,
                surface_table(
                    lane.surface_planting,
                    season.events,
                    book.kit.crops,
                    season.series.start_at,
                    season.series.n_hours,
                ),
            )
            for lane in batch
        }
        ensemble = run_ensemble(
            book.sky,
            season.members,
            surfaces,
            weed_heat(),
            stored_from_hour=0,
            batch_groups=len(batch),
        )
        by_lane: dict[str, dict[Span, CropReading]] = {}
        readings: list[LaneReading] = []
        with one_thread():  # many small computations
            for lane in batch:
                reading = read_lane(lane, ensemble, surfaces[lane.key][1], book)
                by_lane[lane.key] = {
                    span: read_crop(reading, span, surfaces[lane.key][1]) for span in lane.spans
                }
                readings.append(reading)
            for reading in readings:
                work = LaneWork(
                    loads,
                    unfit,
                    _list_said(season, reading.lane),
                    minutes,
                    lambda a, b: _is_rain_read(season, a, b),
                )
                _read_lane(season, read, reading, by_lane, work)
                done += 1
                told(done / len(lanes))


def _batches(lanes: Sequence[Lane]) -> list[list[Lane]]:
    """Lanes in batches; those of one bed stay together."""
    batches: list[list[Lane]] = [[]]
    for lane in lanes:
        last = batches[-1]
        if len(last) >= _BATCH and last[-1].bed.name != lane.bed.name:
            batches.append([])
        batches[-1].append(lane)
    return [batch for batch in batches if batch]


def _read_lane(
    season: _Season,
    read: _Read,
    reading: LaneReading,
    by_lane: Mapping[str, Mapping[Span, CropReading]],
    work: LaneWork,
) -> None:
    lane, book = reading.lane, season.book
    crops = by_lane[lane.key]
    in_bed = {
        key: found
        for key, found in by_lane.items()
        if key != lane.key and next(iter(found)).planting.bed.name == lane.bed.name
    }

    def mates(hour: float) -> tuple[CropReading, ...]:
        at = book.sky.at(hour)
        return tuple(
            crop
            for found in in_bed.values()
            for span, crop in found.items()
            if span.start_at <= at < span.end_at
        )

    windows = lane_windows(reading, crops, mates, work)
    passes = lane_passes(reading, crops, work)
    read.windows += [(window_told(judged, reading), judged) for judged in windows]
    for judged in passes:
        n_parts = 1 if judged.event.part is not None else 1 + len(mates(judged.hour))
        done = pass_told(judged, windows, reading, 1.0 / n_parts)
        read.passes.append(done)
        read.work.append(_work_of(done, judged, season))
    days = _season_days_of(season)
    read.strips.append(
        PlantingStrip(
            lane.bed.name,
            lane.part,
            lane.bed.soil,
            span_days(
                [(s.start_at, s.end_at, s.planting.crop) for s in lane.spans],
                season.days.from_on,
                season.days.to_on,
                ZoneInfo(season.farm.place.time_zone),
            ),
            strip_weeds(reading, days),
            _entries(reading, season),
        )
    )
    marks, hand = lane_marks(reading, crops, passes)
    read.marks.add(marks)
    list_marks(read.marks, season.lists, reading)
    for event, planting, minutes in hand:
        on = _local_day(event, season)
        name = _planting_name(lane, planting.crop)
        read.work.append(Work(name, planting.crop, on, hand_min=minutes))


def _work_of(done: PassReview, judged: JudgedPass, season: _Season) -> Work:
    """The minutes of one pass, and what it saved by particle."""
    key = done.bed if done.part is None else f"{done.bed}/{done.part}"
    return Work(
        f"{key} {done.crop or EMPTY}",
        done.crop,
        _local_day(judged.event, season),
        done.work_min,
        tool=done.tool,
        saved_min=None if judged.saving is None else judged.saving.hand_min,
    )


def _entries(reading: LaneReading, season: _Season) -> tuple[tuple[int, str, str], ...]:
    """What was logged of a lane: day of the season, kind, tool or crop."""
    found = []
    for event in reading.events:
        hour = reading.book.hour(event.happened_at)
        if not _is_in(event, season) or span_at(reading, hour) is None:
            continue
        day = (_local_day(event, season) - season.days.from_on).days
        what = str(event.data.get("tool") or event.data.get("crop") or "")
        if not was_done(event):
            what = f"{what} in vain".strip()
        found.append((day, event.kind, what))
    return tuple(found)


def _local_day(event: Event, season: _Season) -> date:
    return event.happened_at.astimezone(ZoneInfo(season.farm.place.time_zone)).date()


def _minutes_of_passes(season: _Season, lanes: Sequence[Lane]) -> dict[str, float]:
    """Minutes of each pass, logged or reckoned."""
    found: dict[str, float] = {}
    for event in season.events:
        if event.kind != "pass":
            continue
        span = next(
            (
                span
                for lane in lanes
                if lane.bed.name == event.bed and event.part in (None, lane.part)
                for span in lane.spans
                if span.start_at <= event.happened_at < span.end_at
            ),
            None,
        )
        if span is not None:
            found[event.event_id] = pass_minutes(event, span.planting, season.book.kit)
    return found


def _is_rain_read(season: _Season, a: float, b: float) -> bool:
    """Whether the rain of a window and of the days before it was read by anybody."""
    kinds = season.series.kinds["rain_mm"][max(0, int(a) - _READ_BEFORE_H) : max(int(b), 1)]
    return bool(kinds.size == 0 or float(np.mean(kinds >= Kind.FORECAST)) >= _READ_SHARE)


def _list_said(season: _Season, lane: Lane) -> dict[int, ListSaid]:
    """What the list of each day said of a bed or part."""
    found: dict[int, ListSaid] = {}
    for place, issued in season.lists.items():
        for line in (*issued["beds"], *issued["not_reached"]):
            if line["bed"] == lane.bed.name and line["part"] in (None, lane.part):
                said = ListSaid(str(line["verdict"]), str(line["because"] or ""))
                if place not in found or said.verdict == "go":
                    found[place] = said
    return found


# ------------------------------------------------------------------- mornings anew


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


def _anew(
    season: _Season,
    read: _Read,
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
        verdicts = _verdicts_anew(season, day, reason, beds, journal, weather)
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


def _with_anew(window: Any, reason: str, said: tuple[str, str]) -> Any:
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


def _verdicts_anew(
    season: _Season,
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
        found = situation(farm, journal, store, as_of, n_members=ANEW_MEMBERS)
    except WeatherMissingError:
        return {}
    return {
        (d.answer.bed, d.answer.part or ""): (d.answer.verdict, d.answer.because)
        for d in found.drafts
    }


def _came(season: _Season, as_of: datetime) -> Forecast:
    """The weather of the ten days from a moment on, as if it had been forecast."""
    series = season.series
    hour = as_of.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    first = max(0, int((hour - series.start_at) // _HOUR))
    last = min(series.n_hours, first + int(_AHEAD / _HOUR))
    rain = season.book.sky.forcing.rain_mm.mean(axis=0)
    values = {
        name: (rain if name == "rain_mm" else getattr(series, name))[first:last]
        for name in HOURLY_VARIABLES
    }
    start = series.start_at + first * _HOUR
    return Forecast("the weather that came", as_of, as_of, start, values)


# ----------------------------------------------------------------------- totals


def _planting_name(lane: Lane, crop: str | None) -> str:
    return f"{lane.key} {crop or EMPTY}"


def _rows(season: _Season, read: _Read) -> tuple[list[Row], list[Work]]:
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


def _weak_notes(season: _Season, read: _Read) -> list[str]:
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
    n_looks = sum(e.kind == "look" and _is_in(e, season) for e in season.events)
    if read.windows and not n_looks:
        notes.append("no look at the weeds is on record: how many came is known within wide ranges")
    is_guessed = season.series.kinds["solar_mj_m2"] <= Kind.MODEL
    if float(np.mean(is_guessed)) > 0.5:
        notes.append("sunshine was estimated from temperature: drying is less sure")
    return notes
