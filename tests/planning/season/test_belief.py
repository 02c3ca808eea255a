"""What the members of a season say: one run in pieces, readings that run on, honest chances."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import lru_cache

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from scheduler.models.soil_column import band_weights
from scheduler.planning.ensemble import SoilMembers
from scheduler.planning.season.belief import Belief, build_belief
from scheduler.planning.season.truth import truth_season
from scheduler.planning.season.world import one_member_run
from tests.planning.season.made import truth, world

N_MEMBERS = 8
WET = tuple((float(day), 6.0 + 5.0 * (day % 4)) for day in range(38, 130, 3))  # in the evening


@lru_cache(maxsize=1)
def belief() -> Belief:
    return build_belief(world(), N_MEMBERS)


def _alone(members: SoilMembers, i: int) -> SoilMembers:
    p = members.parameters
    one = {f.name: getattr(p, f.name)[i : i + 1] for f in fields(p)}
    rest = {f.name: getattr(members, f.name)[i : i + 1] for f in fields(members)[1:]}
    return replace(members, parameters=replace(p, **one), **rest)


def test_days_run_one_by_one_equal_one_run() -> None:
    w, found = world(), belief()
    alone = {name: _alone(members, 3) for name, members in found.members.items()}
    run, columns = one_member_run(
        w.garden.farm, w.weather, alone, w.surfaces, w.tables.weed_heat
    ).run_of("K1")
    theta = run.theta_m3m3[columns][0].astype(float) @ band_weights(0.0, 30.0, 7)
    past = found.past["K1"]
    assert_allclose(past.theta_0_30_m3m3[3], theta, rtol=0.0, atol=1e-5)
    mine = past.integrals.leaf_cd[3, :, 0]
    mine_at = found.first_reading_hour + 12 * np.arange(mine.size)
    theirs, theirs_at = run.leaf_cd[columns][0][:, 0], run.reading_hours
    inside = (theirs_at >= mine_at[0]) & (theirs_at <= mine_at[-1])
    gap = np.interp(theirs_at[inside], mine_at, mine) - theirs[inside]
    # the two start at other hours: what lies between is the same all season, but for the straight
    # line through half a day
    assert np.ptp(gap) < 4.0
    assert float(theirs[inside][-1]) > 500.0


def test_readings_run_on_from_what_was_to_what_comes() -> None:
    found = belief()
    for day, morning in list(found.mornings.items())[::9]:
        for bed in morning.beds:
            ensemble = found.ensemble(day, bed)
            run, columns = ensemble.run_of(bed)
            assert_array_equal(np.diff(run.reading_hours), 12)
            assert int(run.reading_hours[-1]) == ensemble.sky.n_hours
            assert morning.hour in run.reading_hours.tolist()
            for part in (run.germination_cd, run.elongation_cd, run.drying_d, run.leaf_cd):
                assert part[columns].shape[1] == run.reading_hours.size
                assert float(np.diff(part[columns], axis=1).min()) >= -1e-3
            kept = found.theta_0_30_m3m3(day, bed)
            assert kept.shape[1] == ensemble.sky.n_hours - ensemble.stored_from_hour


def test_the_past_is_the_weather_that_was_and_what_comes_is_not_known() -> None:
    found = belief()
    day, morning = list(found.mornings.items())[20]
    sky = found.ensemble(day, next(iter(morning.beds))).sky
    truth = world().weather.forcing.rain_mm[0]
    assert_array_equal(
        sky.forcing.rain_mm[:, : morning.hour], np.tile(truth, (8, 1))[:, : morning.hour]
    )
    days = sky.forcing.rain_mm[:, morning.hour :].reshape(N_MEMBERS, 10, 24).sum(axis=2)
    assert float(np.ptp(days, axis=0).max()) > 1.0


def test_a_gauge_that_tells_less_makes_drier_soil() -> None:
    less = build_belief(world(), 2, 0.5)
    whole = build_belief(world(), 2)
    mean = [b.past["K1"].theta_0_30_m3m3.mean() for b in (less, whole)]
    assert mean[0] < mean[1] - 0.001


def test_a_day_called_fit_with_some_chance_is_fit_about_as_often() -> None:
    """Members and truths are draws of the same prior: within bins the shares must agree."""
    w = world(rain=WET)
    found = build_belief(w, 12)
    truths = [truth_season(w, truth(name)) for name in "abcdef"]
    stated, came = [], []
    for day, morning in found.mornings.items():
        for bed, soil in morning.beds.items():
            for way in w.ways[day, bed]:
                hours = w.days[day].open_hours
                hours = hours[(hours >= way.from_hour) & (hours < way.until_hour)]
                fit = soil.is_fit[way.tool.key][:, hours - morning.hour].any(axis=1)
                for true in truths:
                    stated.append(float(fit.mean()))
                    came.append(true.fit_hours(bed, way, w.days[day]).size > 0)
    said, is_true = np.array(stated), np.array(came)
    assert abs(said.mean() - is_true.mean()) < 0.08
    for low, high in ((0.0, 0.3), (0.3, 0.7), (0.7, 1.01)):
        inside = (said >= low) & (said < high)
        assert inside.sum() > 60
        assert is_true[inside].mean() == pytest.approx(said[inside].mean(), abs=0.2)


def test_what_is_kept_fits_into_memory() -> None:
    assert belief().n_bytes < 60e6
