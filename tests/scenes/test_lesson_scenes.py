"""What looks change is told: on the bed's page, in a line of the list, in what is weakest today."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from scheduler import service
from scheduler.planning.weeds import UNKNOWNS
from scheduler.records import Event, Lesson
from scheduler.service.situation import situation_of
from tests.scenes.made import local
from tests.scenes.test_wrong_entries import (
    YESTERDAY,
    density_there,
    looked,
    made,
    plain,
    seen_there,
)

LATE = ({"n_thread": 17.0, "n_seed_leaf": 3.0}, {"n_thread": 19.0, "n_seed_leaf": 1.0})


def lessons(s: service.Situation, bed: str) -> dict[str, Lesson]:
    return {lesson.what: lesson for lesson in service.bed_page_of(s, bed).lessons}


def why(s: service.Situation, bed: str) -> str:
    morning = service.morning_of(s)
    line = next(a for a in (*morning.beds, *morning.not_reached) if a.bed == bed)
    return " | ".join(w for w in line.why if w.startswith("your looks"))


def late(*beds: str) -> service.Situation:
    """Two looks at each that find little but threads where the model has leaves."""
    return made(*(
        looked(bed, YESTERDAY - timedelta(days=1 - i), **data)
        for bed in beds for i, data in enumerate(LATE)
    ))  # fmt: skip


def test_threads_where_leaves_were_thought_make_the_bed_late() -> None:
    s = late("young")
    told = lessons(s, "young")["timing"]
    days = told.after.mid - told.before.mid
    assert days >= 1.0
    assert told.says == (
        f"Your looks say this bed runs {round(days)} days later than the model thought; adjusted."
    )
    assert f"{round(days)} days later than thought" in why(s, "young")
    assert told.n == 2
    page = service.bed_page_of(s, "young")
    assert [day.day for day in page.looks_on] == [22, 23]
    assert page.looks_of == ()


def test_what_is_told_is_what_the_list_goes_by() -> None:
    """The day of the most threads moves as the lesson says, and so do the stages on the page."""
    s, base = late("young"), plain()
    told = lessons(s, "young")["timing"]
    now, then = s.weeds["young"].course, base.weeds["young"].course
    assert now is not None
    assert then is not None
    assert now.thread_most_hour is not None
    assert then.thread_most_hour is not None
    moved = (now.thread_most_hour - then.thread_most_hour) / 24.0
    assert moved == pytest.approx(told.after.mid - told.before.mid, abs=2.5)  # two dates
    pages = [service.bed_page_of(one, "young") for one in (s, base)]
    after, before = (page.stages for page in pages)
    assert after is not None
    assert before is not None
    today = after.days.index(pages[0].day)
    share = [one.count_m2[today, 0] / one.count_m2[today].sum() for one in (after, before)]
    assert share[0] > share[1]


def test_leaves_where_threads_were_thought_make_it_early() -> None:
    s = made(looked("hoed", n_true_leaf=14.0, n_seed_leaf=6.0))
    told = lessons(s, "hoed")["timing"]
    assert told.after.mid < told.before.mid


def middle_there(bed: str) -> dict[str, float]:
    """Sprouts of the tenth of the particles in the middle by how far their weeds are."""
    stages = plain().weeds[bed].density_m2(0)
    share = stages[stages.sum(axis=1) > 0.0]
    share = share / share.sum(axis=1, keepdims=True)
    ranked = np.argsort(share @ np.arange(5.0))
    middle = ranked[int(0.45 * ranked.size) : int(0.55 * ranked.size)]
    names = ("n_thread", "n_seed_leaf", "n_true_leaf", "n_young", "n_established")
    counts = np.round(20.0 * share[middle].mean(axis=0))
    return {name: float(n) for name, n in zip(names, counts, strict=True) if n}


def test_what_was_thought_is_said_to_agree() -> None:
    s = made(looked("young", **middle_there("young")))
    told = lessons(s, "young")
    assert told["timing"].says == "Your looks and the model agree on timing within a day."
    assert why(s, "young") == ""


def test_fewer_weeds_than_thought() -> None:
    s = made(looked("young", **density_there("young", 0.1)))
    told = lessons(s, "young")["weeds"]
    assert told.after.mid < 0.5 * told.before.mid
    assert told.after.high - told.after.low < told.before.high - told.before.low
    assert "the weeds" in why(s, "young")


def test_a_neighbour_on_the_same_soil_moves_less_and_is_named_and_another_soil_stays() -> None:
    s = late("young")
    own, other = (lessons(s, bed)["timing"] for bed in ("young", "hoed"))
    moved = [abs(one.after.mid - one.before.mid) for one in (own, other)]
    assert 0.0 < moved[1] < moved[0]
    assert other.says.startswith("Looks at young on the same soil")
    assert service.bed_page_of(s, "hoed").looks_of == ("young",)
    assert why(s, "hoed") == ""  # of its own looks alone
    assert not {"timing", "weeds"} & set(lessons(s, "apart"))


def test_without_looks_nothing_is_told() -> None:
    page = service.bed_page_of(plain(), "young")
    assert page.looks_on == page.doubts == ()
    assert not {"timing", "weeds", "soil"} & {lesson.what for lesson in page.lessons}
    assert service.morning_of(plain()).doubts == ()
    assert why(plain(), "young") == ""


def test_before_is_what_the_model_says_without_the_looks() -> None:
    told = lessons(late("young"), "young")["weeds"]
    weeds = plain().weeds["young"]
    whole = weeds.density_m2(0).sum(axis=1) + weeds.standing_m2
    middle = float(np.median(whole))
    assert told.before.mid == pytest.approx(middle, rel=0.35)  # by fewer particles


# ------------------------------------------------------------- weakest today


def weakest(*more: Any) -> tuple[str, ...]:
    return service.morning_of(made(*more)).weakest_inputs


def test_what_is_weakest_names_the_lines_nobody_looked_at() -> None:
    assert weakest()[:2] == ("flush timing and size", "when this soil crumbles")
    lines = [a.bed for a in service.morning_of(plain()).beds if a.verdict == "go"]
    assert len(lines) > 1
    first = looked(lines[0], **seen_there(lines[0]))
    told = weakest(first)
    assert told[0].startswith("flush timing and size (")
    assert told[0].endswith(" not looked at)")
    assert lines[0] not in told[0]
    assert "hand seconds (not timed here)" in told
    assert not any("kept" in words for words in told)


def test_a_bed_whose_look_is_doubted_is_not_said_to_be_not_looked_at() -> None:
    lines = [a.bed for a in service.morning_of(plain()).beds if a.verdict == "go"]
    slip = looked(lines[0], thread=40_000.0)
    s = made(slip)
    assert s.kept.told[lines[0]].doubted
    assert lines[0] not in service.morning_of(s).weakest_inputs[0]


def test_where_all_lines_were_looked_at_the_flush_is_not_the_weakest() -> None:
    looks = [
        looked(bed, **seen_there(bed)) for bed in ("young", "grown", "hoed", "apart")
    ] + [looked("fresh", nothing=True)]  # fmt: skip
    assert not any("flush" in words for words in weakest(*looks))


def test_a_squeezed_soil_is_no_longer_among_the_weakest() -> None:
    felt = ("feel", YESTERDAY, "young", {"feel": "crumbles"})
    assert "when sand crumbles (not squeezed)" in weakest(felt)
    both = weakest(felt, ("feel", YESTERDAY, "apart", {"feel": "crumbles"}))
    assert not any("crumbles" in words for words in both)
    told = lessons(made(felt), "young")["soil"]
    assert (told.of, told.n) == ("middle", 1)
    assert "soil" not in lessons(made(felt), "apart")


# -------------------------------------------------------------- doubted ones


def test_a_doubted_entry_is_on_the_list_of_one_day_and_on_the_page_for_good() -> None:
    s = made(looked("fresh", n_true_leaf=20.0))
    assert len(service.morning_of(s).doubts) == 1
    later = replace(s, now=s.now + timedelta(days=1))
    assert service.morning_of(later).doubts == ()
    assert len(service.bed_page_of(later, "fresh").doubts) == 1


def test_one_look_that_sees_nothing_is_believed_against_the_model() -> None:
    s = made(looked("grown", local(2013, 5, 23, 9), nothing=True))
    assert service.morning_of(s).doubts == ()
    says = " ".join(one.says for one in service.bed_page_of(s, "grown").lessons)
    assert "Your looks say" in says


@pytest.mark.parametrize("data", [{"established": 25.0}, {"amount": "some"}])
def test_a_mat_seen_before_the_bed_was_prepared_is_believed(data: dict[str, Any]) -> None:
    """Twenty old weeds to the square metre are what a bed of unknown past is thought to have."""
    s = made(looked("hoed", local(2013, 5, 3, 9), **data))
    told = s.kept.told["hoed"]
    assert (len(told.groups), told.doubted) == (1, ())
    size = UNKNOWNS.index("size")
    assert abs(told.evidence.mean[size] * told.evidence.precision[size]) < 0.5


def test_a_pass_thought_of_for_later_teaches_nothing() -> None:
    """What stood when the look was made stood there, whatever is done tomorrow."""
    s = made(looked("young", amount="few"))
    at = local(2013, 5, 25, 9)
    act = Event("a1", "pass", at, at, "young", None, {"tool": "hoe", "depth_mm": 20.0})
    later = situation_of(replace(s.kept.basis, acts=(act,)))
    before, after = (one.kept.told["young"].evidence for one in (s, later))
    np.testing.assert_array_equal(after.mean, before.mean)
    np.testing.assert_array_equal(after.precision, before.precision)
