"""The columns of a farm, and its plantings before their weeds are followed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scheduler.planning.ensemble import Ensemble, run_ensemble, soil_members
from scheduler.planning.offers import Kit
from scheduler.planning.outlook import GuildView, Outlook, planting_outlook
from scheduler.planning.passes import PassRules, PassWeather, pass_weather
from scheduler.planning.plantings import disturbances
from scheduler.planning.traits import ToolTraits
from scheduler.planning.weeds import WeedHistory
from scheduler.ports import Progress
from scheduler.records import Farm, Planting
from scheduler.service.basis import MARKED_DAYS, READING_DAYS, Basis
from scheduler.service.settings import (
    crop_traits,
    kill_settings,
    kill_table,
    soil_prior,
    spread,
    weed_heat,
    weed_settings,
)
from scheduler.service.weeds_now import history_of


def kit_of(farm: Farm, traits: Mapping[str, ToolTraits]) -> Kit:
    """The tools of a farm and all that decides over them."""
    return Kit(
        PassRules({tool.name: tool for tool in farm.tools}, traits, kill_settings(), farm.seed),
        kill_table(farm),
        crop_traits(),
        weed_settings(),
    )


@dataclass(frozen=True)
class Groundwork:
    """One planting before its weeds are followed."""

    outlook: Outlook
    weather: PassWeather
    history: WeedHistory


def ground_before(
    planting: Planting,
    ensemble: Ensemble,
    basis: Basis,
    views: Sequence[GuildView],
    kit: Kit,
) -> Groundwork:
    """Soil, what passes met, and what was opened and killed."""
    surface = basis.surfaces[planting.key][1]
    outlook = planting_outlook(
        planting,
        ensemble,
        disturbances(planting, (*basis.events, *basis.acts)),
        views,
        kit.crops,
        kit.rules.traits,
        surface,
    )
    weather = pass_weather(outlook, ensemble, surface, kit.rules.settings)
    history = history_of(
        outlook, weather, ensemble, basis.done, basis.planned, kit, basis.farm.place.latitude_deg
    )
    return Groundwork(outlook, weather, history)


def run_of(basis: Basis, progress: Progress | None) -> Ensemble:
    """All columns from the first hour on, marked day by day around now."""
    farm, sky = basis.farm, basis.sky
    used = {bed.soil for bed in farm.beds}
    members = {
        name: soil_members(soil_prior(soil), spread(), farm.seed, basis.n_members)
        for name, soil in farm.soils.items()
        if name in used
    }
    marks = [sky.now_hour + 24 * day for day in MARKED_DAYS]
    return run_ensemble(
        sky,
        members,
        basis.surfaces,
        weed_heat(),
        stored_from_hour=basis.stored,
        readings_from_hour=max(0, sky.now_hour - 24 * READING_DAYS),
        progress=progress,
        mark_hours=[hour for hour in marks if 0 < hour < sky.n_hours],
    )
