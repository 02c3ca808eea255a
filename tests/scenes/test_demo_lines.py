"""Every line to do of five demo mornings, held against what the crop, the rows and the weeds are.

The rules are read from the tables and from the stage of the crop, not from the gates.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial

import numpy as np
import pytest

from scheduler import service
from scheduler.adapters.demo import write_demo_farm
from scheduler.adapters.farmfile import read_farm
from scheduler.adapters.journal import open_farm_database
from scheduler.planning.crop_stage import CropStage
from scheduler.planning.traits import CropTraits
from scheduler.planning.weeds import weed_history, weed_outlook
from scheduler.records import Action, BedAnswer, Planting, Tool
from scheduler.service import weeds_now
from scheduler.service.settings import crop_traits

MORNINGS = tuple(
    datetime(2013, month, day, 9, 30, tzinfo=UTC)
    for month, day in ((5, 14), (5, 22), (6, 5), (6, 25), (7, 20))
)
N_MEMBERS = 8
N_PARTICLES = 64
MOST = 0.9  # weight of members that must be that far
TINES = {"tine weeder", "spike harrow", "rotary hoe"}
UNSEEN_ROWS = {*TINES, "flame"}  # may go where the rows are not to be seen


@dataclass(frozen=True)
class Line:
    """One line to do, with what it is about."""

    of: service.Situation
    answer: BedAnswer
    action: Action
    planting: Planting
    tool: Tool

    @property
    def stage(self) -> CropStage | None:
        return self.of.outlooks[self.planting.key].stage

    @property
    def crop(self) -> CropTraits:
        return crop_traits()[self.planting.crop or ""]

    @property
    def now(self) -> int:
        return self.of.sky.now_hour - self.of.day.stored

    @property
    def kinds(self) -> set[str]:
        return {self.tool.kind, *self.tool.carries}

    @property
    def is_up(self) -> bool:
        """Whether any member has the crop above ground."""
        assert self.stage is not None
        return bool(self.stage.is_up[:, self.now].any())

    def __str__(self) -> str:
        return f"{self.of.now:%d %b} {self.planting.key} {self.planting.crop} {self.tool.name}"


@pytest.fixture(scope="module")
def situations(tmp_path_factory: pytest.TempPathFactory) -> list[service.Situation]:
    """All beds of the first morning, then every second in turn; few members and particles."""
    folder = tmp_path_factory.mktemp("demo") / "farm"
    write_demo_farm(folder)
    farm = read_farm(folder)
    with pytest.MonkeyPatch.context() as patch, open_farm_database(folder) as database:
        module = weeds_now
        for whole in (weed_history, weed_outlook):
            patch.setattr(module, whole.__name__, partial(whole, n_particles=N_PARTICLES))
        patch.setattr(module, "N_PARTICLES", N_PARTICLES)
        return [
            service.situation(
                replace(farm, beds=farm.beds[i % 2 :: 2] if i else farm.beds),
                database,
                database,
                now,
                n_members=N_MEMBERS,
            )
            for i, now in enumerate(MORNINGS)
        ]


@pytest.fixture(scope="module")
def lines(situations: list[service.Situation]) -> list[Line]:
    found = [line for of in situations for line in _to_do(of)]
    assert len(found) >= 8
    assert len({line.of.now for line in found}) >= 2
    return found


def _to_do(of: service.Situation) -> Iterator[Line]:
    plantings = {(p.bed.name, p.part): p for p in of.plantings}
    tools = {tool.name: tool for tool in of.farm.tools}
    for draft in of.drafts:
        answer, action = draft.answer, draft.answer.action
        assert (answer.verdict == "go") == (action is not None)
        if action is not None:
            planting = plantings[answer.bed, answer.part]
            yield Line(of, answer, action, planting, tools[action.tool])


def test_no_tine_over_a_crop_that_does_not_stand_it(lines: list[Line]) -> None:
    """Sown: none between the first member up and the leaf stage; set: none before it is rooted."""
    seen = [x for x in lines if x.kinds & TINES and x.planting.crop is not None]
    assert seen
    for x in seen:
        assert x.stage is not None
        if not x.is_up:
            hours = x.of.outlooks[x.planting.key].crop_hours
            assert hours is not None, str(x)
            first_up = x.of.sky.at(int(np.nanmin(np.append(hours.first_up, x.of.sky.n_hours - 1))))
            assert x.action.end < first_up, str(x)
        elif x.planting.is_sown:
            assert x.crop.tine_leaves is not None, str(x)
            assert (x.stage.leaves[:, x.now] >= x.crop.tine_leaves).mean() >= MOST, str(x)
        else:
            assert x.crop.set_tine_cd is not None, str(x)
            assert (x.stage.rooted_cd[:, x.now] >= x.crop.set_tine_cd).mean() >= MOST, str(x)


def test_no_fingers_before_a_crop_is_rooted(lines: list[Line]) -> None:
    seen = [x for x in lines if "finger weeder" in x.kinds]
    assert seen
    for x in seen:
        assert x.planting.crop is not None, str(x)
        assert x.stage is not None
        if x.planting.is_sown:
            assert x.crop.finger_leaves is not None, str(x)
            assert (x.stage.leaves[:, x.now] >= x.crop.finger_leaves).mean() >= MOST, str(x)
        else:
            assert x.crop.set_finger_cd is not None, str(x)
            assert (x.stage.rooted_cd[:, x.now] >= x.crop.set_finger_cd).mean() >= MOST, str(x)


def test_the_rows_of_the_tool_are_those_of_the_planting(lines: list[Line]) -> None:
    """Three rows may be taken as an outer pair at twice the spacing, and the middle one."""
    seen = [x for x in lines if x.planting.n_rows and x.tool.rows and x.is_up]
    assert seen
    for x in seen:
        n_rows, spacing = x.planting.n_rows, x.planting.row_spacing_mm
        is_pair = n_rows == 3 and 3 not in x.tool.rows and {1, 2} <= {*x.tool.rows}
        assert n_rows in x.tool.rows or is_pair, str(x)
        if n_rows != 1 and spacing is not None and x.tool.row_spacings_mm:
            wanted = 2.0 * spacing if is_pair else spacing
            nearest = min(abs(own - wanted) for own in x.tool.row_spacings_mm)
            assert nearest <= 0.15 * wanted, str(x)
        setup = next((s for s in x.tool.setups if s.name == x.action.setup), None)
        if setup is not None and setup.n_rows is not None:
            assert setup.n_rows == n_rows, str(x)


def test_rows_that_are_not_to_be_seen_are_not_worked_along(lines: list[Line]) -> None:
    for x in lines:
        if x.planting.crop is not None and not x.is_up:
            assert x.kinds <= UNSEEN_ROWS, str(x)
        if x.planting.crop is None:
            assert not x.kinds & {"finger weeder", "torsion weeder", "hilling"}, str(x)


def test_a_pass_takes_time_and_lies_within_the_day(lines: list[Line]) -> None:
    for x in lines:
        assert x.action.work_min > 0.0, str(x)
        assert x.action.start < x.action.end, str(x)
        assert (x.action.end - x.action.start).total_seconds() >= 60.0 * x.action.work_min, str(x)
        start, end = (moment.astimezone(x.of.day.zone) for moment in (x.action.start, x.action.end))
        assert start >= x.of.now.replace(minute=0), str(x)
        assert start.date() == end.date() == x.of.now.astimezone(x.of.day.zone).date(), str(x)
        assert x.of.farm.work.start <= start.time() < end.time() <= x.of.farm.work.end, str(x)
        assert 0.0 < x.action.depth_mm <= x.tool.depth_mm, str(x)


def test_none_on_a_clean_bed_and_none_that_kills_nothing(lines: list[Line]) -> None:
    """Five weeds per m2 standing, to come, or left from before the record: below it is clean."""
    for x in lines:
        weeds = x.of.weeds[x.planting.key]
        w = weeds.weights / weeds.weights.sum()
        there = float(w @ (weeds.density_m2(0).sum(axis=1) + weeds.to_come_m2(0)))
        assert there + float(w @ weeds.standing_m2) >= 5.0, str(x)
        assert x.answer.killable_frac is not None, str(x)
        assert x.answer.killable_frac.mid > 0.0, str(x)
        assert x.answer.killable_frac.low <= x.answer.killable_frac.high <= 1.0, str(x)


def test_a_tool_that_is_refused_does_not_go_and_flame_is_off(
    situations: list[service.Situation], lines: list[Line]
) -> None:
    for x in lines:
        assert x.tool.name not in {r.tool for r in x.answer.refusals}, str(x)
        assert "flame" not in x.kinds, str(x)
    for of in situations:
        for draft in of.drafts:
            assert all(r.because and r.why for r in draft.answer.refusals), draft.answer.bed
            is_beans = draft.answer.crop == "snap bean"
            if is_beans and any("crook" in r.why for r in draft.answer.refusals):
                action = draft.answer.action
                assert action is None or action.tool != "tine weeder"
