"""The first weed clock: growing degree-days since the last trigger.

A flush opens when seeds are stirred or wetted: a pass, the preparation of the bed, sowing,
watering, or rain on dry ground. From then on it runs on soil degree-days above the base of its
guild, and it stands still (it does not start again) while the soil at seed depth is drier than the
guild can germinate in. In moist soil below the optimum this is plain degree-days.

How a flush spreads over its stages follows from three spreads of a guild: degree-days to
germinate (lognormal), sowing depth (gamma, cut off) and rate of elongation (lognormal). Emergence
is germination plus depth over rate. The milestones are read off that distribution.

Range: temperate annual weeds from seed within the top 50 mm; perennials from roots are outside.
"""

from __future__ import annotations

import math
from dataclasses import astuple, dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler.errors import RangeError
from scheduler.records import BoolArray, FloatArray, IntArray

NEVER = -1
_HEAT_STEP_CD = 0.25
_N_DEPTHS = 64
_N_RATES = 32
_N_ELONGATIONS = 128


@dataclass(frozen=True)
class Guild:
    """Weeds that germinate alike.

    Attributes
    ----------
    name : str
        What the guild is called.
    base_c, optimum_c, ceiling_c : float
        Soil temperatures at which germination starts, is fastest and ends [C].
    theta50_cd : float
        Degree-days to 50 % germination in the field [C d].
    sigma_ln : float
        Spread of its logarithm [-].
    psi_b50_kpa : float
        Water potential below which half the seeds stand still [kPa], negative.
    depth_mean_mm, depth_shape, depth_max_mm : float
        Mean and shape of the gamma distribution of depths, and the depth at which it is cut [mm].
    elongation_mm_cd, elongation_cv : float
        Median rate of shoot growth [mm per C d] and its coefficient of variation [-].
    leaf_base_c, phyllochron_cd, seed_leaf_cd : float
        Base of leaf growth [C], heat per leaf and heat as seed leaf before the first leaf starts
        [C d above that base].
    """

    name: str
    base_c: float
    optimum_c: float
    ceiling_c: float
    theta50_cd: float
    sigma_ln: float
    psi_b50_kpa: float
    depth_mean_mm: float
    depth_shape: float
    depth_max_mm: float
    elongation_mm_cd: float
    elongation_cv: float
    leaf_base_c: float
    phyllochron_cd: float
    seed_leaf_cd: float

    def __post_init__(self) -> None:
        if not self.base_c < self.optimum_c < self.ceiling_c:
            raise RangeError(
                f"guild {self.name}: found base {self.base_c:g}, optimum {self.optimum_c:g}, "
                f"ceiling {self.ceiling_c:g} C, must rise in this order"
            )
        if not self.psi_b50_kpa < 0.0:
            raise RangeError(
                f"guild {self.name}: psi_b50_kpa found {self.psi_b50_kpa:g}, must be below 0 "
                "(a water potential, not a suction)"
            )
        for name in (
            "theta50_cd",
            "sigma_ln",
            "depth_mean_mm",
            "depth_shape",
            "depth_max_mm",
            "elongation_mm_cd",
            "elongation_cv",
            "phyllochron_cd",
            "seed_leaf_cd",
        ):
            value = getattr(self, name)
            if not (value > 0.0 and math.isfinite(value)):
                raise RangeError(f"guild {self.name}: {name} found {value:g}, must be above 0")
        if self.depth_shape < 1.0:
            raise RangeError(
                f"guild {self.name}: depth_shape found {self.depth_shape:g}, must be 1 or more"
            )


@dataclass(frozen=True)
class FlushMilestones:
    """What happens to a flush, at which degree-days since it opened [C d].

    Attributes
    ----------
    first_thread_cd : float
        5 % have germinated: threads from.
    peak_thread_cd : float
        The largest share is in thread: threads most.
    emerged10_cd, emerged50_cd, emerged90_cd : float
        10, 50, 90 % of the flush are up.
    good_from_cd, best_cd, too_late_cd : float
        One pass kills 0.9 of its best or more from, best at, and up to here.
    peak_thread_frac, best_kill_frac : float
        Share in thread at its peak, share of the flush that the best single pass kills.
    """

    first_thread_cd: float
    peak_thread_cd: float
    emerged10_cd: float
    emerged50_cd: float
    emerged90_cd: float
    good_from_cd: float
    best_cd: float
    too_late_cd: float
    peak_thread_frac: float
    best_kill_frac: float

    @property
    def heat_cd(self) -> FloatArray:
        """The eight milestones in degree-days, in the order of `MILESTONES`, (8,)."""
        return np.array(astuple(self)[: len(MILESTONES)], dtype=np.float64)


