"""The hours around a morning as one small picture, and the same in words."""

from __future__ import annotations

import warnings
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.adapters.quantities import MM_PER_IN
from scheduler.adapters.render.phrases import WEEKDAYS, dated_words, grower_text
from scheduler.adapters.render.statements import listed
from scheduler.records import BoolArray, DayStrip, FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_PX = 360  # of the picture as a phone shows it
PIXELS = 3  # dots of the picture for one of those
NAME_PX, EDGE_PX = 66, 6
DAYS_PX, RAIN_PX, SOIL_PX, HOURS_PX = 17, 48, 29, 17
MAX_SOILS = 8
MAX_NAME = 11  # letters of a soil's name beside its row
FIT_FRAC = 0.8  # the chance from which a soil is said to be fit
FULL_WATER = 1.6  # relative water at the top of a soil's row
LEAST_RAIN_MM = 2.0  # rain of an hour at the top of its row, at least
TRACE_MM = 0.1
LITTLE_MM = 0.5  # rain of two days that is hardly any
HOUR = timedelta(hours=1)
UNREAD_H = 2  # hours by which a station is usually behind
SHORT_H = 12  # hours within which most of the rain falls, for them to be told
INK, DIM, BAND, RULE = "#111111", "#555555", "#e9e9e9", "#9a9a9a"
WATER_ALPHA = 0.2


# -------------------------------------------------------------------- words


def strip_words(
    strip: DayStrip, units: str, zone: ZoneInfo, read_until: datetime | None = None
) -> str:
    """What the picture shows, in sentences, for those who see no pictures.

    Parameters
    ----------
    strip
        The hours around a morning.
    units
        "us" or "metric".
    zone
        Of the farm's clock.
    read_until
        The end of the last reading: hours from then on are as forecast. None: all past is read.

    Returns
    -------
    str
        One paragraph.
    """
    clock = _Clock(strip, zone, read_until)
    hours = ", ".join(clock.span(*span) for span in _spans(strip.is_open & clock.ahead))
    said = [
        _rain_past(strip, units, clock),
        _rain_ahead(strip, units, clock),
        grower_text(_water_words(strip, clock), units),
        _fit_words(strip, clock),
        f"Your hours: {hours or 'none'}.",
    ]
    return " ".join(sentence for sentence in said if sentence)


