"""Soil hydraulic properties from what a grower can tell: texture, organic matter, bulk density.

The retention curve used everywhere else is the power law of Saxton and Rawls 2006 (a Campbell
curve): ``psi = 33 kPa * (theta / theta_33) ** -b``, kept up to saturation. The straight piece which
the paper draws between 33 kPa and air entry is not used, so that the soil column has closed forms
for suction, conductivity and flux potential. Suction is positive, in kPa.

Source keys: `saxton_rawls_2006`, `zhang_schaap_2017`, `van_genuchten_1980`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from rosetta import Rosetta

from scheduler.errors import RangeError
from scheduler.records import FloatArray

PARTICLE_DENSITY_G_CM3 = 2.65
FIELD_CAPACITY_KPA = 33.0
WILTING_KPA = 1500.0
AIR_ENTRY_FLOOR_KPA = 0.3
DRAINED_CAP = 0.97  # the drained state is at most this share of saturation
KPA_PER_CM = 0.0980665
_MOLAR_MASS_OVER_GAS_CONSTANT = 0.01801528 / 8.314462618  # [kg K J-1]
_WATER_DENSITY_KG_M3 = 1000.0


@dataclass(frozen=True)
class Hydraulics:
    """Hydraulic properties of one soil or of many; every field has the same shape.

    Attributes
    ----------
    theta_1500_m3m3, theta_33_m3m3, theta_sat_m3m3
        Water content at 1500 kPa, at 33 kPa and at saturation [m3/m3].
    k_sat_mm_h
        Saturated conductivity [mm/h].
    air_entry_kpa
        Air-entry suction as Saxton and Rawls give it, at least 0.3 [kPa]. It is reported; the
        power law does not use it.
    b
        Exponent of the power law [1].
    bulk_density_g_cm3
        Dry bulk density [g/cm3].
    """

    theta_1500_m3m3: FloatArray
    theta_33_m3m3: FloatArray
    theta_sat_m3m3: FloatArray
    k_sat_mm_h: FloatArray
    air_entry_kpa: FloatArray
    b: FloatArray
    bulk_density_g_cm3: FloatArray


def saxton_rawls(
    sand_frac: ArrayLike, clay_frac: ArrayLike, organic_matter_pct: ArrayLike
) -> Hydraulics:
    """Hydraulic properties by the pedotransfer equations of Saxton and Rawls 2006.

    Parameters
    ----------
    sand_frac, clay_frac
        Mass fractions of the fine earth [1], any shapes that broadcast.
    organic_matter_pct
        Organic matter in percent of mass [%]; percent, not a fraction, as in the paper.

    Returns
    -------
    Hydraulics
        Arrays of the broadcast shape.

    Raises
    ------
    RangeError
        Fractions outside [0, 1] or summing above 1, clay above 0.60, organic matter outside
        [0, 8] (the limits of the regression), or a mixture for which it gives no valid curve.

    Notes
    -----
    Saxton and Rawls 2006, equations 1-5, 15-18 (`saxton_rawls_2006`). The coefficient 1.283 of
    equation 2 is found as 1.238 in some public code, which is a misprint. Valid for clay <= 60 %
    and organic matter <= 8 %. Untuned regressions of this kind carry an error of about
    0.05-0.08 m3/m3 in water content.

    Examples
    --------
    >>> loam = saxton_rawls(0.40, 0.20, 2.5)
    >>> print(f"{loam.theta_33_m3m3:.3f} {loam.theta_sat_m3m3:.3f} {loam.k_sat_mm_h:.1f}")
    0.280 0.459 15.5
    """
    s, c, om = np.broadcast_arrays(
        np.asarray(sand_frac, dtype=np.float64),
        np.asarray(clay_frac, dtype=np.float64),
        np.asarray(organic_matter_pct, dtype=np.float64),
    )
    _require_range("sand_frac", s, 0.0, 1.0)
    _require_range("clay_frac", c, 0.0, 0.60)
    _require_range("organic_matter_pct", om, 0.0, 8.0)
    _require_range("sand_frac + clay_frac", s + c, 0.0, 1.0 + 1e-9)

    t1500 = (
        -0.024 * s
        + 0.487 * c
        + 0.006 * om
        + 0.005 * s * om
        - 0.013 * c * om
        + 0.068 * s * c
        + 0.031
    )
    theta_1500 = 1.14 * t1500 - 0.02
    t33 = (
        -0.251 * s
        + 0.195 * c
        + 0.011 * om
        + 0.006 * s * om
        - 0.027 * c * om
        + 0.452 * s * c
        + 0.299
    )
    theta_33 = t33 + 1.283 * t33**2 - 0.374 * t33 - 0.015
    ts33 = (
        0.278 * s + 0.034 * c + 0.022 * om - 0.018 * s * om - 0.027 * c * om - 0.584 * s * c + 0.078
    )
    theta_s33 = 1.636 * ts33 - 0.107
    theta_sat = theta_33 + theta_s33 - 0.097 * s + 0.043
    e = (
        -21.67 * s
        - 27.93 * c
        - 81.97 * theta_s33
        + 71.12 * s * theta_s33
        + 8.29 * c * theta_s33
        + 14.05 * s * c
        + 27.16
    )
    air_entry = np.maximum(e + 0.02 * e**2 - 0.113 * e - 0.70, AIR_ENTRY_FLOOR_KPA)
    return _hydraulics(theta_1500, theta_33, theta_sat, air_entry)


def density_adjusted(hydraulics: Hydraulics, density_factor: ArrayLike) -> Hydraulics:
    """Hydraulic properties of the same soil loosened or compacted.

    Parameters
    ----------
    hydraulics
        Properties at normal density.
    density_factor
        Bulk density divided by the normal one [1], 0.9 to 1.3; broadcasts with the fields.

    Returns
    -------
    Hydraulics
        Saturation and the water content at 33 kPa move; the one at 1500 kPa stays. Exponent and
        conductivity follow.

    Raises
    ------
    RangeError
        A factor outside [0.9, 1.3] or a mixture without a valid curve.

    Notes
    -----
    Saxton and Rawls 2006, equations 6-10 (`saxton_rawls_2006`), range as in the paper (from
    memory).

    Examples
    --------
    >>> loam = saxton_rawls(0.40, 0.20, 2.5)
    >>> loose = density_adjusted(loam, 0.9)
    >>> print(f"{loam.theta_sat_m3m3:.3f} {loose.theta_sat_m3m3:.3f}")
    0.459 0.514
    """
    factor = np.asarray(density_factor, dtype=np.float64)
    _require_range("density_factor", factor, 0.9, 1.3)
    theta_sat = 1.0 - hydraulics.bulk_density_g_cm3 * factor / PARTICLE_DENSITY_G_CM3
    theta_33 = hydraulics.theta_33_m3m3 - 0.2 * (hydraulics.theta_sat_m3m3 - theta_sat)
    theta_1500, theta_33, theta_sat, air_entry = np.broadcast_arrays(
        hydraulics.theta_1500_m3m3, theta_33, theta_sat, hydraulics.air_entry_kpa
    )
    return _hydraulics(theta_1500, theta_33, theta_sat, air_entry)


def power_law(
    theta_1500_m3m3: ArrayLike, theta_33_m3m3: ArrayLike, theta_sat_m3m3: ArrayLike
) -> Hydraulics:
    """Hydraulic properties from three known water contents.

    For members of an ensemble whose water contents were shifted, and for measured curves.

    Parameters
    ----------
    theta_1500_m3m3, theta_33_m3m3, theta_sat_m3m3
        Water content at 1500 kPa, at 33 kPa and at saturation [m3/m3], shapes that broadcast.

    Returns
    -------
    Hydraulics
        `air_entry_kpa` is the suction at which the power law reaches saturation, at least 0.3.

    Raises
    ------
    RangeError
        Unless 0 < theta_1500 < theta_33 < theta_sat < 1.

    Notes
    -----
    Saxton and Rawls 2006, equations 11, 14-16 (`saxton_rawls_2006`). No range stated.

    Examples
    --------
    >>> print(f"{power_law(0.137, 0.280, 0.460).b:.2f}")
    5.34
    """
    theta_1500, theta_33, theta_sat = np.broadcast_arrays(
        np.asarray(theta_1500_m3m3, dtype=np.float64),
        np.asarray(theta_33_m3m3, dtype=np.float64),
        np.asarray(theta_sat_m3m3, dtype=np.float64),
    )
    _require_curve(theta_1500, theta_33, theta_sat)
    b = np.log(WILTING_KPA / FIELD_CAPACITY_KPA) / np.log(theta_33 / theta_1500)
    air_entry = FIELD_CAPACITY_KPA * (theta_33 / theta_sat) ** b
    return _hydraulics(theta_1500, theta_33, theta_sat, np.maximum(air_entry, AIR_ENTRY_FLOOR_KPA))


def suction_kpa(theta_m3m3: ArrayLike, hydraulics: Hydraulics) -> FloatArray:
    """Suction at a water content.

    Parameters
    ----------
    theta_m3m3
        Water content [m3/m3], broadcasts with the fields of `hydraulics`. Above saturation it
        counts as saturation. NaN stays NaN.
    hydraulics
        Properties of the soil.

    Returns
    -------
    ndarray
        Suction, positive [kPa]. At saturation it is the suction at which the power law reaches
        saturation, not zero.

    Raises
    ------
    RangeError
        A water content of zero or less.

    Notes
    -----
    ``psi = 33 (theta / theta_33) ** -b``; Saxton and Rawls 2006, equation 11
    (`saxton_rawls_2006`). No range stated; extended below 1500 kPa to air-dry soil.

    Examples
    --------
    >>> loam = saxton_rawls(0.40, 0.20, 2.5)
    >>> print(f"{suction_kpa(loam.theta_33_m3m3, loam):.1f}")
    33.0
    """
    theta = np.asarray(theta_m3m3, dtype=np.float64)
    if np.any(theta <= 0.0):
        raise RangeError(
            f"theta_m3m3: water content {np.nanmin(theta):g} is not above 0; give m3 of water per "
            "m3 of soil"
        )
    theta = np.minimum(theta, hydraulics.theta_sat_m3m3)
    return np.asarray(FIELD_CAPACITY_KPA * (theta / hydraulics.theta_33_m3m3) ** -hydraulics.b)


def theta_at_kpa(at_kpa: ArrayLike, hydraulics: Hydraulics) -> FloatArray:
    """Water content at a suction.

    Parameters
    ----------
    at_kpa
        Suction, positive [kPa], broadcasts with the fields of `hydraulics`. NaN stays NaN.
    hydraulics
        Properties of the soil.

    Returns
    -------
    ndarray
        Water content [m3/m3], at most saturation.

    Raises
    ------
    RangeError
        A suction of zero or less.

    Notes
    -----
    ``theta = min(theta_33 (33 / psi) ** (1 / b), theta_sat)``; Saxton and Rawls 2006, equation 11
    (`saxton_rawls_2006`).

    Examples
    --------
    >>> loam = saxton_rawls(0.40, 0.20, 2.5)
    >>> print(f"{theta_at_kpa(10.0, loam):.3f}")
    0.350
    """
    at = np.asarray(at_kpa, dtype=np.float64)
    if np.any(at <= 0.0):
        raise RangeError(
            f"at_kpa: suction {np.nanmin(at):g} is not above 0; suction is positive in kPa"
        )
    theta = hydraulics.theta_33_m3m3 * (FIELD_CAPACITY_KPA / at) ** (1.0 / hydraulics.b)
    return np.asarray(np.minimum(theta, hydraulics.theta_sat_m3m3))


def drained_theta_m3m3(drained_kpa: ArrayLike, hydraulics: Hydraulics) -> FloatArray:
    """Water content at which the fast drainage of a wetted soil stops.

    Parameters
    ----------
    drained_kpa
        Suction of the drained state [kPa], by texture in `reference/textures.csv`.
    hydraulics
        Properties of the soil.

    Returns
    -------
    ndarray
        Water content [m3/m3], at most 0.97 of saturation.

    Raises
    ------
    RangeError
        A suction of zero or less.

    Notes
    -----
    Construction of this project (`whitethread_stations`): fast drainage that stops at 33 kPa made
    columns dry almost twice too fast against measured series; about 10 kPa did not.

    Examples
    --------
    >>> loam = saxton_rawls(0.40, 0.20, 2.5)
    >>> print(f"{drained_theta_m3m3(11.0, loam):.3f}")
    0.343
    """
    return np.asarray(
        np.minimum(theta_at_kpa(drained_kpa, hydraulics), DRAINED_CAP * hydraulics.theta_sat_m3m3)
    )


def humidity_at_kpa(at_kpa: ArrayLike, temp_c: ArrayLike = 20.0) -> FloatArray:
    """Relative humidity of the air in equilibrium with soil at a suction.

    Parameters
    ----------
    at_kpa
        Suction, positive [kPa].
    temp_c
        Temperature [degC].

    Returns
    -------
    ndarray
        Relative humidity as a fraction [1].

    Notes
    -----
    Kelvin's equation, ``h = exp(-psi M / (rho R T))``. No range stated. Common practice of soil
    physics.

    Examples
    --------
    >>> print(f"{humidity_at_kpa(1500.0):.3f}")
    0.989
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + 273.15
    pascal = np.asarray(at_kpa, dtype=np.float64) * 1000.0
    return np.asarray(
        np.exp(-pascal * _MOLAR_MASS_OVER_GAS_CONSTANT / (_WATER_DENSITY_KG_M3 * kelvin))
    )


