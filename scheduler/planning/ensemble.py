"""The soil members: parameters and weather sampled together, each column run once.

A member is one possible soil under one possible weather. Member m of every soil shares the weather
of member m, so that beds are compared under the same sky.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np

from scheduler.models.crust import crust_energy_j_m2, crust_susceptibility, silt_split_pct
from scheduler.models.demand import reference_et_hourly_mm
from scheduler.models.disaggregation import filled_rain, n_storm_uniforms, storm_hours
from scheduler.models.hydraulics import KPA_PER_CM, rosetta_prior, saxton_rawls
from scheduler.models.soil_column import (
    ENSEMBLE_TOLERANCE,
    ColumnForcing,
    ColumnParameters,
    ColumnRun,
    SurfaceHistory,
    WeedHeat,
    anchored_k_factor,
    evaporation_target_mm,
    initial_state,
    run_columns,
)
from scheduler.models.sun import sky_clearness_frac
from scheduler.models.workability import dexter_bird_range
from scheduler.planning.draws import keyed_generator, stratified_normals
from scheduler.records import BoolArray, FloatArray, IntArray, Kind, Place, WeatherSeries

N_SOIL_MEMBERS = 32
_WHEEL_OVER_DRAINED = (1.15, 1.4)  # wheels want soil a little drier than it drains to
N_STORED_LAYERS = 7  # to 105 mm
# share of a forecast day's skill by lead day (the day itself first); beyond the last: none
_DAY_SKILL = np.sqrt(np.array([0.98, 0.95, 0.85, 0.77, 0.68, 0.58, 0.48, 0.38, 0.30, 0.22, 0.15]))
# forecast rain that is kept: its spread and what brings its mean back near 1; hours it is moved by
# and error of temperature [C]: on the day itself, and more a day of lead
_FORECAST_RAIN_LN_SD = 0.25
_FORECAST_RAIN_LN_LESS = 0.03
_RANGE_Z = 1.2816  # the ends of a forecast's own range of rain are taken as its 10 and 90 %
_FORECAST_SHIFT_H = (1.0, 0.5)
_FORECAST_TEMP_SD_C = (0.7, 0.25)
_MODEL_RAIN_FACTOR = 2.0  # spread of rain by a weather model over that of a station
_PAST_YEAR_SHIFT_D = 3  # days by which a past year's dates are moved, either way
ENOUGH_PAST_YEARS = 3  # with fewer the days before now stand in for some members
FIRST_SUCTION_KPA = 12.0  # of the profile at the first hour: the drained state after winter


@dataclass(frozen=True)
class SoilPrior:
    """What is known of one soil before anybody has worked it."""

    name: str
    sand_frac: float
    clay_frac: float
    organic_matter_pct: float
    drained_kpa: float
    ceiling_kpa: float
    working_kpa: float  # at most the ceiling's: a coarse soil, only the ceiling counts
    stage_two_mm_d05: float
    stage_one_mm: float
    stone_frac: float = 0.0


@dataclass(frozen=True)
class Spread:
    """How far members stray from the central values; all from the parameter tables."""

    theta_33_sd_m3m3: float
    theta_sat_sd_m3m3: float
    ln_k_factor_sd: float
    k_factor_cap: float
    ln_drained_sd: float
    ln_working_sd: float
    ln_b_sd: float
    demand_factor_low: float
    demand_factor_high: float
    ln_crust_energy_sd: float
    ln_et0_sd_estimated: float
    ln_et0_sd_measured: float
    ln_rain_sd_gauge: float
    ln_rain_sd_station: float
    rain_intensity_mm_h: float


@dataclass(frozen=True)
class SoilMembers:
    """Members of one soil; arrays (n_members,)."""

    parameters: ColumnParameters
    working_m3m3: FloatArray
    wheel_m3m3: FloatArray
    ceiling_m3m3: FloatArray
    dry_limit_m3m3: FloatArray


@dataclass(frozen=True)
class ShiftPrior:
    """By how much the thresholds of a soil are thought to lie above those of every member."""

    mean_m3m3: float
    sd_m3m3: float


@lru_cache(maxsize=64)
def soil_members(prior: SoilPrior, spread: Spread, seed: int, n_members: int) -> SoilMembers:
    """Draw the members of one soil and anchor their conductivity.

    Parameters
    ----------
    prior : SoilPrior
        Central values of the soil.
    spread : Spread
        Standard deviations.
    seed : int
        The farm's seed; draws are keyed by the soil's name.
    n_members : int
        Number of members.

    Returns
    -------
    SoilMembers
        Parameters and thresholds, one a member.

    Raises
    ------
    RangeError
        If texture or organic matter lie outside the regression's range.

    Notes
    -----
    The curve of a member runs through its own water content at 33 kPa with its own slope, up to its
    own saturation; thresholds are suctions on that curve. Stones take their share of volume from
    all water. The same arguments give the same record: its arrays are not to be written to.
    Definition of this project on the regressions of `saxton_rawls_2006`.

    Examples
    --------
    >>> loam = SoilPrior("loam", 0.4, 0.2, 2.5, 11.0, 10.0, 22.0, 4.17, 9.6)
    >>> spread = Spread(.03, .03, .3, 3.0, .2, .2, .1, .9, 1.1, .3, .12, .06, .08, .2, 4.0)
    >>> members = soil_members(loam, spread, 5, 4)
    >>> members.working_m3m3.shape, bool(np.all(members.working_m3m3 < members.ceiling_m3m3))
    ((4,), True)
    >>> bool(np.all(members.ceiling_m3m3 <= members.parameters.theta_sat_m3m3))
    True
    """

    def z(name: str) -> FloatArray:
        return stratified_normals(seed, n_members, "soil", prior.name, name)

    centre = saxton_rawls(prior.sand_frac, prior.clay_frac, prior.organic_matter_pct)
    theta_33 = np.clip(
        float(centre.theta_33_m3m3) + spread.theta_33_sd_m3m3 * z("theta_33"),
        0.5 * float(centre.theta_33_m3m3),
        0.95 * float(centre.theta_sat_m3m3),
    )
    b = float(centre.b) * np.exp(spread.ln_b_sd * z("b"))
    theta_1500 = theta_33 * (33.0 / 1500.0) ** (1.0 / b)
    theta_sat = np.clip(
        float(centre.theta_sat_m3m3) + spread.theta_sat_sd_m3m3 * z("theta_sat"),
        theta_33 + 0.04,
        0.65,
    )
    fine_earth = 1.0 - prior.stone_frac
    theta_33, theta_sat, theta_1500 = (
        theta_33 * fine_earth,
        theta_sat * fine_earth,
        theta_1500 * fine_earth,
    )
    silt_pct = 100.0 * (1.0 - prior.sand_frac - prior.clay_frac)
    fine, coarse = silt_split_pct(silt_pct)
    energy = crust_energy_j_m2(
        crust_susceptibility(fine, coarse, 100.0 * prior.clay_frac, prior.organic_matter_pct)
    )
    drainage = prior.drained_kpa * np.exp(spread.ln_drained_sd * z("drained"))
    generator = keyed_generator(seed, "soil", prior.name, "demand_factor")
    stratum = (generator.permutation(n_members) + generator.random(n_members)) / n_members
    demand = spread.demand_factor_low + stratum * (
        spread.demand_factor_high - spread.demand_factor_low
    )
    ones = np.ones(n_members)
    plain = ColumnParameters(
        theta_sat,
        theta_33,
        theta_1500,
        b,
        float(centre.k_sat_mm_h) * ones,
        ones,
        drainage,
        demand,
        float(centre.bulk_density_g_cm3) * ones,
        prior.clay_frac * ones,
        float(energy) * np.exp(spread.ln_crust_energy_sd * z("crust_energy")),
    )
    target = evaporation_target_mm(
        prior.stage_two_mm_d05 * ones, np.full(n_members, prior.stage_one_mm)
    )
    anchored = anchored_k_factor(plain, target)
    k_factor = np.minimum(
        anchored * np.exp(spread.ln_k_factor_sd * z("k_factor")), spread.k_factor_cap
    )
    parameters = ColumnParameters(
        **{
            **{name: getattr(plain, name) for name in plain.__dataclass_fields__},
            "k_factor": k_factor,
        }
    )

    def theta_at(suction_kpa: FloatArray) -> FloatArray:
        held: FloatArray = np.minimum(theta_33 * (33.0 / suction_kpa) ** (1.0 / b), theta_sat)
        return held

    wet_kpa, dry_kpa = tillage_suctions(prior, float(centre.bulk_density_g_cm3))
    is_sandy = bool(np.isinf(dry_kpa))  # carries wheels at the wet limit, as soon as it has drained
    own = drainage / prior.drained_kpa  # a member's thresholds move with its own drained state
    wheel_kpa = (
        wet_kpa
        if is_sandy
        else np.clip(
            wet_kpa,
            _WHEEL_OVER_DRAINED[0] * prior.drained_kpa,
            _WHEEL_OVER_DRAINED[1] * prior.drained_kpa,
        )
    )
    ceiling = theta_at(prior.ceiling_kpa * ones)
    working = ceiling.copy()
    if prior.working_kpa > prior.ceiling_kpa:
        suction = prior.working_kpa * own * np.exp(spread.ln_working_sd * z("working"))
        working = np.minimum(theta_at(suction), ceiling)
    return SoilMembers(
        parameters, working, theta_at(wheel_kpa * own), ceiling, theta_at(dry_kpa * own)
    )


def tillage_suctions(prior: SoilPrior, bulk_density_g_cm3: float) -> tuple[float, float]:
    """Suctions at the wet and at the dry limit of tillage of a soil.

    Parameters
    ----------
    prior : SoilPrior
        Texture of the soil.
    bulk_density_g_cm3 : float
        Bulk density [g/cm3].

    Returns
    -------
    tuple of float
        Suction at the wet limit and at the dry limit [kPa]; the dry one is infinite where the
        formula does not hold (sand, loamy sand: n above 1.7).

    Notes
    -----
    Wet limit `dexter_bird_2001`, dry limit `obour_2018`, on the curve of `zhang_schaap_2017`; the
    suctions are then read on the member's own curve. The wet limit serves under wheels, at 50-100
    mm; where it lies wetter than the soil drains to by itself (clays), a little drier than that
    state counts, but not on sand and loamy sand. Range: n of the curve above 1; the dry limit up to
    1.7.

    Examples
    --------
    >>> loam = SoilPrior("loam", 0.4, 0.2, 2.5, 11.0, 10.0, 22.0, 4.17, 9.6)
    >>> [round(x) for x in tillage_suctions(loam, 1.35)]
    [16, 96]
    """
    sand, clay = 100.0 * prior.sand_frac, 100.0 * prior.clay_frac
    curve = rosetta_prior(sand, 100.0 - sand - clay, clay, bulk_density_g_cm3)
    res, sat = float(curve.theta_res_m3m3[0]), float(curve.theta_sat_m3m3[0])
    alpha, n = float(curve.alpha_per_cm[0]), float(curve.n[0])
    limits = dexter_bird_range(res, sat, alpha, n)
    relative = (float(limits.wet_m3m3) - res) / (sat - res)
    wet_cm = (relative ** (-n / (n - 1.0)) - 1.0) ** (1.0 / n) / alpha
    dry = np.inf if n > 1.7 else float(limits.dry_suction_kpa)
    return wet_cm * KPA_PER_CM, dry


@dataclass(frozen=True)
class Sky:
    """Weather of each member; arrays (n_members, n_hours) on one common clock."""

    start_at: datetime
    now_hour: int
    forcing: ColumnForcing
    is_rain_known: BoolArray  # (n_hours,): whether the rain of the hour was on record
    has_forecast: bool
    n_past_years: int = 0  # that stand in beyond the forecast; none: the days before now do

    @property
    def n_hours(self) -> int:
        """Number of hours."""
        return self.forcing.n_hours

    def at(self, hour: float) -> datetime:
        """The moment an hour index begins."""
        return self.start_at + timedelta(hours=float(hour))

    def hour_of(self, moment: datetime) -> int:
        """The hour index a moment lies in."""
        return int((moment - self.start_at) // timedelta(hours=1))


def member_skies(
    series: WeatherSeries,
    now: datetime,
    place: Place,
    spread: Spread,
    seed: int,
    n_members: int,
    past_years: Sequence[WeatherSeries] = (),
) -> Sky:
    """Draw the weather of each member: what is not known of the past, and what may come.

    Parameters
    ----------
    series : WeatherSeries
        The past and, from `now` on, the forecast where there is one.
    now : datetime
        The moment the answer is for.
    place : Place
        Where the farm lies.
    spread : Spread
        Standard deviations.
    seed : int
        The farm's seed.
    n_members : int
        Number of members.
    past_years : sequence of WeatherSeries, optional
        The weather of past years around the date of `now` and ahead of it, one series a year.

    Returns
    -------
    Sky
        One series a member, without NaN.

    Raises
    ------
    RangeError
        If no hour of rain or of temperature is known.

    Notes
    -----
    Rain totals whose hours are unknown fall in drawn storms; unknown rain is drawn from the same
    season of the record. A forecast day is kept with a chance that falls with its lead, else
    another day stands in; kept rain is shifted, and drawn from the forecast's own range where it
    gives one, else scaled; hours that have ended but rest on a forecast are shifted and scaled.
    What stands in, beyond the forecast too, is the same date of a past year, up to 3 days earlier
    or later and one year a member; with fewer than 3 past years also, and with none only, recorded
    days of the weeks before. Grades: skill by lead, and that a range holds 10 to 90 %, are
    assumptions (E).

    Examples
    --------
    Two days on record and one to come, without a forecast: recorded days stand in.

    >>> from datetime import UTC
    >>> names = ("rain_mm", "air_temp_c", "humidity_frac", "wind_2m_m_s", "solar_mj_m2")
    >>> kinds = dict.fromkeys(names, np.full(72, int(Kind.OBSERVED), np.int8))
    >>> air = [np.where(np.arange(72) < 48, value, np.nan) for value in (0.0, 12.0, 0.7, 2.0, 0.5)]
    >>> start = datetime(2013, 5, 1, tzinfo=UTC)
    >>> place = Place(42.0, 0.0, 100.0, "UTC")
    >>> spread = Spread(.03, .03, .3, 3.0, .2, .2, .1, .9, 1.1, .3, .12, .06, .08, .2, 4.0)
    >>> series = WeatherSeries(start, *air, kinds)
    >>> sky = member_skies(series, start + timedelta(hours=48), place, spread, 5, 4)
    >>> sky.now_hour, sky.has_forecast, sky.forcing.air_temp_c.shape
    (48, False, (4, 72))
    >>> bool(np.isfinite(sky.forcing.air_temp_c).all()), float(sky.forcing.rain_mm.max())
    (True, 0.0)
    """
    n_hours = series.n_hours
    now_hour = max(0, min(n_hours, int((now - series.start_at) // timedelta(hours=1))))
    rain = np.repeat(series.rain_mm[None, :], n_members, axis=0)
    is_rain_known = np.isfinite(series.rain_mm).copy()
    is_rain_known[:now_hour] &= series.kinds["rain_mm"][:now_hour] != Kind.FORECAST
    for total in series.rain_totals:
        span = slice(total.first_hour, total.first_hour + total.n_hours)
        width = len(range(*span.indices(n_hours)))
        if width <= 0:
            continue
        uniforms = keyed_generator(
            seed, "storm", (series.start_at + timedelta(hours=total.first_hour)).isoformat()
        ).random((n_members, n_storm_uniforms(width)))
        rain[:, span] = storm_hours(total.rain_mm, width, uniforms, spread.rain_intensity_mm_h)
        is_rain_known[span] = True
    past = rain[:, :now_hour]
    if now_hour and np.isnan(past).any():
        uniforms = keyed_generator(seed, "unknown rain").random((n_members, now_hour))
        rain[:, :now_hour] = filled_rain(past, uniforms)
    others = {
        name: np.repeat(getattr(series, name)[None, :], n_members, axis=0)
        for name in ("air_temp_c", "humidity_frac", "wind_2m_m_s", "solar_mj_m2")
    }
    _draw_elapsed({"rain_mm": rain, **others}, series, now_hour, seed)
    kind = series.kinds["rain_mm"][:now_hour]
    z = stratified_normals(seed, n_members, "rain amount")
    sd = np.select(
        [kind == Kind.OWN_GAUGE, kind == Kind.OBSERVED],
        [spread.ln_rain_sd_gauge, spread.ln_rain_sd_station],
        _MODEL_RAIN_FACTOR * spread.ln_rain_sd_station,
    )
    rain[:, :now_hour] *= np.exp(np.outer(z, sd) - 0.5 * sd**2)
    has_forecast = bool(np.isfinite(rain[:, now_hour:]).any())
    if now_hour < n_hours:
        years = _past_years(past_years, series, now_hour, spread, seed)
        _draw_future(rain, others, series, now_hour, seed, years)
    et0 = _demand(others, series, place)
    is_estimated = series.kinds["solar_mj_m2"] <= Kind.MODEL
    z_et = stratified_normals(seed, n_members, "et0")
    sd_et = np.where(is_estimated, spread.ln_et0_sd_estimated, spread.ln_et0_sd_measured)
    et0 = et0 * np.exp(np.outer(z_et, sd_et) - 0.5 * sd_et**2)
    forcing = ColumnForcing(
        np.maximum(rain, 0.0),
        et0,
        others["air_temp_c"],
        np.clip(others["humidity_frac"], 0.05, 1.0),
        others["wind_2m_m_s"],
        others["solar_mj_m2"],
        _clearness(others["solar_mj_m2"], series, place),
    )
    return Sky(series.start_at, now_hour, forcing, is_rain_known, has_forecast, len(past_years))


def _hours(series: WeatherSeries) -> IntArray:
    """Hours since 1970-01-01 00:00 UTC of each element of the series [h]."""
    first = round(series.start_at.timestamp() / 3600.0)
    return np.arange(first, first + series.n_hours, dtype=np.int64)


def _demand(others: Mapping[str, FloatArray], series: WeatherSeries, place: Place) -> FloatArray:
    return reference_et_hourly_mm(
        others["air_temp_c"],
        others["humidity_frac"],
        others["wind_2m_m_s"],
        others["solar_mj_m2"],
        _hours(series),
        place.latitude_deg,
        place.longitude_deg,
        place.elevation_m,
    )


def _clearness(solar: FloatArray, series: WeatherSeries, place: Place) -> FloatArray:
    clearness = sky_clearness_frac(
        solar, _hours(series), place.latitude_deg, place.longitude_deg, place.elevation_m
    )
    return np.nan_to_num(clearness, nan=0.7)


def _draw_elapsed(
    target: Mapping[str, FloatArray], series: WeatherSeries, now_hour: int, seed: int
) -> None:
    """Redraw, in place, the hours that have ended but rest on a forecast.

    Day by day (UTC) a member keeps what was forecast with the chance of its lead, else the same
    hours of a recorded day before stand in.
    """
    if series.forecast_lead_h is None:
        return
    lead_h = series.forecast_lead_h[:now_hour]
    rests = {
        name: np.isfinite(lead_h) & (series.kinds[name][:now_hour] == Kind.FORECAST)
        for name in target
    }
    is_resting = np.logical_or.reduce(list(rests.values()))
    foreseen = {name: target[name][:, :now_hour].copy() for name in target}
    n_members = target["rain_mm"].shape[0]
    first_hour = int(_hours(series)[0])
    day_of = (first_hour + np.arange(now_hour)) // 24
    for day in np.unique(day_of[is_resting]):
        span = np.flatnonzero(is_resting & (day_of == day))
        lead_d = float(lead_h[span].mean()) / 24.0
        date = (series.start_at + timedelta(hours=int(span[0]))).date().isoformat()
        issued = _issued_on(series, int(span[0]), float(lead_h[span[0]]))
        generator = keyed_generator(seed, "elapsed day", date, issued)
        uniform = (generator.permutation(n_members) + generator.random(n_members)) / n_members
        shift = np.asarray(generator.normal(size=n_members))
        amount = np.asarray(generator.normal(size=n_members))
        share = np.asarray(generator.random(n_members))
        temp_z = np.asarray(
            keyed_generator(seed, "forecast temperature", issued).normal(size=n_members)
        )
        before = np.arange(1, 31)
        before = before[
            [
                24 * back <= span[0] and not is_resting[span - 24 * back].any()
                for back in before.tolist()
            ]
        ]
        keeps = uniform < _skill(lead_d)
        for m in range(n_members):
            if before.size and not keeps[m]:
                source = span - 24 * int(before[int(share[m] * before.size)])
                for name, values in target.items():
                    rest = rests[name][span]
                    values[m, span[rest]] = foreseen[name][m, source[rest]]
                continue
            hours = round(float(shift[m]) * (_FORECAST_SHIFT_H[0] + _FORECAST_SHIFT_H[1] * lead_d))
            scale = np.exp(_FORECAST_RAIN_LN_SD * amount[m] - _FORECAST_RAIN_LN_LESS)
            rest = span[rests["rain_mm"][span]]
            moved = rest - hours
            is_inside = (moved >= 0) & (moved < now_hour)
            is_inside[is_inside] &= rests["rain_mm"][moved[is_inside]]
            target["rain_mm"][m, rest] *= scale
            target["rain_mm"][m, rest[is_inside]] = foreseen["rain_mm"][m, moved[is_inside]] * scale
            rest = span[rests["air_temp_c"][span]]
            sd_c = _FORECAST_TEMP_SD_C[0] + _FORECAST_TEMP_SD_C[1] * lead_d
            target["air_temp_c"][m, rest] += temp_z[m] * sd_c


def _issued_on(series: WeatherSeries, hour: int, lead_h: float) -> str:
    """The day on which the forecast of an elapsed hour was issued."""
    return (series.start_at + timedelta(hours=hour + 0.5 - lead_h)).date().isoformat()


def _skill(lead_d: float) -> float:
    """The chance that a member keeps the forecast of a day with this lead [d]."""
    return float(np.interp(lead_d, np.arange(_DAY_SKILL.size), _DAY_SKILL, right=0.0))


def _past_years(
    past_years: Sequence[WeatherSeries],
    series: WeatherSeries,
    now_hour: int,
    spread: Spread,
    seed: int,
) -> list[dict[str, FloatArray]]:
    """The hours of each past year that may stand for those from `now_hour` on.

    Element i is the hour `_PAST_YEAR_SHIFT_D` days before `now_hour`, and i more; NaN where the
    year says nothing.
    """
    here = series.start_at + timedelta(hours=now_hour)
    n_hours = series.n_hours - now_hour + 48 * _PAST_YEAR_SHIFT_D
    result = []
    for year in sorted(past_years, key=lambda each: each.start_at):
        back = max(1, round((here - year.start_at) / timedelta(days=365.25)))
        start_at = here - timedelta(days=round(365.25 * back) + _PAST_YEAR_SHIFT_D)
        offset = round((start_at - year.start_at) / timedelta(hours=1))
        rain = year.rain_mm.copy()
        for total in year.rain_totals:
            at = (year.start_at + timedelta(hours=total.first_hour)).isoformat()
            uniforms = keyed_generator(seed, "storm", at).random(
                (1, n_storm_uniforms(total.n_hours))
            )
            rain[total.first_hour : total.first_hour + total.n_hours] = storm_hours(
                total.rain_mm, total.n_hours, uniforms, spread.rain_intensity_mm_h
            )[0]
        low, high = max(offset, 0), min(offset + n_hours, year.n_hours)
        hours: dict[str, FloatArray] = {}
        for name, values in (
            ("rain_mm", rain),
            ("air_temp_c", year.air_temp_c),
            ("humidity_frac", year.humidity_frac),
            ("wind_2m_m_s", year.wind_2m_m_s),
            ("solar_mj_m2", year.solar_mj_m2),
        ):
            hours[name] = np.full(n_hours, np.nan)
            if high > low:
                hours[name][low - offset : high - offset] = values[low:high]
        result.append(hours)
    return result


def _year_of_members(
    years: Sequence[Mapping[str, FloatArray]], n_members: int, seed: int
) -> tuple[IntArray, IntArray]:
    """Which past year each member takes (-1: none) and the hours its dates are moved by.

    Every year goes to as many members; with too few years the days before now count as one more.
    """
    generator = keyed_generator(seed, "past years", len(years))
    n_kinds = len(years) + (1 if len(years) < ENOUGH_PAST_YEARS else 0)
    year = generator.permutation(n_members) % n_kinds
    shift_d = generator.integers(-_PAST_YEAR_SHIFT_D, _PAST_YEAR_SHIFT_D + 1, n_members)
    return (
        np.where(year < len(years), year, -1).astype(np.int64),
        np.asarray(24 * (shift_d + _PAST_YEAR_SHIFT_D), dtype=np.int64),
    )


def _draw_future(
    rain: FloatArray,
    others: Mapping[str, FloatArray],
    series: WeatherSeries,
    now_hour: int,
    seed: int,
    years: Sequence[Mapping[str, FloatArray]],
) -> None:
    """Fill the hours from `now_hour` on, in place.

    Every day begins as a recorded one, or as that of a past year; where a member keeps the
    forecast, the hours that the forecast knows replace it, shifted as one piece, so that no rain
    runs round into another hour.
    """
    n_members, n_hours = rain.shape
    here = series.start_at + timedelta(hours=now_hour)
    age_d = 0.0
    if series.forecast_issued_at is not None:
        age_d = max(0.0, (here - series.forecast_issued_at) / timedelta(days=1))
    issued = (series.forecast_issued_at or here).date().isoformat()
    foreseen = {"rain_mm": rain[:, now_hour:].copy()}
    is_filled = series.kinds["air_temp_c"][now_hour:] < Kind.FORECAST  # no forecast, a filling
    for name, values in others.items():
        foreseen[name] = np.where(is_filled, np.nan, values[:, now_hour:])
    ends = None if series.rain_range_mm is None else series.rain_range_mm[:, now_hour:]
    target = {"rain_mm": rain, **others}
    day_starts = np.arange(now_hour - 24, max(-1, now_hour - 24 * 31), -24)
    day_starts = day_starts[day_starts >= 0]
    if series.forecast_lead_h is not None:
        rests = np.isfinite(series.forecast_lead_h)
        day_starts = day_starts[[not rests[i : i + 24].any() for i in day_starts.tolist()]]
    temp_z = np.asarray(
        keyed_generator(seed, "forecast temperature", issued).normal(size=n_members)
    )
    year_of, year_from = _year_of_members(years, n_members, seed)
    shift_h, more_h = _FORECAST_SHIFT_H
    temp_sd_c, more_sd_c = _FORECAST_TEMP_SD_C
    for day in range(-(-(n_hours - now_hour) // 24)):
        first = now_hour + 24 * day
        last = min(first + 24, n_hours)
        date = (here + timedelta(days=day)).date().isoformat()
        generator = keyed_generator(seed, "forecast day", date, issued)
        order = generator.permutation(n_members)
        uniform = (order + generator.random(n_members)) / n_members
        shift = np.asarray(generator.normal(size=n_members))
        amount = np.asarray(generator.normal(size=n_members))
        share = np.asarray(generator.random(n_members))
        lead = day + age_d
        skill = _skill(lead)
        span = np.arange(first, last)
        for m in range(n_members):
            if day_starts.size:
                source = int(day_starts[int(share[m] * day_starts.size)])
                for values in target.values():
                    values[m, span] = values[m, source : source + span.size]
            if year_of[m] >= 0:
                at = int(year_from[m]) + 24 * day
                for name, values in target.items():
                    of_year = years[year_of[m]][name][at : at + span.size]
                    is_known = np.isfinite(of_year)
                    values[m, span[is_known]] = of_year[is_known]
            if uniform[m] >= skill and (day_starts.size or year_of[m] >= 0):
                continue
            moved = span - now_hour - round(float(shift[m]) * (shift_h + more_h * lead))
            _overlay(rain[m], span, _rain_told(foreseen["rain_mm"][m], ends, amount[m]), moved)
            for name, values in others.items():
                _overlay(values[m], span, foreseen[name][m], span - now_hour)
            warm = span[np.isfinite(foreseen["air_temp_c"][m, span - now_hour])]
            others["air_temp_c"][m, warm] += temp_z[m] * (temp_sd_c + more_sd_c * lead)
    for values in target.values():
        for m in range(n_members):
            is_bad = ~np.isfinite(values[m])
            if is_bad.any():
                values[m, is_bad] = np.interp(
                    np.flatnonzero(is_bad), np.flatnonzero(~is_bad), values[m, ~is_bad]
                )


def _rain_told(foreseen: FloatArray, ends: FloatArray | None, z: float) -> FloatArray:
    """The foreseen rain of one member: within the forecast's own range, else as it is known to err.

    The member keeps to one place in the range all day, as if the errors of its hours went together:
    `z` is standard normal. An end on the wrong side of what is foreseen counts as that.
    """
    told: FloatArray = foreseen * np.exp(_FORECAST_RAIN_LN_SD * z - _FORECAST_RAIN_LN_LESS)
    if ends is None:
        return told
    step = np.maximum(ends[1] - foreseen if z > 0.0 else foreseen - ends[0], 0.0)
    ranged = np.maximum(foreseen + z / _RANGE_Z * step, 0.0)
    return np.where(np.isfinite(ranged), ranged, told)


def _overlay(values: FloatArray, span: IntArray, foreseen: FloatArray, moved: IntArray) -> None:
    """Write what is foreseen at the hours `moved` into `span`, where it is known, in place."""
    is_inside = (moved >= 0) & (moved < foreseen.size)
    known = foreseen[np.clip(moved, 0, foreseen.size - 1)]
    # before the first foreseen hour a shifted forecast says nothing: it was dry or it rained before
    is_known = is_inside & np.isfinite(known)
    values[span[is_known]] = known[is_known]


@dataclass(frozen=True)
class Ensemble:
    """Every column of the farm after its run.

    Plantings that share soil and surface history share a group of `n_members` columns; groups are
    run in batches and left where they were computed. `histories` are soil and surface table of each
    planting, by which another run tells what of this one still holds. `drawn` are the members, as
    they were before, of soils whose thresholds squeeze tests have moved. `thought` is what squeeze
    tests of before `feels_from_hour` say of the thresholds of a soil.
    """

    sky: Sky
    runs: tuple[ColumnRun, ...]
    members: Mapping[str, SoilMembers]
    group_of: Mapping[str, int]  # planting key to group
    groups_a_run: int
    weights: Mapping[str, FloatArray]  # by soil
    n_members: int
    stored_from_hour: int
    readings_from_hour: int
    histories: Mapping[str, tuple[str, FloatArray]] = field(default_factory=dict)
    drawn: Mapping[str, SoilMembers] = field(default_factory=dict)  # where thresholds were moved
    thought: Mapping[str, ShiftPrior] = field(default_factory=dict)  # by soil
    feels_from_hour: float = -np.inf

    @property
    def n_groups(self) -> int:
        """Number of columns over the number of members."""
        return len(set(self.group_of.values()))

    def run_of(self, planting_key: str) -> tuple[ColumnRun, slice]:
        """The run that holds a planting's columns, and which they are."""
        batch, place = divmod(self.group_of[planting_key], self.groups_a_run)
        return self.runs[batch], slice(place * self.n_members, (place + 1) * self.n_members)

    @property
    def worst_residual_mm(self) -> float:
        """Largest residual of the water balance of any hour of any column [mm]."""
        return max(float(run.residual_mm[:, 0].max()) for run in self.runs)


