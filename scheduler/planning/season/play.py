"""One season under a rule against a hidden truth, day by day, and its bill."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from scheduler.errors import UsageError
from scheduler.models.weeds.cohorts import STAGES
from scheduler.planning.draws import keyed_generator
from scheduler.planning.season.shapes import Bill, Choose, Eyes, Hours, Morning, Rule, Truth
from scheduler.planning.season.truth import (
    TruthSeason,
    TruthWeeds,
    prepared,
    sown,
    true_kill_frac,
    truth_season,
    whole_width,
)
from scheduler.planning.season.world import Plot, Way, WorkDay, World
from scheduler.planning.weeds import BETWEEN, IN_ROW, WeedFuture
from scheduler.planning.work import setup_minutes
from scheduler.records import Event, FloatArray

BUDGETS_MIN = {"scarce": 25.0, "medium": 60.0, "plenty": 240.0}  # a working day

_CHECK_EVERY_D = 7.0  # looks for weeds to be weeded by hand, within the weed-free weeks
_YOUNG_M2 = 15.0  # in the row, above which a round by hand is made
_ESTABLISHED_M2 = 4.0  # likewise
_ESTABLISHED_BETWEEN_M2 = 8.0  # likewise between the rows
_SEEDS_A_WEED = 100.0  # shed by each that is established when the bed is cleared
_YOUNG, _ESTABLISHED = 3, 4
_NO_EYES = Eyes()
_MISREAD_FRAC = 0.1  # of the sprouts of a look, half of them up and half of them down a stage
_MISREAD = (1.0 - _MISREAD_FRAC) * np.eye(len(STAGES)) + 0.5 * _MISREAD_FRAC * (
    np.eye(len(STAGES), k=1) + np.eye(len(STAGES), k=-1)
)

Score = Callable[["PlayState", Choose], bool]


@dataclass(frozen=True)
class _Due:
    """Something that happens to a bed whatever the rule does."""

    hour: float
    rank: int  # order within an hour
    kind: str  # prepare, sow, wetting, check, last check, clear
    plot: Plot


@dataclass
class _Sums:
    """The bill as it grows."""

    hand_min: float = 0.0
    machine_min: float = 0.0
    vain_min: float = 0.0
    n_passes: int = 0
    n_vain: int = 0
    n_hand_rounds: int = 0
    n_setups: int = 0
    stand_lost_min: float = 0.0
    seeds_shed: float = 0.0
    stated: list[float] = field(default_factory=list)
    came_true: list[bool] = field(default_factory=list)


class PlayState:
    """The garden as it truly stands on a morning of a play; for the play, the oracle and the score.

    Beds do not touch one another but by the minutes of a day.
    """

    def __init__(self, season: TruthSeason) -> None:
        self.season, self.world, self.truth = season, season.world, season.truth
        self.hour = 0.0
        self.day: WorkDay = self.world.days[0]
        self.weeds: dict[str, TruthWeeds] = {}
        self.events: list[Event] = []
        self.sums = _Sums()
        self.hand_of_bed_min: dict[str, float] = {}
        self.machine_of_bed_min: dict[str, float] = {}  # without set-ups
        self.kills: list[tuple[str, float, FloatArray]] = []  # bed, hour, kill of each pass made
        self._due = {bed.name: self._things_due(bed.name) for bed in self.world.garden.farm.beds}
        self._next = dict.fromkeys(self._due, 0)

    # ------------------------------------------------------------- to be asked

    def ways(self, bed: str) -> tuple[Way, ...]:
        """Tools that fit a bed today and that its crop lets in."""
        return self.world.ways.get((self.day.index, bed), ())

    def way(self, bed: str, tool: str) -> Way | None:
        """One of them by name."""
        return next((w for w in self.ways(bed) if w.tool.name == tool), None)

    def works(self, bed: str, way: Way) -> bool:
        """Whether the soil truly lets a tool work today."""
        return bool(self.season.fit_hours(bed, way, self.day).size)

    def weeds_m2(self, bed: str) -> FloatArray | None:
        """Weeds this morning by zone and state (2, 6); None where the bed is not in use."""
        weeds = self.weeds.get(bed)
        return None if weeds is None else weeds.count_m2(self.hour)

    def future(self, bed: str, hours: FloatArray, end_hour: float) -> WeedFuture:
        """The ways of the weeds of a bed in use, in one particle; see `TruthWeeds.future`."""
        return self.weeds[bed].future(hours, end_hour)

    # ----------------------------------------------------------------- moving on

    def advance(self, hour: float) -> None:
        """Let happen what is due in every bed up to an hour."""
        for bed in self._due:
            self._advance_bed(bed, hour)
        self.hour = hour

    def _advance_bed(self, bed: str, hour: float) -> None:
        due = self._due[bed]
        while self._next[bed] < len(due) and due[self._next[bed]].hour <= hour:
            self._happen(due[self._next[bed]])
            self._next[bed] += 1

    def _things_due(self, bed: str) -> list[_Due]:
        found: list[_Due] = []
        for plot in self.world.plots:
            if plot.key != bed:
                continue
            found.append(_Due(plot.prepared_hour, 0, "prepare", plot))
            found.append(_Due(plot.established_hour, 1, "sow", plot))
            found.append(_Due(plot.cleared_hour, 5, "clear", plot))
            found += [
                _Due(h, 2, "wetting", plot)
                for h in self.season.wettings
                if plot.prepared_hour < h < plot.cleared_hour
            ]
            end = plot.window_end_hour
            checks = np.arange(plot.up_hour + 24.0 * _CHECK_EVERY_D, end, 24.0 * _CHECK_EVERY_D)
            found += [_Due(float(h), 3, "check", plot) for h in checks]
            if plot.up_hour < end:
                found.append(_Due(end, 4, "last check", plot))
        return sorted(found, key=lambda d: (d.hour, d.plot.prepared_hour, d.rank))

    def _happen(self, due: _Due) -> None:
        plot, weeds = due.plot, self.weeds.get(due.plot.key)
        if due.kind == "prepare":
            self.weeds[plot.key] = prepared(self.season, plot)
            return
        assert weeds is not None
        if due.kind == "sow":
            sown(weeds)
        elif due.kind == "wetting":
            weeds.open_by("wetting", due.hour, np.ones(2), 0.0)
        elif due.kind == "clear":
            area = plot.area_m2 * np.array([plot.row_share, 1.0 - plot.row_share])
            grown = weeds.count_m2(due.hour)[:, -1]
            self.sums.seeds_shed += _SEEDS_A_WEED * float(area @ grown)
            del self.weeds[plot.key]
        else:
            self._check(weeds, due.hour, is_last=due.kind == "last check")

    def _check(self, weeds: TruthWeeds, hour: float, *, is_last: bool) -> None:
        """A look for weeds in the weed-free weeks, and the round by hand if one is due."""
        count = weeds.count_m2(hour)[:, 1:]
        is_due = (
            count[IN_ROW, _YOUNG] > _YOUNG_M2
            or count[IN_ROW, _ESTABLISHED] > _ESTABLISHED_M2
            or count[BETWEEN, _ESTABLISHED] > _ESTABLISHED_BETWEEN_M2
        )
        if not (is_due or is_last):
            return
        minutes = round_minutes(count, weeds.plot, self.world)
        weeds.kill_by(hour, self.world.tables.kit.kills.kill_frac["hand"], 0.0)
        self.sums.hand_min += minutes
        self.sums.n_hand_rounds += 1
        bed = weeds.plot.key
        self.hand_of_bed_min[bed] = self.hand_of_bed_min.get(bed, 0.0) + minutes
        self._log("hand", bed, hour, work_min=minutes)

    def go(self, choose: Choose, way: Way, minutes: float) -> bool:
        """Set out with a tool to a bed; whether the soil let it work. `minutes` are its set-up."""
        bed = choose.planting_key
        hours = self.season.fit_hours(bed, way, self.day)
        if not hours.size:
            self.went_in_vain(bed, way, minutes)
            return False
        middle = float(np.median(self.day.open_hours))
        self.passed(bed, way, float(hours[np.argmin(np.abs(hours - middle))]), minutes)
        return True

    def went_in_vain(self, bed: str, way: Way, minutes: float) -> None:
        """Come back from a bed without having worked it. `minutes` are the set-up."""
        vain_min = self.world.tables.value.vain_min
        self._set_up(minutes)
        self.sums.vain_min += vain_min
        self.sums.n_vain += 1
        self._log("pass", bed, self.hour, tool=way.tool.name, worked=False, work_min=vain_min)

    def passed(self, bed: str, way: Way, hour: float, minutes: float) -> None:
        """Make a pass at an hour, whatever the soil. `minutes` are its set-up."""
        self._set_up(minutes)
        self._advance_bed(bed, hour)
        weeds = self.weeds[bed]
        kit, plot = self.world.tables.kit, weeds.plot
        stirs = kit.kills.stirs_frac[way.tool.key]
        kill = true_kill_frac(self.season, plot, way, hour)
        self.kills.append((bed, hour, kill))
        weeds.kill_by(hour, kill, way.depth_mm)
        stirs = whole_width(stirs) if way.purpose == "stale" else stirs
        weeds.open_by("pass", hour, stirs, way.depth_mm)
        sums = self.sums
        sums.machine_min += way.minutes
        self.machine_of_bed_min[bed] = self.machine_of_bed_min.get(bed, 0.0) + way.minutes
        sums.n_passes += 1
        if way.purpose != "stale":
            worth = self.world.tables.value.stand_min_m2 * plot.area_m2
            sums.stand_lost_min += way.loss_frac * worth
        self._log(
            "pass", bed, hour, tool=way.tool.name, worked=True, work_min=way.minutes,
            depth_mm=way.depth_mm, setup=way.setup,
        )  # fmt: skip

    def looked(self, bed: str, told_m2: FloatArray, true_m2: FloatArray, n_sprouts: int) -> None:
        """Enter a look: green weeds as they were told, and some sprouts scratched up, by stage.

        Sprouts come from about a square metre; one in ten is taken for its neighbour in age.
        """
        generator = keyed_generator(self.truth.seed, "sprouts", bed, self.day.on.isoformat())
        self._log("look", bed, self.hour, seed_leaf=float(told_m2[1:].sum()))
        whole = float(true_m2.sum())
        n = min(n_sprouts, int(generator.poisson(whole)))
        if n == 0:
            self._log("look", bed, self.hour, nothing=True)
            return
        shares = _MISREAD @ (true_m2 / whole)
        counts = generator.multinomial(n, shares / shares.sum())
        named = {f"n_{stage}": int(c) for stage, c in zip(STAGES, counts, strict=True)}
        self._log("look", bed, self.hour, **named)

    def _set_up(self, minutes: float) -> None:
        self.sums.machine_min += minutes
        self.sums.n_setups += minutes > 0.0

    def _log(self, kind: str, bed: str, hour: float, **data: object) -> None:
        at = self.world.at(hour)
        known = {name: value for name, value in data.items() if value is not None}
        name = f"{kind} {bed} {data.get('tool', '')} {at:%Y-%m-%d}"
        if kind == "look":
            name = f"{name} {len(self.events)}"
        self.events.append(Event(name, kind, at, at, bed, None, known))

    def events_so_far(self) -> tuple[Event, ...]:
        """Entries of the plan and of this play up to now, in order."""
        now = self.world.at(self.hour)
        of_plan = [e for e in self.world.events if e.happened_at <= now]
        return tuple(sorted((*of_plan, *self.events), key=lambda e: (e.happened_at, e.event_id)))

    def bill(self) -> Bill:
        """The bill so far."""
        s = self.sums
        return Bill(
            s.hand_min,
            s.machine_min,
            s.vain_min,
            s.n_passes,
            s.n_vain,
            s.n_hand_rounds,
            s.stand_lost_min,
            s.seeds_shed,
            np.array(s.stated, dtype=np.float64),
            np.array(s.came_true, dtype=bool),
            s.n_setups,
        )


def round_minutes(count_m2: FloatArray, plot: Plot, world: World) -> float:
    """Minutes of a round by hand.

    Parameters
    ----------
    count_m2 : array
        Weeds by zone and stage, (2, 5) [1/m2].
    plot : Plot
        Where.
    world : World
        For the rates.

    Returns
    -------
    float
        Minutes [min]: a metre of row to look and move, and each weed that is seen by its stage.

    Notes
    -----
    Rates as `HandRates`. No range stated. Worked: tests/planning/season/test_play.py.
    """
    hand, p = world.tables.hand, plot.planting
    area = plot.area_m2 * np.array([plot.row_share, 1.0 - plot.row_share])
    metres = (p.n_rows or 1) * (p.to_m - p.from_m)
    return float(area @ (count_m2[:, 1:] @ hand.stage_min)) + hand.row_metre_min * metres


def play(
    world: World,
    truth: Truth,
    rule: Rule,
    budget_min: float | Hours,
    *,
    season: TruthSeason | None = None,
    score: Score | None = None,
) -> Bill:
    """Play a rule through a season.

    Parameters
    ----------
    world : World
        The season.
    truth : Truth
        What is hidden.
    rule : Rule
        Names passes each working day.
    budget_min : float or Hours
        Minutes with the machine a working day, set-ups and visits in vain among them [min]; or by
        day.
    season : TruthSeason, optional
        The truth's columns where they are known from a play before.
    score : callable, optional
        Whether a pass today truly beats leaving it, told for every line that states how sure it is.
        Without it a line comes true if the soil lets the tool work.

    Returns
    -------
    Bill
        Minutes, passes and seeds of the whole garden.

    Raises
    ------
    UsageError
        If a rule names a tool that does not fit or that the crop does not let in that day.

    Notes
    -----
    A rule is asked on working days, and where hours go by the day on those with minutes left.
    Passes are tried in the order named while minutes last; one that does not fit in is passed over.
    A tool must be hung on first each day. A bed found too wet costs a visit in vain. A line counts
    once: again only after a working day off the list, or after its pass. Definition of this
    project. No range stated. Worked: tests/planning/season/test_play.py.
    """
    return played(world, truth, rule, budget_min, season=season, score=score).bill()


def played(
    world: World,
    truth: Truth,
    rule: Rule,
    budget_min: float | Hours,
    *,
    season: TruthSeason | None = None,
    score: Score | None = None,
) -> PlayState:
    """As `play`, with all that was done.

    Parameters
    ----------
    world, truth, rule, budget_min, season, score
        As `play`.

    Returns
    -------
    PlayState
        At the end of the season.

    Raises
    ------
    UsageError
        As `play`.

    Notes
    -----
    As `play`.
    """
    state = PlayState(truth_season(world, truth) if season is None else season)
    eyes: Eyes = getattr(rule, "eyes", _NO_EYES)
    looked = -np.inf
    listed: set[tuple[str, str]] = set()
    for day in world.days:
        if not day.is_working:
            continue
        left = budget_min
        if isinstance(left, Hours):
            left = left.left_min(day.index, state.sums.machine_min + state.sums.vain_min)
            if left <= 0.0:
                continue
        state.day = day
        state.advance(float(day.open_hours[0]))
        is_look = eyes.looks_every_d is not None and day.index - looked >= eyes.looks_every_d
        looked = day.index if is_look else looked
        seen = _seen(state, eyes, _beds_looked_at(state, rule, eyes, left)) if is_look else {}
        listed = _work(state, rule, eyes, seen, left, listed, score)
    state.advance(float(world.n_hours))
    return state


def _work(
    state: PlayState,
    rule: Rule,
    eyes: Eyes,
    seen: dict[str, FloatArray],
    budget_min: float,
    listed: set[tuple[str, str]],
    score: Score | None,
) -> set[tuple[str, str]]:
    """One working day; the lines still listed at its end."""
    left = budget_min
    mounted: tuple[str, str | None] | None = None
    tried: set[tuple[str, str]] = set()
    done: set[tuple[str, str]] = set()
    wanted = list(rule.passes(_morning(state, eyes, seen, left)))
    named = {(c.planting_key, c.tool) for c in wanted}
    for choose in wanted:
        if choose.sure is not None and (choose.planting_key, choose.tool) not in listed:
            _judge(state, choose, score)
    while wanted:
        choose = wanted.pop(0)
        line = (choose.planting_key, choose.tool)
        way = _way_of(state, choose, rule)
        after = (way.tool.name, way.setup)
        set_up = setup_minutes(mounted, after, way.tool)
        if line in tried or set_up + way.minutes > left + 1e-9:
            continue
        tried.add(line)
        mounted = after
        is_done = state.go(choose, way, set_up)
        left -= set_up + (way.minutes if is_done else state.world.tables.value.vain_min)
        if is_done:
            done.add(line)
        elif eyes.asks_again:
            wanted = [
                c
                for c in rule.passes(_morning(state, eyes, seen, left))
                if (c.planting_key, c.tool) not in tried
            ]
    return named - done


def _way_of(state: PlayState, choose: Choose, rule: Rule) -> Way:
    way = state.way(choose.planting_key, choose.tool)
    if way is None:
        names = ", ".join(w.tool.name for w in state.ways(choose.planting_key)) or "none"
        raise UsageError(
            f"rule {rule.name!r}: {choose.tool!r} on {choose.planting_key} on {state.day.on} does "
            f"not go there that day; open are: {names}"
        )
    return way


def _judge(state: PlayState, choose: Choose, score: Score | None) -> None:
    """Whether a line that says how sure it is comes true."""
    assert choose.sure is not None
    way = state.way(choose.planting_key, choose.tool)
    is_true = way is not None and state.works(choose.planting_key, way)
    if is_true and score is not None:
        is_true = score(state, choose)
    state.sums.stated.append(float(choose.sure))
    state.sums.came_true.append(is_true)


def _morning(state: PlayState, eyes: Eyes, seen: dict[str, FloatArray], left_min: float) -> Morning:
    works: dict[tuple[str, str], bool] = {}
    if eyes.feels_soil:
        for bed in state.weeds:
            for way in state.ways(bed):
                works[bed, way.tool.name] = state.works(bed, way)
    return Morning(
        int(state.hour),
        state.day.index,
        left_min,
        state.events_so_far(),
        seen,
        works,
        state if eyes.knows_truth else None,
    )


def _beds_looked_at(state: PlayState, rule: Rule, eyes: Eyes, left_min: float) -> tuple[str, ...]:
    """All beds in use, or those that the rule chooses."""
    if eyes.beds_a_look is None:
        return tuple(state.weeds)
    choose = getattr(rule, "looks", None)
    if choose is None:
        raise UsageError(f"rule {rule.name!r}: its eyes let it choose beds, but it has no `looks`")
    wanted = [bed for bed in choose(_morning(state, eyes, {}, left_min)) if bed in state.weeds]
    return tuple(wanted[: eyes.beds_a_look])


def _seen(state: PlayState, eyes: Eyes, beds: Sequence[str]) -> dict[str, FloatArray]:
    """What a look at some beds shows, by zone and stage; its error by bed and day."""
    found: dict[str, FloatArray] = {}
    for bed in beds:
        true = state.weeds[bed].count_m2(state.hour)[:, 1:]
        day = state.day.on.isoformat()
        count = true
        if eyes.error_ln_sd > 0.0:
            z = float(keyed_generator(state.truth.seed, "look", bed, day).normal())
            count = count * np.exp(eyes.error_ln_sd * z)
        if eyes.n_sprouts:
            plot = state.weeds[bed].plot
            state.looked(bed, _of_bed(count, plot), _of_bed(true, plot), eyes.n_sprouts)
        if not eyes.scratches:
            count = count.copy()
            count[:, 0] = np.nan
        found[bed] = count
    return found


def _of_bed(by_zone: FloatArray, plot: Plot) -> FloatArray:
    """Weeds of the whole bed by stage, (5,)."""
    row = plot.row_share
    return np.asarray(row * by_zone[IN_ROW] + (1.0 - row) * by_zone[BETWEEN])
