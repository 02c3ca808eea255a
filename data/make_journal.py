"""Make the demo's season journal: invented entries that follow the recorded weather of 2013.

Run `python data/make_journal.py` after `make_station_weather.py`. It writes `demo/journal.csv` and
prints what is in it. Random numbers are keyed by name, so the same input gives the same bytes.

The invented grower works Monday to Saturday, keeps off a bed after rain (longest on the silt loam)
and on mornings with rain, comes back to a bed every eight to fourteen days, and writes the day up
in the evening; some entries a day late, a few put right afterwards.
"""

from __future__ import annotations

import csv
import gzip
import hashlib
import math
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

DEMO = Path(__file__).parent / "demo"
ZONE = ZoneInfo("America/New_York")
SEED = "demo journal 2013"
FIRST, LAST = date(2013, 3, 18), date(2013, 10, 31)
BED_LENGTH_M = 18.288
HALVES = {"north": (0.0, 9.144), "south": (9.144, BED_LENGTH_M)}
COLUMNS = (
    "id",
    "kind",
    "happened_at",
    "recorded_at",
    "bed",
    "part",
    "supersedes",
    "note",
    "rain_mm",
    "start_at",
    "end_at",
    "is_trace",
    "water_mm",
    "crop",
    "n_rows",
    "row_spacing_mm",
    "depth_mm",
    "from_m",
    "to_m",
    "tool",
    "work_min",
    "feel",
    "n_thread",
    "n_seed_leaf",
    "n_true_leaf",
)
BLOCKED_UNTIL = {1: 12, 4: 13, 5: 13}  # weekday: hour until which harvest or market takes the day
RAIN_LOOKBACK = {  # hours back from nine in the morning, and the rain that keeps the grower off
    "A": ((24, 6.0), (48, 15.0)),
    "B": ((36, 6.0), (120, 45.0)),
    "C": ((48, 6.0), (96, 17.0), (120, 45.0)),
}
PASSES_A_DAY, PREPS_A_DAY, SOWINGS_A_DAY, HANDS_A_DAY = 10, 4, 5, 2
PASS_MIN = {
    "tine weeder": 3.5,
    "finger weeder": 6.0,
    "sweeps": 5.0,
    "ridger": 5.0,
    "wheel hoe": 10.0,
}
PASS_DEPTH_MM = {
    "tine weeder": 15,
    "finger weeder": 20,
    "sweeps": 30,
    "ridger": 50,
    "wheel hoe": 25,
}
LOOKS = (  # local day, bed, and of some twenty sprouts threads, seed leaves, with true leaves
    ("2013-05-07", "A5", 4, 7, 9),
    ("2013-05-07", "A8", 11, 8, 1),
    ("2013-05-07", "B9", 14, 5, 1),
    ("2013-05-07", "C2", 9, 7, 4),
    ("2013-05-13", "A8", 3, 10, 7),
    ("2013-05-13", "B4", 4, 8, 8),
    ("2013-05-13", "B9", 6, 11, 3),
    ("2013-05-13", "C5", 8, 11, 1),
    ("2013-06-14", "A5", 2, 6, 12),
    ("2013-06-14", "B4", 2, 7, 11),
    ("2013-06-19", "B1", 2, 4, 14),
)
SQUEEZES = (  # local day, in the morning, bed, and what the handful did
    ("2013-04-13", "C2", "wet"),
    ("2013-04-15", "B4", "crumbles"),
    ("2013-04-16", "C2", "smears"),
    ("2013-04-18", "C2", "crumbles"),
    ("2013-05-13", "A8", "crumbles"),
    ("2013-05-13", "B4", "smears"),
    ("2013-05-13", "C2", "wet"),
    ("2013-06-12", "C2", "wet"),
    ("2013-06-15", "C5", "smears"),
    ("2013-06-17", "C5", "crumbles"),
)


@dataclass(frozen=True)
class Crop:
    """How this grower raises one crop; heat sums as in the parameter tables, rounded."""

    is_sown: bool
    n_rows: int
    spacing_mm: int | None
    depth_mm: int
    base_c: float = 0.0
    heat_cd: float = 0.0
    blind_depth_mm: int | None = None
    first_pass_d: int = 10
    last_pass_d: int = 0
    tools: tuple[str, ...] = ()
    hand: tuple[tuple[int, int], ...] = ()  # days after emergence or planting, minutes a bed


