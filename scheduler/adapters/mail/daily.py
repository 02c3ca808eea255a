"""The mail of one farm and day: read, fetch, compute, keep, post; and what is told if that fails.

Whatever goes wrong on the way becomes a mail of its own that says what failed, since when, and what
is still known. A mail is kept in the outbox before it is sent, in one transaction with the list it
carries.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from scheduler.adapters.farmfile import farm_text, parse_farm
from scheduler.adapters.journal import (
    FarmDatabase,
    gauge_reading_time,
    open_farm_database,
    read_drop_folder,
)
from scheduler.adapters.journal.database import FILE_NAME
from scheduler.adapters.mail import direct, outbox
from scheduler.adapters.mail.due import (
    EVENING,
    MORNING,
    POST,
    WEATHER,
    DoneSoFar,
    MailTimes,
)
from scheduler.adapters.mail.outcome import (
    DIRECT,
    EXIT_STATUS,
    GIVEN_UP,
    NOTHING_DUE,
    PENDING,
    REFUSED,
    SENT,
    SETTINGS,
    WRITTEN,
    DayOutcome,
)
from scheduler.adapters.mail.post import message_bytes, send_message
from scheduler.adapters.mail.secrets import mail_password
from scheduler.adapters.mail.settings import MailSettings, mail_settings
from scheduler.adapters.render.phrases import age_words, dated_words
from scheduler.errors import (
    FarmFileError,
    JournalError,
    MailSettingsError,
    UsageError,
    WhitethreadError,
)
from scheduler.records import Event, Farm, Morning, WeatherValue

if TYPE_CHECKING:
    from email.message import EmailMessage

    from scheduler.adapters.weather.update import Update
    from scheduler.ports import Progress

Fetch = Callable[[Farm, FarmDatabase, datetime], "Update"]

TO_DO = (
    "Once it is mended, `whitethread today` prints the list, and the next run of "
    "`whitethread morning` mails it.",
)
FIRST_LINES = 8  # of the last list, told where there is no new one
LONGEST_GAP_D = 14  # of days without a mail that are told


@dataclass(frozen=True)
class FarmRead:
    """The farm as it can be read, and what is to be told of its file."""

    farm: Farm
    notices: tuple[str, ...] = ()


def quiet(message: str, done_frac: float) -> None:
    """Take progress and show nothing."""


# ------------------------------------------------------------------- the mail


def daily_mail(
    folder: Path,
    now: datetime,
    environ: Mapping[str, str],
    *,
    fetch: Fetch | None = None,
    send: outbox.Send = send_message,
    fault: str | None = None,
    progress: Progress = quiet,
) -> DayOutcome:
    """Make and send the morning mail of a farm, unless that day has it; try what still waits.

    Parameters
    ----------
    folder
        The farm folder.
    now
        The moment of the list, aware.
    environ
        Environment variables, where a password may be.
    fetch
        Brings the weather up to date, where the farm file consents to it; None: nobody is asked.
    send
        Hands a mail to the server.
    fault
        No list is made; the mail says that this went wrong.
    progress
        Told how far the list has come.
    """
    try:
        with database_of(folder) as database:
            return _daily(folder, database, now, environ, fetch, send, fault, progress)
    except MailSettingsError as error:
        return DayOutcome(SETTINGS, (), (str(error),))
    except FarmFileError as error:
        return DayOutcome(SETTINGS, (), (first_fault(error),))
    except JournalError as error:
        return _without_database(folder, now, environ, send, error)


def _daily(
    folder: Path,
    database: FarmDatabase,
    now: datetime,
    environ: Mapping[str, str],
    fetch: Fetch | None,
    send: outbox.Send,
    fault: str | None,
    progress: Progress,
) -> DayOutcome:
    read = read_farm_or_last(folder, database, now)
    settings = mail_settings(read.farm, folder)
    password, warnings = mail_password(settings, folder, environ, None)
    on = local_day(now, settings)
    made = ""
    if outbox.claim(database, "morning", on, now):
        try:
            made = _make(folder, database, read, settings, on, now, fetch, fault, progress)
        except BaseException:
            outbox.release(database, "morning", on)
            raise
    outcome = _outcome(outbox.post_due(database, settings, password, now, send), made)
    if outcome.status in (SENT, NOTHING_DUE) and _is_list_wanted(database, settings, on, now):
        outcome = replace(outcome, status=PENDING)
    return replace(outcome, warnings=(*warnings, *outcome.warnings))


def _is_list_wanted(
    database: FarmDatabase, settings: MailSettings, on: date, now: datetime
) -> bool:
    """Whether a day has no list yet, but a mail that says so, and another try is worth it."""
    clock = now.astimezone(ZoneInfo(settings.time_zone)).time()
    return (
        clock < settings.cut_off
        and outbox.is_kept(database, "fault", on)
        and not outbox.is_kept(database, "morning", on)
    )


def _without_database(
    folder: Path,
    now: datetime,
    environ: Mapping[str, str],
    send: outbox.Send,
    error: JournalError,
) -> DayOutcome:
    """Say by mail that farm.db cannot be used, once a day, by what farm.toml alone says."""
    from scheduler.adapters.mail.message import fault_message

    if is_busy(error):
        return DayOutcome(PENDING, (), (str(error),))
    try:
        farm = parse_farm(farm_text(folder))
        settings = mail_settings(farm, folder)
        password, warnings = mail_password(settings, folder, environ, None)
        on = local_day(now, settings)
        if direct.is_told(folder, on):
            return DayOutcome(NOTHING_DUE, ("told by mail already",), (str(error),))
        message = fault_message(
            farm.name,
            settings,
            str(error),
            on,
            (),
            outbox.message_id("fault", on, farm, settings),
            now,
            TO_DO,
        )
        is_sent, lines = direct.send_without_ledger(folder, on, message, settings, password, send)
    except FarmFileError as wrong:
        return DayOutcome(SETTINGS, (), (str(error), first_fault(wrong)))
    except MailSettingsError as wrong:
        return DayOutcome(SETTINGS, (), (str(error), str(wrong)))
    said = (str(error), *warnings, *lines)
    if is_sent:
        return DayOutcome(DIRECT, ("a mail said that farm.db cannot be used",), said)
    return DayOutcome(PENDING, (), said)


def _make(
    folder: Path,
    database: FarmDatabase,
    read: FarmRead,
    settings: MailSettings,
    on: date,
    now: datetime,
    fetch: Fetch | None,
    fault: str | None,
    progress: Progress,
) -> str:
    """Keep the mail of a day in the outbox; what was made of it, in words."""
    notices = list(read.notices)
    if fault is None:
        try:
            notices += fetch_notices(read.farm, database, now, fetch)
            notices += drop_notices(folder, read.farm, now)
            _make_list(database, read.farm, settings, on, now, notices, progress)
            return "list made"
        except Exception as error:
            if isinstance(error, JournalError) and is_busy(error):
                raise
            fault = fault_words(error)
    is_new = _make_fault(database, read.farm, settings, on, now, fault, notices)
    outbox.release(database, "morning", on)
    return f"no list: {fault}" if is_new else f"still no list: {fault}"


def _make_list(
    database: FarmDatabase,
    farm: Farm,
    settings: MailSettings,
    on: date,
    now: datetime,
    notices: Sequence[str],
    progress: Progress,
) -> None:
    """Compute the list, and keep it and its mail in one go."""
    from scheduler.adapters.render.answer_json import answer

    past = outbox.history(database, settings, now)
    told = (*notices, *past.lines, *gap_notices(database, on))
    found, message = composed(database, farm, settings, on, now, told, progress)
    outbox.keep(
        database,
        "morning",
        on,
        message_bytes(message),
        settings.to,
        str(message["Message-ID"]),
        None,
        now,
        told_to=past.mark,
        issued=(found.as_of, answer(found)),
    )


def composed(
    database: FarmDatabase,
    farm: Farm,
    settings: MailSettings,
    on: date,
    now: datetime,
    notices: Sequence[str],
    progress: Progress = quiet,
) -> tuple[Morning, EmailMessage]:
    """The list of now and the mail that carries it; nothing is written."""
    from scheduler import service
    from scheduler.adapters.kept_lessons import kept_lessons
    from scheduler.adapters.mail.message import mail_message

    found = service.morning(
        farm, database, database, now, lists=database, progress=progress,
        former=kept_lessons(database),
    )  # fmt: skip
    news = service.morning_news(farm, database, database, found, database, now)
    name = outbox.message_id("morning", on, farm, settings)
    return found, mail_message(found, news, settings, name, now, tuple(dict.fromkeys(notices)))


def _make_fault(
    database: FarmDatabase,
    farm: Farm,
    settings: MailSettings,
    on: date,
    now: datetime,
    fault: str,
    notices: Sequence[str],
) -> bool:
    """Keep a mail that says what failed; False where that day has one already."""
    from scheduler.adapters.mail.message import fault_message

    if outbox.is_kept(database, "fault", on):
        return False
    past = outbox.history(database, settings, now)
    message = fault_message(
        farm.name,
        settings,
        fault,
        failing_since(database, on),
        still_known(database, farm, now),
        outbox.message_id("fault", on, farm, settings),
        now,
        TO_DO,
        tuple(dict.fromkeys((*notices, *past.lines, *gap_notices(database, on)))),
    )
    return outbox.keep(
        database,
        "fault",
        on,
        message_bytes(message),
        settings.to,
        str(message["Message-ID"]),
        None,
        now,
        told_to=past.mark,
    )


def _outcome(report: outbox.PostReport, made: str) -> DayOutcome:
    """What making and posting came to."""
    lines = (*((made,) if made else ()), *report.lines)
    if report.settings_fault:
        return DayOutcome(SETTINGS, lines, (report.settings_fault,))
    if report.pending:
        return DayOutcome(PENDING, lines or (_waiting_words(report.pending),))
    if report.refused:
        return DayOutcome(REFUSED, lines)
    if report.given_up:
        return DayOutcome(GIVEN_UP, lines)
    if report.sent:
        return DayOutcome(SENT, lines)
    return DayOutcome(NOTHING_DUE, lines or ("nothing due",))


def _waiting_words(n_deliveries: int) -> str:
    """What to say of a run in which nothing could be tried."""
    waits = "1 delivery waits" if n_deliveries == 1 else f"{n_deliveries} deliveries wait"
    return f"nothing due now; {waits} for the next try"


def write_eml(
    folder: Path,
    now: datetime,
    out: Path | None = None,
    progress: Progress = quiet,
) -> DayOutcome:
    """Write the mail of now into a file, and nothing anywhere else; nobody is asked or mailed.

    Parameters
    ----------
    folder
        The farm folder.
    now
        The moment of the list, aware.
    out
        The file, or a folder for it; the farm folder if None.
    progress
        Told how far the list has come.

    Raises
    ------
    WhitethreadError
        Where no list can be made, or the file cannot be written.
    """
    with open_farm_database(folder) as database:
        read = read_farm_or_last(folder, database, now, is_kept=False)
        settings = mail_settings(read.farm, folder)
        on = local_day(now, settings)
        _, message = composed(database, read.farm, settings, on, now, read.notices, progress)
    path = folder if out is None else out
    if path.is_dir():
        path = path / f"morning-{on}.eml"
    try:
        path.write_bytes(message_bytes(message))
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); give --out") from error
    return DayOutcome(WRITTEN, (f"wrote {path}; nothing was sent",))


# ------------------------------------------------------- one minute of the job


def do_due(
    folder: Path,
    tasks: Sequence[str],
    now: datetime,
    fault: str | None,
    *,
    fetch: Fetch | None = None,
    send: outbox.Send = send_message,
) -> DayOutcome:
    """Do what is due for a farm at a moment, in the words of `due.due_tasks`.

    A morning mail asks for weather only where "weather" is due too. `fault` as in `daily_mail`; an
    evening note is left out for it. `fetch` is how weather is asked for, if not from the services
    of the farm file.
    """
    environ = os.environ
    asked = fetch or fetch_weather
    found = []
    if MORNING in tasks:
        used = asked if WEATHER in tasks else None
        found.append(daily_mail(folder, now, environ, fetch=used, send=send, fault=fault))
    elif WEATHER in tasks:
        found.append(weather_asked(folder, now, asked))
    if EVENING in tasks and fault is not None and MORNING not in tasks:
        found.append(DayOutcome(NOTHING_DUE, (), (f"no evening note: {fault}",)))
    elif EVENING in tasks:
        found.append(evening_mail(folder, now, environ, send=send))
    if POST in tasks and not {MORNING, EVENING} & set(tasks):
        found.append(post_waiting(folder, now, environ, send=send))
    return DayOutcome(
        max((each.status for each in found), key=lambda status: EXIT_STATUS[status]),
        tuple(line for each in found for line in each.lines),
        tuple(line for each in found for line in each.warnings),
    )


def weather_asked(folder: Path, now: datetime, fetch: Fetch) -> DayOutcome:
    """Bring the weather of a farm up to date where the farm file consents to it."""
    try:
        with database_of(folder) as database:
            read = read_farm_or_last(folder, database, now)
            failed = fetch_notices(read.farm, database, now, fetch)
    except WhitethreadError as error:
        return DayOutcome(PENDING, (), (fault_words(error),))
    return DayOutcome(PENDING if failed else NOTHING_DUE, failed)


def post_waiting(
    folder: Path,
    now: datetime,
    environ: Mapping[str, str],
    *,
    send: outbox.Send = send_message,
) -> DayOutcome:
    """Try the mails that wait in the outbox and make none."""
    try:
        with database_of(folder) as database:
            settings = mail_settings(farm_at_a_glance(folder, database, now), folder)
            password, warnings = mail_password(settings, folder, environ, None)
            outcome = _outcome(outbox.post_due(database, settings, password, now, send), "")
            return replace(outcome, warnings=(*warnings, *outcome.warnings))
    except (FarmFileError, MailSettingsError) as error:
        return DayOutcome(SETTINGS, (), (fault_words(error),))
    except JournalError as error:
        return DayOutcome(PENDING, (), (str(error),))


# ------------------------------------------------------------------- evenings


def evening_mail(
    folder: Path,
    now: datetime,
    environ: Mapping[str, str],
    *,
    send: outbox.Send = send_message,
    progress: Progress = quiet,
) -> DayOutcome:
    """Send a note if a last good hour falls before tomorrow noon; tomorrow as foreseen now."""
    from scheduler.adapters.mail.evening import evening_lines, evening_message

    try:
        with database_of(folder) as database:
            read = read_farm_or_last(folder, database, now)
            settings = mail_settings(read.farm, folder)
            password, warnings = mail_password(settings, folder, environ, None)
            on = local_day(now, settings)
            made = ""
            if outbox.claim(database, "evening", on, now):
                try:
                    found = foreseen(database, read.farm, settings, now, progress)
                    lines = evening_lines(found, now)
                    if lines:
                        name = outbox.message_id("evening", on, read.farm, settings)
                        message = evening_message(found, lines, settings, name, now)
                        outbox.keep(
                            database,
                            "evening",
                            on,
                            message_bytes(message),
                            settings.to,
                            name,
                            None,
                            now,
                        )
                        made = f"evening note: {len(lines)} with a last good hour before noon"
                finally:
                    outbox.release(database, "evening", on)
            report = outbox.post_due(database, settings, password, now, send)
            outcome = _outcome(report, made)
            return replace(outcome, warnings=(*warnings, *outcome.warnings))
    except FarmFileError as error:
        return DayOutcome(SETTINGS, (), (first_fault(error),))
    except WhitethreadError as error:
        is_passing = isinstance(error, JournalError) and is_busy(error)
        return DayOutcome(PENDING if is_passing else SETTINGS, (), (f"no evening note: {error}",))


def foreseen(
    database: FarmDatabase,
    farm: Farm,
    settings: MailSettings,
    now: datetime,
    progress: Progress = quiet,
) -> Morning:
    """Tomorrow morning's list, with what is known now."""
    from scheduler import service
    from scheduler.adapters.kept_lessons import kept_lessons

    tomorrow = local_day(now, settings) + timedelta(days=1)
    at = datetime.combine(tomorrow, settings.send_at, ZoneInfo(settings.time_zone)).astimezone(UTC)
    known = KnownBy(database, now)
    return service.morning(farm, known, known, at, progress=progress, former=kept_lessons(database))


