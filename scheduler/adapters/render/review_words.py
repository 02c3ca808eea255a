"""What the pages of a season review say, statement by statement, before they are laid out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.adapters.render.phrases import (
    MONTHS,
    REASON_WORDS,
    chance_words,
    day_words,
    grower_text,
    minutes_words,
    natural_key,
    range_words,
)
from scheduler.adapters.render.statements import listed, sentence
from scheduler.adapters.weather.sources import credit_lines
from scheduler.records import (
    FitDays,
    FlushWindow,
    PassReview,
    Range,
    Replay,
    ReviewTotal,
    Score,
    SeasonReview,
)

N_COSTLIEST = 5
LONG_MIN = 180.0  # from then on minutes are told in hours
SHORT_MIN, SHORT_ENDS_MIN = 60.0, 600.0  # middle and high end that are told in minutes
LITTLE_D = 0.5  # days a week below which a week is said to have had none
MAX_WEEKS = 4  # weeks without a fit day that are named
LEAST_WEEK_MIN = 1.0  # of cost, for a week to be told

MISSED_WORDS = {
    "never_fit": "soil never fit",
    "crop": "crop too tender, or no tool fits",
    "no_hours": "no hours free",
    "not_done": "on the list, not done",
    "not_listed": "not on the list",
    "no_list": "no list made",
    "unknown": "weather not known",
}
"""Plain words for every reason why a window passed unused."""

REASON_LETTERS = {
    "never_fit": "S",
    "crop": "C",
    "no_hours": "H",
    "not_done": "D",
    "not_listed": "L",
    "no_list": "N",
    "unknown": "?",
}
"""One letter for every reason, as it stands in the strips."""

OWN_MISS_WORDS = {"forecast": "forecast wrong", "model": "model wrong"}
OWN_MISS = "not_listed"
DID_WORDS = {"hit": "paid off alone", "little": "not alone", "in vain": "in vain"}
"""Of passes, each as if it alone had been left out: the saving outweighed its minutes at the farm's
price; it did not, as the others took most of what it would have left; none was."""
EMPTY = "empty bed"
TOTAL_HEADINGS = {"crop": "crop", "planting": "bed", "week": "week of"}
"""The totals that have a table of their own, and what stands over their names."""
AS_LOGGED = "as logged"
WEATHER = "Weather: "  # begins a line that names a source


class MissedRow(NamedTuple):
    """One missed window, in the words of its cells."""

    letter: str
    bed: str
    crop: str
    when: str
    reason: str
    cost: str
    crop_cost: str
    why: str


class ReasonRow(NamedTuple):
    """What one reason cost."""

    letter: str
    reason: str
    n_windows: int
    cost: str
    span: Range


class ToolRow(NamedTuple):
    """The passes of one tool."""

    tool: str
    n_passes: int
    time: str
    n_hit: int
    n_little: int
    n_in_vain: int
    saved: str
    missed: str


class FitRow(NamedTuple):
    """The days of one soil in one month: mean days a week, and that of the years before."""

    month: str
    days: Mapping[str, str]


class ReplayRow(NamedTuple):
    """One rule, played on the same season."""

    rule: str
    hand: str
    machine: str
    passes: str
    span: Range | None  # by hand against the season as logged, as a share of it


class TotalRow(NamedTuple):
    """Minutes under one heading, in words."""

    name: str
    missed: str
    cost: str
    machine: str
    hand: str


class ReviewWords:
    """The words of one season in the units they are printed in."""

    def __init__(self, review: SeasonReview, units: str) -> None:
        self.review = review
        self.units = units
        self.zone = ZoneInfo(review.farm.place.time_zone)
        self.missed = sorted(
            (window for window in review.windows if window.outcome == "missed"),
            key=lambda window: (-window.cost_min.mid, window.ripe_at, natural_key(window.key)),
        )

    def local_day(self, moment: datetime) -> date:
        return moment.astimezone(self.zone).date()

    # ----------------------------------------------------------------- head

    def title(self) -> str:
        return f"Season {self.review.year}, {self.review.farm.name}"

    def stamp(self) -> str:
        """The days read, and when they were read."""
        review = self.review
        made = self.local_day(review.as_of)
        year = "" if made.year == review.year else f" {made.year}"
        days = f"{day_words(review.from_on)} to {day_words(review.to_on)}"
        so_far = "" if review.is_over else ", so far"
        return f"{days}{so_far}; read on {day_words(made)}{year}"

    def summary(self) -> list[str]:
        """What the season was and cost, a sentence each."""
        said = [self.flushes_said(), self.cost_said(), self.work_said(), self.passes_said()]
        return [sentence(text) for text in said if text]

    def flushes_said(self) -> str:
        windows = self.review.windows
        if not windows:
            return "no flush of weeds can be told of this season"
        n_beds = len({window.key for window in windows})
        counts = {
            "hit": "taken by a pass",
            "missed": "missed",
            "small": "too small to be worth one",
            "open": "not over yet",
        }
        parts = [
            f"{n} {words}"
            for outcome, words in counts.items()
            if (n := sum(window.outcome == outcome for window in windows))
        ]
        where = f"{_counted(n_beds, 'bed')} or parts of beds" if n_beds > 1 else "1 bed"
        return f"{_counted(len(windows), 'flush', 'flushes')} in {where}: {', '.join(parts)}"

    def cost_said(self) -> str:
        if not self.review.windows:
            return ""
        if not self.missed:
            return "nothing that was worth a pass was missed"
        cost, lost = self.season_cost(), self.season_yield()
        ones = "the missed one" if len(self.missed) == 1 else "the missed ones"
        said = f"{ones} cost {about_words(cost)} of hand weeding{self.money(cost)}"
        if lost.high >= 1:
            said += f", and crop worth {about_words(lost)} more"
        return said

    def work_said(self) -> str:
        totals = self.review.totals.get("planting", ())
        if not totals:
            return ""
        hand, machine = (
            Range(value, value, value)
            for value in (sum(t.hand_min for t in totals), sum(t.machine_min for t in totals))
        )
        return f"weeding took {time_words(hand)} by hand and {time_words(machine)} with tools"

    def passes_said(self) -> str:
        passes = self.review.passes
        if not passes:
            return "no pass is on record" if self.review.windows else ""
        words = ("paid off", "did not", "in vain")
        parts = [
            f"{n} {said}"
            for did, said in zip(DID_WORDS, words, strict=True)
            if (n := _n_did(passes, did))
        ]
        how = ", each weighed alone, all else as done" if len(passes) > 1 else ""
        said = f"{_counted(len(passes), 'pass', 'passes')}{how}: {', '.join(parts)}"
        saved = _whole(self.review.totals, "saved_min")
        if saved.high < 1:
            return said
        return f"{said}; added up so, they saved {about_words(saved)} by hand"

    def season_cost(self) -> Range:
        """Of the whole season: its own total, else that of the reasons, ends added."""
        return _whole(self.review.totals, "cost_min")

    def season_yield(self) -> Range:
        return _whole(self.review.totals, "yield_min")

    def money(self, span: Range) -> str:
        """The same at the grower's hourly value; nothing where there is none."""
        work = self.review.farm.work
        if not work.hourly_value or span.high < 1:
            return ""
        worth = Range(*(max(v, 0.0) / 60 * work.hourly_value for v in _ends(span)))
        mid = range_words(Range(worth.mid, worth.mid, worth.mid))
        return f", {work.currency} {mid} ({range_words(worth)})".replace(",  ", ", ")

    # --------------------------------------------------------------- missed

    def costliest(self) -> list[MissedRow]:
        """The missed windows that cost most, the dearest first."""
        return [self.missed_row(window) for window in self.missed[:N_COSTLIEST]]

    def all_missed(self) -> list[MissedRow]:
        """Every missed window, in the order they came."""
        ordered = sorted(self.missed, key=lambda w: (w.ripe_at, natural_key(w.key)))
        return [self.missed_row(window) for window in ordered]

    def missed_row(self, window: FlushWindow) -> MissedRow:
        return MissedRow(
            REASON_LETTERS.get(window.reason or "unknown", "?"),
            window.key,
            window.crop or EMPTY,
            self.days(window),
            reason_words(window),
            about_words(window.cost_min),
            about_words(window.yield_min) if window.yield_min.high >= 1 else "",
            grower_text(sentence(window.why), self.units),
        )

    def days(self, window: FlushWindow) -> str:
        """The days in which it could have been taken: "3-4 Jun", "28 May-3 Jun"."""
        return span_of_days(self.local_day(window.ripe_at), self.local_day(window.last_good_at))

    def reasons(self) -> list[ReasonRow]:
        """What each reason cost, the dearest first."""
        return [
            ReasonRow(
                REASON_LETTERS.get(total.name, "?"),
                MISSED_WORDS.get(total.name, total.name),
                total.n_missed,
                about_words(total.cost_min),
                total.cost_min,
            )
            for total in _dearest(self.review.totals.get("reason", ()))
            if total.n_missed
        ]

    def own_said(self) -> str:
        """What of it was the program's own doing."""
        own = [window for window in self.missed if window.reason == OWN_MISS]
        if not own:
            return ""
        parts = [
            f"{n} by a wrong {what}"
            for what in OWN_MISS_WORDS
            if (n := sum(window.own_miss == what for window in own))
        ]
        rest = len(own) - sum(window.own_miss in OWN_MISS_WORDS for window in own)
        parts += [f"{rest} for a reason not found out"] if rest else []
        ones = "is the program's own miss" if len(own) == 1 else "are the program's own misses"
        return sentence(f"not on the list {ones}: {listed(parts)}")

    # ---------------------------------------------------------------- tools

    def tools(self) -> list[ToolRow]:
        """Passes and hours by tool, most hours first."""
        by_tool: dict[str, list[PassReview]] = {}
        for found in self.review.passes:
            by_tool.setdefault(found.tool, []).append(found)
        missed = {total.name: total for total in self.review.totals.get("tool", ())}
        rows = []
        for tool, passes in sorted(by_tool.items(), key=lambda item: -_minutes(item[1])):
            total = missed.get(tool)
            rows.append(
                ToolRow(
                    tool,
                    len(passes),
                    hours_text(_minutes(passes)),
                    _n_did(passes, "hit"),
                    _n_did(passes, "little"),
                    _n_did(passes, "in vain"),
                    about_words(self.saved(tool, passes)),
                    "" if total is None or not total.n_missed else about_words(total.cost_min),
                )
            )
        return rows

    def saved(self, tool: str, passes: Sequence[PassReview]) -> Range:
        """By hand with one tool: its own total, else what its passes saved, ends added."""
        own = next((t for t in self.review.totals.get("tool", ()) if t.name == tool), None)
        return _summed(p.saved_min for p in passes) if own is None else own.saved_min

    def timed_said(self) -> str:
        """How many of the minutes were measured."""
        passes = self.review.passes
        n_timed = sum(found.is_timed for found in passes)
        if n_timed == len(passes):
            return ""
        return f"{len(passes) - n_timed} of {len(passes)} passes were not timed and are reckoned."

    # ------------------------------------------------------------- fit days

    def soils(self) -> list[str]:
        """The soils of the farm that anything is told of, in the order of the farm file."""
        told = {found.soil_name for found in self.review.fit_days}
        told |= {strip.soil_name for strip in self.review.strips}
        of_farm = [name for name in self.review.farm.soils if name in told]
        return [*of_farm, *sorted(told.difference(of_farm))]

    def weeks(self, soil: str) -> list[FitDays]:
        found = (week for week in self.review.fit_days if week.soil_name == soil)
        return sorted(found, key=lambda week: week.week_on)

    def whole_weeks(self, soil: str) -> list[FitDays]:
        """The weeks all of whose days were read: of the others no days a week can be told."""
        first, last = self.review.from_on, self.review.to_on - timedelta(days=6)
        return [week for week in self.weeks(soil) if first <= week.week_on <= last]

    def fit_lines(self) -> list[tuple[str, str]]:
        """One sentence a soil: days a week, the years before, weeks without a day."""
        return [
            (soil, self.fit_said(self.whole_weeks(soil)))
            for soil in self.soils()
            if self.weeks(soil)
        ]

    def fit_said(self, weeks: Sequence[FitDays]) -> str:
        if not weeks:
            return "no whole week was read."
        said = f"{_mean(week.days.mid for week in weeks):.1f} days a week"
        past = [week for week in weeks if week.past_d is not None]
        if past:
            more = sum(w.days.mid > w.past_d.mid + LITTLE_D for w in past if w.past_d)
            less = sum(w.days.mid < w.past_d.mid - LITTLE_D for w in past if w.past_d)
            said += (
                f", {_mean(w.past_d.mid for w in past if w.past_d):.1f} in the years before; "
                f"more days than usual in {more} of {_counted(len(past), 'week')}, "
                f"fewer in {less}"
            )
        none = [week.week_on for week in weeks if week.days.mid < LITTLE_D]
        if len(none) > MAX_WEEKS:
            said += f"; no day at all in {len(none)} weeks"
        elif none:
            week = "the week" if len(none) == 1 else "the weeks"
            said += f"; no day at all in {week} of {listed([day_words(day) for day in none])}"
        return f"{said}."

    def past_said(self) -> str:
        """How many years stand behind the comparison."""
        if not self.review.fit_days:
            return "No days fit for the field can be told: the weather is not known."
        n_years = max(found.n_past_years for found in self.review.fit_days)
        if n_years == 0:
            return "One year on record, so nothing to set it against."
        return f"Set against {_counted(n_years, 'year')} before on record."

    def fit_months(self) -> list[FitRow]:
        """Mean days a week by month and soil, with those of the years before in brackets."""
        whole = {soil: self.whole_weeks(soil) for soil in self.soils()}
        months = sorted(
            {(w.week_on.year, w.week_on.month) for found in whole.values() for w in found}
        )
        rows = []
        for year, month in months:
            days = {}
            for soil in self.soils():
                weeks = [
                    week
                    for week in whole[soil]
                    if (week.week_on.year, week.week_on.month) == (year, month)
                ]
                if weeks:
                    words = f"{_mean(week.days.mid for week in weeks):.1f}"
                    past = [week.past_d.mid for week in weeks if week.past_d is not None]
                    days[soil] = f"{words} ({_mean(past):.1f})" if past else words
            rows.append(FitRow(MONTHS[month - 1], days))
        return rows

    # --------------------------------------------------------------- scores

    def score_lines(self) -> list[tuple[str, str]]:
        """What was forecast, and how good that was, in words."""
        return [
            (score.what, grower_text(sentence(score.words), self.units) + brier_words(score))
            for score in self.review.scores
        ]

    def scored(self) -> tuple[list[tuple[str, str]], list[str]]:
        """The scores that rest on entries, in words, and the names of those that do not."""
        lines = self.score_lines()
        has_any = [score.n > 0 for score in self.review.scores]
        told = [line for line, is_told in zip(lines, has_any, strict=True) if is_told]
        return told, [
            what for (what, _), is_told in zip(lines, has_any, strict=True) if not is_told
        ]

    def brier_said(self) -> str:
        """What a Brier score is to be read against; nothing where there is none."""
        if all(score.brier is None for score in self.review.scores):
            return ""
        return "Brier score: 0 is never wrong, 0.25 is tossing a coin."

    def bin_rows(self, score: Score) -> list[tuple[str, str, int]]:
        """Said, came true, how often."""
        return [(chance_words(said), chance_words(true), n) for said, true, n in sorted(score.bins)]

    # -------------------------------------------------------------- replays

    def replays(self) -> list[ReplayRow]:
        """The rules in the order of the review, against the season as logged."""
        rows = []
        for replay in self.review.replays:
            is_log = replay.rule == AS_LOGGED
            rows.append(
                ReplayRow(
                    replay.rule,
                    "100" if is_log else hundredths_words(replay.of_logged_frac),
                    time_words(replay.machine_min) if replay.n_passes.high else "none",
                    count_words(replay.n_passes),
                    None if is_log else _less_one(replay.of_logged_frac),
                )
            )
        return rows

    def replays_said(self) -> str:
        """Which rule did best, and whether that can be told from chance."""
        others = [replay for replay in self.review.replays if replay.rule != AS_LOGGED]
        if not others:
            return ""
        n_truths = others[0].n_truths
        heading = (
            f"The same weather, beds and sowings, played {_counted(n_truths, 'time')} with "
            "different weeds and soils that fit what is known, by one rule for weeding by hand: so "
            "only how it compares is told, and no figure of it was measured."
        )
        best = min(others, key=lambda replay: replay.of_logged_frac.mid)
        return f"{heading} {self.best_said(best, others)}"

    def best_said(self, best: Replay, others: Sequence[Replay]) -> str:
        against = _less_one(best.of_logged_frac)
        if against.mid >= 0:
            return "No rule did better than the season as logged."
        told = sentence(
            f"{best.rule} did best: {share_against_words(against)} by hand than as logged"
        )
        if against.high > 0:
            told += " It did not in every play, so that may be chance."
        return told

    # --------------------------------------------------------------- totals

    def totals(self) -> list[tuple[str, list[TotalRow]]]:
        """Tables of minutes: what they are by, and their rows."""
        return [
            (way, [self.total_row(way, total) for total in self.total_order(way)])
            for way in TOTAL_HEADINGS
            if self.review.totals.get(way)
        ]

    def total_order(self, way: str) -> list[ReviewTotal]:
        totals = list(self.review.totals.get(way, ()))
        if way == "planting":
            return sorted(totals, key=lambda total: natural_key(total.name))
        if way == "week":
            return sorted(totals, key=lambda total: total.name)
        return _dearest(totals)

    def total_row(self, way: str, total: ReviewTotal) -> TotalRow:
        day = week_of(total.name) if way == "week" else None
        return TotalRow(
            total.name if day is None else day_words(day),
            f"{total.n_missed} of {total.n_windows}" if total.n_windows else "",
            about_words(total.cost_min) if total.n_missed else "",
            hours_text(total.machine_min) if total.machine_min >= 1 else "",
            hours_text(total.hand_min) if total.hand_min >= 1 else "",
        )

    def week_costs(self) -> dict[date, float]:
        """Middle cost of the windows missed, by the Monday of the week."""
        found: dict[date, float] = {}
        for total in self.review.totals.get("week", ()):
            day = week_of(total.name)
            if day is not None and total.cost_min.mid >= LEAST_WEEK_MIN:
                found[day] = found.get(day, 0.0) + total.cost_min.mid
        return found

    # ---------------------------------------------------------------- notes

    def notes(self) -> list[str]:
        return [grower_text(sentence(note), self.units) for note in self.review.notes]

    def credits(self) -> list[str]:
        """Whose data it rests on, and what their licences ask to print."""
        sources = [line.removeprefix(WEATHER) for line in self.review.attribution]
        return [*dict.fromkeys((*self.review.attribution, *credit_lines(sources)))]

    # --------------------------------------------------------------- strips

    def strip_said(self, key: str) -> str:
        """One planting's season in a sentence, for those who see no pictures."""
        strip = next(s for s in self.review.strips if strip_key(s.bed, s.part) == key)
        first = self.review.from_on

        def day(number: int) -> str:
            return day_words(first + timedelta(days=number))

        grown = [f"{crop} {day(a)} to {day(b - 1)}" for a, b, crop in strip.crops if crop]
        windows = [window for window in self.review.windows if window.key == key]
        flushes = [
            f"{self.days(w)} {'missed, ' + reason_words(w) if w.outcome == 'missed' else w.outcome}"
            for w in windows
        ]
        passes = [found for found in self.review.passes if is_of(found, strip.bed, strip.part)]
        did = [f"{n} {words}" for kind, words in DID_WORDS.items() if (n := _n_did(passes, kind))]
        n_hand = sum(kind == "hand" for _, kind, _ in strip.done)
        total = strip.weeds_m2.sum(axis=1)
        most = int(total.argmax()) if len(total) else 0
        said = [
            f"{key}: {', '.join(grown) or 'no crop'}",
            f"{_counted(len(windows), 'flush', 'flushes')}"
            + (f" ({'; '.join(flushes)})" if flushes else ""),
            f"{_counted(len(passes), 'pass', 'passes')}" + (f" ({', '.join(did)})" if did else ""),
            f"{_counted(n_hand, 'hand weeding')}",
        ]
        if len(total) and total[most] >= 1:
            said.append(f"most weeds on {day(most)}, {total[most]:.0f} weeds/m2")
        return grower_text("; ".join(said) + ".", self.units)


