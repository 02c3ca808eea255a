"""How often a look is doubted: honest ones, and those of another bed.

Hidden weeds are drawn from the same spreads as the particles, but are none of them, and their looks
simulated with the noise of `scheduler.models.looks` and worse: sprouts in clumps, densities by eye,
a thrown quadrat, few or many, nothing. Four beds of one made spring: prepared two days ago,
prepared twelve days ago, sown four weeks ago and not weeded, hoed eight days ago. Measured: 1 of
320 honest looks is doubted. Of looks that belong to another bed, beside an honest one, 50 of 80
where one bed was just prepared and the other is full, 20 of 40 where a month of weeds meets a
week's, 7 of 40 where both beds look alike; the honest one is blamed in 2 of all 160.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest
from numpy.random import Generator

from scheduler import service
from scheduler.models.looks import (
    CLUMPING,
    ESTIMATE_CLUMPING,
    FALSE_FRAC,
    FEW_M2,
    MANY_M2,
    RANGE_LN_SD,
    SEEN_FRAC,
)
from scheduler.models.weeds.cohorts import STAGES, Particles
from scheduler.planning.draws import keyed_generator
from scheduler.planning.looks import told_by
from scheduler.planning.sightings import GREEN_TIMES, Foretold, Sighting
from scheduler.planning.watched import WatchedPlanting
from scheduler.planning.weeds import UNKNOWNS
from scheduler.records import Bed, Event, FloatArray
from scheduler.service.settings import GATE_KPA, weed_settings
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

START, NOW = local(2013, 4, 10), local(2013, 5, 24, 5, 30)
BEDS = tuple(Bed(name, 18.0, 0.75, "middle") for name in ("fresh", "young", "grown", "hoed"))
DAYS_AGO = (3, 2, 1, 0)
KINDS = ("sprouts", "density", "quadrat", "amount", "nothing")
TELLING = ("sprouts", "density", "quadrat")
N_HIDDEN = 40
QUADRAT_M2 = 0.25


class Asked:
    """A planting that keeps what it foretold."""

    def __init__(self, of: WatchedPlanting, hours: FloatArray) -> None:
        self.of, self.hours = of, hours
        self.key, self.seed = of.key, of.seed
        self.size_ln_sd, self.size_m2 = of.size_ln_sd, of.size_m2
        self._known: dict[bytes, Foretold] = {}

    def particles(self, score: FloatArray) -> tuple[Particles, FloatArray]:
        return self.of.particles(score)

    def foretold(self, particles: Particles, score: FloatArray, hours: FloatArray) -> Foretold:
        kept = score.tobytes()
        if kept not in self._known:
            self._known[kept] = self.of.foretold(particles, score, self.hours)
        return self._known[kept]

    def hidden_m2(self) -> FloatArray:
        """Weeds that are none of the particles, (N_HIDDEN, n_hours, 5)."""
        score = keyed_generator(1, "hidden", self.key).normal(size=(N_HIDDEN, len(UNKNOWNS)))
        particles, _ = self.of.particles(score)
        told = self.of.foretold(particles, score, self.hours)
        weeds = told.unit * particles.size_m2[:, None, None]
        weeds[..., -1] += told.standing_m2
        return weeds


@pytest.fixture(scope="module")
def asked() -> dict[str, Asked]:
    n_hours = int((NOW.replace(minute=0) - START) / timedelta(hours=1))
    rain = [(local(2013, 5, d, 2 + i), 1.5) for d in (1, 5, 9, 13, 17, 20) for i in range(4)]
    store = MadeStore(values=observed(START, made_hours(START, n_hours, mean_c=16.0, rain=rain)))
    hours = made_hours(NOW.replace(minute=0), 240, mean_c=16.0)
    store.forecasts.append(forecast(NOW - timedelta(minutes=25), hours))

    def on(month: int, day: int) -> datetime:
        return local(2013, month, day, 12)

    store.log("prep", on(5, 22), "fresh", depth_mm=90.0)
    store.log("prep", on(5, 12), "young", depth_mm=90.0)
    store.log("prep", on(4, 28), "grown", depth_mm=90.0)
    store.log("sow", on(4, 28) + timedelta(hours=2), "grown", crop="carrot", n_rows=3,
              row_spacing_mm=250.0, depth_mm=13.0)  # fmt: skip
    store.log("prep", on(5, 4), "hoed", depth_mm=90.0)
    store.log("pass", on(5, 16), "hoed", tool="hoe", depth_mm=20.0)
    s = service.situation(made_farm(BEDS), store, store, NOW, n_members=16)
    at = np.array([float(s.sky.now_hour) - 24.0 * d for d in DAYS_AGO])
    return {
        p.key: Asked(
            WatchedPlanting(p, s.ensemble, s.weeds[p.key].history, weed_settings(),
                            np.array(GATE_KPA), s.farm.seed),
            at,
        )
        for p in s.plantings
    }  # fmt: skip


def look(g: Generator, kind: str, weeds_m2: FloatArray, hour: float, name: str = "") -> Sighting:
    """What someone sees of some weeds, with all that goes astray."""
    at = START + timedelta(hours=hour)
    data = seen(g, kind, weeds_m2)
    return Sighting(Event(f"{name}{kind}{hour:g}", "look", at, at, "x", None, data), hour, 1.0)


def seen(g: Generator, kind: str, weeds_m2: FloatArray) -> dict[str, object]:
    whole = float(weeds_m2.sum())

    def mix(clumps: float) -> FloatArray:
        return g.dirichlet(clumps * weeds_m2 / max(whole, 1e-9) + 1e-3)

    if kind == "amount":
        up = weeds_m2[1:].sum() * np.exp(RANGE_LN_SD * g.normal())
        return {"amount": "few" if up < FEW_M2 else "some" if up < MANY_M2 else "many"}
    if kind == "nothing":
        found = SEEN_FRAC * (weeds_m2[0] + GREEN_TIMES * weeds_m2[1:].sum())
        if g.random() < (1.0 - FALSE_FRAC) * np.exp(-found):
            return {"nothing": True}
    if kind in ("nothing", "sprouts"):
        if whole < 0.5:
            return {"nothing": True}
        counts = g.multinomial(20, mix(20.0))
        return {f"n_{s}": float(n) for s, n in zip(STAGES, counts, strict=True) if n}
    if kind == "density":
        m2 = whole * g.gamma(ESTIMATE_CLUMPING) / ESTIMATE_CLUMPING
        return {s: float(n) for s, n in zip(STAGES, g.poisson(m2 * mix(40.0)), strict=True)}
    there = QUADRAT_M2 * whole * g.gamma(CLUMPING) / CLUMPING
    counts = g.poisson(there * mix(40.0))
    named = {f"n_{s}": float(n) for s, n in zip(STAGES, counts, strict=True) if n}
    return {**(named or {"n_thread": 0.0}), "area_m2": QUADRAT_M2}


def test_honest_looks_are_hardly_ever_doubted(asked: dict[str, Asked]) -> None:
    """Two looks at each of the hidden weeds, of any kind on any of the days."""
    g = keyed_generator(3, "honest")
    n = doubted = 0
    for bed in asked.values():
        for weeds in bed.hidden_m2():
            days = sorted(g.choice(len(DAYS_AGO), 2, replace=False))
            looks = [look(g, str(g.choice(KINDS)), weeds[t], bed.hours[t]) for t in days]
            doubted += len(told_by(bed, "x", "middle", looks).doubted)
            n += len(looks)
    assert n == 2 * len(BEDS) * N_HIDDEN
    assert doubted < 0.03 * n


@pytest.mark.parametrize(
    ("of", "least", "most"),
    [
        ((("fresh", "young"), ("fresh", "hoed"), ("young", "fresh"), ("grown", "fresh")), 0.5, 1.0),
        ((("grown", "young"), ("grown", "hoed")), 0.3, 0.8),
        ((("young", "hoed"), ("hoed", "young")), 0.0, 0.3),  # nobody could tell
    ],
    ids=["prepared and full", "a month and a week", "alike"],
)
def test_looks_of_another_bed_are_doubted_where_the_beds_differ(
    asked: dict[str, Asked], of: tuple[tuple[str, str], ...], least: float, most: float
) -> None:
    """One honest look two days ago, then one that was made elsewhere; it is it that is doubted."""
    g = keyed_generator(4, "wrong bed")
    n = wrong = blamed = 0
    for here, elsewhere in of:
        bed = asked[here]
        own, others = bed.hidden_m2(), asked[elsewhere].hidden_m2()
        for i in range(N_HIDDEN // 2):
            looks = [
                look(g, str(g.choice(KINDS)), own[i, 1], bed.hours[1]),
                look(g, str(g.choice(TELLING)), others[i, 3], bed.hours[3], "wrong "),
            ]
            doubted = {s.event.event_id for s in told_by(bed, "x", "middle", looks).doubted}
            wrong += looks[1].event.event_id in doubted
            blamed += looks[0].event.event_id in doubted
            n += 1
    assert least <= wrong / n <= most
    assert blamed < 0.1 * n
