"""The list of the day: one verdict for every planting, then the order of those to do today.

This is the rule of workability and flush window: go where the soil can be worked today and the
flush stands where one pass kills most of what it ever can. What a pass is worth in minutes is not
computed here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.models.workability import working_spans
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.ensemble import Sky
from scheduler.planning.hours import is_working_hour, local_day
from scheduler.planning.outlook import FlushOutlook, Outlook, WorkOutlook, is_past
from scheduler.planning.tools import ToolTraits, fitting_tools, last_blind_hour, work_minutes
from scheduler.records import (
    Action,
    BedAnswer,
    BoolArray,
    CrustAnswer,
    Farm,
    FloatArray,
    FlushAnswer,
    SoilAnswer,
)

GO_CHANCE = 0.6  # chance that is enough to set out
FIT_CHANCE = 0.8  # chance from which a bed is called workable


_RULING_KIND = "tine weeder"  # the strictest tool speaks for a bed that has no line


@dataclass(frozen=True)
class Draft:
    """A verdict before the order of the day; `urgency` ranks the lines worth doing."""

    answer: BedAnswer
    urgency: float


@dataclass(frozen=True)
class Day:
    """The clock of the answer."""

    farm: Farm
    sky: Sky
    stored: int
    now: datetime
    is_open: BoolArray  # (n_hours,) the grower's working hours

    @property
    def zone(self) -> ZoneInfo:
        """The farm's time zone."""
        return ZoneInfo(self.farm.place.time_zone)

    @property
    def last_hour_today(self) -> int:
        """First hour index of tomorrow."""
        today = local_day(self.now, self.farm.place.time_zone)
        hour = self.sky.now_hour
        while (
            hour < self.sky.n_hours
            and local_day(self.sky.at(hour), self.farm.place.time_zone) <= today
        ):
            hour += 1
        return hour


def day_of(farm: Farm, sky: Sky, stored: int, now: datetime) -> Day:
    """Prepare the clock of the answer.

    Parameters
    ----------
    farm : Farm
        The farm.
    sky : Sky
        Weather of the members.
    stored : int
        First stored hour.
    now : datetime
        The moment of the answer.

    Returns
    -------
    Day
        The clock.
    """
    is_open = is_working_hour(farm.work, sky.start_at, sky.n_hours, farm.place.time_zone)
    return Day(farm, sky, stored, now, is_open)


def draft_verdict(outlook: Outlook, day: Day, traits: Mapping[str, ToolTraits]) -> Draft:
    """One verdict for one planting, with its reason, dates and figures.

    Parameters
    ----------
    outlook : Outlook
        The planting's outlook.
    day : Day
        The clock.
    traits : mapping
        Tool traits by kind.

    Returns
    -------
    Draft
        Verdict `go`, `wait` or `nothing`, not yet ordered.

    Notes
    -----
    `go`: a fitting tool, a span of working hours today with a chance of at least 0.6 that the soil
    is workable, and half of the members' weight inside the flush's window (or a blind pass that
    cannot wait for the next working day). Definitions of this project.
    """
    sky, stored, now_hour = day.sky, day.stored, day.sky.now_hour
    end_today = day.last_hour_today
    flush = outlook.flush
    late_heat = is_past(flush, now_hour, stored)
    ripe_today = _ripe(outlook, day, now_hour, end_today)
    late_share = _late_share(outlook, end_today)
    is_late = late_share >= 0.5
    tools, reason = fitting_tools(outlook, day.farm.tools, traits, now_hour, stored, is_late)
    base = _base_answer(outlook, day)
    if not tools:
        return Draft(_no_tool(base, outlook, day, reason), 0.0)
    if flush.opened_hour is None:
        why = ("no pass, preparation or wetting on record: look, then log what you see",)
        return Draft(replace(base, verdict="nothing", because="unknown", why=why), 0.0)
    if late_heat:
        why = ("the last flush on record is past its window: look, then hoe or clear",)
        return Draft(replace(base, verdict="nothing", because="unknown", why=why), 0.0)
    tool = tools[0]
    work = outlook.works[tool.kind]
    minutes = work_minutes(tool, outlook.planting)
    is_ripe = np.maximum(ripe_today, 0.0) if not is_late else np.ones_like(ripe_today)
    ripe_share = float((outlook.weights * is_ripe).sum() / outlook.weights.sum())
    span = _best_span(work, day, now_hour, end_today, minutes)
    next_span = _next_span(work, day, end_today, minutes)
    blind_last = last_blind_hour(outlook)
    must_now = (
        blind_last is not None
        and _thread_share(outlook, now_hour) >= 0.05
        and (next_span is None or blind_last < next_span[0] + 1)
    )
    good_from = _median(flush.reached["good_from"], outlook.weights)
    if ripe_share < 0.5 and not must_now:
        return Draft(_not_ripe(base, outlook, day, good_from, next_span), 0.0)
    if span is None:
        return Draft(_too_wet(base, outlook, day, work, next_span), 0.0)
    last_good = _last_good(outlook, day, work, blind_last)
    start, end = span
    inside = work.is_workable[:, start - stored : end - stored].mean(axis=1) >= 0.5
    sure = float((outlook.weights * inside * is_ripe).sum() / outlook.weights.sum())
    if must_now and ripe_share < 0.5:
        sure = float((outlook.weights * inside).sum() / outlook.weights.sum())
    action = Action(
        tool.name,
        tool.setups[0].name if tool.setups else None,
        tool.depth_mm,
        _local(sky.at(start), day),
        _local(sky.at(end), day),
        minutes,
        tool.setup_min,
    )
    days_left = 3.0 if last_good is None else max(0.5, (last_good - now_hour) / 24.0)
    kill = flush.shares["kill"].mid / flush.lead.milestones.best_kill_frac
    urgency = sure * (2.0 if must_now else kill) * (1.0 + 1.0 / days_left) / minutes
    answer = replace(
        base,
        verdict="go",
        because="",
        action=action,
        sure=sure,
        last_good_at=None if last_good is None else _local(sky.at(last_good), day),
        why=_go_words(outlook, day, is_late, must_now, ripe_share),
    )
    return Draft(answer, urgency)


