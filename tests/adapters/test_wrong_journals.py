"""Wrong entries, tables and databases: the exact message of each, and the folder unchanged."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.adapters.journal import (
    database,
    export_csv,
    import_csv,
    open_farm_database,
    read_drop_folder,
)
from scheduler.errors import JournalError
from scheduler.records import Event, Forecast, Kind, WeatherValue

NOON = datetime(2013, 5, 8, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def folder_content(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, byte for byte."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    farm = tmp_path / "farm"
    farm.mkdir()
    with open_farm_database(farm, create=True) as opened:
        opened.add_events(
            [
                Event("first", "up", NOON - HOUR, NOON - HOUR, "B4"),
                Event("gone", "up", NOON - HOUR, NOON - HOUR, "B5"),
                Event("undone", "undo", NOON - HOUR, NOON - HOUR, supersedes="gone"),
            ]
        )
        opened.add_weather_values([weather(1.0)])
        opened.add_forecast(forecast())
    return farm


def entry(kind: str = "up", **rest: Any) -> Event:
    bed = None if kind in ("rain", "temp", "undo") else "B4"
    given = {"happened_at": NOON, "recorded_at": NOON, "bed": bed, **rest}
    return Event("e1", kind, **given)


def rained(rain_mm: object, **rest: object) -> dict[str, object]:
    span = {"start_at": "2013-05-07T07:00:00+00:00", "end_at": "2013-05-08T07:00:00+00:00"}
    return {"rain_mm": rain_mm, **span, **rest}


def weather(value: float, **rest: Any) -> WeatherValue:
    given = {
        "variable": "rain_mm",
        "start_at": NOON - 2 * HOUR,
        "end_at": NOON - HOUR,
        "kind": Kind.OBSERVED,
        "source": "station",
        "known_at": NOON,
        **rest,
    }
    return WeatherValue(value=value, **given)


def forecast(**rest: Any) -> Forecast:
    given = {"source": "model", "issued_at": NOON, "known_at": NOON, "start_at": NOON, **rest}
    return Forecast(values={"rain_mm": [0.0]}, **given)  # type: ignore[dict-item]


ENTRIES: list[tuple[Event, str]] = [
    (entry("pss"), "entry e1: there is no kind 'pss'; did you mean 'pass'?"),
    (entry(bed=None), "entry e1 (up): names no bed; say which bed"),
    (
        entry(recorded_at=NOON - HOUR),
        "entry e1 (up): happened at 2013-05-08T12:00:00+00:00, after it was recorded at "
        "2013-05-08T11:00:00+00:00; log it once it has happened",
    ),
    (
        entry(happened_at=NOON.replace(tzinfo=None)),
        "the moment 2013-05-08T12:00:00 has no time zone; give it one, for example +00:00",
    ),
    (
        entry(note="two\nlines"),
        "entry e1 (up): note 'two\\nlines' holds a line break or another unprintable sign; "
        "write it as one line",
    ),
    (
        entry("rain", bed="B4", data=rained(3)),
        "entry e1 (rain): names bed 'B4', but is of the whole farm; leave the bed away",
    ),
    (
        entry("rain", data=rained(-3)),
        "entry e1 (rain): rain_mm is -3; allowed: 0 to 500 mm",
    ),
    (
        entry("rain", data=rained(float("nan"))),
        "entry e1 (rain): rain_mm is nan; allowed: 0 to 500 mm",
    ),
    (
        entry("rain", data=rained(3, is_trace=True)),
        "entry e1 (rain): is a trace and 3 mm; a trace has rain_mm 0",
    ),
    (
        entry("rain", data=rained(3, end_at="2013-05-07T07:00:00+00:00")),
        "entry e1 (rain): runs from 2013-05-07T07:00:00+00:00 to 2013-05-07T07:00:00+00:00; the "
        "end must be after the start and at most 31 days later",
    ),
    (
        entry("rain", data=rained(3, end_at="2013-05-08T13:00:00+00:00")),
        "entry e1 (rain): runs until 2013-05-08T13:00:00+00:00, after it was recorded at "
        "2013-05-08T12:00:00+00:00; end it when it was read",
    ),
    (
        entry("rain", data=rained(3, start_at="yesterday")),
        "entry e1 (rain): start_at is 'yesterday'; write a moment with offset, like "
        "2013-05-08T07:00:00+00:00",
    ),
    (
        entry("rain", data={"rain_mm": 3}),
        "entry e1 (rain): lacks start_at; fill it",
    ),
    (
        entry("temp", data={"start_at": "2013-05-07T07:00Z", "end_at": "2013-05-08T07:00Z"}),
        "entry e1 (temp): says nothing; give one of air_temp_min_c, air_temp_max_c",
    ),
    (
        entry("sow", data={"crop": "carrot", "n_rows": 2.5}),
        "entry e1 (sow): n_rows is 2.5; allowed: 1 to 60, a whole number",
    ),
    (
        entry("sow", data={"crop": "carrot", "row_spacing": 300}),
        "entry e1 (sow): has no place for 'row_spacing'; did you mean 'row_spacing_mm'?",
    ),
    (
        entry("sow", data={"crop": " "}),
        "entry e1 (sow): crop is blank; fill it or leave it away",
    ),
    (
        entry("sow", data={"crop": "carrot", "from_m": 3}),
        "entry e1 (sow): has one of from_m and to_m; give both or neither",
    ),
    (
        entry("sow", data={"crop": "carrot", "from_m": 9, "to_m": 3}),
        "entry e1 (sow): runs from 9 m to 3 m; to_m must be beyond from_m",
    ),
    (
        entry("pass", data={"tool": "tine", "worked": "yes"}),
        "entry e1 (pass): worked is 'yes'; allowed: true, false",
    ),
    (
        entry("look", data={"thread": True}),
        "entry e1 (look): thread is True; allowed: 0 to 50000 per m2",
    ),
    (
        entry("pass", data={"tool": "tine", "how": "badly"}),
        "entry e1 (pass): how is 'badly'; allowed: well, fair, poorly",
    ),
    (
        entry("pass", data={"tool": "tine", "worked": False, "how": "well"}),
        "entry e1 (pass): says not worked and worked well; give one of the two",
    ),
    (
        entry("feel", data={"feel": "odd"}),
        "entry e1 (feel): feel is 'odd'; allowed: wet, smears, crumbles, dry, hard",
    ),
    (
        entry(data={"feel": "wet"}),
        "entry e1 (up): has no place for 'feel'; this kind carries none",
    ),
    (
        entry("undo"),
        "entry e1 (undo): does not say which entry it undoes; fill supersedes",
    ),
    (
        entry("undo", supersedes="nobody"),
        "entry e1 (undo): supersedes 'nobody', which is not among the entries recorded before it; "
        "check the id",
    ),
    (
        entry(supersedes="gone"),
        "entry e1 (up): supersedes 'gone', which no longer stands; supersede the entry that took "
        "its place",
    ),
    (
        entry("undo", supersedes="undone"),
        "entry e1 (undo): supersedes 'undone', which is an undo; log the entry again instead",
    ),
    (
        Event("first", "rooted", NOON, NOON, "B4"),
        "entry first (rooted): the id is taken by another entry (up, 2013-05-08T11:00:00+00:00); "
        "to correct that one, add an entry with a new id that supersedes it",
    ),
    (
        Event("", "up", NOON, NOON, "B4"),
        "entry of kind up at 2013-05-08T12:00:00+00:00: has no id; give it one that no other entry "
        "has",
    ),
]


@pytest.mark.parametrize(("wrong", "message"), ENTRIES)
def test_wrong_entries(folder: Path, wrong: Event, message: str) -> None:
    before = folder_content(folder)
    with open_farm_database(folder) as farm, pytest.raises(JournalError) as raised:
        farm.add_events([Event("fine", "rooted", NOON, NOON, "B9"), wrong])
    assert str(raised.value) == message
    assert folder_content(folder) == before


VALUES: list[tuple[WeatherValue, str]] = [
    (
        weather(1.0, variable="rain"),
        "there is no weather variable 'rain'; did you mean 'rain_mm'?",
    ),
    (
        weather(1.0, end_at=NOON - 2 * HOUR),
        "rain_mm of station from 2013-05-08T10:00:00+00:00 to 2013-05-08T10:00:00+00:00: the end "
        "must be after the start and at most 31 days later",
    ),
    (
        weather(float("nan")),
        "rain_mm of station from 2013-05-08T10:00:00+00:00 to 2013-05-08T11:00:00+00:00: is nan; "
        "leave a missing value out",
    ),
    (
        weather(-0.2),
        "rain_mm of station from 2013-05-08T10:00:00+00:00 to 2013-05-08T11:00:00+00:00: is -0.2; "
        "allowed: 0 or more, or mark it suspect",
    ),
    (
        weather(0.2, is_trace=True),
        "rain_mm of station from 2013-05-08T10:00:00+00:00 to 2013-05-08T11:00:00+00:00: is a "
        "trace and 0.2; a trace is rain_mm 0",
    ),
    (
        weather(0.2, kind=Kind.MISSING),
        "rain_mm of station from 2013-05-08T10:00:00+00:00 to 2013-05-08T11:00:00+00:00: has the "
        "kind missing; leave a missing value out",
    ),
    (
        weather(0.2, source=""),
        "rain_mm of no source from 2013-05-08T10:00:00+00:00 to 2013-05-08T11:00:00+00:00: source "
        "is ''; write it as one line of text",
    ),
    (
        weather(2.0),
        "rain_mm of station from 2013-05-08T10:00:00+00:00 to 2013-05-08T11:00:00+00:00: is 2 and "
        "1, both known at 2013-05-08T12:00:00+00:00; keep one of the two",
    ),
]


@pytest.mark.parametrize(("wrong", "message"), VALUES)
def test_wrong_weather_values(folder: Path, wrong: WeatherValue, message: str) -> None:
    before = folder_content(folder)
    fine = weather(3.0, source="other")
    with open_farm_database(folder) as farm, pytest.raises(JournalError) as raised:
        farm.add_weather_values([fine, wrong])
    assert str(raised.value) == message
    assert folder_content(folder) == before


def test_two_values_of_one_batch_that_differ(folder: Path) -> None:
    before = folder_content(folder)
    with open_farm_database(folder) as farm, pytest.raises(JournalError) as raised:
        farm.add_weather_values([weather(3.0, source="b"), weather(4.0, source="b")])
    assert str(raised.value) == (
        "rain_mm of b from 2013-05-08T10:00:00+00:00 to 2013-05-08T11:00:00+00:00: is 4 and 3, "
        "both known at 2013-05-08T12:00:00+00:00; keep one of the two"
    )
    assert folder_content(folder) == before


FORECASTS: list[tuple[Forecast, str]] = [
    (
        forecast(note="other"),
        "forecast of model issued at 2013-05-08T12:00:00+00:00: two of them differ, both known at "
        "2013-05-08T12:00:00+00:00; keep one of the two",
    ),
    (
        forecast(known_at=NOON - HOUR),
        "forecast of model issued at 2013-05-08T12:00:00+00:00: was known at "
        "2013-05-08T11:00:00+00:00, before it was issued; check the moments",
    ),
    (
        forecast(source=" "),
        "forecast of no source issued at 2013-05-08T12:00:00+00:00: names no source; say where it "
        "comes from",
    ),
    (
        Forecast("model", NOON, NOON, NOON, {"rain": [0.0]}),  # type: ignore[dict-item]
        "forecast of model: rain must be one of rain_mm, air_temp_c, humidity_frac, wind_2m_m_s, "
        "solar_mj_m2, air_temp_min_c, air_temp_max_c, rain_low_mm, rain_high_mm, as one row of "
        "finite numbers",
    ),
]


@pytest.mark.parametrize(("wrong", "message"), FORECASTS)
def test_wrong_forecasts(folder: Path, wrong: Forecast, message: str) -> None:
    before = folder_content(folder)
    with open_farm_database(folder) as farm, pytest.raises(JournalError) as raised:
        farm.add_forecast(wrong)
    assert str(raised.value) == message
    assert folder_content(folder) == before


HEAD = "kind,happened_at,bed,note\nup,2013-05-06,B4,\n"
TABLES: list[tuple[str | bytes, str]] = [
    ("", "t.csv: is empty; its first line must name the columns"),
    (" \n,,\n", "t.csv: is empty; its first line must name the columns"),
    (
        "kind,hapened_at\n",
        "t.csv line 1: there is no column 'hapened_at' in a table of events; "
        "did you mean 'happened_at'?",
    ),
    ("kind,bed,kind,happened_at\n", "t.csv line 1: names the column 'kind' 2 times; keep one"),
    (
        "\nkind,bed\nup,B4\n",
        "t.csv line 2: lacks the column 'happened_at'; a table of events needs kind, happened_at",
    ),
    (
        "variable,value\n",
        "t.csv line 1: lacks the column 'start_at'; a table of weather needs variable, start_at, "
        "end_at, value, kind, source",
    ),
    (HEAD + "up,,B4,\n", "t.csv line 3: happened_at is blank; fill it"),
    (HEAD + "upp,2013-05-06,B4,\n", "t.csv line 3: there is no kind 'upp'; did you mean 'up'?"),
    (
        HEAD + "up,6 May,B4,\n",
        "t.csv line 3: '6 May' is no moment; write it like 2013-05-08, 2013-05-08 07:00 or "
        "2013-05-08T07:00:00+00:00",
    ),
    (
        HEAD + "up,2013-05-06 24:30,B4,\n",
        "t.csv line 3: '24:30' is no time of day; write it like 07:00, from 00:00 to 23:59",
    ),
    (
        HEAD + "up,2013-05-06 12:00+99:00,B4,\n",
        "t.csv line 3: '2013-05-06 12:00+99:00' has an offset outside -23:59 to +23:59; write it "
        "like +00:00",
    ),
    (
        HEAD + "up,2013-05-06,B4\n",
        "t.csv line 3: has 3 cells, the header has 4; put a text with a comma or semicolon in "
        "double quotes, fill up a short row",
    ),
    (
        HEAD + "up,2013-05-06,B4,wet, cold\nup,2013-05-06,B4,a,b\n",
        "t.csv line 3: has 5 cells, the header has 4; put a text with a comma or semicolon in "
        "double quotes, fill up a short row (and 1 more fault in this file)",
    ),
    (
        HEAD + 'up,2013-05-06,B4,"open\n',
        "t.csv line 3: cannot be parted into cells (unexpected end of data); "
        "check its double quotes",
    ),
    (
        HEAD + 'up,2013-05-06,B4,"two\nlines"\n',
        "t.csv line 3: entry of kind up: note 'two\\nlines' holds a line break or another "
        "unprintable sign; write it as one line",
    ),
    (
        HEAD.encode() + "up,2013-05-06,B4,schön\n".encode("cp1252"),
        "t.csv line 3: is not UTF-8 text; save the file as CSV UTF-8",
    ),
    (
        "kind,happened_at,bed,water_mm\nwater,2013-05-06,B4,12 mm\n",
        "t.csv line 2: water_mm is '12 mm'; write a plain number with a decimal point, "
        "without a unit",
    ),
    (
        'kind,happened_at,bed,water_mm\nwater,2013-05-06,B4,"1,5"\n',
        "t.csv line 2: water_mm is '1,5'; write a plain number with a decimal point, without a "
        "unit",
    ),
    (
        "kind;happened_at;bed;water_mm\nwater;2013-05-06;B4;1.234,5\n",
        "t.csv line 2: water_mm is '1.234,5'; write a plain number with a decimal point or comma, "
        "without a unit",
    ),
    (
        "kind,happened_at,bed,water_mm\nwater,2013-05-06,B4,nan\n",
        "t.csv line 2: water_mm is 'nan'; write a plain number with a decimal point, without a "
        "unit",
    ),
    (
        "kind,happened_at,rain_mm,start_at,end_at\nrain,2013-05-06,1,2013-05-05,\n",
        "t.csv line 2: start_at is '2013-05-05'; add the hour, like 2013-05-05 07:00",
    ),
    (
        "kind,happened_at,rain_mm,is_trace\nrain,2013-05-06,0,perhaps\n",
        "t.csv line 2: is_trace is 'perhaps'; allowed: true, false",
    ),
    (
        "kind,happened_at,bed\nup,2013-05-09,B4\n",
        "t.csv line 2: entry of kind up: happened at 2013-05-09T16:00:00+00:00, after it was "
        "recorded at 2013-05-08T12:00:00+00:00; log it once it has happened",
    ),
    (
        "id,kind,happened_at,bed\nfirst,up,2013-05-06,B9\n",
        "entry first (up): the id is taken by another entry (up, 2013-05-08T11:00:00+00:00); to "
        "correct that one, add an entry with a new id that supersedes it",
    ),
    (
        "id,kind,happened_at,supersedes\nx,undo,2013-05-06,nobody\n",
        "entry x (undo): supersedes 'nobody', which is not among the entries recorded before it; "
        "check the id",
    ),
    (
        "variable,start_at,end_at,value,kind,source\n"
        "rain_mm,2013-05-06 10:00,2013-05-06 11:00,1,guess,s\n",
        "t.csv line 2: kind is 'guess'; allowed: climate, forecast, model, observed, own_gauge",
    ),
    (
        "variable,start_at,end_at,value,kind,source\n"
        "rain_mm,2013-05-06 10:00,2013-05-06 11:00,,observed,s\n",
        "t.csv line 2: value is blank; fill it, or leave a missing value out",
    ),
    (
        "variable,start_at,end_at,value,kind,source\n"
        "rain_mm,2013-05-06 10:00,2013-05-06 09:00,1,observed,s\n",
        "t.csv line 2: rain_mm of s from 2013-05-06T14:00:00+00:00 to 2013-05-06T13:00:00+00:00: "
        "the end must be after the start and at most 31 days later",
    ),
]


@pytest.mark.parametrize(("content", "message"), TABLES)
def test_wrong_tables(folder: Path, content: str | bytes, message: str) -> None:
    path = folder / "t.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    before = folder_content(folder)
    with pytest.raises(JournalError) as raised:
        import_csv(folder, path, now=NOON, time_zone="America/New_York")
    assert str(raised.value) == message
    assert folder_content(folder) == before


@pytest.mark.parametrize(("content", "message"), TABLES)
def test_wrong_tables_stay_in_the_drop_folder(
    folder: Path, content: str | bytes, message: str
) -> None:
    (folder / "drop").mkdir()
    path = folder / "drop" / "t.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    before = folder_content(folder)
    report = read_drop_folder(folder, NOON, "America/New_York", ["B4", "B9"], (), ())
    assert report.taken == ()
    first = message.partition(" (and ")[0]
    assert report.faults[0] == (first if first.startswith("t.csv") else f"t.csv: {first}")
    assert folder_content(folder) == before


def test_a_table_that_is_not_there(folder: Path) -> None:
    with pytest.raises(JournalError) as raised:
        import_csv(folder, folder / "t.csv", now=NOON, time_zone="America/New_York")
    assert str(raised.value) == (
        "t.csv: cannot be read (No such file or directory); check the name and the rights"
    )


def missing(path: Path) -> None:
    path.unlink()


def empty(path: Path) -> None:
    path.write_bytes(b"")


def text(path: Path) -> None:
    path.write_text("this is no database, though it is long enough to be one " * 40)


def newer(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 7")
    connection.close()


def foreign(path: Path) -> None:
    path.unlink()
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE tunes (name)")
    connection.close()


def halved(path: Path) -> None:
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])


def directory(path: Path) -> None:
    path.unlink()
    path.mkdir()


DATABASES: list[tuple[Callable[[Path], None], str]] = [
    (
        missing,
        "{path}: no such file; name the farm's folder, or make one with `whitethread init`",
    ),
    (
        empty,
        "{path}: is empty, so a copy may have broken off; put back the last good copy, or delete "
        "the file to start an empty journal",
    ),
    (text, "{path}: is not a farm database; put back the last good copy"),
    (newer, "{path}: has version 7, this program knows versions up to 2; update whitethread"),
    (foreign, "{path}: is the database of another program; name the folder of a farm"),
    (halved, "{path}: is damaged; put back the last good copy"),
    (
        directory,
        "{path}: cannot be used (unable to open database file); check the disk and the rights to "
        "the folder",
    ),
]


@pytest.mark.parametrize(("spoil", "message"), DATABASES)
def test_wrong_databases(folder: Path, spoil: Callable[[Path], None], message: str) -> None:
    path = folder / "farm.db"
    spoil(path)
    before = folder_content(folder)
    for act in (
        lambda: open_farm_database(folder).add_events([entry()]),
        lambda: export_csv(folder, folder / "out"),
        lambda: read_drop_folder(folder, NOON, "America/New_York", (), (), ()),
    ):
        with pytest.raises(JournalError) as raised:
            act()
        assert str(raised.value) == message.format(path=path)
        assert folder_content(folder) == before


def test_no_folder_to_create_it_in(tmp_path: Path) -> None:
    with pytest.raises(JournalError) as raised:
        open_farm_database(tmp_path / "nowhere", create=True)
    assert str(raised.value) == f"{tmp_path / 'nowhere'}: no such folder; make it first"
    assert list(tmp_path.iterdir()) == []


def test_another_program_writes(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "BUSY_TIMEOUT_MS", 20)
    with open_farm_database(folder) as farm, open_farm_database(folder) as other:
        other._connection.execute("BEGIN IMMEDIATE")
        with pytest.raises(JournalError) as raised:
            farm.add_events([entry()])
        other._connection.execute("ROLLBACK")
    assert str(raised.value) == (
        f"{folder / 'farm.db'}: another program is writing to it; close that or try again"
    )


def test_every_message_is_one_line() -> None:
    tables = (ENTRIES, VALUES, FORECASTS, TABLES, DATABASES)
    messages = [message for table in tables for _, message in table]
    assert len(messages) >= 25
    assert all("\n" not in message for message in messages)
