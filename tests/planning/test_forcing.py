"""One hourly series out of stations, gauge, entries and forecasts."""

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models.air import saturation_vapour_pressure_kpa
from scheduler.models.sun import clear_sky_mj_m2, extraterrestrial_daily_mj_m2
from scheduler.planning.forcing import hourly_series, value_columns, weather_ages
from scheduler.records import (
    Event,
    FloatArray,
    Forecast,
    Kind,
    Place,
    WeatherSeries,
    WeatherValue,
)

PLACE = Place(42.0, 0.0, 100.0, "UTC")
DAY = datetime(2013, 5, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)


def values_of(
    variable: str,
    start_at: datetime,
    values: list[float],
    kind: Kind = Kind.OBSERVED,
    source: str = "station A",
    step: timedelta = HOUR,
    suspect: str = "",
    known_at: datetime | None = None,
) -> list[WeatherValue]:
    return [
        WeatherValue(
            variable,
            start_at + i * step,
            start_at + (i + 1) * step,
            value,
            kind,
            source,
            known_at or start_at + (i + 1) * step,
            suspect=suspect,
        )
        for i, value in enumerate(values)
        if not np.isnan(value)
    ]


def entry(
    kind: str,
    start_at: datetime,
    end_at: datetime,
    data: Mapping[str, float],
    recorded_at: datetime | None = None,
    name: str = "e1",
) -> Event:
    moments = {"start_at": start_at.isoformat(), "end_at": end_at.isoformat()}
    return Event(name, kind, end_at, recorded_at or end_at, data={**data, **moments})


def series_of(
    values: list[WeatherValue],
    events: list[Event] | None = None,
    forecast: Forecast | None = None,
    n_days: int = 1,
    now: datetime | None = None,
) -> WeatherSeries:
    end_at = DAY + timedelta(days=n_days)
    return hourly_series(values, events or [], forecast, DAY, end_at, now or end_at, PLACE)


def rain_sum(series: WeatherSeries) -> float:
    return float(np.nansum(series.rain_mm)) + sum(t.rain_mm for t in series.rain_totals)


# ------------------------------------------------------------------ rain


def test_scene_9_the_gauge_outranks_the_station_and_the_answer_says_so() -> None:
    station = np.zeros(24)
    station[[14, 15]] = 1.0, 2.0
    gauge = entry("rain", DAY, DAY + timedelta(days=1), {"rain_mm": 18.0})
    series = series_of(values_of("rain_mm", DAY, list(station)), [gauge])
    assert_allclose(series.rain_mm[[14, 15]], [6.0, 12.0], rtol=1e-12, atol=0)
    assert_allclose(rain_sum(series), 18.0, rtol=1e-12, atol=0)
    assert set(series.kinds["rain_mm"]) == {Kind.OWN_GAUGE}
    assert (
        "10 May 00:00 to 11 May 00:00: your gauge says 18 mm, the station 3 mm: the gauge counts"
        in series.notes
    )
    assert series.sources == ("own gauge", "station A")


def test_a_gauge_where_the_station_saw_nothing_stays_a_total() -> None:
    gauge = entry("rain", DAY + 6 * HOUR, DAY + 18 * HOUR, {"rain_mm": 5.0})
    series = series_of(values_of("rain_mm", DAY, [0.0] * 24), [gauge])
    (total,) = series.rain_totals
    assert (total.first_hour, total.n_hours, total.rain_mm) == (6, 12, 5.0)
    assert total.kind is Kind.OWN_GAUGE
    assert np.isnan(series.rain_mm[6:18]).all()
    assert series.rain_mm[:6].tolist() == [0.0] * 6
    assert set(series.kinds["rain_mm"][:6]) == {Kind.OBSERVED}


def test_a_gauge_beside_a_station_full_of_holes_stays_a_total() -> None:
    station = np.full(24, np.nan)
    station[3] = 4.0
    gauge = entry("rain", DAY, DAY + timedelta(days=1), {"rain_mm": 8.0})
    series = series_of(values_of("rain_mm", DAY, list(station)), [gauge])
    assert [t.rain_mm for t in series.rain_totals] == [8.0]
    assert not any("gauge says" in note for note in series.notes)  # nothing to compare with


@pytest.mark.parametrize(
    ("gauge_mm", "station_mm", "hint"),
    [
        (0.5, 12.7, "; about 1 to 25.4: were the gauge's inches entered as millimetres?"),
        (305.0, 12.0, "; about 25.4 to 1: were the gauge's millimetres entered as inches?"),
        (30.0, 10.0, ""),
    ],
)
def test_a_mixed_up_unit_is_suggested(gauge_mm: float, station_mm: float, hint: str) -> None:
    station = [0.0] * 23 + [station_mm]
    gauge = entry("rain", DAY, DAY + timedelta(days=1), {"rain_mm": gauge_mm})
    series = series_of(values_of("rain_mm", DAY, station), [gauge])
    (note,) = [note for note in series.notes if "your gauge" in note]
    assert note.endswith(f"the gauge counts{hint}")


