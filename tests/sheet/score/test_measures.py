"""How strong the places of a bar are: what note values keep in sight. Common practice, no source."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.sheet.score.measures import metre_of


@pytest.mark.parametrize(
    ("metre", "step", "beats", "strong"),
    [
        ((4, 4), "1/4", "1 1 1 1", "9565 7565 8565 7565 9"),
        ((6, 8), "1/4", "3/2 3/2", "956565 756565 9"),
        ((12, 8), "1/2", "3/2 3/2 3/2 3/2", "966 766 866 766 9"),
        ((7, 8), "1/4", "1 1 3/2", "9565 7565 756565 9"),
        ((5, 8), "1/2", "1 3/2", "96 766 9"),
        ((3, 4), "1/2", "1 1 1", "96 76 76 9"),
        ((2, 2), "1/2", "2 2", "9565 7565 9"),
        ((9, 16), "1/8", "3/4 3/4 3/4", "956565 756565 756565 9"),
        ((8, 8), "1/2", "1 1 1 1", "96 76 86 76 9"),
        ((1, 8), "1/4", "1/2", "96 9"),
        ((4, 4), "1/3", "1 1 1 1", "900 700 800 700 9"),
        ((6, 8), "1/3", "1 1 1", "900 700 700 9"),  # its beats are on no step
        ((3, 3), "1/3", "1 1 1 1", "900 700 800 700 9"),  # thirds of a whole note are no beats
    ],
)
def test_places_are_the_weaker_the_more_a_beat_is_cut_for_them(
    metre: tuple[int, int], step: str, beats: str, strong: str
) -> None:
    """9 the bar, 8 its middle, 7 a beat, 0 where notes of no tuplet begin; a second bar is as the first."""
    found = metre_of(*metre, Fraction(step))
    assert " ".join(map(str, found.beats)) == beats
    assert found.full == sum(found.beats)
    digits = strong.replace(" ", "")
    for bar in (0, 1):
        for place, digit in enumerate(digits):
            time = bar * found.full + place * found.full / (len(digits) - 1)
            assert found.strength(time) == int(digit), place
    for time in (Fraction(0), found.beats[0] / 2, found.full, found.full - Fraction(1, 64)):
        start, beat = found.beat_at(time)
        assert start <= time < start + beat
        assert beat in found.beats
