"""Visits as squeeze tests: what they do to a soil's members, and to the line of the day."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from functools import lru_cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from scheduler.models.workability import chance
from scheduler.planning.day import day_of
from scheduler.planning.ensemble import Ensemble, run_ensemble, soil_members
from scheduler.planning.order import Draft
from scheduler.planning.outlook import WorkOutlook, ground_of, met_by
from scheduler.planning.plantings import surface_table
from scheduler.planning.visits import (
    FIT,
    NOT_TOO_WET,
    TOO_HARD,
    TOO_WET,
    after_refusal,
    learned_weights,
    refused_today,
    taught,
    visit_weights,
    visits_of,
)
from scheduler.records import (
    Action,
    Bed,
    BedAnswer,
    BoolArray,
    Event,
    FloatArray,
    Planting,
    Soil,
    SoilAnswer,
    Tool,
)
from scheduler.service.settings import soil_prior, spread, tool_traits, weed_heat
from tests.planning.made import HOE, START, SWEEPS, TINES, farm, sky

N = 16
N_HOURS = 24 * 45
NOW = 24 * 35 + 5
STORED = 24 * 5
RAINS = range(24 * 6, NOW, 24 * 5)  # 20 mm from midnight, every five days
FLAMER = Tool("flamer", "flame", 0.0, 0.65, width_m=0.75)
TOOLS = (TINES, SWEEPS, HOE, FLAMER)
SOILS = {"silt": "silt loam", "sand": "sandy loam"}
BEDS = tuple(
    Bed(name, 18.0, 0.75, soil)
    for name, soil in (("S1", "silt"), ("S2", "silt"), ("S3", "silt"), ("D1", "sand"))
)
FARM = replace(farm(TOOLS, beds=BEDS), soils={})
TRAITS = tool_traits(FARM)
BY_NAME = {tool.name: tool for tool in TOOLS}


def planting(bed: Bed) -> Planting:
    return Planting(bed, None, 0.0, 18.0, None, False, None, None, None, None)


PLANTINGS = tuple(planting(bed) for bed in BEDS)
S1, S2, S3, D1 = PLANTINGS


@lru_cache(maxsize=4)
def columns(seed: int = 5) -> Ensemble:
    """Two soils under showers and sun; S2 was stirred on the way, S3 prepared, S1 left alone."""
    base = sky(NOW, N_HOURS, N)
    water = np.zeros((N, N_HOURS))
    for first in RAINS:
        water[:, first : first + 5] = 4.0
    sun = np.maximum(0.0, np.sin((np.arange(N_HOURS) % 24 - 5.5) / 12.0 * np.pi))
    forcing = replace(
        base.forcing,
        rain_mm=water,
        et0_mm=np.broadcast_to(3.5 * sun / sun[:24].sum(), water.shape).copy(),
        air_temp_c=np.full_like(water, 16.0),
        solar_mj_m2=np.broadcast_to(1.8 * sun, water.shape).copy(),
    )
    done = [entry("pass", 24 * 9 + 14, "S2", tool="tines", depth_mm=18.0),
            entry("prep", 24 * 10 + 14, "S3", depth_mm=90.0)]  # fmt: skip
    members = {
        name: soil_members(soil_prior(Soil(name, texture, None, None, 3.0)), spread(), seed, N)
        for name, texture in SOILS.items()
    }
    surfaces = {p.key: (p.bed.soil, surface_table(p, done, {}, START, N_HOURS)) for p in PLANTINGS}
    return run_ensemble(
        replace(base, forcing=forcing), members, surfaces, weed_heat(), stored_from_hour=STORED
    )


def entry(kind: str, hour: float, bed: str = "S1", part: str | None = None, **data: Any) -> Event:
    at = START + timedelta(hours=hour)
    return Event(f"{kind}-{bed}-{hour:g}", kind, at, at, bed, part, data)


def vain(hour: float, bed: str = "S1", tool: str = "tines", found: str = TOO_WET) -> Event:
    return entry("pass", hour, bed, tool=tool, worked=False, found=found)


def made(hour: float, bed: str = "S1", tool: str = "tines", **data: Any) -> Event:
    return entry("pass", hour, bed, tool=tool, depth_mm=18.0, **data)


def weights(
    events: Sequence[Event], of: Ensemble | None = None, zone: str = "UTC"
) -> Mapping[str, FloatArray]:
    return visit_weights(of or columns(), PLANTINGS, events, BY_NAME, TRAITS, zone)


def fits(at: Planting, tool: Tool = TINES, of: Ensemble | None = None) -> BoolArray:
    return met_by(TRAITS[tool.key], ground_of(at, of or columns())).is_fit


def chances(at: Planting, by: Mapping[str, FloatArray], tool: Tool = TINES) -> FloatArray:
    """Chance of fit, hour by hour from the first stored hour."""
    return chance(fits(at, tool), by[at.bed.soil])


def effective(w: FloatArray) -> float:
    return float(1.0 / (w**2).sum())


def doubtful(low: float = 0.2, high: float = 0.9) -> Iterator[int]:
    """Hours in the morning at which the members part over S1, at most one a day."""
    share = chances(S1, columns().weights)
    for first in range(24 * 6, NOW - 24, 24):
        hours = [h for h in range(first + 7, first + 12) if low <= share[h - STORED] <= high]
        yield from hours[:1]


# ------------------------------------------------------------ what is learned


def late_truth(*, is_late: bool = True) -> int:
    """The member whose silt dries last, or first."""
    hours = fits(S1)[:, : NOW - STORED].sum(axis=1)
    return int(np.argmin(hours) if is_late else np.argmax(hours))


def honest(truth: int, *, is_fit: bool, most: int = 6) -> list[Event]:
    """What a grower finds on S1 whose soil is that of one member, on mornings of its kind."""
    told = fits(S1)[truth]
    hours = [h for h in doubtful() if told[h - STORED] == is_fit][:most]
    return [made(h) if is_fit else vain(h) for h in hours]


def test_six_honest_refusals_make_every_bed_on_that_soil_less_sure_and_no_other() -> None:
    found = honest(late_truth(), is_fit=False)
    assert len(found) == 6
    before, after = columns().weights, weights(found)
    for at in (S1, S2, S3):
        was, now = chances(at, before), chances(at, after)
        assert np.all(now <= was + 1e-12)  # every hour of every bed
        doubt = (was > 0.2) & (was < 0.95)
        assert doubt.sum() > 20
        assert np.median(was[doubt] - now[doubt]) > 0.1
    assert_array_equal(after["sand"], before["sand"])
    assert_array_equal(chances(D1, after), chances(D1, before))


def test_success_does_the_reverse() -> None:
    found = honest(late_truth(is_late=False), is_fit=True)
    assert len(found) == 6
    before, after = columns().weights, weights(found)
    for at in (S1, S2, S3):
        was, now = chances(at, before), chances(at, after)
        doubt = (was > 0.05) & (was < 0.8)
        assert np.all(now >= was - 1e-12)
        assert np.median(now[doubt] - was[doubt]) > 0.1
    assert_array_equal(after["sand"], before["sand"])


def test_visits_bring_the_chance_nearer_to_a_truth_that_is_not_a_member() -> None:
    """Columns of another seed as the farm's own soil; scored on the hours after the visits."""
    other = columns(77)
    split, n_better, n_scored = 24 * 26, 0, 0
    hours = [h for h in doubtful(0.1, 0.95) if h < split]
    assert len(hours) >= 6
    for truth in range(N):
        told = fits(S1, of=other)[truth]
        found = [made(h) if told[h - STORED] else vain(h) for h in hours]
        later = slice(split - STORED, NOW - STORED)
        was = ((chances(S1, columns().weights) - told)[later] ** 2).mean()
        now = ((chances(S1, weights(found)) - told)[later] ** 2).mean()
        n_scored += 1
        n_better += int(now < was)
    assert n_better >= 0.75 * n_scored


