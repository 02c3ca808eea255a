"""Unit files for systemd: what they hold, and that odd paths stay what they are."""

from __future__ import annotations

import shlex
import shutil
import subprocess
from datetime import time
from pathlib import Path

import pytest

from scheduler.adapters.mail.units import (
    UnitFarm,
    daily_units,
    long_running_units,
    owner_of,
    write_units,
)
from scheduler.errors import UsageError

PROGRAM = ("/opt/whitethread/bin/whitethread",)
ZONE = "America/New_York"
FARM = UnitFarm(Path("/home/ann/farm"), ZONE, time(5, 30))


def sections(text: str) -> dict[str, list[tuple[str, str]]]:
    """Keys and values by section; a line that is neither is a fault."""
    found: dict[str, list[tuple[str, str]]] = {}
    name = ""
    for line in text.splitlines():
        if line.startswith("["):
            name = line.strip("[]")
            assert name not in found
            found[name] = []
        elif line and not line.startswith("#"):
            key, is_key, value = line.partition("=")
            assert is_key
            assert key.isalpha()
            assert value
            found[name].append((key, value))
    return found


def test_a_timer_and_a_service_that_sends_once() -> None:
    units = daily_units([FARM], PROGRAM, "ann")
    assert set(units) == {"whitethread-morning.service", "whitethread-morning.timer"}
    service = sections(units["whitethread-morning.service"])
    said = dict(service["Service"])
    assert said["Type"] == "oneshot"
    assert said["ExecStart"] == "/opt/whitethread/bin/whitethread morning /home/ann/farm"
    assert said["User"] == "ann"
    assert said["RestartPreventExitStatus"] == "78"
    assert said["ReadWritePaths"] == "/home/ann/farm"
    assert dict(service["Unit"])["StartLimitIntervalSec"] == "0"
    assert "Install" not in service
    timer = sections(units["whitethread-morning.timer"])
    assert dict(timer["Timer"]) == {
        "OnCalendar": "*-*-* 05:20:00 America/New_York",
        "RandomizedDelaySec": "360",
        "AccuracySec": "15",
        "Persistent": "true",
    }
    assert timer["Install"] == [("WantedBy", "timers.target")]


def test_farms_of_one_hour_share_a_timer_and_another_hour_has_its_own() -> None:
    later = UnitFarm(Path("/srv/late"), ZONE, time(6))
    other = UnitFarm(Path("/srv/other"), ZONE, time(5, 30))
    units = daily_units([FARM, later, other], PROGRAM, None)
    assert len(units) == 4
    first, second = (
        dict(sections(units[f"whitethread-morning{end}.service"])["Service"])["ExecStart"]
        for end in ("", "-2")
    )
    assert first.split()[2:] == ["/home/ann/farm", "/srv/other"]
    assert second.split()[2:] == ["/srv/late"]
    assert "OnCalendar=*-*-* 05:50:00" in units["whitethread-morning-2.timer"]
    assert "User=" not in "".join(units.values())


def test_a_mail_just_after_midnight_is_not_made_on_the_day_before() -> None:
    units = daily_units([UnitFarm(Path("/f"), ZONE, time(0, 5))], PROGRAM, None)
    assert "OnCalendar=*-*-* 00:00:00" in units["whitethread-morning.timer"]


def test_the_service_of_the_whole_year() -> None:
    units = long_running_units([Path("/home/ann/farm"), Path("/srv/b")], PROGRAM, "ann")
    found = sections(units["whitethread.service"])
    said = dict(found["Service"])
    assert said["Type"] == "exec"
    assert said["Restart"] == "on-failure"
    assert said["ExecStart"].split()[1:] == ["every-morning", "/home/ann/farm", "/srv/b"]
    assert found["Install"] == [("WantedBy", "multi-user.target")]


@pytest.mark.parametrize(
    "path", ["/home/ann/my farm", '/f/"half"', "/f/100%", "/f/$HOME", "/f/it's", "/f/Bäume 🌱"]
)
def test_odd_paths_are_one_word(path: str) -> None:
    said = dict(
        sections(long_running_units([Path(path)], PROGRAM, None)["whitethread.service"])["Service"]
    )
    start = said["ExecStart"].replace("%%", "%").replace("$$", "$")
    assert shlex.split(start)[2:] == [path]
    assert shlex.split(said["ReadWritePaths"].replace("%%", "%")) == [path]


def test_a_path_that_would_end_the_line_is_refused() -> None:
    with pytest.raises(UsageError, match="rename the folder"):
        long_running_units([Path("/f/a\nExecStart=/bin/sh")], PROGRAM, None)


def test_units_are_written(tmp_path: Path) -> None:
    paths = write_units(tmp_path / "new" / "units", daily_units([FARM], PROGRAM, "ann"))
    assert [path.name for path in paths] == [
        "whitethread-morning.service",
        "whitethread-morning.timer",
    ]
    assert all(path.read_text().startswith("[Unit]\n") for path in paths)
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="name another folder"):
        write_units(tmp_path / "file", {"a.service": ""})


def test_the_owner_of_the_folders(tmp_path: Path) -> None:
    assert owner_of([tmp_path, tmp_path]) == tmp_path.owner()
    with pytest.raises(UsageError):
        owner_of([tmp_path / "missing"])


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here")
def test_systemd_takes_them(tmp_path: Path) -> None:
    program = (shutil.which("true") or "/bin/true",)
    folder = tmp_path / "my farm 100% $HOME 'n' \"half\""
    folder.mkdir()
    units = daily_units([UnitFarm(folder, ZONE, time(5, 30))], program, None)
    units |= long_running_units([folder], program, None)
    paths = write_units(tmp_path / "units", units)
    command = ["systemd-analyze", "verify", "--man=no", *map(str, paths)]
    found = subprocess.run(command, capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr
    assert not found.stderr.strip()
