"""What a gardener's stopwatch and marked weeds change on the list. Everything is invented."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import pytest

from scheduler.planning.own_rates import AS_RECKONED
from scheduler.records import Bed, Event
from scheduler.service.basis import basis_of
from scheduler.service.own_rates import journal_rates
from scheduler.service.situation import Situation, situation, situation_of
from tests.scenes.made import MadeStore, local, made_farm, made_hours, observed

N_MEMBERS = 8
START = local(2013, 4, 5)
NOW = local(2013, 5, 10, 5, 30)
BEDS = tuple(Bed(f"M{n}", 18.0, 0.75, "middle") for n in (1, 2, 3))
FARM = made_farm(BEDS)
SOWN = local(2013, 4, 16, 9)
PASSED = local(2013, 5, 3, 11)
ROUND = local(2013, 5, 8, 9)
Entry = tuple[str, Any, str, dict[str, Any]]
PREPARED: Entry = ("prep", local(2013, 4, 26, 9), "M3", {"depth_mm": 100.0})
GARDEN: tuple[Entry, ...] = (
    PREPARED,
    *tuple(
        entry
        for bed in ("M1", "M2")
        for entry in (
            ("prep", SOWN - timedelta(hours=1), bed, {"depth_mm": 100.0}),
            ("plant", SOWN, bed, {"crop": "kale", "n_rows": 2, "row_spacing_mm": 375.0}),
            ("pass", PASSED, bed, {"tool": "hoe"}),
        )
    ),
)


def store(*more: Entry) -> MadeStore:
    found = MadeStore()
    n_hours = int((NOW - START) // timedelta(hours=1))
    rain = [(local(2013, 4, 14, 2), 14.0), (local(2013, 4, 24, 2), 12.0)]
    hours = made_hours(START, n_hours, mean_c=17.0, rain=rain)
    found.values = observed(START, hours)
    for kind, at, bed, data in sorted((*GARDEN, *more), key=lambda e: e[1]):
        found.log(kind, at, bed, **data)
    return found


def at_work(*more: Entry) -> Situation:
    of = store(*more)
    return situation(FARM, of, of, NOW, n_members=N_MEMBERS)


def by_hand(s: Situation, bed: str) -> float:
    """Minutes at the end of the days in sight, mean over particles."""
    return s.kept.ahead[bed].mean_min


@pytest.fixture(scope="module")
def plain() -> Situation:
    return at_work()


def test_without_entries_nothing_is_another(plain: Situation) -> None:
    assert plain.rates == AS_RECKONED
    assert plain.farm == FARM


def test_passes_timed_twice_as_long_take_longer_on_the_list(plain: Situation) -> None:
    slow = [("pass", PASSED + timedelta(hours=i), "M1", {"tool": "hoe", "work_min": 15.0})
            for i in range(1, 6)]  # fmt: skip
    found = at_work(*slow)
    (lesson,) = found.rates.lessons
    assert (lesson.what, lesson.of, lesson.n) == ("work", "hoe", 5)
    factor = found.rates.work_factor["hoe"]
    assert factor > 1.3
    before, after = (
        {d.answer.action.tool: d.answer.action.work_min for d in s.drafts if d.answer.action}
        for s in (plain, found)
    )
    both = set(before) & set(after)
    assert both
    for tool in both:
        assert after[tool] == pytest.approx(before[tool] * found.rates.work_factor[tool])
    assert found.farm.tools[2].work_factor == factor


def test_two_hours_for_two_minutes_are_doubted_and_change_nothing(plain: Situation) -> None:
    wrong = ("pass", PASSED + timedelta(hours=1), "M1", {"tool": "tines", "work_min": 120.0})
    right = ("pass", PASSED + timedelta(hours=1), "M1", {"tool": "tines"})
    found, same = at_work(wrong), at_work(right)
    assert [d.event.data["work_min"] for d in found.rates.doubts] == [120.0]
    assert found.drafts == same.drafts


def test_a_long_round_by_hand_slows_all_hands_more_where_the_weeds_were_looked_at(
    plain: Situation,
) -> None:
    reckoned = at_work(("hand", ROUND, "M1", {"work_min": 60.0}))
    (timed,) = reckoned.kept.rounds["M1"]
    ratio = 3.0
    unseen = at_work(("hand", ROUND, "M1", {"work_min": ratio * timed.reckoned_min}))
    assert 1.0 < unseen.rates.hand_factor < ratio
    assert by_hand(unseen, "M2") == pytest.approx(
        by_hand(plain, "M2") * unseen.rates.hand_factor, rel=1e-6
    )
    assert unseen.kept.rounds["M2"] == ()
    look = ("look", ROUND - timedelta(hours=1), "M1", {"n_true_leaf": 20, "n_young": 22,
                                                       "area_m2": 0.5})  # fmt: skip
    (known,) = at_work(look, ("hand", ROUND, "M1", {"work_min": 60.0})).kept.rounds["M1"]
    assert known.reckoned_ln_sd < 0.8 * timed.reckoned_ln_sd


def test_two_rounds_of_one_day_are_one(plain: Situation) -> None:
    one = at_work(("hand", ROUND, "M1", {"work_min": 40.0})).kept.rounds["M1"]
    parts = [("hand", ROUND + timedelta(hours=h), "M1", {"work_min": 20.0}) for h in (0, 3)]
    two = at_work(*parts).kept.rounds["M1"]
    assert [(t.found_min, t.reckoned_min) for t in one] == [(t.found_min, t.reckoned_min)
                                                            for t in two]  # fmt: skip


def test_survivors_move_the_kill_of_their_tool(plain: Situation) -> None:
    """Nearly all of twenty left after the hoe: it kills less from then on."""
    count = ("look", PASSED + timedelta(days=3), "M1", {"left_n": 17, "of_n": 20})
    found = at_work(count)
    (lesson,) = found.rates.lessons
    assert (lesson.what, lesson.of) == ("kill", "hoe")
    assert lesson.after.mid < lesson.before.mid
    assert found.rates.kill_ln["hoe"] < 0.0
    before, after = (s.weeds["M1"].density_m2(0).sum(axis=1).mean() for s in (plain, found))
    assert after > before  # more stand since that pass
    few = at_work((*count[:3], {"left_n": 1, "of_n": 20}))
    assert few.rates.kill_ln["hoe"] > 0.0


def test_kill_by_weather_and_weeds_is_near_the_tables() -> None:
    """Dry days, seed leaves for the most: what is reckoned here is what the journal alone gives."""
    count = ("look", PASSED + timedelta(days=3), "M1", {"left_n": 8, "of_n": 20})
    seen = at_work(count).rates.lessons[0].before.mid
    alone = journal_rates(FARM, store(count).events(NOW)).lessons[0].before.mid
    assert seen == pytest.approx(alone, abs=0.15)


def test_counts_after_hand_weeding_speak_of_no_tool() -> None:
    between = ("hand", PASSED + timedelta(days=1), "M1", {})
    count = ("look", PASSED + timedelta(days=3), "M1", {"left_n": 17, "of_n": 20})
    assert at_work(between, count).rates == AS_RECKONED
    late = ("look", PASSED + timedelta(days=6, hours=12), "M1", {"left_n": 17, "of_n": 20})
    assert at_work(late).rates != AS_RECKONED


@pytest.mark.parametrize(
    "more",
    [
        (("hand", ROUND, "M1", {"work_min": 200.0}),),
        (("pass", PASSED + timedelta(hours=1), "M2", {"tool": "hoe", "work_min": 15.0}),),
        (("look", PASSED + timedelta(days=3), "M2", {"left_n": 17, "of_n": 20}),),
    ],
)
def test_taken_up_again_it_is_the_same(plain: Situation, more: Sequence[Entry]) -> None:
    """A what-if that logs such an entry equals the list with it, to the last bit."""
    logged = [Event(f"m{i}", e[0], e[1], e[1], e[2], None, e[3]) for i, e in enumerate(more)]
    of = store()
    basis = basis_of(FARM, of, of, NOW, n_members=N_MEMBERS, more=logged)
    anew, again = situation_of(basis), situation_of(basis, plain.kept)
    assert again.rates == anew.rates != AS_RECKONED
    assert again.drafts == anew.drafts
    assert {d.answer.bed for d in again.drafts} == {"M1", "M2", "M3"}
    back = situation_of(plain.kept.basis, anew.kept)
    assert back.drafts == plain.drafts
