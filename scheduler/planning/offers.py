"""The tools of a farm over one planting: which can go, over which days, and why the others not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta

import numpy as np

from scheduler.planning.day import Day
from scheduler.planning.draws import stratified_normals, weighted_quantiles
from scheduler.planning.gates import Gate, gate
from scheduler.planning.geometry import Fit, fit
from scheduler.planning.hours import day_starts
from scheduler.planning.outlook import Outlook, WorkOutlook
from scheduler.planning.passes import (
    PassRules,
    PassWeather,
    again_factor,
    particle_kill_frac,
    tool_kill_frac,
)
from scheduler.planning.traits import CropTraits
from scheduler.planning.weeds import BETWEEN, KillTable, WeedOutlook, WeedSettings
from scheduler.planning.work import last_time, setup_of, work_minutes
from scheduler.records import (
    BoolArray,
    Event,
    FloatArray,
    Planting,
    Refusal,
    Setup,
    Tool,
)

DAYS_IN_SIGHT = 10
REACHED = 0.9  # weight of members from which a crop counts as up
_BY_HAND = "hand"
_DRY_FOR_GOOD_MM = 100.0  # evaporation after which nothing is left to dry


@dataclass(frozen=True)
class Kit:
    """The farm's tools and all that decides over them."""

    rules: PassRules  # tools by name, traits by key, kill under the weather
    kills: KillTable
    crops: Mapping[str, CropTraits]
    weeds: WeedSettings


@dataclass(frozen=True)
class Site:
    """One planting as the tools meet it; `mates` are the other plantings of its bed."""

    outlook: Outlook
    weeds: WeedOutlook
    weather: PassWeather
    mates: tuple[Outlook, ...] = ()
    is_prepared: bool = True  # an empty bed that was prepared since its last crop

    @property
    def planting(self) -> Planting:
        """The planting."""
        return self.outlook.planting

    @property
    def area_m2(self) -> float:
        """Its area."""
        return self.planting.bed.width_m * (self.planting.to_m - self.planting.from_m)


@dataclass(frozen=True)
class Offer:
    """One tool over the days in sight; days as `day_hours` has them."""

    tool: Tool
    purpose: str  # blind, stale, standing
    setup: Setup | None
    note: str  # what to remember: the last time, what to lift over
    gate: Gate
    fit: Fit
    work: WorkOutlook
    minutes: float
    depth_mm: float
    kill_frac: FloatArray  # (n_days, n_particles, 2, 5) under each member's soil and weather
    stirs_frac: FloatArray  # (2,) of a full flush that its pass opens, by zone
    killable: FloatArray  # (n_particles, n_days) of what stands and is to come
    dry_killable: FloatArray  # (n_particles,) today, if no rain followed
    is_fit: BoolArray  # (n_particles, n_days) whether that particle's soil can be worked that day
    weights: FloatArray
    killed_m2: float  # today, mean
    from_hour: float  # first and last hour that the crop lets it in
    until_hour: float | None

    @property
    def gain(self) -> FloatArray:
        """Mean over particles of what a pass takes where the soil is fit, (n_days,)."""
        mean: FloatArray = self.weights @ (self.killable * self.is_fit)
        return mean

    @property
    def old_killable(self) -> FloatArray:
        """What a pass takes of weeds that stood before the record, (n_particles, n_days)."""
        return np.asarray(self.kill_frac[:, :, BETWEEN, -1].T)


@dataclass(frozen=True)
class Choice:
    """What can go over a planting now, what later, and why the other tools of the farm do not."""

    offers: tuple[Offer, ...]
    later: tuple[Offer, ...]  # tools that the crop lets in on a day in sight
    refusals: tuple[Refusal, ...]
    opens_hour: float | None  # first hour in sight at which the crop lets in a tool that fits
    closed_by: Refusal | None  # the refusal that speaks where there is no offer
    gates: Mapping[str, Gate] = field(default_factory=dict)  # by name, of the tools that fit


