"""One verdict for one planting: what a pass today would take, and what it would take later.

The share of the open flushes that a tool kills is read from the weed particles for every day in
sight, times the chance that the soil can then be worked. `go` if today takes nearly as much as the
best day to come; a planting whose weeds have outgrown every fitting tool is `hand`; one with hardly
any weeds is `clean`. The degree-day clock stands beside it in words and dates. What a pass is worth
in minutes is not computed here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.models.workability import working_spans
from scheduler.planning.day import (
    FIT_CHANCE,
    GO_CHANCE,
    Day,
    date_words,
    local_moment,
    tenths,
)
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.hours import local_day
from scheduler.planning.offers import Choice, Kit, Offer, Site, day_hours, is_up
from scheduler.planning.order import Draft
from scheduler.planning.outlook import FlushOutlook, Outlook, WorkOutlook
from scheduler.planning.weeds import BETWEEN, IN_ROW, HandRates, WeedOutlook
from scheduler.records import (
    Action,
    BedAnswer,
    BoolArray,
    CrustAnswer,
    FloatArray,
    FlushAnswer,
    Range,
    SoilAnswer,
)

_CLEAN_M2 = 5.0  # weeds standing and to come below which a bed is clean
_WORTH_M2 = 4.0  # killed weeds below which a pass is not worth setting out for
_NEARLY = 0.9  # of the best day to come
_LEAST_SHARE = 0.2  # of stand and flush, below which a pass waits if the soil lets it
_LEAST_SURE = 0.4  # below it a later day is the better bet
_MAT_M2 = 30.0  # weeds from before the record that make a mat
_HAND_YOUNG_M2 = 15.0  # in the row
_HAND_ESTABLISHED_M2 = 4.0
_HAND_WINDOW = timedelta(days=60)  # after sowing or setting; later weeds cost little yield
_HAND_KILL = 0.3  # killable share below which a machine does not rescue
_WEED_STAGES_HAND = slice(1, 5)
_GROWN = slice(3, 5)  # young and established
_DRY_SURFACE = 0.15  # relative water of the surface below which a bed that is not fit is hard
_CRUST_CHANCE = 0.2  # from which a crust to come is told
_WETTING_CHANCE = 0.3  # from which a wetting to come is told
_MOST_MAT_M2 = 60.0  # of a mat that count for the order of the day
_NO_CLEAN_UP = ("hand", "flame")
_WEATHERED = 0.8  # of a good day's kill that a clean-up has in the weather it gets


def weed_verdict(site: Site, choice: Choice, kit: Kit, day: Day, hand: HandRates) -> Draft:
    """One verdict for one planting, with its reason, dates and figures.

    Parameters
    ----------
    site : Site
        Soil, crust, clock, crop and weeds of the planting; the weeds at `weed_hours(day)`.
    choice : Choice
        Tools that can go, and why the others not.
    kit : Kit
        The farm's tools.
    day : Day
        The clock.
    hand : HandRates
        Minutes of hand weeding by stage.

    Returns
    -------
    Draft
        Verdict `go`, `wait`, `hand` or `nothing`, not yet ordered.

    Notes
    -----
    Thresholds (clean below 5 weeds per m2 standing and to come; a pass worth setting out for from 4
    killed per m2, and from a fifth of what stands and is to come where it can wait; `hand` within
    60 days of sowing or setting, from 15 young or 4 established per m2 in the row that a tool takes
    less than 0.3 of) are assumptions of this project. No range stated. Worked:
    tests/planning/test_verdict.py; whole mornings: tests/scenes.
    """
    outlook, weeds = site.outlook, site.weeds
    base = replace(_with_weeds(base_answer(outlook, day), weeds, day), refusals=choice.refusals)
    w = weeds.weights / weeds.weights.sum()
    whole = float(w @ (weeds.density_m2(0).sum(axis=1) + weeds.to_come_m2(0)))
    mat = float(weighted_quantiles(weeds.standing_m2, w)[1])
    is_mat = mat >= _MAT_M2 and not _is_cleaned_up(weeds, kit)
    closed = choice.closed_by
    is_covered = not choice.offers and closed is not None and closed.because == "crop_up"
    if not is_mat and not is_covered and _needs_hand(outlook, weeds, day, w):
        takes = max((_takes_in_row(o, weeds) for o in choice.offers), default=0.0)
        if takes < _HAND_KILL:
            why = (
                f"{_count(weeds, w)} in the row beyond any shallow tool",
                f"a tool takes {tenths(takes)} of them at most",
            )
            minutes = {"by_hand": _by_hand(weeds, outlook, hand)}
            answer = replace(base, verdict="hand", because="no_fit", why=why, minutes=minutes)
            return Draft(answer, 0.0)
    if not choice.offers and closed is not None and closed.because != "no_fit":
        return Draft(_no_tool(base, outlook, day, choice), 0.0)
    if whole < _CLEAN_M2 and not is_mat:
        if mat >= _CLEAN_M2:
            left = (f"about {mat:.0f} weeds per m2 may be left from before the record: look",)
            return Draft(replace(base, verdict="nothing", because="unknown", why=left), 0.0)
        few = (f"{whole:.0f} weeds per m2 standing or to come",)
        return Draft(replace(base, verdict="nothing", because="clean", why=few), 0.0)
    if not choice.offers:
        return Draft(_no_tool(base, outlook, day, choice), 0.0)
    if is_mat:
        return _mat_verdict(base, site, choice.offers, day, mat)
    return _pass_verdict(base, outlook, weeds, day, _best(choice.offers))


def _best(offers: Sequence[Offer]) -> Offer:
    """The offer that takes most today; of those that take nearly as much, the quickest."""
    fit = [o for o in offers if float(o.gain[0]) > 0.0] or list(offers)
    most = max(o.killed_m2 for o in fit)
    return min(
        (o for o in fit if o.killed_m2 >= _NEARLY * most), key=lambda o: (o.minutes, o.tool.name)
    )


def _takes_in_row(offer: Offer, weeds: WeedOutlook) -> float:
    """Share of the grown weeds in the row that a pass today takes, mean over particles."""
    grown = weeds.count_m2[:, 1, IN_ROW, _GROWN]
    killed = (grown * offer.kill_frac[:, IN_ROW, _GROWN]).sum(axis=1)
    whole = float(offer.weights @ grown.sum(axis=1))
    return float(offer.weights @ killed) / whole if whole > 0.0 else 0.0


def _pass_verdict(
    base: BedAnswer, outlook: Outlook, weeds: WeedOutlook, day: Day, offer: Offer
) -> Draft:
    last_good = _last_good(offer, day)
    span = _span_today(offer, day)
    gain = offer.gain
    later = float(gain[1:].max(initial=0.0))
    w = offer.weights
    kill_today = float(w @ offer.killable[:, 0])
    killable = Range(*(float(q) for q in weighted_quantiles(offer.killable[:, 0], w)))
    density = weeds.density_m2(1).sum(axis=1) + weeds.to_come_m2(1)
    peak_m2 = max(
        float(w @ (offer.killable[:, d] * density)) for d in range(offer.killable.shape[1])
    )
    if peak_m2 < _WORTH_M2:
        few = (f"a pass takes {peak_m2:.0f} weeds per m2 at best",)
        return Draft(replace(base, verdict="nothing", because="clean", why=few), 0.0)
    sure = 0.0
    if span is not None:
        sure = _sure(offer, weeds, day, span)
    is_ripe = (
        offer.killed_m2 >= _WORTH_M2
        and kill_today >= _NEARLY * later
        and (kill_today >= _LEAST_SHARE or later <= 0.0)
        and (span is None or sure >= _LEAST_SURE)
    )
    if not is_ripe:
        enough = max(_NEARLY * later, min(_LEAST_SHARE, later))
        d = 1 + int(np.argmax(gain[1:] >= enough))
        first, _ = day_hours(day)[d]
        until = _first_fit(offer, day, first)
        takes = f"a pass takes {tenths(kill_today)} now, {tenths(float(gain[d]))} then"
        if kill_today >= enough and span is not None and sure < _LEAST_SURE:
            takes = f"{tenths(sure)} that going today loses nothing; surer then"
        is_rain = _is_spoilt_by_rain(offer, later)
        if is_rain:
            dry = float(w @ offer.dry_killable)
            takes = f"a pass takes {tenths(kill_today)} with the rain after it, dry {tenths(dry)}"
        why = (takes, _clock_words(outlook, day), _waiting_words(offer))
        return Draft(
            replace(
                base,
                verdict="wait",
                because="rain_after" if is_rain else "weeds_small",
                until=local_moment(day.sky.at(until), day),
                why=why,
                killable_frac=killable,
            ),
            0.0,
        )
    if span is None:
        return Draft(replace(_too_wet(base, outlook, day, offer), killable_frac=killable), 0.0)
    last = day.sky.n_hours if last_good is None else last_good  # None: as good all days in sight
    days_left = max(0.5, (last - day.sky.now_hour) / 24.0)
    urgency = sure * offer.killed_m2 * (1.0 + 1.0 / days_left) / offer.minutes
    answer = replace(
        base,
        verdict="go",
        because="",
        action=_action(offer, day, span),
        sure=sure,
        last_good_at=None if last_good is None else local_moment(day.sky.at(last_good), day),
        killable_frac=killable,
        why=_go_words(outlook, weeds, day, offer, kill_today),
    )
    return Draft(answer, urgency)


def _is_spoilt_by_rain(offer: Offer, later: float) -> bool:
    """Whether a pass today would be ripe but for what falls after it."""
    w = offer.weights
    dry, now = float(w @ offer.dry_killable), float(w @ offer.killable[:, 0])
    return dry >= _NEARLY * later and now < _NEARLY * dry


def _action(offer: Offer, day: Day, span: tuple[int, int]) -> Action:
    """A pass with an offer's tool within a span of hours."""
    return Action(
        offer.tool.name,
        None if offer.setup is None else offer.setup.name,
        offer.depth_mm,
        local_moment(day.sky.at(span[0]), day),
        local_moment(day.sky.at(span[1]), day),
        offer.minutes,
        offer.tool.setup_min,
        offer.note,
    )


