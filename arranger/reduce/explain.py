"""Sentences: what became of a note and why, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.errors import one_line
from arranger.pitch import pitch_name
from arranger.reduce.reasons import CHANGED, FOR_BYTES, REASONS
from arranger.song.general_midi import percussion_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.grid.model import Grid
    from arranger.reduce.ledger import Entry
    from arranger.reduce.model import Reduction
    from arranger.song.model import Song

_MARKED = 0.5
"""Tune or bass weight from which a note is called so."""


def explanations(
    song: Song, grid: Grid, reduction: Reduction, *, bars: Sequence[int], beats: Sequence[float]
) -> list[str]:
    """Return one sentence a note, in order.

    Parameters
    ----------
    song, grid, reduction
        The conversion.
    bars, beats
        Where each note is written, as people count: bar number, and beat of the metre from 1.

    Returns
    -------
    list of str
        Such as "bar 12 beat 3, E4 of 'strings': dropped, both voices were busy with C5 (tune) and
        A2 (bass)". One line each: names from the file are made printable.
    """
    writer = _Writer(song, grid, reduction)
    of_part = [f" of '{one_line(part.name)}': " for part in song.parts]
    beat_text = {beat: f" beat {round(beat, 2):g}, " for beat in set(beats)}
    names = writer.names
    return [
        f"bar {bar}{beat_text[beat]}{name}{of_part[part]}{entry.outcome}"
        if not entry.reasons
        else f"bar {bar}{beat_text[beat]}{name}{of_part[part]}{entry.outcome}, {writer.told(entry)}"
        for bar, beat, name, part, entry in zip(
            bars, beats, names, song.columns.part.tolist(), reduction.ledger.entries, strict=True
        )
    ]


class _Writer:
    """Fills the templates; remembers what was said."""

    def __init__(self, song: Song, grid: Grid, reduction: Reduction) -> None:
        pitches = [pitch_name(pitch) for pitch in range(128)]
        drums = [percussion_name(key) for key in range(128)]
        self._drum: list[bool] = song.columns.drum.tolist()
        keys = zip(song.columns.pitch.tolist(), self._drum, strict=True)
        self.names = [(drums if drum else pitches)[pitch] for pitch, drum in keys]
        self._pitches = pitches
        self._onset: list[int] = grid.onset_steps.tolist()
        self._offset: list[float] = (grid.positions - grid.onset_steps).tolist()
        self._step_ms = grid.step_length.seconds * 1000
        self._label = [
            f"{name}{mark}" for name, mark in zip(self.names, _marks(song, reduction), strict=True)
        ]
        self._said: dict[tuple[object, ...], str] = {}

    def told(self, entry: Entry) -> str:
        """Return why a note has its outcome, all reasons."""
        if entry.reasons[0] == "beyond-limit" and self._onset[entry.note] >= 0:
            return FOR_BYTES
        if not entry.spans:
            key = (entry.reasons, entry.by)
            if key not in self._said:
                self._said[key] = self._one(entry, entry.reasons[0])
            return self._said[key]
        return "; ".join([self._one(entry, reason) for reason in entry.reasons])

    def _one(self, entry: Entry, reason: str) -> str:
        said = REASONS[reason]
        if entry.outcome == "changed":
            said = CHANGED.get(reason, said)
        if "{pitch_out}" in said:
            out = entry.pitch_out
            said = said.replace("{pitch_out}", "" if out is None else self._pitches[out])
        if "{moved}" in said:
            said = said.replace("{moved}", self._moved(entry, reason))
        if "{steps}" in said:
            said = said.replace("{steps}", _steps(entry))
        if "{by}" in said:
            said = said.replace("{by}", self._by(entry, reason))
        return said

    def _by(self, entry: Entry, reason: str) -> str:
        by = entry.by
        if len(entry.reasons) > 1:
            # several causes share the list: drums cover and delay, tones do the rest
            drums = reason in {"delayed-by-drum", "under-drum"}
            by = tuple(note for note in by if self._drum[note] == drums) or by
        return " and ".join([self._label[note] for note in by]) or "other notes"

    def _moved(self, entry: Entry, reason: str) -> str:
        if reason == "voices-full":
            late = entry.spans[0].step - self._onset[entry.note]
            return "1 step late" if late == 1 else f"{late} steps late"
        milliseconds = -self._offset[entry.note] * self._step_ms
        return f"{abs(milliseconds):.0f} ms {'late' if milliseconds > 0 else 'early'}"


def _steps(entry: Entry) -> str:
    steps = sum([span.steps for span in entry.spans])
    return "1 step" if steps == 1 else f"{steps} steps"


def _marks(song: Song, reduction: Reduction) -> list[str]:
    """Return " (tune)", " (bass)" or nothing for each note."""
    if reduction.weights is None:
        named = {"tune": " (tune)", "bass": " (bass)"}
        by_part = [named.get(role.role, "") for role in reduction.roles]
        return [by_part[part] for part in song.columns.part.tolist()]
    tune = (reduction.weights.tune >= _MARKED).tolist()
    bass = (reduction.weights.bass >= _MARKED).tolist()
    return [" (tune)" if t else " (bass)" if b else "" for t, b in zip(tune, bass, strict=True)]
