"""Which look helps most: pencil cases of eight particles, and made plantings through the verdict.

In the pencil cases the first four particles are one kind of bed and the last four another, all of
the same weight; what a pass leaves in each is given. A look that tells the kinds apart for sure is
worth half of what the wrong decision would lose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.planning.look_choice import (
    LOOK_MIN,
    AskedLook,
    Bet,
    Rule,
    amount_questions,
    asked_look,
    chosen_looks,
    decision_under,
    is_meant_for,
    look_at,
    look_gain_min,
    mix_questions,
)
from scheduler.planning.offers import Choice, Site, choose
from scheduler.planning.order import Draft
from scheduler.planning.value import Terms, price_of_weeds, values_today
from scheduler.planning.verdict import _LEAST_NET_MIN, _LEAST_SURE, bets_of, weed_verdict
from scheduler.planning.weeds import WeedOutlook
from scheduler.records import Event, FloatArray, Planting, Range
from scheduler.service.settings import hand_rates, value_settings
from tests.planning.made import (
    HOE,
    N_HOURS,
    N_MEMBERS,
    NOW_HOUR,
    SWEEPS,
    TINES,
    WORK,
    Counts,
    day,
    entry,
    farm,
    kit,
    outlook,
    planting,
    seen_weather,
    weeds,
)

RULE = Rule(_LEAST_NET_MIN, _LEAST_SURE)
HALF = N_MEMBERS // 2
ALWAYS = [(0, N_HOURS)]
N_DAYS = 10
WHITE, GREEN = {"thread": 100.0}, {"seed_leaf": 100.0}
TOOLS = (TINES, SWEEPS, HOE)


def of_halves(first: float, second: float) -> FloatArray:
    return np.repeat([first, second], HALF)


def beds(first: Counts, second: Counts) -> WeedOutlook:
    """Weeds of the first four particles and of the others."""
    kinds = {m: [first if m < HALF else second] for m in range(N_MEMBERS)}
    return weeds([first], day(), of_member=kinds)


def bet(
    net: FloatArray,
    *,
    tomorrow: FloatArray | None = None,
    cost: float = 3.0,
    fit_day: int | None = 0,
    tool: str = "tines",
) -> Bet:
    """A pass that leaves `net` today or `tomorrow`, less `cost`, tomorrow; nothing follows it."""
    later = np.zeros((N_MEMBERS, N_DAYS))
    if tomorrow is not None:
        later[:, 1] = tomorrow
    each = {
        "each_net_min": net,
        "each_if_fit_min": net + cost,
        "each_later_min": later,
        "each_again_min": np.zeros_like(later),
        "price_if_fit_min": cost,
        "stand_if_fit_min": 0.0,
    }
    rest = {f.name: 0.0 for f in fields(Terms) if f.name not in each}
    rest |= dict.fromkeys(("saved", "cost_of_waiting"), Range(0.0, 0.0, 0.0))
    can_go = fit_day == 0
    return Bet(tool, Terms(**{**rest, **each}), 3.0, can_go, np.full(N_MEMBERS, can_go), fit_day)


def words(stand: WeedOutlook, *bets: Bet) -> str | None:
    look = look_at(stand, bets, RULE)
    return None if look is None else asked_look(look, planting(), day()).ask


# ------------------------------------------------------------------ by hand


def test_few_or_many_by_hand() -> None:
    """It goes without a look: 4 x 12 - 4 x 10 over 8 leaves 1. Seen to be few it is left alone.

    A look saves the 10 minutes in half of the cases, 5, less its own 2. From 400 to 40 per m2 is a
    factor of ten, which a count of three spots never misses: 10^-3.8 is 2 in 10000.
    """
    stand = beds({"thread": 400.0}, {"thread": 4.0})
    found = look_at(stand, [bet(of_halves(12.0, -10.0))], RULE)
    assert found is not None
    assert [d.what for d in found.decisions] == ["leave", "go"]
    assert found.without.what == "go"
    assert found.gain_min == pytest.approx(0.5 * 10.0 - 2.0, abs=0.01)
    assert words(stand, bet(of_halves(12.0, -10.0))) == (
        "scratch three spots and count; fewer than 40 per m2, leave it; more, go today"
    )


def test_white_or_green_by_hand() -> None:
    """White: today loses 6, tomorrow leaves 20 - 3. Green: today leaves 12, tomorrow nothing.

    Without a look it goes, as 3 are left in the mean; a look is worth (17 + 6) / 2 - 2 less what
    misread sprouts take: of ten that count, one in a hundred of the other kind, 6 never are.
    """
    stand = beds(WHITE, GREEN)
    pass_ = bet(of_halves(-6.0, 12.0), tomorrow=of_halves(20.0, 2.0))
    found = look_at(stand, [pass_], RULE)
    assert found is not None
    assert found.gain_min == pytest.approx(9.5, abs=0.01)
    assert words(stand, pass_) == (
        "scratch three spots; mostly white, tomorrow is better; mostly green, go today"
    )


def test_what_a_misread_look_is_worth_by_hand() -> None:
    """Six white of ten that count are seen as most in 0.733 of looks where 6 in 10 are white.

    Binomial of 10: 0.2508 + 0.2150 + 0.1209 + 0.0403 + 0.0060 above five, half of 0.2007 at five.
    """
    stand = beds({"thread": 60.0, "seed_leaf": 40.0}, GREEN)
    white, green, none = mix_questions(stand)[0].chance_frac[:, 0]
    assert white / (white + green) == pytest.approx(0.7334, abs=2e-4)
    assert none < 1e-6  # a hundred per m2 are always found


def test_a_later_pass_that_can_be_decided_later_is_no_gain_of_today() -> None:
    """It goes under every answer; that tomorrow's pass is worth it in one kind is for tomorrow."""
    pass_ = bet(of_halves(5.0, 6.0), tomorrow=of_halves(40.0, 0.0))
    assert look_at(beds(WHITE, GREEN), [pass_], RULE) is None
    assert look_gain_min(beds(WHITE, GREEN), [pass_], RULE) == 0.0