class _Clock:
    """Moments of a strip in the words of the farm's clock."""

    def __init__(self, strip: DayStrip, zone: ZoneInfo, read_until: datetime | None = None) -> None:
        self.strip = strip
        self.zone = zone
        self.start_at = strip.start_at.astimezone(UTC)
        self.n_hours = len(strip.rain_mm)
        self.today = self.at(strip.n_past).date()
        self.ahead: BoolArray = np.arange(self.n_hours) >= strip.n_past
        self.n_read = strip.n_past
        if read_until is not None:
            self.n_read = min(strip.n_past, max(0, (read_until - self.start_at) // HOUR))
        self.is_read: BoolArray = np.arange(self.n_hours) < self.n_read
        self.read_until = read_until

    def at(self, hour: int) -> datetime:
        return (self.start_at + timedelta(hours=hour)).astimezone(self.zone)

    def moment(self, hour: int) -> str:
        """ "now", "14:00" today, else "Wed 14:00"."""
        if hour == self.strip.n_past:
            return "now"
        local = self.at(hour)
        day = "" if local.date() == self.today else f"{WEEKDAYS[local.weekday()]} "
        return f"{day}{local:%H:%M}"

    def span(self, first: int, end: int) -> str:
        """Hours from one to another, the day said once: "Wed 07:00-19:00", "now to 08:00"."""
        start, stop = self.at(first), self.at(end)
        if first != self.strip.n_past and start.date() == stop.date():
            return f"{self.moment(first)}-{stop:%H:%M}"
        return f"{self.moment(first)} to {self.moment(end)}"


def _spans(holds: BoolArray) -> list[tuple[int, int]]:
    """First hour and end of each run in which something holds."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], holds, [False])).astype(np.int8)))
    return [(int(first), int(end)) for first, end in zip(edges[::2], edges[1::2], strict=True)]


def _depth(rain_mm: float, units: str) -> str:
    if units == "us":
        return f"{rain_mm / MM_PER_IN:.2f} in"
    return f"{rain_mm:.0f} mm" if rain_mm >= 9.5 else f"{rain_mm:.1f} mm"


def _rain_past(strip: DayStrip, units: str, clock: _Clock) -> str:
    if clock.n_read == 0 and clock.read_until is not None:
        read = clock.read_until.astimezone(clock.zone)
        return f"Rain was last read {dated_words(read.date())} {read:%H:%M}."
    past = strip.rain_mm[: clock.n_read]
    total = float(np.nansum(past))
    since = clock.moment(0)
    is_silent = strip.n_past - clock.n_read > UNREAD_H
    silence = f"; not read since {clock.moment(clock.n_read)}" if is_silent else ""
    if total < TRACE_MM:
        return f"No rain since {since}{silence}."
    last = int(np.flatnonzero(np.nan_to_num(past) >= TRACE_MM / 2)[-1]) + 1
    is_falling = last >= clock.n_read and not is_silent
    until = "it still falls" if is_falling else f"the last before {clock.moment(last)}"
    return f"{_depth(total, units)} of rain since {since}, {until}{silence}."


def _rain_ahead(strip: DayStrip, units: str, clock: _Clock) -> str:
    ahead = np.nan_to_num(strip.rain_mm) * ~clock.is_read
    total = float(ahead.sum())
    until = clock.moment(clock.n_hours)
    if total < TRACE_MM:
        return f"No rain in sight until {until}."
    if total < LITTLE_MM:
        return f"Hardly any rain in sight until {until}."
    first, end = _main_span(ahead, 0.7 * total)
    told = f"Until {until} about {_depth(total, units)} of rain"
    return f"{told}, most of it {clock.span(first, end)}." if end - first <= SHORT_H else f"{told}."


def _main_span(rain_mm: FloatArray, wanted_mm: float) -> tuple[int, int]:
    """The shortest run of hours that holds so much rain."""
    sums = np.concatenate(([0.0], np.cumsum(rain_mm)))
    for n_hours in range(1, len(rain_mm) + 1):
        within = sums[n_hours:] - sums[:-n_hours]
        if within.max() >= wanted_mm - 1e-9:
            first = int(within.argmax())
            return first, first + n_hours
    return 0, len(rain_mm)


def _water_words(strip: DayStrip, clock: _Clock) -> str:
    """How much the top of each soil holds, now and a day ahead."""
    told = []
    for name, water in strip.surface_rel_water.items():
        hours = [hour for hour in (strip.n_past, strip.n_past + 24) if hour < clock.n_hours]
        held = [float(water[hour]) for hour in hours]
        if held and not np.isnan(held).any():
            told.append(f"{name} {', then '.join(f'{100 * part:.0f}' for part in held)}")
    if not told:
        return ""
    return f"Water in the top 25 mm, 100 is just drained, now and in 24 h: {'; '.join(told)}."


def _fit_words(strip: DayStrip, clock: _Clock) -> str:
    """From when to when each soil can be worked."""
    by_words: dict[str, list[str]] = {}
    for name, chance in strip.workable_frac.items():
        spans = _spans((np.nan_to_num(chance) >= FIT_FRAC) & clock.ahead)
        words = ", ".join(_open_span(span, clock) for span in spans[:2])
        words = words or f"in no hour until {clock.moment(clock.n_hours)}"
        by_words.setdefault(words, []).append(name)
    told = [f"{listed(names)} {words}" for words, names in by_words.items()]
    return f"Fit for every tool, 8 in 10 sure: {'; '.join(told)}." if told else ""


def _open_span(span: tuple[int, int], clock: _Clock) -> str:
    """A span; without its end where that lies beyond what is in sight."""
    if span[1] < clock.n_hours:
        return clock.span(*span)
    return "from now on" if span[0] == clock.strip.n_past else f"from {clock.moment(span[0])} on"


# ------------------------------------------------------------------ picture


def strip_png(
    strip: DayStrip, units: str, zone: ZoneInfo, read_until: datetime | None = None
) -> bytes:
    """The picture: rain, and below it a row for each soil, in black, white and grey.

    Past rain is solid, coming rain hatched, with a line to what one hour in ten exceeds. In the row
    of a soil the grey hill is the water of its surface and the black bar the hours in which it is
    fit for every tool, 8 in 10 sure. Working hours are shaded.

    Parameters
    ----------
    strip
        The hours around a morning.
    units
        "us" or "metric".
    zone
        Of the farm's clock.
    read_until
        The end of the last reading: rain from then on is hatched. None: all past is read.

    Returns
    -------
    bytes
        A PNG, 1080 dots wide, on a white ground.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    soils = list(strip.surface_rel_water)[:MAX_SOILS]
    height = DAYS_PX + RAIN_PX + SOIL_PX * len(soils) + HOURS_PX
    dots = 72 * PIXELS  # a point is a pixel of the phone
    figure = Figure(figsize=(WIDTH_PX / 72, height / 72), dpi=dots, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, WIDTH_PX)
    axes.set_ylim(height, 0)
    axes.axis("off")
    drawing = _Drawing(axes, strip, _Clock(strip, zone, read_until), units)
    bottom = height - HOURS_PX
    drawing.hours_and_days(bottom)
    drawing.rain(DAYS_PX + RAIN_PX)
    for row, name in enumerate(soils):
        drawing.soil(name, DAYS_PX + RAIN_PX + SOIL_PX * (row + 1))
    drawing.now(bottom)
    return _grey_png(figure)


def _grey_png(figure: Any) -> bytes:
    """The figure as a PNG of 16 greys."""
    import io

    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of letters that the font lacks: a box stands for them
        figure.canvas.draw()
    whole = Image.frombuffer(
        "RGBA", figure.canvas.get_width_height(), figure.canvas.buffer_rgba(), "raw", "RGBA", 0, 1
    )
    held = io.BytesIO()
    whole.convert("L").quantize(16).save(held, format="PNG", optimize=True)
    return held.getvalue()


class _Drawing:
    """A strip on axes whose unit is a pixel of the phone, counted from the top left."""

    def __init__(self, axes: Axes, strip: DayStrip, clock: _Clock, units: str) -> None:
        self.axes = axes
        self.strip = strip
        self.clock = clock
        self.units = units
        self.hour_px = (WIDTH_PX - NAME_PX - EDGE_PX) / max(1, self.clock.n_hours)

    def x(self, hour: float) -> float:
        return NAME_PX + hour * self.hour_px

    def text(self, x: float, y: float, words: str, **how: Any) -> None:
        from matplotlib.patheffects import withStroke

        style: dict[str, Any] = {"fontsize": 10, "color": INK, "parse_math": False, **how}
        halo = withStroke(linewidth=2.5, foreground="white")
        self.axes.text(x, y, words, path_effects=[halo], zorder=5, **style)

    # ---------------------------------------------------------------- frame

    def hours_and_days(self, bottom: float) -> None:
        """Shaded working hours, midnights, the days above and the hours below."""
        for first, end in _spans(self.strip.is_open):
            self.axes.fill_between(
                [self.x(first), self.x(end)], DAYS_PX, bottom, color=BAND, linewidth=0
            )
        midnights = [h for h in range(self.clock.n_hours) if self.clock.at(h).hour == 0]
        for hour in midnights:
            self.axes.plot(
                [self.x(hour)] * 2, [2, bottom], color=RULE, linewidth=0.7, solid_capstyle="butt"
            )
        for first, end in zip([0, *midnights], [*midnights, self.clock.n_hours], strict=True):
            self.day(first, end)
        for hour in range(self.clock.n_hours):
            local = self.clock.at(hour)
            if local.hour in (6, 12, 18) and abs(hour - self.strip.n_past) * self.hour_px > 15:
                self.text(
                    self.x(hour), bottom + 12, f"{local.hour}", ha="center", color=DIM, fontsize=9
                )

    def day(self, first: int, end: int) -> None:
        local = self.clock.at(first)
        is_today = local.date() == self.clock.today
        words = "today" if is_today else f"{WEEKDAYS[local.weekday()]} {local.day}"
        if (end - first) * self.hour_px < 6.5 * len(words):
            words = WEEKDAYS[local.weekday()]
        if (end - first) * self.hour_px < 6.5 * len(words):
            return
        weight = "bold" if is_today else "normal"
        self.text((self.x(first) + self.x(end)) / 2, 12, words, ha="center", fontweight=weight)

    def now(self, bottom: float) -> None:
        x = self.x(self.strip.n_past)
        self.axes.plot([x, x], [DAYS_PX, bottom + 2], color=INK, linewidth=1.2)
        self.text(x, bottom + 12, "now", ha="center", fontweight="bold", fontsize=9)

    # ----------------------------------------------------------------- rows

    def rain(self, base: float) -> None:
        strip, past = self.strip, self.clock.is_read
        rain, high = np.nan_to_num(strip.rain_mm), np.nan_to_num(strip.rain_high_mm)
        most = max(LEAST_RAIN_MM, float(np.concatenate((rain, high)).max(initial=0.0)))
        scale = (RAIN_PX - 16) / most
        hours = self.x(0) + (np.arange(len(rain)) + 0.5) * self.hour_px
        width = self.hour_px * 0.82
        self.axes.bar(hours[past], -scale * rain[past], width, bottom=base, color=INK)
        coming = ~past & (rain >= TRACE_MM / 2)
        self.axes.bar(
            hours[coming],
            -scale * rain[coming],
            width,
            bottom=base,
            facecolor="white",
            edgecolor=INK,
            linewidth=0.6,
            hatch="////////",
        )
        reached = ~past & (high >= TRACE_MM)
        for x, top in zip(hours[reached], high[reached], strict=True):
            self.axes.plot([x, x], [base - scale * top, base], color=INK, linewidth=0.6)
        self.base_line(base)
        self.name("rain", base)
        now_x = self.x(strip.n_past)
        for total, x, side, none in (
            (float(rain[past].sum()), now_x - 4, "right", "none" if past.any() else "not read"),
            (float(rain[~past].sum()), now_x + 4, "left", "none"),
        ):
            words = _depth(total, self.units) if total >= TRACE_MM else none
            self.text(x, DAYS_PX + 11, words, ha=side)

    def soil(self, name: str, base: float) -> None:
        water = np.clip(self.strip.surface_rel_water[name], 0.0, FULL_WATER)
        middles = self.x(0) + (np.arange(len(water)) + 0.5) * self.hour_px
        tops = base - (SOIL_PX - 6) * water / FULL_WATER
        self.axes.fill_between(middles, base, tops, color=INK, alpha=WATER_ALPHA, linewidth=0)
        self.axes.plot(middles, tops, color=INK, linewidth=0.9)
        self.base_line(base)
        chance = self.strip.workable_frac.get(name, np.zeros(len(water)))
        for first, end in _spans(np.nan_to_num(chance) >= FIT_FRAC):
            self.axes.fill_between(
                [self.x(first), self.x(end)], base - 4, base, color=INK, linewidth=0
            )
        self.name(name, base)

    def base_line(self, base: float) -> None:
        self.axes.plot(
            [NAME_PX, WIDTH_PX - EDGE_PX], [base, base], color=RULE, linewidth=0.7, zorder=0.5
        )

    def name(self, name: str, base: float) -> None:
        words = name if len(name) <= MAX_NAME else f"{name[: MAX_NAME - 1]}…"
        self.text(NAME_PX - 6, base - 2, words, ha="right")
