"""The weeds of one planting: what was opened and killed, what stands, what a pass takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from scheduler.models.soil_column import Float32Array
from scheduler.models.weeds.cohorts import (
    STAGES,
    GuildTable,
    Openings,
    Particles,
    Passes,
    Stand,
    stand,
)
from scheduler.planning.draws import keyed_generator, stratified_normals, weighted_quantiles
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.passes import PassRules, PassWeather, again_factor, pass_kill_frac
from scheduler.planning.plantings import Trigger, touches, was_done
from scheduler.records import Event, FloatArray, IntArray, Planting, Range

N_PARTICLES = 512
N_COURSE_PARTICLES = 64  # that date a flush
IN_ROW, BETWEEN = 0, 1
_ROW_BAND_M = 0.10
_N_SEEDS = 20  # that stand for a cohort in one of the many particles
_TODAY = 1  # place of today's pass among the hours: after now
_REACH_MM = 25.0  # threads from deeper escape a pass that is thought of
_LEAST_OPENING = 0.03  # of a full flush: less is not followed
_SOWING_STIRS = (0.7, 0.0)  # in the row, between
_SHALLOW_PREP_KILL = 0.7
_DEEP_PREP_KILL = 0.95


@dataclass(frozen=True)
class WeedSettings:
    """What the tables say of weeds; arrays follow the order of the guilds."""

    guilds: GuildTable
    season: FloatArray  # (n_guilds, 12) readiness by month, northern
    mix: FloatArray  # (n_guilds,)
    mix_concentration: float
    clock_ln_sd: float
    spread_ln_sd: float
    dry_bias_sd_kpa: float
    size_m2: float
    size_ln_sd: float
    wetting_share: FloatArray  # (n_guilds,)
    pass_share: float  # of the ready pool that one disturbance opens
    recovery_d: float  # of the readiness to be opened again
    refill_d: float  # of the pool itself
    warm_gate_c: FloatArray  # (n_guilds,) weekly mean below which a guild waits; -inf for none
    reset_depth_mm: float  # work this deep brings up new seed
    size_depth_mm: FloatArray  # working depths, and the share of a full flush each opens
    size_depth_frac: FloatArray
    standing_m2: Mapping[str, float]  # by what the bed was
    standing_ln_sd: float
    flower_base_c: float
    flower_cd: float  # heat from the first of the year to flowers of an overwintered mat
    seed_cd: float  # and to its seed


@dataclass(frozen=True)
class KillTable:
    """What each kind of tool kills, (2 zones, 5 stages) [-], and stirs, (2 zones) [-]."""

    kill_frac: Mapping[str, FloatArray]
    stirs_frac: Mapping[str, FloatArray]


@dataclass(frozen=True)
class HandRates:
    """Minutes by hand: a weed as seed leaf, true leaf, young and established; a metre of row."""

    stage_min: FloatArray  # (4,) in the row
    row_metre_min: float
    between_min: FloatArray  # (4,) between the rows


UNKNOWNS = ("clock", "spread", "size", "dry bias", "standing")
"""What is not known of one planting's weeds, each by a normal score."""


@dataclass(frozen=True)
class Scores:
    """Mean and standard deviation of the normal scores of `UNKNOWNS`, (5,); 0 and 1 as tabled."""

    mean: FloatArray
    sd: FloatArray


@dataclass(frozen=True)
class LearnedWeeds:
    """The particles of one planting after its looks.

    `weight` (n_particles,) is apart from that of the soil members; `standing_score` (n_particles,)
    is that of the weeds before the record; `scores` are those of all unknowns, for other draws.
    """

    particles: Particles
    weight: FloatArray
    standing_score: FloatArray
    scores: Scores


def in_row_share(planting: Planting) -> float:
    """Share of the bed that lies in the rows.

    Parameters
    ----------
    planting : Planting
        The planting.

    Returns
    -------
    float
        Share, 0 for an empty bed [-]; a row is a band of 100 mm (an assumption).

    Notes
    -----
    No range stated.

    Examples
    --------
    >>> from scheduler.records import Bed
    >>> bed = Bed("A1", 18.0, 0.8, "loam")
    >>> p = Planting(bed, None, 0.0, 18.0, "carrot", True, None, 4, 150.0, 12.0)
    >>> in_row_share(p)
    0.5
    """
    if planting.crop is None or not planting.n_rows:
        return 0.0
    return min(0.9, planting.n_rows * _ROW_BAND_M / planting.bed.width_m)


