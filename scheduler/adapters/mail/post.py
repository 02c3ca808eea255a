"""One talk with the mail server: encrypted, with patience that ends, and its answers told apart.

The dialogue is led here step by step rather than by `smtplib.sendmail`, since what matters is
which answer came to which step: a greylisted recipient is tried again, a refused one is not, and
after the last dot of the message the server gets the time it needs to answer.
"""

from __future__ import annotations

import base64
import re
import threading
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from email import message_from_bytes
from email.headerregistry import AddressHeader, BaseHeader
from email.message import EmailMessage
from email.policy import SMTP
from typing import TYPE_CHECKING, cast

from scheduler.adapters.mail.settings import MailSettings, bare_address
from scheduler.errors import MailLoginError, MailPostponedError, MailRefusedError, MailSettingsError

if TYPE_CHECKING:
    import smtplib
    import ssl

LAST_ANSWER_TIMES = 10  # the answer to the message itself may take so many timeouts
WHOLE_TIMES = 16  # and the whole talk so many: less than a mark of sending holds
LONGEST_WORDS = 200

_AS_IS = SMTP.clone(refold_source="none")
_FOLDED_ID = re.compile(rb"^(Message-ID:)[ \t]*\r\n[ \t]+", re.IGNORECASE | re.MULTILINE)
_ACCEPTED = range(200, 300)


def message_bytes(message: EmailMessage) -> bytes:
    """The message as it goes over the wire, lines ended by CRLF; its own source is kept as it is.

    Examples
    --------
    >>> message = EmailMessage()
    >>> message["Subject"] = "Tue 14 May"
    >>> message.set_content("4 beds")
    >>> b"Subject: Tue 14 May\\r\\n" in message_bytes(message)
    True
    """
    return _serial(parsed_message(_serial(message)))  # read and written once more, it stays so


def parsed_message(data: bytes) -> EmailMessage:
    """The message of these bytes; `message_bytes` gives them back."""
    return message_from_bytes(data, policy=_AS_IS)


def _serial(message: EmailMessage) -> bytes:
    data = message.as_bytes(policy=_AS_IS.clone(utf8=_has_far_letters(message)))
    return _FOLDED_ID.sub(rb"\1 ", re.sub(rb"\r\n|\r|\n", b"\r\n", data), count=1)


def _has_far_letters(message: EmailMessage) -> bool:
    """Whether an address in a header needs letters beyond ASCII."""
    for _, value in message.raw_items():
        if isinstance(value, AddressHeader):
            if any(not address.addr_spec.isascii() for address in value.addresses):
                return True
        elif not isinstance(value, BaseHeader) and not str(value).isascii():
            return True  # as read from bytes, where other letters stand as they are
    return False


def send_message(
    message: EmailMessage,
    recipients: Sequence[str],
    settings: MailSettings,
    password: str | None,
    *,
    timeout_s: float = 30.0,
) -> Mapping[str, str]:
    """Send a mail to each recipient and return those refused, with the server's code and words.

    An empty answer means that the server took the mail for all of them. Words begin with the code:
    4xx asks for another try, 5xx is final.

    Raises
    ------
    MailPostponedError
        If the server cannot be reached, breaks off, or answers 4xx for the mail as a whole; it
        names the recipients that were refused for good before that.
    MailRefusedError
        If it answers 5xx for the mail as a whole.
    MailSettingsError
        If its certificate is not trusted, or the encryption fails.
    MailLoginError
        If it refuses the login, or wants one.
    """
    import smtplib
    import ssl

    data = message_bytes(message)
    mask = _Mask(settings.user, password)
    refused: dict[str, str] = {}
    context = None if settings.security == "none" else _context(settings)
    try:
        with _connected(settings, context, timeout_s) as server:
            if settings.security == "starttls":
                _encrypt(server, cast("ssl.SSLContext", context), settings)
            if settings.user is not None:
                _log_in(server, settings, password or "", mask)
            _hand_over(server, data, recipients, settings, mask, timeout_s, refused)
    except ssl.SSLError as error:
        raise _tls_fault(error, settings, refused) from error
    except smtplib.SMTPResponseException as error:
        raise _answer_fault(error.smtp_code, error.smtp_error, settings, mask, refused) from None
    except (smtplib.SMTPException, OSError) as error:
        raise MailPostponedError(
            f"{_where(settings)}: {_link_words(error)}; it is tried again", _final(refused)
        ) from None
    return refused


# -------------------------------------------------------------------- the talk


