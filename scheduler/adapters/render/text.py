"""The morning page in plain words, for a terminal, a print or a mail."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.adapters.quantities import depth_text
from scheduler.adapters.render.phrases import chance_words, joined_while_fits, wrapped
from scheduler.adapters.render.statements import (
    LAST_BLIND,
    LIFT,
    MAX_CLAUSES,
    MAX_GO_LINES,
    DayWords,
    Statement,
    planting_name,
    sentence,
    wrapped_items,
)
from scheduler.records import BedAnswer, Morning

__all__ = ["MAX_GO_LINES", "MIN_WIDTH", "DayPage", "planting_name", "today_text"]

MAX_WEATHER_LINES = 3
MAX_BARE_CROP = 18  # columns that a crop's name may claim before the tool and its depth
MIN_WIDTH = 36
NARROW_WIDTH = 72  # below this the columns of a go line become a sentence
LABEL_WIDTH = 12


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
    page = DayPage(morning, width, morning.farm.units if units is None else units)
    blocks = [
        page.head(),
        page.go(),
        page.laid(page.groups()),
        page.laid(page.ahead()),
        page.foot(),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


class DayPage(DayWords):
    """One morning laid out in columns of plain text."""

    def __init__(self, morning: Morning, width: int, units: str) -> None:
        super().__init__(morning, units)
        self.width = width
        self.narrow = width < NARROW_WIDTH

    def laid(self, said: Sequence[Statement]) -> list[str]:
        """Labelled statements; a label hangs in its own column where there is room."""
        lines: list[str] = []
        before = ""
        for label, text, reason in said:
            if self.narrow:
                head = f"{label}, {reason}" if reason else label
                lines += wrapped_items(f"{head}: {text}", self.width, rest="  ")
                continue
            hanging = "" if label == before == "Plans" else label
            whole = f"{reason}: {text}" if reason else text
            lines += wrapped_items(
                whole, self.width, first=f"{hanging:<{LABEL_WIDTH}} ", rest=" " * (LABEL_WIDTH + 1)
            )
            before = label
        return lines

    def head(self) -> list[str]:
        title, stamp = self.title(), self.stamp()
        if len(title) + len(stamp) + 2 <= self.width:
            lines = [title + stamp.rjust(self.width - len(title))]
        else:
            lines = [*wrapped(title, self.width), stamp]
        said = [text for text in (self.old_weather(), self.summary()) if text]
        return [*lines, *(line for text in said for line in wrapped(text, self.width))]

    def go(self) -> list[str]:
        heading, shown = self.list_heading(), self.shown()
        if not shown:
            return [heading]
        if self.narrow:
            lines = wrapped(f"{heading}:", self.width)
            for place, bed in enumerate(shown, start=1):
                lines += self.go_paragraph(place, bed)
            return lines
        ends = "minutes + set-up"
        lines = [f"{heading}:".ljust(self.width - len(ends)) + ends]
        return lines + self.go_rows(shown)

    def go_rows(self, shown: Sequence[BedAnswer]) -> list[str]:
        names = [planting_name(bed) for bed in shown]
        works = [self.work(bed) for bed in shown]
        name_width = min(max(map(len, names)), 14)
        # number, blank, bed, two blanks, crop, two blanks, tool, two blanks, hours, blank, minutes
        room = self.width - (3 + name_width + 2 + 2 + 2 + 11 + 1 + 6)
        bare_crop = max(len(self.crop_words(bed, 0)) for bed in shown)
        widest = max(room * 11 // 20, room - min(bare_crop, MAX_BARE_CROP))
        tools = [_fitting([self.tool_words(bed, n) for n in (3, 2, 1, 0)], widest) for bed in shown]
        tool_width = max(map(len, tools))
        crop_width = room - tool_width
        crops = [
            _fitting([self.crop_words(bed, n) for n in (2, 1, 0)], crop_width) for bed in shown
        ]
        lines: list[str] = []
        lifts: list[str] = []
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
            clauses = self.clauses(bed)
            clauses[3:3] = [_without_reason(note) for note in self.notes(bed)]
            if tools[place - 1] not in (self.tool_words(bed, 3), self.tool_words(bed, 2)):
                depth = bed.action and depth_text(bed.action.depth_mm, self.units)
                clauses[:0] = [f"{depth} deep"]
            why = joined_while_fits(_briefly(clauses, room_why), room_why)
            lifts += [
                f"{names[place - 1]}: {note}"
                for note in map(_without_reason, self.notes(bed))
                if note.startswith(LIFT) and note not in why
            ]
            lines.append((f"    {why}".ljust(self.width - len(sure)) + sure).rstrip())
        return lines + (self.laid([self.statement("Mind", "; ".join(lifts))]) if lifts else [])

    def go_paragraph(self, place: int, bed: BedAnswer) -> list[str]:
        head = (
            f"{place} {planting_name(bed)}: {self.crop_words(bed, 2)}. "
            f"{sentence(self.tool_words(bed, 3)).rstrip('.')}, {self.hours(bed)}, "
            f"{self.work(bed)} min."
        )
        sentences = [head]
        for clauses in (self.clauses(bed)[:MAX_CLAUSES], self.notes(bed)):
            if clauses:
                sentences.append(sentence("; ".join(clauses)))
        if bed.sure is not None:
            sentences.append(f"Sure: {chance_words(bed.sure)}.")
        return wrapped(" ".join(sentences), self.width, rest="  ")

    def foot(self) -> list[str]:
        lines = [
            *self.laid(self.doubts()),
            *self.laid(self.cautions()),
            *self.weather_lines(),
            *self.laid(self.credits()),
        ]
        weakest = self.weakest()
        if weakest and self.narrow:
            lines += self.laid([self.statement("Weakest today", weakest)])
        elif weakest:
            lines += self.laid([self.statement("Weakest", f"today: {weakest}")])
        return lines

    def weather_lines(self) -> list[str]:
        """Age, the first note, then as many more, whole, as fit; how many are left."""
        told = self.weather_notes()
        n_lines = MAX_WEATHER_LINES * (2 if self.narrow else 1)
        for n_told in range(len(told), 0 if told else -1, -1):
            lines = self.laid([self.weather(told, n_told)])
            if len(lines) <= n_lines:
                break
        return lines


def _briefly(clauses: Sequence[str], width: int) -> list[str]:
    """The clauses, with shorter units where the first three do not fit into a line otherwise."""
    if len("; ".join(clauses[:3])) <= width:
        return list(clauses)
    brief = [
        clause.removesuffix(" by hand").replace(LAST_BLIND, "blind until") for clause in clauses
    ]
    return [clause.replace(" per sq ft", "/sq ft").replace(" per m2", "/m2") for clause in brief]


def _cut(text: str, width: int) -> str:
    """`text`, shortened with ".." where it is longer than its column."""
    return text if len(text) <= width else text[: max(0, width - 2)].rstrip() + ".."


def _without_reason(note: str) -> str:
    """A note without the bracket in which it says why."""
    return note.partition(" (")[0]


def _fitting(variants: Sequence[str], width: int) -> str:
    """The first, longest variant that fits into `width`, else the shortest one cut."""
    return next((text for text in variants if len(text) <= width), _cut(variants[-1], width))
