"""The words of the pages: reasons, moments, chances, lists of beds, and the grower's units."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from scheduler.adapters.quantities import M_PER_FT, M_S_PER_KM_H, M_S_PER_MPH, MM_PER_IN
from scheduler.records import Range

VERDICTS = ("go", "wait", "hand", "nothing")

REASON_WORDS = {
    "wet": "wet",
    "hard": "too hard",
    "weeds_small": "weeds too small",
    "crop_tender": "crop too tender",
    "crop_up": "crop covers the ground",
    "no_fit": "no tool fits",
    "no_hours": "no hours left today",
    "rain_after": "rain after it",
    "clean": "nothing worth a pass",
    "unknown": "not known",
    "planned": "planned for then",  # of a what-if alone
}
"""Plain words for every reason code of the answer."""

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
WEEKDAYS_LONG = (
    "Monday",
    "Tuesday",
    "Wednesday",
    "Thursday",
    "Friday",
    "Saturday",
    "Sunday",
)
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


# ------------------------------------------------------------------ moments


def day_words(day: date) -> str:
    """A day without its year, as "8 May"."""
    return f"{day.day} {MONTHS[day.month - 1]}"


def dated_words(day: date) -> str:
    """A date with its weekday, as "Tue 14 May"."""
    return f"{WEEKDAYS[day.weekday()]} {day_words(day)}"


def near_day_words(day: date, today: date) -> str:
    """A day as the grower would say it: "today", "Thu" within the next six days, else "22 May"."""
    ahead_d = (day - today).days
    if ahead_d == 0:
        return "today"
    if 0 < ahead_d <= 6:
        return WEEKDAYS[day.weekday()]
    return day_words(day)


def hour_words(moment: datetime, zone: ZoneInfo) -> str:
    """The wall clock of a moment, as "10:30"."""
    return f"{moment.astimezone(zone):%H:%M}"


def moment_words(moment: datetime, now: datetime, zone: ZoneInfo) -> str:
    """A moment to the hour: "now", "10:30" today, "Thu 10:30" within six days, else "22 May"."""
    if moment <= now:
        return "now"
    local = moment.astimezone(zone)
    today = now.astimezone(zone).date()
    ahead_d = (local.date() - today).days
    if ahead_d == 0:
        return hour_words(moment, zone)
    if ahead_d <= 6:
        return f"{WEEKDAYS[local.weekday()]} {local:%H:%M}"
    return day_words(local.date())


def half_day_words(moment: datetime, now: datetime, zone: ZoneInfo) -> str:
    """A moment to the part of a day: "10:30" today, "Thu noon" within six days, else "22 May".

    Today's is told to the half hour.
    """
    local = moment.astimezone(zone)
    ahead_d = (local.date() - now.astimezone(zone).date()).days
    if ahead_d == 0 and moment > now:
        halves = min(47, round(local.hour * 2 + local.minute / 30))
        return f"{halves // 2:02d}:{halves % 2 * 30:02d}"
    if ahead_d < 1 or ahead_d > 6:
        return moment_words(moment, now, zone)
    if local.hour < 10:
        part = "morning"
    elif local.hour < 14:
        part = "noon"
    elif local.hour < 18:
        part = "afternoon"
    else:
        part = "evening"
    return f"{WEEKDAYS[local.weekday()]} {part}"


def age_words(age_h: float) -> str:
    """An age in hours or days, as "3 h old" or "2 days old"."""
    if age_h < 36:
        return f"{max(0, round(age_h))} h old"
    return f"{round(age_h / 24)} days old"


def hours_words(hours: float) -> str:
    """Hours of work available: "3 h", "2 h 30 min", "no hours"."""
    whole = round(hours * 60)
    if whole == 0:
        return "no hours"
    full, rest = divmod(whole, 60)
    if full == 0:
        return f"{rest} min"
    return f"{full} h" if rest == 0 else f"{full} h {rest} min"


# ------------------------------------------------------------------ figures


def chance_words(chance_frac: float) -> str:
    """A chance in tenths: "7 in 10"; the ends are never called certain."""
    if math.isnan(chance_frac):
        return "not known"
    if chance_frac >= 0.95:
        return "over 9 in 10"
    if chance_frac < 0.05:
        return "under 1 in 10"
    return f"{max(1, round(chance_frac * 10))} in 10"


def range_words(span: Range) -> str:
    """The span from 10 to 90 % of weight, rounded to two figures: "20-90", or one number."""
    low, high = _two_figures(span.low), _two_figures(span.high)
    return low if low == high else f"{low}-{high}"


def minutes_words(span: Range) -> str:
    """Minutes from 10 to 90 % of weight, none below zero: "20-90 min", "up to 9 min"."""
    low, high = max(span.low, 0.0), max(span.high, 0.0)
    if round(high) < 1:
        return "under a minute"
    if round(low) < 1:
        return f"up to {_two_figures(max(1.0, round(high)))} min"
    if round(low) == round(high):
        return f"{_two_figures(round(low))} min"
    return f"{_two_figures(round(low))}-{_two_figures(round(high))} min"


def _two_figures(value: float) -> str:
    if not math.isfinite(value):
        return "?"
    if value == 0:
        return "0"
    places = 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    return f"{rounded:.0f}" if places <= 0 else f"{rounded:.{places}f}".rstrip("0").rstrip(".")


# --------------------------------------------------------------- lists of beds


def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """A sort key that puts B2 before B10."""
    return tuple(
        (0, int(piece), "") if piece.isdecimal() else (1, 0, piece.casefold())
        for piece in re.split(r"(\d+)", name)
        if piece
    )


def bed_ranges(names: Iterable[str]) -> str:
    """Names of beds as a short list: C1, C2, C3 and C9 become "C1-C3, C9".

    Three or more names that count upwards by one become a range; two stay two names.
    """
    ordered = sorted(set(names), key=natural_key)
    runs: list[list[str]] = []
    for name in ordered:
        if runs and _is_next(runs[-1][-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    words: list[str] = []
    for run in runs:
        if len(run) >= 3:
            words.append(f"{run[0]}-{run[-1]}")
        else:
            words.extend(run)
    return ", ".join(words)


def _is_next(name: str, following: str) -> bool:
    first, second = (re.fullmatch(r"(.*?)(\d+)", text) for text in (name, following))
    return (
        first is not None
        and second is not None
        and first[1] == second[1]
        and int(second[2]) == int(first[2]) + 1
    )


# ------------------------------------------------------------ grower's units

_NUMBER = r"(?<![\w.])(-?\d+(?:\.\d+)?)(?:(-| to )(\d+(?:\.\d+)?))?"


def _plain(value: float, unit: str) -> str:
    if unit == "in":
        if abs(value) < 0.095:
            return f"{value:.2f}"
        return f"{value:.1f}" if abs(value) < 9.95 else f"{value:.1f}".removesuffix(".0")
    if unit == "ft":
        return f"{value:.0f}" if abs(value) >= 10 else f"{value:.1f}"
    return f"{value:.0f}" if abs(value) >= 10 or unit == "F" else f"{value:.1f}"


_US_UNITS: tuple[tuple[str, str, str, Callable[[float], float]], ...] = (
    # pattern of the SI unit as written by the program, unit for figures, text, conversion
    (r" mm\b", "in", " in", lambda v: v / MM_PER_IN),
    (r" cm\b", "in", " in", lambda v: v * 10.0 / MM_PER_IN),
    (r" m/s\b", "mph", " mph", lambda v: v / M_S_PER_MPH),
    (r" km/h\b", "mph", " mph", lambda v: v * M_S_PER_KM_H / M_S_PER_MPH),
    (r" m\b(?![/\d])", "ft", " ft", lambda v: v / M_PER_FT),
    (r" C\b(?! d\b)", "F", " F", lambda v: v * 1.8 + 32.0),
    (r"( growing)? degree-days\b(?: C\b)?", "gdd", " degree-days F", lambda v: v * 1.8),
    (r"( [a-z][a-z -]*)?/m2\b", "sq ft", "/sq ft", lambda v: v * M_PER_FT**2),
)


def grower_text(sentence: str, units: str) -> str:
    """The sentence with its SI quantities in the grower's units; metric text is left as it is.

    Quantities are recognised as a number or a span, a blank, and a unit: "12 mm", "3-6 C",
    "310 threads/m2", "86 degree-days". Everything else stays untouched.
    """
    if units != "us":
        return sentence

    for pattern, unit, text, convert in _US_UNITS:

        def exchange(
            found: re.Match[str],
            unit: str = unit,
            text: str = text,
            convert: Callable[[float], float] = convert,
        ) -> str:
            first = _plain(convert(float(found[1])), unit)
            span = first
            if found[3] is not None:
                span = f"{first}{found[2]}{_plain(convert(float(found[3])), unit)}"
            noun = found[4] if found.re.groups > 3 and found[4] else ""
            return f"{span}{noun}{text}"

        sentence = re.sub(_NUMBER + pattern, exchange, sentence)
    return re.sub(r"(\d[^;:()]*?) per m2\b", _per_square_foot, sentence)


def _per_square_foot(counts: re.Match[str]) -> str:
    """Every count of "15 threads, 170 up per m2" by the square foot."""
    per_ft2 = re.sub(
        r"\d+(?:\.\d+)?", lambda found: _plain(float(found[0]) * M_PER_FT**2, "sq ft"), counts[1]
    )
    return f"{per_ft2} per sq ft"


# ------------------------------------------------------------------- lines


def wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """`text` in lines of at most `width` columns, begun by `first` and continued by `rest`."""
    import textwrap

    return textwrap.wrap(
        text,
        width=width,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
        break_long_words=True,
    ) or [first.rstrip()]


def joined_while_fits(clauses: Sequence[str], width: int, joint: str = "; ") -> str:
    """Whole clauses, in order, as many as fit into `width` columns.

    Only the first clause, which always comes, is shortened where it is too long by itself: at a
    comma or colon, else at a word and marked "..".
    """
    line = ""
    for clause in clauses:
        if not line:
            line = _shortened(clause, width)
        elif len(line) + len(joint) + len(clause) <= width:
            line += joint + clause
    return line


def _shortened(clause: str, width: int) -> str:
    if len(clause) <= width:
        return clause
    for mark in (", ", ": "):
        head = clause[: width + 2].rpartition(mark)[0]
        if len(head) >= width // 2:
            return head
    return f"{clause[: width - 1].rpartition(' ')[0].rstrip(',;:')}.."
