"""The grower's hours on the common clock of the members."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.records import BoolArray, FloatArray, WorkPlan


def local_day(moment: datetime, time_zone: str) -> date:
    """The civil date of a moment at the farm.

    Parameters
    ----------
    moment : datetime
        Aware moment.
    time_zone : str
        IANA name.

    Returns
    -------
    date
        Local date.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> local_day(datetime(2013, 5, 8, 2, tzinfo=UTC), "America/New_York").isoformat()
    '2013-05-07'
    """
    return moment.astimezone(ZoneInfo(time_zone)).date()


def at_local(day: date, clock: time, time_zone: str) -> datetime:
    """A wall-clock time of a day as an aware moment.

    Parameters
    ----------
    day : date
        Local date.
    clock : time
        Wall time; one that the clock change skips or doubles takes its first meaning.
    time_zone : str
        IANA name.

    Returns
    -------
    datetime
        Aware moment in the farm's zone.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> at_local(date(2013, 5, 8), time(5, 30), "America/New_York").isoformat()
    '2013-05-08T05:30:00-04:00'
    """
    return datetime.combine(day, clock, ZoneInfo(time_zone))


def is_working_hour(work: WorkPlan, start_at: datetime, n_hours: int, time_zone: str) -> BoolArray:
    """Whether each hour is one in which the grower could work with a tool.

    Parameters
    ----------
    work : WorkPlan
        Span of the day, hours by weekday, blocked times.
    start_at : datetime
        First hour (UTC).
    n_hours : int
        Number of hours.
    time_zone : str
        IANA name.

    Returns
    -------
    array of bool
        Shape (n_hours,): inside the span, not blocked, on a weekday with hours.

    Notes
    -----
    Definition of this project. No range stated. An hour counts by its first minute, and as blocked
    if a blocked time touches it.

    Examples
    --------
    >>> from datetime import UTC
    >>> work = WorkPlan(time(7), time(19), (6.0,) * 6 + (0.0,))
    >>> start = datetime(2013, 5, 8, 5, tzinfo=UTC)
    >>> is_working_hour(work, start, 4, "UTC").tolist()
    [False, False, True, True]
    """
    zone = ZoneInfo(time_zone)
    result = np.zeros(n_hours, bool)
    for i in range(n_hours):
        local = (start_at + timedelta(hours=i)).astimezone(zone)
        clock = local.time()
        weekday = local.weekday()
        if work.hours[weekday] <= 0.0 or not work.start <= clock < work.end:
            continue
        ends = (datetime.combine(local.date(), clock) + timedelta(minutes=59)).time()
        result[i] = not any(
            b.weekday == weekday and b.start <= ends and clock < b.end for b in work.blocked
        )
    return result


def hours_left(work: WorkPlan, now: datetime, time_zone: str) -> float:
    """Hours of cultivation the grower has today, at most what is left of the day's open time.

    Parameters
    ----------
    work : WorkPlan
        The grower's hours.
    now : datetime
        The moment.
    time_zone : str
        IANA name.

    Returns
    -------
    float
        Hours [h].

    Notes
    -----
    Definition of this project: open time is counted in steps of five minutes. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> work = WorkPlan(time(7), time(19), (6.0,) * 6 + (0.0,))
    >>> hours_left(work, datetime(2013, 5, 8, 9, tzinfo=UTC), "UTC")
    6.0
    >>> hours_left(work, datetime(2013, 5, 8, 17, tzinfo=UTC), "UTC")
    2.0
    """
    local = now.astimezone(ZoneInfo(time_zone))
    step = timedelta(minutes=5)
    n_open = 0
    moment = local
    end = at_local(local.date(), work.end, time_zone)
    while moment < end:
        clock = moment.time()
        is_blocked = any(
            b.weekday == local.weekday() and b.start <= clock < b.end for b in work.blocked
        )
        if clock >= work.start and not is_blocked:
            n_open += 1
        moment += step
    return min(work.hours[local.weekday()], n_open / 12.0)


def day_starts(start_at: datetime, n_hours: int, time_zone: str) -> list[tuple[date, int, int]]:
    """Local days on the clock: date, first hour and the hour after the last.

    Parameters
    ----------
    start_at : datetime
        First hour (UTC).
    n_hours : int
        Number of hours.
    time_zone : str
        IANA name.

    Returns
    -------
    list of (date, int, int)
        Days in order; the first and the last may be cut.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC
    >>> days = day_starts(datetime(2013, 5, 8, 22, tzinfo=UTC), 27, "UTC")
    >>> [(day.isoformat(), first, end) for day, first, end in days]
    [('2013-05-08', 0, 2), ('2013-05-09', 2, 26), ('2013-05-10', 26, 27)]
    """
    return list(_day_starts(start_at.astimezone(UTC), n_hours, time_zone))


@lru_cache(maxsize=256)
def _day_starts(
    start_at: datetime, n_hours: int, time_zone: str
) -> tuple[tuple[date, int, int], ...]:
    days: list[tuple[date, int, int]] = []
    for i in range(n_hours):
        day = local_day(start_at + timedelta(hours=i), time_zone)
        if not days or days[-1][0] != day:
            days.append((day, i, i + 1))
        else:
            days[-1] = (day, days[-1][1], i + 1)
    return tuple(days)


def daily_sums(values: FloatArray, days: list[tuple[date, int, int]]) -> FloatArray:
    """Sums over local days.

    Parameters
    ----------
    values : array
        Hourly values, shape (..., n_hours).
    days : list
        As `day_starts` gives.

    Returns
    -------
    array
        Shape (..., n_days).

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> daily_sums(np.arange(5.0), [(date(2013, 5, 8), 0, 2), (date(2013, 5, 9), 2, 5)]).tolist()
    [1.0, 9.0]
    """
    return np.stack([values[..., a:b].sum(axis=-1) for _, a, b in days], axis=-1)
