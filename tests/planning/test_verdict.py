"""Verdicts of one planting from made weeds: every share can be reckoned by hand.

Kill of the tables, thread to established: tines .7 .6 .35 .15 .05 in the row and between; sweeps
0 in the row, .85 .9 .88 .8 .6 between; wheel hoe 0 and .75 .8 .75 .6 .35; in the row alone fingers
.65 .6 .45 .2 .05 and brushes .6 .75 .75 .6 .35. The weather takes nothing off but where a test says
so. A pass of the tines over the made bed takes 1.8 min. On an empty bed most of what is killed
young would have died at sowing: hundreds of threads per m2 are worth a pass there, tens are not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from scheduler.planning.day import Day, day_of
from scheduler.planning.offers import Choice, Site, choose, day_hours, weed_hours
from scheduler.planning.order import Draft, order_of_day
from scheduler.planning.outlook import Outlook
from scheduler.planning.passes import PassWeather
from scheduler.planning.verdict import weed_verdict
from scheduler.planning.weeds import WeedOutlook
from scheduler.records import Bed, Planting, Tool
from scheduler.service.settings import hand_rates, kill_table, value_settings
from tests.planning.made import (
    HOE,
    N_HOURS,
    N_MEMBERS,
    NOW_HOUR,
    START,
    SWEEPS,
    WORK,
    Counts,
    day,
    farm,
    kit,
    outlook,
    planting,
    seen_weather,
    sky,
    stage,
    unseen_weather,
    weeds,
)
from tests.planning.made import TINES as SHALLOW_TINES

TINES = replace(SHALLOW_TINES, depth_mm=20.0)  # the middle of their range: the tabled kill
FINGERS = Tool("fingers", "finger weeder", 20.0, 0.8, setup_min=8.0)
BRUSHES = Tool("brushes", "brush weeder", 20.0, 0.6, setup_min=8.0)
ALWAYS = [(0, 24 * 20)]
TODAY = (NOW_HOUR - 5, NOW_HOUR + 19)  # midnight to midnight
# tines take .7 x 400 / 500 = .56 today, .6 x 200 / 500 + .35 x 300 / 500 = .45 tomorrow
RIPE: Sequence[Counts] = (
    {"thread": 400.0, "to_come": 100.0},
    {"seed_leaf": 200.0, "true_leaf": 300.0},
)
# .07 today, .28 tomorrow, .56 the day after, then .45
EARLY: Sequence[Counts] = (
    {"thread": 50.0, "to_come": 450.0},
    {"thread": 200.0, "to_come": 300.0},
    {"thread": 400.0, "to_come": 100.0},
    {"seed_leaf": 200.0, "true_leaf": 300.0},
)


def times(days: Sequence[Counts], factor: float) -> Sequence[Counts]:
    """As many times the weeds; shares stay."""
    return tuple({state: factor * n for state, n in day_of_it.items()} for day_of_it in days)


def at(tools: Sequence[Tool] = (TINES,), now_hour: int = NOW_HOUR) -> Day:
    return day(farm(tools=tools), now_hour)


def chosen(
    of: Outlook, stand: WeedOutlook, when: Day, weather: PassWeather | None = None
) -> tuple[Site, Choice]:
    site = Site(of, stand, weather or unseen_weather())
    return site, choose(site, kit(when.farm.tools), (), when)


def drafted(
    of: Outlook, stand: WeedOutlook, when: Day, weather: PassWeather | None = None
) -> Draft:
    site, choice = chosen(of, stand, when, weather)
    return weed_verdict(site, choice, kit(when.farm.tools), when, hand_rates(), value_settings())


def verdict(
    counts: Sequence[Counts],
    fit: Sequence[tuple[int, int]] = ALWAYS,
    tools: Sequence[Tool] = (TINES,),
) -> tuple[str, str]:
    when = at(tools)
    found = drafted(outlook(fit), weeds(counts, when), when).answer
    return found.verdict, found.because


def test_the_table_is_the_one_of_the_head_of_this_file() -> None:
    kill = kill_table().kill_frac
    assert kill["tine weeder"].tolist() == [[0.7, 0.6, 0.35, 0.15, 0.05]] * 2
    assert kill["sweeps"].tolist() == [[0.0] * 5, [0.85, 0.9, 0.88, 0.8, 0.6]]
    assert kill["wheel hoe"].tolist() == [[0.0] * 5, [0.75, 0.8, 0.75, 0.6, 0.35]]
    assert kill["finger weeder"].tolist() == [[0.65, 0.6, 0.45, 0.2, 0.05], [0.0] * 5]
    assert kill["brush weeder"].tolist() == [[0.6, 0.75, 0.75, 0.6, 0.35], [0.0] * 5]


def test_weeds_are_wanted_now_and_in_the_middle_of_the_open_hours() -> None:
    when = at()
    assert len(day_hours(when)) == 10
    hours = weed_hours(when)
    assert hours[0] == NOW_HOUR + 0.5
    assert hours[1] == NOW_HOUR + 2 + 5.5  # 07:00 to 19:00
    assert np.diff(hours[1:]).tolist() == [24.0] * 9


# ------------------------------------------------------------------ ripe, early, clean


def test_ripe_and_fit_is_go_with_hours_share_and_last_good_hour() -> None:
    when = at()
    draft = drafted(outlook(ALWAYS), weeds(RIPE, when), when)
    found = draft.answer
    assert (found.verdict, found.because, found.until) == ("go", "", None)
    assert found.action is not None
    assert found.action.tool == "tines"
    assert (found.action.start.hour, found.action.end.hour) == (7, 19)
    assert found.sure == 1.0
    assert found.killable_frac is not None
    assert found.killable_frac.mid == pytest.approx(0.56, abs=1e-12)
    # tomorrow takes .45, less than nine tenths of .56: today is the last good day
    assert found.last_good_at is not None
    assert (found.last_good_at.day, found.last_good_at.hour) == (11, 19)
    waiting = next(why for why in found.why if why.startswith("of 100 weeds"))
    assert waiting.startswith("of 100 weeds a pass takes 56 today, 45, ")  # .56, then .45
    assert draft.urgency > 0.0
    assert found.weeds is not None
    assert found.weeds["thread_m2"].mid == 400.0
    assert found.flush is not None
    assert found.flush.to_come_frac is not None
    assert found.flush.to_come_frac.mid == pytest.approx(0.2, abs=1e-12)


def test_too_early_to_be_worth_it_waits_for_the_day_worth_most() -> None:
    """.07 of 250 per m2 today, .56 of them in two days."""
    when = at()
    draft = drafted(outlook(ALWAYS), weeds(times(EARLY, 0.5), when), when)
    found = draft.answer
    assert (found.verdict, found.because, draft.urgency) == ("wait", "weeds_small", 0.0)
    assert found.until is not None
    assert (found.until.day, found.until.hour) == (13, 7)
    assert found.why[0] == "a pass saves 1 min by hand now, 7 then"
    assert "of 100 weeds a pass takes 7 today, 28, 56, 45, " in found.why[-1]


def test_early_and_never_fit_later_is_done_only_if_worth_its_minutes() -> None:
    assert verdict(times(EARLY, 0.5), [TODAY])[0] == "nothing"  # .07 of the weeds
    some = ({"thread": 200.0, "to_come": 300.0}, *EARLY[2:])
    assert verdict(some, [TODAY]) == ("go", "")


def test_a_better_day_to_come_does_not_forbid_a_pass_that_is_worth_its_minutes() -> None:
    """.28 of the weeds today, .56 tomorrow; an early pass excludes no later one."""
    assert verdict(({"thread": 200.0, "to_come": 300.0}, *EARLY[2:])) == ("go", "")


@pytest.mark.parametrize("fit", [ALWAYS, [TODAY], []])
@pytest.mark.parametrize(
    "few",
    [
        {},
        {"thread": 2.0, "to_come": 2.9},
        {"true_leaf": 4.9},
        {"to_come": 4.0},
        {"thread": 5.5},  # tines take 3.9 of them
    ],
)
def test_a_clean_bed_is_never_go(few: Counts, fit: list[tuple[int, int]]) -> None:
    assert verdict([few], fit) == ("nothing", "clean")
    assert verdict([few], fit, ())[0] == "nothing"


def test_a_bed_weeded_by_hand_yesterday_is_not_go() -> None:
    """Of 60 up .05 are left; the few threads of a flush still to come wait until they are more."""
    assert verdict([{"seed_leaf": 3.0, "thread": 1.0}]) == ("nothing", "clean")
    rest = ({"seed_leaf": 3.0, "thread": 2.0, "to_come": 400.0}, {"thread": 350.0, "to_come": 55.0})
    assert verdict(rest) == ("wait", "weeds_small")


def test_what_a_pass_saves_decides_and_not_the_share_it_takes() -> None:
    """.7 x 10 / 40 = .175 of few and of many."""
    little: Sequence[Counts] = ({"thread": 10.0, "to_come": 30.0},)
    assert verdict(little) == ("nothing", "clean")
    assert verdict(times(little, 20.0)) == ("go", "")
    assert verdict([{"thread": 40.0, "to_come": 10.0}]) == ("nothing", "clean")  # .56 of few


def test_a_price_that_the_grower_does_not_pay_is_no_go() -> None:
    """The tines save 17 min and take 1.8: worth it at 5 min by hand a minute, not at 15."""
    for price, is_go in ((1.0, True), (5.0, True), (15.0, False)):
        when = day(farm(tools=(TINES,), work=replace(WORK, machine_price=price)))
        found = drafted(outlook(ALWAYS), weeds(RIPE, when), when).answer
        assert (found.verdict == "go") is is_go


def test_sure_counts_members_in_which_going_today_beats_leaving_it() -> None:
    """Fit today and tomorrow alone. Some gain by waiting: .56 today, .7 x 450 / 500 tomorrow."""
    better: Sequence[Counts] = (RIPE[0], {"thread": 450.0, "to_come": 50.0}, RIPE[1])
    when = at()
    two_days = outlook([(TODAY[0], TODAY[1] + 24)])
    for n_better in (0, 3, 5):
        stand = weeds(
            RIPE, when, of_member=dict.fromkeys(range(n_better), better), end={"true_leaf": 500.0}
        )
        found = drafted(two_days, stand, when).answer
        assert found.verdict == "go"
        assert found.sure == pytest.approx(1.0 - n_better / N_MEMBERS, abs=1e-12)


def test_sure_counts_members_whose_soil_is_fit() -> None:
    when = at()
    found = drafted(outlook(ALWAYS, n_fit=6), weeds(RIPE, when), when).answer
    assert found.verdict == "go"
    assert found.sure == pytest.approx(0.75, abs=1e-12)
    wet = drafted(outlook(ALWAYS, n_fit=4), weeds(RIPE, when), when).answer
    assert (wet.verdict, wet.because) == ("wait", "wet")


# ------------------------------------------------------------------ soil and hours


def test_ripe_but_wet_waits_until_the_soil_is_fit() -> None:
    when = at()
    tomorrow = [(NOW_HOUR + 24, NOW_HOUR + 40)]
    found = drafted(outlook(tomorrow), weeds(RIPE, when), when).answer
    assert (found.verdict, found.because) == ("wait", "wet")
    assert found.until is not None
    assert (found.until.day, found.until.hour) == (12, 7)


def test_a_day_without_hours_waits_for_hours() -> None:
    now = day().now
    assert now.weekday() == 5
    closed = day_of(farm((TINES,), replace(WORK, hours=(6.0,) * 5 + (0.0, 6.0))), sky(), 0, now)
    found = drafted(outlook(ALWAYS), weeds(RIPE, closed), closed).answer
    assert (found.verdict, found.because) == ("wait", "no_hours")
    assert found.until is not None
    assert found.until > now > START
    assert found.until.day == 12


def test_a_pass_fits_into_an_hour_that_is_long_enough() -> None:
    assert verdict(RIPE, [(NOW_HOUR + 3, NOW_HOUR + 4)], (HOE,)) == ("go", "")


def test_nobody_sets_out_in_the_rain() -> None:
    """Rain from 14:00 by five of eight members ends the hours of the line; by four it does not."""
    ends = []
    for n_wet in (4, 5):
        clear = sky()
        water = np.zeros_like(clear.forcing.rain_mm)
        water[:n_wet, NOW_HOUR + 9 : NOW_HOUR + 15] = 1.0
        wet = replace(clear, forcing=replace(clear.forcing, rain_mm=water))
        when = day_of(farm(tools=(TINES,)), wet, 0, day().now)
        found = drafted(outlook(ALWAYS), weeds(RIPE, when), when).answer
        assert found.action is not None
        ends.append(found.action.end.hour)
    assert ends == [19, 14]


def test_a_visit_that_may_be_in_vain_and_soil_just_dry_enough_count_against_a_pass() -> None:
    """16.9 min saved by 6 of 8 members; 2 of 8 visits of 4 min in vain.

    13 min/m2 x 13.5 m2 x .02 = 3.51 min is what the pass does to soil just below its threshold.
    """
    when = at()
    dry, near = (
        drafted(outlook(ALWAYS, n_fit=6), weeds(RIPE, when), when, seen_weather(dose, wet))
        for dose, wet in ((np.full(N_HOURS, 9.0), -0.05), (np.full(N_HOURS, 9.0), -0.005))
    )
    assert dry.answer.verdict == near.answer.verdict == "go"
    assert "a visit in vain 1.0" in dry.answer.details[-1]
    assert "soil" not in dry.answer.details[-1]
    assert "soil only just dry enough 2.7" in near.answer.details[-1]


# ------------------------------------------------------------------ tools


def without(of: Outlook, kind: str) -> Outlook:
    """The same, but soil that this kind of tool cannot work."""
    work = of.works[kind]
    wet = replace(work, is_workable=work.is_workable & False, chance_frac=0.0 * work.chance_frac)
    return replace(of, works={**of.works, kind: wet})


def tool_of(draft: Draft) -> str:
    assert draft.answer.action is not None
    return draft.answer.action.tool


def test_the_tool_that_leaves_most_is_named_and_the_others_are_kept() -> None:
    """Of 400 threads sweeps take 340, the hoe 300, tines 280; of true leaves .88, .75 and .35.

    The hoe needs four runs for what tines do in one.
    """
    when = at((TINES, SWEEPS, HOE))
    threads = weeds(times(RIPE[:1], 1.0), when)
    whole = drafted(outlook(ALWAYS), threads, when)
    assert tool_of(whole) == "sweeps"
    assert {tool_of(other) for other in whole.others} == {"tines", "hoe"}
    only = without(outlook(ALWAYS), "sweeps")
    assert tool_of(drafted(only, threads, when)) == "tines"
    grown = weeds([{"true_leaf": 400.0}], when)
    assert tool_of(drafted(only, grown, when)) == "hoe"


def test_of_tools_that_cannot_work_today_the_best_is_waited_for() -> None:
    when = at((TINES, SWEEPS))
    tomorrow = outlook([(NOW_HOUR + 24, NOW_HOUR + 40)])
    found = drafted(tomorrow, weeds(RIPE[:1], when), when).answer
    assert (found.verdict, found.because) == ("wait", "wet")


def onion(age_d: float = 17.0) -> Planting:
    return replace(planting("onion", NOW_HOUR - 24 * age_d), up_at=day().now)


def up(cover: float = 0.1, leaves: float = 0.5, grown: Planting | None = None) -> Outlook:
    """Onions in three rows 250 mm apart that came up four days ago."""
    grows = stage(NOW_HOUR - 96, leaves=leaves, cover=cover)
    return outlook(ALWAYS, grown=grown or onion(), cover=cover, grows=grows)


def in_the_row(counts: Counts, when: Day) -> WeedOutlook:
    return weeds([counts], when, row_share=0.4, zones=(1.0, 0.0))


def test_what_is_refused_is_told_with_its_reason_beside_what_goes() -> None:
    when = at((TINES, SWEEPS))
    stand = weeds(RIPE[:1], when, row_share=0.4)
    found = drafted(up(), stand, when)
    assert tool_of(found) == "sweeps"
    (refused,) = found.answer.refusals
    assert (refused.tool, refused.because) == ("tines", "crop_tender")
    assert refused.why == "onion has 0.5 leaves, tines wait for 3"
    later = drafted(up(leaves=3.5), stand, when)
    assert later.answer.refusals == ()
    assert tool_of(later) == "tines"  # .7 of both zones against .85 of six tenths


def test_no_line_is_without_the_refusals() -> None:
    when = at((TINES,))
    for counts in ({}, {"thread": 40.0}):
        found = drafted(up(), weeds([counts], when, row_share=0.4), when).answer
        assert found.verdict == "wait"
        assert found.because == "crop_tender"
        assert [r.tool for r in found.refusals] == ["tines"]


# ------------------------------------------------------------------ the hand


def test_grown_weeds_in_the_row_are_for_the_hand_with_minutes() -> None:
    """Sweeps take nothing in the row; 20 young per m2 there, rows .4 of 13.5 m2.

    8 per m2 x 13.5 m2 x .0375 min + 3 rows x 18 m x .05 min = 6.75 min.
    """
    when = at((SWEEPS, HOE))
    found = drafted(up(), in_the_row({"young": 20.0}, when), when).answer
    assert (found.verdict, found.because) == ("hand", "no_fit")
    assert found.action is None
    assert found.minutes is not None
    assert found.minutes["by_hand"].mid == pytest.approx(6.75, abs=1e-9)
    fewer = drafted(up(), in_the_row({"young": 14.0}, when), when).answer
    assert fewer.verdict == "nothing"  # no tool takes any
    five = in_the_row({"established": 5.0}, when)
    assert drafted(up(), five, when).answer.verdict == "hand"


@pytest.mark.parametrize(("age_d", "verdict"), [(80, "hand"), (120, "nothing")])
def test_the_hand_is_sent_within_the_weed_free_weeks(age_d: int, verdict: str) -> None:
    when = at((SWEEPS, HOE))
    stand = in_the_row({"young": 20.0}, when)
    grown = onion(age_d)
    assert grown.established_at is not None
    seen = replace(grown, up_at=grown.established_at + timedelta(days=10))  # twelve weeks from here
    assert drafted(up(grown=seen), stand, when).answer.verdict == verdict


def test_what_stands_between_the_rows_does_not_spare_the_hand_in_the_row() -> None:
    """Sweeps take .8 x .6 = .48 of all and none in the row: 20 young per m2 there are for the hand.

    Scene 6 of the design: weeds at six leaves in the row, not another useless pass.
    """
    when = at((SWEEPS,))
    both = weeds([{"young": 20.0}], when, row_share=0.4)
    found = drafted(up(), both, when).answer
    assert (found.verdict, found.because) == ("hand", "no_fit")
    assert found.why[0] == "20-20 grown weeds per m2 in the row"
    between = drafted(up(), weeds([{"young": 20.0}], when, row_share=0.4, zones=(0.0, 1.0)), when)
    assert tool_of(between) == "sweeps"
    assert between.answer.killable_frac is not None
    assert between.answer.killable_frac.mid == pytest.approx(0.8, abs=1e-12)


@pytest.mark.parametrize(
    ("tools", "leaves", "verdict"),
    [
        ((SWEEPS,), 5.0, "hand"),
        ((SWEEPS, FINGERS), 5.0, "hand"),  # .2 of the young in the row, less than .3
        ((SWEEPS, BRUSHES), 5.0, "go"),  # .6
        ((SWEEPS, BRUSHES), 1.0, "hand"),  # brushes wait for two leaves of an onion
    ],
)
def test_the_hand_is_spared_by_a_tool_that_takes_three_tenths_in_the_row(
    tools: Sequence[Tool], leaves: float, verdict: str
) -> None:
    when = at(tools)
    found = drafted(up(leaves=leaves), in_the_row({"young": 80.0}, when), when)
    assert found.answer.verdict == verdict
    if verdict == "go":
        assert tool_of(found) == "brushes"
    elif FINGERS in tools:
        assert found.answer.why[1] == "a tool takes 2 in 10 of them at most"


@pytest.mark.parametrize(
    ("counts", "verdicts"),
    [
        ({"young": 20.0, "true_leaf": 300.0}, ("go", "wait")),  # half of the work is by small ones
        ({"young": 80.0}, ("hand", "hand")),
    ],
)
def test_wet_soil_does_not_send_the_hand_where_the_next_pass_spares_it(
    counts: Counts, verdicts: tuple[str, str]
) -> None:
    """Fingers take .2 of the young in the row: what a pass saves counts, made now or tomorrow."""
    when = at((FINGERS,))
    stand = weeds([counts] * 8, when, row_share=0.4, zones=(1.0, 0.0))
    now = up(leaves=5.0)
    wet = outlook([(NOW_HOUR + 24, NOW_HOUR + 40)], grown=onion(), cover=0.1, grows=now.stage)
    assert tuple(drafted(of, stand, when).answer.verdict for of in (now, wet)) == verdicts


def test_an_empty_bed_is_never_for_the_hand() -> None:
    assert verdict([{"young": 60.0}], tools=(SWEEPS,)) == ("go", "")
    assert verdict([{"young": 60.0}], tools=(TINES,))[0] != "hand"


def test_a_crop_that_covers_the_ground_takes_nothing() -> None:
    when = at((SWEEPS,))
    found = drafted(up(0.85), weeds([{"young": 20.0}], when, row_share=0.4), when).answer
    assert (found.verdict, found.because) == ("nothing", "crop_up")
    assert found.why == ("onion covers 85 % of the ground",)


def test_tines_take_what_they_still_can_of_grown_weeds_on_an_empty_bed() -> None:
    """(.35 x 150 + .6 x 50) / 200 = .41; the sweeps would take .88."""
    grown = ({"true_leaf": 150.0, "seed_leaf": 50.0},)
    when = at((TINES,))
    found = drafted(outlook(ALWAYS), weeds(grown, when), when).answer
    assert found.verdict == "go"
    assert found.killable_frac is not None
    assert found.killable_frac.mid == pytest.approx(0.4125, abs=1e-12)
    both = at((TINES, SWEEPS))
    assert tool_of(drafted(outlook(ALWAYS), weeds(grown, both), both)) == "sweeps"


# ------------------------------------------------------------------ rain after

LIKE_TODAY: Sequence[Counts] = ({"thread": 120.0, "to_come": 30.0},)  # dry, just worth a pass


def rain_today() -> PassWeather:
    """Nothing dries what is uprooted before tonight's rain; after it all does."""
    dose = np.full(N_HOURS, 9.0)
    dose[: NOW_HOUR + 19] = 0.0
    return seen_weather(dose)


