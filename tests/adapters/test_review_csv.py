"""The tables of a season, as frames and as CSV files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas
import pytest

from scheduler.adapters.frames import (
    days_frame,
    fit_days_frame,
    passes_frame,
    replays_frame,
    scores_frame,
    totals_frame,
    windows_frame,
)
from scheduler.adapters.review_csv import FILE_NAMES, require_free_folder, write_review_csv
from scheduler.errors import UsageError
from scheduler.records import SeasonReview
from tests.adapters.review_made import bare_season, half_season, small_season

FRAMES = (
    windows_frame,
    passes_frame,
    totals_frame,
    fit_days_frame,
    days_frame,
    scores_frame,
    replays_frame,
)


@pytest.mark.parametrize("frame", FRAMES)
def test_types_hold_whatever_is_missing(frame: Callable[[SeasonReview], pandas.DataFrame]) -> None:
    full, bare = frame(small_season()), frame(bare_season())
    assert list(full.columns) == list(bare.columns)
    for name in full.columns:
        if full[name].dtype != object and not pandas.api.types.is_string_dtype(full[name]):
            assert full[name].dtype == bare[name].dtype, name
    assert len(full) > 0


def test_windows_keep_their_figures() -> None:
    review = small_season()
    frame = windows_frame(review)
    assert list(frame["planting"]) == [window.key for window in review.windows]
    assert list(frame["cost_mid_min"]) == [window.cost_min.mid for window in review.windows]
    assert list(frame["weeds_high_m2"]) == [window.weeds_m2.high for window in review.windows]
    assert [moment == window.ripe_at for moment, window in zip(
        frame["ripe_at"], review.windows, strict=True)] == [True] * len(frame)  # fmt: skip
    assert str(frame["ripe_at"].dt.tz) == "America/New_York"
    missed = frame[frame["outcome"] == "missed"]
    by_reason = missed.groupby("reason")["cost_mid_min"].sum()
    for total in review.totals["reason"]:
        assert by_reason[total.name] == pytest.approx(total.cost_min.mid, rel=1e-12)


def test_days_are_one_row_for_each_planting_and_day() -> None:
    review = small_season()
    frame = days_frame(review)
    n_days = len(review.rain_mm)
    assert len(frame) == len(review.strips) * n_days
    one = frame[frame["planting"] == "B4"].reset_index(drop=True)
    np.testing.assert_array_equal(one["thread_m2"], review.strips[2].weeds_m2[:, 0])
    np.testing.assert_array_equal(one["rain_mm"], review.rain_mm)
    assert one["on"].iloc[0] == pandas.Timestamp("2013-03-19")
    assert one["crop"].iloc[20] == "carrot"
    assert pandas.isna(one["crop"].iloc[120])


def test_scores_have_a_row_for_each_chance_said() -> None:
    frame = scores_frame(small_season())
    assert list(frame["what"]) == ["working hours"] * 4 + ["emergence", "kill"] + ["sure"] * 2
    assert frame["n_said"].sum() == 8 + 20 + 44 + 110 + 12 + 62


def test_files_hold_what_the_frames_hold(tmp_path: Path) -> None:
    review = small_season()
    paths = write_review_csv(review, tmp_path / "season")
    assert [path.name for path in paths] == list(FILE_NAMES)
    for path, frame in zip(paths, FRAMES, strict=True):
        read, made = pandas.read_csv(path), frame(review)
        assert list(read.columns) == list(made.columns)
        assert len(read) == len(made)
        for name in made.columns:
            if made[name].dtype == "float64":
                np.testing.assert_allclose(read[name], made[name], rtol=1e-5, atol=1e-12)
    windows = pandas.read_csv(paths[0])
    assert windows["ripe_at"][0] == "2013-05-06T10:00-04:00"
    assert pandas.read_csv(paths[3])["week_on"][0] == "2013-03-18"
    assert sorted(path.name for path in (tmp_path / "season").iterdir()) == sorted(FILE_NAMES)


@pytest.mark.parametrize("season", [bare_season, half_season])
def test_a_season_with_little_has_its_files(
    tmp_path: Path, season: Callable[[], SeasonReview]
) -> None:
    for path in write_review_csv(season(), tmp_path):
        assert path.read_bytes().count(b"\r\n") >= 1


def test_text_is_no_formula(tmp_path: Path) -> None:
    review = small_season()
    windows = (replace(review.windows[0], crop="=1+1", why="-2"), *review.windows[1:])
    (path, *_) = write_review_csv(replace(review, windows=windows), tmp_path)
    first = pandas.read_csv(path).iloc[0]
    assert first["crop"] == "'=1+1"
    assert first["why"] == "'-2"


def test_nothing_is_written_over(tmp_path: Path) -> None:
    (tmp_path / "totals.csv").write_text("mine")
    with pytest.raises(UsageError, match=r"totals\.csv is there already; choose another folder"):
        write_review_csv(small_season(), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["totals.csv"]
    with pytest.raises(UsageError, match="is a file"):
        require_free_folder(tmp_path / "totals.csv")
