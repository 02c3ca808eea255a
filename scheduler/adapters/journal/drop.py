"""The drop folder: CSV tables and one-line notes put there by any file sync.

Files `FARM/drop/*.csv` hold entries or weather values (see `spreadsheets`), files `*.txt` hold one
note a line (see `notes`); blank lines and lines that begin with `#` are skipped. A file is taken
whole or not at all, and moves to `FARM/drop/taken/` once its entries are in the journal. A file
with a fault stays where it is and its faults are named; nothing is lost. A file that comes again
adds nothing.

What a file says becomes known when it is read, whatever it says itself. The words of a note
("last night", or no moment at all) count from when its file was last written, because the sync may
bring it the next day; in a file older than `OLDEST_RELATIVE_D` days a note must say its date.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from scheduler.adapters.journal.database import FarmDatabase, open_farm_database
from scheduler.adapters.journal.entries import check_survivors, quadrat_areas
from scheduler.adapters.journal.moments import utc_moment, utc_text, zone_of
from scheduler.adapters.journal.notes import GAUGE_READ_AT, parse_notes
from scheduler.adapters.journal.spreadsheets import (
    Imported,
    Names,
    csv_events,
    csv_weather,
    file_event_id,
    read_csv,
    read_text,
)
from scheduler.errors import WhitethreadError
from scheduler.records import Event

DROP_FOLDER = "drop"
TAKEN_FOLDER = "taken"
OLDEST_RELATIVE_D = 3


@dataclass(frozen=True)
class TakenFile:
    """One file that was taken."""

    name: str
    imported: Imported


@dataclass(frozen=True)
class DropReport:
    """What one reading of the drop folder did; each fault is one line with file and place."""

    taken: tuple[TakenFile, ...] = ()
    faults: tuple[str, ...] = ()


def read_drop_folder(
    folder: Path | str,
    now: datetime,
    time_zone: str,
    beds: Collection[str],
    tools: Collection[str],
    crops: Collection[str],
    *,
    setups: Mapping[str, Collection[str]] | None = None,
    gauge_read_at: time = GAUGE_READ_AT,
) -> DropReport:
    """Take every file of the drop folder that has no fault; one transaction a file.

    Parameters
    ----------
    folder
        The farm folder; a missing drop folder is an empty one.
    now
        When the entries become known.
    time_zone
        The farm's time zone.
    beds, tools, crops
        The names the farm has.
    setups
        The named set-ups of each tool, as in `parse_note`.
    gauge_read_at
        When the gauge is usually read, as in `parse_note`.

    Raises
    ------
    JournalError
        If farm.db cannot be used; a fault of a file is in the report instead.
    """
    drop = Path(folder) / DROP_FOLDER
    taken: list[TakenFile] = []
    faults: list[str] = []
    names: Names = (beds, tools, crops)
    zone = zone_of(time_zone)
    now = utc_moment(utc_text(now))
    take_notes = partial(_take_notes, setups=setups, gauge_read_at=gauge_read_at)
    with open_farm_database(folder) as database:
        for path in _dropped_files(drop):
            read = _take_csv if path.suffix.lower() == ".csv" else take_notes
            try:
                imported, more = read(database, path, now, zone, names)
            except WhitethreadError as error:
                imported, more = None, [_with_name(path.name, str(error))]
            except OSError as error:  # the sync took it away again
                imported = None
                more = [f"{path.name}: cannot be read ({error.strerror}); put it there again"]
            faults += more
            if imported is None:
                continue
            taken.append(TakenFile(path.name, imported))
            fault = _move_away(path)
            if fault:
                faults.append(fault)
    return DropReport(tuple(taken), tuple(faults))


def _dropped_files(drop: Path) -> list[Path]:
    """The files to read, in order of name; what a sync or an editor hides is left alone."""
    if not drop.is_dir():
        return []
    return sorted(
        path
        for path in drop.iterdir()
        if path.suffix.lower() in (".csv", ".txt")
        and not path.name.startswith((".", "~"))
        and path.is_file()
    )


def _with_name(name: str, message: str) -> str:
    return message if message.startswith(name) else f"{name}: {message}"


def _take_csv(
    database: FarmDatabase, path: Path, now: datetime, zone: ZoneInfo, names: Names
) -> tuple[Imported | None, list[str]]:
    table, faults = read_csv(path)
    if table.what == "weather":
        values, more = csv_weather(path.name, table, now, zone)
        if faults or more:
            return None, faults + more
        n_added = database.add_weather_values([replace(value, known_at=now) for value in values])
        return Imported("weather", n_added, len(values) - n_added), []
    events, more = csv_events(path.name, table, now, zone, names)
    if faults or more:
        return None, faults + more
    return _added(database, [replace(event, recorded_at=now) for event in events]), []


def _take_notes(
    database: FarmDatabase,
    path: Path,
    now: datetime,
    zone: ZoneInfo,
    names: Names,
    *,
    setups: Mapping[str, Collection[str]] | None,
    gauge_read_at: time,
) -> tuple[Imported | None, list[str]]:
    written_at = min(datetime.fromtimestamp(path.stat().st_mtime, UTC), now)
    needs_date = now - written_at > timedelta(days=OLDEST_RELATIVE_D)
    events: list[Event] = []
    faults: list[str] = []
    said: Counter[str] = Counter()
    beds, tools, crops = (group or () for group in names)
    known = list(database.events(now))
    for number, line in enumerate(read_text(path).splitlines(), start=1):
        if not line.strip() or line.strip().startswith("#"):
            continue
        try:
            read = parse_notes(
                line,
                written_at,
                zone.key,
                beds,
                tools,
                crops,
                recorded_at=now,
                needs_date=needs_date,
                setups=setups,
                gauge_read_at=gauge_read_at,
                quadrats=quadrat_areas(known),
            )
            for event in read:
                check_survivors(event, known)
        except WhitethreadError as error:
            faults.append(f"{path.name} line {number}: {error}")
            continue
        known += read
        for event in read:
            key = file_event_id(event, 0)
            events.append(replace(event, event_id=file_event_id(event, said[key])))
            said[key] += 1
    return (None, faults) if faults else (_added(database, events), [])


def _added(database: FarmDatabase, events: list[Event]) -> Imported:
    n_added = database.add_events(events)
    return Imported("events", n_added, len(events) - n_added)


def _move_away(path: Path) -> str:
    """Move a taken file; what cannot be moved is named, and adds nothing when it is read again."""
    taken = path.parent / TAKEN_FOLDER
    try:
        taken.mkdir(exist_ok=True)
        target, number = taken / path.name, 1
        while target.exists():
            number += 1
            target = taken / f"{path.stem}-{number}{path.suffix}"
        path.rename(target)
    except OSError as error:
        return (
            f"{path.name}: was taken but cannot be moved to {DROP_FOLDER}/{TAKEN_FOLDER} "
            f"({error.strerror}); move it by hand"
        )
    return ""
