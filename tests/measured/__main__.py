"""Print the table of measured truth: `python -m tests.measured`."""

from __future__ import annotations

import sys

from tests.measured import figures, series

COLUMNS = (
    "rank",
    "unbiased_rmse_m3m3",
    "dry_down_ratio",
    "bias_m3m3",
    "temp_rmse_c",
    "temp_bias_c",
    "slab_rank",
    "slab_unbiased_rmse_m3m3",
    "slab_dry_down_ratio",
)


def print_row(name: str, values: list[float]) -> None:
    """One line of the grass table."""
    form = "{:<28} {:7.3f} {:7.4f} {:9.2f} {:+6.3f} {:7.2f} {:+5.2f} | {:9.3f} {:6.4f} {:.2f}"
    print(form.format(name, *values))


def print_table() -> int:
    """Run all series and print; returns the exit status."""
    folder = series.data_folder()
    if folder is None:
        print(series.WHY_SKIPPED)
        return 2
    table = figures.grass_table(series.grass_sites(folder))
    rows = table.mean_of_draws
    n_seeds = len(figures.SEEDS)
    print(
        f"Grass, 5 cm water, April-October, one loam, nothing fitted; mean of {n_seeds} rain draws"
    )
    print(f"{'station':<28}    rank  ubRMSE tau ratio   bias  T RMSE  bias | slab rank ubRMSE tau")
    for r in rows:
        print_row(r.name, [getattr(r, n) for n in COLUMNS])
    print_row("median", [table.median(n) for n in COLUMNS])
    print_row("median, one draw alone", [table.single_median(n) for n in COLUMNS])
    n_false, n_cases = sum(r.n_false for r in rows), sum(r.n_cases for r in rows)
    print(f"false wetting {n_false} of {n_cases} ({100.0 * n_false / n_cases:.1f} %)")
    print(
        "Aims: rank >= .90, ubRMSE <= .027, tau ratio .8-1.2, false wetting <= 2 %, ahead of slab"
    )

    site = series.bondville(folder)
    print("\nBondville, bare silt loam, 1 April-15 June 1998")
    for label, is_anchored in (("anchored", True), ("k_factor 1", False)):
        b = figures.bare_figures(site, is_anchored)
        print(
            f"{label:<12} E {b.evaporation_mm:6.1f} mm (measured {b.measured_evaporation_mm:.1f}, "
            f"gaps filled {b.measured_filled_mm:.1f}, reference {b.reference_mm:.1f}); "
            f"daily E RMSE {b.daily_evaporation_rmse_mm:.2f} mm; "
            f"5 cm water rank daily {b.daily_rank:.3f} hourly {b.hourly_rank:.3f} "
            f"ubRMSE {b.unbiased_rmse_m3m3:.3f}; "
            f"daily T 2 cm RMSE {b.temp_2cm_rmse_c:.2f} bias {b.temp_2cm_bias_c:+.2f}, "
            f"skin RMSE {b.skin_rmse_c:.2f} C"
        )
    print("Aims: E 150-195 mm anchored, > 230 with k_factor 1; rank >= .85; T RMSE <= 1.2 C")
    return 0


if __name__ == "__main__":
    sys.exit(print_table())
