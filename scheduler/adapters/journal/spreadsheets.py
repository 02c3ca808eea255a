"""The journal and the weather as CSV, out and in, for people who keep a spreadsheet.

events.csv has the columns `EVENT_COLUMNS`: id, kind, happened_at, recorded_at, bed, part,
supersedes, note, then one for each key of `records.Event.data`. A file of one's own needs only kind
and happened_at, and the columns it fills. weather.csv has the columns `WEATHER_COLUMNS`.

Reading takes what spreadsheets do to a file: a byte order mark, semicolons with decimal commas, any
line end, blank lines, padding, a first line `sep=;`. Moments without an offset are wall time of the
farm; a day alone is its noon, or for rain and temperature the whole day.
"""

from __future__ import annotations

import csv
import io
import os
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.adapters.journal.database import check_weather_value, open_farm_database
from scheduler.adapters.journal.entries import (
    DATA_KEYS,
    FEEL_WORDS,
    KIND_RULES,
    WORDS,
    check_names,
    checked_entry,
    names_hint,
    new_event_id,
)
from scheduler.adapters.journal.moments import (
    day_or_moment,
    hours,
    noon_or_now,
    start_of_day,
    utc_moment,
    utc_text,
    zone_of,
)
from scheduler.errors import JournalError, WhitethreadError
from scheduler.records import EVENT_KINDS, Event, Kind, WeatherValue

_ENTRY_COLUMNS = (
    "id",
    "kind",
    "happened_at",
    "recorded_at",
    "bed",
    "part",
    "supersedes",
    "note",
)
EVENT_COLUMNS = _ENTRY_COLUMNS + tuple(DATA_KEYS)
WEATHER_COLUMNS = (
    "variable",
    "start_at",
    "end_at",
    "value",
    "kind",
    "source",
    "known_at",
    "is_trace",
    "suspect",
)
EVER = datetime.max.replace(tzinfo=UTC)
"""Later than anything became known."""

LARGEST_FILE_BYTES = 200_000_000
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_FORMULA = re.compile(r"'*[=+\-@]")
_QUOTED_FORMULA = re.compile(r"'+[=+\-@]")
_YES_NO = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
_WEATHER_KINDS = {kind.name.lower(): kind for kind in Kind if kind != Kind.MISSING}


@dataclass(frozen=True)
class Imported:
    """What a file held: how many rows were new, and how many the farm had already."""

    what: str  # events or weather
    n_added: int
    n_known: int


@dataclass(frozen=True)
class _Row:
    """One row of a CSV file: the line it starts on, and its filled cells by column."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class _Table:
    """A CSV file as rows; `has_decimal_comma` where semicolons part the cells."""

    what: str  # events or weather
    has_decimal_comma: bool
    rows: tuple[_Row, ...]


# ----------------------------------------------------------------------- out


def export_csv(
    folder: Path | str, out_dir: Path | str, *, known_at: datetime = EVER
) -> tuple[Path, Path]:
    """Write events.csv and weather.csv of a farm folder to `out_dir`, complete to the digit.

    Corrections and revisions are written as entries of their own, as the journal holds them.

    Raises
    ------
    JournalError
        If a file of that name is there already, or cannot be written.
    """
    events_path, weather_path = Path(out_dir) / "events.csv", Path(out_dir) / "weather.csv"
    for path in (events_path, weather_path):
        if path.exists():
            raise JournalError(f"{path}: is there already; choose another folder or move it")
    with open_farm_database(folder) as database:
        event_rows = [_event_cells(event) for event in database.all_events(known_at)]
        weather_rows = [_weather_cells(value) for value in database.all_weather_values(known_at)]
    try:
        Path(out_dir).mkdir(parents=True, exist_ok=True)
        _write_csv(events_path, EVENT_COLUMNS, event_rows)
        _write_csv(weather_path, WEATHER_COLUMNS, weather_rows)
    except OSError as error:
        raise JournalError(
            f"{out_dir}: cannot be written ({error.strerror}); choose another folder"
        ) from error
    return events_path, weather_path


def _write_csv(path: Path, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a whole file, or none."""
    partial = path.with_name(f".{path.name}.part")
    try:
        with partial.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream)
            writer.writerow(columns)
            writer.writerows(rows)
            stream.flush()
            os.fsync(stream.fileno())
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)


