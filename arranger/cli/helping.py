"""How ``--help`` looks: options and commands in groups, nothing cut, lines broken between words only.

Where typer is asked for no markup it leaves the text of its help to the parser beneath, which cuts what
commands do at the line's end, breaks at hyphens, and lists options in one row; so this module writes it.
"""

from __future__ import annotations

from inspect import cleandoc
from typing import TYPE_CHECKING, Any

from typer.core import TyperGroup

if TYPE_CHECKING:
    from collections.abc import Iterable

WIDEST = 110
"""Columns; longer lines are hard to read."""
_LEFT = 30
"""Columns of names, above which the words stand below them."""
_OTHERS = "Options"


class Helping:
    """What has such help: the program, or a command."""

    help: str | None

    def format_help_text(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002 - as the parser calls it
        r"""Write what it does: paragraphs; one that begins with ``\b`` keeps its lines."""
        for paragraph in cleandoc(self.help or "").split("\n\n"):
            first, _, rest = paragraph.partition("\n")
            lines = rest.split("\n") if first.strip() == "\b" else _wrapped(paragraph, formatter, 2)
            formatter.write("\n" + "".join(f"  {line}\n" for line in lines))

    def format_options(self: Any, ctx: Any, formatter: Any) -> None:
        """Write arguments and options by their groups, those without one first."""
        groups: dict[str, list[tuple[str, str]]] = {}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record is not None:
                argument = parameter.param_type_name == "argument"
                panel = "Arguments" if argument else parameter.rich_help_panel or _OTHERS
                groups.setdefault(panel, []).append(record)
        width = max((len(name) for rows in groups.values() for name, _ in rows), default=0)
        for panel in sorted(groups, key=lambda panel: (panel != "Arguments", panel == _OTHERS)):
            write_rows(formatter, panel, groups[panel], min(width, _LEFT))


class Group(Helping, TyperGroup):
    """The program as a whole: its commands by what they are for."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write options, then commands."""
        super().format_options(ctx, formatter)
        groups: dict[str, list[tuple[str, str]]] = {}
        for name in self.list_commands(ctx):
            command: Any = self.get_command(ctx, name)
            row = name, command.get_short_help_str(limit=10_000)
            groups.setdefault(command.rich_help_panel, []).append(row)
        width = max(len(name) for rows in groups.values() for name, _ in rows)
        for panel, rows in groups.items():
            write_rows(formatter, panel, rows, width)


def write_rows(formatter: Any, title: str, rows: Iterable[tuple[str, str]], width: int) -> None:
    """Write names with their words beside them, under a title."""
    formatter.write(f"\n{title}:\n")
    left = width + 4
    for name, words in rows:
        lines = _wrapped(words, formatter, left) or [""]
        if len(name) > width:
            formatter.write(f"  {name}\n")
        else:
            formatter.write(f"  {name:<{width}}  {lines.pop(0)}".rstrip() + "\n")
        formatter.write("".join(f"{'':{left}}{line}\n" for line in lines))


def _wrapped(text: str, formatter: Any, indent: int) -> list[str]:
    from textwrap import wrap

    room = max(formatter.width - indent, 20)
    return wrap(text, room, break_long_words=False, break_on_hyphens=False)