class KnownBy:
    """A database that knows nothing after a moment, whatever moment it is asked for."""

    def __init__(self, database: FarmDatabase, known_at: datetime) -> None:
        self._database = database
        self._known_at = known_at

    def events(self, known_at: datetime) -> tuple[Event, ...]:
        """As of the database."""
        return self._database.events(min(known_at, self._known_at))

    def weather_values(
        self, known_at: datetime, start_at: datetime, end_at: datetime
    ) -> Sequence[WeatherValue]:
        """As of the database."""
        return self._database.weather_values(min(known_at, self._known_at), start_at, end_at)

    def __getattr__(self, name: str) -> Any:
        method = getattr(self._database, name)

        def known(known_at: datetime, *more: Any, **options: Any) -> Any:
            return method(min(known_at, self._known_at), *more, **options)

        return known


# --------------------------------------------------------------------- reading


def database_of(folder: Path) -> FarmDatabase:
    """The farm's database, started where only farm.toml is there."""
    is_new = (folder / "farm.toml").is_file() and not (folder / FILE_NAME).exists()
    return open_farm_database(folder, create=is_new)


def read_farm_or_last(
    folder: Path, database: FarmDatabase, now: datetime, *, is_kept: bool = True
) -> FarmRead:
    """The farm as its file says; where that is wrong, as it was last read without a fault.

    With `is_kept` a file without a fault is kept as the newest version.

    Raises
    ------
    FarmFileError
        If neither can be read.
    """
    from scheduler.service import crop_names

    crops = crop_names()
    try:
        text = farm_text(folder)
        farm = parse_farm(text, crops)
    except FarmFileError as error:
        last = database.farm_text(now)
        if last is None:
            raise
        try:
            farm = parse_farm(last, crops)
        except FarmFileError:
            raise error from None
        notice = (
            f"farm.toml cannot be used as it stands: {first_fault(error)}. Until it is mended its "
            "last good version holds."
        )
        return FarmRead(farm, (notice,))
    if is_kept:
        database.write_farm_version(text, now)
    return FarmRead(farm)


