"""A made season for tests of the player: tables as the service has them, invented weather."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

import numpy as np

from scheduler.models.soil_column import ColumnForcing
from scheduler.planning.offers import Kit
from scheduler.planning.passes import PassRules
from scheduler.planning.season.shapes import SeasonWeather
from scheduler.planning.season.world import SeasonTables
from scheduler.planning.traits import CropTraits
from scheduler.records import Farm
from scheduler.service import settings
from tests.planning.made import view

START = datetime(2013, 3, 1, tzinfo=UTC)
CROPS = ("carrot", "onion", "beet", "snap bean", "head lettuce", "kale")


def crops() -> dict[str, CropTraits]:
    """The crops of the made garden, as tabled."""
    known = settings.crop_traits()
    return {name: known[name] for name in CROPS}


def tables(farm: Farm) -> SeasonTables:
    """What the tables say for a farm."""
    tools = {tool.name: tool for tool in farm.tools}
    rules = PassRules(tools, settings.tool_traits(farm), settings.kill_settings(), farm.seed)
    return SeasonTables(
        Kit(rules, settings.kill_table(farm), settings.crop_traits(), settings.weed_settings()),
        settings.hand_rates(),
        settings.value_settings(),
        {name: settings.soil_prior(soil) for name, soil in farm.soils.items()},
        settings.spread(),
        settings.weed_heat(),
        (view(),),
    )


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