def _no_tool(base: BedAnswer, outlook: Outlook, day: Day, reason: str) -> BedAnswer:
    crop = outlook.planting.crop or "crop"
    if reason == "crop_tender":
        assert outlook.emergence_hours is not None
        hours = np.nan_to_num(outlook.emergence_hours, nan=day.sky.n_hours)
        up = float(weighted_quantiles(hours, outlook.weights)[2])
        until = _local(day.sky.at(min(up, day.sky.n_hours)), day)
        why = f"{crop} about to come up: too late to go blind, too early between the rows"
        return replace(base, verdict="wait", because=reason, until=until, why=(why,))
    words = {
        "crop_up": f"{crop} covers the ground",
        "no_fit": "no tool of the farm fits this planting",
    }
    return replace(base, verdict="nothing", because=reason, why=(words[reason],))


def _local(moment: datetime, day: Day) -> datetime:
    return moment.astimezone(day.zone)


def _ripe(outlook: Outlook, day: Day, first: int, last: int) -> FloatArray:
    """Whether each member's flush is in its window during working hours today."""
    flush = outlook.flush
    if flush.opened_hour is None:
        return np.zeros(outlook.weights.size)
    good_from, too_late = flush.reached["good_from"], flush.reached["too_late"]
    is_open = np.flatnonzero(day.is_open[first:last])
    latest = first + (int(is_open[-1]) if is_open.size else last - first - 1)
    with np.errstate(invalid="ignore"):
        inside = (good_from <= latest) & ~(too_late < first)
    return inside.astype(np.float64)


def _late_share(outlook: Outlook, hour: int) -> float:
    too_late = outlook.flush.reached.get("too_late")
    if too_late is None:
        return 0.0
    with np.errstate(invalid="ignore"):
        return float(outlook.weights[too_late < hour - 12].sum() / outlook.weights.sum())


def _median(hours: FloatArray, weights: FloatArray) -> float | None:
    value = weighted_quantiles(hours, weights)[1]
    return None if np.isnan(value) else float(value)


def _thread_share(outlook: Outlook, hour: int) -> float:
    first = outlook.flush.reached.get("first_thread")
    if first is None:
        return 0.0
    with np.errstate(invalid="ignore"):
        return float(outlook.weights[first <= hour].sum() / outlook.weights.sum())


def _spans(work: WorkOutlook, day: Day, first: int, last: int) -> list[tuple[int, int]]:
    chance = work.chance_frac[first - day.stored : last - day.stored]
    spans = working_spans(chance, day.is_open[first:last], threshold_frac=GO_CHANCE)
    return [(first + a, first + b) for a, b in spans]


def _best_span(
    work: WorkOutlook, day: Day, first: int, last: int, minutes: float
) -> tuple[int, int] | None:
    spans = [s for s in _spans(work, day, first, last) if (s[1] - s[0]) * 60.0 >= minutes]
    return max(spans, key=lambda s: s[1] - s[0]) if spans else None


def _next_span(work: WorkOutlook, day: Day, first: int, minutes: float) -> tuple[int, int] | None:
    spans = _spans(work, day, first, day.sky.n_hours)
    return next((s for s in spans if (s[1] - s[0]) * 60.0 >= minutes), None)


