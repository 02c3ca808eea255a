"""The outbox in farm.db: one mail of a kind a day, kept before it goes out, tried until its end.

Claim, make, keep, post. A claim says who makes the mail; it only saves work, since `keep` lets in
one mail of a kind and a day whoever comes. A kept mail is never changed. Before it goes to the
server its deliveries are marked `sending` in a transaction of their own; who finds that mark after
a crash sends the same bytes under the same Message-ID once more, as the server may or may not have
had them, and a receiver drops the double by its Message-ID.
"""

from __future__ import annotations

import hashlib
import secrets
import sqlite3
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from email.message import EmailMessage
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.adapters.journal.database import FarmDatabase, insert_list
from scheduler.adapters.journal.moments import utc_moment, utc_text
from scheduler.adapters.mail.owners import ALIVE, GONE, owner_state, this_process
from scheduler.adapters.mail.post import parsed_message, send_message
from scheduler.adapters.mail.settings import MailSettings, bare_address, each_once, settings_from
from scheduler.errors import (
    JournalError,
    MailLoginError,
    MailPostponedError,
    MailRefusedError,
    MailSettingsError,
)
from scheduler.records import Farm

Send = Callable[[EmailMessage, Sequence[str], MailSettings, str | None], Mapping[str, str]]

KINDS = ("morning", "evening", "fault")
WAITS = tuple(timedelta(minutes=wait_min) for wait_min in (1, 5, 15, 45))
CLAIM_HOLDS = timedelta(minutes=10)
SENDING_HOLDS = timedelta(minutes=10)  # longer than one call of `send_message` can last
SENDING_HOLDS_ALIVE = timedelta(minutes=30)  # where the sending process is seen to run
LEAST_TRYING = timedelta(hours=2)  # of a mail that is made shortly before the cut-off, or after
BYTES_KEPT = timedelta(days=60)
MOST_LINES = 6  # of mails that did not arrive, in the next mail
N_WRITES, WRITE_WAIT_S = 12, 0.5  # of an outcome, each try with the patience of the database

_MAIL_WORDS = {"morning": "morning mail", "evening": "evening note", "fault": "mail of a fault"}
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_SALT = secrets.token_bytes(16)  # never stored: a later process tries a held mail once more


@dataclass(frozen=True)
class KeptMail:
    """A mail in the outbox; `recipients` are those it is now due to."""

    number: int
    kind: str
    on: date
    kept_at: datetime
    message_id: str
    message: bytes
    recipients: tuple[str, ...]
    tries: tuple[int, ...]  # how often each of them was tried, with the try for which it is taken


@dataclass(frozen=True)
class Delivery:
    """How one mail stands with one recipient."""

    kind: str
    on: date
    recipient: str
    outcome: str  # pending, sending, sent, refused, given up
    tries: int
    next_try_at: datetime | None
    words: str  # what the server, or the way to it, said last


@dataclass(frozen=True)
class PostReport:
    """What one round of posting came to; `pending` are all the deliveries still open after it.

    `settings_fault` is why deliveries are held until settings or password change, or a new process
    tries; empty: none are.
    """

    sent: int
    refused: int
    pending: int
    given_up: int
    lines: tuple[str, ...]
    settings_fault: str = ""


@dataclass(frozen=True)
class History:
    """What the next mail has to tell of mails before it; hand `mark` to `keep` with that mail."""

    lines: tuple[str, ...]
    mark: int


def message_id(kind: str, on: date, farm: Farm, settings: MailSettings) -> str:
    """The Message-ID of the mail of a kind and a day: always the same."""
    _check_kind(kind)
    place = f"{farm.place.latitude_deg:.5f} {farm.place.longitude_deg:.5f}"
    told = "\n".join((farm.name, str(farm.seed), place, kind, on.isoformat()))
    digest = hashlib.sha256(told.encode()).hexdigest()[:16]
    domain = bare_address(settings.sender).rpartition("@")[2]
    return f"<{kind}.{on.isoformat()}.{digest}@{domain}>"


# -------------------------------------------------------------- claim, keep


