"""A seedbed prepared early, so that weeds come up and are killed before the crop is sown.

The bed is prepared, a flush opens, a shallow pass takes it, that pass opens a smaller one, and a
last pass the day before sowing takes what is up or in thread by then. The dates run on the clock
of `models.weeds.degree_days`; beyond the weather in sight the last two weeks are carried on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from scheduler.models.soil_column import band_weights
from scheduler.models.weeds.degree_days import (
    Guild,
    flush_dates,
    flush_shares,
    germination_heat_c,
    one_pass_kill_frac,
    thermal_progress_cd,
)
from scheduler.planning.day import Day, date_words, local_moment, tenths
from scheduler.planning.draws import stratified_normals, weighted_quantiles
from scheduler.planning.ensemble import N_STORED_LAYERS, Ensemble
from scheduler.planning.hours import at_local, local_day
from scheduler.planning.outlook import GuildView, Outlook
from scheduler.planning.traits import ToolTraits
from scheduler.planning.weeds import BETWEEN, KillTable, WeedSettings
from scheduler.records import FloatArray, Plan, Planting, Range, Tool

_SEED_BAND_MM = (5.0, 25.0)
_STIRRED_BY = ("preparation", "pass")  # what makes an empty bed a prepared one
_APART_H = 24  # of the last pass from the one before it, at least
_OVERGROWN = 2.0  # times the heat to nine tenths up: then the bed has to be prepared anew
_CARRIED_D = 14  # whose mean day is carried on beyond the weather in sight
_CARRIED_SD_C = 1.0  # its error at first
_CARRIED_MORE_SD_C = 0.1  # more a day
_CARRIED_MOST_SD_C = 3.0
_DEEPEST_MM = 20.0  # of a pass over a prepared bed
_WATER_MM = (5.0, 10.0)  # to start a flush
_WATER_SIGHT_H = 72
_WETTING_MM = 8.0  # rain that starts a flush by itself
_WETTING_CHANCE = 0.3  # from which one waits for it
_DRY_AFTER_PASS_H = 48  # no water, so that what was uprooted dries
_MOST_FLUSHES = 6
_TOLD_FLUSHES = 2  # each with its dates


@dataclass(frozen=True)
class Seedbed:
    """Temperature and suction at 5-25 mm by member and stored hour, (n_members, n_stored)."""

    soil_temp_c: FloatArray
    suction_kpa: FloatArray


@dataclass(frozen=True)
class FlushKill:
    """One flush of a stale bed: when a pass takes most of it, and how large it is."""

    from_at: datetime
    best_at: datetime
    until_at: datetime
    size_frac: float  # of the flush that a deep preparation opens


@dataclass(frozen=True)
class StaleBed:
    """A stale bed before a planned sowing; dates and moments are local."""

    plan: Plan
    after_crop: str | None  # what has to be cleared first
    already_prepared_at: datetime | None
    prepare_from: date | None  # if the soil is cold: the cautious tenth
    prepare_by: date | None  # the last day on which one whole flush still fits; None: gone by
    prepare_by_two: date | None  # and two flushes
    kills: tuple[FlushKill, ...]
    water_first: bool
    water_mm: tuple[float, float] | None
    tool: str | None
    depth_mm: float
    last_kill_on: date | None
    to_come_at_sowing: Range | None  # share of the flush then open that has not germinated
    left_frac: Range | None  # weeds up or to come in the crop over those of a bed prepared then
    beyond_sight_d: float  # days of carried-on temperature before the sowing
    why: tuple[str, ...]

    @property
    def n_flushes(self) -> int:
        """Flushes that are killed before the sowing."""
        return len(self.kills)


def seedbed(planting: Planting, ensemble: Ensemble) -> Seedbed:
    """What the weed clock reads of one planting's columns.

    Parameters
    ----------
    planting : Planting
        The planting.
    ensemble : Ensemble
        Columns after their run.

    Returns
    -------
    Seedbed
        At 5 to 25 mm, (n_members, n_stored).

    Notes
    -----
    Suction on the power curve through 33 kPa, as `planting_outlook` takes it. Definition of this
    project; range as the soil column. Worked: tests/planning/test_stale_bed.py.
    """
    run, columns = ensemble.run_of(planting.key)
    shares = band_weights(*_SEED_BAND_MM, N_STORED_LAYERS)
    p = ensemble.members[planting.bed.soil].parameters
    theta = run.theta_m3m3[columns].astype(np.float64) @ shares
    suction: FloatArray = 33.0 * (theta / p.theta_33_m3m3[:, None]) ** (-p.b[:, None])
    return Seedbed(run.temp_c[columns].astype(np.float64) @ shares, suction)


def heat_to_sowing_cd(
    bed: Seedbed, guild: Guild, now: int, n_hours: int, normals: FloatArray
) -> FloatArray:
    """Running degree-days of a guild from the first stored hour until a sowing.

    Parameters
    ----------
    bed : Seedbed
        Temperature and suction of the stored hours.
    guild : Guild
        The weeds.
    now : int
        Stored hour of the answer: before it dry hours do not count, from it on the bed is taken to
        be moist, because it can be watered.
    n_hours : int
        Hours from the first stored one to the sowing [h]; beyond those stored, the mean day of the
        last 14 before `now` is carried on.
    normals : array
        A standard normal a member: how far its carried-on temperature strays, (n_members,).

    Returns
    -------
    array
        At the end of each hour [C d], (n_members, n_hours).

    Notes
    -----
    The carried-on temperature errs by 1 C at first and 0.1 C more a day, at most 3 C; the season's
    own warming is not put in, so that dates in spring come out early. Assumptions of this project.
    Range as `thermal_progress_cd`.

    Examples
    --------
    A soil of 15 C for two days, carried on for two more; one member errs by nothing.

    >>> spring = Guild("spring", 5, 27, 38, 70, 0.55, -1000, 12, 1.8, 50, 0.5, 0.35, 4, 25, 20)
    >>> bed = Seedbed(np.full((1, 48), 15.0), np.full((1, 48), 20.0))
    >>> heat_to_sowing_cd(bed, spring, 24, 96, np.zeros(1))[0, [23, 47, 95]].round(3).tolist()
    [10.0, 20.0, 40.0]
    """
    seen = min(bed.soil_temp_c.shape[1], n_hours)
    temp, suction = bed.soil_temp_c[:, :seen], bed.suction_kpa[:, :seen].copy()
    suction[:, min(now, seen) :] = 0.0
    progress = thermal_progress_cd(temp, suction, guild)
    if n_hours > seen:
        hour = np.arange(seen, n_hours)
        first = max(0, now - 24 * _CARRIED_D)
        recent = bed.soil_temp_c[:, first : max(now, first + 24)]
        by_hour = np.stack([recent[:, h::24].mean(axis=1) for h in range(24)], axis=1)
        carried = by_hour[:, (hour - first) % 24]
        sd = np.minimum(
            _CARRIED_SD_C + _CARRIED_MORE_SD_C * (hour - seen) / 24.0, _CARRIED_MOST_SD_C
        )
        beyond = germination_heat_c(carried + normals[:, None] * sd[None, :], guild) / 24.0
        progress = np.concatenate((progress, beyond), axis=1)
    return np.cumsum(progress, axis=1)


def latest_opening_hour(cumulative_cd: FloatArray, target_hour: int, need_cd: float) -> FloatArray:
    """Last hour at whose start a flush can open and still have its heat by a target.

    Parameters
    ----------
    cumulative_cd : array
        Running degree-days at the end of each hour [C d], (n_members, n_hours).
    target_hour : int
        Hour by whose start the heat is wanted, 1 to n_hours.
    need_cd : float
        Heat the flush needs [C d].

    Returns
    -------
    array
        Hour index, -1 where the record does not hold that much heat, (n_members,).

    Notes
    -----
    The clock of `flush_dates` read backwards. Definition of this project. No range stated.

    Examples
    --------
    >>> latest_opening_hour(np.array([[1.0, 2.0, 3.0, 4.0]]), 4, 2.0).tolist()
    [2.0]
    >>> latest_opening_hour(np.array([[1.0, 2.0, 3.0, 4.0]]), 4, 9.0).tolist()
    [-1.0]
    """
    found = np.full(cumulative_cd.shape[0], -1.0)
    for member, total in enumerate(cumulative_cd):
        before = total[target_hour - 1] - need_cd
        if before >= -1e-9:
            found[member] = float(np.searchsorted(total, before + 1e-9, side="right"))
    return found


@dataclass(frozen=True)
class _Window:
    """A flush on the hours of the running heat."""

    opened: int
    good_from: int
    kill: int
    until: int


def _windows(
    cumulative: FloatArray,
    lead: GuildView,
    opened: int,
    now: int,
    limit: int,
    weights: FloatArray,
    is_stirring: bool,
) -> tuple[_Window, ...]:
    """Flushes one after the other: each opens with the pass that takes the one before it.

    A pass that stirs nothing opens none, and is best late, when most of the one flush is up.
    """
    found: list[_Window] = []
    while len(found) < _MOST_FLUSHES and opened < limit:
        n_members = cumulative.shape[0]
        dates = flush_dates(
            cumulative, np.full(n_members, opened, np.int64), lead.milestones.heat_cd
        )
        reached = np.where(dates.reached_hour >= 0, dates.reached_hour + 1.0, np.inf)
        # members that get there after the sowing count as late, not as missing
        late = np.minimum(reached[5:8], 1e6)
        good_from, best, too_late = (float(weighted_quantiles(h, weights)[1]) for h in late)
        first = max(good_from, float(now))
        if first > limit:
            break
        kill = max(min(best if is_stirring else too_late, limit), first)
        until = max(min(too_late, limit), kill)
        found.append(_Window(opened, round(first), round(kill), round(until)))
        if not is_stirring:
            break
        opened = round(kill)
    return tuple(found)


def _pass_tool(
    tools: Sequence[Tool], traits: Mapping[str, ToolTraits], kills: KillTable, has_flame: bool
) -> Tool | None:
    """The farm's tool that takes most threads and seed leaves at 20 mm or less."""

    def takes(tool: Tool) -> float:
        return float(kills.kill_frac[tool.key][BETWEEN, :2].mean())

    fitting = [
        tool
        for tool in tools
        if tool.key in kills.kill_frac
        and tool.key in traits
        and tool.kind != "hand"
        and (tool.kind != "flame" or has_flame)
        and min(tool.depth_mm, traits[tool.key].depth_low_mm) <= _DEEPEST_MM
        and takes(tool) > 0.0
    ]
    return min(fitting, key=lambda t: (-takes(t), t.name)) if fitting else None


