"""Minutes by the stopwatch and marked weeds: what they teach, and what is doubted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from scheduler.planning import own_rates as rates_of
from scheduler.planning.geometry import fit
from scheduler.planning.own_rates import (
    Marked,
    OwnRates,
    Timed,
    own_hand_rates,
    own_rates,
    planting_then,
    timed_passes,
    timed_setups,
    with_own_rates,
)
from scheduler.planning.passes import tool_kill_frac
from scheduler.planning.work import work_minutes
from scheduler.records import Bed
from scheduler.service.settings import hand_rates
from tests.planning.made import BED, HOE, SWEEPS, TINES, entry, farm, kit, planting, unseen_weather

TOOLS = (TINES, SWEEPS, HOE)
GROUNDS = kit().rules.traits


def timed(found_min: float, reckoned_min: float = 4.0, of: str = "tines", hour: float = 9.0,
          ln_sd: float = 0.0) -> Timed:  # fmt: skip
    return Timed(entry("pass", hour, tool=of, work_min=found_min), of, found_min, reckoned_min,
                 ln_sd)  # fmt: skip


def several(ratio: float, n: int, of: str = "tines", hour: float = 9.0) -> list[Timed]:
    return [timed(4.0 * ratio, of=of, hour=hour + 24.0 * i) for i in range(n)]


def marked(left: int, of_n: int, kill: float = 0.6, hour: float = 9.0) -> Marked:
    return Marked(entry("look", hour, left_n=left, of_n=of_n), "tines", left, of_n, kill)


# ------------------------------------------------------------------ minutes


def test_nothing_is_learned_from_nothing() -> None:
    found = own_rates(TOOLS)
    assert found == OwnRates()
    assert with_own_rates(farm(), found) == farm()


def test_one_entry_by_hand() -> None:
    """One pass: normal prior 0.5, entry 0.35 and a reading to 0.3 of 4 minutes."""
    found = own_rates(TOOLS, [timed(8.0)])
    share = 0.5**2 / (0.5**2 + 0.35**2 + (0.3 / 4.0) ** 2)
    assert found.work_factor["tines"] == pytest.approx(2.0**share, rel=1e-12)
    assert found.work_factor["hoe"] == pytest.approx(2.0 ** (0.5 * share), rel=1e-12)
    (lesson,) = found.lessons
    sd = 0.5 * np.sqrt(1.0 - share)
    assert lesson.after.high / lesson.after.mid == pytest.approx(np.exp(1.2816 * sd), rel=1e-6)
    assert lesson.before.high == pytest.approx(np.exp(1.2816 * 0.5), rel=1e-6)


def test_many_entries_outweigh_the_prior_and_other_tools_follow_half_way() -> None:
    found = own_rates(TOOLS, several(1.5, 40))
    assert found.work_factor["tines"] == pytest.approx(1.5, rel=0.02)
    assert found.work_factor["sweeps"] == found.work_factor["hoe"]
    assert found.work_factor["sweeps"] == pytest.approx(1.5**0.5, rel=0.02)


def test_two_tools_keep_their_own_factors() -> None:
    found = own_rates(TOOLS, [*several(0.7, 20), *several(1.6, 20, "sweeps")])
    assert found.work_factor["tines"] == pytest.approx(0.7, rel=0.05)
    assert found.work_factor["sweeps"] == pytest.approx(1.6, rel=0.05)
    assert found.work_factor["tines"] < found.work_factor["hoe"] < found.work_factor["sweeps"]


def test_a_hidden_factor_is_found_within_its_range() -> None:
    """Farms drawn from the assumptions themselves: 80 % ranges hold about 80 %."""
    rng = np.random.default_rng(9)
    held = 0
    for _ in range(200):
        truth = 0.5 * rng.normal()
        logs = truth + 0.35 * rng.normal(size=4)
        entries = [timed(400.0 * float(np.exp(x)), 400.0, hour=9.0 + i) for i, x in enumerate(logs)]
        after = own_rates(TOOLS, entries).lessons[0].after
        held += after.low < np.exp(truth) < after.high
    assert 0.72 <= held / 200 <= 0.88


def test_order_of_entries_and_tools_does_not_matter() -> None:
    entries = [*several(0.8, 3), *several(1.4, 3, "sweeps"), timed(240.0, hour=300.0)]
    one = own_rates(TOOLS, entries)
    other = own_rates(TOOLS[::-1], entries[::-1])
    assert one == other


def test_two_minutes_logged_as_two_hours_are_doubted() -> None:
    alone = own_rates(TOOLS, [timed(120.0, 2.0)])
    assert [d.event.data["work_min"] for d in alone.doubts] == [120.0]
    assert "120 min" in alone.doubts[0].why
    assert "2 min" in alone.doubts[0].why
    assert set(alone.work_factor.values()) == {1.0}
    assert not alone.lessons


@pytest.mark.parametrize("n_right", [1, 2, 5])
def test_wrong_units_among_right_entries_change_nothing(n_right: int) -> None:
    right = several(1.2, n_right)
    wrong = [timed(4.0 * 60.0, hour=500.0 + i) for i in range(3)] + [timed(4.0 / 60.0, hour=600.0)]
    found = own_rates(TOOLS, [*wrong, *right])
    assert found.work_factor == own_rates(TOOLS, right).work_factor
    assert len(found.doubts) == 4


def test_an_entry_the_others_contradict_is_doubted() -> None:
    """Eight times the minutes might be this farm's; not where ten others say as reckoned."""
    alone = own_rates(TOOLS, [timed(32.0)])
    assert not alone.doubts
    assert alone.work_factor["tines"] > 1.5
    found = own_rates(TOOLS, [*several(1.0, 10), timed(32.0, hour=400.0)])
    assert [d.event.data["work_min"] for d in found.doubts] == [32.0]
    assert "should take about 4 min" in found.doubts[0].why
    assert found.work_factor["tines"] == pytest.approx(1.0, abs=1e-12)


