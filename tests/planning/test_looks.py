"""What looks make of particles, on a planting in closed form; pooled evidence by hand.

The planting: a flush of logistic germination about day 12 of its clock, seed leaves four days on
and true leaves ten; the clock runs by exp(0.35 z), the size is lognormal about 150/m2.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.models.weeds.cohorts import Particles
from scheduler.planning.draws import tempered_weights
from scheduler.planning.looks import (
    AS_TABLED,
    LEAST_EFFECTIVE_FRAC,
    Evidence,
    Told,
    evidence_beside,
    learned_weeds,
    pooled,
    told_by,
)
from scheduler.planning.sightings import Foretold, Sighting
from scheduler.planning.weeds import (
    UNKNOWNS,
    LearnedWeeds,
    Scores,
    course_particles,
    draw_particles,
    particle_normals,
)
from scheduler.records import Bed, FloatArray, Planting
from scheduler.service.settings import weed_settings
from tests.planning.made import entry

CLOCK, SIZE, STANDING = (UNKNOWNS.index(name) for name in ("clock", "size", "standing"))
N = 256
DAY = 24.0


@dataclass(frozen=True)
class Flush:
    """A planting whose weeds are known in closed form."""

    key: str = "A1"
    seed: int = 5
    size_ln_sd: float = 1.1
    size_m2: float = 150.0
    old_m2: float = 0.0

    def particles(self, score: FloatArray) -> tuple[Particles, FloatArray]:
        n = len(score)
        of = np.arange(n)
        drawn = Particles(
            of % 4,
            np.exp(0.35 * score[:, CLOCK]),
            np.ones(n),
            self.size_m2 * np.exp(self.size_ln_sd * score[:, SIZE]),
            np.ones((n, 1)),
            np.zeros(n),
            of // 4,
        )
        return drawn, np.full(n, 1.0 / n)

    def foretold(self, particles: Particles, score: FloatArray, hours: FloatArray) -> Foretold:
        age_d = particles.clock[:, None] * hours[None, :] / DAY

        def past(day: float) -> FloatArray:
            return np.asarray(1.0 / (1.0 + np.exp(-(age_d - day) / 1.5)))

        steps = [past(day) for day in (12.0, 16.0, 22.0, 30.0, 40.0)]
        of_stage = [a - b for a, b in zip(steps, [*steps[1:], np.zeros_like(age_d)], strict=True)]
        old = self.old_m2 * np.exp(score[:, STANDING])[:, None] * np.ones_like(age_d)
        return Foretold(hours, np.stack(of_stage, axis=2), old)


def seen(day: float, name: str = "", **data: Any) -> Sighting:
    event = entry("look", DAY * day, part=name or None, **data)
    return Sighting(event, DAY * day, 1.0)


def told(*looks: Sighting, bed: Flush | None = None) -> Told:
    return told_by(bed or Flush(), "A1", "loam", looks)


def learned(
    *looks: Sighting, thought: Scores = AS_TABLED, bed: Flush | None = None
) -> LearnedWeeds:
    of = bed or Flush()
    return learned_weeds(of, told(*looks, bed=of), thought, N)


# ------------------------------------------------------------- one planting


def test_without_a_look_the_particles_are_those_of_the_name() -> None:
    plain = learned_weeds(Flush(), None, AS_TABLED, N)
    assert np.all(plain.weight == 1.0)
    assert_allclose(plain.scores.mean, 0.0, rtol=0.0, atol=1e-12)
    again = learned_weeds(Flush(), told(), AS_TABLED, N)
    assert np.array_equal(plain.particles.clock, again.particles.clock)


@pytest.mark.parametrize(
    ("data", "unknown", "sign"),
    [
        ({"n_thread": 19.0, "n_seed_leaf": 1.0}, CLOCK, -1),
        ({"n_seed_leaf": 6.0, "n_true_leaf": 14.0}, CLOCK, 1),
        ({"thread": 4.0, "seed_leaf": 2.0}, SIZE, -1),
        ({"thread": 900.0, "seed_leaf": 400.0}, SIZE, 1),
        ({"n_thread": 60.0, "n_seed_leaf": 60.0, "area_m2": 0.25}, SIZE, 1),
        ({"amount": "few"}, SIZE, -1),
    ],
    ids=str,
)
def test_a_look_moves_what_it_tells_of(data: dict[str, Any], unknown: int, sign: int) -> None:
    scores = learned(seen(16.0, **data)).scores
    assert sign * scores.mean[unknown] > 0.3
    assert scores.sd[unknown] < 0.95


def test_nothing_says_later_or_fewer_and_the_next_look_says_which() -> None:
    """Nothing on day 16; threads in plenty three days on: it was late. Still nothing: few."""
    nothing = seen(16.0, nothing=True)
    late = learned(nothing, seen(19.0, thread=300.0, seed_leaf=20.0)).scores
    few = learned(nothing, seen(19.0, nothing=True), seen(24.0, nothing=True)).scores
    assert late.mean[CLOCK] < -0.7
    assert late.mean[SIZE] > 0.0
    assert few.mean[SIZE] < late.mean[SIZE] - 1.0


def test_more_looks_know_more() -> None:
    looks = [seen(day, n_thread=10.0, n_seed_leaf=10.0) for day in (15.0, 16.0, 17.0)]
    sds = [learned(*looks[:n]).scores.sd[CLOCK] for n in range(4)]
    assert np.all(np.diff(sds) < 0.0)


def test_an_older_look_says_less() -> None:
    look = seen(16.0, n_thread=19.0, n_seed_leaf=1.0)
    old = Sighting(look.event, look.hour, 0.25)
    new, faded = learned(look).scores, learned(old).scores
    assert new.mean[CLOCK] < faded.mean[CLOCK] < 0.0


def test_taking_a_look_back_leaves_no_trace_and_order_does_not_matter() -> None:
    a, b = seen(15.0, n_thread=18.0, n_seed_leaf=2.0), seen(17.0, thread=100.0, seed_leaf=60.0)
    alone, both, back = learned(a), learned(a, b), learned(a)
    assert np.array_equal(alone.weight, back.weight)
    assert not np.array_equal(alone.weight, both.weight)
    turned = told_by(Flush(), "A1", "loam", (b, a))
    assert_allclose(turned.evidence.mean, told(a, b).evidence.mean, rtol=1e-9, atol=1e-9)


def test_half_of_the_particles_count_whatever_was_seen() -> None:
    looks = [seen(day, thread=30.0, seed_leaf=900.0, true_leaf=5.0) for day in (13.0, 14.0, 15.0)]
    weight = learned(*looks).weight
    share = weight / weight.sum()
    assert 1.0 / (share**2).sum() >= LEAST_EFFECTIVE_FRAC * N * (1.0 - 1e-6)


def test_old_weeds_are_learned_of_apart() -> None:
    """A mat told as established: more old weeds, and neither an early nor a rich flush."""
    bed = Flush(old_m2=10.0)
    found = learned(seen(14.0, thread=60.0, established=80.0), bed=bed).scores
    assert found.mean[STANDING] > 0.7
    assert abs(found.mean[CLOCK]) < 0.7
    assert abs(found.mean[SIZE]) < 0.7


def test_it_is_bayes_where_bayes_can_be_worked_out() -> None:
    """A dense grid over clock and size against the particles, for two looks."""
    looks = (seen(15.0, n_thread=12.0, n_seed_leaf=8.0), seen(17.0, thread=60.0, seed_leaf=60.0))
    from scheduler.planning.sightings import hours_asked, log_likelihood

    z = np.linspace(-4.0, 4.0, 321)
    score = np.zeros((z.size, len(UNKNOWNS)))
    score[:, CLOCK] = z
    bed = Flush()
    drawn, _ = bed.particles(score)
    at = bed.foretold(drawn, score, hours_asked(looks))
    size = np.broadcast_to(150.0 * np.exp(1.1 * z), (z.size, z.size))
    logs = -0.5 * z[:, None] ** 2 - 0.5 * z[None, :] ** 2
    for look in looks:
        logs = logs + log_likelihood((look,), at, size)
    chance = np.exp(logs - logs.max())
    chance /= chance.sum()
    by_clock, by_size = chance.sum(axis=1), chance.sum(axis=0)
    found = learned(*looks).scores
    assert found.mean[CLOCK] == pytest.approx(by_clock @ z, abs=0.12)
    assert found.mean[SIZE] == pytest.approx(by_size @ z, abs=0.12)
    sd = [np.sqrt(p @ z**2 - (p @ z) ** 2) for p in (by_clock, by_size)]
    assert found.sd[CLOCK] == pytest.approx(sd[0], rel=0.15)
    assert found.sd[SIZE] == pytest.approx(sd[1], rel=0.15)


def test_what_was_thought_before_and_the_looks_are_both_heard() -> None:
    look = seen(16.0, n_thread=19.0, n_seed_leaf=1.0)
    early = Scores(np.array([1.0, 0.0, 0.0, 0.0, 0.0]), np.full(5, 0.5))
    found = learned(look, thought=early).scores.mean[CLOCK]
    assert learned(look).scores.mean[CLOCK] < found < 1.0


# ------------------------------------------------------------------- doubted


def test_a_look_that_contradicts_the_flush_is_left_out_and_the_others_count() -> None:
    """Twenty of six leaves on the second day: another bed's."""
    good = seen(15.0, n_thread=12.0, n_seed_leaf=8.0)
    wrong = seen(2.0, "wrong", n_established=20.0)
    found = told(good, wrong)
    assert [s.event.part for s in found.doubted] == ["wrong"]
    assert_allclose(found.evidence.mean, told(good).evidence.mean, rtol=1e-12, atol=0.0)


