"""Looks and squeeze tests of spring, and what is left of them in summer and a year on. Invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from scheduler import service
from scheduler.adapters.render.answer_json import answer_text
from scheduler.planning.former import block_of, shift_prior
from scheduler.planning.looks import AS_TABLED, SHARED_SIZE_FRAC, pooled
from scheduler.planning.squeeze import AS_DRAWN
from scheduler.planning.weeds import UNKNOWNS
from scheduler.planning.whatif import Changes
from scheduler.records import Bed, Event, WeatherValue
from scheduler.service import former
from scheduler.service.basis import Basis, basis_of
from scheduler.service.former import with_former
from scheduler.service.situation import Situation, situation_of
from tests.scenes.made import MadeStore, local, made_farm, made_hours, observed

N_MEMBERS = 8
BEDS = (
    Bed("M1", 18.0, 0.75, "middle"),
    Bed("M2", 18.0, 0.75, "middle"),
    Bed("S1", 18.0, 0.75, "silt"),
)
FARM = made_farm(BEDS)
SUMMER = local(2013, 7, 20, 5, 30)
NEXT_YEAR = local(2014, 5, 20, 5, 30)
SIZE = UNKNOWNS.index("size")
LOOKS = tuple(
    (local(2013, 4, day, 7), {"n_thread": threads, "n_seed_leaf": seed_leaves, "area_m2": 0.1})
    for day, threads, seed_leaves in ((12, 6, 14), (16, 2, 18), (20, 0, 20))
)
STICKY = tuple(local(2013, 4, day, hour) for day, hour in ((8, 14), (9, 7), (17, 14), (18, 7)))


def spell(start_at: datetime, end_at: datetime) -> list[WeatherValue]:
    n_hours = int((end_at - start_at) // timedelta(hours=1))
    rain = [
        (start_at + timedelta(days=9 * i + 2, hours=3), 13.0) for i in range(n_hours // 216 + 1)
    ]
    return observed(start_at, made_hours(start_at, n_hours, rain=rain))


@lru_cache(maxsize=1)
def weather() -> tuple[WeatherValue, ...]:
    """Spring and summer of one year, spring of the next."""
    first = spell(local(2013, 3, 1), SUMMER.replace(minute=0))
    return (*first, *spell(local(2014, 3, 10), NEXT_YEAR.replace(minute=0)))


def garden(*, looks: bool = False, feels: bool = False) -> MadeStore:
    """Kale of spring, cleared in June; M1 was looked at, M2 was felt."""
    store = MadeStore(values=list(weather()))
    for bed in ("M1", "M2", "S1"):
        store.log("prep", local(2013, 4, 5, 9), bed, depth_mm=100.0)
        store.log("plant", local(2013, 4, 5, 10), bed, crop="kale", n_rows=2,
                  row_spacing_mm=375.0)  # fmt: skip
        store.log("clear", local(2013, 6, 20, 10), bed)
    for at, data in LOOKS if looks else ():
        store.log("look", at, "M1", **data)
    for at in STICKY if feels else ():
        store.log("feel", at, "M2", feel="smears")
    return store


def basis(store: MadeStore, now: datetime = SUMMER, more: Sequence[Event] = ()) -> Basis:
    return basis_of(FARM, store, store, now, n_members=N_MEMBERS, more=more)


def at(now: datetime, store: MadeStore, shelf: Shelf | None = None) -> Situation:
    return service.situation(FARM, store, store, now, n_members=N_MEMBERS, former=shelf)


class Shelf:
    """Lessons in memory, with marks of the weather of a made store."""

    def __init__(self, of: MadeStore) -> None:
        self.of = of
        self.found: dict[str, Mapping[str, Any]] = {}
        self.n_put = 0

    def get(self, key: str) -> Mapping[str, Any] | None:
        return self.found.get(key)

    def put(self, key: str, found: Mapping[str, Any]) -> None:
        self.found[key] = found
        self.n_put += 1

    def weather_marks(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> dict[str, str]:
        marks: dict[str, list[float]] = {}
        for v in self.of.weather_values(known_at, start_at, end_at):
            marks.setdefault(f"{v.start_at:%Y-%m-%d}", []).append(v.value)
        return {day: f"{len(values)} {sum(values)!r}" for day, values in marks.items()}


@pytest.fixture
def no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: Any) -> None:
        raise AssertionError("a block was worked out")

    monkeypatch.setattr(former, "former_of", refused)


@lru_cache(maxsize=1)
def looked() -> Situation:
    return at(SUMMER, garden(looks=True))


def test_in_summer_a_bed_is_thought_of_as_its_looks_of_spring_taught() -> None:
    found = looked()
    (lesson,) = found.kept.basis.lessons
    assert (lesson.bed, lesson.soil, lesson.years) == ("M1", "middle", 0)
    assert found.kept.told == {}
    thought = {key: known.scores for key, known in found.learned.items()}
    assert set(thought) == {"M1", "M2"}  # silt was never looked at
    for bed in ("M1", "M2"):
        expected = pooled(bed, "middle", [lesson])
        np.testing.assert_array_equal(thought[bed].mean, expected.mean)
        np.testing.assert_array_equal(thought[bed].sd, expected.sd)
    own, other = (abs(thought[bed].mean[SIZE]) for bed in ("M1", "M2"))
    assert own > 0.5
    assert other == pytest.approx(SHARED_SIZE_FRAC * own, rel=0.1)
    assert thought["M1"].sd[SIZE] < 0.7 * AS_TABLED.sd[SIZE]


def test_looks_say_no_more_once_they_count_together_than_one_by_one_before() -> None:
    """The last days of May follow the weeds back to April, those of June do not."""
    clock = UNKNOWNS.index("clock")
    made = garden(looks=True)
    alone, together = (at(local(2013, *day, 5, 30), made) for day in ((5, 30), (6, 1)))
    assert (set(alone.kept.told), set(together.kept.told)) == ({"M1"}, set())
    before, after = (s.learned["M1"].scores for s in (alone, together))
    for i in (clock, SIZE):
        assert after.sd[i] == pytest.approx(before.sd[i], rel=0.15)


def test_a_year_on_it_counts_half_as_far_and_after_two_no_more() -> None:
    made = garden(looks=True)
    (now,) = looked().kept.basis.lessons
    (then,) = with_former(basis(made, NEXT_YEAR), made).lessons
    assert then.years == 1
    np.testing.assert_array_equal(then.mean, now.mean)
    np.testing.assert_array_equal(then.precision, now.precision)
    first, later = (pooled("M1", "middle", [one]) for one in (now, then))
    assert later.mean[SIZE] == pytest.approx(0.5 * first.mean[SIZE])
    assert later.sd[SIZE] > first.sd[SIZE]
    made.values += spell(local(2015, 3, 10), local(2015, 4, 10))
    assert with_former(basis(made, local(2015, 4, 10, 5)), made).lessons == ()


def test_a_look_taken_back_leaves_no_trace() -> None:
    made = garden(looks=True)
    for event in [e for e in made.entries if e.kind == "look"]:
        made.entries.append(
            Event(f"u{event.event_id}", "undo", SUMMER, SUMMER, supersedes=event.event_id)
        )
    found = with_former(basis(made), made)
    assert found.lessons == ()
    plain = garden()
    assert found.key() == with_former(basis(plain), plain).key()


def test_without_entries_of_before_nothing_is_run_or_read(no_more: None) -> None:
    made = garden()
    made.log("look", local(2013, 7, 2, 7), "M1", nothing=True)
    made.log("feel", local(2013, 7, 1, 7), "M2", feel="crumbles")
    made.log("look", local(2013, 4, 12, 7), "gone", n_thread=5, n_seed_leaf=0, area_m2=0.1)
    bare = basis(made)
    made.values.clear()
    found = with_former(bare, made, Shelf(made))
    assert found.lessons == ()
    assert found.thought == {}
    before, after = situation_of(bare), situation_of(found)
    assert answer_text(service.morning_of(before)) == answer_text(service.morning_of(after))


def test_what_was_kept_gives_the_same_bits_and_nothing_is_run(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = garden(looks=True, feels=True)
    shelf = Shelf(made)
    said: list[str] = []
    first = with_former(basis(made), made, shelf, lambda message, _: said.append(message))
    assert said == ["learning from the looks of April, once"]
    assert shelf.n_put == 1
    bare = basis(made)
    monkeypatch.setattr(former, "former_of", None)
    again = with_former(bare, made, shelf, lambda message, _: said.append(message))
    assert len(said) == 1
    assert again.key() == first.key()
    assert again.key() != bare.key()
    (shelved,) = shelf.found
    for harm in ({}, {"weeds": [1], "soils": []}, {"weeds": [["M1", "m", [0.0], []]], "soils": []}):
        shelf.found[shelved] = harm
        with pytest.raises(TypeError):  # it would be worked out
            with_former(bare, made, shelf)


def test_only_what_a_block_rests_on_makes_it_work_out_again() -> None:
    made = garden(looks=True)
    shelf = Shelf(made)

    def n_anew() -> int:
        before = shelf.n_put
        with_former(basis(made), made, shelf)
        return shelf.n_put - before

    assert n_anew() == 1
    made.log("pass", local(2013, 6, 10, 9), "M1", tool="hoe")
    made.log("rain", local(2013, 6, 11, 9), rain_mm=4.0, start_at="2013-06-10T12:00+00:00",
             end_at="2013-06-11T12:00+00:00")  # fmt: skip
    made.values += observed(SUMMER, {"rain_mm": np.zeros(3)})
    assert n_anew() == 0
    made.log("pass", local(2013, 4, 19, 9), "M1", tool="hoe", recorded_at=SUMMER)
    assert n_anew() == 1
    made.values += observed(local(2013, 2, 27), {"rain_mm": np.ones(12)})
    assert n_anew() == 1


def test_soil_that_stayed_sticky_in_spring_is_thought_to_in_summer() -> None:
    made = garden(feels=True)
    found = with_former(basis(made), made)
    thought = found.thought["middle"]
    assert thought.mean_m3m3 < -0.004
    assert thought.sd_m3m3 < AS_DRAWN.sd_m3m3
    later = with_former(basis(made, NEXT_YEAR), made).thought["middle"]
    assert thought.mean_m3m3 < later.mean_m3m3 < 0.0
    of, plain = situation_of(found), situation_of(basis(garden()))
    np.testing.assert_allclose(
        of.ensemble.members["middle"].working_m3m3,
        plain.ensemble.members["middle"].working_m3m3 + thought.mean_m3m3,
        rtol=1e-12, atol=0.0,
    )  # fmt: skip
    silt = [one.ensemble.members["silt"].working_m3m3 for one in (of, plain)]
    np.testing.assert_array_equal(*silt)


def test_squeeze_tests_count_one_by_one_until_one_is_older_than_the_profiles() -> None:
    made = garden(feels=True)  # 8 to 18 April, block to 30 April
    young = with_former(basis(made, local(2013, 5, 22, 5)), made)
    assert young.thought == {}
    assert young.feels_from is not None
    assert young.feels_from <= STICKY[0]
    old = with_former(basis(made, local(2013, 5, 24, 5)), made)
    assert set(old.thought) == {"middle"}
    assert old.feels_from is not None
    assert old.feels_from > STICKY[-1]


def test_a_what_if_is_what_computing_anew_gives() -> None:
    made = garden(looks=True)
    kept = looked().kept
    look = Event("w1", "look", local(2013, 4, 22, 7), SUMMER, "M2", None, {"amount": "many"})
    asked = service.what_if(
        FARM, made, made, SUMMER, Changes(logged=(look,)), n_members=N_MEMBERS, kept=kept
    )
    anew = situation_of(with_former(basis(made, more=(look,)), made))
    assert len(anew.kept.basis.lessons) == 2
    assert answer_text(asked.after) == answer_text(service.morning_of(anew))
    assert answer_text(asked.before) == answer_text(service.morning_of(looked()))
    other = with_former(basis(made, more=(look,)), made)
    on = situation_of(other, kept)
    for bed in ("M1", "M2"):
        np.testing.assert_array_equal(on.learned[bed].scores.mean, anew.learned[bed].scores.mean)


def test_a_what_if_of_today_takes_the_lessons_over(no_more: None) -> None:
    made = garden(looks=True)
    kept = looked().kept
    look = Event("w1", "look", SUMMER, SUMMER, "M2", None, {"nothing": True})
    other = with_former(basis(made, more=(look,)), made, like=kept.basis)
    assert other.lessons is kept.basis.lessons


def test_a_soil_alone_counts_by_its_prior() -> None:
    made = garden(feels=True)
    (first,) = former.former_of(block_of(STICKY[0].date()), basis(made), made).soils
    assert first.soil == "middle"
    assert shift_prior([first]).mean_m3m3 == pytest.approx(
        with_former(basis(made), made).thought["middle"].mean_m3m3
    )
