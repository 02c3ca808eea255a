"""A season played: its bill with a pencil, visits in vain, beds that do not touch each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.errors import UsageError
from scheduler.planning.season.play import PlayState, play, played, round_minutes
from scheduler.planning.season.rules import Attentive, Calendar, Never
from scheduler.planning.season.shapes import Bill, Choose, Eyes, Morning, Truth
from scheduler.planning.season.truth import PRODUCT, draw_truth, truth_season
from tests.planning.season.made import CARROT, KALE, LETTUCE, season, truth, world

BAR_MIN = 1.0 + (18.0 / 0.8 + 25.0) / 60.0  # access, a run of 18 m, a turn
TINES_MIN = 1.0 + (18.0 / 0.9 + 25.0) / 60.0
KALE_AREA_M2 = 18.0 * 0.75


@dataclass
class Planned:
    """A rule that goes by a list of days."""

    passes_of_day: Mapping[int, Sequence[Choose]]
    eyes: Eyes = field(default_factory=Eyes)
    name: str = "planned"
    mornings: list[Morning] = field(default_factory=list)

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        self.mornings.append(morning)
        return tuple(self.passes_of_day.get(morning.day, ()))


def weedless() -> Truth:
    return replace(truth(), farm_size_ln=-50.0)


def go(*lines: tuple[str, str]) -> tuple[Choose, ...]:
    return tuple(Choose(bed, tool) for bed, tool in lines)


# -------------------------------------------------------------------- the bill


def test_never_passing_costs_the_machine_nothing() -> None:
    bill = play(world(), truth(), Never(), 240.0, season=season())
    assert (bill.machine_min, bill.vain_min, bill.n_passes, bill.n_vain) == (0.0, 0.0, 0, 0)
    assert bill.stand_lost_min == 0.0
    assert bill.hand_min > 20.0
    assert bill.seeds_shed > 0.0


def test_a_season_without_weeds_is_counted_with_a_pencil() -> None:
    """Two passes on two days and a round over clean rows at the end of each weed-free window.

    Rows: kale 2 and carrot 3 of 18 m, 3 s a metre: 1.8 and 2.7 min. Passes: a set-up of 10 min
    each, a tine pass over the empty bed that harms no crop, and one with knives and fingers in kale
    that is long rooted: 3 % of 13.5 m2 at 13.5 min each.
    """
    rule = Planned({49: go(("K1", "tines")), 90: go(("K1", "bar"))})
    bill = play(world(), weedless(), rule, 60.0)
    assert_allclose(bill.hand_min, 1.8 + 2.7, rtol=1e-9)
    assert_allclose(bill.machine_min, 10.0 + TINES_MIN + 10.0 + BAR_MIN, rtol=1e-9)
    assert (bill.n_passes, bill.n_vain, bill.n_hand_rounds, bill.vain_min) == (2, 0, 2, 0.0)
    assert_allclose(bill.stand_lost_min, 0.03 * KALE_AREA_M2 * 13.5, rtol=1e-9)
    assert bill.seeds_shed < 1e-12


def test_minutes_of_a_round_with_a_pencil() -> None:
    """Kale: 27 % of 13.5 m2 is in the row. 10 seed leaves, 4 true leaves, 2 young, 1 established.

    0.5, 1.5, 2.25 and 4 s (tabled as 0.008, 0.025, 0.0375 and 0.067 min); threads are not seen.
    """
    count = np.zeros((2, 5))
    count[0] = [99.0, 10.0, 4.0, 2.0, 1.0]
    each = 10 * 0.008 + 4 * 0.025 + 2 * 0.0375 + 0.067
    row_m2 = KALE_AREA_M2 * 2 * 0.10 / 0.75
    minutes = round_minutes(count, world().plots[0], world())
    assert_allclose(minutes, row_m2 * each + 2 * 18.0 * 0.05, rtol=1e-9)


def test_a_visit_in_vain_takes_four_minutes_and_no_weed() -> None:
    """The day after 25 mm the soil is too wet: set-up and visit are spent, nothing is done."""
    rule = Planned({86: go(("K1", "bar"))})
    done = played(world(), truth(), rule, 60.0, season=season())
    bill = done.bill()
    assert (bill.n_passes, bill.n_vain) == (0, 1)
    assert_allclose((bill.machine_min, bill.vain_min), (10.0, 4.0), rtol=1e-9)
    visit = [e for e in done.events if e.kind == "pass"]
    assert [e.data["worked"] for e in visit] == [False]
    nothing = play(world(), truth(), Never(), 60.0, season=season())
    assert (bill.hand_min, bill.seeds_shed) == (nothing.hand_min, nothing.seeds_shed)


def test_a_pass_takes_weeds_and_opens_a_flush() -> None:
    """In a stale bed and among kale: fewer by hand if it opened nothing, more the more it opens."""
    rule = Planned({55: go(("K1", "tines"), ("C1", "tines")), 76: go(("K1", "bar"))})
    nothing = play(world(), truth(), Never(), 60.0, season=season())
    hand = []
    for share in (1e-9, 0.25, 0.5):
        own = replace(season(), truth=replace(truth(), pass_share_frac=share))
        bill = play(world(), own.truth, rule, 60.0, season=own)
        assert bill.n_passes == 3
        hand.append(bill.hand_min)
    assert hand[0] < nothing.hand_min - 5.0
    assert hand == sorted(hand)


def test_a_pass_stirs_the_bed_it_works() -> None:
    """What it opens is among the openings; fingers and knives stir 0.7 of the row's ready seeds."""
    state = PlayState(season())
    state.day = state.world.days[76]
    state.advance(float(state.day.open_hours[0]))
    way = state.way("K1", "bar")
    assert way is not None
    assert state.go(Choose("K1", "bar"), way, 0.0)
    hour, size, label = state.weeds["K1"].openings[-1]
    assert label == "pass"
    assert state.day.first_hour <= hour < state.day.end_hour
    pool = state.weeds["K1"].pool
    assert size[:, 0].max() < size[:, 1].max()
    assert np.all(pool[size > 0.0] < 1.0)


