"""The tables of farm.db and the steps that lead to them, forward only."""

from __future__ import annotations

import sqlite3

APPLICATION_ID = 0x57485454  # "WHTT", so that another program's database is told apart
APPEND_ONLY = ("events", "weather_values", "forecasts", "farm_versions", "lists")


def _guards(table: str) -> tuple[str, ...]:
    """Triggers that refuse to change or take away a row of `table`."""
    return tuple(
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} BEGIN "
        f"SELECT RAISE(ABORT, '{table} is append-only'); END"
        for verb in ("UPDATE", "DELETE")
    )


_FIRST = (
    """CREATE TABLE events (
        seq INTEGER PRIMARY KEY AUTOINCREMENT,
        event_id TEXT NOT NULL UNIQUE,
        kind TEXT NOT NULL,
        happened_at TEXT NOT NULL CHECK (happened_at LIKE '%+00:00'),
        recorded_at TEXT NOT NULL CHECK (recorded_at LIKE '%+00:00'),
        bed TEXT,
        part TEXT,
        data TEXT NOT NULL,
        supersedes TEXT REFERENCES events (event_id) DEFERRABLE INITIALLY DEFERRED,
        note TEXT NOT NULL
    )""",
    "CREATE INDEX events_by_recording ON events (recorded_at, seq)",
    # INSERT OR REPLACE would take a row away without firing the delete trigger
    """CREATE TRIGGER events_no_replace BEFORE INSERT ON events
        WHEN EXISTS (SELECT 1 FROM events WHERE event_id = NEW.event_id OR seq = NEW.seq)
        BEGIN SELECT RAISE(ABORT, 'events is append-only'); END""",
    """CREATE TABLE weather_values (
        start_at TEXT NOT NULL CHECK (start_at LIKE '%+00:00'),
        variable TEXT NOT NULL,
        end_at TEXT NOT NULL CHECK (end_at LIKE '%+00:00'),
        source TEXT NOT NULL,
        known_at TEXT NOT NULL CHECK (known_at LIKE '%+00:00'),
        value REAL NOT NULL,
        kind INTEGER NOT NULL,
        is_trace INTEGER NOT NULL,
        suspect TEXT NOT NULL,
        PRIMARY KEY (start_at, variable, end_at, source, known_at)
    ) WITHOUT ROWID""",
    """CREATE TABLE forecasts (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        source TEXT NOT NULL,
        issued_at TEXT NOT NULL CHECK (issued_at LIKE '%+00:00'),
        known_at TEXT NOT NULL CHECK (known_at LIKE '%+00:00'),
        start_at TEXT NOT NULL CHECK (start_at LIKE '%+00:00'),
        payload BLOB NOT NULL,
        note TEXT NOT NULL,
        UNIQUE (source, issued_at, known_at)
    )""",
    "CREATE INDEX forecasts_by_issue ON forecasts (issued_at, known_at, number)",
    """CREATE TABLE farm_versions (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        text TEXT NOT NULL,
        hash TEXT NOT NULL,
        recorded_at TEXT NOT NULL CHECK (recorded_at LIKE '%+00:00')
    )""",
    """CREATE TABLE lists (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        as_of TEXT NOT NULL CHECK (as_of LIKE '%+00:00'),
        recorded_at TEXT NOT NULL CHECK (recorded_at LIKE '%+00:00'),
        answer TEXT NOT NULL
    )""",
    """CREATE TABLE ledger (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        recorded_at TEXT NOT NULL CHECK (recorded_at LIKE '%+00:00'),
        list_number INTEGER REFERENCES lists (number),
        recipient TEXT NOT NULL,
        outcome TEXT NOT NULL
    )""",
    """CREATE TABLE outbox (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        recorded_at TEXT NOT NULL CHECK (recorded_at LIKE '%+00:00'),
        list_number INTEGER REFERENCES lists (number),
        recipient TEXT NOT NULL,
        message BLOB NOT NULL
    )""",
    *(trigger for table in APPEND_ONLY for trigger in _guards(table)),
)

_MOMENT = "TEXT NOT NULL CHECK ({0} LIKE '%+00:00')"

