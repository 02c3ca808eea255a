"""The mirror: checked, replaced whole, intact after every fault, its age known."""

from __future__ import annotations

import gzip
import os
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.adapters.weather import http, mirror
from scheduler.adapters.weather.http import Fetcher
from scheduler.adapters.weather.mirror import Refreshed, csv_check, refresh, stations_check
from tests.adapters.weather_server import HTML, WeatherServer, faults, weather_server

NOW = datetime(2026, 3, 3, 5, 12, tzinfo=UTC)
DAY = timedelta(days=1)
HEADER = "year,month,day,hour,temp,temp_source,prcp,prcp_source"


def hours_csv(first: datetime, n_hours: int, temp_c: float = 4.0) -> str:
    """A yearly file of hours as the archive writes it."""
    lines = [HEADER]
    for i_hour in range(n_hours):
        t = first + timedelta(hours=i_hour)
        lines.append(f"{t.year},{t.month},{t.day},{t.hour},{temp_c},dwd_hourly,0.0,dwd_hourly")
    return "\n".join(lines) + "\n"


JANUARY = datetime(2026, 1, 1, tzinfo=UTC)
GOOD = gzip.compress(hours_csv(JANUARY, 1200).encode())
NEWER = gzip.compress(hours_csv(JANUARY, 1220).encode())


@pytest.fixture(autouse=True)
def _short_timeouts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(http, "READ_TIMEOUT_S", 0.15)


@pytest.fixture
def server() -> Iterator[WeatherServer]:
    with weather_server(NOW) as running:
        yield running


@pytest.fixture
def fetcher(tmp_path: Path) -> Iterator[Fetcher]:
    with Fetcher(tmp_path / "cache", "g@example.org", sleep=lambda _: None) as one:
        yield one


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "mirror" / "hourly" / "2026" / "X1.csv.gz"


def refreshed(server: WeatherServer, path: Path, fetcher: Fetcher, now: datetime) -> Refreshed:
    check = csv_check(path, has_hours=True, now=now)
    return refresh(f"{server.url}/h.csv.gz", path, fetcher, now, check)


def test_a_file_comes_and_is_confirmed(server: WeatherServer, fetcher: Fetcher, path: Path) -> None:
    server.put("/h.csv.gz", GOOD, modified_at=NOW, expires_in_s=60)
    assert refreshed(server, path, fetcher, NOW) == Refreshed(True, path, timedelta(), "")
    assert path.read_bytes() == GOOD
    again = refreshed(server, path, fetcher, NOW + DAY)
    assert again == Refreshed(False, path, timedelta(), "")
    assert mirror.age_of(path, NOW + 2 * DAY) == DAY
    server.put("/h.csv.gz", NEWER, modified_at=NOW + DAY, expires_in_s=60)
    assert refreshed(server, path, fetcher, NOW + 2 * DAY).is_new
    assert path.read_bytes() == NEWER
    assert [one.name for one in path.parent.iterdir()] == [path.name]  # nothing left lying about


@pytest.mark.parametrize("has_cache", [True, False])
@pytest.mark.parametrize("name", sorted(faults(GOOD)))
def test_after_every_fault_the_file_is_intact_and_its_age_right(
    server: WeatherServer, fetcher: Fetcher, path: Path, name: str, has_cache: bool
) -> None:
    server.put("/h.csv.gz", GOOD, modified_at=NOW, expires_in_s=60)
    refreshed(server, path, fetcher, NOW)
    if not has_cache:
        fetcher.close()
        (fetcher.cache_folder / http.CACHE_NAME).unlink()
    server.lasting_fault(faults(GOOD)[name])
    found = refreshed(server, path, fetcher, NOW + 3 * DAY)
    assert not found.is_new
    assert found.age == 3 * DAY
    assert found.note
    assert "\n" not in found.note
    assert path.read_bytes() == GOOD
    server.lasting_fault(None)
    assert refreshed(server, path, fetcher, NOW + 5 * DAY) == Refreshed(
        False, path, timedelta(), ""
    )


@pytest.mark.parametrize("name", sorted(faults(GOOD)))
def test_a_fault_at_the_first_try_leaves_nothing_behind(
    server: WeatherServer, fetcher: Fetcher, path: Path, name: str
) -> None:
    server.lasting_fault(faults(GOOD)[name])
    found = refreshed(server, path, fetcher, NOW)
    assert (found.is_new, found.age, path.exists()) == (False, None, False)
    assert found.note
    assert found.is_absent == (name == "404")


def test_a_file_that_shrinks_is_refused(
    server: WeatherServer, fetcher: Fetcher, path: Path
) -> None:
    server.put("/h.csv.gz", GOOD, expires_in_s=60)
    refreshed(server, path, fetcher, NOW)
    server.put("/h.csv.gz", gzip.compress(hours_csv(JANUARY, 1199).encode()), expires_in_s=60)
    found = refreshed(server, path, fetcher, NOW + DAY)
    assert "it has 1199 rows up to 2026-02-19 22:00, the file held has 1200" in found.note
    assert (path.read_bytes(), found.age) == (GOOD, DAY)