MILESTONES = (
    "first_thread",
    "peak_thread",
    "emerged10",
    "emerged50",
    "emerged90",
    "good_from",
    "best",
    "too_late",
)


@dataclass(frozen=True)
class FlushShares:
    """Shares of a flush by state; they sum to 1.

    Attributes
    ----------
    to_germinate_frac, thread_frac, emerged_frac : FloatArray
        Not yet germinated, germinated but not up, up [-].
    """

    to_germinate_frac: FloatArray
    thread_frac: FloatArray
    emerged_frac: FloatArray

    @property
    def to_come_frac(self) -> FloatArray:
        """Share still below the surface [-]."""
        return np.asarray(self.to_germinate_frac + self.thread_frac)


@dataclass(frozen=True)
class FlushDates:
    """When each member reaches each milestone.

    Attributes
    ----------
    reached_hour : IntArray
        Hour in which the milestone is reached (it is reached by the end of that hour), -1 if not
        within the series or if no flush is open; (n_milestones, n_members).
    extrapolated_hour : FloatArray
        Where the series ends before the milestone: the hours from its start to the milestone at the
        recent pace, else NaN; (n_milestones, n_members).
    """

    reached_hour: IntArray
    extrapolated_hour: FloatArray

    @property
    def is_extrapolated(self) -> BoolArray:
        """Where only the extrapolated hour exists, (n_milestones, n_members)."""
        return np.isfinite(self.extrapolated_hour)


def germination_heat_c(soil_temp_c: ArrayLike, guild: Guild) -> FloatArray:
    """Temperature above the base that counts for germination.

    ``T - Tb`` from base to optimum, falling in a line to 0 at the ceiling, 0 outside.

    Parameters
    ----------
    soil_temp_c : ArrayLike
        Soil temperature at seed depth [C], any shape.
    guild : Guild
        Its base, optimum and ceiling are used.

    Returns
    -------
    FloatArray
        Effective temperature [C], same shape, NaN where the temperature is.

    Notes
    -----
    Bases are the spread of eight sources (`guillemin_2013` foremost), optimum and ceiling are
    assumptions. Use hourly temperatures: a daily mean below the base hides warm afternoons. Range
    as the module.

    Examples
    --------
    >>> warm = Guild("warm", 10, 32, 42, 50, 0.5, -800, 10, 1.6, 50, 0.5, 0.35, 8, 25, 15)
    >>> germination_heat_c([8.0, 16.0, 32.0, 37.0, 45.0], warm).tolist()
    [0.0, 6.0, 22.0, 11.0, 0.0]
    """
    temp = np.asarray(soil_temp_c, dtype=np.float64)
    rising = temp - guild.base_c
    falling = (
        (guild.optimum_c - guild.base_c)
        * (guild.ceiling_c - temp)
        / (guild.ceiling_c - guild.optimum_c)
    )
    return np.asarray(np.maximum(np.minimum(rising, falling), 0.0))


