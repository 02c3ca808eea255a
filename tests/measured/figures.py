"""The soil column run on the measured series, and the figures of each run."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scheduler.models import soil_column
from tests.measured import series

Array = NDArray[np.float64]

# One loam and one silt loam for every place (Saxton and Rawls 2006 class centres, 2.5 % organic
# matter); nothing below is fitted to a station of the grass series.
LOAM = {"sand": 40.0, "clay": 20.0, "sat": 0.460, "t33": 0.280, "t1500": 0.137, "k_sat": 15.5}
SILT_LOAM = {"sand": 20.0, "clay": 15.0, "sat": 0.479, "t33": 0.305, "t1500": 0.110, "k_sat": 16.1}
DRAINAGE_KPA = 10.0
DEMAND_FACTOR = 1.05
GRASS_CROP_FACTOR = 0.70
GRASS_ROOTS_MM = 600.0
BONDVILLE_YEAR_MEAN_C = 11.0  # deep soil at the start
SEEDS = (1, 2, 3, 4, 5, 6, 7, 8)


def evaporation_target_mm(sand_pct: float, clay_pct: float) -> float:
    """E10 from texture by the two stages of bare-soil evaporation (WEPP forms of U and Tr)."""
    slope = 4.165 + 0.02456 * sand_pct - 0.01703 * clay_pct - 0.0004 * sand_pct**2
    first = 9.0 * (slope - 3.0) ** 0.42
    both = soil_column.evaporation_target_mm(np.array([slope]), np.array([first]))
    return float(both[0])


def parameters(
    texture: dict[str, float], drainage_kpa: float = DRAINAGE_KPA, is_anchored: bool = True
) -> soil_column.ColumnParameters:
    """One column; the matrix factor is anchored to the target of its texture, or 1."""
    one = np.ones(1)
    b = np.log(1500.0 / 33.0) / np.log(texture["t33"] / texture["t1500"])
    raw = soil_column.ColumnParameters(
        theta_sat_m3m3=texture["sat"] * one,
        theta_33_m3m3=texture["t33"] * one,
        theta_1500_m3m3=texture["t1500"] * one,
        b=b * one,
        k_sat_mm_h=texture["k_sat"] * one,
        k_factor=one,
        drainage_kpa=drainage_kpa * one,
        demand_factor=DEMAND_FACTOR * one,
        bulk_density_g_cm3=2.65 * (1.0 - texture["sat"]) * one,
        clay_frac=texture["clay"] / 100.0 * one,
        crust_energy_j_m2=1e12 * one,
    )
    if not is_anchored:
        return raw
    target = evaporation_target_mm(texture["sand"], texture["clay"])
    return replace(raw, k_factor=soil_column.anchored_k_factor(raw, np.array([target])))


def column_forcing(hourly: series.HourlyForcing) -> soil_column.ColumnForcing:
    """The same hours in the shape the column wants."""
    return soil_column.ColumnForcing(
        rain_mm=hourly.rain_mm[None, :],
        et0_mm=hourly.et0_mm[None, :],
        air_temp_c=hourly.air_temp_c[None, :],
        humidity_frac=hourly.humidity_frac[None, :],
        wind_2m_m_s=hourly.wind_2m_m_s[None, :],
        solar_mj_m2=hourly.solar_mj_m2[None, :],
        sky_clearness_frac=hourly.sky_clearness_frac[None, :],
    )


def day_mean(hourly: Array) -> Array:
    """Means of 24 hours, (n_days,)."""
    return np.asarray(hourly, dtype=float).reshape(-1, 24).mean(axis=1)


@dataclass(frozen=True)
class GrassFigures:
    """Figures of one station."""

    name: str
    rank: float
    unbiased_rmse_m3m3: float
    dry_down_ratio: float
    n_false: int
    n_cases: int
    bias_m3m3: float
    temp_rmse_c: float
    temp_bias_c: float
    slab_rank: float
    slab_unbiased_rmse_m3m3: float
    slab_dry_down_ratio: float


def grass_theta_and_temp(site: series.GrassSite, seed: int) -> tuple[Array, Array]:
    """Daily means of 3-7 cm: water content and temperature under a sward."""
    hourly = series.hourly_forcing(site, seed)
    n_hours = hourly.rain_mm.size
    green = np.repeat(series.green_share(site), 24)[None, :]
    zeros = np.zeros((1, n_hours))
    history = soil_column.SurfaceHistory(
        water_mm=zeros,
        sprinkled_frac=zeros,
        loosened_mm=zeros,
        cover_frac=green,
        crop_factor=GRASS_CROP_FACTOR * green,
        root_depth_mm=np.full((1, n_hours), GRASS_ROOTS_MM),
    )
    soil = parameters(LOAM)
    year_mean = float(hourly.air_temp_c.mean())
    state = soil_column.initial_state(soil, 0.75, float(hourly.air_temp_c[:72].mean()), year_mean)
    run = soil_column.run_columns(
        soil,
        column_forcing(hourly),
        history,
        state,
        tolerance=soil_column.REFERENCE_TOLERANCE,
    )
    weight = soil_column.band_weights(30.0, 70.0)
    return day_mean(run.theta_m3m3[0] @ weight), day_mean(run.temp_c[0][:, :13] @ weight)


def grass_figures(site: series.GrassSite, theta: Array, temp: Array) -> GrassFigures:
    """Judge daily means of 3-7 cm at one station."""
    slab = series.fair_slab_theta_m3m3(site.rain_mm, site.et0_mm)
    j = site.is_judged
    seen = site.measured_theta_m3m3
    warm = j & np.isfinite(site.measured_temp_c)
    gap = temp[warm] - site.measured_temp_c[warm]
    n_false, _, n_cases = series.false_wettings(site, theta)
    return GrassFigures(
        name=site.name,
        rank=series.rank_correlation(theta[j], seen[j]),
        unbiased_rmse_m3m3=series.unbiased_rmse(theta[j], seen[j]),
        dry_down_ratio=series.dry_down_ratio(site, theta),
        n_false=n_false,
        n_cases=n_cases,
        bias_m3m3=float(np.mean(theta[j] - seen[j])),
        temp_rmse_c=float(np.sqrt(np.mean(gap**2))),
        temp_bias_c=float(np.mean(gap)),
        slab_rank=series.rank_correlation(slab[j], seen[j]),
        slab_unbiased_rmse_m3m3=series.unbiased_rmse(slab[j], seen[j]),
        slab_dry_down_ratio=series.dry_down_ratio(site, slab),
    )


def median_of(figures: list[GrassFigures], name: str) -> float:
    """Median of one figure over stations or draws."""
    return float(np.median([getattr(f, name) for f in figures]))


@dataclass(frozen=True)
class GrassTable:
    """Both ways to look at it: the mean of the draws, and each draw alone.

    Days say how much rain fell, not when; the program draws the hours once per member and answers
    from all members, so `mean_of_draws` is what it stands for.
    """

    mean_of_draws: list[GrassFigures]
    single_draws: list[list[GrassFigures]]  # by station, then by seed

    def median(self, name: str) -> float:
        """Median over the stations, mean of the draws."""
        return median_of(self.mean_of_draws, name)

    def single_median(self, name: str) -> float:
        """Median over the stations of the median over single draws."""
        return float(np.median([median_of(draws, name) for draws in self.single_draws]))


def grass_table(sites: list[series.GrassSite]) -> GrassTable:
    """All stations with the draws of `SEEDS`."""
    means, singles = [], []
    for site in sites:
        runs = [grass_theta_and_temp(site, seed) for seed in SEEDS]
        singles.append([grass_figures(site, theta, temp) for theta, temp in runs])
        theta = np.mean([r[0] for r in runs], axis=0)
        temp = np.mean([r[1] for r in runs], axis=0)
        means.append(grass_figures(site, theta, temp))
    return GrassTable(means, singles)


@dataclass(frozen=True)
class BareFigures:
    """Figures of the bare spring at Bondville, 1 April to 15 June 1998."""

    evaporation_mm: float
    measured_evaporation_mm: float  # measured half hours only
    measured_filled_mm: float  # gaps by the mean of the same hour of the month
    reference_mm: float
    daily_rank: float
    hourly_rank: float
    unbiased_rmse_m3m3: float
    daily_evaporation_rmse_mm: float
    temp_2cm_rmse_c: float
    temp_2cm_bias_c: float
    skin_rmse_c: float


def bare_figures(site: series.Bondville, is_anchored: bool = True) -> BareFigures:
    """Run the bare silt loam and judge it."""
    soil = parameters(SILT_LOAM, is_anchored=is_anchored)
    n_hours = site.hours.size
    state = soil_column.initial_state(
        soil, 0.85, float(site.temp_2cm_c[:72].mean()), BONDVILLE_YEAR_MEAN_C
    )
    run = soil_column.run_columns(
        soil,
        column_forcing(site.forcing),
        soil_column.bare_surface(n_hours),
        state,
        tolerance=soil_column.REFERENCE_TOLERANCE,
    )
    theta = run.theta_m3m3[0].astype(float) @ soil_column.band_weights(30.0, 70.0)
    near_2cm = run.temp_c[0][:, :13].astype(float) @ soil_column.band_weights(15.0, 25.0)
    table = pd.DataFrame(
        {
            "theta": theta,
            "seen": site.theta_5cm_m3m3,
            "evaporation": run.evaporation_mm[0].astype(float),
            "latent": site.latent_mm,
            "reference": site.forcing.et0_mm,
            "temp": near_2cm,
            "temp_seen": site.temp_2cm_c,
            "skin": run.skin_temp_c[0].astype(float),
            "skin_seen": site.skin_temp_c,
        },
        index=site.hours,
    ).loc["1998-04-01":"1998-06-15"]
    usual = table.groupby([table.index.month, table.index.hour])["latent"].transform("mean")
    filled = table["latent"].fillna(usual)
    days = table.resample("1D").mean()
    day_evaporation = table["evaporation"].resample("1D").sum()
    day_latent = filled.resample("1D").sum()
    return BareFigures(
        evaporation_mm=float(table["evaporation"].sum()),
        measured_evaporation_mm=float(table["latent"].sum()),
        measured_filled_mm=float(filled.sum()),
        reference_mm=float(table["reference"].sum()),
        daily_rank=series.rank_correlation(days["theta"].to_numpy(), days["seen"].to_numpy()),
        hourly_rank=series.rank_correlation(table["theta"].to_numpy(), table["seen"].to_numpy()),
        unbiased_rmse_m3m3=series.unbiased_rmse(days["theta"].to_numpy(), days["seen"].to_numpy()),
        daily_evaporation_rmse_mm=float(np.sqrt(np.mean((day_evaporation - day_latent) ** 2))),
        temp_2cm_rmse_c=float(np.sqrt(np.mean((days["temp"] - days["temp_seen"]) ** 2))),
        temp_2cm_bias_c=float(np.mean(days["temp"] - days["temp_seen"])),
        skin_rmse_c=float(np.sqrt(np.mean((days["skin"] - days["skin_seen"]) ** 2))),
    )
