"""Hidden truths: what is drawn, the weeds under them seed by seed, and the other build."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.errors import UsageError
from scheduler.models.weeds.cohorts import Openings, Particles, Passes, Stand, stand
from scheduler.planning import verdict, weeds
from scheduler.planning.season import play
from scheduler.planning.season import truth as truths
from scheduler.planning.season.truth import (
    OUTSIDE,
    PRODUCT,
    TruthSeason,
    TruthWeeds,
    draw_truth,
    prepared,
    seen_rain_mm,
    sown,
    true_kill_frac,
    truth_season,
)
from scheduler.planning.season.world import one_member_run
from scheduler.records import FloatArray
from tests.planning.season.made import CARROT, KALE, LETTUCE, season, truth, world

TINE = np.array([[0.7, 0.6, 0.35, 0.15, 0.05]] * 2)
BOTH = np.ones(2)


def quiet(build: str = "gate") -> TruthSeason:
    """The truth without luck of single openings and passes."""
    own = season(build=build)
    return replace(own, truth=replace(own.truth, event_size_ln_sd=0.0, pass_kill_ln_sd=0.0))


def worked(of: TruthSeason, bed: str = "K1") -> TruthWeeds:
    """Prepared, passed, wetted, set, passed again and weeded."""
    plot = next(p for p in of.world.plots if p.key == bed)
    found = prepared(of, plot)
    found.kill_by(49 * 24.0 + 13, TINE, 15.0)
    found.open_by("pass", 49 * 24.0 + 13, BOTH, 15.0)
    found.open_by("wetting", of.wettings[0], BOTH, 0.0)
    sown(found)
    found.kill_by(72 * 24.0 + 13, 0.8 * TINE, 20.0)
    found.open_by("pass", 72 * 24.0 + 13, np.array([0.7, 1.0]), 20.0)
    found.kill_by(80 * 24.0, of.world.tables.kit.kills.kill_frac["hand"], 0.0)
    return found


def by_cohorts(of: TruthWeeds, hours: FloatArray, first_way: int | None = None) -> Stand:
    """The same openings and passes through the program's cohorts, in one particle."""
    s, t = of.season, of.season.truth
    ensemble = one_member_run(
        s.world.garden.farm, s.world.weather, t.soils, s.world.surfaces, s.world.tables.weed_heat
    )
    run, columns = ensemble.run_of(of.plot.key)
    one = np.ones(1)
    particles = Particles(
        np.zeros(1, np.int64), t.clock * one, t.spread * one, of.full_m2 * one, of.mix[None],
        t.dry_bias_kpa * one,
    )  # fmt: skip
    return stand(
        run.germination_cd[columns], run.elongation_cd[columns], run.drying_d[columns],
        run.leaf_cd[columns], s.world.tables.weed_heat.gate_kpa, 0.0, s.step_h,
        of.settings.guilds, particles,
        Openings(np.array([o[0] for o in of.openings]), np.stack([o[1] for o in of.openings])),
        Passes(
            np.array([k[0] for k in of.kills]),
            np.stack([k[1] for k in of.kills])[:, None],
            np.array([k[2] for k in of.kills]),
        ),
        hours,
        first_way,
        25.0 if first_way is not None else np.inf,
    )  # fmt: skip


# --------------------------------------------------------------- seed by seed


@pytest.mark.parametrize("bed", ["K1", "C1"])
def test_weeds_are_those_of_the_cohorts(bed: str) -> None:
    """Event by event here, all at once there: the same counts by zone and stage."""
    found = worked(quiet(), bed)
    hours = np.array([81.0, 83.0, 88.5, 95.0, 104.0]) * 24.0
    there = by_cohorts(found, hours)
    for t, hour in enumerate(hours):
        here = found.count_m2(hour)
        assert_allclose(here[:, 1:], there.count_m2[0, t].sum(axis=0), rtol=1e-5, atol=1e-6)
        assert_allclose(here[:, 0], there.ledger_m2[0, t, :, :, 0].sum(axis=0), rtol=1e-5)
    assert there.count_m2.max() > 1.0


def test_ways_are_those_of_the_cohorts() -> None:
    """The future of what stands, by its states today, on a later day and in the end."""
    found = worked(quiet())
    now = 81.0 * 24.0
    hours = now + np.array([0.0, 6.0, 30.0, 54.0, 150.0])
    end = now + 240.0
    future = found.future(hours, end)
    there = by_cohorts(found, np.append(hours, end), 1)
    assert there.ways_m2 is not None
    assert_allclose(future.standing_m2, there.ways_m2, rtol=1e-4, atol=1e-5)
    whole = future.standing_m2[0, 0].reshape(2, 36, 6).sum(axis=1)
    assert_allclose(whole, found.count_m2(end), rtol=1e-5, atol=1e-5)


