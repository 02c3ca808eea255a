"""The morning page: its budget, its words, and that nothing is lost from it."""

from __future__ import annotations

import random
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from pydantic import TypeAdapter

from scheduler.adapters.render.phrases import (
    REASON_WORDS,
    bed_ranges,
    chance_words,
    grower_text,
    half_day_words,
    hours_words,
    joined_while_fits,
    moment_words,
    range_words,
)
from scheduler.adapters.render.statements import planting_name, wrapped_items
from scheduler.adapters.render.text import MAX_GO_LINES, today_text
from scheduler.planning.verdict import NO_PASS_PAYS
from scheduler.records import CrustAnswer, FlushAnswer, Morning, Range

GOLDEN = Path(__file__).parents[1] / "golden"
ZONE = ZoneInfo("America/New_York")
NOW = datetime(2013, 5, 14, 5, 30, tzinfo=ZONE)  # a Tuesday


def stored(name: str) -> Morning:
    text = (GOLDEN / f"morning_{name}.json").read_text()
    return TypeAdapter(Morning).validate_json(text)


# -------------------------------------------------------------------- words


def test_beds_become_ranges() -> None:
    names = ["C10", "C1", "C2", "C3", "C9", "B2", "B1", "north", "C11"]
    assert bed_ranges(names) == "B1, B2, C1-C3, C9-C11, north"
    assert bed_ranges(["B4/2", "B4/1", "B4/3"]) == "B4/1-B4/3"
    assert bed_ranges(["A1", "A1"]) == "A1"
    assert bed_ranges([]) == ""


def test_ranges_hold_exactly_the_beds_given() -> None:
    """Writing the ranges out again gives the beds back, whatever their order."""
    draw = random.Random(3)
    for _ in range(50):
        chosen = {f"{draw.choice('AB')}{draw.randint(1, 12)}" for _ in range(draw.randint(1, 15))}
        listed = list(chosen)
        draw.shuffle(listed)
        found = set()
        for piece in bed_ranges(listed).split(", "):
            first, _, last = piece.partition("-")
            block, low = first[0], int(first[1:])
            high = int(last[1:]) if last else low
            found |= {f"{block}{number}" for number in range(low, high + 1)}
        assert found == chosen


@pytest.mark.parametrize(
    ("ahead_h", "fine", "coarse"),
    [
        (-1.0, "now", "now"),
        (5.0, "10:30", "10:30"),
        (25.0, "Wed 06:30", "Wed morning"),
        (54.5, "Thu 12:00", "Thu noon"),
        (60.0, "Thu 17:30", "Thu afternoon"),
        (62.0, "Thu 19:30", "Thu evening"),
        (24.0 * 8, "22 May", "22 May"),
    ],
)
def test_moments(ahead_h: float, fine: str, coarse: str) -> None:
    moment = NOW + timedelta(hours=ahead_h)
    assert moment_words(moment, NOW, ZONE) == fine
    assert half_day_words(moment, NOW, ZONE) == coarse


def test_moments_are_the_farms_clock() -> None:
    assert moment_words(datetime.fromisoformat("2013-05-14T16:00+00:00"), NOW, ZONE) == "12:00"


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "under 1 in 10"),
        (0.06, "1 in 10"),
        (0.7, "7 in 10"),
        (0.94, "9 in 10"),
        (1.0, "over 9 in 10"),
        (float("nan"), "not known"),
    ],
)
def test_chances_are_never_certain(chance: float, words: str) -> None:
    assert chance_words(chance) == words


def test_figures() -> None:
    assert range_words(Range(19.6, 40, 93.2)) == "20-93"
    assert range_words(Range(0.0, 0.0, 0.0)) == "0"
    assert range_words(Range(1.04, 1.2, 128.0)) == "1-130"
    assert hours_words(2.5) == "2 h 30 min"
    assert hours_words(0.0) == "no hours"


def test_grower_units() -> None:
    """25.4 mm to the inch, 1.8 F to the degree C, 10.764 square feet to the square metre."""
    metric = "12 mm fell, 3-6 C, 310 threads/m2, 86 degree-days, wind 5 m/s; C1-C6 at 18 kPa"
    assert grower_text(metric, "metric") == metric
    assert grower_text(metric, "us") == (
        "0.5 in fell, 37-43 F, 29 threads/sq ft, 155 degree-days F, wind 11 mph; C1-C6 at 18 kPa"
    )
    assert grower_text("-3 C by night, 2 mm, 4 to 12 mm, 30 m", "us") == (
        "27 F by night, 0.08 in, 0.2 to 0.5 in, 98 ft"
    )
    assert grower_text("120 growing degree-days above 5 C", "us") == (
        "216 growing degree-days F above 41 F"
    )


