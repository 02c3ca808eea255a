"""A made clock, made outlooks and made entries for tests of planning. Everything is invented."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from typing import Any

import numpy as np

from scheduler.models.soil_column import ColumnForcing
from scheduler.models.weeds.degree_days import flush_milestones
from scheduler.planning.ensemble import Sky
from scheduler.planning.order import Day, day_of
from scheduler.planning.outlook import FlushOutlook, GuildView, Outlook, WorkOutlook
from scheduler.records import (
    Bed,
    Event,
    Farm,
    Place,
    Planting,
    Range,
    Soil,
    Tool,
    WorkPlan,
)
from scheduler.service.settings import STAGE_KILL_FRAC, guilds, tool_traits

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
    return GuildView(guild, "spring weeds", 0.35, milestones, STAGE_KILL_FRAC, 16.0)


def flush(good_from: float, too_late: float, opened_hour: int | None = 24) -> FlushOutlook:
    """A flush that all members see alike; hours of the clock."""
    lead = view()
    heat = np.zeros((N_MEMBERS, N_HOURS))
    if opened_hour is None:
        return FlushOutlook(None, None, lead, heat, {}, {}, None, 0.0)
    share = np.arange(N_HOURS) / too_late
    heat += share[None, :] * lead.milestones.too_late_cd
    same = np.ones(N_MEMBERS)
    names = ("first_thread", "peak_thread", "emerged10", "emerged50", "emerged90")
    reached = {name: same * (opened_hour + 24.0 * (i + 1)) for i, name in enumerate(names)}
    reached |= {"good_from": same * good_from, "best": same * (good_from + too_late) / 2.0}
    reached["too_late"] = same * too_late
    some = Range(0.2, 0.3, 0.4)
    shares = dict.fromkeys(("to_come", "thread", "up", "heat", "kill"), some)
    return FlushOutlook(opened_hour, "pass", lead, heat, shares, reached, None, 0.0)


def planting(crop: str | None = None, sown_hour: float | None = None) -> Planting:
    """The whole bed, empty or sown."""
    at = None if sown_hour is None else START + timedelta(hours=sown_hour)
    return Planting(BED, None, 0.0, 18.0, crop, crop is not None, at, 3, 250.0, 15.0)


def outlook(
    of: FlushOutlook,
    fit_hours: Sequence[tuple[int, int]],
    *,
    grown: Planting | None = None,
    emergence: float | None = None,
    last_blind: float | None = None,
    cover: float = 0.0,
) -> Outlook:
    """A planting whose soil is fit in the half-open spans `fit_hours`, in all members."""
    fits = np.zeros((N_MEMBERS, N_HOURS), bool)
    for first, last in fit_hours:
        fits[:, first:last] = True
    works = {kind: WorkOutlook(fits, fits.mean(axis=0)) for kind in tool_traits()}
    some = np.full((N_MEMBERS, N_HOURS), 0.5)
    same = np.ones(N_MEMBERS)
    return Outlook(
        grown or planting(),
        works,
        some,
        some * 30.0,
        some * 0.5,
        some * 0.0,
        None,
        0.0,
        of,
        (of,),
        None if emergence is None else same * emergence,
        None if last_blind is None else same * last_blind,
        np.full(N_HOURS, cover),
        same / N_MEMBERS,
    )