def suction_at_humidity_kpa(humidity_frac: ArrayLike, temp_c: ArrayLike = 20.0) -> FloatArray:
    """Suction of soil in equilibrium with air of a relative humidity.

    Parameters
    ----------
    humidity_frac
        Relative humidity as a fraction [1], above 0 and at most 1.
    temp_c
        Temperature [degC].

    Returns
    -------
    ndarray
        Suction, positive [kPa].

    Raises
    ------
    RangeError
        Humidity outside (0, 1].

    Notes
    -----
    Kelvin's equation solved for the suction. Common practice of soil physics.

    Examples
    --------
    >>> print(f"{suction_at_humidity_kpa(0.5) / 1000:.1f} MPa")
    93.8 MPa
    """
    humidity = np.asarray(humidity_frac, dtype=np.float64)
    if np.any((humidity <= 0.0) | (humidity > 1.0)):
        raise RangeError(
            f"humidity_frac: {humidity.min():g} to {humidity.max():g} found, allowed above 0 and "
            "at most 1; give a fraction, not percent"
        )
    kelvin = np.asarray(temp_c, dtype=np.float64) + 273.15
    pascal = -np.log(humidity) * _WATER_DENSITY_KG_M3 * kelvin / _MOLAR_MASS_OVER_GAS_CONSTANT
    return np.asarray(pascal / 1000.0)