def test_what_a_pass_would_open_is_what_it_opens() -> None:
    """The flush of the future, thinned to the tool's stirring, against the opening itself."""
    of = quiet()
    found, done = worked(of), worked(of)
    now = 90.0 * 24.0
    end = now + 240.0
    hours = now + np.array([0.0, 6.0, 30.0])
    future = found.future(hours, end)
    before = done.count_m2(end)
    done.open_by("pass", hours[1], BOTH, 50.0)  # as deep as a full flush
    more = done.count_m2(end) - before
    assert_allclose(
        future.opened_m2[0, 0].reshape(2, 36, 6).sum(axis=1), more, rtol=1e-4, atol=1e-5
    )


def test_every_seed_is_somewhere() -> None:
    """Opened seeds are in the ground, standing, or lost; none is born later."""
    found = worked(quiet())
    here = [found.count_m2(24.0 * d).sum(axis=1) for d in (81, 90, 100, 120)]
    assert np.all(np.diff(here, axis=0) <= 1e-9)
    assert np.all(here[0] < found.opened_m2)
    fresh = prepared(quiet(), world().plots[0])
    assert_allclose(fresh.count_m2(41 * 24.0).sum(axis=1), fresh.opened_m2, rtol=1e-3)


def test_a_bed_at_rest_can_be_opened_again_only_slowly() -> None:
    found = prepared(quiet(), world().plots[0])
    hour = found.plot.prepared_hour
    assert found.open_by("pass", hour, BOTH, 50.0) == 0.0
    after_5_d = found._size(hour + 5 * 24.0, BOTH, 1.0)
    # 1 - 1/e after recovery_d = 5 days, times what is left of the pool and the season
    ready = after_5_d / (found._pool_at(hour + 120.0) * found._season(hour + 120.0)[:, None])
    assert_allclose(ready, 1.0 - np.exp(-1.0), rtol=1e-9)


def test_sowing_kills_four_of_five_small_weeds() -> None:
    found = prepared(quiet(), world().plots[0])
    hour = found.plot.established_hour
    before = found.count_m2(hour)
    sown(found)
    after = found.count_m2(hour)
    assert before[:, 1:3].min() > 0.1
    assert_allclose(after[:, 1:3], 0.2 * before[:, 1:3], rtol=1e-9)
    assert after[0, 0] > before[0, 0]  # the row is stirred
    assert_allclose(after[1, 0], before[1, 0], rtol=1e-12)


def test_a_pass_takes_its_share_of_the_pool() -> None:
    """Twice the share that a stirring opens: twice the flush, twice gone from the pool."""
    of = quiet()
    weeds_of = {}
    for share in (0.2, 0.4):
        own = replace(of, truth=replace(of.truth, pass_share_frac=share))
        found = prepared(own, world().plots[0])
        pool = found._pool_at(60 * 24.0)
        opened = found.open_by("pass", 60 * 24.0, BOTH, 20.0)
        weeds_of[share] = opened, (pool - found.pool)
    assert_allclose(weeds_of[0.4][0], 2.0 * weeds_of[0.2][0], rtol=1e-9)
    assert_allclose(weeds_of[0.4][1], 2.0 * weeds_of[0.2][1], rtol=1e-9)


# ------------------------------------------------------------------------ kill


def test_kill_is_less_with_rain_after_and_where_drying_takes_longer() -> None:
    of = quiet()
    plot = of.world.plots[0]
    way = next(w for w in of.world.ways[49, "K1"] if w.tool.name == "tines")
    dry, wet = (true_kill_frac(of, plot, way, 24.0 * d + 20) for d in (45, 50))  # rain on day 50
    assert np.all(dry >= wet)
    assert dry[0, 1] > wet[0, 1] + 0.05
    slow = replace(of, kill=replace(of.kill, drying_need_mm=of.kill.drying_need_mm * 3.0))
    assert (
        true_kill_frac(slow, plot, way, 24.0 * 50 + 14)[0, 1]
        < (true_kill_frac(of, plot, way, 24.0 * 50 + 14)[0, 1])
    )