def claim(database: FarmDatabase, kind: str, on: date, now: datetime) -> bool:
    """Take it on to make the mail of a kind and a day; False if it is made, or another makes it.

    A claim is taken over when its process is gone or it is ten minutes old.
    """
    _check_kind(kind)
    key = (kind, on.isoformat())
    with database.transaction() as connection:
        if _is_kept(connection, key):
            return False
        held = connection.execute(
            "SELECT claimed_at, claimed_by FROM ledger WHERE kind = ? AND day = ?", key
        ).fetchone()
        if held is not None and not _is_claim_stale(held[0], held[1], now):
            return False
        connection.execute(
            "INSERT OR REPLACE INTO ledger (kind, day, claimed_at, claimed_by) VALUES (?, ?, ?, ?)",
            (*key, utc_text(now), this_process()),
        )
    return True


def release(database: FarmDatabase, kind: str, on: date) -> None:
    """Give back a claim of this process, so that the next try need not wait for its end."""
    with database.transaction() as connection:
        if not _is_kept(connection, (kind, on.isoformat())):
            connection.execute(
                "DELETE FROM ledger WHERE kind = ? AND day = ? AND claimed_by = ?",
                (kind, on.isoformat(), this_process()),
            )


def keep(
    database: FarmDatabase,
    kind: str,
    on: date,
    message: bytes,
    recipients: Sequence[str],
    message_id: str,
    list_number: int | None,
    now: datetime,
    *,
    told_to: int = 0,
    issued: tuple[datetime, Mapping[str, Any]] | None = None,
) -> bool:
    """Put a mail into the outbox, ready to go; False, and nothing written, if one is there.

    With `issued` (`as_of` and the answer) the list it carries is stored in the same transaction.
    `told_to` is the mark of the history this mail tells.

    Raises
    ------
    ValueError
        If the message does not carry `message_id`, or there is nobody to send it to.
    """
    _check_kind(kind)
    addresses = _addresses(recipients)
    if parsed_message(message)["Message-ID"] != message_id:
        raise ValueError(f"the message does not carry the Message-ID {message_id}")
    key = (kind, on.isoformat())
    with database.transaction() as connection:
        if _is_kept(connection, key):
            return False
        if issued is not None:
            list_number = insert_list(connection, issued[0], now, issued[1])
        connection.execute(
            "INSERT OR IGNORE INTO ledger (kind, day, claimed_at, claimed_by) VALUES (?, ?, ?, ?)",
            (*key, utc_text(now), this_process()),
        )
        number = connection.execute(
            "INSERT INTO outbox (kind, day, kept_at, list_number, message_id, message, told_to) "
            "VALUES (?, ?, ?, ?, ?, ?, ?)",
            (*key, utc_text(now), list_number, message_id, message, told_to),
        ).lastrowid
        connection.executemany(
            "INSERT INTO deliveries (mail, recipient, outcome) VALUES (?, ?, 'pending')",
            [(number, address) for address in addresses],
        )
        connection.execute(_FORGET_OLD_BYTES, ((on - BYTES_KEPT).isoformat(),))
    return True


def is_kept(database: FarmDatabase, kind: str, on: date) -> bool:
    """Whether the mail of a kind and a day is in the outbox, sent or not."""
    return bool(
        database.rows("SELECT 1 FROM outbox WHERE kind = ? AND day = ?", (kind, on.isoformat()))
    )


def last_day(database: FarmDatabase, kind: str, before: date) -> date | None:
    """The last day before `before` whose mail of that kind was made; None: there is none."""
    found = database.rows(
        "SELECT max(day) FROM outbox WHERE kind = ? AND day < ?", (kind, before.isoformat())
    )[0][0]
    return None if found is None else date.fromisoformat(found)


def deliveries(database: FarmDatabase, kind: str, on: date) -> tuple[Delivery, ...]:
    """How the mail of a kind and a day stands with each recipient; empty: it is not made."""
    rows = database.rows(
        "SELECT kind, day, recipient, outcome, tries, next_try_at, words FROM deliveries "
        "JOIN outbox ON number = mail WHERE kind = ? AND day = ? ORDER BY recipient",
        (kind, on.isoformat()),
    )
    return tuple(
        Delivery(
            kind=row[0],
            on=date.fromisoformat(row[1]),
            recipient=row[2],
            outcome=row[3],
            tries=row[4],
            next_try_at=None if row[5] is None else utc_moment(row[5]),
            words=row[6],
        )
        for row in rows
    )


# -------------------------------------------------------------------- posting


def due(database: FarmDatabase, now: datetime) -> tuple[KeptMail, ...]:
    """Mails to be tried now, oldest first; whether settings hold them is seen when posting."""
    by_mail: dict[int, list[_Open]] = {}
    for found in _open_rows(database.rows(_OPEN)):
        if _is_due(found, now, held_by=""):
            by_mail.setdefault(found.mail, []).append(found)
    return tuple(_kept(database.rows(_MAIL, (mail,))[0], rows) for mail, rows in by_mail.items())


