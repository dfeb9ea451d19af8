"""Which bars have which texture, and why, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import one_line, shortened
from arranger.reduce.choose.material import MOST_OF_BAR

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.reduce.model import TexturePassage
    from arranger.song.model import Part

MEANINGS: dict[str, str] = {
    "tune-and-bass": "two lines, tune and bass first",
    "broken-chord": "the tune in voice 1 and, in voice 2 and where the tune rests, the notes of the chords by turns",
    "two-highest": "the highest note and the second highest",
    "bass-and-chord": "an accompaniment for a live player",
    "as-written": "the parts named voice 1 and voice 2, unchanged",
}
"""What the voices play in each texture."""


class TextureLine(NamedTuple):
    """The texture of some bars."""

    bars: str
    """As people say them: "bars 1-16"."""
    texture: str
    why: str

    def __str__(self) -> str:
        return f"{self.bars}: {self.texture}, {self.why}"


def texture_line(passage: TexturePassage, parts: Sequence[Part]) -> TextureLine:
    """Return which texture a passage has, and why."""
    first, last = passage.first_bar, passage.last_bar
    bars = f"bar {first}" if first == last else f"bars {first}-{last}"
    song_first, song_last = passage.song_first_bar, passage.song_last_bar
    if song_first is not None and song_last is not None:
        bars += f" (the song's {_range(song_first, song_last)})"
    return TextureLine(bars, passage.texture, _why(passage, parts))


def _range(first: int, last: int) -> str:
    return str(first) if first == last else f"{first}-{last}"


def _why(passage: TexturePassage, parts: Sequence[Part]) -> str:
    if passage.asked:
        return "as asked"
    broken = passage.texture == "broken-chord"
    if broken != (passage.chords >= MOST_OF_BAR):  # others were asked for beside it
        return f"since {'chords' if broken else 'lines'} prevail around"
    if passage.part < 0:
        return "since no part has chords"
    share = f"{100 * passage.chords:.0f} % of the time"
    if not broken:
        return f"since chords sound for only {share}"
    name = shortened(one_line(parts[passage.part].name))
    return f"since chords sound for {share}, mostly in '{name}'"
