"""What each tool of the farm could have done on each day of a window."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from scheduler.planning.day import GO_CHANCE
from scheduler.planning.gates import REACHED, Gate, gate
from scheduler.planning.geometry import Fit, fit
from scheduler.planning.passes import tool_kill_frac
from scheduler.planning.review.costs import Rates
from scheduler.planning.review.hours import DayLoad
from scheduler.planning.review.reading import CropReading, LaneReading
from scheduler.planning.review.reasons import Chance
from scheduler.planning.review.seasons import Span
from scheduler.planning.review.windows import Course, Window
from scheduler.planning.spans import RAINS_MM
from scheduler.planning.work import work_minutes
from scheduler.records import BoolArray, FloatArray, Tool

_GATE_H = 36  # hours ahead that a gate is asked about
_UNFITTING_MIN = 5.0  # of a pass with a tool that does not fit
_MACHINE_ALONE = ("hand",)
_SECONDS = 60.0
_HILLS = "hilling"
_TAKES_NONE = "it takes nothing of what stood there"


@dataclass(frozen=True)
class Ground:
    """One lane at the days of its windows: its crop and those of the other parts of its bed."""

    reading: LaneReading
    crop: CropReading
    mates: tuple[CropReading, ...]
    loads: tuple[DayLoad, ...]  # by day of the book
    unfit: Mapping[tuple[str, date, bool], str]  # half-days found unfit
    rates: Rates
    crops: Mapping[Span, CropReading] = field(default_factory=dict)  # of all spans of the lane


@dataclass(frozen=True)
class Found:
    """Chances of a window, and the grower's hours in which a tool was let in, by member."""

    chances: tuple[Chance, ...]
    fit_hours: FloatArray  # (n_members,)


