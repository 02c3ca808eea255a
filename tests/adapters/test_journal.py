"""The farm's database: what is kept, what is refused, and what was known when."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from scheduler.adapters.journal import (
    FarmDatabase,
    database,
    new_event_id,
    open_farm_database,
    schema,
)
from scheduler.errors import JournalError
from scheduler.ports import Journal, Lists, WeatherStore
from scheduler.records import HOURLY_VARIABLES, Event, Forecast, Kind, WeatherValue

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
NOON = datetime(2013, 5, 8, 12, tzinfo=UTC)
EVER = datetime(2100, 1, 1, tzinfo=UTC)


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[FarmDatabase]:
    with open_farm_database(tmp_path, create=True) as opened:
        yield opened


def entry(event_id: str, kind: str = "up", *, at: datetime = NOON, **rest: object) -> Event:
    given = {"bed": None if kind == "undo" else "B4", "recorded_at": at, "happened_at": at, **rest}
    return Event(event_id=event_id, kind=kind, **given)  # type: ignore[arg-type]


def value(number: float, *, known_at: datetime = NOON, **rest: object) -> WeatherValue:
    given = {
        "variable": "rain_mm",
        "start_at": NOON - 2 * HOUR,
        "end_at": NOON - HOUR,
        "kind": Kind.OBSERVED,
        "source": "station",
        **rest,
    }
    return WeatherValue(value=number, known_at=known_at, **given)  # type: ignore[arg-type]


def forecast(rain_mm: float, issued_at: datetime = NOON, **rest: object) -> Forecast:
    given = {"source": "model", "known_at": issued_at, "start_at": issued_at, **rest}
    values = {"rain_mm": np.array([rain_mm, np.nan, 0.1])}
    return Forecast(issued_at=issued_at, values=values, **given)  # type: ignore[arg-type]


# ------------------------------------------------------------------- file


def test_is_what_the_service_asks_for(farm: FarmDatabase) -> None:
    journal: Journal = farm
    store: WeatherStore = farm
    lists: Lists = farm
    assert journal.events(EVER) == ()
    assert store.weather_values(EVER, NOON, EVER) == []
    assert lists.latest_list(EVER) is None
    assert farm.latest_forecast(EVER) is None
    assert farm.farm_text(EVER) is None


def test_settings_of_the_file(farm: FarmDatabase) -> None:
    asked = {
        name: farm._connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("journal_mode", "foreign_keys", "busy_timeout", "user_version")
    }
    assert asked == {
        "journal_mode": "wal",
        "foreign_keys": 1,
        "busy_timeout": 5000,
        "user_version": 2,
    }
    tables = farm._connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    )
    assert {name for (name,) in tables} == {
        "events",
        "weather_values",
        "forecasts",
        "farm_versions",
        "lists",
        "ledger",
        "outbox",
        "deliveries",
        "delivery_log",
    }


def test_is_one_file_once_closed(tmp_path: Path) -> None:
    with open_farm_database(tmp_path, create=True) as farm:
        farm.add_events([entry("a")])
    assert [path.name for path in tmp_path.iterdir()] == ["farm.db"]
    with open_farm_database(tmp_path) as farm:
        assert farm.events(EVER) == (entry("a"),)


def test_a_second_step_keeps_what_is_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_farm_database(tmp_path, create=True) as farm:
        farm.add_events([entry("a")])
    steps = (*schema.MIGRATIONS, ("CREATE TABLE extra (x)", "INSERT INTO extra VALUES (7)"))
    monkeypatch.setattr(database, "MIGRATIONS", steps)
    with open_farm_database(tmp_path) as farm:
        assert farm.events(EVER) == (entry("a"),)
        assert farm._connection.execute("SELECT x FROM extra").fetchall() == [(7,)]
    monkeypatch.undo()
    with pytest.raises(JournalError, match="has version 3, this program knows versions up to 2"):
        open_farm_database(tmp_path)


def test_a_database_of_the_first_version_keeps_its_entries_and_lists(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "MIGRATIONS", schema.MIGRATIONS[:1])
    with open_farm_database(tmp_path, create=True) as farm:
        farm.add_events([entry("a")])
        farm.write_list(EVER, EVER, {"beds": []})
        assert farm.rows("PRAGMA user_version") == [(1,)]
    monkeypatch.undo()
    with open_farm_database(tmp_path) as farm:
        assert farm.rows("PRAGMA user_version") == [(2,)]
        assert farm.rows("PRAGMA foreign_key_check") == []
        assert farm.events(EVER) == (entry("a"),)
        assert farm.latest_list(EVER) == {"beds": []}
        assert farm.rows("SELECT count(*) FROM deliveries") == [(0,)]


def test_a_step_that_breaks_off_leaves_the_version_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    open_farm_database(tmp_path, create=True).close()
    steps = (*schema.MIGRATIONS, ("CREATE TABLE extra (x)", "INSERT INTO nowhere VALUES (7)"))
    monkeypatch.setattr(database, "MIGRATIONS", steps)
    with pytest.raises(sqlite3.OperationalError, match="nowhere"):
        open_farm_database(tmp_path)
    monkeypatch.undo()
    with open_farm_database(tmp_path) as farm:
        found = farm._connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'extra'")
        assert found.fetchone() == (0,)


@pytest.mark.parametrize("table", schema.APPEND_ONLY)
@pytest.mark.parametrize("verb", ["UPDATE", "DELETE", "REPLACE"])
def test_nothing_is_rewritten(farm: FarmDatabase, table: str, verb: str) -> None:
    farm.add_events([entry("a")])
    farm.add_weather_values([value(1.0)])
    farm.add_forecast(forecast(1.0))
    farm.write_farm_version("text", NOON)
    farm.write_list(NOON, NOON, {})
    before = farm._connection.execute(f"SELECT * FROM {table}").fetchall()
    assert len(before) == 1
    column = database._KNOWN_COLUMN[table]
    statement = {
        "UPDATE": f"UPDATE {table} SET {column} = {column}",
        "DELETE": f"DELETE FROM {table}",
        "REPLACE": f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    }[verb]
    with pytest.raises(sqlite3.IntegrityError, match=f"{table} is append-only"):
        farm._connection.execute(statement)
    assert farm._connection.execute(f"SELECT * FROM {table}").fetchall() == before


# --------------------------------------------------------------- known_at


@pytest.mark.parametrize(
    ("write", "read"),
    [
        (lambda farm: farm.add_events([entry("a")]), lambda farm, at: farm.events(at)),
        (lambda farm: farm.add_events([entry("a")]), lambda farm, at: farm.all_events(at)),
        (
            lambda farm: farm.add_weather_values([value(1.0)]),
            lambda farm, at: farm.weather_values(at, NOON - DAY, NOON),
        ),
        (
            lambda farm: farm.add_weather_values([value(1.0)]),
            lambda farm, at: farm.weather_columns(at, NOON - DAY, NOON),
        ),
        (
            lambda farm: farm.add_weather_values([value(1.0)]),
            lambda farm, at: farm.all_weather_values(at),
        ),
        (lambda farm: farm.add_forecast(forecast(1.0)), lambda farm, at: farm.forecasts(at)),
        (
            lambda farm: farm.add_forecast(forecast(1.0)),
            lambda farm, at: farm.latest_forecast(at),
        ),
        (
            lambda farm: farm.add_forecast(forecast(1.0)),
            lambda farm, at: farm.forecasts_since(at, NOON - 365 * DAY),
        ),
        (lambda farm: farm.write_farm_version("x", NOON), lambda farm, at: farm.farm_text(at)),
        (lambda farm: farm.write_list(NOON, NOON, {"x": 1}), lambda farm, at: farm.latest_list(at)),
    ],
)
def test_what_became_known_later_does_not_exist(
    farm: FarmDatabase,
    write: Callable[[FarmDatabase], object],
    read: Callable[[FarmDatabase, datetime], object],
) -> None:
    write(farm)
    assert not read(farm, NOON - timedelta(microseconds=1))
    assert read(farm, NOON)
    assert read(farm, NOON + DAY)


def test_every_answer_is_read_through_the_one_filter() -> None:
    """Each SELECT outside the filter belongs to a write that must see all rows, or to the file."""
    source = Path(database.__file__).read_text()
    reading = source[
        source.index(
            "    # ---------------------------------------------------------------- filter"
        ) :
    ]
    for method in (
        "events",
        "all_events",
        "weather_values",
        "weather_columns",
        "_newest_weather",
        "all_weather_values",
        "latest_forecast",
        "forecasts",
        "forecasts_since",
        "latest_list",
        "farm_text",
    ):
        start = reading.index(f"    def {method}(")
        body = reading[start : reading.find("\n    def ", start + 1)]
        assert "execute(" not in body, method


# ---------------------------------------------------------------- entries


def test_entries_come_in_order_of_happening(farm: FarmDatabase) -> None:
    late = entry("late", at=NOON - HOUR, recorded_at=NOON)
    early = entry("early", at=NOON - DAY, recorded_at=NOON + DAY)
    assert farm.add_events([late, early]) == 2
    assert [event.event_id for event in farm.events(EVER)] == ["early", "late"]
    assert [event.event_id for event in farm.all_events(EVER)] == ["late", "early"]


def test_a_correction_takes_the_place_of_an_entry(farm: FarmDatabase) -> None:
    farm.add_events([entry("a")])
    farm.add_events([entry("b", at=NOON, recorded_at=NOON + DAY, supersedes="a", note="B5 really")])
    assert [event.event_id for event in farm.events(NOON)] == ["a"]
    assert [event.event_id for event in farm.events(NOON + DAY)] == ["b"]


def test_undoing_a_correction_brings_back_the_entry(farm: FarmDatabase) -> None:
    farm.add_events(
        [
            entry("a"),
            entry("b", at=NOON + HOUR, supersedes="a"),
            entry("u", "undo", at=NOON + 2 * HOUR, supersedes="b"),
            entry("c", at=NOON + 3 * HOUR, supersedes="a"),
            entry("v", "undo", at=NOON + 4 * HOUR, supersedes="c"),
            entry("w", "undo", at=NOON + 5 * HOUR, supersedes="a"),
        ]
    )
    standing = [[event.event_id for event in farm.events(NOON + hour * HOUR)] for hour in range(6)]
    assert standing == [["a"], ["b"], ["a"], ["c"], ["a"], []]


def test_a_late_entry_may_not_break_what_was_recorded_after_it(farm: FarmDatabase) -> None:
    farm.add_events([entry("a"), entry("u", "undo", at=NOON + 2 * HOUR, supersedes="a")])
    with pytest.raises(JournalError, match=r"entry u \(undo\): supersedes 'a', which no longer"):
        farm.add_events([entry("b", at=NOON + HOUR, supersedes="a")])
    assert len(farm.all_events(EVER)) == 2


def test_adding_again_adds_nothing(farm: FarmDatabase) -> None:
    assert farm.add_events([entry("a"), entry("a")]) == 1
    assert farm.add_events([entry("a", recorded_at=NOON + DAY)]) == 0
    assert farm.all_events(EVER) == (entry("a"),)


def test_all_of_a_batch_or_none(farm: FarmDatabase) -> None:
    with pytest.raises(JournalError, match="supersedes 'nobody'"):
        farm.add_events([entry("a"), entry("b", supersedes="nobody")])
    assert farm.all_events(EVER) == ()


def test_blanks_are_trimmed_and_numbers_typed(farm: FarmDatabase) -> None:
    data = {"crop": " carrot ", "n_rows": 3.0, "depth_mm": 15}
    farm.add_events([entry("a", "sow", bed=" B4 ", part="", note=" dry ", data=data)])
    (held,) = farm.events(EVER)
    assert (held.bed, held.part, held.note) == ("B4", None, "dry")
    assert held.data == {"crop": "carrot", "n_rows": 3, "depth_mm": 15.0}
    assert isinstance(held.data["n_rows"], int)


def test_moments_of_any_zone_are_kept_in_utc(farm: FarmDatabase) -> None:
    east = datetime.fromisoformat("2013-05-08T08:00:00-04:00")
    data = {
        "rain_mm": 3,
        "start_at": "2013-05-07T08:00:00-04:00",
        "end_at": "2013-05-08T08:00:00-04:00",
    }
    farm.add_events([entry("a", "rain", at=east, bed=None, data=data)])
    (held,) = farm.events(EVER)
    assert held.happened_at.isoformat() == "2013-05-08T12:00:00+00:00"
    assert held.data["start_at"] == "2013-05-07T12:00:00+00:00"


def test_ids_follow_what_is_said() -> None:
    said = new_event_id("up", NOON, bed="B4")
    assert said == new_event_id("up", NOON.astimezone(), bed="B4")
    others = [
        new_event_id("rooted", NOON, bed="B4"),
        new_event_id("up", NOON + HOUR, bed="B4"),
        new_event_id("up", NOON, bed="B5"),
        new_event_id("up", NOON, bed="B4", part="a"),
        new_event_id("up", NOON, bed="B4", note="x"),
        new_event_id("up", NOON, bed="B4", nth=1),
        new_event_id("up", NOON, bed="B4", recorded_at=NOON),
        new_event_id("up", NOON, bed="B4", supersedes="x"),
        new_event_id("up", NOON, bed="B4", data={"x": 1}),
    ]
    assert len({said, *others}) == 10


# ---------------------------------------------------------------- weather


def test_newest_revision_known_wins(farm: FarmDatabase) -> None:
    farm.add_weather_values([value(1.0), value(2.0, known_at=NOON + DAY)])
    farm.add_weather_values([value(9.0, source="gauge", kind=Kind.OWN_GAUGE)])
    read = {
        at: [(held.source, held.value) for held in farm.weather_values(at, NOON - DAY, NOON)]
        for at in (NOON, NOON + DAY)
    }
    assert read[NOON] == [("gauge", 9.0), ("station", 1.0)]
    assert read[NOON + DAY] == [("gauge", 9.0), ("station", 2.0)]


def test_unchanged_values_add_nothing(farm: FarmDatabase) -> None:
    assert farm.add_weather_values([value(1.0), value(1.0)]) == 1
    assert farm.add_weather_values([value(1.0, known_at=NOON + DAY)]) == 0
    assert farm.add_weather_values([value(2.0, known_at=NOON + 2 * DAY)]) == 1
    assert farm.add_weather_values([value(1.0, known_at=NOON + 3 * DAY)]) == 1
    assert farm.add_weather_values([value(1.0, known_at=NOON - DAY)]) == 1
    suspect = value(1.0, known_at=NOON + 4 * DAY, suspect="stuck gauge")
    assert farm.add_weather_values([suspect]) == 1
    assert farm.weather_values(EVER, NOON - DAY, NOON) == [suspect]
    assert len(farm.all_weather_values(EVER)) == 5


def test_values_that_touch_the_span(farm: FarmDatabase) -> None:
    long_ago = value(5.0, start_at=NOON - 31 * DAY, end_at=NOON)
    before = value(1.0, start_at=NOON - HOUR, end_at=NOON)
    inside = value(2.0, start_at=NOON, end_at=NOON + HOUR)
    after = value(3.0, start_at=NOON + HOUR, end_at=NOON + 2 * HOUR)
    farm.add_weather_values([long_ago, before, inside, after])
    assert farm.weather_values(EVER, NOON, NOON + HOUR) == [inside]
    assert farm.weather_values(EVER, NOON - HOUR, NOON) == [long_ago, before]
    assert farm.weather_values(EVER, NOON - timedelta(seconds=1), NOON + 2 * HOUR) == [
        long_ago,
        before,
        inside,
        after,
    ]


def test_columns_hold_the_same_values(farm: FarmDatabase) -> None:
    made = [
        value(
            float(hour),
            variable=variable,
            start_at=NOON + hour * HOUR,
            end_at=NOON + (hour + 1) * HOUR,
            source=source,
            suspect="odd" if hour == 3 else "",
            kind=kind,
        )
        for hour in range(6)
        for variable in HOURLY_VARIABLES
        for source, kind in (("b", Kind.OBSERVED), ("a", Kind.MODEL))
    ]
    trace = value(0.0, is_trace=True)
    farm.add_weather_values([*made, trace])
    columns = farm.weather_columns(EVER, NOON - DAY, NOON + DAY)
    rows = farm.weather_values(EVER, NOON - DAY, NOON + DAY)
    assert sorted(columns) == sorted(HOURLY_VARIABLES)
    for variable, held in columns.items():
        same = [row for row in rows if row.variable == variable]
        assert_array_equal(held.starts_s, [row.start_at.timestamp() for row in same])
        assert_array_equal(held.ends_s, [row.end_at.timestamp() for row in same])
        assert_array_equal(held.values, [row.value for row in same])
        assert_array_equal(held.kinds, [row.kind for row in same])
        assert_array_equal(held.is_trace, [row.is_trace for row in same])
        assert_array_equal(held.is_suspect, [row.suspect != "" for row in same])
        assert [held.sources[i] for i in held.source_numbers] == [row.source for row in same]
    assert columns["rain_mm"].is_trace.sum() == 1
    assert columns["rain_mm"].is_suspect.sum() == 2


# -------------------------------------------------------------- forecasts


def test_the_forecast_issued_last_is_the_latest(farm: FarmDatabase) -> None:
    older = forecast(1.0, NOON - DAY, known_at=NOON + DAY)
    newer = forecast(2.0, NOON)
    assert farm.add_forecast(newer)
    assert farm.add_forecast(older)
    latest = farm.latest_forecast(EVER)
    assert latest is not None
    assert latest.issued_at == NOON
    assert_array_equal(latest.values["rain_mm"], [2.0, np.nan, 0.1])
    assert [held.issued_at for held in farm.forecasts(EVER)] == [NOON - DAY, NOON]
    assert [held.issued_at for held in farm.forecasts(NOON)] == [NOON]
    assert [held.issued_at for held in farm.forecasts_since(EVER, NOON)] == [NOON]
    assert len(farm.forecasts_since(EVER, NOON - DAY)) == 2


def test_the_range_of_a_forecast_is_kept_with_it(farm: FarmDatabase) -> None:
    given = forecast(2.0)
    ends = {
        "rain_low_mm": np.array([0.5, np.nan, 0.0]),
        "rain_high_mm": np.array([9.0, np.nan, 1.0]),
    }
    farm.add_forecast(replace(given, values={**given.values, **ends}))
    found = farm.latest_forecast(NOON)
    assert found is not None
    for name, row in ends.items():
        assert np.array_equal(found.values[name], row, equal_nan=True)


def test_the_same_forecast_adds_nothing(farm: FarmDatabase) -> None:
    assert farm.add_forecast(forecast(1.0))
    assert not farm.add_forecast(forecast(1.0))
    assert not farm.add_forecast(forecast(1.0, known_at=NOON + DAY))
    assert farm.add_forecast(forecast(2.0, known_at=NOON + DAY, note="revised"))
    latest = farm.latest_forecast(EVER)
    assert latest is not None
    assert latest.note == "revised"
    assert len(farm.forecasts(EVER)) == 2


# -------------------------------------------------------- lists and farms


def test_lists_are_numbered(farm: FarmDatabase) -> None:
    first = farm.write_list(NOON, NOON, {"beds": [1]})
    second = farm.write_list(NOON, NOON + HOUR, {"beds": [1, {"rank": 2}]})
    assert second == first + 1
    assert farm.latest_list(NOON) == {"beds": [1]}
    assert farm.latest_list(EVER) == {"beds": [1, {"rank": 2}]}


def test_a_farm_version_is_kept_when_the_text_changes(farm: FarmDatabase) -> None:
    assert farm.write_farm_version("a", NOON)
    assert not farm.write_farm_version("a", NOON + HOUR)
    assert farm.write_farm_version("b", NOON + 2 * HOUR)
    assert farm.write_farm_version("a", NOON + 3 * HOUR)
    texts = [farm.farm_text(NOON + hour * HOUR) for hour in range(-1, 4)]
    assert texts == [None, "a", "a", "b", "a"]


# ------------------------------------------------------------ two writers


def test_two_programs_write_in_turn(tmp_path: Path) -> None:
    with (
        open_farm_database(tmp_path, create=True) as one,
        open_farm_database(tmp_path) as other,
    ):
        one.add_events([entry("a")])
        other.add_events([replace(entry("b"), bed="B5")])
        assert one.events(EVER) == other.events(EVER)
        assert len(one.events(EVER)) == 2