def test_clauses_are_whole() -> None:
    clauses = ["dry from 10:30", "threads most today, 78 degree-days", "no rain"]
    assert joined_while_fits(clauses, 80) == "; ".join(clauses)
    assert joined_while_fits(clauses, 30) == "dry from 10:30; no rain"
    assert joined_while_fits(clauses[1:], 24) == "threads most today"
    assert joined_while_fits(["dry enough since yesterday"], 16) == "dry enough.."
    assert joined_while_fits([], 16) == ""


# --------------------------------------------------------------------- page


@pytest.mark.parametrize("name", ["spring", "wet"])
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("width", [36, 40, 60, 72, 80, 100])
def test_page_fits_its_width(name: str, units: str, width: int) -> None:
    page = today_text(stored(name), width, units)
    assert max(len(line) for line in page.splitlines()) <= width
    assert page.isascii()


def test_long_names_and_reasons_still_fit() -> None:
    whole = stored("spring")
    beds = tuple(
        replace(
            bed,
            bed=f"the long bed behind the old barn {place}",
            part="far end by the hedge",
            crop="a crop with an uncommonly long name, second sowing",
            why=("a reason without any comma that runs on and on well beyond the line it has",),
        )
        for place, bed in enumerate(whole.beds)
    )
    page = today_text(replace(whole, beds=beds))
    assert max(len(line) for line in page.splitlines()) <= 80
    rows = [line for line in page.splitlines() if re.match(r" \d the long", line)]
    assert len(rows) == 8


def test_each_go_bed_takes_two_lines() -> None:
    lines = today_text(stored("spring")).splitlines()
    first = [place for place, line in enumerate(lines) if re.match(r" ?\d+ [A-D]\d", line)]
    assert [lines[place][3:5] for place in first] == [
        "B4",
        "B5",
        "A2",
        "A1",
        "A3",
        "B1",
        "B2",
        "B3",
    ]
    assert all(later - earlier == 2 for earlier, later in pairwise(first))
    assert lines[first[-1] + 2].startswith("Mind ")
    assert lines[first[-1] + 3] == ""
    assert "10:30-18:00" in lines[first[0]]
    assert lines[first[0]].endswith("6+10")
    assert "last good hour 18:00 today" in lines[first[0] + 1]
    assert lines[first[0] + 1].endswith("sure 8 in 10")


def test_more_than_eight_are_named_not_lost() -> None:
    whole = stored("spring")
    extra = tuple(
        replace(whole.beds[2], bed=f"E{number}", rank=8 + number) for number in range(1, 5)
    )
    page = today_text(replace(whole, beds=whole.beds + extra))
    rows = re.findall(r"^ ?\d+ [A-E]\d", page, flags=re.MULTILINE)
    assert len(rows) == MAX_GO_LINES
    assert re.search(
        r"^Also go +tine weeder blind: 9 E1, 10 E2, 11 E3, 12 E4$", page, flags=re.MULTILINE
    )


def test_order_is_that_of_the_rank() -> None:
    whole = stored("spring")
    assert (
        today_text(replace(whole, beds=whole.beds[::-1])).split("\n\n")[1]
        == (today_text(whole).split("\n\n")[1])
    )


def test_every_planting_is_on_the_page() -> None:
    """Undo the ranges of the reason lines: every bed of the farm has its verdict."""
    for name in ("spring", "wet"):
        whole = stored(name)
        page = today_text(whole, width=2000)
        go, rest = page.split("\n\n")[1:3] if name == "spring" else ("", page.split("\n\n")[2])
        named = set(re.findall(r"^ ?\d+ ([A-D]\d+)", go, flags=re.MULTILINE))
        for first, last in re.findall(r"([A-D]\d+)(?:-([A-D]\d+))?", rest):
            high = int(last[1:]) if last else int(first[1:])
            named |= {f"{first[0]}{number}" for number in range(int(first[1:]), high + 1)}
        assert named == {bed.name for bed in whole.farm.beds}


