"""What a planting asks for beside its flush: a crust, seed to come, a flame, a bed made stale."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from scheduler.planning.day import Day, local_moment
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.offers import Choice, Kit, Offer, Site
from scheduler.planning.order import Draft
from scheduler.planning.spans import fit_spans
from scheduler.planning.special import (
    CrustBreak,
    FlameWindow,
    SeedSet,
    crust_break,
    crust_break_words,
    flame_window,
    flame_words,
    seed_set,
)
from scheduler.planning.stale_bed import (
    StaleBed,
    seedbed,
    stale_bed_days,
    stale_bed_line,
    stale_bed_plan,
    stale_bed_words,
)
from scheduler.planning.window import weed_free_window_h
from scheduler.records import Action, BedAnswer, Plan

_CRUST_MIN_M2 = 2.0  # worth of breaking a crust over a sown crop: part of its stand
_BEFORE_IT_D = 3.0  # a crust break later than this is told, not yet listed


@dataclass(frozen=True)
class Advice:
    """What is due at one planting; None where nothing is."""

    crust: CrustBreak | None
    seed: SeedSet | None
    flame: FlameWindow | None
    stale: StaleBed | None


def advice_for(site: Site, choice: Choice, kit: Kit, day: Day, ensemble: Ensemble) -> Advice:
    """Look at one planting for everything that is not an ordinary pass.

    Parameters
    ----------
    site : Site
        The planting.
    choice : Choice
        Tools that can go, with the gates of those that fit.
    kit : Kit
        The farm's tools.
    day : Day
        The clock; its farm's plans.
    ensemble : Ensemble
        The columns, for a bed that a sowing is planned in.

    Returns
    -------
    Advice
        What is due.

    Notes
    -----
    Definition of this project; ranges as in `special` and `stale_bed`. Worked:
    tests/planning/test_advice.py.
    """
    outlook, crop = site.outlook, kit.crops.get(site.planting.crop or "")
    tools, traits = day.farm.tools, kit.rules.traits
    plan = next_plan(day, site.planting.bed.name)
    stale = None
    if plan is not None and site.planting.part is None:
        bed = seedbed(site.planting, ensemble)
        stale = stale_bed_plan(plan, day, outlook, bed, traits, kit.kills, kit.weeds)
    return Advice(
        crust_break(outlook, day, outlook.crop_hours, tools, traits, choice.gates),
        seed_set(site.weeds, outlook, day, kit.weeds) if _is_late(site, kit, day) else None,
        None if crop is None else flame_window(site.weeds, outlook, day, outlook.crop_hours, crop),
        stale,
    )


def _is_late(site: Site, kit: Kit, day: Day) -> bool:
    """Whether weeds no longer cost the crop yield, so that their seed is what matters."""
    planting = site.planting
    crop = kit.crops.get(planting.crop or "")
    window = weed_free_window_h(planting, crop, site.outlook, day)
    return window is None or day.sky.now_hour > window[1]


def next_plan(day: Day, bed: str) -> Plan | None:
    """The next planned sowing or setting in a bed.

    Parameters
    ----------
    day : Day
        The clock; its farm's plans.
    bed : str
        Name of the bed.

    Returns
    -------
    Plan or None
        The earliest one after today; None where there is none.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_advice.py.
    """
    today = local_moment(day.now, day).date()
    ahead = [p for p in day.farm.plans if p.bed == bed and p.on > today]
    return min(ahead, key=lambda p: p.on, default=None)


def advised(draft: Draft, advice: Advice, site: Site, choice: Choice, day: Day) -> Draft:
    """A verdict with what else is due: said in its reasons, and done where a crust presses.

    Parameters
    ----------
    draft : Draft
        The verdict by weeds.
    advice : Advice
        What else is due.
    site : Site
        The planting.
    choice : Choice
        Tools that can go.
    day : Day
        The clock.

    Returns
    -------
    Draft
        The same verdict with more details; `go` for a crust that can be broken today and would hold
        the crop back within three days.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_advice.py.
    """
    answer = draft.answer
    if advice.crust is not None:
        breaking = _crust_action(advice.crust, choice, day)
        words = crust_break_words(advice.crust, day)
        if answer.verdict != "go" and breaking is not None:
            draft = _crust_draft(answer, breaking, advice.crust, words, site, day)
            return _with_rest(draft, advice, day)
        answer = replace(answer, details=(*answer.details, *words))
    if advice.flame is not None and answer.verdict != "hand":
        words = flame_words(advice.flame, site.planting.crop or "crop", day)
        answer = replace(answer, details=(*answer.details, *words))
    return _with_rest(replace(draft, answer=answer), advice, day)


def _with_rest(draft: Draft, advice: Advice, day: Day) -> Draft:
    """Seed to come and a planned sowing: they change no verdict."""
    answer = draft.answer
    if advice.seed is not None and advice.seed.is_due:
        answer = replace(
            answer,
            details=(*answer.details, advice.seed.why),
            last_call_on=advice.seed.last_call_on,
        )
    if advice.stale is not None:
        words = stale_bed_words(advice.stale, day)
        line = stale_bed_line(advice.stale, day)
        days = stale_bed_days(advice.stale, day)
        answer = replace(answer, details=(*answer.details, *words), plan=line, plan_days=days)
    return replace(draft, answer=answer)


def _crust_action(crust: CrustBreak, choice: Choice, day: Day) -> tuple[Offer, Action] | None:
    """A pass that breaks the crust today, if the crop would else meet it within three days."""
    if crust.start_hour is None or crust.tool_until_hour is None:
        return None
    now, tonight = day.sky.now_hour, day.last_hour_today
    if crust.start_hour >= tonight or crust.break_by_hour > now + 24.0 * _BEFORE_IT_D:
        return None
    by_name: Mapping[str, Offer] = {offer.tool.name: offer for offer in choice.offers}
    offer = by_name.get(crust.tool or "")
    if offer is None:
        return None
    end = min(int(crust.tool_until_hour), tonight)
    spans = fit_spans(offer, day, crust.start_hour, end)
    long = [span for span in spans if (span[1] - span[0]) * 60.0 >= offer.minutes]
    if not long:
        return None
    return offer, Action(
        offer.tool.name,
        None if offer.setup is None else offer.setup.name,
        crust.depth_mm or offer.depth_mm,
        local_moment(day.sky.at(long[0][0]), day),
        local_moment(day.sky.at(long[0][1]), day),
        offer.minutes,
        offer.tool.setup_min,
        offer.note,
    )


def _crust_draft(
    answer: BedAnswer,
    breaking: tuple[Offer, Action],
    crust: CrustBreak,
    words: tuple[str, ...],
    site: Site,
    day: Day,
) -> Draft:
    offer, action = breaking
    span = tuple(day.sky.hour_of(at) - day.stored for at in (action.start, action.end))
    fit = offer.work.is_workable[:, span[0] : span[1]].mean(axis=1) >= 0.5
    weights = site.outlook.weights
    go = replace(
        answer,
        verdict="go",
        because="",
        until=None,
        action=action,
        sure=float(weights @ fit / weights.sum()),
        last_good_at=action.end,
        minutes=None,
        killable_frac=None,
        why=words,
    )
    worth = _CRUST_MIN_M2 * site.area_m2 * crust.chance
    return Draft(go, worth / offer.minutes, worth)