def test_a_look_that_the_others_contradict_is_left_out_though_it_alone_would_count() -> None:
    looks = [seen(day, thread=100.0, seed_leaf=60.0) for day in (15.0, 16.0, 17.0)]
    wrong = seen(17.0, "wrong", thread=4.0, seed_leaf=3.0)
    assert not told(wrong).doubted
    found = told(*looks, wrong)
    assert [s.event.part for s in found.doubted] == ["wrong"]


def test_a_unit_slip_is_left_out_with_and_without_other_looks() -> None:
    slip = seen(16.0, "slip", thread=24000.0, seed_leaf=6000.0)
    assert len(told(slip).doubted) == 1
    assert told(slip).evidence.precision.tolist() == [0.0] * 5
    both = told(seen(16.0, thread=24.0, seed_leaf=6.0), slip)
    assert [s.event.part for s in both.doubted] == ["slip"]


def test_two_looks_that_agree_are_believed_where_one_alone_is_doubted() -> None:
    """Nothing at all in a bed that should be full: the model may be wrong after all."""
    bed = Flush(size_ln_sd=0.8)
    once = told(seen(24.0, nothing=True), bed=bed)
    assert len(once.doubted) == 1
    twice = told(seen(24.0, nothing=True), seen(25.0, nothing=True), bed=bed)
    assert not twice.doubted
    assert (
        learned(seen(24.0, nothing=True), seen(25.0, nothing=True), bed=bed).scores.mean[SIZE] < -1
    )