@pytest.mark.parametrize("code", list(REASON_WORDS))
def test_every_reason_has_plain_words(code: str) -> None:
    whole = stored("wet")
    page = today_text(replace(whole, beds=(replace(whole.beds[0], because=code),)))
    assert re.search(rf"^Wait +{REASON_WORDS[code]}: A1 until Wed noon$", page, re.MULTILINE)
    assert "_" not in REASON_WORDS[code]


def test_wait_says_until_when() -> None:
    page = today_text(stored("wet"), width=200)
    assert "wet: A1-A8 until Wed noon; B1-B8, C1-C12 until Fri noon; D1-D8 (until when" in page


def test_both_headline_answers_are_always_there() -> None:
    for name in ("spring", "wet"):
        page = today_text(stored(name))
        assert re.search(r"^Crust ", page, re.MULTILINE)
        assert re.search(r"^Threads ", page, re.MULTILINE)
    page = today_text(stored("spring"), width=200)
    assert "expected Wed on B4 (6 in 10), Thu on C1-C6 (5 in 10); break B4 by Fri noon" in page
    assert page.count("next flush Sun, if the rain comes") == 1


def crusted(crusts: Mapping[str, CrustAnswer | None]) -> Morning:
    """The spring morning with the crusts given by bed, and none elsewhere."""
    whole = stored("spring")
    none = CrustAnswer(0.0, None, 0.0, None)
    beds = tuple(replace(bed, crust=crusts.get(bed.bed, none)) for bed in whole.beds)
    return replace(whole, beds=beds, not_reached=())


def crust_line(morning: Morning) -> str:
    page = today_text(morning, width=1000)
    line = next(line for line in page.splitlines() if line.startswith("Crust"))
    return line.removeprefix("Crust").strip()


def test_few_crusts_are_told_by_bed() -> None:
    """Two days are told one by one with the span of their chances, the rest is later."""
    crusts = {
        bed: CrustAnswer(0.1, NOW + timedelta(days=day), chance, None)
        for bed, day, chance in (
            ("A1", 1, 0.3), ("B3", 1, 0.7), ("C9", 2, 0.5), ("D1", 3, 0.4), ("D2", 5, 0.4),
        )
    }  # fmt: skip
    assert crust_line(crusted(crusts)) == (
        "expected Wed on A1, B3 (3 to 7 in 10), Thu on C9 (5 in 10), later on D1, D2"
    )


def scattered(days: Mapping[str, Sequence[int]]) -> dict[str, CrustAnswer | None]:
    """Crusts by block of beds, the days from now in turn; by 0.5, 0.6 and 0.7."""
    return {
        f"{block}{n}": CrustAnswer(
            0.1, NOW + timedelta(days=ahead[(n - 1) % len(ahead)]), 0.5 + 0.1 * (n % 3), None
        )
        for block, ahead in days.items()
        for n in range(1, {"A": 9, "B": 9, "C": 13, "D": 9}[block])
    }


def test_many_crusts_are_told_by_soil() -> None:
    """A soil by the day, or the two days running, of three in four of its crusts."""
    crusts = scattered({"A": (2, 3, 2, 2), "B": (1, 3), "C": (1, 2, 4), "D": (2, 3)})
    crusts["A1"] = CrustAnswer(0.1, NOW + timedelta(days=9), 0.9, None)
    line = crust_line(crusted(crusts))
    assert line == (
        "expected from Wed on silt loam beds (5 to 7 in 10), "
        "Thu or Fri on clay loam and sandy loam beds but A1 (5 to 7 in 10)"
    )


def test_a_soil_that_does_not_agree_is_not_said_to() -> None:
    """Half of a soil is told by name, more than half but not nearly all as "most"."""
    crusts = scattered({"A": (1, 2), "B": (1, 2), "D": (1, 2)})
    crusts |= {f"A{n}": None for n in (1, 3, 5, 7)}
    crusts["A2"] = CrustAnswer(0.1, NOW + timedelta(days=1), 0.5, None)
    crusts["D1"] = CrustAnswer(0.0, NOW + timedelta(days=7), 0.3, None)
    crusts |= {f"C{n}": CrustAnswer(0.0, NOW + timedelta(days=1), 0.3, None) for n in (2, 4, 6, 8)}
    assert crust_line(crusted(crusts)) == (
        "expected Wed or Thu on A2, A4, A6, A8 and most silt loam beds and clay loam beds "
        "but D1 (3 to 7 in 10)"
    )


