"""Flushes of a season by the list's own clock, and the window of each.

A flush opens when the ground is stirred, or wetted after a dry spell once the flush before has run
its course. It is ripe from when a pass takes most of the best that one pass can take of it, and
good until a pass takes less than nine tenths of that best. It closes with what is done next.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.records import FloatArray

_RIPE_FRAC = 0.7  # of the best single pass, from which a flush is ripe
_LAST_GOOD_FRAC = 0.9  # of it, down to which it is still good: as the list says it
_STANDING_FRAC = 0.5  # of what stands, that a pass still takes at the last good hour
_EARLY_FRAC = 0.5  # of it, that a pass before then must take to have hit
_AT_ONCE_H = 36.0
WATERS = ("wetting", "watering")


@dataclass(frozen=True)
class Opened:
    """What opened a flush, hour of the season's clock."""

    hour: float
    by: str  # pass, preparation, sowing, planting, wetting, watering


@dataclass(frozen=True)
class Course:
    """One flush as if nothing were done to it, from its opening on; times in rising order.

    `taken_frac` is what one pass takes of the whole flush, germinated or not, mean of the
    particles.
    """

    hour: FloatArray  # (n_times,)
    taken_frac: FloatArray  # (n_times,)
    standing_frac: FloatArray  # (n_times,) what it takes of what stands, 1 where nothing does
    count_m2: FloatArray  # (n_times, 2 zones, 5 stages) mean of the particles
    weeds_m2: FloatArray  # (n_particles,) most that stood at once, of the whole bed


@dataclass(frozen=True)
class Window:
    """The hours in which a pass would take a flush. `is_cut`: the record ends before they do."""

    opened: Opened
    ripe_hour: float
    last_good_hour: float
    closed_hour: float
    closed_by: str
    outcome: str  # hit, open, or missed until its cost is known
    is_cut: bool = False

    @property
    def usable_to(self) -> float:
        """Up to which hour a pass would have been in time and was not forestalled."""
        return min(self.last_good_hour, self.closed_hour)


def openings(
    triggers: Sequence[Opened],
    progress_cd: Callable[[float], FloatArray],
    ended_cd: Callable[[float], float],
) -> tuple[Opened, ...]:
    """Every flush of a season, one after the other.

    Parameters
    ----------
    triggers : sequence of Opened
        What stirred or wetted the ground, in any order.
    progress_cd : callable
        Running heat of the guild that leads at an hour, at all hours, (n_members, n_hours).
    ended_cd : callable
        Heat by which nine tenths of a flush of that guild are up [C d].

    Returns
    -------
    tuple of Opened
        In order.

    Notes
    -----
    Stirring ends the flush before it and opens one. Water opens one only where the flush before
    had run its course for half of the members, else it lets that one go on. Definition of this
    project, as the list's clock has it. No range stated.

    Examples
    --------
    Ten degree-days a day; a flush runs its course in 200. Rain on day 15 lets the flush of day 1
    go on, rain on day 30 opens another.

    >>> heat = np.cumsum(np.full((3, 24 * 60), 10.0 / 24), axis=1)
    >>> at = lambda day, by: Opened(24.0 * day, by)
    >>> found = openings(
    ...     [at(30, "wetting"), at(15, "wetting"), at(1, "pass")],
    ...     lambda hour: heat, lambda hour: 200.0,
    ... )
    >>> [(opened.hour / 24, opened.by) for opened in found]
    [(1.0, 'pass'), (30.0, 'wetting')]
    """
    found: list[Opened] = []
    for trigger in sorted(triggers, key=lambda t: (t.hour, t.by)):
        if trigger.by in WATERS and found:
            heat = progress_cd(trigger.hour)
            last = heat.shape[1] - 1
            at, since = (int(np.clip(h, 0, last)) for h in (trigger.hour, found[-1].hour))
            if float(np.median(heat[:, at] - heat[:, since])) < ended_cd(trigger.hour):
                continue
        found.append(trigger)
    return tuple(found)


