"""The summary of a season in plain words."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.adapters.render.review_text import review_text
from scheduler.adapters.render.review_words import (
    MISSED_WORDS,
    REASON_LETTERS,
    reason_words,
    share_against_words,
    span_of_days,
    time_words,
)
from scheduler.records import MISSED_REASONS, Range, ReviewTotal, SeasonReview
from tests.adapters.review_made import (
    NONE,
    at,
    bare_season,
    big_season,
    half_season,
    small_season,
    small_windows,
    spread,
)

SEASONS = (small_season, big_season, half_season, bare_season)


def joined(review: SeasonReview, width: int = 80) -> str:
    return " ".join(review_text(review, width).split())


@pytest.mark.parametrize("season", SEASONS)
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("width", [36, 40, 72, 80, 120])
def test_no_line_is_longer_than_the_page(
    season: Callable[[], SeasonReview], units: str, width: int
) -> None:
    lines = review_text(season(), width, units).splitlines()
    assert max(map(len, lines)) <= width
    assert not any(line != line.rstrip() for line in lines)


@pytest.mark.parametrize("season", SEASONS)
def test_a_season_takes_two_screens_at_most(season: Callable[[], SeasonReview]) -> None:
    text = review_text(season())
    assert len(text.splitlines()) <= 66
    assert text.isascii()


def test_a_page_too_narrow_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 36"):
        review_text(small_season(), 35)


def test_what_it_cost_comes_first() -> None:
    text = joined(small_season())
    head = (
        "Season 2013, Quernbrook Garden (demo) 19 Mar to 26 Oct; read on 2 Nov 11 flushes in "
        "4 beds or parts of beds: 1 taken by a pass, 8 missed, 1 too small to be worth one, 1 not "
        "over yet. The missed ones cost 6.3 h (3.7-11) of hand weeding, USD 140 (82-240), and crop "
        "worth 38 min (22-64) more."
    )
    assert text.startswith(head)
    assert (
        "3 passes, each weighed alone, all else as done: 1 paid off, 1 did not, 1 in vain." in text
    )


def test_the_missed_ones_are_told_by_their_cost() -> None:
    """160, 95, 45, 31 and 30 minutes: the five dearest of eight, with reason and days."""
    lines = review_text(small_season()).splitlines()
    rows = [line for line in lines if line[:3] in (f" {place} " for place in range(1, 6))]
    assert [row.split()[1] for row in rows] == ["A4/north", "C4", "A4/south", "B4", "B4"]
    assert "10-11 Jun" in rows[0]
    assert "no hours free" in rows[0]
    assert rows[0].endswith("2.7 h (1.6-4.5)")
    assert "3-4 Jun" in rows[1]
    assert "soil never fit: wet" in rows[1]
    assert "forecast wrong" in rows[3]
    assert "model wrong" in rows[4]


def test_the_programs_own_misses_are_owned() -> None:
    said = "the program's own misses: 1 by a wrong forecast and 1 by a wrong model."
    assert said in joined(small_season())
    review = small_season()
    others = tuple(w for w in review.windows if w.reason != "not_listed")
    assert "own miss" not in joined(replace(review, windows=others))


def test_every_reason_has_its_words_and_its_letter() -> None:
    assert tuple(MISSED_WORDS) == tuple(REASON_LETTERS) == MISSED_REASONS
    assert len(set(REASON_LETTERS.values())) == len(MISSED_REASONS)
    told = {reason_words(w) for w in small_windows() if w.outcome == "missed"}
    assert len(told) == 8


def test_a_rule_that_did_better_than_the_list_is_named() -> None:
    """Also when it wins: `every 8 days` before the list, and the reader is told of chance."""
    review = small_season()
    eight = replace(review.replays[1], of_logged_frac=Range(0.55, 0.65, 1.02))
    text = joined(replace(review, replays=(review.replays[0], eight, *review.replays[2:])))
    assert "Every 8 days did best: from 45 % less to 2 % more by hand than as logged." in text
    assert "that may be chance" in text
    none = [replace(r, of_logged_frac=Range(1.01, 1.1, 1.2)) for r in review.replays[1:]]
    text = joined(replace(review, replays=(review.replays[0], *none)))
    assert "No rule did better than the season as logged." in text


def test_days_fit_against_the_years_before_and_without_any() -> None:
    assert "Set against 4 years before on record." in joined(small_season())
    bare = joined(bare_season())
    assert "One year on record, so nothing to set it against." in bare
    assert "in the years before" not in bare
    unknown = replace(bare_season(), fit_days=())
    assert "the weather is not known" in joined(unknown)


def test_a_season_without_a_journal_says_so() -> None:
    text = joined(bare_season())
    assert "No flush of weeds can be told of this season." in text
    assert "No planting is on record" in text
    assert "The missed" not in text


def test_a_season_not_over_says_so() -> None:
    text = joined(half_season())
    assert "19 Mar to 20 Jun, so far; read on 20 Jun" in text
    assert "1 not over yet" in text


def test_nothing_missed_is_told_as_that() -> None:
    review = small_season()
    hits = tuple(window for window in review.windows if window.outcome == "hit")
    text = joined(replace(review, windows=hits, totals={}))
    assert "Nothing that was worth a pass was missed." in text
    assert "Why they were missed" not in text


def test_the_reviews_own_total_goes_before_the_sum_of_its_reasons() -> None:
    review = small_season()
    own = ReviewTotal("season", 11, 8, Range(300.0, 378.0, 480.0), NONE, 0.0, 0.0)
    text = joined(replace(review, totals={**review.totals, "season": (own,)}))
    assert "The missed ones cost 6.3 h (5-8) of hand weeding" in text


def test_no_money_without_the_growers_hourly_value() -> None:
    review = small_season()
    farm = replace(review.farm, work=replace(review.farm.work, hourly_value=None))
    text = joined(replace(review, farm=farm))
    assert "USD" not in text
    assert "6.3 h (3.7-11) of hand weeding, and crop" in text


def test_quantities_in_sentences_are_in_the_growers_units() -> None:
    review = small_season()
    wet = replace(small_windows()[1], why="25.4 mm fell in the night before.")
    review = replace(review, windows=(wet,))
    assert "1.0 in fell in the night before." in joined(review)
    assert "25.4 mm fell" in " ".join(review_text(review, units="metric").split())


def test_few_data_are_told_as_few() -> None:
    assert "2 looks after a pass are too few to say anything." in joined(small_season())


def test_what_nothing_is_on_record_for_is_named_in_one_line() -> None:
    review = small_season()
    scores = (replace(review.scores[2], n=0, words="No looks."), *review.scores[3:])
    text = joined(replace(review, scores=scores))
    assert "Nothing is on record to score: kill." in text
    assert "No looks." not in text
    assert "74 lines were sure" in text


def test_a_long_reason_is_told_in_whole_clauses() -> None:
    clauses = [f"clause number {n} has some words to say" for n in range(9)]
    window = replace(small_windows()[1], why="; ".join(clauses))
    lines = review_text(replace(small_season(), windows=(window,))).splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith(" 1 "))
    told = " ".join(line.strip() for line in lines[at + 1 : at + 3])
    assert told == f"{'; '.join(clauses[:4]).capitalize()}."


def test_who_gave_the_data_is_named() -> None:
    assert "Surface observations, public domain." in joined(small_season())


def test_minutes_and_hours() -> None:
    assert time_words(Range(0.0, 0.2, 0.4)) == "under a minute"
    assert time_words(Range(20.0, 40.0, 179.0)) == "20-180 min"
    assert time_words(Range(2.0, 60.0, 240.0)) == "up to 4 h"
    assert time_words(Range(600.0, 700.0, 6100.0)) == "10-100 h"
    assert time_words(spread(600.0, 1.0)) == "10 h"
    assert share_against_words(Range(0.1, 0.2, 0.3)) == "10-30 % more"
    assert span_of_days(at(5, 28).date(), at(6, 3).date()) == "28 May-3 Jun"
    assert span_of_days(at(6, 3).date(), at(6, 3).date()) == "3 Jun"


def test_what_passes_saved_is_a_sum_of_its_own_and_not_of_their_ranges() -> None:
    """A tool's total, 7 h, goes before the ends of its passes added; the season's stands above."""
    review = small_season()
    passes = tuple(replace(p, saved_min=Range(0.0, 1.0, 9.0)) for p in review.passes)
    tools = tuple(replace(t, saved_min=Range(360.0, 420.0, 480.0)) for t in review.totals["tool"])
    season = replace(tools[0], name="season", saved_min=Range(600.0, 660.0, 720.0))
    totals = {**review.totals, "tool": tools, "season": (season,)}
    text = joined(replace(review, passes=passes, totals=totals))
    assert "1 did not, 1 in vain; added up so, they saved 11 h (10-12) by hand." in text
    assert text.count("7 h (6-8)") == 2


def test_a_week_not_read_to_its_end_is_no_week_without_a_day() -> None:
    """Two days of the last week were read, and none of them fit: that is no week without any."""
    review = bare_season()
    whole = next(w for w in review.fit_days if review.from_on <= w.week_on)
    begun = replace(whole, week_on=whole.week_on + timedelta(days=7), days=Range(0.0, 0.0, 0.0))
    review = replace(review, fit_days=(whole, begun), to_on=begun.week_on + timedelta(days=1))
    assert f"{whole.days.mid:.1f} days a week." in joined(review)
    assert "no day at all" not in joined(review)
    assert "no day at all" in joined(replace(review, to_on=begun.week_on + timedelta(days=6)))
    none = replace(review, fit_days=(begun,))
    assert "no whole week was read." in joined(none)


def test_a_season_played_without_a_pass_had_no_tool_out() -> None:
    review = small_season()
    none = replace(review.replays[1], rule="no pass at all", n_passes=NONE, machine_min=NONE)
    text = joined(replace(review, replays=(review.replays[0], none)))
    assert re.search(r"no pass at all +[0-9-]+ none 0 The same weather", text)
