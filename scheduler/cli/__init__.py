"""The command line: the only place that reads the clock and chooses adapters.

Libraries that compute are imported inside the commands that need them, so that help, notes and
checks answer at once.
"""

from __future__ import annotations

import io
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from typing import Annotated

import typer

from scheduler import __version__
from scheduler.cli.app import FARM_VARIABLE, NOW_VARIABLE, app, told
from scheduler.errors import FarmFileError, WhitethreadError

# isort: off
from scheduler.cli import start, pages, entries, mail, files  # noqa: F401  in the order of the help
from scheduler.cli import review  # noqa: F401
from scheduler.cli import whatif  # noqa: F401
from scheduler.cli import compare  # noqa: F401
# isort: on

__all__ = ["FARM_VARIABLE", "NOW_VARIABLE", "app", "main"]

USAGE_FAULT: type[Exception] = next(
    kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException"
)
"""What the command parser raises on a word it does not know."""
INTERRUPTED = 130  # status of a command ended by Ctrl-C


def version_shown(is_asked: bool) -> None:
    """Print the version and end."""
    if is_asked:
        typer.echo(f"whitethread {__version__}")
        raise typer.Exit


@app.callback()
def whitethread(
    is_version_asked: Annotated[
        bool,
        typer.Option(
            "--version", callback=version_shown, is_eager=True, help="Print the version and end."
        ),
    ] = False,
) -> None:
    """Hold what all commands share."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command and end the program with its status.

    0: done. 2: something the user can mend, told in one line on stderr. 75: nobody could be
    reached, worth another try. 1: a fault of the program, with its trace.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without the letters of a bed's name
    sys.exit(status_of(lambda: run(arguments)))


def run(arguments: Sequence[str] | None) -> int:
    """Run a command and return its status; errors come out as exceptions."""
    command = typer.main.get_command(app)
    found = command.main(
        args=None if arguments is None else list(arguments),
        prog_name="whitethread",
        standalone_mode=False,
    )
    sys.stdout.flush()
    if found == INTERRUPTED:
        told("stopped")
    return found if isinstance(found, int) else 0


def leave_pipe() -> None:
    """Send what is still to be written nowhere, after the reader has left."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


def status_of(work: Callable[[], int]) -> int:
    """The exit status of some work, with its errors told on stderr."""
    try:
        return work()
    except FarmFileError as error:
        more = len(error.faults) - 1
        told(
            error.faults[0]
            if more < 1
            else f"{error.faults[0]} (and {more} more: `whitethread check` names all)"
        )
        return 2
    except WhitethreadError as error:
        told(str(error))
        return 2
    except USAGE_FAULT as error:
        said = error.format_message()  # type: ignore[attr-defined]
        if type(error).__name__ == "NoArgsIsHelpError":
            typer.echo(said)
            return 0
        if said:
            told(f"{said} (see --help)")
        return 2
    except typer.Abort:
        told("stopped; nothing was written")
        return 1
    except BrokenPipeError:
        leave_pipe()
        return 0
    except SystemExit:
        leave_pipe()  # what the command parser makes of a broken pipe, and of nothing else
        return 0
    except KeyboardInterrupt:
        told("stopped")
        return INTERRUPTED
    except Exception:
        traceback.print_exc()
        return 1