def particle_normals(planting_key: str, seed: int, n_particles: int) -> FloatArray:
    """Standard normal draws of `UNKNOWNS` for one planting, by its name.

    Parameters
    ----------
    planting_key : str
        Name of the planting.
    seed : int
        The farm's seed.
    n_particles : int
        Particles.

    Returns
    -------
    array
        (n_particles, 5) [-].

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> particle_normals("A1", 5, 8).shape
    (8, 5)
    """
    return np.stack(
        [stratified_normals(seed, n_particles, "weeds", planting_key, name) for name in UNKNOWNS],
        axis=1,
    )


def draw_particles(
    planting_key: str,
    settings: WeedSettings,
    seed: int,
    n_members: int,
    n_particles: int,
    scores: Scores | None = None,
    *,
    score: FloatArray | None = None,
) -> Particles:
    """What is not known of one planting's weeds, drawn by its name.

    Parameters
    ----------
    planting_key : str
        Name of the planting.
    settings : WeedSettings
        Spreads.
    seed : int
        The farm's seed.
    n_members, n_particles : int
        Soil members, and particles that ride on them in turn.
    scores : Scores, optional
        What entries made of the spreads; as tabled by default.
    score : array, optional
        Normal scores of `UNKNOWNS` in place of those drawn, (n_particles, 5) [-].

    Returns
    -------
    Particles
        Arrays (n_particles,).

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> spreads = SimpleNamespace(
    ...     mix=np.array([0.7, 0.3]), mix_concentration=10.0, clock_ln_sd=0.2, spread_ln_sd=0.1,
    ...     size_m2=200.0, size_ln_sd=0.5, dry_bias_sd_kpa=50.0,
    ... )
    >>> drawn = draw_particles("A1", spreads, 5, 2, 4)
    >>> drawn.member.tolist(), drawn.mix.shape, drawn.mix.sum(axis=1).round(9).tolist()
    ([0, 1, 0, 1], (4, 2), [1.0, 1.0, 1.0, 1.0])
    >>> again = draw_particles("A1", spreads, 5, 2, 4)
    >>> bool(np.all(drawn.size_m2 == again.size_m2))
    True
    """
    z = particle_normals(planting_key, seed, n_particles) if score is None else score
    if scores is not None:
        z = scores.mean + scores.sd * z
    clock, spread, size, dry_bias, _ = z.T
    generator = keyed_generator(seed, "weeds", planting_key, "mix")
    mix = generator.dirichlet(
        settings.mix_concentration * settings.mix / settings.mix.sum(), n_particles
    )
    return Particles(
        _members_in_turn(n_members, n_particles),
        np.exp(settings.clock_ln_sd * clock),
        np.exp(settings.spread_ln_sd * spread),
        settings.size_m2 * np.exp(settings.size_ln_sd * size),
        np.asarray(mix),
        settings.dry_bias_sd_kpa * dry_bias,
        np.arange(n_particles, dtype=np.int64) // n_members,
    )


def _members_in_turn(n_members: int, n_particles: int) -> IntArray:
    return np.arange(n_particles, dtype=np.int64) % n_members


@dataclass(frozen=True)
class WeedHistory:
    """Openings and passes of one planting within the hours that the integrals cover."""

    openings: Openings
    passes: Passes
    labels: tuple[str, ...]  # what opened each
    moments: tuple[datetime, ...]
    standing_left: float  # share of the weeds before the record that no entry has killed
    left_out: tuple[tuple[datetime, str], ...] = ()  # passes with tools the farm does not list
    ready_frac: FloatArray | None = None  # (n_guilds, 2) of a full flush, were a zone stirred now
    rested_d: FloatArray | None = None  # (2,) days since each zone was stirred
    passed_hour: FloatArray | None = None  # (2,) last pass of a tool that works the zone, else -inf
    passed_frac: FloatArray | None = None  # (2, 5) what that pass takes on a good day
    standing_frac: FloatArray | None = None  # (n_passes + 1,) as `standing_left`, pass by pass

    def standing_left_at(self, hours: FloatArray) -> FloatArray:
        """Share of the weeds before the record that stood at some hours on the sky's clock, (k,).

        A history that does not tell pass by pass has what is left in the end at every hour.
        """
        if self.standing_frac is None:
            return np.full(np.shape(hours), self.standing_left)
        return np.asarray(self.standing_frac[np.searchsorted(self.passes.hour, hours, "right")])

    def since_pass_d(self, hours: FloatArray) -> FloatArray:
        """Days from the last pass in each zone to some hours on the sky's clock, (k, 2)."""
        passed = np.full(2, -np.inf) if self.passed_hour is None else self.passed_hour
        return np.asarray((np.asarray(hours)[:, None] - passed) / 24.0)

    @property
    def taken_frac(self) -> FloatArray:
        """What the last pass in each zone takes on a good day, (2, 5); nothing without one."""
        return np.zeros((2, len(STAGES))) if self.passed_frac is None else self.passed_frac