def run_ensemble(
    sky: Sky,
    members: Mapping[str, SoilMembers],
    surfaces: Mapping[str, tuple[str, FloatArray]],
    weed_heat: WeedHeat,
    *,
    stored_from_hour: int,
    readings_from_hour: int | None = None,
    first_saturation_kpa: float = FIRST_SUCTION_KPA,
    progress: Callable[[str, float], None] | None = None,
    batch_groups: int = 12,
    mark_hours: Sequence[int] = (),
) -> Ensemble:
    """Run the columns of every planting, once for each soil and surface history that differ.

    Parameters
    ----------
    sky : Sky
        Weather of the members.
    members : mapping
        Members by soil name.
    surfaces : mapping
        Soil name and surface table (n_hours, 6) by planting key.
    weed_heat : WeedHeat
        Guilds of the running integrals.
    stored_from_hour, readings_from_hour : int
        From which hour hourly profiles, and running integrals, are kept; the same by default.
    first_saturation_kpa : float
        Suction of the profile at the first hour [kPa]: the drained state after winter.
    progress : callable, optional
        Told a message and the share done.
    batch_groups : int
        Groups run between two reports of progress.
    mark_hours : sequence of int
        Hours before which the runs are marked, rising: `rerun_ensemble` goes on from there.

    Returns
    -------
    Ensemble
        Results of all columns.

    Notes
    -----
    Plantings with the same soil and the same history share their columns; a bed more or less
    changes no figure of another. Definition of this project. No range stated. Worked:
    tests/planning/test_ensemble.py.
    """
    readings_from = stored_from_hour if readings_from_hour is None else readings_from_hour
    group_of: dict[str, int] = {}
    soils: list[str] = []
    tables: list[FloatArray] = []
    seen: dict[tuple[str, bytes], int] = {}
    for key in sorted(surfaces):
        soil, table = surfaces[key]
        mark = (soil, table.tobytes())
        if mark not in seen:
            seen[mark] = len(soils)
            soils.append(soil)
            tables.append(table)
        group_of[key] = seen[mark]
    n_members = next(iter(members.values())).working_m3m3.size
    runs: list[ColumnRun] = []
    for first in range(0, len(soils), batch_groups):
        if progress is not None:
            progress("soil of the beds", first / len(soils))
        part = slice(first, first + batch_groups)
        runs.append(
            _run_groups(
                sky,
                [members[soil] for soil in soils[part]],
                tables[part],
                weed_heat,
                stored_from_hour,
                readings_from,
                first_saturation_kpa,
                mark_hours,
            )
        )
    if progress is not None:
        progress("soil of the beds", 1.0)
    weights = {name: np.ones(n_members) / n_members for name in members}
    return Ensemble(
        sky,
        tuple(runs),
        members,
        group_of,
        batch_groups,
        weights,
        n_members,
        stored_from_hour,
        readings_from,
        dict(surfaces),
    )


