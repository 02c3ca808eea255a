"""What is common to all truths and rules of one weather: days, plantings, gates, minutes.

Crop gates are those of a central soil under the true weather: known to every rule, equal for all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from functools import cached_property

import numpy as np

from scheduler.errors import UsageError
from scheduler.models.soil_column import SurfaceHistory, WeedHeat
from scheduler.planning.ensemble import (
    Ensemble,
    Sky,
    SoilMembers,
    SoilPrior,
    Spread,
    run_ensemble,
    soil_members,
)
from scheduler.planning.gates import gate
from scheduler.planning.geometry import Fit, fit
from scheduler.planning.hours import at_local, day_starts, is_working_hour
from scheduler.planning.offers import Kit
from scheduler.planning.outlook import GuildView, Outlook, planting_outlook
from scheduler.planning.plantings import surface_table
from scheduler.planning.season.shapes import Garden, SeasonPlanting, SeasonWeather
from scheduler.planning.traits import CropTraits, ToolTraits
from scheduler.planning.value import ValueSettings
from scheduler.planning.weeds import HandRates, in_row_share
from scheduler.planning.work import setup_of, work_minutes
from scheduler.records import (
    Bed,
    Event,
    Farm,
    FloatArray,
    IntArray,
    Place,
    Plan,
    Planting,
    Soil,
    Tool,
    WorkPlan,
)

_PREPARED_MM = 100.0  # deep: the bed starts anew
_DAYS_NEEDED = 2  # less weather than this is no season
_WATER_MM = 8.0  # on a bed just sown or set, and while a sown crop is not up
_WATER_EVERY_D = 3
_WATER_FOR_D = 30
_RAIN_ENOUGH_MM = 5.0  # within these days: no water is given
_BY_HAND = "hand"


@dataclass(frozen=True)
class SeasonTables:
    """What the tables say; planning reads none itself."""

    kit: Kit
    hand: HandRates
    value: ValueSettings
    priors: Mapping[str, SoilPrior]  # by soil
    spread: Spread
    weed_heat: WeedHeat
    views: tuple[GuildView, ...]  # any one will do: only the crop's clock is read


@dataclass(frozen=True)
class WorkDay:
    """One local day on the season's clock; `open_hours` the grower's working hours of it."""

    index: int
    on: date
    first_hour: int
    end_hour: int
    open_hours: IntArray

    @property
    def is_working(self) -> bool:
        """Whether the grower has hours that day."""
        return bool(self.open_hours.size)


@dataclass(frozen=True)
class Plot:
    """One planting of a bed on the season's clock; from `up_hour` on its rows are to be seen.

    Weeds are weeded by hand from `up_hour` to `window_end_hour`, the end of the weed-free weeks.
    """

    planting: Planting
    empty: Planting  # the same bed before it is sown or set
    prepared_hour: float
    established_hour: float
    up_hour: float
    window_end_hour: float
    cleared_hour: float
    row_share: float
    area_m2: float

    @property
    def key(self) -> str:
        """The bed, under which passes are named."""
        return self.planting.key

    def is_sown_by(self, hour: float) -> bool:
        """Whether its crop is in the ground, sown or set."""
        return hour >= self.established_hour


@dataclass(frozen=True)
class Way:
    """A tool that fits a planting on a day and that the crop lets in, and what its pass takes."""

    tool: Tool
    purpose: str  # blind, stale, standing
    setup: str | None
    from_hour: float
    until_hour: float
    loss_frac: float
    depth_mm: float
    minutes: float


@dataclass(frozen=True)
class World:
    """A garden under one weather; see `build_world`."""

    garden: Garden
    weather: SeasonWeather
    tables: SeasonTables
    days: tuple[WorkDay, ...]
    plots: tuple[Plot, ...]
    ways: Mapping[tuple[int, str], tuple[Way, ...]]  # by day and bed
    events: tuple[Event, ...]  # preparations, sowings, settings, emergence, clearings, in order
    surfaces: Mapping[str, FloatArray]  # by bed (n_hours, 6), without passes
    central: Mapping[str, SoilMembers]  # one member a soil
    usual_ways: dict[tuple[int, str, str], Way | None] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )  # of rules asked before: day, bed, only tool

    @cached_property
    def plots_of(self) -> Mapping[str, tuple[Plot, ...]]:
        """Plantings by bed."""
        found: dict[str, list[Plot]] = {}
        for plot in self.plots:
            found.setdefault(plot.key, []).append(plot)
        return {bed: tuple(plots) for bed, plots in found.items()}

    @property
    def n_hours(self) -> int:
        """Hours of the season."""
        return self.weather.forcing.n_hours

    def plot_at(self, bed: str, hour: float) -> Plot | None:
        """What a bed is prepared for, sown or set with at an hour; None before and after."""
        for plot in self.plots_of.get(bed, ()):
            if plot.prepared_hour <= hour < plot.cleared_hour:
                return plot
        return None

    def at(self, hour: float) -> datetime:
        """The moment an hour begins."""
        return self.weather.start_at + timedelta(hours=float(hour))

    def hour_of(self, moment: datetime) -> float:
        """A moment on the season's clock [h]."""
        return (moment - self.weather.start_at) / timedelta(hours=1)