def test_small_differences_are_not_worth_a_note() -> None:
    gauge = entry("rain", DAY, DAY + timedelta(days=1), {"rain_mm": 10.0})
    series = series_of(values_of("rain_mm", DAY, [0.0] * 20 + [12.5] + [0.0] * 3), [gauge])
    assert not any("gauge" in note for note in series.notes)
    assert_allclose(series.rain_mm[20], 10.0, rtol=1e-12, atol=0)


def test_a_storm_noted_apart_is_part_of_the_reading_of_the_day() -> None:
    day = entry("rain", DAY, DAY + timedelta(days=1), {"rain_mm": 12.0}, name="day")
    storm = entry("rain", DAY + 14 * HOUR, DAY + 16 * HOUR, {"rain_mm": 9.0}, name="storm")
    series = series_of([], [day, storm])
    assert_allclose(rain_sum(series), 12.0, rtol=1e-12, atol=0)
    by_start = {t.first_hour: t for t in series.rain_totals}
    assert by_start[14].rain_mm == 9.0
    assert_allclose(by_start[0].rain_mm + by_start[16].rain_mm, 3.0, rtol=1e-12, atol=0)


def test_of_two_readings_of_one_day_the_later_entry_counts() -> None:
    end = DAY + timedelta(days=1)
    first = entry("rain", DAY, end, {"rain_mm": 5.0}, recorded_at=end, name="first")
    second = entry("rain", DAY, end, {"rain_mm": 7.0}, recorded_at=end + HOUR, name="second")
    for events in ([first, second], [second, first]):
        series = series_of([], events, now=end + 2 * HOUR)
        assert rain_sum(series) == 7.0
        assert any("recorded later counts" in fill for fill in series.fills)


def test_daily_rain_is_a_total_and_never_a_flat_drizzle() -> None:
    daily = values_of("rain_mm", DAY, [0.0, 14.0], step=timedelta(days=1))
    series = series_of(daily, n_days=2)
    assert series.rain_mm[:24].tolist() == [0.0] * 24
    assert [(t.first_hour, t.n_hours, t.rain_mm) for t in series.rain_totals] == [(24, 24, 14.0)]


def test_hours_of_a_station_count_before_its_daily_sum_which_fills_their_holes() -> None:
    hours = np.zeros(24)
    hours[5] = 4.0
    hours[10:13] = np.nan
    values = values_of("rain_mm", DAY, list(hours)) + values_of(
        "rain_mm", DAY, [10.0], step=timedelta(days=1)
    )
    series = series_of(values)
    (total,) = series.rain_totals
    assert (total.first_hour, total.n_hours) == (10, 3)
    assert_allclose(total.rain_mm, 6.0, rtol=1e-12, atol=0)
    assert series.rain_mm[5] == 4.0


def test_order_of_trust_hour_by_hour() -> None:
    def hour(i: int, mm: float, kind: Kind) -> list[WeatherValue]:
        return values_of("rain_mm", DAY + i * HOUR, [mm], kind, source=kind.name)

    values = (
        hour(0, 1.0, Kind.CLIMATE)
        + hour(0, 2.0, Kind.MODEL)
        + hour(0, 3.0, Kind.OBSERVED)
        + hour(0, 4.0, Kind.OWN_GAUGE)
        + hour(1, 3.0, Kind.OBSERVED)
        + hour(1, 2.0, Kind.MODEL)
        + hour(2, 2.0, Kind.MODEL)
        + hour(2, 1.0, Kind.CLIMATE)
        + hour(3, 1.0, Kind.CLIMATE)
        + hour(4, 5.0, Kind.FORECAST)  # a forecast of an hour that is over
    )
    for order in (values, values[::-1]):
        series = series_of(order)
        assert series.rain_mm[:4].tolist() == [4.0, 3.0, 2.0, 1.0]
        assert np.isnan(series.rain_mm[4])


def test_missing_rain_is_not_zero_and_is_said() -> None:
    rain = np.zeros(48)
    rain[30:41] = np.nan
    series = series_of(values_of("rain_mm", DAY, list(rain)), n_days=2)
    assert np.flatnonzero(np.isnan(series.rain_mm)).tolist() == list(range(30, 41))
    assert set(series.kinds["rain_mm"][30:41]) == {Kind.MISSING}
    assert "rain unknown for 11 hours between 11 May 06:00 and 11 May 17:00" in series.notes
    rain[3] = np.nan
    notes = series_of(values_of("rain_mm", DAY, list(rain)), n_days=2).notes
    assert "rain unknown for 12 hours in 2 stretches between 10 May 03:00 and 11 May 17:00" in notes


