"""A farm under another sky or after another pass: what is changed, and what that changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.errors import RangeError
from scheduler.planning.ensemble import Sky
from scheduler.planning.outlook import Outlook
from scheduler.planning.readings import particle_hand_minutes
from scheduler.planning.weeds import HandRates, WeedOutlook
from scheduler.records import Event, FloatArray


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