def weed_history(
    planting: Planting,
    events: Sequence[Event],
    wettings: Sequence[Trigger],
    settings: WeedSettings,
    kills: KillTable,
    rules: PassRules,
    weather: PassWeather,
    ensemble: Ensemble,
    soil_mean_c: FloatArray,
    latitude_deg: float,
    n_particles: int = N_PARTICLES,
    planned: Sequence[Event] = (),
    known_kills: dict[str, FloatArray] | None = None,
) -> WeedHistory:
    """Follow the ready pool of seeds through everything that was done to a planting.

    Parameters
    ----------
    planting : Planting
        The planting as it stands.
    events : sequence of Event
        Entries of the farm, in order.
    wettings : sequence of Trigger
        Wettings of ground that had been dry, by rain or by water given.
    settings : WeedSettings
        Pool and season.
    kills : KillTable
        Kill on a good day by tool.
    rules : PassRules
        The farm's tools and how weather changes their kill.
    weather : PassWeather
        What each pass found and what followed it.
    ensemble : Ensemble
        For the clock.
    soil_mean_c : array
        Weekly mean soil temperature by stored hour, (n_stored,) [C]: a guild with a gate waits
        below it.
    latitude_deg : float
        North positive; the seasons of the south are half a year on.
    n_particles : int
        Particles that the kill of a pass is spread over.
    planned : sequence of Event
        What is thought of for later than now, in order: it opens and kills then, and changes
        nothing of how ready and rested the ground is now.
    known_kills : dict, optional
        Kill of passes by their entry, for the same weather and particles: taken where it is known,
        and added to.

    Returns
    -------
    WeedHistory
        Sizes relative to a full flush, by guild and zone; kill by particle.

    Notes
    -----
    A disturbance opens R x season x readiness of the pool R of each guild and zone, and takes
    `pass_share` of that from R; shallower work opens less; readiness returns as 1 -
    exp(-days/recovery) after the last stirring; R refills slowly; deep work brings up new seed (R =
    1). A wetting opens its share. A pass with a tool kills by the soil and the weather of each
    member, at the depth of its entry (else the tool's): over the whole width where no crop stood,
    and less in a zone that a tool has just worked, unless the bed was prepared or sown between.
    Sowing, preparation and hand weeding kill alike in all. A pass with a tool that the farm does
    not list is left out, and said so. What stood before the record is thinned by the mean over the
    particles, by their weight. Assumptions of this project around roberts_feast_1972 and
    roberts_potter_1980. Range: annual weeds from seed. Worked:
    tests/planning/test_weeds.py.
    """
    sky = ensemble.sky
    actions: list[tuple[datetime, str, Event | None]] = [(w.at, "wetting", None) for w in wettings]
    names = {
        "pass": "pass", "prep": "preparation", "sow": "sowing", "plant": "planting",
        "hand": "hand weeding", "clear": "clearing",
    }  # fmt: skip
    actions += [(e.happened_at, names[e.kind], e) for e in events if e.kind in names
                and touches(e, planting) and was_done(e)]  # fmt: skip
    actions.sort(key=lambda item: (item[0], item[1]))
    n_so_far = len(actions)
    actions += [(e.happened_at, names[e.kind], e) for e in planned if e.kind in names
                and touches(e, planting)]  # fmt: skip
    n_guilds = settings.mix.shape[0]
    pool = np.ones((n_guilds, 2))
    last = np.full(2, -1e9)
    opened: list[tuple[float, FloatArray, str, datetime]] = []
    killed: list[tuple[float, FloatArray, float]] = []
    before: float | None = None
    left_out: list[tuple[datetime, str]] = []
    since_at = planting.established_at
    has_rows = planting.crop is not None and since_at is None  # a crop of unknown age
    passed, taken = np.full(2, -np.inf), np.zeros((2, len(STAGES)))
    member = _members_in_turn(ensemble.n_members, n_particles)
    now_d = sky.now_hour / 24.0

    def refilled(to_d: float) -> FloatArray:
        if before is None:
            return pool
        return np.asarray(
            pool + (1.0 - pool) * (1.0 - np.exp(-(to_d - before) / settings.refill_d))
        )

    now: tuple[FloatArray, ...] | None = None
    for i, (at, label, event) in enumerate(actions):
        if i == n_so_far:
            now = (refilled(now_d).copy(), last.copy(), passed, taken)
        hour = (at - sky.start_at) / timedelta(hours=1)
        day = hour / 24.0
        pool = refilled(day)
        before = day
        if label == "clearing":
            has_rows = False
            continue
        if label == "hand weeding":
            killed.append((hour, kills.kill_frac["hand"][None], 0.0))
            continue
        stirs = np.ones(2)
        share = np.ones(n_guilds)
        depth = 0.0 if event is None else float(event.data.get("depth_mm", 0.0))
        if label == "wetting":
            share = settings.wetting_share
        elif label == "pass" and event is not None:
            name = str(event.data.get("tool"))
            tool = rules.tools.get(name)
            if tool is None or tool.key not in kills.kill_frac:
                left_out.append((at, name))
                continue
            depth = float(event.data.get("depth_mm", tool.depth_mm))
            stirs = kills.stirs_frac[tool.key]
            good = kills.kill_frac[tool.key]
            works = good.max(axis=1)
            kept = known_kills if known_kills is not None else {}
            if event.event_id not in kept:
                kept[event.event_id] = pass_kill_frac(
                    tool, planting.key, kills.kill_frac, depth, np.array([hour]), [at.date()],
                    weather, rules, member,
                )[0]  # fmt: skip
            kill = kept[event.event_id]
            if not (has_rows or (since_at is not None and at >= since_at)):
                stirs, works = _over_the_whole_width(stirs), _over_the_whole_width(works)
                good = _over_the_whole_width(good)
                kill = _over_the_whole_width(kill, axis=1)
            kill = kill * again_factor((hour - passed) / 24.0, taken, rules.settings)
            passed = np.where(works > 0.0, hour, passed)
            taken = np.where(works[:, None] > 0.0, good, taken)
            killed.append((hour, kill, depth))
        elif label in ("sowing", "planting"):
            stirs = np.array(_SOWING_STIRS)
            has_rows, passed = True, np.full(2, -np.inf)
            killed.append((hour, _SOWING_KILL[None], 1e3))
        elif depth >= settings.reset_depth_mm:
            pool[:] = 1.0
            last[:] = -1e9
            has_rows, passed = False, np.full(2, -np.inf)
            killed.append((hour, np.full((1, 2, len(STAGES)), _DEEP_PREP_KILL), 1e3))
        else:
            passed = np.full(2, -np.inf)
            killed.append((hour, np.full((1, 2, len(STAGES)), _SHALLOW_PREP_KILL), depth))
        if label in ("pass", "preparation"):
            stirs = stirs * np.interp(depth, settings.size_depth_mm, settings.size_depth_frac)
        season = _season(settings, at, hour, ensemble, soil_mean_c, latitude_deg)
        ready = 1.0 - np.exp(-(day - last) / settings.recovery_d)
        size = pool * (season * share)[:, None] * (stirs * ready)[None, :]
        pool -= settings.pass_share * size
        if label != "wetting":
            last = np.where(stirs > 0.0, day, last)
        if float(size.max()) >= _LEAST_OPENING:
            opened.append((hour, size, label, at))
    ready, rested, passed, taken = now or (refilled(now_d), last, passed, taken)
    season_now = _season(
        settings, sky.at(sky.now_hour), sky.now_hour, ensemble, soil_mean_c, latitude_deg
    )
    first = float(ensemble.readings_from_hour)
    last_before = max((k[0] for k in killed if k[0] < first), default=-1e9)
    opened = [o for o in opened if o[0] >= min(first, last_before)]
    rows = in_row_share(planting)
    left, weight = [1.0], _particle_weights(planting, ensemble, member)
    for _, kill, _ in killed:
        of_bed = kill[:, :, -1] @ np.array([rows, 1.0 - rows])
        left.append(left[-1] * (1.0 - float(weight @ np.broadcast_to(of_bed, weight.shape))))
    killed = [k for k in killed if k[0] >= first]
    return WeedHistory(
        Openings(
            np.array([o[0] for o in opened]),
            np.stack([o[1] for o in opened]) if opened else np.zeros((0, n_guilds, 2)),
        ),
        Passes(
            np.array([k[0] for k in killed]),
            _by_particle([k[1] for k in killed]),
            np.array([k[2] for k in killed]),
        ),
        tuple(o[2] for o in opened),
        tuple(o[3] for o in opened),
        left[-1],
        tuple(left_out),
        ready * season_now[:, None],
        now_d - rested,
        passed,
        taken,
        np.array(left[len(left) - len(killed) - 1 :]),
    )


