"""The mails themselves: the morning list, and the word that there is none.

One mail goes to all recipients, who see each other in To: those who share the work of a farm should
see who has the list, and one Message-ID stands for one morning. The word of a fault is plain text
alone, so that nothing that draws or lays out a page can keep it back.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from email.header import Header
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from urllib.parse import quote
from zoneinfo import ZoneInfo

from scheduler.adapters.mail.settings import MailSettings
from scheduler.adapters.render.clean import clean_record, clean_text, marked_left_to_right
from scheduler.adapters.render.mail_html import mail_html
from scheduler.adapters.render.mail_text import WIDTH, mail_text
from scheduler.adapters.render.news_words import subject_line
from scheduler.adapters.render.phrases import dated_words, wrapped
from scheduler.adapters.render.statements import sentence
from scheduler.adapters.render.strip_png import strip_png
from scheduler.records import DayStrip, Morning, MorningNews

NO_PICTURE = "The picture of the hours could not be drawn; the words beside Hours tell the same."
MAX_NAME = 40  # signs of a name before an address
MAX_SUBJECT = 200  # signs of a subject, whatever the farm file adds to it


def mail_message(
    morning: Morning,
    news: MorningNews,
    settings: MailSettings,
    message_id: str,
    made_at: datetime,
    notices: Sequence[str] = (),
) -> EmailMessage:
    """The morning mail: plain text, HTML that says the same, and the hours in one picture.

    Parameters
    ----------
    morning
        The list.
    news
        What came since the list before.
    settings
        From whom and to whom.
    message_id
        With its brackets; the Content-ID of the picture is made from it.
    made_at
        The moment of the Date.
    notices
        What is wrong with the delivery, the farm file or the weather, a sentence each.

    Returns
    -------
    EmailMessage
        multipart/alternative of text and HTML, the HTML with its picture.
    """
    morning = clean_record(morning)
    told = list(notices)
    picture = None
    if morning.strip is not None:
        picture = _picture(morning.strip, morning)
        if picture is None:
            told.append(NO_PICTURE)
    cid = f"hours.{clean_text(message_id).strip('<>')}"
    contact = settings.contact or ""
    message = _begun(
        subject_line(morning, news, settings.subject or ""), settings, message_id, made_at
    )
    _set_text(message, mail_text(morning, news, told, contact=contact))
    linked = None if picture is None else quote(cid, safe="@.-_~")
    page = mail_html(morning, news, told, linked, contact)
    message.add_alternative(page, subtype="html", cte="quoted-printable")
    if picture is not None:
        html = message.get_payload(1)
        assert isinstance(html, EmailMessage)
        html.add_related(
            picture, "image", "png", cid=f"<{cid}>", disposition="inline", filename="hours.png"
        )
    return message


def fault_message(
    farm_name: str,
    settings: MailSettings,
    failed: str,
    since: date | datetime,
    still_known: Sequence[str],
    message_id: str,
    made_at: datetime,
    to_do: Sequence[str] = (),
    notices: Sequence[str] = (),
) -> EmailMessage:
    """The mail of a morning on which no list could be made.

    Parameters
    ----------
    farm_name
        As the farm file has it, or the name of the folder.
    settings
        From whom and to whom.
    failed
        What failed, in a sentence.
    since
        When it was first seen, or the first day without a list.
    still_known
        What the program still knows: the list issued last, the age of the weather, a line each.
    message_id
        With its brackets.
    made_at
        The moment of the Date; its day is the day without a list.
    to_do
        What helps, a line each.
    notices
        What else is wrong, a sentence each.

    Returns
    -------
    EmailMessage
        Plain text.
    """
    zone = ZoneInfo(settings.time_zone)
    today = made_at.astimezone(zone).date()
    blocks = [
        [*wrapped(f"{dated_words(today)}, {clean_text(farm_name)}", WIDTH), "No list today."],
        _paragraphs("What failed", [sentence(clean_text(failed))]),
        _paragraphs("Since", [_since_words(since, zone)]),
        _paragraphs("Still known", [clean_text(line) for line in still_known] or ["nothing."]),
        _paragraphs("What helps", [clean_text(line) for line in to_do]),
        _paragraphs("Besides", [clean_text(line) for line in notices]),
        _paragraphs("Ask", [clean_text(settings.contact or "")]),
    ]
    text = "\n\n".join("\n".join(block) for block in blocks if block)
    return plain_message(
        f"{dated_words(today)}: no list today", text, settings, message_id, made_at
    )


def plain_message(
    subject: str, text: str, settings: MailSettings, message_id: str, made_at: datetime
) -> EmailMessage:
    """A mail of plain text alone, with the headers that every mail of the program has.

    Parameters
    ----------
    subject
        One line; what `settings.subject` adds is put behind it in brackets.
    text
        In lines; the blanks that begin them are kept.
    settings
        From whom and to whom.
    message_id
        With its brackets.
    made_at
        The moment of the Date.

    Returns
    -------
    EmailMessage
        Plain text.
    """
    extra = clean_text(settings.subject or "")
    whole = f"{subject} ({extra})" if extra else subject
    message = _begun(whole, settings, message_id, made_at)
    lines = [
        " " * (len(line) - len(line.lstrip(" "))) + clean_text(line) for line in text.split("\n")
    ]
    _set_text(message, marked_left_to_right("\n".join(lines).strip("\n")) + "\n")
    return message


# ------------------------------------------------------------------- pieces


def _begun(
    subject: str, settings: MailSettings, message_id: str, made_at: datetime
) -> EmailMessage:
    """A message with its headers; no text of the farm can begin a header of its own."""
    message = EmailMessage(policy=SMTP)
    message["Date"] = format_datetime(made_at.astimezone(ZoneInfo(settings.time_zone)))
    message["From"] = _address(settings.sender)
    message["To"] = tuple(_address(address) for address in settings.to)
    if settings.reply_to:
        message["Reply-To"] = _address(settings.reply_to)
    message.set_raw("Subject", _folded("Subject", _cut(_header_text(subject), MAX_SUBJECT)))
    message["Message-ID"] = clean_text(message_id)
    message["Auto-Submitted"] = "auto-generated"
    message["X-Auto-Response-Suppress"] = "All"
    return message


def _header_text(text: str) -> str:
    """Text as a header may hold it: in one line, and nothing in it that is read as encoded."""
    return clean_text(text).replace("=?", "= ?")


def _folded(name: str, text: str) -> str:
    """The header in lines of mail, encoded where it has to be.

    The header class of the library begins a long subject on a second line, where some readers show
    none.
    """
    charset = "us-ascii" if text.isascii() else "utf-8"
    return Header(text, charset, header_name=name).encode(linesep="\r\n")


def _address(text: str) -> Address:
    """An address with the name before it; a name too long for a line is cut."""
    name, bare = parseaddr(clean_text(text))
    user, _, domain = bare.rpartition("@")
    return Address(_cut(_header_text(name), MAX_NAME), user, domain)


def _picture(strip: DayStrip, morning: Morning) -> bytes | None:
    """The picture, None where it cannot be drawn: a list without it is better than none."""
    try:
        zone = ZoneInfo(morning.farm.place.time_zone)
        return strip_png(strip, morning.farm.units, zone, morning.weather.last_observed)
    except Exception:
        return None


def _set_text(message: EmailMessage, text: str) -> None:
    message.set_content(text, cte="7bit" if text.isascii() else "quoted-printable")


def _cut(text: str, length: int) -> str:
    return text if len(text) <= length else f"{text[: length - 2].rstrip()}.."


def _since_words(since: date | datetime, zone: ZoneInfo) -> str:
    if isinstance(since, datetime):
        local = since.astimezone(zone)
        return f"{dated_words(local.date())} {local:%H:%M}."
    return f"{dated_words(since)}."


def _paragraphs(label: str, texts: Sequence[str]) -> list[str]:
    """The texts under a label; nothing where there are none."""
    told = [text for text in texts if text]
    if not told:
        return []
    return [f"{label}:", *(line for text in told for line in wrapped(text, WIDTH, "  ", "  "))]
