"""What a grower saw, in words: sprouts, quadrats, first sights, few or many; beds in a row."""

from __future__ import annotations

import csv
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.adapters.journal import (
    export_csv,
    import_csv,
    open_farm_database,
    parse_note,
    parse_notes,
    quadrat_areas,
    read_drop_folder,
)
from scheduler.adapters.quantities import QuantityError, area_m2
from scheduler.errors import JournalError, WhitethreadError
from scheduler.records import Event

BEDS = ("B1", "B2", "B3", "B4", "B5", "B7", "North field 2", "North field 3", "7", "40")
NOW = datetime.fromisoformat("2013-05-08T08:30:00-04:00")
LATER = datetime(2100, 1, 1, tzinfo=UTC)
ONE_FT2_M2 = 0.09290304  # by definition of the foot


def read_all(text: str, **rest: Any) -> tuple[Event, ...]:
    return parse_notes(text, NOW, "America/New_York", BEDS, ("tine",), ("carrot",), **rest)


def read(text: str, **rest: Any) -> dict[str, Any]:
    (event,) = read_all(text, **rest)
    return dict(event.data)


# ---------------------------------------------------------------------- looks


@pytest.mark.parametrize(
    ("words", "data"),
    [
        ("6 threads 11 seed leaves 3 true leaves",
         {"n_thread": 6, "n_seed_leaf": 11, "n_true_leaf": 3}),
        ("1 thread, 1 seed leaf, 0 young", {"n_thread": 1, "n_seed_leaf": 1, "n_young": 0}),
        ("6 threads yesterday 14:00", {"n_thread": 6}),
        ("310 threads per m2", {"thread": 310.0}),
        ("12.5 established / sq m", {"established": 12.5}),
        ("12 seed leaves in 0.25 m2", {"n_seed_leaf": 12, "area_m2": 0.25}),
        ("in 0,25 m² 12 seed-leaves", {"n_seed_leaf": 12, "area_m2": 0.25}),
        ("12 seed leaves in 50 x 50 cm", {"n_seed_leaf": 12, "area_m2": pytest.approx(0.25)}),
        ("12 seed leaves in 1 x 2 ft",
         {"n_seed_leaf": 12, "area_m2": pytest.approx(2 * ONE_FT2_M2, rel=1e-9)}),
        ("12 seed leaves in 2 ft2",
         {"n_seed_leaf": 12, "area_m2": pytest.approx(2 * ONE_FT2_M2, rel=1e-9)}),
        ("12 seed leaves in 2 square feet",
         {"n_seed_leaf": 12, "area_m2": pytest.approx(2 * ONE_FT2_M2, rel=1e-9)}),
        ("0 threads in 1 sq ft",
         {"n_thread": 0, "area_m2": pytest.approx(ONE_FT2_M2, rel=1e-9)}),
        ("12 seed leaves in 0.25 m2 quadrat nail",
         {"n_seed_leaf": 12, "area_m2": 0.25, "quadrat": "nail"}),
        ('quadrat "by the post" 12 seed leaves in 0.25 m2',
         {"n_seed_leaf": 12, "area_m2": 0.25, "quadrat": "by the post"}),
        ("12 seed leaves in 0.25 m2 in quadrat 1",
         {"n_seed_leaf": 12, "area_m2": 0.25, "quadrat": "1"}),
        ("nothing", {"nothing": True}),
        ("nothing yet", {"nothing": True}),
        ("nothing seen in 0.25 m2", {"nothing": True, "area_m2": 0.25}),
        ("first threads", {"first": "threads"}),
        ("first thread", {"first": "threads"}),
        ("First Green", {"first": "green"}),
        ("few", {"amount": "few"}),
        ("some weeds", {"amount": "some"}),
        ("MANY", {"amount": "many"}),
        ("survivors 4 of 20", {"left_n": 4, "of_n": 20}),
        ("survived 0 of 20 8 May", {"left_n": 0, "of_n": 20}),
    ],
)  # fmt: skip
def test_what_a_look_says(words: str, data: dict[str, Any]) -> None:
    assert read(f"look B4 {words}") == data