def post_due(
    database: FarmDatabase,
    settings: MailSettings,
    password: str | None,
    now: datetime,
    send: Send = send_message,
) -> PostReport:
    """Try every mail that is due once, each at one go to all it is due to.

    Connection faults and answers 4xx are tried again after 1, 5, 15 and then every 45 minutes until
    the cut-off of the mail's day; answers 5xx never. A fault of the settings holds the mail: after
    a refused login until settings, password or process are others, else for 45 minutes at most.
    """
    settings = settings_from(settings, database.path.parent)
    held_by = _hold_mark(settings, password)
    lines = list(give_up_late(database, settings, now))
    n_given_up = len(lines)
    n_by_outcome = {"sent": 0, "refused": 0}
    fault = ""
    tried: set[int] = set()
    while not fault:
        token = f"{this_process()}#{secrets.token_hex(8)}"
        mail = _take(database, now, token, held_by, tried)
        if mail is None:
            break
        tried.add(mail.number)
        try:
            outcomes = _outcomes(mail, settings, password, now, held_by, send)
        except BaseException as error:
            _put_back(database, mail, token, now, error)
            raise
        for told in _settled(database, mail, token, now, outcomes):
            n_by_outcome[told.outcome] = n_by_outcome.get(told.outcome, 0) + 1
            lines.append(_line(mail, told, settings))
            fault = fault or (told.words if told.held_by else "")
    still = _open_rows(database.rows(_OPEN))
    held = [row.words for row in still if row.held_by == held_by]
    return PostReport(
        sent=n_by_outcome["sent"],
        refused=n_by_outcome["refused"],
        pending=len(still),
        given_up=n_given_up,
        lines=tuple(lines),
        settings_fault=fault or (held[0] if held else ""),
    )


def give_up_late(database: FarmDatabase, settings: MailSettings, now: datetime) -> tuple[str, ...]:
    """Close what is past its cut-off, and claims of earlier days that came to nothing."""
    today = now.astimezone(ZoneInfo(settings.time_zone)).date()
    claims = database.rows(_BARREN_CLAIMS, (today.isoformat(),))
    if not claims and not any(
        _is_late(row, settings, now) for row in _open_rows(database.rows(_OPEN))
    ):
        return ()
    lines = []
    with database.transaction() as connection:
        for row in _open_rows(connection.execute(_OPEN).fetchall()):
            if not _is_late(row, settings, now):
                continue
            words = row.words
            if row.outcome == "sending":
                words = "the program was stopped while sending; it may have arrived"
            told = _Outcome(row.recipient, "given up", words or "no try was made", row.tries)
            _write_outcome(connection, row.mail, told)
            _log(connection, row.kind, row.day, told, now)
            lines.append(
                _past_line(row.kind, row.day, told.recipient, "given up", told.words, told.tries)
            )
        for kind, day, claimed_at, claimed_by in connection.execute(
            _BARREN_CLAIMS, (today.isoformat(),)
        ).fetchall():
            if not _is_claim_stale(claimed_at, claimed_by, now):
                continue
            connection.execute("DELETE FROM ledger WHERE kind = ? AND day = ?", (kind, day))
            _log(connection, kind, day, _Outcome(None, "given up", "", 0), now)
            lines.append(_past_line(kind, day, None, "given up", "", 0))
    return tuple(lines)


def history(database: FarmDatabase, settings: MailSettings, now: datetime) -> History:
    """What went wrong with mails and is not told by a mail that reached anybody."""
    give_up_late(database, settings, now)
    rows = database.rows(_UNTOLD)
    lines = list(dict.fromkeys(_past_line(*row[1:]) for row in rows))
    if len(lines) > MOST_LINES:
        n_left_out = len(lines) - MOST_LINES + 1
        lines = [f"{n_left_out} mails before these did not arrive either.", *lines[n_left_out:]]
    return History(lines=tuple(lines), mark=max((row[0] for row in rows), default=0))


def give_up_at(on: date, kept_at: datetime, settings: MailSettings) -> datetime:
    """Until when a mail is tried: its day's cut-off, and at least two hours."""
    zone = ZoneInfo(settings.time_zone)
    cut_off = datetime.combine(on, settings.cut_off, tzinfo=zone).astimezone(UTC)
    return max(cut_off, kept_at.astimezone(UTC) + LEAST_TRYING)


