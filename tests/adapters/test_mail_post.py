"""Posting against a real server on the loopback: encryption, login, and every kind of answer."""

from __future__ import annotations

import base64
import re
import socket
import ssl
import threading
import time
import traceback
from collections.abc import Iterator
from dataclasses import replace
from datetime import time as clock_time
from email.message import EmailMessage
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.adapters.mail.post import message_bytes, parsed_message, send_message
from scheduler.adapters.mail.settings import MailSettings
from scheduler.errors import MailLoginError, MailPostponedError, MailRefusedError, MailSettingsError
from tests.adapters.mail_server import (
    DROP,
    HANG,
    PASSWORD,
    USER,
    MailServer,
    mail_server,
)

TO = ("grower@example.org", "crew@example.org")
MESSAGE_ID = "<morning.2013-05-14.0123456789abcdef@example.org>"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[MailServer]:
    with mail_server(tmp_path) as running:
        yield running


def mail(server: MailServer, **changed: object) -> MailSettings:
    usual = MailSettings(
        to=TO,
        sender="Farm <farm@example.org>",
        reply_to=None,
        host="127.0.0.1",
        port=server.port,
        security=server.security,
        user=USER if server.has_auth else None,
        password_env=None,
        password_file=None,
        ca_file=str(server.ca_file),
        send_at=clock_time(5, 30),
        cut_off=clock_time(11, 0),
        evening_note=False,
        contact=None,
        subject=None,
    )
    return replace(usual, **changed)  # type: ignore[arg-type]


def message(text: str = "4 beds today\n.a line with a dot\n", **headers: str) -> EmailMessage:
    made = EmailMessage()
    written = {"From": "farm@example.org", "To": ", ".join(TO), "Subject": "Tue 14 May: 4 beds"}
    for name, value in {**written, "Message-ID": MESSAGE_ID, **headers}.items():
        made[name.replace("_", "-")] = value
    made.set_content(text)
    made.add_alternative("<p>4 beds — today</p>", subtype="html")
    return made


def send(server: MailServer, **changed: object) -> dict[str, str]:
    return dict(send_message(message(), TO, mail(server, **changed), PASSWORD, timeout_s=5))


# ----------------------------------------------------------------- all is well


def test_a_mail_goes_encrypted_after_a_login_byte_for_byte(server: MailServer) -> None:
    made = message()
    assert send_message(made, TO, mail(server), PASSWORD, timeout_s=5) == {}
    (got,) = server.received
    assert got.sender == "farm@example.org"
    assert got.recipients == TO
    assert got.was_encrypted
    assert got.login == USER
    assert got.data == message_bytes(made)
    assert got.message_id == MESSAGE_ID


def test_by_tls_from_the_start(tmp_path: Path) -> None:
    with mail_server(tmp_path, security="tls") as server:
        assert send(server) == {}
        assert server.received[0].was_encrypted


def test_plain_to_this_computer_without_a_login(tmp_path: Path) -> None:
    with mail_server(tmp_path, security="none", has_auth=False) as server:
        assert send(server) == {}
        assert not server.received[0].was_encrypted


def test_login_where_only_login_is_offered(tmp_path: Path) -> None:
    with mail_server(tmp_path, mechanisms=("LOGIN",)) as server:
        assert send(server) == {}
        assert server.received[0].login == USER


