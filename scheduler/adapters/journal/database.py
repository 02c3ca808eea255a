"""farm.db: everything the farm has said, each thing with when it became known."""

from __future__ import annotations

import hashlib
import json
import math
import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from scheduler.adapters.journal.entries import (
    LONGEST_SPAN,
    checked_entry,
    data_text,
    is_one_line,
    is_said_by,
    names_hint,
    standing_entries,
)
from scheduler.adapters.journal.moments import utc_moment, utc_text
from scheduler.adapters.journal.schema import APPLICATION_ID, MIGRATIONS, migrate, user_version
from scheduler.errors import JournalError
from scheduler.records import (
    DAILY_VARIABLES,
    HOURLY_VARIABLES,
    RAIN_RANGE,
    BoolArray,
    Event,
    FloatArray,
    Forecast,
    IntArray,
    Kind,
    WeatherValue,
)

FILE_NAME = "farm.db"
BUSY_TIMEOUT_MS = 5000
WEATHER_VARIABLES = tuple(dict.fromkeys(HOURLY_VARIABLES + DAILY_VARIABLES))
FORECAST_VARIABLES = (*WEATHER_VARIABLES, *RAIN_RANGE)
_NEVER_NEGATIVE = ("rain_mm", "humidity_frac", "wind_2m_m_s", "solar_mj_m2")

_KNOWN_COLUMN = {
    "events": "recorded_at",
    "weather_values": "known_at",
    "forecasts": "known_at",
    "farm_versions": "recorded_at",
    "lists": "recorded_at",
}


@dataclass(frozen=True)
class WeatherColumns:
    """One variable as arrays, one element a value, in order of start.

    `starts_s` and `ends_s` are seconds since 1970-01-01 UTC; element i of `source_numbers` is an
    index into `sources`. Suspect values are included and marked.
    """

    starts_s: IntArray
    ends_s: IntArray
    values: FloatArray
    kinds: NDArray[np.int8]
    source_numbers: IntArray
    sources: tuple[str, ...]
    is_trace: BoolArray
    is_suspect: BoolArray


def open_farm_database(folder: Path | str, *, create: bool = False) -> FarmDatabase:
    """Open `farm.db` of a farm folder; with `create`, make it where it is missing.

    Raises
    ------
    JournalError
        If the file is missing, is not a farm database, or was written by a newer program.
    """
    return FarmDatabase(Path(folder) / FILE_NAME, create=create)