def _last_good(
    outlook: Outlook, day: Day, work: WorkOutlook, blind_last: float | None
) -> int | None:
    """End of the last working span before the window closes."""
    too_late = _median(outlook.flush.reached["too_late"], outlook.weights)
    limit = float(day.sky.n_hours) if too_late is None else too_late
    if blind_last is not None:
        limit = min(limit, blind_last)
    spans = [s for s in _spans(work, day, day.sky.now_hour, day.sky.n_hours) if s[0] < limit]
    return int(min(spans[-1][1], max(limit, spans[-1][0] + 1))) if spans else None


def _not_ripe(
    base: BedAnswer,
    outlook: Outlook,
    day: Day,
    good_from: float | None,
    next_span: tuple[int, int] | None,
) -> BedAnswer:
    flush = outlook.flush
    horizon = day.sky.now_hour + 7 * 24
    if good_from is None or good_from > horizon:
        when = "" if good_from is None else f", about {_day_words(day, good_from)}"
        why = f"no flush worth a pass within a week{when}"
        return replace(base, verdict="nothing", because="clean", why=(why,))
    until = max(good_from, next_span[0] if next_span is not None else good_from)
    heat = flush.shares["heat"].mid
    lead = flush.lead
    why = (
        f"{heat:.0f} growing degree-days since the {flush.opened_by}; "
        f"worth a pass from about {lead.milestones.good_from_cd:.0f}"
    )
    return replace(
        base,
        verdict="wait",
        because="weeds_small",
        until=_local(day.sky.at(min(until, day.sky.n_hours)), day),
        why=(why,),
    )


def _too_wet(
    base: BedAnswer,
    outlook: Outlook,
    day: Day,
    work: WorkOutlook,
    next_span: tuple[int, int] | None,
) -> BedAnswer:
    sky, stored = day.sky, day.stored
    today = slice(sky.now_hour - stored, day.last_hour_today - stored)
    open_now = day.is_open[sky.now_hour : day.last_hour_today]
    chance = work.chance_frac[today]
    until = None if next_span is None else _local(sky.at(next_span[0]), day)
    if not open_now.any() or (chance[open_now] >= GO_CHANCE).any():
        why = "ripe, but too few working hours are left today while the soil is fit"
        return replace(base, verdict="wait", because="no_hours", until=until, why=(why,))
    is_dry = float(np.median(outlook.surface_rel_water[:, today.start])) < 0.15
    code = "hard" if is_dry else "wet"
    best = float(chance[open_now].max())
    words = "too hard under its crust" if is_dry else "too wet"
    why = f"ripe, but {words}: at best {best * 10:.0f} in 10 that it can be worked today"
    if until is None:
        until = _local(sky.at(sky.n_hours - 1), day)
        why += "; not within the days in sight"
    return replace(base, verdict="wait", because=code, until=until, why=(why,))


def _go_words(
    outlook: Outlook, day: Day, is_late: bool, must_now: bool, ripe_share: float
) -> tuple[str, ...]:
    flush = outlook.flush
    assert flush.opened_hour is not None
    most = _median(flush.reached["peak_thread"], outlook.weights)
    opened = _date_words(day.sky.at(flush.opened_hour), day)
    since = f"{flush.shares['heat'].mid:.0f} degree-days since {opened}"
    if is_late:
        stand = f"past its best, {since}: hoe what is up"
    elif most is not None and most <= day.sky.now_hour - 24:
        stand = f"{_tenths(flush.shares['up'].mid)} up, {since}"
    elif most is not None and most <= day.sky.now_hour + 24:
        stand = f"threads most, {since}"
    else:
        stand = f"first threads, {since}"
    words = [f"{outlook.planting.crop} up before the next chance"] if must_now else []
    words.append(stand)
    words.append(f"opened by the {flush.opened_by}")
    words.append(f"{_tenths(flush.shares['to_come'].mid)} still below ground")
    if ripe_share < 0.8 and not (must_now or is_late):
        words.append(f"{_tenths(ripe_share)} that its window is open")
    return tuple(words)


def _tenths(share: float) -> str:
    return f"{round(10 * share):d} in 10"


def _date_words(moment: datetime, day: Day) -> str:
    local = _local(moment, day)
    return f"{local.day} {local:%b}"


def _day_words(day: Day, hour: float) -> str:
    return _date_words(day.sky.at(hour), day)


