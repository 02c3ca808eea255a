"""The password: where it is found, in which order, and that it is shown nowhere."""

from __future__ import annotations

import sys
import traceback
from dataclasses import replace
from datetime import time
from pathlib import Path
from types import ModuleType

import pytest

from scheduler.adapters.mail.secrets import mail_password
from scheduler.adapters.mail.settings import MailSettings
from scheduler.errors import MailSettingsError

SECRET = "s3cret-Wort"
SETTINGS = MailSettings(
    to=("grower@example.org",),
    sender="farm@example.org",
    reply_to=None,
    host="smtp.example.org",
    port=587,
    security="starttls",
    user="farm",
    password_env=None,
    password_file=None,
    ca_file=None,
    send_at=time(5, 30),
    cut_off=time(11, 0),
    evening_note=False,
    contact=None,
    subject=None,
)


@pytest.fixture(autouse=True)
def _no_keyring(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "keyring", None)


def keyring_with(monkeypatch: pytest.MonkeyPatch, answer: str | Exception | None) -> list[object]:
    asked: list[object] = []

    def get_password(service: str, user: str) -> str | None:
        asked.append((service, user))
        if isinstance(answer, Exception):
            raise answer
        return answer

    module = ModuleType("keyring")
    module.get_password = get_password  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "keyring", module)
    return asked


def written(path: Path, text: str = SECRET, mode: int = 0o600) -> Path:
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    return path


def test_without_a_user_no_password_is_looked_for(tmp_path: Path) -> None:
    found = mail_password(replace(SETTINGS, user=None), tmp_path, {}, None)
    assert found == (None, ())


def test_places_in_their_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    credentials = tmp_path / "credentials"
    credentials.mkdir()
    file = written(tmp_path / "secret", "from the file")
    credential = written(credentials / "whitethread-mail", "from the credential")
    environ = {"ACRE": "from the variable"}
    asked = keyring_with(monkeypatch, "from the keyring")
    settings = replace(SETTINGS, password_file="secret", password_env="ACRE")

    def found() -> tuple[str | None, tuple[str, ...]]:
        return mail_password(settings, tmp_path, environ, credentials)

    assert found() == ("from the file", ())
    file.unlink()
    assert found() == ("from the credential", ())
    credential.unlink()
    assert found() == ("from the variable", ())
    assert asked == []
    environ.clear()
    assert found() == ("from the keyring", ())
    assert asked == [("whitethread", "farm")]


def test_the_credentials_are_also_found_where_systemd_says(tmp_path: Path) -> None:
    written(tmp_path / "whitethread-mail")
    environ = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    assert mail_password(SETTINGS, Path("/nowhere"), environ, None) == (SECRET, ())


def test_the_usual_variable_needs_no_key(tmp_path: Path) -> None:
    environ = {"WHITETHREAD_MAIL_PASSWORD": SECRET}
    assert mail_password(SETTINGS, tmp_path, environ, None) == (SECRET, ())


@pytest.mark.parametrize("text", [f"{SECRET}\n", f"{SECRET}\r\n", f"\ufeff{SECRET}\n"])
def test_the_end_of_the_line_is_no_part_of_it(tmp_path: Path, text: str) -> None:
    written(tmp_path / "secret", text)
    settings = replace(SETTINGS, password_file="secret")
    assert mail_password(settings, tmp_path, {}, None)[0] == SECRET


def test_spaces_are_part_of_it(tmp_path: Path) -> None:
    written(tmp_path / "secret", " a b \n")
    settings = replace(SETTINGS, password_file="secret")
    assert mail_password(settings, tmp_path, {}, None)[0] == " a b "


def test_a_missing_secret_names_every_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keyring_with(monkeypatch, None)
    settings = replace(SETTINGS, password_file="secret", password_env="ACRE")
    with pytest.raises(MailSettingsError) as raised:
        mail_password(settings, tmp_path, {}, tmp_path / "run")
    assert str(raised.value) == (
        "farm.toml, [mail] user: there is no password for farm; looked at password_file "
        f"{tmp_path}/secret (no such file or directory); the credential {tmp_path}/run/"
        "whitethread-mail (no such file or directory); the environment variable ACRE (unset); the "
        "keyring, service whitethread, user farm (holds nothing); put it into one of them, never "
        "into farm.toml"
    )


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (RuntimeError(SECRET), "(RuntimeError)"),
        ("", "(holds nothing)"),
        ("missing", "(not installed: pip install 'whitethread[keyring]')"),
    ],
)
def test_a_keyring_that_gives_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: str | Exception, told: str
) -> None:
    if answer != "missing":
        keyring_with(monkeypatch, answer)
    with pytest.raises(MailSettingsError) as raised:
        mail_password(SETTINGS, tmp_path, {"WHITETHREAD_MAIL_PASSWORD": ""}, None)
    assert told in str(raised.value)
    assert "WHITETHREAD_MAIL_PASSWORD (is empty)" in str(raised.value)
    assert SECRET not in "".join(traceback.format_exception(raised.value))


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o644, 0o620])
def test_a_file_that_others_can_open_is_warned_of(tmp_path: Path, mode: int) -> None:
    path = written(tmp_path / "secret", mode=mode)
    settings = replace(SETTINGS, password_file="secret")
    assert mail_password(settings, tmp_path, {}, None) == (
        SECRET,
        (
            f"password_file {path}: can be opened by others on this computer (mode {mode:o}); "
            f"run: chmod 600 {path}",
        ),
    )


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (f"{SECRET}\nsecond".encode(), "holds more than one line; allowed: the password alone"),
        (f"{SECRET}\0".encode(), "holds more than one line"),
        (SECRET.encode() + b"\xff", "is not text in UTF-8"),
        (SECRET.encode() * 400, "is longer than 4096 bytes, so no password"),
    ],
)
def test_what_cannot_be_a_password_is_refused_unshown(
    tmp_path: Path, content: bytes, told: str
) -> None:
    (tmp_path / "secret").write_bytes(content)
    settings = replace(SETTINGS, password_file="secret")
    with pytest.raises(MailSettingsError, match=told) as raised:
        mail_password(settings, tmp_path, {}, None)
    assert raised.value.__context__ is None
    assert SECRET not in "".join(traceback.format_exception(raised.value))


def test_bytes_of_another_encoding_in_the_environment_are_refused_unshown(tmp_path: Path) -> None:
    environ = {"WHITETHREAD_MAIL_PASSWORD": SECRET + "\udce9"}  # as os.environ hands them out
    with pytest.raises(MailSettingsError, match="MAIL_PASSWORD: is not text in UTF-8") as raised:
        mail_password(SETTINGS, tmp_path, environ, None)
    assert SECRET not in "".join(traceback.format_exception(raised.value))


def test_an_empty_file_is_no_password(tmp_path: Path) -> None:
    written(tmp_path / "secret", "\n")
    settings = replace(SETTINGS, password_file="secret")
    with pytest.raises(MailSettingsError, match=r"secret \(is empty\)"):
        mail_password(settings, tmp_path, {}, None)


def test_the_settings_do_not_hold_it(tmp_path: Path) -> None:
    environ = {"WHITETHREAD_MAIL_PASSWORD": SECRET}
    mail_password(SETTINGS, tmp_path, environ, None)
    assert SECRET not in repr(SETTINGS)
