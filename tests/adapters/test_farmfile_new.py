"""A new farm from seven answers: it passes the check, and nothing that stands is touched."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from scheduler.adapters.farmfile import (
    INIT_QUESTIONS,
    Answers,
    answer_fault,
    check_farm,
    check_text,
    contact_fault,
    new_farm_text,
    read_farm,
    write_new_farm,
)
from scheduler.errors import FarmFileError
from scheduler.records import HeatBands


def test_at_most_seven_questions_each_with_a_default_that_is_fine() -> None:
    assert len(INIT_QUESTIONS) <= 8
    assert [question.key for question in INIT_QUESTIONS] == list(Answers.__dataclass_fields__)
    for question in INIT_QUESTIONS:
        for units in ("us", "metric"):
            assert question.default(units)
            assert answer_fault(question.key, question.default(units)) is None


def test_a_default_follows_the_units_however_they_are_typed() -> None:
    (beds,) = (question for question in INIT_QUESTIONS if question.key == "beds")
    assert beds.default(" Metric") == "20 beds, 15 m x 75 cm"
    assert beds.default("us") == "20 beds, 50 ft x 30 in"


def test_the_defaults_make_a_farm_without_fault_or_warning(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "farm"
    assert write_new_farm(folder, Answers()) == folder / "farm.toml"
    check = check_farm(folder)
    assert (check.faults, check.warnings) == ((), ())
    assert [path.name for path in folder.iterdir()] == ["farm.toml"]
    farm = read_farm(folder)
    assert len(farm.beds) == 20
    assert farm.work.hours == (3.0,) * 6 + (0.0,)
    assert farm.tools


def test_the_answers_arrive(tmp_path: Path) -> None:
    answers = Answers(
        farm_name='The "Back" \\ Field',
        units="Metric",
        place="33.9 S, 151.2 E",
        time_zone="Australia/Sydney",
        soil="ribbon 2.5-5 cm, smooth",
        beds="1 bed, 12 m x 80 cm",
        hours="90 min",
    )
    farm = read_farm(write_new_farm(tmp_path, answers).parent)
    assert farm.name == 'The "Back" \\ Field'
    assert farm.units == "metric"
    assert (farm.place.latitude_deg, farm.place.longitude_deg) == (-33.9, 151.2)
    assert farm.place.elevation_m == 0.0
    assert farm.place.time_zone == "Australia/Sydney"
    assert farm.soils["home"].texture == "silty clay loam"
    (bed,) = farm.beds
    assert (bed.name, bed.length_m, bed.width_m) == ("A1", 12.0, 0.8)
    assert farm.work.hours[0] == 1.5


def test_consent_and_contact_arrive_together(tmp_path: Path) -> None:
    farm = read_farm(write_new_farm(tmp_path, Answers(), "grower@example.org").parent)
    assert farm.weather == {"consent": True, "contact": "grower@example.org"}
    without = check_text(new_farm_text(Answers())).farm
    assert without is not None
    assert without.weather == {}


def test_a_wrong_contact_writes_nothing(tmp_path: Path) -> None:
    told = '"grower" is not a mail address; write such as "grower@example.org"'
    assert contact_fault("grower") == told
    with pytest.raises(FarmFileError, match="is not a mail address"):
        write_new_farm(tmp_path / "farm", Answers(), "grower")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ("consent = true", "without a contact no forecast is asked for"),
        ('consent = true\nforecast = "none"', None),
        ('consent = true\nforecast = "openmeteo"', "non-commercial use alone"),
        ('contact = "grower@example.org"', None),
    ],
)
def test_what_consent_lacks_is_a_warning(lines: str, told: str | None) -> None:
    text = new_farm_text(Answers()).replace("#: [weather]", f"[weather]\n{lines}")
    check = check_text(text)
    assert check.faults == ()
    if told is None:
        assert check.warnings == ()
    else:
        (warning,) = check.warnings
        assert told in warning


def test_empty_answers_are_the_defaults_of_the_units() -> None:
    empty = Answers(farm_name="", units="metric", place="", time_zone="", soil="", hours="")
    farm = check_text(new_farm_text(empty)).farm
    assert farm is not None
    assert farm.beds[0].length_m == 15.0
    assert farm.name == "Long Acre"


@pytest.mark.parametrize("units", ["us", "metric"])
def test_every_example_in_the_comments_can_be_taken_as_it_is(units: str) -> None:
    text = new_farm_text(Answers(units=units))
    with_examples = re.sub(r"(?m)^#: ", "", text)
    assert with_examples.count("\n") == text.count("\n")
    check = check_text(with_examples, ("carrot",))
    assert (check.faults, check.warnings) == ((), ())
    assert check.farm is not None
    assert [bed.name for bed in check.farm.beds[-2:]] == ["North", "Tunnel"]
    assert {tool.kind for tool in check.farm.tools} == {"wheel hoe", "tine weeder", "knives"}
    assert check.farm.tools[-1].key == "knives + finger weeder"
    assert check.farm.tools[1].setups[0].n_rows == 3
    assert [(plan.bed, plan.crop, plan.is_sown) for plan in check.farm.plans] == [
        ("A1", "carrot", True)
    ]
    usual = HeatBands()
    assert check.farm.heat_bands.from_c == pytest.approx(usual.from_c, abs=0.5)
    assert check.farm.heat_bands.sun_allowance_c == pytest.approx(usual.sun_allowance_c, abs=0.5)
    assert check.farm.mail["security"] == "starttls"


@pytest.mark.parametrize(
    ("key", "answer", "message"),
    [
        (
            "farm_name",
            "a\nb",
            '"a\\u000ab" holds a control character; allowed: one line of plain text',
        ),
        (
            "units",
            "metrc",
            '"metrc" is not one of the words allowed here; allowed: metric, us; nearest: "metric"',
        ),
        (
            "place",
            "40.78 N",
            '"40.78 N" is not a place; write latitude, longitude and elevation such as '
            "40.78 N, 73.97 W, 12 ft",
        ),
        (
            "place",
            "40.78 N, 73.97 W, 12 kg",
            '"12 kg" is a mass, not a length; allowed units: mm, cm, m, in, ft, yd',
        ),
        (
            "time_zone",
            "New York",
            '"New York" is not a time zone; allowed: an area and a city, such as '
            '"America/New_York" or "Europe/Paris"; nearest: "America/New_York"',
        ),
        (
            "beds",
            "twenty",
            '"twenty" does not tell the beds; write such as 20 beds, 50 ft x 30 in',
        ),
        ("beds", "900 beds, 50 ft x 30 in", "900 beds is out of range; allowed: 1 to 500 beds"),
        (
            "beds",
            "20 beds, 50 ft x 30 fet",
            '"30 fet" has an unknown unit; allowed units: mm, cm, m, in, ft, yd; nearest: "feet"',
        ),
        ("hours", "25 h", '"25 h" is out of range; allowed: 0 h to 24 h'),
        ("hours", "3", '"3" has no unit; write a duration such as "10 min" or "3 h"'),
    ],
)
def test_wrong_answers_are_told_and_write_nothing(
    tmp_path: Path, key: str, answer: str, message: str
) -> None:
    assert answer_fault(key, answer) == message
    folder = tmp_path / "farm"
    with pytest.raises(FarmFileError) as caught:
        write_new_farm(folder, Answers(**{key: answer}))
    assert str(caught.value) == f"answer {key}: {message}"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "answer", ["20, 50 ft by 30 in", "20 beds 50' x 30\"", "20 beds of 50ft x 30in"]
)
def test_beds_may_be_told_in_several_ways(answer: str) -> None:
    farm = check_text(new_farm_text(Answers(beds=answer))).farm
    assert farm is not None
    assert len(farm.beds) == 20
    assert (farm.beds[0].length_m, farm.beds[0].width_m) == (15.24, 0.762)


@pytest.mark.parametrize("name", ["farm.toml", "farm.db"])
def test_a_farm_that_stands_is_never_touched(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"mine")
    with pytest.raises(FarmFileError) as caught:
        write_new_farm(tmp_path, Answers())
    assert str(caught.value) == (
        f"{tmp_path}: already holds {name}; name another folder, nothing was changed"
    )
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_bytes() == b"mine"


def test_a_file_in_the_place_of_the_folder_is_told(tmp_path: Path) -> None:
    target = tmp_path / "farm"
    target.write_text("mine", encoding="utf-8")
    with pytest.raises(FarmFileError) as caught:
        write_new_farm(target, Answers())
    assert str(caught.value) == f"{target}: is a file, not a folder; name another folder"
    assert target.read_text(encoding="utf-8") == "mine"


def test_other_files_of_the_folder_stay(tmp_path: Path) -> None:
    (tmp_path / "map.txt").write_text("mine", encoding="utf-8")
    write_new_farm(tmp_path, Answers())
    assert sorted(path.name for path in tmp_path.iterdir()) == ["farm.toml", "map.txt"]
    assert (tmp_path / "map.txt").read_text(encoding="utf-8") == "mine"


def test_a_farm_that_appears_meanwhile_wins(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def link_late(source: str, target: Path) -> None:
        Path(target).write_text("theirs", encoding="utf-8")
        raise FileExistsError

    monkeypatch.setattr(os, "link", link_late)
    with pytest.raises(FarmFileError, match=r"already holds farm\.toml"):
        write_new_farm(tmp_path, Answers())
    assert [path.name for path in tmp_path.iterdir()] == ["farm.toml"]
    assert (tmp_path / "farm.toml").read_text(encoding="utf-8") == "theirs"


def test_a_disk_that_fails_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    folder = tmp_path / "a" / "farm"
    with pytest.raises(FarmFileError) as caught:
        write_new_farm(folder, Answers())
    assert str(caught.value) == (
        f"{folder}: cannot be written (No space left on device); name a folder that is yours"
    )
    assert list(tmp_path.iterdir()) == []


def test_a_stick_without_hard_links_gets_the_farm_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(source: str, target: Path) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    write_new_farm(tmp_path, Answers())
    assert check_farm(tmp_path).faults == ()
    assert [path.name for path in tmp_path.iterdir()] == ["farm.toml"]
