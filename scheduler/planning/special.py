"""Passes with a purpose of their own: a crust broken, a last call before seed, a flame in time.

Hours are those of the sky's clock. Nothing here decides a verdict; it says what is due, until when
and in which words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from scheduler.models.crust import crust_expected
from scheduler.models.weeds.degree_days import Guild, germination_heat_c
from scheduler.planning.crop_stage import CropHours, hour_of_share
from scheduler.planning.day import GO_CHANCE, Day, date_words, local_moment, tenths
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.gates import REACHED, Gate
from scheduler.planning.hours import local_day
from scheduler.planning.outlook import Outlook
from scheduler.planning.spans import is_raining
from scheduler.planning.traits import CropTraits, ToolTraits
from scheduler.planning.weeds import WeedOutlook, WeedSettings
from scheduler.records import FloatArray, Range, Tool

_CRUST_HARD = 0.5  # strength from which a crust holds seedlings back
_CRUST_CHANCE = 0.5  # from which breaking it is advised
_CRUST_DEPTH_MM = 15.0  # of a pass that breaks it, at most
_SPRINKLE_MM = (3.0, 5.0)  # that keeps it soft
_KEPT_MM = (1.0, 2.0, 3.0)  # water that a broken crust keeps in the top
_SEED_BASE_C = 4.0
_SEED_CD = 500.0  # from coming up to the first ripe seed of a quick weed, in the air
_SEED_PACE_D = 14  # whose mean pace goes on beyond the weather in sight
_SEED_DUE_D = 7
_MAT_M2 = 30.0  # weeds from before the record that make a mat
_ESTABLISHED_M2 = 0.5  # of this season, from which seed is worth a call
_SURVIVED_FRAC = 0.1  # of a full flush that must have come through the passes since
_FLAME_M2 = 20.0  # seed leaves and first leaves from which a flame pays
_UP_STAGES = slice(1, 3)
_ESTABLISHED = 4  # the last stage
_AFTER_BEETS = ("carrot", "parsnip", "parsley")  # onions come up before beets in the same trial


# ------------------------------------------------------------------------ the crust


@dataclass(frozen=True)
class CrustBreak:
    """A crust over a sown crop that has to be broken, or kept soft, before it comes up."""

    chance: float
    is_present: bool
    hard_from_hour: int
    break_by_hour: float  # the crop comes up, by the cautious tenth
    tool: str | None  # None: no machine may go in; rake or sprinkle
    depth_mm: float | None
    start_hour: int | None
    tool_until_hour: float | None
    sprinkle_mm: tuple[float, float]
    kept_mm: Range


def crust_break(
    outlook: Outlook,
    day: Day,
    emergence: CropHours | None,
    tools: Sequence[Tool],
    traits: Mapping[str, ToolTraits],
    gates: Mapping[str, Gate],
) -> CrustBreak | None:
    """Whether a crust will hold a sown crop back, and how to break it in time.

    Parameters
    ----------
    outlook : Outlook
        The planting.
    day : Day
        The clock.
    emergence : CropHours or None
        When the crop comes up; None: not sown, up, or not known.
    tools : sequence of Tool
        Tools of the farm.
    traits : mapping
        Tool traits by `Tool.key`.
    gates : mapping
        Gate of each tool over this planting by tool name; a tool without one is not named.

    Returns
    -------
    CrustBreak or None
        None where no crop waits below ground, or where a hard crust before it comes up has less
        than an even chance.

    Notes
    -----
    Hard is an index of 0.5 (`crust_class`) before the cautious tenth of emergence. A tool that may
    work over the row is named while its gate is open and the soil can be worked in the grower's dry
    hours, at 15 mm or less; the gate keeps it above the seed, off the crook. Else a rake, or 3 to
    5 mm from a sprinkler, which softens a crust at once: common practice. Water kept is an
    assumption of 1 to 3 mm, bounded by runs of the soil column in tests/planning/test_special.py.
    Confidence as that of `crust_index`: low. Worked: tests/planning/test_special.py.
    """
    if emergence is None or outlook.planting.crop is None:
        return None
    now = day.sky.now_hour
    up = hour_of_share(emergence.first_up, outlook.weights, 1.0 - REACHED)
    end = day.sky.n_hours if up is None else int(up)
    if end <= now:
        return None
    index = outlook.crust_index[:, : end - day.stored]
    hour, share = crust_expected(index, _CRUST_HARD, outlook.weights, from_hour=now - day.stored)
    if hour is None or share < _CRUST_CHANCE:
        return None
    hard_now = outlook.crust_index[:, max(now - day.stored - 1, 0)] >= _CRUST_HARD
    present = float(outlook.weights[hard_now].sum() / outlook.weights.sum()) >= 0.5
    found = _crust_tool(outlook, day, end, tools, traits, gates)
    return CrustBreak(
        chance=share,
        is_present=present,
        hard_from_hour=hour + day.stored,
        break_by_hour=float(end),
        tool=None if found is None else found[0].name,
        depth_mm=None if found is None else min(found[1].depth_mm, _CRUST_DEPTH_MM),
        start_hour=None if found is None else found[2],
        tool_until_hour=None if found is None else found[3],
        sprinkle_mm=_SPRINKLE_MM,
        kept_mm=Range(*_KEPT_MM),
    )


def _crust_tool(
    outlook: Outlook,
    day: Day,
    end: int,
    tools: Sequence[Tool],
    traits: Mapping[str, ToolTraits],
    gates: Mapping[str, Gate],
) -> tuple[Tool, Gate, int, float] | None:
    """The tool that can go in soonest, its gate, its first hour and its last."""
    found: list[tuple[int, str, Tool, Gate, float]] = []
    for tool in tools:
        gate, trait = gates.get(tool.name), traits.get(tool.key)
        if gate is None or trait is None or not gate.is_open or not trait.can_blind:
            continue
        if trait.depth_low_mm > _CRUST_DEPTH_MM:
            continue
        last = end if gate.closes_hour is None else min(end, int(gate.closes_hour))
        work = outlook.works[tool.key if tool.key in outlook.works else tool.kind]
        now = day.sky.now_hour
        can = work.chance_frac[now - day.stored : last - day.stored] >= GO_CHANCE
        hours = np.flatnonzero(can & day.is_open[now:last] & ~is_raining(day, now, last))
        if hours.size:
            found.append((now + int(hours[0]), tool.name, tool, gate, float(last)))
    if not found:
        return None
    start, _, tool, gate, last_hour = min(found, key=lambda f: (f[0], f[1]))
    return tool, gate, start, last_hour


def crust_break_words(crust: CrustBreak, day: Day) -> tuple[str, ...]:
    """Sentences on a crust to be broken.

    Parameters
    ----------
    crust : CrustBreak
        What is due.
    day : Day
        The clock.

    Returns
    -------
    tuple of str
        What is expected, what to do by when, what it keeps.

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
    >>> sky = Sky(start, 5, ColumnForcing(*np.zeros((7, 1, 96))), np.ones(96, bool), True)
    >>> day = day_of(farm, sky, 0, start + timedelta(hours=5))
    >>> due = CrustBreak(0.7, False, 40, 60.0, None, None, None, None, (3, 5), Range(1, 2, 3))
    >>> for words in crust_break_words(due, day):
    ...     print(words)
    hard crust expected from 9 May, 7 in 10, before the crop is up about 10 May 12:00
    no tool may go over the row: rake lightly by hand, or sprinkle 3-5 mm to keep it soft
    breaking it keeps a few mm of water, 1-3, not more
    """
    up_at = local_moment(day.sky.at(crust.break_by_hour), day)
    by = f"{date_words(up_at, day)} {up_at:%H:%M}"
    from_words = date_words(day.sky.at(crust.hard_from_hour), day)
    what = "hard crust now" if crust.is_present else f"hard crust expected from {from_words}"
    first = f"{what}, {tenths(crust.chance)}, before the crop is up about {by}"
    water = f"sprinkle {crust.sprinkle_mm[0]:.0f}-{crust.sprinkle_mm[1]:.0f} mm to keep it soft"
    if crust.tool is None or crust.start_hour is None or crust.tool_until_hour is None:
        do = f"no tool may go over the row: rake lightly by hand, or {water}"
    else:
        from_at = local_moment(day.sky.at(crust.start_hour), day)
        until_at = local_moment(day.sky.at(crust.tool_until_hour), day)
        do = (
            f"break it with {crust.tool}, {crust.depth_mm:.0f} mm, from "
            f"{date_words(from_at, day)} {from_at:%H:%M} until "
            f"{date_words(until_at, day)} {until_at:%H:%M}, or {water}"
        )
    kept = f"breaking it keeps a few mm of water, {crust.kept_mm.low:.0f}-{crust.kept_mm.high:.0f}"
    return first, do, f"{kept}, not more"


# -------------------------------------------------------------------- last call


@dataclass(frozen=True)
class SeedSet:
    """Weeds of a planting that are about to shed seed."""

    is_mat: bool  # from before the record; else they came up this season
    came_up_on: date | None
    seed_on: date  # first ripe seed, by the cautious tenth
    seed_mid_on: date  # and by the median
    last_call_on: date  # the day before
    is_due: bool
    is_past: bool
    why: str


def seed_set(
    weeds: WeedOutlook, outlook: Outlook, day: Day, settings: WeedSettings
) -> SeedSet | None:
    """When standing weeds shed their first seed: the last call before it.

    Parameters
    ----------
    weeds : WeedOutlook
        Weeds of the planting, with what was opened and killed.
    outlook : Outlook
        The planting, for member weights and the guild that leads.
    day : Day
        The clock.
    settings : WeedSettings
        Heat to the seed of an overwintered mat.

    Returns
    -------
    SeedSet or None
        The earlier of a mat and of this season's weeds; None where neither stands.

    Notes
    -----
    A mat (30 per m2 or more by the median) ripens `seed_cd` after the record begins, counted as its
    flowers are. Weeds of this season count from half an established weed per m2; the oldest opening
    of which a tenth of a flush is left after the passes since, and established by now, is taken to
    be theirs: one tenth up by the clock of the leading guild in the air, its stage at each pass by
    its leaf heat, as `scheduler.models.weeds.cohorts` has the stages. From coming up to first seed
    500 degree-days above 4 C in the air, 350 to 700: six weeks at 16 C, as quick weeds (chickweed,
    groundsel) are said to take five to seven; an assumption of this project. Range: quick annual
    weeds, slow ones take much longer. Due within 7 days. Worked: tests/planning/test_special.py.
    """
    sky, weights = day.sky, outlook.weights
    air = sky.forcing.air_temp_c
    w = weeds.weights / weeds.weights.sum()
    found: list[tuple[FloatArray, float | None]] = []
    if float(weighted_quantiles(weeds.standing_m2, w)[1]) >= _MAT_M2:
        found.append((_reached(air, settings.flower_base_c, settings.seed_cd, 0, day), None))
    established = weeds.density_m2(0)[:, -1]
    if float(weighted_quantiles(established, w)[1]) >= _ESTABLISHED_M2:
        up = _oldest_up_hour(weeds, outlook, day)
        if up is not None:
            found.append((_reached(air, _SEED_BASE_C, _SEED_CD, round(up), day), up))
    if not found:
        return None
    hours, came_up = min(found, key=lambda f: float(weighted_quantiles(f[0], weights)[1]))
    early, mid, _ = (float(q) for q in weighted_quantiles(hours, weights))
    if not np.isfinite(mid):
        return None
    zone = day.farm.place.time_zone
    today = local_day(day.now, zone)
    seed_on = local_day(sky.at(early), zone)
    mid_on = local_day(sky.at(mid), zone)
    last_call = seed_on - timedelta(days=1)
    is_past = mid <= sky.now_hour
    up_on = None if came_up is None else local_day(sky.at(came_up), zone)
    return SeedSet(
        is_mat=came_up is None,
        came_up_on=up_on,
        seed_on=seed_on,
        seed_mid_on=mid_on,
        last_call_on=last_call,
        is_due=last_call <= today + timedelta(days=_SEED_DUE_D),
        is_past=is_past,
        why=_seed_words(outlook.flush.lead.plain_name, up_on, mid_on, is_past),
    )


def _seed_words(plain_name: str, up_on: date | None, mid_on: date, is_past: bool) -> str:
    def words(of: date) -> str:
        return f"{of.day} {of:%b}"

    which = "the mat from winter"
    sheds = "sheds" if up_on is None else "shed"
    if up_on is not None:
        which = f"quick {plain_name} that came up about {words(up_on)}"
    if is_past:
        return f"{which} {sheds} seed since about {words(mid_on)}: take them out, carry them off"
    return f"last call before seed: {which} {sheds} seed about {words(mid_on)}"


def _reached(
    air: FloatArray, base_c: float, need_cd: float, from_hour: int, day: Day
) -> FloatArray:
    """Hour at which each member has its heat since an hour; beyond sight at the recent pace."""
    progress = np.maximum(air[:, from_hour:] - base_c, 0.0) / 24.0
    total = np.cumsum(progress, axis=1)
    is_there = total >= need_cd
    hour = is_there.argmax(axis=1).astype(np.float64)
    now = max(day.sky.now_hour, 1)
    recent = np.maximum(air[:, max(0, now - 24 * _SEED_PACE_D) : now] - base_c, 0.0)
    pace = recent.mean(axis=1) / 24.0
    missing = need_cd - total[:, -1]
    ahead = np.where(pace > 0.0, missing / np.where(pace > 0.0, pace, 1.0), np.nan)
    reached: FloatArray = np.where(is_there.any(axis=1), hour, total.shape[1] + ahead)
    return from_hour + reached


def _oldest_up_hour(weeds: WeedOutlook, outlook: Outlook, day: Day) -> float | None:
    """Hour at which the oldest flush came up of which enough stands established by now."""
    history, lead, now = weeds.history, outlook.flush.lead, day.sky.now_hour
    mean_air = outlook.weights @ day.sky.forcing.air_temp_c / outlook.weights.sum()
    germination = np.cumsum(germination_heat_c(mean_air, lead.guild)) / 24.0
    leaf = np.cumsum(np.maximum(mean_air - lead.guild.leaf_base_c, 0.0)) / 24.0
    shares = np.array([weeds.row_share, 1.0 - weeds.row_share])
    kill = _mean_kill_frac(history.passes.kill_frac, weeds.weights)
    for i in np.argsort(history.openings.hour):
        begin = max(float(history.openings.hour[i]), 0.0)
        up = _hour_after(germination, begin, lead.milestones.emerged10_cd)
        if up is None or up >= now or _stage_at(leaf, up, float(now), lead.guild) < _ESTABLISHED:
            continue
        left = history.openings.size[i].max(axis=0)  # by zone
        for k, at in enumerate(history.passes.hour):
            if begin < at <= now:
                left = left * (1.0 - kill[k, :, _stage_at(leaf, up, float(at), lead.guild)])
        if float(shares @ left) >= _SURVIVED_FRAC:
            return up
    return None


def _mean_kill_frac(kill_frac: FloatArray, weights: FloatArray) -> FloatArray:
    """Kill of each pass by the weight of the particles, (n_passes, n_zones, n_stages)."""
    if kill_frac.shape[1] != weights.size:  # one for all of them
        mean: FloatArray = kill_frac.mean(axis=1)
        return mean
    return np.asarray(np.einsum("p,kpzs->kzs", weights / weights.sum(), kill_frac))


def _hour_after(cumulative: FloatArray, begin: float, need_cd: float) -> float | None:
    before = float(cumulative[max(int(begin) - 1, 0)]) if begin >= 1.0 else 0.0
    hour = int(np.searchsorted(cumulative, before + need_cd))
    return float(hour) if hour < cumulative.size else None


def _stage_at(leaf: FloatArray, up: float, at: float, guild: Guild) -> int:
    """Stage at an hour of a weed that came up at another: 0 thread to 4 established."""
    if at < up:
        return 0
    heat = float(leaf[min(int(at), leaf.size - 1)] - leaf[int(up)])
    first = guild.seed_leaf_cd + guild.phyllochron_cd
    ends = first + guild.phyllochron_cd * np.array([0.0, 2.0, 5.0])  # 1, 3, 6 leaves
    return 1 + int(np.searchsorted(ends, heat, side="right"))


# ------------------------------------------------------------------------- flame


@dataclass(frozen=True)
class FlameWindow:
    """Hours in which a flame takes weeds that are up over a crop that is not."""

    from_hour: float
    until_hour: float  # 0.85 of the heat to emergence, by the earliest tenth
    weeds_m2: float  # up when it opens, median


def flame_window(
    weeds: WeedOutlook, outlook: Outlook, day: Day, emergence: CropHours | None, crop: CropTraits
) -> FlameWindow | None:
    """When a flame pays before a slow crop comes up.

    Parameters
    ----------
    weeds : WeedOutlook
        Weeds at the hours of the answer.
    outlook : Outlook
        The planting, for member weights.
    day : Day
        The clock; the farm must have the local fire rules read.
    emergence : CropHours or None
        When the crop comes up and when a flame ends; None: not sown, up, or not known.
    crop : CropTraits
        Its traits.

    Returns
    -------
    FlameWindow or None
        None where the crop is not slow, is up, where fire rules are unread, where no end is in
        sight, or where too few weeds are up before it.

    Notes
    -----
    From the first hour at which 20 weeds per m2 stand in seed leaf or first leaves by the median,
    an assumption, to the earliest tenth of 0.85 of the heat to emergence. Common practice; range as
    the emergence it reads. Worked: tests/planning/test_special.py.
    """
    if emergence is None or not crop.can_flame or not day.farm.flame_rules_read:
        return None
    until = hour_of_share(emergence.last_flame, outlook.weights, 1.0 - REACHED)
    if until is None or until <= day.sky.now_hour:
        return None
    for time, hour in enumerate(weeds.hours):
        if hour >= until:
            return None
        up = weeds.density_m2(time)[:, _UP_STAGES].sum(axis=1)
        count = float(weighted_quantiles(up, weeds.weights)[1])
        if count >= _FLAME_M2:
            return FlameWindow(float(hour), until, count)
    return None


def flame_words(window: FlameWindow, crop: str, day: Day) -> tuple[str, ...]:
    """Sentences on a flame before the crop comes up.

    Parameters
    ----------
    window : FlameWindow
        Its hours.
    crop : str
        Name of the crop.
    day : Day
        The clock.

    Returns
    -------
    tuple of str
        When, and how to see that the crop is near: common practice.

    Notes
    -----
    Beets come up 0.4 to 1.2 days before carrots at 10 to 25 C (`harrington_minges_1954`), so they
    warn by half a day to a day. No range stated. Worked: tests/planning/test_special.py.
    """
    until_at = local_moment(day.sky.at(window.until_hour), day)
    end = f"{date_words(until_at, day)} {until_at:%H:%M}"
    if window.from_hour <= day.sky.now_hour + 1:
        when = f"flame now, when leaves are dry, last good hour {end}"
    else:
        from_at = local_moment(day.sky.at(window.from_hour), day)
        when = f"flame from {date_words(from_at, day)} {from_at:%H:%M}, last good hour {end}"
    sign = "a pane of glass laid over 30 cm of row brings it up there first"
    if crop in _AFTER_BEETS:
        sign = f"a few beets sown at the end of the row come up before the {crop}, or {sign}"
    return (
        f"{when}: {window.weeds_m2:.0f} weeds per m2 up, {crop} still below",
        f"{sign}: look twice a day, flame when it shows",
    )