def _is_fit_in(offer: Offer, weeds: WeedOutlook, day: Day, span: tuple[int, int]) -> BoolArray:
    """Whether each particle's soil is fit in half of a span's hours or more."""
    hours = slice(span[0] - day.stored, span[1] - day.stored)
    fit: BoolArray = offer.work.is_workable[:, hours].mean(axis=1) >= 0.5
    return fit[weeds.member]


def _sure(offer: Offer, weeds: WeedOutlook, day: Day, span: tuple[int, int]) -> float:
    """Weight of particles whose soil is fit in the span and that lose nothing by going today."""
    inside = _is_fit_in(offer, weeds, day, span)
    best_later = (offer.killable[:, 1:] * offer.is_fit[:, 1:]).max(axis=1, initial=0.0)
    beats = offer.killable[:, 0] >= _NEARLY * best_later
    return float(offer.weights @ (inside & beats))


def _mat_verdict(
    base: BedAnswer, site: Site, offers: Sequence[Offer], day: Day, mat_m2: float
) -> Draft:
    """A bed that came weedy out of the winter: one clean-up before it sheds seed."""
    outlook, weeds = site.outlook, site.weeds
    offer = max(offers, key=lambda o: float(o.weights @ o.old_killable[:, 0]))
    killable = offer.old_killable
    w = offer.weights
    takes = float(w @ killable[:, 0])
    offer = replace(offer, killable=killable, killed_m2=takes * mat_m2)
    span = _span_today(offer, day)
    words = [f"a mat from winter, about {mat_m2:.0f} per m2; a pass takes {tenths(takes)}"]
    if weeds.flowers_hour is not None:
        if weeds.flowers_hour <= day.sky.now_hour:
            words.append("in flower by now: before it sheds seed")
        else:
            words.append(f"flowers about {date_words(day.sky.at(weeds.flowers_hour), day)}")
    base = replace(
        base, killable_frac=Range(*(float(q) for q in weighted_quantiles(killable[:, 0], w)))
    )
    if span is None:
        wet = _too_wet(base, outlook, day, offer)
        return Draft(replace(wet, why=(words[0], *wet.why)), 0.0)
    sure = float(w @ _is_fit_in(offer, weeds, day, span))
    answer = replace(
        base,
        verdict="go",
        because="",
        action=_action(offer, day, span),
        sure=sure,
        why=tuple(words),
    )
    return Draft(answer, sure * takes * min(mat_m2, _MOST_MAT_M2) / offer.minutes)


