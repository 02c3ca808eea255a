"""A farm's own season played again: other rules on the same log, and another set-up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from scheduler.errors import UsageError, WeatherMissingError
from scheduler.planning.season.replay import AS_LOGGED
from scheduler.records import Event, Farm, Forecast, Kind, Range, WeatherSeries, WeatherValue
from scheduler.service import settings
from scheduler.service.compare import (
    RowsChange,
    SetUpChange,
    ToolChange,
    compare,
    compare_season,
    new_tool,
)
from scheduler.service.garden import FarmSeason, farm_season, season_on_record
from scheduler.service.replay import REPLAY_NOTES, replays
from tests.planning.season.made import RAIN, weather
from tests.planning.season.test_garden import JOURNAL, farm

NONE = Range(0.0, 0.0, 0.0)
N_DAYS = 125
ZONE = ZoneInfo("America/New_York")


@lru_cache(maxsize=1)
def series() -> WeatherSeries:
    """The made weather as if it were on record, from the evening before on."""
    made = weather(N_DAYS, RAIN)
    names = ("rain_mm", "air_temp_c", "humidity_frac", "wind_2m_m_s", "solar_mj_m2")
    values = {name: getattr(made.forcing, name)[0].copy() for name in names}
    values["humidity_frac"] = np.full_like(values["rain_mm"], 0.7)
    kinds = dict.fromkeys(names, np.full(24 * N_DAYS, int(Kind.OBSERVED), np.int8))
    return WeatherSeries(made.start_at, **values, kinds=kinds)


def grower() -> Farm:
    own = farm()
    return replace(own, work=replace(own.work, hourly_value=24.0, currency="EUR"))


@lru_cache(maxsize=1)
def own_season() -> FarmSeason:
    return season_on_record(grower(), JOURNAL, series(), 2013)


# -------------------------------------------------------------------- the season


def test_the_season_begins_at_the_farms_midnight() -> None:
    start_at = own_season().world.weather.start_at
    assert start_at.astimezone(ZONE).hour == 0
    assert timedelta(0) <= start_at - series().start_at < timedelta(days=1)
    days = own_season().world.days
    assert all((day.end_hour - day.first_hour) in (23, 24, 25) for day in days[:-1])


def test_beds_of_the_season_are_those_of_the_journal() -> None:
    assert {plot.key for plot in own_season().world.plots} == {"K1", "C1/north", "C1/south"}
    up = {plot.key: own_season().world.at(plot.up_hour) for plot in own_season().world.plots}
    seen = {f"{e.bed}/{e.part}": e.happened_at for e in JOURNAL if e.kind == "up"}
    assert all(abs(up[key] - at) <= timedelta(hours=1) for key, at in seen.items())


# ---------------------------------------------------------------------- replays


def test_the_log_is_played_again_under_other_rules() -> None:
    told: list[float] = []
    found = replays(
        grower(), JOURNAL, series(), n_truths=1, progress=lambda _, done: told.append(done)
    )
    rules = [replay.rule for replay in found]
    assert rules[:2] == [AS_LOGGED, "no pass at all"]
    assert rules[-1] == "the list, same hours"
    assert len(found) == 5
    logged, none = found[:2]
    assert (none.n_passes, none.machine_min) == (NONE, NONE)
    assert none.hand_min != logged.hand_min
    assert logged.n_passes == Range(4.0, 4.0, 4.0)
    assert logged.against_logged_min == NONE
    assert all(replay.machine_min.high <= logged.machine_min.high + 1e-9 for replay in found)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert REPLAY_NOTES


def test_a_season_without_a_planting_has_nothing_to_play() -> None:
    passes = [e for e in JOURNAL if e.kind == "pass"]
    assert replays(grower(), passes, series(), n_truths=1) == ()
    with pytest.raises(UsageError, match="give one or more"):
        replays(grower(), JOURNAL, series(), n_truths=0)


# ---------------------------------------------------------------------- compare


def test_hours_that_nobody_used_change_nothing() -> None:
    found = compare_season(grower(), own_season(), SetUpChange(more_h_a_week=4.0), n_truths=2)
    assert all(figure.change == NONE for figure in found.compared.figures.values())
    assert found.compared.hours_of_plan_h[1] > found.compared.hours_of_plan_h[0]
    assert found.compared.figures["n_passes"].before.high > 0


def test_a_hoe_pays_where_there_is_no_tool_at_all_and_no_tool_costs() -> None:
    """Common practice: without anything but fingers every weed is weeded by hand."""
    bare = replace(grower(), tools=())
    season = season_on_record(bare, JOURNAL, series(), 2013)
    change = SetUpChange(tools=(ToolChange("hoe", "wheel hoe"),), price=300.0)
    found = compare_season(bare, season, change, n_truths=3)
    c = found.compared
    assert c.figures["n_passes"].before == NONE
    assert c.figures["n_passes"].after.low > 0.0
    assert c.figures["hand_min"].change.mid < 0.0
    assert c.n_saving >= 2
    assert c.money is not None
    assert c.money.seasons_to_pay_back is not None
    assert 0.0 < c.money.seasons_to_pay_back.low < float("inf")
    lost = compare_season(
        grower(), own_season(),
        SetUpChange(without=tuple(tool.name for tool in grower().tools)), n_truths=3,
    )  # fmt: skip
    assert lost.compared.figures["hand_min"].change.mid > 0.0
    assert lost.compared.figures["n_passes"].after == NONE


def test_a_flame_is_played_though_the_farm_file_allows_none_yet() -> None:
    """Else it would be told that nobody would have taken it."""
    bare = replace(grower(), tools=())
    assert not bare.flame_rules_read
    season = season_on_record(bare, JOURNAL, series(), 2013)
    change = SetUpChange(tools=(ToolChange("torch", "flame"),))
    found = compare_season(bare, season, change, n_truths=1)
    assert found.compared.n_by_tool[1].get("torch", 0.0) > 0.0
    assert not found.farm.flame_rules_read


def test_fewer_rows_cost_row_metres() -> None:
    """Carrot on 18 m in three rows, then two: 18 m of row less."""
    change = SetUpChange(rows=(RowsChange("carrot", 2, 375.0),))
    found = compare_season(grower(), own_season(), change, n_truths=1)
    assert found.row_m_of == (("carrot", 54.0, 36.0),)
    assert found.compared.row_m == (54.0 + 36.0, 36.0 + 36.0)


def test_a_new_tool_is_like_the_farms_own() -> None:
    garden = own_season().world.garden
    brush = new_tool(ToolChange("brush", "brush weeder"), garden)
    assert (brush.travel, brush.setup_min, brush.rows) == ("in the paths", 10.0, (2, 3))
    assert brush.width_m == 0.75
    hoe = new_tool(ToolChange("hoe two", "stirrup hoe"), garden)
    assert (hoe.travel, hoe.setup_min) == ("by hand", 0.0)
    bar = new_tool(ToolChange("bar two", "knives + finger weeder"), garden)
    assert bar.key == "knives + finger weeder"
    assert bar.key in settings.tool_traits(replace(grower(), tools=(bar,)))


@pytest.mark.parametrize(
    ("change", "part"),
    [
        (SetUpChange(), "nothing is changed"),
        (SetUpChange(without=("plough",)), "the farm has no 'plough'"),
        (SetUpChange(tools=(ToolChange("tines", "tine weeder"),)), "has 'tines' already"),
        (SetUpChange(tools=(ToolChange("x", "plough"),)), "'plough' is no kind of tool"),
        (SetUpChange(more_h_a_week=-16.0), "leave none of the plan's 16 a week"),
        (SetUpChange(more_h_a_week=1.0, price=0.0), "give more than 0"),
        (SetUpChange(stale=("leek",)), "'leek' was not grown"),
    ],
)
def test_what_cannot_be_compared_is_said_in_one_line(change: SetUpChange, part: str) -> None:
    with pytest.raises(UsageError) as error:
        compare_season(grower(), own_season(), change, n_truths=1)
    assert part in str(error.value)
    assert "\n" not in str(error.value)


# ---------------------------------------------------------------------- on record


class Store:
    """A journal and hourly weather."""

    def __init__(self, n_days: int = N_DAYS, entries: Sequence[Event] = JOURNAL) -> None:
        self.n_hours, self.entries = 24 * n_days, entries

    def events(self, known_at: datetime) -> tuple[Event, ...]:
        return tuple(sorted(self.entries, key=lambda e: e.happened_at))

    def weather_values(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Sequence[WeatherValue]:
        whole, hour = series(), timedelta(hours=1)
        found = []
        for name in ("rain_mm", "air_temp_c", "humidity_frac", "wind_2m_m_s", "solar_mj_m2"):
            for i, value in enumerate(getattr(whole, name)[: self.n_hours]):
                at = whole.start_at + i * hour
                if start_at <= at < end_at and at + hour <= known_at:
                    found.append(
                        WeatherValue(name, at, at + hour, float(value), Kind.OBSERVED, "made", at)
                    )
        return found

    def latest_forecast(self, known_at: datetime) -> Forecast | None:
        return None

    def forecasts_since(self, known_at: datetime, issued_from: datetime) -> Sequence[Forecast]:
        return ()


NOW = datetime(2013, 7, 1, 12, tzinfo=UTC)


def test_the_season_on_record_is_the_one_of_the_series() -> None:
    found = farm_season(grower(), Store(), Store(), NOW)
    assert found.year == 2013
    assert [plot.key for plot in found.world.plots] == [p.key for p in own_season().world.plots]
    first = found.world.weather.start_at
    at = int((first - own_season().world.weather.start_at) / timedelta(hours=1))
    rain = own_season().world.weather.forcing.rain_mm[0, at:]
    both = min(rain.size, found.world.n_hours)
    assert_array_equal(found.world.weather.forcing.rain_mm[0, :both], rain[:both])


def test_what_is_missing_is_said() -> None:
    with pytest.raises(UsageError, match="season 2012: no sowing or setting"):
        farm_season(grower(), Store(), Store(), NOW, 2012)
    with pytest.raises(UsageError, match="without a time zone"):
        farm_season(grower(), Store(), Store(), NOW.replace(tzinfo=None))
    with pytest.raises(WeatherMissingError, match="no temperature or no rain on record"):
        farm_season(grower(), Store(), Store(0), NOW)
    with pytest.raises(WeatherMissingError, match="at least 20 are needed"):
        farm_season(grower(), Store(), Store(45), NOW)
    with pytest.raises(UsageError, match="allowed are 1 to 200"):
        compare(grower(), Store(), Store(), NOW, SetUpChange(more_h_a_week=1.0), n_truths=0)


def test_a_half_finished_season_is_played_to_the_last_weather() -> None:
    early = datetime(2013, 5, 20, 12, tzinfo=UTC)
    entries = [e for e in JOURNAL if e.happened_at <= early]
    found = farm_season(grower(), Store(entries=entries), Store(), early)
    end_at = found.world.at(found.world.n_hours)
    assert timedelta(0) <= early - end_at < timedelta(days=1)
    change = SetUpChange(without=("bar",))
    assert compare_season(grower(), found, change, n_truths=1).compared.n_truths == 1