def test_a_pass_that_the_rain_after_it_would_spoil_waits_for_the_rain() -> None:
    """.825 of the kill of tines needs drying, .45 of that is left: .56 x (.175 + .371) = .31."""
    when = at()
    stand = weeds(times(LIKE_TODAY, 1.5), when)
    found = drafted(outlook(ALWAYS), stand, when, rain_today()).answer
    assert (found.verdict, found.because) == ("wait", "rain_after")
    assert found.until is not None
    assert (found.until.day, found.until.hour) == (12, 7)
    assert found.why[0] == "a pass takes 3 in 10 with the rain after it, dry 6 in 10"
    assert found.killable_frac is not None
    assert found.killable_frac.mid == pytest.approx(0.56 * (0.175 + 0.825 * 0.45), abs=1e-9)
    dry = drafted(outlook(ALWAYS), stand, when, seen_weather(np.full(N_HOURS, 9.0))).answer
    assert (dry.verdict, dry.because) == ("go", "")


def test_rain_today_does_not_make_weeds_ripe_that_are_not() -> None:
    """Dry .28 today, rain or no rain less than the .56 of tomorrow: small is the reason."""
    when = at()
    few = weeds(times(EARLY[1:], 0.3), when)
    found = drafted(outlook(ALWAYS), few, when, rain_today()).answer
    assert (found.verdict, found.because) == ("wait", "weeds_small")


