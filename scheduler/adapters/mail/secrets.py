"""The password of the mail account: looked for in four places, never written down anywhere."""

from __future__ import annotations

import os
import stat
import unicodedata
from collections.abc import Mapping
from pathlib import Path

from scheduler.adapters.mail.settings import MailSettings
from scheduler.errors import MailSettingsError

CREDENTIAL = "whitethread-mail"
PASSWORD_ENV = "WHITETHREAD_MAIL_PASSWORD"
KEYRING_SERVICE = "whitethread"
LONGEST_BYTES = 4096

_OTHERS = stat.S_IRWXG | stat.S_IRWXO


def mail_password(
    settings: MailSettings,
    folder: Path,
    environ: Mapping[str, str],
    credentials_dir: Path | None,
) -> tuple[str | None, tuple[str, ...]]:
    """The password and warnings about where it lies; None where no login is wanted.

    Looked for in this order: the `password_file` of the farm file (found from `folder`), the
    systemd credential `whitethread-mail`, the environment variable `password_env`, the keyring.

    Raises
    ------
    MailSettingsError
        If there is none, naming every place looked at, or what is there cannot be a password.
    """
    if settings.user is None:
        return None, ()
    looked: list[str] = []
    for path, what in _files(settings, folder, environ, credentials_dir):
        password = _file_password(path, what, looked)
        if password is not None:
            return password, _warnings(path, what)
    name = settings.password_env or PASSWORD_ENV
    password = environ.get(name)
    if password:
        return _one_line(password, f"the environment variable {name}"), ()
    looked.append(f"the environment variable {name} ({'is empty' if name in environ else 'unset'})")
    password = _keyring_password(settings.user, looked)
    if password is not None:
        return _one_line(password, "the keyring"), ()
    raise MailSettingsError(
        f"farm.toml, [mail] user: there is no password for {settings.user}; looked at "
        f"{'; '.join(looked)}; put it into one of them, never into farm.toml"
    )


def _files(
    settings: MailSettings,
    folder: Path,
    environ: Mapping[str, str],
    credentials_dir: Path | None,
) -> list[tuple[Path, str]]:
    """The files that may hold the password, each with what it is."""
    found = []
    if settings.password_file is not None:
        path = folder / Path(settings.password_file).expanduser()
        found.append((path, f"password_file {path}"))
    if credentials_dir is None and environ.get("CREDENTIALS_DIRECTORY"):
        credentials_dir = Path(environ["CREDENTIALS_DIRECTORY"])
    if credentials_dir is not None:
        path = credentials_dir / CREDENTIAL
        found.append((path, f"the credential {path}"))
    return found


def _file_password(path: Path, what: str, looked: list[str]) -> str | None:
    """What a file holds without the end of its line; None, and why, where it holds nothing."""
    try:
        with path.open("rb") as file:
            content = file.read(LONGEST_BYTES + 1)
    except OSError as error:
        looked.append(f"{what} ({(error.strerror or 'cannot be read').lower()})")
        return None
    if len(content) > LONGEST_BYTES:
        raise MailSettingsError(f"{what}: is longer than {LONGEST_BYTES} bytes, so no password")
    try:
        text = content.decode("utf-8-sig").rstrip("\r\n")
    except UnicodeDecodeError:
        text = None
    if text is None:  # outside the handler, so that no fault carries the content along
        raise MailSettingsError(f"{what}: is not text in UTF-8; write the password into it anew")
    if not text.strip():
        looked.append(f"{what} (is empty)")
        return None
    return _one_line(text, what)


def _one_line(password: str, what: str) -> str:
    """Refuse what cannot be a password, without showing it."""
    if any(unicodedata.category(letter) == "Cs" for letter in password):  # bytes not in UTF-8
        raise MailSettingsError(f"{what}: is not text in UTF-8; write the password into it anew")
    if any(letter in password for letter in "\r\n\0"):
        raise MailSettingsError(f"{what}: holds more than one line; allowed: the password alone")
    return password


def _warnings(path: Path, what: str) -> tuple[str, ...]:
    """Whether others on this computer can read the secret; some systems cannot tell."""
    if os.name != "posix":
        return ()
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
    except OSError:
        return ()
    if not mode & _OTHERS:
        return ()
    return (
        f"{what}: can be opened by others on this computer (mode {mode:o}); run: chmod 600 {path}",
    )


def _keyring_password(user: str, looked: list[str]) -> str | None:
    """What the keyring holds; None, and why, where there is none."""
    where = f"the keyring, service {KEYRING_SERVICE}, user {user}"
    try:
        import keyring
    except ImportError:
        looked.append(f"{where} (not installed: pip install 'whitethread[keyring]')")
        return None
    try:
        password: str | None = keyring.get_password(KEYRING_SERVICE, user)
    except Exception as error:  # a backend may raise what it likes
        looked.append(f"{where} ({type(error).__name__})")
        return None
    if not password:
        looked.append(f"{where} (holds nothing)")
        return None
    return password
