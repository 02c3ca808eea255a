"""The list of the day: one verdict for every planting, then the order of those to do today.

This is the rule of workability and flush window: go where the soil can be worked today and the
flush stands where one pass kills most of what it ever can. What a pass is worth in minutes is not
computed here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from scheduler.planning.day import Day, local_moment
from scheduler.planning.work import setup_minutes
from scheduler.records import (
    BedAnswer,
)


@dataclass(frozen=True)
class Draft:
    """A verdict before the order of the day; `urgency` ranks the lines worth doing."""

    answer: BedAnswer
    urgency: float


def order_of_day(
    drafts: Sequence[Draft], hours_available: float, day: Day
) -> tuple[tuple[BedAnswer, ...], tuple[BedAnswer, ...], float, int]:
    """Order what is worth doing within the hours, one set-up at a time.

    Parameters
    ----------
    drafts : sequence of Draft
        One a planting.
    hours_available : float
        Hours of cultivation today [h].
    day : Day
        The clock.

    Returns
    -------
    tuple
        Answers in order (ranked lines first), lines not reached, minutes planned, set-up changes.

    Notes
    -----
    Tools are taken in the order of their most urgent line, and so are the set-ups of a tool; within
    a set-up by urgency, then by when the soil is fit, then by name. A line that does not fit into
    what is left of the hours becomes `wait`, `no_hours`. Definition of this project. No range
    stated. Worked: tests/planning/test_order.py; whole mornings: tests/scenes.
    """
    go = [d for d in drafts if d.answer.verdict == "go"]
    best: dict[str, float] = {}
    best_setup: dict[tuple[str, str | None], float] = {}
    for draft in go:
        action = draft.answer.action
        assert action is not None
        setting = (action.tool, action.setup)
        best[action.tool] = max(best.get(action.tool, 0.0), draft.urgency)
        best_setup[setting] = max(best_setup.get(setting, 0.0), draft.urgency)

    def key(draft: Draft) -> tuple[float, str, float, str, float, datetime, str, str]:
        action = draft.answer.action
        assert action is not None
        answer = draft.answer
        return (
            -best[action.tool], action.tool, -best_setup[action.tool, action.setup],
            action.setup or "", -draft.urgency, action.start, answer.bed, answer.part or "",
        )  # fmt: skip

    left = hours_available * 60.0
    planned = 0.0
    changes = 0
    tools = {tool.name: tool for tool in day.farm.tools}
    in_use: tuple[str, str | None] | None = None
    ranked: list[BedAnswer] = []
    missed: list[BedAnswer] = []
    for draft in sorted(go, key=key):
        action = draft.answer.action
        assert action is not None
        needed = (action.tool, action.setup)
        setup = setup_minutes(in_use, needed, tools[action.tool])
        cost = action.work_min + setup
        if cost <= left:
            left -= cost
            planned += cost
            changes += int(needed != in_use)
            in_use = needed
            ranked.append(
                replace(draft.answer, rank=len(ranked) + 1, action=replace(action, setup_min=setup))
            )
        else:
            tomorrow = local_moment(day.sky.at(day.last_hour_today), day)
            missed.append(replace(draft.answer, verdict="wait", because="no_hours", until=tomorrow))
    rest = sorted(
        (d.answer for d in drafts if d.answer.verdict != "go"),
        key=lambda a: (a.verdict, a.because, a.bed, a.part or ""),
    )
    return (*ranked, *rest), tuple(missed), planned, changes
