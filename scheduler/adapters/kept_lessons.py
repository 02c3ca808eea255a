"""What looks and squeeze tests of former months taught, kept in the cache folder.

One small file a farm; it may be deleted at any time, then the next list works it out again. It is
only read back where it was written by this program, version and user. A file that cannot be read or
written is no error.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from scheduler.adapters.journal import FarmDatabase
from scheduler.adapters.kept import is_own, program_mark

FOLDER = "lessons"
MOST_BLOCKS = 40  # of two years, and some as they were before a late entry
_MOST_BYTES = 4_000_000


def lessons_path(cache: Path, farm_folder: Path) -> Path:
    """The file of one farm."""
    name = hashlib.sha256(str(farm_folder.resolve()).encode()).hexdigest()[:24]
    return cache / FOLDER / f"{name}.json"


def kept_lessons(database: FarmDatabase) -> KeptLessons:
    """The lessons of one farm, in this user's cache folder."""
    from platformdirs import user_cache_path

    cache = user_cache_path("whitethread", appauthor=False)
    return KeptLessons(lessons_path(cache, database.path.parent), database)


class KeptLessons:
    """Lessons by key, with the marks of the weather that keys are made of."""

    def __init__(self, path: Path, database: FarmDatabase) -> None:
        self._path = path
        self._database = database
        self._found: dict[str, Mapping[str, Any]] | None = None

    def get(self, key: str) -> Mapping[str, Any] | None:
        """What was put under a key; None where nothing was, or it cannot be read."""
        return self._all().get(key)

    def put(self, key: str, found: Mapping[str, Any]) -> None:
        """Keep plain values under a key; what was put first goes first where there are many."""
        kept = self._all()
        kept.pop(key, None)
        kept[key] = found
        for old in list(kept)[:-MOST_BLOCKS]:
            del kept[old]
        try:
            self._write(kept)
        except (OSError, ValueError):
            return

    def weather_marks(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Mapping[str, str]:
        """By UTC day, as 2013-05-01: another text wherever other values are known of it."""
        return self._database.weather_marks(known_at, start_at, end_at)

    def _all(self) -> dict[str, Mapping[str, Any]]:
        if self._found is None:
            self._found = _read(self._path)
        return self._found

    def _write(self, kept: Mapping[str, Mapping[str, Any]]) -> None:
        """Written beside and moved into place, so that a reader never meets half of it."""
        text = json.dumps({"program": program_mark(), "blocks": kept}, allow_nan=False)
        folder = self._path.parent
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.NamedTemporaryFile("w", dir=folder, delete=False, encoding="utf-8") as file:
            try:
                file.write(text)
                file.close()
                Path(file.name).replace(self._path)
            except BaseException:
                Path(file.name).unlink(missing_ok=True)
                raise


def _read(path: Path) -> dict[str, Mapping[str, Any]]:
    """All that was kept; nothing where it is not of this program and user."""
    try:
        with path.open("rb") as file:
            if not is_own(file) or os.fstat(file.fileno()).st_size > _MOST_BYTES:
                return {}
            whole = json.loads(file.read(), parse_constant=lambda _: math.nan)
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(whole, dict) or whole.get("program") != program_mark():
        return {}
    blocks = whole.get("blocks")
    if not isinstance(blocks, dict):
        return {}
    return {key: found for key, found in blocks.items() if isinstance(found, dict)}
