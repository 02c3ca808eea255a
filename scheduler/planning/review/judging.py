"""One bed or part judged: its windows with reason and cost, its passes, its weeds by day."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from scheduler.models.weeds.cohorts import STAGES, Openings, Passes
from scheduler.planning.crop_stage import is_buried
from scheduler.planning.gates import CLOSED_COVER
from scheduler.planning.passes import PassWeather
from scheduler.planning.plantings import disturbances, is_prepared, was_done
from scheduler.planning.review.chances import Ground, chances_in
from scheduler.planning.review.costs import (
    FOLLOWED_D,
    SMALL_MIN,
    Account,
    Rates,
    Saving,
    account,
    saving,
)
from scheduler.planning.review.hours import DayLoad
from scheduler.planning.review.reading import (
    CropReading,
    LaneReading,
    cut_readings,
    lane_history,
    lane_weeds,
)
from scheduler.planning.review.reasons import Chance, Reason, Told, best_chance, reason_of
from scheduler.planning.review.seasons import Span
from scheduler.planning.review.windows import (
    Course,
    Opened,
    Window,
    is_over_at_once,
    openings,
    window_of,
)
from scheduler.planning.weeds import BETWEEN, IN_ROW, WeedHistory, in_row_share, weed_outlook
from scheduler.planning.window import spring_after
from scheduler.records import Event, FloatArray, Planting

_COURSE_D = 45.0  # that a flush is followed as if nothing were done
_COURSE_STEP_H = 24.0
_A_MEMBER = 2  # particles on each member that date a flush
_ACCOUNT_BEFORE_D = 30.0  # openings before it that an account follows
_GRID_D = 4.0  # between the times at which an account looks at the weeds
_STRIP_D = 4.0  # likewise for the picture of the season
_CHUNK_D = 40.0
_JUST_H = 0.01  # before and after a pass
_DRY_FOR_GOOD_MM = 100.0
_NEAR_H = 24.0
_SETTLED_M3M3 = 0.05
_WEEKS_UNKNOWN_D = 60.0  # after sowing or setting, of a crop without weed-free weeks
_SECONDS = 60.0
_KINDS: Mapping[str, str] = {
    "pass": "pass",
    "hand": "hand weeding",
    "prep": "preparation",
    "sow": "sowing",
    "plant": "planting",
    "clear": "clearing",
}


@dataclass(frozen=True)
class Judged:
    """One window, why it passed and what that cost; arrays (n_particles,) in minutes."""

    window: Window
    course: Course
    planting: Planting
    fit_hours: FloatArray  # (n_members,)
    chances: tuple[Chance, ...] = ()
    reason: Reason | None = None  # of a missed one
    best: Chance | None = None
    saving: Saving | None = None


@dataclass(frozen=True)
class JudgedPass:
    """One logged pass and what it did; arrays (n_particles,)."""

    event: Event
    planting: Planting
    hour: float
    work_min: float
    killed_m2: FloatArray
    stood_m2: float  # before it, mean
    saving: Saving | None  # None for a visit in vain, and for a tool the farm does not list


@dataclass(frozen=True)
class LaneWork:
    """What judging a lane needs beside its columns; `told` what the list of a day said of it."""

    loads: tuple[DayLoad, ...]
    unfit: Mapping[tuple[str, date, bool], str]
    told: Mapping[int, Told]
    minutes_of: Mapping[str, float]
    is_rain_read: Callable[[float, float], bool]


# ---------------------------------------------------------------------- windows


def lane_openings(reading: LaneReading) -> tuple[Opened, ...]:
    """Every flush of a lane through the season.

    Parameters
    ----------
    reading : LaneReading
        The lane.

    Returns
    -------
    tuple of Opened
        In order.

    Notes
    -----
    As `openings`, with the guild that leads on the day of the trigger. Worked:
    tests/scenes/test_review_scenes.py.
    """
    book = reading.book
    triggers = [*disturbances(reading.planting, reading.events), *reading.wettings]

    def progress(hour: float) -> FloatArray:
        return reading.progress_cd[book.leads[book.day_at(hour)].guild.name]

    def ended(hour: float) -> float:
        return book.leads[book.day_at(hour)].milestones.emerged90_cd

    hours = [Opened(book.hour(t.at), t.by) for t in triggers]
    return openings([t for t in hours if book.from_hour <= t.hour < book.end_hour], progress, ended)


def lane_windows(
    reading: LaneReading,
    crops: Mapping[Span, CropReading],
    mates: Callable[[float], tuple[CropReading, ...]],
    work: LaneWork,
) -> list[Judged]:
    """Every window of a lane, with its reason and its cost.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    crops : mapping
        Crop of each span of the lane.
    mates : callable
        Crops of the other parts of the bed at an hour.
    work : LaneWork
        Hours, lists and visits.

    Returns
    -------
    list of Judged
        In order of opening.

    Notes
    -----
    Rules: those of `windows`, `reasons` and `costs`. Worked: tests/scenes/test_review_scenes.py.
    """
    book = reading.book
    opened = lane_openings(reading)
    actions = lane_actions(reading)
    found: list[Judged] = []
    for span in reading.lane.spans:
        a, b = book.hour(span.start_at), min(book.hour(span.end_at), float(book.end_hour))
        own = [o for o in opened if a <= o.hour < b]
        if not own:
            continue
        history, _ = lane_history(reading, span.planting, reading.events, a, b)
        for one in own:
            after = (o for o in opened if o.hour > one.hour and o.by in ("wetting", "watering"))
            next_wetting = next(after, None)
            if is_over_at_once(one, actions):
                continue
            course = flush_course(reading, span.planting, history, one)
            if course is None:
                continue
            window = window_of(
                one,
                course,
                actions,
                None if next_wetting is None else next_wetting.hour,
                float(book.end_hour),
            )
            if window is None:
                continue
            ground = Ground(
                reading,
                crops[span],
                mates(window.ripe_hour),
                work.loads,
                work.unfit,
                rates_of(reading, crops[span], window.usable_to),
                crops,
            )
            found.append(_judged(window, course, span, ground, work))
    return found


def lane_actions(reading: LaneReading) -> list[tuple[float, str]]:
    """What was done in a lane that ends a flush, in order: hour and kind in words.

    Parameters
    ----------
    reading : LaneReading
        The lane.

    Returns
    -------
    list of (float, str)
        Visits in vain are left out.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/scenes/test_review_scenes.py.
    """
    return [
        (reading.book.hour(e.happened_at), _KINDS[e.kind])
        for e in reading.events
        if e.kind in _KINDS and was_done(e)
    ]


def flush_course(
    reading: LaneReading, planting: Planting, history: WeedHistory, opened: Opened
) -> Course | None:
    """One flush of a lane as if nothing were done to it.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    planting : Planting
        What lies there.
    history : WeedHistory
        Its openings.
    opened : Opened
        The flush.

    Returns
    -------
    Course or None
        45 days at most, day by day; None where nothing of a size was opened then.

    Notes
    -----
    As `scheduler.planning.weeds.flush_course`. Definition of this project. No range stated.
    Worked: tests/scenes/test_review_scenes.py.
    """
    book = reading.book
    apart = np.abs(history.openings.hour - opened.hour)
    if apart.size == 0 or apart.min() > _NEAR_H:
        return None
    which = int(np.argmin(apart))
    begin = max(float(history.openings.hour[which]), float(book.from_hour))
    end = min(begin + 24.0 * _COURSE_D, float(book.sky.n_hours))
    hours = np.arange(begin, end, _COURSE_STEP_H)
    if hours.size < 2:
        return None
    cut = cut_readings(reading, begin, end)
    alone = replace(
        history,
        openings=Openings(
            history.openings.hour[which : which + 1], history.openings.size[which : which + 1]
        ),
        passes=Passes(np.zeros(0), np.zeros((0, 1, 2, len(STAGES))), np.zeros(0)),
    )
    weeds = weed_outlook(
        planting, cut, alone, book.kit.weeds, book.gate_kpa, book.farm.seed, hours, book.n_particles
    )
    share = np.array([weeds.row_share, 1.0 - weeds.row_share])
    by_stage = np.einsum("ptzs,z->pts", weeds.count_m2, share)
    whole = weeds.to_come[:, 0] @ share + by_stage[:, 0].sum(axis=1)
    kill = np.array([*book.stage_kill_frac, book.stage_kill_frac[-1]])
    taken = (by_stage @ kill) / np.maximum(whole, 1e-9)[:, None]
    stands = np.maximum(by_stage.sum(axis=2).mean(axis=0), 1e-9)
    of_standing = np.where(stands > 1e-6, (by_stage @ kill).mean(axis=0) / stands, 1.0)
    return Course(
        hours,
        taken.mean(axis=0),
        of_standing,
        weeds.count_m2.mean(axis=0),
        by_stage.sum(axis=2).max(axis=1),
    )


def _judged(window: Window, course: Course, span: Span, ground: Ground, work: LaneWork) -> Judged:
    is_weighed = window.outcome == "missed" and not _is_covered(window, ground)
    found = chances_in(window, course, ground, is_weighed=is_weighed)
    plain = Judged(window, course, span.planting, found.fit_hours)
    if window.outcome != "missed":
        return plain
    if not is_weighed:
        return replace(plain, reason=Reason("crop", "crop_up", ()))
    read = work.is_rain_read(window.opened.hour, window.usable_to)
    reason = reason_of(found.chances, work.told, is_weather_known=read)
    best = best_chance(found.chances)
    judged = replace(plain, chances=found.chances, reason=reason, best=best)
    if best is None or _is_little(course, best, ground):
        return judged
    return replace(judged, saving=saving_of_chance(window, best, ground))


def _is_covered(window: Window, ground: Ground) -> bool:
    """Whether the crop covered the ground in the middle of a window: it held the weeds down."""
    stage = ground.crop.at(0.5 * (window.ripe_hour + window.usable_to), 1)
    return stage is not None and float(stage.cover_frac[0]) > CLOSED_COVER


def _is_little(course: Course, best: Chance, ground: Ground) -> bool:
    """Whether all that the best tool can take, at the price of grown weeds, is a small window's."""
    book = ground.reading.book
    most = course.count_m2.sum(axis=2).max(axis=0)
    kill = book.kit.kills.kill_frac[book.kit.rules.tools[best.tool].key].max(axis=1)
    dearest = np.maximum(ground.rates.end_s, np.pad(ground.rates.round_s, ((0, 0), (1, 0))))
    seconds = (most * kill * dearest.max(axis=1)) @ ground.rates.area_m2
    return float(seconds) / _SECONDS + book.farm.work.machine_price < SMALL_MIN