def _event_cells(event: Event) -> list[str]:
    cells = [
        _free_text(event.event_id),
        event.kind,
        utc_text(event.happened_at),
        utc_text(event.recorded_at),
        _free_text(event.bed or ""),
        _free_text(event.part or ""),
        _free_text(event.supersedes or ""),
        _free_text(event.note),
    ]
    return cells + [_data_cell(event.data[key]) if key in event.data else "" for key in DATA_KEYS]


def _weather_cells(value: WeatherValue) -> list[str]:
    return [
        value.variable,
        utc_text(value.start_at),
        utc_text(value.end_at),
        _number_cell(value.value),
        value.kind.name.lower(),
        _free_text(value.source),
        utc_text(value.known_at),
        "true" if value.is_trace else "",
        _free_text(value.suspect),
    ]


def _data_cell(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return _number_cell(float(value))
    return _free_text(str(value))


def _number_cell(number: float) -> str:
    """The shortest text that reads back as the same number."""
    return repr(number).removesuffix(".0")


def _free_text(text: str) -> str:
    """`text`, behind an apostrophe if a spreadsheet would run it as a formula."""
    return "'" + text if _FORMULA.match(text) else text


def _plain_text(cell: str) -> str:
    """What `_free_text` was given."""
    return cell[1:] if _QUOTED_FORMULA.match(cell) else cell


# ------------------------------------------------------------------------ in


def import_csv(
    folder: Path | str,
    path: Path | str,
    *,
    now: datetime,
    time_zone: str,
    beds: Collection[str] | None = None,
    tools: Collection[str] | None = None,
    crops: Collection[str] | None = None,
) -> Imported:
    """Add the entries or weather values of a CSV file, all or none.

    A row without an id gets one from what it says, so that reading the file again adds nothing. A
    row without `recorded_at` or `known_at` became known `now`.

    Parameters
    ----------
    beds, tools, crops
        The names the farm has; None leaves them unchecked.

    Raises
    ------
    JournalError
        The first fault with its line, and how many more there are.
    """
    source = Path(path)
    table, faults = read_csv(source)
    with open_farm_database(folder) as database:
        if table.what == "events":
            names = (beds, tools, crops)
            events, more = csv_events(source.name, table, now, zone_of(time_zone), names)
            _raise_first([*faults, *more])
            n_added = database.add_events(events)
            return Imported("events", n_added, len(events) - n_added)
        values, more = csv_weather(source.name, table, now, zone_of(time_zone))
        _raise_first([*faults, *more])
        n_added = database.add_weather_values(values)
        return Imported("weather", n_added, len(values) - n_added)


def _raise_first(faults: Sequence[str]) -> None:
    if faults:
        n_more = len(faults) - 1
        plural = "s" if n_more > 1 else ""
        rest = f" (and {n_more} more fault{plural} in this file)" if n_more else ""
        raise JournalError(faults[0] + rest)


def read_csv(path: Path) -> tuple[_Table, list[str]]:
    """The rows of a CSV file, and the faults of rows that have too many or too few cells.

    Raises
    ------
    JournalError
        If the file as a whole cannot be read.
    """
    text = read_text(path)
    first, _, rest = text.partition("\n")
    n_skipped = 0
    if re.fullmatch(r"sep=[,;]\s*", first):
        text, n_skipped = rest, 1
    header_line = next((line for line in text.split("\n") if line.strip(" \r,;")), "")
    delimiter = ";" if header_line.count(";") > header_line.count(",") else ","
    rows: list[_Row] = []
    faults: list[str] = []
    columns: list[str] | None = None
    what = ""
    for line, cells in _csv_lines(path.name, text, delimiter, n_skipped):
        if not any(cells):
            continue
        if columns is None:
            columns, what = _checked_header(f"{path.name} line {line}", cells)
            continue
        while len(cells) > len(columns) and not cells[-1]:
            cells.pop()
        if len(cells) != len(columns):
            faults.append(
                f"{path.name} line {line}: has {len(cells)} cells, the header has {len(columns)}; "
                "put a text with a comma or semicolon in double quotes, fill up a short row"
            )
            continue
        filled = {name: cell for name, cell in zip(columns, cells, strict=True) if cell}
        rows.append(_Row(line, filled))
    if columns is None:
        raise JournalError(f"{path.name}: is empty; its first line must name the columns")
    return _Table(what, delimiter == ";", tuple(rows)), faults


def read_text(path: Path) -> str:
    """The text of a UTF-8 file without its byte order mark."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise JournalError(
                f"{path.name}: is larger than {LARGEST_FILE_BYTES // 1_000_000} MB; split it"
            )
        content = path.read_bytes()
    except OSError as error:
        raise JournalError(
            f"{path.name}: cannot be read ({error.strerror}); check the name and the rights"
        ) from error
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise JournalError(
            f"{path.name} line {line}: is not UTF-8 text; save the file as CSV UTF-8"
        ) from error
    return text


def _csv_lines(
    name: str, text: str, delimiter: str, n_skipped: int
) -> Iterator[tuple[int, list[str]]]:
    """Each record of a CSV text: the line it starts on, and its trimmed cells."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise JournalError(
                f"{name} line {line + n_skipped}: cannot be parted into cells ({error}); "
                "check its double quotes"
            ) from error
        yield line + n_skipped, [cell.strip() for cell in cells]
        line = reader.line_num + 1


