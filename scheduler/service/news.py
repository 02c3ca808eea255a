"""What came between the last list and this morning: silence, lines left open, corrections."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from scheduler.planning.hours import at_local, local_day
from scheduler.ports import Journal, Lists, WeatherStore
from scheduler.records import Event, Farm, ListLine, Morning, MorningNews
from scheduler.service.hindsight import corrections, is_answered

LOOKED_BACK_D = 14  # days in which the list issued last is sought
MOST_SILENT_D = 60  # days of silence that are counted


def morning_news(
    farm: Farm,
    journal: Journal,
    lists: Lists,
    found: Morning,
    weather: WeatherStore,
    now: datetime,
) -> MorningNews:
    """What came between the list issued last before today and this morning.

    Parameters
    ----------
    farm : Farm
        The farm.
    journal, weather : Journal, WeatherStore
        Entries and weather, filtered by when they became known.
    lists : Lists
        Lists as issued.
    found : Morning
        This morning.
    now : datetime
        Aware moment.

    Returns
    -------
    MorningNews
        Nothing where no list was issued in the two weeks before today. A day is silent if a list
        was issued on it and no entry of any kind was recorded since the first list of that day;
        such days are counted back to the last entry. A line is open until an entry of its bed tells
        of a pass, of hand weeding, of a new start, or of soil that was found unfit.
    """
    zone_name = farm.place.time_zone
    today = local_day(now, zone_name)
    issued = list_before(lists, farm, today, now)
    if issued is None:
        return MorningNews()
    issued_at = datetime.fromisoformat(str(issued["as_of"]))
    events = [e for e in journal.events(now) if e.happened_at <= now]
    last_entry = max((e.recorded_at for e in events), default=None)
    day = local_day(issued_at, zone_name)
    is_silent = _is_unanswered(lists, farm, issued, last_entry)
    return MorningNews(
        silent_on=day if is_silent else None,
        n_silent_days=_silent_days(lists, farm, day, last_entry, now) if is_silent else 0,
        unlogged=_unlogged(issued, issued_at, events),
        corrections=corrections(issued, found, journal, weather, now),
        list_on=day,
    )


def list_of_day(lists: Lists, farm: Farm, day: date, now: datetime) -> Mapping[str, Any] | None:
    """The list of a local day whose numbers hold: the one of that day that was issued last.

    Parameters
    ----------
    lists : Lists
        Lists as issued.
    farm : Farm
        Its time zone.
    day : date
        Local day.
    now : datetime
        Aware moment; what was issued later does not exist.

    Returns
    -------
    mapping or None
        The answer as stored.
    """
    start, end = (at_local(day + timedelta(days=n), time(), farm.place.time_zone) for n in (0, 1))
    return lists.list_between(now, start, end)


def list_before(lists: Lists, farm: Farm, today: date, now: datetime) -> Mapping[str, Any] | None:
    """The list of the last day before today that has one, within two weeks.

    Parameters
    ----------
    lists, farm, now
        As in `list_of_day`.
    today : date
        Local day.

    Returns
    -------
    mapping or None
        The answer as stored.
    """
    for back in range(1, LOOKED_BACK_D + 1):
        issued = list_of_day(lists, farm, today - timedelta(days=back), now)
        if issued is not None:
            return issued
    return None


def _silent_days(
    lists: Lists, farm: Farm, last: date, last_entry: datetime | None, now: datetime
) -> int:
    """Days with a list, back from `last`, since whose list nothing was recorded."""
    n_days = 0
    for back in range(MOST_SILENT_D):
        day = last - timedelta(days=back)
        if last_entry is not None and day < local_day(last_entry, farm.place.time_zone):
            break
        issued = list_of_day(lists, farm, day, now)
        if issued is None:
            continue
        n_days += _is_unanswered(lists, farm, issued, last_entry)
    return n_days


def _is_unanswered(
    lists: Lists, farm: Farm, issued: Mapping[str, Any], last_entry: datetime | None
) -> bool:
    """Whether nothing was recorded since the first list of a day, of which `issued` is the last."""
    if last_entry is None:
        return True
    as_of = datetime.fromisoformat(str(issued["as_of"]))
    day = local_day(as_of, farm.place.time_zone)
    return last_entry < as_of and list_of_day(lists, farm, day, last_entry) is None


def _unlogged(
    issued: Mapping[str, Any], issued_at: datetime, events: Sequence[Event]
) -> tuple[ListLine, ...]:
    """Lines to be done that no entry answers, by the numbers they were read by."""
    lines = sorted(
        (line for line in issued["beds"] if line["verdict"] == "go" and line["action"]),
        key=lambda line: (line["rank"] is None, line["rank"] or 0),
    )
    return tuple(
        ListLine(place, line["bed"], line["part"], line["action"]["tool"])
        for place, line in enumerate(lines, start=1)
        if not is_answered(line, issued_at, events)
    )