def test_visits_that_contradict_each_other_leave_half_of_the_members() -> None:
    hours = list(doubtful())
    mixed = [vain(h) if i % 2 else made(h) for i, h in enumerate(hours)]
    both = [e for h in hours for e in (vain(h), made(h, "S2", "sweeps"))]
    # a soil unlike any member: fit when almost all say wet, wet when almost all say fit
    told = [made(h) for h in doubtful(0.02, 0.3)] + [vain(h) for h in doubtful(0.8, 0.99)]
    for events in (mixed, both, told):
        w = weights(events)["silt"]
        assert effective(w) >= 0.5 * N - 1e-9
        assert w.sum() == pytest.approx(1.0, abs=1e-12)
        assert w.min() > 0.0
    assert effective(weights(told)["silt"]) == pytest.approx(0.5 * N, abs=1e-6)  # the floor holds


@given(st.lists(st.lists(st.lists(st.booleans(), min_size=8, max_size=8), min_size=1, max_size=4),
                max_size=12))  # fmt: skip
def test_whatever_was_found_the_sample_stays(found: list[list[list[bool]]]) -> None:
    w = learned_weights([[np.array(v) for v in half] for half in found], 8)
    assert w.sum() == pytest.approx(1.0, abs=1e-12)
    assert effective(w) >= 4.0 - 1e-9
    counts = sum((np.mean(np.array(half, float), axis=0) for half in found), np.zeros(8))
    order = np.argsort(counts)
    assert np.all(np.diff(w[order]) <= 1e-12)  # the more contradicted, the lighter