def thermal_progress_cd(soil_temp_c: ArrayLike, suction_kpa: ArrayLike, guild: Guild) -> FloatArray:
    """Degree-days that each hour adds to a flush; nothing while the soil is too dry.

    ``f(T)/24`` in hours whose suction is below ``-psi_b50``, else 0: progress pauses and is kept.
    In moist soil between base and optimum the daily sum is plain degree-days.

    Parameters
    ----------
    soil_temp_c : ArrayLike
        Soil temperature at about 10 to 25 mm [C], (n_members, n_hours).
    suction_kpa : ArrayLike
        Suction at that depth [kPa], >= 0, same shape.
    guild : Guild
        Temperatures and base water potential.

    Returns
    -------
    FloatArray
        Progress of each hour [C d], >= 0, (n_members, n_hours).

    Raises
    ------
    RangeError
        If a value is not a number or a suction is negative.

    Notes
    -----
    The gate in place of a product of temperature and moisture follows `finch_savage_1998` (field
    germination of carrot); that dryness delays and does not lose a flush is `roberts_potter_1980`.
    One gate for the whole flush: in reality its moister-loving half stops earlier. Range as the
    module.

    Examples
    --------
    >>> warm = Guild("warm", 10, 32, 42, 50, 0.5, -800, 10, 1.6, 50, 0.5, 0.35, 8, 25, 15)
    >>> thermal_progress_cd([[16.0, 16.0, 9.0]], [[20.0, 900.0, 20.0]], warm).tolist()
    [[0.25, 0.0, 0.0]]
    """
    temp = np.asarray(soil_temp_c, dtype=np.float64)
    suction = np.asarray(suction_kpa, dtype=np.float64)
    if np.isnan(temp).any():
        raise RangeError(
            f"soil_temp_c: found {int(np.isnan(temp).sum())} values that are not numbers, must be "
            "complete; run the soil column on weather without gaps"
        )
    if not np.all(suction >= 0.0):
        raise RangeError(
            f"suction_kpa: found {np.min(suction):g}, must be a number, 0 or more "
            "(a suction, not a potential)"
        )
    is_moist = suction < -guild.psi_b50_kpa
    return np.asarray(np.where(is_moist, germination_heat_c(temp, guild), 0.0) / 24.0)


@dataclass(frozen=True)
class _Spread:
    """Shares germinated and up on a grid of degree-days since the flush opened."""

    heat_cd: FloatArray
    germinated_frac: FloatArray
    emerged_frac: FloatArray


@lru_cache(maxsize=64)
def _spread(guild: Guild) -> _Spread:
    normal = NormalDist()
    elongation = _elongation_cd(guild)
    top = guild.theta50_cd * math.exp(4.0 * guild.sigma_ln) + float(elongation[-1])
    heat = np.arange(0.0, top, _HEAT_STEP_CD)
    germinated = np.array(
        [0.0]
        + [normal.cdf(math.log(x / guild.theta50_cd) / guild.sigma_ln) for x in heat[1:].tolist()]
    )
    emerged = np.zeros_like(heat)
    for delay in elongation.tolist():
        emerged += np.interp(heat - delay, heat, germinated, left=0.0)
    return _Spread(heat, germinated, emerged / elongation.size)


def _elongation_cd(guild: Guild) -> FloatArray:
    """Degree-days from germination to the surface: equally likely values, rising."""
    normal = NormalDist()
    scale = guild.depth_mean_mm / guild.depth_shape
    depth = np.linspace(0.0, guild.depth_max_mm, 4001)
    density = depth ** (guild.depth_shape - 1.0) * np.exp(-depth / scale)
    below = np.concatenate(([0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))))
    depths = np.interp((np.arange(_N_DEPTHS) + 0.5) / _N_DEPTHS, below / below[-1], depth)
    spread = math.sqrt(math.log1p(guild.elongation_cv**2))
    rates = guild.elongation_mm_cd * np.exp(
        spread * np.array([normal.inv_cdf((i + 0.5) / _N_RATES) for i in range(_N_RATES)])
    )
    each = np.sort((depths[:, None] / rates[None, :]).ravel())
    return np.asarray(each.reshape(_N_ELONGATIONS, -1).mean(axis=1))


def flush_shares(heat_cd: ArrayLike, guild: Guild) -> FlushShares:
    """How a flush is spread over its states after so many degree-days.

    Parameters
    ----------
    heat_cd : ArrayLike
        Degree-days since the flush opened [C d], any shape.
    guild : Guild
        Spreads of germination, depth and elongation.

    Returns
    -------
    FlushShares
        Shares not germinated, in thread and up, same shape; NaN where the heat is.

    Notes
    -----
    ``germinated = Phi(ln(heat / theta50) / sigma)``; ``up`` is its convolution with depth over
    rate. Parameters are effective field values of this project (see the guild table). Range as the
    module. Definition of this project.

    Examples
    --------
    >>> spring = Guild("spring", 5, 27, 38, 70, 0.55, -1000, 12, 1.8, 50, 0.5, 0.35, 4, 25, 20)
    >>> round(float(flush_shares(70.0, spring).to_germinate_frac), 3)
    0.5
    """
    spread = _spread(guild)
    heat = np.asarray(heat_cd, dtype=np.float64)
    germinated = np.interp(heat, spread.heat_cd, spread.germinated_frac)
    emerged = np.interp(heat, spread.heat_cd, spread.emerged_frac)
    return FlushShares(
        np.asarray(1.0 - germinated), np.asarray(germinated - emerged), np.asarray(emerged)
    )


