"""Offers: every tool of the farm over a planting, offered or refused with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.models.weeds.cohorts import STAGES
from scheduler.planning.crop_stage import CropStage
from scheduler.planning.day import Day
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.gates import gate
from scheduler.planning.geometry import fit
from scheduler.planning.offers import Choice, Kit, Offer, Site, choose, day_hours, is_up
from scheduler.planning.outlook import Outlook
from scheduler.planning.passes import PassWeather
from scheduler.planning.weeds import BETWEEN, IN_ROW, WeedOutlook
from scheduler.planning.work import work_minutes
from scheduler.records import TOOL_KINDS, Bed, Event, Planting, Setup, Tool
from tests.planning.made import (
    BED,
    HOE,
    N_HOURS,
    N_MEMBERS,
    NOW_HOUR,
    SWEEPS,
    TINES,
    Counts,
    day,
    entry,
    farm,
    kit,
    outlook,
    planting,
    rules,
    seen_weather,
    stage,
    unseen_weather,
    weeds,
)

ALWAYS = [(0, N_HOURS)]
FINGERS = Tool("fingers", "finger weeder", 20.0, 0.8)
TORCH = Tool("torch", "flame", 0.0, 0.65)
HANDS = Tool("hands", "hand", 20.0, 0.05)
ROTOR = Tool("rotor", "rotary hoe", 25.0, 1.1, width_m=0.8)
TOOLBAR = Tool("toolbar", "knives", 20.0, 0.8, carries=("finger weeder",))
MIXED: Sequence[Counts] = ({"thread": 20.0, "seed_leaf": 20.0, "young": 5.0, "to_come": 20.0},)


def clock(tools: Sequence[Tool], flame_rules_read: bool = False) -> Day:
    return day(replace(farm(tools), flame_rules_read=flame_rules_read))


def chosen(
    of: Outlook,
    tools: Sequence[Tool],
    counts: Sequence[Counts] = MIXED,
    *,
    events: Sequence[Event] = (),
    mates: tuple[Outlook, ...] = (),
    weather: PassWeather | None = None,
    flame_rules_read: bool = False,
    zones: Sequence[float] = (1.0, 1.0),
    standing_m2: float = 0.0,
) -> Choice:
    when = clock(tools, flame_rules_read)
    share = 0.4 if of.planting.crop is not None else 0.0
    stand = weeds(counts, when, row_share=share, zones=zones, standing_m2=standing_m2)
    site = Site(of, stand, weather or unseen_weather(), mates)
    return choose(site, kit(tools), events, when)


def names(choice: Choice) -> list[str]:
    return [offer.tool.name for offer in choice.offers]


def reasons(choice: Choice) -> dict[str, str]:
    return {refusal.tool: refusal.because for refusal in choice.refusals}


def sown(crop: str = "carrot", up: float = NOW_HOUR + 90.0, blind: float | None = None) -> Outlook:
    """A crop below ground, 30 mm deep; the last blind hour of carrots 30 hours from now."""
    grown = replace(planting(crop, NOW_HOUR - 150), sowing_depth_mm=30.0)
    last = NOW_HOUR + 30.0 if blind is None else blind
    return outlook(
        ALWAYS,
        grown=grown,
        emergence=up,
        last_blind=last,
        last_flame=last + 10.0,
        grows=stage(up),
        keys=(TOOLBAR.key,),
    )


def standing(crop: str = "onion", leaves: float = 5.0, **grows: float) -> Outlook:
    """A crop that came up four days ago, in three rows 250 mm apart."""
    grown = replace(planting(crop, NOW_HOUR - 500), up_at=day().now)
    return outlook(
        ALWAYS,
        grown=grown,
        grows=stage(NOW_HOUR - 96, leaves=leaves, **grows),  # type: ignore[arg-type]
        keys=(TOOLBAR.key,),
    )


# ------------------------------------------------------------------ whatever the farm and the bed


@dataclass(frozen=True)
class Case:
    """One planting with its weeds, and the tools of a farm."""

    tools: tuple[Tool, ...]
    of: Outlook
    stand: WeedOutlook
    weather: PassWeather
    day: Day
    kit: Kit

    def __repr__(self) -> str:
        return f"Case({self.of.planting}, {[tool.key for tool in self.tools]})"

    @property
    def site(self) -> Site:
        return Site(self.of, self.stand, self.weather)

    @property
    def choice(self) -> Choice:
        return choose(self.site, self.kit, (), self.day)


def mostly(usual: Any, *odd: Any) -> st.SearchStrategy[Any]:
    """The usual in three of four draws, else something odd."""
    return st.integers(0, 3).flatmap(lambda i: st.just(usual) if i else st.sampled_from(odd))


@st.composite
def tools_of_a_farm(draw: st.DrawFn) -> tuple[Tool, ...]:
    """One of every kind and a toolbar, in any order, a few of them set to other rows."""
    found = [
        Tool(
            kind,
            kind,
            draw(st.sampled_from((10.0, 20.0, 40.0))),
            0.8,
            width_m=draw(mostly(None, 0.2, 0.8)),
            rows=draw(mostly((), (1,), (3,), (2, 3))),
            row_spacings_mm=draw(mostly((), (250.0,), (400.0,))),
            travel=draw(mostly("on the bed", "in the paths", "over one row")),
            track_mm=draw(mostly(None, 600.0, 1200.0)),
            clearance_mm=draw(mostly(600.0, None, 200.0)),
        )
        for kind in TOOL_KINDS
    ]
    return tuple(draw(st.permutations([*found, TOOLBAR])))


@st.composite
def growing(draw: st.DrawFn) -> tuple[Planting, CropStage | None]:
    crop = draw(st.sampled_from(("carrot", "onion", "beet", "lettuce", "bean", "potato", None)))
    bed = replace(
        BED,
        ends=draw(mostly("open", "one blocked", "both blocked")),
        headland_m=draw(mostly(2.0, 0.5, 1.5)),
    )
    grown = replace(
        planting(crop, None if crop is None else NOW_HOUR - 150.0),
        bed=bed,
        is_sown=crop not in (None, "potato") and draw(mostly(True, False)),
        n_rows=draw(mostly(3, None, 1, 5)),
        row_spacing_mm=draw(mostly(250.0, None, 120.0, 400.0)),
        sowing_depth_mm=draw(mostly(30.0, None, 10.0)),
    )
    if crop is None or draw(mostly(False, False, True)):
        return grown, None  # nothing is known of its age
    is_below = (grown.is_sown or crop == "potato") and draw(st.booleans())  # else sown or set long
    return grown, stage(
        NOW_HOUR + (draw(st.integers(-20, 60)) if is_below else -100),
        leaves=draw(st.floats(0.0, 7.0)),
        leaf_d=draw(st.floats(0.0, 0.5)),
        rooted_cd=draw(st.floats(0.0, 300.0)),
        height_mm=draw(st.floats(10.0, 300.0)),
        cover=draw(mostly(0.3, 0.7, 0.9)),
        covered_hour=draw(mostly(None, NOW_HOUR + 1, NOW_HOUR + 50)),
    )


counts_of_a_day = st.fixed_dictionaries(
    {}, optional=dict.fromkeys((*STAGES, "to_come"), st.floats(0.0, 80.0))
)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    tools = draw(tools_of_a_farm())
    grown, grows = draw(growing())
    when = clock(tools, draw(st.booleans()))
    up = draw(st.floats(NOW_HOUR + 1.0, NOW_HOUR + 60.0))
    first = draw(st.integers(NOW_HOUR - 24, NOW_HOUR + 60))
    of = outlook(
        [(first, first + draw(st.integers(1, 100)))],
        n_fit=draw(st.integers(0, N_MEMBERS)),
        grown=grown,
        emergence=up if draw(st.booleans()) else None,
        last_blind=NOW_HOUR + draw(st.floats(-20.0, 50.0)),
        last_flame=NOW_HOUR + draw(st.floats(-20.0, 50.0)),
        grows=grows,
        keys=(TOOLBAR.key,),
    )
    stand = weeds(
        draw(st.lists(counts_of_a_day, min_size=1, max_size=4)),
        when,
        row_share=0.4 if grown.crop is not None else 0.0,
        zones=draw(st.sampled_from(((1.0, 1.0), (1.0, 0.0), (0.0, 1.0)))),
        standing_m2=draw(st.sampled_from((0.0, 50.0))),
    )
    dose = np.zeros(N_HOURS)
    dose[draw(st.integers(0, N_HOURS)) :] = draw(st.floats(0.0, 5.0))
    weather = seen_weather(dose, draw(st.floats(-0.1, 0.1)))
    made = kit(tools)
    settled = replace(made.rules, settings=rules(tools, draw(st.sampled_from((0.0, 0.4)))).settings)
    return Case(tools, of, stand, weather, when, replace(made, rules=settled))


@settings(max_examples=100)
@given(cases())
def test_no_offer_contradicts_a_gate_or_a_fit(case: Case) -> None:
    """Asked of the gate and of the geometry again, and told by the offer itself."""
    of, sky = case.of, case.day.sky
    height = None
    if of.stage is not None:
        height = float(weighted_quantiles(of.stage.height_mm[:, NOW_HOUR], of.weights)[1])
    for offer in case.choice.offers:
        traits = case.kit.rules.traits[offer.tool.key]
        asked = gate(
            offer.tool,
            traits,
            of.planting,
            case.kit.crops.get(of.planting.crop or ""),
            of.stage,
            of.crop_hours,
            sky.now_hour,
            case.day.stored,
            of.weights,
            case.day.farm.flame_rules_read,
        )
        crop_up = is_up(of, NOW_HOUR, 0)
        way = fit(offer.tool, traits, of.planting, height, has_crop_up=crop_up)
        assert asked.is_open
        assert way.is_fit
        assert offer.gate == asked
        assert offer.fit == way
        assert offer.minutes == work_minutes(offer.tool, of.planting, way)
        assert offer.depth_mm <= min(offer.tool.depth_mm, asked.depth_mm)
        assert offer.from_hour == NOW_HOUR
        assert offer.until_hour is None or offer.until_hour >= NOW_HOUR
        assert (offer.purpose == "stale") is (of.planting.crop is None)
        assert (offer.purpose == "standing") is crop_up


@settings(max_examples=100)
@given(cases())
def test_every_tool_but_the_hand_is_offered_or_refused_with_a_reason(case: Case) -> None:
    choice = case.choice
    told = [*names(choice), *reasons(choice)]
    assert sorted(told) == sorted(t.name for t in case.tools if t.kind != "hand")
    order = [tool.name for tool in case.tools]
    assert names(choice) == sorted(names(choice), key=order.index)
    for refusal in choice.refusals:
        assert refusal.because in ("crop_tender", "crop_up", "no_fit")
        assert refusal.why
    assert choice.closed_by is None or choice.closed_by in choice.refusals
    assert choice.opens_hour is None or choice.opens_hour > NOW_HOUR


@settings(max_examples=100)
@given(cases())
def test_a_tool_that_kills_none_of_the_weeds_here_is_never_offered(case: Case) -> None:
    """By the table: some stage that stands on some day, in a zone where the tool kills it.

    Weeds from before the record count as established ones between the rows.
    """
    there = case.stand.count_m2[:, 1:].max(axis=(0, 1)) > 0.0  # (2 zones, 5 stages)
    if case.of.planting.crop is None:
        there[0] = False  # no row
    is_old = bool(case.stand.standing_m2.any())
    if not (case.stand.count_m2.any() or is_old):
        return
    for offer in case.choice.offers:
        kill = case.kit.kills.kill_frac[offer.tool.key]
        takes = bool((there & (kill > 0.0)).any())
        assert takes or (is_old and kill[1, -1] > 0.0)
        assert offer.killable.max() > 0.0 or (is_old and offer.old_killable.max() > 0.0)


@settings(max_examples=100)
@given(cases())
def test_a_flame_goes_only_where_the_rules_were_read_and_never_over_a_crop(case: Case) -> None:
    offers = case.choice.offers
    assert all(offer.tool.kind != "hand" for offer in offers)
    for offer in offers:
        if offer.tool.kind == "flame":
            assert case.day.farm.flame_rules_read
            assert offer.purpose != "standing"


@settings(max_examples=100)
@given(cases())
def test_shares_are_shares_and_drying_takes_none_of_them(case: Case) -> None:
    n_days = len(day_hours(case.day))
    for offer in case.choice.offers:
        assert offer.killable.shape == offer.is_fit.shape == (N_MEMBERS, n_days)
        assert offer.kill_frac.min() >= 0.0
        assert offer.kill_frac.max() <= 1.0
        assert np.all((offer.killable >= 0.0) & (offer.killable <= 1.0))
        assert np.all(offer.dry_killable >= offer.killable[:, 0] - 1e-12)
        density = case.stand.density_m2(1).sum(axis=1)
        assert -1e-9 <= offer.killed_m2 <= float(density.mean()) + 1e-9
        assert np.all(offer.gain <= offer.weights @ offer.killable + 1e-12)


@settings(max_examples=100)
@given(cases())
def test_no_day_begins_to_be_fit_after_the_crop_has_closed(case: Case) -> None:
    """Nor is a day fit in a member whose soil is at no working hour of it."""
    for offer in case.choice.offers:
        for d, (first, last) in enumerate(day_hours(case.day)):
            until = last if offer.until_hour is None else min(last, int(offer.until_hour))
            fits = offer.work.is_workable[:, first:until] & case.day.is_open[first:until]
            assert not np.any(offer.is_fit[~fits.any(axis=1), d])


# ------------------------------------------------------------------ what goes where


def test_what_goes_over_an_empty_bed() -> None:
    found = chosen(outlook(ALWAYS), (TINES, FINGERS, SWEEPS, HANDS, HOE, TORCH))
    assert names(found) == ["tines", "sweeps", "hoe"]
    assert reasons(found) == {"fingers": "no_fit", "torch": "no_fit"}
    assert {offer.purpose for offer in found.offers} == {"stale"}
    read = chosen(outlook(ALWAYS), (TORCH,), flame_rules_read=True)
    assert names(read) == ["torch"]


def test_what_goes_over_a_sown_row_and_when_the_rest_may() -> None:
    tools = (SWEEPS, TINES, TORCH)
    found = chosen(sown(), tools, flame_rules_read=True)
    assert names(found) == ["tines", "torch"]
    assert reasons(found) == {"sweeps": "crop_tender"}
    assert found.opens_hour == NOW_HOUR + 90
    tines, torch = found.offers
    assert {tines.purpose, torch.purpose} == {"blind"}
    assert (tines.until_hour, torch.until_hour) == (NOW_HOUR + 30, NOW_HOUR + 40)


def test_after_the_last_blind_hour_nothing_goes_until_the_rows_are_seen() -> None:
    found = chosen(sown(blind=NOW_HOUR - 1.0), (TINES, SWEEPS))
    assert found.offers == ()
    assert found.closed_by is not None
    assert (found.closed_by.tool, found.closed_by.because) == ("tines", "crop_tender")
    assert found.opens_hour == NOW_HOUR + 90  # the sweeps; no clock of the leaves for the tines


def test_the_first_tool_that_fits_to_be_let_in_opens_the_planting() -> None:
    """Fingers wait for 3 leaves of an onion, brushes for 2; half a leaf a day from 1."""
    brushes = Tool("brushes", "brush weeder", 20.0, 0.6)
    of = standing(leaves=1.0, leaf_d=0.5)
    found = chosen(of, (FINGERS, brushes))
    assert found.opens_hour == NOW_HOUR + 48
    assert found.closed_by == found.refusals[0]
    # rows 150 mm apart: no room for either, and nothing to wait for
    narrow = replace(of, planting=replace(of.planting, row_spacing_mm=150.0))
    shut = chosen(narrow, (FINGERS, brushes))
    assert reasons(shut) == {"fingers": "no_fit", "brushes": "no_fit"}
    assert shut.opens_hour is None
    assert "250 mm between rows; these are 150 mm apart" in shut.refusals[0].why


def test_what_the_crop_does_not_stand_speaks_before_what_does_not_fit() -> None:
    """Fingers find no room; the tines that come after them in the farm file wait for leaves."""
    of = standing(leaves=1.0)
    narrow = replace(of, planting=replace(of.planting, row_spacing_mm=150.0))
    found = chosen(narrow, (FINGERS, TINES))
    assert found.closed_by is not None
    assert (found.closed_by.tool, found.closed_by.because) == ("tines", "crop_tender")


def test_a_toolbar_waits_for_all_that_it_carries() -> None:
    early, late = (chosen(standing(leaves=n), (TOOLBAR,)) for n in (1.0, 5.0))
    assert reasons(early) == {"toolbar": "crop_tender"}
    (offer,) = late.offers
    kill = kit((TOOLBAR,)).kills.kill_frac[TOOLBAR.key]
    assert np.all(kill[0, :4] > 0.0)
    assert np.all(kill[1, :4] > 0.0)
    assert offer.killed_m2 > 0.0


def test_beans_in_the_crook_are_never_for_tines() -> None:
    """Scene 3 of the design."""
    gone = chosen(sown("bean", blind=NOW_HOUR - 1.0), (TINES,))
    (refused,) = gone.refusals
    assert refused.because == "crop_tender"
    assert "never a tine over the crook" in refused.why
    assert names(chosen(sown("bean"), (TINES,))) == ["tines"]


def test_a_tool_that_takes_none_of_what_is_here_is_refused() -> None:
    """Sweeps leave the row, fingers what stands between, the rotary hoe established weeds."""
    of = standing()
    tools = (FINGERS, SWEEPS)
    young: Sequence[Counts] = ({"young": 20.0},)
    assert reasons(chosen(of, tools, young, zones=(1.0, 0.0))) == {"sweeps": "no_fit"}
    assert reasons(chosen(of, tools, young, zones=(0.0, 1.0))) == {"fingers": "no_fit"}
    old: Sequence[Counts] = ({"established": 20.0},)
    found = chosen(outlook(ALWAYS), (ROTOR, TINES), old)
    assert names(found) == ["tines"]
    assert found.refusals[0].why == "takes none of what stands or is to come here"


def test_what_will_come_later_is_enough_to_be_offered() -> None:
    """A flame takes no threads; they are up tomorrow."""
    later: Sequence[Counts] = ({"thread": 40.0}, {"seed_leaf": 40.0})
    (offer,) = chosen(outlook(ALWAYS), (TORCH,), later, flame_rules_read=True).offers
    assert offer.killed_m2 == 0.0
    assert offer.gain.tolist() == pytest.approx([0.0] + [0.76] * 9, abs=1e-12)


def test_where_no_tool_takes_any_a_refusal_says_so() -> None:
    found = chosen(outlook(ALWAYS), (ROTOR,), ({"established": 20.0},))
    assert found.offers == ()
    assert found.closed_by == found.refusals[0]


# ------------------------------------------------------------------ figures of an offer


def only(choice: Choice) -> Offer:
    (offer,) = choice.offers
    return offer


def test_kill_of_an_offer_is_the_tables_where_nothing_takes_from_it() -> None:
    """Tines at the middle of their depth: (.7 x 20 + .6 x 20 + .15 x 5) / 65 in both zones."""
    usual = replace(TINES, depth_mm=20.0)
    offer = only(chosen(outlook(ALWAYS), (usual,)))
    taken = 0.7 * 20.0 + 0.6 * 20.0 + 0.15 * 5.0
    assert offer.killable[:, 0].tolist() == pytest.approx([taken / 65.0] * N_MEMBERS, abs=1e-12)
    assert offer.killed_m2 == pytest.approx(taken, abs=1e-9)
    assert offer.gain.tolist() == pytest.approx([taken / 65.0] * 10, abs=1e-12)


def test_a_blind_pass_that_the_seed_keeps_shallow_kills_less() -> None:
    deep = sown()
    near = replace(deep, planting=replace(deep.planting, sowing_depth_mm=20.0))
    a, b = (only(chosen(of, (replace(TINES, depth_mm=20.0),))) for of in (deep, near))
    assert (a.depth_mm, b.depth_mm) == (20.0, 10.0)
    assert b.killed_m2 < a.killed_m2


def test_gain_counts_only_where_the_soil_is_fit() -> None:
    """Six of eight members, on the day after tomorrow alone."""
    span = (NOW_HOUR - 5 + 48, NOW_HOUR - 5 + 72)
    offer = only(chosen(outlook([span], n_fit=6), (TINES,)))
    assert offer.is_fit.sum(axis=0).tolist() == [0, 0, 6] + [0] * 7
    assert offer.gain[2] == pytest.approx(0.75 * float(offer.killable[:, 2].mean()), abs=1e-12)
    assert float(np.delete(offer.gain, 2).max()) == 0.0


def test_a_day_with_fewer_fit_hours_than_the_pass_takes_is_not_fit() -> None:
    """Two of the hours from 07:00; a hoe that takes longer."""
    of = outlook([(NOW_HOUR + 2, NOW_HOUR + 4)])
    slow = replace(HOE, speed_m_s=0.01)
    assert only(chosen(of, (slow,))).minutes == pytest.approx(121.4, abs=1.0)
    assert not only(chosen(of, (slow,))).is_fit.any()
    quicker = only(chosen(of, (replace(HOE, speed_m_s=0.02),)))
    assert quicker.is_fit[:, 0].all()
    assert not quicker.is_fit[:, 1:].any()


def test_the_days_after_a_gate_closes_are_closed() -> None:
    """Last blind hour 30 h from now, 11:00 tomorrow: tomorrow morning is the last."""
    offer = only(chosen(sown(), (TINES,)))
    assert offer.is_fit.all(axis=0).tolist() == [True, True] + [False] * 8
    # before the working hours of tomorrow
    early = only(chosen(sown(blind=NOW_HOUR + 24.0), (TINES,)))
    assert early.is_fit.all(axis=0).tolist() == [True] + [False] * 9
    covered = stage(cover=0.5, covered_hour=NOW_HOUR + 50)
    closing = only(chosen(replace(standing(), stage=covered), (SWEEPS,)))
    assert closing.until_hour == NOW_HOUR + 49  # 06:00, before the hours of the third day
    assert closing.is_fit.all(axis=0).tolist() == [True, True] + [False] * 8


def test_rain_after_a_pass_lowers_its_kill_today_and_not_what_it_would_be_dry() -> None:
    dose = np.full(N_HOURS, 9.0)
    dose[: NOW_HOUR + 19] = 0.0
    wet = only(chosen(outlook(ALWAYS), (TINES,), weather=seen_weather(dose)))
    dry = only(chosen(outlook(ALWAYS), (TINES,), weather=seen_weather(np.full(N_HOURS, 9.0))))
    assert np.all(wet.killable[:, 0] < 0.6 * dry.killable[:, 0])
    assert np.allclose(wet.killable[:, 1:], dry.killable[:, 1:], rtol=1e-12, atol=0.0)
    assert np.allclose(wet.dry_killable, dry.dry_killable, rtol=1e-12, atol=0.0)


def test_a_toolbar_meets_rain_as_its_knives_between_the_rows_and_its_fingers_in_them() -> None:
    wet = seen_weather(np.zeros(N_HOURS))
    bar, knives, fingers = (
        only(chosen(standing(), (tool,), weather=wet))
        for tool in (TOOLBAR, replace(TOOLBAR, carries=()), FINGERS)
    )
    between, in_row = knives.kill_frac[:, :, BETWEEN], fingers.kill_frac[:, :, IN_ROW]
    assert np.allclose(bar.kill_frac[:, :, BETWEEN], between, rtol=1e-12, atol=0.0)
    assert np.allclose(bar.kill_frac[:, :, IN_ROW], in_row, rtol=1e-12, atol=0.0)
    assert float(in_row[0, 0, 1]) < 0.6 * 0.6  # of the fingers' kill on a good day


def test_what_another_tool_has_just_worked_is_offered_with_less_kill_in_its_zone() -> None:
    """Sweeps twelve hours before today's pass, and tines over all of the bed on any day.

    The less the sweeps take of a stage, to half of it, the less they have told apart.
    """
    when = clock((TINES,))
    of = standing()
    plain = weeds(MIXED, when, row_share=0.4)
    swept = replace(
        plain.history,
        passed_hour=np.array([-np.inf, plain.hours[1] - 12.0]),
        passed_frac=np.tile([0.9, 0.7, 0.5, 0.25, 0.1], (2, 1)),
    )
    before, after = (
        only(choose(Site(of, stand, unseen_weather()), kit((TINES,)), (), when))
        for stand in (plain, replace(plain, history=swept))
    )
    assert np.array_equal(after.kill_frac[:, :, IN_ROW], before.kill_frac[:, :, IN_ROW])
    share = after.kill_frac[:, 0, BETWEEN] / before.kill_frac[:, 0, BETWEEN]
    days = 0.5 + np.arange(10.0)
    missed = 0.85 * np.exp(-days / 3.0)
    wanted = 1.0 - missed[:, None] * np.array([1.0, 1.0, 1.0, 0.5, 0.2])
    assert np.allclose(share[:, 1:], wanted[:, 1:], rtol=1e-9, atol=0.0)
    assert np.allclose(share[1:, 0], 1.0, rtol=1e-12, atol=0.0)  # threads of a later day are new
    assert share[0, 0] == pytest.approx(wanted[0, 0], rel=1e-9)


def test_the_height_of_a_crop_is_that_of_the_members_that_count() -> None:
    """Axle 300 mm up. Six of eight members, which no visit bore out, think the crop taller."""
    low = replace(SWEEPS, clearance_mm=300.0)
    of = standing(height_mm=280.0)
    assert of.stage is not None
    rows = of.stage.height_mm.copy()
    rows[6:] = 100.0
    mixed = replace(of, stage=replace(of.stage, height_mm=rows))
    told = replace(mixed, weights=np.where(np.arange(N_MEMBERS) < 6, 0.01, 1.0))
    assert names(chosen(mixed, (low,))) == []
    assert names(chosen(told, (low,))) == ["sweeps"]
    north, south = part("north", 9.0, 18.0, standing()), part("south", 0.0, 9.0, told)
    assert names(chosen(north, (low,), mates=(south,))) == ["sweeps"]
    assert names(chosen(north, (low,), mates=(part("south", 0.0, 9.0, mixed),))) == []


def test_old_weeds_are_taken_as_established_ones_between_the_rows() -> None:
    offer = only(chosen(outlook(ALWAYS), (SWEEPS,), ({},), standing_m2=100.0))
    assert np.allclose(offer.old_killable, 0.6, rtol=0.0, atol=1e-12)
    assert offer.killed_m2 == 0.0  # of what came this season


# ------------------------------------------------------------------ what to remember


def test_the_set_up_of_the_rows_and_the_last_time_come_through() -> None:
    sweeps = replace(
        SWEEPS,
        track_mm=1200.0,
        clearance_mm=600.0,
        travel="in the paths",
        setups=(Setup("stale"), Setup("two rows", n_rows=2), Setup("three rows", n_rows=3)),
    )
    events = [
        entry("sow", NOW_HOUR - 500, crop="onion"),
        replace(
            entry("pass", NOW_HOUR - 50, tool="sweeps", setup="three rows", how="fair"),
            note="one notch closer",
        ),
        entry("pass", NOW_HOUR - 40, tool="sweeps", setup="two rows", how="poor"),
        entry("pass", NOW_HOUR - 30, tool="hoe", how="good"),
    ]
    offer = only(chosen(standing(), (sweeps,), events=events))
    assert offer.setup == Setup("three rows", n_rows=3)
    assert offer.note == "last time here: fair, one notch closer"
    bare = only(chosen(outlook(ALWAYS), (sweeps,)))
    assert bare.setup == Setup("stale")
    assert bare.note == ""
    plain = only(chosen(standing(), (HOE,)))
    assert plain.setup is None


def part(name: str, from_m: float, to_m: float, of: Outlook) -> Outlook:
    return replace(of, planting=replace(of.planting, part=name, from_m=from_m, to_m=to_m))


def test_a_machine_is_lifted_over_what_does_not_stand_it() -> None:
    """Onions of five leaves in the north, of one in the south; the hoe is led by hand."""
    north, south = part("north", 9.0, 18.0, standing()), part("south", 0.0, 9.0, standing())
    tender = part("south", 0.0, 9.0, standing(leaves=1.0))
    alone = only(chosen(north, (TINES,), mates=(south,)))
    assert alone.fit.lift_over == ()
    lifted = only(chosen(north, (TINES,), mates=(tender,)))
    assert lifted.fit.lift_over == ("A1/south",)
    assert "lift over A1/south (onion has 1.0 leaves, tines wait for 3)" in lifted.note
    assert lifted.minutes > alone.minutes
    led = chosen(north, (HOE,), mates=(tender,))
    assert only(led).fit.lift_over == ()


def test_a_neighbour_too_tall_for_the_axle_is_in_the_way() -> None:
    low = replace(SWEEPS, clearance_mm=300.0)
    north = part("north", 9.0, 18.0, standing())
    tall = part("south", 0.0, 9.0, standing(height_mm=280.0))
    found = chosen(north, (low, HOE), mates=(tall,))
    assert names(found) == ["hoe"]
    assert "must pass A1/south, which stands 280 mm high" in found.refusals[0].why
    assert names(chosen(tall, (low, HOE), mates=(north,))) == ["hoe"]


def test_a_blocked_bed_is_for_the_hoe() -> None:
    of = standing()
    bed = Bed("A1", 18.0, 0.75, "middle", ends="both blocked")
    found = chosen(replace(of, planting=replace(of.planting, bed=bed)), (SWEEPS, HOE))
    assert names(found) == ["hoe"]
    assert reasons(found) == {"sweeps": "no_fit"}


# ------------------------------------------------------------------ up or not


def test_a_crop_counts_as_up_from_nine_tenths_of_the_members() -> None:
    of = standing()
    assert of.stage is not None
    for n_up, is_there in ((7, False), (8, True)):
        rows = of.stage.is_up & (np.arange(N_MEMBERS) < n_up)[:, None]
        seen = replace(of, stage=replace(of.stage, is_up=rows))
        assert is_up(seen, NOW_HOUR, 0) is is_there
    assert is_up(replace(of, stage=None), NOW_HOUR, 0)  # of unknown age
    assert not is_up(outlook(ALWAYS), NOW_HOUR, 0)


def test_a_crop_of_unknown_age_is_left_alone() -> None:
    found = chosen(replace(standing(), stage=None), (TINES, SWEEPS, HOE))
    assert found.offers == ()
    assert set(reasons(found).values()) == {"no_fit"}
    assert "nothing is known of onion here" in found.refusals[0].why
