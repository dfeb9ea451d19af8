"""The ``arranger`` command: gathers the commands and turns errors into one line and an exit code.

Exit codes: 0 done, 1 something went wrong (one line on standard error), 2 wrong usage, 130 stopped
by the user. Whatever goes to the terminal goes through `arranger.cli.terminal`.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Sequence

import typer

from arranger.cli.check import check
from arranger.cli.compare import compare
from arranger.cli.convert import convert
from arranger.cli.engines import engines
from arranger.cli.explain import explain
from arranger.cli.export import export
from arranger.cli.render import render
from arranger.cli.report import report
from arranger.cli.songbook import songbook
from arranger.cli.spread import spread
from arranger.cli.survey import survey
from arranger.cli.terminal import discard, say, say_text
from arranger.cli.tidy import tidy
from arranger.errors import ArrangerError, UsageError
from arranger.stopping import ending_cleanly
from arranger.version import VERSION

app = typer.Typer(
    name="arranger",
    help="Turn MIDI arrangements into two-voice music for one-bit speakers.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _print_version(asked: bool) -> None:
    if asked:
        say(f"arranger {VERSION}")
        raise typer.Exit


@app.callback()
def _root(
    _version: bool = typer.Option(
        False,
        "--version",
        help="Print the version and stop.",
        callback=_print_version,
        is_eager=True,
    ),
) -> None:
    """Turn MIDI arrangements into two-voice music for one-bit speakers."""


app.command()(convert)
app.command()(survey)
app.command()(engines)
app.command()(export)
app.command()(explain)
app.command()(report)
app.command()(render)
app.command()(check)
app.command()(compare)
app.command()(tidy)
app.command()(spread)
app.command()(songbook)


_UsageError: type[Exception] = typer.BadParameter.__bases__[0]
"""What typer raises for arguments that don't fit; it has no public name of its own."""

_DEBUG = "ARRANGER_DEBUG"


def main() -> None:
    """Run the command line; the entry point of the installed script."""
    try:
        with ending_cleanly():
            code = run()
    except BrokenPipeError:
        # The reader (head, less) has seen enough; nothing more may be tried at the exit.
        discard(sys.stdout)
        code = 0
    sys.exit(code)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code; all that goes wrong is told in words.

    Parameters
    ----------
    arguments
        Those after the program's name; None: the process's own.
    """
    try:
        return app(arguments, prog_name="arranger", standalone_mode=False) or 0
    except _UsageError as error:
        told = io.StringIO()
        error.show(told)  # type: ignore[attr-defined]
        say_text(told.getvalue(), error=True)
        return 2
    except ArrangerError as error:
        say(f"arranger: {error}", error=True)
        # Words in a file are the file's fault: it is named.
        return 2 if isinstance(error, UsageError) and error.file is None else 1
    except BrokenPipeError:
        raise
    except Exception as error:
        if os.environ.get(_DEBUG):
            raise
        what = f"{type(error).__name__}: {error}".rstrip(": ")
        say(
            f"arranger: defect of the program ({what[:200]}); please send this line, the command "
            f"and the file to its authors, with the traceback that {_DEBUG}=1 shows",
            error=True,
        )
        return 1
