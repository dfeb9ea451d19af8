"""The source text of the Z80 player, put together from ``player.asm`` for a way of counting.

``@voice``, ``@key`` and ``@catch`` there stand for what a voice does, which is here, as is ``@enter``,
how a call begins; lines between ``@if`` and ``@end`` are left out of a player that has no use for them.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

SOURCE = Path(__file__).parent / "player.asm"

_COUNT = {
    "phase": (
        ("add     hl,de", "11"),
        ("sbc     a,a", "4"),
        ("and     speaker", "7"),
        ("xor     c", "4"),
        ("ld      c,a", "4   30: the voice flips when its phase overflows"),
    ),
    "counter": (
        ("dec     h", "4"),
        ("jp      nz,keep@", "10"),
        ("ld      h,e", "4"),
        ("ld      a,c", "4"),
        ("xor     d", "4"),
        ("ld      c,a", "4   30: the voice flips when its count is down"),
    ),
}
_CATCH = {
    "phase": (
        ("ex      de,hl", "4"),
        ("push    hl", "11"),
        ("add     hl,hl", "11"),
        ("add     hl,hl", "11"),
        ("ex      de,hl", "4"),
        ("add     hl,de", "11"),
        ("sbc     a,a", "4"),
        ("add     hl,de", "11"),
        ("sbc     a,0", "7"),
        ("pop     de", "10"),
        ("add     hl,de", "11"),
        ("sbc     a,0", "7"),
        ("rra", "4   an odd number of overflows?"),
        ("sbc     a,a", "4"),
        ("and     speaker", "7"),
        ("xor     c", "4"),
        ("ld      c,a", "4"),
        ("ret", "10  152 with the call"),
    ),
    "counter": (
        ("ex      (sp),hl", "19  a pause"),
        ("ex      (sp),hl", "19"),
        ("ex      (sp),hl", "19"),
        ("ex      (sp),hl", "19"),
        ("ld      a,0", "7"),
        ("ld      a,h", "4"),
        ("sub     10", "7"),
        ("jr      nc,more", "7   or 12"),
        ("add     a,e", "4"),
        ("inc     a", "4"),
        ("ld      h,a", "4"),
        ("ld      a,c", "4"),
        ("xor     d", "4"),
        ("ld      c,a", "4"),
        ("ret", "10  152 with the call"),
        ("more:", ""),
        ("inc     a", "4"),
        ("ld      h,a", "4"),
        ("nop", "4"),
        ("ld      a,0", "7"),
        ("ret", "10  152 here as well"),
    ),
}
"""Nine passes counted at once."""
_ENTER = (
    ("ld      a,i", "9   P/V: interrupts are on"),
    ("jp      pe,enter1", "10"),
    ("ld      a,i", "9   again: one that came just then would have hidden it"),
    ("enter1:", ""),
    ("di", "4"),
    ("push    af", "11"),
    ("exx", "4"),
    ("push    bc", "11"),
    ("push    de", "11"),
    ("push    hl", "11"),
    ("exx", "4"),
    ("ex      af,af'", "4"),
    ("push    af", "11"),
    ("ld      (stack),sp", "20"),
)
_KEY = {
    "phase": (
        ("add     hl,de", "11"),
        ("jr      c,flip@", "7   or 12"),
        ("xor     a", "4"),
        ("in      a,(keys)", "11"),
        ("or      nokeys", "7"),
        ("ld      b,a", "4   255: no key"),
        ("ld      a,c", "4"),
    ),
    "counter": (
        ("dec     h", "4"),
        ("jp      z,flip@", "10"),
        ("nop", "4"),
        ("xor     a", "4"),
        ("in      a,(keys)", "11"),
        ("or      nokeys", "7"),
        ("ld      b,a", "4   255: no key"),
        ("ld      a,c", "4"),
    ),
}
"""A voice counts, and where it doesn't flip the keys are read: 30 + 18 cycles without EXX."""
_FLIP = {
    "phase": (
        ("ld      a,c", "4"),
        ("xor     speaker", "7"),
        ("ld      c,a", "4"),
        ("jp      read@", "10  30 + 18 here as well"),
    ),
    "counter": (
        ("ld      h,e", "4"),
        ("ld      a,c", "4"),
        ("xor     d", "4"),
        ("ld      c,a", "4"),
        ("nop", "4"),
        ("nop", "4"),
        ("jp      read@", "10  30 + 18 here as well"),
    ),
}
_DEAF = (("ld      a,0", "7"), ("ld      a,0", "7"), ("nop", "4   = 18"))
_KEEP = (("ld      a,c", "4"), ("jr      counted@", "12  30 here as well"))


@cache
def player_source(method: str, parts: frozenset[str]) -> str:
    """Return the player's source for a way of counting, "phase" or "counter", with some parts."""
    return "".join(f"{line}\n" for line in _expanded(method, parts))


def _wanted(parts: frozenset[str]) -> Iterator[str]:
    """Yield the lines of the source that belong to some parts, or to all."""
    wanted: list[bool] = []
    for line in SOURCE.read_text(encoding="utf-8").splitlines():
        word, _, part = line.partition(" ")
        if word == "@if":
            wanted.append(part in parts)
        elif word == "@else":
            wanted.append(not wanted.pop())
        elif word == "@end":
            wanted.pop()
        elif all(wanted):
            yield line


def _expanded(method: str, parts: frozenset[str]) -> Iterator[str]:
    """Yield the lines of the source with each directive replaced."""
    number = 0
    stubs: list[str] = []
    for line in _wanted(parts):
        word, _, voice = line.strip().partition(" ")
        if word == "@key" and "keys" in parts:
            number += 1
            yield from _lines(_KEY[method], number)
            yield f"read{number}:"
            stubs += [f"flip{number}:", *_lines(_FLIP[method], number)]
        elif word in ("@voice", "@key"):
            number += 1
            if word == "@key":
                yield from _lines(_DEAF, number)
            yield from _lines(_COUNT[method], number, f"  voice {voice or '1'}")
            if method == "counter":
                yield f"counted{number}:"
                stubs += [f"keep{number}:", *_lines(_KEEP, number)]
        elif word == "@catch":
            yield from _lines(_CATCH[method], number)
        elif word == "@enter":
            yield from _lines(_ENTER, number)
        elif word == "@stubs":
            yield from stubs
            stubs = []
        else:
            yield line


def _lines(entries: Iterable[tuple[str, str]], number: int, note: str = "") -> Iterator[str]:
    """Yield lines of the source with a number in their labels; a note goes to the first."""
    for instruction, cycles in entries:
        text = instruction.replace("@", str(number))
        yield text if text.endswith(":") else f"        {text:23} ; {cycles}{note}"
        note = ""
