"""Runs of the morning mail in processes of their own, to be killed at a point of choice.

One line of JSON on the standard input is one order; each run is a fork of this process, so that a
run costs no start of Python. The answer is one line of JSON.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
import time
from collections.abc import Callable, Mapping
from datetime import date, datetime
from datetime import time as clock_time
from email.message import EmailMessage
from pathlib import Path
from types import FrameType
from typing import Any

from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.mail import outbox
from scheduler.adapters.mail.post import message_bytes, send_message
from scheduler.adapters.mail.settings import MailSettings

TRACED = ("/mail/outbox.py", "/mail/post.py", "/journal/database.py", "/smtplib.py")
TO = ("ann@example.org", "crew@example.org")


def message_id(day: date) -> str:
    """The Message-ID of a day."""
    return f"<morning.{day}.0123456789abcdef@example.org>"


def run(order: Mapping[str, Any]) -> dict[str, Any]:
    """Claim, make, keep and post the mail of a day, as the command does."""
    settings = MailSettings(
        to=TO,
        sender="farm@example.org",
        reply_to=None,
        host="127.0.0.1",
        port=order["port"],
        security="starttls",
        user=order["user"],
        password_env=None,
        password_file=None,
        ca_file=order["ca_file"],
        send_at=clock_time(5, 30),
        cut_off=clock_time(11, 0),
        evening_note=False,
        contact=None,
        subject=None,
    )
    day, now = date.fromisoformat(order["day"]), datetime.fromisoformat(order["now"])
    with open_farm_database(order["folder"]) as database:
        if outbox.claim(database, "morning", day, now):
            made = EmailMessage()
            made["From"], made["To"], made["Subject"] = "farm@example.org", ", ".join(TO), str(day)
            made["Message-ID"] = message_id(day)
            made.set_content(f"made by {order['name']}\n" + "4 beds today\n" * 400)
            outbox.keep(
                database,
                "morning",
                day,
                message_bytes(made),
                TO,
                message_id(day),
                None,
                now,
                issued=(now, {"made by": order["name"]}),
            )
        report = outbox.post_due(
            database,
            settings,
            order["password"],
            now,
            lambda *given: send_message(*given, timeout_s=10),
        )
    return {"sent": report.sent, "pending": report.pending, "lines": report.lines}


class Killer:
    """Counts the lines that run in the rooms of the mail and ends the process at one of them."""

    def __init__(self, kill_at: int | None) -> None:
        self.kill_at = kill_at
        self.passed: list[str] = []

    def __call__(self, frame: FrameType, event: str, found: object) -> Callable[..., Any] | None:
        """Watch the functions of those rooms."""
        return self._line if frame.f_code.co_filename.endswith(TRACED) else None

    def _line(self, frame: FrameType, event: str, found: object) -> Callable[..., Any]:
        if event in ("line", "return"):
            if len(self.passed) == self.kill_at:
                os.kill(os.getpid(), signal.SIGKILL)
            self.passed.append(f"{frame.f_code.co_name}:{frame.f_lineno}")
        return self._line


def in_child(order: Mapping[str, Any]) -> tuple[int, int]:
    """Start a run; its process and the end of the pipe that carries its answer."""
    reading, writing = os.pipe()
    process = os.fork()
    if process:
        os.close(writing)
        return process, reading
    answer: dict[str, Any]
    try:
        killer = Killer(order.get("kill_at"))
        if order.get("is_traced"):
            sys.settrace(killer)
        try:
            answer = run(order)
        finally:
            sys.settrace(None)
        answer["passed"] = killer.passed
    except BaseException as error:
        answer = {"error": repr(error)}
    with open(writing, "w") as pipe:  # noqa: PTH123 (a pipe has no path)
        json.dump(answer, pipe)
    os._exit(0)


def end_of(process: int, reading: int) -> dict[str, Any]:
    """Wait for a run and return what it came to."""
    with open(reading) as pipe:
        text = pipe.read()
    os.waitpid(process, 0)
    return dict(json.loads(text)) if text else {"killed": True}


def obeyed(order: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The answers of one order's runs: `n_runs` at once, each killed after `kill_after_s`."""
    runs = [in_child({**order, "name": f"{order['name']}.{i}"}) for i in range(order["n_runs"])]
    if order.get("kill_after_s") is not None:
        time.sleep(order["kill_after_s"])
        for process, _ in runs:
            with contextlib.suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
    return [end_of(*started) for started in runs]


def main() -> None:
    """Obey orders until there are no more."""
    for line in sys.stdin:
        sys.stdout.write(json.dumps(obeyed(json.loads(line))) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    assert Path("scheduler").is_dir(), "to be run in the project's folder"
    main()
