"""The list of the day: which passes fit into the hours, with which tools, in which order.

Where the hours are scarce a minute is worth more than the grower's own price: the plan is made at
several prices of a minute and the one that saves most within the hours is kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from scheduler.planning.day import Day, local_moment
from scheduler.planning.look_choice import AskedLook
from scheduler.planning.work import setup_minutes
from scheduler.records import Action, BedAnswer, Tool

_PRICES = (0.5, 1.0, 1.5, 2.0, 3.0, 4.5, 7.0, 10.0, 15.0, 25.0, 40.0)  # of a minute, tried in turn
_STEP_MIN = 15.0  # plans for fewer minutes are tried too, so that more time never plans for less
_KEEPS_PLACE = 0.10  # by which a line must gain to pass one that stood before it


@dataclass(frozen=True)
class Draft:
    """A verdict before the order of the day.

    `worth_min` is what its pass is worth before the price of its minutes, `urgency` what it gains a
    minute, with what waiting costs. `others` are the same planting with other tools. `look` is the
    look there that would help most, if any does.
    """

    answer: BedAnswer
    urgency: float
    worth_min: float = 0.0
    others: tuple[Draft, ...] = ()
    look: AskedLook | None = None

    @property
    def action(self) -> Action:
        """The pass of a `go`."""
        assert self.answer.action is not None
        return self.answer.action

    @property
    def place(self) -> tuple[str, str]:
        """Bed and part."""
        return self.answer.bed, self.answer.part or ""


@dataclass(frozen=True)
class DayPlan:
    """Answers in order, ranked lines first; lines not reached; minutes and set-ups of the day."""

    answers: tuple[BedAnswer, ...]
    not_reached: tuple[BedAnswer, ...]
    minutes: float
    n_setups: int
    worth_min: float
    net_min: float  # less the grower's own price of all minutes, set-ups among them


def order_of_day(
    drafts: Sequence[Draft],
    hours_available: float,
    day: Day,
    before: Mapping[tuple[str, str], int] | None = None,
) -> DayPlan:
    """Order what is worth doing within the hours, one set-up at a time.

    Parameters
    ----------
    drafts : sequence of Draft
        One a planting.
    hours_available : float
        Hours of cultivation today [h].
    day : Day
        The clock.
    before : mapping, optional
        Rank of each bed and part on the list issued last.

    Returns
    -------
    DayPlan
        The plan.

    Notes
    -----
    At each price of a minute a planting takes the tool that leaves most, or none; tools are taken
    in the order of their most urgent line, and so are the set-ups of a tool, within a set-up by
    urgency. A tool stays in the shed, and its lines take another or none, where the set-ups it
    would need cost more than that. Hours in which no line can be done are none. A line that does
    not fit is passed over; the plan is kept that
    leaves most at the grower's own price of a minute. A quarter of an hour more never lowers what
    it leaves. A line keeps its place in its set-up unless one below it gains a tenth more. A line
    that does not fit becomes `wait`, `no_hours`. Definition of this project. No range stated.
    Worked: tests/planning/test_order.py; whole mornings: tests/scenes.
    """
    go = [draft for draft in drafts if draft.answer.verdict == "go"]
    tools = {tool.name: tool for tool in day.farm.tools}
    minutes = min(hours_available, _fit_h(go)) * 60.0
    own = day.farm.work.machine_price
    prices = [own, *(price for price in _PRICES if price > own)]
    orders = [
        _in_order(lines, before or {}) for price in prices for lines in _choices(go, price, tools)
    ]
    spans = [minutes, *(_STEP_MIN * i for i in range(1, int(minutes / _STEP_MIN) + 1))]
    plans = [_plan(order, span, tools) for span in spans for order in orders]
    best = max(plans, key=lambda plan: plan.worth_min - own * plan.minutes)
    wanted = {draft.place for draft in orders[0]}
    reached = {draft.place for draft, _ in best.lines}
    ranked = tuple(
        replace(draft.answer, rank=i, action=replace(draft.action, setup_min=setup))
        for i, (draft, setup) in enumerate(best.lines, start=1)
    )
    tomorrow = local_moment(day.sky.at(day.last_hour_today), day)
    missed = sorted(
        (d for d in go if d.place in wanted and d.place not in reached), key=_by_urgency
    )
    alone = [d for d in go if d.place not in wanted and d.place not in reached]
    rest = sorted(
        [d.answer for d in drafts if d.answer.verdict != "go"] + [_not_alone(d) for d in alone],
        key=lambda a: (a.verdict, a.because, a.bed, a.part or ""),
    )
    return DayPlan(
        (*ranked, *rest),
        tuple(
            replace(d.answer, verdict="wait", because="no_hours", until=tomorrow) for d in missed
        ),
        best.minutes,
        best.n_setups,
        best.worth_min,
        best.worth_min - own * best.minutes,
    )


def _not_alone(draft: Draft) -> BedAnswer:
    """A line that does not pay for the set-up it would need."""
    tool = draft.action.tool
    saved = f"{draft.worth_min:.0f} min by hand"
    why = f"{tool} would save {saved} here, too little to set it up for this alone"
    return replace(
        draft.answer,
        verdict="nothing",
        because="clean",
        why=(why, *draft.answer.why),
        action=None,
        sure=None,
        last_good_at=None,
    )


def _fit_h(go: Sequence[Draft]) -> float:
    """Hours of today in which any of the lines can be done: rain or wet soil may leave few."""
    each = [one.action for draft in go for one in (draft, *draft.others)]
    spans = sorted((action.start, action.end) for action in each)
    fit, reached = timedelta(0), None
    for start, end in spans:
        begin = start if reached is None else max(start, reached)
        fit += max(end - begin, timedelta(0))
        reached = end if reached is None else max(end, reached)
    return fit / timedelta(hours=1)


def _choices(go: Sequence[Draft], price: float, tools: Mapping[str, Tool]) -> list[list[Draft]]:
    """Each planting with the tool that leaves most at a price of a minute, if any is left.

    Tools are put away one after the other as long as the whole gains by it: a set-up saved may be
    worth a slower tool. The best choice comes first, then those it was found by, which may fit
    better into few hours.
    """
    away: frozenset[str] = frozenset()
    lines, most = _of_tools(go, price, tools, away)
    found = [lines]
    while lines:
        used = sorted({draft.action.tool for draft in lines})
        tried = [(away | {name}, *_of_tools(go, price, tools, away | {name})) for name in used]
        further, fewer, left = max(tried, key=lambda choice: choice[2])
        if left <= most:
            break
        away, lines, most = further, fewer, left
        found.append(lines)
    return found[::-1]


def _of_tools(
    go: Sequence[Draft], price: float, tools: Mapping[str, Tool], away: frozenset[str]
) -> tuple[list[Draft], float]:
    """Each planting with the best of the tools that are not put away; what the whole leaves."""
    chosen: dict[str, list[Draft]] = {}
    for draft in go:
        options = [o for o in (draft, *draft.others) if o.action.tool not in away]
        best = max(options, key=lambda o: _left(o, price), default=None)
        if best is not None and _left(best, price) > 0.0:
            chosen.setdefault(best.action.tool, []).append(best)
    left = sum(_left(draft, price) for lines in chosen.values() for draft in lines)
    setups = sum(_setups_min(lines, tools[name]) for name, lines in chosen.items())
    return [draft for lines in chosen.values() for draft in lines], left - price * setups


def _left(draft: Draft, price: float) -> float:
    """What a pass leaves of its worth at a price of a minute."""
    return draft.worth_min - price * draft.action.work_min


def _setups_min(lines: Sequence[Draft], tool: Tool) -> float:
    """Minutes to mount a tool and to set it for its lines, one setting after the other."""
    settings = list(dict.fromkeys((tool.name, draft.action.setup) for draft in lines))
    before: list[tuple[str, str | None] | None] = [None, *settings[:-1]]
    return sum(setup_minutes(b, s, tool) for b, s in zip(before, settings, strict=True))


@dataclass(frozen=True)
class _Lines:
    lines: tuple[tuple[Draft, float], ...]  # with the set-up minutes before each
    minutes: float
    n_setups: int
    worth_min: float


def _plan(in_order: Sequence[Draft], minutes: float, tools: Mapping[str, Tool]) -> _Lines:
    """The lines in order that fit into the minutes."""
    lines: list[tuple[Draft, float]] = []
    in_use: tuple[str, str | None] | None = None
    left, n_setups = minutes, 0
    for draft in in_order:
        needed = (draft.action.tool, draft.action.setup)
        setup = setup_minutes(in_use, needed, tools[draft.action.tool])
        cost = draft.action.work_min + setup
        if cost > left:
            continue
        left -= cost
        n_setups += int(needed != in_use)
        in_use = needed
        lines.append((draft, setup))
    return _Lines(
        tuple(lines), minutes - left, n_setups, sum(draft.worth_min for draft, _ in lines)
    )


def _in_order(go: Sequence[Draft], before: Mapping[tuple[str, str], int]) -> list[Draft]:
    """One set-up after the other, the most urgent first; places are kept where little is gained."""
    best: dict[str, float] = {}
    best_setup: dict[tuple[str, str | None], float] = {}
    for draft in go:
        tool, setup = draft.action.tool, draft.action.setup
        best[tool] = max(best.get(tool, 0.0), draft.urgency)
        best_setup[tool, setup] = max(best_setup.get((tool, setup), 0.0), draft.urgency)
    groups: dict[tuple[str, str | None], list[Draft]] = {}
    for draft in go:
        groups.setdefault((draft.action.tool, draft.action.setup), []).append(draft)
    in_order = sorted(groups, key=lambda g: (-best[g[0]], g[0], -best_setup[g], g[1] or ""))
    return [draft for group in in_order for draft in _settled(groups[group], before)]


def _by_urgency(draft: Draft) -> tuple[float, datetime, tuple[str, str]]:
    return -draft.urgency, draft.action.start, draft.place


def _settled(go: Sequence[Draft], before: Mapping[tuple[str, str], int]) -> list[Draft]:
    """By urgency, but a line passes one that stood before it only if it gains a tenth more."""
    lines = sorted(go, key=_by_urgency)
    for end in range(1, len(lines)):
        i = end
        while i > 0:
            above, below = lines[i - 1], lines[i]
            was = before.get(below.place), before.get(above.place)
            is_earlier = was[0] is not None and was[1] is not None and was[0] < was[1]
            if not is_earlier or above.urgency > (1.0 + _KEEPS_PLACE) * below.urgency:
                break
            lines[i - 1], lines[i] = below, above
            i -= 1
    return lines
