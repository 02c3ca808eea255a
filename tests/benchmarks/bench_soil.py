"""Speed of the soil column: `python tests/benchmarks/bench_soil.py`; prints, asserts nothing.

200 columns (five soils), 180 days of hours with storms; the first call compiles and is not timed.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from scheduler.models import soil_column

N_COLUMNS, N_HOURS = 200, 180 * 24
SOILS = np.array(
    [
        [0.450, 0.179, 0.081, 50.3, 0.93],
        [0.460, 0.280, 0.137, 15.5, 0.065],
        [0.479, 0.305, 0.110, 16.1, 0.006],
        [0.477, 0.358, 0.218, 4.32, 0.054],
        [0.498, 0.421, 0.298, 1.15, 0.077],
    ]
)


def inputs(
    is_dry: bool = False,
) -> tuple[
    soil_column.ColumnParameters,
    soil_column.ColumnForcing,
    soil_column.SurfaceHistory,
    soil_column.ColumnState,
]:
    """What a run needs."""
    rng = np.random.default_rng(3)
    soil = SOILS[np.arange(N_COLUMNS) % len(SOILS)]
    one = np.ones(N_COLUMNS)
    parameters = soil_column.ColumnParameters(
        theta_sat_m3m3=soil[:, 0],
        theta_33_m3m3=soil[:, 1],
        theta_1500_m3m3=soil[:, 2],
        b=np.log(1500.0 / 33.0) / np.log(soil[:, 1] / soil[:, 2]),
        k_sat_mm_h=soil[:, 3],
        k_factor=soil[:, 4] * np.exp(rng.normal(0.0, 0.5, N_COLUMNS)),
        drainage_kpa=10.0 * one,
        demand_factor=1.05 * one,
        bulk_density_g_cm3=1.35 * one,
        clay_frac=0.2 * one,
        crust_energy_j_m2=250.0 * one,
    )
    hour = np.arange(N_HOURS) % 24 + 0.5
    sun = np.maximum(0.0, np.sin((hour - 6.0) / 12.0 * np.pi))
    sun /= sun[:24].sum()
    rain = np.where(rng.random(N_HOURS) < 0.06, rng.gamma(0.8, 2.0, N_HOURS), 0.0)

    def row(values: np.ndarray) -> np.ndarray:
        return np.broadcast_to(values, (N_HOURS,)).copy()[None, :]

    forcing = soil_column.ColumnForcing(
        rain_mm=row(0.0 * rain if is_dry else rain),
        et0_mm=row(4.0 * sun),
        air_temp_c=row(15.0 + 6.0 * np.sin((hour - 9.0) / 12.0 * np.pi)),
        humidity_frac=row(np.array(0.65)),
        wind_2m_m_s=row(np.array(2.0)),
        solar_mj_m2=row(18.0 * sun),
        sky_clearness_frac=row(np.array(0.7)),
    )
    state = soil_column.initial_state(parameters, 0.6, 12.0, 10.0)
    return parameters, forcing, soil_column.bare_surface(N_HOURS), state


def seconds(
    is_dry: bool, with_heat: bool, tolerance: tuple[float, float, float]
) -> tuple[float, float, float]:
    """Best of three: seconds by the clock, by the processors, and sub-steps per column-hour."""
    parameters, forcing, history, state = inputs(is_dry)
    best, busy, per_hour = np.inf, np.inf, np.nan
    for _ in range(3):
        start, start_busy = time.perf_counter(), time.process_time()
        ran = soil_column.run_columns(
            parameters,
            forcing,
            history,
            state,
            with_heat=with_heat,
            tolerance=tolerance,
            n_stored_layers=5,
        )
        best = min(best, time.perf_counter() - start)
        busy = min(busy, time.process_time() - start_busy)
        per_hour = float(ran.n_substeps.mean() / N_HOURS)
    return best, busy, per_hour


def main() -> None:
    """Print one line per case, with the ratio to the first."""
    start = time.perf_counter()
    seconds(True, True, soil_column.ENSEMBLE_TOLERANCE)
    print(f"first call, compiling or reading the cache: {time.perf_counter() - start:.1f} s")
    cases = {
        "ensemble steps, water and heat": (False, True, soil_column.ENSEMBLE_TOLERANCE),
        "ensemble steps, water only": (False, False, soil_column.ENSEMBLE_TOLERANCE),
        "ensemble steps, no rain": (True, True, soil_column.ENSEMBLE_TOLERANCE),
        "reference steps, water and heat": (False, True, soil_column.REFERENCE_TOLERANCE),
        "quarter steps, water and heat": (False, True, (0.01, 0.1, 0.05)),
    }
    first = None
    print(
        f"{'case':<34} {'column-hours/s':>15} {'CPU ns each':>12} {'sub-steps/h':>12} {'ratio':>6}"
    )
    for name, case in cases.items():
        took, busy, per_hour = seconds(*case)
        first = busy if first is None else first
        n = N_COLUMNS * N_HOURS
        print(
            f"{name:<34} {n / took:>15,.0f} {busy / n * 1e9:>12.0f} "
            f"{per_hour:>12.2f} {busy / first:>6.2f}"
        )


if __name__ == "__main__":
    main()