def saving_of_chance(window: Window, best: Chance, ground: Ground) -> Saving | None:
    """What the best pass of a missed window would have saved, given what was done later.

    Parameters
    ----------
    window : Window
        The window.
    best : Chance
        The pass that would have been.
    ground : Ground
        The lane.

    Returns
    -------
    Saving or None
        None where nothing of the planting is left to follow.

    Notes
    -----
    Where the soil was never fit the pass is thought to work as on a good day: the figure is what
    the soil cost. Definition of this project; range as `lane_weeds`.
    Worked: tests/scenes/test_review_scenes.py.
    """
    reading, book = ground.reading, ground.reading.book
    if not best.is_fit:
        reading = replace(reading, weather=_good_hour(reading.weather, best.hour))
    at = book.sky.at(best.hour)
    data = {"tool": best.tool, "depth_mm": best.depth_mm}
    name = f"thought of {best.tool} {best.hour:g}"
    thought = Event(name, "pass", at, at, reading.lane.bed.name, reading.lane.part, data)
    events = [e for e in reading.events if e.happened_at <= at]
    events += [thought, *(e for e in reading.events if e.happened_at > at)]
    until = window.last_good_hour + 24.0 * FOLLOWED_D
    first = best.hour + _JUST_H
    both = _accounts(
        reading, ground.crops, ground.crop.span, (reading.events, events), first, until
    )
    return None if both is None else saving(both[0][0], both[1][0])