def air_dry_theta_m3m3(
    hydraulics: Hydraulics, humidity_frac: ArrayLike = 0.5, temp_c: ArrayLike = 20.0
) -> FloatArray:
    """Water content of soil in equilibrium with dry air.

    Parameters
    ----------
    hydraulics
        Properties of the soil.
    humidity_frac
        Relative humidity of the air as a fraction [1].
    temp_c
        Temperature [degC].

    Returns
    -------
    ndarray
        Water content [m3/m3].

    Raises
    ------
    RangeError
        Humidity outside (0, 1).

    Notes
    -----
    The power law at the suction of Kelvin's equation. For loam it lies near half the water content
    at 1500 kPa, which FAO-56 takes for air-dry soil (`fao56_1998`, equation 73).

    Examples
    --------
    >>> loam = saxton_rawls(0.40, 0.20, 2.5)
    >>> print(f"{air_dry_theta_m3m3(loam):.3f} {0.5 * loam.theta_1500_m3m3:.3f}")
    0.063 0.069
    """
    return theta_at_kpa(suction_at_humidity_kpa(humidity_frac, temp_c), hydraulics)


# ----------------------------------------------------- second prior: neural network


@dataclass(frozen=True)
class RetentionPrior:
    """Van Genuchten parameters with their spread; arrays of shape (soils,).

    Attributes
    ----------
    theta_res_m3m3, theta_sat_m3m3, alpha_per_cm, n, k_sat_mm_h
        Means over the network's resamples: water contents and n arithmetic, alpha and k_sat
        geometric.
    theta_1500_m3m3, theta_33_m3m3
        Mean water content at 1500 and 33 kPa [m3/m3].
    theta_1500_sd_m3m3, theta_33_sd_m3m3, theta_sat_sd_m3m3
        Standard deviation over the resamples [m3/m3]: how well the mean is known, not how far one
        soil lies from it.
    ln_k_sat_sd
        Standard deviation of the natural logarithm of the saturated conductivity [1].
    """

    theta_res_m3m3: FloatArray
    theta_sat_m3m3: FloatArray
    alpha_per_cm: FloatArray
    n: FloatArray
    k_sat_mm_h: FloatArray
    theta_1500_m3m3: FloatArray
    theta_33_m3m3: FloatArray
    theta_1500_sd_m3m3: FloatArray
    theta_33_sd_m3m3: FloatArray
    theta_sat_sd_m3m3: FloatArray
    ln_k_sat_sd: FloatArray