def _is_cleaned_up(weeds: WeedOutlook, kit: Kit) -> bool:
    """Whether what was done took about as much of a mat as one pass of the farm's best tool."""
    best = max(
        (
            float(kit.kills.kill_frac[tool.key][BETWEEN, -1])
            for tool in kit.rules.tools.values()
            if tool.kind not in _NO_CLEAN_UP
        ),
        default=0.0,
    )
    left = weeds.history.standing_left
    return left < 1.0 - _NEARLY * _WEATHERED * best


def _with_weeds(base: BedAnswer, weeds: WeedOutlook, day: Day) -> BedAnswer:
    """Weeds by stage, and the dates of the flush from the particles where these lie ahead."""
    flush = base.flush
    to_come = weeds.to_come_m2(0)
    whole = to_come + weeds.density_m2(0).sum(axis=1)
    share = np.where(whole > 1e-6, to_come / np.maximum(whole, 1e-6), np.nan)
    quantiles = weighted_quantiles(share, weights=weeds.weights)
    if flush is not None and flush.opened_at is not None and np.isfinite(quantiles).all():
        flush = replace(flush, to_come_frac=Range(*(float(q) for q in quantiles)))
    if flush is not None and weeds.course is not None:
        course = weeds.course

        in_sight = local_moment(day.sky.at(day.sky.n_hours - 24), day)

        def moment(hour: float | None, by_clock: datetime | None) -> datetime | None:
            """By the particles; beyond their sight the clock's, if that is beyond it too."""
            if hour is not None:
                return local_moment(day.sky.at(round(hour)), day)
            return by_clock if by_clock is not None and by_clock > in_sight else None

        flush = replace(
            flush,
            thread_from=moment(course.thread_from_hour, flush.thread_from),
            thread_most_at=moment(course.thread_most_hour, flush.thread_most_at),
            last_good_at=moment(course.last_good_hour, flush.last_good_at),
        )
    return replace(base, weeds=weeds.ranges(0), flush=flush)