def seen(folder: Path, now: datetime) -> tuple[MailTimes, DoneSoFar]:
    """When the mails of a farm are due, and what its ledger says; nothing, if it cannot be used.

    Raises
    ------
    WhitethreadError
        If settings cannot be read, or another program holds the ledger.
    """
    try:
        with database_of(folder) as database:
            farm = farm_at_a_glance(folder, database, now)
            settings = mail_settings(farm, folder)
            done = done_so_far(database, local_day(now, settings), now)
    except JournalError as error:
        if is_busy(error):
            raise
        farm, done = parse_farm(farm_text(folder)), DoneSoFar()  # the mail of today will say so
        settings = mail_settings(farm, folder)
    return mail_times(farm, settings), done


def done_so_far(database: FarmDatabase, today: date, now: datetime) -> DoneSoFar:
    """What the ledger of a farm says."""
    newest = database.rows("SELECT max(kept_at) FROM outbox")[0][0]
    return DoneSoFar(
        morning_on=today if outbox.is_kept(database, "morning", today) else None,
        evening_on=today if outbox.is_kept(database, "evening", today) else None,
        next_try_at=now if outbox.due(database, now) else None,
        last_written_at=None if newest is None else datetime.fromisoformat(newest),
    )


def mail_times(farm: Farm, settings: MailSettings) -> MailTimes:
    """When the mails of a farm are due."""
    return MailTimes(
        f"{farm.name} {farm.seed}",
        ZoneInfo(settings.time_zone),
        settings.send_at,
        settings.cut_off,
        settings.evening_note,
    )


