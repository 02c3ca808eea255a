"""Weather files: units, zones, stamps, missing values and traces."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

from scheduler.adapters.weather.csv_import import WeatherImport, parse_weather_csv, read_weather_csv
from scheduler.records import Kind, WeatherValue


def parsed(
    text: str, known_at: datetime | None = None, time_zone: str = "America/New_York"
) -> WeatherImport:
    return parse_weather_csv(
        text,
        "w.csv",
        kind=Kind.OBSERVED,
        source="station A",
        known_at=known_at,
        time_zone=time_zone,
    )


def by_variable(found: WeatherImport) -> dict[str, list[WeatherValue]]:
    result: dict[str, list[WeatherValue]] = {}
    for value in found.values:
        result.setdefault(value.variable, []).append(value)
    return result


def test_an_hourly_file_in_the_units_of_the_country() -> None:
    found = by_variable(
        parsed(
            "time (hour ending) [America/New_York],temperature [F],dew point [F],"
            "wind at 10 m [mph],rain [in],solar [W/m2]\n"
            "2013-05-14 06:00,50.0,41.0,10.0,0.02,100\n"
        )
    )
    (temp,) = found["air_temp_c"]
    assert temp.end_at == datetime(2013, 5, 14, 10, tzinfo=UTC)  # daylight saving: four hours
    assert temp.end_at - temp.start_at == timedelta(hours=1)
    assert temp.known_at == temp.end_at
    assert_allclose(temp.value, 10.0, rtol=0, atol=1e-9)
    assert_allclose(found["rain_mm"][0].value, 0.508, rtol=1e-9, atol=0)
    # FAO-56 Eq. 47 at 10 m: factor 4.87 / ln(672.58) = 0.748 (Table 2.9 prints 0.75)
    assert_allclose(found["wind_2m_m_s"][0].value, 4.4704 * 0.748, rtol=1e-3, atol=0)
    assert_allclose(found["solar_mj_m2"][0].value, 0.36, rtol=1e-9, atol=0)
    # FAO-56 Table 2.3: e0(5 C) = 0.872 kPa, e0(10 C) = 1.228 kPa
    assert_allclose(found["humidity_frac"][0].value, 0.872 / 1.228, rtol=1e-3, atol=0)


def test_hour_beginning_and_hour_ending_are_an_hour_apart() -> None:
    ending = parsed("time (hour ending) [UTC],rain [mm]\n2013-05-14 06:00,1\n").values[0]
    beginning = parsed("time (hour beginning) [UTC],rain [mm]\n2013-05-14T06:00,1\n").values[0]
    assert beginning.start_at - ending.start_at == timedelta(hours=1)


@pytest.mark.parametrize(
    ("zone", "hour"),
    [("UTC", 6), ("Z", 6), ("-05:00", 11), ("UTC+2", 4), ("+0530", 0), ("Europe/Berlin", 4)],
)
def test_zones(zone: str, hour: int) -> None:
    value = parsed(f"time (hour beginning) [{zone}],rain [mm]\n2013-05-14 06:00,1\n").values[0]
    assert value.start_at.hour == hour
    assert value.start_at.tzinfo is UTC


def test_a_stamp_with_its_own_offset_keeps_it() -> None:
    text = "time (hour beginning) [UTC],rain [mm]\n2013-05-14T06:00-04:00,1\n"
    assert parsed(text).values[0].start_at == datetime(2013, 5, 14, 10, tzinfo=UTC)


def test_a_daily_file_spans_the_days_of_the_farm() -> None:
    found = by_variable(
        parsed("date,rain [mm],t min [C],t max [C]\n2013-03-10,4.5,1,12\n2013-03-11,t,,14\n")
    )
    first, second = found["rain_mm"]
    assert first.start_at == datetime(2013, 3, 10, 5, tzinfo=UTC)
    assert first.end_at == datetime(2013, 3, 11, 4, tzinfo=UTC)  # the clocks went forward
    assert (second.value, second.is_trace) == (0.0, True)
    assert len(found["air_temp_min_c"]) == 1
    assert [value.value for value in found["air_temp_max_c"]] == [12.0, 14.0]


def test_a_gauge_read_in_the_morning_covers_the_day_before() -> None:
    read = parsed("date (read at 07:00) [UTC],rain [in]\n2013-05-14,1\n").values[0]
    assert read.start_at == datetime(2013, 5, 13, 7, tzinfo=UTC)
    assert read.end_at == datetime(2013, 5, 14, 7, tzinfo=UTC)
    onward = parsed("date (from 07:00) [UTC],rain [in]\n2013-05-14,1\n").values[0]
    assert onward.start_at == datetime(2013, 5, 14, 7, tzinfo=UTC)


def test_our_own_names_declare_their_unit() -> None:
    found = by_variable(
        parsed(
            "time (hour beginning) [UTC],rain_mm,air_temp_c,humidity_frac,wind_2m_m_s,solar_mj_m2\n"
            "2013-05-14 06:00,1.5,12,0.8,2.5,0.4\n"
        )
    )
    assert {name: values[0].value for name, values in found.items()} == {
        "rain_mm": 1.5,
        "air_temp_c": 12.0,
        "humidity_frac": 0.8,
        "wind_2m_m_s": 2.5,
        "solar_mj_m2": 0.4,
    }


@pytest.mark.parametrize(
    ("column", "cell", "variable", "expected"),
    [
        ("rain [0.1 mm]", "45", "rain_mm", 4.5),
        ("rain [0.01 in]", "10", "rain_mm", 2.54),
        ("rain [cm]", "1", "rain_mm", 10.0),
        ("temperature [K]", "283.15", "air_temp_c", 10.0),
        ("temperature [°F]", "32", "air_temp_c", 0.0),
        ("relative humidity [%]", "55", "humidity_frac", 0.55),
        ("wind at 2 m [km/h]", "36", "wind_2m_m_s", 10.0),
        ("wind at 2 m [kt]", "10", "wind_2m_m_s", 5.14444),
        ("solar [J/cm2]", "100", "solar_mj_m2", 1.0),
        ("solar [kWh/m2]", "1", "solar_mj_m2", 3.6),
        ("Solar Radiation [Wh/m²]", "1000", "solar_mj_m2", 3.6),
    ],
)
def test_units(column: str, cell: str, variable: str, expected: float) -> None:
    text = f"time (hour beginning) [UTC];{column}\n2013-05-14 06:00;{cell}\n"
    (value,) = parsed(text).values
    assert value.variable == variable
    assert_allclose(value.value, expected, rtol=1e-9, atol=1e-9)


def test_missing_is_not_zero_and_codes_are_said() -> None:
    found = parsed(
        "time (hour beginning) [UTC],rain [mm],temperature [C],ignore pressure [hPa]\n"
        "2013-05-14 06:00,,NA,1013\n"
        "2013-05-14 07:00,-9999,9.5,1013\n"
        "2013-05-14 08:00,<0.1,9.0,\n"
        "\n"
        "2013-05-14 09:00,0,8.5,1012\n"
    )
    rain = by_variable(found)["rain_mm"]
    assert [(value.start_at.hour, value.value, value.is_trace) for value in rain] == [
        (8, 0.0, True),
        (9, 0.0, False),
    ]
    assert found.messages == ("w.csv: -9999 in 'rain [mm]' (line 3) read as missing",)


def test_the_doubled_hour_of_autumn_is_two_hours() -> None:
    lines = ["00:00,1", "01:00,2", "01:00,3", "02:00,4"]
    text = "time (hour beginning) [America/New_York],rain [mm]\n" + "".join(
        f"2013-11-03 {line}\n" for line in lines
    )
    found = parsed(text)
    assert [value.start_at.hour for value in found.values] == [4, 5, 6, 7]
    assert [value.value for value in found.values] == [1.0, 2.0, 3.0, 4.0]
    assert found.messages == ()
    newest_first = text.splitlines()
    reverse = parsed("\n".join([newest_first[0], *newest_first[:0:-1]]))
    assert reverse.values == found.values


def test_an_autumn_hour_that_comes_once_is_named() -> None:
    text = (
        "time (hour beginning) [America/New_York],rain [mm]\n"
        "2013-11-03 00:00,1\n2013-11-03 01:00,2\n2013-11-03 02:00,4\n"
    )
    found = parsed(text)
    assert [value.start_at.hour for value in found.values] == [4, 5, 7]
    assert found.messages == (
        "w.csv: 2013-11-03 01:00 (line 3) stands for two hours when the clocks go back; "
        "taken as the first of them",
    )


def test_doubled_stamps_are_named_and_contradictions_left_out() -> None:
    found = parsed(
        "time (hour beginning) [UTC],rain [mm],temperature [C]\n"
        "2013-05-14 06:00,1,10\n2013-05-14 06:00,1,10\n"
        "2013-05-14 07:00,2,11\n2013-05-14 07:00,5,11\n"
        "2013-05-14 08:00,0,12\n"
    )
    assert found.messages == (
        "w.csv: 2013-05-14 06:00 (lines 2, 3) doubled with the same values; read once",
        "w.csv: 2013-05-14 07:00 (lines 4, 5) doubled with different values; left out until one "
        "is taken away",
    )
    rain = [(v.start_at.hour, v.value, bool(v.suspect)) for v in by_variable(found)["rain_mm"]]
    assert rain == [(6, 1.0, False), (7, 2.0, True), (7, 5.0, True), (8, 0.0, False)]
    temp = [(v.start_at.hour, bool(v.suspect)) for v in by_variable(found)["air_temp_c"]]
    assert temp == [(6, False), (7, False), (8, False)]


def test_known_at_is_what_the_caller_says() -> None:
    known_at = datetime(2014, 1, 1, tzinfo=UTC)
    value = parsed("date,rain [mm]\n2013-05-14,1\n", known_at=known_at).values[0]
    assert (value.known_at, value.kind, value.source) == (known_at, Kind.OBSERVED, "station A")


def test_a_file_with_a_byte_order_mark_and_windows_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "w.csv"
    path.write_bytes("\ufeffdate,rain [mm]\r\n2013-05-14,1\r\n".encode())
    found = read_weather_csv(
        path, kind=Kind.OWN_GAUGE, source="own gauge", known_at=None, time_zone="UTC"
    )
    assert [value.value for value in found.values] == [1.0]


def test_a_dew_point_above_the_temperature_is_kept_for_the_checks() -> None:
    text = "time (hour beginning) [UTC],temperature [C],dew point [C]\n2013-05-14 06:00,10,15\n"
    assert by_variable(parsed(text))["humidity_frac"][0].value > 1.3
    close = "time (hour beginning) [UTC],temperature [C],dew point [C]\n2013-05-14 06:00,10,10.2\n"
    assert by_variable(parsed(close))["humidity_frac"][0].value == 1.0
