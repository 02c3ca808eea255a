"""The long-running job: a minute tick that asks each farm what is due, and has it done.

What is due is decided anew each minute from the farm file, the ledger in farm.db and the clock
(`mail.due`), so nothing hangs on this process: it may sleep, be stopped or start again at any
moment. The work itself runs in a child process, which gives its memory back when the list is made,
and whose death is no death of the job.
"""

from __future__ import annotations

import logging
import multiprocessing
import signal
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import nullcontext, suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, Protocol

from scheduler.adapters.mail.due import (
    EVENING,
    MORNING,
    POST,
    WEATHER,
    DoneSoFar,
    MailTimes,
    due_tasks,
    is_clock_behind,
    next_morning_at,
)
from scheduler.adapters.mail.outcome import DIRECT, NOTHING_DUE, PENDING, SETTINGS, DayOutcome
from scheduler.adapters.render.phrases import WEEKDAYS, day_words
from scheduler.errors import JournalError, WhitethreadError

if TYPE_CHECKING:
    from multiprocessing.context import SpawnProcess

    from apscheduler.events import JobEvent

TICK_S = 60
AGAIN_AFTER = timedelta(minutes=15)  # until a mail that could not be made is made again
AFTER_WRONG_SETTINGS = timedelta(minutes=30)  # so that no server bars a login tried too often
AFTER_TOLD_WITHOUT_LEDGER = timedelta(hours=12)
FRESH_FOR = timedelta(minutes=30)  # weather that was asked for before the mail
AFTER_A_DEATH = timedelta(minutes=5)  # until the next try, after the child died
DEATHS_A_DAY = 2  # children that may die over a mail before a mail without a list says so
BEHIND_MIN = 30  # minutes in which a clock behind the ledger may still be set right
LONGEST_WORK_S = 45 * 60.0  # a child that takes longer hangs
LOOK_AT_CLOCK_S = 20.0
CLOCK_SET_BACK_S = 30.0  # a clock that went back further than this was set

Clock = Callable[[], datetime]
Tell = Callable[[str], None]


class Look(Protocol):
    """When the mails of a farm are due, and what was done so far."""

    def __call__(self, folder: Path, now: datetime) -> tuple[MailTimes, DoneSoFar]:
        """Read it from the folder; errors that a grower can mend are raised."""
        ...


class Work(Protocol):
    """Does what is due for one farm."""

    def __call__(
        self, folder: Path, tasks: Sequence[str], now: datetime, fault: str | None
    ) -> DayOutcome:
        """Do `tasks` and return what they came to.

        With `fault` no list is made: the mail says what went wrong. `DiedError` where that ended
        before its time.
        """
        ...


class DiedError(Exception):
    """The work on a mail ended before its time; the message says how."""


class StoppedError(Exception):
    """The work on a mail was ended, because the whole job ends."""


