"""What a morning's page says, statement by statement, before it is laid out for its reader."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from scheduler.adapters.quantities import depth_text, duration_text
from scheduler.adapters.render.lesson_words import doubt_words
from scheduler.adapters.render.phrases import (
    REASON_WORDS,
    WEEKDAYS,
    WEEKDAYS_LONG,
    age_words,
    bed_ranges,
    chance_words,
    dated_words,
    day_words,
    grower_text,
    half_day_words,
    hour_words,
    hours_words,
    minutes_words,
    moment_words,
    natural_key,
    near_day_words,
    wrapped,
)
from scheduler.adapters.weather.sources import credit_lines
from scheduler.records import BedAnswer, Morning

YOUR_LOOKS = "your looks: "  # begins what looks changed, among the whys of a line
MAX_GO_LINES = 8
MAX_LOOKS = 2
MAX_HAND_LINES = 5
MAX_DAYS = 2  # days told one by one in the lines of what is due; the rest is "later"
MAX_CLAUSES = 4  # of the reasons of a paragraph
MAX_PLANS = 2
MAX_LINES = 3  # of the crusts, and of the threads, on a page of 80 columns
BUDGETS = ((MAX_DAYS, True), (MAX_DAYS, False), (1, False))  # days told; is the rest named
MAX_LEARNED = 4  # beds of which it is told what looks changed
MAX_DOUBTS = 2  # entries that are not learned from, told in full
MAX_ODD = 3  # beds named because they differ from the others of their soil
MOST_FRAC = 0.75  # of a soil's beds that agree before the soil is named in their place
LAST_CALL_D = 7
OLD_WEATHER_H = 24.0  # from then on it is said first that the weather is old
NOT_IN_SIGHT = "not within the days in sight"
TEXT_WIDTH = 67  # of a labelled statement, on a page of 80 columns
NOT_WORTH = "no pass is worth its minutes"  # begins why a bed is weeded by hand that a tool fits
LAST_BLIND = "last blind hour"  # begins the reason of a pass before the crop is up
LIFT = "lift over"  # begins a note that another crop of the bed depends on
ITEM_NUMBER = re.compile(r"(?<=[:,;] )\d{1,3} (?=[^\W\d])")  # of an item: kept beside its name
_FAR = datetime.max.replace(tzinfo=UTC)


class Statement(NamedTuple):
    """One labelled statement of the page, in the grower's units."""

    label: str
    text: str
    reason: str = ""


def planting_name(answer: BedAnswer) -> str:
    """The bed, and the part if it is one: "B4" or "B4/north"."""
    return answer.bed if answer.part is None else f"{answer.bed}/{answer.part}"