# ------------------------------------------------------------------ the tables


@dataclass(frozen=True)
class _Open:
    """A delivery that is not at its end."""

    mail: int
    kind: str
    day: str
    kept_at: datetime
    recipient: str
    outcome: str
    tries: int
    next_try_at: datetime | None
    sending_at: datetime | None
    sending_by: str
    held_by: str
    words: str


@dataclass(frozen=True)
class _Outcome:
    """What one try came to with one recipient (None: a mail that was never made)."""

    recipient: str | None
    outcome: str
    words: str
    tries: int = 0
    next_try_at: datetime | None = None
    held_by: str = ""


_OPEN = """
    SELECT mail, kind, day, kept_at, recipient, outcome, tries, next_try_at, sending_at, sending_by,
        held_by, words
    FROM deliveries JOIN outbox ON number = mail
    WHERE outcome IN ('pending', 'sending') ORDER BY mail, recipient
"""
_MAIL = "SELECT number, kind, day, kept_at, message_id, message FROM outbox WHERE number = ?"
_BARREN_CLAIMS = """
    SELECT kind, day, claimed_at, claimed_by FROM ledger WHERE day < ? AND NOT EXISTS (
        SELECT 1 FROM outbox WHERE outbox.kind = ledger.kind AND outbox.day = ledger.day)
"""
_UNTOLD = """
    SELECT number, kind, day, recipient, outcome, words, tries FROM delivery_log AS log
    WHERE outcome IN ('refused', 'given up')
        AND number > (SELECT coalesce(max(told_to), 0) FROM outbox WHERE number IN (
            SELECT mail FROM deliveries WHERE outcome = 'sent'))
        AND NOT EXISTS (SELECT 1 FROM deliveries JOIN outbox ON outbox.number = mail
            WHERE outbox.kind = log.kind AND outbox.day = log.day
                AND deliveries.recipient = log.recipient AND deliveries.outcome = 'sent')
    ORDER BY number
"""
_FORGET_OLD_BYTES = """
    UPDATE outbox SET message = NULL WHERE day < ? AND message IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM deliveries WHERE mail = number AND outcome IN ('pending', 'sending'))
"""


def _open_rows(rows: Sequence[Any]) -> list[_Open]:
    return [
        _Open(
            mail=row[0],
            kind=row[1],
            day=row[2],
            kept_at=utc_moment(row[3]),
            recipient=row[4],
            outcome=row[5],
            tries=row[6],
            next_try_at=None if row[7] is None else utc_moment(row[7]),
            sending_at=None if row[8] is None else utc_moment(row[8]),
            sending_by=row[9],
            held_by=row[10],
            words=row[11],
        )
        for row in rows
    ]


def _kept(row: Sequence[Any], due_rows: Sequence[_Open]) -> KeptMail:
    number, kind, day, kept_at, message_id, message = row
    return KeptMail(
        number=number,
        kind=kind,
        on=date.fromisoformat(day),
        kept_at=utc_moment(kept_at),
        message_id=message_id,
        message=message,
        recipients=tuple(found.recipient for found in due_rows),
        tries=tuple(found.tries for found in due_rows),
    )


def _is_kept(connection: sqlite3.Connection, key: tuple[str, str]) -> bool:
    found = connection.execute("SELECT 1 FROM outbox WHERE kind = ? AND day = ?", key).fetchone()
    return found is not None


def _check_kind(kind: str) -> None:
    if kind not in KINDS:
        raise ValueError(f"there is no mail of the kind {kind!r}; there are {', '.join(KINDS)}")


def _addresses(recipients: Sequence[str]) -> tuple[str, ...]:
    """Each address once, in order."""
    bare = [bare_address(text) for text in recipients]
    if not bare or not all(text.isprintable() for text in bare) or "" in bare:
        raise ValueError("a mail needs recipients, each with an address")
    return each_once(bare)


def _log(
    connection: sqlite3.Connection, kind: str, day: str, told: _Outcome, now: datetime
) -> None:
    connection.execute(
        "INSERT INTO delivery_log (recorded_at, kind, day, recipient, outcome, tries, words) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        (utc_text(now), kind, day, told.recipient, told.outcome, told.tries, told.words),
    )


# ---------------------------------------------------------- what may be taken


def _is_far(then: datetime, now: datetime, span: timedelta) -> bool:
    """Whether two moments lie `span` apart or more; a clock that was put back counts as well."""
    return abs(now - then) >= span


