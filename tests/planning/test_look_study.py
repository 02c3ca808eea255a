"""Two looks a week at hidden flushes, under the weather of the demo's station.

A hidden flush is one more draw of what is not known of a planting's weeds, on a soil member that
the farm's 32 do not hold, its seeds followed more finely. Its grower scratches up twenty sprouts,
of which one in ten is taken for a neighbour in age, names the stages among them and tells the
greens by an eye that errs, those that the preparation left among them; the learner sees these
entries alone. What is scored is the day on which half of the flush is up, half
of all that comes up within fifty days, on mornings fixed by the learner's own first thoughts.

The weather of the days to come is known to both sides: what is measured is what looks teach of the
weeds, and an error of the forecast would be added to the errors before and after alike.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from scheduler.adapters.demo import demo_root, station_values
from scheduler.models.weeds.cohorts import STAGES, Particles
from scheduler.planning.draws import keyed_generator, weighted_quantiles
from scheduler.planning.ensemble import Ensemble, member_skies, run_ensemble, soil_members
from scheduler.planning.forcing import hourly_series
from scheduler.planning.looks import AS_TABLED, Told, learned_weeds, pooled, told_by
from scheduler.planning.outlook import past_wettings, wetting_triggers
from scheduler.planning.plantings import surface_table
from scheduler.planning.sightings import sightings_of
from scheduler.planning.watched import WatchedPlanting
from scheduler.planning.weeds import (
    N_PARTICLES,
    UNKNOWNS,
    LearnedWeeds,
    WeedHistory,
    counts_at,
    draw_particles,
    standing_before_m2,
    weed_history,
)
from scheduler.records import Bed, Event, FloatArray, Place, Planting, Soil, WeatherValue
from scheduler.service.settings import (
    GATE_KPA,
    kill_table,
    soil_prior,
    spread,
    weed_heat,
    weed_settings,
)
from tests.planning.made import rules, unseen_weather

PLACE = Place(40.7, -74.2, 6.0, "America/New_York")
TEXTURES = ("sandy loam", "loam", "silt loam")
PREPARED = {
    "April": datetime(2013, 4, 24, 14, tzinfo=UTC),
    "June": datetime(2013, 6, 12, 14, tzinfo=UTC),
    "August": datetime(2013, 8, 8, 14, tzinfo=UTC),
}
BEFORE_D, AFTER_D = 21, 50
N_MEMBERS, N_HIDDEN = 32, 24
N_SEEDS = 200  # of a cohort of a hidden flush
N_SPROUTS = 20
MISREAD_FRAC = 0.1
EYE_LN_SD = 0.35
STEP_H = 12.0
RISE_H = 24.0 * 36  # after the preparation: half of every flush is up
TWICE, ONCE = (3.0, 4.0), (7.0, 7.0)  # days from one look to the next
MORNINGS = (0.1, 0.35, 0.65, 0.9)  # where the particles without looks have half of the flush up
BEDS = ("L1", "L2", "L3")
SETTINGS, GATES = weed_settings(), np.array(GATE_KPA)


@dataclass(frozen=True)
class Truth:
    """Hidden flushes of one bed of every soil, one a hidden soil member."""

    half_hour: FloatArray  # (n_hidden,)
    count_m2: FloatArray  # (n_hidden, n_hours, 5)
    old_m2: FloatArray  # (n_hidden,) that the preparation left
    hours: FloatArray


@dataclass(frozen=True)
class Stage:
    """One soil and season: the farm's members and the hidden ones."""

    name: str
    members: Ensemble
    hidden: Ensemble
    prepared_hour: float

    def planting(self, bed: str = BEDS[0]) -> Planting:
        soil = self.name.split(", ")[0]
        return Planting(
            Bed(bed, 18.0, 0.75, soil), None, 0.0, 18.0, None, False, None, None, None, None
        )


@lru_cache(maxsize=1)
def _values() -> tuple[WeatherValue, ...]:
    return station_values(demo_root())