def farm_at_a_glance(folder: Path, database: FarmDatabase, now: datetime) -> Farm:
    """The farm without a check of its crops, which would load the tables each minute."""
    try:
        return parse_farm(farm_text(folder))
    except FarmFileError:
        last = database.farm_text(now)
        if last is None:
            raise
        return parse_farm(last)


def local_day(now: datetime, settings: MailSettings) -> date:
    """The day of the farm's clock."""
    return now.astimezone(ZoneInfo(settings.time_zone)).date()


# --------------------------------------------------------------- notices, words


def fetch_notices(
    farm: Farm, database: FarmDatabase, now: datetime, fetch: Fetch | None
) -> tuple[str, ...]:
    """Bring the weather up to date where that is allowed; a failure is a notice, not an end."""
    if fetch is None or farm.weather.get("consent") is not True:
        return ()
    try:
        found = fetch(farm, database, now)
    except Exception as error:
        if isinstance(error, JournalError):
            raise
        return (f"Weather could not be asked for: {fault_words(error)}.",)
    if found.ok:
        return ()
    said = next((note for note in found.notes if "could" in note), "nobody answered")
    return (f"No new weather could be had: {said.rstrip('.')}.",)


def fetch_weather(farm: Farm, database: FarmDatabase, now: datetime) -> Update:
    """Ask the services of the farm file, with copies in the user's cache."""
    from platformdirs import user_cache_path

    from scheduler.adapters.weather.http import Fetcher
    from scheduler.adapters.weather.update import update_weather

    cache = user_cache_path("whitethread", appauthor=False)
    with Fetcher(cache / "http", str(farm.weather.get("contact", ""))) as fetcher:
        return update_weather(farm, database, fetcher, cache / "stations", now, quiet)


