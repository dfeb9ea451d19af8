"""The account of a merged sheet: what the song asked, what the machine chose, what the hand changed.

The ledger of a conversion tells where each note is heard in the sheet as generated. In a merged
sheet bars may have come, gone and been changed by hand. So each tone there is given to a note:

1. Where the machine played that pitch on that step, in either voice, to the note it was for, which
   also has what the hand added to the tone, before and after.
2. Any other tone to a note that sounds nowhere and asks for its pitch in that time, or for the same
   in another octave; a drum to one that asks for its sound on that step. The hand brought it back.
3. What is left to the hand, as if it were a note more: -1 in the sources; a remark counts it.

Then `arranger.reduce.tell.account` says what became of every note, as it does for a reduction. A note
that is heard just as the machine had it keeps its entry. For any other the first reason is
``by-hand``, before the machine's reasons if it is no longer heard. So the law holds as before: each
note once.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.bars import spoken
from arranger.conversion.marked import read_marked
from arranger.conversion.numbers import bars_of, passages_of
from arranger.conversion.reuse import notes_anew
from arranger.errors import SheetError
from arranger.reduce.choose.prepare import prepare
from arranger.reduce.ledger import Entry, Ledger, check_conservation
from arranger.reduce.perform.heard import Heard, hidden_by
from arranger.reduce.tell.account import account
from arranger.reduce.tell.asked import asked_of
from arranger.reduce.tell.laws import remarks_on_laws
from arranger.rows import HOLD, tone_spans, tones
from arranger.sheet.history.lost_record import with_lost_record
from arranger.sheet.keep import Keeping, TargetState, check_same_song, look
from arranger.sheet.merging.merge import Merge, merge
from arranger.sheet.merging.pieces import WHOLE
from arranger.sheet.played import step_length
from arranger.sheet.record.against import DRUMS
from arranger.sheet.record.digest import is_folded
from arranger.sheet.sounds import sounds_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from arranger.conversion import Conversion
    from arranger.engine.model import DrumSound, Engine, StepLength
    from arranger.grid.model import Grid
    from arranger.reduce.tell.asked import Asked
    from arranger.rows import Row
    from arranger.sheet.model import Sheet

BY_HAND = "by-hand"
_KEEP = Keeping(edits=True)


def with_edits(
    conversion: Conversion, path: str | Path, keeping: Keeping = _KEEP
) -> tuple[Conversion, Merge | None]:
    """Return a conversion with the edits of the sheet that stands at a path.

    The second value says what was merged; None when there is no edited sheet, and the conversion is
    returned as it is. Where nobody asked for a step and the one that was chosen now doesn't divide
    the edited sheet's, the song is converted once more in the edited sheet's.

    Raises `SheetError` if what stands there can't be read as a sheet, or can't be joined
    (`arranger.sheet.merging.merge`); `OutputError` if it was made from another song.
    """
    found = look(path)
    if found.state is TargetState.UNREADABLE and found.error is not None:
        raise found.error
    if found.sheet is None or not (found.state is TargetState.EDITED or is_folded(found.sheet)):
        return conversion, None
    edited = with_lost_record(found.sheet, path)
    if not keeping.song_changed:
        check_same_song(path, edited, conversion.sheet)
    conversion = _in_step_with(conversion, edited)
    merged = merge(edited, conversion.sheet, conversion.engine, as_typed=keeping.as_typed)
    return revise(conversion, merged), merged


def revise(
    conversion: Conversion,
    merged: Merge,
    asked: Asked | None = None,
    known: Conversion | None = None,
) -> Conversion:
    """Return the conversion with grid, rows and ledger of the merged sheet.

    ``conversion``: what the machine did; its sheet is the one that was merged.
    ``merged``: what merging came to.
    ``asked``: what `what_was_asked` returns of the conversion, for whoever revises it again and
    again.
    ``known``: what this returned for the conversion and another sheet: what is the same needn't be
    found again.

    Raises `LawError` if a note went missing, which is a defect of this program.
    """
    sheet, before, engine = merged.sheet, conversion.reduction, conversion.engine
    hand = len(conversion.song.notes)
    places = _places(conversion.sheet, merged)
    grid = _grid(conversion, merged, places)
    asked = _moved(what_was_asked(conversion) if asked is None else asked, places, grid)
    owners = _owners(conversion, sheet, places)
    _bring_back(conversion, sheet, asked, owners)
    owned = set().union(*owners[1:], (note for note in owners[0] if asked.drum[note]))
    gone = {note: (BY_HAND, ()) for note, onset in enumerate(asked.onset) if onset < 0}
    refused = {note: why for note, why in (gone | dict(asked.refused)).items() if note not in owned}
    drums, *voices = owners
    hidden = hidden_by(engine, _sounds(sheet, engine), sheet.drums, grid.step_length)
    heard = Heard((sheet.voice1, sheet.voice2), voices, drums, hidden)
    asked = asked._replace(refused={**refused, hand: (BY_HAND, ())})
    anew = None if known is None else notes_anew(known, sheet, grid, asked, owners)
    notes = range(hand) if known is None or anew is None else anew
    entries = list(before.ledger.entries if known is None else known.reduction.ledger.entries)
    for entry in account(asked, heard, sheet.drums, notes):
        entries[entry.note] = _entry(before.ledger.entries[entry.note], entry, places, hand)
    ledger = Ledger.of(entries, before.ledger.transpose)
    check_conservation(ledger, hand)
    sources = [tuple(-1 if note == hand else note for note in row) for row in owners]
    reduction = replace(
        before,
        voice1=sheet.voice1,
        voice2=sheet.voice2,
        drums=sheet.drums,
        sources1=sources[1],
        sources2=sources[2],
        drum_sources=sources[0],
        ledger=ledger,
        passages=passages_of(before.passages, conversion.grid, grid, merged),
        remarks=(*_remarks(merged, voices, hand), *before.remarks),
    )
    faults = remarks_on_laws(conversion.song, engine, reduction, by_hand=True)
    reduction = replace(reduction, remarks=(*reduction.remarks, *faults))
    return replace(conversion, grid=grid, reduction=reduction, sheet=sheet)


def _sounds(sheet: Sheet, engine: Engine) -> Mapping[str, DrumSound]:
    """Return the sounds of the rows; what the engine can't play of them is told by what plays it."""
    try:
        return sounds_of(sheet, engine)
    except SheetError:
        return engine.sounds


