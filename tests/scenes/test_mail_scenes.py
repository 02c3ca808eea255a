"""Mornings of a week in May as mails, from the folder to a real server, with the true models.

A made farm with made weather: it rains on the 17th; from then on it is dry and warm, until 30 mm
fall in the night to the 23rd, which no forecast had; the station falls silent on the 24th.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from pathlib import Path
from typing import cast

import pytest

from scheduler import cli
from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.mail import daily
from scheduler.adapters.mail.outcome import SENT
from scheduler.records import Event
from tests.adapters.mail_server import PASSWORD, USER, MailServer
from tests.scenes.made import forecast, local, made_hours, observed

START = local(2013, 4, 15)
SILENT_FROM = local(2013, 5, 24, 0)

WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

FARM = """
[farm]
name = "Made Farm"
units = "metric"
seed = 5

[place]
latitude = 41.0
longitude = -74.0
elevation = "10 m"
time_zone = "America/New_York"

[work]
start = "07:00"
end = "19:00"
hours = { HOURS }

[soils.sand]
texture = "sandy loam"
organic_matter = "2.5 %"

[soils.silt]
texture = "silt loam"
organic_matter = "3 %"

[defaults.bed]
length = "60 m"
width = "75 cm"

[[beds]]
range = "S1-S2"
soil = "sand"

[[beds]]
range = "T1-T2"
soil = "silt"

[tools.hoe]
kind = "stirrup hoe"
depth = "20 mm"
speed = "0.6 km/h"
width = "18 cm"
travel = "by hand"
setup_time = "0 min"
""".replace("HOURS", ", ".join(f'{day} = "6 h"' for day in WEEK))


def at(day: int, hour: int = 5, minute: int = 30) -> datetime:
    return local(2013, 5, day, hour, minute)


def write_farm(folder: Path, server: MailServer) -> None:
    """The farm with its journal and all its weather, each value known when it was."""
    folder.mkdir()
    (folder / "farm.toml").write_text(
        f"""{FARM}
[mail]
to = "grower@example.org"
from = "farm@example.org"
host = "127.0.0.1"
port = {server.port}
user = "{USER}"
password_file = "secret"
ca_file = "{server.ca_file}"
"""
    )
    (folder / "secret").write_text(PASSWORD)
    (folder / "secret").chmod(0o600)
    rain = [(local(2013, 5, 17, 2) + timedelta(hours=i), 2.0) for i in range(6)]
    night = [(local(2013, 5, 22, 23) + timedelta(hours=i), 6.0) for i in range(5)]
    n_hours = 24 * 40
    truth = made_hours(START, n_hours, mean_c=17.0, rain=[*rain, *night])
    values = [v for v in observed(START, truth) if v.end_at <= SILENT_FROM]
    with open_farm_database(folder, create=True) as database:
        database.add_weather_values(values)
        for day in range(14, 27):
            begin = at(day, 5, 0)
            dry = made_hours(begin, 200, mean_c=17.0)
            issued = forecast(begin, dry)
            database.add_forecast(replace(issued, source="made forecast"))
        events = []
        for number, bed in enumerate(("S1", "S2", "T1", "T2")):
            for kind, day, depth in (
                ("prep", local(2013, 4, 17, 14), 90.0),
                ("pass", local(2013, 5, 3, 14 + number), 20.0),
            ):
                data = {"depth_mm": depth} | ({"tool": "hoe"} if kind == "pass" else {})
                events.append(Event(f"{kind}-{bed}", kind, day, day, bed, None, data))
        database.add_events(events)


class Week:
    """The farm, its server, and the mails as they came."""

    def __init__(self, folder: Path, server: MailServer) -> None:
        self.folder, self.server = folder, server

    def morning(self, day: int) -> EmailMessage:
        """The mail of a morning at half past five, sent with its day's run."""
        n_before = len(self.server.received)
        found = daily.daily_mail(self.folder, at(day), {})
        assert found.status == SENT, found
        (received,) = self.server.received[n_before:]
        return cast(EmailMessage, message_from_bytes(received.data, policy=default))

    def run(self, words: list[str], now: datetime) -> None:
        """A command of the grower."""
        os.environ[cli.NOW_VARIABLE] = now.isoformat()
        try:
            assert cli.run([*words, "--farm", str(self.folder)]) == 0
        finally:
            del os.environ[cli.NOW_VARIABLE]


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Week]:
    folder = tmp_path_factory.mktemp("scenes")
    server = MailServer(folder)
    write_farm(folder / "farm", server)
    yield Week(folder / "farm", server)
    server.close()


@pytest.fixture(scope="module")
def mails(week: Week) -> dict[int, EmailMessage]:
    """Six mornings in a row; on the 22nd the grower answers what the mail asks."""
    found = {day: week.morning(day) for day in (21, 22)}
    command = next(
        line.strip()
        for line in text(found[22]).splitlines()
        if line.strip().startswith("whitethread done") and "--of yesterday" in line
    )
    week.run(command.split()[1:], at(22, 6, 10))
    found |= {day: week.morning(day) for day in (23, 24, 26)}
    return found


def text(mail: EmailMessage) -> str:
    body = mail.get_body(("plain",))
    assert body is not None
    return str(body.get_content())


def words(mail: EmailMessage) -> str:
    return " ".join(text(mail).split())


def test_a_dry_morning_has_work_and_no_news(mails: dict[int, EmailMessage]) -> None:
    mail = mails[21]
    assert str(mail["Subject"]).startswith("Tue 21 May: ")
    assert "bed" in str(mail["Subject"])
    assert text(mail).startswith("Tuesday 21 May, Made Farm")
    assert "hoe" in text(mail)
    assert "nothing logged" not in text(mail)
    assert max(map(len, text(mail).splitlines())) <= 72
    html = mail.get_body(("html",))
    assert html is not None
    assert "Made Farm" in str(html.get_content())
    assert {part.get_content_type() for part in mail.walk()} >= {"image/png", "text/html"}


def test_after_a_silent_day_that_comes_first_with_the_command_that_answers_it(
    mails: dict[int, EmailMessage], week: Week
) -> None:
    assert words(mails[22]).startswith("Yesterday: nothing logged, taken as not done: ")
    with open_farm_database(week.folder) as database:
        logged = [e for e in database.events(at(22, 7, 0)) if e.recorded_at == at(22, 6, 10)]
    assert logged
    assert {event.kind for event in logged} == {"pass"}
    # done yesterday within the hours of the list, not this morning
    assert all(at(21) < event.happened_at < at(21, 19, 0) for event in logged)


def test_rain_that_was_not_in_sight_is_owned_up_to(mails: dict[int, EmailMessage]) -> None:
    said = words(mails[23])
    head = said.split("Thursday 23 May, Made Farm")[0]
    assert "no rain in sight" in head
    assert "mm" in head
    assert "Yesterday" in head


def test_after_the_rain_there_is_nothing_to_do_and_the_subject_says_so(
    mails: dict[int, EmailMessage],
) -> None:
    assert "nothing to do" in str(mails[23]["Subject"])
    assert "Wait" in text(mails[23])


def test_a_silent_station_is_told_and_the_list_still_comes(
    mails: dict[int, EmailMessage],
) -> None:
    said = words(mails[26])
    assert "No mail was made on Sat 25 May." in said
    assert "h old" in said or "days old" in said
    assert "Sunday 26 May, Made Farm" in said
    assert "old" in str(mails[26]["Subject"])


def test_one_message_id_a_day(mails: dict[int, EmailMessage], week: Week) -> None:
    names = [received.message_id for received in week.server.received]
    assert len(names) == len(set(names)) == len(mails)
