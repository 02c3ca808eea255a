"""The season read back as one page of HTML: no script, nothing from outside, fit for printing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from scheduler.adapters.render.clean import clean_record
from scheduler.adapters.render.mail_html import shown
from scheduler.adapters.render.phrases import grower_text, natural_key
from scheduler.adapters.render.review_plots import (
    STAGES,
    SeasonAxis,
    bar_svg,
    calibration_svg,
    costs_svg,
    gap_svg,
    key_svg,
    months_svg,
    rain_svg,
    strip_svg,
    top_weeds_m2,
    weeks_svg,
)
from scheduler.adapters.render.review_words import (
    MISSED_WORDS,
    REASON_LETTERS,
    TOTAL_HEADINGS,
    ReviewWords,
    is_of,
    strip_key,
)
from scheduler.adapters.weather.sources import full_credit
from scheduler.records import PlantingStrip, Range, SeasonReview

if TYPE_CHECKING:
    import jinja2

TEMPLATE = "review.html.j2"
MAX_STRIPS = 20  # of one figure, so that it fits on a printed page


class Strip(NamedTuple):
    """One row of a figure along the season."""

    name: str
    svg: str


class Figure(NamedTuple):
    """Rows that stand under one another on one page."""

    heading: str
    rows: Sequence[Strip]


def review_html(review: SeasonReview, units: str | None = None) -> str:
    """The page of a season.

    Parameters
    ----------
    review
        The season.
    units
        "us" or "metric"; the farm's own where None.

    Returns
    -------
    str
        A whole document that needs nothing but itself: its styles and pictures are within it.
    """
    review = clean_record(review)
    words = ReviewWords(review, review.farm.units if units is None else units)
    return _template().render(page=_page(words))


def _page(words: ReviewWords) -> Mapping[str, Any]:
    review = words.review
    axis = SeasonAxis(review)
    top_m2 = top_weeds_m2(review.strips)
    return {
        "title": words.title(),
        "farm": review.farm.name,
        "year": review.year,
        "stamp": words.stamp(),
        "summary": words.summary(),
        "costliest": words.costliest(),
        "reasons": _with_bars(words),
        "own": words.own_said(),
        "figures": _figures(words, axis, top_m2),
        "full": grower_text(f"{top_m2:.0f} weeds/m2", words.units),
        "signs": _keys(),
        "letters": [(REASON_LETTERS[reason], MISSED_WORDS[reason]) for reason in REASON_LETTERS],
        "weeks": _weeks(words, axis),
        "fit": words.fit_lines(),
        "past": words.past_said(),
        "soils": words.soils(),
        "months": words.fit_months(),
        "scores": words.score_lines(),
        "brier": words.brier_said(),
        "calibrations": _calibrations(words),
        "replays": _replays(words),
        "replays_said": words.replays_said(),
        "tools": words.tools(),
        "timed": words.timed_said(),
        "totals": [(way, TOTAL_HEADINGS[way], rows) for way, rows in words.totals()],
        "missed": words.all_missed(),
        "notes": words.notes(),
        "credits": [full_credit(credit) for credit in words.credits()],
    }


def _with_bars(words: ReviewWords) -> list[dict[str, Any]]:
    rows = words.reasons()
    most = max((row.span.high for row in rows), default=0.0)
    return [{"row": row, "bar": bar_svg(row.span, most)} for row in rows]


def _keys() -> list[tuple[str, str]]:
    """The signs of the strips and what they say."""
    signs = {
        "hit": "window that a pass took",
        "missed": "window missed, with the letter of its reason",
        "small": "too small to be worth a pass",
        "open": "not over yet",
        "lead": "flush opened, not ripe yet",
        "took": "pass that paid off alone",
        "little": "pass that did not: others took what it would have left",
        "in vain": "pass in vain",
        "hand": "hand weeding",
        "prep": "bed prepared",
        "crop": "crop in the bed",
    }
    stages = {stage: stage for stage in STAGES}
    return [(key_svg(kind), said) for kind, said in (signs | stages).items()]


def _figures(words: ReviewWords, axis: SeasonAxis, top_m2: float) -> list[Figure]:
    """The strips by soil, each figure with the months and the rain over it."""
    review = words.review
    over = [Strip("", months_svg(axis)), Strip("rain", rain_svg(axis, review.rain_mm, words.units))]
    figures = []
    for soil in words.soils():
        strips = sorted(
            (strip for strip in review.strips if strip.soil_name == soil),
            key=lambda strip: natural_key(strip_key(strip.bed, strip.part)),
        )
        for first in range(0, len(strips), MAX_STRIPS):
            part = strips[first : first + MAX_STRIPS]
            names = [strip_key(strip.bed, strip.part) for strip in part]
            heading = f"{soil}: {names[0]}" + (f" to {names[-1]}" if len(names) > 1 else "")
            rows = [
                Strip(name, _strip(words, axis, strip, top_m2))
                for name, strip in zip(names, part, strict=True)
            ]
            figures.append(Figure(heading, [*over, *rows]))
    return figures


def _strip(words: ReviewWords, axis: SeasonAxis, strip: PlantingStrip, top_m2: float) -> str:
    key = strip_key(strip.bed, strip.part)
    windows = sorted(
        (window for window in words.review.windows if window.key == key),
        key=lambda window: window.ripe_at,
    )
    passes = [found for found in words.review.passes if is_of(found, strip.bed, strip.part)]
    return strip_svg(axis, strip, windows, passes, top_m2, words.strip_said(key))


def _weeks(words: ReviewWords, axis: SeasonAxis) -> Figure | None:
    """Rain, days fit by soil and what was missed, week under week."""
    soils = [(soil, words.weeks(soil)) for soil in words.soils()]
    rows = [Strip(soil, weeks_svg(axis, weeks)) for soil, weeks in soils if weeks]
    if not rows:
        return None
    rain = rain_svg(axis, words.review.rain_mm, words.units)
    rows = [Strip("", months_svg(axis)), Strip("rain", rain), *rows]
    costs = words.week_costs()
    if costs:
        rows.append(Strip("missed", costs_svg(axis, costs)))
    return Figure("Days a week fit for the field, in your hours", rows)


def _calibrations(words: ReviewWords) -> list[dict[str, Any]]:
    found = []
    for score in words.review.scores:
        if score.bins:
            bins = words.bin_rows(score)
            found.append({"what": score.what, "svg": calibration_svg(score, bins), "bins": bins})
    return found


def _replays(words: ReviewWords) -> list[dict[str, Any]]:
    rows = words.replays()
    spans = [row.span for row in rows if row.span is not None] or [Range(0.0, 0.0, 0.0)]
    least = min(0.0, *(span.low for span in spans))
    most = max(0.0, *(span.high for span in spans))
    return [{"row": row, "svg": gap_svg(row.span, least, most)} for row in rows]


@cache
def _template() -> jinja2.Template:
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("scheduler.adapters.render", "."),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["shown"] = shown
    return environment.get_template(TEMPLATE)
