"""The computed state of the list printed last, kept in the cache folder for the next question.

One file a farm, of the farms asked last; it may be deleted at any time, then the next question
takes as long as the list.
The file is only read back where it was written by this program, version and user; nothing but the
program's own records and plain arrays is ever made from it.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import mmap
import os
import pickle
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO
from zoneinfo import ZoneInfo

from scheduler import __version__
from scheduler.errors import WhitethreadError
from scheduler.service.situation import Kept

FOLDER = "situations"
MOST_FARMS = 2
_MARK = b"whitethread situation 1\n"
_ALIGN = 64
_SPARE_BYTES = 1_000_000_000  # left free on the disk
_PLAIN = {
    ("datetime", "date"),
    ("datetime", "datetime"),
    ("datetime", "time"),
    ("datetime", "timedelta"),
    ("datetime", "timezone"),
    ("zoneinfo", "ZoneInfo"),
    ("numpy", "ndarray"),
    ("numpy", "dtype"),
    ("collections", "OrderedDict"),
}
_SPOILED = (  # what reading a file of another program or a faulty disk may end in
    OSError, ValueError, EOFError, pickle.UnpicklingError, AttributeError, TypeError, ImportError,
    LookupError, ArithmeticError, MemoryError, RecursionError, NotImplementedError, SystemError,
    WhitethreadError,
)  # fmt: skip
_ROOMS = ("scheduler.records", "scheduler.planning.", "scheduler.models.", "scheduler.service.")


def kept_path(cache: Path, farm_folder: Path) -> Path:
    """The file of one farm."""
    name = hashlib.sha256(str(farm_folder.resolve()).encode()).hexdigest()[:24]
    return cache / FOLDER / name


def write_kept(path: Path, kept: Kept) -> bool:
    """Keep a situation; False where the disk has no room for it.

    It is written beside and moved into place, so that a reader never meets half of it.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        arrays: list[pickle.PickleBuffer] = []
        head = pickle.dumps((program_mark(), kept), protocol=5, buffer_callback=arrays.append)
        sizes = [array.raw().nbytes for array in arrays]
        if shutil.disk_usage(path.parent).free < sum(sizes) + _SPARE_BYTES:
            return False
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
            try:
                _write(file, head, arrays)
                file.close()
                Path(file.name).replace(path)
            except BaseException:
                Path(file.name).unlink(missing_ok=True)
                raise
        _tidy(path.parent)
    except OSError:
        return False
    return True


def _tidy(folder: Path) -> None:
    """Delete all but the files written last: each is large, and of use for some hours."""
    dated = []
    for path in folder.iterdir():
        with contextlib.suppress(OSError):
            dated.append((path.stat().st_mtime_ns, path))
    for _, path in sorted(dated, reverse=True)[MOST_FARMS:]:
        with contextlib.suppress(OSError):
            path.unlink()


def _write(file: Any, head: bytes, arrays: list[pickle.PickleBuffer]) -> None:
    file.write(_MARK)
    for number in (len(head), len(arrays), *(array.raw().nbytes for array in arrays)):
        file.write(number.to_bytes(8, "little"))
    file.write(head)
    for array in arrays:
        file.write(b"\0" * (-file.tell() % _ALIGN))
        file.write(array.raw())


def read_kept(path: Path) -> Kept | None:
    """The situation kept last; None where there is none, or none of this program and user.

    Arrays stay on the disk until they are touched.
    """
    try:
        with path.open("rb") as file:
            if not is_own(file):
                return None
            whole = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_COPY)
        return _read(whole)
    except _SPOILED:
        return None


def _read(whole: mmap.mmap) -> Kept | None:
    if whole[: len(_MARK)] != _MARK:
        return None
    view = memoryview(whole)
    numbers = _numbers(whole)
    n_head, n_arrays = next(numbers), next(numbers)
    sizes = [next(numbers) for _ in range(n_arrays)]
    at = len(_MARK) + 8 * (2 + n_arrays)
    head = view[at : at + n_head]
    at += n_head
    arrays = []
    for size in sizes:
        at += -at % _ALIGN
        arrays.append(view[at : at + size])
        at += size
    if at > len(whole):
        return None
    code, kept = _OwnRecords(io.BytesIO(head), buffers=arrays).load()
    return kept if code == program_mark() and isinstance(kept, Kept) else None


def _numbers(whole: mmap.mmap) -> Iterator[int]:
    at = len(_MARK)
    while True:
        yield int.from_bytes(whole[at : at + 8], "little")
        at += 8


class _OwnRecords(pickle.Unpickler):
    """Makes the program's records, moments and arrays, and refuses all else."""

    def find_class(self, module: str, name: str) -> Any:
        """The class of a record."""
        if (module, name) == ("builtins", "getattr"):
            return _zone_maker
        is_array = module.startswith("numpy.") and name in (
            "_frombuffer",
            "_reconstruct",
            "scalar",
        )
        is_record = module.startswith(_ROOMS)
        if not is_array and not is_record and (module, name) not in _PLAIN:
            msg = f"kept situation: found {module}.{name}; only records of this program are read"
            raise pickle.UnpicklingError(msg)
        found = super().find_class(module, name)
        if is_record and not (isinstance(found, type) and found.__module__ == module):
            msg = f"kept situation: found {module}.{name}, which is no record"
            raise pickle.UnpicklingError(msg)
        return found


def _zone_maker(owner: object, name: object) -> Any:
    """How a time zone is made again, and nothing else."""
    if owner is not ZoneInfo or name != "_unpickle":
        msg = f"kept situation: found {name!r} of {owner!r}; only time zones are made so"
        raise pickle.UnpicklingError(msg)
    return ZoneInfo._unpickle  # type: ignore[attr-defined]


def is_own(file: BinaryIO) -> bool:
    """Whether the file belongs to this user and no other may write it."""
    if not hasattr(os, "getuid"):
        return True
    found = os.fstat(file.fileno())
    return found.st_uid == os.getuid() and not found.st_mode & 0o022


def program_mark() -> str:
    """What tells this program from another version or an edited copy of it."""
    package = Path(__file__).parents[1]
    digest = hashlib.sha256(__version__.encode())
    for room in ("models", "planning", "service", "reference", "records.py"):
        paths = sorted((package / room).rglob("*")) if "." not in room else [package / room]
        for path in paths:
            if path.suffix in (".py", ".csv", ".toml"):
                with contextlib.suppress(OSError):
                    found = path.stat()
                    digest.update(f"{path.name} {found.st_size} {found.st_mtime_ns}".encode())
    return digest.hexdigest()