CROPS = {
    "carrot": Crop(True, 3, 254, 13, 2.1, 132, 10, 14, 60,
                   ("wheel hoe", "sweeps", "finger weeder"), ((26, 70), (48, 45))),
    "beet": Crop(True, 3, 254, 19, 3.1, 109, None, 12, 45,
                 ("wheel hoe", "sweeps", "finger weeder"), ((28, 40),)),
    "planted onion": Crop(False, 3, 254, 25, first_pass_d=14, last_pass_d=85,
                  tools=("finger weeder", "sweeps"), hand=((40, 50), (66, 45))),
    "leek": Crop(False, 2, 381, 60, first_pass_d=14, last_pass_d=90,
                 tools=("finger weeder", "sweeps", "ridger"), hand=((50, 30),)),
    "lettuce": Crop(False, 3, 254, 20, first_pass_d=10, last_pass_d=26,
                    tools=("finger weeder", "wheel hoe"), hand=((24, 12),)),
    "kale": Crop(False, 2, 381, 30, last_pass_d=45,
                 tools=("finger weeder", "sweeps"), hand=((38, 15),)),
    "broccoli": Crop(False, 2, 381, 30, last_pass_d=38,
                     tools=("finger weeder", "sweeps"), hand=((34, 15),)),
    "cabbage": Crop(False, 2, 381, 30, last_pass_d=42,
                    tools=("finger weeder", "sweeps"), hand=((38, 15),)),
    "snap bean": Crop(True, 2, 381, 32, 5.2, 160, 15, 10, 34,
                      ("finger weeder", "sweeps"), ((30, 15),)),
    "pea": Crop(True, 2, 381, 32, -0.1, 151, 15, 14, 34, ("sweeps",)),
    "spinach": Crop(True, 5, 152, 13, -1.1, 126, hand=((20, 45),)),
    "radish": Crop(True, 5, 152, 13, 1.6, 85),
    "tomato": Crop(False, 1, None, 60, last_pass_d=40, tools=("sweeps",), hand=((34, 15),)),
    "pepper": Crop(False, 2, 381, 40, first_pass_d=12, last_pass_d=46,
                   tools=("finger weeder", "sweeps"), hand=((40, 15),)),
    "cucumber": Crop(False, 1, None, 30, last_pass_d=26, tools=("sweeps",)),
    "summer squash": Crop(True, 1, None, 25, 10.0, 60, None, 8, 26, ("sweeps",)),
    "sweet corn": Crop(True, 2, 381, 38, 7.8, 74, 15, 9, 34, ("sweeps", "ridger")),
    "potato": Crop(False, 1, None, 100, 4.0, 230, 20, 8, 40, ("ridger",)),
}  # fmt: skip

