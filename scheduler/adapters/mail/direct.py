"""A mail of a fault without the ledger: what is left when farm.db itself cannot be used.

A file in the farm folder says that the day was told; the Message-ID is the same all day, so that a
receiver drops a second one where even that file could not be written.
"""

from __future__ import annotations

from contextlib import suppress
from datetime import date
from email.message import EmailMessage
from pathlib import Path

from scheduler.adapters.mail.outbox import Send
from scheduler.adapters.mail.settings import MailSettings, bare_address
from scheduler.errors import MailPostponedError, MailRefusedError

MARK_FILE = "mail-without-farm.db.txt"


def is_told(folder: Path, on: date) -> bool:
    """Whether a mail of that day went out without the ledger."""
    try:
        return on.isoformat() in (folder / MARK_FILE).read_text(encoding="utf-8").split()
    except (OSError, UnicodeDecodeError):
        return False


def send_without_ledger(
    folder: Path,
    on: date,
    message: EmailMessage,
    settings: MailSettings,
    password: str | None,
    send: Send,
) -> tuple[bool, tuple[str, ...]]:
    """Send a mail at once; whether anybody got it, and what is to be told of those who did not.

    Raises
    ------
    MailSettingsError
        If settings or password are wrong.
    """
    addresses = [bare_address(text) for text in settings.to]
    try:
        refused = send(message, addresses, settings, password)
    except (MailPostponedError, MailRefusedError) as error:
        return False, (str(error),)
    lines = tuple(f"{address}: {words}" for address, words in refused.items())
    if len(refused) == len(addresses):
        return False, lines
    with suppress(OSError):
        (folder / MARK_FILE).write_text(
            f"{on.isoformat()}\n\n"
            "A mail of that day said that farm.db cannot be used. This file may be deleted.\n",
            encoding="utf-8",
        )
    return True, lines
