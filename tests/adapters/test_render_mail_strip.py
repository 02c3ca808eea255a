"""The hours around a morning: the picture and the same in words."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from PIL import Image

from scheduler.adapters.render.strip_png import MAX_SOILS, strip_png, strip_words
from tests.adapters.mail_made import ZONE, strip


def picture(data: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(data)).convert("L"))


def test_a_small_grey_picture() -> None:
    """Small enough for a slow link; grey alone, so that no meaning hangs on a colour."""
    data = strip_png(strip(), "metric", ZONE)
    assert len(data) < 40_000
    image = Image.open(io.BytesIO(data))
    assert image.width == 1080
    pixels = np.asarray(image.convert("RGB")).astype(int)
    assert np.abs(pixels[..., 0] - pixels[..., 2]).max() == 0
    assert picture(data).min() < 30
    assert picture(data).max() == 255


def test_the_same_hours_give_the_same_picture() -> None:
    assert strip_png(strip(), "metric", ZONE) == strip_png(strip(), "metric", ZONE)


def test_what_changes_the_hours_changes_the_picture() -> None:
    usual = strip()
    base = picture(strip_png(usual, "metric", ZONE))
    changed = [
        replace(usual, rain_mm=usual.rain_mm * 0.5),
        replace(usual, rain_high_mm=usual.rain_high_mm * 2.0),
        replace(usual, is_open=~usual.is_open),
        replace(
            usual, workable_frac={name: 0.0 * span for name, span in usual.workable_frac.items()}
        ),
        replace(
            usual,
            surface_rel_water={n: 0.5 * span for n, span in usual.surface_rel_water.items()},
        ),
        replace(usual, n_past=30),
    ]
    for other in changed:
        assert (picture(strip_png(other, "metric", ZONE)) != base).mean() > 1e-4


@pytest.mark.parametrize("n_soils", [0, 1, MAX_SOILS + 3])
def test_any_number_of_soils(n_soils: int) -> None:
    data = strip_png(strip(tuple(f"soil {n}" for n in range(n_soils))), "us", ZONE)
    assert picture(data).shape[0] == 3 * (82 + 29 * min(n_soils, MAX_SOILS))


def test_missing_values_and_short_strips_are_drawn() -> None:
    usual = strip()
    gaps = replace(
        usual,
        rain_mm=np.where(np.arange(72) == 15, np.nan, usual.rain_mm),
        surface_rel_water={"silt": np.full(72, np.nan)},
        workable_frac={"silt": np.full(72, np.nan)},
    )
    assert strip_png(gaps, "metric", ZONE)
    assert "silt in no hour" in strip_words(gaps, "metric", ZONE)
    none = replace(
        usual,
        n_past=0,
        rain_mm=np.zeros(1),
        rain_high_mm=np.zeros(1),
        surface_rel_water={},
        workable_frac={},
        is_open=np.zeros(1, dtype=bool),
    )
    assert strip_png(none, "metric", ZONE)
    assert "Your hours: none." in strip_words(none, "metric", ZONE)


def test_words_for_rain_that_still_falls_and_for_none() -> None:
    usual = strip()
    falling = replace(usual, rain_mm=np.where(np.arange(72) >= 20, 1.0, 0.0))
    assert "4.0 mm of rain since Mon 05:00, it still falls." in strip_words(falling, "metric", ZONE)
    dry = replace(usual, rain_mm=np.zeros(72))
    words = strip_words(dry, "metric", ZONE)
    assert words.startswith("No rain since Mon 05:00. No rain in sight until Thu 05:00.")


def test_words_are_in_the_growers_units() -> None:
    words = strip_words(strip(), "us", ZONE)
    assert "0.55 in of rain since Mon 05:00" in words
    assert "Water in the top 1.0 in, 100 is just drained" in words
    assert " mm" not in words


def test_words_follow_the_clock_of_the_farm_when_it_changes() -> None:
    """The night of 29 March has an hour less in Berlin; a span over it keeps the wall clock."""
    zone = ZoneInfo("Europe/Berlin")
    usual = strip()
    spring = replace(
        usual,
        start_at=datetime(2026, 3, 28, 5, tzinfo=zone),
        workable_frac={"silt": np.where(np.arange(72) >= 28, 0.9, 0.0)},
    )
    assert "silt from 10:00 on" in strip_words(spring, "metric", zone)  # 28 h after 05:00
    assert strip_png(spring, "metric", zone)


def test_the_water_of_each_soil_now_and_a_day_later() -> None:
    words = strip_words(strip(("sand", "silt")), "metric", ZONE)
    assert (
        "Water in the top 25 mm, 100 is just drained, now and in 24 h: sand 85, then 60; silt 102"
        in (words)
    )


# ------------------------------------------------------------- hours not yet read


def test_rain_of_an_hour_not_yet_read_is_to_come() -> None:
    """The station is an hour behind; what is forecast for that hour has not fallen yet."""
    usual = strip()
    rain = np.where(np.arange(72) == 23, 4.0, 0.0)
    words = strip_words(replace(usual, rain_mm=rain), "metric", ZONE, at(14, 4))
    assert words.startswith(
        "No rain since Mon 05:00. Until Thu 05:00 about 4.0 mm of rain, most of it 04:00-05:00."
    )


def test_hours_without_a_reading_are_told() -> None:
    dry = replace(strip(), rain_mm=np.zeros(72))
    assert "No rain since Mon 05:00; not read since Mon 20:00." in strip_words(
        dry, "metric", ZONE, at(13, 20)
    )
    wet = strip_words(strip(), "metric", ZONE, at(13, 20, 30))
    assert "2.0 mm of rain since Mon 05:00, the last before Mon 20:00; not read since Mon" in wet
    words = strip_words(dry, "metric", ZONE, at(11, 4))
    assert words.startswith("Rain was last read Sat 11 May 04:00. No rain in sight until Thu")


def test_rain_not_read_is_drawn_as_rain_to_come() -> None:
    read, unread = (strip_png(strip(), "metric", ZONE, until) for until in (None, at(11, 4)))
    assert picture(read).shape == picture(unread).shape
    assert (picture(read) != picture(unread)).mean() > 1e-3


def test_soils_of_the_same_hours_are_told_together() -> None:
    usual = strip(("sand", "silt", "clay"))
    alike = dict.fromkeys(usual.workable_frac, np.ones(72))
    words = strip_words(replace(usual, workable_frac=alike), "metric", ZONE)
    assert "8 in 10 sure: sand, silt and clay from now on." in words


def test_hours_of_rain_are_told_where_they_are_few() -> None:
    usual = strip()
    drizzle = replace(usual, rain_mm=np.where(np.arange(72) >= 24, 0.1, 0.0))
    words = strip_words(drizzle, "metric", ZONE)
    assert "Until Thu 05:00 about 4.8 mm of rain. " in words
    hardly = replace(usual, rain_mm=np.where(np.arange(72) == 30, 0.3, 0.0))
    assert "Hardly any rain in sight until Thu 05:00." in strip_words(hardly, "metric", ZONE)


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2013, 5, day, hour, minute, tzinfo=ZONE)