@dataclass
class _Open:
    """A flush as passes go over it, by member; all shares of its size."""

    opened: int
    size: float
    germinated: FloatArray
    alive: FloatArray


def _play(
    cumulative: FloatArray,
    guild: Guild,
    opened: int,
    passes: Sequence[int],
    sown: int,
    tool: Tool | None,
    depth_mm: float,
    kills: KillTable,
    settings: WeedSettings,
) -> tuple[list[float], FloatArray, FloatArray]:
    """Sizes of the flushes, share of the last not germinated at sowing, and weeds left."""
    if tool is None:
        stages, stirs = (0.0, 0.0, 0.0, 0.0), 0.0
    else:
        k = kills.kill_frac[tool.key][BETWEEN]
        stages = (float(k[0]), float(k[1]), float(k[2]), float(k[3]))
        stirs = float(kills.stirs_frac[tool.key][BETWEEN])
    n = cumulative.shape[0]
    pool, last = 1.0 - settings.pass_share, opened
    flushes = [_Open(opened, 1.0, np.zeros(n), np.zeros(n))]
    sizes = [1.0]

    def heat(start: int, end: int) -> FloatArray:
        before = cumulative[:, start - 1] if start else 0.0
        return np.asarray(cumulative[:, max(end, 1) - 1] - before)

    def come_up(flush: _Open, hour: int) -> FloatArray:
        since = heat(flush.opened, hour)
        germinated = 1.0 - flush_shares(since, guild).to_germinate_frac
        flush.alive = flush.alive + np.maximum(germinated - flush.germinated, 0.0)
        flush.germinated = np.asarray(germinated)
        return since

    for hour in passes:
        for flush in flushes:
            since = come_up(flush, hour)
            if any(stages):
                taken = one_pass_kill_frac(since, guild, stages, _typical_c(guild))
                share = np.clip(taken / np.maximum(flush.germinated, 1e-9), 0.0, 1.0)
                flush.alive = flush.alive * (1.0 - share)
        reach = stirs * float(np.interp(depth_mm, settings.size_depth_mm, settings.size_depth_frac))
        ready = 1.0 - float(np.exp(-(hour - last) / 24.0 / settings.recovery_d))
        size = pool * reach * ready
        pool -= settings.pass_share * size
        last = hour
        flushes.append(_Open(hour, size, np.zeros(n), np.zeros(n)))
        sizes.append(size)
    left = np.zeros(n)
    whole, waiting = np.zeros(n), np.zeros(n)
    for flush in flushes:
        come_up(flush, sown)
        left += flush.size * (flush.alive + 1.0 - flush.germinated)
        whole += flush.size
        waiting += flush.size * (1.0 - flush.germinated)
    return sizes, waiting / whole, left