def _by_particle(kills: Sequence[FloatArray]) -> FloatArray:
    """Kill of passes, each the same for all or by particle, (n_passes, 1 or n_particles, 2, 5)."""
    n = max((kill.shape[0] for kill in kills), default=1)
    shape = (n, 2, len(STAGES))
    out = np.zeros((len(kills), *shape))
    for i, kill in enumerate(kills):
        out[i] = np.broadcast_to(kill, shape)
    return out


def _over_the_whole_width(by_zone: FloatArray, axis: int = 0) -> FloatArray:
    """What a tool does where no rows stand: its better zone everywhere; zones lie along `axis`."""
    return np.repeat(by_zone.max(axis=axis, keepdims=True), 2, axis=axis)


_SOWING_KILL = np.array([[0.8, 0.8, 0.6, 0.4, 0.2], [0.8, 0.8, 0.6, 0.4, 0.2]])


def _season(
    settings: WeedSettings,
    at: datetime,
    hour: float,
    ensemble: Ensemble,
    soil_mean_c: FloatArray,
    latitude_deg: float,
) -> FloatArray:
    index = int(hour) - ensemble.stored_from_hour
    mean = float(soil_mean_c[min(max(index, 0), soil_mean_c.size - 1)])
    month = at.month if latitude_deg >= 0.0 else (at.month + 5) % 12 + 1
    share = settings.season[:, month - 1]
    return np.where(mean >= settings.warm_gate_c, share, 0.0)