def day_hours(day: Day) -> list[tuple[int, int]]:
    """First and last hour of today and of the days in sight, from now on.

    Parameters
    ----------
    day : Day
        The clock.

    Returns
    -------
    list of (int, int)
        Hours on the sky's clock, at most `DAYS_IN_SIGHT` days.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, datetime, time
    >>> from scheduler.models.soil_column import ColumnForcing
    >>> from scheduler.planning.day import day_of
    >>> from scheduler.planning.ensemble import Sky
    >>> from scheduler.records import Farm, Place, WorkPlan
    >>> work = WorkPlan(time(7), time(19), (6.0,) * 7)
    >>> farm = Farm("made", Place(42.0, 0.0, 100.0, "UTC"), "metric", 5, {}, (), (), work)
    >>> start = datetime(2013, 5, 8, tzinfo=UTC)
    >>> air = ColumnForcing(*np.zeros((7, 1, 72)))
    >>> sky = Sky(start, 5, air, np.ones(72, bool), has_forecast=True)
    >>> day = day_of(farm, sky, 0, start + timedelta(hours=5))
    >>> day_hours(day)
    [(5, 24), (24, 48), (48, 72)]
    """
    first = day.sky.now_hour
    start = day.sky.at(first)
    days = day_starts(start, day.sky.n_hours - first, day.farm.place.time_zone)
    return [(first + a, first + b) for _, a, b in days][:DAYS_IN_SIGHT]


def weed_hours(day: Day) -> FloatArray:
    """Hours at which the weeds are wanted: now, then the middle of each day's working hours.

    Parameters
    ----------
    day : Day
        The clock.

    Returns
    -------
    array
        Ascending hours on the sky's clock, (1 + n_days,).

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, datetime, time
    >>> from scheduler.models.soil_column import ColumnForcing
    >>> from scheduler.planning.day import day_of
    >>> from scheduler.planning.ensemble import Sky
    >>> from scheduler.records import Farm, Place, WorkPlan
    >>> work = WorkPlan(time(7), time(19), (6.0,) * 7)
    >>> farm = Farm("made", Place(42.0, 0.0, 100.0, "UTC"), "metric", 5, {}, (), (), work)
    >>> start = datetime(2013, 5, 8, tzinfo=UTC)
    >>> air = ColumnForcing(*np.zeros((7, 1, 72)))
    >>> sky = Sky(start, 5, air, np.ones(72, bool), has_forecast=True)
    >>> day = day_of(farm, sky, 0, start + timedelta(hours=5))
    >>> weed_hours(day).tolist()
    [5.0, 12.5, 36.5, 60.5]
    """
    middles = []
    for first, last in day_hours(day):
        is_open = np.flatnonzero(day.is_open[first:last])
        middles.append(first + (float(np.median(is_open)) if is_open.size else (last - first) / 2))
    now = (day.now - day.sky.start_at) / timedelta(hours=1)
    return np.maximum.accumulate(np.array([now, *middles]))


def is_up(outlook: Outlook, hour: int, stored: int) -> bool:
    """Whether a crop stands above ground for nine tenths of the members' weight.

    Parameters
    ----------
    outlook : Outlook
        The planting's outlook.
    hour, stored : int
        Hour asked for and first stored hour.

    Returns
    -------
    bool
        False on an empty bed; True for a crop that was set, and for one of unknown age.

    Notes
    -----
    Definition of this project. Range as the emergence it reads.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> stage = SimpleNamespace(is_up=np.array([[False, True], [True, True]]))
    >>> seen = SimpleNamespace(
    ...     stage=stage, weights=np.ones(2), planting=SimpleNamespace(crop="beet")
    ... )
    >>> is_up(seen, 100, 100), is_up(seen, 101, 100)
    (False, True)
    """
    if outlook.planting.crop is None:
        return False
    if outlook.stage is None:
        return True
    share = outlook.weights @ outlook.stage.is_up[:, hour - stored] / outlook.weights.sum()
    return float(share) >= REACHED - 1e-9