def test_suspect_values_are_left_out_and_counted() -> None:
    values = values_of("rain_mm", DAY, [0.0] * 23) + values_of(
        "rain_mm", DAY + 23 * HOUR, [400.0], suspect="more than 150 mm"
    )
    series = series_of(values)
    assert np.isnan(series.rain_mm[23])
    assert "suspect values left out: 1 of rain" in series.fills


def test_what_became_known_later_does_not_count() -> None:
    now = DAY + timedelta(days=1)
    values = values_of("rain_mm", DAY, [0.0] * 24)
    late_value = values_of("rain_mm", DAY, [9.0] * 24, Kind.OWN_GAUGE, known_at=now + HOUR)
    late_entry = entry("rain", DAY, now, {"rain_mm": 30.0}, recorded_at=now + HOUR)
    plain = series_of(values, now=now)
    later = series_of(values + late_value, [late_entry], now=now)
    assert_allclose(later.rain_mm, plain.rain_mm, rtol=0, atol=0)
    assert (later.notes, later.fills) == (plain.notes, plain.fills)


def test_observed_values_after_now_are_left_out_and_said() -> None:
    now = DAY + 12 * HOUR
    series = series_of(values_of("rain_mm", DAY, [0.0] * 24, known_at=DAY), now=now)
    assert np.isnan(series.rain_mm[12:]).all()
    assert "12 observed values lie after now: left out" in series.fills
    assert series.last_observed_at == now


def test_the_forecast_counts_where_nothing_was_observed() -> None:
    now = DAY + 12 * HOUR
    forecast = Forecast(
        "service F",
        DAY,
        DAY,
        DAY,
        {"rain_mm": np.full(20, 0.7), "air_temp_c": np.full(20, 11.0)},
    )
    series = series_of(values_of("rain_mm", DAY, [0.0] * 10), forecast=forecast, now=now)
    assert series.rain_mm[:10].tolist() == [0.0] * 10
    assert series.rain_mm[10:20].tolist() == [0.7] * 10
    assert set(series.kinds["rain_mm"][10:20]) == {Kind.FORECAST}
    assert series.forecast_lead_h is not None
    assert series.forecast_lead_h[10:12].tolist() == [10.5, 11.5]
    # the service gave no temperature but from the forecast: it stands in for all twelve hours
    assert np.isfinite(series.forecast_lead_h).sum() == 12
    assert "rain as it was forecast for 2 hours between 10 May 10:00 and 10 May 12:00" in (
        series.fills
    )
    assert "no forecast of rain for 4 hours between 10 May 20:00 and 11 May 00:00" in series.notes
    assert series.forecast_issued_at == DAY
    unknown_yet = Forecast("F", DAY, now + HOUR, DAY, {"rain_mm": np.full(20, 0.7)})
    assert np.isnan(series_of([], forecast=unknown_yet, now=now).rain_mm).all()


def issued(at: datetime, rain_mm: float, n_hours: int = 96, source: str = "F") -> Forecast:
    said = {"rain_mm": np.full(n_hours, rain_mm), "air_temp_c": np.full(n_hours, 10.0 + rain_mm)}
    return Forecast(source, at, at, at, said)


def test_the_range_of_a_forecast_is_that_of_the_hours_to_come() -> None:
    now = DAY + 10 * HOUR
    rain, most = np.full(24, 1.0), np.where(np.arange(24) < 12, 3.0, np.nan)
    with_range = Forecast("F", DAY, DAY, DAY, {"rain_mm": rain, "rain_high_mm": most})
    found = hourly_series([], [], with_range, DAY, DAY + 24 * HOUR, now, PLACE)
    assert found.rain_range_mm is not None
    assert np.isnan(found.rain_range_mm[0]).all()
    assert np.flatnonzero(np.isfinite(found.rain_range_mm[1])).tolist() == [10, 11]
    plain = Forecast("F", DAY, DAY, DAY, {"rain_mm": rain})
    assert hourly_series([], [], plain, DAY, DAY + 24 * HOUR, now, PLACE).rain_range_mm is None


def test_elapsed_hours_take_the_forecast_issued_last_before_each() -> None:
    """Never one issued after the hour, though it speaks of it too."""
    now = DAY + 30 * HOUR
    hindsight = Forecast("F", DAY + 20 * HOUR, DAY + 20 * HOUR, DAY, {"rain_mm": np.full(96, 9.0)})
    forecasts = [issued(DAY - 6 * HOUR, 0.1), issued(DAY + 10 * HOUR, 0.2), hindsight]
    values = values_of("rain_mm", DAY, [0.0] * 6) + values_of("air_temp_c", DAY, [8.0] * 6)
    for order in (forecasts, forecasts[::-1]):
        series = hourly_series(values, [], order, DAY, DAY + timedelta(days=3), now, PLACE)
        assert series.rain_mm[:6].tolist() == [0.0] * 6
        assert series.rain_mm[6:10].tolist() == [0.1] * 4
        assert series.rain_mm[10:20].tolist() == [0.2] * 10
        assert series.rain_mm[20:30].tolist() == [9.0] * 10
        assert series.rain_mm[30:72].tolist() == [9.0] * 42
        assert series.forecast_lead_h is not None
        assert np.isnan(series.forecast_lead_h[:6]).all()
        assert series.forecast_lead_h[6:10].tolist() == [12.5, 13.5, 14.5, 15.5]
        assert series.forecast_lead_h[10] == 0.5
        assert np.isnan(series.forecast_lead_h[30:]).all()
        assert series.sources == ("F", "station A")
        assert series.last_observed_at == DAY + 6 * HOUR