def test_a_tool_is_named_where_the_list_of_today_does_not() -> None:
    stand = beds({"thread": 400.0}, {"thread": 4.0})
    pass_ = bet(of_halves(24.0, -25.0))
    assert words(stand, pass_) == (
        "scratch three spots and count; fewer than 40 per m2, leave it; more, go today with tines"
    )


def test_answers_side_by_side_that_lead_to_the_same_are_named_together() -> None:
    """Of a third kind there is nothing at all; neither it nor what is white is worth a pass."""
    third = {
        0: [WHITE],
        1: [WHITE],
        2: [WHITE],
        3: [{}],
        4: [{}],
        5: [GREEN],
        6: [GREEN],
        7: [GREEN],
    }
    stand = weeds([WHITE], day(), of_member=third)
    net = np.array([-30.0] * 5 + [40.0] * 3)
    assert words(stand, bet(net)) == (
        "scratch three spots; mostly white or nothing, leave it; mostly green, go today with tines"
    )


# ------------------------------------------------------------------ opposites


def test_no_look_where_every_kind_of_bed_leads_to_the_same() -> None:
    stand = beds(WHITE, GREEN)
    assert look_at(stand, [bet(of_halves(30.0, 3.0))], RULE) is None
    assert look_at(stand, [bet(of_halves(-30.0, -3.0))], RULE) is None


def test_no_look_where_it_cannot_tell_the_kinds_apart() -> None:
    assert look_at(beds(WHITE, WHITE), [bet(of_halves(30.0, -20.0))], RULE) is None


def test_no_look_that_saves_little_more_than_its_own_minutes() -> None:
    stand = beds(WHITE, GREEN)
    least = LOOK_MIN + _LEAST_NET_MIN  # and a minute more, as a pass must leave
    for lost, is_asked in ((2 * least - 0.1, False), (2 * least + 0.1, True)):
        found = look_at(stand, [bet(of_halves(30.0, -lost))], RULE)
        assert (found is not None) == is_asked


def test_a_bed_that_is_wet_until_tomorrow_is_looked_at_and_one_wet_for_days_is_not() -> None:
    stand = beds(WHITE, GREEN)
    net, then = of_halves(-10.0, 30.0), of_halves(0.0, 40.0)  # tomorrow costs 8 where nothing is
    soon = bet(net, tomorrow=then, fit_day=1, cost=8.0)
    found = look_at(stand, [soon], RULE)
    assert found is not None
    assert found.gain_min == pytest.approx(0.5 * 8.0 - 2.0, abs=0.01)
    assert words(stand, soon) == (
        "scratch three spots; mostly white, leave it; mostly green, go with tines once the soil is "
        "fit"
    )
    assert look_at(stand, [replace(soon, fit_day=3)], RULE) is None
    assert look_at(stand, [replace(soon, fit_day=None)], RULE) is None


