"""More rain never makes a bed workable earlier the same day."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.models.soil_column import (
    ENSEMBLE_TOLERANCE,
    ColumnForcing,
    band_weights,
    bare_surface,
    initial_state,
    run_columns,
)
from scheduler.models.workability import is_workable
from scheduler.planning.ensemble import SoilMembers, soil_members
from scheduler.records import BoolArray, FloatArray, Soil
from scheduler.service.settings import soil_prior, spread

TEXTURES = ("sandy loam", "loam", "silt loam", "clay loam")
FINE = (0.0005, 0.005, 0.0025)
N_HOURS = 72
SET_OUT_CHANCE = 0.6
# what the sub-steps of `FINE` leave open [m3/m3]
SUB_STEP_M3M3 = 0.001


@lru_cache(maxsize=8)
def members(texture: str, n_members: int = 8) -> SoilMembers:
    """Members without a crust: sealing by more rain may keep water out, rightly."""
    prior = soil_prior(Soil(texture, texture, None, None, 2.5))
    drawn = soil_members(prior, spread(), 5, n_members)
    p = drawn.parameters
    return replace(
        drawn, parameters=replace(p, crust_energy_j_m2=np.full_like(p.crust_energy_j_m2, 1e12))
    )


def water(
    of: SoilMembers, rain_mm: FloatArray, start: float, tolerance: tuple[float, float, float] = FINE
) -> FloatArray:
    """Water content of the top 30 mm, (n_members, n_hours) [m3/m3]; ET0 4 mm/d."""
    p = of.parameters
    sun = np.maximum(0.0, np.sin((np.arange(N_HOURS) % 24 - 5.5) / 12.0 * np.pi))
    et0 = (4.0 * sun / sun[:24].sum())[None]
    forcing = ColumnForcing(
        rain_mm[None], et0, 0 * et0 + 15, 0 * et0 + 0.65, 0 * et0 + 2, 0 * et0, 0 * et0 + 1
    )
    state = initial_state(p, start * p.theta_33_m3m3 / p.theta_sat_m3m3, 15.0)
    run = run_columns(
        p, forcing, bare_surface(N_HOURS), state, with_heat=False, tolerance=tolerance
    )
    theta: FloatArray = run.theta_m3m3.astype(float) @ band_weights(0.0, 30.0)
    return theta


def fit(m: SoilMembers, theta: FloatArray) -> BoolArray:
    return is_workable(theta, m.working_m3m3, m.ceiling_m3m3, m.dry_limit_m3m3, is_settled=False)


@given(
    st.sampled_from(TEXTURES),
    st.integers(0, 30),
    st.integers(1, 6),
    st.floats(0.5, 30.0),
    st.floats(0.5, 20.0),
    st.floats(0.5, 1.05),
)
@settings(max_examples=20, deadline=None)
def test_more_rain_leaves_the_top_no_drier_and_no_earlier_fit(
    texture: str, begin: int, last: int, rain: float, more: float, start: float
) -> None:
    less_mm, more_mm = np.zeros(N_HOURS), np.zeros(N_HOURS)
    less_mm[begin : begin + last] = rain / last
    more_mm[begin : begin + last] = (rain + more) / last
    m = members(texture)
    less, wet = water(m, less_mm, start), water(m, more_mm, start)
    assert np.all(wet >= less - SUB_STEP_M3M3)
    earlier = fit(m, wet) & ~fit(m, less)
    # where an hour is fit only with more rain, both stand within the sub-steps' error of the limit
    limit = np.minimum(m.working_m3m3, m.ceiling_m3m3)[:, None] + 0.0 * less
    assert np.all(np.abs(less - limit)[earlier] <= SUB_STEP_M3M3)


@pytest.mark.parametrize("texture", TEXTURES)
def test_a_heavy_shower_at_noon_closes_the_bed(texture: str) -> None:
    """15 mm at noon on dryish ground: not worth setting out in the six hours after."""
    rain = np.zeros(N_HOURS)
    rain[24 + 12] = 15.0
    m = members(texture)
    held, dry = fit(m, water(m, rain, 0.7)), fit(m, water(m, 0.0 * rain, 0.7))
    assert dry[:, 24 + 8 : 24 + 12].all()
    assert held[:, 24 + 12 : 24 + 18].mean(axis=0).max() < SET_OUT_CHANCE
    assert held[:, 24 + 12 : 24 + 14].mean() < 0.1


@pytest.mark.parametrize("texture", ["loam", "clay loam"])
def test_the_members_sub_steps_do_not_move_a_bed_to_the_next_day(texture: str) -> None:
    """20 mm in two hours before four in the morning: from when are 6 in 10 members fit?"""
    rain = np.zeros(N_HOURS)
    rain[26:28] = 10.0
    m = members(texture, 32)
    first = [
        int(np.flatnonzero(fit(m, water(m, rain, 0.9, tolerance))[:, 28:].mean(axis=0) >= 0.6)[0])
        for tolerance in (ENSEMBLE_TOLERANCE, FINE)
    ]
    assert abs(first[0] - first[1]) <= 3
