"""Seconds of the demo's season played again: `python tests/benchmarks/bench_compare.py`.

Prints the replays of the review and a few other set-ups with what they say, and their seconds on
the wall and of the processor. Prints figures, asserts nothing; takes minutes.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from scheduler import service
from scheduler.adapters.demo import write_demo_farm
from scheduler.adapters.farmfile import read_farm
from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.render.compare_text import conclusions, what_is_changed
from scheduler.planning.compare import BY_EYE, BY_LIST
from scheduler.records import Range
from scheduler.service.compare import RowsChange, SetUpChange, ToolChange, compare_season
from scheduler.service.garden import farm_season, season_series
from scheduler.service.replay import replays

T = TypeVar("T")
AS_OF = datetime(2013, 10, 28, 12, tzinfo=UTC)
FIRST = datetime(2013, 3, 12, tzinfo=UTC)
SET_UPS = (
    SetUpChange(rows=(RowsChange("carrot", 2, 381.0),)),
    SetUpChange(tools=(ToolChange("brush weeder", "brush weeder"),), price=1800.0),
    SetUpChange(without=("finger weeder", "knives and fingers")),
    SetUpChange(more_h_a_week=2.0),
    SetUpChange(more_h_a_week=-12.0),
    SetUpChange(stale=("carrot",)),
)


def timed(label: str, of: Callable[[], T]) -> T:
    """What a call returns; its seconds are printed."""
    started, cpu = time.perf_counter(), time.process_time()
    found = of()
    wall_s, cpu_s = time.perf_counter() - started, time.process_time() - cpu
    print(f"{label}: {wall_s:.1f} s ({cpu_s:.1f} s of processor)", flush=True)
    return found


def main() -> None:
    """Replays twice, then every set-up by eye and the first also by the list."""
    with tempfile.TemporaryDirectory() as folder:
        farm_folder = Path(folder) / "farm"
        write_demo_farm(farm_folder)
        farm = read_farm(farm_folder, service.crop_names())
        with open_farm_database(farm_folder) as database:
            events = database.events(AS_OF)
            end_at = AS_OF.replace(hour=0)
            series = season_series(farm, events, database, AS_OF, FIRST, end_at)
            for name in ("replays, first of this process", "replays"):
                found = timed(name, lambda: replays(farm, events, series))
            for replay in found:
                spans = (replay.hand_min, replay.machine_min, replay.n_passes)
                told = " ".join(span_text(span) for span in (*spans, replay.against_logged_min))
                print(f"  {replay.rule:26s} {told}")
            season = timed(
                "the season's world", lambda: farm_season(farm, database, database, AS_OF)
            )
            for by, changes in ((BY_EYE, SET_UPS), (BY_LIST, SET_UPS[:1])):
                for change in changes:
                    both = timed(by, lambda c=change, b=by: compare_season(farm, season, c, by=b))
                    for sentence in (*what_is_changed(both), *conclusions(both)):
                        print(f"  {sentence}")


def span_text(span: Range) -> str:
    """Low, middle and high."""
    return f"{span.low:.0f}/{span.mid:.0f}/{span.high:.0f}"


if __name__ == "__main__":
    main()