def drop_notices(folder: Path, farm: Farm, now: datetime) -> tuple[str, ...]:
    """Take what lies in the drop folder; what is wrong with it is told."""
    from scheduler.service import crop_names

    if not (folder / "drop").is_dir():
        return ()
    report = read_drop_folder(
        folder,
        now,
        farm.place.time_zone,
        [bed.name for bed in farm.beds],
        [tool.name for tool in farm.tools],
        crop_names(),
        setups={t.name: [setup.name for setup in t.setups] for t in farm.tools if t.setups},
        gauge_read_at=gauge_reading_time(farm.weather),
    )
    return tuple(f"drop: {fault}" for fault in report.faults)


def gap_notices(database: FarmDatabase, on: date) -> tuple[str, ...]:
    """Days before `on` on which no mail was even made, so that nothing else tells of them."""
    lasts = [outbox.last_day(database, kind, on) for kind in ("morning", "fault")]
    last = max((day for day in lasts if day is not None), default=None)
    if last is None:
        return ()
    told = {
        row[0]
        for row in database.rows(
            "SELECT DISTINCT day FROM delivery_log WHERE kind IN ('morning', 'fault')"
        )
    }
    days = [last + timedelta(days=n) for n in range(1, (on - last).days)]
    days = [day for day in days if day.isoformat() not in told]
    if not days:
        return ()
    if len(days) > LONGEST_GAP_D:
        return (f"No mail was made from {dated_words(days[0])} to {dated_words(days[-1])}.",)
    return (f"No mail was made on {', '.join(map(dated_words, days))}.",)


