"""The program's own planner as a rule of the season player: value today, go and order.

It knows what its grower would know: the journal, the weather so far and a forecast. Values, order
and `sure` are those of the list; words, looks and hand verdicts of the list are left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import cast
from zoneinfo import ZoneInfo

import numpy as np

from scheduler.errors import UsageError
from scheduler.models.soil_column import ColumnForcing
from scheduler.models.weeds.cohorts import STAGES, Openings, Particles, Passes, Stand, stand
from scheduler.models.workability import chance
from scheduler.planning.day import GO_CHANCE, Day
from scheduler.planning.draws import keyed_generator, stratified_normals
from scheduler.planning.ensemble import Ensemble, Sky
from scheduler.planning.gates import Gate
from scheduler.planning.geometry import Fit
from scheduler.planning.hours import is_working_hour
from scheduler.planning.look_choice import Rule as LookRule
from scheduler.planning.look_choice import is_seen, look_gain_min
from scheduler.planning.looks import Told, learned_weeds, pooled, told_by
from scheduler.planning.offers import _DRY_FOR_GOOD_MM, Choice, Offer, Site, day_hours, weed_hours
from scheduler.planning.order import DayPlan, Draft, order_of_day
from scheduler.planning.outlook import FlushOutlook, Outlook, WorkOutlook
from scheduler.planning.passes import (
    PassWeather,
    again_factor,
    particle_kill_frac,
    pass_weather,
    tool_kill_frac,
)
from scheduler.planning.season.belief import AHEAD_H, Belief, BelievedMorning
from scheduler.planning.season.play import PlayState
from scheduler.planning.season.rules import LOOK_ERROR_LN_SD
from scheduler.planning.season.shapes import Choose, Eyes, Morning
from scheduler.planning.season.truth import true_kill_frac
from scheduler.planning.season.world import Plot, Way, World
from scheduler.planning.sightings import Foretold, sightings_of
from scheduler.planning.spans import span_today
from scheduler.planning.value import Terms, ValueSettings, price_of_weeds, values_today
from scheduler.planning.verdict import _CLEAN_M2, _LEAST_SURE, _best, _sure, _urgency, bets_of
from scheduler.planning.visits import _NOON_H, FIT, TOO_WET, learned_weights
from scheduler.planning.watched import passes_for
from scheduler.planning.weeds import (
    _REACH_MM,
    BETWEEN,
    IN_ROW,
    LearnedWeeds,
    WeedFuture,
    WeedHistory,
    WeedOutlook,
    draw_particles,
    weed_history,
)
from scheduler.records import (
    Action,
    BedAnswer,
    BoolArray,
    Event,
    FloatArray,
    Planting,
    Setup,
    SoilAnswer,
)

N_PARTICLES = 24
N_TRIED = 60  # by which looks are weighed
N_SEEDS = 10  # that stand for a cohort in one of them
PARTS = ("soil", "drying", "visits", "blind", "set-ups", "order", "flush")
_TAUGHT_FOR = timedelta(days=45)

NO_LOOKS, WEEKLY_LOOK = "no look", "a look a week"
CHOSEN_LOOKS, RANDOM_LOOKS = "two chosen looks a morning", "two random looks a morning"
N_SPROUTS = 20
_A_LOOK = Eyes(looks_every_d=7, error_ln_sd=LOOK_ERROR_LN_SD, n_sprouts=N_SPROUTS)
_FEW_LOOKS = replace(_A_LOOK, looks_every_d=1, beds_a_look=2)
LOOKS = {
    NO_LOOKS: Eyes(),
    WEEKLY_LOOK: _A_LOOK,
    "two looks a week": replace(_A_LOOK, looks_every_d=3),
    CHOSEN_LOOKS: _FEW_LOOKS,
    RANDOM_LOOKS: _FEW_LOOKS,
}
_PlotKey = tuple[str, float]


@dataclass(frozen=True)
class _Sight:
    """The tools over one plot on a morning: for each its ways on the days in sight."""

    plot: Plot
    planting: Planting
    ways: Mapping[str, tuple[Way | None, ...]]  # by name of the tool, by day in sight

    @property
    def today(self) -> tuple[str, ...]:
        """Tools that may go today."""
        return tuple(name for name, ways in self.ways.items() if ways[0] is not None)


class Ours:
    """The planner at a price of a machine minute, on a belief that every play of a weather shares.

    `without` names parts of it that are left out, of `PARTS`, to see what each earns: the state of
    the soil (it always sets out), drying after a pass, what visits teach, blind passes and those
    before sowing, set-ups one at a time, the order by urgency, the flush that a pass opens.
    `flush_times` counts that flush more than once. `looks` names what its grower looks at, of
    `LOOKS`; looks are entries of the journal, and it learns from them.
    """

    def __init__(
        self,
        belief: Belief,
        price: float = 1.0,
        *,
        looks: str = NO_LOOKS,
        without: Sequence[str] = (),
        flush_times: float = 1.0,
        n_particles: int = N_PARTICLES,
        n_seeds: int = N_SEEDS,
    ) -> None:
        unknown = sorted(set(without) - set(PARTS))
        if unknown:
            raise UsageError(f"ours: no part {unknown[0]!r} to leave out; {', '.join(PARTS)}")
        if looks not in LOOKS:
            raise UsageError(f"ours: no looks {looks!r}; {', '.join(LOOKS)}")
        self.belief, self.price, self.eyes = belief, price, LOOKS[looks]
        self._looks = looks
        self._n_seen: dict[_PlotKey, int] = {}
        self._told: dict[_PlotKey, Told] = {}
        self._learned: dict[_PlotKey, tuple[int, LearnedWeeds]] = {}
        self._n_told = 0
        self.n_particles, self.n_seeds = n_particles, n_seeds
        self._drawn: dict[str, Particles] = {}
        self.without = frozenset(without)
        self.world: World = belief.world
        self.settings = self.world.tables.value
        if flush_times != 1.0:
            weight = flush_times * self.settings.flush_weight
            self.settings = replace(self.settings, flush_weight=weight)
        if "flush" in self.without:
            self.settings = replace(
                self.settings, flush_weight=0.0, relief_crop_frac=0.0, relief_empty_frac=0.0
            )
        farm = self.world.garden.farm
        self.farm = replace(farm, work=replace(farm.work, machine_price=price))
        self._luck = {
            tool.key: stratified_normals(farm.seed, n_particles, "kill", tool.key)
            for tool in farm.tools
        }

    @property
    def name(self) -> str:
        """Price, looks, and what is left out."""
        left = "".join(f" without {part}" for part in PARTS if part in self.without)
        looks = "" if self._looks == NO_LOOKS else f", {self._looks}"
        return f"ours, price {self.price:g}{looks}{left}"

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        """Passes wanted today, in order.

        Parameters
        ----------
        morning : Morning
            What its grower sees: hours left and the journal.

        Returns
        -------
        tuple of Choose
            Those that the list would name within the hours.
        """
        believed = self.belief.mornings.get(morning.day)
        if believed is None:
            return ()
        day = self._day(believed)
        weights = self._weights(morning, believed)
        refused = _refused(morning.events, day)
        drafts: list[Draft] = []
        common: PassWeather | None = None
        for bed in believed.beds:
            if bed in refused:
                continue
            sight = _sight(self.world, bed, morning.hour, morning.day, len(believed.spans))
            if sight is None or ("blind" in self.without and morning.hour < sight.plot.up_hour):
                continue
            works = self._works(sight, believed, weights)
            if not any(self._has_hours(sight, name, works, believed) for name in sight.today):
                continue
            ensemble = replace(self.belief.ensemble(morning.day, bed), weights=weights)
            common = self._weather(sight, morning.day, ensemble, common)
            draft = self._draft(sight, works, morning, believed, ensemble, common, day)
            if draft is not None:
                drafts.append(draft)
        return self._ordered(drafts, morning, day)

    def looks(self, morning: Morning) -> tuple[str, ...]:
        """Beds to look at this morning, for eyes that see few.

        Parameters
        ----------
        morning : Morning
            What its grower knows before looking.

        Returns
        -------
        tuple of str
            Beds that a tool may go over today and that were not looked at since the last pass, or
            for two days: those first whose look is worth most, or by lot.
        """
        believed = self.belief.mornings.get(morning.day)
        if believed is None:
            return ()
        rested = [b for b in believed.beds if self._may_look(b, morning)]
        generator = keyed_generator(self.farm.seed, "looks by lot", str(morning.day))
        by_lot = [rested[i] for i in generator.permutation(len(rested))]
        if self._looks == RANDOM_LOOKS:
            return tuple(by_lot)
        day, weights = self._day(believed), self._weights(morning, believed)
        gains = {bed: self._look_gain(bed, morning, believed, weights, day) for bed in by_lot}
        return tuple(sorted(by_lot, key=lambda bed: -gains[bed]))

    def _may_look(self, bed: str, morning: Morning) -> bool:
        """Whether the list would ask for a look there."""
        plot = self.world.plot_at(bed, morning.hour)
        now = self.world.at(morning.hour)
        return plot is not None and not is_seen(plot.planting, morning.events, now)

    def _look_gain(
        self,
        bed: str,
        morning: Morning,
        believed: BelievedMorning,
        weights: Mapping[str, FloatArray],
        day: Day,
    ) -> float:
        """What a look at one bed is worth [min]."""
        sight = _sight(self.world, bed, morning.hour, morning.day, len(believed.spans))
        if sight is None:
            return 0.0
        works = self._works(sight, believed, weights)
        ensemble = replace(self.belief.ensemble(morning.day, bed), weights=weights)
        weather = self._weather(sight, morning.day, ensemble, None)
        found = self._choices(sight, works, morning, believed, ensemble, weather, day)
        if found is None:
            return 0.0
        site, choice = found
        assert site.weeds.future is not None
        price = price_of_weeds(
            site, choice, self.world.tables.kit, day, self.settings, site.weeds.future.end_hour
        )
        values = values_today(site, choice, price, self.settings, self.price)
        bets = bets_of(choice.offers, values, site.weeds, day)
        return look_gain_min(site.weeds, bets, LookRule(0.0, _LEAST_SURE))

    # ------------------------------------------------------------- the morning

    def _day(self, believed: BelievedMorning) -> Day:
        """The clock with this price; hours are stored from now on."""
        return replace(believed.day, farm=self.farm, stored=believed.hour)

    def _weights(self, morning: Morning, believed: BelievedMorning) -> Mapping[str, FloatArray]:
        """Weights of the soil members after the visits of the last weeks."""
        n = self.belief.n_members
        equal = {name: np.full(n, 1.0 / n) for name in self.belief.members}
        if "visits" in self.without:
            return equal
        now = self.world.at(morning.hour)
        zone = ZoneInfo(self.farm.place.time_zone)
        soils = {bed.name: bed.soil for bed in self.farm.beds}
        keys = {tool.name: tool.key for tool in self.farm.tools}
        found: dict[str, dict[tuple[date, bool], list[BoolArray]]] = {}
        for event in morning.events:
            if event.kind != "pass" or event.bed is None or event.happened_at < now - _TAUGHT_FOR:
                continue
            past = self.belief.past[event.bed]
            key = keys[str(event.data.get("tool"))]
            hour = min(int(self.world.hour_of(event.happened_at)), past.is_fit[key].shape[1] - 1)
            fit, wet = past.is_fit[key][:, hour], past.is_too_wet[key][:, hour]
            said = FIT if event.data.get("worked") is not False else event.data.get("found")
            against = ~fit if said == FIT else ~wet if said == TOO_WET else fit
            local = event.happened_at.astimezone(zone)
            half_days = found.setdefault(soils[event.bed], {})
            half_days.setdefault((local.date(), local.hour < _NOON_H), []).append(against)
        taught = {
            soil: learned_weights([halves[half] for half in sorted(halves)], n)
            for soil, halves in found.items()
        }
        return {**equal, **taught}

    def _works(
        self, sight: _Sight, believed: BelievedMorning, weights: Mapping[str, FloatArray]
    ) -> Mapping[str, WorkOutlook]:
        """Whether members' soil lets each tool work, hour by hour from now on, by tool's name."""
        soil = believed.beds[sight.plot.key]
        w = weights[sight.planting.bed.soil]
        keys = {tool.name: tool.key for tool in self.farm.tools if tool.name in sight.ways}
        found = {}
        for name, key in keys.items():
            fit = soil.is_fit[key]
            if "soil" in self.without:
                fit = np.ones_like(fit)
            found[name] = WorkOutlook(fit, chance(fit, w))
        return found

    def _has_hours(
        self, sight: _Sight, name: str, works: Mapping[str, WorkOutlook], believed: BelievedMorning
    ) -> bool:
        """Whether today has an hour that is likely enough to be fit."""
        way = sight.ways[name][0]
        assert way is not None
        first, last = believed.spans[0]
        hours = np.arange(max(first, int(way.from_hour)), min(last, int(np.ceil(way.until_hour))))
        likely = works[name].chance_frac[hours - believed.hour] >= GO_CHANCE - 1e-9
        return bool((likely & believed.day.is_open[hours]).any())

    def _weather(
        self, sight: _Sight, at: int, ensemble: Ensemble, common: PassWeather | None
    ) -> PassWeather:
        """What passes meet on one bed; what the sky does is the same for all beds of a morning."""
        bed = sight.plot.key
        theta = self.belief.theta_0_30_m3m3(at, bed)
        members = ensemble.members[sight.planting.bed.soil]
        if common is None:
            outlook = replace(_outlook(sight, ensemble.weights), theta_0_30_m3m3=theta)
            dry = np.zeros((ensemble.sky.n_hours, 6))
            common = pass_weather(outlook, ensemble, dry, self.world.tables.kit.rules.settings)
            if "drying" in self.without:
                common = replace(
                    common,
                    dose_mm=np.full_like(common.dose_mm, _DRY_FOR_GOOD_MM),
                    n_wet_days=np.zeros_like(common.n_wet_days),
                )
        return replace(
            common,
            wetness_m3m3=theta - members.working_m3m3[:, None],
            is_sandy=not members.dry_limit_m3m3.any(),
        )

    # ------------------------------------------------------------- one planting

    def _weeds(
        self,
        sight: _Sight,
        morning: Morning,
        believed: BelievedMorning,
        ensemble: Ensemble,
        weather: PassWeather,
    ) -> WeedOutlook:
        """Weeds of one planting as the program follows them."""
        kit, bed = self.world.tables.kit, sight.plot.key
        first = max(ensemble.readings_from_hour, sight.plot.prepared_hour)
        now, since = self.world.at(believed.hour), self.world.at(sight.plot.prepared_hour)
        history = weed_history(
            sight.planting,
            [e for e in morning.events if e.bed == bed and since <= e.happened_at <= now],
            [w for w in self.belief.wettings if self.world.at(first) <= w.at <= now],
            kit.weeds,
            kit.kills,
            kit.rules,
            weather,
            replace(ensemble, stored_from_hour=0),
            self.belief.weekly_soil_c[bed],
            self.farm.place.latitude_deg,
            self.n_particles,
        )
        learned = self._weeds_learned(sight, morning.events, history, ensemble)
        particles = self._particles(bed) if learned is None else learned.particles
        hours = np.append(believed.hours, float(ensemble.sky.n_hours))
        weeds = self.stand(ensemble, particles, history.openings, history.passes, hours)
        assert history.ready_frac is not None
        assert history.rested_d is not None
        rested = 1.0 - np.exp(-history.rested_d / kit.weeds.recovery_d)
        stirred = Openings(hours[1:2], (history.ready_frac * rested[None, :])[None])
        opened = self.stand(ensemble, particles, stirred, _NO_PASSES, hours)
        assert weeds.ways_m2 is not None
        assert opened.ways_m2 is not None
        ready = (particles.mix * particles.size_m2[:, None]) @ history.ready_frac
        n = self.n_particles
        of_member = np.bincount(particles.member, minlength=self.belief.n_members)
        weights = ensemble.weights[sight.planting.bed.soil][particles.member]
        if learned is not None:
            weights = weights * learned.weight
        weights = weights / of_member[particles.member]
        return WeedOutlook(
            believed.hours,
            weeds.count_m2[:, :-1].sum(axis=2),
            weeds.ledger_m2[:, :-1, :, :, 0].sum(axis=2),
            np.zeros(n),
            weights / weights.sum(),
            0.0 if sight.planting.crop is None else sight.plot.row_share,
            history,
            particles.member,
            None,
            future=WeedFuture(
                float(hours[-1]), weeds.ways_m2, opened.ways_m2, ready, history.rested_d
            ),
        )

    # ------------------------------------------------------------- looks

    def _weeds_learned(
        self, sight: _Sight, events: Sequence[Event], history: WeedHistory, ensemble: Ensemble
    ) -> LearnedWeeds | None:
        """The particles of one bed after its own looks and those of its neighbours."""
        if not self.eyes.n_sprouts:
            return None
        plot, soil = sight.plot, sight.planting.bed.soil
        key = (plot.key, plot.prepared_hour)
        watched = _WatchedPlot(self, sight, history, ensemble)
        first = max(float(plot.prepared_hour), float(ensemble.readings_from_hour))
        seen = sightings_of(sight.planting, events, ensemble.sky, first)
        if seen and self._n_seen.get(key) != len(seen):
            self._n_seen[key] = len(seen)
            self._told[key] = told_by(watched, plot.key, soil, seen, N_TRIED)
            self._n_told += 1
        if not self._told:
            return None
        kept = self._learned.get(key)
        at = self._n_seen.get(key, self._n_told)  # neighbours count anew with its own next look
        if kept is None or kept[0] != at:
            others = [told.evidence for of, told in self._told.items() if of != key]
            thought = pooled(plot.key, soil, others)
            own = self._told.get(key)
            kept = at, learned_weeds(watched, own, thought, self.n_particles)
            self._learned[key] = kept
        return kept[1]

    def _particles(self, bed: str) -> Particles:
        """What is not known of a bed's weeds, drawn once."""
        if bed not in self._drawn:
            self._drawn[bed] = draw_particles(
                bed,
                self.world.tables.kit.weeds,
                self.farm.seed,
                self.belief.n_members,
                self.n_particles,
            )
        return self._drawn[bed]

    def stand(
        self,
        ensemble: Ensemble,
        particles: Particles,
        openings: Openings,
        passes: Passes,
        hours: FloatArray,
        first_way: int | None = 1,
    ) -> Stand:
        """Weeds on the running integrals of the bed, by the ways they go from one of the hours."""
        run = ensemble.runs[0]
        step = float(run.reading_hours[1] - run.reading_hours[0])
        return stand(
            run.germination_cd, run.elongation_cd, run.drying_d, run.leaf_cd,
            self.world.tables.weed_heat.gate_kpa, float(run.reading_hours[0]) - step, step,
            self.world.tables.kit.weeds.guilds, particles, openings, passes, hours,
            first_way, _REACH_MM, self.n_seeds,
        )  # fmt: skip

    def _kills(
        self,
        sight: _Sight,
        name: str,
        weeds: WeedOutlook,
        weather: PassWeather,
        believed: BelievedMorning,
    ) -> FloatArray:
        """Kill of a tool on the days in sight, (n_days, n_particles, 2, 5)."""
        kit = self.world.tables.kit
        way = next(way for way in sight.ways[name] if way is not None)
        key, hours = way.tool.key, believed.hours[1:]
        of_member = tool_kill_frac(
            way.tool, kit.kills.kill_frac, way.depth_mm, hours, weather, kit.rules
        )
        none = np.zeros((hours.size, weeds.member.size))
        found = particle_kill_frac(
            of_member, weeds.member, self._luck[key], none, kit.rules.settings
        )
        again = again_factor(
            weeds.history.since_pass_d(hours), weeds.history.taken_frac, kit.rules.settings
        )
        return np.asarray(found * again[:, None])

    def _fit_days(
        self, sight: _Sight, name: str, works: Mapping[str, WorkOutlook], believed: BelievedMorning
    ) -> BoolArray:
        """Whether each member's soil lets the pass be done on each day, (n_members, n_days)."""
        fit = works[name].is_workable
        found = np.zeros((fit.shape[0], len(believed.spans)), bool)
        for d, ((first, last), way) in enumerate(
            zip(believed.spans, sight.ways[name], strict=True)
        ):
            if way is None:
                continue
            hours = first + np.flatnonzero(believed.day.is_open[first:last])
            hours = hours[(hours >= way.from_hour - 1.0) & (hours < way.until_hour)]
            need = max(1, int(np.ceil(way.minutes / 60.0)))
            found[:, d] = fit[:, hours - believed.hour].sum(axis=1) >= need
        return found

    def _draft(
        self,
        sight: _Sight,
        works: Mapping[str, WorkOutlook],
        morning: Morning,
        believed: BelievedMorning,
        ensemble: Ensemble,
        weather: PassWeather,
        day: Day,
    ) -> Draft | None:
        """The pass over one planting that is worth its minutes, and those with other tools."""
        found = self._choices(sight, works, morning, believed, ensemble, weather, day)
        return (
            None if found is None else draft_of(*found, self.world, self.settings, day, self.price)
        )

    def _choices(
        self,
        sight: _Sight,
        works: Mapping[str, WorkOutlook],
        morning: Morning,
        believed: BelievedMorning,
        ensemble: Ensemble,
        weather: PassWeather,
        day: Day,
    ) -> tuple[Site, Choice] | None:
        """Tools that can go over one planting today, with its weeds; None where none needs to."""
        weeds = self._weeds(sight, morning, believed, ensemble, weather)
        w = weeds.weights / weeds.weights.sum()
        whole = float(w @ (weeds.density_m2(0).sum(axis=1) + weeds.to_come_m2(0)))
        if whole < _CLEAN_M2:
            return None
        offers = {}
        for name in sight.ways:
            kills = self._kills(sight, name, weeds, weather, believed)
            fit = self._fit_days(sight, name, works, believed)[weeds.member]
            offers[name] = _offer(self.world, sight, name, works[name], kills, fit, w, day)
        today = [offers[name] for name in sight.today if _takes_any(offers[name], weeds)]
        if not today:
            return None
        site = Site(_outlook(sight, ensemble.weights), weeds, weather)
        return site, _choice(sight, offers, today)

    # ------------------------------------------------------------- the order

    def _ordered(self, drafts: Sequence[Draft], morning: Morning, day: Day) -> tuple[Choose, ...]:
        if not drafts:
            return ()
        if "order" in self.without:
            generator = keyed_generator(self.farm.seed, "order", str(morning.day))
            drafts = [replace(d, urgency=float(generator.random()), others=()) for d in drafts]
        if "set-ups" in self.without:
            return _one_by_one(drafts)
        return _listed(order_of_day(drafts, morning.hours_left_min / 60.0, day))


