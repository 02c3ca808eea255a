"""The pictures of a season as SVG text: strips, weeks, bars and calibration.

Nothing has a meaning by colour alone: outcomes differ by shape and letter, stages by shade and
place, and every picture has a text table or a sentence beside it. Colours and strokes are classes
that the page's style defines, so that the same picture serves a light, a dark and a printed page.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from html import escape
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.adapters.render.phrases import MONTHS, grower_text
from scheduler.adapters.render.review_words import REASON_LETTERS, is_of
from scheduler.records import (
    FitDays,
    FloatArray,
    FlushWindow,
    PassReview,
    PlantingStrip,
    Range,
    Score,
    SeasonReview,
)

WIDTH = 720.0  # of everything along the season, in the picture's own units
LANE, WEEDS, MARKS = 9.0, 22.0, 8.5  # heights of a lane of windows, the weeds, the marks
MAX_LANES = 2
RAIN, MONTH, WEEK, COST = 40.0, 15.0, 18.0, 34.0
TRACE_MM = 0.2  # of a day, that is drawn
LEAST_RAIN_MM = 10.0  # of a day at the top of the rain, at least
TOP_FRAC = 0.99  # of the days of all plantings whose weeds stay below the top of a strip
LEAST_WEEDS_M2 = 50.0
LETTER = 6.0  # width of a letter at the strips' size
STAGES = ("thread", "seed leaf", "true leaf", "young", "established")
FULL_DAYS = 7.0  # a week at the darkest shade
SQUARE, EDGE = 200.0, 34.0  # of the calibration: its axes, and the room for their words


class Box(NamedTuple):
    """A rectangle from left to right."""

    left: float
    right: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def middle(self) -> float:
        return (self.left + self.right) / 2


class SeasonAxis:
    """Days of a season along the width of a picture."""

    def __init__(self, review: SeasonReview) -> None:
        self.from_on, self.to_on = review.from_on, review.to_on
        self.n_days = (review.to_on - review.from_on).days + 1
        self.zone = ZoneInfo(review.farm.place.time_zone)
        first = review.from_on
        self.start_at = datetime(first.year, first.month, first.day, tzinfo=self.zone)

    def x(self, day: float) -> float:
        return WIDTH * min(max(day / self.n_days, 0.0), 1.0)

    def at(self, moment: datetime) -> float:
        """Where a moment lies; the clocks' change in spring is no matter at this scale."""
        local = moment.astimezone(self.zone).replace(tzinfo=None)
        return self.x((local - self.start_at.replace(tzinfo=None)) / timedelta(days=1))

    def on(self, day: date) -> float:
        return self.x((day - self.from_on).days)

    def months(self) -> list[tuple[str, Box]]:
        """Names of the months with where they lie, cut to the season."""
        found = []
        day = self.from_on.replace(day=1)
        while day <= self.to_on:
            after = (day.replace(day=28) + timedelta(days=4)).replace(day=1)
            found.append((MONTHS[day.month - 1], Box(self.on(day), self.on(after))))
            day = after
        return found


# ---------------------------------------------------------------- the season


def months_svg(axis: SeasonAxis) -> str:
    """The names of the months over a season's pictures."""
    names = [
        _text(box.left + 3, MONTH - 4, name)
        for name, box in axis.months()
        if box.width > 3.2 * LETTER
    ]
    return _svg(MONTH, [*_month_lines(axis, MONTH), *names], "", "axis")