class FarmDatabase:
    """The farm's database; a context manager that closes it.

    Every read takes `known_at` and goes through one filter: what became known later does not exist.
    Nothing is ever rewritten; adding what is there already adds nothing.

    Parameters
    ----------
    path
        The database file.
    create
        Make the file where it is missing.
    """

    def __init__(self, path: Path | str, *, create: bool = False) -> None:
        self.path = Path(path)
        is_new = not self.path.exists()
        if is_new and not create:
            raise JournalError(
                f"{self.path}: no such file; name the farm's folder, or make one with "
                "`whitethread init`"
            )
        if is_new and not self.path.parent.is_dir():
            raise JournalError(f"{self.path.parent}: no such folder; make it first")
        if not is_new and self.path.is_file() and self.path.stat().st_size == 0:
            raise JournalError(
                f"{self.path}: is empty, so a copy may have broken off; put back the last good "
                "copy, or delete the file to start an empty journal"
            )
        try:
            with self._plain_faults():
                self._connection = self._opened()
        except BaseException:
            if is_new:
                self.path.unlink(missing_ok=True)
            raise

    def _opened(self) -> sqlite3.Connection:
        """A connection to a checked and migrated database."""
        mode = "rw" if self.path.exists() else "rwc"
        uri = f"{self.path.absolute().as_uri()}?mode={mode}"
        connection = sqlite3.connect(
            uri, uri=True, isolation_level=None, timeout=BUSY_TIMEOUT_MS / 1000
        )
        try:
            self._check_version(connection)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA recursive_triggers = ON")
            connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
            migrate(connection, MIGRATIONS)
        except BaseException:
            connection.close()
            raise
        return connection

    def _check_version(self, connection: sqlite3.Connection) -> None:
        """Refuse the database of another program or of a newer version of this one."""
        version = user_version(connection)
        owner = int(connection.execute("PRAGMA application_id").fetchone()[0])
        n_objects = int(connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
        if owner != APPLICATION_ID and (version or owner or n_objects):
            raise JournalError(
                f"{self.path}: is the database of another program; name the folder of a farm"
            )
        if version > len(MIGRATIONS):
            raise JournalError(
                f"{self.path}: has version {version}, this program knows versions up to "
                f"{len(MIGRATIONS)}; update whitethread"
            )

    def __enter__(self) -> Self:
        """Return the open database."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the database."""
        self.close()

    def close(self) -> None:
        """Close the file; what was added is on disk already."""
        self._connection.close()

    # ---------------------------------------------------------------- filter

    def _known(
        self,
        table: str,
        known_at: datetime,
        columns: str,
        *,
        where: str = "TRUE",
        values: Sequence[object] = (),
        tail: str = "",
    ) -> list[Any]:
        """Rows of `table` that were known at `known_at`: the one filter of every read."""
        sql = (
            f"SELECT {columns} FROM {table} WHERE {_KNOWN_COLUMN[table]} <= ? AND ({where}) {tail}"
        )
        with self._plain_faults():
            return self._connection.execute(sql, (utc_text(known_at), *values)).fetchall()

    @contextmanager
    def _plain_faults(self) -> Iterator[None]:
        """Turn what SQLite says about the file into one line; a fault of our own stays a bug."""
        try:
            yield
        except sqlite3.DatabaseError as error:
            said = str(error)
            if "locked" in said or "busy" in said:
                advice = "another program is writing to it; close that or try again"
            elif "not a database" in said:
                advice = "is not a farm database; put back the last good copy"
            elif "malformed" in said:
                advice = "is damaged; put back the last good copy"
            elif isinstance(error, sqlite3.OperationalError) and not _is_our_fault(said):
                advice = f"cannot be used ({said}); check the disk and the rights to the folder"
            else:
                raise
            raise JournalError(f"{self.path}: {advice}") from error

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        """All that is written inside becomes true at once, or not at all."""
        connection = self._connection
        with self._plain_faults():
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """One writer's transaction for what lives beside the journal, such as the outbox."""
        with self._transaction() as connection:
            yield connection

    def rows(self, sql: str, values: Sequence[object] = ()) -> list[Any]:
        """What a question to the tables beside the journal finds; those know no `known_at`."""
        with self._plain_faults():
            return self._connection.execute(sql, values).fetchall()

    # --------------------------------------------------------------- entries

    def events(self, known_at: datetime) -> tuple[Event, ...]:
        """Entries recorded at or before `known_at`, corrections applied, in order of happening."""
        standing = standing_entries(self.all_events(known_at))
        return tuple(sorted(standing, key=lambda event: event.happened_at))

    def all_events(self, known_at: datetime) -> tuple[Event, ...]:
        """Every entry recorded at or before `known_at`, in order of recording."""
        rows = self._known("events", known_at, _EVENT_COLUMNS, tail="ORDER BY recorded_at, seq")
        return tuple(_event(row) for row in rows)

    def add_events(self, events: Iterable[Event]) -> int:
        """Add entries in one transaction and return how many were new.

        An entry that the journal holds already, word for word apart from when it was recorded,
        adds nothing.

        Raises
        ------
        JournalError
            If an entry is not as `records.Event` says, its id is taken, or what it supersedes does
            not stand. Nothing is added then.
        """
        checked = [checked_entry(event) for event in events]
        for event in checked:
            if not event.event_id:
                raise JournalError(
                    f"entry of kind {event.kind} at {utc_text(event.happened_at)}: has no id; give "
                    "it one that no other entry has"
                )
        with self._transaction() as connection:
            new = self._new_events(connection, checked)
            connection.executemany(
                f"INSERT INTO events ({_EVENT_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [_event_row(event) for event in new],
            )
            if any(event.supersedes is not None for event in new):
                rows = connection.execute(
                    f"SELECT {_EVENT_COLUMNS} FROM events ORDER BY recorded_at, seq"
                )
                standing_entries(_event(row) for row in rows)
        return len(new)

    def _new_events(self, connection: sqlite3.Connection, checked: Iterable[Event]) -> list[Event]:
        """The entries that the journal does not hold; refuses a taken id."""
        new: dict[str, Event] = {}
        for event in checked:
            row = connection.execute(
                f"SELECT {_EVENT_COLUMNS} FROM events WHERE event_id = ?", (event.event_id,)
            ).fetchone()
            held = new.get(event.event_id) if row is None else _event(row)
            if held is None:
                new[event.event_id] = event
            elif not is_said_by(event, held):
                raise JournalError(
                    f"entry {event.event_id} ({event.kind}): the id is taken by another entry "
                    f"({held.kind}, {utc_text(held.happened_at)}); to correct that one, add an "
                    "entry with a new id that supersedes it"
                )
        return list(new.values())

    # --------------------------------------------------------------- weather

    def weather_values(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> list[WeatherValue]:
        """Values that touch [start_at, end_at) and were known at `known_at`; newest revision only.

        In order of start. A revision replaces the value of the same variable, hours and source.
        """
        moments = _Moments()
        kinds = {int(kind): kind for kind in Kind}
        return [
            WeatherValue(
                variable,
                moments[start],
                moments[end],
                value,
                kinds[kind],
                source,
                moments[known],
                bool(is_trace),
                suspect,
            )
            for variable, start, end, source, known, value, kind, is_trace, suspect in (
                self._newest_weather(
                    "variable, start_at, end_at, source, max(known_at), value, kind, is_trace, "
                    "suspect",
                    known_at,
                    start_at,
                    end_at,
                )
            )
        ]

    def weather_columns(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> dict[str, WeatherColumns]:
        """The same values as `weather_values`, as arrays by variable."""
        rows = self._newest_weather(
            "variable, CAST(strftime('%s', start_at) AS INTEGER), "
            "CAST(strftime('%s', end_at) AS INTEGER), source, max(known_at), value, kind, "
            "is_trace, suspect <> ''",
            known_at,
            start_at,
            end_at,
        )
        by_variable: dict[str, list[Any]] = {}
        for row in rows:
            by_variable.setdefault(row[0], []).append(row)
        return {name: _columns(by_variable[name]) for name in sorted(by_variable)}

    def weather_marks(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> dict[str, str]:
        """By UTC day, as 2013-05-01: another text wherever other values are known of it.

        Values are never changed or taken away, so their number and when the last of them became
        known tell; their sum besides, for a database put in the place of another.
        """
        rows = self._known(
            "weather_values",
            known_at,
            "substr(start_at, 1, 10), count(*), max(known_at), total(value)",
            where="start_at >= ? AND start_at < ?",
            values=(utc_text(start_at), utc_text(end_at)),
            tail="GROUP BY substr(start_at, 1, 10)",
        )
        return {day: f"{count} {known} {total!r}" for day, count, known, total in rows}

    def _newest_weather(
        self, columns: str, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> list[Any]:
        """Rows of the newest revision; SQLite takes bare columns from the row of the maximum."""
        return self._known(
            "weather_values",
            known_at,
            columns,
            where="start_at > ? AND start_at < ? AND end_at > ?",
            values=(
                utc_text(start_at - LONGEST_SPAN) if start_at.year > 1 else "",
                utc_text(end_at),
                utc_text(start_at),
            ),
            tail="GROUP BY weather_values.start_at, variable, weather_values.end_at, source",
        )

    def all_weather_values(
        self, known_at: datetime, start_from: datetime | None = None
    ) -> list[WeatherValue]:
        """Every revision of every value known at `known_at`, in order of start and revision.

        With `start_from` only those that begin then or later.
        """
        moments = _Moments()
        rows = self._known(
            "weather_values",
            known_at,
            _WEATHER_COLUMNS,
            where="start_at >= ?",
            values=("" if start_from is None else utc_text(start_from),),
            tail="ORDER BY start_at, variable, end_at, source, known_at",
        )
        return [
            WeatherValue(
                row[0],
                moments[row[1]],
                moments[row[2]],
                row[3],
                Kind(row[4]),
                row[5],
                moments[row[6]],
                bool(row[7]),
                row[8],
            )
            for row in rows
        ]

    def add_weather_values(self, values: Iterable[WeatherValue]) -> int:
        """Add values in one transaction and return how many were new or revised.

        A value equal to the revision that was newest when it became known adds nothing.

        Raises
        ------
        JournalError
            If a value cannot be, or two differ that became known at the same moment. Nothing is
            added then.
        """
        texts = _Texts()
        rows = [_weather_row(value, texts) for value in values]
        with self._transaction() as connection:
            connection.execute(
                f"CREATE TEMP TABLE incoming ({_WEATHER_COLUMNS}, "
                "PRIMARY KEY (start_at, variable, end_at, source, known_at)) WITHOUT ROWID"
            )
            connection.executemany(
                "INSERT OR IGNORE INTO incoming VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", rows
            )
            self._refuse_two_truths(connection, rows)
            before = connection.total_changes
            connection.execute(_ADD_INCOMING)
            n_added = connection.total_changes - before
            connection.execute("DROP TABLE incoming")
        return n_added

    def _refuse_two_truths(
        self, connection: sqlite3.Connection, rows: Sequence[tuple[Any, ...]]
    ) -> None:
        """Raise if a value differs from another of the same key and the same `known_at`."""
        n_incoming = connection.execute("SELECT count(*) FROM incoming").fetchone()[0]
        by_key: dict[tuple[Any, ...], tuple[Any, ...]] = {}
        clash: tuple[Any, ...] | None = None
        if n_incoming < len(rows):
            for row in rows:
                held = by_key.setdefault((*row[:3], row[5], row[6]), row)
                if held != row:
                    clash = (row, held[3])
                    break
        if clash is None:
            found = connection.execute(_FIND_CLASH).fetchone()
            clash = None if found is None else (found[:9], found[9])
        if clash is not None:
            row, held_value = clash
            raise JournalError(
                f"{row[0]} of {row[5]} from {row[1]} to {row[2]}: is {row[3]:g} and {held_value:g},"
                f" both known at {row[6]}; keep one of the two"
            )

    def add_forecast(self, forecast: Forecast) -> bool:
        """Add one issued forecast; False if it is there already.

        Raises
        ------
        JournalError
            If another forecast of that source, issue and `known_at` is there.
        """
        payload = _payload(forecast)
        key = (forecast.source, utc_text(forecast.issued_at), utc_text(forecast.known_at))
        row = (*key, utc_text(forecast.start_at), payload, forecast.note)
        what = f"forecast of {forecast.source.strip() or 'no source'} issued at {key[1]}"
        if not forecast.source.strip():
            raise JournalError(f"{what}: names no source; say where it comes from")
        if forecast.issued_at > forecast.known_at:
            raise JournalError(
                f"{what}: was known at {key[2]}, before it was issued; check the moments"
            )
        with self._transaction() as connection:
            held = connection.execute(
                "SELECT start_at, payload, note FROM forecasts "
                "WHERE source = ? AND issued_at = ? AND known_at <= ? "
                "ORDER BY known_at DESC LIMIT 1",
                key,
            ).fetchone()
            if held is not None and _is_same_forecast(held, row[3:]):
                return False
            taken = connection.execute(
                "SELECT 1 FROM forecasts WHERE source = ? AND issued_at = ? AND known_at = ?", key
            ).fetchone()
            if taken is not None:
                raise JournalError(
                    f"{what}: two of them differ, both known at {key[2]}; keep one of the two"
                )
            connection.execute(
                f"INSERT INTO forecasts ({_FORECAST_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)", row
            )
        return True

    def latest_forecast(self, known_at: datetime) -> Forecast | None:
        """The forecast issued last among those known at `known_at`."""
        rows = self._known(
            "forecasts",
            known_at,
            _FORECAST_COLUMNS,
            tail="ORDER BY issued_at DESC, known_at DESC, number DESC LIMIT 1",
        )
        return _forecast(rows[0]) if rows else None

    def forecasts(self, known_at: datetime) -> tuple[Forecast, ...]:
        """Every forecast known at `known_at`, in order of issue."""
        rows = self._known(
            "forecasts", known_at, _FORECAST_COLUMNS, tail="ORDER BY issued_at, known_at, number"
        )
        return tuple(_forecast(row) for row in rows)

    def forecasts_since(self, known_at: datetime, issued_from: datetime) -> tuple[Forecast, ...]:
        """Forecasts issued at or after `issued_from`, known at `known_at`, in order of issue."""
        rows = self._known(
            "forecasts",
            known_at,
            _FORECAST_COLUMNS,
            where="issued_at >= ?",
            values=(utc_text(issued_from),),
            tail="ORDER BY issued_at, known_at, number",
        )
        return tuple(_forecast(row) for row in rows)

    # ------------------------------------------------------- lists and farms

    def write_list(self, as_of: datetime, recorded_at: datetime, answer: Mapping[str, Any]) -> int:
        """Store one issued list and return its number."""
        with self._transaction() as connection:
            return insert_list(connection, as_of, recorded_at, answer)

    def latest_list(self, known_at: datetime) -> Mapping[str, Any] | None:
        """The list issued last at or before `known_at`."""
        rows = self._known(
            "lists", known_at, "answer", tail="ORDER BY recorded_at DESC, number DESC LIMIT 1"
        )
        return dict(json.loads(rows[0][0])) if rows else None

    def list_between(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Mapping[str, Any] | None:
        """The list issued last at or before `known_at` of those made for [start_at, end_at)."""
        rows = self._known(
            "lists",
            known_at,
            "answer",
            where="as_of >= ? AND as_of < ?",
            values=(utc_text(start_at), utc_text(end_at)),
            tail="ORDER BY recorded_at DESC, number DESC LIMIT 1",
        )
        return dict(json.loads(rows[0][0])) if rows else None

    def write_farm_version(self, text: str, recorded_at: datetime) -> bool:
        """Keep a version of farm.toml; False if it is the newest one already."""
        digest = hashlib.sha256(text.encode()).hexdigest()
        recorded = utc_text(recorded_at)
        with self._transaction() as connection:
            newest = connection.execute(
                "SELECT hash FROM farm_versions WHERE recorded_at <= ? "
                "ORDER BY recorded_at DESC, number DESC LIMIT 1",
                (recorded,),
            ).fetchone()
            if newest is not None and newest[0] == digest:
                return False
            connection.execute(
                "INSERT INTO farm_versions (text, hash, recorded_at) VALUES (?, ?, ?)",
                (text, digest, recorded),
            )
        return True

    def farm_text(self, known_at: datetime) -> str | None:
        """The text of farm.toml as it was known at `known_at`."""
        rows = self._known(
            "farm_versions",
            known_at,
            "text",
            tail="ORDER BY recorded_at DESC, number DESC LIMIT 1",
        )
        return str(rows[0][0]) if rows else None


# ------------------------------------------------------------ rows to records

_EVENT_COLUMNS = "event_id, kind, happened_at, recorded_at, bed, part, data, supersedes, note"
_WEATHER_COLUMNS = "variable, start_at, end_at, value, kind, source, known_at, is_trace, suspect"
_FORECAST_COLUMNS = "source, issued_at, known_at, start_at, payload, note"

_SAME_KEY = (
    "w.start_at = i.start_at AND w.variable = i.variable AND w.end_at = i.end_at "
    "AND w.source = i.source"
)
_SAME_VALUE = (
    "w.value = i.value AND w.kind = i.kind AND w.is_trace = i.is_trace AND w.suspect = i.suspect"
)
_ADD_INCOMING = f"""
    INSERT INTO weather_values ({_WEATHER_COLUMNS})
    SELECT {_WEATHER_COLUMNS} FROM incoming i WHERE NOT EXISTS (
        SELECT 1 FROM weather_values w WHERE {_SAME_KEY} AND {_SAME_VALUE} AND w.known_at = (
            SELECT max(known_at) FROM weather_values w
            WHERE {_SAME_KEY} AND w.known_at <= i.known_at))
"""
_FIND_CLASH = f"""
    SELECT {", ".join("i." + column for column in _WEATHER_COLUMNS.split(", "))}, w.value
    FROM incoming i JOIN weather_values w
    ON {_SAME_KEY} AND w.known_at = i.known_at WHERE NOT ({_SAME_VALUE}) LIMIT 1
"""


def _is_our_fault(said: str) -> bool:
    """Whether SQLite complains of our own SQL, which no user can mend."""
    return any(word in said for word in ("syntax error", "no such", "has no column"))


def _event_row(event: Event) -> tuple[object, ...]:
    return (
        event.event_id,
        event.kind,
        utc_text(event.happened_at),
        utc_text(event.recorded_at),
        event.bed,
        event.part,
        data_text(event.data),
        event.supersedes,
        event.note,
    )


def _event(row: Sequence[Any]) -> Event:
    event_id, kind, happened, recorded, bed, part, data, supersedes, note = row
    return Event(
        event_id=event_id,
        kind=kind,
        happened_at=utc_moment(happened),
        recorded_at=utc_moment(recorded),
        bed=bed,
        part=part,
        data=json.loads(data),
        supersedes=supersedes,
        note=note,
    )


class _Moments(dict[str, datetime]):
    """Moments by text; a year of values repeats few of them."""

    def __missing__(self, text: str) -> datetime:
        moment = self[text] = datetime.fromisoformat(text)
        return moment


class _Texts(dict[datetime, str]):
    """UTC texts by moment."""

    def __missing__(self, moment: datetime) -> str:
        text = self[moment] = utc_text(moment)
        return text


def insert_list(
    connection: sqlite3.Connection,
    as_of: datetime,
    recorded_at: datetime,
    answer: Mapping[str, Any],
) -> int:
    """Store one issued list inside a transaction and return its number."""
    row = (utc_text(as_of), utc_text(recorded_at), json.dumps(dict(answer), allow_nan=False))
    number = connection.execute(
        "INSERT INTO lists (as_of, recorded_at, answer) VALUES (?, ?, ?)", row
    ).lastrowid
    assert number is not None
    return number


def check_weather_value(value: WeatherValue) -> None:
    """Raise JournalError if a value cannot be: one line that says which and what is allowed."""
    if value.variable not in WEATHER_VARIABLES:
        raise JournalError(
            f"there is no weather variable {value.variable!r}; "
            f"{names_hint(value.variable, WEATHER_VARIABLES)}"
        )
    start, end = utc_text(value.start_at), utc_text(value.end_at)
    what = f"{value.variable} of {value.source or 'no source'} from {start} to {end}"
    if not value.start_at < value.end_at <= value.start_at + LONGEST_SPAN:
        raise JournalError(
            f"{what}: the end must be after the start and at most {LONGEST_SPAN.days} days later"
        )
    if value.start_at.microsecond or value.end_at.microsecond:
        raise JournalError(f"{what}: start and end must be whole seconds")
    if not math.isfinite(value.value):
        raise JournalError(f"{what}: is {value.value}; leave a missing value out")
    if value.value < 0 and value.variable in _NEVER_NEGATIVE and not value.suspect:
        raise JournalError(f"{what}: is {value.value:g}; allowed: 0 or more, or mark it suspect")
    if value.is_trace and (value.variable != "rain_mm" or value.value != 0):
        raise JournalError(f"{what}: is a trace and {value.value:g}; a trace is rain_mm 0")
    if value.kind == Kind.MISSING:
        raise JournalError(f"{what}: has the kind missing; leave a missing value out")
    for name, text in (("source", value.source), ("suspect", value.suspect)):
        if text != text.strip() or not is_one_line(text) or (name == "source" and not text):
            raise JournalError(f"{what}: {name} is {text[:30]!r}; write it as one line of text")


def _weather_row(value: WeatherValue, texts: _Texts) -> tuple[Any, ...]:
    check_weather_value(value)
    return (
        value.variable,
        texts[value.start_at],
        texts[value.end_at],
        float(value.value) + 0.0,
        int(value.kind),
        value.source,
        texts[value.known_at],
        int(value.is_trace),
        value.suspect,
    )


def _columns(rows: Sequence[Any]) -> WeatherColumns:
    _, starts, ends, sources, _, values, kinds, is_trace, is_suspect = zip(*rows, strict=True)
    names = tuple(sorted(set(sources)))
    number = {name: i for i, name in enumerate(names)}
    return WeatherColumns(
        starts_s=np.array(starts, dtype=np.int64),
        ends_s=np.array(ends, dtype=np.int64),
        values=np.array(values, dtype=np.float64),
        kinds=np.array(kinds, dtype=np.int8),
        source_numbers=np.array([number[name] for name in sources], dtype=np.int64),
        sources=names,
        is_trace=np.array(is_trace, dtype=np.bool_),
        is_suspect=np.array(is_suspect, dtype=np.bool_),
    )


def _payload(forecast: Forecast) -> bytes:
    """The arrays as compressed JSON; a missing value is null."""
    lists = {}
    for name in sorted(forecast.values):
        values = np.asarray(forecast.values[name], dtype=np.float64)
        if name not in FORECAST_VARIABLES or values.ndim != 1 or np.isinf(values).any():
            raise JournalError(
                f"forecast of {forecast.source}: {name} must be one of "
                f"{', '.join(FORECAST_VARIABLES)}, as one row of finite numbers"
            )
        lists[name] = [None if math.isnan(value) else value for value in values.tolist()]
    return zlib.compress(json.dumps(lists, allow_nan=False).encode(), 6)


def _is_same_forecast(held: Sequence[Any], row: Sequence[Any]) -> bool:
    return bool(
        held[0] == row[0]
        and held[2] == row[2]
        and (held[1] == row[1] or zlib.decompress(held[1]) == zlib.decompress(row[1]))
    )


def _forecast(row: Sequence[Any]) -> Forecast:
    source, issued, known, start, payload, note = row
    lists = json.loads(zlib.decompress(payload))
    return Forecast(
        source=source,
        issued_at=utc_moment(issued),
        known_at=utc_moment(known),
        start_at=utc_moment(start),
        values={
            name: np.array([math.nan if value is None else value for value in values])
            for name, values in lists.items()
        },
        note=note,
    )