@dataclass(frozen=True)
class _WatchedPlot:
    """One bed as its looks are held against it."""

    rule: Ours
    sight: _Sight
    history: WeedHistory
    ensemble: Ensemble

    @property
    def key(self) -> str:
        return self.sight.plot.key

    @property
    def seed(self) -> int:
        return self.rule.farm.seed

    @property
    def size_ln_sd(self) -> float:
        return self.rule.world.tables.kit.weeds.size_ln_sd

    @property
    def size_m2(self) -> float:
        return self.rule.world.tables.kit.weeds.size_m2

    def particles(self, score: FloatArray) -> tuple[Particles, FloatArray]:
        weeds, n = self.rule.world.tables.kit.weeds, self.rule.belief.n_members
        drawn = draw_particles(self.key, weeds, self.seed, n, len(score), score=score)
        return drawn, self.ensemble.weights[self.sight.planting.bed.soil][drawn.member]

    def foretold(self, particles: Particles, score: FloatArray, hours: FloatArray) -> Foretold:
        history, n = self.history, particles.clock.size
        passes = passes_for(history.passes, n)
        weeds = self.rule.stand(self.ensemble, particles, history.openings, passes, hours, None)
        count = weeds.count_m2.sum(axis=2)
        row = 0.0 if self.sight.planting.crop is None else self.sight.plot.row_share
        of_bed = row * count[:, :, IN_ROW] + (1.0 - row) * count[:, :, BETWEEN]
        unit = of_bed / particles.size_m2[:, None, None]
        return Foretold(hours, unit, np.zeros(unit.shape[:2]))


