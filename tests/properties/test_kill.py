"""What must hold for the kill of a pass whatever tool, soil and weather."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from scheduler.models import kill

SHARES = st.floats(0.0, 1.0)
DOSES_MM = st.floats(0.0, 40.0)
NEEDS_MM = st.one_of(st.floats(0.2, 20.0), st.just(float("inf")))
THETAS = st.floats(0.02, 0.6)


def weather(seed: int, n_hours: int = 150) -> tuple[Any, Any]:
    """Evapotranspiration and water of two members, with wet spells and long dry ones."""
    rng = np.random.default_rng(seed)
    wet = rng.random((2, n_hours)) < rng.choice([0.01, 0.05, 0.2])
    water = np.where(wet, rng.exponential(0.8, (2, n_hours)), 0.0)
    return rng.uniform(0.0, 0.6, (2, n_hours)), water


@st.composite
def passes(draw: st.DrawFn) -> dict[str, float]:
    """A pass: tool and stage, set-up, soil before it and weather after it."""
    return {
        "good": draw(SHARES),
        "share": draw(SHARES),
        "wet_after": draw(SHARES),
        "wet_before": draw(SHARES),
        "dose": draw(DOSES_MM),
        "need": draw(NEEDS_MM),
        "theta": draw(THETAS),
        "working": draw(THETAS),
        "wettings": draw(st.floats(0.0, 12.0)),
        "setup": draw(st.floats(0.0, 1.5)),
    }


def killed(p: dict[str, float], **other: float) -> float:
    q = p | other
    return float(
        kill.kill_frac(
            q["good"],
            q["share"],
            kill.burial_factor(q["wettings"]),
            kill.dry_factor(kill.dried_frac(q["dose"], q["need"]), q["wet_after"]),
            kill.wet_before_factor(q["theta"], q["working"], q["wet_before"]),
            q["setup"],
        )
    )


@given(passes())
def test_kill_is_a_share(p: dict[str, float]) -> None:
    assert 0.0 <= killed(p) <= 1.0


@given(passes(), DOSES_MM)
def test_more_drying_never_lowers_kill(p: dict[str, float], dose: float) -> None:
    less, more = sorted((p["dose"], dose))
    assert killed(p, dose=more) >= killed(p, dose=less) - 1e-12


@given(passes(), THETAS)
def test_wetter_before_never_raises_kill(p: dict[str, float], theta: float) -> None:
    drier, wetter = sorted((p["theta"], theta))
    assert killed(p, theta=wetter) <= killed(p, theta=drier) + 1e-12


@given(passes(), st.floats(0.0, 12.0))
def test_more_wettings_never_raise_kill(p: dict[str, float], wettings: float) -> None:
    fewer, more = sorted((p["wettings"], wettings))
    assert killed(p, wettings=more) <= killed(p, wettings=fewer) + 1e-12


@given(passes())
def test_no_weather_makes_a_kill_of_nothing(p: dict[str, float]) -> None:
    assert killed(p, good=0.0) == 0.0


@given(passes())
def test_weather_alone_never_beats_the_good_day(p: dict[str, float]) -> None:
    assert killed(p, setup=1.0) <= p["good"] + 1e-12


@given(SHARES, SHARES, SHARES)
def test_stack_lies_between_its_parts_and_their_sum(a: float, b: float, c: float) -> None:
    both = float(kill.stacked_kill_frac(a, b))
    assert max(a, b) <= both <= min(a + b, 1.0) + 1e-12
    assert both == kill.stacked_kill_frac(b, a)
    assert float(kill.stacked_kill_frac(both, c)) >= both


@given(st.lists(SHARES, max_size=6), SHARES)
def test_losses_and_survivors_are_shares_and_grow_with_passes(
    each: list[float], more: float
) -> None:
    lost, left = float(kill.stand_loss_frac(each)), float(kill.survivors_frac(each))
    assert 0.0 <= lost <= 1.0
    assert 0.0 <= left <= 1.0
    assert_allclose(lost + left, 1.0, rtol=0, atol=1e-12)
    assert max([*each, 0.0]) - 1e-12 <= lost <= sum(each) + 1e-12
    assert kill.stand_loss_frac([*each, more]) >= lost
    assert_allclose(kill.stand_loss_frac(each[::-1]), lost, rtol=0, atol=1e-12)


@given(st.floats(-60.0, 400.0), st.floats(-60.0, 400.0))
def test_crop_loss_is_bounded_and_falls_with_height(one_mm: float, other_mm: float) -> None:
    shorter, taller = sorted((one_mm, other_mm))
    loss = kill.hilled_crop_loss_frac([shorter, taller])
    assert np.all((loss >= 0.0) & (loss <= 0.95))
    assert loss[1] <= loss[0]


@given(SHARES, st.floats(-4.0, 4.0), st.floats(-4.0, 4.0), st.floats(0.0, 1.5))
def test_spread_keeps_order_and_ends(k: float, z1: float, z2: float, ln_sd: float) -> None:
    low, high = kill.spread_kill_frac(k, sorted((z1, z2)), ln_sd)
    assert 0.0 <= low <= high <= 1.0
    assert kill.spread_kill_frac([0.0, 1.0], z1, ln_sd).tolist() == [0.0, 1.0]
    assert_allclose(kill.spread_kill_frac(k, 0.0, ln_sd), k, rtol=0, atol=1e-12)


@given(st.integers(0, 10_000), st.integers(0, 149), st.floats(0.0, 12.0))
@settings(max_examples=150)
def test_extra_rain_never_lengthens_the_dose(seed: int, hour: int, extra_mm: float) -> None:
    et0, water = weather(seed)
    more = water.copy()
    more[:, hour] += extra_mm
    assert np.all(kill.drying_dose_mm(et0, more) <= kill.drying_dose_mm(et0, water) + 1e-9)


@given(st.integers(0, 10_000), st.integers(1, 100))
@settings(max_examples=100)
def test_dose_looks_only_ahead(seed: int, start: int) -> None:
    """A series that begins later has the same doses: shifted weather, shifted doses."""
    et0, water = weather(seed)
    whole = kill.drying_dose_mm(et0, water)
    later = kill.drying_dose_mm(et0[:, start:], water[:, start:])
    assert_allclose(later, whole[:, start:], rtol=0, atol=1e-9)


@given(st.integers(0, 10_000), st.floats(1.0, 5.0))
@settings(max_examples=100)
def test_dose_is_bounded_by_what_is_left_of_the_series(seed: int, rewet_mm: float) -> None:
    et0, water = weather(seed)
    left = np.cumsum(et0[:, ::-1], axis=1)[:, ::-1]
    dose = kill.drying_dose_mm(et0, water, rewet_mm)
    assert np.all((dose >= 0.0) & (dose <= left + 1e-9))
    assert np.all(dose >= kill.drying_dose_mm(et0, water, 1.0) - 1e-9)  # shy weather wets later
