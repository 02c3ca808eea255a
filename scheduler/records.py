"""Frozen records that travel between rooms.

Units stand in the names. Moments are timezone-aware datetimes in UTC unless a name says `local`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# ------------------------------------------------------------------ weather


class Kind(IntEnum):
    """Where a weather value comes from; a higher rank outranks a lower one."""

    MISSING = 0
    CLIMATE = 1
    FORECAST = 2
    MODEL = 3
    OBSERVED = 4
    OWN_GAUGE = 5


HOURLY_VARIABLES = ("rain_mm", "air_temp_c", "humidity_frac", "wind_2m_m_s", "solar_mj_m2")
DAILY_VARIABLES = (
    "rain_mm",
    "air_temp_min_c",
    "air_temp_max_c",
    "humidity_frac",
    "wind_2m_m_s",
    "solar_mj_m2",
)


RAIN_RANGE = ("rain_low_mm", "rain_high_mm")
"""Least and most rain of an hour that a forecast gives beside `rain_mm`, where it does."""


@dataclass(frozen=True)
class WeatherValue:
    """One value that held over [start_at, end_at).

    `rain_mm` and `solar_mj_m2` are sums over the interval, the rest are means (or the extreme the
    name states). An interval of one hour is an hourly value; a longer one is spread later.
    """

    variable: str
    start_at: datetime
    end_at: datetime
    value: float
    kind: Kind
    source: str
    known_at: datetime
    is_trace: bool = False
    suspect: str = ""  # why the value is left out; empty when it is used


@dataclass(frozen=True)
class RainTotal:
    """A sum of rain whose hours are not known: members draw the hours."""

    first_hour: int
    n_hours: int
    rain_mm: float
    kind: Kind
    source: str


@dataclass(frozen=True)
class WeatherSeries:
    """Hourly weather: element i holds over [start_at + i h, start_at + (i + 1) h), UTC.

    Missing values are NaN and their kind is `Kind.MISSING`. Hours covered by a `RainTotal` are NaN
    in `rain_mm` and carry the kind of the total. `notes` say what bears on this morning, `fills`
    what was filled or left out as a matter of course. `forecast_lead_h` is the time from the issue
    of a forecast to the hour it gave a value to, NaN where no elapsed hour rests on a forecast.
    `rain_range_mm` is what the forecast itself gives as the least and the most rain of each hour to
    come, shape (2, hours), NaN where it gives none; None where it gives no range at all.
    """

    start_at: datetime
    rain_mm: FloatArray
    air_temp_c: FloatArray
    humidity_frac: FloatArray
    wind_2m_m_s: FloatArray
    solar_mj_m2: FloatArray
    kinds: Mapping[str, NDArray[np.int8]]
    rain_totals: tuple[RainTotal, ...] = ()
    notes: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    last_observed_at: datetime | None = None
    forecast_issued_at: datetime | None = None
    fills: tuple[str, ...] = ()
    forecast_lead_h: FloatArray | None = None
    rain_range_mm: FloatArray | None = None

    @property
    def n_hours(self) -> int:
        """Number of hours in the series."""
        return int(self.rain_mm.shape[0])


@dataclass(frozen=True)
class Forecast:
    """One issued forecast, hourly from `start_at`; arrays as in `WeatherSeries`.

    `values` may hold `RAIN_RANGE` too.
    """

    source: str
    issued_at: datetime
    known_at: datetime
    start_at: datetime
    values: Mapping[str, FloatArray]
    note: str = ""


# --------------------------------------------------------------------- farm

TEXTURES = (
    "sand",
    "loamy sand",
    "sandy loam",
    "loam",
    "silt loam",
    "silt",
    "sandy clay loam",
    "clay loam",
    "silty clay loam",
    "sandy clay",
    "silty clay",
    "clay",
)
TOOL_KINDS = (
    "tine weeder",
    "spike harrow",
    "rotary hoe",
    "finger weeder",
    "torsion weeder",
    "brush weeder",
    "sweeps",
    "knives",
    "hilling",
    "wheel hoe",
    "stirrup hoe",
    "collinear hoe",
    "flame",
    "hand",
)


@dataclass(frozen=True)
class Place:
    """Where the farm lies."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    time_zone: str


