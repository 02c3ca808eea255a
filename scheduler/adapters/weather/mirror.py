"""Downloaded files kept as they came: checked first, replaced whole, never lost to a fault.

A file of the mirror is the last good one. Its modification time is when the server last confirmed
it, so that its age is known even where the HTTP cache was deleted. The mirror may be deleted at any
time; it is then fetched anew.
"""

from __future__ import annotations

import gzip
import os
import sqlite3
import tempfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from scheduler.adapters.weather.http import Check, Fetcher
from scheduler.errors import WeatherFetchError

GZIP_MAGIC = b"\x1f\x8b"
SQLITE_MAGIC = b"SQLite format 3\x00"
MOST_LOST_FRAC = 0.1
MOST_CSV_BYTES = 100_000_000
_DATE_COLUMNS = ("year", "month", "day")


@dataclass(frozen=True)
class Refreshed:
    """What became of one file.

    `is_new` says whether its content changed. `age` is the time since the server last confirmed it,
    None where no file is held. `note` says what went wrong; empty where nothing did. `is_absent`
    says that the server was reached and has no such file.
    """

    is_new: bool
    path: Path
    age: timedelta | None
    note: str
    is_absent: bool = False


def refresh(url: str, path: Path, fetcher: Fetcher, now: datetime, check: Check) -> Refreshed:
    """Bring the file at `path` up to date with `url`; on any fault it stays as it is.

    The new content is written beside the file and put in its place in one step. A body that came
    without its gzip wrapping for a name that ends in `.gz` is wrapped again.

    Parameters
    ----------
    url, path
        Where the file comes from and where it is kept.
    fetcher
        Asks the server.
    now
        The moment of asking, aware.
    check
        Raises `ValueError` with the reason if a body is not what it should be.
    """
    path = Path(path)
    try:
        fetched = fetcher.get(url, now=now, check=check)
    except WeatherFetchError as error:
        is_absent = error.status in (404, 410)
        return Refreshed(False, path, age_of(path, now), str(error), is_absent)
    confirmed_at = min(fetched.confirmed_at, now)
    held_at = _confirmed_at(path)
    is_older = held_at is None or held_at < confirmed_at
    if fetched.fault and not is_older and _is_sound(path, check):
        return Refreshed(False, path, age_of(path, now), f"{url}: {fetched.fault}")
    body = fetched.body
    if path.suffix == ".gz" and not body.startswith(GZIP_MAGIC):
        body = gzip.compress(body, mtime=0)
    try:
        is_new = not path.is_file() or path.read_bytes() != body
        if is_new:
            write_whole(path, body)
        os.utime(path, (confirmed_at.timestamp(), confirmed_at.timestamp()))
    except OSError as error:
        note = f"{path}: cannot be written ({error.strerror}); check the disk and its rights"
        return Refreshed(False, path, age_of(path, now), note)
    note = f"{url}: {fetched.fault}" if fetched.fault else ""
    return Refreshed(is_new, path, age_of(path, now), note)


def _is_sound(path: Path, check: Check) -> bool:
    """Whether the file held passes its own check."""
    try:
        check(path.read_bytes(), {})
    except (OSError, ValueError):
        return False
    return True