def rain_svg(axis: SeasonAxis, rain_mm: FloatArray, units: str) -> str:
    """Rain by day, the wettest named."""
    rain = np.nan_to_num(np.asarray(rain_mm, float))
    most = max(LEAST_RAIN_MM, float(rain.max(initial=0.0)))
    scale = (RAIN - 14) / most
    width = WIDTH / axis.n_days
    bars = "".join(
        f"M{axis.x(day):.1f} {RAIN:.0f}v{-scale * rain[day]:.1f}h{width * 0.8:.1f}V{RAIN:.0f}z"
        for day in range(axis.n_days)
        if rain[day] >= TRACE_MM
    )
    parts = [*_month_lines(axis, RAIN), f'<path class="rain" d="{bars}"/>']
    said = f"Rain by day, {grower_text(f'{rain.sum():.0f} mm', units)} in all"
    if rain.any():
        day = int(rain.argmax())
        words = grower_text(f"{rain[day]:.0f} mm", units)
        on = axis.from_on + timedelta(days=day)
        x = axis.x(day + 0.5)
        anchor = "end" if x > WIDTH / 2 else "start"
        gap = -4 if anchor == "end" else 4
        parts.append(
            _text(x + gap, 10, f"{words} on {on.day} {MONTHS[on.month - 1]}", anchor, "halo")
        )
        said += f"; most on {on.day} {MONTHS[on.month - 1]}, {words}"
    return _svg(RAIN, [*parts, _base(RAIN)], f"{said}.", "rainrow")


def strip_svg(
    axis: SeasonAxis,
    strip: PlantingStrip,
    windows: Sequence[FlushWindow],
    passes: Sequence[PassReview],
    top_m2: float,
    said: str,
) -> str:
    """The season of one planting: its windows, its weeds by stage, what was done.

    Parameters
    ----------
    axis
        The days.
    strip
        The planting.
    windows, passes
        Of this planting alone.
    top_m2
        Weeds at the full height; the height goes by the square root.
    said
        The same in words.
    """
    lanes = window_lanes(axis, windows)
    top = LANE * (max(lanes, default=0) + 1) + 1
    base = top + WEEDS
    parts = [*_month_lines(axis, base + MARKS)]
    parts += _weeds(axis, strip.weeds_m2, base, top_m2)
    parts += _crops(axis, strip, top, base)
    for window, lane in zip(windows, lanes, strict=True):
        parts += _window(axis, window, lane * LANE)
    parts += _marks(axis, strip, passes, base)
    return _svg(base + MARKS, parts, said, "strip")


def window_lanes(axis: SeasonAxis, windows: Sequence[FlushWindow]) -> list[int]:
    """A lane for each window, so that those that overlap lie under each other where they can."""
    ends = [float("-inf")] * MAX_LANES
    lanes = []
    for window in windows:
        box = _window_box(axis, window)
        lane = next((n for n, end in enumerate(ends) if end <= box.left), int(np.argmin(ends)))
        ends[lane] = max(ends[lane], box.right)
        lanes.append(lane)
    return lanes


def top_weeds_m2(strips: Iterable[PlantingStrip]) -> float:
    """Weeds at the full height of every strip."""
    totals = [strip.weeds_m2.sum(axis=1) for strip in strips if strip.weeds_m2.size]
    if not totals:
        return LEAST_WEEDS_M2
    found = float(np.quantile(np.nan_to_num(np.concatenate(totals)), TOP_FRAC))
    return max(LEAST_WEEDS_M2, _rounded_up(found))


def weeks_svg(axis: SeasonAxis, weeks: Sequence[FitDays]) -> str:
    """Days a week on which one soil could be worked: the figure, on a shade that goes with it."""
    parts = []
    for week in weeks:
        box = Box(axis.on(week.week_on), axis.on(week.week_on + timedelta(days=7)))
        if box.width < 2:
            continue
        share = min(max(week.days.mid / FULL_DAYS, 0.0), 1.0)
        parts.append(
            f'<rect class="heat" x="{box.left + 0.5:.1f}" y="1" width="{box.width - 1:.1f}" '
            f'height="{WEEK - 2:.0f}" fill-opacity="{share * 0.75:.2f}"/>'
        )
        if box.width > 1.8 * LETTER:
            words = f"{week.days.mid:.0f}" + _against_past(week)
            parts.append(_text(box.middle, WEEK - 5.5, words, "middle"))
    soil = weeks[0].soil_name if weeks else ""
    said = ", ".join(
        f"{week.week_on.day} {MONTHS[week.week_on.month - 1]} {week.days.mid:.0f}" for week in weeks
    )
    return _svg(WEEK, parts, f"Days fit for the field on {soil}, by week: {said}.", "weeks")


