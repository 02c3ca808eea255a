"""What the grower's stopwatch and marked weeds teach: minutes of work and kill of the own tools.

Everything is learned anew from the journal each time. Minutes are learned as a ratio to what was
reckoned; an entry far from all else is doubted and left out, so that a wrong unit wrecks nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

import numpy as np

from scheduler.planning.ensemble import Sky
from scheduler.planning.geometry import fit
from scheduler.planning.hours import local_day
from scheduler.planning.plantings import (
    is_deep_preparation,
    plantings_at,
    touches,
    was_done,
)
from scheduler.planning.traits import ToolTraits
from scheduler.planning.weeds import HandRates
from scheduler.planning.work import setup_minutes, work_minutes
from scheduler.records import (
    BoolArray,
    DoubtedEntry,
    Event,
    Farm,
    FloatArray,
    IntArray,
    Lesson,
    Planting,
    Range,
    Tool,
)

_PRIOR_LN_SD = 0.5  # of a farm's minutes about those reckoned
_ENTRY_LN_SD = 0.35  # of one timed pass or set-up about its tool's own
_HAND_ENTRY_LN_SD = 0.4  # of one round by hand, beside what is not known of its weeds
_READING_MIN = 0.3  # to which minutes are read off a watch
_SHARED_FRAC = 0.5  # of what makes a farm differ, that its tools have in common
_DOUBT_SD = 4.0  # from where an entry is doubted
_NEWEST = 40  # timed entries of a tool that are learned from
_KILL_STRENGTH = 6.0  # marked weeds that the tables' kill counts for
_MOST_MARKED = 20.0  # that one pass counts for: its weeds share its luck
_KILL_DOUBT_FRAC = 0.001  # chance below which a count of survivors is doubted
_AFTER_PASS_D = 21.0  # after a pass in which a count of survivors still speaks of it
_TELLING_FRAC = 0.03  # share by which minutes must differ to be called other ones
_EDGE_FRAC = 0.02  # a kill nearer to none or all says nothing of the tool
_LEAST_MIN = 0.1  # of a round: nothing stands
_GREEN = slice(1, 5)  # stages that can be marked
_OLDER_WEEDS_D = 28.0  # after which weeds from before what is followed count no more
_ENDS_A_COUNT = ("pass", "hand", "prep", "sow", "plant", "clear")
_Z_10 = 1.2816  # standard normal at 90 %
_N_GRID = 2000


@dataclass(frozen=True)
class Timed:
    """Minutes of an entry by the stopwatch, beside those reckoned for it."""

    event: Event
    of: str  # the tool's name
    found_min: float
    reckoned_min: float
    reckoned_ln_sd: float = 0.0  # of what is not known of the weeds


@dataclass(frozen=True)
class Marked:
    """Weeds that were marked before a pass and looked for after it."""

    event: Event
    of: str  # name of the tool that passed
    left_n: float
    of_n: float
    kill_frac: float  # reckoned for that pass


@dataclass(frozen=True)
class OwnRates:
    """How the farm's own minutes and kill differ from those reckoned; tools by name.

    Under "" stands the factor of a tool that the farm does not have.
    """

    work_factor: Mapping[str, float] = field(default_factory=dict)
    setup_factor: Mapping[str, float] = field(default_factory=dict)
    kill_ln: Mapping[str, float] = field(default_factory=dict)  # logarithm of the dose of work
    hand_factor: float = 1.0
    lessons: tuple[Lesson, ...] = ()
    doubts: tuple[DoubtedEntry, ...] = ()


AS_RECKONED = OwnRates()


def own_rates(
    tools: Sequence[Tool],
    work: Sequence[Timed] = (),
    setups: Sequence[Timed] = (),
    hand: Sequence[Timed] = (),
    marked: Sequence[Marked] = (),
) -> OwnRates:
    """What all timed entries and marked weeds together say.

    Parameters
    ----------
    tools : sequence of Tool
        The farm's.
    work, setups, hand : sequence of Timed
        Passes, set-ups and rounds by hand, in order of time.
    marked : sequence of Marked
        Survivors counted after passes.

    Returns
    -------
    OwnRates
        Factors of the minutes reckoned and shifts of kill, with what was learned and doubted; a
        tool without a factor goes as reckoned.

    Notes
    -----
    Minutes: the logarithm of the ratio is normal about that of the farm, of which the tools share
    half, so what one tool tells is believed of another half way. An entry whose ratio lies more
    than 4 standard deviations from what is thought of any farm, or from what the other entries say,
    is doubted. Rounds by hand count the less, the less is known of the weeds they met, and half of
    that is common to all rounds. Kill: a Beta of strength 6 about the kill reckoned, all passes of
    a tool pooled, and the tool's dose of work moved so that the mean comes out. Spreads are
    assumptions of this project (E, rules.csv, subject own rates). No range stated.

    Examples
    --------
    Six passes that took half as long again as reckoned, and a seventh logged in the wrong unit.

    >>> from datetime import UTC, datetime
    >>> at = datetime(2013, 5, 8, 9, tzinfo=UTC)
    >>> def timed(found_min: float) -> Timed:
    ...     return Timed(Event(f"{found_min}", "pass", at, at, "A1"), "tines", found_min, 2.0)
    >>> tines, hoe = Tool("tines", "tine weeder", 15.0, 0.9), Tool("hoe", "wheel hoe", 20.0, 0.7)
    >>> found = own_rates([tines, hoe], [timed(3.0 + 0.1 * i) for i in range(6)] + [timed(120.0)])
    >>> {name: round(factor, 2) for name, factor in found.work_factor.items()}
    {'': 1.25, 'hoe': 1.25, 'tines': 1.55}
    >>> [doubt.event.data for doubt in found.doubts], len(found.lessons)
    ([{}], 1)
    """
    names = [tool.name for tool in tools]
    lessons: list[Lesson] = []
    doubts: list[DoubtedEntry] = []
    by_kind: list[Mapping[str, float]] = []
    for what, entries in (("work", work), ("set-up", setups)):
        known = _newest([t for t in entries if t.of in names])
        factors, taught, doubted = _tool_factors(what, known)
        by_kind.append({name: factors.get(name, factors[""]) for name in ("", *sorted(names))}
                       if known else {})  # fmt: skip
        lessons += taught
        doubts += doubted
    kill_ln, taught, doubted = _kill_shifts([m for m in marked if m.of in names])
    of_tools = OwnRates(
        by_kind[0], by_kind[1], kill_ln, 1.0, (*lessons, *taught), (*doubts, *doubted)
    )
    return with_rounds(of_tools, hand)


def with_rounds(rates: OwnRates, hand: Sequence[Timed]) -> OwnRates:
    """What tools taught, and rounds by hand besides.

    Parameters
    ----------
    rates : OwnRates
        Of the tools.
    hand : sequence of Timed
        Rounds by hand, reckoned by the tabled rates.

    Returns
    -------
    OwnRates
        With the factor of hand weeding.

    Notes
    -----
    As `own_rates`.

    Examples
    --------
    >>> with_rounds(OwnRates({"tines": 1.5}), ()).hand_factor
    1.0
    """
    factor, lessons, doubts = _hand_factor(_newest(hand))
    return replace(
        rates,
        hand_factor=factor,
        lessons=(*rates.lessons, *lessons),
        doubts=(*rates.doubts, *doubts),
    )


def with_own_rates(farm: Farm, rates: OwnRates) -> Farm:
    """The farm, its tools with the minutes and the kill that its own entries teach.

    Parameters
    ----------
    farm : Farm
        As described.
    rates : OwnRates
        What its entries teach.

    Returns
    -------
    Farm
        The same where they teach nothing.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import time
    >>> from scheduler.records import Place, WorkPlan
    >>> work = WorkPlan(time(7), time(19), (2.0,) * 7)
    >>> tines = Tool("tines", "tine weeder", 15.0, 0.9, setup_min=8.0)
    >>> farm = Farm("made", Place(42., 0., 9., "UTC"), "metric", 5, {}, (), (tines,), work)
    >>> own = with_own_rates(farm, OwnRates({"tines": 1.5}, {"tines": 0.5}, {"tines": 0.1}))
    >>> own.tools[0].work_factor, own.tools[0].setup_min, own.tools[0].kill_ln
    (1.5, 4.0, 0.1)
    >>> with_own_rates(farm, OwnRates()) == farm
    True
    """
    return replace(
        farm,
        tools=tuple(
            replace(
                tool,
                work_factor=tool.work_factor * _factor(rates.work_factor, tool),
                setup_min=tool.setup_min * _factor(rates.setup_factor, tool),
                kill_ln=tool.kill_ln + rates.kill_ln.get(tool.name, 0.0),
            )
            for tool in farm.tools
        ),
    )


def _factor(factors: Mapping[str, float], tool: Tool) -> float:
    return factors.get(tool.name, factors.get("", 1.0))


def own_hand_rates(hand: HandRates, rates: OwnRates) -> HandRates:
    """Minutes by hand as the farm's own rounds teach them.

    Parameters
    ----------
    hand : HandRates
        As tabled.
    rates : OwnRates
        What the entries teach.

    Returns
    -------
    HandRates
        All rates by one factor.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> hand = HandRates(np.ones(4), 0.05, np.ones(4))
    >>> own_hand_rates(hand, OwnRates(hand_factor=2.0)).row_metre_min
    0.1
    """
    by = rates.hand_factor
    return HandRates(hand.stage_min * by, hand.row_metre_min * by, hand.between_min * by)


def timed_passes(
    farm: Farm, events: Sequence[Event], traits: Mapping[str, ToolTraits]
) -> tuple[Timed, ...]:
    """Passes with minutes by the stopwatch, beside those reckoned.

    Parameters
    ----------
    farm : Farm
        Beds and tools, as described.
    events : sequence of Event
        Entries that stand, in order.
    traits : mapping
        Of tools by key.

    Returns
    -------
    tuple of Timed
        Of passes that were made, with a tool of the farm that fits what stood there then.

    Notes
    -----
    Reckoned as `work_minutes`. Definition of this project. No range stated. Worked:
    tests/planning/test_own_rates.py.
    """
    tools = {tool.name: tool for tool in farm.tools}
    found = []
    for event in events:
        tool = tools.get(str(event.data.get("tool")))
        if event.kind != "pass" or tool is None or not was_done(event):
            continue
        minutes = float(event.data.get("work_min", 0.0))
        planting = planting_then(farm, events, event) if minutes > 0.0 else None
        reckoned = None if planting is None else _reckoned_min(tool, planting, traits)
        if reckoned is not None:
            found.append(Timed(event, tool.name, minutes, reckoned))
    return tuple(found)


def timed_setups(farm: Farm, events: Sequence[Event]) -> tuple[Timed, ...]:
    """Set-ups with minutes by the stopwatch, beside those reckoned.

    Parameters
    ----------
    farm : Farm
        Tools, as described.
    events : sequence of Event
        Entries that stand, in order.

    Returns
    -------
    tuple of Timed
        Of tools whose set-up takes any time.

    Notes
    -----
    Reckoned as `setup_minutes` after the pass made last on the same day; a set-up that was timed
    for the same tool and setting once more is reckoned whole. Definition of this project. No range
    stated.

    Examples
    --------
    >>> from datetime import UTC, datetime, time
    >>> from scheduler.records import Place, WorkPlan
    >>> work = WorkPlan(time(7), time(19), (2.0,) * 7)
    >>> tines = Tool("tines", "tine weeder", 15.0, 0.9, setup_min=8.0)
    >>> farm = Farm("made", Place(42., 0., 9., "UTC"), "metric", 5, {}, (), (tines,), work)
    >>> at = datetime(2013, 5, 8, 9, tzinfo=UTC)
    >>> data = {"tool": "tines", "setup_min": 6.0}
    >>> [(t.found_min, t.reckoned_min) for t in timed_setups(farm, [Event("1", "pass", at, at,
    ...     "A1", None, data), Event("2", "pass", at, at, "A2", None, data | {"setup": "wide"})])]
    [(6.0, 8.0), (6.0, 4.0)]
    """
    tools = {tool.name: tool for tool in farm.tools}
    zone = farm.place.time_zone
    found = []
    before: tuple[str, str | None] | None = None
    before_on = None
    for event in events:
        tool = tools.get(str(event.data.get("tool")))
        if event.kind != "pass" or tool is None:
            continue
        on = local_day(event.happened_at, zone)
        setup = event.data.get("setup")
        after = (tool.name, None if setup is None else str(setup))
        minutes = float(event.data.get("setup_min", 0.0))
        mounted = before if on == before_on and before != after else None
        reckoned = setup_minutes(mounted, after, tool)
        if minutes > 0.0 and reckoned > 0.0:
            found.append(Timed(event, tool.name, minutes, reckoned))
        before, before_on = after, on
    return tuple(found)


def planting_then(farm: Farm, events: Sequence[Event], of: Event) -> Planting | None:
    """What stood where an entry speaks of, just before it.

    Parameters
    ----------
    farm : Farm
        Its beds.
    events : sequence of Event
        Entries that stand, in order.
    of : Event
        One of them.

    Returns
    -------
    Planting or None
        The whole bed with what its first part bore, where the entry speaks of a bed in parts; None
        where the farm has no such bed or part.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_own_rates.py.
    """
    beds = tuple(bed for bed in farm.beds if bed.name == of.bed)
    before = [e for e in events if e.bed == of.bed and e.happened_at < of.happened_at]
    here = [p for p in plantings_at(replace(farm, beds=beds), before) if touches(of, p)]
    if not here:
        return None
    if len(here) == 1:
        return here[0]
    return replace(here[0], part=None, from_m=0.0, to_m=here[0].bed.length_m)


def rounds_by_hand(
    farm: Farm, planting: Planting, events: Sequence[Event], sky: Sky, from_hour: float
) -> tuple[tuple[Event, float, float], ...]:
    """Timed rounds by hand over a planting as it stands.

    Parameters
    ----------
    farm : Farm
        For its beds and its days.
    planting : Planting
        The planting.
    events : sequence of Event
        Entries that stand, in order.
    sky : Sky
        The clock.
    from_hour : float
        Hour from which the weeds are followed.

    Returns
    -------
    tuple of (Event, float, float)
        Last entry of a day, hour of the first on the sky's clock, and the minutes of that day
        [min]; of a bed in parts each has its share by length.

    Notes
    -----
    Rounds over an earlier crop of the bed are left out, and those so near the begin of what is
    followed that older weeds may have stood: within `_OLDER_WEEDS_D` of it, unless the bed was
    prepared deep since. Definition of this project. No range stated. Worked:
    tests/planning/test_own_rates.py, tests/scenes/test_own_rates_scenes.py.
    """
    found: dict[date, tuple[Event, float, float]] = {}
    for event in events:
        minutes = float(event.data.get("work_min", 0.0))
        hour = (event.happened_at - sky.start_at) / timedelta(hours=1)
        if event.kind != "hand" or minutes <= 0.0 or not touches(event, planting):
            continue
        if not from_hour < hour <= sky.now_hour + 1.0 or not _stood(planting, farm, events, event):
            continue
        begin = sky.start_at + timedelta(hours=from_hour)
        if hour <= from_hour + 24.0 * _OLDER_WEEDS_D and not _was_bare(event, begin, events):
            continue
        if event.part is None and planting.part is not None:
            minutes *= (planting.to_m - planting.from_m) / planting.bed.length_m
        on = local_day(event.happened_at, farm.place.time_zone)
        _, first, before = found.get(on, (event, hour, 0.0))
        found[on] = (event, first, before + minutes)
    return tuple(found.values())


def _stood(planting: Planting, farm: Farm, events: Sequence[Event], at: Event) -> bool:
    """Whether the planting was there already."""
    if planting.established_at is not None:
        return at.happened_at > planting.established_at
    then = planting_then(farm, events, at)
    return then is not None and then.crop == planting.crop


def _was_bare(event: Event, begin: datetime, events: Sequence[Event]) -> bool:
    """Whether its bed was prepared deep between a moment and an entry."""
    return any(
        e.kind == "prep" and e.bed == event.bed and e.part in (None, event.part)
        and begin <= e.happened_at < event.happened_at and is_deep_preparation(e)
        for e in events
    )  # fmt: skip


def timed_rounds(
    rounds: Sequence[tuple[Event, float, float]], minutes_min: FloatArray, weights: FloatArray
) -> tuple[Timed, ...]:
    """Rounds by hand beside the minutes that the weeds then standing are reckoned with.

    Parameters
    ----------
    rounds : sequence of (Event, float, float)
        As `rounds_by_hand` gives them.
    minutes_min : array
        Minutes by the tabled rates for the weeds of each particle, (n_particles, n_rounds) [min].
    weights : array
        Of the particles, (n_particles,).

    Returns
    -------
    tuple of Timed
        The mean of the logarithm, and its spread over the particles.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> at = datetime(2013, 5, 8, 9, tzinfo=UTC)
    >>> done = [(Event("1", "hand", at, at, "A1", None, {"work_min": 30.0}), 9.0, 30.0)]
    >>> (found,) = timed_rounds(done, np.array([[10.0], [40.0]]), np.ones(2))
    >>> round(found.reckoned_min, 6), round(found.reckoned_ln_sd, 3)
    (20.0, 0.693)
    """
    share = weights / weights.sum()
    log = np.log(np.maximum(minutes_min, _LEAST_MIN))
    mean = share @ log
    sd = np.sqrt(share @ (log - mean) ** 2)
    return tuple(
        Timed(event, "hand", found, float(np.exp(m)), float(s))
        for (event, _, found), m, s in zip(rounds, mean, sd, strict=True)
    )


def counted_passes(farm: Farm, events: Sequence[Event]) -> tuple[tuple[Event, Event], ...]:
    """Counts of survivors, each with the pass it speaks of.

    Parameters
    ----------
    farm : Farm
        Its tools.
    events : sequence of Event
        Entries that stand, in order.

    Returns
    -------
    tuple of (Event, Event)
        The count and the pass before it, where nothing else was done in between and the pass lies
        no more than `_AFTER_PASS_D` days back.

    Notes
    -----
    Definition of this project. No range stated. Worked: tests/planning/test_own_rates.py.
    """
    names = {tool.name for tool in farm.tools}
    found = []
    for event in events:
        if event.kind != "look" or not float(event.data.get("of_n", 0.0)) > 0.0:
            continue
        done = [
            e for e in events
            if e.kind in _ENDS_A_COUNT and e.bed == event.bed and was_done(e)
            and e.happened_at < event.happened_at
            and (e.part is None or event.part is None or e.part == event.part)
        ]  # fmt: skip
        last = max(done, key=lambda e: e.happened_at, default=None)
        if last is None or last.kind != "pass" or str(last.data.get("tool")) not in names:
            continue
        if event.happened_at - last.happened_at <= timedelta(days=_AFTER_PASS_D):
            found.append((event, last))
    return tuple(found)


def marked_weeds(count: Event, of_pass: Event, kill_frac: float) -> Marked:
    """A count of survivors beside the kill reckoned for its pass.

    Parameters
    ----------
    count, of_pass : Event
        As `counted_passes` gives them.
    kill_frac : float
        Reckoned for that pass [-].

    Returns
    -------
    Marked
        No more left than there were.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> at = datetime(2013, 5, 8, 9, tzinfo=UTC)
    >>> count = Event("2", "look", at, at, "A1", None, {"left_n": 4, "of_n": 20})
    >>> marked_weeds(count, Event("1", "pass", at, at, "A1", None, {"tool": "tines"}), 0.6).of
    'tines'
    """
    of_n = float(count.data["of_n"])
    left_n = min(float(count.data.get("left_n", 0.0)), of_n)
    return Marked(count, str(of_pass.data["tool"]), left_n, of_n, kill_frac)


def met_kill_frac(
    kill_frac: FloatArray, count_m2: FloatArray, weights: FloatArray, row_share: float
) -> float:
    """Kill of a pass over the weeds that can be marked: those that are green.

    Parameters
    ----------
    kill_frac : array
        By particle, zone and stage, (n_particles, 2, 5) [-].
    count_m2 : array
        Weeds that it met, likewise [1/m2].
    weights : array
        Of the particles, (n_particles,).
    row_share : float
        Of the bed that lies in the rows [-].

    Returns
    -------
    float
        Share of the green weeds, in the zones that the tool works; of seed leaves and true leaves
        alike where the particles see none.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    Seed leaves alone, between the rows; the tool works there only.

    >>> kill, count = np.zeros((2, 2, 5)), np.zeros((2, 2, 5))
    >>> kill[:, 1, 1], count[:, :, 1] = [0.5, 0.9], 30.0
    >>> round(met_kill_frac(kill, count, np.ones(2), 0.4), 2)
    0.7
    """
    works = kill_frac.max(axis=(0, 2), initial=0.0) > 0.0
    area = np.where(works, np.array([row_share, 1.0 - row_share]), 0.0)
    share = weights / weights.sum()
    met = np.einsum("p,pzs,z->pzs", share, count_m2, area)[:, :, _GREEN]
    if met.sum() <= 0.0:
        met = np.einsum("p,z->pz", share, works)[:, :, None] * np.array([1.0, 1.0, 0.0, 0.0])
    whole = float(met.sum())
    return float((met * kill_frac[:, :, _GREEN]).sum()) / whole if whole > 0.0 else 0.0


def _reckoned_min(tool: Tool, planting: Planting, traits: Mapping[str, ToolTraits]) -> float | None:
    is_up = planting.up_at is not None or not planting.is_sown
    for has_crop_up in (is_up, not is_up):
        way = fit(tool, traits[tool.key], planting, None, has_crop_up=has_crop_up)
        if way.is_fit:
            return work_minutes(replace(tool, work_factor=1.0), planting, way)
    return None


def _newest(entries: Sequence[Timed]) -> list[Timed]:
    """The newest of each tool, in an order of their own."""
    kept: list[Timed] = []
    for name in sorted({t.of for t in entries}):
        own = [t for t in entries if t.of == name and t.found_min > 0.0 and t.reckoned_min > 0.0]
        own.sort(key=lambda t: (t.event.happened_at, t.event.event_id))
        kept += own[-_NEWEST:]
    return kept


def _tool_factors(
    what: str, entries: Sequence[Timed]
) -> tuple[dict[str, float], list[Lesson], list[DoubtedEntry]]:
    """Factors by tool, under "" that of a tool without entries."""
    names = sorted({t.of for t in entries})
    of = np.array([names.index(t.of) for t in entries], dtype=np.int64)
    found = _posterior(entries, of, len(names) + 1, _ENTRY_LN_SD)
    factors = {name: float(np.exp(found.mean[i])) for i, name in enumerate((*names, ""))}
    prior = _as_range(0.0, _PRIOR_LN_SD)
    lessons = []
    for i, name in enumerate(names):
        n = int(np.count_nonzero(found.is_kept & (of == i)))
        if n == 0:
            continue
        says = _ratio_words(what, name, factors[name], n)
        after = _as_range(found.mean[i], found.sd[i])
        lessons.append(Lesson(what, name, prior, after, "of the minutes reckoned", n, says))
    return factors, lessons, _doubts(what, entries, found.is_kept, factors)


def _hand_factor(entries: Sequence[Timed]) -> tuple[float, list[Lesson], list[DoubtedEntry]]:
    found = _posterior(entries, np.zeros(len(entries), np.int64), 1, _HAND_ENTRY_LN_SD)
    n = int(np.count_nonzero(found.is_kept))
    factor = float(np.exp(found.mean[0]))
    doubts = _doubts("hand weeding", entries, found.is_kept, {t.of: factor for t in entries})
    if n == 0:
        return 1.0, [], doubts
    lesson = Lesson(
        "hand weeding",
        "hand",
        _as_range(0.0, _PRIOR_LN_SD),
        _as_range(found.mean[0], found.sd[0]),
        "of the minutes reckoned",
        n,
        _ratio_words("hand weeding", "hand", factor, n),
    )
    return factor, [lesson], doubts


@dataclass(frozen=True)
class _Posterior:
    """Logarithms of the factors of some tools, and which entries they rest on."""

    mean: FloatArray
    sd: FloatArray
    is_kept: BoolArray


def _posterior(
    entries: Sequence[Timed], of: IntArray, n_tools: int, entry_ln_sd: float
) -> _Posterior:
    """Tools after their entries; what is doubted is left out, the worst first."""
    prior = _PRIOR_LN_SD**2
    tool = np.arange(n_tools)

    def covariance(a: IntArray, b: IntArray) -> FloatArray:
        same = a[:, None] == b[None, :]
        return np.asarray(prior * np.where(same, 1.0, _SHARED_FRAC))

    log = np.array([math.log(t.found_min / t.reckoned_min) for t in entries])
    read = np.array([_READING_MIN / t.reckoned_min for t in entries])
    weeds = np.array([t.reckoned_ln_sd for t in entries])
    whole = covariance(of, of) + _SHARED_FRAC * np.outer(weeds, weeds)
    whole += np.diag(entry_ln_sd**2 + np.minimum(read, 1.0) ** 2 + (1.0 - _SHARED_FRAC) * weeds**2)
    is_kept = np.abs(log) <= _DOUBT_SD * np.sqrt(np.diag(whole))
    while True:
        kept = np.flatnonzero(is_kept)
        if kept.size == 0:
            return _Posterior(np.zeros(n_tools), np.full(n_tools, math.sqrt(prior)), is_kept)
        inverse = np.linalg.inv(whole[np.ix_(kept, kept)])
        apart = np.abs(inverse @ log[kept]) / np.sqrt(np.diag(inverse))  # of each from the others
        worst = int(np.argmax(apart))
        if kept.size == 1 or apart[worst] <= _DOUBT_SD:
            break
        is_kept[kept[worst]] = False
    to_tool = covariance(tool, of[kept])
    mean = to_tool @ inverse @ log[kept]
    left = prior - np.einsum("ij,jk,ik->i", to_tool, inverse, to_tool)
    return _Posterior(mean, np.sqrt(np.maximum(left, 0.0)), is_kept)


def _as_range(mean: float, sd: float) -> Range:
    low, mid, high = (math.exp(mean + z * sd) for z in (-_Z_10, 0.0, _Z_10))
    return Range(low, mid, high)


def _ratio_words(what: str, name: str, factor: float, n: int) -> str:
    of, many = {
        "work": (f"a pass with '{name}'", "timed pass" if n == 1 else "timed passes"),
        "set-up": (f"setting up '{name}'", "timed set-up" if n == 1 else "timed set-ups"),
    }.get(what, ("hand weeding", "timed round" if n == 1 else "timed rounds"))
    if abs(factor - 1.0) < _TELLING_FRAC:
        return f"By {n} {many}, {of} takes as long as reckoned."
    return f"By {n} {many}, {of} takes {factor:.2g} times as long as reckoned; minutes are told so."


def _doubts(
    what: str, entries: Sequence[Timed], is_kept: BoolArray, factors: Mapping[str, float]
) -> list[DoubtedEntry]:
    done = {"work": "the pass", "set-up": "the set-up"}.get(what, "the round by hand")
    return [
        DoubtedEntry(
            t.event,
            f"{_minutes(t.found_min)} min, where {done} should take about "
            f"{_minutes(t.reckoned_min * factors[t.of])} min: nothing is learned from it; if it is "
            "a slip, undo it and log it again.",
        )
        for t, kept in zip(entries, is_kept, strict=True)
        if not kept
    ]


def _minutes(value: float) -> str:
    return f"{value:.0f}" if value >= 10.0 else f"{value:.2g}"


def _kill_shifts(
    marked: Sequence[Marked],
) -> tuple[dict[str, float], list[Lesson], list[DoubtedEntry]]:
    shifts: dict[str, float] = {}
    lessons: list[Lesson] = []
    doubts: list[DoubtedEntry] = []
    usable = [m for m in marked if m.of_n > 0.0 and _EDGE_FRAC < m.kill_frac < 1.0 - _EDGE_FRAC]
    for name in sorted({m.of for m in usable}):
        own = sorted(
            (m for m in usable if m.of == name),
            key=lambda m: (m.event.happened_at, m.event.event_id),
        )
        wild = [m for m in own if _tail_frac(m) < _KILL_DOUBT_FRAC]
        doubts += [_doubted_count(m) for m in wild]
        kept = [m for m in own if m not in wild]
        if not kept:
            continue
        n = np.array([min(m.of_n, _MOST_MARKED) for m in kept])
        killed = float(n @ np.array([1.0 - m.left_n / m.of_n for m in kept]))
        reckoned = float(n @ np.array([m.kill_frac for m in kept])) / float(n.sum())
        strength = _KILL_STRENGTH + float(n.sum())
        after = (_KILL_STRENGTH * reckoned + killed) / strength
        shifts[name] = math.log(math.log1p(-after) / math.log1p(-reckoned))
        lessons.append(
            Lesson(
                "kill",
                name,
                _beta_range(reckoned, _KILL_STRENGTH),
                _beta_range(after, strength),
                "of the weeds met",
                len(kept),
                _kill_words(name, reckoned, after, kept),
            )
        )
    return shifts, lessons, doubts


def _kill_words(name: str, reckoned: float, after: float, kept: Sequence[Marked]) -> str:
    left = sum(m.left_n for m in kept)
    of = sum(m.of_n for m in kept)
    how = f"'{name}' left {left:.0f} of {of:.0f} marked weeds"
    if abs(after - reckoned) < _TELLING_FRAC:
        return f"{how}, as reckoned."
    word = "more" if after > reckoned else "less"
    return f"{how}: it kills {word} here than reckoned, {after:.0%} where {reckoned:.0%} was taken."


def _doubted_count(m: Marked) -> DoubtedEntry:
    return DoubtedEntry(
        m.event,
        f"{m.left_n:.0f} of {m.of_n:.0f} marked weeds left after '{m.of}', which by the tables "
        f"kills {m.kill_frac:.0%} of them: nothing is learned from it; if survivors and killed "
        "are mixed up, or the beds, undo it and log it again.",
    )


def _tail_frac(m: Marked) -> float:
    """Chance of a count of killed as far out as this one, or farther: Beta-binomial."""
    n = round(min(m.of_n, _MOST_MARKED))
    killed = round(n * (1.0 - m.left_n / m.of_n))
    a, b = _KILL_STRENGTH * m.kill_frac, _KILL_STRENGTH * (1.0 - m.kill_frac)

    def chance(k: int) -> float:
        ways = math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
        top = math.lgamma(k + a) + math.lgamma(n - k + b) - math.lgamma(n + a + b)
        return math.exp(ways + top - math.lgamma(a) - math.lgamma(b) + math.lgamma(a + b))

    low = sum(chance(k) for k in range(killed + 1))
    high = sum(chance(k) for k in range(killed, n + 1))
    return min(low, high)


def _beta_range(mean: float, strength: float) -> Range:
    """10, 50 and 90 % of a Beta, from its density on a fine grid."""
    at = (np.arange(_N_GRID) + 0.5) / _N_GRID
    a, b = strength * mean, strength * (1.0 - mean)
    log = (a - 1.0) * np.log(at) + (b - 1.0) * np.log1p(-at)
    share = np.cumsum(np.exp(log - log.max()))
    low, mid, high = np.interp((0.1, 0.5, 0.9), share / share[-1], at)
    return Range(float(low), float(mid), float(high))
