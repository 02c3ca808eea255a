"""Stale beds, last calls and the flame's indicator against printed figures and common practice.

Every row says what was printed, where, and whether it was seen. Soil temperatures stand in for the
seasons of the sources ("warm", "early spring"), which print none: that choice is ours. Printed
weeks are whole weeks, so half a week is allowed on either side.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest

from scheduler.models.crops import emergence_heat_cd, emergence_hour, emergence_need_cd
from scheduler.models.weeds.degree_days import flush_dates, flush_shares, germination_heat_c
from scheduler.planning import special
from scheduler.planning.stale_bed import Seedbed, StaleBed, stale_bed_plan
from scheduler.records import Plan, Tool
from scheduler.service.settings import crop_traits, kill_table, tool_traits, weed_settings
from tests.planning import made

HALF_WEEK_D = 3.5
SOWN = date(2013, 8, 10)  # far beyond sight: the mean of the last days is carried on
FLAME = Tool("torch", "flame", 0.0, 0.6, width_m=0.8)
STIRRUP = Tool("stirrup", "stirrup hoe", 15.0, 0.5, width_m=0.3)


def stale(
    soil_c: float,
    guild: str,
    sown: date = SOWN,
    opened_hour: int | None = None,
    tool: Tool = STIRRUP,
) -> StaleBed:
    """A stale bed in moist soil of one temperature."""
    lead = made.view(guild)
    pace = max(soil_c - lead.guild.base_c, 0.0) / 24.0
    heat = np.zeros((made.N_MEMBERS, made.N_HOURS))
    if opened_hour is not None:
        heat[:, opened_hour:] = pace * np.arange(1, made.N_HOURS - opened_hour + 1)
    clock = replace(made.flush(opened_hour), lead=lead, opened_by="preparation", heat_cd=heat)
    same = np.full((made.N_MEMBERS, made.N_HOURS), soil_c)
    farm = replace(made.farm(tools=[tool]), flame_rules_read=True)
    found = stale_bed_plan(
        Plan("A1", "carrot", sown),
        made.day(farm),
        made.outlook([], of=clock),
        Seedbed(same, np.full_like(same, 20.0)),
        tool_traits(),
        kill_table(),
        weed_settings(),
    )
    assert found is not None
    return found


# Prepare 2-3 weeks ahead in warm, 4-6 weeks in cold soil: a growers' research note of New Zealand
# on false and stale seedbeds (note 104 of its foundation for arable research, seen); the timing is
# common practice.
@pytest.mark.parametrize(
    ("guild", "soil_c", "least_weeks", "most_weeks"),
    [
        ("spring", 16.0, 2, 3),
        ("spring", 18.0, 2, 3),
        ("spring", 20.0, 2, 3),
        ("cool", 16.0, 2, 3),
        ("cool", 18.0, 2, 3),
        ("warm", 18.0, 2, 3),
        ("warm", 20.0, 2, 3),
        ("cool", 8.0, 4, 6),
        ("cool", 10.0, 4, 6),
        ("spring", 9.0, 4, 6),
        ("spring", 10.0, 4, 6),
    ],
)
def test_lead_time(guild: str, soil_c: float, least_weeks: int, most_weeks: int) -> None:
    found = stale(soil_c, guild)
    assert found.prepare_by is not None
    lead_d = (SOWN - found.prepare_by).days
    assert 7 * least_weeks - HALF_WEEK_D <= lead_d <= 7 * most_weeks + HALF_WEEK_D


def days_up(guild: str, soil_c: np.ndarray, share: int = 90) -> float:
    """Days until so much of a flush that opens at once is up, moist soil, hourly temperatures."""
    view = made.view(guild)
    cumulative = np.cumsum(germination_heat_c(soil_c, view.guild) / 24.0)[None]
    heat = getattr(view.milestones, f"emerged{share}_cd")
    dates = flush_dates(cumulative, [0], [heat])
    return (float(dates.reached_hour[0, 0]) + 1.0) / 24.0


# 90 % of a flush within 10 weeks of a cultivation in early spring, within 3 weeks in summer
# (`roberts_potter_1980`, abstract seen, figures for England). A tenth of "within" would be no
# agreement either: not under a third of it.
@pytest.mark.parametrize("guild", ["cool", "spring"])
def test_flush_of_early_spring(guild: str) -> None:
    warming_c = np.linspace(6.0, 14.0, 24 * 84)  # twelve weeks from mid March
    assert 70.0 / 3.0 < days_up(guild, warming_c) <= 70.0


@pytest.mark.parametrize("guild", ["cool", "spring", "warm"])
def test_flush_of_summer(guild: str) -> None:
    assert 21.0 / 3.0 < days_up(guild, np.full(24 * 60, 17.0)) <= 21.0


# Shallow tillage with rake or hoe about 7 to 10 days after the rain or irrigation that starts a
# flush (university extension page of California on stale seedbeds, seen).
@pytest.mark.parametrize(
    ("guild", "soil_c"),
    [
        ("spring", 16.0),
        ("spring", 18.0),
        ("cool", 18.0),
        ("cool", 20.0),
        ("warm", 18.0),
        ("warm", 20.0),
    ],
)
def test_first_kill(guild: str, soil_c: float) -> None:
    opened = made.NOW_HOUR - 24
    found = stale(soil_c, guild, date(2013, 6, 12), opened)
    assert found.already_prepared_at is not None
    days = (found.kills[0].best_at - found.already_prepared_at).total_seconds() / 86400.0
    assert 6.5 <= days <= 10.5  # printed in whole days


# Repeat the shallow cultivation of a false seedbed at about weekly intervals (Roberts and Hewson
# 1971 as cited by `liebman_2001`, the citing text seen).
@pytest.mark.parametrize("soil_c", [18.0, 20.0, 22.0])
def test_spacing_of_kills(soil_c: float) -> None:
    found = stale(soil_c, "spring", date(2013, 6, 12), made.NOW_HOUR - 24)
    best = [kill.best_at for kill in found.kills[:3]]
    assert len(best) == 3
    spacing_d = [(b - a).total_seconds() / 86400.0 for a, b in pairwise(best)]
    assert np.all(np.abs(np.array(spacing_d) - 7.0) <= 2.0)


# Irrigated lettuce beds: tilled 7 days after the water (under 50 degree-days above 10 C) was too
# early, after 14 (over 120) many had come up (`shem_tov_2006`, abstract seen): 17.1 and 18.6 C.
@pytest.mark.parametrize("guild", ["cool", "warm"])
def test_seven_days_are_too_early(guild: str) -> None:
    found = stale(17.1, guild, date(2013, 6, 12), made.NOW_HOUR - 24)
    assert found.already_prepared_at is not None
    days = (found.kills[0].from_at - found.already_prepared_at).total_seconds() / 86400.0
    assert days > 7.0


@pytest.mark.parametrize("guild", ["cool", "spring", "warm"])
def test_many_are_up_after_fourteen(guild: str) -> None:
    of = made.view(guild).guild
    heat = 14.0 * float(germination_heat_c(18.6, of))
    assert float(flush_shares(heat, of).emerged_frac) >= 0.8


# Preplant water and shallow tillage: up to 77 % fewer weeds in the crop (`shem_tov_2006`, abstract
# seen). Ours counts what is up or to come against a bed prepared on the day.
@pytest.mark.parametrize("guild", ["cool", "spring", "warm"])
def test_hoed_stale_bed_leaves_less_but_not_under_the_best_printed(guild: str) -> None:
    found = stale(20.0, guild, date(2013, 5, 29), made.NOW_HOUR - 24)
    assert found.n_flushes == 2
    assert found.left_frac is not None
    assert 1.0 - 0.77 <= found.left_frac.mid <= 0.75


# Flamed stale bed: 50 to 90 % less weed pressure, one delayed flaming as good as several (report
# of a trial of 1998 in the state of New York, seen).
@pytest.mark.parametrize("guild", ["cool", "spring", "warm"])
def test_flamed_stale_bed(guild: str) -> None:
    # sown so that the one flaming, as late as weeds are still small, falls on the eve
    sown = {"cool": date(2013, 5, 21), "spring": date(2013, 5, 20), "warm": date(2013, 5, 21)}
    found = stale(20.0, guild, sown[guild], made.NOW_HOUR - 24, FLAME)
    assert found.tool == "torch"
    assert found.n_flushes == 1
    assert found.left_frac is not None
    assert 0.10 <= found.left_frac.mid <= 0.50


# No deeper than 2 cm: the New Zealand note (seen).
@pytest.mark.parametrize(("set_mm", "found_mm"), [(40.0, 20.0), (25.0, 20.0), (10.0, 10.0)])
def test_shallow(set_mm: float, found_mm: float) -> None:
    tool = replace(STIRRUP, depth_mm=set_mm)
    assert stale(18.0, "spring", date(2013, 6, 12), made.NOW_HOUR, tool).depth_mm == found_mm


def days_to_emergence(crop: str, soil_c: float) -> float:
    """Days from sowing at 13 mm in moist soil of one temperature, by the crop's first table."""
    traits = crop_traits()[crop]
    base, need, best = traits.emergence_base_c, traits.emergence_cd, traits.fastest_c
    assert base is not None
    assert need is not None
    assert best is not None
    heat = emergence_heat_cd(np.full((1, 24 * 90), soil_c), base, best)
    return (float(emergence_hour(heat, emergence_need_cd(need, 13.0), 0)[0]) + 1.0) / 24.0