def rosetta_prior(
    sand_pct: ArrayLike,
    silt_pct: ArrayLike,
    clay_pct: ArrayLike,
    bulk_density_g_cm3: ArrayLike | None = None,
) -> RetentionPrior:
    """Retention and its spread by the Rosetta 3 neural network.

    Parameters
    ----------
    sand_pct, silt_pct, clay_pct
        Percent of the fine earth by mass [%], each a number or an array of shape (soils,).
    bulk_density_g_cm3
        Dry bulk density [g/cm3], or None where it is not known. Organic matter is no input of
        the network; it enters through the bulk density alone.

    Returns
    -------
    RetentionPrior
        Means and spreads over 1000 resamples.

    Raises
    ------
    RangeError
        Percentages outside [0, 100] or not summing to 100 within 1, or a bulk density outside
        [0.5, 2.0].

    Notes
    -----
    Zhang and Schaap 2017 (`zhang_schaap_2017`), by the package rosetta-soil, offline. Documented
    error of the family on single soils: 0.044-0.078 m3/m3 (`schaap_2001`), several times the
    spread returned here, so an ensemble needs the larger figure as well. The conductivities are
    not fit for drying of bare soil (see the soil column).

    Examples
    --------
    >>> prior = rosetta_prior(40, 40, 20, 1.3)
    >>> print(f"{prior.theta_33_m3m3[0]:.3f} +- {prior.theta_33_sd_m3m3[0]:.3f}")
    0.307 +- 0.013
    """
    columns = [
        np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (sand_pct, silt_pct, clay_pct)
    ]
    for name, column in zip(("sand_pct", "silt_pct", "clay_pct"), columns, strict=True):
        _require_range(name, column, 0.0, 100.0)
    _require_range("sand_pct + silt_pct + clay_pct", sum(columns, np.zeros(1)), 99.0, 101.0)
    code = 2
    if bulk_density_g_cm3 is not None:
        density = np.atleast_1d(np.asarray(bulk_density_g_cm3, dtype=np.float64))
        _require_range("bulk_density_g_cm3", density, 0.5, 2.0)
        columns.append(density)
        code = 3
    soils = np.stack(np.broadcast_arrays(*columns), axis=-1)
    retention, log_k_cm_d = Rosetta(rosetta_version=3, model_code=code).predict(soils)
    res, sat = retention[..., 0], retention[..., 1]
    alpha, n = 10.0 ** retention[..., 2], 10.0 ** retention[..., 3]
    ln_k_mm_h = np.log(10.0) * log_k_cm_d[..., 0] + np.log(10.0 / 24.0)
    theta_33 = van_genuchten_theta_m3m3(FIELD_CAPACITY_KPA / KPA_PER_CM, res, sat, alpha, n)
    theta_1500 = van_genuchten_theta_m3m3(WILTING_KPA / KPA_PER_CM, res, sat, alpha, n)
    return RetentionPrior(
        theta_res_m3m3=res.mean(axis=0),
        theta_sat_m3m3=sat.mean(axis=0),
        alpha_per_cm=10.0 ** retention[..., 2].mean(axis=0),
        n=n.mean(axis=0),
        k_sat_mm_h=np.exp(ln_k_mm_h.mean(axis=0)),
        theta_1500_m3m3=theta_1500.mean(axis=0),
        theta_33_m3m3=theta_33.mean(axis=0),
        theta_1500_sd_m3m3=theta_1500.std(axis=0),
        theta_33_sd_m3m3=theta_33.std(axis=0),
        theta_sat_sd_m3m3=sat.std(axis=0),
        ln_k_sat_sd=ln_k_mm_h.std(axis=0),
    )


