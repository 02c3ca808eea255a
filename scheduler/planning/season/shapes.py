"""Records of the season player: garden, weather, truth, what a rule decides, and the bill."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from scheduler.models.soil_column import ColumnForcing
from scheduler.planning.ensemble import SoilMembers
from scheduler.records import BoolArray, Event, Farm, FloatArray, Planting


@dataclass(frozen=True)
class SeasonPlanting:
    """One planting of the season: prepared, sown or set, cleared."""

    planting: Planting
    prepared_at: datetime
    cleared_at: datetime


@dataclass(frozen=True)
class Garden:
    """The farm and what grows on it over the season; one planting after the other in a bed.

    `waterings` are entries of water as given; None where water is given by rule.
    """

    farm: Farm
    plantings: tuple[SeasonPlanting, ...]
    waterings: tuple[Event, ...] | None = None


@dataclass(frozen=True)
class SeasonWeather:
    """True hourly weather of one season, one row; `name` says where and when."""

    name: str
    start_at: datetime
    forcing: ColumnForcing  # arrays (1, n_hours)


@dataclass(frozen=True)
class Truth:
    """What is hidden from every rule but the oracle: soil, clock, size, kill; one draw by name."""

    name: str
    is_outside: bool  # drawn outside the prior
    soils: Mapping[str, SoilMembers]  # one member a soil
    clock: float
    spread: float
    farm_size_ln: float  # of all beds
    bed_size_ln: Mapping[str, float]
    event_size_ln_sd: float
    kill_ln: Mapping[str, float]  # by tool key, for spread_kill_frac
    pass_kill_ln_sd: float
    pass_share_frac: float  # of the pool that a stirring opens
    dry_bias_kpa: float = 0.0
    gauge_factor: float = 1.0
    dose_factor: float = 1.0
    build: str = "gate"  # gate: as the program; product: another build of the weeds
    seed: int = 0
    mix: Mapping[str, FloatArray] = field(default_factory=dict)  # of the guilds by bed; else tabled


@dataclass(frozen=True)
class Eyes:
    """What the grower of a rule sees; by default nothing but the crop and the journal."""

    looks_every_d: int | None = None  # days between looks at the weeds of every bed
    error_ln_sd: float = 0.0  # of what a look sees, by bed and day
    scratches: bool = False  # a look shows threads too
    n_sprouts: int = 0  # scratched up at a look and told by stage; looks are entries then
    beds_a_look: int | None = None  # that the rule names itself; None: every bed in use
    feels_soil: bool = False  # knows each morning whether a tool can work that day
    knows_truth: bool = False
    asks_again: bool = False  # after a visit in vain it may name other passes


@dataclass(frozen=True)
class Choose:
    """One pass that a rule wants today: planting, tool, and how sure it says it is."""

    planting_key: str
    tool: str
    sure: float | None = None


class Rule(Protocol):
    """A rule sees what its grower can see that morning and names passes in the order to be made.

    It may have `eyes` (see `Eyes`); a rule without sees no weeds and no soil. Where its eyes ask
    it to choose it also has `looks(morning)`: beds to look at, the most wanted first.
    """

    @property
    def name(self) -> str:
        """A short name of its own."""
        ...

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        """Passes wanted today, in order."""
        ...


@dataclass(frozen=True)
class Morning:
    """What a rule may look at; truth only for one whose eyes know it.

    `seen` holds weeds per square metre by zone and stage (2, 5) of the beds in use on a day of
    looking, threads NaN unless it scratches. `works` tells by bed and tool whether the soil lets it
    work that day, for a rule that feels the soil.
    """

    hour: int  # of the season's clock: the first of the grower's working hours
    day: int  # place among the season's days
    hours_left_min: float
    events: tuple[Event, ...]  # of this play so far, visits in vain among them
    seen: Mapping[str, FloatArray] = field(default_factory=dict)
    works: Mapping[tuple[str, str], bool] = field(default_factory=dict)
    truth: object | None = None  # the state of the play, of `scheduler.planning.season.play`


@dataclass(frozen=True)
class Hours:
    """Minutes with tools that a rule may use, set-ups and visits in vain among them, by day.

    `a_day_min` are those of each day of the season, `by_then_min` those from its beginning to the
    end of each day; None where only the day counts.
    """

    a_day_min: FloatArray  # (n_days,)
    by_then_min: FloatArray | None = None  # (n_days,)

    def left_min(self, day: int, used_min: float) -> float:
        """Minutes that are left on the morning of a day, after `used_min` of the season."""
        left = float(self.a_day_min[day])
        if self.by_then_min is not None:
            left = min(left, float(self.by_then_min[day]) - used_min)
        return max(left, 0.0)


@dataclass(frozen=True)
class Bill:
    """What a season cost under a rule; minutes of the whole farm."""

    hand_min: float
    machine_min: float  # set-ups included
    vain_min: float
    n_passes: int
    n_vain: int
    n_hand_rounds: int
    stand_lost_min: float
    seeds_shed: float
    stated: FloatArray  # (n_lines,) sure as stated for each line once
    came_true: BoolArray  # (n_lines,) workable and better than leaving it
    n_setups: int = 0  # that took minutes