def one_pass_kill_frac(
    heat_cd: ArrayLike,
    guild: Guild,
    stage_kill_frac: tuple[float, float, float, float],
    typical_temp_c: float = 16.0,
) -> FloatArray:
    """Share of a whole flush that one pass kills, after so many degree-days.

    Parameters
    ----------
    heat_cd : ArrayLike
        Degree-days since the flush opened [C d], any shape.
    guild, stage_kill_frac, typical_temp_c
        As in `flush_milestones`.

    Returns
    -------
    FloatArray
        Share of the flush [-], same shape.

    Raises
    ------
    RangeError
        As `flush_milestones`.

    Notes
    -----
    ``k0 thread + k1 seed leaf + k2 (1-2 leaves) + k3 (3 or more)``; what has not germinated
    escapes. Range as the module. Definition of this project.

    Examples
    --------
    >>> spring = Guild("spring", 5, 27, 38, 70, 0.55, -1000, 12, 1.8, 50, 0.5, 0.35, 4, 25, 20)
    >>> one_pass_kill_frac([20.0, 104.0, 400.0], spring, (0.9, 0.75, 0.35, 0.35)).round(2).tolist()
    [0.01, 0.53, 0.35]
    """
    kill = np.array(stage_kill_frac, dtype=np.float64)
    if not (np.all((kill >= 0.0) & (kill <= 1.0)) and kill.max() > 0.0):
        raise RangeError(
            f"stage_kill_frac: found {stage_kill_frac}, must be shares 0 to 1 and not all 0"
        )
    temp = min(typical_temp_c, guild.optimum_c)
    if not temp > max(guild.base_c, guild.leaf_base_c):
        raise RangeError(
            f"typical_temp_c: found {typical_temp_c:g}, must be above the bases of guild "
            f"{guild.name}, {guild.base_c:g} and {guild.leaf_base_c:g} C"
        )
    spread = _spread(guild)
    grid = spread.heat_cd
    up = spread.emerged_frac
    per_leaf_heat = (temp - guild.base_c) / (temp - guild.leaf_base_c)
    seed_leaf = guild.seed_leaf_cd + guild.phyllochron_cd
    true_leaf = seed_leaf + 2.0 * guild.phyllochron_cd
    leafed = np.interp(grid - seed_leaf * per_leaf_heat, grid, up, left=0.0)
    grown = np.interp(grid - true_leaf * per_leaf_heat, grid, up, left=0.0)
    killed = kill[0] * (spread.germinated_frac - up) + kill[1] * (up - leafed)
    killed = killed + kill[2] * (leafed - grown) + kill[3] * grown
    return np.asarray(np.interp(np.asarray(heat_cd, dtype=np.float64), grid, killed))


