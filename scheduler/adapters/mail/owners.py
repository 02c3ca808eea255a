"""Which process holds a claim, and whether it still runs."""

from __future__ import annotations

import os
import platform
from functools import lru_cache
from pathlib import Path

GONE, ALIVE, UNKNOWN = "gone", "alive", "unknown"

_BOOT = Path("/proc/sys/kernel/random/boot_id")
_ROOM = Path("/proc/self/ns/pid")
_SEPARATOR = "|"


def this_process() -> str:
    """One line that names this process on this computer, and no other one ever."""
    return _name_of(os.getpid())


@lru_cache(maxsize=4)
def _name_of(pid: int) -> str:
    return _SEPARATOR.join((*_here(), str(pid), _started(pid)))


def owner_state(owner: str) -> str:
    """Whether the process named by `this_process` is gone, alive, or on a computer out of sight."""
    parts = owner.split(_SEPARATOR)
    if len(parts) != 5 or not parts[3].isdigit():
        return UNKNOWN
    machine, boot, room = _here()
    if (parts[0], parts[2]) != (machine, room):
        return UNKNOWN
    if parts[1] != boot:
        return GONE  # the computer has started anew since
    return _state_of(int(parts[3]), parts[4])


def _here() -> tuple[str, str, str]:
    """This computer, when it was started, and the room in which process numbers are given out."""
    try:
        boot = _BOOT.read_text(encoding="ascii").strip()
        room = str(_ROOM.readlink())
    except OSError:
        boot, room = "", ""
    return platform.node().replace(_SEPARATOR, "-"), boot, room


def _state_of(pid: int, started: str) -> str:
    if os.name != "posix":
        return UNKNOWN  # asking after a process there would end it
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return GONE
    except (OSError, OverflowError):
        pass  # it is there, of another user
    found = _started(pid)
    if found and started and found != started:
        return GONE  # its number was given to another process
    return ALIVE


def _started(pid: int) -> str:
    """When a process started, in ticks since the computer did; empty where nobody tells."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""
    told = fields.rpartition(")")[2].split()
    if len(told) < 20:
        return ""
    return "ended" if told[0] in ("Z", "X") else told[19]
