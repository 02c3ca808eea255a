"""What is hidden from the rules: one draw of soil, clock, size and kill, and the weeds under it.

Weeds are followed seed by seed: when a seed is woken all its hours to come are read off the running
integrals of its bed's column (germinated, up, leafed), as the cohorts do; a pass thins those that
stand in its reach. Two builds: `gate` reads the integrals of the program, `product` goes by another
model (germination by temperature times the margin of moisture, day by day, no depletion of the
pool, kill by another table, weeds in clumps).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numba as nb
import numpy as np

from scheduler.errors import UsageError
from scheduler.models.kill import spread_kill_frac
from scheduler.models.soil_column import WEED_BANDS_MM, Float32Array, band_weights
from scheduler.models.weeds.cohorts import (
    N_SEEDS,
    N_STATES,
    _at,
    _reach,
    _reach_between,
    depths_within_bands,
    seed_sample,
)
from scheduler.models.weeds.degree_days import wetting_triggers
from scheduler.planning.draws import keyed_generator
from scheduler.planning.ensemble import SoilMembers, SoilPrior, Spread, soil_members
from scheduler.planning.outlook import Outlook, planting_outlook
from scheduler.planning.passes import (
    KillSettings,
    PassWeather,
    pass_weather,
    tool_kill_frac,
)
from scheduler.planning.season.shapes import Truth
from scheduler.planning.season.world import Plot, Way, WorkDay, World, one_member_run
from scheduler.planning.weeds import BETWEEN, IN_ROW, WeedFuture, WeedSettings
from scheduler.records import BoolArray, FloatArray, IntArray

GATE, PRODUCT = "gate", "product"
_LEAST_OPENING = 0.03  # of a full flush: less is not followed
_SOWING_STIRS = (0.7, 0.0)  # in the row, between
_REACH_MM = 25.0  # threads from deeper escape a pass that is thought of
_TODAY = 1  # place of today's pass among the hours of a future: after now
_NEVER = 1e9

# the other build
_CLUMP = 0.6  # shape of the negative binomial of weeds by square metre
_COLDEST_C = 0.0
_WETTEST_MPA, _DRIEST_MPA = -0.01, -20.0
_STIR_DRY = (0.80, 0.55, 0.25, 0.05, 0.02)  # tines and fingers, by stage
_STIR_WET = (0.45, 0.25, 0.10, 0.02, 0.01)
_CUT_DRY = (0.85, 0.85, 0.80, 0.65, 0.50)  # blades between the rows
_CUT_WET = (0.60, 0.60, 0.60, 0.50, 0.40)
_WET_WITHIN_H = 24

# columns of the table of seeds
_DEPTH, _SPROUT, _UP, _ONE, _THREE, _SIX, _STANDS, _DRY, _HAZARD, _BAND = range(10)
_N_COLUMNS = 10

_jit = nb.njit(cache=True, error_model="numpy")


# --------------------------------------------------------------------- drawing


@dataclass(frozen=True)
class TruthSpread:
    """How far truths stray where the members of a soil do not say it."""

    farm_size_ln_sd: float = 0.6
    event_size_ln_sd: float = 0.35
    least_share_frac: float = 0.25  # of the pool that a stirring opens
    most_share_frac: float = 0.50


OUTSIDE: Mapping[str, Mapping[str, float]] = {
    "clock slow": {"clock": 0.7},
    "clock fast": {"clock": 1.4},
    "spread small": {"spread": 0.55},
    "spread large": {"spread": 1.45},
    "kill poor": {"kill": 0.6},
    "flush small": {"size": 1.0 / 3.0},
    "flush large": {"size": 3.0},
    "soil early": {"threshold": 0.02},
    "soil late": {"threshold": -0.02},
    "share small": {"share": 0.1},
    "share large": {"share": 0.6},
    "gauge low": {"gauge": 0.8},
    "dose large": {"dose": 3.0},
}  # truths outside the prior, each in one way


def draw_truth(
    name: str,
    seed: int,
    world: World,
    outside: str = "",
    build: str = GATE,
    spread: TruthSpread | None = None,
    soils: Mapping[str, SoilMembers] | None = None,
) -> Truth:
    """One hidden truth.

    Parameters
    ----------
    name : str
        Name of the draw; with the seed the key of all its random numbers.
    seed : int
        Seed of the study.
    world : World
        For the beds, soils and tables; its weather plays no part.
    outside : str
        A key of `OUTSIDE`: the truth then lies outside the prior in that one way.
    build : str
        `gate` or `product`.
    spread : TruthSpread, optional
        Spreads that the tables do not have.
    soils : mapping, optional
        Its soils, one member each, where they are drawn already.

    Returns
    -------
    Truth
        Soil, clock, sizes, kill.

    Raises
    ------
    UsageError
        If `outside` or `build` is not known.

    Notes
    -----
    Inside: the prior of the program, farm by farm. The spread of the flush's size is that of the
    tables, shared out over farm, bed and opening. Outside: clock and spread, share and gauge are
    set; size, kill and dose are multiplied; the working threshold is moved [m3/m3]. Definition of
    this project. No range stated. Worked: tests/planning/season/test_truth.py.
    """
    if outside and outside not in OUTSIDE:
        raise UsageError(
            f"truth: no way {outside!r} outside the prior; one of {', '.join(OUTSIDE)}"
        )
    if build not in (GATE, PRODUCT):
        raise UsageError(f"truth: no build {build!r}; {GATE} or {PRODUCT}")
    sd = TruthSpread() if spread is None else spread
    weeds, kit = world.tables.kit.weeds, world.tables.kit
    off = OUTSIDE.get(outside, {})
    own = int(keyed_generator(seed, "truth", name).integers(2**62))

    def z(*key: str) -> float:
        return float(keyed_generator(own, *key).normal())

    beds = [bed.name for bed in world.garden.farm.beds]
    parts = sd.farm_size_ln_sd**2 + sd.event_size_ln_sd**2
    bed_sd = np.sqrt(max(weeds.size_ln_sd**2 - parts, 0.0))
    keys = sorted({tool.key for tool in world.garden.farm.tools})
    if soils is None:
        soils = {
            name: _soil_of(p, world.tables.spread, own) for name, p in world.tables.priors.items()
        }
    share = keyed_generator(own, "share").uniform(sd.least_share_frac, sd.most_share_frac)
    return Truth(
        name=name,
        is_outside=bool(outside),
        soils={soil: _moved(members, off.get("threshold", 0.0)) for soil, members in soils.items()},
        clock=off.get("clock", float(np.exp(weeds.clock_ln_sd * z("clock")))),
        spread=off.get("spread", float(np.exp(weeds.spread_ln_sd * z("spread")))),
        farm_size_ln=sd.farm_size_ln_sd * z("size") + float(np.log(off.get("size", 1.0))),
        bed_size_ln={bed: float(bed_sd * z("size", bed)) for bed in beds},
        event_size_ln_sd=sd.event_size_ln_sd,
        kill_ln={
            key: kit.rules.settings.ln_sd_farm * z("kill", key)
            + float(np.log(off.get("kill", 1.0)))
            for key in keys
        },
        pass_kill_ln_sd=kit.rules.settings.ln_sd_pass,
        pass_share_frac=off.get("share", float(share)),
        dry_bias_kpa=weeds.dry_bias_sd_kpa * z("dry bias"),
        gauge_factor=off.get("gauge", 1.0),
        dose_factor=off.get("dose", 1.0),
        build=build,
        seed=own,
        mix={
            bed: keyed_generator(own, "mix", bed).dirichlet(
                weeds.mix_concentration * weeds.mix / weeds.mix.sum()
            )
            for bed in beds
        },
    )


def _soil_of(prior: SoilPrior, spread: Spread, seed: int) -> SoilMembers:
    return soil_members(prior, spread, seed, 1)


def _moved(members: SoilMembers, by_m3m3: float) -> SoilMembers:
    """Thresholds moved: above nought the soil is fit while wetter."""
    if by_m3m3 == 0.0:
        return members
    return replace(
        members,
        working_m3m3=members.working_m3m3 + by_m3m3,
        wheel_m3m3=members.wheel_m3m3 + by_m3m3,
        ceiling_m3m3=np.maximum(members.ceiling_m3m3, members.working_m3m3 + by_m3m3),
    )


# ---------------------------------------------------------------- a true season


@dataclass(frozen=True)
class TrueBed:
    """One bed through the season as it truly is: its column, workable hours, what passes meet."""

    outlook: Outlook
    weather: PassWeather
    germination: Float32Array  # (n_guilds, n_bands, n_gates, n_readings + 1)
    elongation: Float32Array  # (n_guilds, n_bands, n_readings + 1)
    drying: Float32Array  # (n_bands, n_readings + 1)
    leaf: Float32Array  # (n_guilds, n_readings + 1)
    temp_c: FloatArray  # (n_bands, n_days) means of days, for the other build
    water_mpa: FloatArray  # (n_bands, n_days)
    air_c: FloatArray  # (n_days,)
    weekly_c: FloatArray  # (n_hours,) soil of the week before


@dataclass(frozen=True)
class TruthSeason:
    """A truth under the weather of a world; serves every rule and budget."""

    world: World
    truth: Truth
    beds: Mapping[str, TrueBed]
    wettings: tuple[float, ...]  # hours at which rain woke seeds in dry ground
    kill: KillSettings
    step_h: float
    kills: dict[tuple[str, str, float, str], FloatArray] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )  # of passes asked for before: bed, tool, hour, purpose

    def fit_hours(self, bed: str, way: Way, day: WorkDay) -> IntArray:
        """Working hours of a day, within those of a way, at which the soil truly lets it work."""
        fits: BoolArray = self.beds[bed].outlook.works[way.tool.key].is_workable[0]
        hours = day.open_hours
        hours = hours[(hours >= way.from_hour) & (hours < way.until_hour)]
        return hours[fits[hours]]


def truth_season(world: World, truth: Truth) -> TruthSeason:
    """The columns of a truth run through the weather of a world.

    Parameters
    ----------
    world : World
        The season.
    truth : Truth
        What is hidden.

    Returns
    -------
    TruthSeason
        By bed: workable hours, running integrals, what passes meet.

    Notes
    -----
    One column a soil and cover; passes do not change it. Definition of this project. Range as the
    models it runs. Worked: tests/planning/season/test_truth.py.
    """
    farm, tables = world.garden.farm, world.tables
    ensemble = one_member_run(farm, world.weather, truth.soils, world.surfaces, tables.weed_heat)
    dose = replace(
        tables.kit.rules.settings,
        drying_need_mm=tables.kit.rules.settings.drying_need_mm * truth.dose_factor,
    )
    keys = {tool.key for tool in farm.tools}
    traits = {key: tables.kit.rules.traits[key] for key in keys}
    beds: dict[str, TrueBed] = {}
    same: dict[int, TrueBed] = {}
    step = 6.0
    for bed in farm.beds:
        group = ensemble.group_of[bed.name]
        if group not in same:
            run, columns = ensemble.run_of(bed.name)
            surface = world.surfaces[bed.name]
            plot = next(p for p in world.plots if p.planting.bed.soil == bed.soil)
            empty = replace(plot.empty, bed=bed)
            outlook = planting_outlook(
                empty, ensemble, (), tables.views[:1], tables.kit.crops, traits, surface
            )
            c = columns.start
            step = float(run.reading_hours[1] - run.reading_hours[0])
            members = truth.soils[bed.soil]
            theta = run.theta_m3m3[c].astype(np.float64)
            temp = run.temp_c[c].astype(np.float64)
            shares = np.stack([band_weights(a, b, theta.shape[1]) for a, b in WEED_BANDS_MM])
            same[group] = TrueBed(
                outlook,
                pass_weather(outlook, ensemble, surface, dose),
                _along(run.germination_cd[c]),
                _along(run.elongation_cd[c]),
                _along(run.drying_d[c]),
                _along(run.leaf_cd[c]),
                shares @ _by_day(temp).T,
                _potential_mpa(shares @ _by_day(theta).T, members),
                _by_day(world.weather.forcing.air_temp_c[0][:, None])[:, 0],
                _weekly(outlook.surface_temp_c[0]),
            )
        beds[bed.name] = same[group]
    rain = world.weather.forcing.rain_mm
    wettings = tuple(float(h) for h in np.flatnonzero(wetting_triggers(rain)[0]))
    return TruthSeason(world, truth, beds, wettings, dose, step)


def _along(values: Any) -> Float32Array:
    """Readings last, a zero before the first."""
    moved = np.moveaxis(values, 0, -1)
    whole = np.zeros((*moved.shape[:-1], moved.shape[-1] + 1), np.float32)
    whole[..., 1:] = moved
    return whole


def _by_day(values: FloatArray) -> FloatArray:
    """Means of whole days (n_hours, k) to (n_days, k)."""
    n = values.shape[0] // 24
    mean: FloatArray = values[: 24 * n].reshape(n, 24, -1).mean(axis=1)
    return mean


def _potential_mpa(theta: FloatArray, members: SoilMembers) -> FloatArray:
    p = members.parameters
    kpa = 33.0 * (theta / p.theta_33_m3m3[0]) ** (-p.b[0])
    potential: FloatArray = np.clip(-kpa / 1000.0, _DRIEST_MPA, _WETTEST_MPA)
    return potential


def _weekly(soil_c: FloatArray) -> FloatArray:
    week = np.concatenate((np.full(167, soil_c[0]), soil_c))
    mean: FloatArray = np.convolve(week, np.ones(168) / 168.0, mode="valid")
    return mean


# ------------------------------------------------------------- seeds of one plot


@_jit
def _seeds_by_gate(  # type: ignore[no-untyped-def]
    germination, elongation, drying, leaf, gate_kpa, start, clock, spread, bias,
    theta50, sigma, base_kpa, base_sd, depth, rise_cd, hold, seed_leaf, phyllochron, hazard,
    score, rise_of, is_wanted, seeds,
):  # fmt: skip
    """Hours of every seed of an opening, positions on the readings; as the cohorts have them."""
    n_guilds, n_bands = depth.shape[:2]
    n_gates = gate_kpa.shape[0]
    row = 0
    for g in range(n_guilds):
        for j in range(n_bands):
            reading = int(start)
            for q in range(score.shape[1]):
                e = rise_of[j, q]
                seeds[row, _DEPTH] = depth[g, j, e]
                seeds[row, _SPROUT:_STANDS] = _NEVER
                seeds[row, _STANDS] = 0.0
                seeds[row, _HAZARD] = hazard[j]
                seeds[row, _BAND] = j
                seeds[row, _DRY] = 0.0
                if not is_wanted[g, j] or reading >= germination.shape[3] - 1:
                    row += 1
                    continue
                bears = base_kpa[g] * (1.0 - base_sd * score[j, q]) + bias
                k = 0
                while k < n_gates - 2 and gate_kpa[k + 1] < bears:
                    k += 1
                f = (bears - gate_kpa[k]) / (gate_kpa[k + 1] - gate_kpa[k])
                f = min(max(f, 0.0), 1.0)
                need = theta50[g] * np.exp(sigma[g] * spread * score[j, q]) / clock
                low = _at(germination[g, j], k, start)
                high = _at(germination[g, j], k + 1, start)
                sprout, reading = _reach_between(
                    germination[g, j], k, f, start, (1.0 - f) * low + f * high + need, reading
                )
                if sprout < _NEVER:
                    up, _ = _reach(elongation[g], j, sprout, rise_cd[g, j, e] / clock, int(sprout))
                    seeds[row, _SPROUT] = sprout
                    seeds[row, _UP] = up
                    dry = _at(drying, j, sprout)
                    seeds[row, _DRY] = dry
                    stands = 1.0
                    if hazard[j] > 0.0:
                        stands = np.exp(-hazard[j] * max(_at(drying, j, up) - dry, 0.0))
                    seeds[row, _STANDS] = stands * (1.0 - hold[g, j, e])
                    if up < _NEVER:
                        for i in range(3):
                            cd = (seed_leaf[g] + (1.0, 3.0, 6.0)[i] * phyllochron[g]) / clock
                            seeds[row, _ONE + i], _ = _reach(leaf, g, up, cd, int(up))
                row += 1


@_jit
def _state_of(seeds, i, time):  # type: ignore[no-untyped-def]
    """0 in the ground, 1 thread, 2 seed leaf, 3 one or two leaves, 4 three to five, 5 six."""
    if time < seeds[i, _SPROUT]:
        return 0
    if time < seeds[i, _UP]:
        return 1
    if time < seeds[i, _ONE]:
        return 2
    if time < seeds[i, _THREE]:
        return 3
    if time < seeds[i, _SIX]:
        return 4
    return 5


@_jit
def _stands(seeds, i, state, drying, time):  # type: ignore[no-untyped-def]
    """Share of a seed that neither drying nor a crust has taken by a time."""
    if state == 0:
        return 1.0
    if state > 1:
        return seeds[i, _STANDS]
    if seeds[i, _HAZARD] <= 0.0:
        return 1.0
    dried = _at(drying, int(seeds[i, _BAND]), time) - seeds[i, _DRY]
    return np.exp(-seeds[i, _HAZARD] * max(dried, 0.0))


@_jit
def _count(seeds, weight, drying, time, out):  # type: ignore[no-untyped-def]
    for i in range(seeds.shape[0]):
        s = _state_of(seeds, i, time)
        stands = _stands(seeds, i, s, drying, time)
        for z in range(2):
            out[z, s] += stands * weight[i, z]


@_jit
def _thin(seeds, weight, time, kill, depth_mm):  # type: ignore[no-untyped-def]
    for i in range(seeds.shape[0]):
        s = _state_of(seeds, i, time)
        if s == 0 or (s == 1 and seeds[i, _DEPTH] > depth_mm):
            continue
        for z in range(2):
            weight[i, z] *= 1.0 - kill[z, s - 1]


@_jit
def _add_ways(seeds, weight, drying, times, first_way, reach_mm, ways):  # type: ignore[no-untyped-def]
    n_times = times.shape[0]
    state = np.zeros(n_times, np.int64)
    for i in range(seeds.shape[0]):
        for t in range(n_times):
            s = _state_of(seeds, i, times[t])
            if s == 1 and t < n_times - 1 and seeds[i, _DEPTH] > reach_mm:
                s = 0
            state[t] = s
        stands = _stands(seeds, i, state[n_times - 1], drying, times[n_times - 1])
        for w in range(ways.shape[0]):
            way = (state[first_way] * 6 + state[first_way + w]) * 6 + state[n_times - 1]
            for z in range(2):
                ways[w, z, way] += stands * weight[i, z]


class TruthWeeds:
    """The weeds of one plot under a truth, from its preparation on, moved on by what is done.

    `count_m2` reads them, `open_by` and `kill_by` change them; everything is per square metre of
    the zone, (2 zones).
    """

    def __init__(self, season: TruthSeason, plot: Plot) -> None:
        self.season, self.plot = season, plot
        self.bed = season.beds[plot.key]
        self.settings: WeedSettings = season.world.tables.kit.weeds
        truth = season.truth
        n_guilds = self.settings.mix.shape[0]
        self.mix = np.asarray(truth.mix.get(plot.key, self.settings.mix / self.settings.mix.sum()))
        self.full_m2 = self.settings.size_m2 * float(
            np.exp(truth.farm_size_ln + truth.bed_size_ln.get(plot.key, 0.0))
        )
        self.pool = np.ones((n_guilds, 2))
        self.last_d = np.full(2, -np.inf)
        self.at_d = plot.prepared_hour / 24.0
        self.seeds = np.zeros((0, _N_COLUMNS))
        self.weight = np.zeros((0, 2))
        self.opened_m2 = np.zeros(2)
        self.openings: list[tuple[float, FloatArray, str]] = []
        self.kills: list[tuple[float, FloatArray, float]] = []
        self._sample = _sample(self.settings)

    # ------------------------------------------------------------- reading

    def count_m2(self, hour: float) -> FloatArray:
        """Weeds by zone and state (2, 6): in the ground, then by stage."""
        out = np.zeros((2, N_STATES))
        _count(self.seeds, self.weight, self.bed.drying, self._position(hour), out)
        return out

    def future(self, hours: FloatArray, end_hour: float) -> WeedFuture:
        """The ways of what stands and of what a pass today opens, in one particle.

        `hours` are now, today's pass and the days to come, as `weed_hours` has them.
        """
        times = (np.append(hours, end_hour)) / self.season.step_h
        n_ways = times.size - 1 - _TODAY
        standing = np.zeros((n_ways, 2, N_STATES**3))
        reach = _REACH_MM
        _add_ways(self.seeds, self.weight, self.bed.drying, times, _TODAY, reach, standing)
        today = float(hours[_TODAY])
        size = self._size(today, np.ones(2), 1.0) * self._share()
        seeds, per_m2 = self._woken(today)
        opened = np.zeros_like(standing)
        _add_ways(seeds, self._weights(per_m2, size), self.bed.drying, times, _TODAY, reach, opened)
        ready = self._pool_at(today) * self._season(today)[:, None] * self._share()
        return WeedFuture(
            end_hour,
            standing[None].astype(np.float32),
            opened[None].astype(np.float32),
            (self.full_m2 * self.mix @ ready)[None],
            today / 24.0 - self.last_d,
        )

    # ------------------------------------------------------------ changing

    def open_by(self, label: str, hour: float, stirs_frac: FloatArray, depth_mm: float) -> float:
        """Wake seeds by a stirring (`preparation`, `sowing`, `pass`) or a `wetting`.

        Returns what was woken, seeds a square metre of the bed.
        """
        settings, truth = self.settings, self.season.truth
        self._refill(hour)
        stirs = np.asarray(stirs_frac, dtype=np.float64)
        if label in ("preparation", "pass"):
            stirs = stirs * np.interp(depth_mm, settings.size_depth_mm, settings.size_depth_frac)
        guilds = settings.wetting_share if label == "wetting" else 1.0
        size = self._size(hour, stirs, guilds)
        share = settings.pass_share
        if label == "pass":
            size, share = size * self._share(), truth.pass_share_frac
            taken = share * size / max(self._share(), 1e-9)
        else:
            taken = share * size
        if truth.build == GATE:
            self.pool -= taken
        if label != "wetting":
            self.last_d = np.where(stirs > 0.0, hour / 24.0, self.last_d)
        if float(size.max()) < _LEAST_OPENING:
            return 0.0
        self.openings.append((hour, size, label))
        seeds, per_m2 = self._woken(hour)
        weight = self._weights(per_m2, size * self._luck(label, hour))
        keep = weight.sum(axis=1) > 0.0
        self.seeds = np.concatenate((self.seeds, seeds[keep]))
        self.weight = np.concatenate((self.weight, weight[keep]))
        woken = weight.sum(axis=0)
        self.opened_m2 = self.opened_m2 + woken
        a = self.plot.row_share
        return float(a * woken[IN_ROW] + (1.0 - a) * woken[BETWEEN])

    def kill_by(self, hour: float, kill_frac: FloatArray, depth_mm: float) -> None:
        """Thin what stands, by zone and stage (2, 5); threads only down to a depth."""
        self.kills.append((hour, kill_frac, depth_mm))
        _thin(self.seeds, self.weight, self._position(hour), kill_frac, depth_mm)

    # -------------------------------------------------------------- within

    def _position(self, hour: float) -> float:
        return hour / self.season.step_h

    def _share(self) -> float:
        """What a pass opens, against the tabled share of the pool."""
        return self.season.truth.pass_share_frac / self.settings.pass_share

    def _refill(self, hour: float) -> None:
        self.pool = self._pool_at(hour)
        self.at_d = hour / 24.0

    def _pool_at(self, hour: float) -> FloatArray:
        left = np.exp(-(hour / 24.0 - self.at_d) / self.settings.refill_d)
        filled: FloatArray = 1.0 - (1.0 - self.pool) * left
        return filled

    def _season(self, hour: float) -> FloatArray:
        at = self.season.world.at(hour)
        is_south = self.season.world.garden.farm.place.latitude_deg < 0.0
        month = (at.month + 5) % 12 + 1 if is_south else at.month
        week = self.bed.weekly_c
        mean = float(week[min(max(int(hour), 0), week.size - 1)])
        share = self.settings.season[:, month - 1]
        return np.where(mean >= self.settings.warm_gate_c, share, 0.0)

    def _size(self, hour: float, stirs: FloatArray, guilds: FloatArray | float) -> FloatArray:
        """Opened share of a full flush by guild and zone."""
        ready = 1.0 - np.exp(-(hour / 24.0 - self.last_d) / self.settings.recovery_d)
        by_guild = self._season(hour) * guilds
        size: FloatArray = self._pool_at(hour) * by_guild[:, None] * (stirs * ready)[None, :]
        return size

    def _luck(self, label: str, hour: float) -> FloatArray:
        """Noise of one opening, keyed by bed, date and what opened it; by zone where clumped."""
        truth, bed = self.season.truth, self.plot.key
        day = self.season.world.at(hour).date().isoformat()
        z = keyed_generator(truth.seed, "event size", bed, label, day).normal()
        luck = np.full(2, float(np.exp(truth.event_size_ln_sd * z)))
        if truth.build == PRODUCT:
            generator = keyed_generator(truth.seed, "clumps", bed, label, day)
            metres = max(1, round(self.plot.area_m2))
            luck = luck * generator.gamma(_CLUMP, 1.0 / _CLUMP, (2, metres)).mean(axis=1)
        return luck

    def _weights(self, per_m2: FloatArray, size: FloatArray) -> FloatArray:
        """Seeds a square metre by row of the table and zone."""
        n = per_m2.shape[0] // size.shape[0]
        weight: FloatArray = per_m2[:, None] * np.repeat(size, n, axis=0)
        return weight

    def _woken(self, hour: float) -> tuple[FloatArray, FloatArray]:
        """Table of the seeds that an opening wakes, and how many each stands for in a full one."""
        guilds, truth = self.settings.guilds, self.season.truth
        s = self._sample
        n_guilds, n_bands = guilds.band_share.shape
        n_seeds = s.score.shape[1]
        per_m2 = self.full_m2 * self.mix[:, None] * guilds.band_share / n_seeds
        seeds = np.zeros((n_guilds * n_bands * n_seeds, _N_COLUMNS))
        if truth.build == GATE:
            bed = self.bed
            _seeds_by_gate(
                bed.germination, bed.elongation, bed.drying, bed.leaf,
                self.season.world.tables.weed_heat.gate_kpa.astype(np.float64),
                self._position(hour), truth.clock, truth.spread, truth.dry_bias_kpa,
                guilds.theta50_cd, guilds.sigma_ln, guilds.base_suction_kpa,
                guilds.base_suction_sd_frac, s.depth, s.rise_cd, s.hold,
                guilds.seed_leaf_cd, guilds.phyllochron_cd, guilds.band_hazard_d,
                s.score, s.rise_of, per_m2 > 0.0, seeds,
            )  # fmt: skip
        else:
            self._seeds_by_product(hour, seeds)
        return seeds, np.repeat(per_m2.ravel(), n_seeds)

    def _seeds_by_product(self, hour: float, seeds: FloatArray) -> None:
        """The other build: whole days, warmth times the margin of moisture, no death by drying."""
        guilds, truth, s = self.settings.guilds, self.season.truth, self._sample
        heat = self.season.world.tables.weed_heat
        first = int(np.ceil(hour / 24.0))
        per_day = 24.0 / self.season.step_h
        n_guilds, n_bands = guilds.band_share.shape
        n_seeds = s.score.shape[1]
        table = seeds.reshape(n_guilds, n_bands, n_seeds, _N_COLUMNS)
        table[..., _SPROUT:_STANDS] = _NEVER
        for g in range(n_guilds):
            best = float(heat.optimum_c[g])
            air = np.clip(self.bed.air_c[first:], None, best) - heat.leaf_base_c[g]
            leaf = np.concatenate(([0.0], np.cumsum(np.maximum(air, 0.0))))
            for j in range(n_bands):
                warm = np.clip(self.bed.temp_c[j, first:], None, best) - heat.base_c[g]
                warm = np.maximum(warm, _COLDEST_C)
                water = self.bed.water_mpa[j, first:]
                grown = np.concatenate(([0.0], np.cumsum(warm)))
                base = -(guilds.base_suction_kpa[g] + truth.dry_bias_kpa) / 1000.0
                bears = base * (1.0 - guilds.base_suction_sd_frac * truth.spread * s.score[j])
                bears = np.minimum(bears, -0.05)
                gain = warm[None, :] * np.maximum(water[None, :] - bears[:, None], 0.0)
                need = guilds.theta50_cd[g] * -base / truth.clock
                sprout = (np.cumsum(gain, axis=1) < need).sum(axis=1) + 1  # days from the first
                rise = s.rise_cd[g, j][s.rise_of[j]] / truth.clock
                depth = s.depth[g, j][s.rise_of[j]]
                leaves = (1.0, 3.0, 6.0)
                row = table[g, j]
                row[:, _DEPTH], row[:, _BAND] = depth, j
                row[:, _STANDS] = 0.5 ** ((depth / guilds.half_depth_mm[g]) ** 2)
                is_there = sprout < grown.size
                at = np.minimum(sprout, grown.size - 1)
                up = np.searchsorted(grown, grown[at] + rise)
                is_up = is_there & (up < grown.size)
                row[is_there, _SPROUT] = (first + sprout[is_there]) * per_day
                row[is_up, _UP] = (first + up[is_up]) * per_day
                heat_up = leaf[np.minimum(up, leaf.size - 1)]
                for i in range(3):
                    cd = guilds.seed_leaf_cd[g] + leaves[i] * guilds.phyllochron_cd[g]
                    then = np.searchsorted(leaf, heat_up + cd / truth.clock)
                    is_then = is_up & (then < leaf.size)
                    row[is_then, _ONE + i] = (first + then[is_then]) * per_day


@dataclass(frozen=True)
class _Sample:
    """Ranks, depths and rates of the seeds that stand for an opening."""

    score: FloatArray
    rise_of: IntArray
    depth: FloatArray  # (n_guilds, n_bands, n_rises)
    rise_cd: FloatArray
    hold: FloatArray


def _sample(settings: WeedSettings) -> _Sample:
    guilds = settings.guilds
    drawn = seed_sample(guilds.band_mm.shape[0], N_SEEDS)
    depth = depths_within_bands(guilds.band_share, guilds.band_mm, drawn.depth_frac)
    rate_sd = np.sqrt(np.log(1.0 + guilds.shoot_rate_cv**2))
    rate = guilds.shoot_rate_mm_cd[:, None, None] * np.exp(rate_sd * drawn.rate_score)[None]
    hold = 1.0 - 1.0 / (
        1.0 + np.exp((depth - guilds.half_depth_mm[:, None, None]) / guilds.half_depth_slope_mm)
    )
    return _Sample(drawn.score, drawn.rise, depth, depth / rate, hold)


# ------------------------------------------------------------------------ kill


def true_kill_frac(season: TruthSeason, plot: Plot, way: Way, hour: float) -> FloatArray:
    """What a pass truly kills, by zone and stage.

    Parameters
    ----------
    season : TruthSeason
        The truth.
    plot : Plot
        Where it goes.
    way : Way
        The tool and how it works.
    hour : float
        When.

    Returns
    -------
    array
        Kill (2, 5) [-].

    Notes
    -----
    By the soil before and the weather after, the farm's own luck and that of the pass, which is
    keyed by bed, tool and date. Over an empty bed a tool works its whole width alike. Definition of
    this project; range as `tool_kill_frac`. Worked: tests/planning/season/test_truth.py.
    """
    asked = (plot.key, way.tool.name, hour, way.purpose)
    if asked not in season.kills:
        season.kills[asked] = _true_kill_frac(season, plot, way, hour)
    return season.kills[asked]


def _true_kill_frac(season: TruthSeason, plot: Plot, way: Way, hour: float) -> FloatArray:
    truth, kit = season.truth, season.world.tables.kit
    key = way.tool.key
    if truth.build == PRODUCT:
        kill = _kill_by_other_table(season, way, hour)
    else:
        kill = tool_kill_frac(
            way.tool, kit.kills.kill_frac, way.depth_mm, np.array([hour]),
            season.beds[plot.key].weather, replace(kit.rules, settings=season.kill),
        )[0, 0]  # fmt: skip
    day = season.world.at(hour).date().isoformat()
    z = keyed_generator(truth.seed, "pass kill", plot.key, key, day).normal()
    ln = truth.kill_ln.get(key, 0.0) + truth.pass_kill_ln_sd * float(z)
    kill = spread_kill_frac(kill, ln, 1.0)
    return whole_width(kill) if way.purpose == "stale" else kill


def _kill_by_other_table(season: TruthSeason, way: Way, hour: float) -> FloatArray:
    """Kill of the other build, by rain within a day."""
    kit = season.world.tables.kit
    rain = season.world.weather.forcing.rain_mm[0]
    is_wet = float(rain[int(hour) : int(hour) + _WET_WITHIN_H].sum()) >= season.kill.rewet_mm
    stir = np.array(_STIR_WET if is_wet else _STIR_DRY)
    cut = np.array(_CUT_WET if is_wet else _CUT_DRY)
    gates = kit.rules.traits[way.tool.key].crop_gate.split(" + ")
    works = kit.kills.kill_frac[way.tool.key].max(axis=1) > 0.0
    between = cut if "between" in gates else stir
    return np.stack([stir * works[IN_ROW], between * works[BETWEEN]])


def whole_width(by_zone: FloatArray) -> FloatArray:
    """Of a tool over an empty bed: where no rows are, both zones are worked as the better one.

    Parameters
    ----------
    by_zone : array
        Figures with the zones first, (2, ...) [-].

    Returns
    -------
    array
        Both zones alike.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> whole_width(np.array([[0.0, 0.0], [0.9, 0.8]])).tolist()
    [[0.9, 0.8], [0.9, 0.8]]
    """
    return np.broadcast_to(by_zone.max(axis=0), by_zone.shape).copy()


def sowing_kill_frac(leaves_frac: FloatArray) -> FloatArray:
    """What sowing or setting kills of what stands on the bed.

    Parameters
    ----------
    leaves_frac : array
        What it leaves by state (6,), of `ValueSettings` [-].

    Returns
    -------
    array
        Kill (2, 5), the same over the whole bed [-].

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> sowing_kill_frac(np.array([1.0, 0.2, 0.2, 0.4, 0.6, 0.8]))[0].round(1).tolist()
    [0.8, 0.8, 0.6, 0.4, 0.2]
    """
    return np.tile(1.0 - leaves_frac[1:], (2, 1))


def prepared(season: TruthSeason, plot: Plot) -> TruthWeeds:
    """The weeds of a plot on the morning of its preparation, with the flush that it opens.

    Parameters
    ----------
    season : TruthSeason
        The truth.
    plot : Plot
        The plot.

    Returns
    -------
    TruthWeeds
        One flush on clean ground.

    Notes
    -----
    Deep preparation leaves none of what stood and brings up new seed. Definition of this project.
    No range stated. Worked: tests/planning/season/test_truth.py.
    """
    weeds = TruthWeeds(season, plot)
    depth = float(season.world.tables.kit.weeds.reset_depth_mm)
    weeds.open_by("preparation", plot.prepared_hour, np.ones(2), depth)
    return weeds


def sown(weeds: TruthWeeds) -> None:
    """Sow or set: kill what stands, stir the rows; in place.

    Parameters
    ----------
    weeds : TruthWeeds
        Of the plot.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/season/test_truth.py.
    """
    hour = weeds.plot.established_hour
    left = weeds.season.world.tables.value.sowing_leaves_frac
    weeds.kill_by(hour, sowing_kill_frac(left), np.inf)
    weeds.open_by("sowing", hour, np.array(_SOWING_STIRS), 0.0)


def seen_rain_mm(season: TruthSeason) -> FloatArray:
    """Rain as the grower's gauge tells it, hour by hour.

    Parameters
    ----------
    season : TruthSeason
        The truth.

    Returns
    -------
    array
        Shape (n_hours,) [mm].

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/season/test_truth.py.
    """
    rain: FloatArray = season.world.weather.forcing.rain_mm[0] * season.truth.gauge_factor
    return rain
