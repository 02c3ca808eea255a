"""The mails as messages: parts, headers, and what is kept when something fails."""

from __future__ import annotations

import email
import email.policy
from dataclasses import replace
from datetime import date, datetime
from email.message import EmailMessage
from email.utils import parsedate_to_datetime

import pytest

from scheduler.adapters.mail import message as mails
from scheduler.adapters.mail.message import (
    MAX_SUBJECT,
    NO_PICTURE,
    fault_message,
    mail_message,
    plain_message,
)
from scheduler.adapters.mail.post import message_bytes
from scheduler.adapters.render.mail_html import mail_html
from scheduler.adapters.render.mail_text import mail_text
from scheduler.records import MorningNews
from tests.adapters.mail_made import MESSAGE_ID, NEWS, NOTICES, NOW, SETTINGS, ZONE, morning


def delivered(message: EmailMessage) -> EmailMessage:
    """The message as a receiver reads it."""
    found = email.message_from_bytes(message_bytes(message), policy=email.policy.default)
    assert isinstance(found, EmailMessage)
    return found


def whole(*, has_strip: bool = True) -> EmailMessage:
    made = mail_message(
        morning(has_strip=has_strip), NEWS, SETTINGS, MESSAGE_ID, NOW, notices=NOTICES
    )
    return delivered(made)


def content(message: EmailMessage, kind: str) -> str:
    part = message.get_body((kind,))
    assert part is not None
    return str(part.get_content()).replace("\r\n", "\n")


# -------------------------------------------------------------------- parts


def test_text_and_html_with_its_picture() -> None:
    message = whole()
    assert [part.get_content_type() for part in message.walk()] == [
        "multipart/alternative",
        "text/plain",
        "multipart/related",
        "text/html",
        "image/png",
    ]
    picture = list(message.walk())[-1]
    assert picture["Content-ID"] == "<hours.morning.2013-05-14.0a1b2c3d@example.org>"
    assert picture.get_content_disposition() == "inline"
    assert picture.get_content().startswith(b"\x89PNG")
    assert 'src="cid:hours.morning.2013-05-14.0a1b2c3d@example.org"' in content(message, "html")


def test_both_parts_are_the_rendered_ones() -> None:
    found = morning()
    message = whole()
    assert content(message, "plain") == mail_text(found, NEWS, NOTICES, contact="Kim, in the barn")
    cid = "hours.morning.2013-05-14.0a1b2c3d@example.org"
    html = mail_html(found, NEWS, NOTICES, cid, "Kim, in the barn")
    assert content(message, "html").strip() == html.strip()


def test_without_hours_there_is_no_picture() -> None:
    kinds = [part.get_content_type() for part in whole(has_strip=False).walk()]
    assert kinds == ["multipart/alternative", "text/plain", "text/html"]


def test_a_picture_that_cannot_be_drawn_does_not_keep_the_list_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail(*_: object) -> bytes:
        raise RuntimeError("no font")

    monkeypatch.setattr(mails, "strip_png", fail)
    message = whole()
    assert [part.get_content_type() for part in message.walk()][2:] == ["text/html"]
    assert NO_PICTURE in " ".join(content(message, "plain").split())
    assert "B4" in content(message, "html")


def test_lines_are_short_and_ascii_on_the_wire() -> None:
    """Nothing depends on a server that takes long lines or eight bits."""
    named = replace(morning(), farm=replace(morning().farm, name="Bärenklau"))
    data = message_bytes(mail_message(named, NEWS, SETTINGS, MESSAGE_ID, NOW))
    assert data.isascii()
    assert max(len(line) for line in data.split(b"\r\n")) <= 998
    assert len(data) < 100_000


# ------------------------------------------------------------------ headers


def test_headers() -> None:
    message = whole()
    assert message["From"] == "Alder Bend <farm@example.org>"
    assert message["To"] == "Field crew <crew@example.org>, grower@example.org"
    assert message["Reply-To"] == "grower@example.org"
    assert message["Message-ID"] == MESSAGE_ID
    assert message["Auto-Submitted"] == "auto-generated"
    assert parsedate_to_datetime(message["Date"]) == NOW
    assert str(message["Date"]).endswith("-0400")
    assert message["Subject"] == (
        "Tue 14 May: 8 beds, 3 dry now, all from 10:30, rain at 18 (Alder Bend)"
    )