def test_a_visit_all_members_expected_teaches_nothing() -> None:
    """The hours after 20 mm all say wet; for a hoe on sand, after dry days, all say fit."""
    share = chances(D1, columns().weights, HOE)
    wet = next(h for h in range(24 * 11, NOW) if share[h - STORED] == 0.0)
    dry = next(h for h in range(24 * 10, NOW) if share[h - STORED] == 1.0)
    for hour in (wet, dry):
        for event in (vain(hour, "D1", "hoe"), made(hour, "D1", "hoe")):
            assert_array_equal(weights([event])["sand"], np.full(N, 1.0 / N))


def test_one_visit_takes_nine_tenths_off_the_members_it_contradicts() -> None:
    hour = next(doubtful(0.3, 0.5))
    said_fit = fits(S1)[:, hour - STORED]
    w = weights([vain(hour)])["silt"]
    assert np.unique(w[said_fit].round(12)).size == 1
    assert w[said_fit][0] / w[~said_fit][0] == pytest.approx(0.1, rel=1e-9)
    worked = weights([made(hour)])["silt"]
    assert worked[~said_fit][0] < worked[said_fit][0]


def test_visits_of_one_half_day_count_once() -> None:
    hour = next(doubtful(0.3, 0.7))
    once = weights([vain(hour)])["silt"]
    assert_array_equal(weights([vain(hour), vain(hour + 0.4)])["silt"], once)
    many = [replace(vain(hour), event_id=f"e{i}") for i in range(6)]
    assert_array_equal(weights(many)["silt"], once)
    # noon parts them: the same hour is one half-day at Greenwich and two where noon lies between
    pair = [vain(hour), vain(hour + 1)]

    def n_half_days(first_hour: int) -> int:
        zone = f"Etc/GMT{hour % 24 - first_hour:+d}"  # in which the first of the pair has that hour
        told = visits_of(PLANTINGS, pair, BY_NAME, TRAITS, columns(), zone)
        return len({visit.half_day for visit in told})

    assert (n_half_days(11), n_half_days(2)) == (2, 1)


def test_a_visit_of_the_next_day_counts_again() -> None:
    first, second = list(doubtful(0.2, 0.95))[:2]
    both, one = weights([vain(first), vain(second)])["silt"], weights([vain(first)])["silt"]
    assert not np.array_equal(both, one)
    assert effective(both) < effective(one)


def test_order_and_bed_of_the_entries_do_not_matter_to_the_other_soil() -> None:
    found = honest(late_truth(), is_fit=False)
    on_sand = [vain(h, "D1") for h in (24 * 11 + 9, 24 * 16 + 9)]
    whole = weights([*found, *on_sand])
    turned = weights([*on_sand, *found[::-1]])
    for soil in SOILS:
        assert_array_equal(whole[soil], turned[soil])
    assert_array_equal(whole["silt"], weights(found)["silt"])


def test_an_entry_taken_back_leaves_no_trace_and_learning_twice_is_learning_once() -> None:
    found = honest(late_truth(), is_fit=False)
    of = taught(columns(), FARM, PLANTINGS, found, TRAITS)
    assert not np.array_equal(of.weights["silt"], columns().weights["silt"])
    assert_array_equal(taught(of, FARM, PLANTINGS, found, TRAITS).weights["silt"],
                       of.weights["silt"])  # fmt: skip
    back = taught(columns(), FARM, PLANTINGS, [], TRAITS)
    for soil in SOILS:
        assert_array_equal(back.weights[soil], columns().weights[soil])
    assert of.runs is columns().runs


# ------------------------------------------------------------- what is a visit


def kinds(*events: Event) -> list[str]:
    return [v.found for v in visits_of(PLANTINGS, events, BY_NAME, TRAITS, columns(), "UTC")]


