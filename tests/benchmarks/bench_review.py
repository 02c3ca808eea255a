"""Seconds and memory of the demo's season review: `python tests/benchmarks/bench_review.py`.

Prints figures, asserts nothing. Aim: about 20 s on two cores after the first compile, replays
included.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from contextlib import nullcontext
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

from scheduler.adapters.demo import write_demo_farm
from scheduler.adapters.farmfile import read_farm
from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.meanwhile import replays_meanwhile
from scheduler.service.replay import replays
from scheduler.service.season_review import season_review

AS_OF = datetime(2014, 1, 1, 12, tzinfo=UTC)


class Steps:
    """When each message of the progress came first."""

    def __init__(self) -> None:
        self.begun: list[tuple[str, float]] = []

    def __call__(self, message: str, done_frac: float) -> None:
        if not self.begun or self.begun[-1][0] != message:
            self.begun.append((message, time.perf_counter()))


def main() -> None:
    """Write the demo farm and read its season back: to warm up, without and with replays."""
    with tempfile.TemporaryDirectory() as folder:
        farm_folder = Path(folder) / "farm"
        write_demo_farm(farm_folder)
        farm = read_farm(farm_folder)
        with open_farm_database(farm_folder) as database:
            for name, replay in (
                ("first of this process", None),
                ("without replays", None),
                ("with replays", replays),
                ("with replays meanwhile", replays),
            ):
                started, cpu = time.perf_counter(), time.process_time()
                steps = Steps()
                with replays_meanwhile() if "meanwhile" in name else nullcontext() as begin:
                    found = season_review(
                        farm, database, database, database, AS_OF,
                        progress=steps, replay=replay, begin=begin,
                    )  # fmt: skip
                seconds, cpu_s = time.perf_counter() - started, time.process_time() - cpu
                print(
                    f"{name:24s} {seconds:6.2f} s ({cpu_s:.2f} s of processor), "
                    f"{len(found.windows)} windows, {len(found.passes)} passes"
                )
                for (message, since), (_, until) in pairwise(steps.begun):
                    print(f"    {message:36s} {until - since:6.2f} s")
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"peak memory              {peak_mb:6.0f} MB")


if __name__ == "__main__":
    sys.exit(main())
