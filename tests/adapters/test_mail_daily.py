"""The mail of a day from the farm folder to a real server on the loopback, and what goes wrong.

The list is a stored hand-made morning; everything from the farm file to the server is the true one.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from pathlib import Path
from typing import Any, cast
from zoneinfo import ZoneInfo

import pytest
from pydantic import TypeAdapter

from scheduler import service
from scheduler.adapters.farmfile import Answers, read_farm, write_new_farm
from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.mail import daily, evening, outbox
from scheduler.adapters.mail.due import due_tasks
from scheduler.adapters.mail.evening import EveningLine
from scheduler.adapters.mail.outcome import (
    DIRECT,
    EXIT_STATUS,
    GIVEN_UP,
    NOTHING_DUE,
    PENDING,
    REFUSED,
    SENT,
    SETTINGS,
    WRITTEN,
    DayOutcome,
)
from scheduler.adapters.weather.update import Update
from scheduler.errors import WeatherFetchError, WeatherMissingError
from scheduler.records import Event, Morning
from tests.adapters.mail_server import PASSWORD, USER, MailServer

ROOT = Path(__file__).parents[2]
ZONE = ZoneInfo("America/New_York")
DAY = date(2013, 5, 14)
GROWER, CREW = "grower@example.org", "crew@example.org"


def at(hour: int, minute: int = 0, day: int = 14) -> datetime:
    return datetime(2013, 5, day, hour, minute, tzinfo=ZONE).astimezone(UTC)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MailServer]:
    running = MailServer(tmp_path_factory.mktemp("server"))
    yield running
    running.close()


@pytest.fixture
def farm(server: MailServer, tmp_path: Path) -> Path:
    """A new farm that mails through the server, which has forgotten what it received."""
    server.received.clear()
    server.faults.clear()
    server.lasting.clear()
    folder = tmp_path / "farm"
    path = write_new_farm(folder, Answers(time_zone="America/New_York"))
    path.write_text(
        path.read_text()
        + f"""
