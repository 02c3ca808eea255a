"""What the mail of a day came to, and the exit status that says it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

SENT, NOTHING_DUE, WRITTEN = "sent", "nothing due", "written"
PENDING, GIVEN_UP = "pending", "given up"
REFUSED, SETTINGS = "refused", "settings"
DIRECT = "sent without a ledger"
EXIT_STATUS: Mapping[str, int] = {
    SENT: 0,
    NOTHING_DUE: 0,
    WRITTEN: 0,
    DIRECT: 75,
    PENDING: 75,
    GIVEN_UP: 75,
    REFUSED: 78,
    SETTINGS: 78,
}
"""Exit status by what a day came to: 75 is worth another try, 78 wants a change of settings."""


@dataclass(frozen=True)
class DayOutcome:
    """What a run came to; `lines` say it in words, `warnings` what is to be mended."""

    status: str
    lines: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
