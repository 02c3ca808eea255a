"""Minutes of a round by hand: each weed picked in the row, hoed in strides between the rows."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.planning.readings import hand_minutes
from scheduler.service.settings import hand_rates
from tests.planning.made import NOW_HOUR, day, outlook, planting, weeds

STAND = {"thread": 50.0, "seed_leaf": 20.0, "true_leaf": 16.0, "young": 8.0, "established": 4.0}


def test_between_the_rows_a_weed_costs_the_seconds_of_a_hoe() -> None:
    """13.5 m2, .4 of it rows, 54 m of row at .05 min.

    A square metre in the row: 20 x .008 + 16 x .025 + 8 x .0375 + 4 x .067 = 1.128 min; between:
    44 x .5 s + 4 x 1 s = 26 s. A thread costs nothing yet.
    """
    of = outlook([], grown=planting("onion", NOW_HOUR - 480.0))
    found = hand_minutes(weeds([STAND], day(), row_share=0.4), of, hand_rates())
    whole = 13.5 * (0.4 * 1.128 + 0.6 * 26.0 / 60.0) + 54.0 * 0.05
    assert found.mid == pytest.approx(whole, abs=1e-9)
    row, between = (
        hand_minutes(weeds([STAND], day(), row_share=0.4, zones=zones), of, hand_rates())
        for zones in ((1.0, 0.0), (0.0, 1.0))
    )
    assert row.mid + between.mid - 2.7 == pytest.approx(whole, abs=1e-9)


def test_a_part_of_a_bed_takes_its_part_of_the_minutes() -> None:
    half = replace(planting("onion", NOW_HOUR - 480.0), from_m=9.0)
    stand = weeds([STAND], day(), row_share=0.4)
    whole, part = (
        hand_minutes(stand, outlook([], grown=grown), hand_rates())
        for grown in (planting("onion", NOW_HOUR - 480.0), half)
    )
    assert part.mid == pytest.approx(0.5 * whole.mid, rel=1e-12)
