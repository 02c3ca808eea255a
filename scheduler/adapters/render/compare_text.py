"""A season under another set-up as a page of plain text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from scheduler.adapters.quantities import (
    density_text,
    depth_text,
    length_text,
    spacing_text,
    speed_text,
)
from scheduler.adapters.render.phrases import wrapped
from scheduler.planning.compare import BY_LIST, PAID_BACK_SEASONS, STALE_D, Figure
from scheduler.planning.season.replay import SEEN_M2
from scheduler.records import Farm, Range, Tool
from scheduler.service.compare import Comparison, is_flame

_HEAD = ("as it was", "so set up", "difference")
_GAP, _MOST_GAP = 2, 6  # columns between the cells of the table
_LONG_MIN = 600.0  # from then on minutes are told in hours
_SQ_FT_PER_M2 = 10.7639
_LARGE = 1e7
ROWS: Mapping[str, str] = {
    "hand_min": "weeding by hand",
    "tool_min": "work with tools",
    "n_passes": "  passes",
    "n_setups": "  set-ups that take time",
    "vain_min": "  trips in vain",
    "stand_lost_min": "crop lost to tools, as time",
}
"""Figures that the page shows, with their labels; those set in are parts of work with tools."""


def compare_text(found: Comparison, width: int = 80) -> str:
    """The page.

    Parameters
    ----------
    found
        The comparison.
    width
        Columns.
    """
    lines = wrapped(f"{found.farm.name}, the season of {found.year} played again", width)
    lines.append("")
    for sentence in what_is_changed(found):
        lines += wrapped(sentence, width)
    lines += ["", *_table(found, width), ""]
    for sentence in conclusions(found):
        lines += wrapped(sentence, width)
    lines.append("")
    for sentence in conditions(found):
        lines += wrapped(sentence, width, "- ", "  ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


# --------------------------------------------------------------------- what is asked


def what_is_changed(found: Comparison) -> Iterator[str]:
    """What is another, one sentence each."""
    farm, change = found.farm, found.change
    for rows in change.rows:
        apart = ""
        if rows.row_spacing_mm is not None:
            apart = f" {spacing_text(rows.row_spacing_mm, farm.units)} apart"
        noun = "row" if rows.n_rows == 1 else "rows"
        yield f"What if {rows.crop} had stood in {rows.n_rows} {noun}{apart}?"
    for tool in found.tools:
        yield f"What if you had owned this tool: {tool.name}{_kind_words(tool)}?"
    for name in change.without:
        yield f"What if you had not owned this tool: {name}?"
    if change.more_h_a_week:
        more = "more" if change.more_h_a_week > 0.0 else "fewer"
        yield f"What if there had been {abs(change.more_h_a_week):g} hours a week {more} for tools?"
    for stale in found.stale:
        yield (
            f"What if beds of {stale.crop} had lain ready and stale for {STALE_D / 7.0:.0f} weeks "
            f"before? {stale.n_earlier} of {stale.n_beds} could have been prepared earlier, by "
            f"{stale.earlier_d:.0f} bed days in all."
        )


def _kind_words(tool: Tool) -> str:
    return "" if tool.name == tool.key else f" ({tool.key})"


# --------------------------------------------------------------------------- the table


def _table(found: Comparison, width: int) -> Iterator[str]:
    """As it was, as it would have been, and the difference, truth by truth."""
    rows = [("", *_HEAD), *_cells(found)]
    label, *columns = (max(map(len, cells)) for cells in zip(*rows, strict=True))
    spare = width - label - sum(columns)
    if spare < _GAP * len(columns):
        for name, before, after, change in rows[1:]:
            line = f"{name.strip()}: {before}, so set up {after}, difference {change}"
            yield from wrapped(line, width, "", "  ")
        return
    gap = min(spare // len(columns), _MOST_GAP)
    for name, *cells in rows:
        told = "".join(
            cell.rjust(column + gap) for cell, column in zip(cells, columns, strict=True)
        )
        yield name.ljust(label) + told


def _cells(found: Comparison) -> Iterator[tuple[str, str, str, str]]:
    for name, label in ROWS.items():
        figure = found.compared.figures[name]
        if not figure.before == figure.after == Range(0.0, 0.0, 0.0):
            yield _figure_cells(label, figure)
    before_m, after_m = found.compared.row_m
    if before_m != after_m:
        units = found.farm.units
        more = length_text(abs(after_m - before_m), units)
        sign = "+" if after_m > before_m else "-"
        sides = length_text(before_m, units), length_text(after_m, units)
        yield "crop rows", *sides, sign + more


def _figure_cells(label: str, figure: Figure) -> tuple[str, str, str, str]:
    is_time = figure.name.endswith("_min")
    largest = max(figure.before.high, figure.after.high)
    if is_time:
        return (
            label,
            _time_span(figure.before, largest),
            _time_span(figure.after, largest),
            _signed_time_span(figure.change),
        )
    return label, _span(figure.before), _span(figure.after), _signed_span(figure.change)


def _signed_time_span(span: Range) -> str:
    """A difference in minutes, whole, or in hours where it is long."""
    scale, unit = 60.0, "h"
    if max(abs(span.low), abs(span.high)) < _LONG_MIN:
        scale, unit = 1.0, "min"
        span = Range(*(float(round(end)) for end in (span.low, span.mid, span.high)))
    change = _signed_span(span, scale)
    return change if change == "none" else f"{change} {unit}"


def _span(span: Range, scale: float = 1.0) -> str:
    low, high = number(span.low / scale), number(span.high / scale)
    return low if low == high else f"{low}-{high}"


def _signed_span(span: Range, scale: float = 1.0) -> str:
    low, high = (number(end / scale) for end in (span.low, span.high))
    if low == high:
        return "none" if float(low.replace(",", "")) == 0.0 else _plus(low)
    return f"{_plus(low)} to {_plus(high)}"


def _plus(text: str) -> str:
    return text if text.startswith("-") or float(text.replace(",", "")) == 0.0 else f"+{text}"


def number(value: float) -> str:
    """A figure as it is read: two decimals below one, one below ten, else whole."""
    if not math.isfinite(value):
        return "never"
    size = abs(value)
    text = f"{value:.2f}" if size < 0.995 else f"{value:.1f}" if size < 9.95 else f"{value:,.0f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


# ---------------------------------------------------------------------- what it comes to


def conclusions(found: Comparison) -> Iterator[str]:
    """Whether it pays, in sentences with numbers."""
    c = found.compared
    yield _verdict(found)
    money = c.money
    if money is None:
        yield (
            "For money, set hourly_value and currency under [work] in farm.toml: what an hour of "
            "your work is worth."
        )
        if c.row_m[0] > c.row_m[1]:
            yield f"And {_lost_rows(found)} is crop that is not there: it counts on top."
        return
    if c.saved_min != Range(0.0, 0.0, 0.0):
        yield (
            f"At {_money(money.hourly_value, money.currency)} an hour that is "
            f"{_money_span(money.saved, money.currency)} a season."
        )
    if money.price is not None:
        yield from _pay_back(found)
    if money.worth_of_row_metre is not None:
        yield _worth_of_rows(found, money.worth_of_row_metre, money.currency)


def _verdict(found: Comparison) -> str:
    c = found.compared
    if c.saved_min == Range(0.0, 0.0, 0.0):
        return f"It changes nothing: {_unused(found)}."
    if max(abs(c.saved_min.low), abs(c.saved_min.high)) < 0.5:
        return "It changes next to nothing: less than a minute a season."
    times = f"{c.n_saving} of {c.n_truths} seasons played"
    span = _time_span(c.saved_min)
    if c.saved_min.low > 0.0:
        return f"It saves time: {span} a season; in {times} it took less."
    if c.saved_min.high < 0.0:
        return f"It does not pay: it takes {_time_span(_turned(c.saved_min))} more a season."
    likely = "It may save time" if c.saved_min.mid > 0.0 else "It does not pay as a rule"
    return (
        f"{likely}: from {_time(-c.saved_min.low)} more to {_time(c.saved_min.high)} less a "
        f"season, in the middle {_more_or_less(c.saved_min.mid)}; in {times} it took less."
    )


def _unused(found: Comparison) -> str:
    if found.tools:
        names = " and ".join(tool.name for tool in found.tools)
        return f"nobody would have taken the {names}"
    if found.change.without:
        return f"nobody took the {' or the '.join(found.change.without)}"
    if found.change.more_h_a_week:
        used_h = found.compared.figures["tool_min"].before.mid / 60.0
        return f"{used_h:.0f} of {found.compared.hours_of_plan_h[0]:.0f} hours were used"
    return "the same passes would have been made"


def _more_or_less(saved_min: float) -> str:
    return f"{_time(abs(saved_min))} {'less' if saved_min >= 0.0 else 'more'}"


def _turned(span: Range) -> Range:
    return Range(-span.high, -span.mid, -span.low)


def _time(minutes: float) -> str:
    return f"{round(minutes)} min" if abs(minutes) < _LONG_MIN else f"{number(minutes / 60.0)} h"


def _time_span(span: Range, largest_min: float | None = None) -> str:
    """Whole minutes, or hours where the largest of the row is long."""
    if (span.high if largest_min is None else largest_min) < _LONG_MIN:
        return f"{_whole_span(span)} min"
    return f"{_span(span, 60.0)} h"


def _money(amount: float, currency: str) -> str:
    return f"{number(amount)} {currency}".strip()


def _money_span(span: Range, currency: str) -> str:
    """Money gained or lost, a loss said in words."""
    if span.low >= 0.0:
        return f"{_whole_span(span)} {currency}".rstrip()
    if span.high <= 0.0:
        return f"{_whole_span(_turned(span))} {currency}".rstrip() + " lost"
    return f"from {round(-span.low)} lost to {round(span.high)} {currency}".rstrip() + " gained"


def _whole_span(span: Range) -> str:
    low, high = f"{round(span.low):,}", f"{round(span.high):,}"
    return low if low == high else f"{low}-{high}"


def _pay_back(found: Comparison) -> Iterator[str]:
    money, units = found.compared.money, found.farm.units
    assert money is not None
    assert money.price is not None
    assert money.seasons_to_pay_back is not None
    assert money.least_area_m2 is not None
    price, seasons = _money(money.price, money.currency), money.seasons_to_pay_back
    if not math.isfinite(seasons.low):
        yield f"{price} are never paid back."
        return
    if not math.isfinite(seasons.mid):
        yield f"{price} are not paid back as a rule; at best in {number(seasons.low)} seasons."
    else:
        worst = f"to {number(seasons.high)}" if math.isfinite(seasons.high) else "to never"
        yield (
            f"{price} are paid back in {number(seasons.mid)} seasons "
            f"({number(seasons.low)} {worst})."
        )
    area = money.least_area_m2
    if math.isfinite(area.mid) and area.mid < _LARGE:
        ends = f"{_area(area.low, units)} to " + (
            _area(area.high, units) if math.isfinite(area.high) else "never"
        )
        yield (
            f"To be paid back within {PAID_BACK_SEASONS:.0f} seasons it takes "
            f"{_area(area.mid, units)} of beds like these ({ends}); you have "
            f"{_area(found.compared.area_m2, units)}."
        )


def _area(area_m2: float, units: str) -> str:
    if units == "us":
        return f"{_two_figures(area_m2 * _SQ_FT_PER_M2)} sq ft"
    return f"{_two_figures(area_m2)} m2"


def _two_figures(value: float) -> str:
    places = 1 - math.floor(math.log10(max(abs(value), 1e-9)))
    return f"{round(value, places):,.0f}"


def _worth_of_rows(found: Comparison, worth: Range, currency: str) -> str:
    per, unit = (0.3048, "foot") if found.farm.units == "us" else (1.0, "metre")
    lost = _lost_rows(found)
    if worth.mid <= 0.0:
        return f"And {lost} is crop that is not there: it counts on top."
    most = _money(worth.mid * per, currency)
    low = number(worth.low * per) if worth.low > 0.0 else "nothing"
    return (
        f"But {lost} is crop that is not there: it pays only if a {unit} of that row "
        f"brings less than {most} ({low} to {number(worth.high * per)})."
    )


def _lost_rows(found: Comparison) -> str:
    lost_m = found.compared.row_m[0] - found.compared.row_m[1]
    return f"{length_text(lost_m, found.farm.units)} of row less"


# ------------------------------------------------------------------------ on what terms


def conditions(found: Comparison) -> Iterator[str]:
    """What was taken for granted."""
    c, farm = found.compared, found.farm
    for tool in found.tools:
        yield f"{_tool_words(tool, farm)}; kill and gates from the tables."
        yield f"It made {_share_words(tool.name, c.n_by_tool[1])}."
        if is_flame(tool) and not farm.flame_rules_read:
            yield (
                "Flame is taken as allowed here. Read the fire rules of the place first: the list "
                "offers none until flame_rules_read = true under [farm] says so."
            )
    for name in found.change.without:
        yield f"The {name} made {_share_words(name, c.n_by_tool[0])} as it was."
    if found.change.more_h_a_week:
        used_h = c.figures["tool_min"].before.mid / 60.0
        yield (
            f"The plan has {c.hours_of_plan_h[0]:.0f} hours for tools in the season, with the "
            f"change {c.hours_of_plan_h[1]:.0f}; as it was {used_h:.0f} were used."
        )
    if found.stale:
        yield (
            "An earlier preparation is taken to cost no more than a later one; what the bed could "
            "have grown meanwhile is in no sum."
        )
    yield _rule_words(found.by, farm.units)
    yield (
        f"Both ways against the same {c.n_truths} hidden truths of soil, weeds and kill: ranges "
        "hold 8 in 10 of them, differences are truth by truth."
    )
    yield (
        "All figures come from the program's own model of weeds, soil, work and hand weeding, not "
        "from your log: trust the differences more than the sums. Crop lost to tools is in no sum."
    )
    yield from (f"Not played: {text}." for text in found.left_out)


def _share_words(tool: str, n_by_tool: Mapping[str, float]) -> str:
    n, whole = n_by_tool.get(tool, 0.0), sum(n_by_tool.values())
    return f"{n:.0f} of {whole:.0f} passes"


def _rule_words(by: str, units: str) -> str:
    """How passes were chosen, both ways."""
    if by == BY_LIST:
        return (
            "Passes both ways by the list, within the hours of your plan; chosen once each way and "
            "made again in every truth. A small change turns many of its choices: differences of "
            "an hour or two may be chance."
        )
    return (
        "Passes both ways by eye, within the hours of your plan: a look a week at every bed; with "
        f"{density_text(SEEN_M2, units)} up or more a bed is passed once the soil allows, the "
        "weediest first, with the tool that reaches and kills most."
    )


def _tool_words(tool: Tool, farm: Farm) -> str:
    units = farm.units
    depth = f"{depth_text(tool.depth_mm, units)} deep" if tool.depth_mm > 0.0 else "above the soil"
    parts = [depth, speed_text(tool.speed_m_s, units)]
    if tool.width_m is not None:
        parts.append(f"{spacing_text(1000.0 * tool.width_m, units)} wide")
    if tool.rows:
        numbers = ", ".join(str(n) for n in tool.rows)
        parts.append(f"{numbers} {'row' if tool.rows == (1,) else 'rows'}")
    if tool.row_spacings_mm:
        apart = ", ".join(spacing_text(mm, units) for mm in tool.row_spacings_mm)
        parts.append(f"{apart} apart")
    parts.append(f"set-up {tool.setup_min:g} min" if tool.setup_min else "no set-up")
    return f"Taken for the {tool.name}: {', '.join(parts)}, {tool.travel}"