def test_words_by_soil_are_true_of_every_bed() -> None:
    """Whatever the days: a bed of a named soil that is not excepted has its crust within them."""
    draw = random.Random(11)
    n_seen = 0
    for _ in range(60):
        few = [draw.choices(range(1, 6), k=2) for _ in range(4)]
        crusts = {
            bed.bed: CrustAnswer(0.1, NOW + timedelta(days=draw.choice(few[i % 4])), 0.5, None)
            for i, bed in enumerate(stored("spring").beds)
        }
        found = crusted(crusts)
        day = {"Wed": 1, "Thu": 2, "Fri": 3, "Sat": 4, "Sun": 5}
        for first, second, place in re.findall(
            r"(?:from )?(\w{3})(?: or (\w{3}))? on ([^(]+) \(", crust_line(found)
        ):
            for soil in ("sandy loam", "silt loam", "clay loam"):
                whole = re.search(rf"(most )?[a-z ,]*{soil}[a-z ,]* beds(?: but (.+))?", place)
                if whole is None or whole[1] or not second:
                    continue
                but = whole[2] or ""
                n_seen += 1
                for bed in found.beds:
                    if bed.soil_name != soil or bed.because == "crop_up" or bed.crust is None:
                        continue
                    assert bed.crust.expected_at is not None
                    ahead = (bed.crust.expected_at - NOW).days
                    is_within = day[first] <= ahead <= day[second]
                    assert is_within or re.search(rf"\b{bed.bed}\b", but)
    assert n_seen > 10


@pytest.mark.parametrize("seed", range(20))
def test_crusts_and_threads_keep_to_three_lines(seed: int) -> None:
    """On a page of 80 columns, whatever the days of the beds: twenty drawn mornings."""
    draw = random.Random(seed)
    whole = stored("spring")

    def some() -> datetime:
        return NOW + timedelta(days=draw.choice((0.3, 1, 2, 2, 3, 4, 5)))

    beds = []
    for bed in whole.beds:
        by = some() if draw.random() < 0.15 else None
        at = some() if draw.random() < 0.5 else NOW - timedelta(days=1)
        flush = FlushAnswer(NOW, "rain", 60.0, NOW, at, some(), None, some())
        beds.append(replace(bed, flush=flush, crust=CrustAnswer(0.1, some(), draw.random(), by)))
    page = today_text(replace(whole, beds=tuple(beds), not_reached=()))
    ahead = next(block for block in page.split("\n\n") if block.startswith("Crust"))
    lines = ahead.splitlines()
    threads = next(place for place, line in enumerate(lines) if line.startswith("Threads"))
    after = next(place for place, line in enumerate(lines) if line.startswith("Seed"))
    assert threads <= 3
    assert after - threads <= 3


def test_breaking_is_told_for_the_two_soonest_and_the_rest_later() -> None:
    crusts = scattered({"A": (1,), "B": (1, 2), "C": (1, 2), "D": (1, 3)})
    for n, hours in ((1, 26), (2, 56), (3, 80), (4, 104)):
        crust = crusts[f"B{n}"]
        assert crust is not None
        crusts[f"B{n}"] = replace(crust, break_by=NOW + timedelta(hours=hours))
    assert crust_line(crusted(crusts)).endswith(
        "; break B1 by Wed morning, B2 by Thu noon, later B3, B4"
    )


def test_no_crust_is_to_be_broken_before_it_comes() -> None:
    """The crop is up before the crust stands: nothing to break."""
    crusts = scattered({"B": (1, 2)})
    for bed, hours in (("B1", 20), ("B2", 56)):
        crust = crusts[bed]
        assert crust is not None
        crusts[bed] = replace(
            crust, expected_at=NOW + timedelta(hours=30), break_by=NOW + timedelta(hours=hours)
        )
    assert crust_line(crusted(crusts)).endswith("; break B2 by Thu noon")


def test_soils_are_told_by_their_open_beds() -> None:
    """Beds that a crop covers are nobody's to work; what they hold is not told."""
    whole = stored("spring")
    wet = tuple(
        replace(bed, because="crop_up", soil=replace(bed.soil, workable_from=None))
        if bed.soil_name == "sandy loam" and bed.verdict != "go"
        else bed
        for bed in whole.beds
    )
    page = " ".join(today_text(replace(whole, beds=wet)).split())
    assert "8 in 10 sure: sandy loam now" in page


