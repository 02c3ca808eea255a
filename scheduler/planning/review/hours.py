"""The grower's own hours, day by day: how many there were, and what was logged that took them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from zoneinfo import ZoneInfo

from scheduler.planning.geometry import fit
from scheduler.planning.hours import local_day
from scheduler.planning.offers import Kit
from scheduler.planning.plantings import was_done
from scheduler.planning.work import work_minutes
from scheduler.records import Event, Farm, Planting

_UNKNOWN_PASS_MIN = 5.0  # of a pass that was not timed, with a tool that by the tables does not fit
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_UNFIT_FEELS: Mapping[str, str] = {"wet": "wet", "smears": "wet", "hard": "hard"}
_UNFIT_FOUND: Mapping[str, str] = {"too wet": "wet", "too hard": "hard"}
_NOON_H = 12  # parts the two halves of a day


@dataclass(frozen=True)
class DayLoad:
    """The hours of one day and what took them."""

    on: date
    hours_min: float  # of the work plan
    blocked: str  # in words; empty without blocked times
    n_passes: int = 0
    pass_min: float = 0.0
    setup_min: float = 0.0
    hand_min: float = 0.0
    tools: frozenset[str] = field(default_factory=frozenset)  # that were out

    @property
    def left_min(self) -> float:
        """Of the hours, what nothing logged took; below nought where more was done."""
        return self.hours_min - self.pass_min - self.setup_min - self.hand_min

    @property
    def closed_words(self) -> str:
        """What stands in the way of a fit hour that is no hour of the grower's."""
        if self.hours_min <= 0.0:
            return f"no hours on a {_WEEKDAYS[self.on.weekday()]}"
        return self.blocked or "outside the working day"

    @property
    def used_words(self) -> str:
        """What took the hours of the day."""
        parts = []
        if self.n_passes:
            many = "1 pass" if self.n_passes == 1 else f"{self.n_passes} passes"
            parts.append(f"{many} {self.pass_min + self.setup_min:.0f} min")
        if self.hand_min > 0.0:
            parts.append(f"hand weeding {self.hand_min:.0f} min")
        what = " and ".join(parts) or "nothing logged"
        return f"{what} of {self.hours_min:.0f} min on {self.on.day} {self.on:%b}"


def day_loads(
    farm: Farm,
    events: Sequence[Event],
    days: Sequence[date],
    minutes_of: Mapping[str, float],
) -> tuple[DayLoad, ...]:
    """What the journal says took the hours of each day.

    Parameters
    ----------
    farm : Farm
        Its work plan.
    events : sequence of Event
        Entries that stand.
    days : sequence of date
        Local days wanted.
    minutes_of : mapping
        Minutes of each pass by its entry, logged or reckoned [min].

    Returns
    -------
    tuple of DayLoad
        One a day, in the order of `days`.

    Notes
    -----
    Each tool that was out is set up once a day. Visits in vain count with the minutes logged. Hand
    work that was not timed counts nothing. Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, datetime, time
    >>> from scheduler.records import Place, Tool, WorkPlan
    >>> work = WorkPlan(time(7), time(19), (2.0,) * 7)
    >>> tines = Tool("tines", "tine weeder", 15.0, 0.9, setup_min=8.0)
    >>> farm = Farm("made", Place(42., 0., 9., "UTC"), "metric", 5, {}, (), (tines,), work)
    >>> at = datetime(2013, 5, 8, 9, tzinfo=UTC)
    >>> events = [
    ...     Event("1", "pass", at, at, "A1", None, {"tool": "tines"}),
    ...     Event("2", "hand", at, at, "A2", None, {"work_min": 54.0}),
    ... ]
    >>> load = day_loads(farm, events, [at.date()], {"1": 4.0})[0]
    >>> load.left_min, load.used_words
    (54.0, '1 pass 12 min and hand weeding 54 min of 120 min on 8 May')
    """
    zone = farm.place.time_zone
    own: dict[date, list[Event]] = {}
    for event in events:
        if event.kind in ("pass", "hand"):
            own.setdefault(local_day(event.happened_at, zone), []).append(event)
    tools = {tool.name: tool for tool in farm.tools}
    found = []
    for on in days:
        passes = [e for e in own.get(on, []) if e.kind == "pass"]
        out = frozenset(str(e.data.get("tool")) for e in passes)
        blocked = "; ".join(
            f"{b.why} {b.start:%H:%M} to {b.end:%H:%M}"
            for b in farm.work.blocked
            if b.weekday == on.weekday()
        )
        found.append(
            DayLoad(
                on,
                60.0 * farm.work.hours[on.weekday()],
                blocked,
                len(passes),
                sum(minutes_of.get(e.event_id, 0.0) for e in passes),
                sum(tools[name].setup_min for name in out if name in tools),
                sum(
                    float(e.data.get("work_min", 0.0)) for e in own.get(on, []) if e.kind == "hand"
                ),
                out,
            )
        )
    return tuple(found)


def pass_minutes(event: Event, planting: Planting, kit: Kit) -> float:
    """Minutes of a logged pass: as timed, else as reckoned for the tool and the planting.

    Parameters
    ----------
    event : Event
        The pass.
    planting : Planting
        What lay there.
    kit : Kit
        The farm's tools.

    Returns
    -------
    float
        Minutes [min], without set-up; of a visit in vain only what was timed.

    Notes
    -----
    Reckoned as `work_minutes`; 5 min where the tool is not the farm's or by the tables does not
    fit. No range stated. Worked: tests/planning/review/test_review_hours.py.
    """
    if "work_min" in event.data:
        return float(event.data["work_min"])
    if not was_done(event):
        return 0.0
    tool = kit.rules.tools.get(str(event.data.get("tool")))
    if tool is None:
        return _UNKNOWN_PASS_MIN
    way = fit(tool, kit.rules.traits[tool.key], planting, None, has_crop_up=True)
    return work_minutes(tool, planting, way) if way.is_fit else _UNKNOWN_PASS_MIN


def found_unfit(events: Sequence[Event], farm: Farm) -> Mapping[tuple[str, date, bool], str]:
    """Half-days in which somebody found a soil unfit: wet or hard.

    Parameters
    ----------
    events : sequence of Event
        Entries that stand.
    farm : Farm
        Its beds say which soil a visit was on.

    Returns
    -------
    mapping
        By soil, local date and whether it was before noon.

    Notes
    -----
    A visit in vain that says what was found, or a handful that was wet, smeared or was hard.
    Definition of this project. No range stated. Worked: tests/planning/review/test_review_hours.py.
    """
    soil_of = {bed.name: bed.soil for bed in farm.beds}
    found: dict[tuple[str, date, bool], str] = {}
    for event in events:
        said = None
        if event.kind == "feel":
            said = _UNFIT_FEELS.get(str(event.data.get("feel")))
        elif event.kind == "pass" and not was_done(event):
            said = _UNFIT_FOUND.get(str(event.data.get("found")))
        if said is None or event.bed not in soil_of:
            continue
        local = event.happened_at.astimezone(ZoneInfo(farm.place.time_zone))
        found[soil_of[event.bed], local.date(), local.hour < _NOON_H] = said
    return found
