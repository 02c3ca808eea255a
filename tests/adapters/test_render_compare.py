"""The page of a comparison, out of made figures: what pays, what does not, what it is worth."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from scheduler.adapters.render.compare_json import compare_json
from scheduler.adapters.render.compare_text import compare_text, number
from scheduler.planning.compare import FIGURES, Compared, Figure, Money
from scheduler.records import Range, Tool
from scheduler.service.compare import (
    Comparison,
    RowsChange,
    SetUpChange,
    StaleBeds,
    ToolChange,
)
from tests.golden.make_mornings import farm

NONE = Range(0.0, 0.0, 0.0)
SAVED = Range(200.0, 400.0, 900.0)
FINGERS = Tool("fingers", "finger weeder", 20.0, 0.8, width_m=0.75, rows=(2, 3), setup_min=12.0)


def figures(**changed: tuple[Range, Range, Range]) -> dict[str, Figure]:
    same = Range(90.0, 120.0, 300.0)
    return {name: Figure(name, *changed.get(name, (same, same, NONE))) for name in FIGURES}


def made(saved: Range = SAVED, n_saving: int = 8) -> Comparison:
    money = Money(
        "USD", 22.0, Range(saved.low * 22 / 60, saved.mid * 22 / 60, saved.high * 22 / 60),
        1800.0, Range(5.5, 12.3, 25.0), Range(700.0, 1230.0, 2500.0),
    )  # fmt: skip
    hand = (
        Range(1500.0, 3000.0, 9000.0),
        Range(1300.0, 2600.0, 8000.0),
        Range(-1000.0, -420.0, -200.0),
    )
    c = Compared(
        8, n_saving, figures(hand_min=hand), saved, (2944.0, 2944.0), 494.0, (475.0, 475.0), money,
        ({"sweeps": 200.0}, {"sweeps": 150.0, "fingers": 80.0}),
    )  # fmt: skip
    change = SetUpChange(tools=(ToolChange("fingers", "finger weeder"),), price=1800.0)
    return Comparison(farm(), 2013, change, (FINGERS,), (), "eyes", (), c, ("B4: no preparation",))


def test_a_tool_that_pays_says_how_soon_and_how_large_a_garden_it_takes() -> None:
    text = " ".join(compare_text(made()).split())
    assert "What if you had owned this tool: fingers (finger weeder)?" in text
    assert "It saves time: 3.3-15 h a season; in 8 of 8 seasons played it took less." in text
    assert "At 22 USD an hour that is 73-330 USD a season." in text
    assert "1,800 USD are paid back in 12 seasons (5.5 to 25)." in text
    assert "within 5 seasons it takes 1,200 m2 of beds like these (700 m2 to 2,500 m2)" in text
    assert "you have 490 m2" in text
    assert "It made 80 of 230 passes." in text
    assert "Not played: B4: no preparation." in text
    assert "weeding by hand 25-150 h 22-133 h -17 to -3.3 h" in text


@pytest.mark.parametrize("width", [40, 60, 80, 120])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_lines_keep_their_width(width: int, units: str) -> None:
    found = replace(made(), farm=replace(farm(), units=units))
    lines = compare_text(found, width).splitlines()
    assert max(map(len, lines)) <= width
    assert ("sq ft" in " ".join(lines)) == (units == "us")


def test_a_tool_that_does_not_pay_is_told_so() -> None:
    never = made(NONE, 0)
    assert never.compared.money is not None
    endless = Range(math.inf, math.inf, math.inf)
    money = replace(
        never.compared.money, saved=NONE, seasons_to_pay_back=endless, least_area_m2=endless
    )
    never = replace(never, compared=replace(never.compared, money=money))
    text = " ".join(compare_text(never).split())
    assert "It changes nothing: nobody would have taken the fingers." in text
    assert "1,800 USD are never paid back." in text
    assert "beds like these" not in text
    loss = " ".join(compare_text(made(Range(-900.0, -400.0, -200.0), 0)).split())
    assert "It does not pay: it takes 3.3-15 h more a season." in loss
    assert "73-330 USD lost a season" in loss


def test_what_is_doubtful_is_told_as_doubtful() -> None:
    doubtful = made(Range(-60.0, 45.0, 130.0), 5)
    assert doubtful.compared.money is not None
    money = replace(
        doubtful.compared.money,
        seasons_to_pay_back=Range(9.0, 60.0, math.inf), least_area_m2=Range(900.0, 6e3, math.inf),
    )  # fmt: skip
    text = " ".join(
        compare_text(replace(doubtful, compared=replace(doubtful.compared, money=money))).split()
    )
    assert "It may save time: from 60 min more to 130 min less a season" in text
    assert "in the middle 45 min less; in 5 of 8 seasons played it took less." in text
    assert "from 22 lost to 48 USD gained a season" in text
    assert "paid back in 60 seasons (9 to never)" in text
    assert "(900 m2 to never)" in text


def test_rows_that_are_lost_are_told_with_what_they_may_bring() -> None:
    change = SetUpChange(rows=(RowsChange("carrot", 2, 381.0),))
    plain = made()
    assert plain.compared.money is not None
    worth = Range(0.1, 0.5, 0.9)
    money = replace(
        plain.compared.money, price=None, seasons_to_pay_back=None, worth_of_row_metre=worth
    )
    c = replace(plain.compared, row_m=(2944.0, 2816.0), money=money)
    found = replace(
        plain,
        change=change,
        tools=(),
        compared=c,
        row_m_of=(("carrot", 384.0, 256.0),),
        left_out=(),
    )
    text = " ".join(compare_text(found).split())
    assert "What if carrot had stood in 2 rows 38 cm apart?" in text
    assert "crop rows 2944 m 2816 m -128 m" in text
    assert "only if a metre of that row brings less than 0.5 USD (0.1 to 0.9)." in text
    doubtful = replace(money, worth_of_row_metre=Range(-0.1, 0.5, 0.9))
    page = compare_text(replace(found, compared=replace(c, money=doubtful)))
    assert "less than 0.5 USD (nothing to 0.9)." in " ".join(page.split())
    no_money = compare_text(replace(found, compared=replace(c, money=None)))
    assert "128 m of row less is crop that is not there" in " ".join(no_money.split())
    us = " ".join(compare_text(replace(found, farm=replace(farm(), units="us"))).split())
    assert "only if a foot of that row brings less than 0.15 USD" in us


def test_hours_stale_beds_and_no_value_of_an_hour() -> None:
    plain = made(NONE, 0)
    change = SetUpChange(more_h_a_week=2.0, stale=("carrot",))
    c = replace(plain.compared, money=None, hours_of_plan_h=(475.0, 541.0))
    stale = (StaleBeds("carrot", 8, 7, 59.0),)
    found = replace(plain, change=change, tools=(), stale=stale, compared=c)
    text = " ".join(compare_text(found).split())
    assert "What if there had been 2 hours a week more for tools?" in text
    assert "7 of 8 could have been prepared earlier, by 59 bed days in all" in text
    assert "set hourly_value and currency under [work] in farm.toml" in text
    assert "The plan has 475 hours for tools in the season, with the change 541" in text


def test_the_list_as_a_rule_is_told_with_its_chance() -> None:
    assert "may be chance" in " ".join(compare_text(replace(made(), by="list")).split())


def test_minutes_are_whole_and_small_differences_are_told_in_them() -> None:
    hand = (Range(2460.0, 4000.0, 7920.0), Range(2440.0, 3990.0, 7911.0), Range(-19.8, -15.0, -9.0))
    plain = made(Range(-31.7, -12.0, -0.45), 0)
    found = replace(plain, compared=replace(plain.compared, figures=figures(hand_min=hand)))
    text = " ".join(compare_text(found).split())
    assert "weeding by hand 41-132 h 41-132 h -20 to -9 min" in text
    assert "It does not pay: it takes 0-32 min more a season." in text
    little = " ".join(compare_text(made(Range(-0.2, 0.1, 0.3), 5)).split())
    assert "It changes next to nothing: less than a minute a season." in little


def test_a_flame_is_taken_as_allowed_and_said_so() -> None:
    torch = Tool("torch", "flame", 0.0, 0.65, width_m=0.2, travel="by hand")
    plain = made()
    text = " ".join(compare_text(replace(plain, tools=(torch,))).split())
    assert "Taken for the torch: above the soil" in text
    assert "Flame is taken as allowed here. Read the fire rules of the place first" in text
    read = replace(plain, tools=(torch,), farm=replace(farm(), flame_rules_read=True))
    assert "Flame is taken" not in " ".join(compare_text(read).split())
    assert "Flame is taken" not in " ".join(compare_text(plain).split())


def test_numbers_are_as_long_as_they_are_worth() -> None:
    assert [number(v) for v in (0.0, -0.001, 0.456, 5.04, 12.3, 1234.5, math.inf)] == [
        "0", "0", "0.46", "5", "12", "1,234", "never",
    ]  # fmt: skip


def test_the_json_holds_every_figure_and_no_infinity() -> None:
    found = made()
    assert found.compared.money is not None
    never = replace(found.compared.money, seasons_to_pay_back=Range(5.0, math.inf, math.inf))
    text = compare_json(replace(found, compared=replace(found.compared, money=never)))
    answer = json.loads(text)
    assert set(answer["figures"]) == set(FIGURES)
    assert answer["money"]["seasons_to_pay_back"] == {"low": 5.0, "mid": None, "high": None}
    assert answer["passes_by_tool"]["after"]["fingers"] == 80.0
    assert answer["rule"] == "eyes"
    assert answer["change"]["tools"] == [{"name": "fingers", "kind": "finger weeder"}]