# ------------------------------------------------------------ pooled, by hand


def known(bed: str, mean: float, precision: float, years: int = 0, soil: str = "loam") -> Evidence:
    return Evidence(bed, soil, np.full(5, mean), np.full(5, precision), years)


def test_no_evidence_leaves_the_tables() -> None:
    for evidence in ([], [known("A2", 9.0, 0.0)], [known("A2", 9.0, 1e9, soil="sand")]):
        thought = pooled("A1", "loam", evidence)
        assert_allclose(thought.mean, 0.0, rtol=0.0, atol=1e-12)
        assert_allclose(thought.sd, 1.0, rtol=1e-12, atol=0.0)


def test_two_neighbours_by_hand() -> None:
    """Common part: precision 2 before, each neighbour 1 / (1/4 + 1/2) = 4/3 at 1 and at 2.

    So precision 14/3 and mean (4/3 + 8/3) / (14/3) = 6/7; a bed's own half comes on top. Of the
    number of weeds 0.3 is common: precision 10/3 before, each neighbour 1 / (1/4 + 0.7) = 20/19.
    """
    thought = pooled("A1", "loam", [known("A2", 1.0, 4.0), known("A3", 2.0, 4.0)])
    halves = [0, 1, 3]
    assert_allclose(thought.mean[halves], 6.0 / 7.0, rtol=1e-12, atol=0.0)
    assert_allclose(thought.sd[halves] ** 2, 3.0 / 14.0 + 0.5, rtol=1e-12, atol=0.0)
    whole = 10.0 / 3.0 + 40.0 / 19.0
    assert thought.mean[SIZE] == pytest.approx(60.0 / 19.0 / whole, rel=1e-12)
    assert thought.sd[SIZE] ** 2 == pytest.approx(1.0 / whole + 0.7, rel=1e-12)
    assert (thought.mean[STANDING], thought.sd[STANDING]) == (0.0, 1.0)


