"""A kept situation: read back whole, and never where it is not this program's own."""

from __future__ import annotations

import io
import os
import pickle
import random
from pathlib import Path

import pytest

from scheduler import service
from scheduler.adapters import kept as store
from scheduler.adapters.kept import kept_path, read_kept, write_kept
from scheduler.adapters.render.answer_json import answer_text
from scheduler.planning.whatif import Changes
from tests.scenes.what_if_made import FARM, N_MEMBERS, NOW, act, kept, rain, spring


def test_it_comes_back_whole_and_goes_on_the_same(tmp_path: Path) -> None:
    path = kept_path(tmp_path, tmp_path / "farm")
    assert read_kept(path) is None
    assert write_kept(path, kept())
    found = read_kept(path)
    assert found is not None
    assert found.key == kept().key == found.basis.key()
    made = spring()
    asked = Changes(rain=rain(12.0, NOW).rain, acts=(act("pass", "L1"),))
    answers = [
        service.what_if(FARM, made, made, NOW, asked, n_members=N_MEMBERS, kept=of)
        for of in (found, kept())
    ]
    assert answer_text(answers[0].after) == answer_text(answers[1].after)
    assert list(path.parent.iterdir()) == [path]  # nothing half written lies about
    if os.name == "posix":
        assert path.stat().st_mode & 0o077 == 0


def test_what_rests_on_other_inputs_is_left_aside() -> None:
    """An entry more: the situation is computed anew, and given to be kept."""
    made = spring()
    made.log("feel", NOW.replace(hour=9), "L1", feel="crumbles", recorded_at=NOW)
    fresh: list[object] = []
    service.what_if(
        FARM, made, made, NOW, Changes(), n_members=N_MEMBERS, kept=kept(), keep=fresh.append
    )
    assert len(fresh) == 1
    service.what_if(
        FARM, spring(), spring(), NOW, Changes(), n_members=N_MEMBERS, kept=kept(),
        keep=fresh.append,
    )  # fmt: skip
    assert len(fresh) == 1


@pytest.mark.parametrize("harm", ["cut", "other", "code", "empty", "shared"])
def test_a_file_that_is_not_its_own_is_none(
    tmp_path: Path, harm: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "situations" / "farm"
    assert write_kept(path, kept())
    whole = path.read_bytes()
    if harm == "cut":
        path.write_bytes(whole[: len(whole) // 2])
    elif harm == "other":
        path.write_bytes(b"something else" + whole[14:])
    elif harm == "code":
        monkeypatch.setattr(store, "program_mark", lambda: "another version")
    elif harm == "empty":
        path.write_bytes(b"")
    elif os.name == "posix":
        path.chmod(0o666)
    assert read_kept(path) is None


def test_nothing_but_records_is_made_from_it(tmp_path: Path) -> None:
    """A file that would run something is refused before it does."""
    witness = tmp_path / "ran"

    class Harm:
        def __reduce__(self) -> tuple[object, ...]:
            return os.mkdir, (str(witness),)

    class Reach:
        def __reduce__(self) -> tuple[object, ...]:
            return getattr, (Path, "unlink")

    for harm in (Harm(), Reach()):
        head = pickle.dumps((store.program_mark(), harm), protocol=5)
        path = tmp_path / "kept"
        with path.open("wb") as file:
            store._write(file, head, [])
        path.chmod(0o600)
        assert read_kept(path) is None
    assert not witness.exists()


def test_no_class_is_reached_through_a_room_of_the_program() -> None:
    """A record's room imports more than records: what it imports is not made."""
    ahead = pickle.PROTO + b"\x05" + pickle.SHORT_BINUNICODE
    room, name = b"scheduler.service.situation", b"np.memmap"
    head = ahead + bytes([len(room)]) + room + pickle.SHORT_BINUNICODE + bytes([len(name)]) + name
    head += pickle.STACK_GLOBAL + pickle.STOP
    with pytest.raises(pickle.UnpicklingError, match="which is no record"):
        store._OwnRecords(io.BytesIO(head)).load()


def test_a_file_with_any_byte_spoiled_crashes_nothing(tmp_path: Path) -> None:
    """As after a change of the program that took a room away, or a fault of the disk."""
    path = tmp_path / "situations" / "farm"
    assert write_kept(path, kept())
    whole = path.read_bytes()
    gone = whole.replace(b"scheduler.planning.order", b"scheduler.planning.udder", 1)
    assert gone != whole
    path.write_bytes(gone)
    assert read_kept(path) is None
    small = pickle.dumps((store.program_mark(), FARM, [NOW] * 3), protocol=5)
    rng = random.Random(1)
    for _ in range(400):
        head = bytearray(small)
        head[rng.randrange(len(head))] = rng.randrange(256)
        with path.open("wb") as file:
            store._write(file, bytes(head), [])
        path.chmod(0o600)
        assert read_kept(path) is None


def test_only_the_farms_asked_last_are_kept(tmp_path: Path) -> None:
    paths = [kept_path(tmp_path, tmp_path / name) for name in ("one", "two", "three")]
    for place, path in enumerate(paths):
        assert write_kept(path, kept())
        os.utime(path, ns=(place + 1, place + 1))
    assert write_kept(paths[0], kept())
    assert [path.exists() for path in paths] == [True, False, True]


def test_a_full_disk_keeps_nothing_and_fails_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "_SPARE_BYTES", 10**18)
    path = tmp_path / "situations" / "farm"
    assert not write_kept(path, kept())
    assert not path.exists()
    blocked = tmp_path / "file"
    blocked.write_text("")
    assert not write_kept(blocked / "farm", kept())