@lru_cache(maxsize=256)
def flush_milestones(
    guild: Guild, stage_kill_frac: tuple[float, float, float, float], typical_temp_c: float = 16.0
) -> FlushMilestones:
    """Degree-days at which a flush reaches what a grower asks about.

    Parameters
    ----------
    guild : Guild
        The weeds.
    stage_kill_frac : tuple of float
        Share one pass kills of threads, seed leaves, weeds with 1-2 and with 3 or more true leaves,
        0 to 1; what has not germinated escapes.
    typical_temp_c : float
        Soil temperature at which leaves grow meanwhile [C], above the base. It matters only for the
        last three milestones, because leaves run above another base than germination.

    Returns
    -------
    FlushMilestones
        In degree-days above the base of the guild.

    Raises
    ------
    RangeError
        If a kill share is not within 0 to 1, all are 0, or the temperature is not above the bases.

    Notes
    -----
    A seed leaf lasts ``seed_leaf + phyllochron``, 1-2 leaves ``2 phyllochron`` above the leaf base.
    Range as the module; the heat of a seedling after emergence is converted at one temperature, an
    error of up to 8 % of `good_from`, `best` and `too_late` in a warm guild at 12 C, 3 % elsewhere.
    Definition of this project.

    Examples
    --------
    >>> spring = Guild("spring", 5, 27, 38, 70, 0.55, -1000, 12, 1.8, 50, 0.5, 0.35, 4, 25, 20)
    >>> m = flush_milestones(spring, (0.9, 0.75, 0.35, 0.35))
    >>> m.heat_cd.round().tolist()
    [28.0, 74.0, 52.0, 96.0, 173.0, 81.0, 104.0, 140.0]
    """
    spread = _spread(guild)
    heat = spread.heat_cd
    thread = spread.germinated_frac - spread.emerged_frac
    up = spread.emerged_frac
    killed = one_pass_kill_frac(heat, guild, stage_kill_frac, typical_temp_c)
    is_good = np.flatnonzero(killed >= 0.9 * killed.max())
    return FlushMilestones(
        first_thread_cd=float(np.interp(0.05, spread.germinated_frac, heat)),
        peak_thread_cd=float(heat[thread.argmax()]),
        emerged10_cd=float(np.interp(0.10, up, heat)),
        emerged50_cd=float(np.interp(0.50, up, heat)),
        emerged90_cd=float(np.interp(0.90, up, heat)),
        good_from_cd=float(heat[is_good[0]]),
        best_cd=float(heat[killed.argmax()]),
        too_late_cd=float(heat[is_good[-1]]),
        peak_thread_frac=float(thread.max()),
        best_kill_frac=float(killed.max()),
    )


def flush_dates(
    cumulative_cd: ArrayLike,
    opened_hour: ArrayLike,
    milestones_cd: ArrayLike,
    recent_h: int = 240,
) -> FlushDates:
    """When each member's flush reaches each milestone.

    Parameters
    ----------
    cumulative_cd : ArrayLike
        Running sum of `thermal_progress_cd` at the end of each hour [C d], (n_members, n_hours).
    opened_hour : ArrayLike
        Hour at whose start the flush opened, -1 if none is open, (n_members,).
    milestones_cd : ArrayLike
        Degree-days since the opening [C d], above 0, (n_milestones,); `FlushMilestones.heat_cd`.
    recent_h : int
        Hours at the end of the series whose mean pace carries on beyond it [h]; fewer if the flush
        is younger.

    Returns
    -------
    FlushDates
        Hour indexes, and hours beyond the series kept apart.

    Raises
    ------
    RangeError
        If the running sum falls or is not a number, an opening lies beyond the series, or a
        milestone is not above 0.

    Notes
    -----
    Counting only; an extrapolated hour assumes that temperature and moisture stay as they were.
    Definition of this project.

    Examples
    --------
    >>> dates = flush_dates([[1.0, 2.0, 3.0, 4.0]], [1], [2.0, 9.0], recent_h=2)
    >>> dates.reached_hour.tolist(), dates.extrapolated_hour.tolist()
    ([[2], [-1]], [[nan], [10.0]])
    """
    total = np.asarray(cumulative_cd, dtype=np.float64)
    opened = np.asarray(opened_hour, dtype=np.int64)
    milestones = np.asarray(milestones_cd, dtype=np.float64)
    if total.ndim != 2 or np.isnan(total).any() or np.any(np.diff(total, axis=1) < 0.0):
        raise RangeError(
            f"cumulative_cd: found shape {total.shape}, must be (n_members, n_hours), hold numbers "
            "only and never fall; pass the running sum along the hours"
        )
    n_members, n_hours = total.shape
    if opened.shape != (n_members,) or np.any((opened < NEVER) | (opened >= n_hours)):
        raise RangeError(
            f"opened_hour: found {opened.tolist()[:8]}, must be one hour index from -1 to "
            f"{n_hours - 1} for each of {n_members} members"
        )
    if milestones.ndim != 1 or not np.all(milestones > 0.0):
        raise RangeError(f"milestones_cd: found {milestones.tolist()}, must be numbers above 0")
    if recent_h < 1:
        raise RangeError(f"recent_h: found {recent_h}, must be 1 or more")
    reached = np.full((milestones.size, n_members), NEVER, dtype=np.int64)
    beyond = np.full((milestones.size, n_members), np.nan)
    for member in np.flatnonzero(opened >= 0).tolist():
        start = int(opened[member])
        before = float(total[member, start - 1]) if start else 0.0
        progress = total[member, start:] - before
        hours = np.searchsorted(progress, milestones - 1e-9)
        is_within = hours < progress.size
        reached[is_within, member] = start + hours[is_within]
        span = min(recent_h, progress.size)
        earlier = progress[-span - 1] if span < progress.size else 0.0
        pace = (progress[-1] - earlier) / span
        if pace > 0.0:
            missing = milestones[~is_within] - progress[-1]
            beyond[~is_within, member] = n_hours + missing / pace
    return FlushDates(reached, beyond)