@dataclass
class FarmWatch:
    """One farm, minute by minute.

    Parameters
    ----------
    folder
        The farm folder.
    look, work
        How to see what is due, and how to do it.
    tell
        Takes each line that is to be told.
    one_at_a_time
        Held while a list is made, so that a small computer makes one at a time.
    """

    folder: Path
    look: Look
    work: Work
    tell: Tell
    one_at_a_time: Any = field(default_factory=nullcontext)
    _told: str = ""
    _weather_on: date | None = None  # the day it was asked for ...
    _weather_at: datetime | None = None  # ... and the moment it was had
    _evening_on: date | None = None
    _stamp: tuple[int, int] | None = None  # of the farm file as it was read last
    _again_at: dict[str, datetime] = field(default_factory=dict)
    _deaths: dict[tuple[str, date], int] = field(default_factory=dict)
    _last_words: str = ""
    _n_behind: int = 0

    def tick(self, now: datetime) -> None:
        """Do what is due now, if anything."""
        try:
            times, done = self.look(self.folder, now)
        except WhitethreadError as error:
            self._tell_once(str(error))
            return
        if is_clock_behind(done, now):
            self._n_behind += 1
            if self._n_behind < BEHIND_MIN:
                self._tell_once(
                    f"the clock lies before the last entry of the ledger ({done.last_written_at}); "
                    f"waiting up to {BEHIND_MIN} min for the right time"
                )
                return
            done = replace(done, last_written_at=None)  # it was the ledger's clock that was wrong
        else:
            self._n_behind = 0
        self._told = ""
        stamp = _stamp(self.folder / "farm.toml")
        if stamp != self._stamp:  # what was wrong may be mended
            self._stamp = stamp
            self._again_at.clear()
        today = now.astimezone(times.zone).date()
        tasks = self._tasks(times, done, now, today)
        if not tasks:
            return
        if WEATHER in tasks:
            self._weather_on = today
        heavy = next((task for task in tasks if task in (MORNING, EVENING)), None)
        n_deaths = 0 if heavy is None else self._deaths.get((heavy, today), 0)
        fault = f"{self._last_words}, {n_deaths} times" if n_deaths >= DEATHS_A_DAY else None
        try:
            with nullcontext() if heavy is None else self.one_at_a_time:
                found = self.work(self.folder, tasks, now, fault)
        except DiedError as death:
            self._last_words = str(death)
            if heavy is not None:
                self._deaths = {(heavy, today): n_deaths + 1}
            self._wait(tasks, now + AFTER_A_DEATH)
            self.tell(f"{self.folder}: {death}; next try in {AFTER_A_DEATH.seconds // 60} min")
            return
        self._learn(found, tasks, now, today)
        for line in (*found.lines, *found.warnings):
            self.tell(f"{self.folder}: {line}")

    def _tasks(
        self, times: MailTimes, done: DoneSoFar, now: datetime, today: date
    ) -> tuple[str, ...]:
        """What is due and not to be waited for; weather with a mail, where it is not fresh."""
        known = replace(
            done, weather_on=self._weather_on, evening_on=self._evening_on or done.evening_on
        )
        tasks = [
            task
            for task in due_tasks(times, known, now)
            if task not in self._again_at or self._again_at[task] <= now
        ]
        is_fresh = self._weather_at is not None and now - self._weather_at < FRESH_FOR
        if MORNING in tasks and not is_fresh:
            tasks.insert(0, WEATHER)
        return tuple(tasks)

    def _learn(self, found: DayOutcome, tasks: Sequence[str], now: datetime, today: date) -> None:
        """Keep what only this process needs to know: what to wait for, what was asked."""
        self._again_at = {task: at for task, at in self._again_at.items() if at > now}
        if found.status == SETTINGS:
            self._wait((*tasks, POST), now + AFTER_WRONG_SETTINGS)
        elif found.status == DIRECT:
            self._wait(tasks, now + AFTER_TOLD_WITHOUT_LEDGER)
        else:
            self._wait([task for task in tasks if task in (MORNING, EVENING)], now + AGAIN_AFTER)
        if WEATHER in tasks and (MORNING in tasks or found.status == NOTHING_DUE):
            self._weather_at = now
        if EVENING in tasks and found.status not in (SETTINGS, PENDING):
            self._evening_on = today

    def _wait(self, tasks: Sequence[str], until: datetime) -> None:
        """Do none of these tasks until then."""
        self._again_at |= dict.fromkeys(tasks, until)

    def first_words(self, now: datetime) -> tuple[str, bool]:
        """When the next mail is due, or why none can be; and whether one can, or may soon."""
        try:
            times, done = self.look(self.folder, now)
        except WhitethreadError as error:
            self._told = str(error)
            return str(error), isinstance(error, JournalError)  # in use by another program
        at = next_morning_at(times, done, now).astimezone(times.zone)
        day = f"{WEEKDAYS[at.weekday()]} {day_words(at.date())}"
        return f"next morning mail {day} {at:%H:%M}, {times.zone.key}", True

    def _tell_once(self, line: str) -> None:
        """Tell what stands in the way, once and not every minute."""
        if line != self._told:
            self._told = line
            self.tell(f"{self.folder}: {line}")


# --------------------------------------------------------------- child process