def test_no_reply_to_where_none_is_asked_for() -> None:
    made = mail_message(
        morning(), NEWS, replace(SETTINGS, reply_to=None, subject=None), MESSAGE_ID, NOW
    )
    assert "Reply-To" not in made
    assert str(made["Subject"]).endswith("rain at 18")


def test_names_of_recipients_beyond_ascii() -> None:
    to = ('"Müller, Kim" <kim@example.org>', "Åse <ase@example.org>")
    message = delivered(mail_message(morning(), NEWS, replace(SETTINGS, to=to), MESSAGE_ID, NOW))
    assert [(a.display_name, a.addr_spec) for a in message["To"].addresses] == [
        ("Müller, Kim", "kim@example.org"),
        ("Åse", "ase@example.org"),
    ]


def test_a_subject_without_end_is_cut() -> None:
    made = mail_message(morning(), NEWS, replace(SETTINGS, subject="long " * 100), MESSAGE_ID, NOW)
    assert len(str(made["Subject"])) <= MAX_SUBJECT
    assert str(delivered(made)["Subject"]).startswith("Tue 14 May: 8 beds, 3 dry now")


# ------------------------------------------------------- a day without a list


def test_a_fault_says_what_failed_since_when_and_what_is_known() -> None:
    made = fault_message(
        "Alder Bend",
        SETTINGS,
        "farm.db: found a table that cannot be read",
        datetime(2013, 5, 13, 5, 30, tzinfo=ZONE),
        ["The last list, of Sun 05:30, had: 1 B4 tine weeder.", "Last reading Mon 04:00."],
        "<fault.2013-05-14.0a@example.org>",
        NOW,
        to_do=["Put back a copy of farm.db."],
        notices=["grower@example.org refused the mail of yesterday."],
    )
    message = delivered(made)
    assert message.get_content_type() == "text/plain"
    assert message["Subject"] == "Tue 14 May: no list today (Alder Bend)"
    assert message["Auto-Submitted"] == "auto-generated"
    assert message.get_content().replace("\r\n", "\n") == (
        "Tue 14 May, Alder Bend\n"
        "No list today.\n"
        "\n"
        "What failed:\n"
        "  Farm.db: found a table that cannot be read.\n"
        "\n"
        "Since:\n"
        "  Mon 13 May 05:30.\n"
        "\n"
        "Still known:\n"
        "  The last list, of Sun 05:30, had: 1 B4 tine weeder.\n"
        "  Last reading Mon 04:00.\n"
        "\n"
        "What helps:\n"
        "  Put back a copy of farm.db.\n"
        "\n"
        "Besides:\n"
        "  grower@example.org refused the mail of yesterday.\n"
        "\n"
        "Ask:\n"
        "  Kim, in the barn\n"
    )


def test_a_fault_of_which_nothing_more_is_known() -> None:
    made = fault_message(
        "Alder Bend",
        replace(SETTINGS, contact=None),
        "x",
        date(2013, 5, 14),
        [],
        MESSAGE_ID,
        NOW,
    )
    assert "Since:\n  Tue 14 May.\n\nStill known:\n  nothing." in made.get_content()
    assert "Ask" not in made.get_content()


def test_plain_mail_keeps_its_lines() -> None:
    made = plain_message("Evening note", "B4:\n    until 10\n", SETTINGS, MESSAGE_ID, NOW)
    assert made.get_content() == "B4:\n    until 10\n"
    assert made["Subject"] == "Evening note (Alder Bend)"


def test_no_news_makes_a_mail_too() -> None:
    message = delivered(mail_message(morning(), MorningNews(), SETTINGS, MESSAGE_ID, NOW))
    assert content(message, "plain").startswith("Tuesday 14 May, Alder Bend")
