"""Lessons of former months in the cache folder: exact, this program's own, and never an error."""

from __future__ import annotations

import json
import os
import random
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.adapters import kept_lessons as store
from scheduler.adapters.journal import FarmDatabase, open_farm_database
from scheduler.adapters.kept_lessons import MOST_BLOCKS, KeptLessons, lessons_path
from scheduler.records import Kind, WeatherValue
from scheduler.service import former
from scheduler.service.former import with_former
from tests.scenes.made import local
from tests.scenes.test_former_scenes import basis, garden

FOUND = {"weeds": [["M1", "loam", [0.1, 1e-300], [1 / 3]]], "soils": [["loam", -0.01, 0.02]]}


@pytest.fixture
def database(tmp_path: Path) -> FarmDatabase:
    return open_farm_database(tmp_path, create=True)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return lessons_path(tmp_path / "cache", tmp_path / "farm")


def test_what_is_put_comes_back_to_the_last_bit(path: Path, database: FarmDatabase) -> None:
    first = KeptLessons(path, database)
    assert first.get("a") is None
    first.put("a", FOUND)
    first.put("b", {"weeds": [], "soils": []})
    again = KeptLessons(path, database)
    assert again.get("a") == FOUND
    assert again.get("b") == {"weeds": [], "soils": []}
    assert list(path.parent.iterdir()) == [path]
    if os.name == "posix":
        assert path.stat().st_mode & 0o077 == 0
    for n in range(MOST_BLOCKS):
        again.put(str(n), FOUND)
    last = KeptLessons(path, database)
    assert last.get("a") is None
    assert last.get("0") == last.get(str(MOST_BLOCKS - 1)) == FOUND


@pytest.mark.parametrize("harm", ["cut", "list", "number", "other", "shared", "huge", "folder"])
def test_a_file_that_is_not_its_own_is_nothing(
    path: Path, database: FarmDatabase, harm: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    KeptLessons(path, database).put("a", FOUND)
    whole = path.read_text()
    if harm == "cut":
        path.write_text(whole[:-3])
    elif harm == "list":
        path.write_text("[1]")
    elif harm == "number":
        path.write_text(json.dumps(json.loads(whole) | {"blocks": {"a": 3}}))
    elif harm == "other":
        monkeypatch.setattr(store, "program_mark", lambda: "another program")
    elif harm == "huge":
        monkeypatch.setattr(store, "_MOST_BYTES", 10)
    elif harm == "folder":
        path.unlink()
        path.mkdir()
    elif os.name == "posix":
        path.chmod(0o666)
    else:
        pytest.skip("files have no such rights here")
    found = KeptLessons(path, database)
    assert found.get("a") is None
    found.put("b", FOUND)
    assert found.get("b") == FOUND


def test_what_cannot_be_written_is_no_error(tmp_path: Path, database: FarmDatabase) -> None:
    blocked = tmp_path / "cache"
    blocked.write_text("")
    found = KeptLessons(lessons_path(blocked, tmp_path), database)
    found.put("a", FOUND)
    assert found.get("a") == FOUND
    found.put("b", {"weeds": [float("nan")]})


def test_any_byte_spoiled_ends_in_what_was_put_or_in_working_it_out(
    path: Path, database: FarmDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = garden(looks=True)
    monkeypatch.setattr(KeptLessons, "weather_marks", lambda *_: {})
    first = with_former(basis(made), made, KeptLessons(path, database))
    bare, whole = basis(made), path.read_bytes()
    n_anew: list[int] = []

    def worked_out(*_: Any) -> former.Former:
        n_anew.append(1)
        return former.Former(first.lessons)

    monkeypatch.setattr(former, "former_of", worked_out)
    assert with_former(bare, made, KeptLessons(path, database)).key() == first.key()
    assert not n_anew
    rng = random.Random(1)
    for _ in range(40):
        spoiled = bytearray(whole)
        spoiled[rng.randrange(150)] = rng.randrange(256)
        path.write_bytes(bytes(spoiled))
        path.chmod(0o600)
        found = with_former(bare, made, KeptLessons(path, database))
        assert len(found.lessons) == 1
    assert len(n_anew) > 10


def test_marks_tell_of_other_values_of_a_day(database: FarmDatabase) -> None:
    start = local(2013, 4, 10)

    def value(hour: int, known_h: int, mm: float) -> WeatherValue:
        at = start + timedelta(hours=hour)
        known = at + timedelta(hours=known_h)
        return WeatherValue("rain_mm", at, at + timedelta(hours=1), mm, Kind.OBSERVED, "x", known)

    def marks(known_d: int = 60) -> dict[str, str]:
        return database.weather_marks(
            start + timedelta(days=known_d), start - timedelta(days=1), start + timedelta(days=3)
        )

    assert marks() == {}
    database.add_weather_values([value(0, 2, 1.0), value(30, 2, 0.0), value(200, 2, 0.0)])
    first = marks()
    assert sorted(first) == ["2013-04-10", "2013-04-11"]
    database.add_weather_values([value(0, 500, 2.0)])
    after = marks()
    assert after["2013-04-10"] != first["2013-04-10"]
    assert after["2013-04-11"] == first["2013-04-11"]
    assert marks(5) == first
