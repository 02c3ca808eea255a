"""What must hold of gates whatever the crop, the weather and the tool."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.models.soil_column import ColumnForcing
from scheduler.planning.crop_stage import CropHours, CropStage, crop_stage
from scheduler.planning.ensemble import Sky
from scheduler.planning.gates import Gate, gate
from scheduler.planning.traits import CropTraits, ToolTraits
from scheduler.records import Bed, FloatArray, Planting, Tool
from scheduler.service.settings import crop_traits, tool_traits
from tests.planning.made import START

N = 5
N_HOURS = 24 * 60
BED = Bed("A1", 18.0, 0.75, "loam")
CROPS = sorted(crop_traits())
KINDS = sorted(tool_traits())
EQUAL = np.full(N, 1.0 / N)

crops = st.sampled_from(CROPS)
kinds = st.sampled_from(KINDS)
days = st.floats(0.0, 59.0)
temps = st.lists(st.floats(2.0, 28.0), min_size=N, max_size=N).map(np.array)
ups = st.lists(st.floats(3.0, 25.0), min_size=N, max_size=N).map(lambda d: 24.0 * np.array(d))
weights = st.lists(st.floats(0.01, 1.0), min_size=N, max_size=N).map(np.array)


def ensemble(air_c: FloatArray, now_hour: int) -> Any:
    zero = np.zeros((N, N_HOURS))
    air = ColumnForcing(zero, zero, zero + air_c[:, None], zero, zero, zero, zero)
    sky = Sky(START, now_hour, air, np.ones(N_HOURS, bool), has_forecast=True)
    return SimpleNamespace(sky=sky, stored_from_hour=0)


def planted(crop: str, is_sown: bool) -> Planting:
    return Planting(BED, None, 0.0, 18.0, crop, is_sown, START, 3, 250.0, None)


def asked(
    of: Planting,
    crop: CropTraits,
    tool: ToolTraits,
    day: float,
    air_c: FloatArray,
    up: FloatArray,
    share: FloatArray = EQUAL,
    depth_mm: float = 20.0,
) -> tuple[Gate, CropStage]:
    now = int(24 * day)
    hours = CropHours(up, up, 0.70 * up, 0.85 * up)
    emergence = hours if of.is_sown and of.up_at is None else None
    stage = crop_stage(
        of, crop, ensemble(air_c, now), None if emergence is None else up, np.full(N_HOURS, 0.2)
    )
    assert stage is not None
    kit = Tool("made", "made", depth_mm, 0.9)
    return gate(kit, tool, of, crop, stage, emergence, now, 0, share, True), stage


@settings(max_examples=150, deadline=None)
@given(crops, kinds, st.booleans(), days, temps, ups, weights, st.floats(5.0, 80.0))
def test_a_gate_is_open_or_says_why_and_loss_and_depth_stay_in_bounds(
    crop: str, kind: str, is_sown: bool, day: float, air_c: FloatArray, up: FloatArray,
    share: FloatArray, depth_mm: float,
) -> None:  # fmt: skip
    of, now = planted(crop, is_sown), int(24 * day)
    tool = tool_traits()[kind]
    found, _ = asked(of, crop_traits()[crop], tool, day, air_c, up, share, depth_mm)
    assert found.because in ("", "crop_tender", "crop_up", "no_fit")
    assert found.why
    assert 0.0 <= found.loss_frac <= 1.0
    assert 0.0 < found.depth_mm <= depth_mm
    if found.is_open:
        assert found.opens_hour == now
        assert found.closes_hour is None or found.closes_hour >= now - 1
    else:
        assert found.closes_hour is None
        assert found.opens_hour is None or found.opens_hour > now


@settings(max_examples=200, deadline=None)
@given(crops, st.sampled_from(["tine weeder", "spike harrow", "rotary hoe"]), st.booleans(),
       st.one_of(st.none(), st.floats(1.0, 80.0)), st.floats(5.0, 80.0), ups)  # fmt: skip
def test_a_blind_pass_stays_above_the_seed(
    crop: str, kind: str, is_sown: bool, seed_mm: float | None, depth_mm: float, up: FloatArray
) -> None:
    of = replace(planted(crop, is_sown), sowing_depth_mm=seed_mm)
    traits, tool = crop_traits()[crop], tool_traits()[kind]
    found, stage = asked(
        of, traits, tool, 0.5, np.full(N, 12.0), up, depth_mm=max(depth_mm, tool.depth_low_mm)
    )
    if not found.is_open or stage.is_up[:, 12].any():
        return
    lies_mm = seed_mm or traits.sowing_depth_mm or 13.0
    assert found.depth_mm <= lies_mm - 2.0 + 1e-9
    assert found.depth_mm >= min(8.0, depth_mm)
    assert found.loss_frac <= 0.02


@settings(max_examples=150, deadline=None)
@given(crops, days, temps, ups, weights)
def test_no_tine_between_the_last_blind_hour_and_the_stage_the_crop_stands_it(
    crop: str, day: float, air_c: FloatArray, up: FloatArray, share: FloatArray
) -> None:
    """Counted member by member: either hardly any has passed its last blind hour, or nearly all
    have the leaves, by heat since they came up."""
    traits = crop_traits()[crop]
    tines = tool_traits()["tine weeder"]
    found, _ = asked(planted(crop, True), traits, tines, day, air_c, up, share)
    if not found.is_open:
        return
    now = int(24 * day)
    late = share[0.70 * up < now - 1].sum() / share.sum()
    if traits.tine_leaves is None or traits.first_leaf_cd is None or traits.leaf_cd is None:
        assert late <= 0.35
        assert np.any(up > now)
        return
    daily_cd = np.maximum(np.minimum(air_c, 30.0) - traits.leaf_base_c, 0.0)
    need_cd = traits.first_leaf_cd + (traits.tine_leaves - 1.0) * traits.leaf_cd
    has_them = daily_cd * (now + 2 - up) / 24.0 >= need_cd
    assert late <= 0.35 or share[has_them].sum() / share.sum() >= 0.9 - 1e-6


@settings(max_examples=80, deadline=None)
@given(crops, st.booleans(), temps, ups, st.floats(0.0, 6.0))
def test_warmer_air_never_opens_a_gate_of_the_row_later(
    crop: str, is_sown: bool, air_c: FloatArray, up: FloatArray, warmer_c: float
) -> None:
    """Canopies close sooner too, so the crop is one that never closes."""
    traits = replace(crop_traits()[crop], close_d=None)
    for kind in ("tine weeder", "finger weeder", "torsion weeder", "brush weeder"):
        tool = replace(tool_traits()[kind], can_blind=False)
        cool, warm = (
            asked(planted(crop, is_sown), traits, tool, 1.0, air, up)[0].opens_hour
            for air in (air_c, air_c + warmer_c)
        )
        assert cool is None or (warm is not None and warm <= cool)


@settings(max_examples=80, deadline=None)
@given(crops, st.booleans(), temps, ups, st.integers(0, 24 * 40))
def test_what_was_seen_up_or_rooted_stays_so(
    crop: str, is_sown: bool, air_c: FloatArray, up: FloatArray, seen_hour: int
) -> None:
    traits = crop_traits()[crop]
    seen_at = START + timedelta(hours=seen_hour)
    of = replace(planted(crop, is_sown), up_at=seen_at, rooted_at=None if is_sown else seen_at)
    _, stage = asked(of, traits, tool_traits()["sweeps"], 1.0, air_c, up)
    assert np.all(stage.is_up[:, seen_hour:])
    if not is_sown:
        assert np.all(np.isinf(stage.rooted_cd[:, seen_hour:]))
        fingers = tool_traits()["finger weeder"]
        later, _ = asked(of, traits, fingers, seen_hour / 24 + 0.1, air_c, up)
        assert later.is_open or later.because in ("no_fit", "crop_up")
    sweeps, _ = asked(of, traits, tool_traits()["sweeps"], seen_hour / 24 + 0.1, air_c, up)
    assert sweeps.is_open or sweeps.because == "crop_up"


@settings(max_examples=80, deadline=None)
@given(crops, st.booleans(), days, temps, ups)
def test_a_stack_is_open_only_where_each_part_is(
    crop: str, is_sown: bool, day: float, air_c: FloatArray, up: FloatArray
) -> None:
    of, traits = planted(crop, is_sown), crop_traits()[crop]
    parts = [tool_traits()[kind] for kind in ("knives", "finger weeder")]
    stack = replace(parts[1], crop_gate=" + ".join(p.crop_gate for p in parts))
    whole, _ = asked(of, traits, stack, day, air_c, up)
    each = [asked(of, traits, p, day, air_c, up)[0] for p in parts]
    assert whole.is_open == all(part.is_open for part in each)
    if whole.opens_hour is not None:
        assert all(
            part.opens_hour is not None and part.opens_hour <= whole.opens_hour for part in each
        )


@settings(max_examples=60, deadline=None)
@given(crops, st.booleans(), temps, ups)
def test_stages_only_go_forward(
    crop: str, is_sown: bool, air_c: FloatArray, up: FloatArray
) -> None:
    _, stage = asked(
        planted(crop, is_sown), crop_traits()[crop], tool_traits()["sweeps"], 1.0, air_c, up
    )
    for values in (stage.is_up, stage.leaves, stage.rooted_cd, stage.height_mm):
        step = np.diff(values.astype(float), axis=1)
        assert np.all((step >= -1e-9) | np.isnan(step))
