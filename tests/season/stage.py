"""The garden, the truths and the rules that are played, by name."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from functools import lru_cache, partial
from typing import Any

from scheduler.planning.season.belief import N_MEMBERS, Belief, Forecast, build_belief
from scheduler.planning.season.ours import LOOKS, NO_LOOKS, PARTS, Oracle, Ours
from scheduler.planning.season.play import play
from scheduler.planning.season.rules import (
    AfterRain,
    Attentive,
    Calendar,
    Never,
    WheneverWorkable,
    simple_rules,
)
from scheduler.planning.season.shapes import Garden, Rule, Truth
from scheduler.planning.season.truth import (
    GATE,
    OUTSIDE,
    PRODUCT,
    TruthSeason,
    draw_truth,
    truth_season,
)
from scheduler.planning.season.world import World, build_world, made_garden
from scheduler.service import settings
from scheduler.service.garden import season_tables
from tests.season import figures, weathers
from tests.season.driver import Task
from tests.season.played import OURS_ROOMS, WORLD_ROOMS, Played, program_mark

STUDY_SEED = 20130514
N_BEDS = 12
# Minutes with the machine on each of four working days a week. A set-up takes ten, a bed under two.
# Set on weather and truths of tuning so that the rule that wants most (daily eyes, over 5, gap one
# day) gets half of what it wants, eight tenths, and all.
BUDGETS_MIN = {"scarce": 14.0, "medium": 30.0, "plenty": 120.0}
N_INSIDE = 20
N_OTHER_BUILD = 7
OTHER_BUILD = "other build"
PRICES = (0.5, 1.0, 2.0)
MAIN_PRICE = 1.0
FEW_MEMBERS = 4
FEW_PARTICLES = 12


# ------------------------------------------------------------------ world


def garden_at(weather: str, n_beds: int = N_BEDS) -> Garden:
    """The made garden where and when a weather was."""
    station, year = weathers.station_of(weather)
    return made_garden(settings.crop_traits(), n_beds, year, station.place)


@lru_cache(maxsize=8)
def world_of(weather: str) -> World:
    """The season without truth or rule."""
    garden = garden_at(weather)
    return build_world(garden, weathers.season_weather(weather), season_tables(garden.farm))


# ------------------------------------------------------------------ truths


def truth_names() -> tuple[str, ...]:
    """The truths that judge: inside the prior and outside in turn, so that a part is even."""
    inside = [f"inside {i + 1:02d}" for i in range(N_INSIDE)]
    outside = [*OUTSIDE, *(f"{OTHER_BUILD} {i + 1}" for i in range(N_OTHER_BUILD))]
    turns = [name for pair in zip(inside, outside, strict=False) for name in pair]
    return tuple(turns + inside[len(outside) :] + outside[len(inside) :])


def tuning_names() -> tuple[str, ...]:
    """Truths for tuning, of another seed's names; never for judging."""
    return tuple(f"tuning {i + 1}" for i in range(6))


def kind_of(truth: str) -> str:
    """Which way a truth lies outside the prior; empty inside it."""
    if truth.startswith(OTHER_BUILD):
        return OTHER_BUILD
    return truth if truth in OUTSIDE else ""


@lru_cache(maxsize=16)
def truth_of(weather: str, truth: str) -> Truth:
    """A truth by its name; the weather plays no part in it."""
    kind = kind_of(truth)
    build = PRODUCT if kind == OTHER_BUILD else GATE
    outside = kind if kind in OUTSIDE else ""
    return draw_truth(truth, STUDY_SEED, world_of(weather), outside, build)


@lru_cache(maxsize=2)
def season_of(weather: str, truth: str) -> TruthSeason:
    """A truth under a weather."""
    return truth_season(world_of(weather), truth_of(weather, truth))


# ------------------------------------------------------------------ rules

Maker = Callable[[str, str], Rule]  # of the weather and the truth, by name


_FAMILIES: Mapping[type, str] = {
    Never: figures.NEVER,
    Calendar: figures.CALENDAR,
    AfterRain: figures.CALENDAR,
    WheneverWorkable: figures.WORKABLE,
}


def _family(rule: Rule) -> str:
    if isinstance(rule, Attentive):
        return figures.WEEKLY if rule.looks_every_d > 1 else figures.ATTENTIVE
    if isinstance(rule, Calendar | AfterRain) and rule.with_tool:
        return figures.SINGLE
    return _FAMILIES[type(rule)]


def _fixed() -> dict[str, tuple[str, Maker]]:
    """Rules of comparison: family and maker by name."""
    named = simple_rules(world_of(weathers.JUDGING[0]))
    return {rule.name: (_family(rule), partial(_simple, name=rule.name)) for rule in named}


def _simple(weather: str, truth: str, name: str) -> Rule:
    return next(rule for rule in simple_rules(world_of(weather)) if rule.name == name)


