"""Looks in a played season: what is entered, which beds are chosen, and what the program learns."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import timedelta
from functools import lru_cache
from itertools import pairwise

import pytest

from scheduler.errors import UsageError
from scheduler.planning.season.belief import Belief, build_belief
from scheduler.planning.season.ours import (
    CHOSEN_LOOKS,
    N_SPROUTS,
    NO_LOOKS,
    RANDOM_LOOKS,
    WEEKLY_LOOK,
    Ours,
)
from scheduler.planning.season.play import PlayState, played
from scheduler.planning.season.rules import Never
from scheduler.planning.season.shapes import Eyes, Morning
from scheduler.planning.season.truth import truth_season
from scheduler.records import Event
from tests.planning.season.made import season, truth, world

PLENTY_MIN = 600.0


@lru_cache(maxsize=1)
def belief() -> Belief:
    return build_belief(world(), 4)


@lru_cache(maxsize=8)
def play_of(looks: str, size_ln: float | None = None) -> PlayState:
    """The program through the season; every bed so far from the median size if it is given."""
    one, at = truth(), season()
    if size_ln is not None:
        one = replace(one, farm_size_ln=size_ln, bed_size_ln=dict.fromkeys(one.bed_size_ln, 0.0))
        at = truth_season(world(), one)
    rule = Ours(belief(), 1.0, n_particles=8, looks=looks)
    return played(world(), one, rule, PLENTY_MIN, season=at)


def looks_of(state: PlayState) -> list[Event]:
    return [e for e in state.events if e.kind == "look"]


def by_day(state: PlayState) -> dict[object, set[str]]:
    found: dict[object, set[str]] = {}
    for event in looks_of(state):
        found.setdefault(event.happened_at.date(), set()).add(str(event.bed))
    return found


def test_a_weekly_look_is_entered_for_every_bed_in_use() -> None:
    state = play_of(WEEKLY_LOOK)
    days = sorted(by_day(state))
    apart = {(b - a).days for a, b in pairwise(days)}
    assert len(days) >= 8
    assert min(apart) >= 7
    both = [beds for beds in by_day(state).values() if len(beds) == 2]
    assert len(both) >= 5
    ids = Counter(e.event_id for e in looks_of(state))
    assert max(ids.values()) == 1


def test_sprouts_are_some_twenty_of_what_stands_with_some_misread() -> None:
    sprouts = [e.data for e in looks_of(play_of(WEEKLY_LOOK)) if "n_thread" in e.data]
    counts = [sum(int(n) for n in data.values()) for data in sprouts]
    assert max(counts) == N_SPROUTS
    assert min(counts) >= 1
    assert any(len([n for n in data.values() if n]) > 1 for data in sprouts)


def test_the_same_season_is_seen_the_same_way_again() -> None:
    once = looks_of(play_of(WEEKLY_LOOK))
    rule = Ours(belief(), 1.0, n_particles=8, looks=WEEKLY_LOOK)
    again = looks_of(played(world(), truth(), rule, PLENTY_MIN, season=season()))
    assert [(e.happened_at, e.bed, e.data) for e in again] == [
        (e.happened_at, e.bed, e.data) for e in once
    ]


def test_who_looks_passes_less_where_there_is_little_and_more_where_there_is_much() -> None:
    """A tenth and seven times the median flush; without a look both seasons are played alike."""
    little, much = -2.3, 2.0
    blind = [play_of(NO_LOOKS, size).bill().n_passes for size in (little, much)]
    looking = [play_of(WEEKLY_LOOK, size).bill().n_passes for size in (little, much)]
    assert blind[0] == blind[1]
    assert looking[0] < blind[0] <= looking[1]
    assert looking[1] > 2 * looking[0]


@pytest.mark.parametrize("looks", [CHOSEN_LOOKS, RANDOM_LOOKS])
def test_few_looks_rest_for_two_days_unless_a_pass_came_between(looks: str) -> None:
    state = play_of(looks)
    assert max(len(beds) for beds in by_day(state).values()) <= 2
    for bed in ("K1", "C1"):
        own = [e for e in state.events if e.bed == bed]
        seen = sorted({e.happened_at for e in own if e.kind == "look"})
        passes = [e.happened_at for e in own if e.kind == "pass" and e.data["worked"]]
        for a, b in pairwise(seen):
            assert b - a > timedelta(days=2) or any(a < at <= b for at in passes)


def test_looks_are_chosen_by_what_they_are_worth_and_else_by_lot() -> None:
    chosen, by_lot = (
        Ours(belief(), 1.0, n_particles=8, looks=looks) for looks in (CHOSEN_LOOKS, RANDOM_LOOKS)
    )
    w, n_other = world(), 0
    for day in belief().mornings:
        hour = int(w.days[day].open_hours[0])
        events = tuple(e for e in w.events if e.happened_at <= w.at(hour))
        morning = Morning(hour, day, PLENTY_MIN, events)
        one, other = chosen.looks(morning), by_lot.looks(morning)
        assert sorted(one) == sorted(other)
        n_other += one != other
    assert n_other >= 3


def test_a_rule_without_a_choice_cannot_have_eyes_that_ask_for_one() -> None:
    rule = Never(eyes=Eyes(looks_every_d=1, beds_a_look=2))
    with pytest.raises(UsageError, match="it has no `looks`"):
        played(world(), truth(), rule, PLENTY_MIN, season=season())
    with pytest.raises(UsageError, match="no looks 'often'"):
        Ours(belief(), looks="often")
