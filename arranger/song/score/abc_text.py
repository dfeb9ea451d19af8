"""ABC texts made ready for music21, which misreads some repeat marks.

The marks ``::``, ``:|:`` and ``:||:`` mean the same, and ``|::`` and ``::|`` are a section played
three times (ABC 2.1, section 4.8, from memory). music21 10.5 takes the note before ``::`` for the
name of a field and drops the rest of the line, and forgets the start in ``:|:``.
"""

from __future__ import annotations

import re
from typing import Any

_FIELD = re.compile(r"\s*(%|\w:[^|:])")
_MARKS = re.compile(
    r"""(?P<kept>"[^"]*" | \[\w:[^\]]*\] | \(\d:\d*:?\d*)  # words, fields in the line, tuplets
    | (?P<both>:+\|*:+) (?!\|)
    | (?P<start>\|::+) | (?P<end>::+\|)""",
    re.VERBOSE,
)
_PLAIN = {"both": ":||:", "start": "|:", "end": ":|"}


def plain_marks(text: str) -> tuple[str, bool]:
    r"""Return the text with repeat marks that music21 reads; and whether any asked for three times.

    >>> plain_marks("X:1\nK:C\n|:CDEF::GABc:|")
    ('X:1\nK:C\n|:CDEF:||:GABc:|', False)
    """
    thrice = False

    def plain(mark: re.Match[str]) -> str:
        nonlocal thrice
        kind = mark.lastgroup or ""
        thrice = thrice or kind in {"start", "end"}
        return _PLAIN.get(kind, mark[0])

    lines = (line if _FIELD.match(line) else _MARKS.sub(plain, line) for line in text.split("\n"))
    return "\n".join(lines), thrice


def prepare_music21() -> None:
    """Have music21 read ABC as songs need it.

    It would take a tune of fewer than two plain bar lines for one without bars, and pass over its
    repeat marks. And it would beam the notes, which takes three quarters of its time and says
    nothing about what sounds.
    """
    from music21.abcFormat import ABCBar, ABCHandler
    from music21.stream import Stream

    def has_bars(handler: ABCHandler) -> bool:
        return any(isinstance(token, ABCBar) for token in handler.tokens)

    def unbeamed(written: Any, **_options: object) -> Any:
        return written

    ABCHandler.definesMeasures = has_bars  # type: ignore[method-assign]
    Stream.makeBeams = unbeamed  # type: ignore[method-assign, assignment]