def test_a_window_ends_with_a_round() -> None:
    done = played(world(), truth(), Never(), 60.0, season=season())
    for plot in world().plots:
        at = world().at(plot.window_end_hour)
        rounds = [e for e in done.events if e.kind == "hand" and e.bed == plot.key]
        assert rounds[-1].happened_at == at
        days = [(world().hour_of(e.happened_at) - plot.up_hour) / 24.0 for e in rounds[:-1]]
        assert_allclose(np.mod(days, 7.0), 0.0, atol=1e-6)


def test_the_bill_is_the_sum_of_its_entries() -> None:
    done = played(world(), truth(), Calendar(world(), 7.0), 60.0, season=season())
    bill = done.bill()
    hand = sum(float(e.data["work_min"]) for e in done.events if e.kind == "hand")
    passes = [e for e in done.events if e.kind == "pass"]
    work = sum(float(e.data["work_min"]) for e in passes if e.data["worked"])
    days = {(e.happened_at.date(), e.data["tool"]) for e in passes}
    set_ups = sum(2.0 if tool == "hoe" else 10.0 for _, tool in days)
    assert_allclose(bill.hand_min, hand, rtol=1e-9)
    assert_allclose(bill.machine_min, work + set_ups, rtol=1e-9)
    assert_allclose(sum(done.machine_of_bed_min.values()), work, rtol=1e-9)
    assert bill.n_passes == sum(bool(e.data["worked"]) for e in passes)
    assert bill.n_vain == len(passes) - bill.n_passes
    assert_allclose(bill.vain_min, 4.0 * bill.n_vain, rtol=1e-9)


# ------------------------------------------------------------- hours of a day


def test_hours_of_the_day_bind() -> None:
    """12 min hold a set-up and one pass; what does not fit in is passed over, not begun."""
    lines = go(("K1", "tines"), ("C1", "tines"))
    for budget, n_passes in ((TINES_MIN + 9.0, 0), (12.0, 1), (10.0 + 2.0 * TINES_MIN, 2)):
        bill = play(world(), truth(), Planned({49: lines}), budget, season=season())
        assert bill.n_passes == n_passes
        assert bill.machine_min <= budget + 1e-9


def test_a_tool_is_hung_on_once_a_day_if_beds_are_grouped() -> None:
    once = play(world(), weedless(), Planned({49: go(("K1", "tines"), ("C1", "tines"))}), 60.0)
    assert_allclose(once.machine_min, 10.0 + 2.0 * TINES_MIN, rtol=1e-9)
    mixed = go(("K1", "tines"), ("C1", "sweeps"), ("C1", "tines"))
    thrice = play(world(), weedless(), Planned({49: mixed}), 60.0)
    sweeps = next(w.minutes for w in world().ways[49, "C1"] if w.tool.name == "sweeps")
    assert_allclose(thrice.machine_min, 30.0 + 2.0 * TINES_MIN + sweeps, rtol=1e-9)