def test_a_tool_that_is_fit_on_no_day_in_sight_makes_no_look_worth_while() -> None:
    """The hoe would take most, but goes on no day; what it is worth on the last is no gain."""
    stand = beds(WHITE, GREEN)
    last = np.zeros((N_MEMBERS, N_DAYS))
    last[:, -1] = of_halves(0.0, 40.0)
    hoe = bet(of_halves(-10.0, 30.0), fit_day=None, cost=8.0, tool="hoe")
    hoe = replace(hoe, terms=replace(hoe.terms, each_later_min=last))
    tines = bet(of_halves(-20.0, 0.0), fit_day=1, cost=8.0)
    assert look_at(stand, [hoe, tines], RULE) is None


def test_no_tools_no_look() -> None:
    assert look_at(beds(WHITE, GREEN), [], RULE) is None
    assert look_gain_min(beds(WHITE, GREEN), [], RULE) == 0.0


# ------------------------------------------------------------------ any planting


def random_counts(rng: np.random.Generator) -> list[Counts]:
    """A flush that goes on by a stage every other day, at a size that nobody knows."""
    n = float(np.exp(rng.normal(4.0, 1.5)))
    stages = ("to_come", "thread", "seed_leaf", "true_leaf", "young", "established")
    share = rng.dirichlet(np.full(3, 0.7))
    first = int(rng.integers(0, 3))
    days = []
    for d in range(6):
        at = min(first + d // 2, 3)
        days.append({stages[at + i]: n * float(share[i]) for i in range(3)})
    return days


def of_seed(seed: int) -> tuple[Site, Choice, tuple[Bet, ...], Draft]:
    rng = np.random.default_rng(seed)
    when = day(farm(tools=TOOLS, work=replace(WORK, machine_price=5.0)))
    each = {m: random_counts(rng) for m in range(N_MEMBERS)}
    stand = weeds(each[0], when, of_member=each)
    dry_from = NOW_HOUR + int(rng.choice([-NOW_HOUR, 24, 96]))
    of = outlook([(dry_from, N_HOURS)], n_fit=int(rng.choice([N_MEMBERS, 6, 5])))
    site, made = Site(of, stand, seen_weather(np.full(N_HOURS, 9.0))), kit(TOOLS)
    choice = choose(site, made, (), when)
    assert stand.future is not None
    price = price_of_weeds(site, choice, made, when, value_settings(), stand.future.end_hour)
    values = values_today(site, choice, price, value_settings(), when.farm.work.machine_price)
    bets = bets_of(choice.offers, values, stand, when)
    return (
        site,
        choice,
        bets,
        weed_verdict(site, choice, made, when, hand_rates(), value_settings()),
    )


seeds = st.integers(0, 10**6)


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_without_a_look_it_decides_as_the_verdict(seed: int) -> None:
    site, _, bets, draft = of_seed(seed)
    w = site.weeds.weights / site.weeds.weights.sum()
    answer = draft.answer
    if not bets or any("per m2 standing or to come" in why for why in answer.why):
        return  # next to no weeds: no pass is weighed
    found = decision_under(w, bets, RULE)
    assert {"go": "go", "wait": "wait", "fit": "wait", "leave": "nothing"}[
        found.what
    ] == answer.verdict
    if found.what == "go":
        assert answer.action is not None
        assert found.tool == answer.action.tool
    if found.what == "wait":
        assert answer.until is not None
        assert answer.because in ("weeds_small", "rain_after")
        assert (answer.until.date() - day().now.date()).days == found.day


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_the_terms_by_particle_have_the_terms_as_their_mean(seed: int) -> None:
    site, _, bets, _ = of_seed(seed)
    w = site.weeds.weights / site.weeds.weights.sum()
    for one in bets:
        t = one.terms
        assert float(w @ t.each_net_min) == pytest.approx(t.net_min, abs=1e-6)
        assert float(w @ t.each_if_fit_min) == pytest.approx(t.if_fit_min, abs=1e-6)
        assert float((w @ t.each_later_min)[t.best_day]) == pytest.approx(t.later_min, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_no_look_is_worth_more_than_to_know_all(seed: int) -> None:
    """In each particle the better of going today and not, each with what may follow."""
    site, _, bets, _ = of_seed(seed)
    look = look_at(site.weeds, bets, RULE)
    if look is None or look.without.what == "fit":
        return
    w = site.weeds.weights / site.weeds.weights.sum()

    def left(of: FloatArray) -> float:
        """The best decision under some weights."""
        off = max(0.0, *((of @ b.terms.each_later_min).max() - b.cost_min for b in bets))
        go = [
            of @ b.terms.each_net_min + max(0.0, (of @ b.terms.each_again_min).max() - b.cost_min)
            for b in bets
            if b.can_go
        ]
        return float(max(off, *go)) if go else off

    known = sum(w[i] * left(np.eye(N_MEMBERS)[i]) for i in range(N_MEMBERS))
    without = next(b for b in bets if b.tool == look.without.tool)
    no_more = float(w @ without.terms.each_net_min) if look.without.what == "go" else 0.0
    assert look.gain_min + LOOK_MIN <= known - no_more + 1e-6


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_chances_of_the_answers_are_whole(seed: int) -> None:
    site, _, _, _ = of_seed(seed)
    for question in (*mix_questions(site.weeds), *amount_questions(site.weeds)):
        assert question.chance_frac.shape == (len(question.answers), N_MEMBERS)
        np.testing.assert_allclose(question.chance_frac.sum(axis=0), 1.0, rtol=0, atol=1e-12)
        assert np.all(question.chance_frac >= 0.0)


def test_some_made_plantings_are_asked_for_and_their_words_go_with_their_verdicts() -> None:
    """The words were made for the verdict that the list has, whatever is due besides."""
    asked = 0
    for seed in range(40):
        _, _, _, draft = of_seed(seed)
        if draft.look is not None:
            asked += 1
            assert is_meant_for(draft.look, draft.answer.verdict, draft.answer.because)
            assert draft.look.gain_min >= _LEAST_NET_MIN
    assert 3 <= asked <= 37


# ------------------------------------------------------------------ which are asked


def look_of(gain: float) -> AskedLook:
    return AskedLook("scratch", "across the bed", gain, "go", ())


def bed_of(name: str) -> Planting:
    made = planting()
    return replace(made, bed=replace(made.bed, name=name))


def asked_of(gains: Sequence[float | None], events: Sequence[Event]) -> list[str]:
    asked = [
        (bed_of(f"A{i + 1}"), None if gain is None else look_of(gain))
        for i, gain in enumerate(gains)
    ]
    return list(chosen_looks(asked, events, day().now))


def test_the_two_that_help_most_are_asked() -> None:
    assert asked_of([3.0, 9.0, None, 5.0], []) == ["A2", "A4"]
    assert asked_of([None, 2.0], []) == ["A2"]
    assert asked_of([None, None], []) == []


def test_equal_gains_go_by_the_name_whatever_the_order() -> None:
    asked = [(bed_of(name), look_of(4.0)) for name in ("C3", "A1", "B2")]
    assert list(chosen_looks(asked, [], day().now)) == ["A1", "B2"]


def test_a_bed_looked_at_of_late_is_not_asked_for_until_a_pass() -> None:
    seen = entry("look", NOW_HOUR - 20, "A2", nothing=True)
    went = entry("pass", NOW_HOUR - 10, "A2", tool="tines")
    vain = entry("pass", NOW_HOUR - 10, "A2", tool="tines", worked=False)
    before = entry("pass", NOW_HOUR - 30, "A2", tool="tines")
    gains = [3.0, 9.0, 5.0]
    assert asked_of(gains, [seen]) == ["A3", "A1"]
    assert asked_of(gains, [before, seen]) == ["A3", "A1"]
    assert asked_of(gains, [seen, vain]) == ["A3", "A1"]
    assert asked_of(gains, [seen, went]) == ["A2", "A3"]
    old = entry("look", NOW_HOUR - 50, "A2", nothing=True)
    assert day().now - old.happened_at > timedelta(days=2)
    assert asked_of(gains, [old]) == ["A2", "A3"]
