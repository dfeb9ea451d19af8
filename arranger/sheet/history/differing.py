"""Which bars differ between two texts of a sheet, whether or not they can be read as one.

Only what the lines say is compared, not their columns. A bar that merely moved isn't a different one,
nor is one that is written as another in one text and written out in the other.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import TYPE_CHECKING, NamedTuple

from arranger.bars import spoken

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_BARS = re.compile(r"(?:bar\s+(-?\d{1,9})|bars\s+(\d{1,9})-(\d{1,9})|bar\b)(.*)", re.ASCII)
_AS = re.compile(r"\sas\s+(\d{1,9})(?:-(\d{1,9}))?(?!\S)", re.ASCII)
_METRE = re.compile(r"\s*(\d+/\d+)?(\s+\d+\s+steps?)?", re.ASCII)
_RECORD = ("generated", "digest")
_MOST_BARS = 100_000
"""A run of bars that are as others isn't written out beyond so many."""
_MOST_PAIRS = 4_000_000
"""Where more pairs of bars would have to be looked at, the whole stretch is said to differ."""


class Difference(NamedTuple):
    """What differs between a text and another one."""

    header: tuple[str, ...]
    """First words of the lines."""
    changed: tuple[int, ...]
    """In the other text's numbers."""
    new: tuple[int, ...]
    """Only in the other text, in its numbers."""
    gone: tuple[int, ...]
    """Only in the first text, in its numbers."""

    def __str__(self) -> str:
        """Say it in a few words."""
        kinds = ((self.changed, "changed"), (self.new, "new"), (self.gone, "gone"))
        said = [f"{spoken(bars)} {word}" for bars, word in kinds if bars]
        if self.header:
            said.append(f"header changed ({', '.join(self.header)})")
        return "; ".join(said) or "only the layout"


def differing(one: bytes, other: bytes) -> Difference:
    """Return what differs between two texts of a sheet."""
    heads, bars = zip(*(_cut(content) for content in (one, other)), strict=True)
    lines = [line for line in (*heads[0], *heads[1]) if (line in heads[0]) != (line in heads[1])]
    words = tuple(dict.fromkeys(line.split(maxsplit=1)[0] for line in lines))
    numbers = [[bar.number for bar in each] for each in bars]
    says = [[bar.says() for bar in each] for each in bars]
    changed: list[int] = []
    new: list[int] = []
    gone: list[int] = []
    for first, last, begin, end in _runs(*says):
        both = min(last - first, end - begin)
        changed += numbers[1][begin : begin + both]
        new += numbers[1][begin + both : end]
        gone += numbers[0][first + both : last]
    if numbers[0] == numbers[1]:
        pairs = zip(numbers[0], *says, strict=True)
        in_place = [number for number, was, now in pairs if was != now]
        if len(in_place) <= len(changed) + len(new) + len(gone):
            changed, new, gone = in_place, [], []
    return Difference(words, tuple(changed), tuple(new), tuple(gone))


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


@dataclass(slots=True)
class _Bar:
    """What the lines of a bar say."""

    number: int
    metre: str
    marks: str
    rows: list[str]
    comments: list[str]

    def says(self) -> tuple[str, ...]:
        return self.metre, self.marks, *self.rows, *self.comments


def _cut(content: bytes) -> tuple[dict[str, None], list[_Bar]]:
    """Return the lines of the header, and the bars; one that is as another says what that says."""
    head: dict[str, None] = {}
    bars: list[_Bar] = []
    above: dict[int, _Bar] = {}
    for line in content.decode("utf-8-sig", "replace").splitlines():
        said, comment = _plain(line)
        match = _BARS.fullmatch(line.strip())
        if match:
            for bar in _begun(match, bars[-1].number + 1 if bars else 1, above):
                bars.append(bar)
                above[bar.number] = bar
        elif said.startswith(_RECORD) or not said + comment:
            continue
        elif bars:
            bars[-1].rows += [said] * bool(said)
            bars[-1].comments += [comment] * bool(comment)
        else:
            head[line.strip()] = None
    return head, bars


def _plain(line: str) -> tuple[str, str]:
    """Return what a line says, and its comment, without what only divides."""
    said, *comment = re.split(r"(?:^|(?<=\s))#", line, maxsplit=1)
    return "".join(said.replace("|", " ").split()), "".join("".join(comment).split())


def _begun(match: re.Match[str], following: int, above: Mapping[int, _Bar]) -> list[_Bar]:
    """Return the bars that a line begins."""
    first = int(match[1] or match[2] or following)
    said, _, comment = match[4].partition("#")
    comment = "".join(comment.split())
    found = _AS.search(said)
    numbers = range(int(found[1]), int(found[2] or found[1]) + 1) if found else range(0)
    count = max(min(int(match[3] or first) - first + 1, _MOST_BARS - len(above)), 1)
    of = [above[number] for number in numbers[:count] if number in above]
    if found is None or len(of) != count:
        begun = [_Bar(first + i, *_metre(said), [], []) for i in range(count)]
        begun[0].comments += [comment] * bool(comment)
        return begun
    metre, marks = _metre(said[: found.start()] + said[found.end() :])
    bars = [_Bar(first + i, metre or each.metre, "", [*each.rows], []) for i, each in enumerate(of)]
    bars[0].marks = marks
    bars[0].comments += [comment] * bool(comment)
    return bars


def _metre(said: str) -> tuple[str, str]:
    """Return the metre of a bar line, and the rest."""
    match = _METRE.match(said)
    end = match.end() if match else 0
    return "".join(said[:end].split()), "".join(said[end:].split())
