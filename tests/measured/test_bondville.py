"""The column as bare silt loam in the wet spring of 1998 at Bondville, Illinois.

Measured: NOAA/ARL flux site, latent heat by eddy covariance (which closes 10-20 % short),
5 cm water at 0.01 resolution, soil temperature at 2 cm; 1 April to 15 June.
"""

from __future__ import annotations

import pytest

from tests.measured import figures, series


@pytest.fixture(scope="module")
def bare(bare_site: series.Bondville) -> figures.BareFigures:
    return figures.bare_figures(bare_site)


def test_evaporation(bare: figures.BareFigures) -> None:
    assert 150.0 <= bare.evaporation_mm <= 195.0


def test_unanchored_evaporation_is_far_too_high(bare_site: series.Bondville) -> None:
    assert figures.bare_figures(bare_site, is_anchored=False).evaporation_mm > 230.0


def test_the_measured_sum_is_the_published_one(bare: figures.BareFigures) -> None:
    # 169 mm: half hours that were measured; with the gaps filled it is 187 mm
    assert bare.measured_evaporation_mm == pytest.approx(169.0, abs=1.0)


def test_ranks_of_days(bare: figures.BareFigures) -> None:
    assert bare.daily_rank >= 0.85


def test_daily_soil_temperature(bare: figures.BareFigures) -> None:
    assert bare.temp_2cm_rmse_c <= 1.2