def test_a_watch_read_to_the_minute_counts_less_for_a_short_pass() -> None:
    short = own_rates(TOOLS, [timed(1.0, 0.5)]).work_factor["tines"]
    long = own_rates(TOOLS, [timed(20.0, 10.0)]).work_factor["tines"]
    assert 1.0 < short < long < 2.0


def test_only_the_newest_of_a_tool_count() -> None:
    newest = several(1.5, rates_of._NEWEST, hour=2000.0)
    assert own_rates(TOOLS, [*several(0.6, 30), *newest]) == own_rates(TOOLS, newest)


def test_tools_the_farm_no_longer_has_teach_nothing() -> None:
    assert own_rates((SWEEPS,), several(2.0, 5)) == OwnRates()


def test_words_name_the_tool_and_how_often() -> None:
    says = own_rates(TOOLS, several(1.5, 6)).lessons[0].says
    assert says == ("By 6 timed passes, a pass with 'tines' takes 1.5 times as long as reckoned; "
                    "minutes are told so.")  # fmt: skip
    says = own_rates(TOOLS, several(1.0, 1)).lessons[0].says
    assert says == "By 1 timed pass, a pass with 'tines' takes as long as reckoned."


# ---------------------------------------------------- what was reckoned then


def test_passes_are_reckoned_for_what_stood_there() -> None:
    """An empty bed first, then carrots in three rows; a pass that was not made is none."""
    events = [
        entry("pass", 9.0, tool="tines", work_min=3.0),
        entry("sow", 24.0, crop="carrot", n_rows=3, row_spacing_mm=250.0),
        entry("up", 200.0),
        entry("pass", 210.0, tool="hoe", work_min=9.0),
        entry("pass", 230.0, tool="hoe", work_min=2.0, worked=False),
        entry("pass", 234.0, tool="borrowed", work_min=2.0),
        entry("pass", 240.0, tool="hoe"),
        entry("pass", 241.0, "Z9", tool="hoe", work_min=2.0),
    ]
    found = timed_passes(farm(), events, GROUNDS)
    assert [(t.of, t.found_min) for t in found] == [("tines", 3.0), ("hoe", 9.0)]
    empty = planting_then(farm(), events, events[0])
    carrots = planting_then(farm(), events, events[3])
    assert empty is not None
    assert empty.crop is None
    assert carrots is not None
    assert carrots.crop == "carrot"
    assert carrots.up_at is not None
    for t, p, tool in ((found[0], empty, TINES), (found[1], carrots, HOE)):
        way = fit(tool, GROUNDS[tool.key], p, None, has_crop_up=p.crop is not None)
        assert t.reckoned_min == work_minutes(tool, p, way)


