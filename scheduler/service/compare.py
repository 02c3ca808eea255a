"""A past season under another set-up: rows, tools, hours, a stale bed."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from scheduler.errors import UsageError
from scheduler.planning.compare import (
    BY_EYE,
    RULES,
    Compared,
    Setting,
    bed_area_m2,
    bills_of_both,
    compared,
    other_rows,
    row_metres,
    rows_fitted,
    with_stale_beds,
)
from scheduler.planning.season.replay import plan_minutes
from scheduler.planning.season.shapes import Garden, Hours
from scheduler.planning.season.world import World, build_world
from scheduler.ports import Journal, Progress, WeatherStore
from scheduler.records import TOOL_KINDS, Farm, Tool
from scheduler.service import settings
from scheduler.service.garden import FarmSeason, farm_season, season_tables
from scheduler.service.own_rates import journal_rates

N_TRUTHS = 8
MOST_TRUTHS = 200
MACHINE_SETUP_MIN = 10.0  # of a new machine where the farm has none to go by
MACHINE_WIDTH_M = 0.8  # where no bed says it
HOE_WIDTH_M = 0.2
_HAND = "hand"
_FLAME = "flame"


@dataclass(frozen=True)
class RowsChange:
    """A crop in another row layout."""

    crop: str
    n_rows: int
    row_spacing_mm: float | None


@dataclass(frozen=True)
class ToolChange:
    """A tool that the farm does not have; `kind` may join kinds of one toolbar with " + "."""

    name: str
    kind: str


@dataclass(frozen=True)
class SetUpChange:
    """What is to be another: all of it at once. `price` is paid once, for all of it."""

    rows: tuple[RowsChange, ...] = ()
    tools: tuple[ToolChange, ...] = ()
    without: tuple[str, ...] = ()
    more_h_a_week: float = 0.0
    stale: tuple[str, ...] = ()
    price: float | None = None

    @property
    def is_none(self) -> bool:
        """Whether nothing is changed."""
        return not (self.rows or self.tools or self.without or self.more_h_a_week or self.stale)


@dataclass(frozen=True)
class StaleBeds:
    """Of a crop with a stale bed before it: beds prepared earlier, and by how many days in all."""

    crop: str
    n_beds: int
    n_earlier: int
    earlier_d: float


@dataclass(frozen=True)
class Comparison:
    """A season as it is set up and as it would be; `tools` are those that were taken for granted.

    `left_out` tells what of the journal could not be played.
    """

    farm: Farm
    year: int
    change: SetUpChange
    tools: tuple[Tool, ...]
    stale: tuple[StaleBeds, ...]
    by: str
    row_m_of: tuple[tuple[str, float, float], ...]  # crop, before, after
    compared: Compared
    left_out: tuple[str, ...]


def compare(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
    change: SetUpChange,
    *,
    year: int | None = None,
    n_truths: int = N_TRUTHS,
    by: str = BY_EYE,
    progress: Progress | None = None,
) -> Comparison:
    """Play a season as it was set up, and under another set-up, both by the same rule.

    Parameters
    ----------
    farm : Farm
        The farm as described.
    journal, weather : Journal, WeatherStore
        Entries and weather.
    now : datetime
        Aware moment: what is known by then.
    change : SetUpChange
        What is another.
    year : int, optional
        Of the season; the last one on record by default.
    n_truths : int
        Hidden truths that both are played against.
    by : str
        `eyes` or `list`: by what rule passes are chosen; see `bills_of_both`.
    progress : Progress, optional
        Told how far it is.

    Returns
    -------
    Comparison
        Figures paired by truth.

    Raises
    ------
    UsageError
        If nothing is changed, or a crop, tool, kind, row layout or number is not possible.
    WeatherMissingError
        If there is no weather to play.
    """
    _check(farm, change, n_truths, by)
    told = progress or (lambda message, done_frac: None)
    told("the season's beds", 0.0)
    season = farm_season(farm, journal, weather, now, year)
    return compare_season(farm, season, change, n_truths=n_truths, by=by, progress=progress)


def compare_season(
    farm: Farm,
    season: FarmSeason,
    change: SetUpChange,
    *,
    n_truths: int = N_TRUTHS,
    by: str = BY_EYE,
    progress: Progress | None = None,
) -> Comparison:
    """As `compare`, of a season at hand.

    Parameters
    ----------
    farm : Farm
        The farm.
    season : FarmSeason
        Its season.
    change : SetUpChange
        What is another.
    n_truths : int
        Hidden truths.
    by : str
        As `compare`.
    progress : Progress, optional
        Told how far it is.

    Returns
    -------
    Comparison
        Figures paired by truth.

    Raises
    ------
    UsageError
        As `compare`.
    """
    _check(farm, change, n_truths, by)
    told = progress or (lambda message, done_frac: None)
    before = season.world
    own = journal_rates(farm, season.events).work_factor.get("", 1.0)
    tools = tuple(replace(new_tool(tool, before.garden), work_factor=own) for tool in change.tools)
    garden, stale = _changed(before, change, tools)
    told("the beds as they would be", 0.1)
    after = before
    if garden != before.garden:
        after = build_world(garden, before.weather, season_tables(garden.farm))
    hours = plan_minutes(before), plan_minutes(after, change.more_h_a_week)
    bills = bills_of_both(
        Setting(before, Hours(hours[0])),
        Setting(after, Hours(hours[1])),
        n_truths,
        farm.work.machine_price,
        by,
        lambda done: told("the season both ways", 0.2 + 0.8 * done),
    )
    crops = [rows.crop for rows in change.rows]
    found = compared(
        bills,
        (row_metres(before.garden), row_metres(garden)),
        bed_area_m2(before.garden),
        farm.work,
        (float(hours[0].sum()) / 60.0, float(hours[1].sum()) / 60.0),
        change.price,
    )
    return Comparison(
        farm, season.year, change, tools, stale, by,
        tuple((c, row_metres(before.garden, c), row_metres(garden, c)) for c in crops),
        found, season.left_out,
    )  # fmt: skip


def _changed(
    before: World, change: SetUpChange, tools: Sequence[Tool]
) -> tuple[Garden, tuple[StaleBeds, ...]]:
    """The garden as it would be."""
    garden, stale = before.garden, []
    for rows in change.rows:
        garden = other_rows(garden, rows.crop, rows.n_rows, rows.row_spacing_mm)
    for crop in change.stale:
        garden, earlier = with_stale_beds(garden, crop, before.weather.start_at)
        stale.append(
            StaleBeds(crop, earlier.size, int((earlier > 0.0).sum()), float(earlier.sum()))
        )
    kept = tuple(tool for tool in garden.farm.tools if tool.name not in change.without)
    if change.tools or change.without:
        farm = garden.farm
        is_allowed = farm.flame_rules_read or any(is_flame(tool) for tool in tools)
        farm = replace(farm, tools=(*kept, *tools), flame_rules_read=is_allowed)
        garden = replace(garden, farm=farm)
    return garden, tuple(stale)


def is_flame(tool: Tool) -> bool:
    """Whether a tool burns, alone or on a toolbar: taken as allowed where it is asked for."""
    return _FLAME in (tool.kind, *tool.carries)


def new_tool(change: ToolChange, garden: Garden) -> Tool:
    """A tool that the farm does not have, as it would be set up there.

    Parameters
    ----------
    change : ToolChange
        Its name and kind.
    garden : Garden
        Where it goes: beds, rows, and the farm's own tools.

    Returns
    -------
    Tool
        Depth and speed from the tables; a machine as wide as the beds, with the rows and spacings
        grown, and travel, track, clearance and set-up minutes as the farm's own machines have them;
        a hoe led by hand between the rows, without a set-up.
    """
    kind, *carries = (part.strip() for part in change.kind.split("+"))
    t = settings.tables()
    traits = settings.traits_by_kind()
    own = [tool for tool in garden.farm.tools if traits[tool.kind].is_wheeled]
    rows, spacings = rows_fitted(garden.plantings)
    depth_mm = max(t.number(part, "depth_mm") for part in (kind, *carries))
    speed_m_s = min(t.number(part, "speed_m_s") for part in (kind, *carries))
    if not traits[kind].is_wheeled:
        return Tool(
            change.name, kind, depth_mm, speed_m_s, width_m=HOE_WIDTH_M, travel="by hand",
            setup_min=0.0, carries=tuple(carries),
        )  # fmt: skip
    like = own[0] if own else None
    widths = [bed.width_m for bed in garden.farm.beds]
    return Tool(
        change.name,
        kind,
        depth_mm,
        speed_m_s,
        width_m=max(widths, default=MACHINE_WIDTH_M),
        rows=rows,
        row_spacings_mm=spacings,
        travel="in the paths" if like is None else like.travel,
        track_mm=None if like is None else like.track_mm,
        clearance_mm=None if like is None else like.clearance_mm,
        setup_min=statistics.median([tool.setup_min for tool in own] or [MACHINE_SETUP_MIN]),
        carries=tuple(carries),
    )


def _check(farm: Farm, change: SetUpChange, n_truths: int, by: str) -> None:
    if by not in RULES:
        raise UsageError(f"compare: no rule {by!r}; {' or '.join(RULES)}")
    if change.is_none:
        raise UsageError(
            "compare: nothing is changed; give --rows, --tool, --without, --hours or --stale"
        )
    if not 1 <= n_truths <= MOST_TRUTHS:
        raise UsageError(f"compare: {n_truths} truths; allowed are 1 to {MOST_TRUTHS}")
    names = [tool.name for tool in farm.tools]
    for name in change.without:
        if name not in names:
            raise UsageError(f"compare: the farm has no {name!r}; it has {', '.join(names)}")
    kinds = [kind for kind in TOOL_KINDS if kind != _HAND]
    for tool in change.tools:
        if tool.name in names and tool.name not in change.without:
            raise UsageError(
                f"compare: the farm has {tool.name!r} already; --without {tool.name!r} shows what "
                "it is worth"
            )
        for part in tool.kind.split("+"):
            if part.strip() not in kinds:
                raise UsageError(
                    f"compare: {part.strip()!r} is no kind of tool; allowed: {', '.join(kinds)}"
                )
    if change.price is not None and change.price <= 0.0:
        raise UsageError(f"compare: found a price of {change.price:g}; give more than 0")
    if sum(farm.work.hours) + change.more_h_a_week <= 0.0:
        raise UsageError(
            f"compare: {change.more_h_a_week:+g} hours leave none of the plan's "
            f"{sum(farm.work.hours):g} a week"
        )