def test_rows_ahead_of_now_may_go(server: WeatherServer, fetcher: Fetcher, path: Path) -> None:
    server.put("/h.csv.gz", NEWER, expires_in_s=60)
    early = JANUARY + timedelta(hours=1190)
    refreshed(server, path, fetcher, early)
    server.put("/h.csv.gz", GOOD, expires_in_s=60)
    found = refreshed(server, path, fetcher, early + timedelta(hours=2))
    assert (found.is_new, found.note) == (True, "")


def test_few_rows_lost_in_the_middle_are_a_revision(path: Path) -> None:
    path.parent.mkdir(parents=True)
    path.write_bytes(GOOD)
    lines = hours_csv(JANUARY, 1200).splitlines()
    check = csv_check(path, has_hours=True, now=NOW)
    check("\n".join(lines[:100] + lines[150:]).encode(), {})
    with pytest.raises(ValueError, match="it has 1000 rows"):
        check("\n".join(lines[:100] + lines[300:]).encode(), {})


def test_a_file_sent_unpacked_is_packed_again(
    server: WeatherServer, fetcher: Fetcher, path: Path
) -> None:
    text = hours_csv(JANUARY, 50).encode()
    server.put("/h.csv.gz", gzip.compress(text), expires_in_s=60, **{"Content-Encoding": "gzip"})
    assert refreshed(server, path, fetcher, NOW).note == ""
    assert gzip.decompress(path.read_bytes()) == text
    assert not refreshed(server, path, fetcher, NOW + DAY).is_new


def test_a_file_damaged_on_disk_is_mended_from_the_cache(
    server: WeatherServer, fetcher: Fetcher, path: Path
) -> None:
    server.put("/h.csv.gz", GOOD, expires_in_s=60)
    refreshed(server, path, fetcher, NOW)
    path.write_bytes(GOOD[:500])
    os.utime(path, (NOW.timestamp(), NOW.timestamp()))
    server.close()
    found = refreshed(server, path, fetcher, NOW + DAY)
    assert (path.read_bytes(), found.age) == (GOOD, DAY)


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        (GOOD[:-4], "breaks off"),
        (GOOD[:200] + bytes(8) + GOOD[208:], "damaged"),
        (GOOD + b"<html>", "something follows"),
        (HTML, "its header begins with '<!DOCTYPE html>"),
        (b"", "begins with 'nothing'"),
        (b"\xff\xfe\x00", "neither gzip nor text"),
        (b"year,month,day,temp\n2026,1,1,3\n", "expected year,month,day,hour"),
        (HEADER.encode() + b"\n", "no rows"),
        (HEADER.encode() + b"\n2026,13,1,0,1,a,1,a\n", "line 2 has no date"),
        (HEADER.encode() + b"\n2026,1,1,0,1,a,1,a\noops\n", "line 3 has no date"),
    ],
)
def test_what_is_not_a_file_of_hours_is_named(path: Path, body: bytes, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        csv_check(path, has_hours=True, now=NOW)(body, {})


def test_a_member_of_several_gzip_streams_is_read_whole() -> None:
    assert mirror.csv_text(gzip.compress(b"a,") + gzip.compress(b"b")) == "a,b"


def test_a_write_that_fails_keeps_the_old_file(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mirror.write_whole(path, b"old")

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(mirror.os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        mirror.write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert [one.name for one in path.parent.iterdir()] == [path.name]


def test_a_full_disk_is_told(
    server: WeatherServer, fetcher: Fetcher, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    server.put("/h.csv.gz", GOOD, expires_in_s=60)

    def full(path: Path, body: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(mirror, "write_whole", full)
    found = refreshed(server, path, fetcher, NOW)
    assert "cannot be written (No space left on device)" in found.note


def stations_file(folder: Path, n_stations: int) -> bytes:
    """A list of stations with the tables of the archive's own."""
    file = folder / f"made{n_stations}.db"
    connection = sqlite3.connect(file)
    connection.executescript(
        "CREATE TABLE stations (id TEXT, country TEXT, region TEXT, latitude REAL, longitude REAL,"
        " elevation INTEGER, timezone TEXT);"
        "CREATE TABLE names (station TEXT, language TEXT, name TEXT);"
    )
    connection.executemany(
        "INSERT INTO stations VALUES (?, 'DE', 'HE', 50.0, 8.6, 100, 'Europe/Berlin')",
        [(str(number),) for number in range(n_stations)],
    )
    connection.commit()
    connection.close()
    return file.read_bytes()


def test_a_list_of_stations_is_checked(tmp_path: Path) -> None:
    held = tmp_path / "stations.db"
    body = stations_file(tmp_path, 40)
    stations_check(held)(body, {})
    held.write_bytes(body)
    stations_check(held)(stations_file(tmp_path, 39), {})
    for bad, reason in (
        (HTML, "not a SQLite file"),
        (body[:-100], "breaks off"),
        (stations_file(tmp_path, 0), "lists no station"),
        (stations_file(tmp_path, 9), "lists 9 stations, the file held lists 40"),
        (body.replace(b"stations", b"stetions"), "cannot be read"),
    ):
        with pytest.raises(ValueError, match=reason):
            stations_check(held)(bad, {})
