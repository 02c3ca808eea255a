"""What is said of one logged pass."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from scheduler.planning.review.costs import Saving
from scheduler.planning.review.judging import JudgedPass
from scheduler.planning.review.telling import pass_told
from scheduler.records import Bed, Event, Planting

AT = datetime(2013, 5, 14, 12, tzinfo=UTC)
BED = Bed("A1", 18.0, 0.8, "loam")


def told(saved_min: list[float], price: float = 1.0, **data: Any) -> Any:
    """A pass of five minutes that saved so much in three particles, alike likely."""
    book = SimpleNamespace(
        farm=SimpleNamespace(
            work=SimpleNamespace(machine_price=price), place=SimpleNamespace(time_zone="UTC")
        ),
        sky=SimpleNamespace(at=lambda hour: AT + timedelta(hours=hour)),
    )
    reading = SimpleNamespace(book=book, lane=SimpleNamespace(bed=BED, part=None))
    event = Event("p", "pass", AT, AT, "A1", None, {"tool": "sweeps", "work_min": 5.0, **data})
    planting = Planting(BED, None, 0.0, 18.0, "beet", True, AT, 3, 250.0, 15.0)
    saving = Saving(np.array(saved_min), np.zeros(3))
    judged = JudgedPass(event, planting, 0.0, 5.0, np.full(3, 9.0), 12.0, saving)
    return pass_told(judged, (), cast(Any, reading))


@pytest.mark.parametrize(
    ("saved_min", "price", "did"),
    [
        ([0.0, 0.0, 18.0], 1.0, "hit"),  # on average 6 min for 5, though the middle is nought
        ([0.0, 0.0, 12.0], 1.0, "little"),  # on average 4
        ([0.0, 0.0, 18.0], 2.0, "little"),  # where a minute with a tool costs two by hand
        ([-9.0, 6.0, 6.0], 1.0, "little"),  # on average 1, though two of three say 6
    ],
)
def test_a_pass_paid_off_by_what_it_saved_on_average(
    saved_min: list[float], price: float, did: str
) -> None:
    assert told(saved_min, price).did == did


def test_the_minutes_told_are_the_middle_and_the_ends() -> None:
    found = told([0.0, 2.0, 18.0])
    assert found.saved_min.mid == pytest.approx(2.0)
    assert "saved 2 min by hand (0 to 18)" in found.why


def test_a_visit_in_vain_paid_nothing() -> None:
    found = told([9.0, 9.0, 9.0], worked=False, found="too wet")
    assert (found.did, found.why) == ("in vain", "the soil was found too wet")