def _good_hour(weather: PassWeather, hour: float) -> PassWeather:
    """The weather of passes, with one hour dry and drying for good."""
    at = int(hour) - weather.first_hour
    dose, wetness, wet = (
        weather.dose_mm.copy(),
        weather.wetness_m3m3.copy(),
        weather.n_wet_days.copy(),
    )
    dose[:, at], wetness[:, at], wet[:, at] = _DRY_FOR_GOOD_MM, -_SETTLED_M3M3, 0.0
    return replace(weather, dose_mm=dose, wetness_m3m3=wetness, n_wet_days=wet)


# ----------------------------------------------------------------------- passes


def lane_passes(
    reading: LaneReading, crops: Mapping[Span, CropReading], work: LaneWork
) -> list[JudgedPass]:
    """Every logged pass of a lane, and what it did.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    crops : mapping
        Crop of each span.
    work : LaneWork
        For the minutes.

    Returns
    -------
    list of JudgedPass
        In order.

    Notes
    -----
    What a pass saved is the difference of two accounts over three weeks: as it was, and with all
    that was done but this pass. Definition of this project; range as `lane_weeds`.
    Worked: tests/scenes/test_review_scenes.py.
    """
    book = reading.book
    found: list[JudgedPass] = []
    for event in reading.events:
        if event.kind != "pass":
            continue
        hour = book.hour(event.happened_at)
        span = span_at(reading, hour)
        if span is None or not book.from_hour <= hour < book.end_hour:
            continue
        minutes = work.minutes_of.get(event.event_id, 0.0)
        none = np.zeros(book.n_particles)
        if not was_done(event) or str(event.data.get("tool")) not in book.kit.rules.tools:
            found.append(JudgedPass(event, span.planting, hour, minutes, none, 0.0, None))
            continue
        without = [e for e in reading.events if e is not event]
        until = hour + 24.0 * FOLLOWED_D
        first = hour + _JUST_H
        both = _accounts(reading, crops, span, (without, reading.events), first, until)
        if both is None:
            found.append(JudgedPass(event, span.planting, hour, minutes, none, 0.0, None))
            continue
        (account_without, stood), (account_with, left) = both
        worth = saving(account_without, account_with)
        found.append(
            JudgedPass(
                event, span.planting, hour, minutes, stood - left, float(stood.mean()), worth
            )
        )
    return found