def _needs_hand(outlook: Outlook, weeds: WeedOutlook, day: Day, w: FloatArray) -> bool:
    planting = outlook.planting
    if not is_up(outlook, int(weeds.hours[0]), day.stored):
        return False
    if planting.established_at is not None and day.now - planting.established_at > _HAND_WINDOW:
        return False
    row = weeds.density_m2(0, IN_ROW)
    young, established = (float(weighted_quantiles(row[:, i], w)[1]) for i in (3, 4))
    return young > _HAND_YOUNG_M2 or established > _HAND_ESTABLISHED_M2


def _count(weeds: WeedOutlook, w: FloatArray) -> str:
    row = weeds.density_m2(0, IN_ROW)
    low, _, high = weighted_quantiles(row[:, 3:].sum(axis=1), w)
    return f"{low:.0f}-{high:.0f} grown weeds per m2"


def _by_hand(weeds: WeedOutlook, outlook: Outlook, hand: HandRates) -> Range:
    """Minutes to weed the planting by hand, from its weeds by stage."""
    planting = outlook.planting
    metres = planting.to_m - planting.from_m
    area = metres * planting.bed.width_m
    rows = planting.n_rows or 1
    stages = weeds.density_m2(0)
    each = stages[:, _WEED_STAGES_HAND] @ hand.stage_min * area
    minutes = each + hand.row_metre_min * rows * metres
    return Range(*(float(q) for q in weighted_quantiles(minutes, weeds.weights)))


def _no_tool(base: BedAnswer, outlook: Outlook, day: Day, choice: Choice) -> BedAnswer:
    """No tool can go now: until the crop lets one in, or for good."""
    closed = choice.closed_by
    if closed is None:
        why = ("the farm file names no tool",)
        return replace(base, verdict="nothing", because="no_fit", why=why)
    words = closed.why if closed.because != "no_fit" else f"{closed.tool}: {closed.why}"
    if closed.because != "crop_tender":
        return replace(base, verdict="nothing", because=closed.because, why=(words,))
    if choice.opens_hour is not None:
        until = local_moment(day.sky.at(choice.opens_hour), day)
        return replace(base, verdict="wait", because="crop_tender", until=until, why=(words,))
    return replace(_no_later(base, outlook, day), why=(words,))