def _typical_c(guild: Guild) -> float:
    """A temperature at which leaves grow meanwhile, within the guild's own."""
    return min(max(16.0, max(guild.base_c, guild.leaf_base_c) + 4.0), guild.optimum_c)


def stale_bed_plan(
    plan: Plan,
    day: Day,
    outlook: Outlook,
    bed: Seedbed,
    traits: Mapping[str, ToolTraits],
    kills: KillTable,
    settings: WeedSettings,
) -> StaleBed | None:
    """When to prepare a bed before a planned sowing, and when to kill what comes up.

    Parameters
    ----------
    plan : Plan
        The sowing or setting.
    day : Day
        The clock.
    outlook : Outlook
        The bed as it is now: its crop, its flush, the guild that leads.
    bed : Seedbed
        Its temperature and suction, of `seedbed`.
    traits : mapping
        Tool traits by `Tool.key`.
    kills : KillTable
        Kill by `Tool.key`.
    settings : WeedSettings
        Pool of ready seeds.

    Returns
    -------
    StaleBed or None
        None if the sowing is for today or gone by.

    Notes
    -----
    `prepare_by` is the last day on which a flush that opens then is nine tenths up on the eve of
    sowing, by the median of members (`prepare_from`: by the cautious tenth); `prepare_by_two`
    lets a first flush come to its best pass before. Each pass opens the next flush from what is
    left in the pool, by its depth and the days since the stirring before it, as `weed_history` has
    it; a pass takes the same share of a flush it meets again. What the sowing itself stirs in the
    row is not counted. One guild, the one that leads now. Lead times of two to three weeks in warm
    and four to six in cold soil are common practice of the trade, and come out of the clock here.
    Range: annual weeds from seed; a bed kept moist. Worked: tests/planning/test_stale_bed.py.
    """
    zone = day.farm.place.time_zone
    today = local_day(day.now, zone)
    if plan.on <= today:
        return None
    sky, stored, lead, weights = day.sky, day.stored, outlook.flush.lead, outlook.weights
    sowing_at = at_local(plan.on, day.farm.work.start, zone)
    sown = round((sowing_at - sky.start_at) / timedelta(hours=1)) - stored
    now = sky.now_hour - stored
    eve_at = at_local(plan.on - timedelta(days=1), day.farm.work.end, zone)
    limit = round((eve_at - sky.start_at) / timedelta(hours=1)) - stored
    normals = stratified_normals(
        day.farm.seed, weights.size, "stale bed", plan.bed, plan.on.toordinal()
    )
    cumulative = heat_to_sowing_cd(bed, lead.guild, now, sown, normals)

    def moment(hour: float) -> datetime:
        return local_moment(sky.at(hour + stored), day)

    def day_of_hour(hour: float) -> date | None:
        return None if hour < 0.0 else local_day(moment(hour), zone)

    latest = latest_opening_hour(cumulative, max(limit, 1), lead.milestones.emerged90_cd)
    early, mid, _ = (float(q) for q in weighted_quantiles(latest, weights))
    two = -1.0
    if mid > 0.0:
        before = latest_opening_hour(cumulative, max(round(mid), 1), lead.milestones.best_cd)
        two = float(weighted_quantiles(before, weights)[1])
    prepared = _prepared_hour(outlook, stored, now)
    opened = prepared
    if opened is None:
        opened = max(now, round(mid)) if mid >= 0.0 else now
    tool = _pass_tool(day.farm.tools, traits, kills, day.farm.flame_rules_read)
    is_stirring = tool is None or tool.kind != "flame"
    depth = 0.0
    if is_stirring:
        depth = _DEEPEST_MM if tool is None else min(tool.depth_mm, _DEEPEST_MM)
    windows = _windows(cumulative, lead, opened, now, limit, weights, is_stirring)
    passes = [w.kill for w in windows]
    if windows and limit - passes[-1] >= _APART_H:
        passes.append(limit)
    sizes, to_come, left = _play(
        cumulative, lead.guild, opened, passes, sown, tool, depth, kills, settings
    )
    seen_kills = tuple(
        FlushKill(moment(w.good_from), moment(w.kill), moment(w.until), size)
        for w, size in zip(windows, sizes, strict=False)
    )
    can_water, water_why = _water(outlook, bed, day, lead, prepared, opened, now)
    beyond_d = max(0.0, (sown - bed.soil_temp_c.shape[1]) / 24.0)
    return StaleBed(
        plan=plan,
        after_crop=outlook.planting.crop,
        already_prepared_at=None if prepared is None else moment(prepared),
        prepare_from=day_of_hour(early),
        prepare_by=day_of_hour(mid),
        prepare_by_two=day_of_hour(two),
        kills=seen_kills,
        water_first=can_water and bool(windows),
        water_mm=_WATER_MM if can_water and windows else None,
        tool=None if tool is None else tool.name,
        depth_mm=depth,
        last_kill_on=local_day(moment(passes[-1]), zone) if passes else None,
        to_come_at_sowing=_range(to_come, weights) if passes else None,
        left_frac=_range(left, weights) if passes and tool is not None else None,
        beyond_sight_d=beyond_d,
        why=water_why if windows else (),
    )


