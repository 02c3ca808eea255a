"""What the columns of one bed or part tell of a whole season: soil by tool, clocks, weeds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property

import numpy as np

from scheduler.models.soil_column import ColumnForcing, ColumnRun, Float32Array, band_weights
from scheduler.models.weeds.degree_days import thermal_progress_cd, wetting_triggers
from scheduler.models.workability import chance
from scheduler.planning.crop_stage import CropHours, CropStage, crop_stage
from scheduler.planning.ensemble import N_STORED_LAYERS, Ensemble, Sky
from scheduler.planning.offers import Kit
from scheduler.planning.outlook import (
    GuildView,
    Met,
    ground_of,
    hours_of_crop,
    met_by,
    past_wettings,
)
from scheduler.planning.passes import PassWeather, weather_of_passes
from scheduler.planning.plantings import Trigger, touches
from scheduler.planning.review.seasons import Lane, Span
from scheduler.planning.value import ValueSettings
from scheduler.planning.visits import A_SQUEEZE
from scheduler.planning.weeds import HandRates, WeedHistory, WeedOutlook, weed_history, weed_outlook
from scheduler.records import BoolArray, Event, Farm, FloatArray, Planting

N_PARTICLES = 24  # that follow the weeds of one bed; a multiple of the members
FOLLOWED_BEFORE_D = 45.0  # over which openings before an hour asked about are followed
_CROP_AHEAD = timedelta(days=21)  # beyond the end of a planting, for crops not up yet
_DEEP = 40.0  # mm; a preparation from this depth on brings up new seed: what was before is gone
_WEED_BAND_MM = (5.0, 25.0)
_WEEK_H = 168
N_SEEDS = 10  # that stand for a cohort in one particle
_READING_STEP = 4  # of the readings every sixth hour one is taken: a day's


@dataclass(frozen=True)
class Book:
    """What all beds of a review share; hours on the clock of `sky`."""

    farm: Farm
    events: tuple[Event, ...]  # that stand and happened by the end, in order
    sky: Sky  # its `now_hour` is the end of what is read
    kit: Kit
    values: ValueSettings
    hand: HandRates
    gate_kpa: FloatArray
    stage_kill_frac: tuple[float, ...]
    days: tuple[tuple[date, int, int], ...]  # local days, first hour and the hour after the last
    leads: tuple[GuildView, ...]  # the guild that leads on each of the days
    is_open: BoolArray  # the grower's hours
    is_daytime: BoolArray  # inside the span of a working day, on any weekday and blocked or not
    is_morning: BoolArray  # before noon
    from_hour: int  # of the season; before it the columns only find their state
    n_particles: int = N_PARTICLES
    is_over: bool = True  # the season; else a bed may still be used

    @property
    def end_hour(self) -> int:
        """The hour after the last that is read."""
        return self.sky.now_hour

    def day_at(self, hour: float) -> int:
        """Place of the day an hour lies in."""
        starts = self._starts
        return int(np.clip(np.searchsorted(starts, hour, side="right") - 1, 0, len(starts) - 1))

    @cached_property
    def _starts(self) -> FloatArray:
        return np.array([first for _, first, _ in self.days], np.float64)

    def hour(self, moment: datetime) -> float:
        """Hour of a moment, with its minutes."""
        return (moment - self.sky.start_at) / timedelta(hours=1)


@dataclass(frozen=True)
class LaneReading:
    """One bed or part on its columns; arrays (n_members, n_hours) on the clock of the sky."""

    lane: Lane
    book: Book
    ensemble: Ensemble
    events: tuple[Event, ...]  # that touch it
    mets: Mapping[str, Met]  # how each tool finds the soil, by its key
    chance_frac: Mapping[str, FloatArray]  # that it can be worked, (n_hours,)
    progress_cd: Mapping[str, FloatArray]  # running germination heat by guild
    weather: PassWeather
    wettings: tuple[Trigger, ...]
    soil_mean_c: FloatArray
    theta_m3m3: FloatArray  # (n_members, n_hours, n_layers)
    temp_c: FloatArray
    kills: dict[int, dict[str, FloatArray]] = field(default_factory=dict)  # as they are asked for
    squeeze: Met | None = None  # how a hand finds the soil, where somebody felt it

    @property
    def planting(self) -> Planting:
        """The planting whose entries are those of the lane."""
        return self.lane.surface_planting


def read_lane(lane: Lane, ensemble: Ensemble, surface: FloatArray, book: Book) -> LaneReading:
    """Read one bed or part on its columns.

    Parameters
    ----------
    lane : Lane
        The bed or part.
    ensemble : Ensemble
        Columns after their run, stored from the first hour.
    surface : array
        Surface table of the lane (n_hours, 6).
    book : Book
        What all beds share.

    Returns
    -------
    LaneReading
        By member and hour.

    Notes
    -----
    Bands and rules are those of the list (`planting_outlook`). Members count alike: what visits
    found is what the hours are scored against, so it teaches nothing here. No range stated.
    Worked: tests/scenes/test_review_scenes.py.
    """
    planting = lane.surface_planting
    members = ensemble.members[lane.bed.soil]
    weights = ensemble.weights[lane.bed.soil]
    ground = ground_of(planting, ensemble)
    run, columns = ensemble.run_of(planting.key)
    temp = run.temp_c[columns].astype(np.float64)
    by_trait = {
        trait: met_by(trait, ground)
        for trait in {book.kit.rules.traits[tool.key] for tool in book.farm.tools}
    }
    mets = {tool.key: by_trait[book.kit.rules.traits[tool.key]] for tool in book.farm.tools}
    shares = band_weights(*_WEED_BAND_MM, N_STORED_LAYERS)
    water = ground.theta_m3m3 @ shares
    p = members.parameters
    suction = 33.0 * (water / p.theta_33_m3m3[:, None]) ** (-p.b[:, None])
    weed_temp = temp @ shares
    guilds = {view.guild.name: view.guild for view in book.leads}
    progress = {
        name: np.cumsum(thermal_progress_cd(weed_temp, suction, guild), axis=1)
        for name, guild in guilds.items()
    }
    is_wetting = wetting_triggers(ensemble.sky.forcing.rain_mm + surface[None, :, 0])
    top = temp @ band_weights(0.0, 10.0, N_STORED_LAYERS)
    mean_c = top.mean(axis=0)
    week = np.concatenate((np.full(_WEEK_H - 1, mean_c[0]), mean_c))
    events = tuple(e for e in book.events if touches(e, planting))
    return LaneReading(
        lane,
        book,
        ensemble,
        events,
        mets,
        {key: chance(met.is_fit) for key, met in mets.items()},
        progress,
        weather_of_passes(
            ground.theta_m3m3 @ band_weights(0.0, 30.0, N_STORED_LAYERS),
            members,
            ensemble,
            surface,
            book.kit.rules.settings,
        ),
        tuple(past_wettings(ensemble, is_wetting, weights, book.from_hour)),
        np.convolve(week, np.ones(_WEEK_H) / _WEEK_H, mode="valid"),
        ground.theta_m3m3,
        temp,
        squeeze=met_by(A_SQUEEZE, ground) if any(e.kind == "feel" for e in events) else None,
    )


# ------------------------------------------------------------------------- crop


@dataclass(frozen=True)
class CropReading:
    """The crop of one span on a clock of its own: hour 0 is hour `first` of the season's clock."""

    span: Span
    first: int
    stage: CropStage | None
    hours: CropHours | None

    def at(self, hour: float, n_hours: int) -> CropStage | None:
        """The stage from one hour of the season's clock on, cut to `n_hours`."""
        if self.stage is None:
            return None
        n = self.stage.is_up.shape[1]
        a = int(np.clip(hour - self.first, 0, n - 1))
        cut = slice(a, min(a + n_hours, n))
        s = self.stage
        return CropStage(
            s.is_up[:, cut],
            s.leaves[:, cut],
            s.rooted_cd[:, cut],
            s.height_mm[:, cut],
            s.cover_frac[cut],
            s.established_hour + self.first,
        )

    def emergence(self) -> CropHours | None:
        """When the crop was to come up, on the season's clock."""
        if self.hours is None:
            return None
        h, first = self.hours, float(self.first)
        return CropHours(
            h.first_up + first, h.last_up + first, h.last_blind + first, h.last_flame + first
        )


