"""A comparison as text: both sheets side by side, in so many columns.

A row is cut into pieces that fit half the width; pieces that are the same on both sides are left
out. Carets under the right side show the steps that differ.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from arranger.bars import beside
from arranger.errors import one_line
from arranger.sheet.form.text import VOICE_WORDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.sheet.compare import BarDifference, Comparison, SongNote
    from arranger.sheet.merging.pieces import BarPiece

WIDTH = 80
_LABEL = 12
_BETWEEN = 3
_CELL = 4
_MOST_NOTES = 6


def side_by_side(comparison: Comparison, left: str, right: str, width: int = WIDTH) -> str:
    """Return the comparison as text.

    ``left``, ``right``: what the sides are called.
    ``width``: in columns.
    """
    side = _side(width)
    lines = [
        f"{'':{_LABEL}}{_fitted(left, side)} | {_fitted(right, width - _LABEL - _BETWEEN - side)}".rstrip()
    ]
    for word, a, b in comparison.header:
        lines.append(f"{word:<{_LABEL}}{_fitted(a, side)} | {_fitted(b, side)}".rstrip())
    for bar in comparison.bars:
        lines.append("")
        lines.extend(_bar(bar, width))
    count = len(comparison.bars)
    lines += ["", f"{count} of {comparison.looked_at} bars differ" if count else "no bar differs"]
    back = sum(len(bar.brought_back) for bar in comparison.bars)
    lost = sum(len(bar.lost) for bar in comparison.bars)
    if comparison.with_song:
        lines[-1] += f"; {back} notes of the song are brought back, {lost} lost"
    return "\n".join(lines) + "\n"


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """Return the comparison as JSON can hold it; rows are words, as in the sheet."""
    return {
        "format": "arranger-comparison",
        "version": 1,
        "looked_at": comparison.looked_at,
        "header": [{"line": w, "left": a, "right": b} for w, a, b in comparison.header],
        "bars": [
            {
                "number": bar.number,
                "left": _rows(bar.left),
                "right": _rows(bar.right),
                "brings_back": [note.name for note in bar.brought_back],
                "loses": [note.name for note in bar.lost],
                "song_number": bar.song_number,
            }
            for bar in comparison.bars
        ],
    }


def _rows(bar: BarPiece | None) -> dict[str, list[str]] | None:
    if bar is None:
        return None
    return dict(zip(("voice1", "voice2", "drums"), _words(bar), strict=True))


def _side(width: int) -> int:
    """Return the columns of the left side: half of what names and the line between leave."""
    return (width - _LABEL - _BETWEEN + 1) // 2


def _bar(difference: BarDifference, width: int) -> Iterator[str]:
    side = _side(width)
    a, b = difference.left, difference.right
    yield f"bar {difference.number:<{_LABEL - 4}}{_head(a, side)} | {_head(b, side)}".rstrip()
    if told := beside(difference.number, difference.song_number):
        yield f" {told}"
    for label, left, right in zip(
        ("voice 1", "voice 2", "drums"), _words(a), _words(b), strict=True
    ):
        yield from _row(label, left, right, difference.group, side)
    yield from _listed("brings back", difference.brought_back, width)
    yield from _listed("loses", difference.lost, width)


def _head(bar: BarPiece | None, side: int) -> str:
    if bar is None:
        return _fitted("(not there)", side)
    loop = "" if bar.loop is None else "   loop"
    return _fitted(
        f"{bar.head.numerator}/{bar.head.denominator}   {bar.head.steps} steps{loop}", side
    )


def _words(bar: BarPiece | None) -> tuple[list[str], list[str], list[str]]:
    if bar is None:
        return [], [], []
    voice1, voice2, drums = bar.rows
    first, second = ([VOICE_WORDS[cell] for cell in row] for row in (voice1, voice2))
    return first, second, [drum or "." for drum in drums]


def _row(
    label: str, left: Sequence[str], right: Sequence[str], group: int, side: int
) -> Iterator[str]:
    """Yield the pieces of a row that differ; pieces are whole beats, ``group`` steps each."""
    cell = max(_CELL, 1 + max(map(len, (*left, *right)), default=0))
    size = max(1, side // cell)  # the right one may have a column less
    if size > group > 0:
        size -= size % group
    for start in range(0, max(len(left), len(right)), size):
        a, b = left[start : start + size], right[start : start + size]
        if a == b:
            continue
        head = f"{label:<8}{start + 1:>3} "
        yield f"{head}{_cells(a, cell, side)} | {_cells(b, cell, side)}".rstrip()
        longest = max(len(a), len(b))
        marks = [
            "^" * len(_at(b, n) or ".") if _at(a, n) != _at(b, n) else "" for n in range(longest)
        ]
        yield f"{'':{_LABEL}}{'':{side}}   {_cells(marks, cell, side)}".rstrip()


def _at(words: Sequence[str], index: int) -> str | None:
    return words[index] if index < len(words) else None


def _cells(words: Sequence[str], cell: int, side: int) -> str:
    return _fitted("".join(f"{word:<{cell}}" for word in words).rstrip(), side)


def _fitted(text: str, side: int) -> str:
    text = one_line(text)
    return text.ljust(side) if len(text) <= side else "…" + text[-side + 1 :]


def _listed(what: str, notes: Sequence[SongNote], width: int) -> Iterator[str]:
    """Yield a list of notes, in lines that fit."""
    if not notes:
        return
    words = [f"{one_line(note.name)} (beat {float(note.beat):g})" for note in notes[:_MOST_NOTES]]
    if len(notes) > _MOST_NOTES:
        words.append(f"and {len(notes) - _MOST_NOTES} more")
    line = f"  {what}: "
    for index, word in enumerate(words):
        word += ", " if index + 1 < len(words) else ""
        if len(line + word.rstrip()) > width and line.strip():
            yield line.rstrip()
            line = "    "
        line += word
    yield line[:width].rstrip()
