"""Verdicts of one planting from made weeds: every share can be reckoned by hand.

Kill of the tables, thread to established: tines .7 .6 .35 .15 .05 in the row and between; sweeps
0 in the row, .85 .9 .88 .8 .6 between; wheel hoe 0 and .75 .8 .75 .6 .35; in the row alone fingers
.65 .6 .45 .2 .05 and brushes .6 .75 .75 .6 .35. The weather takes nothing off but where a test says
so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

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
    assert found.weeds["thread_m2"].mid == 40.0
    assert found.flush is not None
    assert found.flush.to_come_frac is not None
    assert found.flush.to_come_frac.mid == pytest.approx(0.2, abs=1e-12)


def test_too_early_waits_for_the_day_that_takes_nearly_the_best() -> None:
    when = at()
    draft = drafted(outlook(ALWAYS), weeds(EARLY, when), when)
    found = draft.answer
    assert (found.verdict, found.because, draft.urgency) == ("wait", "weeds_small", 0.0)
    assert found.until is not None
    assert (found.until.day, found.until.hour) == (13, 7)
    assert "1 in 10 now, 6 in 10 then" in found.why[0]


def test_early_but_never_fit_later_is_done_today() -> None:
    """What cannot be worked tomorrow and after is worth nothing then."""
    assert verdict(EARLY, [TODAY])[0] == "wait"  # .07 of 50 is less than 4 per m2 worth a pass
    some = ({"thread": 20.0, "to_come": 30.0}, *EARLY[2:])
    assert verdict(some, [TODAY]) == ("go", "")
    assert verdict(some, ALWAYS) == ("wait", "weeds_small")


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
    """Of 60 up .05 are left; 10 threads of a flush still to come wait until they are more."""
    assert verdict([{"seed_leaf": 3.0, "thread": 1.0}]) == ("nothing", "clean")
    rest = ({"seed_leaf": 3.0, "thread": 2.0, "to_come": 40.0}, {"thread": 35.0, "to_come": 10.0})
    assert verdict(rest) == ("wait", "weeds_small")


def test_a_pass_that_takes_less_than_a_fifth_waits_where_it_can() -> None:
    """.7 x 10 / 40 = .175 on every day; worth it only where there is no later day."""
    little: Sequence[Counts] = ({"thread": 10.0, "to_come": 30.0},)
    assert verdict(little) == ("wait", "weeds_small")
    assert verdict(little, [TODAY]) == ("go", "")
    assert verdict([{"thread": 12.0, "to_come": 28.0}]) == ("go", "")  # .21


def test_less_sure_than_four_in_ten_is_no_go() -> None:
    """Members that gain by waiting: .56 today, .7 x 45 / 50 = .63 tomorrow."""
    better: Sequence[Counts] = (RIPE[0], {"thread": 45.0, "to_come": 5.0}, RIPE[1])
    when = at()
    for n_better, is_go in ((4, True), (5, False)):
        stand = weeds(RIPE, when, of_member=dict.fromkeys(range(n_better), better))
        found = drafted(outlook(ALWAYS), stand, when).answer
        assert (found.verdict == "go") is is_go
        if is_go:
            assert found.sure == pytest.approx(1.0 - n_better / N_MEMBERS, abs=1e-12)
        else:
            assert found.until is not None
            assert found.why[0] == "4 in 10 that going today loses nothing; surer then"  # 3 of 8


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
    never = drafted(outlook([]), weeds(RIPE, when), when).answer
    assert (never.verdict, never.because) == ("wait", "wet")
    assert never.until is not None  # `wait` always says until when


def test_a_day_without_hours_waits_for_hours() -> None:
    now = day().now
    assert now.weekday() == 5
    for hours, until in (((6.0,) * 5 + (0.0, 6.0), 12), ((0.0,) * 7, None)):
        closed = day_of(farm((TINES,), replace(WORK, hours=hours)), sky(), 0, now)
        found = drafted(outlook(ALWAYS), weeds(RIPE, closed), closed).answer
        assert (found.verdict, found.because) == ("wait", "no_hours")
        assert found.until is not None
        assert found.until > now > START
        if until is not None:
            assert found.until.day == until


def test_a_pass_that_does_not_fit_into_the_fit_hours_waits() -> None:
    long = (replace(HOE, speed_m_s=0.01),)  # 4 runs of half an hour
    assert verdict(RIPE, [(NOW_HOUR + 3, NOW_HOUR + 4)], long) == ("wait", "no_hours")
    assert verdict(RIPE, [(NOW_HOUR + 3, NOW_HOUR + 4)], (HOE,)) == ("go", "")


# ------------------------------------------------------------------ tools


def without(of: Outlook, kind: str) -> Outlook:
    """The same, but soil that this kind of tool cannot work."""
    work = of.works[kind]
    wet = replace(work, is_workable=work.is_workable & False, chance_frac=0.0 * work.chance_frac)
    return replace(of, works={**of.works, kind: wet})


def tool_of(draft: Draft) -> str:
    assert draft.answer.action is not None
    return draft.answer.action.tool


def test_the_tool_that_takes_most_is_named_and_of_two_alike_the_quicker() -> None:
    """Of 40 threads sweeps take 34, the hoe 30, tines 28: nine tenths of the hoe, in one run."""
    when = at((TINES, SWEEPS, HOE))
    threads = weeds(RIPE[:1], when)
    assert tool_of(drafted(outlook(ALWAYS), threads, when)) == "sweeps"
    only = without(outlook(ALWAYS), "sweeps")
    assert tool_of(drafted(only, threads, when)) == "tines"
    grown = weeds([{"true_leaf": 40.0}], when)  # .75 against .35
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


@pytest.mark.parametrize(("age_d", "verdict"), [(59, "hand"), (61, "nothing")])
def test_the_hand_is_sent_within_sixty_days_of_sowing(age_d: int, verdict: str) -> None:
    when = at((SWEEPS, HOE))
    stand = in_the_row({"young": 20.0}, when)
    assert drafted(up(grown=onion(age_d)), stand, when).answer.verdict == verdict


def test_what_stands_between_the_rows_does_not_spare_the_hand_in_the_row() -> None:
    """Sweeps take .8 x .6 = .48 of all and none in the row: 20 young per m2 there are for the hand.

    Scene 6 of the design: weeds at six leaves in the row, not another useless pass.
    """
    when = at((SWEEPS,))
    both = weeds([{"young": 20.0}], when, row_share=0.4)
    found = drafted(up(), both, when).answer
    assert (found.verdict, found.because) == ("hand", "no_fit")
    assert found.why[0] == "20-20 grown weeds per m2 in the row beyond any shallow tool"
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
    found = drafted(up(leaves=leaves), in_the_row({"young": 20.0}, when), when)
    assert found.answer.verdict == verdict
    if verdict == "go":
        assert tool_of(found) == "brushes"
    elif FINGERS in tools:
        assert found.answer.why[1] == "a tool takes 2 in 10 of them at most"


def test_an_empty_bed_is_never_for_the_hand() -> None:
    assert verdict([{"young": 60.0}], tools=(SWEEPS,)) == ("go", "")
    assert verdict([{"young": 60.0}], tools=(TINES,))[0] != "hand"


def test_a_crop_that_covers_the_ground_takes_nothing() -> None:
    when = at((SWEEPS,))
    found = drafted(up(0.85), weeds([{"young": 20.0}], when, row_share=0.4), when).answer
    assert (found.verdict, found.because) == ("nothing", "crop_up")
    assert found.why == ("onion covers 85 % of the ground",)


def test_tines_take_what_they_still_can_of_grown_weeds_on_an_empty_bed() -> None:
    """(.35 x 30 + .6 x 10) / 40 = .41; the sweeps would take .88."""
    grown = ({"true_leaf": 30.0, "seed_leaf": 10.0},)
    when = at((TINES,))
    found = drafted(outlook(ALWAYS), weeds(grown, when), when).answer
    assert found.verdict == "go"
    assert found.killable_frac is not None
    assert found.killable_frac.mid == pytest.approx(0.4125, abs=1e-12)
    both = at((TINES, SWEEPS))
    assert tool_of(drafted(outlook(ALWAYS), weeds(grown, both), both)) == "sweeps"


# ------------------------------------------------------------------ rain after

LIKE_TODAY: Sequence[Counts] = ({"thread": 40.0, "to_come": 10.0},)


def rain_today() -> PassWeather:
    """Nothing dries what is uprooted before tonight's rain; after it all does."""
    dose = np.full(N_HOURS, 9.0)
    dose[: NOW_HOUR + 19] = 0.0
    return seen_weather(dose)


