"""The ``arranger`` command: gathers the commands and turns errors into one line and an exit code.

Exit codes: 0 done, 1 something went wrong (one line on standard error), 2 wrong usage, 130 stopped
by the user. Whatever goes to the terminal goes through `arranger.cli.terminal`.
"""

from __future__ import annotations

import io
import os
import sys
import warnings
from collections.abc import Iterable, Sequence
from importlib import import_module
from typing import TextIO

import typer

from arranger.cli.helping import WIDEST, Group
from arranger.cli.keeping import Command
from arranger.cli.terminal import discard, say, say_text
from arranger.errors import ArrangerError, ArrangerWarning, UsageError
from arranger.stopping import ending_cleanly
from arranger.version import VERSION

_PANELS = {
    "From songs": ("survey", "convert", "songbook", "report", "explain"),
    "See, hear and edit": ("review", "render", "new", "check", "tidy", "bars", "spread"),
    "Versions": ("compare", "undo", "redo"),
    "Into a program": ("export", "engines"),
}
COMMANDS = {name: panel for panel, names in _PANELS.items() for name in names}
"""In the order of the help; each is a function in a module of its name. What they are for."""


def application(commands: Iterable[str] = COMMANDS) -> typer.Typer:
    """Return the command line with some commands: all take longer to load than one to begin."""
    app = typer.Typer(
        name="arranger",
        cls=Group,
        help="Turn MIDI arrangements into two-voice music for one-bit speakers.",
        no_args_is_help=True,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"], "max_content_width": WIDEST},
    )
    app.callback()(_root)
    for name in commands:
        register = app.command(cls=Command, rich_help_panel=COMMANDS[name])
        register(getattr(import_module(f"arranger.cli.{name}"), name))
    return app


def _print_version(asked: bool) -> None:
    if asked:
        say(f"arranger {VERSION}")
        raise typer.Exit


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


def __getattr__(name: str) -> typer.Typer:
    # The whole of it, for tests.
    if name == "app":
        return application()
    message = f"module {__name__!r} has no attribute {name!r}"
    raise AttributeError(message)


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

    ``arguments``: those after the program's name; None: the process's own.
    """
    words = sys.argv[1:] if arguments is None else arguments
    try:
        app = application([word for word in words[:1] if word in COMMANDS] or COMMANDS)
        with warnings.catch_warnings():
            warnings.simplefilter("always", ArrangerWarning)
            warnings.showwarning = _tell
            return app(words, prog_name="arranger", standalone_mode=False) or 0
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


def _tell(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    """Show a warning: ours as one line, those of libraries as Python does."""
    if issubclass(category, ArrangerWarning):
        say(f"arranger: {message}", error=True)
    else:
        _show(message, category, filename, lineno, file, line)


_show = warnings.showwarning
