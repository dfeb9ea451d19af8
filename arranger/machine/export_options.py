"""What a user can choose of an export."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportOptions:
    """Choices of all formats; each looks at those that concern it."""

    address: int | None = None
    """Where code and data will lie in memory; None: where the player's source says."""
    entries: tuple[str, ...] = ()
    """Of the Z80 player: the ways to call it that are wanted; empty: all."""
    prefix: str = ""
    """What labels of assembly, and names in C, begin with."""
    stem: str = ""
    """What the file written is called, without its suffix; empty: it has no name."""
    part: str = ""
    """Of the Z80 player with songs: "player" or "songs" alone; empty: both."""
    effects: tuple[str, ...] = ()
    """Drum sounds that a program asks the Z80 player for by themselves."""
