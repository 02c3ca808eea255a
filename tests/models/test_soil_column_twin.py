"""The soil column against a slow second opinion, closed forms and figures of the evidence.

The twin (`tests/twin/slow_column.py`) is the same equations handed to an error-controlled stiff
integrator; the compiled column linearises and takes its own sub-steps, so both must meet as the
sub-steps of the column shrink. Class values of the soils: Saxton and Rawls 2006, Table 3, organic
matter 2.5 %. Checks named T4 to T12 are those of the evidence note on soil, section 9.4, as changed
by the note on measured series (drainage down to 10 kPa, target over both stages, vapour).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from scheduler.models import soil_column
from tests.twin import slow_column as twin

Array = NDArray[np.float64]

# sand %, clay %, theta_s, theta_33, theta_1500, Ks mm/h
CLASSES = {
    "sandy loam": (65.0, 10.0, 0.450, 0.179, 0.081, 50.3),
    "loam": (40.0, 20.0, 0.460, 0.280, 0.137, 15.5),
    "silt loam": (20.0, 15.0, 0.479, 0.305, 0.110, 16.1),
    "clay loam": (30.0, 35.0, 0.477, 0.358, 0.218, 4.32),
    "silty clay loam": (10.0, 35.0, 0.511, 0.382, 0.215, 5.68),
    "clay": (25.0, 50.0, 0.498, 0.421, 0.298, 1.15),
}
# anchored factor, drained at 10 kPa: evidence on measured series, section 3 item 2. Sandy loam
# (printed .93) is left out: the note solved it with macropores of Ks - k_m Ks, which all but vanish
# at such a factor; with macropores of Ks more drains before the drying begins, and the same sum of
# evaporation needs 2.24. Where k_m is small the two read the same.
PRINTED_10_KPA = {
    "loam": 0.065,
    "silt loam": 0.006,
    "clay loam": 0.054,
    "silty clay loam": 0.017,
    "clay": 0.077,
}
ANCHORED_10_KPA = {**PRINTED_10_KPA, "sandy loam": 2.24}
TIGHT = (0.001, 0.01, 0.005)
FOUR_SOILS = ("sandy loam", "loam", "silt loam", "clay loam")


def twin_soil(
    name: str, k_factor: float | None = None, drainage_kpa: float = 10.0
) -> dict[str, float]:
    _, _, theta_sat, theta_33, theta_1500, k_sat = CLASSES[name]
    factor = ANCHORED_10_KPA[name] if k_factor is None else k_factor
    return twin.soil(theta_sat, theta_33, theta_1500, k_sat, factor, drainage_kpa)


def column(
    s: dict[str, float],
    demand_factor: float = 1.0,
    crust_energy_j_m2: float = 1e12,
    bulk_density_g_cm3: float = 1.3,
    clay_frac: float = 0.2,
) -> soil_column.ColumnParameters:
    one = np.ones(1)
    return soil_column.ColumnParameters(
        theta_sat_m3m3=s["theta_sat"] * one,
        theta_33_m3m3=s["theta_33"] * one,
        theta_1500_m3m3=s["theta_1500"] * one,
        b=s["b"] * one,
        k_sat_mm_h=s["k_sat"] * one,
        k_factor=s["k_factor"] * one,
        drainage_kpa=s["drainage_kpa"] * one,
        demand_factor=demand_factor * one,
        bulk_density_g_cm3=bulk_density_g_cm3 * one,
        clay_frac=clay_frac * one,
        crust_energy_j_m2=crust_energy_j_m2 * one,
    )


def weather(
    rain_mm: Array,
    et0_mm: Array | float,
    humidity_frac: Array | float = 0.6,
    air_temp_c: Array | float = 15.0,
    solar_mj_m2: Array | float = 0.0,
) -> soil_column.ColumnForcing:
    def row(values: Array | float) -> Array:
        return np.broadcast_to(np.asarray(values, dtype=float), rain_mm.shape).copy()[None, :]

    return soil_column.ColumnForcing(
        rain_mm=row(rain_mm),
        et0_mm=row(et0_mm),
        air_temp_c=row(air_temp_c),
        humidity_frac=row(humidity_frac),
        wind_2m_m_s=row(2.0),
        solar_mj_m2=row(solar_mj_m2),
        sky_clearness_frac=row(1.0),
    )


def daylight(n_hours: int) -> Array:
    """Share of a day's sum in each hour: half a sine from 6 to 18 h."""
    hour = np.arange(n_hours) % 24 + 0.5
    shape = np.maximum(0.0, np.sin((hour - 6.0) / 12.0 * np.pi))
    return np.asarray(shape / shape[:24].sum())


