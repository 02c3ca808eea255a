"""Judged windows and passes as records, with one plain sentence each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.day import tenths
from scheduler.planning.plantings import was_done
from scheduler.planning.review.costs import is_small, range_of
from scheduler.planning.review.judging import Judged, JudgedPass
from scheduler.planning.review.reading import Book, LaneReading
from scheduler.planning.review.reasons import Chance
from scheduler.records import Event, FloatArray, FlushWindow, PassReview, Range

_CROP_WORDS: Mapping[str, str] = {
    "crop_tender": "the crop was too tender for every tool that fits",
    "crop_up": "the crop was grown over the rows, or too tall",
    "no_fit": "no tool of the farm goes there",
}
_SAID_WORDS: Mapping[str, str] = {
    "wait": "wait",
    "hand": "by hand",
    "nothing": "nothing to do",
    "wet": "too wet",
    "hard": "too hard",
    "weeds_small": "weeds too small",
    "crop_tender": "crop too tender",
    "crop_up": "crop too big",
    "no_fit": "no tool for it",
    "no_hours": "no hours",
    "rain_after": "rain after",
    "clean": "clean",
    "unknown": "not known",
}
_SOIL_WORDS: Mapping[str, str] = {"wet": "too wet", "hard": "too hard", "unknown": "not known"}
_NONE = Range(0.0, 0.0, 0.0)
_MOST_DONE = 4


@dataclass(frozen=True)
class Told:
    """One window as it is told, and its costs by particle; None for nought."""

    window: FlushWindow
    cost_min: FloatArray | None
    yield_min: FloatArray | None
    best_day: int | None  # place of the day of the best pass, of a missed window
    days: tuple[int, ...]  # that decided


def window_told(judged: Judged, reading: LaneReading) -> Told:
    """One judged window as a record.

    Parameters
    ----------
    judged : Judged
        The window.
    reading : LaneReading
        Its lane.

    Returns
    -------
    Told
        With its costs by particle.

    Notes
    -----
    A missed window whose cost and yield come to under three minutes, and one that the crop covered,
    are `small`. Definition of this project. No range stated.
    Worked: tests/scenes/test_review_scenes.py.
    """
    book, window = reading.book, judged.window
    lane = reading.lane
    outcome = window.outcome
    cost = lost = None
    best, reason = judged.best, judged.reason
    price = book.farm.work.machine_price
    if outcome == "missed":
        saved = judged.saving
        if saved is None or best is None:
            outcome = "small"
        else:
            cost, lost = saved.cost_min(price, best.work_min), saved.yield_min
            if is_small(cost, lost):
                outcome, cost, lost = "small", None, None
    is_missed = outcome == "missed"
    if not is_missed:
        reason, best = None, None
    flush = FlushWindow(
        bed=lane.bed.name,
        part=lane.part,
        crop=judged.planting.crop,
        soil_name=lane.bed.soil,
        opened_at=_moment(window.opened.hour, book),
        opened_by=window.opened.by,
        ripe_at=_moment(window.ripe_hour, book),
        last_good_at=_moment(window.last_good_hour, book),
        closed_at=_moment(window.closed_hour, book),
        closed_by=window.closed_by,
        fit_hours=range_of(judged.fit_hours),
        outcome=outcome,
        done=_done_words(judged, reading),
        why=_why(judged, outcome, cost, lost, reading),
        reason=None if reason is None else reason.reason,
        because=None if reason is None else reason.because or None,
        best_at=None if best is None else _moment(best.hour, book),
        best_tool=None
        if best is None or (best.closed == "no_fit" and not best.is_let_in)
        else best.tool,
        work_min=None if best is None else best.work_min,
        cost_min=_NONE if cost is None else range_of(cost),
        yield_min=_NONE if lost is None else range_of(lost),
        weeds_m2=range_of(judged.course.weeds_m2),
    )
    days = () if reason is None else reason.days
    return Told(flush, cost, lost, None if best is None else best.day, days)


def _moment(hour: float, book: Book) -> datetime:
    """A moment on the farm's clock, to the minute."""
    at = book.sky.at(hour).astimezone(ZoneInfo(book.farm.place.time_zone))
    return at.replace(second=0, microsecond=0)


def _day(hour: float, book: Book) -> str:
    at = _moment(hour, book)
    return f"{at.day} {at:%b}"


def _days_words(days: Sequence[int], book: Book) -> str:
    """As "3 days, 12 to 16 May"."""
    dates = [book.days[d][0] for d in days]
    many = "1 day" if len(dates) == 1 else f"{len(dates)} days"
    first, last = f"{dates[0].day} {dates[0]:%b}", f"{dates[-1].day} {dates[-1]:%b}"
    return f"{many}, {first}" if len(dates) == 1 else f"{many}, {first} to {last}"