# Days at 10, 15, 20, 25 C: beet 16.7, 9.7, 6.2, 5.0; carrot 17.3, 10.1, 6.9, 6.2
# (`harrington_minges_1954` to a decimal, seen): beets lead by 0.4 to 1.2 days. The heat sums are
# straight lines through the trial and miss a lead by up to half a day.
@pytest.mark.parametrize(
    ("soil_c", "beet_d", "carrot_d"),
    [(10.0, 16.7, 17.3), (15.0, 9.7, 10.1), (20.0, 6.2, 6.9), (25.0, 5.0, 6.2)],
)
def test_beets_come_up_before_carrots(soil_c: float, beet_d: float, carrot_d: float) -> None:
    lead_d = days_to_emergence("carrot", soil_c) - days_to_emergence("beet", soil_c)
    assert lead_d > 0.0
    assert abs(lead_d - (carrot_d - beet_d)) <= 0.7


# The same trial: onion 13, 7, 5, 4 days at 10 to 25 C against beet 17, 10, 6, 5 (seen): no
# indicator for onions. Parsnip 27, 19, 14, 15 and parsley 29, 17, 14, 13: one for these.
@pytest.mark.parametrize("soil_c", [10.0, 15.0, 20.0])
def test_beets_are_named_only_where_they_come_first(soil_c: float) -> None:
    beet_d = days_to_emergence("beet", soil_c)
    assert days_to_emergence("onion", soil_c) < beet_d
    assert "onion" not in special._AFTER_BEETS
    for crop in special._AFTER_BEETS:
        assert days_to_emergence(crop, soil_c) > beet_d


# Chickweed: five to seven weeks from sprouting to seed (newspaper column of 2018, seen); groundsel:
# seed five to six weeks after germination (a seed merchant's page, seen). Both print no
# temperature; 15 to 17 C of air is ours.
@pytest.mark.parametrize(
    ("air_c", "least_weeks", "most_weeks"), [(15.0, 5, 7), (16.0, 5, 7), (17.0, 5, 6)]
)
def test_weeks_to_seed(air_c: float, least_weeks: int, most_weeks: int) -> None:
    air = np.full((made.N_MEMBERS, 24 * 90), air_c)
    hours = special._reached(air, special._SEED_BASE_C, special._SEED_CD, 0, made.day(now_hour=24))
    weeks = float(hours[0]) / 24.0 / 7.0
    assert least_weeks <= weeks <= most_weeks
