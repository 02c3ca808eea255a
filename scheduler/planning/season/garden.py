"""A garden for the season player out of a farm and its journal, and its passes as logged.

A part of a bed is played as a bed of its own, under the name of the planting. A bed is followed
from its preparation to its clearing; between crops, unprepared, it is not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.planning.plantings import is_deep_preparation, planting_of, was_done
from scheduler.planning.season.play import PlayState
from scheduler.planning.season.shapes import Garden, SeasonPlanting
from scheduler.planning.season.truth import TruthSeason
from scheduler.planning.season.world import Plot, Way, World
from scheduler.planning.work import setup_minutes, setup_of
from scheduler.records import Bed, Event, Farm, Planting, Tool

_HOUR = timedelta(hours=1)
_BY_HAND = "hand"


@dataclass(frozen=True)
class LoggedGarden:
    """What a journal has for the player, and what it has that cannot be played, in words."""

    garden: Garden
    left_out: tuple[str, ...]


@dataclass
class _BedLog:
    """One bed as its entries are read, by part; None is the whole bed."""

    bed: Bed
    start_at: datetime
    end_at: datetime
    prepared: dict[str | None, datetime | None] = field(default_factory=dict)
    growing: dict[str | None, tuple[Planting, datetime]] = field(default_factory=dict)
    found: list[SeasonPlanting] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)

    def read(self, event: Event) -> None:
        """Take in one entry."""
        if event.kind in ("sow", "plant"):
            self._sow(event)
        elif event.kind == "clear":
            self._close(event.part, event.happened_at)
            self._unprepare(event.part, None)
        elif event.kind == "prep" and is_deep_preparation(event):
            self._close(event.part, event.happened_at)
            self._unprepare(event.part, event.happened_at)
        elif event.kind in ("up", "rooted"):
            for part, (planting, at) in self.growing.items():
                if event.part in (None, part):
                    seen = event.happened_at
                    is_up = event.kind == "up"
                    told = (
                        replace(planting, up_at=seen)
                        if is_up
                        else replace(planting, rooted_at=seen)
                    )
                    self.growing[part] = (told, at)

    def end(self) -> None:
        """Whatever still grows grows on."""
        self._close(None, self.end_at + timedelta(days=1))

    def _sow(self, event: Event) -> None:
        at, part = event.happened_at, event.part
        self._close(part, at - 2 * _HOUR)
        ready = self.prepared[part] if part in self.prepared else self.prepared.get(None)
        if part is None and ready is None:
            known = [moment for moment in self.prepared.values() if moment is not None]
            ready = max(known, default=None)
        if ready is None or ready >= at:
            ready = at - _HOUR
            if at > self.start_at:
                self.left_out.append(
                    f"{_name(self.bed, part)}: no preparation on record before {event.data['crop']}"
                    f" of {at:%d %b}; taken to be made that day"
                )
        self.growing[part] = (planting_of(self.bed, event), ready)
        if part is None:
            self.prepared.clear()
        self.prepared[part] = None

    def _unprepare(self, part: str | None, at: datetime | None) -> None:
        if part is None:
            self.prepared.clear()
        self.prepared[part] = at

    def _close(self, part: str | None, at: datetime) -> None:
        """End what grows there; a whole bed ends its parts, a part the whole bed."""
        touched = [own for own in self.growing if part is None or own in (None, part)]
        for own in touched:
            planting, prepared_at = self.growing.pop(own)
            set_at = planting.established_at
            assert set_at is not None
            if set_at >= at or set_at >= self.end_at or at <= self.start_at:
                continue
            if set_at <= self.start_at:
                self.left_out.append(
                    f"{planting.key}: {planting.crop} of {set_at:%d %b %Y} is older than the "
                    f"weather of this season, {self.start_at:%d %b %Y} on"
                )
                continue
            bed = replace(planting.bed, name=planting.key)
            self.found.append(
                SeasonPlanting(
                    replace(planting, bed=bed, part=None), max(prepared_at, self.start_at), at
                )
            )


def _name(bed: Bed, part: str | None) -> str:
    return bed.name if part is None else f"{bed.name}/{part}"


def logged_garden(
    farm: Farm, events: Sequence[Event], start_at: datetime, end_at: datetime
) -> LoggedGarden:
    """The plantings of a season as a journal has them.

    Parameters
    ----------
    farm : Farm
        The farm.
    events : sequence of Event
        Entries that stand, in order of happening.
    start_at, end_at : datetime
        Of the season's weather.

    Returns
    -------
    LoggedGarden
        Beds that were sown or set between the two, parts as beds of their own; the last deep
        preparation before sowing, what was watered, when crops were seen to come up.

    Notes
    -----
    A crop without a clearing ends with the next deep preparation, sowing or setting of its bed. A
    bed sown without a preparation on record is prepared an hour before. Crops older than the
    weather are left out. Definition of this project. No range stated. Worked:
    tests/planning/season/test_garden.py.
    """
    logs = {bed.name: _BedLog(bed, start_at, end_at) for bed in farm.beds}
    for event in sorted(events, key=lambda e: e.happened_at):
        if event.bed in logs and event.happened_at < end_at:
            logs[event.bed].read(event)
    plantings: list[SeasonPlanting] = []
    left_out: list[str] = []
    for log in logs.values():
        log.end()
        plantings += sorted(log.found, key=lambda p: (p.planting.key, p.prepared_at))
        left_out += log.left_out
    beds = {item.planting.key: item.planting.bed for item in plantings}
    played = replace(farm, beds=tuple(beds.values()))
    watered = [
        replace(event, bed=name, part=None)
        for event in events
        if event.kind == "water" and start_at <= event.happened_at < end_at
        for name in beds
        if is_on(event, name)
    ]
    watered.sort(key=lambda e: (e.happened_at, e.event_id, e.bed or ""))
    return LoggedGarden(Garden(played, tuple(plantings), tuple(watered)), tuple(left_out))


def is_on(event: Event, name: str) -> bool:
    """Whether an entry concerns a bed of a logged garden.

    Parameters
    ----------
    event : Event
        An entry of the journal.
    name : str
        A bed, or a bed and its part with a stroke between.

    Returns
    -------
    bool
        True for the bed, its part, or a part of a bed that is asked for as a whole.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2013, 5, 8, 6, tzinfo=UTC)
    >>> parts = [Event("1", "pass", at, at, "A4", part) for part in ("north", "south", None)]
    >>> [is_on(event, "A4/north") for event in parts], [is_on(event, "A4") for event in parts]
    ([True, False, True], [True, True, True])
    """
    bed, _, part = name.partition("/")
    return event.bed == bed and (event.part is None or not part or event.part == part)


# --------------------------------------------------------------- as it was logged


@dataclass(frozen=True)
class LoggedPass:
    """One pass of the journal over one planting; a visit in vain is `is_vain`."""

    bed: str
    hour: float
    way: Way
    is_vain: bool
    set_up_min: float


@dataclass(frozen=True)
class LoggedPasses:
    """Passes of a journal in order, and what of them cannot be played, in words."""

    passes: tuple[LoggedPass, ...]
    left_out: tuple[str, ...]

    def minutes_by_day(self, world: World) -> Mapping[int, float]:
        """Minutes with tools by day of the season, set-ups and visits in vain among them."""
        vain_min = world.tables.value.vain_min
        found: dict[int, float] = {}
        for one in self.passes:
            day = day_at(world, one.hour)
            minutes = vain_min if one.is_vain else one.way.minutes
            found[day] = found.get(day, 0.0) + minutes + one.set_up_min
        return found


def day_at(world: World, hour: float) -> int:
    """Place of the day that holds an hour among the season's days.

    Parameters
    ----------
    world : World
        The season.
    hour : float
        Hour of its clock [h].

    Returns
    -------
    int
        Day; the last one for the end of the season.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/season/test_garden.py.
    """
    firsts = np.array([day.first_hour for day in world.days])
    return int(np.clip(np.searchsorted(firsts, hour, side="right") - 1, 0, firsts.size - 1))


def logged_passes(world: World, events: Sequence[Event]) -> LoggedPasses:
    """The passes of a journal over the plantings of a world.

    Parameters
    ----------
    world : World
        Of a logged garden.
    events : sequence of Event
        Entries that stand, in order of happening.

    Returns
    -------
    LoggedPasses
        One for each planting that a pass went over; its minutes as logged, shared by length where
        it went over two, else as reckoned.

    Notes
    -----
    The tool of a day's list of ways is taken where the crop let it in that day; else the pass is
    made all the same, and costs the stand what the tables say of its tool. Set-ups are reckoned in
    the order of the day. Passes over beds between crops and with tools that the farm does not have
    are left out. Definition of this project. No range stated. Worked:
    tests/planning/season/test_garden.py.
    """
    tools = {tool.name: tool for tool in world.garden.farm.tools if tool.kind != _BY_HAND}
    names = [bed.name for bed in world.garden.farm.beds]
    found: list[LoggedPass] = []
    unknown: dict[str, int] = {}
    n_idle = 0
    mounted: tuple[int, tuple[str, str | None]] | None = None
    passes = [e for e in events if e.kind == "pass"]
    for event in sorted(passes, key=lambda e: e.happened_at):
        hour = world.hour_of(event.happened_at)
        if not 0.0 <= hour < world.n_hours:
            continue
        tool = tools.get(str(event.data.get("tool")))
        if tool is None:
            name = str(event.data.get("tool", "no tool named"))
            unknown[name] = unknown.get(name, 0) + 1
            continue
        plots = [world.plot_at(name, hour) for name in names if is_on(event, name)]
        met = [plot for plot in plots if plot is not None]
        if not met:
            n_idle += 1
            continue
        metres = sum(plot.planting.to_m - plot.planting.from_m for plot in met)
        day = day_at(world, hour)
        for plot in met:
            share = (plot.planting.to_m - plot.planting.from_m) / metres
            way = _way_logged(world, event, tool, plot, hour, share)
            after = (tool.name, way.setup)
            before = mounted[1] if mounted is not None and mounted[0] == day else None
            set_up = setup_minutes(before, after, tool)
            mounted = (day, after)
            found.append(LoggedPass(plot.key, hour, way, not was_done(event), set_up))
    left_out = [
        f"{n} {_passes(n)} with {name!r}, which farm.toml does not have, left out"
        for name, n in sorted(unknown.items())
    ]
    if n_idle:
        left_out.append(f"{n_idle} {_passes(n_idle)} over beds between crops, left out")
    return LoggedPasses(tuple(found), tuple(left_out))


def _passes(n: int) -> str:
    return "pass" if n == 1 else "passes"


def _way_logged(
    world: World, event: Event, tool: Tool, plot: Plot, hour: float, share: float
) -> Way:
    """How a pass went, as the entry says."""
    is_sown = plot.is_sown_by(hour)
    purpose = "stale" if not is_sown else "blind" if hour < plot.up_hour else "standing"
    of_day = world.ways.get((day_at(world, hour), plot.key), ())
    same = [way for way in of_day if way.tool.name == tool.name]
    open_then = next((way for way in same if way.purpose == purpose), None)
    depth_mm = float(event.data.get("depth_mm", tool.depth_mm))
    if open_then is None:
        traits = world.tables.kit.rules.traits[tool.key]
        lost = {"stale": 0.0, "blind": traits.blind_loss_frac}
        setup = setup_of(tool, plot.planting if is_sown else plot.empty, purpose)
        open_then = Way(
            tool, purpose, None if setup is None else setup.name, hour, hour + 1.0,
            lost.get(purpose, traits.standing_loss_frac), depth_mm, _usual_minutes(world, tool),
        )  # fmt: skip
    minutes = open_then.minutes
    if "work_min" in event.data and was_done(event):
        minutes = share * float(event.data["work_min"])
    said = event.data.get("setup")
    return replace(
        open_then,
        depth_mm=depth_mm,
        minutes=minutes,
        setup=open_then.setup if said is None else str(said),
    )


def _usual_minutes(world: World, tool: Tool) -> float:
    """Middle of the minutes of a tool over the beds that it fits; nought where it fits none."""
    found = [way.minutes for ways in world.ways.values() for way in ways if way.tool == tool]
    return float(np.median(found)) if found else 0.0


def played_as_logged(season: TruthSeason, logged: LoggedPasses) -> PlayState:
    """A season with its passes as they were made.

    Parameters
    ----------
    season : TruthSeason
        The truth.
    logged : LoggedPasses
        The passes.

    Returns
    -------
    PlayState
        At the end of the season.

    Notes
    -----
    A pass is made at its hour whatever the truth's soil then is: it was made. Hand weeding goes by
    the player's own rule, as under every rule, so that seasons can be compared; what was logged by
    hand is not read. Definition of this project. No range stated. Worked:
    tests/planning/season/test_garden.py.
    """
    state = PlayState(season)
    for one in sorted(logged.passes, key=lambda p: p.hour):
        state.day = season.world.days[day_at(season.world, one.hour)]
        state.advance(one.hour)
        if one.is_vain:
            state.went_in_vain(one.bed, one.way, one.set_up_min)
        else:
            state.passed(one.bed, one.way, one.hour, one.set_up_min)
    state.advance(float(season.world.n_hours))
    return state
