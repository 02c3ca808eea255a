"""Settings of the mail: what holds where nothing is written, and what cannot be."""

from __future__ import annotations

from dataclasses import replace
from datetime import time
from pathlib import Path
from typing import Any

import pytest

from scheduler.adapters.mail.settings import (
    MailSettings,
    bare_address,
    is_loopback,
    mail_settings,
    settings_from,
)
from scheduler.errors import MailSettingsError
from tests.golden.make_mornings import farm

LEAST = {"to": ("grower@example.org",), "from": "farm@example.org", "host": "smtp.example.org"}


def read(**written: Any) -> MailSettings:
    mail = {**LEAST, **{key.rstrip("_"): value for key, value in written.items()}}
    return mail_settings(
        replace(farm(), mail={key: value for key, value in mail.items() if value is not None})
    )


def test_three_keys_are_enough() -> None:
    assert read() == MailSettings(
        to=("grower@example.org",),
        sender="farm@example.org",
        reply_to=None,
        host="smtp.example.org",
        port=587,
        security="starttls",
        user=None,
        password_env=None,
        password_file=None,
        ca_file=None,
        send_at=time(5, 30),
        cut_off=time(11, 0),
        evening_note=False,
        contact=None,
        subject=None,
        time_zone="America/New_York",
    )


def test_what_is_written_holds() -> None:
    found = read(
        to=("Ann <ann@example.org>", "crew@example.org"),
        reply_to="office@example.org",
        security="tls",
        user="farm",
        password_env="ACRE",
        send_at="04:00",
        cut_off="09:15",
        evening_note=True,
        contact="Ann, 555 0100",
        subject="Long Acre",
    )
    assert found.to == ("Ann <ann@example.org>", "crew@example.org")
    assert (found.port, found.security, found.user, found.password_env) == (
        465,
        "tls",
        "farm",
        "ACRE",
    )
    assert (found.send_at, found.cut_off, found.evening_note) == (time(4), time(9, 15), True)
    assert (found.reply_to, found.contact) == ("office@example.org", "Ann, 555 0100")
    assert found.subject == "Long Acre"


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ({"port": 465}, ("tls", 465)),
        ({"port": 2525}, ("starttls", 2525)),
        ({"security": "tls"}, ("tls", 465)),
        ({"security": "none", "host": "localhost"}, ("none", 25)),
        ({"security": "none", "host": "127.0.0.2", "port": 1025}, ("none", 1025)),
        ({"security": "none", "host": "::1"}, ("none", 25)),
        ({"host": "localhost"}, ("starttls", 587)),
    ],
)
def test_security_and_port_go_together(written: dict[str, Any], expected: tuple[str, int]) -> None:
    found = read(**written)
    assert (found.security, found.port) == expected


