"""Pitch tables against equal temperament at A4 = 440 Hz.

Sources: ISO 16:1975 (A4 = 440 Hz); the frequencies of the tempered scale as handbooks of acoustics
print them (from memory, two decimals); music21's own pitch objects as an independent reckoning.
"""

from __future__ import annotations

import tomllib
from fractions import Fraction
from importlib import resources
from math import log2

import pytest
from music21.pitch import Pitch as ReferencePitch

from arranger.engine import builtin_engines, load_engine
from arranger.pitch import equal_temperament_hz

HANDBOOK_HZ = {
    24: 32.70, 33: 55.00, 36: 65.41, 40: 82.41, 45: 110.00, 48: 130.81, 57: 220.00, 60: 261.63,
    64: 329.63, 67: 392.00, 69: 440.00, 72: 523.25, 76: 659.26, 79: 783.99, 81: 880.00, 84: 1046.50,
    96: 2093.00,
}  # fmt: skip


@pytest.mark.parametrize(("midi", "hz"), HANDBOOK_HZ.items())
def test_the_scale_is_the_handbooks(midi: int, hz: float) -> None:
    assert equal_temperament_hz(midi) == pytest.approx(hz, abs=0.005)


def played_hz(raw: dict[str, object], setting: int) -> Fraction:
    """Return what a setting sounds like, from the TOML file alone, by each method's formula."""
    clock, cycles = int(raw["clock_hz"]), int(raw["loop"]["cycles"])  # type: ignore[call-overload, index]
    if raw["method"] == "phase":
        return Fraction(clock * setting, 2 ** int(raw["pitch"]["bits"]) * cycles)  # type: ignore[call-overload, index]
    if raw["method"] == "counter":
        return Fraction(clock, 2 * cycles * setting)
    assert raw["method"] == "alternate"
    return Fraction(clock, setting)


@pytest.mark.parametrize("name", builtin_engines())
def test_every_pitch_is_as_near_as_the_engine_can_get(name: str) -> None:
    engine = load_engine(name)
    text = resources.files("arranger.engine").joinpath(f"builtin/{name}.toml").read_text("utf-8")
    raw = tomllib.loads(text)
    for midi, pitch in engine.pitches.items():
        reference = ReferencePitch(midi=midi).frequency

        def cents(setting: int, reference: float = reference) -> float:
            return 1200 * log2(float(played_hz(raw, setting)) / reference)

        assert pitch.midi == midi
        assert pitch.frequency_hz == pytest.approx(float(played_hz(raw, pitch.setting)), rel=1e-12)
        # music21 reckons with rounded powers; a thousandth of a cent is far below anything audible.
        assert pitch.cents == pytest.approx(cents(pitch.setting), abs=1e-3)
        neighbours = [abs(cents(pitch.setting + 1))]
        if pitch.setting > 1:
            neighbours.append(abs(cents(pitch.setting - 1)))
        assert abs(pitch.cents) <= min(neighbours) + 1e-3