def choose(site: Site, kit: Kit, events: Sequence[Event], day: Day) -> Choice:
    """Every tool of the farm over one planting: offered, or refused with its reason.

    Parameters
    ----------
    site : Site
        The planting, its weeds, its weather and the rest of its bed.
    kit : Kit
        Tools, traits and kill.
    events : sequence of Event
        Entries, for how a tool did the last time.
    day : Day
        The clock.

    Returns
    -------
    Choice
        Offers in the order of the farm's tools.

    Notes
    -----
    A tool is offered if it fits the rows and the bed, if the crop stands it now, and if it kills
    any of the weeds in its zones today or on a day in sight. Hand weeding is no offer: it is the
    verdict `hand`. Definition of this project. No range stated. Worked:
    tests/planning/test_offers.py; whole mornings: tests/scenes.
    """
    offers: list[Offer] = []
    later: list[Offer] = []
    refusals: list[Refusal] = []
    gates: dict[str, Gate] = {}
    for tool in day.farm.tools:
        if tool.kind == _BY_HAND:
            continue
        found, way = _gate_and_fit(tool, site, kit, day)
        if not way.is_fit:
            refusals.append(Refusal(tool.name, way.because, way.why))
            continue
        gates[tool.name] = found
        if not found.is_open:
            refusals.append(Refusal(tool.name, found.because, found.why))
            if found.opens_hour is not None:
                later.append(_offer(tool, found, way, site, kit, events, day))
            continue
        offer = _offer(tool, found, way, site, kit, events, day)
        if _takes_any(offer, site.weeds):
            offers.append(offer)
        else:
            why = "takes none of what stands or is to come here"
            refusals.append(Refusal(tool.name, "no_fit", why))
    return Choice(
        tuple(offers),
        tuple(later),
        tuple(refusals),
        min((offer.from_hour for offer in later), default=None),
        _speaker(refusals, gates),
        gates,
    )


def _speaker(refusals: Sequence[Refusal], gates: Mapping[str, Gate]) -> Refusal | None:
    """The refusal that speaks for all: the crop's, then one of a tool that fits, then any."""
    by_crop = [r for r in refusals if r.because != "no_fit"]
    fitting = [r for r in refusals if r.tool in gates]
    return next(iter((*by_crop, *fitting, *refusals)), None)


def _takes_any(offer: Offer, weeds: WeedOutlook) -> bool:
    """Whether it takes any weed of this season or of before, or there are none at all."""
    is_weedy = float(weeds.count_m2.max(initial=0.0)) > 0.0
    is_old = float(weeds.standing_m2.max(initial=0.0)) > 0.0
    takes = is_weedy and float(offer.killable.max(initial=0.0)) > 0.0
    takes_old = is_old and float(offer.kill_frac[:, :, BETWEEN, -1].max(initial=0.0)) > 0.0
    return takes or takes_old or not (is_weedy or is_old)


def _gate_and_fit(tool: Tool, site: Site, kit: Kit, day: Day) -> tuple[Gate, Fit]:
    outlook, traits = site.outlook, kit.rules.traits[tool.key]
    now, stored = day.sky.now_hour, day.stored
    found = _gate(tool, outlook, kit, day)
    height = None if outlook.stage is None else _height_mm(outlook, now - stored)
    closed: dict[str, str] = {}
    heights: dict[str, float] = {}
    for mate in site.mates:
        other = _gate(tool, mate, kit, day)
        if not other.is_open:
            closed[mate.planting.key] = other.why
        if mate.stage is not None:
            heights[mate.planting.key] = _height_mm(mate, now - stored)
    way = fit(
        tool,
        traits,
        outlook.planting,
        height,
        [mate.planting for mate in site.mates],
        closed,
        has_crop_up=is_up(outlook, now, stored),
        others_height_mm=heights,
    )
    return found, way


def _height_mm(outlook: Outlook, hour: int) -> float:
    """Median height of a crop of known age at a stored hour."""
    assert outlook.stage is not None
    height = outlook.stage.height_mm[:, hour]
    return float(weighted_quantiles(height, outlook.weights, (0.5,))[0])