def _in_step_with(conversion: Conversion, edited: Sheet) -> Conversion:
    from arranger.conversion import convert

    settings = conversion.settings
    divides = (edited.step_beats / conversion.sheet.step_beats).denominator == 1
    if divides or settings.grid.step is not None:
        return conversion
    grid = replace(settings.grid, step=edited.step_beats)
    return convert(conversion.song, conversion.engine, replace(settings, grid=grid))


class _Places(NamedTuple):
    """Which step of the merged sheet is which of the sheet as generated; -1: none."""

    to_merged: list[int]
    """One more than there are steps, so that -1 stays -1."""
    to_now: list[int]


def _places(now: Sheet, merged: Merge) -> _Places:
    places = _Places([-1] * (now.steps + 1), [-1] * merged.sheet.steps)
    starts = now.bar_starts
    for bar, start, origin in zip(
        merged.sheet.bars, merged.sheet.bar_starts, merged.bars, strict=False
    ):
        if origin.now is not None:
            for offset in range(min(bar.steps, now.bars[origin.now].steps)):
                step = starts[origin.now] + offset
                places.to_merged[step], places.to_now[start + offset] = start + offset, step
    return places


def _grid(conversion: Conversion, merged: Merge, places: _Places) -> Grid:
    """Return the grid of the merged sheet: the same song on bars that came, went or moved."""
    grid, sheet = conversion.grid, merged.sheet
    to_merged = np.array(places.to_merged, dtype=np.int64)
    onsets = to_merged[grid.onset_steps]
    inside = onsets >= 0
    ends = to_merged[np.where(inside, grid.end_steps - 1, -1)] + 1
    moved = np.where(inside, onsets - grid.onset_steps, 0)
    same_bars = [origin.now for origin in merged.bars] == list(range(len(grid.bars)))
    return replace(
        grid,
        steps=sheet.steps,
        bars=bars_of(merged, grid),
        first_number=grid.bars[0].number,
        step_length=_step_length(sheet, conversion),
        onset_steps=onsets,
        end_steps=np.where(inside, np.maximum(ends, onsets + 1), grid.end_steps),
        positions=grid.positions + moved,
        sections=grid.sections if same_bars else (),
        loop_step=sheet.loop_step,
    )


