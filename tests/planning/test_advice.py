"""What is due beside the flush: a crust that makes a line; seed and a planned sowing do not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import cast

import numpy as np
import pytest

from scheduler.planning.advice import Advice, _is_late, advice_for, advised, next_plan
from scheduler.planning.day import Day
from scheduler.planning.ensemble import Ensemble
from scheduler.planning.offers import Choice, Kit, Site, choose
from scheduler.planning.order import Draft
from scheduler.planning.outlook import Outlook
from scheduler.planning.special import SeedSet
from scheduler.planning.stale_bed import Seedbed, StaleBed, stale_bed_plan
from scheduler.planning.verdict import weed_verdict
from scheduler.records import Plan, Tool
from scheduler.service.settings import (
    hand_rates,
    kill_table,
    tool_traits,
    value_settings,
    weed_settings,
)
from tests.planning import made

ALWAYS = [(0, made.N_HOURS)]
NOW = made.NOW_HOUR
NOTHING = Advice(None, None, None, None)
FEW: Sequence[made.Counts] = ({"thread": 1.0},)
MANY: Sequence[made.Counts] = ({"thread": 400.0, "to_come": 100.0}, {"true_leaf": 500.0})


def crusted(
    hard_from: int,
    up: float,
    last_blind: float | None = None,
    n_hard: int = made.N_MEMBERS,
) -> Outlook:
    """Carrots below ground, under a crust that is hard from an hour on in some members."""
    index = np.zeros((made.N_MEMBERS, made.N_HOURS))
    index[:n_hard, hard_from:] = 0.7
    grown = replace(made.planting("carrot", NOW - 150.0), sowing_depth_mm=30.0)
    last = up - 20.0 if last_blind is None else last_blind
    of = made.outlook(
        ALWAYS, grown=grown, emergence=up, last_blind=last, last_flame=last, grows=made.stage(up)
    )
    return replace(of, crust_index=index)


def looked_at(
    of: Outlook,
    counts: Sequence[made.Counts] = FEW,
    tools: Sequence[Tool] = (made.TINES,),
    at: Day | None = None,
) -> tuple[Site, Choice, Kit, Day, Draft]:
    when = at or made.day(made.farm(tools))
    site = Site(of, made.weeds(counts, when, row_share=0.4), made.unseen_weather())
    kit = made.kit(tools)
    choice = choose(site, kit, (), when)
    draft = weed_verdict(site, choice, kit, when, hand_rates(), value_settings())
    return site, choice, kit, when, draft


def with_advice(
    of: Outlook, counts: Sequence[made.Counts] = FEW, tools: Sequence[Tool] = (made.TINES,)
) -> tuple[Draft, Draft, Advice]:
    """The draft by weeds, the same with advice, and the advice."""
    site, choice, kit, when, draft = looked_at(of, counts, tools)
    none = cast(Ensemble, None)  # asked only where a sowing is planned
    advice = advice_for(site, choice, kit, when, none)
    return draft, advised(draft, advice, site, choice, when), advice


# ------------------------------------------------------------------ a crust


def test_a_crust_over_a_sown_crop_is_broken_today_though_the_bed_is_clean() -> None:
    """A crust in six of eight members; the soil is fit in all. 2 min a square metre at .75."""
    before, after, advice = with_advice(crusted(NOW - 10, NOW + 60.0, n_hard=6))
    assert (before.answer.verdict, before.answer.because) == ("nothing", "clean")
    assert advice.crust is not None
    found = after.answer
    assert (found.verdict, found.because, found.until) == ("go", "", None)
    assert found.action is not None
    assert found.action.tool == "tines"
    assert found.action.depth_mm <= 15.0
    assert (found.action.start.day, found.action.start.hour) == (11, 7)
    assert (found.action.end.day, found.action.end.hour) == (11, 19)
    assert found.last_good_at == found.action.end
    assert found.sure == pytest.approx(1.0, abs=1e-12)
    assert "crust" in " ".join(found.why)
    assert after.worth_min == pytest.approx(0.75 * 2.0 * 18.0 * 0.75, abs=1e-9)
    assert after.urgency == pytest.approx(after.worth_min / found.action.work_min, rel=1e-9)


def test_the_tool_stops_where_the_crop_does_not_stand_it_any_more() -> None:
    """The last blind hour is 11:00 today."""
    _, after, _ = with_advice(crusted(NOW - 10, NOW + 26.0, last_blind=NOW + 6.0))
    assert after.answer.action is not None
    assert (after.answer.action.end.day, after.answer.action.end.hour) == (11, 11)


def test_rain_ends_the_hours_in_which_a_crust_is_broken() -> None:
    """Rain from 13:00 in six of eight members, none in the opposite; 07:00 to 13:00 is left."""
    of = crusted(NOW - 10, NOW + 60.0)
    rain = np.zeros((made.N_MEMBERS, made.N_HOURS))
    rain[:6, NOW + 8 : NOW + 20] = 1.0
    dry = made.day(made.farm((made.TINES,)))
    wet = replace(dry, sky=replace(dry.sky, forcing=replace(dry.sky.forcing, rain_mm=rain)))
    none = cast(Ensemble, None)
    ends = []
    for when in (dry, wet):
        site, choice, kit, _, draft = looked_at(of, at=when)
        found = advised(draft, advice_for(site, choice, kit, when, none), site, choice, when)
        assert found.answer.action is not None
        assert found.answer.action.start.hour == 7
        ends.append(found.answer.action.end.hour)
    assert ends == [19, 13]


def test_a_crust_that_can_wait_is_told_and_not_listed() -> None:
    """It holds the crop back in four days: three days are near enough."""
    before, after, advice = with_advice(crusted(NOW - 10, NOW + 96.0))
    assert advice.crust is not None
    assert after.answer.verdict == before.answer.verdict == "nothing"
    assert "crust" in " ".join(after.answer.details)
    assert "crust" not in " ".join(before.answer.details)
    assert with_advice(crusted(NOW - 10, NOW + 71.0))[1].answer.verdict == "go"


def test_without_a_tool_over_the_row_a_crust_is_told_with_its_rake() -> None:
    before, after, advice = with_advice(crusted(NOW - 10, NOW + 60.0), tools=(made.SWEEPS,))
    assert advice.crust is not None
    assert advice.crust.tool is None
    assert after.answer.verdict == before.answer.verdict != "go"
    assert "rake" in " ".join(after.answer.details)


def test_a_pass_that_goes_for_its_weeds_stays_as_it_is_and_tells_the_crust() -> None:
    before, after, _ = with_advice(crusted(NOW - 10, NOW + 60.0), MANY)
    assert before.answer.verdict == after.answer.verdict == "go"
    assert after.answer.action == before.answer.action
    assert (after.urgency, after.worth_min) == (before.urgency, before.worth_min)
    assert len(after.answer.details) > len(before.answer.details)


def test_nothing_due_changes_nothing() -> None:
    before, after, advice = with_advice(crusted(NOW + 200, NOW + 60.0))
    assert advice.crust is None
    assert after == before


# ------------------------------------------------------------------ seed


def seed(is_due: bool) -> SeedSet:
    on = date(2013, 5, 16)
    return SeedSet(False, date(2013, 4, 1), on, on, date(2013, 5, 15), is_due, False, "seed soon")


@pytest.mark.parametrize("counts", [FEW, MANY])
def test_the_last_call_before_seed_is_dated_and_changes_no_verdict(
    counts: Sequence[made.Counts],
) -> None:
    site, choice, _, when, draft = looked_at(made.outlook(ALWAYS), counts)
    due = advised(draft, replace(NOTHING, seed=seed(True)), site, choice, when)
    assert due.answer.last_call_on == date(2013, 5, 15)
    assert due.answer.details[-1] == "seed soon"
    assert due.answer.verdict == draft.answer.verdict
    assert due.answer.action == draft.answer.action
    later = advised(draft, replace(NOTHING, seed=seed(False)), site, choice, when)
    assert later == draft


@pytest.mark.parametrize(
    ("crop", "set_d", "is_late"),
    [("lettuce", 30.0, False), ("lettuce", 40.0, True), ("garlic", 208.0, False)],
)
def test_seed_matters_once_the_weed_free_weeks_are_over(
    crop: str, set_d: float, is_late: bool
) -> None:
    """Lettuce five weeks from setting; garlic set in October is in the midst of its own in May."""
    grown = replace(made.planting(crop, NOW - 24.0 * set_d), is_sown=False)
    site = Site(
        made.outlook(ALWAYS, grown=grown, grows=made.stage(0.0)),
        made.weeds([{"established": 100.0}], made.day(), row_share=0.4),
        made.unseen_weather(),
    )
    assert _is_late(site, made.kit(), made.day()) is is_late
    assert _is_late(replace(site, outlook=made.outlook(ALWAYS)), made.kit(), made.day())


# ------------------------------------------------------------------ a planned sowing


def stale() -> StaleBed:
    """The made bed, cold and not yet prepared, for carrots in five weeks."""
    shape = (made.N_MEMBERS, made.N_HOURS)
    found = stale_bed_plan(
        Plan("A1", "carrot", date(2013, 6, 15)), made.day(), made.outlook([], of=made.flush(None)),
        Seedbed(np.full(shape, 14.0), np.full(shape, 20.0)), tool_traits(), kill_table(),
        weed_settings(),
    )  # fmt: skip
    assert found is not None
    return found


@pytest.mark.parametrize("counts", [FEW, MANY])
def test_a_stale_bed_gives_a_line_of_its_own_and_changes_no_verdict(
    counts: Sequence[made.Counts],
) -> None:
    site, choice, _, when, draft = looked_at(made.outlook(ALWAYS), counts)
    found = advised(draft, replace(NOTHING, stale=stale()), site, choice, when)
    assert found.answer.plan
    assert found.answer.plan.startswith("stale bed for carrot 15 Jun")
    assert draft.answer.plan == ""
    assert found.answer.verdict == draft.answer.verdict
    assert len(found.answer.details) > len(draft.answer.details)


def test_a_line_for_a_crust_keeps_the_last_call_and_the_plan() -> None:
    site, choice, kit, when, draft = looked_at(crusted(NOW - 10, NOW + 60.0))
    advice = advice_for(site, choice, kit, when, cast(Ensemble, None))
    found = advised(draft, replace(advice, seed=seed(True), stale=stale()), site, choice, when)
    assert found.answer.verdict == "go"
    assert found.answer.last_call_on == date(2013, 5, 15)
    assert found.answer.plan


def test_the_next_plan_of_a_bed_is_the_earliest_after_today() -> None:
    """The morning is that of 11 May: what was meant for today is no plan any more."""
    plans = (
        Plan("A1", "carrot", date(2013, 6, 15)),
        Plan("A1", "beet", date(2013, 5, 12)),
        Plan("A1", "onion", date(2013, 5, 11)),
        Plan("B1", "bean", date(2013, 5, 12)),
    )
    when = made.day(replace(made.farm(), plans=plans))
    found = next_plan(when, "A1")
    assert found is not None
    assert found.crop == "beet"
    assert next_plan(when, "C1") is None
