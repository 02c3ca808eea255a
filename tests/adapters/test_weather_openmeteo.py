"""Open-Meteo: hours that end at their stamp, units, refusals.

Payloads are made here in the true format; a recorded one is read too where it lies beside the
checkout.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.adapters.weather import openmeteo
from scheduler.adapters.weather.http import Fetcher
from scheduler.adapters.weather.payload import Hours, means_of_instants, sun_under_cloud_mj_m2
from scheduler.errors import WeatherFetchError
from scheduler.records import Forecast, Place
from tests.adapters.weather_server import HTML, weather_server

RECORDED = Path(__file__).parents[3] / "shared" / "data" / "recorded"
FARM = Place(50.0, 10.0, 291.0, "Europe/Berlin")
START = datetime(2026, 3, 28, tzinfo=UTC)  # the clocks go forward the night after
NOW = START + timedelta(hours=5, minutes=10)
HOUR = timedelta(hours=1)
N = 72


def payload(**changes: Any) -> dict[str, Any]:
    """An answer to the question as `request_url` puts it."""
    return {
        "latitude": 50.0,
        "longitude": 10.0,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "elevation": 291.0,
        "hourly_units": {
            "time": "unixtime",
            "precipitation": "mm",
            "temperature_2m": "°C",
            "relative_humidity_2m": "%",
            "wind_speed_10m": "m/s",
            "shortwave_radiation": "W/m²",
        },
        "hourly": {
            "time": [int(START.timestamp()) + 3600 * i for i in range(N)],
            "precipitation": [0.0] * 10 + [1.5] + [0.0] * (N - 11),
            "temperature_2m": [float(i % 24) for i in range(N)],
            "relative_humidity_2m": [60] * N,
            "wind_speed_10m": [4.0] * N,
            "shortwave_radiation": [0.0] * 12 + [500.0] + [0.0] * (N - 14) + [None],
        },
    } | changes


def parsed(document: Any, now: datetime = NOW) -> Forecast:
    return openmeteo.parse_forecast(json.dumps(document).encode(), FARM, now)


def test_rain_and_sun_belong_to_the_hour_before_the_stamp() -> None:
    found = parsed(payload())
    assert found.start_at == START
    rain, sun = found.values["rain_mm"], found.values["solar_mj_m2"]
    assert np.flatnonzero(rain).tolist() == [9]  # stamped 10:00, fell from 09:00
    assert rain[9] == 1.5
    assert_allclose(sun[11], 500.0 * 3600 / 1e6, rtol=1e-12, atol=0)
    assert np.isnan(sun[-1])
    assert_allclose(found.values["air_temp_c"][:3], [0.5, 1.5, 2.5], rtol=0, atol=1e-12)
    assert_allclose(found.values["wind_2m_m_s"], 4.0 * 0.748, rtol=1e-3, atol=0)
    assert found.issued_at == found.known_at == NOW


def changed(**rows: tuple[str, list[Any]]) -> dict[str, Any]:
    document = payload()
    for name, (unit, values) in rows.items():
        document["hourly"][name] = values
        document["hourly_units"][name] = unit
    return document


def test_units_are_read_not_guessed() -> None:
    found = parsed(
        changed(
            precipitation=("inch", [0.1] * N),
            temperature_2m=("°F", [50.0] * N),
            wind_speed_10m=("km/h", [18.0] * N),
        )
    ).values
    assert_allclose(found["rain_mm"], 2.54, rtol=1e-12, atol=0)
    assert_allclose(found["air_temp_c"], 10.0, rtol=0, atol=1e-12)
    assert_allclose(found["wind_2m_m_s"], 5.0 * 0.748, rtol=1e-3, atol=0)


def test_local_times_over_a_change_of_the_clock_are_refused() -> None:
    berlin = [f"2026-03-29T{hour:02d}:00" for hour in (0, 1, 3, 4)]
    document = payload(utc_offset_seconds=3600)
    for name in document["hourly"]:
        document["hourly"][name] = document["hourly"][name][:4]
    document["hourly"]["time"] = berlin
    with pytest.raises(WeatherFetchError, match="does not follow by an hour"):
        parsed(document, datetime(2026, 3, 28, 12, tzinfo=UTC))


@pytest.mark.parametrize(
    ("document", "told"),
    [
        ({"error": True, "reason": "Parameter out of range"}, "refused the question: Parameter"),
        (payload(latitude=10.0), "not for the farm's place"),
        (changed(precipitation=("furlong", [0.0] * N)), "'furlong'"),
        (changed(precipitation=("mm", [0.0] * (N - 1))), "has not one value a stamp"),
        (changed(precipitation=("mm", [-1.0] * N)), "rain_mm is -1"),
        (changed(temperature_2m=("°C", ["warm"] * N)), "temperature_2m is 'warm'"),
        (changed(time=("unixtime", [-5] * N)), "expected seconds since 1970"),
        (changed(time=("unixtime", [True] * N)), "hourly.time is"),
        ({}, "has no latitude"),
    ],
)
def test_a_wrong_answer_is_refused_in_one_line(document: dict[str, Any], told: str) -> None:
    with pytest.raises(WeatherFetchError) as caught:
        parsed(document)
    message = str(caught.value)
    assert message.startswith("Open-Meteo: ")
    assert told in message
    assert "\n" not in message


def test_it_is_asked_as_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with weather_server(NOW) as server:
        monkeypatch.setattr(openmeteo, "ENDPOINT", f"{server.url}/v1/forecast")
        path = openmeteo.request_url(FARM).removeprefix(server.url)
        for asked in (
            "latitude=50.00&longitude=10.00",
            "timeformat=unixtime",
            "timezone=GMT",
            "wind_speed_unit=ms",
        ):
            assert asked in path
        server.put(path, json.dumps(payload()).encode(), content_type="application/json")
        with Fetcher(tmp_path, "", sleep=lambda s: None) as fetcher:
            found, _ = openmeteo.fetch_forecast(FARM, fetcher, NOW)
            assert found.issued_at == NOW
            server.put(path, HTML, content_type="text/html")
            server.now = later = NOW + 2 * HOUR
            kept, how = openmeteo.fetch_forecast(FARM, fetcher, later)
        assert kept.issued_at == NOW  # a copy is as old as its asking, not as this morning
        assert "is no JSON" in how.fault


def test_the_recorded_answer() -> None:
    path = RECORDED / "openmeteo_forecast_recorded.json"
    if not path.is_file():
        pytest.skip(f"no recorded answer at {path}")
    document = json.loads(path.read_text())
    found = openmeteo.parse_forecast(path.read_bytes(), FARM, datetime(2026, 3, 2, 6, tzinfo=UTC))
    assert found.start_at == datetime(2026, 3, 1, 23, tzinfo=UTC)  # midnight in Berlin
    hourly = document["hourly"]
    assert_allclose(
        found.values["rain_mm"].sum(), sum(hourly["precipitation"][1:]), rtol=0, atol=1e-12
    )
    assert_allclose(
        found.values["solar_mj_m2"].sum() / 0.0036,
        sum(hourly["shortwave_radiation"][1:]),
        rtol=1e-12,
        atol=0,
    )
    # the sun that is computed from cloud where a service gives no radiation, against a service
    # that gives both: day by day within a fifth (three days of March, a third to two fifths cloud)
    first = round((found.start_at - datetime(1970, 1, 1, tzinfo=UTC)) / HOUR)
    hours = Hours(first, N - 1)
    cloud = means_of_instants(
        list(range(first, first + N)), [c / 100 for c in hourly["cloud_cover"]], hours
    )
    computed = sun_under_cloud_mj_m2(cloud, hours, FARM)
    for day in range(3):
        span = slice(24 * day, 24 * day + 24)
        given = float(found.values["solar_mj_m2"][span].sum())
        assert_allclose(computed[span].sum(), given, rtol=0.2, atol=0)
