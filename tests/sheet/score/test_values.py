"""Rows as note values. What is expected is common practice, no source, as `values` says it."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.errors import SheetError
from arranger.rows import HOLD, REST, tone_spans
from arranger.sheet import Sheet, SheetBar
from arranger.sheet.score.measures import measures_of
from arranger.sheet.score.score_bars import Sound, beams_of, write_tones

if TYPE_CHECKING:
    from arranger.sheet.score.score_bars import ScoreBar, Value

SHORT = {"breve": "0", "whole": "1", "half": "2", "quarter": "4", "eighth": "8", "": "bar"}


def bars(metre: str, step: str, *rows: str) -> list[ScoreBar]:
    """Return the bars of rows in which x starts a tone, - holds it and . is silence."""
    numerator, denominator = map(int, metre.split("/"))
    cells = tuple({"x": 60, "-": HOLD, ".": REST}[cell] for cell in "".join(rows))
    sheet = Sheet(
        title="", engine="", step_beats=Fraction(step), voice1=cells, voice2=cells, drums=(),
        bars=tuple(SheetBar(n, len(row), numerator, denominator) for n, row in enumerate(rows, 1)),
    )  # fmt: skip
    tones = [Sound(start, end, at) for at, (start, end, _) in enumerate(tone_spans(cells))]
    return write_tones(tones, measures_of(sheet), sheet.step_beats)


def said(values: tuple[Value, ...]) -> str:
    """Return values as words: 4 a quarter, 8. a dotted eighth, 4~ tied on, 4r a rest, 3( a triplet."""
    words, before = [], None
    for value in values:
        if value.tuplet != before and before is not None:
            words[-1] += ")"
        start = value.tuplet and value.tuplet != before and f"{value.tuplet.actual}("
        kind = SHORT.get(value.kind, value.kind.rstrip("thnd"))
        end = "r" if value.what is None else "~" * value.tied_to
        words.append(f"{start or ''}{kind}{'.' * value.dots}{end}")
        before = value.tuplet
    return " ".join(words) + ")" * (before is not None)


@pytest.mark.parametrize(
    ("metre", "step", "row", "expected"),
    [
        ("4/4", "1/2", "x-------", "1"),
        ("4/4", "1/2", "x-----x-", "2. 4"),
        ("4/4", "1/2", "x--xx---", "4. 8 2"),
        ("4/4", "1/2", "x.x---x.", "8 8r 4~ 4 8 8r"),  # the middle is in sight
        ("4/4", "1/2", "x-x-----", "4 4~ 2"),
        ("4/4", "1/2", "x----x--", "2~ 8 4."),
        ("4/4", "1/2", "xx-x..x-", "8 4 8 4r 4"),  # off the beat
        ("4/4", "1/2", "xx--x---", "8 4. 2"),
        ("4/4", "1/2", "xxx-x-xx", "8 8 4 4 8 8"),
        ("4/4", "1/2", "x-xx-x--", "4 8 8~ 8 4."),
        ("4/4", "1/2", "xx------", "8 4.~ 2"),
        ("4/4", "1/2", "........", "barr"),
        ("4/4", "1/2", "x.......", "8 8r 4r 2r"),
        ("4/4", "1/2", ".......x", "2r 4r 8r 8"),
        ("4/4", "1/2", "x-....x-", "4 4r 4r 4"),
        ("4/4", "1/4", "x--xx-xxxx--x---", "8. 16 8 16 16 16 8. 4"),
        ("4/4", "1/4", "xx-x.xx-x...x---", "16 8 16 16r 16 8 16 16r 8r 4"),
        ("4/4", "1/4", "xx----x-x-------", "16 8.~ 8 8 2"),
        ("2/4", "1/2", "xx-x", "8 4 8"),
        ("3/4", "1/2", "x-----", "2."),
        ("3/4", "1/2", "x-x---", "4 2"),
        ("3/4", "1/2", "xx---x", "8 8~ 4. 8"),
        ("3/4", "1/2", "x.....", "8 8r 4r 4r"),
        ("6/8", "1/2", "x-xx-x", "4 8 4 8"),
        ("6/8", "1/2", "x---x-", "4.~ 8 4"),
        ("6/8", "1/2", "xx--x-", "8 4~ 8 4"),
        ("6/8", "1/2", "x-----", "2."),
        ("6/8", "1/2", "x.....", "8 8r 8r 4.r"),
        ("6/8", "1/2", "x-...x", "4 8r 4r 8"),
        ("6/8", "1/4", "x--x--......", "8. 8. 4.r"),
        ("12/8", "1/2", "x-----......", "2. 2.r"),
        ("12/8", "1/2", "x-----------", "1."),
        ("9/8", "1/2", "x--------", "2.~ 4."),
        ("7/8", "1/2", "x-x-x--", "4 4 4."),
        ("3/8", "1/2", "x--", "4."),
        ("4/2", "1", "x-------", "0"),
        ("2/4", "1/3", "xxxx--", "3(8 8 8) 4"),
        ("2/4", "1/3", "x-xx--", "3(4 8) 4"),
        ("2/4", "1/3", "x-x-x-", "3(4 4 4)"),
        ("2/4", "1/3", "x--x-x", "4 3(4 8)"),
        ("2/4", "1/3", "x..x--", "3(8 8r 8r) 4"),
        ("2/4", "1/3", "xx----", "3(8 4~) 4"),
        ("1/4", "1/6", "xxxxxx", "3(16 16 16) 3(16 16 16)"),
        ("1/4", "1/6", "x--x--", "8 8"),
        ("1/4", "1/6", "x-x-x-", "3(8 8 8)"),
        ("1/4", "1/6", "x--xxx", "8 3(16 16 16)"),
        ("1/4", "1/6", "xx----", "3(16 16~ 4)"),
        ("1/4", "1/12", "x---xx-xx---", "3(8 32 16 32 8)"),
        ("1/4", "1/5", "xxx-x", "5(16 16 8 16)"),
        ("3/8", "1/6", "xxxx--x--", "3(16 16 16) 8 8"),
        ("6/8", "1/3", "x--x-xxxx", "4 3(4 8) 3(8 8 8)"),  # its beats are on no step
    ],
)
def test_a_row_as_an_engraver_writes_it(metre: str, step: str, row: str, expected: str) -> None:
    (bar,) = bars(metre, step, row)
    assert said(bar.values) == expected


def test_tones_are_tied_over_bar_lines_and_pickups_begin_late() -> None:
    """The pickup's eighth is the last of its bar, so what follows it isn't the beat."""
    found = bars("4/4", "1/2", "x--", "---x----", "--------")
    assert [said(bar.values) for bar in found] == ["4.~", "4. 8~ 2~", "1"]
    assert [bar.measure.implicit for bar in found] == [True, False, False]


@given(
    st.sampled_from(["4/4", "3/4", "6/8", "12/8", "7/8", "5/4", "2/2", "5/3", "7/16"]),
    st.sampled_from(["1/2", "1/4", "1/3", "1/6", "1/12", "1/8", "1/5"]),
    st.text("x-.", min_size=8, max_size=40),
)
def test_values_fill_their_bar_and_cut_nothing_needlessly(metre: str, step: str, row: str) -> None:
    bar, _ = bars(metre, step, row, row)
    ends = [bar.measure.start, *(value.end for value in bar.values)]
    assert ends == [*(value.start for value in bar.values), bar.measure.end]
    for value in bar.values:
        share = value.tuplet.actual / Fraction(value.tuplet.normal) if value.tuplet else 1
        assert value.kind == "" or (value.end - value.start) * share in (
            Fraction(8) / 2 ** KINDS[value.kind] * (Fraction(3, 2) if value.dots else 1),
        )
    if metre in ("4/4", "2/2"):
        middle = Fraction(2)
        hiding = [v for v in bar.values if v.start < middle < v.end and v.tuplet is None and v.kind]
        assert all(v.start == 0 or metre == "2/2" for v in hiding)


KINDS = {
    kind: place
    for place, kind in enumerate(
        ["breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th"]
    )
}


def test_a_step_that_no_note_is_as_short_as_is_an_error() -> None:
    assert said(bars("4/4", "1/256", "x" * 4)[0].values) == "1024 1024 1024 1024"
    with pytest.raises(SheetError, match="too small a share of a beat for notation"):
        bars("4/4", "1/512", "xxxx")


def test_a_very_long_bar_is_written_in_pieces() -> None:
    (bar,) = bars("400/1", "4", "x" + "-" * 399)
    assert {value.kind for value in bar.values[:-2]} == {"breve"}
    assert bar.values[-1].end == 1600


@pytest.mark.parametrize(
    ("metre", "step", "row", "expected"),
    [
        ("2/4", "1/4", "x--xx-x-", "b eH b e"),
        ("2/4", "1/4", "xx--xxxx", "bF e bB cC cC eE"),
        ("2/4", "1/4", "xx-xx.xx", "bF c eH . . bB eE"),
        ("2/4", "1/4", "x-x.x---", "b eH . ."),
        ("4/4", "1/2", "xxxxx-xx", "b e b e . b e"),
        ("6/8", "1/2", "xxxx-x", "b c e . ."),
        ("2/4", "1/3", "xxxx-x", "b c e . ."),
        ("2/2", "1/2", "xxxx----", "b c c e ."),
    ],
)
def test_what_hangs_together(metre: str, step: str, row: str, expected: str) -> None:
    """Of each note: b begins the outer beam, c goes on, e ends; capitals the second, F and H hooks."""
    (bar,) = bars(metre, step, row)
    short = {"begin": "b", "continue": "c", "end": "e", "forward hook": "f", "backward hook": "h"}
    found = [
        "".join(
            short[beam] if not level else short[beam].upper() for level, beam in enumerate(each)
        )
        for each in beams_of(bar)
    ]
    assert " ".join(each or "." for each in found) == expected
