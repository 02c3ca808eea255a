"""Rows and what lies between, all months, gates, particles, and the books of one planting's weeds.

Beside `test_weeds.py`, which takes the ready pool rule by rule. Figures are worked by hand; the
tables' own values are asserted where a figure rests on them. All entries are invented.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.models.weeds.cohorts import STAGES, Openings, Passes, Stand, stand
from scheduler.planning import weeds as module
from scheduler.planning.ensemble import Ensemble, run_ensemble, soil_members
from scheduler.planning.plantings import Trigger, surface_table
from scheduler.planning.weeds import (
    BETWEEN,
    IN_ROW,
    KillTable,
    WeedHistory,
    WeedOutlook,
    WeedSettings,
    draw_particles,
    in_row_share,
    weed_history,
    weed_outlook,
)
from scheduler.records import Event, FloatArray, Soil
from scheduler.service.settings import (
    GATE_KPA,
    kill_table,
    soil_prior,
    spread,
    weed_heat,
    weed_settings,
)
from tests.planning.made import BED, START, TINES, entry, planting, rules, sky, unseen_weather

COOL, SPRING, WARM = range(3)
FULL_MM = 50.0  # a pass of this depth opens the whole of its share
LATER_H = 24.0 * 60.0  # readiness has returned to within 1e-5 by then


def plain(**changes: Any) -> WeedSettings:
    """The tables, but every month full, no gate, and a pool that does not refill."""
    of = weed_settings()
    every = {"season": np.ones_like(of.season), "warm_gate_c": np.full(3, -np.inf)}
    return replace(of, **{**every, "refill_d": 1e12, **changes})


def clock(readings_from_hour: int = 0, stored_from_hour: int = 0) -> Ensemble:
    """An ensemble that has only a clock and weights: the history needs no more."""
    weights = {BED.soil: np.full(8, 0.125)}
    return Ensemble(sky(), (), {}, {}, 1, weights, 8, stored_from_hour, readings_from_hour)


def history(
    events: Sequence[Event] = (),
    settings: WeedSettings | None = None,
    *,
    wettings: Sequence[datetime] = (),
    crop: str | None = None,
    kills: KillTable | None = None,
    on: Ensemble | None = None,
    soil_mean_c: FloatArray | None = None,
    latitude_deg: float = 42.0,
) -> WeedHistory:
    return weed_history(
        planting(crop, 0.0 if crop else None),
        events,
        [Trigger(at, "wetting") for at in wettings],
        settings or plain(),
        kills or kill_table(),
        rules(),
        unseen_weather(),
        on or clock(),
        np.array([20.0]) if soil_mean_c is None else soil_mean_c,
        latitude_deg,
        n_particles=16,
    )


def tined(hour: float, depth_mm: float = FULL_MM) -> Event:
    return entry("pass", hour, tool="tines", depth_mm=depth_mm)


# ------------------------------------------------------------------ pool and zones


def test_full_flushes_leave_65_percent_each_in_both_zones() -> None:
    assert weed_settings().pass_share == 0.35
    found = history([tined(LATER_H * i) for i in range(4)])
    for zone in (IN_ROW, BETWEEN):
        size = found.openings.size[:, SPRING, zone]
        assert_allclose(size, [1.0, 0.65, 0.4225, 0.274625], rtol=2e-5)


@pytest.mark.parametrize(("days", "ready"), [(1.0, 0.1813), (5.0, 0.6321), (10.0, 0.8647)])
def test_readiness_to_four_places(days: float, ready: float) -> None:
    """1 - exp(-days/5)."""
    assert weed_settings().recovery_d == 5.0
    found = history([tined(0.0), tined(24.0 * days)], plain(pass_share=0.0))
    assert_allclose(found.openings.size[1], ready, rtol=0, atol=5e-5)


def test_deep_preparation_makes_pool_and_readiness_new_within_the_hour() -> None:
    passes = [tined(LATER_H * i) for i in range(3)]
    deep = history([*passes, entry("prep", LATER_H * 2 + 1.0, depth_mm=50.0)])
    assert_allclose(deep.openings.size[-1], 1.0, rtol=1e-12)
    # less deep and much later: three full flushes are gone, 30 mm opens 0.97 of the rest
    shallow = history([*passes, entry("prep", LATER_H * 3, depth_mm=30.0)])
    assert_allclose(shallow.openings.size[-1], 0.65**3 * 0.97, rtol=2e-5)


def test_sweeps_stir_only_between_rows() -> None:
    sweeps = entry("pass", 0.0, tool="sweeps", depth_mm=FULL_MM)
    found = history([sweeps, tined(24.0)], crop="carrot")
    assert_allclose(found.openings.size[0, :, IN_ROW], 0.0)
    assert_allclose(found.openings.size[0, :, BETWEEN], 1.0)
    # a day later tines find the rows as they were, and the rest hardly ready
    assert_allclose(found.openings.size[1, :, IN_ROW], 1.0)
    assert_allclose(found.openings.size[1, :, BETWEEN], 0.65 * (1.0 - np.exp(-0.2)), rtol=1e-9)


@pytest.mark.parametrize(("kind", "label"), [("sow", "sowing"), ("plant", "planting")])
def test_sowing_and_planting_stir_in_the_rows(kind: str, label: str) -> None:
    found = history([entry(kind, 0.0, crop="carrot", depth_mm=12.0)], crop="carrot")
    assert found.labels == (label,)
    assert_allclose(found.openings.size[0, :, IN_ROW], 0.7)
    assert_allclose(found.openings.size[0, :, BETWEEN], 0.0)
    assert found.passes.kill_frac.shape == (1, 1, 2, len(STAGES))  # the same for all particles
    in_row, between = found.passes.kill_frac[0, 0]
    assert_array_equal(in_row, between)  # the seedbed is worked over its width, the seed opens rows
    assert between.min() > 0.0
    assert np.all(np.diff(between) <= 0.0)  # the larger the more of it lives


@pytest.mark.parametrize(("n_rows", "share"), [(None, 0.0), (1, 0.1 / 0.75), (3, 0.4), (9, 0.9)])
def test_rows_are_bands_of_100_mm(n_rows: int | None, share: float) -> None:
    grown = replace(planting("carrot", 0.0), n_rows=n_rows)
    assert in_row_share(grown) == pytest.approx(share, rel=1e-12)
    assert in_row_share(replace(grown, crop=None)) == 0.0


# ------------------------------------------------------------------ water and season


def test_a_wetting_takes_its_share_of_the_pool_and_no_readiness() -> None:
    assert_allclose(weed_settings().wetting_share, [0.333, 0.333, 1.0])
    found = history([tined(1.0)], wettings=[START])
    left = np.array([1.0 - 0.35 * 0.333, 1.0 - 0.35 * 0.333, 0.65])
    for zone in (IN_ROW, BETWEEN):
        assert_allclose(found.openings.size[:, :, zone], [[0.333, 0.333, 1.0], left])


def test_every_month_of_north_and_south() -> None:
    months = plain(
        season=np.tile(np.arange(1.0, 13.0) / 12.0, (3, 1)),
        wetting_share=np.ones(3),
        pass_share=0.0,
    )
    dates = [datetime(2013, month, 15, tzinfo=UTC) for month in range(1, 13)]
    north = history(settings=months, wettings=dates).openings.size[:, COOL, BETWEEN]
    south = history(settings=months, wettings=dates, latitude_deg=-35.0).openings.size
    assert_allclose(12.0 * north, [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12])
    assert_allclose(12.0 * south[:, COOL, BETWEEN], [7, 8, 9, 10, 11, 12, 1, 2, 3, 4, 5, 6])


def test_the_warm_guild_waits_for_its_gate_on_the_stored_clock() -> None:
    gate_c = weed_settings().warm_gate_c
    assert gate_c.tolist() == [-np.inf, -np.inf, 12.0]
    weekly = np.full(48, 11.9)
    weekly[30:] = 12.0  # stored hours begin at hour 10 of the clock: from hour 40 on
    settings = plain(warm_gate_c=gate_c, pass_share=0.0, wetting_share=np.ones(3))
    wettings = [START + timedelta(hours=h) for h in (39, 40)]
    on = clock(stored_from_hour=10)
    size = history(settings=settings, wettings=wettings, on=on, soil_mean_c=weekly).openings.size
    assert_allclose(size[:, WARM, BETWEEN], [0.0, 1.0])
    assert_allclose(size[:, [COOL, SPRING], BETWEEN], 1.0)


# ------------------------------------------------------------------ what stood before


def every_stage(in_row: float, between: float) -> FloatArray:
    return np.repeat(np.array([[in_row], [between]]), len(STAGES), axis=1)


def test_what_stood_before_the_record_is_thinned_by_zone() -> None:
    """Three rows in 0.75 m: 0.4 of the bed. (1 - 0.6 x 0.5) x (1 - 0.4 x 0.25 - 0.6 x 0.75)."""
    kills = KillTable(
        {"sweeps": every_stage(0.0, 0.5), "hand": every_stage(0.25, 0.75)},
        {"sweeps": np.array([0.0, 1.0])},
    )
    kills.kill_frac["sweeps"][:, 0] = 0.9  # threads are no weeds that stood before
    events = [entry("pass", 0.0, tool="sweeps", depth_mm=25.0), entry("hand", 24.0)]
    found = history(events, crop="carrot", kills=kills)
    assert found.standing_left == pytest.approx(0.7 * 0.45, rel=1e-12)
    # entries before the integrals begin thin it too, though no cohort is followed so far back
    late = history(events, crop="carrot", kills=kills, on=clock(readings_from_hour=100))
    assert late.standing_left == found.standing_left
    assert late.passes.hour.size == 0


def test_openings_before_the_integrals_are_kept_back_to_the_last_kill() -> None:
    events = [tined(0.0), tined(24.0 * 30), tined(24.0 * 90)]
    found = history(events, on=clock(readings_from_hour=24 * 60))
    assert found.openings.hour.tolist() == [24.0 * 30, 24.0 * 90]
    assert found.passes.hour.tolist() == [24.0 * 90]


# ------------------------------------------------------------------ particles


def fields(of: Any) -> list[FloatArray]:
    return [getattr(of, name) for name in of.__dataclass_fields__]


def test_particles_are_drawn_by_name_in_any_order() -> None:
    def drawn(*names: str) -> dict[str, list[FloatArray]]:
        return {name: fields(draw_particles(name, weed_settings(), 5, 8, 64)) for name in names}

    forth, back = drawn("A1", "A2", "B7/north"), drawn("B7/north", "A2", "A1")
    for name, values in forth.items():
        for one, other in zip(values, back[name], strict=True):
            assert_array_equal(one, other)
    assert_array_equal(forth["A1"][0], np.tile(np.arange(8), 8))  # members in turn
    assert_array_equal(forth["A1"][-1], np.repeat(np.arange(8), 8))  # variants in turn of members
    for one, other in zip(forth["A1"][1:-1], forth["A2"][1:-1], strict=True):
        assert not np.array_equal(one, other)
    again = fields(draw_particles("A1", weed_settings(), 6, 8, 64))
    assert not np.array_equal(forth["A1"][3], again[3])  # another farm's seed


def test_particles_lie_about_the_tables() -> None:
    of = weed_settings()
    drawn = draw_particles("A1", of, 5, 8, 512)
    for values, median, ln_sd in (
        (drawn.clock, 1.0, of.clock_ln_sd),
        (drawn.spread, 1.0, of.spread_ln_sd),
        (drawn.size_m2, of.size_m2, of.size_ln_sd),
    ):
        assert_allclose(np.median(values), median, rtol=0.02)
        assert_allclose(np.log(values).std(), ln_sd, rtol=0.03)
    assert_allclose(drawn.dry_bias_kpa.std(), of.dry_bias_sd_kpa, rtol=0.03)
    assert_allclose(drawn.mix.sum(axis=1), 1.0)
    # Dirichlet: sd of a mean of 512 is sqrt(m (1 - m) / 7 / 512), 0.008 at most
    assert_allclose(drawn.mix.mean(axis=0), of.mix, rtol=0, atol=0.03)


# ------------------------------------------------------------------ what a pass takes


def test_the_killable_share_by_hand() -> None:
    """Of 12 per m2 of bed 3.25 die, of 6 between the rows 1.5; where nothing is, nothing.

    Rows are 0.25 of the bed. First particle: 8 seed leaves and 4 to come in the row, 4 with leaves
    and 8 to come between: 0.25 x 12 + 0.75 x 12 = 12 per m2, killed 0.25 x 8 x 0.5 + 0.75 x 4 x
    0.75 = 3.25. Second: 8 threads between, killed at 0.25: 1.5 of 6.
    """
    count, to_come = np.zeros((3, 1, 2, 5)), np.zeros((3, 1, 2))
    count[0, 0, IN_ROW, 1], to_come[0, 0, IN_ROW] = 8.0, 4.0
    count[0, 0, BETWEEN, 2], to_come[0, 0, BETWEEN] = 4.0, 8.0
    count[1, 0, BETWEEN, 0] = 8.0
    kill = np.array([[0.9, 0.5, 0.0, 0.0, 0.0], [0.25, 0.0, 0.75, 0.0, 0.0]])
    none = WeedHistory(
        Openings(np.zeros(0), np.zeros((0, 3, 2))),
        Passes(np.zeros(0), np.zeros((0, 1, 2, 5)), np.zeros(0)),
        (), (), 1.0,
    )  # fmt: skip
    of = WeedOutlook(
        np.zeros(1), count, to_come, np.full(3, 10.0), np.full(3, 1.0 / 3.0), 0.25, none,
        np.arange(3), None,
    )  # fmt: skip
    assert_allclose(of.killable_frac(0, kill), [3.25 / 12.0, 0.25, 0.0], rtol=1e-12)
    # half the kill in the second particle alone
    own = np.stack([kill, 0.5 * kill, kill])
    assert_allclose(of.killable_frac(0, own), [3.25 / 12.0, 0.125, 0.0], rtol=1e-12)
    assert_allclose(of.to_come_m2(0), [7.0, 0.0, 0.0])
    assert_allclose(of.density_m2(0).sum(axis=1), [5.0, 6.0, 0.0])
    assert_allclose(of.density_m2(0, IN_ROW)[0], [0.0, 8.0, 0.0, 0.0, 0.0])
    # what stood before is told as established, and no pass is credited with it
    assert of.ranges()["established_m2"].mid == pytest.approx(10.0)


# ------------------------------------------------------------------ the whole way


def test_every_seed_opened_is_to_come_up_killed_dried_or_held(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Twenty days at 20 C: rain, drying, a pass; the books close through `weed_outlook`.

    Opened is worked apart: size of the flush x mix x share opened, summed over the openings so far.
    """
    n, n_hours = 4, 24 * 20
    base = sky(24 * 15, n_hours, n)
    rain = np.zeros((n, n_hours))
    rain[:, 2:8], rain[:, 24 * 12 : 24 * 12 + 4] = 3.0, 3.0
    sun = np.maximum(0.0, np.sin((np.arange(n_hours) % 24 - 5.5) / 12.0 * np.pi))
    forcing = replace(
        base.forcing,
        rain_mm=rain,
        et0_mm=np.broadcast_to(7.0 * sun / sun[:24].sum(), rain.shape).copy(),
        air_temp_c=np.full_like(rain, 20.0),
        solar_mj_m2=np.broadcast_to(2.0 * sun, rain.shape).copy(),
    )
    grown = planting("carrot", 0.0)
    events = [
        entry("sow", 0.0, crop="carrot", depth_mm=12.0),
        entry("pass", 24.0 * 7, tool=TINES.name, depth_mm=18.0),
    ]
    soil = Soil("middle", "sandy loam", None, None, 3.0)
    ensemble = run_ensemble(
        replace(base, forcing=forcing),
        {"middle": soil_members(soil_prior(soil), spread(), 5, n)},
        {grown.key: ("middle", surface_table(grown, events, {}, START, n_hours))},
        weed_heat(),
        stored_from_hour=0,
    )
    settings = weed_settings()
    done = weed_history(
        grown, events, [Trigger(START + timedelta(hours=5), "wetting")], settings, kill_table(),
        rules(ln_sd=0.3), unseen_weather(), ensemble, np.full(n_hours, 20.0), 42.0, 32,
    )  # fmt: skip
    assert done.labels == ("sowing", "wetting", "pass")
    seen: list[Stand] = []

    def noted(*args: Any) -> Stand:
        seen.append(stand(*args))
        return seen[-1]

    monkeypatch.setattr(module, "stand", noted)
    hours = 24.0 * np.array([1.0, 6.5, 7.5, 15.0, 19.5])
    of = weed_outlook(grown, ensemble, done, settings, np.array(GATE_KPA), 5, hours, 32)
    killed, dried, held = (seen[0].ledger_m2[..., i].sum(axis=2) for i in (1, 2, 3))
    assert of.to_come.shape == (32, 5, 2)
    parts = of.to_come + of.count_m2.sum(axis=3) + killed + dried + held
    particles = draw_particles(grown.key, settings, 5, n, 32)
    for t, hour in enumerate(hours):
        so_far = done.openings.size[done.openings.hour <= hour].sum(axis=0)
        opened = particles.size_m2[:, None] * (particles.mix @ so_far)
        assert_allclose(parts[:, t], opened, rtol=1e-6, atol=1e-9)
    for part in (of.to_come, of.count_m2, killed, dried, held):  # none of them is idle
        assert part[:, -1].sum() > 0.5
    assert killed[:, 1].sum() == 0.0  # before the pass, after it
    assert killed[:, 2].sum() > 1.0