def write_whole(path: Path, body: bytes) -> None:
    """Write a file so that readers see the old content or the new, never a part."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(body)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _confirmed_at(path: Path) -> datetime | None:
    """When the server last confirmed the file; None where it is not held."""
    try:
        return datetime.fromtimestamp(path.stat().st_mtime, UTC)
    except OSError:
        return None


def age_of(path: Path, now: datetime) -> timedelta | None:
    """Time since the server last confirmed the file; None where it is not held."""
    confirmed_at = _confirmed_at(Path(path))
    return None if confirmed_at is None else max(now - confirmed_at, timedelta())


# --------------------------------------------------------------------- checks


@dataclass(frozen=True)
class _Rows:
    """What a CSV of weather holds up to now: number of rows and the last date, as text keys."""

    n: int
    last: tuple[int, ...]


def csv_check(held: Path, *, has_hours: bool, now: datetime) -> Check:
    """A check of a yearly file of hours or days: whole, dated, and not shrinking.

    A body must be a complete gzip stream (or plain text), its header must begin with
    `year,month,day` and, with `has_hours`, `hour`, and it must have rows. Up to `now` it must
    reach as far as the file at `held` and must not have lost more than a tenth of its rows; rows
    after `now` come and go with every forecast and are not counted.
    """

    def check(body: bytes, headers: Mapping[str, str]) -> None:
        new = _rows(csv_text(body), has_hours, now)
        try:
            old = _rows(csv_text(held.read_bytes()), has_hours, now)
        except (OSError, ValueError):
            return
        if new.n < (1.0 - MOST_LOST_FRAC) * old.n or new.last < old.last:
            raise ValueError(
                f"it has {new.n} rows up to {_date_text(new.last)}, the file held has {old.n} up "
                f"to {_date_text(old.last)}; delete {held} to take it all the same"
            )

    return check


def csv_text(body: bytes) -> str:
    """The text of a CSV, unpacked where it is packed.

    Raises
    ------
    ValueError
        If the gzip stream is damaged or not complete, or the text is not UTF-8.
    """
    if body.startswith(GZIP_MAGIC):
        body = _unpacked(body)
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ValueError("neither gzip nor text") from error


def _unpacked(body: bytes) -> bytes:
    """The content of a gzip body of one or more members, complete to the last checksum."""
    content = bytearray()
    rest = body
    while rest.startswith(GZIP_MAGIC):
        unpacker = zlib.decompressobj(wbits=31)
        try:
            content += unpacker.decompress(rest, MOST_CSV_BYTES)
        except zlib.error as error:
            raise ValueError("the gzip stream is damaged") from error
        if unpacker.unconsumed_tail or len(content) > MOST_CSV_BYTES:
            raise ValueError(f"unpacked it is more than {MOST_CSV_BYTES // 1_000_000} MB")
        if not unpacker.eof:
            raise ValueError("the gzip stream breaks off")
        rest = unpacker.unused_data
    if rest.strip(b"\0"):
        raise ValueError("something follows the gzip stream")
    return bytes(content)


def _rows(text: str, has_hours: bool, now: datetime) -> _Rows:
    """Number of rows and last date up to `now`; a row without a date is refused."""
    expected = (*_DATE_COLUMNS, "hour") if has_hours else _DATE_COLUMNS
    lines = text.splitlines()
    header = tuple(lines[0].split(",")) if lines else ()
    if header[: len(expected)] != expected:
        found = ",".join(header)[:40] or "nothing"
        raise ValueError(f"its header begins with '{found}', expected {','.join(expected)}")
    utc = now.astimezone(UTC)
    end = (utc.year, utc.month, utc.day, utc.hour)[: len(expected)]
    n_rows, last = 0, (0,) * len(expected)
    is_empty = True
    for number, line in enumerate(lines[1:], start=2):
        if not line:
            continue
        is_empty = False
        try:
            stamp = tuple(int(float(cell)) for cell in line.split(",")[: len(expected)])
            datetime(*stamp)  # type: ignore[arg-type]
        except (ValueError, TypeError, OverflowError) as error:
            raise ValueError(f"line {number} has no date: '{line[:30]}'") from error
        if stamp <= end:
            n_rows += 1
            last = max(last, stamp)
    if is_empty:
        raise ValueError("it has a header but no rows")
    return _Rows(n_rows, last)


def _date_text(stamp: tuple[int, ...]) -> str:
    """A date key as text."""
    day = "-".join(f"{part:02d}" for part in stamp[:3])
    return day if len(stamp) == 3 else f"{day} {stamp[3]:02d}:00"


def stations_check(held: Path) -> Check:
    """A check of the list of stations: a whole SQLite file with stations, not many fewer."""

    def check(body: bytes, headers: Mapping[str, str]) -> None:
        n_new = _n_stations(body)
        try:
            n_old = _n_stations(held.read_bytes())
        except (OSError, ValueError):
            return
        if n_new < (1.0 - MOST_LOST_FRAC) * n_old:
            raise ValueError(
                f"it lists {n_new} stations, the file held lists {n_old}; delete {held} to take it "
                "all the same"
            )

    return check


def _n_stations(body: bytes) -> int:
    """Number of stations with coordinates in a SQLite body."""
    if not body.startswith(SQLITE_MAGIC):
        raise ValueError("it is not a SQLite file")
    page_size = int.from_bytes(body[16:18], "big")
    n_bytes = (65536 if page_size == 1 else page_size) * int.from_bytes(body[28:32], "big")
    if len(body) < n_bytes:
        raise ValueError(f"it breaks off at {len(body)} of {n_bytes} bytes")
    connection = sqlite3.connect(":memory:")
    try:
        connection.deserialize(body[:18] + b"\x01\x01" + body[20:])  # read without its log
        n_stations = int(
            connection.execute(
                "SELECT count(*) FROM stations WHERE latitude IS NOT NULL AND longitude IS NOT NULL"
            ).fetchone()[0]
        )
        connection.execute("SELECT station, language, name FROM names LIMIT 1").fetchone()
    except sqlite3.Error as error:
        raise ValueError(f"it cannot be read as a list of stations ({error})") from error
    finally:
        connection.close()
    if n_stations == 0:
        raise ValueError("it lists no station")
    return n_stations
