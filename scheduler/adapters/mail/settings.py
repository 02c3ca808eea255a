"""What [mail] of farm.toml says, with what holds where it says nothing."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import time
from ipaddress import ip_address
from pathlib import Path
from typing import Any

from scheduler.errors import MailSettingsError
from scheduler.records import Farm

PORTS: Mapping[str, int] = {"starttls": 587, "tls": 465, "none": 25}
SEND_AT, CUT_OFF = time(5, 30), time(11, 0)
CLOCK_CHANGE_HOURS = (time(1, 0), time(4, 0))  # from and before: skipped or doubled twice a year

_ADDRESS = re.compile(r"[^\s@<>,;:()\[\]\\\"]+@([^\s@<>,;:()\[\]\\\"]+|\[[0-9A-Fa-f.:IPv]+\])")
_NAMED = re.compile(r"(?:(?P<name>[^<>]*?)\s*<(?P<bare>[^<>]*)>|(?P<only>[^<>]*))")
_PLAIN_NAME = re.compile(r"[A-Za-z0-9 '_-]+")
_HOST = re.compile(r"[A-Za-z0-9._:%-]+")


@dataclass(frozen=True)
class MailSettings:
    """How the morning mail goes out; the password is not in here.

    `to`, `sender` and `reply_to` may carry a name before the address; host names of addresses are
    in ASCII. `contact` and `subject` are the grower's own words, None where there are none.
    `time_zone` is the farm's: `send_at` and `cut_off` are read off its clocks.
    """

    to: tuple[str, ...]
    sender: str
    reply_to: str | None
    host: str
    port: int
    security: str  # starttls, tls or none
    user: str | None
    password_env: str | None
    password_file: str | None
    ca_file: str | None
    send_at: time
    cut_off: time
    evening_note: bool
    contact: str | None
    subject: str | None
    time_zone: str = "UTC"


def mail_settings(farm: Farm, folder: Path | str | None = None) -> MailSettings:
    """The settings of the mail; with `folder`, its files are found from there.

    Raises
    ------
    MailSettingsError
        If the mail cannot be sent with what is written, in one line with the key.
    """
    written = dict(farm.mail)
    for key, value in written.items():
        for text in value if isinstance(value, tuple | list) else (value,):
            _check_one_line(key, text)
    host = _host(written)
    security = _security(written, host)
    send_at, cut_off = _hours(written)
    return MailSettings(
        to=_recipients(written),
        sender=_address("from", _needed(written, "from", '"farm@example.org"')),
        reply_to=_address("reply_to", written["reply_to"]) if written.get("reply_to") else None,
        host=host,
        port=_port(written, security),
        security=security,
        user=written.get("user"),
        password_env=written.get("password_env"),
        password_file=_found_from(folder, "password_file", written.get("password_file")),
        ca_file=_found_from(folder, "ca_file", written.get("ca_file")),
        send_at=send_at,
        cut_off=cut_off,
        evening_note=bool(written.get("evening_note", False)),
        contact=written.get("contact"),
        subject=written.get("subject"),
        time_zone=farm.place.time_zone,
    )


def settings_from(settings: MailSettings, folder: Path) -> MailSettings:
    """The settings with the files they name found from the farm's folder."""
    return replace(
        settings,
        password_file=_found_from(folder, "password_file", settings.password_file),
        ca_file=_found_from(folder, "ca_file", settings.ca_file),
    )


def bare_address(text: str) -> str:
    """The address alone, without the name before it.

    Examples
    --------
    >>> bare_address("Field crew <crew@example.org>")
    'crew@example.org'
    """
    return _parted(text)[1]


def each_once(addresses: Iterable[str]) -> tuple[str, ...]:
    """Each address once, in the order written, as it was written first."""
    found: dict[str, str] = {}
    for text in addresses:
        found.setdefault(bare_address(text).casefold(), text)
    return tuple(found.values())


def is_loopback(host: str) -> bool:
    """Whether `host` is this very computer, so that nothing sent there can be overheard.

    Examples
    --------
    >>> is_loopback("mail.example.org"), is_loopback("127.0.0.1")
    (False, True)
    """
    if host.casefold().rstrip(".") == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def _fault(key: str, told: str) -> MailSettingsError:
    return MailSettingsError(f"farm.toml, [mail] {key}: {told}")


def _check_one_line(key: str, value: Any) -> None:
    """Refuse what could end a header or a command early."""
    if isinstance(value, str) and any(
        unicodedata.category(letter) in ("Cc", "Zl", "Zp", "Cs") for letter in value
    ):
        raise _fault(key, f"{value!r} holds a control character; write one line of plain text")