# ------------------------------------------------------------------ words


def strip_key(bed: str, part: str | None) -> str:
    """A planting's name: the bed, and the part if it is one."""
    return bed if part is None else f"{bed}/{part}"


def is_of(found: PassReview, bed: str, part: str | None) -> bool:
    """Whether a pass went over this bed or part; one over the whole bed went over its parts."""
    return found.bed == bed and found.part in (None, part)


def reason_words(window: FlushWindow) -> str:
    """Why a window was missed, with what lay behind it: "soil never fit: wet"."""
    reason = window.reason or "unknown"
    words = MISSED_WORDS.get(reason, reason)
    because = REASON_WORDS.get(window.because or "", window.because or "")
    if reason == "crop" and window.because in ("crop_tender", "crop_up", "no_fit"):
        return because
    if reason == "never_fit" and because:
        return f"{words}: {because}"
    if reason == OWN_MISS and window.own_miss:
        return f"{words}: {OWN_MISS_WORDS.get(window.own_miss, window.own_miss)}"
    return words


def time_words(span: Range) -> str:
    """A span of minutes, none below nought, in minutes or hours.

    Examples
    --------
    >>> time_words(Range(20.0, 40.0, 90.0)), time_words(Range(50.0, 300.0, 900.0))
    ('20-90 min', '0.8-15 h')
    """
    if span.high < LONG_MIN:
        return minutes_words(span)
    low, high = _hours(max(span.low, 0.0)), _hours(span.high)
    if float(low) == 0:
        return f"up to {high} h"
    return f"{high} h" if low == high else f"{low}-{high} h"


