"""The page of one bed: figures, hours by the farm's clock, plot, origins."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from pydantic import TypeAdapter

from scheduler.adapters.render.bed_page import bed_text
from scheduler.adapters.render.entry_words import event_words
from scheduler.errors import RangeError
from scheduler.planning.bed_page import (
    BedPage,
    GuildFlush,
    SoilDepth,
    SurfaceCourse,
    Why,
    WorkableHours,
)
from scheduler.records import Event, Morning, Range, Refusal

GOLDEN = Path(__file__).parents[1] / "golden"
ZONE = ZoneInfo("America/New_York")
NOW = datetime(2013, 5, 14, 5, 30, tzinfo=ZONE)
HOUR = timedelta(hours=1)


def made_page() -> BedPage:
    """A hand-made page of bed B4 of the hand-made morning."""
    morning = TypeAdapter(Morning).validate_json((GOLDEN / "morning_spring.json").read_text())
    answer = next(bed for bed in morning.beds if bed.bed == "B4")
    midnight = datetime(2013, 5, 14, 4, tzinfo=UTC)  # of the farm
    clock = np.arange(72)
    chance = np.where(clock % 24 >= 10, 0.9, 0.25) * (clock < 60)
    hours = np.arange(-240, 168)
    wetness = 0.7 + 0.3 * np.cos(hours / 30.0)
    rain = np.where(hours == -60, 18.0, 0.0) + np.where(hours == 15, 4.0, 0.0)
    assert answer.flush is not None
    return BedPage(
        farm_name="Alder Bend",
        units="metric",
        time_zone="America/New_York",
        as_of=NOW,
        day=date(2013, 5, 14),
        bed="B4",
        part=None,
        crop="carrot",
        established_on=date(2013, 5, 8),
        is_sown=True,
        soil_name="silt loam",
        answer=answer,
        soil_depths=(
            SoilDepth(
                0,
                5,
                Range(0.08, 0.11, 0.19),
                Range(0.2, 0.31, 0.55),
                Range(60.0, 410.0, 52000.0),
                Range(9.0, 10.4, 12.1),
            ),
            SoilDepth(
                50,
                100,
                Range(0.27, 0.29, 0.31),
                Range(0.9, 0.96, 1.04),
                Range(21.0, 36.0, 52.0),
                Range(10.8, 11.2, 11.5),
            ),
        ),
        workable=(WorkableHours("hand tools, 0-30 mm", midnight, chance),),
        course=SurfaceCourse(NOW - 240 * HOUR, wetness - 0.1, wetness, wetness + 0.12, rain, 0.62),
        flushes=(
            GuildFlush("summer annuals of cool springs", answer.flush),
            GuildFlush(
                "grasses of warm soil",
                replace(answer.flush, opened_at=None, to_come_frac=None),
            ),
        ),
        events=(
            Event(
                "1",
                "sow",
                datetime(2013, 5, 8, 16, tzinfo=ZONE),
                datetime(2013, 5, 8, 20, tzinfo=ZONE),
                "B4",
                None,
                {"crop": "carrot", "n_rows": 3, "row_spacing_mm": 250.0, "depth_mm": 13.0},
            ),
        ),
        whys=(
            Why(
                "silt loam crumbles from this suction on",
                "working_kpa",
                25.0,
                "kPa",
                "our-construction",
                "soil notes, section 7",
                "E",
            ),
        ),
        source_titles={"our-construction": "this program's own reckoning"},
        notes=("weeds with creeping roots are outside the model",),
    )


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_page_fits_its_width(units: str, width: int) -> None:
    page = bed_text(replace(made_page(), units=units), width)
    assert max(len(line) for line in page.splitlines()) <= width
    assert "\x1b" not in page


def test_hours_stand_under_the_farms_clock() -> None:
    """Past hours are blank; 10:00 is the eleventh place of the row."""
    lines = bed_text(made_page(), is_plotted=False).splitlines()
    row = next(line for line in lines if re.match(r"  Tue 14 May", line))
    assert row[14:] == "     22222" + "9" * 14
    last = next(line for line in lines if re.match(r"  Thu 16 May", line))
    assert last[14:] == "2222222222" + "99" + "............"
    assert "hand tools, 0-30 mm: from 10:00" in "\n".join(lines)


def test_ways_of_working_with_equal_hours_share_their_rows() -> None:
    page = made_page()
    (hours,) = page.workable
    twice = (hours, replace(hours, label="wheel hoe"))
    text = bed_text(replace(page, workable=twice), is_plotted=False)
    assert "hand tools, 0-30 mm, wheel hoe: from 10:00" in text
    assert len(re.findall("^  Tue 14 May", text, re.MULTILINE)) == 1
    other = (hours, replace(hours, label="wheel hoe", chance_frac=np.full(72, 0.3)))
    text = bed_text(replace(page, workable=other), is_plotted=False)
    assert len(re.findall("^  Tue 14 May", text, re.MULTILINE)) == 2


def test_no_hour_in_sight_is_said() -> None:
    page = made_page()
    low = replace(page.workable[0], chance_frac=np.full(72, 0.3))
    assert "no two hours at 8 in 10 in sight" in bed_text(
        replace(page, workable=(low,)), is_plotted=False
    )


def test_soil_table_in_both_units() -> None:
    page = made_page()
    metric = bed_text(page, is_plotted=False)
    assert re.search(r"0-5 +0\.31 \(0\.20-0\.55\) +0\.110 \(0\.080-0\.190\)", metric)
    assert "410 (60-over 9999)" in metric
    assert "10 (9-12)" in metric
    us = bed_text(replace(page, units="us"), is_plotted=False)
    assert re.search(r"2\.0-3\.9 .* 52 \(51-53\)$", us, re.MULTILINE)  # 11.2 C is 52.2 F


def test_headline_answers() -> None:
    """Flush dates with degree-days, and the crust with its date and chance."""
    page = " ".join(bed_text(made_page(), is_plotted=False).split())
    assert "opened 5 May by rain, 92 degree-days since" in page
    assert "threads from Sun 12 May 09:00; most Wed 15 May 12:00; too late from Sat 18 May" in page
    assert "still to come 20-70 %" in page
    assert "grasses of warm soil: none open" in page
    assert "index now 0.4 of 1; expected Wed 12:00 (6 in 10); break it by Fri 12:00." in page


def test_tools_not_offered_stand_by_their_reason() -> None:
    """Tools with one reason share a line; the reason comes in the grower's units."""
    page = made_page()
    assert page.answer is not None
    refusals = (
        Refusal("sweeps", "crop_tender", "the rows are not to be seen yet"),
        Refusal("ridger", "no_fit", "needs 350 mm between rows; these are 254 mm apart"),
        Refusal("wheel hoe", "crop_tender", "the rows are not to be seen yet"),
    )
    page = replace(page, answer=replace(page.answer, refusals=refusals))
    assert (
        "Tools not offered:\n"
        "  sweeps, wheel hoe: the rows are not to be seen yet.\n"
        "  ridger: needs 350 mm between rows; these are 254 mm apart.\n"
    ) in bed_text(page, is_plotted=False)
    us = bed_text(replace(page, units="us"), is_plotted=False)
    assert "  ridger: needs 13.8 in between rows; these are 10 in apart.\n" in us