@lru_cache(maxsize=8)
def _columns(season: str, n: int, seed: int) -> Ensemble:
    """All soils of a season, under skies of their own."""
    start = PREPARED[season] - timedelta(days=BEFORE_D)
    end = PREPARED[season] + timedelta(days=AFTER_D)
    values = [v for v in _values() if start <= v.start_at < end]
    series = hourly_series(values, [], [], start, end, end, PLACE)
    sky = member_skies(series, end, PLACE, spread(), seed, n)
    members, surfaces = {}, {}
    for texture in TEXTURES:
        prior = soil_prior(Soil(texture, texture, None, None, 3.0))
        members[texture] = soil_members(prior, spread(), seed, n)
        for bed in BEDS:
            at = Stage(texture, None, None, 0.0).planting(bed)  # type: ignore[arg-type]
            table = surface_table(at, [_prepared(season, bed)], {}, sky.start_at, sky.n_hours)
            surfaces[f"{texture} {at.key}"] = (texture, table)
    return run_ensemble(sky, members, surfaces, weed_heat(), stored_from_hour=24)


def _prepared(season: str, bed: str) -> Event:
    at = PREPARED[season]
    return Event(f"prep {bed}", "prep", at, at, bed, None, {"depth_mm": 90.0})


def _of_texture(whole: Ensemble, texture: str) -> Ensemble:
    """The columns of one soil, by the keys of its plantings."""
    cut = f"{texture} "
    groups = {k.removeprefix(cut): g for k, g in whole.group_of.items() if k.startswith(cut)}
    return replace(whole, group_of=groups)


@lru_cache(maxsize=16)
def stage(texture: str, season: str) -> Stage:
    members = _of_texture(_columns(season, N_MEMBERS, 2013), texture)
    hidden = _of_texture(_columns(season, N_HIDDEN, 77), texture)
    start = members.sky.start_at
    return Stage(
        f"{texture}, {season}", members, hidden, (PREPARED[season] - start) / timedelta(hours=1)
    )


def _season_of(on: Stage) -> str:
    return on.name.split(", ")[1]


def history(on: Stage, of: Ensemble, bed: str, until_hour: float | None = None) -> WeedHistory:
    """The preparation, and the wettings that at least half of the members saw so far."""
    sky = of.sky if until_hour is None else replace(of.sky, now_hour=int(until_hour))
    here = replace(of, sky=sky)
    at = on.planting(bed)
    weights = of.weights[at.bed.soil]
    run, columns = of.run_of(at.key)
    soil_c = weights @ run.temp_c[columns][:, :, 0].astype(np.float64)
    week = np.convolve(np.concatenate((np.full(167, soil_c[0]), soil_c)), np.ones(168) / 168.0)
    wettings = past_wettings(here, wetting_triggers(sky.forcing.rain_mm), weights, 24.0)
    return weed_history(
        at, [_prepared(_season_of(on), bed)], wettings, SETTINGS, kill_table(), rules(),
        unseen_weather(), here, week[167 : 167 + soil_c.size], PLACE.latitude_deg,
        n_particles=of.n_members,
    )  # fmt: skip


def half_up_hour(
    on: Stage, of: Ensemble, past: WeedHistory, bed: str, particles: Particles, n_seeds: int = 10
) -> FloatArray:
    """Hour at which half of the flush of the preparation is up, (n_particles,)."""
    which = int(np.argmin(np.abs(past.openings.hour - on.prepared_hour)))
    alone = replace(
        past,
        openings=replace(
            past.openings,
            hour=past.openings.hour[which : which + 1],
            size=past.openings.size[which : which + 1],
        ),
    )
    hours = np.append(on.prepared_hour + np.arange(0.0, RISE_H, STEP_H), float(of.sky.n_hours))
    count = counts_at(on.planting(bed), of, alone, SETTINGS, GATES, particles, hours, n_seeds)
    up = count[:, :, 1, 1:].sum(axis=2)
    share = up / np.maximum(up[:, -1:], 1e-9)
    after = np.argmax(share >= 0.5, axis=1)
    row = np.arange(after.size)
    below, above = share[row, np.maximum(after - 1, 0)], share[row, after]
    part = np.clip((0.5 - below) / np.maximum(above - below, 1e-9), 0.0, 1.0)
    rise = hours[np.maximum(after - 1, 0)] + part * (hours[after] - hours[np.maximum(after - 1, 0)])
    return np.where(up[:, -1] > 0.0, rise, np.nan)


# ------------------------------------------------------------------ the hidden truth


@dataclass(frozen=True)
class Odd:
    """How far hidden flushes lie outside the spreads."""

    clock: float = 1.0
    size: float = 1.0


ODD = {
    "clock x 0.7": Odd(clock=0.7),
    "clock x 1.4": Odd(clock=1.4),
    "flush / 3": Odd(size=1.0 / 3.0),
    "flush x 3": Odd(size=3.0),
}
AS_DRAWN = Odd()


