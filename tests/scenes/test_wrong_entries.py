"""Ten kinds of wrong entries: each is flagged and changes nothing, or is harmless, as measured.

Harmless: at most one verdict of the four other beds is another; and one good look after it brings
the bed's weeds back to within a factor of two of what they are with the good look alone, and its
flush to within two days. Everything is invented.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from scheduler import service
from scheduler.adapters.journal.entries import checked_entry
from scheduler.errors import WhitethreadError
from scheduler.records import Bed, BedAnswer, Event, Morning
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

START, NOW = local(2013, 4, 10), local(2013, 5, 24, 5, 30)
YESTERDAY = local(2013, 5, 23, 9)
BEDS = tuple(Bed(name, 18.0, 0.75, "middle") for name in ("fresh", "young", "grown", "hoed"))
FARM = made_farm((*BEDS, Bed("apart", 18.0, 0.75, "sand")))
N_MEMBERS = 8
Entry = tuple[str, datetime, str, dict[str, Any]]
PAST: tuple[Entry, ...] = (
    ("prep", local(2013, 5, 22, 12), "fresh", {"depth_mm": 90.0}),
    ("prep", local(2013, 5, 12, 12), "young", {"depth_mm": 90.0}),
    ("prep", local(2013, 4, 28, 12), "grown", {"depth_mm": 90.0}),
    ("plant", local(2013, 4, 28, 14), "grown", {"crop": "kale", "n_rows": 2,
                                               "row_spacing_mm": 375.0}),
    ("prep", local(2013, 5, 4, 12), "hoed", {"depth_mm": 90.0}),
    ("pass", local(2013, 5, 16, 12), "hoed", {"tool": "hoe", "depth_mm": 20.0, "work_min": 8.0}),
    ("prep", local(2013, 5, 10, 12), "apart", {"depth_mm": 90.0}),
)  # fmt: skip


def looked(bed: str, at: datetime = YESTERDAY, **data: Any) -> Entry:
    return ("look", at, bed, data)


_MADE: dict[str, service.Situation] = {}


def made(*more: Entry) -> service.Situation:
    """The farm with what was done and more entries; kept, as several tests ask for the same."""
    if repr(more) not in _MADE:
        _MADE[repr(more)] = _made(more)
    return _MADE[repr(more)]


def _made(more: Sequence[Entry]) -> service.Situation:
    n_hours = int((NOW.replace(minute=0) - START) / timedelta(hours=1))
    rain = [(local(2013, 5, d, 2 + i), 1.5) for d in (1, 5, 9, 13, 17, 20) for i in range(4)]
    rain += [(local(2013, 5, 17, 2 + i), 4.0) for i in range(4)]
    store = MadeStore(values=observed(START, made_hours(START, n_hours, mean_c=16.0, rain=rain)))
    hours = made_hours(NOW.replace(minute=0), 240, mean_c=16.0)
    store.forecasts.append(forecast(NOW - timedelta(minutes=25), hours))
    for kind, at, bed, data in sorted((*PAST, *more), key=lambda e: e[1]):
        store.log(kind, at, bed, **{**data, "recorded_at": max(at, YESTERDAY)})
    return service.situation(FARM, store, store, NOW, n_members=N_MEMBERS)


def plain() -> service.Situation:
    return made()


def lines(s: service.Situation) -> dict[str, BedAnswer]:
    morning = service.morning_of(s)
    return {a.bed: a for a in (*morning.beds, *morning.not_reached)}


def total_m2(s: service.Situation, bed: str) -> float:
    weeds = s.weeds[bed]
    whole = weeds.density_m2(0).sum(axis=1) + weeds.standing_m2 + weeds.to_come_m2(0)
    return float(weeds.weights @ whole)


def emergence_d(s: service.Situation, bed: str) -> float:
    """Days from now to when most threads stand."""
    course = s.weeds[bed].course
    assert course is not None
    hour = course.thread_most_hour
    return float("nan") if hour is None else (hour - s.sky.now_hour) / 24.0


def seen_there(bed: str, n: int = 20) -> dict[str, float]:
    """Honest sprouts of a bed: the mean particle's stages."""
    weeds = plain().weeds[bed]
    stages = weeds.weights @ weeds.density_m2(0)
    counts = np.round(n * stages / stages.sum())
    names = ("n_thread", "n_seed_leaf", "n_true_leaf", "n_young", "n_established")
    return {name: float(c) for name, c in zip(names, counts, strict=True) if c}