def test_a_forecast_never_outranks_what_was_observed_or_modelled() -> None:
    now = DAY + 24 * HOUR
    values = values_of("rain_mm", DAY, [1.0] * 6) + values_of(
        "rain_mm", DAY + 6 * HOUR, [2.0] * 6, Kind.MODEL, "model M"
    )
    gauge = entry("rain", DAY + 12 * HOUR, DAY + 18 * HOUR, {"rain_mm": 0.0})
    series = hourly_series(
        values, [gauge], [issued(DAY, 5.0)], DAY, DAY + timedelta(days=1), now, PLACE
    )
    assert series.rain_mm.tolist() == [1.0] * 6 + [2.0] * 6 + [0.0] * 6 + [5.0] * 6


def test_the_age_of_readings_and_forecast_is_noted_first_from_a_day_on() -> None:
    values = values_of("rain_mm", DAY, [0.0] * 24) + values_of("air_temp_c", DAY, [9.0] * 24)
    forecasts = [issued(DAY + 24 * HOUR, 0.3, 240)]
    fresh = hourly_series(
        values, [], forecasts, DAY, DAY + timedelta(days=9), DAY + 47 * HOUR, PLACE
    )
    assert not any("no reading" in note or "old" in note for note in fresh.notes)
    now = DAY + 73 * HOUR
    stale = hourly_series(values, [], forecasts, DAY, DAY + timedelta(days=9), now, PLACE)
    assert stale.notes[:2] == (
        "no reading of rain and temperature since 11 May 00:00, 2 days: "
        "what was forecast then stands in",
        "the forecast is 2 days old",
    )
    ages = weather_ages(stale, now)
    assert (ages.rain_h, ages.temp_h, ages.forecast_h) == (49.0, 49.0, 49.0)
    assert ages.is_forecast_old
    assert not ages.is_soil_unknown
    alone = hourly_series(values, [], None, DAY, DAY + timedelta(days=9), now, PLACE)
    assert alone.notes[0].startswith("no reading of rain since 11 May 00:00, 2 days: it may have")
    assert alone.notes[1].startswith("no reading of temperature since 11 May 00:00, 2 days: the da")


@pytest.mark.parametrize(("age_h", "is_unknown"), [(119.0, False), (120.0, False), (121.0, True)])
def test_the_soil_is_unknown_five_days_after_the_last_rain_reading(
    age_h: float, is_unknown: bool
) -> None:
    now = DAY + (24 + age_h) * HOUR
    values = values_of("rain_mm", DAY, [0.0] * 24)
    series = hourly_series(values, [], None, DAY, DAY + timedelta(days=8), now, PLACE)
    assert weather_ages(series, now).is_soil_unknown is is_unknown
    zero = entry("rain", now - 24 * HOUR, now - HOUR, {"rain_mm": 0.0})
    kept = hourly_series(values, [zero], None, DAY, DAY + timedelta(days=8), now, PLACE)
    assert not weather_ages(kept, now).is_soil_unknown


def test_a_reading_of_today_ends_at_now() -> None:
    now = DAY + 7 * HOUR
    gauge = entry("rain", DAY, DAY + timedelta(days=1), {"rain_mm": 6.0}, recorded_at=now)
    series = series_of([], [gauge], now=now)
    (total,) = series.rain_totals
    assert (total.first_hour, total.n_hours, total.rain_mm) == (0, 7, 6.0)


def test_a_total_cut_by_the_edge_keeps_its_share() -> None:
    daily = values_of("rain_mm", DAY - 12 * HOUR, [10.0], step=timedelta(days=1))
    series = series_of(daily)
    (total,) = series.rain_totals
    assert (total.first_hour, total.n_hours, total.rain_mm) == (0, 12, 5.0)


# ------------------------------------------------------------------ temperature and the rest


def diurnal(n_days: int, mean_c: float = 14.0, swing_c: float = 6.0) -> np.ndarray:
    hour = np.arange(24 * n_days)
    return mean_c + swing_c * np.cos(2 * np.pi * (hour - 15) / 24)


