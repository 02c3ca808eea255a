"""The tables of a season review as CSV files, for people who keep a spreadsheet."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from scheduler.errors import UsageError

if TYPE_CHECKING:
    import pandas

    from scheduler.records import SeasonReview

FILE_NAMES = (
    "windows.csv",
    "passes.csv",
    "totals.csv",
    "fit_days.csv",
    "days.csv",
    "scores.csv",
    "replays.csv",
)
_FORMULA = re.compile(r"'*[=+\-@]")


def require_free_folder(folder: Path) -> None:
    """Refuse a folder that holds a file of these names.

    Raises
    ------
    UsageError
        If a file is there already, or the folder is no folder.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"--csv: {folder} is a file; name a folder, new or empty")
    for name in FILE_NAMES:
        if (folder / name).exists():
            raise UsageError(
                f"--csv: {folder / name} is there already; choose another folder or move it"
            )


def write_review_csv(review: SeasonReview, folder: Path) -> tuple[Path, ...]:
    """Write the tables of a season into a folder, which is made if it is missing.

    Moments are ISO 8601 text with the farm's offset; units are SI and stand in the headers; text
    that a spreadsheet would take for a formula begins with an apostrophe.

    Returns
    -------
    tuple of Path
        The files, in the order of `FILE_NAMES`.

    Raises
    ------
    UsageError
        If a file of one of those names is there already, or cannot be written.
    """
    require_free_folder(folder)
    frames = _frames()
    paths = tuple(folder / name for name in FILE_NAMES)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path in paths:
            _write(frames[path.name](review), path)
    except OSError as error:
        raise UsageError(
            f"--csv: {folder} cannot be written ({error.strerror}); choose another folder"
        ) from error
    return paths


def _frames() -> Mapping[str, Callable[[SeasonReview], pandas.DataFrame]]:
    from scheduler.adapters import frames

    tables = (
        frames.windows_frame,
        frames.passes_frame,
        frames.totals_frame,
        frames.fit_days_frame,
        frames.days_frame,
        frames.scores_frame,
        frames.replays_frame,
    )
    return dict(zip(FILE_NAMES, tables, strict=True))


def _write(frame: pandas.DataFrame, path: Path) -> None:
    """Write a whole file, or none."""
    from pandas.api.types import is_datetime64_any_dtype, is_object_dtype, is_string_dtype

    shown = frame.copy()
    for name in shown.columns:
        column = shown[name]
        if is_datetime64_any_dtype(column):
            shown[name] = [None if moment != moment else _moment(moment) for moment in column]
        elif is_object_dtype(column) or is_string_dtype(column):
            shown[name] = column.map(_plain_text)
    partial = path.with_name(f".{path.name}.part")
    try:
        shown.to_csv(partial, index=False, float_format="%.6g", lineterminator="\r\n")
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)


def _moment(moment: pandas.Timestamp) -> str:
    if moment.tzinfo is None:
        return moment.date().isoformat()
    return moment.isoformat(timespec="minutes")


def _plain_text(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and _FORMULA.match(value) else value