class Oracle:
    """The same planner with the truth's own soil, weeds, kill and weather: a ceiling, no rule.

    One particle and no doubt; what it cannot do is see past the days in sight.
    """

    eyes = Eyes(knows_truth=True)

    def __init__(self, world: World, price: float = 1.0) -> None:
        self.world, self.price = world, price
        farm = world.garden.farm
        self.farm = replace(farm, work=replace(farm.work, machine_price=price))
        n_hours = world.n_hours + AHEAD_H
        self._is_open = is_working_hour(
            farm.work, world.weather.start_at, n_hours, farm.place.time_zone
        )
        self._clocks: dict[int, tuple[Day, FloatArray, int]] = {}

    @property
    def name(self) -> str:
        """With its price."""
        return f"oracle, price {self.price:g}"

    def passes(self, morning: Morning) -> tuple[Choose, ...]:
        """Passes wanted today, in order.

        Parameters
        ----------
        morning : Morning
            With the truth.

        Returns
        -------
        tuple of Choose
            Those that the list would name within the hours, if it knew all.

        Raises
        ------
        UsageError
            If the play does not hand over its state.
        """
        state = morning.truth
        if not isinstance(state, PlayState):
            raise UsageError(f"rule {self.name!r}: it needs the truth; play it with its own eyes")
        day = self._clock(morning.hour)[0]
        drafts = []
        for bed in state.weeds:
            found = self._site(state, bed)
            if found is not None:
                draft = draft_of(*found, self.world, self.world.tables.value, day, self.price)
                drafts += [] if draft is None else [draft]
        return _listed(order_of_day(drafts, morning.hours_left_min / 60.0, day)) if drafts else ()

    def beats_leaving(self, state: PlayState, choose: Choose) -> bool:
        """Whether a pass today truly beats the best that can follow without it.

        Parameters
        ----------
        state : PlayState
            The garden as it stands.
        choose : Choose
            The pass.

        Returns
        -------
        bool
            By the value function with the truth's own figures; False where it cannot be made.
        """
        found = self._site(state, choose.planting_key)
        if found is None:
            return False
        site, choice = found
        assert site.weeds.future is not None
        day, value = self._clock(int(state.hour))[0], self.world.tables.value
        end = site.weeds.future.end_hour
        price = price_of_weeds(site, choice, self.world.tables.kit, day, value, end)
        terms = values_today(site, choice, price, value, self.price).get(choose.tool)
        return terms is not None and float(terms.waiting_min[0]) > 0.0

    def _clock(self, hour: int) -> tuple[Day, FloatArray, int]:
        """The clock of a morning, hours of the weeds, and days in sight."""
        if hour not in self._clocks:
            n_hours = hour + AHEAD_H
            none = np.broadcast_to(np.zeros(1), (1, n_hours))
            sky = Sky(
                self.world.weather.start_at, hour, ColumnForcing(*[none] * 7),
                np.ones(n_hours, bool), True,
            )  # fmt: skip
            day = Day(self.farm, sky, hour, sky.at(hour), self._is_open[:n_hours])
            self._clocks[hour] = day, weed_hours(day), len(day_hours(day))
        return self._clocks[hour]

    def _site(self, state: PlayState, bed: str) -> tuple[Site, Choice] | None:
        """One bed as it truly is, and the tools over it as they will truly do."""
        hour = int(state.hour)
        day, hours, n_days = self._clock(hour)
        sight = _sight(self.world, bed, hour, state.day.index, n_days)
        if sight is None or bed not in state.weeds:
            return None
        one = np.ones(1)
        offers = {}
        for name, ways in sight.ways.items():
            kill, fit = self._true_passes(state, sight.plot, ways)
            key = next(way for way in ways if way is not None).tool.key
            works = state.season.beds[bed].outlook.works[key].is_workable[:, hour : hour + AHEAD_H]
            work = np.zeros((1, AHEAD_H), bool)
            work[:, : works.shape[1]] = works
            whole = WorkOutlook(work, work[0].astype(np.float64))
            offers[name] = _offer(self.world, sight, name, whole, kill, fit, one, day)
        count = state.weeds[bed].count_m2(float(hour))[None, None]
        history = WeedHistory(Openings(np.zeros(0), np.zeros((0, 1, 2))), _NO_PASSES, (), (), 0.0)
        weeds = WeedOutlook(
            hours,
            count[..., 1:],
            count[..., 0],
            np.zeros(1),
            one,
            0.0 if sight.planting.crop is None else sight.plot.row_share,
            history,
            np.zeros(1, np.int64),
            None,
            future=state.future(bed, hours, float(day.sky.n_hours)),
        )
        site = Site(
            _outlook(sight, {sight.planting.bed.soil: one}), weeds, state.season.beds[bed].weather
        )
        return site, _choice(sight, offers, [offers[name] for name in sight.today])

    def _true_passes(
        self, state: PlayState, plot: Plot, ways: Sequence[Way | None]
    ) -> tuple[FloatArray, BoolArray]:
        """Kill (n_days, 1, 2, 5) of a tool on the days in sight, and whether it can work then."""
        kill, fit = np.zeros((len(ways), 1, 2, len(STAGES))), np.zeros((1, len(ways)), bool)
        for d, way in enumerate(ways):
            if way is None:
                continue
            then = self.world.days[state.day.index + d]
            hours = state.season.fit_hours(plot.key, way, then)
            fit[0, d] = hours.size > 0
            middle = float(np.median(then.open_hours))
            at = float(hours[np.argmin(np.abs(hours - middle))]) if hours.size else middle
            kill[d, 0] = true_kill_frac(state.season, plot, way, at)
        return kill, fit