def test_daily_extremes_are_spread_and_met() -> None:
    values = values_of("air_temp_min_c", DAY, [6.0, 9.0, 4.0], step=timedelta(days=1))
    values += values_of("air_temp_max_c", DAY, [19.0, 24.0, 15.0], step=timedelta(days=1))
    series = series_of(values, n_days=3)
    by_day = series.air_temp_c.reshape(3, 24)
    assert_allclose(by_day.max(axis=1), [19.0, 24.0, 15.0], rtol=0, atol=0.3)
    assert_allclose(by_day[:, 3:7].min(axis=1), [6.0, 9.0, 4.0], rtol=0, atol=0.3)
    assert set(series.kinds["air_temp_c"]) == {Kind.OBSERVED}


def test_an_own_thermometer_stretches_the_hours_of_the_station() -> None:
    station = diurnal(1)
    own = entry("temp", DAY, DAY + timedelta(days=1), {"air_temp_min_c": 2.0, "air_temp_max_c": 26})
    series = series_of(values_of("air_temp_c", DAY, list(station)), [own])
    assert_allclose(
        [series.air_temp_c.min(), series.air_temp_c.max()], [2.0, 26.0], rtol=0, atol=1e-9
    )
    assert int(series.air_temp_c.argmin()) == int(station.argmin())
    assert set(series.kinds["air_temp_c"]) == {Kind.OWN_GAUGE}
    alone = series_of([], [own])
    assert_allclose(alone.air_temp_c.max(), 26.0, rtol=0, atol=0.3)
    frost = entry("temp", DAY, DAY + timedelta(days=1), {"air_temp_min_c": -1.0})
    shifted = series_of(values_of("air_temp_c", DAY, list(station)), [frost])
    assert_allclose(shifted.air_temp_c - station, -1.0 - station.min(), rtol=0, atol=1e-9)


def test_short_gaps_are_interpolated_and_long_ones_take_neighbouring_days() -> None:
    truth = diurnal(9)
    seen = truth.copy()
    seen[30:34] = np.nan
    seen[100:130] = np.nan
    series = series_of(values_of("air_temp_c", DAY, list(seen)), n_days=9)
    kinds = series.kinds["air_temp_c"]
    assert set(kinds[30:34]) == {Kind.MODEL}
    assert_allclose(series.air_temp_c[30:34], np.linspace(seen[29], seen[34], 6)[1:5])
    assert set(kinds[100:130]) == {Kind.CLIMATE}
    assert_allclose(series.air_temp_c[100:130], truth[100:130], rtol=0, atol=1e-9)
    assert any("interpolated for 4 hours" in fill for fill in series.fills)
    assert any("neighbouring days for 30 hours" in fill for fill in series.fills)


def test_no_temperature_at_all_stays_unknown() -> None:
    series = series_of(values_of("rain_mm", DAY, [0.0] * 24))
    assert np.isnan(series.air_temp_c).all()
    assert np.isnan(series.humidity_frac).all()
    assert np.isnan(series.solar_mj_m2).all()
    assert set(series.kinds["air_temp_c"]) == {Kind.MISSING}


def test_missing_humidity_wind_and_sun_follow_the_stated_rules() -> None:
    temp = diurnal(3)
    series = series_of(values_of("air_temp_c", DAY, list(temp)), n_days=3)
    lowest = saturation_vapour_pressure_kpa(temp.min())
    assert_allclose(
        series.humidity_frac, lowest / saturation_vapour_pressure_kpa(temp), rtol=1e-9, atol=0
    )
    assert series.wind_2m_m_s.tolist() == [2.0] * 72
    day_sum = series.solar_mj_m2.reshape(3, 24).sum(axis=1)
    expected = 0.16 * np.sqrt(12.0) * extraterrestrial_daily_mj_m2(42.0, [130, 131, 132])
    assert_allclose(day_sum, expected, rtol=5e-3, atol=0)
    for variable in ("humidity_frac", "wind_2m_m_s", "solar_mj_m2"):
        assert set(series.kinds[variable]) == {Kind.MODEL}
    assert any(fill.startswith("wind unknown for 72 hours") for fill in series.fills)


def test_a_clear_desert_day_does_not_outshine_the_clear_sky() -> None:
    series = series_of(values_of("air_temp_c", DAY, list(diurnal(1, swing_c=18.0))))
    limit = clear_sky_mj_m2(extraterrestrial_daily_mj_m2(42.0, 130), 100.0)
    assert series.solar_mj_m2.sum() <= limit * 1.005


def test_daily_means_and_sums_are_spread() -> None:
    day = timedelta(days=1)
    values = values_of("air_temp_c", DAY, list(diurnal(2)))
    values += values_of("humidity_frac", DAY, [0.7, 0.9], step=day)
    values += values_of("wind_2m_m_s", DAY, [1.5, 3.0], step=day)
    values += values_of("solar_mj_m2", DAY, [22.0, 5.0], step=day)
    series = series_of(values, n_days=2)
    assert_allclose(series.humidity_frac.reshape(2, 24).mean(axis=1), [0.7, 0.9], rtol=0, atol=1e-6)
    assert_allclose(series.wind_2m_m_s, np.repeat([1.5, 3.0], 24), rtol=0, atol=0)
    assert_allclose(series.solar_mj_m2.reshape(2, 24).sum(axis=1), [22.0, 5.0], rtol=1e-9, atol=0)
    assert set(series.kinds["solar_mj_m2"]) == {Kind.OBSERVED}