def _needed(written: Mapping[str, Any], key: str, example: str) -> Any:
    value = written.get(key)
    if not value:
        raise _fault(key, f"is missing, and no mail goes out without it; add {key} = {example}")
    return value


def _recipients(written: Mapping[str, Any]) -> tuple[str, ...]:
    """Each recipient once, in the order written."""
    value = _needed(written, "to", '"grower@example.org"')
    addresses = [_address("to", text) for text in ((value,) if isinstance(value, str) else value)]
    return each_once(addresses)


def _parted(text: str) -> tuple[str, str]:
    """Name (empty: none) and address; both empty where it is not one address."""
    found = _NAMED.fullmatch(text.strip())
    if found is None:
        return "", ""
    name = (found["name"] or "").strip()
    if len(name) > 1 and name[0] == name[-1] == '"':
        name = re.sub(r"\\(.)", r"\1", name[1:-1])
    return name, (found["only"] or found["bare"] or "").strip()


def _address(key: str, text: str) -> str:
    """One address as it can stand in a header, its host name in ASCII."""
    name, bare = _parted(text)
    if not _ADDRESS.fullmatch(bare) or "@" in name:
        raise _fault(
            key,
            f'{text!r} is not one mail address; write such as "grower@example.org", several as a '
            'list: ["grower@example.org", "crew@example.org"]',
        )
    local, _, domain = bare.rpartition("@")
    try:
        domain = domain if domain.isascii() else domain.encode("idna").decode("ascii")
    except UnicodeError as error:
        raise _fault(
            key, f"{text!r} names a host that cannot be; check what follows the @"
        ) from error
    if not name:
        return f"{local}@{domain}"
    if not _PLAIN_NAME.fullmatch(name):
        name = '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f"{name} <{local}@{domain}>"


def _host(written: Mapping[str, Any]) -> str:
    host = str(_needed(written, "host", '"smtp.example.org"'))
    try:
        found = host if host.isascii() else host.encode("idna").decode("ascii")
    except UnicodeError:
        found = ""
    if not _HOST.fullmatch(found):
        raise _fault("host", f'{host!r} is no host name; write such as "smtp.example.org"')
    return found


def _security(written: Mapping[str, Any], host: str) -> str:
    """Encrypted, unless the farm file says otherwise and the server is this computer."""
    usual = "tls" if written.get("port") == PORTS["tls"] else "starttls"
    security = str(written.get("security") or usual)
    if security not in PORTS:
        raise _fault("security", f"{security!r} is unknown; allowed: {', '.join(PORTS)}")
    if security == "none" and not is_loopback(host):
        what = "the password and the mail" if written.get("user") else "the mail"
        raise _fault(
            "security",
            f'"none" would send {what} readable by all to {host}; allowed for this computer '
            '(localhost) alone: write security = "starttls" or "tls"',
        )
    return security


def _port(written: Mapping[str, Any], security: str) -> int:
    port = written.get("port")
    found = PORTS[security] if port is None else int(port)
    if not 1 <= found <= 65535:
        raise _fault("port", f"{found} is out of range; allowed: 1 to 65535")
    return found


def _hours(written: Mapping[str, Any]) -> tuple[time, time]:
    """When the mail goes out and until when it may be late."""
    send_at = _clock("send_at", written.get("send_at"), SEND_AT)
    cut_off = _clock("cut_off", written.get("cut_off"), CUT_OFF)
    first, after = CLOCK_CHANGE_HOURS
    if first <= send_at < after:
        raise _fault(
            "send_at",
            f"{send_at:%H:%M} falls in the hours that the clock change skips or doubles; allowed: "
            "00:00 to 00:59 and 04:00 to 23:59",
        )
    if cut_off <= send_at:
        usual = "" if written.get("cut_off") else ", which holds where none is written,"
        raise _fault(
            "cut_off",
            f"{cut_off:%H:%M}{usual} is not after send_at {send_at:%H:%M}; write the hour after "
            "which a mail of the same day is of no use",
        )
    return send_at, cut_off


def _clock(key: str, value: Any, usual: time) -> time:
    if value is None or isinstance(value, time):
        return value or usual
    try:
        return time.fromisoformat(str(value))
    except ValueError as error:
        raise _fault(key, f'{value!r} is no time of day; write it like "05:30"') from error


def _found_from(folder: Path | str | None, key: str, name: str | None) -> str | None:
    """A file named in the farm file, found from the farm's folder."""
    if name is None or folder is None:
        return name
    try:
        return str(Path(folder) / Path(name).expanduser())
    except RuntimeError as error:
        raise _fault(
            key, f"{name!r} begins with a home folder that is not known; write the whole path"
        ) from error
