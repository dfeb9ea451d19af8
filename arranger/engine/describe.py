"""An engine in words and figures: for people as lines, for scripts as plain values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from arranger.engine.tuning import LIMIT_CENTS
from arranger.pitch import pitch_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.engine.model import Engine
    from arranger.engine.profile import Port

SETTING_NAMES = {
    "phase": "increment",
    "counter": "period",
    "alternate": "divisor",
    "frequencies": "increment",
}
"""What an engine's method calls the setting of a pitch."""


def engine_line(engine: Engine) -> str:
    """Return one line on an engine, for a list of engines."""
    return (
        f"{engine.title}; {pitch_name(engine.lowest)} to {pitch_name(engine.highest)}, "
        f"worst error {worst_cents(engine):.1f} cents, {len(engine.drums)} drum sounds"
    )


def worst_cents(engine: Engine) -> float:
    """Return the largest tuning error of an engine, sign left out."""
    return max(abs(pitch.cents) for pitch in engine.pitches.values())


def engine_values(engine: Engine) -> dict[str, Any]:
    """Return everything that `engine_lines` tells, as values that JSON can hold."""
    return {
        "format": "arranger-engine-table",
        "version": 1,
        "name": engine.name,
        "title": engine.title,
        "method": engine.method,
        "clock_hz": engine.clock_hz,
        "loop_cycles": engine.profile.loop.cycles,
        "pitches": [
            {"name": pitch_name(pitch.midi), **pitch._asdict()} for pitch in engine.pitches.values()
        ],
        "left_out": [
            {"name": pitch_name(pitch.midi), **pitch._asdict()} for pitch in engine.left_out
        ],
        "step_lengths": [entry._asdict() for entry in engine.step_lengths],
        "drums": [
            {
                **drum._asdict(),
                "parts": [part._asdict() for part in drum.parts],
                "seconds": drum.cycles / engine.clock_hz or None,
            }
            for drum in engine.drums
        ],
        "drum_takes_step": engine.drum_takes_step,
        "code_bytes": engine.code_bytes,
        "memory_bytes": engine.memory_bytes,
        "port": engine.profile.port._asdict() if engine.profile.player else None,
    }


def engine_lines(engine: Engine) -> Iterator[str]:
    """Yield an engine's description as lines of text: pitches, step lengths, drums, memory."""
    yield f"{engine.name}: {engine.title}"
    yield (
        f"method {engine.method}, clock {engine.clock_hz:,} Hz, "
        f"{engine.profile.loop.cycles} cycles a {_pass(engine)}"
    )
    yield f"player: {_player(engine)}"
    if engine.profile.player:
        yield port_line(engine.profile.port)
    yield ""
    yield from _pitch_lines(engine)
    yield ""
    if engine.left_out:
        yield f"Warning: {left_out_line(engine)}"
        yield ""
    yield from _step_lines(engine)
    yield ""
    yield from _drum_lines(engine)
    yield ""
    song_bytes = engine.memory_bytes - engine.code_bytes
    yield (
        f"Memory: {engine.memory_bytes:,} bytes, of which the player takes {engine.code_bytes:,} "
        f"and a song may take {song_bytes:,}"
    )


def port_line(port: Port) -> str:
    """Return where this project's Z80 player finds the speaker and the keys."""
    keys = f"keys: port {port.key_port}, mask {port.key_mask}" if port.key_mask else "no keys"
    return f"speaker: port {port.number}, bit {port.speaker}; {keys}"


def left_out_line(engine: Engine) -> str:
    """Return the sentence on the pitches that are left out of the table; there are some."""
    named = ", ".join(f"{pitch_name(entry.midi)} ({entry.cents:+.0f})" for entry in engine.left_out)
    return f"left out of the pitch table, since they are more than 50 cents off: {named}"


def _pass(engine: Engine) -> str:
    if engine.method == "alternate":
        return f"tick, {engine.profile.loop.turn} ticks a turn of a voice"
    return "pass of the sound loop"


def _player(engine: Engine) -> str:
    if engine.profile.player:
        return "this project's own, for the Z80 (export as binary or assembly)"
    if engine.method == "alternate":
        return "this project's own, for x86 in real mode (export as binary or assembly)"
    laid_out = " in its own layout" * (engine.profile.export is not None)
    return f"a routine of your own (export as data{laid_out}, c or json)"


def _pitch_lines(engine: Engine) -> Iterator[str]:
    off = sum(abs(pitch.cents) > LIMIT_CENTS for pitch in engine.pitches.values())
    yield (
        f"Pitches: {len(engine.pitches)}; {off} of them off by more than {LIMIT_CENTS:g} cents "
        f"(marked *), worst {worst_cents(engine):.1f}"
    )
    yield from _table(
        "<>>>>",
        ("pitch", "MIDI", SETTING_NAMES[engine.method], "Hz", "cents"),
        [
            (
                pitch_name(pitch.midi),
                str(pitch.midi),
                str(pitch.setting),
                f"{pitch.frequency_hz:.2f}",
                f"{pitch.cents:+.1f}{'*' if abs(pitch.cents) > LIMIT_CENTS else ' '}",
            )
            for pitch in engine.pitches.values()
        ],
    )


def _step_lines(engine: Engine) -> Iterator[str]:
    yield f"Step lengths: {len(engine.step_lengths)}; tempo in quarter notes a minute"
    yield from _table(
        ">>>>>>",
        ("count", "cycles", "ms", "step 1/2", "step 1/3", "step 1/4"),
        [
            (
                str(entry.setting),
                str(entry.cycles),
                f"{1000 * entry.seconds:.2f}",
                *(f"{60 / parts / entry.seconds:.1f}" for parts in (2, 3, 4)),
            )
            for entry in engine.step_lengths
        ],
    )


def _drum_lines(engine: Engine) -> Iterator[str]:
    if not engine.drums:
        yield "Drum sounds: none"
        return
    extent = "a drum takes the whole step" if engine.drum_takes_step else "tones go on after a drum"
    yield f"Drum sounds: {len(engine.drums)}; {extent}"
    yield from _table(
        "<>><<",
        ("name", "ms", "weight", "parts", "percussion keys"),
        [
            (
                drum.name,
                f"{1000 * drum.cycles / engine.clock_hz:.0f}" if drum.cycles else "step",
                f"{drum.weight:g}",
                ", ".join(
                    f"{part.kind} {' '.join(map(str, part.settings))}" for part in drum.parts
                ),
                " ".join(map(str, drum.percussion_keys)),
            )
            for drum in engine.drums
        ],
    )


def _table(align: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Yield rows as columns, each aligned to the left ("<") or the right (">")."""
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    for row in (heads, *rows):
        cells = (
            f"{cell:{side}{width}}" for cell, side, width in zip(row, align, widths, strict=True)
        )
        yield "  " + "  ".join(cells).rstrip()
