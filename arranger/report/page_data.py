"""What the page's scripts need, as columns of plain numbers and texts.

The shape of this value is shared with ``page/data.js`` and with nothing else: it is no format for
other programs, who have the ledger. Notes are columns in the order of ``Song.notes``; positions and
lengths are in steps, rounded to a hundredth, which is less than a pixel at any zoom.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from arranger.engine.table import FREQUENCY_BITS
from arranger.reduce.reasons import OUTCOMES, REASONS
from arranger.report.account import account
from arranger.report.losses import DECIDED, bar_losses
from arranger.song.general_midi import percussion_name
from arranger.sound import schedule
from arranger.sound.alternate import drum_divisors

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from arranger.pipeline import Conversion

_OUTCOME_AT = {name: index for index, name in enumerate(OUTCOMES)}
_REASON_AT = {name: index for index, name in enumerate(REASONS)}


def page_data(conversion: Conversion) -> dict[str, Any]:
    """Return everything that the scripts of the song's page work on."""
    song, grid = conversion.song, conversion.grid
    return {
        "title": song.title,
        "stepSeconds": grid.step_length.seconds,
        "steps": grid.steps,
        "loopStep": grid.loop_step,
        "bars": _bars(conversion),
        "parts": _parts(conversion),
        "outcomes": list(OUTCOMES),
        "reasons": [[name, DECIDED[name]] for name in REASONS],
        "drumNames": _drum_names(conversion),
        "notes": _notes(conversion),
        "sheet": _sheet(conversion),
        "engine": _engine(conversion),
    }


def _bars(conversion: Conversion) -> list[list[float]]:
    """Return number, first step, steps, beats, beat unit, share lost, notes and notes dropped of each."""
    return [
        [
            bar.number,
            bar.first_step,
            bar.steps,
            bar.numerator,
            bar.denominator,
            round(lost.share, 3),
            lost.notes,
            lost.dropped,
        ]
        for bar, lost in zip(conversion.grid.bars, bar_losses(conversion), strict=True)
    ]


def _parts(conversion: Conversion) -> list[list[Any]]:
    """Return name, role, whether it is drums and General MIDI program of each part."""
    return [
        [part.name, role.role, int(part.drum), part.program]
        for part, role in zip(conversion.song.parts, conversion.reduction.roles, strict=True)
    ]


def _drum_names(conversion: Conversion) -> dict[int, str]:
    keys = {note.pitch for note in conversion.song.notes if note.drum}
    return {key: percussion_name(key) for key in sorted(keys)}


def _notes(conversion: Conversion) -> dict[str, list[Any]]:
    found = account(conversion)
    notes, entries = found.notes, found.entries
    sounds = {drum.name: index for index, drum in enumerate(conversion.engine.drums)}
    groups: dict[tuple[str, ...], list[int]] = {}
    for entry in entries:
        if entry.reasons not in groups:
            groups[entry.reasons] = [_REASON_AT[reason] for reason in entry.reasons]
    return {
        "part": [note.part for note in notes],
        "pitch": [note.pitch for note in notes],
        "loud": [round(note.loudness * 100) for note in notes],
        "at": np.round(_positions(conversion), 2).tolist(),
        "steps": np.round(_lengths(conversion), 2).tolist(),
        "bar": found.bar,
        "beat": found.beat,
        "outcome": [_OUTCOME_AT[entry.outcome] for entry in entries],
        "reasons": [groups[entry.reasons] for entry in entries],
        "spans": [[part for span in entry.spans for part in span] for entry in entries],
        "out": [-1 if entry.pitch_out is None else entry.pitch_out for entry in entries],
        "sound": [-1 if entry.sound is None else sounds[entry.sound] for entry in entries],
        "by": [entry.by for entry in entries],
        "told": found.explanation,
    }


def _positions(conversion: Conversion) -> NDArray[np.float64]:
    """Return where each onset really stands, in steps; -1 for a note outside the passage."""
    grid = conversion.grid
    inside = np.asarray(grid.onset_steps) >= 0
    return np.where(inside, np.maximum(grid.positions, 0.0), -1.0)