def _no_later(base: BedAnswer, outlook: Outlook, day: Day) -> BedAnswer:
    """Too late to go blind: until the crop is up."""
    until = day.sky.n_hours - 1
    if outlook.emergence_hours is not None:
        hours = np.nan_to_num(outlook.emergence_hours, nan=day.sky.n_hours)
        until = min(int(weighted_quantiles(hours, outlook.weights)[2]), until)
    return replace(
        base,
        verdict="wait",
        because="crop_tender",
        until=local_moment(day.sky.at(until), day),
    )


def _spans(offer: Offer, day: Day, first: int, last: int) -> list[tuple[int, int]]:
    work = offer.work
    if offer.until_hour is not None:
        last = max(first, min(last, int(offer.until_hour)))
    chance = work.chance_frac[first - day.stored : last - day.stored]
    spans = working_spans(chance, day.is_open[first:last], threshold_frac=GO_CHANCE)
    return [(first + a, first + b) for a, b in spans]


def _span_today(offer: Offer, day: Day) -> tuple[int, int] | None:
    spans = [
        s
        for s in _spans(offer, day, day.sky.now_hour, day.last_hour_today)
        if (s[1] - s[0]) * 60.0 >= offer.minutes
    ]
    return max(spans, key=lambda s: s[1] - s[0]) if spans else None


def _first_fit(offer: Offer, day: Day, from_hour: int) -> int:
    """First hour from `from_hour` on in which the tool can work, else that hour."""
    spans = _spans(offer, day, from_hour, day.sky.n_hours)
    return spans[0][0] if spans else from_hour


def _last_good(offer: Offer, day: Day) -> int | None:
    """End of the last working span whose day still takes nearly the best; None: not in sight."""
    best = float(offer.gain.max())
    good = [d for d in range(offer.gain.size) if offer.gain[d] >= _NEARLY * best]
    if not good or good[-1] == offer.gain.size - 1:
        return None
    run = good[0]
    for d in good:
        if d - run > 1:
            break
        run = d
    first, last = day_hours(day)[run]
    spans = _spans(offer, day, first, last)
    return spans[-1][1] if spans else last


def _too_wet(base: BedAnswer, outlook: Outlook, day: Day, offer: Offer) -> BedAnswer:
    sky = day.sky
    today = slice(sky.now_hour - day.stored, day.last_hour_today - day.stored)
    open_now = day.is_open[sky.now_hour : day.last_hour_today]
    chance = offer.work.chance_frac[today]
    spans = _spans(offer, day, day.last_hour_today, sky.n_hours)
    if offer.purpose == "blind" and offer.until_hour is not None and not spans:
        last = f"not fit before the last blind hour, {_hour_words(day, offer.until_hour)}"
        return replace(_no_later(base, outlook, day), why=(f"ripe, but {last}",))
    until = local_moment(sky.at(spans[0][0] if spans else sky.n_hours - 1), day)
    if not open_now.any() or (chance[open_now] >= GO_CHANCE).any():
        why = "ripe, but too few working hours are left today while the soil is fit"
        return replace(base, verdict="wait", because="no_hours", until=until, why=(why,))
    is_dry = float(np.median(outlook.surface_rel_water[:, today.start])) < _DRY_SURFACE
    best = float(chance[open_now].max())
    words = "too hard under its crust" if is_dry else "too wet"
    why = f"ripe, but {words}: at best {tenths(best)} that it can be worked today"
    if not spans:
        why += "; not within the days in sight"
    return replace(
        base, verdict="wait", because="hard" if is_dry else "wet", until=until, why=(why,)
    )


def _clock_words(outlook: Outlook, day: Day) -> str:
    flush = outlook.flush
    if flush.opened_hour is None:
        return "no opening on record"
    opened = date_words(day.sky.at(flush.opened_hour), day)
    return f"{flush.shares['heat'].mid:.0f} degree-days since {opened}"