def test_where_every_tool_is_offered_nothing_is_said_of_tools() -> None:
    page = made_page()
    assert page.answer is not None
    for answer in (None, replace(page.answer, refusals=())):
        assert "not offered" not in bed_text(replace(page, answer=answer), is_plotted=False)


def test_note_and_plan_stand_under_what_to_do() -> None:
    page = made_page()
    answer = page.answer
    assert answer is not None
    assert answer.action is not None
    note = "back out 18 m after each run; lift over B4/north"
    plan = "stale bed for leek 12 Jun: prepare it by 24 May"
    told = replace(answer, action=replace(answer.action, note=note), plan=plan)
    text = bed_text(replace(page, answer=told, units="us"), is_plotted=False)
    head = text.split("\n\n")[0].splitlines()
    assert head[-2:] == [
        "Note         Back out 59 ft after each run; lift over B4/north.",
        "Plan         Stale bed for leek 12 Jun: prepare it by 24 May.",
    ]
    bare = replace(answer, action=replace(answer.action, note=""), plan="")
    text = bed_text(replace(page, answer=bare), is_plotted=False)
    assert not re.search("^(Note|Plan) ", text, re.MULTILINE)


def test_every_why_names_its_origin() -> None:
    page = " ".join(bed_text(made_page(), is_plotted=False).split())
    assert (
        "Silt loam crumbles from this suction on: 25 kPa. working_kpa: our-construction, "
        "soil notes, section 7; E, our assumption Sources: our-construction: this program's own "
        "reckoning" in page
    )
    assert "Weeds with creeping roots are outside the model." in page


def test_plot_shows_rain_where_it_fell() -> None:
    """18 mm sixty hours before now and 4 mm fifteen hours after it: two columns of marks."""
    lines = bed_text(made_page()).splitlines()
    start = next(place for place, line in enumerate(lines) if line.startswith("Rain in six"))
    rows = [line for line in lines[start:] if "#" in line]
    bottom = rows[-1]
    places = [found.start() for found in re.finditer(r"#+", bottom)]
    now = lines[start + 1].index("┬", 6)
    assert len(places) == 2
    assert places[0] < now < places[1]
    assert lines[start + 2].strip().startswith("18.0")


def test_plot_leaves_out_what_is_not_known() -> None:
    page = made_page()
    assert page.course is not None
    blank = np.full_like(page.course.rain_mm, np.nan)
    course = replace(
        page.course, low_rel_water=blank, mid_rel_water=blank, high_rel_water=blank, rain_mm=blank
    )
    text = bed_text(replace(page, course=course))
    assert "#" not in text
    assert "nan" not in text