def _gate(tool: Tool, outlook: Outlook, kit: Kit, day: Day) -> Gate:
    return gate(
        tool,
        kit.rules.traits[tool.key],
        outlook.planting,
        kit.crops.get(outlook.planting.crop or ""),
        outlook.stage,
        outlook.crop_hours,
        day.sky.now_hour,
        day.stored,
        outlook.weights,
        day.farm.flame_rules_read,
    )


def _purpose(outlook: Outlook, day: Day) -> str:
    if outlook.planting.crop is None:
        return "stale"
    return "standing" if is_up(outlook, day.sky.now_hour, day.stored) else "blind"


def _offer(
    tool: Tool,
    found: Gate,
    way: Fit,
    site: Site,
    kit: Kit,
    events: Sequence[Event],
    day: Day,
) -> Offer:
    outlook, weeds, planting = site.outlook, site.weeds, site.planting
    work = outlook.works[tool.key]
    purpose = _purpose(outlook, day)
    setup = setup_of(tool, planting, purpose)
    setup_name = None if setup is None else setup.name
    minutes = work_minutes(tool, planting, way)
    days = day_hours(day)
    depth = min(tool.depth_mm, found.depth_mm)
    hours = weeds.hours[1 : 1 + len(days)]

    def kill(weather: PassWeather, at: FloatArray) -> FloatArray:
        of_member = tool_kill_frac(tool, kit.kills.kill_frac, depth, at, weather, kit.rules)
        luck = np.zeros((at.size, weeds.member.size))  # of a pass: not known before it is made
        z = stratified_normals(kit.rules.seed, weeds.member.size, "kill", tool.key)
        found = particle_kill_frac(of_member, weeds.member, z, luck, kit.rules.settings)
        again = again_factor(
            weeds.history.since_pass_d(at), weeds.history.taken_frac, kit.rules.settings
        )
        return np.asarray(found * again[:, None])

    kills = kill(site.weather, hours)
    killable = np.stack([weeds.killable_frac(1 + d, kills[d]) for d in range(len(days))], axis=1)
    dry = replace(site.weather, dose_mm=np.full_like(site.weather.dose_mm, _DRY_FOR_GOOD_MM))
    w = weeds.weights / weeds.weights.sum()
    density = weeds.density_m2(1).sum(axis=1) + weeds.to_come_m2(1)
    from_hour = float(day.sky.now_hour) if found.opens_hour is None else found.opens_hour
    return Offer(
        tool=tool,
        purpose=purpose,
        setup=setup,
        note=_note(way, last_time(events, planting, tool.name, setup_name, planting.crop)),
        gate=found,
        fit=way,
        work=work,
        minutes=minutes,
        depth_mm=depth,
        kill_frac=kills,
        stirs_frac=kit.kills.stirs_frac[tool.key]
        * np.interp(depth, kit.weeds.size_depth_mm, kit.weeds.size_depth_frac),
        killable=killable,
        dry_killable=weeds.killable_frac(1, kill(dry, hours[:1])[0]),
        is_fit=_fit_days(work, minutes, from_hour, found.closes_hour, days, day)[weeds.member],
        weights=w,
        killed_m2=float(w @ (killable[:, 0] * density)),
        from_hour=from_hour,
        until_hour=found.closes_hour,
    )


def _note(way: Fit, last: str) -> str:
    return "; ".join((*way.minds, *((last,) if last else ())))


def _fit_days(
    work: WorkOutlook,
    minutes: float,
    from_hour: float,
    until_hour: float | None,
    days: Sequence[tuple[int, int]],
    day: Day,
) -> BoolArray:
    """Whether each member's soil lets the pass be done on each day, (n_members, n_days)."""
    need = max(1, int(np.ceil(minutes / 60.0)))
    fits = np.zeros((work.is_workable.shape[0], len(days)), bool)
    for d, (first, last) in enumerate(days):
        is_open = day.is_open[first:last].copy()
        is_open[: max(0, int(np.ceil(from_hour)) - first)] = False
        if until_hour is not None:
            is_open[max(0, int(until_hour) - first) :] = False
        inside = work.is_workable[:, first - day.stored : last - day.stored][:, is_open]
        fits[:, d] = inside.sum(axis=1) >= need
    return fits
