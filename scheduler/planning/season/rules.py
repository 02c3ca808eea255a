"""Simple rules that growers go by, for comparison: calendars, rain, and eyes of several kinds.

By habit all take the same tool for a bed: over a sown row before emergence the one that may go
blind; in a standing crop the one that reaches the rows, with what works between them if there is
such a stack; else one between the rows. Each may instead keep to one tool, which saves set-ups.
Beds of one tool and set-up are done together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from scheduler.planning.season.shapes import Choose, Eyes, Morning, Rule
from scheduler.planning.season.world import Plot, Way, World
from scheduler.planning.weeds import BETWEEN, IN_ROW
from scheduler.records import Event, FloatArray, IntArray

CALENDAR_D = (7, 8, 10, 14, 20)
THRESHOLDS_M2 = (5.0, 10.0, 20.0, 40.0)
GAPS_D = (1, 2, 3, 4, 5, 6)
LOOK_ERROR_LN_SD = 0.35
AFTER_D = 7.0
WET_MM = 8.0  # rain of a day after which seven days are waited
SINGLE_TOOLS = ("sweeps", "hoe")  # of the made garden
_EVERY_D = 7
_SCRATCHED_M2 = 10.0  # threads and seed leaves from which a scratching grower goes


def usual_way(ways: Sequence[Way], world: World, with_tool: str = "") -> Way | None:
    """The tool that a grower without figures takes to a bed.

    Parameters
    ----------
    ways : sequence of Way
        Tools that go there that day.
    world : World
        For what they kill.
    with_tool : str
        Name of the only tool that is taken; empty for any.

    Returns
    -------
    Way or None
        Of those that reach most zones the one with the highest sum of kill of small weeds over the
        zones; a machine before a hoe. None where no tool goes.

    Notes
    -----
    A tine weeder in a standing crop stands back for fingers. Definition of this project. No range
    stated. Worked: tests/planning/season/test_rules.py.
    """
    kills = world.tables.kit.kills.kill_frac
    traits = world.tables.kit.rules.traits

    def rank(way: Way) -> tuple[bool, int, float, bool]:
        small = kills[way.tool.key][:, :2].mean(axis=1)
        is_machine = traits[way.tool.key].is_wheeled
        is_fingers = way.purpose != "standing" or traits[way.tool.key].crop_gate != "tine"
        return is_fingers, int((small > 0.0).sum()), float(small.sum()), is_machine

    held = [way for way in ways if with_tool in ("", way.tool.name)]
    open_now = [way for way in held if kills[way.tool.key][:, :2].max() > 0.0]
    if not open_now:
        return None
    if any(way.purpose != "standing" for way in open_now):
        blind = [w for w in open_now if traits[w.tool.key].can_blind]
        return max(blind or open_now, key=rank)
    return max(open_now, key=rank)


def in_groups(found: Sequence[tuple[Plot, Way]]) -> tuple[Choose, ...]:
    """Passes grouped by tool and set-up, the largest group first, else as given.

    Parameters
    ----------
    found : sequence of (Plot, Way)
        Passes wanted, the most wanted first.

    Returns
    -------
    tuple of Choose
        In order.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/season/test_rules.py.
    """
    groups: dict[tuple[str, str | None], list[str]] = {}
    for plot, way in found:
        groups.setdefault((way.tool.name, way.setup), []).append(plot.key)
    order = sorted(groups, key=lambda group: -len(groups[group]))
    return tuple(Choose(bed, tool) for tool, setup in order for bed in groups[tool, setup])


def stirred_hour(events: Sequence[Event], plot: Plot, world: World) -> float:
    """Hour at which a bed was last passed, or else prepared, sown or set.

    Parameters
    ----------
    events : sequence of Event
        Entries so far, in order.
    plot : Plot
        What grows there.
    world : World
        For the clock.

    Returns
    -------
    float
        Hour of the season's clock [h], -inf if never; visits in vain do not count.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/season/test_rules.py.
    """
    for e in reversed(events):
        is_stirring = e.bed == plot.key and e.kind in ("pass", "prep", "sow", "plant")
        if is_stirring and e.data.get("worked") is not False:
            return world.hour_of(e.happened_at)
    return -np.inf


def _beds(morning: Morning, world: World, with_tool: str) -> list[tuple[Plot, Way]]:
    """Beds in use that a tool can go to today."""
    found: list[tuple[Plot, Way]] = []
    for bed in world.garden.farm.beds:
        plot = world.plot_at(bed.name, morning.hour)
        if plot is None:
            continue
        asked = (morning.day, bed.name, with_tool)
        if asked not in world.usual_ways:
            ways = world.ways.get(asked[:2], ())
            world.usual_ways[asked] = usual_way(ways, world, with_tool)
        way = world.usual_ways[asked]
        if way is not None:
            found.append((plot, way))
    return found


def _longest_first(morning: Morning, world: World, with_tool: str = "") -> list[tuple[Plot, Way]]:
    found = _beds(morning, world, with_tool)
    return sorted(found, key=lambda f: stirred_hour(morning.events, f[0], world))


def _with(tool: str) -> str:
    return f", with {tool}" if tool else ""


@dataclass(frozen=True)
class Never:
    """No pass at all."""

    name: str = "never"
    eyes: Eyes = field(default_factory=Eyes)

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        """None."""
        return ()


@dataclass(frozen=True)
class Calendar:
    """Every so many days since the last stirring; `minds_wet` leaves out what the soil forbids."""

    world: World
    every_d: float
    minds_wet: bool = False
    with_tool: str = ""

    @property
    def name(self) -> str:
        """As `every 8 days`."""
        wet = ", if dry" if self.minds_wet else ""
        return f"every {self.every_d:g} days{wet}{_with(self.with_tool)}"

    @property
    def eyes(self) -> Eyes:
        """It sees no weeds."""
        return Eyes(feels_soil=self.minds_wet)

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        """Beds that are due, the longest left first."""
        due = [
            (plot, way)
            for plot, way in _longest_first(morning, self.world, self.with_tool)
            if morning.hour - stirred_hour(morning.events, plot, self.world)
            >= 24.0 * self.every_d - 12.0
            and (not self.minds_wet or morning.works[plot.key, way.tool.name])
        ]
        return in_groups(due)


@dataclass(frozen=True)
class AfterRain:
    """Seven days after the last rain of a day that wets the ground, or after the last stirring."""

    world: World
    minds_wet: bool = False
    with_tool: str = ""

    @property
    def name(self) -> str:
        """As `7 days after rain or pass`."""
        wet = ", if dry" if self.minds_wet else ""
        return f"7 days after rain or pass{wet}{_with(self.with_tool)}"

    @property
    def eyes(self) -> Eyes:
        """It sees no weeds."""
        return Eyes(feels_soil=self.minds_wet)

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        """Beds whose seven days since the first rain after their last stirring are over."""
        rain = self.world.weather.forcing.rain_mm[0]
        first = max(0, morning.hour - 24 * 28)
        day_sums = np.convolve(rain[first : morning.hour], np.ones(24), mode="valid")
        wet = first + 24 + np.flatnonzero(day_sums >= WET_MM)
        due: list[tuple[Plot, Way]] = []
        for plot, way in _longest_first(morning, self.world, self.with_tool):
            stirred = stirred_hour(morning.events, plot, self.world)
            since = _first_wetting_after(wet, stirred)
            if morning.hour - since < 24.0 * AFTER_D - 12.0:
                continue
            if not self.minds_wet or morning.works[plot.key, way.tool.name]:
                due.append((plot, way))
        return in_groups(due)


def _first_wetting_after(wet_hours: IntArray, stirred: float) -> float:
    """Hour at which the ground was first wetted after a stirring; without rain that stirring."""
    later = wet_hours[wet_hours > stirred]
    return float(later[0]) if later.size else stirred


@dataclass(frozen=True)
class WheneverWorkable:
    """Every bed whose soil lets the tool work, with days between that a grower would keep."""

    world: World
    gap_d: float = 1.0
    name: str = "whenever workable"
    eyes: Eyes = field(default_factory=lambda: Eyes(feels_soil=True))

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        """All of them, the longest left first."""
        due = [
            (plot, way)
            for plot, way in _longest_first(morning, self.world)
            if morning.works[plot.key, way.tool.name]
            and morning.hour - stirred_hour(morning.events, plot, self.world)
            >= 24.0 * self.gap_d - 12.0
        ]
        return in_groups(due)


@dataclass(frozen=True)
class Attentive:
    """Goes when more green weeds are seen than a threshold, the soil lets it and a gap is over.

    With a look a day and without error these are the best eyes there could be; with a look a week
    and an error the looking that a grower has time for. Only a look since the last stirring counts.
    """

    world: World
    threshold_m2: float
    gap_d: float
    looks_every_d: int = 1
    error_ln_sd: float = 0.0
    is_by_threads: bool = False
    with_tool: str = ""
    last_seen: dict[str, tuple[int, float]] = field(default_factory=dict, compare=False)

    @property
    def name(self) -> str:
        """As `eyes every 1 d, over 10, gap 3 d`."""
        what = "threads" if self.is_by_threads else "eyes"
        error = ", with error" if self.error_ln_sd else ""
        return (
            f"{what} every {self.looks_every_d} d{error}, over {self.threshold_m2:g}, "
            f"gap {self.gap_d:g} d{_with(self.with_tool)}"
        )

    @property
    def eyes(self) -> Eyes:
        """Feels the soil; looks at all beds."""
        return Eyes(
            self.looks_every_d, self.error_ln_sd, scratches=self.is_by_threads, feels_soil=True
        )

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        """Beds above the threshold, the weediest first."""
        if morning.hour < max((hour for hour, _ in self.last_seen.values()), default=-1):
            self.last_seen.clear()  # another season
        for bed, count in morning.seen.items():
            plot = self.world.plot_at(bed, morning.hour)
            if plot is not None:
                self.last_seen[bed] = (morning.hour, self._density(count, plot))
        wanted: list[tuple[float, tuple[Plot, Way]]] = []
        for plot, way in _beds(morning, self.world, self.with_tool):
            stirred = stirred_hour(morning.events, plot, self.world)
            hour, density = self.last_seen.get(plot.key, (-1, 0.0))
            if (
                hour > stirred
                and density > self.threshold_m2
                and morning.hour - stirred >= 24.0 * self.gap_d - 12.0
                and morning.works[plot.key, way.tool.name]
            ):
                wanted.append((density, (plot, way)))
        wanted.sort(key=lambda item: -item[0])
        return in_groups([item for _, item in wanted])

    def _density(self, count_m2: FloatArray, plot: Plot) -> float:
        a = plot.row_share
        bed = a * count_m2[IN_ROW] + (1.0 - a) * count_m2[BETWEEN]
        return float(bed[:2].sum() if self.is_by_threads else bed[1:].sum())


def simple_rules(world: World) -> tuple[Rule, ...]:
    """Every rule of comparison, in the grid of the study.

    Parameters
    ----------
    world : World
        The season.

    Returns
    -------
    tuple of Rule
        Never, calendars, after rain, whenever workable, attentive eyes in thresholds and gaps, a
        weekly look with error, a weekly scratching; calendars, rain and eyes of every second gap
        again with each of `SINGLE_TOOLS` alone.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/season/test_rules.py.
    """
    calendars = [Calendar(world, d, wet) for d in CALENDAR_D for wet in (False, True)]
    rain = [AfterRain(world, wet) for wet in (False, True)]
    attentive = [Attentive(world, t, g) for t in THRESHOLDS_M2 for g in GAPS_D]
    single: list[Rule] = []
    for tool in SINGLE_TOOLS:
        single += [Calendar(world, d, True, tool) for d in CALENDAR_D]
        single.append(AfterRain(world, True, tool))
        single += [
            Attentive(world, t, g, with_tool=tool) for t in THRESHOLDS_M2 for g in GAPS_D[::2]
        ]
    weekly = [
        Attentive(world, t, 1, looks_every_d=_EVERY_D, error_ln_sd=LOOK_ERROR_LN_SD)
        for t in THRESHOLDS_M2
    ]
    threads = Attentive(world, _SCRATCHED_M2, 1, looks_every_d=_EVERY_D, is_by_threads=True)
    workable = WheneverWorkable(world)
    return (Never(), *calendars, *rain, workable, *attentive, *single, *weekly, threads)
