"""Lines of a farm's own lists that were tried: what they said, and whether the soil was fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from scheduler.planning.hours import at_local, local_day
from scheduler.planning.plantings import was_done
from scheduler.planning.sure import NO_RECORD, Knots, OwnRecord, own_record, told_sure
from scheduler.planning.visits import TOO_HARD, TOO_WET
from scheduler.ports import Lists
from scheduler.records import Event, Farm
from scheduler.service.settings import sure_knots

MOST_DAYS = 60  # with a pass, whose lists are read: the newest
LOOKED_BACK = timedelta(days=730)

Tried = tuple[float, bool]


def own_sure(farm: Farm, events: Sequence[Event], lists: Lists, now: datetime) -> OwnRecord:
    """What a farm's tried lines leave of `sure`.

    Parameters
    ----------
    farm : Farm
        Its time zone.
    events : sequence of Event
        Entries that stand, up to `now`.
    lists : Lists
        Lists as issued.
    now : datetime
        Aware moment; what was issued or logged later does not exist.

    Returns
    -------
    OwnRecord
        Of the newest 60 days with a pass, of two years. No morning is computed again.
    """
    tried = tried_lines(farm, events, lists, now)
    return own_record(*zip(*tried, strict=True)) if tried else NO_RECORD


def tried_lines(
    farm: Farm, events: Sequence[Event], lists: Lists, now: datetime
) -> tuple[Tried, ...]:
    """Each line of an issued list that somebody went out for, once a day.

    Parameters
    ----------
    farm, events, lists, now
        As in `own_sure`.

    Returns
    -------
    tuple of (float, bool)
        `sure` as the members said it, put right as the program does today [-]; and whether the
        soil was found fit: by a pass that was made, unless it worked poorly, or by an entry that
        says it was too wet or too hard. The line is the one with the same tool on the list that
        stood when the first visit of the day was made.
    """
    zone_name = farm.place.time_zone
    knots = sure_knots()
    visits = [e for e in events if _tells(e) and now - LOOKED_BACK <= e.happened_at <= now]
    by_day: dict[date, list[Event]] = {}
    for event in sorted(visits, key=lambda e: e.happened_at):
        by_day.setdefault(local_day(event.happened_at, zone_name), []).append(event)
    found: dict[tuple[date, str, str, str], Tried] = {}
    for day in sorted(by_day)[-MOST_DAYS:]:
        start, end = (at_local(day + timedelta(days=n), time(), zone_name) for n in (0, 1))
        issued = lists.list_between(by_day[day][0].happened_at, start, end)
        if issued is None:
            continue
        for event in by_day[day]:
            line = _line_of(event, issued)
            if line is None:
                continue
            key = (day, str(line["bed"]), str(line["part"] or ""), str(line["action"]["tool"]))
            was_fit = was_done(event) or (key in found and found[key][1])
            found[key] = (_stated(line, knots), was_fit)
    return tuple(found.values())


def _stated(line: Mapping[str, Any], knots: Knots) -> float:
    """What a line would be told as by the program alone."""
    said = line.get("sure_of_members")
    stated = float(line["sure"] if said is None else said)
    is_weighed = (line.get("minutes") or {}).get("saved") is not None
    return told_sure(stated, is_weighed, knots)


def _tells(event: Event) -> bool:
    """Whether an entry says how the soil was met."""
    if event.kind != "pass":
        return False
    if was_done(event):
        return event.data.get("how") != "poorly"
    return event.data.get("found") in (TOO_WET, TOO_HARD)


def _line_of(event: Event, issued: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The line of a list that a pass answers, if it says how sure it was."""
    return next(
        (
            line
            for line in (*issued["beds"], *issued["not_reached"])
            if line["bed"] == event.bed
            and (event.part is None or line["part"] is None or line["part"] == event.part)
            and line["action"] is not None
            and line["action"]["tool"] == event.data.get("tool")
            and line["sure"] is not None
        ),
        None,
    )