def test_unequal_courses_are_refused() -> None:
    with pytest.raises(RangeError, match="one length"):
        SurfaceCourse(NOW, np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(2), 0.5)


def entry(kind: str, data: dict[str, object], note: str = "") -> Event:
    return Event("1", kind, NOW, NOW, "B4", None, data, note=note)


@pytest.mark.parametrize(
    ("event", "metric", "us"),
    [
        (
            entry("sow", {"crop": "carrot", "depth_mm": 13.0, "n_rows": 3, "row_spacing_mm": 254}),
            "sow: carrot, 3 rows, 25 cm apart, 13 mm deep",
            "sow: carrot, 3 rows, 10 in apart, 0.5 in deep",
        ),
        (
            entry(
                "rain",
                {
                    "rain_mm": 25.4,
                    "start_at": "2013-05-13T22:00:00+00:00",
                    "end_at": "2013-05-14T11:00:00+00:00",
                },
                "by the shed",
            ),
            "rain: 25 mm, from Mon 13 18:00 to Tue 14 07:00 (by the shed)",
            "rain: 1.00 in, from Mon 13 18:00 to Tue 14 07:00 (by the shed)",
        ),
        (
            entry("temp", {"air_temp_min_c": -3.0, "air_temp_max_c": 20.0}),
            "temp: min -3 C, max 20 C",
            "temp: min 27 F, max 68 F",
        ),
        (
            entry("pass", {"tool": "tines", "work_min": 6.0, "worked": False}),
            "pass: tines, 6 min, not worked",
            "pass: tines, 6 min, not worked",
        ),
        (
            entry("pass", {"tool": "tines", "worked": True, "how": "fair"}, "one notch closer"),
            "pass: tines, worked fair (one notch closer)",
            "pass: tines, worked fair (one notch closer)",
        ),
        (
            entry("pass", {"tool": "tines", "worked": True}),
            "pass: tines, worked",
            "pass: tines, worked",
        ),
        (
            entry("pass", {"tool": "tines", "how": "poorly"}),
            "pass: tines, worked poorly",
            "pass: tines, worked poorly",
        ),
        (
            entry("look", {"thread": 310.0, "young": 0.0}),
            "look: threads 310/m2, young 0/m2",
            "look: threads 29/sq ft, young 0/sq ft",
        ),
        (entry("look", {"nothing": True}), "look: nothing seen", "look: nothing seen"),
        (
            entry("look", {"n_thread": 1, "n_seed_leaf": 11, "n_true_leaf": 3}),
            "look: 1 thread, 11 seed leaves, 3 true leaves, as scratched up",
            "look: 1 thread, 11 seed leaves, 3 true leaves, as scratched up",
        ),
        (
            entry("look", {"n_seed_leaf": 12, "area_m2": 0.25, "quadrat": "nail"}),
            "look: 12 seed leaves in 0.25 m2, quadrat nail",
            "look: 12 seed leaves in 2.7 sq ft, quadrat nail",
        ),
        (
            entry("look", {"nothing": True, "area_m2": 0.25}),
            "look: nothing seen in 0.25 m2",
            "look: nothing seen in 2.7 sq ft",
        ),
        (entry("look", {"first": "green"}), "look: first green", "look: first green"),
        (entry("look", {"amount": "few"}), "look: few weeds", "look: few weeds"),
        (
            entry("look", {"left_n": 4, "of_n": 20}),
            "look: 4 of 20 survived",
            "look: 4 of 20 survived",
        ),
        (entry("feel", {"feel": "smears"}), "feel: sticky", "feel: sticky"),
        (
            entry("pass", {"tool": "tines", "work_min": 6.0, "setup": "wide", "setup_min": 8.0}),
            "pass: tines, 6 min, set-up wide, set-up took 8 min",
            "pass: tines, 6 min, set-up wide, set-up took 8 min",
        ),
        (entry("up", {}), "up", "up"),
    ],
)
def test_entries_in_words(event: Event, metric: str, us: str) -> None:
    assert event_words(event, "metric", ZONE) == metric
    assert event_words(event, "us", ZONE) == us


def test_narrow_page_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 40"):
        bed_text(made_page(), 39)


def test_a_narrow_soil_table_keeps_every_column() -> None:
    text = bed_text(made_page(), 40, is_plotted=False)
    head = next(line for line in text.splitlines() if line.startswith("depth, mm"))
    assert head.split() == ["depth,", "mm", "wet", "m3/m3", "kPa", "C"]
    assert "middle of the members" in " ".join(text.split())


def test_a_remark_alone_follows_the_kind() -> None:
    assert event_words(entry("up", {}, "odd"), "us", ZoneInfo("UTC")) == "up (odd)"