def van_genuchten_theta_m3m3(
    head_cm: ArrayLike,
    theta_res_m3m3: ArrayLike,
    theta_sat_m3m3: ArrayLike,
    alpha_per_cm: ArrayLike,
    n: ArrayLike,
) -> FloatArray:
    """Water content on a van Genuchten curve, with m = 1 - 1/n.

    Parameters
    ----------
    head_cm
        Suction as a head of water, positive [cm].
    theta_res_m3m3, theta_sat_m3m3
        Residual and saturated water content [m3/m3].
    alpha_per_cm, n
        Shape parameters [1/cm] and [1].

    Returns
    -------
    ndarray
        Water content [m3/m3] of the broadcast shape.

    Notes
    -----
    van Genuchten 1980, equation 21 (`van_genuchten_1980`, from memory). The curve stalls at the
    residual water content and says nothing about air-dry soil. Range: n above 1.

    Examples
    --------
    >>> print(f"{van_genuchten_theta_m3m3(336.5, 0.078, 0.43, 0.036, 1.56):.3f}")
    0.164
    """
    exponent = np.asarray(n, dtype=np.float64)
    m = 1.0 - 1.0 / exponent
    res = np.asarray(theta_res_m3m3, dtype=np.float64)
    filled = (1.0 + (np.asarray(alpha_per_cm) * np.asarray(head_cm)) ** exponent) ** -m
    return np.asarray(res + (np.asarray(theta_sat_m3m3) - res) * filled)