def test_a_factor_learned_before_is_not_learned_again() -> None:
    """Reckoned is by the tables, whatever the farm's tools carry."""
    events = [entry("pass", 9.0, tool="tines", work_min=3.0)]
    slow = farm([replace(TINES, work_factor=3.0)])
    assert timed_passes(slow, events, GROUNDS) == timed_passes(farm(), events, GROUNDS)


def test_a_pass_over_a_bed_in_parts_is_reckoned_whole() -> None:
    events = [
        entry("sow", 9.0, part="n", crop="carrot", from_m=0.0, to_m=9.0),
        entry("sow", 9.0, part="s", crop="beet", from_m=9.0, to_m=18.0),
        entry("pass", 24.0, tool="tines", work_min=3.0),
        entry("pass", 25.0, part="s", tool="tines", work_min=3.0),
    ]
    whole, part = (planting_then(farm(), events, e) for e in events[2:])
    assert whole is not None
    assert (whole.from_m, whole.to_m) == (0.0, 18.0)
    assert part is not None
    assert (part.crop, part.from_m) == ("beet", 9.0)


def test_setups_are_reckoned_by_what_was_mounted_that_day() -> None:
    beds = (BED, Bed("A2", 18.0, 0.75, "middle"))
    events = [
        entry("pass", 9.0, tool="tines", setup_min=14.0),
        entry("pass", 10.0, "A2", tool="tines", setup="wide", setup_min=6.0),
        entry("pass", 34.0, tool="tines", setup="wide", setup_min=9.0),
        entry("pass", 35.0, tool="hoe", setup_min=2.0),
    ]
    found = timed_setups(farm(beds=beds), events)
    assert [(t.found_min, t.reckoned_min) for t in found] == [(14.0, 10.0), (6.0, 5.0), (9.0, 10.0)]
    own = own_rates(TOOLS, setups=found)
    assert own.setup_factor["tines"] > 1.0
    assert not own.work_factor


# ------------------------------------------------------------- hand and kill


def test_rounds_by_hand_count_less_where_the_weeds_are_not_known() -> None:
    known = own_rates(TOOLS, hand=[timed(60.0, 30.0, "hand")]).hand_factor
    unknown = own_rates(TOOLS, hand=[timed(60.0, 30.0, "hand", ln_sd=1.1)]).hand_factor
    assert 1.5 < known < 1.8
    assert 1.0 < unknown < 1.2


def test_what_is_not_known_of_all_weeds_does_not_average_out() -> None:
    """Ten rounds short by half where flush size is not known may be few weeds, not quick hands."""
    rounds = [timed(15.0, 30.0, "hand", 9.0 + i, ln_sd=1.1) for i in range(10)]
    found = own_rates(TOOLS, hand=rounds)
    assert 0.72 < found.hand_factor < 0.95
    sure = own_rates(TOOLS, hand=[timed(15.0, 30.0, "hand", 9.0 + i) for i in range(10)])
    assert sure.hand_factor == pytest.approx(0.5, rel=0.06)


