"""How `sure` is told: the knots, the farm's own record, and that nothing else of a line moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.sure import (
    NO_RECORD,
    own_record,
    recalibrated,
    told_sure,
    with_told_sure,
)
from scheduler.records import BedAnswer, Range, SoilAnswer

IDENTITY = ((0.0, 0.0), (0.3, 0.3), (1.0, 1.0))
MODEST = ((0.0, 0.1), (0.5, 0.5), (0.9, 0.75), (1.0, 0.9))
SOIL = SoilAnswer(1.0, None, 1.0, 15.0)
SPAN = Range(10.0, 20.0, 40.0)


def line(sure: float | None, **minutes: Range) -> BedAnswer:
    return BedAnswer(
        1, "B4", None, "carrot", "go", "", None, sure, None, SOIL, None, None, ("why",),
        minutes=minutes or None, details=("before",),
    )  # fmt: skip


def rises(draw: st.DrawFn, n: int) -> list[float]:
    steps = draw(st.lists(st.floats(0.001, 1.0), min_size=n, max_size=n))
    whole = np.cumsum(steps)
    return (whole / whole[-1]).tolist()


@st.composite
def knot_tables(draw: st.DrawFn) -> tuple[tuple[float, float], ...]:
    n = draw(st.integers(1, 8))
    at, told = [0.0, *rises(draw, n)], rises(draw, n + 1)
    return tuple(zip(at, told, strict=True))


@given(knot_tables(), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_told_never_falls_and_stays_a_chance(
    knots: tuple[tuple[float, float], ...], a: float, b: float
) -> None:
    low, high = (recalibrated(min(a, b), knots), recalibrated(max(a, b), knots))
    assert 0.0 <= low <= high <= 1.0


@given(st.floats(0.0, 1.0))
def test_an_identity_changes_no_bit(stated: float) -> None:
    assert recalibrated(stated, IDENTITY) == stated


def test_between_knots_it_is_straight() -> None:
    """Halfway from 0.5 to 0.9, halfway from 0.5 to 0.75."""
    assert recalibrated(0.7, MODEST) == pytest.approx(0.625, abs=1e-12)


@pytest.mark.parametrize(
    "knots",
    [
        ((0.0, 0.0),),
        ((0.1, 0.1), (1.0, 1.0)),
        ((0.0, 0.0), (0.9, 0.9)),
        ((0.0, 0.0), (0.5, 0.4), (0.5, 0.6), (1.0, 1.0)),
        ((0.0, 0.0), (0.5, 0.6), (1.0, 0.5)),
        ((0.0, -0.1), (1.0, 1.0)),
        ((0.0, 0.0), (1.0, 1.1)),
    ],
)
def test_knots_that_are_none(knots: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(ValueError, match="knots"):
        recalibrated(0.5, knots)


# ------------------------------------------------------------------ own record


def test_nineteen_lines_change_nothing_and_twenty_do() -> None:
    assert not own_record([0.8] * 19, [False] * 19).is_moving
    assert own_record([0.8] * 20, [False] * 20).is_moving


def test_the_share_kept_by_hand() -> None:
    """40 lines of 0.75, 15 fit: (15 + 20 * 0.75) / (60 * 0.75)."""
    record = own_record([0.75] * 40, [True] * 15 + [False] * 25)
    assert record.kept_frac == pytest.approx(30.0 / 45.0, abs=1e-6)
    assert (record.n_lines, record.n_fit, record.n_meant) == (40, 15, 30.0)


def test_many_lines_outweigh_what_held() -> None:
    """Half of what was stated: few lines lower it a little, many nearly by half."""
    kept = [own_record([0.8] * n, [True] * (2 * n // 5) + [False] * (n - 2 * n // 5)).kept_frac
            for n in (20, 100, 2000)]  # fmt: skip
    assert kept[0] == pytest.approx(0.75, abs=1e-6)
    assert kept[0] > kept[1] > kept[2] > 0.5
    assert kept[2] < 0.51


@given(st.lists(st.tuples(st.floats(0.0, 1.0), st.booleans()), max_size=80))
def test_it_never_raises_and_never_takes_all(tried: list[tuple[float, bool]]) -> None:
    record = own_record([s for s, _ in tried], [f for _, f in tried])
    assert 0.0 < record.kept_frac <= 1.0
    if record.n_fit >= record.n_meant:
        assert record is not NO_RECORD
        assert record.kept_frac == 1.0


def test_an_honest_farm_is_left_alone() -> None:
    """Lines that find fit soil as often as stated, the least they do: 19 of 20 farms keep 0.88 or
    more, and six in ten all of it."""
    rng = np.random.default_rng(9)
    kept = []
    for _ in range(400):
        stated = rng.uniform(0.5, 1.0, 40)
        kept.append(own_record(stated.tolist(), (rng.random(40) < stated).tolist()).kept_frac)
    assert np.quantile(kept, 0.05) > 0.88
    assert np.mean(np.array(kept) == 1.0) > 0.6


def test_a_farm_that_finds_mud_is_learned_from() -> None:
    """Where half of what is stated comes true the told chance is off by less than before in every
    one of 200 farms of 60 lines."""
    rng = np.random.default_rng(10)
    for _ in range(200):
        stated = rng.uniform(0.5, 1.0, 60)
        record = own_record(stated.tolist(), (rng.random(60) < 0.5 * stated).tolist())
        assert abs(record.kept_frac - 0.5) < abs(1.0 - 0.5)


# ------------------------------------------------------------------ a line


def test_a_line_as_stated_is_the_very_same() -> None:
    answer = line(0.9, saved=SPAN)
    assert with_told_sure(answer, IDENTITY) is answer
    assert with_told_sure(line(None), MODEST) == line(None)


def test_only_the_figure_and_its_reason_change() -> None:
    answer = line(0.9, saved=SPAN)
    told = with_told_sure(answer, MODEST)
    assert told.sure == pytest.approx(0.75)
    assert told.sure_of_members == 0.9
    assert told.details[0] == "before"
    assert told.details[1] == (
        "sure: by the members alone 9 in 10; in seasons played on other weather 8 in 10 of such "
        "lines came true"
    )
    again = replace(told, sure=0.9, sure_of_members=None, details=("before",))
    assert again == answer


def test_a_change_that_reads_the_same_is_not_explained() -> None:
    told = with_told_sure(line(0.52, saved=SPAN), MODEST)
    assert told.sure != 0.52
    assert told.details == ("before",)


def test_soil_alone_is_told_by_the_own_record_only() -> None:
    """A crust or a mat states fit soil, which the played lines do not measure."""
    muddy = own_record([0.9] * 40, [True] * 18 + [False] * 22)
    assert with_told_sure(line(0.9), MODEST).sure == 0.9
    told = with_told_sure(line(0.9), MODEST, muddy)
    assert told.sure == pytest.approx(0.9 * muddy.kept_frac)
    assert "of your 40 tried lines 18 found the soil fit where 36 were to" in told.details[1]
    assert "played" not in told.details[1]


def test_both_steps_one_after_the_other() -> None:
    muddy = own_record([0.9] * 40, [True] * 18 + [False] * 22)
    assert told_sure(0.9, True, MODEST, muddy) == pytest.approx(0.75 * muddy.kept_frac)