def span_at(reading: LaneReading, hour: float) -> Span | None:
    """The span of a lane that an hour lies in.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    hour : float
        Hour of the season's clock.

    Returns
    -------
    Span or None
        None while the bed was divided otherwise.

    Notes
    -----
    Definition of this project. No range stated.
    Worked: tests/scenes/test_review_scenes.py.
    """
    at = reading.book.sky.at(hour)
    return next((s for s in reading.lane.spans if s.start_at <= at < s.end_at), None)


# --------------------------------------------------------------------- accounts


def _followed(
    reading: LaneReading, crops: Mapping[Span, CropReading], span: Span, until: float
) -> tuple[CropReading, float]:
    """The planting in which an account ends, and when: an empty bed is followed into its crop."""
    book = reading.book
    end = min(until, book.hour(span.end_at) - _JUST_H, float(book.end_hour))
    after = next((s for s in reading.lane.spans if s.start_at == span.end_at), None)
    if span.planting.crop is None and after is not None and after.planting.crop is not None:
        later = min(until, book.hour(after.end_at) - _JUST_H, float(book.end_hour))
        if later > end + 1.0:
            return crops[after], later
    return crops[span], end


def _accounts(
    reading: LaneReading,
    crops: Mapping[Span, CropReading],
    span: Span,
    ways: tuple[Sequence[Event], Sequence[Event]],
    first: float,
    until: float,
) -> tuple[tuple[Account, FloatArray], ...] | None:
    """Accounts of two courses of events, each with the weeds that stand at the first time."""
    book = reading.book
    crop, end = _followed(reading, crops, span, until)
    planting = crop.span.planting
    if end - first < 1.0:
        return None
    rounds = [
        book.hour(e.happened_at) - _JUST_H
        for e in reading.events
        if e.kind == "hand" and first < book.hour(e.happened_at) - _JUST_H < end
    ]
    times = np.unique(np.array([first, *np.arange(first, end, 24.0 * _GRID_D), *rounds, end]))
    is_round = np.isin(times, rounds)
    rates = rates_of(reading, crop, end)
    pressed = pressed_days(times, weed_free_hours(reading, crop))
    share = rates.area_m2 / rates.area_m2.sum()
    found = []
    for events in ways:
        weeds = lane_weeds(reading, planting, events, times, _ACCOUNT_BEFORE_D)
        stands = weeds.count_m2[:, 0].sum(axis=2) @ share
        of = account(weeds.count_m2, weeds.to_come, is_round.tolist(), pressed, rates)
        found.append((of, stands))
    return tuple(found)