def _run_groups(
    sky: Sky,
    members: Sequence[SoilMembers],
    tables: Sequence[FloatArray],
    weed_heat: WeedHeat,
    stored_from_hour: int,
    readings_from_hour: int,
    first_saturation_kpa: float = FIRST_SUCTION_KPA,
    mark_hours: Sequence[int] = (),
    taken_up: tuple[ColumnRun, IntArray, int] | None = None,
) -> ColumnRun:
    """One batch of groups, each with the members of its soil and its own surface table."""
    n_members = members[0].working_m3m3.size
    parameters = _joined([of_group.parameters for of_group in members])
    saturation = np.minimum(
        parameters.theta_33_m3m3
        * (33.0 / first_saturation_kpa) ** (1.0 / parameters.b)
        / parameters.theta_sat_m3m3,
        0.97,
    )
    air = sky.forcing.air_temp_c[:, : min(24 * 30, sky.n_hours)].mean(axis=1)
    return run_columns(
        parameters,
        sky.forcing,
        SurfaceHistory(*(np.stack([table[:, i] for table in tables]) for i in range(6))),
        initial_state(parameters, saturation, np.tile(air, len(tables))),
        series_of=np.tile(np.arange(n_members), len(tables)),
        history_of=np.repeat(np.arange(len(tables)), n_members),
        weed_heat=weed_heat,
        stored_from_hour=stored_from_hour,
        n_stored_layers=N_STORED_LAYERS,
        readings_from_hour=readings_from_hour,
        tolerance=ENSEMBLE_TOLERANCE,
        mark_hours=mark_hours,
        taken_up=taken_up,
    )