def costs_svg(axis: SeasonAxis, costs_min: Mapping[date, float]) -> str:
    """Hand minutes of the windows missed, by week; the dearest is named."""
    parts = [*_month_lines(axis, COST)]
    if not costs_min:
        return _svg(COST, [*parts, _base(COST)], "No week with a cost.", "costs")
    most = max(costs_min.values())
    for day, cost in sorted(costs_min.items()):
        box = Box(axis.on(day), axis.on(day + timedelta(days=7)))
        height = (COST - 13) * cost / most
        parts.append(
            f'<rect class="cost" x="{box.left + 1.5:.1f}" y="{COST - height:.1f}" '
            f'width="{max(box.width - 3, 1):.1f}" height="{height:.1f}"/>'
        )
        if cost == most:
            words = f"{cost / 60:.1f} h" if cost >= 60 else f"{cost:.0f} min"
            anchor = "end" if box.middle > WIDTH - 30 else "middle"
            parts.append(_text(box.middle, COST - height - 3, words, anchor, "halo"))
    dearest = max(costs_min, key=lambda day: costs_min[day])
    said = (
        f"Cost of missed flushes by week; the dearest week is that of {dearest.day} "
        f"{MONTHS[dearest.month - 1]}, {most:.0f} minutes."
    )
    return _svg(COST, [*parts, _base(COST)], said, "costs")


# ---------------------------------------------------------------------- bars


def bar_svg(span: Range, most: float) -> str:
    """A bar to the middle of a range, and a line over all of it; its figures stand beside."""
    low, mid, high = (100.0 * max(v, 0.0) / most if most > 0 else 0.0 for v in _ends(span))
    return _plain(
        f'<rect class="bar" x="0" y="1" width="{mid:.1f}" height="8"/>'
        f'<rect class="reach" x="{low:.1f}" y="4.2" width="{max(high - low, 0.6):.1f}" '
        f'height="1.6"/>'
    )


def gap_svg(span: Range | None, least: float, most: float) -> str:
    """A range on a line that has nought marked; None draws nought alone."""
    reach = most - least
    if reach <= 0:
        return _plain("")

    def x(value: float) -> float:
        return 98.0 * (value - least) / reach + 1.0

    parts = f'<rect class="nought" x="{x(0.0) - 0.3:.1f}" y="0" width="0.6" height="10"/>'
    if span is not None:
        low, mid, high = (x(value) for value in _ends(span))
        parts += (
            f'<rect class="reach" x="{low:.1f}" y="4.2" width="{max(high - low, 0.6):.1f}" '
            f'height="1.6"/><rect class="reach" x="{mid - 0.7:.1f}" y="1.5" width="1.4" '
            f'height="7"/>'
        )
    return _plain(parts)


# --------------------------------------------------------------- calibration


