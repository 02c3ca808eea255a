"""What a pass kills in its own weather: logged or possible, by soil member and by particle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import reduce

import numpy as np

from scheduler.errors import RangeError
from scheduler.models.kill import (
    burial_factor,
    depth_factor,
    dried_frac,
    dry_factor,
    drying_dose_mm,
    kill_frac,
    speed_factor,
    spread_kill_frac,
    stacked_kill_frac,
    wet_before_factor,
)
from scheduler.planning.draws import stratified_normals
from scheduler.planning.ensemble import Ensemble, SoilMembers
from scheduler.planning.outlook import Outlook
from scheduler.planning.traits import ToolTraits
from scheduler.records import FloatArray, IntArray, Tool

_BURIED_FOR_D = 7  # days after a pass in which water saves what it buried
_TAKES_MOST = 0.5  # of a stage: from this kill on a pass has taken all it can reach
_THREAD = 0  # as the kill tables have them
_TINE_GATE = "tine"  # tools that uproot as tines do: the deeper, the more


@dataclass(frozen=True)
class KillSettings:
    """What the tables say of kill under the weather."""

    drying_need_mm: FloatArray  # (5,) by stage: evaporation to nine tenths; inf: drying never kills
    rewet_mm: float  # water that wets an uprooted weed again
    wet_before_range_m3m3: float  # drier than the threshold by this: the whole kill
    ln_sd_farm: float  # of the dose of work of a tool on one farm
    ln_sd_pass: float  # of one pass
    unseen_dried_frac: float  # of the drying effect, for a pass before the hours that are stored
    again_frac: float = 0.0  # of the kill that a pass at once after another lacks
    again_d: float = 3.0  # over which that is made good
    again_thread_d: float = 1.0  # after it threads are new ones, which no pass has missed


@dataclass(frozen=True)
class PassRules:
    """What kills on one farm: its tools by name, what each can do by key, the tables, the seed."""

    tools: Mapping[str, Tool]
    traits: Mapping[str, ToolTraits]
    settings: KillSettings
    seed: int


@dataclass(frozen=True)
class PassWeather:
    """What a pass at each stored hour finds and what follows it; arrays (n_members, n_stored)."""

    dose_mm: FloatArray  # evaporation until the next wetting
    wetness_m3m3: FloatArray  # water of 0-30 mm above the working threshold
    n_wet_days: FloatArray  # of the week that follows
    first_hour: int  # on the sky's clock
    is_sandy: bool


def pass_weather(
    outlook: Outlook, ensemble: Ensemble, surface: FloatArray, settings: KillSettings
) -> PassWeather:
    """Wetness before, drying after and wettings of the week after a pass at any stored hour.

    Parameters
    ----------
    outlook : Outlook
        The planting's outlook.
    ensemble : Ensemble
        Columns after their run.
    surface : array
        Surface table of the planting (n_hours, 6).
    settings : KillSettings
        For what counts as a wetting.

    Returns
    -------
    PassWeather
        By member and stored hour.

    Notes
    -----
    Rain by member and sprinkled water wet an uprooted weed again, drip does not. Past the end of
    the series no wetting is known: doses end there, wet days are those within it. Sandy is a soil
    without a dry limit of tillage. Definition of this project; sources and range as
    `drying_dose_mm` and `burial_factor`. Worked: tests/planning/test_passes.py.
    """
    members = ensemble.members[outlook.planting.bed.soil]
    return weather_of_passes(outlook.theta_0_30_m3m3, members, ensemble, surface, settings)


def weather_of_passes(
    theta_0_30_m3m3: FloatArray,
    members: SoilMembers,
    ensemble: Ensemble,
    surface: FloatArray,
    settings: KillSettings,
) -> PassWeather:
    """As `pass_weather`, from the water of a planting's columns.

    Parameters
    ----------
    theta_0_30_m3m3 : array
        Water of 0-30 mm by member and stored hour, (n_members, n_stored) [m3/m3].
    members : SoilMembers
        Of the planting's soil.
    ensemble : Ensemble
        For the clock and the weather.
    surface : array
        Surface table of the planting (n_hours, 6).
    settings : KillSettings
        For what counts as a wetting.

    Returns
    -------
    PassWeather
        By member and stored hour.

    Notes
    -----
    As `pass_weather`. Worked: tests/planning/test_passes.py.
    """
    first = ensemble.stored_from_hour
    forcing = ensemble.sky.forcing
    water = forcing.rain_mm[:, first:] + (surface[first:, 0] * surface[first:, 1])[None, :]
    demand = np.maximum(forcing.et0_mm[:, first:], 0.0)  # dew does not undo drying
    return PassWeather(
        drying_dose_mm(demand, water, settings.rewet_mm),
        theta_0_30_m3m3 - members.working_m3m3[:, None],
        _wet_days(water, settings.rewet_mm),
        first,
        not members.dry_limit_m3m3.any(),
    )


def _wet_days(water_mm: FloatArray, rewet_mm: float) -> FloatArray:
    """Days of the week after each hour with a wetting, (n_members, n_hours)."""
    n_hours = water_mm.shape[1]
    total = np.zeros((water_mm.shape[0], n_hours + 24 * _BURIED_FOR_D + 1))
    np.cumsum(water_mm, axis=1, out=total[:, 1 : n_hours + 1])
    total[:, n_hours + 1 :] = total[:, n_hours : n_hours + 1]
    is_wet = total[:, 24:] - total[:, :-24] >= rewet_mm - 1e-9
    days = [is_wet[:, 24 * d : 24 * d + n_hours] for d in range(_BURIED_FOR_D)]
    count: FloatArray = np.sum(days, axis=0, dtype=np.float64)
    return count


def weather_kill_frac(
    good_frac: FloatArray,
    traits: ToolTraits,
    depth_mm: float,
    speed_m_s: float,
    weather: PassWeather,
    hours: FloatArray,
    settings: KillSettings,
) -> FloatArray:
    """Kill of passes at some hours under each member's soil and weather.

    Parameters
    ----------
    good_frac : array
        Kill on a good day by zone and stage, (2, 5) [-].
    traits : ToolTraits
        Of one kind of tool; a toolbar that carries several is `tool_kill_frac`.
    depth_mm, speed_m_s : float
        How it works [mm], [m/s].
    weather : PassWeather
        Of the planting.
    hours : array
        Hours on the sky's clock, (k,); a pass belongs to the hour it begins in.
    settings : KillSettings
        What the tables say.

    Returns
    -------
    array
        Kill (k, n_members, 2, 5) [-].

    Raises
    ------
    RangeError
        If an hour lies beyond the stored ones, or an argument beyond what the models take.

    Notes
    -----
    A pass before the stored hours found soil that was not wet and dried to `unseen_dried_frac`, but
    for stages that drying never kills. Depth counts for tools that uproot as tines do, against the
    middle of the tool's range. Definition of this project on `scheduler.models.kill`, whose sources
    and ranges hold.

    Examples
    --------
    Tines need drying for nine tenths of their kill. Two members: one stays dry, one is wetted.

    >>> tines = ToolTraits(True, True, True, True, 50.0, 0.0, drying_share=0.9, wet_after_frac=0.45)
    >>> need = np.array([1.0, 1.0, 2.0, 4.0, np.inf])
    >>> settings = KillSettings(need, 1.0, 0.03, 0.3, 0.25, 0.9)
    >>> dose = np.array([[4.0], [0.2]])
    >>> weather = PassWeather(dose, 0.0 * dose - 0.05, 0.0 * dose, 100, False)
    >>> kill = weather_kill_frac(np.full((2, 5), 0.6), tines, 20.0, 0.8, weather,
    ...                          np.array([100.0]), settings)
    >>> kill[0, :, 0].round(2).tolist()
    [[0.6, 0.6, 0.6, 0.57, 0.3], [0.41, 0.41, 0.36, 0.34, 0.3]]
    """
    index = np.floor(np.asarray(hours)).astype(np.int64) - weather.first_hour
    n_stored = weather.dose_mm.shape[1]
    if index.size and index.max() >= n_stored:
        raise RangeError(
            f"pass: found hour {index.max() + weather.first_hour}, the weather ends at hour "
            f"{n_stored + weather.first_hour}; ask for an hour before it"
        )
    is_seen = (index >= 0)[:, None]
    at = np.maximum(index, 0)
    need = settings.drying_need_mm
    dried = dried_frac(weather.dose_mm.T[at][:, :, None], need)
    unseen = np.where(np.isfinite(need), settings.unseen_dried_frac, 0.0)
    dried = np.where(is_seen[:, :, None], dried, unseen)
    wetness = np.where(is_seen, weather.wetness_m3m3.T[at], -settings.wet_before_range_m3m3)
    wet_before = wet_before_factor(
        np.maximum(wetness, 0.0),
        np.maximum(-wetness, 0.0),
        traits.wet_before_frac,
        settings.wet_before_range_m3m3,
    )
    buried = burial_factor(np.where(is_seen, weather.n_wet_days.T[at], 0.0))
    setup = speed_factor(speed_m_s, traits.speed_m_s, traits.speed_gain_frac)
    if traits.crop_gate == _TINE_GATE:
        usual_mm = 0.5 * (traits.depth_low_mm + traits.depth_high_mm)
        setup = setup * depth_factor(depth_mm, usual_mm)
    if weather.is_sandy:
        setup = setup * traits.on_sand_frac
    return kill_frac(
        good_frac,
        traits.drying_share,
        buried[:, :, None, None],
        dry_factor(dried, traits.wet_after_frac)[:, :, None, :],
        wet_before[:, :, None, None],
        setup,
    )


def tool_kill_frac(
    tool: Tool,
    good_frac: Mapping[str, FloatArray],
    depth_mm: float,
    hours: FloatArray,
    weather: PassWeather,
    rules: PassRules,
) -> FloatArray:
    """Kill of passes with a tool, or with all that its toolbar carries.

    Parameters
    ----------
    tool : Tool
        The tool as the farm owns it.
    good_frac : mapping
        Kill on a good day by kind of tool, zone and stage, (2, 5) [-].
    depth_mm : float
        Working depth [mm].
    hours : array
        Hours of the passes on the sky's clock, (k,).
    weather : PassWeather
        Of the planting.
    rules : PassRules
        Traits by kind, and what the tables say.

    Returns
    -------
    array
        Kill (k, n_members, 2, 5) [-].

    Raises
    ------
    RangeError
        As `weather_kill_frac`.

    Notes
    -----
    Each kind on a toolbar meets the weather by its own traits, at the toolbar's depth and speed;
    where two work one zone they kill as `stacked_kill_frac`. What marked weeds taught of the tool
    moves its dose of work as `spread_kill_frac`. Range and sources as `weather_kill_frac`.

    Examples
    --------
    Rain at once: knives between the rows and fingers in them lose each their own share.

    >>> def kind(share: float, wet: float) -> ToolTraits:
    ...     return ToolTraits(True, True, True, True, 50.0, 0.0, share, wet)
    >>> traits = {"knives": kind(0.37, 0.64), "finger weeder": kind(0.825, 0.45)}
    >>> good = {kind: np.zeros((2, 5)) for kind in traits}
    >>> good["finger weeder"][0], good["knives"][1] = 0.6, 0.9
    >>> bar = Tool("bar", "knives", 20.0, 0.8, carries=("finger weeder",))
    >>> settings = KillSettings(np.ones(5), 1.0, 0.03, 0.3, 0.25, 0.9)
    >>> rules = PassRules({"bar": bar}, traits, settings, 5)
    >>> zero = np.zeros((1, 1))
    >>> weather = PassWeather(zero, zero - 0.05, zero, 100, False)
    >>> tool_kill_frac(bar, good, 20.0, np.array([100.0]), weather, rules)[0, 0, :, 0].round(2)
    array([0.33, 0.78])
    """
    each = [
        weather_kill_frac(
            good_frac[kind],
            rules.traits[kind],
            depth_mm,
            tool.speed_m_s,
            weather,
            hours,
            rules.settings,
        )
        for kind in (tool.kind, *tool.carries)
    ]
    kill = reduce(stacked_kill_frac, each)
    return kill if tool.kill_ln == 0.0 else spread_kill_frac(kill, tool.kill_ln, 1.0)


def again_factor(
    days_since_d: FloatArray, taken_frac: FloatArray, settings: KillSettings
) -> FloatArray:
    """Share of its kill that a pass has so soon after another one in the same zone.

    Parameters
    ----------
    days_since_d : array
        Days since the pass before in each zone, (..., 2); inf for none [d].
    taken_frac : array
        What that pass takes on a good day by zone and stage, (2, 5) [-].
    settings : KillSettings
        What the tables say.

    Returns
    -------
    array
        Share by zone and stage, (..., 2, 5) [-].

    Notes
    -----
    What a pass that takes most has missed stands where tools do not reach, so the next one at once
    misses most of it too: 1 - again_frac min(1, taken/0.5) exp(-days/again_d); what hardly takes
    any has told nothing apart. Threads that stand more than
    `again_thread_d` after the pass are new, and missed by none. Assumption of this project. No
    range stated.

    Examples
    --------
    >>> settings = KillSettings(np.ones(5), 1.0, 0.03, 0.3, 0.25, 0.9, 0.7, 3.0)
    >>> took = np.tile([0.9, 0.7, 0.5, 0.25, 0.0], (2, 1))
    >>> again_factor(np.array([3.0, np.inf]), took, settings).round(2).tolist()
    [[1.0, 0.74, 0.74, 0.87, 1.0], [1.0, 1.0, 1.0, 1.0, 1.0]]
    >>> again_factor(np.array([0.0, 1.0]), took, settings)[:, :2].round(2).tolist()
    [[0.3, 0.3], [0.5, 0.5]]
    """
    days = np.asarray(days_since_d, np.float64)
    missing = settings.again_frac * np.exp(-days / settings.again_d)
    most = np.minimum(np.asarray(taken_frac) / _TAKES_MOST, 1.0)
    share: FloatArray = 1.0 - missing[..., None] * most
    share[..., _THREAD] = np.where(days > settings.again_thread_d, 1.0, share[..., _THREAD])
    return share


def particle_kill_frac(
    member_kill: FloatArray,
    member_of_particle: IntArray,
    z_farm: FloatArray,
    z_pass: FloatArray,
    settings: KillSettings,
) -> FloatArray:
    """Kill of passes by particle: its member's, spread by the farm's own luck and the pass's.

    Parameters
    ----------
    member_kill : array
        Kill by pass and member, (k, n_members, 2, 5) [-].
    member_of_particle : array of int
        The member each particle rides on, (n_particles,).
    z_farm : array
        Standard normal draws of the tool on this farm, (n_particles,) [-].
    z_pass : array
        And of each pass, (k, n_particles) [-].
    settings : KillSettings
        Spreads.

    Returns
    -------
    array
        Kill (k, n_particles, 2, 5) [-].

    Notes
    -----
    Source and range as `spread_kill_frac`; one dose for all zones and stages of a pass.

    Examples
    --------
    >>> settings = KillSettings(np.ones(5), 1.0, 0.03, 0.3, 0.25, 0.9)
    >>> z = np.array([-1.0, 0.0, 1.0])
    >>> kill = particle_kill_frac(
    ...     np.full((1, 1, 2, 5), 0.6), np.zeros(3, np.int64), z, z[None], settings
    ... )
    >>> kill[0, :, 0, 0].round(2).tolist()
    [0.41, 0.6, 0.8]
    """
    spread = settings.ln_sd_farm * z_farm[None, :] + settings.ln_sd_pass * z_pass
    return spread_kill_frac(member_kill[:, member_of_particle], spread[:, :, None, None], 1.0)


def pass_kill_frac(
    tool: Tool,
    planting_key: str,
    good_frac: Mapping[str, FloatArray],
    depth_mm: float,
    hours: FloatArray,
    days: Sequence[date],
    weather: PassWeather,
    rules: PassRules,
    member_of_particle: IntArray,
) -> FloatArray:
    """Kill by particle of passes of one tool over one planting, done or possible.

    Parameters
    ----------
    tool : Tool
        The tool as the farm owns it.
    planting_key : str
        Name of the planting.
    good_frac : mapping
        Kill on a good day by kind of tool, zone and stage, (2, 5) [-].
    depth_mm : float
        Working depth [mm].
    hours : array
        Hours of the passes on the sky's clock, (k,).
    days : sequence of date
        Their dates (UTC), (k,): the luck of a pass is drawn for planting, tool and date.
    weather : PassWeather
        Of the planting.
    rules : PassRules
        Of the farm.
    member_of_particle : array of int
        The member each particle rides on, (n_particles,).

    Returns
    -------
    array
        Kill (k, n_particles, 2, 5) [-].

    Raises
    ------
    RangeError
        As `tool_kill_frac`.

    Notes
    -----
    Draws are keyed by name and date: a corrected entry keeps its luck, and a pass thought of for a
    day has the luck of the one then logged. Definition of this project; range as
    `tool_kill_frac`. Worked: tests/planning/test_passes.py.
    """
    n = member_of_particle.shape[0]
    of_member = tool_kill_frac(tool, good_frac, depth_mm, hours, weather, rules)
    z_farm = stratified_normals(rules.seed, n, "kill", tool.key)
    z_pass = [
        stratified_normals(rules.seed, n, "kill", planting_key, tool.key, day.isoformat())
        for day in days
    ]
    return particle_kill_frac(
        of_member,
        member_of_particle,
        z_farm,
        np.stack(z_pass) if z_pass else np.zeros((0, n)),
        rules.settings,
    )