def test_over_an_empty_bed_a_tool_works_its_whole_width() -> None:
    of = quiet()
    stale = next(w for w in of.world.ways[49, "K1"] if w.tool.name == "sweeps")
    kill = true_kill_frac(of, of.world.plots[0], stale, 49 * 24.0 + 13)
    assert_array_equal(kill[0], kill[1])
    assert kill[0, 0] > 0.3
    standing = next(w for w in of.world.ways[76, "K1"] if w.tool.name == "sweeps")
    kill = true_kill_frac(of, of.world.plots[0], standing, 76 * 24.0 + 13)
    assert kill[0].max() == 0.0


def test_luck_belongs_to_bed_tool_and_date() -> None:
    """Another pass somewhere changes no other luck; another day has its own."""
    of = season()
    way = next(w for w in of.world.ways[76, "K1"] if w.tool.name == "bar")
    plot = of.world.plots[0]
    kill = true_kill_frac(of, plot, way, 76 * 24.0 + 17)
    assert_array_equal(kill, true_kill_frac(of, plot, way, 76 * 24.0 + 17))
    less, more = prepared(of, plot), prepared(of, plot)
    more.open_by("pass", 46 * 24.0, BOTH, 20.0)
    assert_array_equal(less._luck("pass", 72 * 24.0), more._luck("pass", 72 * 24.0))
    assert less._luck("pass", 72 * 24.0)[0] != less._luck("pass", 73 * 24.0)[0]


# --------------------------------------------------------------------- drawing


def test_the_same_name_is_the_same_truth() -> None:
    one, again = draw_truth("a", 3, world()), draw_truth("a", 3, world())
    other = draw_truth("b", 3, world())
    assert one.clock == again.clock
    assert one.bed_size_ln == again.bed_size_ln
    assert one.clock != other.clock
    assert one.soils["middle"].working_m3m3[0] == again.soils["middle"].working_m3m3[0]


def test_another_bed_changes_no_draw() -> None:
    less, more = truth(), draw_truth("a", 3, world(LETTUCE, KALE, CARROT))
    assert all(more.bed_size_ln[bed] == size for bed, size in less.bed_size_ln.items())
    assert all(np.array_equal(more.mix[bed], mix) for bed, mix in less.mix.items())
    assert (less.clock, less.kill_ln) == (more.clock, more.kill_ln)


def test_truths_have_the_spread_of_the_tables() -> None:
    """Of 300 truths: size by bed, clock and kill stray as the program's own prior does."""
    plain = replace(world(), tables=replace(world().tables, priors={}))  # soils take time
    many = [draw_truth(f"t{i}", 1, plain) for i in range(300)]
    settings = world().tables.kit.weeds
    sizes = np.array([t.farm_size_ln + t.bed_size_ln["K1"] for t in many])
    own = np.sqrt(sizes.var() + many[0].event_size_ln_sd ** 2)
    assert_allclose(own, settings.size_ln_sd, rtol=0.12)
    assert_allclose(np.log([t.clock for t in many]).std(), settings.clock_ln_sd, rtol=0.12)
    shares = np.array([t.pass_share_frac for t in many])
    assert shares.min() >= 0.25
    assert shares.max() <= 0.5


@pytest.mark.parametrize("way", sorted(OUTSIDE))
def test_a_truth_outside_differs_in_one_way(way: str) -> None:
    inside, out = truth(), truth(outside=way)
    assert out.is_outside
    assert not inside.is_outside
    names = ("clock", "spread", "farm_size_ln", "kill_ln", "pass_share_frac", "gauge_factor",
             "dose_factor")  # fmt: skip
    moved = [n for n in names if getattr(inside, n) != getattr(out, n)]
    wet = out.soils["middle"].working_m3m3 - inside.soils["middle"].working_m3m3
    if way.startswith("soil"):
        assert_allclose(wet, OUTSIDE[way]["threshold"], rtol=0, atol=1e-12)
        assert moved == []
    else:
        assert wet[0] == 0.0
        assert len(moved) == 1


def test_a_soil_that_is_fit_later_has_fewer_fit_hours() -> None:
    counts = {}
    for way in ("soil late", "", "soil early"):
        own = season(outside=way)
        fits = own.beds["K1"].outlook.works["sweeps"].is_workable[0]
        counts[way] = int(fits.sum())
    assert counts["soil late"] < counts[""] <= counts["soil early"]


def test_the_gauge_tells_less() -> None:
    low = season(outside="gauge low")
    assert_allclose(seen_rain_mm(low), 0.8 * world().weather.forcing.rain_mm[0], rtol=1e-12)