def _base_answer(outlook: Outlook, day: Day) -> BedAnswer:
    sky, stored = day.sky, day.stored
    now = sky.now_hour - stored
    work = outlook.works[_RULING_KIND]
    first = next(
        (
            i
            for i in range(now, work.chance_frac.size - 1)
            if work.chance_frac[i] >= FIT_CHANCE and work.chance_frac[i + 1] >= FIT_CHANCE
        ),
        None,
    )
    w = outlook.weights
    planting = outlook.planting
    soil = SoilAnswer(
        float(work.chance_frac[max(now - 1, 0)]),
        None if first is None else _local(sky.at(stored + first), day),
        float(weighted_quantiles(outlook.surface_rel_water[:, max(now - 1, 0)], w)[1]),
        float(weighted_quantiles(outlook.surface_temp_c[:, max(now - 1, 0)], w)[1]),
    )
    break_by = None
    if outlook.emergence_hours is not None:
        hour = weighted_quantiles(outlook.emergence_hours, w)[0]
        if not np.isnan(hour):
            break_by = _local(sky.at(hour), day)
    crust = CrustAnswer(
        float(weighted_quantiles(outlook.crust_index[:, max(now - 1, 0)], w)[1]),
        None
        if outlook.crust_expected_hour is None or outlook.crust_chance < 0.2
        else _local(sky.at(outlook.crust_expected_hour), day),
        outlook.crust_chance,
        break_by if outlook.crust_chance >= 0.2 else None,
    )
    return BedAnswer(
        rank=None,
        bed=planting.bed.name,
        part=planting.part,
        crop=planting.crop,
        verdict="nothing",
        because="clean",
        until=None,
        sure=None,
        action=None,
        soil=soil,
        crust=crust,
        flush=flush_answer(outlook.flush, outlook.weights, day),
        why=(),
        is_sown=planting.is_sown,
        soil_name=planting.bed.soil,
        established_on=None
        if planting.established_at is None
        else local_day(planting.established_at, day.farm.place.time_zone),
    )


def flush_answer(flush: FlushOutlook, weights: FloatArray, day: Day) -> FlushAnswer:
    """A flush in dates and in growing degree-days.

    Parameters
    ----------
    flush : FlushOutlook
        The flush of one guild.
    weights : array
        Member weights, shape (n_members,).
    day : Day
        The clock.

    Returns
    -------
    FlushAnswer
        Medians; None beyond sight.
    """
    sky = day.sky

    def moment(hour: float | None) -> datetime | None:
        return None if hour is None else _local(sky.at(round(hour)), day)

    def reached(name: str) -> datetime | None:
        return moment(_median(flush.reached[name], weights))

    next_at = flush.next_expected_hour if flush.next_chance >= 0.3 else None
    if flush.opened_hour is None:
        return FlushAnswer(None, None, None, None, None, None, None, moment(next_at))
    return FlushAnswer(
        moment(flush.opened_hour),
        flush.opened_by,
        flush.shares["heat"].mid,
        reached("first_thread"),
        reached("peak_thread"),
        reached("too_late"),
        flush.shares["to_come"],
        moment(next_at),
    )


def order_of_day(
    drafts: Sequence[Draft], hours_available: float, day: Day
) -> tuple[tuple[BedAnswer, ...], tuple[BedAnswer, ...], float, int]:
    """Order what is worth doing within the hours, one set-up at a time.

    Parameters
    ----------
    drafts : sequence of Draft
        One a planting.
    hours_available : float
        Hours of cultivation today [h].
    day : Day
        The clock.

    Returns
    -------
    tuple
        Answers in order (ranked lines first), lines not reached, minutes planned, set-up changes.

    Notes
    -----
    Tools are taken in the order of their most urgent line; within a tool by urgency, then by when
    the soil is fit, then by name. A line that does not fit into what is left of the hours becomes
    `wait`, `no_hours`.
    """
    go = [d for d in drafts if d.answer.verdict == "go"]
    best: dict[str, float] = {}
    for draft in go:
        assert draft.answer.action is not None
        tool = draft.answer.action.tool
        best[tool] = max(best.get(tool, 0.0), draft.urgency)

    def key(draft: Draft) -> tuple[float, str, float, datetime, str, str]:
        action = draft.answer.action
        assert action is not None
        answer = draft.answer
        return (
            -best[action.tool], action.tool, -draft.urgency, action.start,
            answer.bed, answer.part or "",
        )  # fmt: skip

    left = hours_available * 60.0
    planned = 0.0
    changes = 0
    in_use: str | None = None
    ranked: list[BedAnswer] = []
    missed: list[BedAnswer] = []
    for draft in sorted(go, key=key):
        action = draft.answer.action
        assert action is not None
        setup = 0.0 if action.tool == in_use else action.setup_min
        cost = action.work_min + setup
        if cost <= left:
            left -= cost
            planned += cost
            changes += int(action.tool != in_use)
            in_use = action.tool
            ranked.append(
                replace(draft.answer, rank=len(ranked) + 1, action=replace(action, setup_min=setup))
            )
        else:
            tomorrow = _local(day.sky.at(day.last_hour_today), day)
            missed.append(replace(draft.answer, verdict="wait", because="no_hours", until=tomorrow))
    rest = sorted(
        (d.answer for d in drafts if d.answer.verdict != "go"),
        key=lambda a: (a.verdict, a.because, a.bed, a.part or ""),
    )
    return (*ranked, *rest), tuple(missed), planned, changes