def calibration_svg(score: Score, bins: Sequence[tuple[str, str, int]]) -> str:
    """Chances as said against what came true; a dot's area goes by its number, which is written.

    `bins` are the same in words, for those who see no pictures.
    """
    parts = [
        f'<rect class="frame" x="{EDGE}" y="6" width="{SQUARE}" height="{SQUARE}"/>',
        f'<path class="even" d="M{EDGE} {SQUARE + 6}L{EDGE + SQUARE} 6"/>',
    ]
    for tenth in (0, 2, 4, 6, 8, 10):
        place = SQUARE * tenth / 10
        parts.append(_text(EDGE + place, SQUARE + 19, str(tenth), "middle"))
        parts.append(_text(EDGE - 5, SQUARE + 9.5 - place, str(tenth), "end"))
    most = max((n for _, _, n in score.bins), default=1)
    for said, true, n in sorted(score.bins, key=lambda found: -found[2]):
        x, y = EDGE + SQUARE * said, 6 + SQUARE * (1 - true)
        radius = 3.0 + 8.0 * (n / most) ** 0.5
        parts.append(f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}"/>')
        is_low = y + radius + 12 > SQUARE + 6  # no room under the dot
        under = -(radius + 3) if is_low else radius + 10
        parts.append(_text(min(x, EDGE + SQUARE - 6), y + under, str(n), "middle", "halo"))
    parts.append(_text(EDGE + SQUARE / 2, SQUARE + 32, "said, in 10", "middle"))
    middle = SQUARE / 2 + 6
    parts.append(
        f'<text x="10" y="{middle}" text-anchor="middle" transform="rotate(-90 10 {middle})">'
        "came true, in 10</text>"
    )
    words = "; ".join(f"said {said}, came true {true}, {n} times" for said, true, n in bins)
    return (
        f'<svg class="square" viewBox="0 0 {EDGE + SQUARE + 8:.0f} {SQUARE + 38:.0f}" role="img" '
        f'aria-label="{_attribute(f"{score.what}: {words}.")}">{"".join(parts)}</svg>'
    )


# --------------------------------------------------------------------- keys


def key_svg(kind: str) -> str:
    """One sign of the strips by itself, for the key beside them."""
    lone = {
        "hit": f'<rect class="hit" x="2" y="{LANE / 2 - 3.5:.1f}" width="20" height="7"/>',
        "missed": _lettered(Box(2.0, 22.0), 0.0, "H"),
        "small": f'<path class="small" d="M2 {LANE / 2:.1f}H22"/>',
        "open": f'<rect class="open" x="2" y="{LANE / 2 - 3.5:.1f}" width="20" height="7"/>',
        "lead": f'<path class="lead" d="M2 {LANE / 2:.1f}H22"/>',
        "took": _triangle(12.0, 1.0, "took"),
        "little": _triangle(12.0, 1.0, "little"),
        "in vain": _cross(12.0, 1.0),
        "hand": _square(12.0, 1.0),
        "prep": _dash(12.0, 1.0),
        "crop": f'<path class="crop" d="M2 {LANE / 2:.1f}H22"/>',
    }
    inner = lone.get(kind)
    if inner is None:
        place = STAGES.index(kind)
        inner = f'<rect class="s{place}" x="2" y="0.5" width="20" height="{LANE - 1}"/>'
    return f'<svg class="key" viewBox="0 0 24 {LANE:.0f}" aria-hidden="true">{inner}</svg>'


# -------------------------------------------------------------------- pieces


def _weeds(axis: SeasonAxis, weeds_m2: FloatArray, base: float, top_m2: float) -> list[str]:
    """Areas by stage, the oldest at the bottom; the whole height goes by the square root."""
    found = np.nan_to_num(np.asarray(weeds_m2, float))
    if not found.size:
        return []
    total = found.sum(axis=1)
    height = (WEEDS - 1) * np.sqrt(np.minimum(total / top_m2, 1.0))
    share = np.divide(found, total[:, None], out=np.zeros_like(found), where=total[:, None] > 0)
    upper = height[:, None] * np.cumsum(share[:, ::-1], axis=1)[:, ::-1]  # top edge of each stage
    lower = upper - height[:, None] * share
    parts = []
    for stage in range(found.shape[1]):
        thick = upper[:, stage] - lower[:, stage] > 0.15
        d = "".join(
            _area(axis, first, end, base - upper[:, stage], base - lower[:, stage])
            for first, end in _runs(thick)
        )
        if d:
            parts.append(f'<path class="s{stage}" d="{d}"/>')
    return parts


