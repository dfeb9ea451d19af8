"""What the page's scripts need, as columns of plain numbers and texts.

The shape of this value is shared with ``page/data.js`` and with nothing else: it is no format for
other programs, who have the ledger. Notes are columns in the order of ``Song.notes``; positions and
lengths are in hundredths of a step, which is less than a pixel at any zoom, beats in hundredths of a
beat.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from arranger.columns import TextColumn, distinct, number_texts, value_texts
from arranger.engine.pitch_table import FREQUENCY_BITS
from arranger.engine.player_check import MOST_CHUNKS, chunking
from arranger.reduce.reasons import OUTCOMES, REASONS
from arranger.report.account_columns import account_of
from arranger.report.column_json import stretches, table_text
from arranger.report.heard.losses import DECIDED, bar_losses, song_heard
from arranger.report.heard.problems import ranking
from arranger.report.pages.sheet_lines import lines_of
from arranger.report.summaries.brief import lead, size
from arranger.report.summaries.summary import summary
from arranger.sheet.sounds import sounds_of
from arranger.song.general_midi import percussion_name
from arranger.sound import schedule
from arranger.sound.alternate import drum_divisors
from arranger.sound.schedule import silent_cycles
from arranger.sound.signal import voice2_offset

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from arranger.conversion import Conversion
    from arranger.engine.model import DrumSound
    from arranger.report.column_json import Cell
    from arranger.report.pages.sheet_lines import SheetLines

_REASON_AT = {name: index for index, name in enumerate(REASONS)}


def page_data(conversion: Conversion, lines: SheetLines | None = None) -> Iterator[str]:
    """Yield everything that the scripts of the song's page work on, as JSON in pieces.

    ``conversion``: what was done.
    ``lines``: the text of its sheet; None: as it is written beside the report.
    """
    song, grid = conversion.song, conversion.grid
    still = {
        "title": song.title,
        "head": _head(conversion),
        "stepSeconds": grid.step_length.seconds,
        "steps": grid.steps,
        "loopStep": grid.loop_step,
        "bars": _bars(conversion),
        "heard": list(zip(*(bar.heard for bar in bar_losses(conversion)), strict=True)),
        "heardWhole": song_heard(conversion),
        "problems": _problems(conversion),
        "parts": _parts(conversion),
        "outcomes": list(OUTCOMES),
        "reasons": [[name, DECIDED[name]] for name in REASONS],
        "drumNames": _drum_names(conversion),
        "sheet": _sheet(conversion) | (lines or lines_of(conversion))._asdict(),
        "engine": _engine(conversion),
    }
    yield f'{_json(still)[:-1]},"notes":{{'
    pieces: dict[str, list[str]] = {}
    for notes, texts in stretches(conversion):
        for name, cell in _notes(conversion, notes, texts).items():
            pieces.setdefault(name, []).append(table_text([*cell, ","], len(notes))[:-1])
    between = ""
    for name, columns in pieces.items():
        yield f'{between}"{name}":['
        between = ","
        for number, column in enumerate(columns):
            yield f",{column}" if number else column
        yield "]"
    yield "}}"


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _bars(conversion: Conversion) -> list[list[float | None]]:
    """Return number, first step, steps, beats, beat unit, notes, notes dropped of each.

    Last comes the song's number, where it is another.
    """
    return [
        [
            bar.number,
            bar.first_step,
            bar.steps,
            bar.numerator,
            bar.denominator,
            lost.notes,
            lost.dropped,
            bar.song_number,
        ]
        for bar, lost in zip(conversion.grid.bars, bar_losses(conversion), strict=True)
    ]


def _head(conversion: Conversion) -> dict[str, Any]:
    found = summary(conversion)
    return {"lead": lead(found), "size": size(found), "fits": found.bytes_free >= 0}


def _problems(conversion: Conversion) -> list[list[Any]]:
    """Return places of bars, what they lack, and in which lines, of each problem; the worst first."""
    return [
        [[bar.place for bar in each.bars], each.sentence, each.lines]
        for each in ranking(conversion)
    ]


def _parts(conversion: Conversion) -> list[list[Any]]:
    """Return name, role, whether it is drums and General MIDI program of each part."""
    return [
        [part.name, role.role, int(part.drum), part.program]
        for part, role in zip(conversion.song.parts, conversion.reduction.roles, strict=True)
    ]


def _drum_names(conversion: Conversion) -> dict[int, str]:
    columns = conversion.song.columns
    return {key: percussion_name(key) for key in distinct(columns.pitch[columns.drum]).tolist()}


def _notes(conversion: Conversion, notes: range, texts: Mapping[str, Cell]) -> dict[str, Cell]:
    """Return the columns of some notes, each value as JSON text."""
    found, these = account_of(conversion), slice(notes.start, notes.stop)
    asked, entry = conversion.song.columns, conversion.reduction.ledger.columns
    sounds = {None: "-1"} | {name: str(index) for index, name in enumerate(_sounds(conversion))}
    reasons = [_json([_REASON_AT[reason] for reason in each]) for each in found.all_reasons]
    return {
        "part": (number_texts(asked.part[these]),),
        "pitch": texts["pitch"],
        "loud": _hundredths(asked.loudness[these]),
        "at": _hundredths(_positions(conversion, these)),
        "steps": _hundredths(_lengths(conversion, these)),
        "bar": texts["bar"],
        "beat": _hundredths(np.array(found.beat[these])),
        "outcome": (number_texts(found.outcome[these]),),
        "reasons": (TextColumn(reasons, found.reason[these]),),
        "spans": texts["spans"],
        "out": texts["pitch_out"],
        "sound": (value_texts(entry.sound[these], sounds.__getitem__),),
        "by": texts["by"],
        "told": texts["explanation"],
    }


def _hundredths(values: NDArray[np.float64]) -> Cell:
    """Return values in hundredths: whole numbers are shorter, and quicker to read and write."""
    return (number_texts(np.rint(values * 100).astype(np.int64)),)


def _positions(conversion: Conversion, these: slice) -> NDArray[np.float64]:
    """Return where each onset really stands, in steps; -1 for a note outside the passage."""
    grid = conversion.grid
    inside = grid.onset_steps[these] >= 0
    return np.where(inside, np.maximum(grid.positions[these], 0.0), -1.0)


def _lengths(conversion: Conversion, these: slice) -> NDArray[np.float64]:
    """Return how long each note is, in steps.

    By the file's ticks where steps are equal in ticks; where the beat was found by ear or tempo
    changes stretch the tones, by the whole steps of the grid.
    """
    song, grid, settings = conversion.song, conversion.grid, conversion.settings
    if grid.basis == "file" and settings.grid.clock == "beat":
        ticks = song.columns.duration[these].astype(np.float64)
        # ticks / (ticks/beat * beats/step) = steps
        lengths: NDArray[np.float64] = ticks / (song.ticks_per_beat * float(grid.step_beats))
    else:
        lengths = (grid.end_steps[these] - grid.onset_steps[these]).astype(np.float64)
    return np.maximum(lengths, 0.01)


def _sheet(conversion: Conversion) -> dict[str, Any]:
    sheet, reduction = conversion.sheet, conversion.reduction
    sounds = {name: index for index, name in enumerate(_sounds(conversion))}
    return {
        "voices": [sheet.voice1, sheet.voice2],
        "drums": [-1 if name is None else sounds[name] for name in sheet.drums],
        "sources": [reduction.sources1, reduction.sources2, reduction.drum_sources],
    }


def _sounds(conversion: Conversion) -> Mapping[str, DrumSound]:
    return sounds_of(conversion.sheet, conversion.engine)


def _engine(conversion: Conversion) -> dict[str, Any]:
    """Return what ``page/routine.js`` computes the pin's edges from, in clock cycles."""
    engine, loop = conversion.engine, conversion.engine.profile.loop
    return {
        "name": engine.name,
        "clockHz": engine.clock_hz,
        "method": engine.method,
        "bits": FREQUENCY_BITS if engine.method == "frequencies" else engine.profile.pitch.bits,
        "passCycles": loop.cycles,
        "offset": voice2_offset(engine),
        "turn": loop.turn,
        "stepCycles": conversion.grid.step_length.cycles,
        "overheadCycles": engine.profile.steps.overhead_cycles,
        "settings": {pitch.midi: pitch.setting for pitch in engine.pitches.values()},
        "drums": list(_sounds(conversion)),
        "own": _own_player(conversion) if engine.profile.player else None,
        **_drum_sounds(conversion),
    }


