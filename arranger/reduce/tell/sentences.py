"""Sentences: what became of a note and why, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np

from arranger.bars import beside
from arranger.columns import view
from arranger.errors import one_line
from arranger.pitch import pitch_name
from arranger.reduce.reasons import (
    AFTER_DRUM,
    CHANGED,
    DRUM_OFF,
    FOR_BYTES,
    LATER,
    OTHER_OCTAVE,
    REASONS,
)
from arranger.song.general_midi import percussion_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Ints
    from arranger.grid.model import Grid
    from arranger.reduce.ledger import Entry
    from arranger.reduce.model import Reduction
    from arranger.song.model import Song

_Value = TypeVar("_Value")

_MARKED = 0.5
"""Tune or bass weight from which a note is called so."""


def explanations(
    song: Song,
    grid: Grid,
    reduction: Reduction,
    *,
    bars: Sequence[int],
    beats: Sequence[float],
    song_bars: Sequence[int] | None = None,
    notes: Sequence[int] | None = None,
) -> list[str]:
    """Return one sentence a note, in order.

    Parameters
    ----------
    song, grid, reduction
        The conversion.
    bars, beats
        Where each note is written, as people count: bar number, and beat of the metre from 1.
    song_bars
        The song's number of the bar, told beside where it is another; None: always the same.
    notes
        The notes to speak of; None: all.

    Returns
    -------
    list of str
        Such as "bar 12 beat 3, E4 of 'strings': dropped, both voices were busy with C5 (tune) and
        A2 (bass)". One line each: names from the file are made printable.
    """
    notes = range(len(song.notes)) if notes is None else notes
    writer = _Writer(song, grid, reduction)
    of_part = [f" of '{one_line(part.name)}': " for part in song.parts]
    here = _of(bars, notes), _of(bars if song_bars is None else song_bars, notes)
    places, on = list(zip(*here, strict=True)), _of(beats, notes)
    bar_text = {place: f"bar {place[0]}{beside(*place)}" for place in set(places)}
    beat_text = {beat: f" beat {round(beat, 2):g}, " for beat in set(on)}
    return [
        f"{bar_text[place]}{beat_text[beat]}{name}{of_part[part]}{writer.fate(entry)}"
        for place, beat, name, part, entry in zip(
            places,
            on,
            _of(writer.names, notes),
            _of(view(song.columns.part), notes),
            _of(reduction.ledger.entries, notes),
            strict=True,
        )
    ]


def _of(column: Sequence[_Value], notes: Sequence[int]) -> Sequence[_Value]:
    """Return what a column has for some notes."""
    if isinstance(notes, range):
        return column[notes.start : notes.stop]
    return [column[note] for note in notes]


_PITCHES = [pitch_name(pitch) for pitch in range(128)]
_NAMES = [*_PITCHES, *(percussion_name(key) for key in range(128))]
MARKS = ("", " (tune)", " (bass)")
_LABELS = [f"{name}{mark}" for mark in MARKS for name in _NAMES]


class _Writer:
    """Fills the templates; remembers what was said."""

    def __init__(self, song: Song, grid: Grid, reduction: Reduction) -> None:
        drum = song.columns.drum
        kinds = song.columns.pitch + len(_PITCHES) * drum
        self.names: list[str] = [_NAMES[kind] for kind in kinds.tolist()]
        """What each note is called: pitch, or General MIDI drum."""
        kinds += len(_NAMES) * _marks(song, reduction)
        self._labels: list[str] = [_LABELS[kind] for kind in kinds.tolist()]
        self._drum = view(drum)
        self._part = view(song.columns.part)
        self._muted = [role.role == "muted" for role in reduction.roles]
        self._onset = view(grid.onset_steps)
        self._offset = view(grid.positions - grid.onset_steps)
        self._step_ms = grid.step_length.seconds * 1000
        self._said: dict[tuple[object, ...], str] = {}
        filling = np.zeros(len(song.notes) + 1, dtype=np.bool_)
        for row in (reduction.sources1, reduction.sources2):
            filling[np.array(row, dtype=np.int64)] = True  # a rest, -1, marks the one too many
        self._filling = view(filling)

    def fate(self, entry: Entry) -> str:
        """Return a note's outcome, and all reasons why it has it."""
        if not entry.reasons and not entry.by:
            return entry.outcome
        return f"{entry.outcome}, {self.told(entry)}"

    def told(self, entry: Entry) -> str:
        """Return why a note has its outcome, all reasons."""
        note, _, reasons, spans, _, by, _, _ = entry
        decided = reasons[0] if reasons else ""
        if decided == "beyond-limit" and self._onset[note] >= 0:
            return FOR_BYTES
        if decided == "track-muted" and not self._muted[self._part[note]]:
            return DRUM_OFF
        if not spans:
            key = (reasons, by, self._filling[note])
            if key not in self._said:
                self._said[key] = self._one(entry, decided)
            return self._said[key]
        said = [self._one(entry, reason) for reason in reasons]
        if by and self._after_drum(entry):
            said.append(self._filled(AFTER_DRUM, entry, "delayed-by-drum"))
        return "; ".join(said)

    def _after_drum(self, entry: Entry) -> bool:
        """Return whether a drum on its step is all that makes a note late."""
        late = entry.spans[0].step > self._onset[entry.note]
        known = late or "delayed-by-drum" in entry.reasons or self._drum[entry.note]
        return not known and any(self._drum[note] for note in entry.by)

    def _one(self, entry: Entry, reason: str) -> str:
        said = REASONS[reason]
        if entry.outcome == "changed":
            said = CHANGED.get(reason, said)
            if reason == "octave-folded" and "by-hand" in entry.reasons:
                said = OTHER_OCTAVE
        elif not entry.spans and self._filling[entry.note]:
            said = LATER.get(reason, said)
        return self._filled(said, entry, reason)

    def _filled(self, said: str, entry: Entry, reason: str) -> str:
        if "{late}" in said:
            said = said.replace("{late}", f"{1000 * entry.late_seconds:.0f} ms")
        if "{pitch_out}" in said:
            out = entry.pitch_out
            said = said.replace("{pitch_out}", "" if out is None else _PITCHES[out])
        if "{moved}" in said:
            said = said.replace("{moved}", self._moved(entry, reason))
        if "{steps}" in said:
            said = said.replace("{steps}", _steps(entry))
        if "{by}" in said:
            said = said.replace("{by}", self._by(entry, reason))
        return said

    def _by(self, entry: Entry, reason: str) -> str:
        if len(entry.by) == 1:
            return self._labels[entry.by[0]]
        # several causes share the list: drums cover and delay, tones do the rest
        drums = reason in {"delayed-by-drum", "under-drum"}
        by = [note for note in entry.by if self._drum[note] == drums] or entry.by
        return in_a_row([*dict.fromkeys([self._labels[note] for note in by])]) or "other notes"

    def _moved(self, entry: Entry, reason: str) -> str:
        if reason == "voices-full":
            late = entry.spans[0].step - self._onset[entry.note]
            return "1 step late" if late == 1 else f"{late} steps late"
        milliseconds = -self._offset[entry.note] * self._step_ms
        return f"{abs(milliseconds):.0f} ms {'late' if milliseconds > 0 else 'early'}"


def _steps(entry: Entry) -> str:
    steps = sum([span.steps for span in entry.spans])
    return "1 step" if steps == 1 else f"{steps} steps"


def in_a_row(names: Sequence[str]) -> str:
    """Return names as people list them: "A2, C4 and E4"."""
    return " and ".join([", ".join(names[:-1]), *names[-1:]] if len(names) > 2 else names)


def _marks(song: Song, reduction: Reduction) -> Ints:
    """Return for each note the index into `MARKS`."""
    if reduction.weights is None:
        named = {"tune": 1, "bass": 2}
        by_part = np.array([named.get(role.role, 0) for role in reduction.roles], dtype=np.int64)
        return by_part[song.columns.part]
    tune, bass = reduction.weights.tune >= _MARKED, reduction.weights.bass >= _MARKED
    return np.where(tune, 1, np.where(bass, 2, 0))
