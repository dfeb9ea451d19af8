"""A conversion in one screen: what a musician wants to know first, and what to do next.

At most `MOST_LINES` lines at 80 columns, whatever the song: what it is and whether it fits, how much of
tune, bass, harmony and drums is heard, the bars to mend, what the conversion had to remark, what to
try, what to open. Whatever is left out is told with the option that shows it. Lines are broken
between words only, command lines so that the shell reads them as one.
"""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING, NamedTuple

from arranger.bars import minutes_text
from arranger.errors import shortened
from arranger.report.heard.hearing import LINES
from arranger.report.summaries.command import shell_word, shell_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.report.summaries.summary import Summary

MOST_LINES = 23
"""A screen of 24 lines less one for the prompt."""
_MOST_TIPS = 2
_LEAST_ROOM = 9
"""Lines for bars to mend and remarks, if it need be at the expense of what to try."""
_TITLE = 60
_FOR_SHELL = " \\"


class TextLine(NamedTuple):
    """A line of text, bold or not."""

    text: str
    bold: bool = False


def brief_lines(found: Summary, width: int = 80) -> list[TextLine]:
    """Return the lines of a conversion's summary."""
    head = [*_doubts(found, width), *_head(found, width), *_heard(found, width)]
    head += map(TextLine, _filled(found.step_sentence, width) if found.step_sentence else [])
    files = _files(found, width)
    tips = _tips(found, width, _MOST_TIPS)
    if len(head) + len(files) + len(tips) > MOST_LINES - _LEAST_ROOM:
        tips = _tips(found, width, 1)
    tail = [*files, *tips]
    room = MOST_LINES - len(head) - len(tail)
    remarks = _listed("note: ", found.remarks, width, room * 2 // 5, "remark")
    mend = _mend(found, width, room - len(remarks))
    remarks = _listed("note: ", found.remarks, width, room - len(mend), "remark")
    return [*head, *mend, *remarks, *tail]


def lead(found: Summary) -> str:
    """Return how long the piece is, how fast, and whether it fits."""
    bars = f"{found.bars} {'bar' if found.bars == 1 else 'bars'}"
    tempo = f"{found.asked_bpm:.4g}"
    off = abs(found.played_bpm / found.asked_bpm - 1)
    if off >= 0.001:
        tempo += f" (played at {found.played_bpm:.4g})"
    if found.dotted_bpm is not None:
        tempo += f", {found.dotted_bpm:.4g} dotted beats"
    moved = f", moved by {found.transpose:+d} semitones" if found.transpose else ""
    return f"{minutes_text(found.seconds)}, {bars}, tempo {tempo}{moved}"


def size(found: Summary) -> str:
    """Return whether the piece fits, in words."""
    if found.bytes_free >= 0:
        return f"fits: {found.bytes_used:,} of {found.bytes_used + found.bytes_free:,} bytes"
    memory = found.bytes_used + found.bytes_free
    return f"DOESN'T FIT: {-found.bytes_free:,} bytes more than the {memory:,} there are"


def shares(found: Summary) -> str:
    """Return how much of each line of the music is heard."""
    told = [
        f"{line} {share} %"
        for line, share in zip(LINES, found.heard, strict=True)
        if share is not None
    ]
    return ", ".join(told) or "nothing"


def _doubts(found: Summary, width: int) -> list[TextLine]:
    """Return what isn't sure of beat and bars: it may make all else worthless."""
    return [
        TextLine(text, True) for doubt in found.doubts for text in _filled(f"doubt: {doubt}", width)
    ]


def _head(found: Summary, width: int) -> list[TextLine]:
    first = f"{shortened(found.title, _TITLE)}: {lead(found)}; {size(found)}"
    return [TextLine(text, place == 0) for place, text in enumerate(_filled(first, width))]


def _heard(found: Summary, width: int) -> list[TextLine]:
    lines = [TextLine(text, True) for text in _filled(f"heard: {shares(found)}", width)]
    who = [
        f"{part.role}: {shortened(part.name)} (part {part.number})"
        for part in found.part_lines
        if part.role in {"tune", "bass"}
    ]
    several = f"; {len(who) - 4} more" if len(who) > 4 else ""
    if who:
        lines += map(TextLine, _filled("; ".join(who[:4]) + several, width))
    return lines


def _mend(found: Summary, width: int, room: int) -> list[TextLine]:
    """Return the bars to mend, in so many lines."""
    if not found.hand:
        return [TextLine("no bar needs mending")] if room > 0 else []
    told = [f"{each.named}: {each.sentence}" for each in found.hand]
    return [
        TextLine("bars to mend first:"),
        *_listed("  ", told, width, room - 1, "place", found.places),
    ]


def _listed(
    mark: str, items: Sequence[str], width: int, room: int, what: str, count: int = 0
) -> list[TextLine]:
    """Return items in so many lines, and how many more there are of `count`, or of these."""
    left = max(count, len(items))
    lines: list[TextLine] = []
    for item in items:
        own = _filled(f"{mark}{item}", width)
        if len(lines) + len(own) + (left > 1) > room:
            break
        lines += map(TextLine, own)
        left -= 1
    if left and room > len(lines):
        plural = "s" if left > 1 else ""
        lines.append(TextLine(f"  {left} more {what}{plural}: see the report, or --details"))
    return lines


def _tips(found: Summary, width: int, most: int) -> list[TextLine]:
    lines: list[TextLine] = []
    for tip in found.suggestions[:most]:
        lines += map(TextLine, _filled(f"try ({tip.what}: {tip.effect}):", width))
        lines += map(TextLine, command_lines(tip.command, width))
    return lines


def _files(found: Summary, width: int) -> list[TextLine]:
    if not found.files:
        return []
    first, *others = found.files
    stem = first.removesuffix(".duet")
    names = ", ".join([first, *(each.removeprefix(stem) for each in others)])
    lines = [TextLine(text) for text in _filled(f"wrote {names}", width)]
    lines.append(TextLine("hear it again at each save while you edit:"))
    lines += map(TextLine, command_lines(f"arranger render {shell_word(first)} --watch", width))
    page = next((each for each in found.files if each.endswith(".report.html")), None)
    if page is not None:
        lines.append(TextLine("open in a browser, to see and hear each bar:"))
        lines.append(TextLine(f"  {page}", True))
    return lines


def command_lines(command: str, width: int) -> list[str]:
    r"""Return a command in lines that a shell reads as one, broken between words.

    >>> command_lines("arranger convert 'my song.mid' -o out --step 1/4", 36)
    ["  arranger convert 'my song.mid' \\", '      -o out --step 1/4']
    """
    lines, line = [], "  "
    for word in shell_words(command):
        if line.strip() and len(line) + len(word) + len(_FOR_SHELL) > width:
            lines.append(line.rstrip() + _FOR_SHELL)
            line = "      "
        line += f"{word} "
    return [*lines, line.rstrip()]


def _filled(text: str, width: int) -> list[str]:
    return wrap(
        text, width, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
    )