def build_world(garden: Garden, weather: SeasonWeather, tables: SeasonTables) -> World:
    """Everything of a season that no truth and no rule changes.

    Parameters
    ----------
    garden : Garden
        The farm and its plantings.
    weather : SeasonWeather
        True hourly weather.
    tables : SeasonTables
        What the tables say.

    Returns
    -------
    World
        Days, plantings, the tools that may go over each on each working day, entries.

    Raises
    ------
    UsageError
        If the weather is shorter than two days, a planting begins outside it, or two plantings of
        a bed overlap.

    Notes
    -----
    A day's tools are those that fit and that the crop lets in at the first of its working hours;
    the last good hour of a blind pass may fall within the day. A crop comes up when it was seen to,
    else by its own clock. Where the garden does not tell, a bed with irrigation is watered
    when it is sown or set, and every third day without rain until a sown crop is up. Weeds are
    weeded by hand from emergence, or setting, to the end of the weed-free weeks. Definition of this
    project. No range stated. Worked: tests/planning/season/test_world.py.
    """
    n_hours = weather.forcing.n_hours
    if n_hours < 24 * _DAYS_NEEDED:
        raise UsageError(
            f"season {weather.name!r}: {n_hours} hours of weather, at least {24 * _DAYS_NEEDED} "
            "are needed; give a longer series"
        )
    _check_order(garden.plantings)
    _check_within(garden.plantings, weather)
    central = {
        name: soil_members(prior, _none_of(tables.spread), garden.farm.seed, 1)
        for name, prior in tables.priors.items()
    }
    entries = _entries(garden.plantings)
    watered = _watered_by_rule(garden, weather)
    if garden.waterings is not None:
        entries += garden.waterings
    elif watered:  # once to see when crops come up with it, once without the water given after that
        ensemble, _ = _run(garden, weather, tables, central, [*entries, *watered])
        ups = {item: _up_at(item, ensemble, weather, tables) for item in garden.plantings}
        watered = [
            w
            for item, up_at in ups.items()
            for w in _waterings(item, weather)
            if w.happened_at < up_at
        ]
    entries = sorted([*entries, *watered], key=lambda e: (e.happened_at, e.event_id))
    ensemble, surfaces = _run(garden, weather, tables, central, entries)
    days = _days(garden.farm, weather)
    plots: list[Plot] = []
    ways: dict[tuple[int, str], tuple[Way, ...]] = {}
    for item in garden.plantings:
        outlook = _outlook(item.planting, ensemble, tables, surfaces)
        plot = _plot(item, outlook, weather, tables.kit.crops)
        plots.append(plot)
        fits: dict[tuple[str, str], Fit] = {}
        for day in days:
            if day.is_working:
                found = _ways(plot, outlook, day, garden.farm, tables, fits)
                if found:
                    ways[day.index, plot.key] = found
    come_up = [_up_entry(plot, weather) for plot in plots if plot.up_hour < n_hours]
    events = sorted(
        [*entries, *(e for e in come_up if e)], key=lambda e: (e.happened_at, e.event_id)
    )
    return World(
        garden, weather, tables, days, tuple(plots), ways, tuple(events), surfaces, central
    )


def _run(
    garden: Garden,
    weather: SeasonWeather,
    tables: SeasonTables,
    central: Mapping[str, SoilMembers],
    entries: Sequence[Event],
) -> tuple[Ensemble, dict[str, FloatArray]]:
    """Columns of every bed of the central soil, and what was done to their surface."""
    n_hours = weather.forcing.n_hours
    surfaces = {
        bed.name: surface_table(_empty(bed), entries, tables.kit.crops, weather.start_at, n_hours)
        for bed in garden.farm.beds
    }
    return one_member_run(garden.farm, weather, central, surfaces, tables.weed_heat), surfaces