def test_passes_and_squeezed_handfuls_are_visits() -> None:
    h = 24 * 20 + 9
    assert kinds(made(h), made(h, worked=True), made(h, how="well", worked=True)) == [FIT] * 3
    assert kinds(vain(h), vain(h, found=TOO_HARD)) == [TOO_WET, TOO_HARD]
    feels = [entry("feel", h, feel=f) for f in ("wet", "smears", "crumbles", "dry", "hard")]
    assert kinds(*feels) == [TOO_WET, TOO_WET, FIT, NOT_TOO_WET, TOO_HARD]


@pytest.mark.parametrize(
    "event",
    [
        made(24 * 20 + 9, worked=True, how="poorly"),
        made(24 * 20 + 9, worked=False),  # says not why
        made(24 * 20 + 9, tool="flamer"),
        vain(24 * 20 + 9, tool="flamer"),
        made(24 * 20 + 9, tool="lent harrow"),
        made(24 * 20 + 9, bed="Z9"),
        made(STORED - 1),
        vain(NOW + 1),
        entry("look", 24 * 20 + 9, nothing=True),
        entry("hand", 24 * 20 + 9, work_min=30.0),
    ],
    ids=lambda event: f"{event.kind}-{event.data.get('tool')}-{event.happened_at:%d%H}",
)
def test_what_is_no_visit(event: Event) -> None:
    assert kinds(event) == []
    for soil in SOILS:
        assert_array_equal(weights([event])[soil], columns().weights[soil])


def test_a_handful_counts_as_the_pass_of_a_hand_tool_in_plain_soil() -> None:
    hour = next(doubtful(0.2, 0.8))
    felt = weights([entry("feel", hour, feel="smears")])["silt"]
    plain = replace(TRAITS["wheel hoe"], wetness_offset_m3m3=0.0)
    at = hour - STORED
    said_fit = met_by(plain, ground_of(S1, columns(), slice(at, at + 1))).is_fit[:, 0]
    assert 0 < said_fit.sum() < N
    assert felt[said_fit].max() < felt[~said_fit].min()


def test_the_part_of_a_bed_that_is_gone_still_speaks_for_its_soil() -> None:
    """The entry names a part that has been cleared since."""
    parts = [replace(S1, part=name) for name in ("north", "south")]
    told = visits_of(parts, [replace(vain(24 * 20 + 9), part="middle")], BY_NAME, TRAITS,
                     columns(), "UTC")  # fmt: skip
    assert [v.planting.part for v in told] == ["north"]


# ------------------------------------------------------- the line of the day

ZONE = FARM.place.time_zone
DAY = day_of(FARM, sky(NOW + 6, N_HOURS), 0, START + timedelta(hours=NOW + 6, minutes=30))  # 11:30
MORNING = NOW + 4  # 09:00


def offered(tool: Tool, spans: Sequence[tuple[int, int]], purpose: str = "stale") -> Any:
    share = np.zeros(N_HOURS)
    for first, last in spans:
        share[first:last] = 1.0
    work = WorkOutlook(np.tile(share > 0.0, (N, 1)), share)
    return SimpleNamespace(
        tool=tool, work=work, minutes=6.0, purpose=purpose, from_hour=float(NOW), until_hour=None
    )


def listed(tool: Tool, verdict: str = "go") -> Draft:
    at = START + timedelta(hours=NOW + 8)
    action = Action(tool.name, None, 18.0, at, at + timedelta(hours=3), 6.0, 10.0)
    soil = SoilAnswer(0.7, None, 0.4, 15.0)
    return Draft(
        BedAnswer(1, "S1", None, None, verdict, "", None, 0.8, action, soil, None, None, ("x",)),
        3.0,
    )


def told(draft: Draft, events: Sequence[Event], *offers: Any, up: Any = None) -> BedAnswer:
    site = SimpleNamespace(
        planting=S1,
        outlook=SimpleNamespace(emergence_hours=up, weights=np.ones(N) / N),
    )
    kit = SimpleNamespace(rules=SimpleNamespace(tools=BY_NAME, traits=TRAITS))
    choice = SimpleNamespace(offers=offers)
    found = after_refusal(draft, site, choice, kit, events, DAY)  # type: ignore[arg-type]
    if found.answer.verdict != "go":
        assert found.urgency == 0.0
    return found.answer


