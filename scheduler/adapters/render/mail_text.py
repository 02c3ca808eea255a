"""The plain-text part of the morning mail."""

from __future__ import annotations

from collections.abc import Sequence

from scheduler.adapters.render.clean import clean_record, clean_text, marked_left_to_right
from scheduler.adapters.render.news_words import News, news_pieces
from scheduler.adapters.render.phrases import wrapped
from scheduler.adapters.render.statements import DayWords, Statement, wrapped_items
from scheduler.adapters.render.strip_png import strip_words
from scheduler.adapters.render.text import DayPage
from scheduler.records import Morning, MorningNews

WIDTH = 72
MAX_NOTES = 4  # notes on the weather told whole; the rest is counted


def mail_text(
    morning: Morning,
    news: MorningNews,
    notices: Sequence[str] = (),
    width: int = WIDTH,
    contact: str = "",
) -> str:
    """The mail for whoever reads plain text: notices and news first, then the page of the day.

    Parameters
    ----------
    morning
        The list.
    news
        What came since the list before.
    notices
        What is wrong with the delivery, the farm file or the weather, a sentence each.
    width
        Columns; no line is longer, but for a command, which is never broken.
    contact
        Whom to ask, in the grower's own words.

    Returns
    -------
    str
        Ends with a line break.
    """
    morning, news = clean_record(morning), clean_record(news)
    page = DayPage(morning, width, morning.farm.units)
    blocks = [
        [line for text in notices for line in wrapped(clean_text(text), width)],
        [line for piece in news_pieces(morning, news) for line in _news_lines(piece, width)],
        page.head(),
        page.go(),
        page.laid(page.groups()),
        page.laid(page.ahead()),
        page.laid([*hours_statements(page), *foot_statements(page, contact)]),
    ]
    text = "\n\n".join("\n".join(block) for block in blocks if block)
    return marked_left_to_right(text) + "\n"


def _news_lines(piece: News, width: int) -> list[str]:
    lines = wrapped_items(piece.text, width)
    if piece.command:
        lines += [*wrapped(f"Done after all? {piece.hint}:", width), f"  {piece.command}"]
    return lines


def hours_statements(words: DayWords) -> list[Statement]:
    """The hours of the picture in words."""
    strip = words.morning.strip
    if strip is None:
        return []
    return [
        Statement(
            "Hours",
            strip_words(strip, words.units, words.zone, words.morning.weather.last_observed),
        )
    ]


def foot_statements(words: DayWords, contact: str = "") -> list[Statement]:
    """Cautions, age and credits of the weather, what is weakest, and how to answer."""
    told = words.weather_notes()
    said = [*words.doubts(), *words.cautions(), words.weather(told, min(len(told), MAX_NOTES))]
    said += words.credits()
    if words.weakest():
        said.append(words.statement("Weakest", f"today: {words.weakest()}"))
    if words.go_beds:
        said.append(Statement("Tonight", "whitethread done 1 2 logs the lines 1 and 2 as done"))
    if clean_text(contact):
        said.append(Statement("Ask", clean_text(contact)))
    return said
