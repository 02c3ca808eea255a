"""News of a morning: silence, lines left open, and corrections that are true and no others.

Yesterday is the hand-made morning of 14 May 2013; what came after it is made up case by case.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from pydantic import TypeAdapter

from scheduler.adapters.journal import FarmDatabase, open_farm_database
from scheduler.adapters.render.answer_json import answer
from scheduler.adapters.render.phrases import grower_text
from scheduler.records import (
    Action,
    BedAnswer,
    DayStrip,
    Event,
    Forecast,
    Kind,
    Morning,
    MorningNews,
    RainAhead,
    Range,
    WeatherValue,
)
from scheduler.service import list_before, list_of_day, morning_news

GOLDEN = Path(__file__).parents[1] / "golden"
ZONE = ZoneInfo("America/New_York")
HOUR = timedelta(hours=1)
YESTERDAY = datetime(2013, 5, 14, 5, 30, tzinfo=ZONE)
TODAY = YESTERDAY + timedelta(days=1)
NO_RAIN = RainAhead(None, 0.1, Range(0.0, 0.0, 0.0))

Rain = Mapping[datetime, float]


def at(day: int, hour: int, minute: int = 0) -> datetime:
    """A local moment of May 2013."""
    return datetime(2013, 5, day, hour, minute, tzinfo=ZONE)


@pytest.fixture(scope="module")
def spring() -> Morning:
    found = TypeAdapter(Morning).validate_json((GOLDEN / "morning_spring.json").read_text())
    return replace(found, rain_ahead=NO_RAIN)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[FarmDatabase]:
    with open_farm_database(tmp_path, create=True) as database:
        yield database


def write_weather(
    database: FarmDatabase,
    rain: Rain | None = None,
    *,
    kind: Kind = Kind.OBSERVED,
    silent_from: datetime | None = None,
    late: timedelta = HOUR,
) -> None:
    """Hourly rain of 6 to 15 May, dry but for `rain`, known an hour after it fell."""
    fell = {moment.astimezone(UTC): mm for moment, mm in (rain or {}).items()}
    start = at(6, 0).astimezone(UTC)
    values = []
    while start < TODAY:
        if silent_from is None or start < silent_from:
            end = start + HOUR
            for name, value in (("rain_mm", fell.get(start, 0.0)), ("air_temp_c", 14.0)):
                values.append(WeatherValue(name, start, end, value, kind, "made", end + late))
        start += HOUR
    database.add_weather_values(values)


def write_list(database: FarmDatabase, morning: Morning) -> None:
    database.write_list(morning.as_of, morning.as_of, answer(morning))


def log(
    database: FarmDatabase,
    kind: str,
    bed: str | None,
    happened_at: datetime,
    data: Mapping[str, Any] | None = None,
    *,
    part: str | None = None,
    recorded_at: datetime | None = None,
) -> str:
    name = f"{kind}-{bed}-{part}-{happened_at:%d%H%M}"
    recorded = recorded_at or happened_at + timedelta(minutes=10)
    database.add_events([Event(name, kind, happened_at, recorded, bed, part, dict(data or {}))])
    return name


def done(database: FarmDatabase, bed: str, hour: int = 12, **more: Any) -> str:
    part = more.pop("part", None)
    return log(database, "pass", bed, at(14, hour), {"tool": "sweeps", **more}, part=part)


def next_day(morning: Morning, **beds: Mapping[str, Any]) -> Morning:
    """The same answer a day later, with some beds changed."""
    changed = tuple(replace(bed, **beds.get(bed.bed, {})) for bed in morning.beds)
    return replace(morning, as_of=TODAY, day=date(2013, 5, 15), beds=changed, strip=None)


def news(database: FarmDatabase, found: Morning, now: datetime = TODAY) -> MorningNews:
    return morning_news(found.farm, database, database, found, database, now)


@pytest.fixture
def told(database: FarmDatabase, spring: Morning) -> Callable[..., tuple[str, ...]]:
    """The corrections after yesterday's list, with rain and today's answers as given."""

    def corrections(
        rain: Rain | None = None,
        *,
        yesterday: Morning | None = None,
        today: Morning | None = None,
        **weather: Any,
    ) -> tuple[str, ...]:
        write_weather(database, rain, **weather)
        write_list(database, yesterday or spring)
        return news(database, today or next_day(spring)).corrections

    return corrections


Told = Callable[..., tuple[str, ...]]


def wait(until: datetime | None, because: str = "wet", **more: Any) -> dict[str, Any]:
    return {"verdict": "wait", "because": because, "until": until, "action": None, **more}


# ------------------------------------------------------------------------- silence


def test_without_a_list_there_is_no_news(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    assert news(database, next_day(spring)) == MorningNews()
    write_list(database, next_day(spring))  # today's own is no earlier one
    assert news(database, next_day(spring)) == MorningNews()


def test_nothing_logged_is_told_with_its_day(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    log(database, "up", "B5", at(13, 18))
    write_list(database, spring)
    found = news(database, next_day(spring))
    assert found.silent_on == date(2013, 5, 14)
    assert found.n_silent_days == 1
    assert found.corrections == ()  # dry and warm, as it said: nothing to put right


@pytest.mark.parametrize("kind", ["up", "look", "water", "rain"])
def test_an_entry_of_any_kind_ends_the_silence(
    database: FarmDatabase, spring: Morning, kind: str
) -> None:
    write_weather(database)
    write_list(database, spring)
    data = {
        "look": {"nothing": True},
        "water": {"water_mm": 5.0},
        "rain": {
            "rain_mm": 0.0,
            "start_at": at(13, 7).isoformat(),
            "end_at": at(14, 7).isoformat(),
        },
    }
    bed = None if kind == "rain" else "B5"
    log(database, kind, bed, at(14, 19), data.get(kind))
    found = news(database, next_day(spring))
    assert (found.silent_on, found.n_silent_days) == (None, 0)
    assert len(found.unlogged) == 8  # but no line was done


def test_what_was_recorded_this_morning_counts(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    write_list(database, spring)
    log(database, "up", "B5", at(13, 18), recorded_at=at(15, 5))
    assert news(database, next_day(spring)).silent_on is None


def test_silent_days_are_those_with_a_list(database: FarmDatabase, spring: Morning) -> None:
    """Lists of Thursday, Saturday, Sunday and Tuesday; the last entry came on Friday evening."""
    write_weather(database)
    log(database, "up", "B5", at(10, 18))
    for day in (9, 11, 12, 14):
        write_list(database, replace(spring, as_of=at(day, 5, 30), day=date(2013, 5, day)))
    found = news(database, next_day(spring))
    assert (found.silent_on, found.n_silent_days) == (date(2013, 5, 14), 3)


def test_an_entry_before_the_list_of_its_day_does_not_break_the_silence_of_that_day(
    database: FarmDatabase, spring: Morning
) -> None:
    """Written at five about the day before: what the list of that day asked was not answered."""
    write_weather(database)
    log(database, "up", "B5", at(13, 18), recorded_at=at(14, 5))
    for day in (13, 14):
        write_list(database, replace(spring, as_of=at(day, 5, 30), day=date(2013, 5, day)))
    assert news(database, next_day(spring)).n_silent_days == 1


def test_a_list_read_again_after_the_log_makes_no_silence(
    database: FarmDatabase, spring: Morning
) -> None:
    """Logged at six, read again at eight: the list of the morning was answered, on both days."""
    write_weather(database)
    evening = replace(spring, as_of=at(14, 20))
    write_list(database, spring)
    done(database, "B4", hour=18)
    write_list(database, evening)
    assert news(database, next_day(spring)).silent_on is None
    thursday = replace(next_day(spring), as_of=at(16, 5, 30), day=date(2013, 5, 16))
    write_list(database, next_day(spring))
    found = news(database, thursday, at(16, 5, 30))
    assert (found.silent_on, found.n_silent_days) == (date(2013, 5, 15), 1)


def test_a_day_that_was_answered_is_not_silent(database: FarmDatabase, spring: Morning) -> None:
    """Monday's list was answered on Monday evening, Tuesday's was not."""
    write_weather(database)
    log(database, "up", "B5", at(13, 18))
    for day in (12, 13, 14):
        write_list(database, replace(spring, as_of=at(day, 5, 30), day=date(2013, 5, day)))
    assert news(database, next_day(spring)).n_silent_days == 1


def test_a_list_of_three_days_ago_is_the_last_one(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    write_list(database, replace(spring, as_of=at(12, 5, 30), day=date(2013, 5, 12)))
    assert news(database, next_day(spring)).silent_on == date(2013, 5, 12)


# ----------------------------------------------------------------------- open lines


def places(found: MorningNews) -> list[int]:
    return [line.place for line in found.unlogged]


def test_open_lines_keep_the_numbers_they_were_read_by(
    database: FarmDatabase, spring: Morning
) -> None:
    write_weather(database)
    write_list(database, spring)
    done(database, "B4")  # 1
    done(database, "A2", tool="tine weeder")  # 3, as listed
    log(database, "hand", "A3", at(14, 15), {"work_min": 20.0})  # 5, another way
    done(database, "B1", worked=False, found="too wet")  # 6, found unfit
    log(database, "look", "B3", at(14, 9), {"thread": 4.0})  # 8: looked at, not done
    found = news(database, next_day(spring))
    assert places(found) == [2, 4, 7, 8]
    assert (found.unlogged[2].bed, found.unlogged[2].part) == ("B2", "north")
    assert found.unlogged[0].tool == "tine weeder"
    assert found.silent_on is None


@pytest.mark.parametrize(("part", "is_open"), [("north", False), (None, False), ("south", True)])
def test_a_part_is_answered_by_itself_or_by_its_bed(
    database: FarmDatabase, spring: Morning, part: str | None, is_open: bool
) -> None:
    write_weather(database)
    write_list(database, spring)
    done(database, "B2", part=part)
    assert (7 in places(news(database, next_day(spring)))) == is_open


def test_an_entry_taken_back_opens_its_line(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    write_list(database, spring)
    name = done(database, "B4")
    assert 1 not in places(news(database, next_day(spring)))
    undo = Event("undo-1", "undo", at(14, 20), at(14, 20), "B4", None, {}, supersedes=name)
    database.add_events([undo])
    assert 1 in places(news(database, next_day(spring)))


@pytest.mark.parametrize(
    ("happened_at", "recorded_at", "is_open"),
    [
        (at(13, 12), at(14, 20), False),  # done the day before, told after the list was made
        (at(13, 12), at(13, 20), True),  # known to the list, which asked for the bed again
        (at(11, 12), at(14, 20), True),  # too old to be what the list asks for
    ],
)
def test_a_pass_of_the_day_before_closes_a_line_that_did_not_know_of_it(
    database: FarmDatabase,
    spring: Morning,
    happened_at: datetime,
    recorded_at: datetime,
    is_open: bool,
) -> None:
    write_weather(database)
    write_list(database, spring)
    log(database, "pass", "B4", happened_at, {"tool": "sweeps"}, recorded_at=recorded_at)
    assert (1 in places(news(database, next_day(spring)))) == is_open


def test_a_visit_in_vain_told_late_leaves_the_line_open(
    database: FarmDatabase, spring: Morning
) -> None:
    write_weather(database)
    write_list(database, spring)
    found = {"tool": "sweeps", "worked": False, "found": "too wet"}
    log(database, "pass", "B4", at(13, 12), found, recorded_at=at(14, 20))
    assert 1 in places(news(database, next_day(spring)))


def test_the_list_whose_numbers_hold_is_the_last_of_its_day(
    database: FarmDatabase, spring: Morning
) -> None:
    """Read again at noon, the numbers are new; what is asked for tomorrow does not count yet."""
    farm = spring.farm
    write_list(database, spring)
    noon = replace(spring, as_of=at(14, 12), beds=spring.beds[1:])
    write_list(database, noon)
    write_list(database, next_day(spring))
    for now, expected in ((at(14, 11), YESTERDAY), (at(14, 13), at(14, 12))):
        found = list_of_day(database, farm, date(2013, 5, 14), now)
        assert found is not None
        assert datetime.fromisoformat(found["as_of"]) == expected
    last = list_before(database, farm, date(2013, 5, 15), TODAY)
    assert last is not None
    assert datetime.fromisoformat(last["as_of"]) == at(14, 12)
    assert list_before(database, farm, date(2013, 5, 14), TODAY) is None


# ------------------------------------------------------------------------- rain


def test_rain_that_was_not_in_sight(told: Told) -> None:
    fell = {at(14, 19): 6.0, at(14, 20): 7.5, at(15, 1): 0.5}
    assert told(fell) == ("Yesterday's list had no rain in sight; 14 mm fell from 19:00.",)


def test_rain_after_midnight_has_its_day(told: Told) -> None:
    assert told({at(15, 2): 4.0}) == (
        "Yesterday's list had no rain in sight; 4 mm fell from 02:00 today.",
    )


@pytest.mark.parametrize(
    "fell",
    [
        {},
        {at(14, 19): 1.4},  # too little for a line
        {at(14, 3): 9.0},  # before the list, which knew of it
    ],
)
def test_rain_that_was_as_it_said(told: Told, fell: Rain) -> None:
    assert told(fell) == ()


def test_rain_foreseen_is_no_news(told: Told, spring: Morning) -> None:
    """3 in 10 from 18:00 on: it rained, at about that hour."""
    ahead = RainAhead(at(14, 18), 0.3, Range(0.0, 0.0, 6.0))
    found = told({at(14, 17): 14.0}, yesterday=replace(spring, rain_ahead=ahead))
    assert found == ()


def test_rain_well_before_its_hour(told: Told, spring: Morning) -> None:
    ahead = RainAhead(at(14, 20), 0.8, Range(0.0, 5.0, 9.0))
    found = told({at(14, 11): 6.0, at(14, 21): 6.0}, yesterday=replace(spring, rain_ahead=ahead))
    assert found == ("Yesterday's list had rain from 20:00 on; 6 mm fell before that, from 11:00.",)


def test_without_a_forecast_the_list_had_said_nothing(told: Told, spring: Morning) -> None:
    assert told({at(14, 19): 14.0}, yesterday=replace(spring, rain_ahead=None)) == ()


def test_a_list_of_an_older_version_holds_no_rain(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database, {at(14, 19): 14.0})
    old = answer(spring)
    del old["rain_ahead"]
    database.write_list(YESTERDAY, YESTERDAY, old)
    assert news(database, next_day(spring)).corrections == ()


def test_a_model_s_rain_is_called_so(told: Told) -> None:
    assert told({at(14, 19): 14.0}, kind=Kind.MODEL) == (
        "Yesterday's list had no rain in sight; 14 mm fell from 19:00, by the model.",
    )


def test_rain_that_was_only_forecast_has_not_fallen(
    database: FarmDatabase, spring: Morning
) -> None:
    """The station fell silent at 15:00, and a forecast of noon had 14 mm for the evening."""
    write_weather(database, silent_from=at(14, 15).astimezone(UTC))
    write_list(database, spring)
    start = at(14, 12).astimezone(UTC)
    rain = np.zeros(48)
    rain[7] = 14.0
    values = {"rain_mm": rain, "air_temp_c": np.full(48, 14.0)}
    database.add_forecast(Forecast("made", start, start, start, values))
    assert news(database, next_day(spring)).corrections == ()


def test_the_gauge_alone_tells_how_much_not_when(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database, silent_from=at(14, 4).astimezone(UTC))
    write_list(database, spring)
    span = {"start_at": at(14, 7).isoformat(), "end_at": at(15, 5).isoformat()}
    log(database, "rain", None, at(15, 5), {"rain_mm": 18.0, **span})
    assert news(database, next_day(spring)).corrections == (
        "Yesterday's list had no rain in sight; 18 mm fell.",
    )


def test_rain_all_but_promised_that_stayed_away(told: Told, spring: Morning) -> None:
    ahead = RainAhead(at(14, 18), 0.92, Range(4.0, 7.0, 12.0))
    assert told(yesterday=replace(spring, rain_ahead=ahead)) == (
        "Yesterday's list had rain from 18:00, 9 in 10; none fell; C11 waited for it.",
    )


def test_rain_at_once_that_stayed_away(told: Told, spring: Morning) -> None:
    ahead = RainAhead(at(14, 5), 0.97, Range(4.0, 7.0, 12.0))
    dry = replace(spring, rain_ahead=ahead, beds=spring.beds[:8])
    assert told(yesterday=dry) == (
        "Yesterday's list had rain within three hours, over 9 in 10; none fell.",
    )


@pytest.mark.parametrize(
    ("chance", "fell", "weather"),
    [
        (0.7, {}, {}),  # 7 in 10: three times in ten it stays dry
        (0.92, {at(14, 22): 0.5}, {}),  # a little is not none
        (0.92, {}, {"silent_from": at(14, 15).astimezone(UTC)}),  # nobody knows
    ],
)
def test_rain_that_may_stay_away(
    told: Told, spring: Morning, chance: float, fell: Rain, weather: dict[str, Any]
) -> None:
    ahead = RainAhead(at(14, 18), chance, Range(0.0, 7.0, 12.0))
    assert told(fell, yesterday=replace(spring, rain_ahead=ahead), **weather) == ()


def test_a_gauge_read_late_changes_what_the_list_reckoned_with(
    database: FarmDatabase, spring: Morning
) -> None:
    write_weather(database, {at(12, 15): 2.0, at(12, 16): 1.0})
    write_list(database, spring)
    span = {"start_at": at(12, 7).isoformat(), "end_at": at(13, 7).isoformat()}
    log(database, "rain", None, at(13, 7), {"rain_mm": 18.0, **span}, recorded_at=at(14, 20))
    assert news(database, next_day(spring)).corrections == (
        "Yesterday's list reckoned with 3 mm of rain on 12 May; your gauge says 18 mm.",
    )


@pytest.mark.parametrize("recorded_at", [at(13, 8), at(14, 5)])
def test_a_gauge_read_in_time_is_no_news(
    database: FarmDatabase, spring: Morning, recorded_at: datetime
) -> None:
    write_weather(database, {at(12, 15): 2.0, at(12, 16): 1.0})
    write_list(database, spring)
    span = {"start_at": at(12, 7).isoformat(), "end_at": at(13, 7).isoformat()}
    log(database, "rain", None, at(13, 7), {"rain_mm": 18.0, **span}, recorded_at=recorded_at)
    assert news(database, next_day(spring)).corrections == ()


# ------------------------------------------------------------------------- beds


def test_a_pass_that_was_good_for_days_and_is_not_to_be_had(told: Told, spring: Morning) -> None:
    """B5 and B1 were good until Thu 18:00; 14 mm later they are too wet until Friday."""
    wet = wait(at(17, 9))
    today = next_day(spring, B5=wet, B1=wait(at(17, 15)))
    rain, beds = told({at(14, 19): 14.0}, today=today)
    assert rain == "Yesterday's list had no rain in sight; 14 mm fell from 19:00."
    assert beds == (
        "Yesterday B5 and B1 were good until Thu 18:00; too wet, not before Fri 09:00, "
        "after 14 mm of rain."
    )


@pytest.mark.parametrize(
    "answer_today",
    [
        wait(at(16, 12)),  # dry again before it is too late: as the list said
        wait(at(17, 9), "rain_after"),  # the forecast changed, nothing is known to be wrong
        {"verdict": "hand", "because": "no_fit", "action": None},  # a judgement, not a fact
        {},
    ],
)
def test_a_pass_that_is_still_good_or_is_judged_anew(
    told: Told, spring: Morning, answer_today: dict[str, Any]
) -> None:
    assert told(today=next_day(spring, B5=answer_today)) == ()


def test_a_pass_that_was_made_is_not_missed(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    write_list(database, spring)
    done(database, "B5")
    assert news(database, next_day(spring, B5=wait(at(17, 9)))).corrections == ()


def test_too_hard_has_no_rain_to_blame(told: Told, spring: Morning) -> None:
    today = next_day(spring, B5=wait(at(20, 9), "hard"))
    found = told({at(14, 6): 1.5}, today=today)
    assert found == ("Yesterday B5 was good until Thu 18:00; too hard, not before Mon 09:00.",)


def test_beyond_sight_is_said_so(told: Told, spring: Morning) -> None:
    why = ("wet at 30 mm; not within the days in sight",)
    found = told(today=next_day(spring, B5=wait(at(25, 5), why=why)))
    assert found == (
        "Yesterday B5 was good until Thu 18:00; too wet, not within the days in sight.",
    )


def test_a_line_beyond_the_hours_was_good_as_well(told: Told, spring: Morning) -> None:
    left = replace(spring.not_reached[0], **wait(at(17, 9)))
    today = replace(next_day(spring), beds=(*next_day(spring).beds, left), not_reached=())
    assert told(today=today) == (
        "Yesterday B6 was good until Thu 18:00; too wet, not before Fri 09:00.",
    )


def dried_by(spring: Morning, until: datetime, *names: str) -> Morning:
    """Yesterday, with beds that were to be dry by an hour of today."""
    changed = {name: {"until": until} for name in names}
    return replace(next_day(spring, **changed), as_of=YESTERDAY, day=spring.day, rain_ahead=NO_RAIN)


def test_beds_that_were_to_be_dry_by_now(told: Told, spring: Morning) -> None:
    yesterday = dried_by(spring, at(15, 12), "C1", "C2", "C3", "C4", "C5")
    beds = {name: {"until": at(17, 9)} for name in ("C1", "C2", "C3", "C4", "C5")}
    today = next_day(spring, **beds)
    assert told({at(14, 8): 1.6}, yesterday=yesterday, today=today) == (
        "Yesterday C1, C2, C3 and 2 more were to be dry by 12:00 today; not before Fri 09:00, "
        "after 2 mm of rain.",
    )


def test_a_few_hours_more_are_no_news(told: Told, spring: Morning) -> None:
    yesterday = dried_by(spring, at(15, 12), "C1")
    assert told(yesterday=yesterday, today=next_day(spring, C1={"until": at(16, 9)})) == ()


def test_a_bed_that_dried_a_day_sooner(told: Told, spring: Morning) -> None:
    action = Action("sweeps", None, 25.0, at(15, 10), at(15, 18), 6.0, 0.0)
    go = {"verdict": "go", "because": "", "until": None, "action": action, "rank": 9}
    assert told(today=next_day(spring, C1=go)) == (
        "Yesterday C1 was too wet until Thu 12:00; it can be worked from 10:00 today.",
    )
    late = replace(action, start=at(16, 9))
    assert told(today=next_day(spring, C1={**go, "action": late})) == ()


def test_after_rain_no_bed_is_told_to_have_dried_sooner(told: Told, spring: Morning) -> None:
    action = Action("sweeps", None, 25.0, at(15, 10), at(15, 18), 6.0, 0.0)
    go = {"verdict": "go", "because": "", "until": None, "action": action, "rank": 9}
    assert told({at(14, 8): 1.2}, today=next_day(spring, C1=go)) == ()


# ------------------------------------------------------------------- what was found


def test_soil_found_too_wet_in_the_hours_of_its_line(
    database: FarmDatabase, spring: Morning
) -> None:
    write_weather(database)
    write_list(database, spring)
    done(database, "B4", hour=11, worked=False, found="too wet")
    assert news(database, next_day(spring)).corrections == (
        "Yesterday B4 was to be fit from 10:30; you found the soil too wet at 11:00.",
    )


@pytest.mark.parametrize(
    ("bed", "hour", "data"),
    [
        ("B4", 8, {"worked": False, "found": "too wet"}),  # before its hours
        ("B4", 11, {"worked": True, "how": "well"}),  # as it said
        ("B4", 11, {"worked": False}),  # not worked, and nobody says why
        ("C1", 11, {"worked": False, "found": "too wet"}),  # as it said
        ("C1", 11, {}),  # a pass in wet soil does not say that it was fit
        ("C1", 11, {"worked": True, "how": "poorly"}),
    ],
)
def test_visits_that_found_it_as_it_was_said(
    database: FarmDatabase, spring: Morning, bed: str, hour: int, data: dict[str, Any]
) -> None:
    write_weather(database)
    write_list(database, spring)
    done(database, bed, hour=hour, **data)
    assert news(database, next_day(spring)).corrections == ()


def test_a_squeezed_handful_outranks_the_list(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    write_list(database, spring)
    log(database, "feel", "A4", at(14, 9), {"feel": "smears"})  # fit since the morning
    log(database, "feel", "C1", at(14, 9, 30), {"feel": "crumbles"})  # wet until Thursday
    log(database, "feel", "C2", at(14, 9), {"feel": "wet"})  # as it said
    log(database, "feel", "A6", at(14, 9), {"feel": "crumbles"})  # as it said
    assert set(news(database, next_day(spring)).corrections) == {
        "Yesterday A4 was to be fit from 05:30; the soil smeared in your hand at 09:00.",
        "Yesterday C1 was too wet until Thu 12:00; it crumbled in your hand at 09:30.",
    }


def test_worked_well_where_it_was_to_be_too_wet(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    write_list(database, spring)
    done(database, "C1", hour=15, worked=True, how="well")
    assert news(database, next_day(spring)).corrections == (
        "Yesterday C1 was too wet until Thu 12:00; you worked there well at 15:00.",
    )


def test_hours_before_it_was_to_be_dry_are_no_news(database: FarmDatabase, spring: Morning) -> None:
    beds = tuple(replace(b, until=at(14, 17)) if b.bed == "C1" else b for b in spring.beds)
    write_weather(database)
    write_list(database, replace(spring, beds=beds))
    done(database, "C1", hour=13, worked=True, how="well")
    assert news(database, next_day(spring)).corrections == ()


def strip(silt: float, rest: float = 0.9) -> DayStrip:
    """Hours around this morning; the chance of silt loam, as is known now, all through."""
    start = at(14, 5).astimezone(UTC)
    n = 72
    local = [(start + i * HOUR).astimezone(ZONE) for i in range(n)]
    return DayStrip(
        start,
        24,
        np.zeros(n),
        np.zeros(n),
        {},
        {name: np.full(n, silt if name == "silt loam" else rest) for name in
         ("sandy loam", "silt loam", "clay loam")},
        np.array([7 <= moment.hour < 19 for moment in local]),
    )  # fmt: skip


def all_fit(spring: Morning) -> Morning:
    """Yesterday, with every silt loam bed fit from 10:30."""
    beds = tuple(
        replace(bed, soil=replace(bed.soil, workable_from=at(14, 10, 30)))
        if bed.soil_name == "silt loam"
        else bed
        for bed in spring.beds
    )
    return replace(spring, beds=beds)


def test_a_soil_that_was_not_fit_all_day(told: Told, spring: Morning) -> None:
    today = replace(next_day(spring), strip=strip(0.2))
    assert told({at(14, 7): 1.5}, yesterday=all_fit(spring), today=today) == (
        "Yesterday's list had silt loam fit from 10:30; by what is known now it was unfit all day, "
        "after 2 mm of rain.",
    )


@pytest.mark.parametrize("chance", [0.5, 0.9])
def test_a_soil_that_was_fit_or_may_have_been(told: Told, spring: Morning, chance: float) -> None:
    today = replace(next_day(spring), strip=strip(chance))
    assert told(yesterday=all_fit(spring), today=today) == ()


def look(database: FarmDatabase, bed: str, **counts: Any) -> None:
    log(database, "look", bed, at(14, 9), counts)


def seen(spring: Morning, bed: str, **weeds: tuple[float, float, float]) -> Morning:
    ranges = {f"{stage}_m2": Range(*span) for stage, span in weeds.items()}
    beds = tuple(replace(b, weeds=ranges) if b.bed == bed else b for b in spring.beds)
    return replace(spring, beds=beds)


def test_far_more_weeds_than_the_list_held_for_possible(
    database: FarmDatabase, spring: Morning
) -> None:
    write_weather(database)
    write_list(database, seen(spring, "A6", seed_leaf=(0, 2, 12), true_leaf=(0, 1, 8)))
    look(database, "A6", seed_leaf=200.0, true_leaf=40.0)
    assert news(database, next_day(spring)).corrections == (
        "Yesterday A6 was to have at most 20 weeds/m2; you counted 240/m2.",
    )


def test_far_fewer_weeds(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    stages = dict.fromkeys(("thread", "seed_leaf", "true_leaf", "young", "established"), (0, 0, 0))
    write_list(database, seen(spring, "B4", **{**stages, "thread": (90, 300, 700)}))
    look(database, "B4", nothing=True)
    assert news(database, next_day(spring)).corrections == (
        "Yesterday B4 was to have at least 90 weeds/m2; you found none.",
    )


@pytest.mark.parametrize("counted", [0.0, 8.0, 20.0, 29.0])
def test_a_look_within_reach_of_the_list_is_no_news(
    database: FarmDatabase, spring: Morning, counted: float
) -> None:
    write_weather(database)
    write_list(database, seen(spring, "A6", seed_leaf=(2, 10, 20)))
    look(database, "A6", seed_leaf=counted)
    assert news(database, next_day(spring)).corrections == ()


def test_a_look_after_a_pass_says_nothing_of_the_list(
    database: FarmDatabase, spring: Morning
) -> None:
    write_weather(database)
    write_list(database, seen(spring, "B4", seed_leaf=(90, 300, 700)))
    done(database, "B4", hour=8)
    look(database, "B4", seed_leaf=3.0)
    assert news(database, next_day(spring)).corrections == ()


# ------------------------------------------------------------------------ together


def test_at_most_three_and_the_costliest_first(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database, {at(14, 19): 14.0})
    beds = tuple(
        replace(bed, minutes={"cost_of_waiting": Range(5.0, 40.0, 90.0)})
        if bed.bed == "B5"
        else bed
        for bed in spring.beds
    )
    yesterday = seen(replace(spring, beds=beds), "A6", seed_leaf=(0, 2, 12))
    write_list(database, yesterday)
    look(database, "A6", seed_leaf=240.0)
    done(database, "B4", hour=11, worked=False, found="too wet")
    today = next_day(spring, B5=wait(at(17, 9)))
    rain, bed, visit = news(database, today).corrections
    assert rain.startswith("Yesterday's list had no rain")
    assert bed.startswith("Yesterday B5 was good until")
    assert visit.startswith("Yesterday B4 was to be fit from")


def test_a_dear_visit_comes_before_a_little_rain(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database, {at(14, 19): 2.5})
    beds = tuple(
        replace(bed, minutes={"saved": Range(20.0, 120.0, 400.0)}) if bed.bed == "B4" else bed
        for bed in spring.beds
    )
    write_list(database, replace(spring, beds=beds))
    done(database, "B4", hour=11, worked=False, found="too wet")
    visit, rain = news(database, next_day(spring)).corrections
    assert visit.startswith("Yesterday B4 was to be fit")
    assert rain.startswith("Yesterday's list had no rain")


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (12, ("Sunday's list had no rain in sight; 14 mm fell from 19:00.",)),
        (11, ()),  # four days old: the list made no statement that reaches here
    ],
)
def test_an_older_list_has_its_day(
    database: FarmDatabase, spring: Morning, day: int, expected: Sequence[str]
) -> None:
    write_weather(database, {at(day, 19): 14.0})
    write_list(database, replace(spring, as_of=at(day, 5, 30), day=date(2013, 5, day)))
    assert news(database, next_day(spring)).corrections == tuple(expected)


def test_only_what_was_known_by_now(database: FarmDatabase, spring: Morning) -> None:
    """A station that told its rain a day late has not told it yet."""
    write_weather(database, {at(14, 19): 14.0}, late=timedelta(days=1))
    write_list(database, spring)
    assert news(database, next_day(spring)).corrections == ()


def test_a_bed_that_left_the_farm_is_passed_over(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    write_list(database, spring)
    whole = next_day(spring)
    farm = replace(whole.farm, beds=whole.farm.beds[8:])
    kept: tuple[BedAnswer, ...] = tuple(bed for bed in whole.beds if not bed.bed.startswith("A"))
    found = replace(whole, farm=farm, beds=kept, strip=strip(0.9))
    assert news(database, found).corrections == ()


def test_no_sentence_of_a_name_is_longer_than_it_says(
    database: FarmDatabase, spring: Morning
) -> None:
    """Hostile names are handed on as they are; the mail cleans them."""
    name = "B4\nX: <b>" + "long " * 40
    beds = tuple(replace(bed, bed=name) if bed.bed == "B5" else bed for bed in spring.beds)
    write_weather(database)
    write_list(database, replace(spring, beds=beds))
    today = replace(
        next_day(spring),
        beds=tuple(
            replace(bed, **wait(at(17, 9))) if bed.bed == name else bed
            for bed in next_day(replace(spring, beds=beds)).beds
        ),
    )
    (sentence,) = news(database, today).corrections
    assert name in sentence


def test_sentences_take_the_grower_s_units(told: Told, spring: Morning) -> None:
    """The mail puts them into inches and square feet as it does with every sentence."""
    (rain,) = told({at(14, 19): 14.0})
    assert (
        grower_text(rain, "us") == "Yesterday's list had no rain in sight; 0.6 in fell from 19:00."
    )


def test_counts_take_the_grower_s_units(database: FarmDatabase, spring: Morning) -> None:
    write_weather(database)
    write_list(database, seen(spring, "A6", seed_leaf=(0, 2, 20)))
    look(database, "A6", seed_leaf=240.0)
    (told,) = news(database, next_day(spring)).corrections
    assert grower_text(told, "us") == (
        "Yesterday A6 was to have at most 1.9 weeds/sq ft in seed leaf; you counted 22/sq ft."
    )
