"""The lines above a sheet's first bar, as they are read."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

from arranger.sheet.form.header_values import (
    MOST_SOUNDS,
    UnknownWord,
    read_length,
    read_sound,
    read_step,
    read_tempo,
)
from arranger.sheet.form.lexical import unquoted, value_span
from arranger.sheet.form.text import HEADER

if TYPE_CHECKING:
    from arranger.sheet.model import SheetSound

SOUND = "drum"
"""The word of the lines of which there may be several."""
HEADER_WORDS = frozenset((*HEADER[:-1], SOUND))


@dataclass(slots=True)
class HeaderRead:
    """What was read so far."""

    values: dict[str, str] = field(default_factory=dict)
    """By word, without quotes."""
    lines: dict[str, int] = field(default_factory=dict)
    """The number of each word's line."""
    step: Fraction = Fraction(1, 4)
    length: int | None = None
    tempo: float | None = None
    sounds: list[SheetSound] = field(default_factory=list)
    sound_lines: list[int] = field(default_factory=list)

    def row(self, word: str) -> int:
        """Return which line of the header the next one with a word is (``Comment.row``)."""
        return len(HEADER) + len(self.sounds) if word == SOUND else HEADER.index(word)

    def read(self, word: str, code: str, line: int) -> None:
        """Take in a line without its comment.

        Raises `UnknownWord` if its value stands for nothing, or the line is one too many.
        """
        if word in self.values:
            raise UnknownWord("twice", f"{word} stands twice", "take one away")
        column, _ = value_span(code)
        value = code[column - 1 :].strip() if column > 1 else ""
        if word == SOUND:
            self._sound(read_sound(value), line)
            return
        plain = unquoted(value) if value.startswith('"') else value
        self.lines[word] = line
        self.values[word] = plain or ""
        if plain is None:
            raise UnknownWord("quotes", "the quotes don't match", 'write \\" for a quote')
        if word == "step":
            self.step = read_step(plain)
        elif word == "length":
            self.length = read_length(plain)
        elif word == "tempo":
            self.tempo = read_tempo(plain)

    def _sound(self, sound: SheetSound, line: int) -> None:
        if sound.name in {known.name for known in self.sounds}:
            raise UnknownWord(
                "twice", f"drum {sound.name} stands twice", "take one away, or rename it"
            )
        if len(self.sounds) == MOST_SOUNDS:
            raise UnknownWord(
                "drum-sounds", f"more than {MOST_SOUNDS} drum sounds", "take some away"
            )
        self.sounds.append(sound)
        self.sound_lines.append(line)