@dataclass(frozen=True)
class WeedFuture:
    """Weeds of one planting by the states a pass today, a later one and the end would find.

    Ways (n_particles, n_days, zones, 216) as `scheduler.models.weeds.cohorts.stand` has them: day 0
    is today. `opened_m2` are the ways of what a pass today opens that stirs a whole zone to the
    depth of a full flush.
    """

    end_hour: float
    standing_m2: Float32Array
    opened_m2: Float32Array
    ready_m2: FloatArray  # (n_particles, 2) seeds that a stirring opens where the ground has rested
    rested_d: FloatArray  # (2,) days since each zone was stirred


@dataclass(frozen=True)
class WeedOutlook:
    """Weeds of one planting from now on, by particle."""

    hours: FloatArray  # (n_times,) on the sky's clock; the first is now
    count_m2: FloatArray  # (n_particles, n_times, zones, stages), all guilds
    to_come: FloatArray  # (n_particles, n_times, zones) opened and not germinated
    standing_m2: FloatArray  # (n_particles,) weeds that stood before the record
    weights: FloatArray  # (n_particles,)
    row_share: float
    history: WeedHistory
    member: IntArray
    flowers_hour: float | None  # median hour at which a mat from winter flowers
    course: FlushCourse | None = None  # of the flush in force
    future: WeedFuture | None = None  # what a pass today and a later one would find

    def density_m2(self, time: int, zone: int | None = None) -> FloatArray:
        """Weeds by stage at one of the hours, (n_particles, stages), of a zone or of the bed."""
        by_zone = self.count_m2[:, time]
        if zone is not None:
            return np.asarray(by_zone[:, zone])
        a = self.row_share
        return np.asarray(a * by_zone[:, IN_ROW] + (1.0 - a) * by_zone[:, BETWEEN])

    def to_come_m2(self, time: int) -> FloatArray:
        """Opened and not germinated at one of the hours, (n_particles,)."""
        by_zone = self.to_come[:, time]
        a = self.row_share
        return np.asarray(a * by_zone[:, IN_ROW] + (1.0 - a) * by_zone[:, BETWEEN])

    def killable_frac(self, time: int, kill_frac: FloatArray) -> FloatArray:
        """Killed by a pass over what stands and what is still to come, (n_particles,).

        `kill_frac` is (2 zones, 5 stages) for all particles, or (n_particles, 2, 5).
        """
        a = np.array([self.row_share, 1.0 - self.row_share])
        count = self.count_m2[:, time]
        kill = np.broadcast_to(kill_frac, count.shape)
        killed = np.einsum("pzs,pzs,z->p", count, kill, a)
        whole = self.density_m2(time).sum(axis=1) + self.to_come_m2(time)
        return np.where(whole > 1e-9, killed / np.maximum(whole, 1e-9), 0.0)

    def ranges(self, time: int = 0) -> dict[str, Range]:
        """Weeds by stage as 10, 50 and 90 % of weight."""
        density = self.density_m2(time).copy()
        density[:, -1] += self.standing_m2
        return {
            f"{stage}_m2": Range(
                *(float(q) for q in weighted_quantiles(density[:, i], self.weights))
            )
            for i, stage in enumerate(STAGES)
        }