[mail]
to = ["{GROWER}", "Crew <{CREW}>"]
from = "The farm <farm@example.org>"
host = "127.0.0.1"
port = {server.port}
user = "{USER}"
password_file = "secret"
ca_file = "{server.ca_file}"
"""
    )
    secret = folder / "secret"
    secret.write_text(PASSWORD)
    secret.chmod(0o600)
    return folder


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[datetime]:
    """The service hands out a stored morning; the moments it was asked for are kept."""
    found = stored_morning()
    moments: list[datetime] = []

    def morning(farm: Any, journal: Any, weather: Any, now: datetime, **_: Any) -> Morning:
        moments.append(now)
        return replace(found, as_of=now, day=now.astimezone(ZONE).date())

    monkeypatch.setattr(service, "morning", morning)
    return moments


def stored_morning() -> Morning:
    text = (ROOT / "tests" / "golden" / "morning_spring.json").read_text()
    return TypeAdapter(Morning).validate_json(text)


def sent(folder: Path, now: datetime, **options: Any) -> DayOutcome:
    """One run of the morning mail, with no environment at all."""
    return daily.daily_mail(folder, now, {}, **options)


def mails(server: MailServer) -> list[EmailMessage]:
    return [
        cast(EmailMessage, message_from_bytes(found.data, policy=default))
        for found in server.received
    ]


def text_of(mail: EmailMessage) -> str:
    body = mail.get_body(("plain",))
    assert body is not None
    return " ".join(str(body.get_content()).split())


def break_list(monkeypatch: pytest.MonkeyPatch, error: Exception) -> Callable[[], None]:
    """Let the list fail; calling what comes back mends it."""
    whole = service.morning

    def morning(*_: Any, **__: Any) -> Morning:
        raise error

    monkeypatch.setattr(service, "morning", morning)
    return lambda: monkeypatch.setattr(service, "morning", whole)


# ------------------------------------------------------------------ as it goes


def test_one_mail_a_day_to_all(farm: Path, server: MailServer, asked: list[datetime]) -> None:
    first = sent(farm, at(5, 30))
    assert first.status == SENT
    assert EXIT_STATUS[first.status] == 0
    assert first.warnings == ()
    for minute in (31, 45):
        again = sent(farm, at(5, minute))
        assert (again.status, again.lines) == (NOTHING_DUE, ("nothing due",))
    assert asked == [at(5, 30)]
    (received,) = server.received
    assert received.was_encrypted
    assert received.login == USER
    assert sorted(received.recipients) == [CREW, GROWER]
    assert sent(farm, at(5, 30, 15)).status == SENT
    names = [str(mail["Message-ID"]) for mail in mails(server)]
    assert len(set(names)) == 2
    assert [
        name.startswith(f"<morning.2013-05-{day}.")
        for name, day in zip(names, (14, 15), strict=True)
    ] == [True, True]


def test_the_list_and_its_mail_are_kept_together(farm: Path, asked: list[datetime]) -> None:
    sent(farm, at(5, 30))
    with open_farm_database(farm) as database:
        issued = database.latest_list(at(6))
        ((number,),) = database.rows("SELECT list_number FROM outbox")
        ((as_of,),) = database.rows("SELECT as_of FROM lists WHERE number = ?", (number,))
        assert outbox.is_kept(database, "morning", DAY)
    assert issued is not None
    assert datetime.fromisoformat(issued["as_of"]) == datetime.fromisoformat(as_of) == at(5, 30)


def test_a_server_that_asks_for_later_gets_the_same_mail_later(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    server.fault("mail", "451 greylisted")
    first = sent(farm, at(5, 30))
    assert (first.status, EXIT_STATUS[first.status]) == (PENDING, 75)
    assert "451" in " ".join(first.lines)
    assert sent(farm, at(5, 30)).status == PENDING  # too early
    assert not server.received
    assert daily.post_waiting(farm, at(5, 31), {}).status == SENT
    assert len(asked) == 1
    assert len(server.received) == 1


def test_a_mail_that_never_got_through_is_told_by_the_next(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    server.lasting["mail"] = "451 not now"
    assert sent(farm, at(5, 30)).status == PENDING
    late = sent(farm, at(11, 1))
    assert (late.status, EXIT_STATUS[late.status]) == (GIVEN_UP, 75)
    server.lasting.clear()
    assert sent(farm, at(11, 30)).status == NOTHING_DUE
    assert sent(farm, at(5, 30, 15)).status == SENT
    assert "Tue 14 May" in text_of(mails(server)[0])
    assert "451 not now" in text_of(mails(server)[0])
    sent(farm, at(5, 30, 16))
    assert "451 not now" not in text_of(mails(server)[1])


def test_a_refused_recipient_is_told_to_the_others_next_time(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    server.lasting[f"rcpt {CREW}"] = "550 no such user"
    found = sent(farm, at(5, 30))
    assert (found.status, EXIT_STATUS[found.status]) == (REFUSED, 78)
    assert any(CREW in line and "550 no such user" in line for line in found.lines)
    assert [mail.recipients for mail in server.received] == [(GROWER,)]
    sent(farm, at(5, 30, 15))
    assert "550 no such user" in text_of(mails(server)[1])


def test_another_process_that_makes_the_mail_is_left_to_it(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    with open_farm_database(farm, create=True) as database:
        assert outbox.claim(database, "morning", DAY, at(5, 29))
    assert sent(farm, at(5, 30)).status == NOTHING_DUE
    assert asked == []
    assert sent(farm, at(5, 40)).status == SENT  # ten minutes are enough for any list


def test_days_without_a_mail_are_told(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    sent(farm, at(5, 30))
    sent(farm, at(5, 30, 17))
    assert "No mail was made on Wed 15 May, Thu 16 May." in text_of(mails(server)[1])
    sent(farm, at(5, 30, 18))
    assert "No mail was made" not in text_of(mails(server)[2])
    later = at(5, 30, 18) + timedelta(days=40)
    sent(farm, later)
    assert "No mail was made from Sun 19 May to Wed 26 Jun." in text_of(mails(server)[3])


def test_an_evening_note_does_not_hide_a_morning_without_a_mail(
    farm: Path, server: MailServer, asked: list[datetime], monkeypatch: pytest.MonkeyPatch
) -> None:
    sent(farm, at(5, 30))
    line = EveningLine("B4", "carrot", "tine weeder", at(7), at(9), "")
    monkeypatch.setattr(evening, "evening_lines", lambda found, now: (line,))
    assert daily.evening_mail(farm, at(19, 0, 15), {}).status == SENT
    sent(farm, at(5, 30, 16))
    assert "No mail was made on Wed 15 May." in text_of(mails(server)[2])


def test_a_run_that_may_not_try_yet_says_that_mails_wait(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    server.lasting["mail"] = "451 not now"
    sent(farm, at(5, 30))
    found = sent(farm, at(5, 30))
    assert found.status == PENDING
    assert found.lines == ("nothing due now; 2 deliveries wait for the next try",)


# ------------------------------------------------------------ the farm's folder


def test_a_broken_farm_file_leaves_the_word_to_its_last_good_version(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    sent(farm, at(5, 30))
    path = farm / "farm.toml"
    path.write_text(path.read_text().replace('host = "127', 'colour = 3\nhost = "127'))
    assert sent(farm, at(5, 30, 15)).status == SENT
    said = text_of(mails(server)[1])
    assert "farm.toml cannot be used as it stands: " in said
    assert "colour: unknown key" in said
    assert "Until it is mended its last good version holds." in said
    with open_farm_database(farm) as database:
        text = database.farm_text(at(6, day=15))
    assert text is not None
    assert "colour = 3" not in text


def test_a_farm_file_that_was_never_right_is_a_matter_of_settings(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    (farm / "farm.toml").write_text("name = [")
    found = sent(farm, at(5, 30))
    assert (found.status, EXIT_STATUS[found.status]) == (SETTINGS, 78)
    assert "farm.toml line" in found.warnings[0]
    gone = sent(farm / "nowhere", at(5, 30))
    assert gone.status == SETTINGS
    assert "no such folder" in " ".join(gone.warnings)
    assert not server.received


def test_without_a_password_nothing_is_made_and_every_place_is_named(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    (farm / "secret").unlink()
    found = sent(farm, at(5, 30))
    assert found.status == SETTINGS
    assert "password_file" in found.warnings[0]
    assert "keyring" in found.warnings[0]
    assert asked == []
    (farm / "secret").write_text(PASSWORD)
    (farm / "secret").chmod(0o644)
    mended = sent(farm, at(5, 31))
    assert mended.status == SENT
    assert "can be opened by others" in mended.warnings[0]
    assert PASSWORD not in repr(mended)


def test_a_wrong_password_holds_the_mail_until_it_is_right(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    (farm / "secret").write_text("wrong")
    held = sent(farm, at(5, 30))
    assert held.status == SETTINGS
    assert "535" in held.warnings[-1]
    (farm / "secret").write_text(PASSWORD)
    assert sent(farm, at(5, 40)).status == SENT
    assert len(asked) == len(server.received) == 1


def test_what_lies_in_the_drop_folder_is_taken_and_its_faults_are_told(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    drop = farm / "drop"
    drop.mkdir()
    (drop / "notes.txt").write_text("rain 8 mm 2013-05-13\n")
    (drop / "wrong.txt").write_text("hail 3 mm 2013-05-13\n")
    assert sent(farm, at(5, 30)).status == SENT
    with open_farm_database(farm) as database:
        assert [event.kind for event in database.events(at(6))] == ["rain"]
    assert "drop: wrong.txt line 1" in text_of(mails(server)[0])


# ---------------------------------------------------------------------- weather


def with_consent(folder: Path) -> None:
    """Let the farm file consent to weather from outside."""
    path = folder / "farm.toml"
    path.write_text(
        path.read_text() + '\n[weather]\nconsent = true\ncontact = "grower@example.org"\n'
    )
    assert read_farm(folder).weather["consent"] is True


def test_nobody_is_asked_without_consent(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    def fetch(*_: Any) -> Update:
        raise AssertionError

    assert sent(farm, at(5, 30), fetch=fetch).status == SENT


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (Update(("stations: 24 values new",), {}, ok=True), ""),
        (
            Update(("stations: could not be reached (no network)", "forecast: none"), {}, ok=False),
            "No new weather could be had: stations: could not be reached (no network).",
        ),
        (WeatherFetchError("api.example.org: no"), "Weather could not be asked for: api"),
        (ZeroDivisionError("x"), "a fault of the program (ZeroDivisionError: x)"),
    ],
)
def test_weather_that_cannot_be_had_is_a_notice_and_no_end(
    farm: Path,
    server: MailServer,
    asked: list[datetime],
    answer: Update | Exception,
    told: str,
) -> None:
    with_consent(farm)
    moments = []

    def fetch(described: Any, database: Any, now: datetime) -> Update:
        moments.append(now)
        if isinstance(answer, Exception):
            raise answer
        return answer

    assert sent(farm, at(5, 30), fetch=fetch).status == SENT
    assert moments == [at(5, 30)]
    said = text_of(mails(server)[0])
    assert told in said
    is_told = "could not" in said or "fault of the program" in said
    assert is_told == bool(told)


# ----------------------------------------------------------------------- faults


def test_without_a_list_the_grower_is_told_why_and_what_is_known(
    farm: Path, server: MailServer, asked: list[datetime], monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_farm_database(farm, create=True) as database:
        database.add_events(
            [
                Event(
                    "rain-1",
                    "rain",
                    at(7, day=12),
                    at(20, day=12),
                    None,
                    None,
                    {
                        "rain_mm": 4.0,
                        "start_at": "2013-05-11T11:00:00+00:00",
                        "end_at": "2013-05-12T11:00:00+00:00",
                    },
                )
            ]
        )
    sent(farm, at(5, 30, 13))
    mend = break_list(monkeypatch, WeatherMissingError("weather: no rain since 20 Apr"))
    found = sent(farm, at(5, 30))
    assert (found.status, EXIT_STATUS[found.status]) == (PENDING, 75)  # the list may come yet
    assert "no list: weather: no rain since 20 Apr" in found.lines
    fault = mails(server)[1]
    assert str(fault["Message-ID"]).startswith("<fault.2013-05-14.")
    assert fault["Subject"] == "Tue 14 May: no list today"
    said = text_of(fault)
    assert "no rain since 20 Apr" in said
    assert "The last list, of Mon 13 May 05:30, had: 1 B4 tine weeder, 2 B5 tine weeder" in said
    assert "The journal holds 1 entry, the last written Sun 12 May 20:00." in said
    assert "No weather of the last months is on record." in said
    # it is said once a day, and the list comes when it can be made
    again = sent(farm, at(5, 45))
    assert again.status == PENDING
    assert len(server.received) == 2
    mend()
    assert sent(farm, at(6)).status == SENT
    assert str(mails(server)[2]["Message-ID"]).startswith("<morning.2013-05-14.")
    assert sent(farm, at(6, 15)).status == NOTHING_DUE


def test_a_mail_without_a_list_tells_what_else_went_wrong(
    farm: Path, server: MailServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What kept the weather away may be why there is no list; days without a mail are told too."""
    mend = break_list(monkeypatch, WeatherMissingError("there is no weather at all"))
    sent(farm, at(5, 30, 12))
    with_consent(farm)
    (farm / "drop").mkdir()
    (farm / "drop" / "wrong.txt").write_text("hail 3 mm 2013-05-13\n")

    def fetch(described: Any, database: Any, now: datetime) -> Update:
        raise WeatherFetchError("the station did not answer")

    sent(farm, at(5, 30), fetch=fetch)
    mend()
    said = text_of(mails(server)[1])
    assert "There is no weather at all." in said
    assert "Weather could not be asked for: the station did not answer." in said
    assert "drop: wrong.txt line 1" in said
    assert "No mail was made on Mon 13 May." in said