def _checked_header(where: str, cells: Sequence[str]) -> tuple[list[str], str]:
    """The columns of a file and whether they are those of events or of weather."""
    columns = [cell.lower() for cell in cells]
    while columns and not columns[-1]:
        columns.pop()
    is_weather = "variable" in columns
    what, allowed, needed = (
        ("weather", WEATHER_COLUMNS, ("variable", "start_at", "end_at", "value", "kind", "source"))
        if is_weather
        else ("events", EVENT_COLUMNS, ("kind", "happened_at"))
    )
    for column, n_times in Counter(columns).items():
        if column not in allowed:
            raise JournalError(
                f"{where}: there is no column {column!r} in a table of {what}; "
                f"{names_hint(column, allowed)}"
            )
        if n_times > 1:
            raise JournalError(f"{where}: names the column {column!r} {n_times} times; keep one")
    for column in needed:
        if column not in columns:
            raise JournalError(
                f"{where}: lacks the column {column!r}; a table of {what} needs {', '.join(needed)}"
            )
    return columns, what


Names = tuple[Collection[str] | None, Collection[str] | None, Collection[str] | None]
"""The names of beds, tools and crops that are allowed; None leaves them unchecked."""


def csv_events(
    name: str,
    table: _Table,
    now: datetime,
    zone: ZoneInfo,
    names: Names = (None, None, None),
) -> tuple[list[Event], list[str]]:
    """The entries of a table, and one line for each fault."""
    events: list[Event] = []
    faults: list[str] = []
    said: Counter[str] = Counter()
    for row in table.rows:
        try:
            event = _row_event(row, table.has_decimal_comma, now, zone)
            if not event.event_id:
                event = _named(event, said)
            event = checked_entry(event)
            check_names(event, beds=names[0], tools=names[1], crops=names[2])
        except WhitethreadError as error:
            faults.append(f"{name} line {row.line}: {error}")
        else:
            events.append(event)
    return events, faults


def _named(event: Event, said: Counter[str]) -> Event:
    """The entry with an id of its own; equal rows of one file are counted."""
    checked = checked_entry(event)
    key = file_event_id(checked, 0)
    event_id = file_event_id(checked, said[key])
    said[key] += 1
    return replace(checked, event_id=event_id)


def file_event_id(event: Event, nth: int) -> str:
    """The id of an entry read from a file: the same whenever the file is read."""
    return new_event_id(
        event.kind,
        event.happened_at,
        bed=event.bed,
        part=event.part,
        data=event.data,
        supersedes=event.supersedes,
        note=event.note,
        nth=nth,
    )


def _row_event(row: _Row, has_decimal_comma: bool, now: datetime, zone: ZoneInfo) -> Event:
    """The entry of one row, not yet checked; without an id where the row has none."""
    cells = row.cells
    for column in ("kind", "happened_at"):
        if column not in cells:
            raise JournalError(f"{column} is blank; fill it")
    kind = cells["kind"].lower()
    if kind not in EVENT_KINDS:
        raise JournalError(f"there is no kind {kind!r}; {names_hint(kind, EVENT_KINDS)}")
    data: dict[str, Any] = {}
    for key, known in DATA_KEYS.items():
        if key in cells:
            data[key] = _data_value(key, known.holds, cells[key], has_decimal_comma, zone)
    said_at = day_or_moment(cells["happened_at"], zone)
    happened_at = said_at if isinstance(said_at, datetime) else noon_or_now(said_at, zone, now)
    if "start_at" in KIND_RULES[kind].keys and not {"start_at", "end_at"} & data.keys():
        start_at, happened_at = _span(said_at, zone, now)
        data |= {"start_at": utc_text(start_at), "end_at": utc_text(happened_at)}
    return Event(
        event_id=_plain_text(cells.get("id", "")),
        kind=kind,
        happened_at=happened_at,
        recorded_at=_cell_moment("recorded_at", cells["recorded_at"], zone)
        if "recorded_at" in cells
        else now,
        bed=_plain_text(cells.get("bed", "")),
        part=_plain_text(cells.get("part", "")),
        data=data,
        supersedes=_plain_text(cells.get("supersedes", "")),
        note=_plain_text(cells.get("note", "")),
    )


