"""Clefs by range. Common practice, no source: see `clefs`."""

from __future__ import annotations

from itertools import product
from random import Random

from arranger.sheet.score.clefs import CLEFS, choose_clefs
from arranger.sheet.score.key import Key
from arranger.sheet.score.spelling import spell


def clefs(*bars: list[int]) -> list[str]:
    key = Key(0, minor=False)
    names = [spell([(0, 1, pitch) for pitch in bar], [], lambda _: key, 0) for bar in bars]
    return [f"{clef.sign}{clef.octave or ''}" for clef in choose_clefs(names)]


def test_each_voice_has_the_clef_that_it_lies_in() -> None:
    assert clefs([72, 76], [67, 84]) == ["G", "G"]
    assert clefs([43, 48], [50, 60]) == ["F", "F"]
    assert clefs([], []) == ["G", "G"]


def test_a_clef_says_which_line_is_its_tone() -> None:
    """A G clef curls around G4, an F clef dots F3 (an octave on with an 8), by MusicXML's line."""
    for clef in CLEFS:
        tone = {"G": 4 * 7 + 4, "F": 3 * 7 + 3}[clef.sign]  # in letters above C0
        assert clef.lowest + 2 * (clef.line - 1) == tone + 7 * clef.octave


def test_octave_clefs_spare_ledger_lines_where_there_are_many() -> None:
    assert clefs([84] * 4) == ["G"]  # two lines each
    assert clefs([96] * 4) == ["G1"]  # six
    assert clefs([36] * 4) == ["F"]
    assert clefs([26] * 4) == ["F-1"]
    assert clefs([86] * 4, [35] * 4) == ["G", "F"] == clefs([86] * 40, [35] * 40)  # two lines
    assert clefs([88] * 4) == ["G1"]  # three
    assert clefs([33] * 4) == ["F-1"]


def test_what_hangs_on_a_staff_needs_no_line_and_middle_c_one_in_either_clef() -> None:
    assert clefs([59] * 4) == ["F"]  # above its staff, a line below the other
    assert clefs([60] * 4) == ["G"]
    assert clefs([62] * 4) == ["G"]


def test_a_clef_changes_only_where_it_pays() -> None:
    low, high = [43] * 8, [79] * 8
    assert clefs(low, high, low) == ["F", "G", "F"]
    assert clefs(low, [67], low) == ["F", "F", "F"]
    assert clefs(high, [57, 59], high) == ["G", "G", "G"]


def test_no_other_clefs_are_easier_to_read() -> None:
    """What up to five ledger lines cost, an octave clef each note, and a change: 40."""

    def cost(staff: range, eight: bool, pitch: int) -> int:
        """Return what a white key costs on a staff of which the lines are every second letter."""
        letter = pitch // 12 * 7 + (0, 2, 4, 5, 7, 9, 11).index(pitch % 12)
        lines = max((staff[0] - letter) // 2, (letter - staff[-1]) // 2, 0)
        return (0, 1, 3, 6, 10, 15)[min(lines, 5)] + 3 * eight

    treble, bass = range(37, 46), range(25, 34)  # E4 to F5, G2 to A3: letters above C-1
    staves = {
        "G": (treble, False), "F": (bass, False),
        "G1": (range(44, 53), True), "F-1": (range(18, 27), True),
    }  # fmt: skip
    random = Random(2)
    white = [pitch for pitch in range(21, 109) if pitch % 12 in (0, 2, 4, 5, 7, 9, 11)]
    for _ in range(60):
        around = [random.randrange(len(white)) for _ in range(3)]
        bars = [
            [
                white[max(min(at + random.randint(-6, 6), 51), 0)]
                for _ in range(random.randint(0, 9))
            ]
            for at in around
        ]

        def total(signs: tuple[str, ...] | list[str], bars: list[list[int]] = bars) -> int:
            read = sum(cost(*staves[s], p) for s, bar in zip(signs, bars, strict=True) for p in bar)
            return read + 40 * sum(a != b for a, b in zip(signs, signs[1:], strict=False))

        assert total(clefs(*bars)) == min(map(total, product(staves, repeat=3)))
