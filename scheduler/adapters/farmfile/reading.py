"""farm.toml from the farm folder."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from scheduler.adapters.farmfile.checking import FarmCheck, check_text
from scheduler.adapters.farmfile.where import FILE_NAME
from scheduler.errors import FarmFileError
from scheduler.records import Farm

_LARGEST_FILE_BYTES = 1_000_000


def farm_text(folder: Path) -> str:
    """Return the text of farm.toml as it stands, for the store of its versions.

    Raises
    ------
    FarmFileError
        If there is no such file, or it cannot be read as text.
    """
    path = folder / FILE_NAME
    if not folder.is_dir():
        raise FarmFileError((f"{folder}: no such folder; `whitethread init` makes a new farm",))
    if not path.is_file():
        raise FarmFileError((f"{folder}: no {FILE_NAME} here; `whitethread init` writes one",))
    try:
        content = path.read_bytes()
    except OSError as error:
        told = f"{path}: cannot be read ({error.strerror}); check who may read it"
        raise FarmFileError((told,)) from error
    if len(content) > _LARGEST_FILE_BYTES:
        told = f"{FILE_NAME}: {len(content)} bytes; allowed: up to {_LARGEST_FILE_BYTES}"
        raise FarmFileError((f"{told}; is it the right file?",))
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        told = f"{FILE_NAME} line {line}: not UTF-8 text; save the file again as UTF-8"
        raise FarmFileError((told,)) from None


def check_farm(folder: Path, crops: Collection[str] | None = None) -> FarmCheck:
    """Return all faults and warnings of the farm.toml in a folder; nothing is written.

    Raises nothing for a wrong file: that it is missing or no text is a fault like any other.
    `crops` are the names a plan may use; None leaves them unchecked.
    """
    try:
        text = farm_text(folder)
    except FarmFileError as error:
        return FarmCheck(error.faults, (), None)
    return check_text(text, crops)


def read_farm(folder: Path, crops: Collection[str] | None = None) -> Farm:
    """Return the farm of a folder; `crops` as in `check_farm`.

    Raises
    ------
    FarmFileError
        With every fault of the file at once, one line each.
    """
    return parse_farm(farm_text(folder), crops)


def parse_farm(text: str, crops: Collection[str] | None = None) -> Farm:
    """Return the farm a text describes, such as an older version of farm.toml.

    `crops` as in `check_farm`.

    Raises
    ------
    FarmFileError
        With every fault of the text at once, one line each.
    """
    check = check_text(text, crops)
    if check.farm is None:
        raise FarmFileError(check.faults)
    return check.farm


class FarmFile:
    """The farm file of one folder; satisfies `ports.Farms`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def farm(self) -> Farm:
        """Return the farm as described now; errors as in `read_farm`."""
        return read_farm(self.folder)
