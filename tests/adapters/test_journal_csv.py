"""CSV out and in, as spreadsheets leave it."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.adapters.journal import export_csv, import_csv, open_farm_database
from scheduler.adapters.journal.spreadsheets import EVENT_COLUMNS, WEATHER_COLUMNS, Imported
from scheduler.errors import JournalError
from scheduler.records import Event, Kind, WeatherValue

NOW = datetime(2013, 5, 8, 12, tzinfo=UTC)
EVER = datetime(2100, 1, 1, tzinfo=UTC)
ZONE = "America/New_York"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    farm = tmp_path / "farm"
    farm.mkdir()
    open_farm_database(farm, create=True).close()
    return farm


def entries(folder: Path) -> tuple[Event, ...]:
    with open_farm_database(folder) as farm:
        return farm.all_events(EVER)


def read(folder: Path, content: str | bytes, name: str = "table.csv") -> Imported:
    path = folder.parent / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return import_csv(folder, path, now=NOW, time_zone=ZONE)


def test_columns_are_those_of_the_records() -> None:
    assert EVENT_COLUMNS[:8] == (
        "id",
        "kind",
        "happened_at",
        "recorded_at",
        "bed",
        "part",
        "supersedes",
        "note",
    )
    said = Event.__doc__ or ""
    keys = set(EVENT_COLUMNS[8:])
    assert keys == {key for key in keys if key in said}
    assert tuple(WeatherValue.__dataclass_fields__) == WEATHER_COLUMNS


def test_what_is_written(folder: Path, tmp_path: Path) -> None:
    value = WeatherValue(
        "air_temp_c",
        NOW - timedelta(hours=1),
        NOW,
        -2.25,
        Kind.OBSERVED,
        "station",
        NOW,
    )
    with open_farm_database(folder) as farm:
        farm.add_events(
            [Event("a", "water", NOW, NOW, "B4", None, {"water_mm": 12.5}, None, "=1+1")]
        )
        farm.add_weather_values([value])
    events_path, weather_path = export_csv(folder, tmp_path / "out")
    with events_path.open(newline="") as stream:
        header, row = list(csv.reader(stream))
    filled = {name: cell for name, cell in zip(header, row, strict=True) if cell}
    assert filled == {
        "id": "a",
        "kind": "water",
        "happened_at": "2013-05-08T12:00:00+00:00",
        "recorded_at": "2013-05-08T12:00:00+00:00",
        "bed": "B4",
        "water_mm": "12.5",
        "note": "'=1+1",
    }
    assert weather_path.read_text().splitlines()[1] == (
        "air_temp_c,2013-05-08T11:00:00+00:00,2013-05-08T12:00:00+00:00,-2.25,observed,station,"
        "2013-05-08T12:00:00+00:00,,"
    )
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "events.csv",
        "weather.csv",
    ]
    with pytest.raises(JournalError, match="is there already; choose another folder"):
        export_csv(folder, tmp_path / "out")


@pytest.mark.parametrize(
    ("note", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+3 rows", "'+3 rows"),
        ("-", "'-"),
        ("@home", "'@home"),
        ("'=x", "''=x"),
        ("'tis wet", "'tis wet"),
        ("5=5", "5=5"),
    ],
)
def test_no_cell_runs_as_a_formula(folder: Path, tmp_path: Path, note: str, cell: str) -> None:
    entry = Event("a", "up", NOW, NOW, note, note, {}, None, note)
    with open_farm_database(folder) as farm:
        farm.add_events([entry])
    path, _ = export_csv(folder, tmp_path / "out")
    with path.open(newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert (row["bed"], row["part"], row["note"]) == (cell, cell, cell)
    other = tmp_path / "other"
    other.mkdir()
    open_farm_database(other, create=True).close()
    import_csv(other, path, now=NOW, time_zone=ZONE)
    assert entries(other) == (entry,)


def test_a_table_of_ones_own(folder: Path) -> None:
    table = (
        "kind,happened_at,bed,tool,depth_mm,rain_mm,note\n"
        "pass,2013-05-06 14:00,B4,tine,15,,\n"
        "rain,2013-05-07,,,,18,\n"
        "rain,2013-05-06 07:00,,,,3.5,read late\n"
        "up,2013-05-05,B4,,,,\n"
    )
    assert read(folder, table) == Imported("events", 4, 0)
    tined, day, reading, up = entries(folder)
    assert tined.happened_at == datetime(2013, 5, 6, 18, tzinfo=UTC)
    assert tined.data == {"tool": "tine", "depth_mm": 15.0}
    assert {event.recorded_at for event in entries(folder)} == {NOW}
    # 7 May in New York, at UTC-4
    assert day.data["start_at"] == "2013-05-07T04:00:00+00:00"
    assert day.data["end_at"] == "2013-05-08T04:00:00+00:00"
    assert reading.data["start_at"] == "2013-05-05T11:00:00+00:00"
    assert reading.data["end_at"] == "2013-05-06T11:00:00+00:00"
    assert up.happened_at == datetime(2013, 5, 5, 16, tzinfo=UTC)


def test_how_a_pass_worked_goes_out_and_comes_in(folder: Path, tmp_path: Path) -> None:
    table = (
        "kind,happened_at,bed,tool,setup,worked,how,note\n"
        "pass,2013-05-06 14:00,B4,sweeps,two rows,yes,fair,one notch closer\n"
        "pass,2013-05-06 15:00,B5,sweeps,,,poorly,\n"
    )
    assert read(folder, table) == Imported("events", 2, 0)
    fair, poorly = entries(folder)
    assert fair.data == {"tool": "sweeps", "setup": "two rows", "worked": True, "how": "fair"}
    assert poorly.data == {"tool": "sweeps", "how": "poorly"}
    events_path, _ = export_csv(folder, tmp_path / "out")
    other = tmp_path / "other"
    other.mkdir()
    open_farm_database(other, create=True).close()
    import_csv(other, events_path, now=NOW, time_zone=ZONE)
    assert entries(other) == (fair, poorly)


def test_reading_again_adds_nothing_and_equal_rows_are_two(folder: Path) -> None:
    table = "kind,happened_at,bed,water_mm\n" + 2 * "water,2013-05-06,B4,5\n"
    assert read(folder, table) == Imported("events", 2, 0)
    path = folder.parent / "table.csv"
    later = NOW + timedelta(days=2)
    again = import_csv(folder, path, now=later, time_zone=ZONE)
    assert again == Imported("events", 0, 2)
    path.write_text(table + "water,2013-05-06,B4,7\n")
    longer = import_csv(folder, path, now=later, time_zone=ZONE)
    assert longer == Imported("events", 1, 2)
    assert [event.recorded_at for event in entries(folder)] == [NOW, NOW, later]


SPREADSHEET = (
    b"\xef\xbb\xbfKind;Happened_at;Bed;Part;Water_mm;Note;;\r\n"
    b";;;;;;;\r\n"
    b'water;2013-05-06 14:00; B4 ;;12,5;"two; three";;\r\n'
    b"\r\n"
    b"WATER;2013-05-07;B4;a;3.25;;;\r\n"
)


@pytest.mark.parametrize(
    "content",
    [
        SPREADSHEET,
        b"\xef\xbb\xbfsep=;\r\n" + SPREADSHEET[3:],
        SPREADSHEET.replace(b"\r\n", b"\n"),
        SPREADSHEET.replace(b"\r\n", b"\r"),
        b"\r\n\r\n" + SPREADSHEET[3:],
        SPREADSHEET.removesuffix(b"\r\n"),
    ],
)
def test_habits_of_spreadsheets(folder: Path, content: bytes) -> None:
    assert read(folder, content) == Imported("events", 2, 0)
    first, second = entries(folder)
    assert (first.bed, first.data["water_mm"], first.note) == ("B4", 12.5, "two; three")
    assert (second.part, second.data["water_mm"]) == ("a", 3.25)


def test_corrections_in_a_table(folder: Path) -> None:
    table = (
        "id,kind,happened_at,bed,supersedes,crop\n"
        "one,sow,2013-05-01,B4,,carrot\n"
        "two,sow,2013-05-01,B5,one,carrot\n"
        "three,sow,2013-05-02,B6,,beet\n"
        "four,undo,2013-05-02,,three,\n"
    )
    assert read(folder, table).n_added == 4
    with open_farm_database(folder) as farm:
        assert [event.event_id for event in farm.events(NOW)] == ["two"]


def test_weather_in_local_time(folder: Path) -> None:
    table = (
        "variable;start_at;end_at;value;kind;source\n"
        "air_temp_c;2013-05-06 14:00;2013-05-06 15:00;-1,5;own_gauge;shed\n"
    )
    assert read(folder, table) == Imported("weather", 1, 0)
    assert read(folder, table) == Imported("weather", 0, 1)
    with open_farm_database(folder) as farm:
        (value,) = farm.weather_values(NOW, NOW - timedelta(days=9), NOW)
    start_at = datetime(2013, 5, 6, 18, tzinfo=UTC)
    assert value == WeatherValue(
        "air_temp_c",
        start_at,
        start_at + timedelta(hours=1),
        -1.5,
        Kind.OWN_GAUGE,
        "shed",
        NOW,
    )


def test_names_are_those_of_the_farm(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text("kind,happened_at,bed,tool\npass,2013-05-06,B4,tin\nup,2013-05-06,B44,\n")
    message = (
        r"mine\.csv line 2: there is no tool 'tin'; did you mean 'tine'\? "
        r"\(and 1 more fault in this file\)"
    )
    with pytest.raises(JournalError, match=message):
        import_csv(folder, path, now=NOW, time_zone=ZONE, beds=["B4"], tools=["tine"], crops=[])
    assert entries(folder) == ()