def wetting_triggers(
    water_mm: ArrayLike,
    wet_mm: float = 8.0,
    event_h: int = 48,
    dry_spell_d: float = 5.0,
    dry_mm: float = 2.0,
    is_dry_before: bool = False,
) -> BoolArray:
    """Hours in which rain or watering wakes seeds in ground that had been dry.

    An event begins with the first water after a dry spell: less than `dry_mm` in all over the last
    `dry_spell_d` days. It triggers in the hour in which its water reaches `wet_mm`, if that is
    within `event_h` hours of its beginning, and at most once a dry spell.

    Parameters
    ----------
    water_mm : ArrayLike
        Rain and watering in each hour [mm], >= 0, (n_members, n_hours) or (n_hours,).
    wet_mm : float
        Water that wakes seeds [mm], above `dry_mm`.
    event_h : int
        Longest time in which it must fall [h].
    dry_spell_d : float
        Dry time before [d].
    dry_mm : float
        Water that does not end a dry spell [mm].
    is_dry_before : bool
        Whether the time before the series was dry. If not, no event begins before a whole dry spell
        has been seen.

    Returns
    -------
    BoolArray
        True in triggering hours, same shape.

    Raises
    ------
    RangeError
        If water is negative or not a number, or a limit is out of its range.

    Notes
    -----
    8 mm after 5 dry days is an assumption of this project; `roberts_potter_1980` saw most flushes
    follow rain after dry spells. Undisturbed ground answers with a smaller flush than stirred
    ground, at the same pace.

    Examples
    --------
    >>> hours = [0.0] * 200
    >>> hours[150:153] = [5.0, 4.0, 3.0]
    >>> import numpy
    >>> numpy.flatnonzero(wetting_triggers(hours)).tolist()
    [151]
    """
    water = np.asarray(water_mm, dtype=np.float64)
    if water.ndim not in (1, 2) or not np.all(water >= 0.0):
        raise RangeError(
            f"water_mm: found shape {water.shape} with least value {np.min(water, initial=0.0):g}, "
            "must be (n_members, n_hours) or (n_hours,) of numbers, 0 or more; draw unknown rain "
            "per member first"
        )
    if not (wet_mm > dry_mm > 0.0 and event_h >= 1 and dry_spell_d > 0.0):
        raise RangeError(
            f"wetting: found wet_mm {wet_mm:g}, dry_mm {dry_mm:g}, event_h {event_h}, dry_spell_d "
            f"{dry_spell_d:g}, must be wet_mm > dry_mm > 0, event_h 1 or more, dry_spell_d above 0"
        )
    spell_h = max(round(24.0 * dry_spell_d), 1)
    rows = np.atleast_2d(water)
    n_hours = rows.shape[1]
    hour = np.arange(n_hours)
    fallen = np.concatenate((np.zeros((rows.shape[0], 1)), np.cumsum(rows, axis=1)), axis=1)
    in_spell = fallen[:, hour] - fallen[:, np.maximum(hour - spell_h, 0)]
    is_known = is_dry_before | (hour >= spell_h)
    is_begin = (rows > 0.0) & (in_spell < dry_mm) & is_known
    # The earliest beginning within event_h before each hour has caught most of the water.
    following = np.where(is_begin, hour, n_hours)
    following = np.minimum.accumulate(following[:, ::-1], axis=1)[:, ::-1]
    begun = following[:, np.maximum(hour - event_h + 1, 0)]
    is_open = begun <= hour
    caught = fallen[:, 1:] - np.take_along_axis(fallen, np.minimum(begun, n_hours), axis=1)
    is_wet = is_open & (caught >= wet_mm - 1e-9)
    triggers = np.zeros_like(is_wet)
    for row in range(rows.shape[0]):
        latest = NEVER
        for candidate in np.flatnonzero(is_wet[row]).tolist():
            if begun[row, candidate] > latest:  # not a later hour of the same wetting
                triggers[row, candidate] = True
                latest = candidate
    return triggers if water.ndim == 2 else triggers[0]