@lru_cache(maxsize=64)
def truth(texture: str, season: str, bed: str, odd: Odd = AS_DRAWN) -> Truth:
    """Half of the variance of what is not known is common to the beds of a hidden soil."""
    on = stage(texture, season)
    n = N_HIDDEN

    def normals(name: str) -> FloatArray:
        return keyed_generator(2013, "hidden", on.name, name).normal(size=(n, len(UNKNOWNS)))

    score = np.sqrt(0.5) * (normals("soil") + normals(bed))
    drawn = draw_particles(f"hidden {on.name} {bed}", SETTINGS, 77, n, n, score=score)
    particles = replace(drawn, clock=drawn.clock * odd.clock, size_m2=drawn.size_m2 * odd.size)
    past = history(on, on.hidden, bed)
    hours = np.arange(on.prepared_hour, float(on.hidden.sky.n_hours), 6.0)
    at = on.planting(bed)
    count = counts_at(at, on.hidden, past, SETTINGS, GATES, particles, hours, N_SEEDS)
    half = half_up_hour(on, on.hidden, past, bed, particles, N_SEEDS)
    old = standing_before_m2(at, past, SETTINGS, score[:, UNKNOWNS.index("standing")])
    return Truth(half, count[:, :, 1], old, hours)


def look_hours(on: Stage, which: int, gaps_d: tuple[float, float]) -> FloatArray:
    """Hours of looks at one hidden flush, from its preparation on: mornings at nine."""
    first = 1.0 + which % 3 if sum(gaps_d) == sum(TWICE) else 2.0 + which % 5
    days = first + np.concatenate(([0.0], np.cumsum(np.tile(gaps_d, AFTER_D))))
    return on.prepared_hour + 24.0 * days[days < AFTER_D - 1.0] - 1.0


_MISREAD = (1.0 - MISREAD_FRAC) * np.eye(len(STAGES)) + 0.5 * MISREAD_FRAC * (
    np.eye(len(STAGES), k=1) + np.eye(len(STAGES), k=-1)
)


def looked(on: Stage, of: Truth, which: int, bed: str, hours: Sequence[float]) -> list[Event]:
    """Entries of looks at one hidden flush."""
    found: list[Event] = []
    for hour in hours:
        day = round((hour - on.prepared_hour) / 24.0)
        generator = keyed_generator(77, "look", on.name, bed, which, day)
        true = of.count_m2[which, int(np.argmin(np.abs(of.hours - hour)))]
        whole = float(true.sum())
        n = min(N_SPROUTS, int(generator.poisson(whole)))
        greens = float(true[1:].sum() + of.old_m2[which]) * np.exp(EYE_LN_SD * generator.normal())
        at = on.members.sky.start_at + timedelta(hours=hour)

        data: dict[str, object] = {"nothing": True}
        if n > 0:
            shares = _MISREAD @ (true / whole)
            counts = generator.multinomial(n, shares / shares.sum())
            data = {f"n_{name}": int(c) for name, c in zip(STAGES, counts, strict=True) if c}
        found += [
            Event(f"{bed} {day} {what}", "look", at, at, bed, None, said)
            for what, said in (("greens", {"seed_leaf": float(round(greens))}), ("sprouts", data))
        ]
    return found


# ------------------------------------------------------------------ the learner


@dataclass(frozen=True)
class Scored:
    """One hidden flush on one morning [d]."""

    name: str
    to_come_d: float  # until half of it is up
    before_d: float
    after_d: float
    was_covered: bool
    is_covered: bool
    width_before_d: float
    width_d: float
    n_doubted: int
    n_looks: int
    ms: float


def told(on: Stage, bed: str, which: int, events: Sequence[Event], now: float) -> Told | None:
    members, past = _on_morning(on, bed, now)
    at = on.planting(bed)
    seen = sightings_of(at, events, members.sky, float(members.readings_from_hour))
    watched = WatchedPlanting(at, members, past, SETTINGS, GATES, which)
    return told_by(watched, bed, at.bed.soil, seen) if seen else None


@lru_cache(maxsize=256)
def _past(name: str, bed: str, now: float) -> WeedHistory:
    on = stage(*name.split(", "))
    return history(on, on.members, bed, now)


def _on_morning(on: Stage, bed: str, now: float) -> tuple[Ensemble, WeedHistory]:
    sky = replace(on.members.sky, now_hour=int(now))
    return replace(on.members, sky=sky), _past(on.name, bed, now)


