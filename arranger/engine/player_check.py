"""What this project's own Z80 player can play: ``player = "z80"`` in an engine's file.

The player's source is ``arranger/machine/player.asm``; the figures here are its figures.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.engine.profile_check import ProfileFault
from arranger.pitch import pitch_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from arranger.engine.model import Pitch
    from arranger.engine.profile import DrumPart, Profile

PASS_CYCLES = 118
SECOND_WRITE_CYCLES = 59
PHASE_BITS = 17
"""16 in the accumulator, and the level that its overflow flips."""

LARGEST_INCREMENT = 0x3FFF
"""Four times as much, which a voice counts at once, must go into a word."""
LEAST_PERIOD, LARGEST_PERIOD = 9, 0xFF
"""At least the passes that a voice counts at once."""
LARGEST_HALF_PERIOD = 0xFF
"""Of a drum, in passes."""

MOST_CHUNKS = 255
"""The event counter is a byte."""
MOST_CHUNK_PASSES = 258
"""256 rounds of the loop and 2 passes in which chunks are counted."""
LEAST_CHUNK_PASSES = 16
"""The reading of an event must find room in one chunk."""

MOST_LONGER_PASSES = 3
"""A drum may sound so much longer, so that it ends with a chunk."""


def chunking(passes: int) -> tuple[int, int]:
    """Return how the player counts a step: (chunks, passes a chunk), product ``passes``.

    Raises
    ------
    ValueError
        If it can't be counted so.

    >>> chunking(1060), chunking(4096)
    ((5, 212), (16, 256))
    """
    for chunks in range(-(-passes // MOST_CHUNK_PASSES), MOST_CHUNKS + 1):
        if passes % chunks == 0 and passes // chunks >= LEAST_CHUNK_PASSES:
            return chunks, passes // chunks
    message = f"the player can't count steps of {passes} passes"
    raise ValueError(message)


def player_faults(profile: Profile, pitches: Mapping[int, Pitch]) -> Iterator[ProfileFault]:
    """Yield what the player can't do of a profile that asks for it."""
    if profile.method not in ("phase", "counter"):
        yield ProfileFault(
            ("method",), "the Z80 player counts phases or periods", 'method = "phase" or "counter"'
        )
        return
    loop, steps = profile.loop, profile.steps
    if (loop.cycles, loop.voice1_write, loop.second_write) != (PASS_CYCLES, 0, SECOND_WRITE_CYCLES):
        yield ProfileFault(
            ("loop", "cycles"),
            "this is not the loop of the Z80 player",
            f"cycles = {PASS_CYCLES}, voice2_write = {SECOND_WRITE_CYCLES}; "
            "or leave player out, for a routine of your own",
        )
        return
    if steps.passes_per_count != 1 or steps.overhead_cycles:
        yield ProfileFault(
            ("steps", "passes_per_count"),
            "the Z80 player counts single passes, without overhead",
            "passes_per_count = 1, overhead_cycles = 0",
        )
    yield from _step_faults(profile)
    yield from _pitch_faults(profile, pitches)
    for index, drum in enumerate(profile.drum):
        for part in drum.parts:
            yield from player_part_faults(part, ("drum", index, "settings"))


def _step_faults(profile: Profile) -> Iterator[ProfileFault]:
    for count in profile.steps.counts or range(profile.steps.first, profile.steps.last + 1):
        try:
            chunking(count)
        except ValueError:
            yield ProfileFault(
                ("steps", "counts" if profile.steps.counts else "first"),
                f"the Z80 player can't count {count} passes",
                f"a product of 1..{MOST_CHUNKS} and {LEAST_CHUNK_PASSES}..{MOST_CHUNK_PASSES}",
            )
            return


def _pitch_faults(profile: Profile, pitches: Mapping[int, Pitch]) -> Iterator[ProfileFault]:
    phase = profile.method == "phase"
    if phase and profile.pitch.bits != PHASE_BITS:
        yield ProfileFault(
            ("pitch", "bits"),
            f"the Z80 player's phase has {PHASE_BITS} bits with the level",
            f"bits = {PHASE_BITS}",
        )
        return
    least, largest = (1, LARGEST_INCREMENT) if phase else (LEAST_PERIOD, LARGEST_PERIOD)
    for midi, entry in pitches.items():
        if not least <= entry.setting <= largest:
            yield ProfileFault(
                ("pitch",),
                f"{pitch_name(midi)} needs {entry.setting}; the Z80 player has {least} to {largest}",
                "leave the pitch out",
            )
            return


def player_part_faults(part: DrumPart, here: tuple[str | int, ...]) -> Iterator[ProfileFault]:
    """Yield what the player can't do of a part of a drum sound, whose settings' path is ``here``."""
    if part.kind == "rest":
        return
    first, growth = (*part.settings, 0)[:2]
    if first % PASS_CYCLES or growth % PASS_CYCLES or growth < 0:
        yield ProfileFault(
            here, "the Z80 player counts drums in passes", f"give multiples of {PASS_CYCLES}"
        )
        return
    half = first // PASS_CYCLES
    left = -(-part.cycles // PASS_CYCLES) + MOST_LONGER_PASSES
    while 0 < half <= LARGEST_HALF_PERIOD and left > 0 and growth:
        left -= half
        half += growth // PASS_CYCLES
    if not 0 < half <= LARGEST_HALF_PERIOD or (growth and not part.cycles):
        yield ProfileFault(
            here,
            f"a half period of {half} passes is more than the Z80 player's {LARGEST_HALF_PERIOD}",
            "let it grow less, or sound shorter (cycles)",
        )