def test_rain_on_every_day_is_no_reason_to_wait() -> None:
    when = at()
    many = weeds(times(LIKE_TODAY, 3.0), when)
    found = drafted(outlook(ALWAYS), many, when, seen_weather(np.zeros(N_HOURS))).answer
    assert (found.verdict, found.because) == ("go", "")


def test_rain_after_a_pass_takes_less_of_sweeps_than_of_tines() -> None:
    """Scene 5 of the design."""
    when = at((TINES, SWEEPS))
    _, choice = chosen(outlook(ALWAYS), weeds(LIKE_TODAY, when), when, rain_today())
    kept = {o.tool.name: float((o.killable[:, 0] / o.dry_killable).mean()) for o in choice.offers}
    assert kept["tines"] == pytest.approx(0.175 + 0.825 * 0.45, abs=1e-9)
    assert kept["sweeps"] == pytest.approx(0.63 + 0.37 * 0.64, abs=1e-9)


# ------------------------------------------------------------------ blind


def blind(
    last_blind: float, fit: Sequence[tuple[int, int]] = ALWAYS, emergence: float = NOW_HOUR + 90.0
) -> Outlook:
    """Carrots sown six days ago, so deep that tines go at their usual depth."""
    grown = replace(planting("carrot", NOW_HOUR - 150), sowing_depth_mm=30.0)
    return outlook(
        fit, grown=grown, emergence=emergence, last_blind=last_blind, grows=stage(emergence)
    )


