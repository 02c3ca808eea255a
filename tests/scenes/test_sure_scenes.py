"""How sure a list is told, after a farm's own lines were tried. Everything is invented."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from scheduler import service
from scheduler.adapters.render.answer_json import answer, schema
from scheduler.planning.sure import recalibrated
from scheduler.records import Bed, BedAnswer, Event, Morning
from scheduler.service.settings import sure_knots
from scheduler.service.sure import own_sure, tried_lines
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

N_MEMBERS = 8
START = local(2013, 4, 15)
BEDS = tuple(Bed(f"S{n}", 18.0, 0.75, "sand") for n in (1, 2))
FARM = made_farm(BEDS)
NOW = local(2013, 5, 20, 5, 30)
SAID = recalibrated(0.9, sure_knots())  # as a line that says 0.9 is told by the program
Line = Mapping[str, Any]


class MadeLists:
    """Lists as issued, one a day at 5:30, in memory."""

    def __init__(self, by_day: Mapping[datetime, list[Line]]) -> None:
        self.by_day = by_day
        self.n_asked = 0

    def write_list(self, as_of: datetime, recorded_at: datetime, answer: Line) -> int:
        raise AssertionError("nothing is written here")

    def latest_list(self, known_at: datetime) -> Line | None:
        return None

    def list_between(self, known_at: datetime, start_at: datetime, end_at: datetime) -> Line | None:
        self.n_asked += 1
        known = [at for at in self.by_day if start_at <= at < end_at and at <= known_at]
        if not known:
            return None
        return {"as_of": max(known).isoformat(), "beds": self.by_day[max(known)], "not_reached": []}


def line(bed: str, sure: float | None = 0.9, **more: Any) -> Line:
    said = {"bed": bed, "part": None, "verdict": "go", "sure": sure, "action": {"tool": "tines"},
            "minutes": {"saved": {"low": 1.0, "mid": 2.0, "high": 3.0}}}  # fmt: skip
    return {**said, **more}


def tried(n_days: int, n_wet: int, **more: Any) -> tuple[list[Event], MadeLists]:
    """A line a day, each tried at ten; the first `n_wet` found too wet."""
    store, lists = MadeStore(), {}
    for day in range(n_days):
        at = NOW - timedelta(days=n_days - day)
        lists[at] = [line("S1", **more)]
        found = {"worked": False, "found": "too wet"} if day < n_wet else {}
        store.log("pass", at + timedelta(hours=4, minutes=30), "S1", tool="tines", **found)
    return store.entries, MadeLists(lists)


def test_lines_tried_are_counted() -> None:
    events, lists = tried(30, 12)
    record = own_sure(FARM, events, lists, NOW)
    assert (record.n_lines, record.n_fit) == (30, 18)
    assert record.kept_frac == pytest.approx((18 + 20 * SAID) / (50 * SAID), abs=1e-6)


@pytest.mark.parametrize(
    "said",
    [
        {"tool": "sweeps"},  # another tool than the line's
        {"worked": False},  # says not why
        {"how": "poorly"},  # has more causes than one
    ],
)
def test_what_tells_nothing_is_not_counted(said: dict[str, Any]) -> None:
    store = MadeStore()
    store.log("pass", NOW - timedelta(hours=20), "S1", **{"tool": "tines", **said})
    lists = MadeLists({NOW - timedelta(days=1): [line("S1")]})
    assert tried_lines(FARM, store.entries, lists, NOW) == ()


def test_no_list_no_line_and_a_line_that_waits_are_not_counted() -> None:
    store = MadeStore()
    store.log("pass", NOW - timedelta(hours=20), "S1", tool="tines")
    before = NOW - timedelta(days=1)
    for said in ([], [line("S2")], [line("S1", None)], [line("S1", action=None)]):
        assert tried_lines(FARM, store.entries, MadeLists({before: said}), NOW) == ()
    assert tried_lines(FARM, store.entries, MadeLists({}), NOW) == ()


def test_a_list_made_after_the_pass_is_not_what_was_tried() -> None:
    store = MadeStore()
    store.log("pass", NOW - timedelta(hours=20), "S1", tool="tines")
    lists = MadeLists({NOW - timedelta(hours=18): [line("S1")]})
    assert tried_lines(FARM, store.entries, lists, NOW) == ()


def test_wet_at_ten_and_worked_at_four_is_one_line_that_came_right() -> None:
    store = MadeStore()
    store.log("pass", NOW - timedelta(hours=20), "S1", tool="tines", worked=False, found="too wet")
    store.log("pass", NOW - timedelta(hours=14), "S1", tool="tines")
    lists = MadeLists({NOW - timedelta(days=1): [line("S1")]})
    assert tried_lines(FARM, store.entries, lists, NOW) == ((SAID, True),)


def test_one_list_a_day_answers_for_all_its_lines() -> None:
    store = MadeStore()
    for bed, hours in (("S1", 20), ("S2", 18)):
        store.log("pass", NOW - timedelta(hours=hours), bed, tool="tines")
    lists = MadeLists({NOW - timedelta(days=1): [line("S1"), line("S2")]})
    assert len(tried_lines(FARM, store.entries, lists, NOW)) == 2
    assert lists.n_asked == 1


def test_what_the_members_said_counts_not_what_was_told() -> None:
    """Else a farm's own record would be taken off twice."""
    events, lists = tried(1, 0, sure=0.6, sure_of_members=0.95)
    ((stated, _),) = tried_lines(FARM, events, lists, NOW)
    assert stated == recalibrated(0.95, sure_knots())


