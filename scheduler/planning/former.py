"""What is kept of looks and squeeze tests that the list no longer goes back to.

Time is cut into blocks of thirty days from 1 January on, so that what a block taught is worked out
once and stays. The evidence of a block counts for the weeds and the soils of later months, and less
for those of the next year; what is older counts no more. A year of growing is that of the calendar
in the north, in the south it begins with July.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from scheduler.planning.ensemble import ShiftPrior
from scheduler.planning.looks import Evidence
from scheduler.planning.squeeze import AS_DRAWN, SHIFT_SD_M3M3, Handful, Squeezed

BLOCK_D = 30
BLOCKS_A_YEAR = 12  # the last runs to 31 December
YEARS_BACK = 1  # beside this one
_SOUTH_ENDS_MONTH = 6  # the last of a year of growing there
LOOKS_KEPT_FRAC = 0.5  # of the word of looks, in later months: by then they have lost the rest
SOIL_KEPT_FRAC = 0.5  # of what squeeze tests taught, in later months; the same again a year on


@dataclass(frozen=True)
class Block:
    """Days of one year: the first, and the first after them."""

    starts_on: date
    ends_on: date

    @property
    def middle_on(self) -> date:
        """A day in the midst, for its month."""
        return self.starts_on + (self.ends_on - self.starts_on) // 2


@dataclass(frozen=True)
class SoilEvidence:
    """How much wetter than drawn a soil can be worked, as the squeeze tests of a block said alone.

    `sd_m3m3` is infinite where they said nothing.
    """

    soil: str
    mean_m3m3: float
    sd_m3m3: float
    years: int = 0


def block_of(day: date) -> Block:
    """The block that a day lies in.

    Parameters
    ----------
    day : date
        Any day.

    Returns
    -------
    Block
        Thirty days; the last of a year has 35 or 36.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> block = block_of(date(2013, 4, 20))
    >>> block.starts_on.isoformat(), block.ends_on.isoformat(), block.middle_on.isoformat()
    ('2013-04-01', '2013-05-01', '2013-04-16')
    >>> block_of(date(2013, 12, 31)).starts_on.isoformat()
    '2013-11-27'
    """
    first = date(day.year, 1, 1)
    number = min((day - first).days // BLOCK_D, BLOCKS_A_YEAR - 1)
    ends = date(day.year + 1, 1, 1)
    if number < BLOCKS_A_YEAR - 1:
        ends = first + timedelta(days=(number + 1) * BLOCK_D)
    return Block(first + timedelta(days=number * BLOCK_D), ends)


def cut_after(day: date) -> date:
    """The first day of the block after the one a day lies in.

    Parameters
    ----------
    day : date
        The day of the oldest hour that is followed.

    Returns
    -------
    date
        Looks from then on are learned from one by one, older ones by their block.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> cut_after(date(2013, 4, 1)).isoformat(), cut_after(date(2013, 12, 30)).isoformat()
    ('2013-05-01', '2014-01-01')
    """
    return block_of(day).ends_on


def growing_year(day: date, latitude_deg: float) -> int:
    """The year of growing that a day lies in, by the calendar year that it ends in.

    Parameters
    ----------
    day : date
        Any day.
    latitude_deg : float
        North positive.

    Returns
    -------
    int
        In the south July begins the next.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> spring, summer = date(2012, 10, 16), date(2013, 1, 16)
    >>> [growing_year(day, -38.0) for day in (spring, summer)]
    [2013, 2013]
    >>> [growing_year(day, 42.0) for day in (spring, summer)]
    [2012, 2013]
    """
    return day.year + int(latitude_deg < 0.0 and day.month > _SOUTH_ENDS_MONTH)


def blocks_of(
    days: Sequence[date], before: date, year: int, latitude_deg: float
) -> tuple[Block, ...]:
    """The blocks that some days lie in, as far back as they count.

    Parameters
    ----------
    days : sequence of date
        Local days of entries.
    before : date
        A block that has not ended by then is left out.
    year : int
        The growing year of now.
    latitude_deg : float
        North positive.

    Returns
    -------
    tuple of Block
        Each once, in order, of this growing year and the one before it.

    Notes
    -----
    Definition of this project. No range stated.

    Examples
    --------
    >>> days = [date(2013, 4, 20), date(2013, 4, 2), date(2011, 4, 2), date(2013, 5, 9)]
    >>> [block.starts_on.isoformat() for block in blocks_of(days, date(2013, 5, 1), 2013, 42.0)]
    ['2013-04-01']
    """
    found = {block_of(day) for day in days}

    def counts(block: Block) -> bool:
        of = growing_year(block.middle_on, latitude_deg)
        return block.ends_on <= before and year - YEARS_BACK <= of <= year

    return tuple(sorted(filter(counts, found), key=lambda b: b.starts_on))


def of_beds(evidence: Sequence[Evidence]) -> tuple[Evidence, ...]:
    """Evidence by planting, as its block told it, as that of its beds in later months.

    Parameters
    ----------
    evidence : sequence of Evidence
        One a planting with looks.

    Returns
    -------
    tuple of Evidence
        What says anything; parts of one bed, that may share their looks, share one word.

    Notes
    -----
    Looks go on losing their word from the end of their block until it is counted as one, so that
    they say no more then than one by one the day before. Definition of this project. No range
    stated.

    Examples
    --------
    >>> half = [Evidence("A1", "loam", np.ones(5), np.full(5, 4.0))] * 2
    >>> [one.precision.tolist() for one in of_beds(half)]
    [[1.0, 1.0, 1.0, 1.0, 1.0], [1.0, 1.0, 1.0, 1.0, 1.0]]
    """
    told = [one for one in evidence if one.precision.any()]
    n = {one.bed: sum(other.bed == one.bed for other in told) for one in told}
    return tuple(
        replace(one, precision=LOOKS_KEPT_FRAC * one.precision / n[one.bed]) for one in told
    )


def soil_evidence(soil: str, handfuls: Sequence[Handful], found: Squeezed) -> SoilEvidence:
    """What the squeeze tests of a block said of a soil, without what was known before.

    Parameters
    ----------
    soil : str
        Its name.
    handfuls : sequence of Handful
        The tests.
    found : Squeezed
        What they came to.

    Returns
    -------
    SoilEvidence
        Mean and spread of how much wetter it can be worked.

    Notes
    -----
    Members differ in their own threshold and water, so weighing them moves the soil as well as
    shifting them does: what is kept is both, as water above the threshold at the hours of the
    tests. What the members and the shift left open before the tests is taken out of the precision.
    Definition of this project. No range stated. Worked: tests/planning/test_former.py.
    """
    kept = [h for i, h in enumerate(handfuls) if i not in found.doubted]
    if not kept:
        return SoilEvidence(soil, 0.0, float("inf"))
    excess = np.mean([h.excess_m3m3 for h in kept], axis=0)
    before = SHIFT_SD_M3M3**2 + float(excess.var())
    wetter = found.shift_m3m3 - (excess - excess.mean())
    mean = float(found.weights @ wetter)
    variance = float(found.weights @ (found.shift_sd_m3m3**2 + (wetter - mean) ** 2))
    precision = 1.0 / variance - 1.0 / before
    if precision <= 0.0:
        return SoilEvidence(soil, 0.0, float("inf"))
    return SoilEvidence(soil, mean / variance / precision, float(precision**-0.5))


def shift_prior(evidence: Sequence[SoilEvidence]) -> ShiftPrior:
    """How much wetter than drawn a soil is thought to be workable before this season's tests.

    Parameters
    ----------
    evidence : sequence of SoilEvidence
        Of one soil, by block.

    Returns
    -------
    ShiftPrior
        Mean and spread; `AS_DRAWN` without evidence.

    Notes
    -----
    Normal: a block is known to lie off the soil of now by a variance that leaves `SOIL_KEPT_FRAC`
    of what it said where it was sure, and that share again for each year. Assumptions of this
    project. No range stated.

    Examples
    --------
    >>> sure = SoilEvidence("loam", 0.02, 0.0)
    >>> [round(shift_prior([replace(sure, years=y)]).mean_m3m3, 4) for y in (0, 1)]
    [0.01, 0.005]
    >>> shift_prior([]) == AS_DRAWN
    True
    """
    precision, weighed = 1.0 / SHIFT_SD_M3M3**2, 0.0
    for one in evidence:
        apart = SHIFT_SD_M3M3**2 * (SOIL_KEPT_FRAC ** -(one.years + 1.0) - 1.0)
        part = 1.0 / (one.sd_m3m3**2 + apart)
        precision += part
        weighed += part * one.mean_m3m3
    if weighed == 0.0:
        return AS_DRAWN
    return ShiftPrior(weighed / precision, float(precision**-0.5))