def test_a_blind_pass_is_offered_until_its_last_hour() -> None:
    """Last blind hour 10:00; soil fit from 07:00."""
    when = at()
    of = blind(NOW_HOUR + 5, [(NOW_HOUR + 2, NOW_HOUR + 15)])
    answer = drafted(of, weeds(RIPE, when), when).answer
    assert answer.verdict == "go"
    assert answer.action is not None
    assert (answer.action.start.hour, answer.action.end.hour) == (7, 10)
    assert "last blind hour Sat 10:00" in answer.why[0]


def test_the_last_blind_hour_is_the_last_good_hour() -> None:
    """Weeds that a pass would take as well on every later day."""
    when = at()
    found = drafted(blind(NOW_HOUR + 30), weeds(RIPE[:1], when), when).answer
    assert found.verdict == "go"
    assert found.last_good_at is not None
    assert (found.last_good_at.day, found.last_good_at.hour) == (12, 11)


def test_the_blind_pass_that_cannot_wait_is_done_and_one_that_can_waits_for_more() -> None:
    """.28 of the weeds today, .56 tomorrow; tonight is the last blind hour, or in three days.

    No second blind pass follows within three days: tomorrow alone is better than today alone.
    """
    some: Sequence[Counts] = ({"thread": 200.0, "to_come": 300.0}, *EARLY[2:])
    when = at()
    now, later = (drafted(blind(NOW_HOUR + h), weeds(some, when), when) for h in (14, 80))
    assert now.answer.verdict == "go"
    assert (later.answer.verdict, later.answer.because) == ("wait", "weeds_small")
    leisure = drafted(outlook(ALWAYS), weeds(some, when), when)
    assert leisure.answer.verdict == "go"
    assert now.urgency > leisure.urgency