class DayWords:
    """The words of one morning in the units they are printed in."""

    def __init__(self, morning: Morning, units: str) -> None:
        self.morning = morning
        self.units = units
        self.zone = ZoneInfo(morning.farm.place.time_zone)
        self.today = morning.day
        self.go_beds = sorted(
            (bed for bed in morning.beds if bed.verdict == "go" and bed.action is not None),
            key=lambda bed: (bed.rank is None, bed.rank or 0),
        )

    def statement(self, label: str, text: str, reason: str = "") -> Statement:
        return Statement(label, grower_text(text, self.units), reason)

    def moment(self, moment: datetime) -> str:
        return moment_words(moment, self.morning.as_of, self.zone)

    def local_day(self, moment: datetime) -> date:
        return moment.astimezone(self.zone).date()

    # --------------------------------------------------------------------- head

    def title(self) -> str:
        day = f"{WEEKDAYS_LONG[self.today.weekday()]} {day_words(self.today)}"
        return f"{day}, {self.morning.farm.name}"

    def stamp(self) -> str:
        made = self.morning.as_of.astimezone(self.zone)
        if made.date() != self.today:
            return f"as of {day_words(made.date())} {made:%H:%M}"
        return f"as of {made:%H:%M}"

    def summary(self) -> str:
        """Hours to work, from when each soil is fit, rain to come."""
        morning = self.morning
        hours_h = morning.hours_available
        work = f"{hours_words(hours_h)} to work." if hours_h > 0 else "No working hours today."
        sentences = [work]
        soils = self.soil_words()
        if soils:
            sentences.append(soils)
        outlook = morning.outlook_line.strip()
        if morning.weather.forecast_issued is None:
            sentences.append("No forecast, so no word on rain to come.")
        elif outlook:
            sentences.append(sentence(outlook))
        text = grower_text(" ".join(sentences), self.units)
        return text[0].upper() + text[1:]

    def old_weather(self) -> str:
        """What is said before all else where no weather was read for a day or longer."""
        weather = self.morning.weather
        if weather.last_observed is None or (weather.age_h or 0.0) < OLD_WEATHER_H:
            return ""
        last = weather.last_observed.astimezone(self.zone)
        since = f"{dated_words(last.date())} {last:%H:%M}"
        said = [f"No weather has been read since {since}: rain since then is not known."]
        age_h = self.forecast_age_h()
        if age_h is not None and age_h >= OLD_WEATHER_H:
            said.append(f"The newest forecast is {age_words(age_h)}.")
        if self.go_beds:
            said.append("Try the soil before you start.")
        return " ".join(said)

    def forecast_age_h(self) -> float | None:
        """Hours since the newest forecast was issued; None where there is none."""
        issued = self.morning.weather.forecast_issued
        return None if issued is None else (self.morning.as_of - issued) / timedelta(hours=1)

    def soil_words(self) -> str:
        """From when half of each soil's open beds can be worked, earliest first, in a sentence."""
        moments: dict[str, list[datetime | None]] = defaultdict(list)
        for bed in self.open_ground() or self.all_beds():
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
            words.append(f"{listed(names)} {when}")
        if never:
            words.append(f"no hour in sight for {listed(sorted(never))}")
        return f"Soil fit for every tool, 8 in 10 sure: {', '.join(words)}."

    def all_beds(self) -> tuple[BedAnswer, ...]:
        return (*self.morning.beds, *self.morning.not_reached)

    # ----------------------------------------------------------------------- go

    def shown(self) -> list[BedAnswer]:
        """The plantings that have a line of their own."""
        return self.go_beds[:MAX_GO_LINES]

    def beyond(self) -> list[tuple[str, list[str]]]:
        """The rest of the list in its order: each tool with its plantings by number and name."""
        runs: list[tuple[str, list[str]]] = []
        for place, bed in enumerate(self.go_beds[MAX_GO_LINES:], start=MAX_GO_LINES + 1):
            tool = self.tool_words(bed, 1)
            if not runs or runs[-1][0] != tool:
                runs.append((tool, []))
            runs[-1][1].append(f"{place} {planting_name(bed)}")
        return runs

    def list_heading(self) -> str:
        if not self.go_beds:
            return "Nothing to cultivate today."
        changes = self.morning.setup_changes
        set_ups = "1 set-up" if changes == 1 else f"{changes} set-ups"
        return f"Do, in this order, {duration_text(self.morning.minutes_planned)} with {set_ups}"

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
        """Tool, set-up and depth; `detail` 3 is longest, 1 has no depth, 0 is the bare tool."""
        action = bed.action
        assert action is not None
        tool = f"{action.tool} {action.setup}" if action.setup and detail % 2 else action.tool
        return tool if detail < 2 else f"{tool}, {depth_text(action.depth_mm, self.units)}"

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
        """What the second line may say, in order: what stands, what it saves, until when, more."""
        clauses = [
            clause.strip().rstrip(".;")
            for why in bed.why
            if not why.startswith(YOUR_LOOKS)
            for clause in grower_text(why, self.units).split(";")
            if clause.strip()
        ]
        if bed.last_good_at is None or any("last good" in clause for clause in clauses):
            return clauses
        end = self.end_words(bed.last_good_at)
        if f"{LAST_BLIND} {end}" not in clauses:
            saves = (i + 1 for i, text in enumerate(clauses[:3]) if text.startswith("saves"))
            place = next(saves, 1)
            clauses.insert(min(place, len(clauses)), f"until {end}")
        return clauses

    def end_words(self, moment: datetime) -> str:
        """The end of a span of days: "19:00" today, "Wed" where a day's work ends, "Wed 10:30"."""
        local = moment.astimezone(self.zone)
        ahead_d = (local.date() - self.today).days
        if 1 <= ahead_d <= 6 and local.time() == self.morning.farm.work.end:
            return WEEKDAYS[local.weekday()]
        return self.moment(moment)

    def notes(self, bed: BedAnswer) -> list[str]:
        """What to remember at this pass: what to lift over, the last time here."""
        note = "" if bed.action is None else grower_text(bed.action.note, self.units)
        return [piece.strip() for piece in note.split(";") if piece.strip()]

    # ------------------------------------------------------------------- groups

    def groups(self) -> list[Statement]:
        """What is not on the list: beyond it, not reached, by hand, waiting, nothing."""
        said: list[Statement] = []
        beyond = [f"{tool}: {', '.join(beds)}" for tool, beds in self.beyond()]
        if beyond:
            said.append(self.statement("Also go", "; ".join(beyond)))
        left = self.morning.not_reached
        if left:
            why = "worth it, but no hours left"
            said.append(self.statement("Not reached", self.not_reached_words(left), why))
        named = {id(bed) for bed in self.go_beds}
        grouped: dict[tuple[str, str], list[BedAnswer]] = defaultdict(list)
        for bed in self.morning.beds:
            if id(bed) not in named:
                grouped[bed.verdict, _reason(bed)].append(bed)
        order = {"go": 0, "hand": 1, "wait": 2, "nothing": 3}
        for (verdict, because), beds in sorted(
            grouped.items(), key=lambda item: (order.get(item[0][0], 4), -len(item[1]))
        ):
            said.append(self.group(verdict, because, beds))
        return said

    def not_reached_words(self, left: Sequence[BedAnswer]) -> str:
        words = []
        for bed in left:
            text = planting_name(bed)
            facts = []
            if bed.action is not None:
                facts.append(duration_text(bed.action.work_min))
            cost = (bed.minutes or {}).get("cost_of_waiting")
            if cost is not None and round(cost.high) >= 1:
                facts.append(f"waiting costs {minutes_words(cost)}")
            elif bed.last_good_at is not None:
                facts.append(f"good until {self.moment(bed.last_good_at)}")
            words.append(f"{text} ({', '.join(facts)})" if facts else text)
        return ", ".join(words)

    def group(self, verdict: str, because: str, beds: Sequence[BedAnswer]) -> Statement:
        reason = REASON_WORDS.get(because, because.replace("_", " "))
        if because == "no_hours" and self.morning.hours_available <= 0:
            reason = "no hours today"
        if verdict == "hand":
            reason = "too big for any tool" if because == "no_fit" else reason
            return self.statement("By hand", self.hand_words(beds), reason)
        if verdict == "nothing" and because == "unknown":
            asked = "no flush on record, or its window is past; log what stands"
            return self.statement("Look first", f"{self.names(beds)}: {asked}")
        if verdict == "nothing":
            return self.statement("Nothing", self.names(beds), reason)
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
        return self.statement(verdict.capitalize(), "; ".join(words), reason)

    def hand_words(self, beds: Sequence[BedAnswer]) -> str:
        """The beds with their minutes; of many beds the quickest and the sum."""
        spans = {id(bed): (bed.minutes or {}).get("by_hand") for bed in beds}
        if len(beds) <= MAX_HAND_LINES:
            words = []
            for bed in sorted(beds, key=lambda bed: natural_key(planting_name(bed))):
                span = spans[id(bed)]
                name = planting_name(bed)
                words.append(name if span is None else f"{name} ({minutes_words(span)})")
            return ", ".join(words)
        known = [(bed, span) for bed in beds if (span := spans[id(bed)]) is not None]
        quick = sorted(known, key=lambda item: (item[1].mid, planting_name(item[0])))[:3]
        told = ", ".join(f"{planting_name(bed)} ({minutes_words(span)})" for bed, span in quick)
        middle_h = sum(span.mid for _, span in known) / 60.0
        return f"{self.names(beds)}; about {middle_h:.0f} h in all, quickest {told}"

    def names(self, beds: Sequence[BedAnswer]) -> str:
        """Short list of plantings; a bed whose parts are all here is named once."""
        parts: dict[str, set[str]] = defaultdict(set)
        for bed in self.all_beds():
            parts[bed.bed].add(planting_name(bed))
        here = {planting_name(bed) for bed in beds}
        return bed_ranges(bed.bed if parts[bed.bed] <= here else planting_name(bed) for bed in beds)

    # -------------------------------------------------------------------- ahead

    def ahead(self) -> list[Statement]:
        """What is due: crusts and flushes, which every page answers, seed to come, plans, looks."""
        seed = self.seed_words()
        return [
            self.statement("Crust", self.crust_words()),
            self.statement("Threads", self.thread_words()),
            *([self.statement("Seed", seed)] if seed else []),
            *self.learned(),
            *self.plans(),
            *self.looks(),
        ]

    def learned(self) -> list[Statement]:
        """What the looks of the last days changed, by bed."""
        told = [
            (bed, why.removeprefix(YOUR_LOOKS))
            for bed in sorted(self.all_beds(), key=lambda bed: natural_key(planting_name(bed)))
            for why in bed.why
            if why.startswith(YOUR_LOOKS)
        ]
        words = [f"{planting_name(bed)} {said}" for bed, said in told[:MAX_LEARNED]]
        more = len(told) - len(words)
        if more:
            words.append(f"{more} more bed{'' if more == 1 else 's'}")
        follow = "; beds on the same soil follow part of the way"
        said = f"by your looks {'; '.join(words)}{follow}"
        return [self.statement("Learned", said)] if words else []

    def open_ground(self) -> list[BedAnswer]:
        """The plantings whose crop does not cover the ground: where crusts and threads matter."""
        return [bed for bed in self.all_beds() if bed.because != "crop_up"]

    def open_by_soil(self) -> dict[str, list[BedAnswer]]:
        by_soil: dict[str, list[BedAnswer]] = defaultdict(list)
        for bed in self.open_ground():
            by_soil[bed.soil_name].append(bed)
        return by_soil

    def crust_words(self) -> str:
        crusts = [(bed, bed.crust) for bed in self.open_ground() if bed.crust is not None]
        if not crusts:
            return "not known"
        expected: dict[date, list[BedAnswer]] = defaultdict(list)
        break_by: dict[str, list[BedAnswer]] = defaultdict(list)
        standing: list[BedAnswer] = []
        for bed, crust in sorted(crusts, key=lambda item: item[1].break_by or _FAR):
            if crust.expected_at is None:
                continue
            is_due = crust.break_by is not None and crust.break_by > self.morning.as_of
            if crust.break_by is not None and is_due and crust.expected_at <= crust.break_by:
                until = half_day_words(crust.break_by, self.morning.as_of, self.zone)
                break_by[until].append(bed)
            if crust.expected_at <= self.morning.as_of:
                standing.append(bed)
            else:
                expected[self.local_day(crust.expected_at)].append(bed)
        if not standing and not expected:
            return "none expected"
        by_bed = _joined(
            f"stands on {self.names(standing)}" if standing else "",
            self.expected_by_bed(expected),
            self.break_words(break_by, len(break_by)),
        )
        if _n_lines(by_bed) < MAX_LINES:
            return by_bed
        by_soil = ""
        for n_told, is_rest_named in (*BUDGETS, (0, False)):
            by_soil = _joined(
                f"stands on {self.where(standing)}" if standing else "",
                self.expected_by_soil(expected),
                self.break_words(break_by, n_told, is_rest_named),
            )
            if _n_lines(by_soil) <= MAX_LINES:
                break
        return by_soil

    def expected_by_bed(self, expected: dict[date, list[BedAnswer]]) -> str:
        days = sorted(expected)
        words = [
            f"{near_day_words(day, self.today)} on {self.names(expected[day])} "
            f"({_chance_span(expected[day])})"
            for day in days[:MAX_DAYS]
        ]
        if len(days) > MAX_DAYS:
            later = [bed for day in days[MAX_DAYS:] for bed in expected[day]]
            words.append(f"later on {self.names(later)}")
        return f"expected {', '.join(words)}" if words else ""

    def expected_by_soil(self, expected: dict[date, list[BedAnswer]]) -> str:
        """For each soil the day or two days in which most of its crusts come, or the first day."""
        day_of = {id(bed): day for day, beds in expected.items() for bed in beds}
        by_span: dict[tuple[date, date | None], list[BedAnswer]] = defaultdict(list)
        for soil, all_of in self.open_by_soil().items():
            beds = [bed for bed in all_of if id(bed) in day_of]
            if not beds:
                continue
            days = [day_of[id(bed)] for bed in beds]
            first, last = _span(days, MOST_FRAC)
            within = [b for b in beds if last is None or first <= day_of[id(b)] <= last]
            if _is_named(soil, within, all_of):  # one by one: then none of them is left out
                (first, last), within = _span(days, 1.0), beds
            by_span[first, last] += within
        words = []
        for first, last in sorted(by_span, key=lambda span: (span[0], span[1] or date.max)):
            beds = by_span[first, last]
            when = near_day_words(first, self.today)
            if last is None:
                when = f"from {when}"
            elif last > first:
                when = f"{when} or {near_day_words(last, self.today)}"
            words.append(f"{when} on {self.where(beds)} ({_chance_span(beds)})")
        return f"expected {', '.join(words)}" if words else ""

    def break_words(
        self, break_by: dict[str, list[BedAnswer]], n_told: int, is_rest_named: bool = True
    ) -> str:
        """Beds to be broken, soonest first: the moments told one by one, and the rest."""
        if break_by and n_told == 0:
            beds = [bed for beds in break_by.values() for bed in beds]
            return f"break {_counted(beds)}, the first by {next(iter(break_by))}"
        words = [f"{self.names(beds)} by {until}" for until, beds in break_by.items()]
        if len(words) > n_told + 1 or (len(words) > n_told and not is_rest_named):
            rest = [bed for beds in list(break_by.values())[n_told:] for bed in beds]
            later = self.names(rest) if is_rest_named else _counted(rest)
            words = [*words[:n_told], f"later {later}"]
        return f"break {', '.join(words)}" if words else ""

    def where(self, beds: Sequence[BedAnswer]) -> str:
        """Plantings by their soils where most of a soil are among them, else by name."""
        here = {id(bed) for bed in beds}
        whole: list[str] = []
        odd: list[BedAnswer] = []
        most: list[str] = []
        named: list[BedAnswer] = []
        for soil, all_of in self.open_by_soil().items():
            within = [bed for bed in all_of if id(bed) in here]
            if not within:
                continue
            if _is_named(soil, within, all_of):
                named += within
            elif len(all_of) - len(within) <= MAX_ODD:
                whole.append(soil)
                odd += [bed for bed in all_of if id(bed) not in here]
            else:
                most.append(soil)
        words = [self.names(named)] if named else []
        if most:
            words.append(f"most {listed(sorted(most))} beds")
        if whole:
            words.append(f"{listed(sorted(whole))} beds{f' but {self.names(odd)}' if odd else ''}")
        return " and ".join(words)

    def thread_words(self) -> str:
        most: dict[date, list[BedAnswer]] = defaultdict(list)
        past: dict[date, list[BedAnswer]] = defaultdict(list)
        opening: list[date] = []
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
            if flush.next_expected_at is not None:
                opening.append(self.local_day(flush.next_expected_at))
        if n_known == 0:
            return "not known"
        following = ""
        if opening:
            following = f"next flush {near_day_words(min(opening), self.today)}, if the rain comes"
        text = ""
        for n_told, is_rest_named in BUDGETS:
            text = _joined(
                f"most come {self.days(most, n_told, is_rest_named)}" if most else "",
                f"too late from {self.days(past, n_told, is_rest_named)}" if past else "",
                following,
            )
            if _n_lines(text) <= MAX_LINES:
                break
        return text or "no flush open"

    def days(
        self, by_day: dict[date, list[BedAnswer]], n_told: int, is_rest_named: bool = True
    ) -> str:
        """Days with their beds: `n_told` one by one, or one more where that is all; the rest."""
        words = [
            f"{near_day_words(day, self.today)} on {self.names(beds)}"
            for day, beds in sorted(by_day.items())
        ]
        if len(words) > n_told + 1 or (len(words) > n_told and not is_rest_named):
            rest = [bed for day in sorted(by_day)[n_told:] for bed in by_day[day]]
            later = self.names(rest) if is_rest_named else _counted(rest)
            words = [*words[:n_told], f"later on {later}"]
        return ", ".join(words)

    def seed_words(self) -> str:
        """Which weeds shed seed within the week, and where that is past."""
        by_day: dict[date, list[BedAnswer]] = defaultdict(list)
        past: list[BedAnswer] = []
        for bed in self.all_beds():
            if bed.last_call_on is None:
                continue
            if bed.last_call_on < self.today:
                past.append(bed)
            elif bed.last_call_on <= self.today + timedelta(days=LAST_CALL_D):
                by_day[bed.last_call_on].append(bed)
        due = [
            f"{self.names(beds)} by {near_day_words(day, self.today)}"
            if day > self.today
            else f"{self.names(beds)} today"
            for day, beds in sorted(by_day.items())
        ]
        called = f"last call before weeds shed seed: {', '.join(due)}" if due else ""
        gone = "past" if due else "last call before weeds shed seed is past"
        text = _joined(called, f"{gone}: {self.names(past)}" if past else "")
        if _n_lines(text) < MAX_LINES:
            return text
        return _joined(called, f"{gone} on {_counted(past)}" if past else "")

    def plans(self) -> list[Statement]:
        """What the nearest planned sowings and settings ask for, a statement a plan."""
        planned = {
            plan.bed: plan.on
            for plan in sorted(self.morning.farm.plans, key=lambda plan: plan.on, reverse=True)
            if plan.on > self.today
        }
        beds = sorted(
            (bed for bed in self.all_beds() if bed.plan),
            key=lambda bed: (planned.get(bed.bed, date.max), natural_key(planting_name(bed))),
        )
        said: list[Statement] = []
        for bed in beds[:MAX_PLANS]:
            short = bed.plan.removeprefix("stale bed ")
            joint = ":" if short == bed.plan else ""
            said.append(self.statement("Plans", f"{planting_name(bed)}{joint} {short}"))
        return said

    def looks(self) -> list[Statement]:
        asked = [(bed, bed.look) for bed in self.all_beds() if bed.look]
        asked.sort(key=lambda item: -float(item[1].get("gain_min") or 0.0))
        said: list[Statement] = []
        for bed, look in asked[:MAX_LOOKS]:
            where = f", {look['where']}" if look.get("where") else ""
            gain = look.get("gain_min")
            worth = f" (worth {duration_text(float(gain))})" if gain else ""
            said.append(
                self.statement("Look", f"{planting_name(bed)}{where}: {look['ask']}{worth}")
            )
        return said

    # --------------------------------------------------------------------- foot

    def cautions(self) -> list[Statement]:
        if not self.morning.cautions:
            return []
        text = " ".join(sentence(caution) for caution in self.morning.cautions)
        return [self.statement("Caution", text)]

    def weather_words(self) -> str:
        weather = self.morning.weather
        if weather.last_observed is None:
            sentences = ["No reading yet."]
        else:
            last = weather.last_observed.astimezone(self.zone)
            day = "" if last.date() == self.today else f"{day_words(last.date())} "
            age = "" if weather.age_h is None else f" ({age_words(weather.age_h)})"
            joint = "; sources: " if "," in weather.source else ", "
            source = f"{joint}{weather.source}" if weather.source else ""
            sentences = [f"last reading {day}{last:%H:%M}{age}{source}."]
        if weather.forecast_issued is None:
            sentences.append("No forecast.")
        else:
            issued = weather.forecast_issued.astimezone(self.zone)
            day = "" if issued.date() == self.today else f"{day_words(issued.date())} "
            sentences.append(f"Forecast of {day}{issued:%H:%M}.")
        return " ".join(sentences)

    def weather_notes(self) -> list[str]:
        return [sentence(note) for note in self.morning.weather.notes]

    def credits(self) -> list[Statement]:
        """Whose data the weather is, as far as it is not told beside its age."""
        credited = [
            credit
            for credit in self.morning.attribution
            if credit.removeprefix("Weather: ") not in self.morning.weather.source
        ]
        credited += credit_lines(self.morning.inputs.get("weather_sources", ()))
        return [self.statement("Data", sentence("; ".join(credited)))] if credited else []

    def weather(self, told: Sequence[str], n_told: int) -> Statement:
        """The age of the weather with the first `n_told` of `told`, and how many are left."""
        rest = len(told) - n_told
        more = [f"{rest} more: whitethread weather show."] if rest else []
        return self.statement("Weather", " ".join([self.weather_words(), *told[:n_told], *more]))

    def doubts(self) -> list[Statement]:
        """Entries of the last day that are not learned from."""
        told = [doubt_words(doubt, self.units, self.zone) for doubt in self.morning.doubts]
        first = told[:MAX_DOUBTS]
        more = len(told) - len(first)
        if more:
            first.append(f"And {more} more: see the pages of their beds.")
        return [Statement("Doubted", words) for words in first]

    def weakest(self) -> str:
        return ", ".join(self.morning.weakest_inputs)


