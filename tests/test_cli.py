"""The command line: statuses, messages, what is written, and what stays untouched.

The list of the day is a stored hand-made morning here; the computed one has its own tests.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import typer
from pydantic import TypeAdapter

from scheduler import cli, service
from scheduler.adapters.demo import DEMO_AS_OF
from scheduler.adapters.farmfile import read_farm
from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.weather import http, metno, nws, stations
from scheduler.cli import entries
from scheduler.cli.app import farm_as_known
from scheduler.errors import WeatherMissingError
from scheduler.models import looks
from scheduler.records import EVENT_KINDS, Event, Morning
from tests.adapters.mail_server import PASSWORD, USER, MailServer

ROOT = Path(__file__).parents[1]
NOW = "2013-05-14T05:30-04:00"
LATER = datetime(2030, 1, 1, tzinfo=UTC)

COMMANDS = (
    "demo",
    "init",
    "check",
    "today",
    "bed",
    "done",
    "log",
    "weather",
    "journal",
    "morning",
    "every-morning",
    "calendar",
    "whatif",
    "review",
    "compare",
    "sources",
    "cautions",
)


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("farms") / "farm"
    os.environ[cli.NOW_VARIABLE] = "2013-05-01T08:00-04:00"
    try:
        assert status(["init", str(folder), "--yes"]) == 0
    finally:
        del os.environ[cli.NOW_VARIABLE]
    return folder


@pytest.fixture
def farm(started: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A new farm of twenty beds, taken as the farm of every command."""
    folder = tmp_path / "farm"
    shutil.copytree(started, folder)
    monkeypatch.setenv(cli.FARM_VARIABLE, str(folder))
    monkeypatch.setenv(cli.NOW_VARIABLE, NOW)
    return folder


@pytest.fixture
def stored_morning(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """The service hands out a stored morning; what it was asked is kept."""
    text = (ROOT / "tests" / "golden" / "morning_spring.json").read_text()
    found = TypeAdapter(Morning).validate_json(text)
    asked: list[dict[str, Any]] = []

    def morning(farm: Any, journal: Any, weather: Any, now: datetime, **_: Any) -> Morning:
        asked.append({"farm": farm, "now": now, "events": journal.events(now)})
        return replace(found, as_of=now)

    monkeypatch.setattr(service, "morning", morning)
    return asked


def status(arguments: Sequence[str]) -> int:
    """Exit status of one command, run in this process."""
    with pytest.raises(SystemExit) as end:
        cli.main(arguments)
    assert isinstance(end.value.code, int)
    return end.value.code


def events(folder: Path) -> tuple[Event, ...]:
    with open_farm_database(folder) as database:
        return database.events(LATER)


def lists(folder: Path) -> Any:
    with open_farm_database(folder) as database:
        return database.latest_list(LATER)


def contents(folder: Path) -> dict[str, Any]:
    """What a farm folder says: its file and everything the database holds."""
    with open_farm_database(folder) as database:
        return {
            "farm.toml": (folder / "farm.toml").read_text(),
            "events": database.all_events(LATER),
            "weather": database.all_weather_values(LATER),
            "list": database.latest_list(LATER),
            "files": sorted(
                path.name for path in folder.rglob("*") if not path.name.startswith("farm.db-")
            ),
        }


# ---------------------------------------------------------------- the program


def test_importing_the_command_line_stays_light() -> None:
    heavy = (
        *("numba", "pandas", "scipy", "matplotlib", "meteostat", "pint", "pydantic", "plotext"),
        *("jinja2", "css_inline", "icalendar", "apscheduler", "smtplib", "requests", "keyring"),
    )
    code = f"import sys, scheduler.cli; print([name for name in {heavy!r} if name in sys.modules])"
    found = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert found.stdout.strip() == "[]"


def test_every_command_is_there() -> None:
    command: Any = typer.main.get_command(cli.app)
    assert set(command.commands) == set(COMMANDS)
    assert set(command.commands["log"].commands) == set(EVENT_KINDS)
    assert set(command.commands["weather"].commands) == {"import", "show", "update"}
    assert set(command.commands["journal"].commands) == {"export", "import"}


def test_every_command_stands_in_the_readme() -> None:
    """A row of a table that begins with the command in code marks."""
    readme = ROOT / "README.md"
    if not readme.exists():
        pytest.skip("there is no README.md yet")
    text = readme.read_text()
    rows = set(re.findall(r"^\|\s*`(?:whitethread )?([a-z-]+(?: [a-z-]+)?)", text, re.MULTILINE))
    first_words = {row.split()[0] for row in rows}
    command: Any = typer.main.get_command(cli.app)
    missing = [name for name in command.commands if name not in first_words]
    missing += [
        f"{group} {name}"
        for group in ("weather", "journal")
        for name in command.commands[group].commands
        if f"{group} {name}" not in rows
    ]
    assert missing == []


def test_every_help_page_shows(capsys: pytest.CaptureFixture[str]) -> None:
    for name in COMMANDS:
        assert status([name, "--help"]) == 0
        assert "Usage: whitethread" in capsys.readouterr().out


def test_without_words_the_help_shows(capsys: pytest.CaptureFixture[str]) -> None:
    assert status([]) == 0
    assert "Commands:" in capsys.readouterr().out


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["--version"]) == 0
    assert re.fullmatch(r"whitethread \d+\.\d+\.\d+\n", capsys.readouterr().out)


