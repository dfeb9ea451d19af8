"""The laws that hold between rows and ledger, looked at after every conversion.

Nothing sounds that the song did not ask for, and no entry of the ledger says what the rows don't
play. A law that is broken is a defect of this program; the musician gets sheet and sound all the
same, with a remark that names song and note.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.pitch import pitch_name
from arranger.reduce.perform.heard import audible
from arranger.reduce.reasons import REASONS
from arranger.rows import REST
from arranger.song.general_midi import percussion_name

if TYPE_CHECKING:
    from collections.abc import Iterable

    from arranger.columns import Ints
    from arranger.engine.model import Engine
    from arranger.reduce.model import Reduction
    from arranger.song.model import Song

MOST_REMARKS = 3
"""Broken laws that are told of one song; one more remark counts the others."""


def remarks_on_laws(
    song: Song, engine: Engine, reduction: Reduction, *, by_hand: bool = False
) -> tuple[str, ...]:
    """Return what to tell of broken laws, in plain words; nothing when all hold.

    Parameters
    ----------
    song, engine, reduction
        What was converted, for what, and what came of it.
    by_hand
        Whether a hand may have changed the rows: then tones needn't name a note, and what the
        engine can't play is told by the check of the sheet.
    """
    found = [
        f"note {note} ({_named(song, note)}): {what}"
        for note, what in broken_entries(engine, reduction)
    ]
    if not by_hand:
        found += broken_rows(engine, reduction)
    told = [f"{song.file}, {each}; sheet and sound are whole" for each in found[:MOST_REMARKS]]
    if len(found) > MOST_REMARKS:
        told.append(f"{song.file}: {len(found) - MOST_REMARKS} more faults of this kind")
    return tuple(told)


def _named(song: Song, note: int) -> str:
    asked = song.notes[note]
    name = percussion_name(asked.pitch) if asked.drum else pitch_name(asked.pitch)
    return f"{name} of '{song.parts[asked.part].name}'"


def broken_rows(engine: Engine, reduction: Reduction) -> list[str]:
    """Return where something sounds that names no note, or whose pitch the engine doesn't have."""
    cells = np.array((reduction.voice1, reduction.voice2), dtype=np.int64)
    nameless = np.array((reduction.sources1, reduction.sources2), dtype=np.int64) < 0
    foreign = (cells >= 0) & ~np.isin(cells, list(engine.pitches))
    found = []
    for voice in (0, 1):
        for steps, what in (
            ((cells[voice] == REST) != nameless[voice], "names no note that it comes from"),
            (foreign[voice], "isn't in the pitch table"),
        ):
            places = np.flatnonzero(steps).tolist()
            found += [f"voice {voice + 1}, step {step + 1} {what}" for step in places]
    nameless = np.array(reduction.drum_sources, dtype=np.int64) < 0
    silent = np.array([name is None for name in reduction.drums], dtype=np.bool_)
    return found + [
        f"drums, step {step + 1} names no note that it comes from"
        for step in np.flatnonzero(silent != nameless).tolist()
    ]


def _contradiction(outcome: str, reasons: tuple[str, ...], heard: bool) -> str | None:
    """Return how an entry contradicts itself, or None."""
    if any(reason not in REASONS for reason in reasons):
        return "its reason is unknown"
    if (outcome == "dropped") == heard or (outcome == "kept") != (not reasons):
        return f"it is called {outcome}, but its place says otherwise"
    return None


def broken_entries(engine: Engine, reduction: Reduction) -> list[tuple[int, str]]:
    """Return the notes whose entry contradicts the rows or itself, and how."""
    entry = reduction.ledger.columns
    found: dict[int, str] = {}
    counts = np.diff(entry.spans.ends, prepend=0)
    told = (entry.outcome, entry.reasons, (counts > 0).tolist())
    for kind in {*zip(*told, strict=True)}:
        fault = _contradiction(*kind)
        if fault is not None:
            found[[*zip(*told, strict=True)].index(kind)] = fault
    names = {name: number for number, name in enumerate(dict.fromkeys(entry.sound))}

    def each(values: Iterable[int]) -> Ints:
        """Return the values of notes for each of their spans."""
        return np.repeat(np.fromiter(values, np.int64, len(counts)), counts)

    notes = each(entry.note)
    pitch = each([-1 if pitch is None else pitch for pitch in entry.pitch_out])
    own = each([outcome != "merged" for outcome in entry.outcome])
    sound = each(map(names.__getitem__, entry.sound))
    of_voice, start, steps = entry.spans.cells.T
    sources = np.array((reduction.drum_sources, reduction.sources1, reduction.sources2))
    pitches = np.stack((np.zeros(sources.shape[1], np.int64), *audible(reduction, engine)))
    last = start + steps - 1
    other = (pitches[of_voice, start] != pitch) | (pitches[of_voice, last] != pitch)
    drums = of_voice == 0
    row = np.array([names.get(name, -1) for name in reduction.drums], dtype=np.int64)
    other[drums] = row[start[drums]] != sound[drums]
    # of a joint sound several notes are the source
    foreign = (own == 1) & ~drums & (sources[of_voice, start] != notes)
    for place in np.flatnonzero(other | foreign).tolist():
        found.setdefault(int(notes[place]), "what sounds where it is said to be heard is not it")
    return sorted(found.items())
