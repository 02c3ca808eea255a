"""A made clock, made outlooks and made entries for tests of planning. Everything is invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from scheduler.models.soil_column import ColumnForcing
from scheduler.models.weeds.cohorts import N_STATES, STAGES, Openings, Passes
from scheduler.models.weeds.degree_days import flush_milestones
from scheduler.planning.crop_stage import CropHours, CropStage
from scheduler.planning.day import Day, day_of
from scheduler.planning.ensemble import Sky
from scheduler.planning.offers import Kit, weed_hours
from scheduler.planning.outlook import FlushOutlook, GuildView, Outlook, WorkOutlook
from scheduler.planning.passes import KillSettings, PassRules, PassWeather
from scheduler.planning.traits import ToolTraits
from scheduler.planning.weeds import WeedFuture, WeedHistory, WeedOutlook
from scheduler.records import (
    Bed,
    Event,
    Farm,
    FloatArray,
    Place,
    Planting,
    Range,
    Soil,
    Tool,
    WorkPlan,
)
from scheduler.service.settings import (
    STAGE_KILL_FRAC,
    crop_traits,
    guilds,
    kill_settings,
    kill_table,
    tool_traits,
    weed_settings,
)

START = datetime(2013, 5, 1, tzinfo=UTC)
PLACE = Place(42.0, 0.0, 100.0, "UTC")
BED = Bed("A1", 18.0, 0.75, "middle")
TINES = Tool("tines", "tine weeder", 18.0, 0.9, width_m=0.8, setup_min=10.0)
SWEEPS = Tool("sweeps", "sweeps", 25.0, 0.9, width_m=0.8, setup_min=8.0)
HOE = Tool("hoe", "wheel hoe", 20.0, 0.7, width_m=0.2, setup_min=0.0)
WORK = WorkPlan(time(7), time(19), (6.0,) * 7)
N_MEMBERS = 8
N_HOURS = 20 * 24
NOW_HOUR = 10 * 24 + 5  # 11 May 05:00


def entry(kind: str, hour: float, bed: str = "A1", part: str | None = None, **data: Any) -> Event:
    """An entry at an hour of the clock, recorded when it happened."""
    at = START + timedelta(hours=hour)
    return Event(f"{kind}-{hour:g}-{part or ''}", kind, at, at, bed, part, data)


def farm(
    tools: Sequence[Tool] = (TINES, SWEEPS, HOE),
    work: WorkPlan = WORK,
    beds: Sequence[Bed] = (BED,),
) -> Farm:
    """A farm of one soil."""
    soils = {"middle": Soil("middle", "loam", None, None, 3.0)}
    return Farm("made", PLACE, "metric", 5, soils, tuple(beds), tuple(tools), work)


def sky(now_hour: int = NOW_HOUR, n_hours: int = N_HOURS, n_members: int = N_MEMBERS) -> Sky:
    """Dry air at 15 C from the start of the clock."""
    zero = np.zeros((n_members, n_hours))
    forcing = ColumnForcing(zero, zero, zero + 15.0, zero + 0.6, zero + 2.0, zero, zero + 0.7)
    return Sky(START, now_hour, forcing, np.ones(n_hours, bool), has_forecast=True)


def day(of: Farm | None = None, now_hour: int = NOW_HOUR) -> Day:
    """The clock of a morning."""
    now = START + timedelta(hours=now_hour, minutes=30)
    return day_of(of or farm(), sky(now_hour), 0, now)


def view(name: str = "spring") -> GuildView:
    """A guild of the tables at 16 C."""
    guild = next(g for g in guilds() if g.name == name)
    milestones = flush_milestones(guild, STAGE_KILL_FRAC, 16)
    return GuildView(guild, "spring weeds", 0.35, milestones)


def flush(opened_hour: int | None = 24) -> FlushOutlook:
    """The clock of a flush that all members see alike; the verdict takes only words from it."""
    lead = view()
    heat = np.zeros((N_MEMBERS, N_HOURS))
    if opened_hour is None:
        return FlushOutlook(None, None, lead, heat, {}, {}, None, 0.0)
    same = np.ones(N_MEMBERS)
    names = (
        "first_thread", "peak_thread", "emerged10", "emerged50", "emerged90",
        "good_from", "best", "too_late",
    )  # fmt: skip
    reached = {name: same * (opened_hour + 24.0 * (i + 1)) for i, name in enumerate(names)}
    shares = dict.fromkeys(("to_come", "thread", "up", "heat"), Range(0.2, 0.3, 0.4))
    return FlushOutlook(opened_hour, "pass", lead, heat, shares, reached, None, 0.0)


def rules(tools: Sequence[Tool] = (TINES, SWEEPS, HOE), ln_sd: float = 0.0) -> PassRules:
    """Tools whose kill is the table's whatever the weather, by default alike in all particles.

    But a pass soon after another one lacks what the tables say.
    """
    plain = ToolTraits(True, True, True, True, 50.0, 0.0)
    tabled = kill_settings()
    settings = replace(
        KillSettings(np.ones(len(STAGES)), 1.0, 0.03, ln_sd, ln_sd, 1.0),
        again_frac=tabled.again_frac,
        again_d=tabled.again_d,
        again_thread_d=tabled.again_thread_d,
    )
    kinds = {kind for tool in tools for kind in (tool.key, tool.kind, *tool.carries)}
    return PassRules({tool.name: tool for tool in tools}, dict.fromkeys(kinds, plain), settings, 5)


def unseen_weather() -> PassWeather:
    """Stored hours that begin after all passes of a test, on soil well below its threshold."""
    nothing = np.zeros((N_MEMBERS, 1))
    return PassWeather(nothing, nothing - 0.05, nothing, 10**9, False)


def seen_weather(dose_mm: FloatArray, wetness_m3m3: float = -0.05) -> PassWeather:
    """Soil alike at all hours; `dose_mm` of evaporation by the next wetting, (n_hours,)."""
    dose = np.broadcast_to(np.asarray(dose_mm, np.float64), (N_MEMBERS, N_HOURS)).copy()
    return PassWeather(dose, 0.0 * dose + wetness_m3m3, 0.0 * dose, 0, False)


def kit(tools: Sequence[Tool] = (TINES, SWEEPS, HOE)) -> Kit:
    """Tools with the traits and the kill of the tables, alike in all particles.

    In `unseen_weather` they kill what the table says, at their usual depth and speed.
    """
    whole = farm(tools)
    plain = rules(tools)
    traits = PassRules(plain.tools, tool_traits(whole), plain.settings, plain.seed)
    return Kit(traits, kill_table(whole), crop_traits(), weed_settings())


Counts = Mapping[str, float]  # weeds per m2 by stage, and `to_come`
STATES = ("to_come", *STAGES)


@dataclass(frozen=True)
class Packet:
    """Weeds that go one way: `n_m2` in a zone (None: in both) that live to the end.

    `states` today and on the days after, the last repeated; `end` their state at the end, by
    default the last.
    """

    n_m2: float
    states: Sequence[str]
    end: str | None = None
    zone: int | None = None

    def state(self, day: int) -> int:
        """Place of its state on a day, 0 today."""
        return STATES.index(self.states[min(day, len(self.states) - 1)])


def ways_of_packets(packets: Sequence[Packet], n_days: int) -> FloatArray:
    """Ways of packets, (n_days, 2 zones, 216): today, a day, the end."""
    ways = np.zeros((n_days, 2, N_STATES**3))
    for packet in packets:
        end = STATES.index(packet.end or packet.states[-1])
        for d in range(n_days):
            way = (packet.state(0) * N_STATES + packet.state(d)) * N_STATES + end
            for zone in range(2) if packet.zone is None else (packet.zone,):
                ways[d, zone, way] += packet.n_m2
    return ways


def ways_of_counts(days: Sequence[Counts], end: Counts, n_days: int) -> FloatArray:
    """Ways of weeds whose order stays: the most advanced today is so on each day, (n_days, 216).

    What is alive at the end is the sum of `end`, shared as each day's counts are; where counts lead
    back to an earlier state the weeds stay in the later one, as weeds do.
    """
    whole = sum(end.values())
    if whole <= 0.0:
        return np.zeros((n_days, N_STATES**3))
    ways = np.zeros((n_days, N_STATES**3))
    for d in range(n_days):
        then = (days[0], days[min(d, len(days) - 1)], end)
        ranks = [_ranks(counts) for counts in then]
        cuts = np.unique(np.concatenate(([0.0, 1.0], *ranks)).round(12))
        for low, high in pairwise(cuts):
            a, b, c = np.maximum.accumulate(
                [int(np.searchsorted(r, 0.5 * (low + high))) for r in ranks]
            )
            ways[d, (a * N_STATES + b) * N_STATES + c] += whole * (high - low)
    return ways


def _ranks(counts: Counts) -> FloatArray:
    """Share of the weeds up to each state, (6,); all in the ground where there are none."""
    each = np.array([counts.get(state, 0.0) for state in STATES])
    if each.sum() <= 0.0:
        return np.ones(N_STATES)
    return np.cumsum(each) / each.sum()


def followed(
    packets: Sequence[Packet],
    at: Day,
    *,
    of_member: Mapping[int, Sequence[Packet]] | None = None,
    row_share: float = 0.0,
    opened: Sequence[Packet] = (),
    ready_m2: float = 0.0,
    rested_d: Sequence[float] = (30.0, 30.0),
) -> WeedOutlook:
    """Weeds that go the ways of packets; `opened` are those that a full stirring today opens."""
    n_times = weed_hours(at).size
    count = np.zeros((N_MEMBERS, n_times, 2, len(STAGES)))
    to_come = np.zeros((N_MEMBERS, n_times, 2))
    ways = np.zeros((N_MEMBERS, n_times - 1, 2, N_STATES**3))
    for m in range(N_MEMBERS):
        own = (of_member or {}).get(m, packets)
        ways[m] = ways_of_packets(own, n_times - 1)
        for packet in own:
            zones = slice(None) if packet.zone is None else packet.zone
            for t in range(n_times):
                state = packet.state(max(t - 1, 0))
                if state == 0:
                    to_come[m, t, zones] += packet.n_m2
                else:
                    count[m, t, zones, state - 1] += packet.n_m2
    new = np.tile(ways_of_packets(opened, n_times - 1), (N_MEMBERS, 1, 1, 1))
    future = WeedFuture(
        float(at.sky.n_hours),
        ways.astype(np.float32),
        new.astype(np.float32),
        np.full((N_MEMBERS, 2), ready_m2),
        np.array(rested_d),
    )
    return _outlook(at, count, to_come, future, row_share)


def weeds(
    days: Sequence[Counts],
    at: Day,
    *,
    of_member: Mapping[int, Sequence[Counts]] | None = None,
    row_share: float = 0.0,
    zones: Sequence[float] = (1.0, 1.0),
    standing_m2: float = 0.0,
    standing_left: float = 1.0,
    flowers_hour: float | None = None,
    end: Counts | None = None,
    opened: Sequence[Packet] = (),
    ready_m2: float = 0.0,
    rested_d: Sequence[float] = (30.0, 30.0),
) -> WeedOutlook:
    """Weeds per m2 today and on the days to come, the last repeated; one particle a member.

    `of_member` gives other counts to some members; `zones` factors in the row and between. At the
    end they are `end`, by default as on the last day; a pass opens nothing but what `opened` and
    `ready_m2` say.
    """
    hours = weed_hours(at)
    n_days = hours.size - 1
    count = np.zeros((N_MEMBERS, hours.size, 2, len(STAGES)))
    to_come = np.zeros((N_MEMBERS, hours.size, 2))
    ways = np.zeros((N_MEMBERS, n_days, 2, N_STATES**3))
    for m in range(N_MEMBERS):
        own = (of_member or {}).get(m, days)
        of_zone = ways_of_counts(own, own[-1] if end is None else end, n_days)
        for z in range(2):
            ways[m, :, z] = zones[z] * of_zone
        for t in range(hours.size):
            now = own[min(max(t - 1, 0), len(own) - 1)]
            for z in range(2):
                to_come[m, t, z] = zones[z] * now.get("to_come", 0.0)
                for i, stage in enumerate(STAGES):
                    count[m, t, z, i] = zones[z] * now.get(stage, 0.0)
    new = np.tile(ways_of_packets(opened, n_days), (N_MEMBERS, 1, 1, 1))
    future = WeedFuture(
        float(at.sky.n_hours),
        ways.astype(np.float32),
        new.astype(np.float32),
        np.full((N_MEMBERS, 2), ready_m2),
        np.array(rested_d),
    )
    return _outlook(at, count, to_come, future, row_share, standing_m2, standing_left, flowers_hour)


def _outlook(
    at: Day,
    count_m2: FloatArray,
    to_come: FloatArray,
    future: WeedFuture,
    row_share: float,
    standing_m2: float = 0.0,
    standing_left: float = 1.0,
    flowers_hour: float | None = None,
) -> WeedOutlook:
    none = WeedHistory(
        Openings(np.zeros(0), np.zeros((0, 3, 2))),
        Passes(np.zeros(0), np.zeros((0, 1, 2, len(STAGES))), np.zeros(0)),
        (),
        (),
        standing_left,
    )
    return WeedOutlook(
        weed_hours(at),
        count_m2,
        to_come,
        np.full(N_MEMBERS, standing_m2),
        np.full(N_MEMBERS, 1.0 / N_MEMBERS),
        row_share,
        none,
        np.arange(N_MEMBERS),
        flowers_hour,
        future=future,
    )


def planting(crop: str | None = None, sown_hour: float | None = None) -> Planting:
    """The whole bed, empty or sown."""
    at = None if sown_hour is None else START + timedelta(hours=sown_hour)
    return Planting(BED, None, 0.0, 18.0, crop, crop is not None, at, 3, 250.0, 15.0)


def stage(
    up_hour: float = 0.0,
    *,
    leaves: float = np.nan,
    leaf_d: float = 0.0,
    rooted_cd: float = 0.0,
    height_mm: float = 40.0,
    cover: float = 0.1,
    covered_hour: int | None = None,
) -> CropStage:
    """A crop that comes up at an hour in all members; `leaves` now, and `leaf_d` more a day."""
    hours = np.arange(N_HOURS)
    is_up = np.broadcast_to(hours >= up_hour, (N_MEMBERS, N_HOURS)).copy()
    same = np.ones((N_MEMBERS, N_HOURS))
    grown = leaves + leaf_d * (hours - NOW_HOUR) / 24.0
    covers = np.full(N_HOURS, cover)
    if covered_hour is not None:
        covers[covered_hour:] = 0.95
    return CropStage(is_up, same * grown, same * rooted_cd, same * is_up * height_mm, covers)


def crop_hours(
    up: float, last_blind: float | None = None, last_flame: float | None = None
) -> CropHours:
    """When a sown crop comes up, in all members alike."""
    same = np.ones(N_MEMBERS)
    nan = float("nan")
    blind, flame = (nan if h is None else h for h in (last_blind, last_flame))
    return CropHours(same * up, same * up, same * blind, same * flame)


def outlook(
    fit_hours: Sequence[tuple[int, int]],
    *,
    of: FlushOutlook | None = None,
    n_fit: int = N_MEMBERS,
    grown: Planting | None = None,
    emergence: float | None = None,
    last_blind: float | None = None,
    cover: float = 0.0,
    last_flame: float | None = None,
    grows: CropStage | None = None,
    keys: Sequence[str] = (),
) -> Outlook:
    """A planting whose soil is fit in the half-open spans `fit_hours`, in `n_fit` members.

    `grows` is the stage of its crop, `keys` are stacks of tools beside the kinds of the tables.
    """
    fits = np.zeros((N_MEMBERS, N_HOURS), bool)
    for first, last in fit_hours:
        fits[:n_fit, first:last] = True
    works = {kind: WorkOutlook(fits, fits.mean(axis=0)) for kind in (*tool_traits(), *keys)}
    some = np.full((N_MEMBERS, N_HOURS), 0.5)
    same = np.ones(N_MEMBERS)
    clock = of or flush()
    return Outlook(
        grown or planting(),
        works,
        some,
        some * 30.0,
        some * 0.5,
        some * 0.0,
        None,
        0.0,
        clock,
        (clock,),
        None if emergence is None else same * emergence,
        None if last_blind is None else same * last_blind,
        np.full(N_HOURS, cover),
        same / N_MEMBERS,
        None if emergence is None else same * emergence,
        None if emergence is None else crop_hours(emergence, last_blind, last_flame),
        grows,
    )
