"""The morning page in plain words, for a terminal, a print or a mail."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from scheduler.adapters.quantities import depth_text, duration_text
from scheduler.adapters.render.phrases import (
    REASON_WORDS,
    WEEKDAYS_LONG,
    age_words,
    bed_ranges,
    chance_words,
    day_words,
    grower_text,
    half_day_words,
    hour_words,
    hours_words,
    joined_while_fits,
    moment_words,
    natural_key,
    near_day_words,
    range_words,
    wrapped,
)
from scheduler.records import BedAnswer, Morning

MAX_GO_LINES = 8
MAX_LOOKS = 2
MAX_DAYS = 2  # days told one by one in the lines of what is due; the rest is "later"
MAX_WEATHER_LINES = 3
MIN_WIDTH = 36
NOT_IN_SIGHT = "not within the days in sight"
NARROW_WIDTH = 72  # below this the columns of a go line become a sentence
LABEL_WIDTH = 12
_FAR = datetime.max.replace(tzinfo=UTC)


def today_text(morning: Morning, width: int = 80, units: str | None = None) -> str:
    """The page of one morning.

    Parameters
    ----------
    morning
        The answer to print.
    width
        Columns of the page; no line is longer. Below 72 the two lines of a bed become a
        paragraph, for a phone.
    units
        "us" or "metric"; the farm's own where None.

    Returns
    -------
    str
        Plain ASCII text where the farm's own names are; ends with a line break.

    Raises
    ------
    ValueError
        A width below 36 columns.
    """
    if width < MIN_WIDTH:
        raise ValueError(f"width: {width} columns; at least {MIN_WIDTH} are needed")
    page = _Page(morning, width, morning.farm.units if units is None else units)
    blocks = [page.head(), page.go(), page.groups(), page.ahead(), page.foot()]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def planting_name(answer: BedAnswer) -> str:
    """The bed, and the part if it is one: "B4" or "B4/north"."""
    return answer.bed if answer.part is None else f"{answer.bed}/{answer.part}"


class _Page:
    """One morning with the width and the units it is printed in."""

    def __init__(self, morning: Morning, width: int, units: str) -> None:
        self.morning = morning
        self.width = width
        self.units = units
        self.zone = ZoneInfo(morning.farm.place.time_zone)
        self.today = morning.day
        self.narrow = width < NARROW_WIDTH
        self.go_beds = sorted(
            (bed for bed in morning.beds if bed.verdict == "go" and bed.action is not None),
            key=lambda bed: (bed.rank is None, bed.rank or 0),
        )

    # -------------------------------------------------------------- pieces

    def line(self, label: str, text: str, reason: str = "") -> list[str]:
        """A labelled statement; the label hangs in its own column where there is room."""
        text = grower_text(text, self.units)
        if self.narrow:
            head = f"{label}, {reason}" if reason else label
            return wrapped(f"{head}: {text}", self.width, rest="  ")
        if reason:
            text = f"{reason}: {text}"
        return wrapped(text, self.width, first=f"{label:<{LABEL_WIDTH}} ", rest=" " * 13)

    def moment(self, moment: datetime) -> str:
        return moment_words(moment, self.morning.as_of, self.zone)

    def local_day(self, moment: datetime) -> date:
        return moment.astimezone(self.zone).date()

    # ---------------------------------------------------------------- head

    def head(self) -> list[str]:
        morning = self.morning
        title = (
            f"{WEEKDAYS_LONG[self.today.weekday()]} {day_words(self.today)}, {morning.farm.name}"
        )
        made = morning.as_of.astimezone(self.zone)
        stamp = f"as of {made:%H:%M}"
        if made.date() != self.today:
            stamp = f"as of {day_words(made.date())} {made:%H:%M}"
        if len(title) + len(stamp) + 2 <= self.width:
            lines = [title + stamp.rjust(self.width - len(title))]
        else:
            lines = [*wrapped(title, self.width), stamp]
        sentences = [f"{hours_words(morning.hours_available)} to work."]
        soils = self.soil_words()
        if soils:
            sentences.append(soils)
        outlook = morning.outlook_line.strip()
        if morning.weather.forecast_issued is None:
            sentences.append("No forecast, so no word on rain to come.")
        elif outlook:
            sentences.append(_sentence(outlook))
        text = grower_text(" ".join(sentences), self.units)
        return [*lines, *wrapped(text[0].upper() + text[1:], self.width)]

    def soil_words(self) -> str:
        """From when half of the beds of each soil can be worked, earliest first, in a sentence."""
        moments: dict[str, list[datetime | None]] = defaultdict(list)
        for bed in self.all_beds():
            if bed.soil_name:
                moments[bed.soil_name].append(bed.soil.workable_from)
        dry: list[tuple[datetime, str]] = []
        never: list[str] = []
        for name, starts in moments.items():
            known = sorted(start for start in starts if start is not None)
            half = (len(starts) + 1) // 2
            if len(known) < half:
                never.append(name)
            else:
                dry.append((known[half - 1], name))
        if not moments:
            return ""
        words = []
        by_words: dict[str, list[str]] = defaultdict(list)
        for start, name in sorted(dry):
            when = half_day_words(start, self.morning.as_of, self.zone)
            by_words["now" if when == "now" else f"from {when}"].append(name)
        for when, names in by_words.items():
            words.append(f"{_listed(names)} {when}")
        if never:
            words.append(f"no hour in sight for {_listed(sorted(never))}")
        return f"Soil fit, 8 in 10 sure: {', '.join(words)}."

    def all_beds(self) -> tuple[BedAnswer, ...]:
        return (*self.morning.beds, *self.morning.not_reached)

    # ------------------------------------------------------------------ go

    def go(self) -> list[str]:
        if not self.go_beds:
            return ["Nothing to cultivate today."]
        shown = self.go_beds[:MAX_GO_LINES]
        changes = self.morning.setup_changes
        set_ups = "1 set-up" if changes == 1 else f"{changes} set-ups"
        heading = f"Do, in this order, {duration_text(self.morning.minutes_planned)} with {set_ups}"
        if self.narrow:
            lines = wrapped(f"{heading}:", self.width)
            for place, bed in enumerate(shown, start=1):
                lines += self.go_paragraph(place, bed)
            return lines
        ends = "minutes + set-up"
        lines = [f"{heading}:".ljust(self.width - len(ends)) + ends]
        return lines + self.go_rows(shown)

    def crop_words(self, bed: BedAnswer, detail: int) -> str:
        """Crop with its date; `detail` 2 is longest, 0 the bare name."""
        if bed.crop is None:
            return "empty, stale bed" if detail == 2 else "empty"
        if bed.established_on is None or detail == 0:
            return bed.crop
        day = day_words(bed.established_on)
        if detail == 1:
            return f"{bed.crop}, {day}"
        return f"{bed.crop}, {'sown' if bed.is_sown else 'set'} {day}"

    def tool_words(self, bed: BedAnswer, detail: int) -> str:
        """Tool, set-up and depth; `detail` 1 is longest."""
        action = bed.action
        assert action is not None
        tool = f"{action.tool} {action.setup}" if action.setup and detail else action.tool
        return f"{tool}, {depth_text(action.depth_mm, self.units)}"

    def hours(self, bed: BedAnswer) -> str:
        action = bed.action
        assert action is not None
        start, end = hour_words(action.start, self.zone), hour_words(action.end, self.zone)
        return f"{start}-{end}"

    def work(self, bed: BedAnswer) -> str:
        action = bed.action
        assert action is not None
        minutes = f"{max(1, round(action.work_min))}"
        if round(action.setup_min) > 0:
            minutes += f"+{round(action.setup_min)}"
        return minutes

    def clauses(self, bed: BedAnswer) -> list[str]:
        """What the second line may say, in order: the reasons, and until when it stays good."""
        clauses = [
            clause.strip().rstrip(".;")
            for why in bed.why
            for clause in grower_text(why, self.units).split(";")
            if clause.strip()
        ]
        if bed.last_good_at is not None and not any("last good" in clause for clause in clauses):
            clauses.insert(min(1, len(clauses)), f"until {self.moment(bed.last_good_at)}")
        return clauses

    def go_rows(self, shown: Sequence[BedAnswer]) -> list[str]:
        names = [planting_name(bed) for bed in shown]
        works = [self.work(bed) for bed in shown]
        name_width = min(max(map(len, names)), 14)
        # number, blank, bed, two blanks, crop, two blanks, tool, two blanks, hours, blank, minutes
        room = self.width - (3 + name_width + 2 + 2 + 2 + 11 + 1 + 6)
        widest = room * 11 // 20
        tools = [_fitting([self.tool_words(bed, n) for n in (1, 0)], widest) for bed in shown]
        tool_width = max(map(len, tools))
        crop_width = room - tool_width
        crops = [
            _fitting([self.crop_words(bed, n) for n in (2, 1, 0)], crop_width) for bed in shown
        ]
        lines = []
        for place, bed in enumerate(shown, start=1):
            lines.append(
                f"{place:>2} "
                f"{_cut(names[place - 1], name_width):<{name_width}}  "
                f"{crops[place - 1]:<{crop_width}}  "
                f"{tools[place - 1]:<{tool_width}}  "
                f"{self.hours(bed):>11} "
                f"{works[place - 1]:>6}"
            )
            sure = "" if bed.sure is None else f"sure {chance_words(bed.sure)}"
            room_why = self.width - 4 - len(sure) - 2
            why = joined_while_fits(self.clauses(bed), room_why)
            lines.append((f"    {why}".ljust(self.width - len(sure)) + sure).rstrip())
        return lines

    def go_paragraph(self, place: int, bed: BedAnswer) -> list[str]:
        head = (
            f"{place} {planting_name(bed)}: {self.crop_words(bed, 2)}. "
            f"{_sentence(self.tool_words(bed, 1)).rstrip('.')}, {self.hours(bed)}, "
            f"{self.work(bed)} min."
        )
        sentences = [head, _sentence("; ".join(self.clauses(bed)))] if self.clauses(bed) else [head]
        if bed.sure is not None:
            sentences.append(f"Sure: {chance_words(bed.sure)}.")
        return wrapped(" ".join(sentences), self.width, rest="  ")

    # -------------------------------------------------------------- groups

    def groups(self) -> list[str]:
        lines: list[str] = []
        beyond = self.go_beds[MAX_GO_LINES:]
        if beyond:
            lines += self.line("Also go", bed_ranges(planting_name(bed) for bed in beyond))
        left = self.morning.not_reached
        if left:
            lines += self.line(
                "Not reached", self.not_reached_words(left), "worth it, but no hours left"
            )
        named = {id(bed) for bed in self.go_beds}
        grouped: dict[tuple[str, str], list[BedAnswer]] = defaultdict(list)
        for bed in self.morning.beds:
            if id(bed) not in named:
                grouped[bed.verdict, bed.because].append(bed)
        order = {"go": 0, "hand": 1, "wait": 2, "nothing": 3}
        for (verdict, because), beds in sorted(
            grouped.items(), key=lambda item: (order.get(item[0][0], 4), -len(item[1]))
        ):
            lines += self.group_line(verdict, because, beds)
        return lines

    def not_reached_words(self, left: Sequence[BedAnswer]) -> str:
        words = []
        for bed in left:
            text = planting_name(bed)
            facts = []
            if bed.action is not None:
                facts.append(duration_text(bed.action.work_min))
            cost = (bed.minutes or {}).get("cost_of_waiting")
            if cost is not None:
                facts.append(f"waiting costs {range_words(cost)}")
            elif bed.last_good_at is not None:
                facts.append(f"good until {self.moment(bed.last_good_at)}")
            words.append(f"{text} ({', '.join(facts)})" if facts else text)
        return ", ".join(words)

    def group_line(self, verdict: str, because: str, beds: Sequence[BedAnswer]) -> list[str]:
        reason = REASON_WORDS.get(because, because.replace("_", " "))
        if verdict == "hand":
            reason = "too big for any tool" if because == "no_fit" else reason
            words = []
            for bed in sorted(beds, key=lambda bed: natural_key(planting_name(bed))):
                span = (bed.minutes or {}).get("by_hand")
                name = planting_name(bed)
                words.append(name if span is None else f"{name} ({range_words(span)} min)")
            return self.line("By hand", ", ".join(words), reason)
        if verdict == "nothing" and because == "unknown":
            asked = "no flush on record, or its window is past; log what stands"
            return self.line("Look first", f"{self.names(beds)}: {asked}")
        if verdict == "nothing":
            return self.line("Nothing", self.names(beds), reason)
        by_until: dict[str, list[BedAnswer]] = defaultdict(list)
        first_of: dict[str, datetime] = {}
        for bed in beds:
            if bed.until is None:
                until = "(until when is not known)"
            elif any(NOT_IN_SIGHT in why for why in bed.why):
                until = "beyond the days in sight"
            else:
                until = f"until {half_day_words(bed.until, self.morning.as_of, self.zone)}"
                first_of[until] = min(first_of.get(until, bed.until), bed.until)
            by_until[until].append(bed)
        spans = sorted(by_until, key=lambda until: first_of.get(until, _FAR))
        words = [f"{self.names(by_until[until])} {until}" for until in spans]
        return self.line(verdict.capitalize(), "; ".join(words), reason)

    def names(self, beds: Sequence[BedAnswer]) -> str:
        """Short list of plantings; a bed whose parts are all here is named once."""
        parts: dict[str, set[str]] = defaultdict(set)
        for bed in self.all_beds():
            parts[bed.bed].add(planting_name(bed))
        here = {planting_name(bed) for bed in beds}
        return bed_ranges(bed.bed if parts[bed.bed] <= here else planting_name(bed) for bed in beds)

    # --------------------------------------------------------------- ahead

    def ahead(self) -> list[str]:
        """The two questions every page answers: where a crust is due, and where a flush."""
        return [
            *self.line("Crust", self.crust_words()),
            *self.line("Threads", self.thread_words()),
            *self.look_lines(),
        ]

    def open_ground(self) -> list[BedAnswer]:
        """The plantings whose crop does not cover the ground: where crusts and threads matter."""
        return [bed for bed in self.all_beds() if bed.because != "crop_up"]

    def crust_words(self) -> str:
        crusts = [(bed, bed.crust) for bed in self.open_ground() if bed.crust is not None]
        if not crusts:
            return "not known"
        expected: dict[date, list[BedAnswer]] = defaultdict(list)
        chances: dict[date, list[float]] = defaultdict(list)
        break_by: dict[str, list[BedAnswer]] = defaultdict(list)
        standing: list[BedAnswer] = []
        for bed, crust in sorted(crusts, key=lambda item: item[1].break_by or _FAR):
            if crust.break_by is not None and crust.break_by > self.morning.as_of:
                until = half_day_words(crust.break_by, self.morning.as_of, self.zone)
                break_by[until].append(bed)
            if crust.expected_at is None:
                continue
            if crust.expected_at <= self.morning.as_of:
                standing.append(bed)
            else:
                day = self.local_day(crust.expected_at)
                expected[day].append(bed)
                chances[day].append(crust.chance)
        words = []
        if standing:
            words.append(f"stands on {self.names(standing)}")
        days = sorted(expected)
        if days:
            near = [
                f"{near_day_words(day, self.today)} on {self.names(expected[day])} "
                f"({_chance_span(chances[day])})"
                for day in days[:MAX_DAYS]
            ]
            if len(days) > MAX_DAYS:
                later = [bed for day in days[MAX_DAYS:] for bed in expected[day]]
                near.append(f"later on {self.names(later)}")
            words.append(f"expected {', '.join(near)}")
        if not words:
            return "none expected"
        if break_by:
            by = [f"{self.names(beds)} by {until}" for until, beds in break_by.items()]
            words.append(f"break {', '.join(by)}")
        return "; ".join(words)

    def thread_words(self) -> str:
        most: dict[date, list[BedAnswer]] = defaultdict(list)
        past: dict[date, list[BedAnswer]] = defaultdict(list)
        opening: dict[date, list[BedAnswer]] = defaultdict(list)
        n_known = 0
        for bed in self.open_ground():
            flush = bed.flush
            if flush is None:
                continue
            n_known += 1
            if flush.thread_most_at is not None and self.local_day(flush.thread_most_at) >= (
                self.today
            ):
                most[self.local_day(flush.thread_most_at)].append(bed)
            elif flush.last_good_at is not None and flush.last_good_at > self.morning.as_of:
                past[self.local_day(flush.last_good_at)].append(bed)
            elif flush.next_expected_at is not None:
                opening[self.local_day(flush.next_expected_at)].append(bed)
        if n_known == 0:
            return "not known"
        groups = []
        if most:
            groups.append(f"most come {self.days(most)}")
        if past:
            groups.append(f"too late from {self.days(past)}")
        if opening:
            groups.append(f"next flush {self.days(opening)}")
        return "; ".join(groups) if groups else "no flush open"

    def days(self, by_day: dict[date, list[BedAnswer]]) -> str:
        words = [
            f"{near_day_words(day, self.today)} on {self.names(beds)}"
            for day, beds in sorted(by_day.items())
        ]
        if len(words) > MAX_DAYS + 1:
            rest = [bed for day in sorted(by_day)[MAX_DAYS:] for bed in by_day[day]]
            words = [*words[:MAX_DAYS], f"later on {self.names(rest)}"]
        return ", ".join(words)

    def look_lines(self) -> list[str]:
        asked = [(bed, bed.look) for bed in self.all_beds() if bed.look]
        asked.sort(key=lambda item: -float(item[1].get("gain_min") or 0.0))
        lines: list[str] = []
        for bed, look in asked[:MAX_LOOKS]:
            where = f", {look['where']}" if look.get("where") else ""
            gain = look.get("gain_min")
            worth = f" (worth {duration_text(float(gain))})" if gain else ""
            lines += self.line("Look", f"{planting_name(bed)}{where}: {look['ask']}{worth}")
        return lines

    # ---------------------------------------------------------------- foot

    def foot(self) -> list[str]:
        lines: list[str] = []
        if self.morning.cautions:
            text = " ".join(_sentence(caution) for caution in self.morning.cautions)
            lines += self.line("Caution", text)
        lines += self.weather_lines()
        if self.morning.weakest_inputs:
            weakest = ", ".join(self.morning.weakest_inputs)
            if self.narrow:
                return [*lines, *self.line("Weakest today", weakest)]
            lines += self.line("Weakest", f"today: {weakest}")
        return lines

    def weather_words(self) -> str:
        weather = self.morning.weather
        if weather.last_observed is None:
            sentences = ["No reading yet."]
        else:
            last = weather.last_observed.astimezone(self.zone)
            day = "" if last.date() == self.today else f"{day_words(last.date())} "
            age = "" if weather.age_h is None else f" ({age_words(weather.age_h)})"
            source = f", {weather.source}" if weather.source else ""
            sentences = [f"last reading {day}{last:%H:%M}{age}{source}."]
        if weather.forecast_issued is None:
            sentences.append("No forecast.")
        else:
            issued = weather.forecast_issued.astimezone(self.zone)
            day = "" if issued.date() == self.today else f"{day_words(issued.date())} "
            sentences.append(f"Forecast of {day}{issued:%H:%M}.")
        return " ".join(sentences)

    def weather_lines(self) -> list[str]:
        """Age, the first note, then as many more, whole, as fit; how many are left."""
        weather = self.morning.weather
        told = [_sentence(note) for note in weather.notes]
        credit_lines = [
            credit
            for credit in self.morning.attribution
            if credit.removeprefix("Weather: ") not in weather.source
        ]
        if credit_lines:
            told.append(f"Data: {'; '.join(credit_lines)}.")
        n_lines = MAX_WEATHER_LINES * (2 if self.narrow else 1)
        for n_told in range(len(told), 0 if told else -1, -1):
            rest = len(told) - n_told
            more = [f"{rest} more: whitethread weather show."] if rest else []
            text = " ".join([self.weather_words(), *told[:n_told], *more])
            lines = self.line("Weather", text)
            if len(lines) <= n_lines:
                break
        return lines


def _cut(text: str, width: int) -> str:
    """`text`, shortened with ".." where it is longer than its column."""
    return text if len(text) <= width else text[: max(0, width - 2)].rstrip() + ".."


def _listed(names: Sequence[str]) -> str:
    """Names as a list in words: "loam, sand and silt"."""
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]


def _chance_span(chances: Sequence[float]) -> str:
    """One chance for several beds: "7 in 10", or "5 to 9 in 10" where they differ."""
    low, high = chance_words(min(chances)), chance_words(max(chances))
    if low == high:
        return low
    return f"{low.removesuffix(' in 10')} to {high}"


def _fitting(variants: Sequence[str], width: int) -> str:
    """The first, longest variant that fits into `width`, else the shortest one cut."""
    return next((text for text in variants if len(text) <= width), _cut(variants[-1], width))


def _sentence(text: str) -> str:
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
