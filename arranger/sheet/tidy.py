"""Tidying: a roughly typed sheet is written anew in the one form that the program writes."""

from __future__ import annotations

from pathlib import Path

from arranger.sheet.io import read_text, write_sheet
from arranger.sheet.parse import parse
from arranger.sheet.text import format_sheet


def tidy_text(text: str, file: str | Path | None = None) -> str:
    """Return a sheet's text with its columns aligned; comments and music stay as they are.

    Raises
    ------
    SheetError
        If the text has an error: what isn't understood isn't rewritten.
    """
    return format_sheet(parse(text, file))


def tidy_file(path: str | Path, *, write: bool = True) -> bool:
    """Tidy a file in its place and return whether there was something to do.

    Raises
    ------
    SheetError
        If it can't be read or has an error.
    OutputError
        If it can't be written.
    """
    path = Path(path)
    text = read_text(path)
    tidied = tidy_text(text, path)
    if tidied == text:
        return False
    if write:
        write_sheet(parse(tidied, path), path, by="tidy")
    return True