def _range(values: FloatArray, weights: FloatArray) -> Range:
    return Range(*(float(q) for q in weighted_quantiles(values, weights)))


def _prepared_hour(outlook: Outlook, stored: int, now: int) -> int | None:
    """Stored hour at which an empty bed was stirred, unless its weeds have outgrown a pass."""
    flush = outlook.flush
    if outlook.planting.crop is not None or flush.opened_hour is None:
        return None
    if flush.opened_by not in _STIRRED_BY:
        return None
    heat = float(weighted_quantiles(flush.heat_cd[:, max(now - 1, 0)], outlook.weights)[1])
    if heat > _OVERGROWN * flush.lead.milestones.emerged90_cd:
        return None
    return max(0, flush.opened_hour - stored)


def _water(
    outlook: Outlook,
    bed: Seedbed,
    day: Day,
    lead: GuildView,
    prepared: int | None,
    opened: int,
    now: int,
) -> tuple[bool, tuple[str, ...]]:
    """Whether to water so that the flush starts, and why (not)."""
    sky, weights = day.sky, outlook.weights
    low, high = _WATER_MM
    amount = f"{low:.0f}-{high:.0f} mm"
    if opened > now + _WATER_SIGHT_H:
        return False, (f"water {amount} when you prepare it, if the top is dry by then",)
    if outlook.flush.opened_by == "pass" and prepared is not None:
        since_h = now - prepared
        if since_h < _DRY_AFTER_PASS_H:
            return False, ("no water within two days of a pass: let the uprooted weeds dry",)
    suction = bed.suction_kpa[:, max(now - 1, 0)]
    dry = float(weights[suction >= -lead.guild.psi_b50_kpa].sum() / weights.sum())
    if dry < 0.5:
        return False, ("moist enough at 5-25 mm for seeds to germinate: no water needed",)
    ahead = sky.forcing.rain_mm[:, sky.now_hour : sky.now_hour + _WATER_SIGHT_H].sum(axis=1)
    wet = float(weights[ahead >= _WETTING_MM].sum() / weights.sum())
    if wet >= _WETTING_CHANCE:
        rain = f"rain of {_WETTING_MM:.0f} mm or more within 3 days {tenths(wet)}"
        return False, (f"the top is too dry to germinate, but {rain}: wait for it",)
    return True, (
        f"water {amount} now: the top is too dry to germinate, no rain to speak of for 3 days",
    )


