"""The list of one morning."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from scheduler.planning.cautions import cautions_for
from scheduler.planning.day import tenths
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.ensemble import N_SOIL_MEMBERS
from scheduler.planning.hours import hours_left, local_day
from scheduler.planning.look_choice import chosen_looks, is_meant_for
from scheduler.planning.order import order_of_day
from scheduler.planning.soil_lessons import doubted_feels
from scheduler.planning.strip import day_strip
from scheduler.planning.sure import OwnRecord, with_told_sure
from scheduler.planning.weeds import N_PARTICLES
from scheduler.ports import Journal, LessonStore, Lists, Progress, WeatherStore
from scheduler.records import (
    BedAnswer,
    DoubtedEntry,
    Farm,
    Kind,
    Morning,
    Planting,
    RainAhead,
    Range,
    WeatherAnswer,
)
from scheduler.service.lessons import doubted_looks
from scheduler.service.settings import sure_knots, tool_traits
from scheduler.service.situation import Kept, Situation, situation
from scheduler.service.sure import own_sure
from scheduler.service.weather import aged_inputs, aged_notes

_PLACES_LAST = timedelta(hours=36)
_TOLD_FOR = timedelta(hours=24)  # a doubted entry, from when it was recorded
_MOST_NAMES = 3
_WET_MM = 0.5  # in three hours
_RAIN_CHANCE = 0.3  # from which three hours are told to have rain


def morning(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
    *,
    lists: Lists | None = None,
    n_members: int = N_SOIL_MEMBERS,
    progress: Progress | None = None,
    keep: Callable[[Kept], object] | None = None,
    former: LessonStore | None = None,
) -> Morning:
    """The list of one morning.

    Parameters
    ----------
    farm, journal, weather, now, n_members, progress
        As in `situation`.
    lists : Lists, optional
        Lists as issued: a line keeps its place against the last one unless another gains on it.
    keep : callable, optional
        Given the computed situation, to be kept for `what_if`.
    former : LessonStore, optional
        As in `situation`.

    Returns
    -------
    Morning
        One verdict for every planting, ordered.

    Raises
    ------
    WeatherMissingError, UsageError
        As in `situation`.
    """
    found = situation(
        farm, journal, weather, now, n_members=n_members, progress=progress, former=former
    )
    kept = kept_with_ranks(found, lists)
    if keep is not None:
        keep(kept)
    return morning_of(replace(found, kept=kept))


def kept_with_ranks(found: Situation, lists: Lists | None) -> Kept:
    """What a situation is kept as: with the places on the list before it, and its record.

    Parameters
    ----------
    found : Situation
        As `situation` returns it.
    lists : Lists, optional
        Lists as issued.

    Returns
    -------
    Kept
        To be given to `what_if`.
    """
    if lists is None:
        return found.kept
    own = own_sure(found.farm, found.events, lists, found.now)
    issued = lists.latest_list(found.now)
    return replace(found.kept, ranks=ranks_of(issued, found.now), own_sure=own)


def morning_of(
    s: Situation, issued: Mapping[str, Any] | None = None, *, hours_h: float | None = None
) -> Morning:
    """The list of a computed situation.

    Parameters
    ----------
    s : Situation
        As `situation` returns it.
    issued : mapping, optional
        The list issued last; without it the places that the situation was kept with.
    hours_h : float, optional
        Hours of cultivation today [h]; what is left of the work plan's by default.

    Returns
    -------
    Morning
        The list; without the picture of the day where not every planting was computed.
    """
    hours = hours_left(s.farm.work, s.now, s.farm.place.time_zone) if hours_h is None else hours_h
    ranks = s.kept.ranks if issued is None else ranks_of(issued, s.now)
    plan = order_of_day(s.drafts, hours, s.day, ranks)
    own, knots = s.kept.own_sure, sure_knots()
    series = s.series
    last = series.last_observed_at
    rain_ahead = _rain_ahead(s)
    return Morning(
        farm=s.farm,
        as_of=s.now,
        inputs={
            "n_events": len(s.events),
            "last_entry_at": max((e.recorded_at for e in s.events), default=None),
            "weather_sources": list(series.sources),
            "weather_from": series.start_at,
            "forecast_issued_at": series.forecast_issued_at,
        },
        n_soil_members=s.ensemble.n_members,
        n_particles=N_PARTICLES,
        attribution=tuple(f"Weather: {source}" for source in series.sources),
        weakest_inputs=(*aged_inputs(series, s.now), *_weakest(s, plan.answers, own)),
        weather=WeatherAnswer(
            last,
            ", ".join(series.sources) or "none",
            None if last is None else (s.now - last) / timedelta(hours=1),
            series.forecast_issued_at,
            aged_notes(series, s.now),
        ),
        hours_available=hours,
        minutes_planned=plan.minutes,
        setup_changes=plan.n_setups,
        beds=tuple(with_told_sure(a, knots, own) for a in _with_looks(plan.answers, s)),
        not_reached=tuple(with_told_sure(answer, knots, own) for answer in plan.not_reached),
        cautions=_cautions(s),
        day=local_day(s.now, s.farm.place.time_zone),
        outlook_line=_outlook_line(s, rain_ahead),
        strip=day_strip(s.day, tuple(s.outlooks.values()))
        if len(s.outlooks) == len(s.plantings)
        else None,
        rain_ahead=rain_ahead,
        doubts=_new_doubts(s),
    )


def looks_doubted(s: Situation, planting: Planting) -> tuple[DoubtedEntry, ...]:
    """Looks at a planting that contradict all else and are not learned from.

    Parameters
    ----------
    s : Situation
        As `situation` returns it.
    planting : Planting
        The planting.

    Returns
    -------
    tuple of DoubtedEntry
        In order.
    """
    told = s.kept.told.get(planting.key)
    if told is None or not told.doubted:
        return ()
    weeds = s.weeds.get(planting.key)
    return doubted_looks(
        planting, told, None if weeds is None else weeds.history, s.ensemble, s.events,
        s.farm.seed, s.farm.place.time_zone,
    )  # fmt: skip


def feels_doubted(s: Situation) -> tuple[DoubtedEntry, ...]:
    """Squeeze tests that contradict all else and are not learned from.

    Parameters
    ----------
    s : Situation
        As `situation` returns it.

    Returns
    -------
    tuple of DoubtedEntry
        Of all soils, in order.
    """
    if not any(event.kind == "feel" for event in s.events):
        return ()
    farm = s.kept.basis.farm
    return doubted_feels(s.ensemble, farm, s.plantings, s.events, tool_traits(farm), s.day)


def _new_doubts(s: Situation) -> tuple[DoubtedEntry, ...]:
    """Entries of the last day that are not learned from, each once; a look, by all it touches."""
    told, recent = s.kept.told, s.now - _TOLD_FOR
    by_look: dict[str, list[DoubtedEntry]] = {}
    for planting in s.plantings:
        doubted = told[planting.key].doubted if planting.key in told else ()
        if any(sighting.event.recorded_at > recent for sighting in doubted):
            for doubt in looks_doubted(s, planting):
                by_look.setdefault(doubt.event.event_id, []).append(doubt)
    learned_from = {
        sighting.event.event_id for one in told.values() for g in one.groups for sighting in g
    }
    looks = [found[0] for key, found in by_look.items() if key not in learned_from]
    found = [d for d in (*looks, *feels_doubted(s), *s.rates.doubts)
             if d.event.recorded_at > recent]  # fmt: skip
    return tuple(sorted(found, key=lambda d: (d.event.happened_at, d.event.event_id)))


def _with_looks(answers: Sequence[BedAnswer], s: Situation) -> tuple[BedAnswer, ...]:
    """The lines with the looks that help most; a look whose words fit another verdict is not."""
    of_place = {(p.bed.name, p.part or ""): p for p in s.plantings}
    draft_of = {draft.place: draft for draft in s.drafts}
    asked = []
    for answer in answers:
        place = (answer.bed, answer.part or "")
        look = draft_of[place].look
        is_meant = look is not None and is_meant_for(look, answer.verdict, answer.because)
        asked.append((of_place[place], look if is_meant else None))
    chosen = chosen_looks(asked, s.events, s.now)
    found = []
    for answer, (planting, _) in zip(answers, asked, strict=True):
        look = chosen.get(planting.key)
        told = (
            None
            if look is None
            else {"ask": look.ask, "where": look.where, "gain_min": look.gain_min}
        )
        found.append(answer if told is None else replace(answer, look=told))
    return tuple(found)


def ranks_of(issued: Mapping[str, Any] | None, now: datetime) -> dict[tuple[str, str], int]:
    """Rank of each bed and part on the list issued last, if it is of today or yesterday.

    Parameters
    ----------
    issued : mapping or None
        The list as it was stored.
    now : datetime
        The moment of the answer.

    Returns
    -------
    dict
        By bed and part; empty where there is none.
    """
    if issued is None:
        return {}
    age = now - datetime.fromisoformat(str(issued["as_of"]))
    if not timedelta(0) <= age <= _PLACES_LAST:
        return {}
    lines = [line for line in issued["beds"] if line["rank"] is not None]
    return {(line["bed"], line["part"] or ""): int(line["rank"]) for line in lines}


def _weakest(s: Situation, answers: Sequence[BedAnswer], own: OwnRecord) -> tuple[str, ...]:
    """What the list rests on that is known least, after all that was learned."""
    series = s.series
    felt = {e.bed for e in s.events if e.kind == "feel"}
    looked = {key for key, told in s.kept.told.items() if told.groups or told.doubted}
    weak = [*_weak_flush(looked, answers), *_weak_soil(s, felt)]
    if (felt or looked) and not any(one.what == "hand weeding" for one in s.rates.lessons):
        weak.append("hand seconds (not timed here)")
    if float(np.mean(series.kinds["solar_mj_m2"] <= Kind.MODEL)) > 0.5:
        weak.append("drying (sunshine estimated from temperature)")
    if own.is_moving:
        found = f"{own.n_fit} of {own.n_lines} tried lines met fit soil"
        weak.append(f"how sure ({found}, {own.n_meant:.0f} were to: told lower)")
    return tuple(weak)


def _weak_flush(looked: Collection[str], answers: Sequence[BedAnswer]) -> list[str]:
    """The lines whose beds nobody looked at; all beds where there is no look at all."""
    what = "flush timing and size"
    if not looked:
        return [what]
    lines = [a.bed if a.part is None else f"{a.bed}/{a.part}" for a in answers if a.verdict == "go"]
    unseen = [name for name in lines if name not in looked]
    more = len(unseen) - _MOST_NAMES
    names = ", ".join(unseen[:_MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
    return [f"{what} ({names} not looked at)"] if unseen else []


def _weak_soil(s: Situation, felt: Collection[str | None]) -> list[str]:
    """The soils of which nobody squeezed a handful."""
    if not felt:
        return ["when this soil crumbles"]
    squeezed = {bed.soil for bed in s.farm.beds if bed.name in felt}
    left = sorted({bed.soil for bed in s.farm.beds} - squeezed)
    return [f"when {' and '.join(left)} crumbles (not squeezed)"] if left else []


def _cautions(s: Situation) -> tuple[str, ...]:
    first, last = s.sky.now_hour, s.day.last_hour_today
    hours = [h for h in range(first, last) if s.day.is_open[h]]
    local = np.array([s.sky.at(h).astimezone(s.day.zone).hour for h in hours], dtype=np.int64)
    temp = np.array([s.sky.forcing.air_temp_c[:, h].mean() for h in hours])
    humidity = np.array([s.sky.forcing.humidity_frac[:, h].mean() for h in hours])
    return cautions_for(
        local,
        temp,
        humidity,
        has_flame=any(t.kind == "flame" for t in s.farm.tools),
        has_read_fire_rules=s.farm.flame_rules_read,
        bands=s.farm.heat_bands,
    )


def _rain_ahead(s: Situation) -> RainAhead | None:
    """The rain of the next 24 hours; None without a forecast."""
    if not s.sky.has_forecast:
        return None
    now = s.sky.now_hour
    rain = s.sky.forcing.rain_mm[:, now : min(now + 24, s.sky.n_hours)]
    three = np.stack([rain[:, i : i + 3].sum(axis=1) for i in range(0, rain.shape[1], 3)], axis=1)
    is_wet = three >= _WET_MM
    wet = np.flatnonzero(is_wet.mean(axis=0) >= _RAIN_CHANCE)
    first = int(wet[0]) if wet.size else 0
    total = weighted_quantiles(rain.sum(axis=1), np.ones(len(rain)))
    return RainAhead(
        s.sky.at(now + 3 * first) if wet.size else None,
        float(is_wet[:, first:].any(axis=1).mean()),
        Range(*(float(q) for q in total)),
    )


def _outlook_line(s: Situation, ahead: RainAhead | None) -> str:
    """When rain comes within a day, in words."""
    if ahead is None:
        return "no forecast: rain to come is not known"
    if ahead.from_at is None:
        return "no rain in sight until tomorrow"
    if ahead.from_at == s.sky.at(s.sky.now_hour):
        return f"rain within three hours, {tenths(ahead.chance_frac)}"
    start = ahead.from_at.astimezone(s.day.zone)
    tomorrow = "" if start.date() == local_day(s.now, s.farm.place.time_zone) else "tomorrow "
    return f"rain from {tomorrow}{start:%H:%M}, {tenths(ahead.chance_frac)}"