def _lengths(conversion: Conversion) -> NDArray[np.float64]:
    """Return how long each note is, in steps.

    By the file's ticks where steps are equal in ticks; where the beat was found by ear or tempo
    changes stretch the tones, by the whole steps of the grid.
    """
    song, grid, settings = conversion.song, conversion.grid, conversion.settings
    if grid.basis == "file" and settings.grid.clock == "beat":
        ticks = np.fromiter((note.duration for note in song.notes), np.float64, len(song.notes))
        # ticks / (ticks/beat * beats/step) = steps
        lengths: NDArray[np.float64] = ticks / (song.ticks_per_beat * float(grid.step_beats))
    else:
        lengths = (grid.end_steps - grid.onset_steps).astype(np.float64)
    return np.maximum(lengths, 0.01)


def _sheet(conversion: Conversion) -> dict[str, Any]:
    sheet, reduction = conversion.sheet, conversion.reduction
    sounds = {drum.name: index for index, drum in enumerate(conversion.engine.drums)}
    return {
        "voices": [sheet.voice1, sheet.voice2],
        "drums": [-1 if name is None else sounds[name] for name in sheet.drums],
        "sources": [reduction.sources1, reduction.sources2, reduction.drum_sources],
    }


def _engine(conversion: Conversion) -> dict[str, Any]:
    """Return what ``page/routine.js`` computes the pin's edges from, in clock cycles."""
    engine, loop = conversion.engine, conversion.engine.profile.loop
    return {
        "name": engine.name,
        "clockHz": engine.clock_hz,
        "method": engine.method,
        "bits": FREQUENCY_BITS if engine.method == "frequencies" else engine.profile.pitch.bits,
        "passCycles": loop.cycles,
        "offset": loop.second_write - loop.voice1_write,
        "turn": loop.turn,
        "stepCycles": conversion.grid.step_length.cycles,
        "overheadCycles": engine.profile.steps.overhead_cycles,
        "settings": {pitch.midi: pitch.setting for pitch in engine.pitches.values()},
        "drumTakesStep": engine.drum_takes_step,
        "drums": [drum.name for drum in engine.drums],
        "own": _own_player(conversion) if engine.profile.player else None,
        **_drum_sounds(conversion),
    }


def _own_player(conversion: Conversion) -> dict[str, int]:
    chunks, _ = schedule.chunking(conversion.grid.step_length.setting)
    return {
        "keepPasses": schedule.KEEP_PASSES,
        "restPass": schedule.REST_PASS,
        "drumKeepPasses": schedule.DRUM_KEEP_PASSES,
        "drumFirstFlipPasses": schedule.DRUM_FIRST_FLIP_PASSES,
        "endWriteCycles": schedule.END_WRITE_CYCLES,
        "longestEvent": schedule.MOST_CHUNKS // chunks,
    }


def _drum_sounds(conversion: Conversion) -> dict[str, Any]:
    """Return what each drum sound of the sheet does to the pin, by its index."""
    engine, length = conversion.engine, conversion.grid.step_length
    used = set(conversion.sheet.drums)
    drums = [(index, drum) for index, drum in enumerate(engine.drums) if drum.name in used]
    cycles = engine.profile.loop.cycles
    if engine.method == "alternate":
        ticks = length.cycles // cycles
        return {"divisors": {i: drum_divisors(drum, engine, ticks) for i, drum in drums}}
    if engine.profile.player:
        room = length.cycles - schedule.DRUM_OVERHEAD_PASSES * cycles
    else:
        room = (length.cycles - engine.profile.steps.overhead_cycles) // cycles * cycles
    bursts = {}
    for index, drum in drums:
        flips, levels = schedule.drum_flips(drum, engine, room)
        bursts[index] = {
            "cycles": flips.tolist(),
            "levels": levels.tolist(),
            "length": engine.profile.drum[index].cycles or room,
        }
    return {"bursts": bursts}