def run(
    s: dict[str, float],
    forcing: soil_column.ColumnForcing,
    saturation_frac: float,
    tolerance: tuple[float, float, float] = TIGHT,
    history: soil_column.SurfaceHistory | None = None,
    **soil_changes: float,
) -> soil_column.ColumnRun:
    parameters = column(s, **soil_changes)
    n_hours = forcing.rain_mm.shape[1]
    return soil_column.run_columns(
        parameters,
        forcing,
        soil_column.bare_surface(n_hours) if history is None else history,
        soil_column.initial_state(parameters, saturation_frac, 15.0),
        with_heat=False,
        tolerance=tolerance,
    )


def anchored(name: str, drainage_kpa: float, demand_factor: float = 1.0) -> dict[str, float]:
    s = twin_soil(name, 1.0, drainage_kpa)
    target = twin.two_stage_target_mm(CLASSES[name][0], CLASSES[name][1])
    factor = soil_column.anchored_k_factor(column(s, demand_factor), np.array([target]))
    return {**s, "k_factor": float(factor[0])}


# ------------------------------------------------------------------ the twin alone


def split_by_four() -> Array:
    return np.repeat(twin.THICKNESS_MM, 4) / 4.0


def test_t4_constant_diffusivity_desorption(monkeypatch: pytest.MonkeyPatch) -> None:
    """Closed form 2 (theta_i - theta_0) sqrt(D t / pi): 6.770 mm for D 100 mm2/d, 0.20, 9 d."""
    diffusivity_mm2_h, start, held = 100.0 / 24.0, 0.30, 0.10
    thickness = split_by_four()
    s = twin.soil(0.46, 0.28, 0.137, 15.5)
    monkeypatch.setattr(
        twin, "flux_potential", lambda s, S: diffusivity_mm2_h * s["theta_sat"] * np.asarray(S)
    )
    monkeypatch.setattr(twin, "conductivity_mm_h", lambda s, S: 0.0 * np.asarray(S))
    monkeypatch.setattr(twin, "structural_flow_mm_h", lambda s, S: 0.0 * np.asarray(S))
    monkeypatch.setattr(twin, "SATURATED_VAPOUR_KG_M3", 0.0)
    monkeypatch.setattr(
        twin,
        "evaporation_mm_h",
        lambda s, theta, demand, ha: diffusivity_mm2_h * (theta - held) / (thickness[0] / 2.0),
    )
    hours = [twin.hour(n_layers=thickness.size)] * 9
    path = twin.run(s, start, hours, thickness=thickness, hours_each=24.0)
    assert_allclose(path["evaporation"][-1], 6.770, rtol=0.015, atol=0.0)


def test_t6_hydrostatic_profile_has_no_flow(monkeypatch: pytest.MonkeyPatch) -> None:
    """Suction that grows by a mm for each mm of height carries no water."""
    monkeypatch.setattr(twin, "SATURATED_VAPOUR_KG_M3", 0.0)
    s = twin_soil("loam", 1.0)
    thickness = np.full(200, 2.0)
    depth = np.cumsum(thickness) - thickness / 2.0
    suction = 2000.0 - depth
    relative = (suction / twin.air_entry_mm(s)) ** (-1.0 / s["b"])
    flow = twin.interface_flow_mm_h(s, relative * s["theta_sat"], np.ones(200), thickness)
    gravity = twin.conductivity_mm_h(s, relative[:-1])
    # what is left is the second-order error of a 2 mm grid
    assert np.max(np.abs(flow) / gravity) < 0.01


def test_t9_layers_resist_in_series() -> None:
    """A layer of factor 0.1 equals an added resistance; equal wetness, no capillary flow."""
    s = {**twin_soil("loam"), "k_sat": 15.5}
    factor = np.array([0.1, 1.0])
    thickness = np.array([10.0, 10.0])
    wet, dry = 0.20, 0.15
    flow = twin.interface_flow_mm_h(s, np.array([wet, dry]), factor, thickness)[0]
    vapour_free = (
        flow
        - twin.interface_flow_mm_h(
            {**s, "k_factor": 0.0, "k_sat": 0.0}, np.array([wet, dry]), factor, thickness
        )[0]
    )
    b, full = s["b"], s["theta_sat"]
    top = b * twin.air_entry_mm(s) * s["k_factor"] * s["k_sat"] / (b + 3.0)
    closed = top * ((wet / full) ** (b + 3.0) - (dry / full) ** (b + 3.0)) / (5.0 / 0.1 + 5.0)
    closed += 0.1 * s["k_factor"] * s["k_sat"] * (wet / full) ** (2.0 * b + 3.0)
    assert_allclose(vapour_free, closed, rtol=1e-10, atol=1e-14)
    equal = twin.interface_flow_mm_h(s, np.array([wet, wet]), factor, thickness)[0]
    assert_allclose(equal, 0.1 * twin.conductivity_mm_h(s, wet / full), rtol=1e-10, atol=1e-14)


