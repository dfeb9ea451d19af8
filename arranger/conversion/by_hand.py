"""The account of a merged sheet: what the song asked, what the machine chose, what the hand changed.

The ledger of a conversion tells where each note is heard in the sheet as generated. In a merged
sheet bars may have come, gone and been changed by hand. Every note is looked up again in the bars
that are the hand's:

1. A note that is heard there just as the machine had it keeps its entry.
2. One that is heard otherwise (shorter, longer, in the other voice) is ``changed`` ``by-hand``; one
   whose start was tied to the tone before is ``merged`` ``by-hand``.
3. One that is no longer heard is ``dropped`` ``by-hand``, with the machine's reasons after it.
4. One that the machine had dropped and whose pitch the hand plays in its time, in its octave or
   another, is ``changed`` ``by-hand``: the hand brought it back.

So the law holds as before: each note once. What the hand plays that no note asks for names no note
(-1 in the sources); a remark counts it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.model import GridBar
from arranger.reduce.ledger import Entry, Ledger, Span, check_conservation
from arranger.reduce.tell.laws import remarks_on_laws
from arranger.rows import HOLD, tone_spans, tones
from arranger.sheet.keep import State, look
from arranger.sheet.merge import Merge, merge

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from arranger.conversion import Conversion
    from arranger.engine.model import StepLength
    from arranger.grid.model import Grid
    from arranger.reduce.model import Reduction
    from arranger.sheet.model import Sheet
    from arranger.song.model import Note

BY_HAND = "by-hand"


def with_edits(conversion: Conversion, path: str | Path) -> tuple[Conversion, Merge | None]:
    """Return a conversion with the edits of the sheet that stands at a path.

    The second value says what was merged; None when there is no edited sheet, and the conversion is
    returned as it is. Where nobody asked for a step and the one that was chosen now doesn't divide
    the edited sheet's, the song is converted once more in the edited sheet's.

    Raises
    ------
    SheetError
        If what stands there can't be read as a sheet, or can't be joined (`arranger.sheet.merge`).
    """
    found = look(path)
    if found.state is State.UNREADABLE and found.error is not None:
        raise found.error
    if found.state is not State.EDITED or found.sheet is None:
        return conversion, None
    conversion = _in_step_with(conversion, found.sheet)
    merged = merge(found.sheet, conversion.sheet)
    return revise(conversion, merged), merged


def revise(conversion: Conversion, merged: Merge) -> Conversion:
    """Return the conversion with grid, rows and ledger of the merged sheet.

    Parameters
    ----------
    conversion
        What the machine did; its sheet is the one that was merged.
    merged
        What merging came to.

    Raises
    ------
    LawError
        If a note went missing, which is a defect of this program.
    """
    places = _places(conversion.sheet, merged)
    grid = _grid(conversion, merged, places)
    revision = _Revision(conversion, merged.sheet, places, grid)
    entries = revision.entries()
    ledger = Ledger(entries=entries, transpose=conversion.reduction.ledger.transpose)
    check_conservation(ledger, len(conversion.song.notes))
    reduction = _reduction(conversion, merged, places, ledger, revision)
    faults = remarks_on_laws(conversion.song, conversion.engine, reduction, by_hand=True)
    reduction = replace(reduction, remarks=(*reduction.remarks, *faults))
    return replace(conversion, grid=grid, reduction=reduction, sheet=merged.sheet)


def _in_step_with(conversion: Conversion, edited: Sheet) -> Conversion:
    from arranger.conversion import convert

    settings = conversion.settings
    divides = (edited.step_beats / conversion.sheet.step_beats).denominator == 1
    if divides or settings.grid.step is not None:
        return conversion
    grid = replace(settings.grid, step=edited.step_beats)
    return convert(conversion.song, conversion.engine, replace(settings, grid=grid))


class _Places(NamedTuple):
    """Which step of the merged sheet is which of the sheet as generated."""

    to_merged: list[int]
    """For each step as generated its place in the merged sheet, or -1."""
    to_now: list[int]
    by_hand: list[bool]
    """For each step of the merged sheet whether its bar is the hand's, or a tone of the hand's is
    held into it."""


def _places(now: Sheet, merged: Merge) -> _Places:
    starts = [0]
    for bar in now.bars:
        starts.append(starts[-1] + bar.steps)
    to_merged, to_now, by_hand = [-1] * now.steps, [-1] * merged.sheet.steps, []
    start = 0
    for bar, origin in zip(merged.sheet.bars, merged.bars, strict=True):
        by_hand += [origin.by_hand] * bar.steps
        if origin.now is not None:
            for offset in range(min(bar.steps, now.bars[origin.now].steps)):
                to_merged[starts[origin.now] + offset] = start + offset
                to_now[start + offset] = starts[origin.now] + offset
        start += bar.steps
    heard = zip(tones(merged.sheet.voice1), tones(merged.sheet.voice2), strict=True)
    heard_now = list(zip(tones(now.voice1), tones(now.voice2), strict=True))
    for step, (pitches, origin_step) in enumerate(zip(heard, to_now, strict=True)):
        if origin_step >= 0 and pitches != heard_now[origin_step]:
            by_hand[step] = True
    return _Places(to_merged, to_now, by_hand)


def _grid(conversion: Conversion, merged: Merge, places: _Places) -> Grid:
    """Return the grid of the merged sheet: the same song on bars that came, went or moved."""
    grid, sheet = conversion.grid, merged.sheet
    bars: list[GridBar] = []
    start = 0
    for bar in sheet.bars:
        bars.append(GridBar(bar.number, start, bar.steps, bar.numerator, bar.denominator))
        start += bar.steps
    to_merged = np.append(np.array(places.to_merged, dtype=np.int64), -1)
    onsets = to_merged[grid.onset_steps]
    inside = onsets >= 0
    ends = to_merged[np.where(inside, grid.end_steps - 1, -1)] + 1
    moved = np.where(inside, onsets - grid.onset_steps, 0)
    same_bars = [origin.now for origin in merged.bars] == list(range(len(grid.bars)))
    return replace(
        grid,
        steps=sheet.steps,
        bars=tuple(bars),
        step_length=_step_length(conversion, sheet),
        onset_steps=onsets,
        end_steps=np.where(inside, np.maximum(ends, onsets + 1), grid.end_steps),
        positions=grid.positions + moved,
        sections=grid.sections if same_bars else (),
        loop_step=sheet.loop_step,
    )


def _step_length(conversion: Conversion, sheet: Sheet) -> StepLength:
    for entry in conversion.engine.step_lengths:
        if entry.setting == sheet.step_setting:
            return entry
    return conversion.grid.step_length


class _Tone(NamedTuple):
    """A tone as it stands in a voice of the merged sheet."""

    voice: int
    start: int
    end: int
    pitch: int


_Cell = tuple[int, int]
"""A voice and a step."""


class _Revision:
    """Looks every note up in the merged sheet."""

    def __init__(self, conversion: Conversion, sheet: Sheet, places: _Places, grid: Grid) -> None:
        engine = conversion.engine
        self.sheet = sheet
        self.engine = engine
        self.places = places
        self.notes = conversion.song.notes
        self.onsets: list[int] = grid.onset_steps.tolist()
        self.ends: list[int] = grid.end_steps.tolist()
        self.ledger = conversion.reduction.ledger
        self.now_rows = ((), conversion.sheet.voice1, conversion.sheet.voice2)
        self.now_pitches = ((), tones(conversion.sheet.voice1), tones(conversion.sheet.voice2))
        self.rows = ((), sheet.voice1, sheet.voice2)
        self.silenced = [drum is not None and engine.drum_takes_step for drum in sheet.drums]
        self.tones: dict[_Cell, _Tone] = {}
        for voice in (1, 2):
            for start, end, pitch in tone_spans(self.rows[voice]):
                tone = _Tone(voice, start, end, pitch)
                self.tones.update(((voice, step), tone) for step in range(start, end))
        reduction = conversion.reduction
        self.sources = ((), reduction.sources1, reduction.sources2)
        self.owner: dict[_Cell, int] = {
            (tone.voice, step): note
            for (_, step), tone in self.tones.items()
            for note in [self._filling(tone, step)]
            if note >= 0
        }
        """The note that a cell of a voice (or of the drums, voice 0) is named for."""

    def _filling(self, tone: _Tone, step: int) -> int:
        """Return the note that fills in on a step, though it counts as dropped (too late), or -1."""
        now = self.places.to_now[step]
        note = self.sources[tone.voice][now] if now >= 0 else -1
        if note < 0 or self.ledger.entries[note].spans:
            return -1
        return note if self.now_pitches[tone.voice][now] == tone.pitch else -1

    def entries(self) -> tuple[Entry, ...]:
        """Return the entries, one a note."""
        found = [self._heard(entry) if entry.spans else entry for entry in self.ledger.entries]
        for other_octaves in (False, True):
            for index, entry in enumerate(found):
                before = self.ledger.entries[index]
                if entry.outcome == "dropped" and not before.spans:
                    found[index] = self._brought_back(entry, other_octaves=other_octaves)
        return tuple(found)

    def _heard(self, entry: Entry) -> Entry:
        """Return the entry of a note that the machine lets be heard."""
        to_merged, by_hand = self.places.to_merged, self.places.by_hand
        was = [
            (span.voice, to_merged[step])
            for span in entry.spans
            for step in range(span.step, span.step + span.steps)
        ]
        if all(step >= 0 and not by_hand[step] for _, step in was):
            self._own(entry, was)
            return entry._replace(spans=_spans(was))
        if self.notes[entry.note].drum:
            return self._drum(entry, was)
        cells = [cell for cell in map(self._finder(entry), was) if cell is not None]
        if entry.outcome != "merged":
            cells = self._grown(entry.note, cells)
        cells = self._without_silent_ends(cells)
        if not cells:
            return Entry(entry.note, "dropped", (BY_HAND, *entry.reasons), (), None, ())
        spans = _spans(cells)
        tied_to = self._tied_to(cells[0])
        if tied_to is not None and entry.outcome != "merged":
            return entry._replace(
                outcome="merged", reasons=(BY_HAND, *entry.reasons), spans=spans, by=(tied_to,)
            )
        self._own(entry, cells)
        if spans == _spans(was):
            return entry._replace(spans=spans)
        outcome = "merged" if entry.outcome == "merged" else "changed"
        return entry._replace(outcome=outcome, reasons=(BY_HAND, *entry.reasons), spans=spans)

    def _own(self, entry: Entry, cells: Iterable[_Cell]) -> None:
        if entry.outcome != "merged":
            for cell in cells:
                self.owner.setdefault(cell, entry.note)

    def _drum(self, entry: Entry, was: list[_Cell]) -> Entry:
        step = was[0][1]
        if step < 0 or self.sheet.drums[step] != entry.sound:
            return Entry(entry.note, "dropped", (BY_HAND, *entry.reasons), (), None, ())
        self._own(entry, was)
        return entry._replace(spans=_spans(was))

    def _finder(self, entry: Entry) -> Callable[[_Cell], _Cell | None]:
        """Return a function that finds where the note's pitch is heard on a step, or None."""

        def find(cell: _Cell) -> _Cell | None:
            voice, step = cell
            if step < 0:
                return None
            if not self.places.by_hand[step]:
                return cell
            for candidate in (cell, (3 - voice, step)):
                tone = self.tones.get(candidate)
                if tone is not None and tone.pitch == entry.pitch_out:
                    return candidate
            return None

        return find

    def _grown(self, note: int, cells: list[_Cell]) -> list[_Cell]:
        """Return the cells with those that the hand added to the same tones, before and after."""
        found = dict.fromkeys(cells)
        for voice, at in cells:
            if not self.places.by_hand[at]:
                continue
            tone = self.tones[voice, at]
            for steps in (range(at - 1, tone.start - 1, -1), range(at + 1, tone.end)):
                for step in steps:
                    if (voice, step) in found or not self._is_free(note, tone, step):
                        break
                    found[voice, step] = None
        return sorted(found, key=lambda cell: (cell[1], cell[0]))

    def _is_free(self, note: int, tone: _Tone, step: int) -> bool:
        """Return whether a step of a tone is the hand's, and no other note is heard in it."""
        if not self.places.by_hand[step] or (tone.voice, step) in self.owner:
            return False
        now = self.places.to_now[step]
        other = self.sources[tone.voice][now] if now >= 0 else -1
        return other in (-1, note) or self.ledger.entries[other].pitch_out != tone.pitch

    def _tied_to(self, cell: _Cell) -> int | None:
        """Return the note that a tone now goes on from without a start of its own, or None."""
        voice, step = cell
        now = self.places.to_now[step]
        if not self.places.by_hand[step] or now < 0 or self.rows[voice][step] != HOLD:
            return None
        return self.owner.get((voice, step - 1)) if self.now_rows[voice][now] >= 0 else None

    def _brought_back(self, entry: Entry, *, other_octaves: bool) -> Entry:
        """Return the entry of a note that the machine had dropped; the hand may play it."""
        note = self.notes[entry.note]
        onset, end = self.onsets[entry.note], self.ends[entry.note]
        if onset < 0 or not self.places.by_hand[onset]:
            return entry
        if note.drum:
            return self._drum_brought_back(entry, note, onset)
        asked = note.pitch + self.ledger.transpose
        for step in range(onset, end):
            for voice in (1, 2):
                tone = self.tones.get((voice, step))
                if tone is None or (voice, step) in self.owner or self.silenced[step]:
                    continue
                away = tone.pitch - asked
                if away == 0 or (other_octaves and away % 12 == 0):
                    cells = self._without_silent_ends(self._grown(entry.note, [(voice, step)]))
                    reasons = (BY_HAND,) if away == 0 else (BY_HAND, "octave-folded")
                    self.owner.update(dict.fromkeys(cells, entry.note))
                    return Entry(entry.note, "changed", reasons, _spans(cells), tone.pitch, ())
        return entry

    def _drum_brought_back(self, entry: Entry, note: Note, step: int) -> Entry:
        sound = self.engine.drum_for(note.pitch)
        if sound is None or self.sheet.drums[step] != sound.name or (0, step) in self.owner:
            return entry
        self.owner[0, step] = entry.note
        spans = (Span(0, step, 1),)
        return Entry(entry.note, "changed", (BY_HAND,), spans, None, (), sound.name)

    def _without_silent_ends(self, cells: list[_Cell]) -> list[_Cell]:
        first, last = 0, len(cells)
        while first < last and self.silenced[cells[first][1]]:
            first += 1
        while last > first and self.silenced[cells[last - 1][1]]:
            last -= 1
        return cells[first:last]