def window_of(
    opened: Opened,
    course: Course,
    actions: Sequence[tuple[float, str]],
    next_wetting_hour: float | None,
    end_hour: float,
) -> Window | None:
    """The window of one flush, and how it closed.

    Parameters
    ----------
    opened : Opened
        What opened it.
    course : Course
        How it goes if nothing is done.
    actions : sequence of (float, str)
        Hour and kind of what was done there, in order: pass, hand weeding, preparation, sowing,
        planting, clearing.
    next_wetting_hour : float or None
        When water opened the next flush.
    end_hour : float
        End of what is known.

    Returns
    -------
    Window or None
        None where there was no chance to be taken or missed: it was over before it was ripe, by
        other work than a pass, or by a pass that came too early to take half of its best.

    Notes
    -----
    1. It closes with the first thing done after its opening, else when water opens the next (it
       has aged by then), else at the end.
    2. Ripe: a pass takes 0.7 of the best single pass or more. Last good: the last hour at which it
       takes 0.9 of it, or the one before at which it takes half of what stands: where the ground
       is dry seeds come in dribs for weeks, long after the flush has outgrown a shallow tool.
    3. `hit`: a pass closed it between ripe and last good, or before and took half of the best.
    4. `open`: it is not closed, and the record ends before its last good hour.
    5. else `missed`, unless its cost says that it was small.
    The shares are assumptions of this project but for that of the last good hour, which is the
    list's. No range stated.

    Examples
    --------
    A flush that is ripe from day 6 to day 10; once a pass comes on day 8, once on day 14.

    >>> days = np.arange(0.0, 21.0)
    >>> taken = np.interp(days, [0, 3, 7, 9, 10, 20], [0.0, 0.0, 0.8, 0.8, 0.7, 0.1])
    >>> stands = np.interp(days, [0, 12, 20], [1.0, 0.8, 0.2])
    >>> course = Course(24 * days, taken, stands, np.zeros((21, 2, 5)), np.zeros(1))
    >>> first = Opened(0.0, "wetting")
    >>> early, late = (
    ...     window_of(first, course, [(24.0 * day, "pass")], None, 1e4) for day in (8, 14)
    ... )
    >>> early.outcome, late.outcome
    ('hit', 'missed')
    >>> round(late.ripe_hour / 24, 1), round(late.last_good_hour / 24, 1)
    (5.8, 9.8)
    >>> window_of(first, course, [(48.0, "sowing")], None, 1e4) is None
    True
    """
    best = float(course.taken_frac.max(initial=0.0))
    if best <= 0.0:
        return None
    ripe = _crossed(course, _RIPE_FRAC * best, is_first=True)
    last_good = max(
        ripe,
        min(_crossed(course, _LAST_GOOD_FRAC * best, is_first=False), _outgrown(course, ripe)),
    )
    is_cut = last_good >= course.hour[-1]
    closed, by = _closing(opened, actions, next_wetting_hour, end_hour)
    if by == "pass" and closed <= last_good:
        taken = float(np.interp(closed, course.hour, course.taken_frac))
        if closed < ripe and taken < _EARLY_FRAC * best:
            return None
        return Window(opened, min(ripe, closed), last_good, closed, by, "hit", is_cut)
    if by == "end" and (is_cut or closed < last_good):
        return Window(opened, ripe, last_good, closed, by, "open", is_cut)
    if closed <= ripe:
        return None
    return Window(opened, ripe, last_good, closed, by, "missed", is_cut)


def is_over_at_once(opened: Opened, actions: Sequence[tuple[float, str]]) -> bool:
    """Whether other work than a pass ended a flush within a day and a half: no window to look for.

    Parameters
    ----------
    opened : Opened
        What opened it.
    actions : sequence of (float, str)
        As `window_of` takes them.

    Returns
    -------
    bool
        As a bed that is prepared and sown on one day.

    Notes
    -----
    No weed is a thread so soon. Definition of this project. No range stated.

    Examples
    --------
    >>> is_over_at_once(Opened(10.0, "preparation"), [(10.0, "preparation"), (13.0, "sowing")])
    True
    >>> is_over_at_once(Opened(10.0, "preparation"), [(13.0, "pass")])
    False
    """
    first = next(((h, kind) for h, kind in actions if h > opened.hour), None)
    return first is not None and first[1] != "pass" and first[0] - opened.hour < _AT_ONCE_H


def _crossed(course: Course, level: float, *, is_first: bool) -> float:
    """First or last hour at which a pass takes so much, between times along a line."""
    above = np.flatnonzero(course.taken_frac >= level)
    i = int(above[0] if is_first else above[-1])
    j = i - 1 if is_first else i + 1
    if not 0 <= j < course.hour.size:
        return float(course.hour[i])
    here, there = course.taken_frac[i], course.taken_frac[j]
    share = (here - level) / (here - there) if here > there else 0.0
    return float(course.hour[i] + share * (course.hour[j] - course.hour[i]))


def _outgrown(course: Course, ripe_hour: float) -> float:
    """First time after it was ripe at which a pass takes less than half of what stands."""
    is_past = (course.hour >= ripe_hour) & (course.standing_frac < _STANDING_FRAC)
    return float(course.hour[int(np.argmax(is_past))]) if is_past.any() else np.inf


def _closing(
    opened: Opened,
    actions: Sequence[tuple[float, str]],
    next_wetting_hour: float | None,
    end_hour: float,
) -> tuple[float, str]:
    """When a flush closed, and by what."""
    done = next(((h, kind) for h, kind in actions if opened.hour < h < end_hour), None)
    if next_wetting_hour is not None and (done is None or next_wetting_hour < done[0]):
        return next_wetting_hour, "age"
    return done if done is not None else (end_hour, "end")