@dataclass(frozen=True)
class Soil:
    """One soil of the farm, as fractions of the fine earth; stones as a fraction of volume.

    `sand_frac` and `clay_frac` are None where the grower gave a texture word alone; the service
    then takes the class centre from the parameter tables.
    """

    name: str
    texture: str
    sand_frac: float | None
    clay_frac: float | None
    organic_matter_pct: float
    stone_frac: float = 0.0


@dataclass(frozen=True)
class Bed:
    """One bed: geometry and what it is irrigated with."""

    name: str
    length_m: float
    width_m: float
    soil: str
    irrigation: str = "none"  # none, drip, sprinkler
    headland_m: float = 2.0
    ends: str = "open"  # open, one blocked, both blocked
    was: str = "unknown"  # what the bed was before the journal starts: unknown, clean, weedy, cover


@dataclass(frozen=True)
class Setup:
    """A named setting of a tool; rows and spacing it is made for, where the farm says them."""

    name: str
    note: str = ""
    n_rows: int | None = None
    row_spacing_mm: float | None = None


@dataclass(frozen=True)
class Tool:
    """One tool as the farm owns it."""

    name: str
    kind: str
    depth_mm: float
    speed_m_s: float
    width_m: float | None = None
    rows: tuple[int, ...] = ()
    row_spacings_mm: tuple[float, ...] = ()
    travel: str = "on the bed"  # over one row, on the bed, in the paths, by hand
    track_mm: float | None = None
    clearance_mm: float | None = None
    setup_min: float = 5.0
    setups: tuple[Setup, ...] = ()
    carries: tuple[str, ...] = ()  # further kinds on the same toolbar, worked in one pass
    work_factor: float = 1.0  # of the minutes reckoned, by the farm's own stopwatch
    kill_ln: float = 0.0  # logarithm of its dose of work over the tables', by marked weeds

    @property
    def key(self) -> str:
        """Kind, or the stack of kinds, under which traits and kill are looked up."""
        return " + ".join((self.kind, *self.carries))


@dataclass(frozen=True)
class Plan:
    """A sowing or setting that the grower means to do."""

    bed: str
    crop: str
    on: date
    is_sown: bool = True


@dataclass(frozen=True)
class HeatBands:
    """Heat index from which each of the four bands holds, and the allowance for full sun [C]."""

    from_c: tuple[float, ...] = tuple((f - 32.0) / 1.8 for f in (80.0, 90.0, 103.0, 125.0))
    sun_allowance_c: float = 7.0 / 1.8


@dataclass(frozen=True)
class Blocked:
    """Hours of a weekday (0 = Monday) that are taken, local wall time."""

    weekday: int
    start: time
    end: time
    why: str


@dataclass(frozen=True)
class WorkPlan:
    """When cultivation can be done: the span of a day, hours a weekday, blocked times (local)."""

    start: time
    end: time
    hours: tuple[float, float, float, float, float, float, float]
    blocked: tuple[Blocked, ...] = ()
    hourly_value: float | None = None
    currency: str = ""
    machine_price: float = 1.0  # hand minutes one machine minute must save to be worth it


@dataclass(frozen=True)
class Farm:
    """The grower's own description of the farm, in SI units."""

    name: str
    place: Place
    units: str  # metric or us: display only
    seed: int
    soils: Mapping[str, Soil]
    beds: tuple[Bed, ...]
    tools: tuple[Tool, ...]
    work: WorkPlan
    flame_rules_read: bool = False
    plans: tuple[Plan, ...] = ()
    heat_bands: HeatBands = HeatBands()
    mail: Mapping[str, Any] = field(default_factory=dict)
    weather: Mapping[str, Any] = field(default_factory=dict)


# ------------------------------------------------------------------ journal

EVENT_KINDS = (
    "rain",
    "temp",
    "water",
    "sow",
    "plant",
    "prep",
    "pass",
    "look",
    "feel",
    "up",
    "rooted",
    "hand",
    "clear",
    "undo",
)