def test_a_neighbour_of_last_year_says_less_by_hand() -> None:
    """Of its variance 1 + 1/4 a quarter is in common, half of a half; in number half of 0.3."""
    thought = pooled("A1", "loam", [known("A2", 1.0, 4.0, years=1)])
    common = np.array([0.25, 0.25, 0.15, 0.25])
    assert_allclose(thought.mean[:4], common / 1.25, rtol=1e-12, atol=0.0)
    assert_allclose(thought.sd[:4] ** 2, 1.0 - common**2 / 1.25, rtol=1e-12, atol=0.0)


def test_looks_of_before_at_the_bed_itself_by_hand() -> None:
    """Exact, but a year old: half of it is left, and three quarters of the variance."""
    thought = pooled("A1", "loam", [known("A1", 1.0, 1e12, years=1)])
    assert_allclose(thought.mean[:4], 0.5, rtol=1e-9, atol=0.0)
    assert_allclose(thought.sd[:4] ** 2, 0.75, rtol=1e-9, atol=0.0)
    assert thought.mean[STANDING] == 0.0


def test_a_bed_far_out_is_so_by_itself() -> None:
    """Four of the spread out and exactly known: its neighbours follow two, itself goes whole."""
    far = known("A2", 4.0, 1e12)
    assert_allclose(
        pooled("A1", "loam", [far]).mean[:4],
        pooled("A1", "loam", [known("A2", 2.0, 1e12)]).mean[:4],
        rtol=1e-9, atol=0.0,
    )  # fmt: skip
    assert_allclose(pooled("A2", "loam", [far]).mean[:4], 4.0, rtol=1e-9, atol=0.0)


def test_pieces_of_one_bed_are_one_bed() -> None:
    """Three plantings of a neighbour after one another, or its months, are not three neighbours."""
    once = pooled("A1", "loam", [known("A2", 1.0, 1e9)])
    thrice = pooled("A1", "loam", [known("A2", 1.0, 1e9)] * 3)
    assert_allclose(thrice.mean, once.mean, rtol=1e-6, atol=1e-12)
    assert_allclose(thrice.sd, once.sd, rtol=1e-6, atol=0.0)


def test_pooled_is_the_normal_model_of_two_levels_and_years() -> None:
    """Against draws of the model: regression of a bed on what two beds and a year showed."""
    rng = np.random.default_rng(8)
    n, half = 400_000, np.sqrt(0.5)

    def of_years() -> list[FloatArray]:  # last year, this year
        last = rng.normal(size=n)
        return [last, 0.5 * last + np.sqrt(0.75) * rng.normal(size=n)]

    common, first, second = of_years(), of_years(), of_years()
    a1 = [half * (c + b) for c, b in zip(common, first, strict=True)]
    a2 = [half * (c + b) for c, b in zip(common, second, strict=True)]
    shown = np.stack([a1[0], a2[0], a2[1]]) + rng.normal(size=(3, n)) / np.sqrt(
        [[3.0], [5.0], [2.0]]
    )
    slope = np.linalg.lstsq(shown.T, a1[1], rcond=None)[0]
    means = (1.0, -0.5, 2.0)
    thought = pooled("A1", "loam", [
        known("A1", means[0], 3.0, years=1),
        known("A2", means[1], 5.0, years=1),
        known("A2", means[2], 2.0),
    ])  # fmt: skip
    assert thought.mean[CLOCK] == pytest.approx(slope @ means, abs=0.01)
    assert thought.sd[CLOCK] ** 2 == pytest.approx(np.var(a1[1] - slope @ shown), abs=0.01)