def read_crop(reading: LaneReading, span: Span, surface: FloatArray) -> CropReading:
    """The crop of one span: as it was seen where that was logged, else by its clocks.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    span : Span
        What lay there from when to when.
    surface : array
        Surface table of the lane (n_hours, 6).

    Returns
    -------
    CropReading
        Without a stage where no crop stood, or one the tables do not know.

    Notes
    -----
    Hours of emergence are those that the weather foretold, whatever was seen later: gates before
    the crop was up go by them. Definition of this project; range as `crop_stage`.
    Worked: tests/scenes/test_review_scenes.py.
    """
    book, planting = reading.book, span.planting
    sky = book.sky
    since = span.start_at if planting.established_at is None else planting.established_at
    first = max(0, int(book.hour(min(since, span.start_at))) - 24)
    last = min(sky.n_hours, int(book.hour(span.end_at + _CROP_AHEAD)))
    crop = book.kit.crops.get(planting.crop or "")
    if crop is None or planting.established_at is None or last - first < 2:
        return CropReading(span, first, None, None)
    cut = replace(reading.ensemble, sky=_cut_sky(sky, first, last), stored_from_hour=0)
    hours = hours_of_crop(
        replace(planting, up_at=None),
        cut,
        book.kit.crops,
        reading.temp_c[:, first:last],
        reading.theta_m3m3[:, first:last],
    )
    up = None if hours is None else hours.last_up
    stage = crop_stage(planting, crop, cut, up, surface[first:last, 3])
    return CropReading(span, first, stage, hours)


def _cut_sky(sky: Sky, first: int, last: int) -> Sky:
    forcing = ColumnForcing(
        *(getattr(sky.forcing, name)[:, first:last] for name in ColumnForcing.__dataclass_fields__)
    )
    return Sky(
        sky.at(first),
        min(max(sky.now_hour - first, 1), last - first),
        forcing,
        sky.is_rain_known[first:last],
        sky.has_forecast,
    )


