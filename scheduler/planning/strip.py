"""The hours around a morning: rain, the soils and the grower's hours, as the mail draws them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from scheduler.planning.day import Day
from scheduler.planning.outlook import Outlook
from scheduler.planning.readings import ruling_work
from scheduler.records import DayStrip, FloatArray

_PAST_H = 24
_AHEAD_H = 48
_RARE_FRAC = 0.1  # of the members, whose rain is the high one


def day_strip(day: Day, outlooks: Sequence[Outlook]) -> DayStrip:
    """The hours around a morning: the day before it, and two days from it on.

    Parameters
    ----------
    day : Day
        The clock, with the weather of the members.
    outlooks : sequence of Outlook
        Every planting of the farm.

    Returns
    -------
    DayStrip
        Cut where the clock or what is stored of the soil begins or ends. Of a soil with no
        planting nothing is told.

    Notes
    -----
    A soil is as its beds are: the relative water of 0-25 mm is the mean of the members of its
    middle planting, hour by hour; the chance is the one that half of its plantings reach, with
    the tool that rules where a bed has no line. Both know of no pass still to come. Definition of
    this project. No range stated. Worked: tests/planning/test_strip.py.
    """
    sky = day.sky
    first = max(day.stored, sky.now_hour - _PAST_H, 0)
    last = min(sky.n_hours, sky.now_hour + _AHEAD_H)
    rain = sky.forcing.rain_mm[:, first:last]
    hours = slice(first - day.stored, last - day.stored)
    water: dict[str, list[FloatArray]] = defaultdict(list)
    fit: dict[str, list[FloatArray]] = defaultdict(list)
    for outlook in outlooks:
        soil = outlook.planting.bed.soil
        shares = outlook.weights / outlook.weights.sum()
        water[soil].append(shares @ outlook.surface_rel_water[:, hours])
        fit[soil].append(ruling_work(outlook, day).chance_frac[hours])
    return DayStrip(
        start_at=sky.at(first),
        n_past=sky.now_hour - first,
        rain_mm=rain.mean(axis=0),
        rain_high_mm=np.quantile(rain, 1.0 - _RARE_FRAC, axis=0),
        surface_rel_water={soil: np.median(water[soil], axis=0) for soil in sorted(water)},
        workable_frac={soil: _reached_by_half(fit[soil]) for soil in sorted(fit)},
        is_open=day.is_open[first:last].copy(),
    )


def _reached_by_half(chances: Sequence[FloatArray]) -> FloatArray:
    """The chance that at least half of the plantings have, hour by hour."""
    ordered = np.sort(np.stack(chances), axis=0)[::-1]
    reached: FloatArray = ordered[(len(chances) + 1) // 2 - 1]
    return reached
