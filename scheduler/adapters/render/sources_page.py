"""The parameters behind the answers, with range, source and grade."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from typing import Protocol

from scheduler.adapters.render.bed_page import GRADE_WORDS
from scheduler.adapters.render.phrases import wrapped


class ParameterRow(Protocol):
    """One value of the parameter tables, as the service hands it out."""

    @property
    def table(self) -> str: ...
    @property
    def subject(self) -> str: ...
    @property
    def parameter(self) -> str: ...
    @property
    def value(self) -> float: ...
    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...
    @property
    def unit(self) -> str: ...
    @property
    def source(self) -> str: ...
    @property
    def locator(self) -> str: ...
    @property
    def grade(self) -> str: ...
    @property
    def seen(self) -> str: ...
    @property
    def note(self) -> str: ...


def subjects_text(rows: Sequence[ParameterRow], width: int = 80) -> str:
    """Every subject with how many values it has of each grade.

    Parameters
    ----------
    rows
        All parameters.
    width
        Columns of the page.
    """
    by_subject: dict[str, Counter[str]] = defaultdict(Counter)
    for row in rows:
        by_subject[row.subject][row.grade] += 1
    name_width = max((len(subject) for subject in by_subject), default=0)
    lines = wrapped(f"{len(rows)} values. {grades_line()}", width)
    lines.append("")
    for subject, grades in sorted(by_subject.items()):
        counts = ", ".join(f"{count} {grade}" for grade, count in sorted(grades.items()))
        lines += wrapped(
            counts, width, first=f"{subject:<{name_width}}  ", rest=" " * (name_width + 2)
        )
    lines += ["", "One subject in full: whitethread sources SUBJECT"]
    return "\n".join(lines) + "\n"


def summary_text(rows: Sequence[ParameterRow], width: int = 80) -> str:
    """How many values each table has of each grade, and how many were seen in their source.

    Parameters
    ----------
    rows
        All parameters.
    width
        Columns of the page.
    """
    grades: dict[str, Counter[str]] = defaultdict(Counter)
    seen: dict[str, Counter[str]] = defaultdict(Counter)
    for row in rows:
        for table in (row.table, "all"):
            grades[table][row.grade] += 1
            seen[table][row.seen] += 1
    names = [*sorted(table for table in grades if table != "all"), "all"]
    head = f"{'table':<14}{'values':>7}" + "".join(f"{grade:>6}" for grade in GRADE_WORDS)
    lines = [f"{head}{'seen':>7}{'memory':>8}"]
    for table in names:
        cells = "".join(f"{grades[table][grade]:>6}" for grade in GRADE_WORDS)
        lines.append(
            f"{table:<14}{sum(grades[table].values()):>7}{cells}"
            f"{seen[table]['seen']:>7}{seen[table]['memory']:>8}"
        )
    told = "Seen: read in the source named, or set by this project; memory: not seen again."
    lines += ["", *wrapped(grades_line(), width), *wrapped(told, width)]
    return "\n".join(lines) + "\n"


def parameters_text(rows: Sequence[ParameterRow], width: int = 80) -> str:
    """Every value with its range, unit, source and grade.

    Parameters
    ----------
    rows
        The parameters to print, in this order.
    width
        Columns of the page.
    """
    lines: list[str] = []
    subject = ""
    for row in rows:
        if row.subject != subject:
            subject = row.subject
            lines += ["", subject] if lines else [subject]
        unit = "" if row.unit == "1" else f" {row.unit}"
        span = "" if row.low == row.high else f" ({row.low:g} to {row.high:g})"
        lines += wrapped(f"{row.parameter} {row.value:g}{unit}{span}", width, "  ", "    ")
        place = f", {row.locator}" if row.locator else ""
        memory = ", not seen again" if row.seen == "memory" else ""
        lines += wrapped(f"{row.grade}: {row.source}{place}{memory}", width, "    ", "    ")
        if row.note:
            lines += wrapped(row.note, width, "    ", "    ")
    lines += ["", *wrapped(grades_line(), width)]
    return "\n".join(lines) + "\n"


def grades_line() -> str:
    """What the grades mean, in one line."""
    words = ", ".join(f"{grade} {meaning}" for grade, meaning in GRADE_WORDS.items())
    return f"Grades: {words}."
