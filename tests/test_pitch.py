"""Pitch names and equal temperament."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.pitch import cents_between, equal_temperament_hz, parse_pitch, pitch_name


@given(st.integers(0, 127))
def test_every_midi_number_has_a_name_that_reads_back(pitch: int) -> None:
    assert parse_pitch(pitch_name(pitch)) == pitch


@pytest.mark.parametrize(
    ("name", "pitch"),
    [("C4", 60), ("A4", 69), ("C-1", 0), ("G9", 127), ("Bb3", 58), ("B#3", 60), ("Fb4", 64)],
)
def test_names_at_known_places(name: str, pitch: int) -> None:
    # C4 = 60 and A4 = 69: the scientific numbering that design and General MIDI share.
    assert parse_pitch(name) == pitch


@pytest.mark.parametrize("text", ["", "H4", "C", "4C", "C#b4", "C10", "G#9", "Cb-1", "C4 "])
def test_what_is_no_pitch_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"pitch name|outside"):
        parse_pitch(text)


def test_equal_temperament_against_a_printed_table() -> None:
    # Frequencies of A4, C4 (middle C) and A0 in equal temperament at A4 = 440 Hz (ISO 16:1975), as
    # printed in acoustics handbooks to five figures; from memory.
    assert equal_temperament_hz(69) == 440.0
    assert equal_temperament_hz(60) == pytest.approx(261.63, abs=0.005)
    assert equal_temperament_hz(21) == pytest.approx(27.5, abs=1e-12)
    assert equal_temperament_hz(108) == pytest.approx(4186.0, abs=0.05)


def test_cents_count_1200_to_the_octave() -> None:
    assert cents_between(880, 440) == 1200
    # A pure fifth is 701.955 cents (textbook value).
    assert math.isclose(cents_between(3, 2), 701.955, abs_tol=5e-4)
