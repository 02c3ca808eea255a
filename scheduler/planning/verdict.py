"""One verdict for one planting: what to do today, by the minutes a pass is worth.

`go` if the value of a pass today exceeds the grower's price of its machine minutes, the crop plants
it costs, the harm to soil only just dry enough and the visits in vain. `hand` where what stands in
the row is beyond any tool; `wait` where a pass is worth it on a later day, or once soil and crop
allow; `nothing` where none is worth it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np

from scheduler.planning.day import GO_CHANCE, Day, date_words, local_moment, tenths
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.look_choice import Bet, Rule, asked_look, look_at
from scheduler.planning.offers import Choice, Kit, Offer, Site, day_hours, is_up
from scheduler.planning.order import Draft
from scheduler.planning.outlook import Outlook
from scheduler.planning.readings import base_answer, hand_minutes, with_weeds
from scheduler.planning.sentences import (
    clock_words,
    go_words,
    grown_words,
    hour_words,
    share_words,
    terms_words,
)
from scheduler.planning.spans import first_fit, fit_spans, span_today
from scheduler.planning.value import Terms, ValueSettings, price_of_weeds, values_today
from scheduler.planning.weeds import IN_ROW, HandRates, WeedOutlook
from scheduler.planning.window import weed_free_window_h
from scheduler.records import Action, BedAnswer, BoolArray, FloatArray, Range

_CLEAN_M2 = 5.0  # weeds standing and to come below which a bed is clean
_NEARLY = 0.9  # of the best day to come
_MAT_M2 = 30.0  # weeds from before the record that make a mat
_HAND_YOUNG_M2 = 15.0  # in the row
_HAND_ESTABLISHED_M2 = 4.0
_HAND_WINDOW = timedelta(days=60)  # after sowing or setting of a crop without weed-free weeks
_HAND_KILL = 0.3  # share of what is grown in the row below which a tool does not rescue
_HAND_SHARE = 0.3  # of a hand round that a pass before it must save to be worth it
_LEAST_SHARE = 0.2  # of stand and flush, below which tools are said not to fit the weeds
_GROWN = slice(3, 5)  # young and established
_DRY_SURFACE = 0.15  # relative water of the surface below which a bed that is not fit is hard
_MOST_MAT_M2 = 60.0  # of a mat that count for the order of the day
_MAT_MIN_M2 = 0.02  # minutes by hand that each of them would cost
_LEAST_NET_MIN = 1.0  # that a pass must leave to be worth setting out
_NOTHING_MIN = 1e-6  # of waiting that costs nothing: then it is done today
_LEAST_SURE = 0.1  # below it another day is the better bet
_LAST_CHANCE = 3.0  # times as urgent, where the crop closes the gate by tomorrow night
_NO_CLEAN_UP = ("hand", "flame")
NO_PASS_PAYS = "no pass is worth its minutes here"  # of a hand round that a tool would fit
_WEATHERED = 0.8  # of a good day's kill that a clean-up has in the weather it gets
_CLEANS_UP = 0.3  # share of a mat that a clean-up must take


def weed_verdict(
    site: Site, choice: Choice, kit: Kit, day: Day, hand: HandRates, settings: ValueSettings
) -> Draft:
    """One verdict for one planting, with its reason, dates and figures.

    Parameters
    ----------
    site : Site
        Soil, crust, clock, crop and weeds of the planting; the weeds at `weed_hours(day)`, with
        their future.
    choice : Choice
        Tools that can go, what may follow, and why the others not.
    kit : Kit
        The farm's tools.
    day : Day
        The clock.
    hand : HandRates
        Minutes of hand weeding by stage.
    settings : ValueSettings
        Price of weeds, stand, soil and time.

    Returns
    -------
    Draft
        Verdict `go`, `wait`, `hand` or `nothing`, not yet ordered.

    Notes
    -----
    A bed is clean below 5 weeds per m2 standing and to come. `hand` until the weed-free weeks of
    the crop are over, without such weeks 60 days from sowing or setting, from 15 young or 4
    established per m2 in the row of which a tool takes less than 0.3 on its best day in sight,
    unless a pass first saves 0.3 of the round, today's or the next where none can be made today.
    Assumptions of this project. No range stated.
    Worked: tests/planning/test_verdict.py; whole mornings: tests/scenes.
    """
    outlook, weeds = site.outlook, site.weeds
    base = replace(with_weeds(base_answer(outlook, day), weeds, day), refusals=choice.refusals)
    w = weeds.weights / weeds.weights.sum()
    whole = float(w @ (weeds.density_m2(0).sum(axis=1) + weeds.to_come_m2(0)))
    mat = float(weighted_quantiles(weeds.standing_m2, w)[1])
    if mat >= _MAT_M2 and not _is_cleaned_up(weeds, kit):
        cleaners = [o for o in choice.offers if _takes_old(o) >= _CLEANS_UP]
        if cleaners:
            return _mat_verdict(base, site, cleaners, day, mat)
    closed = choice.closed_by
    is_covered = not choice.offers and closed is not None and closed.because == "crop_up"
    is_due = not is_covered and _needs_hand(site, kit, day, w)
    if not choice.offers:
        if is_due:
            return _hand_verdict(base, site, hand, _no_tool_words(choice))
        if closed is not None and closed.because != "no_fit":
            return Draft(_no_tool(base, outlook, day, choice), 0.0)
    if whole < _CLEAN_M2:
        if mat >= _CLEAN_M2:
            left = (f"about {mat:.0f} weeds per m2 may be left from before the record: look",)
            return Draft(replace(base, verdict="nothing", because="unknown", why=left), 0.0)
        few = (f"{whole:.0f} weeds per m2 standing or to come",)
        return Draft(replace(base, verdict="nothing", because="clean", why=few), 0.0)
    if not choice.offers:
        return Draft(_no_tool(base, outlook, day, choice), 0.0)
    assert weeds.future is not None
    price = price_of_weeds(site, choice, kit, day, settings, weeds.future.end_hour)
    values = values_today(site, choice, price, settings, day.farm.work.machine_price)
    offer = _best(choice.offers, values, day)
    terms = values[offer.tool.name]
    takes = max(_takes_in_row(o, weeds) for o in choice.offers)
    if is_due:
        by_hand = hand_minutes(weeds, outlook, hand)
        mean = 0.3 * by_hand.low + 0.4 * by_hand.mid + 0.3 * by_hand.high  # Swanson's rule
        if takes < _HAND_KILL and not _is_worth(terms, offer, day, _HAND_SHARE * mean):
            told = f"a tool takes {tenths(takes)} of them at most"
            return _hand_verdict(base, site, hand, told)
        base = replace(base, minutes={"by_hand": by_hand})
    draft = _pass_verdict(base, site, day, offer, terms)
    if draft.answer.verdict == "nothing" and is_due:
        return _hand_verdict(base, site, hand, NO_PASS_PAYS)
    if not is_due:
        bets = bets_of(choice.offers, values, weeds, day)
        look = look_at(weeds, bets, Rule(_LEAST_NET_MIN, _LEAST_SURE))
        if look is not None:
            draft = replace(draft, look=asked_look(look, site.planting, day))
    if draft.answer.verdict != "go":
        return draft
    others = tuple(
        other
        for o in choice.offers
        if o is not offer
        and (other := _pass_verdict(base, site, day, o, values[o.tool.name])).answer.verdict == "go"
    )
    return replace(draft, others=others)


def bets_of(
    offers: Sequence[Offer], values: Mapping[str, Terms], weeds: WeedOutlook, day: Day
) -> tuple[Bet, ...]:
    """The tools that may go, as a look would see them.

    Parameters
    ----------
    offers : sequence of Offer
        Tools.
    values : mapping
        Their terms by name.
    weeds : WeedOutlook
        Weeds of the planting.
    day : Day
        The clock.

    Returns
    -------
    tuple of Bet
        In the order of the offers.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_look_choice.py.
    """
    return tuple(_bet(offer, values[offer.tool.name], weeds, day) for offer in offers)


def _bet(offer: Offer, terms: Terms, weeds: WeedOutlook, day: Day) -> Bet:
    span = span_today(offer, day)
    if span is not None:
        counts = _counts(offer, terms, weeds, day, span)
        return Bet(offer.tool.name, terms, offer.minutes, True, counts, 0)
    later = fit_spans(offer, day, day.last_hour_today, day.sky.n_hours)
    starts = [last for _, last in day_hours(day)]
    fit_day = sum(later[0][0] >= last for last in starts) if later else None
    none = np.zeros(terms.waiting_min.size, bool)
    return Bet(offer.tool.name, terms, offer.minutes, False, none, fit_day)


def _best(offers: Sequence[Offer], values: Mapping[str, Terms], day: Day) -> Offer:
    """The offer that leaves most, of those that can work today if any can."""
    can = [o for o in offers if span_today(o, day) is not None] or list(offers)
    return max(can, key=lambda o: (values[o.tool.name].net_min, -o.minutes, o.tool.name))


def _is_worth(terms: Terms, offer: Offer, day: Day, least_min: float) -> bool:
    """Whether a pass pays and saves so much by hand; the next one where none can be made today."""
    if span_today(offer, day) is not None:
        return terms.net_min > 0.0 and terms.hand_min >= least_min
    later = terms.later_min - terms.stand_if_fit_min - terms.price_if_fit_min
    by_hand = terms.hand_if_fit_min / max(terms.if_fit_min, _LEAST_NET_MIN)
    return later > 0.0 and by_hand * terms.later_min >= least_min


def _takes_in_row(offer: Offer, weeds: WeedOutlook) -> float:
    """Share of the grown weeds in the row that a pass takes on its best day, mean of particles."""
    grown = weeds.count_m2[:, 1, IN_ROW, _GROWN]
    killed = (grown * offer.kill_frac[:, :, IN_ROW, _GROWN]).sum(axis=2)
    whole = float(offer.weights @ grown.sum(axis=1))
    return float((killed @ offer.weights).max()) / whole if whole > 0.0 else 0.0


def _takes_old(offer: Offer) -> float:
    return float(offer.weights @ offer.old_killable[:, 0])


def _pass_verdict(base: BedAnswer, site: Site, day: Day, offer: Offer, terms: Terms) -> Draft:
    """Go, wait or leave it, by the best tool that can go."""
    outlook, weeds = site.outlook, site.weeds
    w = offer.weights
    killable = Range(*(float(q) for q in weighted_quantiles(offer.killable[:, 0], w)))
    minutes = {
        **(base.minutes or {}),
        "saved": terms.saved,
        "cost_of_waiting": terms.cost_of_waiting,
    }
    base = replace(
        base,
        killable_frac=killable,
        minutes=minutes,
        details=(*base.details, *terms_words(offer, terms)),
    )
    span = span_today(offer, day)
    is_wanted = terms.if_fit_min > terms.stand_if_fit_min + terms.price_if_fit_min
    if span is None and is_wanted:
        return Draft(_not_fit(base, outlook, day, offer), 0.0)
    sure = 0.0 if span is None else _sure(offer, terms, weeds, day, span)
    if (
        span is None
        or terms.net_min < _LEAST_NET_MIN
        or (sure < _LEAST_SURE and terms.best_day > 0)
    ):
        return Draft(_not_today(base, site, day, offer, terms), 0.0)
    last_good = _last_good_hour(offer, terms, day, span)
    answer = replace(
        base,
        verdict="go",
        because="",
        action=_action(offer, day, span),
        sure=sure,
        last_good_at=None if last_good is None else local_moment(day.sky.at(last_good), day),
        why=go_words(offer, terms, outlook, weeds, day),
    )
    worth = terms.worth_min - terms.stand_min - terms.soil_min - terms.vain_min
    return Draft(answer, _urgency(offer, terms, worth, day), worth)


def _urgency(offer: Offer, terms: Terms, worth_min: float, day: Day) -> float:
    """Worth a minute; what the crop lets in for the last time counts with what waiting costs."""
    until = offer.until_hour
    if until is not None and until <= day.last_hour_today + 24:
        waiting = max(0.0, float(offer.weights @ terms.waiting_min))
        return _LAST_CHANCE * (worth_min + waiting) / offer.minutes
    return worth_min / offer.minutes


def _not_today(base: BedAnswer, site: Site, day: Day, offer: Offer, terms: Terms) -> BedAnswer:
    """A pass today is not worth its minutes: until when it is, or that none is."""
    outlook, weeds = site.outlook, site.weeds
    later_net = terms.later_min - terms.stand_if_fit_min - terms.price_if_fit_min
    takes = float(offer.weights @ offer.killable[:, 0])
    words = (clock_words(outlook, day), share_words(offer))
    if terms.best_day == 0 or later_net <= 0.0:
        if offer.purpose == "blind" and takes < _LEAST_SHARE:
            return replace(
                _until_up(base, outlook, day),
                why=("too few threads for the last blind pass; then until the crop is up", *words),
            )
        standing = float(offer.weights @ weeds.density_m2(1).sum(axis=1))
        is_beyond = standing >= _CLEAN_M2 and offer.killed_m2 < _LEAST_SHARE * standing
        because = "no_fit" if is_beyond else "clean"
        why = (
            f"a pass would save {max(terms.worth_min, 0.0):.0f} min by hand and take "
            f"{offer.minutes:.0f}: not worth it today or on the days in sight",
        )
        if because == "no_fit":
            share = tenths(offer.killed_m2 / standing)
            why = (f"{offer.tool.name} takes {share} of what stands",)
        return replace(base, verdict="nothing", because=because, why=(*why, *words))
    first, _ = day_hours(day)[terms.best_day]
    until = local_moment(day.sky.at(first_fit(offer, day, first)), day)
    is_rain = _is_spoilt_by_rain(offer)
    then = (
        f"a pass saves {max(terms.worth_min, 0.0):.0f} min by hand now, {terms.later_min:.0f} then"
    )
    if is_rain:
        dry = float(offer.weights @ offer.dry_killable)
        then = f"a pass takes {tenths(takes)} with the rain after it, dry {tenths(dry)}"
    return replace(
        base,
        verdict="wait",
        because="rain_after" if is_rain else "weeds_small",
        until=until,
        why=(then, *words),
    )


def _is_spoilt_by_rain(offer: Offer) -> bool:
    """Whether what falls after a pass today takes a tenth of it, and more than leaves later do."""
    w = offer.weights
    dry, now = float(w @ offer.dry_killable), float(w @ offer.killable[:, 0])
    later = float(offer.gain[1:].max(initial=0.0))
    return dry >= max(_NEARLY * later, _LEAST_SHARE) and now < _NEARLY * dry


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


def _sure(offer: Offer, terms: Terms, weeds: WeedOutlook, day: Day, span: tuple[int, int]) -> float:
    """Weight of particles whose soil is fit in the span and in which going beats leaving it."""
    return float(offer.weights @ _counts(offer, terms, weeds, day, span))


def _counts(
    offer: Offer, terms: Terms, weeds: WeedOutlook, day: Day, span: tuple[int, int]
) -> BoolArray:
    """Particles whose soil is fit in the span and in which going beats leaving it."""
    inside = _is_fit_in(offer, weeds, day, span)
    return np.asarray(inside & (terms.waiting_min >= -_NOTHING_MIN))


def _last_good_hour(offer: Offer, terms: Terms, day: Day, span: tuple[int, int]) -> int | None:
    """End of the last day worth nearly the best that the crop lets the tool in; None: beyond."""
    closes = None if offer.until_hour is None else int(offer.until_hour)
    if terms.last_good_day is None:
        return closes
    if terms.last_good_day == 0:
        return span[1]
    first, last = day_hours(day)[terms.last_good_day]
    if closes is not None and closes < first:
        return closes
    for first, last in reversed(day_hours(day)[1 : terms.last_good_day + 1]):
        found = fit_spans(offer, day, first, last)
        if found:
            return found[-1][1]
    return span[1]


def _mat_verdict(
    base: BedAnswer, site: Site, offers: Sequence[Offer], day: Day, mat_m2: float
) -> Draft:
    """A bed that came weedy out of the winter: one clean-up before it sheds seed."""
    outlook, weeds = site.outlook, site.weeds
    can = [o for o in offers if span_today(o, day) is not None] or list(offers)
    offer = max(can, key=lambda o: (_takes_old(o), -o.minutes, o.tool.name))
    w = offer.weights
    takes = _takes_old(offer)
    span = span_today(offer, day)
    words = [f"a mat from winter, about {mat_m2:.0f} per m2; a pass takes {tenths(takes)}"]
    if weeds.flowers_hour is not None:
        if weeds.flowers_hour <= day.sky.now_hour:
            words.append("in flower by now: before more seed falls")
        else:
            words.append(f"flowers about {date_words(day.sky.at(weeds.flowers_hour), day)}")
    killable = weighted_quantiles(offer.old_killable[:, 0], w)
    base = replace(base, killable_frac=Range(*(float(q) for q in killable)))
    if span is None:
        wet = _not_fit(base, outlook, day, offer)
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
    worth = sure * takes * min(mat_m2, _MOST_MAT_M2) * _MAT_MIN_M2 * site.area_m2
    return Draft(answer, worth / offer.minutes, worth)


def _is_cleaned_up(weeds: WeedOutlook, kit: Kit) -> bool:
    """Whether what was done took about as much of a mat as one pass of the farm's best tool."""
    best = max(
        (
            float(kit.kills.kill_frac[tool.key][1, -1])
            for tool in kit.rules.tools.values()
            if tool.kind not in _NO_CLEAN_UP
        ),
        default=0.0,
    )
    left = weeds.history.standing_left
    return left < 1.0 - _NEARLY * _WEATHERED * best


