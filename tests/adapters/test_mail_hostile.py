"""Names that would break a page, a header or a line, in every field that reaches the mail."""

from __future__ import annotations

import dataclasses
import email
import email.policy
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest

from scheduler.adapters.mail.message import fault_message, mail_message, plain_message
from scheduler.adapters.mail.post import message_bytes
from scheduler.adapters.render.clean import clean_record, clean_text, marked_left_to_right
from scheduler.adapters.render.mail_html import mail_html
from scheduler.adapters.render.mail_text import mail_text
from scheduler.adapters.render.strip_png import strip_png
from scheduler.records import ListLine, Morning, MorningNews
from tests.adapters.mail_made import MESSAGE_ID, NOW, SETTINGS, ZONE, morning, strip
from tests.adapters.mail_reader import measured, needs_browser, read_html

HOSTILE = {
    "html": "<img src=x onerror=alert(1)><b>B4</b> & \"C\" 'D' </td></style><script>x()</script>",
    "comment": "<!-- B4 --><![CDATA[ x ]]>&#60;b&#62;",
    "template": "{{ 7 * 7 }}{% raw %}${x}",
    "header": "B4\r\nBcc: all@example.net\r\n\r\nhello",
    "separators": "B4\u2028Bcc: all@example.net\x85\x0b\x0c",
    "encoded": "=?utf-8?q?B4=0D=0ABcc=3A_all=40example=2Enet?=",
    "emoji": "\U0001f955\U0001f468\u200d\U0001f33e\U0001f3fd B4 \U0001f1e9\U0001f1ea",
    "turned": "B4 \u202egnp.exe\u2066\u2067 \u061c",
    "hebrew": "\u05e2\u05e8\u05d5\u05d2\u05d4 4, \u05e6\u05e4\u05d5\u05df",
    "arabic": "\u062d\u0648\u0636 \u0664",
    "controls": "B\x004\x1b[31m\x07\u200b\ufeff",
    "broken": "B4 \ud800 \uffff",
    "marks": "B" + "\u0301" * 200,
    "long": "A" * 200,
    "long words": "Abendsonnenfeld " * 12 + "end.",
    "formula": r"$\frac{1}{0}$ ^_{B4}",
    "digits": "B\u00b2 \u2463 \u0664",
    "dots": ".\n..\n.B4",
    "blank": " \t ",
}

CODES = {
    # fields that hold words of the program, which no farm file and no journal can change
    "verdict",
    "because",
    "time_zone",
    "units",
    "kind",
    "irrigation",
    "ends",
    "travel",
    "was",
    "texture",
}


def spoiled(value: Any, text: str, name: str = "") -> Any:
    """The record with `text` in the place of every text, and behind those that name a place."""
    if isinstance(value, str):
        return value if name in CODES else f"{text}{value[:4]}"
    if isinstance(value, tuple | list):
        return type(value)(spoiled(item, text, name) for item in value)
    if isinstance(value, Mapping):
        if name == "look":
            return {key: spoiled(item, text, key) for key, item in value.items()}
        free = name in ("soils", "surface_rel_water", "workable_frac", "mail", "weather")
        return {
            spoiled(key, text, "key") if free else key: spoiled(item, text, name)
            for key, item in value.items()
        }
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {
            f.name: spoiled(getattr(value, f.name), text, f.name) for f in dataclasses.fields(value)
        }
        return replace(value, **fields)
    return value


@pytest.fixture(params=list(HOSTILE))
def hostile(request: pytest.FixtureRequest) -> str:
    return HOSTILE[request.param]


def bad_morning(text: str) -> Morning:
    """Every bed, crop, tool, soil, note, reason, plan, source and caution is spoiled."""
    found: Morning = spoiled(morning(), text)
    return found


def bad_news(text: str) -> MorningNews:
    return MorningNews(
        silent_on=date(2013, 5, 13),
        n_silent_days=1,
        unlogged=(ListLine(1, text, text, text), ListLine(2, "B4", None, text)),
        corrections=(f"Yesterday {text} was a go.",),
        list_on=date(2013, 5, 13),
    )


def delivered(message: EmailMessage) -> EmailMessage:
    found = email.message_from_bytes(message_bytes(message), policy=email.policy.default)
    assert isinstance(found, EmailMessage)
    return found


def assert_clean(text: str) -> None:
    """No control, no turn of direction, no half character."""
    for sign in text:
        category = unicodedata.category(sign)
        assert sign == "\n" or category not in ("Cc", "Zl", "Zp", "Cs"), repr(sign)
        assert category != "Cf" or sign in "\u200c\u200d\u200e", repr(sign)


HEADERS = [
    "Date",
    "From",
    "To",
    "Reply-To",
    "Subject",
    "Message-ID",
    "Auto-Submitted",
    "X-Auto-Response-Suppress",
    "MIME-Version",
    "Content-Type",
]


def test_spoiling_reaches_every_field() -> None:
    """The test would prove little if a field kept its harmless name."""
    found = bad_morning("<x>")
    go = next(bed for bed in found.beds if bed.verdict == "go")
    assert go.action is not None
    assert found.strip is not None
    for text in (
        found.farm.name,
        found.farm.beds[0].name,
        found.farm.tools[0].setups[0].note,
        next(iter(found.farm.soils)),
        go.bed,
        go.action.tool,
        go.soil_name,
        go.why[0],
        found.weather.source,
        found.weather.notes[0],
        found.attribution[0],
        found.cautions[0],
        found.weakest_inputs[0],
        found.outlook_line,
        next(iter(found.strip.surface_rel_water)),
    ):
        assert text.startswith("<x>")


