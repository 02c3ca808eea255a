"""The page of the weather: what it says, and that it fits."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.adapters.weather.doubts import weather_doubts
from scheduler.adapters.weather.show import source_lines, weather_text
from scheduler.adapters.weather.sources import credit_lines
from scheduler.planning.forcing import hourly_series
from scheduler.records import Event, Forecast, Kind, Place, WeatherSeries, WeatherValue

PLACE = Place(40.7, -74.0, 5.0, "America/New_York")
NOW = datetime(2013, 5, 14, 9, tzinfo=UTC)  # 05:00 on the farm
HOUR = timedelta(hours=1)
START = datetime(2013, 5, 1, 4, tzinfo=UTC)  # midnight on the farm


def hourly(variable: str, values: Sequence[float]) -> list[WeatherValue]:
    return [
        WeatherValue(
            variable,
            START + i * HOUR,
            START + (i + 1) * HOUR,
            float(value),
            Kind.OBSERVED,
            "station A",
            START + (i + 1) * HOUR,
        )
        for i, value in enumerate(values)
        if not np.isnan(value)
    ]


@pytest.fixture(scope="module")
def series() -> WeatherSeries:
    n_hours = int((NOW - START) / HOUR) - 3  # the station is three hours late
    hour = np.arange(n_hours)
    rain = np.zeros(n_hours)
    rain[8 * 24 + 10] = 25.4  # 9 May, 10:00 on the farm
    rain[9 * 24 : 9 * 24 + 6] = np.nan
    read_at = datetime(2013, 5, 12, 11, tzinfo=UTC)
    gauge = Event(
        "1",
        "rain",
        read_at,
        read_at,
        data={
            "rain_mm": 6.0,
            "start_at": (read_at - 24 * HOUR).isoformat(),
            "end_at": read_at.isoformat(),
        },
    )
    forecast = Forecast(
        "service F",
        NOW - 2 * HOUR,
        NOW - HOUR,
        NOW,
        {"rain_mm": np.full(43, 0.1), "air_temp_c": np.full(43, 12.0)},
    )
    values = hourly("rain_mm", rain) + hourly("air_temp_c", 12 + 5 * np.cos((hour - 15) / 3.8))
    return hourly_series(values, [gauge], forecast, START, NOW + 96 * HOUR, NOW, PLACE)


def line_of(text: str, title: str) -> str:
    (line,) = [line for line in text.splitlines() if line.startswith(title)]
    return line


def test_the_page_says_age_source_rain_and_what_is_missing(series: WeatherSeries) -> None:
    text = weather_text(series, NOW, PLACE, "metric")
    assert text.startswith(
        "Observed to Tue 14 May 02:00, 3 h old. Forecast of Tue 14 May 03:00, 2 h old.\n"
        "From: own gauge, station A, service F.\n"
    )
    assert line_of(text, "Thu 9 May").split()[3:] == ["25.4", "7", "17", "2", "station"]
    assert "0.0+" in line_of(text, "Fri 10 May")
    assert "station 18 h, unknown 6 h" in line_of(text, "Fri 10 May")
    assert "4.2~" in line_of(text, "Sat 11 May")  # 17 of the 24 hours of a reading of 6 mm
    assert "1.8~" in line_of(text, "Sun 12 May")
    assert "own gauge 17 h, station 7 h" in line_of(text, "Sat 11 May")
    assert "1.9" in line_of(text, "today to come")
    assert line_of(text, "Thu 16 May").split()[3] == "?"
    missing, filled = text.split("Missing or in doubt:\n")[1].split("\nFilled in or left out:\n")
    assert "- rain unknown for 9 hours in 2 stretches" in missing
    assert "- wind unknown for" in filled
    assert "wind" not in missing
    bare = weather_text(replace(series, fills=()), NOW, PLACE, "metric")
    assert bare == text.split("\nFilled in or left out:")[0]
    assert "+ at least: some hours are not known." in text


def test_units_of_the_grower(series: WeatherSeries) -> None:
    text = weather_text(series, NOW, PLACE, "us", 120)
    assert line_of(text, "Thu 9 May").split()[3:7] == ["1.00", "45", "63", "4"]
    assert line_of(text, "Thu 9 May").split()[7:] == ["station", "station"]
    assert "Temperature, F" in text
    assert "Rain in 6 hours, in" in text
    assert " mm" not in text
    assert " m/s" not in text


@pytest.mark.parametrize("width", [36, 60, 80, 120])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_page_fits(series: WeatherSeries, width: int, units: str) -> None:
    text = weather_text(series, NOW, PLACE, units, width)
    assert max(len(line) for line in text.splitlines()) <= width
    assert "\x1b" not in text  # no colour
    assert weather_text(series, NOW, PLACE, units, width) == text


def test_the_plot_shows_the_storm_and_now(series: WeatherSeries) -> None:
    text = weather_text(series, NOW, PLACE, "metric")
    rain = text[text.index("Rain in 6 hours") : text.index("Missing or in doubt")]
    assert "25.4" in rain
    assert rain.count("#") >= 4
    dry = replace(series, rain_mm=np.zeros_like(series.rain_mm), rain_totals=())
    rain = weather_text(dry, NOW, PLACE, "metric").split("Rain in 6 hours")[1]
    assert "#" not in rain
    assert "Temperature," not in weather_text(series, NOW, PLACE, "metric", is_plotted=False)


def test_an_empty_series_is_said() -> None:
    empty = hourly_series([], [], None, START, NOW, NOW, PLACE)
    text = weather_text(empty, NOW, PLACE, "metric")
    assert text.startswith("Observed: nothing. No forecast.\n")
    assert "- rain unknown for" in text
    long_ago = hourly_series([], [], None, START, START + 24 * HOUR, NOW, PLACE)
    assert "No hour of the days around now is on record." in weather_text(
        long_ago, NOW, PLACE, "metric"
    )


def test_a_width_too_small_is_refused(series: WeatherSeries) -> None:
    with pytest.raises(ValueError, match="width: found 20, allowed 36 or more"):
        weather_text(series, NOW, PLACE, "metric", 20)


def test_each_source_is_told_with_kind_age_gaps_and_distance() -> None:
    far = "Far Field (70123), 34 km"
    rain = np.zeros(100)
    rain[20:26] = np.nan
    values = hourly("rain_mm", rain) + hourly("air_temp_c", np.full(90, 9.0))
    values[3] = replace(values[3], suspect="below zero")
    own = replace(
        values[0],
        start_at=START,
        end_at=START + 24 * HOUR,
        kind=Kind.OWN_GAUGE,
        source="yard gauge",
    )
    model = [replace(v, source="model M", kind=Kind.MODEL) for v in values[:10]]
    distant = [replace(v, source=far) for v in values if v.variable == "rain_mm"]
    now = START + 102 * HOUR
    coming = replace(values[-1], start_at=now, end_at=now + HOUR)
    found = source_lines([*model, *distant, *values, own, coming], now, ZoneInfo("UTC"))
    assert [line.split(":")[0] for line in found] == ["yard gauge", far, "station A", "model M"]
    assert found[0].startswith("yard gauge: own gauge; rain; to Thu 2 May 04:00, 3 days old")
    assert found[1].endswith(
        "1 left out; rain missing for 7 hours in 2 gaps; rain is not measured here"
    )
    assert "station; rain, temperature; to Sun 5 May 08:00, 2 h old; 1 left out" in found[2]
    assert "model; rain" in found[3]
    assert source_lines([], now, ZoneInfo("UTC")) == []


def test_doubts_and_credits_have_their_place(series: WeatherSeries) -> None:
    text = weather_text(
        series,
        NOW,
        PLACE,
        "metric",
        doubts=["may your gauge be blocked?"],
        credits_due=["Based on data from service F (CC BY 4.0)"],
        values=hourly("rain_mm", [0.0] * 12),
    )
    assert "- may your gauge be blocked?" in text.split("Missing or in doubt:")[1]
    assert text.endswith("\nCredits:\n- Based on data from service F (CC BY 4.0)\n")
    assert "\n- station A: station; rain; to" in text.split("\nSources:\n")[1]
    assert max(len(line) for line in text.splitlines()) <= 80


ARCHIVE = (
    "Source: Meteostat and its data providers (CC BY 4.0, "
    "https://creativecommons.org/licenses/by/4.0/); units changed, temperature and humidity "
    "averaged"
)


@pytest.mark.parametrize(
    "source",
    [
        "Far Field (70123), 34 km",
        "Far Field (70123), 34 km, 200 m higher",
        "Far Field (70123), 34 km, from sunshine",
        "3 stations within 24 km",
    ],
)
def test_credits_follow_the_sources(source: str) -> None:
    """Source and licence, whatever is used of the archive; on the page also its address and what
    was changed."""
    assert credit_lines(["own gauge", "my-file", "shed (north)"]) == ()
    assert credit_lines([source, "MET Norway"]) == (
        "Source: Meteostat and its data providers (CC BY 4.0)",
        "Based on data from MET Norway (NLOD 2.0, CC BY 4.0)",
    )
    empty = hourly_series([], [], None, START, NOW, NOW, PLACE)
    page = page_of(empty, credits_due=credit_lines([source, "MET Norway"]))
    assert f"- {ARCHIVE} - Based on data from MET Norway" in " ".join(page.split())


def page_of(series: WeatherSeries, **told: Any) -> str:
    return weather_text(series, NOW, PLACE, "metric", is_plotted=False, **told)


def sources_of(page: str) -> list[str]:
    """The lines under "Sources:", each put together again."""
    block = page.split("\nSources:\n")[1].split("\n\n")[0]
    return " ".join(block.split()).removeprefix("- ").split(" - ")


def test_notes_by_hand_have_a_line_of_their_own(series: WeatherSeries) -> None:
    """What was logged is told with its age; a file of the gauge is a source by its own name."""
    station = hourly("rain_mm", [0.0] * 300)
    assert sources_of(page_of(series, values=station))[0] == (
        "your notes: rain to Sun 12 May 07:00, 2 days old"
    )
    read_at = datetime(2013, 5, 13, 11, tzinfo=UTC)
    span = {"start_at": (read_at - 24 * HOUR).isoformat(), "end_at": read_at.isoformat()}
    events = [
        Event("1", "rain", read_at, read_at, data={"rain_mm": 6.0, **span}),
        Event(
            "2",
            "temp",
            read_at,
            read_at,
            data={"air_temp_min_c": 3.0, "air_temp_max_c": 9.0} | span,
        ),
    ]
    noted = hourly_series([], events, None, START, NOW, NOW, PLACE)
    assert sources_of(page_of(noted)) == [
        "your notes: rain to Mon 13 May 07:00, 22 h old; temperature to Mon 13 May 07:00, 22 h old"
    ]
    file = [replace(v, kind=Kind.OWN_GAUGE, source="yard") for v in hourly("rain_mm", [0.0] * 300)]
    imported = hourly_series(file, [], None, START, NOW, NOW, PLACE)
    (only,) = sources_of(page_of(imported, values=file))
    assert only.startswith("yard: own gauge; rain; to")
    assert "Sources:" not in page_of(hourly_series([], [], None, START, NOW, NOW, PLACE))


def test_gaps_reach_to_the_newest_value_of_the_source() -> None:
    """Rain stopped ten hours before temperature: those hours are missing though nothing follows."""
    values = hourly("rain_mm", [0.0] * 40) + hourly("air_temp_c", [9.0] * 50)
    now = START + 60 * HOUR
    (line,) = source_lines(values, now, ZoneInfo("UTC"))
    assert line.endswith("rain missing for 10 hours")
    (line,) = source_lines(values[:40], now, ZoneInfo("UTC"))
    assert "missing" not in line


def test_what_fills_the_gaps_of_a_station_is_not_told_to_have_gaps() -> None:
    station = hourly("rain_mm", [0.0] * 50)
    filled = [replace(v, kind=Kind.MODEL) if i in (10, 30) else v for i, v in enumerate(station)]
    seen, fill = source_lines(filled, START + 60 * HOUR, ZoneInfo("UTC"))
    assert seen.endswith("rain missing for 2 hours in 2 gaps")
    assert "model; rain" in fill
    assert "missing" not in fill


def test_days_whose_temperature_nobody_read_are_marked(series: WeatherSeries) -> None:
    """Two days without a thermometer take the days around them, and the table says so."""
    hour = np.arange(300)
    temp = 12 + 5 * np.cos((hour - 15) / 3.8197)
    temp[8 * 24 : 10 * 24] = np.nan
    gappy = hourly_series(
        hourly("rain_mm", np.zeros(300)) + hourly("air_temp_c", temp),
        [],
        None,
        START,
        NOW,
        NOW,
        PLACE,
    )
    page = page_of(gappy)
    for title in ("Thu 9 May", "Fri 10 May"):
        assert [cell for cell in line_of(page, title).split() if cell.endswith("^")] == [
            "7^",
            "17^",
        ]
    assert "^" not in line_of(page, "Wed 8 May")
    assert "^ hours nobody read or forecast are taken from the days nearest to them." in page
    whole = hourly_series(
        hourly("rain_mm", np.zeros(300)) + hourly("air_temp_c", 12 + 5 * np.cos(hour / 3.8197)),
        [],
        None,
        START,
        START + 300 * HOUR,
        NOW,
        PLACE,
    )
    assert "^" not in page_of(whole)


def test_what_was_left_out_is_told_in_the_units_of_the_grower() -> None:
    values = hourly("rain_mm", [0.0] * 30) + hourly("air_temp_c", [9.0] * 30)
    values[5] = replace(values[5], value=400.0, suspect="more than 150 mm")
    values[40] = replace(values[40], value=80.0, suspect="above 60 C")
    series = hourly_series(values, [], None, START, NOW, NOW, PLACE)
    said = weather_doubts(values, [], NOW, PLACE)
    us = " ".join(weather_text(series, NOW, PLACE, "us", doubts=said).split())
    assert "(15.7 in) left out: more than 5.9 in" in us
    assert "(176 F) left out: above 140 F" in us


def test_what_a_model_filled_is_told_apart_from_what_a_station_saw() -> None:
    """Five hours of a day are the archive's own fill: the day says so, and so does its line."""
    rain = hourly("rain_mm", [0.2] * 300)
    first = (datetime(2013, 5, 8, 4, tzinfo=UTC) - START) // HOUR
    filled = [
        replace(v, kind=Kind.MODEL) if first <= i < first + 5 else v for i, v in enumerate(rain)
    ]
    series = hourly_series(filled, [], None, START, NOW, NOW, PLACE)
    page = weather_text(series, NOW, PLACE, "metric", 120, is_plotted=False, values=filled)
    assert "station 19 h, model 5 h" in line_of(page, "Wed 8 May")
    assert "station 19 h" not in line_of(page, "Tue 7 May")
    assert [line.split(";")[0] for line in sources_of(page)] == [
        "station A: station",
        "station A: model",
    ]


@pytest.mark.parametrize("width", [36, 80])
def test_credits_and_sources_fit_too(series: WeatherSeries, width: int) -> None:
    far = [
        replace(v, source="Far Field by the Long Water (70123), 34 km, 200 m higher")
        for v in hourly("rain_mm", [0.0] * 300)
    ]
    page = weather_text(
        series,
        NOW,
        PLACE,
        "metric",
        width,
        values=far,
        credits_due=credit_lines([far[0].source, "MET Norway"]),
    )
    assert max(len(line) for line in page.splitlines()) <= width
    assert "rain is not measured here" in " ".join(page.split())
