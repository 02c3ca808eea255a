"""The own gauge against a station: real and made rain passes, damaged rain is named.

Real rain: daily values of De Bilt 2010-2014 (KNMI, CC BY 4.0), read where they are and skipped
where absent; made rain stands in for them in the same tests.
"""

import csv
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from scheduler.adapters.weather.doubts import revised_lines, weather_doubts
from scheduler.adapters.weather.quality import checked_weather
from scheduler.records import Event, Kind, Place, WeatherValue

DE_BILT = Path(__file__).parents[3] / "shared" / "data" / "KNMI_De_Bilt_2010-2014.csv"
PLACE = Place(52.1, 5.18, 2.0, "UTC")
N = 100
START = datetime(2013, 6, 1, tzinfo=UTC)
NOW = START + timedelta(days=N)
DAY = timedelta(days=1)

Values = list[WeatherValue]


@pytest.fixture(params=["made", "De Bilt"])
def rain(request: pytest.FixtureRequest) -> list[float]:
    """A hundred days of rain [mm]."""
    if request.param == "made":
        rng = np.random.default_rng(11)
        wet = rng.random(N) < 0.4
        return [float(mm) for mm in np.where(wet, np.round(rng.gamma(0.8, 7.0, N), 1), 0.0)]
    if not DE_BILT.exists():
        pytest.skip(f"{DE_BILT.name} is not at hand")
    with DE_BILT.open(encoding="utf-8") as file:
        days = {row["date"]: float(row["rain_mm"] or 0.0) for row in csv.DictReader(file)}
    return [days[f"{START + i * DAY:%Y-%m-%d}"] for i in range(N)]


def station(rain_mm: Sequence[float], kind: Kind = Kind.OBSERVED) -> Values:
    """Hours of a station: each day's rain falls from 13:00 to 17:00."""
    values = []
    for i, mm in enumerate(rain_mm):
        for hour in range(24):
            at = START + i * DAY + timedelta(hours=hour)
            end = at + timedelta(hours=1)
            part = mm / 4 if 13 <= hour < 17 else 0.0
            values.append(WeatherValue("rain_mm", at, end, part, kind, "station", end))
    return values


def gauge(rain_mm: Sequence[float], shift: timedelta = timedelta(0)) -> list[Event]:
    """A reading of every day from midnight to midnight, or moved by `shift`."""
    events = []
    for i, mm in enumerate(rain_mm):
        start = START + i * DAY + shift
        data = {
            "rain_mm": mm,
            "start_at": start.isoformat(),
            "end_at": (start + DAY).isoformat(),
        }
        at = start + DAY
        events.append(Event(f"r{i}", "rain", at, at, data=data))
    return events


def near(rain_mm: Sequence[float]) -> list[float]:
    """What a gauge a few kilometres away says: other by a fifth."""
    rng = np.random.default_rng(5)
    return [round(float(mm * np.exp(0.2 * rng.normal())), 1) for mm in rain_mm]


def doubts(values: Values, events: Sequence[Event] = ()) -> str:
    return "\n".join(weather_doubts(values, events, NOW, PLACE))


def test_a_gauge_that_agrees_passes_without_a_word(rain: list[float]) -> None:
    assert not doubts(station(rain), gauge(near(rain)))
    assert not doubts(station(rain))
    assert not doubts([], gauge(rain))


def test_a_model_is_no_station_to_judge_by(rain: list[float]) -> None:
    assert not doubts(station(rain, Kind.MODEL), gauge([0.0] * N))


def test_a_reading_of_the_morning_dated_to_that_day(rain: list[float]) -> None:
    """Read at 07:00, written to the calendar day of the reading: yesterday's afternoon rain."""
    late = [0.0, *near(rain)[:-1]]
    found = doubts(station(rain), gauge(late))
    assert "fits the station better for the day before" in found
    assert "read at 07:00" in found
    right = gauge(late, shift=timedelta(hours=-17))  # the same figures with their true span
    assert "fits the station better" not in doubts(station(rain), right)


def test_a_reading_a_day_too_early(rain: list[float]) -> None:
    found = doubts(station(rain), gauge([*near(rain)[1:], 0.0]))
    assert "better for the day after" in found


def test_too_few_wet_days_say_nothing_of_a_shift(rain: list[float]) -> None:
    late = [0.0, *rain[:-1]][:20]
    assert "fits the station better" not in doubts(station(rain), gauge(late))


@pytest.mark.parametrize(
    ("factor", "hint"),
    [
        (25.4, "were millimetres entered as inches?"),
        (1 / 25.4, "were inches entered as millimetres?"),
    ],
)
def test_a_unit_mixed_up_over_ten_rains(rain: list[float], factor: float, hint: str) -> None:
    found = doubts(station(rain), gauge([mm * factor for mm in near(rain)]))
    assert hint in found
    assert "blocked" not in found
    half = doubts(station(rain), gauge([mm * 0.9 for mm in near(rain)]))
    assert "entered as" not in half


@pytest.mark.parametrize(
    ("factor", "hint"),
    [
        (25.4, "were millimetres entered as inches?"),
        (1 / 25.4, "were inches entered as millimetres?"),
    ],
)
def test_a_unit_mixed_up_of_late_is_told_beside_sound_months(
    rain: list[float], factor: float, hint: str
) -> None:
    """A new gauge: all rains together look odd, the newest ten are an inch to a millimetre off."""
    both = [i for i, (own, seen) in enumerate(zip(near(rain), rain, strict=True)) if own and seen]
    newest, oldest = both[-10:], both[:10]

    def mixed_up(days: list[int]) -> str:
        own = [mm * factor if i in days else mm for i, mm in enumerate(near(rain))]
        return doubts(station(rain), gauge(own))

    assert hint in mixed_up(newest)
    assert "in 10 newest rains" in mixed_up(newest)
    assert "entered as" not in mixed_up(oldest)  # mended since


