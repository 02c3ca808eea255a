"""Crust breaking, last call before seed, flame: invented, but for runs of the soil column."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose

from scheduler.models.soil_column import (
    LAYERS_MM,
    ColumnForcing,
    ColumnParameters,
    bare_surface,
    initial_state,
    run_columns,
)
from scheduler.models.weeds import cohorts
from scheduler.models.weeds.cohorts import STAGES, Openings, Passes
from scheduler.models.weeds.degree_days import Guild
from scheduler.planning import special
from scheduler.planning.crop_stage import CropHours
from scheduler.planning.day import Day
from scheduler.planning.gates import Gate
from scheduler.planning.outlook import Outlook, WorkOutlook
from scheduler.planning.special import (
    CrustBreak,
    crust_break,
    crust_break_words,
    flame_window,
    flame_words,
    seed_set,
)
from scheduler.planning.weeds import WeedHistory, WeedOutlook
from scheduler.records import Tool
from scheduler.service.settings import (
    _PLAIN_GUILDS,
    crop_traits,
    guilds,
    tool_traits,
    weed_settings,
)
from tests.planning import made

NOW = made.NOW_HOUR
TINES = made.TINES


def emergence(up: float, blind: float = np.nan, flame: float = np.nan) -> CropHours:
    """Hours that all members share."""
    same = np.ones(made.N_MEMBERS)
    return CropHours(same * up, same * up, same * blind, same * flame)


# ------------------------------------------------------------------------ the crust


def crusted(hard_from: int, n_hard: int = made.N_MEMBERS, fit: bool = True) -> Outlook:
    """Carrots under a crust that is hard from an hour on, in some members."""
    index = np.zeros((made.N_MEMBERS, made.N_HOURS))
    index[:n_hard, hard_from:] = 0.7
    spans = [(0, made.N_HOURS)] if fit else []
    outlook = made.outlook(spans, grown=made.planting("carrot", 100.0))
    return replace(outlook, crust_index=index)


def gate(closes: float | None = None, because: str = "") -> Gate:
    return Gate(because, "", float(NOW), closes, 0.0, 18.0)


def broken(
    outlook: Outlook, hours: CropHours | None, gates: Mapping[str, Gate], at: Day | None = None
) -> CrustBreak | None:
    return crust_break(outlook, at or made.day(), hours, (TINES, made.SWEEPS), tool_traits(), gates)


def test_a_crust_before_the_crop_is_up_is_broken_in_time() -> None:
    due = broken(crusted(NOW + 20), emergence(NOW + 60.0), {"tines": gate(NOW + 30.0)})
    assert due is not None
    assert not due.is_present
    assert due.hard_from_hour == NOW + 20
    assert due.break_by_hour == NOW + 60
    assert due.tool == "tines"
    assert due.depth_mm == 15.0  # never deeper, whatever the tool is set to
    assert due.start_hour == NOW + 2  # 07:00, the grower's first hour
    assert due.tool_until_hour == NOW + 30


@pytest.mark.parametrize(
    ("hard_from", "n_hard", "up"),
    [
        (NOW + 70, made.N_MEMBERS, NOW + 60.0),  # hard after it is up
        (NOW + 20, made.N_MEMBERS // 2 - 1, NOW + 60.0),  # less than an even chance
        (NOW + 20, made.N_MEMBERS, float(NOW)),  # up by now
    ],
)
def test_no_breaking_otherwise(hard_from: int, n_hard: int, up: float) -> None:
    assert broken(crusted(hard_from, n_hard), emergence(up), {"tines": gate()}) is None


def test_no_breaking_without_a_sown_crop_below_ground() -> None:
    assert broken(crusted(NOW + 20), None, {"tines": gate()}) is None
    empty = replace(crusted(NOW + 20), planting=made.planting())
    assert broken(empty, emergence(NOW + 60.0), {"tines": gate()}) is None


@pytest.mark.parametrize(
    ("gates", "fit"),
    [
        ({"tines": gate(because="crop_tender")}, True),  # in the crook
        ({}, True),
        ({"tines": gate(NOW + 1.0)}, True),  # closes before the grower is out
        ({"tines": gate(NOW + 40.0)}, False),  # soil not fit: a hard crust lifts tines out
        ({"sweeps": gate()}, True),  # never a sweep over the row
    ],
)
def test_without_a_tool_it_is_a_rake_or_a_sprinkler(gates: dict[str, Gate], fit: bool) -> None:
    due = broken(crusted(NOW + 20, fit=fit), emergence(NOW + 60.0), gates)
    assert due is not None
    assert due.tool is None
    words = crust_break_words(due, made.day())
    assert "rake lightly by hand, or sprinkle 3-5 mm" in words[1]


def test_a_crust_that_is_there_is_called_so() -> None:
    due = broken(crusted(NOW - 30), emergence(NOW + 60.0), {"tines": gate(NOW + 30.0)})
    assert due is not None
    assert due.is_present
    assert due.chance == 1.0
    assert crust_break_words(due, made.day()) == (
        "hard crust now, over 9 in 10, before the crop is up about 13 May 17:00",
        "break it with tines, 15 mm, from 11 May 07:00 until 12 May 11:00, "
        "or sprinkle 3-5 mm to keep it soft",
        "breaking it keeps a few mm of water, 1-3, not more",
    )


def test_a_later_chance_of_the_soil_moves_the_start() -> None:
    outlook = crusted(NOW + 20)
    fits = np.zeros((made.N_MEMBERS, made.N_HOURS), bool)
    fits[:, NOW + 6 :] = True
    works = {**outlook.works, "tine weeder": WorkOutlook(fits, fits.mean(axis=0))}
    due = broken(replace(outlook, works=works), emergence(NOW + 60.0), {"tines": gate(NOW + 30.0)})
    assert due is not None
    assert due.start_hour == NOW + 6


# saturation, 33 kPa, 1500 kPa [m3/m3], Ks mm/h (Saxton and Rawls 2006, table 3), anchored factor
SOILS = {
    "sandy loam": (0.450, 0.179, 0.081, 50.3, 2.24),
    "loam": (0.460, 0.280, 0.137, 15.5, 0.065),
    "silt loam": (0.479, 0.305, 0.110, 16.1, 0.006),
    "clay loam": (0.477, 0.358, 0.218, 4.32, 0.054),
}


@pytest.mark.parametrize("soil", SOILS)
@pytest.mark.parametrize("broken_day", [3, 5])
def test_water_kept_by_breaking_a_crust_lies_in_the_stated_range(
    soil: str, broken_day: int
) -> None:
    """25 mm of rain, a crust, 4.5 mm/d of demand: the column with and without a pass of 15 mm."""
    sat, t33, t1500, k_sat, factor = SOILS[soil]
    one = np.ones(1)
    b = float(np.log(1500 / 33) / np.log(t33 / t1500))
    p = ColumnParameters(
        sat * one, t33 * one, t1500 * one, b * one, k_sat * one, factor * one,
        10 * one, one, 1.35 * one, 0.2 * one, 150 * one,
    )  # fmt: skip
    n_hours = 24 * 22
    zero = np.zeros((1, n_hours))
    rain = zero.copy()
    rain[0, 24:34] = 2.5
    sun = np.maximum(0.0, np.sin((np.arange(n_hours) % 24 - 6) / 12 * np.pi))[None]
    et0 = sun / sun.sum() * 4.5 * n_hours / 24
    air = ColumnForcing(rain, et0, zero + 16, zero + 0.6, zero + 2, et0 / 2, zero + 0.8)
    pass_hour = 24 * broken_day + 10

    def water_mm(depth_mm: float, days_after: int) -> float:
        loosened = zero.copy()
        loosened[0, pass_hour] = depth_mm
        history = replace(bare_surface(n_hours), loosened_mm=loosened)
        run = run_columns(p, air, history, initial_state(p, t33 / sat, 12.0), with_heat=False)
        return float(run.theta_m3m3[0, pass_hour + 24 * days_after] @ np.array(LAYERS_MM))

    kept = [water_mm(15.0, days) - water_mm(0.0, days) for days in (7, 14)]
    low, _, high = special._KEPT_MM
    assert low <= kept[0] <= kept[1] <= high


# -------------------------------------------------------------------- last call


def history(
    opened: list[float], passes: list[tuple[float, float]], sizes: list[float] | None = None
) -> WeedHistory:
    """Openings of a whole flush, and passes with one kill for every stage and zone."""
    size = np.array(sizes or [1.0] * len(opened))
    kill = np.array([k for _, k in passes])
    return WeedHistory(
        Openings(np.array(opened), np.ones((len(opened), 3, 2)) * size[:, None, None]),
        Passes(
            np.array([h for h, _ in passes]),
            np.ones((len(passes), 1, 2, len(STAGES))) * kill[:, None, None, None],
            np.zeros(len(passes)),
        ),
        ("pass",) * len(opened),
        (made.START,) * len(opened),
        1.0,
    )


def grown(
    at: Day, past: WeedHistory, established: float = 2.0, standing_m2: float = 0.0
) -> WeedOutlook:
    weeds = made.weeds([{"established": established}], at, standing_m2=standing_m2)
    return replace(weeds, history=past)


def long_day(now_hour: int, n_hours: int = 80 * 24, air_c: float = 16.0) -> Day:
    """A clock with a longer record, at one air temperature."""
    short = made.day(now_hour=now_hour)
    zero = np.zeros((made.N_MEMBERS, n_hours))
    forcing = ColumnForcing(zero, zero, zero + air_c, zero + 0.6, zero + 2.0, zero, zero + 0.7)
    sky = replace(short.sky, now_hour=now_hour, forcing=forcing)
    return replace(short, sky=sky, now=made.START + timedelta(hours=now_hour))


def guild_named(name: str) -> Guild:
    return next(guild for guild in guilds() if guild.name == name)


def test_seed_by_hand() -> None:
    """At 16 C spring weeds are a tenth up after 52/11 days; 500 C d above 4 are 41.7 days more."""
    at = long_day(40 * 24)
    up_d = made.view().milestones.emerged10_cd / 11.0
    due = seed_set(grown(at, history([0.0], [])), made.outlook([]), at, weed_settings())
    assert due is not None
    assert not due.is_mat
    start = made.START.date()
    assert due.came_up_on == start + timedelta(days=int(up_d))
    assert due.seed_mid_on == start + timedelta(days=int(up_d + 500 / 12))
    assert due.last_call_on == due.seed_on - timedelta(days=1)
    assert due.is_due
    assert not due.is_past
    assert due.why == (
        "last call before seed: quick spring weeds that came up about 5 May shed seed about 16 Jun"
    )


@pytest.mark.parametrize(("now_d", "is_due", "is_past"), [(30, False, False), (60, True, True)])
def test_due_within_a_week_and_past_after(now_d: int, is_due: bool, is_past: bool) -> None:
    at = long_day(now_d * 24)
    due = seed_set(grown(at, history([0.0], [])), made.outlook([]), at, weed_settings())
    assert due is not None
    assert (due.is_due, due.is_past) == (is_due, is_past)
    assert ("take them out" in due.why) == is_past


def test_warmer_air_ripens_sooner() -> None:
    seeds = []
    for air_c in (12.0, 16.0, 20.0):
        at = long_day(30 * 24, air_c=air_c)
        due = seed_set(grown(at, history([0.0], [])), made.outlook([]), at, weed_settings())
        assert due is not None
        seeds.append(due.seed_mid_on)
    assert seeds == sorted(seeds, reverse=True)


def test_a_pass_that_took_the_oldest_flush_moves_the_call() -> None:
    at = long_day(40 * 24)
    outlook, settings = made.outlook([]), weed_settings()
    clean = seed_set(grown(at, history([0.0, 240.0], [(200.0, 0.99)])), outlook, at, settings)
    poor = seed_set(grown(at, history([0.0, 240.0], [(200.0, 0.5)])), outlook, at, settings)
    assert clean is not None
    assert poor is not None
    assert clean.seed_mid_on == poor.seed_mid_on + timedelta(days=10)


@pytest.mark.parametrize(
    ("name", "words"),
    [("cool", "quick cool-season weeds"), ("warm", "quick warm-season weeds")],
)
def test_the_call_names_the_weeds_that_lead(name: str, words: str) -> None:
    lead = replace(made.view(), guild=guild_named(name), plain_name=_PLAIN_GUILDS[name])
    plain = made.outlook([])
    outlook = replace(plain, flush=replace(plain.flush, lead=lead))
    at = long_day(60 * 24, air_c=20.0)
    due = seed_set(grown(at, history([0.0], [])), outlook, at, weed_settings())
    assert due is not None
    assert words in due.why


def test_stages_begin_where_the_cohorts_have_them() -> None:
    """Counted by the kernel of the cohorts, leaf heat by leaf heat."""
    guild = made.view().guild
    one, three, six = (guild.seed_leaf_cd + n * guild.phyllochron_cd for n in (1.0, 3.0, 6.0))
    for heat_cd in np.arange(0.5, 250.0, 1.0):
        ours = special._stage_at(np.array([0.0, heat_cd]), 0.0, 1.0, guild)
        assert ours == cohorts._stage.py_func(2.0, 1.0, heat_cd, one, three, six)


def test_kill_of_passes_counts_particles_by_their_weight() -> None:
    """One particle in two was killed; where it weighs nearly all, its flush is gone."""
    at = long_day(40 * 24)
    past = history([0.0], [(500.0, 1.0)])
    weeds = grown(at, past)
    n = weeds.weights.size
    kill = np.zeros((1, n, 2, len(STAGES)))
    kill[:, 0] = 1.0
    weeds = replace(weeds, history=replace(past, passes=replace(past.passes, kill_frac=kill)))
    heavy = np.where(np.arange(n) == 0, 0.99, 0.01 / (n - 1))
    calls = [
        seed_set(replace(weeds, weights=w), made.outlook([]), at, weed_settings())
        for w in (np.full(n, 1.0 / n), heavy)
    ]
    assert calls[0] is not None
    assert calls[1] is None


@pytest.mark.parametrize(
    ("past", "established"),
    [
        (history([0.0], []), 0.2),  # next to none stand
        (history([0.0], [(500.0, 1.0)]), 2.0),  # nothing came through
        (history([], []), 2.0),  # nothing was opened
        (history([39.9 * 24], []), 2.0),  # not up yet
        (history([30.0 * 24], []), 2.0),  # up, but too young to be those that stand established
    ],
)
def test_no_call_without_old_weeds(past: WeedHistory, established: float) -> None:
    at = long_day(40 * 24)
    weeds = grown(at, past, established)
    assert seed_set(weeds, made.outlook([]), at, weed_settings()) is None


def test_a_mat_comes_first_where_it_is_earlier() -> None:
    """420 C d above 2 since the record began are 32.3 days at 15 C."""
    at = long_day(25 * 24, air_c=15.0)
    weeds = grown(at, history([0.0], []), standing_m2=100.0)
    due = seed_set(weeds, made.outlook([]), at, weed_settings())
    assert due is not None
    assert due.is_mat
    assert due.came_up_on is None
    assert due.seed_mid_on == date(2013, 6, 2)
    assert due.why == "last call before seed: the mat from winter sheds seed about 2 Jun"


def test_beyond_sight_the_recent_pace_goes_on() -> None:
    seen, short = long_day(20 * 24), long_day(20 * 24, n_hours=25 * 24)
    found = [
        seed_set(grown(at, history([0.0], [])), made.outlook([]), at, weed_settings())
        for at in (seen, short)
    ]
    assert found[0] is not None
    assert found[1] is not None
    assert abs((found[0].seed_mid_on - found[1].seed_mid_on).days) <= 1


@pytest.mark.parametrize(
    ("heat_cd", "stage"),
    [(0.0, 1), (44.0, 1), (46.0, 2), (94.0, 2), (96.0, 3), (169.0, 3), (171.0, 4)],
)
def test_stage_of_a_weed_at_a_pass(heat_cd: float, stage: int) -> None:
    """Spring weeds: seed leaf 20, then 25 C d above 4 C a leaf: from 1, 3 and 6 leaves on."""
    leaf = np.array([0.0, 0.0, heat_cd])
    assert special._stage_at(leaf, 1.0, 2.0, made.view().guild) == stage
    assert special._stage_at(leaf, 1.0, 0.5, made.view().guild) == 0


# ------------------------------------------------------------------------- flame


def flamed(
    counts: list[dict[str, float]],
    hours: CropHours | None,
    crop: str = "carrot",
    is_read: bool = True,
) -> special.FlameWindow | None:
    at = made.day(replace(made.farm(), flame_rules_read=is_read))
    weeds = made.weeds(counts, at)
    outlook = made.outlook([], grown=made.planting(crop, 100.0))
    return flame_window(weeds, outlook, at, hours, crop_traits()[crop])


def test_flame_from_when_weeds_are_up_until_the_crop_is_near() -> None:
    counts = [{"seed_leaf": 2.0}, {"seed_leaf": 12.0, "true_leaf": 12.0}]
    window = flamed(counts, emergence(NOW + 60.0, flame=NOW + 48.0))
    assert window is not None
    assert NOW + 24 < window.from_hour < NOW + 40
    assert window.until_hour == NOW + 48
    assert_allclose(window.weeds_m2, 24.0, rtol=1e-9)
    words = flame_words(window, "carrot", made.day())
    assert words[0].startswith("flame from 12 May")
    assert words[0].endswith("24 weeds per m2 up, carrot still below")
    assert "a few beets sown at the end of the row" in words[1]


def test_flame_now() -> None:
    window = flamed([{"seed_leaf": 50.0}], emergence(NOW + 60.0, flame=NOW + 13.0))
    assert window is not None
    assert flame_words(window, "onion", made.day()) == (
        "flame now, when leaves are dry, last good hour 11 May 18:00: "
        "50 weeds per m2 up, onion still below",
        "a pane of glass laid over 30 cm of row brings it up there first: look twice a day, "
        "flame when it shows",
    )


@pytest.mark.parametrize(
    ("seed_leaf", "flame", "crop", "is_read"),
    [
        (50.0, NOW + 48.0, "carrot", False),  # fire rules unread
        (50.0, NOW + 48.0, "kale", True),  # comes up too fast
        (50.0, NOW - 1.0, "carrot", True),  # too near
        (50.0, np.nan, "carrot", True),  # no end in sight: never by guess
        (5.0, NOW + 48.0, "carrot", True),  # hardly any weeds up
    ],
)
def test_no_flame_otherwise(seed_leaf: float, flame: float, crop: str, is_read: bool) -> None:
    hours = emergence(NOW + 60.0, flame=flame)
    assert flamed([{"seed_leaf": seed_leaf}], hours, crop, is_read) is None
    assert flamed([{"seed_leaf": 50.0}], None) is None


def test_weeds_that_come_after_the_last_hour_open_no_window() -> None:
    counts = [{"seed_leaf": 1.0}, {"seed_leaf": 1.0}, {"seed_leaf": 1.0}, {"seed_leaf": 80.0}]
    assert flamed(counts, emergence(NOW + 60.0, flame=NOW + 48.0)) is None


def test_a_tool_of_the_farm_is_named_by_its_own_name() -> None:
    spike = Tool("old harrow", "spike harrow", 15.0, 0.9, width_m=0.8)
    due = crust_break(
        crusted(NOW + 20), made.day(), emergence(NOW + 60.0), (spike,), tool_traits(),
        {"old harrow": gate(NOW + 30.0)},
    )  # fmt: skip
    assert due is not None
    assert due.tool == "old harrow"
