"""The season as the journal has it: its days, and what lay in each bed or part, and when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from scheduler.planning.hours import local_day
from scheduler.planning.plantings import plantings_at
from scheduler.records import Bed, Event, Farm, Planting

_FIRST_MONTH, _LAST_MONTH = 3, 10  # of a season in the north, without entries that tell otherwise
_FIRST_MONTH_SOUTH, _LAST_MONTH_SOUTH = 9, 4
_TELLING = ("pass", "prep", "sow", "plant", "hand", "clear", "look", "feel", "up", "rooted")
_CHANGING = ("sow", "plant", "clear", "prep", "up", "rooted")
_LEAST_SPAN = timedelta(hours=1)


@dataclass(frozen=True)
class SeasonDays:
    """First and last day of a season, and whether it was over at a moment."""

    year: int
    from_on: date
    to_on: date
    is_over: bool


@dataclass(frozen=True)
class Span:
    """What lay in a bed or part from one moment to another; an empty bed is a planting too."""

    planting: Planting
    start_at: datetime
    end_at: datetime


@dataclass(frozen=True)
class Lane:
    """One bed, or one part of it, through the season."""

    bed: Bed
    part: str | None
    spans: tuple[Span, ...]

    @property
    def key(self) -> str:
        """The name of its plantings."""
        return self.bed.name if self.part is None else f"{self.bed.name}/{self.part}"

    @property
    def surface_planting(self) -> Planting:
        """The planting whose entries are those of the lane."""
        return self.spans[-1].planting


def season_days(
    events: Sequence[Event], farm: Farm, now: datetime, year: int | None = None
) -> SeasonDays:
    """The days of a season: from its first entry of work, to the end of October or its last entry.

    Parameters
    ----------
    events : sequence of Event
        Entries that stand, in order.
    farm : Farm
        Its place.
    now : datetime
        The moment of the review; no day after it is read.
    year : int, optional
        The year in which the season begins; that of the last entry of work by default, else that
        of `now`.

    Returns
    -------
    SeasonDays
        A season that lies ahead of `now` has a last day before its first.

    Notes
    -----
    North of the equator a season is a calendar year, without entries March to October; south of it
    a year from July on, September to April. Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, time
    >>> from scheduler.records import Place, WorkPlan
    >>> work = WorkPlan(time(7), time(19), (6.0,) * 7)
    >>> farm = Farm("made", Place(42., 0., 9., "UTC"), "metric", 5, {}, (), (), work)
    >>> at = datetime(2013, 3, 22, 9, tzinfo=UTC)
    >>> now = datetime(2014, 1, 1, tzinfo=UTC)
    >>> days = season_days([Event("1", "prep", at, at, "A1")], farm, now)
    >>> days.year, days.from_on.isoformat(), days.to_on.isoformat(), days.is_over
    (2013, '2013-03-22', '2013-10-31', True)
    """
    zone = farm.place.time_zone
    is_south = farm.place.latitude_deg < 0.0

    def year_of(on: date) -> int:
        return on.year - 1 if is_south and on.month < 7 else on.year

    days = [local_day(e.happened_at, zone) for e in events if e.kind in _TELLING]
    today = local_day(now, zone)
    if year is None:
        year = year_of(max(days)) if days else year_of(today)
    first_month = _FIRST_MONTH_SOUTH if is_south else _FIRST_MONTH
    last_month = _LAST_MONTH_SOUTH if is_south else _LAST_MONTH
    after = date(year + 1 if is_south else year, last_month + 1, 1)
    first, last = date(year, first_month, 1), after - timedelta(days=1)
    own = [on for on in days if year_of(on) == year]
    if own:
        first, last = min(own), max(last, max(own))
    return SeasonDays(year, first, min(last, today), today > last)


def lanes_of(
    farm: Farm, events: Sequence[Event], start_at: datetime, end_at: datetime
) -> tuple[Lane, ...]:
    """Every bed and part of a bed through a season.

    Parameters
    ----------
    farm : Farm
        The farm.
    events : sequence of Event
        Entries that stand, in order; earlier ones tell what lay there when the season began.
    start_at, end_at : datetime
        The season.

    Returns
    -------
    tuple of Lane
        In the order of the farm's beds. A bed that was both whole and parted has a lane for the
        whole and one for each part, each with the spans in which it was so.

    Notes
    -----
    What lies in a bed changes as `plantings_at` says. A planting knows when it came up and was
    rooted, if that was logged by `end_at`. Spans under an hour are left out. Definition of this
    project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, time
    >>> from scheduler.records import Place, WorkPlan
    >>> work = WorkPlan(time(7), time(19), (6.0,) * 7)
    >>> bed = Bed("A1", 18.0, 0.75, "loam")
    >>> farm = Farm("made", Place(42., 0., 9., "UTC"), "metric", 5, {}, (bed,), (), work)
    >>> day = lambda n: datetime(2013, 5, n, tzinfo=UTC)
    >>> events = [
    ...     Event("1", "sow", day(5), day(5), "A1", None, {"crop": "radish"}),
    ...     Event("2", "clear", day(20), day(20), "A1"),
    ... ]
    >>> lane = lanes_of(farm, events, day(1), day(30))[0]
    >>> [(s.planting.crop, s.start_at.day, s.end_at.day) for s in lane.spans]
    [(None, 1, 5), ('radish', 5, 20), (None, 20, 30)]
    """
    return tuple(
        lane
        for bed in farm.beds
        for lane in _bed_lanes(
            replace(farm, beds=(bed,)),
            bed,
            [e for e in events if e.bed == bed.name and e.kind in _CHANGING],
            start_at,
            end_at,
        )
    )


def _bed_lanes(
    farm: Farm, bed: Bed, events: Sequence[Event], start_at: datetime, end_at: datetime
) -> list[Lane]:
    open_spans: dict[str | None, tuple[Planting, datetime]] = {}
    found: dict[str | None, list[Span]] = {}

    def close(part: str | None, at: datetime) -> None:
        planting, since = open_spans.pop(part)
        if at - since >= _LEAST_SPAN:
            found.setdefault(part, []).append(Span(planting, since, at))

    moments = sorted({e.happened_at for e in events if start_at < e.happened_at < end_at})
    for at in (start_at, *moments):
        now = {p.part: p for p in plantings_at(farm, [e for e in events if e.happened_at <= at])}
        for part in list(open_spans):
            if part not in now or not _is_same(open_spans[part][0], now[part]):
                close(part, at)
        for part, planting in now.items():
            since = open_spans[part][1] if part in open_spans else at
            open_spans[part] = (planting, since)
    for part in list(open_spans):
        close(part, end_at)
    return [
        Lane(bed, part, tuple(spans))
        for part, spans in sorted(
            found.items(), key=lambda item: (item[1][0].planting.from_m, item[0] or "")
        )
    ]


def _is_same(one: Planting, other: Planting) -> bool:
    """Whether two are one planting, seen earlier and later."""
    return (one.crop, one.established_at, one.from_m, one.to_m) == (
        other.crop,
        other.established_at,
        other.from_m,
        other.to_m,
    )
