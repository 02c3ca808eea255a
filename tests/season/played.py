"""One played season as a row, and the file of rows that a run adds to and resumes from."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

FOLDER = Path(__file__).parents[2] / ".season"
RESULTS = FOLDER / "results.jsonl"
TUNING_RESULTS = FOLDER / "tuning.jsonl"
PROGRAM = Path(__file__).parents[2] / "scheduler"
WEATHERS = Path(__file__).parent / "weathers.py"
# What bears on any season, and what the program's own planner reads besides.
WORLD_ROOMS = (
    "models",
    "reference",
    *(
        f"planning/{name}.py"
        for name in (
            "crop_stage",
            "draws",
            "ensemble",
            "forcing",
            "gates",
            "geometry",
            "hours",
            "outlook",
            "passes",
            "plantings",
            "traits",
            "weeds",
            "work",
        )
    ),
    *(f"planning/season/{name}.py" for name in ("play", "rules", "shapes", "truth", "world")),
)
OURS_ROOMS = ("models", "reference", "planning", "records.py", "service/settings.py")
# How `sure` is told, which no season reads: a fit leaves played rows as they are.
TOLD = ("planning/sure.py", "reference/sure.csv")
RULES = "rules.csv"
# Of that table what a world and a truth read: all but these subjects, and of the value these rows.
PLANNER_SUBJECTS = (
    "forecast",
    "heat index",
    "order",
    "past years",
    "value",
    "verdict",
    "visit",
    "weather age",
)
BILL_ROWS = ("sowing_leaves_", "vain_min", "crop_min_m2", "made_good_frac", "sown_loss_factor")


@dataclass(frozen=True)
class Played:
    """A season under one rule, one truth, one weather and one budget of hours."""

    mark: str  # of the program's text that played it
    weather: str
    truth: str
    kind: str  # which way the truth lies outside the prior, empty inside it
    budget: str
    rule: str
    family: str
    hand_min: float
    machine_min: float  # set-ups included
    vain_min: float
    n_passes: int
    n_vain: int
    n_hand_rounds: int
    stand_lost_min: float
    seeds_shed: float
    stated: tuple[float, ...]
    came_true: tuple[bool, ...]
    seconds: float

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What tells one season from another."""
        return (self.weather, self.truth, self.budget, self.rule)

    @property
    def tractor_min(self) -> float:
        """Minutes with the machine: passes, set-ups and visits in vain."""
        return self.machine_min + self.vain_min


def program_mark(rooms: tuple[str, ...], study: str) -> str:
    """Short hash of the program's text in some rooms, of the weather and of the study's terms."""
    is_world = rooms == WORLD_ROOMS
    held = hashlib.sha256(study.encode())
    held.update(WEATHERS.read_bytes())
    for room in rooms:
        path = PROGRAM / room
        for file in [path] if path.is_file() else sorted(path.rglob("*")):
            name = file.relative_to(PROGRAM).as_posix()
            if file.suffix in {".py", ".csv", ".toml"} and name not in TOLD:
                text = file.read_text(encoding="utf-8")
                held.update(name.encode())
                held.update(
                    (world_rows(text) if is_world and file.name == RULES else text).encode()
                )
    return held.hexdigest()[:10]


def world_rows(table: str) -> str:
    """Rows of the table of rules that bear on a season whatever the program's planner thinks."""
    kept = []
    for line in table.splitlines():
        subject, parameter, *_ = line.split(",")
        is_bill = subject == "value" and parameter.startswith(BILL_ROWS)
        if is_bill or subject not in PLANNER_SUBJECTS:
            kept.append(line)
    return "\n".join(kept)


def written_line(row: Played) -> str:
    """The row as one line of JSON."""
    return json.dumps(asdict(row), separators=(",", ":"))


def parsed_line(line: str) -> Played:
    """The row of one line of JSON."""
    data = json.loads(line)
    data["stated"], data["came_true"] = tuple(data["stated"]), tuple(data["came_true"])
    return Played(**data)


def read_played(path: Path = RESULTS, marks: Collection[str] | None = None) -> list[Played]:
    """Rows on file, the last one of each season; of some marks only, if they are given.

    A line that a stopped run left half written at the end of the file is passed over.
    """
    if not path.is_file():
        return []
    rows: dict[tuple[str, ...], Played] = {}
    lines = path.read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        try:
            row = parsed_line(line)
        except json.JSONDecodeError:
            if number < len(lines) - 1:
                raise
            continue
        if marks is None or row.mark in marks:
            rows[row.key] = row
    return list(rows.values())


def add_played(rows: Iterable[Played], path: Path = RESULTS) -> Iterator[Played]:
    """Append rows to the file as they come, and hand them on."""
    path.parent.mkdir(parents=True, exist_ok=True)
    _drop_half_line(path)
    with path.open("a", encoding="utf-8") as file:
        for row in rows:
            file.write(written_line(row) + "\n")
            file.flush()
            yield row


def _drop_half_line(path: Path) -> None:
    """Cut what a stopped run left without its end of line."""
    held = path.read_bytes() if path.is_file() else b""
    if held and not held.endswith(b"\n"):
        path.write_bytes(held[: held.rfind(b"\n") + 1])
