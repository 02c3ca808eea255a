"""A season under another set-up: what it takes, what it saves, and whether it pays.

Both set-ups are played under the same rule and against the same hidden truths, so that differences
are those of the set-up. The rule is a grower's eye, bed by bed: one bed's change leaves the choices
in the others alone. The list weighs all beds and tools against one another; a tool more turns many
of its choices, and what that brings by chance is more than most set-ups do. All of it is the
program's own model of soil, weeds and work.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.errors import UsageError
from scheduler.planning.geometry import is_same_spacing
from scheduler.planning.season.belief import Belief
from scheduler.planning.season.play import PlayState, played
from scheduler.planning.season.replay import (
    SEEN_M2,
    Planned,
    believed_plan,
    central_truth,
    drawn_truths,
    list_belief,
    range_of,
)
from scheduler.planning.season.rules import LOOK_ERROR_LN_SD, Attentive
from scheduler.planning.season.shapes import Bill, Garden, Hours, Rule, SeasonPlanting, Truth
from scheduler.planning.season.truth import TruthSeason, truth_season
from scheduler.planning.season.world import World
from scheduler.records import FloatArray, Planting, Range, WorkPlan

RULES = BY_EYE, BY_LIST = "eyes", "list"  # by which passes are chosen
LOOK_EVERY_D = 7
_GAP_D = 1.0  # no bed twice a day
STALE_D = 21.0  # before sowing or setting, by which a stale bed is prepared
PAID_BACK_SEASONS = 5.0  # within which a tool must have paid, for the least garden that bears it
_EDGE_MM = 50.0  # of bed outside the outer rows

Told = Callable[[float], None]


# ----------------------------------------------------------------- other gardens


def other_rows(garden: Garden, crop: str, n_rows: int, row_spacing_mm: float | None) -> Garden:
    """The garden with a crop in another row layout.

    Parameters
    ----------
    garden : Garden
        The garden.
    crop : str
        Name of the crop.
    n_rows : int
        Rows on a bed.
    row_spacing_mm : float or None
        From row to row [mm]; None for a single row.

    Returns
    -------
    Garden
        With all plantings of the crop so.

    Raises
    ------
    UsageError
        If the crop was not grown, or the rows do not fit a bed.

    Notes
    -----
    The outer rows keep 50 mm from the edge of the bed. Definition of this project. No range stated.
    Worked: tests/planning/test_compare.py.
    """
    _require_crop(garden, crop)
    if n_rows < 1 or (n_rows > 1 and row_spacing_mm is None):
        raise UsageError(
            f"rows of {crop}: {n_rows} rows without a spacing; give one or more rows and, for two "
            "or more, the spacing"
        )
    spacing = None if n_rows == 1 else row_spacing_mm
    needed_mm = (n_rows - 1) * (spacing or 0.0) + 2.0 * _EDGE_MM
    found = []
    for item in garden.plantings:
        p = item.planting
        if p.crop == crop:
            if needed_mm > 1000.0 * p.bed.width_m + 1e-6:
                raise UsageError(
                    f"rows of {crop}: {n_rows} rows {spacing or 0.0:.0f} mm apart need "
                    f"{needed_mm:.0f} mm of bed, {p.key} is {1000.0 * p.bed.width_m:.0f} mm wide; "
                    "give fewer rows or a smaller spacing"
                )
            p = replace(p, n_rows=n_rows, row_spacing_mm=spacing)
        found.append(replace(item, planting=p))
    return replace(garden, plantings=tuple(found))


def with_stale_beds(garden: Garden, crop: str, start_at: datetime) -> tuple[Garden, FloatArray]:
    """The garden with beds of a crop prepared three weeks before, where they are free by then.

    Parameters
    ----------
    garden : Garden
        The garden.
    crop : str
        Name of the crop.
    start_at : datetime
        First moment of the season.

    Returns
    -------
    Garden
        With earlier preparations; what was prepared earlier already stays.
    array
        Days earlier by planting of the crop [d], nought where nothing changes.

    Raises
    ------
    UsageError
        If the crop was not grown.

    Notes
    -----
    A bed is free once the crop before it, in any part of the bed, is cleared. Definition of this
    project. No range stated. Worked: tests/planning/test_compare.py.
    """
    _require_crop(garden, crop)
    plantings, earlier_d = [], []
    for item in garden.plantings:
        if item.planting.crop != crop:
            plantings.append(item)
            continue
        set_at = item.planting.established_at
        assert set_at is not None
        free_from = max((start_at, *_cleared_before(garden.plantings, item)))
        prepared_at = max(free_from, set_at - timedelta(days=STALE_D))
        prepared_at = min(prepared_at, item.prepared_at)
        earlier_d.append((item.prepared_at - prepared_at) / timedelta(days=1))
        plantings.append(replace(item, prepared_at=prepared_at))
    return replace(garden, plantings=tuple(plantings)), np.array(earlier_d)


def _cleared_before(plantings: Sequence[SeasonPlanting], item: SeasonPlanting) -> list[datetime]:
    """When earlier crops of the same bed, or of a part of it, were cleared."""
    bed = _whole_bed(item.planting)
    return [
        other.cleared_at
        for other in plantings
        if other is not item
        and _whole_bed(other.planting) == bed
        and other.cleared_at <= item.prepared_at
    ]


def _whole_bed(planting: Planting) -> str:
    return planting.key.partition("/")[0]


def _require_crop(garden: Garden, crop: str) -> None:
    grown = sorted({str(item.planting.crop) for item in garden.plantings})
    if crop not in grown:
        raise UsageError(f"{crop!r} was not grown this season; grown were: {', '.join(grown)}")


def row_metres(garden: Garden, crop: str | None = None) -> float:
    """Metres of crop rows of a garden.

    Parameters
    ----------
    garden : Garden
        The garden.
    crop : str, optional
        Of one crop only.

    Returns
    -------
    float
        Rows times length, summed over plantings [m]; one row where rows are not known.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_compare.py.
    """
    return sum(
        (item.planting.n_rows or 1) * (item.planting.to_m - item.planting.from_m)
        for item in garden.plantings
        if crop is None or item.planting.crop == crop
    )


def bed_area_m2(garden: Garden) -> float:
    """Area of the beds of a garden, each counted once.

    Parameters
    ----------
    garden : Garden
        The garden.

    Returns
    -------
    float
        Length times width of the beds in use [m2].

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_compare.py.
    """
    beds = {_whole_bed(item.planting): item.planting.bed for item in garden.plantings}
    return sum(bed.length_m * bed.width_m for bed in beds.values())


def rows_fitted(plantings: Sequence[SeasonPlanting]) -> tuple[tuple[int, ...], tuple[float, ...]]:
    """Numbers of rows and spacings that a new tool would be set to for a garden.

    Parameters
    ----------
    plantings : sequence of SeasonPlanting
        What grows in the season.

    Returns
    -------
    tuple of int
        Numbers of rows, rising.
    tuple of float
        Spacings [mm], rising, those within 15 % of one another once.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_compare.py.
    """
    rows = sorted({item.planting.n_rows for item in plantings if item.planting.n_rows})
    spacings: list[float] = []
    for spacing in sorted(
        {item.planting.row_spacing_mm for item in plantings if item.planting.row_spacing_mm}
    ):
        if not any(is_same_spacing(spacing, own) for own in spacings):
            spacings.append(spacing)
    return tuple(rows), tuple(spacings)


# ----------------------------------------------------------------------- playing


@dataclass(frozen=True)
class Setting:
    """One set-up of a farm for a season: its world and its hours."""

    world: World
    hours: Hours


@dataclass(frozen=True)
class Bills:
    """Bills of two set-ups under the same rule; element i of both in truth i.

    `n_by_tool` are passes made with each tool, before and after, means over the truths.
    """

    before: tuple[Bill, ...]
    after: tuple[Bill, ...]
    n_by_tool: tuple[Mapping[str, float], Mapping[str, float]] = ({}, {})


def bills_of_both(
    before: Setting,
    after: Setting,
    n_truths: int,
    price: float,
    by: str = BY_EYE,
    told: Told | None = None,
) -> Bills:
    """Play two set-ups under the same rule, against the same hidden truths.

    Parameters
    ----------
    before, after : Setting
        As it is, and as it would be; on the same weather.
    n_truths : int
        Hidden truths.
    price : float
        Hand minutes that a machine minute must save, for the list [min/min].
    by : str
        `eyes`: a look a week at every bed, with its error; beds with more than ten weeds up a
        square metre are passed when the soil allows, the weediest first, each with the tool that
        reaches and kills most. `list`: as the list names them.
    told : callable, optional
        Told the share done.

    Returns
    -------
    Bills
        Paired by truth.

    Raises
    ------
    UsageError
        If the rule is neither.

    Notes
    -----
    The list chooses its passes once for each set-up, for soil and weeds as the tables have them,
    and they are made again in every truth. Where the beds' surfaces are the same, columns are run
    once for both. Definition of this project. No range stated. Worked:
    tests/planning/test_compare.py.
    """
    if by not in RULES:
        raise UsageError(f"compare: no rule {by!r}; {' or '.join(RULES)}")
    say = told or (lambda done_frac: None)
    joint = _joint(before.world, after.world)
    truths = drawn_truths(joint[-1], n_truths)
    if by == BY_EYE:
        eyes = [
            Attentive(of.world, SEEN_M2, _GAP_D, LOOK_EVERY_D, LOOK_ERROR_LN_SD)
            for of in (before, after)
        ]
        return bills_of_rules((before, after), eyes, truths, say)
    plans = _plans(before, after, joint, price, lambda done: say(0.5 * done))
    return bills_of_rules((before, after), plans, truths, lambda done: say(0.5 + 0.5 * done))


def _plans(
    before: Setting, after: Setting, joint: Sequence[World], price: float, told: Told
) -> list[Planned]:
    """What the list names in each set-up."""
    hours = Hours(np.maximum(before.hours.a_day_min, after.hours.a_day_min))
    believed: list[tuple[Belief, TruthSeason]] = []
    for i, world in enumerate(joint):

        def say(done_frac: float, i: int = i) -> None:
            told(0.8 * (i + done_frac) / len(joint))

        belief = list_belief(world, hours, say)
        believed.append((belief, truth_season(world, central_truth(world))))
    plans: list[Planned] = []
    for i, setting in enumerate((before, after)):
        belief, central = believed[min(i, len(joint) - 1)]
        plans.append(believed_plan(belief, setting.world, central, setting.hours, price))
        told(0.8 + 0.1 * (i + 1))
    return plans


def bills_of_rules(
    settings: tuple[Setting, Setting],
    rules: Sequence[Rule],
    truths: Sequence[Truth],
    told: Told | None = None,
) -> Bills:
    """Play two set-ups, each by its rule, against the same hidden truths.

    Parameters
    ----------
    settings : tuple of Setting
        As it is, and as it would be.
    rules : sequence of Rule
        One for each.
    truths : sequence of Truth
        Drawn for the tools of both.
    told : callable, optional
        Told the share done.

    Returns
    -------
    Bills
        Paired by truth.

    Notes
    -----
    As `bills_of_both`. Worked: tests/planning/test_compare.py.
    """
    joint = _joint(settings[0].world, settings[1].world)
    found: tuple[list[Bill], list[Bill]] = [], []
    tools: tuple[Counter[str], Counter[str]] = Counter(), Counter()
    for n, truth in enumerate(truths):
        seasons = [truth_season(world, truth) for world in joint]
        for i, (setting, rule) in enumerate(zip(settings, rules, strict=True)):
            own = replace(seasons[min(i, len(joint) - 1)], world=setting.world)
            state = played(setting.world, truth, rule, setting.hours, season=own)
            found[i].append(state.bill())
            tools[i].update(_tools_used(state))
        if told is not None:
            told((n + 1) / len(truths))
    each = [{tool: n / len(truths) for tool, n in used.items()} for used in tools]
    return Bills(tuple(found[0]), tuple(found[1]), (each[0], each[1]))


def _tools_used(state: PlayState) -> list[str]:
    """The tool of each pass that was made."""
    return [
        str(event.data["tool"])
        for event in state.events
        if event.kind == "pass" and event.data.get("worked") is True
    ]


def _joint(before: World, after: World) -> tuple[World, ...]:
    """Worlds whose columns are to be run: one with the tools and ways of both, if that will do."""
    tools = {tool.name: tool for tool in (*before.garden.farm.tools, *after.garden.farm.tools)}
    both = tuple(
        _with_tools(world, tuple(tools.values()), other)
        for world, other in ((before, after), (after, before))
    )
    same = before.surfaces.keys() == after.surfaces.keys() and all(
        np.array_equal(before.surfaces[bed], after.surfaces[bed]) for bed in before.surfaces
    )
    return both[1:] if same else both


def _with_tools(world: World, tools: tuple, other: World) -> World:  # type: ignore[type-arg]
    farm = replace(world.garden.farm, tools=tools)
    ways = dict(world.ways)
    for at, more in other.ways.items():
        ways[at] = (*ways.get(at, ()), *more)
    rules = replace(
        world.tables.kit.rules,
        tools={tool.name: tool for tool in tools},
        traits={**other.tables.kit.rules.traits, **world.tables.kit.rules.traits},
    )
    kit = replace(world.tables.kit, rules=rules)
    return replace(
        world,
        garden=replace(world.garden, farm=farm),
        ways=ways,
        tables=replace(world.tables, kit=kit),
    )


# --------------------------------------------------------------------- the answer


@dataclass(frozen=True)
class Figure:
    """One figure of a season as it is and as it would be; `change` is paired by truth."""

    name: str
    before: Range
    after: Range
    change: Range


@dataclass(frozen=True)
class Money:
    """What a season saves at the value of an hour, in the farm's currency.

    `saved` is of hand weeding and work with tools together. `seasons_to_pay_back` is None where
    there is no price to pay back; an end is infinite where nothing is saved. `least_area_m2` are
    beds like these from which the price is paid back within five seasons.
    `worth_of_row_metre` is what a metre of row lost may bring at most for the change to pay.
    """

    currency: str
    hourly_value: float
    saved: Range
    price: float | None = None
    seasons_to_pay_back: Range | None = None
    least_area_m2: Range | None = None
    worth_of_row_metre: Range | None = None


@dataclass(frozen=True)
class Compared:
    """Two set-ups over one season; figures by name, ranges over the truths that were played."""

    n_truths: int
    n_saving: int  # truths in which less time is spent
    figures: Mapping[str, Figure]
    saved_min: Range  # hand weeding and work with tools together, paired
    row_m: tuple[float, float]
    area_m2: float
    hours_of_plan_h: tuple[float, float]
    money: Money | None
    n_by_tool: tuple[Mapping[str, float], Mapping[str, float]] = ({}, {})


FIGURES: Mapping[str, Callable[[Bill], float]] = {
    "hand_min": lambda bill: bill.hand_min,
    "tool_min": lambda bill: bill.machine_min + bill.vain_min,
    "vain_min": lambda bill: bill.vain_min,
    "n_passes": lambda bill: float(bill.n_passes),
    "n_setups": lambda bill: float(bill.n_setups),
    "n_hand_rounds": lambda bill: float(bill.n_hand_rounds),
    "stand_lost_min": lambda bill: bill.stand_lost_min,
    "seeds_shed": lambda bill: bill.seeds_shed,
}


def compared(
    bills: Bills,
    row_m: tuple[float, float],
    area_m2: float,
    work: WorkPlan,
    hours_of_plan_h: tuple[float, float],
    price: float | None = None,
) -> Compared:
    """Set two set-ups side by side.

    Parameters
    ----------
    bills : Bills
        Of both, paired by truth.
    row_m : tuple of float
        Metres of crop rows before and after [m].
    area_m2 : float
        Area of the beds [m2].
    work : WorkPlan
        For the value of an hour and the currency.
    hours_of_plan_h : tuple of float
        Hours for tools over the season, before and after [h].
    price : float, optional
        What the change costs once, in the farm's currency.

    Returns
    -------
    Compared
        Figures, and money where an hour has a value.

    Notes
    -----
    `saved = (hand + tool minutes before) - (hand + tool minutes after)`, truth by truth, and in
    money `saved / 60 x hourly value`. Seasons to pay back are `price / saved`; the least garden for
    five seasons is `area x price / (5 x saved)`: minutes are taken to grow with the beds. Crop lost
    to tools is a figure of its own and in no sum, as is the crop of rows that are not there:
    `saved / row metres lost` is what a metre of them may bring. Definition of this project. No
    range stated. Worked: tests/planning/test_compare.py.
    """
    figures = {name: _figure(name, of, bills) for name, of in FIGURES.items()}
    saved = _spent(bills.before) - _spent(bills.after)
    return Compared(
        len(bills.before),
        int((saved > 0.0).sum()),
        figures,
        range_of(saved),
        row_m,
        area_m2,
        hours_of_plan_h,
        _money(saved, row_m, area_m2, work, price),
        bills.n_by_tool,
    )


def _figure(name: str, of: Callable[[Bill], float], bills: Bills) -> Figure:
    before, after = (np.array([of(b) for b in side]) for side in (bills.before, bills.after))
    return Figure(name, range_of(before), range_of(after), range_of(after - before))


def _spent(bills: Sequence[Bill]) -> FloatArray:
    return np.array([bill.hand_min + bill.machine_min + bill.vain_min for bill in bills])


def _money(
    saved_min: FloatArray,
    row_m: tuple[float, float],
    area_m2: float,
    work: WorkPlan,
    price: float | None,
) -> Money | None:
    if not work.hourly_value:
        return None
    saved = saved_min / 60.0 * work.hourly_value
    seasons = area = worth = None
    if price is not None:
        with np.errstate(divide="ignore"):
            each = np.where(saved > 0.0, price / np.maximum(saved, 1e-12), np.inf)
        seasons = _ends(each)
        area = _ends(area_m2 * each / PAID_BACK_SEASONS)
    lost_m = row_m[0] - row_m[1]
    if lost_m > 0.0:
        worth = range_of(saved / lost_m)
    return Money(work.currency, work.hourly_value, range_of(saved), price, seasons, area, worth)


def _ends(values: FloatArray) -> Range:
    """As `range_of`, where some may be infinite: an end between them is infinite too."""
    return Range(
        *(
            float(np.quantile(values, q, method="higher" if q >= 0.5 else "lower"))
            for q in (0.1, 0.5, 0.9)
        )
    )