def pressed_days(times: FloatArray, window: tuple[float, float] | None) -> FloatArray:
    """Days within the weed-free weeks that each time of an account stands for.

    Parameters
    ----------
    times : array
        Rising hours, (n_times,).
    window : tuple of float or None
        First and last hour of the weeks; None: none.

    Returns
    -------
    array
        Days, (n_times,): half of each stretch to either of its ends.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> pressed_days(np.array([0.0, 48.0, 96.0]), (24.0, 1000.0)).tolist()
    [0.5, 1.5, 1.0]
    """
    days = np.zeros(times.size)
    if window is None:
        return days
    inside = np.clip(
        np.minimum(times[1:], window[1]) - np.maximum(times[:-1], window[0]), 0.0, None
    )
    days[:-1] += inside / 48.0
    days[1:] += inside / 48.0
    return days


def weed_free_hours(reading: LaneReading, crop: CropReading) -> tuple[float, float] | None:
    """First and last hour between which weeds cost the crop of a span its yield.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    crop : CropReading
        The crop of the span.

    Returns
    -------
    (float, float) or None
        None for an empty bed or a crop without such weeks.

    Notes
    -----
    As `weed_free_window_h`: from when it came up, as seen or for half of the members, of a plant
    from setting. Definition of this project around the windows of the tables.
    No range stated. Worked: tests/scenes/test_review_scenes.py.
    """
    book, planting = reading.book, crop.span.planting
    traits = book.kit.crops.get(planting.crop or "")
    since = planting.established_at
    if traits is None or since is None or crop.stage is None or traits.weed_free_to_d is None:
        return None
    begin = book.hour(since)
    if planting.is_sown or is_buried(planting, traits):
        is_up = np.median(crop.stage.is_up, axis=0) >= 0.5
        begin = crop.first + float(is_up.argmax() if is_up.any() else is_up.size)
        if is_buried(planting, traits):
            spring = spring_after(since, book.farm.place.latitude_deg)
            if spring - since <= timedelta(days=182):
                begin = max(begin, book.hour(spring))
    return (
        begin + 24.0 * (traits.weed_free_from_d or 0.0),
        begin + 24.0 * traits.weed_free_to_d,
    )