def failing_since(database: FarmDatabase, on: date) -> date:
    """The first day in a row, up to `on`, that had a mail of a fault and no list."""
    first = on
    while True:
        before = first - timedelta(days=1)
        if outbox.is_kept(database, "morning", before):
            return first
        if not outbox.is_kept(database, "fault", before):
            return first
        first = before


def still_known(database: FarmDatabase, farm: Farm, now: datetime) -> tuple[str, ...]:
    """What the tool still knows without a list, each in a sentence; nothing here may fail."""
    lines: list[str] = []
    for tell in (_last_list_words, _weather_words, _journal_words):
        try:
            lines += tell(database, farm, now)
        except Exception as error:
            lines.append(f"({fault_words(error)})")
    return tuple(lines)


def _last_list_words(database: FarmDatabase, farm: Farm, now: datetime) -> list[str]:
    issued = database.latest_list(now)
    if issued is None:
        return ["No list was made before."]
    at = datetime.fromisoformat(str(issued["as_of"]))
    lines = sorted(
        (line for line in issued["beds"] if line["verdict"] == "go" and line["action"]),
        key=lambda line: (line["rank"] is None, line["rank"] or 0),
    )
    when = moment_words(at, farm)
    if not lines:
        return [f"The last list, of {when}, had nothing to do."]
    told = [
        f"{number} {line['bed']}{'' if line['part'] is None else '/' + line['part']} "
        f"{line['action']['tool']}"
        for number, line in enumerate(lines[:FIRST_LINES], start=1)
    ]
    more = f", and {len(lines) - FIRST_LINES} more" if len(lines) > FIRST_LINES else ""
    return [f"The last list, of {when}, had: {', '.join(told)}{more}."]