def first_change_hour(before: FloatArray, after: FloatArray, hour_axis: int = -1) -> int | None:
    """First hour at which two tables of hourly values differ.

    Parameters
    ----------
    before, after : array
        Values of the same shape, hours along `hour_axis`.
    hour_axis : int
        Axis of the hours.

    Returns
    -------
    int or None
        None where they are the same to the last bit.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> dry = np.zeros((2, 5))
    >>> wet = dry.copy()
    >>> wet[1, 3] = 4.0
    >>> first_change_hour(dry, wet), first_change_hour(dry, dry)
    (3, None)
    """
    differs = np.moveaxis(np.asarray(before) != np.asarray(after), hour_axis, -1)
    hours = np.flatnonzero(differs.reshape(-1, differs.shape[-1]).any(axis=0))
    return int(hours[0]) if hours.size else None


def sky_change_hour(before: Sky, after: Sky) -> int | None:
    """First hour at which two skies on one clock differ for any member.

    Parameters
    ----------
    before, after : Sky
        Weather of the members, from the same hour on and as long.

    Returns
    -------
    int or None
        None where they are the same; 0 where clock or members are others.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_whatif.py.
    """
    clock = ("start_at", "now_hour", "n_hours")
    if any(getattr(before, name) != getattr(after, name) for name in clock):
        return 0
    if before.forcing.rain_mm.shape != after.forcing.rain_mm.shape:
        return 0
    found = [
        first_change_hour(getattr(before.forcing, name), getattr(after.forcing, name))
        for name in before.forcing.__dataclass_fields__
    ]
    return min((hour for hour in found if hour is not None), default=None)