def _span_words(first: date, last: date) -> str:
    """Two dates as "12-15 May", "30 Apr-3 May" or "12 May"."""
    if last <= first:
        return f"{first.day} {first:%b}"
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day}-{last.day} {last:%b}"
    return f"{first.day} {first:%b}-{last.day} {last:%b}"


def _kill_span(kill: FlushKill) -> str:
    return _span_words(kill.from_at.date(), kill.until_at.date())


def _name(stale: StaleBed) -> str:
    return f"stale bed for {stale.plan.crop} {_span_words(stale.plan.on, stale.plan.on)}"


def stale_bed_line(stale: StaleBed, day: Day) -> str:
    """One short line for the morning's list.

    Parameters
    ----------
    stale : StaleBed
        The plan.
    day : Day
        The clock.

    Returns
    -------
    str
        As "stale bed for carrot 20 May: kill the flush 12-15 May, shallow".

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_stale_bed.py.
    """
    today = local_day(day.now, day.farm.place.time_zone)
    if not stale.kills:
        return f"{_name(stale)}: no flush comes up in time any more"
    if stale.already_prepared_at is None:
        by = today if stale.prepare_by is None else max(today, stale.prepare_by)
        after = "" if stale.after_crop is None else f" after the {stale.after_crop} is cleared"
        when = "today" if by == today else f"by {_span_words(by, by)}"
        return f"{_name(stale)}: prepare it {when}{after}"
    return f"{_name(stale)}: kill the flush {_kill_span(stale.kills[0])}, shallow"