def test_a_blind_pass_is_worth_more_than_the_same_where_fingers_will_follow() -> None:
    """Four tools over the same weeds in the row; only over the sown row is there none to come."""
    when = at((TINES, FINGERS))
    stand = weeds(times(RIPE[:1], 0.5), when, row_share=0.4)
    sown = drafted(blind(NOW_HOUR + 14), stand, when)
    set_on = replace(planting("lettuce", NOW_HOUR - 24 * 12), is_sown=False)
    rooted = stage(NOW_HOUR - 24 * 12, leaves=5.0, rooted_cd=300.0)
    standing = drafted(outlook(ALWAYS, grown=set_on, grows=rooted), stand, when)
    assert tool_of(sown) == "tines"
    assert sown.worth_min > standing.worth_min


def test_a_crop_about_to_come_up_takes_no_blind_tool_and_says_until_when() -> None:
    when = at()
    of = blind(NOW_HOUR - 2, emergence=NOW_HOUR + 30.0)
    found = drafted(of, weeds(RIPE, when), when).answer
    assert (found.verdict, found.because) == ("wait", "crop_tender")
    assert found.until is not None
    assert (found.until.day, found.until.hour) == (12, 11)
    assert "the last good hour of a blind pass is gone" in found.why[0]


def test_sweeps_do_not_go_over_a_sown_row_and_wait_until_it_is_seen() -> None:
    when = at((SWEEPS,))
    found = drafted(blind(NOW_HOUR + 30), weeds(RIPE, when), when).answer
    assert (found.verdict, found.because) == ("wait", "crop_tender")
    assert found.until == when.sky.at(NOW_HOUR + 90)
    assert found.why == ("the rows of carrot are not to be seen yet",)