def test_a_fault_that_lasts_says_since_when(
    farm: Path, server: MailServer, asked: list[datetime], monkeypatch: pytest.MonkeyPatch
) -> None:
    sent(farm, at(5, 30, 13))
    break_list(monkeypatch, ZeroDivisionError("division\nby zero"))
    for day in (14, 15, 16):
        sent(farm, at(5, 30, day))
    said = text_of(mails(server)[-1])
    assert "A fault of the program (ZeroDivisionError: division by zero)" in said
    assert "Since: Tue 14 May." in said
    assert "No mail was made" not in said
    assert sent(farm, at(11, 30, 16)).status == NOTHING_DUE  # past the cut-off nothing is tried


def test_a_list_that_cannot_be_laid_out_is_a_fault_too(
    farm: Path, server: MailServer, asked: list[datetime], monkeypatch: pytest.MonkeyPatch
) -> None:
    def mail_message(*_: Any, **__: Any) -> EmailMessage:
        raise KeyError("no such word")

    monkeypatch.setattr("scheduler.adapters.mail.message.mail_message", mail_message)
    assert sent(farm, at(5, 30)).status == PENDING
    (mail,) = mails(server)
    assert "KeyError" in text_of(mail)
    with open_farm_database(farm) as database:
        assert database.latest_list(at(6)) is None


