"""Scenes 3, 4, 5 and 6 of the design, with their opposites: what a grower would nod at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from scheduler import service
from scheduler.records import Bed, BedAnswer, Range, Tool
from tests.scenes.made import (
    BAR,
    FINGERS,
    FLAMER,
    TOOLS,
    MadeStore,
    forecast,
    local,
    made_farm,
    made_hours,
    observed,
)

N_MEMBERS = 16
MEAN_C = 18.0
START = local(2013, 4, 15)
KIT = (*TOOLS, FINGERS, BAR)


def showers(*days: datetime, mm: float = 9.0) -> list[tuple[datetime, float]]:
    return [(day + timedelta(hours=i), mm / 6.0) for day in days for i in range(6)]


def weather(*rains: datetime) -> MadeStore:
    """Sunny days of 18 C from the middle of April on, with a shower on some nights."""
    hours = made_hours(START, 24 * 60, mean_c=MEAN_C, rain=showers(*rains))
    return MadeStore(values=observed(START, hours))


def asked(
    store: MadeStore,
    beds: Sequence[Bed],
    now: datetime,
    tools: Sequence[Tool] = KIT,
    *,
    rain: Sequence[tuple[datetime, float]] = (),
    sun: float = 1.0,
    humidity: float = 0.6,
    is_flame_read: bool = False,
) -> service.Situation:
    """The morning, with ten days ahead as they are told or as before and dry."""
    ahead = made_hours(
        now.replace(minute=0), 240, mean_c=MEAN_C, sun=sun, humidity=humidity, rain=rain
    )
    store.forecasts = [forecast(now - timedelta(minutes=25), ahead)]
    farm = replace(made_farm(beds, tools), flame_rules_read=is_flame_read)
    return service.situation(farm, store, store, now, n_members=N_MEMBERS)


def line(of: service.Situation, bed: str) -> BedAnswer:
    morning = service.morning_of(of)
    return next(x for x in (*morning.beds, *morning.not_reached) if x.bed == bed)


def refused(of: service.Situation, bed: str) -> dict[str, tuple[str, str]]:
    """Reason and sentence by tool."""
    return {r.tool: (r.because, r.why) for r in line(of, bed).refusals}


def tool_of(of: service.Situation, bed: str) -> str | None:
    action = line(of, bed).action
    return None if action is None else action.tool


# ------------------------------------------------------------------ scene 3

ONION, BEAN, SET_ON, ROOTED = (Bed(name, 18.0, 0.75, "sand") for name in ("O1", "B1", "L1", "L2"))
SCENE_3 = (ONION, BEAN, SET_ON, ROOTED)


def rows_of_spring() -> MadeStore:
    """Onions up on 3 May and weeded by hand since, beans sown on 9 May, lettuce set on 8 May."""
    store = weather(*(local(2013, *day, 2) for day in ((4, 20), (4, 27), (5, 3), (5, 9), (5, 18))))
    store.log("prep", local(2013, 4, 24, 14), "O1", depth_mm=90.0)
    store.log("sow", local(2013, 4, 24, 16), "O1", crop="onion", n_rows=3, row_spacing_mm=250.0)
    store.log("up", local(2013, 5, 3, 8), "O1")
    for day in (8, 17, 24):
        store.log("hand", local(2013, 5, day, 8), "O1", work_min=60.0)
    store.log("prep", local(2013, 5, 9, 14), "B1", depth_mm=90.0)
    store.log("sow", local(2013, 5, 9, 16), "B1", crop="snap bean", n_rows=2, row_spacing_mm=375.0)
    for bed in ("L1", "L2"):
        store.log("prep", local(2013, 5, 3, 14), bed, depth_mm=90.0)
        store.log(
            "plant", local(2013, 5, 8, 16), bed,
            crop="head lettuce", n_rows=3, row_spacing_mm=250.0,
        )  # fmt: skip
    store.log("rooted", local(2013, 5, 13, 16), "L2")
    return store


@pytest.fixture(scope="module")
def mid_may() -> service.Situation:
    return asked(rows_of_spring(), SCENE_3, local(2013, 5, 14, 5, 30))


@pytest.fixture(scope="module")
def last_blind() -> service.Situation:
    """A week after sowing: 7/10 of the 160 degree-days above 5.2 C at 20 to 22 C in the seedbed."""
    return asked(rows_of_spring(), SCENE_3, local(2013, 5, 16, 5, 30))


@pytest.fixture(scope="module")
def crook() -> service.Situation:
    return asked(rows_of_spring(), SCENE_3, local(2013, 5, 18, 5, 30))


@pytest.fixture(scope="module")
def june() -> service.Situation:
    return asked(rows_of_spring(), SCENE_3, local(2013, 6, 3, 5, 30))


def test_scene_3_no_fingers_in_one_leaf_onions(mid_may: service.Situation) -> None:
    """Common practice: fingers in onions from three leaves."""
    said = refused(mid_may, "O1")
    for tool in ("fingers", "bar"):
        because, why = said[tool]
        assert because == "crop_tender"
        assert why.startswith("onion has 1.")
        assert why.endswith("leaves, fingers wait for 3")
    assert not {"sweeps", "hoe"} & said.keys()
    assert tool_of(mid_may, "O1") not in ("fingers", "bar", "tines")


def test_scene_3_opposite_the_same_onions_at_three_leaves_take_them(
    june: service.Situation,
) -> None:
    assert not {"fingers", "bar", "tines"} & refused(june, "O1").keys()


def test_scene_3_no_tine_over_beans_in_the_crook(crook: service.Situation) -> None:
    because, why = refused(crook, "B1")["tines"]
    assert because == "crop_tender"
    assert "bent" in why
    assert "never a tine over the crook" in why
    found = line(crook, "B1")
    assert (found.verdict, found.because) == ("wait", "crop_tender")
    assert found.until is not None
    assert found.until > crook.now


def test_scene_3_opposite_blind_before_the_crook_and_again_at_the_trifoliate_leaf(
    mid_may: service.Situation, june: service.Situation
) -> None:
    """Common practice: blind until shortly before beans come up, again from the first leaf."""
    assert "tines" not in refused(mid_may, "B1")
    assert "fingers" in refused(mid_may, "B1")  # the rows are not to be seen
    assert not {"tines", "fingers"} & refused(june, "B1").keys()


def test_scene_3_opposite_on_the_last_blind_day_tines_go_over_the_beans(
    last_blind: service.Situation,
) -> None:
    found = line(last_blind, "B1")
    assert found.verdict == "go"
    assert found.action is not None
    assert found.action.tool == "tines"
    assert found.action.depth_mm <= 20.0  # seed at 30 mm
    assert any(words.startswith("last blind hour Thu") for words in found.why)


def test_scene_3_no_fingers_before_a_transplant_is_rooted(mid_may: service.Situation) -> None:
    said = refused(mid_may, "L1")
    assert said["fingers"] == (
        "crop_tender",
        "head lettuce was set 6 days ago: not rooted yet, the tug test decides",
    )
    assert said["bar"] == said["fingers"]
    assert line(mid_may, "L1").verdict == "go"
    assert tool_of(mid_may, "L1") in ("sweeps", "hoe")


def test_scene_3_opposite_lettuce_seen_to_be_rooted_takes_them(mid_may: service.Situation) -> None:
    """Same day, same weeds, same rows; the tug test was logged for one bed."""
    assert not {"fingers", "bar"} & refused(mid_may, "L2").keys()
    assert line(mid_may, "L2").verdict == "go"
    assert tool_of(mid_may, "L2") == "bar"
    left, seen = line(mid_may, "L1").killable_frac, line(mid_may, "L2").killable_frac
    assert left is not None
    assert seen is not None
    assert seen.mid > left.mid + 0.03  # it takes the row as well


def test_scene_3_opposite_by_the_clock_too(june: service.Situation) -> None:
    """26 days after setting, without any entry."""
    assert not {"fingers", "bar"} & refused(june, "L1").keys()


# ------------------------------------------------------------------ scene 4

CARROT, BESIDE, BEYOND = (Bed(name, 18.0, 0.75, "sand") for name in ("C1", "L1", "L2"))
MORE = tuple(Bed(name, 18.0, 0.75, "sand") for name in ("C2", "C3"))  # share the set-up
SCENE_4 = (CARROT, BESIDE, BEYOND, *MORE)
LAST_BLIND_DAY = local(2013, 5, 11, 5, 30)
FLAME_DAY = local(2013, 5, 12, 5, 30)
UP_DAY = local(2013, 5, 14, 8)


def carrots(*, is_up_logged: bool) -> MadeStore:
    """Carrots sown on 6 May beside lettuce set on 1 May; showers again from the 13th on."""
    nights = ((4, 20), (4, 27), (5, 3), (5, 13), (5, 17))
    store = weather(*(local(2013, *night, 2) for night in nights))
    for bed in (CARROT, *MORE):
        store.log("prep", local(2013, 5, 3, 14), bed.name, depth_mm=90.0)
        store.log(
            "sow", local(2013, 5, 6, 16), bed.name,
            crop="carrot", n_rows=3, row_spacing_mm=250.0, depth_mm=15.0,
        )  # fmt: skip
    for bed in ("L1", "L2"):
        store.log("prep", local(2013, 4, 27, 14), bed, depth_mm=90.0)
        store.log(
            "plant", local(2013, 5, 1, 16), bed,
            crop="head lettuce", n_rows=3, row_spacing_mm=250.0,
        )  # fmt: skip
    if is_up_logged:
        store.log("up", UP_DAY, "C1")
    return store


@pytest.fixture(scope="module")
def last_blind_day() -> service.Situation:
    return asked(carrots(is_up_logged=False), SCENE_4, LAST_BLIND_DAY, TOOLS)


def test_scene_4_the_blind_pass_leads_the_list_with_its_last_good_hour(
    last_blind_day: service.Situation,
) -> None:
    morning = service.morning_of(last_blind_day)
    first = morning.beds[0]
    assert (first.rank, first.bed[0], first.verdict) == (1, "C", "go")
    assert first.action is not None
    assert first.action.tool == "tines"
    assert first.action.depth_mm <= 10.0  # well above the seed
    assert any(words.startswith("last blind hour Sat") for words in first.why)
    assert first.action.end.date() == LAST_BLIND_DAY.date()
    assert [x.bed for x in morning.beds if x.verdict == "go"][1:]  # others compete
    hours = last_blind_day.outlooks["C1"].crop_hours
    assert hours is not None
    up_at = last_blind_day.sky.at(int(np.nanmin(hours.first_up)))
    assert first.action.end < up_at


@pytest.mark.parametrize("is_up_logged", [True, False])
def test_scene_4_opposite_the_day_after_emergence_it_is_gone(is_up_logged: bool) -> None:
    """Seen up on 14 May, or by the clock alone a few days later, never a tine again."""
    now = UP_DAY + timedelta(days=1 if is_up_logged else 5, hours=-2.5)
    of = asked(carrots(is_up_logged=is_up_logged), SCENE_4, now, TOOLS)
    because, why = refused(of, "C1")["tines"]
    assert because == "crop_tender"
    assert "tines wait for 4" in why
    assert tool_of(of, "C1") != "tines"
    assert "blind" not in " ".join(line(of, "C1").why)
    assert not {"sweeps", "hoe"} & refused(of, "C1").keys()  # the rows are seen


def test_scene_4_between_the_last_blind_hour_and_emergence_no_tool_goes() -> None:
    of = asked(carrots(is_up_logged=False), SCENE_4, LAST_BLIND_DAY + timedelta(days=2), TOOLS)
    found = line(of, "C1")
    assert (found.verdict, found.because) == ("wait", "crop_tender")
    assert refused(of, "C1").keys() == {tool.name for tool in TOOLS}


@pytest.mark.parametrize("is_read", [True, False])
def test_scene_4_flame_only_where_the_fire_rules_were_read(is_read: bool) -> None:
    """The same bed a day after the last blind hour, still below ground."""
    of = asked(
        carrots(is_up_logged=False), SCENE_4, FLAME_DAY, (*TOOLS, FLAMER), is_flame_read=is_read
    )
    found = line(of, "C1")
    if is_read:
        assert "flamer" not in refused(of, "C1")
        assert (found.verdict, tool_of(of, "C1")) == ("go", "flamer")
    else:
        assert refused(of, "C1")["flamer"] == (
            "no_fit",
            "flame is off: the farm file does not say that local fire rules were read",
        )
        assert (found.verdict, found.because) == ("wait", "crop_tender")
    assert "never a flame" in refused(of, "L1")["flamer"][1] or not is_read


def test_scene_4_no_flame_over_carrots_that_are_up_though_the_rules_were_read() -> None:
    now = UP_DAY + timedelta(hours=21.5)
    of = asked(carrots(is_up_logged=True), SCENE_4, now, (*TOOLS, FLAMER), is_flame_read=True)
    assert refused(of, "C1")["flamer"] == ("no_fit", "never a flame over standing carrot")


# ------------------------------------------------------------------ scene 5

STALE = Bed("E1", 18.0, 0.75, "sand")
GREY_DAY = local(2013, 5, 11, 5, 30)
EVENING = [(local(2013, 5, 11, 16) + timedelta(hours=i), 2.0) for i in range(6)]


def grey(tool: Tool, rain: Sequence[tuple[datetime, float]]) -> service.Situation:
    """A bare bed eight days after it was prepared, dull damp days ahead, one tool on the farm."""
    store = weather(*(local(2013, *day, 2) for day in ((4, 27), (5, 2), (5, 5))))
    store.log("prep", local(2013, 5, 3, 14), "E1", depth_mm=90.0)
    return asked(store, (STALE,), GREY_DAY, (tool,), rain=rain, sun=0.2, humidity=0.9)


@pytest.fixture(scope="module")
def evenings() -> dict[tuple[str, str], service.Situation]:
    tools = {tool.name: tool for tool in TOOLS}
    return {
        (name, when): grey(tools[name], EVENING if when == "rain" else ())
        for name in ("tines", "sweeps")
        for when in ("rain", "dry")
    }


def urgency(of: service.Situation) -> float:
    """What ranks the only bed; 0 where nothing is done today."""
    return of.drafts[0].urgency


def killable(of: service.Situation, bed: str = "E1") -> float:
    found = line(of, bed).killable_frac
    assert isinstance(found, Range)
    return found.mid


def test_scene_5_rain_this_evening_spoils_a_pass_that_needs_drying(
    evenings: dict[tuple[str, str], service.Situation],
) -> None:
    """Tines: 0.825 of the kill asks for drying, 0.45 of that is left when rain follows at once."""
    wet, dry = line(evenings["tines", "rain"], "E1"), line(evenings["tines", "dry"], "E1")
    least = 1.0 - 0.825 * (1.0 - 0.45)
    assert least < killable(evenings["tines", "rain"]) / killable(evenings["tines", "dry"]) < 0.9
    assert urgency(evenings["tines", "rain"]) < 0.9 * urgency(evenings["tines", "dry"])
    assert dry.verdict == "go"
    assert dry.action is not None
    assert dry.action.tool == "tines"
    if wet.verdict != "go":
        assert (wet.verdict, wet.because) == ("wait", "rain_after")
        assert wet.until is not None
        assert wet.until.date() > GREY_DAY.date()


def test_scene_5_sweeps_between_rows_lose_less_than_tines(
    evenings: dict[tuple[str, str], service.Situation],
) -> None:
    left = {
        name: killable(evenings[name, "rain"]) / killable(evenings[name, "dry"])
        for name in ("tines", "sweeps")
    }
    assert left["tines"] < left["sweeps"] - 0.05
    assert left["sweeps"] <= 1.0


# ------------------------------------------------------------------ scene 6

ROW = Bed("R1", 18.0, 0.75, "sand")
SMALL, LARGE = local(2013, 5, 8, 5, 30), local(2013, 5, 27, 5, 30)


def leeks(*, is_by_hand: bool = False) -> MadeStore:
    """Leeks set on 29 Apr; sweeps between the rows, nothing in them."""
    store = weather(*(local(2013, *day, 2) for day in ((4, 20), (4, 27), (5, 3), (5, 12), (5, 20))))
    store.log("prep", local(2013, 4, 24, 14), "R1", depth_mm=90.0)
    store.log("plant", local(2013, 4, 29, 16), "R1", crop="leek", n_rows=3, row_spacing_mm=250.0)
    for day in (9, 18):
        store.log("pass", local(2013, 5, day, 12), "R1", tool="sweeps", depth_mm=25.0)
    if is_by_hand:
        store.log("hand", SMALL + timedelta(days=4, hours=8), "R1", work_min=90.0)
    return store


def test_scene_6_large_weeds_in_the_row_are_for_the_hand_with_minutes() -> None:
    of = asked(leeks(), (ROW,), LARGE)
    found = line(of, "R1")
    weeds = of.weeds["R1"]
    row = weeds.weights @ weeds.density_m2(0, 0)
    assert row[4] > row[1]  # more rooted weeds than seed leaves
    assert (found.verdict, found.action) == ("hand", None)
    assert found.minutes is not None
    by_hand = found.minutes["by_hand"]
    assert 5.0 < by_hand.low < by_hand.mid < by_hand.high
    assert "grown weeds per m2 in the row" in found.why[0]


def test_scene_6_opposite_the_same_bed_with_small_weeds_gets_a_pass() -> None:
    of = asked(leeks(), (ROW,), SMALL)
    found = line(of, "R1")
    assert found.verdict == "go"
    assert found.action is not None
    assert found.action.work_min > 0.0


def test_scene_6_opposite_weeded_by_hand_yesterday_neither_hand_nor_pass() -> None:
    """The morning after a round by hand; the same morning without it there is work to do."""
    after = SMALL + timedelta(days=5)
    assert line(asked(leeks(), (ROW,), after), "R1").verdict in ("hand", "go")
    found = line(asked(leeks(is_by_hand=True), (ROW,), after), "R1")
    assert found.verdict in ("wait", "nothing")
