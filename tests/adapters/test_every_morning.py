"""The long-running job: what it does in a minute, its children, its end, and a year of mornings."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock
from email.message import EmailMessage
from functools import partial
from pathlib import Path
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from scheduler.adapters.every_morning import ChildWork, DiedError, FarmWatch, StoppedError, run
from scheduler.adapters.farmfile import Answers, write_new_farm
from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.mail import daily, outbox
from scheduler.adapters.mail.due import DoneSoFar, MailTimes
from scheduler.adapters.mail.outcome import (
    DIRECT,
    NOTHING_DUE,
    PENDING,
    SENT,
    SETTINGS,
    DayOutcome,
)
from scheduler.adapters.mail.settings import MailSettings
from scheduler.adapters.render.phrases import dated_words
from scheduler.errors import JournalError, MailPostponedError, MailSettingsError
from scheduler.records import Farm
from tests.adapters import child_targets

ROOT = Path(__file__).parents[2]
ZONE = ZoneInfo("America/New_York")
TIMES = MailTimes("a farm", ZONE, clock(5, 30), clock(11), has_evening_note=True)
FOLDER = Path("farm")


OUTCOME, NOTHING_DONE = DayOutcome(SENT, ("sent",)), DoneSoFar()


def at(hour: int, minute: int = 0, day: int = 14) -> datetime:
    return datetime(2013, 5, day, hour, minute, tzinfo=ZONE)


@dataclass
class Made:
    """A farm whose ledger and work are made up; what was asked of them is kept."""

    outcome: DayOutcome | Exception = OUTCOME
    done: DoneSoFar | Exception = NOTHING_DONE
    asked: list[tuple[str, ...]] = field(default_factory=list)
    faults: list[str | None] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def look(self, folder: Path, now: datetime) -> tuple[MailTimes, DoneSoFar]:
        if isinstance(self.done, Exception):
            raise self.done
        return TIMES, self.done

    def work(
        self, folder: Path, tasks: Sequence[str], now: datetime, fault: str | None
    ) -> DayOutcome:
        self.asked.append(tuple(tasks))
        self.faults.append(fault)
        if isinstance(self.outcome, Exception):
            raise self.outcome
        return self.outcome

    def watch(self) -> FarmWatch:
        return FarmWatch(FOLDER, self.look, self.work, self.told.append)


# ------------------------------------------------------------------ one minute


def test_weather_is_asked_for_once_before_the_mail_and_not_again_with_it() -> None:
    made = Made(DayOutcome(NOTHING_DUE))
    watch = made.watch()
    for minute in range(15, 30):
        watch.tick(at(5, minute))
    assert made.asked == [("weather",)]
    watch.tick(at(5, 30))
    assert made.asked[1:] == [("morning",)]


def test_weather_that_could_not_be_had_is_asked_for_with_the_mail() -> None:
    made = Made(DayOutcome(PENDING))
    watch = made.watch()
    for minute in range(15, 31):
        watch.tick(at(5, minute))
    assert made.asked == [("weather",), ("weather", "morning")]


def test_weather_is_not_fresh_for_long() -> None:
    made = Made(DayOutcome(NOTHING_DUE))
    watch = made.watch()
    watch.tick(at(5, 29))
    watch.tick(at(9))  # slept in between
    assert made.asked == [("weather",), ("weather", "morning")]


def test_a_mail_that_was_not_made_is_tried_again_later() -> None:
    made = Made(DayOutcome(NOTHING_DUE, ("another process makes it",)))
    watch = made.watch()
    minutes = [at(6) + timedelta(minutes=n) for n in range(40)]
    for now in minutes:
        watch.tick(now)
    assert len(made.asked) == 3
    assert all("morning" in tasks for tasks in made.asked)


def test_the_outbox_is_tried_each_time_its_moment_comes() -> None:
    made = Made(DayOutcome(PENDING), DoneSoFar(morning_on=date(2013, 5, 14), next_try_at=at(6)))
    watch = made.watch()
    for minute in range(58, 60):
        watch.tick(at(5, minute))
    for minute in range(3):
        watch.tick(at(6, minute))
    assert made.asked == [("post",)] * 3


def test_wrong_settings_are_not_tried_each_minute_unless_the_farm_file_changes(
    tmp_path: Path,
) -> None:
    made = Made(DayOutcome(SETTINGS, (), ("farm.toml, [mail] user: wrong",)))
    watch = replace(made.watch(), folder=tmp_path)
    (tmp_path / "farm.toml").write_text("one")
    for minute in range(29):
        watch.tick(at(6, minute))
    assert len(made.asked) == 1
    (tmp_path / "farm.toml").write_text("another")
    watch.tick(at(6, 29))
    assert len(made.asked) == 2
    assert made.told == [f"{tmp_path}: farm.toml, [mail] user: wrong"] * 2
    for minute in range(59):
        watch.tick(at(6, minute) + timedelta(minutes=30))
    assert len(made.asked) == 3


def test_what_stands_in_the_way_is_told_once_until_it_changes() -> None:
    made = Made(done=MailSettingsError("farm.toml, [mail] to: is missing"))
    watch = made.watch()
    assert watch.first_words(at(5)) == ("farm.toml, [mail] to: is missing", False)
    watch.tick(at(6))
    assert made.told == []
    made.done = MailSettingsError("farm.toml, [mail] host: is missing")
    for minute in range(5):
        watch.tick(at(6, minute))
    assert made.told == ["farm: farm.toml, [mail] host: is missing"]
    made.done = DoneSoFar()
    watch.tick(at(6, 6))
    assert made.told[1:] == ["farm: sent"]
    assert watch.first_words(at(12)) == (
        "next morning mail Wed 15 May 05:30, America/New_York",
        True,
    )


def test_a_clock_behind_the_ledger_is_told_and_not_believed() -> None:
    made = Made(done=DoneSoFar(last_written_at=at(6, day=20)))
    watch = made.watch()
    for minute in range(29):
        watch.tick(at(6, minute))
    (line,) = made.told
    assert "the clock lies before the last entry of the ledger (2013-05-20 06:00:00-04:00)" in line
    assert made.asked == []
    watch.tick(at(6, 29))  # if it is still the same, the ledger was written by a wrong clock
    assert made.asked == [("weather", "morning")]


def test_work_that_dies_is_tried_again_and_then_becomes_a_mail_of_a_fault() -> None:
    made = Made(DiedError("the work ended before its time (signal SIGKILL: out of memory?)"))
    watch = made.watch()
    for minute in range(12):
        watch.tick(at(6, minute))
    assert made.faults[:2] == [None, None]
    assert made.faults[2] is not None
    assert made.faults[2].endswith("(signal SIGKILL: out of memory?), 2 times")
    assert len(made.faults) == 3
    assert made.told[0].endswith("next try in 5 min")
    made.outcome = DayOutcome(SENT)
    watch.tick(at(6, day=15))
    assert made.faults[3] is None


def test_what_was_told_without_a_ledger_is_not_told_again_that_morning() -> None:
    made = Made(DayOutcome(DIRECT))
    watch = made.watch()
    for minute in range(0, 300, 7):
        watch.tick(at(6) + timedelta(minutes=minute))
    assert [tasks for tasks in made.asked if "morning" in tasks] == [("weather", "morning")]


def test_an_evening_without_a_note_is_looked_at_once() -> None:
    made = Made(DayOutcome(NOTHING_DUE), DoneSoFar(morning_on=date(2013, 5, 14)))
    watch = made.watch()
    for minute in range(120):
        watch.tick(at(19) + timedelta(minutes=minute))
    assert made.asked == [("evening",)]


def test_a_ledger_in_use_at_the_start_is_no_reason_to_give_up() -> None:
    busy = Made(done=JournalError("farm.db: another program is writing to it"))
    assert busy.watch().first_words(at(5)) == (str(busy.done), True)
    wrong = Made(done=MailSettingsError("farm.toml, [mail] to: is missing"))
    assert wrong.watch().first_words(at(5)) == (str(wrong.done), False)


# -------------------------------------------------------------------- children


def test_the_work_is_done_in_another_process(tmp_path: Path) -> None:
    found = ChildWork(child_targets.tells)(tmp_path, ("weather", "morning"), at(5, 30), "a fault")
    assert found.lines[0] == f"{tmp_path.name} weather,morning 05:30 a fault"
    assert int(found.lines[1]) != os.getpid()


def test_a_child_that_dies_or_fails_says_how(capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(DiedError, match="signal SIGKILL: out of memory"):
        ChildWork(child_targets.dies)(FOLDER, ("morning",), at(6), None)
    with pytest.raises(DiedError, match=r"a fault of the program: ZeroDivisionError: by zero$"):
        ChildWork(child_targets.fails)(FOLDER, ("morning",), at(6), None)
    assert "Traceback" in capfd.readouterr().err


def test_a_child_that_hangs_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scheduler.adapters.every_morning.LONGEST_WORK_S", 0.5)
    with pytest.raises(DiedError, match="did not end within"):
        ChildWork(child_targets.sleeps)(tmp_path, ("morning",), at(6), None)


def test_no_work_begins_after_the_end() -> None:
    work = ChildWork(child_targets.tells)
    work.end()
    with pytest.raises(StoppedError):
        work(FOLDER, ("morning",), at(6), None)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_the_job_and_its_child_at_once(tmp_path: Path, number: int) -> None:
    job = subprocess.Popen(
        [sys.executable, "-m", "tests.adapters.child_targets", str(tmp_path)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    began = tmp_path / "began"
    for _ in range(300):
        if began.exists() and began.read_text():
            break
        time.sleep(0.1)
    child = int(began.read_text())
    job.send_signal(number)
    out, err = job.communicate(timeout=10)  # the child would sleep for two minutes
    assert job.returncode == 0
    assert out.splitlines()[-1] == "stopped"
    assert "Traceback" not in err
    with pytest.raises(ProcessLookupError):
        os.kill(child, 0)


def test_a_fault_of_the_program_is_told_and_the_job_goes_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("scheduler.adapters.every_morning.TICK_S", 0.2)
    told: list[str] = []
    looks: list[Path] = []

    def look(folder: Path, now: datetime) -> tuple[MailTimes, DoneSoFar]:
        looks.append(folder)
        if folder.name == "wrong":
            raise ZeroDivisionError("by zero")
        return TIMES, NOTHING_DONE

    work = ChildWork(child_targets.tells)
    watches = [FarmWatch(Path(name), look, work, told.append) for name in ("wrong", "right")]
    threading.Timer(1.5, os.kill, (os.getpid(), signal.SIGTERM)).start()
    run(watches, lambda: at(12), told.append, work)
    assert looks.count(Path("wrong")) > 1
    assert looks.count(Path("right")) > 1
    assert "wrong: ZeroDivisionError: by zero" in told
    assert told[-1] == "stopped"
    assert signal.getsignal(signal.SIGTERM) == signal.SIG_DFL


# ---------------------------------------------------------------------- a year

MAIL = """
[mail]
to = ["grower@example.org", "crew@example.org"]
from = "farm@example.org"
host = "127.0.0.1"
security = "none"
"""


class KilledError(BaseException):
    """The process is killed at this point: nothing after it happens."""


@dataclass
class Year:
    """A year of a farm: its computer sleeps and starts anew, its network fails, it is killed."""

    folder: Path
    random: Random
    arrived: dict[str, list[str]] = field(default_factory=dict)
    notices: list[str] = field(default_factory=list)
    n_killed: int = 0
    n_failed: int = 0
    n_faults: int = 0

    def may_be_killed(self) -> None:
        if self.random.random() < 0.02:
            self.n_killed += 1
            raise KilledError

    def composed(
        self,
        database: Any,
        farm: Farm,
        settings: MailSettings,
        on: date,
        now: datetime,
        notices: Sequence[str],
        progress: Any = None,
    ) -> tuple[Any, EmailMessage]:
        self.may_be_killed()
        if self.random.random() < 0.05:
            self.n_faults += 1
            raise ZeroDivisionError
        self.notices += notices
        name = outbox.message_id("morning", on, farm, settings)
        return Listed(now), _message(name, settings, f"list of {on}")

    def send(
        self,
        message: EmailMessage,
        recipients: Sequence[str],
        settings: MailSettings,
        password: str | None,
    ) -> Mapping[str, str]:
        self.may_be_killed()
        if self.random.random() < 0.3:
            self.n_failed += 1
            raise MailPostponedError("mail server 127.0.0.1: did not answer")
        refused = {recipient: "451 later" for recipient in recipients if self.random.random() < 0.1}
        for recipient in recipients:
            if recipient not in refused:
                self.arrived.setdefault(recipient, []).append(str(message["Message-ID"]))
        self.may_be_killed()
        return refused


@dataclass(frozen=True)
class Listed:
    as_of: datetime


def _message(name: str, settings: MailSettings, text: str) -> EmailMessage:
    message = EmailMessage()
    message["From"], message["To"] = settings.sender, ", ".join(settings.to)
    message["Message-ID"] = name
    message["Subject"] = text
    message.set_content(text)
    return message


def test_a_year_of_mornings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One mail a day across both changes of the clocks, whatever happens to the computer.

    The outbox and the ledger are the true ones. A killed process releases nothing: its claims look
    as if it still ran, so they are taken over when they are old.
    """
    folder = tmp_path / "farm"
    path = write_new_farm(folder, Answers())
    path.write_text(path.read_text() + MAIL)
    with open_farm_database(folder, create=True) as database:
        farm, _ = daily.read_farm_or_last(folder, database, at(0, day=1)).farm, None
    zone = ZoneInfo(farm.place.time_zone)
    year = Year(folder, Random(1))
    monkeypatch.setattr(daily, "composed", year.composed)
    monkeypatch.setattr("scheduler.adapters.render.answer_json.answer", lambda found: {})
    monkeypatch.setattr(daily, "read_farm_or_last", lambda *_, **__: daily.FarmRead(farm))
    settings = daily.mail_settings(farm, folder)
    times = daily.mail_times(farm, settings)
    release = outbox.release

    def released(database: Any, kind: str, on: date) -> None:
        if not isinstance(sys.exception(), KilledError):
            release(database, kind, on)

    monkeypatch.setattr(outbox, "release", released)

    def look(folder: Path, now: datetime) -> tuple[MailTimes, DoneSoFar]:
        with open_farm_database(folder) as database:
            today = now.astimezone(zone).date()
            return times, daily.done_so_far(database, today, now)

    work = partial(daily.do_due, send=year.send)

    def started() -> FarmWatch:
        return FarmWatch(folder, look, work, lambda line: None)

    held = open_farm_database(folder)  # so that no close is the last one, which writes all to disk
    watch = started()
    now = datetime(2013, 1, 1, 12, tzinfo=UTC)
    end = datetime(2014, 1, 2, 22, tzinfo=UTC)
    awake: dict[date, int] = {}
    while now < end:
        local = now.astimezone(zone)
        if settings.send_at <= local.time() < settings.cut_off:
            awake[local.date()] = awake.get(local.date(), 0) + 1
        try:
            watch.tick(now)
        except KilledError:
            watch = started()
        if year.random.random() < 0.01:
            watch = started()
        step_min = year.random.choice((1, 3, 7) if local.hour == 5 else (25, 45, 60))
        if not 4 <= local.hour < 12:
            step_min = year.random.choice((120, 240))
        if year.random.random() < 0.01:
            step_min = year.random.choice((300, 1500, 4000))  # asleep
        now += timedelta(minutes=step_min)
    held.close()

    with open_farm_database(folder) as database:
        kept = {
            (kind, date.fromisoformat(day)): name
            for kind, day, name in database.rows("SELECT kind, day, message_id FROM outbox")
        }
        outcomes = {
            key: {each.outcome for each in outbox.deliveries(database, *key)} for key in kept
        }
    mornings = {day for kind, day in kept if kind == "morning"}
    told = mornings | {day for kind, day in kept if kind == "fault"}
    # every day with more than a glance has its mail or a mail of its fault, and no other day has
    assert {day for day, n_looks in awake.items() if n_looks > 9} <= told <= set(awake)
    assert 250 < len(mornings) < 366
    # nothing waits for ever, and what arrived under a day's name is that day's mail alone
    last = max(told)
    assert all(found <= {"sent", "given up"} for (_, day), found in outcomes.items() if day < last)
    names = set(kept.values())
    assert len(names) == len(kept)
    for recipient, arrived in year.arrived.items():
        assert set(arrived) <= names, recipient
        n_twice = len(arrived) - len(set(arrived))
        assert n_twice <= year.n_killed  # the same name, so that receivers drop it
        assert len(set(arrived)) > 0.9 * len(kept)
    # the days without any mail are told by a later one
    first = min(told)
    missed = [first + timedelta(days=n) for n in range((last - first).days)]
    missed = [day for day in missed if day not in told]
    assert missed
    said = " ".join(year.notices)
    for day in missed:
        if (max(told) - day).days > 20:
            assert dated_words(day) in said or "No mail was made from" in said
    assert min(year.n_killed, year.n_failed, year.n_faults) > 5
    changes = {date(2013, 3, 10), date(2013, 11, 3)}
    assert all(day in told for day in changes if awake.get(day, 0) > 9)
