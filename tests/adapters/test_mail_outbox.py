"""The outbox: one mail of a kind a day, tried with patience, told when it did not arrive."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from email.message import EmailMessage
from pathlib import Path

import pytest

from scheduler.adapters.journal import FarmDatabase, open_farm_database
from scheduler.adapters.mail import outbox
from scheduler.adapters.mail.owners import owner_state, this_process
from scheduler.adapters.mail.post import message_bytes
from scheduler.adapters.mail.settings import MailSettings
from scheduler.errors import (
    JournalError,
    MailLoginError,
    MailPostponedError,
    MailRefusedError,
    MailSettingsError,
)
from tests.golden.make_mornings import farm as made_farm

DAY = date(2013, 5, 14)
NOW = datetime(2013, 5, 14, 9, 30, tzinfo=UTC)  # 05:30 on the farm
MINUTE = timedelta(minutes=1)
ANN, CREW = "ann@example.org", "crew@example.org"
SETTINGS = MailSettings(
    to=(ANN, CREW),
    sender="farm@example.org",
    reply_to=None,
    host="smtp.example.org",
    port=587,
    security="starttls",
    user="farm",
    password_env=None,
    password_file=None,
    ca_file=None,
    send_at=time(5, 30),
    cut_off=time(11, 0),
    evening_note=False,
    contact=None,
    subject=None,
    time_zone="America/New_York",
)


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[FarmDatabase]:
    with open_farm_database(tmp_path, create=True) as database:
        yield database


def letter(kind: str = "morning", on: date = DAY) -> tuple[bytes, str]:
    name = outbox.message_id(kind, on, made_farm(), SETTINGS)
    made = EmailMessage()
    made["From"], made["To"], made["Subject"] = SETTINGS.sender, ", ".join(SETTINGS.to), f"{on}"
    made["Message-ID"] = name
    made.set_content(f"{kind} of {on}")
    return message_bytes(made), name


def keep(
    database: FarmDatabase,
    kind: str = "morning",
    on: date = DAY,
    now: datetime = NOW,
    to: Sequence[str] = (ANN, CREW),
    told_to: int = 0,
) -> bool:
    data, name = letter(kind, on)
    return outbox.keep(database, kind, on, data, to, name, None, now, told_to=told_to)


class Post:
    """A post that answers as told, and notes what it was given."""

    def __init__(self, *answers: Mapping[str, str] | BaseException) -> None:
        self.answers = list(answers)
        self.sent: list[tuple[bytes, tuple[str, ...]]] = []

    def __call__(
        self,
        message: EmailMessage,
        recipients: Sequence[str],
        settings: MailSettings,
        password: str | None,
    ) -> Mapping[str, str]:
        self.sent.append((message_bytes(message), tuple(recipients)))
        answer = self.answers.pop(0) if self.answers else {}
        if isinstance(answer, BaseException):
            raise answer
        return answer


def post(database: FarmDatabase, now: datetime, send: Post, **more: object) -> outbox.PostReport:
    settings = replace(SETTINGS, **more)  # type: ignore[arg-type]
    return outbox.post_due(database, settings, "secret", now, send)


def outcomes(database: FarmDatabase, kind: str = "morning", on: date = DAY) -> dict[str, str]:
    return {found.recipient: found.outcome for found in outbox.deliveries(database, kind, on)}


LATER = MailPostponedError("mail server: broke off; it is tried again")
FINAL = MailRefusedError("mail server: says 554 no; that is final for this mail")
WRONG = MailLoginError("mail server: refuses the login of farm: 535 no")


# ------------------------------------------------------------------- Message-ID


def test_a_message_id_is_the_same_each_time_and_of_no_other_mail() -> None:
    farms = [made_farm(), replace(made_farm(), name="Other"), replace(made_farm(), seed=1)]
    found = {
        outbox.message_id(kind, on, farm, SETTINGS)
        for farm in farms
        for kind in outbox.KINDS
        for on in (DAY, DAY + timedelta(days=1))
    }
    assert len(found) == len(farms) * len(outbox.KINDS) * 2
    again = outbox.message_id("morning", DAY, made_farm(), SETTINGS)
    assert again in found
    assert again.startswith("<morning.2013-05-14.")
    assert again.endswith("@example.org>")


@pytest.mark.parametrize("domain", ["a.org", "a" * 12 + ".example.org", "a" * 60 + ".example.org"])
def test_a_message_id_of_any_length_stays_on_its_line(farm: FarmDatabase, domain: str) -> None:
    settings = replace(SETTINGS, sender=f"farm@{domain}")
    name = outbox.message_id("morning", DAY, made_farm(), settings)
    made = EmailMessage()
    made["Message-ID"] = name
    made.set_content("4 beds")
    data = message_bytes(made)
    assert f"Message-ID: {name}\r\n".encode() in data
    assert outbox.keep(farm, "morning", DAY, data, (ANN,), name, None, NOW)
    send = Post()
    post(farm, NOW, send)
    assert send.sent == [(data, (ANN,))]


def test_the_message_id_does_not_hang_on_what_the_day_brings() -> None:
    other = replace(
        SETTINGS, to=("x@example.net",), host="other.example.net", sender="F <a@example.org>"
    )
    assert outbox.message_id("morning", DAY, made_farm(), SETTINGS) == outbox.message_id(
        "morning", DAY, made_farm(), other
    )


# ------------------------------------------------------------------ claim, keep


def test_one_day_has_one_claim_of_a_kind(farm: FarmDatabase) -> None:
    assert outbox.claim(farm, "morning", DAY, NOW)
    assert not outbox.claim(farm, "morning", DAY, NOW)
    assert outbox.claim(farm, "evening", DAY, NOW)
    assert outbox.claim(farm, "morning", DAY + timedelta(days=1), NOW)


def test_a_claim_runs_out_after_ten_minutes(farm: FarmDatabase) -> None:
    assert outbox.claim(farm, "morning", DAY, NOW)
    assert not outbox.claim(farm, "morning", DAY, NOW + 10 * MINUTE - timedelta(seconds=1))
    assert outbox.claim(farm, "morning", DAY, NOW + 10 * MINUTE)
    assert not outbox.claim(farm, "morning", DAY, NOW + 19 * MINUTE)


def test_a_claim_from_a_clock_that_was_ahead_runs_out_as_well(farm: FarmDatabase) -> None:
    assert outbox.claim(farm, "morning", DAY, NOW + timedelta(hours=3))
    assert outbox.claim(farm, "morning", DAY, NOW)


def test_a_claim_of_a_process_that_is_gone_is_free_at_once(
    farm: FarmDatabase, tmp_path: Path
) -> None:
    code = (
        "import sys; from datetime import *; from scheduler.adapters.mail import outbox; "
        "from scheduler.adapters.journal import open_farm_database; "
        "d = open_farm_database(sys.argv[1]); "
        "print(outbox.claim(d, 'morning', date(2013, 5, 14), datetime.fromisoformat(sys.argv[2])))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path), NOW.isoformat()],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == "True\n"
    assert outbox.claim(farm, "morning", DAY, NOW + timedelta(seconds=1))


def test_a_claim_given_back_is_free_and_one_kept_is_not(farm: FarmDatabase) -> None:
    assert outbox.claim(farm, "morning", DAY, NOW)
    outbox.release(farm, "morning", DAY)
    assert outbox.claim(farm, "morning", DAY, NOW)
    assert keep(farm)
    outbox.release(farm, "morning", DAY)
    assert not outbox.claim(farm, "morning", DAY, NOW + timedelta(hours=1))


def test_a_claim_of_another_process_is_not_given_back(farm: FarmDatabase) -> None:
    with farm.transaction() as connection:
        connection.execute(
            "INSERT INTO ledger VALUES ('morning', '2013-05-14', ?, 'elsewhere|x|y|1|2')",
            (NOW.isoformat(),),
        )
    outbox.release(farm, "morning", DAY)
    assert not outbox.claim(farm, "morning", DAY, NOW + 9 * MINUTE)
    assert outbox.claim(farm, "morning", DAY, NOW + 10 * MINUTE)


def test_one_day_has_one_mail_of_a_kind_whoever_claims(farm: FarmDatabase) -> None:
    assert keep(farm)
    assert not keep(farm, now=NOW + timedelta(hours=1))
    assert keep(farm, "evening")
    assert len(farm.rows("SELECT 1 FROM outbox")) == 2


def test_the_list_goes_in_with_its_mail_or_not_at_all(farm: FarmDatabase) -> None:
    data, name = letter()
    answer = {"plan": {"minutes_planned": 7}}
    assert outbox.keep(farm, "morning", DAY, data, (ANN,), name, None, NOW, issued=(NOW, answer))
    assert not outbox.keep(
        farm, "morning", DAY, data, (ANN,), name, None, NOW, issued=(NOW, {"plan": {}})
    )
    assert farm.latest_list(NOW) == answer
    assert farm.rows("SELECT list_number FROM outbox") == farm.rows("SELECT number FROM lists")


def test_a_mail_without_its_message_id_or_without_recipients_is_a_bug(farm: FarmDatabase) -> None:
    data, name = letter()
    with pytest.raises(ValueError, match="does not carry the Message-ID"):
        outbox.keep(farm, "morning", DAY, data, (ANN,), "<other@example.org>", None, NOW)
    with pytest.raises(ValueError, match="needs recipients"):
        outbox.keep(farm, "morning", DAY, data, (), name, None, NOW)
    with pytest.raises(ValueError, match="needs recipients"):
        outbox.keep(farm, "morning", DAY, data, (f"{ANN}\r\nDATA",), name, None, NOW)
    with pytest.raises(ValueError, match="no mail of the kind 'noon'"):
        outbox.claim(farm, "noon", DAY, NOW)
    assert farm.rows("SELECT 1 FROM outbox") == []


def test_a_recipient_named_twice_gets_one_copy(farm: FarmDatabase) -> None:
    keep(farm, to=(f"Ann <{ANN}>", ANN.upper(), CREW))
    assert outcomes(farm) == {ANN: "pending", CREW: "pending"}


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE outbox SET message = x'00'",
        "UPDATE outbox SET message = NULL",
        "UPDATE outbox SET message_id = 'x'",
        "DELETE FROM outbox",
        "DELETE FROM deliveries",
        "UPDATE delivery_log SET words = 'x'",
        "DELETE FROM delivery_log",
        "UPDATE deliveries SET outcome = 'lost'",
    ],
)
def test_a_kept_mail_cannot_be_changed_or_lost(farm: FarmDatabase, statement: str) -> None:
    keep(farm)
    post(farm, NOW, Post(LATER))
    with pytest.raises(sqlite3.IntegrityError), farm.transaction() as connection:
        connection.execute(statement)


def test_what_was_sent_stays_sent(farm: FarmDatabase) -> None:
    keep(farm)
    post(farm, NOW, Post())
    with pytest.raises(sqlite3.IntegrityError), farm.transaction() as connection:
        connection.execute("UPDATE deliveries SET outcome = 'pending'")


def test_bytes_long_done_with_are_forgotten_and_open_ones_are_not(farm: FarmDatabase) -> None:
    keep(farm)
    post(farm, NOW, Post())
    keep(farm, on=DAY + timedelta(days=1), now=NOW + timedelta(days=1))
    far = DAY + timedelta(days=70)
    keep(farm, on=far, now=NOW + timedelta(days=70))
    held = dict(farm.rows("SELECT day, message IS NOT NULL FROM outbox"))
    assert held == {"2013-05-14": 0, "2013-05-15": 1, far.isoformat(): 1}
    assert not outbox.claim(farm, "morning", DAY, NOW)


# ---------------------------------------------------------------------- posting


def test_a_mail_goes_out_once_to_all(farm: FarmDatabase) -> None:
    keep(farm)
    send = Post()
    report = post(farm, NOW, send)
    assert (report.sent, report.refused, report.pending, report.given_up) == (2, 0, 0, 0)
    assert report.lines == (
        f"{ANN}: the morning mail of Tue 14 May is sent",
        f"{CREW}: the morning mail of Tue 14 May is sent",
    )
    assert send.sent == [(letter()[0], (ANN, CREW))]
    for later in (MINUTE, timedelta(hours=1), timedelta(days=1)):
        assert post(farm, NOW + later, send).lines == ()
    assert len(send.sent) == 1
    assert outcomes(farm) == {ANN: "sent", CREW: "sent"}


def test_waits_grow_and_the_cut_off_ends_them(farm: FarmDatabase) -> None:
    """1, 5, 15, then every 45 minutes from 05:30 on; at 11:00 it is given up."""
    keep(farm)
    send = Post(*[LATER] * 50)
    tried = []
    for minute in range(400):
        n_before = len(send.sent)
        post(farm, NOW + minute * MINUTE, send)
        if len(send.sent) > n_before:
            tried.append(minute)
    assert tried == [0, 1, 6, 21, 66, 111, 156, 201, 246, 291]
    assert outcomes(farm) == {ANN: "given up", CREW: "given up"}
    assert {data for data, _ in send.sent} == {letter()[0]}


def test_given_up_at_the_cut_off_of_the_farm_clock(farm: FarmDatabase) -> None:
    keep(farm)
    send = Post(*[LATER] * 9)
    assert post(farm, NOW, send).pending == 2
    cut_off = datetime(2013, 5, 14, 15, 0, tzinfo=UTC)
    report = post(farm, cut_off - timedelta(seconds=1), send)
    assert (report.pending, report.given_up) == (2, 0)
    report = post(farm, cut_off, send)
    assert (report.pending, report.given_up) == (0, 2)
    assert report.lines[0] == (
        f"The morning mail of Tue 14 May did not reach {ANN} (2 tries): mail server: broke off; it "
        "is tried again"
    )
    assert post(farm, cut_off + MINUTE, send).lines == ()
    assert len(send.sent) == 2


def test_a_mail_made_at_the_cut_off_is_tried_for_two_hours(farm: FarmDatabase) -> None:
    noon = datetime(2013, 5, 14, 16, 0, tzinfo=UTC)
    keep(farm, now=noon)
    assert post(farm, noon, Post(LATER)).pending == 2
    assert post(farm, noon + MINUTE, Post()).sent == 2
    assert outbox.give_up_at(DAY, noon, SETTINGS) == noon + timedelta(hours=2)


def test_the_cut_off_across_a_clock_change() -> None:
    before = outbox.give_up_at(date(2013, 3, 9), NOW.replace(month=3, day=9), SETTINGS)
    after = outbox.give_up_at(date(2013, 3, 10), NOW.replace(month=3, day=10), SETTINGS)
    assert (before, after) == (
        datetime(2013, 3, 9, 16, tzinfo=UTC),
        datetime(2013, 3, 10, 15, tzinfo=UTC),
    )


def test_5xx_is_never_tried_again(farm: FarmDatabase) -> None:
    keep(farm)
    send = Post(FINAL)
    report = post(farm, NOW, send)
    assert (report.sent, report.refused, report.pending) == (0, 2, 0)
    for minute in range(400):
        assert post(farm, NOW + minute * MINUTE, send).lines == ()
    assert len(send.sent) == 1


def test_a_partial_refusal_counts_as_sent_for_the_others_alone(farm: FarmDatabase) -> None:
    keep(farm)
    send = Post({CREW: "550 5.1.1 no such user"})
    report = post(farm, NOW, send)
    assert (report.sent, report.refused, report.pending) == (1, 1, 0)
    assert outcomes(farm) == {ANN: "sent", CREW: "refused"}
    post(farm, NOW + timedelta(hours=1), send)
    assert len(send.sent) == 1


def test_a_greylisted_recipient_is_tried_again_alone(farm: FarmDatabase) -> None:
    keep(farm)
    send = Post({CREW: "450 4.2.0 greylisted"})
    report = post(farm, NOW, send)
    assert (report.sent, report.refused, report.pending) == (1, 0, 1)
    assert report.lines[1] == (
        f"{CREW}: the morning mail of Tue 14 May is not sent yet, next try 05:31: 450 4.2.0 "
        "greylisted"
    )
    post(farm, NOW + MINUTE, send)
    assert send.sent[1:] == [(letter()[0], (CREW,))]
    assert outcomes(farm) == {ANN: "sent", CREW: "sent"}


def test_a_refusal_stands_though_the_line_breaks_after_it(farm: FarmDatabase) -> None:
    keep(farm)
    send = Post(MailPostponedError("mail server: broke off", {CREW: "550 no such user"}))
    report = post(farm, NOW, send)
    assert (report.sent, report.refused, report.pending) == (0, 1, 1)
    post(farm, NOW + MINUTE, send)
    assert send.sent[1:] == [(letter()[0], (ANN,))]
    assert outcomes(farm) == {ANN: "sent", CREW: "refused"}


def test_an_answer_for_an_address_in_other_letters_is_not_lost(farm: FarmDatabase) -> None:
    keep(farm)
    post(farm, NOW, Post({f"Crew <{CREW.upper()}>": "550 no"}))
    assert outcomes(farm) == {ANN: "sent", CREW: "refused"}


def test_older_mails_go_first_and_one_that_fails_does_not_hold_up_the_next(
    farm: FarmDatabase,
) -> None:
    keep(farm)
    keep(farm, "evening")
    send = Post(LATER, {})
    post(farm, NOW, send)
    assert [data for data, _ in send.sent] == [letter()[0], letter("evening")[0]]
    assert outcomes(farm) == {ANN: "pending", CREW: "pending"}
    assert outcomes(farm, "evening") == {ANN: "sent", CREW: "sent"}


def test_due_names_what_would_be_tried(farm: FarmDatabase) -> None:
    assert outbox.due(farm, NOW) == ()
    keep(farm)
    (found,) = outbox.due(farm, NOW)
    assert (found.kind, found.on, found.recipients) == ("morning", DAY, (ANN, CREW))
    assert (found.message, found.message_id) == letter()
    post(farm, NOW, Post({CREW: "450 later", ANN: "450 later"}))
    assert outbox.due(farm, NOW) == ()
    assert outbox.due(farm, NOW + MINUTE)[0].recipients == (ANN, CREW)


def test_a_next_try_from_a_clock_that_was_ahead_is_due(farm: FarmDatabase) -> None:
    keep(farm)
    post(farm, NOW + timedelta(hours=3), Post(LATER))
    assert post(farm, NOW, Post()).sent == 2


# ------------------------------------------------------- faults of the settings


def test_a_fault_of_the_settings_holds_the_mail_until_they_change(farm: FarmDatabase) -> None:
    keep(farm)
    send = Post(WRONG)
    report = post(farm, NOW, send)
    assert report.settings_fault == str(WRONG)
    assert (report.pending, report.refused) == (2, 0)
    for minute in range(1, 200):
        report = post(farm, NOW + minute * MINUTE, send)
        assert report.settings_fault == str(WRONG)
        assert report.lines == ()
    assert len(send.sent) == 1, "a wrong password is not tried again and again"
    assert post(farm, NOW + 201 * MINUTE, send, user="other").sent == 2


def test_a_new_password_lets_the_mail_go(farm: FarmDatabase) -> None:
    keep(farm)
    post(farm, NOW, Post(WRONG))
    send = Post()
    assert outbox.post_due(farm, SETTINGS, "secret", NOW + MINUTE, send).sent == 0
    assert outbox.post_due(farm, SETTINGS, "better", NOW + MINUTE, send).sent == 2


def test_a_new_process_tries_a_held_mail_once(
    farm: FarmDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(farm)
    post(farm, NOW, Post(WRONG))
    monkeypatch.setattr(outbox, "_SALT", b"another process's")
    assert post(farm, NOW + MINUTE, Post()).sent == 2


def test_what_holds_a_mail_tells_nothing_of_the_password(farm: FarmDatabase) -> None:
    """The mark is made with a key that is never stored."""
    keep(farm)
    post(farm, NOW, Post(WRONG))
    before = farm.rows("SELECT DISTINCT held_by FROM deliveries")[0][0]
    assert "secret" not in before
    dumped = "\n".join(farm._connection.iterdump())
    assert "secret" not in dumped
    assert outbox._SALT.hex() not in dumped.casefold()


def test_a_held_mail_is_given_up_at_the_cut_off_too(farm: FarmDatabase) -> None:
    keep(farm)
    post(farm, NOW, Post(WRONG))
    report = post(farm, NOW + timedelta(hours=6), Post())
    assert (report.given_up, report.settings_fault) == (2, "")


def test_a_certificate_that_is_not_trusted_is_looked_at_again_after_a_while(
    farm: FarmDatabase,
) -> None:
    """A network that asks to sign in, or a clock not set yet, passes; a wrong password does not."""
    keep(farm)
    untrusted = MailSettingsError("mail server: its certificate is not trusted (not yet valid)")
    send = Post(untrusted)
    for minute in range(45):
        report = post(farm, NOW + minute * MINUTE, send)
        assert report.settings_fault == str(untrusted)
    assert len(send.sent) == 1
    report = post(farm, NOW + 45 * MINUTE, send)
    assert (report.sent, report.settings_fault) == (2, "")


def test_mended_settings_are_tried_at_once(farm: FarmDatabase) -> None:
    keep(farm)
    post(farm, NOW, Post(MailSettingsError("mail server: its certificate is not trusted")))
    assert post(farm, NOW + MINUTE, Post(), ca_file="my-ca.pem").sent == 2


def test_the_first_fault_of_the_settings_ends_the_round(farm: FarmDatabase) -> None:
    keep(farm)
    keep(farm, "evening")
    send = Post(WRONG, WRONG)
    post(farm, NOW, send)
    assert len(send.sent) == 1


# ---------------------------------------------------------------- stops, crashes


def test_a_stop_within_sending_puts_the_mail_back(farm: FarmDatabase) -> None:
    keep(farm)
    with pytest.raises(KeyboardInterrupt):
        post(farm, NOW, Post(KeyboardInterrupt()))
    assert outcomes(farm) == {ANN: "pending", CREW: "pending"}
    send = Post()
    assert post(farm, NOW + MINUTE, send).sent == 2
    assert send.sent == [(letter()[0], (ANN, CREW))]


def test_a_bug_within_sending_puts_the_mail_back_and_is_not_hidden(farm: FarmDatabase) -> None:
    keep(farm)
    with pytest.raises(ZeroDivisionError):
        post(farm, NOW, Post(ZeroDivisionError("secret")))
    (found, _) = outbox.deliveries(farm, "morning", DAY)
    assert found.words == "the program was stopped while sending (ZeroDivisionError)"


def sending_by(database: FarmDatabase, owner: str, at: datetime = NOW) -> None:
    """As a process leaves it that was killed between the mark and the outcome."""
    with database.transaction() as connection:
        connection.execute(
            "UPDATE deliveries SET outcome = 'sending', tries = 1, sending_at = ?, sending_by = ?",
            (at.isoformat(), f"{owner}#0"),
        )


def gone_process() -> str:
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "from scheduler.adapters.mail.owners import this_process; print(this_process())",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def test_what_a_dead_process_was_sending_goes_out_again_the_same(farm: FarmDatabase) -> None:
    keep(farm)
    sending_by(farm, gone_process())
    send = Post()
    assert post(farm, NOW + MINUTE, send).sent == 2
    assert send.sent == [(letter()[0], (ANN, CREW))]
    words = farm.rows("SELECT words FROM delivery_log WHERE outcome = 'sending'")
    assert words == [("taken up again after a stop",)] * 2


@pytest.mark.parametrize(
    ("owner", "minutes"), [("elsewhere|boot|room|1|2", 10), ("this", 30), ("", 10)]
)
def test_what_another_is_sending_is_left_alone_for_a_while(
    farm: FarmDatabase, owner: str, minutes: int
) -> None:
    keep(farm)
    sending_by(farm, this_process() if owner == "this" else owner)
    send = Post()
    report = post(farm, NOW + minutes * MINUTE - timedelta(seconds=1), send)
    assert (report.sent, report.pending) == (0, 2)
    assert send.sent == []
    assert post(farm, NOW + minutes * MINUTE, send).sent == 2


def test_what_is_being_sent_is_not_given_up_under_its_hands(farm: FarmDatabase) -> None:
    cut_off = datetime(2013, 5, 14, 15, 0, tzinfo=UTC)
    keep(farm)
    sending_by(farm, this_process(), cut_off - MINUTE)
    assert post(farm, cut_off + MINUTE, Post()).given_up == 0
    assert outcomes(farm) == {ANN: "sending", CREW: "sending"}


def test_a_dead_sending_past_the_cut_off_says_that_it_may_have_arrived(
    farm: FarmDatabase,
) -> None:
    keep(farm)
    sending_by(farm, gone_process())
    send = Post()
    report = post(farm, NOW + timedelta(hours=7), send)
    assert (report.given_up, send.sent) == (2, [])
    assert "stopped while sending; it may have arrived" in report.lines[0]


def test_who_lost_the_mark_does_not_write_over_the_one_who_has_it(farm: FarmDatabase) -> None:
    """A process that slept through its time fails late; the mail went out meanwhile."""
    keep(farm)
    in_between = Post()

    def sleepy(*_: object) -> Mapping[str, str]:
        assert post(farm, NOW + 31 * MINUTE, in_between).sent == 2
        raise LATER

    report = outbox.post_due(farm, SETTINGS, "secret", NOW, sleepy)
    assert report.lines == ()
    assert outcomes(farm) == {ANN: "sent", CREW: "sent"}
    assert len(in_between.sent) == 1


def test_who_sent_after_losing_the_mark_has_sent(farm: FarmDatabase) -> None:
    keep(farm)

    def sleepy(*_: object) -> Mapping[str, str]:
        assert post(farm, NOW + 31 * MINUTE, Post(LATER)).pending == 2
        return {}

    assert outbox.post_due(farm, SETTINGS, "secret", NOW, sleepy).sent == 2
    assert outcomes(farm) == {ANN: "sent", CREW: "sent"}
    assert post(farm, NOW + timedelta(hours=1), Post()).sent == 0


def test_what_was_given_up_and_then_sent_after_all_is_not_told(farm: FarmDatabase) -> None:
    keep(farm)

    def sleepy(*_: object) -> Mapping[str, str]:
        assert post(farm, NOW + timedelta(hours=7), Post()).given_up == 2
        return {}

    outbox.post_due(farm, SETTINGS, "secret", NOW, sleepy)
    assert outcomes(farm) == {ANN: "sent", CREW: "sent"}
    assert outbox.history(farm, SETTINGS, NOW + timedelta(days=1)).lines == ()


def test_an_outcome_is_written_though_another_program_holds_the_file(
    farm: FarmDatabase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(farm)
    farm._connection.execute("PRAGMA busy_timeout = 50")
    monkeypatch.setattr(outbox, "WRITE_WAIT_S", 0.05)
    other = sqlite3.connect(tmp_path / "farm.db", isolation_level=None, check_same_thread=False)

    def blocked(*_: object) -> Mapping[str, str]:
        other.execute("BEGIN IMMEDIATE")
        threading.Timer(0.3, lambda: other.execute("ROLLBACK")).start()
        return {}

    assert outbox.post_due(farm, SETTINGS, "secret", NOW, blocked).sent == 2
    other.close()
    assert outcomes(farm) == {ANN: "sent", CREW: "sent"}


def test_nothing_is_sent_where_the_mark_cannot_be_written(
    farm: FarmDatabase, tmp_path: Path
) -> None:
    keep(farm)
    farm._connection.execute("PRAGMA busy_timeout = 50")
    other = sqlite3.connect(tmp_path / "farm.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    send = Post()
    with pytest.raises(JournalError, match="another program is writing"):
        post(farm, NOW, send)
    other.close()
    assert send.sent == []


def test_a_tick_without_anything_to_do_takes_no_lock(farm: FarmDatabase, tmp_path: Path) -> None:
    keep(farm)
    post(farm, NOW, Post({CREW: "450 later"}))
    farm._connection.execute("PRAGMA busy_timeout = 50")
    other = sqlite3.connect(tmp_path / "farm.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    assert post(farm, NOW + timedelta(seconds=30), Post()).pending == 1
    other.close()


# ----------------------------------------------------------- two at the same time


def at_once(folder: Path, n: int, act: Callable[[FarmDatabase], object]) -> list[object]:
    """What `n` openings of the same file come to when they act in the same moment."""
    gate = threading.Barrier(n)
    found: list[object] = []

    def run() -> None:
        with open_farm_database(folder) as database:
            gate.wait()
            found.append(act(database))

    threads = [threading.Thread(target=run) for _ in range(n)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


def test_of_many_that_claim_at_once_one_gets_it(farm: FarmDatabase, tmp_path: Path) -> None:
    for n in range(5):
        day = DAY + timedelta(days=n)
        found = at_once(tmp_path, 6, lambda it, on=day: outbox.claim(it, "morning", on, NOW))  # type: ignore[misc]
        assert sorted(map(bool, found)) == [False] * 5 + [True]


def test_of_many_that_keep_at_once_one_does(farm: FarmDatabase, tmp_path: Path) -> None:
    found = at_once(tmp_path, 6, keep)
    assert sorted(map(bool, found)) == [False] * 5 + [True]


def test_of_many_that_post_at_once_one_sends(farm: FarmDatabase, tmp_path: Path) -> None:
    for n in range(5):
        keep(farm, on=DAY + timedelta(days=n), now=NOW + timedelta(days=n))
        send = Post()
        now = NOW + timedelta(days=n)
        at_once(tmp_path, 6, lambda it, now=now, send=send: post(it, now, send))  # type: ignore[misc]
        assert len(send.sent) == 1


# ------------------------------------------------------------------ what is told


def test_what_did_not_arrive_is_told_until_a_mail_arrives(farm: FarmDatabase) -> None:
    keep(farm)
    post(farm, NOW, Post({CREW: "550 5.1.1 no such user", ANN: "450 later"}))
    day_2 = NOW + timedelta(days=1)
    told = outbox.history(farm, SETTINGS, day_2)
    assert told.lines == (
        f"The morning mail of Tue 14 May was refused for {CREW}: 550 5.1.1 no such user",
        f"The morning mail of Tue 14 May did not reach {ANN} (1 try): 450 later",
    )
    keep(farm, on=DAY + timedelta(days=1), now=day_2, told_to=told.mark)
    assert outbox.history(farm, SETTINGS, day_2) == told, "kept is not yet arrived"
    post(farm, day_2, Post(FINAL))
    again = outbox.history(farm, SETTINGS, day_2 + timedelta(days=1))
    assert again.lines[:2] == told.lines
    assert len(again.lines) == 4
    day_3 = NOW + timedelta(days=2)
    keep(farm, on=DAY + timedelta(days=2), now=day_3, told_to=again.mark)
    post(farm, day_3, Post({CREW: "550 still not"}))
    last = outbox.history(farm, SETTINGS, day_3)
    assert last.lines == (f"The morning mail of Thu 16 May was refused for {CREW}: 550 still not",)


def test_what_comes_up_between_reading_and_keeping_is_told_by_the_next(
    farm: FarmDatabase,
) -> None:
    keep(farm, to=(CREW,))
    told = outbox.history(farm, SETTINGS, NOW)
    assert told == outbox.History((), 0)
    post(farm, NOW, Post({CREW: "550 no"}))
    keep(farm, "evening", now=NOW, to=(ANN,), told_to=told.mark)
    post(farm, NOW, Post())
    assert len(outbox.history(farm, SETTINGS, NOW).lines) == 1


def test_a_mail_begun_and_never_made_is_told_the_next_day(farm: FarmDatabase) -> None:
    assert outbox.claim(farm, "morning", DAY, NOW)
    assert outbox.history(farm, SETTINGS, NOW + timedelta(hours=12)).lines == ()
    told = outbox.history(farm, SETTINGS, NOW + timedelta(days=1))
    assert told.lines == ("The morning mail of Tue 14 May was begun and never made.",)
    assert outbox.history(farm, SETTINGS, NOW + timedelta(days=1)) == told


def test_a_long_outage_is_told_in_few_lines(farm: FarmDatabase) -> None:
    for n in range(10):
        now = NOW + timedelta(days=n)
        keep(farm, on=DAY + timedelta(days=n), now=now, to=(ANN,))
        post(farm, now, Post(LATER))
    told = outbox.history(farm, SETTINGS, NOW + timedelta(days=10))
    assert len(told.lines) == 6
    assert told.lines[0] == "5 mails before these did not arrive either."
    assert "Thu 23 May" in told.lines[-1]


def test_words_of_a_hostile_server_stay_words(farm: FarmDatabase) -> None:
    keep(farm, to=(ANN,))
    post(farm, NOW, Post({ANN: "550 '); DROP TABLE outbox; --"}))
    (line,) = outbox.history(farm, SETTINGS, NOW).lines
    assert line.endswith("550 '); DROP TABLE outbox; --")
    assert outbox.is_kept(farm, "morning", DAY)


def test_which_days_have_a_mail(farm: FarmDatabase) -> None:
    assert outbox.last_day(farm, "morning", DAY) is None
    keep(farm)
    assert outbox.is_kept(farm, "morning", DAY)
    assert not outbox.is_kept(farm, "evening", DAY)
    assert outbox.last_day(farm, "morning", DAY) is None
    assert outbox.last_day(farm, "morning", DAY + timedelta(days=3)) == DAY
    assert outbox.deliveries(farm, "evening", DAY) == ()


# ---------------------------------------------------------------------- processes


def test_a_process_knows_itself_and_the_dead(monkeypatch: pytest.MonkeyPatch) -> None:
    assert owner_state(this_process()) == "alive"
    dead = gone_process()
    assert owner_state(dead) == "gone"
    parts = this_process().split("|")
    assert owner_state("|".join([*parts[:4], "1"])) == "gone", "its number went to another"
    assert owner_state("|".join(["other", *parts[1:]])) == "unknown"
    assert owner_state("|".join([parts[0], "an earlier start", *parts[2:]])) == "gone"
    for text in ("", "nonsense", "a|b|c|d|e", "|".join([*parts[:3], "-1", ""])):
        assert owner_state(text) == "unknown"


def test_a_killed_process_that_nobody_has_buried_is_gone() -> None:
    import time as clock

    with subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from scheduler.adapters.mail.owners import this_process; import time; "
            "print(this_process(), flush=True); time.sleep(60)",
        ],
        stdout=subprocess.PIPE,
        text=True,
    ) as child:
        assert child.stdout is not None
        owner = child.stdout.readline().strip()
        assert owner_state(owner) == "alive"
        child.kill()
        for _ in range(200):
            if owner_state(owner) == "gone":
                break
            clock.sleep(0.01)
        assert owner_state(owner) == "gone"
