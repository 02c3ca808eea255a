"""One planting through all models: when its soil can be worked, its crust, its flush, its crop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from scheduler.models.crops import emergence_heat_cd, emergence_hour, emergence_need_cd
from scheduler.models.crust import crust_expected, crust_index
from scheduler.models.hydraulics import air_dry_theta_m3m3, power_law
from scheduler.models.soil_column import band_weights
from scheduler.models.weeds.degree_days import (
    FlushMilestones,
    Guild,
    flush_dates,
    flush_shares,
    thermal_progress_cd,
    wetting_triggers,
)
from scheduler.models.workability import (
    WHEEL_BAND_MM,
    chance,
    hard_theta_m3m3,
    is_too_hard,
    is_too_wet,
)
from scheduler.planning.crop_stage import CropHours, CropStage, crop_stage
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.ensemble import N_STORED_LAYERS, Ensemble, SoilMembers
from scheduler.planning.plantings import Trigger
from scheduler.planning.traits import CropTraits, ToolTraits
from scheduler.records import BoolArray, FloatArray, Planting, Range

_CRUST_SEEN = 0.2  # index from which a crust is breakable
_CRUST_HARD = 0.5  # and hard
SKIN_H = 12  # over which what a person pushes finds the layer dry: a skin of some hours is none
_WEED_BAND_MM = (5.0, 25.0)
_WETTING_H = 48  # members may draw the hours of one wetting apart
_DEEPEST_MM = 95.0  # the temperature of the deepest stored layer serves below it
_SEEDBED_DRY_KPA = 1500.0
_LAST_BLIND_SHARE = 0.70  # of the heat to emergence
_LAST_FLAME_SHARE = 0.85
_DEFAULT_DEPTH_MM = 13.0  # of sowing, where neither journal nor table says
_ALL_HOURS = slice(None)


@dataclass(frozen=True)
class GuildView:
    """A guild as this farm meets it now: what the clock needs and how it is called."""

    guild: Guild
    plain_name: str
    season_share: float  # share of the seeds ready to germinate now
    milestones: FlushMilestones


@dataclass(frozen=True)
class WorkOutlook:
    """Whether a class of tools can work, hour by hour from the first stored hour."""

    is_workable: BoolArray  # (n_members, n_stored)
    chance_frac: FloatArray  # (n_stored,)


@dataclass(frozen=True)
class Ground:
    """What a tool meets in one planting's columns, by member, over some of the stored hours."""

    members: SoilMembers
    theta_m3m3: FloatArray  # (n_members, n_hours, n_layers)
    is_frozen: BoolArray  # (n_members, n_hours)
    crust_index: FloatArray
    read: dict[tuple[str, float], FloatArray] = field(default_factory=dict)  # bands so far

    def water(self, to_mm: float) -> FloatArray:
        """Water from the surface to a depth, (n_members, n_hours)."""
        if ("water", to_mm) not in self.read:
            self.read["water", to_mm] = _band(self.theta_m3m3, 0.0, to_mm)
        return self.read["water", to_mm]

    def skin_water(self, to_mm: float) -> FloatArray:
        """Its mean over the hours that tell a skin from dry soil."""
        if ("skin", to_mm) not in self.read:
            self.read["skin", to_mm] = _trailing_mean(self.water(to_mm), SKIN_H)
        return self.read["skin", to_mm]

    @cached_property
    def is_soft(self) -> BoolArray:
        """Whether it does not bear wheels."""
        wheels = _band(self.theta_m3m3, *WHEEL_BAND_MM)
        return np.asarray(wheels > self.members.wheel_m3m3[:, None])


@dataclass(frozen=True)
class Met:
    """How a tool finds the ground, (n_members, n_hours)."""

    is_frozen: BoolArray
    is_too_wet: BoolArray
    is_too_hard: BoolArray

    @property
    def is_fit(self) -> BoolArray:
        """Neither frozen nor too wet nor too hard."""
        return ~(self.is_frozen | self.is_too_wet | self.is_too_hard)


@dataclass(frozen=True)
class FlushOutlook:
    """The flush that decides, by member; hours are indexes of the sky's clock."""

    opened_hour: int | None
    opened_by: str | None
    lead: GuildView
    heat_cd: FloatArray  # (n_members, n_stored) since the opening; of the leading guild alone
    shares: Mapping[str, Range]  # of the flush now: to_come, thread, up; heat
    reached: Mapping[str, FloatArray]  # milestone to hours by member (NaN beyond sight)
    next_expected_hour: float | None
    next_chance: float


