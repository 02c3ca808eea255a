"""`compare`: a past season under another set-up."""

from __future__ import annotations

import sys
from typing import Annotated, Any

import typer

from scheduler.cli.app import (
    AsOfOption,
    FarmOption,
    JsonOption,
    WidthOption,
    app,
    crop_names,
    farm_as_known,
    farm_database,
    farm_folder,
    now_utc,
    page_width,
    past_moment,
    progress_shown,
)
from scheduler.cli.worded import WordedCommand
from scheduler.errors import UsageError


class CompareCommand(WordedCommand):
    """Its options take words without quotes."""

    worded = ("--rows", "--spacing", "--tool", "--price", "--without", "--hours", "--stale")
    repeated = ("--tool", "--without", "--stale")


def words_option(name: str, metavar: str, help_text: str) -> Any:
    """An option that takes words."""
    return typer.Option(name, metavar=metavar, help=help_text)


@app.command(cls=CompareCommand)
def compare(
    rows: Annotated[
        str | None,
        words_option("--rows", "CROP N", "A crop in N rows, as carrot 2; with --spacing."),
    ] = None,
    spacing: Annotated[
        str | None, words_option("--spacing", "LENGTH", "From row to row, as 15 in.")
    ] = None,
    tools: Annotated[
        list[str] | None,
        words_option(
            "--tool", "KIND", "A tool you do not have: its kind, or NAME=KIND; with --price."
        ),
    ] = None,
    price: Annotated[
        str | None, words_option("--price", "AMOUNT", "What the change costs once, as 1800.")
    ] = None,
    without: Annotated[
        list[str] | None, words_option("--without", "TOOL", "A tool of yours left out.")
    ] = None,
    hours: Annotated[
        str | None,
        words_option("--hours", "HOURS", "Hours a week for tools more or fewer, as +2 or -1."),
    ] = None,
    stale: Annotated[
        list[str] | None,
        words_option("--stale", "CROP", "Three weeks of stale bed before a crop."),
    ] = None,
    year: Annotated[
        int | None,
        typer.Option("--year", min=1900, max=2200, help="Season; the last one if none is given."),
    ] = None,
    n_truths: Annotated[
        int | None,
        typer.Option(
            "--truths", min=1, max=200, help="Hidden truths to play it against; 8 if unsaid."
        ),
    ] = None,
    by: Annotated[
        str,
        typer.Option("--by", metavar="RULE", help="Who chooses passes both ways: eyes, or list."),
    ] = "eyes",
    farm: FarmOption = None,
    as_of: AsOfOption = None,
    is_json: JsonOption = False,
    width: WidthOption = None,
) -> None:
    """Play a past season under another set-up: does it pay?

    Other rows, a tool more or less, other hours, a stale bed; several go together. Passes are
    chosen by the same rule both ways. It takes half a minute, by the list two; nothing is written.
    """
    from scheduler.adapters.compare_words import AskedSetUp, asked_set_up
    from scheduler.adapters.render.compare_json import compare_json
    from scheduler.adapters.render.compare_text import compare_text
    from scheduler.adapters.render.phrases import grower_text

    folder = farm_folder(farm)
    moment = None if as_of is None else past_moment(folder, as_of)
    asked = AskedSetUp(
        rows, spacing, tuple(tools or ()), price, tuple(without or ()), hours, tuple(stale or ())
    )
    with farm_database(folder) as database:
        described = farm_as_known(folder, database, moment)
        change = asked_set_up(asked, described, crop_names())
        with progress_shown() as progress:
            from scheduler.service.compare import N_TRUTHS
            from scheduler.service.compare import compare as compare_both

            try:
                found = compare_both(
                    described,
                    database,
                    database,
                    moment or now_utc(),
                    change,
                    year=year,
                    n_truths=n_truths or N_TRUTHS,
                    by=by,
                    progress=progress,
                )
            except UsageError as error:  # in the grower's own units
                raise UsageError(grower_text(str(error), described.units)) from error
    sys.stdout.write(compare_json(found) if is_json else compare_text(found, page_width(width)))
