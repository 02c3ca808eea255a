"""One bed explained: every number of its line, and where it comes from."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import numpy as np

from scheduler.errors import UsageError
from scheduler.models.hydraulics import air_dry_theta_m3m3, power_law
from scheduler.models.soil_column import band_weights
from scheduler.planning.bed_page import (
    BedPage,
    GuildFlush,
    SoilDepth,
    StageCourse,
    SurfaceCourse,
    Why,
    WorkableHours,
)
from scheduler.planning.draws import weighted_quantiles
from scheduler.planning.ensemble import N_SOIL_MEMBERS, N_STORED_LAYERS
from scheduler.planning.hours import at_local, local_day
from scheduler.planning.outlook import Outlook
from scheduler.planning.plantings import touches, was_done
from scheduler.planning.readings import flush_answer
from scheduler.planning.soil_lessons import soil_lessons
from scheduler.planning.weeds import weed_outlook
from scheduler.ports import Journal, LessonStore, Lists, Progress, WeatherStore
from scheduler.records import DoubtedEntry, Farm, FloatArray, Lesson, Planting, Range
from scheduler.service.lessons import look_lessons, rests_of
from scheduler.service.morning import feels_doubted, looks_doubted, morning_of
from scheduler.service.settings import GATE_KPA, crop_subjects, tables, tool_traits, weed_settings
from scheduler.service.situation import Situation, situation
from scheduler.service.sure import own_sure

_DEPTHS_MM = ((0.0, 10.0), (10.0, 25.0), (25.0, 50.0), (50.0, 100.0))
_COURSE_BACK_H = 240
_COURSE_AHEAD_H = 168
_HOURS_AHEAD = 72
_STAGES_BACK_D = 14
_STAGES_AHEAD_D = 9
_MARKED = {
    "pass": "pass",
    "prep": "prepared",
    "sow": "sown",
    "plant": "planted",
    "hand": "weeded by hand",
    "look": "looked at",
}


def bed_page(
    farm: Farm,
    journal: Journal,
    weather: WeatherStore,
    now: datetime,
    bed: str,
    part: str | None = None,
    *,
    lists: Lists | None = None,
    n_members: int = N_SOIL_MEMBERS,
    progress: Progress | None = None,
    former: LessonStore | None = None,
) -> BedPage:
    """Explain one bed, or one part of it.

    Parameters
    ----------
    farm, journal, weather, now, n_members, progress
        As in `situation`.
    bed : str
        Name of the bed.
    part : str, optional
        Name of the part, where the bed is divided; the first part by default.
    lists : Lists, optional
        Lists as issued: what came of their lines bears on how sure a line is told.
    former : LessonStore, optional
        As in `situation`.

    Returns
    -------
    BedPage
        Soil by depth, hours, crust, flushes, entries and every reason.

    Raises
    ------
    UsageError
        If there is no such bed or part.
    WeatherMissingError
        As in `situation`.
    """
    found = situation(
        farm, journal, weather, now, n_members=n_members, progress=progress, former=former
    )
    if lists is not None:
        own = own_sure(farm, found.events, lists, now)
        found = replace(found, kept=replace(found.kept, own_sure=own))
    return bed_page_of(found, bed, part)


def bed_page_of(s: Situation, bed: str, part: str | None = None) -> BedPage:
    """Explain one bed of a computed situation.

    Parameters
    ----------
    s : Situation
        As `situation` returns it.
    bed, part : str
        As in `bed_page`.

    Returns
    -------
    BedPage
        The page.

    Raises
    ------
    UsageError
        If there is no such bed or part.
    """
    planting = _planting(s, bed, part)
    outlook = s.outlooks[planting.key]
    morning = morning_of(s)
    lines = (*morning.beds, *morning.not_reached)
    answer = next(a for a in lines if a.bed == bed and a.part == planting.part)
    zone = s.day.zone
    rests = rests_of(planting, s.kept.told, s.kept.basis.lessons, s.farm.place.time_zone)
    return BedPage(
        farm_name=s.farm.name,
        units=s.farm.units,
        time_zone=s.farm.place.time_zone,
        as_of=s.now.astimezone(zone),
        day=local_day(s.now, s.farm.place.time_zone),
        bed=bed,
        part=planting.part,
        crop=planting.crop,
        established_on=answer.established_on,
        is_sown=planting.is_sown,
        soil_name=planting.bed.soil,
        answer=answer,
        soil_depths=_soil_depths(s, outlook),
        workable=_workable(s, outlook),
        course=_course(s, outlook),
        flushes=tuple(
            GuildFlush(f.lead.plain_name, flush_answer(f, outlook.weights, s.day))
            for f in outlook.flushes
        ),
        events=tuple(e for e in s.events if touches(e, planting)),
        stages=_stages(s, planting),
        whys=_whys(s, planting, outlook),
        source_titles={key: source.citation for key, source in tables().sources.items()},
        notes=(
            "Weeds from roots (bindweed, couch, thistle) are outside this model.",
            "Nobody has measured crusts or workable hours against this program; "
            "trust your own look and a squeezed handful before it.",
        ),
        lessons=lessons_of(s, planting),
        doubts=_doubts(s, planting),
        looks_on=rests.own_on,
        looks_of=rests.others,
    )


def lessons_of(s: Situation, planting: Planting) -> tuple[Lesson, ...]:
    """What entries changed in what is thought of a planting, its soil and the tools.

    Parameters
    ----------
    s : Situation
        As `situation` returns it.
    planting : Planting
        One that was computed.

    Returns
    -------
    tuple of Lesson
        Of looks at it or at other beds of its soil, of squeeze tests, then of the stopwatch and
        marked weeds.
    """
    found: tuple[Lesson, ...] = ()
    learned = s.learned.get(planting.key)
    if learned is not None:
        rests = rests_of(planting, s.kept.told, s.kept.basis.lessons, s.farm.place.time_zone)
        found = look_lessons(
            s.outlooks[planting.key], s.weeds[planting.key], learned, rests, s.ensemble, s.farm.seed
        )
    farm = s.kept.basis.farm
    soils = soil_lessons(s.ensemble, farm, s.plantings, s.events, tool_traits(farm), s.day)
    own_soil = (lesson for lesson in soils if lesson.of == planting.bed.soil)
    return (*found, *own_soil, *s.rates.lessons)


def _doubts(s: Situation, planting: Planting) -> tuple[DoubtedEntry, ...]:
    """Entries of a planting that are not learned from."""
    others = (*feels_doubted(s), *s.rates.doubts)
    here = (doubt for doubt in others if touches(doubt.event, planting))
    return (*looks_doubted(s, planting), *here)


def _planting(s: Situation, bed: str, part: str | None) -> Planting:
    here = [p for p in s.plantings if p.bed.name == bed]
    if not here:
        names = ", ".join(b.name for b in s.farm.beds)
        raise UsageError(f"bed: no bed {bed!r} in farm.toml; beds are {names}")
    if part is None:
        return here[0]
    chosen = [p for p in here if p.part == part]
    if not chosen:
        parts = ", ".join(p.part or "the whole bed" for p in here)
        raise UsageError(f"bed {bed}: no part {part!r} on this day; it has {parts}")
    return chosen[0]


def _range(values: FloatArray, weights: FloatArray) -> Range:
    return Range(*(float(q) for q in weighted_quantiles(values, weights)))


def _soil_depths(s: Situation, outlook: Outlook) -> tuple[SoilDepth, ...]:
    run, columns = s.ensemble.run_of(outlook.planting.key)
    p = s.ensemble.members[outlook.planting.bed.soil].parameters
    at = max(s.sky.now_hour - s.ensemble.stored_from_hour - 1, 0)
    theta = run.theta_m3m3[columns, at].astype(np.float64)
    temp = run.temp_c[columns, at].astype(np.float64)
    dry = air_dry_theta_m3m3(power_law(p.theta_1500_m3m3, p.theta_33_m3m3, p.theta_sat_m3m3))
    rows = []
    for top, bottom in _DEPTHS_MM:
        shares = band_weights(top, bottom, N_STORED_LAYERS)
        water = theta @ shares
        relative = (water - dry) / (p.theta_33_m3m3 - dry)
        suction = 33.0 * (water / p.theta_33_m3m3) ** (-p.b)
        w = outlook.weights
        rows.append(
            SoilDepth(
                top,
                bottom,
                _range(water, w),
                _range(relative, w),
                _range(suction, w),
                _range(temp @ shares, w),
            )
        )
    return tuple(rows)


def _workable(s: Situation, outlook: Outlook) -> tuple[WorkableHours, ...]:
    first = s.sky.now_hour - s.ensemble.stored_from_hour
    start = s.sky.at(s.sky.now_hour).astimezone(s.day.zone)
    kinds: dict[int, list[str]] = {}
    for tool in s.farm.tools:
        names = kinds.setdefault(id(outlook.works[tool.key]), [])
        if tool.name not in names:
            names.append(tool.name)
    by_id = {id(work): work for work in outlook.works.values()}
    return tuple(
        WorkableHours(", ".join(names), start, by_id[key].chance_frac[first : first + _HOURS_AHEAD])
        for key, names in kinds.items()
    )


def _course(s: Situation, outlook: Outlook) -> SurfaceCourse:
    stored = s.ensemble.stored_from_hour
    first = max(stored, s.sky.now_hour - _COURSE_BACK_H)
    last = min(s.sky.n_hours, s.sky.now_hour + _COURSE_AHEAD_H)
    water = outlook.surface_rel_water[:, first - stored : last - stored]
    bands = np.quantile(water, (0.1, 0.5, 0.9), axis=0)
    members = s.ensemble.members[outlook.planting.bed.soil]
    p = members.parameters
    dry = air_dry_theta_m3m3(power_law(p.theta_1500_m3m3, p.theta_33_m3m3, p.theta_sat_m3m3))
    working = (members.working_m3m3 - dry) / (p.theta_33_m3m3 - dry)
    return SurfaceCourse(
        s.sky.at(first).astimezone(s.day.zone),
        bands[0],
        bands[1],
        bands[2],
        s.sky.forcing.rain_mm[:, first:last].mean(axis=0),
        float(np.median(working)),
    )


def _stages(s: Situation, planting: Planting) -> StageCourse:
    """Weeds by stage at noon of the days around now."""
    zone = s.day.zone
    today = local_day(s.now, s.farm.place.time_zone)
    days = [today + timedelta(days=d) for d in range(-_STAGES_BACK_D, _STAGES_AHEAD_D + 1)]
    noons = [at_local(day, time(12), s.farm.place.time_zone) for day in days]
    hours = np.array([(noon - s.sky.start_at) / timedelta(hours=1) for noon in noons])
    inside = (hours >= s.ensemble.readings_from_hour) & (hours < s.sky.n_hours)
    weeds = weed_outlook(
        planting,
        s.ensemble,
        s.weeds[planting.key].history,
        weed_settings(),
        np.array(GATE_KPA),
        s.farm.seed,
        hours[inside],
        learned=s.learned.get(planting.key),
    )
    kept = [day for day, is_in in zip(days, inside, strict=True) if is_in]
    w = weeds.weights

    def middle(values: FloatArray) -> float:
        return float(weighted_quantiles(values, w)[1])

    counts = [[middle(weeds.density_m2(t)[:, i]) for i in range(5)] for t in range(len(kept))]
    done: dict[date, list[str]] = {}
    for event in s.events:
        if event.kind in _MARKED and touches(event, planting) and was_done(event):
            at = event.happened_at.astimezone(zone).date()
            done.setdefault(at, []).append(_MARKED[event.kind])
    return StageCourse(
        tuple(kept),
        np.array(counts).reshape(len(kept), 5),
        np.array([middle(weeds.to_come_m2(t)) for t in range(len(kept))]),
        tuple(", ".join(done.get(day, [])) for day in kept),
    )


def _whys(s: Situation, planting: Planting, outlook: Outlook) -> tuple[Why, ...]:
    t = tables()
    soil = s.farm.soils[planting.bed.soil]
    rows: list[tuple[str, str, str]] = [
        ("the soil can be worked from this suction on", soil.texture, "working_kpa"),
        ("it drains to this suction by itself", soil.texture, "drained_kpa"),
        ("bare wet soil loses this over reference evapotranspiration", "soil member",
         "demand_factor"),
        ("stage two of drying, to which conductivity is anchored", soil.texture,
         "stage_2_mm_sqrt_d"),
        ("a crust grows with rain energy; members differ by this", "soil member",
         "ln_crust_energy_sd"),
    ]  # fmt: skip
    lead = outlook.flush.lead
    rows += [
        (f"{lead.plain_name} germinate above this", lead.guild.name, "base_temp_c"),
        ("half of a flush has germinated after", lead.guild.name, "germination_median_cd"),
        ("spread of germination", lead.guild.name, "germination_ln_sd"),
        ("germination pauses beyond this suction", lead.guild.name, "base_suction_kpa"),
        ("water that opens a flush after a dry spell", "flush", "trigger_rain_mm"),
    ]
    crop = crop_subjects().get(planting.crop or "")
    if crop is not None and t.has(crop, "emergence_cd"):
        rows += [
            (f"{planting.crop} comes up after", crop, "emergence_cd"),
            (f"{planting.crop} grows above", crop, "emergence_base_c"),
        ]
    found = [(words, t.value(subject, name)) for words, subject, name in rows]
    return tuple(
        Why(words, f"{p.subject}, {p.parameter}", p.value, p.unit, p.source, p.locator, p.grade)
        for words, p in found
    )