def about_words(span: Range) -> str:
    """The middle of a span of minutes, and its ends in brackets where they differ.

    In minutes where the middle is under an hour and the high end under ten.

    Examples
    --------
    >>> about_words(Range(8.0, 37.0, 167.0)), about_words(Range(-5.0, 60.0, 900.0))
    ('37 min (8-170)', '1 h (up to 15)')
    >>> about_words(Range(3.3, 20.2, 181.0)), about_words(Range(-2.0, 0.0, 310.0))
    ('20 min (3-180)', '0 min (up to 310)')
    >>> about_words(Range(-4.0, -1.0, 0.3)), about_words(Range(120.0, 120.0, 120.0))
    ('under a minute', '120 min')
    """
    is_short = span.mid < SHORT_MIN and span.high < SHORT_ENDS_MIN
    ends = minutes_words(span) if is_short else time_words(span)
    number, _, unit = ends.rpartition(" ")
    if unit not in ("min", "h") or ("-" not in number and not number.startswith("up to")):
        return ends
    mid = max(span.mid, 0.0)
    middle = _hours(mid) if unit == "h" else f"{float(f'{mid:.2g}'):.0f}"
    return f"{middle} {unit} ({number})"


def _hours(minutes: float) -> str:
    """Hours of so many minutes, with one decimal below ten and two figures above."""
    hours = minutes / 60
    if hours < 9.95:
        return f"{hours:.1f}".removesuffix(".0")
    return f"{hours:.0f}" if hours < 99.5 else f"{hours / 10:.0f}0"


