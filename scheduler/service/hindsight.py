"""Where an issued list was wrong, as far as is known by now: one plain sentence each.

Only statements that the list made are held against what was read, logged or computed since: rain in
sight, hours in which a soil was fit, until when a pass was good or a bed too wet, weeds that stand.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.planning.day import FIT_CHANCE, tenths
from scheduler.planning.hours import at_local, local_day
from scheduler.planning.plantings import was_done
from scheduler.ports import Journal, WeatherStore
from scheduler.records import BedAnswer, Event, Farm, Kind, Morning, RainTotal, WeatherSeries
from scheduler.service.weather import weather_on_record

MOST_SENTENCES = 3
OLDEST = timedelta(days=3)  # an older list is not held against what came after it
SIGHT = timedelta(hours=24)  # how far a list speaks of rain
LATE_ENTRY = timedelta(hours=48)  # before a list: passes of then, logged after it, close its lines
WORTH_MM = 2.0  # rain that was not in sight and is worth a line
NO_RAIN_MM = 0.2  # at most, where rain was all but promised
UNREAD_H = 4  # last hours before now that no station has told yet
EARLIER = timedelta(hours=3)  # by which rain came before its hour
LOOKED_BACK = timedelta(days=7)  # over which rain before the list is compared
REVISED_MM = 3.0  # of a day, and
REVISED_FRAC = 0.3
UNFIT_CHANCE = 0.4  # below it a soil was not fit
OPEN_H = 3  # working hours at least of which a fit soil is judged
LATER = timedelta(hours=24)  # by which a wait was too short or too long
SOON = timedelta(hours=6)
BEYOND = 2.0  # times the weeds told, from which a look tells of others
FEW_M2 = 10.0  # and this many more or less
NAMED = 4  # beds told by name
DONE_BY = ("pass", "hand", "prep", "sow", "plant", "clear")
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
STAGES = ("thread", "seed_leaf", "true_leaf", "young", "established")
_STAGE_WORDS = {
    "seed_leaf": " in seed leaf",
    "true_leaf": " in true leaf",
    "young": " with 3 to 5 leaves",
    "established": " with 6 leaves or more",
}
_HOUR = timedelta(hours=1)
_UNFIT_FEELS = {
    "wet": "the soil was wet in your hand",
    "smears": "the soil smeared in your hand",
    "hard": "the soil was hard in your hand",
}
_UNFIT = {"wet": "too wet", "hard": "too hard", "crop_tender": "the crop is too tender"}
_BEYOND_SIGHT = "not within the days in sight"
_FIT_FEELS = ("crumbles", "dry")


@dataclass(frozen=True)
class Wrong:
    """One statement that did not hold; `cost_min` orders it among others, in minutes by hand."""

    cost_min: float
    sentence: str


@dataclass(frozen=True)
class Rain:
    """Rain read over some hours: at least and at most; infinite where hours were not read."""

    low_mm: float
    high_mm: float
    began_at: datetime | None
    is_modelled: bool


@dataclass(frozen=True)
class Past:
    """A list of an earlier day, and what is known of that day and since."""

    issued: Mapping[str, Any]
    found: Morning
    events: tuple[Event, ...]  # that stand now
    then: WeatherSeries  # the days before the list, as they were known then
    now: WeatherSeries  # the same days and those since, as they are known now

    @property
    def farm(self) -> Farm:
        """The farm."""
        return self.found.farm

    @property
    def zone(self) -> ZoneInfo:
        """The farm's time zone."""
        return ZoneInfo(self.farm.place.time_zone)

    @cached_property
    def as_of(self) -> datetime:
        """The moment of the list."""
        return datetime.fromisoformat(str(self.issued["as_of"]))

    @property
    def day(self) -> date:
        """The local day of the list."""
        return local_day(self.as_of, self.farm.place.time_zone)

    @cached_property
    def lines(self) -> tuple[Mapping[str, Any], ...]:
        """Every planting of the list."""
        return (*self.issued["beds"], *self.issued["not_reached"])

    @cached_property
    def since(self) -> tuple[Event, ...]:
        """What happened within a day from the list on."""
        return tuple(e for e in self.events if self.as_of <= e.happened_at < self.as_of + SIGHT)

    @cached_property
    def answers(self) -> Mapping[tuple[str, str], BedAnswer]:
        """Today's answers by bed and part."""
        return {(b.bed, b.part or ""): b for b in (*self.found.beds, *self.found.not_reached)}

    @cached_property
    def soil_of(self) -> Mapping[str, str]:
        """Soil by bed."""
        return {bed.name: bed.soil for bed in self.farm.beds}

    def rain(self, start_at: datetime, end_at: datetime) -> Rain:
        """Rain read over [start_at, end_at)."""
        first = max(0, int((start_at - self.now.start_at) // _HOUR))
        last = min(self.now.n_hours, int(-((self.now.start_at - end_at) // _HOUR)))
        return read_rain(self.now, first, last)

    @cached_property
    def rain_since(self) -> Rain:
        """Rain read since the list."""
        return self.rain(self.as_of, self.found.as_of)

    # ------------------------------------------------------------------ words

    @property
    def whose(self) -> str:
        """As "Yesterday's list"."""
        ago_d = (self.found.day - self.day).days
        if ago_d == 1:
            return "Yesterday's list"
        if ago_d <= 6:
            return f"{WEEKDAYS[self.day.weekday()]}'s list"
        return f"The list of {self.date_words(self.day)}"

    @property
    def when(self) -> str:
        """As "Yesterday"."""
        ago_d = (self.found.day - self.day).days
        if ago_d == 1:
            return "Yesterday"
        return f"On {WEEKDAYS[self.day.weekday()] if ago_d <= 6 else self.date_words(self.day)}"

    def date_words(self, day: date) -> str:
        """As "14 May"."""
        return f"{day.day} {day:%b}"

    def hour(self, moment: datetime) -> str:
        """As "19:00", with the day where it is not the list's."""
        local = moment.astimezone(self.zone)
        if local.date() == self.day:
            return f"{local:%H:%M}"
        if local.date() == self.found.day:
            return f"{local:%H:%M} today"
        return f"{WEEKDAYS[local.weekday()][:3]} {local:%H:%M}"

    def until(self, moment: datetime) -> str:
        """A moment to come, as "Thu 19:00", or "22 May" beyond the week."""
        local = moment.astimezone(self.zone)
        ahead_d = (local.date() - self.found.day).days
        if ahead_d == 0:
            return f"{local:%H:%M} today"
        if 0 < ahead_d <= 6:
            return f"{WEEKDAYS[local.weekday()][:3]} {local:%H:%M}"
        return self.date_words(local.date())


# ------------------------------------------------------------------- corrections


def corrections(
    issued: Mapping[str, Any],
    found: Morning,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
) -> tuple[str, ...]:
    """Where a list of an earlier day was wrong, as far as is known now.

    Parameters
    ----------
    issued : mapping
        The list as it was stored.
    found : Morning
        This morning.
    journal, weather : Journal, WeatherStore
        Entries and weather, filtered by when they became known.
    now : datetime
        This morning's moment.

    Returns
    -------
    tuple of str
        At most three sentences, the costliest first; none of a list of more than three days ago.
    """
    past = past_of(issued, found, journal, weather, now)
    if timedelta(days=(found.day - past.day).days) > OLDEST:
        return ()
    checks = (
        unforeseen_rain,
        rain_that_stayed_away,
        rain_read_since,
        no_longer_good,
        longer_wet,
        sooner_fit,
        visits_that_found_otherwise,
        soils_not_fit,
        weeds_counted,
    )
    wrong = [each for check in checks for each in check(past)]
    wrong.sort(key=lambda each: (-each.cost_min, each.sentence))
    return tuple(each.sentence for each in wrong[:MOST_SENTENCES])


def past_of(
    issued: Mapping[str, Any],
    found: Morning,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
) -> Past:
    """A list with what was known of the weather then, and what is known now.

    Parameters
    ----------
    issued, found, journal, weather, now
        As in `corrections`.

    Returns
    -------
    Past
        Everything that the checks read.
    """
    farm = found.farm
    as_of = datetime.fromisoformat(str(issued["as_of"]))
    hour_then, hour_now = (m.replace(minute=0, second=0, microsecond=0) for m in (as_of, now))
    begin = hour_then - LOOKED_BACK
    series = [
        weather_on_record(farm, journal.events(at), weather, at, begin, end)
        for at, end in ((as_of, hour_then), (now, hour_now))
    ]
    events = tuple(e for e in journal.events(now) if e.happened_at <= now)
    return Past(issued, found, events, *series)


def is_answered(line: Mapping[str, Any], issued_at: datetime, events: Sequence[Event]) -> bool:
    """Whether an entry tells what became of a line: done, done otherwise, or found unfit.

    Parameters
    ----------
    line : mapping
        A line of an issued list.
    issued_at : datetime
        The moment of that list.
    events : sequence of Event
        Entries that stand.

    Returns
    -------
    bool
        An entry of the whole bed answers for its parts, and one of a part for the bed; so does one
        about the two days before the list that was recorded after it: what was done is not open.
    """
    return any(
        e.kind in DONE_BY
        and e.bed == line["bed"]
        and (e.part is None or line["part"] is None or e.part == line["part"])
        and (e.happened_at >= issued_at or (_is_late(e, issued_at) and was_done(e)))
        for e in events
    )


def _is_late(event: Event, issued_at: datetime) -> bool:
    """Whether an entry tells, after a list, what happened shortly before it; no correction."""
    is_before = issued_at - LATE_ENTRY <= event.happened_at < issued_at
    return is_before and event.recorded_at > issued_at and event.supersedes is None


# ------------------------------------------------------------------------- rain


def unforeseen_rain(past: Past) -> list[Wrong]:
    """Rain that fell where the list had none in sight, or well before its hour."""
    ahead = past.issued.get("rain_ahead")
    if not ahead:
        return []
    from_at = _moment(ahead["from_at"])
    end = past.as_of + SIGHT if from_at is None else from_at
    fell = past.rain(past.as_of, min(end, past.found.as_of))
    if fell.low_mm < WORTH_MM:
        return []
    by = ", by the model" if fell.is_modelled else ""
    began = "" if fell.began_at is None else f" from {past.hour(fell.began_at)}"
    told = f"had no rain in sight; {fell.low_mm:.0f} mm fell{began}{by}"
    if from_at is not None:
        if fell.began_at is None or from_at - fell.began_at < EARLIER:
            return []
        hour = past.hour(from_at)
        told = f"had rain from {hour} on; {fell.low_mm:.0f} mm fell before that,{began}{by}"
    cost = fell.low_mm + sum(_waiting_min(line) for line in _open_lines(past))
    return [Wrong(cost, f"{past.whose} {told}.")]


def rain_that_stayed_away(past: Past) -> list[Wrong]:
    """Rain that was all but promised and did not come, with the beds that waited for it."""
    ahead = past.issued.get("rain_ahead")
    if not ahead or ahead["from_at"] is None or ahead["chance"] < FIT_CHANCE:
        return []
    end = past.as_of + SIGHT
    if end > past.found.as_of + UNREAD_H * _HOUR:
        return []
    fell = past.rain(past.as_of, min(end, past.found.as_of))
    if fell.high_mm > NO_RAIN_MM:
        return []
    held = [b for b in past.lines if (b["verdict"], b["because"]) == ("wait", "rain_after")]
    held_words = f"; {_names(held)} waited for it" if held else ""
    from_at = datetime.fromisoformat(ahead["from_at"])
    begins = "within three hours" if from_at <= past.as_of else f"from {past.hour(from_at)}"
    sentence = f"{past.whose} had rain {begins}, {tenths(ahead['chance'])}; none fell"
    return [Wrong(5.0 + 5.0 * len(held), f"{sentence}{held_words}.")]


def rain_read_since(past: Past) -> list[Wrong]:
    """Rain before the list that the list reckoned otherwise than it is read by now."""
    zone = past.zone
    n_hours = past.then.n_hours - UNREAD_H  # what was not read yet is the forecast's affair
    days: dict[date, list[int]] = defaultdict(list)
    for hour in range(n_hours):
        days[(past.then.start_at + hour * _HOUR).astimezone(zone).date()].append(hour)
    other: list[tuple[date, float, float]] = []
    for day, hours in days.items():
        first, last = hours[0], hours[-1] + 1
        reckoned = _reckoned_mm(past.then, first, last)
        read = read_rain(past.now, first, last)
        if reckoned is None or not np.isfinite(read.high_mm):
            continue
        if _differ(reckoned, read.low_mm) and _differ(reckoned, read.high_mm):
            other.append((day, reckoned, 0.5 * (read.low_mm + read.high_mm)))
    if not other:
        return []
    reckoned, read_mm = sum(o[1] for o in other), sum(o[2] for o in other)
    if not _differ(reckoned, read_mm):
        return []
    on = " and ".join([past.date_words(o[0]) for o in other][:2])
    if len(other) > 2:
        on = f"{len(other)} days since {past.date_words(other[0][0])}"
    first, last = days[other[0][0]][0], days[other[-1][0]][-1] + 1
    is_own = bool((past.now.kinds["rain_mm"][first:last] == Kind.OWN_GAUGE).mean() > 0.5)
    by = "your gauge says" if is_own else "by now the reading is"
    sentence = (
        f"{past.whose} reckoned with {reckoned:.0f} mm of rain on {on}; {by} {read_mm:.0f} mm."
    )
    return [Wrong(abs(read_mm - reckoned), sentence)]


def read_rain(series: WeatherSeries, first: int, last: int) -> Rain:
    """Rain read over some hours of a series.

    Parameters
    ----------
    series : WeatherSeries
        Past hours; what was only forecast counts as not read.
    first, last : int
        Half-open span of hours.

    Returns
    -------
    Rain
        At least and at most [mm]: a total that reaches beyond the span counts for the most only.
        The last hours before the end of the series may be missing.
    """
    rain_mm, kinds = series.rain_mm, series.kinds["rain_mm"]
    is_read = (kinds >= Kind.MODEL) & np.isfinite(rain_mm)
    hours = np.arange(first, max(last, first))
    told = hours[is_read[hours]]
    low = float(rain_mm[told].sum())
    high = low
    is_covered = is_read.copy()
    for total in _read_totals(series):
        begin, end = total.first_hour, total.first_hour + total.n_hours
        if end <= first or begin >= last:
            continue
        is_covered[begin:end] = True
        high += total.rain_mm
        if first <= begin and end <= last:
            low += total.rain_mm
    unread = hours[~is_covered[hours]]
    if (unread < series.n_hours - UNREAD_H).any():
        high = float("inf")
    wet = told[rain_mm[told] >= NO_RAIN_MM]
    began_at = series.start_at + int(wet[0]) * _HOUR if wet.size else None
    modelled = float(rain_mm[told[kinds[told] == Kind.MODEL]].sum())
    return Rain(low, high, began_at, modelled > 0.5 * low)


def _read_totals(series: WeatherSeries) -> list[RainTotal]:
    return [total for total in series.rain_totals if total.kind >= Kind.MODEL]


def _reckoned_mm(series: WeatherSeries, first: int, last: int) -> float | None:
    """Rain that an answer of the series reckons with, read or forecast; None if hours lack it."""
    rain = series.rain_mm[first:last]
    total = float(np.nansum(rain))
    is_told = np.isfinite(rain)
    for each in series.rain_totals:
        begin, end = max(each.first_hour, first), min(each.first_hour + each.n_hours, last)
        if end > begin:
            is_told[begin - first : end - first] = True
            total += each.rain_mm * (end - begin) / each.n_hours
    return total if is_told.all() else None


def _differ(one_mm: float, other_mm: float) -> bool:
    apart = abs(one_mm - other_mm)
    return apart >= REVISED_MM and apart >= REVISED_FRAC * max(one_mm, other_mm)


# ------------------------------------------------------------------------- beds


def no_longer_good(past: Past) -> list[Wrong]:
    """Passes that were to be good for days and cannot be made before that is past."""
    groups: dict[tuple[datetime, str], list[Mapping[str, Any]]] = defaultdict(list)
    for line in _open_lines(past):
        said = _moment(line["last_good_at"])
        now = past.answers.get((line["bed"], line["part"] or ""))
        if said is None or now is None or said < _end_of_work(past, past.found.day):
            continue
        if now.verdict != "wait" or now.because not in _UNFIT or now.until is None:
            continue
        if now.until > said:
            groups[said, now.because].append(line)
    found = []
    for (said, because), lines in groups.items():
        first = min(_until(past, line) for line in lines)
        is_seen = all(_is_in_sight(_answer(past, line).why) for line in lines)
        before = f"before {past.until(first)}" if is_seen else "within the days in sight"
        sentence = (
            f"{past.when} {_names(lines)} {_was(lines)} good until {past.until(said)}; "
            f"{_UNFIT[because]}, not {before}{_rain_words(past, because)}."
        )
        found.append(Wrong(sum(_waiting_min(line) for line in lines), sentence))
    return found


def longer_wet(past: Past) -> list[Wrong]:
    """Beds that were to be dry by today and are too wet for a day more."""
    late = []
    for line, said, now in _wet_lines(past):
        is_due = local_day(said, past.farm.place.time_zone) <= past.found.day
        if (now.verdict, now.because) != ("wait", "wet") or now.until is None or not is_due:
            continue
        if now.until - said >= LATER:
            late.append((line, said))
    if not late:
        return []
    lines = [line for line, _ in late]
    said = max(said for _, said in late)
    first = min(_until(past, line) for line in lines)
    is_seen = all(_is_in_sight(_answer(past, line).why) for line in lines)
    before = f"before {past.until(first)}" if is_seen else "within the days in sight"
    sentence = (
        f"{past.when} {_names(lines)} {_was(lines)} to be dry by {past.hour(said)}; not {before}"
        f"{_rain_words(past, 'wet')}."
    )
    return [Wrong(float(len(lines)), sentence)]


def _rain_words(past: Past, because: str) -> str:
    """The rain since, where it is why."""
    mm = past.rain_since.low_mm
    return f", after {mm:.0f} mm of rain" if because == "wet" and mm >= 1.0 else ""


def _answer(past: Past, line: Mapping[str, Any]) -> BedAnswer:
    return past.answers[line["bed"], line["part"] or ""]


def _until(past: Past, line: Mapping[str, Any]) -> datetime:
    until = _answer(past, line).until
    assert until is not None
    return until


def sooner_fit(past: Past) -> list[Wrong]:
    """Beds that were to be too wet for a day more and can be worked today, with no rain since."""
    if past.rain_since.high_mm >= 1.0:
        return []
    groups: dict[tuple[str, str], list[Mapping[str, Any]]] = defaultdict(list)
    for line, said, now in _wet_lines(past):
        if now.verdict == "go" and now.action is not None and said - now.action.start >= LATER:
            groups[past.until(said), past.until(now.action.start)].append(line)
    return [
        Wrong(
            0.5 * len(lines),
            f"{past.when} {_names(lines)} {_was(lines)} too wet until {said}; "
            f"{'it' if len(lines) == 1 else 'they'} can be worked from {start}.",
        )
        for (said, start), lines in groups.items()
    ]


def _wet_lines(past: Past) -> list[tuple[Mapping[str, Any], datetime, BedAnswer]]:
    """Lines that waited for the soil to dry, with until when, and what is said today."""
    found = []
    for line in past.lines:
        now = past.answers.get((line["bed"], line["part"] or ""))
        said = _moment(line["until"])
        is_wet = (line["verdict"], line["because"]) == ("wait", "wet") and _is_in_sight(line["why"])
        if not is_wet or said is None or now is None:
            continue
        if not is_answered(line, past.as_of, past.events):
            found.append((line, said, now))
    return found


# ----------------------------------------------------------------- what was found


def visits_that_found_otherwise(past: Past) -> list[Wrong]:
    """Soil found unfit in hours in which it was to be fit, or fit while it was to be wet."""
    groups: dict[tuple[str, str], list[Mapping[str, Any]]] = defaultdict(list)
    costs: dict[tuple[str, str], float] = defaultdict(float)
    for event in past.since:
        for line in _lines_of(past, event):
            told = _fit_claim(past, line, event) or _wet_claim(past, line, event)
            if told is not None and line not in groups[told]:
                groups[told].append(line)
                costs[told] += 10.0 + _saved_min(line)
    return [
        Wrong(costs[told], f"{past.when} {_names(lines)} {_was(lines)} {told[0]}; {told[1]}.")
        for told, lines in groups.items()
        if lines
    ]


def _fit_claim(past: Past, line: Mapping[str, Any], event: Event) -> tuple[str, str] | None:
    """The soil was to be fit then, by a line's hours or its own, and was found unfit."""
    what = None
    if event.kind == "pass" and event.data.get("worked") is False and "found" in event.data:
        what = f"you found the soil {event.data['found']}"
    elif event.kind == "feel":
        what = _UNFIT_FEELS.get(str(event.data.get("feel")))
    if what is None:
        return None
    start, end = _moment(line["soil"]["workable_from"]), past.as_of + SIGHT
    until = _moment(line["until"])
    if line["verdict"] == "wait" and until is not None and start is not None:
        start = max(start, until)
    if line["verdict"] == "go" and line["action"]:
        action = line["action"]
        start, end = _moment(action["start"]), _moment(action["end"]) or end
    if start is None or not start <= event.happened_at < end:
        return None
    at = past.hour(event.happened_at)
    return f"to be fit from {past.hour(max(start, past.as_of))}", f"{what} at {at}"


def _wet_claim(past: Past, line: Mapping[str, Any], event: Event) -> tuple[str, str] | None:
    """The soil was to be too wet for hours to come, and was found fit."""
    said = _moment(line["until"])
    if (line["verdict"], line["because"]) != ("wait", "wet") or said is None:
        return None
    if said - event.happened_at < SOON:
        return None
    at = past.hour(event.happened_at)
    if event.kind == "feel" and event.data.get("feel") in _FIT_FEELS:
        how = "it crumbled" if event.data["feel"] == "crumbles" else "it was dry"
        return f"too wet until {past.until(said)}", f"{how} in your hand at {at}"
    if event.kind == "pass" and event.data.get("how") in ("well", "fair"):
        return f"too wet until {past.until(said)}", f"you worked there {event.data['how']} at {at}"
    return None


def _lines_of(past: Past, event: Event) -> list[Mapping[str, Any]]:
    """The lines of the bed and part that an entry is about."""
    return [
        line
        for line in past.lines
        if event.bed == line["bed"] and (event.part is None or event.part == line["part"])
    ]


def soils_not_fit(past: Past) -> list[Wrong]:
    """Soils that were to be fit from an hour of the list's day and, by now, were not all day."""
    strip = past.found.strip
    if strip is None:
        return []
    starts: dict[str, list[datetime | None]] = defaultdict(list)
    for line in past.lines:
        if line["bed"] in past.soil_of:
            starts[past.soil_of[line["bed"]]].append(_moment(line["soil"]["workable_from"]))
    found = []
    for soil, moments in starts.items():
        known = sorted(m for m in moments if m is not None)
        half = (len(moments) + 1) // 2
        if len(known) < half or soil not in strip.workable_frac:
            continue
        said = max(known[half - 1], past.as_of)
        first = max(0, int(-((strip.start_at - said) // _HOUR)))
        last = min(strip.n_past, int((_end_of_day(past, past.day) - strip.start_at) // _HOUR))
        hours = [h for h in range(first, last) if strip.is_open[h]]
        chances = np.asarray(strip.workable_frac[soil])[hours]
        if len(hours) < OPEN_H or chances.max(initial=0.0) > UNFIT_CHANCE:
            continue
        fell = past.rain(past.as_of, _end_of_day(past, past.day))
        why = f", after {fell.low_mm:.0f} mm of rain" if fell.low_mm >= 1.0 else ""
        lost = sum(
            _saved_min(line) for line in _open_lines(past) if past.soil_of.get(line["bed"]) == soil
        )
        sentence = (
            f"{past.whose} had {soil} fit from {past.hour(said)}; by what is known now it was "
            f"unfit all day{why}."
        )
        found.append(Wrong(5.0 + lost, sentence))
    return found


def weeds_counted(past: Past) -> list[Wrong]:
    """Looks that counted far more weeds, or far fewer, than the list held for possible."""
    found = []
    for event in past.since:
        if event.kind != "look":
            continue
        for line in _lines_of(past, event):
            if any(
                e.kind in DONE_BY and e.happened_at <= event.happened_at
                for e in past.since
                if e.bed == event.bed
            ):
                continue
            told = _weeds_words(past, line, event)
            if told:
                found.append(Wrong(2.0 + _saved_min(line), told))
    return found


def _weeds_words(past: Past, line: Mapping[str, Any], event: Event) -> str:
    is_none = event.data.get("nothing") is True
    stages = list(STAGES) if is_none else [stage for stage in STAGES if stage in event.data]
    ranges = [line["weeds"].get(f"{stage}_m2") for stage in stages]
    if not stages or any(span is None for span in ranges):
        return ""
    seen = 0.0 if is_none else sum(float(event.data[stage]) for stage in stages)
    low, high = (sum(float(span[end]) for span in ranges) for end in ("low", "high"))
    is_more = seen > BEYOND * high and seen > high + FEW_M2
    is_fewer = BEYOND * seen < low and seen < low - FEW_M2
    if not (is_more or is_fewer):
        return ""
    bound = f"at most {high:.0f}" if is_more else f"at least {low:.0f}"
    one = _STAGE_WORDS.get(stages[0], "") if len(stages) == 1 else ""
    of = "threads/m2" if stages == ["thread"] else f"weeds/m2{one}"
    counted = "you found none" if seen == 0.0 else f"you counted {seen:.0f}/m2"
    return f"{past.when} {_names([line])} was to have {bound} {of}; {counted}."


# ------------------------------------------------------------------------ pieces


def _open_lines(past: Past) -> list[Mapping[str, Any]]:
    """Lines worth a pass, reached or not, that nothing was logged for."""
    return [
        line
        for line in past.lines
        if line["action"]
        and (line["verdict"] == "go" or line["because"] == "no_hours")
        and not is_answered(line, past.as_of, past.events)
    ]


def _is_in_sight(why: Sequence[str]) -> bool:
    """Whether a wait ends within the days in sight; `until` is the end of these otherwise."""
    return not any(_BEYOND_SIGHT in sentence for sentence in why)


def _end_of_day(past: Past, day: date) -> datetime:
    """Local midnight after a day."""
    zone_name = past.farm.place.time_zone
    return at_local(day + timedelta(days=1), datetime.min.time(), zone_name)


def _end_of_work(past: Past, day: date) -> datetime:
    return at_local(day, past.farm.work.end, past.farm.place.time_zone)


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def _waiting_min(line: Mapping[str, Any]) -> float:
    """What waiting with a line costs [min]; a minute where that is not known."""
    span = line["minutes"]["cost_of_waiting"]
    return 1.0 if span is None else max(1.0, float(span["mid"]))


def _saved_min(line: Mapping[str, Any]) -> float:
    span = line["minutes"]["saved"]
    return 0.0 if span is None else max(0.0, float(span["mid"]))


def _was(lines: Sequence[Mapping[str, Any]]) -> str:
    return "was" if len(lines) == 1 else "were"


def _names(lines: Sequence[Mapping[str, Any]]) -> str:
    """Beds by name: "B4", "B4 and B5", "A1, A2, A3 and 5 more"."""
    names = [
        line["bed"] if line["part"] is None else f"{line['bed']}/{line['part']}" for line in lines
    ]
    if len(names) > NAMED:
        return f"{', '.join(names[: NAMED - 1])} and {len(names) - NAMED + 1} more"
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]