def test_a_pass_that_the_rain_after_it_would_spoil_waits_for_the_rain() -> None:
    """.825 of the kill of tines needs drying, .45 of that is left: .56 x (.175 + .371) = .31."""
    when = at()
    stand = weeds(LIKE_TODAY, when)
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
    found = drafted(outlook(ALWAYS), weeds(EARLY[1:], when), when, rain_today()).answer
    assert (found.verdict, found.because) == ("wait", "weeds_small")


def test_rain_on_every_day_is_no_reason_to_wait() -> None:
    when = at()
    found = drafted(
        outlook(ALWAYS), weeds(LIKE_TODAY, when), when, seen_weather(np.zeros(N_HOURS))
    ).answer
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


@pytest.mark.parametrize("fit_from", [NOW_HOUR + 2, NOW_HOUR + 8])
def test_no_blind_pass_is_offered_after_its_last_hour(fit_from: int) -> None:
    """Last blind hour 10:00; soil fit from 07:00, or only from 13:00."""
    last, when = NOW_HOUR + 5, at()
    of = blind(last, [(fit_from, NOW_HOUR + 15)])
    answer = drafted(of, weeds(RIPE, when), when).answer
    if fit_from < last:
        assert answer.verdict == "go"
        assert answer.action is not None
        assert (answer.action.start.hour, answer.action.end.hour) == (7, 10)
        assert "last blind hour Sat 10:00" in answer.why[0]
    else:
        assert (answer.verdict, answer.because) == ("wait", "crop_tender")
        assert answer.action is None
        assert answer.until == when.sky.at(NOW_HOUR + 90)
        assert "Sat 10:00" in answer.why[0]


