"""What a gardener would expect of a what-if: a storm, a rain not logged, a day off, a pass."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from scheduler.adapters.render.whatif_text import whatif_text
from scheduler.errors import UsageError
from scheduler.planning.whatif import Changes
from tests.scenes.made import local
from tests.scenes.what_if_made import FARM, NOW, act, ask, both, fell, lines, rain

TONIGHT = local(2013, 5, 20, 20)
TOMORROW = local(2013, 5, 21, 10)
HOUR = timedelta(hours=1)


def test_a_storm_tonight_spoils_tomorrow_and_makes_today_count() -> None:
    """25 mm at 20:00 (common practice): today's go stays, silt is too wet tomorrow."""
    found = ask(rain(25.0, TONIGHT))
    before, after = lines(found, "before"), lines(found)
    assert {before[bed].verdict for bed in ("L1", "L2")} == {"go"}
    for bed in ("L1", "L2"):
        assert after[bed].verdict == "go"
        was, then = before[bed].last_good_at, after[bed].last_good_at
        assert was is not None and then is not None  # noqa: PT018
        action = after[bed].action
        assert action is not None
        assert action.end <= TONIGHT.astimezone(action.end.tzinfo)
    assert found.hand_change_min.mid > 0.0  # what the rain brings up is to be weeded
    page = whatif_text(found)
    assert "25 mm of rain, today 20:00 to 23:00" in page
    assert "takes the place of what the forecast has" in page.replace("\n             ", " ")


def test_a_rain_not_logged_ends_the_list_and_offers_its_line() -> None:
    found = ask(Changes(logged=(fell(20.0, NOW - 11 * HOUR, NOW - 2 * HOUR),)))
    before, after = lines(found, "before"), lines(found)
    assert before["L1"].verdict == "go"
    assert (after["L1"].verdict, after["L1"].because) == ("wait", "wet")
    assert after["L1"].soil.workable_now < 0.2 < before["L1"].soil.workable_now
    sand, silt = after["S1"].soil.workable_from, after["L1"].soil.workable_from
    assert sand is not None
    assert silt is None or sand < silt  # sand comes back first (common practice)
    page = whatif_text(found, lines_to_log=["whitethread log rain 20 mm last night"])
    assert "To log it    whitethread log rain 20 mm last night" in page
    assert "wet" in page


def test_no_rain_at_all_takes_the_weeds_of_the_rain_away() -> None:
    assert ask(Changes(is_dry=True)).hand_change_min.mid <= 0.0


def test_a_day_off_says_what_it_loses_and_what_stays_open() -> None:
    found = ask(Changes(is_skipped=True))
    assert found.after_totals.n_lines == 0
    assert found.after_totals.n_not_reached == found.before_totals.n_lines > 0
    assert {line.because for line in lines(found).values() if line.verdict == "wait"} == {
        "no_hours"
    }
    page = " ".join(whatif_text(found).split())
    assert "nothing done today" in page
    assert "min by hand in all" in page
    assert "tomorrow" in page or "is today" in page


def test_more_hours_never_plan_less() -> None:
    few, many = (ask(Changes(hours_h=hours)).after_totals for hours in (0.1, 5.0))
    assert few.n_lines < many.n_lines
    assert few.minutes <= 6.0 + 1e-9
    assert few.n_not_reached > 0 == many.n_not_reached


def test_a_pass_now_clears_the_bed_and_starts_the_next_flush() -> None:
    found = ask(Changes(acts=(act("pass", "L1"),)))
    line = lines(found)["L1"]
    before = lines(found, "before")["L1"]
    saved = [(answer.minutes or {})["saved"].mid for answer in (before, line)]
    assert saved[1] < saved[0]
    assert line.flush is not None
    assert line.flush.opened_by == "pass"
    assert line.flush.opened_at is not None
    assert abs(line.flush.opened_at - NOW) <= HOUR
    assert line.weeds is not None and before.weeds is not None  # noqa: PT018
    assert line.weeds["thread_m2"].mid < before.weeds["thread_m2"].mid
    own = next(p for p in found.plantings if p.key == "L1")
    assert own.hand_mean_min < 0.0
    assert "a new flush by the pass today" in whatif_text(found)


def test_a_pass_tomorrow_waits_for_it_and_is_worth_other_minutes_than_one_now() -> None:
    now, later = (ask(Changes(acts=(act("pass", "L1", at),))) for at in (NOW + 6 * HOUR, TOMORROW))
    waiting = lines(later)["L1"]
    assert (waiting.verdict, waiting.because) == ("wait", "planned")
    assert waiting.until == TOMORROW
    gains = [next(p for p in of.plantings if p.key == "L1").hand_mean_min for of in (now, later)]
    assert max(gains) < 0.0
    assert gains[0] != gains[1]
    assert lines(later)["S1"].verdict == lines(later, "before")["S1"].verdict
    assert "wait until Tue noon, planned" in whatif_text(later)


def test_a_pass_after_the_storm_is_told_to_meet_wet_soil() -> None:
    wet = both(rain(30.0, TONIGHT, 6.0), Changes(acts=(act("pass", "L1", TOMORROW),)))
    assert any("the soil is fit for it then by" in note for note in ask(wet).notes)
    dry = ask(Changes(acts=(act("pass", "L1", TOMORROW),)))
    assert not any("the soil is fit" in note for note in dry.notes)


def test_water_tomorrow_wets_its_bed_alone() -> None:
    found = ask(Changes(acts=(act("water", "S2", local(2013, 5, 20, 6), water_mm=20.0),)))
    after, before = lines(found), lines(found, "before")
    assert repr(after["L1"].soil) == repr(before["L1"].soil)
    assert repr(after["S2"]) != repr(before["S2"])


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (Changes(acts=(act("pass", "X9"),)), "no such bed"),
        (Changes(acts=(act("pass", "L1", tool="rake"),)), "found tool 'rake'"),
        (Changes(acts=(act("pass", "L1", NOW + timedelta(days=30)),)), "2013-05-20 05:30 and"),
        (Changes(acts=(act("hand", "L1"),)), "cannot be thought of"),
    ],
)
def test_what_the_farm_has_not_is_refused_in_one_line(changes: Changes, said: str) -> None:
    with pytest.raises(UsageError, match=said) as refused:
        ask(changes)
    assert "\n" not in str(refused.value)


def local_words(moment: datetime) -> str:
    return f"{moment.astimezone(ZoneInfo(FARM.place.time_zone)):%Y-%m-%d %H:%M}"


def test_rain_out_of_sight_is_refused() -> None:
    """In the farm's own time, as it was asked."""
    for late in (timedelta(days=20), timedelta(days=10, hours=-2)):
        start = NOW + late
        said = f"rain from {local_words(start)} to .*must lie between {local_words(NOW)} and"
        with pytest.raises(UsageError, match=said):
            ask(rain(5.0, start))