@dataclass(frozen=True)
class Outlook:
    """Everything the order of the day needs of one planting."""

    planting: Planting
    works: Mapping[str, WorkOutlook]  # by kind of tool
    surface_rel_water: FloatArray  # (n_members, n_stored)
    surface_temp_c: FloatArray
    theta_0_30_m3m3: FloatArray
    crust_index: FloatArray
    crust_expected_hour: int | None
    crust_chance: float
    flush: FlushOutlook  # of the guild that leads at this season
    flushes: tuple[FlushOutlook, ...]  # of every guild that germinates now
    emergence_hours: FloatArray | None  # (n_members,) by the slower: when it is taken to be up
    last_blind_hours: FloatArray | None
    cover_frac: FloatArray  # (n_stored,)
    weights: FloatArray
    first_up_hours: FloatArray | None = None  # by the faster of two published tables
    crop_hours: CropHours | None = None  # all of them, for the gates
    stage: CropStage | None = None
    is_wetting: BoolArray | None = None  # (n_members, n_hours) of the sky: water on dry ground


def ground_of(planting: Planting, ensemble: Ensemble, hours: slice = _ALL_HOURS) -> Ground:
    """Water, frost and crust of a planting's columns.

    Parameters
    ----------
    planting : Planting
        The planting.
    ensemble : Ensemble
        Columns after their run.
    hours : slice
        Stored hours wanted, counted from the first stored one; all by default.

    Returns
    -------
    Ground
        By member and hour.

    Notes
    -----
    Crust by the water of 0-10 mm. Definition of this project; range as `crust_index`. Worked:
    tests/planning/test_visits.py.
    """
    run, columns = ensemble.run_of(planting.key)
    members = ensemble.members[planting.bed.soil]
    theta = run.theta_m3m3[columns, hours].astype(np.float64)
    temp = run.temp_c[columns, hours].astype(np.float64)
    maturity = run.crust_maturity_frac[columns, hours].astype(np.float64)
    index = crust_index(maturity, _suction_kpa(members, _band(theta, 0.0, 10.0)))
    return Ground(members, theta, temp[:, :, 0] <= 0.05, index)


def met_by(tool: ToolTraits, ground: Ground) -> Met:
    """How a tool finds the ground: whether it can work it, and why not.

    Parameters
    ----------
    tool : ToolTraits
        What it asks of the soil.
    ground : Ground
        What it meets.

    Returns
    -------
    Met
        By member and hour.

    Notes
    -----
    Bands: from the surface to the depth that decides for the tool, and 50-100 mm under wheels.
    Where the soil down there does not bear wheels yet, the layer of a tool without wheels must be
    dry enough in the mean of 12 hours too, or of those that `ground` holds: after a soaking the sun
    dries a skin that the next night wets again from below. A crust counts as hard from an index
    of 0.5.
    Sources and range as `scheduler.models.workability`.
    Worked: tests/planning/test_visits.py.
    """
    members = ground.members
    water = ground.water(tool.decides_to_mm)
    limits = members.working_m3m3, members.ceiling_m3m3, tool.wetness_offset_m3m3
    wet = is_too_wet(water, *limits)
    if tool.is_wheeled:
        wet |= ground.is_soft
    else:
        wet |= ground.is_soft & is_too_wet(ground.skin_water(tool.decides_to_mm), *limits)
    is_crusted = (ground.crust_index >= _CRUST_HARD) & tool.minds_crust
    hard = is_too_hard(water, hard_theta_m3m3(members.dry_limit_m3m3, is_crusted))
    return Met(ground.is_frozen, wet, hard)


def _trailing_mean(values: FloatArray, n_hours: int) -> FloatArray:
    """Mean over the last `n_hours` up to each hour, over fewer at the beginning."""
    summed = np.cumsum(values, axis=1)
    summed[:, n_hours:] -= summed[:, :-n_hours].copy()
    mean: FloatArray = summed / np.minimum(np.arange(1, values.shape[1] + 1), n_hours)
    return mean


def _band(values: FloatArray, top_mm: float, bottom_mm: float) -> FloatArray:
    mean: FloatArray = values @ band_weights(top_mm, bottom_mm, values.shape[2])
    return mean


def _suction_kpa(members: SoilMembers, water: FloatArray) -> FloatArray:
    p = members.parameters
    kpa: FloatArray = 33.0 * (water / p.theta_33_m3m3[:, None]) ** (-p.b[:, None])
    return kpa


