"""Chords and their tones, as any book of harmony names them (common practice, no source)."""

from __future__ import annotations

import pytest

from arranger.report.heard.problems import degree, root_of

CHORDS = {
    "major": (0, 4, 7),
    "minor": (0, 3, 7),
    "diminished": (0, 3, 6),
    "seventh": (0, 4, 7, 10),
    "major seventh": (0, 4, 7, 11),
    "ninth": (0, 2, 4, 7, 10),
}


@pytest.mark.parametrize("kind", CHORDS)
def test_a_chord_has_the_root_that_it_is_called_by(kind: str) -> None:
    for root in range(12):
        tones = [(root + each) % 12 for each in CHORDS[kind]]
        assert root_of(frozenset(tones), tones[0]) == root
        assert root_of(frozenset(tones), None) == root


def test_of_two_chords_in_one_the_lowest_tone_decides_and_else_the_usual_one() -> None:
    a_minor_seventh = frozenset((9, 0, 4, 7))  # which is C major with a sixth
    assert [root_of(a_minor_seventh, bass) for bass in (9, 0, 4, 7)] == [9, 0, 9, 9]
    c_seventh = frozenset((0, 4, 7, 10))  # E diminished is in it
    assert [root_of(c_seventh, bass) for bass in (0, 4, 7, 10)] == [0, 4, 0, 0]
    c_and_e_minor = frozenset((0, 4, 7, 11))
    assert [root_of(c_and_e_minor, bass) for bass in (0, 4, 7)] == [0, 4, 0]
    augmented = frozenset((0, 4, 8))
    assert [root_of(augmented, bass) for bass in (0, 4, 8)] == [0, 4, 8]


def test_two_tones_or_fourths_are_no_chord() -> None:
    assert root_of(frozenset((0, 7)), 0) is None
    assert root_of(frozenset((0, 5, 10)), 0) is None
    assert root_of(frozenset(), None) is None


def test_tones_are_named_from_the_root() -> None:
    scale = [67, 69, 71, 72, 74, 76, 78]
    names = ["root", "ninth", "third", "fourth", "fifth", "sixth", "seventh"]
    assert [degree(pitch, 7) for pitch in scale] == names
    assert [degree(pitch, 9) for pitch in (68, 70, 72, 75, 77, 79)] == [
        "seventh", "ninth", "third", "fifth", "fifth", "seventh",
    ]  # fmt: skip
