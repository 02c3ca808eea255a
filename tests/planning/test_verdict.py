"""Verdicts of one planting from made weeds: every share can be reckoned by hand.

Kill of the tables, thread to established: tines .7 .6 .35 .15 .05 in the row and between; sweeps
0 in the row, .85 .9 .88 .8 .6 between; wheel hoe 0 and .75 .8 .75 .6 .35.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.day import Day, day_of
from scheduler.planning.order import Draft, order_of_day
from scheduler.planning.outlook import Outlook
from scheduler.planning.verdict import day_hours, weed_hours, weed_verdict
from scheduler.planning.weeds import WeedOutlook
from scheduler.records import Bed, Tool
from scheduler.service.settings import hand_rates, kill_table, tool_traits
from tests.planning.made import (
    HOE,
    N_MEMBERS,
    NOW_HOUR,
    START,
    SWEEPS,
    TINES,
    WORK,
    Counts,
    day,
    farm,
    outlook,
    planting,
    sky,
    weeds,
)

ALWAYS = [(0, 24 * 20)]
TODAY = (NOW_HOUR - 5, NOW_HOUR + 19)  # midnight to midnight
# tines take .7 x 40 / 50 = .56 today, .6 x 20 / 50 + .35 x 30 / 50 = .45 tomorrow
RIPE: Sequence[Counts] = (
    {"thread": 40.0, "to_come": 10.0},
    {"seed_leaf": 20.0, "true_leaf": 30.0},
)
# .07 today, .28 tomorrow, .56 the day after, then .45
EARLY: Sequence[Counts] = (
    {"thread": 5.0, "to_come": 45.0},
    {"thread": 20.0, "to_come": 30.0},
    {"thread": 40.0, "to_come": 10.0},
    {"seed_leaf": 20.0, "true_leaf": 30.0},
)


def at(tools: Sequence[Tool] = (TINES,), now_hour: int = NOW_HOUR) -> Day:
    return day(farm(tools=tools), now_hour)


def drafted(of: Outlook, stand: WeedOutlook, when: Day) -> Draft:
    return weed_verdict(of, stand, when, tool_traits(), kill_table(), hand_rates())


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


def test_the_tool_that_takes_most_is_offered_and_one_that_cannot_work_is_not() -> None:
    when = at((TINES, SWEEPS, HOE))
    found = drafted(outlook(ALWAYS), weeds(RIPE[:1], when), when).answer
    assert found.action is not None
    assert found.action.tool == "sweeps"  # .85 against .7 and .75
    of = outlook(ALWAYS)
    wet = replace(of.works["sweeps"], is_workable=of.works["sweeps"].is_workable & False)
    wet = replace(wet, chance_frac=0.0 * wet.chance_frac)
    only = replace(of, works={**of.works, "sweeps": wet})
    found = drafted(only, weeds(RIPE[:1], when), when).answer
    assert found.action is not None
    assert found.action.tool == "hoe"


def up(cover: float = 0.1) -> Outlook:
    grown = replace(planting("onion", NOW_HOUR - 400), up_at=day().now)
    return outlook(ALWAYS, grown=grown, cover=cover)


def test_grown_weeds_in_the_row_are_for_the_hand_with_minutes() -> None:
    """Sweeps take nothing in the row; 20 young per m2 there, rows .4 of 13.5 m2.

    8 per m2 x 13.5 m2 x .0375 min + 3 rows x 18 m x .05 min = 6.75 min.
    """
    when = at((SWEEPS, HOE))
    stand = weeds([{"young": 20.0}], when, row_share=0.4, zones=(1.0, 0.0))
    found = drafted(up(), stand, when).answer
    assert (found.verdict, found.because) == ("hand", "no_fit")
    assert found.action is None
    assert found.minutes is not None
    assert found.minutes["by_hand"].mid == pytest.approx(6.75, abs=1e-9)
    fewer = weeds([{"young": 14.0}], when, row_share=0.4, zones=(1.0, 0.0))
    assert drafted(up(), fewer, when).answer.verdict == "nothing"  # no tool takes any
    five = weeds([{"established": 5.0}], when, row_share=0.4, zones=(1.0, 0.0))
    assert drafted(up(), five, when).answer.verdict == "hand"


@pytest.mark.parametrize(("age_d", "verdict"), [(59, "hand"), (61, "nothing")])
def test_the_hand_is_sent_within_sixty_days_of_sowing(age_d: int, verdict: str) -> None:
    when = at((SWEEPS, HOE))
    stand = weeds([{"young": 20.0}], when, row_share=0.4, zones=(1.0, 0.0))
    grown = replace(planting("onion", NOW_HOUR - 24 * age_d), up_at=day().now)
    assert drafted(outlook(ALWAYS, grown=grown), stand, when).answer.verdict == verdict


def test_grown_weeds_between_the_rows_are_for_the_sweeps() -> None:
    """.8 x .6 = .48 of all, more than the .3 below which the hand comes first."""
    when = at((SWEEPS,))
    stand = weeds([{"young": 20.0}], when, row_share=0.4)
    found = drafted(up(), stand, when).answer
    assert found.verdict == "go"
    assert found.killable_frac is not None
    assert found.killable_frac.mid == pytest.approx(0.48, abs=1e-12)


def test_a_crop_that_covers_the_ground_takes_nothing() -> None:
    when = at((SWEEPS,))
    found = drafted(up(0.85), weeds([{"young": 20.0}], when, row_share=0.4), when).answer
    assert (found.verdict, found.because) == ("nothing", "crop_up")


def test_an_empty_bed_of_grown_weeds_is_not_for_tines() -> None:
    grown = ({"true_leaf": 30.0, "seed_leaf": 10.0},)
    assert verdict(grown) == ("nothing", "no_fit")
    assert verdict(grown, tools=(TINES, SWEEPS)) == ("go", "")


# ------------------------------------------------------------------ blind


def blind(
    last_blind: float, fit: Sequence[tuple[int, int]] = ALWAYS, emergence: float = NOW_HOUR + 90.0
) -> Outlook:
    """Carrots sown six days ago."""
    grown = planting("carrot", NOW_HOUR - 150)
    return outlook(fit, grown=grown, emergence=emergence, last_blind=last_blind)


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


def test_sweeps_do_not_go_over_a_sown_row() -> None:
    when = at((SWEEPS,))
    found = drafted(blind(NOW_HOUR + 30), weeds(RIPE, when), when).answer
    assert (found.verdict, found.because) == ("nothing", "no_fit")


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


# ------------------------------------------------------------------ the list


def test_the_minutes_of_the_list_fit_the_hours() -> None:
    when = at((TINES, SWEEPS, HOE))
    long = [replace(planting(), bed=Bed(f"A{i}", 200.0 + i, 0.75, "middle")) for i in range(9)]
    drafts = [
        drafted(outlook(ALWAYS, grown=replace(p, to_m=p.bed.length_m)), weeds(RIPE[:1], when), when)
        for p in long
    ]
    assert {d.answer.verdict for d in drafts} == {"go"}
    lines, missed, planned, changes = order_of_day(drafts, 0.5, when)
    ranked = [line for line in lines if line.rank is not None]
    assert len(ranked) + len(missed) == 9
    assert 0 < len(ranked) < 9
    assert changes == 1
    told = sum(x.action.work_min + x.action.setup_min for x in ranked if x.action is not None)
    assert told == pytest.approx(planned, abs=1e-9)
    assert planned <= 30.0
