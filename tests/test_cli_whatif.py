"""The command `whatif`: words without quotes, the two questions, one line on bad input."""

from __future__ import annotations

import importlib
import io
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from scheduler import cli
from scheduler.planning.whatif import Changes
from tests.golden.make_what_ifs import storm

NOW = "2013-05-14T05:30-04:00"


class Calls(list[Changes]):
    """What the service was asked, and of which moments."""

    def __init__(self) -> None:
        super().__init__()
        self.at: list[datetime] = []


@pytest.fixture
def asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Calls:
    """A new farm as that of every command, and what the service is asked."""
    folder = tmp_path / "farm"
    monkeypatch.setenv(cli.NOW_VARIABLE, "2013-03-01T08:00-05:00")
    assert status(["init", str(folder), "--yes"]) == 0
    monkeypatch.setenv(cli.FARM_VARIABLE, str(folder))
    monkeypatch.setenv(cli.NOW_VARIABLE, NOW)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    calls = Calls()

    def what_if(*sources: Any, **_: object) -> object:
        calls.append(sources[4])
        calls.at.append(sources[3])
        return storm()

    monkeypatch.setattr(importlib.import_module("scheduler.service"), "what_if", what_if)
    return calls


def status(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as ended:
        cli.main(arguments)
    return int(ended.value.code or 0)


def test_words_need_no_quotes(asked: Calls, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    words = "whatif --rain 15 mm --at tonight 20:00 --over 2 h --hours 5 --no-rain"
    assert status(words.split()) == 0
    quoted = ["whatif", "--rain=15 mm", "--at", "tonight 20:00", "--over", "2 h", "--hours", "5"]
    assert status([*quoted, "--no-rain"]) == 0
    joined = "whatif --rain=15 mm --at=tonight 20:00 --over=2 h --hours=5 --no-rain"
    assert status(joined.split()) == 0
    assert asked[0] == asked[1] == asked[2]
    assert asked[0].rain[0].rain_mm == 15.0
    assert (asked[0].hours_h, asked[0].is_dry) == (5.0, True)
    assert "What if: 15 mm of rain" in capsys.readouterr().out.replace("0.59 in", "15 mm")


def test_json(asked: Calls, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert status(["whatif", "--fell", "14", "mm", "--when", "last", "night", "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["to_log"] == ["whitethread log rain 14 mm last night"]
    assert whole["totals"]["before"]["lines"] == 8


def test_without_words_it_asks_for_rain_and_hours(
    asked: Calls, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("14 mm last night\n2.5\n"))
    assert status(["whatif"]) == 0
    assert asked[0].logged[0].data["rain_mm"] == 14.0
    assert asked[0].hours_h == 2.5
    told = capsys.readouterr()
    assert "How much rain fell" in told.err
    assert "whitethread log rain 14 mm last night" in told.out
    monkeypatch.setattr("sys.stdin", io.StringIO("\n0\n"))
    assert status(["whatif"]) == 0
    assert (asked[1].logged, asked[1].is_skipped) == ((), True)


@pytest.mark.parametrize(
    ("words", "is_of_list", "moments"),
    [
        ("--fell 14 mm --when last night", True, ["05:30"]),  # rain goes on to the list's moment
        ("--fell 14 mm", True, ["05:30"]),
        ("--fell 14 mm --when today 7:00", False, ["07:00"]),
        ("--fell 14 mm --when this morning", False, ["07:30"]),
        ("--pass A1 wheel hoe now --water A1 8 mm in 2 h", True, ["09:30", "05:30"]),
        ("--pass A1 wheel hoe 7:00", False, ["07:00"]),
        ("--pass A1 wheel hoe 5:00 --hours 3", True, ["05:00"]),
        ("--rain 15 mm", True, ["08:00"]),
    ],
)
def test_two_hours_after_the_list_words_mean_the_clock(
    asked: Calls,
    words: str,
    is_of_list: bool,
    moments: list[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The list of 05:30 is gone on from at 07:30, unless what is asked happened in between."""
    then, now = (datetime.fromisoformat(f"2013-05-14T{at}-04:00") for at in ("05:30", "07:30"))
    module = importlib.import_module("scheduler.cli.whatif")
    monkeypatch.setattr(module, "moment_of_list", lambda *_: then)
    monkeypatch.setenv(cli.NOW_VARIABLE, now.isoformat())
    assert status(["whatif", *words.split()]) == 0
    assert asked.at == [then if is_of_list else now]
    changes = asked[0]
    found = [span.start_at for span in changes.rain]
    found += [
        datetime.fromisoformat(e.data["end_at"]) if e.kind == "rain" else e.happened_at
        for e in (*changes.logged, *changes.acts)
    ]
    assert [f"{moment.astimezone(then.tzinfo):%H:%M}" for moment in found] == moments


@pytest.mark.parametrize(
    "words",
    [
        "--rain much",
        "--at tonight",
        "--pass Z9 tine weeder now",
        "--hours 5 --skip-today",
        "--width 20",
        "stray words",
        "--fell 3 mm --fell 5 mm",
        "--hours 3 --hours=5",
        "",
    ],
)
def test_bad_input_is_one_line_and_status_2(
    asked: Calls,
    words: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    capsys.readouterr()
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert status(["whatif", *words.split()]) == 2
    told = capsys.readouterr()
    assert told.out.strip() == ""
    assert len(told.err.strip().splitlines()[-1]) > 0
    assert not asked