def test_entries_of_later_do_not_count() -> None:
    events, lists = tried(30, 12)
    record = own_sure(FARM, events, lists, NOW - timedelta(days=10))
    assert record.n_lines <= 20


def test_no_more_than_sixty_lists_are_read() -> None:
    events, lists = tried(80, 20)
    record = own_sure(FARM, events, lists, NOW)
    assert (record.n_lines, record.n_fit) == (60, 60)  # the wet ones lie before
    assert lists.n_asked == 60


# ------------------------------------------------------------------ a whole morning


def spring() -> MadeStore:
    rain = [(local(2013, 5, 8, 2) + timedelta(hours=i), 2.0) for i in range(6)]
    store = MadeStore(values=observed(START, made_hours(START, 24 * 50, mean_c=17.0, rain=rain)))
    store.values = [v for v in store.values if v.end_at <= NOW]
    store.forecasts = [
        forecast(NOW - timedelta(minutes=25), made_hours(NOW.replace(minute=0), 240, mean_c=17.0))
    ]
    for bed in BEDS:
        store.log("prep", local(2013, 4, 20, 14), bed.name, depth_mm=90.0)
    return store


def listed(*, has_lists: bool) -> Morning:
    """A morning after 30 lines that were tried last winter, 12 of them on fit soil."""
    store, (events, lists) = spring(), tried(30, 18)
    shift = timedelta(days=150)
    for event in events:
        store.log("pass", event.happened_at - shift, event.bed, **event.data)
    lists.by_day = {at - shift: said for at, said in lists.by_day.items()}
    known = lists if has_lists else None
    return service.morning(FARM, store, store, NOW, lists=known, n_members=N_MEMBERS)


@pytest.fixture(scope="module")
def silent() -> Morning:
    return listed(has_lists=False)


@pytest.fixture(scope="module")
def muddy() -> Morning:
    return listed(has_lists=True)


def goes(morning: Morning) -> list[BedAnswer]:
    return [bed for bed in morning.beds if bed.verdict == "go"]


def test_the_record_lowers_what_is_told_and_nothing_else(silent: Morning, muddy: Morning) -> None:
    kept = (12 + 20 * SAID) / (50 * SAID)
    assert len(goes(silent)) == len(goes(muddy)) == 2
    for before, after in zip(goes(silent), goes(muddy), strict=True):
        assert before.sure is not None
        assert after.sure == pytest.approx(before.sure * kept, rel=1e-5)
        assert (before.bed, before.rank, before.action) == (after.bed, after.rank, after.action)
        assert (before.why, before.minutes) == (after.why, after.minutes)


def test_it_says_so_once_a_page_and_on_the_bed(silent: Morning, muddy: Morning) -> None:
    said = f"how sure (12 of 30 tried lines met fit soil, {30 * SAID:.0f} were to: told lower)"
    assert said in muddy.weakest_inputs
    assert said not in silent.weakest_inputs
    assert "of your 30 tried lines 12 found the soil fit" in goes(muddy)[0].details[-1]


def test_the_answer_keeps_both_figures(silent: Morning, muddy: Morning) -> None:
    told = answer(muddy)
    Draft202012Validator(schema()).validate(told)
    first = told["beds"][0]
    assert first["sure"] < first["sure_of_members"]
    assert (
        answer(silent)["beds"][0].get("sure_of_members", first["sure_of_members"])
        == (first["sure_of_members"])
    )