def test_the_server_is_told_no_name_of_this_computer(
    server: MailServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unasked(*_: object) -> str:
        raise AssertionError("asks the network for our own name")

    monkeypatch.setattr(socket, "getfqdn", unasked)
    assert send(server) == {}


def test_the_answer_to_quit_is_not_waited_for(server: MailServer) -> None:
    send(server)
    deadline = time.monotonic() + 5
    while "quit" not in server.steps and time.monotonic() < deadline:
        time.sleep(0.01)
    assert server.steps.index("taken") < server.steps.index("quit")


# ----------------------------------------------------- letters beyond ASCII


def test_addresses_beyond_ascii_go_by_smtputf8(server: MailServer) -> None:
    made = message(To="jörg@example.org")
    assert send_message(made, ("jörg@example.org",), mail(server), PASSWORD, timeout_s=5) == {}
    (got,) = server.received
    assert got.recipients == ("jörg@example.org",)
    assert "SMTPUTF8" in got.options
    assert "To: jörg@example.org\r\n".encode() in got.data


def test_smtputf8_is_not_asked_for_without_need(server: MailServer) -> None:
    send_message(message(Subject="Tue: 4 beds, Möhren"), TO, mail(server), PASSWORD, timeout_s=5)
    assert "SMTPUTF8" not in server.received[0].options


def test_a_server_without_smtputf8_is_told_from_one_that_fails(tmp_path: Path) -> None:
    with mail_server(tmp_path, has_utf8=False) as server:
        with pytest.raises(MailRefusedError, match="no addresses with letters beyond ASCII"):
            send_message(
                message(To="jörg@example.org"),
                ("jörg@example.org",),
                mail(server),
                PASSWORD,
                timeout_s=5,
            )
        assert server.received == []


# ------------------------------------------------------------------ certificates


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_nobody_vouches_for_is_refused(tmp_path: Path, security: str) -> None:
    with mail_server(tmp_path, security=security) as server:
        with pytest.raises(MailSettingsError) as raised:
            send(server, ca_file=None)
        assert str(raised.value).startswith(
            f"mail server 127.0.0.1, port {server.port}: its certificate is not trusted ("
        )
        assert "ca_file in [mail] of farm.toml" in str(raised.value)
        assert "mail" not in server.steps
        assert "auth" not in server.steps


def test_a_certificate_for_another_host_is_refused(tmp_path: Path) -> None:
    with mail_server(tmp_path, host_name="other.example.org") as server:
        with pytest.raises(MailSettingsError, match="certificate is not trusted"):
            send(server)
        assert "auth" not in server.steps


def test_a_server_that_cannot_encrypt_gets_neither_password_nor_mail(tmp_path: Path) -> None:
    with mail_server(tmp_path, security="none") as server:
        with pytest.raises(MailSettingsError, match="offers no STARTTLS, so nothing was sent"):
            send(server, security="starttls")
        assert {"auth", "mail"}.isdisjoint(server.steps)


def test_tls_to_a_port_that_does_not_speak_it(server: MailServer) -> None:
    with pytest.raises(MailSettingsError, match=r"does not speak TLS as expected .* check port"):
        send(server, security="tls")


@pytest.mark.parametrize("content", [None, "no certificate"])
def test_a_file_of_authorities_that_is_none(
    server: MailServer, tmp_path: Path, content: str | None
) -> None:
    path = tmp_path / "my-ca.pem"
    if content is not None:
        path.write_text(content)
    with pytest.raises(MailSettingsError, match=r"^farm.toml, \[mail\] ca_file: .*my-ca.pem"):
        send(server, ca_file=str(path))
    assert server.steps == []


# ------------------------------------------------------------------------ login


def test_a_wrong_password_is_a_fault_of_the_settings(server: MailServer) -> None:
    with pytest.raises(MailLoginError) as raised:
        send_message(message(), TO, mail(server), "wrong", timeout_s=5)
    assert str(raised.value) == (
        f"mail server 127.0.0.1, port {server.port}: refuses the login of farm@example.org: 535 "
        "5.7.8 Authentication credentials invalid; check user in [mail] of farm.toml and the "
        "password"
    )
    assert server.received == []


def test_a_password_beyond_ascii_is_sent_and_never_shown(server: MailServer) -> None:
    with pytest.raises(MailSettingsError) as raised:
        send_message(message(), TO, mail(server), "pässwörd", timeout_s=5)
    assert "535" in str(raised.value)


@pytest.mark.parametrize("step", ["auth", "mail", "rcpt", "message"])
def test_a_server_that_says_the_password_back_is_masked(server: MailServer, step: str) -> None:
    coded = base64.b64encode(f"\0{USER}\0{PASSWORD}".encode()).decode()
    server.fault(step, f"535 no: {PASSWORD} {coded}")
    try:
        told = str(send(server))
    except (MailSettingsError, MailRefusedError):
        told = traceback.format_exc()
    assert "535 no: *** ***" in told
    assert PASSWORD not in told
    assert coded not in told


def test_a_login_that_is_put_off_is_tried_again(server: MailServer) -> None:
    server.fault("auth", "454 4.7.0 later")
    with pytest.raises(MailPostponedError, match=r"says 454 4.7.0 later; it is tried again"):
        send(server)


def test_no_login_that_is_known(tmp_path: Path) -> None:
    with (
        mail_server(tmp_path, mechanisms=()) as server,
        pytest.raises(MailSettingsError, match="offers no login that is known here"),
    ):
        send(server)


def test_a_server_that_wants_a_login_where_none_is_set(server: MailServer) -> None:
    with pytest.raises(MailLoginError, match=r"wants a login: 530 .*add user to \[mail\]"):
        send(server, user=None)


# ---------------------------------------------------------------- 4xx, 5xx, drops


@pytest.mark.parametrize("code", ["421 busy", "451 4.3.0 not now"])
@pytest.mark.parametrize("step", ["connect", "ehlo", "starttls", "auth", "mail", "data", "message"])
def test_4xx_puts_off(server: MailServer, step: str, code: str) -> None:
    server.fault(step, code)
    with pytest.raises(MailPostponedError) as raised:
        send(server)
    assert str(raised.value) == (
        f"mail server 127.0.0.1, port {server.port}: says {code}; it is tried again"
    )
    assert server.received == []
    assert send(server) == {}


@pytest.mark.parametrize("step", ["connect", "mail", "data", "message"])
def test_5xx_is_final(server: MailServer, step: str) -> None:
    server.fault(step, "550 5.7.1 not from you")
    with pytest.raises(MailRefusedError) as raised:
        send(server)
    assert str(raised.value) == (
        f"mail server 127.0.0.1, port {server.port}: says 550 5.7.1 not from you; that is final "
        "for this mail"
    )
    assert server.received == []


@pytest.mark.parametrize(
    "step", ["connect", "ehlo", "starttls", "auth", "mail", "rcpt", "data", "middle", "message"]
)
def test_a_line_that_breaks_puts_off(server: MailServer, step: str) -> None:
    server.fault(step, DROP)
    with pytest.raises(MailPostponedError, match="broke off; it is tried again"):
        send(server)
    assert server.received == []


def test_an_answer_that_is_lost_puts_off_though_the_mail_is_out(server: MailServer) -> None:
    server.fault("taken", DROP)
    with pytest.raises(MailPostponedError):
        send(server)
    assert len(server.received) == 1


def test_a_partial_refusal_names_the_refused_alone(server: MailServer) -> None:
    server.fault("rcpt crew@example.org", "550 5.1.1 no such user")
    assert send(server) == {"crew@example.org": "550 5.1.1 no such user"}
    assert server.received[0].recipients == ("grower@example.org",)


def test_a_greylisted_recipient_is_told_with_its_code(server: MailServer) -> None:
    server.fault("rcpt crew@example.org", "450 4.2.0 greylisted, come back")
    assert send(server) == {"crew@example.org": "450 4.2.0 greylisted, come back"}
    assert len(server.received) == 1


def test_all_refused_sends_nothing(server: MailServer) -> None:
    server.fault("rcpt grower@example.org", "550 no")
    server.fault("rcpt crew@example.org", "450 later")
    assert send(server) == {"grower@example.org": "550 no", "crew@example.org": "450 later"}
    assert "data" not in server.steps
    assert server.received == []


def test_a_server_that_leaves_amid_the_recipients_has_sent_nothing(server: MailServer) -> None:
    server.fault("rcpt crew@example.org", "421 leaving")
    with pytest.raises(MailPostponedError, match="421 leaving"):
        send(server)
    assert server.received == []


@pytest.mark.parametrize(("step", "how"), [("data", "451 later"), ("middle", DROP)])
def test_who_was_refused_is_known_though_the_rest_is_put_off(
    server: MailServer, step: str, how: str
) -> None:
    server.fault("rcpt crew@example.org", "550 no such user")
    server.fault(step, how)
    with pytest.raises(MailPostponedError) as raised:
        send(server)
    assert raised.value.refused == {"crew@example.org": "550 no such user"}


def test_words_of_the_server_come_on_one_line(server: MailServer) -> None:
    server.fault("mail", "451-first\r\n451 second\x1b[31m " + "x" * 400)
    with pytest.raises(MailPostponedError) as raised:
        send(server)
    assert "says 451 first second [31m xxx" in str(raised.value)
    assert "\n" not in str(raised.value)
    assert "\x1b" not in str(raised.value)
    assert len(str(raised.value)) < 300


# ----------------------------------------------------------------------- patience


def test_nobody_at_the_port() -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with pytest.raises(MailPostponedError, match="does not take calls on this port"):
        send_message(message(), TO, _to_port(port), None, timeout_s=2)


def test_a_server_that_says_nothing(server: MailServer) -> None:
    server.fault("mail", HANG)
    with pytest.raises(MailPostponedError, match="gives no answer in time"):
        send_message(message(), TO, mail(server), PASSWORD, timeout_s=0.3)


def test_a_server_that_never_greets() -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        with pytest.raises(MailPostponedError, match="gives no answer in time"):
            send_message(message(), TO, _to_port(port), None, timeout_s=0.3)


def test_the_message_gets_a_longer_answer_time(server: MailServer) -> None:
    """A server that looks through a mail for longer than one timeout has not failed."""
    original = server.reply

    def slowly(step: str) -> str | None:
        if step == "taken":
            time.sleep(0.8)
        return original(step)

    server.reply = slowly  # type: ignore[method-assign]
    assert dict(send_message(message(), TO, mail(server), PASSWORD, timeout_s=0.4)) == {}
    assert len(server.received) == 1


@pytest.mark.parametrize("security", ["none", "starttls"])
def test_a_server_that_drips_is_cut_off(security: str) -> None:
    """Each line comes in time, the last one never does; the whole talk has an end of its own."""
    stop = threading.Event()

    def drip(listening: socket.socket) -> None:
        line, _ = listening.accept()
        with line:
            line.sendall(b"220 slow\r\n")
            line.recv(1000)
            while not stop.wait(0.03):
                try:
                    line.sendall(b"250-x\r\n")
                except OSError:
                    return

    with socket.create_server(("127.0.0.1", 0)) as listening:
        thread = threading.Thread(target=drip, args=(listening,))
        thread.start()
        before = time.monotonic()
        try:
            with pytest.raises(MailPostponedError, match="broke off"):
                send_message(
                    message(),
                    TO,
                    replace(_to_port(listening.getsockname()[1]), security=security),
                    None,
                    timeout_s=0.1,
                )
        finally:
            stop.set()
            thread.join()
    assert time.monotonic() - before < 10


def _to_port(port: int) -> MailSettings:
    return MailSettings(
        to=TO,
        sender="farm@example.org",
        reply_to=None,
        host="127.0.0.1",
        port=port,
        security="none",
        user=None,
        password_env=None,
        password_file=None,
        ca_file=None,
        send_at=clock_time(5, 30),
        cut_off=clock_time(11, 0),
        evening_note=False,
        contact=None,
        subject=None,
    )


# ----------------------------------------------------------------------- bytes


@given(
    text=st.text(st.characters(exclude_categories=("Cs",)), max_size=300),
    subject=st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=200),
)
@settings(max_examples=60, deadline=None)
def test_bytes_kept_and_read_again_are_the_same(text: str, subject: str) -> None:
    made = message(text, Subject=subject)
    made.add_attachment(b"\x89PNG\r\n\x1a\n" + bytes(range(256)), maintype="image", subtype="png")
    data = message_bytes(made)
    assert message_bytes(parsed_message(data)) == data
    assert parsed_message(data)["Message-ID"] == MESSAGE_ID
    assert re.search(rb"[^\r]\n|\r[^\n]", data) is None


def test_bytes_of_a_far_address_are_the_same() -> None:
    data = message_bytes(message(To='"Jörg, der" <jörg@example.org>'))
    assert message_bytes(parsed_message(data)) == data
    assert "jörg@example.org".encode() in data


def test_no_verification_is_turned_off_anywhere() -> None:
    folder = Path(message_bytes.__code__.co_filename).parent
    for path in folder.glob("*.py"):
        text = path.read_text()
        assert "CERT_NONE" not in text, path
        assert "check_hostname" not in text, path
        assert "_create_unverified" not in text, path
    assert ssl.create_default_context().check_hostname