def density_there(bed: str, times: float = 1.0) -> dict[str, float]:
    """Honest weeds per m2 of a bed, or so many times that."""
    weeds = plain().weeds[bed]
    stages = times * (weeds.weights @ weeds.density_m2(0))
    names = ("thread", "seed_leaf", "true_leaf", "young", "established")
    return {name: round(float(c), 1) for name, c in zip(names, stages, strict=True)}


def assert_flagged(s: service.Situation, kind: str, bed: str) -> Morning:
    """It is told on the list and on the bed's page, and nothing else is another."""
    morning = service.morning_of(s)
    assert [(d.event.kind, d.event.bed) for d in morning.doubts] == [(kind, bed)]
    assert morning.doubts[0].why
    assert service.bed_page_of(s, bed).doubts == morning.doubts
    before = service.morning_of(plain())
    assert morning.beds == before.beds
    assert morning.not_reached == before.not_reached
    return morning


def verdicts(s: service.Situation, but: str) -> dict[str, str]:
    return {bed: a.verdict for bed, a in lines(s).items() if bed != but}


def assert_harmless(wrong: Entry, good: Entry, *given: Entry) -> None:
    """As the head of this file says."""
    bed = wrong[2]
    healed, alone = made(*given, wrong, good), made(*given, good)
    for stands, base in ((made(*given, wrong), made(*given)), (healed, alone)):
        now, then = verdicts(stands, bed), verdicts(base, bed)
        assert sum(now[other] != then[other] for other in then) <= 1
    assert 0.5 < total_m2(healed, bed) / total_m2(alone, bed) < 2.0
    assert abs(emergence_d(healed, bed) - emergence_d(alone, bed)) <= 2.0


def test_1_wrong_bed() -> None:
    """True leaves by the score in a bed that was prepared two days ago."""
    morning = assert_flagged(made(looked("fresh", n_true_leaf=20.0)), "look", "fresh")
    why = morning.doubts[0].why
    assert "prepared on 22 May" in why
    assert "Wrong bed" in why


def test_1_opposite_the_same_look_where_it_belongs_is_learned_from() -> None:
    s = made(looked("grown", **seen_there("grown")))
    assert not service.morning_of(s).doubts
    assert s.kept.told["grown"].groups


def test_2_a_unit_slip_of_a_hundred_is_flagged() -> None:
    assert_flagged(made(looked("young", **density_there("young", 100.0))), "look", "young")


@pytest.mark.parametrize("times", [1.0 / 10.76, 10.76], ids=["per ft2 as per m2", "and back"])
def test_2_square_feet_for_square_metres_do_no_lasting_harm(times: float) -> None:
    good = looked("young", YESTERDAY + timedelta(hours=5), **density_there("young"))
    assert_harmless(looked("young", **density_there("young", times)), good)


def test_3_a_look_dated_before_the_weeds_are_followed_is_not_read() -> None:
    s = made(looked("young", local(2013, 3, 1, 9), n_true_leaf=20.0))
    assert lines(s) == lines(plain())


def test_3_a_look_dated_before_the_bed_was_prepared_does_no_lasting_harm() -> None:
    """Of yesterday, logged as of the week before the bed's preparation."""
    wrong = looked("young", local(2013, 5, 9, 9), **seen_there("young"))
    assert_harmless(wrong, looked("young", **seen_there("young")))


def test_4_a_look_logged_twice_counts_little_more_than_once() -> None:
    look = looked("young", **seen_there("young"))
    once, twice = made(look), made(look, look)
    assert total_m2(twice, "young") == pytest.approx(total_m2(once, "young"), rel=0.25)
    assert abs(emergence_d(twice, "young") - emergence_d(once, "young")) <= 1.0
    assert {b: a.verdict for b, a in lines(twice).items()} == {
        b: a.verdict for b, a in lines(once).items()
    }


