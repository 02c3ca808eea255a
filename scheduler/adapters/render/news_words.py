"""What came between the list before and this one, in sentences; and the subject of the mail."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple

from scheduler.adapters.render.clean import clean_record, clean_text
from scheduler.adapters.render.phrases import (
    WEEKDAYS,
    age_words,
    day_words,
    half_day_words,
    hour_words,
)
from scheduler.adapters.render.statements import DayWords
from scheduler.records import BedAnswer, ListLine, Morning, MorningNews

SUBJECT_WIDTH = 60
OLD_WEATHER_H = 24.0


class News(NamedTuple):
    """One piece of news: what is to be said, and the command that answers it, if one does."""

    text: str
    command: str = ""
    hint: str = ""


def news_pieces(morning: Morning, news: MorningNews) -> list[News]:
    """What the grower is to know before the list: what was not logged, what was wrong."""
    pieces = []
    taken = _lines_words(news.unlogged)
    if news.silent_on is not None:
        since = _since_words(news.silent_on, morning.day)
        days = f" for {news.n_silent_days} days" if news.n_silent_days > 1 else ""
        if taken:
            told = f"{since}: nothing logged{days}, taken as not done: {taken}."
            of_day = "yesterday" if since == "Yesterday" else news.silent_on.isoformat()
            hint = "with the numbers that were done"
            pieces.append(News(told, _done_command(news, of_day), hint))
        else:
            pieces.append(News(f"{since}: nothing logged{days}."))
    elif taken:
        pieces.append(News(f"Of the list before, not logged and taken as not done: {taken}."))
    pieces += [News(correction) for correction in news.corrections]
    return pieces


def _since_words(silent_on: date, today: date) -> str:
    if silent_on == today - timedelta(days=1):
        return "Yesterday"
    if silent_on == today:
        return "Earlier today"
    return f"Since {WEEKDAYS[silent_on.weekday()]} {day_words(silent_on)}"


def _lines_words(lines: Sequence[ListLine]) -> str:
    return ", ".join(
        f"{line.place} {line.bed if line.part is None else f'{line.bed}/{line.part}'}"
        for line in sorted(lines, key=lambda line: line.place)
    )


def _done_command(news: MorningNews, of_day: str) -> str:
    places = " ".join(str(place) for place in sorted(line.place for line in news.unlogged))
    return f"whitethread done {places} --of {of_day}"


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
    day = f"{WEEKDAYS[morning.day.weekday()]} {day_words(morning.day)}"
    must = [*_work_words(words), *_rain_words(words), *_age_words(morning.weather.age_h)]
    line = f"{day}: {', '.join(must)}"
    for more in _more_words(words, news):
        if len(line) + len(more) + 2 <= SUBJECT_WIDTH:
            line += f", {more}"
    extra = clean_text(extra)
    return f"{line} ({extra})" if extra else line


def _work_words(words: DayWords) -> list[str]:
    beds = words.go_beds
    if beds:
        return [_counted(len(beds)), _dry_words(beds, words)]
    left = words.morning.not_reached
    if left:
        hours = "no hours" if words.morning.hours_available <= 0 else "no time left"
        return [f"{hours}, {_counted(len(left))} worth a pass"]
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
    """The first hour of today in which the soil of a bed is surely fit."""
    start = bed.soil.workable_from
    return start if start is not None and words.local_day(start) <= words.today else None


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
    if morning.weather.forecast_issued is None:
        return ["no forecast"]
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
        more.append(f"last call {hour_words(min(called), words.zone)}")
    return more


def _counted(count: int) -> str:
    return "1 bed" if count == 1 else f"{count} beds"