def _done_words(judged: Judged, reading: LaneReading) -> tuple[str, ...]:
    """What was logged from ripe to closed, in words."""
    book, window = reading.book, judged.window
    end = window.closed_hour + 1e-6
    inside = [
        e for e in reading.events if window.ripe_hour - 1e-6 <= book.hour(e.happened_at) <= end
    ]
    return tuple(_entry_words(e, book) for e in inside if e.kind not in ("rain", "temp"))[
        -_MOST_DONE:
    ]


def _entry_words(event: Event, book: Book) -> str:
    what = str(event.data.get("tool") or event.data.get("crop") or "")
    name = {
        "pass": what or "pass",
        "hand": "hand weeding",
        "prep": "preparation",
        "sow": f"sown {what}".strip(),
        "plant": f"set {what}".strip(),
        "clear": "cleared",
        "water": "watered",
        "up": "up",
        "look": "look",
        "feel": "squeeze test",
        "rooted": "rooted",
    }.get(event.kind, event.kind)
    if not was_done(event):
        name += f" in vain, {event.data.get('found', 'not worked')}"
    return f"{name} {_day(book.hour(event.happened_at), book)}"


def _why(
    judged: Judged,
    outcome: str,
    cost: FloatArray | None,
    lost: FloatArray | None,
    reading: LaneReading,
) -> str:
    """One sentence with numbers."""
    book, window = reading.book, judged.window
    weeds = float(np.median(judged.course.weeds_m2))
    brought = f"{weeds:.0f} weeds/m2"
    if outcome == "hit":
        most = float(judged.course.taken_frac.max())
        at = float(np.interp(window.closed_hour, judged.course.hour, judged.course.taken_frac))
        return (
            f"{brought}; the pass of {_day(window.closed_hour, book)} took them in time, at "
            f"{tenths(at / most)} of the best hour"
        )
    if outcome == "open":
        return f"{brought}; good until {_day(window.last_good_hour, book)}, not over yet"
    if outcome == "small":
        return _small_why(judged, brought, reading)
    best = judged.best
    assert best is not None
    assert cost is not None
    assert lost is not None
    return f"{_missed_why(judged, book)}; {worth_words(best, _day(best.hour, book), cost, lost)}"


def _small_why(judged: Judged, brought: str, reading: LaneReading) -> str:
    best, reason = judged.best, judged.reason
    if judged.saving is not None and best is not None:
        price = reading.book.farm.work.machine_price
        cost = judged.saving.cost_min(price, best.work_min)
        net = range_of(cost + judged.saving.yield_min).mid
        return (
            f"{brought}; a pass would have saved {_whole(net)} min by hand and of the crop, its "
            f"own {best.work_min:.0f} min taken off: too little to set out for"
        )
    if reason is not None and reason.because == "crop_up":
        return f"{brought}; the crop covered the ground and held them down"
    if best is None:
        return f"{brought}; the farm has no tool for it"
    return f"{brought}: too few to set out for"


def _missed_why(judged: Judged, book: Book) -> str:
    """The reason in words."""
    reason = judged.reason
    assert reason is not None
    days = _days_words(reason.days, book) if reason.days else ""
    if reason.reason == "unknown":
        return "the rain of these days was read by nobody"
    if reason.reason == "never_fit":
        return f"the soil was {_SOIL_WORDS.get(reason.because, reason.because)} on {days}"
    if reason.reason == "crop":
        words = _CROP_WORDS.get(reason.because, reason.because)
        best = judged.best
        if best is not None and best.closed == reason.because and best.closed_why:
            words += f" ({best.tool}: {best.closed_why})"
        return f"the soil was fit on {days}, but {words}" if days else words
    if reason.reason == "no_hours":
        return f"soil and crop were ready on {days}, but no hours: {reason.what}"
    if reason.reason == "not_done":
        return f"the list named it on {days}; no pass was logged"
    if reason.reason == "not_listed":
        return f"fit and free on {days}; the list said {said_words(*reason.what.split())}"
    return f"fit and free on {days}; no list was made then"


def said_words(verdict: str, because: str = "") -> str:
    """What a list said of a planting that it did not name.

    Parameters
    ----------
    verdict : str
        wait, hand or nothing.
    because : str
        A reason code.

    Returns
    -------
    str
        In words.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> said_words("wait", "crop_tender"), said_words("hand")
    ('wait (crop too tender)', 'by hand')
    """
    words = _SAID_WORDS.get(verdict, verdict)
    return f"{words} ({_SAID_WORDS.get(because, because)})" if because else words


def _whole(minutes: float) -> str:
    """Minutes without decimals, and no nought below nought."""
    return f"{round(minutes):d}"


def _is_no_tool(best: Chance) -> bool:
    """Whether the pass that would have been is of no tool that fits."""
    return best.closed == "no_fit" and not best.is_let_in


