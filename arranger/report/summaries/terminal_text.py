"""The summary for a terminal, in its width: one screen, or all details as tables; plain when piped.

Names from inside files are `rich.text.Text`, which is never parsed as markup. Consoles that can't
show box characters get ASCII.
"""

from __future__ import annotations

import io
import os
import shutil
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any, TextIO

from arranger.errors import one_line, shortened
from arranger.report.summaries.brief import brief_lines, command_lines
from arranger.report.summaries.summary import (
    MOST_PARTS,
    MOST_REMARKS,
    MOST_TEXTURES,
    counts,
    played,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console, RenderableType
    from rich.table import Table

    from arranger.report.summaries.brief import TextLine
    from arranger.report.summaries.summary import Summary

PIPED = 80
NARROWEST = 40
BARS_WIDTH = 14
"""Of the column with the bars that need a hand: long lists are folded."""

_PLAIN = {0x201C: '"', 0x201D: '"', 0x2018: "'", 0x2019: "'", 0x2013: "-", 0x2212: "-"}
"""Typographic quotes, dash and minus for terminals that only have ASCII."""


def terminal_text(found: Summary, stream: TextIO, *, details: bool = False) -> str:
    """Return the summary as it should be written to a stream, without a final line feed.

    A terminal gets it in its width and its characters, anything else plain text of `PIPED` columns.

    Parameters
    ----------
    found
        What to tell.
    stream
        Where it goes.
    details
        Tell all of it: steps, parts, textures, reasons, as tables on a terminal. Else one screen.
    """
    found = _in_encoding(found, stream.encoding or "ascii")
    width = max(shutil.get_terminal_size().columns, NARROWEST) if stream.isatty() else PIPED
    if not details:
        lines = brief_lines(found, width)
        return "\n".join(_styled(line, stream) for line in lines)
    if not stream.isatty():
        return found.text(width)
    text = io.StringIO()
    console = _console(text, width)
    for block in _blocks(
        found, width, plain_boxes=not _can_show("─│┌", stream.encoding or "ascii")
    ):
        console.print(block)
    return text.getvalue().rstrip("\n")


def _styled(line: TextLine, stream: TextIO) -> str:
    return f"\x1b[1m{line.text}\x1b[0m" if line.bold and stream.isatty() else line.text


def _console(text: io.StringIO, width: int) -> Console:
    from rich.console import Console

    return Console(
        file=text,
        width=width,
        force_terminal=True,
        color_system=None if os.environ.get("NO_COLOR") else "standard",
        markup=False,
        emoji=False,
        highlight=False,
        legacy_windows=False,
    )


def _in_encoding(found: Summary, encoding: str) -> Summary:
    """Return the summary with what the encoding can't show as escapes, before it is laid out."""

    def shown(value: Any) -> Any:
        if isinstance(value, str):
            plain = value.translate(_PLAIN) if not _can_show(value, encoding) else value
            return one_line(plain).encode(encoding, "backslashreplace").decode(encoding)
        if isinstance(value, tuple):
            parts = map(shown, value)
            return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
        return value

    return replace(found, **{each.name: shown(getattr(found, each.name)) for each in fields(found)})


def _can_show(text: str, encoding: str) -> bool:
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _blocks(found: Summary, width: int, *, plain_boxes: bool) -> Iterator[RenderableType]:
    from rich.text import Text

    for doubt in found.doubts:
        yield Text(f"doubt: {doubt}", style="bold")
    yield Text.assemble((found.title, "bold"), "\n", played(found), "\n")
    if found.step_lines:
        yield _steps(found, plain_boxes)
        yield Text("")
    yield _parts(found, plain_boxes)
    if len(found.part_lines) > MOST_PARTS:
        yield Text(f"and {len(found.part_lines) - MOST_PARTS} more parts")
    if found.texture_lines:
        yield Text("")
        yield _textures(found, plain_boxes)
    if len(found.texture_lines) > MOST_TEXTURES:
        yield Text(f"and {len(found.texture_lines) - MOST_TEXTURES} more passages")
    yield Text.assemble("\n", (counts(found), "bold"), "\n")
    if found.reasons:
        yield _reasons(found, plain_boxes)
        yield Text("")
    if found.hand:
        yield _hand(found, plain_boxes)
        yield Text("")
    for remark in found.remarks[:MOST_REMARKS]:
        yield Text(f"note: {remark}")
    if len(found.remarks) > MOST_REMARKS:
        yield Text(f"note: {len(found.remarks) - MOST_REMARKS} more remarks are in the report")
    if found.memory:
        yield Text(found.memory)
    for tip in found.suggestions:
        yield Text(f"try ({tip.what}: {tip.effect}):")
        yield Text("\n".join(command_lines(tip.command, width)))
    for file in found.files:
        yield Text(f"wrote {file}", overflow="fold")


def _table(title: str, columns: str, *, plain: bool) -> Table:
    """Return an empty table; a column that starts with ">" holds numbers."""
    from rich.box import ASCII, SIMPLE_HEAD
    from rich.table import Table

    table = Table(
        title=title,
        title_justify="left",
        title_style="bold",
        box=ASCII if plain else SIMPLE_HEAD,
        pad_edge=False,
        show_edge=False,
    )
    for name in columns.split():
        right = name.startswith(">")
        table.add_column(
            name.lstrip(">").replace("_", " "),
            justify="right" if right else "left",
            no_wrap=right,
            overflow="fold",
            max_width=BARS_WIDTH if name == "bars" else None,
        )
    return table


def _steps(found: Summary, plain: bool) -> RenderableType:
    from rich.text import Text

    table = _table("Step", ">step >steps >merged >off_place >made_longer chosen", plain=plain)
    for line in found.step_lines:
        numbers = (line.steps, line.collided, line.misplaced, line.shortened)
        table.add_row(
            line.step,
            *map(str, numbers),
            Text("<- this one" if line.chosen else ""),
            style="bold" if line.chosen else "",
        )
    return table


def _parts(found: Summary, plain: bool) -> RenderableType:
    from rich.text import Text

    table = _table("Parts", ">part name role >heard >of why", plain=plain)
    for part in found.part_lines[:MOST_PARTS]:
        table.add_row(
            str(part.number),
            Text(shortened(part.name)),
            part.role,
            str(part.heard),
            str(part.notes),
            Text(part.why),
            style="bold" if part.role in {"tune", "bass"} else "",
        )
    return table


def _textures(found: Summary, plain: bool) -> RenderableType:
    from rich.text import Text

    table = _table("Textures", "bars texture why", plain=plain)
    for line in found.texture_lines[:MOST_TEXTURES]:
        table.add_row(line.bars.split(" ")[1], line.texture, Text(line.why))
    return table


def _reasons(found: Summary, plain: bool) -> RenderableType:
    table = _table("What decided", ">notes reason", plain=plain)
    for reason, count in found.reasons.items():
        table.add_row(str(count), reason)
    return table


def _hand(found: Summary, plain: bool) -> RenderableType:
    from rich.text import Text

    table = _table("Bars to mend first", "bars what_is_lacking", plain=plain)
    for line in found.hand:
        table.add_row(line.named.removeprefix("bar ").removeprefix("bars "), Text(line.sentence))
    return table