@dataclass(frozen=True)
class Event:
    """One entry of the journal; a correction supersedes an earlier entry, nothing is rewritten.

    `data` holds SI quantities under names with units. By kind:
    rain {rain_mm, start_at, end_at, is_trace}; temp {air_temp_min_c, air_temp_max_c, start_at,
    end_at}; water {water_mm}; sow and plant {crop, n_rows, row_spacing_mm, depth_mm, from_m, to_m};
    prep {depth_mm, tool}; pass {tool, depth_mm, work_min, setup, setup_min, worked, how, found};
    feel {feel}; hand {work_min}; up, rooted, clear and undo {}; look one of: {thread, seed_leaf,
    true_leaf, young, established} per m2; {n_thread, n_seed_leaf, n_true_leaf, n_young,
    n_established} sprouts as counted, with {area_m2} of a quadrat, which {quadrat} names where it
    stays in place, else scratched up in a few spots; {nothing}; {first} (threads, green); {amount}
    (few, some, many); {left_n, of_n} survivors of weeds marked before the last pass.
    Moments inside `data` are ISO 8601 text with offset. Keys without a value are absent.
    """

    event_id: str
    kind: str
    happened_at: datetime
    recorded_at: datetime
    bed: str | None = None
    part: str | None = None
    data: Mapping[str, Any] = field(default_factory=dict)
    supersedes: str | None = None
    note: str = ""


@dataclass(frozen=True)
class Planting:
    """The unit of decision: a bed, or a part of one, and what grows there (None: empty)."""

    bed: Bed
    part: str | None
    from_m: float
    to_m: float
    crop: str | None
    is_sown: bool
    established_at: datetime | None
    n_rows: int | None
    row_spacing_mm: float | None
    sowing_depth_mm: float | None
    up_at: datetime | None = None
    rooted_at: datetime | None = None

    @property
    def key(self) -> str:
        """A stable name: the bed, and the part if it is one."""
        return self.bed.name if self.part is None else f"{self.bed.name}/{self.part}"


# ------------------------------------------------------------------- answer


