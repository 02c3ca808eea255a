"""What is due at a moment: by the wall clock of the farm, the ledger and nothing else."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

import pytest

from scheduler.adapters.mail.due import (
    LARGEST_JITTER,
    WEATHER_LEAD,
    DoneSoFar,
    MailTimes,
    due_tasks,
    jitter,
    next_morning_at,
)

NEW_YORK = ZoneInfo("America/New_York")
TIMES = MailTimes("Alder Bend", NEW_YORK, time(5, 30), time(11))
DAY = date(2013, 5, 14)
NONE = DoneSoFar()


def at(hour: int, minute: int = 0, day: int = 14) -> datetime:
    return datetime(2013, 5, day, hour, minute, tzinfo=NEW_YORK)


@pytest.mark.parametrize(
    ("now", "tasks"),
    [
        (at(4), ()),
        (at(5, 14), ()),
        (at(5, 26), ("weather",)),
        (at(5, 30), ("morning",)),
        (at(10, 59), ("morning",)),
        (at(11), ()),
        (at(23, 59), ()),
    ],
)
def test_a_day_of_which_nothing_is_done(now: datetime, tasks: tuple[str, ...]) -> None:
    assert due_tasks(TIMES, NONE, now) == tasks
    assert due_tasks(TIMES, NONE, now.astimezone(UTC)) == tasks


def test_what_is_done_is_not_due_again() -> None:
    assert due_tasks(TIMES, DoneSoFar(weather_on=DAY), at(5, 26)) == ()
    assert due_tasks(TIMES, DoneSoFar(morning_on=DAY), at(5, 26)) == ()
    assert due_tasks(TIMES, DoneSoFar(morning_on=DAY), at(6)) == ()
    assert due_tasks(TIMES, DoneSoFar(morning_on=DAY), at(6, day=15)) == ("morning",)
    assert due_tasks(TIMES, DoneSoFar(weather_on=DAY), at(5, 30)) == ("morning",)


def test_an_evening_note_only_where_it_is_wanted() -> None:
    wanted = replace(TIMES, has_evening_note=True)
    done = DoneSoFar(morning_on=DAY)
    assert due_tasks(TIMES, done, at(19)) == ()
    assert [due_tasks(wanted, done, at(*hour)) for hour in ((18, 59), (19,), (21, 59), (22,))] == [
        (),
        ("evening",),
        ("evening",),
        (),
    ]
    assert due_tasks(wanted, replace(done, evening_on=DAY), at(19)) == ()


def test_the_outbox_is_tried_when_its_time_has_come() -> None:
    waiting = DoneSoFar(morning_on=DAY, next_try_at=at(5, 45))
    assert due_tasks(TIMES, waiting, at(5, 44)) == ()
    assert due_tasks(TIMES, waiting, at(5, 45)) == ("post",)
    old = DoneSoFar(morning_on=date(2013, 5, 13), next_try_at=at(5, 29))
    assert due_tasks(TIMES, old, at(5, 31)) == ("morning", "post")


def test_weather_is_asked_for_at_another_moment_each_day_and_on_each_farm() -> None:
    days = [DAY + timedelta(days=n) for n in range(100)]
    waits = [jitter("Alder Bend", day) for day in days]
    assert all(timedelta(0) <= wait <= LARGEST_JITTER < WEATHER_LEAD for wait in waits)
    assert len(set(waits)) > 80
    assert max(waits) - min(waits) > timedelta(minutes=8)
    assert waits != [jitter("Birch Hollow", day) for day in days]
    for day, wait in zip(days, waits, strict=True):
        first = datetime.combine(day, time(5, 30), NEW_YORK) - WEATHER_LEAD + wait
        assert due_tasks(TIMES, NONE, first - timedelta(seconds=1)) == ()
        assert due_tasks(TIMES, NONE, first) == ("weather",)


def test_a_mail_just_after_midnight_asks_for_weather_no_day_early() -> None:
    times = replace(TIMES, send_at=time(0, 1))
    assert due_tasks(times, NONE, at(23, 59, 13)) == ()
    assert due_tasks(times, NONE, at(0)) == ("weather",)
    assert due_tasks(times, NONE, at(0, 1)) == ("morning",)


def test_a_clock_behind_the_ledger_decides_nothing() -> None:
    """A small computer without a clock of its own starts with an old date."""
    done = DoneSoFar(morning_on=DAY, last_written_at=at(5, 30))
    assert due_tasks(TIMES, done, at(6, day=1)) == ()
    assert due_tasks(TIMES, done, at(6, day=15)) == ("morning",)
    # the hour that comes twice in autumn is no such clock: moments, not wall times, are compared
    autumn = datetime(2013, 11, 3, 6, 30, tzinfo=UTC)
    late = DoneSoFar(last_written_at=autumn - timedelta(minutes=40), next_try_at=autumn)
    assert due_tasks(TIMES, late, autumn) == ("post",)


def test_the_next_morning_mail() -> None:
    assert next_morning_at(TIMES, NONE, at(4)) == at(5, 30)
    assert next_morning_at(TIMES, NONE, at(7)) == at(7)
    assert next_morning_at(TIMES, NONE, at(12)) == at(5, 30, 15)
    assert next_morning_at(TIMES, DoneSoFar(morning_on=DAY), at(7)) == at(5, 30, 15)
    # 05:30 by the wall clock on both sides of a change of the clocks
    before = datetime(2013, 3, 9, 12, tzinfo=NEW_YORK)
    assert next_morning_at(TIMES, NONE, before) == datetime(2013, 3, 10, 9, 30, tzinfo=UTC)


YEARS = [
    ("America/New_York", time(5, 30), time(11)),
    ("Europe/Berlin", time(4), time(9)),
    ("Australia/Lord_Howe", time(5, 30), time(11)),  # its clocks change by half an hour
    ("America/Havana", time(0, 10), time(6)),  # its clocks change at midnight: no 00:10 one day
    ("Asia/Kolkata", time(5, 30), time(11)),
]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize(("zone_name", "send_at", "cut_off"), YEARS)
def test_a_year_with_sleeps_and_restarts(
    zone_name: str, send_at: time, cut_off: time, seed: int
) -> None:
    """One morning mail on each day on which the computer was awake in its hours, and no other."""
    random = Random(f"{zone_name} {seed}")
    zone = ZoneInfo(zone_name)
    times = MailTimes("a farm", zone, send_at, cut_off, has_evening_note=seed % 2 == 1)
    now = datetime(2013, 1, 1, tzinfo=UTC)
    end = datetime(2014, 1, 3, tzinfo=UTC)
    done = NONE
    made: dict[tuple[str, date], int] = {}
    awake: dict[date, datetime] = {}
    asked_early: set[date] = set()
    while now < end:
        local = now.astimezone(zone)
        if send_at <= local.time() < cut_off:
            awake.setdefault(local.date(), now)
        for task in due_tasks(times, done, now):
            if task == "weather":
                assert done.weather_on != local.date()
                asked_early.add(local.date())
                done = replace(done, weather_on=local.date())
            elif task in ("morning", "evening"):
                key = (task, local.date())
                made[key] = made.get(key, 0) + 1
                assert task == "evening" or now == awake[local.date()]
                done = replace(done, **{f"{task}_on": local.date()}, last_written_at=now)
        if random.random() < 0.1:
            done = replace(done, weather_on=None)  # a restart forgets what only memory held
        step = timedelta(minutes=1)
        if random.random() < 0.002:
            step = timedelta(minutes=random.choice((7, 90, 600, 2000)))  # asleep
        elif not send_at.hour - 1 <= local.hour <= cut_off.hour:
            step = timedelta(minutes=random.choice((1, 20, 50)))
        now += step
    mornings = {day for task, day in made if task == "morning"}
    assert set(made.values()) == {1}
    assert mornings == set(awake)
    assert 250 < len(mornings) < 368
    assert len(asked_early) > 70
    assert bool({day for task, day in made if task == "evening"}) == times.has_evening_note