def planting_outlook(
    planting: Planting,
    ensemble: Ensemble,
    triggers: Sequence[Trigger],
    guilds: Sequence[GuildView],
    traits: Mapping[str, CropTraits],
    tools: Mapping[str, ToolTraits],
    surface: FloatArray,
) -> Outlook:
    """Read one planting's columns: workability, crust, flush and emergence.

    Parameters
    ----------
    planting : Planting
        The planting.
    ensemble : Ensemble
        Columns after their run.
    triggers : sequence of Trigger
        What was done to the planting, in order.
    guilds : sequence of GuildView
        Weed guilds with their share at this season, the largest first.
    traits : mapping
        Crop traits by crop name.
    tools : mapping
        Tool traits by kind.
    surface : array
        Surface table of the planting (n_hours, 6).

    Returns
    -------
    Outlook
        By member and hour.

    Notes
    -----
    Bands: 0-30 mm for the tool, 50-100 mm under wheels, 0-25 mm for the surface, 0-10 mm for the
    crust, 5-25 mm for the weed clock. Range and sources: those of the models it calls. Worked:
    tests/planning/test_outlook.py; whole mornings: tests/scenes.
    """
    run, columns = ensemble.run_of(planting.key)
    stored = ensemble.stored_from_hour
    soil = planting.bed.soil
    members = ensemble.members[soil]
    weights = ensemble.weights[soil]
    ground = ground_of(planting, ensemble)
    theta, index = ground.theta_m3m3, ground.crust_index
    temp = run.temp_c[columns].astype(np.float64)
    surface_water = _band(theta, 0.0, 25.0)

    def fit(tool: ToolTraits) -> WorkOutlook:
        fits = met_by(tool, ground).is_fit
        return WorkOutlook(fits, chance(fits, weights))

    by_class = {trait: fit(trait) for trait in set(tools.values())}
    now = ensemble.sky.now_hour - stored
    crust_hour, crust_chance = crust_expected(index, _CRUST_SEEN, weights, from_hour=now)
    p = members.parameters
    air_dry = air_dry_theta_m3m3(power_law(p.theta_1500_m3m3, p.theta_33_m3m3, p.theta_sat_m3m3))
    at_33 = p.theta_33_m3m3
    relative = (surface_water - air_dry[:, None]) / (at_33 - air_dry)[:, None]
    weed_temp = _band(temp, *_WEED_BAND_MM)
    weed_suction = _suction_kpa(members, _band(theta, *_WEED_BAND_MM))
    water_in = ensemble.sky.forcing.rain_mm + surface[None, :, 0]
    is_wetting = wetting_triggers(water_in)
    flushes = tuple(
        _flush_outlook(ensemble, triggers, view, weed_temp, weed_suction, is_wetting, weights)
        for i, view in enumerate(guilds)
        if i == 0 or view.season_share > 0.0
    )
    flushes = (flushes[0], *(replace(f, heat_cd=f.heat_cd[:, :0].copy()) for f in flushes[1:]))
    crop_hours = hours_of_crop(planting, ensemble, traits, temp, theta)
    last_up = None if crop_hours is None else crop_hours.last_up
    crop = traits.get(planting.crop or "")
    cover = surface[stored:, 3]
    stage = None if crop is None else crop_stage(planting, crop, ensemble, last_up, cover, weights)
    return Outlook(
        planting,
        {kind: by_class[trait] for kind, trait in tools.items()},
        relative,
        _band(temp, 0.0, 10.0),
        _band(theta, 0.0, 30.0),
        index,
        None if crust_hour is None else crust_hour + stored,
        crust_chance,
        flushes[0],
        flushes,
        last_up,
        None if crop_hours is None else crop_hours.last_blind,
        cover,
        weights,
        None if crop_hours is None else crop_hours.first_up,
        crop_hours,
        stage,
        is_wetting,
    )