def draft_of(
    site: Site, choice: Choice, world: World, settings: ValueSettings, day: Day, price: float
) -> Draft | None:
    """The pass of the list over one planting, with what other tools would do.

    Parameters
    ----------
    site : Site
        The planting, with the future of its weeds.
    choice : Choice
        Tools that can go today, and those that may follow.
    world : World
        For the tables.
    settings : ValueSettings
        Price of weeds, stand, soil and time.
    day : Day
        The clock.
    price : float
        Hand minutes that a machine minute must save [min/min].

    Returns
    -------
    Draft or None
        None where no pass is worth its minutes, or the best tool finds no hours today.

    Notes
    -----
    As the list decides, without its hand verdicts. Definition of this project. No range stated.
    Worked: tests/planning/season/test_ours.py.
    """
    weeds = site.weeds
    assert weeds.future is not None
    kit = world.tables.kit
    weed_price = price_of_weeds(site, choice, kit, day, settings, weeds.future.end_hour)
    values = values_today(site, choice, weed_price, settings, price)
    best = _best(choice.offers, values, day).tool.name
    drafts: dict[str, Draft] = {}
    for offer in choice.offers:
        draft = _go(site.planting, offer, values[offer.tool.name], weeds, day)
        if draft is not None:
            drafts[offer.tool.name] = draft
    if best not in drafts:
        return None
    chosen = drafts.pop(best)
    return replace(chosen, others=tuple(drafts.values()))


