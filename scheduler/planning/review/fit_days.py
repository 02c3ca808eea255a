"""Days fit for the field, week by week."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from scheduler.planning.draws import weighted_quantiles
from scheduler.records import BoolArray, FitDays, FloatArray, Range

_LEAST_H = 2  # of the grower's hours, that make a day fit


@dataclass(frozen=True)
class FitYear:
    """One year of one soil: whether it could be worked on each day of the season, by member.

    `is_fit` (n_members, n_days), days counted from the first of the season, whatever its year.
    """

    is_fit: BoolArray


def fit_year(
    can_work: BoolArray, days: Sequence[tuple[date, int, int]], open_hours: Sequence[BoolArray]
) -> FitYear:
    """Days on which a soil could be worked for two of the grower's hours or more.

    Parameters
    ----------
    can_work : array of bool
        By member and hour, (n_members, n_hours).
    days : sequence of (date, int, int)
        Days with first hour and the hour after the last.
    open_hours : sequence of array of bool
        The grower's hours of each day, counted from its first hour.

    Returns
    -------
    FitYear
        By member and day.

    Notes
    -----
    Two hours are an assumption of this project. No range stated.

    Examples
    --------
    >>> can = np.ones((1, 48), bool)
    >>> can[0, 24:33] = False
    >>> work = np.zeros(24, bool)
    >>> work[7:10] = True
    >>> days = [(date(2013, 5, 8), 0, 24), (date(2013, 5, 9), 24, 48)]
    >>> fit_year(can, days, [work, work]).is_fit.tolist()
    [[True, False]]
    """
    fits = np.zeros((can_work.shape[0], len(days)), bool)
    for i, ((_, first, last), hours) in enumerate(zip(days, open_hours, strict=True)):
        n = min(last - first, hours.size, can_work.shape[1] - first)
        if n > 0:
            fits[:, i] = (can_work[:, first : first + n] & hours[:n]).sum(axis=1) >= _LEAST_H
    return FitYear(fits)


def fit_weeks(
    soil_name: str, from_on: date, this_year: FitYear, past_years: Sequence[FitYear]
) -> tuple[FitDays, ...]:
    """Fit days of one soil by week, against the past years on record.

    Parameters
    ----------
    soil_name : str
        The soil.
    from_on : date
        First day of the season.
    this_year : FitYear
        By member.
    past_years : sequence of FitYear
        One member each.

    Returns
    -------
    tuple of FitDays
        Weeks from Monday; the first and the last hold only days of the season.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    A season from a Wednesday: five days of its first week, all fit; the year before two were.

    >>> now = FitYear(np.ones((3, 12), bool))
    >>> before = np.zeros((1, 12), bool)
    >>> before[0, :2] = True
    >>> weeks = fit_weeks("silt", date(2013, 5, 8), now, [FitYear(before)])
    >>> [(w.week_on.isoformat(), w.days.mid, w.past_d.mid) for w in weeks]
    [('2013-05-06', 5.0, 2.0), ('2013-05-13', 7.0, 0.0)]
    """
    n_days = this_year.is_fit.shape[1]
    week_of = [_monday(from_on + timedelta(days=i)) for i in range(n_days)]
    found = []
    for week in sorted(set(week_of)):
        inside = np.array([w == week for w in week_of])
        here = this_year.is_fit[:, inside].sum(axis=1).astype(np.float64)
        past = np.array([float(y.is_fit[:, inside].sum(axis=1).mean()) for y in past_years])
        found.append(
            FitDays(
                soil_name,
                week,
                _range(here),
                Range(float(past.min()), float(np.median(past)), float(past.max()))
                if past.size
                else None,
                int(past.size),
            )
        )
    return tuple(found)


def strictest(can_work: Mapping[str, BoolArray]) -> BoolArray:
    """Of several tools, the hours of the one that can work in the fewest.

    Parameters
    ----------
    can_work : mapping
        By tool, (n_members, n_hours).

    Returns
    -------
    array of bool
        As the list has it where a bed has no line.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> strictest({"a": np.array([[True, True]]), "b": np.array([[False, True]])}).tolist()
    [[False, True]]
    """
    name = min(sorted(can_work), key=lambda key: int(can_work[key].sum()))
    return can_work[name]


def _monday(on: date) -> date:
    return on - timedelta(days=on.weekday())


def _range(values: FloatArray) -> Range:
    return Range(*(float(q) for q in weighted_quantiles(values, np.ones(values.size))))
