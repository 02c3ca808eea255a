"""The season read back: what it cost, what was missed and why, and how good the list was."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

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
    now_utc,
    page_width,
    past_moment,
    progress_shown,
    told,
)
from scheduler.errors import UsageError

PAGE_ENDS = (".html", ".htm")
FIRST_YEAR = 1900


@app.command()
def review(
    year: Annotated[
        str | None,
        typer.Argument(
            metavar="[YEAR]", help="Year of the season; the last with an entry if none is given."
        ),
    ] = None,
    farm: FarmOption = None,
    as_of: AsOfOption = None,
    html: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Write it as one page, to look at or print."),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="DIR", help="Write its tables as CSV into a folder."),
    ] = None,
    is_json: JsonOption = False,
    width: WidthOption = None,
) -> None:
    """Read a season back: what was missed, why, what it cost, how good the list was.

    With the weather that came and the journal as kept. The page of --html needs no network and no
    program but a browser.
    """
    from scheduler.adapters.meanwhile import replays_meanwhile
    from scheduler.adapters.render.review_json import review_json
    from scheduler.adapters.render.review_text import review_text
    from scheduler.adapters.review_csv import require_free_folder, write_review_csv

    if html is not None:
        require_page(html)
    if csv is not None:
        require_free_folder(csv)
    folder = farm_folder(farm)
    moment = None if as_of is None else past_moment(folder, as_of)
    now = now_utc() if moment is None else moment
    asked = None if year is None else year_said(year, now.year)
    with farm_database(folder) as database:
        described = farm_as_known(folder, database, moment)
        with progress_shown() as progress, replays_meanwhile() as begin:
            from scheduler.service.season_review import season_review

            found = season_review(
                described, database, database, database, now, asked, progress=progress, begin=begin
            )
    sys.stdout.write(review_json(found) if is_json else review_text(found, page_width(width)))
    written: list[Path] = []
    if html is not None:
        from scheduler.adapters.render.review_html import review_html

        written.append(page_written(html, review_html(found)))
    if csv is not None:
        written += write_review_csv(found, csv)
    for path in written:
        told(f"wrote {path}")


def year_said(text: str, this_year: int) -> int:
    """The year a grower named, not after this one.

    Raises
    ------
    UsageError
        If the text is no such year.
    """
    said = text.strip()
    if said.isascii() and said.isdigit() and FIRST_YEAR <= int(said[:5]) <= this_year:
        return int(said)
    raise UsageError(
        f"review: found {text!r}; allowed is a year from {FIRST_YEAR} to {this_year}, as "
        f"{this_year - 1}"
    )


def require_page(path: Path) -> None:
    """Refuse a name that is no page, so that no other file is written over.

    Raises
    ------
    UsageError
        If the name does not end as a page's, or its folder is missing.
    """
    if path.suffix.casefold() not in PAGE_ENDS:
        raise UsageError(f"--html: found {path}; allowed is a name that ends in .html")
    if path.is_dir() or not path.absolute().parent.is_dir():
        raise UsageError(f"--html: {path} cannot be written; its folder has to be there already")


def page_written(path: Path, text: str) -> Path:
    """Write a whole page, or none; one of that name is written over."""
    partial = path.with_name(f".{path.name}.part")
    try:
        partial.write_text(text, encoding="utf-8")
        partial.replace(path)
    except OSError as error:
        raise UsageError(
            f"--html: {path} cannot be written ({error.strerror}); choose another name"
        ) from error
    finally:
        partial.unlink(missing_ok=True)
    return path