# bed: blocks "prep on; [half:]crop on - cleared on, ..." in month-day; a crop without a second
# date stands to the end of the season.
PLAN = {
    "A1": ("03-22; pea 03-26 - 06-28", "07-03; carrot 07-15"),
    "A2": (
        "03-22; spinach 03-25 - 05-25",
        "05-27; snap bean 06-06 - 08-16",
        "08-26; spinach 09-05",
    ),
    "A3": ("03-29; radish 04-01 - 05-10", "05-14; snap bean 05-22 - 07-30", "08-02; lettuce 08-14"),
    "A4": (
        "03-25; north:carrot 04-05 - 07-12, south:beet 04-05 - 06-28",
        "07-16; lettuce 07-26 - 09-05",
        "09-06; spinach 09-12",
    ),
    "A5": ("04-06; carrot 04-19 - 07-24", "08-01; kale 08-08"),
    "A6": ("04-22; carrot 05-06 - 08-12", "08-20; radish 08-28 - 10-04"),
    "A7": ("04-05; lettuce 04-10 - 05-31", "06-03; beet 06-15 - 08-24", "08-28; radish 09-04"),
    "A8": ("04-24; lettuce 05-02 - 06-17", "06-19; snap bean 06-28 - 08-31"),
    "A9": ("04-16; beet 04-29 - 07-05", "07-12; broccoli 07-22 - 10-12"),
    "A10": ("04-04; planted onion 04-09 - 07-26", "08-09; spinach 08-27 - 10-15"),
    "A11": ("04-09; potato 04-12 - 07-22", "07-30; lettuce 08-12 - 10-01"),
    "A12": ("04-29; pepper 05-22 - 10-15",),
    "B1": ("04-08; planted onion 04-13 - 08-02", "08-12; radish 08-22 - 10-02"),
    "B2": ("04-08; planted onion 04-15 - 08-05",),
    "B3": (
        "04-08; north:kale 04-17 - 07-20, south:broccoli 04-17 - 06-25",
        "07-24; lettuce 08-05 - 09-20",
    ),
    "B4": ("04-08; broccoli 04-17 - 06-28", "07-05; carrot 07-18"),
    "B5": ("04-09; cabbage 04-18 - 07-10", "07-19; beet 07-30 - 10-20"),
    "B6": ("04-23; carrot 05-07 - 08-20",),
    "B7": ("04-23; north:carrot 05-07 - 08-22, south:beet 05-07 - 07-12",),
    "B8": ("04-24; snap bean 05-04 - 07-18", "07-22; cabbage 08-01"),
    "B9": ("04-24; sweet corn 05-03 - 08-01", "08-07; spinach 08-30"),
    "B10": ("04-15; potato 04-20 - 08-06",),
    "B11": ("05-01; tomato 05-16 - 10-10",),
    "B12": ("05-16; cucumber 05-30 - 08-20",),
    "C1": ("04-22; leek 04-26 - 10-25",),
    "C2": ("04-22; kale 04-25 - 08-10",),
    "C3": ("04-22; cabbage 04-26 - 07-15",),
    "C4": (
        "04-23; north:lettuce 04-27 - 06-12, south:spinach 04-27 - 06-12",
        "06-17; sweet corn 06-26 - 09-18",
    ),
    "C5": ("04-26; sweet corn 05-06 - 08-06",),
    "C6": ("05-02; summer squash 05-17 - 08-15",),
    "C7": ("04-30; snap bean 05-22 - 08-05", "08-09; kale 08-16"),
    "C8": ("05-03; tomato 05-20 - 10-12",),
    "C9": ("06-03; sweet corn 06-12 - 09-05",),
    "C10": ("06-05; broccoli 07-20 - 10-18",),
    "C11": ("06-20; carrot 07-12",),
    "C12": ("06-20; cabbage 07-15 - 10-26",),
}


@dataclass
class Stand:
    """One crop on a bed or a half of it, as the season runs."""

    crop: str
    part: str | None
    wanted_on: date
    clear_on: date | None
    set_on: date | None = None
    up_on: date | None = None
    rooted_on: date | None = None
    cleared_on: date | None = None
    heat_cd: float = 0.0
    is_blind_done: bool = False
    n_passes: int = 0
    n_hands: int = 0
    pass_due_on: date | None = None

    @property
    def grown(self) -> Crop:
        """How the crop is raised."""
        return CROPS[self.crop]

    @property
    def share(self) -> float:
        """Part of the bed that the crop takes."""
        return 1.0 if self.part is None else 0.5


@dataclass
class Block:
    """One use of a bed: preparation and the crops that follow it."""

    bed: str
    prep_from: date
    stands: list[Stand]
    prepared_on: date | None = None
    stale_due_on: date | None = None


@dataclass
class Entry:
    """One entry before it has an id."""

    kind: str
    happened_at: datetime
    bed: str | None = None
    part: str | None = None
    note: str = ""
    recorded_at: datetime | None = None
    data: dict[str, object] = field(default_factory=dict)
    event_id: str = ""
    supersedes: Entry | None = None


def keyed(*names: object) -> np.random.Generator:
    """A random generator that depends on its names alone."""
    text = "|".join([SEED, *map(str, names)])
    digest = hashlib.sha256(text.encode()).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest[:16], "big")))


def plan() -> dict[str, list[Block]]:
    """The plan as blocks, by bed."""

    def on(text: str) -> date:
        return date.fromisoformat(f"2013-{text.strip()}")

    blocks: dict[str, list[Block]] = {}
    for bed, texts in PLAN.items():
        for text in texts:
            prep, rest = text.split(";")
            stands = []
            for piece in rest.split(","):
                begin, _, end = piece.strip().partition(" - ")
                name, wanted = begin.rsplit(" ", 1)
                half, _, crop = name.rpartition(":")
                stands.append(Stand(crop, half or None, on(wanted), on(end) if end else None))
            blocks.setdefault(bed, []).append(Block(bed, on(prep), stands))
    return blocks