def _area(axis: SeasonAxis, first: int, end: int, upper: FloatArray, lower: FloatArray) -> str:
    """The outline of an area over days [first, end), upright at both ends."""
    days = range(first, end)
    left, right = axis.x(first), axis.x(end)

    def edge(height: FloatArray) -> list[tuple[float, float]]:
        inner = [(axis.x(day + 0.5), float(height[day])) for day in days]
        return [(left, float(height[first])), *inner, (right, float(height[end - 1]))]

    return f"M{_line(edge(upper))}L{_line(edge(lower)[::-1])}z"


def _line(points: Sequence[tuple[float, float]]) -> str:
    """Points of a line, those left out that lie on the way between their neighbours."""
    kept = [points[0]]
    for before, point, after in zip(points, points[1:], points[2:], strict=False):
        way = (point[0] - before[0]) / (after[0] - before[0])
        if abs(point[1] - before[1] - way * (after[1] - before[1])) > 0.05:
            kept.append(point)
    kept += [points[-1]] if len(points) > 1 else []
    return " ".join(f"{x:.1f} {y:.1f}" for x, y in kept)


def _crops(axis: SeasonAxis, strip: PlantingStrip, top: float, base: float) -> list[str]:
    """A line along the ground while a crop is there, and its name at the start."""
    parts = [_base(base)]
    free_from = 0.0
    for first, last, crop in strip.crops:
        box = Box(axis.x(first), axis.x(last))
        if crop is None:
            continue
        parts.append(f'<path class="crop" d="M{box.left:.1f} {base:.1f}H{box.right:.1f}"/>')
        if first > 0:
            parts.append(f'<path class="start" d="M{box.left:.1f} {top:.1f}V{base:.1f}"/>')
        left = max(box.left + 3, free_from)
        room = int((WIDTH - left) / LETTER)
        name = crop if len(crop) <= room else ""
        if name and left <= max(box.right, box.left + 3):
            parts.append(_text(left, top + 8.5, name, "start", "halo"))
            free_from = left + LETTER * len(name)
    return parts


def _window_box(axis: SeasonAxis, window: FlushWindow) -> Box:
    left, right = axis.at(window.ripe_at), axis.at(window.last_good_at)
    return Box(left, max(right, left + 3.0))


def _window(axis: SeasonAxis, window: FlushWindow, y: float) -> list[str]:
    """One window in its lane, from ripe to last good; before it a thin line from its opening."""
    box = _window_box(axis, window)
    middle = y + LANE / 2
    opened = axis.at(window.opened_at)
    parts = []
    if box.left - opened > 1:
        parts.append(f'<path class="lead" d="M{opened:.1f} {middle:.1f}H{box.left:.1f}"/>')
    if window.outcome == "missed":
        letter = REASON_LETTERS.get(window.reason or "unknown", "?")
        return [*parts, _lettered(box, y, letter)]
    if window.outcome == "small":
        return [
            *parts,
            f'<path class="small" d="M{box.left:.1f} {middle:.1f}H{box.right:.1f}"/>',
        ]
    return [
        *parts,
        f'<rect class="{_class(window.outcome)}" x="{box.left:.1f}" y="{middle - 3.5:.1f}" '
        f'width="{box.width:.1f}" height="7"/>',
    ]


def _lettered(box: Box, y: float, letter: str) -> str:
    """A hollow box with the letter of its reason; it is widened where the letter has no room."""
    wide = max(box.width, LETTER + 2.5)
    left = min(box.left, WIDTH - wide)
    return (
        f'<rect class="missed" x="{left + 0.4:.1f}" y="{y + 0.6:.1f}" width="{wide - 0.8:.1f}" '
        f'height="{LANE - 1.2:.1f}"/>'
        f'<text class="letter" x="{left + wide / 2:.1f}" y="{y + LANE - 2:.1f}" '
        f'text-anchor="middle">{escape(letter)}</text>'
    )


