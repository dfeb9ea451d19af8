"""What became of every note: from the performance to the ledger's entries.

Thresholds
----------
A note is **kept** when it sounds in its own octave, starts within a tenth of a step (or 10 ms) of
where it is written, and ends within half a step of where it is written to end. Else it is
**changed** and the reasons say how.

A note that no voice holds is **merged** when its pitch sounds all the same for at least half of its
length, or when its pitch class does in another octave from a note that starts with it or that it is
known to double. Else it is **dropped**.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from arranger.reduce.ledger import Entry, Span

if TYPE_CHECKING:
    from arranger.grid.model import Grid
    from arranger.reduce.attacks import Performance, Stretch
    from arranger.reduce.candidates import Floats, Ints, Problem
    from arranger.reduce.prepare import Prepared

START_SHARE = 0.1
"""Of a step, by which a kept note may start elsewhere than written."""

START_SECONDS = 0.01

END_SHARE = 0.5
"""Of a step, by which a kept note may end elsewhere than written."""

HEARD_SHARE = 0.5
"""Of its length, for which the pitch of a merged note must sound."""


_TURNS = frozenset({"voices-full", "shortened-by-next-note", "shortened-for-gap"})
"""What happens to the notes of a broken chord because they take turns."""


class Accountant:
    """Writes the entries of one reduction."""

    def __init__(self, prepared: Prepared, grid: Grid, performance: Performance) -> None:
        drums, problem = prepared.drums, prepared.problem
        self._placed = prepared.placed
        self._weights = prepared.weights
        self._problem = problem
        self._ids = prepared.ids
        self._tone_of = prepared.tone_of
        self._transpose = prepared.transpose
        self._broken = prepared.texture == "broken-chord"
        self._performance = performance
        self._drums = drums
        self._loose = max(START_SHARE, START_SECONDS / grid.step_length.seconds)
        self._note: list[int] = problem.tones.note.tolist()
        self._held = [source.tolist() for source in performance.sources]
        self._drum_at = dict(zip(drums.steps.tolist(), drums.notes.tolist(), strict=True))
        self._stretches: dict[int, list[int]] = {}
        for index, stretch in enumerate(performance.stretches):
            self._stretches.setdefault(stretch.tone, []).append(index)

    def entries(self) -> tuple[Entry, ...]:
        """Return one entry a note, in order."""
        found: dict[int, Entry] = {
            note: Entry(note, "dropped", (reason,), (), None, ())
            for note, reason in self._placed.refused.items()
        }
        self._account_for_tones(found)
        self._account_for_drums(found)
        return tuple(found[note] for note in range(len(self._placed.onset)))

    def _account_for_tones(self, found: dict[int, Entry]) -> None:
        silent: list[int] = []
        stretches = self._performance.stretches
        for tone, note in enumerate(self._note):
            heard = [
                stretches[i]
                for i in self._stretches.get(tone, ())
                if stretches[i].heard_start < stretches[i].heard_end
            ]
            if heard:
                found[note] = self._heard(tone, note, heard)
            else:
                silent.append(tone)
        if silent:
            self._account_for_silent(silent, found)
        for note, tone in zip(self._ids.tolist(), self._tone_of.tolist(), strict=True):
            lead = self._note[tone]
            if note != lead:
                entry = found[lead]
                found[note] = (
                    entry._replace(note=note)
                    if entry.outcome == "dropped"
                    else Entry(
                        note,
                        "merged",
                        ("same-pitch-doubled",),
                        entry.spans,
                        entry.pitch_out,
                        (lead,),
                    )
                )

    def _heard(self, tone: int, note: int, heard: list[Stretch]) -> Entry:
        placed, tones = self._placed, self._problem.tones
        onset, pitch_out = int(tones.onset[tone]), int(tones.pitch[tone])
        spans = tuple(Span(s.voice, s.heard_start, s.heard_end - s.heard_start) for s in heard)
        first = min(heard, key=lambda s: s.heard_start)
        last = max(heard, key=lambda s: s.heard_end)
        if first.tied_to >= 0:
            reason = "repeat-tied" if first.start == onset else "same-pitch-doubled"
            by = (self._note[first.tied_to],)
            return Entry(note, "merged", (reason,), spans, pitch_out, by)
        reasons: list[str] = []
        by_notes: list[int] = []
        if first.start > onset:
            reasons.append("voices-full")
            by_notes.extend(self._holders(onset))
        elif first.heard_start > onset:
            reasons.append("delayed-by-drum")
            by_notes.append(self._drum_at[onset])
        elif abs(float(placed.offset[note])) > self._loose:
            reasons.append("moved-to-step")
        if pitch_out != int(placed.pitch[note]) + self._transpose:
            reasons.append("octave-folded")
        shift = last.heard_end - float(placed.written_end[note])
        if shift > END_SHARE:
            reasons.append("lengthened-to-step")
        elif shift < -END_SHARE:
            reason, cause = self._cut(tone, last)
            reasons.append(reason)
            by_notes.extend(cause)
        elif _holes(spans):
            reasons.append("shortened-by-next-note")
            by_notes.extend(self._takers(first))
        if self._broken and last.voice == 2 and _TURNS.intersection(reasons):
            reasons = ["broken-chord", *(r for r in reasons if r not in _TURNS)]
            by_notes = []
        if not reasons:
            return Entry(note, "kept", (), spans, pitch_out, ())
        return Entry(
            note,
            "changed",
            tuple(dict.fromkeys(reasons)),
            spans,
            pitch_out,
            tuple(dict.fromkeys(b for b in by_notes if b != note)),
        )

    def _cut(self, tone: int, last: Stretch) -> tuple[str, list[int]]:
        """Return why a tone ends early, and the notes that are the cause."""
        if last.gap:
            return "shortened-for-gap", self._takers(last)
        if last.heard_end < last.end:
            drum = self._drum_at.get(last.heard_end)
            return "shortened-by-next-note", [] if drum is None else [drum]
        if last.end < int(self._problem.tones.end[tone]):
            return "shortened-by-next-note", self._takers(last)
        return "moved-to-step", []

    def _takers(self, stretch: Stretch) -> list[int]:
        """Return the note that its voice holds next, straight after."""
        after = stretch.end + stretch.gap
        if after >= self._problem.steps:
            return []
        tone = self._held[stretch.voice - 1][after]
        return [] if tone < 0 else [self._note[tone]]

    def _holders(self, step: int) -> list[int]:
        """Return the notes that the voices hold on a step."""
        return [self._note[held[step]] for held in self._held if held[step] >= 0]

    def _account_for_silent(self, silent: list[int], found: dict[int, Entry]) -> None:
        cover = _covers(self._problem, self._performance, np.array(silent))
        tones = self._problem.tones
        for tone in silent:
            note = self._note[tone]
            same, octave = cover.same.get(tone), cover.octave.get(tone)
            if same is not None:
                found[note] = self._merged(note, tone, "same-pitch-doubled", same)
            elif octave is not None and self._doubles(tone, octave):
                found[note] = self._merged(note, tone, "octave-doubled", octave)
            else:
                found[note] = self._dropped(note, tone, int(tones.onset[tone]))

    def _doubles(self, tone: int, other: int) -> bool:
        """Return whether a tone doubles another one, rather than meet its pitch class by chance."""
        note, by = self._note[tone], self._note[other]
        known = {int(self._weights.octave_of[note]), int(self._weights.duplicate_of[note])}
        onset = self._problem.tones.onset
        return by in known or int(onset[tone]) == int(onset[other])

    def _merged(self, note: int, tone: int, reason: str, other: int) -> Entry:
        tones = self._problem.tones
        low, high = int(tones.onset[tone]), int(tones.end[tone])
        spans = tuple(
            Span(s.voice, max(s.heard_start, low), min(s.heard_end, high) - max(s.heard_start, low))
            for s in (self._performance.stretches[i] for i in self._stretches[other])
            if max(s.heard_start, low) < min(s.heard_end, high)
        )
        by = (self._note[other],)
        return Entry(note, "merged", (reason,), spans, int(tones.pitch[other]), by)

    def _dropped(self, note: int, tone: int, onset: int) -> Entry:
        end = int(self._problem.tones.end[tone])
        if not self._problem.drum_is_free and self._performance.drum_on[onset:end].all():
            drum = self._drum_at[onset]
            return Entry(note, "dropped", ("under-drum",), (), None, (drum,))
        by: list[int] = []
        for step in range(onset, end):
            by = self._holders(step)
            if by:
                break
        placed = self._placed
        rivals = [
            other
            for other in by
            if placed.part[other] == placed.part[note]
            and placed.onset[other] == onset
            and abs(float(placed.offset[other] - placed.offset[note])) > self._loose
        ]
        if rivals:
            return Entry(note, "dropped", ("same-step",), (), None, tuple(rivals))
        return Entry(note, "dropped", ("voices-full",), (), None, tuple(by))

    def _account_for_drums(self, found: dict[int, Entry]) -> None:
        placed, drums = self._placed, self._drums
        sound_at = {
            step: sound.name for step, sound in zip(drums.steps.tolist(), drums.sounds, strict=True)
        }
        for note in np.flatnonzero(placed.drum & placed.usable).tolist():
            step = int(placed.onset[note])
            chosen = self._drum_at.get(step)
            if note in drums.unplayable:
                found[note] = Entry(note, "dropped", ("no-drum-sound",), (), None, ())
            elif chosen is None or not self._performance.drum_on[step]:
                by = tuple(self._holders(step))
                found[note] = Entry(note, "dropped", ("drum-thinned",), (), None, by)
            elif note == chosen:
                moved = abs(float(placed.offset[note])) > self._loose
                outcome, reasons = ("changed", ("moved-to-step",)) if moved else ("kept", ())
                found[note] = Entry(
                    note, outcome, reasons, (Span(0, step, 1),), None, (), sound_at[step]
                )
            elif placed.pitch[note] == placed.pitch[chosen]:
                found[note] = Entry(
                    note,
                    "merged",
                    ("same-pitch-doubled",),
                    (Span(0, step, 1),),
                    None,
                    (chosen,),
                    sound_at[step],
                )
            else:
                found[note] = Entry(note, "dropped", ("same-step",), (), None, (chosen,))


class _Covers:
    """For silent tones, the sounding tone that covers half of them or more, if any."""

    def __init__(self, same: dict[int, int], octave: dict[int, int]) -> None:
        self.same = same
        self.octave = octave


def _covers(problem: Problem, performance: Performance, silent: Ints) -> _Covers:
    tones = problem.tones
    is_silent = np.zeros(len(tones), dtype=np.bool_)
    is_silent[silent] = True
    chosen = is_silent[problem.incidence_tone]
    tone, segment = problem.incidence_tone[chosen], problem.incidence_segment[chosen]
    heard_steps = problem.lengths.astype(np.float64)
    if not problem.drum_is_free:
        heard_steps = heard_steps * ~performance.drum_on[problem.starts]
    found: list[dict[int, int]] = []
    voices = [source[problem.starts[segment]] for source in performance.sources]
    lengths = tones.end - tones.onset
    for modulus in (128, 12):
        covered: Floats = np.zeros(len(tones))
        by: dict[int, int] = {}
        hit = np.zeros(len(tone), dtype=np.bool_)
        for held in voices:
            same = (held >= 0) & ((tones.pitch[held] - tones.pitch[tone]) % modulus == 0)
            fresh = same & ~hit
            np.add.at(covered, tone[fresh], heard_steps[segment[fresh]])
            hit |= same
            for one, other in zip(tone[same].tolist(), held[same].tolist(), strict=True):
                by.setdefault(one, other)
        enough = covered >= HEARD_SHARE * lengths
        found.append({one: other for one, other in by.items() if enough[one]})
    return _Covers(found[0], found[1])


def _holes(spans: tuple[Span, ...]) -> bool:
    ordered = sorted(spans, key=lambda span: span.step)
    return any(a.step + a.steps < b.step for a, b in pairwise(ordered))