def test_counts_without_an_area_are_sprouts_and_per_area_is_the_bed() -> None:
    """The same numbers, two meanings: a share of the sprouts, or weeds of the whole bed."""
    assert read("look B4 6 threads") == {"n_thread": 6}
    assert read("look B4 6 threads per m2") == {"thread": 6.0}
    assert read("look B4 6 threads per ft2") == {"thread": pytest.approx(6 / ONE_FT2_M2, rel=1e-9)}


def test_an_area_is_remembered_by_the_name_of_its_quadrat() -> None:
    first = read_all("look B4 12 seed leaves in 0.25 m2 quadrat Nail")
    quadrats = quadrat_areas(first)
    assert quadrats == {("B4", "nail"): ("Nail", 0.25)}
    again = read("look B4 30 seed leaves quadrat nail", quadrats=quadrats)
    assert again == {"n_seed_leaf": 30, "area_m2": 0.25, "quadrat": "Nail"}
    assert read("look B4 nothing quadrat NAIL", quadrats=quadrats) == {
        "nothing": True,
        "area_m2": 0.25,
        "quadrat": "Nail",
    }
    said = read("look B4 30 seed leaves in 50 x 50 cm quadrat nail", quadrats=quadrats)
    assert said["area_m2"] == 0.25
    with pytest.raises(JournalError, match=r"^quadrat 'nail' of B5 has no area yet; say it once"):
        read("look B5 30 seed leaves quadrat nail", quadrats=quadrats)
    with pytest.raises(
        JournalError, match=r"^quadrat 'Nail' of B4 was 0\.25 m2 and is 1 m2 now; leave the area"
    ):
        read("look B4 30 seed leaves in 1 m2 quadrat nail", quadrats=quadrats)


@pytest.mark.parametrize(
    ("words", "feel"),
    [("wet", "wet"), ("sticky", "smears"), ("smears", "smears"), ("crumbles", "crumbles"),
     ("hard", "hard"), ("dry", "dry")],
)  # fmt: skip
def test_what_a_handful_does(words: str, feel: str) -> None:
    assert read(f"feel B4 {words}") == {"feel": feel}


@pytest.mark.parametrize(
    "words",
    [
        "6 min setup-time 8 min",
        "set-up time 8 min 6 min",
        "setup took 8 min 6 min",
        "6 min set-up-time 0,1333333333333333 h",
    ],
)
def test_minutes_of_work_and_of_the_set_up(words: str) -> None:
    found = read(f"pass B4 tine {words}")
    assert found == {"tool": "tine", "work_min": 6.0, "setup_min": pytest.approx(8.0, rel=1e-9)}


def test_the_time_of_a_set_up_ends_its_name() -> None:
    found = read("pass B4 tine setup three rows setup-time 8 min worked fair")
    assert found == {
        "tool": "tine",
        "setup": "three rows",
        "setup_min": 8.0,
        "worked": True,
        "how": "fair",
    }


def test_an_area_in_words_that_is_none() -> None:
    for text in ("0.25", "m2", "0.25 ha", "0.25 m", "3 x 4", "-1 m2"):
        with pytest.raises(QuantityError, match="is no area; allowed units: m2, ft2"):
            area_m2(text)


# ------------------------------------------------------------------------ beds