def _hydraulics(
    theta_1500: FloatArray, theta_33: FloatArray, theta_sat: FloatArray, air_entry: FloatArray
) -> Hydraulics:
    _require_curve(theta_1500, theta_33, theta_sat)
    b = np.log(WILTING_KPA / FIELD_CAPACITY_KPA) / np.log(theta_33 / theta_1500)
    return Hydraulics(
        theta_1500_m3m3=np.array(theta_1500),
        theta_33_m3m3=np.array(theta_33),
        theta_sat_m3m3=np.array(theta_sat),
        k_sat_mm_h=np.asarray(1930.0 * (theta_sat - theta_33) ** (3.0 - 1.0 / b)),
        air_entry_kpa=np.array(air_entry),
        b=np.asarray(b),
        bulk_density_g_cm3=np.asarray((1.0 - theta_sat) * PARTICLE_DENSITY_G_CM3),
    )


def _require_curve(theta_1500: FloatArray, theta_33: FloatArray, theta_sat: FloatArray) -> None:
    is_curve = (
        (theta_1500 > 0.0) & (theta_33 > theta_1500) & (theta_sat > theta_33) & (theta_sat < 1.0)
    )
    if not np.all(is_curve):
        i = np.unravel_index(int(np.argmin(is_curve)), np.shape(is_curve))
        raise RangeError(
            f"water contents at 1500 kPa, 33 kPa and saturation are {theta_1500[i]:.3f}, "
            f"{theta_33[i]:.3f}, {theta_sat[i]:.3f} m3/m3; each must exceed the one before; "
            "check texture, organic matter and density"
        )


def _require_range(name: str, values: FloatArray, low: float, high: float) -> None:
    is_outside = ~((values >= low) & (values <= high))
    if np.any(is_outside):
        found = values[is_outside].flat[0]
        raise RangeError(
            f"{name}: {found:g} is outside {low:g} to {high:g}; give a value inside that range"
        )