def _needs_hand(site: Site, kit: Kit, day: Day, w: FloatArray) -> bool:
    """Whether a hand round is due: grown weeds in the row while weeds still cost yield."""
    outlook, weeds, planting = site.outlook, site.weeds, site.planting
    if not is_up(outlook, int(weeds.hours[0]), day.stored):
        return False
    window = weed_free_window_h(planting, kit.crops.get(planting.crop or ""), outlook, day)
    if window is not None:
        if day.sky.now_hour > window[1]:
            return False
    elif planting.established_at is not None and day.now - planting.established_at > _HAND_WINDOW:
        return False
    row = weeds.density_m2(0, IN_ROW)
    young, established = (float(weighted_quantiles(row[:, i], w)[1]) for i in (3, 4))
    return young > _HAND_YOUNG_M2 or established > _HAND_ESTABLISHED_M2


def _hand_verdict(base: BedAnswer, site: Site, hand: HandRates, told: str) -> Draft:
    why = (f"{grown_words(site.weeds)} in the row", told)
    minutes = {"by_hand": hand_minutes(site.weeds, site.outlook, hand)}
    return Draft(replace(base, verdict="hand", because="no_fit", why=why, minutes=minutes), 0.0)


def _no_tool_words(choice: Choice) -> str:
    closed = choice.closed_by
    return "the farm file names no tool" if closed is None else f"{closed.tool}: {closed.why}"


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
    return replace(_until_up(base, outlook, day), why=(words,))