@pytest.mark.parametrize(
    ("said", "places"),
    [
        ("B4 B5 B7", ["B4", "B5", "B7"]),
        ("b4, B5 and B7", ["B4", "B5", "B7"]),
        ("B4,B5,and B7", ["B4", "B5", "B7"]),
        ("B1-B4", ["B1", "B2", "B3", "B4"]),
        ("B1-4 B7", ["B1", "B2", "B3", "B4", "B7"]),
        ("B7, b1-b2", ["B7", "B1", "B2"]),
        ("B4/a B4/b B5", ["B4/a", "B4/b", "B5"]),
        ("North field 2 B4", ["North field 2", "B4"]),
        ("north-field-2 - ", None),
        ("North field 2-3", ["North field 2", "North field 3"]),
        ("7 40", ["7", "40"]),
        ("B4 7", ["B4", "7"]),
    ],
)
def test_several_beds_in_one_line(said: str, places: list[str] | None) -> None:
    if places is None:
        with pytest.raises(WhitethreadError, match="cannot read"):
            read_all(f"look {said} nothing")
        return
    found = read_all(f"look {said} nothing")
    assert ["/".join(filter(None, (e.bed, e.part))) for e in found] == places
    assert {tuple(event.data.items()) for event in found} == {(("nothing", True),)}
    assert len({event.event_id for event in found}) == len(found)


def test_a_number_is_a_bed_only_where_it_counts_nothing() -> None:
    """Beds called 7 and 40 take neither the sprouts nor the minutes."""
    assert [e.bed for e in read_all("look 7 40 threads")] == ["7"]
    assert read("look 7 40 threads per m2") == {"thread": 40.0}
    assert read("hand 7 40 min") == {"work_min": 40.0}
    assert [e.bed for e in read_all("hand 7 40")] == ["7", "40"]


@pytest.mark.parametrize("kind", ["up", "rooted", "clear", "hand"])
def test_other_kinds_of_several_beds(kind: str) -> None:
    assert [e.bed for e in read_all(f"{kind} B4 B5 yesterday")] == ["B4", "B5"]


def test_one_entry_is_asked_for() -> None:
    """Where a caller takes one entry, a line of two beds is a fault, not one of them."""
    with pytest.raises(JournalError, match=r"^names 2 beds, B4, B5; allowed: one$"):
        parse_note("up B4 B5", NOW, "America/New_York", BEDS, (), ())


# --------------------------------------------------------------- wrong entries


