"""First steps: the demo, a new farm, and the check of one."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.cli.app import (
    PAGE_WIDTH,
    FarmOption,
    WidthOption,
    app,
    counted,
    crop_names,
    farm_folder,
    now_utc,
    progress_shown,
    told,
)

if TYPE_CHECKING:
    from scheduler.adapters.farmfile import Answers


@app.command()
def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="New or empty folder for the demo farm.")
    ] = Path("whitethread-demo"),
    width: WidthOption = None,
) -> None:
    """Write an invented farm and print its list of a morning.

    The farm, its journal and its forecasts are invented; the weather is a real station's of 2013.
    """
    from scheduler.adapters.demo import DEMO_AS_OF, write_demo_farm
    from scheduler.adapters.journal.moments import zone_of
    from scheduler.cli.pages import morning_page

    with progress_shown(is_heavy=False) as progress:
        written = write_demo_farm(folder, progress)
    found = morning_page(written, DEMO_AS_OF, is_json=False, width=width)
    zone = zone_of(found.farm.place.time_zone)
    first, later = (
        f"'{moment.astimezone(zone):%Y-%m-%d %H:%M}'"
        for moment in (DEMO_AS_OF, DEMO_AS_OF + timedelta(days=7))
    )
    typer.echo()
    typer.echo(f"This is a demo: an invented farm with the real weather of 2013, in {folder}. Try:")
    typer.echo(f"  whitethread bed {found.beds[0].bed} --farm {folder} --as-of {first}")
    typer.echo(f"  whitethread today --farm {folder} --as-of {later}")


@app.command()
def init(
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="Folder for the farm; made if it is missing.")
    ] = Path(),
    is_all_default: Annotated[
        bool, typer.Option("--yes", help="Take every default and ask nothing.")
    ] = False,
) -> None:
    """Start a farm: eight questions, whether weather may be asked for, a working folder."""
    from scheduler.adapters.farmfile import (
        INIT_QUESTIONS,
        Answers,
        answer_fault,
        farm_text,
        require_free_folder,
        write_new_farm,
    )
    from scheduler.adapters.journal import open_farm_database

    require_free_folder(folder)
    answers: dict[str, str] = {}
    contact: str | None = None
    if not is_all_default:
        for question in INIT_QUESTIONS:
            answers[question.key] = asked_until_right(
                question.text,
                question.default(answers.get("units", "us")),
                partial(answer_fault, question.key),
            )
        contact = contact_of_consent(Answers(**answers))
    path = write_new_farm(folder, Answers(**answers), contact)
    with open_farm_database(folder, create=True) as database:
        database.write_farm_version(farm_text(folder), now_utc())
    typer.echo(f"wrote {path} and farm.db: change farm.toml to your beds, soils and tools")
    if contact is not None:
        typer.echo("next: whitethread check, then whitethread weather update")
        return
    typer.echo("weather is asked of nobody; consent = true in [weather] of farm.toml changes that")
    typer.echo(
        "next: whitethread check, then whitethread weather import FILE, or whitethread log rain "
        "and log temp"
    )


def asked_until_right(text: str, default: str, fault_of: Callable[[str], str | None]) -> str:
    """The answer to a question, asked again with what is wrong until nothing is."""
    while True:
        said = str(typer.prompt(text, default=default))
        fault = fault_of(said)
        if fault is None:
            return said
        told(fault)


def contact_of_consent(answers: Answers) -> str | None:
    """The address that goes with the grower's consent to ask for weather, None without consent."""
    from scheduler.adapters.farmfile import contact_fault, new_farm_text, parse_farm
    from scheduler.adapters.weather.sources import asked_keys, what_is_sent

    place = parse_farm(new_farm_text(answers)).place
    typer.echo()
    typer.echo("Weather can be asked for from outside, each time you run `whitethread weather")
    typer.echo("update`. Then this goes out, and nothing before you say yes:")
    for sentence in what_is_sent(place, asked_keys(place, {})):
        for line in textwrap.wrap(sentence, PAGE_WIDTH - 2):
            typer.echo(f"  {line}")
    typer.echo("Without it the farm works with your own gauge, your notes and files you import.")

    def word_fault(said: str) -> str | None:
        is_word = said.strip().casefold() in ("yes", "y", "no", "n", "")
        return None if is_word else f"found {said!r}; allowed: yes, no"

    said = asked_until_right("Ask for weather from outside (yes or no)", "no", word_fault)
    if said.strip().casefold() not in ("yes", "y"):
        return None
    contact = asked_until_right(
        "Your mail address, for the services to write to (empty: do not ask after all)",
        "",
        lambda said: contact_fault(said) if said.strip() else None,
    )
    return contact.strip() or None


@app.command()
def check(farm: FarmOption = None) -> None:
    """Name every fault of the farm file at once."""
    from scheduler.adapters.farmfile import check_farm
    from scheduler.adapters.journal import open_farm_database
    from scheduler.adapters.journal.database import FILE_NAME

    folder = farm_folder(farm)
    found = check_farm(folder, crop_names())
    for warning in found.warnings:
        typer.echo(f"warning: {warning}")
    if found.farm is None:
        for fault in found.faults:
            told(fault)
        raise typer.Exit(2)
    described = found.farm
    if described.mail:
        from scheduler.adapters.mail import mail_settings

        mail_settings(described, folder)
    typer.echo(
        f"farm.toml: no fault; {counted(len(described.beds), 'bed')}, "
        f"{counted(len(described.soils), 'soil')}, {counted(len(described.tools), 'tool')}"
    )
    if not (folder / FILE_NAME).exists():
        typer.echo("farm.db: none yet; the first entry, import or list starts it")
        return
    with open_farm_database(folder) as database:
        n_entries = len(database.events(now_utc()))
    stand = "1 entry stands" if n_entries == 1 else f"{n_entries} entries stand"
    typer.echo(f"farm.db: {stand}")
