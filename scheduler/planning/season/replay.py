"""A logged season played again under other rules, in the hours that were worked with tools."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

import numba as nb
import numpy as np

from scheduler.planning.draws import stratified_normals
from scheduler.planning.ensemble import SoilMembers, soil_members
from scheduler.planning.season.belief import Belief, build_belief
from scheduler.planning.season.garden import LoggedPasses, day_at, played_as_logged
from scheduler.planning.season.ours import Ours
from scheduler.planning.season.play import PlayState, played
from scheduler.planning.season.rules import Attentive, Calendar
from scheduler.planning.season.shapes import Bill, Choose, Eyes, Hours, Morning, Rule, Truth
from scheduler.planning.season.truth import (
    GATE,
    TruthSeason,
    TruthSpread,
    draw_truth,
    truth_season,
)
from scheduler.planning.season.world import World
from scheduler.records import FloatArray, Range, Replay

AS_LOGGED = "as logged"
NO_PASS = "no pass at all"
THE_LIST = "the list, same hours"
EVERY_D = 8.0
SEEN_M2 = 10.0
SEEN_GAP_D = 3.0
_OUT_FROM_MIN = 60.0  # that must have come together before a rule takes a tool out
_LIST_MEMBERS = 3
_LIST_PARTICLES = 8
_LIST_SEEDS = 6

Told = Callable[[float], None]


def central_truth(world: World) -> Truth:
    """The truth in which everything is as the tables have it.

    Parameters
    ----------
    world : World
        The season.

    Returns
    -------
    Truth
        Central soil, clock, size and kill, without luck.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/season/test_replay.py.
    """
    sd = TruthSpread()
    return Truth(
        name="central",
        is_outside=False,
        soils=world.central,
        clock=1.0,
        spread=1.0,
        farm_size_ln=0.0,
        bed_size_ln={},
        event_size_ln_sd=0.0,
        kill_ln={},
        pass_kill_ln_sd=0.0,
        pass_share_frac=0.5 * (sd.least_share_frac + sd.most_share_frac),
        build=GATE,
    )


def drawn_truths(world: World, n_truths: int, name: str = "replay") -> tuple[Truth, ...]:
    """Hidden truths that a farm's season is played against.

    Parameters
    ----------
    world : World
        The season.
    n_truths : int
        How many.
    name : str
        Of the draws.

    Returns
    -------
    tuple of Truth
        Inside the prior; their soils, clocks and the size of the farm's flushes lie spread evenly
        over what the tables allow, so that a few of them stray to no side.

    Notes
    -----
    The same farm, name and number give the same truths. Definition of this project. No range
    stated. Worked: tests/planning/season/test_replay.py.
    """
    seed = world.garden.farm.seed
    used = {bed.soil for bed in world.garden.farm.beds}
    members = {
        soil: soil_members(prior, world.tables.spread, seed, n_truths)
        for soil, prior in world.tables.priors.items()
        if soil in used
    }
    size_ln = TruthSpread().farm_size_ln_sd * stratified_normals(seed, n_truths, name, "size")
    clock_ln = world.tables.kit.weeds.clock_ln_sd * stratified_normals(
        seed, n_truths, name, "clock"
    )
    return tuple(
        replace(
            draw_truth(
                f"{name} {i + 1}",
                seed,
                world,
                soils={soil: _one(drawn, i) for soil, drawn in members.items()},
            ),
            farm_size_ln=float(size_ln[i]),
            clock=float(np.exp(clock_ln[i])),
        )
        for i in range(n_truths)
    )


def _one(members: SoilMembers, i: int) -> SoilMembers:
    """One member of a soil."""
    names = ("working_m3m3", "wheel_m3m3", "ceiling_m3m3", "dry_limit_m3m3")
    thresholds = {name: getattr(members, name)[i : i + 1] for name in names}
    return SoilMembers(parameters=members.parameters.take(np.array([i])), **thresholds)


def logged_hours(world: World, logged: LoggedPasses) -> Hours:
    """Minutes with tools of a logged season, for other rules.

    Parameters
    ----------
    world : World
        The season.
    logged : LoggedPasses
        Its passes.

    Returns
    -------
    Hours
        At no date more than was logged by then, on days on which a tool was out and an hour of them
        had come together; where no pass is on record, the hours of the plan.

    Notes
    -----
    What a rule leaves over of one day it may use on a later one. Minutes come together so that a
    set-up is worth it, and so that fewer mornings are computed. Definition of this project. No
    range stated. Worked: tests/planning/season/test_replay.py.
    """
    if not logged.passes:
        return Hours(plan_minutes(world))
    used, granted = np.zeros(len(world.days)), np.zeros(len(world.days))
    saved_up = 0.0
    of_day = logged.minutes_by_day(world)
    for day in sorted(of_day):
        used[day] = of_day[day]
        saved_up += of_day[day]
        if saved_up >= _OUT_FROM_MIN and world.days[day].is_working:
            granted[day], saved_up = np.inf, 0.0
    return Hours(granted, np.cumsum(used))


def plan_minutes(world: World, more_h_a_week: float = 0.0) -> FloatArray:
    """Minutes with tools by day of the season, as the work plan has them.

    Parameters
    ----------
    world : World
        The season.
    more_h_a_week : float
        Hours more, or fewer, in a week, shared over its working days by their hours [h].

    Returns
    -------
    array
        Shape (n_days,) [min], none below nought.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/season/test_replay.py.
    """
    hours = np.array(world.garden.farm.work.hours)
    whole = float(hours.sum())
    if whole > 0.0:
        hours = hours * max(0.0, 1.0 + more_h_a_week / whole)
    return np.array(
        [60.0 * hours[day.on.weekday()] if day.is_working else 0.0 for day in world.days]
    )


@dataclass(frozen=True)
class Planned:
    """Passes that were chosen before, day by day; what does not go that day is left out."""

    name: str
    plan: Mapping[int, tuple[Choose, ...]]
    eyes: Eyes = field(default_factory=Eyes)

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        """Those of the day."""
        return self.plan.get(morning.day, ())


def plan_of(state: PlayState) -> Mapping[int, tuple[Choose, ...]]:
    """The passes and visits of a play, as a plan for another.

    Parameters
    ----------
    state : PlayState
        After the play.

    Returns
    -------
    mapping
        Passes by day, in the order they were set out for.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/season/test_replay.py.
    """
    plan: dict[int, list[Choose]] = {}
    for event in state.events:
        if event.kind == "pass" and event.bed is not None:
            day = day_at(state.world, state.world.hour_of(event.happened_at))
            plan.setdefault(day, []).append(Choose(event.bed, str(event.data["tool"])))
    return {day: tuple(passes) for day, passes in plan.items()}


def list_plan(world: World, hours: Hours, price: float, told: Told | None = None) -> Planned:
    """What the list would have named within some hours, and in what order.

    Parameters
    ----------
    world : World
        The season.
    hours : Hours
        Minutes with tools; mornings without any are not looked at.
    price : float
        Hand minutes that a machine minute must save [min/min].
    told : callable, optional
        Told the share done.

    Returns
    -------
    Planned
        As it went in the central truth.

    Notes
    -----
    The list knows the weather so far and a forecast as skilful as it takes forecasts to be, looks
    at no weeds, and has few members, particles and seeds (3, 8 and 6). Definition of this project.
    No range stated. Worked: tests/planning/season/test_replay.py.
    """
    belief = list_belief(world, hours, told)
    season = truth_season(world, central_truth(world))
    return believed_plan(belief, world, season, hours, price)


def list_belief(world: World, hours: Hours, told: Told | None = None) -> Belief:
    """What the list believes on the mornings with minutes for tools.

    Parameters
    ----------
    world : World
        The season.
    hours : Hours
        Minutes with tools.
    told : callable, optional
        Told the share done.

    Returns
    -------
    Belief
        With few members.

    Notes
    -----
    As `list_plan`.
    """
    days = np.flatnonzero(hours.a_day_min > 0.0).tolist()
    return build_belief(world, _LIST_MEMBERS, days=days, progress=told)


def believed_plan(
    belief: Belief, world: World, central: TruthSeason, hours: Hours, price: float
) -> Planned:
    """What the list names over a world, on a belief that another like it may have built.

    Parameters
    ----------
    belief : Belief
        Of a world with the same columns and with all tools and ways of this one.
    world : World
        The season.
    central : TruthSeason
        Of the central truth.
    hours : Hours
        Minutes with tools.
    price : float
        As `list_plan`.

    Returns
    -------
    Planned
        As it went in the central truth.

    Notes
    -----
    As `list_plan`.
    """
    own = replace(belief, world=world)
    rule = Ours(own, price, n_particles=_LIST_PARTICLES, n_seeds=_LIST_SEEDS)
    season = replace(central, world=world)
    with one_thread():
        state = played(world, season.truth, rule, hours, season=season)
    return Planned(THE_LIST, plan_of(state))


@contextmanager
def one_thread() -> Iterator[None]:
    """Computations that are each too short to be worth sharing among threads.

    Returns
    -------
    context manager
        Within it compiled loops run on one thread; the number of before holds again after it.

    Notes
    -----
    Results are the same. Definition of this project. No range stated.

    Examples
    --------
    >>> with one_thread():
    ...     nb.get_num_threads()
    1
    """
    n_threads = nb.get_num_threads()
    nb.set_num_threads(1)
    try:
        yield
    finally:
        nb.set_num_threads(n_threads)


def replay_rules(world: World, price: float, hours: Hours, told: Told | None = None) -> list[Rule]:
    """The rules that a logged season is played again under.

    Parameters
    ----------
    world : World
        The season.
    price : float
        As `list_plan`.
    hours : Hours
        Minutes with tools of each.
    told : callable, optional
        Told the share done.

    Returns
    -------
    list of Rule
        No pass, a calendar, eyes and the list.

    Notes
    -----
    No pass tells what the logged ones did together: weighed one by one, each has the others to
    take what it would have left.
    The eyes see every weed of every bed without error on each working day: better than any grower.
    Definition of this project. No range stated.
    """
    return [
        Planned(NO_PASS, {}),
        Calendar(world, EVERY_D, minds_wet=True),
        Attentive(world, SEEN_M2, SEEN_GAP_D),
        list_plan(world, hours, price, told),
    ]


def rule_words(rule: Rule) -> str:
    """The name of a replayed rule in plain words.

    Parameters
    ----------
    rule : Rule
        One of `replay_rules`.

    Returns
    -------
    str
        As "every 8 days, if dry".

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> rule_words(Planned("as planned", {}))
    'as planned'
    """
    return "whenever weeds are seen" if isinstance(rule, Attentive) else rule.name


def replayed(
    world: World,
    logged: LoggedPasses,
    truths: Sequence[Truth],
    rules: Sequence[Rule],
    hours: Hours,
    told: Told | None = None,
) -> tuple[Replay, ...]:
    """A season as logged and under other rules, over the same truths.

    Parameters
    ----------
    world : World
        The season.
    logged : LoggedPasses
        Its passes.
    truths : sequence of Truth
        What may be hidden.
    rules : sequence of Rule
        Other rules.
    hours : Hours
        Minutes with tools of each of them.
    told : callable, optional
        Told the share done.

    Returns
    -------
    tuple of Replay
        As logged first; differences are paired by truth.

    Notes
    -----
    Machine minutes hold set-ups and visits in vain. Definition of this project. No range stated.
    Worked: tests/planning/season/test_replay.py.
    """
    bills: dict[str, list[Bill]] = {name: [] for name in (AS_LOGGED, *map(rule_words, rules))}
    for i, truth in enumerate(truths):
        season: TruthSeason = truth_season(world, truth)
        bills[AS_LOGGED].append(played_as_logged(season, logged).bill())
        for rule in rules:
            bill = played(world, truth, rule, hours, season=season).bill()
            bills[rule_words(rule)].append(bill)
        if told is not None:
            told((i + 1) / len(truths))
    own = np.array([bill.hand_min for bill in bills[AS_LOGGED]])
    return tuple(_replay(name, found, own) for name, found in bills.items())


def _replay(rule: str, bills: Sequence[Bill], as_logged_min: FloatArray) -> Replay:
    hand = np.array([bill.hand_min for bill in bills])
    return Replay(
        rule,
        range_of(hand),
        range_of([bill.machine_min + bill.vain_min for bill in bills]),
        range_of([bill.n_passes for bill in bills]),
        range_of(hand - as_logged_min),
        len(bills),
        range_of(hand / np.maximum(as_logged_min, 1e-9)),
    )


def range_of(values: Sequence[float] | FloatArray) -> Range:
    """Range of a figure over the truths that were played.

    Parameters
    ----------
    values : sequence of float
        One a truth.

    Returns
    -------
    Range
        10, 50 and 90 % of them.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> range_of([0.0, 10.0, 20.0])
    Range(low=2.0, mid=10.0, high=18.0)
    """
    low, mid, high = (float(q) for q in np.quantile(np.asarray(values, float), (0.1, 0.5, 0.9)))
    return Range(low, mid, high)