def weed_outlook(
    planting: Planting,
    ensemble: Ensemble,
    history: WeedHistory,
    settings: WeedSettings,
    gate_kpa: FloatArray,
    seed: int,
    hours: FloatArray,
    n_particles: int = N_PARTICLES,
    *,
    has_future: bool = False,
    n_seeds: int = _N_SEEDS,
    learned: LearnedWeeds | None = None,
) -> WeedOutlook:
    """Weeds of one planting at some hours from now on.

    Parameters
    ----------
    planting : Planting
        The planting.
    ensemble : Ensemble
        Soil members with their running integrals.
    history : WeedHistory
        Openings and passes.
    settings : WeedSettings
        What the tables say.
    gate_kpa : array
        Gates of the integrals [kPa].
    seed : int
        The farm's seed.
    hours : array
        Hours wanted on the sky's clock, ascending.
    n_particles : int
        Particles.
    has_future : bool
        Whether the hours are now and the days to come, and a pass on each of them is thought of.
    n_seeds : int
        Seeds that stand for a cohort in one particle; a multiple of ten.
    learned : LearnedWeeds, optional
        What looks made of the particles; where it has another number of them its scores alone.

    Returns
    -------
    WeedOutlook
        Counts by particle.

    Notes
    -----
    A particle has its share of the weight of its soil member, times that of its own. Definition of
    this project; range and sources as `stand`. Worked: tests/planning/test_weed_zones.py.
    """
    scores = None if learned is None else learned.scores
    particles = draw_particles(
        planting.key, settings, seed, ensemble.n_members, n_particles, scores
    )
    z = stratified_normals(seed, n_particles, "weeds", planting.key, "standing")
    if scores is not None:
        z = scores.mean[-1] + scores.sd[-1] * z
    weights = _particle_weights(planting, ensemble, particles.member)
    if learned is not None and learned.weight.size == n_particles:
        particles, z = learned.particles, learned.standing_score
        weights = weights * learned.weight
        weights /= weights.sum()
    end = float(ensemble.sky.n_hours)
    weeds = _stand_of(
        planting,
        ensemble,
        settings,
        gate_kpa,
        particles,
        history.openings,
        history.passes,
        np.append(hours, end) if has_future else hours,
        _TODAY if has_future else None,
        n_seeds,
    )
    n_times = hours.size
    standing = standing_before_m2(planting, history, settings, z)
    return WeedOutlook(
        hours,
        weeds.count_m2[:, :n_times].sum(axis=2),
        weeds.ledger_m2[:, :n_times, :, :, 0].sum(axis=2),
        standing,
        weights,
        in_row_share(planting),
        history,
        particles.member,
        _flowers_hour(ensemble, settings),
        future=_future(planting, ensemble, history, settings, gate_kpa, particles, weeds, hours),
    )


def stand_at(
    planting: Planting,
    ensemble: Ensemble,
    history: WeedHistory,
    settings: WeedSettings,
    gate_kpa: FloatArray,
    particles: Particles,
    hours: FloatArray,
    n_seeds: int = _N_SEEDS,
) -> Stand:
    """Weeds of one planting at some hours for given particles, with their ledger.

    Parameters
    ----------
    planting : Planting
        The planting.
    ensemble : Ensemble
        Soil members with their running integrals.
    history : WeedHistory
        Openings and passes.
    settings : WeedSettings
        What the tables say.
    gate_kpa : array
        Gates of the integrals [kPa].
    particles : Particles
        As many as the history has kills for.
    hours : array
        Ascending hours on the sky's clock.
    n_seeds : int
        Seeds that stand for a cohort; a multiple of ten.

    Returns
    -------
    Stand
        Of the record alone, without ways.

    Notes
    -----
    Range and sources as `stand`. Worked: tests/planning/test_looks.py.
    """
    return _stand_of(
        planting, ensemble, settings, gate_kpa, particles,
        history.openings, history.passes, hours, n_seeds=n_seeds,
    )  # fmt: skip


def counts_at(
    planting: Planting,
    ensemble: Ensemble,
    history: WeedHistory,
    settings: WeedSettings,
    gate_kpa: FloatArray,
    particles: Particles,
    hours: FloatArray,
    n_seeds: int = _N_SEEDS,
) -> FloatArray:
    """Weeds of one planting at some hours for given particles, all guilds together.

    Parameters
    ----------
    planting, ensemble, history, settings, gate_kpa, particles, hours, n_seeds
        As `stand_at`.

    Returns
    -------
    array
        Of the record alone, (n_particles, n_hours, 2 zones, 5 stages) [1/m2].

    Notes
    -----
    As `stand_at`.
    """
    weeds = stand_at(planting, ensemble, history, settings, gate_kpa, particles, hours, n_seeds)
    return np.asarray(weeds.count_m2.sum(axis=2))


