"""What came between the list before and this one, in sentences; and the subject of the mail."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple

from scheduler.adapters.render.clean import clean_record, clean_text
from scheduler.adapters.render.phrases import (
    WEEKDAYS,
    age_words,
    dated_words,
    grower_text,
    half_day_words,
    hour_words,
)
from scheduler.adapters.render.statements import MAX_GO_LINES, OLD_WEATHER_H, DayWords
from scheduler.records import BedAnswer, ListLine, Morning, MorningNews

SUBJECT_WIDTH = 60


class News(NamedTuple):
    """One piece of news: what is to be said, and the command that answers it, if one does."""

    text: str
    command: str = ""
    hint: str = ""


def news_pieces(morning: Morning, news: MorningNews) -> list[News]:
    """What the grower is to know before the list: what was not logged, what was wrong."""
    pieces = []
    taken = _lines_words(news.unlogged)
    told = ""
    if news.silent_on is not None:
        days = f" for {news.n_silent_days} days" if news.n_silent_days > 1 else ""
        told = f"{_since_words(news.silent_on, morning.day)}: nothing logged{days}"
        told += f", taken as not done: {taken}." if taken else "."
    elif taken:
        told = f"{_list_words(news.list_on, morning.day)}: not logged, taken as not done: {taken}."
    if told and taken and news.list_on is not None:
        is_yesterday = news.list_on == morning.day - timedelta(days=1)
        of_day = "yesterday" if is_yesterday else news.list_on.isoformat()
        pieces.append(
            News(told, _done_command(news, of_day), "Keep only the numbers that were done")
        )
    elif told:
        pieces.append(News(told))
    units = morning.farm.units
    pieces += [News(grower_text(correction, units)) for correction in news.corrections]
    return pieces


def _since_words(silent_on: date, today: date) -> str:
    if silent_on == today - timedelta(days=1):
        return "Yesterday"
    if silent_on == today:
        return "Earlier today"
    return f"Since {dated_words(silent_on)}"


def _list_words(list_on: date | None, today: date) -> str:
    """Which list is meant, where some of its lines were logged."""
    if list_on is None:
        return "The list before"
    if list_on == today - timedelta(days=1):
        return "Yesterday's list"
    return f"The list of {dated_words(list_on)}"


def _lines_words(lines: Sequence[ListLine]) -> str:
    """The first lines by number and name, and how many more."""
    told = ", ".join(
        f"{line.place} {line.bed if line.part is None else f'{line.bed}/{line.part}'}"
        for line in _first(lines)
    )
    rest = len(lines) - MAX_GO_LINES
    return f"{told} and {rest} more" if rest > 0 else told


def _done_command(news: MorningNews, of_day: str) -> str:
    places = " ".join(str(line.place) for line in _first(news.unlogged))
    return f"whitethread done {places} --of {of_day}"


def _first(lines: Sequence[ListLine]) -> list[ListLine]:
    """As many lines as a list has rows, in its order."""
    return sorted(lines, key=lambda line: line.place)[:MAX_GO_LINES]


# ------------------------------------------------------------------ subject


def subject_line(morning: Morning, news: MorningNews, extra: str = "") -> str:
    """The day in a subject, as "Tue 14 May: 4 beds, dry from 11, rain at 18".

    Parameters
    ----------
    morning
        The list.
    news
        What came since the list before.
    extra
        The grower's own words, put behind the day in brackets.

    Returns
    -------
    str
        One line; at most 60 characters before `extra`, unless what must be said takes more.
    """
    morning = clean_record(morning)
    words = DayWords(morning, morning.farm.units)
    day = dated_words(morning.day)
    must = [*_work_words(words), *_age_words(morning.weather.age_h), *_rain_words(words)]
    line = f"{day}: {', '.join(must)}"
    for more in _more_words(words, news):
        if len(line) + len(more) + 2 <= SUBJECT_WIDTH:
            line += f", {more}"
    extra = clean_text(extra)
    return f"{line} ({extra})" if extra else line


def _work_words(words: DayWords) -> list[str]:
    beds = words.go_beds
    if beds:
        is_read = (words.morning.weather.age_h or 0.0) < OLD_WEATHER_H
        return [_counted(len(beds)), *([_dry_words(beds, words)] if is_read else [])]
    left = words.morning.not_reached
    if left:
        hours = "no hours" if words.morning.hours_available <= 0 else "no time left"
        return [f"{hours}, {_counted(len(left))} worth a pass"]
    waiting = sum(bed.because == "no_hours" for bed in words.morning.beds)
    if waiting and words.morning.hours_available <= 0:
        return [f"no hours, {_counted(waiting)} waiting"]
    wet = [bed.until for bed in words.morning.beds if bed.because == "wet" and bed.until]
    told = ["nothing to do"]
    if wet:
        told.append(f"wet until {half_day_words(min(wet), words.morning.as_of, words.zone)}")
    return told


def _dry_words(beds: Sequence[BedAnswer], words: DayWords) -> str:
    """From when the beds of the list can be worked; dry is said where the soil is surely fit."""
    now = words.morning.as_of
    starts = [(_fit_today(bed, words), bed) for bed in beds]
    later = sorted(start for fit, bed in starts if (start := fit if fit else _begins(bed)) > now)
    if not later:
        return "dry now"
    first, last = (_clock(moment, words) for moment in (later[0], later[-1]))
    if len(later) < len(beds):
        return f"{len(beds) - len(later)} dry now, all from {last}"
    dry = "dry " if all(fit for fit, _ in starts) else ""
    return f"{dry}from {first}" if first == last else f"{dry}from {first}, all from {last}"


def _fit_today(bed: BedAnswer, words: DayWords) -> datetime | None:
    """The first hour in which the soil of a bed is surely fit, if it comes in time for its line."""
    assert bed.action is not None
    start = bed.soil.workable_from
    return start if start is not None and start < bed.action.end else None


def _begins(bed: BedAnswer) -> datetime:
    assert bed.action is not None
    return bed.action.start


def _clock(moment: datetime, words: DayWords) -> str:
    """A moment of today in a subject: "11" or "10:30", to the half hour."""
    return _short(half_day_words(moment, words.morning.as_of, words.zone))


def _short(clock: str) -> str:
    """A wall-clock time in as few signs as it takes: "7" for "07:00", "10:30"."""
    hour, _, minute = clock.partition(":")
    if not hour.isdigit():
        return clock  # of another day: a subject in more words is better than none
    return f"{int(hour)}" if minute == "00" else f"{int(hour)}:{minute}"


def _rain_words(words: DayWords) -> list[str]:
    morning = words.morning
    age_h = words.forecast_age_h()
    if age_h is None:
        return ["no forecast"]
    if age_h >= OLD_WEATHER_H:
        return ["no new forecast"]
    if morning.rain_ahead is None:
        return []
    start = morning.rain_ahead.from_at
    if start is None:
        return ["no rain"]
    if start <= morning.as_of:
        return ["rain soon"]
    hour = _short(hour_words(start, words.zone))
    day = words.local_day(start)
    if day == words.today:
        return [f"rain at {hour}"]
    return [f"rain {WEEKDAYS[day.weekday()]} at {hour}"]


def _age_words(age_h: float | None) -> list[str]:
    if age_h is None:
        return ["no weather reading"]
    return [f"weather {age_words(age_h)}"] if age_h >= OLD_WEATHER_H else []


def _more_words(words: DayWords, news: MorningNews) -> list[str]:
    """What a subject says where there is room."""
    more = []
    if news.corrections:
        more.append("a correction")
    hand = sum(bed.verdict == "hand" for bed in words.morning.beds)
    if hand and not words.go_beds:
        more.append(f"{hand} by hand")
    looks = [bed for bed in words.all_beds() if bed.look]
    if looks and not words.go_beds:
        more.append("a look asked")
    called = [
        bed.last_good_at
        for bed in words.go_beds
        if bed.last_good_at and words.local_day(bed.last_good_at) == words.today
    ]
    if called and len(called) < len(words.go_beds):
        last = min(called)
        if last.astimezone(words.zone).time() == words.morning.farm.work.end:
            more.append(f"last day for {_counted(len(called))}")
        else:
            more.append(f"last good hour {hour_words(last, words.zone)}")
    return more


def _counted(count: int) -> str:
    return "1 bed" if count == 1 else f"{count} beds"
