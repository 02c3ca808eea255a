"""What a grower with this program believes of soil and weather, morning by morning of a season.

It is common to all truths and all rules of one weather: soil members drawn from the tables run
under the weather as it was, and from each working morning on under a forecast as issued that day.
What was done to a bed is not in it, as it is not in the truth.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import timedelta
from typing import Any, Literal

import numpy as np

from scheduler.models.crust import crust_index
from scheduler.models.soil_column import (
    ENSEMBLE_TOLERANCE,
    ColumnForcing,
    ColumnParameters,
    ColumnRun,
    ColumnState,
    Float32Array,
    SurfaceHistory,
    band_weights,
    initial_state,
    run_columns,
)
from scheduler.models.weeds.degree_days import wetting_triggers
from scheduler.planning.day import Day
from scheduler.planning.draws import keyed_generator
from scheduler.planning.ensemble import (
    FIRST_SUCTION_KPA,
    N_STORED_LAYERS,
    Ensemble,
    Sky,
    SoilMembers,
    member_skies,
    soil_members,
)
from scheduler.planning.hours import is_working_hour
from scheduler.planning.offers import day_hours, weed_hours
from scheduler.planning.outlook import Ground, met_by, past_wettings
from scheduler.planning.plantings import Trigger
from scheduler.planning.season.world import WorkDay, World
from scheduler.records import BoolArray, FloatArray, IntArray, Kind, WeatherSeries

Forecast = Literal["issued", "perfect", "none"]

N_MEMBERS = 12
_READING_H = 12
AHEAD_H = 240
_PAST_H = 24 * 60  # that a morning looks back on
_KNOWN_H = 24 * 31  # of weather that a forecast is drawn from

_TOP = band_weights(0.0, 10.0, N_STORED_LAYERS)
_TO_30 = band_weights(0.0, 30.0, N_STORED_LAYERS)
_HOUR = timedelta(hours=1)
_SKY_NAMES = ("rain_mm", "air_temp_c", "humidity_frac", "wind_2m_m_s", "solar_mj_m2")


@dataclass(frozen=True)
class Integrals:
    """Running integrals of the weeds of one bed, one row a reading; see `ColumnRun`."""

    germination_cd: Float32Array
    elongation_cd: Float32Array
    drying_d: Float32Array
    leaf_cd: Float32Array

    def parts(self) -> tuple[Float32Array, ...]:
        """All four, (n_members, n_readings, ...)."""
        return self.germination_cd, self.elongation_cd, self.drying_d, self.leaf_cd


@dataclass(frozen=True)
class BedSoil:
    """Soil of one bed by member over some hours; arrays (n_members, n_hours), mappings by tool."""

    is_fit: Mapping[str, BoolArray]
    is_too_wet: Mapping[str, BoolArray]
    theta_0_30_m3m3: Float32Array
    integrals: Integrals  # since the first reading, or since the morning


@dataclass(frozen=True)
class BelievedMorning:
    """One working morning: its clock, the members' weather to come, and the beds in use."""

    day: Day  # of the clock; its sky ends with the days in sight
    spans: tuple[tuple[int, int], ...]  # of the days in sight
    hours: FloatArray  # now and the middle of each day
    rain_mm: Float32Array  # (n_members, n_hours to come)
    et0_mm: Float32Array
    beds: Mapping[str, BedSoil]

    @property
    def hour(self) -> int:
        """Hour of the season from which the days in sight run."""
        return self.day.sky.now_hour


