"""Whole mails of three mornings of the demo farm, rendered from stored records.

The files are written by make_mails.py, on purpose only; nothing is computed here.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.adapters.mail_reader import read_html
from tests.golden.make_mails import MAILS, mail_parts, read

HERE = Path(__file__).parent


@pytest.mark.parametrize("name", MAILS)
@pytest.mark.parametrize("end", ["txt", "html"])
def test_part(name: str, end: str) -> None:
    expected = (HERE / f"mail_{name}.{end}").read_text(encoding="utf-8")
    assert mail_parts(read(name))[end] == expected


@pytest.mark.parametrize("name", MAILS)
def test_the_mails_keep_to_their_measure(name: str) -> None:
    """No line of the text is longer than 72 columns; the HTML asks for nothing from outside."""
    parts = mail_parts(read(name))
    subject, *lines = parts["txt"].splitlines()
    assert len(subject.removeprefix("Subject: ")) <= 60
    assert max(map(len, lines)) <= 72
    assert "http" not in parts["html"]
    assert read_html(parts["html"]).all("h1")


def test_the_wrong_yesterday_is_told_before_the_day() -> None:
    """Rain of which the list of 19 April said nothing is told first, with what fell."""
    text = mail_parts(read("corrected"))["txt"]
    told = text.index("Yesterday's list had no rain in sight; ")
    assert told < text.index("Saturday 20 Apr")


def test_the_silent_station_is_told_in_the_subject_and_before_the_day() -> None:
    text = mail_parts(read("silent"))["txt"]
    subject, _, rest = text.partition("\n")
    assert "weather 3 days old" in subject
    assert "dry" not in subject
    said = rest.index("No weather has been read since Fri 24 May 04:00")
    assert said < rest.index("3 h to work")
    assert "Rain was last read Fri 24 May 04:00." in " ".join(rest.split())