@dataclass(frozen=True)
class Range:
    """An uncertain quantity: 10, 50 and 90 % of member weight."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True)
class Action:
    """What to do, with which tool, between which hours."""

    tool: str
    setup: str | None
    depth_mm: float
    start: datetime
    end: datetime
    work_min: float
    setup_min: float
    note: str = ""  # what to remember: the last time here, what to lift over


@dataclass(frozen=True)
class Refusal:
    """Why a tool is not offered for a planting: a reason code and a sentence."""

    tool: str
    because: str
    why: str


@dataclass(frozen=True)
class SoilAnswer:
    """The soil of one planting at `as_of`; meanings as in the published schema."""

    workable_now: float
    workable_from: datetime | None
    surface_rel_water: float
    surface_temp_c: float


@dataclass(frozen=True)
class CrustAnswer:
    """When a crust is expected and whether a sown crop needs it broken."""

    index_now: float
    expected_at: datetime | None
    chance: float
    break_by: datetime | None


@dataclass(frozen=True)
class FlushAnswer:
    """The flush that decides for this planting, in dates and in growing degree days."""

    opened_at: datetime | None
    opened_by: str | None
    gdd_since_opening: float | None
    thread_from: datetime | None
    thread_most_at: datetime | None
    last_good_at: datetime | None
    to_come_frac: Range | None
    next_expected_at: datetime | None


@dataclass(frozen=True)
class BedAnswer:
    """One verdict for one planting."""

    rank: int | None
    bed: str
    part: str | None
    crop: str | None
    verdict: str
    because: str
    until: datetime | None
    sure: float | None
    action: Action | None
    soil: SoilAnswer
    crust: CrustAnswer | None
    flush: FlushAnswer | None
    why: tuple[str, ...]
    soil_name: str = ""
    weeds: Mapping[str, Range] | None = None
    killable_frac: Range | None = None
    minutes: Mapping[str, Range] | None = None
    last_good_at: datetime | None = None
    look: Mapping[str, Any] | None = None
    established_on: date | None = None  # sown or set on, local date; for the printed line
    is_sown: bool = True
    last_call_on: date | None = None  # the day before standing weeds shed seed, when that is near
    plan: str = ""  # a planned sowing or setting and what the bed needs before it, in one line
    plan_days: tuple[date, date] | None = None  # first and last day of what it needs next
    details: tuple[str, ...] = ()  # more sentences, for the bed's page
    refusals: tuple[Refusal, ...] = ()  # tools of the farm that are not offered, for the bed's page
    sure_of_members: float | None = None  # as computed, where `sure` is told as another


@dataclass(frozen=True)
class WeatherAnswer:
    """How old the weather is and where it comes from."""

    last_observed: datetime | None
    source: str
    age_h: float | None
    forecast_issued: datetime | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class DayStrip:
    """The hours around a morning, for a picture; element i holds over [start_at + i h, + 1 h).

    The first `n_past` hours lie before the morning. Rain [mm] is the mean of the members and what
    one in ten exceeds; by soil the relative water of the surface (1: as at 33 kPa, more soon after
    rain) and the chance that it can be worked, both of the undisturbed column; `is_open` tells the
    hours of the work plan.
    """

    start_at: datetime
    n_past: int
    rain_mm: FloatArray
    rain_high_mm: FloatArray
    surface_rel_water: Mapping[str, FloatArray]
    workable_frac: Mapping[str, FloatArray]
    is_open: BoolArray


@dataclass(frozen=True)
class RainAhead:
    """Rain of the 24 hours from a morning on, by the members.

    `from_at` begins the first three hours in which 3 in 10 have 0.5 mm, None where no three hours
    have; `chance_frac` that three such hours come from then on; `rain_mm` falls in all.
    """

    from_at: datetime | None
    chance_frac: float
    rain_mm: Range


@dataclass(frozen=True)
class ListLine:
    """One line of an issued list that nothing was logged for."""

    place: int  # the number it was read by
    bed: str
    part: str | None
    tool: str


@dataclass(frozen=True)
class MorningNews:
    """What came between the list issued last and this morning.

    `list_on` is the local day of that list, None where there is none; `silent_on` is the same when
    nothing was logged since, else None; `unlogged` are its lines that no entry answers;
    `corrections` say, one sentence each, where that list was wrong as far as is known by now.
    """

    silent_on: date | None = None
    n_silent_days: int = 0
    unlogged: tuple[ListLine, ...] = ()
    corrections: tuple[str, ...] = ()
    list_on: date | None = None


@dataclass(frozen=True)
class Lesson:
    """One thing that entries changed in what is thought of a planting, a soil or a tool.

    `before` and `after` are in `unit`; `n` is the number of entries it rests on. `says` is one
    sentence for the grower.
    """

    what: str  # timing, weeds, work, set-up, hand weeding, kill, soil
    of: str  # the planting, soil or tool
    before: Range
    after: Range
    unit: str
    n: int
    says: str


@dataclass(frozen=True)
class DoubtedEntry:
    """An entry that contradicts all else and is not learned from: the entry and one sentence."""

    event: Event
    why: str


@dataclass(frozen=True)
class Morning:
    """The answer of one morning."""

    farm: Farm
    as_of: datetime
    inputs: Mapping[str, Any]
    n_soil_members: int
    n_particles: int
    attribution: tuple[str, ...]
    weakest_inputs: tuple[str, ...]
    weather: WeatherAnswer
    hours_available: float
    minutes_planned: float
    setup_changes: int
    beds: tuple[BedAnswer, ...]
    not_reached: tuple[BedAnswer, ...]
    cautions: tuple[str, ...]
    day: date
    outlook_line: str = ""
    strip: DayStrip | None = None
    rain_ahead: RainAhead | None = None  # None without a forecast
    doubts: tuple[DoubtedEntry, ...] = ()  # entries of the day before that are not learned from


# ------------------------------------------------------------------- season

WINDOW_OUTCOMES = ("hit", "missed", "small", "open")
"""Of a flush: a pass took it in time; none did; too little to be worth a pass; not over yet."""

MISSED_REASONS = ("never_fit", "crop", "no_hours", "not_done", "not_listed", "no_list", "unknown")
"""Why a window passed unused: the soil was never fit; it was, but the crop would not have stood any
tool, or none fits; crop and soil would have, but the grower had no hours; all was there and the
list named it; a list was made and did not name it; no list was made; the weather is not known."""

OWN_MISSES = ("forecast", "model")
"""Of a window that the list did not name: the forecast was wrong, or the model."""


@dataclass(frozen=True)
class FlushWindow:
    """One flush of one planting, and the hours in which a shallow tool would have taken it.

    `fit_hours` are the grower's own working hours within [ripe_at, last_good_at) in which soil and
    crop let a tool of the farm in, by member. `because` is a reason code as of a verdict (wet,
    hard, crop_tender, crop_up, no_fit, no_hours, and what the list said). `cost` are the hand
    minutes that the best pass of the window would have saved, its own work taken off; nought for a
    window that was hit. Times are the farm's.
    """

    bed: str
    part: str | None
    crop: str | None
    soil_name: str
    opened_at: datetime
    opened_by: str
    ripe_at: datetime  # from when a pass takes most of what has come
    last_good_at: datetime
    closed_at: datetime
    closed_by: str  # pass, hand weeding, preparation, sowing, planting, clearing, age, end
    fit_hours: Range
    outcome: str  # one of WINDOW_OUTCOMES
    done: tuple[str, ...]  # what was logged from ripe_at to closed_at, in words
    why: str  # one sentence with numbers
    reason: str | None = None  # one of MISSED_REASONS; of a missed window
    because: str | None = None
    own_miss: str | None = None  # one of OWN_MISSES; of a window not listed
    best_at: datetime | None = None  # of the pass that would have been
    best_tool: str | None = None
    work_min: float | None = None
    cost_min: Range = Range(0.0, 0.0, 0.0)
    yield_min: Range = Range(0.0, 0.0, 0.0)  # the crop lost to it, in minutes of hand weeding
    weeds_m2: Range = Range(0.0, 0.0, 0.0)  # that the flush brought

    @property
    def key(self) -> str:
        """The planting's name."""
        return self.bed if self.part is None else f"{self.bed}/{self.part}"