def test_the_number_of_a_line_stays_with_its_bed() -> None:
    text = "sweeps: 9 C9, 10 C10, 11 B4, 12 B5, 13 C2"
    for width in range(12, 40):
        lines = wrapped_items(text, width)
        assert " ".join(lines) == text
        assert not any(re.search(r"(^| )\d+$", line) for line in lines)


def test_next_flush_needs_rain_in_sight() -> None:
    whole = stored("spring")
    beds = tuple(
        replace(bed, flush=bed.flush and replace(bed.flush, next_expected_at=None))
        for bed in whole.beds
    )
    page = today_text(replace(whole, beds=beds, not_reached=()))
    assert "next flush" not in page
    assert "rain comes" not in page


# ------------------------------------------------ seed, plans and what to remember


def test_last_call_before_seed() -> None:
    """D1 to D3 are past, D6 is more than a week off: the day itself is within the week."""
    page = " ".join(today_text(stored("spring")).split())
    assert (
        "Seed last call before weeds shed seed: A5 by Sat, D4, D5 by 21 May; past: D1-D3 Plans"
        in page
    )
    whole = stored("spring")
    for call_on, words in (
        (date(2013, 5, 14), "last call before weeds shed seed: A2 today"),
        (date(2013, 5, 13), "last call before weeds shed seed is past: A2"),
    ):
        beds = tuple(
            replace(bed, last_call_on=call_on if bed.bed == "A2" else None) for bed in whole.beds
        )
        page = today_text(replace(whole, beds=beds))
        assert re.search(rf"^Seed +{words}$", page, re.MULTILINE)
    beds = tuple(replace(bed, last_call_on=None) for bed in whole.beds)
    assert "Seed" not in today_text(replace(whole, beds=beds))


def test_many_past_calls_are_counted() -> None:
    whole = stored("spring")
    beds = tuple(
        replace(bed, last_call_on=date(2013, 5, 3 + 6 * (place % 2)) if place % 3 else None)
        for place, bed in enumerate(whole.beds)
    )
    n_past = sum(bed.last_call_on is not None for bed in beds)
    long = tuple(replace(bed, bed=f"back field {bed.bed}") for bed in beds)
    page = today_text(replace(whole, beds=long))
    assert re.search(rf"^Seed +.* is past on {n_past} beds$", page, re.MULTILINE)


def test_the_two_nearest_plans_a_line_each() -> None:
    page = today_text(stored("spring"))
    start = page.index("Plans")
    assert page[start:].splitlines()[:2] == [
        "Plans        A2 for beet 20 May: kill the flush 14-16 May, shallow",
        "             A7 for carrot 28 May: prepare it by 16 May",
    ]
    assert "leek 12 Jun" not in page
    whole = stored("spring")
    other = tuple(replace(bed, plan="cover crop" if bed.bed == "D7" else "") for bed in whole.beds)
    assert re.search(
        "^Plans +D7: cover crop$", today_text(replace(whole, beds=other)), re.MULTILINE
    )


def test_a_note_comes_where_there_is_room_and_always_on_a_phone() -> None:
    page = today_text(stored("spring"))
    assert "threads most tomorrow; until Thu 18:00; last time here: fair" in page
    assert "one notch closer" not in page
    narrow = " ".join(today_text(stored("spring"), 40).split())
    assert "Last time here: fair, one notch closer. Sure: 8 in 10." in narrow
    assert "back out 18 m after each run; lift over B2/south (bean is coming up)." in narrow
    assert "back out 59 ft" in " ".join(today_text(stored("spring"), 40, "us").split())


def test_what_to_lift_over_is_never_left_out() -> None:
    """In the second line where there is room, else below the list."""
    whole = stored("spring")
    page = today_text(whole)
    assert re.search("^Mind +B2/north: lift over B2/south$", page, re.MULTILINE)
    short = tuple(
        replace(bed, why=("threads most today",)) if bed.part == "north" else bed
        for bed in whole.beds
    )
    page = today_text(replace(whole, beds=short))
    assert "threads most today; until Thu 18:00; lift over B2/south " in page
    assert "Mind" not in page


