"""The soil column once more, slowly: the same equations, another road to the numbers.

The balance of every layer is written down as an ordinary differential equation (time continuous,
nothing linearised, no splitting) and handed to an error-controlled stiff integrator with a tight
tolerance. Nothing here is shared with `scheduler.models`. Lengths are mm, time is h, suction is
positive (mm of water), flux is positive downwards.

A soil is a plain dict with the keys of `SOIL_KEYS`; the forcing of one hour is a plain dict with
the keys of `HOUR_KEYS`. See `soil` and `hour` for their defaults.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

Array = NDArray[np.float64]

THICKNESS_MM = np.array(
    [5.0, 10.0, 10.0, 15.0, 20.0, 20.0, 25.0, 35.0, 60.0, 100.0, 150.0, 200.0, 250.0]
)
MM_WATER_PER_KPA = 101.97
KELVIN_PER_MM = 0.018015 * 9.80665 / (8.314 * 293.15) / 1000.0  # M g / (R T) at 20 C, per mm
VAPOUR_TORTUOSITY = 0.66
AIR_DIFFUSIVITY_M2_H = 0.09
SATURATED_VAPOUR_KG_M3 = 0.0173
STORE_MM = 3.0  # what a tilled surface holds before water runs off
POND_H = 1e-3  # how fast standing water may enter when the soil could take more
SOIL_KEYS = ("theta_sat", "theta_33", "theta_1500", "b", "k_sat", "k_factor", "drainage_kpa")
HOUR_KEYS = ("rain", "demand", "humidity", "uptake", "conductivity")


# ------------------------------------------------------------------ what a soil and an hour are


def soil(
    theta_sat: float,
    theta_33: float,
    theta_1500: float,
    k_sat: float,
    k_factor: float = 1.0,
    drainage_kpa: float = 10.0,
    b: float | None = None,
) -> dict[str, float]:
    """A soil; B follows from the two points of the curve unless it is given."""
    if b is None:
        b = (np.log(1500.0) - np.log(33.0)) / (np.log(theta_33) - np.log(theta_1500))
    return {
        "theta_sat": theta_sat,
        "theta_33": theta_33,
        "theta_1500": theta_1500,
        "b": float(b),
        "k_sat": k_sat,
        "k_factor": k_factor,
        "drainage_kpa": drainage_kpa,
    }


def hour(
    rain: float = 0.0,
    demand: float = 0.0,
    humidity: float = 0.6,
    uptake: Array | None = None,
    conductivity: Array | None = None,
    n_layers: int = THICKNESS_MM.size,
) -> dict[str, Any]:
    """One hour: rain and evaporative demand in mm, unstressed uptake of each layer in mm."""
    return {
        "rain": rain,
        "demand": demand,
        "humidity": humidity,
        "uptake": np.zeros(n_layers) if uptake is None else uptake,
        "conductivity": np.ones(n_layers) if conductivity is None else conductivity,
    }


# ------------------------------------------------------------------ curves of one soil


def air_entry_mm(s: dict[str, float]) -> float:
    """h_e = 33 kPa (theta_s / theta_33)^-B, as mm of water."""
    return 33.0 * MM_WATER_PER_KPA * (s["theta_sat"] / s["theta_33"]) ** (-s["b"])


def suction_mm(s: dict[str, float], relative: Array | float) -> Any:
    """h = h_e S^-B."""
    return air_entry_mm(s) * np.asarray(relative) ** (-s["b"])


def conductivity_mm_h(s: dict[str, float], relative: Array | float) -> Any:
    """K = k_m Ks S^(2B + 3)."""
    return s["k_factor"] * s["k_sat"] * np.asarray(relative) ** (2.0 * s["b"] + 3.0)


def flux_potential(s: dict[str, float], relative: Array | float) -> Any:
    """Kirchhoff: phi = B h_e k_m Ks / (B + 3) S^(B + 3), the integral of K over -h."""
    b = s["b"]
    top = b * air_entry_mm(s) * s["k_factor"] * s["k_sat"] / (b + 3.0)
    return top * np.asarray(relative) ** (b + 3.0)


def drained_relative(s: dict[str, float]) -> float:
    """S_d = (theta_33 / theta_s) (33 / psi_d)^(1/B), at most 0.97."""
    ratio = s["theta_33"] / s["theta_sat"]
    return float(min(0.97, ratio * (33.0 / s["drainage_kpa"]) ** (1.0 / s["b"])))


def structural_mm_h(s: dict[str, float]) -> float:
    """K_st: the macropores carry Ks when full, whatever the matrix carries."""
    return s["k_sat"]


def structural_flow_mm_h(s: dict[str, float], relative: Array | float) -> Any:
    """K_st u^3 with u the share of the way from the drained to the full state."""
    drained = drained_relative(s)
    u = np.clip((np.asarray(relative) - drained) / (1.0 - drained), 0.0, 1.0)
    return structural_mm_h(s) * u**3


def pore_humidity(s: dict[str, float], relative: Array | float) -> Any:
    """Kelvin: relative humidity of the air between the grains."""
    return np.exp(-KELVIN_PER_MM * suction_mm(s, relative))


def stress(s: dict[str, float], theta: Array) -> Array:
    """0 at theta_1500, 1 from half way to theta_33."""
    width = 0.5 * (s["theta_33"] - s["theta_1500"])
    return np.asarray(np.clip((theta - s["theta_1500"]) / width, 0.0, 1.0))


# ------------------------------------------------------------------ rates of the whole column


def interface_flow_mm_h(
    s: dict[str, float], theta: Array, factor: Array, thickness: Array
) -> Array:
    """Flow between neighbours: capillary in series, gravity, macropores, vapour."""
    relative = theta / s["theta_sat"]
    potential = flux_potential(s, relative)
    resistance = thickness / (2.0 * factor)
    capillary = (potential[:-1] - potential[1:]) / (resistance[:-1] + resistance[1:])
    narrow = np.minimum(factor[:-1], factor[1:])
    gravity = narrow * conductivity_mm_h(s, relative[:-1])
    macropores = structural_flow_mm_h(s, relative[:-1])
    air_filled = s["theta_sat"] - 0.5 * (theta[:-1] + theta[1:])
    centre_m = 0.5 * (thickness[:-1] + thickness[1:]) / 1000.0
    humid = pore_humidity(s, relative)
    vapour = (
        VAPOUR_TORTUOSITY
        * AIR_DIFFUSIVITY_M2_H
        * air_filled
        * SATURATED_VAPOUR_KG_M3
        * (humid[:-1] - humid[1:])
        / centre_m
    )
    return np.asarray(capillary + gravity + macropores + vapour)


def infiltration_limit_mm_h(
    s: dict[str, float], theta_top: float, factor_top: float, thickness_top: float
) -> float:
    """What a wet surface can take in."""
    top = flux_potential(s, theta_top / s["theta_sat"])
    pull = (flux_potential(s, 1.0) - top) / (thickness_top / 2.0)
    wet = s["k_factor"] * s["k_sat"] + structural_mm_h(s)
    return float(factor_top * (pull + wet))


def evaporation_mm_h(s: dict[str, float], theta_top: float, demand: float, ha: float) -> float:
    """E = Ep (h_r - h_a) / (1 - h_a), never dew."""
    humid = pore_humidity(s, theta_top / s["theta_sat"])
    return float(max(0.0, demand * (humid - ha) / (1.0 - ha)))


def rates(
    s: dict[str, float], water: Array, store: float, now: dict[str, Any], thickness: Array
) -> dict[str, Any]:
    """Every flow at this moment, mm/h; `water` is mm in each layer."""
    theta = np.clip(water / thickness, 1e-4, s["theta_sat"])
    factor = now["conductivity"]
    limit = infiltration_limit_mm_h(s, theta[0], factor[0], thickness[0])
    infiltration = min(now["rain"] + max(store, 0.0) / POND_H, limit)
    runoff = max(store - STORE_MM, 0.0) / POND_H
    evaporation = evaporation_mm_h(s, theta[0], now["demand"], now["humidity"])
    between = interface_flow_mm_h(s, theta, factor, thickness)
    uptake = now["uptake"] * stress(s, theta)
    last = theta[-1] / s["theta_sat"]
    drainage = float(factor[-1] * conductivity_mm_h(s, last) + structural_flow_mm_h(s, last))
    inflow = np.concatenate(([infiltration - evaporation], between))
    outflow = np.concatenate((between, [drainage]))
    return {
        "layers": inflow - outflow - uptake,
        "store": now["rain"] - infiltration - runoff,
        "infiltration": infiltration,
        "evaporation": evaporation,
        "transpiration": float(uptake.sum()),
        "drainage": drainage,
        "runoff": runoff,
    }


SUMS = ("infiltration", "evaporation", "transpiration", "runoff", "drainage")


def run(
    s: dict[str, float],
    theta_start: Array | float,
    hours: list[dict[str, Any]],
    thickness: Array = THICKNESS_MM,
    hours_each: float = 1.0,
    store_start: float = 0.0,
    tolerance: float = 1e-7,
) -> dict[str, Array]:
    """Integrate; each element of `hours` holds for `hours_each`.

    Returns `theta` (n_hours + 1, n_layers) at the ends of the steps, first row the start,
    `store` (n_hours + 1,), and the running sums of `SUMS` in mm, (n_hours + 1,) each.
    """
    n = thickness.size
    water = np.broadcast_to(np.asarray(theta_start, dtype=float), (n,)) * thickness
    # order of the unknowns: sums that hang on the top, store, layers, drainage: a narrow band
    state = np.concatenate((np.zeros(4), [store_start], water, [0.0]))
    rows = [state]

    for now in hours:

        def change(_: float, y: Array, now: dict[str, Any] = now) -> Array:
            r = rates(s, y[5 : 5 + n], float(y[4]), now, thickness)
            head = [r[name] for name in SUMS[:4]]
            return np.concatenate((head, [r["store"]], r["layers"], [r["drainage"]]))

        wet = now["rain"] > 0.0 or state[4] > 1e-9
        answer = solve_ivp(
            change,
            (0.0, hours_each),
            state,
            method="LSODA",
            rtol=tolerance,
            atol=tolerance,
            lband=2,
            uband=5,
            first_step=1e-5 if wet else None,
        )
        if not answer.success:
            raise ArithmeticError(f"the integrator gave up: {answer.message}")
        state = answer.y[:, -1]
        rows.append(state)

    path = np.array(rows)
    out = {name: path[:, i] for i, name in enumerate(SUMS[:4])}
    out["store"] = path[:, 4]
    out["theta"] = path[:, 5 : 5 + n] / thickness
    out["drainage"] = path[:, -1]
    return out


def layer_mean(values: Array, top_mm: float, base_mm: float) -> Any:
    """Mean between two depths by exact overlap; the last axis is the layers."""
    edge = np.concatenate(([0.0], np.cumsum(THICKNESS_MM)))
    share = np.clip(np.minimum(edge[1:], base_mm) - np.maximum(edge[:-1], top_mm), 0.0, None)
    return values @ (share / share.sum())


def root_share(depth_mm: float = 600.0, e_fold_mm: float = 300.0) -> Array:
    """Share of the roots in each layer: exponential with depth, cut at `depth_mm`."""
    edge = np.minimum(np.concatenate(([0.0], np.cumsum(THICKNESS_MM))), depth_mm)
    kept = np.exp(-edge / e_fold_mm)
    share = kept[:-1] - kept[1:]
    return np.asarray(share / share.sum())


# ------------------------------------------------------------------ two-stage evaporation


def two_stage_target_mm(sand_pct: float, clay_pct: float, demand_mm_d: float = 5.75) -> float:
    """E10 = U + Tr sqrt(10 - U / demand), U and Tr from sand and clay."""
    rate = 4.165 + 0.02456 * sand_pct - 0.01703 * clay_pct - 0.0004 * sand_pct**2
    first = 9.0 * max(rate - 3.0, 0.0) ** 0.42
    return float(first + rate * np.sqrt(10.0 - first / demand_mm_d))


def ten_day_evaporation_mm(
    s: dict[str, float], demand_mm_d: float = 5.75, humidity: float = 0.6, days: int = 10
) -> Array:
    """Running sum by day: 98 % full, a day of drainage, then `days` of constant demand."""
    drained = run(s, 0.98 * s["theta_sat"], [hour()], hours_each=24.0)["theta"][-1]
    dry = [hour(demand=demand_mm_d / 24.0, humidity=humidity)] * days
    return run(s, drained, dry, hours_each=24.0)["evaporation"]


# ------------------------------------------------------------------ heat


def thermal_conductivity_w_mk(theta: Any, density: float, clay: float) -> Any:
    """Campbell 1985 in bulk density (g/cm3) and clay fraction."""
    a = 0.65 - 0.78 * density + 0.60 * density**2
    b = 1.06 * density
    c = 1.0 + 2.6 / np.sqrt(clay)
    d = 0.03 + 0.1 * density**2
    return a + b * theta - (a - d) * np.exp(-((c * theta) ** 4))


def heat_capacity_j_m3k(theta: Any, density: float) -> Any:
    """Minerals and water."""
    return 2.4e6 * density / 2.65 + 4.18e6 * theta


def conduct(
    temp_start: Array,
    surface_temp: Any,
    theta: Array,
    density: float,
    clay: float,
    thickness: Array,
    times_h: Array,
) -> Array:
    """Temperatures of the layers at `times_h` under a given surface temperature (function of h)."""
    conduct_w = thermal_conductivity_w_mk(theta, density, clay)
    capacity = heat_capacity_j_m3k(theta, density) * thickness / 1000.0
    half = thickness / 2000.0 / conduct_w

    def change(t: float, temp: Array) -> Array:
        down = (temp[:-1] - temp[1:]) / (half[:-1] + half[1:])
        top = (surface_temp(t) - temp[0]) / half[0]
        flow_in = np.concatenate(([top], down))
        flow_out = np.concatenate((down, [0.0]))
        return np.asarray((flow_in - flow_out) * 3600.0 / capacity)

    answer = solve_ivp(
        change,
        (float(times_h[0]), float(times_h[-1])),
        temp_start,
        method="LSODA",
        t_eval=times_h,
        rtol=1e-8,
        atol=1e-8,
        lband=1,
        uband=1,
        max_step=0.5,
    )
    if not answer.success:
        raise ArithmeticError(f"the integrator gave up: {answer.message}")
    return np.asarray(answer.y.T)


STEFAN_BOLTZMANN = 5.67e-8
LATENT_J_KG = 2.45e6
AIR_HEAT_J_M3K = 1.2 * 1005.0
ROUGHNESS_M = 0.01
REFERENCE_HEIGHT_M = 2.0
STABLE_FLOOR = 0.25
EMISSIVITY = 0.97


def clear_sky_long_wave_w_m2(air_temp_c: float, humidity: float) -> float:
    """Brutsaert: 1.24 (e / T)^(1/7) sigma T^4, e in hPa, T in K."""
    kelvin = air_temp_c + 273.15
    vapour = humidity * 6.108 * np.exp(17.27 * air_temp_c / (air_temp_c + 237.3))
    return float(1.24 * (vapour / kelvin) ** (1.0 / 7.0) * STEFAN_BOLTZMANN * kelvin**4)


def sensible_w_m2(skin_c: float, air_c: float, wind_m_s: float) -> float:
    """Log profile between the bare surface and 2 m, with a Richardson factor.

    (1 - 5 Ri)^0.75 when the ground is warmer, 1 / (1 + 5 Ri)^2 with a floor when it is colder.
    """
    neutral = 0.41**2 * wind_m_s / np.log(REFERENCE_HEIGHT_M / ROUGHNESS_M) ** 2
    richardson = 9.81 * REFERENCE_HEIGHT_M * (air_c - skin_c) / ((air_c + 273.15) * wind_m_s**2)
    if richardson > 0.0:
        factor = max(1.0 / (1.0 + 5.0 * richardson) ** 2, STABLE_FLOOR)
    else:
        factor = (1.0 - 5.0 * richardson) ** 0.75
    return float(AIR_HEAT_J_M3K * neutral * factor * (skin_c - air_c))


def bare_soil_heat(
    temp_start: Array,
    theta: Array,
    density: float,
    clay: float,
    thickness: Array,
    albedo: float,
    solar_w_m2: Array,
    air_temp_c: Array,
    humidity: Array,
    wind_m_s: Array,
    evaporation_mm_h: Array,
) -> dict[str, Array]:
    """Clear-sky days over bare soil of unchanging wetness.

    Skin: (1 - a) Rs + Ld - sigma T^4 - H - LE - G = 0, solved by bracketing at every moment;
    layers: conduction as in `conduct`. Returns `skin` and `layers` at the ends of the hours.
    """
    conduct_w = thermal_conductivity_w_mk(theta, density, clay)
    capacity = heat_capacity_j_m3k(theta, density) * thickness / 1000.0
    half = thickness / 2000.0 / conduct_w
    temp = np.array(temp_start, dtype=float)
    skins, layers = [], []
    for i in range(solar_w_m2.size):
        down = clear_sky_long_wave_w_m2(float(air_temp_c[i]), float(humidity[i]))
        given = (1.0 - albedo) * solar_w_m2[i] + EMISSIVITY * down
        given -= evaporation_mm_h[i] * LATENT_J_KG / 3600.0

        def skin_of(top: float, given: float = given, i: int = i) -> float:
            def surplus(skin: float) -> float:
                return float(
                    given
                    - EMISSIVITY * STEFAN_BOLTZMANN * (skin + 273.15) ** 4
                    - sensible_w_m2(skin, float(air_temp_c[i]), float(wind_m_s[i]))
                    - (skin - top) / half[0]
                )

            return float(brentq(surplus, -60.0, 90.0, xtol=1e-6))

        def change(_: float, state: Array, skin_of: Any = skin_of) -> Array:
            between = (state[:-1] - state[1:]) / (half[:-1] + half[1:])
            top = (skin_of(float(state[0])) - state[0]) / half[0]
            into = np.concatenate(([top], between))
            out = np.concatenate((between, [0.0]))
            return np.asarray((into - out) * 3600.0 / capacity)

        answer = solve_ivp(
            change, (0.0, 1.0), temp, method="LSODA", rtol=1e-5, atol=1e-4, lband=1, uband=1
        )
        temp = answer.y[:, -1]
        layers.append(temp)
        skins.append(skin_of(float(temp[0])))
    return {"skin": np.array(skins), "layers": np.array(layers)}
