"""What is heard of whole conversions, as a second reading has it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.reduce.ledger import Span, columns_of
from arranger.report.heard.hearing import asked_lines, beats_of, sounding
from arranger.report.heard.losses import bar_losses, beats_heard, heard_of
from arranger.rows import HOLD, REST
from arranger.settings import GridSettings, ReduceSettings, Settings
from arranger.song import read_song
from tests.reduce.little_songs import Line, pedalled, song_of
from tests.report.conftest import DEMO_SONGS
from tests.report.plain_hearing import LINES, Plain

if TYPE_CHECKING:
    from arranger.conversion import Conversion


def check(conversion: Conversion) -> None:
    plain = Plain(conversion)
    asked = asked_lines(conversion)
    assert [[*LINES, "none"][line] for line in asked.line] == plain.lines
    assert heard_of(conversion).tolist() == plain.shares
    found = beats_heard(conversion)
    beats = list(zip(found.beats.bar.tolist(), found.beats.number.tolist(), strict=True))
    assert beats == plain.beats
    for at, beat in enumerate(beats):
        for index, line in enumerate(LINES):
            lost = int(found.lost[index, at]) if found.asked[index, at] else None
            assert lost == plain.lost(line, beat), (beat, line)
    for bar in bar_losses(conversion):
        assert (bar.heard, bar.losses) == plain.bar(bar.place)


def test_of_the_song_by_hand_whatever_becomes_of_its_notes(hand: Conversion) -> None:
    random = Random(4)
    reasons = ("octave-folded", "broken-chord", "voices-full", "repeat-tied", "octave-doubled")
    for _ in range(20):
        entries = []
        for entry in hand.reduction.ledger.entries:
            outcome = random.choice(("kept", "changed", "changed", "changed", "merged", "dropped"))
            onset = int(hand.grid.onset_steps[entry.note])
            first = onset + random.choice((0, 0, 1))
            spans = [Span(random.choice((0, 1, 1, 2)), first, random.randint(1, 3))]
            spans.append(Span(random.choice((0, 1)), first + 4, 1))
            late = random.choice((0.0, 0.06, 0.061, 0.1, 0.25, -0.07))
            said = tuple(random.sample(reasons, random.randint(outcome != "kept", 2)))
            entries.append(
                entry._replace(outcome=outcome, reasons=said, spans=tuple(spans), late_seconds=late)
            )
        ledger = replace(hand.reduction.ledger, columns=columns_of(tuple(entries)))
        onsets = hand.grid.onset_steps.copy()
        onsets[random.randrange(len(onsets))] = -1
        ends = hand.grid.onset_steps + [random.randint(0, 9) for _ in entries]
        cells = (59, 71, 67, 43, HOLD, HOLD, REST)
        rows = [tuple(random.choice(cells) for _ in range(16)) for _ in range(2)]
        bars = [bar._replace(denominator=random.choice((2, 4, 8))) for bar in hand.grid.bars]
        grid = replace(hand.grid, onset_steps=onsets, end_steps=ends, bars=tuple(bars))
        reduction = replace(hand.reduction, ledger=ledger, voice1=rows[0], voice2=rows[1])
        check(replace(hand, grid=grid, reduction=reduction))


@pytest.mark.parametrize(
    ("song", "settings"),
    [
        ("two_gulls.mid", Settings(reduce=ReduceSettings(transpose=5))),
        ("ferry_waltz.mid", Settings(grid=GridSettings(bars=(3, 9)), reduce=ReduceSettings(mute=("1",)))),
    ],
)  # fmt: skip
def test_of_songs(song: str, settings: Settings) -> None:
    check(convert(read_song(DEMO_SONGS / song), load_engine("twin-phase"), settings))


def test_of_a_song_that_a_pedal_holds() -> None:
    tune = [(at, 1, 72 + at % 5) for at in range(16)]
    pad = [(at, 4, pitch) for at in range(0, 16, 4) for pitch in (60, 64, 67, 71)]
    song = pedalled(song_of(Line(tune, "tune"), Line(pad, "pad")), 1.5)
    check(convert(song, load_engine("twin-counter"), Settings()))


@pytest.mark.parametrize("transpose", [0, 2, -1])
def test_what_sounds_is_told_in_the_pitches_of_the_song(transpose: int) -> None:
    line, bass = (72, 74, 76, 77), (48, 43, 48, 41)
    parts = [Line([(at, 1, pitch) for at, pitch in enumerate(row)]) for row in (line, bass)]
    chosen = Settings(
        grid=GridSettings(step=Fraction(1)), reduce=ReduceSettings(transpose=transpose)
    )
    found = convert(song_of(*parts), load_engine("twin-phase"), chosen)
    assert found.sheet.voice1 == tuple(pitch + transpose for pitch in line)
    heard = sounding(found.engine, found.reduction, beats_of(found.grid))
    told = [set(np.flatnonzero(beat).tolist()) for beat in heard.T]
    assert told == [{one % 12, two % 12} for one, two in zip(line, bass, strict=True)]