# ------------------------------------------------------------------ what is noted, what is listed


def test_old_unknown_rain_is_a_note_only_if_it_is_much() -> None:
    temp = values_of("air_temp_c", DAY, list(diurnal(30)))
    rain = np.zeros(30 * 24)
    rain[48:72] = np.nan  # 24 hours, four weeks ago
    old = "rain unknown for 24 hours between 12 May 00:00 and 13 May 00:00"
    series = series_of(temp + values_of("rain_mm", DAY, list(rain)), n_days=30)
    assert series.notes == ()
    assert old in series.fills
    rain[16 * 24] = np.nan  # the first hour of the last 14 days
    series = series_of(temp + values_of("rain_mm", DAY, list(rain)), n_days=30)
    assert series.notes == (
        "rain unknown for 25 hours in 2 stretches between 12 May 00:00 and 26 May 01:00",
    )
    rain[50:60] = 0.0
    series = series_of(temp + values_of("rain_mm", DAY, list(rain)), n_days=30)
    assert series.notes == ("rain unknown for 1 hour between 26 May 00:00 and 26 May 01:00",)
    assert any("unknown for 14 hours in 2 stretches between 12 May" in f for f in series.fills)
    rain[16 * 24 - 1 : 16 * 24 + 1] = np.nan, 0.0  # an hour earlier
    assert series_of(temp + values_of("rain_mm", DAY, list(rain)), n_days=30).notes == ()


def test_gauge_against_station_is_a_note_for_a_week() -> None:
    readings = [
        entry(
            "rain",
            DAY + timedelta(days=day),
            DAY + timedelta(days=day + 1),
            {"rain_mm": 9.0},
            name=f"e{day}",
        )
        for day in range(20)
    ]
    values = values_of("rain_mm", DAY, [0.0] * 480)
    values += values_of("air_temp_c", DAY, list(diurnal(20)))
    series = series_of(values, readings, n_days=20)
    assert [note[:6] for note in series.notes] == ["29 May", "28 May", "27 May", "gauge "]
    assert series.notes[3].startswith("gauge and station disagree on 4 earlier readings")
    assert [fill[:6] for fill in series.fills[:4]] == ["22 May", "21 May", "20 May", "gauge "]
    assert series.fills[3].startswith("gauge and station disagree on 10 earlier readings")


def test_missing_temperature_is_a_note_if_it_is_much_of_the_last_week() -> None:
    def notes(missing: slice) -> tuple[str, ...]:
        temp = diurnal(12)
        temp[missing] = np.nan
        values = values_of("rain_mm", DAY, [0.0] * 288) + values_of("air_temp_c", DAY, list(temp))
        series = series_of(values, n_days=12)
        assert any("taken from neighbouring days" in fill for fill in series.fills)
        return series.notes

    assert notes(slice(200, 224)) == ()
    assert notes(slice(200, 225)) == (
        "temperature missing for 25 hours between 18 May 08:00 and 19 May 09:00",
    )
    assert notes(slice(10, 120 + 24)) == ()  # the last week begins with element 120
    assert len(notes(slice(10, 120 + 25))) == 1


# ------------------------------------------------------------------ form


def test_columns_and_values_give_the_same_series_in_any_order() -> None:
    rng = np.random.default_rng(5)
    values = values_of("rain_mm", DAY, list(rng.random(48)))
    values += values_of("air_temp_c", DAY, list(diurnal(2)))
    values += values_of("rain_mm", DAY, list(rng.random(20)), Kind.MODEL, source="model M")
    expected = series_of(values, n_days=2)
    shuffled = [values[i] for i in rng.permutation(len(values))]
    end_at = DAY + timedelta(days=2)
    columns = hourly_series(value_columns(shuffled), [], None, DAY, end_at, end_at, PLACE)
    for name in ("rain_mm", "air_temp_c", "humidity_frac", "wind_2m_m_s", "solar_mj_m2"):
        assert_allclose(getattr(columns, name), getattr(expected, name), rtol=0, atol=0)
    assert (columns.notes, columns.fills) == (expected.notes, expected.fills)
    assert expected.n_hours == 48


def test_stamps_off_the_hour_go_to_the_hour_they_mostly_cover() -> None:
    late = DAY - timedelta(minutes=9)  # reports of nine minutes before the hour
    series = series_of(values_of("rain_mm", late, [float(i) for i in range(24)]))
    assert series.rain_mm.tolist() == [float(i) for i in range(24)]


