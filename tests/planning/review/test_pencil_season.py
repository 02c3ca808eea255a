"""A season of three beds and six flushes that can be checked with a pencil. Everything is invented.

Every flush opens at hour 0 of its own day 0 and goes the same way if nothing is done: a pass takes
none of it up to day 4, then in a straight line up to 0.8 on day 8, 0.8 until day 10, and down in a
straight line to nought on day 18. The best single pass takes 0.8, so

- ripe, 0.7 of the best, is 0.56: day 4 + 4 x 0.56 / 0.8 = day 6.8;
- last good, 0.9 of the best, is 0.72: day 10 + 8 x 0.08 / 0.8 = day 10.8;
- a pass before it is ripe hits from 0.5 of the best on, 0.40: day 6.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from scheduler.planning.review.costs import Account, Rates, account, is_small, range_of, saving
from scheduler.planning.review.reasons import Chance, Told, best_chance, reason_of
from scheduler.planning.review.totals import Row, Work, totals_of
from scheduler.planning.review.windows import Course, Opened, Window, window_of
from scheduler.records import ReviewTotal

DAYS = np.arange(0.0, 31.0)
TAKEN = np.interp(DAYS, [0, 4, 8, 10, 18, 30], [0.0, 0.0, 0.8, 0.8, 0.0, 0.0])
STANDING = np.interp(DAYS, [0, 14, 30], [1.0, 0.6, 0.0])
COURSE = Course(24.0 * DAYS, TAKEN, STANDING, np.zeros((31, 2, 5)), np.zeros(1))
FIRST_ON = date(2013, 5, 6)  # a Monday; day 0 of every flush
PRICE = 1.0  # hand minutes a machine minute must save


def flush(*actions: tuple[float, str], end_day: float = 60.0) -> Window | None:
    """The window of one flush with what was done, days from its opening."""
    return window_of(
        Opened(0.0, "wetting"),
        COURSE,
        [(24.0 * day, kind) for day, kind in actions],
        None,
        24.0 * end_day,
    )


def chance(day: int, **told: object) -> Chance:
    """The hoe on one day of a window: all free, but for what is told."""
    plain: dict[str, object] = {
        "day": day, "tool": "hoe", "hour": 24.0 * day + 12.0, "is_fit": True, "unfit": "",
        "is_let_in": True, "closed": "", "is_open": True, "taken_by": "market 07:00 to 12:00",
        "has_room": True, "used_by": "", "work_min": 4.0, "setup_min": 0.0, "depth_mm": 20.0,
        "worth_min": 10.0 - abs(day - 9),
    }  # fmt: skip
    return Chance(**{**plain, **told})  # type: ignore[arg-type]


# Ten square metres, four of them in the rows. A weed by hand in a round: 3 s in the row, 1 s
# between. What is left at the end: 2 s in the row, 0.5 s between. The crop loses at most 6 min a
# day of its weed-free weeks, half of that under 10 grown weeds/m2.
RATES = Rates(
    round_s=np.array([[3.0] * 5, [1.0] * 5]),
    end_s=np.array([[2.0] * 6, [0.5] * 6]),
    area_m2=np.array([4.0, 6.0]),
    yield_min_d=6.0,
    half_m2=10.0,
    pull=np.array([0.0, 0.0, 0.0, 0.0, 1.0]),
)


def stands(rounds_m2: tuple[float, float], end_m2: tuple[float, float]) -> np.ndarray:
    """Established weeds at a round by hand and at the end, in the row and between."""
    count = np.zeros((1, 2, 2, 5))
    count[0, 0, :, 4] = rounds_m2
    count[0, 1, :, 4] = end_m2
    return count


def account_of(
    rounds_m2: tuple[float, float], end_m2: tuple[float, float], pressed_d: tuple[float, float]
) -> Account:
    none = np.zeros((1, 2, 2))
    return account(stands(rounds_m2, end_m2), none, [True, False], np.array(pressed_d), RATES)


# ---------------------------------------------------------------------- windows


def test_when_a_flush_is_ripe_and_how_long_it_is_good() -> None:
    window = flush((25.0, "pass"))
    assert window is not None
    assert window.ripe_hour / 24 == pytest.approx(6.8)
    assert window.last_good_hour / 24 == pytest.approx(10.8)


def test_bed_one_first_flush_was_hit() -> None:
    window = flush((9.0, "pass"))
    assert window is not None
    assert (window.outcome, window.closed_by, window.closed_hour / 24) == ("hit", "pass", 9.0)


@pytest.mark.parametrize(("day", "outcome"), [(6.1, "hit"), (5.9, None), (10.7, "hit")])
def test_bed_one_second_flush_was_taken_early_or_not_at_all(
    day: float, outcome: str | None
) -> None:
    """On day 6.1 a pass takes 0.42, over 0.40; on day 5.9 it takes 0.38."""
    window = flush((day, "pass"))
    assert (None if window is None else window.outcome) == outcome


def test_bed_two_first_flush_passed_the_pass_came_late() -> None:
    window = flush((12.0, "pass"))
    assert window is not None
    assert (window.outcome, window.usable_to / 24) == ("missed", pytest.approx(10.8))


def test_bed_two_second_flush_was_weeded_by_hand_in_its_window() -> None:
    window = flush((8.0, "hand weeding"))
    assert window is not None
    assert (window.outcome, window.closed_by, window.usable_to / 24) == (
        "missed",
        "hand weeding",
        8.0,
    )


def test_bed_three_first_flush_never_ripened_it_was_prepared() -> None:
    assert flush((5.0, "preparation")) is None
    late = flush((7.0, "preparation"))
    assert late is not None
    assert late.outcome == "missed"


def test_bed_three_second_flush_is_open_when_the_record_ends_in_its_window() -> None:
    window = flush(end_day=9.0)
    assert window is not None
    assert (window.outcome, window.closed_by) == ("open", "end")
    over = flush(end_day=20.0)
    assert over is not None
    assert over.outcome == "missed"


def test_a_flush_that_comes_in_dribs_ends_when_it_has_outgrown_the_tool() -> None:
    """What is taken stays at its best to the end, but from day 13 on not half of what stands."""
    taken = np.interp(DAYS, [0, 4, 8, 30], [0.0, 0.0, 0.8, 0.8])
    standing = np.interp(DAYS, [0, 10, 15], [1.0, 0.8, 0.3])
    dribs = Course(24.0 * DAYS, taken, standing, np.zeros((31, 2, 5)), np.zeros(1))
    window = window_of(Opened(0.0, "pass"), dribs, [], None, 24.0 * 60)
    assert window is not None
    assert window.last_good_hour / 24 == 14.0  # 0.5 is reached on day 13, 0.4 on day 14


# ---------------------------------------------------------------------- reasons


def test_bed_two_first_flush_free_days_and_a_list_that_named_it() -> None:
    """Days 7 to 10: wet, market, free, free; the list of day 9 named the bed."""
    days = [
        chance(7, is_fit=False, unfit="wet"),
        chance(8, is_open=False),
        chance(9),
        chance(10),
    ]
    reason = reason_of(days, {8: Told("wait", "wet"), 9: Told("go", "")})
    assert (reason.reason, reason.days) == ("not_done", (9,))
    best = best_chance(days)
    assert best is not None
    assert (best.day, best.worth_min) == (9, 10.0)


def test_bed_two_second_flush_only_the_market_stood_in_the_way() -> None:
    days = [chance(7, is_fit=False, unfit="wet"), chance(8, is_open=False)]
    reason = reason_of(days, {})
    assert (reason.reason, reason.what) == ("no_hours", "market 07:00 to 12:00")


# ------------------------------------------------------------------------ costs


def test_bed_two_first_flush_costs_what_a_round_and_the_end_tell() -> None:
    """Without the pass a round takes 12 weeds/m2 in the row and 20 between, and 2 and 4 are left.

    By hand 4 x 12 x 3 + 6 x 20 x 1 = 144 + 120 = 264 s; left 4 x 2 x 2 + 6 x 4 x 0.5 = 16 + 12 =
    28 s; 292 s, 4.8667 min. With the pass 3 and 5 are taken by hand, and 1 and 4 are left:
    4 x 3 x 3 + 6 x 5 x 1 = 36 + 30 = 66 s; left 4 x 1 x 2 + 6 x 4 x 0.5 = 8 + 12 = 20 s; 86 s,
    1.4333 min. It saves 206 s, 3.4333 min. Its own 4 minutes at 0.5 taken off leave 1.4333 min.
    """
    without = account_of((12.0, 20.0), (2.0, 4.0), (0.0, 0.0))
    with_pass = account_of((3.0, 5.0), (1.0, 4.0), (0.0, 0.0))
    assert without.hand_min[0] == pytest.approx(292.0 / 60.0)
    assert with_pass.hand_min[0] == pytest.approx(86.0 / 60.0)
    worth = saving(without, with_pass)
    assert worth.hand_min[0] == pytest.approx(206.0 / 60.0)
    assert worth.cost_min(0.5, 4.0)[0] == pytest.approx(206.0 / 60.0 - 2.0)


def test_bed_two_first_flush_yield_is_told_apart() -> None:
    """Five days of the weed-free weeks at the round: 4 x 12 + 6 x 20 = 168 weeds on 10 m2, 16.8/m2.

    16.8 / (16.8 + 10) = 0.62687, 5 d x 6 min x 0.62687 = 18.806 min. With the pass 4.2/m2:
    4.2 / 14.2 = 0.29577, 8.873 min. Lost for want of it 9.933 min, and no hand minute among them.
    """
    without = account_of((12.0, 20.0), (2.0, 4.0), (5.0, 0.0))
    with_pass = account_of((3.0, 5.0), (1.0, 4.0), (5.0, 0.0))
    worth = saving(without, with_pass)
    assert worth.yield_min[0] == pytest.approx(30.0 * (16.8 / 26.8 - 4.2 / 14.2))
    assert worth.yield_min[0] == pytest.approx(9.933, abs=5e-4)
    assert worth.hand_min[0] == pytest.approx(206.0 / 60.0)


def test_bed_three_flush_is_small() -> None:
    """A round of 1 weed/m2 in the row and 1 between: 4 x 1 x 3 + 6 x 1 = 18 s. Not 3 minutes."""
    without = account_of((1.0, 1.0), (0.0, 0.0), (0.0, 0.0))
    none = account_of((0.0, 0.0), (0.0, 0.0), (0.0, 0.0))
    worth = saving(without, none)
    assert worth.hand_min[0] == pytest.approx(0.3)
    assert is_small(worth.cost_min(PRICE, 4.0), worth.yield_min)
    dear = account_of((40.0, 60.0), (0.0, 0.0), (0.0, 0.0))  # 480 + 360 s = 14 min, less 4
    assert not is_small(saving(dear, none).cost_min(PRICE, 4.0), worth.yield_min)


def test_a_pass_that_opens_more_than_it_takes_costs() -> None:
    """Nothing taken, 6 seeds/m2 opened in the row that will cost 2 s each: 4 x 6 x 2 = 48 s."""
    none = account_of((0.0, 0.0), (0.0, 0.0), (0.0, 0.0))
    to_come = np.zeros((1, 2, 2))
    to_come[0, 1, 0] = 6.0
    with_pass = account(stands((0.0, 0.0), (0.0, 0.0)), to_come, [True, False], np.zeros(2), RATES)
    assert saving(none, with_pass).hand_min[0] == pytest.approx(-0.8)


# ----------------------------------------------------------------------- totals


def test_totals_of_the_season() -> None:
    """Two missed windows of bed two, one hit and one small, in two weeks.

    Not done, hoe, 12 May (week of the 6th): 10 or 20 min by two particles, yield 5. No hours, hoe,
    14 May (week of the 13th): 4 or 2 min. By the bed 14 or 22 min: the range of the sums, not the
    sum of the ranges. Machine: 6 min with the hoe on bed one, 4 on bed two. Hand: 30 min there.
    The hoe saved 1 or 9 min and 8 or 2: 9 or 11 together.
    """
    second = FIRST_ON + timedelta(days=8)
    rows = [
        Row("1 beet", "beet", FIRST_ON, is_missed=False),
        Row("2 beet", "beet", FIRST_ON + timedelta(days=6), True, "not_done", "hoe",
            np.array([10.0, 20.0]), np.array([5.0, 5.0])),
        Row("2 beet", "beet", second, True, "no_hours", "hoe",
            np.array([4.0, 2.0]), np.zeros(2)),
        Row("3 empty bed", None, second, is_missed=False),
    ]  # fmt: skip
    work = [
        Work("1 beet", "beet", FIRST_ON, 6.0, tool="hoe", saved_min=np.array([1.0, 9.0])),
        Work("2 beet", "beet", second, 4.0, tool="hoe", saved_min=np.array([8.0, 2.0])),
        Work("2 beet", "beet", second, hand_min=30.0),
    ]
    totals = totals_of(rows, work)
    bed_two = totals["planting"][0]
    assert (bed_two.name, bed_two.n_windows, bed_two.n_missed) == ("2 beet", 2, 2)
    assert bed_two.cost_min == range_of(np.array([14.0, 22.0]))
    assert (bed_two.yield_min.mid, bed_two.machine_min, bed_two.hand_min) == (5.0, 4.0, 30.0)
    assert [(t.name, t.cost_min.mid) for t in totals["reason"]] == [
        ("not_done", 15.0),
        ("no_hours", 3.0),
    ]
    assert [(t.name, t.cost_min.mid, t.machine_min) for t in totals["week"]] == [
        ("2013-05-06", 15.0, 6.0),
        ("2013-05-13", 3.0, 4.0),
    ]
    hoe = totals["tool"][0]
    assert (hoe.name, hoe.n_missed, hoe.machine_min) == ("hoe", 2, 10.0)
    assert hoe.saved_min == range_of(np.array([9.0, 11.0]))
    assert totals["season"] == (
        ReviewTotal("season", 4, 2, range_of(np.array([14.0, 22.0])), range_of(np.full(2, 5.0)),
                    10.0, 30.0, hoe.saved_min),
    )  # fmt: skip
    assert {t.name: t.n_windows for t in totals["crop"]} == {"beet": 3, "empty bed": 1}


def test_every_heading_tells_of_the_same_minutes() -> None:
    rows = [
        Row(f"{n} beet", "beet", FIRST_ON + timedelta(days=n), True, "no_list", "hoe",
            np.full(3, float(n)), np.zeros(3))
        for n in range(1, 6)
    ]  # fmt: skip
    totals = totals_of(rows, [])
    sums = {heading: sum(t.cost_min.mid for t in each) for heading, each in totals.items()}
    assert sums == dict.fromkeys(("season", "planting", "crop", "tool", "week", "reason"), 15.0)
