"""The value of a pass today: every term of a made planting can be reckoned with a pencil.

The pencil cases stand on 60 m2 of one zone, where a second a square metre is a minute of the bed;
one packet of weeds, kill and price made up for the case. After them the tables' own figures over
made plantings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler import service
from scheduler.planning.offers import Choice, Kit, Offer, Site, choose
from scheduler.planning.order import Draft
from scheduler.planning.outlook import Outlook
from scheduler.planning.passes import PassWeather
from scheduler.planning.value import Price, Terms, ValueSettings, price_of_weeds, values_today
from scheduler.planning.verdict import weed_verdict
from scheduler.planning.weeds import BETWEEN, IN_ROW, WeedOutlook
from scheduler.records import Bed, FloatArray, Plan, Planting, Tool
from scheduler.service.settings import hand_rates, value_settings
from tests.planning.made import (
    N_HOURS,
    N_MEMBERS,
    NOW_HOUR,
    STATES,
    SWEEPS,
    TINES,
    WORK,
    Packet,
    day,
    farm,
    followed,
    kit,
    outlook,
    planting,
    seen_weather,
    stage,
    unseen_weather,
)
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

ALWAYS = [(0, N_HOURS)]
FINGERS = Tool("fingers", "finger weeder", 20.0, 0.8, setup_min=8.0)
N_DAYS = 10
TABLED = value_settings()
# what the pencil needs to know; the price is given by each case
MADE = replace(
    TABLED,
    flush_weight=1.0,
    recovery_d=5.0,
    crop_min_m2=20.0,
    made_good_frac=0.5,
    harm_frac=0.02,
    near_wet_m3m3=0.01,
    vain_min=4.0,
    loss_frac_d=0.0,
    discount_d=0.03,
    pass_share=0.35,
    up_d=20.0,
    germinated_taken_frac=0.7,
)
BED_M = 18.0
# ten threads per m2 that are up in five days and have two leaves in the end, at 2 s each
TEN = (Packet(10.0, (*["thread"] * 5, "seed_leaf"), "true_leaf"),)
PRICE_S = (1.0, 1.0, 1.5, 2.0, 3.0, 4.0)  # in the ground, then by stage
KILL = (0.7, 0.5, 0.3, 0.1, 0.0)


@cache
def some_offer() -> Offer:
    """Tines over the empty bed, for the parts of an offer that a case does not name."""
    when = day(farm(tools=(TINES,)))
    site = Site(outlook(ALWAYS), followed(TEN, when), unseen_weather())
    (found,) = choose(site, kit((TINES,)), (), when).offers
    return found


def offer(
    kill: Sequence[float] = KILL,
    *,
    name: str = "tines",
    unfit: Sequence[tuple[int, int]] = (),
    only_days: Sequence[int] | None = None,
    stirs: float = 0.0,
    minutes: float = 3.0,
    loss: float = 0.0,
    treated_m: float = BED_M,
) -> Offer:
    """A pass that kills alike in both zones on all days; `unfit` are particles and days."""
    fits = np.ones((N_MEMBERS, N_DAYS), bool)
    if only_days is not None:
        fits[:, [d for d in range(N_DAYS) if d not in only_days]] = False
    for particle, d in unfit:
        fits[particle, d] = False
    made = some_offer()
    kills = np.broadcast_to(np.array(kill), (N_DAYS, N_MEMBERS, 2, 5)).copy()
    return replace(
        made,
        tool=replace(made.tool, name=name),
        kill_frac=kills,
        is_fit=fits,
        stirs_frac=np.full(2, stirs),
        minutes=minutes,
        gate=replace(made.gate, loss_frac=loss),
        fit=replace(made.fit, treated_m=treated_m),
    )


def later(days: int) -> float:
    """What a day's saving counts, three per cent less for each day."""
    return 0.97**days


def price(
    seconds: Sequence[float] = PRICE_S, relief: float = 0.0, in_window_d: float = 0.0
) -> Price:
    """Sixty square metres between the rows and none in them."""
    return Price(np.tile(np.array(seconds), (2, 1)), relief, in_window_d, np.array([0.0, 60.0]))


def terms(
    offers: Sequence[Offer],
    stand: WeedOutlook | None = None,
    *,
    at: Price | None = None,
    table: ValueSettings = MADE,
    later: Sequence[Offer] = (),
    machine_price: float = 1.0,
    weather: PassWeather | None = None,
    crop: str | None = None,
) -> Terms:
    """Of the first of the offers."""
    weeds = stand or followed(TEN, day())
    of = outlook(ALWAYS, grown=planting(crop, None if crop is None else NOW_HOUR - 240.0))
    site = Site(of, weeds, weather or unseen_weather())
    choice = Choice(tuple(offers), tuple(later), (), None, None)
    found = values_today(site, choice, at or price(), table, machine_price)
    assert set(found) == {o.tool.name for o in offers}
    return found[offers[0].tool.name]


# ------------------------------------------------------------------ one pass, one packet


def test_today_alone_against_never() -> None:
    """A(0) = 10 x 2 s = 20 min; B(0) = .3 of it = 6; a machine minute at its price of 2."""
    found = terms([offer(only_days=(0,))], machine_price=2.0)
    assert found.worth_min == pytest.approx(14.0, abs=1e-6)
    assert found.hand_min == pytest.approx(14.0, abs=1e-6)
    assert found.saved.low == found.saved.high == pytest.approx(14.0, abs=1e-6)
    assert (found.flush_min, found.relief_min) == (0.0, 0.0)
    assert found.yield_min == pytest.approx(0.0, abs=1e-6)
    assert found.price_min == pytest.approx(6.0, abs=1e-12)
    assert found.net_min == pytest.approx(8.0, abs=1e-6)
    # nothing can follow: leaving it costs what the pass saves
    assert (found.best_day, found.later_min) == (0, 0.0)
    assert found.cost_of_waiting.mid == pytest.approx(14.0, abs=1e-6)
    assert found.last_good_day == 0


def test_a_later_day_kills_by_the_stage_of_that_day() -> None:
    """Up on day 5: A(1..4) = 20 x .3 = 6, A(5..9) = 20 x .5 = 10; the soonest of equals.

    What is told of it counts less by the day, the last good day is that of the whole saving.
    """
    found = terms([offer()])
    assert (found.best_day, found.last_good_day) == (1, 4)
    assert found.later_min == pytest.approx(14.0 * 0.97, abs=1e-6)
    late = terms([offer(only_days=(0, 7))])
    assert (late.best_day, late.last_good_day) == (7, 0)
    assert late.later_min == pytest.approx(10.0 * later(7), abs=1e-6)