def _spans(cells: Sequence[_Cell]) -> tuple[Span, ...]:
    """Return the stretches that cells make up: same voice, one step after another."""
    found: list[Span] = []
    for voice, step in cells:
        if found and found[-1].voice == voice and found[-1].step + found[-1].steps == step:
            found[-1] = found[-1]._replace(steps=found[-1].steps + 1)
        else:
            found.append(Span(voice, step, 1))
    return tuple(found)


def _reduction(
    conversion: Conversion, merged: Merge, places: _Places, ledger: Ledger, revision: _Revision
) -> Reduction:
    """Return rows and sources of the merged sheet with the revised ledger."""
    before, sheet = conversion.reduction, merged.sheet
    sources = []
    for voice, was in ((1, before.sources1), (2, before.sources2), (0, before.drum_sources)):
        found = [
            revision.owner.get((voice, step), -1) if hand or now < 0 else was[now]
            for step, (now, hand) in enumerate(zip(places.to_now, places.by_hand, strict=True))
        ]
        sources.append(tuple(found))
    return replace(
        before,
        voice1=sheet.voice1,
        voice2=sheet.voice2,
        drums=sheet.drums,
        sources1=sources[0],
        sources2=sources[1],
        drum_sources=sources[2],
        ledger=ledger,
        remarks=(*before.remarks, *_remarks(merged, revision)),
    )


def _remarks(merged: Merge, revision: _Revision) -> list[str]:
    bars = merged.kept
    remarks = [f"{bars} {'bar is' if bars == 1 else 'bars are'} by hand"] if bars else []
    by_hand = revision.places.by_hand
    unasked = {
        tone
        for cell, tone in revision.tones.items()
        if by_hand[cell[1]]
        and all((tone.voice, step) not in revision.owner for step in range(tone.start, tone.end))
    }
    if unasked:
        tones = "1 tone" if len(unasked) == 1 else f"{len(unasked)} tones"
        remarks.append(f"{tones} by hand that the song doesn't have")
    remarks += [str(conflict) for conflict in merged.conflicts]
    return remarks
