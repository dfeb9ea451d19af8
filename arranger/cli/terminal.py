"""The one place where text goes to the terminal, so that no text can do harm there.

Names come from files, folders and the command line, and may hold anything: what isn't printable
(control and direction characters, bytes that are no UTF-8) is shown as an escape, as is what the
terminal's encoding lacks. The escapes are JSON's, so that JSON stays JSON.
"""

from __future__ import annotations

import codecs
import json
import os
import sys
from typing import TextIO

from arranger.errors import OutputError

_LACKING = "arranger.lacking"
"""Name of the error handler that shows what an encoding lacks as an escape of JSON's."""


def _shown(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return json.dumps(error.object[error.start : error.end])[1:-1], error.end


codecs.register_error(_LACKING, _shown)


def say(line: str = "", *, error: bool = False) -> None:
    """Write one line to standard output, or to standard error."""
    _write(f"{harmless(line)}\n", error=error)


def say_text(text: str, *, error: bool = False) -> None:
    """Write a text of several lines, ended by a line feed."""
    lines = text.removesuffix("\n").split("\n")
    _write("".join(f"{harmless(line)}\n" for line in lines), error=error)


def say_json(value: object, *, indent: int = 1) -> None:
    """Write a value as JSON."""
    say_text(json.dumps(value, ensure_ascii=False, indent=indent))


def say_styled(text: str) -> None:
    """Write a text whose colours are this program's own; names in it were made harmless before."""
    _write(f"{text}\n", error=False)


def harmless(line: str) -> str:
    r"""Return a line as it may go to a terminal.

    >>> print(harmless("a\x1b[31m\u202e\udcffé\n"))
    a\u001b[31m\u202e\udcffé\n
    """
    if line.isprintable():
        return line
    return "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in line)


def _write(text: str, *, error: bool) -> None:
    stream = sys.stderr if error else sys.stdout
    if stream is None:  # closed before the start
        return
    encoding = stream.encoding or "utf-8"
    try:
        stream.write(text.encode(encoding, _LACKING).decode(encoding))
        stream.flush()
    except OSError as failed:
        if not error and isinstance(failed, BrokenPipeError):
            raise
        discard(stream)
        if not error:  # what can't be told on standard error can't be told at all
            what = f"standard output can't be written: {failed.strerror or failed}"
            raise OutputError(what) from failed


def discard(stream: TextIO) -> None:
    """Let a stream lead nowhere, so that what still waits in it can't fail at the exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