def _outlook(
    planting: Planting,
    ensemble: Ensemble,
    tables: SeasonTables,
    surfaces: Mapping[str, FloatArray],
) -> Outlook:
    """A planting through the season; until a crop was seen to be up its own clock is gone by."""

    def by(known: Planting) -> Outlook:
        return planting_outlook(
            known, ensemble, (), tables.views[:1], tables.kit.crops, tables.kit.rules.traits,
            surfaces[planting.key],
        )  # fmt: skip

    found = by(planting)
    if planting.up_at is None:
        return found
    return replace(found, crop_hours=by(replace(planting, up_at=None)).crop_hours)


def _watered_by_rule(garden: Garden, weather: SeasonWeather) -> list[Event]:
    if garden.waterings is not None:
        return []
    return [w for item in garden.plantings for w in _waterings(item, weather)]


def _waterings(item: SeasonPlanting, weather: SeasonWeather) -> list[Event]:
    """Water given from sowing or setting on, as if the crop came up late."""
    p = item.planting
    if p.bed.irrigation == "none":
        return []
    assert p.established_at is not None
    rain = weather.forcing.rain_mm[0]
    found: list[Event] = []
    for day in range(0, _WATER_FOR_D if p.is_sown else 1, _WATER_EVERY_D):
        at = p.established_at + timedelta(days=day, hours=1)
        hour = int((at - weather.start_at) // timedelta(hours=1))
        fell = float(rain[max(0, hour - 24 * _WATER_EVERY_D) : hour].sum())
        if at < item.cleared_at and (day == 0 or fell < _RAIN_ENOUGH_MM):
            found.append(_entry("water", at, p.key, {"water_mm": _WATER_MM}))
    return found


def _up_at(
    item: SeasonPlanting, ensemble: Ensemble, weather: SeasonWeather, tables: SeasonTables
) -> datetime:
    """When a crop is up, or the end of the weather; a set one after its first water."""
    if not item.planting.is_sown:
        return item.cleared_at
    surface = np.zeros((weather.forcing.n_hours, len(SurfaceHistory.__dataclass_fields__)))
    outlook = planting_outlook(
        item.planting, ensemble, (), tables.views[:1], tables.kit.crops, {}, surface
    )
    return weather.start_at + timedelta(hours=_up_hour(outlook, float(weather.forcing.n_hours)))


def _up_hour(outlook: Outlook, n_hours: float) -> float:
    if outlook.stage is None or not outlook.stage.is_up[0].any():
        return n_hours
    return float(outlook.stage.is_up[0].argmax())


def one_member_run(
    farm: Farm,
    weather: SeasonWeather,
    members: Mapping[str, SoilMembers],
    surfaces: Mapping[str, FloatArray],
    weed_heat: WeedHeat,
) -> Ensemble:
    """Every bed's column through the whole season, one member a soil.

    Parameters
    ----------
    farm : Farm
        Its beds.
    weather : SeasonWeather
        The weather.
    members : mapping
        One member by soil.
    surfaces : mapping
        Surface table by bed.
    weed_heat : WeedHeat
        Guilds of the running integrals.

    Returns
    -------
    Ensemble
        Columns by bed, all hours kept.

    Notes
    -----
    Passes are not among the surfaces: what they change of a bed's water is left out. Definition of
    this project. Range as `run_ensemble`. Worked: tests/planning/season/test_world.py.
    """
    n_hours = weather.forcing.n_hours
    sky = Sky(weather.start_at, n_hours - 1, weather.forcing, np.ones(n_hours, bool), True)
    soils = {bed.name: bed.soil for bed in farm.beds}
    return run_ensemble(
        sky,
        members,
        {name: (soils[name], table) for name, table in surfaces.items()},
        weed_heat,
        stored_from_hour=0,
    )


def _none_of(spread: Spread) -> Spread:
    """No spread: the central value of each soil."""
    names = [n for n in spread.__dataclass_fields__ if n.endswith("_sd") or "_sd_" in n]
    middle = 0.5 * (spread.demand_factor_low + spread.demand_factor_high)
    none: Spread = replace(
        spread,
        **dict.fromkeys(names, 0.0),
        demand_factor_low=middle,
        demand_factor_high=middle,
    )
    return none


def _empty(bed: Bed) -> Planting:
    return Planting(bed, None, 0.0, bed.length_m, None, False, None, None, None, None)


def _check_order(plantings: Sequence[SeasonPlanting]) -> None:
    """Plantings of a bed follow one another."""
    by_bed: dict[str, list[SeasonPlanting]] = {}
    for item in sorted(plantings, key=lambda p: p.prepared_at):
        name, set_at = item.planting.key, item.planting.established_at
        if set_at is None or item.planting.crop is None:
            raise UsageError(f"season: a planting of {name} has no crop or no day; give both")
        if not item.prepared_at < set_at < item.cleared_at:
            raise UsageError(
                f"season: {item.planting.crop} in {name} is prepared {item.prepared_at:%d %b}, "
                f"sown or set {set_at:%d %b}, cleared {item.cleared_at:%d %b}; give rising days"
            )
        before = by_bed.setdefault(name, [])
        if before and before[-1].cleared_at > item.prepared_at:
            raise UsageError(
                f"season: {name} is prepared {item.prepared_at:%d %b} and cleared "
                f"{before[-1].cleared_at:%d %b}; clear it before"
            )
        before.append(item)


def _check_within(plantings: Sequence[SeasonPlanting], weather: SeasonWeather) -> None:
    """Plantings begin within the weather; one may be cleared after it."""
    end_at = weather.start_at + timedelta(hours=weather.forcing.n_hours)
    for item in plantings:
        set_at = item.planting.established_at
        if item.prepared_at < weather.start_at or set_at is None or set_at >= end_at:
            raise UsageError(
                f"season {weather.name!r}: {item.planting.crop} in {item.planting.key} is prepared "
                f"{item.prepared_at:%d %b %Y}, the weather is of {weather.start_at:%d %b %Y} to "
                f"{end_at:%d %b %Y}; give the garden the weather's year"
            )


def _entries(plantings: Sequence[SeasonPlanting]) -> list[Event]:
    """Preparation, sowing or setting, and clearing of every planting, in order."""
    found: list[Event] = []
    for item in plantings:
        p = item.planting
        assert p.established_at is not None
        data = {
            "crop": p.crop,
            "n_rows": p.n_rows,
            "row_spacing_mm": p.row_spacing_mm,
            "depth_mm": p.sowing_depth_mm,
        }
        known = {name: value for name, value in data.items() if value is not None}
        for kind, at, own in (
            ("prep", item.prepared_at, {"depth_mm": _PREPARED_MM}),
            ("sow" if p.is_sown else "plant", p.established_at, known),
            ("clear", item.cleared_at, {}),
        ):
            found.append(_entry(kind, at, p.key, own))
    return sorted(found, key=lambda e: (e.happened_at, e.event_id))


def _entry(kind: str, at: datetime, bed: str, data: Mapping[str, object]) -> Event:
    return Event(f"{kind} {bed} {at:%Y-%m-%d}", kind, at, at, bed, None, data)


def _up_entry(plot: Plot, weather: SeasonWeather) -> Event | None:
    """That a sown crop was seen to come up; its first whole hour."""
    if not plot.planting.is_sown:
        return None
    at = weather.start_at + timedelta(hours=float(np.ceil(plot.up_hour)))
    return _entry("up", at, plot.key, {})


def _days(farm: Farm, weather: SeasonWeather) -> tuple[WorkDay, ...]:
    zone, n_hours = farm.place.time_zone, weather.forcing.n_hours
    is_open = is_working_hour(farm.work, weather.start_at, n_hours, zone)
    return tuple(
        WorkDay(i, on, first, end, first + np.flatnonzero(is_open[first:end]))
        for i, (on, first, end) in enumerate(day_starts(weather.start_at, n_hours, zone))
    )


def _plot(
    item: SeasonPlanting,
    outlook: Outlook,
    weather: SeasonWeather,
    crops: Mapping[str, CropTraits],
) -> Plot:
    p, start, n_hours = item.planting, weather.start_at, float(weather.forcing.n_hours)
    assert p.established_at is not None
    assert p.crop is not None

    def hour(moment: datetime) -> float:
        return (moment - start) / timedelta(hours=1)

    established, cleared = hour(p.established_at), min(hour(item.cleared_at), n_hours)
    up = _up_hour(outlook, n_hours) if p.is_sown else established
    window_d = crops[p.crop].weed_free_to_d or 0.0
    return Plot(
        p,
        replace(_empty(p.bed), from_m=p.from_m, to_m=p.to_m),
        hour(item.prepared_at),
        established,
        up,
        min(up + 24.0 * window_d, cleared),
        cleared,
        in_row_share(p),
        p.bed.width_m * (p.to_m - p.from_m),
    )


def _ways(
    plot: Plot,
    outlook: Outlook,
    day: WorkDay,
    farm: Farm,
    tables: SeasonTables,
    fits: dict[tuple[str, str], Fit],
) -> tuple[Way, ...]:
    """Tools that fit and that the crop lets in on one day.

    `fits` are those of days before, by tool and purpose: a crop only grows taller, so that what it
    kept out once stays out, and what fits at its tallest fits before.
    """
    first, last = float(day.open_hours[0]), float(day.open_hours[-1]) + 1.0
    if not plot.prepared_hour < first < plot.cleared_hour:
        return ()
    is_empty = not plot.is_sown_by(first)
    p = plot.empty if is_empty else plot.planting
    is_up = not is_empty and first >= plot.up_hour
    height = tallest = None
    if not is_empty and outlook.stage is not None:
        height = float(outlook.stage.height_mm[0, int(first)])
        tallest = float(outlook.stage.height_mm[0].max())
    until = min(last, plot.established_hour if is_empty else plot.cleared_hour)
    purpose = "stale" if is_empty else "standing" if is_up else "blind"
    found: list[Way] = []
    for tool in farm.tools:
        if tool.kind == _BY_HAND:
            continue
        traits = tables.kit.rules.traits[tool.key]
        way = _fit_of_day(tool, traits, p, purpose, height, tallest, fits)
        if not way.is_fit:
            continue
        crop = None if p.crop is None else tables.kit.crops[p.crop]
        let_in = gate(
            tool, traits, p, crop, None if is_empty else outlook.stage, outlook.crop_hours,
            int(first), 0, outlook.weights, farm.flame_rules_read,
        )  # fmt: skip
        if not let_in.is_open:
            continue
        setup = setup_of(tool, p, purpose)
        closes = np.inf if let_in.closes_hour is None else let_in.closes_hour
        found.append(
            Way(
                tool,
                purpose,
                None if setup is None else setup.name,
                first,
                min(until, float(closes)),
                let_in.loss_frac,
                min(tool.depth_mm, let_in.depth_mm),
                work_minutes(tool, p, way),
            )
        )
    return tuple(found)


def _fit_of_day(
    tool: Tool,
    traits: ToolTraits,
    planting: Planting,
    purpose: str,
    height_mm: float | None,
    tallest_mm: float | None,
    fits: dict[tuple[str, str], Fit],
) -> Fit:
    known = (tool.name, purpose)
    if known in fits:
        return fits[known]
    is_up = purpose == "standing"
    at_tallest = fit(tool, traits, planting, tallest_mm, has_crop_up=is_up)
    if at_tallest.is_fit:
        fits[known] = at_tallest
        return at_tallest
    found = fit(tool, traits, planting, height_mm, has_crop_up=is_up)
    if not found.is_fit:
        fits[known] = found
    return found


# ---------------------------------------------------------------- a made garden

# bed by bed: crop, sown or set on, cleared on; month and day. Everything here is invented.
_MADE_PLAN: tuple[tuple[tuple[str, tuple[int, int], tuple[int, int]], ...], ...] = (
    (("carrot", (4, 8), (7, 18)), ("kale", (8, 3), (10, 20))),
    (("onion", (4, 2), (8, 20)),),
    (("beet", (4, 16), (7, 8)), ("head lettuce", (7, 27), (9, 16))),
    (("head lettuce", (4, 20), (6, 12)), ("snap bean", (7, 8), (9, 14))),
    (("kale", (4, 28), (7, 10)), ("carrot", (7, 30), (10, 24))),
    (("carrot", (5, 7), (8, 14)), ("head lettuce", (9, 2), (10, 22))),
    (("snap bean", (5, 24), (7, 24)), ("beet", (8, 17), (10, 26))),
    (("onion", (4, 13), (9, 1)),),
    (("head lettuce", (5, 16), (6, 28)), ("carrot", (7, 20), (10, 24))),
    (("beet", (6, 3), (8, 12)), ("head lettuce", (8, 31), (10, 20))),
    (("kale", (6, 12), (9, 8)),),
    (("carrot", (6, 18), (9, 28)),),
)
_MADE_PREPARED_D = (18, 14, 22, 12, 20, 16, 24)  # days before sowing or setting, in turn
_MADE_SOILS = (("sandy", "sandy loam"), ("middle", "loam"), ("heavy", "clay loam"))
_MADE_SOWN = ("carrot", "onion", "beet", "snap bean")
_MADE_PLACE = Place(42.0, -75.0, 150.0, "America/New_York")


def made_garden(
    crops: Mapping[str, CropTraits],
    n_beds: int = 12,
    year: int = 2013,
    place: Place = _MADE_PLACE,
) -> Garden:
    """A made garden for playing seasons: everything in it is invented.

    Parameters
    ----------
    crops : mapping
        Crop traits by crop name, for rows and sowing depth.
    n_beds : int
        Beds of 18 by 0.75 m, on three soils in turn; from the thirteenth on the plan repeats, three
        days later each time.
    year : int
        Of the season.
    place : Place
        Where the weather is from.

    Returns
    -------
    Garden
        Beds sown with carrot, onion, beet and bean or set with lettuce and kale from April to
        September, prepared deep 12 to 24 days before; four working days a week.

    Raises
    ------
    UsageError
        If there is no bed.

    Notes
    -----
    Made. No range stated.

    Examples
    --------
    >>> from scheduler.planning.traits import CropTraits, ToolTraits
    >>> plain = CropTraits(2.0, 100.0, 25.0, None, None, 60.0, 12.0, n_rows=3, row_spacing_mm=250.0)
    >>> names = ("carrot", "onion", "beet", "snap bean", "head lettuce", "kale")
    >>> garden = made_garden(dict.fromkeys(names, plain))
    >>> len(garden.farm.beds), len(garden.plantings), garden.plantings[0].planting.crop
    (12, 20, 'carrot')
    """
    if n_beds < 1:
        raise UsageError(f"made garden: {n_beds} beds; give one or more")
    wide = {"width_m": 0.8, "travel": "in the paths", "setup_min": 10.0}
    rows = {"rows": (2, 3), "row_spacings_mm": (250.0, 375.0)}
    tools = (
        Tool("tines", "tine weeder", 15.0, 0.9, **wide),  # type: ignore[arg-type]
        Tool("sweeps", "sweeps", 25.0, 0.9, **wide, **rows),  # type: ignore[arg-type]
        Tool("fingers", "finger weeder", 20.0, 0.8, **wide, **rows),  # type: ignore[arg-type]
        Tool("bar", "knives", 20.0, 0.8, carries=("finger weeder",), **wide, **rows),  # type: ignore[arg-type]
        Tool("hoe", "wheel hoe", 20.0, 0.6, width_m=0.2, travel="by hand", setup_min=2.0),
    )
    soils = {name: Soil(name, texture, None, None, 3.0) for name, texture in _MADE_SOILS}
    beds: list[Bed] = []
    plantings: list[SeasonPlanting] = []
    plans: list[Plan] = []
    for i in range(n_beds):
        bed = Bed(f"M{i + 1:02d}", 18.0, 0.75, _MADE_SOILS[i % 3][0], "sprinkler", was="clean")
        beds.append(bed)
        later = timedelta(days=3 * (i // len(_MADE_PLAN)))
        for j, (crop, begins, ends) in enumerate(_MADE_PLAN[i % len(_MADE_PLAN)]):
            on, off = date(year, *begins) + later, date(year, *ends) + later
            traits = crops[crop]
            before = timedelta(days=_MADE_PREPARED_D[(i + 3 * j) % len(_MADE_PREPARED_D)])
            is_sown = crop in _MADE_SOWN

            def at(day: date, hour: int) -> datetime:
                return at_local(day, time(hour), place.time_zone)

            planting = Planting(
                bed, None, 0.0, bed.length_m, crop, is_sown, at(on, 17), traits.n_rows,
                traits.row_spacing_mm, traits.sowing_depth_mm if is_sown else None,
            )  # fmt: skip
            plantings.append(SeasonPlanting(planting, at(on - before, 6), at(off, 6)))
            plans.append(Plan(bed.name, crop, on, is_sown))
    work = WorkPlan(time(7), time(19), (4.0, 0.0, 4.0, 4.0, 0.0, 4.0, 0.0))
    farm = Farm(
        "made garden", place, "metric", 5, soils, tuple(beds), tools, work, plans=tuple(plans)
    )
    return Garden(farm, tuple(plantings))
