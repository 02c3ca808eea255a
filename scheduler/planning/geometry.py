"""Whether a tool can pass a planting at all: rows, wheels, clearance, ends of the bed.

Sentences are written in SI with a blank before the unit; the pages turn them into the grower's.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from types import MappingProxyType

from scheduler.planning.traits import ToolTraits
from scheduler.records import Planting, Tool

_SPACING_FRAC = 0.15  # by which a setting may miss the spacing of the rows
_HAND_CLEAR_MM = 25.0  # either side of a hoe led between two rows
_HOE_WIDTH_MM = 150.0  # of a hoe led by hand that the farm file gives no width, without rows
_WHEEL_CLEAR_MM = 75.0  # from the middle of a wheel to the nearest row
_CROP_CLEAR_MM = 50.0  # under the axle, above the crop
_WIDTH_SHORT_FRAC = 0.05  # of its width, that a tool may leave of a bed without another run
_HEADLAND_M = 2.0  # a machine turns in one go
_LEAST_HEADLAND_M = 1.0  # shorter: it does not turn, it backs out
_UNTREATED_M = 1.0  # at both ends together, where a machine is let in and out of the ground
_TURN_S = 25.0
_HAND_TURN_S = 5.0
_TIGHT_TURN_S = 15.0  # more, on a short headland
_BACKING_FRAC = 0.5  # of its working speed

_OVER_ONE_ROW, _ON_THE_BED, _IN_THE_PATHS = "over one row", "on the bed", "in the paths"
_PARTS_OF_KIND: Mapping[str, str] = MappingProxyType(
    {
        "finger weeder": "fingers",
        "torsion weeder": "torsion wires",
        "brush weeder": "brushes",
        "sweeps": "sweeps",
        "knives": "knives",
        "hilling": "ridging bodies",
    }
)


@dataclass(frozen=True)
class Fit:
    """Whether a tool fits a planting, in words, and what a pass then runs and treats.

    `treated_m` is the length of the planting that is properly treated, `run_m` what the tool runs
    each time: a machine runs the whole bed, also for a part of it. `back_s` is the time to back out
    after each run, `n_settings` how many settings one pass needs. `minds` are the clauses of `why`
    that must be minded.
    """

    is_fit: bool
    why: str
    because: str = ""  # no_fit, or empty
    n_runs: int = 0
    turn_s: float = 0.0  # a run
    treated_m: float = 0.0
    lift_over: tuple[str, ...] = ()
    run_m: float = 0.0
    back_s: float = 0.0  # a run
    n_settings: int = 1
    minds: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Case:
    """One tool over one planting; `is_along` where the tool must keep to rows it can see."""

    tool: Tool
    traits: ToolTraits
    planting: Planting
    crop_height_mm: float | None
    is_up: bool

    @property
    def is_led(self) -> bool:
        return is_hand_led(self.tool, self.traits)

    @property
    def is_along(self) -> bool:
        if self.planting.crop is None or self.tool.kind == "hand":
            return False
        return self.is_up or not self.traits.can_blind

    @property
    def n_rows(self) -> int | None:
        """Rows to keep to; None where there are none, or none logged."""
        return self.planting.n_rows if self.is_along else None

    @property
    def bed_mm(self) -> float:
        return 1000.0 * self.planting.bed.width_m

    @property
    def width_mm(self) -> float | None:
        return None if self.tool.width_m is None else 1000.0 * self.tool.width_m

    @property
    def is_one_at_a_time(self) -> bool:
        """Whether it takes one row a run: over one row, or led by hand astride of it."""
        if not self.is_led:
            return self.tool.travel == _OVER_ONE_ROW
        is_in_row_only = self.traits.is_in_row and not self.traits.is_between_rows
        return is_in_row_only or bool(self.tool.carries)


def is_hand_led(tool: Tool, traits: ToolTraits) -> bool:
    """Whether a tool is led by hand: no wheels to place, no headland, no clearance.

    Parameters
    ----------
    tool : Tool
        The tool.
    traits : ToolTraits
        Traits of its kind or stack.

    Returns
    -------
    bool
        True if it travels by hand or its kind is no machine.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> machine = ToolTraits(True, True, True, True, 50.0, 0.0)
    >>> is_hand_led(Tool("rake", "tine weeder", 15.0, 0.5, travel="by hand"), machine)
    True
    >>> is_hand_led(Tool("tines", "tine weeder", 15.0, 0.9), machine)
    False
    """
    return tool.travel == "by hand" or not traits.is_wheeled


def is_same_spacing(set_mm: float, spacing_mm: float) -> bool:
    """Whether a setting is near enough to the spacing of the rows.

    Parameters
    ----------
    set_mm : float
        Spacing that a tool is set to [mm].
    spacing_mm : float
        Spacing of the rows [mm].

    Returns
    -------
    bool
        True if it misses by at most 15 % of the rows' spacing.

    Notes
    -----
    The 15 % are an assumption of this project (rules.csv, geometry spacing_frac). No range stated.

    Examples
    --------
    >>> is_same_spacing(254.0, 250.0), is_same_spacing(254.0, 305.0)
    (True, False)
    """
    return abs(set_mm - spacing_mm) <= _SPACING_FRAC * spacing_mm


def fit(
    tool: Tool,
    traits: ToolTraits,
    planting: Planting,
    crop_height_mm: float | None,
    others_in_bed: Sequence[Planting] = (),
    closed_gates: frozenset[str] | Mapping[str, str] = frozenset(),
    *,
    has_crop_up: bool,
    others_height_mm: Mapping[str, float] = MappingProxyType({}),
) -> Fit:
    """Whether a tool can pass a planting, and the runs, turns and length of that pass.

    Parameters
    ----------
    tool : Tool
        The tool.
    traits : ToolTraits
        Traits of its kind or stack.
    planting : Planting
        The planting; rows or spacing that are not known do not refuse a tool.
    crop_height_mm : float or None
        Height of the crop now [mm]; None where not known.
    others_in_bed : sequence of Planting
        The other plantings of the same bed, which a machine passes as well.
    closed_gates : frozenset of str or mapping
        Keys of those that do not stand this tool now, with the reason if it is a mapping.
    has_crop_up : bool
        Whether the crop of `planting` stands above ground; True for one that was set.
    others_height_mm : mapping
        Height of the crop now [mm] by key of the other plantings, where known.

    Returns
    -------
    Fit
        With the sentence that says so: `no_fit` and the first rule that is broken, or how it goes
        and what must be minded.

    Notes
    -----
    Rules, in this order. A machine needs an open end. A tool needs its gap between rows, and
    settings for the number of rows and (within 15 %) their spacing; a tool led by hand that names
    no rows goes wherever the gap leaves 25 mm on either side. A pass over a bed that is empty or
    whose crop is below ground needs no rows, but must cover the bed. Wheels keep 75 mm from rows or
    run in the paths. The axle clears the crop by 50 mm. A machine that works a part of a bed runs
    all of it and is lifted over what does not stand it. At an end that is blocked, or has less than
    1 m, it backs out; below 2 m it turns slowly; a metre of each run is not properly treated.
    Common practice for tool rows, gap, clearance and headland, else assumptions of this project
    (rules.csv, subjects geometry and work). Range: beds with straight rows, even about the middle.

    Examples
    --------
    >>> from scheduler.records import Bed
    >>> bed = Bed("B4", 18.0, 0.76, "loam")
    >>> onions = Planting(bed, None, 0.0, 18.0, "onion", True, None, 5, 150.0, 12.0)
    >>> fingers = ToolTraits(True, True, False, False, 50.0, 0.0, row_gap_mm=250.0)
    >>> tool = Tool("fingers", "finger weeder", 20.0, 0.9, rows=(2, 3), travel="in the paths")
    >>> answer = fit(tool, fingers, onions, 100.0, has_crop_up=True)
    >>> answer.is_fit, answer.why
    (False, 'fingers need 250 mm between rows; these are 150 mm apart')
    """
    case = _Case(tool, traits, planting, crop_height_mm, has_crop_up)
    others = () if case.is_led else tuple(p for p in others_in_bed if p.crop is not None)
    refusals = chain(
        _end_refusals(case),
        _row_refusals(case),
        _wheel_refusals(case),
        _clearance_refusals(case),
        _part_refusals(case, others, closed_gates, others_height_mm),
    )
    for why in refusals:
        return Fit(False, why, "no_fit")
    lifts = _lifts(case, others, closed_gates)
    minds = (*_minds(case), *lifts.values())
    turn_s, back_s = _end_seconds(case)
    return Fit(
        True,
        "; ".join((_way(case), *minds)),
        n_runs=_n_runs(case),
        turn_s=turn_s,
        treated_m=_treated_m(case),
        lift_over=tuple(lifts),
        run_m=planting.to_m - planting.from_m if case.is_led else planting.bed.length_m,
        back_s=back_s,
        n_settings=2 if _takes_outer_pair(case) else 1,
        minds=minds,
    )


# --------------------------------------------------------------------- rows


def _row_refusals(case: _Case) -> Iterator[str]:
    tool, planting = case.tool, case.planting
    if case.traits.needs_rows and planting.crop is None:
        yield "works along rows, and this bed is empty"
    n_rows, spacing = case.n_rows, planting.row_spacing_mm
    if n_rows is None:
        return
    yield from _gap_refusals(case, n_rows)
    if case.is_one_at_a_time:
        if tool.rows and 1 not in tool.rows:
            yield f"takes one row a run, but is set to {_rows_words(tool)}"
        return
    if tool.rows and n_rows not in tool.rows and not _takes_outer_pair(case):
        yield f"is set to {_rows_words(tool)}; this planting has {n_rows}"
    if (
        tool.row_spacings_mm
        and spacing is not None
        and n_rows > 1
        and not _is_set_to(tool, spacing)
    ):
        if _takes_outer_pair(case):
            return
        settings = " or ".join(f"{own:.0f} mm" for own in sorted(tool.row_spacings_mm))
        yield f"is set to rows {settings} apart; these are {spacing:.0f} mm apart"


def _gap_refusals(case: _Case, n_rows: int) -> Iterator[str]:
    """What does not go between two rows, or into the bed of a single row."""
    spacing, width = case.planting.row_spacing_mm, case.width_mm
    least = case.traits.row_gap_mm
    if n_rows == 1:
        if case.bed_mm < least:
            yield f"{_need(case)} {least:.0f} mm of bed; this one is {case.bed_mm:.0f} mm wide"
        return
    if spacing is None:
        return
    if spacing < least:
        yield f"{_need(case)} {least:.0f} mm between rows; these are {spacing:.0f} mm apart"
    if width is None or case.traits.can_blind:
        return
    if case.is_one_at_a_time:
        if case.traits.is_between_rows and width / 2.0 + _HAND_CLEAR_MM > spacing:
            yield f"works {width:.0f} mm wide; the next row is only {spacing:.0f} mm away"
    elif case.is_led and not case.tool.rows and width + 2.0 * _HAND_CLEAR_MM > spacing:
        yield (
            f"is {width:.0f} mm wide and needs {_HAND_CLEAR_MM:.0f} mm clear on either side; "
            f"these rows are {spacing:.0f} mm apart"
        )


def _takes_outer_pair(case: _Case) -> bool:
    """Whether it takes the outer rows of three, and the centre row with a second setting."""
    tool, spacing = case.tool, case.planting.row_spacing_mm
    if case.n_rows != 3 or case.is_led or case.is_one_at_a_time:
        return False
    if 3 in tool.rows or not {1, 2} <= {*tool.rows}:
        return False
    return spacing is None or not tool.row_spacings_mm or _is_set_to(tool, 2.0 * spacing)


def _is_set_to(tool: Tool, spacing_mm: float) -> bool:
    return any(is_same_spacing(own, spacing_mm) for own in tool.row_spacings_mm)


def _rows_words(tool: Tool) -> str:
    numbers = [str(n) for n in sorted(tool.rows)]
    most = " or ".join([", ".join(numbers[:-1]), numbers[-1]] if len(numbers) > 1 else numbers)
    return f"{most} row" if tool.rows == (1,) else f"{most} rows"


def _need(case: _Case) -> str:
    """The part of the tool that asks for the gap, with its verb."""
    own = (case.tool.kind, *case.tool.carries)
    part = next((part for kind, part in _PARTS_OF_KIND.items() if kind in own), None)
    return "needs" if part is None else f"{part} need"


# ------------------------------------------------------------- runs, wheels


def _n_runs(case: _Case) -> int:
    if case.tool.kind == "hand":
        return 1
    n_rows = case.n_rows
    if n_rows is not None:
        if case.is_one_at_a_time:
            return n_rows
        if case.is_led and not case.traits.can_blind:
            return _hoe_runs(case, n_rows)
        if n_rows in case.tool.rows:
            return 1
        if _takes_outer_pair(case):
            return 2
    is_hoe = case.is_led and not case.traits.can_blind
    if is_hoe and case.width_mm is None:
        return math.ceil(case.bed_mm / _HOE_WIDTH_MM - _WIDTH_SHORT_FRAC)
    return _runs_of_width(case, case.bed_mm)


def _runs_of_width(case: _Case, strip_mm: float) -> int:
    """Runs that a strip needs by the width of the tool; one where that is not known."""
    width = case.width_mm
    return 1 if width is None else max(1, math.ceil(strip_mm / width - _WIDTH_SHORT_FRAC))


def _hoe_runs(case: _Case, n_rows: int) -> int:
    """Runs of a hoe: every gap between rows, and either side of the bed."""
    spacing = case.planting.row_spacing_mm
    if spacing is None and n_rows > 1:
        return n_rows + 1
    gap = spacing or 0.0
    side = (case.bed_mm - (n_rows - 1) * gap) / 2.0
    between = (n_rows - 1) * _runs_of_width(case, gap - 2.0 * _HAND_CLEAR_MM)
    return between + 2 * _runs_of_width(case, side - _HAND_CLEAR_MM)


def _rows_mm(planting: Planting) -> tuple[float, ...]:
    """Places of the rows from the middle of the bed, empty where they are not known."""
    n_rows, spacing = planting.n_rows, planting.row_spacing_mm
    if planting.crop is None or n_rows is None or (spacing is None and n_rows > 1):
        return ()
    return tuple((i - (n_rows - 1) / 2.0) * (spacing or 0.0) for i in range(n_rows))


def _centres_mm(case: _Case) -> tuple[float, ...]:
    """Where the middle of the machine goes, run by run, from the middle of the bed."""
    if case.tool.travel == _OVER_ONE_ROW and case.n_rows is not None:
        return _rows_mm(case.planting)
    n_runs = 1 if _takes_outer_pair(case) else _n_runs(case)
    return tuple(((i + 0.5) / n_runs - 0.5) * case.bed_mm for i in range(n_runs))


def _wheel_to_row_mm(case: _Case, planting: Planting) -> float | None:
    """Least distance of a wheel from a row; None where track, rows or runs are not known."""
    track = case.tool.track_mm
    if case.is_led or track is None or case.tool.travel == _IN_THE_PATHS:
        return None
    gaps = [
        abs(centre + side * track / 2.0 - row)
        for centre in _centres_mm(case)
        for side in (-1.0, 1.0)
        for row in _rows_mm(planting)
    ]
    return min(gaps, default=None)


def _wheel_refusals(case: _Case) -> Iterator[str]:
    if case.is_led:
        return
    track, width = case.tool.track_mm, case.width_mm
    if case.tool.travel == _IN_THE_PATHS:
        if track is not None and track < case.bed_mm:
            yield (
                f"its wheels are {track:.0f} mm apart, so on a bed of {case.bed_mm:.0f} mm they do "
                "not run in the paths"
            )
        if width is not None and not _takes_outer_pair(case) and _n_runs(case) > 1:
            yield (
                f"works {width:.0f} mm wide and runs in the paths: it does not cover a bed of "
                f"{case.bed_mm:.0f} mm"
            )
        return
    gap = _wheel_to_row_mm(case, case.planting) if case.is_along else None
    if gap is not None and gap < _WHEEL_CLEAR_MM:
        yield _wheel_words(gap, "a row")


def _wheel_words(gap_mm: float, row: str) -> str:
    if round(gap_mm) < 1:
        return f"a wheel would run on {row}"
    return f"a wheel would run {gap_mm:.0f} mm from {row}; it needs {_WHEEL_CLEAR_MM:.0f} mm"


def _clearance_refusals(case: _Case) -> Iterator[str]:
    height = case.crop_height_mm if case.is_up and case.planting.crop is not None else None
    if not case.is_led and height is not None and _is_too_tall(case.tool, height):
        yield f"the crop stands {height:.0f} mm high; {_clearance_words(case.tool, height)}"


def _is_too_tall(tool: Tool, height_mm: float) -> bool:
    return tool.clearance_mm is not None and tool.clearance_mm < height_mm + _CROP_CLEAR_MM


def _clearance_words(tool: Tool, height_mm: float) -> str:
    least = height_mm + _CROP_CLEAR_MM
    return f"the axle clears {tool.clearance_mm:.0f} mm, it should clear {least:.0f} mm"


# --------------------------------------------------------------- ends, parts


def _end_refusals(case: _Case) -> Iterator[str]:
    if not case.is_led and case.planting.bed.ends == "both blocked":
        yield "no way in or out for a machine: both ends are blocked"


def _backs_out(case: _Case) -> bool:
    bed = case.planting.bed
    return not case.is_led and (bed.ends == "one blocked" or bed.headland_m < _LEAST_HEADLAND_M)


def _end_seconds(case: _Case) -> tuple[float, float]:
    """Seconds to turn and seconds to back out, each run."""
    if case.is_led:
        return _HAND_TURN_S, 0.0
    bed = case.planting.bed
    turn_s = _TURN_S + (_TIGHT_TURN_S if bed.headland_m < _HEADLAND_M else 0.0)
    back_s = bed.length_m / (_BACKING_FRAC * case.tool.speed_m_s) if _backs_out(case) else 0.0
    return turn_s, back_s


def _treated_m(case: _Case) -> float:
    planting = case.planting
    length_m = planting.to_m - planting.from_m
    if case.is_led:
        return length_m
    n_ends = (planting.from_m <= 0.0) + (planting.to_m >= planting.bed.length_m)
    return max(0.0, length_m - n_ends * _UNTREATED_M / 2.0)


def _lifts(
    case: _Case, others: Sequence[Planting], closed: frozenset[str] | Mapping[str, str]
) -> dict[str, str]:
    """What to lift over, by key, with the words."""
    lifts: dict[str, str] = {}
    for other in others:
        if other.key in closed:
            why = closed[other.key] if isinstance(closed, Mapping) else ""
            lifts[other.key] = f"lift over {other.key}" + (f" ({why})" if why else "")
        elif not case.traits.can_blind and any(_row_refusals(replace(case, planting=other))):
            lifts[other.key] = f"lift over {other.key} (it is not set to the rows there)"
    return lifts


def _part_refusals(
    case: _Case,
    others: Sequence[Planting],
    closed: frozenset[str] | Mapping[str, str],
    height_mm: Mapping[str, float],
) -> Iterator[str]:
    for other in others:
        height = height_mm.get(other.key)
        if height is not None and _is_too_tall(case.tool, height):
            yield (
                f"must pass {other.key}, which stands {height:.0f} mm high; "
                f"{_clearance_words(case.tool, height)}"
            )
        gap = _wheel_to_row_mm(case, other)
        minds_wheels = other.key in closed or not case.traits.can_blind
        if minds_wheels and gap is not None and gap < _WHEEL_CLEAR_MM:
            yield f"must pass {other.key}: {_wheel_words(gap, 'a row')}"


# -------------------------------------------------------------------- words


def _way(case: _Case) -> str:
    """How the tool goes over this planting."""
    rows = _row_words(case)
    if case.is_led or case.tool.track_mm is None:
        return rows
    if case.tool.travel == _IN_THE_PATHS:
        return f"{rows}, wheels in the paths"
    gap = _wheel_to_row_mm(case, case.planting) if case.is_along else None
    return rows if gap is None else f"{rows}, wheels {gap:.0f} mm from the nearest row"


def _row_words(case: _Case) -> str:
    n_rows, n_runs = case.n_rows, _n_runs(case)
    runs = f"{n_runs} runs" if n_runs > 1 else "one run"
    if case.planting.crop is None:
        return f"over the empty bed in {runs}"
    if n_rows is None:
        return f"over the whole bed in {runs}"
    spacing = case.planting.row_spacing_mm
    apart = "" if spacing is None or n_rows == 1 else f" {spacing:.0f} mm apart"
    rows = "a single row" if n_rows == 1 else f"{n_rows} rows{apart}"
    one_by_one = ", one at a time" if case.is_one_at_a_time and n_rows > 1 else ""
    return f"goes with {rows}{one_by_one} in {runs}"


def _minds(case: _Case) -> Iterator[str]:
    planting, tool = case.planting, case.tool
    if case.is_along and planting.n_rows is None:
        yield "rows of this planting are not logged"
    elif case.is_along and planting.n_rows != 1 and planting.row_spacing_mm is None:
        yield "the spacing of its rows is not logged"
    if _takes_outer_pair(case):
        yield "the centre row needs a second setting"
    if case.is_led:
        return
    if tool.track_mm is None and case.is_along:
        place = "run in the paths" if tool.travel == _IN_THE_PATHS else "keep off the rows"
        yield f"its track is not given: see that the wheels {place}"
    if not case.is_along and planting.crop is not None:
        gap = _wheel_to_row_mm(case, planting)
        if gap is not None and gap < _WHEEL_CLEAR_MM:
            yield "a wheel runs on a sown row"
    if tool.clearance_mm is None and case.is_up and case.crop_height_mm is not None:
        yield f"its clearance is not given, the crop stands {case.crop_height_mm:.0f} mm high"
    yield from _end_minds(case)


def _end_minds(case: _Case) -> Iterator[str]:
    bed = case.planting.bed
    if bed.ends == "one blocked":
        yield f"one end is blocked: back out {bed.length_m:.0f} m after each run"
    elif bed.headland_m < _LEAST_HEADLAND_M:
        yield (
            f"a headland of {bed.headland_m:.1f} m is no room to turn: back out "
            f"{bed.length_m:.0f} m after each run"
        )
    elif bed.headland_m < _HEADLAND_M:
        yield f"a headland of {bed.headland_m:.1f} m makes slow turns"
