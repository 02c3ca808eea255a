"""The fit of how `sure` is told, on invented lines whose truth is known."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import isotonic_regression

from scheduler import reference
from scheduler.service import settings
from tests.season import figures, played, recalibrate, stage
from tests.season.recalibrate import GRID, Lines, fitted, lines_of, spread
from tests.season.test_figures import row

MAIN = stage.ours_name(stage.MAIN_PRICE)


def true_chance(stated: np.ndarray) -> np.ndarray:
    """Modest: 1 comes true 9 times in 10, 0.5 as stated, 0.2 more often."""
    return np.interp(stated, [0.0, 0.5, 1.0], [0.2, 0.5, 0.9])


def made_lines(n: int, seed: int) -> Lines:
    rng = np.random.default_rng(seed)
    stated = rng.beta(3.0, 1.0, n)
    stated[: n // 4] = 1.0  # as members often agree
    came = rng.random(n) < true_chance(stated)
    return Lines(stated, came.astype(float), np.arange(n) % 20)


def made_rows(truths: Sequence[str], seed: int, rule: str = MAIN) -> list[played.Played]:
    rows = []
    for weather in ("Wet 2001", "Dry 2002"):
        for i, truth in enumerate(truths):
            lines = made_lines(400, seed + 10 * i + len(weather))
            rows.append(
                row(
                    rule, figures.OURS, 500.0, 150.0, weather=weather, truth=truth,
                    stated=tuple(lines.stated.tolist()),
                    came_true=tuple(bool(c) for c in lines.came_true),
                )
            )  # fmt: skip
    return rows


def written(path: Path, rows: Sequence[played.Played]) -> Path:
    list(played.add_played(rows, path))
    return path


def test_it_finds_the_truth() -> None:
    told = fitted(made_lines(40_000, 1))
    at = np.array(GRID)
    is_met = at >= 0.4  # few lines lie below
    np.testing.assert_allclose(told[is_met], true_chance(at[is_met]), rtol=0.0, atol=0.03)


def test_it_never_falls_even_where_lines_do() -> None:
    """Lines of 0.6 that came true more often than those of 0.9: both are told one figure."""
    stated = np.repeat([0.6, 0.9], 2000)
    came = np.concatenate((np.arange(2000) < 1600, np.arange(2000) < 1000)).astype(float)
    told = fitted(Lines(stated, came, np.zeros(4000, np.int64)), as_stated=1e-6)
    pooled = isotonic_regression([0.8, 0.5], weights=[1.0, 1.0]).x
    assert (np.diff(told) >= 0.0).all()
    np.testing.assert_allclose(
        told[[GRID.index(0.6), GRID.index(0.9)]], pooled, rtol=0.0, atol=1e-6
    )


def test_on_its_knots_it_is_the_isotonic_fit() -> None:
    """Lines that state the points of the grid alone, against the fit of another library."""
    rng = np.random.default_rng(4)
    at = np.array(GRID)
    counts = rng.integers(200, 400, at.size)
    shares = np.clip(at + rng.normal(0.0, 0.15, at.size), 0.0, 1.0)
    n_true = np.round(shares * counts).astype(int)
    stated = np.repeat(at, counts)
    came = np.concatenate([np.arange(n) < k for n, k in zip(counts, n_true, strict=True)])
    told = fitted(
        Lines(stated, came.astype(float), np.zeros(stated.size, np.int64)), as_stated=1e-6
    )
    other = isotonic_regression(n_true / counts, weights=counts).x
    np.testing.assert_allclose(told, other, rtol=0.0, atol=1e-6)


def test_few_lines_move_little() -> None:
    """25 lines as stated stand against them: 25 lines of 0.9 that all failed halve it at most."""
    few = Lines(np.full(25, 0.9), np.zeros(25), np.zeros(25, np.int64))
    told = fitted(few)
    assert told[GRID.index(1.0)] > 0.3
    none = fitted(Lines(np.zeros(0), np.zeros(0), np.zeros(0, np.int64)))
    np.testing.assert_allclose(none, GRID, rtol=0.0, atol=1e-9)


def test_the_spread_holds_the_value_and_narrows() -> None:
    wide, narrow = made_lines(1000, 2), made_lines(20_000, 2)
    for lines in (wide, narrow):
        low, high = spread(lines, n_draws=50)
        value = fitted(lines)
        assert ((low - 0.02 <= value) & (value <= high + 0.02)).all()
    often = np.array(GRID) >= 0.6  # where most lines are
    widths = [
        np.subtract(*spread(lines, n_draws=50)[::-1])[often].mean() for lines in (wide, narrow)
    ]
    assert widths[1] < 0.5 * widths[0]


def test_told_lines_come_true_as_told_on_lines_unseen() -> None:
    told = fitted(made_lines(8000, 5))
    table = figures.frame(made_rows(["a", "b", "c"], 900))
    knots = tuple(zip(GRID, told.tolist(), strict=True))
    before, after = figures.sure_bins(table), figures.sure_bins(table, knots=knots)
    assert recalibrate.error(after) < 0.5 * recalibrate.error(before)
    assert sum(b.n_lines for b in before) == sum(b.n_lines for b in after)
    (pooled,) = figures.sure_bins(table, (0.7, 0.9), knots=knots)
    assert 0.7 <= pooled.came_true <= 0.9


def test_a_truth_under_a_weather_is_one_season() -> None:
    rows = made_rows(["a", "b"], 1)
    assert len(np.unique(lines_of(figures.frame(rows)).season)) == 4


# ------------------------------------------------------------------ the command


@pytest.fixture
def table(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A copy of the table of the program, which the command writes to."""
    path = tmp_path / "sure.csv"
    path.write_text(recalibrate.TABLE.read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.setattr(recalibrate, "TABLE", path)
    return path


def test_the_command_writes_a_table_that_the_program_reads(
    table: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = written(tmp_path / "tuning.jsonl", made_rows(stage.tuning_names(), 1))
    asked = ["--rows", str(rows), "--judge", str(tmp_path / "none"), "--any-program", "--write"]
    before = {r["parameter"]: r for r in csv.DictReader(table.read_text("utf-8").splitlines())}
    assert recalibrate.main(asked) == 0
    assert "written: sure.csv" in capsys.readouterr().out

    after = {r["parameter"]: r for r in csv.DictReader(table.read_text("utf-8").splitlines())}
    assert set(after) == set(before)
    assert after["least_lines"] == before["least_lines"]
    folder = tmp_path / "tables"
    folder.mkdir()
    for file in (played.PROGRAM / "reference").iterdir():
        if file.suffix in {".csv", ".toml"}:
            text = (table if file.name == "sure.csv" else file).read_text(encoding="utf-8")
            (folder / file.name).write_text(text, encoding="utf-8")
    read = reference.load_tables(folder)
    monkeypatch.setattr(settings, "tables", lambda: read)
    knots = settings.sure_knots.__wrapped__()
    assert [at for at, _ in knots] == list(GRID)
    assert dict(knots)[1.0] == pytest.approx(0.9, abs=0.03)


def test_what_judges_is_not_fitted_on(table: Path, tmp_path: Path) -> None:
    rows = written(tmp_path / "tuning.jsonl", made_rows(["inside 01"], 1))
    was = table.read_text(encoding="utf-8")
    asked = ["--rows", str(rows), "--judge", str(tmp_path / "none"), "--any-program", "--write"]
    assert recalibrate.main(asked) == 2
    assert table.read_text(encoding="utf-8") == was


def test_no_rows_no_table(table: Path, tmp_path: Path) -> None:
    assert recalibrate.main(["--rows", str(tmp_path / "none"), "--write"]) == 2


def test_rules_with_looks_count_and_other_prices_do_not() -> None:
    rows = [
        *made_rows(["a"], 1),
        *made_rows(["a"], 2, f"{MAIN}, a look a week"),
        *made_rows(["a"], 3, stage.ours_name(0.5)),
    ]
    meant = recalibrate.meant_rows(figures.frame(rows), None)
    assert set(meant["rule"]) == {MAIN, f"{MAIN}, a look a week"}
    with pytest.raises(SystemExit, match="no row of nobody"):
        recalibrate.meant_rows(figures.frame(rows), ["nobody"])


def test_a_fit_leaves_played_rows_as_they_are(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The mark of the program's text does not hear how `sure` is told."""
    (tmp_path / "reference").mkdir()
    for name, text in (("sure.csv", "a"), ("rules.csv", "s,p,1"), ("weeds.csv", "w")):
        (tmp_path / "reference" / name).write_text(text, encoding="utf-8")
    monkeypatch.setattr(played, "PROGRAM", tmp_path)
    mark = played.program_mark(("reference",), "study")
    (tmp_path / "reference" / "sure.csv").write_text("b", encoding="utf-8")
    assert played.program_mark(("reference",), "study") == mark
    (tmp_path / "reference" / "weeds.csv").write_text("v", encoding="utf-8")
    assert played.program_mark(("reference",), "study") != mark
