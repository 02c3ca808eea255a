"""The weather of a farm brought up to date against a server on the loopback, faults and all."""

from __future__ import annotations

import gzip
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.adapters.farmfile import Answers, new_farm_text, parse_farm
from scheduler.adapters.journal import FarmDatabase
from scheduler.adapters.weather import http, metno, nws, openmeteo, stations
from scheduler.adapters.weather.http import Fetcher
from scheduler.adapters.weather.sources import (
    asked_keys,
    attribution_lines,
    forecast_keys,
    what_is_sent,
)
from scheduler.adapters.weather.update import Update, update_weather
from scheduler.errors import UsageError
from scheduler.records import Farm, Kind, Place
from tests.adapters.weather_server import Reply, WeatherServer, weather_server

NOW = datetime(2026, 1, 3, 5, 12, tzinfo=UTC)  # the year turned three days ago
HOUR = timedelta(hours=1)
CONTACT = "grower@example.org"
PLACE = Place(40.78, -73.97, 4.0, "America/New_York")
METNO = "/compact?lat=40.78&lon=-73.97&altitude=4"


@pytest.fixture
def farm() -> Farm:
    found = parse_farm(new_farm_text(Answers(), CONTACT))
    return replace(found, weather={**found.weather, "past_years": 0})


def forecast_body(issued_at: datetime, rain_mm: float = 0.5) -> bytes:
    """An hourly answer of MET Norway of two days."""
    steps: list[dict[str, Any]] = []
    first = issued_at.replace(minute=0, second=0, microsecond=0)
    for i in range(49):
        details = {
            "air_temperature": 3.0,
            "relative_humidity": 80.0,
            "wind_speed": 4.0,
            "cloud_area_fraction": 50.0,
        }
        data: dict[str, Any] = {"instant": {"details": details}}
        if i < 48:
            data["next_1_hours"] = {"details": {"precipitation_amount": rain_mm}}
        steps.append({"time": (first + i * HOUR).isoformat(), "data": data})
    units = {
        "air_temperature": "celsius",
        "relative_humidity": "%",
        "wind_speed": "m/s",
        "cloud_area_fraction": "%",
        "precipitation_amount": "mm",
    }
    document = {
        "geometry": {"coordinates": [PLACE.longitude_deg, PLACE.latitude_deg, 4]},
        "properties": {
            "meta": {"updated_at": issued_at.isoformat(), "units": units},
            "timeseries": steps,
        },
    }
    return json.dumps(document).encode()


def stations_body(folder: Path) -> bytes:
    """A list of two stations in the archive's format."""
    path = folder / "made-stations.db"
    connection = sqlite3.connect(path)
    connection.executescript(
        "CREATE TABLE stations (id TEXT, country TEXT, region TEXT, latitude REAL, "
        "longitude REAL, elevation INTEGER, timezone TEXT);"
        "CREATE TABLE names (station TEXT, language TEXT, name TEXT);"
        "CREATE TABLE identifiers (station TEXT, key TEXT, value TEXT);"
        "CREATE TABLE inventory (station TEXT, provider TEXT, parameter TEXT, start TEXT, "
        "end TEXT, completeness REAL);"
    )
    for number, (name, longitude) in {
        "A0001": ("Mill Hill", -73.93),
        "B0002": ("Far Quay", -73.8),
    }.items():
        connection.execute(
            "INSERT INTO stations VALUES (?, 'US', 'NY', 40.78, ?, 5, 'America/New_York')",
            (number, longitude),
        )
        connection.execute("INSERT INTO names VALUES (?, 'en', ?)", (number, name))
    connection.commit()
    connection.close()
    body = path.read_bytes()
    path.unlink()
    return body


def hours_body(
    year: int, until: datetime, rain_mm: float, *, n_days: int = 40, wet_every_d: int = 7
) -> bytes:
    """One year of hours of a station up to a moment, stamps at the end of the hour."""
    names = ("temp", "rhum", "prcp", "wspd")
    rows = ["year,month,day,hour," + ",".join(f"{name},{name}_source" for name in names)]
    at = max(datetime(year, 1, 1, tzinfo=UTC), until - timedelta(days=n_days))
    while at <= until and at.year == year:
        is_wet = at.hour == 3 and (at - datetime(2026, 1, 3, 3, tzinfo=UTC)).days % wet_every_d == 0
        cells = (
            2.0 + at.hour / 8.0,
            70 + at.hour,
            rain_mm if is_wet else 0.0,
            8 + (7 * at.day + 3 * at.hour) % 10,
        )
        told = ",".join(f"{cell},isd_lite" for cell in cells)
        rows.append(f"{at.year},{at.month},{at.day},{at.hour},{told}")
        at += HOUR
    return gzip.compress("\n".join(rows).encode() + b"\n")


