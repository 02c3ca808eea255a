"""What a child process of the long-running job is given to do in its tests."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from scheduler.adapters.mail.due import DoneSoFar, MailTimes
from scheduler.adapters.mail.outcome import SENT, DayOutcome


def tells(folder: Path, tasks: Sequence[str], now: datetime, fault: str | None) -> DayOutcome:
    """Say what was asked, and from which process."""
    return DayOutcome(
        SENT, (f"{folder.name} {','.join(tasks)} {now:%H:%M} {fault}", str(os.getpid()))
    )


def dies(folder: Path, tasks: Sequence[str], now: datetime, fault: str | None) -> DayOutcome:
    """End as a process does that takes too much memory."""
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


def fails(folder: Path, tasks: Sequence[str], now: datetime, fault: str | None) -> DayOutcome:
    """A fault of the program."""
    raise ZeroDivisionError("by\nzero")


def sleeps(folder: Path, tasks: Sequence[str], now: datetime, fault: str | None) -> DayOutcome:
    """Say in a file that the work began, then take long."""
    (folder / "began").write_text(str(os.getpid()))
    time.sleep(120)
    return DayOutcome(SENT)


def always_due(folder: Path, now: datetime) -> tuple[MailTimes, DoneSoFar]:
    """A farm whose mail is due at any hour."""
    from datetime import time as clock
    from zoneinfo import ZoneInfo

    return MailTimes("a farm", ZoneInfo("UTC"), clock(0), clock(23, 59, 59)), DoneSoFar()


def main() -> None:
    """The job on one farm whose work takes long: `python -m ... FOLDER`."""
    from scheduler.adapters.every_morning import ChildWork, FarmWatch, run

    def tell(line: str) -> None:
        sys.stdout.write(line + "\n")
        sys.stdout.flush()

    work = ChildWork(sleeps)
    noon = datetime(2013, 5, 14, 12, tzinfo=UTC)
    run([FarmWatch(Path(sys.argv[1]), always_due, work, tell)], lambda: noon, tell, work)


if __name__ == "__main__":
    main()