def with_tool(tool: str, setup: str | None = None) -> Morning:
    whole = stored("spring")
    beds = tuple(
        replace(bed, action=bed.action and replace(bed.action, tool=tool, setup=setup))
        for bed in whole.beds
    )
    return replace(whole, beds=beds)


def test_the_depth_is_never_cut() -> None:
    """It stays by the tool while a crop's bare name leaves room, else it opens the second line."""
    go = today_text(with_tool("knives and fingers"), 80, "us").split("\n\n")[1]
    assert go.count("knives and fingers, ") == 8
    assert go.count("knives and fingers, 0.6 in ") == 3
    tool = "knives, fingers and harrow"
    lines = today_text(with_tool(tool), 80).split("\n\n")[1].splitlines()
    assert f"{tool}  10:30" in lines[1]
    assert lines[2].startswith("    15 mm deep; carrot up tomorrow")
    assert all(re.match(r"    \d\d mm deep", line) for line in lines[2::2] if "sure" in line)
    assert ".." not in lines[1]


def test_weather_notes_keep_to_three_lines() -> None:
    whole = stored("spring")
    notes = (
        "Own gauge 18 mm outranks the station's 3 mm",
        *(f"note {n} of many" for n in range(20)),
    )
    page = today_text(replace(whole, weather=replace(whole.weather, notes=notes)))
    start = page.index("Weather  ")
    end = page.index("Data  ", start)
    line = " ".join(page[start:end].split())
    assert page[start:end].count("\n") == 3
    assert "Own gauge 18 mm outranks" in line
    told = len(re.findall(r"Note \d+ of many", line))
    assert f"{20 - told} more: whitethread weather show." in line
    assert "\nData  " in page[start:]  # the credit of the data always stands


def test_at_most_two_looks_and_the_dearest_first() -> None:
    whole = stored("spring")
    beds = tuple(
        replace(bed, look={"ask": "count", "where": None, "gain_min": float(place)})
        for place, bed in enumerate(whole.beds)
    )
    looks = re.findall(r"^Look +(\S+):", today_text(replace(whole, beds=beds)), re.MULTILINE)
    assert looks == [beds[-1].bed, beds[-2].bed]


def test_age_of_the_weather_is_told() -> None:
    assert "(2 days old)" in today_text(stored("wet"))
    assert "No forecast." in today_text(stored("wet"), width=100)
    assert "outranks the station's 3 mm" in today_text(stored("spring"), width=200)


def test_never_safe_and_no_colour() -> None:
    for name in ("spring", "wet"):
        page = today_text(stored(name))
        assert not re.search(r"\bsafe", page, re.IGNORECASE)
        assert "\x1b" not in page


def test_a_page_too_narrow_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 36"):
        today_text(stored("wet"), width=20)


# ------------------------------------------------------- what a grower trips over


def test_without_a_forecast_nothing_is_said_of_rain_to_come() -> None:
    found = stored("spring")
    bare = replace(
        found,
        weather=replace(found.weather, forecast_issued=None),
        outlook_line="no rain in sight until tomorrow",
    )
    page = " ".join(today_text(bare).split())
    assert "No forecast, so no word on rain to come." in page
    assert "in sight until tomorrow" not in page


def test_beds_under_a_closed_crop_are_not_named_for_crusts_or_threads() -> None:
    found = stored("spring")
    covered = [
        replace(bed, verdict="nothing", because="crop_up", action=None, rank=None)
        for bed in found.beds
    ]
    page = today_text(replace(found, beds=tuple(covered), not_reached=()))
    for label in ("Crust", "Threads"):
        assert re.search(rf"^{label} +not known$", page, re.MULTILINE)


def test_beds_nobody_knows_are_asked_for_a_look() -> None:
    found = stored("spring")
    beds = tuple(
        replace(bed, because="unknown") if bed.verdict == "nothing" else bed for bed in found.beds
    )
    page = " ".join(today_text(replace(found, beds=beds)).split())
    assert re.search("Look first A4, A6-A8: no flush on record, .* log what stands", page)


def test_a_crop_that_is_up_needs_no_crust_broken() -> None:
    found = stored("spring")
    crust = CrustAnswer(0.2, NOW + timedelta(days=1), 0.7, NOW - timedelta(hours=1))
    beds = tuple(replace(bed, crust=crust) for bed in found.beds)
    assert "break" not in today_text(replace(found, beds=beds, not_reached=()))


