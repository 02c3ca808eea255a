"""One-line notes: what each says, and when that was.

Moments are checked against wall-clock times written out by hand. New York is at UTC-4 in May;
in 2013 its clocks went forward on 10 March and back on 3 November.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time
from typing import Any
from unittest.mock import ANY

import pytest

from scheduler.adapters.journal import NOTE_KINDS, parse_note
from scheduler.adapters.journal.entries import KIND_RULES
from scheduler.errors import JournalError, WhitethreadError
from scheduler.records import EVENT_KINDS, Event

BEDS = ("B4", "B14", "North field 2", "#7")
TOOLS = ("tine", "finger weeder")
CROPS = ("carrot", "beet", "beet, golden", "onion_set")
NOW = datetime.fromisoformat("2013-05-08T08:30:00-04:00")


def read(text: str, now: datetime = NOW, **rest: Any) -> Event:
    return parse_note(text, now, "America/New_York", BEDS, TOOLS, CROPS, **rest)


@pytest.mark.parametrize(
    ("text", "kind", "bed", "part", "data"),
    [
        ("water b4 12 mm", "water", "B4", None, {"water_mm": 12.0}),
        ("water B4 0,5 in part a", "water", "B4", "a", {"water_mm": 12.7}),
        ("water B4 90 min at 8 mm/h", "water", "B4", None, {"water_mm": 12.0}),
        ("water B4 part a 2 h at 0.25 in per hour", "water", "B4", "a", {"water_mm": 12.7}),
        ("water B4 1,5 hours at 4 mm an hour", "water", "B4", None, {"water_mm": 6.0}),
        (
            "sow B4 carrot 3 rows 12 in apart 15 mm deep from 0 ft to 30 ft",
            "sow",
            "B4",
            None,
            {
                "crop": "carrot",
                "n_rows": 3,
                "row_spacing_mm": 304.8,
                "depth_mm": 15.0,
                "from_m": 0.0,
                "to_m": 9.144,
            },
        ),
        ("SOW  B4/north Beet, golden", "sow", "B4", "north", {"crop": "beet, golden"}),
        ("plant north field 2 onion set", "plant", "North field 2", None, {"crop": "onion_set"}),
        ("prep B14", "prep", "B14", None, {}),
        ("prep B14 60 mm deep tine", "prep", "B14", None, {"tool": "tine", "depth_mm": 60.0}),
        ("pass #7 tine", "pass", "#7", None, {"tool": "tine"}),
        (
            "pass B4 tine not worked too wet 10 min",
            "pass",
            "B4",
            None,
            {"tool": "tine", "worked": False, "found": "too wet", "work_min": 10.0},
        ),
        (
            "pass B4/north tine 15 mm deep Not Worked Too Hard",
            "pass",
            "B4",
            "north",
            {"tool": "tine", "depth_mm": 15.0, "worked": False, "found": "too hard"},
        ),
        (
            "pass B14 finger weeder 20 mm deep 1.5 h setup gap of 2 not worked",
            "pass",
            "B14",
            None,
            {
                "tool": "finger weeder",
                "depth_mm": 20.0,
                "work_min": 90.0,
                "setup": "gap of 2",
                "worked": False,
            },
        ),
        ("hand B4 1 h 20 min", "hand", "B4", None, {"work_min": 80.0}),
        (
            'pass B4 tine setup "part of two" 6min worked',
            "pass",
            "B4",
            None,
            {"tool": "tine", "setup": "part of two", "work_min": 6.0, "worked": True},
        ),
        (
            "pass B4 tine setup gap of 2 worked fair 6 min",
            "pass",
            "B4",
            None,
            {"tool": "tine", "setup": "gap of 2", "worked": True, "how": "fair", "work_min": 6.0},
        ),
        (
            "pass B4 tine Worked WELL",
            "pass",
            "B4",
            None,
            {"tool": "tine", "worked": True, "how": "well"},
        ),
        (
            "pass B4 worked poorly tine",
            "pass",
            "B4",
            None,
            {"tool": "tine", "worked": True, "how": "poorly"},
        ),
        (
            "look B4 12 threads, 3 seed leaf, 2 true leaves 1 young 0 established per m2",
            "look",
            "B4",
            None,
            {"thread": 12.0, "seed_leaf": 3.0, "true_leaf": 2.0, "young": 1.0, "established": 0.0},
        ),
        ("look B4 nothing", "look", "B4", None, {"nothing": True}),
        ("feel B4 too wet", "feel", "B4", None, {"feel": "wet"}),
        ("feel B4 fit", "feel", "B4", None, {"feel": "crumbles"}),
        ("hand B4", "hand", "B4", None, {}),
        ("hand B4 40 min", "hand", "B4", None, {"work_min": 40.0}),
        ("up B4", "up", "B4", None, {}),
        ("rooted B4/a", "rooted", "B4", "a", {}),
        ("clear B4", "clear", "B4", None, {}),
    ],
)
def test_what_a_note_says(
    text: str, kind: str, bed: str, part: str | None, data: dict[str, object]
) -> None:
    event = read(text)
    assert (event.kind, event.bed, event.part, dict(event.data)) == (kind, bed, part, data)
    assert event.happened_at == event.recorded_at == NOW


@pytest.mark.parametrize(
    ("words", "day"),
    [
        ("5 May", "2013-05-05"),
        ("8 may", "2013-05-08"),
        ("9 May", "2012-05-09"),  # ahead of 8 May 2013, so last year's
        ("30 September", "2012-09-30"),
        ("3 Sept", "2012-09-03"),
    ],
)
def test_a_day_may_be_said_by_its_month(words: str, day: str) -> None:
    assert read(f"sow B4 carrot {words} 3 rows") == replace(
        read(f"sow B4 carrot {day} 3 rows"), event_id=ANY
    )


def test_a_dry_day_can_be_logged() -> None:
    event = read("rain none yesterday")
    assert event.data["rain_mm"] == 0.0
    assert "is_trace" not in event.data
    assert event.data["end_at"] == "2013-05-08T04:00:00+00:00"


def test_every_kind_but_undo_has_a_note() -> None:
    assert set(NOTE_KINDS) == set(EVENT_KINDS) - {"undo"} == set(KIND_RULES) - {"undo"}


def test_counts_per_square_foot() -> None:
    event = read("look B4 10 thread 0.5 young per ft2")
    # one square foot is 0.09290304 m2, by definition of the foot
    assert event.data["thread"] == pytest.approx(10 / 0.09290304, rel=1e-12)
    assert event.data["young"] == pytest.approx(0.5 / 0.09290304, rel=1e-12)


def test_a_remark_follows_a_lone_hash() -> None:
    assert read("up B4 # half of it, see #7").note == "half of it, see #7"
    assert read("up B4 #").note == ""


@pytest.mark.parametrize(
    ("text", "start", "end"),
    [
        ("rain 18 mm", "2013-05-07T07:00-04:00", "2013-05-08T07:00-04:00"),
        ("rain 18 mm last night", "2013-05-07T18:00-04:00", "2013-05-08T07:00-04:00"),
        ("rain last night 18 mm", "2013-05-07T18:00-04:00", "2013-05-08T07:00-04:00"),
        ("rain 18 mm today", "2013-05-08T00:00-04:00", "2013-05-08T08:30-04:00"),
        ("rain 18 mm this morning", "2013-05-08T05:00-04:00", "2013-05-08T08:30-04:00"),
        ("rain 18 mm yesterday", "2013-05-07T00:00-04:00", "2013-05-08T00:00-04:00"),
        ("rain 18 mm 2013-05-04", "2013-05-04T00:00-04:00", "2013-05-05T00:00-04:00"),
        ("rain 18 mm on 2013-05-04", "2013-05-04T00:00-04:00", "2013-05-05T00:00-04:00"),
        ("rain 18 mm 2013-05-04 06:30", "2013-05-03T06:30-04:00", "2013-05-04T06:30-04:00"),
        ("rain 18 mm yesterday at 9:00", "2013-05-06T09:00-04:00", "2013-05-07T09:00-04:00"),
        ("rain 18 mm at 8:00", "2013-05-07T08:00-04:00", "2013-05-08T08:00-04:00"),
        (
            "rain 18 mm from yesterday 18:00 to today 06:00",
            "2013-05-07T18:00-04:00",
            "2013-05-08T06:00-04:00",
        ),
        (
            "rain 18 mm from 2013-05-07 18:00 to 20:15",
            "2013-05-07T18:00-04:00",
            "2013-05-07T20:15-04:00",
        ),
        (
            "rain 18 mm from 2013-05-03 to 2013-05-05",
            "2013-05-03T00:00-04:00",
            "2013-05-06T00:00-04:00",
        ),
        # the day the clocks went forward has 23 hours, the day they went back 25
        ("rain 18 mm 2013-03-10", "2013-03-10T00:00-05:00", "2013-03-11T00:00-04:00"),
        ("rain 18 mm 2012-11-04", "2012-11-04T00:00-04:00", "2012-11-05T00:00-05:00"),
    ],
)
def test_when_it_rained(text: str, start: str, end: str) -> None:
    event = read(text)
    assert event.data["rain_mm"] == 18.0
    found = [datetime.fromisoformat(event.data[key]) for key in ("start_at", "end_at")]
    assert found == [datetime.fromisoformat(start), datetime.fromisoformat(end)]
    assert event.happened_at == found[1]


def test_the_hour_at_which_the_gauge_is_read_is_told_once() -> None:
    """Farm file: gauge_read_at = "09:30"; what says its own moment keeps it."""
    now = datetime.fromisoformat("2013-05-08T11:00:00-04:00")
    at = time(9, 30)
    data = read("rain 3 mm", now, gauge_read_at=at).data
    assert data["start_at"] == "2013-05-07T13:30:00+00:00"
    assert data["end_at"] == "2013-05-08T13:30:00+00:00"
    assert read("rain 3 mm last night", now, gauge_read_at=at).data == (
        read("rain 3 mm last night", now).data
    )


def test_before_the_reading_the_day_is_cut_at_now() -> None:
    now = datetime.fromisoformat("2013-05-08T05:30:00-04:00")
    event = read("rain 0.7 in last night", now)
    assert event.data["rain_mm"] == pytest.approx(17.78, abs=1e-12)
    assert event.data["start_at"] == "2013-05-07T22:00:00+00:00"
    assert event.data["end_at"] == "2013-05-08T09:30:00+00:00"
    assert read("rain 3 mm", now).data["start_at"] == "2013-05-07T11:00:00+00:00"


def test_a_trace_is_rain_that_no_gauge_shows() -> None:
    data = read("rain trace last night").data
    assert data["rain_mm"] == 0.0
    assert data["is_trace"] is True


def test_temperatures() -> None:
    data = read("temp min 40 F max 21,5 C yesterday").data
    assert data["air_temp_min_c"] == pytest.approx(40 / 9, abs=1e-9)
    assert data["air_temp_max_c"] == 21.5
    assert data["start_at"] == "2013-05-07T04:00:00+00:00"
    assert read("temp min -2 C last night").data["air_temp_min_c"] == -2.0


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("up B4", "2013-05-08T08:30-04:00"),
        ("up B4 today", "2013-05-08T08:30-04:00"),
        ("up B4 this morning", "2013-05-08T08:30-04:00"),
        ("up B4 2013-05-08", "2013-05-08T08:30-04:00"),
        ("up B4 yesterday", "2013-05-07T12:00-04:00"),
        ("up B4 last night", "2013-05-07T20:00-04:00"),
        ("up B4 7:10", "2013-05-08T07:10-04:00"),
        ("up B4 today 07:10", "2013-05-08T07:10-04:00"),
        ("up 2013-03-01 B4", None),
        ("up B4 2013-03-01", "2013-03-01T12:00-05:00"),
        ("up B4 2013-05-01T07:00", "2013-05-01T07:00-04:00"),
        ("up B4 2012-11-04 01:30", "2012-11-04T01:30-04:00"),
    ],
)
def test_when_it_was(text: str, at: str | None) -> None:
    event = read(text)
    assert event.happened_at == datetime.fromisoformat(at or "2013-03-01T12:00-05:00")
    assert event.happened_at.tzinfo is UTC


def test_the_zone_of_the_farm_decides() -> None:
    now = datetime(2013, 5, 8, 23, 30, tzinfo=UTC)
    berlin = parse_note("up B4 yesterday", now, "Europe/Berlin", BEDS, TOOLS, CROPS)
    assert berlin.happened_at == datetime(2013, 5, 8, 10, tzinfo=UTC)  # it is the 9th there
    assert read("up B4 yesterday", now).happened_at == datetime(2013, 5, 7, 16, tzinfo=UTC)


def test_logging_twice_gives_two_entries() -> None:
    later = NOW.replace(minute=31)
    assert read("water B4 5 mm 07:00").event_id != read("water B4 5 mm 07:00", later).event_id
    assert read("water B4 5 mm 07:00").event_id == read("water B4 5 mm 07:00").event_id


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "",
            "the note is blank; allowed: clear, feel, hand, look, pass, plant, prep, rain, rooted, "
            "sow, temp, up, water",
        ),
        ("raain 3 mm", "'raain' is not how a note begins; did you mean 'rain'?"),
        ("rain", "a note of rain lacks rain_mm; write it like 'rain 18 mm last night'"),
        (
            "rain 18",
            "cannot read '18' in a note of rain; allowed here: trace, none, 18 mm, a moment "
            "such as last night, 10:30, 8 May or 2013-05-08 10:30, # and a remark",
        ),
        (
            "rain 18 kg",
            '"18 kg" is a mass, not a length; allowed units: mm, cm, m, in, ft, yd',
        ),
        ("rain 900 mm", "entry of kind rain: rain_mm is 900.0; allowed: 0 to 500 mm"),
        ("rain 3 mm trace", "says rain_mm twice; say it once"),
        (
            "rain 3 mm today 23:00",
            "'today 23:00' lies ahead of now (2013-05-08 08:30); log it once it has happened",
        ),
        (
            "rain 3 mm this afternoon",
            "'this afternoon' lies ahead of now (2013-05-08 08:30); log it once it has happened",
        ),
        (
            "rain 3 mm from yesterday 20:00 to 23:59 today",
            "says when twice, 'from yesterday 20:00 to 23:59' and 'today'; say it once",
        ),
        ("up B4 2013-02-30", "'2013-02-30' is no day of the calendar; write it like 2013-05-08"),
        ("rain 3 mm 25:00", "'25:00' is no time of day; write it like 07:00, from 00:00 to 23:59"),
        (
            "up B4 2013-03-10 02:30",
            "2013-03-10 02:30 does not exist in America/New_York: the clocks go forward then; "
            "write an hour before or after",
        ),
        ("rain 3 mm yesterday today", "says when twice, 'yesterday' and 'today'; say it once"),
        (
            "up B4 from 2013-05-01 to 2013-05-02",
            "a note of up has one moment, not 'from 2013-05-01 to 2013-05-02'; write when it was",
        ),
        ("temp min 21 C max 4 C", "a note of temp has its min above its max: found "
         "'min 21 C max 4 C'; allowed: the lower one as min; check which is which"),
        ("sow B5 carrot", "there is no bed 'B5'; allowed: #7, B4, B14, North field 2"),
        ("sow nrth field 2 carrot", "there is no bed 'nrth'; allowed: #7, B4, B14, North field 2"),
        ("sow B4 carot", "there is no crop 'carot'; did you mean 'carrot'?"),
        ("sow B4", "a note of sow lacks crop; write it like 'sow B4 carrot 3 rows'"),
        ("pass B4 tin", "there is no tool 'tin'; did you mean 'tine'?"),
        ("pass B4 5 mm", "cannot read '5 mm' in a note of pass; allowed here: TOOL, 15 mm deep, "
         "6 min, setup-time 8 min, setup NAME, worked, worked well/fair/poorly, not worked, "
         "not worked too wet/too hard, part NAME, a moment such as last night, 10:30, 8 May or "
         "2013-05-08 10:30, # and a remark"),
        ("pass B4 tine worked well not worked", "says worked twice; say it once"),
        ("pass B4 tine worked farely", "cannot read 'farely' in a note of pass; allowed here: "
         "TOOL, 15 mm deep, 6 min, setup-time 8 min, setup NAME, worked, worked well/fair/poorly, "
         "not worked, "
         "not worked too wet/too hard, part NAME, a moment such as last night, 10:30, 8 May or "
         "2013-05-08 10:30, "
         "# and a remark"),
        ("pass B4 tine not worked fair", "cannot read 'fair' in a note of pass; allowed here: "
         "TOOL, 15 mm deep, 6 min, setup-time 8 min, setup NAME, worked, worked well/fair/poorly, "
         "not worked, "
         "not worked too wet/too hard, part NAME, a moment such as last night, 10:30, 8 May or "
         "2013-05-08 10:30, "
         "# and a remark"),
        ("water B4/a 5 mm part b", "says part twice; say it once"),
        ("water B4 2 h", "says how long but not how much an hour: found '2 h'; write it like "
         "'water B4 90 min at 8 mm/h' (stand a straight tin under the sprinkler for an hour)"),
        ("water B4 2 h at 3 mm/h 5 mm", "says water_mm twice; say it once"),
        ("feel B4 odd", "cannot read 'odd' in a note of feel; allowed here: one of "
         "too wet/wet/sticky/smears/crumbles/fit/powdery/dry/hard, part NAME, a moment such as "
         "last night, 10:30, 8 May or 2013-05-08 10:30, # and a remark"),
        ("look B4", "a note of look says not what was seen; write it like 'look B4 6 threads 11 "
         "seed leaves 3 true leaves' or 'look B4 nothing'"),
        ("up B4 31 Feb", "'2013-02-31' is no day of the calendar; write it like 2013-05-08"),
        ("look B4 nothing 3 thread", "entry of kind look: says nothing was seen and counts weeds; "
         "give one of the two"),
        ("undo B4", "'undo' is not how a note begins; allowed: clear, feel, hand, look, pass, "
         "plant, prep, rain, rooted, sow, temp, up, water"),
    ],
)  # fmt: skip
def test_what_cannot_be_read(text: str, message: str) -> None:
    with pytest.raises(WhitethreadError) as raised:
        read(text)
    assert str(raised.value) == message


def test_what_is_said_beside_the_words() -> None:
    """A set-up or remark from an option may hold any words, even those of the grammar."""
    more = {"setup": "gap # 2 from today 10:30", "worked": True, "how": "fair"}
    event = read("pass B4 tine 6 min", more=more, remark="one notch # closer")
    assert dict(event.data) == {"tool": "tine", "work_min": 6.0, **more}
    assert event.note == "one notch # closer"
    assert event.happened_at == NOW
    with pytest.raises(JournalError, match=r"^says setup twice; say it once$"):
        read("pass B4 tine setup wide", more=more)
    with pytest.raises(JournalError, match=r"^says a remark twice; say it once$"):
        read("pass B4 tine # a", remark="b")


def test_a_pass_that_did_not_work_worked_in_no_way() -> None:
    with pytest.raises(
        JournalError,
        match=r"^entry of kind pass: says not worked and worked fair; give one of the two$",
    ):
        read("pass B4 tine", more={"worked": False, "how": "fair"})
    with pytest.raises(
        JournalError,
        match=r"^entry of kind pass: says found too wet; that needs worked to be false$",
    ):
        read("pass B4 tine worked", more={"found": "too wet"})
    with pytest.raises(JournalError, match=r"found is 'too soft'; allowed: too wet, too hard$"):
        read("pass B4 tine not worked", more={"found": "too soft"})
    with pytest.raises(JournalError, match=r"how is 'so so'; allowed: well, fair, poorly$"):
        read("pass B4 tine", more={"how": "so so"})


def test_an_unknown_zone() -> None:
    with pytest.raises(JournalError, match="there is no time zone 'Mars/Base'"):
        parse_note("up B4", NOW, "Mars/Base", BEDS, TOOLS, CROPS)


def test_an_old_note_must_say_its_date() -> None:
    assert read("up B4 2013-05-01", needs_date=True).bed == "B4"
    with pytest.raises(JournalError, match="says no date"):
        read("up B4 yesterday", needs_date=True)