def _span(said_at: date | datetime, zone: ZoneInfo, now: datetime) -> tuple[datetime, datetime]:
    """What rain of a day, or read at a moment, covers: the civil day, or the 24 h before."""
    if isinstance(said_at, datetime):
        return said_at - hours(24), said_at
    end_at = start_of_day(said_at + timedelta(days=1), zone)
    return start_of_day(said_at, zone), min(end_at, utc_moment(utc_text(now)))


def _data_value(key: str, holds: str, cell: str, has_decimal_comma: bool, zone: ZoneInfo) -> object:
    if holds in ("number", "whole"):
        return _cell_number(key, cell, has_decimal_comma)
    if holds == "yes_no":
        return _cell_yes_no(key, cell)
    if holds == "moment":
        return utc_text(_cell_moment(key, cell, zone))
    if holds in WORDS:
        return _cell_word(holds, cell)
    return _plain_text(cell)


def _cell_word(holds: str, cell: str) -> str:
    """One of a few words, as the journal keeps it; an unknown one is left for the check."""
    word = " ".join(cell.lower().split())
    return FEEL_WORDS.get(word, word) if holds == "feel" else word


def _cell_number(column: str, cell: str, has_decimal_comma: bool) -> float:
    """The number of a cell; a comma is a decimal sign only in a file parted by semicolons."""
    if not _NUMBER.fullmatch(cell) or ("," in cell and not has_decimal_comma):
        marks = "a decimal point or comma" if has_decimal_comma else "a decimal point"
        raise JournalError(
            f"{column} is {cell!r}; write a plain number with {marks}, without a unit"
        )
    return float(cell.replace(",", "."))


def _cell_yes_no(column: str, cell: str) -> bool:
    if cell.lower() not in _YES_NO:
        raise JournalError(f"{column} is {cell!r}; allowed: true, false")
    return _YES_NO[cell.lower()]


def _cell_moment(column: str, cell: str, zone: ZoneInfo) -> datetime:
    moment = day_or_moment(cell, zone)
    if not isinstance(moment, datetime):
        raise JournalError(f"{column} is {cell!r}; add the hour, like {cell} 07:00")
    return moment


def csv_weather(
    name: str, table: _Table, now: datetime, zone: ZoneInfo
) -> tuple[list[WeatherValue], list[str]]:
    """The weather values of a table, and one line for each fault."""
    values: list[WeatherValue] = []
    faults: list[str] = []
    for row in table.rows:
        try:
            value = _row_value(row, table.has_decimal_comma, now, zone)
            check_weather_value(value)
        except WhitethreadError as error:
            faults.append(f"{name} line {row.line}: {error}")
        else:
            values.append(value)
    return values, faults


def _row_value(row: _Row, has_decimal_comma: bool, now: datetime, zone: ZoneInfo) -> WeatherValue:
    cells = row.cells
    for column in ("variable", "start_at", "end_at", "value", "kind", "source"):
        if column not in cells:
            raise JournalError(f"{column} is blank; fill it, or leave a missing value out")
    kind = _WEATHER_KINDS.get(cells["kind"].lower())
    if kind is None:
        raise JournalError(f"kind is {cells['kind']!r}; allowed: {', '.join(_WEATHER_KINDS)}")
    return WeatherValue(
        variable=cells["variable"],
        start_at=_cell_moment("start_at", cells["start_at"], zone),
        end_at=_cell_moment("end_at", cells["end_at"], zone),
        value=_cell_number("value", cells["value"], has_decimal_comma),
        kind=kind,
        source=_plain_text(cells["source"]),
        known_at=_cell_moment("known_at", cells["known_at"], zone) if "known_at" in cells else now,
        is_trace=_cell_yes_no("is_trace", cells.get("is_trace", "false")),
        suspect=_plain_text(cells.get("suspect", "")),
    )
