"""US National Weather Service: the grid cell, intervals made hours, stale grids, units.

Payloads are made here in the true format; recorded ones are read too where they lie beside the
checkout.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.adapters.weather import nws
from scheduler.adapters.weather.http import Fetcher
from scheduler.errors import WeatherFetchError
from scheduler.records import Forecast, Place
from tests.adapters.weather_server import HTML, Reply, WeatherServer, weather_server

RECORDED = Path(__file__).parents[3] / "shared" / "data" / "recorded"
FARM = Place(40.7812, -73.9665, 12.0, "America/New_York")
START = datetime(2025, 5, 12, 9, tzinfo=UTC)
NOW = START + timedelta(minutes=20)
HOUR = timedelta(hours=1)
RAIN = ((3, 0.0), (6, 2.032), (6, 4.826), (6, None), (12, 3.048), (6, 0.254))


def layer(
    unit: str, rows: list[tuple[str, Any]] | tuple[tuple[int, Any], ...], start: datetime = START
) -> dict[str, Any]:
    """A layer of intervals one after the other, each (hours or length as written, value)."""
    values = []
    at = start
    for length, value in rows:
        hours = length if isinstance(length, int) else 0
        text = length if isinstance(length, str) else f"PT{length}H"
        if isinstance(length, str):
            days = int(length[1 : length.index("D")]) if "D" in length else 0
            rest = length.partition("T")[2].rstrip("H")
            hours = 24 * days + int(rest or 0)
        values.append({"validTime": f"{at.isoformat()}/{text}", "value": value})
        at += hours * HOUR
    return {"uom": unit, "values": values}


def payload(place: Place = FARM, start: datetime = START, **changes: Any) -> dict[str, Any]:
    """The layers of a cell as the service makes them."""
    x, y = place.longitude_deg, place.latitude_deg
    ring = [[x - 0.01, y - 0.01], [x + 0.01, y - 0.01], [x, y + 0.01], [x - 0.01, y - 0.01]]
    properties: dict[str, Any] = {
        "@type": "wx:Gridpoint",
        "updateTime": (start - HOUR).isoformat(),
        "validTimes": f"{start.isoformat()}/P7DT15H",
        "gridId": "OKX",
        "gridX": "33",
        "gridY": "37",
        "temperature": layer(
            "wmoUnit:degC",
            [("PT1H", 17.77777777777778), ("PT10H", 18.88888888888889), ("P1DT6H", 12.0)],
            start,
        ),
        "dewpoint": layer("wmoUnit:degC", [("P2D", 10.0)], start),
        "relativeHumidity": layer("wmoUnit:percent", [("PT20H", 73), ("PT10H", None)], start),
        "skyCover": layer("wmoUnit:percent", [("P2D", 50)], start),
        "windSpeed": layer("wmoUnit:km_h-1", [("PT2H", 18.0), ("P1DT16H", 7.2)], start),
        "quantitativePrecipitation": layer("wmoUnit:mm", RAIN, start),
        "snowLevel": {"values": []},
    }
    return {
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [ring]},
        "properties": properties | changes,
    }


def parsed(document: Any, place: Place = FARM, now: datetime = NOW) -> Forecast:
    return nws.parse_forecast(json.dumps(document).encode(), place, now)


def test_a_sum_is_spread_and_adds_up() -> None:
    rain = parsed(payload()).values["rain_mm"]
    at = 0
    for hours, amount in RAIN:
        block = rain[at : at + hours]
        if amount is None:
            assert np.isnan(block).all()
        else:
            assert_allclose(block.sum(), amount, rtol=1e-14, atol=0)
            assert np.ptp(block) == 0.0
        at += hours
    assert np.isnan(rain[at:]).all()  # beyond its last interval rain is unknown, not nil
    assert rain.size == 41
    assert_allclose(np.nansum(rain), sum(a for _, a in RAIN if a is not None), rtol=1e-14, atol=0)


def test_levels_hold_for_every_hour_of_their_interval() -> None:
    found = parsed(payload()).values
    expected = [17.77777777777778] + [18.88888888888889] * 10 + [12.0] * 30
    assert_allclose(found["air_temp_c"], expected, rtol=0, atol=0)
    # FAO-56 equation 47: the factor from 10 m is 0.748; 18 and 7.2 km/h are 5 and 2 m/s
    assert_allclose(found["wind_2m_m_s"][[0, 1, 2]], [3.74, 3.74, 1.496], rtol=1e-3, atol=0)
    assert_allclose(found["humidity_frac"][:20], 0.73, rtol=0, atol=1e-12)
    # where humidity is not given it follows from the dew point; FAO-56 table 2.3:
    # e0(10 C) = 1.228 kPa, e0(12 C) = 1.403 kPa
    assert_allclose(found["humidity_frac"][20:], 1.228 / 1.403, rtol=1e-3, atol=0)
    sun = found["solar_mj_m2"]
    assert sun.min() == 0.0
    assert 15 <= START.hour + int(np.argmax(sun[:15])) <= 17  # noon by the sun in New York


def test_fahrenheit_and_other_units_are_converted() -> None:
    found = parsed(
        payload(
            temperature=layer("unit:degF", [("P1D", 50.0)]),
            windSpeed=layer("wmoUnit:m_s-1", [("P1D", 2.0)]),
            quantitativePrecipitation=layer("wmoUnit:in", [("PT4H", 0.4)]),
        )
    ).values
    assert_allclose(found["air_temp_c"], 10.0, rtol=0, atol=1e-12)
    assert_allclose(found["wind_2m_m_s"], 2.0 * 0.748, rtol=1e-3, atol=0)
    assert_allclose(np.nansum(found["rain_mm"]), 10.16, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("zone", "place", "start"),
    [
        ("forward", FARM, datetime(2025, 3, 8, 21, tzinfo=UTC)),
        ("back", FARM, datetime(2025, 11, 1, 21, tzinfo=UTC)),
        ("year", FARM, datetime(2025, 12, 31, 12, tzinfo=UTC)),
        ("north", Place(64.84, -147.72, 136.0, "America/Anchorage"), START),
        ("south", Place(-14.33, -170.72, 3.0, "Pacific/Pago_Pago"), START),
    ],
)
def test_hours_run_on_wherever_and_whenever(zone: str, place: Place, start: datetime) -> None:
    found = parsed(payload(place, start), place, start)
    assert found.start_at == start
    assert all(row.size == 41 for row in found.values.values()), zone
    assert_allclose(np.nansum(found.values["rain_mm"]), 10.16, rtol=1e-12, atol=0)


def test_offsets_other_than_utc_are_honoured() -> None:
    rows = [{"validTime": "2025-05-12T05:00:00-04:00/PT12H", "value": 6.0}]
    found = parsed(payload(quantitativePrecipitation={"uom": "wmoUnit:mm", "values": rows}))
    assert_allclose(found.values["rain_mm"][:12], 0.5, rtol=0, atol=1e-12)


@pytest.mark.parametrize("hours", [0, 12])
def test_up_to_twelve_hours_a_grid_is_taken(hours: int) -> None:
    issued_at = NOW - hours * HOUR
    assert parsed(payload(updateTime=issued_at.isoformat())).issued_at == issued_at


def test_a_stale_grid_is_refused() -> None:
    document = payload(updateTime=(NOW - 89 * HOUR).isoformat())
    with pytest.raises(WeatherFetchError) as caught:
        parsed(document)
    assert str(caught.value) == (
        "US National Weather Service: handed out a forecast made 2025-05-08 16:20 UTC, 89 h old; "
        "allowed: up to 12 h; what stands is kept"
    )


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"updateTime": "lately"}, "updateTime is 'lately'"),
        ({"temperature": layer("wmoUnit:furlong", [("PT9H", 1.0)])}, "'wmoUnit:furlong'"),
        ({"temperature": layer("wmoUnit:degC", [("PT9H", 300.0)])}, "allowed: -70 to 60 C"),
        ({"temperature": layer("wmoUnit:degC", [("PT9H", "warm")])}, "temperature is 'warm'"),
        ({"temperature": {"uom": "wmoUnit:degC"}}, "no temperature.values"),
        (
            {
                "temperature": {"uom": "wmoUnit:degC", "values": []},
                "quantitativePrecipitation": {"values": []},
            },
            "neither rain nor temperature",
        ),
        (
            {
                "quantitativePrecipitation": {
                    "uom": "wmoUnit:mm",
                    "values": [
                        {"validTime": "2025-05-12T09:00:00+00:00/PT6H", "value": 1.0},
                        {"validTime": "2025-05-12T12:00:00+00:00/PT6H", "value": 1.0},
                    ],
                }
            },
            "overlap",
        ),
        ({"windSpeed": layer("wmoUnit:km_h-1", [("PT0H", 3.0)])}, "an interval of windSpeed"),
        (
            {
                "skyCover": {
                    "uom": "wmoUnit:percent",
                    "values": [{"validTime": "2025-05-12T09:00:00+00:00/PT30M", "value": 1.0}],
                }
            },
            "whole hours",
        ),
    ],
)
def test_a_wrong_answer_is_refused_in_one_line(changes: dict[str, Any], told: str) -> None:
    with pytest.raises(WeatherFetchError) as caught:
        parsed(payload(**changes))
    message = str(caught.value)
    assert message.startswith("US National Weather Service: ")
    assert told in message
    assert "\n" not in message


def test_a_cell_elsewhere_is_refused() -> None:
    elsewhere = payload(Place(30.0, -85.0, 4.0, "America/New_York"))
    with pytest.raises(WeatherFetchError, match="not for the farm's place"):
        parsed(elsewhere)


@pytest.mark.parametrize("body", [b"", b"[]", b"{}", HTML])
def test_what_is_no_forecast_is_refused(body: bytes) -> None:
    with pytest.raises(WeatherFetchError, match=r"^US National Weather Service: the answer "):
        nws.parse_forecast(body, FARM, NOW)


# ------------------------------------------------------------------ fetched

POINT = {"properties": {"gridId": "OKX", "gridX": 33, "gridY": 37}}


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[WeatherServer]:
    with weather_server(NOW) as running:
        monkeypatch.setattr(nws, "ENDPOINT", running.url)
        running.put("/points/40.78,-73.97", json.dumps(POINT).encode(), expires_in_s=80000)
        running.put("/gridpoints/OKX/33,37", json.dumps(payload()).encode(), expires_in_s=3600)
        yield running


def test_the_cell_is_asked_for_and_then_its_layers(server: WeatherServer, tmp_path: Path) -> None:
    with Fetcher(tmp_path, "grower@example.org", sleep=lambda s: None) as fetcher:
        found, _ = nws.fetch_forecast(FARM, fetcher, NOW)
        assert found.issued_at == START - HOUR
        server.now = later = NOW + 2 * HOUR
        nws.fetch_forecast(FARM, fetcher, later)
    paths = [request.path for request in server.requests]
    assert paths == ["/points/40.78,-73.97", *["/gridpoints/OKX/33,37"] * 2]
    agents = {request.headers["user-agent"] for request in server.requests}
    assert all(agent.endswith(" grower@example.org") for agent in agents)


def test_without_a_contact_nobody_is_asked(server: WeatherServer, tmp_path: Path) -> None:
    with (
        Fetcher(tmp_path, "", sleep=lambda s: None) as fetcher,
        pytest.raises(WeatherFetchError, match="nothing was asked; set contact"),
    ):
        nws.fetch_forecast(FARM, fetcher, NOW)
    assert server.requests == []


def test_a_place_outside_its_area_is_told(server: WeatherServer, tmp_path: Path) -> None:
    oslo = Place(59.91, 10.75, 24.0, "Europe/Oslo")
    with (
        Fetcher(tmp_path, "grower@example.org", sleep=lambda s: None) as fetcher,
        pytest.raises(WeatherFetchError, match=r"has no forecast for 59\.91, 10\.75"),
    ):
        nws.fetch_forecast(oslo, fetcher, NOW)


def test_a_stale_answer_leaves_the_good_copy(server: WeatherServer, tmp_path: Path) -> None:
    with Fetcher(tmp_path, "grower@example.org", sleep=lambda s: None) as fetcher:
        good, _ = nws.fetch_forecast(FARM, fetcher, NOW)
        stale = json.dumps(payload(updateTime=(NOW - 89 * HOUR).isoformat())).encode()
        server.put("/gridpoints/OKX/33,37", stale)
        server.now = later = NOW + 2 * HOUR
        kept, how = nws.fetch_forecast(FARM, fetcher, later)
    assert "91 h old" in how.fault
    assert kept.issued_at == good.issued_at


def test_an_expired_grid_is_waited_for(server: WeatherServer, tmp_path: Path) -> None:
    """The service answers 503 while it makes a grid; the next try finds it."""
    with Fetcher(tmp_path, "grower@example.org", sleep=lambda s: None) as fetcher:
        nws.fetch_forecast(FARM, fetcher, NOW)
        server.fault(Reply(b'{"title": "Forecast Grid Expired"}', 503))
        server.now = later = NOW + 2 * HOUR
        _, how = nws.fetch_forecast(FARM, fetcher, later)
    assert how.fault == ""
    assert how.confirmed_at == later


@pytest.mark.parametrize(
    "properties",
    [
        {"gridId": "OKX", "gridX": 33},
        {"gridId": "../x", "gridX": 33, "gridY": 37},
        {"gridId": "OKX", "gridX": "33/../..", "gridY": 37},
        {"gridId": "OKX", "gridX": -1, "gridY": 37},
    ],
)
def test_a_cell_that_is_none_is_never_asked_for(properties: dict[str, Any]) -> None:
    with pytest.raises(WeatherFetchError):
        nws.grid_url(json.dumps({"properties": properties}).encode())


# ----------------------------------------------------------------- recorded


def test_the_recorded_answers() -> None:
    point, grid = RECORDED / "nws_points.json", RECORDED / "nws_gridpoints_raw.json"
    if not (point.is_file() and grid.is_file()):
        pytest.skip(f"no recorded answers at {point} and {grid}")
    assert nws.grid_url(point.read_bytes()) == f"{nws.ENDPOINT}/gridpoints/TAE/58,65"
    place = Place(30.0, -85.0, 4.0, "America/New_York")
    found = nws.parse_forecast(grid.read_bytes(), place, datetime(2022, 2, 4, 4, tzinfo=UTC))
    rain = found.values["rain_mm"]
    rows = json.loads(grid.read_bytes())["properties"]["quantitativePrecipitation"]["values"]
    assert_allclose(np.nansum(rain), sum(row["value"] for row in rows), rtol=1e-12, atol=0)
    at = 0
    for row in rows:
        n = int(row["validTime"].rpartition("PT")[2].rstrip("H"))
        assert_allclose(rain[at : at + n].sum(), row["value"], rtol=1e-12, atol=1e-12)
        at += n
    assert np.isnan(rain[at:]).all()
    assert rain.size == 7 * 24 + 14  # its validTimes: P7DT14H
    assert not np.isnan(found.values["air_temp_c"]).any()
    assert found.issued_at == datetime(2022, 2, 4, 3, 15, 41, tzinfo=UTC)