def test_refusals() -> None:
    with pytest.raises(UsageError, match="outside the prior"):
        draw_truth("a", 3, world(), "moon")
    with pytest.raises(UsageError, match="no build"):
        draw_truth("a", 3, world(), build="clay")


# ------------------------------------------------------------- the other build


def test_the_other_build_keeps_its_pool_and_its_own_kill() -> None:
    of = quiet(PRODUCT)
    found = prepared(of, of.world.plots[0])
    assert_array_equal(found.pool, np.ones_like(found.pool))
    assert prepared(quiet(), of.world.plots[0]).pool.max() < 0.95
    sweeps = next(w for w in of.world.ways[76, "K1"] if w.tool.name == "sweeps")
    plain = replace(of, truth=replace(of.truth, kill_ln={}))
    kill = true_kill_frac(plain, of.world.plots[0], sweeps, 79 * 24.0 + 15)
    assert_allclose(kill[1], truths._CUT_DRY, rtol=1e-12)  # no rain within a day
    wet = true_kill_frac(plain, of.world.plots[0], sweeps, 84 * 24.0 + 15)  # 25 mm that evening
    assert_allclose(wet[1], truths._CUT_WET, rtol=1e-12)


def test_the_other_build_has_clumps_by_zone_with_the_mean_kept() -> None:
    of = quiet(PRODUCT)
    found = prepared(of, of.world.plots[0])
    luck = np.stack([found._luck("pass", 24.0 * d) for d in range(140)])
    assert_allclose(luck.mean(), 1.0, rtol=0, atol=0.06)
    # mean of 14 square metres of a gamma of shape 0.6: sd sqrt(1 / (0.6 x 14))
    assert_allclose(luck.std(), np.sqrt(1.0 / (truths._CLUMP * 14)), rtol=0.2)
    assert not np.array_equal(luck[:, 0], luck[:, 1])


def test_the_other_build_germinates_by_warmth_times_moisture() -> None:
    """In moist steady soil the median seed needs theta50 |psi_b| / ((T - Tb) (psi - psi_b)) days.

    Read off the table of seeds against the sums of one band, added up day by day here.
    """
    of = quiet(PRODUCT)
    found = prepared(of, of.world.plots[0])
    guilds, heat = found.settings.guilds, of.world.tables.weed_heat
    g, j = 1, 1
    table, _ = found._woken(found.plot.prepared_hour)
    n_seeds = found._sample.score.shape[1]
    own = table.reshape(-1, guilds.band_share.shape[1], n_seeds, table.shape[1])[g, j]
    first = int(np.ceil(found.plot.prepared_hour / 24.0))
    base = -(guilds.base_suction_kpa[g] + of.truth.dry_bias_kpa) / 1000.0
    q = n_seeds // 2
    bears = base * (1.0 - guilds.base_suction_sd_frac * of.truth.spread * found._sample.score[j, q])
    total, day = 0.0, first
    while total < guilds.theta50_cd[g] * -base / of.truth.clock:
        warm = min(found.bed.temp_c[j, day], heat.optimum_c[g]) - heat.base_c[g]
        total += max(warm, 0.0) * max(found.bed.water_mpa[j, day] - bears, 0.0)
        day += 1
    assert_allclose(own[q, 1], day * 24.0 / of.step_h, rtol=0, atol=1e-9)


def test_the_other_build_is_another() -> None:
    gate, product = worked(quiet()), worked(quiet(PRODUCT))
    here, there = (x.count_m2(85 * 24.0) for x in (gate, product))
    assert np.abs(here - there).max() > 0.2 * here.max()
    assert there.sum() > 1.0


def test_columns_of_a_truth_serve_every_bed() -> None:
    own = truth_season(world(), truth("c"))
    assert set(own.beds) == {"K1", "C1"}
    assert own.beds["K1"].germination.shape[-1] == 140 * 4 + 1


def test_constants_that_stand_twice_agree() -> None:
    assert truths._LEAST_OPENING == weeds._LEAST_OPENING
    assert truths._SOWING_STIRS == weeds._SOWING_STIRS
    assert truths._REACH_MM == weeds._REACH_MM
    assert truths._TODAY == weeds._TODAY
    assert play._YOUNG_M2 == verdict._HAND_YOUNG_M2
    assert play._ESTABLISHED_M2 == verdict._HAND_ESTABLISHED_M2
