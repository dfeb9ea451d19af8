"""Words of a sheet's lines: where they stand, comments, quotes."""

from __future__ import annotations

import re

Span = tuple[int, int]
"""Column (from 1) and width, in characters."""

WORD = re.compile(r"[^\s|]+")
_COMMENT = re.compile(r"(?:^|(?<=\s))#")
_QUOTED = re.compile(r'"((?:[^"\\]|\\.)*)"')
_HEADER_QUOTED = re.compile(r'\s*\w+\s+"(?:[^"\\]|\\.)*"')
_ESCAPE = re.compile(r"\\(?:u\{([0-9a-fA-F]{1,6})\}|(.))")


def without_comment(line: str) -> tuple[str, str | None]:
    """Return the line before its comment, and the comment's text or None.

    >>> without_comment("voice 1   C#4 -   # high")
    ('voice 1   C#4 -   ', 'high')
    """
    start = 0
    if '"' in line and (quoted := _HEADER_QUOTED.match(line)):
        start = quoted.end()
    match = _COMMENT.search(line, start)
    if match is None:
        return line, None
    return line[: match.start()], line[match.end() :].removeprefix(" ").rstrip()


def unquoted(text: str) -> str | None:
    r"""Return what a quoted value stands for; None if the quotes don't match.

    >>> unquoted(r'"a \"b\" \u{1f3b5}"')
    'a "b" 🎵'
    """
    match = _QUOTED.fullmatch(text)
    return None if match is None else _ESCAPE.sub(_unescaped, match[1])


def value_span(code: str) -> Span:
    """Return where the value of a header line stands: what comes after the first word."""
    code = code.rstrip()
    first = WORD.search(code)
    value = code[first.end() :].lstrip() if first else ""
    return (len(code) - len(value) + 1, len(value)) if value else (1, max(len(code), 1))


def word_spans(code: str) -> list[Span]:
    """Return where each word of a line stands."""
    return [(m.start() + 1, m.end() - m.start()) for m in WORD.finditer(code)] or [(1, 1)]


def _unescaped(match: re.Match[str]) -> str:
    if match[1] is None:
        return match[2]
    return chr(min(int(match[1], 16), 0x10FFFF))
