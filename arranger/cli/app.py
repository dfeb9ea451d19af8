"""The ``arranger`` command: gathers the commands and turns errors into one line and an exit code.

Exit codes: 0 done, 1 something went wrong (one line on standard error), 2 wrong usage, 130 stopped
by the user. Only this module and its siblings write to the terminal.
"""

from __future__ import annotations

import os
import sys

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
from arranger.cli.tidy import tidy
from arranger.errors import ArrangerError
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
        typer.echo(f"arranger {VERSION}")
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


def main() -> None:
    """Run the command line; the entry point of the installed script."""
    try:
        with ending_cleanly():
            app()
    except ArrangerError as error:
        typer.echo(f"arranger: {error}", err=True)
        sys.exit(1)
    except BrokenPipeError:
        # The reader (head, less) has seen enough; point stdout away so that the exit stays quiet.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