class Weather:
    """The recorded year, by local hour."""

    def __init__(self) -> None:
        with gzip.open(DEMO / "station_2013_hourly.csv.gz", "rt", encoding="utf-8") as file:
            rows = list(csv.reader(file))[1:]
        self.first = datetime.fromisoformat(rows[0][0]).replace(tzinfo=UTC)
        self.temp_c = np.array([float(row[1]) if row[1] else np.nan for row in rows])
        self.rain_mm = np.array([float(row[4]) if row[4] else 0.0 for row in rows])

    def hour_of(self, moment: datetime) -> int:
        """Index of the hour that holds a moment."""
        return int((moment.astimezone(UTC) - self.first).total_seconds() // 3600)

    def rain_between(self, begin: datetime, end: datetime) -> float:
        """Rain [mm] between two whole hours."""
        return float(self.rain_mm[self.hour_of(begin) : self.hour_of(end)].sum())

    def mean_temp_c(self, day: date) -> float:
        """Mean air temperature of a local day [C]."""
        begin = self.hour_of(local(day, 0))
        return float(np.nanmean(self.temp_c[begin : begin + 24]))

    def is_fit(self, bed: str, day: date) -> bool:
        """True if the grower would work the bed on the day."""
        if day.weekday() == 6 or self.rain_between(local(day, 0), local(day, 17)) > 0.0:
            return False
        morning = local(day, 9)
        return all(
            self.rain_between(morning - timedelta(hours=n_hours), morning) < limit_mm
            for n_hours, limit_mm in RAIN_LOOKBACK[bed[0]]
        )


def local(day: date, hour: int, minute: int = 0) -> datetime:
    """A local wall time."""
    return datetime.combine(day, time(hour, minute), ZONE)


class Season:
    """The invented grower's season, day by day."""

    def __init__(self) -> None:
        self.weather = Weather()
        self.blocks = plan()
        self.entries: list[Entry] = []
        self.watered: dict[str, list[tuple[date, float]]] = {}

    def write(self, kind: str, at: datetime, bed: str | None, part: str | None, **data: object):
        """Keep one entry; keys without a value are left out."""
        kept = {key: value for key, value in data.items() if value is not None}
        self.entries.append(Entry(kind, at, bed, part, data=kept))

    def open_block(self, bed: str) -> Block | None:
        """The first block of a bed whose crops are not all cleared."""
        for block in self.blocks[bed]:
            if any(stand.cleared_on is None for stand in block.stands):
                return block
        return None

    def run(self) -> None:
        """Every day of the season."""
        day = FIRST
        while day <= LAST:
            self.day(day)
            day += timedelta(days=1)

    def day(self, day: date) -> None:
        """One day: seen, cleared, prepared, worked, sown and planted, weeded, watered."""
        open_blocks = [block for bed in PLAN if (block := self.open_block(bed)) is not None]
        for block in open_blocks:
            for stand in block.stands:
                self.look_at(block, stand, day)
        if day.weekday() != 6:
            self.clear(open_blocks, day)
            self.prepare(open_blocks, day)
            self.work(open_blocks, day)
            self.establish(open_blocks, day)
            self.weed_by_hand(open_blocks, day)
        self.water(open_blocks, day)

    def look_at(self, block: Block, stand: Stand, day: date) -> None:
        """Emergence and rooting, seen on the way past."""
        if stand.set_on is None or stand.set_on == day or stand.cleared_on is not None:
            return
        grown = stand.grown
        rng = keyed("look", block.bed, stand.crop, stand.wanted_on)
        if grown.heat_cd > 0.0 and stand.up_on is None:
            stand.heat_cd += max(0.0, self.weather.mean_temp_c(day) - grown.base_c)
            if stand.heat_cd >= grown.heat_cd * float(rng.uniform(0.92, 1.12)):
                stand.up_on = day
                stand.pass_due_on = day + timedelta(days=grown.first_pass_d)
                self.write("up", local(day, 12, 30), block.bed, stand.part)
        is_planted = not grown.is_sown and grown.heat_cd == 0.0
        if is_planted and stand.rooted_on is None:
            n_days = int(rng.integers(8, 13))
            if day - stand.set_on >= timedelta(days=n_days):
                stand.rooted_on = day
                self.write("rooted", local(day, 12, 40), block.bed, stand.part)

    def clear(self, blocks: list[Block], day: date) -> None:
        """Crops whose harvest is over."""
        for block in blocks:
            for stand in block.stands:
                if stand.cleared_on or stand.set_on is None or stand.clear_on is None:
                    continue
                if day >= stand.clear_on:
                    stand.cleared_on = day
                    self.write("clear", local(day, 14), block.bed, stand.part)

    def prepare(self, blocks: list[Block], day: date) -> None:
        """Beds made ready for what comes next."""
        n_done = 0
        for block in blocks:
            is_due = block.prepared_on is None and day >= block.prep_from
            if not is_due or n_done >= PREPS_A_DAY or not self.weather.is_fit(block.bed, day):
                continue
            block.prepared_on = day
            block.stale_due_on = day + timedelta(days=8)
            hour = max(8, BLOCKED_UNTIL.get(day.weekday(), 0))
            self.write("prep", local(day, hour, 20 * (n_done % 3)), block.bed, None, depth_mm=100)
            n_done += 1

    def work(self, blocks: list[Block], day: date) -> None:
        """Passes that are due, the longest due first, one tool after the other."""
        due: list[tuple[date, str, Block, Stand | None]] = []
        for block in blocks:
            if block.prepared_on is None or not self.weather.is_fit(block.bed, day):
                continue
            if all(stand.set_on is None for stand in block.stands):
                wanted = block.stands[0].wanted_on
                if block.stale_due_on is not None and block.stale_due_on <= day < wanted:
                    due.append((block.stale_due_on, "tine weeder", block, None))
                continue
            for stand in block.stands:
                tool = self.wanted_tool(stand, day)
                if tool is not None:
                    due.append((stand.pass_due_on or day, tool, block, stand))
        due.sort(key=lambda item: (item[0], item[2].bed))
        at = local(day, max(10, BLOCKED_UNTIL.get(day.weekday(), 0)), 15)
        previous = ""
        for _, tool, block, stand in sorted(due[:PASSES_A_DAY], key=lambda item: item[1]):
            at += timedelta(minutes=10 if tool != previous else 2)
            previous = tool
            at = self.make_pass(block, stand, tool, at, day)

    def wanted_tool(self, stand: Stand, day: date) -> str | None:
        """The tool a standing crop is due for, if any."""
        grown = stand.grown
        if stand.set_on is None or stand.cleared_on is not None:
            return None
        if grown.heat_cd > 0.0 and stand.up_on is None:
            is_time = 0.3 <= stand.heat_cd / grown.heat_cd < 0.65
            is_wanted = grown.blind_depth_mm is not None and not stand.is_blind_done
            return "tine weeder" if is_time and is_wanted else None
        begun = stand.up_on or stand.set_on
        if not grown.tools or stand.pass_due_on is None or day < stand.pass_due_on:
            return None
        if (day - begun).days > grown.last_pass_d:
            return None
        return grown.tools[stand.n_passes % len(grown.tools)]

    def make_pass(
        self, block: Block, stand: Stand | None, tool: str, at: datetime, day: date
    ) -> datetime:
        """One pass; returns when it ended."""
        key = stand.part if stand else None
        rng = keyed("pass", block.bed, key, day)
        share = stand.share if stand else 1.0
        work_min = round(PASS_MIN[tool] * float(rng.uniform(0.8, 1.3)) * share, 1)
        depth_mm = PASS_DEPTH_MM[tool]
        again = timedelta(days=int(rng.integers(8, 12)))
        if stand is None:
            block.stale_due_on = day + again
        elif stand.up_on is None and stand.grown.heat_cd > 0.0:
            stand.is_blind_done = True
            depth_mm = stand.grown.blind_depth_mm or depth_mm
        else:
            stand.n_passes += 1
            stand.pass_due_on = day + again
        self.write(
            "pass", at, block.bed, key, tool=tool, depth_mm=depth_mm, work_min=work_min
        )  # fmt: skip
        return at + timedelta(minutes=math.ceil(work_min))

    def establish(self, blocks: list[Block], day: date) -> None:
        """Sowing and planting."""
        n_done = 0
        for block in blocks:
            if block.prepared_on is None or block.prepared_on == day:
                continue
            if not self.weather.is_fit(block.bed, day) or n_done >= SOWINGS_A_DAY:
                continue
            for stand in block.stands:
                if stand.set_on is not None or day < stand.wanted_on:
                    continue
                grown = stand.grown
                stand.set_on = day
                if grown.heat_cd == 0.0:
                    stand.pass_due_on = day + timedelta(days=grown.first_pass_d)
                span = HALVES[stand.part] if stand.part else (None, None)
                self.write(
                    "sow" if grown.is_sown else "plant",
                    local(day, 15 + n_done // 2, 30 * (n_done % 2)),
                    block.bed,
                    stand.part,
                    crop=stand.crop,
                    n_rows=grown.n_rows,
                    row_spacing_mm=grown.spacing_mm,
                    depth_mm=grown.depth_mm,
                    from_m=span[0],
                    to_m=span[1],
                )
                n_done += 1

    def weed_by_hand(self, blocks: list[Block], day: date) -> None:
        """Rows weeded by hand, two beds a day at most."""
        if not self.weather.is_fit("A1", day) or day.weekday() in BLOCKED_UNTIL:
            return
        n_done = 0
        for block in blocks:
            for stand in block.stands:
                begun = stand.up_on or (None if stand.grown.heat_cd > 0.0 else stand.set_on)
                if begun is None or stand.cleared_on is not None or n_done >= HANDS_A_DAY:
                    continue
                if stand.n_hands >= len(stand.grown.hand):
                    continue
                after_d, minutes = stand.grown.hand[stand.n_hands]
                if (day - begun).days < after_d:
                    continue
                rng = keyed("hand", block.bed, stand.part, stand.n_hands, stand.wanted_on)
                factor = float(np.exp(rng.normal(0.0, 0.35)))
                stand.n_hands += 1
                self.write(
                    "hand",
                    local(day, 8 + 2 * n_done),
                    block.bed,
                    stand.part,
                    work_min=round(minutes * factor * stand.share),
                )
                n_done += 1

    def water(self, blocks: list[Block], day: date) -> None:
        """Beds with a sprinkler or drip line, watered when it has not rained."""
        evening = local(day, 18)
        for block in blocks:
            if block.bed.startswith("C"):
                continue
            standing = [s for s in block.stands if s.set_on is not None and s.cleared_on is None]
            if not standing:
                continue
            is_new = any(
                (s.grown.heat_cd > 0.0 and s.up_on is None and s.grown.depth_mm < 20)
                or (s.grown.heat_cd == 0.0 and s.rooted_on is None)
                for s in standing
            )
            wait_d, dose_mm = (3, 6.0) if is_new else (6, 15.0)
            if not is_new and self.weather.mean_temp_c(day) < 20.0:
                continue
            since = evening - timedelta(days=wait_d)
            got_mm = self.weather.rain_between(since, evening)
            got_mm += sum(
                water_mm
                for on, water_mm in self.watered.get(block.bed, [])
                if day - on < timedelta(days=wait_d)
            )
            if got_mm < 0.6 * dose_mm and self.weather.rain_between(local(day, 12), evening) == 0.0:
                self.watered.setdefault(block.bed, []).append((day, dose_mm))
                self.write("water", evening, block.bed, None, water_mm=dose_mm)

    def read_gauge(self) -> None:
        """The grower's own gauge, read at seven on some mornings after rain."""
        day = FIRST
        n_trace = 0
        while day <= LAST:
            end = local(day, 7)
            start = local(day - timedelta(days=1), 7)
            station_mm = self.weather.rain_between(start, end)
            rng = keyed("gauge", day)
            is_read = rng.random() < 0.3 or day in (date(2013, 5, 9), date(2013, 5, 12))
            span = {"start_at": start.isoformat(), "end_at": end.isoformat()}
            if station_mm >= 6.0 and is_read:
                inches = station_mm / 25.4 * float(np.exp(rng.normal(0.0, 0.18)))
                self.write(
                    "rain", end, None, None, rain_mm=round(round(inches, 2) * 25.4, 3), **span
                )
            elif 0.0 < station_mm <= 0.3 and n_trace < 2 and rng.random() < 0.5:
                n_trace += 1
                self.write("rain", end, None, None, rain_mm=0.0, is_trace="true", **span)
            day += timedelta(days=1)

    def look(self) -> None:
        """Sprouts scratched up in the afternoon, and handfuls squeezed in the morning."""
        for day, bed, *counts in LOOKS:
            names = ("n_thread", "n_seed_leaf", "n_true_leaf")
            at = local(date.fromisoformat(day), 16)
            self.write("look", at, bed, None, **dict(zip(names, counts, strict=True)))
        for day, bed, feel in SQUEEZES:
            self.write("feel", local(date.fromisoformat(day), 8), bed, None, feel=feel)

    def record(self) -> None:
        """When each entry was written down: in the evening, some a day late, gauges at once."""
        for entry in self.entries:
            day = entry.happened_at.date()
            rng = keyed("record", entry.kind, entry.bed, entry.part, entry.happened_at)
            if entry.kind == "rain":
                entry.recorded_at = entry.happened_at + timedelta(minutes=10)
                continue
            if rng.random() < 0.07:
                day += timedelta(days=1)
                entry.note = "written up a day late"
            entry.recorded_at = local(day, 20, int(rng.integers(0, 50)))

    def put_right(self) -> None:
        """Three slips and their corrections: a slipped digit twice, one entry made twice."""

        def slip(kind: str, after: date) -> Entry:
            return next(
                entry
                for entry in self.entries
                if entry.kind == kind and entry.happened_at.date() >= after and not entry.note
                and not entry.data.get("is_trace")
            )  # fmt: skip

        for kind, key, after in (
            ("rain", "rain_mm", date(2013, 4, 8)),
            ("pass", "work_min", date(2013, 5, 2)),
        ):
            wrong = slip(kind, after)
            right = Entry(
                kind,
                wrong.happened_at,
                wrong.bed,
                wrong.part,
                note="the digit had slipped",
                recorded_at=local(wrong.happened_at.date() + timedelta(days=1), 20, 55),
                data=dict(wrong.data),
                supersedes=wrong,
            )
            wrong.data[key] = round(float(str(wrong.data[key])) * 10.0, 3)
            self.entries.append(right)
        twice = slip("water", date(2013, 6, 20))
        again = Entry("water", twice.happened_at, twice.bed, data=dict(twice.data))
        again.recorded_at = (twice.recorded_at or twice.happened_at) + timedelta(minutes=5)
        undone_at = local(twice.happened_at.date() + timedelta(days=1), 20, 55)
        undo = Entry("undo", undone_at, note="entered twice", supersedes=again)
        undo.recorded_at = undone_at
        self.entries += [again, undo]

    def rows(self) -> list[dict[str, object]]:
        """Entries in the order they were written down, with ids."""
        self.entries.sort(key=lambda e: (e.recorded_at, e.happened_at, e.bed or "", e.part or ""))
        for number, entry in enumerate(self.entries, start=1):
            entry.event_id = f"demo-{number:04d}"
        rows = []
        for entry in self.entries:
            assert entry.recorded_at is not None
            row: dict[str, object] = {
                "id": entry.event_id,
                "kind": entry.kind,
                "happened_at": entry.happened_at.isoformat(timespec="minutes"),
                "recorded_at": entry.recorded_at.isoformat(timespec="minutes"),
                "bed": entry.bed or "",
                "part": entry.part or "",
                "supersedes": entry.supersedes.event_id if entry.supersedes else "",
                "note": entry.note,
            }
            row.update(entry.data)
            rows.append(row)
        return rows


def main() -> None:
    """Write the journal and print what is in it."""
    season = Season()
    season.run()
    season.read_gauge()
    season.look()
    season.record()
    season.put_right()
    rows = season.rows()
    with (DEMO / "journal.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    print(len(rows), "entries:", dict(Counter(str(row["kind"]) for row in rows)))
    print("crops:", dict(Counter(str(row["crop"]) for row in rows if row.get("crop"))))
    gaps: list[int] = []
    last: dict[tuple[object, object], date] = {}
    for row in rows:
        if row["kind"] == "pass" and not row["supersedes"]:
            on = datetime.fromisoformat(str(row["happened_at"])).date()
            key = (row["bed"], row["part"])
            if key in last:
                gaps.append((on - last[key]).days)
            last[key] = on
        elif row["kind"] in ("clear", "prep", "sow", "plant", "up"):
            last.pop((row["bed"], row["part"]), None)
    print("days between passes of one crop, quantiles:", np.quantile(gaps, [0, 0.1, 0.5, 0.9, 1]))
    for bed, blocks in season.blocks.items():
        for block in blocks:
            for stand in block.stands:
                late_d = (stand.set_on - stand.wanted_on).days if stand.set_on else None
                if late_d is None or late_d > 5:
                    print("late:", bed, stand.crop, stand.wanted_on, stand.set_on)


if __name__ == "__main__":
    main()