def test_the_refused_line_waits_until_the_first_fit_hour_of_tomorrow_or_later() -> None:
    today, tomorrow = (NOW + 7, NOW + 13), (NOW + 24 + 6, NOW + 24 + 12)
    found = told(listed(TINES), [vain(MORNING)], offered(TINES, [today, tomorrow]))
    assert (found.verdict, found.because) == ("wait", "wet")
    assert found.until == START + timedelta(hours=tomorrow[0])
    assert found.action is None
    assert found.sure is None
    assert found.why == ("found too wet with tines at 09:00 today",)
    assert [(r.tool, r.because) for r in found.refusals] == [("tines", "wet")]
    later = (NOW + 72 + 6, NOW + 72 + 9)
    found = told(listed(TINES), [vain(MORNING)], offered(TINES, [today, later]))
    assert found.until == START + timedelta(hours=later[0])
    never = told(listed(TINES), [vain(MORNING)], offered(TINES, [today]))
    assert never.until == START + timedelta(hours=N_HOURS - 1)


def test_a_blind_pass_that_finds_no_other_day_waits_for_the_crop() -> None:
    up = np.full(N, NOW + 40.0)
    blind = offered(TINES, [(NOW + 7, NOW + 13)], "blind")
    found = told(listed(TINES), [vain(MORNING)], blind, up=up)
    assert found.until == START + timedelta(hours=NOW + 40)


def test_too_hard_and_no_reason_given() -> None:
    spans = [(NOW + 7, NOW + 13), (NOW + 30, NOW + 33)]
    hard = told(listed(TINES), [vain(MORNING, found=TOO_HARD)], offered(TINES, spans))
    assert (hard.verdict, hard.because) == ("wait", "hard")
    bare = told(listed(TINES), [made(MORNING, worked=False)], offered(TINES, spans))
    assert (bare.verdict, bare.because) == ("wait", "unknown")
    assert bare.why == ("found not fit to work with tines at 09:00 today",)


def test_which_other_tool_may_still_go() -> None:
    """Found too wet: no tool that stirs is sent there, but a flame asks nothing of the soil."""
    spans = [(NOW + 7, NOW + 13), (NOW + 30, NOW + 33)]

    def verdict(tool: Tool, *events: Event) -> str:
        return told(listed(tool), events, offered(tool, spans)).verdict

    assert verdict(SWEEPS, vain(MORNING)) == "wait"
    assert verdict(HOE, vain(MORNING)) == "wait"
    assert verdict(FLAMER, vain(MORNING)) == "go"
    assert verdict(TINES, vain(MORNING, tool="hoe")) == "wait"
    assert verdict(TINES, vain(MORNING, tool="lent harrow")) == "wait"
    assert verdict(SWEEPS, vain(MORNING, found=TOO_HARD)) == "go"  # blades go under a crust
    assert verdict(TINES, vain(MORNING, tool="sweeps", found=TOO_HARD)) == "wait"
    assert verdict(SWEEPS, made(MORNING, worked=False)) == "go"  # not known why the tines did not


@pytest.mark.parametrize(
    "events",
    [
        [],
        [vain(MORNING - 24)],  # yesterday
        [vain(MORNING, "S2")],
        [vain(MORNING), made(MORNING + 1)],  # tried again, and it worked
        [vain(MORNING), entry("feel", MORNING + 1, feel="crumbles")],
        [made(MORNING)],
        [vain(NOW + 9)],  # not yet
    ],
    ids=["none", "yesterday", "other bed", "worked later", "crumbles", "worked", "ahead"],
)
def test_what_leaves_the_line_alone(events: list[Event]) -> None:
    assert refused_today(S1, events, DAY) is None
    draft = listed(TINES)
    assert told(draft, events, offered(TINES, [(NOW + 7, NOW + 13)])) == draft.answer


def test_a_line_that_is_not_to_be_done_stays_as_it_is() -> None:
    draft = replace(listed(TINES), urgency=0.0)
    draft = replace(draft, answer=replace(draft.answer, verdict="nothing", because="clean"))
    assert told(draft, [vain(MORNING)], offered(TINES, [])) == draft.answer


def test_the_day_is_the_farms() -> None:
    """22:00 UTC is the next day ten hours east."""
    east = replace(FARM, place=replace(FARM.place, time_zone="Etc/GMT-10"))
    at = day_of(east, sky(NOW, N_HOURS), 0, START + timedelta(hours=NOW))  # 15:00 there
    assert refused_today(S1, [vain(NOW - 12)], at) is not None  # 03:00 of the same day there
    assert refused_today(S1, [vain(NOW - 12)], DAY) is None