def _go(
    planting: Planting, offer: Offer, terms: Terms, weeds: WeedOutlook, day: Day
) -> Draft | None:
    """A pass worth its minutes that finds hours today, as a line of the list."""
    span = span_today(offer, day)
    if span is None or terms.net_min <= 0.0:
        return None
    sure = _sure(offer, terms, weeds, day, span)
    if sure < _LEAST_SURE and terms.best_day > 0:
        return None
    action = Action(
        offer.tool.name,
        None if offer.setup is None else offer.setup.name,
        offer.depth_mm,
        day.sky.at(span[0]),
        day.sky.at(span[1]),
        offer.minutes,
        offer.tool.setup_min,
    )
    answer = BedAnswer(
        None, planting.bed.name, None, planting.crop, "go", "", None,
        sure, action, _NO_SOIL, None, None, (),
    )  # fmt: skip
    worth = terms.worth_min - terms.stand_min - terms.soil_min - terms.vain_min
    return Draft(answer, _urgency(offer, terms, worth, day), worth)


_NO_PASSES = Passes(np.zeros(0), np.zeros((0, 1, 2, len(STAGES))), np.zeros(0))
_NO_SOIL = SoilAnswer(1.0, None, 1.0, 15.0)


def _sight(world: World, bed: str, hour: int, day: int, n_days: int) -> _Sight | None:
    """The tools over one bed for as long as it stays as it is: empty, or with its crop."""
    plot = world.plot_at(bed, hour)
    if plot is None:
        return None
    is_sown = plot.is_sown_by(hour)
    ways: dict[str, list[Way | None]] = {}
    for d in range(n_days):
        here = world.ways.get((day + d, bed), ())
        if here and world.plot_at(bed, here[0].from_hour) is not plot:
            break
        for way in here:
            if (way.purpose != "stale") is is_sown:
                ways.setdefault(way.tool.name, [None] * n_days)[d] = way
    if not any(of[0] for of in ways.values()):
        return None
    planting = plot.planting if is_sown else plot.empty
    if is_sown and plot.planting.is_sown and hour >= plot.up_hour:
        planting = replace(planting, up_at=world.at(plot.up_hour))
    return _Sight(plot, planting, {name: tuple(of) for name, of in ways.items()})


