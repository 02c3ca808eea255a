"""Every bed, or part of one, read through the season and judged."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.ensemble import (
    run_ensemble,
)
from scheduler.planning.plantings import surface_table, was_done
from scheduler.planning.review.hours import day_loads, found_unfit, pass_minutes
from scheduler.planning.review.judging import (
    Judged,
    JudgedPass,
    LaneWork,
    lane_passes,
    lane_windows,
    span_at,
    strip_weeds,
)
from scheduler.planning.review.reading import CropReading, LaneReading, read_crop, read_lane
from scheduler.planning.review.reasons import Told as ListSaid
from scheduler.planning.review.scoring import Marks, lane_marks, list_marks
from scheduler.planning.review.seasons import Lane, Span, lanes_of
from scheduler.planning.review.telling import Told, pass_told, span_days, window_told
from scheduler.planning.review.totals import EMPTY, Work
from scheduler.planning.season.replay import one_thread
from scheduler.records import (
    Event,
    Kind,
    PassReview,
    PlantingStrip,
)
from scheduler.service.review.season import Season, is_in, local_days
from scheduler.service.settings import (
    weed_heat,
)

_BATCH = 8  # lanes whose columns are kept at once
_READ_BEFORE_H = 120  # rain of so long before a window must have been read too
_READ_SHARE = 0.5


@dataclass
class Read:
    """What the lanes gave."""

    windows: list[tuple[Told, Judged]] = field(default_factory=list)
    passes: list[PassReview] = field(default_factory=list)
    strips: list[PlantingStrip] = field(default_factory=list)
    work: list[Work] = field(default_factory=list)
    marks: Marks = field(default_factory=Marks)


def read_lanes(season: Season, read: Read, told: Callable[[float], None]) -> None:
    """Every bed and part, in batches whose columns are freed before the next."""
    farm, book = season.farm, season.book
    lanes = lanes_of(farm, season.events, season.start_at, season.end_at)
    minutes = _minutes_of_passes(season, lanes)
    loads = day_loads(farm, season.events, [on for on, _, _ in book.days], minutes)
    unfit = found_unfit(season.events, farm)
    done = 0
    for batch in _batches(lanes):
        surfaces = {
            lane.key: (
                lane.bed.soil,
                surface_table(
                    lane.surface_planting,
                    season.events,
                    book.kit.crops,
                    season.series.start_at,
                    season.series.n_hours,
                ),
            )
            for lane in batch
        }
        ensemble = run_ensemble(
            book.sky,
            season.members,
            surfaces,
            weed_heat(),
            stored_from_hour=0,
            batch_groups=len(batch),
        )
        by_lane: dict[str, dict[Span, CropReading]] = {}
        readings: list[LaneReading] = []
        with one_thread():  # many small computations
            for lane in batch:
                reading = read_lane(lane, ensemble, surfaces[lane.key][1], book)
                by_lane[lane.key] = {
                    span: read_crop(reading, span, surfaces[lane.key][1]) for span in lane.spans
                }
                readings.append(reading)
            for reading in readings:
                work = LaneWork(
                    loads,
                    unfit,
                    _list_said(season, reading.lane),
                    minutes,
                    lambda a, b: _is_rain_read(season, a, b),
                )
                _read_lane(season, read, reading, by_lane, work)
                done += 1
                told(done / len(lanes))


def _batches(lanes: Sequence[Lane]) -> list[list[Lane]]:
    """Lanes in batches; those of one bed stay together."""
    batches: list[list[Lane]] = [[]]
    for lane in lanes:
        last = batches[-1]
        if len(last) >= _BATCH and last[-1].bed.name != lane.bed.name:
            batches.append([])
        batches[-1].append(lane)
    return [batch for batch in batches if batch]


def _read_lane(
    season: Season,
    read: Read,
    reading: LaneReading,
    by_lane: Mapping[str, Mapping[Span, CropReading]],
    work: LaneWork,
) -> None:
    lane, book = reading.lane, season.book
    crops = by_lane[lane.key]
    in_bed = {
        key: found
        for key, found in by_lane.items()
        if key != lane.key and next(iter(found)).planting.bed.name == lane.bed.name
    }

    def mates(hour: float) -> tuple[CropReading, ...]:
        at = book.sky.at(hour)
        return tuple(
            crop
            for found in in_bed.values()
            for span, crop in found.items()
            if span.start_at <= at < span.end_at
        )

    windows = lane_windows(reading, crops, mates, work)
    passes = lane_passes(reading, crops, work)
    read.windows += [(window_told(judged, reading), judged) for judged in windows]
    for judged in passes:
        n_parts = 1 if judged.event.part is not None else 1 + len(mates(judged.hour))
        done = pass_told(judged, windows, reading, 1.0 / n_parts)
        read.passes.append(done)
        read.work.append(_work_of(done, judged, season))
    days = local_days(season)
    read.strips.append(
        PlantingStrip(
            lane.bed.name,
            lane.part,
            lane.bed.soil,
            span_days(
                [(s.start_at, s.end_at, s.planting.crop) for s in lane.spans],
                season.days.from_on,
                season.days.to_on,
                ZoneInfo(season.farm.place.time_zone),
            ),
            strip_weeds(reading, days),
            _entries(reading, season),
        )
    )
    marks, hand = lane_marks(reading, crops, passes)
    read.marks.add(marks)
    list_marks(read.marks, season.lists, reading)
    for event, planting, minutes in hand:
        on = _local_day(event, season)
        name = _planting_name(lane, planting.crop)
        read.work.append(Work(name, planting.crop, on, hand_min=minutes))


def _work_of(done: PassReview, judged: JudgedPass, season: Season) -> Work:
    """The minutes of one pass, and what it saved by particle."""
    key = done.bed if done.part is None else f"{done.bed}/{done.part}"
    return Work(
        f"{key} {done.crop or EMPTY}",
        done.crop,
        _local_day(judged.event, season),
        done.work_min,
        tool=done.tool,
        saved_min=None if judged.saving is None else judged.saving.hand_min,
    )


def _entries(reading: LaneReading, season: Season) -> tuple[tuple[int, str, str], ...]:
    """What was logged of a lane: day of the season, kind, tool or crop."""
    found = []
    for event in reading.events:
        hour = reading.book.hour(event.happened_at)
        if not is_in(event, season) or span_at(reading, hour) is None:
            continue
        day = (_local_day(event, season) - season.days.from_on).days
        what = str(event.data.get("tool") or event.data.get("crop") or "")
        if not was_done(event):
            what = f"{what} in vain".strip()
        found.append((day, event.kind, what))
    return tuple(found)


def _local_day(event: Event, season: Season) -> date:
    return event.happened_at.astimezone(ZoneInfo(season.farm.place.time_zone)).date()


def _minutes_of_passes(season: Season, lanes: Sequence[Lane]) -> dict[str, float]:
    """Minutes of each pass, logged or reckoned."""
    found: dict[str, float] = {}
    for event in season.events:
        if event.kind != "pass":
            continue
        span = next(
            (
                span
                for lane in lanes
                if lane.bed.name == event.bed and event.part in (None, lane.part)
                for span in lane.spans
                if span.start_at <= event.happened_at < span.end_at
            ),
            None,
        )
        if span is not None:
            found[event.event_id] = pass_minutes(event, span.planting, season.book.kit)
    return found


def _is_rain_read(season: Season, a: float, b: float) -> bool:
    """Whether the rain of a window and of the days before it was read by anybody."""
    kinds = season.series.kinds["rain_mm"][max(0, int(a) - _READ_BEFORE_H) : max(int(b), 1)]
    return bool(kinds.size == 0 or float(np.mean(kinds >= Kind.FORECAST)) >= _READ_SHARE)


def _list_said(season: Season, lane: Lane) -> dict[int, ListSaid]:
    """What the list of each day said of a bed or part."""
    found: dict[int, ListSaid] = {}
    for place, issued in season.lists.items():
        for line in (*issued["beds"], *issued["not_reached"]):
            if line["bed"] == lane.bed.name and line["part"] in (None, lane.part):
                said = ListSaid(str(line["verdict"]), str(line["because"] or ""))
                if place not in found or said.verdict == "go":
                    found[place] = said
    return found


def _planting_name(lane: Lane, crop: str | None) -> str:
    return f"{lane.key} {crop or EMPTY}"
