"""What entries changed, and doubted entries, as the pages, the mail and the answer tell them."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import jsonschema
import pytest
from pydantic import TypeAdapter

from scheduler.adapters.render.answer_json import answer, schema
from scheduler.adapters.render.bed_page import bed_text
from scheduler.adapters.render.lesson_words import (
    before_and_after,
    doubt_words,
    looks_words,
    minutes_of_work,
)
from scheduler.adapters.render.mail_html import mail_html
from scheduler.adapters.render.mail_text import mail_text
from scheduler.adapters.render.text import today_text
from scheduler.records import DoubtedEntry, Event, Lesson, Morning, MorningNews, Range
from tests.adapters.test_render_bed_page import made_page

GOLDEN = Path(__file__).parents[1] / "golden"
ZONE = ZoneInfo("America/New_York")
NOW = datetime(2013, 5, 14, 5, 30, tzinfo=ZONE)
AT = datetime(2013, 5, 13, 12, tzinfo=UTC)
LATER = Lesson(
    "timing", "B4", Range(-4.0, -2.9, 0.2), Range(-2.5, -0.6, float("inf")),
    "d until half of the flush is up", 2,
    "Your looks say this bed runs 2 days later than the model thought; adjusted.",
)  # fmt: skip
FEWER = Lesson(
    "weeds", "B4", Range(33.0, 243.0, 870.0), Range(20.6, 42.0, 88.0), "weeds/m2 standing", 2,
    "Your looks say 42 weeds/m2, the model thought 243 weeds/m2; adjusted.",
)  # fmt: skip
SLOWER = Lesson(
    "work", "sweeps", Range(0.53, 1.0, 1.9), Range(1.3, 1.53, 1.8), "of the minutes reckoned", 6,
    "By 6 timed passes, a pass with 'sweeps' takes 1.5 times as long as reckoned.",
)  # fmt: skip
DOUBT = DoubtedEntry(
    Event("look-0051", "look", AT, AT, "B4", None, {"n_true_leaf": 20.0}),
    "does not fit this bed (prepared on 12 May, about 140 weeds/m2 reckoned then) and is not "
    "learned from. Wrong bed or stage?",
)


def morning() -> Morning:
    read = (GOLDEN / "morning_spring.json").read_text()
    made: Morning = TypeAdapter(Morning).validate_json(read)
    return replace(made, doubts=(DOUBT,))


def one_line(page: str) -> str:
    return " ".join(page.split())


def test_timing_is_told_in_dates_and_beyond_the_days_in_sight_as_later() -> None:
    assert before_and_after(LATER, NOW, "metric", ZONE) == (
        "half of the flush is up: Sat 11 May (10-14 May) before, Mon 13 May (11 May or later) after"
    )
    whole = replace(LATER, after=Range(-0.2, -0.1, 0.1), before=Range(-20.0, -3.0, 3.0))
    assert before_and_after(whole, NOW, "metric", ZONE) == (
        "half of the flush is up: Sat 11 May (24 Apr-17 May) before, Tue 14 May after"
    )


@pytest.mark.parametrize(
    ("units", "words"),
    [
        ("metric", "240 (33-870) before, 42 (21-88) after, weeds per m2 standing"),
        ("us", "23 (3.1-81) before, 3.9 (1.9-8.2) after, weeds per sq ft standing"),
    ],
)
def test_numbers_of_weeds_have_no_false_digits(units: str, words: str) -> None:
    assert before_and_after(FEWER, NOW, units, ZONE) == words


def test_what_it_rests_on() -> None:
    days = (date(2013, 5, 12), date(2013, 5, 13), date(2013, 5, 13))
    assert looks_words(days, ()) == "3 looks here, 12 May and 13 May"
    assert looks_words(days[:1], ("B5", "B6")) == (
        "1 look here, 12 May; looks at B5, B6, on the same soil"
    )
    many = tuple(f"B{n}" for n in range(1, 9))
    assert looks_words((), many) == "looks at B1, B2, B3, B4, B5 and 3 more, on the same soil"
    month = tuple(date(2013, 5, day) for day in range(1, 9))
    assert looks_words(month, ()) == "8 looks here, the last 6 May, 7 May and 8 May"
    assert looks_words((), ()) == ""


def test_the_stopwatch_takes_one_sentence() -> None:
    other = replace(SLOWER, of="wheel hoe", n=1, after=Range(0.6, 0.8, 1.1))
    assert minutes_of_work([LATER, SLOWER, other]) == [
        "Work by your stopwatch, against what was reckoned: sweeps 1.5 times (6 timed), wheel hoe "
        "0.8 times (1 timed)."
    ]
    hand = replace(SLOWER, what="hand weeding", of="", n=7, after=Range(0.8, 1.03, 1.3))
    assert minutes_of_work([hand]) == [
        "Weeding by your stopwatch, against what was reckoned: by hand the same (7 timed)."
    ]


def test_a_doubted_entry_is_told_with_what_takes_it_back() -> None:
    assert doubt_words(DOUBT, "us", ZONE) == (
        "Look of Mon 13 May at B4 (20 true leaves, as scratched up): does not fit this bed "
        "(prepared on 12 May, about 13 weeds per sq ft reckoned then) and is not learned from. "
        "Wrong bed or stage? To take it back: whitethread log undo look-0051"
    )


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_the_bed_page_has_one_place_for_all(width: int) -> None:
    page = replace(
        made_page(),
        lessons=(LATER, FEWER, SLOWER),
        doubts=(DOUBT,),
        looks_on=(date(2013, 5, 12), date(2013, 5, 13)),
        looks_of=("B5",),
    )
    text = bed_text(page, width, is_plotted=False)
    assert max(map(len, text.splitlines())) <= width
    said = one_line(text)
    head = "What your entries changed (2 looks here, 12 May and 13 May; looks at B5, on the same "
    assert head in said
    assert "runs 2 days later than the model thought; adjusted. Half of the flush is up:" in said
    assert "say 42 weeds per m2, the model thought 243 weeds per m2; adjusted. 240 (33-870)" in said
    assert "sweeps 1.5 times (6 timed)" in said
    assert "a pass with" not in said  # told once
    assert "Entries that are not learned from: Look of Mon 13 May at B4" in said


def test_opposite_nothing_learned_nothing_said() -> None:
    text = bed_text(made_page(), 80, is_plotted=False)
    assert "changed" not in text
    assert "learned" not in text


@pytest.mark.parametrize("width", [40, 80])
def test_the_list_tells_a_doubted_entry(width: int) -> None:
    text = today_text(morning(), width)
    assert max(map(len, text.splitlines())) <= width
    assert one_line(text).count("Look of Mon 13 May at B4") == 1
    assert "Doubted" not in today_text(replace(morning(), doubts=()), width)


def test_many_doubted_entries_do_not_fill_the_list() -> None:
    text = one_line(today_text(replace(morning(), doubts=(DOUBT,) * 5), 80))
    assert text.count("Look of Mon 13 May") == 2
    assert "And 3 more: see the pages of their beds." in text


def test_the_mail_tells_it_in_text_and_html() -> None:
    for render in (mail_text, mail_html):
        shown = re.sub(r"<[^>]+>", "", render(morning(), MorningNews())).replace("&nbsp;", " ")
        said = one_line(shown)
        assert said.count("Look of Mon 13 May at B4") == 1
        assert "whitethread log undo look-0051" in said


def test_the_answer_names_the_entry_and_fits_its_schema() -> None:
    told = json.loads(json.dumps(answer(morning())))
    jsonschema.validate(told, schema())
    assert told["doubts"] == [
        {
            "event_id": "look-0051",
            "kind": "look",
            "bed": "B4",
            "part": None,
            "happened_at": "2013-05-13T08:00:00-04:00",
            "why": DOUBT.why,
        }
    ]
    assert "doubts" not in answer(replace(morning(), doubts=()))


def test_what_looks_changed_is_one_line_of_the_list_and_no_clause() -> None:
    made = morning()
    words = "your looks: 2 days later than thought, a sixth of the weeds"
    beds = tuple(
        replace(bed, why=(*bed.why, words)) if bed.bed == "B4" else bed for bed in made.beds
    )
    text = one_line(today_text(replace(made, beds=beds), 80))
    assert "by your looks B4 2 days later than thought, a sixth of the weeds" in text
    assert "your looks:" not in text
    assert "Learned" not in today_text(made, 80)
    many = tuple(replace(bed, why=(*bed.why, words)) for bed in made.beds)
    assert text.count("Learned") == 1
    told = one_line(today_text(replace(made, beds=many), 80))
    assert f"{len(many) - 4} more beds" in told
    told = one_line(today_text(replace(made, beds=(*many[:5], *made.beds[5:])), 80))
    assert "; 1 more bed; beds on the same soil follow part of the way" in told


def test_an_entry_of_a_part_names_it() -> None:
    event = replace(DOUBT.event, part="north", happened_at=AT - timedelta(days=1))
    assert "Look of Sun 12 May at B4/north" in doubt_words(replace(DOUBT, event=event), "us", ZONE)
