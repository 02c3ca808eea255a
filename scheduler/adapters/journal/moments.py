"""Moments: UTC text as the database keeps it, and the grower's wall clock."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from scheduler.errors import JournalError

_DAY = r"(\d{4}-\d{2}-\d{2})"
_CLOCK = r"(\d{1,2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?)"
_MOMENT = re.compile(rf"{_DAY}(?:[T ]{_CLOCK}\s?(Z|[+-]\d{{2}}:?\d{{2}})?)?", re.ASCII)


def utc_text(moment: datetime) -> str:
    """ISO 8601 text of `moment` in UTC; texts sort as the moments do.

    Raises
    ------
    JournalError
        If `moment` carries no time zone.

    Examples
    --------
    >>> utc_text(datetime(2013, 5, 8, 9, 0, tzinfo=ZoneInfo("Europe/Berlin")))
    '2013-05-08T07:00:00+00:00'
    """
    if moment.tzinfo is None:
        raise JournalError(
            f"the moment {moment.isoformat()} has no time zone; give it one, for example +00:00"
        )
    return moment.astimezone(UTC).isoformat()


def utc_moment(text: str) -> datetime:
    """The moment that `utc_text` wrote."""
    return datetime.fromisoformat(text)


def zone_of(time_zone: str) -> ZoneInfo:
    """The time zone called `time_zone`, such as `America/New_York`."""
    try:
        return ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise JournalError(
            f"there is no time zone {time_zone!r}; write one like Europe/Berlin in farm.toml"
        ) from error


def local_moment(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """UTC of a wall-clock time; of an hour that comes twice in autumn, the first.

    Raises
    ------
    JournalError
        If the clocks skip that time on that day.
    """
    moment = datetime.combine(day, clock, tzinfo=zone).astimezone(UTC)
    if moment.astimezone(zone).replace(tzinfo=None) != datetime.combine(day, clock):
        raise JournalError(
            f"{day} {clock:%H:%M} does not exist in {zone.key}: the clocks go forward then; "
            "write an hour before or after"
        )
    return moment


def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """UTC of the first instant of a civil day, which some zones start at 01:00."""
    return datetime.combine(day, time(0), tzinfo=zone).astimezone(UTC)


def noon_or_now(day: date, zone: ZoneInfo, now: datetime) -> datetime:
    """The moment meant by a day without an hour: its noon, or `now` while noon is ahead."""
    noon = local_moment(day, time(12), zone)
    is_today = now.astimezone(zone).date() == day
    return min(noon, now.astimezone(UTC)) if is_today else noon


def parse_day(text: str) -> date:
    """The civil day written as `2013-05-08`."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise JournalError(
            f"{text!r} is no day of the calendar; write it like 2013-05-08"
        ) from error


def parse_clock(text: str) -> time:
    """The wall-clock time written as `7:00`, `07:00` or `07:00:30`."""
    try:
        return time.fromisoformat(text if text[2] == ":" else "0" + text)
    except ValueError as error:
        raise JournalError(
            f"{text!r} is no time of day; write it like 07:00, from 00:00 to 23:59"
        ) from error


def day_or_moment(text: str, zone: ZoneInfo) -> date | datetime:
    """What a cell says: a civil day, or a moment in UTC (wall time of `zone` without an offset).

    Examples
    --------
    >>> day_or_moment("2013-05-08 07:00", ZoneInfo("America/New_York")).isoformat()
    '2013-05-08T11:00:00+00:00'
    >>> day_or_moment("2013-05-08", ZoneInfo("America/New_York")).isoformat()
    '2013-05-08'
    """
    found = _MOMENT.fullmatch(text.strip())
    if found is None:
        raise JournalError(
            f"{text!r} is no moment; write it like 2013-05-08, 2013-05-08 07:00 or "
            "2013-05-08T07:00:00+00:00"
        )
    day, clock, offset = found.groups()
    if clock is None:
        return parse_day(day)
    if offset is None:
        return local_moment(parse_day(day), parse_clock(clock), zone)
    bare = datetime.combine(parse_day(day), parse_clock(clock))
    try:
        return datetime.fromisoformat(bare.isoformat() + offset).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise JournalError(
            f"{text!r} has an offset outside -23:59 to +23:59; write it like +00:00"
        ) from error


def hours(count: float) -> timedelta:
    """A span of `count` hours."""
    return timedelta(hours=count)
