"""farm.db, its tables as CSV, the drop folder and the one-line notes."""

from scheduler.adapters.journal.database import FarmDatabase, WeatherColumns, open_farm_database
from scheduler.adapters.journal.drop import DropReport, TakenFile, read_drop_folder
from scheduler.adapters.journal.entries import (
    check_survivors,
    checked_entry,
    new_event_id,
    quadrat_areas,
    standing_entries,
)
from scheduler.adapters.journal.notes import (
    NOTE_KINDS,
    gauge_reading_time,
    parse_note,
    parse_notes,
)
from scheduler.adapters.journal.spreadsheets import Imported, export_csv, import_csv

__all__ = [
    "NOTE_KINDS",
    "DropReport",
    "FarmDatabase",
    "Imported",
    "TakenFile",
    "WeatherColumns",
    "check_survivors",
    "checked_entry",
    "export_csv",
    "gauge_reading_time",
    "import_csv",
    "new_event_id",
    "open_farm_database",
    "parse_note",
    "parse_notes",
    "quadrat_areas",
    "read_drop_folder",
    "standing_entries",
]
