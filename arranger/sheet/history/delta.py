"""One text as a change of another: runs of its lines, and lines of its own between.

Lines are bytes up to and with their end, so that any bytes at all come back as they were.
"""

from __future__ import annotations

import json


def delta(base: bytes, target: bytes) -> bytes:
    """Return what makes ``target`` of ``base``; `applied` is the way back."""
    known: dict[bytes, int] = {}
    lines = base.splitlines(keepends=True)
    for place, line in enumerate(lines):
        known.setdefault(line, place)
    runs = [[0, 0, 0]]  # first line of the base, lines from there, bytes of its own that follow
    own: list[bytes] = []
    at = 0
    for line in target.splitlines(keepends=True):
        place = at if lines[at : at + 1] == [line] else known.get(line, -1)
        if place < 0:
            own.append(line)
            runs[-1][2] += len(line)
            at += 1  # a line was changed, and the next ones go on as they were: so it is mostly
            continue
        if sum(runs[-1][:2]) != place or runs[-1][2]:
            runs.append([place, 0, 0])
        runs[-1][1] += 1
        at = place + 1
    return json.dumps(runs, separators=(",", ":")).encode() + b"\n" + b"".join(own)


def applied(base: bytes, change: bytes, length: int) -> bytes:
    """Return the text of which `delta` made a change.

    Parameters
    ----------
    base
        The text that the change was made for.
    change
        What `delta` returned.
    length
        Bytes of the result.

    Raises
    ------
    ValueError, TypeError
        If that can't be what `delta` returned.
    """
    head, _, own = change.partition(b"\n")
    lines = base.splitlines(keepends=True)
    pieces: list[bytes] = []
    used = left = 0
    for first, count, more in json.loads(head):
        run = lines[first : first + count]
        pieces += [*run, own[used : used + more]]
        used += more
        left += sum(map(len, run)) + more
        if left > length:  # before a damaged one fills the memory
            raise ValueError
    return b"".join(pieces)
