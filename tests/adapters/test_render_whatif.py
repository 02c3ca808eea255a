"""The screen of a what-if: what is told as another, and that it is."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from scheduler.adapters.render.whatif_text import whatif_text
from scheduler.planning.whatif import Changes, RainToCome, WhatIf
from scheduler.records import BedAnswer
from tests.golden.make_mornings import at
from tests.golden.make_what_ifs import before, made, skip, storm


def told(found: WhatIf) -> str:
    return " ".join(whatif_text(found, units="metric").split())


def with_line(line: BedAnswer, **other: object) -> WhatIf:
    """The spring morning beside itself, with one line another."""
    whole = before()
    beds = tuple(replace(b, **other) if b == line else b for b in whole.beds)  # type: ignore[arg-type]
    assert line in whole.beds
    return made(Changes(hours_h=3.0), replace(whole, beds=beds), {})


def first(verdict: str) -> BedAnswer:
    return next(b for b in before().beds if b.verdict == verdict)


@pytest.mark.parametrize(
    ("until", "is_told"), [(at(18, 18), False), (at(18, 21, 30), False), (at(19, 8), True)]
)
def test_a_wait_that_reads_the_same_is_no_change(until: datetime, is_told: bool) -> None:
    whole = before()
    place = next(i for i, b in enumerate(whole.beds) if b.verdict == "wait")
    beds = [replace(b, until=at(18, 18)) if i == place else b for i, b in enumerate(whole.beds)]
    was = replace(whole, beds=tuple(beds))
    beds[place] = replace(beds[place], until=until)
    found = made(Changes(hours_h=3.0), replace(was, beds=tuple(beds)), {})
    own = {(b.bed, b.part): b for b in was.beds}
    plantings = tuple(
        replace(p, before=own.get((p.before.bed, p.before.part), p.before)) for p in found.plantings
    )
    page = told(replace(found, before=was, plantings=plantings))
    assert ("as it stands what if" in page) == is_told
    assert ("1 other bed fares otherwise" in page) == is_told


def test_a_line_that_stays_with_another_tool_is_no_other_bed() -> None:
    line = first("go")
    assert line.action is not None
    other = replace(line.action, tool="wheel hoe", setup=None)
    page = told(with_line(line, action=other))
    n = sum(b.verdict == "go" for b in before().beds)
    assert f"All {n} lines of the list stay (1 with another tool or at other hours)." in page
    assert "fare" not in page


def test_a_line_that_is_lost_drops_out() -> None:
    """`go` is what the list says of a pass that is to be made."""
    page = told(with_line(first("go"), verdict="wait", because="wet", until=at(15, 9), action=None))
    n = sum(b.verdict == "go" for b in before().beds)
    assert f"{n - 1} of {n} lines stay, 1 drops out." in page


def test_soil_is_told_to_be_fit_for_every_tool() -> None:
    whole = before()
    beds = tuple(replace(b, soil=replace(b.soil, workable_from=None)) for b in whole.beds)
    page = told(made(Changes(hours_h=3.0), replace(whole, beds=beds), {}))
    assert "Soil fit for every tool: " in page
    assert "-> no hour in sight for" in page


@pytest.mark.parametrize("changes", [Changes(is_skipped=True), Changes(hours_h=0.0)])
def test_what_a_day_without_hours_loses_is_told_once(changes: Changes) -> None:
    found = replace(skip(), changes=changes)
    page, rows = told(found), whatif_text(found).splitlines()
    lost = sum(
        max(b.minutes["cost_of_waiting"].mid, 0.0)
        for b in before().beds
        if b.verdict == "go" and b.minutes
    )
    assert f"Lost about {lost:.0f} min by hand in all" in page
    (beyond,) = [row for row in rows if row.startswith("beyond the hours")]
    assert beyond.count("waiting costs") == 1  # of the list as it stands
    assert "Last good" not in page


def test_a_day_off_in_the_rain_loses_only_what_could_have_been_done() -> None:
    """After a storm all is wet: it is not the day off that loses it."""
    found = skip()
    rained = Changes(rain=(RainToCome(15.0, at(14, 6), at(14, 9)),), is_skipped=True)
    wet = tuple(
        replace(p, after=replace(p.after, verdict="wait", because="wet", until=at(15, 9)))
        for p in found.plantings
    )
    assert "Lost nothing: no pass could be made" in told(
        replace(found, changes=rained, plantings=wet)
    )
    one = next(p for p in found.plantings if p.after.because == "no_hours")
    assert one.after.minutes is not None
    cost = one.after.minutes["cost_of_waiting"].mid
    rest = tuple(one if p.key == one.key else p for p in wet)
    page = told(replace(found, changes=rained, plantings=rest))
    assert f"Lost about {cost:.0f} min by hand in all" in page


def test_no_day_is_promised_to_a_line_without_one() -> None:
    found = skip()
    names = {b.bed for b in found.before.beds if b.verdict == "go" and b.last_good_at}
    assert "still nearly as good tomorrow" in told(found)
    plantings = tuple(
        replace(p, before=replace(p.before, last_good_at=None)) for p in found.plantings
    )
    page = told(replace(found, plantings=plantings))
    assert names
    assert "nearly as good tomorrow" not in page
    assert "last good day" not in page


def test_a_dry_span_is_told_as_no_rain() -> None:
    span = RainToCome(0.0, at(14, 20), at(14, 23))
    page = told(replace(storm(), changes=Changes(rain=(span,))))
    assert page.startswith("What if: no rain, today 20:00 to 23:00?")
