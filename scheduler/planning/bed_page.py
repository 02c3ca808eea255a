"""Everything one bed's page tells, as frozen records: soil by depth, hours, flushes, every why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from scheduler.errors import RangeError
from scheduler.records import (
    BedAnswer,
    DoubtedEntry,
    Event,
    FloatArray,
    FlushAnswer,
    Lesson,
    Range,
)


@dataclass(frozen=True)
class SoilDepth:
    """One depth of the soil at `as_of`: 10, 50 and 90 % of member weight.

    `relative_water` is (theta - air-dry) / (theta at 33 kPa - air-dry).
    """

    from_mm: float
    to_mm: float
    theta_m3m3: Range
    relative_water: Range
    suction_kpa: Range
    soil_temp_c: Range


@dataclass(frozen=True)
class WorkableHours:
    """Chance that the soil can be worked, hour by hour, for one way of working.

    `chance_frac` has shape (n_hours,); element i holds over [start_at + i h, start_at + (i + 1) h).
    """

    label: str  # as "hand tools, 0-30 mm" or "with wheels, 50-100 mm"
    start_at: datetime
    chance_frac: FloatArray


@dataclass(frozen=True)
class SurfaceCourse:
    """Surface wetness, rain and working threshold around `as_of`, hourly, for the plot.

    All arrays have shape (n_hours,); element i holds over [start_at + i h, start_at + (i + 1) h).
    Relative water as in `SoilDepth`; NaN where a value is not known.
    """

    start_at: datetime
    low_rel_water: FloatArray
    mid_rel_water: FloatArray
    high_rel_water: FloatArray
    rain_mm: FloatArray
    working_rel_water: float  # below it, and above the hard limit, the surface can be worked

    def __post_init__(self) -> None:
        """Refuse arrays of different length."""
        lengths = {
            "low_rel_water": self.low_rel_water.shape,
            "mid_rel_water": self.mid_rel_water.shape,
            "high_rel_water": self.high_rel_water.shape,
            "rain_mm": self.rain_mm.shape,
        }
        if len(set(lengths.values())) != 1 or len(self.rain_mm.shape) != 1:
            raise RangeError(
                f"surface course: found shapes {lengths}; give one-dimensional arrays of one length"
            )


@dataclass(frozen=True)
class GuildFlush:
    """One weed guild's flush in plain words, dates and growing degree days."""

    guild: str
    flush: FlushAnswer


@dataclass(frozen=True)
class Why:
    """One number the answer rests on: the sentence, and where its value comes from.

    `value` is in `unit`; `source`, `locator` and `grade` are those of the parameter table, or
    the farm file, the journal, the weather.
    """

    sentence: str
    parameter: str
    value: float | None
    unit: str
    source: str
    locator: str = ""
    grade: str = ""


@dataclass(frozen=True)
class StageCourse:
    """Weeds by stage around `as_of`, one row a day: the middle of the particles.

    `count_m2` has shape (n_days, 5), the stages in order; `to_come_m2` (n_days,) is opened and not
    germinated; `marks` says what was done that day.
    """

    days: tuple[date, ...]
    count_m2: FloatArray
    to_come_m2: FloatArray
    marks: tuple[str, ...]


@dataclass(frozen=True)
class BedPage:
    """One bed, or one part of it, explained.

    `answer` is the verdict as on the morning page. `events` are the entries that touch the bed,
    oldest first. `notes` are sentences that belong to no other place, such as what the model
    leaves out for this bed. `lessons` say what entries changed, `doubts` which are not learned
    from; `looks_on` are the days of the bed's own looks that were, `looks_of` other beds of its
    soil with looks.
    """

    farm_name: str
    units: str
    time_zone: str
    as_of: datetime
    day: date
    bed: str
    part: str | None
    crop: str | None
    established_on: date | None
    is_sown: bool
    soil_name: str
    answer: BedAnswer | None
    soil_depths: tuple[SoilDepth, ...]
    workable: tuple[WorkableHours, ...]
    course: SurfaceCourse | None
    flushes: tuple[GuildFlush, ...]
    events: tuple[Event, ...]
    whys: tuple[Why, ...]
    source_titles: Mapping[str, str]
    notes: tuple[str, ...] = ()
    stages: StageCourse | None = None
    lessons: tuple[Lesson, ...] = ()
    doubts: tuple[DoubtedEntry, ...] = ()
    looks_on: tuple[date, ...] = ()
    looks_of: tuple[str, ...] = ()
