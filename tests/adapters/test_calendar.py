"""The week as a calendar: parsed back, kept from morning to morning, safe with any name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from pydantic import TypeAdapter

from scheduler.adapters.calendar import calendar_ics, week
from scheduler.errors import UsageError
from scheduler.records import Action, Bed, BedAnswer, Morning, Plan

GOLDEN = Path(__file__).parents[1] / "golden"
ZONE = ZoneInfo("America/New_York")
HOSTILE = (
    "B4\r\nATTACH:http://example.org/x",
    'B4;X=1:"BEGIN:VEVENT"',
    "beet, carrot; leek\\n",
    "\u202eevil\u202c \u05e9\u05d3\u05d4",
    "\U0001f955" * 60,
    "long " * 40,
    "<script>alert(1)</script>",
    "nul\x00 bell\x07 \u2028 separator",
)


@pytest.fixture
def spring() -> Morning:
    return TypeAdapter(Morning).validate_json((GOLDEN / "morning_spring.json").read_text())


def parsed(content: bytes) -> list[icalendar.Event]:
    return list(icalendar.Calendar.from_ical(content).walk("VEVENT"))


def by_title(content: bytes, begins: str) -> icalendar.Event:
    found = [event for event in parsed(content) if str(event["SUMMARY"]).startswith(begins)]
    assert len(found) == 1, [str(event["SUMMARY"]) for event in parsed(content)]
    return found[0]


def lines_of(event: Mapping[str, Any]) -> list[str]:
    return str(event["DESCRIPTION"]).split("\n")


def later(morning: Morning, **changes: Any) -> Morning:
    """The same morning a minute later, so that a new stamp can be told from an old one."""
    return replace(morning, as_of=morning.as_of + timedelta(minutes=1), **changes)


def with_beds(morning: Morning, **changes: Mapping[str, Any]) -> tuple[BedAnswer, ...]:
    """The beds of a morning, those named changed."""
    return tuple(replace(bed, **changes.get(bed.bed, {})) for bed in morning.beds)


# --------------------------------------------------------------------- what is in it


def test_today_is_one_entry_with_its_lines_in_order(spring: Morning) -> None:
    work = by_title(calendar_ics(spring), "Cultivate")
    assert work["DTSTART"].dt == datetime(2013, 5, 14, 11, tzinfo=UTC)
    assert work["DTEND"].dt == datetime(2013, 5, 14, 22, tzinfo=UTC)
    assert str(work["SUMMARY"]) == "Cultivate A1-A3, B1, B2/north, B3-B5 (1 h 22 min)"
    summary, *lines = lines_of(work)
    assert summary.startswith("3 h to work. Soil fit")
    assert lines[0] == "1 B4 carrot, 8 May: tine weeder blind, 15 mm, 10:30-18:00, 6+10 min"
    assert [line.split()[0] for line in lines] == [str(place) for place in range(1, 9)]
    assert str(work["TRANSP"]) == "TRANSPARENT"
    assert str(work["STATUS"]) == "CONFIRMED"


def test_hours_apart_are_two_entries(spring: Morning) -> None:
    """Before the harvest and after it: the numbers are those of the list."""
    beds = []
    for bed in spring.beds:
        if bed.action is not None:
            hours = (7, 9) if bed.bed in ("A1", "A2") else (15, 18)
            start, end = (datetime(2013, 5, 14, hour, tzinfo=ZONE) for hour in hours)
            bed = replace(bed, action=replace(bed.action, start=start, end=end))
        beds.append(bed)
    entries = [e for e in week(replace(spring, beds=tuple(beds))) if e.title.startswith("Cult")]
    assert [entry.start.hour for entry in entries if isinstance(entry.start, datetime)] == [7, 15]
    assert [line[:4] for line in entries[0].lines[1:]] == ["3 A2", "4 A1"]
    assert entries[0].key != entries[1].key


def test_a_wait_ends_in_one_entry_a_day(spring: Morning) -> None:
    content = calendar_ics(spring)
    waits = [e for e in parsed(content) if str(e["SUMMARY"]).startswith("Wait ends")]
    days = [event["DTSTART"].dt.astimezone(ZONE).date().day for event in waits]
    assert days == [15, 16, 17, 20]  # D8's 22 May lies beyond the week
    thursday = waits[1]
    assert thursday["DTSTART"].dt == datetime(2013, 5, 16, 14, tzinfo=UTC)
    assert thursday["DTEND"].dt == datetime(2013, 5, 16, 23, tzinfo=UTC)  # work ends at 19:00
    assert lines_of(thursday) == [
        "from 10:00 B6: worth it, but no hours before",
        "from 10:00 C11: held back for rain until then",
        "from 12:00 C1-C6, C9, D1-D6: wet until then",
    ]


def test_a_wait_that_ends_at_night_ends_when_work_begins(spring: Morning) -> None:
    midnight = datetime(2013, 5, 15, 0, tzinfo=ZONE)
    content = calendar_ics(replace(spring, beds=with_beds(spring, D7={"until": midnight})))
    event = by_title(content, "Wait ends: D7")
    assert event["DTSTART"].dt == datetime(2013, 5, 15, 11, tzinfo=UTC)
    assert lines_of(event) == ["from 07:00 D7: not known before: look"]


def test_a_wait_beyond_sight_is_no_appointment(spring: Morning) -> None:
    why = ("too wet; not within the days in sight",)
    beds = with_beds(spring, D7={"why": why})
    titles = [entry.title for entry in week(replace(spring, beds=beds))]
    assert not any("D7" in title for title in titles if title.startswith("Wait ends"))


def test_last_good_hours_plans_and_last_calls(spring: Morning) -> None:
    content = calendar_ics(spring)
    good = [e for e in parsed(content) if str(e["SUMMARY"]).startswith("Last good")]
    assert [lines_of(event) for event in good] == [
        ["until 18:00 B4"],
        ["until 18:00 A1-A3, B1, B2/north, B3, B5, B6"],
    ]
    step = by_title(content, "A2: stale bed")
    assert (step["DTSTART"].dt, step["DTEND"].dt) == (date(2013, 5, 14), date(2013, 5, 17))
    assert by_title(content, "A7: stale bed")["DTSTART"].dt == date(2013, 5, 16)
    sowing = by_title(content, "A2: sow beet, as planned")
    assert (sowing["DTSTART"].dt, sowing["DTEND"].dt) == (date(2013, 5, 20), date(2013, 5, 21))
    calls = [e for e in parsed(content) if str(e["SUMMARY"]).startswith("Last call")]
    assert [(e["DTSTART"].dt.day, str(e["SUMMARY"]).partition(": ")[2]) for e in calls] == [
        (18, "A5"),
        (21, "D4, D5"),  # D1-D3 are past, D6 lies beyond the week
    ]


def test_a_day_without_work_has_no_work(spring: Morning) -> None:
    wet = TypeAdapter(Morning).validate_json((GOLDEN / "morning_wet.json").read_text())
    titles = [str(event["SUMMARY"]) for event in parsed(calendar_ics(wet))]
    assert titles
    assert not any(title.startswith("Cultivate") for title in titles)


def test_thirty_beds_are_few_entries(spring: Morning) -> None:
    assert len(parsed(calendar_ics(spring))) <= 15


# ---------------------------------------------------------------- from day to day


def test_what_has_not_changed_stays_to_the_byte(spring: Morning) -> None:
    first = calendar_ics(spring)
    assert calendar_ics(later(spring), first) == first
    assert calendar_ics(later(spring)) != first  # its stamps, where no earlier file is given


def test_a_wait_that_moves_within_its_day_counts_up(spring: Morning) -> None:
    first = calendar_ics(spring)
    moved = {"until": datetime(2013, 5, 15, 9, tzinfo=ZONE)}
    second = calendar_ics(later(spring, beds=with_beds(spring, D7=moved)), first)
    before, after = (by_title(content, "Wait ends: D7") for content in (first, second))
    assert str(before["UID"]) == str(after["UID"])
    assert (int(before["SEQUENCE"]), int(after["SEQUENCE"])) == (0, 1)
    assert after["DTSTART"].dt == datetime(2013, 5, 15, 13, tzinfo=UTC)
    assert after["DTSTAMP"].dt == before["DTSTAMP"].dt + timedelta(minutes=1)
    others = {str(e["UID"]): int(e["SEQUENCE"]) for e in parsed(second)}
    assert sorted(others.values())[-2:] == [0, 1]  # nothing else was touched


def test_what_is_gone_is_called_off_and_may_come_back(spring: Morning) -> None:
    first = calendar_ics(spring)
    gone = later(spring, beds=with_beds(spring, D7={"verdict": "nothing", "until": None}))
    second = calendar_ics(gone, first)
    off = by_title(second, "Wait ends: D7")
    assert (str(off["STATUS"]), int(off["SEQUENCE"])) == ("CANCELLED", 1)
    third = calendar_ics(later(gone), second)
    assert third == second  # called off once
    back = by_title(calendar_ics(later(spring), third), "Wait ends: D7")
    assert (str(back["STATUS"]), int(back["SEQUENCE"])) == ("CONFIRMED", 2)


def test_what_lies_behind_is_left_out(spring: Morning) -> None:
    first = calendar_ics(spring)
    next_day = replace(
        spring,
        as_of=spring.as_of + timedelta(days=1),
        day=date(2013, 5, 15),
        beds=(),
        not_reached=(),
    )
    second = parsed(calendar_ics(next_day, first))
    titles = [str(event["SUMMARY"]) for event in second]
    assert not any(title.startswith("Cultivate") for title in titles)
    assert {str(event["STATUS"]) for event in second if "planned" not in event["SUMMARY"]} == {
        "CANCELLED"
    }
    # 14-16 May reaches past the 15th, and is called off as well
    assert any(title.startswith("A2: stale bed") for title in titles)


def test_names_are_apart_by_farm_and_the_same_by_program(spring: Morning) -> None:
    uids = {str(event["UID"]) for event in parsed(calendar_ics(spring))}
    assert len(uids) == len(parsed(calendar_ics(spring)))
    other = replace(spring, farm=replace(spring.farm, name="Rook Hollow"))
    assert not uids & {str(event["UID"]) for event in parsed(calendar_ics(other))}
    moved = replace(spring.farm.place, latitude_deg=41.0)
    there = replace(spring, farm=replace(spring.farm, place=moved))
    assert not uids & {str(event["UID"]) for event in parsed(calendar_ics(there))}
    # fixed in print: a new version of the program must not double a grower's calendar
    work = by_title(calendar_ics(spring), "Cultivate")
    assert str(work["UID"]) == "5bad4616-3e67-55a9-9a23-6156d2861b0a"


def test_a_file_that_is_no_calendar_is_named(spring: Morning) -> None:
    for wrong in (b"hello", b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nEND:VCALENDAR\r\n"):
        with pytest.raises(UsageError, match="cannot be read as the calendar written before"):
            calendar_ics(spring, wrong)


def test_the_calendar_of_another_program_is_left_alone(spring: Morning) -> None:
    theirs = (
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Elsewhere//EN\r\nBEGIN:VEVENT\r\nUID:x@y\r\n"
        b"DTSTAMP:20130501T000000Z\r\nDTSTART:20130520T100000Z\r\nDTEND:20130520T110000Z\r\n"
        b"SUMMARY:Dentist\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    with pytest.raises(UsageError, match=r"another program \(-//Elsewhere//EN\); name another"):
        calendar_ics(spring, theirs)


def test_parts_of_a_bed_have_plans_of_their_own(spring: Morning) -> None:
    planned = next(bed for bed in spring.beds if bed.plan_days is not None)
    others = tuple(bed for bed in spring.beds if bed is not planned)
    parts = tuple(replace(planned, part=part) for part in ("north", "south"))
    events = parsed(calendar_ics(replace(spring, beds=(*others, *parts))))
    uids = [str(event["UID"]) for event in events]
    assert len(set(uids)) == len(uids)
    assert sum(str(event["SUMMARY"]).startswith(f"{planned.bed}/") for event in events) == 2


# ------------------------------------------------------------------------- times


@pytest.mark.parametrize(
    ("day", "until_utc"),
    [
        (date(2013, 3, 8), datetime(2013, 3, 10, 16, tzinfo=UTC)),  # noon, summer time since 2:00
        (date(2013, 11, 1), datetime(2013, 11, 3, 17, tzinfo=UTC)),  # noon, winter time again
    ],
)
def test_times_are_right_across_a_clock_change(
    spring: Morning, day: date, until_utc: datetime
) -> None:
    as_of = datetime(day.year, day.month, day.day, 5, 30, tzinfo=ZONE)
    noon = datetime(day.year, day.month, day.day + 2, 12, tzinfo=ZONE)
    bed = replace(spring.beds[0], bed="D7", verdict="wait", because="wet", until=noon, action=None)
    bed = replace(bed, last_good_at=None, plan="", last_call_on=None)
    found = replace(spring, as_of=as_of, day=day, beds=(bed,), not_reached=())
    found = replace(found, farm=replace(found.farm, plans=()))
    content = calendar_ics(found)
    (event,) = parsed(content)
    assert event["DTSTART"].dt == until_utc
    assert f"DTSTART:{until_utc:%Y%m%dT%H%M%SZ}".encode() in content
    assert lines_of(event) == ["from 12:00 D7: wet until then"]
    assert b"VTIMEZONE" not in content
    assert b"TZID" not in content


def test_an_hour_that_comes_twice_keeps_its_length(spring: Morning) -> None:
    """A last good hour at 01:30 of the second pass of the clock: the hour before it is an hour."""
    end = datetime(2013, 11, 3, 6, 30, tzinfo=UTC)  # 01:30 in winter time
    action = Action("sweeps", None, 25.0, end - timedelta(hours=3), end, 6.0, 0.0)
    bed = replace(spring.beds[0], action=action, last_good_at=end.astimezone(ZONE))
    as_of = datetime(2013, 11, 2, 5, 30, tzinfo=ZONE)
    found = replace(spring, as_of=as_of, day=date(2013, 11, 2), beds=(bed,), not_reached=())
    good = by_title(calendar_ics(found), "Last good")
    assert good["DTEND"].dt - good["DTSTART"].dt == timedelta(hours=1)


# --------------------------------------------------------------------- hostile names


@pytest.mark.parametrize("name", HOSTILE)
def test_any_name_stays_text(spring: Morning, name: str) -> None:
    farm = spring.farm
    beds = tuple(
        replace(bed, bed=name, crop=name, part=name, plan=name, why=(name,), soil_name=name)
        if bed.bed == "B4"
        else bed
        for bed in spring.beds
    )
    hostile = replace(
        farm,
        name=name,
        beds=(*farm.beds, Bed(name, 18.0, 0.76, "silt loam")),
        plans=(Plan(name, name, date(2013, 5, 20)),),
    )
    found = replace(spring, farm=hostile, beds=beds)
    content = calendar_ics(found)
    text = content.decode()
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert "\n" not in text.replace("\r\n", "")
    unfolded = text.replace("\r\n ", "").split("\r\n")
    kinds = {line.partition(":")[0].partition(";")[0] for line in unfolded if line}
    assert kinds == {
        "BEGIN", "END", "VERSION", "PRODID", "CALSCALE", "NAME", "X-WR-CALNAME", "REFRESH-INTERVAL",
        "X-PUBLISHED-TTL", "SUMMARY", "DTSTART", "DTEND", "DTSTAMP", "UID", "SEQUENCE",
        "CATEGORIES", "DESCRIPTION", "STATUS", "TRANSP",
    }  # fmt: skip
    events = parsed(content)
    assert len(events) == unfolded.count("BEGIN:VEVENT")
    assert not set("\u202e\u202c\x00\x07\u2028") & set(text)
    assert calendar_ics(later(found), content) == content  # read back as it was written
    assert max(len(str(event["SUMMARY"])) for event in events) <= 160


def test_a_plain_name_is_not_changed(spring: Morning) -> None:
    name = "Beet; row 1, \\ north: \u00e9t\u00e9 \U0001f955"
    bed = replace(spring.beds[0], bed=name)
    found = calendar_ics(replace(spring, beds=(bed,), not_reached=()))
    work = by_title(found, "Cultivate")
    assert str(work["SUMMARY"]).startswith(f"Cultivate {name} (")
