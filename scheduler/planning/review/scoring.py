"""What a season shows of the program's own forecasts: gathered bed by bed, then scored."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from scheduler.models.weeds.cohorts import STAGES
from scheduler.planning.crop_stage import hour_of_share
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.plantings import was_done
from scheduler.planning.review.judging import JudgedPass, span_at
from scheduler.planning.review.reading import CropReading, LaneReading, lane_weeds
from scheduler.planning.review.scores import Seen, chance_score, range_score
from scheduler.planning.review.seasons import Span
from scheduler.planning.visits import FIT, TOO_HARD, TOO_WET, visits_of
from scheduler.planning.weeds import BETWEEN, IN_ROW
from scheduler.records import Event, FloatArray, Planting, Score

_JUST_H = 0.01
_HOWS = ("well", "fair", "poorly")
_LATER = ("later", "earlier")


@dataclass
class Marks:
    """Forecasts beside what was seen."""

    fit_chance: list[float] = field(default_factory=list)  # of each visit, by hindcast
    was_fit: list[bool] = field(default_factory=list)
    up: list[Seen] = field(default_factory=list)  # days from sowing
    hand: list[Seen] = field(default_factory=list)  # minutes of a round
    weeds: list[Seen] = field(default_factory=list)  # per m2 of the stages that a look counted
    killed: dict[str, list[float]] = field(default_factory=dict)  # share told, by how it worked
    sure: list[float] = field(default_factory=list)
    came_true: list[bool] = field(default_factory=list)
    listed_fit: list[tuple[bool, bool]] = field(default_factory=list)  # said fit, found fit

    def add(self, other: Marks) -> None:
        """Take over the marks of another bed."""
        self.fit_chance += other.fit_chance
        self.was_fit += other.was_fit
        self.up += other.up
        self.hand += other.hand
        self.weeds += other.weeds
        for how, shares in other.killed.items():
            self.killed.setdefault(how, []).extend(shares)


def lane_marks(
    reading: LaneReading, crops: Mapping[Span, CropReading], passes: Sequence[JudgedPass]
) -> tuple[Marks, list[tuple[Event, Planting, float]]]:
    """What one bed or part shows.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    crops : mapping
        Crop of each span.
    passes : sequence of JudgedPass
        Its passes.

    Returns
    -------
    (Marks, list)
        Forecasts beside what was seen; and each round by hand with its planting and its minutes,
        logged or else as reckoned [min].

    Notes
    -----
    All are hindcasts: with the weather that came, and nothing learned from what they are held
    against. Definition of this project. No range stated. Worked:
    tests/scenes/test_review_scenes.py.
    """
    marks = Marks()
    _visits(marks, reading)
    _emergence(marks, reading, crops)
    for judged in passes:
        how = str(judged.event.data.get("how", ""))
        if how in _HOWS and judged.stood_m2 > 0.0:
            share = float(np.median(judged.killed_m2)) / judged.stood_m2
            marks.killed.setdefault(how, []).append(share)
    return marks, _counted(marks, reading, crops)


def _visits(marks: Marks, reading: LaneReading) -> None:
    """Visits that found the soil fit or not, and the chance of it by the columns."""
    book = reading.book
    tools = {tool.name: tool for tool in book.farm.tools}
    own = [
        e for e in reading.events if e.kind in ("pass", "feel")
        and span_at(reading, book.hour(e.happened_at)) is not None
    ]  # fmt: skip
    found = visits_of(
        (reading.planting,), own, tools, book.kit.rules.traits, reading.ensemble,
        book.farm.place.time_zone,
    )  # fmt: skip
    key_of = {book.kit.rules.traits[tool.key]: tool.key for tool in book.farm.tools}
    for visit in found:
        if visit.found not in (FIT, TOO_WET, TOO_HARD) or visit.hour < book.from_hour:
            continue
        key = key_of.get(visit.tool)
        met = reading.squeeze if key is None else reading.mets[key]
        if met is None:
            continue
        marks.fit_chance.append(float(met.is_fit[:, visit.hour].mean()))
        marks.was_fit.append(visit.found == FIT)


def _emergence(marks: Marks, reading: LaneReading, crops: Mapping[Span, CropReading]) -> None:
    """Crops that were seen up, and when they were to be."""
    book = reading.book
    for span, crop in crops.items():
        planting = span.planting
        if planting.up_at is None or planting.established_at is None or crop.hours is None:
            continue
        first, last = crop.hours.first_up + crop.first, crop.hours.last_up + crop.first
        marks.up.append(
            days_to_up(
                np.concatenate((first, last)),
                book.hour(planting.established_at),
                book.hour(planting.up_at),
                book.day_at,
            )
        )


def days_to_up(
    up_hours: FloatArray, sown_hour: float, seen_hour: float, day_at: Callable[[float], int]
) -> Seen:
    """When a crop was to come up and when it was seen up, in days of the calendar from sowing.

    Parameters
    ----------
    up_hours : array
        Hour at which it comes up by member and table, NaN beyond sight, (n,).
    sown_hour, seen_hour : float
        Hours of the entries.
    day_at : callable
        Place of the day of an hour.

    Returns
    -------
    Seen
        10, 50 and 90 % of the members, endless where they lie beyond sight.

    Notes
    -----
    A sighting tells the day, not the hour: whoever walks the beds of an evening writes down what
    came up since the evening before. Members beyond sight are later than all others. Definition of
    this project. No range stated.

    Examples
    --------
    Sown on day 0 in the evening, seen on day 5 in the afternoon; it was to come up between the
    evening of day 4 and the noon of day 5, for one member not within sight.

    >>> day_at = lambda hour: int(hour // 24)
    >>> days_to_up(np.array([115.0, 120.0, 132.0]), 19.0, 136.5, day_at)
    Seen(low=4.0, mid=5.0, high=5.0, seen=5.0)
    >>> days_to_up(np.array([115.0, 120.0, np.nan]), 19.0, 136.5, day_at).high
    inf
    """
    sown = day_at(sown_hour)
    even = np.ones(up_hours.size)
    hours = [hour_of_share(up_hours, even, share) for share in (0.1, 0.5, 0.9)]
    low, mid, high = (np.inf if h is None else float(day_at(h) - sown) for h in hours)
    return Seen(low, mid, high, float(day_at(seen_hour) - sown))


def _counted(
    marks: Marks, reading: LaneReading, crops: Mapping[Span, CropReading]
) -> list[tuple[Event, Planting, float]]:
    """Rounds by hand and looks, with the weeds that were to stand there."""
    book, hand = reading.book, reading.book.hand
    rounds: list[tuple[Event, Planting, float]] = []
    for span in crops:
        a, b = book.hour(span.start_at), min(book.hour(span.end_at), float(book.end_hour))
        own = [
            e for e in reading.events
            if e.kind in ("hand", "look") and a < book.hour(e.happened_at) - _JUST_H < b
        ]  # fmt: skip
        if not own:
            continue
        at = np.array([book.hour(e.happened_at) - _JUST_H for e in own])
        times = np.unique(at)
        weeds = lane_weeds(reading, span.planting, reading.events, times)
        planting = span.planting
        metres = planting.to_m - planting.from_m
        area = metres * planting.bed.width_m
        share = np.array([weeds.row_share, 1.0 - weeds.row_share])
        for event, hour in zip(own, at, strict=True):
            count = weeds.count_m2[:, int(np.searchsorted(times, hour))]
            if event.kind == "look":
                _look(marks, event, count, share)
                continue
            minutes = (
                area * share[IN_ROW] * (count[:, IN_ROW, 1:] @ hand.stage_min)
                + area * share[BETWEEN] * (count[:, BETWEEN, 1:] @ hand.between_min)
                + hand.row_metre_min * (planting.n_rows or 1) * metres
            )
            low, mid, high = weighted_quantiles(minutes, np.ones(minutes.size)).tolist()
            logged = event.data.get("work_min")
            if logged is not None:
                marks.hand.append(Seen(low, mid, high, float(logged)))
            rounds.append((event, planting, mid if logged is None else float(logged)))
    return rounds


def _look(marks: Marks, event: Event, count_m2: FloatArray, share: FloatArray) -> None:
    """One look: the stages that it counted, or that nothing stood."""
    is_none = event.data.get("nothing") is True
    stages = [i for i, s in enumerate(STAGES) if is_none or s in event.data]
    if not stages:
        return
    told = np.einsum("pzs,z->ps", count_m2, share)[:, stages].sum(axis=1)
    low, mid, high = weighted_quantiles(told, np.ones(told.size)).tolist()
    seen = 0.0 if is_none else sum(float(event.data[STAGES[i]]) for i in stages)
    marks.weeds.append(Seen(low, mid, high, seen))


def list_marks(marks: Marks, lists: Mapping[int, Mapping[str, Any]], reading: LaneReading) -> None:
    """Add what issued lists said of one bed or part, beside what came.

    Parameters
    ----------
    marks : Marks
        Added to, in place.
    lists : mapping
        Lists as stored, by place of the day.
    reading : LaneReading
        The lane.

    Notes
    -----
    A `go` line counts once, until the bed is no longer `go`. It came true if the soil was fit in
    half of its hours or more by the weather that came, or by whoever went there that day; whether
    going truly beat leaving it is not known. A visit after a list of its day is held against the
    hour from which that list called the soil fit. Definition of this project. No range stated.
    Worked: tests/scenes/test_review_scenes.py.
    """
    lane = reading.lane
    was_go = False
    for place in sorted(lists):
        lines = [
            line
            for line in lists[place]["beds"]
            if line["bed"] == lane.bed.name and line["part"] in (None, lane.part)
        ]
        go = next((line for line in lines if line["verdict"] == "go" and line["action"]), None)
        visits = _found_on(place, reading)
        if go is not None and not was_go and go["sure"] is not None:
            came = _came_true(go, visits, reading)
            if came is not None:
                marks.sure.append(float(go["sure"]))
                marks.came_true.append(came)
        was_go = go is not None
        for line in lines[:1]:
            said = line["soil"]["workable_from"]
            issued = datetime.fromisoformat(str(lists[place]["as_of"]))
            for at, is_fit in visits:
                if at >= issued:
                    is_said = said is not None and datetime.fromisoformat(said) <= at
                    marks.listed_fit.append((is_said, is_fit))


def _found_on(place: int, reading: LaneReading) -> list[tuple[datetime, bool]]:
    """Visits of a day, and whether the soil was found fit."""
    book = reading.book
    _, first, last = book.days[place]
    found = []
    for event in reading.events:
        if event.kind != "pass" or not first <= book.hour(event.happened_at) < last:
            continue
        if was_done(event):
            found.append((event.happened_at, True))
        elif "found" in event.data:
            found.append((event.happened_at, False))
    return found


def _came_true(
    line: Mapping[str, Any], visits: Sequence[tuple[datetime, bool]], reading: LaneReading
) -> bool | None:
    """Whether the soil was fit in the hours of a line; None where nothing tells."""
    book, action = reading.book, line["action"]
    start, end = (datetime.fromisoformat(action[key]) for key in ("start", "end"))
    inside = [fit for at, fit in visits if start <= at < end]
    if inside:
        return any(inside)
    tool = book.kit.rules.tools.get(str(action["tool"]))
    a, b = int(book.hour(start)), int(np.ceil(book.hour(end)))
    if tool is None or a < 0 or b > book.sky.n_hours or b <= a:
        return None
    return bool((reading.chance_frac[tool.key][a:b] >= 0.5).mean() >= 0.5)


def scores_of(marks: Marks, *, has_lists: bool) -> tuple[Score, ...]:
    """Scores of a season.

    Parameters
    ----------
    marks : Marks
        Of all beds.
    has_lists : bool
        Whether lists were issued.

    Returns
    -------
    tuple of Score
        Working hours, lines of lists, emergence, kill, weeds counted, minutes by hand.

    Notes
    -----
    Definition of this project. No range stated.
    Worked: tests/scenes/test_review_scenes.py.
    """
    fit = chance_score(
        "working hours (hindcast)",
        np.array(marks.fit_chance),
        np.array(marks.was_fit, np.float64),
        "visits",
    )
    sure = chance_score(
        "lines of issued lists",
        np.array(marks.sure),
        np.array(marks.came_true, np.float64),
        "lines",
    )
    return (
        fit,
        _listed_score(marks, has_lists),
        sure if has_lists else Score(sure.what, 0, "no list was issued"),
        range_score("emergence (hindcast)", marks.up, "crops seen up", "days", _LATER),
        _kill_score(marks),
        range_score("weeds counted (hindcast)", marks.weeds, "looks", "weeds/m2"),
        range_score("minutes of a round by hand", marks.hand, "rounds timed", "min"),
    )


def _listed_score(marks: Marks, has_lists: bool) -> Score:
    what = "working hours, as lists said them"
    if not has_lists:
        return Score(what, 0, "no list was issued: the hindcast stands in")
    fit = [found for said, found in marks.listed_fit if said]
    not_yet = [found for said, found in marks.listed_fit if not said]
    n = len(marks.listed_fit)
    if n == 0:
        return Score(what, 0, "no visit to hold the lists against")
    return Score(
        what,
        n,
        f"{n} visits; in hours called fit (8 in 10 or more) {sum(fit)} of {len(fit)} were; before "
        f"them {sum(not_yet)} of {len(not_yet)} were",
    )


def _kill_score(marks: Marks) -> Score:
    what = "kill (hindcast)"
    n = sum(len(shares) for shares in marks.killed.values())
    if n == 0:
        return Score(what, 0, "no pass says how it worked: nothing to hold it against")
    parts = []
    for how in _HOWS:
        shares = marks.killed.get(how, [])
        if shares:
            pct = 100.0 * float(np.mean(shares))
            parts.append(f"{len(shares)} worked {how}, told to take {pct:.0f} %")
    return Score(what, n, f"{n} passes that say how they worked: " + "; ".join(parts))
