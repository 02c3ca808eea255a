"""A made season for tests of the player: tables as the service has them, invented weather."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from scheduler.models.soil_column import ColumnForcing
from scheduler.planning.season.shapes import Garden, SeasonPlanting, SeasonWeather, Truth
from scheduler.planning.season.truth import GATE, TruthSeason, draw_truth, truth_season
from scheduler.planning.season.world import SeasonTables, World, build_world, made_garden
from scheduler.planning.traits import CropTraits
from scheduler.records import Bed, Farm, Planting
from scheduler.service import settings
from scheduler.service.garden import season_tables
from tests.planning.made import view

START = datetime(2013, 3, 1, tzinfo=UTC)
CROPS = ("carrot", "onion", "beet", "snap bean", "head lettuce", "kale")


def crops() -> dict[str, CropTraits]:
    """The crops of the made garden, as tabled."""
    known = settings.crop_traits()
    return {name: known[name] for name in CROPS}


def tables(farm: Farm) -> SeasonTables:
    """What the tables say for a farm, with a made guild for the crop's clock."""
    return replace(season_tables(farm), views=(view(),))


def weather(
    n_days: int = 245, rain: Iterable[tuple[float, float]] = (), mean_c: float = 16.0
) -> SeasonWeather:
    """Days of one kind from 1 March; `rain` gives a day and millimetres, fallen in four hours."""
    hour = np.arange(24 * n_days)
    clock = (hour - 5.0) % 24.0  # local standard time
    light = np.maximum(0.0, np.sin((clock - 5.0) / 14.0 * np.pi))
    rain_mm = np.zeros(hour.size)
    for day, mm in rain:
        first = int(24 * day) + 22
        rain_mm[first : first + 4] += mm / 4.0
    same = np.ones(hour.size)
    forcing = ColumnForcing(
        *(
            values[None]
            for values in (
                rain_mm,
                0.4 * light,
                mean_c + 6.0 * np.sin((clock - 9.0) / 12.0 * np.pi),
                0.6 * same,
                2.0 * same,
                2.6 * light,
                0.8 * same,
            )
        )
    )
    return SeasonWeather("made", START, forcing)


def moment(day: float) -> datetime:
    """A moment on the clock of the made weather."""
    return START + timedelta(days=day)


BEDS = {
    name: Bed(name, 18.0, 0.75, soil)
    for name, soil in (("K1", "middle"), ("C1", "sandy"), ("X1", "middle"))
}


def grown(bed: str, crop: str, prepared_d: float, set_d: float, cleared_d: float) -> SeasonPlanting:
    """A planting of a bed by days of the clock, at 6:00, 17:00 and 6:00 of local summer time."""
    traits = crops()[crop]
    is_sown = crop in ("carrot", "onion", "beet", "snap bean")
    planting = Planting(
        BEDS[bed], None, 0.0, 18.0, crop, is_sown, moment(set_d + 21.0 / 24.0), traits.n_rows,
        traits.row_spacing_mm, traits.sowing_depth_mm if is_sown else None,
    )  # fmt: skip
    return SeasonPlanting(planting, moment(prepared_d + 10 / 24), moment(cleared_d + 10 / 24))


KALE = grown("K1", "kale", 40.0, 58.0, 110.0)
CARROT = grown("C1", "carrot", 40.0, 58.0, 130.0)
LETTUCE = grown("X1", "head lettuce", 45.0, 60.0, 100.0)
RAIN = ((50.0, 20.0), (66.0, 15.0), (75.0, 10.0), (84.0, 25.0), (97.0, 12.0), (108.0, 18.0))


def garden(*plantings: SeasonPlanting) -> Garden:
    """The made garden's farm with other beds and plantings."""
    plain = made_garden(crops())
    beds = tuple(dict.fromkeys(p.planting.bed for p in plantings))
    return Garden(replace(plain.farm, beds=beds, plans=()), plantings)


@lru_cache(maxsize=8)
def world(*plantings: SeasonPlanting, rain: tuple[tuple[float, float], ...] = RAIN) -> World:
    """A season of 140 days; by default kale and carrot."""
    grows = garden(*(plantings or (KALE, CARROT)))
    return build_world(grows, weather(140, rain), tables(grows.farm))


@lru_cache(maxsize=16)
def truth(name: str = "a", outside: str = "", build: str = GATE) -> Truth:
    """A truth for the two beds."""
    return draw_truth(name, 3, world(), outside, build)


@lru_cache(maxsize=16)
def season(name: str = "a", outside: str = "", build: str = GATE) -> TruthSeason:
    """A truth's columns in the world of two beds."""
    return truth_season(world(), truth(name, outside, build))