def test_a_second_pass_follows_from_the_fourth_day_on() -> None:
    """Today leaves 6, B(4) = 20 x .3 x .3 = 1.8; the best alone, tomorrow, leaves 6 as well.

    4.2 saved in four days count .97^4, 14 saved tomorrow .97: (20 - 13.58) - (6 - 3.718) = 4.138.
    """
    found = terms([offer()])
    waiting = 14.0 - 14.0 * 0.97 + 4.2 * later(4)
    assert waiting == pytest.approx(4.138, abs=5e-4)
    assert found.waiting_min == pytest.approx(np.full(N_MEMBERS, waiting), abs=1e-6)
    assert found.worth_min == pytest.approx(14.0, abs=1e-6)  # as before: only today counts
    too_soon = terms([offer(only_days=(0, 1, 2, 3))])
    # the same pass a day later: .03 of 14
    assert too_soon.waiting_min == pytest.approx(np.full(N_MEMBERS, 0.42), abs=1e-6)
    # B(5) = 20 x .3 x .5 = 3
    fifth = terms([offer(only_days=(0, 1, 5))])
    assert fifth.waiting_min == pytest.approx(np.full(N_MEMBERS, 0.42 + 3.0 * later(5)), abs=1e-6)


def test_an_early_pass_excludes_no_later_one() -> None:
    """The waiting trap: threads go from .3 today to .7 in two days, and a day is lost in a week.

    Ten in the ground until day 2, ten threads to day 4. Today takes .7 of the second ten: 14 min of
    40. Day 2 alone takes .7 of all, 28 min: the best single day is later. Today and again on day 6
    (.5 of what is up): 40 - 14 = 26, of which 20 x .5 + 6 x .5 go: 13 left, against 12.
    On day 4 threads are 20 x .7 + 6 x .7 = 18.2: 7.8 left, against 12 of day 2 alone. By the day:
    28 x .97^2 = 26.3 and 18.2 x .97^4 = 16.1 are saved by what follows.
    """
    two = (
        Packet(
            10.0, ("to_come", "to_come", "thread", "thread", "thread", "seed_leaf"), "true_leaf"
        ),
        *TEN,
    )
    found = terms([offer(only_days=(0, 2, 4, 6))], followed(two, day()))
    assert found.best_day == 2
    assert found.later_min == pytest.approx(28.0 * later(2), abs=1e-6)
    assert found.worth_min == pytest.approx(14.0, abs=1e-6)
    assert found.net_min > 0.0  # it is done today all the same
    left, again = 40.0 - 28.0 * later(2), 26.0 - 18.2 * later(4)
    assert found.waiting_min == pytest.approx(np.full(N_MEMBERS, left - again), abs=1e-6)


def test_what_is_in_the_ground_is_killed_by_no_pass_today() -> None:
    seeds = (Packet(10.0, ("to_come", "to_come", "thread"), "true_leaf"),)
    found = terms([offer()], followed(seeds, day()))
    assert found.worth_min == pytest.approx(0.0, abs=1e-9)
    assert (found.best_day, found.later_min) == (
        2,
        pytest.approx(14.0 * later(2), abs=1e-6),
    )
    assert found.net_min < 0.0


def test_a_later_gain_counts_less_by_the_day() -> None:
    """Seed leaves from day 3 on die .75, threads .7: 14 x .97 = 13.6 < 15 x .97^3 = 13.7."""
    packet = (Packet(10.0, ("thread", "thread", "thread", "seed_leaf"), "true_leaf"),)
    kill = offer((0.7, 0.75, 0.0, 0.0, 0.0))
    stand = followed(packet, day())
    assert terms([kill], stand).best_day == 3
    assert terms([kill], stand, table=replace(MADE, discount_d=0.1)).best_day == 1
    assert terms([kill], stand, table=replace(MADE, discount_d=0.0)).best_day == 3


# ------------------------------------------------------------------ particles


def test_on_unfit_soil_no_pass_is_made_and_the_visit_is_in_vain() -> None:
    """Two of eight: 14 x 6/8 min, a quarter of 4 min in vain, three quarters of the machine."""
    found = terms([offer(unfit=[(0, 0), (1, 0)])])
    assert found.worth_min == pytest.approx(10.5, abs=1e-6)
    assert found.hand_min == pytest.approx(10.5, abs=1e-6)
    assert found.vain_min == pytest.approx(1.0, abs=1e-12)
    assert found.price_min == pytest.approx(2.25, abs=1e-12)
    assert (found.saved.low, found.saved.high) == (0.0, pytest.approx(14.0, abs=1e-6))
    # where no pass can be made today waiting costs nothing
    assert found.waiting_min[:2] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert found.waiting_min[2:] == pytest.approx(np.full(6, 0.42 + 4.2 * later(4)), abs=1e-6)
    # what it costs where it is made, and that is in three quarters
    assert (found.fit_share, found.price_if_fit_min) == pytest.approx((0.75, 3.0), abs=1e-12)
    assert found.if_fit_min == pytest.approx(14.0, abs=1e-6)


def test_the_follow_up_is_the_best_in_the_mean_and_the_same_for_all() -> None:
    """Day 1 is fit in five particles, day 2 in the other three: 14 x 5/8, not 14.

    With nothing to follow today's pass, waiting costs 14, or a day's .03 of it.
    """
    one, other = [(p, 1) for p in range(5, 8)], [(p, 2) for p in range(5)]
    found = terms([offer(unfit=[*one, *other], only_days=(0, 1, 2))])
    assert found.best_day == 1
    assert found.later_min == pytest.approx(14.0 * 0.97 * 5 / 8, abs=1e-6)
    assert found.waiting_min == pytest.approx([0.42] * 5 + [14.0] * 3, abs=1e-6)


def test_any_tool_may_follow_the_better_in_the_mean() -> None:
    """Tines today and never again; a tool that the crop lets in later takes .9 on day 5.

    18 of all 20 min, 5.4 of the 6 that tines leave.
    """
    late = offer((0.9, 0.9, 0.0, 0.0, 0.0), name="late", only_days=(5,))
    found = terms([offer(only_days=(0,))], later=[late])
    assert found.later_min == pytest.approx(18.0 * later(5), abs=1e-6)
    left, again = 20.0 - 18.0 * later(5), 6.0 - 5.4 * later(5)
    assert found.waiting_min == pytest.approx(np.full(N_MEMBERS, left - again), abs=1e-6)
    poor = offer((0.9, 0.4, 0.0, 0.0, 0.0), name="poor", only_days=(5,))
    both = terms([offer(only_days=(0,))], later=[poor, late])
    assert both.later_min == pytest.approx(18.0 * later(5), abs=1e-6)