def share_against_words(span: Range) -> str:
    """A difference as a share, in words.

    Examples
    --------
    >>> share_against_words(Range(-0.42, -0.3, -0.11)), share_against_words(Range(-0.2, 0.0, 0.05))
    ('11-42 % less', 'from 20 % less to 5 % more')
    """
    if span.high <= 0:
        return f"{_between(-100.0 * span.high, -100.0 * span.low)} % less"
    if span.low >= 0:
        return f"{_between(100.0 * span.low, 100.0 * span.high)} % more"
    return f"from {-100.0 * span.low:.0f} % less to {100.0 * span.high:.0f} % more"


def hundredths_words(span: Range) -> str:
    """A share in hundredths, from the low end to the high one.

    Examples
    --------
    >>> hundredths_words(Range(0.58, 0.7, 0.89)), hundredths_words(Range(1.0, 1.0, 1.0))
    ('58-89', '100')
    """
    return _between(100.0 * span.low, 100.0 * span.high)


def _between(low: float, high: float) -> str:
    return "-".join(dict.fromkeys((f"{low:.0f}", f"{high:.0f}")))


def _less_one(span: Range) -> Range:
    return Range(span.low - 1.0, span.mid - 1.0, span.high - 1.0)


def hours_text(minutes: float) -> str:
    """One sum of minutes in minutes or hours, two figures: "45 min", "6.2 h"."""
    return time_words(Range(minutes, minutes, minutes))


