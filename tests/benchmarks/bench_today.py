"""Seconds and memory of the demo's list: `python tests/benchmarks/bench_today.py`.

Prints figures, asserts nothing. Aim: 10 s and 600 MB on two cores after the first compile.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

from scheduler import service
from scheduler.adapters.demo import DEMO_AS_OF, write_demo_farm
from scheduler.adapters.farmfile import read_farm
from scheduler.adapters.journal import open_farm_database


def main() -> None:
    """Write the demo farm and time its list twice: with and without a warm compiler cache."""
    with tempfile.TemporaryDirectory() as folder:
        farm_folder = Path(folder) / "farm"
        started = time.perf_counter()
        write_demo_farm(farm_folder)
        print(f"writing the demo farm        {time.perf_counter() - started:6.2f} s")
        farm = read_farm(farm_folder)
        with open_farm_database(farm_folder) as database:
            for name in ("first list of this process", "second list"):
                started, cpu = time.perf_counter(), time.process_time()
                s = service.situation(farm, database, database, DEMO_AS_OF)
                service.morning_of(s)
                seconds = time.perf_counter() - started
                cpu_s = time.process_time() - cpu
                hours = s.ensemble.n_groups * s.ensemble.n_members * s.sky.n_hours
                del s
                print(
                    f"{name:28s} {seconds:6.2f} s ({cpu_s:.2f} s of processor), "
                    f"{hours / 1e6:.2f} million column-hours, "
                    f"{hours / seconds / 1e6:.2f} million a second in all"
                )
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"peak memory                  {peak_mb:6.0f} MB")


if __name__ == "__main__":
    sys.exit(main())