def _is_claim_stale(claimed_at: str, claimed_by: str, now: datetime) -> bool:
    return _is_far(utc_moment(claimed_at), now, CLAIM_HOLDS) or owner_state(claimed_by) == GONE


def _is_lease_stale(row: _Open, now: datetime) -> bool:
    """Whether the process that was sending will not write what came of it."""
    if row.sending_at is None:
        return True
    state = owner_state(row.sending_by.partition("#")[0])
    holds = SENDING_HOLDS_ALIVE if state == ALIVE else SENDING_HOLDS
    return state == GONE or _is_far(row.sending_at, now, holds)


def _is_due(row: _Open, now: datetime, held_by: str) -> bool:
    if row.outcome == "sending":
        return _is_lease_stale(row, now)
    at = row.next_try_at
    if row.held_by and (at is None or row.held_by != held_by):
        return row.held_by != held_by  # other settings, or another process, are tried at once
    return at is None or at <= now or at > now + WAITS[-1]  # later: the clock was put back


def _is_late(row: _Open, settings: MailSettings, now: datetime) -> bool:
    if now < give_up_at(date.fromisoformat(row.day), row.kept_at, settings):
        return False
    return row.outcome == "pending" or _is_lease_stale(row, now)


def _take(
    database: FarmDatabase, now: datetime, token: str, held_by: str, tried: set[int]
) -> KeptMail | None:
    """Mark the oldest mail that is due as being sent, and return it; None: nothing is due."""
    if not _takeable(database.rows(_OPEN), now, held_by, tried):
        return None  # no writer's lock for a tick on which nothing is to be done
    with database.transaction() as connection:
        rows = _takeable(connection.execute(_OPEN).fetchall(), now, held_by, tried)
        if not rows:
            return None
        connection.executemany(
            "UPDATE deliveries SET outcome = 'sending', tries = tries + 1, sending_at = ?, "
            "sending_by = ?, held_by = '', next_try_at = NULL WHERE mail = ? AND recipient = ?",
            [(utc_text(now), token, row.mail, row.recipient) for row in rows],
        )
        taken = [replace(row, tries=row.tries + 1) for row in rows]
        for row in taken:
            words = "taken up again after a stop" if row.outcome == "sending" else ""
            told = _Outcome(row.recipient, "sending", words, row.tries)
            _log(connection, row.kind, row.day, told, now)
        return _kept(connection.execute(_MAIL, (rows[0].mail,)).fetchone(), taken)


def _takeable(rows: Sequence[Any], now: datetime, held_by: str, tried: set[int]) -> list[_Open]:
    """The due deliveries of the oldest mail that has some."""
    found = [
        row for row in _open_rows(rows) if row.mail not in tried and _is_due(row, now, held_by)
    ]
    return [row for row in found if row.mail == found[0].mail]


# --------------------------------------------------------- what came of a try


def _outcomes(
    mail: KeptMail,
    settings: MailSettings,
    password: str | None,
    now: datetime,
    held_by: str,
    send: Send,
) -> list[_Outcome]:
    """Send, and say what came of it for each recipient."""
    tries = dict(zip(mail.recipients, mail.tries, strict=True))
    try:
        answers = send(parsed_message(mail.message), mail.recipients, settings, password)
    except MailPostponedError as error:
        answers = {name: error.refused.get(name, str(error)) for name in mail.recipients}
    except MailRefusedError as error:
        return [_Outcome(name, "refused", str(error), tries[name]) for name in mail.recipients]
    except MailSettingsError as error:
        next_try_at = None if isinstance(error, MailLoginError) else now + WAITS[-1]
        return [
            _Outcome(name, "pending", str(error), tries[name], next_try_at, held_by)
            for name in mail.recipients
        ]
    by_address = {bare_address(name).casefold(): words for name, words in answers.items()}
    found = []
    for name in mail.recipients:
        words = by_address.get(name.casefold())
        if words is None:
            found.append(_Outcome(name, "sent", "", tries[name]))
        elif words.startswith("5"):
            found.append(_Outcome(name, "refused", words, tries[name]))
        else:
            found.append(_postponed(name, words, tries[name], now))
    return found


def _postponed(name: str, words: str, tries: int, now: datetime) -> _Outcome:
    wait = WAITS[min(tries, len(WAITS)) - 1]
    return _Outcome(name, "pending", words, tries, next_try_at=now + wait)


