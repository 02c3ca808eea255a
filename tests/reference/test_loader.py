"""The loader of parameter tables: every rule it holds, with the message of each fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from scheduler.errors import ParameterTableError
from scheduler.reference import COLUMNS, load_tables

HEADER = ",".join(COLUMNS)
GOOD = "loam,drained_kpa,11,7,16,kPa,book,Table 1,E,seen,"
SOURCES = '[book]\ncitation = "A book."\naddress = "https://example.org"\n'


def _folder(path: Path, *lines: str, sources: str = SOURCES, aliases: str | None = None) -> Path:
    (path / "soils.csv").write_text("\n".join((HEADER, *lines)) + "\n", encoding="utf-8")
    (path / "sources.toml").write_text(sources, encoding="utf-8")
    if aliases is not None:
        (path / "aliases.csv").write_text(f"alias,subject\n{aliases}\n", encoding="utf-8")
    return path


def test_a_good_table_is_read(tmp_path: Path) -> None:
    tables = load_tables(_folder(tmp_path, GOOD, aliases="Brown Earth,loam"))
    row = tables.value("loam", "drained_kpa")
    assert (row.value, row.low, row.high, row.unit) == (11.0, 7.0, 16.0, "kPa")
    assert (row.source, row.locator, row.grade, row.seen) == ("book", "Table 1", "E", "seen")
    assert row.table == "soils"
    assert tables.sources["book"].citation == "A book."
    assert tables.number("loam", "drained_kpa") == 11.0
    assert tables.has("loam", "drained_kpa")
    assert not tables.has("loam", "colour")
    assert list(tables.of("loam")) == ["drained_kpa"]
    assert tables.subjects("soils") == ("loam",)
    assert tables.subject_of("  Brown  EARTH ") == "loam"
    assert tables.subject_of("Loam") == "loam"
    assert tables.subject_of("chalk") is None


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (
            GOOD.replace("kPa", "bar"),
            "soils.csv, line 2: unknown unit 'bar' of 'drained_kpa'; known are 1,",
        ),
        (
            GOOD.replace("drained_kpa", "drained"),
            "soils.csv, line 2: the name 'drained' does not tell its unit 'kPa'",
        ),
        (
            GOOD.replace("kPa", "1"),
            "soils.csv, line 2: the name 'drained_kpa' does not tell its unit '1'",
        ),
        (
            GOOD.replace("drained_kpa", "rain_mm_h").replace("kPa", "mm"),
            "soils.csv, line 2: the name 'rain_mm_h' does not tell its unit 'mm'",
        ),
        (
            GOOD.replace("book", "hearsay"),
            "soils.csv, line 2: unknown source 'hearsay' of 'drained_kpa'; add it to sources.toml",
        ),
        (
            GOOD + "\n" + GOOD,
            "soils.csv, line 3: 'drained_kpa' of 'loam' stands already in soils.csv, line 2; "
            "keep one of them",
        ),
        (
            GOOD.replace(",11,", ",17,"),
            "soils.csv, line 2: value 17 of 'drained_kpa' is outside [7, 16]; mend the value",
        ),
        (GOOD.replace(",11,", ",6.9,"), "value 6.9 of 'drained_kpa' is outside [7, 16]"),
        (GOOD.replace(",7,16,", ",16,7,"), "is outside [16, 7]"),
        (
            GOOD.replace(",11,", ",eleven,"),
            "soils.csv, line 2: 'eleven' in column 'value' of 'drained_kpa' is not a number",
        ),
        (GOOD.replace(",11,", ",nan,"), "'nan' in column 'value' of 'drained_kpa'"),
        (GOOD.replace(",16,", ",inf,"), "'inf' in column 'high' of 'drained_kpa'"),
        (GOOD.replace(",7,", ",,"), "'' in column 'low' of 'drained_kpa'"),
        (
            GOOD.replace(",E,", ",F,"),
            "soils.csv, line 2: grade 'F' of 'drained_kpa' is none of A, B, C, D, E",
        ),
        (
            GOOD.replace(",seen,", ",heard,"),
            "'heard' in column 'seen' of 'drained_kpa' is neither seen nor memory",
        ),
        (GOOD.replace(",E,", ",D,"), "is derived (grade D) without a formula; put it in the note"),
        (GOOD.replace("Table 1", ""), "soils.csv, line 2: column 'locator' is empty; fill it in"),
        (GOOD.replace("loam", ""), "column 'subject' is empty"),
        (GOOD.replace("loam", "Loam"), "subject 'Loam' must be in lower case"),
        (
            GOOD.replace("drained_kpa,11,7,16,kPa", "is_wet,0.5,0,1,yes/no"),
            "'is_wet' is yes or no, found 0.5; write 1 or 0",
        ),
        (
            GOOD + "first, second",
            "soils.csv, line 2: 12 cells found, 11 needed; put text with commas in quotation marks",
        ),
    ],
)
def test_a_fault_is_told_in_one_line(tmp_path: Path, line: str, message: str) -> None:
    with pytest.raises(ParameterTableError) as caught:
        load_tables(_folder(tmp_path, line))
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_wrong_columns_are_told(tmp_path: Path) -> None:
    folder = _folder(tmp_path)
    (folder / "soils.csv").write_text("subject,value\nloam,1\n", encoding="utf-8")
    with pytest.raises(ParameterTableError, match=r"soils.csv, line 1: the columns are subject"):
        load_tables(folder)


@pytest.mark.parametrize(
    ("sources", "message"),
    [
        ("[book]\nyear = 1990\n", "sources.toml: source 'book' has no citation; give it one"),
        ("[book\n", "sources.toml: not readable as TOML"),
    ],
)
def test_sources_must_be_citations(tmp_path: Path, sources: str, message: str) -> None:
    with pytest.raises(ParameterTableError) as caught:
        load_tables(_folder(tmp_path, GOOD, sources=sources))
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("aliases", "message"),
    [
        ("chalky,chalk", "aliases.csv, line 2: alias 'chalky' stands for 'chalk', which no table"),
        ("earth,loam\nearth,loam", "aliases.csv, line 3: alias 'earth' is taken already"),
        ("loam,loam", "aliases.csv, line 2: alias 'loam' is taken already"),
    ],
)
def test_aliases_have_one_meaning(tmp_path: Path, aliases: str, message: str) -> None:
    with pytest.raises(ParameterTableError) as caught:
        load_tables(_folder(tmp_path, GOOD, aliases=aliases))
    assert message in str(caught.value)


def test_asking_for_what_is_not_there() -> None:
    tables = load_tables()
    with pytest.raises(ParameterTableError, match=r"'loam' has .*working_kpa"):
        tables.value("loam", "colour")
    with pytest.raises(ParameterTableError, match="no table has this subject"):
        tables.number("chalk", "working_kpa")