def _offer(
    world: World,
    sight: _Sight,
    name: str,
    work: WorkOutlook,
    kill_frac: FloatArray,
    is_fit: BoolArray,
    weights: FloatArray,
    day: Day,
) -> Offer:
    """One tool as the list offers it, with its gate of today or of the first day it opens."""
    kit = world.tables.kit
    way = next(way for way in sight.ways[name] if way is not None)
    until = _closes(sight, name, day)
    because = "" if sight.ways[name][0] is not None else "crop_tender"
    stirs = kit.kills.stirs_frac[way.tool.key] * np.interp(
        way.depth_mm, kit.weeds.size_depth_mm, kit.weeds.size_depth_frac
    )
    return Offer(
        tool=way.tool,
        purpose=way.purpose,
        setup=None if way.setup is None else Setup(way.setup),
        note="",
        gate=Gate(because, "", way.from_hour, until, way.loss_frac, way.depth_mm),
        fit=Fit(True, ""),
        work=work,
        minutes=way.minutes,
        depth_mm=way.depth_mm,
        kill_frac=kill_frac,
        stirs_frac=stirs,
        killable=np.zeros((0, 0)),
        dry_killable=np.zeros(0),
        is_fit=is_fit,
        weights=weights,
        killed_m2=0.0,
        from_hour=max(way.from_hour, float(day.sky.now_hour)),
        until_hour=until,
    )