def test_what_cannot_be_a_series_is_refused() -> None:
    with pytest.raises(RangeError, match="full hours"):
        hourly_series([], [], None, DAY, DAY, DAY, PLACE)
    with pytest.raises(RangeError, match="without a zone"):
        hourly_series([], [], None, DAY.replace(tzinfo=None), DAY, DAY, PLACE)
    short = values_of("rain_mm", DAY, [0.1], step=timedelta(minutes=10))
    with pytest.raises(RangeError, match="shorter than half an hour"):
        series_of(short)
    with pytest.raises(RangeError, match="found the variable rain_in"):
        series_of(values_of("rain_in", DAY, [0.1]))


def test_a_trace_too_small_to_divide_by_gives_the_gauge_no_shape() -> None:
    event = entry("rain", DAY, DAY + 4 * HOUR, {"rain_mm": 1.0})
    series = series_of(values_of("rain_mm", DAY, [0.0, 2e-313, 0.0, 0.0]), [event])
    assert [(t.rain_mm, t.n_hours) for t in series.rain_totals] == [(1.0, 4)]


# ------------------------------------------------------------------ properties


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_rain_of_the_gauge_is_neither_lost_nor_made(data: st.DataObject) -> None:
    """Readings side by side, on any station with any holes: the sum of the gauge stays."""
    edges = sorted(data.draw(st.sets(st.integers(0, 96), min_size=2, max_size=6)))
    amounts = data.draw(
        st.lists(st.floats(0.0, 40.0), min_size=len(edges) - 1, max_size=len(edges) - 1)
    )
    station = data.draw(
        st.lists(st.one_of(st.just(np.nan), st.floats(0.0, 9.0)), min_size=96, max_size=96)
    )
    events = [
        entry("rain", DAY + low * HOUR, DAY + high * HOUR, {"rain_mm": mm}, name=str(low))
        for low, high, mm in zip(edges, edges[1:], amounts, strict=False)
    ]
    series = series_of(values_of("rain_mm", DAY, station), events, n_days=4)
    inside = slice(edges[0], edges[-1])
    kinds = series.kinds["rain_mm"]
    assert set(kinds[inside]) == {Kind.OWN_GAUGE}
    totals = sum(t.rain_mm for t in series.rain_totals)
    assert_allclose(
        float(np.nansum(series.rain_mm[inside])) + totals, sum(amounts), rtol=1e-9, atol=1e-9
    )
    covered = np.zeros(96, bool)
    for total in series.rain_totals:
        covered[total.first_hour : total.first_hour + total.n_hours] = True
    assert np.array_equal(np.isnan(series.rain_mm), covered | (kinds == Kind.MISSING))
    outside = np.ones(96, bool)
    outside[inside] = False
    assert_allclose(series.rain_mm[outside], np.array(station)[outside], rtol=0, atol=0)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_the_order_of_the_input_does_not_matter(data: st.DataObject) -> None:
    values: list[WeatherValue] = []
    for source in ("A", "B"):
        for variable in ("rain_mm", "air_temp_c", "humidity_frac"):
            numbers = data.draw(st.lists(st.floats(0.0, 1.0), min_size=12, max_size=12))
            values += values_of(variable, DAY, numbers, source=source)
            for step in (timedelta(hours=6), timedelta(hours=12)):
                numbers = data.draw(st.lists(st.floats(0.0, 1.0), min_size=2, max_size=2))
                values += values_of(variable, DAY, numbers, source=source, step=step)
        values += values_of("air_temp_min_c", DAY, [1.0], source=source, step=timedelta(days=1))
        values += values_of("air_temp_max_c", DAY, [9.0], source=source, step=timedelta(days=1))
    events = [
        entry("rain", DAY, DAY + 9 * HOUR, {"rain_mm": mm}, name=name)
        for name, mm in (("x", 3.0), ("y", 4.0))
    ]
    first = series_of(values, events)
    second = series_of(data.draw(st.permutations(values)), events[::-1])
    for name in ("rain_mm", "air_temp_c", "humidity_frac", "wind_2m_m_s", "solar_mj_m2"):
        assert_allclose(getattr(second, name), getattr(first, name), rtol=0, atol=0)
        assert np.array_equal(second.kinds[name], first.kinds[name])
    assert second.rain_totals == first.rain_totals
    assert (second.notes, second.fills) == (first.notes, first.fills)
    assert second.sources == first.sources


def test_one_extra_day_of_shift_shifts_the_rain_by_a_day() -> None:
    rain = list(np.random.default_rng(3).random(24))
    here = series_of(values_of("rain_mm", DAY, rain), n_days=2)
    later = series_of(values_of("rain_mm", DAY + timedelta(days=1), rain), n_days=2)
    assert_allclose(later.rain_mm[24:], here.rain_mm[:24], rtol=0, atol=0)


# ------------------------------------------------------------------ other years and places