def _until_up(base: BedAnswer, outlook: Outlook, day: Day) -> BedAnswer:
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


def _not_fit(base: BedAnswer, outlook: Outlook, day: Day, offer: Offer) -> BedAnswer:
    """Worth a pass, but the soil, the hours or the crop do not allow it today."""
    sky = day.sky
    later = fit_spans(offer, day, day.last_hour_today, sky.n_hours)
    if offer.until_hour is not None and not later:
        last = hour_words(day, offer.until_hour)
        if offer.purpose == "blind":
            why = (f"worth a pass, but not fit before the last blind hour, {last}",)
            return replace(_until_up(base, outlook, day), why=why)
        why = (f"worth a pass, but {outlook.planting.crop} closes before the soil is fit",)
        return replace(base, verdict="nothing", because="crop_up", why=why)
    open_today = day.is_open[sky.now_hour : day.last_hour_today]
    chance = offer.work.chance_frac[sky.now_hour - day.stored : day.last_hour_today - day.stored]
    until = local_moment(sky.at(later[0][0] if later else sky.n_hours - 1), day)
    if not open_today.any() or (chance[open_today] >= GO_CHANCE).any():
        why = ("worth a pass, but too few dry working hours are left today while the soil is fit",)
        return replace(base, verdict="wait", because="no_hours", until=until, why=why)
    surface = outlook.surface_rel_water[:, sky.now_hour - day.stored]
    is_dry = float(np.median(surface)) < _DRY_SURFACE
    best = float(chance[open_today].max())
    words = "too hard under its crust" if is_dry else "too wet"
    told = f"worth a pass, but {words}: at best {tenths(best)} that it can be worked today"
    if not later:
        told += "; not within the days in sight"
    because = "hard" if is_dry else "wet"
    return replace(base, verdict="wait", because=because, until=until, why=(told,))
