"""Running the soil column over many columns, and anchoring its conductivity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from scheduler.models.soil_column import kernel
from scheduler.models.soil_column.grid import LAYERS_MM, WEED_BANDS_MM, band_weights
from scheduler.models.soil_column.parameters import (
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
from scheduler.records import FloatArray, IntArray

REFERENCE_TOLERANCE = (0.02, 0.20, 0.10)
ENSEMBLE_TOLERANCE = (0.10, 0.50, 0.30)
_N_TOTALS = 7
_NO_WEEDS = WeedHeat(*(np.zeros(0) for _ in range(6)))


def run_columns(
    parameters: ColumnParameters,
    forcing: ColumnForcing,
    history: SurfaceHistory,
    state: ColumnState,
    *,
    series_of: IntArray | None = None,
    history_of: IntArray | None = None,
    weed_heat: WeedHeat | None = None,
    stored_from_hour: int = 0,
    n_stored_layers: int = len(LAYERS_MM),
    readings_from_hour: int = 0,
    reading_every_h: int = 6,
    with_heat: bool = True,
    tolerance: tuple[float, float, float] = REFERENCE_TOLERANCE,
    mark_hours: Sequence[int] = (),
    taken_up: tuple[ColumnRun, IntArray, int] | None = None,
) -> ColumnRun:
    """Run water, heat, crust and weed integrals of many columns through hourly weather.

    Parameters
    ----------
    parameters : ColumnParameters
        Soil of each column.
    forcing : ColumnForcing
        Hourly weather, shape (n_series, n_hours); no NaN.
    history : SurfaceHistory
        What was done to the surface, shape (n_histories, n_hours).
    state : ColumnState
        Where the run starts; it is not changed.
    series_of, history_of : array of int, optional
        Which weather series and which history each column has; default the first.
    weed_heat : WeedHeat, optional
        Guilds for the running integrals; none by default.
    stored_from_hour, n_stored_layers : int
        From which hour and how many layers from the top to keep hourly.
    readings_from_hour, reading_every_h : int
        When the running integrals are read [h].
    with_heat : bool
        Without it temperatures stay as they are.
    tolerance : tuple of float
        Largest change of saturation, largest relative drop, and largest relative drop of what
        drains by macropores, of a sub-step [-].
    mark_hours : sequence of int
        Hours before which the run is marked, rising, so that it can be taken up again there.
    taken_up : (ColumnRun, array of int, int), optional
        An earlier run of the same hours, the column of it that each column goes on from, and the
        place of the mark at which: what lies before is copied, `state` is not used.

    Returns
    -------
    ColumnRun
        Hourly profiles, running integrals, totals, residuals and the state at the end.

    Raises
    ------
    ValueError
        If a shape does not fit, or a value is NaN.

    Notes
    -----
    A run that is taken up gives what one run gives, to the last bit. Range of validity: mineral
    soils without a water table within 0.9 m, beds under 60 % clay.
    Sources: saxton_rawls_2006, ross_2003, campbell_1985, ritchie_1972 (see the package docstring).

    Examples
    --------
    Rain of 5 mm on a loam: its top layer gets wetter in that hour, and no water goes missing.

    >>> one = np.ones(1)
    >>> p = ColumnParameters(.46*one, .28*one, .137*one, 5.35*one, 15.5*one, .065*one, 10*one,
    ...                      one, 1.43*one, .2*one, 300*one)
    >>> none = np.zeros((1, 24))
    >>> rain = none.copy()
    >>> rain[0, 6] = 5.0
    >>> air = ColumnForcing(rain, none + .1, none + 12, none + .7, none + 2, none, none + .7)
    >>> run = run_columns(p, air, bare_surface(24), initial_state(p, 0.5, 10.0))
    >>> run.theta_m3m3.shape, bool(run.theta_m3m3[0, 6, 0] > run.theta_m3m3[0, 5, 0])
    ((1, 24, 13), True)
    >>> float(run.totals_mm[0, 0]), bool(run.residual_mm[0, 1] < 1e-9)
    (5.0, True)
    """
    n = parameters.n_columns
    n_hours = forcing.n_hours
    series = np.zeros(n, np.int64) if series_of is None else np.asarray(series_of, np.int64)
    histories = np.zeros(n, np.int64) if history_of is None else np.asarray(history_of, np.int64)
    wx = forcing.table()
    done = history.table()
    par = parameters.table()
    for name, table in (("forcing", wx), ("surface history", done), ("parameters", par)):
        if not np.isfinite(table).all():
            msg = f"soil column: {name} holds NaN or infinite values; fill or leave out such hours"
            raise ValueError(msg)
    if done.shape[1] != n_hours or series.shape != (n,) or histories.shape != (n,):
        msg = (
            f"soil column: {n_hours} hours of weather, {done.shape[1]} of history, "
            f"{n} columns, {series.shape[0]} and {histories.shape[0]} indexes; they must agree"
        )
        raise ValueError(msg)
    if n and not (series.min() >= 0 and series.max() < wx.shape[0]):
        msg = f"soil column: series index {series.max()} but only {wx.shape[0]} series"
        raise ValueError(msg)
    if n and not (histories.min() >= 0 and histories.max() < done.shape[0]):
        msg = f"soil column: history index {histories.max()} but only {done.shape[0]} histories"
        raise ValueError(msg)
    heat = _NO_WEEDS if weed_heat is None else weed_heat
    n_guilds = heat.base_c.shape[0]
    n_gates = heat.gate_kpa.shape[0]
    n_bands = len(WEED_BANDS_MM)
    n_readings = max(0, (n_hours - readings_from_hour) // reading_every_h) if n_guilds else 0
    n_kept = n_hours - stored_from_hour
    shape = (n, n_kept, n_stored_layers)
    theta = np.empty(shape, np.float32)
    temp = np.empty(shape, np.float32)
    skin, crust, evap = (np.empty(shape[:2], np.float32) for _ in range(3))
    germ = np.zeros((n, n_readings, n_guilds, n_bands, n_gates), np.float32)
    elong = np.zeros((n, n_readings, n_guilds, n_bands), np.float32)
    dry = np.zeros((n, n_readings, n_bands), np.float32)
    leaf = np.zeros((n, n_readings, n_guilds), np.float32)
    totals = np.zeros((n, _N_TOTALS))
    residual = np.zeros((n, 2))
    n_sub = np.zeros(n, np.int64)
    n_sums = n_guilds * (n_bands * (n_gates + 1) + 1) + n_bands + _N_TOTALS + 3
    hours = readings_from_hour + reading_every_h * np.arange(1, n_readings + 1)
    from_hour, begin, sums = 0, state, np.zeros((n, n_sums))
    if taken_up is not None:
        earlier, columns, place = taken_up
        from_hour, begin, sums = _marked(earlier, columns, place, n_sums)
        kept = max(0, from_hour - stored_from_hour)
        for now, then in (
            (theta, earlier.theta_m3m3),
            (temp, earlier.temp_c),
            (skin, earlier.skin_temp_c),
            (crust, earlier.crust_maturity_frac),
            (evap, earlier.evaporation_mm),
        ):
            _copy_rows(now, then, columns, kept)
        read = int(np.searchsorted(hours, from_hour, side="right"))
        for now, then in (
            (germ, earlier.germination_cd),
            (elong, earlier.elongation_cd),
            (dry, earlier.drying_d),
            (leaf, earlier.leaf_cd),
        ):
            _copy_rows(now, then, columns, read)
    end = ColumnState(
        *(
            np.array(values, dtype=np.float64, order="C")
            for values in (begin.saturation_frac, begin.temp_c, begin.ice_mm, begin.surface)
        )
    )
    at = np.array([h for h in mark_hours if from_hour <= h < n_hours], dtype=np.int64)
    marks = ColumnMarks(
        at,
        *(np.zeros((n, at.size, values.shape[1])) for values in (
            end.saturation_frac, end.temp_c, end.ice_mm, end.surface, sums
        )),
    )  # fmt: skip
    bands = np.stack([band_weights(top, bottom, 6) for top, bottom in WEED_BANDS_MM])
    kernel.advance(
        par, wx, series, done, histories,
        end.saturation_frac, end.temp_c, end.ice_mm, end.surface,
        heat.table(), heat.gate_kpa.astype(np.float64), bands,
        from_hour, stored_from_hour, reading_every_h, readings_from_hour, with_heat,
        float(tolerance[0]), float(tolerance[1]), float(tolerance[2]),
        theta, temp, skin, crust, evap, germ, elong, dry, leaf, totals, residual, n_sub,
        sums, at, marks.saturation_frac, marks.temp_c, marks.ice_mm, marks.surface, marks.sums,
    )  # fmt: skip
    return ColumnRun(
        theta, temp, skin, crust, evap, germ, elong, dry, leaf, hours.astype(np.int64),
        totals, residual, n_sub, end, stored_from_hour, marks if at.size else None,
    )  # fmt: skip


def _marked(
    earlier: ColumnRun, columns: IntArray, place: int, n_sums: int
) -> tuple[int, ColumnState, FloatArray]:
    """Hour, state and running sums of a mark, for the columns that go on from it."""
    marks = earlier.marks
    if marks is None or not 0 <= place < marks.hours.size:
        found = 0 if marks is None else marks.hours.size
        msg = f"soil column: mark {place} asked for, the earlier run has {found}"
        raise ValueError(msg)
    if marks.sums.shape[2] != n_sums:
        msg = f"soil column: {marks.sums.shape[2]} running sums at the mark, {n_sums} in this run"
        raise ValueError(msg)
    state = ColumnState(
        marks.saturation_frac[columns, place],
        marks.temp_c[columns, place],
        marks.ice_mm[columns, place],
        marks.surface[columns, place],
    )
    return int(marks.hours[place]), state, np.array(marks.sums[columns, place], order="C")


def _copy_rows(now: Float32Array, then: Float32Array, columns: IntArray, n_kept: int) -> None:
    """Copy the first hours or readings of an earlier run, column by column, in place."""
    for row, column in enumerate(columns.tolist()):
        now[row, :n_kept] = then[column, :n_kept]


def evaporation_target_mm(
    transmissivity_mm_d05: FloatArray, stage_one_mm: FloatArray
) -> FloatArray:
    """Evaporation in ten days at 5.75 mm/d by both stages: E10 = U + Tr sqrt(10 - U/5.75).

    Parameters
    ----------
    transmissivity_mm_d05 : array
        Stage-2 slope Tr [mm d^-1/2].
    stage_one_mm : array
        Stage-1 sum U [mm].

    Returns
    -------
    array
        Target [mm].

    Notes
    -----
    Source: wepp_1995 for U and Tr by texture, ritchie_1972 for the two stages. Range: U below
    57 mm.

    Examples
    --------
    >>> evaporation_target_mm(np.array([4.17]), np.array([9.6])).round(1)
    array([21.6])
    """
    target: FloatArray = stage_one_mm + transmissivity_mm_d05 * np.sqrt(10.0 - stage_one_mm / 5.75)
    return target


def ten_day_evaporation_mm(parameters: ColumnParameters) -> FloatArray:
    """Bare-soil evaporation in ten days at 5.75 mm/d after saturation and a day of drainage.

    Parameters
    ----------
    parameters : ColumnParameters
        Soils; `demand_factor` is taken as 1.

    Returns
    -------
    array
        Sum over ten days, shape (n_columns,) [mm].

    Notes
    -----
    Definition of this project; the two stages it is compared with are `ritchie_1972`. No range
    stated.

    Examples
    --------
    >>> one = np.ones(1)
    >>> p = ColumnParameters(.46*one, .28*one, .137*one, 5.35*one, 15.5*one, .0653*one, 10*one,
    ...                      one, 1.43*one, .2*one, 300*one)
    >>> ten_day_evaporation_mm(p).round(1)
    array([21.6])
    """
    n = parameters.n_columns
    plain = replace(parameters, demand_factor=np.ones(n))
    state = initial_state(plain, 0.98, 20.0)
    hours = {0: 24, 1: 240}
    total = np.zeros(n)
    for phase, n_hours in hours.items():
        et0 = np.full((1, n_hours), 5.75 / 24.0 * phase)
        zero = np.zeros((1, n_hours))
        forcing = ColumnForcing(zero, et0, zero + 20.0, zero + 0.6, zero + 2.0, zero, zero + 1.0)
        run = run_columns(
            plain, forcing, bare_surface(n_hours), state,
            with_heat=False, n_stored_layers=1, tolerance=ENSEMBLE_TOLERANCE,
        )  # fmt: skip
        state = run.state
        total = run.totals_mm[:, 1]
    return total


def anchored_k_factor(
    parameters: ColumnParameters, target_mm: FloatArray, *, cap: float = 3.0, n_halvings: int = 14
) -> FloatArray:
    """Factor on the matrix conductivity that makes ten days of drying lose `target_mm`.

    Pedotransfer conductivity lets bare soil lose two to four times what lysimeters show; the
    factor is found by halving on its logarithm between 1e-4 and `cap`.

    Parameters
    ----------
    parameters : ColumnParameters
        Soils; `k_factor` is ignored.
    target_mm : array
        Target of `ten_day_evaporation_mm`, shape (n_columns,) [mm].
    cap : float
        Largest factor: coarse soils run out of water before they reach the target [-].
    n_halvings : int
        Steps of the search.

    Returns
    -------
    array
        Factor, shape (n_columns,) [-].

    Notes
    -----
    Must be solved again whenever the drainage limit changes. Source: ritchie_1972 (stages), derived
    by us. Range: factors from 1e-4 to `cap`.

    Examples
    --------
    >>> one = np.ones(1)
    >>> p = ColumnParameters(.46*one, .28*one, .137*one, 5.35*one, 15.5*one, one, 10*one,
    ...                      one, 1.43*one, .2*one, 300*one)
    >>> anchored_k_factor(p, np.array([21.6])).round(3)
    array([0.065])
    """
    low = np.full(parameters.n_columns, np.log(1e-4))
    high = np.full(parameters.n_columns, np.log(cap))
    for _ in range(n_halvings):
        mid = 0.5 * (low + high)
        loses = ten_day_evaporation_mm(replace(parameters, k_factor=np.exp(mid)))
        is_short = loses < target_mm
        low = np.where(is_short, mid, low)
        high = np.where(is_short, high, mid)
    factor: FloatArray = np.exp(0.5 * (low + high))
    return factor
