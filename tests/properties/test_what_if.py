"""A what-if of nothing is the list; it is what the list would say; more rain helps no wet bed."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler import service
from scheduler.adapters.render.answer_json import answer_text
from scheduler.adapters.render.whatif_json import whatif_answer
from scheduler.adapters.render.whatif_text import whatif_text
from scheduler.planning.whatif import Changes
from scheduler.service.situation import situation_of
from tests.scenes.made import local
from tests.scenes.what_if_made import (
    FARM,
    N_MEMBERS,
    NOW,
    act,
    ask,
    both,
    fell,
    kept,
    lines,
    rain,
    spring,
)

TONIGHT = local(2013, 5, 20, 20)
TOMORROW = local(2013, 5, 21, 10)
HOUR = timedelta(hours=1)
ASKED = {
    "rain tonight": rain(15.0, TONIGHT),
    "no rain": Changes(is_dry=True),
    "water now": Changes(acts=(act("water", "L1", water_mm=8.0),)),
    "water tomorrow": Changes(acts=(act("water", "S2", TOMORROW, water_mm=8.0),)),
    "pass now": Changes(acts=(act("pass", "L1"),)),
    "pass tomorrow": Changes(acts=(act("pass", "S1", TOMORROW),)),
    "pass yesterday": Changes(logged=(act("pass", "S1", NOW - 19 * HOUR),)),
    "rain last night": Changes(logged=(fell(14.0, NOW - 11 * HOUR, NOW - 2 * HOUR),)),
    "rain ten days ago": Changes(logged=(fell(14.0, NOW - 240 * HOUR, NOW - 234 * HOUR),)),
}


def test_a_what_if_of_nothing_is_the_list_to_the_last_digit() -> None:
    store = spring()
    listed = service.morning(FARM, store, store, NOW, n_members=N_MEMBERS)
    found = ask(Changes())
    assert answer_text(found.before) == answer_text(listed)
    assert answer_text(found.after) == answer_text(listed)
    assert all(p.is_same for p in found.plantings)
    assert found.before_totals == found.after_totals
    assert "Nothing changes: the list stands." in whatif_text(found)
    assert not any(p["changed"] for p in whatif_answer(found)["plantings"])
    json.dumps(whatif_answer(found), allow_nan=False)


@pytest.mark.parametrize("name", ASKED)
def test_going_on_from_the_list_is_computing_all_anew(name: str) -> None:
    """Every figure, to the last digit; and something is another."""
    found = ask(ASKED[name])
    store = spring()
    anew = service.what_if(FARM, store, store, NOW, ASKED[name], n_members=N_MEMBERS)
    assert answer_text(found.after) == answer_text(anew.after)
    assert [p.hand_change_min for p in found.plantings] == [
        p.hand_change_min for p in anew.plantings
    ]
    assert any(not p.is_same for p in found.plantings)


@pytest.mark.parametrize("name", ["rain last night", "pass yesterday"])
def test_what_is_taken_as_logged_is_what_logging_it_gives(name: str) -> None:
    (event,) = ASKED[name].logged
    store = spring()
    store.entries.append(event)
    logged = service.morning(FARM, store, store, NOW, n_members=N_MEMBERS)
    assert answer_text(ask(ASKED[name]).after) == answer_text(logged)
    assert answer_text(ask(Changes()).after) != answer_text(logged)


PAIRS = [
    ("pass now", "water tomorrow"),
    ("pass yesterday", "water now"),
    ("pass tomorrow", "water now"),
    ("rain tonight", "pass now"),
]


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_changes_on_different_beds_commute(one: str, other: str) -> None:
    first, second = both(ASKED[one], ASKED[other]), both(ASKED[other], ASKED[one])
    assert answer_text(ask(first).after) == answer_text(ask(second).after)


def test_a_change_on_one_bed_leaves_the_others_what_they_are() -> None:
    """Both changes together give each bed what its own change gives it alone."""
    alone = [lines(ask(ASKED[name])) for name in ("pass now", "water tomorrow")]
    together = lines(ask(both(ASKED["pass now"], ASKED["water tomorrow"])))
    assert repr(together["L1"].weeds) == repr(alone[0]["L1"].weeds)
    assert repr(together["S2"].soil) == repr(alone[1]["S2"].soil)
    assert repr(together["L2"].soil) == repr(lines(ask(Changes()))["L2"].soil)


def test_beds_that_nothing_reaches_keep_their_verdict_unreckoned() -> None:
    from dataclasses import replace

    from scheduler.service.basis import surfaces_of

    basis = kept().basis
    acts = (act("water", "L1", water_mm=8.0),)
    watered = replace(
        basis,
        acts=acts,
        surfaces=surfaces_of(basis.plantings, (*basis.events, *acts), basis.series),
    )
    found = situation_of(watered, kept())
    assert set(found.outlooks) == {"L1"}
    for key in ("S1", "S2", "L2"):
        assert found.kept.drafts[key] is kept().drafts[key]


@settings(max_examples=10, deadline=None)
@given(
    less=st.floats(0.0, 25.0),
    more=st.floats(0.5, 25.0),
    begins_h=st.integers(1, 40),
    lasts_h=st.integers(1, 8),
)
def test_more_rain_never_makes_a_bed_workable_earlier_the_same_day(
    less: float, more: float, begins_h: int, lasts_h: int
) -> None:
    """For every bed: the first workable hour of the list, up to the end of the day of the rain."""
    at = NOW.replace(minute=0) + begins_h * HOUR
    day_ends = local((at - 4 * HOUR).year, (at - 4 * HOUR).month, (at - 4 * HOUR).day) + 24 * HOUR
    drier, wetter = (lines(ask(rain(mm, at, lasts_h))) for mm in (less, less + more))
    for bed, line in wetter.items():
        first, then = drier[bed].soil.workable_from, line.soil.workable_from
        if then is not None and then < day_ends:
            assert first is not None, bed
            assert first <= then, bed
