"""Unit files that let systemd send the morning mail: a timer for each day, or one long service."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from pathlib import Path

from scheduler.errors import UsageError

TIMER_LEAD = timedelta(minutes=10)  # the timer starts so long before the mail is wanted ...
TIMER_DELAY = timedelta(minutes=6)  # ... and up to so much later, so that farms do not ask at once
RETRY_AFTER = "5min"
STOPS_FOR_GOOD = 78  # the exit status that no other try can mend
NAME = "whitethread"
CACHE = f"/var/cache/{NAME}"


@dataclass(frozen=True)
class UnitFarm:
    """A farm that units are written for."""

    folder: Path
    zone_name: str
    send_at: time


def daily_units(
    farms: Sequence[UnitFarm], program: Sequence[str], user: str | None
) -> dict[str, str]:
    """A service that sends once and its timer, by file name; one pair for each hour of sending.

    Parameters
    ----------
    farms
        The farms, at least one.
    program
        The words that start the program, the first an absolute path.
    user
        Who runs it: whoever owns the farm folders; None leaves that line out.

    Raises
    ------
    UsageError
        If a path cannot stand in a unit file.
    """
    groups: dict[tuple[time, str], list[UnitFarm]] = {}
    for farm in farms:
        groups.setdefault((farm.send_at, farm.zone_name), []).append(farm)
    units: dict[str, str] = {}
    for number, ((send_at, zone_name), group) in enumerate(groups.items(), start=1):
        name = f"{NAME}-morning" if number == 1 else f"{NAME}-morning-{number}"
        folders = [farm.folder for farm in group]
        start_at = _starts_at(send_at)
        units[f"{name}.service"] = _service(
            "Make and send the morning mail once",
            [*program, "morning", *map(str, folders)],
            folders,
            user,
            kind="oneshot",
        )
        units[f"{name}.timer"] = _lines(
            "[Unit]",
            f"Description=Morning mail at {send_at:%H:%M} {zone_name}",
            "",
            "[Timer]",
            f"OnCalendar=*-*-* {start_at:%H:%M}:00 {zone_name}",
            f"RandomizedDelaySec={int(TIMER_DELAY.total_seconds())}",
            "AccuracySec=15",
            "# after a night switched off, the mail goes out at the next start",
            "Persistent=true",
            "",
            "[Install]",
            "WantedBy=timers.target",
        )
    return units


def long_running_units(
    folders: Sequence[Path], program: Sequence[str], user: str | None
) -> dict[str, str]:
    """The service that runs all year, by file name; arguments and errors as in `daily_units`."""
    service = _service(
        "Send the morning mail every day",
        [*program, "every-morning", *map(str, folders)],
        folders,
        user,
        kind="exec",
    )
    return {f"{NAME}.service": service + _lines("", "[Install]", "WantedBy=multi-user.target")}


def write_units(folder: Path, units: Mapping[str, str]) -> tuple[Path, ...]:
    """Write unit files into a folder, made if it is missing.

    Raises
    ------
    UsageError
        If the folder cannot be written to.
    """
    paths = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in units.items():
            path = folder / name
            path.write_text(text, encoding="utf-8")
            paths.append(path)
    except OSError as error:
        raise UsageError(
            f"{error.filename or folder}: cannot be written ({error.strerror}); name another folder"
        ) from error
    return tuple(paths)


def owner_of(folders: Sequence[Path]) -> str:
    """Who owns the farm folders.

    Raises
    ------
    UsageError
        If they belong to more than one user, or to one without a name.
    """
    try:
        owners = sorted({folder.owner() for folder in folders})
    except (KeyError, OSError, NotImplementedError) as error:
        raise UsageError(f"the owner of a farm folder cannot be found ({error})") from error
    if len(owners) != 1:
        raise UsageError(
            f"the farm folders belong to {', '.join(owners)}; write the units for each of them"
        )
    return owners[0]


def _starts_at(send_at: time) -> time:
    """When the timer starts; never before midnight, where the mail would be of the day before."""
    midnight = datetime(2000, 1, 1)  # any day
    return max(midnight, datetime.combine(midnight, send_at) - TIMER_LEAD).time()


def _service(
    what: str, words: Sequence[str], folders: Sequence[Path], user: str | None, *, kind: str
) -> str:
    """The service of either kind."""
    is_long = kind == "exec"
    return _lines(
        "[Unit]",
        f"Description={what}",
        "Wants=network-online.target",
        "After=network-online.target",
        "" if is_long else "StartLimitIntervalSec=0",
        "",
        "[Service]",
        f"Type={kind}",
        f"ExecStart={' '.join(_word(word) for word in words)}",
        *([] if user is None else [f"User={user}"]),
        "Restart=on-failure",
        f"RestartSec={'30' if is_long else RETRY_AFTER}",
        f"RestartPreventExitStatus={STOPS_FOR_GOOD}",
        *(["TimeoutStopSec=10"] if is_long else ["TimeoutStartSec=30min"]),
        "# The password of the mail, if farm.toml names no password_file: write it into this file,",
        "# chmod 600, and take the # from the next line.",
        f"#LoadCredential={NAME}-mail:/etc/{NAME}/mail-password",
        f"CacheDirectory={NAME}",
        f"Environment=XDG_CACHE_HOME={CACHE} NUMBA_CACHE_DIR={CACHE}/numba",
        f"Environment=MPLCONFIGDIR={CACHE}/matplotlib",
        "Environment=PYTHONDONTWRITEBYTECODE=1",
        "NoNewPrivileges=true",
        "PrivateTmp=true",
        "PrivateDevices=true",
        "ProtectSystem=strict",
        "ProtectHome=read-only",
        "ProtectKernelTunables=true",
        "ProtectControlGroups=true",
        "RestrictSUIDSGID=true",
        f"ReadWritePaths={' '.join(_path(str(folder)) for folder in folders)}",
    )


def _lines(*lines: str) -> str:
    """Lines of a unit file; empty ones stand between its sections alone."""
    kept: list[str] = []
    for line in lines:
        if line or (kept and kept[-1]):
            kept.append(line)
    return "\n".join(kept) + "\n"


def _path(path: str) -> str:
    """A path as a unit file takes it: quoted, with no mark that would be read as another."""
    if any(ord(mark) < 32 or ord(mark) == 127 for mark in path):
        raise UsageError(f"{path!r}: a unit file cannot hold this path; rename the folder")
    escaped = path.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{escaped}"' if escaped != path or " " in path or "'" in path else path


def _word(word: str) -> str:
    """A word of a command line in a unit file."""
    return _path(word).replace("$", "$$")