@pytest.fixture(autouse=True)
def _short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(http, "READ_TIMEOUT_S", 0.2)
    monkeypatch.setattr(http, "CONNECT_TIMEOUT_S", 1.0)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[WeatherServer]:
    with weather_server(NOW) as running:
        monkeypatch.setattr(metno, "ENDPOINT", f"{running.url}/compact")
        monkeypatch.setattr(nws, "ENDPOINT", f"{running.url}/nws")
        monkeypatch.setattr(openmeteo, "ENDPOINT", f"{running.url}/open")
        running.put("/stations.db", stations_body(tmp_path), expires_in_s=86400)
        offer_hours(running, NOW, 2.0)
        offer_forecast(running, NOW - timedelta(minutes=30))
        yield running


def offer_hours(server: WeatherServer, now: datetime, rain_mm: float, **made: int) -> None:
    """Serve hours that ended up to two hours before `now`."""
    last = (now - 2 * HOUR).replace(minute=0, second=0)
    for station in ("A0001", "B0002"):
        for year in (last.year - 1, last.year):
            until = min(last, datetime(year, 12, 31, 23, tzinfo=UTC))
            server.put(f"/hourly/{year}/{station}.csv.gz", hours_body(year, until, rain_mm, **made))


def offer_forecast(server: WeatherServer, issued_at: datetime) -> None:
    server.put(METNO, forecast_body(issued_at), modified_at=issued_at, expires_in_s=1800)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[FarmDatabase]:
    with FarmDatabase(tmp_path / "farm.db", create=True) as opened:
        yield opened


def updated(
    farm: Farm,
    database: FarmDatabase,
    server: WeatherServer,
    folder: Path,
    now: datetime = NOW,
    contact: str = CONTACT,
) -> Update:
    server.now = now
    told: list[float] = []
    with Fetcher(folder / "http", contact, sleep=lambda s: None) as fetcher:
        found = update_weather(
            farm,
            database,
            fetcher,
            folder / "stations",
            now,
            lambda message, done_frac: told.append(done_frac),
            archive_url=server.url,
        )
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert all("\n" not in note for note in found.notes)
    return found


