"""The command `review`: what it prints, what it writes, and what it leaves alone.

The review is an invented one here; the computed one has its own tests.
"""

from __future__ import annotations

import importlib
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from scheduler import cli
from scheduler.adapters.render.review_html import review_html
from scheduler.adapters.render.review_text import review_text
from scheduler.adapters.review_csv import FILE_NAMES
from tests.adapters.review_made import small_season

NOW = "2013-11-02T18:00-04:00"


@pytest.fixture
def asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """A new farm as that of every command, and what the service is asked for."""
    folder = tmp_path / "farm"
    monkeypatch.setenv(cli.NOW_VARIABLE, "2013-03-01T08:00-05:00")
    assert status(["init", str(folder), "--yes"]) == 0
    monkeypatch.setenv(cli.FARM_VARIABLE, str(folder))
    monkeypatch.setenv(cli.NOW_VARIABLE, NOW)
    calls: list[dict[str, Any]] = []

    def season_review(*sources: object, progress: object, begin: object) -> object:
        farm, _, _, _, now, year = sources
        calls.append({"farm": farm, "now": now, "year": year})
        return small_season()

    module = importlib.import_module("scheduler.service.season_review")
    monkeypatch.setattr(module, "season_review", season_review)
    return calls


def status(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as ended:
        cli.main(arguments)
    return int(ended.value.code or 0)


def test_it_prints_the_summary(
    asked: list[dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert status(["review"]) == 0
    assert capsys.readouterr().out == review_text(small_season())
    assert asked[0]["year"] is None
    assert asked[0]["now"] == datetime.fromisoformat(NOW)


def test_year_moment_and_width_are_passed_on(
    asked: list[dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    arguments = ["review", "2013", "--as-of", "2013-06-20 20:00", "--width", "60"]
    assert status(arguments) == 0
    assert capsys.readouterr().out == review_text(small_season(), 60)
    assert asked[0]["year"] == 2013
    assert asked[0]["now"] == datetime.fromisoformat("2013-06-20T20:00-04:00")


def test_it_prints_json_and_nothing_else(
    asked: list[dict[str, Any]], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    capsys.readouterr()
    page = tmp_path / "season.html"
    assert status(["review", "--json", "--html", str(page)]) == 0
    said = capsys.readouterr()
    assert json.loads(said.out)["year"] == 2013
    assert f"wrote {page}" in said.err


def test_it_writes_the_page_over_an_older_one(asked: list[dict[str, Any]], tmp_path: Path) -> None:
    page = tmp_path / "season.html"
    page.write_text("older")
    assert status(["review", "--html", str(page)]) == 0
    assert page.read_text("utf-8") == review_html(small_season())
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["season.html"]


def test_it_writes_the_tables(asked: list[dict[str, Any]], tmp_path: Path) -> None:
    assert status(["review", "--csv", str(tmp_path / "tables")]) == 0
    assert sorted(path.name for path in (tmp_path / "tables").iterdir()) == sorted(FILE_NAMES)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--html", "farm/farm.toml"], "--html: found farm/farm.toml; allowed is a name that ends"),
        (["--html", "gone/season.html"], "--html: gone/season.html cannot be written; its folder"),
        (["--csv", "farm/farm.toml"], "--csv: farm/farm.toml is a file; name a folder"),
        (["--csv", "old"], "--csv: old/totals.csv is there already; choose another folder"),
        (["12"], "review: found '12'; allowed is a year from 1900 to 2013, as 2012"),
        (["last"], "review: found 'last'; allowed is a year from 1900 to 2013"),
        (["2014"], "review: found '2014'; allowed is a year from 1900 to 2013"),
    ],
)
def test_what_is_wrong_is_told_in_a_line_before_anything_is_computed(
    asked: list[dict[str, Any]],
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    message: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "totals.csv").write_text("mine")
    farm_file = (tmp_path / "farm" / "farm.toml").read_text()
    capsys.readouterr()
    assert status(["review", *arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert message in said.err
    assert len(said.err.splitlines()) == 1
    assert asked == []
    assert (tmp_path / "farm" / "farm.toml").read_text() == farm_file


def test_the_same_review_gives_the_same_page_to_the_last_letter() -> None:
    assert review_html(small_season()) == review_html(small_season())