ALLOWED = "allowed: 7, 40, B1-B5, B7, North field 2, North field 3"
WRONG = [
    # 1 a count of a whole bed, or without its unit
    ("look B4 900 threads", "entry of kind look: counts 900 sprouts without an area; allowed: up "
     "to 500 of a few spots; say of what area, per m2 or in 0.25 m2"),
    # 2 more weeds than can stand
    ("look B4 6000 threads per ft2", "entry of kind look: thread is 64583.46250025833; allowed: 0 "
     "to 50000 per m2"),
    ("look B4 900 threads in 0.01 m2", "entry of kind look: counts 900 in 0.01 m2, 90000 per m2; "
     "allowed: up to 50000 per m2; check count and area"),
    # 3 an area of another unit, or of the whole bed
    ("look B4 12 threads in 25 m2", "entry of kind look: area_m2 is 25.0; allowed: 0.002 to 5 m2"),
    ("look B4 12 threads in 0.25 cm2", '"0.25 cm2" is no area; allowed units: m2, ft2; write it '
     "like 0.25 m2 or 50 x 50 cm"),
    ("look B4 12 threads per m2 in 0.25 m2",
     "says per m2 or ft2, and in what area; say one of the two"),
    # 4 nothing, and weeds
    ("look B4 nothing 3 threads", "entry of kind look: says nothing was seen and counts weeds; "
     "give one of the two"),
    ("look B4 0 threads", "entry of kind look: counts no weed at all; say nothing instead, or of "
     "what area"),
    # 5 two looks in one
    ("look B4 few 3 threads", "entry of kind look: says sprouts as counted and an amount; one look "
     "says one of them, log the other by itself"),
    ("look B4 nothing first green", "entry of kind look: says a first sighting and nothing; one "
     "look says one of them, log the other by itself"),
    ("look B4 few many", "says amount twice; say it once"),
    # 6 more left than there were
    ("look B4 survivors 20 of 4", "entry of kind look: 20 of 4 were left; allowed: no more than "
     "were marked before the pass"),
    ("look B4 survivors 0 of 0", "entry of kind look: of_n is 0; allowed: 1 to 500"),
    # 7 half a weed
    ("look B4 2.5 threads", "entry of kind look: n_thread is 2.5; allowed: 0 to 5000, a whole "
     "number"),
    # 8 a bed that is not there, named twice, or a run of beds with a gap
    ("look B4 B9 nothing", f"there is no bed 'B9'; {ALLOWED}"),
    ("look B4 and B9 nothing", f"there is no bed 'B9'; {ALLOWED}"),
    ("look B4 B5 b4 nothing", "names B4 twice; name it once"),
    ("look B4-B7 nothing", f"there is no bed 'B6' between B4 and B7; {ALLOWED}"),
    ("look B4-B1 nothing", "the beds B4-B1 run backwards; write the lower one first"),
    # 9 of several beds what is of one
    ("look B4 B5 6 threads", "counts in 2 beds at once; log each with its own count, or all with "
     "nothing, few, some or many"),
    ("look B4 B5 survivors 4 of 20", "counts in 2 beds at once; log each with its own count, or "
     "all with nothing, few, some or many"),
    ("hand B4 B5 35 min", "says 35 min of 2 beds; give each bed its own minutes, or leave them "
     "away"),
    ("up B4 B5 part a", "says part of several beds; write each part with its bed, like B4/a B5/b"),
    ("pass B4 B5 tine", "names a second bed, 'B5'; a note of pass is of one bed, write one for "
     "each"),
    # 10 no time, or a set-up of a day
    ("hand B4 0 min", "entry of kind hand: took 0 min; give the minutes or leave them away"),
    ("pass B4 tine setup-time 8 h 6 min setup-time 8 min", "says setup_min twice; say it once"),
    ("pass B4 tine setup-time 9 h", "entry of kind pass: setup_min is 540.0; allowed: 0 to 480 "
     "min"),
    # and what says too little
    ("look B4", "a note of look says not what was seen; write it like 'look B4 6 threads 11 seed "
     "leaves 3 true leaves' or 'look B4 nothing'"),
    ("look B4 per m2", "counts nothing per m2; write it like 'look B4 6 threads 11 seed leaves 3 "
     "true leaves'"),
    ("look B4 few in 0.25 m2", "entry of kind look: gives an area but no count in it; give the "
     "count"),
    ("look B4 6 threads 2 threads", "says thread twice; say it once"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "message"), WRONG)
def test_what_cannot_be_is_said_in_one_line(text: str, message: str) -> None:
    with pytest.raises(WhitethreadError) as raised:
        read_all(text)
    assert str(raised.value) == message


# ------------------------------------------------------- tables, dropped notes


HEAD = "kind,happened_at,bed,n_thread,n_seed_leaf,area_m2,quadrat,first,amount,left_n,of_n,feel\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "drop").mkdir()
    open_farm_database(tmp_path, create=True).close()
    return tmp_path


def standing(folder: Path) -> tuple[Event, ...]:
    with open_farm_database(folder) as database:
        return database.events(LATER)


