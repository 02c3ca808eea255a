"""The measured series, or a skip that says why."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.measured import figures, series


@pytest.fixture(scope="session")
def measured_folder() -> Path:
    folder = series.data_folder()
    if folder is None:
        pytest.skip(series.WHY_SKIPPED)
    return folder


@pytest.fixture(scope="session")
def grass(measured_folder: Path) -> figures.GrassTable:
    return figures.grass_table(series.grass_sites(measured_folder))


@pytest.fixture(scope="session")
def bare_site(measured_folder: Path) -> series.Bondville:
    return series.bondville(measured_folder)
