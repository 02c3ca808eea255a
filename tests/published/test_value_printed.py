"""The price of weeds against what is printed of hand weeding: hours, halves, lateness, yield.

No source prints seconds a weed or the worth of one pass: what can be checked is that our price of
weeds, through the value of a pass, lies within printed hours a hectare and printed ratios. The
figures of the price are assumptions (grade E); these checks bound them, they do not measure them.
Sources were read as the locator says; a range is met by lying in it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest

from scheduler.planning.value import Price, Terms
from scheduler.planning.weeds import IN_ROW
from scheduler.service.settings import hand_rates, kill_table, value_settings
from tests.planning.made import Packet, day, followed
from tests.planning.test_value import MADE, offer, terms

TABLED = value_settings()
H_HA = 1.0 / 0.006  # of a minute a square metre: 1 h/ha is 0.006 min/m2
ROWS_M_M2 = 2.0  # metres of row in a square metre, rows 0.5 m apart


@dataclass(frozen=True)
class Row:
    """A printed figure and what the value makes of it."""

    name: str
    found: Callable[[], float]
    low: float
    high: float
    source: str
    locator: str
    seen: str = "seen"
    reason: str = ""


def in_the_row(packets: Sequence[Packet], kill: Sequence[float], in_window_d: float = 0.0) -> Terms:
    """A pass over one square metre of row that no tool will reach again, at the tables' price."""
    seconds = np.concatenate((TABLED.ground_s[:, None], TABLED.stage_s), axis=1)
    at = Price(seconds, 0.0, in_window_d, np.array([1.0, 0.0]))
    table = replace(MADE, loss_frac_d=TABLED.loss_frac_d, half_m2=TABLED.half_m2)
    return terms([offer(kill, only_days=(0,))], followed(packets, day()), at=at, table=table)


ALL = (1.0,) * 5


def round_h_ha(weeds_a_row_m: float, stage: str) -> float:
    """Hours a hectare to weed by hand what a pass that takes all would have taken."""
    of_m2 = (Packet(weeds_a_row_m * ROWS_M_M2, (stage,), zone=IN_ROW),)
    weeds = in_the_row(of_m2, ALL).hand_min
    return (weeds + hand_rates().row_metre_min * ROWS_M_M2) * H_HA


def left_after_fingers() -> float:
    """Share of the hand weeding left of weeds in seed leaves and first leaves."""
    small = [Packet(10.0, (stage,), zone=IN_ROW) for stage in ("seed_leaf", "true_leaf")]
    kill = kill_table().kill_frac["finger weeder"][IN_ROW]
    return 1.0 - in_the_row(small, kill).hand_min / in_the_row(small, ALL).hand_min


def late_over_early() -> float:
    early, late = (
        in_the_row((Packet(10.0, (stage,), zone=IN_ROW),), ALL).hand_min
        for stage in ("seed_leaf", "young")
    )
    return late / early


def week_under_weeds() -> float:
    """Share of the yield that a week under very many grown weeds takes."""
    crowd = (Packet(1e6, ("established",), zone=IN_ROW),)
    return in_the_row(crowd, ALL, in_window_d=7.0).yield_min / MADE.crop_min_m2


MELANDER = "Melander et al. 2005, as a text on alliums quotes it"
TIWARI = "Tiwari et al. 2022, IJAS"

ROWS = [
    Row(
        "drilled onion or leek, few small weeds: 10 a metre of row",
        lambda: round_h_ha(10.0, "seed_leaf"), 100.0, 600.0, MELANDER, "in text: 100-600 h/ha",
    ),
    Row(
        "the same, many: 45 a metre of row",
        lambda: round_h_ha(45.0, "seed_leaf"), 100.0, 600.0, MELANDER, "in text: 100-600 h/ha",
    ),
    Row(
        "the same, many and grown",
        lambda: round_h_ha(45.0, "young"), 100.0, 1000.0,
        "Rasmussen et al. 2011, Weed Research 51:489, as quoted", "100-400 h/ha, has passed 1000",
    ),
    Row(
        "in-row tools: hand hours about halved",
        left_after_fingers, 0.45, 0.55, "ascard_bellinder_1996", "summary: roughly halved",
        reason="printed as roughly half",
    ),
    Row(
        "late weeding costs half as much again",
        late_over_early, 1.4, 1.6, TIWARI, "abstract: 50 % more",
        reason="two ages there, two stages here; a small weed's price counts what it grows into",
    ),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_printed_figure(row: Row) -> None:
    assert row.low <= row.found() <= row.high, (row.source, row.locator)


# What we miss, with the size of the miss; a mended miss fails here, so that it moves up.
MISSED = [
    Row(
        "onion, a week of delay within the window: 10 to 12 % of the yield; ours is milder",
        lambda: week_under_weeds() - 0.10, -0.031, -0.029, "wicks_1973",
        "losses by week, as a text prints them",
        reason="one rate for all crops; onion is the weakest of them",
    ),
]  # fmt: skip


@pytest.mark.parametrize("row", MISSED, ids=lambda row: row.name)
def test_miss_is_no_larger_and_no_smaller_than_told(row: Row) -> None:
    assert row.low <= row.found() <= row.high
