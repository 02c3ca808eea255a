"""The season read back in plain words, for a terminal or a print: one or two screens."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.adapters.render.phrases import wrapped
from scheduler.adapters.render.review_words import MissedRow, ReviewWords
from scheduler.records import SeasonReview

MIN_WIDTH = 36
NARROW_WIDTH = 72  # below this columns become sentences
MAX_WHY_LINES = 2
MAX_NOTES = 4
MAX_LABEL = 28
NOTHING = "-"


def review_text(review: SeasonReview, width: int = 80, units: str | None = None) -> str:
    """The summary of a season.

    Parameters
    ----------
    review
        The season to print.
    width
        Columns of the page; no line is longer. Below 72 columns become sentences.
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
    page = _SummaryPage(ReviewWords(review, review.farm.units if units is None else units), width)
    blocks = [
        page.head(),
        page.costliest(),
        page.reasons(),
        page.tools(),
        page.fit_days(),
        page.scores(),
        page.replays(),
        page.foot(),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


class _SummaryPage:
    """One season laid out in columns of plain text."""

    def __init__(self, words: ReviewWords, width: int) -> None:
        self.words = words
        self.width = width
        self.is_narrow = width < NARROW_WIDTH

    def wrapped(self, text: str, rest: str = "") -> list[str]:
        return wrapped(text, self.width, rest=rest)

    def table(self, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
        """Columns: the first to the left, as wide as is left, the others to the right."""
        if self.is_narrow:
            return self.paragraphs(headings, rows)
        columns = list(zip(headings, *rows, strict=True))
        widths = [max(map(len, column)) for column in columns[1:]]
        first = self.width - sum(widths) - 2 * len(widths)
        if first < min(24, max(map(len, columns[0]))):
            return self.paragraphs(headings, rows)
        return [
            (
                f"{_cut(row[0], first):<{first}}"
                + "".join(f"  {cell:>{w}}" for cell, w in zip(row[1:], widths, strict=True))
            ).rstrip()
            for row in (headings, *rows)
        ]

    def paragraphs(self, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
        """The rows of a table as sentences, for a narrow page."""
        lines = self.wrapped(f"{headings[0]}:")
        for row in rows:
            cells = [
                f"{heading} {cell}"
                for heading, cell in zip(headings[1:], row[1:], strict=True)
                if cell not in ("", NOTHING)
            ]
            lines += self.wrapped(f"{row[0]}: {', '.join(cells)}", "  ")
        return lines

    def labelled(self, heading: str, said: Sequence[tuple[str, str]]) -> list[str]:
        """Statements under a heading, each with a label that hangs where there is room."""
        lines = self.wrapped(f"{heading}:") if said and heading else []
        label_width = min(MAX_LABEL, max((len(label) + 2 for label, _ in said), default=0))
        for label, text in said:
            if self.is_narrow:
                lines += self.wrapped(f"{label}: {text}", "  ")
            else:
                first = f"{_cut(label, label_width - 2):<{label_width}}"
                lines += wrapped(text, self.width, first=first, rest=" " * label_width)
        return lines

    # --------------------------------------------------------------- blocks

    def head(self) -> list[str]:
        title, stamp = self.words.title(), self.words.stamp()
        if len(title) + len(stamp) + 2 <= self.width:
            lines = [title + stamp.rjust(self.width - len(title))]
        else:
            lines = [*self.wrapped(title), *self.wrapped(stamp)]
        return [*lines, *self.wrapped(" ".join(self.words.summary()))]

    def costliest(self) -> list[str]:
        rows = self.words.costliest()
        if not rows:
            return []
        heading = "The missed flushes that cost most"
        if self.is_narrow:
            lines = self.wrapped(f"{heading}:")
            for place, row in enumerate(rows, start=1):
                text = f"{place} {row.bed} {row.crop}, {row.when}: {row.reason}, {row.cost}. "
                lines += self.wrapped(text + row.why, "  ")
            return lines
        ends = "by hand"
        lines = [f"{heading}:".ljust(self.width - len(ends)) + ends]
        name_width = min(22, max(len(_name(row)) for row in rows))
        when_width = max(len(row.when) for row in rows)
        cost_width = max(len(row.cost) for row in rows)
        room = self.width - (3 + name_width + 2 + when_width + 2 + 1 + cost_width)
        for place, row in enumerate(rows, start=1):
            lines.append(
                f"{place:>2} {_cut(_name(row), name_width):<{name_width}}  "
                f"{row.when:<{when_width}}  {_cut(row.reason, room):<{room}} "
                f"{row.cost:>{cost_width}}"
            )
            lines += self.why_lines(row)
        return lines

    def why_lines(self, row: MissedRow) -> list[str]:
        """The clauses of a reason, as many whole ones as two lines hold."""
        clauses = row.why.rstrip(".").split("; ")
        for n_told in range(len(clauses), 0, -1):
            why = f"{'; '.join(clauses[:n_told])}."
            lines = wrapped(why, self.width, first="   ", rest="   ")
            if len(lines) <= MAX_WHY_LINES:
                break
        return lines

    def reasons(self) -> list[str]:
        rows = self.words.reasons()
        if not rows:
            return []
        lines = self.table(
            ("Why they were missed", "flushes", "by hand"),
            [(row.reason, str(row.n_windows), row.cost) for row in rows],
        )
        own = self.words.own_said()
        return [*lines, *(self.wrapped(own) if own else [])]

    def tools(self) -> list[str]:
        rows = self.words.tools()
        if not rows:
            return []
        cells = [
            (row.tool, str(row.n_passes), row.time, *map(_count, row[3:6]), row.saved)
            for row in rows
        ]
        headings = ("Tool", "passes", "time", "paid alone", "not", "in vain", "saved by hand")
        timed = self.words.timed_said()
        return [*self.table(headings, cells), *(self.wrapped(timed) if timed else [])]

    def fit_days(self) -> list[str]:
        said, lines = self.words.past_said(), self.words.fit_lines()
        if not lines:
            return self.wrapped(said)
        heading = self.wrapped(f"Days fit for the field, in your hours. {said}")
        return [*heading, *self.labelled("", lines)]

    def scores(self) -> list[str]:
        told, untold = self.words.scored()
        lines = self.labelled("How good the forecasts were", told)
        nothing = f"Nothing is on record to score: {'; '.join(untold)}." if untold else ""
        rest = f"{self.words.brier_said()} {nothing}".strip()
        return [*lines, *(self.wrapped(rest) if rest else [])]

    def replays(self) -> list[str]:
        rows = self.words.replays()
        if not rows:
            return []
        headings = ("Played again", "by hand, log = 100", "with tools, set-ups in", "passes")
        lines = self.table(headings, [row[:4] for row in rows])
        return [*lines, *self.wrapped(self.words.replays_said())]

    def foot(self) -> list[str]:
        notes = self.words.notes()
        lines = [line for note in notes[:MAX_NOTES] for line in self.wrapped(note, "  ")]
        if len(notes) > MAX_NOTES:
            lines.append(f"{len(notes) - MAX_NOTES} more notes on the page (--html FILE).")
        for credit in self.words.credits():
            lines += self.wrapped(credit, "  ")
        return lines


def _name(row: MissedRow) -> str:
    return f"{row.bed} {row.crop}"


def _count(count: int) -> str:
    return str(count) if count else NOTHING


def _cut(text: str, width: int) -> str:
    """`text`, shortened with ".." where it is longer than its column."""
    return text if len(text) <= width else text[: max(0, width - 2)].rstrip() + ".."