def daily_values(
    place: Place, first: date, n_days: int, rain_mm: float = 3.0
) -> list[WeatherValue]:
    """Lowest 4 C, highest 16 C and some rain for civil days of a place."""
    zone = ZoneInfo(place.time_zone)
    values = []
    for i in range(n_days):
        day = first + timedelta(days=i)
        start, end = (
            datetime(each.year, each.month, each.day, tzinfo=zone).astimezone(UTC)
            for each in (day, day + timedelta(days=1))
        )
        for name, value in (
            ("air_temp_min_c", 4.0),
            ("air_temp_max_c", 16.0),
            ("rain_mm", rain_mm),
        ):
            values.append(WeatherValue(name, start, end, value, Kind.OBSERVED, "S", end))
    return values


def civil(place: Place, day: date, hour: int = 0) -> datetime:
    zone = ZoneInfo(place.time_zone)
    return datetime(day.year, day.month, day.day, hour, tzinfo=zone).astimezone(UTC)


@pytest.mark.parametrize(
    ("place", "first", "hours_of_day_2"),
    [
        pytest.param(Place(42.0, -75.0, 100.0, "America/New_York"), date(2012, 12, 30), 24, id="y"),
        pytest.param(Place(42.0, -75.0, 100.0, "America/New_York"), date(2013, 3, 8), 23, id="23h"),
        pytest.param(
            Place(42.0, -75.0, 100.0, "America/New_York"), date(2013, 11, 1), 25, id="25h"
        ),
        pytest.param(Place(48.0, 9.0, 400.0, "Europe/Berlin"), date(2013, 3, 29), 23, id="eu23h"),
        pytest.param(
            Place(-37.8, 145.0, 30.0, "Australia/Melbourne"), date(2013, 10, 4), 23, id="s"
        ),
        pytest.param(Place(65.0, 25.5, 20.0, "Europe/Helsinki"), date(2013, 10, 25), 25, id="n"),
    ],
)
def test_days_of_23_24_and_25_hours_keep_their_rain_and_their_extremes(
    place: Place, first: date, hours_of_day_2: int
) -> None:
    """Days 0..5; day 2 is the one of the change, or New Year's Day."""
    last = first + timedelta(days=6)
    start, end = civil(place, first), civil(place, last)
    series = hourly_series(daily_values(place, first, 6), [], None, start, end, end, place)
    day_2 = slice(
        int((civil(place, first + timedelta(days=2)) - start) / HOUR),
        int((civil(place, first + timedelta(days=3)) - start) / HOUR),
    )
    assert day_2.stop - day_2.start == hours_of_day_2
    assert series.n_hours == 5 * 24 + hours_of_day_2
    assert [t.rain_mm for t in series.rain_totals] == [3.0] * 6
    assert [t.n_hours for t in series.rain_totals] == [24, 24, hours_of_day_2, 24, 24, 24]
    temp = series.air_temp_c[day_2]
    assert_allclose([temp.min(), temp.max()], [4.0, 16.0], rtol=0.0, atol=0.6)
    for name in ("air_temp_c", "humidity_frac", "wind_2m_m_s", "solar_mj_m2"):
        assert np.isfinite(getattr(series, name)).all(), name
    hottest = start + int(np.argmax(temp) + day_2.start) * HOUR
    solar_hour = (hottest.hour + 0.5 + place.longitude_deg / 15.0) % 24.0
    assert 12.0 < solar_hour < 17.0


def test_a_reading_at_seven_covers_23_hours_when_the_clock_goes_forward() -> None:
    place = Place(42.0, -75.0, 100.0, "America/New_York")
    read_at = civil(place, date(2013, 3, 10), 7)
    before = civil(place, date(2013, 3, 9), 7)
    gauge = entry("rain", before, read_at, {"rain_mm": 9.2})
    start = before - 24 * HOUR
    series = hourly_series([], [gauge], None, start, read_at, read_at, place)
    assert [(t.n_hours, t.rain_mm) for t in series.rain_totals] == [(23, 9.2)]


def test_the_sun_of_both_hemispheres_and_of_the_polar_night() -> None:
    """Guessed from the same 12 K of range: summer beats winter, north and south; none in the
    polar night, and some at midnight under the midnight sun."""

    def solar_mj_m2(latitude_deg: float, day: date) -> FloatArray:
        place = Place(latitude_deg, 20.0, 50.0, "UTC")
        start = civil(place, day)
        end = start + 3 * 24 * HOUR
        values = daily_values(place, day, 3)
        return hourly_series(values, [], None, start, end, end, place).solar_mj_m2

    june, december = date(2013, 6, 20), date(2013, 12, 20)
    assert solar_mj_m2(-37.8, december).sum() > 2.0 * solar_mj_m2(-37.8, june).sum()
    assert solar_mj_m2(42.0, june).sum() > 2.0 * solar_mj_m2(42.0, december).sum()
    assert solar_mj_m2(69.0, december).sum() == 0.0
    assert (solar_mj_m2(69.0, june) > 0.0).all()
    assert 0.0 < solar_mj_m2(62.0, december).sum() < 0.1 * solar_mj_m2(62.0, june).sum()
