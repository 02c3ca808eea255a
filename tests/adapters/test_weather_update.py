"""The weather of a farm brought up to date against a server on the loopback, faults and all."""

from __future__ import annotations

import gzip
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler import cli, service
from scheduler.adapters.farmfile import Answers, new_farm_text, parse_farm
from scheduler.adapters.journal import FarmDatabase
from scheduler.adapters.weather import http, metno, nws, openmeteo, stations
from scheduler.adapters.weather.http import Fetcher
from scheduler.adapters.weather.show import weather_text
from scheduler.adapters.weather.sources import (
    asked_keys,
    attribution_lines,
    forecast_keys,
    full_credit,
    what_is_sent,
)
from scheduler.adapters.weather.update import Update, update_weather
from scheduler.errors import UsageError
from scheduler.records import Farm, Kind, Morning, Place
from scheduler.service.weather import weather_on_record
from tests.adapters.weather_server import Reply, WeatherServer, faults, weather_server

NOW = datetime(2026, 1, 3, 5, 12, tzinfo=UTC)  # the year turned three days ago
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
CONTACT = "grower@example.org"
PLACE = Place(40.78, -73.97, 4.0, "America/New_York")
METNO = "/compact?lat=40.78&lon=-73.97&altitude=4"


@pytest.fixture
def farm() -> Farm:
    found = parse_farm(new_farm_text(Answers(), CONTACT))
    return replace(found, weather={**found.weather, "past_years": 0})


def forecast_body(issued_at: datetime, rain_mm: float = 0.5, *, place: Place = PLACE) -> bytes:
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
        "geometry": {"coordinates": [place.longitude_deg, place.latitude_deg, 4]},
        "properties": {
            "meta": {"updated_at": issued_at.isoformat(), "units": units},
            "timeseries": steps,
        },
    }
    return json.dumps(document).encode()


