"""The drop folder: taken whole, or left with its faults named."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.adapters.journal import (
    DropReport,
    Imported,
    TakenFile,
    export_csv,
    open_farm_database,
    read_drop_folder,
)
from scheduler.records import Event

NOW = datetime(2013, 5, 8, 12, 30, tzinfo=UTC)
EVER = datetime(2100, 1, 1, tzinfo=UTC)


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    (tmp_path / "drop").mkdir()
    open_farm_database(tmp_path, create=True).close()
    return tmp_path


def drop(farm: Path, name: str, text: str, written_at: datetime = NOW) -> Path:
    path = farm / "drop" / name
    path.write_text(text)
    os.utime(path, (written_at.timestamp(), written_at.timestamp()))
    return path


def read(farm: Path, now: datetime = NOW) -> DropReport:
    return read_drop_folder(farm, now, "America/New_York", ["B4", "B5"], ["tine"], ["carrot"])


def entries(farm: Path) -> tuple[Event, ...]:
    with open_farm_database(farm) as database:
        return database.all_events(EVER)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_notes_and_tables_are_taken(farm: Path) -> None:
    notes = "\ufeffrain 18 mm last night\r\n\r\n# phone\r\npass B4 tine\r\nsow B4 carrot 3 rows"
    drop(farm, "notes.txt", notes)
    drop(farm, "Table.CSV", "kind,happened_at,bed\nup,2013-05-07,B4\n")
    report = read(farm)
    assert report.faults == ()
    assert report.taken == (
        TakenFile("Table.CSV", Imported("events", 1, 0)),
        TakenFile("notes.txt", Imported("events", 3, 0)),
    )
    assert [event.kind for event in entries(farm)] == ["up", "rain", "pass", "sow"]
    assert {event.recorded_at for event in entries(farm)} == {NOW}
    assert names(farm / "drop") == ["taken"]
    assert names(farm / "drop" / "taken") == ["Table.CSV", "notes.txt"]


def test_a_faulty_file_stays_whole_and_the_others_are_taken(farm: Path) -> None:
    drop(farm, "a.txt", "up B4\nrain 18\nup B9\n")
    drop(farm, "b.csv", "kind,happened_at,bed\nup,2013-05-07,B4\nup,2013-05-33,B4\n")
    drop(farm, "c.txt", "up B5\n")
    report = read(farm)
    assert [taken.name for taken in report.taken] == ["c.txt"]
    assert report.faults == (
        "a.txt line 2: cannot read '18' in a note of rain; allowed here: trace, none, 18 mm, a "
        "moment such as last night, 10:30, 8 May or 2013-05-08 10:30, # and a remark",
        "a.txt line 3: there is no bed 'B9'; allowed: B4, B5",
        "b.csv line 3: '2013-05-33' is no day of the calendar; write it like 2013-05-08",
    )
    assert [event.bed for event in entries(farm)] == ["B5"]
    assert names(farm / "drop") == ["a.txt", "b.csv", "taken"]
    drop(farm, "a.txt", "up B4\n")
    assert [taken.name for taken in read(farm).taken] == ["a.txt"]


def test_a_file_that_comes_again_adds_nothing(farm: Path) -> None:
    text = "pass B4 tine\nwater B4 5 mm\nwater B4 5 mm\n"
    drop(farm, "notes.txt", text, NOW - timedelta(hours=14))
    assert read(farm).taken[0].imported == Imported("events", 3, 0)
    drop(farm, "notes.txt", text, NOW - timedelta(hours=14))
    report = read(farm, NOW + timedelta(hours=1))
    assert report.taken[0].imported == Imported("events", 0, 3)
    assert names(farm / "drop" / "taken") == ["notes-2.txt", "notes.txt"]


def test_words_count_from_when_the_note_was_written(farm: Path) -> None:
    drop(farm, "evening.txt", "pass B4 tine\nrain 18 mm last night\n", NOW - timedelta(hours=14))
    read(farm)
    tined, rain = entries(farm)
    assert tined.happened_at == NOW - timedelta(hours=14)
    assert tined.recorded_at == NOW
    assert rain.data["end_at"] == "2013-05-07T11:00:00+00:00"  # the night before that evening


def test_an_old_file_must_say_its_dates(farm: Path) -> None:
    drop(farm, "old.txt", "up B4\n", NOW - timedelta(days=4))
    assert read(farm).faults == (
        "old.txt line 1: says no date and was written days ago; write the day into the note, "
        "like 2013-05-08",
    )
    drop(farm, "old.txt", "up B4 2013-05-04\n", NOW - timedelta(days=4))
    assert read(farm).faults == ()


def test_what_a_table_says_becomes_known_when_it_is_read(farm: Path) -> None:
    table = "kind,happened_at,recorded_at,bed\nup,2013-05-01,2013-05-01 18:00,B4\n"
    drop(farm, "table.csv", table)
    read(farm)
    with open_farm_database(farm) as database:
        assert database.events(NOW - timedelta(seconds=1)) == ()
        assert len(database.events(NOW)) == 1


def test_an_export_with_rows_added_gives_the_new_rows(farm: Path) -> None:
    drop(farm, "notes.txt", "up B4\n")
    read(farm)
    path, _ = export_csv(farm, farm / "out")
    header, row = path.read_text().splitlines()
    new_row = ",rooted,2013-05-08 08:00,,B5" + "," * (header.count(",") - 4)
    drop(farm, "events.csv", "\n".join([header, row, new_row]) + "\n")
    report = read(farm, NOW + timedelta(days=1))
    assert report == DropReport((TakenFile("events.csv", Imported("events", 1, 1)),), ())
    assert [event.recorded_at for event in entries(farm)] == [NOW, NOW + timedelta(days=1)]


def test_weather_tables_are_taken(farm: Path) -> None:
    table = (
        "variable,start_at,end_at,value,kind,source,known_at\n"
        "rain_mm,2013-05-06 14:00,2013-05-06 15:00,2,own_gauge,shed,2013-05-06 15:00\n"
    )
    drop(farm, "weather.csv", table)
    assert read(farm).taken == (TakenFile("weather.csv", Imported("weather", 1, 0)),)
    with open_farm_database(farm) as database:
        (value,) = database.all_weather_values(EVER)
    assert value.known_at == NOW


def test_what_a_sync_hides_is_left_alone(farm: Path) -> None:
    for name in (".notes.txt", "~notes.txt", "notes.txt.part", "notes.md"):
        drop(farm, name, "up B4\n")
    assert read(farm) == DropReport()
    assert entries(farm) == ()
    assert len(names(farm / "drop")) == 4


def test_no_drop_folder_is_an_empty_one(farm: Path) -> None:
    (farm / "drop").rmdir()
    assert read(farm) == DropReport()
    assert names(farm) == ["farm.db"]


def test_a_file_that_cannot_be_moved_is_named_and_counted_once(farm: Path) -> None:
    drop(farm, "notes.txt", "up B4\n")
    (farm / "drop" / "taken").write_text("not a folder")
    for n_added in (1, 0):
        report = read(farm)
        assert report.taken[0].imported.n_added == n_added
        assert report.faults == (
            "notes.txt: was taken but cannot be moved to drop/taken (File exists); move it by hand",
        )
    assert len(entries(farm)) == 1
