"""What changes, side by side, for a terminal: only what is another, the rest in a line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from scheduler.adapters.quantities import duration_text, rain_text
from scheduler.adapters.render.phrases import (
    REASON_WORDS,
    bed_ranges,
    chance_words,
    dated_words,
    grower_text,
    half_day_words,
    hour_words,
    hours_words,
    minutes_words,
    natural_key,
    near_day_words,
    wrapped,
)
from scheduler.adapters.render.statements import DayWords, planting_name, sentence
from scheduler.adapters.render.text import LABEL_WIDTH, MIN_WIDTH, NARROW_WIDTH
from scheduler.planning.whatif import PlantingChange, Totals, WhatIf
from scheduler.records import BedAnswer, Event

MAX_ROWS = 10  # of the table, before its cells say less and beds of one fate share a row
MAX_NAMED = 3  # plantings, or groups of them, told one by one in a line
MOST_NAMED = 12  # beds of a group that are named; of more the number is told
HOURS_MOVED = timedelta(hours=1)  # from which the hours of a line are told to move
UNTIL_MOVED = timedelta(hours=3)  # the end of a wait
THREADS_MOVED = timedelta(hours=12)
CHANCE_MOVED = 0.1
CRUST_TOLD = 0.2  # chance below which no crust is told
SAVED_MOVED_MIN = 3.0
SAVED_MOVED_FRAC = 0.2
HAND_MOVED_MIN = 2.0
HAND_NAMED_MIN = 5.0

NO_HOURS = "worth a pass, no hours"
AS_IT_STANDS, WHAT_IF = "as it stands", "what if"


def whatif_text(
    found: WhatIf, width: int = 80, units: str | None = None, lines_to_log: Sequence[str] = ()
) -> str:
    """The page of a what-if.

    Parameters
    ----------
    found
        Both lists.
    width
        Columns; no line is longer. Below 72 before and after stand in one paragraph.
    units
        "us" or "metric"; the farm's own where None.
    lines_to_log
        Commands that would write down what has happened already.

    Returns
    -------
    str
        Ends with a line break.

    Raises
    ------
    ValueError
        A width below 36 columns.
    """
    if width < MIN_WIDTH:
        raise ValueError(f"width: {width} columns; at least {MIN_WIDTH} are needed")
    page = WhatIfPage(found, width, found.before.farm.units if units is None else units)
    blocks = [
        page.head(),
        page.totals(),
        page.table(),
        page.details(),
        page.unchanged(),
        page.foot(lines_to_log),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


class WhatIfPage:
    """One what-if laid out."""

    def __init__(self, found: WhatIf, width: int, units: str) -> None:
        self.found = found
        self.width = width
        self.units = units
        self.zone = ZoneInfo(found.before.farm.place.time_zone)
        self.now = found.before.as_of
        self.was = DayWords(found.before, units)
        self.then = DayWords(found.after, units)
        self.is_idle = found.changes.hours_today_h == 0.0
        self.flips = [p for p in found.plantings if self.is_flip(p)]
        self.stay = [p for p in found.plantings if not self.is_flip(p)]

    # --------------------------------------------------------------------- words

    def moment(self, moment: datetime) -> str:
        return half_day_words(moment, self.now, self.zone)

    def when(self, moment: datetime) -> str:
        """A moment of a change, as "today 20:00", "Thu 10:00" or "yesterday 18:00"."""
        local = moment.astimezone(self.zone)
        today = self.now.astimezone(self.zone).date()
        day = {0: "today", 1: "tomorrow", -1: "yesterday"}.get(
            (local.date() - today).days, dated_words(local.date())
        )
        return f"{day} {local:%H:%M}"

    def span(self, start_at: datetime, end_at: datetime) -> str:
        same = start_at.astimezone(self.zone).date() == end_at.astimezone(self.zone).date()
        end = hour_words(end_at, self.zone) if same else self.when(end_at)
        return f"{self.when(start_at)} to {end}"

    def question(self) -> str:
        """What is taken to be another, in words."""
        changes = self.found.changes
        said = []
        for rain in changes.rain:
            amount = f"{rain_text(rain.rain_mm, self.units)} of" if rain.rain_mm > 0.0 else "no"
            said.append(f"{amount} rain, {self.span(rain.start_at, rain.end_at)}")
        if changes.is_dry:
            said.append("no other rain" if said else "no rain in all days in sight")
        said += [self.event_words(event) for event in (*changes.logged, *changes.acts)]
        if changes.is_skipped:
            said.append("nothing done today")
        elif changes.hours_h is not None:
            said.append(f"{hours_words(changes.hours_h)} to work today")
        return "; ".join(said) if said else "nothing is another"

    def event_words(self, event: Event) -> str:
        if event.kind == "rain":
            start, end = (
                datetime.fromisoformat(str(event.data[key])) for key in ("start_at", "end_at")
            )
            fell = rain_text(float(event.data.get("rain_mm", 0.0)), self.units)
            return f"{fell} fell, {self.span(start, end)}"
        name = event.bed if event.part is None else f"{event.bed}/{event.part}"
        when = "now" if event.happened_at == self.now else self.when(event.happened_at)
        if event.kind == "water":
            return f"{rain_text(float(event.data['water_mm']), self.units)} on {name}, {when}"
        return f"{event.data['tool']} on {name}, {when}"

    def verdict(self, line: BedAnswer, detail: int) -> str:
        """One verdict in a cell; `detail` 2 is longest, 0 says only what is to be done."""
        reason = REASON_WORDS.get(line.because, line.because.replace("_", " "))
        if line.verdict == "go" and line.action is not None:
            action = line.action
            if detail == 0:
                return "go"
            start, end = hour_words(action.start, self.zone), hour_words(action.end, self.zone)
            tool = f"{action.tool} {action.setup}" if action.setup else action.tool
            words = [f"go, {tool}, {start}-{end}"]
            saved = (line.minutes or {}).get("saved")
            if detail == 2 and saved is not None:
                words.append(f"saves {minutes_words(saved)}")
            if detail == 2 and line.sure is not None:
                words.append(f"sure {chance_words(line.sure)}")
            return "; ".join(words)
        if line.verdict == "hand":
            span = (line.minutes or {}).get("by_hand")
            told = f", {minutes_words(span)}" if span is not None and detail == 2 else ""
            return f"by hand{told}"
        if line.verdict == "nothing":
            return "nothing worth a pass" if line.because == "clean" else f"nothing, {reason}"
        if line.because == "no_hours":
            cost = (line.minutes or {}).get("cost_of_waiting")
            if cost is None or detail < 2 or round(cost.high) < 1:
                return NO_HOURS
            return f"{NO_HOURS}; waiting costs {minutes_words(cost)}"
        if line.until is None:
            return f"wait, {reason}, no end in sight"
        return f"wait until {self.moment(line.until)}, {reason}"

    # ---------------------------------------------------------------- what is told

    def is_flip(self, change: PlantingChange) -> bool:
        """Whether what is to be done is another: verdict, reason, tool, hours, end of a wait."""
        a, b = change.before, change.after
        if (a.verdict, a.because) != (b.verdict, b.because):
            return True
        if a.action is not None and b.action is not None and a.verdict == "go":
            hours = ((a.action.start, b.action.start), (a.action.end, b.action.end))
            return (a.action.tool, a.action.setup) != (b.action.tool, b.action.setup) or any(
                abs(x - y) >= HOURS_MOVED for x, y in hours
            )
        if a.because == "no_hours" or not _is_moved(a.until, b.until, UNTIL_MOVED):
            return False
        return self.verdict(a, 2) != self.verdict(b, 2)  # half days: three hours may be one

    # --------------------------------------------------------------------- blocks

    def head(self) -> list[str]:
        title = f"What if: {self.question()}?"
        stamp = f"as of {dated_words(self.now.astimezone(self.zone).date())} "
        stamp += hour_words(self.now, self.zone)
        if len(title) + len(stamp) + 2 <= self.width:
            lines = [title + stamp.rjust(self.width - len(title))]
        else:
            lines = [*wrapped(title, self.width), stamp]
        return lines + wrapped(self.answer(), self.width)

    def answer(self) -> str:
        """The whole in a sentence or two."""
        found = self.found
        before = {_place(b) for b in found.before.beds if b.verdict == "go"}
        after = {_place(b) for b in found.after.beds if b.verdict == "go"}
        if all(p.is_same for p in found.plantings) and before == after:
            return "Nothing changes: the list stands."
        stay = before & after
        n_otherwise = sum(_place(p.before) in stay for p in self.flips)
        others = [p for p in self.flips if _place(p.before) not in before | after]
        words = _lines_words(before, after, n_otherwise)
        return f"{words} {_fare(len(others))}".strip()

    def totals(self) -> list[str]:
        """What both lists plan, in a small table."""
        a, b = self.found.before_totals, self.found.after_totals
        if a == b and not self.is_idle:
            return []
        rows = [
            ("lines today", f"{a.n_lines}", f"{b.n_lines}"),
            ("with set-ups", duration_text(a.minutes), duration_text(b.minutes)),
            ("saved by hand", _about(a.saved_min), _about(b.saved_min)),
            ("beyond the hours", _beyond(a), f"{b.n_not_reached}" if self.is_idle else _beyond(b)),
        ]
        rows = [row for row in rows if not set(row[1:]) <= {"none", "0"}]
        first = max(len(row[0]) for row in rows) + 2
        second = max(len(AS_IT_STANDS), *(len(row[1]) for row in rows)) + 2
        if first + second + max(len(row[2]) for row in rows) > self.width:
            return [
                part
                for name, x, y in rows
                for part in wrapped(f"{name}: {x} -> {y}", self.width, rest="  ")
            ]
        return [
            f"{'':<{first}}{AS_IT_STANDS:<{second}}{WHAT_IF}",
            *(f"{name:<{first}}{x:<{second}}{y}" for name, x, y in rows),
        ]

    def table(self) -> list[str]:
        """The plantings whose verdict, tool, hours or wait is another, side by side."""
        if not self.flips:
            return []
        rows: list[tuple[str, str, str]] = []
        for detail in (2, 1, 0):
            rows = self.rows(detail)
            if len(rows) <= MAX_ROWS:
                break
        if self.width < NARROW_WIDTH:
            return [
                line
                for names, was, then in rows
                for line in wrapped(f"{names}: {was} -> {then}", self.width, rest="  ")
            ]
        name_width = min(max(LABEL_WIDTH, *(len(names) for names, _, _ in rows)), 20)
        cell = (self.width - name_width - 4) // 2
        lines = [f"{'':<{name_width}}  {AS_IT_STANDS:<{cell}}  {WHAT_IF}"]
        for names, was, then in rows:
            columns = [wrapped(names, name_width), wrapped(was, cell), wrapped(then, cell)]
            for i in range(max(map(len, columns))):
                texts = [column[i] if i < len(column) else "" for column in columns]
                lines.append(f"{texts[0]:<{name_width}}  {texts[1]:<{cell}}  {texts[2]}".rstrip())
        return lines

    def rows(self, detail: int) -> list[tuple[str, str, str]]:
        """Names, before and after; beds whose cells say the same share a row."""
        shared: dict[tuple[str, str], list[str]] = defaultdict(list)
        in_order = sorted(
            self.flips,
            key=lambda p: (p.before.rank is None, p.before.rank or 0, natural_key(p.key)),
        )
        for p in in_order:
            was, then = self.verdict(p.before, detail), self.verdict(p.after, detail)
            if was == then:
                was, then = self.verdict(p.before, 2), self.verdict(p.after, 2)
            shared[was, then].append(planting_name(p.before))
        crops = {planting_name(p.before): p.before.crop for p in self.flips}
        rows = []
        for (was, then), names in shared.items():
            told = bed_ranges(names)
            if len(names) == 1 and crops[names[0]]:
                told = f"{told} {crops[names[0]]}"
            rows.append((told, was, then))
        return rows

    def details(self) -> list[str]:
        """Soil, threads, crust, worth and minutes by hand, a labelled line each."""
        return [
            *self.soil(),
            *self.labelled("Threads", self.threads()),
            *self.labelled("Crust", self.crusts()),
            *self.labelled("Last good", self.last_good()),
            *self.labelled("Saves", self.saves()),
            *self.labelled("Sure", self.sure()),
            *self.labelled("By hand", self.by_hand()),
            *self.labelled("Lost", self.lost()),
        ]

    def labelled(self, label: str, text: str) -> list[str]:
        if not text:
            return []
        said = grower_text(text, self.units)
        if self.width < NARROW_WIDTH:
            return wrapped(f"{label}: {said}", self.width, rest="  ")
        return wrapped(
            said, self.width, first=f"{label:<{LABEL_WIDTH}} ", rest=" " * (LABEL_WIDTH + 1)
        )

    def soil(self) -> list[str]:
        was, then = self.was.soil_words(), self.then.soil_words()
        if was == then:
            return []
        short = [
            text.removeprefix("Soil fit for every tool, 8 in 10 sure: ") for text in (was, then)
        ]
        told = f"for every tool: {short[0].rstrip('.')} -> {short[1].rstrip('.')}"
        return self.labelled("Soil fit", told)

    def threads(self) -> str:
        """When the flush in force opens and its threads come, where either is another."""

        def told(p: PlantingChange) -> str:
            a, b = p.before.flush, p.after.flush
            if b is None or b.opened_at is None:
                return ""
            was = None if a is None else a.thread_from
            is_new = a is None or _is_moved(a.opened_at, b.opened_at, HOURS_MOVED)
            if not is_new and not _is_moved(was, b.thread_from, THREADS_MOVED):
                return ""
            threads = "beyond sight" if b.thread_from is None else self.day(b.thread_from)
            if is_new:
                by = {"wetting": "the rain", "watering": "the water"}.get(
                    b.opened_by or "", f"the {b.opened_by}"
                )
                return f"a new flush by {by} {self.day(b.opened_at)}, threads from {threads}"
            before = "beyond sight" if was is None else self.day(was)
            return "" if before == threads else f"from {before} -> {threads}"

        def ahead(p: PlantingChange) -> str:
            """The next flush that a wetting opens."""
            a, b = p.before.flush, p.after.flush
            was = None if a is None else a.next_expected_at
            then = None if b is None else b.next_expected_at
            if not _is_moved(was, then, THREADS_MOVED):
                return ""
            words = ["none in sight" if m is None else self.day(m) for m in (was, then)]
            return "" if words[0] == words[1] else f"{words[0]} -> {words[1]}"

        now, later = self.grouped(told), self.grouped(ahead)
        return "; ".join(
            text for text in (now, f"next wetting of dry ground: {later}" if later else "") if text
        )

    def day(self, moment: datetime) -> str:
        today = self.now.astimezone(self.zone).date()
        return near_day_words(moment.astimezone(self.zone).date(), today)

    def crusts(self) -> str:
        """The chance of a crust where it is another: bed by bed where few, else soil by soil."""
        moved = []
        for p in self.found.plantings:
            a, b = p.before.crust, p.after.crust
            by = abs((b.chance if b else 0.0) - (a.chance if a else 0.0))
            if by >= CHANCE_MOVED and self.crust_words([p.before]) != self.crust_words([p.after]):
                moved.append(p)
        if len(moved) <= MAX_NAMED:
            groups = {planting_name(p.before): [p] for p in moved}
        else:
            groups = defaultdict(list)
            for p in moved:
                groups[f"{p.before.soil_name} beds"].append(p)
        told = []
        for name, of in groups.items():
            was, then = (
                self.crust_words(lines) for lines in ([p.before for p in of], [p.after for p in of])
            )
            if was != then:
                told.append(f"{name} {was} -> {then}")
        return "; ".join(told)

    def crust_words(self, lines: Sequence[BedAnswer]) -> str:
        """The middle chance of some beds, and the middle day."""
        known = [line.crust for line in lines if line.crust is not None]
        chances = sorted(crust.chance for crust in known)
        middle = chances[len(chances) // 2] if chances else 0.0
        if middle < CRUST_TOLD:
            return "none"
        days = sorted(crust.expected_at for crust in known if crust.expected_at is not None)
        day = self.day(days[len(days) // 2]) if days else ""
        at = f" {day}" if day == "today" else f" by {day}" if day else ""
        return f"{chance_words(middle)}{at}"

    def last_good(self) -> str:
        """Until when a pass is nearly as good, where it is another; no hours have none."""
        if self.is_idle:
            return ""

        def told(p: PlantingChange) -> str:
            a, b = p.before.last_good_at, p.after.last_good_at
            if a is None or b is None or not _is_moved(a, b, UNTIL_MOVED):
                return ""
            words = [self.moment(a), self.moment(b)]
            return "" if words[0] == words[1] else f"{words[0]} -> {words[1]}"

        return self.grouped(told)

    def saves(self) -> str:
        """The lines whose pass is worth clearly more or less, the most moved first."""
        moved = []
        for p in self.stay:
            a, b = ((line.minutes or {}).get("saved") for line in (p.before, p.after))
            if p.after.verdict != "go" or a is None or b is None:
                continue
            by = abs(b.mid - a.mid)
            if by >= SAVED_MOVED_MIN and by >= SAVED_MOVED_FRAC * abs(a.mid):
                moved.append((by, f"{p.key} {minutes_words(a)} -> {minutes_words(b)}"))
        return _first(moved)

    def sure(self) -> str:
        moved = []
        for p in self.stay:
            a, b = p.before.sure, p.after.sure
            if a is not None and b is not None and abs(a - b) >= CHANCE_MOVED:
                moved.append((abs(a - b), f"{p.key} {chance_words(a)} -> {chance_words(b)}"))
        return _first(moved)

    def by_hand(self) -> str:
        """What the change adds to the hand weeding, of the farm and where most."""
        moved = [
            (abs(p.hand_mean_min), f"{p.key} {_more(p.hand_mean_min)}")
            for p in self.found.plantings
            if abs(p.hand_mean_min) >= HAND_MOVED_MIN
        ]
        if not moved:
            return ""
        mean = sum(p.hand_mean_min for p in self.found.plantings)
        span = self.found.hand_change_min
        ends = sorted((abs(span.low), abs(span.high)))
        told = f"{ends[0]:.0f}-{ends[1]:.0f}"
        if f"{ends[0]:.0f}" == f"{ends[1]:.0f}":
            told = f"{ends[0]:.0f}"
        if span.low < 0.0 < span.high:
            told = f"{_more(span.low)} to {_more(span.high)}"
        until = dated_words(self.found.hand_until.astimezone(self.zone).date())
        large = [item for item in moved if item[0] >= HAND_NAMED_MIN]
        where = f"; most on {_first(large)}" if len(moved) > 1 and large else ""
        alone = f" on {moved[0][1].split()[0]}" if len(moved) == 1 else ""
        return (
            f"{_more(mean)}{alone} ({told}) on {until}, if nothing more is done until then{where}"
        )

    def lost(self) -> str:
        """What a day without work loses: what waiting costs, and for which beds it is the last.

        Of the lines of the list; where more is another, of what could be done but for the hours.
        """
        if not self.is_idle:
            return ""
        changes = self.found.changes
        is_alone = not (changes.rain or changes.is_dry or changes.logged or changes.acts)
        left = [
            p for p in self.found.plantings if p.after.because == "no_hours" != p.before.because
        ]
        go = (
            [p.before for p in left if p.before.verdict == "go"]
            if is_alone
            else [p.after for p in left]
        )
        if not go:
            return "nothing was on the list" if is_alone else "nothing: no pass could be made"
        today = self.now.astimezone(self.zone).date()
        ends = [
            (line, line.last_good_at.astimezone(self.zone).date())
            for line in go
            if line.last_good_at is not None
        ]
        last = [line for line, end in ends if end <= today]
        still = [planting_name(line) for line, end in ends if end > today]
        words = [f"about {sum(max(_cost(line), 0.0) for line in go):.0f} min by hand in all"]
        if last:
            costs = [
                f"{planting_name(line)} ({minutes_words(line.minutes['cost_of_waiting'])})"
                if line.minutes and "cost_of_waiting" in line.minutes
                else planting_name(line)
                for line in sorted(last, key=lambda line: -_cost(line))[:MAX_NAMED]
            ]
            rest = f" and {len(last) - MAX_NAMED} more" if len(last) > MAX_NAMED else ""
            words.append(f"the last good day of {', '.join(costs)}{rest} is today")
        if still:
            words.append(f"still nearly as good tomorrow: {bed_ranges(still)}")
        return "; ".join(words)

    def grouped(self, told: Callable[[PlantingChange], str]) -> str:
        """Beds of which the same is told, together; the most beds first."""
        by_words: dict[str, list[str]] = defaultdict(list)
        for p in self.found.plantings:
            words = told(p)
            if words:
                by_words[words].append(planting_name(p.before))
        in_order = sorted(by_words.items(), key=lambda item: (-len(item[1]), item[1]))
        told_first = [f"{self.names(names)} {words}" for words, names in in_order[:MAX_NAMED]]
        rest = [name for _, names in in_order[MAX_NAMED:] for name in names]
        if rest:
            n_more = len(rest)
            told_first.append(f"{n_more} more bed{'s' if n_more > 1 else ''} otherwise")
        return "; ".join(told_first)

    def names(self, names: Sequence[str]) -> str:
        """Beds by name, or how many where they are most of the farm."""
        n, n_all = len(names), len(self.found.plantings)
        if n == n_all > 1:
            return "all beds"
        return f"{n} of {n_all} beds" if n > MOST_NAMED else bed_ranges(names)

    def unchanged(self) -> list[str]:
        """The plantings with the same verdict, a line a group."""
        groups: dict[str, list[str]] = defaultdict(list)
        for p in self.stay:
            line = p.after
            words = self.verdict(line, 0) if line.verdict != "wait" else "wait"
            if line.verdict == "wait" and line.because == "no_hours":
                words = NO_HOURS
            groups[words].append(planting_name(line))
        order = ("go", NO_HOURS, "wait", "by hand")
        in_order = sorted(groups, key=lambda w: (order.index(w) if w in order else 9, w))
        lines: list[str] = []
        for place, words in enumerate(in_order):
            label = "Unchanged" if place == 0 or self.width < NARROW_WIDTH else ""
            lines += self.labelled_always(label, f"{words}: {bed_ranges(groups[words])}")
        return lines

    def labelled_always(self, label: str, text: str) -> list[str]:
        if self.width < NARROW_WIDTH:
            return wrapped(f"{label}, {text}", self.width, rest="  ")
        return wrapped(
            text, self.width, first=f"{label:<{LABEL_WIDTH}} ", rest=" " * (LABEL_WIDTH + 1)
        )

    def foot(self, lines_to_log: Sequence[str]) -> list[str]:
        lines: list[str] = []
        notes = list(self.found.notes)
        if notes:
            lines += self.labelled("Mind", " ".join(sentence(note) for note in notes))
        if lines_to_log:
            lines += self.labelled_always("To log it", lines_to_log[0])
            for line in lines_to_log[1:]:
                lines += self.labelled_always("" if self.width >= NARROW_WIDTH else "Log", line)
        return lines


def _lines_words(
    before: set[tuple[str, str]], after: set[tuple[str, str]], n_otherwise: int
) -> str:
    """How many lines of the list stay, drop out and come, in a sentence.

    Of those that stay, `n_otherwise` are done with another tool or at other hours.
    """
    n, n_stay, n_new = len(before), len(before & after), len(after - before)
    if not before and not after:
        return "Nothing is on the list either way."
    come = "" if not n_new else f"{n_new} come{'s' if n_new == 1 else ''}"
    if not before:
        return f"Nothing was on the list; {come}."
    if n_stay == n:
        stay = f"All {n} lines of the list stay" if n > 1 else "The one line of the list stays"
    elif n_stay == 0:
        stay = f"None of the {n} lines stays" if n > 1 else "The one line of the list drops out"
    else:
        stay = f"{n_stay} of {n} lines stay" if n_stay > 1 else f"1 of {n} lines stays"
    if n_otherwise:
        stay += f" ({n_otherwise} with another tool or at other hours)"
    if 0 < n_stay < n:
        stay += f", {n - n_stay} drop{'s' if n - n_stay == 1 else ''} out"
    return f"{stay}, {come}." if come else f"{stay}."


def _fare(n: int) -> str:
    """How many beds beside the lines are to be seen to otherwise."""
    if n == 0:
        return ""
    return "1 other bed fares otherwise." if n == 1 else f"{n} other beds fare otherwise."


def _place(line: BedAnswer) -> tuple[str, str]:
    return line.bed, line.part or ""


def _is_moved(a: datetime | None, b: datetime | None, by: timedelta) -> bool:
    if a is None or b is None:
        return (a is None) != (b is None)
    return abs(a - b) >= by


def _about(minutes: float) -> str:
    return f"about {minutes:.0f} min" if minutes >= 0.5 else "nothing"


def _beyond(totals: Totals) -> str:
    """Lines that are worth a pass but have no hours, and what that costs."""
    if totals.n_not_reached == 0:
        return "none"
    return f"{totals.n_not_reached}, waiting costs {totals.waiting_min:.0f} min"


def _more(minutes: float) -> str:
    """Minutes more or less, as "12 min more"."""
    return f"{abs(minutes):.0f} min {'more' if minutes >= 0.0 else 'less'}"


def _cost(line: BedAnswer) -> float:
    span = (line.minutes or {}).get("cost_of_waiting")
    return 0.0 if span is None else span.mid


def _first(moved: Iterable[tuple[float, str]]) -> str:
    """The most moved told one by one, the rest counted."""
    in_order = sorted(moved, key=lambda item: (-item[0], item[1]))
    told = [text for _, text in in_order[:MAX_NAMED]]
    if len(in_order) > MAX_NAMED:
        told.append(f"{len(in_order) - MAX_NAMED} more")
    return ", ".join(told)