def latest_trigger(is_trigger: ArrayLike, before_hour: int) -> tuple[IntArray, NDArray[np.int8]]:
    """The trigger that opened each member's present flush.

    Parameters
    ----------
    is_trigger : ArrayLike
        Triggering hours by kind, (n_kinds, n_members, n_hours); kinds that are the same for all
        members may be broadcast. In one hour the kind listed first counts.
    before_hour : int
        Only hours before this index are looked at.

    Returns
    -------
    tuple of IntArray and NDArray[int8]
        Hour of the latest trigger and index of its kind, -1 where there is none, (n_members,).

    Raises
    ------
    RangeError
        If the array has not three dimensions or `before_hour` is negative.

    Notes
    -----
    Definition of this project.

    Examples
    --------
    >>> passes, rain = [[False, True, False, False]], [[False, False, True, False]]
    >>> [x.tolist() for x in latest_trigger([passes, rain], before_hour=4)]
    [[2], [1]]
    """
    triggers = _triggers(is_trigger, before_hour, "before_hour")[:, :, :before_hour]
    if triggers.shape[2] == 0:
        return _none_of(triggers.shape[1])
    backward = triggers[:, :, ::-1]
    last = np.where(backward.any(axis=2), triggers.shape[2] - 1 - backward.argmax(axis=2), NEVER)
    return _pick(last.max(axis=0), last)


def next_trigger(is_trigger: ArrayLike, from_hour: int) -> tuple[IntArray, NDArray[np.int8]]:
    """The first trigger still to come for each member.

    Parameters
    ----------
    is_trigger : ArrayLike
        Triggering hours by kind, as in `latest_trigger`, (n_kinds, n_members, n_hours).
    from_hour : int
        First hour index looked at.

    Returns
    -------
    tuple of IntArray and NDArray[int8]
        Hour of the next trigger and index of its kind, -1 where there is none, (n_members,).

    Raises
    ------
    RangeError
        If the array has not three dimensions or `from_hour` is negative.

    Notes
    -----
    Definition of this project.

    Examples
    --------
    >>> passes, rain = [[False, True, False, False]], [[False, False, False, True]]
    >>> [x.tolist() for x in next_trigger([passes, rain], from_hour=2)]
    [[3], [1]]
    """
    triggers = _triggers(is_trigger, from_hour, "from_hour")[:, :, from_hour:]
    if triggers.shape[2] == 0:
        return _none_of(triggers.shape[1])
    n_hours = triggers.shape[2]
    first = np.where(triggers.any(axis=2), triggers.argmax(axis=2), n_hours)
    earliest = first.min(axis=0)
    hour, kind = _pick(earliest, first)
    is_none = earliest == n_hours
    return np.where(is_none, NEVER, from_hour + hour), np.where(is_none, NEVER, kind).astype(
        np.int8
    )


def _pick(hour: NDArray[np.int64], by_kind: NDArray[np.int64]) -> tuple[IntArray, NDArray[np.int8]]:
    """The hour of each member and the first kind that has it."""
    kind = np.where(hour == NEVER, NEVER, (by_kind == hour).argmax(axis=0))
    return hour.astype(np.int64), kind.astype(np.int8)


def _none_of(n_members: int) -> tuple[IntArray, NDArray[np.int8]]:
    return np.full(n_members, NEVER, dtype=np.int64), np.full(n_members, NEVER, dtype=np.int8)


def _triggers(is_trigger: ArrayLike, hour: int, name: str) -> BoolArray:
    triggers = np.asarray(is_trigger, dtype=bool)
    if triggers.ndim != 3:
        raise RangeError(
            f"is_trigger: found shape {triggers.shape}, must be (n_kinds, n_members, n_hours)"
        )
    if hour < 0:
        raise RangeError(f"{name}: found {hour}, must be 0 or more")
    return triggers
