"""The piece as C99 source: data for the player in C that is written with it, or for one of one's own.

A song is a ``duet_song`` (``duet_player.h`` beside this module says what each field means): tables of
the tones and drums that occur, and events, each some steps that sound alike. What a player has to know of
the routine that the sheet was made for stands there too, so one player plays the songs of all engines.
"""

from __future__ import annotations

import re
import unicodedata
from itertools import accumulate, chain
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.pitch_table import FREQUENCY_BITS
from arranger.errors import SheetError, UsageError
from arranger.pitch import pitch_name
from arranger.sheet.played import drums_in_use, played_steps, step_length
from arranger.sound import alternate, schedule
from arranger.sound.signal import voice2_offset

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.engine.model import DrumSound, Engine, Pitch
    from arranger.engine.profile import DrumPart
    from arranger.machine.export_options import ExportOptions
    from arranger.sheet.model import Sheet

PLAYER_FILES = tuple(Path(__file__).parent / name for name in ("duet_player.h", "duet_player.c"))
"""The player; every song is written for the same."""

_A_LINE = 4
_MOST = 255
_MOST_STEPS = 0xFFFF
_KINDS = {"kick": "DUET_FALLING", "noise": "DUET_NOISE", "rest": "DUET_REST"}
_METHODS = {"counter": "DUET_COUNTER", "alternate": "DUET_TIMER"}


class _Event(NamedTuple):
    """As ``duet_event``, but with what it names."""

    steps: int
    voice1: int | None
    voice2: int | None
    drum: DrumSound | None


class _Part(NamedTuple):
    """A part of a drum, in cycles from the start of its step."""

    start: int
    cycles: int
    part: DrumPart


class _Drum(NamedTuple):
    """A drum as its engine plays it."""

    parts: tuple[_Part, ...]
    passes: int
    """Until the voices sound."""


def export_c(sheet: Sheet, engine: Engine, options: ExportOptions) -> bytes:
    """Return the piece as C source in ASCII.

    Raises `SheetError` if the engine can't play the sheet, or the piece holds more than 255 pitches
    or drums; `UsageError` if the prefix can't begin a name.
    """
    return ("\n".join(_lines(sheet, engine, options)) + "\n").encode("ascii")


def c_files(sheet: Sheet, _engine: Engine, options: ExportOptions) -> dict[str, bytes]:
    """Return what belongs beside the source, by file name: the song's header, and the player.

    Raises `UsageError` if the song is called as the player is, or the prefix can't begin a name.
    """
    if options.stem == PLAYER_FILES[0].stem:
        raise UsageError(f"{options.stem} is the player", remedy="call the song otherwise with -o")
    files = {path.name: path.read_bytes() for path in PLAYER_FILES}
    lines = [*_header(sheet, options)]
    return {_header_name(sheet, options): ("\n".join(lines) + "\n").encode("ascii"), **files}


def c_notes(sheet: Sheet, _engine: Engine, options: ExportOptions) -> list[str]:
    """Return how the song is called in C."""
    return [f"the song is {_name(sheet, options)}_song; duet_player.h says how to play it"]


def identifier(title: str) -> str:
    """Return the beginning of a C identifier, made from a title.

    >>> identifier("Quay at dawn (waltz)"), identifier("7 bells"), identifier("")
    ('quay_at_dawn_waltz', 'piece_7_bells', 'piece')
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    words = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:31].strip("_")
    if not words:
        return "piece"
    return words if words[0].isalpha() else f"piece_{words}"


def comment(text: str) -> str:
    """Return text from inside a file so that it can't end a C comment or leave ASCII."""
    safe = text.encode("ascii", "backslashreplace").decode()
    visible = "".join(c if c.isprintable() else " " for c in safe)
    return visible.replace("\\", "/").replace("*/", "* /").replace("/*", "/ *")


def _name(sheet: Sheet, options: ExportOptions) -> str:
    if options.prefix and not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", options.prefix):
        raise UsageError(
            f"{options.prefix!r} can't begin a name in C",
            remedy="give --prefix letters, digits and _, a letter or _ first",
        )
    return options.prefix + identifier(sheet.title)


def _header_name(sheet: Sheet, options: ExportOptions) -> str:
    """Return how the header is called: as the file is, where that can stand in a source."""
    plain = re.fullmatch(r"[A-Za-z0-9_.-]+", options.stem)
    return f"{options.stem if plain else _name(sheet, options)}.h"


