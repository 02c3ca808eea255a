"""kill -9 at any point of sending: one mail or a clear pending entry, never silence, never two ids.

The server is real, with STARTTLS and a login; the sender is a process of its own that ends at a
line of choice or after a time of choice, without a chance to clean up. Then a later run does what
the command does each time.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.mail import outbox
from tests.adapters.mail_child import TO, message_id
from tests.adapters.mail_server import DROP, PASSWORD, USER, MailServer, Received, mail_server

PROJECT = Path(__file__).parents[2]
FIRST_DAY = date(2013, 5, 1)
N_LINES, N_LATE_LINES, N_TIMES = 40, 20, 10

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")


@dataclass
class Sender:
    """The process that starts the runs, and where they find the server."""

    process: subprocess.Popen[str]
    server: MailServer
    folder: Path

    def runs(self, day: date, name: str, later: timedelta = timedelta(), **how: Any) -> list[Any]:
        """Runs at 05:30 of a day, or later."""
        now = datetime(day.year, day.month, day.day, 5, 30, tzinfo=UTC) + later
        order = {
            "folder": str(self.folder),
            "day": str(day),
            "now": now.isoformat(),
            "name": name,
            "port": self.server.port,
            "ca_file": str(self.server.ca_file),
            "user": USER,
            "password": PASSWORD,
            "n_runs": 1,
            **how,
        }
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps(order) + "\n")
        self.process.stdin.flush()
        return list(json.loads(self.process.stdout.readline()))

    def arrived(self, day: date) -> list[Received]:
        """What the server took of a day, once no line to it is open any more."""
        deadline = time.monotonic() + 10
        while self.server.n_talks and time.monotonic() < deadline:
            time.sleep(0.005)
        assert self.server.n_talks == 0
        subject = f"\r\nSubject: {day}\r\n".encode()
        return [mail for mail in self.server.received if subject in mail.data]

    def outcomes(self, day: date) -> set[str]:
        """How the mail of a day stands."""
        with open_farm_database(self.folder) as database:
            return {found.outcome for found in outbox.deliveries(database, "morning", day)}


@pytest.fixture
def sender(tmp_path: Path) -> Iterator[Sender]:
    farm = tmp_path / "farm"
    farm.mkdir()
    open_farm_database(farm, create=True).close()
    with (
        mail_server(tmp_path) as server,
        subprocess.Popen(
            [sys.executable, "-m", "tests.adapters.mail_child"],
            cwd=PROJECT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        ) as process,
    ):
        yield Sender(process, server, farm)
        assert process.stdin is not None
        process.stdin.close()


def check_one_mail_after_a_kill(sender: Sender, day: date, where: str) -> tuple[set[str], int]:
    """The state a kill left and how many copies are out in the end, after a later run."""
    left, n_out = sender.outcomes(day), len(sender.arrived(day))
    assert left in (set(), {"pending"}, {"sending"}, {"sent"}), where
    if left == {"sent"}:
        assert n_out == 1, where
    if left in (set(), {"pending"}):
        assert n_out == 0, where
    (later,) = sender.runs(day, "later", later=timedelta(minutes=1))
    assert "error" not in later, (where, later)
    mails = sender.arrived(day)
    assert {mail.message_id for mail in mails} == {message_id(day)}, where
    assert len({mail.data for mail in mails}) == 1, where
    assert {mail.recipients for mail in mails} == {TO}, where
    assert sender.outcomes(day) == {"sent"}, where
    n_expected = n_out if left == {"sent"} else n_out + 1
    assert len(mails) == n_expected, where
    if len(mails) == 2:  # the one case: out, and killed before that could be written down
        assert left == {"sending"}, where
    maker = b"made by later" if left == set() else b"made by killed"
    assert maker in mails[0].data, where
    return left, len(mails)


def test_killed_at_any_line_or_moment_it_is_one_mail_under_one_id(sender: Sender) -> None:
    """70 kills: 40 at any line, 20 at lines after the message is out, 10 at any moment."""
    draw = random.Random(20130514)
    before = time.monotonic()
    (whole,) = sender.runs(FIRST_DAY, "whole", is_traced=True)
    whole_s = time.monotonic() - before
    passed = whole["passed"]
    assert whole["sent"] == 2
    assert len(passed) > 500
    last_answer = max(i for i, step in enumerate(passed) if step.startswith("getreply:"))
    kills: list[dict[str, Any]] = [
        {"is_traced": True, "kill_at": line}
        for line in (
            *draw.sample(range(len(passed)), N_LINES),
            *draw.sample(range(last_answer - 20, len(passed)), N_LATE_LINES),
        )
    ]
    kills += [{"kill_after_s": draw.uniform(0, whole_s)} for _ in range(N_TIMES)]
    states: dict[str, int] = {}
    n_twice = 0
    for i, how in enumerate(kills):
        day = FIRST_DAY + timedelta(days=1 + i)
        (killed,) = sender.runs(day, "killed", **how)
        if how.get("kill_at", len(passed)) < last_answer:  # runs differ by a line or two
            assert killed == {"killed": True}
        where = f"{how}, about {passed[how['kill_at']] if 'kill_at' in how else '?'}"
        left, n_copies = check_one_mail_after_a_kill(sender, day, where)
        state = "".join(left) or "nothing"
        states[state] = states.get(state, 0) + 1
        n_twice += n_copies == 2
    (idle,) = sender.runs(day, "idle", later=timedelta(minutes=30))
    assert (idle["sent"], idle["pending"], idle["lines"]) == (0, 0, [])
    assert set(states) == {"nothing", "pending", "sending", "sent"}, states
    assert 0 < n_twice < len(kills) / 2, "the window between the answer and the ledger was hit"


def test_the_server_takes_the_mail_and_its_answer_is_lost(sender: Sender) -> None:
    sender.server.fault("taken", DROP)
    (first,) = sender.runs(FIRST_DAY, "first")
    assert (first["sent"], first["pending"]) == (0, 2)
    (second,) = sender.runs(FIRST_DAY, "second", later=timedelta(minutes=1))
    assert second["sent"] == 2
    one, two = sender.arrived(FIRST_DAY)
    assert one == two


def test_many_processes_at_once_send_one_mail(sender: Sender) -> None:
    for i in range(6):
        day = FIRST_DAY + timedelta(days=i)
        found = sender.runs(day, "many", n_runs=4)
        assert not [answer for answer in found if "error" in answer], found
        assert sum(answer["sent"] for answer in found) == len(TO)
        assert len(sender.arrived(day)) == 1


def test_many_processes_at_once_and_all_killed(sender: Sender) -> None:
    draw = random.Random(7)
    for i in range(8):
        day = FIRST_DAY + timedelta(days=i)
        sender.runs(day, "killed", n_runs=3, kill_after_s=draw.uniform(0.0, 0.25))
        check_one_mail_after_a_kill(sender, day, f"round {i}")
