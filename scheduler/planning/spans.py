"""Hours in which an offered tool can work: soil, grower's hours and crop together."""

from __future__ import annotations

import numpy as np

from scheduler.models.workability import working_spans
from scheduler.planning.day import GO_CHANCE, Day
from scheduler.planning.offers import Offer
from scheduler.records import BoolArray

RAINS_MM = 0.2  # in an hour from which it counts as rain: one tip of a common gauge


def fit_spans(offer: Offer, day: Day, first: int, last: int) -> list[tuple[int, int]]:
    """Spans between two hours, dry ones, in which the soil is fit and the crop lets it in.

    Parameters
    ----------
    offer : Offer
        The tool.
    day : Day
        The clock.
    first, last : int
        Half-open span looked at, hours of the sky's clock.

    Returns
    -------
    list of (int, int)
        Half-open spans, in order.

    Notes
    -----
    Fit as well as dry by 6 in 10 (`GO_CHANCE`). Definition of this project; range as
    `working_spans`. Worked: tests/planning/test_verdict.py.
    """
    first = max(first, int(-(-offer.from_hour // 1)))
    if offer.until_hour is not None:
        last = min(last, int(offer.until_hour))
    if last <= first:
        return []
    chance = offer.work.chance_frac[first - day.stored : last - day.stored]
    is_open = day.is_open[first:last] & ~is_raining(day, first, last)
    found = working_spans(chance, is_open, threshold_frac=GO_CHANCE)
    return [(first + a, first + b) for a, b in found]


def is_raining(day: Day, first: int, last: int) -> BoolArray:
    """Hours in which it rains.

    Parameters
    ----------
    day : Day
        The clock.
    first, last : int
        Half-open span looked at, hours of the sky's clock.

    Returns
    -------
    array of bool
        (last - first,).

    Notes
    -----
    0.2 mm or more by 6 in 10 of the members, visits aside. Definition of this project. No range
    stated. Worked: tests/planning/test_verdict.py.
    """
    rains = (day.sky.forcing.rain_mm[:, first:last] >= RAINS_MM).mean(axis=0) >= GO_CHANCE
    return np.asarray(rains)


def span_today(offer: Offer, day: Day) -> tuple[int, int] | None:
    """The longest span left today that the pass fits into.

    Parameters
    ----------
    offer : Offer
        The tool.
    day : Day
        The clock.

    Returns
    -------
    (int, int) or None
        Half-open, hours of the sky's clock.

    Notes
    -----
    Definition of this project; range as `fit_spans`. Worked: tests/planning/test_verdict.py.
    """
    found = [
        span
        for span in fit_spans(offer, day, day.sky.now_hour, day.last_hour_today)
        if (span[1] - span[0]) * 60.0 >= offer.minutes
    ]
    return max(found, key=lambda span: span[1] - span[0]) if found else None


def first_fit(offer: Offer, day: Day, from_hour: int) -> int:
    """First hour from one on in which the tool can work, else that hour.

    Parameters
    ----------
    offer : Offer
        The tool.
    day : Day
        The clock.
    from_hour : int
        Hour of the sky's clock.

    Returns
    -------
    int
        Hour of the sky's clock.

    Notes
    -----
    Definition of this project; range as `fit_spans`. Worked: tests/planning/test_verdict.py.
    """
    found = fit_spans(offer, day, from_hour, day.sky.n_hours)
    return found[0][0] if found else from_hour