def rates_of(reading: LaneReading, crop: CropReading, end_hour: float) -> Rates:
    """Prices of an account of one span that ends at an hour.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    crop : CropReading
        The crop of the span.
    end_hour : float
        End of the account.

    Returns
    -------
    Rates
        Seconds.

    Notes
    -----
    A round by hand goes by the rates of `HandRates`. Of seeds in the ground that a pass opened a
    share would have come later anyway: it costs nothing. What is left at the end has the prices of
    the list (`price_of_weeds`), with no pass to come: less once the weed-free weeks are over, less
    on an empty bed by what sowing or preparing it will take, as one that was not used again this
    season will be; a crop without such weeks counts 60
    days from sowing or setting. Definition of this project; figures grade E.
    No range stated. Worked: tests/scenes/test_review_scenes.py.
    """
    book, planting = reading.book, crop.span.planting
    v, hand = book.values, book.hand
    round_s = np.zeros((2, len(STAGES)))
    round_s[IN_ROW, 1:] = _SECONDS * hand.stage_min
    round_s[BETWEEN, 1:] = _SECONDS * hand.between_min
    end_s = np.concatenate((v.ground_s[:, None], v.stage_s), axis=1)
    is_empty = planting.crop is None
    end_s[:, 0] *= 1.0 - (v.relief_empty_frac if is_empty else v.relief_crop_frac)
    length = planting.to_m - planting.from_m
    area = length * planting.bed.width_m
    row = in_row_share(planting)
    at = book.sky.at(end_hour)
    if is_empty:
        mixed = v.row_share * end_s[IN_ROW] + (1.0 - v.row_share) * end_s[BETWEEN]
        end_s = np.tile(mixed * v.sowing_leaves_frac, (2, 1))
        known = [e for e in reading.events if e.happened_at <= at]
        is_used = any(e.kind in ("sow", "plant") and e.happened_at > at for e in reading.events)
        if not (is_prepared(planting, known) and (is_used or not book.is_over)):
            end_s = v.unprepared_frac * end_s
            end_s[:, -1] += v.seed_s
        yield_d = 0.0
    else:
        window = weed_free_hours(reading, crop)
        if window is None and planting.established_at is not None:
            begin = book.hour(planting.established_at)
            left_d = (begin + 24.0 * _WEEKS_UNKNOWN_D - end_hour) / 24.0
        else:
            left_d = 0.0 if window is None else (window[1] - end_hour) / 24.0
        early = np.full(1 + len(STAGES), 1.0 if left_d > 0.0 else 0.0)
        early[0] = float(np.clip(left_d / v.up_d, 0.0, 1.0))
        end_s = end_s * (v.late_frac + (1.0 - v.late_frac) * early)[None, :]
        if left_d <= 0.0:
            end_s[:, -1] += v.seed_s
        yield_d = v.loss_frac_d * v.crop_min_m2 * area
    return Rates(
        round_s,
        end_s,
        area * np.array([row, 1.0 - row]),
        yield_d,
        v.half_m2,
        v.weight_of_stage[1:],
    )


# ------------------------------------------------------------------------ strip


def strip_weeds(reading: LaneReading, days: Sequence[tuple[date, int, int]]) -> FloatArray:
    """Weeds of a lane by stage, day by day: medians of one particle a member.

    Parameters
    ----------
    reading : LaneReading
        The lane.
    days : sequence of (date, int, int)
        Days with their first hour and the hour after the last.

    Returns
    -------
    array
        (n_days, 5) [1/m2]; NaN on days on which the bed was divided otherwise.

    Notes
    -----
    Every fourth day is computed, those between lie on a line. Definition of this project.
    No range stated. Worked: tests/scenes/test_review_scenes.py.
    """
    book = reading.book
    noon = np.array([0.5 * (a + b) for _, a, b in days])
    weeds = np.full((noon.size, len(STAGES)), np.nan)
    for span in reading.lane.spans:
        a = max(book.hour(span.start_at), float(book.from_hour))
        b = min(book.hour(span.end_at), float(book.end_hour))
        inside = np.flatnonzero((noon >= a) & (noon < b))
        for chunk in _chunks(noon[inside]):
            at = np.unique(np.append(chunk[:: int(_STRIP_D)], chunk[-1]))
            found = lane_weeds(
                reading, span.planting, reading.events, at, n_particles=reading.ensemble.n_members
            )
            share = np.array([found.row_share, 1.0 - found.row_share])
            by_stage = np.median(np.einsum("ptzs,z->pts", found.count_m2, share), axis=0)
            where = np.isin(noon, chunk)
            for stage in range(len(STAGES)):
                weeds[where, stage] = np.interp(noon[where], at, by_stage[:, stage])
    return weeds


def _chunks(hours: FloatArray) -> list[FloatArray]:
    n = int(_CHUNK_D)
    return [hours[i : i + n] for i in range(0, hours.size, n)]


def book_particles(n_members: int, wanted: int) -> int:
    """The number of particles nearest above one wanted that gives every member as many.

    Parameters
    ----------
    n_members, wanted : int
        Members, and particles wanted.

    Returns
    -------
    int
        A multiple of the members.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> book_particles(12, 36), book_particles(16, 36)
    (36, 48)
    """
    return n_members * -(-wanted // n_members)