def test_hand_rates_go_by_one_factor() -> None:
    tabled = hand_rates()
    own = own_hand_rates(tabled, OwnRates(hand_factor=1.5))
    assert np.allclose(own.stage_min, 1.5 * tabled.stage_min)
    same = own_hand_rates(tabled, OwnRates())
    assert (same.stage_min == tabled.stage_min).all()
    assert same.row_metre_min == tabled.row_metre_min


def test_survivors_move_the_kill_as_a_beta_of_strength_six() -> None:
    """4 of 20 left where 60 % was reckoned: (3.6 + 16) / 26."""
    found = own_rates(TOOLS, marked=[marked(4, 20)])
    tool = replace(TINES, kill_ln=found.kill_ln["tines"])
    assert 1.0 - 0.4 ** np.exp(tool.kill_ln) == pytest.approx(19.6 / 26.0, rel=1e-9)
    (lesson,) = found.lessons
    for asked, p in ((lesson.before, (3.6, 2.4)), (lesson.after, (19.6, 6.4))):
        exact = stats.beta(*p).ppf([0.1, 0.5, 0.9])
        assert np.allclose([asked.low, asked.mid, asked.high], exact, atol=1e-3)
    assert lesson.says == ("'tines' left 4 of 20 marked weeds: it kills more here than reckoned, "
                           "75% where 60% was taken.")  # fmt: skip


def test_passes_are_pooled_and_one_pass_counts_for_twenty_weeds() -> None:
    many = own_rates(TOOLS, marked=[marked(40, 200)])
    assert many.kill_ln == own_rates(TOOLS, marked=[marked(4, 20)]).kill_ln
    both = own_rates(TOOLS, marked=[marked(4, 20), marked(8, 20, hour=90.0)])
    assert 1.0 - 0.4 ** np.exp(both.kill_ln["tines"]) == pytest.approx(31.6 / 46.0, rel=1e-9)
    assert own_rates(TOOLS, marked=[marked(8, 20)]).kill_ln["tines"] == pytest.approx(0.0)


def test_a_count_against_all_odds_is_doubted() -> None:
    """All of twenty left where 80 % should be gone: Beta-binomial 3e-5."""
    wild = marked(20, 20, kill=0.8)
    assert rates_of._tail_frac(wild) == pytest.approx(
        float(stats.betabinom(20, 4.8, 1.2).cdf(0)), rel=1e-9
    )
    found = own_rates(TOOLS, marked=[wild, marked(4, 20, kill=0.8, hour=50.0)])
    assert [d.event for d in found.doubts] == [wild.event]
    assert found.kill_ln["tines"] == pytest.approx(0.0)
    assert not own_rates(TOOLS, marked=[marked(16, 20)]).doubts


def test_a_kill_of_none_or_all_tells_nothing() -> None:
    assert own_rates(TOOLS, marked=[marked(4, 20, kill=0.0), marked(4, 20, kill=1.0)]) == OwnRates()


def test_the_shift_reaches_what_a_pass_kills() -> None:
    made = kit()
    shifted = replace(TINES, kill_ln=0.4)
    args = (made.kills.kill_frac, 18.0, np.array([9.0]), unseen_weather(), made.rules)
    before, after = tool_kill_frac(TINES, *args), tool_kill_frac(shifted, *args)
    some = (before > 0.0) & (before < 1.0)
    assert some.any()
    assert (after[some] > before[some]).all()
    assert np.allclose(after, 1.0 - (1.0 - before) ** np.exp(0.4))


def test_the_factor_reaches_the_minutes_of_a_pass() -> None:
    way = fit(TINES, GROUNDS[TINES.key], planting(), None, has_crop_up=False)
    slow = with_own_rates(farm(), OwnRates({"tines": 1.5}, {"tines": 0.8})).tools[0]
    assert work_minutes(slow, planting(), way) == 1.5 * work_minutes(TINES, planting(), way)
    assert slow.setup_min == pytest.approx(8.0)