def test_the_last_blind_hour_is_the_last_good_hour() -> None:
    """Weeds that a pass would take as well on every later day."""
    when = at()
    found = drafted(blind(NOW_HOUR + 30), weeds(RIPE[:1], when), when).answer
    assert found.verdict == "go"
    assert found.last_good_at is not None
    assert (found.last_good_at.day, found.last_good_at.hour) == (12, 11)


def test_the_blind_pass_that_cannot_wait_is_done_and_comes_first() -> None:
    """Few threads yet; the crop would be up before there are more."""
    some: Sequence[Counts] = ({"thread": 20.0, "to_come": 30.0}, *EARLY[2:])
    when = at()
    now = drafted(blind(NOW_HOUR + 14), weeds(some, when), when)
    assert now.answer.verdict == "go"
    later = drafted(blind(NOW_HOUR + 80), weeds(some, when), when).answer
    assert (later.verdict, later.because) == ("wait", "weeds_small")
    same: Sequence[Counts] = ({"thread": 20.0, "to_come": 30.0},)
    leisure = drafted(outlook(ALWAYS), weeds(same, when), when)
    assert leisure.answer.verdict == "go"
    assert now.urgency > leisure.urgency


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


def faulty(reason: str) -> pytest.MarkDecorator:
    return pytest.mark.xfail(strict=True, reason=reason)


@faulty("tools that take nothing here leave `closed_by` empty, as if there were no tool")
def test_a_farm_whose_tools_take_nothing_here_is_not_a_farm_without_tools() -> None:
    when = at((SWEEPS, HOE))
    found = drafted(up(), in_the_row({"young": 14.0}, when), when).answer
    assert (found.verdict, found.because) == ("nothing", "no_fit")
    assert "names no tool" not in found.why[0]


@faulty("a mat is gone over by whatever is offered, also by what takes none of it")
@pytest.mark.parametrize("tool", [Tool("rotor", "rotary hoe", 25.0, 1.1, width_m=0.8), TINES])
def test_a_mat_is_not_for_a_tool_that_hardly_takes_any(tool: Tool) -> None:
    assert matted(ALWAYS, 1.0, (tool,)).answer.verdict != "go"


@faulty("too few killed is called clean, however many stand")
def test_a_bed_of_established_weeds_that_no_tool_takes_is_not_clean() -> None:
    """Tines take 3 of 60 per m2."""
    assert verdict([{"established": 60.0}]) == ("nothing", "no_fit")


@faulty("the share that makes a dry pass ripe is not asked for")
def test_rain_is_no_reason_where_a_dry_pass_would_not_be_ripe_either() -> None:
    """.7 x 12 / 50 = .17 if dry, less than a fifth."""
    when = at()
    stand = weeds([{"thread": 12.0, "to_come": 38.0}], when)
    assert drafted(outlook(ALWAYS), stand, when).answer.because == "weeds_small"
    wet = drafted(outlook(ALWAYS), stand, when, rain_today()).answer
    assert (wet.verdict, wet.because) == ("wait", "weeds_small")


@faulty("whether a tool takes any is asked of this season's weeds alone")
def test_a_tool_that_takes_a_mat_is_offered_whatever_else_stands_in_the_row() -> None:
    when = at((SWEEPS,))
    stand = replace(in_the_row({"seed_leaf": 20.0}, when), standing_m2=np.full(N_MEMBERS, 100.0))
    assert drafted(up(), stand, when).answer.verdict == "go"


@faulty("the tool that takes most of a mat is named even where it alone cannot work")
def test_a_mat_is_for_the_best_of_the_tools_that_can_work_today() -> None:
    when = at((SWEEPS, HOE))
    stand = weeds([{}], when, standing_m2=100.0)
    found = drafted(without(outlook(ALWAYS), "sweeps"), stand, when)
    assert found.answer.verdict == "go"
    assert tool_of(found) == "hoe"


@faulty("hours after the crop has closed are counted as wet, or as hours that are short")
def test_a_crop_that_closes_before_the_pass_is_not_waited_for() -> None:
    when = at((SWEEPS,))
    grows = stage(cover=0.5, covered_hour=NOW_HOUR + 1)
    of = outlook(ALWAYS, grown=onion(), grows=grows)
    found = drafted(of, weeds([{"thread": 40.0}], when, row_share=0.4), when).answer
    assert (found.verdict, found.because) == ("nothing", "crop_up")


@faulty("until tomorrow, when no blind pass can be made any more")
def test_weeds_too_small_for_the_last_blind_pass_wait_for_the_crop() -> None:
    """5 threads per m2; the last blind hour is this evening."""
    when = at()
    found = drafted(blind(NOW_HOUR + 14), weeds(EARLY, when), when).answer
    assert (found.verdict, found.because) == ("wait", "crop_tender")
    assert found.until == when.sky.at(NOW_HOUR + 90)


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