def test_a_blocked_gauge(rain: list[float]) -> None:
    dry = [mm if i < N - 30 else round(0.2 * mm, 1) for i, mm in enumerate(rain)]
    assert "may your gauge be blocked" in doubts(station(rain), gauge(dry))
    wet = [mm if i < N - 30 else 3.0 * mm for i, mm in enumerate(rain)]
    assert "does your gauge catch irrigation or splash" in doubts(station(rain), gauge(wet))


def test_noughts_that_nobody_read(rain: list[float]) -> None:
    """Twenty-five days of nought laid where the station had most days of 5 mm or more."""
    n_wet = [sum(mm >= 5.0 for mm in rain[i : i + 25]) for i in range(N - 25)]
    first = int(np.argmax(n_wet))
    span = range(first, first + 25)
    unread = [0.0 if i in span else max(mm, 0.1) for i, mm in enumerate(rain)]
    found = doubts(station(rain), gauge(unread))
    days = [START + i * DAY for i in (first, first + 25)]
    said = " to ".join(f"{day.day} {day:%b %Y}" for day in days)
    assert f"your gauge says 0 from {said}, the station had {n_wet[first]} days of 5 mm" in found
    missing = [e for i, e in enumerate(gauge(rain)) if i not in span]
    assert "your gauge says 0" not in doubts(station(rain), missing)


def test_a_weekend_read_on_monday_is_held_against_the_station(rain: list[float]) -> None:
    """Four days away, noughts written for three of them and the sum on the fourth."""
    own = near(rain)
    first = next(
        i
        for i in range(5, N - 4)
        if sum(rain[i : i + 3]) >= max(8.0, 2.0 * rain[i + 3])
        and sum(own[i : i + 4]) >= 10.0
        and rain[i] > 0.0
        and own[i - 1] > 0.0
    )
    back = first + 3
    summed = [0.0 if first <= i < back else mm for i, mm in enumerate(own)]
    summed[back] = sum(own[first : back + 1])
    found = doubts(station(rain), gauge(summed))
    since, day = (f"{d.day} {d:%b %Y}" for d in (START + first * DAY, START + back * DAY))
    assert f"{summed[back]:.0f} mm of {day} after noughts from {since} on is about" in found
    assert "log it with its span" in found
    with_span = [e for i, e in enumerate(gauge(own)) if not first <= i <= back]
    start, end = START + first * DAY, START + (back + 1) * DAY
    data = {
        "rain_mm": summed[back],
        "start_at": start.isoformat(),
        "end_at": end.isoformat(),
    }
    right = [*with_span, Event("sum", "rain", end, end, data=data)]
    assert "noughts" not in doubts(station(rain), right)


def test_a_storm_after_dry_days_is_no_sum() -> None:
    storm = [30.0 if i == 50 else 0.0 for i in range(N)]
    assert not doubts(station(storm), gauge(near(storm)))


def test_irrigation_that_the_gauge_caught() -> None:
    dry = [0.0] * N
    own = [12.0 if i == 40 else 0.0 for i in range(N)]
    at = START + 40 * DAY + timedelta(hours=18)
    water = Event("w", "water", at, at, "B4", None, {"water_mm": 11.0})
    assert "irrigation caught by the gauge" in doubts(station(dry), [*gauge(own), water])
    assert "irrigation" not in doubts(station(dry), gauge(own))
    wet = [12.0 if i == 40 else 0.0 for i in range(N)]
    assert "irrigation" not in doubts(station(wet), [*gauge(own), water])


def test_rain_in_the_cold_may_be_snow() -> None:
    rain_mm = [8.0 if i == N - 5 else 0.0 for i in range(N)]
    hours = [replace(v, variable="air_temp_c", value=-1.0) for v in station(rain_mm)]
    assert "may have been snow" in doubts([*station(rain_mm), *hours])
    mild = [replace(v, value=6.0) for v in hours]
    assert "snow" not in doubts([*station(rain_mm), *mild])


def test_everything_left_out_is_named_with_its_reason(rain: list[float]) -> None:
    values = station(rain)
    values[100] = replace(values[100], value=400.0)
    values[300] = replace(values[300], value=-1.0)
    checked = checked_weather(values, NOW, PLACE)
    found = doubts(list(checked.values))
    assert "rain of station: 1 value of 5 Jun 2013 (400 mm) left out: more than 150 mm" in found
    assert "rain of station: 1 value of 13 Jun 2013 (-1 mm) left out: below zero" in found
    assert [v.value for v in checked.values] == [v.value for v in values]


def test_rain_that_a_source_changed_later_is_told() -> None:
    """Two hours of one day change by 1.5 mm together; less than 1 mm a day is not told."""
    rain_mm = [0.0] * (N - 3) + [8.0, 0.0, 0.0]
    first = station(rain_mm)
    day = START + (N - 3) * DAY
    hours = [v for v in first if v.start_at >= day and v.value > 0.0]
    later = [replace(v, value=v.value + 0.75, known_at=v.known_at + DAY) for v in hours]
    (told,) = revised_lines([*later[:2], *first], NOW, PLACE)
    assert told == (
        "station changed its rain of 6 Sep 2013 from 8 mm to 10 mm: "
        "the later figure counts from then on"
    )
    assert revised_lines([*first, later[0]], NOW, PLACE) == ()
    assert revised_lines(first, NOW, PLACE) == ()