def stale_bed_days(stale: StaleBed, day: Day) -> tuple[date, date] | None:
    """First and last day of what the bed needs next: the last one to prepare it, or of its flush.

    Parameters
    ----------
    stale : StaleBed
        The plan.
    day : Day
        The clock.

    Returns
    -------
    (date, date) or None
        The days that `stale_bed_line` tells: one for the preparation, those of the flush to kill.
        None where no flush comes up in time.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_stale_bed.py.
    """
    today = local_day(day.now, day.farm.place.time_zone)
    if not stale.kills:
        return None
    if stale.already_prepared_at is None:
        by = today if stale.prepare_by is None else max(today, stale.prepare_by)
        return by, by
    first = stale.kills[0]
    return first.from_at.date(), max(first.from_at.date(), first.until_at.date())


def stale_bed_words(stale: StaleBed, day: Day) -> tuple[str, ...]:
    """Short sentences for the bed's page.

    Parameters
    ----------
    stale : StaleBed
        The plan.
    day : Day
        The clock.

    Returns
    -------
    tuple of str
        When to prepare, when to kill, whether to water, how deep, what is left, how sure.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_stale_bed.py.
    """
    words = [*_prepare_words(stale, day)]
    for i, kill in enumerate(stale.kills[:_TOLD_FLUSHES]):
        which = "first flush" if i == 0 else "next flush, opened by that pass"
        size = "" if i == 0 else f", {tenths(kill.size_frac)} of a full one"
        best = f"best {date_words(kill.best_at, day)}"
        words.append(f"{which}{size}: kill it {_kill_span(kill)}, {best}")
    if stale.n_flushes > _TOLD_FLUSHES:
        apart_d = (stale.kills[-1].best_at - stale.kills[0].best_at) / timedelta(days=1)
        every = round(apart_d / (stale.n_flushes - 1))
        words.append(f"then one about every {every} days, {stale.n_flushes} in all")
    words += stale.why
    if stale.kills and stale.last_kill_on is not None:
        with_tool = "" if stale.tool is None else f" with {stale.tool}"
        deep = (
            ""
            if stale.depth_mm <= 0.0
            else f", at most {stale.depth_mm:.0f} mm deep: deeper opens more"
        )
        words.append(
            f"last pass {_span_words(stale.last_kill_on, stale.last_kill_on)}{with_tool}{deep}"
        )
        if stale.to_come_at_sowing is not None:
            words.append(
                f"{tenths(stale.to_come_at_sowing.mid)} of what was stirred is still to come then"
            )
    if stale.left_frac is not None:
        low, mid, high = (round(100 * q) for q in vars(stale.left_frac).values())
        has_no_span = (
            low == high or stale.already_prepared_at is None
        )  # the dates will be moved yet
        span = "" if has_no_span else f" ({low}-{high})"
        words.append(f"leaves about {mid}{span} in 100 of the weeds of a bed prepared on the day")
    if stale.beyond_sight_d > 0.0:
        words.append(
            f"the last {stale.beyond_sight_d:.0f} days before it lie beyond the weather in sight: "
            "the last 14 days are carried on, less sure the further; an assumption"
        )
    return tuple(words)