def worth_words(best: Chance, day: str, cost_min: FloatArray, yield_min: FloatArray) -> str:
    """What the best pass of a missed window would have been worth.

    Parameters
    ----------
    best : Chance
        The pass.
    day : str
        Its day in words.
    cost_min, yield_min : array
        Hand minutes that it would have saved, its own taken off, and the crop [min],
        (n_particles,).

    Returns
    -------
    str
        A clause; the crop where it comes to half a minute.

    Notes
    -----
    10, 50 and 90 % of the particles; below nought it would have cost more than it saved.
    Definition of this project. No range stated.

    Examples
    --------
    >>> hoe = Chance(0, "hoe", 9.5, True, "", True, "", True, "", True, "", 4.0, 0.0, 20.0, 9.0)
    >>> worth_words(hoe, "16 Aug", np.array([-2.0, 1.0, 10.0]), np.full(3, 6.0))
    'hoe on 16 Aug would have saved 1 min by hand (-2 to 10) and crop worth 6 min, its own 4 min
    taken off'
    """
    who = "a tool that goes there" if _is_no_tool(best) else best.tool
    hand, crop = range_of(cost_min), range_of(yield_min).mid
    also = f" and crop worth {_whole(crop)} min" if crop >= 0.5 else ""
    return (
        f"{who} on {day} would have saved {_whole(hand.mid)} min by hand ({_whole(hand.low)} to "
        f"{_whole(hand.high)}){also}, its own {best.work_min:.0f} min taken off"
    )


def pass_told(
    judged: JudgedPass, windows: Sequence[Judged], reading: LaneReading, share: float = 1.0
) -> PassReview:
    """One judged pass as a record.

    Parameters
    ----------
    judged : JudgedPass
        The pass.
    windows : sequence of Judged
        Windows of its lane.
    reading : LaneReading
        The lane.
    share : float
        Of its minutes that are this lane's, where it went over several parts of a bed.

    Returns
    -------
    PassReview
        `hit` if it saved more by hand and of the yield than its minutes at the farm's price,
        `little` if not, `in vain` if the soil did not let it work.

    Notes
    -----
    By the mean of the particles, as the list decides to go; the minutes told are their middle.
    Definition of this project. No range stated. Worked: tests/scenes/test_review_scenes.py.
    """
    book, event = reading.book, judged.event
    tool = str(event.data.get("tool", "a tool"))
    minutes = share * judged.work_min
    saved = _NONE if judged.saving is None else range_of(judged.saving.hand_min)
    killed = range_of(judged.killed_m2)
    price = book.farm.work.machine_price * minutes
    if not was_done(event):
        found = event.data.get("found", "not workable")
        did, why = "in vain", f"the soil was found {found}"
    elif judged.saving is None:
        did, why = "little", f"nothing can be told: {tool} is not in the farm file, or too late"
    else:
        worth = float((judged.saving.hand_min + judged.saving.yield_min).mean())
        did = "hit" if worth > price else "little"
        why = (
            f"took {killed.mid:.0f} weeds/m2 and saved {_whole(saved.mid)} min by "
            f"hand ({_whole(saved.low)} to {_whole(saved.high)}){_in_time(judged, windows, book)}"
        )
    return PassReview(
        bed=reading.lane.bed.name,
        part=reading.lane.part,
        crop=judged.planting.crop,
        tool=tool,
        at=_moment(judged.hour, book),
        did=did,
        work_min=minutes,
        is_timed="work_min" in event.data,
        killed_m2=killed,
        saved_min=saved,
        why=why,
    )


def _in_time(judged: JudgedPass, windows: Sequence[Judged], book: Book) -> str:
    """Whether a pass came in the window of a flush, or how late."""
    for one in windows:
        w = one.window
        if w.closed_by != "pass" or abs(w.closed_hour - judged.hour) > 1e-6:
            continue
        if w.outcome == "hit":
            return "; in time"
        days = (judged.hour - w.last_good_hour) / 24.0
        late = "half a day" if days < 1.0 else f"{days:.0f} days"
        return f"; {late} after the last good hour of {_day(w.last_good_hour, book)}"
    return ""


def span_days(
    spans: Sequence[tuple[datetime, datetime, str | None]],
    from_on: date,
    to_on: date,
    zone: ZoneInfo,
) -> tuple[tuple[int, int, str | None], ...]:
    """Spans as days of the season, half-open.

    Parameters
    ----------
    spans : sequence of (datetime, datetime, str or None)
        Begin, end and crop.
    from_on, to_on : date
        First and last day of the season.
    zone : ZoneInfo
        The farm's.

    Returns
    -------
    tuple of (int, int, str or None)
        Spans of no whole day are left out.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> utc = ZoneInfo("UTC")
    >>> day = lambda n: datetime(2013, 5, n, 15, tzinfo=utc)
    >>> spans = [(day(1), day(5), None), (day(5), day(20), "radish")]
    >>> span_days(spans, date(2013, 5, 1), date(2013, 5, 31), utc)
    ((0, 4, None), (4, 19, 'radish'))
    """
    n = (to_on - from_on).days + 1
    found = []
    for start, end, crop in spans:
        a = max((start.astimezone(zone).date() - from_on).days, 0)
        b = min((end.astimezone(zone).date() - from_on).days, n)
        if b > a:
            found.append((a, b, crop))
    return tuple(found)