def _header(sheet: Sheet, options: ExportOptions) -> Iterator[str]:
    name = _name(sheet, options)
    guard = f"{name.upper()}_SONG_H"
    yield f"/* {comment(sheet.title)}: a piece for a one-bit speaker, written by arranger. */"
    yield f"#ifndef {guard}"
    yield f"#define {guard}"
    yield ""
    yield '#include "duet_player.h"'
    yield ""
    yield from _declaration(name)
    yield ""
    yield "#endif"


def _declaration(name: str) -> Iterator[str]:
    yield "#ifdef __cplusplus"
    yield 'extern "C" {'
    yield "#endif"
    yield f"extern const duet_song {name}_song;"
    yield "#ifdef __cplusplus"
    yield "}"
    yield "#endif"


def _lines(sheet: Sheet, engine: Engine, options: ExportOptions) -> Iterator[str]:
    name = _name(sheet, options)
    events, loop_event = _events(sheet, engine)
    pitches = _pitches(events, engine)
    drums = drums_in_use(played_steps(sheet, engine))
    played = [_drum(drum, sheet, engine) for drum in drums]
    if max(len(pitches), len(drums), sum(len(drum.parts) for drum in played)) > _MOST:
        raise SheetError(f"more than {_MOST} pitches or parts of drums don't fit in bytes")

    yield f"/* {comment(sheet.title)}: a piece for a one-bit speaker, written by arranger."
    yield f" * Engine {engine.name}, clock {engine.clock_hz} Hz. duet_player.h says what all means. */"
    if options.stem:
        yield f'#include "{_header_name(sheet, options)}"'
    else:
        yield '#include "duet_player.h"'
        yield ""
        yield from _declaration(name)
    yield ""
    if pitches:
        names = ", ".join(pitch_name(pitch.midi) for pitch in pitches)
        yield f"/* {names}: setting, millihertz, MIDI number */"
        told = [f"{{{p.setting}u, {round(1000 * p.frequency_hz)}u, {p.midi}}}" for p in pitches]
        yield from _table(f"duet_pitch {name}_pitches", told)
    if drums:
        yield from _drum_tables(name, drums, played, engine)
    shown = _shown(engine)
    if shown:
        yield from _table(f"uint16_t {name}_shown", [str(cycle) for cycle in shown])
    places = {None: 0} | {pitch.midi: index for index, pitch in enumerate(pitches, 1)}
    numbers = {None: 0} | {drum: index for index, drum in enumerate(drums, 1)}
    yield "/* steps, voice 1, voice 2, drum */"
    rows = [
        f"{{{each.steps}, {places[each.voice1]}, {places[each.voice2]}, {numbers[each.drum]}}}"
        for each in events
    ]
    yield from _table(f"duet_event {name}_events", rows)
    yield f"const duet_song {name}_song = {{"
    fields = {
        **_routine(sheet, engine),
        "loop_event": "DUET_NO_LOOP" if loop_event is None else f"{loop_event}u",
        "event_count": f"{len(events)}u",
        "events": f"{name}_events",
        "pitch_count": len(pitches),
        "pitches": f"{name}_pitches" if pitches else 0,
        "drum_count": len(drums),
        "drums": f"{name}_drums" if drums else 0,
        "parts": f"{name}_parts" if drums else 0,
    }
    if shown:
        fields["shown"] = f"{name}_shown"
    yield from (f"    {value}, /* {field} */" for field, value in fields.items())
    yield "};"


def _routine(sheet: Sheet, engine: Engine) -> dict[str, str | int]:
    """Return the fields that say how the engine plays, in order."""
    length = step_length(sheet, engine)
    profile = engine.profile
    cycles = profile.loop.cycles
    alternates, own = engine.method == "alternate", bool(profile.player)
    bits = FREQUENCY_BITS if engine.method == "frequencies" else profile.pitch.bits
    first = (
        next((run.divisor for run in alternate.runs(sheet, engine) if run.divisor), 2)
        if alternates
        else 0
    )
    return {
        "method": _METHODS.get(engine.method, "DUET_PHASE"),
        "clock_hz": f"{engine.clock_hz}u",
        "step_cycles": f"{length.cycles}u",
        "step_microseconds": f"{round(1e6 * length.seconds)}u",
        "steps": f"{sheet.steps}u",
        "pass_cycles": f"{cycles}u",
        "step_passes": f"{(length.cycles - profile.steps.overhead_cycles) // cycles}u",
        "voice2_cycles": f"{profile.loop.turn if alternates else voice2_offset(engine)}u",
        "bits": bits,
        "silent_passes": schedule.SILENT_PERIOD if own else 1,
        "noise_bit": profile.port.speaker_bit if own else schedule.NOISE_BIT,
        "read_passes": schedule.READ_PASSES if own else 0,
        "shown": 0,
        "shown_count": len(_shown(engine)),
        "shown_before_drum": schedule.SHOWN_BEFORE_DRUM if own else 0,
        "shown_before_end": schedule.SHOWN_BEFORE_END if own else 0,
        "end_cycles": schedule.END_WRITE_CYCLES if own else 0,
        "first_divisor": first,
    }