def _prepare_words(stale: StaleBed, day: Day) -> tuple[str, ...]:
    today = local_day(day.now, day.farm.place.time_zone)
    verb = "sowing" if stale.plan.is_sown else "setting"
    if stale.already_prepared_at is not None:
        return (f"prepared {date_words(stale.already_prepared_at, day)}, flush open since",)
    after = "" if stale.after_crop is None else f", after the {stale.after_crop} is cleared"
    if not stale.kills:
        return (f"a flush opened today is not up the day before {verb}{after}",)
    if stale.prepare_by is None or stale.prepare_by < today:
        return (f"prepare it today{after}: late, only part of a flush is up before {verb}",)
    words = f"prepare it by {_span_words(stale.prepare_by, stale.prepare_by)}{after}"
    ahead = (stale.plan.on - stale.prepare_by).days
    words += f": {ahead} days before {verb}, so that one flush is 9 in 10 up"
    if stale.prepare_from is not None and today <= stale.prepare_from < stale.prepare_by:
        words += f"; by {_span_words(stale.prepare_from, stale.prepare_from)} if it stays colder"
    if stale.prepare_by_two is not None and stale.prepare_by_two >= today:
        two = _span_words(stale.prepare_by_two, stale.prepare_by_two)
        return (words, f"two flushes fit if it is prepared by {two}")
    return (words,)
