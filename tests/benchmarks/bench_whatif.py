"""Seconds and memory of a what-if on the demo: `python tests/benchmarks/bench_whatif.py`.

Prints figures, asserts nothing. Aim: 2 s on two cores after the list was made; a change that
reaches every bed takes longer, as every bed's weeds are followed anew.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from scheduler import service
from scheduler.adapters.demo import DEMO_AS_OF, write_demo_farm
from scheduler.adapters.farmfile import read_farm
from scheduler.adapters.journal import open_farm_database
from scheduler.adapters.kept import kept_path, read_kept, write_kept
from scheduler.planning.whatif import Changes, RainToCome
from scheduler.records import Event


def main() -> None:
    """Make the demo's list, keep it, and ask of it."""
    tonight = DEMO_AS_OF + timedelta(hours=14.5)
    passed = Event(
        "p", "pass", DEMO_AS_OF + timedelta(hours=28), DEMO_AS_OF, "B4", None,
        {"tool": "tine weeder", "depth_mm": 15.0},
    )  # fmt: skip
    watered = Event("w", "water", DEMO_AS_OF, DEMO_AS_OF, "B4", None, {"water_mm": 8.0})
    asked = {
        "nothing": Changes(),
        "hours 5": Changes(hours_h=5.0),
        "water one bed": Changes(acts=(watered,)),
        "a pass tomorrow": Changes(acts=(passed,)),
        "rain tonight": Changes(rain=(RainToCome(15.0, tonight, tonight + timedelta(hours=3)),)),
    }
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "farm"
        write_demo_farm(folder)
        farm = read_farm(folder)
        path = kept_path(Path(scratch), folder)
        with open_farm_database(folder) as database:
            timed = time.perf_counter()
            kept: list[object] = []
            service.morning(farm, database, database, DEMO_AS_OF, keep=kept.append)
            print(f"the list                     {time.perf_counter() - timed:6.2f} s")
            peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
            print(f"peak memory of the list      {peak_mb:6.0f} MB")
            timed = time.perf_counter()
            write_kept(path, kept.pop())  # type: ignore[arg-type]
            size_mb = path.stat().st_size / 1e6
            print(f"keeping it, {size_mb:.0f} MB         {time.perf_counter() - timed:6.2f} s")
            for name, changes in asked.items():
                timed, cpu = time.perf_counter(), time.process_time()
                found = service.what_if(
                    farm, database, database, DEMO_AS_OF, changes, kept=read_kept(path)
                )
                seconds, cpu_s = time.perf_counter() - timed, time.process_time() - cpu
                n = sum(not p.is_same for p in found.plantings)
                print(
                    f"what if: {name:19s} {seconds:6.2f} s ({cpu_s:.2f} s of processor), "
                    f"{n} of {len(found.plantings)} plantings changed"
                )
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"peak memory with all of it   {peak_mb:6.0f} MB")


if __name__ == "__main__":
    sys.exit(main())
