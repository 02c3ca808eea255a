"""MET Norway: the address, tiling of rain, hours of the rest, and answers that are refused.

Payloads are made here in the true format; a recorded one is read too where it lies beside the
checkout.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.adapters.weather import metno
from scheduler.adapters.weather.http import Fetcher
from scheduler.errors import WeatherFetchError
from scheduler.records import Forecast, Place
from tests.adapters.weather_server import HTML, Reply, WeatherServer, weather_server

RECORDED = Path(__file__).parents[3] / "shared" / "data" / "recorded"
OSLO = Place(59.91273, 10.74609, 23.6, "Europe/Oslo")
START = datetime(2025, 5, 12, 4, tzinfo=UTC)
NOW = START + timedelta(minutes=20)
HOUR = timedelta(hours=1)
UNITS = {
    "air_pressure_at_sea_level": "hPa",
    "air_temperature": "celsius",
    "cloud_area_fraction": "%",
    "precipitation_amount": "mm",
    "relative_humidity": "%",
    "wind_from_direction": "degrees",
    "wind_speed": "m/s",
}


def payload(
    place: Place = OSLO, start: datetime = START, n_hourly: int = 60, n_blocks: int = 27
) -> dict[str, Any]:
    """An answer as the service makes it: hourly steps, then steps of six hours, then an end.

    Rain of hour i is 0.1 (i mod 7) mm; the overlapping six-hour amounts agree with it, and hourly
    steps tell both, as the service does.
    """
    first_block = n_hourly + (-(start.hour + n_hourly)) % 6
    hours = [*range(first_block), *range(first_block, first_block + 6 * n_blocks, 6)]
    end = first_block + 6 * n_blocks
    rain = [round(0.1 * (i % 7), 1) for i in range(end + 6)]
    steps = []
    for i in [*hours, end]:
        warm = 12.0 + 6.0 * np.sin((start.hour + i - 9) * np.pi / 12.0)
        details = {
            "air_pressure_at_sea_level": 1012.3,
            "air_temperature": round(float(warm), 1),
            "cloud_area_fraction": 25.0,
            "relative_humidity": 80.0,
            "wind_from_direction": 200.1,
            "wind_speed": 4.0,
        }
        data: dict[str, Any] = {"instant": {"details": details}}
        if i < first_block:
            data["next_1_hours"] = {
                "summary": {"symbol_code": "rain"},
                "details": {"precipitation_amount": rain[i]},
            }
        if i < end:
            data["next_12_hours"] = {"summary": {"symbol_code": "rain"}, "details": {}}
            if i != first_block - 1:  # the last hourly step may lack it
                data["next_6_hours"] = {
                    "summary": {"symbol_code": "rain"},
                    "details": {"precipitation_amount": round(sum(rain[i : i + 6]), 1)},
                }
        steps.append({"time": f"{start + i * HOUR:%Y-%m-%dT%H:%M:%SZ}", "data": data})
    return {
        "type": "Feature",
        "geometry": {
            "type": "Point",
            "coordinates": [place.longitude_deg, place.latitude_deg, round(place.elevation_m)],
        },
        "properties": {
            "meta": {
                "updated_at": f"{start - 13 * timedelta(minutes=1):%Y-%m-%dT%H:%M:%SZ}",
                "units": dict(UNITS),
            },
            "timeseries": steps,
        },
    }


def parsed(document: Any, place: Place = OSLO, now: datetime = NOW) -> Forecast:
    return metno.parse_forecast(json.dumps(document).encode(), place, now)


def tiled_total_mm(document: dict[str, Any]) -> float:
    """The rain of an answer by another way: from the lengths of its steps alone."""
    steps = document["properties"]["timeseries"]
    total = 0.0
    for here, after in pairwise(steps):
        begins, ends = (
            datetime.fromisoformat(each["time"].replace("Z", "+00:00")) for each in (here, after)
        )
        key = {3600: "next_1_hours", 21600: "next_6_hours"}[int((ends - begins).total_seconds())]
        total += here["data"][key]["details"]["precipitation_amount"]
    return total


def test_the_address_is_rounded_to_a_kilometre() -> None:
    south = Place(-0.001, -179.996, -3.6, "UTC")
    assert metno.request_url(south).endswith("?lat=0.00&lon=-180.00&altitude=-4")


def test_rain_is_tiled_without_overlap_or_gap() -> None:
    document = payload()
    found = parsed(document)
    rain = found.values["rain_mm"]
    assert not np.isnan(rain).any()
    assert_allclose(rain.sum(), tiled_total_mm(document), rtol=0, atol=1e-9)
    # the amounts of the made answer agree with each other, so the hours sum to the blocks
    steps = document["properties"]["timeseries"]
    naive = sum(
        step["data"][key]["details"]["precipitation_amount"]
        for step in steps
        for key in ("next_1_hours", "next_6_hours")
        if key in step["data"]
    )
    assert naive > 2.0 * rain.sum()
    hourly = [
        step["data"]["next_1_hours"]["details"]["precipitation_amount"]
        for step in steps
        if "next_1_hours" in step["data"]
    ]
    assert_allclose(rain[: len(hourly)], hourly, rtol=0, atol=0)
    n = len(hourly)
    assert_allclose(rain[n : n + 6], rain[n], rtol=0, atol=0)  # a block is spread evenly
    assert rain.size == n + 6 * 27


def test_hours_are_means_between_the_instants() -> None:
    document = payload()
    found = parsed(document)
    steps = document["properties"]["timeseries"]
    temps = [step["data"]["instant"]["details"]["air_temperature"] for step in steps]
    assert_allclose(found.values["air_temp_c"][3], (temps[3] + temps[4]) / 2, rtol=0, atol=1e-12)
    n_hourly = sum("next_1_hours" in step["data"] for step in steps)
    block = found.values["air_temp_c"][n_hourly : n_hourly + 6]
    ends = temps[n_hourly], temps[n_hourly + 1]
    assert_allclose(block.mean(), sum(ends) / 2, rtol=0, atol=1e-12)
    assert_allclose(np.diff(block), (ends[1] - ends[0]) / 6, rtol=0, atol=1e-9)
    assert_allclose(found.values["humidity_frac"], 0.8, rtol=0, atol=1e-12)
    # FAO-56 equation 47: the factor from 10 m is 0.748
    assert_allclose(found.values["wind_2m_m_s"], 4.0 * 0.748, rtol=1e-3, atol=0)
    assert found.start_at == START
    assert found.issued_at == START - timedelta(minutes=13)
    assert found.known_at == NOW


def test_sun_is_the_clear_sky_dimmed_by_cloud() -> None:
    clear, grey = payload(), payload()
    for document, percent in ((clear, 0.0), (grey, 100.0)):
        for step in document["properties"]["timeseries"]:
            step["data"]["instant"]["details"]["cloud_area_fraction"] = percent
    bright, dull = (parsed(document).values["solar_mj_m2"] for document in (clear, grey))
    assert_allclose(dull, 0.25 * bright, rtol=1e-12, atol=1e-12)
    local = [(START + i * HOUR).astimezone(ZoneInfo("Europe/Oslo")).hour for i in range(24)]
    assert bright[local.index(0)] == 0.0
    # FAO-56 table 2.6 (memory): near 39 MJ/m2 above the clouds in mid-May at 60 N, times 0.75
    assert 26.0 < bright[20:44].sum() < 32.0


def shifted(document: dict[str, Any], **changes: Any) -> dict[str, Any]:
    document["properties"]["meta"].update(changes)
    return document


@pytest.mark.parametrize(
    ("zone", "place", "start"),
    [
        pytest.param(
            "Europe/Oslo", OSLO, datetime(2025, 3, 29, 4, tzinfo=UTC), id="clocks go forward"
        ),
        pytest.param(
            "America/New_York",
            Place(40.78, -73.97, 12.0, "America/New_York"),
            datetime(2025, 11, 1, 3, tzinfo=UTC),
            id="clocks go back",
        ),
        pytest.param(
            "Europe/Oslo", OSLO, datetime(2025, 12, 30, 20, tzinfo=UTC), id="end of the year"
        ),
        pytest.param(
            "Australia/Brisbane",
            Place(-27.5, 153.0, 19.0, "Australia/Brisbane"),
            datetime(2025, 12, 20, 1, tzinfo=UTC),
            id="south of the equator",
        ),
        pytest.param(
            "Europe/Oslo",
            Place(69.65, 18.96, 10.0, "Europe/Oslo"),
            datetime(2025, 6, 20, 7, tzinfo=UTC),
            id="midnight sun",
        ),
        pytest.param(
            "Europe/Oslo",
            Place(69.65, 18.96, 10.0, "Europe/Oslo"),
            datetime(2025, 12, 20, 7, tzinfo=UTC),
            id="polar night",
        ),
    ],
)
def test_hours_run_on_wherever_and_whenever(zone: str, place: Place, start: datetime) -> None:
    document = payload(place, start)
    found = parsed(document, place, start + timedelta(minutes=20))
    for name, row in found.values.items():
        assert not np.isnan(row).any(), name
    assert_allclose(found.values["rain_mm"].sum(), tiled_total_mm(document), rtol=0, atol=1e-9)
    sun = found.values["solar_mj_m2"]
    assert sun.min() >= 0.0
    noon = [
        i for i in range(48) if (found.start_at + i * HOUR).astimezone(ZoneInfo(zone)).hour == 12
    ]
    if place.latitude_deg > 66 and start.month == 12:
        assert sun.max() == 0.0
    else:
        days = [sun[i - 12 : i + 12] for i in noon if i >= 12]
        assert days
        for day in days:
            assert 10 <= int(np.argmax(day)) <= 13
    if place.latitude_deg > 66 and start.month == 6:
        assert sun.min() > 0.0
    if place.latitude_deg < 0:
        assert sun[:24].sum() > 25.0  # December is summer there


def test_an_hour_without_its_amount_stays_unknown() -> None:
    document = payload()
    steps = document["properties"]["timeseries"]
    del steps[5]["data"]["next_1_hours"]
    n_hourly = sum("next_1_hours" in step["data"] for step in steps) + 1
    del steps[n_hourly]["data"]["next_6_hours"]
    rain = parsed(document).values["rain_mm"]
    unknown = [5, *range(n_hourly, n_hourly + 6)]
    assert np.flatnonzero(np.isnan(rain)).tolist() == unknown


def test_a_step_that_is_left_out_is_covered_once() -> None:
    """Three hourly steps missing: the step before takes its own hour alone, never six hours."""
    document = payload()
    steps = document["properties"]["timeseries"]
    del steps[11:14]
    rain = parsed(document).values["rain_mm"]
    assert np.flatnonzero(np.isnan(rain)).tolist() == [11, 12, 13]


def test_the_service_s_own_range_is_kept() -> None:
    document = payload()
    for step in document["properties"]["timeseries"][:10]:
        step["data"]["next_1_hours"]["details"] |= {
            "precipitation_amount": 1.0,
            "precipitation_amount_min": 0.5,
            "precipitation_amount_max": 2.0,
        }
    told = "rain 10.0 mm, by the service's range 5.0 to 20.0 mm, in the 10 hours that have one"
    found = parsed(document)
    assert found.note == told
    for name, least_mm in (("rain_mm", 1.0), ("rain_low_mm", 0.5), ("rain_high_mm", 2.0)):
        assert found.values[name][:10].tolist() == [least_mm] * 10
    assert np.isnan(found.values["rain_high_mm"][10:]).all()
    assert parsed(payload()).note == ""
    assert "rain_low_mm" not in parsed(payload()).values


def without(*path: str | int) -> Callable[[dict[str, Any]], None]:
    def change(document: dict[str, Any]) -> None:
        node: Any = document
        for key in path[:-1]:
            node = node[key]
        del node[path[-1]]

    return change


def having(value: Any, *path: str | int) -> Callable[[dict[str, Any]], None]:
    def change(document: dict[str, Any]) -> None:
        node: Any = document
        for key in path[:-1]:
            node = node[key]
        node[path[-1]] = value

    return change


STEP = ("properties", "timeseries", 3)
INSTANT = (*STEP, "data", "instant", "details")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (without("properties"), "the answer has no properties"),
        (without("properties", "meta", "updated_at"), "no properties.meta.updated_at"),
        (having([], "properties", "timeseries"), "properties.timeseries has no steps"),
        (having("soon", *STEP, "time"), "time is 'soon'; expected a moment with offset"),
        (having("2025-05-12T06:00:00Z", *STEP, "time"), "does not follow in time"),
        (having("2025-05-12T07:10:00Z", *STEP, "time"), "expected full hours"),
        (having(None, *STEP, "data", "instant", "details"), "has no table of details"),
        (having("warm", *INSTANT, "air_temperature"), "air_temperature is 'warm'"),
        (having(288.4, *INSTANT, "air_temperature"), "allowed: -70 to 60 C"),
        (having(-0.5, *STEP, "data", "next_1_hours", "details", "precipitation_amount"), "rain_mm"),
        (having(float("nan"), *INSTANT, "wind_speed"), "wind_speed is nan"),
        (having("fahrenheit", "properties", "meta", "units", "air_temperature"), "'fahrenheit'"),
        (having("inch", "properties", "meta", "units", "precipitation_amount"), "expected 'mm'"),
        (having([153.0, -27.5, 3], "geometry", "coordinates"), "not for the farm's place"),
        (having("2025-05-14T00:00:00Z", "properties", "meta", "updated_at"), "set the clock"),
    ],
)
def test_a_wrong_answer_is_refused_in_one_line(
    change: Callable[[dict[str, Any]], None], told: str
) -> None:
    document = payload()
    change(document)
    with pytest.raises(WeatherFetchError) as caught:
        parsed(document)
    message = str(caught.value)
    assert message.startswith("MET Norway: ")
    assert told in message
    assert "\n" not in message


@pytest.mark.parametrize("body", [b"", b"null", b"[]", b"{}", HTML, b"\xff\xfe", b"[" * 100_000])
def test_what_is_no_forecast_is_refused(body: bytes) -> None:
    with pytest.raises(WeatherFetchError, match=r"^MET Norway: the answer "):
        metno.parse_forecast(body, OSLO, NOW)


def test_a_forecast_that_is_over_is_refused() -> None:
    with pytest.raises(WeatherFetchError, match="knows 0 hours after now"):
        parsed(payload(), now=START + timedelta(days=20))


def test_a_clock_a_little_behind_is_forgiven() -> None:
    found = parsed(payload(), now=START - timedelta(minutes=40))
    assert found.issued_at == found.known_at == START - timedelta(minutes=40)


# ------------------------------------------------------------------ fetched


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[WeatherServer]:
    with weather_server(NOW) as running:
        monkeypatch.setattr(metno, "ENDPOINT", f"{running.url}/compact")
        yield running


PATH = "/compact?lat=59.91&lon=10.75&altitude=24"


def offered(server: WeatherServer, document: Any) -> None:
    server.put(
        PATH,
        json.dumps(document).encode(),
        modified_at=NOW - timedelta(minutes=1),
        expires_in_s=1900,
        content_type="application/json",
    )


def test_asked_once_then_conditionally(server: WeatherServer, tmp_path: Path) -> None:
    offered(server, payload())
    with Fetcher(tmp_path, "grower@example.org", sleep=lambda s: None) as fetcher:
        first, how = metno.fetch_forecast(OSLO, fetcher, NOW)
        assert not how.from_cache
        (asked,) = server.requests
        assert asked.path == PATH
        assert asked.headers["user-agent"].endswith(" grower@example.org")
        again, how = metno.fetch_forecast(OSLO, fetcher, NOW + timedelta(minutes=10))
        assert how.from_cache
        assert len(server.requests) == 1  # before Expires nobody is asked
        server.now = later = NOW + timedelta(minutes=50)
        kept, how = metno.fetch_forecast(OSLO, fetcher, later)
    assert len(server.requests) == 2
    assert server.requests[1].headers["if-modified-since"] == "Mon, 12 May 2025 04:19:00 GMT"
    assert (how.from_cache, how.confirmed_at, how.fault) == (True, later, "")
    assert first.issued_at == again.issued_at == kept.issued_at


def test_without_a_contact_nobody_is_asked(server: WeatherServer, tmp_path: Path) -> None:
    offered(server, payload())
    with (
        Fetcher(tmp_path, " ", sleep=lambda s: None) as fetcher,
        pytest.raises(WeatherFetchError, match="nothing was asked; set contact"),
    ):
        metno.fetch_forecast(OSLO, fetcher, NOW)
    assert server.requests == []


def test_throttled_it_waits_as_told(server: WeatherServer, tmp_path: Path) -> None:
    offered(server, payload())
    server.fault(Reply(b"slow", 429, {"Retry-After": "7"}))
    waits: list[float] = []
    with Fetcher(tmp_path, "grower@example.org", sleep=waits.append) as fetcher:
        found, how = metno.fetch_forecast(OSLO, fetcher, NOW)
    assert waits == [7.0]
    assert found.values["rain_mm"].size > 0
    assert how.fault == ""


def test_an_answer_with_an_impossible_value_never_replaces_the_good_one(
    server: WeatherServer, tmp_path: Path
) -> None:
    offered(server, payload())
    with Fetcher(tmp_path, "grower@example.org", sleep=lambda s: None) as fetcher:
        good, _ = metno.fetch_forecast(OSLO, fetcher, NOW)
        bad = payload()
        having(400.0, *INSTANT, "air_temperature")(bad)
        server.put(PATH, json.dumps(bad).encode(), content_type="application/json")
        server.now = later = NOW + timedelta(hours=2)
        kept, how = metno.fetch_forecast(OSLO, fetcher, later)
    assert "allowed: -70 to 60 C" in how.fault
    assert (kept.issued_at, how.confirmed_at) == (good.issued_at, NOW)


# ----------------------------------------------------------------- recorded


def test_the_recorded_answer() -> None:
    path = RECORDED / "metno_compact_global_20251029_with_headers.json"
    if not path.is_file():
        pytest.skip(f"no recorded answer at {path}")
    recorded = json.loads(path.read_text())
    document = recorded["body"]
    place = Place(-27.5, 153.0, 19.0, "Australia/Brisbane")
    now = datetime(2025, 10, 29, 1, 11, 49, tzinfo=UTC)
    found = parsed(document, place, now)
    assert found.issued_at == datetime(2025, 10, 29, 0, 47, 34, tzinfo=UTC)
    rain = found.values["rain_mm"]
    assert_allclose(rain.sum(), tiled_total_mm(document), rtol=0, atol=1e-9)
    assert_allclose(rain.sum(), 44.6, rtol=0, atol=1e-9)
    assert rain.size == 59 + 6 * 28
    assert all(not np.isnan(row).any() for row in found.values.values())
    asked = metno.request_url(place).split("?")[0]
    # the recorded answer is the shorter one of the same service, without ranges
    assert recorded["request_uri"].startswith(asked.rpartition("/")[0] + "/compact")