def test_a_blind_pass_goes_no_deeper_than_the_seed_leaves_room() -> None:
    when = at()
    of = blind(NOW_HOUR + 30)
    for seed_mm, depth_mm in ((40.0, 20.0), (25.0, 15.0)):
        grown = replace(of.planting, sowing_depth_mm=seed_mm)
        found = drafted(replace(of, planting=grown), weeds(RIPE, when), when).answer
        assert found.action is not None
        assert found.action.depth_mm == depth_mm


# ------------------------------------------------------------------ a mat from winter


def matted(
    fit: Sequence[tuple[int, int]], left: float, tools: Sequence[Tool] = (TINES, SWEEPS)
) -> Draft:
    when = at(tools)
    stand = weeds(
        [{}], when, standing_m2=100.0 * left, standing_left=left, flowers_hour=NOW_HOUR + 48.0
    )
    return drafted(outlook(fit), stand, when)


def test_a_mat_is_cleaned_up_when_the_soil_is_first_fit() -> None:
    found = matted(ALWAYS, 1.0).answer
    assert found.verdict == "go"
    assert found.action is not None
    assert found.action.tool == "sweeps"
    assert found.killable_frac is not None
    assert found.killable_frac.mid == 0.6
    assert "a mat from winter, about 100 per m2" in found.why[0]
    assert "flowers about 13 May" in found.why[1]
    wet = matted([(NOW_HOUR + 24, NOW_HOUR + 40)], 1.0).answer
    assert (wet.verdict, wet.because) == ("wait", "wet")
    assert wet.until is not None
    assert (wet.until.day, wet.until.hour) == (12, 7)
    assert "mat" in wet.why[0]