def test_a_table_of_looks_goes_in_and_comes_out(folder: Path, tmp_path: Path) -> None:
    table = tmp_path / "looks.csv"
    table.write_text(
        HEAD + "look,2013-05-06,B4,6,11,,,,,,,\n"
        "look,2013-05-06,B5,,12,0.25,nail,,,,,\n"
        "look,2013-05-06,B1,,,,,threads,,,,\n"
        "look,2013-05-06,B2,,,,,,Many,,,\n"
        "look,2013-05-06,B3,,,,,,,4,20,\n"
        "feel,2013-05-06,B3,,,,,,,,,Sticky\n"
    )
    import_csv(folder, table, now=NOW, time_zone="America/New_York")
    said = {(event.kind, event.bed): dict(event.data) for event in standing(folder)}
    assert said == {
        ("look", "B4"): {"n_thread": 6, "n_seed_leaf": 11},
        ("look", "B5"): {"n_seed_leaf": 12, "area_m2": 0.25, "quadrat": "nail"},
        ("look", "B1"): {"first": "threads"},
        ("look", "B2"): {"amount": "many"},
        ("look", "B3"): {"left_n": 4, "of_n": 20},
        ("feel", "B3"): {"feel": "smears"},
    }
    written, _ = export_csv(folder, tmp_path / "out")
    with written.open(newline="") as stream:
        rows = {(row["kind"], row["bed"]): row for row in csv.DictReader(stream)}
    assert rows["look", "B5"]["n_seed_leaf"] == "12"
    assert rows["look", "B5"]["quadrat"] == "nail"


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("look,2013-05-06,B5,,12,,nail,,,,,", "names a quadrat but not its area; give area_m2"),
        ("look,2013-05-06,B5,,,,,,,4,,", "has one of left_n and of_n; give both, as 4 of 20"),
        ("look,2013-05-06,B5,,,,,,,,20,", "says nothing; give one of thread, "),
        ("look,2013-05-06,B5,,,,,leaves,,,,", "first is 'leaves'; allowed: threads, green"),
        ("look,2013-05-06,B5,,,,,,lots,,,", "amount is 'lots'; allowed: few, some, many"),
        ("feel,2013-05-06,B5,6,,,,,,,,wet", "has no place for 'n_thread'"),
    ],
)
def test_wrong_rows_of_looks(folder: Path, tmp_path: Path, row: str, message: str) -> None:
    table = tmp_path / "looks.csv"
    table.write_text(HEAD + row + "\n")
    with pytest.raises(JournalError) as raised:
        import_csv(folder, table, now=NOW, time_zone="America/New_York")
    assert str(raised.value).startswith("looks.csv line 2: entry of kind ")
    assert message in str(raised.value)
    assert standing(folder) == ()


def test_dropped_notes_of_several_beds(folder: Path) -> None:
    """One line, three entries; a quadrat is known to the lines after it; twice adds nothing."""
    text = (
        "look B1-B2 B7 nothing yet\nlook B4 12 seed leaves in 0.25 m2 quadrat nail\n"
        "look B4 30 seed leaves quadrat nail\npass B4 tine\nlook B4 survivors 4 of 20\n"
    )
    for n_times in (1, 2):
        path = folder / "drop" / "notes.txt"
        path.write_text(text)
        os.utime(path, (NOW.timestamp(), NOW.timestamp()))
        now = NOW + timedelta(hours=n_times)
        report = read_drop_folder(folder, now, "America/New_York", BEDS, ["tine"], ["carrot"])
        assert report.faults == ()
    found = standing(folder)
    assert sorted(str(event.bed) for event in found) == ["B1", "B2", "B4", "B4", "B4", "B4", "B7"]
    counted = [event.data for event in found if "quadrat" in event.data]
    assert [data["area_m2"] for data in counted] == [0.25, 0.25]


def test_a_dropped_note_of_survivors_without_a_pass_is_left(folder: Path) -> None:
    path = folder / "drop" / "notes.txt"
    path.write_text("look B4 few\nlook B5 survivors 4 of 20\n")
    os.utime(path, (NOW.timestamp(), NOW.timestamp()))
    report = read_drop_folder(folder, NOW, "America/New_York", BEDS, ["tine"], ["carrot"])
    assert report.faults == (
        "notes.txt line 2: B5: survivors of what? found no pass logged there in the 21 days "
        "before; log the pass first",
    )
    assert standing(folder) == ()


def test_a_visit_in_vain_leaves_no_survivors(folder: Path) -> None:
    path = folder / "drop" / "notes.txt"
    path.write_text("pass B5 tine not worked too wet\nlook B5 survivors 4 of 20\n")
    os.utime(path, (NOW.timestamp(), NOW.timestamp()))
    report = read_drop_folder(folder, NOW, "America/New_York", BEDS, ["tine"], ["carrot"])
    assert len(report.faults) == 1
    assert "survivors of what?" in report.faults[0]