# --------------------------------------------------------------------- errors


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["nosuch"], "No such command 'nosuch'"),
        (["today", "--wide"], "No such option"),
        (["today", "--as-of", "soon"], "'soon' is no moment"),
        (["today", "--as-of", "2013-06-01"], "lies ahead of now (2013-05-14 05:30)"),
        (["bed", "Z9"], "there is no bed 'Z9'"),
        (["done", "1"], "no list has been printed yet"),
        (["done", "1", "2", "--took", "5 min"], "--took: found 2 numbers"),
        (["log", "rain", "18"], ""),
        (["log", "pass", "Z9", "hoe"], "Z9"),
        (["log", "undo"], "the journal holds no entry that stands"),
        (["log", "undo", "pass-123"], "the journal holds no entry that stands"),
        (["journal", "import", "nosuch.csv"], "nosuch.csv"),
        (["weather", "import", "nosuch.csv"], "nosuch.csv"),
        (["sources", "nosuch"], "'nosuch'"),
    ],
)
def test_what_can_be_mended_is_one_line_and_changes_nothing(
    farm: Path, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    before = contents(farm)
    assert status(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert told in err
    assert "Traceback" not in err
    assert contents(farm) == before


def test_no_farm_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv(cli.FARM_VARIABLE, raising=False)
    monkeypatch.chdir(tmp_path)
    assert status(["today"]) == 2
    assert capsys.readouterr().err.startswith(f"no farm here: found no farm.toml in {tmp_path}")


def test_the_current_folder_is_a_farm(
    farm: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv(cli.FARM_VARIABLE)
    monkeypatch.chdir(farm)
    assert status(["check"]) == 0
    assert "farm.toml: no fault; 20 beds" in capsys.readouterr().out


def test_a_wrong_clock_is_told(
    farm: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv(cli.NOW_VARIABLE, "2013-05-14 05:30")
    assert status(["check"]) == 2
    assert "a moment with offset" in capsys.readouterr().err


def test_check_names_every_fault_at_once(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = farm / "farm.toml"
    path.write_text(path.read_text().replace("latitude", "latitud").replace("texture", "textur"))
    assert status(["check"]) == 2
    err = capsys.readouterr().err
    assert "latitud" in err
    assert "textur" in err
    assert err.count("\n") >= 2
    assert status(["today"]) == 2
    assert "`whitethread check` names all" in capsys.readouterr().err


def test_check_names_a_mail_that_could_not_be_sent(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = farm / "farm.toml"
    mail = '[mail]\nto = "a@example.org"\nfrom = "b@example.org"\nhost = "smtp.example.org"\n'
    path.write_text(f"{path.read_text()}\n{mail}")
    assert status(["check"]) == 0
    path.write_text(f'{path.read_text()}send_at = "02:30"\n')
    capsys.readouterr()
    assert status(["check"]) == 2
    found = capsys.readouterr()
    assert found.err.startswith("farm.toml, [mail] send_at: 02:30 falls in the hours")
    assert "no fault" not in found.out


def test_a_fault_of_the_program_shows_its_trace(
    farm: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: Any, **__: Any) -> Morning:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr(service, "morning", broken)
    assert status(["today"]) == 1
    err = capsys.readouterr().err
    assert "Traceback" in err
    assert "ZeroDivisionError: a bug" in err


def test_a_mendable_fault_of_the_service_is_one_line(
    farm: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def without_weather(*_: Any, **__: Any) -> Morning:
        raise WeatherMissingError("weather: nothing\n  on record; import a file")

    monkeypatch.setattr(service, "morning", without_weather)
    before = contents(farm)
    assert status(["today"]) == 2
    err = capsys.readouterr().err
    assert err.splitlines()[-1] == "weather: nothing on record; import a file"
    assert contents(farm) == before


def test_a_reader_that_leaves_early_is_no_fault(farm: Path) -> None:
    """The pipe is closed before the program writes: no trace, status 0."""
    reader, writer = os.pipe()
    os.close(reader)
    found = subprocess.run(
        [sys.executable, "-m", "scheduler.cli", "cautions"],
        stdout=writer,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        check=False,
    )
    os.close(writer)
    assert found.returncode == 0
    assert found.stderr == ""


# ----------------------------------------------------------------- first steps


def answered(monkeypatch: pytest.MonkeyPatch, said: Sequence[str]) -> list[str]:
    """Answer the prompts to come in order, an empty answer by the default; what was asked."""
    answers = iter(said)
    asked: list[str] = []

    def prompt(text: str, default: str) -> str:
        asked.append(text)
        return next(answers) or default

    monkeypatch.setattr(typer, "prompt", prompt)
    return asked


def test_init_asks_eight_questions_and_for_consent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wrong answer is told and asked again; the rest takes its default."""
    asked = answered(monkeypatch, ["Two Ponds", "metrik", "metric", "", "", "", "", "", "", ""])
    folder = tmp_path / "new"
    assert status(["init", str(folder)]) == 0
    assert len(set(asked)) == 9
    assert len(asked) == len(set(asked)) + 1
    assert 'nearest: "metric"' in capsys.readouterr().err
    text = (folder / "farm.toml").read_text()
    assert "Two Ponds" in text
    assert "#: consent = true" in text  # an empty answer is no consent
    assert status(["check", "--farm", str(folder)]) == 0


def test_init_says_what_goes_to_whom_before_it_asks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place = "40.78123 N, 73.96654 W, 12 ft"
    said = ["", "", place, "", "", "", "", "", "perhaps", "Yes", "grower", "grower@example.org"]
    asked = answered(monkeypatch, said)
    folder = tmp_path / "new"
    assert status(["init", str(folder)]) == 0
    found = capsys.readouterr()
    plain = " ".join(found.out.split())
    for sent in (
        "To api.met.no (MET Norway, forecast): latitude 40.78, longitude -73.97, height 4 m.",
        "To api.weather.gov (US National Weather Service, forecast): latitude 40.78",
        "To data.meteostat.net",
        "your contact address",
    ):
        assert sent in plain
    assert "40.7812" not in plain
    assert "allowed: yes, no" in found.err
    assert "is not a mail address" in found.err
    assert asked[-1] == asked[-2]
    assert "whitethread weather update" in plain
    described = read_farm(folder)
    assert described.weather == {"consent": True, "contact": "grower@example.org"}


def test_a_yes_without_an_address_is_no_consent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answered(monkeypatch, [""] * 8 + ["y", ""])
    assert status(["init", str(tmp_path / "new")]) == 0
    assert read_farm(tmp_path / "new").weather == {}


def test_a_new_farm_works_with_its_own_notes_alone(
    farm: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Four mornings of gauge and thermometer, nothing from outside, and the list comes."""
    for day in (11, 12, 13, 14):
        monkeypatch.setenv(cli.NOW_VARIABLE, f"2013-05-{day}T06:00-04:00")
        assert status(["log", "rain", "6 mm last night" if day == 14 else "0 mm last night"]) == 0
        assert status(["log", "temp", "min 8 C max 19 C"]) == 0
    capsys.readouterr()
    assert status(["today"]) == 0
    page = " ".join(capsys.readouterr().out.split())
    assert "Tuesday 14 May" in page
    assert "own gauge. No forecast." in page


def test_without_consent_nobody_is_asked(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["weather", "update"]) == 2
    told = capsys.readouterr().err
    assert told.startswith("weather: nothing was asked, since farm.toml does not say consent")
    assert told.count("\n") == 1


def test_an_update_without_a_network_says_what_stands_and_when_to_try_again(
    farm: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(stations, "ARCHIVE_URL", "http://127.0.0.1:9")
    monkeypatch.setattr(metno, "ENDPOINT", "http://127.0.0.1:9/compact")
    monkeypatch.setattr(nws, "ENDPOINT", "http://127.0.0.1:9")
    monkeypatch.setattr(http, "FIRST_WAIT_S", 0.0)
    path = farm / "farm.toml"
    consent = '[weather]\nconsent = true\ncontact = "grower@example.org"\n'
    path.write_text(path.read_text().replace("#: [weather]\n", consent))
    assert status(["weather", "update"]) == 75
    found = capsys.readouterr()
    assert "observations: could not be brought up to date" in found.out
    assert "forecast: none could be had and none is on record" in found.out
    assert "nothing could be had" in found.err
    assert status(["log", "rain", "18 mm last night"]) == 0


def test_init_leaves_an_old_farm_alone(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = contents(farm)
    assert status(["init", str(farm), "--yes"]) == 2
    assert "already holds farm.toml" in capsys.readouterr().err
    assert contents(farm) == before


def test_demo_writes_a_farm_and_prints_its_morning(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
) -> None:
    monkeypatch.delenv(cli.NOW_VARIABLE, raising=False)
    folder = tmp_path / "demo"
    assert status(["demo", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "Do, in this order" in out
    assert f"--farm {folder}" in out
    (asked,) = stored_morning
    assert asked["now"] == DEMO_AS_OF
    assert len(asked["farm"].beds) == 36
    assert asked["events"]
    assert datetime.fromisoformat(lists(folder)["as_of"]) == DEMO_AS_OF
    assert status(["demo", str(folder)]) == 2
    assert "name a new or empty folder" in capsys.readouterr().err


# ---------------------------------------------------------------------- pages


def test_today_prints_and_keeps_the_list(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    assert status(["today"]) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 80
    assert " 1 B4 " in out
    assert stored_morning[0]["now"] == datetime.fromisoformat(NOW)
    assert lists(farm)["beds"][0]["bed"] == "B4"


def test_the_first_run_says_that_it_compiles(
    farm: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    cache = tmp_path / "cache"
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(cache))
    assert status(["today"]) == 0
    assert capsys.readouterr().err.startswith("First run: compiling the soil model")
    (cache / "soil_column_1").mkdir(parents=True)
    (cache / "soil_column_1" / "kernel.run-1.py311.1.nbc").touch()
    assert status(["today"]) == 0
    assert capsys.readouterr().err == ""


def test_today_json_is_the_answer(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    assert status(["today", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["schema_version"] == "1"
    assert found == lists(farm)


def test_json_of_a_past_morning_keeps_nothing(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    assert status(["today", "--json", "--as-of", "2013-05-10"]) == 0
    assert lists(farm) is None
    assert stored_morning[0]["now"] == datetime(2013, 5, 10, 10, tzinfo=UTC)
    assert status(["today", "--as-of", "2013-05-10 05:00"]) == 0
    assert lists(farm)["as_of"] == "2013-05-10T05:00:00-04:00"


def test_a_past_morning_takes_the_farm_file_of_then(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    path = farm / "farm.toml"
    path.write_text(path.read_text().replace('name = "Long Acre"', 'name = "Short Acre"'))
    assert status(["today"]) == 0
    assert status(["today", "--as-of", "2013-05-13"]) == 0
    assert [asked["farm"].name for asked in stored_morning] == ["Short Acre", "Long Acre"]


def test_notes_in_the_drop_folder_are_taken_first(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    (farm / "drop").mkdir(exist_ok=True)
    (farm / "drop" / "a.txt").write_text("rain 18 mm 2013-05-12\n")
    (farm / "drop" / "b.txt").write_text("pss B4 hoe 2013-05-12\n")
    assert status(["today"]) == 0
    err = capsys.readouterr().err
    assert "drop: a.txt: 1 entry new, 0 known already" in err
    assert "b.txt" in err
    assert "did you mean 'pass'?" in err
    assert [event.kind for event in stored_morning[0]["events"]] == ["rain"]
    assert (farm / "drop" / "b.txt").exists()


def test_cautions_and_sources(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["cautions"]) == 0
    out = capsys.readouterr().out
    assert "Disengage" in out
    assert not re.search(r"\bsafe\b", out, re.IGNORECASE)
    assert status(["sources"]) == 0
    assert re.search(r"^carrot +\d", capsys.readouterr().out, re.MULTILINE)
    assert status(["sources", "--summary"]) == 0
    summed = capsys.readouterr().out
    counts = [int(word) for word in summed.split("\nall")[1].split("\n")[0].split()]
    assert counts[0] == sum(counts[1:6]) == sum(counts[6:])  # grades, then seen and memory
    assert status(["sources", "carrot"]) == 0
    out = capsys.readouterr().out
    assert "harrington_minges_1954" in out
    assert max(map(len, out.splitlines())) <= 80


# -------------------------------------------------------------------- entries


def test_done_means_what_was_read_last(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    assert status(["today"]) == 0
    capsys.readouterr()
    assert status(["done", "3", "1"]) == 0
    out = capsys.readouterr().out
    assert out.splitlines()[0].startswith("wrote: A2 pass: tine weeder, 0.6 in deep, set-up blind")
    written = {event.bed: event for event in events(farm)}
    assert set(written) == {"A2", "B4"}
    assert dict(written["B4"].data) == {
        "tool": "tine weeder",
        "depth_mm": 15.0,
        "setup": "blind",
    }
    assert written["B4"].happened_at == datetime.fromisoformat(NOW)


def test_done_with_its_hour_and_stopwatch(
    farm: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert status(["today"]) == 0
    monkeypatch.setenv(cli.NOW_VARIABLE, "2013-05-14T18:00-04:00")
    assert status(["done", "7", "--at", "11:15", "--took", "9 min"]) == 0
    (event,) = events(farm)
    assert (event.bed, event.part) == ("B2", "north")
    assert event.happened_at == datetime(2013, 5, 14, 15, 15, tzinfo=UTC)
    assert event.data["work_min"] == 9.0


@pytest.mark.parametrize("numbers", [["9"], ["0"], ["1", "99"]])
def test_done_refuses_unknown_numbers(
    farm: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
    numbers: list[str],
) -> None:
    assert status(["today"]) == 0
    capsys.readouterr()
    before = contents(farm)
    assert status(["done", *numbers]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "has 1 to 8" in err
    assert contents(farm) == before


def test_done_twice_is_refused(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    assert status(["today"]) == 0
    assert status(["done", "1"]) == 0
    capsys.readouterr()
    assert status(["done", "2", "1"]) == 2
    assert "done: B4 is logged already as pass-" in capsys.readouterr().err
    assert [event.bed for event in events(farm)] == ["B4"]


@pytest.mark.parametrize("found", ["too wet", "too hard"])
def test_done_says_that_the_soil_was_unfit(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]], found: str
) -> None:
    assert status(["today"]) == 0
    capsys.readouterr()
    assert status(["done", "1", f"--{found.replace(' ', '-')}"]) == 0
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    assert f"not worked: {found}, Tue 14 May" in out
    (event,) = events(farm)
    assert (event.bed, event.data["worked"], event.data["found"]) == ("B4", False, found)
    assert "how" not in event.data


def test_done_after_a_visit_in_vain_is_no_second_pass(
    farm: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Too wet in the morning, worked in the afternoon; but neither twice."""
    assert status(["today"]) == 0
    monkeypatch.setenv(cli.NOW_VARIABLE, "2013-05-14T11:00-04:00")
    assert status(["done", "1", "--too-wet"]) == 0
    capsys.readouterr()
    assert status(["done", "1", "--too-wet"]) == 2
    assert "done: B4 is logged already as pass-" in capsys.readouterr().err
    monkeypatch.setenv(cli.NOW_VARIABLE, "2013-05-14T16:00-04:00")
    assert status(["done", "1"]) == 0
    assert [event.data.get("found") for event in events(farm)] == ["too wet", None]
    assert status(["done", "1"]) == 2


@pytest.mark.parametrize(
    "options",
    [
        ["--too-wet", "--too-hard"],
        ["--too-wet", "--worked", "well"],
        ["--too-hard", "--took", "5 min"],
    ],
)
def test_done_says_one_thing_of_a_visit(
    farm: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
    options: list[str],
) -> None:
    assert status(["today"]) == 0
    capsys.readouterr()
    assert status(["done", "1", *options]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "takes --too-wet or --too-hard alone" in err
    assert not events(farm)
    assert status(["done", "1", "--too-wet", "--worked", "no", "--note", "sticks"]) == 0


def test_done_of_an_old_list_asks_when(
    farm: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert status(["today"]) == 0
    monkeypatch.setenv(cli.NOW_VARIABLE, "2013-05-16T18:00-04:00")
    capsys.readouterr()
    assert status(["done", "1"]) == 2
    assert "say when it was with --at '2013-05-14 10:30'" in capsys.readouterr().err
    assert status(["done", "1", "--at", "2013-05-14 11:00"]) == 0
    assert events(farm)[0].happened_at == datetime(2013, 5, 14, 15, tzinfo=UTC)


def test_done_after_all_of_an_earlier_day(
    farm: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each pass counts from the middle of its line's hours, or from the time that is said."""
    assert status(["today"]) == 0
    issued = lists(farm)
    monkeypatch.setenv(cli.NOW_VARIABLE, "2013-05-15T05:40-04:00")
    assert status(["today"]) == 0
    capsys.readouterr()
    assert status(["done", "1", "--of", "yesterday"]) == 0
    assert "Tue 14 May" in capsys.readouterr().out
    (event,) = events(farm)
    (line,) = [line for line in issued["beds"] if line["rank"] == 1]
    start, end = (datetime.fromisoformat(line["action"][key]) for key in ("start", "end"))
    assert (event.bed, event.happened_at) == (line["bed"], start + (end - start) / 2)
    assert event.recorded_at == datetime(2013, 5, 15, 9, 40, tzinfo=UTC)
    assert status(["done", "1", "--of", "Tue"]) == 2
    assert "is logged already as pass-" in capsys.readouterr().err
    capsys.readouterr()
    assert status(["done", "2", "--of", "2013-05-14", "--at", "2013-05-02 10:00"]) == 2
    assert "before the day of the list (2013-05-14)" in capsys.readouterr().err
    assert status(["done", "2", "--of", "2013-05-14", "--at", "11:20"]) == 0
    assert events(farm)[0].happened_at == datetime(2013, 5, 14, 15, 20, tzinfo=UTC)
    # a pass of an earlier day says nothing of the same line today
    assert status(["done", "1"]) == 0
    assert [event.bed for event in events(farm)].count(line["bed"]) == 2


@pytest.mark.parametrize(
    ("day", "told"),
    [
        ("mon", "done: no list of 2013-05-13 was made; log the passes with `whitethread log pass`"),
        ("2013-05-15", "--of: found '2013-05-15', which lies ahead of today (2013-05-14)"),
        ("last week", "--of: 'last week' is no day of the calendar"),
        ("Tuesday", "done: no list of 2013-05-07 was made"),
    ],
)
def test_done_of_a_day_that_has_no_list(
    farm: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
    day: str,
    told: str,
) -> None:
    assert status(["today"]) == 0
    capsys.readouterr()
    assert status(["done", "1", "--of", day]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("\n") == 1
    assert not events(farm)


TOOLBAR = """
[tools.sweeps]
kind = "sweeps"
carries = ["finger weeder"]
depth = "1 in"
speed = "2 mph"
setups = [
  { name = "two rows", rows = 2, spacing = "15 in" },
  { name = "gap # 3, 10:30", rows = 3, spacing = "10 in" },
]
"""


@pytest.fixture
def with_sweeps(farm: Path) -> Path:
    """The farm with a toolbar of two set-ups."""
    path = farm / "farm.toml"
    path.write_text(path.read_text() + TOOLBAR)
    return farm


@pytest.mark.parametrize(
    ("worked", "data"),
    [
        ("well", {"worked": True, "how": "well"}),
        ("Fair", {"worked": True, "how": "fair"}),
        ("poorly", {"worked": True, "how": "poorly"}),
        ("no", {"worked": False}),
    ],
)
def test_a_pass_with_its_set_up_and_how_it_worked(
    with_sweeps: Path, capsys: pytest.CaptureFixture[str], worked: str, data: dict[str, Any]
) -> None:
    words = ["log", "pass", "A1", "sweeps", "6 min", "--setup", "Two rows"]
    assert status([*words, "--worked", worked, "--note", "one notch # closer"]) == 0
    (event,) = events(with_sweeps)
    assert event.data == {"tool": "sweeps", "work_min": 6.0, "setup": "two rows", **data}
    assert event.note == "one notch # closer"
    said = "not worked" if worked == "no" else f"worked {worked.lower()}"
    out = capsys.readouterr().out
    assert f"set-up two rows, {said} (one notch # closer)" in out


def test_a_set_up_may_be_named_as_the_farm_likes(with_sweeps: Path) -> None:
    """Words of the grammar inside its name are no words of the note."""
    assert status(["log", "pass", "A1", "sweeps", "--setup", "gap # 3, 10:30"]) == 0
    (event,) = events(with_sweeps)
    assert event.data["setup"] == "gap # 3, 10:30"
    assert event.happened_at == datetime.fromisoformat(NOW)
    assert event.note == ""


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ["--setup", "tow rows"],
            "sweeps has no set-up 'tow rows'; did you mean 'two rows'?; a new one goes into "
            "farm.toml first",
        ),
        (["setup", "tow", "rows"], "sweeps has no set-up 'tow rows'; did you mean 'two rows'?"),
        (["--worked", "wel"], "--worked: found 'wel'; did you mean 'well'?"),
        (["--worked", "42"], "--worked: found '42'; allowed: fair, no, poorly, well"),
        (["worked", "--worked", "no"], "says worked twice; say it once"),
        (["#", "a", "--note", "b"], "says a remark twice; say it once"),
    ],
)
def test_what_a_pass_cannot_say(
    with_sweeps: Path, capsys: pytest.CaptureFixture[str], words: list[str], message: str
) -> None:
    assert status(["log", "pass", "A1", "sweeps", *words]) == 2
    err = capsys.readouterr().err
    assert message in err
    assert err.count("\n") == 1
    assert events(with_sweeps) == ()


def test_set_ups_of_dropped_notes_are_the_farms(
    with_sweeps: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    (with_sweeps / "drop").mkdir(exist_ok=True)
    (with_sweeps / "drop" / "a.txt").write_text(
        "pass A1 sweeps setup TWO ROWS worked fair 2013-05-12\n"
    )
    (with_sweeps / "drop" / "b.txt").write_text("pass A2 sweeps setup tow rows 2013-05-12\n")
    assert status(["today"]) == 0
    assert "drop: b.txt line 1: sweeps has no set-up 'tow rows'" in capsys.readouterr().err
    (event,) = events(with_sweeps)
    assert event.data["setup"] == "two rows"
    assert event.data["how"] == "fair"


def test_done_says_how_it_worked(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    assert status(["today"]) == 0
    assert status(["done", "3", "1", "--worked", "fair", "--note", "one notch closer"]) == 0
    found = events(farm)
    assert {event.bed for event in found} == {"A2", "B4"}
    assert {event.note for event in found} == {"one notch closer"}
    assert all(event.data["worked"] and event.data["how"] == "fair" for event in found)
    assert "worked fair (one notch closer)" in capsys.readouterr().out
    assert status(["done", "2", "--worked", "badly"]) == 2
    assert "--worked: found 'badly'" in capsys.readouterr().err
    assert len(events(farm)) == 2


def test_a_plan_of_an_unknown_crop_is_told_by_every_command_that_needs_it(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    path = farm / "farm.toml"
    right = path.read_text() + '\n[[plans]]\nbed = "A1"\ncrop = "carrot"\nsow = 2013-05-20\n'
    path.write_text(right)
    assert status(["check"]) == 0
    path.write_text(right.replace('"carrot"', '"carot"'))
    for command in ("check", "today"):
        capsys.readouterr()
        assert status([command]) == 2
        err = capsys.readouterr().err
        assert '[[plans]] 1 (A1) crop: "carot" is not a crop this program knows' in err
        assert 'nearest: "carrot"' in err
    assert stored_morning == []


def test_cautions_come_with_the_farm_without_one_and_with_a_wrong_one(
    farm: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path = farm / "farm.toml"
    right = path.read_text()
    bands = '\n[cautions]\nheat_bands = ["80 F", "90 F", "105 F", "130 F"]\n'
    path.write_text(right + bands)
    assert status(["cautions"]) == 0
    found = capsys.readouterr()
    assert "from 105 F danger:" in found.out
    assert found.err == ""
    path.write_text(right + bands.replace("105", "85"))
    assert status(["cautions"]) == 0
    found = capsys.readouterr()
    assert "from 103 F (39 C) danger:" in found.out
    assert "does not lie above the band before it" in found.err
    monkeypatch.delenv(cli.FARM_VARIABLE)
    monkeypatch.chdir(tmp_path)
    assert status(["cautions"]) == 0
    found = capsys.readouterr()
    assert "from 103 F (39 C) danger:" in found.out
    assert found.err == ""


def test_log_and_undo(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert status(["log", "rain", "18", "mm", "last", "night", "--note", "by the shed"]) == 0
    assert status(["log", "temp", "min", "-3 C", "max", "12 C"]) == 0
    rain, temp = events(farm)
    assert rain.data["rain_mm"] == 18.0
    assert rain.note == "by the shed"
    assert temp.data["air_temp_min_c"] == -3.0
    out = capsys.readouterr().out
    assert "wrote: rain: 0.71 in, from Mon 13 18:00" in out
    assert "wrote: temp: min 27 F, max 54 F" in out
    assert status(["log", "undo", rain.event_id]) == 0
    assert "taken back: rain: 0.71 in" in capsys.readouterr().out
    assert [event.kind for event in events(farm)] == ["temp"]
    assert status(["log", "undo"]) == 0
    assert events(farm) == ()


def test_an_entry_of_another_year_is_written_with_its_year(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A day of this year that still lies ahead is last year's: the answer shows it."""
    bed = read_farm(farm).beds[0].name
    for day, told in (("13 May", "Mon 13 May 12:00 ("), ("15 May", "Tue 15 May 2012 12:00 (")):
        assert status(["log", "look", bed, "few", *day.split()]) == 0
        assert told in capsys.readouterr().out


@pytest.mark.parametrize("kind", [kind for kind in EVENT_KINDS if kind != "undo"])
def test_the_example_of_each_log_command_is_understood(kind: str, farm: Path) -> None:
    """The help's own example, with a bed and a tool of this farm."""
    _, example = entries.LOG_HELP[kind]
    with open_farm_database(farm) as database:
        described = farm_as_known(farm, database, None)
    words = re.sub(r"\bB[45]\b", lambda bed: described.beds[int(bed[0][1]) - 4].name, example)
    words = words.replace("tine weeder", described.tools[0].name)
    assert status(["log", kind, *words.split()]) == 0
    n_beds = max(1, len(re.findall(r"\bB[45]\b", example)))
    assert [event.kind for event in events(farm)] == [kind] * n_beds


def test_the_help_of_a_look_says_what_the_program_understands(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its three examples are read as they stand, every line fits, few is the model's few."""
    assert status(["log", "look", "--help"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(entries.LOOK_EXAMPLES) == 3
    for example in entries.LOOK_EXAMPLES:
        assert f"    {example}" in lines
        words = re.sub(r"\bB(\d)", r"A\1", example)
        assert status(words.split()) == 0
    assert len(events(farm)) == 2 + 5
    few = next(line for line in lines if line.strip().startswith("few, some, many"))
    assert few.endswith(f"under {looks.FEW_M2:g} per m2, between, over {looks.MANY_M2:g}")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--thread", "6", "--seed-leaf", "11", "--true-leaf", "3"],
         "6 threads 11 seed leaves 3 true leaves"),
        (["--seed-leaf", "12", "--in", "0.25 m2"], "12 seed leaves in 0.25 m2"),
        (["--seed-leaf", "12", "--in", "2 ft2", "--quadrat", "by the post"],
         '12 seed leaves in 2 ft2 quadrat "by the post"'),
        (["--young", "2", "--established", "0", "--per", "ft2"], "2 young 0 established per ft2"),
        (["--nothing"], "nothing yet"),
        (["--first", "threads"], "first threads"),
        (["--amount", "some"], "some"),
    ],
)  # fmt: skip
def test_a_look_in_options_is_the_look_in_words(farm: Path, options: list[str], words: str) -> None:
    assert status(["log", "look", "A1", *options]) == 0
    assert status(["log", "look", "A2", *words.split()]) == 0
    first, second = events(farm)
    assert dict(first.data) == dict(second.data)
    assert (first.bed, second.bed) == ("A1", "A2")


def test_survivors_are_of_a_pass_that_is_logged(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(["log", "look", "A1", "--survivors", "4 of 20"]) == 2
    err = capsys.readouterr().err
    assert err == (
        "A1: survivors of what? found no pass logged there in the 21 days before; log the pass "
        "first\n"
    )
    assert events(farm) == ()
    with open_farm_database(farm) as database:
        tool = farm_as_known(farm, database, None).tools[0].name
    assert status(["log", "pass", "A1", *tool.split(), "yesterday"]) == 0
    assert status(["log", "look", "A1", "--survivors", "4 of 20"]) == 0
    assert dict(events(farm)[-1].data) == {"left_n": 4, "of_n": 20}
    assert status(["log", "look", "A2", "survived", "4", "of", "20"]) == 2


def test_several_beds_in_a_line_are_all_written_or_none(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(["log", "feel", "A1-A3", "A5", "sticky"]) == 0
    assert [event.bed for event in events(farm)] == ["A1", "A2", "A3", "A5"]
    assert {event.data["feel"] for event in events(farm)} == {"smears"}
    out = capsys.readouterr().out.splitlines()
    assert [line.split(",")[0] for line in out] == [
        f"wrote: {bed} feel: sticky" for bed in ("A1", "A2", "A3", "A5")
    ]
    before = contents(farm)
    assert status(["log", "up", "A1", "A99"]) == 2
    assert capsys.readouterr().err.startswith("there is no bed 'A99'")
    assert contents(farm) == before


def test_minutes_of_the_set_up_by_the_stopwatch(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    assert status(["today"]) == 0
    assert status(["done", "2", "--took", "6 min", "--set-up-took", "8 min"]) == 0
    (event,) = events(farm)
    assert (event.data["work_min"], event.data["setup_min"]) == (6.0, 8.0)
    assert "6 min, set-up blind, set-up took 8 min" in capsys.readouterr().out
    assert status(["done", "1", "3", "--set-up-took", "8 min"]) == 2
    assert "--set-up-took: found 2 numbers" in capsys.readouterr().err
    assert status(["done", "1", "--too-wet", "--set-up-took", "8 min"]) == 2
    assert len(events(farm)) == 1


# ---------------------------------------------------------------------- mail


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MailServer]:
    running = MailServer(tmp_path_factory.mktemp("server"))
    yield running
    running.close()


@pytest.fixture
def mailing(farm: Path, server: MailServer, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The farm, which mails through a server on this computer."""
    server.received.clear()
    path = farm / "farm.toml"
    path.write_text(
        f"""{path.read_text()}
[mail]
to = "grower@example.org"
from = "farm@example.org"
host = "127.0.0.1"
port = {server.port}
user = "{USER}"
password_env = "FARM_MAIL"
ca_file = "{server.ca_file}"
"""
    )
    monkeypatch.setenv("FARM_MAIL", PASSWORD)
    return farm


def test_morning_sends_once_a_day(
    mailing: Path,
    server: MailServer,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
) -> None:
    assert status(["morning"]) == 0
    found = capsys.readouterr()
    assert f"{mailing}: list made" in found.out
    assert "grower@example.org: the morning mail of Tue 14 May is sent" in found.out
    assert found.err == ""
    assert status(["morning", str(mailing), str(mailing)]) == 0  # the same farm, named twice
    assert capsys.readouterr().out == f"{mailing}: nothing due\n"
    assert len(stored_morning) == len(server.received) == 1
    assert status(["done", "1"]) == 0  # numbers are those of the mail
    assert events(mailing)[0].bed == "B4"


def test_one_broken_farm_stops_no_other_nor_its_next_try(
    mailing: Path,
    server: MailServer,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
) -> None:
    broken, other, silent = (tmp_path / name for name in ("broken", "other", "silent"))
    for folder in (broken, other, silent):
        shutil.copytree(mailing, folder)
    (broken / "farm.toml").write_text("name = [")
    (broken / "farm.db").unlink()
    text = (silent / "farm.toml").read_text()
    (silent / "farm.toml").write_text(text.replace(f"port = {server.port}", "port = 1"))
    folders = [str(tmp_path / "nowhere"), str(broken), str(mailing), str(silent), str(other)]
    assert status(["morning", *folders]) == 75  # else a timer would leave the silent one at that
    found = capsys.readouterr()
    assert [found.err.count(f"{tmp_path / name}: ") > 0 for name in ("nowhere", "broken")] == [
        True,
        True,
    ]
    for folder in (mailing, other):
        assert f"{folder}: grower@example.org: the morning mail of Tue 14 May is sent" in found.out
    assert len(server.received) == 2
    assert status(["morning", str(mailing), str(silent)]) == 75
    assert "Traceback" not in found.err + capsys.readouterr().err
    assert status(["morning", str(mailing), str(other)]) == 0
    assert status(["morning", str(broken), str(other)]) == 78


def test_a_farm_without_mail_is_a_matter_of_settings(
    farm: Path, capsys: pytest.CaptureFixture[str], stored_morning: list[dict[str, Any]]
) -> None:
    before = contents(farm)
    assert status(["morning"]) == 78
    found = capsys.readouterr()
    assert found.err.startswith(f"{farm}: farm.toml, [mail] ")
    assert found.err.count("\n") == 1
    assert contents(farm) == before
    assert status(["every-morning"]) == 78
    assert capsys.readouterr().err == found.err
    assert not stored_morning


def test_a_dry_run_writes_the_mail_and_sends_nothing(
    mailing: Path,
    server: MailServer,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("FARM_MAIL")
    assert status(["morning", "--dry-run"]) == 0
    path = mailing / "morning-2013-05-14.eml"
    assert capsys.readouterr().out == f"{mailing}: wrote {path}; nothing was sent\n"
    assert b"\r\nSubject: Tue 14 May: " in path.read_bytes()
    assert status(["morning", "--dry-run", "--out", str(tmp_path / "a.eml")]) == 0
    assert (tmp_path / "a.eml").read_bytes().startswith(b"Date: ")
    assert lists(mailing) is None
    assert not server.received
    capsys.readouterr()
    for words in (
        ["--out", str(tmp_path)],
        ["--dry-run", "--out", str(tmp_path / "a.eml"), str(mailing), str(tmp_path)],
        [str(mailing), "--farm", str(mailing)],
    ):
        assert status(["morning", *words]) == 2
        assert capsys.readouterr().err.count("\n") == 1
    assert status(["morning", "--dry-run", "--out", str(tmp_path / "no" / "a.eml")]) == 78
    assert "cannot be written" in capsys.readouterr().err


def test_unit_files_are_written_and_how_to_start_them_is_said(
    mailing: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    units = tmp_path / "the units"
    monkeypatch.chdir(tmp_path)
    assert status(["morning", "--write-units", "the units"]) == 0
    out = capsys.readouterr().out
    assert (
        f"  cp '{units}/whitethread-morning.service' '{units}/whitethread-morning.timer' /" in out
    )
    assert "enable --now whitethread-morning.timer" in out
    assert status(["every-morning", "--write-units", str(units)]) == 0
    assert "enable --now whitethread.service" in capsys.readouterr().out
    assert sorted(path.name for path in units.iterdir()) == [
        "whitethread-morning.service",
        "whitethread-morning.timer",
        "whitethread.service",
    ]
    text = (units / "whitethread.service").read_text()
    start = next(line for line in text.splitlines() if line.startswith("ExecStart="))
    program, *words = start.removeprefix("ExecStart=").split()
    assert Path(program).is_absolute()
    assert words[-2:] == ["every-morning", str(mailing)]


def test_every_morning_runs_until_it_is_told_to_stop(mailing: Path, server: MailServer) -> None:
    """The true program: after the cut-off nothing is due, and SIGTERM ends it at once."""
    environment = dict(os.environ) | {cli.NOW_VARIABLE: "2013-05-14T12:00-04:00"}
    job = subprocess.Popen(
        [sys.executable, "-m", "scheduler.cli", "every-morning"],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert job.stdout is not None
    line = job.stdout.readline()
    assert line == f"{mailing}: next morning mail Wed 15 May 05:30, America/New_York\n"
    time.sleep(1.0)
    job.send_signal(signal.SIGTERM)
    out, err = job.communicate(timeout=10)
    assert (job.returncode, out, err) == (0, "stopped\n", "")
    assert not server.received


def test_the_week_as_a_calendar_keeps_its_names(
    farm: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    stored_morning: list[dict[str, Any]],
) -> None:
    def names(path: Path) -> set[bytes]:
        lines = path.read_bytes().replace(b"\r\n ", b"").split(b"\r\n")
        return {line for line in lines if line.startswith(b"UID:")}

    path = farm / "week.ics"
    assert status(["calendar"]) == 0
    assert capsys.readouterr().out == f"wrote {path}\n"
    first = path.read_bytes()
    assert first.startswith(b"BEGIN:VCALENDAR\r\n")
    assert status(["calendar"]) == 0
    assert path.read_bytes() == first
    other = tmp_path / "other.ics"
    assert status(["calendar", "--out", str(other)]) == 0
    assert names(other) == names(path)
    assert lists(farm) is None  # numbers of the list read last stay what they are
    path.write_text("no calendar")
    capsys.readouterr()
    assert status(["calendar"]) == 2
    err = capsys.readouterr().err
    assert err.startswith(f"{path}: cannot be read as the calendar written before (")
    assert err.count("\n") == 1
    assert path.read_text() == "no calendar"


def test_the_journal_goes_out_and_comes_in(
    farm: Path, started: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(["log", "rain", "18", "mm", "last", "night"]) == 0
    assert status(["journal", "export", str(tmp_path / "out")]) == 0
    other = tmp_path / "other"
    shutil.copytree(started, other)
    file = str(tmp_path / "out" / "events.csv")
    assert status(["journal", "import", file, "--farm", str(other)]) == 0
    assert "events.csv: 1 entry new, 0 known already" in capsys.readouterr().out
    assert status(["journal", "import", file, "--farm", str(other)]) == 0
    assert "events.csv: 0 entries new, 1 known already" in capsys.readouterr().out
    assert events(other) == events(farm)


def test_weather_comes_in_and_what_cannot_be_right_is_named(
    farm: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0.1 in is 2.54 mm; 170 F cannot be right and is left out, not changed."""
    file = tmp_path / "shed.csv"
    file.write_text(
        "time (hour ending) [UTC],temperature [F],rain [in]\n"
        "2013-05-13 06:00,50,0.1\n2013-05-13 07:00,170,0\n2013-05-13 08:00,51,NA\n"
    )
    assert status(["weather", "import", str(file), "--kind", "gauge"]) == 0
    out = capsys.readouterr().out
    assert out.splitlines()[-1] == ("shed.csv: 5 values new, 0 known already; 1 left out of use")
    with open_farm_database(farm) as database:
        values = database.all_weather_values(LATER)
    rain = [value for value in values if value.variable == "rain_mm"]
    assert [round(value.value, 9) for value in rain] == [2.54, 0.0]
    assert {value.source for value in values} == {"shed"}
    assert {value.kind.name for value in values} == {"OWN_GAUGE"}
    assert {value.known_at for value in values} == {datetime.fromisoformat(NOW)}
    (hot,) = [value for value in values if value.suspect]
    assert round(hot.value, 6) == round((170 - 32) / 1.8, 6)
    assert status(["weather", "import", str(file), "--kind", "gauge"]) == 0
    assert "0 values new, 5 known already" in capsys.readouterr().out


def test_weather_known_then_can_be_asked_for_past_mornings(
    farm: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "shed.csv"
    file.write_text("date,rain [mm]\n2013-05-02,4\n")
    assert status(["weather", "import", str(file), "--known-then", "--source", "gauge 2"]) == 0
    with open_farm_database(farm) as database:
        (value,) = database.all_weather_values(datetime(2013, 5, 4, tzinfo=UTC))
    assert (value.source, value.known_at) == ("gauge 2", value.end_at)


def test_an_unknown_kind_of_weather_is_refused(
    farm: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(["weather", "import", "x.csv", "--kind", "sation"]) == 2
    assert "did you mean 'station'?" in capsys.readouterr().err


def test_weather_show_after_a_note_by_hand(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """18 mm in the own gauge is 0.71 in on the page of a farm that reads inches."""
    assert status(["log", "rain", "18", "mm", "yesterday"]) == 0
    capsys.readouterr()
    assert status(["weather", "show"]) == 0
    out = capsys.readouterr().out
    assert re.search(r"^Mon 13 May +0\.71\D.* own gauge\b", out, re.MULTILINE)
    assert max(map(len, out.splitlines())) <= 80


# ----------------------------------------------------- a farm file copied alone


def test_a_copied_farm_file_starts_an_empty_journal(
    farm: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy"
    copy.mkdir()
    shutil.copy(farm / "farm.toml", copy)
    assert status(["check", "--farm", str(copy)]) == 0
    assert "farm.db: none yet" in capsys.readouterr().out
    assert not (copy / "farm.db").exists()
    assert status(["log", "feel", "A1", "crumbles", "--farm", str(copy)]) == 0
    assert "found none, so an empty journal is started" in capsys.readouterr().err
    assert [event.kind for event in events(copy)] == ["feel"]
    assert status(["log", "feel", "A2", "crumbles", "--farm", str(copy)]) == 0
    assert capsys.readouterr().err == ""


def test_a_folder_without_a_farm_gets_no_database(tmp_path: Path) -> None:
    assert status(["log", "rain", "3 mm", "--farm", str(tmp_path)]) == 2
    assert list(tmp_path.iterdir()) == []


def test_a_taken_folder_is_refused_before_any_question(
    farm: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(typer, "prompt", lambda *_, **__: pytest.fail("asked a question"))
    assert status(["init", str(farm)]) == 2
    assert "already holds farm.toml" in capsys.readouterr().err


def test_a_terminal_without_some_letters_still_gets_its_page(farm: Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "scheduler.cli", "weather", "show"],
        env={**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert b"Rain in 6 hours" in ran.stdout
    assert b"?????" in ran.stdout  # the frame of the plot, drawn in letters it lacks


# -------------------------------------------------------------- numbers of a list


@pytest.mark.parametrize(
    ("words", "places"),
    [
        (["1", "3"], [1, 3]),
        (["1,3"], [1, 3]),
        (["1,", "3"], [1, 3]),
        (["2-4"], [2, 3, 4]),
    ],
)
def test_numbers_of_a_list_as_growers_write_them(words: list[str], places: list[int]) -> None:
    assert entries.list_places(words) == places


@pytest.mark.parametrize("word", ["x", "B4", "1.5", "-1", "2-", "²", "12345"])
def test_a_word_that_is_no_number_is_named(
    farm: Path, word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(["done", "--", word]) == 2
    told = capsys.readouterr().err
    assert f"found {word!r}; allowed are numbers of the list read last" in told
    assert told.count("\n") == 1


def test_a_bed_is_found_in_any_letter_case(
    farm: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked: list[str] = []

    def bed_page(*arguments: Any, **_: Any) -> Any:
        asked.append(arguments[4])
        raise WeatherMissingError("weather: none here")

    monkeypatch.setattr(service, "bed_page", bed_page)
    assert status(["bed", "a7"]) == 2
    assert asked == ["A7"]
    assert status(["bed", "a70"]) == 2
    assert "there is no bed 'a70'; did you mean 'A7'?" in capsys.readouterr().err


def test_names_of_beds_are_offered_in_the_order_of_the_field(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(["log", "water", "0.5 in"]) == 2
    assert "there is no bed '0.5'; allowed: A1-A20" in capsys.readouterr().err


def test_a_command_stopped_by_the_grower_says_so(
    farm: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr(service, "morning", stopped)
    before = contents(farm)
    assert status(["today"]) == 130
    assert capsys.readouterr().err.strip().endswith("stopped")
    assert contents(farm)["list"] == before["list"]


def test_the_reading_time_of_the_farm_file_counts_for_rain_without_a_moment(
    farm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(cli.NOW_VARIABLE, "2013-05-14T11:00-04:00")
    path = farm / "farm.toml"
    path.write_text(
        path.read_text().replace("#: [weather]\n", '[weather]\ngauge_read_at = "09:30"\n')
    )
    assert status(["log", "rain", "3 mm"]) == 0
    (entry,) = events(farm)
    assert entry.data["start_at"] == "2013-05-13T13:30:00+00:00"
    assert entry.data["end_at"] == "2013-05-14T13:30:00+00:00"
