"""What a handful is felt as, by how much wetter the soil is than its threshold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.errors import RangeError
from scheduler.models.squeeze import FEELS, feel_frac

EXCESS = np.linspace(-0.1, 0.12, 45)


@pytest.mark.parametrize("is_hard", [False, True])
@pytest.mark.parametrize("very_wet", [0.0, 0.03, np.inf])
def test_words_share_the_soil_among_them(very_wet: float, *, is_hard: bool) -> None:
    each = [feel_frac(w, EXCESS, is_hard, very_wet) for w in FEELS if w != "dry"]
    assert_allclose(sum(each), 1.0, rtol=0.0, atol=1e-12)
    assert all(np.all(one >= 0.0) for one in each)
    crumbles, hard = (feel_frac(w, EXCESS, is_hard, very_wet) for w in ("crumbles", "hard"))
    assert_allclose(feel_frac("dry", EXCESS, is_hard, very_wet), crumbles + hard, atol=1e-12)
    assert np.all(crumbles < hard if is_hard else crumbles > hard)


def test_the_wetter_the_soil_the_wetter_the_word() -> None:
    wet, smears, dry = (feel_frac(w, EXCESS, False, 0.03) for w in ("wet", "smears", "dry"))
    assert np.all(np.diff(wet) > 0.0)
    assert np.all(np.diff(dry) < 0.0)
    assert EXCESS[np.argmax(smears)] == pytest.approx(0.015, abs=0.003)  # between the two limits
    assert np.all(feel_frac("smears", EXCESS, False, 0.0) == 0.0)  # who calls all of it wet
    assert np.all(feel_frac("wet", EXCESS, False, np.inf) == 0.0)  # who never says wet


def test_at_the_threshold_by_hand() -> None:
    """F(0) = 1/2; at 0.0827 = 10 s above it, s = 0.015 sqrt(3)/pi = 0.00827, F = 1/(1 + e^10)."""
    assert float(feel_frac("dry", 0.0, False, 0.03)) == 0.5
    scale = 0.015 * math.sqrt(3.0) / math.pi
    found = float(feel_frac("crumbles", 10.0 * scale, False, 0.03))
    assert found == pytest.approx(0.9 / (1.0 + math.e**10), rel=1e-9)
    sharper = float(feel_frac("dry", 0.01, False, 0.03, sd_m3m3=0.005))
    assert sharper < float(feel_frac("dry", 0.01, False, 0.03))


def test_an_unknown_word_is_named() -> None:
    with pytest.raises(RangeError, match="found 'sticky', allowed wet, smears"):
        feel_frac("sticky", 0.0, False, 0.03)