def _shown(engine: Engine) -> Sequence[int]:
    return schedule.SHOWN_CYCLES if engine.profile.player else ()


def _events(sheet: Sheet, engine: Engine) -> tuple[list[_Event], int | None]:
    """Return the events, and the one to go round to."""
    if engine.profile.player:
        midi = {pitch.setting: pitch.midi for pitch in engine.pitches.values()}
        found = [
            _Event(each.steps, midi.get(each.setting1), midi.get(each.setting2), each.drum)
            for each in schedule.events(sheet, engine)
        ]
    else:
        found = []
        for number, step in enumerate(played_steps(sheet, engine)):
            last = found[-1] if found else None
            alike = last is not None and step.drum is None and step[:2] == last[1:3]
            if last and alike and number != sheet.loop_step and last.steps < _MOST_STEPS:
                found[-1] = last._replace(steps=last.steps + 1)
            else:
                found.append(_Event(1, *step))
    if sheet.loop_step is None:
        return found, None
    starts = [0, *accumulate(each.steps for each in found)]
    return found, starts.index(sheet.loop_step)


def _pitches(events: Sequence[_Event], engine: Engine) -> list[Pitch]:
    sounding = {voice for each in events for voice in (each.voice1, each.voice2)}
    return [pitch for midi, pitch in engine.pitches.items() if midi in sounding]


def _drum(drum: DrumSound, sheet: Sheet, engine: Engine) -> _Drum:
    length = step_length(sheet, engine)
    cycles = engine.profile.loop.cycles
    passes = (length.cycles - engine.profile.steps.overhead_cycles) // cycles
    if engine.method == "alternate":
        timed = [(p, ticks * cycles) for p, ticks in alternate.part_ticks(drum, engine, passes)]
        first, gap = 0, 0
        begun = sum(ticks for _, ticks in timed) // cycles
    elif engine.profile.player:
        timing = schedule.drum_timing(drum, engine, length.setting)
        timed = [(part, each * cycles) for part, each in timing.parts]
        first = schedule.DRUM_FIRST_FLIP_PASSES * cycles
        gap, begun = schedule.DRUM_PART_GAP_PASSES * cycles, timing.passes
    else:
        timed = [(part, part.cycles) for part in engine.parts_in(drum, length)]
        first, gap = 0, 0
        begun = -(-sum(each for _, each in timed) // cycles)
    if engine.silences(drum) and not engine.profile.player:
        begun = passes
    starts = accumulate((each + gap for _, each in timed), initial=first)
    return _Drum(
        tuple(_Part(at, each, p) for at, (p, each) in zip(starts, timed, strict=False)), begun
    )


def _drum_tables(
    name: str, drums: Sequence[DrumSound], played: Sequence[_Drum], engine: Engine
) -> Iterator[str]:
    yield "/* kind, start, cycles, microseconds, setting, change */"
    rows = []
    for each in chain.from_iterable(drum.parts for drum in played):
        setting, change = (*each.part.settings, 0, 0)[:2]
        told = [each.start, each.cycles, _microseconds(each.cycles, engine), setting, change]
        rows.append(f"{{{_KINDS[each.part.kind]}, {', '.join(f'{number}u' for number in told)}}}")
    yield from _table(f"duet_part {name}_parts", rows)
    yield f"/* {', '.join(drum.name for drum in drums)}: first part, parts, passes, microseconds */"
    firsts = accumulate((len(drum.parts) for drum in played), initial=0)
    cycles = engine.profile.loop.cycles
    rows = [
        f"{{{first}, {len(drum.parts)}, {drum.passes}u, "
        f"{_microseconds(drum.passes * cycles, engine)}u}}"
        for first, drum in zip(firsts, played, strict=False)
    ]
    yield from _table(f"duet_drum {name}_drums", rows)


def _microseconds(cycles: int, engine: Engine) -> int:
    return round(1e6 * cycles / engine.clock_hz)


def _table(declaration: str, values: Sequence[str]) -> Iterator[str]:
    yield f"static const {declaration}[{len(values)}] = {{"
    for start in range(0, len(values), _A_LINE):
        yield f"    {', '.join(values[start : start + _A_LINE])},"
    yield "};"
    yield ""