def half_up(on: Stage, bed: str, now: float, learned: LearnedWeeds) -> FloatArray:
    """Tenth, median and nine tenths of the hour at which half of the flush is up."""
    members, past = _on_morning(on, bed, now)
    particles = learned.particles
    hours = half_up_hour(on, members, past, bed, particles)
    weight = members.weights[on.planting(bed).bed.soil][particles.member] * learned.weight
    return weighted_quantiles(hours, weight)


@lru_cache(maxsize=512)
def unlearned(name: str, which: int) -> FloatArray:
    """The same without looks."""
    on = stage(*name.split(", "))
    now = on.prepared_hour + 24.0
    members, past = _on_morning(on, BEDS[0], now)
    watched = WatchedPlanting(on.planting(), members, past, SETTINGS, GATES, which)
    return half_up(on, BEDS[0], now, learned_weeds(watched, None, AS_TABLED, N_PARTICLES))


@lru_cache(maxsize=16)
def mornings(name: str) -> tuple[float, ...]:
    """Hours of the mornings scored: whole days after the preparation."""
    on = stage(*name.split(", "))
    members, past = _on_morning(on, BEDS[0], on.prepared_hour + 24.0)
    drawn = draw_particles("L1", SETTINGS, 1, N_MEMBERS, N_PARTICLES)
    hours = half_up_hour(on, members, past, BEDS[0], drawn)
    days = np.round((weighted_quantiles(hours, np.ones(hours.size), MORNINGS)
                     - on.prepared_hour) / 24.0)  # fmt: skip
    return tuple(float(on.prepared_hour + 24.0 * day) for day in days)


def scored(
    on: Stage,
    which: int,
    now: float,
    gaps_d: tuple[float, float] = TWICE,
    odd: Odd = AS_DRAWN,
    looked_at: Sequence[str] = BEDS[:1],
) -> Scored:
    """One hidden flush on one morning after all looks up to it."""
    texture, season = on.name.split(", ")
    found: dict[str, Told] = {}
    begun = time.perf_counter()
    ms = 0.0
    for bed in looked_at:
        of = truth(texture, season, bed, odd)
        hours = [h for h in look_hours(on, which, gaps_d) if h <= now]
        events = looked(on, of, which, bed, hours)
        _on_morning(on, bed, now)
        begun = time.perf_counter()
        said = told(on, bed, which, events, now)
        ms += 1e3 * (time.perf_counter() - begun)
        if said is not None:
            found[bed] = said
    own = found.get(BEDS[0])
    others = [said.evidence for bed, said in found.items() if bed != BEDS[0]]
    members, past = _on_morning(on, BEDS[0], now)
    at = on.planting()
    watched = WatchedPlanting(at, members, past, SETTINGS, GATES, which)
    begun = time.perf_counter()
    learned = learned_weeds(watched, own, pooled(at.bed.name, at.bed.soil, others), N_PARTICLES)
    ms += 1e3 * (time.perf_counter() - begun)
    half = truth(texture, season, BEDS[0], odd).half_hour[which]
    was, known = unlearned(on.name, which), half_up(on, BEDS[0], now, learned)
    return Scored(
        on.name,
        (half - now) / 24.0,
        (was[1] - half) / 24.0,
        (known[1] - half) / 24.0,
        bool(was[0] <= half <= was[2]),
        bool(known[0] <= half <= known[2]),
        (was[2] - was[0]) / 24.0,
        (known[2] - known[0]) / 24.0,
        sum(len(said.doubted) for said in found.values()),
        0 if own is None else sum(len(g) for g in own.groups) + len(own.doubted),
        ms,
    )


def study(
    every: int = 1,
    gaps_d: tuple[float, float] = TWICE,
    odd: Odd = AS_DRAWN,
    looked_at: Sequence[str] = BEDS[:1],
    seasons: Iterable[str] = tuple(PREPARED),
    *,
    has_one: bool = False,
) -> list[Scored]:
    """Every so many hidden flushes of every soil and season, on every morning or one in turn."""
    found = []
    for season in seasons:
        for i, texture in enumerate(TEXTURES):
            on = stage(texture, season)
            of = np.arange(i % every, N_HIDDEN, every)
            for turn, which in enumerate(of):
                at = mornings(on.name)
                at = at[(turn + i) % len(at) :][:1] if has_one else at
                found += [scored(on, int(which), now, gaps_d, odd, looked_at) for now in at]
    return found


