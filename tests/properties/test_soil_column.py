"""What the soil column must hold for any weather: water closes, stop and resume, no NaN."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.models.crust import crust_maturity, rain_energy_j_m2
from scheduler.models.hydraulics import saxton_rawls
from scheduler.models.soil_column import (
    ENSEMBLE_TOLERANCE,
    REFERENCE_TOLERANCE,
    ColumnForcing,
    ColumnParameters,
    SurfaceHistory,
    WeedHeat,
    bare_surface,
    initial_state,
    run_columns,
)

SOILS = {  # sand, clay, matrix factor, drained suction
    "sandy loam": (0.65, 0.10, 0.9, 8.0),
    "loam": (0.40, 0.20, 0.07, 11.0),
    "silt loam": (0.20, 0.15, 0.013, 16.0),
    "clay": (0.25, 0.50, 0.15, 30.0),
}
WEEDS = WeedHeat(
    np.array([2.0, 10.0]),
    np.array([20.0, 32.0]),
    np.array([32.0, 42.0]),
    np.array([2.0, 8.0]),
    np.array([20.0, 32.0]),
    np.array([200.0, 800.0, 1500.0]),
)


def parameters() -> ColumnParameters:
    sand, clay, k_factor, drained = (np.array(v) for v in zip(*SOILS.values(), strict=True))
    h = saxton_rawls(sand, clay, 3.0)
    ones = np.ones(len(SOILS))
    return ColumnParameters(
        h.theta_sat_m3m3, h.theta_33_m3m3, h.theta_1500_m3m3, h.b, h.k_sat_mm_h,
        k_factor, drained, 1.05 * ones, h.bulk_density_g_cm3, clay, 250.0 * ones,
    )  # fmt: skip


def weather(seed: int, n_hours: int, wet: float = 0.06, n_series: int = 1) -> ColumnForcing:
    rng = np.random.default_rng(seed)
    shape = (n_series, n_hours)
    hour = np.arange(n_hours) % 24
    rain = np.where(rng.random(shape) < wet, rng.gamma(0.7, 3.0, shape), 0.0)
    sun = np.maximum(0.0, np.sin((hour - 6) / 12 * np.pi)) * rng.uniform(0.3, 1.0, shape)
    temp = rng.uniform(-4.0, 25.0) + 6.0 * np.sin((hour - 9) / 12 * np.pi) + np.zeros(shape)
    return ColumnForcing(
        rain, 0.6 * sun, temp, np.full(shape, 0.6), np.full(shape, 2.0), 2.5 * sun,
        np.full(shape, 0.7),
    )  # fmt: skip


def cut(forcing: ColumnForcing, first: int, last: int) -> ColumnForcing:
    return ColumnForcing(
        *(getattr(forcing, name)[:, first:last] for name in forcing.__dataclass_fields__)
    )


def cut_surface(history: SurfaceHistory, first: int, last: int) -> SurfaceHistory:
    return SurfaceHistory(
        *(getattr(history, name)[:, first:last] for name in history.__dataclass_fields__)
    )


def busy_surface(seed: int, n_hours: int) -> SurfaceHistory:
    rng = np.random.default_rng(seed + 1)
    bare = bare_surface(n_hours)
    water = np.where(rng.random((1, n_hours)) < 0.01, 6.0, 0.0)
    depth = np.where(rng.random((1, n_hours)) < 0.01, rng.choice([15.0, 30.0, 90.0]), 0.0)
    cover = np.full((1, n_hours), rng.uniform(0.0, 0.9))
    return replace(
        bare,
        water_mm=water,
        sprinkled_frac=np.full((1, n_hours), rng.integers(0, 2)),
        loosened_mm=depth,
        cover_frac=cover,
        crop_factor=0.7 * cover,
    )


@settings(max_examples=12, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    tolerance=st.sampled_from([ENSEMBLE_TOLERANCE, REFERENCE_TOLERANCE]),
)
def test_water_closes_for_every_member(seed: int, tolerance: tuple[float, float, float]) -> None:
    n_hours = 24 * 40
    run = run_columns(
        parameters(), weather(seed, n_hours), busy_surface(seed, n_hours),
        initial_state(parameters(), 0.7, 10.0), tolerance=tolerance,
    )  # fmt: skip
    assert run.residual_mm[:, 0].max() <= 1e-9
    assert run.residual_mm[:, 1].max() <= 1e-7
    into, soil_e, leaf_e, roots, drained, ran_off, stored = run.totals_mm.T
    assert_allclose(stored, into - soil_e - leaf_e - roots - drained - ran_off, rtol=0, atol=1e-7)
    assert np.isfinite(run.theta_m3m3).all()
    assert (run.theta_m3m3 > 0.0).all()
    assert (run.theta_m3m3 <= parameters().theta_sat_m3m3[:, None, None] + 1e-6).all()
    assert np.isfinite(run.temp_c).all()
    assert ((run.crust_maturity_frac >= 0.0) & (run.crust_maturity_frac <= 1.0)).all()


def test_water_closes_over_a_year() -> None:
    """Sum of absolute step residuals: at most 1e-9 mm a step and 1e-7 mm a year."""
    n_hours = 24 * 365
    run = run_columns(
        parameters(), weather(3, n_hours), busy_surface(3, n_hours),
        initial_state(parameters(), 0.7, 10.0), n_stored_layers=1,
        stored_from_hour=n_hours - 24, tolerance=ENSEMBLE_TOLERANCE,
    )  # fmt: skip
    assert run.residual_mm[:, 0].max() <= 1e-9
    assert run.residual_mm[:, 1].max() <= 1e-7


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10_000), at=st.integers(5, 230))
def test_stop_and_resume_equals_one_run(seed: int, at: int) -> None:
    n_hours = 240
    forcing, history = weather(seed, n_hours), busy_surface(seed, n_hours)
    state = initial_state(parameters(), 0.6, 12.0)
    whole = run_columns(parameters(), forcing, history, state)
    first = run_columns(parameters(), cut(forcing, 0, at), cut_surface(history, 0, at), state)
    second = run_columns(
        parameters(), cut(forcing, at, n_hours), cut_surface(history, at, n_hours), first.state
    )
    assert_array_equal(whole.theta_m3m3[:, at:], second.theta_m3m3)
    assert_array_equal(whole.temp_c[:, at:], second.temp_c)
    assert_array_equal(whole.state.surface, second.state.surface)


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_running_integrals_never_fall_and_a_dry_spell_only_pauses(seed: int) -> None:
    run = run_columns(
        parameters(), weather(seed, 24 * 30), bare_surface(24 * 30),
        initial_state(parameters(), 0.7, 12.0), weed_heat=WEEDS,
    )  # fmt: skip
    for series in (run.germination_cd, run.elongation_cd, run.drying_d, run.leaf_cd):
        assert (np.diff(series, axis=1) >= 0.0).all()
    # a seed that bears more dryness is never behind one that bears less
    assert (np.diff(run.germination_cd, axis=-1) >= 0.0).all()


def test_moist_soil_counts_plain_degree_days() -> None:
    """Drip every hour keeps the bands moist: progress equals degree-days of the soil to 1 %."""
    n_hours = 24 * 20
    forcing = weather(8, n_hours, wet=0.0)
    forcing = replace(forcing, air_temp_c=np.full((1, n_hours), 16.0))
    history = replace(bare_surface(n_hours), water_mm=np.full((1, n_hours), 0.35))
    run = run_columns(
        parameters(), forcing, history, initial_state(parameters(), 0.8, 16.0), weed_heat=WEEDS,
        n_stored_layers=6,
    )  # fmt: skip
    hourly = np.clip(run.temp_c[:, :, 1].astype(float), 2.0, None)  # 5-15 mm is layer 2 alone
    plain = np.where(hourly <= 20.0, hourly - 2.0, 18.0 * (32.0 - hourly) / 12.0).clip(0.0)
    expected = np.cumsum(plain, axis=1)[:, run.reading_hours - 1] / 24.0
    assert_allclose(run.germination_cd[:, -1, 0, 1, 2], expected[:, -1], rtol=0.01)


def test_extra_rain_never_leaves_a_layer_drier_the_same_hour() -> None:
    """At the reference sub-steps, to within 1e-3 m3/m3 (the sub-steps differ between the runs)."""
    n_hours = 24 * 15
    forcing = weather(11, n_hours)
    more = replace(forcing, rain_mm=1.3 * forcing.rain_mm)
    state = initial_state(parameters(), 0.6, 12.0)
    surface = bare_surface(n_hours)
    # crust and settling follow the rain as well; switch the crust off to compare water alone
    hardy = replace(parameters(), crust_energy_j_m2=np.full(len(SOILS), 1e9))
    plain = run_columns(hardy, forcing, surface, state, with_heat=False)
    wetter = run_columns(hardy, more, surface, state, with_heat=False)
    assert (wetter.theta_m3m3 - plain.theta_m3m3).min() > -1e-3


def test_shifting_dates_shifts_results() -> None:
    """Nothing in the column depends on the date: the same weather later gives the same soil."""
    n_hours = 240
    forcing = weather(21, n_hours)
    state = initial_state(parameters(), 0.6, 12.0)
    run = run_columns(parameters(), forcing, bare_surface(n_hours), state)
    twice = ColumnForcing(
        *(np.concatenate([getattr(forcing, n)] * 2, axis=0) for n in forcing.__dataclass_fields__)
    )
    other = run_columns(
        parameters(), twice, bare_surface(n_hours), state, series_of=np.array([1, 0, 1, 0])
    )
    assert_array_equal(run.theta_m3m3, other.theta_m3m3)


@pytest.mark.parametrize("name", ["rain_mm", "air_temp_c", "et0_mm"])
def test_nan_is_refused(name: str) -> None:
    forcing = weather(1, 24)
    values = getattr(forcing, name).copy()
    values[0, 5] = np.nan
    with pytest.raises(ValueError, match="NaN"):
        run_columns(
            parameters(), replace(forcing, **{name: values}), bare_surface(24),
            initial_state(parameters(), 0.6, 12.0),
        )  # fmt: skip


def test_crust_in_the_kernel_is_the_crust_of_its_own_room() -> None:
    """Maturity by the compiled column equals `models.crust` on the same rain."""
    n_hours = 24 * 20
    forcing = weather(5, n_hours)
    run = run_columns(
        parameters(), replace(forcing, air_temp_c=np.full((1, n_hours), 15.0)),
        bare_surface(n_hours), initial_state(parameters(), 0.6, 15.0),
    )  # fmt: skip
    energy = rain_energy_j_m2(forcing.rain_mm[0])
    apart = crust_maturity(
        energy[None, :], np.array([250.0]), 0.0, np.zeros((1, n_hours), bool), decay_d=45.0
    )
    assert_allclose(run.crust_maturity_frac[0], apart[0], rtol=0, atol=2e-4)