def _reason(bed: BedAnswer) -> str:
    """What a bed is grouped by: its reason, or that a tool would fit but is not worth it."""
    is_by_hand = bed.verdict == "hand" and any(why.startswith(NOT_WORTH) for why in bed.why)
    return NOT_WORTH if is_by_hand else bed.because


def wrapped_items(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """The text in lines; the number of an item never ends one without the item's name."""
    kept = ITEM_NUMBER.sub(lambda found: found[0].replace(" ", "\u00a0"), text)
    lines = wrapped(kept, width, first=first, rest=rest)
    return [line.replace("\u00a0", " ") for line in lines]


def listed(names: Sequence[str]) -> str:
    """Names as a list in words: "loam, sand and silt"."""
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]


def _joined(*statements: str) -> str:
    """The statements that say something, one after the other."""
    return "; ".join(statement for statement in statements if statement)


def _n_lines(text: str) -> int:
    """Lines that a labelled statement takes on a page of 80 columns."""
    return len(wrapped(text, TEXT_WIDTH))


def _counted(beds: Sequence[BedAnswer]) -> str:
    """How many plantings, where they are too many to name."""
    return f"{len(beds)} bed{'' if len(beds) == 1 else 's'}"


def _is_named(soil: str, beds: Sequence[BedAnswer], all_of: Sequence[BedAnswer]) -> bool:
    """Whether `beds` are too few of a soil's beds for the soil to be named in their place."""
    return not soil or len(beds) <= MAX_ODD or 2 * len(beds) <= len(all_of)


def _span(days: Sequence[date], most_frac: float) -> tuple[date, date | None]:
    """The earliest day, or two days running, with `most_frac` of `days`; else from the first on."""
    for n_days in (1, 2):
        for first in sorted(set(days)):
            last = first + timedelta(days=n_days - 1)
            if sum(first <= day <= last for day in days) >= most_frac * len(days):
                return first, last
    return min(days), None


def _chance_span(beds: Sequence[BedAnswer]) -> str:
    """The chance of a crust on several beds: "7 in 10", or "5 to 9 in 10" where they differ."""
    chances = [bed.crust.chance for bed in beds if bed.crust is not None]
    low, high = chance_words(min(chances)), chance_words(max(chances))
    if low == high:
        return low
    return f"{low.removesuffix(' in 10')} to {high}"


def sentence(text: str) -> str:
    """The text as a sentence: a capital first, a full stop last."""
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