def hours_of_crop(
    planting: Planting,
    ensemble: Ensemble,
    traits: Mapping[str, CropTraits],
    temp: FloatArray,
    theta: FloatArray,
) -> CropHours | None:
    """Hours at which a sown crop comes up, and at which the last blind pass is.

    Parameters
    ----------
    planting : Planting
        The planting.
    ensemble : Ensemble
        For the clock and the members of its soil.
    traits : mapping
        Crop traits by crop name.
    temp, theta : array
        Temperature [C] and water [m3/m3] of its columns by layer, (n_members, n_stored, n_layers).

    Returns
    -------
    CropHours or None
        By member, NaN beyond sight; None for a crop that was set or seen up, that was sown before
        the stored hours, or whose heat sum is not known.

    Notes
    -----
    The faster and the slower of two published tables where there are two; sources and range as
    `emergence_heat_cd`. Worked: tests/published/test_crop_stages_printed.py.
    """
    if (
        not planting.is_sown
        or planting.up_at is not None
        or planting.crop is None
        or planting.crop not in traits
        or planting.established_at is None
    ):
        return None
    crop = traits[planting.crop]
    base_c, need_cd, best_c = crop.emergence_base_c, crop.emergence_cd, crop.fastest_c
    if base_c is None or need_cd is None or best_c is None:
        return None
    stored = ensemble.stored_from_hour
    sown = ensemble.sky.hour_of(planting.established_at) - stored
    if sown < 0:
        return None
    depth = min(planting.sowing_depth_mm or crop.sowing_depth_mm or _DEFAULT_DEPTH_MM, _DEEPEST_MM)
    shares = band_weights(max(0.0, depth - 5.0), depth + 5.0, N_STORED_LAYERS)
    p = ensemble.members[planting.bed.soil].parameters
    suction_kpa = 33.0 * (theta @ shares / p.theta_33_m3m3[:, None]) ** (-p.b[:, None])

    soil_c = temp @ shares
    is_within = _is_within_limits(soil_c, crop)

    def reached(base: float, need: float, share: float) -> FloatArray:
        heat = emergence_heat_cd(
            soil_c, base, best_c, suction_kpa=suction_kpa, dry_kpa=_SEEDBED_DRY_KPA
        )
        hour = emergence_hour(
            np.where(is_within, heat, 0.0), emergence_need_cd(need, depth), sown, share
        )
        return np.where(hour >= 0, hour.astype(np.float64) + stored, np.nan)

    tables = [(base_c, need_cd)]
    if crop.late_base_c is not None and crop.late_cd is not None:
        tables.append((crop.late_base_c, crop.late_cd))
    up = np.stack([reached(base, need, 1.0) for base, need in tables])
    blind = np.stack([reached(base, need, _LAST_BLIND_SHARE) for base, need in tables])
    flame = np.stack([reached(base, need, _LAST_FLAME_SHARE) for base, need in tables])
    return CropHours(
        np.fmin.reduce(up), np.maximum.reduce(up), np.fmin.reduce(blind), np.fmin.reduce(flame)
    )


def _is_within_limits(soil_c: FloatArray, crop: CropTraits) -> BoolArray:
    """Whether the mean of the last 24 hours lies where the crop came up in a trial.

    The trials ran at steady temperatures: a warm noon or a cool night alone stops no seed.
    """
    total = np.cumsum(np.pad(soil_c, ((0, 0), (1, 0))), axis=1)
    hours = np.arange(1, total.shape[1])
    first = np.maximum(hours - 24, 0)
    mean_c = (total[:, hours] - total[:, first]) / (hours - first)
    coldest_c = -np.inf if crop.coldest_c is None else crop.coldest_c
    ceiling_c = np.inf if crop.ceiling_c is None else crop.ceiling_c
    return np.asarray((mean_c >= coldest_c - 1e-6) & (mean_c <= ceiling_c + 1e-6))


def _flush_outlook(
    ensemble: Ensemble,
    triggers: Sequence[Trigger],
    lead: GuildView,
    soil_temp_c: FloatArray,
    suction_kpa: FloatArray,
    is_wetting: BoolArray,
    weights: FloatArray,
) -> FlushOutlook:
    stored = ensemble.stored_from_hour
    sky = ensemble.sky
    progress = thermal_progress_cd(soil_temp_c, suction_kpa, lead.guild)
    cumulative = np.cumsum(progress, axis=1)
    wettings = past_wettings(ensemble, is_wetting, weights, stored)
    opened = _opening(
        [*triggers, *wettings], lead.milestones, cumulative, stored, ensemble, weights
    )
    next_hour, next_chance = _next_wetting(is_wetting[:, sky.now_hour :], weights)
    next_at = None if next_hour is None else sky.now_hour + next_hour
    if opened is None:
        empty = np.zeros((soil_temp_c.shape[0], soil_temp_c.shape[1]))
        return FlushOutlook(None, None, lead, empty, {}, {}, next_at, next_chance)
    hour = sky.hour_of(opened.at)
    start = min(max(hour - stored, 0), cumulative.shape[1] - 1)
    before = cumulative[:, start - 1][:, None] if start else 0.0
    heat = np.where(np.arange(cumulative.shape[1]) >= start, cumulative - before, 0.0)
    dates = flush_dates(
        cumulative,
        np.full(cumulative.shape[0], start, np.int64),
        lead.milestones.heat_cd,
    )
    seen = np.where(dates.reached_hour >= 0, dates.reached_hour, dates.extrapolated_hour) + stored
    names = (
        "first_thread", "peak_thread", "emerged10", "emerged50", "emerged90",
        "good_from", "best", "too_late",
    )  # fmt: skip
    reached = {name: seen[i].astype(np.float64) for i, name in enumerate(names)}
    now_heat = heat[:, sky.now_hour - stored - 1] if sky.now_hour > hour else np.zeros(len(heat))
    shares = flush_shares(now_heat, lead.guild)
    ranges = {
        name: Range(*(float(q) for q in weighted_quantiles(values, weights)))
        for name, values in (
            ("to_come", shares.to_come_frac),
            ("thread", shares.thread_frac),
            ("up", shares.emerged_frac),
            ("heat", now_heat),
        )
    }
    return FlushOutlook(hour, opened.by, lead, heat, ranges, reached, next_at, next_chance)


