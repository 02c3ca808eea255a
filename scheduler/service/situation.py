"""A farm at one moment, computed from what was known then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from scheduler.planning.advice import advice_for, advised
from scheduler.planning.day import Day, date_words, day_of, local_moment
from scheduler.planning.ensemble import (
    N_SOIL_MEMBERS,
    Ensemble,
    Sky,
    rerun_ensemble,
    sky_change_hour,
)
from scheduler.planning.looks import Told
from scheduler.planning.offers import Kit, Site, choose
from scheduler.planning.order import Draft
from scheduler.planning.outlook import Outlook
from scheduler.planning.own_rates import (
    AS_RECKONED,
    OwnRates,
    Timed,
    own_hand_rates,
    with_own_rates,
    with_rounds,
)
from scheduler.planning.plantings import (
    is_prepared,
    touches,
)
from scheduler.planning.sure import NO_RECORD, OwnRecord
from scheduler.planning.verdict import weed_verdict
from scheduler.planning.visits import after_refusal, taught
from scheduler.planning.weeds import HandRates, LearnedWeeds, WeedHistory, WeedOutlook
from scheduler.planning.whatif import HandAhead, hand_ahead
from scheduler.ports import Journal, LessonStore, Progress, WeatherStore
from scheduler.records import (
    Event,
    Farm,
    FloatArray,
    Planting,
    WeatherSeries,
)
from scheduler.service.basis import Basis, basis_of
from scheduler.service.former import taught_before, with_former
from scheduler.service.grounds import ground_before, kit_of, run_of
from scheduler.service.lessons import is_news, look_lessons, rests_of, with_moved
from scheduler.service.own_rates import all_rounds, rounds_of, tool_rates
from scheduler.service.settings import (
    guild_views,
    hand_rates,
    tool_traits,
    value_settings,
    weed_heat,
)
from scheduler.service.weather import held_back
from scheduler.service.weeds_now import is_same, learned_of, told_of, weeds_of


@dataclass(frozen=True)
class Kept:
    """What a computed situation is taken up again from, when something of it is another.

    `drafts` are the verdicts by planting before the order of the day, `ahead` the minutes by hand
    at the end of the days in sight, `ranks` the places on the list issued before, `own_sure` what
    lines of the farm's lists came to, `told` what looks said by planting, `rounds` the timed rounds
    by hand by planting, `rates` what the stopwatch taught.
    """

    key: str
    basis: Basis
    ensemble: Ensemble
    drafts: Mapping[str, Draft]
    ahead: Mapping[str, HandAhead]
    ranks: Mapping[tuple[str, str], int] = field(default_factory=dict)
    own_sure: OwnRecord = NO_RECORD
    told: Mapping[str, Told] = field(default_factory=dict)
    rounds: Mapping[str, tuple[Timed, ...]] = field(default_factory=dict)
    rates: OwnRates = AS_RECKONED


@dataclass(frozen=True)
class Situation:
    """A farm at one moment, computed: everything that answers are read from.

    The tools of `farm` have the minutes and the kill that its own entries teach, `rates`; the farm
    as described is that of `kept.basis`. `outlooks` and `weeds` are those of the plantings that
    were computed: all of them, but in a situation that was taken up from another one.
    """

    farm: Farm
    now: datetime
    events: tuple[Event, ...]
    series: WeatherSeries
    sky: Sky
    ensemble: Ensemble
    plantings: tuple[Planting, ...]
    outlooks: Mapping[str, Outlook]
    weeds: Mapping[str, WeedOutlook]
    surfaces: Mapping[str, tuple[str, FloatArray]]
    day: Day
    drafts: tuple[Draft, ...]
    kept: Kept
    learned: Mapping[str, LearnedWeeds] = field(default_factory=dict)  # by planting computed
    rates: OwnRates = AS_RECKONED


def situation(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
    *,
    n_members: int = N_SOIL_MEMBERS,
    progress: Progress | None = None,
    former: LessonStore | None = None,
) -> Situation:
    """Compute a farm at a moment from what was known then.

    Parameters
    ----------
    farm : Farm
        The farm as described.
    journal, weather : Journal, WeatherStore
        Entries and weather, filtered by `now`.
    now : datetime
        Aware moment.
    n_members : int
        Soil members.
    progress : Progress, optional
        Told how far the computation has come.
    former : LessonStore, optional
        Where lessons of former months are kept; without one they are worked out anew.

    Returns
    -------
    Situation
        Members, outlooks and verdicts.

    Raises
    ------
    WeatherMissingError
        If less than three days of temperature or no rain at all is on record.
    UsageError
        If `now` has no time zone.
    """
    basis = basis_of(farm, journal, weather, now, n_members=n_members)
    basis = with_former(basis, weather, former, progress)
    return situation_of(basis, progress=progress)


def situation_of(
    basis: Basis, kept: Kept | None = None, *, progress: Progress | None = None
) -> Situation:
    """Compute a farm from what its answer rests on.

    Parameters
    ----------
    basis : Basis
        Entries, weather and plantings.
    kept : Kept, optional
        A situation of the same farm and moment: only what differs from it is computed, and only
        from the hour on in which it does.
    progress : Progress, optional
        Told how far the computation has come.

    Returns
    -------
    Situation
        The same to the last bit, with or without `kept`.
    """
    farm, now, events, sky = basis.farm, basis.now, basis.events, basis.sky
    tools = tool_traits(farm)
    if kept is None or not _is_of(basis, kept.basis):
        kept, ensemble = None, run_of(basis, progress)
    else:
        ensemble = rerun_ensemble(
            kept.ensemble, sky, basis.surfaces, weed_heat(), progress=progress
        )
    ensemble = taught_before(ensemble, basis)
    ensemble = taught(ensemble, farm, basis.plantings, events, tools)
    views = guild_views(basis.series, sky.now_hour, now, farm)
    tabled = kit_of(farm, tools)

    def history(planting: Planting) -> WeedHistory:
        return ground_before(planting, ensemble, basis, views, tabled).history

    rates = tool_rates(farm, events, basis.plantings, ensemble, tabled.rules, tabled.kills, history)
    farm = with_own_rates(farm, rates)
    kit = kit_of(farm, tools)
    day = day_of(farm, sky, basis.stored, now)
    touched = _touched(basis, ensemble, kept)
    if kept is not None and farm != with_own_rates(basis.farm, kept.rates):
        touched = basis.plantings
    grounds = {p.key: ground_before(p, ensemble, basis, views, kit) for p in touched}
    told = {} if kept is None else dict(kept.told)
    moved = _moved_before(basis, kept)
    looks_from = _looks_from(basis)
    for p in touched:
        before, found = told.pop(p.key, None), None
        found = told_of(p, grounds[p.key].history, ensemble, events, farm.seed, looks_from)
        if found is not None:
            told[p.key] = found
        if not is_same(found, before):
            moved.add(p.bed.soil)
    if kept is not None:
        more = [p for p in basis.plantings if p.bed.soil in moved and p.key not in grounds]
        grounds |= {p.key: ground_before(p, ensemble, basis, views, kit) for p in more}
        touched = tuple(p for p in basis.plantings if p.key in grounds)

    def learned_from(some: Sequence[Planting]) -> dict[str, LearnedWeeds]:
        found = {
            p.key: learned_of(p, grounds[p.key].history, ensemble, told, basis.lessons, farm.seed)
            for p in some
        }
        return {key: known for key, known in found.items() if known is not None}

    learned = learned_from(touched)
    rounds = {} if kept is None else dict(kept.rounds)
    for p in touched:
        rounds[p.key] = rounds_of(
            farm, p, events, ensemble, grounds[p.key].history, learned.get(p.key)
        )
    rates = with_rounds(rates, all_rounds(rounds))
    if kept is not None and rates.hand_factor != kept.rates.hand_factor:
        more = [p for p in basis.plantings if p.key not in grounds]
        grounds |= {p.key: ground_before(p, ensemble, basis, views, kit) for p in more}
        learned |= learned_from(more)
        touched = basis.plantings
    hand = own_hand_rates(hand_rates(), rates)
    weeds: dict[str, WeedOutlook] = {}
    drafts: dict[str, Draft] = {} if kept is None else dict(kept.drafts)
    ahead: dict[str, HandAhead] = {} if kept is None else dict(kept.ahead)
    outlooks = {key: ground.outlook for key, ground in grounds.items()}
    for place, p in enumerate(touched):
        if progress is not None:
            progress("weeds of the beds", place / len(touched))
        ground = grounds[p.key]
        site = Site(
            ground.outlook,
            weeds_of(ground.outlook, ground.history, learned.get(p.key), ensemble, day),
            ground.weather,
            _mates(p, outlooks),
            is_prepared(p, basis.done),
        )
        drafts[p.key] = _draft(site, kit, basis.done, events, day, ensemble, hand)
        if p.key in told and is_news(told[p.key], float(sky.now_hour)):
            rests = rests_of(p, told, basis.lessons, farm.place.time_zone)
            lessons = look_lessons(
                site.outlook, site.weeds, learned[p.key], rests, ensemble, farm.seed
            )
            drafts[p.key] = with_moved(drafts[p.key], lessons)
        ahead[p.key] = hand_ahead(site.weeds, site.outlook, hand)
        weeds[p.key] = replace(site.weeds, future=None)  # large, and of no more use
    own = {p.key: _planned(drafts[p.key], p, basis, day) for p in basis.plantings}
    return Situation(
        farm,
        now,
        events,
        basis.series,
        sky,
        ensemble,
        basis.plantings,
        outlooks,
        weeds,
        basis.surfaces,
        day,
        held_back(tuple(own.values()), farm, events, basis.series, day),
        Kept(basis.key(), basis, ensemble, own, ahead, told=told, rounds=rounds, rates=rates),
        learned,
        rates,
    )


def _looks_from(basis: Basis) -> float:
    """Hour from which looks are learned from one by one."""
    if basis.looks_from is None:
        return -np.inf
    return (basis.looks_from - basis.sky.start_at) / timedelta(hours=1)


def _moved_before(basis: Basis, kept: Kept | None) -> set[str]:
    """Soils of which looks of former months say another thing than they did."""
    if kept is None:
        return set()
    now, then = basis.lessons, kept.basis.lessons
    is_same = len(now) == len(then) and all(
        (a.bed, a.soil, a.years) == (b.bed, b.soil, b.years)
        and np.array_equal(a.mean, b.mean)
        and np.array_equal(a.precision, b.precision)
        for a, b in zip(now, then, strict=True)
    )
    return set() if is_same else {one.soil for one in (*now, *then)}


def _mates(planting: Planting, outlooks: Mapping[str, Outlook]) -> tuple[Outlook, ...]:
    """Other parts of the same bed."""
    return tuple(
        other
        for key, other in outlooks.items()
        if other.planting.bed.name == planting.bed.name and key != planting.key
    )


def _planned(draft: Draft, planting: Planting, basis: Basis, day: Day) -> Draft:
    """The verdict where a pass is thought of for later: it waits for that pass."""
    passes = [e for e in basis.planned if e.kind == "pass" and touches(e, planting)]
    if not passes or draft.answer.verdict != "go":
        return draft
    until = local_moment(passes[0].happened_at, day)
    why = f"{passes[0].data['tool']} is thought of for {date_words(until, day)} {until:%H:%M}"
    answer = replace(
        draft.answer,
        verdict="wait",
        because="planned",
        until=until,
        action=None,
        sure=None,
        last_good_at=None,
        why=(why,),
    )
    return Draft(answer, 0.0)


def _is_of(basis: Basis, before: Basis) -> bool:
    """Whether a computed basis is of the same farm, moment, clock and plantings."""
    return (
        (basis.farm, basis.now, basis.n_members) == (before.farm, before.now, before.n_members)
        and (basis.sky.start_at, basis.sky.n_hours) == (before.sky.start_at, before.sky.n_hours)
        and basis.plantings == before.plantings
        and np.array_equal(basis.series.air_temp_c, before.series.air_temp_c, equal_nan=True)
    )


def _touched(basis: Basis, ensemble: Ensemble, kept: Kept | None) -> tuple[Planting, ...]:
    """Plantings that a change reaches: by the sky, their soil's members, or an entry of the bed."""
    if kept is None or sky_change_hour(kept.basis.sky, basis.sky) is not None:
        return basis.plantings
    before = kept.basis
    soils = {
        soil
        for soil, weights in ensemble.weights.items()
        if not np.array_equal(weights, kept.ensemble.weights[soil])
        or not np.array_equal(
            ensemble.members[soil].working_m3m3, kept.ensemble.members[soil].working_m3m3
        )
    }

    def told(of: Basis, bed: str) -> tuple[list[Event], list[Event]]:
        return [e for e in of.events if e.bed == bed], [e for e in of.acts if e.bed == bed]

    beds = {
        bed.name
        for bed in basis.farm.beds
        if bed.soil in soils or told(basis, bed.name) != told(before, bed.name)
    }
    return tuple(p for p in basis.plantings if p.bed.name in beds)


def _draft(
    site: Site,
    kit: Kit,
    done: Sequence[Event],
    events: Sequence[Event],
    day: Day,
    ensemble: Ensemble,
    hand: HandRates,
) -> Draft:
    """The verdict of one planting, with what else is due there."""
    choice = choose(site, kit, done, day)
    advice = advice_for(site, choice, kit, day, ensemble)
    found = weed_verdict(site, choice, kit, day, hand, value_settings())
    each = [
        after_refusal(advised(one, advice, site, choice, day), site, choice, kit, events, day)
        for one in (replace(found, others=()), *found.others)
    ]
    go = [draft for draft in each if draft.answer.verdict == "go"]
    return replace(go[0], others=tuple(go[1:])) if go else each[0]
