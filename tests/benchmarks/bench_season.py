"""Seconds of a played season: `python tests/benchmarks/bench_season.py`.

The program's own planner and one simple rule, twelve beds, March to October in Newark 2013. Prints
figures, asserts nothing. Aim: 20 s for a season of one rule on two cores; what all rules of a
weather share (soil members, columns of the truth) is timed apart.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from scheduler.planning.season.play import play
from tests.season import stage

WEATHER, TRUTH, BUDGET = "Newark 2013", "tuning 1", "medium"
AIM_S = 20.0


def timed(words: str, work: Callable[[], object], aim_s: float | None = None) -> None:
    """Do the work and print how long it took."""
    started, busy = time.perf_counter(), time.process_time()
    work()
    took, cpu = time.perf_counter() - started, time.process_time() - busy
    ratio = "" if aim_s is None else f", {took / aim_s:.2f} of the aim of {aim_s:g} s"
    print(f"{words:<44} {took:7.2f} s ({cpu:.2f} s of processor){ratio}", flush=True)


def main() -> None:
    """Print one line a part."""
    timed("world of the weather, compiling", lambda: stage.world_of(WEATHER))
    timed("columns of a truth", lambda: stage.season_of(WEATHER, TRUTH))
    timed("soil members of the grower, every morning", lambda: stage.belief_of(WEATHER))
    world, truth = stage.world_of(WEATHER), stage.truth_of(WEATHER, TRUTH)
    season = stage.season_of(WEATHER, TRUTH)
    for name in ("every 8 days", stage.ours_name(stage.MAIN_PRICE)):
        _, make = stage.rules()[name]
        for words in ("first season", "second season"):
            rule = make(WEATHER, TRUTH)
            timed(
                f"{name}, {words}",
                lambda rule=rule: play(
                    world, truth, rule, stage.BUDGETS_MIN[BUDGET], season=season
                ),
                AIM_S,
            )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0:.0f} MB")


if __name__ == "__main__":
    main()
