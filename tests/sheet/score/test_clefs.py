"""Clefs by range. Common practice, no source: see `clefs`."""

from __future__ import annotations

from arranger.sheet.score.clefs import CLEFS, _effort, choose_clefs
from arranger.sheet.score.key import Key
from arranger.sheet.score.spelling import Name, tone_names


def clefs(*bars: list[int]) -> list[str]:
    key = Key(0, minor=False)
    names = [tone_names([(0, 1, pitch) for pitch in bar], [], lambda _: key, 0) for bar in bars]
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


def test_a_note_costs_more_the_more_ledger_lines_it_has_and_under_an_octave_sign() -> None:
    """White keys on staves of which the lines are every second letter."""
    lowest = {"G": 37, "F": 25, "G1": 44, "F-1": 18}  # E4, G2, E5, G1: letters above C-1
    for clef in CLEFS:
        first = lowest[f"{clef.sign}{clef.octave or ''}"]
        for octave in range(9):
            for place, letter in enumerate("CDEFGAB"):
                at = 7 * (octave + 1) + place
                lines = max((first - at) // 2, (at - first - 8) // 2, 0)
                cost = (0, 1, 3, 6, 10, 15)[min(lines, 5)] + 3 * bool(clef.octave)
                assert _effort(Name(letter, 0, octave), clef) == cost


def test_a_change_costs_as_much_as_forty_notes_with_a_ledger_line() -> None:
    high, low = [79] * 20, [59]
    assert clefs(high, low * 80, high) == ["G", "G", "G"]
    assert clefs(high, low * 81, high) == ["G", "F", "G"]
    assert clefs(low * 40, high) == ["G", "G"]
    assert clefs(low * 41, high) == ["F", "G"]