@dataclass(frozen=True)
class Belief:
    """Soil members of a garden under one weather; see `build_belief`."""

    world: World
    n_members: int
    members: Mapping[str, SoilMembers]
    first_reading_hour: int  # readings are taken every twelve hours from here on
    past: Mapping[str, BedSoil]  # of the whole season, by bed
    weekly_soil_c: Mapping[str, FloatArray]  # mean of a week to 10 mm, (n_hours,)
    wettings: tuple[Trigger, ...]
    mornings: Mapping[int, BelievedMorning]  # by day

    @property
    def n_bytes(self) -> int:
        """Bytes held in arrays."""
        held = [*self.past.values(), *(b for m in self.mornings.values() for b in m.beds.values())]
        whole = sum(a.nbytes for m in self.mornings.values() for a in (m.rain_mm, m.et0_mm))
        for bed in held:
            whole += bed.theta_0_30_m3m3.nbytes + sum(a.nbytes for a in bed.integrals.parts())
            arrays = [*bed.is_fit.values(), *bed.is_too_wet.values()]
            whole += sum({id(a): a.nbytes for a in arrays}.values())
        return whole

    def ensemble(self, day: int, bed: str) -> Ensemble:
        """The members of one bed as that morning knew them, back over sixty days.

        Of its run the running integrals alone are filled.
        """
        morning, past = self.mornings[day], self.past[bed].integrals
        to = (morning.hour - self.first_reading_hour) // _READING_H
        at = max(0, to - _PAST_H // _READING_H)
        joined: list[Float32Array] = []
        for was, comes in zip(past.parts(), morning.beds[bed].integrals.parts(), strict=True):
            since = was[:, at : to + 1] - was[:, at : at + 1]
            joined.append(np.concatenate((since[:, 1:], since[:, -1:] + comes), axis=1))
        first = self.first_reading_hour + at * _READING_H
        n_readings = joined[0].shape[1]
        hours = first + _READING_H * np.arange(1, n_readings + 1, dtype=np.int64)
        none32, none = np.zeros((0, 0, 0), np.float32), np.zeros((0, 0))
        germination, elongation, drying, leaf = joined
        state = ColumnState(none, none, none, none)
        run = ColumnRun(
            none32, none32, none32, none32, none32, germination, elongation, drying, leaf, hours,
            none, none, np.zeros(0, np.int64), state, first,
        )  # fmt: skip
        soil = {b.name: b.soil for b in self.world.garden.farm.beds}[bed]
        weights = {name: np.full(self.n_members, 1.0 / self.n_members) for name in self.members}
        return Ensemble(
            self._sky(morning), (run,), {soil: self.members[soil]}, {bed: 0}, 1, weights,
            self.n_members, max(0, morning.hour - _PAST_H), first,
        )  # fmt: skip

    def _sky(self, morning: BelievedMorning) -> Sky:
        """The morning's sky with rain and evaporation of the members; other weather is not kept."""
        truth, hour = self.world.weather.forcing, morning.hour
        shape = (self.n_members, morning.day.sky.n_hours)
        none = np.broadcast_to(np.zeros(1), shape)
        rain, et0 = np.empty(shape), np.empty(shape)
        rain[:, :hour], et0[:, :hour] = truth.rain_mm[:, :hour], truth.et0_mm[:, :hour]
        rain[:, hour:], et0[:, hour:] = morning.rain_mm, morning.et0_mm
        return replace(
            morning.day.sky, forcing=ColumnForcing(rain, et0, none, none, none, none, none)
        )

    def theta_0_30_m3m3(self, day: int, bed: str) -> FloatArray:
        """Water of the surface over the hours that `ensemble` keeps, (n_members, n_hours)."""
        hour = self.mornings[day].hour
        was = self.past[bed].theta_0_30_m3m3[:, max(0, hour - _PAST_H) : hour]
        comes = self.mornings[day].beds[bed].theta_0_30_m3m3
        return np.concatenate((was, comes), axis=1).astype(np.float64)


def build_belief(
    world: World,
    n_members: int = N_MEMBERS,
    rain_told_frac: float = 1.0,
    forecast: Forecast = "issued",
    days: Collection[int] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Belief:
    """Run the members of every bed through the season, and from each working morning ahead.

    Parameters
    ----------
    world : World
        The garden under its weather.
    n_members : int
        Soil members.
    rain_told_frac : float
        Rain that the station tells over that which fell [-].
    forecast : str
        `issued` as skilful as the program takes forecasts to be; `perfect` for the weather that
        came, in every member; `none` for recorded days of the weeks before.
    days : collection of int, optional
        Days on which a morning is looked ahead from; every working day by default.
    progress : callable, optional
        Told the share done.

    Returns
    -------
    Belief
        States, readings and what tools find, by morning and bed.

    Notes
    -----
    The forecast issued on a morning relates to the weather that came as a member's to the forecast:
    it is drawn by `member_skies` from the true days, and the members then from it. Mornings begin
    at the earliest first working hour of the season, so that readings stay twelve hours apart. Only
    beds that a tool may go over that day are looked ahead on. Definition of this project. Range as
    `run_columns` and `member_skies`. Worked: tests/planning/season/test_belief.py.
    """
    truth = _told(world.weather.forcing, rain_told_frac)
    beds = [bed.name for bed in world.garden.farm.beds]
    soils = {bed.name: bed.soil for bed in world.garden.farm.beds}
    seed = world.garden.farm.seed
    members = {
        name: soil_members(prior, world.tables.spread, seed, n_members)
        for name, prior in world.tables.priors.items()
    }
    runner = _Runner(world, members, beds, soils, n_members)
    working = [day for day in world.days if day.is_working]
    looked_on = working if days is None else [day for day in working if day.index in set(days)]
    h0 = min(int(day.open_hours[0]) % 24 for day in working)
    mornings: dict[int, BelievedMorning] = {}
    by_hour = {int(day.open_hours[0]) // 24 * 24 + h0: day for day in looked_on}
    is_open = _open_hours(world, truth.n_hours + AHEAD_H)
    past = [runner.run(truth, beds, slice(0, h0))]
    for hour, end in _legs(h0, truth.n_hours, None if days is None else by_hour):
        day = by_hour.get(hour)
        if progress is not None:
            progress(hour / truth.n_hours)
        if day is not None:
            used = [bed for bed in beds if (day.index, bed) in world.ways]
            if used:
                mornings[day.index] = _morning(
                    world, truth, runner, used, hour, day, is_open, forecast
                )
        past.append(runner.run(truth, beds, slice(hour, end)))
    whole = {bed: _joined_past([part[bed] for part in past]) for bed in beds}
    wettings = past_wettings(_under(world, truth), wetting_triggers(truth.rain_mm), np.ones(1), 0)
    return Belief(
        world, n_members, members, h0,
        {bed: soil for bed, (soil, _) in whole.items()},
        {bed: _weekly(temp_c) for bed, (_, temp_c) in whole.items()},
        tuple(wettings), mornings,
    )  # fmt: skip


def _legs(first: int, end: int, stops: Collection[int] | None) -> list[tuple[int, int]]:
    """Spans from one morning to the next, day by day or from stop to stop."""
    starts = [h for h in range(first, end, 24) if stops is None or h == first or h in stops]
    return list(zip(starts, [*starts[1:], end], strict=True))


def _told(forcing: ColumnForcing, rain_told_frac: float) -> ColumnForcing:
    return replace(forcing, rain_mm=forcing.rain_mm * rain_told_frac)


def _open_hours(world: World, n_hours: int) -> BoolArray:
    farm = world.garden.farm
    return is_working_hour(farm.work, world.weather.start_at, n_hours, farm.place.time_zone)


def _under(world: World, forcing: ColumnForcing) -> Ensemble:
    """The weather alone, for what asks an ensemble for its clock."""
    n = forcing.n_hours
    sky = Sky(world.weather.start_at, n, forcing, np.ones(n, bool), True)
    return Ensemble(sky, (), {}, {}, 1, {}, 1, 0, 0)


@dataclass
class _Piece:
    """What one run of some hours left of a bed."""

    soil: BedSoil
    temp_c: FloatArray  # (n_hours,) to 10 mm, mean of the members


class _Runner:
    """Columns of all beds with their state at the hour that has been reached."""

    def __init__(
        self,
        world: World,
        members: Mapping[str, SoilMembers],
        beds: Sequence[str],
        soils: Mapping[str, str],
        n_members: int,
    ) -> None:
        self.world, self.members, self.soils = world, members, soils
        self.n_members = n_members
        self.place = {bed: i for i, bed in enumerate(beds)}
        each = [members[soils[bed]].parameters for bed in beds]
        self.parameters = ColumnParameters(
            **{f.name: np.concatenate([getattr(p, f.name) for p in each]) for f in fields(each[0])}
        )
        p = self.parameters
        wet = p.theta_33_m3m3 * (33.0 / FIRST_SUCTION_KPA) ** (1.0 / p.b) / p.theta_sat_m3m3
        air = world.weather.forcing.air_temp_c[0, : 24 * 30]
        self.state = initial_state(p, np.minimum(wet, 0.97), float(air.mean()))

    def run(self, forcing: ColumnForcing, beds: Sequence[str], hours: slice) -> dict[str, _Piece]:
        """All beds through hours of one weather; the state moves on."""
        found, self.state = self._run(_cut(forcing, hours), beds, hours, self.state)
        return found

    def ahead(self, forcing: ColumnForcing, beds: Sequence[str], hour: int) -> dict[str, BedSoil]:
        """Some beds from an hour on under the members' weather; the state stays."""
        columns = self._columns(beds)
        state = ColumnState(*(getattr(self.state, f.name)[columns] for f in fields(ColumnState)))
        found, _ = self._run(forcing, beds, slice(hour, hour + forcing.n_hours), state)
        return {bed: piece.soil for bed, piece in found.items()}

    def _columns(self, beds: Sequence[str]) -> IntArray:
        m = self.n_members
        return np.concatenate([self.place[bed] * m + np.arange(m) for bed in beds])

    def _run(
        self, forcing: ColumnForcing, beds: Sequence[str], hours: slice, state: ColumnState
    ) -> tuple[dict[str, _Piece], ColumnState]:
        m = self.n_members
        n_series = forcing.rain_mm.shape[0]
        tables = [_ahead_table(self.world.surfaces[bed], hours) for bed in beds]
        run = run_columns(
            self.parameters.take(self._columns(beds)),
            forcing,
            SurfaceHistory(*(np.stack([t[:, i] for t in tables]) for i in range(6))),
            state,
            series_of=np.tile(np.arange(m) % n_series, len(beds)),
            history_of=np.repeat(np.arange(len(beds)), m),
            weed_heat=self.world.tables.weed_heat,
            n_stored_layers=N_STORED_LAYERS,
            reading_every_h=_READING_H,
            tolerance=ENSEMBLE_TOLERANCE,
        )
        return self._pieces(run, beds), run.state

    def _pieces(self, run: ColumnRun, beds: Sequence[str]) -> dict[str, _Piece]:
        """What the run left of each bed; all beds of a soil are read together."""
        traits = self.world.tables.kit.rules.traits
        keys = sorted({tool.key for tool in self.world.garden.farm.tools})
        asked = list(dict.fromkeys(traits[key] for key in keys))
        found: dict[str, _Piece] = {}
        for soil in sorted({self.soils[bed] for bed in beds}):
            here = [bed for bed in beds if self.soils[bed] == soil]
            n = self.n_members
            rows = np.concatenate([beds.index(bed) * n + np.arange(n) for bed in here])
            members = _repeated(self.members[soil], len(here))
            theta = run.theta_m3m3[rows].astype(np.float64)
            temp = run.temp_c[rows].astype(np.float64)
            p, top = members.parameters, theta @ _TOP
            suction = 33.0 * (top / p.theta_33_m3m3[:, None]) ** (-p.b[:, None])
            index = crust_index(run.crust_maturity_frac[rows].astype(np.float64), suction)
            ground = Ground(members, theta, temp[:, :, 0] <= 0.05, index)
            met = [met_by(trait, ground) for trait in asked]
            fit = [one.is_fit for one in met]
            theta_0_30 = (theta @ _TO_30).astype(np.float32)
            warm = temp @ _TOP
            for i, bed in enumerate(here):
                at, of = slice(i * n, (i + 1) * n), slice(beds.index(bed) * n, None)
                own = [
                    (f[at].copy(), m.is_too_wet[at].copy()) for f, m in zip(fit, met, strict=True)
                ]
                by_trait = dict(zip(asked, own, strict=True))
                readings = (run.germination_cd, run.elongation_cd, run.drying_d, run.leaf_cd)
                soil_of_bed = BedSoil(
                    {key: by_trait[traits[key]][0] for key in keys},
                    {key: by_trait[traits[key]][1] for key in keys},
                    theta_0_30[at].copy(),
                    Integrals(*(values[of][:n].copy() for values in readings)),
                )
                found[bed] = _Piece(soil_of_bed, warm[at].mean(axis=0))
        return {bed: found[bed] for bed in beds}


def _repeated(members: SoilMembers, n_times: int) -> SoilMembers:
    """The members of a soil, once for each of several beds."""
    names = ("working_m3m3", "wheel_m3m3", "ceiling_m3m3", "dry_limit_m3m3")
    each = np.tile(np.arange(members.working_m3m3.size), n_times)
    thresholds = {name: getattr(members, name)[each] for name in names}
    return SoilMembers(parameters=members.parameters.take(each), **thresholds)


def _cut(forcing: ColumnForcing, hours: slice) -> ColumnForcing:
    return ColumnForcing(*(getattr(forcing, f.name)[:, hours] for f in fields(forcing)))


def _ahead_table(table: FloatArray, hours: slice) -> FloatArray:
    """Hours of a surface table, its last one repeated beyond the end."""
    at = np.minimum(np.arange(hours.start, hours.stop), table.shape[0] - 1)
    cut: FloatArray = table[at]
    return cut


def _joined_past(parts: Sequence[_Piece]) -> tuple[BedSoil, FloatArray]:
    """Pieces in a row as one; integrals run on from the second piece, a zero before them."""

    def rows(of: Sequence[Mapping[str, BoolArray]]) -> dict[str, BoolArray]:
        same: dict[int, BoolArray] = {}
        joined = {}
        for key in of[0]:
            mark = id(of[0][key])
            if mark not in same:
                same[mark] = np.concatenate([part[key] for part in of], axis=1)
            joined[key] = same[mark]
        return joined

    def running(of: Sequence[Float32Array]) -> Float32Array:
        steps = [np.diff(part, axis=1, prepend=np.zeros_like(part[:, :1])) for part in of]
        joined = np.cumsum(np.concatenate(steps, axis=1), axis=1, dtype=np.float64)
        return np.concatenate((np.zeros_like(joined[:, :1]), joined), axis=1).astype(np.float32)

    later = [part.soil.integrals.parts() for part in parts[1:]]
    soil = BedSoil(
        rows([part.soil.is_fit for part in parts]),
        rows([part.soil.is_too_wet for part in parts]),
        np.concatenate([part.soil.theta_0_30_m3m3 for part in parts], axis=1),
        Integrals(*(running([part[i] for part in later]) for i in range(4))),
    )
    return soil, np.concatenate([part.temp_c for part in parts])


def _weekly(temp_c: FloatArray) -> FloatArray:
    """Mean of the week up to each hour; the first hour stands for those before it."""
    week = np.concatenate((np.full(167, temp_c[0]), temp_c))
    mean: FloatArray = np.convolve(week, np.ones(168) / 168.0, mode="valid")
    return mean


def _morning(
    world: World,
    truth: ColumnForcing,
    runner: _Runner,
    beds: Sequence[str],
    hour: int,
    day: WorkDay,
    is_open: BoolArray,
    forecast: Forecast,
) -> BelievedMorning:
    members = _members_ahead(world, truth, hour, runner.n_members, forecast)
    n_hours = hour + AHEAD_H
    none = np.broadcast_to(np.zeros(1), (1, n_hours))
    sky = Sky(
        world.weather.start_at, hour, ColumnForcing(*[none] * 7), np.ones(n_hours, bool), True
    )
    clock = Day(world.garden.farm, sky, max(0, hour - _PAST_H), sky.at(hour), is_open[:n_hours])
    return BelievedMorning(
        clock,
        tuple(day_hours(clock)),
        weed_hours(clock),
        members.rain_mm.astype(np.float32),
        members.et0_mm.astype(np.float32),
        runner.ahead(members, beds, hour),
    )


def _members_ahead(
    world: World, truth: ColumnForcing, hour: int, n_members: int, forecast: Forecast
) -> ColumnForcing:
    """The members' weather from an hour on, under the forecast as it was issued then."""
    farm, start = world.garden.farm, world.weather.start_at
    exact = replace(
        world.tables.spread, ln_et0_sd_estimated=0.0, ln_et0_sd_measured=0.0,
        ln_rain_sd_gauge=0.0, ln_rain_sd_station=0.0,
    )  # fmt: skip
    first = max(0, hour - _KNOWN_H)
    now = start + hour * _HOUR
    own = int(keyed_generator(farm.seed, "season forecast", world.weather.name).integers(2**31))
    came = _series(world, truth, first, hour)
    issued = member_skies(came, now, farm.place, exact, own, 1).forcing
    ahead = replace(
        came,
        **{name: getattr(issued, name)[0] for name in _SKY_NAMES},
        forecast_issued_at=now,
    )
    if forecast == "none":
        ahead = _until(came, hour - first)
    sky = member_skies(ahead, now, farm.place, exact, farm.seed, n_members)
    members = _cut(sky.forcing, slice(hour - first, None))
    return _as_came(members, truth, hour) if forecast == "perfect" else members


def _until(series: WeatherSeries, n_hours: int) -> WeatherSeries:
    """A series of which nothing is known from an hour on."""
    known = np.arange(series.n_hours) < n_hours
    cut: dict[str, Any] = {
        name: np.where(known, getattr(series, name), np.nan) for name in _SKY_NAMES
    }
    return replace(series, **cut, forecast_issued_at=None)


def _as_came(members: ColumnForcing, truth: ColumnForcing, hour: int) -> ColumnForcing:
    """Every member with the true weather, for as long as the season lasts."""
    n_known = max(0, min(members.n_hours, truth.n_hours - hour))
    came = {}
    for f in fields(members):
        came[f.name] = np.array(getattr(members, f.name))
        came[f.name][:, :n_known] = getattr(truth, f.name)[:, hour : hour + n_known]
    return ColumnForcing(**came)


def _series(world: World, truth: ColumnForcing, first: int, hour: int) -> WeatherSeries:
    """True weather as a series that ends with the days in sight, NaN beyond the season."""
    n_hours = hour - first + AHEAD_H
    kinds = dict.fromkeys(_SKY_NAMES, np.full(n_hours, int(Kind.OBSERVED), np.int8))
    start = world.weather.start_at + first * _HOUR

    def told(name: str) -> FloatArray:
        values = np.full(n_hours, np.nan)
        known = getattr(truth, name)[0, first : hour + AHEAD_H]
        values[: known.size] = known
        return values

    return WeatherSeries(
        start,
        told("rain_mm"),
        told("air_temp_c"),
        told("humidity_frac"),
        told("wind_2m_m_s"),
        told("solar_mj_m2"),
        kinds,
        forecast_issued_at=world.weather.start_at + hour * _HOUR,
    )