def test_4_a_wrong_look_logged_twice_is_doubted_like_once() -> None:
    """The same words minutes later are no second look that agrees; hours later they are one."""
    slip = density_there("young", 100.0)
    at = YESTERDAY
    twice = made(looked("young", at, **slip), looked("young", at + timedelta(minutes=2), **slip))
    assert_flagged(twice, "look", "young")
    again = made(looked("young", at, **slip), looked("young", at + timedelta(hours=3), **slip))
    assert not service.morning_of(again).doubts


def test_5_true_leaves_for_threads() -> None:
    """Flagged where no true leaf can be yet; else one good look mends it."""
    assert_flagged(made(looked("fresh", n_true_leaf=18.0, n_seed_leaf=2.0)), "look", "fresh")
    wrong = looked("young", n_true_leaf=18.0, n_seed_leaf=2.0)
    assert_harmless(wrong, looked("young", YESTERDAY + timedelta(hours=5), **seen_there("young")))


def test_6_nothing_in_a_full_bed_is_believed_until_the_next_look() -> None:
    """The eye outranks the model where it sees few: a wrong one costs the days to the next look."""
    wrong = looked("grown", nothing=True)
    assert not service.morning_of(made(wrong)).doubts
    assert total_m2(made(wrong), "grown") < 0.1 * total_m2(plain(), "grown")
    here = density_there("grown")
    good = looked("grown", YESTERDAY + timedelta(hours=5), **here)
    healed = made(wrong, good)
    assert [d.event.data for d in service.morning_of(healed).doubts] == [wrong[3]]
    assert 0.5 < total_m2(healed, "grown") / total_m2(made(good), "grown") < 2.0


def test_6_opposite_nothing_in_a_bed_that_is_still_clean_is_learned_from() -> None:
    s = made(looked("fresh", nothing=True))
    assert not service.morning_of(s).doubts
    assert s.kept.told["fresh"].groups


def test_7_a_look_from_before_it_was_weeded_by_hand() -> None:
    """Weeded on the 22nd; what stood on the 21st is logged as of the 23rd."""
    weeded: Entry = ("hand", local(2013, 5, 22, 15), "grown", {})
    weeds = made(weeded).weeds["grown"]
    left = weeds.weights @ weeds.density_m2(0)
    names = ("thread", "seed_leaf", "true_leaf", "young", "established")
    counted = {name: round(float(n), 1) for name, n in zip(names, left, strict=True)}
    good = looked("grown", YESTERDAY + timedelta(hours=5), **counted)
    assert left.sum() < 0.3 * sum(density_there("grown").values())
    assert_harmless(looked("grown", **density_there("grown")), good, weeded)


def test_8_more_survivors_than_were_marked_are_refused_when_logged() -> None:
    event = Event("look-1", "look", YESTERDAY, YESTERDAY, "hoed", None, {"left_n": 24, "of_n": 20})
    with pytest.raises(WhitethreadError, match="24 of 20"):
        checked_entry(event)
    checked_entry(replace(event, data={"left_n": 4, "of_n": 20}))


def test_9_two_hours_for_a_pass_of_two_minutes() -> None:
    at = local(2013, 5, 23, 12)
    timed: Entry = ("pass", at, "young", {"tool": "hoe", "depth_mm": 20.0, "work_min": 400.0})
    untimed: Entry = ("pass", at, "young", {"tool": "hoe", "depth_mm": 20.0})
    s, without = made(timed), made(untimed)
    morning = service.morning_of(s)
    assert [(d.event.kind, d.event.bed) for d in morning.doubts] == [("pass", "young")]
    assert lines(s) == lines(without)


def test_10_hard_on_soaked_soil() -> None:
    """A handful called hard on the morning after 22 mm."""
    said: Entry = ("feel", local(2013, 5, 17, 8), "grown", {"feel": "hard"})
    assert_flagged(made(said), "feel", "grown")


@pytest.mark.parametrize("area_m2", [0.025, 2.5])
def test_11_a_decimal_slip_in_the_area_of_a_quadrat_does_no_lasting_harm(area_m2: float) -> None:
    """Ten times too many or too few, with an honest look of the day before; one alone is a vote."""
    counts = seen_there("young", n=40)
    good = looked("young", YESTERDAY + timedelta(hours=5), **density_there("young"))
    before = looked("young", YESTERDAY - timedelta(days=1), **density_there("young"))
    assert_harmless(looked("young", **counts, area_m2=area_m2), good, before)
