"""The one family of errors that arranger raises on purpose.

Every error says what is wrong and, where known, in which file, at which place in it, and what to
do. The command line prints ``str(error)`` as one line and ends with exit code 1. Each leaf is also
the fitting builtin, so that a library user may catch ``ValueError`` or ``OSError``.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


class ArrangerError(Exception):
    """Root of the family.

    ``what``: what is wrong, as one sentence without a full stop.
    ``file``: the file in question, if there is one.
    ``place``: where in the file: "line 12, column 3", "track 2, byte 0x41".
    ``remedy``: what the user can do about it.
    """

    def __init__(
        self,
        what: str,
        *,
        file: str | Path | None = None,
        place: str | None = None,
        remedy: str | None = None,
    ) -> None:
        super().__init__(what)
        self.what = what
        self.file = None if file is None else Path(file)
        self.place = place
        self.remedy = remedy

    def __str__(self) -> str:
        place = [str(part) for part in (self.file, self.place) if part is not None]
        text = ": ".join([*place, self.what])
        if self.remedy is not None:
            text = f"{text}; {self.remedy}"
        return one_line(text)

    def in_file(self, file: str | Path) -> ArrangerError:
        """Return self after naming the file, unless one is named already."""
        if self.file is None:
            self.file = Path(file)
        return self

    def __reduce__(self) -> tuple[object, ...]:
        """Survive the way back from a worker process, keyword arguments included."""
        return (_rebuild, (type(self), self.what, self.file, self.place, self.remedy))


class SongError(ArrangerError, ValueError):
    """A song file that can't be read as music."""


class EngineError(ArrangerError, ValueError):
    """An engine description that is not valid, or an engine that isn't there."""


class SheetError(ArrangerError, ValueError):
    """A sheet that can't be read or can't be played by its engine."""


class LedgerError(ArrangerError, ValueError):
    """A ledger that can't be read."""


class SettingsError(ArrangerError, ValueError):
    """A setting that doesn't exist, doesn't fit the song, or contradicts another."""


class UsageError(SettingsError):
    """A choice that can't be had whatever the song or sheet: on the command line, wrong usage."""


class LimitError(ArrangerError, ValueError):
    """Input that is larger than a limit which the user may raise."""


class OutputError(ArrangerError, OSError):
    """A file that can't be written, or that must not be overwritten."""


class LawError(ArrangerError, AssertionError):
    """The program broke one of its own laws (conservation of notes). Always our defect."""


class ArrangerWarning(UserWarning):
    """What went wrong without stopping the program; the command line prints it as one line."""


def one_line(text: str) -> str:
    """Return the text on one line: control characters from inside files become visible escapes."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def shortened(name: str, limit: int = 28) -> str:
    """Return a name in at most so many characters."""
    return name if len(name) <= limit else f"{name[: limit - 3]}..."


def did_you_mean(word: str, known: Iterable[str], otherwise: str) -> str:
    """Return as a remedy the one of the known words that comes near, or what else to say."""
    from difflib import get_close_matches

    close = get_close_matches(word, list(known), 1)
    return f"did you mean {close[0]!r}?" if close else otherwise


def _rebuild(
    kind: type[ArrangerError], what: str, file: Path | None, place: str | None, remedy: str | None
) -> ArrangerError:
    return kind(what, file=file, place=place, remedy=remedy)