def of_part(bed: str, *names: str) -> Told:
    looks = tuple(
        replace(seen(20.0), event=replace(entry("look", 480.0), event_id=n)) for n in names
    )
    return Told(known(bed, 1.0, 4.0), tuple((look,) for look in looks), ())


def test_a_look_at_both_parts_of_a_bed_counts_once() -> None:
    both = {"A2/east": of_part("A2", "x"), "A2/west": of_part("A2", "x")}
    apart = {"A2/east": of_part("A2", "x"), "A2/west": of_part("A2", "y")}
    for told_there, precision in ((both, 2.0), (apart, 4.0)):
        beside = evidence_beside("A1", "A1", told_there)
        assert [one.precision[CLOCK] for one in beside] == [precision, precision]
    assert evidence_beside("A2/east", "A2", both) == ()
    (other,) = evidence_beside("A2/east", "A2", apart)
    assert other.precision[CLOCK] == 4.0


def test_what_is_told_of_a_bed_is_its_own_looks_alone() -> None:
    """Evidence, and the prior with it, is what the looks made of the prior."""
    look = seen(16.0, n_thread=19.0, n_seed_leaf=1.0)
    evidence, found = told(look).evidence, learned(look).scores
    precision = 1.0 + evidence.precision[CLOCK]
    mean = evidence.precision[CLOCK] * evidence.mean[CLOCK] / precision
    assert mean == pytest.approx(found.mean[CLOCK], abs=0.15)
    assert precision**-0.5 == pytest.approx(found.sd[CLOCK], rel=0.15)


# ----------------------------------------------------------------- tempering


def test_tempered_weights_by_hand() -> None:
    """Two particles, one e times as likely: shares 0.731 and 0.269, effective number 1.65."""
    share, exponent = tempered_weights(np.array([1.0, 0.0]), 0.5)
    assert exponent == 1.0
    assert_allclose(share, [0.7311, 0.2689], rtol=0.0, atol=1e-4)
    share, exponent = tempered_weights(np.array([1.0, 0.0]), 0.9)
    assert exponent < 1.0
    assert 1.0 / (share**2).sum() == pytest.approx(1.8, rel=1e-6)
    assert share[0] / share[1] == pytest.approx(np.exp(exponent), rel=1e-9)


def test_a_flush_is_dated_by_particles_picked_at_even_steps_of_weight() -> None:
    n = 512
    score = particle_normals("A1", 5, n)
    drawn = draw_particles("A1", weed_settings(), 5, 4, n, score=score)
    weight = np.exp(2.0 * score[:, 0])  # looks that favour fast weeds
    known = LearnedWeeds(drawn, weight, score[:, -1], Scores(np.zeros(5), np.ones(5)))
    bed = Bed("A1", 18.0, 0.8, "loam")
    at = Planting(bed, None, 0.0, 18.0, None, False, None, None, None, None)
    ensemble = cast(Any, SimpleNamespace(weights={"loam": np.full(4, 0.25)}, n_members=4))
    picked, w = course_particles(at, ensemble, weed_settings(), 5, known)
    ln_clock = np.log(drawn.clock)
    meant = float(weight @ ln_clock / weight.sum())
    assert float(w @ np.log(picked.clock)) == pytest.approx(meant, abs=0.02)
    joint = (weight @ (ln_clock * np.log(drawn.size_m2))) / weight.sum()
    assert float(w @ (np.log(picked.clock) * np.log(picked.size_m2))) == pytest.approx(
        joint, abs=0.15
    )
    plain, own = course_particles(at, ensemble, weed_settings(), 5)
    assert_array_equal(plain.clock, draw_particles("A1", weed_settings(), 5, 4, 64).clock)
    assert own.sum() == pytest.approx(1.0)
