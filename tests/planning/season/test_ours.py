"""The program as a rule: what it names, what it leaves, what a visit in vain changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest

from scheduler.errors import UsageError
from scheduler.planning.day import Day
from scheduler.planning.order import Draft
from scheduler.planning.season.belief import Belief, build_belief
from scheduler.planning.season.ours import PARTS, Oracle, Ours
from scheduler.planning.season.play import play, played
from scheduler.planning.season.rules import Never
from scheduler.planning.season.shapes import Choose, Morning
from scheduler.planning.season.world import World
from scheduler.records import Event
from tests.planning.season.made import season, truth, world

PLENTY_MIN = 600.0
WET = tuple((float(day), 12.0 + 6.0 * (day % 4)) for day in range(38, 130, 3))  # in the evening


@lru_cache(maxsize=1)
def belief() -> Belief:
    return build_belief(world(), 4)


@lru_cache(maxsize=1)
def wet_belief() -> Belief:
    return build_belief(world(rain=WET), 4)


def ours(price: float = 1.0, **options: object) -> Ours:
    return Ours(belief(), price, n_particles=8, **options)  # type: ignore[arg-type]


def mornings(w: World, every: int = 4) -> list[Morning]:
    """Mornings of a bed on which nothing but the plan has been done."""
    found = []
    for day in list(belief().mornings)[::every]:
        hour = int(w.days[day].open_hours[0])
        events = tuple(e for e in w.events if e.happened_at <= w.at(hour))
        found.append(Morning(hour, day, PLENTY_MIN, events))
    return found


def lines(rule: Ours, morning: Morning) -> dict[str, Choose]:
    return {choose.planting_key: choose for choose in rule.passes(morning)}


def test_it_names_tools_that_the_crop_lets_in_and_says_how_sure_it_is() -> None:
    w, n = world(), 0
    for morning in mornings(w, 2):
        for choose in ours().passes(morning):
            names = [way.tool.name for way in w.ways[morning.day, choose.planting_key]]
            assert choose.tool in names
            assert choose.sure is not None
            assert 0.0 <= choose.sure <= 1.0
            n += 1
    assert n > 10


def test_a_higher_price_adds_no_pass() -> None:
    counts = np.zeros(4, int)
    for morning in mornings(world(), 3):
        named = [set(lines(ours(price), morning)) for price in (0.25, 1.0, 4.0, 100.0)]
        for cheap, dear in pairwise(named):
            assert dear <= cheap
        counts += [len(beds) for beds in named]
    assert counts[0] > counts[2] > counts[3] == 0


class _Drafting(Ours):
    """Keeps the drafts of each bed before the order of the day, where beds share set-ups."""

    drafted: Mapping[str, Draft]

    def _ordered(self, drafts: Sequence[Draft], morning: Morning, day: Day) -> tuple[Choose, ...]:
        self.drafted = {draft.answer.bed: draft for draft in drafts}
        return super()._ordered(drafts, morning, day)


def _drafts(told: Belief, morning: Morning) -> Mapping[str, Draft]:
    rule = _Drafting(told, 1.0, n_particles=8)
    rule.drafted = {}
    rule.passes(morning)
    return rule.drafted


@pytest.mark.parametrize("bed", ["K1", "C1"])
def test_what_a_pass_is_worth_does_not_hang_on_another_bed(bed: str) -> None:
    """Which tool is named may: beds share a set-up, which must pay. No figure of a tool may."""
    told, n_beside = belief(), 0
    for morning in mornings(world(), 2):
        believed = told.mornings[morning.day]
        one = replace(believed, beds={b: soil for b, soil in believed.beds.items() if b == bed})
        alone = replace(told, mornings={morning.day: one})
        events = tuple(event for event in morning.events if event.bed == bed)
        both = _drafts(told, morning)
        assert _drafts(alone, replace(morning, events=events)).get(bed) == both.get(bed)
        n_beside += len(both) > 1
    assert n_beside > 10


def _visit(morning: Morning, bed: str, tool: str, hours: float, *, worked: bool) -> Morning:
    at = world().at(morning.hour + hours)
    data = {"tool": tool, "worked": worked} | ({} if worked else {"found": "too wet"})
    event = Event(f"visit {bed}", "pass", at, at, bed, None, data)
    events = (*morning.events, event)
    return Morning(morning.hour, morning.day, PLENTY_MIN, events)


def test_a_bed_found_unfit_is_not_named_again_that_day() -> None:
    morning = next(m for m in mornings(world(), 1) if "K1" in lines(ours(), m))
    choose = lines(ours(), morning)["K1"]
    after = lines(ours(), _visit(morning, "K1", choose.tool, 0.0, worked=False))
    assert "K1" not in after


def test_visits_weigh_the_members_of_that_soil_alone() -> None:
    found = wet_belief()
    day = list(found.mornings)[20]
    believed = found.mornings[day]
    past = found.past["K1"].is_fit["sweeps"]
    hour = max(h for h in range(believed.hour) if 0 < past[:, h].sum() < 4)
    morning = Morning(believed.hour, day, PLENTY_MIN, ())
    visit = _visit(morning, "K1", "sweeps", hour - believed.hour, worked=True)
    weights = Ours(found, n_particles=8)._weights(visit, believed)
    said_fit = past[:, hour]
    assert weights["middle"][said_fit].min() > 2.0 * weights["middle"][~said_fit].max()
    assert weights["sandy"].tolist() == [0.25] * 4
    untaught = Ours(found, n_particles=8, without=("visits",))._weights(visit, believed)
    assert untaught["middle"].tolist() == [0.25] * 4


def test_a_season_with_it_costs_fewer_hand_minutes_than_none() -> None:
    none = play(world(), truth(), Never(), 60.0, season=season())
    with_it = play(world(), truth(), ours(0.5), 60.0, season=season())
    assert with_it.n_passes > 3
    assert with_it.hand_min < 0.9 * none.hand_min
    assert with_it.stated.size >= with_it.n_passes // 2


def test_the_oracle_wastes_no_visit_and_needs_the_truth() -> None:
    oracle = Oracle(world(), 1.0)
    with pytest.raises(UsageError, match="truth"):
        oracle.passes(mornings(world(), 10)[2])
    bill = play(world(), truth(), oracle, 60.0, season=season())
    none = play(world(), truth(), Never(), 60.0, season=season())
    assert (bill.n_vain, bill.vain_min) == (0, 0.0)
    assert bill.n_passes > 0
    assert bill.hand_min < 0.8 * none.hand_min


def test_a_pass_that_the_truth_forbids_beats_nothing() -> None:
    oracle = Oracle(world(), 1.0)
    state = played(world(), truth(), Never(), 60.0, season=season())
    assert not oracle.beats_leaving(state, Choose("K1", "sweeps", 0.9))


@pytest.mark.parametrize("part", PARTS)
def test_a_part_left_out_changes_what_is_named_or_how(part: str) -> None:
    """Each on mornings that show it; set-ups and order only where the day is short."""
    rule, whole = ours(without=(part,)), ours()
    assert rule.name == f"{whole.name} without {part}"
    named = sum(len(rule.passes(morning)) for morning in mornings(world(), 8))
    assert named > 0


def test_without_blind_passes_none_goes_before_the_rows_are_seen() -> None:
    w, n_before = world(), 0
    for morning in mornings(w, 3):
        for bed in lines(ours(), morning):
            plot = w.plot_at(bed, morning.hour)
            assert plot is not None
            n_before += morning.hour < plot.up_hour
        for bed in lines(ours(without=("blind",)), morning):
            plot = w.plot_at(bed, morning.hour)
            assert plot is not None
            assert morning.hour >= plot.up_hour
    assert n_before > 0


def test_a_planner_that_does_not_know_the_soil_goes_where_none_is_fit() -> None:
    told, w = wet_belief(), world(rain=WET)
    n_unfit = []
    for left_out in ((), ("soil",)):
        rule, n = Ours(told, 1.0, n_particles=8, without=left_out), 0
        for day, believed in told.mornings.items():
            hour = int(w.days[day].open_hours[0])
            events = tuple(e for e in w.events if e.happened_at <= w.at(hour))
            for bed, choose in lines(rule, Morning(hour, day, PLENTY_MIN, events)).items():
                key = w.tables.kit.rules.tools[choose.tool].key
                n += not believed.beds[bed].is_fit[key][:, :13].any()
        n_unfit.append(n)
    assert n_unfit[0] == 0
    assert n_unfit[1] > 0


def test_an_unknown_part_is_refused() -> None:
    with pytest.raises(UsageError, match="moon"):
        ours(without=("moon",))