def standing_before_m2(
    planting: Planting,
    history: WeedHistory,
    settings: WeedSettings,
    score: FloatArray,
    left_frac: FloatArray | None = None,
) -> FloatArray:
    """What is left of weeds that stood before the record, now or at other hours.

    Parameters
    ----------
    planting : Planting
        For what its bed was.
    history : WeedHistory
        For what was killed of them.
    settings : WeedSettings
        How many there were.
    score : array
        Normal scores, (n_particles,) [-].
    left_frac : array, optional
        Share of them that stood at some hours, (n_hours,) [-]; what is left now by default.

    Returns
    -------
    array
        Established weeds, (n_particles,) or (n_particles, n_hours) [1/m2].

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_looks.py.
    """
    median = settings.standing_m2.get(planting.bed.was, settings.standing_m2["unknown"])
    if left_frac is None:
        return history.standing_left * median * np.exp(settings.standing_ln_sd * score)
    return left_frac * (median * np.exp(settings.standing_ln_sd * score))[:, None]


def _future(
    planting: Planting,
    ensemble: Ensemble,
    history: WeedHistory,
    settings: WeedSettings,
    gate_kpa: FloatArray,
    particles: Particles,
    weeds: Stand,
    hours: FloatArray,
) -> WeedFuture | None:
    """The ways of what stands, and of what a pass today would open."""
    if weeds.ways_m2 is None or history.ready_frac is None or history.rested_d is None:
        return None
    end = float(ensemble.sky.n_hours)
    rested = 1.0 - np.exp(-history.rested_d / settings.recovery_d)
    size = history.ready_frac * rested[None, :]
    none = Passes(np.zeros(0), np.zeros((0, 1, 2, len(STAGES))), np.zeros(0))
    opened = _stand_of(
        planting,
        ensemble,
        settings,
        gate_kpa,
        particles,
        Openings(hours[_TODAY : _TODAY + 1], size[None]),
        none,
        np.append(hours, end),
        _TODAY,
    )
    assert opened.ways_m2 is not None
    ready = (particles.mix * particles.size_m2[:, None]) @ history.ready_frac
    return WeedFuture(end, weeds.ways_m2, opened.ways_m2, ready, history.rested_d)


def _stand_of(
    planting: Planting,
    ensemble: Ensemble,
    settings: WeedSettings,
    gate_kpa: FloatArray,
    particles: Particles,
    openings: Openings,
    passes: Passes,
    hours: FloatArray,
    first_way: int | None = None,
    n_seeds: int = _N_SEEDS,
) -> Stand:
    """Weeds of a planting on the running integrals of its own columns."""
    run, columns = ensemble.run_of(planting.key)
    step = float(run.reading_hours[1] - run.reading_hours[0])
    return stand(
        run.germination_cd[columns],
        run.elongation_cd[columns],
        run.drying_d[columns],
        run.leaf_cd[columns],
        gate_kpa,
        float(run.reading_hours[0]) - step,
        step,
        settings.guilds,
        particles,
        openings,
        passes,
        hours,
        first_way,
        _REACH_MM,
        n_seeds,
    )


def _particle_weights(planting: Planting, ensemble: Ensemble, member: IntArray) -> FloatArray:
    """Weights of particles by the soil members they ride on, (n_particles,); they sum to 1."""
    weight = ensemble.weights[planting.bed.soil][member]
    share: FloatArray = weight / weight.sum()
    return share


def _flowers_hour(ensemble: Ensemble, settings: WeedSettings) -> float | None:
    """Hour at which the heat above the base since the record began reaches that of flowers."""
    air = ensemble.sky.forcing.air_temp_c.mean(axis=0)
    heat = np.cumsum(np.maximum(air - settings.flower_base_c, 0.0)) / 24.0
    reached = np.flatnonzero(heat >= settings.flower_cd)
    return float(reached[0]) if reached.size else None


@dataclass(frozen=True)
class FlushCourse:
    """One opening followed by a part of the particles; hours on the sky's clock, None beyond it."""

    thread_from_hour: float | None  # 5 % have germinated
    thread_most_hour: float | None
    last_good_hour: float | None  # a pass takes 0.9 of its best up to here


