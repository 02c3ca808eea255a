"""A season read back, on a small made farm. Everything is invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from scheduler.errors import UsageError, WeatherMissingError
from scheduler.records import (
    MISSED_REASONS,
    OWN_MISSES,
    WINDOW_OUTCOMES,
    Bed,
    Farm,
    FlushWindow,
    SeasonReview,
)
from scheduler.service.review.mornings import verdicts_anew
from scheduler.service.review.season import season_to_review
from scheduler.service.season_review import season_review
from tests.scenes.made import MadeStore, forecast, local, made_farm, made_hours, observed

N_MEMBERS = 4
START = local(2013, 3, 25)
NOW = local(2013, 6, 20, 12)
BEDS = (
    Bed("S1", 18.0, 0.75, "sand"),
    Bed("S2", 18.0, 0.75, "sand"),
    Bed("L1", 18.0, 0.75, "silt"),
)
FARM = made_farm(BEDS)
HOED_ON = ((5, 17), (5, 25), (6, 6))
WETTINGS = ((4, 24, 12.0), (5, 4, 14.0), (5, 19, 12.0), (6, 1, 12.0), (6, 12, 12.0))


class Issued:
    """Lists as they were issued, by local day."""

    def __init__(self, lists: Mapping[tuple[int, int], Mapping[str, Any]]) -> None:
        self.lists = [
            (local(2013, *on, 5, 30), {"as_of": local(2013, *on, 5, 30).isoformat(), **answer})
            for on, answer in sorted(lists.items())
        ]

    def write_list(self, as_of: datetime, recorded_at: datetime, answer: Mapping[str, Any]) -> int:
        raise NotImplementedError

    def latest_list(self, known_at: datetime) -> Mapping[str, Any] | None:
        return self.list_between(known_at, START, known_at)

    def list_between(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Mapping[str, Any] | None:
        found = [a for at, a in self.lists if at <= known_at and start_at <= at < end_at]
        return found[-1] if found else None


def line(bed: str, verdict: str, because: str | None = None) -> dict[str, Any]:
    """A line of an issued list, as far as the review reads it."""
    return {
        "bed": bed, "part": None, "verdict": verdict, "because": because, "action": None,
        "sure": None, "soil": {"workable_from": None},
    }  # fmt: skip


def weather(rain: list[tuple[datetime, float]] | None = None) -> MadeStore:
    """Warm days; a soaking every ten days or so, in the night."""
    falls = [
        (local(2013, month, day, 1 + i), mm / 4.0) for month, day, mm in WETTINGS for i in range(4)
    ]
    hours = made_hours(START, 24 * 88, mean_c=17.0, rain=[*falls, *(rain or ())])
    return MadeStore(values=observed(START, hours))


def kept() -> MadeStore:
    """Lettuce set in two beds on 6 May; one is hoed, the other left alone. The third lies bare."""
    store = weather()
    for bed in ("S1", "S2", "L1"):
        store.log("prep", local(2013, 4, 18, 14), bed, depth_mm=100.0)
    for bed in ("S1", "S2"):
        store.log("prep", local(2013, 5, 6, 9), bed, depth_mm=100.0)
        store.log(
            "plant", local(2013, 5, 6, 15), bed, crop="lettuce", n_rows=2, row_spacing_mm=375.0
        )
    for month, day in HOED_ON:
        store.log(
            "pass", local(2013, month, day, 14), "S1", tool="hoe", depth_mm=20.0, work_min=6.0
        )
    store.log("hand", local(2013, 6, 14, 10), "S2", work_min=40.0)
    return store


def review(
    store: MadeStore, farm: Farm = FARM, lists: Issued | None = None, now: datetime = NOW
) -> SeasonReview:
    return season_review(farm, store, store, lists, now, n_members=N_MEMBERS, replay=None)


@lru_cache(maxsize=1)
def plain() -> SeasonReview:
    return review(kept())


def missed(found: SeasonReview, bed: str) -> list[FlushWindow]:
    return [w for w in found.windows if w.bed == bed and w.outcome == "missed"]


# ------------------------------------------------------------------ what is always so


def test_windows_hold_together() -> None:
    found = plain()
    assert found.windows
    for w in found.windows:
        assert w.outcome in WINDOW_OUTCOMES
        assert w.opened_at <= w.ripe_at <= w.last_good_at
        assert w.ripe_at <= w.closed_at
        assert (w.reason is not None) == (w.outcome == "missed")
        assert w.reason is None or w.reason in MISSED_REASONS
        assert w.own_miss is None or w.own_miss in OWN_MISSES
        assert w.weeds_m2.low <= w.weeds_m2.mid <= w.weeds_m2.high
        assert w.why
        if w.outcome != "missed":
            assert w.cost_min.high == 0.0
            assert w.best_at is None
        else:
            assert w.cost_min.low <= w.cost_min.mid <= w.cost_min.high
            assert w.best_at is not None
            assert w.ripe_at - timedelta(hours=1) <= w.best_at <= w.last_good_at


def test_strips_and_rain_have_a_value_a_day() -> None:
    found = plain()
    n_days = (found.to_on - found.from_on).days + 1
    assert found.rain_mm.shape == (n_days,)
    assert found.rain_mm.sum() == pytest.approx(62.0, rel=0.1)
    assert [s.bed for s in found.strips] == ["S1", "S2", "L1"]
    for strip in found.strips:
        assert strip.weeds_m2.shape == (n_days, 5)
        assert np.isfinite(strip.weeds_m2).all()
        assert (strip.weeds_m2 >= 0.0).all()
    assert [crop for _, _, crop in found.strips[0].crops] == [None, "lettuce"]
    assert [kind for _, kind, _ in found.strips[0].done].count("pass") == len(HOED_ON)


def test_the_minutes_of_the_season_are_those_logged() -> None:
    totals = plain().totals
    for heading in ("planting", "crop", "week"):
        assert sum(t.machine_min for t in totals[heading]) == pytest.approx(6.0 * len(HOED_ON))
        assert sum(t.hand_min for t in totals[heading]) == pytest.approx(40.0)


# ------------------------------------------------------------------------- scenes


def test_the_hoed_bed_was_hit_and_the_other_missed() -> None:
    found = plain()
    hoed = [w for w in found.windows if w.bed == "S1" and w.crop == "lettuce"]
    assert any(w.outcome == "hit" for w in hoed)
    assert not missed(found, "S1")
    left = missed(found, "S2")
    assert left
    assert all(w.reason == "no_list" for w in left)
    assert max(w.cost_min.mid + w.yield_min.mid for w in left) > 3.0


def test_passes_killed_and_saved() -> None:
    passes = plain().passes
    assert [p.bed for p in passes] == ["S1"] * len(HOED_ON)
    assert all(p.is_timed and p.work_min == 6.0 for p in passes)
    assert all(p.killed_m2.mid > 0.0 for p in passes)
    assert {p.did for p in passes} <= {"hit", "little"}


def test_a_round_by_hand_is_held_against_what_was_logged() -> None:
    score = next(s for s in plain().scores if s.what == "minutes of a round by hand")
    assert score.n == 1
    assert score.words.startswith("few data")


def test_a_season_that_is_not_over_has_open_windows_and_no_day_ahead() -> None:
    now = local(2013, 6, 9, 12)
    found = review(kept(), now=now)
    assert not found.is_over
    assert found.to_on == now.date()
    assert all(w.closed_at <= now for w in found.windows)
    still = [w for w in found.windows if w.outcome == "open"]
    assert "L1" in {w.bed for w in still}
    assert all(w.closed_by == "end" and w.reason is None for w in still)


def test_without_an_hour_of_ones_own_every_window_passed_for_want_of_them() -> None:
    work = replace(FARM.work, hours=(0.0,) * 7)
    found = review(kept(), replace(FARM, work=work))
    left = missed(found, "S2")
    assert left
    assert {w.reason for w in left} == {"no_hours"}
    assert "no hours on a" in left[0].why
    assert all(w.fit_hours.high == 0.0 for w in found.windows)


def test_rain_day_and_night_leaves_no_fit_day() -> None:
    """Two millimetres in every hour from 10 May to 18 June: the ripe flushes drown."""
    rain = [(local(2013, 5, 10) + timedelta(hours=i), 2.0) for i in range(24 * 39)]
    store = kept()
    store.values = weather(rain).values
    found = review(store)
    late = [w for w in missed(found, "S2") if w.ripe_at > local(2013, 5, 12)]
    assert late
    assert {(w.reason, w.because) for w in late} == {("never_fit", "wet")}


def test_a_visit_in_vain_closes_its_half_day_and_the_pass_was_in_vain() -> None:
    store = kept()
    first = missed(plain(), "S2")[0]
    day = first.ripe_at
    while day <= first.last_good_at + timedelta(days=1):
        for hour in (10, 15):
            store.log(
                "pass", local(2013, day.month, day.day, hour), "S2", tool="hoe", worked=False,
                found="too wet",
            )  # fmt: skip
        day += timedelta(days=1)
    found = review(store)
    same = next(w for w in found.windows if w.bed == "S2" and w.opened_at == first.opened_at)
    assert (same.reason, same.because) == ("never_fit", "wet")
    vain = [p for p in found.passes if p.bed == "S2"]
    assert {p.did for p in vain} == {"in vain"}
    hours = next(s for s in found.scores if s.what.startswith("working hours (hindcast)"))
    assert hours.brier is not None
    assert hours.n == len(vain) + len(HOED_ON)


# -------------------------------------------------------------------------- lists


def every_day(bed: str, verdict: str, because: str | None = None) -> Issued:
    days = [START + timedelta(days=i) for i in range(5, 87)]
    return Issued(
        {(d.month, d.day): {"beds": [line(bed, verdict, because)], "not_reached": []} for d in days}
    )


def test_a_list_that_named_it_every_morning_was_not_followed() -> None:
    left = missed(review(kept(), lists=every_day("S2", "go")), "S2")
    assert left
    assert {w.reason for w in left} == {"not_done"}
    assert "the list named it" in left[0].why


def test_a_list_that_never_named_it_missed_it_itself() -> None:
    """The costliest morning is computed again with the weather that came, and says whose miss."""
    found = review(kept(), lists=every_day("S2", "wait", "weeds_small"))
    left = missed(found, "S2")
    assert left
    assert {w.reason for w in left} == {"not_listed"}
    assert {w.because for w in left} == {"weeds_small"}
    told = [w for w in left if w.own_miss is not None]
    assert told
    for w in told:
        named = "it names it" in w.why
        assert w.own_miss == ("forecast" if named else "model")
    assert any("computed again" in note for note in found.notes)
    assert any("sums come to more than the middles" in note for note in found.notes)


def test_lists_of_other_beds_alone_leave_it_unlisted() -> None:
    left = missed(review(kept(), lists=every_day("S1", "go")), "S2")
    assert {w.reason for w in left} == {"no_list"}


def test_a_line_counts_once_until_its_bed_is_no_longer_named() -> None:
    """S1 is named from 10:00 to 16:00 on all days but 20 May: two statements, both come true."""
    days = [START + timedelta(days=i) for i in range(45, 80)]

    def said(day: datetime) -> dict[str, Any]:
        if (day.month, day.day) == (5, 20):
            return line("S1", "wait", "weeds_small")
        start, end = (local(2013, day.month, day.day, hour) for hour in (10, 16))
        action = {"tool": "hoe", "start": start.isoformat(), "end": end.isoformat()}
        fit = {"workable_from": local(2013, day.month, day.day, 6).isoformat()}
        return {**line("S1", "go"), "action": action, "sure": 0.7, "soil": fit}

    lists = Issued({(d.month, d.day): {"beds": [said(d)], "not_reached": []} for d in days})
    scores = {s.what: s for s in review(kept(), lists=lists).scores}
    assert scores["lines of issued lists"].bins == ((0.7, 1.0, 2),)
    assert scores["lines of issued lists"].brier == pytest.approx(0.09)
    visits = scores["working hours, as lists said them"]
    assert visits.n == len(HOED_ON)
    assert "3 of 3 were; before them 0 of 0" in visits.words


def test_a_forecast_that_did_not_come_is_told_from_what_came() -> None:
    """On 16 May rain was forecast that stayed away: with it no pass, without it one."""
    store = kept()
    on = local(2013, 5, 16, 5)
    wet = made_hours(
        on, 240, mean_c=17.0, rain=[(on + timedelta(hours=1 + i), 4.0) for i in range(12)]
    )
    store.forecasts = [forecast(on, wet)]
    season, _ = season_to_review(FARM, store, store, None, NOW, None, N_MEMBERS)
    day = season.book.day_at(season.book.hour(on))
    then, came = (
        verdicts_anew(season, day, reason, ["S2"], store, store)["S2", ""][0]
        for reason in ("no_list", "not_listed")
    )
    assert (then, came) == ("wait", "go")


# ------------------------------------------------------------------ what is missing


def test_a_season_without_a_journal_tells_rain_and_fit_days() -> None:
    store = weather()
    found = season_review(
        FARM, store, store, None, local(2013, 6, 20), 2013, n_members=N_MEMBERS, replay=None
    )
    assert found.windows == found.passes == found.strips == ()
    assert found.rain_mm.sum() > 50.0
    assert {w.soil_name for w in found.fit_days} == {"sand", "silt"}
    assert any("no planting on record" in note for note in found.notes)
    assert all(score.n == 0 for score in found.scores)


def test_fit_days_of_a_week_are_at_most_its_days() -> None:
    for week in plain().fit_days:
        assert 0.0 <= week.days.low <= week.days.mid <= week.days.high <= 7.0
        assert week.n_past_years == 0
        assert week.past_d is None
    assert {w.soil_name for w in plain().fit_days if w.days.mid > 0.0} == {"sand", "silt"}


def test_a_past_year_on_record_stands_beside_the_fit_days() -> None:
    """The same spring a year before, but for rain day and night in its second half of May."""
    store = kept()
    start = local(2012, 3, 20)
    rain = [(local(2012, 5, 14) + timedelta(hours=i), 1.5) for i in range(24 * 14)]
    store.values += observed(start, made_hours(start, 24 * 95, mean_c=17.0, rain=rain))
    found = review(store)
    weeks = {w.week_on.isoformat(): w for w in found.fit_days if w.soil_name == "silt"}
    assert {w.n_past_years for w in weeks.values()} == {1}
    wet = weeks["2013-05-20"]
    assert wet.past_d is not None
    assert wet.past_d.mid == 0.0 < wet.days.mid


def test_an_entry_made_later_changes_nothing() -> None:
    store = kept()
    late = NOW + timedelta(days=1)
    store.log("pass", local(2013, 5, 20, 14), "S2", tool="hoe", depth_mm=20.0, recorded_at=late)
    assert [w.why for w in review(store).windows] == [w.why for w in plain().windows]


def test_a_year_ahead_and_a_year_without_weather_are_told_in_one_line() -> None:
    store = kept()
    with pytest.raises(UsageError, match="season 2014"):
        season_review(FARM, store, store, None, NOW, 2014, replay=None)
    with pytest.raises(WeatherMissingError, match="season 2011"):
        season_review(FARM, store, store, None, NOW, 2011, replay=None)
    with pytest.raises(UsageError, match="time zone"):
        season_review(FARM, store, store, None, NOW.replace(tzinfo=None), replay=None)


def test_weather_that_ends_before_the_season_is_said() -> None:
    found = review(kept(), now=local(2014, 1, 5))
    assert found.is_over
    assert found.to_on < local(2013, 6, 25).date()
    assert any("no weather was read after" in note for note in found.notes)