@pytest.mark.parametrize(
    ("minute", "words"), [(6, "13:00"), (15, "13:00"), (16, "13:30"), (46, "14:00")]
)
def test_hours_of_today_are_told_to_the_half_hour(minute: int, words: str) -> None:
    moment = datetime(2013, 5, 14, 13, minute, tzinfo=ZONE)
    assert half_day_words(moment, NOW, ZONE) == words
    last = datetime(2013, 5, 14, 23, 50, tzinfo=ZONE)
    assert half_day_words(last, NOW, ZONE) == "23:30"


def test_a_soil_that_is_not_surely_fit_is_named() -> None:
    found = stored("spring")
    beds = tuple(
        replace(bed, soil=replace(bed.soil, workable_from=None))
        for bed in (*found.beds, *found.not_reached)
    )
    page = " ".join(today_text(replace(found, beds=beds, not_reached=())).split())
    assert re.search(
        "Soil fit for every tool, 8 in 10 sure: no hour in sight for [^.]*clay loam", page
    )


def test_counts_per_area_are_told_in_the_growers_units() -> None:
    """One square metre is 10.7639 square feet: 15 and 170 per m2 are 1.39 and 15.8 per sq ft."""
    said = "15 threads, 170 up per m2; 3 in 10 to come"
    assert grower_text(said, "us") == "1.4 threads, 16 up per sq ft; 3 in 10 to come"
    assert grower_text(said, "metric") == said
    mat = "a mat from winter, about 364 per m2; a pass takes 6 in 10"
    assert grower_text(mat, "us") == "a mat from winter, about 34 per sq ft; a pass takes 6 in 10"


def test_by_hand_says_whether_weeds_are_too_big_or_a_pass_is_not_worth_it() -> None:
    """A tool fits where a pass would save less than it takes: nothing is too big there."""
    morning = stored("spring")
    minutes = {"by_hand": Range(4.0, 9.0, 20.0)}
    told = ("a tool takes 3 in 10 of them at most", NO_PASS_PAYS)
    hand = [
        replace(
            bed, verdict="hand", because="no_fit", action=None, rank=None, until=None,
            minutes=minutes, why=("4-40 grown weeds per m2 in the row", words),
        )
        for bed, words in zip(morning.beds, told, strict=False)
    ]  # fmt: skip
    page = " ".join(today_text(replace(morning, beds=tuple(hand)), 80, "us").split())
    names = [planting_name(bed) for bed in hand]
    assert f"By hand too big for any tool: {names[0]} (4-20 min)" in page
    assert f"By hand no pass is worth its minutes: {names[1]} (4-20 min)" in page


@pytest.mark.parametrize("width", [80, 72])
def test_minutes_saved_and_the_last_good_day_are_on_the_line(width: int) -> None:
    """What stands, what it saves and until when, however the figures run."""
    morning = stored("spring")
    why = ("30 threads, 75 up per m2", "saves 3-100 min by hand", "waiting costs up to 23 min")
    work = replace(morning.farm.work, end=time(18))
    good = datetime(2013, 5, 17, 18, tzinfo=ZONE)
    go = [
        replace(bed, why=why, last_good_at=good, sure=0.9)
        for bed in morning.beds
        if bed.verdict == "go"
    ]
    page = today_text(
        replace(morning, farm=replace(morning.farm, work=work), beds=tuple(go)), width, "us"
    )
    lines = [line for line in page.splitlines() if "threads" in line and "sure" in line]
    assert len(lines) == min(len(go), MAX_GO_LINES)
    for line in lines:
        assert "2.8 threads, 7.0 up/sq ft; saves 3-100 min; until Fri" in line


def test_a_blind_pass_says_its_last_hour_and_what_it_saves() -> None:
    morning = stored("spring")
    why = ("last blind hour 18:00", "30 threads, 75 up per m2", "saves 3-100 min by hand")
    (go, *_) = (bed for bed in morning.beds if bed.verdict == "go")
    blind = replace(go, why=why, sure=0.9, last_good_at=datetime(2013, 5, 14, 18, tzinfo=ZONE))
    page = today_text(replace(morning, beds=(blind,)), 80, "us")
    assert "blind until 18:00; 2.8 threads, 7.0 up/sq ft; saves 3-100 min" in page
