"""The clock of an answer: now, today's end, the grower's hours, and how moments are worded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from scheduler.planning.ensemble import Sky
from scheduler.planning.hours import is_working_hour, local_day
from scheduler.records import BoolArray, Farm

GO_CHANCE = 0.6  # chance that is enough to set out
FIT_CHANCE = 0.8  # chance from which a bed is called workable


@dataclass(frozen=True)
class Day:
    """The clock of the answer."""

    farm: Farm
    sky: Sky
    stored: int
    now: datetime
    is_open: BoolArray  # (n_hours,) the grower's working hours

    @property
    def zone(self) -> ZoneInfo:
        """The farm's time zone."""
        return ZoneInfo(self.farm.place.time_zone)

    @property
    def last_hour_today(self) -> int:
        """First hour index of tomorrow."""
        today = local_day(self.now, self.farm.place.time_zone)
        hour = self.sky.now_hour
        while (
            hour < self.sky.n_hours
            and local_day(self.sky.at(hour), self.farm.place.time_zone) <= today
        ):
            hour += 1
        return hour


def day_of(farm: Farm, sky: Sky, stored: int, now: datetime) -> Day:
    """Prepare the clock of the answer.

    Parameters
    ----------
    farm : Farm
        The farm.
    sky : Sky
        Weather of the members.
    stored : int
        First stored hour.
    now : datetime
        The moment of the answer.

    Returns
    -------
    Day
        The clock.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, time, timedelta
    >>> import numpy as np
    >>> from scheduler.models.soil_column import ColumnForcing
    >>> from scheduler.records import Place, WorkPlan
    >>> place = Place(42.0, -75.0, 100.0, "America/New_York")
    >>> work = WorkPlan(time(7), time(19), (6.0,) * 7)
    >>> farm = Farm("made", place, "metric", 5, {}, (), (), work)
    >>> start = datetime(2013, 5, 7, tzinfo=UTC)
    >>> air = ColumnForcing(*np.zeros((7, 1, 72)))
    >>> sky = Sky(start, 26, air, np.ones(72, bool), has_forecast=True)
    >>> day = day_of(farm, sky, 0, start + timedelta(hours=26))
    >>> local_moment(day.now, day).isoformat(), date_words(day.now, day)
    ('2013-05-07T22:00:00-04:00', '7 May')
    >>> day.last_hour_today, int(day.is_open.sum())
    (28, 36)
    """
    is_open = is_working_hour(farm.work, sky.start_at, sky.n_hours, farm.place.time_zone)
    return Day(farm, sky, stored, now, is_open)


def local_moment(moment: datetime, day: Day) -> datetime:
    """A moment on the farm's clock.

    Parameters
    ----------
    moment : datetime
        Aware moment.
    day : Day
        The clock.

    Returns
    -------
    datetime
        In the farm's zone.

    Notes
    -----
    Definition of this project. No range stated. Worked in `day_of`.
    """
    return moment.astimezone(day.zone)


def date_words(moment: datetime, day: Day) -> str:
    """A date as "8 May".

    Parameters
    ----------
    moment : datetime
        Aware moment.
    day : Day
        The clock.

    Returns
    -------
    str
        Day and month at the farm.

    Notes
    -----
    Definition of this project. No range stated. Worked in `day_of`.
    """
    local = local_moment(moment, day)
    return f"{local.day} {local:%b}"


def tenths(share: float) -> str:
    """A share as "7 in 10".

    Parameters
    ----------
    share : float
        Share [-].

    Returns
    -------
    str
        Rounded to tenths.

    Notes
    -----
    Definition of this project. Range: 0 to 1.

    Examples
    --------
    >>> tenths(0.68), tenths(0.99), tenths(0.01)
    ('7 in 10', 'over 9 in 10', 'under 1 in 10')
    """
    whole = round(10 * share)
    if whole >= 10:
        return "over 9 in 10"
    return f"{whole:d} in 10" if whole > 0 else "under 1 in 10"