def test_weeds_that_may_be_left_from_before_ask_for_a_look() -> None:
    """20 per m2 are no mat, and not clean either."""
    when = at()
    found = drafted(outlook(ALWAYS), weeds([{}], when, standing_m2=20.0), when).answer
    assert (found.verdict, found.because) == ("nothing", "unknown")
    assert "20 weeds per m2" in found.why[0]
    few = drafted(outlook(ALWAYS), weeds([{}], when, standing_m2=2.0), when).answer
    assert (few.verdict, few.because) == ("nothing", "clean")


@pytest.mark.parametrize(
    ("left", "tools", "is_still_a_mat"),
    [
        (0.40, (TINES, SWEEPS), False),  # after one pass of the sweeps
        (0.65, (HOE,), False),  # after one of the wheel hoe, the best this farm has
        (0.65, (HOE, SWEEPS), True),  # which sweeps would better
        (0.95, (TINES, SWEEPS), True),  # tines only scratch it
        (0.05, (SWEEPS,), False),  # deep preparation
    ],
)
def test_a_mat_is_cleaned_up_once(left: float, tools: Sequence[Tool], is_still_a_mat: bool) -> None:
    found = matted(ALWAYS, left, tools).answer
    assert ("mat" in " ".join(found.why)) is is_still_a_mat
    assert (found.verdict == "go") is is_still_a_mat


def test_a_mat_keeps_the_refusals_and_the_hand_is_not_sent_over_it() -> None:
    flame = Tool("torch", "flame", 0.0, 0.65)
    found = matted(ALWAYS, 1.0, (SWEEPS, flame)).answer
    assert [(r.tool, r.because) for r in found.refusals] == [("torch", "no_fit")]
    when = at((SWEEPS,))
    stand = weeds([{"young": 20.0}], when, row_share=0.4, standing_m2=100.0)
    over = drafted(up(), stand, when).answer
    assert over.verdict == "go"
    assert "mat" in over.why[0]


# ------------------------------------------------------------------ known to be wrong


def test_a_farm_whose_tools_take_nothing_here_is_not_a_farm_without_tools() -> None:
    when = at((SWEEPS, HOE))
    found = drafted(up(), in_the_row({"young": 14.0}, when), when).answer
    assert (found.verdict, found.because) == ("nothing", "no_fit")
    assert "names no tool" not in found.why[0]


@pytest.mark.parametrize("tool", [Tool("rotor", "rotary hoe", 25.0, 1.1, width_m=0.8), TINES])
def test_a_mat_is_not_for_a_tool_that_hardly_takes_any(tool: Tool) -> None:
    assert matted(ALWAYS, 1.0, (tool,)).answer.verdict != "go"


def test_a_bed_of_established_weeds_that_no_tool_takes_is_not_clean() -> None:
    """Tines take 3 of 60 per m2."""
    assert verdict([{"established": 60.0}]) == ("nothing", "no_fit")


def test_rain_is_no_reason_where_a_dry_pass_takes_little_either() -> None:
    """.7 x 120 / 500 = .17 if dry, less than a fifth."""
    when = at()
    stand = weeds([{"thread": 120.0, "to_come": 380.0}], when)
    wet = drafted(outlook(ALWAYS), stand, when, rain_today()).answer
    assert (wet.verdict, wet.because) == ("wait", "weeds_small")