@dataclass(frozen=True)
class PassReview:
    """One logged pass, and what it did: `hit` a window, did `little`, or was `in vain`."""

    bed: str
    part: str | None
    crop: str | None
    tool: str
    at: datetime
    did: str  # hit, little, in vain
    work_min: float
    is_timed: bool  # the minutes were logged, else reckoned
    killed_m2: Range
    saved_min: Range
    why: str


@dataclass(frozen=True)
class PlantingStrip:
    """The season of one bed or part, day by day; arrays (n_days, ...) from `SeasonReview.from_on`.

    `crops` are spans of days [first, last) with what grew there; empty spans have None.
    """

    bed: str
    part: str | None
    soil_name: str
    crops: tuple[tuple[int, int, str | None], ...]
    weeds_m2: FloatArray  # (n_days, 5) medians by stage
    done: tuple[tuple[int, str, str], ...]  # day, kind of entry, tool or words


@dataclass(frozen=True)
class FitDays:
    """Days a week on which a soil could be worked for two of the grower's hours or more.

    `past_d` are the least, the median and the most of the past years on record, None where
    `n_past_years` is 0.
    """

    soil_name: str
    week_on: date  # its Monday
    days: Range  # by member
    past_d: Range | None
    n_past_years: int


@dataclass(frozen=True)
class Score:
    """How good one kind of forecast was against what was logged.

    `bins` are chance as stated, share that came true, number; `brier` and `bins` are empty where
    the forecast is no chance; then `words` tell the errors.
    """

    what: str
    n: int
    words: str  # one plain sentence
    brier: float | None = None
    bins: tuple[tuple[float, float, int], ...] = ()


@dataclass(frozen=True)
class Replay:
    """The season played again under a rule, on the same weather and plantings, over hidden truths.

    Ranges are over the truths that were played; `of_logged_frac` is hand minutes over those of the
    season as logged, played in the same truths, `against_logged_min` is hand minutes less those of
    the season as logged, played in the same truths, and below nought where the rule did better.
    """

    rule: str
    hand_min: Range
    machine_min: Range
    n_passes: Range
    against_logged_min: Range
    n_truths: int
    of_logged_frac: Range = Range(1.0, 1.0, 1.0)


@dataclass(frozen=True)
class ReviewTotal:
    """Minutes under one heading. `saved_min` are those of its passes, each weighed alone."""

    name: str
    n_windows: int
    n_missed: int
    cost_min: Range
    yield_min: Range
    machine_min: float
    hand_min: float  # as logged or reckoned
    saved_min: Range = Range(0.0, 0.0, 0.0)


@dataclass(frozen=True)
class SeasonReview:
    """A season read back with the weather that came and the journal as kept."""

    farm: Farm
    year: int
    from_on: date
    to_on: date  # its last day read
    as_of: datetime
    is_over: bool
    windows: tuple[FlushWindow, ...]
    passes: tuple[PassReview, ...]
    strips: tuple[PlantingStrip, ...]
    rain_mm: FloatArray  # (n_days,)
    fit_days: tuple[FitDays, ...]
    scores: tuple[Score, ...]
    replays: tuple[Replay, ...]
    totals: Mapping[str, tuple[ReviewTotal, ...]]  # season, planting, crop, tool, week, reason
    notes: tuple[str, ...]  # what is missing or weak, in words
    attribution: tuple[str, ...] = ()