def test_twin_closes_its_balance() -> None:
    s = twin_soil("clay loam")
    hours = [twin.hour(rain=12.0), twin.hour(rain=9.0), twin.hour(demand=0.4), twin.hour()]
    path = twin.run(s, 0.3, hours)
    stored = path["theta"] @ twin.THICKNESS_MM + path["store"]
    out = path["evaporation"] + path["drainage"] + path["runoff"] + path["transpiration"]
    assert path["runoff"][-1] > 1.0
    assert_allclose(stored[-1] - stored[0] + out[-1], 21.0, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize("name", sorted(PRINTED_10_KPA))
def test_twin_confirms_the_noted_anchors(name: str) -> None:
    """The factors of the evidence note bring ten-day drying to U + Tr sqrt(10 - U / 5.75)."""
    sand, clay = CLASSES[name][:2]
    lost = twin.ten_day_evaporation_mm(twin_soil(name))[-1]
    assert_allclose(lost, twin.two_stage_target_mm(sand, clay), rtol=0.0, atol=0.75)


# ------------------------------------------------------------------ column against twin


def wet_and_dry_days() -> tuple[Array, Array]:
    """Twenty days with seven storms of 2 to 30 mm, demand 5 mm/d."""
    n_hours = 480
    rng = np.random.default_rng(1)
    rain = np.zeros(n_hours)
    for day in range(20):
        if rng.random() < 0.4:
            start = day * 24 + rng.integers(0, 20)
            rain[start : start + 3] = rng.gamma(1.0, 4.0, 3)
    return rain, 5.0 * daylight(n_hours)


@pytest.fixture(scope="module", params=FOUR_SOILS)
def both(request: pytest.FixtureRequest) -> dict[str, Any]:
    s = twin_soil(request.param)
    rain, demand = wet_and_dry_days()
    assert rain.sum() > 80.0
    hours = [twin.hour(rain=float(r), demand=float(d)) for r, d in zip(rain, demand, strict=True)]
    start = 0.8 * s["theta_33"]
    path = twin.run(s, start, hours, tolerance=1e-6)
    return {"soil": s, "weather": weather(rain, demand), "start": start, "path": path}


def test_every_layer_and_hour_agrees_with_the_twin(both: dict[str, Any]) -> None:
    """Worst layer and hour within 1e-3 m3/m3 when the column's sub-steps are short."""
    s = both["soil"]
    ran = run(s, both["weather"], both["start"] / s["theta_sat"], tolerance=TIGHT)
    # found: .0004 to .0007
    assert_allclose(ran.theta_m3m3[0], both["path"]["theta"][1:], rtol=0.0, atol=1e-3)
    rain, evaporation, _, _, drainage, runoff, _ = ran.totals_mm[0]
    assert_allclose(rain, both["weather"].rain_mm.sum(), rtol=1e-12, atol=0.0)
    assert_allclose(evaporation, both["path"]["evaporation"][-1], rtol=0.003, atol=0.0)
    assert_allclose(runoff, both["path"]["runoff"][-1], rtol=0.0, atol=0.1)
    assert_allclose(drainage, both["path"]["drainage"][-1], rtol=0.02, atol=0.01)


def test_reference_sub_steps_agree_with_the_twin_in_the_mean(both: dict[str, Any]) -> None:
    """Mean over layers and hours within 1e-3 m3/m3; single hours after a storm are worse."""
    s = both["soil"]
    tolerance = soil_column.REFERENCE_TOLERANCE
    assert tolerance == (0.02, 0.20, 0.10)
    ran = run(s, both["weather"], both["start"] / s["theta_sat"], tolerance=tolerance)
    gap = np.abs(ran.theta_m3m3[0] - both["path"]["theta"][1:])
    assert gap.mean() <= 1e-3  # found: .0005 to .0006
    assert gap.max() <= 0.02  # worst layer and hour; found: .014 to .017, in the top 5 mm
    top = np.abs((ran.theta_m3m3[0] - both["path"]["theta"][1:]) @ soil_column.band_weights(0, 30))
    assert top.max() <= 0.008  # what decides whether a bed is fit; found: .003 to .006


@pytest.mark.parametrize(
    ("tolerance", "mean_limit_m3m3", "evaporation_limit"),
    [
        # found: mean .0004 to .0005, worst hour .004, evaporation +0.5 to +0.7 %
        (soil_column.REFERENCE_TOLERANCE, 0.0006, 0.01),
        # found: mean .0011 to .0022, worst hour .028, evaporation +2.0 to +2.8 %
        (soil_column.ENSEMBLE_TOLERANCE, 0.0025, 0.04),
    ],
)
def test_working_sub_steps_stay_near_the_twin(
    both: dict[str, Any],
    tolerance: tuple[float, float, float],
    mean_limit_m3m3: float,
    evaporation_limit: float,
) -> None:
    """What the longer sub-steps of everyday use cost, 3-7 cm and evaporation."""
    s = both["soil"]
    ran = run(s, both["weather"], both["start"] / s["theta_sat"], tolerance=tolerance)
    band = soil_column.band_weights(30.0, 70.0)
    gap = (ran.theta_m3m3[0] - both["path"]["theta"][1:]) @ band
    assert np.mean(np.abs(gap)) < mean_limit_m3m3
    lost = both["path"]["evaporation"][-1]
    assert abs(ran.totals_mm[0, 1] - lost) < evaporation_limit * lost


def drained_near_saturation() -> tuple[dict[str, float], Array, Array]:
    """A silt loam as some members draw it: saturation .47, 33 kPa at .37; 30 mm in four hours."""
    s = twin.soil(0.473, 0.372, 0.134, 16.1, 0.0013, 13.5)
    rain = np.zeros(24)
    rain[4:8] = 7.5
    return s, rain, 4.0 * daylight(24)


@pytest.mark.parametrize("tolerance", [TIGHT, soil_column.REFERENCE_TOLERANCE])
def test_a_soil_drained_near_saturation_agrees_after_a_storm(
    tolerance: tuple[float, float, float],
) -> None:
    """The top 30 mm within .008 m3/m3 there as well, which is where beds are judged."""
    s, rain, demand = drained_near_saturation()
    hours = [twin.hour(rain=float(r), demand=float(d)) for r, d in zip(rain, demand, strict=True)]
    path = twin.run(s, 0.75 * s["theta_33"], hours, tolerance=1e-6)
    ran = run(s, weather(rain, demand), 0.75 * s["theta_33"] / s["theta_sat"], tolerance=tolerance)
    top = (ran.theta_m3m3[0] - path["theta"][1:]) @ soil_column.band_weights(0.0, 30.0)
    assert np.max(np.abs(top)) <= 0.008


def test_shorter_sub_steps_come_closer(both: dict[str, Any]) -> None:
    s = both["soil"]
    gaps = [
        np.mean(
            np.abs(
                run(s, both["weather"], both["start"] / s["theta_sat"], tolerance=t).theta_m3m3[0]
                - both["path"]["theta"][1:]
            )
        )
        for t in ((0.04, 0.3, 0.2), (0.01, 0.1, 0.05), (0.0025, 0.03, 0.0125))
    ]
    assert gaps[0] > 2.0 * gaps[1] > 4.0 * gaps[2]


def test_loosened_layer_agrees_with_the_twin() -> None:
    """25 mm loosened: conductivity 0.25 there until rain settles it (evidence: .2-.3)."""
    s = twin_soil("loam")
    demand = 5.0 * daylight(72)
    history = soil_column.bare_surface(72)
    loosened = history.loosened_mm.copy()
    loosened[0, 0] = 25.0
    ran = run(s, weather(np.zeros(72), demand), 0.8, history=replace(history, loosened_mm=loosened))
    factor = np.ones(13)
    factor[:3] = 0.25
    hours = [twin.hour(demand=float(d), conductivity=factor) for d in demand]
    path = twin.run(s, 0.8 * s["theta_sat"], hours, tolerance=1e-6)
    assert_allclose(ran.theta_m3m3[0], path["theta"][1:], rtol=0.0, atol=1e-3)
    untouched = run(s, weather(np.zeros(72), demand), 0.8)
    assert ran.totals_mm[0, 1] < 0.8 * untouched.totals_mm[0, 1]


def test_crusted_layer_agrees_with_the_twin() -> None:
    """A seal closes the top 5 mm to 0.3 as it matures (evidence, section 5.4)."""
    s = twin_soil("loam")
    demand = 5.0 * daylight(72)
    rain = np.where(np.arange(72) < 3, 2.0, 0.0)
    ran = run(s, weather(rain, demand), 0.7, crust_energy_j_m2=0.1)
    maturity = ran.crust_maturity_frac[0].astype(float)
    hours = []
    for i in range(72):
        factor = np.ones(13)
        factor[0] = 1.0 - 0.7 * maturity[i]
        hours.append(twin.hour(rain=float(rain[i]), demand=float(demand[i]), conductivity=factor))
    path = twin.run(s, 0.7 * s["theta_sat"], hours, tolerance=1e-6)
    assert_allclose(ran.theta_m3m3[0], path["theta"][1:], rtol=0.0, atol=1e-3)


@pytest.mark.parametrize(("cover", "kcb", "roots_mm"), [(0.0, 0.5, 300.0), (0.6, 0.4, 600.0)])
def test_shade_and_roots_agree_with_the_twin(cover: float, kcb: float, roots_mm: float) -> None:
    """Shade takes 0.85 of the covered share; roots thin out with an e-fold of 300 mm."""
    s = twin_soil("loam")
    demand = 5.0 * daylight(240)
    one = np.ones((1, 240))
    history = soil_column.SurfaceHistory(
        0.0 * one, 0.0 * one, 0.0 * one, cover * one, kcb * one, roots_mm * one
    )
    ran = run(s, weather(np.zeros(240), demand), 0.55, history=history)
    share = twin.root_share(roots_mm)
    hours = [
        twin.hour(demand=float(d) * (1.0 - 0.85 * cover), uptake=kcb * float(d) * share)
        for d in demand
    ]
    path = twin.run(s, 0.55 * s["theta_sat"], hours, tolerance=1e-6)
    assert path["transpiration"][-1] > 10.0
    assert_allclose(ran.theta_m3m3[0], path["theta"][1:], rtol=0.0, atol=1e-3)
    assert_allclose(ran.totals_mm[0, 3], path["transpiration"][-1], rtol=0.005, atol=0.0)


def test_leaves_hold_back_rain() -> None:
    """A store of 1.5 mm times cover fills before the soil gets anything (evidence, section 3)."""
    s = twin_soil("loam")
    rain = np.where(np.arange(6) == 0, 5.0, 0.0)
    one = np.ones((1, 6))
    history = soil_column.SurfaceHistory(
        0.0 * one, 0.0 * one, 0.0 * one, 0.8 * one, 0.0 * one, 600.0 * one
    )
    ran = run(s, weather(rain, 0.0), 0.5, history=history)
    gained_mm = (ran.theta_m3m3[0, -1] - 0.5 * s["theta_sat"]) @ twin.THICKNESS_MM
    assert_allclose(gained_mm + ran.totals_mm[0, 4], 5.0 - 1.5 * 0.8, rtol=0.0, atol=1e-3)


# ------------------------------------------------------------------ column by itself


def test_t5_water_closes_over_a_year_of_random_weather() -> None:
    """Every member: residual of a step and of the year, and a balance from the states alone."""
    n_members, n_hours = 12, 8760
    rng = np.random.default_rng(7)
    names = sorted(CLASSES) * 2
    table = np.array([CLASSES[n][2:] for n in names])
    b = np.log(1500.0 / 33.0) / np.log(table[:, 1] / table[:, 2])
    one = np.ones(n_members)
    parameters = soil_column.ColumnParameters(
        theta_sat_m3m3=table[:, 0],
        theta_33_m3m3=table[:, 1],
        theta_1500_m3m3=table[:, 2],
        b=b,
        k_sat_mm_h=table[:, 3],
        k_factor=np.exp(rng.normal(-2.5, 1.5, n_members)),
        drainage_kpa=rng.uniform(5.0, 33.0, n_members),
        demand_factor=rng.uniform(0.9, 1.2, n_members),
        bulk_density_g_cm3=1.35 * one,
        clay_frac=0.2 * one,
        crust_energy_j_m2=rng.uniform(60.0, 600.0, n_members),
    )
    shape = (2, n_hours)
    hour = np.arange(n_hours)
    season = 9.0 - 14.0 * np.cos(2.0 * np.pi * hour / n_hours)
    forcing = soil_column.ColumnForcing(
        rain_mm=np.where(rng.random(shape) < 0.06, rng.gamma(0.6, 4.0, shape), 0.0),
        et0_mm=4.0 * daylight(n_hours) * rng.uniform(0.2, 1.8, shape),
        air_temp_c=season + rng.normal(0.0, 4.0, shape),
        humidity_frac=rng.uniform(0.2, 1.0, shape),
        wind_2m_m_s=rng.uniform(0.3, 7.0, shape),
        solar_mj_m2=15.0 * daylight(n_hours) * rng.uniform(0.2, 1.5, shape),
        sky_clearness_frac=rng.uniform(0.2, 1.0, shape),
    )
    cover = rng.uniform(0.0, 1.0, shape)
    history = soil_column.SurfaceHistory(
        water_mm=np.where(rng.random(shape) < 0.005, 8.0, 0.0),
        sprinkled_frac=np.full(shape, 0.5),
        loosened_mm=np.where(rng.random(shape) < 0.003, 30.0, 0.0),
        cover_frac=cover,
        crop_factor=0.8 * cover,
        root_depth_mm=np.full(shape, 500.0),
    )
    which = np.arange(n_members) % 2
    state = soil_column.initial_state(parameters, 0.6, 0.0, 9.0)
    ran = soil_column.run_columns(
        parameters,
        forcing,
        history,
        state,
        series_of=which,
        history_of=which,
        tolerance=soil_column.ENSEMBLE_TOLERANCE,
        n_stored_layers=1,
    )
    assert ran.residual_mm[:, 0].max() <= 1e-9
    assert ran.residual_mm[:, 1].max() <= 1e-7

    def held_mm(at: soil_column.ColumnState) -> Array:
        layers = at.saturation_frac @ np.asarray(soil_column.LAYERS_MM)
        return np.asarray(layers * table[:, 0] + at.surface[:, :3].sum(axis=1))

    came = (forcing.rain_mm + history.water_mm).sum(axis=1)[which]
    went = ran.totals_mm[:, 1:6].sum(axis=1)
    assert_allclose(ran.totals_mm[:, 0], came, rtol=1e-12, atol=0.0)
    # the sums of a year carry round-off of their own size
    assert_allclose(came - went, held_mm(ran.state) - held_mm(state), rtol=0.0, atol=1e-7)


def test_t6_steady_rain_holds_a_steady_profile() -> None:
    """Rain at the rate the column passes by gravity leaves every layer as it is."""
    s = twin_soil("loam", 0.5)
    relative = 0.75
    rate = float(twin.conductivity_mm_h(s, relative) + twin.structural_flow_mm_h(s, relative))
    assert rate > 0.05
    ran = run(s, weather(np.full(48, rate), 0.0), relative, soil_column.REFERENCE_TOLERANCE)
    assert_allclose(ran.theta_m3m3[0], relative * s["theta_sat"], rtol=1e-6, atol=0.0)


@pytest.mark.parametrize("name", sorted(CLASSES))
def test_anchoring_meets_target_and_noted_factor(name: str) -> None:
    """Target U + Tr sqrt(10 - U / 5.75); factors as in the evidence note, two digits printed."""
    s = anchored(name, 10.0)
    target = twin.two_stage_target_mm(*CLASSES[name][:2])
    lost = soil_column.ten_day_evaporation_mm(column(s))[0]
    assert_allclose(lost, target, rtol=0.0, atol=0.05)
    if name in PRINTED_10_KPA:
        assert_allclose(s["k_factor"], PRINTED_10_KPA[name], rtol=0.10, atol=0.0)
    assert_allclose(twin.ten_day_evaporation_mm(s)[-1], target, rtol=0.0, atol=0.5)


@pytest.mark.parametrize("name", ["loam", "silt loam", "clay loam"])
def test_t7_t8_two_stages(name: str) -> None:
    """Sums of 5, 10, 20 d within Ritchie, FAO-56 and AquaCrop (loam); late drying goes by sqrt(t).

    The slope itself is not asserted: anchored to the sum of both stages, sum E over sqrt(t) rises
    by 5.9 to 6.5 mm d^-1/2 against Tr 3.9 to 4.2, because the column's first stage is shorter.
    """
    s = anchored(name, 10.0)
    rain = np.zeros(21 * 24)
    demand = np.where(np.arange(rain.size) < 24, 0.0, 5.75 / 24.0)
    ran = run(s, weather(rain, demand), 0.98, tolerance=(0.01, 0.1, 0.05))
    by_day = np.cumsum(ran.evaporation_mm[0].astype(float))[23::24]
    by_day -= by_day[0]
    root = np.sqrt(np.arange(4, 21))
    assert np.corrcoef(root, by_day[4:])[0, 1] ** 2 > 0.99
    sand, clay = CLASSES[name][:2]
    slope = 4.165 + 0.02456 * sand - 0.01703 * clay - 0.0004 * sand**2
    first = 9.0 * (slope - 3.0) ** 0.42
    assert_allclose(by_day[20], first + slope * np.sqrt(20.0 - first / 5.75), rtol=0.12, atol=0.0)
    if name == "loam":
        assert 12.0 < by_day[5] < 21.0
        assert 16.0 < by_day[10] < 25.0
        assert 20.0 < by_day[20] < 31.0


def test_t10_heat_wave_fades_as_the_closed_form() -> None:
    """Amplitude exp(-z/d) within 2 % down to 10 cm, lag within 0.2 h, d = sqrt(2 kappa / omega)."""
    s = {**twin_soil("loam"), "k_factor": 1e-6, "k_sat": 1e-3}  # water stays where it is
    n_hours = 40 * 24
    hour = np.arange(n_hours) + 0.5
    sun = 1.0 + np.sin((hour - 6.0) / 12.0 * np.pi)
    air = 15.0 + 8.0 * np.sin((hour - 9.0) / 12.0 * np.pi)
    parameters = column(s)
    for relative in (0.2, 0.35, 0.6):
        ran = soil_column.run_columns(
            parameters,
            weather(np.zeros(n_hours), 0.0, air_temp_c=air, solar_mj_m2=sun),
            soil_column.bare_surface(n_hours),
            soil_column.initial_state(parameters, relative, 20.0, 20.0),
        )
        theta = relative * s["theta_sat"]
        assert_allclose(ran.theta_m3m3[0, -1], theta, rtol=1e-3, atol=0.0)
        kappa = twin.thermal_conductivity_w_mk(theta, 1.3, 0.2) / twin.heat_capacity_j_m3k(
            theta, 1.3
        )
        damping_mm = 1000.0 * np.sqrt(2.0 * kappa * 86400.0 / (2.0 * np.pi))
        turn = np.exp(-2j * np.pi * np.arange(120) / 24.0)
        wave = (ran.temp_c[0, -120:].astype(float) * turn[:, None]).mean(axis=0)
        thickness = np.asarray(soil_column.LAYERS_MM)
        depth = np.cumsum(thickness) - thickness / 2.0
        below = (depth - depth[0])[1:8] / damping_mm
        assert_allclose(np.abs(wave[1:8] / wave[0]), np.exp(-below), rtol=0.02, atol=0.0)
        lag_h = -np.angle(wave[1:8] / wave[0]) / (2.0 * np.pi) * 24.0
        assert_allclose(lag_h, below / (2.0 * np.pi) * 24.0, rtol=0.0, atol=0.2)


@pytest.mark.parametrize(("name", "relative", "albedo"), [("dry", 0.15, 0.24), ("wet", 0.8, 0.14)])
def test_clear_summer_days_agree_with_the_twin(name: str, relative: float, albedo: float) -> None:
    """45 N, 21 June, 12 to 24 C, wind 2 m/s: skin balance solved apart.

    Both use Brutsaert's sky and a Richardson factor, but not each other's choice of emissivity,
    floor of the calm-night factor and albedo in between: 1.5 C is what such choices are worth.
    """
    s = twin_soil("loam")
    if name == "dry":
        s["k_sat"] = 1e-3
    n_hours = 8 * 24
    hour = np.arange(n_hours) % 24 + 0.5
    air = np.interp(hour, [-9.0, 4.5, 15.0, 28.5], [24.0, 12.0, 24.0, 12.0])
    vapour = 0.6108 * np.exp(17.27 * 12.0 / (12.0 + 237.3))
    humidity = np.minimum(vapour / (0.6108 * np.exp(17.27 * air / (air + 237.3))), 1.0)
    latitude, declination = np.radians(45.0), 0.409
    height = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.cos(np.pi / 12.0 * (hour - 12.0))
    height = np.maximum(height, 0.0)
    sun = height / height[:24].sum() * 31.3  # MJ/m2, clear sky (FAO-56 Eq. 37)
    demand = 0.235 * sun if name == "wet" else 0.0 * sun
    parameters = column(s)
    ran = soil_column.run_columns(
        parameters,
        weather(np.zeros(n_hours), demand, humidity, air, sun),
        soil_column.bare_surface(n_hours),
        soil_column.initial_state(parameters, relative, 19.0, 19.0),
    )
    theta = ran.theta_m3m3[0].astype(float).mean(axis=0)
    deep = np.full(len(soil_column.HEAT_ONLY_LAYERS_MM), theta[-1])
    thickness = np.concatenate((soil_column.LAYERS_MM, soil_column.HEAT_ONLY_LAYERS_MM))
    path = twin.bare_soil_heat(
        np.full(thickness.size, 19.0),
        np.concatenate((theta, deep)),
        1.3,
        0.2,
        thickness,
        albedo,
        sun / 0.0036,
        air,
        humidity,
        np.full(n_hours, 2.0),
        ran.evaporation_mm[0].astype(float),
    )
    day = slice(-24, None)
    at_2cm, at_5cm = 2, 5  # layers 15-25 and 60-80 mm
    for layer in (at_2cm, at_5cm):
        gap = ran.temp_c[0, day, layer] - path["layers"][day, layer]
        assert np.sqrt(np.mean(gap**2)) < 1.5
    gap = ran.skin_temp_c[0, day] - path["skin"][day]
    assert np.sqrt(np.mean(gap**2)) < 1.5


def test_t11_more_rain_never_leaves_a_layer_drier() -> None:
    rain, demand = wet_and_dry_days()
    s = twin_soil("loam")
    tolerance = (0.0025, 0.03, 0.0125)
    less = run(s, weather(rain, demand), 0.5, tolerance).theta_m3m3[0]
    for more in (1.3 * rain, rain + np.where(np.arange(rain.size) == 100, 6.0, 0.0)):
        # sub-steps of this length are good to 2e-3 (see above)
        assert np.min(run(s, weather(more, demand), 0.5, tolerance).theta_m3m3[0] - less) > -2e-3


def test_t11_a_pass_saves_water_after_the_first_day() -> None:
    s = twin_soil("loam")
    n_hours = 20 * 24
    forcing = weather(np.zeros(n_hours), 5.75 * daylight(n_hours))
    history = soil_column.bare_surface(n_hours)
    loosened = history.loosened_mm.copy()
    loosened[0, 72] = 25.0
    left = run(s, forcing, 0.8, (0.01, 0.1, 0.05)).evaporation_mm[0]
    stirred = run(s, forcing, 0.8, (0.01, 0.1, 0.05), replace(history, loosened_mm=loosened))
    after = stirred.evaporation_mm[0]
    assert after[96:].sum() < left[96:].sum()
    saved_frac = 1.0 - after[72:].sum() / left[72:].sum()
    # measured mulch savings 13 to 55 % (evidence, section 7)
    assert 0.13 < saved_frac < 0.55


# ------------------------------------------------------------------ when beds dry


def hours_until(values: Array, limit: float, from_hour: int) -> float:
    below = np.flatnonzero(values[from_hour:] < limit)
    return float(below[0] + 1) if below.size else np.inf


# texture, drained at kPa, working threshold kPa, ET0 mm/d, hours 0-3 cm, hours 5-10 cm
BARE_BEDS = [
    ("sandy loam", 8.0, 12.0, 3.0, 27.0, 39.0),
    ("sandy loam", 8.0, 12.0, 6.0, 7.0, 27.0),
    ("loam", 11.0, 25.0, 3.0, 29.0, 57.0),
    ("loam", 11.0, 25.0, 6.0, 7.0, 42.0),
    ("silt loam", 16.0, 25.0, 3.0, 28.0, 42.0),
    ("silt loam", 16.0, 25.0, 6.0, 6.0, 30.0),
    ("clay loam", 20.0, 35.0, 3.0, 28.0, 50.0),
    ("clay loam", 20.0, 35.0, 6.0, 6.0, 36.0),
]


@pytest.mark.parametrize(("name", "drained", "fit", "et0", "hoe_h", "wheel_h"), BARE_BEDS)
def test_bare_bed_hours(
    name: str, drained: float, fit: float, et0: float, hoe_h: float, wheel_h: float
) -> None:
    """Hours from the end of 20 mm (0-6 h) to the working threshold, within a day of the note.

    Evidence on measured series, section 7, column in bold; start 0.85 theta_33, K_e 1.05.
    """
    s = anchored(name, drained, demand_factor=1.05)
    rain = np.where(np.arange(240) < 6, 20.0 / 6.0, 0.0)
    start = 0.85 * s["theta_33"] / s["theta_sat"]
    forcing = weather(rain, et0 * daylight(240))
    ran = run(s, forcing, start, soil_column.REFERENCE_TOLERANCE, demand_factor=1.05)
    limit = s["theta_33"] * (33.0 / fit) ** (1.0 / s["b"])
    theta = ran.theta_m3m3[0].astype(float)
    assert abs(hours_until(theta @ soil_column.band_weights(0.0, 30.0), limit, 6) - hoe_h) <= 24.0
    wheel = hours_until(theta @ soil_column.band_weights(50.0, 100.0), limit, 6)
    assert abs(wheel - wheel_h) <= 24.0


# texture, matrix factor, days to 0.9 theta_33 in 0-25 mm at Ep 2, 4, 6 mm/d
DRYING_DAYS = [
    ("loam", 0.075, (2.6, 1.5, 0.6)),
    ("sandy loam", 3.2, (2.5, 1.5, 0.6)),
    ("silt loam", 0.014, (1.7, 1.4, 0.5)),
    ("clay loam", 0.097, (1.6, 0.6, 0.5)),
]


@pytest.mark.parametrize(("name", "factor", "days"), DRYING_DAYS)
def test_t12_days_to_dry_the_top(name: str, factor: float, days: tuple[float, ...]) -> None:
    """20 mm in 6 h without macropores, start 0.8 theta_33: within a day of the note's first column.

    A regression figure of an earlier formulation (no vapour), not truth.
    """
    s = twin_soil(name, 1.0, 0.1)  # macropores empty into the matrix only when it is all but full
    s["k_sat"] *= factor
    rain = np.where(np.arange(192) < 6, 20.0 / 6.0, 0.0)
    for demand, expected in zip((2.0, 4.0, 6.0), days, strict=True):
        forcing = weather(rain, demand * daylight(192))
        start = 0.8 * s["theta_33"] / s["theta_sat"]
        ran = run(s, forcing, start, soil_column.REFERENCE_TOLERANCE)
        top = ran.theta_m3m3[0].astype(float) @ soil_column.band_weights(0.0, 25.0)
        assert abs(hours_until(top, 0.9 * s["theta_33"], 6) / 24.0 - expected) <= 1.0