def test_what_lies_untreated_at_the_ends_stays() -> None:
    """Of 18 m 13.5 are treated: 14 x .75 of it, and the same share of stand, not of soil.

    A second pass treats all but a sixth: three quarters have both, 1/12 the second alone.
    """
    short = offer(only_days=(0,), treated_m=13.5, loss=0.02)
    near = seen_weather(np.full(N_HOURS, 9.0), -0.005)
    found = terms([short], crop="carrot", weather=near)
    assert found.worth_min == pytest.approx(10.5, abs=1e-6)
    assert found.hand_min == pytest.approx(10.5, abs=1e-6)
    assert found.stand_min == pytest.approx(9.0, abs=1e-9)
    assert found.soil_min == pytest.approx(24.0, abs=1e-9)
    last = offer(name="last", only_days=(5,), treated_m=15.0)
    both = terms([short], later=[last])
    # day 5 takes .5: alone 20 x .5 x 5/6; of what today leaves 6 x .5 and, where it did not go, 10
    left = 20.0 - later(5) * 10.0 * 5 / 6
    again = 20.0 - 10.5 - later(5) * (3.0 * 0.75 + 10.0 / 12)
    assert both.waiting_min == pytest.approx(np.full(N_MEMBERS, left - again), abs=1e-6)


def test_ranges_are_of_the_particles() -> None:
    """One half has ten weeds, the other thirty."""
    stand = followed(
        TEN, day(), of_member={m: (replace(TEN[0], n_m2=30.0),) for m in range(N_MEMBERS // 2)}
    )
    found = terms([offer(only_days=(0,))], stand)
    assert found.worth_min == pytest.approx(28.0, abs=1e-5)
    assert (found.saved.low, found.saved.high) == pytest.approx((14.0, 42.0), abs=1e-5)


# ------------------------------------------------------------------ what a pass opens


def test_the_flush_a_pass_opens_counts_and_the_pool_it_empties_relieves() -> None:
    """A full stirring opens 8 per m2, seed leaves in the end at 1.5 s; this one half of it.

    Flush 8 x .5 x 1.5 = 6 min. Ten days at rest: 1 - exp(-2) = .8647 of 20 seeds, half of them, .7
    of which would have come anyway at 1 s: 20 x .8647 x .5 x .7 = 6.05 min of relief.
    """
    opened = (Packet(8.0, ("to_come", "thread", "seed_leaf")),)
    stand = followed(TEN, day(), opened=opened, ready_m2=20.0, rested_d=(10.0, 10.0))
    found = terms([offer(only_days=(0,), stirs=0.5)], stand, at=price(relief=0.7))
    relief = 20.0 * (1.0 - np.exp(-2.0)) * 0.5 * 0.7
    assert found.flush_min == pytest.approx(6.0, abs=1e-5)
    assert found.relief_min == pytest.approx(relief, abs=1e-6)
    assert found.worth_min == pytest.approx(14.0 - 6.0 + relief, abs=1e-5)
    double = terms([offer(only_days=(0,), stirs=0.5)], stand, table=replace(MADE, flush_weight=2.0))
    assert double.flush_min == pytest.approx(12.0, abs=1e-5)
    assert double.relief_min == 0.0
    # a small weight makes both small and turns neither round
    table = replace(MADE, flush_weight=0.3)
    small = terms([offer(only_days=(0,), stirs=0.5)], stand, at=price(relief=0.7), table=table)
    assert small.flush_min == pytest.approx(1.8, abs=1e-5)
    assert small.relief_min == pytest.approx(0.3 * relief, abs=1e-6)


def test_a_second_pass_takes_part_of_the_flush_that_the_first_opens() -> None:
    """Opened today, threads on day 4: .3 of their 6 min is left.

    B(4): .3 x .3 x 20 + .3 x 6 = 3.6, and the second pass opens, four days after the first,
    20 x (1 - exp(-4/5)) x .5 seeds at 1 s, net of .35, out of a pool that the first has emptied by
    .35 x .5 x .8647. A(4): 6 and its own, after 14 days of rest, out of the whole pool.
    """
    opened = (Packet(8.0, ("to_come", "to_come", "thread", "thread", "thread"), "seed_leaf"),)
    stand = followed(TEN, day(), opened=opened, ready_m2=20.0, rested_d=(10.0, 10.0))
    found = terms([offer(only_days=(0, 4), stirs=0.5)], stand, at=price(relief=0.35))

    def opens(days: float) -> float:
        return 20.0 * (1.0 - float(np.exp(-days / 5.0))) * 0.5

    only_later = 6.0 + 0.65 * opens(14.0)
    only = 12.0 - 0.35 * opens(10.0)
    pool = 1.0 - 0.35 * 0.5 * (1.0 - np.exp(-2.0))
    both = 3.6 - 0.35 * opens(10.0) + 0.65 * opens(4.0) * pool
    assert found.later_min == pytest.approx((20.0 - only_later) * later(4), abs=1e-5)
    waiting = 20.0 - (20.0 - only_later) * later(4) - only + (only - both) * later(4)
    assert found.waiting_min == pytest.approx(np.full(N_MEMBERS, waiting), abs=1e-5)


@pytest.mark.parametrize("weight", [0.3, 1.0])
def test_before_sowing_a_later_flush_counts_less_and_may_relieve(weight: float) -> None:
    """Alone on day 5 out of 20 seeds, half stirred, rested 15 days: 9.502 at 1 s.

    Sown in 15 days there are ten days left, half of what coming up takes: c = 1 - .7 x .5 = .65,
    less .7 opened later anyway: -.05 of it is relief. Sown in 7 days c = 1 - .7 x .1 = .93: .23 of
    it costs. In a crop .65. All by the weight, never with another sign.
    """
    stand = followed(TEN, day(), ready_m2=20.0, rested_d=(10.0, 10.0))
    table = replace(MADE, flush_weight=weight)
    opened = 20.0 * (1.0 - float(np.exp(-3.0))) * 0.5
    for sown_in_d, relief, net in ((15.0, 0.7, -0.05), (7.0, 0.7, 0.23), (None, 0.35, 0.65)):
        at = replace(price(relief=relief), sown_in_d=sown_in_d)
        found = terms([offer(only_days=(0, 5), stirs=0.5)], stand, at=at, table=table)
        saved = 10.0 - weight * net * opened
        assert found.later_min == pytest.approx(saved * later(5), abs=1e-5)


def test_ground_stirred_this_morning_opens_hardly_any_more() -> None:
    stand = followed(TEN, day(), ready_m2=20.0, rested_d=(0.0, 0.0))
    found = terms([offer(stirs=1.0)], stand, at=price(relief=0.7))
    assert found.relief_min == 0.0


# ------------------------------------------------------------------ what a pass costs


def test_the_stand_that_a_pass_costs_is_a_share_of_the_bed() -> None:
    """.02 of 60 m2 x 20 min, half made good by the neighbours; nothing on an empty bed.

    Half of it where half of the particles let it be made.
    """
    found = terms([offer(loss=0.02)], crop="carrot")
    assert found.stand_min == pytest.approx(12.0, abs=1e-9)
    assert found.net_min == pytest.approx(14.0 - 12.0 - 3.0, abs=1e-6)
    half = terms([offer(loss=0.02, unfit=[(p, 0) for p in range(4)])], crop="carrot")
    assert half.stand_min == pytest.approx(6.0, abs=1e-9)
    assert half.stand_if_fit_min == pytest.approx(12.0, abs=1e-9)
    by_tool = replace(price(), loss_frac={"tines": 0.05})
    assert terms([offer(loss=0.02)], at=by_tool, crop="carrot").stand_min == pytest.approx(30.0)
    assert terms([offer(loss=0.02)]).stand_min == 0.0


def test_soil_only_just_dry_enough_is_harmed() -> None:
    """.02 x 20 min x 60 m2 = 24 min, where it is within .01 of the threshold."""
    dose = np.full(N_HOURS, 9.0)
    near = terms([offer()], weather=seen_weather(dose, -0.005))
    assert near.soil_min == pytest.approx(24.0, abs=1e-9)
    assert terms([offer()], weather=seen_weather(dose, -0.02)).soil_min == 0.0
    # that of particles which are not fit is not worked
    half = terms([offer(unfit=[(p, 0) for p in range(4)])], weather=seen_weather(dose, -0.005))
    assert half.soil_min == pytest.approx(12.0, abs=1e-9)
    assert half.soil_if_fit_min == pytest.approx(24.0, abs=1e-9)


def test_grown_weeds_that_a_pass_takes_keep_yield() -> None:
    """Fifty established per m2 (half the loss), seven days in the window at .01 a day.

    50 / (50 + 50) x .01 x 7 x 20 min x 60 m2 = 42 min; of half of them 25 / 75: 28. Hand 4 s each.
    """
    old = (Packet(50.0, ("established",)),)
    table = replace(MADE, loss_frac_d=0.01, half_m2=50.0)
    found = terms(
        [offer((0.0, 0.0, 0.0, 0.0, 0.5), only_days=(0,))],
        followed(old, day()),
        at=price(in_window_d=7.0),
        table=table,
    )
    assert found.hand_min == pytest.approx(100.0, abs=1e-4)
    assert found.yield_min == pytest.approx(14.0, abs=1e-4)
    assert found.worth_min == pytest.approx(114.0, abs=1e-4)


def test_the_seed_that_weeds_taken_would_shed_is_a_term_of_its_own() -> None:
    """Ten young per m2, .1 taken, established in the end: 1 x 4 s by hand and 1 x 2 s of seed."""
    stand = followed((Packet(10.0, ("young",), "established"),), day())
    seconds = (*PRICE_S[:5], 6.0)
    found = terms([offer(only_days=(0,))], stand, at=replace(price(seconds), seed_s=2.0))
    assert found.hand_min == pytest.approx(4.0, abs=1e-5)
    assert found.seed_min == pytest.approx(2.0, abs=1e-5)
    assert found.worth_min == pytest.approx(6.0, abs=1e-5)


def test_no_offer_has_no_value_and_no_future_is_an_error() -> None:
    site = Site(outlook(ALWAYS), followed(TEN, day()), unseen_weather())
    none = Choice((), (), (), None, None)
    assert values_today(site, none, price(), MADE, 1.0) == {}
    blind = replace(site, weeds=replace(site.weeds, future=None))
    with pytest.raises(ValueError, match="no future"):
        values_today(blind, replace(none, offers=(offer(),)), price(), MADE, 1.0)


# ------------------------------------------------------------------ the price of weeds


def set_crop(crop: str, age_d: float = 12.0) -> Planting:
    return replace(planting(crop, NOW_HOUR - 24.0 * age_d), is_sown=False)


def standing(crop: str, age_d: float = 12.0, leaves: float = 5.0) -> Outlook:
    """Set out and rooted."""
    grows = stage(NOW_HOUR - 24.0 * age_d, leaves=leaves, rooted_cd=300.0)
    return outlook(ALWAYS, grown=set_crop(crop, age_d), grows=grows)


def sown(last_blind: float = NOW_HOUR + 14.0, up: float = NOW_HOUR + 60.0) -> Outlook:
    """Carrots below ground, deep enough for tines at their usual depth."""
    grown = replace(planting("carrot", NOW_HOUR - 150.0), sowing_depth_mm=30.0)
    return outlook(ALWAYS, grown=grown, emergence=up, last_blind=last_blind, grows=stage(up))


def priced(
    of: Outlook,
    tools: Sequence[Tool] = (TINES, FINGERS, SWEEPS),
    plans: tuple[Plan, ...] = (),
    is_prepared: bool = True,
) -> Price:
    when = day(replace(farm(tools=tools), plans=plans))
    share = 0.4 if of.planting.crop is not None else 0.0
    stand = followed(TEN, when, row_share=share)
    site = Site(of, stand, unseen_weather(), is_prepared=is_prepared)
    made = kit(tools)
    return price_of_weeds(site, choose(site, made, (), when), made, when, TABLED, when.sky.n_hours)


def test_a_row_that_no_tool_will_reach_costs_its_whole_seconds() -> None:
    """Carrots: 42 days from coming up, 52.5 - 9.8 days left after the end: 20 days are enough.

    In the row nothing to come: 1.7 s a seed, a thread, a seed leaf; 2, 2.7 and 4 s later. Between
    the rows sweeps will come: .5 of 34.7 / 7 weeks, no more than 2.5 passes.
    """
    found = priced(sown())
    assert found.weed_s[IN_ROW] == pytest.approx([1.7, 1.7, 1.7, 2.0, 2.7, 4.0], abs=1e-12)
    left_d = (NOW_HOUR + 60.0 + 24.0 * 42.0 - N_HOURS) / 24.0
    n_passes = min(left_d / 7.0 * 0.5, 2.5)
    eased = 0.5 * (1.0 - 0.8 * 0.7)
    assert found.weed_s[BETWEEN] == pytest.approx(
        [0.5 * 0.25**n_passes, eased, eased, eased, 0.5 * (1.0 - 0.7 * 0.7), 1.0], abs=1e-12
    )
    assert found.area_m2 == pytest.approx([0.4 * 13.5, 0.6 * 13.5], abs=1e-12)
    assert found.relief_frac == TABLED.relief_crop_frac


def test_where_fingers_will_follow_the_row_is_cheaper() -> None:
    """Lettuce that fingers are in: 1.7 x (1 - .45 x .7) s a thread, 2 x (1 - .25 x .7) a leaf."""
    found, none = priced(standing("lettuce")), priced(standing("lettuce"), (SWEEPS,))
    assert found.weed_s[IN_ROW, 1:4] == pytest.approx([1.1645, 1.1645, 1.65], abs=1e-12)
    assert none.weed_s[IN_ROW, 1:4] == pytest.approx([1.7, 1.7, 2.0], abs=1e-12)
    assert found.weed_s[IN_ROW, 0] < none.weed_s[IN_ROW, 0]
    assert found.weed_s[BETWEEN] == pytest.approx(none.weed_s[BETWEEN], abs=1e-12)


def test_once_the_window_is_over_weeds_are_cheap() -> None:
    """Lettuce is to be clean for five weeks; later .3 of the price is left, and 2 s of seed."""
    young, old = priced(standing("lettuce", 5.0)), priced(standing("lettuce", 60.0))
    assert old.in_window_d == 0.0
    assert old.weed_s[IN_ROW] == pytest.approx(
        0.3 * np.array([1.7, 1.1645, 1.1645, 1.65, 2.7, 4.0]) + np.array([0.0] * 5 + [2.0]),
        abs=1e-12,
    )
    assert (young.seed_s, old.seed_s) == (0.0, 2.0)
    assert young.in_window_d > 0.0
    assert np.all(old.weed_s[:, 1:5] < young.weed_s[:, 1:5])


def test_yield_counts_in_the_weeks_of_the_table_alone() -> None:
    """Tomatoes from 24 to 36 days after setting: 2.8 days of them lie in the 9.8 in sight.

    Set 17 days ago, seven days go before; set 30 days ago six are left; before and after none.
    """
    sight_d = (N_HOURS - NOW_HOUR) / 24.0
    cases = ((17.0, sight_d - 7.0), (30.0, 6.0), (5.0, 0.0), (40.0, 0.0))
    for age_d, days in cases:
        assert priced(standing("tomato", age_d)).in_window_d == pytest.approx(days, abs=1e-9)


def test_weeds_on_a_bed_to_be_prepared_shed_their_seed_first() -> None:
    """A tenth of the price is left by the preparation, and the 2 s of seed whole."""
    ready, raw = priced(outlook(ALWAYS)), priced(outlook(ALWAYS), is_prepared=False)
    assert (ready.seed_s, raw.seed_s) == (0.0, 2.0)
    assert raw.weed_s[:, :5] == pytest.approx(0.1 * ready.weed_s[:, :5], abs=1e-12)
    assert raw.weed_s[:, 5] == pytest.approx(0.1 * ready.weed_s[:, 5] + 2.0, abs=1e-12)


def test_fingers_cost_a_sown_row_twice_their_loss_and_near_the_stage_no_more() -> None:
    """.03 between plants set out; .06 in a sown row, also at the very stage, where .03 doubles."""

    def lost(leaves: float, tools: Sequence[Tool] = (FINGERS,)) -> Mapping[str, float]:
        at = replace(planting("carrot", NOW_HOUR - 900.0))
        return priced(outlook(ALWAYS, grown=at, grows=stage(0.0, leaves=leaves)), tools).loss_frac

    need = kit().crops["carrot"].finger_leaves
    assert need is not None
    assert lost(need + 3.0)["fingers"] == pytest.approx(0.06, abs=1e-12)
    assert lost(need)["fingers"] == pytest.approx(0.06, abs=1e-12)
    assert lost(need + 3.0, (SWEEPS,)) == {"sweeps": 0.0}
    set_out = priced(standing("lettuce"), (FINGERS,)).loss_frac
    assert set_out["fingers"] < 0.06
    assert priced(sown(), (TINES,)).loss_frac["tines"] < 0.06  # blind: as its gate says


def test_off_season_fewer_seeds_would_have_come_later_anyway() -> None:
    """In May all guilds are ready: .35. In December cool .4, spring .1, warm none of the pool."""
    assert priced(sown()).season_frac == pytest.approx(1.0, abs=1e-12)
    weeds = kit().weeds
    cool, spring, _ = weeds.mix * weeds.season[:, 11]
    when = day(farm(tools=(TINES,)))
    winter = replace(when, now=when.now.replace(month=12))
    site = Site(sown(), followed(TEN, when, row_share=0.4), unseen_weather())
    made = kit((TINES,))
    choice = choose(site, made, (), when)
    found = price_of_weeds(site, choice, made, winter, TABLED, when.sky.n_hours)
    season = (0.4 * cool + 0.1 * spring) / (cool + spring)
    assert found.season_frac == pytest.approx(season, abs=1e-12)
    assert found.relief_frac == pytest.approx(0.35 * season, abs=1e-12)


def test_a_weed_on_an_empty_bed_costs_what_sowing_leaves_of_it() -> None:
    """.4 of the bed will be rows; of threads sowing leaves .2, of two leaves .4.

    Sweeps and tines will come again: (.4 x 1.7 x (1 - .45 x .7) + .6 x .5 x (1 - .8 x .7)) x .2.
    """
    found = priced(outlook(ALWAYS), (TINES, SWEEPS))
    thread = (0.4 * 1.7 * 0.685 + 0.6 * 0.5 * 0.44) * 0.2
    leaf = (0.4 * 2.0 * 0.825 + 0.6 * 0.5 * 0.44) * 0.4
    assert found.weed_s[:, 1] == pytest.approx([thread, thread], abs=1e-12)
    assert found.weed_s[:, 3] == pytest.approx([leaf, leaf], abs=1e-12)
    assert found.in_window_d == 0.0
    assert found.relief_frac == TABLED.relief_empty_frac


def test_a_plan_further_off_leaves_time_for_more_passes_over_the_seed() -> None:
    """Without a plan 14 days, 4.2 after the end: .3 of a pass; sown in 30 days 20.2, 1.4 of one.

    Sown in six days none is left.
    """
    near = priced(outlook(ALWAYS), (TINES,), (Plan("A1", "carrot", date(2013, 5, 17)),))
    assert near.weed_s[:, 0] == pytest.approx([0.4 * 1.7 + 0.6 * 0.5] * 2, abs=1e-12)
    assert near.sown_in_d == pytest.approx(6.0, abs=1e-12)
    soon = priced(outlook(ALWAYS), (TINES,))
    far = priced(outlook(ALWAYS), (TINES,), (Plan("A1", "carrot", date(2013, 6, 10)),))
    n_passes = [0.5 * (days - (N_HOURS - NOW_HOUR) / 24.0) / 7.0 for days in (14.0, 30.0)]
    for found, n in zip((soon, far), n_passes, strict=True):
        seed = 0.4 * 1.7 * 0.6**n + 0.6 * 0.5 * 0.25**n
        assert found.weed_s[:, 0] == pytest.approx([seed, seed], abs=1e-12)
    assert (soon.sown_in_d, far.sown_in_d) == (14.0, 30.0)
    assert far.weed_s[:, 1:] == pytest.approx(soon.weed_s[:, 1:], abs=1e-12)


# ------------------------------------------------------------------ three plantings in order


def valued(
    of: Outlook,
    packets: Sequence[Packet],
    tools: Sequence[Tool],
    kill: dict[str, Sequence[float]] | None = None,
) -> tuple[Kit, dict[str, Terms], dict[str, float]]:
    """Values by the tables, the kill of a tool by day and alike in both zones where it is given."""
    when = day(farm(tools=tools))
    made = kit(tools)
    site = Site(of, followed(packets, when, row_share=0.4), unseen_weather())
    choice = choose(site, made, (), when)
    offers = tuple(_with_kill(o, (kill or {}).get(o.tool.name)) for o in choice.offers)
    choice = replace(choice, offers=offers)
    cost = price_of_weeds(site, choice, made, when, TABLED, when.sky.n_hours)
    values = values_today(site, choice, cost, TABLED, 1.0)
    return made, values, {o.tool.name: o.minutes for o in offers}


def _with_kill(of: Offer, by_day: Sequence[float] | None) -> Offer:
    if by_day is None:
        return of
    kills: FloatArray = np.zeros_like(of.kill_frac)
    for d in range(N_DAYS):
        kills[d, :, IN_ROW] = by_day[min(d, len(by_day) - 1)]
    return replace(of, kill_frac=kills)


def test_carrot_then_lettuce_then_kale() -> None:
    """The worked case of three beds, in the row: the biggest weeds come last.

    Carrot sown, 300 threads per m2, tines .7 today and never after; lettuce 80 seed leaves, fingers
    .55 today, .40 from tomorrow; kale 60 of three to five leaves, fingers .2 and .05 once they have
    six. Rows of 100 mm, tables' prices; the order is that of the evidence, its minutes are not.
    """
    row = {"zone": IN_ROW}
    _, carrot, carrot_min = valued(
        sown(), (Packet(300.0, ("thread", "thread", "seed_leaf"), "true_leaf", **row),), (TINES,)
    )
    _, lettuce, lettuce_min = valued(
        standing("lettuce"),
        (Packet(80.0, ("seed_leaf", "true_leaf"), "young", **row),),
        (FINGERS,),
        {"fingers": (0.55, 0.40)},
    )
    _, kale, kale_min = valued(
        standing("kale"),
        (Packet(60.0, ("young", "established"), "established", **row),),
        (FINGERS,),
        {"fingers": (0.2, 0.05)},
    )
    three = (
        (carrot["tines"], carrot_min["tines"]),
        (lettuce["fingers"], lettuce_min["fingers"]),
        (kale["fingers"], kale_min["fingers"]),
    )
    worth = [t.worth_min / minutes for t, minutes in three]
    waiting = [float(t.waiting_min.mean()) / minutes for t, minutes in three]
    assert worth == sorted(worth, reverse=True)
    assert waiting == sorted(waiting, reverse=True)
    assert carrot["tines"].net_min > 0.0
    # no pass can follow in the carrots: leaving them costs all that the pass saves
    assert carrot["tines"].last_good_day == 0
    assert waiting[0] == pytest.approx(worth[0], rel=0.02)


def test_the_same_kill_is_worth_more_where_no_tool_will_follow() -> None:
    """.7 of the row of sown carrots, and of rooted lettuce where fingers come next week as well."""
    packets = (Packet(100.0, ("thread", "thread", "seed_leaf"), "true_leaf", IN_ROW),)
    _, blind, _ = valued(sown(), packets, (TINES,), {"tines": (0.7,)})
    _, eased, _ = valued(standing("lettuce"), packets, (FINGERS,), {"fingers": (0.7,)})
    assert blind["tines"].hand_min > 1.15 * eased["fingers"].hand_min > 0.0


# ------------------------------------------------------------------ a slow twin of the value

seeds = st.integers(0, 10**6).map(np.random.default_rng)


def random_packet(rng: np.random.Generator) -> Packet:
    """Weeds that grow at a random pace, in one of the zones."""
    states = np.sort(rng.integers(0, 6, N_DAYS + 1))
    if rng.random() < 0.5:
        states = np.minimum(states, rng.integers(1, 6))
    names = [STATES[i] for i in states]
    return Packet(float(rng.uniform(1.0, 60.0)), names[:-1], names[-1], int(rng.integers(0, 2)))


def random_offer(rng: np.random.Generator, name: str) -> Offer:
    """Kill and fitness by day and particle."""
    made = offer(name=name)
    return replace(
        made,
        kill_frac=rng.uniform(0.0, 1.0, made.kill_frac.shape),
        is_fit=rng.random(made.is_fit.shape) < rng.choice((0.3, 0.9)),
        stirs_frac=rng.uniform(0.0, 1.0, 2) * (rng.random() < 0.8),
        fit=replace(made.fit, treated_m=float(rng.choice((BED_M, rng.uniform(9.0, BED_M))))),
    )


class SlowTwin:
    """Costs of one planting in plain loops over packets, particle by particle."""

    def __init__(
        self,
        packets: Sequence[Sequence[Packet]],
        opened: Sequence[Packet],
        ready_m2: float,
        rested_d: Sequence[float],
        at: Price,
        table: ValueSettings,
    ) -> None:
        self.packets, self.opened, self.ready_m2 = packets, opened, ready_m2
        self.rested_d, self.at, self.table = rested_d, at, table

    def cost(self, p: int, passes: Sequence[tuple[int, Offer]]) -> float:
        """Minutes of particle `p` if these passes are made, in order of their days.

        Strip by strip across the bed: each tool treats it from one end as far as it gets.
        """
        ends = sorted({0.0, 1.0, *(made.fit.treated_m / BED_M for _, made in passes)})
        whole = 0.0
        for begin, end in pairwise(ends):
            there = [(d, made) for d, made in passes if made.fit.treated_m / BED_M >= end]
            whole += (end - begin) * self.strip(p, there)
        return whole

    def strip(self, p: int, passes: Sequence[tuple[int, Offer]]) -> float:
        """Minutes if the whole bed were treated by these passes."""
        hand, pull, area = 0.0, 0.0, float(self.at.area_m2.sum())
        first = passes[0][1] if passes and passes[0][0] == 0 else None
        new = [] if first is None else [(k, True) for k in self.opened]
        for packet, is_new in [*((k, False) for k in self.packets[p]), *new]:
            for zone in (0, 1) if packet.zone is None else (packet.zone,):
                alive = packet.n_m2
                if is_new and first is not None:
                    alive *= self.table.flush_weight * first.stirs_frac[zone]
                for d, made in passes:
                    state = packet.state(d)
                    if state > 0 and not (is_new and d == 0):
                        alive *= 1.0 - made.kill_frac[d, p, zone, state - 1]
                end = STATES.index(packet.end or packet.states[-1])
                hand += alive * self.at.weed_s[zone, end] * self.at.area_m2[zone] / 60.0
                pull += alive * self.table.weight_of_stage[end] * self.at.area_m2[zone] / area
        for zone in (0, 1):
            since, ready, before = self.rested_d[zone], self.ready_m2, 0
            for d, made in passes:
                since += d - before
                before = d
                rested = made.stirs_frac[zone] * (1.0 - np.exp(-since / self.table.recovery_d))
                each = self.table.flush_weight * (self.counted(d) - self.at.relief_frac)
                seconds = each * ready * rested * self.at.weed_s[zone, 0]
                hand += seconds * self.at.area_m2[zone] / 60.0
                ready *= 1.0 - self.table.pass_share * self.at.season_frac * rested
                if made.stirs_frac[zone] > 0.0:
                    since = 0.0
        lost = self.table.loss_frac_d * self.at.in_window_d * self.table.crop_min_m2 * area
        return hand + lost * pull / (pull + self.table.half_m2)

    def counted(self, d: int) -> float:
        """Share of the flush of a pass that is left to weed; that of today is counted as weeds."""
        if d == 0:
            return 0.0
        if self.at.sown_in_d is None:
            return 1.0
        days = min(max(self.at.sown_in_d - d, 0.0), self.table.up_d)
        return 1.0 - self.table.germinated_taken_frac * days / self.table.up_d

    def best(
        self, before: Sequence[tuple[int, Offer]], followers: Sequence[Offer], from_day: int
    ) -> FloatArray:
        """Costs by particle with the follow-up best in the mean, a later gain counting less."""
        alone = np.array([self.cost(p, before) for p in range(N_MEMBERS)])
        best, most = alone, 0.0
        for d in range(from_day, N_DAYS):
            todays = [
                np.array(
                    [
                        self.cost(p, [*before, (d, f)]) if f.is_fit[p, d] else alone[p]
                        for p in range(N_MEMBERS)
                    ]
                )
                for f in followers
            ]
            cost = min(todays, key=lambda c: float(c.mean()))
            saved = (alone - cost) * (1.0 - self.table.discount_d) ** d
            if float(saved.mean()) > most + 1e-9:
                best, most = alone - saved, float(saved.mean())
        return best


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_value_and_waiting_are_those_of_a_slow_twin(rng: np.random.Generator) -> None:
    sets = [[random_packet(rng) for _ in range(3)] for _ in range(2)]
    packets = [sets[p % 2] for p in range(N_MEMBERS)]
    opened = [random_packet(rng)]
    ready, rested = float(rng.uniform(0.0, 50.0)), tuple(rng.uniform(0.0, 20.0, 2))
    at = Price(
        rng.uniform(0.0, 4.0, (2, 6)), float(rng.uniform(0, 1)), 9.0, rng.uniform(5.0, 60.0, 2),
        sown_in_d=None if rng.random() < 0.5 else float(rng.uniform(1.0, 30.0)),
        season_frac=float(rng.uniform(0.2, 1.0)),
    )  # fmt: skip
    table = replace(MADE, loss_frac_d=0.01, flush_weight=float(rng.uniform(0.0, 2.0)))
    stand = followed(
        sets[0], day(), of_member=dict(enumerate(packets)), opened=opened, ready_m2=ready,
        rested_d=rested,
    )  # fmt: skip
    today, other, late = (random_offer(rng, name) for name in ("today", "other", "late"))
    found = terms([today, other], stand, at=at, table=table, later=[late])
    twin = SlowTwin(packets, opened, ready, rested, at, table)
    none = np.array([twin.cost(p, []) for p in range(N_MEMBERS)])
    only = np.array([twin.cost(p, [(0, today)]) for p in range(N_MEMBERS)])
    fit = today.is_fit[:, 0]
    left = twin.best([], [today, other, late], 1)
    again = twin.best([(0, today)], [today, other, late], 4)
    assert found.worth_min == pytest.approx(float(((none - only) * fit).mean()), abs=2e-4)
    assert found.later_min == pytest.approx(float((none - left).mean()), abs=2e-4)
    assert found.waiting_min == pytest.approx(np.where(fit, left - again, 0.0), abs=2e-4)


# ------------------------------------------------------------------ whatever the planting


def random_stand(rng: np.random.Generator, row_share: float = 0.4) -> WeedOutlook:
    packets = [random_packet(rng) for _ in range(int(rng.integers(1, 5)))]
    return followed(
        packets, day(), row_share=row_share, opened=[random_packet(rng)],
        ready_m2=float(rng.uniform(0.0, 60.0)), rested_d=tuple(rng.uniform(0.0, 20.0, 2)),
    )  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_terms_add_up(rng: np.random.Generator) -> None:
    found = terms(
        [random_offer(rng, "one"), random_offer(rng, "two")],
        random_stand(rng),
        at=price(relief=float(rng.uniform(0.0, 1.0)), in_window_d=5.0),
        table=replace(MADE, loss_frac_d=0.01),
        crop="carrot",
    )
    whole = found.hand_min + found.seed_min + found.yield_min + found.relief_min - found.flush_min
    assert found.worth_min == pytest.approx(whole, abs=1e-6)
    assert min(found.hand_min, found.flush_min, found.relief_min) >= -1e-9
    assert found.later_min >= -1e-9
    assert found.net_min <= found.worth_min


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_without_a_yield_to_lose_there_is_no_yield_term(rng: np.random.Generator) -> None:
    found = terms([random_offer(rng, "one")], random_stand(rng), at=price(relief=0.5))
    assert found.yield_min == pytest.approx(0.0, abs=1e-4)


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_a_pass_that_kills_nothing_saves_nothing_by_hand(rng: np.random.Generator) -> None:
    none = replace(random_offer(rng, "none"), kill_frac=np.zeros((N_DAYS, N_MEMBERS, 2, 5)))
    found = terms([none], random_stand(rng), at=price(relief=0.0))
    assert found.hand_min == pytest.approx(0.0, abs=1e-6)
    assert found.worth_min <= 1e-6  # what it opens is left
    still = replace(none, stirs_frac=np.zeros(2))
    assert terms([still], random_stand(rng)).worth_min == pytest.approx(0.0, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(seeds, st.floats(0.0, 1.0))
def test_more_kill_never_saves_less(rng: np.random.Generator, more: float) -> None:
    stand, one = random_stand(rng), random_offer(rng, "one")
    better = replace(one, kill_frac=one.kill_frac + more * (1.0 - one.kill_frac))
    a, b = (terms([o], stand) for o in (one, better))
    assert b.hand_min >= a.hand_min - 1e-6
    assert b.worth_min >= a.worth_min - 1e-6


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_a_follow_up_more_never_costs_more(rng: np.random.Generator) -> None:
    stand, one, two = random_stand(rng), random_offer(rng, "one"), random_offer(rng, "two")
    without = replace(MADE, discount_d=0.0)
    alone = terms([one], stand, table=without)
    both = terms([one], stand, table=without, later=[two])
    assert both.later_min >= alone.later_min - 1e-6
    assert both.worth_min == pytest.approx(alone.worth_min, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(seeds, st.floats(0.05, 5.0), st.floats(0.05, 5.0))
def test_a_higher_price_never_adds_a_pass(rng: np.random.Generator, a: float, b: float) -> None:
    """Verdicts of a random planting at two prices of a machine minute."""
    tools = (TINES, FINGERS, SWEEPS)
    of = (outlook(ALWAYS), sown(), standing("lettuce"), standing("kale"))[rng.integers(4)]
    stand = random_stand(rng, 0.0 if of.planting.crop is None else 0.4)
    verdicts = []
    for of_minute in sorted((a, b)):
        when = day(farm(tools=tools, work=replace(WORK, machine_price=of_minute)))
        site = Site(of, stand, seen_weather(np.full(N_HOURS, 9.0)))
        made = kit(tools)
        choice = choose(site, made, (), when)
        verdicts.append(weed_verdict(site, choice, made, when, hand_rates(), TABLED))
    cheap, dear = (draft.answer.verdict for draft in verdicts)
    assert not (dear == "go" and cheap != "go")


@settings(max_examples=25, deadline=None)
@given(seeds, st.floats(1.0, 4.9))
def test_a_clean_bed_is_never_go(rng: np.random.Generator, whole_m2: float) -> None:
    """Whatever its few weeds are, and however little a machine minute is worth."""
    packets = [random_packet(rng) for _ in range(3)]
    share = whole_m2 / sum(k.n_m2 for k in packets)
    few = [replace(k, n_m2=k.n_m2 * share) for k in packets]
    when = day(farm(tools=(TINES, SWEEPS), work=replace(WORK, machine_price=0.01)))
    site = Site(outlook(ALWAYS), followed(few, when), unseen_weather())
    made = kit((TINES, SWEEPS))
    draft = weed_verdict(site, choose(site, made, (), when), made, when, hand_rates(), TABLED)
    assert draft.answer.verdict == "nothing"


# ------------------------------------------------------------------ whole mornings

LETTUCE, SANDY, EMPTY = (
    Bed("L1", 18.0, 0.75, "middle"), Bed("L2", 25.0, 0.75, "sand"), Bed("K1", 18.0, 0.75, "silt"),
)  # fmt: skip
MAY_11 = local(2013, 5, 11, 9, 30)


def asked(beds: Sequence[Bed], passes: Mapping[str, str] | None = None) -> service.Situation:
    """Beds prepared in April, two of them with lettuce set and rooted; half past nine.

    `passes` are tools by bed, half an hour ago.
    """
    start = local(2013, 4, 15)
    rain = [(local(2013, 5, d) + timedelta(hours=i), 1.5) for d in (3, 8) for i in range(6)]
    store = MadeStore(values=observed(start, made_hours(start, 24 * 40, mean_c=18.0, rain=rain)))
    for bed in beds:
        store.log("prep", local(2013, 4, 24, 9), bed.name, depth_mm=100.0)
        if bed is EMPTY:
            continue
        store.log(
            "plant", local(2013, 4, 28, 9), bed.name, crop="lettuce", rows=2, row_spacing_mm=375.0
        )
        store.log("rooted", local(2013, 5, 8, 9), bed.name)
    for name, tool in (passes or {}).items():
        at = MAY_11 - timedelta(minutes=30)
        store.log("pass", at, name, tool=tool, recorded_at=at + timedelta(minutes=5))
    ahead = made_hours(MAY_11.replace(minute=0), 240, mean_c=18.0)
    store.forecasts.append(forecast(MAY_11 - timedelta(minutes=25), ahead))
    return service.situation(made_farm(beds), store, store, MAY_11, n_members=4)


def draft_of(of: service.Situation, bed: Bed) -> Draft:
    return next(d for d in of.drafts if d.answer.bed == bed.name)


@pytest.fixture(scope="module")
def three_beds() -> service.Situation:
    return asked((LETTUCE, SANDY, EMPTY))


@pytest.fixture(scope="module")
def just_passed() -> service.Situation:
    return asked((SANDY, EMPTY), {"L2": "sweeps", "K1": "sweeps"})


def test_another_bed_changes_no_figure_of_a_bed(three_beds: service.Situation) -> None:
    """To the last digit: verdict, terms, ranges, urgency, other tools."""
    alone = draft_of(asked((SANDY,)), SANDY)
    assert alone.answer.minutes is not None
    assert alone == draft_of(three_beds, SANDY)


def test_a_pass_just_made_is_worth_much_less_again(
    three_beds: service.Situation, just_passed: service.Situation
) -> None:
    for bed in (SANDY, EMPTY):
        first, again = draft_of(three_beds, bed), draft_of(just_passed, bed)
        assert first.answer.verdict == "go"
        assert again.worth_min < 0.4 * first.worth_min


@pytest.mark.parametrize("bed", [SANDY, EMPTY], ids=lambda bed: bed.name)
def test_a_second_pass_the_same_day_is_worth_less_than_nothing(
    just_passed: service.Situation, bed: Bed
) -> None:
    assert draft_of(just_passed, bed).answer.verdict != "go"
