"""What looks and squeeze tests of former months teach, worked out once and kept by a store.

For each block of days that has such entries the farm is computed as it stood at the end of it, with
the entries and the weather that are known now, and only the beds that were looked at or felt.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from typing import Any

import numpy as np

from scheduler.errors import WeatherMissingError
from scheduler.planning.ensemble import Ensemble, member_skies
from scheduler.planning.forcing import hourly_series
from scheduler.planning.former import (
    Block,
    SoilEvidence,
    block_of,
    blocks_of,
    cut_after,
    growing_year,
    of_beds,
    shift_prior,
    soil_evidence,
)
from scheduler.planning.hours import at_local, local_day
from scheduler.planning.looks import Evidence
from scheduler.planning.own_rates import with_own_rates
from scheduler.planning.plantings import plantings_at, touches
from scheduler.planning.visits import A_SQUEEZE, handful_of, learned_soils, taught, visits_of
from scheduler.planning.weeds import UNKNOWNS
from scheduler.ports import LessonStore, Progress, WeatherStore
from scheduler.records import Event, Farm, Planting
from scheduler.service.basis import (
    PAST_DAYS,
    READING_DAYS,
    STORED_DAYS,
    Basis,
    check_is_known,
    first_hour,
    surfaces_of,
)
from scheduler.service.grounds import ground_before, kit_of, run_of
from scheduler.service.own_rates import tool_rates
from scheduler.service.settings import guild_views, spread, tool_traits
from scheduler.service.weeds_now import told_of

BLOCK_MEMBERS = 16  # soil members by which a block is worked out, where the list has more
_AFTER = timedelta(days=5)  # of weather after a block: what its last passes met
_STORED = timedelta(days=STORED_DAYS)
_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Former:
    """What the entries of one block taught by themselves."""

    weeds: tuple[Evidence, ...] = ()
    soils: tuple[SoilEvidence, ...] = ()


def with_former(
    basis: Basis,
    weather: WeatherStore,
    store: LessonStore | None = None,
    progress: Progress | None = None,
    like: Basis | None = None,
) -> Basis:
    """What an answer rests on, with what looks and squeeze tests of former months taught.

    Parameters
    ----------
    basis : Basis
        Entries, weather and plantings of now.
    weather : WeatherStore
        Weather, filtered by the moment of the answer.
    store : LessonStore, optional
        Where former lessons are kept; without one they are worked out anew each time.
    progress : Progress, optional
        Told where they have to be.
    like : Basis, optional
        Of the same farm and moment, with its lessons: they are taken from it where no entry that
        bears on them differs.

    Returns
    -------
    Basis
        Looks older than the weeds that are followed count by their block, and so do squeeze tests
        older than the profiles that are stored; the same but for its moments without any.
    """
    if like is not None and _bears(like) == _bears(basis, like):
        return replace(
            basis,
            lessons=like.lessons,
            looks_from=like.looks_from,
            thought=like.thought,
            feels_from=like.feels_from,
        )
    farm, now = basis.farm, basis.now
    zone = farm.place.time_zone
    day_of = {e.event_id: local_day(e.happened_at, zone) for e in basis.events if _is_told(e, farm)}
    looks = [e for e in basis.events if e.event_id in day_of and e.kind == "look"]
    feels = [e for e in basis.events if e.event_id in day_of and e.kind == "feel"]
    looks_to = cut_after(local_day(now - timedelta(days=READING_DAYS), zone))
    feels_to = _feels_to(feels, now - _STORED, zone)
    latitude = farm.place.latitude_deg
    year = growing_year(local_day(now, zone), latitude)
    of_looks = blocks_of([day_of[e.event_id] for e in looks], looks_to, year, latitude)
    of_feels = blocks_of([day_of[e.event_id] for e in feels], feels_to, year, latitude)
    blocks = sorted({*of_looks, *of_feels}, key=lambda block: block.starts_on)
    found = _worked_out(blocks, basis, weather, store, progress)
    weeds = [
        replace(e, years=year - growing_year(block.middle_on, latitude))
        for block in of_looks
        for e in found[block].weeds
    ]
    soils = [
        replace(e, years=year - growing_year(block.middle_on, latitude))
        for block in of_feels
        for e in found[block].soils
    ]
    thought = {name: shift_prior([e for e in soils if e.soil == name]) for name in farm.soils}
    return replace(
        basis,
        lessons=tuple(weeds),
        looks_from=_start(looks_to, zone),
        thought={s: p for s, p in thought.items() if p != shift_prior([])},
        feels_from=_start(feels_to, zone),
    )


def _bears(basis: Basis, like: Basis | None = None) -> tuple[Event, ...]:
    """Entries that can bear on what former months taught."""
    moments = ((like or basis).looks_from, (like or basis).feels_from, basis.now - _STORED)
    last = max(moment for moment in moments if moment is not None) + 2 * _AFTER
    return tuple(event for event in basis.events if event.happened_at < last)


def _is_told(event: Event, farm: Farm) -> bool:
    """Whether an entry is a look or a squeeze test of a bed the farm has."""
    if event.kind not in ("look", "feel") or "of_n" in event.data:
        return False
    return any(bed.name == event.bed for bed in farm.beds)


def _feels_to(feels: Sequence[Event], stored_at: datetime, zone: str) -> date:
    """Day up to which squeeze tests count by their block.

    The block that the oldest stored hour lies in counts as a whole as soon as any of its tests is
    older than that; until then all of them are learned from one by one.
    """
    block = block_of(local_day(stored_at, zone))
    start = _start(block.starts_on, zone)
    is_old = any(start <= e.happened_at < stored_at for e in feels)
    return block.ends_on if is_old else block.starts_on


def _start(day: date, zone: str) -> datetime:
    """The full hour that a day begins in."""
    begins = at_local(day, time(0), zone).astimezone(UTC)
    return begins.replace(minute=0, second=0, microsecond=0)


# --------------------------------------------------------------------- kept


def _worked_out(
    blocks: Sequence[Block],
    basis: Basis,
    weather: WeatherStore,
    store: LessonStore | None,
    progress: Progress | None,
) -> dict[Block, Former]:
    """What each block taught: as it was kept, else computed and put away."""
    if not blocks:
        return {}
    keys = {} if store is None else _keys(blocks, basis, store)
    found: dict[Block, Former] = {}
    for place, block in enumerate(blocks):
        kept = None if store is None else _from_kept(store.get(keys[block]))
        if kept is None:
            if progress is not None:
                said = f"learning from the looks of {block.middle_on:%B}, once"
                progress(said, place / len(blocks))
            kept = former_of(block, basis, weather)
            if store is not None:
                store.put(keys[block], _to_keep(kept))
        found[block] = kept
    return found


def _keys(blocks: Sequence[Block], basis: Basis, store: LessonStore) -> dict[Block, str]:
    """A digest by block of all that its lessons depend on, but for the program."""
    farm, zone = basis.farm, basis.farm.place.time_zone
    described = repr((farm.soils, farm.beds, farm.tools, farm.place, farm.seed, _members(basis)))
    whole = sha256(described.encode())
    first = _start(blocks[0].starts_on, zone) - timedelta(days=PAST_DAYS)
    last = _start(blocks[-1].ends_on, zone) + _AFTER
    marks = store.weather_marks(basis.now, first - _DAY, last + _DAY)
    events = sorted(basis.events, key=lambda e: (e.happened_at, e.event_id))
    n_said = 0
    keys = {}
    for block in blocks:
        start, end = _start(block.starts_on, zone), _start(block.ends_on, zone)
        while n_said < len(events) and events[n_said].happened_at < end:
            whole.update(repr(events[n_said]).encode())
            n_said += 1
        of_block = whole.copy()
        until_at = end + 2 * _AFTER
        after = [e for e in events[n_said:] if _is_weather(e) and e.happened_at < until_at]
        of_block.update(repr((block, after)).encode())
        day, until = (start - timedelta(days=PAST_DAYS) - _DAY).date(), (end + _AFTER + _DAY).date()
        while day <= until:
            of_block.update(f"{day} {marks.get(day.isoformat())}\n".encode())
            day += _DAY
        keys[block] = of_block.hexdigest()
    return keys


def _is_weather(event: Event) -> bool:
    return event.kind in ("rain", "temp")


def _to_keep(former: Former) -> dict[str, Any]:
    """Plain values, exact to the last bit when they are written as decimal numbers."""
    return {
        "weeds": [[e.bed, e.soil, e.mean.tolist(), e.precision.tolist()] for e in former.weeds],
        "soils": [[e.soil, e.mean_m3m3, e.sd_m3m3] for e in former.soils],
    }


def _from_kept(kept: Mapping[str, Any] | None) -> Former | None:
    """What was kept; None where it is nothing that can have been put there."""
    if kept is None:
        return None
    try:
        weeds = [
            Evidence(str(bed), str(soil), _scores(mean), _scores(precision))
            for bed, soil, mean, precision in kept["weeds"]
        ]
        soils = [SoilEvidence(str(s), float(mean), float(sd)) for s, mean, sd in kept["soils"]]
    except (KeyError, TypeError, ValueError):
        return None
    is_sound = all((e.precision >= 0.0).all() for e in weeds) and all(
        np.isfinite(e.mean_m3m3) and e.sd_m3m3 > 0.0 for e in soils
    )
    return Former(tuple(weeds), tuple(soils)) if is_sound else None


def _scores(values: Any) -> Any:
    found = np.array(values, dtype=np.float64)
    if found.shape != (len(UNKNOWNS),) or not np.isfinite(found).all():
        msg = f"scores: found {values!r}; allowed are {len(UNKNOWNS)} numbers"
        raise ValueError(msg)
    return found


# ------------------------------------------------------------------ computed


def former_of(block: Block, basis: Basis, weather: WeatherStore) -> Former:
    """What the looks and squeeze tests of one block taught by themselves.

    Parameters
    ----------
    block : Block
        Days that have passed.
    basis : Basis
        Entries and farm of now.
    weather : WeatherStore
        Weather, filtered by the moment of `basis`.

    Returns
    -------
    Former
        Nothing where the weather of then is not on record. A planting that has gone since leaves
        what was seen there to its bed and soil.

    Notes
    -----
    Visits to beds that were neither looked at nor felt are left aside, and so are forecasts that
    stood in for hours nobody observed: those are drawn.
    """
    start = _start(block.starts_on, basis.farm.place.time_zone)
    try:
        then = _basis_then(block, basis, weather)
    except WeatherMissingError:
        return Former()
    farm, events, plantings = then.farm, then.events, then.plantings
    traits = tool_traits(farm)
    ensemble = run_of(then, None)
    from_hour = (start - then.sky.start_at) / timedelta(hours=1)
    soils = _soils_told(farm, plantings, events, ensemble, from_hour)
    looks = [e for e in events if e.kind == "look" and _is_told(e, farm) and e.happened_at >= start]
    looked = [p for p in plantings if any(touches(e, p) for e in looks)]
    if not looked:
        return Former(soils=soils)
    ensemble = taught(ensemble, farm, plantings, events, traits)
    views = guild_views(then.series, then.sky.now_hour, then.now, farm)
    tabled = kit_of(farm, traits)
    rates = tool_rates(
        farm, events, plantings, ensemble, tabled.rules, tabled.kills,
        lambda p: ground_before(p, ensemble, then, views, tabled).history,
    )  # fmt: skip
    kit = kit_of(with_own_rates(farm, rates), traits)
    told = [
        told_of(
            p, ground_before(p, ensemble, then, views, kit).history, ensemble, events, farm.seed,
            from_hour,
        )
        for p in looked
    ]  # fmt: skip
    return Former(of_beds([one.evidence for one in told if one is not None]), soils)


def _members(basis: Basis) -> int:
    return min(basis.n_members, BLOCK_MEMBERS)


def _basis_then(block: Block, basis: Basis, weather: WeatherStore) -> Basis:
    """What was known at the end of a block, of the beds that were looked at or felt in it."""
    zone = basis.farm.place.time_zone
    start, end = _start(block.starts_on, zone), _start(block.ends_on, zone)
    events = tuple(e for e in basis.events if e.happened_at < end)
    names = {e.bed for e in events if e.happened_at >= start and _is_told(e, basis.farm)}
    farm = replace(basis.farm, beds=tuple(b for b in basis.farm.beds if b.name in names))
    last, n_members = end + _AFTER, _members(basis)
    own = [e for e in basis.events if _is_weather(e) and e.happened_at < last + _AFTER]
    earliest = end - timedelta(days=PAST_DAYS)
    values = weather.weather_values(basis.now, earliest, last)
    first = first_hour(values, own, end, earliest)
    series = hourly_series(values, own, None, first, last, basis.now, farm.place)
    check_is_known(series, end)
    sky = member_skies(series, last, farm.place, spread(), farm.seed, n_members)
    sky = replace(sky, now_hour=sky.hour_of(end))
    plantings = plantings_at(farm, events)
    surfaces = surfaces_of(plantings, events, series)
    return Basis(farm, end, n_members, events, (), series, sky, plantings, surfaces)


def _soils_told(
    farm: Farm,
    plantings: Sequence[Planting],
    events: Sequence[Event],
    ensemble: Ensemble,
    from_hour: float,
) -> tuple[SoilEvidence, ...]:
    """What the squeeze tests of a block said of their soils."""
    tools = {tool.name: tool for tool in farm.tools}
    traits = tool_traits(farm)
    visits = visits_of(plantings, events, tools, traits, ensemble, farm.place.time_zone)
    visits = tuple(visit for visit in visits if visit.hour >= from_hour)
    felt = {v.planting.bed.soil for v in visits if v.tool == A_SQUEEZE}
    found = []
    for soil in sorted(felt):
        of_soil = [v for v in visits if v.planting.bed.soil == soil]
        handfuls = [handful_of(v, ensemble) for v in of_soil if v.tool == A_SQUEEZE]
        found.append(soil_evidence(soil, handfuls, learned_soils(ensemble, of_soil)[soil]))
    return tuple(one for one in found if np.isfinite(one.sd_m3m3))


def taught_before(ensemble: Ensemble, basis: Basis) -> Ensemble:
    """The columns of a farm with what squeeze tests of former months say of their soils.

    Parameters
    ----------
    ensemble : Ensemble
        Columns after their run.
    basis : Basis
        With former lessons, or without.

    Returns
    -------
    Ensemble
        To be given to `taught`.
    """
    from_hour = -np.inf
    if basis.feels_from is not None:
        from_hour = (basis.feels_from - basis.sky.start_at) / timedelta(hours=1)
    return replace(ensemble, thought=basis.thought, feels_from_hour=from_hour)