def figures(of: Sequence[Scored]) -> dict[str, float]:
    """Errors before and after, reduction, coverage before and after, doubted, ms."""
    before, after = (np.array([getattr(s, name) for s in of]) for name in ("before_d", "after_d"))
    mae, rms = (np.abs(before).mean(), np.abs(after).mean()), (
        float(np.sqrt((before**2).mean())), float(np.sqrt((after**2).mean())),
    )  # fmt: skip
    return {
        "n": len(of),
        "mae before": mae[0], "mae": mae[1], "mae down": 1.0 - mae[1] / mae[0],
        "rms before": rms[0], "rms": rms[1], "rms down": 1.0 - rms[1] / rms[0],
        "bias": float(after.mean()),
        "covered before": float(np.mean([s.was_covered for s in of])),
        "covered": float(np.mean([s.is_covered for s in of])),
        "width before": float(np.mean([s.width_before_d for s in of])),
        "width": float(np.mean([s.width_d for s in of])),
        "doubted": sum(s.n_doubted for s in of) / max(sum(s.n_looks for s in of), 1),
        "ms": float(np.median([s.ms for s in of])),
    }  # fmt: skip


# ------------------------------------------------------------------ the study

FEW = 3  # every third hidden flush: 72


@lru_cache(maxsize=1)
def few() -> tuple[Scored, ...]:
    """Every third hidden flush, the mornings in turn."""
    return tuple(study(FEW, has_one=True))


def by_morning(of: Sequence[Scored]) -> dict[str, list[Scored]]:
    """Those who wait for half of the flush, see it these days, or saw it."""
    return {
        "half is up in more than 2 days": [s for s in of if s.to_come_d > 2.0],
        "within 2 days of now": [s for s in of if abs(s.to_come_d) <= 2.0],
        "more than 2 days ago": [s for s in of if s.to_come_d < -2.0],
    }


def test_two_looks_a_week_take_off_two_fifths_of_the_error_of_half_emergence() -> None:
    found = figures(few())
    assert found["n"] == N_HIDDEN * len(TEXTURES) * len(PREPARED) / FEW
    assert found["mae down"] >= 0.40
    assert found["rms down"] >= 0.40
    assert 0.70 <= found["covered"] <= 0.90
    assert found["width"] < 0.75 * found["width before"]  # nor are they wide for it
    assert abs(found["bias"]) < 0.5
    assert found["doubted"] <= 0.02


def test_they_help_before_half_is_up_too() -> None:
    for name, part in by_morning(few()).items():
        found = figures(part)
        assert found["n"] >= 18, name
        assert found["mae down"] >= 0.25, name


def report(every: int = 1) -> str:
    """The figures, by how often was looked, season, morning and oddity."""
    twice = study(every)
    rows: list[tuple[str, Sequence[Scored]]] = [("two looks a week", twice)]
    rows += [(f"  {season}", [s for s in twice if season in s.name]) for season in PREPARED]
    rows += [(f"  {texture}", [s for s in twice if s.name.startswith(texture)])
             for texture in TEXTURES]  # fmt: skip
    rows += [(f"  morning by the prior's {100 * share:.0f} %", twice[i :: len(MORNINGS)])
             for i, share in enumerate(MORNINGS)]  # fmt: skip
    rows += [(f"  {name}", part) for name, part in by_morning(twice).items()]
    once = study(every, ONCE, has_one=True)
    rows.append(("one look a week", once))
    rows += [(f"  {name}", part) for name, part in by_morning(once).items()]
    for name, beds in (("two other beds, twice a week", BEDS[1:]), ("all three beds", BEDS)):
        rows.append((name, study(every, looked_at=beds, has_one=True)))
    for name, odd in ODD.items():
        rows.append((f"two looks a week, {name}", study(every, odd=odd, has_one=True)))
    lines = [
        "day of half emergence [d]: mean absolute and root mean square error, before and after",
        "looks; share of 80 % intervals that hold it; their width; looks doubted; ms a bed",
        f"{'':38} " + " ".join(f"{name.replace(' before', ' 0'):>9}" for name in HEAD),
    ]
    return "\n".join([*lines, *(row(name, part) for name, part in rows)])


HEAD = ("n", "mae before", "mae", "mae down", "rms before", "rms", "rms down", "bias",
        "covered before", "covered", "width before", "width", "doubted", "ms")  # fmt: skip


def row(name: str, of: Sequence[Scored]) -> str:
    found = figures(of)
    return f"{name:38} " + " ".join(f"{found[key]:9.3g}" for key in HEAD)


if __name__ == "__main__":
    sys.stdout.write(report(int(sys.argv[1]) if len(sys.argv) > 1 else 1) + "\n")