def past_wettings(
    ensemble: Ensemble, is_wetting: BoolArray, weights: FloatArray, first_hour: int
) -> list[Trigger]:
    """Wettings of dry ground before now that at least half of the members saw within two days.

    Parameters
    ----------
    ensemble : Ensemble
        For the clock.
    is_wetting : array of bool
        As `wetting_triggers` gives it, (n_members, n_hours).
    weights : array
        Member weights, (n_members,).
    first_hour : int
        First hour looked at.

    Returns
    -------
    list of Trigger
        In order.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    Three of four members see rain on dry ground in the third hour, one in the sixth.

    >>> from datetime import UTC, datetime
    >>> from types import SimpleNamespace
    >>> from scheduler.models.soil_column import ColumnForcing
    >>> from scheduler.planning.ensemble import Sky
    >>> air = ColumnForcing(*np.zeros((7, 4, 100)))
    >>> start = datetime(2013, 5, 8, tzinfo=UTC)
    >>> sky = Sky(start, 90, air, np.ones(100, bool), has_forecast=False)
    >>> wetting = np.zeros((4, 100), bool)
    >>> wetting[[0, 1, 2, 3], [2, 2, 2, 5]] = True
    >>> found = past_wettings(SimpleNamespace(sky=sky), wetting, np.ones(4), 0)
    >>> [(trigger.at.hour, trigger.by) for trigger in found]
    [(2, 'wetting')]
    """
    sky = ensemble.sky
    past = is_wetting[:, : sky.now_hour]
    so_far = np.cumsum(past, axis=1, dtype=np.int64)
    within = so_far.copy()
    within[:, _WETTING_H:] -= so_far[:, :-_WETTING_H]
    share = chance(within > 0, weights)
    is_start = (share >= 0.5) & (np.concatenate(([0.0], share[:-1])) < 0.5)
    return [
        Trigger(sky.at(float(h)), "wetting") for h in np.flatnonzero(is_start) if h >= first_hour
    ]


def _opening(
    triggers: Sequence[Trigger],
    milestones: FlushMilestones,
    cumulative_cd: FloatArray,
    stored: int,
    ensemble: Ensemble,
    weights: FloatArray,
) -> Trigger | None:
    """The trigger that opened the flush in force.

    Stirring (a pass, preparation, sowing, planting) ends the flush before it and opens one. Water
    opens one only where the flush before it had run its course; else it lets that one go on.
    """
    sky = ensemble.sky
    opened: Trigger | None = None
    for trigger in sorted(triggers, key=lambda t: (t.at, t.by)):
        hour = sky.hour_of(trigger.at)
        if trigger.by in ("wetting", "watering") and opened is not None:
            start = max(sky.hour_of(opened.at) - stored, 0)
            since_cd = cumulative_cd[:, max(hour - stored, 0)] - cumulative_cd[:, start]
            ran_cd = float(weighted_quantiles(since_cd, weights)[1])
            if ran_cd < milestones.emerged90_cd:
                continue
        opened = trigger
    return opened


def _next_wetting(is_wetting: BoolArray, weights: FloatArray) -> tuple[float | None, float]:
    """Median hour of the next wetting among members that get one, and their weight."""
    has_one = is_wetting.any(axis=1)
    share = float(weights[has_one].sum() / weights.sum())
    if share <= 0.0:
        return None, 0.0
    first = is_wetting[has_one].argmax(axis=1).astype(np.float64)
    return float(weighted_quantiles(first, weights[has_one])[1]), share