# ------------------------------------------------------------------------ weeds


def lane_history(
    reading: LaneReading,
    planting: Planting,
    events: Sequence[Event],
    from_hour: float,
    to_hour: float,
    before_d: float = FOLLOWED_BEFORE_D,
    n_particles: int | None = None,
) -> tuple[WeedHistory, Ensemble]:
    """Openings and passes of a lane that matter between two hours, and the readings of then.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    planting : Planting
        What lies there at those hours.
    events : sequence of Event
        Entries of the lane, as they were or as they might have been, in order.
    from_hour, to_hour : float
        Between which weeds will be asked for.
    before_d : float
        Days before them over which openings are followed.
    n_particles : int, optional
        Particles; those of the book by default.

    Returns
    -------
    (WeedHistory, Ensemble)
        As `weed_history` has it, and the ensemble to ask with.

    Notes
    -----
    What was done before the last deep preparation
    that lies so far back is left out: it brought up new seed. Definition of this project; range as
    `weed_history`.
    Worked: tests/scenes/test_review_scenes.py.
    """
    book = reading.book
    n = n_particles or book.n_particles
    first = max(float(book.from_hour), from_hour - 24.0 * before_d)
    cut = cut_readings(reading, first, to_hour)
    deep = [
        book.hour(e.happened_at)
        for e in events
        if e.kind == "prep" and float(e.data.get("depth_mm", 0.0)) >= _DEEP
    ]
    since = max((h for h in deep if h <= first), default=-np.inf)
    history = weed_history(
        planting,
        [
            e
            for e in events
            if book.hour(e.happened_at) >= since - 1e-9 and book.hour(e.happened_at) <= to_hour
        ],
        [w for w in reading.wettings if since <= book.hour(w.at) <= to_hour],
        book.kit.weeds,
        book.kit.kills,
        book.kit.rules,
        reading.weather,
        cut,
        reading.soil_mean_c,
        book.farm.place.latitude_deg,
        n,
        known_kills=reading.kills.setdefault(n, {}),
    )
    return history, cut


def lane_weeds(
    reading: LaneReading,
    planting: Planting,
    events: Sequence[Event],
    hours: FloatArray,
    before_d: float = FOLLOWED_BEFORE_D,
    n_particles: int | None = None,
) -> WeedOutlook:
    """Weeds of a lane at some hours, after the entries given.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    planting : Planting
        What lies there at those hours.
    events : sequence of Event
        Entries of the lane, as they were or as they might have been, in order.
    hours : array
        Ascending hours on the season's clock, (n_times,).
    before_d : float
        Days before them over which openings are followed.
    n_particles : int, optional
        Particles; those of the book by default.

    Returns
    -------
    WeedOutlook
        By particle.

    Notes
    -----
    Definition of this project; range as `weed_outlook`.
    Worked: tests/scenes/test_review_scenes.py.
    """
    book = reading.book
    first, last = float(hours[0]), float(hours[-1])
    history, cut = lane_history(reading, planting, events, first, last, before_d, n_particles)
    return weed_outlook(
        planting,
        cut,
        history,
        book.kit.weeds,
        book.gate_kpa,
        book.farm.seed,
        hours,
        n_particles or book.n_particles,
        n_seeds=N_SEEDS,
    )


def cut_readings(reading: LaneReading, from_hour: float, to_hour: float) -> Ensemble:
    """The ensemble of one lane with its running integrals between two hours alone.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    from_hour, to_hour : float
        Between which weeds will be asked for.

    Returns
    -------
    Ensemble
        Its integrals begin at the reading before `from_hour`.

    Notes
    -----
    Definition of this project. No range stated.
    Worked: tests/scenes/test_review_scenes.py.
    """
    ensemble, key = reading.ensemble, reading.planting.key
    run, columns = ensemble.run_of(key)
    at = run.reading_hours
    every = _READING_STEP
    before = int(
        np.clip(np.searchsorted(at, from_hour, side="right") - 1, -1, len(at) - 2 * every - 1)
    )
    last = int(
        np.clip(np.searchsorted(at, to_hour, side="left") + every, before + 2 * every, len(at) - 1)
    )
    kept = slice(before + every, last + 1, every)

    def of(values: Float32Array) -> Float32Array:
        own = values[columns]
        return own[:, kept] - own[:, before : before + 1] if before >= 0 else own[:, kept]

    cut: ColumnRun = replace(
        run,
        germination_cd=of(run.germination_cd),
        elongation_cd=of(run.elongation_cd),
        drying_d=of(run.drying_d),
        leaf_cd=of(run.leaf_cd),
        reading_hours=at[kept],
    )
    step = int(at[1] - at[0]) * every
    return Ensemble(
        ensemble.sky,
        (cut,),
        ensemble.members,
        {key: 0},
        1,
        ensemble.weights,
        ensemble.n_members,
        0,
        int(at[kept][0]) - step,
    )
