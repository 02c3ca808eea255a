"""One bed explained: soil by depth, hours, crust, flushes, entries, every number's origin."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.adapters.quantities import (
    depth_text,
    duration_text,
)
from scheduler.adapters.render.entry_words import event_words
from scheduler.adapters.render.lesson_words import (
    before_and_after,
    doubt_words,
    is_timed,
    looks_words,
    minutes_of_work,
    spoken,
)
from scheduler.adapters.render.phrases import (
    REASON_WORDS,
    WEEKDAYS,
    chance_words,
    dated_words,
    day_words,
    grower_text,
    half_day_words,
    hour_words,
    minutes_words,
    moment_words,
    range_words,
    wrapped,
)
from scheduler.adapters.render.plotting import begin_figure, figure_lines, midnight_ticks
from scheduler.planning.bed_page import (
    BedPage,
    GuildFlush,
    SoilDepth,
    StageCourse,
    SurfaceCourse,
    Why,
    WorkableHours,
)
from scheduler.records import BedAnswer, Event, Range

MIN_WIDTH = 40
WORKABLE_CHANCE = 0.8
MAX_EVENTS = 12
PAST_D = 10
AHEAD_D = 7
LABEL_WIDTH = 12

GRADE_WORDS = {
    "A": "measured for this",
    "B": "measured elsewhere",
    "C": "handbook or common practice",
    "D": "derived by us",
    "E": "our assumption",
}


def bed_text(page: BedPage, width: int = 80, *, is_plotted: bool = True) -> str:
    """The page of one bed.

    Parameters
    ----------
    page
        What the service found for the bed.
    width
        Columns of the page; no line is longer.
    is_plotted
        Whether the plot of the surface is drawn (it loads plotext).

    Returns
    -------
    str
        Text that ends with a line break.

    Raises
    ------
    ValueError
        A width below 40 columns.
    """
    if width < MIN_WIDTH:
        raise ValueError(f"width: {width} columns; at least {MIN_WIDTH} are needed")
    zone = ZoneInfo(page.time_zone)
    blocks = [
        _head(page, zone, width),
        _tools(page, width),
        _soil_table(page.soil_depths, page.units, width),
        _hours(page, zone, width),
        _crust_and_flush(page, zone, width),
    ]
    if page.stages is not None:
        blocks.append(_stages(page.stages, page, width))
    blocks.append(_lessons(page, zone, width))
    if is_plotted and page.course is not None:
        blocks.append(_plot(page.course, page, zone, width))
    blocks += [
        _events(page.events, page, zone, width),
        _whys(page.whys, page, width),
        [line for note in page.notes for line in wrapped(_sentence(note), width)],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


# --------------------------------------------------------------------- head


def _labelled(label: str, text: str, units: str, width: int) -> list[str]:
    indent = " " * (LABEL_WIDTH + 1)
    return wrapped(grower_text(text, units), width, first=f"{label:<{LABEL_WIDTH}} ", rest=indent)


def _head(page: BedPage, zone: ZoneInfo, width: int) -> list[str]:
    name = page.bed if page.part is None else f"{page.bed}/{page.part}"
    if page.crop is None:
        grows = "empty"
    elif page.established_on is None:
        grows = page.crop
    else:
        way = "sown" if page.is_sown else "set"
        grows = f"{page.crop}, {way} {day_words(page.established_on)}"
    title = f"Bed {name}: {grows}; {page.soil_name}"
    made = page.as_of.astimezone(zone)
    stamp = f"{dated_words(made.date())} {made:%H:%M}"
    if len(title) + len(stamp) + 2 <= width:
        lines = [title + stamp.rjust(width - len(title))]
    else:
        lines = [*wrapped(title, width), stamp]
    if page.answer is not None:
        lines += _verdict(page.answer, page, zone, width)
    return lines


def _verdict(answer: BedAnswer, page: BedPage, zone: ZoneInfo, width: int) -> list[str]:
    reason = REASON_WORDS.get(answer.because, answer.because.replace("_", " "))
    if answer.verdict == "go" and answer.action is not None:
        action = answer.action
        tool = f"{action.tool} {action.setup}" if action.setup else action.tool
        text = (
            f"{tool}, {depth_text(action.depth_mm, page.units)}, "
            f"{hour_words(action.start, zone)}-{hour_words(action.end, zone)}, "
            f"{duration_text(action.work_min)} of work"
        )
        if round(action.setup_min) > 0:
            text += f" and {duration_text(action.setup_min)} to set up"
        label = "Do today"
    elif answer.verdict == "wait":
        until = (
            "until when is not known"
            if answer.until is None
            else f"until {half_day_words(answer.until, page.as_of, zone)}"
        )
        label, text = "Wait", f"{reason}; {until}"
    elif answer.verdict == "hand":
        by_hand = (answer.minutes or {}).get("by_hand")
        span = "" if by_hand is None else f"; {minutes_words(by_hand)}"
        label, text = "By hand", f"{reason}{span}"
    else:
        label, text = "Nothing", reason
    if answer.sure is not None:
        text += f"; sure {chance_words(answer.sure)}"
    lines = _labelled(label, f"{text}.", page.units, width)
    for why in answer.why:
        lines += _labelled("", _sentence(why), page.units, width)
    for key, words in (
        ("saved", "Saves {} by hand."),
        ("cost_of_waiting", "Waiting costs {} by hand."),
    ):
        span_min = (answer.minutes or {}).get(key)
        is_told = any(why.startswith(words.split()[0].lower()) for why in answer.why)
        if span_min is not None and not is_told:
            lines += _labelled("", words.format(minutes_words(span_min)), page.units, width)
    if answer.last_good_at is not None:
        good = moment_words(answer.last_good_at, page.as_of, zone)
        lines += _labelled("", f"Good until {good}.", page.units, width)
    if answer.action is not None and answer.action.note:
        lines += _labelled("Note", _sentence(answer.action.note), page.units, width)
    if answer.plan:
        lines += _labelled("Plan", _sentence(answer.plan), page.units, width)
    for detail in answer.details:
        lines += _labelled("", _sentence(detail), page.units, width)
    if answer.look is not None:
        where = f"{answer.look['where']}: " if answer.look.get("where") else ""
        gain = answer.look.get("gain_min")
        worth = f" (worth {duration_text(float(gain))})" if gain else ""
        asked = _sentence(f"{where}{answer.look['ask']}{worth}")
        lines += _labelled("Look", asked, page.units, width)
    return lines


# -------------------------------------------------------------------- tools


def _tools(page: BedPage, width: int) -> list[str]:
    """The tools of the farm that are not offered, those with the same reason together."""
    by_why: dict[str, list[str]] = {}
    for refusal in () if page.answer is None else page.answer.refusals:
        by_why.setdefault(refusal.why, []).append(refusal.tool)
    if not by_why:
        return []
    lines = ["Tools not offered:"]
    for why, tools in by_why.items():
        text = grower_text(f"{', '.join(tools)}: {_ended(why)}", page.units)
        lines += wrapped(text, width, "  ", "    ")
    return lines


# --------------------------------------------------------------------- soil


def _soil_table(depths: Sequence[SoilDepth], units: str, width: int) -> list[str]:
    if not depths:
        return []
    is_us = units == "us"
    rows = [
        (
            "depth, in" if is_us else "depth, mm",
            "wetness",
            "water m3/m3",
            "suction kPa",
            "temp F" if is_us else "temp C",
        )
    ]
    for depth in depths:
        rows.append(
            (
                _depth_span(depth, is_us),
                _mid_and_span(depth.relative_water, 2),
                _mid_and_span(depth.theta_m3m3, 3),
                _mid_and_span(depth.suction_kpa, 0),
                _mid_and_span(_in_f(depth.soil_temp_c) if is_us else depth.soil_temp_c, 0),
            )
        )
    lines = _columns(rows)
    middle = "middle (10-90 % of the members)"
    if max(map(len, lines)) > width:
        bare = [tuple(text.partition(" (")[0] for text in row) for row in rows[1:]]
        heads = (rows[0][0], "wet", "m3/m3", "kPa", "F" if is_us else "C")
        lines = _columns([heads, *bare])
        middle = "middle of the members"
    caption = f"Soil now: {middle}. Wetness: 0 air-dry, 1 as held at 33 kPa."
    return [*wrapped(caption, width), *lines]


def _columns(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Rows as lines, each column as wide as its longest text."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(text.rjust(room) for text, room in zip(row, widths, strict=True)) for row in rows
    ]


def _depth_span(depth: SoilDepth, is_us: bool) -> str:
    if is_us:
        return f"{depth.from_mm / 25.4:.1f}-{depth.to_mm / 25.4:.1f}"
    return f"{depth.from_mm:.0f}-{depth.to_mm:.0f}"


def _mid_and_span(span: Range, places: int) -> str:
    if math.isnan(span.mid):
        return "not known"
    return f"{_figure(span.mid, places)} ({_figure(span.low, places)}-{_figure(span.high, places)})"


def _figure(value: float, places: int) -> str:
    if not math.isfinite(value):
        return "?"
    if abs(value) >= 10_000:
        return "over 9999"
    text = f"{value:.{places}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text


def _in_f(span: Range) -> Range:
    return Range(span.low * 1.8 + 32.0, span.mid * 1.8 + 32.0, span.high * 1.8 + 32.0)


# -------------------------------------------------------------------- hours


def _hours(page: BedPage, zone: ZoneInfo, width: int) -> list[str]:
    """One digit an hour: tenths of a chance, a row a day, the hours of the day above."""
    if not page.workable:
        return []
    lines = wrapped(
        "Workable, chance in tenths by hour (9 is 9 or more; . is none; blank is past):", width
    )
    for hours in _merged(page.workable):
        lines += [
            *wrapped(
                f"{grower_text(hours.label, page.units)}: {_first_hours(hours, page, zone)}", width
            )
        ]
        lines.append(f"  {'':<12}{''.join(f'{hour:<6}' for hour in (0, 6, 12, 18))}".rstrip())
        for day, row in _day_rows(hours, page.as_of, zone).items():
            lines.append(f"  {WEEKDAYS[day.weekday()]} {day_words(day):<6}  {row}".rstrip())
    return lines


def _merged(workable: Sequence[WorkableHours]) -> list[WorkableHours]:
    """Ways of working with the same chances in every hour become one, by all their names."""
    merged: list[WorkableHours] = []
    for hours in workable:
        for place, earlier in enumerate(merged):
            same_start = earlier.start_at == hours.start_at
            if same_start and earlier.chance_frac.tolist() == hours.chance_frac.tolist():
                merged[place] = replace(earlier, label=f"{earlier.label}, {hours.label}")
                break
        else:
            merged.append(hours)
    return merged


def _day_rows(hours: WorkableHours, as_of: datetime, zone: ZoneInfo) -> dict[date, str]:
    rows: dict[date, list[str]] = {}
    for place, chance in enumerate(hours.chance_frac.tolist()):
        start = hours.start_at + timedelta(hours=place)
        local = start.astimezone(zone)
        row = rows.setdefault(local.date(), [" "] * 24)
        if start + timedelta(hours=1) <= as_of:
            continue
        row[local.hour] = _tenth(chance)
    return {day: "".join(row) for day, row in rows.items()}


def _tenth(chance_frac: float) -> str:
    if math.isnan(chance_frac):
        return "?"
    tenth = min(9, math.floor(chance_frac * 10 + 1e-9))
    return "." if tenth == 0 else str(tenth)


def _first_hours(hours: WorkableHours, page: BedPage, zone: ZoneInfo) -> str:
    """From when the chance is at least eight in ten for two hours running."""
    chances = hours.chance_frac.tolist()
    for place in range(len(chances) - 1):
        start = hours.start_at + timedelta(hours=place)
        if start + timedelta(hours=1) <= page.as_of:
            continue
        if min(chances[place], chances[place + 1]) >= WORKABLE_CHANCE:
            when = moment_words(start, page.as_of, zone)
            return "now" if when == "now" else f"from {when}"
    return "no two hours at 8 in 10 in sight"


# ---------------------------------------------------------- crust and flush


def _crust_and_flush(page: BedPage, zone: ZoneInfo, width: int) -> list[str]:
    lines: list[str] = []
    crust = None if page.answer is None else page.answer.crust
    if crust is None:
        lines += _labelled("Crust", "not known.", page.units, width)
    else:
        text = f"index now {crust.index_now:.1f} of 1"
        if crust.expected_at is None:
            text += "; none expected"
        elif crust.expected_at <= page.as_of:
            text += f"; it stands ({chance_words(crust.chance)})"
        else:
            when = moment_words(crust.expected_at, page.as_of, zone)
            text += f"; expected {when} ({chance_words(crust.chance)})"
        if crust.break_by is not None:
            text += f"; break it by {moment_words(crust.break_by, page.as_of, zone)}"
        lines += _labelled("Crust", f"{text}.", page.units, width)
    flushes = page.flushes
    if not flushes and page.answer is not None and page.answer.flush is not None:
        flushes = (GuildFlush("", page.answer.flush),)
    if not flushes:
        return lines + _labelled("Flush clock", "not known.", page.units, width)
    for flush in flushes:
        lines += _labelled("Flush clock", _flush_words(flush, page, zone), page.units, width)
    return lines


def _flush_words(guild: GuildFlush, page: BedPage, zone: ZoneInfo) -> str:
    flush = guild.flush
    words: list[str] = []
    if flush.opened_at is not None:
        by = f" by {flush.opened_by}" if flush.opened_by else ""
        text = f"opened {day_words(flush.opened_at.astimezone(zone).date())}{by}"
        if flush.gdd_since_opening is not None and not math.isnan(flush.gdd_since_opening):
            text += f", {flush.gdd_since_opening:.0f} degree-days since"
        words.append(text)
    else:
        words.append("none open")
    for label, moment in (
        ("threads from", flush.thread_from),
        ("most", flush.thread_most_at),
        ("too late from", flush.last_good_at),
    ):
        if moment is not None:
            words.append(f"{label} {_day_and_hour(moment, page.day, zone)}")
    if flush.to_come_frac is not None:
        span = flush.to_come_frac
        percent = Range(span.low * 100, span.mid * 100, span.high * 100)
        words.append(f"still to come {range_words(percent)} %")
    if flush.next_expected_at is not None:
        words.append(f"next expected {_day_and_hour(flush.next_expected_at, page.day, zone)}")
    head = f"{guild.guild}: " if guild.guild else ""
    return f"{head}{'; '.join(words)}."


def _day_and_hour(moment: datetime, today: date, zone: ZoneInfo) -> str:
    """A moment to the hour within a week either way, to the day beyond."""
    local = moment.astimezone(zone)
    text = dated_words(local.date())
    return f"{text} {local:%H:%M}" if abs((local.date() - today).days) <= 2 else text


# --------------------------------------------------------------------- plot


def _plot(course: SurfaceCourse, page: BedPage, zone: ZoneInfo, width: int) -> list[str]:
    """Surface wetness and its threshold above, rain below, over the same days."""
    import plotext

    first = max(course.start_at, page.as_of - timedelta(days=PAST_D))
    start = int((first - course.start_at) / timedelta(hours=1))
    end = min(
        len(course.rain_mm),
        int((page.as_of + timedelta(days=AHEAD_D) - course.start_at) / timedelta(hours=1)),
    )
    if end - start < 2:
        return []
    days = [
        (course.start_at + timedelta(hours=place + 0.5) - page.as_of) / timedelta(days=1)
        for place in range(start, end)
    ]
    span = (days[0], days[-1])
    ticks = midnight_ticks(page.as_of, zone, span, 3)
    values = {
        "'": course.high_rel_water,
        ".": course.low_rel_water,
        "o": course.mid_rel_water,
    }
    known = [
        value
        for array in values.values()
        for value in array[start:end].tolist()
        if math.isfinite(value)
    ]
    top = max([1.0, course.working_rel_water, *known])
    figure: Any = plotext.figure
    begin_figure(figure, width, 13)
    for marker, array in values.items():
        points = [
            (day, value)
            for day, value in zip(days, array[start:end].tolist(), strict=True)
            if math.isfinite(value)
        ]
        if points:
            x, y = zip(*points, strict=True)
            figure.draw(figure.signal(list(x), list(y), marker=marker))
    if math.isfinite(course.working_rel_water):
        figure.line(course.working_rel_water, "h", style="dotted")
    figure.line(0.0, "v")
    _scale(figure, span, ticks, {top: f"{top:4.1f}", course.working_rel_water: " dry"})
    wetness = figure_lines(figure)
    amounts, middles = _six_hour_sums(course.rain_mm[start:end].tolist(), days)
    factor, unit = (1 / 25.4, "in") if page.units == "us" else (1.0, "mm")
    high = max([2.0, *amounts]) * factor
    begin_figure(figure, width, 7)
    if any(amounts):
        heights = [amount * factor for amount in amounts]
        figure.draw(figure.bar(middles, heights, marker="#", lines=False))
    figure.line(0.0, "v")
    _scale(figure, span, ticks, {high: f"{high:4.1f}"})
    rain = figure_lines(figure)
    return [
        *wrapped(
            "Surface wetness, 0-25 mm: o middle, . and ' 10 and 90 % of the members; "
            "dotted: dry enough below it; upright line: now."
            if unit == "mm"
            else "Surface wetness, top inch: o middle, . and ' 10 and 90 % of the members; "
            "dotted: dry enough below it; upright line: now.",
            width,
        ),
        *wetness,
        *wrapped(f"Rain in six hours, {unit} (to come: the middle of the members).", width),
        *rain,
    ]


def _scale(
    figure: Any,
    span: tuple[float, float],
    ticks: tuple[list[float], list[str]],
    levels: Mapping[float, str],
) -> None:
    """Days below, `levels` and zero at the left; the first level is the top."""
    known = {level: words for level, words in levels.items() if math.isfinite(level)}
    figure.ruler("x").lim(*span)
    figure.ruler("x").ticks(*ticks)
    figure.ruler("y").lim(0.0, next(iter(known)))
    figure.ruler("y").ticks([0.0, *known], ["   0", *known.values()])


def _six_hour_sums(rain_mm: list[float], days: list[float]) -> tuple[list[float], list[float]]:
    amounts, middles = [], []
    for place in range(0, len(rain_mm), 6):
        known = [value for value in rain_mm[place : place + 6] if math.isfinite(value)]
        amounts.append(sum(known))
        middles.append(sum(days[place : place + 6]) / len(days[place : place + 6]))
    return amounts, middles


# ------------------------------------------------------------ entries, whys


def _stages(stages: StageCourse, page: BedPage, width: int) -> list[str]:
    """Weeds by stage, a row a day: a bar of letters, and what was done."""
    top = float(stages.count_m2.sum(axis=1).max(initial=0.0))
    lines = wrapped(
        "Weeds per square metre, the middle of the particles: t threads, s seed leaf, l one or two "
        "leaves, y three to five, e six or more; in brackets still to come.",
        width,
    )
    room = width - 26
    for i, day in enumerate(stages.days):
        bar = ""
        if top > 0.0:
            edges = [round(float(x) / top * room) for x in stages.count_m2[i].cumsum()]
            starts = [0, *edges[:-1]]
            bar = "".join(
                letter * (b - a) for letter, a, b in zip("tslye", starts, edges, strict=True)
            )
        name = "today" if day == page.day else dated_words(day)
        total, come = float(stages.count_m2[i].sum()), float(stages.to_come_m2[i])
        lines.append(f"  {name:<10} {total:4.0f} ({come:.0f})".ljust(24) + f" {bar}".rstrip())
        if stages.marks[i]:
            lines += wrapped(stages.marks[i], width, first=" " * 25, rest=" " * 25)
    return lines


def _lessons(page: BedPage, zone: ZoneInfo, width: int) -> list[str]:
    """What entries changed, before and after; then those that are not learned from."""
    lines: list[str] = []
    if page.lessons:
        rests = looks_words(page.looks_on, page.looks_of)
        lines += wrapped("What your entries changed" + (f" ({rests}):" if rests else ":"), width)
    for lesson in page.lessons:
        if is_timed(lesson):
            continue
        lines += wrapped(_sentence(spoken(lesson.says, page.units)), width, "  ", "    ")
        figures = before_and_after(lesson, page.as_of, page.units, zone)
        lines += wrapped(_sentence(figures), width, "    ", "    ")
    for said in minutes_of_work(page.lessons):
        lines += wrapped(said, width, "  ", "    ")
    if page.doubts:
        lines.append("Entries that are not learned from:")
    for doubt in page.doubts:
        lines += wrapped(doubt_words(doubt, page.units, zone), width, "  ", "    ")
    return lines


def _events(events: Sequence[Event], page: BedPage, zone: ZoneInfo, width: int) -> list[str]:
    if not events:
        return []
    shown = events[-MAX_EVENTS:]
    count = "" if len(shown) == len(events) else f", the last {len(shown)} of {len(events)}"
    lines = [f"Entries{count}:"]
    for event in shown:
        local = event.happened_at.astimezone(zone)
        head = f"  {WEEKDAYS[local.weekday()]} {day_words(local.date()):<6} {local:%H:%M}  "
        lines += wrapped(
            event_words(event, page.units, zone), width, first=head, rest=" " * len(head)
        )
    return lines


def _whys(whys: Sequence[Why], page: BedPage, width: int) -> list[str]:
    if not whys:
        return []
    lines = ["Why, number by number (SI):"]
    for why in whys:
        lines += wrapped(why_words(why), width, "  ", "    ")
        lines += wrapped(origin_words(why), width, "    ", "    ")
    keys = sorted({why.source for why in whys if why.source in page.source_titles})
    if keys:
        lines += ["", "Sources:"]
        for key in keys:
            lines += wrapped(f"{key}: {page.source_titles[key]}", width, "  ", "    ")
    return lines


def why_words(why: Why) -> str:
    """The sentence with its number, in the units of the parameter tables."""
    sentence = f"{why.sentence[:1].upper()}{why.sentence[1:]}".rstrip(".")
    if why.value is None:
        return f"{sentence}."
    unit = "" if why.unit in ("", "1") else f" {why.unit}"
    return f"{sentence}: {why.value:g}{unit}."


def origin_words(why: Why) -> str:
    """Where one number comes from: its name, source, place in it, grade in words."""
    place = f", {why.locator}" if why.locator else ""
    grade = f"; {why.grade}, {GRADE_WORDS[why.grade]}" if why.grade in GRADE_WORDS else ""
    return f"{why.parameter}: {why.source}{place}{grade}"


def _sentence(text: str) -> str:
    text = text.strip()
    return _ended(text[:1].upper() + text[1:])


def _ended(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."