@contextmanager
def _connected(
    settings: MailSettings, context: ssl.SSLContext | None, timeout_s: float
) -> Iterator[smtplib.SMTP]:
    """A greeted server; the line is cut when the whole talk takes too long."""
    import smtplib

    name = "localhost"  # instead of asking the network for our own name, which can take minutes
    server: smtplib.SMTP
    if settings.security == "tls":
        server = smtplib.SMTP_SSL(
            settings.host, settings.port, local_hostname=name, timeout=timeout_s, context=context
        )
    else:
        server = smtplib.SMTP(settings.host, settings.port, local_hostname=name, timeout=timeout_s)
    watch = threading.Timer(WHOLE_TIMES * timeout_s, _cut, (server,))
    watch.daemon = True
    watch.start()
    try:
        server.local_hostname = _own_literal(server)
        _need(server.ehlo())
        yield server
        with suppress(smtplib.SMTPException, OSError):
            server.putcmd("QUIT")  # its answer changes nothing, so it is not waited for
    finally:
        watch.cancel()
        server.close()


def _cut(server: smtplib.SMTP) -> None:
    """End a talk from outside: whoever waits for the line finds it closed."""
    import socket

    if server.sock is not None:
        with suppress(OSError):
            socket.socket.shutdown(server.sock, socket.SHUT_RDWR)


def _own_literal(server: smtplib.SMTP) -> str:
    """Our own address as the greeting wants it, which tells nobody the name of this computer."""
    assert server.sock is not None
    address = str(server.sock.getsockname()[0]).partition("%")[0]
    return f"[IPv6:{address}]" if ":" in address else f"[{address}]"


def _need(answer: tuple[int, bytes], allowed: range = _ACCEPTED) -> None:
    """Raise what the server says where it does not agree."""
    import smtplib

    if answer[0] not in allowed:
        raise smtplib.SMTPResponseException(*answer)


def _context(settings: MailSettings) -> ssl.SSLContext:
    import ssl

    try:
        return ssl.create_default_context(cafile=settings.ca_file)
    except (OSError, ValueError) as error:
        raise MailSettingsError(
            f"farm.toml, [mail] ca_file: {settings.ca_file} cannot be used "
            f"({_link_words(error)}); name a file with the server's certificate authority in PEM"
        ) from error


def _encrypt(server: smtplib.SMTP, context: ssl.SSLContext, settings: MailSettings) -> None:
    if not server.has_extn("starttls"):
        raise MailSettingsError(
            f"{_where(settings)}: offers no STARTTLS, so nothing was sent; if the server encrypts "
            'from the start, write security = "tls" in [mail] of farm.toml'
        )
    _need(server.starttls(context=context))
    _need(server.ehlo())


def _log_in(server: smtplib.SMTP, settings: MailSettings, password: str, mask: _Mask) -> None:
    """Log in by PLAIN or LOGIN; the line is encrypted, or ends in this computer."""
    user = settings.user or ""
    offered = server.esmtp_features.get("auth", "").upper().split()
    if "PLAIN" in offered:
        code, said = server.docmd(
            "AUTH", f"PLAIN {_in_base64(f'{chr(0)}{user}{chr(0)}{password}')}"
        )
    elif "LOGIN" in offered:
        code, said = server.docmd("AUTH", "LOGIN")
        for text in (user, password):
            if code == 334:
                code, said = server.docmd(_in_base64(text))
    else:
        raise MailSettingsError(
            f"{_where(settings)}: offers no login that is known here (offered: "
            f"{', '.join(offered) or 'none'}; known: PLAIN, LOGIN); check host and port, or leave "
            "user out of [mail] of farm.toml"
        )
    if code in _ACCEPTED:
        return
    if code // 100 == 5 or code == 334:
        raise MailLoginError(
            f"{_where(settings)}: refuses the login of {user}: {mask.words(code, said)}; check "
            "user in [mail] of farm.toml and the password"
        )
    _need((code, said))


def _in_base64(text: str) -> str:
    return base64.b64encode(text.encode()).decode("ascii")


def _hand_over(
    server: smtplib.SMTP,
    data: bytes,
    recipients: Sequence[str],
    settings: MailSettings,
    mask: _Mask,
    timeout_s: float,
    refused: dict[str, str],
) -> None:
    """Envelope and message; puts the refused recipients into `refused`."""
    code, said = server.mail(
        bare_address(settings.sender), _mail_options(server, data, recipients, settings)
    )
    if code == 530 and settings.user is None:
        raise MailLoginError(
            f"{_where(settings)}: wants a login: {mask.words(code, said)}; add user to [mail] of "
            "farm.toml and give the password"
        )
    _need((code, said))
    for recipient in recipients:
        code, said = server.rcpt(bare_address(recipient))
        if code == 421:  # the server closes: nobody has got anything
            _need((code, said))
        if code not in _ACCEPTED:
            refused[recipient] = mask.words(code, said)
    if len(refused) < len(recipients):
        _need(server.docmd("DATA"), range(354, 355))
        server.send(re.sub(rb"(?m)^\.", b"..", data) + _end(data))
        if server.sock is not None:
            server.sock.settimeout(LAST_ANSWER_TIMES * timeout_s)
        _need(server.getreply())