class ChildWork:
    """Does the work in a child process, one for each call, that can be ended at any moment.

    Parameters
    ----------
    target : callable
        A function of a module, called in the child as `Work` says; what it returns is told.
    """

    def __init__(self, target: Work) -> None:
        self.target = target
        self._lock = threading.Lock()
        self._children: set[SpawnProcess] = set()
        self._is_ended = False

    def __call__(
        self, folder: Path, tasks: Sequence[str], now: datetime, fault: str | None
    ) -> DayOutcome:
        """Run the target in a new process and return what it came to."""
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe(duplex=False)
        child = context.Process(
            target=_in_child, args=(there, self.target, folder, tuple(tasks), now, fault)
        )
        with self._lock:
            if self._is_ended:
                raise StoppedError
            child.start()
            self._children.add(child)
        there.close()
        try:
            found = self._outcome_of(child, here)
        finally:
            here.close()
            with self._lock:
                self._children.discard(child)
        return found

    def _outcome_of(self, child: SpawnProcess, here: Any) -> DayOutcome:
        """What a child came to, once it ended."""
        found: Any = None
        is_late = not here.poll(LONGEST_WORK_S)
        if is_late:
            child.kill()
        else:
            with suppress(EOFError):
                found = here.recv()
        child.join()
        if self._is_ended:
            raise StoppedError
        if is_late:
            raise DiedError(f"the work did not end within {LONGEST_WORK_S / 60:.0f} min")
        if found is None:
            raise DiedError(f"the work ended before its time ({_ending(child.exitcode)})")
        if isinstance(found, str):
            raise DiedError(f"a fault of the program: {found}")
        outcome: DayOutcome = found
        return outcome

    def end(self) -> None:
        """End every child at once; the ledger says what is left to do."""
        with self._lock:
            self._is_ended = True
            for child in self._children:
                child.kill()


def _in_child(
    there: Any,
    target: Work,
    folder: Path,
    tasks: Sequence[str],
    now: datetime,
    fault: str | None,
) -> None:
    """Run in the child: the work, and what it tells sent to the parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to act on
    try:
        there.send(target(folder, tasks, now, fault))
    except Exception as error:
        import traceback

        traceback.print_exc()
        there.send(" ".join(f"{type(error).__name__}: {error}".split()))
    there.close()


def _ending(exit_code: int | None) -> str:
    """How a process ended, in words."""
    if exit_code is None or exit_code >= 0:
        return f"status {exit_code}"
    try:
        name = signal.Signals(-exit_code).name
    except ValueError:
        name = str(-exit_code)
    more = ": out of memory?" if name == "SIGKILL" else ""
    return f"signal {name}{more}"


# -------------------------------------------------------------------- the job


def run(watches: Sequence[FarmWatch], clock: Clock, tell: Tell, work: ChildWork) -> None:
    """Tick until SIGTERM or SIGINT comes.

    Parameters
    ----------
    watches
        The farms.
    clock
        Hands out now, aware.
    tell
        Takes each line that is to be told.
    work
        Whose children end with the job.
    """
    from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED
    from apscheduler.executors.pool import ThreadPoolExecutor
    from apscheduler.schedulers.background import BackgroundScheduler

    scheduler = BackgroundScheduler(
        timezone=UTC,
        executors={"default": ThreadPoolExecutor(max(1, len(watches)))},
        job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
    )
    stop = threading.Event()

    def told(event: JobEvent) -> None:
        error = getattr(event, "exception", None)
        if isinstance(error, StoppedError):
            return
        what = f"{type(error).__name__}: {error}" if error is not None else "a minute was missed"
        trace = str(getattr(event, "traceback", None) or "")
        tell(f"{event.job_id}: {' '.join(what.split())}")
        if trace:
            tell(trace.rstrip())

    logging.getLogger("apscheduler").setLevel(logging.CRITICAL)  # what matters is told here
    scheduler.add_listener(told, EVENT_JOB_ERROR | EVENT_JOB_MISSED)
    jobs = [
        scheduler.add_job(
            lambda watch=watch: watch.tick(clock()),
            "interval",
            seconds=TICK_S,
            next_run_time=datetime.now(UTC),
            id=str(watch.folder),
        )
        for watch in watches
    ]
    former = {
        number: signal.signal(number, _stops(stop)) for number in (signal.SIGTERM, signal.SIGINT)
    }
    scheduler.start()
    try:
        ahead_s = time.time() - time.monotonic()
        while not stop.wait(LOOK_AT_CLOCK_S):
            found_s = time.time() - time.monotonic()
            if found_s < ahead_s - CLOCK_SET_BACK_S:  # else the next tick would wait for so long
                for job in jobs:
                    job.modify(next_run_time=datetime.now(UTC))
            ahead_s = found_s
    finally:
        scheduler.shutdown(wait=False)
        work.end()
        for number, handler in former.items():
            signal.signal(number, handler)
    tell("stopped")


def _stamp(path: Path) -> tuple[int, int] | None:
    """What changes when a file is written anew."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


def _stops(stop: threading.Event) -> Callable[[int, FrameType | None], None]:
    def handler(number: int, frame: FrameType | None) -> None:
        stop.set()

    return handler
