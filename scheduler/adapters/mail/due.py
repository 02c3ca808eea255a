"""What the morning mail asks for at a moment, by the hours of the farm, the ledger and a clock.

Nothing here remembers anything or looks at a clock, so a sleep, a restart or a change of the clocks
can neither double nor lose a mail: the ledger says what was done, and each minute asks anew.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

WEATHER_LEAD = timedelta(minutes=15)  # weather is asked for so long before the mail is made
LARGEST_JITTER = timedelta(minutes=10)  # less a part of that, so that farms do not ask at once
EVENING_AT, EVENING_END = time(19), time(22)  # local hours in which an evening note is made
CLOCK_SLACK = timedelta(hours=1)  # a clock further behind the ledger than that is not believed

WEATHER, MORNING, EVENING, POST = "weather", "morning", "evening", "post"


@dataclass(frozen=True)
class MailTimes:
    """When the mails of a farm are due, local times; `farm` is what its jitter is drawn from."""

    farm: str
    zone: ZoneInfo
    send_at: time
    cut_off: time
    has_evening_note: bool = False


@dataclass(frozen=True)
class DoneSoFar:
    """What the ledger says, as far as it decides what is due.

    Parameters
    ----------
    weather_on, morning_on, evening_on
        The last local day for which weather was asked for before the mail, and for which a mail of
        that kind was made or is being made right now.
    next_try_at
        When the first of the mails that wait in the outbox is to be tried again.
    last_written_at
        The newest moment in the ledger; a clock that lies before it is wrong.
    """

    weather_on: date | None = None
    morning_on: date | None = None
    evening_on: date | None = None
    next_try_at: datetime | None = None
    last_written_at: datetime | None = None


def jitter(farm: str, on: date) -> timedelta:
    """How much later than `WEATHER_LEAD` before the mail a farm asks for weather on a day.

    Examples
    --------
    >>> jitter("Alder Bend", date(2013, 5, 14)) == jitter("Alder Bend", date(2013, 5, 14))
    True
    >>> timedelta(0) <= jitter("Alder Bend", date(2013, 5, 15)) <= LARGEST_JITTER
    True
    """
    drawn = hashlib.sha256(f"{farm}\n{on.isoformat()}".encode()).digest()
    n_seconds = int(LARGEST_JITTER.total_seconds())
    return timedelta(seconds=int.from_bytes(drawn[:8], "big") % (n_seconds + 1))


def is_clock_behind(done: DoneSoFar, now: datetime) -> bool:
    """Whether the clock lies so far before the ledger that nothing may be decided by it."""
    return done.last_written_at is not None and now < done.last_written_at - CLOCK_SLACK


def due_tasks(times: MailTimes, done: DoneSoFar, now: datetime) -> tuple[str, ...]:
    """What is to be done now, in order: of "weather", "morning", "evening" and "post".

    A mail is due from its hour until the cut-off, by the wall clock of the farm, if the ledger
    knows none of that day. Weather alone is due in the minutes before; a morning mail asks for it
    by itself where that was missed. Mails in the outbox are tried when their time has come.

    Examples
    --------
    >>> times = MailTimes("Alder Bend", ZoneInfo("America/New_York"), time(5, 30), time(11))
    >>> due_tasks(times, DoneSoFar(), datetime(2013, 5, 14, 9, 30, tzinfo=UTC))
    ('morning',)
    >>> due_tasks(times, DoneSoFar(morning_on=date(2013, 5, 14)),
    ...           datetime(2013, 5, 14, 9, 31, tzinfo=UTC))
    ()
    """
    if is_clock_behind(done, now):
        return ()
    local = now.astimezone(times.zone)
    today, clock = local.date(), local.time()
    tasks = []
    if done.morning_on != today:
        if times.send_at <= clock < times.cut_off:
            tasks.append(MORNING)
        elif _weather_from(times, today) <= clock < times.send_at and done.weather_on != today:
            tasks.append(WEATHER)
    if times.has_evening_note and done.evening_on != today and EVENING_AT <= clock < EVENING_END:
        tasks.append(EVENING)
    if done.next_try_at is not None and done.next_try_at <= now:
        tasks.append(POST)
    return tuple(tasks)


def next_morning_at(times: MailTimes, done: DoneSoFar, now: datetime) -> datetime:
    """The next moment at which a morning mail is due; now, if one is due."""
    local = now.astimezone(times.zone)
    day = local.date()
    if done.morning_on == day or local.time() >= times.cut_off:
        day += timedelta(days=1)
    at = datetime.combine(day, times.send_at, times.zone).astimezone(UTC)
    return max(at, now.astimezone(UTC))


def _weather_from(times: MailTimes, on: date) -> time:
    """The wall-clock time from which weather is asked for; never before midnight."""
    at = datetime.combine(on, times.send_at) - WEATHER_LEAD + jitter(times.farm, on)
    return at.time() if at.date() == on else time(0)