@lru_cache(maxsize=12)
def belief_of(
    weather: str,
    rain_told_frac: float = 1.0,
    n_members: int = N_MEMBERS,
    forecast: Forecast = "issued",
) -> Belief:
    """What a grower with the program believes of soil and weather; the same for all truths."""
    return build_belief(world_of(weather), n_members, rain_told_frac, forecast)


def ours(
    weather: str,
    truth: str,
    price: float,
    n_members: int = N_MEMBERS,
    forecast: Forecast = "issued",
    **options: Any,
) -> Rule:
    """The program at a price of a machine minute; it hears the rain of the truth's gauge."""
    told = truth_of(weather, truth).gauge_factor
    return Ours(belief_of(weather, told, n_members, forecast), price, **options)


def _oracle(weather: str, truth: str, price: float) -> Rule:
    return Oracle(world_of(weather), price)


def _ours() -> dict[str, tuple[str, Maker]]:
    """The program and its oracle at their prices, and the program with parts taken out."""
    made: dict[str, tuple[str, Maker]] = {}
    for price in PRICES:
        made[ours_name(price)] = (figures.OURS, partial(ours, price=price))
        made[oracle_name(price)] = (figures.ORACLE, partial(_oracle, price=price))
    for looks in LOOKS:
        for price in PRICES:
            if looks != NO_LOOKS:
                name = ours_name(price, looks)
                made[name] = (figures.LOOKING, partial(ours, price=price, looks=looks))
    for part in PARTS:
        made[f"without {part}"] = (
            figures.ABLATION,
            partial(ours, price=MAIN_PRICE, without=(part,)),
        )
    made[f"{FEW_MEMBERS} soil members"] = (
        figures.ABLATION,
        partial(ours, price=MAIN_PRICE, n_members=FEW_MEMBERS),
    )
    other: tuple[Forecast, ...] = ("perfect", "none")
    for forecast in other:
        made[f"forecast {forecast}"] = (
            figures.ABLATION,
            partial(ours, price=MAIN_PRICE, forecast=forecast),
        )
    made["flush counted twice"] = (
        figures.ABLATION,
        partial(ours, price=MAIN_PRICE, flush_times=2.0),
    )
    made[f"{FEW_PARTICLES} weed particles"] = (
        figures.ABLATION,
        partial(ours, price=MAIN_PRICE, n_particles=FEW_PARTICLES),
    )
    return made


def ours_name(price: float, looks: str = NO_LOOKS) -> str:
    """As `ours, price 1`, or `ours, price 1, a look a week`."""
    return f"ours, price {price:g}" + ("" if looks == NO_LOOKS else f", {looks}")


def oracle_name(price: float = MAIN_PRICE) -> str:
    """As `oracle, price 1`."""
    return f"oracle, price {price:g}"


@lru_cache(maxsize=1)
def rules() -> Mapping[str, tuple[str, Maker]]:
    """Family and maker of every rule by its name."""
    return {**_fixed(), **_ours()}


def rules_of(*families: str) -> tuple[str, ...]:
    """Names of the rules of some families."""
    return tuple(name for name, (family, _) in rules().items() if family in families)


# ------------------------------------------------------------------ playing


@lru_cache(maxsize=1)
def marks() -> Mapping[bool, str]:
    """Mark of the program's text for fixed rules (True) and for those that read the planner."""
    study = f"{STUDY_SEED} {N_BEDS} {BUDGETS_MIN}"
    return {
        True: program_mark(WORLD_ROOMS, study),
        False: program_mark(OURS_ROOMS, study),
    }


def play_task(task: Task, own_marks: Mapping[bool, str]) -> list[Played]:
    """Every rule of a task through its season."""
    world, truth = world_of(task.weather), truth_of(task.weather, task.truth)
    season = season_of(task.weather, task.truth)
    judge = Oracle(world, MAIN_PRICE).beats_leaving
    rows = []
    for name in task.rules:
        family, make = rules()[name]
        started = time.process_time()
        rule, minutes = make(task.weather, task.truth), BUDGETS_MIN[task.budget]
        bill = play(world, truth, rule, minutes, season=season, score=judge)
        rows.append(
            Played(
                mark=own_marks[family in figures.FIXED],
                weather=task.weather,
                truth=task.truth,
                kind=kind_of(task.truth),
                budget=task.budget,
                rule=name,
                family=family,
                hand_min=bill.hand_min,
                machine_min=bill.machine_min,
                vain_min=bill.vain_min,
                n_passes=bill.n_passes,
                n_vain=bill.n_vain,
                n_hand_rounds=bill.n_hand_rounds,
                stand_lost_min=bill.stand_lost_min,
                seeds_shed=bill.seeds_shed,
                stated=tuple(float(s) for s in bill.stated),
                came_true=tuple(bool(c) for c in bill.came_true),
                seconds=time.process_time() - started,
            )
        )
    return rows
