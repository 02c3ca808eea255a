"""The compiled kernel of the soil column: water and heat, one column at a time.

Water (all mm and h): power-law retention h = h_e S^-B and conductivity K = f k_m Ks S^(2B+3), so
that the Kirchhoff potential has a closed form. Flux between layers by resistances in series (the
potential is discontinuous where a crust or a loosened layer changes K), gravity upstream, a cubic
macropore drainage term above the drained state, vapour by Kelvin humidity. Linearised fully
implicit in S without iteration (after Ross 2003); the linearised fluxes are booked as the fluxes,
so mass closes to round-off. Heat: skin energy balance and conduction, second order and L-stable
in two implicit stages (SDIRK2), because a 5 mm layer is too stiff for an hourly Crank-Nicolson
step. Formulas and their sources: `scheduler.models.soil_column`.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np

from scheduler.models.soil_column.grid import HEAT_ONLY_LAYERS_MM, LAYERS_MM

_N = len(LAYERS_MM)
_NH = _N + len(HEAT_ONLY_LAYERS_MM)
_DZ = np.array(LAYERS_MM)
_DZ_HEAT_M = np.array(LAYERS_MM + HEAT_ONLY_LAYERS_MM) / 1000.0
_EDGE = np.concatenate((np.zeros(1), np.cumsum(np.array(LAYERS_MM))))

_KELVIN_PER_MM = 0.018015 * 9.80665 / (8.314 * 293.15) / 1000.0 * 1.0  # 1/mm at 20 C
_VAPOUR = 0.66 * 0.09 * 0.0173  # tortuosity, m2/h, kg/m3 (soil_measured 3.5)
_CRUST_MM = 5.0
_CRUST_FLOOR = 0.7  # a full crust takes this share of the top layer's conductivity
_CRUST_DECAY_D = 45.0
_SPRINKLER_J_M2_MM = 10.0
_LOOSE_FACTOR = 0.25  # conductivity of a freshly loosened layer
_SETTLING_MM = 25.0  # e-fold of rain that settles it
_PONDING_MM = 3.0
_INTERCEPTION_MM = 1.5
_SHADE = 0.85
_ROOT_EFOLD_MM = 300.0
_STRESS_RANGE = 0.5  # of the water between wilting and 33 kPa, in which uptake falls
_SHOOT_STOP_KPA = 1500.0
_DRYING_KPA = 1500.0  # threads begin to die, and by this much more die at the full rate
_DRYING_RANGE_KPA = 1000.0
_LATENT_W_PER_MM_H = 2.45e6 / 3600.0
_FUSION_J_MM = 3.34e5
_SIGMA = 5.67e-8
_DRAIN_SLACK = 0.002  # change of saturation that is always allowed
_GAMMA = 1.0 - 1.0 / math.sqrt(2.0)

_jit = nb.njit(cache=True, fastmath=False, error_model="numpy")


@_jit
def _tridiagonal(lower, diag, upper, rhs, out, n):  # type: ignore[no-untyped-def]
    """Thomas algorithm; `diag` and `rhs` are overwritten."""
    for i in range(1, n):
        w = lower[i] / diag[i - 1]
        diag[i] -= w * upper[i - 1]
        rhs[i] -= w * rhs[i - 1]
    out[n - 1] = rhs[n - 1] / diag[n - 1]
    for i in range(n - 2, -1, -1):
        out[i] = (rhs[i] - upper[i] * out[i + 1]) / diag[i]


@_jit
def _water_hour(  # type: ignore[no-untyped-def]
    s,
    surface,
    par,
    factor,
    rate_in,
    demand,
    humidity,
    uptake,
    ds_max,
    drop_max,
    drain_max,
    work,
    flux,
):
    """Advance the water of one column by one hour.

    `s` (13) is changed in place; `rate_in` mm/h reaches the surface; `demand` mm/h is the
    potential evaporation; `uptake` (13) the transpiration demand by layer in mm/h before stress;
    `flux` receives infiltration, evaporation, drainage, run-off, transpiration [mm].
    Returns the number of sub-steps.
    """
    th_s, th_33, th_1500, b, ks, km, psi_d = par[0], par[1], par[2], par[3], par[4], par[5], par[6]
    he = 33.0 * (th_s / th_33) ** (-b) * 101.97
    s_33 = th_33 / th_s
    s_wilt = th_1500 / th_s
    s_d = min(s_33 * (33.0 / psi_d) ** (1.0 / b), 0.97)
    k_m = km * ks
    k_st = ks
    kirchhoff = b * he * k_m / (b + 3.0)
    phi_sat = kirchhoff
    s_stress = s_wilt + _STRESS_RANGE * (s_33 - s_wilt)

    phi, dphi, grav, dgrav, hr, dhr = work[0], work[1], work[2], work[3], work[4], work[5]
    lower, diag, upper, rhs, ds = work[6], work[7], work[8], work[9], work[10]
    q, dq_up, dq_dn, sink = work[11], work[12], work[13], work[14]
    for i in range(5):
        flux[i] = 0.0
    t = 0.0
    dt = 1.0
    n_sub = 0
    pond = surface[0]
    while t < 1.0 - 1e-12:
        dt = min(dt, 1.0 - t)
        for i in range(_N):
            p = s[i] ** (-b)
            h = he * p
            s3 = s[i] * s[i] * s[i]
            phi[i] = kirchhoff * s3 / p
            dphi[i] = (b + 3.0) * phi[i] / s[i]
            k_i = k_m * s3 / (p * p)
            u = (s[i] - s_d) / (1.0 - s_d)
            if u < 0.0:
                u = 0.0
            elif u > 1.0:
                u = 1.0
            grav[i] = k_i
            dgrav[i] = (2.0 * b + 3.0) * k_i / s[i]
            rhs[i] = k_st * u * u * u  # macropore drainage, kept here for the moment
            upper[i] = 3.0 * k_st * u * u / (1.0 - s_d)
            x = _KELVIN_PER_MM * h
            hr[i] = math.exp(-x) if x < 50.0 else 0.0
            dhr[i] = hr[i] * x * b / s[i]
            r = (s[i] - s_wilt) / (s_stress - s_wilt)
            if r < 0.0:
                r = 0.0
            elif r > 1.0:
                r = 1.0
            sink[i] = uptake[i] * r
        for i in range(_N - 1):
            c = 1.0 / (_DZ[i] / (2.0 * factor[i]) + _DZ[i + 1] / (2.0 * factor[i + 1]))
            f = min(factor[i], factor[i + 1])
            air = th_s * (1.0 - 0.5 * (s[i] + s[i + 1]))
            v = _VAPOUR * max(air, 0.0) / (0.0005 * (_DZ[i] + _DZ[i + 1]))
            q[i] = c * (phi[i] - phi[i + 1]) + f * grav[i] + rhs[i] + v * (hr[i] - hr[i + 1])
            dq_up[i] = c * dphi[i] + f * dgrav[i] + upper[i] + v * dhr[i]
            dq_dn[i] = -c * dphi[i + 1] - v * dhr[i + 1]
        q[_N - 1] = grav[_N - 1] + rhs[_N - 1]
        dq_up[_N - 1] = dgrav[_N - 1] + upper[_N - 1]
        dq_dn[_N - 1] = 0.0

        i_max = factor[0] * ((phi_sat - phi[0]) / (0.5 * _DZ[0]) + k_m + k_st)
        di_max = -factor[0] * dphi[0] / (0.5 * _DZ[0])
        e_pot = 0.0
        de_pot = 0.0
        if demand > 0.0 and hr[0] > humidity:
            e_pot = demand * (hr[0] - humidity) / (1.0 - humidity)
            de_pot = demand * dhr[0] / (1.0 - humidity)
        while True:
            n_sub += 1
            available = rate_in + pond / dt
            is_limited = available > i_max
            inf_0 = i_max if is_limited else available
            dinf = di_max if is_limited else 0.0
            e_0 = e_pot
            de = de_pot
            for _ in range(3):
                for i in range(_N):
                    cap = _DZ[i] * th_s / dt
                    diag[i] = cap + dq_up[i]
                    upper[i] = dq_dn[i]
                    rhs[i] = -q[i] - sink[i]
                    if i > 0:
                        lower[i] = -dq_up[i - 1]
                        diag[i] -= dq_dn[i - 1]
                        rhs[i] += q[i - 1]
                diag[0] += de - dinf
                rhs[0] += inf_0 - e_0
                _tridiagonal(lower, diag, upper, rhs, ds, _N)
                inf_1 = inf_0 + dinf * ds[0]
                e_1 = e_0 + de * ds[0]
                if is_limited and inf_1 > available:
                    is_limited = False
                    inf_0 = available
                    dinf = 0.0
                    continue
                if e_1 < 0.0:
                    e_0 = 0.0
                    de = 0.0
                    continue
                break
            worst = 0.0
            for i in range(_N):
                r = abs(ds[i]) / ds_max
                # once a layer is close to full only the sweep below matters
                if ds[i] < 0.0:
                    r = max(r, -ds[i] / (s[i] * drop_max))
                    if s[i] > s_d:
                        # a linearised cube drains too little in a long step
                        r = max(r, -ds[i] / ((s[i] - s_d) * drain_max + _DRAIN_SLACK))
                elif s[i] + ds[i] > 1.0:
                    r = min(r, 0.9) if s[i] > 0.9 and s[i] + ds[i] < 1.2 else r
                worst = max(worst, r)
            if worst <= 1.0 or dt < 1e-7:
                break
            dt *= max(0.1, 0.9 / worst)
        # book the linearised fluxes
        inf_1 = inf_0 + dinf * ds[0]
        e_1 = e_0 + de * ds[0]
        drain = q[_N - 1] + dq_up[_N - 1] * ds[_N - 1]
        for i in range(_N):
            s[i] += ds[i]
            flux[4] += sink[i] * dt
        pond += (rate_in - inf_1) * dt
        # sweep over-saturation upward
        for i in range(_N - 1, -1, -1):
            if s[i] > 1.0:
                excess = (s[i] - 1.0) * _DZ[i] * th_s
                s[i] = 1.0
                if i > 0:
                    s[i - 1] += excess / (_DZ[i - 1] * th_s)
                else:
                    pond += excess
                    inf_1 -= excess / dt
        if pond < 0.0:
            if pond < -1e-12:
                # cannot happen beyond round-off: infiltration never exceeds what is there
                inf_1 += pond / dt
                s[0] += pond / (_DZ[0] * th_s)
            else:
                inf_1 += pond / dt
                s[0] += pond / (_DZ[0] * th_s)
            pond = 0.0
        if pond > _PONDING_MM:
            flux[3] += pond - _PONDING_MM
            pond = _PONDING_MM
        flux[0] += inf_1 * dt
        flux[1] += e_1 * dt
        flux[2] += drain * dt
        t += dt
        dt *= 2.0 if worst < 0.45 else (1.2 if worst < 0.8 else 1.0)
    surface[0] = pond
    return n_sub


@_jit
def _heat_hour(  # type: ignore[no-untyped-def]
    temp, ice, s, surface, par, wx, latent_soil_mm, latent_leaf_mm, cover, wind, work
):
    """Advance the temperature of one column by one hour; returns the skin temperature [C]."""
    th_s = par[0]
    density, clay = par[8], par[9]
    air_c, humidity, solar_mj, clearness = wx[2], wx[3], wx[5], wx[6]
    a_1 = 0.65 - 0.78 * density + 0.60 * density * density
    b_1 = 1.06 * density
    c_1 = 1.0 + 2.6 / math.sqrt(max(clay, 0.01))
    d_1 = 0.03 + 0.1 * density * density
    lower, diag, upper, rhs, out = work[0], work[1], work[2], work[3], work[4]
    cap, cond, start, slope = work[5], work[6], work[7], work[8]
    for i in range(_NH):
        theta = th_s * s[min(i, _N - 1)]
        y = c_1 * theta
        y2 = y * y
        cond[i] = a_1 + b_1 * theta - (a_1 - d_1) * math.exp(-y2 * y2)
        cap[i] = (2.4e6 * density / 2.65 + 4.18e6 * theta) * _DZ_HEAT_M[i]
        start[i] = temp[i]
    rel = 0.5 * (s[0] + s[1]) / 0.65
    albedo = 0.24 - 0.10 * min(1.0, rel)
    albedo = albedo * (1.0 - cover) + 0.22 * cover
    snow = surface[2]
    extra = 0.05 * cover
    if snow > 0.5:
        albedo = 0.65
        extra += 0.3 * min(snow / 20.0, 1.5)
    short = solar_mj * 1e6 / 3600.0 * (1.0 - albedo)
    direct = 0.2 * cover * short
    e_air = humidity * 6.108 * math.exp(17.27 * air_c / (air_c + 237.3))
    t_k = air_c + 273.15
    eps_clear = 1.24 * (max(e_air, 0.5) / t_k) ** (1.0 / 7.0)
    cloud = 1.0 - min(1.0, max(0.05, 1.35 * clearness - 0.35))
    long_down = (eps_clear * (1.0 - 0.84 * cloud) + 0.84 * cloud) * _SIGMA * t_k**4
    eps = 0.97
    latent = _LATENT_W_PER_MM_H * (latent_soil_mm + latent_leaf_mm)
    u = max(wind, 0.5)
    z0 = 0.01
    neutral = 1200.0 * 0.1681 * u / (math.log(2.0 / z0) * math.log(2.0 / (0.2 * z0)))
    g_top = 1.0 / (_DZ_HEAT_M[0] / (2.0 * cond[0]) + extra)
    skin = surface[6]
    h = _GAMMA * 3600.0
    for stage in range(2):
        n_newton = 3 if stage == 0 else 1
        for _ in range(n_newton):
            ri = 9.81 * 2.0 * (air_c - skin) / (t_k * u * u)
            if ri > 0.0:
                stable = max(0.25, 1.0 / (1.0 + 5.0 * ri) ** 2)
            else:
                stable = min((1.0 - 16.0 * ri) ** 0.5, 3.0)
            g_air = neutral * stable
            ts_k = skin + 273.15
            slope_long = 4.0 * eps * _SIGMA * ts_k**3
            a_skin = (
                (short - direct)
                + eps * long_down
                - eps * _SIGMA * ts_k**4
                + slope_long * skin
                + g_air * air_c
                - latent
            )
            b_skin = slope_long + g_air
            # row 0 is the skin: (b + g) Ts - g T0 = a
            diag[0] = b_skin + g_top
            upper[0] = -g_top
            rhs[0] = a_skin
            lower[0] = 0.0
            for i in range(_NH):
                up = g_top
                if i > 0:
                    up = 1.0 / (
                        0.5 * _DZ_HEAT_M[i - 1] / cond[i - 1] + 0.5 * _DZ_HEAT_M[i] / cond[i]
                    )
                down = 0.0
                if i < _NH - 1:
                    down = 1.0 / (
                        0.5 * _DZ_HEAT_M[i] / cond[i] + 0.5 * _DZ_HEAT_M[i + 1] / cond[i + 1]
                    )
                lower[i + 1] = -up
                upper[i + 1] = -down
                diag[i + 1] = cap[i] / h + up + down
                base = start[i]
                if stage == 1:
                    base = start[i] + (1.0 - _GAMMA) * 3600.0 * slope[i]
                rhs[i + 1] = cap[i] / h * base
            rhs[1] += direct
            _tridiagonal(lower, diag, upper, rhs, out, _NH + 1)
            skin = 0.5 * (skin + out[0]) if abs(out[0] - skin) > 20.0 else out[0]
        if stage == 0:
            for i in range(_NH):
                slope[i] = (out[i + 1] - start[i]) / h
    if snow > 0.5 and skin > 0.0:
        skin = 0.0
    for i in range(_NH):
        temp[i] = out[i + 1]
        # frost by energy bookkeeping: freeze or thaw until the layer is back at 0 C
        if temp[i] < 0.0 or ice[i] > 0.0:
            liquid = th_s * s[min(i, _N - 1)] * _DZ_HEAT_M[i] * 1000.0 * 0.8 - ice[i]
            need = -temp[i] * cap[i] / _FUSION_J_MM
            change = min(max(need, -ice[i]), max(liquid, 0.0))
            ice[i] += change
            temp[i] += change * _FUSION_J_MM / cap[i]
    return skin


@_jit
def _drop_energy_j_m2(rain_mm):  # type: ignore[no-untyped-def]
    """Energy of an hour of rain, van Dijk et al. 2002 [J/m2]."""
    return rain_mm * 28.3 * (1.0 - 0.52 * math.exp(-0.042 * rain_mm))


@_jit
def _heat_response(temp_c, base, optimum, ceiling):  # type: ignore[no-untyped-def]
    """Degrees above base, falling to zero between optimum and ceiling [C]."""
    if temp_c <= base or temp_c >= ceiling:
        return 0.0
    if temp_c <= optimum:
        return temp_c - base
    return (optimum - base) * (ceiling - temp_c) / (ceiling - optimum)


@_jit
def _put_sums(out, germ, elong, dry, leaf, tot, worst, sum_res, n_sub):  # type: ignore[no-untyped-def]
    """Lay the running sums of one column into one row."""
    i = 0
    for g in range(germ.shape[0]):
        for j in range(germ.shape[1]):
            for k in range(germ.shape[2]):
                out[i] = germ[g, j, k]
                i += 1
            out[i] = elong[g, j]
            i += 1
        out[i] = leaf[g]
        i += 1
    for j in range(dry.shape[0]):
        out[i] = dry[j]
        i += 1
    for j in range(tot.shape[0]):
        out[i] = tot[j]
        i += 1
    out[i] = worst
    out[i + 1] = sum_res
    out[i + 2] = n_sub


@_jit
def _take_sums(row, germ, elong, dry, leaf, tot):  # type: ignore[no-untyped-def]
    """Read them back; what is no array is returned."""
    i = 0
    for g in range(germ.shape[0]):
        for j in range(germ.shape[1]):
            for k in range(germ.shape[2]):
                germ[g, j, k] = row[i]
                i += 1
            elong[g, j] = row[i]
            i += 1
        leaf[g] = row[i]
        i += 1
    for j in range(dry.shape[0]):
        dry[j] = row[i]
        i += 1
    for j in range(tot.shape[0]):
        tot[j] = row[i]
        i += 1
    return row[i], row[i + 1], row[i + 2]


@nb.njit(cache=True, parallel=True, error_model="numpy")
def advance(  # type: ignore[no-untyped-def]
    par,
    forcing,
    series_of,
    history,
    history_of,
    s_state,
    t_state,
    ice_state,
    surf_state,
    weed_heat,
    gate_kpa,
    band_share,
    from_hour,
    stored_from,
    reading_every,
    readings_from,
    with_heat,
    ds_max,
    drop_max,
    drain_max,
    theta_out,
    temp_out,
    skin_out,
    crust_out,
    evap_out,
    germ_out,
    elong_out,
    dry_out,
    leaf_out,
    totals,
    residual,
    n_sub_out,
    sums,
    mark_hours,
    s_marks,
    t_marks,
    ice_marks,
    surf_marks,
    sums_marks,
):
    """Run every column from an hour to the last; outputs, states and sums are changed in place.

    Before each of `mark_hours` state and sums are copied to the marks.
    """
    n_columns = par.shape[0]
    n_hours = forcing.shape[1]
    n_store = theta_out.shape[2]
    n_guilds = weed_heat.shape[0]
    n_gates = gate_kpa.shape[0]
    n_bands = band_share.shape[0]
    for c in nb.prange(n_columns):
        p = par[c]
        ser = series_of[c]
        hist = history_of[c]
        s = s_state[c].copy()
        temp = t_state[c].copy()
        ice = ice_state[c].copy()
        surface = surf_state[c].copy()
        factor = np.ones(_N)
        uptake = np.zeros(_N)
        flux = np.zeros(5)
        work = np.zeros((15, _N))
        heat_work = np.zeros((9, _NH + 1))
        germ = np.zeros((n_guilds, n_bands, n_gates))
        elong = np.zeros((n_guilds, n_bands))
        dry = np.zeros(n_bands)
        leaf = np.zeros(n_guilds)
        tot = np.zeros(7)
        worst, sum_res, n_before = _take_sums(sums[c], germ, elong, dry, leaf, tot)
        n_sub = int(n_before)
        i_mark = 0
        while i_mark < mark_hours.shape[0] and mark_hours[i_mark] < from_hour:
            i_mark += 1
        th_s = p[0]
        he_kpa = 33.0 * (p[0] / p[1]) ** (-p[3])
        for t in range(from_hour, n_hours):
            if i_mark < mark_hours.shape[0] and t == mark_hours[i_mark]:
                s_marks[c, i_mark] = s
                t_marks[c, i_mark] = temp
                ice_marks[c, i_mark] = ice
                surf_marks[c, i_mark] = surface
                _put_sums(sums_marks[c, i_mark], germ, elong, dry, leaf, tot, worst, sum_res, n_sub)
                i_mark += 1
            wx = forcing[ser, t]
            hs = history[hist, t]
            cover = hs[3]
            before = surface[0] + surface[1] + surface[2]
            for i in range(_N):
                before += s[i] * _DZ[i] * th_s
            # snow
            rain = wx[0]
            if wx[2] < 0.5 and rain > 0.0:
                surface[2] += rain
                rain = 0.0
            melt = 0.0
            if surface[2] > 0.0 and wx[2] > 0.0:
                melt = min(surface[2], 0.15 * wx[2] + 0.0125 * rain * wx[2])
                surface[2] -= melt
            # a pass: mixes water, breaks the crust, loosens
            depth = hs[2]
            if depth > 0.0:
                water = 0.0
                reach = 0.0
                for i in range(_N):
                    if 0.5 * (_EDGE[i] + _EDGE[i + 1]) <= depth:
                        water += s[i] * _DZ[i]
                        reach += _DZ[i]
                if reach > 0.0:
                    for i in range(_N):
                        if 0.5 * (_EDGE[i] + _EDGE[i + 1]) <= depth:
                            s[i] = water / reach
                    if reach >= surface[4]:
                        surface[4] = reach
                        surface[5] = 0.0
                    else:
                        surface[5] *= 1.0 - reach / surface[4]
                    if reach >= _CRUST_MM:
                        surface[3] = 0.0
            # crust and settling, from the drops of this hour
            sprinkled = hs[0] * hs[1]
            energy = _drop_energy_j_m2(rain) + _SPRINKLER_J_M2_MM * sprinkled
            surface[3] *= math.exp(-1.0 / (_CRUST_DECAY_D * 24.0))
            if energy > 0.0:
                surface[3] = 1.0 - (1.0 - surface[3]) * math.exp(-energy * (1.0 - cover) / p[10])
            surface[5] += rain + sprinkled
            loose = 1.0 - (1.0 - _LOOSE_FACTOR) * math.exp(-surface[5] / _SETTLING_MM)
            for i in range(_N):
                factor[i] = loose if _EDGE[i + 1] <= surface[4] + 1e-9 else 1.0
            factor[0] *= 1.0 - _CRUST_FLOOR * surface[3]
            # interception
            drops = rain + sprinkled
            caught = min(drops * cover, max(_INTERCEPTION_MM * cover - surface[1], 0.0))
            surface[1] += caught
            et0 = wx[1]
            from_leaves = min(surface[1], 1.2 * et0 * cover)
            surface[1] -= from_leaves
            left = max(0.0, 1.0 - from_leaves / (1.2 * et0)) if et0 > 0.0 else 1.0
            rate_in = drops - caught + melt + hs[0] * (1.0 - hs[1])
            demand = p[7] * et0 * (1.0 - _SHADE * cover) * left
            if surface[2] > 0.5:
                demand = 0.0
            # uptake by roots, share exponential with depth
            root_sum = 0.0
            for i in range(_N):
                uptake[i] = 0.0
                bottom = min(_EDGE[i + 1], hs[5])
                if bottom > _EDGE[i]:
                    uptake[i] = math.exp(-_EDGE[i] / _ROOT_EFOLD_MM) - math.exp(
                        -bottom / _ROOT_EFOLD_MM
                    )
                    root_sum += uptake[i]
            transpiration = hs[4] * et0 * left
            for i in range(_N):
                uptake[i] = uptake[i] / root_sum * transpiration if root_sum > 0.0 else 0.0
            humidity = min(max(wx[3], 0.05), 0.98)
            n_sub += _water_hour(
                s,
                surface,
                p,
                factor,
                rate_in,
                demand,
                humidity,
                uptake,
                ds_max,
                drop_max,
                drain_max,
                work,
                flux,
            )
            after = surface[0] + surface[1] + surface[2]
            for i in range(_N):
                after += s[i] * _DZ[i] * th_s
            change = after - before
            res = abs(
                change - (wx[0] + hs[0] - flux[1] - from_leaves - flux[4] - flux[2] - flux[3])
            )
            worst = max(worst, res)
            sum_res += res
            tot[0] += wx[0] + hs[0]
            tot[1] += flux[1]
            tot[2] += from_leaves
            tot[3] += flux[4]
            tot[4] += flux[2]
            tot[5] += flux[3]
            tot[6] += change
            if with_heat:
                surface[6] = _heat_hour(
                    temp,
                    ice,
                    s,
                    surface,
                    p,
                    wx,
                    flux[1],
                    from_leaves + flux[4],
                    cover,
                    wx[4],
                    heat_work,
                )
            if n_guilds > 0 and t >= readings_from:
                for j in range(n_bands):
                    sat = 0.0
                    warm = 0.0
                    for i in range(band_share.shape[1]):
                        sat += band_share[j, i] * s[i]
                        warm += band_share[j, i] * temp[i]
                    suction = he_kpa * sat ** (-p[3])
                    slow = min(1.0, max(0.0, (_SHOOT_STOP_KPA - suction) / _SHOOT_STOP_KPA))
                    dry[j] += min(1.0, max(0.0, (suction - _DRYING_KPA) / _DRYING_RANGE_KPA)) / 24.0
                    for g in range(n_guilds):
                        f = (
                            _heat_response(warm, weed_heat[g, 0], weed_heat[g, 1], weed_heat[g, 2])
                            / 24.0
                        )
                        elong[g, j] += f * slow
                        if f > 0.0:
                            for k in range(n_gates):
                                if suction < gate_kpa[k]:
                                    germ[g, j, k] += f
                for g in range(n_guilds):
                    mean = 0.5 * (wx[2] + temp[1])
                    leaf[g] += max(0.0, min(mean, weed_heat[g, 4]) - weed_heat[g, 3]) / 24.0
                if (t + 1 - readings_from) % reading_every == 0:
                    r = (t + 1 - readings_from) // reading_every - 1
                    if r < germ_out.shape[1]:
                        for g in range(n_guilds):
                            leaf_out[c, r, g] = leaf[g]
                            for j in range(n_bands):
                                elong_out[c, r, g, j] = elong[g, j]
                                for k in range(n_gates):
                                    germ_out[c, r, g, j, k] = germ[g, j, k]
                        for j in range(n_bands):
                            dry_out[c, r, j] = dry[j]
            if t >= stored_from:
                for i in range(n_store):
                    theta_out[c, t - stored_from, i] = s[i] * th_s
                    temp_out[c, t - stored_from, i] = temp[i]
                skin_out[c, t - stored_from] = surface[6]
                crust_out[c, t - stored_from] = surface[3]
                evap_out[c, t - stored_from] = flux[1]
        s_state[c] = s
        t_state[c] = temp
        ice_state[c] = ice
        surf_state[c] = surface
        _put_sums(sums[c], germ, elong, dry, leaf, tot, worst, sum_res, n_sub)
        totals[c] = tot
        residual[c, 0] = worst
        residual[c, 1] = sum_res
        n_sub_out[c] = n_sub