def course_particles(
    planting: Planting,
    ensemble: Ensemble,
    settings: WeedSettings,
    seed: int,
    learned: LearnedWeeds | None = None,
    n_particles: int = N_COURSE_PARTICLES,
) -> tuple[Particles, FloatArray]:
    """The few particles that date a flush.

    Parameters
    ----------
    planting : Planting
        The planting.
    ensemble : Ensemble
        For the soil members.
    settings : WeedSettings
        Spreads.
    seed : int
        The farm's seed.
    learned : LearnedWeeds, optional
        What looks made of the particles.
    n_particles : int
        Particles wanted.

    Returns
    -------
    Particles, array
        Them, and their weights, which sum to 1.

    Notes
    -----
    Without looks drawn by the planting's name. With looks picked from the learned ones, from the
    slowest to the quickest at even steps of their weight, each as heavy as another: so they keep
    how what was learned hangs together. Definition of this project. No range stated. Worked:
    tests/planning/test_looks.py.
    """
    n = n_particles
    if learned is None:
        drawn = draw_particles(planting.key, settings, seed, ensemble.n_members, n)
        return drawn, _particle_weights(planting, ensemble, drawn.member)
    of = learned.particles
    by_clock = np.argsort(of.clock, kind="stable")
    weight = np.cumsum(
        (_particle_weights(planting, ensemble, of.member) * learned.weight)[by_clock]
    )
    at = by_clock[np.searchsorted(weight / weight[-1], (np.arange(n) + 0.5) / n)]
    variant = None if of.variant is None else of.variant[at]
    picked = Particles(
        of.member[at], of.clock[at], of.spread[at], of.size_m2[at], of.mix[at],
        of.dry_bias_kpa[at], variant,
    )  # fmt: skip
    return picked, np.full(n, 1.0 / n)


def flush_course(
    planting: Planting,
    ensemble: Ensemble,
    history: WeedHistory,
    settings: WeedSettings,
    gate_kpa: FloatArray,
    seed: int,
    opened_hour: float,
    stage_kill_frac: Sequence[float],
    learned: LearnedWeeds | None = None,
) -> FlushCourse | None:
    """Dates of one flush from the particles, as if nothing were done to it.

    Parameters
    ----------
    planting : Planting
        The planting.
    ensemble : Ensemble
        Soil members with their running integrals.
    history : WeedHistory
        Openings of the planting.
    settings : WeedSettings
        What the tables say.
    gate_kpa : array
        Gates of the integrals [kPa].
    seed : int
        The farm's seed.
    opened_hour : float
        Hour of the opening wanted on the sky's clock.
    stage_kill_frac : sequence of float
        Kill of threads, seed leaves, 1-2 leaves and more [-].
    learned : LearnedWeeds, optional
        What looks made of the particles; as tabled by default.

    Returns
    -------
    FlushCourse or None
        None where no opening lies within a day of `opened_hour`.

    Notes
    -----
    `N_COURSE_PARTICLES` particles at half-day steps from the opening on. Definition of this
    project. No range stated. Worked: tests/planning/test_weed_zones.py.
    """
    apart = np.abs(history.openings.hour - opened_hour)
    if apart.size == 0 or apart.min() > 24.0:
        return None
    which = int(np.argmin(apart))
    begin = max(float(history.openings.hour[which]), float(ensemble.readings_from_hour))
    hours = np.arange(begin, float(ensemble.sky.n_hours), 12.0)
    particles, w = course_particles(planting, ensemble, settings, seed, learned)
    weeds = _stand_of(
        planting,
        ensemble,
        settings,
        gate_kpa,
        particles,
        Openings(
            history.openings.hour[which : which + 1], history.openings.size[which : which + 1]
        ),
        Passes(np.zeros(0), np.zeros((0, 1, 2, len(STAGES))), np.zeros(0)),
        hours,
    )
    opened = weeds.opened_m2.sum(axis=(2, 3))
    stages = weeds.count_m2.sum(axis=(2, 3)) / np.maximum(opened, 1e-9)[:, :, None]
    come = weeds.ledger_m2[:, :, :, :, 0].sum(axis=(2, 3)) / np.maximum(opened, 1e-9)
    thread = w @ stages[:, :, 0]
    germinated = 1.0 - w @ come
    kill = np.array([*stage_kill_frac, stage_kill_frac[-1]])
    taken = w @ (stages @ kill)
    is_up = np.flatnonzero(germinated >= 0.05)
    is_good = np.flatnonzero(taken >= 0.9 * taken.max())

    def hour(index: int) -> float | None:
        return float(hours[index]) if index < hours.size - 1 else None

    return FlushCourse(
        float(hours[is_up[0]]) if is_up.size else None,
        hour(int(np.argmax(thread))),
        hour(int(is_good[-1])) if is_good.size else None,
    )