def rerun_ensemble(
    earlier: Ensemble,
    sky: Sky,
    surfaces: Mapping[str, tuple[str, FloatArray]],
    weed_heat: WeedHeat,
    *,
    progress: Callable[[str, float], None] | None = None,
) -> Ensemble:
    """The columns under another sky or other surfaces, run only from where they differ.

    Parameters
    ----------
    earlier : Ensemble
        A run of the same soils and hours, with marks.
    sky : Sky
        Weather of the members.
    surfaces : mapping
        Soil name and surface table (n_hours, 6) by planting key; the plantings of `earlier`.
    weed_heat : WeedHeat
        Guilds of the running integrals, as in `earlier`.
    progress : callable, optional
        Told a message and the share done.

    Returns
    -------
    Ensemble
        What `run_ensemble` gives for them, to the last bit, with equal weights. Columns that are
        touched by no change are those of `earlier`; others go on from its last mark before the
        change, or from the first hour where the change is older than any.

    Raises
    ------
    ValueError
        If the hours or the soil of a planting are others than in `earlier`.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_whatif.py.
    """
    if (earlier.sky.start_at, earlier.sky.n_hours) != (sky.start_at, sky.n_hours):
        msg = (
            f"ensemble: the earlier run has {earlier.sky.n_hours} hours from "
            f"{earlier.sky.start_at:%Y-%m-%d %H:%M}, this sky {sky.n_hours} from "
            f"{sky.start_at:%Y-%m-%d %H:%M}; run all columns anew"
        )
        raise ValueError(msg)
    of_sky = sky_change_hour(earlier.sky, sky)
    group_of: dict[str, int] = {}
    found: dict[tuple[str, bytes], list[str]] = {}
    begin_of: dict[tuple[str, bytes], tuple[int, int]] = {}  # mark, -1 for none, and run
    for key in sorted(surfaces):
        soil, table = surfaces[key]
        if earlier.histories[key][0] != soil:
            msg = f"ensemble: {key} lies on {soil}, in the earlier run on another soil"
            raise ValueError(msg)
        of_table = first_change_hour(earlier.histories[key][1], table, 0)
        changed = [hour for hour in (of_sky, of_table) if hour is not None]
        if not changed:
            group_of[key] = earlier.group_of[key]
            continue
        marks = earlier.run_of(key)[0].marks
        place = None if marks is None else marks.before(min(changed))
        mark = (soil, table.tobytes())
        begin = (-1 if place is None else place, earlier.group_of[key] // earlier.groups_a_run)
        found.setdefault(mark, []).append(key)
        begin_of[mark] = min(begin_of.get(mark, begin), begin)
    runs = list(earlier.runs)
    size = earlier.groups_a_run
    waiting = sorted(found, key=lambda mark: (begin_of[mark], found[mark][0]))
    n_done = 0
    while n_done < len(waiting):
        if progress is not None:
            progress("soil of the beds", n_done / len(waiting))
        begin = begin_of[waiting[n_done]]
        part = [mark for mark in waiting[n_done : n_done + size] if begin_of[mark] == begin]
        for at, mark in enumerate(part):
            group_of.update(dict.fromkeys(found[mark], len(runs) * size + at))
        runs.append(_run_again(earlier, sky, surfaces, weed_heat, part, found, begin))
        n_done += len(part)
    weights = {name: np.ones(earlier.n_members) / earlier.n_members for name in earlier.members}
    return replace(
        earlier,
        sky=sky,
        runs=tuple(runs),
        members={**earlier.members, **earlier.drawn},
        drawn={},
        group_of=group_of,
        weights=weights,
        histories=dict(surfaces),
    )


def _run_again(
    earlier: Ensemble,
    sky: Sky,
    surfaces: Mapping[str, tuple[str, FloatArray]],
    weed_heat: WeedHeat,
    part: Sequence[tuple[str, bytes]],
    found: Mapping[tuple[str, bytes], Sequence[str]],
    begin: tuple[int, int],
) -> ColumnRun:
    """One batch of changed groups, from a mark of the run that holds them all, or from hour 0."""
    place, batch = begin
    n = earlier.n_members
    names = [
        next(k for k in found[mark] if earlier.group_of[k] // earlier.groups_a_run == batch)
        for mark in part
    ]
    first_columns = [n * (earlier.group_of[name] % earlier.groups_a_run) for name in names]
    columns = np.concatenate([np.arange(first, first + n) for first in first_columns])
    return _run_groups(
        sky,
        [earlier.members[surfaces[name][0]] for name in names],
        [surfaces[name][1] for name in names],
        weed_heat,
        earlier.stored_from_hour,
        earlier.readings_from_hour,
        taken_up=None if place < 0 else (earlier.runs[batch], columns, place),
    )


def _joined(parts: Sequence[ColumnParameters]) -> ColumnParameters:
    names = ColumnParameters.__dataclass_fields__
    return ColumnParameters(
        **{name: np.concatenate([getattr(p, name) for p in parts]) for name in names}
    )