def test_no_name_adds_a_header_or_a_part(hostile: str) -> None:
    settings = replace(
        SETTINGS,
        to=(f'"{clean_text(hostile).replace(chr(92), "").replace(chr(34), "")}" <a@example.org>',),
        subject=hostile,
        contact=hostile,
    )
    made = mail_message(
        bad_morning(hostile), bad_news(hostile), settings, MESSAGE_ID, NOW, notices=(hostile,)
    )
    message = delivered(made)
    assert list(message.keys()) == HEADERS
    assert [address.addr_spec for address in message["To"].addresses] == ["a@example.org"]
    assert [part.get_content_type() for part in message.walk()][1:] == [
        "text/plain",
        "multipart/related",
        "text/html",
        "image/png",
    ]
    assert str(message["Subject"]).startswith("Tue 14 May: 8 beds")
    assert_clean(str(message["Subject"]))
    assert not any("bcc" in map(str.lower, part.keys()) for part in message.walk())
    head = message_bytes(made).partition(b"\r\n\r\n")[0]
    assert not re.search(rb"(?mi)^bcc:", head)


def test_no_name_becomes_markup(hostile: str) -> None:
    """The page has the very elements that harmless names give, and shows the name as text."""
    found = bad_morning(hostile)
    plain = read_html(mail_html(bad_morning("x"), bad_news("x"), ("x",), "a@b", "x"))
    page = read_html(mail_html(found, bad_news(hostile), (hostile,), "a@b", f"x{hostile}"))
    tags = [e.tag for e in page.elements if e.tag not in ("bdi", "span")]
    assert tags == [e.tag for e in plain.elements if e.tag not in ("bdi", "span")]
    assert {name for e in page.elements for name in e.attributes} == {
        name for e in plain.elements for name in e.attributes
    }
    name = clean_text(f"{hostile}{found.farm.name[len(hostile) :]}")
    assert " ".join(name.split()) in page.words.replace("\u200e", "")


def test_text_stays_in_its_lines(hostile: str) -> None:
    text = mail_text(bad_morning(hostile), bad_news(hostile), (hostile,), contact=hostile)
    assert_clean(text)
    lines = [line.replace("\u200e", "") for line in text.splitlines()]
    assert max(len(line) for line in lines if "whitethread done" not in line) <= 72
    text.encode("utf-8")


def test_the_picture_takes_any_name_of_a_soil(hostile: str) -> None:
    found: Morning = clean_record(replace(morning(), strip=strip((hostile, hostile + "b"))))
    assert found.strip is not None
    assert strip_png(found.strip, "metric", ZONE).startswith(b"\x89PNG")


def test_both_parts_hold_the_same_name(hostile: str) -> None:
    made = mail_message(
        replace(morning(), farm=replace(morning().farm, name=hostile)),
        MorningNews(),
        SETTINGS,
        MESSAGE_ID,
        NOW,
    )
    message = delivered(made)
    name = "".join(clean_text(hostile).split())
    for kind in ("plain", "html"):
        part = message.get_body((kind,))
        assert part is not None
        text = part.get_content()
        seen = read_html(text).words if kind == "html" else text
        assert name in "".join(seen.replace("\u200e", "").split())


def test_plain_mails_hold_no_surprise(hostile: str) -> None:
    fault = fault_message(
        hostile, SETTINGS, hostile, NOW, [hostile], MESSAGE_ID, NOW, [hostile], [hostile]
    )
    note = plain_message(f"Evening {hostile}", f"B4\n  {hostile}\n", SETTINGS, MESSAGE_ID, NOW)
    for made in (fault, note):
        message = delivered(made)
        assert message.get_content_type() == "text/plain"
        assert not {"Bcc", "bcc"} & set(message.keys())
        assert_clean(message.get_content().replace("\r\n", "\n"))
        assert_clean(str(message["Subject"]))
        head = message_bytes(made).partition(b"\r\n\r\n")[0]
        assert not re.search(rb"(?mi)^bcc:", head)


def test_figures_keep_their_place_beside_a_name_from_right_to_left() -> None:
    found = bad_morning(HOSTILE["hebrew"])
    text = mail_text(found, MorningNews())
    for line in text.splitlines():
        assert not re.search(
            r"[\u0590-\u05ff](?![\u0590-\u05ff\u200e]|[^\S\n]+[\u0590-\u05ff])", line
        )
    html = mail_html(found, MorningNews())
    assert "<bdi" in html
    assert marked_left_to_right("B4 7:00") == "B4 7:00"


def test_cleaning_leaves_good_names_alone() -> None:
    for name in (
        "B4",
        "Bärenklau",
        "\u05e2\u05e8\u05d5\u05d2\u05d4",
        "\U0001f955 row",
        "caf\u0065\u0301",
    ):
        assert clean_text(name) == name
    whole = morning("wet", has_strip=False)
    assert clean_record(whole) == whole


@needs_browser
@pytest.mark.parametrize("name", ["long", "long words", "emoji", "hebrew", "marks"])
def test_no_name_makes_a_phone_scroll_sideways(tmp_path: Path, name: str) -> None:
    bad = HOSTILE[name]
    page = mail_html(bad_morning(bad), bad_news(bad), (bad,), contact=bad)
    script = "d.documentElement.clientWidth+' '+d.documentElement.scrollWidth"
    assert measured(tmp_path, page, 360, script, "--hide-scrollbars") == "360 360"