def _choice(sight: _Sight, offers: Mapping[str, Offer], today: Sequence[Offer]) -> Choice:
    later = tuple(offer for name, offer in offers.items() if name not in sight.today)
    gates = {name: offer.gate for name, offer in offers.items()}
    return Choice(tuple(today), later, (), None, None, gates)


def _outlook(sight: _Sight, weights: Mapping[str, FloatArray]) -> Outlook:
    """An outlook with what values and passes read of it: emergence and weights."""
    planting, none = sight.planting, np.zeros((0, 0))
    w = weights[planting.bed.soil]
    up = None
    if planting.crop is not None and planting.is_sown:
        up = np.full(w.size, sight.plot.up_hour)
    return Outlook(
        planting, {}, none, none, none, none, None, 0.0, cast(FlushOutlook, None), (),
        up, None, np.zeros(0), w,
    )  # fmt: skip


def _closes(sight: _Sight, name: str, day: Day) -> float | None:
    """Hour from which a crop lets a tool in no more; None where that is not in sight."""
    ways = sight.ways[name]
    last = max(d for d, way in enumerate(ways) if way is not None)
    later = any(of[d] is not None for of in sight.ways.values() for d in range(last + 1, len(ways)))
    found = ways[last]
    assert found is not None
    if found.purpose == "stale":
        return None
    is_over = later or (found.purpose == "blind" and found.until_hour < day.sky.n_hours - 24)
    return found.until_hour if is_over else None