_MAIL = (
    "DROP TABLE ledger",  # of the first version; nothing was ever written into these two
    "DROP TABLE outbox",
    # who makes the mail of a kind and a day
    f"""CREATE TABLE ledger (
        kind TEXT NOT NULL,
        day TEXT NOT NULL,
        claimed_at {_MOMENT.format("claimed_at")},
        claimed_by TEXT NOT NULL,
        PRIMARY KEY (kind, day)
    ) WITHOUT ROWID""",
    # one mail of a kind and a day, its bytes as they go out; NULL once long done with
    f"""CREATE TABLE outbox (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        kind TEXT NOT NULL,
        day TEXT NOT NULL,
        kept_at {_MOMENT.format("kept_at")},
        list_number INTEGER REFERENCES lists (number),
        message_id TEXT NOT NULL UNIQUE,
        message BLOB,
        told_to INTEGER NOT NULL,
        UNIQUE (kind, day)
    )""",
    """CREATE TABLE deliveries (
        mail INTEGER NOT NULL REFERENCES outbox (number),
        recipient TEXT NOT NULL,
        outcome TEXT NOT NULL
            CHECK (outcome IN ('pending', 'sending', 'sent', 'refused', 'given up')),
        tries INTEGER NOT NULL DEFAULT 0,
        next_try_at TEXT CHECK (next_try_at LIKE '%+00:00'),
        sending_at TEXT CHECK (sending_at LIKE '%+00:00'),
        sending_by TEXT NOT NULL DEFAULT '',
        held_by TEXT NOT NULL DEFAULT '',
        words TEXT NOT NULL DEFAULT '',
        PRIMARY KEY (mail, recipient)
    ) WITHOUT ROWID""",
    "CREATE INDEX open_deliveries ON deliveries (mail) WHERE outcome IN ('pending', 'sending')",
    f"""CREATE TABLE delivery_log (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        recorded_at {_MOMENT.format("recorded_at")},
        kind TEXT NOT NULL,
        day TEXT NOT NULL,
        recipient TEXT,
        outcome TEXT NOT NULL,
        tries INTEGER NOT NULL,
        words TEXT NOT NULL
    )""",
    # a mail is never changed, whatever goes wrong: the same bytes under the same Message-ID
    """CREATE TRIGGER outbox_no_change BEFORE UPDATE ON outbox
        WHEN NEW.message IS NOT NULL OR NEW.number IS NOT OLD.number OR NEW.kind IS NOT OLD.kind
            OR NEW.day IS NOT OLD.day OR NEW.kept_at IS NOT OLD.kept_at
            OR NEW.list_number IS NOT OLD.list_number OR NEW.message_id IS NOT OLD.message_id
            OR NEW.told_to IS NOT OLD.told_to
            OR EXISTS (SELECT 1 FROM deliveries WHERE mail = OLD.number
                AND outcome IN ('pending', 'sending'))
        BEGIN SELECT RAISE(ABORT, 'a kept mail never changes'); END""",
    """CREATE TRIGGER outbox_no_delete BEFORE DELETE ON outbox
        BEGIN SELECT RAISE(ABORT, 'a kept mail never goes away'); END""",
    """CREATE TRIGGER sent_is_sent BEFORE UPDATE ON deliveries WHEN OLD.outcome = 'sent'
        BEGIN SELECT RAISE(ABORT, 'what was sent stays sent'); END""",
    """CREATE TRIGGER deliveries_no_delete BEFORE DELETE ON deliveries
        BEGIN SELECT RAISE(ABORT, 'a delivery never goes away'); END""",
    *_guards("delivery_log"),
)

MIGRATIONS: tuple[tuple[str, ...], ...] = (_FIRST, _MAIL)
"""Element i leads from version i to version i + 1; a released element never changes."""


def user_version(connection: sqlite3.Connection) -> int:
    """The version of the schema that a database holds."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def migrate(connection: sqlite3.Connection, migrations: tuple[tuple[str, ...], ...]) -> None:
    """Bring an open database in autocommit mode to the last version, one transaction a step."""
    for version in range(user_version(connection), len(migrations)):
        connection.execute("BEGIN IMMEDIATE")
        try:
            if user_version(connection) != version:  # another program was faster
                connection.execute("ROLLBACK")
                continue
            for statement in migrations[version]:
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {version + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