def test_a_tool_that_takes_a_mat_is_offered_whatever_else_stands_in_the_row() -> None:
    when = at((SWEEPS,))
    stand = replace(in_the_row({"seed_leaf": 20.0}, when), standing_m2=np.full(N_MEMBERS, 100.0))
    assert drafted(up(), stand, when).answer.verdict == "go"


def test_a_mat_is_for_the_best_of_the_tools_that_can_work_today() -> None:
    when = at((SWEEPS, HOE))
    stand = weeds([{}], when, standing_m2=100.0)
    found = drafted(without(outlook(ALWAYS), "sweeps"), stand, when)
    assert found.answer.verdict == "go"
    assert tool_of(found) == "hoe"


def test_a_crop_that_closes_before_the_pass_is_not_waited_for() -> None:
    when = at((SWEEPS,))
    grows = stage(cover=0.5, covered_hour=NOW_HOUR + 1)
    of = outlook(ALWAYS, grown=onion(), grows=grows)
    found = drafted(of, weeds([{"thread": 40.0}], when, row_share=0.4), when).answer
    assert (found.verdict, found.because) == ("nothing", "crop_up")


def test_weeds_too_small_for_the_last_blind_pass_wait_for_the_crop() -> None:
    """5 threads per m2; the last blind hour is this evening."""
    when = at()
    found = drafted(blind(NOW_HOUR + 14), weeds(EARLY, when), when).answer
    assert (found.verdict, found.because) == ("wait", "crop_tender")
    assert found.until == when.sky.at(NOW_HOUR + 90)


def test_a_bed_too_wet_for_all_days_in_sight_is_not_clean() -> None:
    when = at()
    never = drafted(outlook([]), weeds(RIPE, when), when).answer
    assert (never.verdict, never.because) == ("wait", "wet")
    assert never.until is not None  # `wait` always says until when


def test_a_week_without_hours_does_not_make_a_bed_clean() -> None:
    closed = day_of(farm((TINES,), replace(WORK, hours=(0.0,) * 7)), sky(), 0, day().now)
    found = drafted(outlook(ALWAYS), weeds(RIPE, closed), closed).answer
    assert (found.verdict, found.because) == ("wait", "no_hours")


def test_a_pass_that_takes_longer_than_it_saves_is_not_waited_for() -> None:
    """Four runs of half an hour against at most 18 min by hand, and one fit hour today."""
    when = at((replace(HOE, speed_m_s=0.01),))
    of = outlook([(NOW_HOUR + 3, NOW_HOUR + 4)])
    found = drafted(of, weeds(RIPE, when), when).answer
    assert (found.verdict, found.because) == ("nothing", "clean")
    assert "not worth it" in found.why[0]


def test_no_blind_pass_is_offered_after_its_last_hour() -> None:
    """Last blind hour 10:00; soil fit only from 13:00."""
    when = at()
    of = blind(NOW_HOUR + 5, [(NOW_HOUR + 8, NOW_HOUR + 15)])
    answer = drafted(of, weeds(RIPE, when), when).answer
    assert answer.action is None
    assert (answer.verdict, answer.because) == ("wait", "crop_tender")
    assert answer.until == when.sky.at(NOW_HOUR + 90)
    assert "Sat 10:00" in answer.why[0]


def test_a_round_that_is_due_is_never_nothing() -> None:
    """20 young per m2 in the row; brushes would take .6, less than their minutes are worth."""
    when = at((SWEEPS, BRUSHES))
    found = drafted(up(leaves=5.0), in_the_row({"young": 20.0}, when), when).answer
    assert found.verdict in ("hand", "go")


def test_a_go_line_gains_by_going_in_some_particle() -> None:
    """.07 of 500 per m2 today, worth its minutes; .56 of them in two days."""
    when = at()
    found = drafted(outlook(ALWAYS), weeds(EARLY, when), when).answer
    assert found.verdict != "go" or (found.sure or 0.0) > 0.0


# ------------------------------------------------------------------ the list


def test_the_minutes_of_the_list_fit_the_hours() -> None:
    when = at((TINES, SWEEPS, HOE))
    long = [replace(planting(), bed=Bed(f"A{i}", 200.0 + i, 0.75, "middle")) for i in range(9)]
    drafts = [
        drafted(outlook(ALWAYS, grown=replace(p, to_m=p.bed.length_m)), weeds(RIPE[:1], when), when)
        for p in long
    ]
    assert {d.answer.verdict for d in drafts} == {"go"}
    plan = order_of_day(drafts, 0.5, when)
    missed, planned, changes = plan.not_reached, plan.minutes, plan.n_setups
    ranked = [line for line in plan.answers if line.rank is not None]
    assert len(ranked) + len(missed) == 9
    assert 0 < len(ranked) < 9
    assert changes == 1
    told = sum(x.action.work_min + x.action.setup_min for x in ranked if x.action is not None)
    assert told == pytest.approx(planned, abs=1e-9)
    assert planned <= 30.0