def _step_length(sheet: Sheet, conversion: Conversion) -> StepLength:
    """Return how long a step is; what the engine can't play of it is told by what plays it."""
    try:
        return step_length(sheet, conversion.engine)
    except SheetError:
        return conversion.grid.step_length


def what_was_asked(conversion: Conversion) -> Asked:
    """Return what the song asks for on the steps of the sheet as generated."""
    song, engine, settings = conversion.song, conversion.engine, conversion.settings
    marked = read_marked(song, engine, settings)
    if marked is not None:
        return marked.asked
    return asked_of(
        prepare(song, engine, conversion.grid, settings.reduce, conversion.reduction.weights),
        conversion.grid,
    )


def _moved(asked: Asked, places: _Places, grid: Grid) -> Asked:
    """Return what is asked for on the steps of the merged sheet; the hand is a note more.

    A note starts and ends with the first and the last of its steps that are there; its onset is -1
    when none is.
    """
    firsts, ends, note_ends = _stretches(asked, places)
    written = zip(asked.written_end, asked.note_end, note_ends, strict=True)
    return asked._replace(
        onset=[*firsts, -1],
        end=[*ends, -1],
        note_end=[*note_ends, -1],
        written_end=[*(at - was + now for at, was, now in written), -1.0],
        rings=[*asked.rings, 0.0],
        offset=[*asked.offset, 0.0],
        pitch=[*asked.pitch, -1],
        out=[*asked.out, -1],
        part=[*asked.part, -1],
        drum=[*asked.drum, False],
        sound=[*asked.sound, None],
        lead=[*asked.lead, len(firsts)],
        octave_of=[*asked.octave_of, -1],
        duplicate_of=[*asked.duplicate_of, -1],
        tune=[*asked.tune, False],
        turning=[[now >= 0 and row[now] for now in places.to_now] for row in asked.turning],
        step_seconds=grid.step_length.seconds,
    )


def _stretches(asked: Asked, places: _Places) -> tuple[Sequence[int], Sequence[int], Sequence[int]]:
    """Return where each note starts and ends in the merged sheet, as part of its line and by itself."""
    to = places.to_merged
    if to[:-1] == list(range(len(to) - 1)) == places.to_now:  # no bar came, went or moved
        return asked.onset, asked.end, asked.note_end
    firsts, lasts = [], []
    for onset, end, note_end in zip(asked.onset, asked.end, asked.note_end, strict=True):
        # a note that isn't there goes from -1 to 0
        first = next((to[at] for at in range(onset, end) if to[at] >= 0), -1)
        firsts.append(first)
        for limit in (end, note_end):
            there = (to[at] for at in reversed(range(onset + 1, limit)) if to[at] >= 0)
            lasts.append(max(next(there, first), first) + 1)
    return firsts, lasts[::2], lasts[1::2]


def _owners(conversion: Conversion, sheet: Sheet, places: _Places) -> list[list[int]]:
    """Return for drums, voice 1 and voice 2 the note that each step is the machine's for.

    -1 where nothing sounds; one more than there are notes where the hand plays something else.
    """
    was, now, hand = conversion.reduction, conversion.sheet, len(conversion.song.notes)
    sources = (was.drum_sources, was.sources1, was.sources2)
    played = (now.drums, tones(now.voice1), tones(now.voice2))
    plays = (sheet.drums, tones(sheet.voice1), tones(sheet.voice2))
    found: list[list[int]] = []
    for row, others in zip(plays, ((0,), (1, 2), (2, 1)), strict=True):
        owners = [-1 if sound is None else hand for sound in row]
        for step, (sound, before) in enumerate(zip(row, places.to_now, strict=True)):
            if sound is not None and before >= 0:
                same = (sources[at][before] for at in others if played[at][before] == sound)
                owners[step] = next(same, hand)
        found.append(owners)
    for cells, owners in ((sheet.voice1, found[1]), (sheet.voice2, found[2])):
        held = [step for step in range(1, sheet.steps) if cells[step] == HOLD]
        for step in held:
            if owners[step] == hand:
                owners[step] = owners[step - 1]
        for step in reversed(held):
            if owners[step - 1] == hand:
                owners[step - 1] = owners[step]
    return found


