"""The sheet of cautions as a page: its tables, its units, its width."""

from __future__ import annotations

import re

import pytest

from scheduler.adapters.render.cautions_page import cautions_text
from scheduler.planning.cautions import CAUTION_SHEET, HEAT_BANDS
from scheduler.records import HeatBands


@pytest.mark.parametrize("width", [40, 60, 80])
@pytest.mark.parametrize("units", ["us", "metric", None])
def test_every_topic_and_band_stands_within_the_width(units: str | None, width: int) -> None:
    text = cautions_text(HeatBands(), units, width)
    assert max(map(len, text.splitlines())) <= width
    plain = " ".join(text.split())
    for topic, said in CAUTION_SHEET:
        assert f"{topic}: {said}" in plain
    assert all(f" {band}: " in plain for band in HEAT_BANDS[1:])
    assert not re.search(r"\bsafe\b", plain, re.IGNORECASE)


def test_bands_come_in_the_units_of_the_farm() -> None:
    us, metric, both = (cautions_text(HeatBands(), units, 200) for units in ("us", "metric", None))
    assert "from 103 F danger:" in us
    assert "from 39 C danger:" in metric
    assert "from 103 F (39 C) danger:" in both
    assert "index, 7 F more for full sun" in us  # a difference: no 32 to add
    assert "index, 4 C more for full sun" in metric
    assert "the weather service's" in us


def test_bands_of_the_farm_file_are_told_as_such() -> None:
    text = cautions_text(HeatBands((27.0, 32.0, 41.0, 54.0), 5.0), "metric", 200)
    assert "from 41 C danger:" in text
    assert "bands: the farm file's" in text


def test_noise_by_level() -> None:
    text = cautions_text(width=200)
    assert (
        "a day at most: 85 dBA 8 h, 88 dBA 4 h, 91 dBA 2 h, 94 dBA 1 h, 97 dBA 30 min, "
        "100 dBA 15 min, 103 dBA 7.5 min" in text
    )