@dataclass(frozen=True)
class _Try:
    """One tool on one day before the crop is asked; hours of the day's span [a, b)."""

    tool: Tool
    place: int
    a: int
    fits: BoolArray  # fit, dry, and inside the span of a working day
    day: BoolArray  # inside that span
    unfit: str  # as somebody found it

    @property
    def asked(self) -> int:
        """The hour at which the crop is asked: the first fit one, else the middle of the day."""
        if self.fits.any():
            return self.a + int(np.argmax(self.fits))
        open_hours = np.flatnonzero(self.day)
        return self.a + int(open_hours[open_hours.size // 2])


def chances_in(window: Window, course: Course, ground: Ground, *, is_weighed: bool = True) -> Found:
    """Every tool on every day of a window.

    Parameters
    ----------
    window : Window
        The window.
    course : Course
        Its flush.
    ground : Ground
        The lane.
    is_weighed : bool
        Whether the chances are wanted; else only the hours, by the crop in the middle.

    Returns
    -------
    Found
        Days from ripe to the last good hour, or to what closed it before.

    Notes
    -----
    The soil is fit by 6 in 10 of the members, in hours that by as many are dry, as a list would say
    it; a half-day on which somebody found this soil unfit is not. A pass needs as many hours as it
    takes, one at least. Gates and geometry are the list's, asked at the first fit hour of the
    first, the middle and the last day on which a tool could go, and of all where these differ;
    where the soil was fit on no day, in the middle of the window. What a pass would be worth is
    told for the chances that got furthest. Definition of this project. No range stated. Worked:
    tests/scenes/test_review_scenes.py.
    """
    tries = _tries(window, ground)
    any_fit = any(t.fits.any() for t in tries)
    found: list[Chance] = []
    within: list[tuple[_Try, BoolArray]] = []
    for tool in ground.reading.book.farm.tools:
        own = [t for t in tries if t.tool is tool]
        if not own:
            continue
        fit_ones = [t for t in own if t.fits.any()]
        if not is_weighed and not fit_ones:
            continue
        asked = _ways_in(tool, fit_ones if any_fit else [own[len(own) // 2]], ground, is_weighed)
        for one in own if any_fit else [own[len(own) // 2]]:
            way_in = asked.get(one.place)
            chance, hours = _chance(one, way_in, course, ground)
            found.append(chance)
            if chance.is_let_in and one.fits.any():
                within.append((one, hours))
    chances = _valued(found, course, ground) if is_weighed else ()
    return Found(chances, _fit_hours(within, ground))


def _tries(window: Window, ground: Ground) -> list[_Try]:
    """Each tool on each day of a window."""
    reading, book = ground.reading, ground.reading.book
    first_day, last_day = book.day_at(window.ripe_hour), book.day_at(window.usable_to - 1e-6)
    found = []
    for place in range(first_day, last_day + 1):
        _, first, last = book.days[place]
        a = max(first, int(np.floor(window.ripe_hour)))
        b = min(last, int(np.ceil(window.usable_to)), book.end_hour)
        if b <= a or not book.is_daytime[a:b].any():
            continue
        dry, unfit = _dry_and_found(ground, place, a, b)
        day = book.is_daytime[a:b]
        for tool in book.farm.tools:
            if tool.kind in _MACHINE_ALONE:
                continue
            fits = (reading.chance_frac[tool.key][a:b] >= GO_CHANCE) & dry & day
            found.append(_Try(tool, place, a, fits, day, unfit))
    return found


def _ways_in(
    tool: Tool, tries: Sequence[_Try], ground: Ground, is_weighed: bool
) -> dict[int, tuple[Gate, Fit]]:
    """Gate and geometry of a tool by day; days between two that agree are as these."""
    if not tries:
        return {}
    if not is_weighed:
        middle = gate_and_fit(tool, tries[len(tries) // 2].asked, ground)
        return dict.fromkeys((t.place for t in tries), middle)
    picked = {t.place: t for t in (tries[0], tries[len(tries) // 2], tries[-1])}
    asked = {place: gate_and_fit(tool, t.asked, ground) for place, t in picked.items()}
    told = {(g.because, w.is_fit, w.because) for g, w in asked.values()}
    is_plain = len(told) == 1 and all(g.closes_hour is None for g, _ in asked.values())
    for t in tries:
        if t.place not in asked:
            asked[t.place] = (
                asked[tries[0].place] if is_plain else gate_and_fit(tool, t.asked, ground)
            )
    return asked


def _dry_and_found(ground: Ground, place: int, a: int, b: int) -> tuple[BoolArray, str]:
    """Dry hours of a day in which nobody found the soil unfit, and what was found if anything."""
    book = ground.reading.book
    on, _, _ = book.days[place]
    rains = (book.sky.forcing.rain_mm[:, a:b] >= RAINS_MM).mean(axis=0) >= GO_CHANCE
    dry = ~rains
    said = ""
    soil = ground.reading.lane.bed.soil
    for is_morning in (True, False):
        what = ground.unfit.get((soil, on, is_morning))
        if what is not None:
            dry &= book.is_morning[a:b] != is_morning
            said = what
    return dry, said


def _chance(
    one: _Try, way_in: tuple[Gate, Fit] | None, course: Course, ground: Ground
) -> tuple[Chance, BoolArray]:
    """One tool on one day, and the hours of the day that the crop leaves it."""
    book, tool = ground.reading.book, one.tool
    hours = np.arange(one.a, one.a + one.fits.size)
    within = np.ones(hours.size, bool)
    fits = one.fits
    minutes, depth, is_let_in, closed = _UNFITTING_MIN, tool.depth_mm, False, "no_fit"
    why = ""
    if way_in is not None:
        found, way = way_in
        closed, why = (found.because, found.why) if way.is_fit else (way.because, way.why)
        is_let_in = found.is_open and way.is_fit
        depth = min(tool.depth_mm, found.depth_mm)
        if way.is_fit:
            minutes = work_minutes(tool, ground.crop.span.planting, way)
        if is_let_in and found.closes_hour is not None:
            within = hours < max(found.closes_hour, one.asked + 1)
        elif not found.is_open and found.opens_hour is not None and way.is_fit:
            within = hours >= found.opens_hour
            is_let_in = bool((within & fits).any())
        if is_let_in and not _takes_any(tool, one.asked, course, ground):
            is_let_in, closed, why = False, "no_fit", _TAKES_NONE
        if is_let_in:
            fits = fits & within
    need = max(1, int(np.ceil(minutes / _SECONDS)))
    is_fit = int(fits.sum()) >= need
    open_fits = fits & book.is_open[one.a : one.a + fits.size]
    is_open = int(open_fits.sum()) >= need
    at = np.flatnonzero(open_fits if is_open else fits if is_fit else one.day)
    load = ground.loads[one.place]
    setup = 0.0 if tool.name in load.tools else tool.setup_min
    unfit = "" if is_fit else one.unfit or _unfit_word(ground.reading, one)
    return (
        Chance(
            one.place,
            tool.name,
            float(one.a + at[at.size // 2]) + 0.5,
            is_fit,
            unfit,
            is_let_in,
            closed or "no_fit",
            is_open,
            load.closed_words,
            load.left_min >= minutes + setup,
            load.used_words,
            minutes,
            setup,
            depth,
            0.0,
            "" if is_let_in else why,
            way_in is not None and way_in[1].is_fit,
        ),
        within,
    )


def _valued(chances: Sequence[Chance], course: Course, ground: Ground) -> tuple[Chance, ...]:
    """The chances that got furthest with what they would have been worth."""
    furthest = max((chance.level for chance in chances), default=0)
    worth: dict[int, float] = {}
    for name in {c.tool for c in chances if c.level == furthest}:
        own = [i for i, c in enumerate(chances) if c.tool == name and c.level == furthest]
        found = _worth_min([chances[i] for i in own], course, ground)
        worth.update(zip(own, found.tolist(), strict=True))
    return tuple(replace(c, worth_min=worth.get(i, 0.0)) for i, c in enumerate(chances))


def _fit_hours(within: Sequence[tuple[_Try, BoolArray]], ground: Ground) -> FloatArray:
    """The grower's hours in which a tool that was let in found the soil fit, by member."""
    reading, book = ground.reading, ground.reading.book
    by_day: dict[int, BoolArray] = {}
    for one, hours in within:
        cut = slice(one.a, one.a + hours.size)
        dry, _ = _dry_and_found(ground, one.place, one.a, one.a + hours.size)
        mine = reading.mets[one.tool.key].is_fit[:, cut] & (hours & book.is_open[cut] & dry)
        by_day[one.place] = by_day[one.place] | mine if one.place in by_day else mine
    total = np.zeros(reading.ensemble.n_members)
    for fits in by_day.values():
        total += fits.sum(axis=1)
    return total


def _unfit_word(reading: LaneReading, one: _Try) -> str:
    """Which kept a tool out for more hours of a working day's span."""
    met = reading.mets[one.tool.key]
    cut = slice(one.a, one.a + one.day.size)
    wet = float(met.is_too_wet[:, cut][:, one.day].sum())
    hard = float((met.is_too_hard | met.is_frozen)[:, cut][:, one.day].sum())
    return "hard" if hard > wet else "wet"


def _takes_any(tool: Tool, hour: float, course: Course, ground: Ground) -> bool:
    """Whether a tool takes any of a flush, and does here what it is made for."""
    kit, planting = ground.reading.book.kit, ground.crop.span.planting
    if kit.rules.traits[tool.key].crop_gate == _HILLS and planting.crop is not None:
        crop = kit.crops.get(planting.crop)
        if crop is None or not crop.can_hill:
            return False
    at = int(np.argmin(np.abs(course.hour - hour)))
    return bool((course.count_m2[at] * kit.kills.kill_frac[tool.key]).sum() > 0.0)


def gate_and_fit(tool: Tool, hour: int, ground: Ground) -> tuple[Gate, Fit]:
    """Whether the crop lets a tool in at an hour, and how the tool goes over the planting.

    Parameters
    ----------
    tool : Tool
        The tool.
    hour : int
        Hour of the season's clock.
    ground : Ground
        The lane.

    Returns
    -------
    (Gate, Fit)
        As the list has them.

    Notes
    -----
    As `gate` and `fit`. No range stated. Worked: tests/scenes/test_review_scenes.py.
    """
    book = ground.reading.book
    traits = book.kit.rules.traits[tool.key]
    found = _gate_of(tool, hour, ground.crop, ground)
    closed: dict[str, str] = {}
    heights: dict[str, float] = {}
    for mate in ground.mates:
        other = _gate_of(tool, hour, mate, ground)
        planting = mate.span.planting
        if not other.is_open:
            closed[planting.key] = other.why
        height = _height_mm(mate, hour)
        if height is not None:
            heights[planting.key] = height
    way = fit(
        tool,
        traits,
        ground.crop.span.planting,
        _height_mm(ground.crop, hour),
        [mate.span.planting for mate in ground.mates],
        closed,
        has_crop_up=_is_up(ground.crop, hour),
        others_height_mm=heights,
    )
    return found, way


def _gate_of(tool: Tool, hour: int, crop: CropReading, ground: Ground) -> Gate:
    book = ground.reading.book
    n_members = ground.reading.ensemble.n_members
    planting = crop.span.planting
    return gate(
        tool,
        book.kit.rules.traits[tool.key],
        planting,
        book.kit.crops.get(planting.crop or ""),
        crop.at(hour, _GATE_H),
        crop.emergence(),
        hour,
        hour,
        np.full(n_members, 1.0 / n_members),
        book.farm.flame_rules_read,
    )


def _height_mm(crop: CropReading, hour: float) -> float | None:
    stage = crop.at(hour, 1)
    return None if stage is None else float(np.median(stage.height_mm[:, 0]))


def _is_up(crop: CropReading, hour: float) -> bool:
    """As a list says it: by nine tenths of the members; a crop of unknown age is up."""
    if crop.span.planting.crop is None:
        return False
    stage = crop.at(hour, 1)
    return True if stage is None else float(stage.is_up[:, 0].mean()) >= REACHED - 1e-9


def _worth_min(chances: Sequence[Chance], course: Course, ground: Ground) -> FloatArray:
    """About what passes of one tool would have taken of a flush, less their own minutes."""
    reading, book = ground.reading, ground.reading.book
    good, tool = book.kit.kills.kill_frac, book.kit.rules.tools[chances[0].tool]
    hours = np.array([c.hour for c in chances])
    if chances[0].is_fit:
        kill = tool_kill_frac(
            tool, good, chances[0].depth_mm, hours, reading.weather, book.kit.rules
        ).mean(axis=1)
    else:
        kill = np.repeat(good[tool.key][None], hours.size, axis=0)
    if ground.crop.span.planting.crop is None:
        kill = np.repeat(kill.max(axis=1, keepdims=True), 2, axis=1)
    at = np.clip(np.searchsorted(course.hour, hours), 0, course.hour.size - 1)
    taken = np.einsum("tzs,tzs,z->tz", course.count_m2[at], kill, ground.rates.end_s[:, 1])
    gain: FloatArray = taken @ ground.rates.area_m2 / _SECONDS
    return gain - book.farm.work.machine_price * np.array([c.work_min for c in chances])
