"""The morning mail, once or for good, and the week as a calendar file."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from scheduler.cli.app import (
    FarmOption,
    app,
    farm_database,
    farm_folder,
    now_utc,
    progress_shown,
    told,
)
from scheduler.errors import UsageError, WhitethreadError

if TYPE_CHECKING:
    pass


FoldersArgument = Annotated[
    list[Path] | None,
    typer.Argument(metavar="[FARM...]", help="Farm folders; that of --farm if none is named."),
]
UnitsOption = Annotated[
    Path | None,
    typer.Option("--write-units", metavar="DIR", help="Write unit files for systemd, do no more."),
]


@app.command()
def morning(
    folders: FoldersArgument = None,
    farm: FarmOption = None,
    is_dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Write the mail as an .eml file, send nothing.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Where --dry-run writes: a file or a folder."),
    ] = None,
    units: UnitsOption = None,
) -> None:
    """Make and send today's mail once, for cron or a timer.

    Once a day, whatever calls it how often. The status is 0 where it is sent or nothing is due, 75
    where another try later is worth it, 78 where settings must be changed. Of several farms none
    stops the others, and 75 of one outranks 78 of another, so that it gets its next try.
    """
    from scheduler.adapters.mail import daily
    from scheduler.adapters.mail.outcome import EXIT_STATUS, PENDING, SETTINGS, DayOutcome

    chosen = farm_folders(folders, farm)
    if units is not None:
        write_unit_files(units, chosen, is_daily=True)
        return
    if out is not None and not is_dry_run:
        raise UsageError("--out: says where --dry-run writes; give both or neither")
    if out is not None and len(chosen) > 1 and not out.is_dir():
        raise UsageError(f"--out: found {out} for {len(chosen)} farms; name a folder that is there")
    now = now_utc()
    statuses = []
    for folder in chosen:
        try:
            with progress_shown(is_heavy=sys.stderr.isatty()) as progress:
                if is_dry_run:
                    found = daily.write_eml(folder, now, out, progress)
                else:
                    found = daily.daily_mail(
                        folder, now, os.environ, fetch=daily.fetch_weather, progress=progress
                    )
        except WhitethreadError as error:
            found = DayOutcome(SETTINGS, (), (daily.fault_words(error),))
        except Exception as error:
            traceback.print_exc()
            found = DayOutcome(PENDING, (), (daily.fault_words(error),))
        for line in found.lines:
            typer.echo(f"{folder}: {line}")
        for warning in found.warnings:
            told(f"{folder}: {warning}")
        statuses.append(EXIT_STATUS[found.status])
    again = EXIT_STATUS[PENDING]
    if any(statuses):
        raise typer.Exit(again if again in statuses else max(statuses))


@app.command("every-morning")
def every_morning(
    folders: FoldersArgument = None, farm: FarmOption = None, units: UnitsOption = None
) -> None:
    """Send the morning mail day by day until stopped.

    Each minute it asks what is due by farm.toml and the ledger in farm.db, so that it may sleep,
    stop and start again at any time. It ends on SIGTERM or Ctrl-C; the status is 78 where no farm
    can be mailed for.
    """
    import threading

    from scheduler.adapters import every_morning as job
    from scheduler.adapters.mail import daily
    from scheduler.adapters.mail.outcome import EXIT_STATUS, SETTINGS

    chosen = farm_folders(folders, farm)
    if units is not None:
        write_unit_files(units, chosen, is_daily=False)
        return
    work = job.ChildWork(daily.do_due)
    one_at_a_time = threading.Lock()
    watches = [
        job.FarmWatch(folder, daily.seen, work, typer.echo, one_at_a_time) for folder in chosen
    ]
    n_able = 0
    for watch in watches:
        line, is_able = watch.first_words(now_utc())
        typer.echo(f"{watch.folder}: {line}", err=not is_able)
        n_able += is_able
    if not n_able:
        raise typer.Exit(EXIT_STATUS[SETTINGS])
    job.run(watches, now_utc, typer.echo, work)


@app.command()
def calendar(
    farm: FarmOption = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="The file; week.ics in the farm folder if none."
        ),
    ] = None,
) -> None:
    """Write the week as a calendar file (.ics).

    Today's work, ends of waits, last good hours and plans. Written again, an entry keeps its name,
    and what is gone is called off, so that a calendar that reads the file follows it.
    """
    from scheduler.adapters.calendar import calendar_ics
    from scheduler.adapters.mail import daily

    folder = farm_folder(farm)
    path = folder / "week.ics" if out is None else out
    now = now_utc()
    try:
        previous = path.read_bytes() if path.exists() else None
        with farm_database(folder) as database, progress_shown() as progress:
            from scheduler import service
            from scheduler.adapters.kept_lessons import kept_lessons

            read = daily.read_farm_or_last(folder, database, now)
            found = service.morning(
                read.farm, database, database, now, lists=database, progress=progress,
                former=kept_lessons(database),
            )  # fmt: skip
        written = path.with_name(f"{path.name}.new")
        written.write_bytes(calendar_ics(found, previous))
        written.replace(path)
    except UsageError as error:
        raise UsageError(f"{path}: {error}") from error
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); give --out") from error
    for notice in read.notices:
        told(notice)
    typer.echo(f"wrote {path}")


def farm_folders(folders: Sequence[Path] | None, farm: Path | None) -> list[Path]:
    """The farm folders of a command that takes several, each once, as absolute paths."""
    if folders and farm is not None:
        raise UsageError("--farm: found farm folders beside it; name all of them without --farm")
    named = folders or [farm_folder(farm)]
    return list(dict.fromkeys(folder.absolute() for folder in named))


def write_unit_files(folder: Path, farms: Sequence[Path], *, is_daily: bool) -> None:
    """Write the units of `morning` or of `every-morning`, and say how to start them."""
    import shlex

    from scheduler.adapters.farmfile import read_farm
    from scheduler.adapters.mail import mail_settings
    from scheduler.adapters.mail.units import (
        UnitFarm,
        daily_units,
        long_running_units,
        owner_of,
        write_units,
    )

    script = Path(sys.argv[0]).absolute()
    is_script = script.stem == "whitethread" and script.is_file()
    program = [str(script)] if is_script else [sys.executable, "-m", "scheduler.cli"]
    described = [(path, mail_settings(read_farm(path), path)) for path in farms]
    user = owner_of(farms)
    if is_daily:
        units = daily_units(
            [UnitFarm(path, found.time_zone, found.send_at) for path, found in described],
            program,
            user,
        )
    else:
        units = long_running_units(farms, program, user)
    paths = write_units(folder, units)
    for path in paths:
        typer.echo(f"wrote {path}")
    started = [path.name for path in paths if path.suffix == ".timer"] or [paths[0].name]
    typer.echo("next, as root:")
    copied = [str(path.absolute()) for path in paths]  # whatever folder root is in
    typer.echo(f"  {shlex.join(['cp', *copied, '/etc/systemd/system/'])}")
    typer.echo(f"  systemctl daemon-reload && systemctl enable --now {' '.join(started)}")
