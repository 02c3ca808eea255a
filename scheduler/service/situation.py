"""A farm at one moment, computed from what was known then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256

import numpy as np

from scheduler import __version__
from scheduler.errors import UsageError, WeatherMissingError
from scheduler.planning.advice import advice_for, advised
from scheduler.planning.day import Day, date_words, day_of, local_moment
from scheduler.planning.ensemble import (
    N_SOIL_MEMBERS,
    Ensemble,
    Sky,
    member_skies,
    rerun_ensemble,
    run_ensemble,
    sky_change_hour,
    soil_members,
)
from scheduler.planning.looks import Evidence, Told
from scheduler.planning.offers import Kit, Site, choose
from scheduler.planning.order import Draft
from scheduler.planning.outlook import GuildView, Outlook, planting_outlook
from scheduler.planning.own_rates import (
    AS_RECKONED,
    OwnRates,
    Timed,
    own_hand_rates,
    with_own_rates,
    with_rounds,
)
from scheduler.planning.passes import PassRules, PassWeather, pass_weather
from scheduler.planning.plantings import (
    disturbances,
    is_prepared,
    plantings_at,
    surface_table,
    touches,
)
from scheduler.planning.sure import NO_RECORD, OwnRecord
from scheduler.planning.traits import ToolTraits
from scheduler.planning.verdict import weed_verdict
from scheduler.planning.visits import after_refusal, taught
from scheduler.planning.weeds import HandRates, LearnedWeeds, WeedHistory, WeedOutlook
from scheduler.planning.whatif import HandAhead, hand_ahead
from scheduler.ports import Journal, Progress, WeatherStore
from scheduler.records import (
    HOURLY_VARIABLES,
    Event,
    Farm,
    FloatArray,
    Kind,
    Planting,
    WeatherSeries,
)
from scheduler.service.lessons import is_news, look_lessons, rests_of, with_moved
from scheduler.service.own_rates import all_rounds, rounds_of, tool_rates
from scheduler.service.settings import (
    crop_traits,
    guild_views,
    hand_rates,
    kill_settings,
    kill_table,
    soil_prior,
    spread,
    tool_traits,
    value_settings,
    weed_heat,
    weed_settings,
)
from scheduler.service.weather import held_back, past_years, weather_on_record
from scheduler.service.weeds_now import history_of, is_same, learned_of, told_of, weeds_of

PAST_DAYS = 75
STORED_DAYS = 45
READING_DAYS = 60
HORIZON_DAYS = 10
MARKED_DAYS = (-7, -3, -2, -1, 0, 1, 2, 3)  # from now: from there a changed run goes on
_LEAST_PAST_DAYS = 3


@dataclass(frozen=True)
class Basis:
    """What an answer rests on, before anything is computed.

    `events` are entries that stand, up to now; `acts` are what is thought of for now or later, in
    order: ground and weeds feel them, but they teach nothing.
    """

    farm: Farm
    now: datetime
    n_members: int
    events: tuple[Event, ...]
    acts: tuple[Event, ...]
    series: WeatherSeries
    sky: Sky
    plantings: tuple[Planting, ...]
    surfaces: Mapping[str, tuple[str, FloatArray]]
    lessons: tuple[Evidence, ...] = ()  # of looks before the weeds that are followed

    @property
    def stored(self) -> int:
        """First hour of which the profiles are kept."""
        return max(0, self.sky.now_hour - 24 * STORED_DAYS)

    @property
    def done(self) -> tuple[Event, ...]:
        """Entries, and what is thought of for this very moment."""
        return (*self.events, *(e for e in self.acts if e.happened_at <= self.now))

    @property
    def planned(self) -> tuple[Event, ...]:
        """What is thought of for later."""
        return tuple(e for e in self.acts if e.happened_at > self.now)

    def key(self) -> str:
        """A digest of all that the computed state depends on, but for the parameter tables."""
        series, sky = self.series, self.sky
        said: list[object] = [__version__, self.farm, self.now.astimezone(UTC), self.n_members]
        said += [
            self.events,
            self.acts,
            [(e.bed, e.soil, e.years, e.mean.tolist(), e.precision.tolist()) for e in self.lessons],
            series.rain_totals,
            series.notes,
            series.fills,
            series.sources,
        ]
        said += [series.last_observed_at, series.forecast_issued_at]
        said += [sky.start_at, sky.now_hour, sky.has_forecast, sky.n_past_years]
        arrays = [getattr(series, name) for name in HOURLY_VARIABLES]
        arrays += [series.kinds[name] for name in sorted(series.kinds)]
        arrays += [sky.forcing.table(), sky.is_rain_known]
        arrays += [self.surfaces[name][1] for name in sorted(self.surfaces)]
        digest = sha256("\n".join(repr(one) for one in said).encode())
        for values in arrays:
            digest.update(np.ascontiguousarray(values).data)
        return digest.hexdigest()


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
    return situation_of(basis, progress=progress)


def basis_of(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
    *,
    n_members: int = N_SOIL_MEMBERS,
    more: Sequence[Event] = (),
    acts: Sequence[Event] = (),
) -> Basis:
    """Read what an answer rests on.

    Parameters
    ----------
    farm, journal, weather, now, n_members
        As in `situation`.
    more : sequence of Event
        Entries taken as if they had been logged, up to `now`.
    acts : sequence of Event
        What is thought of for `now` or later.

    Returns
    -------
    Basis
        Entries, weather, plantings and what was done to them.

    Raises
    ------
    WeatherMissingError, UsageError
        As in `situation`.
    """
    if now.tzinfo is None:
        raise UsageError(f"now: found {now.isoformat()} without a time zone; give one")
    hour_now = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    logged = (e for e in journal.events(now) if e.happened_at <= now)
    events = tuple(sorted((*logged, *more), key=lambda e: e.happened_at))
    later = tuple(sorted(acts, key=lambda e: e.happened_at))
    years = past_years(farm, events, weather, now, hour_now, timedelta(days=HORIZON_DAYS))
    series = _series(farm, events, weather, now, hour_now, len(years))
    sky = member_skies(series, hour_now, farm.place, spread(), farm.seed, n_members, years)
    plantings = plantings_at(farm, events)
    return Basis(
        farm, now, n_members, events, later, series, sky, plantings,
        surfaces_of(plantings, (*events, *later), series),
    )  # fmt: skip


def surfaces_of(
    plantings: Sequence[Planting], events: Sequence[Event], series: WeatherSeries
) -> dict[str, tuple[str, FloatArray]]:
    """Soil and surface table of each planting, by what was done to it.

    Parameters
    ----------
    plantings : sequence of Planting
        The farm's.
    events : sequence of Event
        Entries, and what is thought of, in order.
    series : WeatherSeries
        For the hours.

    Returns
    -------
    dict
        By planting key.
    """
    crops = crop_traits()
    return {
        p.key: (p.bed.soil, surface_table(p, events, crops, series.start_at, series.n_hours))
        for p in plantings
    }


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
        kept, ensemble = None, _run(basis, progress)
    else:
        ensemble = rerun_ensemble(
            kept.ensemble, sky, basis.surfaces, weed_heat(), progress=progress
        )
    ensemble = taught(ensemble, farm, basis.plantings, events, tools)
    views = guild_views(basis.series, sky.now_hour, now, farm)
    tabled = _kit(farm, tools)

    def history(planting: Planting) -> WeedHistory:
        return _ground(planting, ensemble, basis, views, tabled).history

    rates = tool_rates(farm, events, basis.plantings, ensemble, tabled.rules, tabled.kills, history)
    farm = with_own_rates(farm, rates)
    kit = _kit(farm, tools)
    day = day_of(farm, sky, basis.stored, now)
    touched = _touched(basis, ensemble, kept)
    if kept is not None and farm != with_own_rates(basis.farm, kept.rates):
        touched = basis.plantings
    grounds = {p.key: _ground(p, ensemble, basis, views, kit) for p in touched}
    told = {} if kept is None else dict(kept.told)
    moved = set()
    for p in touched:
        before, found = told.pop(p.key, None), None
        found = told_of(p, grounds[p.key].history, ensemble, events, farm.seed)
        if found is not None:
            told[p.key] = found
        if not is_same(found, before):
            moved.add(p.bed.soil)
    if kept is not None:
        more = [p for p in basis.plantings if p.bed.soil in moved and p.key not in grounds]
        grounds |= {p.key: _ground(p, ensemble, basis, views, kit) for p in more}
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
        grounds |= {p.key: _ground(p, ensemble, basis, views, kit) for p in more}
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


def _kit(farm: Farm, traits: Mapping[str, ToolTraits]) -> Kit:
    """The tools of a farm and all that decides over them."""
    return Kit(
        PassRules({tool.name: tool for tool in farm.tools}, traits, kill_settings(), farm.seed),
        kill_table(farm),
        crop_traits(),
        weed_settings(),
    )


@dataclass(frozen=True)
class _Ground:
    """One planting before its weeds are followed."""

    outlook: Outlook
    weather: PassWeather
    history: WeedHistory


def _ground(
    planting: Planting,
    ensemble: Ensemble,
    basis: Basis,
    views: Sequence[GuildView],
    kit: Kit,
) -> _Ground:
    """Soil, what passes met, and what was opened and killed."""
    surface = basis.surfaces[planting.key][1]
    outlook = planting_outlook(
        planting,
        ensemble,
        disturbances(planting, (*basis.events, *basis.acts)),
        views,
        kit.crops,
        kit.rules.traits,
        surface,
    )
    weather = pass_weather(outlook, ensemble, surface, kit.rules.settings)
    history = history_of(
        outlook, weather, ensemble, basis.done, basis.planned, kit, basis.farm.place.latitude_deg
    )
    return _Ground(outlook, weather, history)


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


def _run(basis: Basis, progress: Progress | None) -> Ensemble:
    """All columns from the first hour on, marked day by day around now."""
    farm, sky = basis.farm, basis.sky
    used = {bed.soil for bed in farm.beds}
    members = {
        name: soil_members(soil_prior(soil), spread(), farm.seed, basis.n_members)
        for name, soil in farm.soils.items()
        if name in used
    }
    marks = [sky.now_hour + 24 * day for day in MARKED_DAYS]
    return run_ensemble(
        sky,
        members,
        basis.surfaces,
        weed_heat(),
        stored_from_hour=basis.stored,
        readings_from_hour=max(0, sky.now_hour - 24 * READING_DAYS),
        progress=progress,
        mark_hours=[hour for hour in marks if 0 < hour < sky.n_hours],
    )


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


def _series(
    farm: Farm,
    events: Sequence[Event],
    weather: WeatherStore,
    now: datetime,
    hour_now: datetime,
    n_past_years: int,
) -> WeatherSeries:
    start_at = hour_now - timedelta(days=PAST_DAYS)
    end_at = hour_now + timedelta(days=HORIZON_DAYS)
    values = weather.weather_values(now, start_at, end_at)
    own = [e for e in events if e.kind in ("rain", "temp")]
    begins = [v.start_at for v in values if not v.suspect] + [e.happened_at for e in own]
    if not begins:
        raise WeatherMissingError(
            f"weather: nothing on record between {start_at:%d %b %Y} and {hour_now:%d %b %Y}; "
            "import a file (weather import) or keep a log (log rain, log temp)"
        )
    first = max(start_at, min(begins).replace(minute=0, second=0, microsecond=0))
    if hour_now - first < timedelta(days=_LEAST_PAST_DAYS):
        raise WeatherMissingError(
            f"weather: the record begins {first:%d %b %Y %H:%M} UTC, the answer needs at least "
            f"{_LEAST_PAST_DAYS} days before {hour_now:%d %b %Y}; import older weather"
        )
    series = weather_on_record(
        farm, own, weather, now, first, end_at, values=values, n_past_years=n_past_years
    )
    past = slice(0, int((hour_now - first) // timedelta(hours=1)))
    for name, label in (("air_temp_c", "temperature"), ("rain_mm", "rain")):
        is_known = series.kinds[name][past] >= Kind.FORECAST
        if not is_known.any():
            raise WeatherMissingError(
                f"weather: no {label} on record since {first:%d %b %Y}; import a file with "
                f"{label} or log it by hand"
            )
    return series
