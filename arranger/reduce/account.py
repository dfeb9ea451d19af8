"""What became of every note: from the performance to the ledger's entries.

Thresholds
----------
A note is **kept** when it sounds in its own octave, starts within a tenth of a step (or 10 ms) of
where it is written, and ends within half a step of where it is written to end. Else it is
**changed** and the reasons say how.

A note that no voice holds is **merged** when its pitch sounds all the same for at least half of its
length, or when its pitch class does in another octave from a note that starts with it or that it is
known to double, or when it is an echo or another copy of a note that is heard. Else it is
**dropped**.
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
        self._broken = prepared.broken
        self._performance = performance
        self._drums = drums
        self._loose = max(START_SHARE, START_SECONDS / grid.step_length.seconds)
        self._note: list[int] = problem.tones.note.tolist()
        self._held = [source.tolist() for source in performance.sources]
        # a voice that is silent for a gap is busy all the same
        self._busy = [list(held) for held in self._held]
        for stretch in performance.stretches:
            if stretch.gap:
                self._busy[stretch.voice - 1][stretch.end] = stretch.tone
        drum_steps = np.flatnonzero(performance.drum_on).tolist()
        self._silenced = frozenset(() if problem.drum_is_free else drum_steps)
        notes = problem.tones.note
        self._onset: list[int] = problem.tones.onset.tolist()
        self._end: list[int] = problem.tones.end.tolist()
        self._note_end: list[int] = self._placed.end[notes].tolist()
        self._pitch: list[int] = problem.tones.pitch.tolist()
        self._asked: list[int] = (self._placed.pitch[notes] + prepared.transpose).tolist()
        self._off: list[bool] = (np.abs(self._placed.offset[notes]) > self._loose).tolist()
        self._written_end: list[float] = self._placed.written_end[notes].tolist()
        self._known = np.stack((self._weights.octave_of, self._weights.duplicate_of))[
            :, notes
        ].T.tolist()
        self._drum_at = dict(zip(drums.steps.tolist(), drums.notes.tolist(), strict=True))
        self._note_part: list[int] = self._placed.part.tolist()
        self._note_onset: list[int] = self._placed.onset.tolist()
        self._note_offset: list[float] = self._placed.offset.tolist()
        tone_of_note = np.full(len(self._placed.onset), -1, dtype=np.int64)
        tone_of_note[prepared.ids] = prepared.tone_of
        self._tone_of_note: list[int] = tone_of_note.tolist()
        self._heard: dict[int, list[Stretch]] = {}
        for stretch in performance.stretches:
            if stretch.heard_start < stretch.heard_end:
                self._heard.setdefault(stretch.tone, []).append(stretch)

    def entries(self) -> tuple[Entry, ...]:
        """Return one entry a note, in order."""
        found: dict[int, Entry] = {
            note: Entry(note, "dropped", (reason,), (), None, self._in_place_of(note, reason))
            for note, reason in self._placed.refused.items()
        }
        self._account_for_tones(found)
        self._account_for_drums(found)
        return tuple(found[note] for note in range(len(self._placed.onset)))

    def _in_place_of(self, note: int, reason: str) -> tuple[int, ...]:
        return (self._placed.led_to[note],) if reason == "same-step" else ()

    def _account_for_tones(self, found: dict[int, Entry]) -> None:
        silent: list[int] = []
        for tone, note in enumerate(self._note):
            heard = self._heard.get(tone)
            if heard is None:
                silent.append(tone)
            elif len(heard) == 1 and self._is_kept(tone, heard[0]):
                only = heard[0]
                span = Span(only.voice, only.start, only.heard_end - only.start)
                found[note] = Entry(note, "kept", (), (span,), self._pitch[tone], ())
            else:
                found[note] = self._sounding(tone, note, heard)
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

    def _is_kept(self, tone: int, only: Stretch) -> bool:
        """Return whether a tone that is heard in one stretch is heard as written."""
        return (
            only.tied_to < 0
            and only.heard_start == self._onset[tone]
            and -END_SHARE <= only.heard_end - self._written_end[tone] <= END_SHARE
            and not self._off[tone]
            and self._pitch[tone] == self._asked[tone]
        )

    def _sounding(self, tone: int, note: int, heard: list[Stretch]) -> Entry:
        onset, pitch_out = self._onset[tone], self._pitch[tone]
        spans = tuple([Span(s.voice, s.heard_start, s.heard_end - s.heard_start) for s in heard])
        first = last = heard[0]
        if len(heard) > 1:
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
        elif self._off[tone]:
            reasons.append("moved-to-step")
        if pitch_out != self._asked[tone]:
            reasons.append("octave-folded")
        shift = last.heard_end - self._written_end[tone]
        if shift > END_SHARE:
            reasons.append("lengthened-to-step")
        elif shift < -END_SHARE:
            reason, cause = self._cut(tone, last)
            reasons.append(reason)
            by_notes.extend(cause)
        elif len(spans) > 1 and _holes(spans):
            reasons.append("shortened-by-next-note")
            by_notes.extend(self._takers(first))
        if self._broken[first.start] and last.voice == 2 and _TURNS.intersection(reasons):
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
        if last.end < self._note_end[tone]:
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
        """Return the notes that the voices are busy with on a step."""
        return [self._note[busy[step]] for busy in self._busy if busy[step] >= 0]

    def _account_for_silent(self, silent: list[int], found: dict[int, Entry]) -> None:
        same_by, octave_by = _covers(self._problem, self._performance, np.array(silent))
        for tone in silent:
            note = self._note[tone]
            same, octave = same_by.get(tone), octave_by.get(tone)
            if same is not None:
                found[note] = self._merged(note, tone, "same-pitch-doubled", same)
            elif octave is not None and self._doubles(tone, octave):
                found[note] = self._merged(note, tone, "octave-doubled", octave)
            else:
                found[note] = self._copied(note, tone) or self._dropped(note, tone)

    def _doubles(self, tone: int, other: int) -> bool:
        """Return whether a tone doubles another one, rather than meet its pitch class by chance."""
        return self._note[other] in self._known[tone] or self._onset[tone] == self._onset[other]

    def _merged(self, note: int, tone: int, reason: str, other: int) -> Entry:
        low, high = self._onset[tone], self._end[tone]
        spans = tuple(
            [
                Span(
                    s.voice,
                    max(s.heard_start, low),
                    min(s.heard_end, high) - max(s.heard_start, low),
                )
                for s in self._heard[other]
                if max(s.heard_start, low) < min(s.heard_end, high)
            ]
        )
        return Entry(note, "merged", (reason,), spans, self._pitch[other], (self._note[other],))

    def _copied(self, note: int, tone: int) -> Entry | None:
        """Return the entry of a note that copies one which is heard at another time: an echo."""
        for reason, other in zip(
            ("octave-doubled", "same-pitch-doubled"), self._known[tone], strict=True
        ):
            original = self._tone_of_note[other] if other >= 0 else -1
            if original in self._heard:
                spans = tuple(
                    Span(s.voice, s.heard_start, s.heard_end - s.heard_start)
                    for s in self._heard[original]
                )
                return Entry(note, "merged", (reason,), spans, self._pitch[original], (other,))
        return None

    def _dropped(self, note: int, tone: int) -> Entry:
        onset, end = self._onset[tone], self._end[tone]
        if onset in self._silenced and self._silenced.issuperset(range(onset, end)):
            drum = self._drum_at[onset]
            return Entry(note, "dropped", ("under-drum",), (), None, (drum,))
        by: list[int] = []
        for step in range(onset, end):
            by.extend([holder for holder in self._holders(step) if holder not in by])
            if len(by) >= 2:
                break
        rivals = [other for other in by if self._same_step(note, other)]
        if rivals:
            return Entry(note, "dropped", ("same-step",), (), None, tuple(rivals))
        return Entry(note, "dropped", ("voices-full",), (), None, tuple(by))

    def _same_step(self, note: int, other: int) -> bool:
        """Return whether a note fell onto the step of another that it follows or leads."""
        part, onset, offset = self._note_part, self._note_onset, self._note_offset
        return (
            part[note] == part[other]
            and onset[note] == onset[other]
            and abs(offset[note] - offset[other]) > self._loose
        )

    def _account_for_drums(self, found: dict[int, Entry]) -> None:
        placed, drums = self._placed, self._drums
        sound_at = {
            step: sound.name for step, sound in zip(drums.steps.tolist(), drums.sounds, strict=True)
        }
        drum_on: list[bool] = self._performance.drum_on.tolist()
        key: list[int] = placed.pitch.tolist()
        for note in np.flatnonzero(placed.drum & placed.usable).tolist():
            step = self._note_onset[note]
            chosen = self._drum_at.get(step)
            if note in drums.unplayable:
                found[note] = Entry(note, "dropped", ("no-drum-sound",), (), None, ())
            elif chosen is None or not drum_on[step]:
                by = tuple(self._holders(step))
                found[note] = Entry(note, "dropped", ("drum-thinned",), (), None, by)
            elif note == chosen:
                moved = abs(self._note_offset[note]) > self._loose
                outcome, reasons = ("changed", ("moved-to-step",)) if moved else ("kept", ())
                found[note] = Entry(
                    note, outcome, reasons, (Span(0, step, 1),), None, (), sound_at[step]
                )
            elif key[note] == key[chosen]:
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


def _covers(
    problem: Problem, performance: Performance, silent: Ints
) -> tuple[dict[int, int], dict[int, int]]:
    """Return for silent tones the tone of their pitch, and of their pitch class, that is heard.

    Only tones that are covered for `HEARD_SHARE` of their length or more are there.
    """
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
    return found[0], found[1]


def _holes(spans: tuple[Span, ...]) -> bool:
    ordered = sorted(spans, key=lambda span: span.step)
    return any(a.step + a.steps < b.step for a, b in pairwise(ordered))