def _weather_words(database: FarmDatabase, farm: Farm, now: datetime) -> list[str]:
    columns = database.weather_columns(now, now - timedelta(days=120), now)
    ends = [
        column.ends_s[~column.is_suspect].max()
        for column in columns.values()
        if (~column.is_suspect).any()
    ]
    if ends:
        last = datetime.fromtimestamp(int(max(ends)), UTC)
        age = age_words((now - last) / timedelta(hours=1))
        lines = [f"Weather is on record up to {moment_words(last, farm)}, {age}."]
    else:
        lines = ["No weather of the last months is on record."]
    forecast = database.latest_forecast(now)
    if forecast is not None:
        issued = moment_words(forecast.issued_at, farm)
        lines.append(f"The newest forecast, of {forecast.source}, is of {issued}.")
    return lines


def _journal_words(database: FarmDatabase, farm: Farm, now: datetime) -> list[str]:
    events = database.events(now)
    if not events:
        return ["The journal holds no entry."]
    last = moment_words(max(event.recorded_at for event in events), farm)
    entries = "1 entry" if len(events) == 1 else f"{len(events)} entries"
    return [f"The journal holds {entries}, the last written {last}."]


def moment_words(moment: datetime, farm: Farm) -> str:
    """A moment of the farm's clock, as "Tue 14 May 05:30"."""
    local = moment.astimezone(ZoneInfo(farm.place.time_zone))
    return f"{dated_words(local.date())} {local:%H:%M}"


def first_fault(error: FarmFileError) -> str:
    """The first fault of a farm file, and how many more there are."""
    more = len(error.faults) - 1
    if more < 1:
        return error.faults[0]
    return f"{error.faults[0]} (and {more} more: `whitethread check` names all)"


def fault_words(error: BaseException) -> str:
    """What failed, in one line."""
    said = " ".join(str(error).split())
    if isinstance(error, FarmFileError):
        return first_fault(error)
    if isinstance(error, WhitethreadError):
        return said
    return f"a fault of the program ({type(error).__name__}: {said})"


def is_busy(error: JournalError) -> bool:
    """Whether another program only held the database for a while."""
    return "another program is writing" in str(error)