def test_everything_is_kept_with_when_it_became_known(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    found = updated(farm, database, server, tmp_path)
    assert found.ok
    assert found.notes[0].startswith("observations: ")
    assert "values new; the newest ended Fri 2 Jan 22:00, 2 h old" in found.notes[0]
    assert any(note.startswith("forecast: MET Norway, new, issued") for note in found.notes)
    assert "Based on data from MET Norway (NLOD 2.0, CC BY 4.0)" in found.notes
    assert_allclose(found.ages["observed"], 2.2, rtol=0, atol=0.01)
    assert_allclose(found.ages["forecast"], 0.5, rtol=0, atol=0.01)
    before = database.weather_values(NOW - timedelta(seconds=1), NOW - timedelta(days=30), NOW)
    assert before == []
    assert database.latest_forecast(NOW - timedelta(seconds=1)) is None
    rain = [
        value
        for value in database.weather_values(NOW, NOW - timedelta(days=30), NOW)
        if value.variable == "rain_mm"
    ]
    assert {value.known_at for value in rain} == {NOW}
    assert {value.kind for value in rain} == {Kind.OBSERVED}
    starts = [value.start_at for value in rain]
    assert all(b - a == HOUR for a, b in pairwise(starts))  # over New Year
    forecast = database.latest_forecast(NOW)
    assert forecast is not None
    assert_allclose(forecast.values["rain_mm"].sum(), 24.0, rtol=1e-12, atol=0)


def test_again_at_once_brings_nothing_and_asks_little(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    updated(farm, database, server, tmp_path)
    n_asked = len(server.requests)
    again = updated(farm, database, server, tmp_path, NOW + timedelta(minutes=5))
    assert again.ok
    assert "observations: none new" in again.notes[0]
    assert any("nothing newer than that of" in note for note in again.notes)
    assert len(server.requests) == n_asked
    assert len(database.forecasts(NOW + HOUR)) == 1


def test_a_mark_is_not_lost_when_less_is_read_again(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    """December that repeats November is marked; ten days of it alone would look sound."""
    offer_hours(server, NOW, 2.0, n_days=100, wet_every_d=3)
    updated(farm, database, server, tmp_path)

    def marked() -> int:
        values = database.weather_values(NOW + HOUR, NOW - timedelta(days=40), NOW)
        return sum("repeats" in value.suspect for value in values)

    assert marked() == 744
    later = NOW + timedelta(minutes=30)
    again = updated(farm, database, server, tmp_path, later)
    assert "observations: none new" in again.notes[0]
    assert marked() == 744


def test_revisions_and_every_forecast_are_kept(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    updated(farm, database, server, tmp_path)
    later = NOW + timedelta(days=1)
    offer_hours(server, later, 5.0)
    offer_forecast(server, later - HOUR)
    updated(farm, database, server, tmp_path, later)

    def rain_mm(known_at: datetime) -> float:
        day = NOW - timedelta(days=1)
        return sum(
            value.value
            for value in database.weather_values(known_at, day, day + timedelta(days=1))
            if value.variable == "rain_mm"
        )

    assert (rain_mm(NOW), rain_mm(later)) == (2.0, 5.0)
    issues = [each.issued_at for each in database.forecasts(later)]
    assert issues == [NOW - timedelta(minutes=30), later - HOUR]


def test_a_dead_archive_does_not_stop_the_forecast(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    server.remove("/stations.db")
    found = updated(farm, database, server, tmp_path)
    assert found.ok
    assert "observations: could not be brought up to date; none of the last" in found.notes[0]
    assert "observed" not in found.ages
    assert database.latest_forecast(NOW) is not None


def test_a_dead_forecast_does_not_stop_observations(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    updated(farm, database, server, tmp_path)
    later = NOW + timedelta(days=2)
    offer_hours(server, later, 2.0)
    server.remove(METNO)
    found = updated(farm, database, server, tmp_path, later)
    assert found.ok
    assert found.ages["observed"] < 3.0
    assert_allclose(found.ages["forecast"], 48.5, rtol=0, atol=0.01)
    assert (
        "forecast: none could be had since that of MET Norway issued Fri 2 Jan 23:42, 2 days old, "
        "which stands" in found.notes
    )


@pytest.mark.parametrize("how", ["hang", "reset"])
def test_an_outage_takes_nothing_away_and_tells_ages(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path, how: str
) -> None:
    updated(farm, database, server, tmp_path)
    held = database.all_weather_values(NOW)
    server.lasting_fault(Reply(how=how))
    later = NOW + timedelta(days=2)
    found = updated(farm, database, server, tmp_path, later)
    assert not found.ok
    assert_allclose(found.ages["observed"], 50.2, rtol=0, atol=0.01)
    assert_allclose(found.ages["forecast"], 48.5, rtol=0, atol=0.01)
    assert "could not be brought up to date; the newest ended Fri 2 Jan 22:00" in found.notes[0]
    assert database.all_weather_values(later) == held
    (forecast,) = database.forecasts(later)
    assert forecast.known_at == NOW


def test_in_the_us_its_own_service_stands_in(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    server.remove(METNO)
    point = {"properties": {"gridId": "OKX", "gridX": 33, "gridY": 37}}
    start = NOW.replace(minute=0)

    def layer(unit: str, length: str, value: float) -> dict[str, Any]:
        rows = [{"validTime": f"{start.isoformat()}/{length}", "value": value}]
        return {"uom": unit, "values": rows}

    grid = {
        "properties": {
            "updateTime": start.isoformat(),
            "temperature": layer("wmoUnit:degC", "P2D", 3.0),
            "quantitativePrecipitation": layer("wmoUnit:mm", "P1D", 12.0),
        }
    }
    server.put("/nws/points/40.78,-73.97", json.dumps(point).encode())
    server.put("/nws/gridpoints/OKX/33,37", json.dumps(grid).encode())
    found = updated(farm, database, server, tmp_path)
    assert any("MET Norway" not in note and "new, issued" in note for note in found.notes)
    forecast = database.latest_forecast(NOW)
    assert forecast is not None
    assert forecast.source == nws.NAME
    assert_allclose(np.nansum(forecast.values["rain_mm"]), 12.0, rtol=1e-12, atol=0)


def test_without_consent_or_contact_nobody_is_asked(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    for weather in ({}, {"consent": False, "contact": CONTACT}):
        with pytest.raises(UsageError, match="nothing was asked"):
            updated(replace(farm, weather=weather), database, server, tmp_path)
    assert server.requests == []
    found = updated(farm, database, server, tmp_path, contact="")
    assert not any("compact" in request.path for request in server.requests)
    assert any("wants to know whom to write to" in note for note in found.notes)


def test_no_forecast_is_asked_for_where_none_is_wanted(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    quiet = replace(farm, weather={**farm.weather, "forecast": "none"})
    found = updated(quiet, database, server, tmp_path)
    assert found.ok
    assert database.forecasts(NOW) == ()
    assert not any("compact" in request.path for request in server.requests)


def test_open_meteo_only_by_name_and_with_its_condition(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    named = replace(farm, weather={**farm.weather, "forecast": "openmeteo"})
    found = updated(named, database, server, tmp_path)
    assert f"{openmeteo.CONDITION}." in found.notes
    asked = [request.path for request in server.requests]
    assert any(path.startswith("/open?") for path in asked)
    assert not any(path.startswith(("/compact", "/nws")) for path in asked)


def test_a_named_station_is_used_and_a_wrong_name_is_told(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    named = replace(farm, weather={**farm.weather, "station": "B0002", "rain_station": "X9999"})
    found = updated(named, database, server, tmp_path)
    assert any(
        note.startswith("rain_station X9999: there is no such station") for note in found.notes
    )
    asked = [request.path for request in server.requests if "/hourly/" in request.path]
    assert asked
    assert all("B0002" in path for path in asked)


def test_past_years_are_fetched_once_and_again_when_the_season_moved_on(
    farm: Farm,
    database: FarmDatabase,
    server: WeatherServer,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for year, until in ((2024, datetime(2024, 3, 20)), (2025, datetime(2025, 12, 31, 23))):
        body = hours_body(year, until.replace(tzinfo=UTC), 1.0, n_days=365)
        server.put(f"/hourly/{year}/A0001.csv.gz", body)
    wanted: list[int] = []
    fetch = stations.fetch_observations

    def watched(*arguments: Any, **options: Any) -> Any:
        wanted.append(options["past_years"])
        return fetch(*arguments, **options)

    monkeypatch.setattr(stations, "fetch_observations", watched)
    asking = replace(farm, weather={"consent": True, "contact": CONTACT, "past_years": 2})
    for days in (0, 1, 20):
        updated(asking, database, server, tmp_path, NOW + timedelta(days=days))
    assert wanted == [2, 0, 2]
    two_years_ago = datetime(2024, 1, 20, tzinfo=UTC)
    columns = database.weather_columns(NOW, two_years_ago, two_years_ago + timedelta(days=5))
    assert columns["rain_mm"].values.size == 120


# ------------------------------------------------------------------ sources


OSLO = Place(59.91273, 10.74609, 23.6, "Europe/Oslo")


@pytest.mark.parametrize(
    ("place", "weather", "keys"),
    [
        (PLACE, {}, ("metno", "nws")),
        (OSLO, {}, ("metno",)),
        (OSLO, {"forecast": "nws"}, ("nws",)),
        (PLACE, {"forecast": "openmeteo"}, ("openmeteo",)),
        (PLACE, {"forecast": "none"}, ()),
        (Place(61.2, -149.9, 30.0, "America/Anchorage"), {}, ("metno", "nws")),
        (Place(-33.87, 151.21, 3.0, "Australia/Sydney"), {}, ("metno",)),
    ],
)
def test_who_is_asked_follows_the_place_and_the_farm_file(
    place: Place, weather: dict[str, str], keys: tuple[str, ...]
) -> None:
    assert forecast_keys(place, weather) == keys
    assert asked_keys(place, weather) == ("stations", *keys)


def test_what_is_sent_is_told_for_each_and_never_finer_than_two_decimals() -> None:
    for weather in ({}, {"forecast": "openmeteo"}):
        keys = asked_keys(OSLO, weather)
        told = what_is_sent(OSLO, keys)
        assert len(told) == len(keys) + 1
        text = " ".join(told)
        assert "59.91, longitude 10.75" in text
        assert "59.912" not in text
        assert ("non-commercial" in text) == ("openmeteo" in keys)
    (archive, _) = what_is_sent(OSLO, ("stations",))
    assert "59.9" not in archive


def test_every_service_has_its_line_of_credit() -> None:
    names = [metno.NAME, nws.NAME, openmeteo.NAME]
    assert len(attribution_lines([*names, "own gauge", metno.NAME])) == 3