def test_the_same_line_twice_is_one_pass() -> None:
    bill = play(world(), truth(), Planned({49: go(("K1", "tines"), ("K1", "tines"))}), 60.0)
    assert bill.n_passes == 1


def test_a_rule_that_goes_where_the_crop_is_not_ready_is_an_error() -> None:
    rule = Planned({70: go(("C1", "fingers"))})
    with pytest.raises(UsageError, match="open are: sweeps, hoe"):
        play(world(), truth(), rule, 60.0, season=season())


# ------------------------------------------------------- beds, luck and builds


def test_another_bed_leaves_other_bills_unchanged() -> None:
    """Bed by bed to the last digit, where the hours of the day do not bind."""
    more = world(LETTUCE, KALE, CARROT)
    one = played(world(), truth(), Calendar(world(), 8.0), 240.0, season=season())
    many = played(more, draw_truth("a", 3, more), Calendar(more, 8.0), 240.0)
    for bed in ("K1", "C1"):
        assert many.hand_of_bed_min[bed] == one.hand_of_bed_min[bed]
        assert many.machine_of_bed_min[bed] == one.machine_of_bed_min[bed]
    assert many.bill().n_passes > one.bill().n_passes


def test_a_pass_in_one_bed_leaves_the_other_unchanged() -> None:
    """Luck is keyed: an extra pass shifts no later noise, in that bed nor elsewhere."""
    late = {90: go(("K1", "bar"))}
    early = {46: go(("K1", "tines")), **late}
    less = played(world(), truth(), Planned(late), 60.0, season=season())
    more = played(world(), truth(), Planned(early), 60.0, season=season())
    assert more.hand_of_bed_min["C1"] == less.hand_of_bed_min["C1"]
    assert_array_equal(_kill_at(less, 90), _kill_at(more, 90))


def _kill_at(done: PlayState, day: int) -> np.ndarray:
    """Kill of the pass of a day in kale, as the weeds had it."""
    on = done.world.days[day]
    return next(
        kill
        for bed, hour, kill in done.kills
        if bed == "K1" and on.first_hour <= hour < on.end_hour
    )


def test_a_play_can_be_played_again() -> None:
    first = play(world(), truth(), Attentive(world(), 10.0, 3), 60.0, season=season())
    again = play(world(), truth(), Attentive(world(), 10.0, 3), 60.0, season=season())
    other = play(world(), truth("b"), Attentive(world(), 10.0, 3), 60.0, season=season("b"))
    assert _numbers(first) == _numbers(again)
    assert _numbers(first) != _numbers(other)


def _numbers(bill: Bill) -> tuple[float, ...]:
    return (bill.hand_min, bill.machine_min, bill.vain_min, bill.seeds_shed, bill.stand_lost_min)


def test_the_other_build_has_another_bill() -> None:
    bills = [
        play(world(), truth(build=build), Calendar(world(), 8.0), 60.0, season=season(build=build))
        for build in ("gate", PRODUCT)
    ]
    assert abs(bills[0].hand_min - bills[1].hand_min) > 1.0
    assert bills[0].n_passes == bills[1].n_passes  # the soil is the same


def test_more_flush_is_more_to_weed() -> None:
    hand = {
        way: play(world(), truth(outside=way), Never(), 60.0, season=season(outside=way)).hand_min
        for way in ("flush small", "", "flush large")
    }
    assert hand["flush small"] < hand[""] < hand["flush large"]


# ------------------------------------------------------------ what a rule sees


def test_a_rule_without_eyes_sees_nothing() -> None:
    rule = Planned({})
    play(world(), truth(), rule, 60.0, season=season())
    assert len(rule.mornings) == sum(d.is_working for d in world().days)
    assert all(not m.seen and not m.works and m.truth is None for m in rule.mornings)


