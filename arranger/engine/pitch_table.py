"""From a profile to pitches and step lengths, in exact clock arithmetic.

Frequencies are ratios of integers until the last division, so that a table has no rounding of its
own; see `arranger.engine.profile` for the formula of each method.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from arranger.engine.model import Pitch, StepLength
from arranger.pitch import cents_between, equal_temperament_hz, parse_pitch

if TYPE_CHECKING:
    from collections.abc import Mapping

    from arranger.engine.profile import Profile


MOST_CENTS = 50.0
"""A pitch further off is nearer to another note: it is left out."""

FREQUENCY_BITS = 32
"""Method ``frequencies``: the listed Hz become increments of accumulators this wide."""


def frequency(profile: Profile, setting: int) -> Fraction:
    """Return the exact frequency in Hz that a setting (> 0) gives."""
    clock, cycles = profile.clock_hz, profile.loop.cycles
    if profile.method == "phase":
        return Fraction(setting * clock, cycles << profile.pitch.bits)
    if profile.method == "frequencies":
        return Fraction(setting * clock, cycles << FREQUENCY_BITS)
    if profile.method == "counter":
        return Fraction(clock, 2 * setting * cycles)
    return Fraction(clock, setting)


def nearest_setting(profile: Profile, pitch: int) -> int:
    """Return the setting (>= 1) whose frequency is nearest, in cents, to an equal-tempered pitch."""
    wanted = equal_temperament_hz(pitch)
    unit = float(frequency(profile, 1))
    ideal = wanted / unit if profile.method == "phase" else unit / wanted
    below = max(int(ideal), 1)
    return min(
        (below, below + 1),
        key=lambda setting: abs(cents_between(float(frequency(profile, setting)), wanted)),
    )


def pitch_table(profile: Profile) -> dict[int, Pitch]:
    """Return every pitch that the engine plays, by MIDI number, in rising order."""
    found = {}
    if profile.pitch.table:
        for name, value in profile.pitch.table.items():
            midi = parse_pitch(name)
            setting = int(value)
            if profile.method == "frequencies":
                setting = round(Fraction(value) / frequency(profile, 1))
            found[midi] = _entry(midi, setting, float(frequency(profile, setting)))
        return dict(sorted(found.items()))
    for midi in range(parse_pitch(profile.pitch.lowest), parse_pitch(profile.pitch.highest) + 1):
        setting = nearest_setting(profile, midi)
        found[midi] = _entry(midi, setting, float(frequency(profile, setting)))
    return found


def in_tune(pitches: Mapping[int, Pitch]) -> dict[int, Pitch]:
    """Return the pitches that aren't nearer to another note than to their own."""
    return {midi: entry for midi, entry in pitches.items() if abs(entry.cents) <= MOST_CENTS}


def _entry(midi: int, setting: int, hz: float) -> Pitch:
    return Pitch(midi, setting, hz, cents_between(hz, equal_temperament_hz(midi)))


def step_lengths(profile: Profile) -> tuple[StepLength, ...]:
    """Return the step lengths, strictly increasing."""
    steps = profile.steps
    counts = sorted(set(steps.counts)) or range(steps.first, steps.last + 1)
    unit = steps.passes_per_count * profile.loop.cycles
    return tuple(
        StepLength(
            count,
            count * unit + steps.overhead_cycles,
            (count * unit + steps.overhead_cycles) / profile.clock_hz,
        )
        for count in counts
    )
