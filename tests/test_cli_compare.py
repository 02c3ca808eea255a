"""`compare` on the command line: what its words ask for, its faults, and that it writes nothing."""

from __future__ import annotations

import importlib
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from scheduler.errors import UsageError
from scheduler.service.compare import Comparison, RowsChange, SetUpChange, ToolChange
from tests.adapters.test_render_compare import made
from tests.test_cli import farm, started, status  # noqa: F401  (fixtures)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """The service hands out made figures; what it was asked is kept."""
    found: list[dict[str, Any]] = []

    def compare(
        of: Any, journal: Any, weather: Any, now: datetime, change: SetUpChange, **more: Any
    ) -> Comparison:
        found.append({"now": now, "change": change, **more})
        return made()

    module = importlib.import_module("scheduler.service.compare")
    monkeypatch.setattr(module, "compare", compare)
    return found


def test_words_need_no_quotes_and_changes_go_together(
    farm: Path,  # noqa: F811
    asked: list[dict[str, Any]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = "compare --rows carrot 2 --spacing 15 in --tool brush weeder --price 1800"
    said += " --tool mine = wheel hoe --hours -1 --stale head lettuce --truths 3 --year 2012"
    assert status(said.split()) == 0
    change = asked[0]["change"]
    assert change.rows == (RowsChange("carrot", 2, pytest.approx(381.0)),)
    assert change.tools == (
        ToolChange("brush weeder", "brush weeder"), ToolChange("mine", "wheel hoe"),
    )  # fmt: skip
    assert (change.price, change.more_h_a_week, change.stale) == (1800.0, -1.0, ("head lettuce",))
    assert (asked[0]["n_truths"], asked[0]["year"], asked[0]["by"]) == (3, 2012, "eyes")
    out = capsys.readouterr().out
    assert "played again" in out
    assert max(map(len, out.splitlines())) <= 80


def test_what_the_season_refuses_is_told_in_the_growers_units(
    farm: Path,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def compare(*_: Any, **__: Any) -> Comparison:
        raise UsageError("rows of carrot: 9 rows 381 mm apart need 3148 mm of bed")

    monkeypatch.setattr(importlib.import_module("scheduler.service.compare"), "compare", compare)
    assert status(["compare", "--rows", "carrot", "9", "--spacing", "15", "in"]) == 2
    assert "9 rows 15 in apart need 123.9 in of bed" in capsys.readouterr().err


def test_of_two_layouts_none_is_lost(
    farm: Path,  # noqa: F811
    asked: list[dict[str, Any]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = "compare --rows carrot 2 --spacing 15 in --rows beet 2"
    assert status(said.split()) == 2
    assert "--rows: found twice; give it once" in capsys.readouterr().err
    assert not asked


def test_json_and_another_width(
    farm: Path,  # noqa: F811
    asked: list[dict[str, Any]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert status(["compare", "--hours", "+2", "--json", "--by", "list"]) == 0
    assert json.loads(capsys.readouterr().out)["n_truths"] == 8
    assert asked[0]["by"] == "list"
    assert status(["compare", "--hours", "+2", "--width", "60"]) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 60


@pytest.mark.parametrize(
    ("said", "part"),
    [
        ("compare", "nothing is changed; give --rows, --tool, --without, --hours or --stale"),
        ("compare --hours many", "--hours: found 'many'"),
        ("compare --rows carrot two", "--rows: found 'carrot two'"),
        ("compare --tool plough", "--tool: found 'plough'"),
        ("compare --without plough", "--without: found 'plough'"),
        ("compare --hours +2 --by dice", "no rule 'dice'; eyes or list"),
        ("compare --hours +2", "no sowing or setting is on record"),
        ("compare --hours +2 --truths 0", "--truths"),
    ],
)
def test_faults_are_one_line_and_status_2(
    farm: Path,  # noqa: F811
    said: str,
    part: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert status(said.split()) == 2
    error = capsys.readouterr().err
    assert part in error
    assert len(error.strip().splitlines()) == 1
