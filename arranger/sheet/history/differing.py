"""Which bars differ between two texts of a sheet, whether or not they can be read as one.

Only what the lines say is compared, not their columns. A bar that merely moved isn't a different one.
"""

from __future__ import annotations

import re
from difflib import SequenceMatcher
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

_BARS = re.compile(r"(?:bar\s+(-?\d{1,9})|bars\s+(\d{1,9})-(\d{1,9})|bar\b)(.*)", re.ASCII)
_RECORD = ("generated", "digest")
_MOST_PAIRS = 4_000_000
"""Where more pairs of bars would have to be looked at, the whole stretch is said to differ."""

Numbers = tuple[int, int]
"""First and last number of a line of bars."""


class Differing(NamedTuple):
    """What differs between a text and another one."""

    header: tuple[str, ...]
    """First words of the lines."""
    changed: tuple[Numbers, ...]
    """In the other text's numbers."""
    new: tuple[Numbers, ...]
    """Only in the other text, in its numbers."""
    gone: tuple[Numbers, ...]
    """Only in the first text, in its numbers."""

    def __str__(self) -> str:
        """Say it in a few words."""
        kinds = ((self.changed, "changed"), (self.new, "new"), (self.gone, "gone"))
        said = [f"{_joined(bars)} {word}" for bars, word in kinds if bars]
        if self.header:
            said.append(f"header changed ({', '.join(self.header)})")
        return "; ".join(said) or "only the layout"


def differing(one: bytes, other: bytes) -> Differing:
    """Return what differs between two texts of a sheet."""
    heads, bars = zip(*(_cut(content) for content in (one, other)), strict=True)
    lines = [line for line in (*heads[0], *heads[1]) if (line in heads[0]) != (line in heads[1])]
    changed: list[Numbers] = []
    new: list[Numbers] = []
    gone: list[Numbers] = []
    runs = _runs(*([says for _, says in each] for each in bars))
    for first, last, begin, end in runs:
        left = [numbers for numbers, _ in bars[0][first:last]]
        right = [numbers for numbers, _ in bars[1][begin:end]]
        both = min(len(left), len(right))
        changed += right[:both]
        new += right[both:]
        gone += left[both:]
    words = dict.fromkeys(line.split(maxsplit=1)[0] for line in lines)
    return Differing(tuple(words), tuple(changed), tuple(new), tuple(gone))


def _runs(one: Sequence[object], other: Sequence[object]) -> list[tuple[int, int, int, int]]:
    """Return where two lists differ: first and end in the one, first and end in the other."""
    least = min(len(one), len(other))
    start = next((i for i in range(least) if one[i] != other[i]), least)
    most = least - start
    back = next((i for i in range(most) if one[-1 - i] != other[-1 - i]), most)
    one, other = one[start : len(one) - back], other[start : len(other) - back]
    if len(one) * len(other) > _MOST_PAIRS:
        return [(start, start + len(one), start, start + len(other))]
    codes = SequenceMatcher(None, one, other, autojunk=False).get_opcodes()
    return [
        (start + a, start + b, start + c, start + d) for tag, a, b, c, d in codes if tag != "equal"
    ]


def _cut(content: bytes) -> tuple[dict[str, None], list[tuple[Numbers, tuple[str, ...]]]]:
    """Return the lines of the header, and the bars with what they say."""
    head: dict[str, None] = {}
    bars: list[tuple[Numbers, list[str]]] = []
    following = 1
    for line in content.decode("utf-8-sig", "replace").splitlines():
        said = "".join(line.replace("|", " ").split())
        if not said or said.startswith(_RECORD):
            continue
        match = _BARS.fullmatch(line.strip())
        if match:
            first = int(match[1] or match[2] or following)
            last = int(match[3] or first)
            following = last + 1
            bars.append(((first, last), ["".join(match[4].split())]))
        elif bars:
            bars[-1][1].append(said)
        else:
            head[line.strip()] = None
    return head, [(numbers, tuple(says)) for numbers, says in bars]


def _joined(bars: Sequence[Numbers]) -> str:
    """Return bars in words, those that count on as ranges.

    >>> _joined(((5, 5), (6, 6), (7, 7), (9, 9), (11, 12)))
    'bars 5-7, 9, 11-12'
    """
    ranges: list[list[int]] = []
    for first, last in bars:
        if ranges and first == ranges[-1][1] + 1:
            ranges[-1][1] = last
        else:
            ranges.append([first, last])
    many = len(ranges) > 1 or ranges[0][0] != ranges[0][1]
    told = ", ".join(f"{a}-{b}" if a != b else f"{a}" for a, b in ranges)
    return f"bar{'s' * many} {told}"