def _bring_back(
    conversion: Conversion, sheet: Sheet, asked: Asked, owners: list[list[int]]
) -> None:
    """Give what is the hand's to notes that sound nowhere and ask for it."""
    hand = len(conversion.song.notes)
    rows, pitches = (sheet.voice1, sheet.voice2), (tones(sheet.voice1), tones(sheet.voice2))
    owned = set().union(*owners)
    for in_other_octaves in (False, True):
        for note, was in enumerate(conversion.reduction.ledger.entries):
            onset, pitch = asked.onset[note], asked.pitch[note]
            if onset < 0 or note in owned or was.outcome == "merged":
                continue
            if asked.drum[note]:
                said = sheet.drums[onset]
                says = () if said is None else (said, *asked.joins.get(said, ()))
                if owners[0][onset] == hand and asked.sound[note] in says:
                    owners[0][onset] = note
                continue
            wanted = range(pitch % 12, 128, 12) if in_other_octaves else (pitch,)
            for voice, step in product((0, 1), range(onset, asked.end[note])):
                if owners[voice + 1][step] == hand and pitches[voice][step] in wanted:
                    _give(note, rows[voice], owners[voice + 1], step)
                    owned.add(note)
                    break


def _give(note: int, row: Row, owners: list[int], step: int) -> None:
    """Give a note the whole tone that sounds on a step."""
    start, end = step, step + 1
    while row[start] == HOLD:
        start -= 1
    while end < len(row) and row[end] == HOLD:
        end += 1
    owners[start:end] = [note] * (end - start)


def _entry(was: Entry, now: Entry, places: _Places, hand: int) -> Entry:
    """Return the entry of a note: the machine's, if it is heard as it was there."""
    # what a hand put before a note's start, or moved there, isn't late
    now = now._replace(late_seconds=max(now.late_seconds, 0.0))
    moved = [(voice, places.to_merged[at]) for voice, at in _cells(was)]
    if (now.outcome, now.pitch_out, _cells(now)) == (was.outcome, was.pitch_out, moved):
        return was._replace(spans=now.spans, sound=now.sound, late_seconds=now.late_seconds)
    if not now.spans:
        return Entry(was.note, "dropped", (BY_HAND, *was.reasons), (), None, ())
    outcome = "changed" if now.outcome == "kept" else now.outcome
    by = tuple(note for note in now.by if note != hand)
    return now._replace(outcome=outcome, reasons=(BY_HAND, *now.reasons), by=by)


def _cells(entry: Entry) -> list[tuple[int, int]]:
    return [(s.voice, at) for s in entry.spans for at in range(s.step, s.step + s.steps)]


def _remarks(merged: Merge, owners: list[list[int]], hand: int) -> list[str]:
    sheet, remarks = merged.sheet, _bars_by_hand(merged)
    unasked = sum(
        row[start] == hand
        for row, cells in zip(owners, (sheet.voice1, sheet.voice2), strict=True)
        for start, _, _ in tone_spans(cells)
    )
    if unasked:
        counted = "1 tone" if unasked == 1 else f"{unasked} tones"
        remarks.append(f"{counted} by hand that the song doesn't have")
    return [*remarks, *_conflicts(merged)]


def _conflicts(merged: Merge) -> list[str]:
    """Return in words what both sides changed: what is the same of several bars once."""
    bars: dict[str, list[int]] = {}
    for bar, what in merged.conflicts:
        if bar is not None and bar != WHOLE:
            bars.setdefault(what, []).append(bar)
    told = (
        f"{spoken(sorted(bars[each.what]))}: {each.what}" if each.what in bars else str(each)
        for each in merged.conflicts
    )
    return list(dict.fromkeys(told))


def _bars_by_hand(merged: Merge) -> list[str]:
    """Return in words how many bars are by hand, and in how many of them only the drums."""
    bars, drums = merged.kept, sum(bar.by_hand == (DRUMS,) for bar in merged.bars)
    if not bars:
        return []
    told = f"{bars} {'bar is' if bars == 1 else 'bars are'} by hand"
    if drums:
        told += ", only the drums" if drums == bars else f", in {drums} only the drums"
    return [told]