def _final(refused: Mapping[str, str]) -> dict[str, str]:
    """Those that are refused for good."""
    return {name: words for name, words in refused.items() if words.startswith("5")}


def _end(data: bytes) -> bytes:
    return b".\r\n" if data.endswith(b"\r\n") else b"\r\n.\r\n"


def _mail_options(
    server: smtplib.SMTP, data: bytes, recipients: Sequence[str], settings: MailSettings
) -> list[str]:
    options = [f"SIZE={len(data)}"] if server.has_extn("size") else []
    addresses = (*recipients, bare_address(settings.sender))
    is_far = not data.partition(b"\r\n\r\n")[0].isascii() or not all(
        address.isascii() for address in addresses
    )
    if is_far:
        if not server.has_extn("smtputf8"):
            raise MailRefusedError(
                f"{_where(settings)}: takes no addresses with letters beyond ASCII; write the "
                "addresses in [mail] of farm.toml without them"
            )
        options.append("SMTPUTF8")
    if not data.isascii() and server.has_extn("8bitmime"):
        options.append("BODY=8BITMIME")
    return options


# ------------------------------------------------------------------ the faults


class _Mask:
    """Words of a server, on one line, without the password should it say that back."""

    def __init__(self, user: str | None, password: str | None) -> None:
        self._hidden: tuple[str, ...] = ()
        if password:
            whole = _in_base64(f"\0{user or ''}\0{password}")
            self._hidden = (whole, _in_base64(password), password)

    def words(self, code: int, said: bytes | str) -> str:
        """Code and words."""
        text = said.decode("utf-8", errors="replace") if isinstance(said, bytes) else said
        for hidden in self._hidden:
            text = text.replace(hidden, "***")
        return f"{code} {_one_line(text)}".strip()


def _one_line(text: str) -> str:
    plain = "".join(
        " " if unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp") else letter
        for letter in text
    )
    plain = " ".join(plain.split())
    return plain if len(plain) <= LONGEST_WORDS else plain[: LONGEST_WORDS - 3] + "..."


def _where(settings: MailSettings) -> str:
    return f"mail server {settings.host}, port {settings.port}"


def _link_words(error: Exception) -> str:
    """What happened to the line, in plain words."""
    import smtplib
    import socket

    if isinstance(error, TimeoutError):
        return "gives no answer in time"
    if isinstance(error, smtplib.SMTPServerDisconnected):
        cause = error.__context__
        return "gives no answer in time" if isinstance(cause, TimeoutError) else "broke off"
    if isinstance(error, socket.gaierror):
        return "its name is not found (no network, or a wrong host in [mail] of farm.toml)"
    if isinstance(error, ConnectionRefusedError):
        return "does not take calls on this port"
    if isinstance(error, ConnectionError):
        return "broke off"
    if isinstance(error, OSError) and error.strerror:
        return _one_line(error.strerror).lower()
    return type(error).__name__


def _answer_fault(
    code: int,
    said: bytes | str,
    settings: MailSettings,
    mask: _Mask,
    refused: Mapping[str, str],
) -> MailPostponedError | MailRefusedError:
    words = f"{_where(settings)}: says {mask.words(code, said)}"
    if code // 100 == 5:
        return MailRefusedError(f"{words}; that is final for this mail")
    return MailPostponedError(f"{words}; it is tried again", _final(refused))


def _tls_fault(
    error: ssl.SSLError, settings: MailSettings, refused: Mapping[str, str]
) -> MailSettingsError | MailPostponedError:
    import ssl

    if isinstance(error, ssl.SSLCertVerificationError):
        return MailSettingsError(
            f"{_where(settings)}: its certificate is not trusted ({error.verify_message}), so "
            "nothing was sent; check host, and for a server of your own name the file with its "
            "certificate authority: ca_file in [mail] of farm.toml"
        )
    if error.reason in ("WRONG_VERSION_NUMBER", "HTTP_REQUEST", "UNSUPPORTED_PROTOCOL"):
        return MailSettingsError(
            f"{_where(settings)}: does not speak TLS as expected ({error.reason}); check port and "
            "security in [mail] of farm.toml (starttls: 587, tls: 465)"
        )
    return MailPostponedError(
        f"{_where(settings)}: the encrypted line broke off ({error.reason or 'no reason given'}); "
        "it is tried again",
        _final(refused),
    )
