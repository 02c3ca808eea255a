"""The evening note: what is too late by noon tomorrow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time
from email.message import EmailMessage
from zoneinfo import ZoneInfo

from scheduler.adapters.mail.message import plain_message
from scheduler.adapters.mail.settings import MailSettings
from scheduler.adapters.render.clean import clean_text
from scheduler.adapters.render.phrases import WEEKDAYS, dated_words, wrapped
from scheduler.records import BedAnswer, Morning

NOON = time(12)
WIDTH = 72


@dataclass(frozen=True)
class EveningLine:
    """One bed whose last good hour falls before noon tomorrow."""

    bed: str
    crop: str
    tool: str
    from_at: datetime
    last_good_at: datetime
    why: str


def evening_lines(found: Morning, now: datetime) -> tuple[EveningLine, ...]:
    """Beds worth a pass tomorrow whose last good hour falls before noon, the first to end first.

    Parameters
    ----------
    found
        Tomorrow morning's list as foreseen.
    now
        This evening.
    """
    zone = ZoneInfo(found.farm.place.time_zone)
    noon = datetime.combine(found.day, NOON, zone)
    lines = [
        _line(answer, zone)
        for answer in (*found.beds, *found.not_reached)
        if answer.action is not None
        and answer.last_good_at is not None
        and now < answer.last_good_at <= noon
    ]
    return tuple(sorted(lines, key=lambda line: (line.last_good_at, line.bed)))


def _line(answer: BedAnswer, zone: ZoneInfo) -> EveningLine:
    assert answer.action is not None
    assert answer.last_good_at is not None
    return EveningLine(
        clean_text(answer.bed if answer.part is None else f"{answer.bed}/{answer.part}"),
        clean_text(answer.crop or ""),
        clean_text(answer.action.tool),
        answer.action.start.astimezone(zone),
        answer.last_good_at.astimezone(zone),
        clean_text(answer.why[0]) if answer.why else "",
    )


def evening_message(
    found: Morning,
    lines: Sequence[EveningLine],
    settings: MailSettings,
    message_id: str,
    made_at: datetime,
) -> EmailMessage:
    """The note as a mail of plain text; arguments as of `mail_message`."""
    subject, text = evening_subject(found, lines), evening_text(found, lines)
    return plain_message(subject, text, settings, message_id, made_at)


def evening_subject(found: Morning, lines: Sequence[EveningLine]) -> str:
    """The subject of the note."""
    first = lines[0]
    more = f" and {len(lines) - 1} more" if len(lines) > 1 else ""
    when = f"{WEEKDAYS[found.day.weekday()]} {first.last_good_at:%H:%M}"
    return f"Evening note: {first.bed}{more}, last good hour {when}"


def evening_text(found: Morning, lines: Sequence[EveningLine], width: int = WIDTH) -> str:
    """The note in plain words."""
    day = dated_words(found.day)
    blocks = [wrapped(f"Tomorrow, {day}, the last good hour comes before noon for:", width)]
    for line in lines:
        name = f"{line.bed}, {line.crop}" if line.crop else line.bed
        told = (
            f"{name}: {line.tool} from {line.from_at:%H:%M}, last good hour "
            f"{line.last_good_at:%H:%M}."
        )
        blocks.append(
            wrapped(told, width)
            + [f"    {part}" for part in (wrapped(line.why, width - 4) if line.why else [])]
        )
    blocks.append(
        wrapped(
            "This is how it looks this evening; the list of tomorrow morning outranks it.", width
        )
    )
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"
