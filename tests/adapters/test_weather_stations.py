"""Observations of stations: files in the archive's format, the mirror, meteostat, our records."""

from __future__ import annotations

import gzip
import math
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from scheduler.adapters.weather import http, mirror, stations
from scheduler.adapters.weather.http import Fetcher
from scheduler.adapters.weather.stations import (
    Observations,
    Station,
    fetch_observations,
    fetch_stations,
    nearest_stations,
    observations,
)
from scheduler.errors import WeatherFileError
from scheduler.records import Kind, Place, WeatherValue
from tests.adapters.weather_server import Reply, WeatherServer, faults, weather_server

RECORDED = Path(__file__).parents[2].parent / "shared" / "data" / "recorded"
FARM = Place(50.05, 8.6, 100.0, "Europe/Berlin")
NOW = datetime(2026, 1, 20, 5, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
HEADER = (
    "year,month,day,hour,temp,temp_source,rhum,rhum_source,prcp,prcp_source,snwd,snwd_source,"
    "wdir,wdir_source,wspd,wspd_source,wpgt,wpgt_source,pres,pres_source,tsun,tsun_source,"
    "cldc,cldc_source,coco,coco_source"
)
NEAR = Station("10637", "Alder Field", 50.05, 8.65, 110.0, 3.6, 10.0)
Row = dict[str, tuple[object, str]]


def year_file(year: int, row: Callable[[datetime], Row | None], until: datetime) -> bytes:
    """One yearly file as the archive writes it: stamps of the year up to `until`."""
    lines = [HEADER]
    names = [name for name in HEADER.split(",")[4:] if not name.endswith("_source")]
    stamp = datetime(year, 1, 1, tzinfo=UTC)
    while stamp.year == year and stamp <= until:
        cells = row(stamp)
        if cells is not None:
            parts = [str(part) for name in names for part in cells.get(name, ("", ""))]
            lines.append(",".join([f"{stamp.year},{stamp.month},{stamp.day},{stamp.hour}", *parts]))
        stamp += HOUR
    return gzip.compress(("\n".join(lines) + "\n").encode())


def plain(stamp: datetime, rain_mm: float = 0.1, source: str = "dwd_hourly") -> Row:
    """An hour with everything, observed."""
    return {
        "temp": (5.0 + stamp.hour / 10.0, source),
        "rhum": (80.0, source),
        "prcp": (rain_mm, source),
        "wspd": (18.0, source),
        "tsun": (30.0 if 8 <= stamp.hour <= 16 else 0.0, source),
    }


def put_mirror(folder: Path, station: Station, year: int, body: bytes) -> Path:
    path = folder / "hourly" / str(year) / f"{station.id}.csv.gz"
    mirror.write_whole(path, body)
    return path


def of(values: Sequence[WeatherValue], variable: str) -> list[WeatherValue]:
    return [value for value in values if value.variable == variable]


@pytest.fixture(autouse=True)
def _short_timeouts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(http, "READ_TIMEOUT_S", 0.15)


@pytest.fixture
def server() -> Iterator[WeatherServer]:
    with weather_server(NOW) as running:
        yield running


@pytest.fixture
def fetcher(tmp_path: Path) -> Iterator[Fetcher]:
    with Fetcher(tmp_path / "cache", "g@example.org", sleep=lambda _: None) as one:
        yield one


# ------------------------------------------------------------- what a file says


def test_hours_are_utc_end_at_their_stamp_and_come_in_si(tmp_path: Path) -> None:
    def row(stamp: datetime) -> Row | None:
        if stamp == datetime(2026, 1, 2, 13, tzinfo=UTC):
            return {
                "temp": (7.3, "dwd_hourly"),
                "rhum": (77.0, "dwd_hourly"),
                "prcp": (8.8, "dwd_hourly"),
                "wspd": (25.2, "dwd_hourly"),
            }
        return None

    put_mirror(tmp_path, NEAR, 2026, year_file(2026, row, NOW))
    found = {value.variable: value for value in observations(NEAR, [2026], tmp_path, NOW)}
    start = datetime(2026, 1, 2, 12, tzinfo=UTC)
    assert {(value.start_at, value.end_at) for value in found.values()} == {(start, start + HOUR)}
    assert found["rain_mm"].value == 8.8
    assert found["air_temp_c"].value == 7.3
    assert found["humidity_frac"].value == 0.77
    # FAO-56 Eq. 47 by hand: 25.2 km/h is 7 m/s; 4.87 / ln(67.8 * 10 - 5.42) = 0.7480
    assert found["wind_2m_m_s"].value == pytest.approx(7.0 * 0.7480, abs=5e-4)
    assert {value.kind for value in found.values()} == {Kind.OBSERVED}
    assert {value.source for value in found.values()} == {"Alder Field (10637), 4 km"}
    assert {value.known_at for value in found.values()} == {NOW}


@pytest.mark.parametrize(
    ("source", "kind"),
    [
        ("dwd_hourly", Kind.OBSERVED),
        ("isd_lite", Kind.OBSERVED),
        ("metar isd_lite", Kind.OBSERVED),
        ("dwd_mosmix", Kind.MODEL),
        ("metno_forecast", Kind.MODEL),
        ("dwd_poi dwd_mosmix", Kind.MODEL),
        ("nobody_knows", Kind.MODEL),
        ("", Kind.MODEL),
    ],
)
def test_the_kind_follows_from_every_name_of_the_source(
    tmp_path: Path, source: str, kind: Kind
) -> None:
    def row(stamp: datetime) -> Row:
        return {"temp": (1.0, "dwd_hourly"), "prcp": (0.4, source)}

    put_mirror(tmp_path, NEAR, 2026, year_file(2026, row, NOW))
    found = observations(NEAR, [2026], tmp_path, NOW)
    assert {value.kind for value in of(found, "rain_mm")} == {kind}
    assert {value.kind for value in of(found, "air_temp_c")} == {Kind.OBSERVED}
    assert len(of(found, "rain_mm")) == len(of(found, "air_temp_c")) == 19 * 24 + 5


def test_missing_is_not_zero(tmp_path: Path) -> None:
    def row(stamp: datetime) -> Row | None:
        if stamp.hour == 3:
            return None
        return {
            "temp": (1.0, "dwd_hourly"),
            "prcp": ("", "") if stamp.hour == 4 else (0.0, "metar"),
        }

    put_mirror(tmp_path, NEAR, 2026, year_file(2026, row, NOW))
    rain = of(observations(NEAR, [2026], tmp_path, NOW), "rain_mm")
    assert {value.end_at.hour for value in rain} == set(range(24)) - {3, 4}
    assert {value.value for value in rain} == {0.0}


def test_a_year_boundary_loses_no_hour(tmp_path: Path) -> None:
    put_mirror(tmp_path, NEAR, 2025, year_file(2025, plain, NOW))
    put_mirror(tmp_path, NEAR, 2026, year_file(2026, plain, NOW))
    rain = of(observations(NEAR, [2025, 2026], tmp_path, NOW), "rain_mm")
    starts = [value.start_at for value in rain]
    # the first hour of 2025 has its stamp in 2025, the last one in 2026
    assert starts[0] == datetime(2025, 1, 1, tzinfo=UTC)
    assert starts[-1] == datetime(2026, 1, 20, 4, tzinfo=UTC)
    assert len(set(starts)) == len(starts) == 365 * 24 + 19 * 24 + 5
    alone = of(observations(NEAR, [2025], tmp_path, NOW), "rain_mm")
    assert len(alone) == 365 * 24
    (tmp_path / "hourly" / "2026" / "10637.csv.gz").unlink()
    assert len(of(observations(NEAR, [2025], tmp_path, NOW), "rain_mm")) == 365 * 24 - 1


def test_hours_that_have_not_ended_are_left_out(tmp_path: Path) -> None:
    put_mirror(tmp_path, NEAR, 2026, year_file(2026, plain, NOW + timedelta(days=8)))
    found = observations(NEAR, [2026, 2027], tmp_path, NOW)
    assert max(value.end_at for value in found) == datetime(2026, 1, 20, 5, tzinfo=UTC)


def test_a_file_that_says_an_hour_twice_is_named_not_lost(tmp_path: Path) -> None:
    text = mirror.csv_text(year_file(2026, plain, NOW)).splitlines()
    body = gzip.compress("\n".join([*text, text[5]]).encode())
    path = put_mirror(tmp_path, NEAR, 2026, body)
    with pytest.raises(WeatherFileError, match="no hours can be read") as caught:
        observations(NEAR, [2026], tmp_path, NOW)
    assert str(path) in str(caught.value)


def test_rain_of_a_far_station_is_not_called_measured(tmp_path: Path) -> None:
    far = replace(NEAR, distance_km=31.0)
    put_mirror(tmp_path, far, 2026, year_file(2026, plain, NOW))
    found = observations(far, [2026], tmp_path, NOW)
    assert {value.kind for value in of(found, "rain_mm")} == {Kind.MODEL}
    assert {value.kind for value in of(found, "air_temp_c")} == {Kind.OBSERVED}


def test_sunshine_becomes_radiation_of_whole_days(tmp_path: Path) -> None:
    put_mirror(tmp_path, NEAR, 2026, year_file(2026, plain, NOW))
    solar = of(observations(NEAR, [2026], tmp_path, NOW), "solar_mj_m2")
    assert {value.end_at - value.start_at for value in solar} == {timedelta(hours=24)}
    assert {value.start_at.hour for value in solar} == {23}  # solar midnight at 8.65 east
    assert {value.kind for value in solar} == {Kind.MODEL}
    # FAO-56 Eq. 35, written out: 9 hours of 30 min; 10 January at 50.05 N
    day = next(v for v in solar if v.end_at.date() == date(2026, 1, 10))
    delta = 0.409 * math.sin(2 * math.pi * 10 / 365 - 1.39)
    phi = math.radians(50.05)
    w = math.acos(-math.tan(phi) * math.tan(delta))
    above = (24 * 60 / math.pi) * 0.0820 * (1 + 0.033 * math.cos(2 * math.pi * 10 / 365))
    above *= w * math.sin(phi) * math.sin(delta) + math.cos(phi) * math.cos(delta) * math.sin(w)
    assert day.value == pytest.approx((0.25 + 0.5 * 4.5 / (24 * w / math.pi)) * above, rel=1e-3)


def test_a_day_with_an_unseen_light_hour_has_no_radiation(tmp_path: Path) -> None:
    def row(stamp: datetime) -> Row:
        cells = plain(stamp)
        if stamp.day == 10 and stamp.hour == 12:
            del cells["tsun"]
        return cells

    put_mirror(tmp_path, NEAR, 2026, year_file(2026, row, NOW))
    solar = of(observations(NEAR, [2026], tmp_path, NOW), "solar_mj_m2")
    assert 10 not in {value.end_at.day for value in solar}
    assert 11 in {value.end_at.day for value in solar}


@pytest.mark.parametrize("latitude_deg", [-38.0, 69.7])
def test_the_polar_night_and_the_south_do_no_harm(tmp_path: Path, latitude_deg: float) -> None:
    there = replace(NEAR, latitude_deg=latitude_deg)
    put_mirror(tmp_path, there, 2026, year_file(2026, plain, NOW))
    solar = of(observations(there, [2026], tmp_path, NOW), "solar_mj_m2")
    if latitude_deg > 0:
        assert {value.start_at.date() for value in solar} <= {
            date(2026, 1, day) for day in range(15, 20)
        }
    assert all(math.isfinite(value.value) and value.value >= 0.0 for value in solar)


# ---------------------------------------------------------------- the stations


def stations_body(tmp_path: Path, rows: Sequence[tuple[object, ...]]) -> bytes:
    """A list of stations with the archive's tables: id, latitude, longitude, height, end, names."""
    file = tmp_path / "made.db"
    file.unlink(missing_ok=True)
    connection = sqlite3.connect(file)
    connection.executescript(
        "CREATE TABLE stations (id TEXT, country TEXT, region TEXT, latitude REAL, longitude REAL,"
        " elevation INTEGER, timezone TEXT);"
        "CREATE TABLE names (station TEXT, language TEXT, name TEXT);"
        "CREATE TABLE identifiers (station TEXT, key TEXT, value TEXT);"
        "CREATE TABLE inventory (station TEXT, provider TEXT, parameter TEXT, start TEXT,"
        " end TEXT, completeness REAL);"
    )
    for name, latitude, longitude, height, end, names in rows:
        connection.execute(
            "INSERT INTO stations VALUES (?, 'DE', 'HE', ?, ?, ?, 'Europe/Berlin')",
            (name, latitude, longitude, height),
        )
        for language, text in names:  # type: ignore[attr-defined]
            connection.execute("INSERT INTO names VALUES (?, ?, ?)", (name, language, text))
        if end is not None:
            connection.execute(
                "INSERT INTO inventory VALUES (?, 'hourly', 'prcp', '1990-01-01', ?, 1.0)",
                (name, end),
            )
    connection.commit()
    connection.close()
    return file.read_bytes()


ROWS = [
    ("10637", 50.05, 8.65, 110, "2026-01-18", [("en", "Alder Field"), ("de", "Erlenfeld")]),
    ("10001", 50.05, 8.61, 90, "1974-05-01", [("en", "Old Mill")]),
    ("10002", 50.30, 8.60, 300, None, [("de", "Heidehof")]),
    ("10003", 50.06, 8.60, None, "2026-01-01", []),
    ("../../x", 50.05, 8.60, 90, None, [("en", "Trap")]),
    ("10004", 51.90, 8.60, 90, None, [("en", "Far Away")]),
]


def test_the_nearest_stations_in_order_with_distance_and_height(tmp_path: Path) -> None:
    (tmp_path / "stations.db").write_bytes(stations_body(tmp_path, ROWS))
    found = nearest_stations(FARM, tmp_path, active_since=date(2025, 1, 20))
    assert [one.id for one in found] == ["10003", "10637", "10002"]
    assert [one.name for one in found] == ["10003", "Alder Field", "Heidehof"]  # none is lost
    near, alder, heath = found
    assert near.elevation_m is None
    assert near.height_difference_m is None
    assert alder.height_difference_m == 10.0
    # a degree of a great circle is 111.195 km (earth radius 6371 km)
    assert heath.distance_km == pytest.approx(0.25 * 111.195, abs=0.01)
    assert alder.distance_km == pytest.approx(
        0.05 * 111.195 * math.cos(math.radians(50.05)), abs=0.01
    )
    assert [one.id for one in nearest_stations(FARM, tmp_path, most=2)] == ["10001", "10003"]
    assert nearest_stations(replace(FARM, latitude_deg=-38.0), tmp_path) == ()


def test_distance_over_the_date_line() -> None:
    fiji = Place(-17.0, 179.9, 0.0, "UTC")
    expected = 0.2 * 111.195 * math.cos(math.radians(17.0))
    assert stations.distance_km(fiji, -17.0, -179.9) == pytest.approx(expected, abs=0.01)


def test_the_list_is_fetched_checked_and_outlives_an_outage(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    body = stations_body(tmp_path, ROWS)
    server.put("/stations.db", body, expires_in_s=60)
    folder = tmp_path / "mirror"
    found, notes = fetch_stations(FARM, fetcher, folder, NOW, archive_url=server.url)
    assert [one.id for one in found] == ["10003", "10637", "10002"]
    assert notes == ()
    for name, reply in faults(body).items():
        server.lasting_fault(reply)
        later = NOW + timedelta(days=3)
        again, notes = fetch_stations(FARM, fetcher, folder, later, archive_url=server.url)
        assert again == found, name
        assert "the list of 3 days ago is used" in notes[0]
        assert (folder / "stations.db").read_bytes() == body


def test_without_any_list_the_error_says_what_still_works(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    server.lasting_fault(Reply(b"", 500))
    with pytest.raises(WeatherFileError, match="its own gauge alone"):
        fetch_stations(FARM, fetcher, tmp_path, NOW, archive_url=server.url)
    with pytest.raises(WeatherFileError, match="weather update"):
        nearest_stations(FARM, tmp_path)
    (tmp_path / "stations.db").write_bytes(b"nonsense" * 100)
    with pytest.raises(WeatherFileError, match="cannot be read as a list"):
        nearest_stations(FARM, tmp_path)


# ----------------------------------------------------------- several stations

HILL = Station("10002", "Heidehof", 50.12, 8.6, 300.0, 7.2, 200.0)
HEIGHT_NOTE = (
    "Heidehof (10002), 7 km, lies 200 m above your farm: its rain may differ; temperature is "
    "brought to your height"
)


def serve(
    server: WeatherServer,
    station: Station,
    row: Callable[[datetime], Row | None] = plain,
    years: Sequence[int] = (2025, 2026),
    until: datetime = NOW,
) -> None:
    for year in years:
        body = year_file(year, row, until)
        server.put(f"/hourly/{year}/{station.id}.csv.gz", body, expires_in_s=60)


def fetch(
    server: WeatherServer,
    fetcher: Fetcher,
    tmp_path: Path,
    near: Sequence[Station],
    now: datetime = NOW,
    **told: object,
) -> Observations:
    return fetch_observations(
        FARM, near, fetcher, tmp_path / "mirror", now, archive_url=server.url, **told
    )  # type: ignore[arg-type]


def test_ninety_days_over_the_new_year(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    serve(server, NEAR)
    found = fetch(server, fetcher, tmp_path, [NEAR])
    rain = of(found.values, "rain_mm")
    assert len(rain) == 90 * 24
    assert (rain[0].start_at, rain[-1].end_at) == (
        datetime(2025, 10, 22, 5, tzinfo=UTC),
        datetime(2026, 1, 20, 5, tzinfo=UTC),
    )
    assert found.notes == ()
    assert found.attribution.startswith(
        "Source: Meteostat, Deutscher Wetterdienst (CC BY 4.0, https://creativecommons.org/"
    )
    assert sorted(request.path for request in server.requests) == [
        "/hourly/2025/10637.csv.gz",
        "/hourly/2026/10637.csv.gz",
    ]


def test_later_runs_read_the_last_ten_days_again(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    serve(server, NEAR)
    fetch(server, fetcher, tmp_path, [NEAR])
    serve(server, NEAR, lambda stamp: plain(stamp, 0.3), until=NOW + 2 * HOUR)
    found = fetch(server, fetcher, tmp_path, [NEAR], NOW + 2 * HOUR, since=NOW)
    rain = of(found.values, "rain_mm")
    assert len(rain) == 10 * 24 + 2
    assert {value.value for value in rain} == {0.3}  # revised
    assert {value.known_at for value in rain} == {NOW + 2 * HOUR}


def test_a_year_without_a_file_and_a_dead_network_are_told_apart(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    serve(server, NEAR, years=[2026])
    found = fetch(server, fetcher, tmp_path, [NEAR])
    assert found.notes == ("the archive has no hours of Alder Field (10637), 4 km for 2025",)
    assert len(of(found.values, "rain_mm")) == 1 + 19 * 24 + 5  # and the hour before the year
    server.close()
    later = NOW + timedelta(days=2)
    with Fetcher(tmp_path / "other", "g", sleep=lambda _: None) as anew:
        again = fetch(server, anew, tmp_path, [NEAR], later)
    assert "no connection" in again.notes[0]
    assert "the copy of 2 days ago is used" in again.notes[0]
    assert "no connection" in again.notes[1]  # of 2025 nothing is known any more
    assert of(again.values, "rain_mm")[-1].end_at == datetime(2026, 1, 20, 5, tzinfo=UTC)


@pytest.mark.parametrize("name", sorted(faults(b"\x1f\x8b" + bytes(80))))
def test_after_every_fault_the_observations_still_come(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher, name: str
) -> None:
    serve(server, NEAR, years=[2026])
    now = datetime(2026, 5, 1, tzinfo=UTC)  # one file is enough for the last 90 days
    serve(server, NEAR, years=[2026], until=now)
    first = fetch(server, fetcher, tmp_path, [NEAR], now)
    server.lasting_fault(faults(year_file(2026, plain, now))[name])
    second = fetch(server, fetcher, tmp_path, [NEAR], now + timedelta(hours=30))
    assert "the copy of 30 h ago is used" in second.notes[0]
    assert of(second.values, "rain_mm")[-1] == replace(
        of(first.values, "rain_mm")[-1], known_at=now + timedelta(hours=30)
    )


def test_the_line_of_credit_names_whom_the_archive_names() -> None:
    assert "Source: Meteostat and its data providers (" in stations._attribution({"isd_lite"})
    both = stations._attribution({"isd_lite", "dwd_hourly", "eccc_hourly"})
    assert (
        "Source: Meteostat, Deutscher Wetterdienst, Environment and Climate Change Canada and "
        "further data providers (CC BY 4.0" in both
    )
    assert stations._attribution(set()) == ""


def test_rain_comes_from_one_station_and_is_never_averaged(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    def shower(stamp: datetime) -> Row:
        return plain(stamp, 12.0 if stamp.hour == 15 else 0.0)

    serve(server, NEAR, lambda stamp: {"temp": (4.0, "metar")})  # no gauge
    serve(server, HILL, shower)
    dry = replace(HILL, id="10009", name="Dry", distance_km=12.0)
    serve(server, dry, lambda stamp: plain(stamp, 0.0))
    found = fetch(server, fetcher, tmp_path, [NEAR, HILL, dry])
    rain = of(found.values, "rain_mm")
    assert {value.source for value in rain} == {"Heidehof (10002), 7 km, 200 m higher"}
    assert {value.value for value in rain} == {0.0, 12.0}
    assert found.notes == (HEIGHT_NOTE,)


def test_a_station_at_another_height_is_told_and_keeps_it_in_its_name(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    """From 150 m on, in farm.db too; less is not worth a word, nor is a height nobody knows."""
    valley = replace(HILL, height_difference_m=-150.0)
    serve(server, valley)
    found = fetch(server, fetcher, tmp_path, [valley])
    assert {value.source for value in found.values if value.variable != "solar_mj_m2"} == {
        "Heidehof (10002), 7 km, 150 m lower"
    }
    assert found.notes == (HEIGHT_NOTE.replace("200 m above", "150 m below"),)
    for height_m in (149.0, -149.0, 0.0, None):
        near = replace(HILL, height_difference_m=height_m)
        assert near.label == "Heidehof (10002), 7 km"
        assert stations._distance_notes(near) == []


def test_a_nearer_gauge_that_hardly_reports_leaves_rain_to_the_next(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    serve(server, NEAR, lambda stamp: plain(stamp) if stamp.day == 3 else None)
    serve(server, replace(HILL, distance_km=22.0))
    found = fetch(server, fetcher, tmp_path, [NEAR, replace(HILL, distance_km=22.0)])
    rain = of(found.values, "rain_mm")
    assert {value.source for value in rain} == {"Heidehof (10002), 22 km, 200 m higher"}
    assert found.notes == (
        "rain is from Heidehof (10002), 22 km away: showers may differ",
        HEIGHT_NOTE.replace("7 km", "22 km"),
    )


def test_rain_of_beyond_thirty_km_is_said_not_to_be_measured_here(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    far = replace(HILL, distance_km=42.0)
    serve(server, far)
    found = fetch(server, fetcher, tmp_path, [far])
    assert {value.kind for value in of(found.values, "rain_mm")} == {Kind.MODEL}
    assert (
        "rain is not measured here: the station is Heidehof (10002), 42 km away" in found.notes[0]
    )


def test_temperature_is_averaged_at_the_height_of_the_farm(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    def air(temp_c: float, humidity_percent: float) -> Callable[[datetime], Row]:
        return lambda stamp: {
            "temp": (temp_c + stamp.hour % 2, "metar"),
            "rhum": (humidity_percent - stamp.hour % 2, "metar"),
        }

    serve(server, NEAR, air(10.0, 80.0))
    serve(server, HILL, air(9.0, 90.0))
    found = fetch(server, fetcher, tmp_path, [NEAR, HILL])
    at_farm = (10.0 + 0.065, 9.0 + 1.3)  # 6.5 K/km over 10 and 200 m
    near, hill = 3.6**-2, 7.2**-2
    temps, humidities = of(found.values, "air_temp_c"), of(found.values, "humidity_frac")
    expected = (at_farm[0] * near + at_farm[1] * hill) / (near + hill)
    assert {value.value for value in temps} == {round(expected, 2), round(expected + 1.0, 2)}
    assert {value.value for value in humidities} == {
        round((0.8 * near + 0.9 * hill) / (near + hill) - odd, 4) for odd in (0.0, 0.01)
    }
    assert {value.source for value in temps} == {"2 stations within 7 km"}
    assert {value.kind for value in temps} == {Kind.OBSERVED}
    assert any("no station near here reports hours of rain" in note for note in found.notes)


def test_what_cannot_be_right_at_one_station_is_marked_before_the_mean(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    """A thermometer that stands still, one hour of 120 C, 400 mm in an hour: kept, marked, named.

    The library that reads the files would have dropped the last two without a word.
    """
    stuck_from = datetime(2026, 1, 5, tzinfo=UTC)
    hot, flood = datetime(2026, 1, 12, 9, tzinfo=UTC), datetime(2026, 1, 13, 9, tzinfo=UTC)

    def faulty(stamp: datetime) -> Row:
        cells = plain(stamp, 400.0 if stamp == flood else 0.1)
        if stuck_from < stamp <= stuck_from + 30 * HOUR:
            cells["temp"] = (17.0, "metar")
        if stamp == hot:
            cells["temp"] = (120.0, "metar")
        return cells

    serve(server, NEAR, faulty)
    serve(server, replace(HILL, height_difference_m=10.0))
    found = fetch(server, fetcher, tmp_path, [NEAR, replace(HILL, height_difference_m=10.0)])
    temps = of(found.values, "air_temp_c")
    marked = [value for value in temps if value.suspect]
    assert {value.source for value in marked} == {NEAR.label}
    assert [value.value for value in marked] == [17.0] * 30 + [120.0]
    assert {value.suspect.split(":")[0] for value in marked} == {
        "the same value for 30 hours",
        "above 60 C",
    }
    mean = {value.end_at: value.value for value in temps if not value.suspect}
    assert len(mean) == 90 * 24  # the other station stands in
    for stamp in (stuck_from + 5 * HOUR, hot):
        assert mean[stamp] == pytest.approx(5.0 + stamp.hour / 10.0 + 0.065, abs=0.011)
    (rain,) = [value for value in of(found.values, "rain_mm") if value.value > 300.0]
    assert (rain.end_at, rain.value) == (flood, 400.0)  # marked beside what is on record


def test_an_observed_value_farther_off_outranks_a_model_value_nearby(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    def nearby(stamp: datetime) -> Row:
        return {"temp": (20.0, "dwd_mosmix")}

    def on_the_hill(stamp: datetime) -> Row | None:
        return {"temp": (9.0, "metar")} if stamp.hour % 2 else None

    serve(server, NEAR, nearby)
    serve(server, HILL, on_the_hill)
    found = fetch(server, fetcher, tmp_path, [NEAR, HILL])
    temps = of(found.values, "air_temp_c")
    observed = [value for value in temps if value.kind is Kind.OBSERVED]
    model = [value for value in temps if value.kind is Kind.MODEL]
    assert {value.end_at.hour % 2 for value in observed} == {1}
    assert {value.end_at.hour % 2 for value in model} == {0}
    assert {value.value for value in observed} == {10.3}  # 9 and 200 m at 6.5 K/km
    assert model[0].value == pytest.approx(20.065, abs=0.0051)


def test_past_years_come_around_the_same_date_and_settled_files_are_not_asked_again(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    serve(server, NEAR, years=[2022, 2023, 2025, 2026])
    found = fetch(server, fetcher, tmp_path, [NEAR], past_years=3)
    rain = of(found.values, "rain_mm")
    in_2023 = [value.start_at for value in rain if value.start_at.year == 2023]
    assert (in_2023[0], in_2023[-1]) == (
        datetime(2023, 1, 10, 5, tzinfo=UTC),
        datetime(2023, 3, 6, 4, tzinfo=UTC),
    )
    assert not [value for value in rain if value.start_at.year == 2024]
    assert found.notes == ("the archive has no hours of Alder Field (10637), 4 km for 2024",)
    server.requests.clear()
    fetch(server, fetcher, tmp_path, [NEAR], NOW + timedelta(days=1), past_years=3)
    asked = {request.path.split("/")[2] for request in server.requests}
    assert asked == {"2024", "2025", "2026"}


def test_the_29th_of_february_has_its_place_in_other_years() -> None:
    leap = datetime(2028, 2, 29, 6, tzinfo=UTC)
    assert stations._years_before(leap, 1) == datetime(2027, 2, 28, 6, tzinfo=UTC)
    assert stations._years_before(leap, 4) == datetime(2024, 2, 29, 6, tzinfo=UTC)


def test_one_broken_file_does_not_cost_the_others(
    tmp_path: Path, server: WeatherServer, fetcher: Fetcher
) -> None:
    text = mirror.csv_text(year_file(2026, plain, NOW)).splitlines()
    serve(server, NEAR)
    server.put("/hourly/2026/10637.csv.gz", gzip.compress("\n".join([*text, text[3]]).encode()))
    serve(server, HILL)
    found = fetch(server, fetcher, tmp_path, [NEAR, HILL])
    assert {value.source for value in of(found.values, "rain_mm")} == {HILL.label}
    assert "no hours can be read from it" in found.notes[0]


def test_a_trap_in_a_station_id_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match="letters and digits"):
        observations(replace(NEAR, id="../../x"), [2026], tmp_path, NOW)


def test_a_folder_with_braces_and_blanks_in_its_name(tmp_path: Path) -> None:
    folder = tmp_path / "my {farm} cache"
    put_mirror(folder, NEAR, 2026, year_file(2026, plain, NOW))
    assert of(observations(NEAR, [2026], folder, NOW), "rain_mm")


def test_a_real_file_of_the_archive_passes_the_check(tmp_path: Path) -> None:
    file = RECORDED / "meteostat_daily_2024_10637.csv.gz"
    if not file.is_file():
        pytest.skip("../shared/data/recorded is not beside this checkout")
    body = file.read_bytes()
    check = mirror.csv_check(tmp_path / "held", has_hours=False, now=NOW)
    check(body, {})
    (tmp_path / "held").write_bytes(body)
    check(body, {})
    with pytest.raises(ValueError, match="breaks off"):
        check(body[:-3000], {})
    with pytest.raises(ValueError, match="it has 359 rows up to 2024-12-24, the file held has 366"):
        check("\n".join(gzip.decompress(body).decode().splitlines()[:-7]).encode(), {})
    with pytest.raises(ValueError, match="expected year,month,day,hour"):
        mirror.csv_check(tmp_path / "none", has_hours=True, now=NOW)(body, {})


def test_importing_loads_neither_pandas_nor_meteostat() -> None:
    code = (
        "import sys, scheduler.adapters.weather.stations; "
        "print(sorted({'requests', 'requests_cache', 'pandas', 'meteostat'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
