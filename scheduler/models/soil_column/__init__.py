"""The soil column: water, heat, crust maturity and running weed integrals, hour by hour.

Equations, all in mm and h unless said:

- retention h = h_e S^-B with S = theta/theta_s and h_e = 33 kPa (theta_s/theta_33)^-B x 101.97 mm
  (saxton_rawls_2006, eq. 11 without the linear part near saturation);
- conductivity K = f k_m Ks S^(2B+3), Kirchhoff potential phi = B h_e k_m Ks/(B+3) S^(B+3);
- flux down q = (phi_i - phi_i+1)/(dz_i/2f_i + dz_i+1/2f_i+1) + min(f_i, f_i+1) K_i + K_st u_i^3
  + vapour, u = clip((S - S_d)/(1 - S_d), 0, 1), S_d at the drained state, K_st = Ks;
- infiltration at most f_0((phi(1) - phi_0)/(dz_0/2) + k_m Ks + K_st); ponding 3 mm, then run-off;
- evaporation Ep (hr - ha)/(1 - ha), Ep = K_e ET0 on the open share; free drainage at the base;
- heat: Campbell 1985 conductivity, skin balance Rn - H - LE - G = 0.

k_m is anchored to stage-2 evaporation (`anchored_k_factor`), never fitted to a place.
"""

from scheduler.models.soil_column.grid import (
    HEAT_ONLY_LAYERS_MM,
    LAYERS_MM,
    WEED_BANDS_MM,
    band_weights,
)
from scheduler.models.soil_column.parameters import (
    MM_WATER_PER_KPA,
    ColumnForcing,
    ColumnMarks,
    ColumnParameters,
    ColumnRun,
    ColumnState,
    Float32Array,
    SurfaceHistory,
    WeedHeat,
    bare_surface,
    initial_state,
)
from scheduler.models.soil_column.run import (
    ENSEMBLE_TOLERANCE,
    REFERENCE_TOLERANCE,
    anchored_k_factor,
    evaporation_target_mm,
    run_columns,
    ten_day_evaporation_mm,
)

__all__ = [
    "ENSEMBLE_TOLERANCE",
    "HEAT_ONLY_LAYERS_MM",
    "LAYERS_MM",
    "MM_WATER_PER_KPA",
    "REFERENCE_TOLERANCE",
    "WEED_BANDS_MM",
    "ColumnForcing",
    "ColumnMarks",
    "ColumnParameters",
    "ColumnRun",
    "ColumnState",
    "Float32Array",
    "SurfaceHistory",
    "WeedHeat",
    "anchored_k_factor",
    "band_weights",
    "bare_surface",
    "evaporation_target_mm",
    "initial_state",
    "run_columns",
    "ten_day_evaporation_mm",
]