def _go_words(
    outlook: Outlook, weeds: WeedOutlook, day: Day, offer: Offer, kill_today: float
) -> tuple[str, ...]:
    w = offer.weights
    standing = weeds.density_m2(1)
    thread = float(weighted_quantiles(standing[:, 0], w)[1])
    up = float(weighted_quantiles(standing[:, 1:].sum(axis=1), w)[1])
    threads = {"0": "no threads", "1": "1 thread"}.get(_round(thread), f"{_round(thread)} threads")
    stand = f"{threads}, {_round(up)} up per m2, takes {tenths(kill_today)}"
    words = []
    if offer.purpose == "blind" and offer.until_hour is not None:
        words.append(f"last blind hour {_hour_words(day, offer.until_hour)}")
    words.append(stand)
    words.append(_clock_words(outlook, day))
    come = float(weighted_quantiles(weeds.to_come_m2(1), w)[1])
    words.append(f"{_round(come)} per m2 still to come")
    if offer.gain.size > 1 and kill_today - float(offer.gain[1]) > 0.02:
        words.append(f"tomorrow takes {tenths(max(0.0, float(offer.gain[1])))}")
    words.append(_waiting_words(offer))
    return tuple(words)


def _waiting_words(offer: Offer) -> str:
    """First cost of waiting: what a pass takes today and in one to five days, rain and all."""
    shares = [round(100 * float(share)) for share in offer.gain[1:6]]
    today = round(100 * float(offer.weights @ offer.killable[:, 0]))
    return (
        f"of 100 weeds a pass takes {today} today, {', '.join(map(str, shares))} on the days after"
    )


def _round(density_m2: float) -> str:
    """A density as a grower would say it: no false digits."""
    if density_m2 < 10.0:
        return f"{density_m2:.0f}"
    return (
        f"{5 * round(density_m2 / 5):d}" if density_m2 < 100 else f"{10 * round(density_m2 / 10):d}"
    )


def _hour_words(day: Day, hour: float) -> str:
    local: datetime = local_moment(day.sky.at(hour), day)
    return f"{local:%a %H:%M}"


def _ruling_work(outlook: Outlook, day: Day) -> WorkOutlook:
    """The strictest of the farm's own tools speaks for a bed that has no line."""
    kinds = sorted({tool.key for tool in day.farm.tools}) or sorted(outlook.works)
    first = day.sky.now_hour - day.stored
    return min(
        (outlook.works[kind] for kind in kinds), key=lambda w: float(w.chance_frac[first:].sum())
    )


def base_answer(outlook: Outlook, day: Day) -> BedAnswer:
    """Soil, crust, flush and planting of an answer; the verdict is still to be given.

    Parameters
    ----------
    outlook : Outlook
        The planting's outlook.
    day : Day
        The clock.

    Returns
    -------
    BedAnswer
        Verdict `nothing`, `clean` until another is given.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_order.py; whole
    mornings: tests/scenes.
    """
    sky, stored = day.sky, day.stored
    now = sky.now_hour - stored
    work = _ruling_work(outlook, day)
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
        None if first is None else local_moment(sky.at(stored + first), day),
        float(weighted_quantiles(outlook.surface_rel_water[:, max(now - 1, 0)], w)[1]),
        float(weighted_quantiles(outlook.surface_temp_c[:, max(now - 1, 0)], w)[1]),
    )
    break_by = None
    if outlook.first_up_hours is not None:
        hour = weighted_quantiles(outlook.first_up_hours, w)[0]
        if not np.isnan(hour):
            break_by = local_moment(sky.at(int(hour)), day)
    crust = CrustAnswer(
        float(weighted_quantiles(outlook.crust_index[:, max(now - 1, 0)], w)[1]),
        None
        if outlook.crust_expected_hour is None or outlook.crust_chance < _CRUST_CHANCE
        else local_moment(sky.at(outlook.crust_expected_hour), day),
        outlook.crust_chance,
        break_by if outlook.crust_chance >= _CRUST_CHANCE else None,
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

    Notes
    -----
    Definition of this project. No range stated. Worked mornings: tests/scenes.
    """
    sky = day.sky

    def moment(hour: float | None) -> datetime | None:
        return None if hour is None else local_moment(sky.at(round(hour)), day)

    def reached(name: str) -> datetime | None:
        return moment(_median(flush.reached[name], weights))

    next_at = flush.next_expected_hour if flush.next_chance >= _WETTING_CHANCE else None
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


def _median(hours: FloatArray, weights: FloatArray) -> float | None:
    value = weighted_quantiles(hours, weights)[1]
    return None if np.isnan(value) else float(value)
