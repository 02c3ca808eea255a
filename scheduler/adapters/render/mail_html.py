"""The HTML part of the morning mail: one file, no picture but its own, nothing from outside."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from scheduler.adapters.render.clean import RTL_RUN, clean_record, clean_text
from scheduler.adapters.render.mail_text import foot_statements
from scheduler.adapters.render.news_words import news_pieces
from scheduler.adapters.render.phrases import (
    MONTHS,
    WEEKDAYS_LONG,
    chance_words,
    day_words,
)
from scheduler.adapters.render.statements import (
    ITEM_NUMBER,
    MAX_CLAUSES,
    DayWords,
    planting_name,
    sentence,
)
from scheduler.adapters.render.strip_png import strip_words
from scheduler.records import BedAnswer, Morning, MorningNews

if TYPE_CHECKING:
    import jinja2
    from markupsafe import Markup

BEYOND = "Also go"  # told with a box for each planting
TEMPLATE = "mail.html.j2"
_MONTH = "|".join(MONTHS)
_WITH_NEXT = re.compile(
    rf"\b(?:set|sown) \d{{1,2}} (?:{_MONTH})\b"
    rf"|\d (?:mm|in|ft|m|cm|min|h|C|F|d|beds?|{_MONTH})\b(?! 10\b)|\d in 10\b"
)
_KEPT = re.compile(rf"{RTL_RUN.pattern}|(?<![\w-])[\w/:]{{1,7}}-[\w/:]{{1,7}}(?![\w-])")


class Row(NamedTuple):
    """One line of the list, in the words of its cells."""

    bed: str
    crop: str
    tool: str
    hours: str
    work: str
    why: str


def mail_html(
    morning: Morning,
    news: MorningNews,
    notices: Sequence[str] = (),
    strip_cid: str | None = None,
    contact: str = "",
) -> str:
    """The mail for whoever reads HTML; it says what the plain text says.

    Parameters
    ----------
    morning
        The list.
    news
        What came since the list before.
    notices
        What is wrong with the delivery, the farm file or the weather, a sentence each.
    strip_cid
        The Content-ID of the picture of the hours, without brackets; None where there is none.
    contact
        Whom to ask, in the grower's own words.

    Returns
    -------
    str
        A whole document with its styles inlined.
    """
    import css_inline

    morning, news = clean_record(morning), clean_record(news)
    page = _page(DayWords(morning, morning.farm.units), news, notices, strip_cid, contact)
    whole = _template().render(page=page)
    return css_inline.CSSInliner(load_remote_stylesheets=False).inline(whole)


def _page(
    words: DayWords,
    news: MorningNews,
    notices: Sequence[str],
    strip_cid: str | None,
    contact: str,
) -> Mapping[str, Any]:
    morning, shown = words.morning, words.shown()
    strip = None
    if strip_cid is not None and morning.strip is not None:
        alt = strip_words(morning.strip, words.units, words.zone, morning.weather.last_observed)
        strip = {"cid": strip_cid, "words": alt}
    return {
        "title": words.title(),
        "day": f"{WEEKDAYS_LONG[words.today.weekday()]} {day_words(words.today)}",
        "farm": morning.farm.name,
        "stamp": words.stamp(),
        "warning": words.old_weather(),
        "summary": words.summary(),
        "notices": [clean_text(notice) for notice in notices],
        "news": news_pieces(morning, news),
        "heading": words.list_heading(),
        "lines": [_row(words, bed) for bed in shown],
        "beyond": words.beyond(),
        "has_setups": any("+" in words.work(bed) for bed in shown),
        "groups": [said for said in words.groups() if said.label != BEYOND],
        "ahead": words.ahead(),
        "foot": foot_statements(words, contact),
        "strip": strip,
    }


def _row(words: DayWords, bed: BedAnswer) -> Row:
    sentences = [
        sentence("; ".join(clauses))
        for clauses in (words.clauses(bed)[:MAX_CLAUSES], words.notes(bed))
        if clauses
    ]
    if bed.sure is not None:
        sentences.append(f"Sure:\u00a0{chance_words(bed.sure)}.".replace(" ", "\u00a0"))
    return Row(
        planting_name(bed),
        words.crop_words(bed, 2),
        words.tool_words(bed, 3),
        words.hours(bed),
        words.work(bed).replace("+", " + "),
        " ".join(sentences),
    )


# ----------------------------------------------------------------- template


@cache
def _template() -> jinja2.Template:
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("scheduler.adapters.render", "."),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.filters["shown"] = shown
    return environment.get_template(TEMPLATE)


def shown(text: str) -> Markup:
    """Text escaped for HTML, with what must stay together kept together.

    A figure stays with its unit, a span on one line; words written from right to left are set
    apart, so that the figures beside them keep their place.
    """
    from markupsafe import Markup, escape

    for pattern in (_WITH_NEXT, ITEM_NUMBER):
        text = pattern.sub(lambda found: found[0].replace(" ", "\u00a0"), text)
    pieces: list[Markup] = []
    place = 0
    for found in _KEPT.finditer(text):
        tag = "<bdi>{}</bdi>" if RTL_RUN.fullmatch(found[0]) else '<span class="nb">{}</span>'
        pieces += [escape(text[place : found.start()]), Markup(tag).format(found[0])]
        place = found.end()
    return Markup("").join([*pieces, escape(text[place:])])
