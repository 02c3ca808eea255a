"""`whatif`: the list if it rains, if it rained, after a pass, with other hours."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from scheduler.cli.app import (
    AsOfOption,
    FarmOption,
    JsonOption,
    WidthOption,
    app,
    farm_as_known,
    farm_database,
    farm_folder,
    farm_names,
    now_utc,
    page_width,
    past_moment,
    progress_shown,
    setup_names,
)
from scheduler.cli.worded import WordedCommand
from scheduler.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from scheduler.adapters.journal import FarmDatabase
    from scheduler.adapters.what_if_words import Asked
    from scheduler.planning.whatif import Changes
    from scheduler.records import Farm, Forecast
    from scheduler.service.situation import Kept

GOES_ON_FOR = timedelta(hours=3)  # the list printed last is gone on from, if nothing came since
MOST_CUT_FRAC = 0.25  # of the hours of a rain that may lie after that list


class WhatIfCommand(WordedCommand):
    """Options take words without quotes, as --pass B4 tine weeder tomorrow."""

    worded = ("--rain", "--at", "--over", "--fell", "--when", "--water", "--pass", "--hours")
    repeated = ("--water", "--pass")


def words_option(name: str, help_text: str) -> Any:
    """An option that takes words."""
    return typer.Option(name, metavar="WORDS", help=help_text)


@app.command(cls=WhatIfCommand)
def whatif(
    rain: Annotated[
        str | None, words_option("--rain", "Rain to come, as 15 mm; with --at and --over.")
    ] = None,
    at: Annotated[
        str | None,
        words_option("--at", "When it begins: tonight 20:00, tomorrow 6:00; else the next hour."),
    ] = None,
    over: Annotated[str | None, words_option("--over", "How long it lasts; 3 h if unsaid.")] = None,
    fell: Annotated[
        str | None, words_option("--fell", "Rain that fell and is not in the journal, as 14 mm.")
    ] = None,
    when: Annotated[
        str | None, words_option("--when", "When that was: last night, yesterday 18:00.")
    ] = None,
    is_dry: Annotated[bool, typer.Option("--no-rain", help="No rain in all hours ahead.")] = False,
    water: Annotated[
        list[str] | None,
        words_option("--water", "Water a bed: B4 8 mm; now, or as B4 8 mm tomorrow 6:00."),
    ] = None,
    passes: Annotated[
        list[str] | None,
        words_option("--pass", "A pass: B4 tine weeder now, or tomorrow 10:00, or yesterday."),
    ] = None,
    hours: Annotated[str | None, words_option("--hours", "Hours to work today, as 5.")] = None,
    is_skipped: Annotated[
        bool, typer.Option("--skip-today", help="Nothing is done today: what that loses.")
    ] = False,
    farm: FarmOption = None,
    as_of: AsOfOption = None,
    is_json: JsonOption = False,
    width: WidthOption = None,
) -> None:
    """Show what changes if it rains, if it rained, after a pass.

    Only what is another is told, beside the list as it stands. Options go together, and --water
    and --pass as often as wanted; their words need no quotes. Without any it asks how much fell
    and how many hours you have. Nothing is ever written.
    """
    from platformdirs import user_cache_path

    from scheduler.adapters.kept import kept_path, read_kept, write_kept
    from scheduler.adapters.kept_lessons import kept_lessons
    from scheduler.adapters.what_if_words import Asked, Names, asked_changes

    folder = farm_folder(farm)
    moment = None if as_of is None else past_moment(folder, as_of)
    asked = Asked(
        rain, at, over, fell, when, tuple(water or ()), tuple(passes or ()), hours, is_dry,
        is_skipped,
    )  # fmt: skip
    with farm_database(folder) as database:
        described = farm_as_known(folder, database, moment)
        path = kept_path(user_cache_path("whitethread", appauthor=False), folder)
        kept = read_kept(path)
        said_at = moment or now_utc()
        now = said_at if moment else moment_of_list(kept, database, said_at)
        if asked.is_empty:
            asked = asked_after_storm(described, now)
        names = Names(*farm_names(described), setup_names(described))
        changes, to_log = asked_changes(asked, described, names, said_at)
        if now != said_at:
            of_list = changes_at_list(
                lambda as_if: asked_changes(asked, described, names, as_if)[0], now, said_at
            )
            now, changes = (said_at, changes) if of_list is None else (now, of_list)
        with progress_shown() as progress:
            from scheduler import service

            found = service.what_if(
                described,
                database,
                database,
                now,
                changes,
                lists=database,
                kept=kept,
                keep=lambda fresh: write_kept(path, fresh),
                progress=progress,
                former=kept_lessons(database),
            )
    if is_json:
        from scheduler.adapters.render.whatif_json import whatif_json

        sys.stdout.write(whatif_json(found, to_log))
    else:
        from scheduler.adapters.render.whatif_text import whatif_text

        sys.stdout.write(whatif_text(found, page_width(width), None, to_log))


def moment_of_list(kept: Kept | None, database: FarmDatabase, now: datetime) -> datetime:
    """The moment of the list printed last, if it is of the last hours and nothing came since.

    Else now. What came is an entry, a reading or a forecast that the list did not know.
    """
    if kept is None:
        return now
    then = kept.basis.now
    zone = ZoneInfo(kept.basis.farm.place.time_zone)
    is_of_today = then.astimezone(zone).date() == now.astimezone(zone).date()
    if not timedelta(0) <= now - then <= GOES_ON_FOR or not is_of_today:
        return now
    is_same = (
        database.events(now) == database.events(then)
        and issue_of(database.latest_forecast(now)) == issue_of(database.latest_forecast(then))
        and not any(
            value.known_at > then
            for value in database.weather_values(now, then - timedelta(days=10), now)
        )
    )
    return then if is_same else now


def changes_at_list(
    asked: Callable[[datetime], Changes], then: datetime, now: datetime
) -> Changes | None:
    """What words said now ask of the list made then; None where they tell of the time since.

    What is now is then; moments ahead are those meant by the clock of now. Rain whose span ends
    after the list ends with it, if that cuts off little of the span.
    """
    by_now = asked(now)
    for event in (*by_now.logged, *by_now.acts):
        begin = end = event.happened_at
        if event.kind == "rain":
            begin, end = (
                datetime.fromisoformat(str(event.data[key])) for key in ("start_at", "end_at")
            )
        if then <= begin < now or end - then > MOST_CUT_FRAC * (end - begin) > timedelta(0):
            return None
    try:
        by_list = asked(then)
    except UsageError:  # a reading of the time since
        return None
    acts = zip(by_now.acts, by_list.acts, strict=True)
    return replace(
        by_now,
        logged=by_list.logged,
        acts=tuple(same if own.happened_at == now else own for own, same in acts),
    )


def issue_of(forecast: Forecast | None) -> tuple[str, datetime, datetime] | None:
    """What tells one forecast from another."""
    if forecast is None:
        return None
    return forecast.source, forecast.issued_at, forecast.known_at


def asked_after_storm(described: Farm, now: datetime) -> Asked:
    """The two things that only the grower knows after a storm, asked on the terminal.

    How much the own gauge caught: a station may be miles away, and one storm differs from field to
    field. And how many hours there are: whether the soil can be worked the list says itself, from
    the rain; a day without time is told by 0.
    """
    from scheduler.adapters.render.phrases import hours_words
    from scheduler.adapters.what_if_words import Asked
    from scheduler.planning.hours import hours_left

    unit = "0.6 in" if described.units == "us" else "14 mm"
    usual = hours_left(described.work, now, described.place.time_zone)
    try:
        fell = typer.prompt(
            f"How much rain fell that is not logged, and when, as {unit} last night? Enter: none",
            default="", show_default=False, err=True,
        )  # fmt: skip
        hours = typer.prompt(
            f"How many hours can you work today, 0 for none? Enter: {hours_words(usual)}",
            default="", show_default=False, err=True,
        )  # fmt: skip
    except typer.Abort as error:
        raise UsageError(
            "whatif: nothing is asked; say what is another, as --rain 15 mm --at tonight 20:00, "
            "--fell 14 mm --when last night, --pass B4 tine weeder now, --hours 5"
        ) from error
    said, span = fell.strip(), hours.strip()
    is_none = said.casefold() in ("", "0", "no", "none")
    return Asked(
        fell=None if is_none else said,
        hours=span if span not in ("", "0") else None,
        is_skipped=span == "0",
    )
