"""A farm under another sky or after another pass: what is changed, and what that changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.errors import RangeError
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.ensemble import Sky
from scheduler.planning.outlook import Outlook
from scheduler.planning.readings import particle_hand_minutes
from scheduler.planning.weeds import HandRates, WeedOutlook
from scheduler.records import BedAnswer, Event, FloatArray, Morning, Range


@dataclass(frozen=True)
class RainToCome:
    """Rain over a span of hours to come, whatever the forecast says of them."""

    rain_mm: float
    start_at: datetime
    end_at: datetime


@dataclass(frozen=True)
class Changes:
    """What is taken to be another than it is known to be.

    `logged` are entries that might have been made by now (rain that fell, a pass that was made);
    `acts` are waterings and passes thought of for now or later. `hours_h` stands for the hours of
    today; `is_skipped` for a day without any.
    """

    rain: tuple[RainToCome, ...] = ()
    is_dry: bool = False  # no rain in all hours ahead but what `rain` says
    logged: tuple[Event, ...] = ()
    acts: tuple[Event, ...] = ()
    hours_h: float | None = None
    is_skipped: bool = False

    @property
    def hours_today_h(self) -> float | None:
        """Hours of today, None where they stay as they are."""
        return 0.0 if self.is_skipped else self.hours_h


@dataclass(frozen=True)
class HandAhead:
    """Minutes to weed one planting by hand at an hour ahead, if nothing more is done till then."""

    hour: float
    minutes: FloatArray  # (n_particles,)
    weights: FloatArray

    @property
    def mean_min(self) -> float:
        """Mean by weight."""
        return float(self.weights @ self.minutes / self.weights.sum())


def hand_ahead(weeds: WeedOutlook, outlook: Outlook, hand: HandRates) -> HandAhead:
    """Minutes by hand on the last day in sight.

    Parameters
    ----------
    weeds : WeedOutlook
        Weeds of the planting, now and on the days in sight.
    outlook : Outlook
        The planting.
    hand : HandRates
        Minutes by hand.

    Returns
    -------
    HandAhead
        By particle.

    Notes
    -----
    As `hand_minutes`; weeds from before the record do not count, as there. Definition of this
    project. No range stated. Worked: tests/planning/test_whatif.py.
    """
    last = weeds.hours.size - 1
    return HandAhead(
        float(weeds.hours[last]), particle_hand_minutes(weeds, outlook, hand, last), weeds.weights
    )


def changed_sky(sky: Sky, rain: Sequence[RainToCome], *, is_dry: bool = False) -> Sky:
    """The members' weather with other rain in hours to come.

    Parameters
    ----------
    sky : Sky
        Weather of the members.
    rain : sequence of RainToCome
        Falls evenly over its span, in every member.
    is_dry : bool
        Whether no other rain falls from now on.

    Returns
    -------
    Sky
        Air, sun and evaporation stay as they are.

    Raises
    ------
    RangeError
        If a span has no hour to come within sight, or less than no rain falls.

    Notes
    -----
    Whatever a member had in an hour that a span touches is taken out first; an hour that the span
    covers in part has its part of the rain. Definition of this project. No range stated.

    Examples
    --------
    Two members, one of which has rain coming: 6 mm from 01:30 to 03:00 replace it.

    >>> from datetime import UTC
    >>> from scheduler.models.soil_column import ColumnForcing
    >>> air = ColumnForcing(*np.zeros((7, 2, 5)))
    >>> air.rain_mm[1] = [0.0, 1.0, 1.0, 1.0, 1.0]
    >>> start = datetime(2013, 5, 8, tzinfo=UTC)
    >>> sky = Sky(start, 1, air, np.ones(5, bool), has_forecast=True)
    >>> span = RainToCome(6.0, start + timedelta(hours=1.5), start + timedelta(hours=3))
    >>> changed_sky(sky, [span]).forcing.rain_mm.tolist()
    [[0.0, 2.0, 4.0, 0.0, 0.0], [0.0, 2.0, 4.0, 1.0, 1.0]]
    >>> changed_sky(sky, [span], is_dry=True).forcing.rain_mm[1].tolist()
    [0.0, 2.0, 4.0, 0.0, 0.0]
    """
    if not rain and not is_dry:
        return sky
    hours = np.arange(sky.n_hours, dtype=np.float64)
    falls = np.zeros(sky.n_hours)
    is_said = (hours >= sky.now_hour) & is_dry
    for span in rain:
        if span.rain_mm < 0.0:
            raise RangeError(f"rain: found {span.rain_mm:g} mm; it must be 0 or more")
        begin = (span.start_at - sky.start_at) / timedelta(hours=1)
        end = (span.end_at - sky.start_at) / timedelta(hours=1)
        share = np.clip(np.minimum(hours + 1.0, end) - np.maximum(hours, begin), 0.0, 1.0)
        if begin < sky.now_hour or end > sky.n_hours or end <= begin:
            raise RangeError(
                f"rain from {span.start_at:%Y-%m-%d %H:%M} to {span.end_at:%Y-%m-%d %H:%M} UTC: "
                f"must lie between {sky.at(sky.now_hour):%Y-%m-%d %H:%M} and "
                f"{sky.at(sky.n_hours):%Y-%m-%d %H:%M} UTC"
            )
        falls += span.rain_mm * share / share.sum()
        is_said |= share > 0.0
    rain_mm = np.where(is_said, falls, sky.forcing.rain_mm)
    return replace(sky, forcing=replace(sky.forcing, rain_mm=rain_mm))


@dataclass(frozen=True)
class PlantingChange:
    """One planting on the list as it stands, and on the changed one.

    `hand_change_min` is what the change adds to the minutes by hand on the last day in sight, if
    nothing more is done: 10, 50 and 90 % of particle weight, and `hand_mean_min` the mean of the
    same; both nought where the weeds are the same.
    """

    key: str
    before: BedAnswer
    after: BedAnswer
    hand_change_min: Range
    hand_mean_min: float

    @property
    def is_same(self) -> bool:
        """Whether nothing at all is another, to the last bit."""
        return repr(replace(self.before, rank=None)) == repr(replace(self.after, rank=None))


@dataclass(frozen=True)
class Totals:
    """What a list plans: its lines, their minutes with set-ups, what they save, what is left."""

    n_lines: int
    minutes: float
    saved_min: float  # sum of the middles
    n_not_reached: int
    waiting_min: float  # what the lines not reached cost by waiting, sum of the middles


@dataclass(frozen=True)
class WhatIf:
    """The list as it stands and the changed one, planting by planting."""

    changes: Changes
    before: Morning
    after: Morning
    plantings: tuple[PlantingChange, ...]  # in the order of the farm
    before_totals: Totals
    after_totals: Totals
    hand_change_min: Range  # of the whole farm, by soil member
    hand_until: datetime  # the hour up to which minutes by hand are counted
    notes: tuple[str, ...] = ()


def compared(
    changes: Changes,
    before: Morning,
    after: Morning,
    hand_before: Mapping[str, HandAhead],
    hand_after: Mapping[str, HandAhead],
    hand_until: datetime,
    notes: Sequence[str] = (),
) -> WhatIf:
    """Two lists side by side.

    Parameters
    ----------
    changes : Changes
        What was taken to be another.
    before, after : Morning
        The lists of one farm at one moment.
    hand_before, hand_after : mapping
        Minutes by hand on the last day in sight by planting, of the farm's plantings in order.
    hand_until : datetime
        When that is.
    notes : sequence of str
        What is to be known of the answer.

    Returns
    -------
    WhatIf
        Every planting, those that are the same too.

    Notes
    -----
    Minutes by hand are compared particle by particle: the weeds of a particle are the same in both
    but for what the change does. The sum over the farm is taken member by member, as all beds of a
    member lie under one sky. Definition of this project. No range stated. Worked:
    tests/planning/test_whatif.py.
    """
    was, then = _by_key(before), _by_key(after)
    found = []
    for key in hand_before:
        own, other = hand_before[key], hand_after[key]
        by_particle = other.minutes - own.minutes
        found.append(
            PlantingChange(
                key,
                was[key],
                then[key],
                Range(*(float(q) for q in weighted_quantiles(by_particle, other.weights))),
                other.mean_min - own.mean_min,
            )
        )
    n_members = before.n_soil_members
    by_member, weights = np.zeros(n_members), np.zeros(n_members)
    for key, own in hand_before.items():
        other = hand_after[key]
        member = np.arange(other.weights.size) % n_members  # particles ride on them in turn
        n_each = np.bincount(member, minlength=n_members)
        by_member += np.bincount(member, other.minutes - own.minutes, n_members) / n_each
        weights += np.bincount(member, other.weights, n_members)
    whole = weighted_quantiles(by_member, weights)
    return WhatIf(
        changes, before, after, tuple(found), totals(before), totals(after),
        Range(*(float(q) for q in whole)), hand_until, tuple(notes),
    )  # fmt: skip


def _by_key(morning: Morning) -> dict[str, BedAnswer]:
    lines = (*morning.beds, *morning.not_reached)
    return {line.bed if line.part is None else f"{line.bed}/{line.part}": line for line in lines}


def totals(morning: Morning) -> Totals:
    """What a list plans, in figures.

    Parameters
    ----------
    morning : Morning
        The list.

    Returns
    -------
    Totals
        Of its lines, and of those not reached.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_whatif.py.
    """

    def middles(lines: Sequence[BedAnswer], name: str) -> float:
        spans = [(line.minutes or {}).get(name) for line in lines]
        return sum(max(span.mid, 0.0) for span in spans if span is not None)

    go = [line for line in morning.beds if line.verdict == "go"]
    return Totals(
        len(go),
        morning.minutes_planned,
        middles(go, "saved"),
        len(morning.not_reached),
        middles(morning.not_reached, "cost_of_waiting"),
    )