def _settled(
    database: FarmDatabase,
    mail: KeptMail,
    token: str,
    now: datetime,
    outcomes: Sequence[_Outcome],
    n_writes: int = N_WRITES,
) -> list[_Outcome]:
    """Write what came of a try, patiently, since a mail may be out; returns what was written."""
    for n_left in reversed(range(n_writes)):
        try:
            with database.transaction() as connection:
                written = [
                    told
                    for told in outcomes
                    if _write_outcome(connection, mail.number, told, token)
                ]
                for told in written:
                    _log(connection, mail.kind, mail.on.isoformat(), told, now)
                return written
        except JournalError:
            if not n_left:
                raise
            time.sleep(WRITE_WAIT_S)
    raise AssertionError("the loop returns or raises")


def _write_outcome(
    connection: sqlite3.Connection, mail: int, told: _Outcome, token: str | None = None
) -> bool:
    """Write an outcome; False where another one stands.

    What was sent is a fact, whoever holds the mark by now. Anything else is written by the holder
    of the mark alone, or, without `token`, over whatever is open.
    """
    values: tuple[str, ...]
    if told.outcome == "sent":
        where, values = "outcome <> 'sent'", ()
    elif token is not None:
        where, values = "outcome = 'sending' AND sending_by = ?", (token,)
    else:
        where, values = "outcome IN ('pending', 'sending')", ()
    next_try_at = None if told.next_try_at is None else utc_text(told.next_try_at)
    return bool(
        connection.execute(
            "UPDATE deliveries SET outcome = ?, words = ?, next_try_at = ?, held_by = ?, "
            f"sending_at = NULL, sending_by = '' WHERE mail = ? AND recipient = ? AND {where}",
            (
                told.outcome,
                told.words,
                next_try_at,
                told.held_by,
                mail,
                told.recipient,
                *values,
            ),
        ).rowcount
    )


def _put_back(
    database: FarmDatabase, mail: KeptMail, token: str, now: datetime, error: BaseException
) -> None:
    """After a stop or a bug within sending: the mail is tried again, and its mark goes away."""
    words = f"the program was stopped while sending ({type(error).__name__})"
    outcomes = [
        _postponed(name, words, tries, now)
        for name, tries in zip(mail.recipients, mail.tries, strict=True)
    ]
    with suppress(JournalError):  # else the mark runs out by itself
        _settled(database, mail, token, now, outcomes, n_writes=1)


def _hold_mark(settings: MailSettings, password: str | None) -> str:
    """A mark of settings, password and certificates, of use within this process alone."""
    ca_stamp = ""
    if settings.ca_file is not None:
        with suppress(OSError):
            found = Path(settings.ca_file).stat()
            ca_stamp = f"{found.st_mtime_ns} {found.st_size}"
    told = repr((settings, password, ca_stamp)).encode()
    return hashlib.blake2b(told, key=_SALT, digest_size=16).hexdigest()


# ------------------------------------------------------------------ the words


def _mail_words(kind: str, day: str) -> str:
    on = date.fromisoformat(day)
    return f"the {_MAIL_WORDS[kind]} of {_WEEKDAYS[on.weekday()]} {on.day} {_MONTHS[on.month - 1]}"


def _line(mail: KeptMail, told: _Outcome, settings: MailSettings) -> str:
    """What a try came to, for a log."""
    what = _mail_words(mail.kind, mail.on.isoformat())
    if told.outcome == "sent":
        return f"{told.recipient}: {what} is sent"
    if told.outcome == "refused":
        return f"{told.recipient}: {what} is refused and not tried again: {told.words}"
    if told.held_by:
        return f"{told.recipient}: {what} waits until the settings are mended: {told.words}"
    assert told.next_try_at is not None
    at = told.next_try_at.astimezone(ZoneInfo(settings.time_zone))
    return f"{told.recipient}: {what} is not sent yet, next try {at:%H:%M}: {told.words}"


def _past_line(
    kind: str, day: str, recipient: str | None, outcome: str, words: str, tries: int
) -> str:
    """What the next mail says of a mail that did not arrive."""
    what = _mail_words(kind, day)
    if recipient is None:
        return f"{what[0].upper()}{what[1:]} was begun and never made."
    if outcome == "refused":
        return f"{what[0].upper()}{what[1:]} was refused for {recipient}: {words}"
    tried = "1 try" if tries == 1 else f"{tries} tries"
    return f"{what[0].upper()}{what[1:]} did not reach {recipient} ({tried}): {words}"