def _refused(events: Sequence[Event], day: Day) -> frozenset[str]:
    """Beds found unfit today: not tried again the same day."""
    today = day.now.astimezone(day.zone).date()
    return frozenset(
        str(e.bed)
        for e in events
        if e.kind == "pass"
        and e.data.get("worked") is False
        and e.happened_at.astimezone(day.zone).date() == today
    )


def _takes_any(offer: Offer, weeds: WeedOutlook) -> bool:
    """Whether a tool takes any weed that stands or is to come on a day in sight."""
    return any(
        float(weeds.killable_frac(1 + d, kill).max(initial=0.0)) > 0.0
        for d, kill in enumerate(offer.kill_frac)
    )


def _listed(plan: DayPlan) -> tuple[Choose, ...]:
    """The ranked lines of a list."""
    return tuple(
        Choose(answer.bed, answer.action.tool, answer.sure)
        for answer in plan.answers
        if answer.rank is not None and answer.action is not None
    )


def _one_by_one(drafts: Sequence[Draft]) -> tuple[Choose, ...]:
    """Passes by urgency alone, whatever set-up they need."""
    lines = sorted(drafts, key=lambda d: (-d.urgency, d.place))
    return tuple(Choose(d.answer.bed, d.action.tool, d.answer.sure) for d in lines)
