"""A second reading of what is heard of notes, lines and bars: step by step, as `hearing` and `losses` say it."""

from __future__ import annotations

from fractions import Fraction
from math import ceil, floor
from typing import TYPE_CHECKING

from arranger.rows import tones

if TYPE_CHECKING:
    from arranger.conversion import Conversion
    from arranger.grid.model import Grid

LINES = ("tune", "bass", "harmony", "drums")
WORTH = (30, 20, 10, 7)
AS_ASKED = ("track-muted", "silent", "beyond-limit", "by-hand")

Beat = tuple[int, int]
"""The index of a bar and the beat in it, from 1."""


def beat_of(grid: Grid, step: int) -> Beat:
    """Return the beat that a step is in."""
    index = max(at for at, bar in enumerate(grid.bars) if bar.first_step <= step)
    bar = grid.bars[index]
    quarters = (step - bar.first_step) * grid.step_beats
    return index, floor(quarters * bar.denominator / 4) + 1


class Plain:
    """What a conversion lets be heard."""

    def __init__(self, conversion: Conversion) -> None:
        self.song, self.grid = conversion.song, conversion.grid
        self.reduction, self.engine = conversion.reduction, conversion.engine
        self.of_step = [beat_of(self.grid, step) for step in range(self.grid.steps)]
        self.beats = list(dict.fromkeys(self.of_step))
        self.lines = [self._line(note) for note in range(len(self.song.notes))]
        self.asked = [self._asked(note) for note in range(len(self.song.notes))]
        self.on = [self._beats(note) for note in range(len(self.song.notes))]
        self.sounding = self._sounding()
        self.shares = [self._share(note) for note in range(len(self.song.notes))]

    def _line(self, note: int) -> str:
        entry, written = self.reduction.ledger.entries[note], self.song.notes[note]
        role, weights = self.reduction.roles[written.part].role, self.reduction.weights
        if self.grid.onset_steps[note] < 0 or set(entry.reasons[:1]) & {*AS_ASKED}:
            return "none"
        if role == "muted":
            return "none"
        if weights is None or role == "drums":
            return role
        if weights.tune[note] >= 0.5:
            return "tune"
        return "bass" if weights.bass[note] >= 0.5 else "harmony"

    def _asked(self, note: int) -> int:
        """Return for how many steps a note is to be heard."""
        start, end = int(self.grid.onset_steps[note]), int(self.grid.end_steps[note])
        steps, written = max(end - start, 1), self.song.notes[note]
        if written.rings:
            steps = steps * (written.duration - written.rings) // max(written.duration, 1)
        if self.lines[note] in ("tune", "bass"):
            onsets = [
                int(self.grid.onset_steps[other])
                for other, line in enumerate(self.lines)
                if line == self.lines[note] and self.grid.onset_steps[other] > start
            ]
            steps = min(steps, min([*onsets, self.grid.steps]) - start)
        return max(steps, 1)

    def _sounding(self) -> dict[Beat, set[int]]:
        """Return which of the song's pitch classes are heard on each beat."""
        found: dict[Beat, set[int]] = {beat: set() for beat in self.beats}
        silencing = self.engine.silencing(self.reduction.drums)
        for row in (self.reduction.voice1, self.reduction.voice2):
            for step, pitch in enumerate(tones(row)):
                if pitch is not None and self.reduction.drums[step] not in silencing:
                    written = pitch - self.reduction.ledger.transpose
                    found[self.of_step[step]].add(written % 12)
        return found

    def _beats(self, note: int) -> list[Beat]:
        """Return the beats that a note is asked for on."""
        start = max(int(self.grid.onset_steps[note]), 0)
        end = min(start + self.asked[note], self.grid.steps)
        return list(dict.fromkeys(self.of_step[start:end]))

    def _share(self, note: int) -> int:
        entry, line = self.reduction.ledger.entries[note], self.lines[note]
        if line == "harmony" and entry.outcome in ("changed", "dropped"):
            beats = self.on[note]
            pitch = self.song.notes[note].pitch % 12
            return 100 * sum(pitch in self.sounding[beat] for beat in beats) // len(beats)
        if entry.outcome == "dropped":
            return 0
        if line not in ("tune", "bass") or entry.outcome == "kept" or not entry.reasons:
            return 100
        octave = 0.9 if {"octave-folded", "octave-doubled"} & {*entry.reasons} else 1.0
        if entry.outcome == "merged":
            return int(100 * octave * (0.5 if "repeat-tied" in entry.reasons else 1.0))
        late = (entry.spans[0].step - float(self.grid.positions[note])) * (
            self.grid.step_length.seconds
        ) + entry.late_seconds
        begun = min(max((0.25 - abs(late)) / 0.19, 0.0), 1.0)
        start = int(self.grid.onset_steps[note])
        inside = range(start, start + self.asked[note])
        there = sum(
            step in inside
            for voice, first, steps in entry.spans
            if voice > 0
            for step in range(first, first + steps)
        )
        time = min(there / len(inside), 1.0)
        if line == "bass" and "broken-chord" in entry.reasons:
            time = 1.0
        return int(100 * octave * (0.5 * begun + 0.5 * time))

    def lost(self, line: str, beat: Beat) -> int | None:
        """Return how many thousandths of a line aren't heard on a beat; None where it isn't asked for."""
        whole = got = 0
        for note, share in enumerate(self.shares):
            beats = self.on[note][: 1 if line == "drums" else None]
            if self.lines[note] == line and beat in beats:
                value = 50 + round(self.song.notes[note].loudness * 50)
                whole, got = whole + 100 * value, got + share * value
        return ceil(Fraction(1000 * (whole - got), whole)) if whole else None

    def bar(self, index: int) -> tuple[tuple[int | None, ...], tuple[int, ...]]:
        """Return how much of each line is heard in a bar, and what each lost."""
        heard: list[int | None] = []
        losses = []
        length = max(64 // self.grid.bars[index].denominator, 1)
        for line, worth in zip(LINES, WORTH, strict=True):
            lost = [self.lost(line, beat) for beat in self.beats if beat[0] == index]
            asked = [each for each in lost if each is not None]
            share = 100 - ceil(Fraction(sum(asked), 10 * len(asked))) if asked else None
            heard.append(share)
            losses.append(sum(worth * each * length // 16 for each in asked))
        return tuple(heard), tuple(losses)