def test_a_weekly_look_shows_green_weeds_with_an_error() -> None:
    exact = Planned({}, Eyes(looks_every_d=7))
    blurred = Planned({}, Eyes(looks_every_d=7, error_ln_sd=0.35, scratches=True))
    for rule in (exact, blurred):
        play(world(), truth(), rule, 60.0, season=season())
    looked = [m.day for m in exact.mornings if m.seen]
    assert np.diff(looked).min() >= 7
    ratios = []
    for plain, other in zip(exact.mornings, blurred.mornings, strict=True):
        for bed, count in plain.seen.items():
            assert np.isnan(count[:, 0]).all()
            assert np.isfinite(other.seen[bed]).all()
            if count[1, 1:].sum() > 0.1:
                ratios.append(np.log(other.seen[bed][1, 1:].sum() / count[1, 1:].sum()))
    assert 0.15 < np.std(ratios) < 0.6


def test_feeling_the_soil_is_knowing_today() -> None:
    """Day 86 follows 25 mm of rain; by the hoe's limits one hour later still."""
    rule = Planned({}, Eyes(feels_soil=True))
    play(world(), truth(), rule, 60.0, season=season())
    by_day = {m.day: m.works for m in rule.mornings}
    assert not by_day[86]["K1", "bar"]
    assert by_day[83]["K1", "bar"]


def test_entries_reach_the_rule_in_order() -> None:
    rule = Planned({49: go(("K1", "tines")), 86: go(("K1", "bar"))})
    play(world(), truth(), rule, 60.0, season=season())
    last = rule.mornings[-1].events
    moments = [e.happened_at for e in last]
    assert moments == sorted(moments)
    assert {"prep", "plant", "sow", "up", "pass", "hand"} <= {e.kind for e in last}
    at_49 = next(m for m in rule.mornings if m.day == 50 or m.day == 51).events
    assert [e.kind for e in at_49 if e.bed == "K1"] == ["prep", "pass"]


def test_a_rule_may_ask_again_after_a_visit_in_vain() -> None:
    """It sees the visit, and the hours that are left."""
    rule = Planned({86: go(("K1", "bar"))}, Eyes(asks_again=True))
    play(world(), truth(), rule, 60.0, season=season())
    asked = [m for m in rule.mornings if m.day == 86]
    assert [m.hours_left_min for m in asked] == [60.0, 46.0]
    assert asked[1].events[-1].data["worked"] is False
    knowing = Planned({}, Eyes(knows_truth=True))
    play(world(), truth(), knowing, 60.0, season=season())
    assert isinstance(knowing.mornings[0].truth, PlayState)


# ---------------------------------------------------------- how sure it was


def test_a_line_counts_once_while_it_stays_on_the_list() -> None:
    """Two days on the list are one line; a day off it, or its pass, begins another."""
    line = (Choose("K1", "bar", 0.8),)
    wet = {86: line, 88: line}  # never fit
    bill = play(world(), truth(), Planned(wet), 60.0, season=season())
    assert_array_equal(bill.came_true, [False])
    off_between = {86: line, 90: line}
    bill = play(world(), truth(), Planned(off_between), 60.0, season=season())
    assert_array_equal(bill.came_true, [False, True])
    done_between = {90: line, 91: line}
    bill = play(world(), truth(), Planned(done_between), 60.0, season=season())
    assert_array_equal(bill.stated, [0.8, 0.8])


def test_a_line_comes_true_by_soil_and_score() -> None:
    asked: list[tuple[int, str]] = []

    def score(state: PlayState, choose: Choose) -> bool:
        asked.append((state.day.index, choose.tool))
        return choose.tool == "bar"

    lines = {
        86: (Choose("K1", "bar", 0.7),),
        90: (Choose("K1", "bar", 0.9), Choose("C1", "sweeps", 0.6), Choose("C1", "hoe")),
    }
    bill = play(world(), truth(), Planned(lines), 60.0, season=season(), score=score)
    assert_array_equal(bill.stated, [0.7, 0.9, 0.6])
    assert_array_equal(bill.came_true, [False, True, False])
    assert asked == [(90, "bar"), (90, "sweeps")]  # too wet asks no more; without `sure` nothing


def test_the_state_of_a_play_tells_its_weeds() -> None:
    state = PlayState(truth_season(world(), truth()))
    state.advance(30 * 24.0)
    assert state.weeds_m2("K1") is None
    state.advance(55 * 24.0)
    count = state.weeds_m2("K1")
    assert count is not None
    assert count.shape == (2, 6)
    future = state.future("K1", 55 * 24.0 + np.array([0.0, 6.0, 30.0]), 65 * 24.0)
    assert_allclose(
        future.standing_m2[0, 0].reshape(2, 216).sum(axis=1),
        state.weeds["K1"].count_m2(65 * 24.0).sum(axis=1),
        rtol=1e-4,
    )