@pytest.mark.parametrize(
    ("host", "is_here"),
    [
        ("localhost", True),
        ("LOCALHOST.", True),
        ("127.8.9.1", True),
        ("::1", True),
        ("0.0.0.0", False),
        ("localhost.example.org", False),
        ("192.168.1.4", False),
        ("127.0.0.1.example.org", False),
    ],
)
def test_which_host_is_this_computer(host: str, is_here: bool) -> None:
    assert is_loopback(host) is is_here


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ({"to": None}, "to: is missing, and no mail goes out without it; add to = "),
        ({"to": ()}, "to: is missing"),
        ({"from_": None}, "from: is missing, and no mail goes out without it; add from = "),
        ({"host": None}, "host: is missing, and no mail goes out without it; add host = "),
        ({"to": ("a@b.org, c@d.org",)}, "to: 'a@b.org, c@d.org' is not one mail address"),
        ({"to": ("a@b.org\r\nBcc: c@d.org",)}, "to: 'a@b.org\\r\\nBcc: c@d.org' holds a control"),
        ({"from_": "farm@" + "x" * 70 + "ö.org"}, "from: 'farm@xxxx"),
        ({"reply_to": "office"}, "reply_to: 'office' is not one mail address"),
        ({"host": "smtp example.org"}, "host: 'smtp example.org' is no host name"),
        ({"host": "smtp\nexample.org"}, "host: 'smtp\\nexample.org' holds a control character"),
        ({"security": "ssl"}, "security: 'ssl' is unknown; allowed: starttls, tls, none"),
        (
            {"security": "none", "user": "farm"},
            'security: "none" would send the password and the mail readable by all to '
            "smtp.example.org; allowed for this computer",
        ),
        ({"security": "none"}, 'security: "none" would send the mail readable by all to '),
        ({"port": 0}, "port: 0 is out of range; allowed: 1 to 65535"),
        ({"send_at": "01:00"}, "send_at: 01:00 falls in the hours that the clock change skips"),
        ({"send_at": "03:59"}, "send_at: 03:59 falls in the hours that the clock change skips"),
        ({"send_at": "soon"}, "send_at: 'soon' is no time of day"),
        ({"cut_off": "05:30"}, "cut_off: 05:30 is not after send_at 05:30"),
        (
            {"send_at": "12:00"},
            "cut_off: 11:00, which holds where none is written, is not after send_at 12:00",
        ),
        ({"subject": "beds\nBcc: a@b.org"}, "subject: 'beds\\nBcc: a@b.org' holds a control"),
        ({"contact": "Ann\u2028Bob"}, "contact: 'Ann\\u2028Bob' holds a control character"),
    ],
)
def test_what_cannot_be_is_told_in_one_line_with_its_key(
    written: dict[str, Any], told: str
) -> None:
    with pytest.raises(MailSettingsError) as raised:
        read(**written)
    assert str(raised.value).startswith(f"farm.toml, [mail] {told}")
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize("send_at", ["00:59", "04:00", "00:00"])
def test_hours_beside_the_clock_change(send_at: str) -> None:
    assert read(send_at=send_at).send_at == time.fromisoformat(send_at)


def test_a_recipient_written_twice_gets_one_mail() -> None:
    found = read(to=("Ann <ann@example.org>", "crew@example.org", "ANN@example.org"))
    assert found.to == ("Ann <ann@example.org>", "crew@example.org")


@pytest.mark.parametrize(
    ("text", "header", "bare"),
    [
        ("crew@example.org", "crew@example.org", "crew@example.org"),
        ("  <crew@example.org> ", "crew@example.org", "crew@example.org"),
        ("Müller, Jo <jo@example.org>", '"Müller, Jo" <jo@example.org>', "jo@example.org"),
        ('A "B" C <a@example.org>', '"A \\"B\\" C" <a@example.org>', "a@example.org"),
        ("crew@bücher.example", "crew@xn--bcher-kva.example", "crew@xn--bcher-kva.example"),
        ("jörg@example.org", "jörg@example.org", "jörg@example.org"),
        ("farm@[127.0.0.1]", "farm@[127.0.0.1]", "farm@[127.0.0.1]"),
    ],
)
def test_addresses_as_they_go_into_a_header(text: str, header: str, bare: str) -> None:
    (found,) = read(to=(text,)).to
    assert found == header
    assert bare_address(found) == bare
    assert read(to=(found,)).to == (header,)


def test_a_home_folder_that_is_not_known_is_named(tmp_path: Path) -> None:
    mail = {**LEAST, "password_file": "~nobody-of-that-name/secret"}
    with pytest.raises(MailSettingsError, match=r"\[mail\] password_file: '~nobody-of-that-name/"):
        mail_settings(replace(farm(), mail=mail), tmp_path)


def test_files_are_found_from_the_farm_folder(tmp_path: Path) -> None:
    mail = {**LEAST, "password_file": "secret", "ca_file": "/etc/ca.pem"}
    plain = mail_settings(replace(farm(), mail=mail))
    assert (plain.password_file, plain.ca_file) == ("secret", "/etc/ca.pem")
    found = mail_settings(replace(farm(), mail=mail), tmp_path)
    assert (found.password_file, found.ca_file) == (str(tmp_path / "secret"), "/etc/ca.pem")
    assert settings_from(plain, tmp_path) == found
    assert settings_from(found, tmp_path) == found