def _own_player(conversion: Conversion) -> dict[str, int | tuple[int, ...]]:
    chunks, _ = chunking(conversion.grid.step_length.setting)
    return {
        "readPasses": schedule.READ_PASSES,
        "shownCycles": schedule.SHOWN_CYCLES,
        "shownBeforeDrum": schedule.SHOWN_BEFORE_DRUM,
        "shownBeforeEnd": schedule.SHOWN_BEFORE_END,
        "silentPeriod": schedule.SILENT_PERIOD,
        "endWriteCycles": schedule.END_WRITE_CYCLES,
        "longestEvent": MOST_CHUNKS // chunks,
    }


def _drum_sounds(conversion: Conversion) -> dict[str, Any]:
    """Return what each drum sound of the sheet does to the pin, by its index."""
    engine, length = conversion.engine, conversion.grid.step_length
    used = set(conversion.sheet.drums)
    sounds = enumerate(_sounds(conversion).values())
    drums = [(index, drum) for index, drum in sounds if drum.name in used]
    cycles = engine.profile.loop.cycles
    shares = {i: silent_cycles(drum, engine, length) / length.cycles for i, drum in drums}
    if engine.method == "alternate":
        ticks = length.cycles // cycles
        divisors = {i: drum_divisors(drum, engine, ticks) for i, drum in drums}
        return {"silentShares": shares, "divisors": divisors}
    bursts = {}
    for index, drum in drums:
        if engine.profile.player:
            # Both from the start of the drum's event: what it writes, and when voices sound again.
            timing = schedule.drum_timing(drum, engine, length.setting)
            flips, levels = schedule.timed_flips(timing, engine)
            sounding = timing.passes * cycles
        else:
            parts = engine.parts_in(drum, length)
            flips, levels = schedule.drum_flips((part, part.cycles) for part in parts)
            sounding = sum(part.cycles for part in parts)
        bursts[index] = {"cycles": flips.tolist(), "levels": levels.tolist(), "length": sounding}
    return {"silentShares": shares, "bursts": bursts}
