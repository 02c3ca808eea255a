"""What a run of the soil column takes and gives: arrays with units in their names."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from scheduler.models.soil_column.grid import LAYERS_MM
from scheduler.records import FloatArray, IntArray

Float32Array = NDArray[np.float32]

MM_WATER_PER_KPA = 101.97  # 1 kPa as a height of water


@dataclass(frozen=True)
class ColumnParameters:
    """Soil of each column; every array has shape (n_columns,).

    Parameters
    ----------
    theta_sat_m3m3, theta_33_m3m3, theta_1500_m3m3 : array
        Water content at saturation, at 33 kPa and at 1500 kPa [m3/m3].
    b : array
        Exponent of the power-law retention curve [-].
    k_sat_mm_h : array
        Saturated conductivity [mm/h].
    k_factor : array
        Factor on the matrix conductivity, anchored to stage-2 evaporation [-]; see
        `anchored_k_factor`.
    drainage_kpa : array
        Suction at which macropore drainage stops [kPa].
    demand_factor : array
        Evaporation of bare wet soil over reference evapotranspiration [-].
    bulk_density_g_cm3, clay_frac : array
        For the thermal properties.
    crust_energy_j_m2 : array
        Rain energy that builds 63 % of a crust [J/m2].
    """

    theta_sat_m3m3: FloatArray
    theta_33_m3m3: FloatArray
    theta_1500_m3m3: FloatArray
    b: FloatArray
    k_sat_mm_h: FloatArray
    k_factor: FloatArray
    drainage_kpa: FloatArray
    demand_factor: FloatArray
    bulk_density_g_cm3: FloatArray
    clay_frac: FloatArray
    crust_energy_j_m2: FloatArray

    @property
    def n_columns(self) -> int:
        """Number of columns."""
        return int(self.b.shape[0])

    def table(self) -> FloatArray:
        """All parameters as one array, shape (n_columns, n_parameters), in order of the fields."""
        columns = [np.asarray(getattr(self, f.name), dtype=np.float64) for f in fields(self)]
        return np.ascontiguousarray(np.stack(columns, axis=1))

    def take(self, index: IntArray) -> ColumnParameters:
        """The parameters of the columns `index`, which may repeat."""
        return ColumnParameters(**{f.name: getattr(self, f.name)[index] for f in fields(self)})


@dataclass(frozen=True)
class ColumnForcing:
    """Hourly weather of each series; every array has shape (n_series, n_hours), no NaN.

    Parameters
    ----------
    rain_mm, et0_mm : array
        Rain and short-reference evapotranspiration of the hour [mm].
    air_temp_c, humidity_frac, wind_2m_m_s : array
        Means of the hour.
    solar_mj_m2 : array
        Global radiation of the hour [MJ/m2].
    sky_clearness_frac : array
        Global radiation over that of a clear sky, carried through the night [-].
    """

    rain_mm: FloatArray
    et0_mm: FloatArray
    air_temp_c: FloatArray
    humidity_frac: FloatArray
    wind_2m_m_s: FloatArray
    solar_mj_m2: FloatArray
    sky_clearness_frac: FloatArray

    @property
    def n_hours(self) -> int:
        """Number of hours."""
        return int(self.rain_mm.shape[1])

    def table(self) -> FloatArray:
        """All variables as one array, shape (n_series, n_hours, n_variables)."""
        columns = [np.asarray(getattr(self, f.name), dtype=np.float64) for f in fields(self)]
        return np.ascontiguousarray(np.stack(columns, axis=2))


@dataclass(frozen=True)
class SurfaceHistory:
    """What was done to the surface and what covers it; arrays (n_histories, n_hours).

    Parameters
    ----------
    water_mm : array
        Irrigation of the hour [mm].
    sprinkled_frac : array
        Share of that water that falls as drops [-]; the rest drips.
    loosened_mm : array
        Depth of a pass or preparation at the start of the hour [mm]; 0 for none.
    cover_frac : array
        Share of the ground that leaves shade [-].
    crop_factor : array
        Basal crop coefficient of the whole bed [-].
    root_depth_mm : array
        Depth of the roots [mm].
    """

    water_mm: FloatArray
    sprinkled_frac: FloatArray
    loosened_mm: FloatArray
    cover_frac: FloatArray
    crop_factor: FloatArray
    root_depth_mm: FloatArray

    def table(self) -> FloatArray:
        """All variables as one array, shape (n_histories, n_hours, n_variables)."""
        columns = [np.asarray(getattr(self, f.name), dtype=np.float64) for f in fields(self)]
        return np.ascontiguousarray(np.stack(columns, axis=2))


def bare_surface(n_hours: int, n_histories: int = 1) -> SurfaceHistory:
    """A bare bed that nobody touches.

    Parameters
    ----------
    n_hours, n_histories : int
        Shape of the history.

    Returns
    -------
    SurfaceHistory
        Zeros, roots nominally at 300 mm.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> bare_surface(3).cover_frac.shape
    (1, 3)
    """
    zeros = np.zeros((n_histories, n_hours))
    return SurfaceHistory(zeros, zeros, zeros, zeros, zeros, np.full_like(zeros, 300.0))


@dataclass(frozen=True)
class WeedHeat:
    """Temperature response of the weed guilds for the running integrals; arrays (n_guilds,)."""

    base_c: FloatArray
    optimum_c: FloatArray
    ceiling_c: FloatArray
    leaf_base_c: FloatArray
    leaf_optimum_c: FloatArray
    gate_kpa: FloatArray  # (n_gates,) suctions beyond which germination pauses, ascending

    def table(self) -> FloatArray:
        """Temperatures as one array, shape (n_guilds, 5)."""
        return np.stack(
            [self.base_c, self.optimum_c, self.ceiling_c, self.leaf_base_c, self.leaf_optimum_c],
            axis=1,
        ).astype(np.float64)


@dataclass(frozen=True)
class ColumnState:
    """State of the columns between two hours; what a run starts from and ends in.

    `saturation_frac` (n_columns, 13) [-]; `temp_c` and `ice_mm` (n_columns, 16): the layers and
    the heat-only layers below; `surface` (n_columns, 7): ponded mm, intercepted mm, snow mm, crust
    maturity, loosened depth mm, settling rain mm since loosening, skin temperature C.
    """

    saturation_frac: FloatArray
    temp_c: FloatArray
    ice_mm: FloatArray
    surface: FloatArray


@dataclass(frozen=True)
class ColumnMarks:
    """What a run was in before some hours, so that it can be taken up again there.

    `hours` (n_marks,) rise; the fields of `ColumnState` and the running sums have the shape
    (n_columns, n_marks, ...).
    """

    hours: IntArray
    saturation_frac: FloatArray
    temp_c: FloatArray
    ice_mm: FloatArray
    surface: FloatArray
    sums: FloatArray

    def before(self, hour: int) -> int | None:
        """Place of the last mark at or before an hour; None where all lie after it."""
        place = int(np.searchsorted(self.hours, hour, side="right")) - 1
        return place if place >= 0 else None


@dataclass(frozen=True)
class ColumnRun:
    """Result of a run; the stored hours start at `stored_from_hour`.

    Parameters
    ----------
    theta_m3m3 : array
        (n_columns, n_stored, n_stored_layers), end of each hour.
    temp_c : array
        Same layers [C], end of each hour.
    skin_temp_c, crust_maturity_frac, evaporation_mm : array
        (n_columns, n_stored); evaporation from the soil surface in the hour.
    germination_cd : array
        Running hydrothermal progress (n_columns, n_readings, n_guilds, 4, n_gates) [C d]: degree
        days above base in hours in which the band is wetter than the gate, from the first hour
        that is read on.
    elongation_cd : array
        Running degree-days of shoot growth slowed by dryness (n_columns, n_readings, n_guilds, 4).
    drying_d : array
        Running days of drying hazard below 1.5 MPa (n_columns, n_readings, 4).
    leaf_cd : array
        Running degree-days of leaf growth (n_columns, n_readings, n_guilds).
    reading_hours : array
        Hours, from the start of the forcing, after which a reading was taken.
    totals_mm : array
        (n_columns, 7): rain and irrigation in, soil evaporation, interception evaporation,
        transpiration, drainage, run-off, change of storage.
    residual_mm : array
        (n_columns, 2): largest absolute residual of an hour, sum of absolute residuals.
    n_substeps : array
        (n_columns,) sub-steps taken.
    state : ColumnState
        State after the last hour.
    marks : ColumnMarks, optional
        What the run was in before the hours that were asked for.
    """

    theta_m3m3: Float32Array
    temp_c: Float32Array
    skin_temp_c: Float32Array
    crust_maturity_frac: Float32Array
    evaporation_mm: Float32Array
    germination_cd: Float32Array
    elongation_cd: Float32Array
    drying_d: Float32Array
    leaf_cd: Float32Array
    reading_hours: IntArray
    totals_mm: FloatArray
    residual_mm: FloatArray
    n_substeps: IntArray
    state: ColumnState
    stored_from_hour: int
    marks: ColumnMarks | None = None


def initial_state(
    parameters: ColumnParameters,
    saturation_frac: FloatArray | float,
    temp_c: FloatArray | float,
    deep_temp_c: FloatArray | float | None = None,
) -> ColumnState:
    """A state with uniform relative saturation and temperatures from surface to deep.

    Parameters
    ----------
    parameters : ColumnParameters
        Soil of the columns.
    saturation_frac : array or float
        Water content over saturation, shape (n_columns,) or scalar [-].
    temp_c, deep_temp_c : array or float
        Temperature at the surface and at 3 m [C]; the deep one defaults to the other.

    Returns
    -------
    ColumnState
        The state.

    Notes
    -----
    Definition of this project. Range: relative saturation above 0, at most 1; it is not checked.

    Examples
    --------
    >>> import numpy as np
    >>> one = np.ones(1)
    >>> p = ColumnParameters(.46*one, .28*one, .137*one, 5.35*one, 15.5*one, .065*one, 10*one,
    ...                      1.05*one, 1.43*one, .2*one, 300*one)
    >>> initial_state(p, 0.6, 10.0).saturation_frac.shape
    (1, 13)
    """
    n = parameters.n_columns
    n_heat = len(LAYERS_MM) + 3
    s = np.repeat(np.broadcast_to(np.asarray(saturation_frac, float), (n,))[:, None], 13, axis=1)
    top = np.broadcast_to(np.asarray(temp_c, float), (n,))[:, None]
    deep = top if deep_temp_c is None else np.broadcast_to(np.asarray(deep_temp_c, float), (n,))
    deep = deep.reshape(n, 1)
    depth = np.concatenate((np.cumsum(LAYERS_MM), [1200.0, 1800.0, 3000.0])) / 3000.0
    share = 1.0 - np.exp(-3.0 * depth)[None, :]
    temps = top * (1.0 - share) + deep * share
    surface = np.zeros((n, 7))
    surface[:, 5] = 1e3
    surface[:, 6] = top[:, 0]
    return ColumnState(np.ascontiguousarray(s), temps, np.zeros((n, n_heat)), surface)