def _marks(
    axis: SeasonAxis, strip: PlantingStrip, passes: Sequence[PassReview], base: float
) -> list[str]:
    """What was done, under the ground line."""
    y = base + 2.0
    parts = []
    days = {found.at.astimezone(axis.zone).date() for found in passes}
    is_divided = np.isnan(strip.weeds_m2[:, 0]).tolist()  # otherwise than this strip
    for day, kind, _ in strip.done:
        if is_divided[day]:
            continue
        x = axis.x(day + 0.5)
        if kind == "hand":
            parts.append(_square(x, y))
        elif kind == "prep":
            parts.append(_dash(x, y))
        elif kind == "pass" and axis.from_on + timedelta(days=day) not in days:
            parts.append(_triangle(x, y, "little"))
    for found in passes:
        day = (found.at.astimezone(axis.zone).date() - axis.from_on).days
        if not is_of(found, strip.bed, strip.part) or is_divided[day]:
            continue
        x = axis.at(found.at)
        if found.did == "in vain":
            parts.append(_cross(x, y))
        else:
            parts.append(_triangle(x, y, "took" if found.did == "hit" else "little"))
    return parts


def _triangle(x: float, y: float, kind: str) -> str:
    return f'<path class="{kind}" d="M{x:.1f} {y:.1f}l3 6h-6z"/>'


def _cross(x: float, y: float) -> str:
    return f'<path class="vain" d="M{x - 2.5:.1f} {y + 0.7:.1f}l5 5m0 -5l-5 5"/>'


def _square(x: float, y: float) -> str:
    return f'<rect class="hand" x="{x - 2:.1f}" y="{y + 1:.1f}" width="4" height="4.6"/>'


def _dash(x: float, y: float) -> str:
    return f'<path class="prep" d="M{x - 2.5:.1f} {y + 3.4:.1f}h5"/>'


def _month_lines(axis: SeasonAxis, height: float) -> list[str]:
    d = "".join(f"M{box.left:.1f} 0V{height:.0f}" for _, box in axis.months() if box.left > 0)
    return [f'<path class="month" d="{d}"/>'] if d else []


def _base(y: float) -> str:
    return f'<path class="ground" d="M0 {y:.1f}H{WIDTH:.0f}"/>'


def _text(x: float, y: float, words: str, anchor: str = "start", kind: str = "") -> str:
    named = f' class="{kind}"' if kind else ""
    return (
        f'<text{named} x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">'
        f"{escape(words, quote=False)}</text>"
    )


def _svg(height: float, parts: Iterable[str], said: str, kind: str) -> str:
    told = f'role="img" aria-label="{_attribute(said)}"' if said else 'aria-hidden="true"'
    return (
        f'<svg class="{kind}" viewBox="0 0 {WIDTH:.0f} {height:.0f}" {told}>{"".join(parts)}</svg>'
    )


def _plain(parts: str) -> str:
    """A picture that is stretched to its cell; the figures beside it say the same."""
    return (
        '<svg class="cell" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        f"{parts}</svg>"
    )


def _attribute(words: str) -> str:
    return escape(words, quote=True)


def _class(outcome: str) -> str:
    return outcome if outcome in ("hit", "open") else "small"


def _against_past(week: FitDays) -> str:
    """A sign where the week had more or fewer days than any year before."""
    if week.past_d is None:
        return ""
    if week.days.mid > week.past_d.high + 0.5:
        return "+"
    return "−" if week.days.mid < week.past_d.low - 0.5 else ""


def _ends(span: Range) -> tuple[float, float, float]:
    return span.low, span.mid, span.high


def _runs(holds: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], holds, [False])).astype(np.int8)))
    return [(int(first), int(end)) for first, end in zip(edges[::2], edges[1::2], strict=True)]


def _rounded_up(value: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    if value <= 0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(value))
    return float(next(step * power for step in (1.0, 2.0, 5.0, 10.0) if value <= step * power))