def count_words(span: Range) -> str:
    """A span of counts: "170-195", or one number."""
    low, high = round(span.low), round(span.high)
    return str(low) if low == high else f"{low}-{high}"


def span_of_days(first: date, last: date) -> str:
    """Days from one to another: "3 Jun", "3-4 Jun", "28 May-3 Jun"."""
    if last <= first:
        return day_words(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day}-{day_words(last)}"
    return f"{day_words(first)}-{day_words(last)}"


def brier_words(score: Score) -> str:
    """The Brier score; nothing where there is none."""
    return "" if score.brier is None else f" Brier score {score.brier:.2f}."


def week_of(name: str) -> date | None:
    """The Monday that names a week; None where the name is no date."""
    try:
        return date.fromisoformat(name)
    except ValueError:
        return None


# ------------------------------------------------------------------- sums


def _ends(span: Range) -> tuple[float, float, float]:
    return span.low, span.mid, span.high


def _summed(spans: Iterable[Range]) -> Range:
    """Ends added to ends, which is wider than the range of the sum."""
    low = mid = high = 0.0
    for span in spans:
        low, mid, high = low + span.low, mid + span.mid, high + span.high
    return Range(low, mid, high)


def _whole(totals: Mapping[str, Sequence[ReviewTotal]], name: str) -> Range:
    found = totals.get("season") or totals.get("reason") or ()
    return _summed(getattr(total, name) for total in found)


def _dearest(totals: Iterable[ReviewTotal]) -> list[ReviewTotal]:
    return sorted(totals, key=lambda total: (-total.cost_min.mid, natural_key(total.name)))


def _minutes(passes: Iterable[PassReview]) -> float:
    return sum(found.work_min for found in passes)


def _n_did(passes: Iterable[PassReview], did: str) -> int:
    return sum(found.did == did for found in passes)


def _mean(values: Iterable[float]) -> float:
    found = list(values)
    return sum(found) / len(found) if found else 0.0


def _counted(count: int, one: str, more: str = "") -> str:
    return f"{count} {one}" if count == 1 else f"{count} {more or one + 's'}"
