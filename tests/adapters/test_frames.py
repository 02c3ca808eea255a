"""The answer of a morning as a table."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pandas
import pytest
from pydantic import TypeAdapter

from scheduler.adapters.frames import beds_frame
from scheduler.records import Morning

GOLDEN = Path(__file__).parents[1] / "golden"


@pytest.fixture(params=["spring", "wet"])
def morning(request: pytest.FixtureRequest) -> Morning:
    text = (GOLDEN / f"morning_{request.param}.json").read_text()
    return TypeAdapter(Morning).validate_json(text)


def test_every_planting_has_one_row_and_keeps_its_figures(morning: Morning) -> None:
    frame = beds_frame(morning)
    answers = (*morning.beds, *morning.not_reached)
    assert len(frame) == len(answers)
    assert frame.index.is_unique
    for bed in answers:
        row = frame.loc[bed.bed if bed.part is None else f"{bed.bed}/{bed.part}"]
        assert row["verdict"] == bed.verdict
        assert row["surface_rel_water"] == bed.soil.surface_rel_water
        if bed.sure is None:
            assert math.isnan(row["sure_frac"])
        else:
            assert row["sure_frac"] == bed.sure
        if bed.action is None:
            assert pandas.isna(row["start"])
            assert math.isnan(row["work_min"])
        else:
            assert row["tool"] == bed.action.tool
            assert row["start"] == bed.action.start
            assert row["work_min"] == bed.action.work_min
    assert frame["is_reached"].sum() == len(morning.beds)


def test_types_hold_whatever_is_missing(morning: Morning) -> None:
    zone = morning.farm.place.time_zone
    bare = tuple(
        replace(bed, rank=None, action=None, crust=None, flush=None, until=None, sure=None)
        for bed in morning.beds
    )
    for answer in (morning, replace(morning, beds=bare), replace(morning, beds=(), not_reached=())):
        frame = beds_frame(answer)
        for name in ("until", "start", "workable_from", "thread_most_at", "last_good_at"):
            assert isinstance(frame[name].dtype, pandas.DatetimeTZDtype)
            assert str(frame[name].dtype.tz) == zone
        for name in ("sure_frac", "work_min", "gdd_since_opening_cd"):
            assert frame[name].dtype == "float64"
        assert frame["rank"].dtype == "Int64"


def test_a_table_goes_to_csv_and_back(morning: Morning, tmp_path: Path) -> None:
    frame = beds_frame(morning)
    frame.to_csv(tmp_path / "beds.csv")
    back = pandas.read_csv(tmp_path / "beds.csv", index_col="planting")
    assert list(back.columns) == list(frame.columns)
    assert back["verdict"].tolist() == frame["verdict"].tolist()
