"""Blocks of days and what is kept of them: calendar, shares, soils felt in former months."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from scheduler.planning.ensemble import ShiftPrior
from scheduler.planning.former import (
    SOIL_KEPT_FRAC,
    SoilEvidence,
    block_of,
    blocks_of,
    cut_after,
    growing_year,
    of_beds,
    shift_prior,
    soil_evidence,
)
from scheduler.planning.looks import Evidence, pooled
from scheduler.planning.squeeze import AS_DRAWN, SHIFT_SD_M3M3, Handful, squeezed

NORTH, SOUTH = 42.0, -38.0


@pytest.mark.parametrize("year", [2013, 2016])
def test_every_day_of_a_year_lies_in_one_block(year: int) -> None:
    day = date(year, 1, 1)
    blocks = []
    while day.year == year:
        block = block_of(day)
        assert block.starts_on <= day < block.ends_on
        assert block.starts_on.year == year
        if not blocks or blocks[-1] != block:
            blocks.append(block)
        day += timedelta(days=1)
    lengths = [(b.ends_on - b.starts_on).days for b in blocks]
    assert lengths == [30] * 11 + [(date(year + 1, 1, 1) - date(year, 1, 1)).days - 330]
    assert all(a.ends_on == b.starts_on for a, b in pairwise(blocks))
    assert [f"{b.middle_on:%m}" for b in blocks] == [f"{month:02}" for month in range(1, 13)]


def test_the_cut_is_a_boundary_at_most_one_block_on() -> None:
    for n in range(800):
        day = date(2012, 1, 1) + timedelta(days=n)
        cut = cut_after(day)
        assert block_of(cut).starts_on == cut
        assert timedelta(0) < cut - day <= timedelta(days=36)


def test_blocks_count_for_this_year_and_the_last_once_they_have_ended() -> None:
    days = [date(y, 4, d) for y in (2011, 2012, 2013) for d in (3, 20)]
    found = blocks_of(days, date(2013, 5, 1), 2013, NORTH)
    assert [b.starts_on for b in found] == [date(2012, 3, 31), date(2013, 4, 1)]
    assert blocks_of(days, date(2013, 4, 30), 2013, NORTH) == found[:1]
    assert blocks_of(days, date(2015, 1, 1), 2015, NORTH) == ()
    assert blocks_of([date(2014, 4, 3)], date(2013, 5, 1), 2013, NORTH) == ()


@pytest.mark.parametrize("later", [0, 90, 150])
def test_a_season_of_the_south_counts_as_the_same_season_of_the_north(later: int) -> None:
    """October there is April here: looks of spring count alike for the rest of their summer."""
    for latitude, spring, autumn in (
        (NORTH, date(2013, 4, 16), date(2012, 10, 16)),
        (SOUTH, date(2013, 10, 16), date(2013, 4, 16)),
    ):
        now = spring + timedelta(days=61 + later)
        year = growing_year(now, latitude)
        days = [spring, autumn, autumn - timedelta(days=400)]
        found = blocks_of(days, now, year, latitude)
        years = [year - growing_year(block.middle_on, latitude) for block in found]
        assert years == [1, 0]


def test_parts_of_a_bed_do_not_say_the_same_twice() -> None:
    said = Evidence("A1", "loam", np.full(5, 1.0), np.full(5, 4.0))
    silent = Evidence("A2", "loam", np.zeros(5), np.zeros(5))
    whole = pooled("A1", "loam", of_beds([said]))
    parts = pooled("A1", "loam", of_beds([said, said, silent]))
    np.testing.assert_allclose(parts.mean, whole.mean)
    np.testing.assert_allclose(parts.sd, whole.sd)


N = 12
_RNG = np.random.default_rng(3)
MEMBERS = _RNG.normal(0.0, 0.02, N)  # how much wetter than the mean member each can be worked


def felt(wetter_m3m3: float, n: int = 8) -> list[Handful]:
    """Honest handfuls of a soil that can be worked so much wetter than the mean member."""
    found = []
    for excess in np.linspace(-0.04, 0.05, n):
        feel = "smears" if excess > wetter_m3m3 else "crumbles"
        found.append(Handful(feel, excess - MEMBERS, np.zeros(N, bool)))
    return found


@pytest.mark.parametrize("wetter", [-0.02, 0.0, 0.025])
def test_what_a_block_says_of_a_soil_is_near_the_truth(wetter: float) -> None:
    handfuls = felt(wetter + MEMBERS.mean())
    found = soil_evidence("loam", handfuls, squeezed(handfuls, np.zeros(N), 0.5 * N))
    assert found.mean_m3m3 == pytest.approx(wetter, abs=0.012)
    assert 0.0 < found.sd_m3m3 < 0.03


def test_handfuls_that_are_all_doubted_say_nothing() -> None:
    hard = Handful("wet", np.full(N, -0.15), np.zeros(N, bool))
    found = squeezed([hard], np.zeros(N), 0.5 * N)
    assert found.doubted == (0,)
    assert soil_evidence("loam", [hard], found).sd_m3m3 == np.inf


def test_a_block_is_worth_half_in_later_months_and_half_of_that_a_year_on() -> None:
    for years in (0, 1):
        found = shift_prior([SoilEvidence("loam", 0.03, 1e-9, years)])
        assert found.mean_m3m3 == pytest.approx(0.03 * SOIL_KEPT_FRAC ** (years + 1))
        assert found.sd_m3m3 < SHIFT_SD_M3M3
    unsure = shift_prior([SoilEvidence("loam", 0.03, 0.03)])
    assert 0.0 < unsure.mean_m3m3 < 0.01
    two = shift_prior([SoilEvidence("loam", 0.03, 1e-9)] * 2)
    assert 0.015 < two.mean_m3m3 < 0.03
    assert shift_prior([SoilEvidence("loam", 0.0, np.inf)]) == AS_DRAWN


def test_handfuls_of_now_outweigh_what_was_thought() -> None:
    handfuls = felt(MEMBERS.mean() - 0.01)
    wetter = ShiftPrior(0.015, 0.015)
    plain = squeezed(handfuls, np.zeros(N), 0.5 * N)
    after = squeezed(handfuls, np.zeros(N), 0.5 * N, wetter)
    assert not after.doubted
    moved = float(after.weights @ after.shift_m3m3) - float(plain.weights @ plain.shift_m3m3)
    assert 0.0 < moved < 0.012
    same = squeezed(handfuls, np.zeros(N), 0.5 * N, AS_DRAWN)
    assert (same.shift_m3m3 == plain.shift_m3m3).all()
    assert (same.weights == plain.weights).all()