def test_a_fault_told_from_outside_makes_no_list(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    found = daily.do_due(
        farm, ("weather", "morning"), at(5, 40), "the work ended (signal SIGKILL)", fetch=no_fetch
    )
    assert found.status == PENDING
    assert asked == []
    assert "The work ended (signal SIGKILL)." in text_of(mails(server)[0])


def no_fetch(*_: Any) -> Update:
    raise AssertionError


def test_a_damaged_database_is_told_once_a_day_without_it(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    (farm / "farm.db").write_bytes(b"no database, and long enough to be looked at" * 30)
    found = sent(farm, at(5, 30))
    assert (found.status, EXIT_STATUS[found.status]) == (DIRECT, 75)
    assert "is not a farm database" in found.warnings[0]
    assert "put back the last good copy" in text_of(mails(server)[0])
    for minute in (45, 59):
        assert sent(farm, at(5, minute)).status == NOTHING_DUE
    assert len(server.received) == 1
    assert sent(farm, at(5, 30, 15)).status == DIRECT


def test_a_damaged_database_leaves_the_mail_due(farm: Path) -> None:
    (farm / "farm.db").write_bytes(b"no database, and long enough to be looked at" * 30)
    times, done = daily.seen(farm, at(5, 30))
    assert due_tasks(times, done, at(5, 30)) == ("morning",)


def test_a_damaged_database_and_no_server_is_tried_again(farm: Path, server: MailServer) -> None:
    (farm / "farm.db").write_bytes(b"no database, and long enough to be looked at" * 30)
    server.fault("mail", "451 later")
    assert sent(farm, at(5, 30)).status == PENDING
    assert sent(farm, at(5, 31)).status == DIRECT


def test_a_database_in_use_is_no_fault_to_mail_of(
    farm: Path, server: MailServer, asked: list[datetime], monkeypatch: pytest.MonkeyPatch
) -> None:
    sent(farm, at(5, 30, 13))
    monkeypatch.setattr("scheduler.adapters.journal.database.BUSY_TIMEOUT_MS", 50)
    other = sqlite3.connect(farm / "farm.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    found = sent(farm, at(5, 30))
    assert found.status == PENDING
    assert "another program is writing" in found.warnings[0]
    other.execute("ROLLBACK")
    other.close()
    assert sent(farm, at(5, 31)).status == SENT
    assert len(server.received) == 2


# ---------------------------------------------------------------------- dry run


def test_a_dry_run_writes_a_file_and_nothing_else(
    farm: Path, server: MailServer, asked: list[datetime], tmp_path: Path
) -> None:
    sent(farm, at(5, 30, 13))
    (farm / "secret").unlink()  # nobody logs in
    with sqlite3.connect(farm / "farm.db") as connection:
        before = list(connection.iterdump())
    found = daily.write_eml(farm, at(5, 30))
    assert found.status == WRITTEN
    assert found.lines == (f"wrote {farm / 'morning-2013-05-14.eml'}; nothing was sent",)
    with sqlite3.connect(farm / "farm.db") as connection:
        assert list(connection.iterdump()) == before
    mail = message_from_bytes((farm / "morning-2013-05-14.eml").read_bytes(), policy=default)
    assert str(mail["Subject"]).startswith("Tue 14 May: ")
    assert len(server.received) == 1
    out = tmp_path / "elsewhere.eml"
    daily.write_eml(farm, at(5, 30), out)
    assert out.exists()


# --------------------------------------------------------------------- evenings


def test_an_evening_note_names_what_ends_before_noon(
    farm: Path, server: MailServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tomorrow's list is asked for, and only what ends before noon is worth a note."""
    whole = stored_morning()
    asked: list[datetime] = []

    def morning(farm: Any, journal: Any, weather: Any, now: datetime, **_: Any) -> Morning:
        asked.append(now)
        ends = {"B4": now + timedelta(hours=4), "B5": now + timedelta(hours=5, minutes=30)}
        beds = tuple(
            replace(bed, last_good_at=ends.get(bed.bed, bed.last_good_at)) for bed in whole.beds
        )
        return replace(whole, as_of=now, day=now.astimezone(ZONE).date(), beds=beds)

    monkeypatch.setattr(service, "morning", morning)
    found = daily.evening_mail(farm, at(19), {})
    assert found.status == SENT
    assert asked == [at(5, 30, 15)]
    (mail,) = mails(server)
    assert mail["Subject"] == "Evening note: B4 and 1 more, last good hour Wed 09:30"
    said = text_of(mail)
    assert "Tomorrow, Wed 15 May, the last good hour comes before noon for:" in said
    assert "B4, carrot: tine weeder from " in said
    assert "last good hour 09:30." in said
    assert "B5, beet: tine weeder" in said
    assert "A2" not in said
    assert daily.evening_mail(farm, at(19, 5), {}).status == NOTHING_DUE
    assert len(server.received) == 1


def test_an_evening_with_nothing_to_say_says_nothing(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    found = daily.evening_mail(farm, at(19), {})
    assert (found.status, found.lines) == (NOTHING_DUE, ("nothing due",))
    assert not server.received
    sent(farm, at(5, 30, 15))
    assert "evening" not in text_of(mails(server)[0])


def test_the_foreseen_list_knows_nothing_that_came_after_the_evening() -> None:
    seen: list[datetime] = []

    class Store:
        def events(self, known_at: datetime) -> tuple[Event, ...]:
            seen.append(known_at)
            return ()

        def weather_values(self, known_at: datetime, start: datetime, end: datetime) -> list[Any]:
            seen.append(known_at)
            return []

        def latest_forecast(self, known_at: datetime) -> None:
            seen.append(known_at)

    known = daily.KnownBy(cast(Any, Store()), at(19))
    known.events(at(5, 30, 15))
    known.weather_values(at(5, 30, 15), at(0), at(23))
    known.latest_forecast(at(5, 30, 15))
    known.latest_forecast(at(12))
    assert seen == [at(19), at(19), at(19), at(12)]


def test_an_evening_over_which_the_work_died_has_no_note(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    found = daily.do_due(farm, ("evening",), at(19), "the work ended before its time, 2 times")
    assert found.status == NOTHING_DUE
    assert found.warnings == ("no evening note: the work ended before its time, 2 times",)
    assert asked == []


# ----------------------------------------------------------------- a minute's work


def test_what_is_seen_of_a_farm_each_minute(
    farm: Path, server: MailServer, asked: list[datetime]
) -> None:
    times, done = daily.seen(farm, at(5, 30))
    assert (times.send_at.isoformat(), times.cut_off.isoformat()) == ("05:30:00", "11:00:00")
    assert (done.morning_on, done.next_try_at) == (None, None)
    server.fault("mail", "451 later")
    daily.do_due(farm, ("morning",), at(5, 30), None)
    _, done = daily.seen(farm, at(5, 30))
    assert (done.morning_on, done.next_try_at) == (DAY, None)
    _, done = daily.seen(farm, at(5, 31))
    assert done.next_try_at == at(5, 31)
    assert daily.do_due(farm, ("post",), at(5, 31), None).status == SENT
    _, done = daily.seen(farm, at(5, 45))
    assert (done.next_try_at, done.last_written_at) == (None, at(5, 30))
    (farm / "farm.toml").write_text("broken = ")
    assert daily.seen(farm, at(5, 46))[1].morning_on == DAY


def test_weather_alone(farm: Path, asked: list[datetime]) -> None:
    with_consent(farm)
    moments = []

    def fetch(described: Any, database: Any, now: datetime) -> Update:
        moments.append(now)
        return Update((), {}, ok=len(moments) > 1)

    found = daily.do_due(farm, ("weather",), at(5, 20), None, fetch=fetch)
    assert found.status == PENDING
    assert daily.do_due(farm, ("weather",), at(5, 21), None, fetch=fetch).status == NOTHING_DUE
    assert moments == [at(5, 20), at(5, 21)]
    assert asked == []