def stations_body(folder: Path, place: Place = PLACE) -> bytes:
    """A list of two stations east of a place, in the archive's format."""
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
    for number, (name, east_deg) in {
        "A0001": ("Mill Hill", 0.04),
        "B0002": ("Far Quay", 0.17),
    }.items():
        connection.execute(
            "INSERT INTO stations VALUES (?, 'US', 'NY', ?, ?, 5, 'America/New_York')",
            (number, place.latitude_deg, place.longitude_deg + east_deg),
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


# ---------------------------------------------------- every fault, up to the list


@pytest.fixture
def small(farm: Farm) -> Farm:
    """A farm of two beds: its list comes fast."""
    return replace(farm, beds=farm.beds[:2])


def page_and_list(farm: Farm, database: FarmDatabase, now: datetime) -> tuple[str, Morning]:
    """What `weather show` prints of a moment, and the list of it."""
    hour = now.replace(minute=0, second=0)
    events = list(database.events(now))
    series = weather_on_record(
        farm, events, database, now, hour - timedelta(days=30), hour + timedelta(days=7)
    )
    page = weather_text(series, now, farm.place, "metric", 120, is_plotted=False)
    return page, service.morning(farm, database, database, now)


def tables(database: FarmDatabase, now: datetime) -> tuple[Any, ...]:
    return database.all_weather_values(now), [
        (f.source, f.issued_at, f.known_at, f.values["rain_mm"].tolist())
        for f in database.forecasts(now)
    ]


FAULTS = sorted(faults(b"{}"))


@pytest.mark.parametrize("name", FAULTS)
def test_after_every_fault_data_list_and_ages_stand(
    small: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path, name: str
) -> None:
    """A good evening, then a morning on which every request meets the fault."""
    updated(small, database, server, tmp_path)
    held = tables(database, NOW + timedelta(days=9))
    server.lasting_fault(faults(forecast_body(NOW))[name])
    later = NOW + timedelta(hours=30)
    found = updated(small, database, server, tmp_path, later)
    assert tables(database, NOW + timedelta(days=9)) == held
    assert_allclose(found.ages["observed"], 32.2, rtol=0, atol=0.01)
    assert_allclose(found.ages["forecast"], 30.5, rtol=0, atol=0.01)
    assert not found.ok
    page, listed = page_and_list(small, database, later)
    assert page.startswith(
        "Observed to Fri 2 Jan 22:00, 32 h old. Forecast of Fri 2 Jan 23:42, 30 h old.\n"
    )
    assert [line.bed for line in listed.beds] == [bed.name for bed in small.beds]
    assert listed.weather.age_h == pytest.approx(32.2, abs=0.01)
    assert listed.weather.forecast_issued == NOW - timedelta(minutes=30)
    assert any("no reading of rain and temperature since" in n for n in listed.weather.notes)


@pytest.mark.parametrize("name", FAULTS)
def test_a_farm_whose_first_update_fails_still_has_its_gauge(
    small: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path, name: str
) -> None:
    server.lasting_fault(faults(forecast_body(NOW))[name])
    found = updated(small, database, server, tmp_path)
    assert found.ages == {}
    assert database.all_weather_values(NOW) == []
    assert not database.forecasts(NOW)
    assert "your own gauge counts alone" in found.notes[0]


@pytest.mark.parametrize("skew_d", [-400, 400])
@pytest.mark.parametrize("modified_at", [None, datetime(2031, 1, 1, tzinfo=UTC)])
def test_wrong_clocks_and_unchanged_answers_change_no_age(
    small: Farm,
    database: FarmDatabase,
    server: WeatherServer,
    tmp_path: Path,
    skew_d: int,
    modified_at: datetime | None,
) -> None:
    """A server whose clock is a year off, and what was changed in the future: 200, then 304."""
    issued_at = NOW - timedelta(minutes=30)
    server.skew = timedelta(days=skew_d)
    server.put(
        METNO,
        forecast_body(issued_at),
        modified_at=modified_at or issued_at,
        expires_in_s=1800,
    )
    first = updated(small, database, server, tmp_path)
    assert_allclose(first.ages["forecast"], 0.5, rtol=0, atol=0.01)
    held = tables(database, NOW + timedelta(days=9))
    later = NOW + timedelta(hours=2)
    server.requests.clear()
    again = updated(small, database, server, tmp_path, later)
    (asked,) = [request for request in server.requests if request.path == METNO]
    assert "if-modified-since" in asked.headers  # answered with 304
    assert again.ok
    assert any("nothing newer than that of" in note for note in again.notes)
    assert_allclose(again.ages["forecast"], 2.5, rtol=0, atol=0.01)
    assert_allclose(again.ages["observed"], 4.2, rtol=0, atol=0.01)
    assert tables(database, NOW + timedelta(days=9)) == held
    page, listed = page_and_list(small, database, later)
    assert page.startswith("Observed to Fri 2 Jan 22:00, 4 h old. Forecast of Fri 2 Jan 23:42, 2 h")
    assert not any("old" in note for note in listed.weather.notes)


def test_a_way_of_asking_that_will_end_is_told_and_still_counts(
    farm: Farm, database: FarmDatabase, server: WeatherServer, tmp_path: Path
) -> None:
    """MET Norway answers 203 where a version of its service is on its way out."""
    sent = {"Content-Type": "application/json"}
    quiet = replace(farm, weather={**farm.weather, "station": "A0001"})
    updated(
        replace(quiet, weather={**quiet.weather, "forecast": "none"}), database, server, tmp_path
    )
    server.lasting_fault(Reply(forecast_body(NOW), 203, sent))
    found = updated(quiet, database, server, tmp_path, NOW + timedelta(minutes=1))
    assert any(
        "says that this way of asking will end; update whitethread" in n for n in found.notes
    )
    forecast = database.latest_forecast(NOW + HOUR)
    assert forecast is not None
    assert forecast.issued_at == NOW


# ------------------------------------------- the calendar and the corners of the world


WORLD = {
    "over New Year": (PLACE, datetime(2026, 1, 2, 10, 12, tzinfo=UTC)),
    "clocks go forward": (PLACE, datetime(2026, 3, 9, 9, 30, tzinfo=UTC)),
    "clocks go back": (PLACE, datetime(2025, 11, 3, 10, 30, tzinfo=UTC)),
    "south of the equator": (
        Place(-37.81, 144.96, 31.0, "Australia/Melbourne"),
        datetime(2026, 1, 1, 18, 30, tzinfo=UTC),
    ),
    "above 60 north": (
        Place(64.84, 25.47, 15.0, "Europe/Helsinki"),
        datetime(2025, 6, 21, 2, 30, tzinfo=UTC),
    ),
}


@pytest.mark.parametrize("name", WORLD)
def test_from_the_services_to_the_list_wherever_and_whenever(
    farm: Farm,
    database: FarmDatabase,
    server: WeatherServer,
    tmp_path: Path,
    name: str,
) -> None:
    """On the eve, and two mornings later: hours and a forecast come in; page and list stand."""
    place, now = WORLD[name]
    there = replace(farm, place=place, beds=farm.beds[:2])
    zone = ZoneInfo(place.time_zone)
    server.put("/stations.db", stations_body(tmp_path, place), expires_in_s=86400)
    path = metno.request_url(place).removeprefix(server.url)

    def brought_in(at: datetime) -> tuple[str, Morning]:
        offer_hours(server, at, 2.0, n_days=100)
        issued_at = at - timedelta(minutes=30)
        body = forecast_body(issued_at, place=place)
        server.put(path, body, modified_at=issued_at, expires_in_s=99)
        found = updated(there, database, server, tmp_path, at)
        assert found.ok
        assert_allclose(found.ages["forecast"], 0.5, rtol=0, atol=0.01)
        return page_and_list(there, database, at)

    def civil_day(day: date) -> tuple[datetime, datetime, str]:
        first, last = (
            datetime(each.year, each.month, each.day, tzinfo=zone).astimezone(UTC)
            for each in (day, day + DAY)
        )
        return first, last, f"{day:%a} {day.day} {day:%b} "

    def line_of(page: str, title: str) -> list[str]:
        (line,) = [line for line in page.splitlines() if line.startswith(title)]
        return line.removeprefix(title).split()

    turn = now.astimezone(zone).date() - DAY  # New Year's Day, or the day of 23 or 25 hours
    page, listed = brought_in(now - 2 * DAY)
    first, last, title = civil_day(turn)
    assert float(line_of(page, title)[0]) == 0.5 * ((last - first) / HOUR)  # all of it foreseen
    assert line_of(page, title)[-2:] == ["forecast", "forecast"]
    mornings = [listed]
    page, listed = brought_in(now)
    mornings.append(listed)

    # the rain of every civil day is that of the station's own hours
    values = database.weather_values(now, now - timedelta(days=30), now)
    hours = {v.start_at: v.value for v in values if v.variable == "rain_mm"}
    lengths = []
    for back in range(6):
        first, last, title = civil_day(turn - back * DAY)
        own = [hours[first + i * HOUR] for i in range(int((last - first) / HOUR))]
        lengths.append(len(own))
        assert float(line_of(page, title)[0]) == pytest.approx(sum(own), abs=0.051)
        assert line_of(page, title)[-2:] == ["station", "station"]
    assert lengths.count(24) == (5 if "clocks" in name else 6)
    assert lengths[0] == {"clocks go forward": 23, "clocks go back": 25}.get(name, 24)

    for at, listed in zip((now - 2 * DAY, now), mornings, strict=True):
        assert [line.bed for line in listed.beds] == [bed.name for bed in there.beds]
        assert listed.day == at.astimezone(zone).date()
        assert listed.weather.forecast_issued == at - timedelta(minutes=30)
        assert not any("no pass is ranked" in note for note in listed.weather.notes)
        unknown = [note for note in listed.weather.notes if "rain unknown" in note]
        assert all(
            note.startswith(("rain unknown for 1 hour ", "rain unknown for 2 hours "))
            for note in unknown
        )  # between the station's last hour and the forecast's first
        for line in listed.beds:
            assert line.soil.surface_temp_c is not None
            assert -5.0 < line.soil.surface_temp_c < 15.0  # the air has 2 to 5 C
            assert line.until is None or line.until > at


# -------------------------------------------------------------- by the command line


@pytest.fixture
def folder(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    server: WeatherServer,
    capsys: pytest.CaptureFixture[str],
) -> Path:
    """A new farm with consent, whose services are on the loopback."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv(cli.NOW_VARIABLE, NOW.isoformat())
    monkeypatch.setattr(stations, "ARCHIVE_URL", server.url)
    monkeypatch.setattr(http, "FIRST_WAIT_S", 0.0)
    made = tmp_path / "farm"
    assert status("init", str(made), "--yes") == 0
    path = made / "farm.toml"
    consent = f'[weather]\nconsent = true\npast_years = 0\ncontact = "{CONTACT}"\n'
    path.write_text(path.read_text().replace("#: [weather]\n", consent))
    monkeypatch.chdir(made)
    capsys.readouterr()
    return made


def status(*words: str) -> int:
    """Exit status of one command, run in this process."""
    with pytest.raises(SystemExit) as end:
        cli.main(list(words))
    assert isinstance(end.value.code, int)
    return end.value.code


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What a command that does its work prints, on one line; pages keep within 80 columns."""
    assert status(*words) == 0
    out = capsys.readouterr().out
    is_page = words in (("weather", "show"), ("today",))
    assert not is_page or max(map(len, out.splitlines())) <= 80
    return " ".join(out.split())


CREDITS = (
    "Source: Meteostat and its data providers (CC BY 4.0)",
    "Based on data from MET Norway (NLOD 2.0, CC BY 4.0)",
)


def test_update_show_and_list_with_age_kinds_distance_and_credits(
    folder: Path, server: WeatherServer, capsys: pytest.CaptureFixture[str]
) -> None:
    told = said(capsys, "weather", "update")
    assert "values new; the newest ended Fri 2 Jan 22:00, 2 h old" in told
    assert "forecast: MET Norway, new, issued Fri 2 Jan 23:42" in told
    page = said(capsys, "weather", "show")
    for words in (
        "Observed to Fri 2 Jan 22:00, 2 h old. Forecast of Fri 2 Jan 23:42, 0 h old.",
        "- Mill Hill (A0001), 3 km: station; rain, wind; to Fri 2 Jan 22:00, 2 h old",
        "- 2 stations within 14 km: station; temperature, humidity; to",
        "Rain in 6 hours, in",
        "Temperature, F",
    ):
        assert words in page, words
    listed = said(capsys, "today")
    answer = json.loads(said(capsys, "today", "--json"))
    assert answer["attribution"][-2:] == list(CREDITS)
    for credit in CREDITS:
        assert credit in listed or "more: whitethread weather show" in listed
        assert full_credit(credit) in page
    assert "https://creativecommons.org/licenses/by/4.0/); units changed" in page
    assert CREDITS[1] in told


def test_what_is_suspect_of_a_station_is_left_out_and_named_on_the_page(
    folder: Path, server: WeatherServer, capsys: pytest.CaptureFixture[str]
) -> None:
    """400 mm in an hour and a thermometer that stands still for thirty hours."""
    names = ("temp", "rhum", "prcp", "wspd")
    for station in ("A0001", "B0002"):
        for year in (2025, 2026):
            path = f"/hourly/{year}/{station}.csv.gz"
            body = gzip.decompress(server.body_of(path)).decode().splitlines()
            rows = [line.split(",") for line in body]
            for row in rows[1:]:
                at = datetime(*(int(cell) for cell in row[:4]), tzinfo=UTC)  # type: ignore[misc]
                if at == datetime(2025, 12, 28, 9, tzinfo=UTC):
                    row[4 + 2 * names.index("prcp")] = "400.0"
                if datetime(2025, 12, 20, tzinfo=UTC) < at <= datetime(2025, 12, 21, 6, tzinfo=UTC):
                    row[4 + 2 * names.index("temp")] = "3.3"
            text = "\n".join(",".join(row) for row in rows) + "\n"
            server.put(path, gzip.compress(text.encode()))
    assert "61 values of stations left out of use as suspect" in said(capsys, "weather", "update")
    page = said(capsys, "weather", "show")
    assert "1 value of 28 Dec 2025 (15.7 in) left out: more than 5.9 in" in page
    for station in ("Mill Hill (A0001), 3 km", "Far Quay (B0002), 14 km"):
        assert f"temperature of {station}: 30 values of 19 Dec 2025 to 21 Dec 2025 (38 F)" in page
    assert "the same value for 30 hours: stuck?" in page
    with FarmDatabase(folder / "farm.db") as database:
        kept = database.all_weather_values(NOW)
    assert [v.value for v in kept if v.variable == "rain_mm" and v.suspect] == [400.0]


def test_a_damaged_file_comes_in_and_every_fault_stands_on_the_page(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Days of a log with a lowest above the highest, a wrong unit and a day to come."""
    rows = [f"2025-12-{day:02d},{day % 4},1.{day},9.{day}" for day in range(1, 30)]
    rows[9] = "2025-12-10,900,1.0,9.0"
    rows[19] = "2025-12-20,0,12.0,4.0"
    rows.append("2026-01-05,3,1.0,9.5")
    file = folder / "log.csv"
    file.write_text("date,rain [mm],t min [C],t max [C]\n" + "\n".join(rows) + "\n")
    before = said(capsys, "weather", "import", str(file))
    assert "left out of use" in before
    page = said(capsys, "weather", "show")
    for words in (
        "1 value of 10 Dec 2025 (35.4 in) left out: more than 5.9 in",
        "1 value of 20 Dec 2025 (54 F) left out: t min above t max",
        "1 value of 20 Dec 2025 (39 F) left out: t min above t max",
        "left out: lies after now",
    ):
        assert words in page, words


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
