"""Comparing: which bars differ, and which notes of the song come back or go."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.engine import load_engine
from arranger.rows import HOLD, REST
from arranger.sheet import Sheet, SheetBar, write_sheet
from arranger.sheet.compare import Side, SongNote, _transpose, compare, song_notes
from arranger.sheet.merging.refit import in_steps_of
from arranger.sheet.side_by_side import side_by_side

if TYPE_CHECKING:
    from pathlib import Path

ENGINE = replace(load_engine("twin-phase"), drum_takes_step=True)
LEFT = Sheet(
    title="Low tide",
    engine="twin-phase",
    step_beats=Fraction(1),
    length=2000,
    bars=(SheetBar(1, 4, 4, 4), SheetBar(2, 4, 4, 4)),
    voice1=(60, HOLD, 62, HOLD, 64, HOLD, HOLD, HOLD),
    voice2=(48, HOLD, HOLD, HOLD, 48, HOLD, HOLD, HOLD),
    drums=("kick", None, None, None, None, None, None, None),
)
RIGHT = replace(LEFT, voice1=(*LEFT.voice1[:4], 65, HOLD, 64, HOLD), drums=(None,) * 8)


def note(name: str, pitch: int, bar: int, beat: int, beats: int, *, drum: bool = False) -> SongNote:
    return SongNote(name, pitch, drum, bar, Fraction(beat), Fraction(beats))


def test_bars_that_differ_are_found_with_the_notes_they_mean() -> None:
    """In bar 1 the kick goes, so C4 is heard at last; in bar 2 F4 comes and E4 comes late."""
    notes = [
        note("C4", 60, 1, 1, 1),
        note("kick", 36, 1, 1, 1, drum=True),
        note("D4", 62, 1, 3, 2),
        note("E4", 64, 2, 1, 2),
        note("F5", 77, 2, 1, 1),  # an octave higher in the song
    ]
    found = compare(Side(LEFT, ENGINE, 0), Side(RIGHT, ENGINE, 0), notes)
    assert [bar.number for bar in found.bars] == [1, 2]
    assert [[n.name for n in bar.brought_back] for bar in found.bars] == [["C4"], ["F5"]]
    assert [[n.name for n in bar.lost] for bar in found.bars] == [["kick"], ["E4"]]
    assert found.looked_at == 2


def test_a_drum_sounds_as_the_sheets_settings_say() -> None:
    """In bar 1 the kick goes; by the settings it stands for a triangle, and for no bass drum."""
    notes = [
        note("triangle", 81, 1, 1, 1, drum=True),
        note("bass drum", 36, 1, 1, 1, drum=True),
        note("too late", 81, 1, 2, 1, drum=True),
    ]
    asked = replace(LEFT, settings="--drum 81=kick --drum 36=snare --drum x=hat --step 1")
    found = compare(Side(asked, ENGINE, 0), Side(RIGHT, ENGINE, 0), notes)
    assert [n.name for n in found.bars[0].lost] == ["triangle"]


def test_a_transposed_sheet_is_heard_in_its_own_key() -> None:
    up = replace(LEFT, voice1=tuple(c + 2 if c >= 0 else c for c in LEFT.voice1))
    found = compare(Side(LEFT, ENGINE, 0), Side(up, ENGINE, 2), [note("D4", 62, 1, 3, 2)])
    assert [bar.lost for bar in found.bars] == [(), ()]


def test_a_bar_that_was_put_in_is_alone_on_its_side() -> None:
    right = replace(
        LEFT,
        bars=(LEFT.bars[0], SheetBar(2, 4, 4, 4), SheetBar(3, 4, 4, 4)),
        voice1=(*LEFT.voice1[:4], REST, REST, REST, REST, *LEFT.voice1[4:]),
        voice2=(*LEFT.voice2[:4], REST, REST, REST, REST, *LEFT.voice2[4:]),
        drums=(*LEFT.drums[:4], None, None, None, None, *LEFT.drums[4:]),
    )
    (bar,) = compare(Side(LEFT, ENGINE, 0), Side(right, ENGINE, 0), None).bars
    assert bar.left is None
    assert bar.right is not None
    assert bar.right.head.number == 2


def test_finer_steps_are_compared_in_time() -> None:
    finer = replace(
        LEFT,
        step_beats=Fraction(1, 2),
        bars=(SheetBar(1, 8, 4, 4), SheetBar(2, 8, 4, 4)),
        voice1=(60, HOLD, HOLD, HOLD, 62, HOLD, HOLD, HOLD, 64, *[HOLD] * 7),
        voice2=(48, *[HOLD] * 7) * 2,
        drums=("kick", *[None] * 15),
    )
    found = compare(Side(LEFT, ENGINE, 0), Side(finer, ENGINE, 0), None)
    assert found.bars == ()
    assert found.header == (("step", "1 beat", "1/2 beat"),)
    thirds = in_steps_of(LEFT, Fraction(1, 3)).sheet
    found = compare(Side(finer, ENGINE, 0), Side(thirds, ENGINE, 0), None)
    assert (found.bars, found.header) == ((), (("step", "1/2 beat", "1/3 beat"),))


def test_the_text_stays_within_80_columns_and_shows_both_sides() -> None:
    text = side_by_side(
        compare(Side(LEFT, ENGINE, 0), Side(RIGHT, ENGINE, 0), None), "a" * 100, "b.duet"
    )
    assert max(map(len, text.splitlines())) <= 80
    assert "voice 1   1 E4  -   -   -                     | F4  -   E4  -" in text
    assert text.endswith("2 of 2 bars differ\n")


SIDES = """\
            songs/low.duet                    | songs/high.duet
title       Low tide                          | High tide

bar 1       4/4   16 steps                    | 4/4   16 steps
voice 1   9 -   -   -   -   -   -   -   -     | -   C#4 -   -   -   -   -   -
                                                    ^^^
drums     7 .        .        .               | .        .        kick-hat
                                                                  ^^^^^^^^
  brings back: C#4 of 'a long name 0' (beat 3), C#4 of 'a long name 1' (beat 3),
    C#4 of 'a long name 2' (beat 3), C#4 of 'a long name 3' (beat 3),
    C#4 of 'a long name 4' (beat 3), C#4 of 'a long name 5' (beat 3), and 1 more

bar 2       4/4   16 steps                    | 3/4   12 steps   loop
voice 1   9 -   -   -   -   -   -   -   -     | -   -   -   -
                                                                ^   ^   ^   ^
voice 2   9 -   -   -   -   -   -   -   -     | -   -   -   -
                                                                ^   ^   ^   ^
drums     9 .   .   .   .   .   .   .   .     | .   .   .   .
                                                                ^   ^   ^   ^
  loses: D4 of 'lead' (beat 4)

2 of 2 bars differ; 7 notes of the song are brought back, 1 lost
"""


def test_a_comparison_line_by_line() -> None:
    """Beats are four steps of four columns; of words of nine three fit a side of 33."""
    left = replace(
        LEFT,
        step_beats=Fraction(1, 4),
        bars=(SheetBar(1, 16, 4, 4), SheetBar(2, 16, 4, 4)),
        voice1=(60, *[HOLD] * 15, 62, *[HOLD] * 15),
        voice2=(48, *[HOLD] * 31),
        drums=("kick", *[None] * 31),
    )
    right = replace(
        left,
        title="High tide",
        bars=(SheetBar(1, 16, 4, 4), SheetBar(2, 12, 3, 4)),
        voice1=(60, *[HOLD] * 8, 61, *[HOLD] * 6, 62, *[HOLD] * 11),
        voice2=(48, *[HOLD] * 27),
        drums=("kick", *[None] * 7, "kick-hat", *[None] * 19),
        loop_step=16,
    )
    notes = [note(f"C#4 of 'a long name {n}'", 61, 1, 3, 2) for n in range(7)]
    notes += [
        note("Bass Drum 1 of 'kit'", 36, 1, 1, 1, drum=True),
        note("D4 of 'lead'", 62, 2, 4, 1),
    ]
    found = compare(Side(left, ENGINE, 0), Side(right, ENGINE, 0), notes)
    assert side_by_side(found, "songs/low.duet", "songs/high.duet") == SIDES


def test_the_command_reads_files_and_needs_no_ledger(tmp_path: Path) -> None:
    for name, sheet in (("a", LEFT), ("b", RIGHT)):
        write_sheet(sheet, tmp_path / f"{name}.duet")
    result = CliRunner().invoke(
        app, ["compare", str(tmp_path / "a.duet"), str(tmp_path / "b.duet")]
    )
    assert result.exit_code == 0
    assert "2 of 2 bars differ" in result.output
    told = CliRunner().invoke(
        app, ["compare", "--json", str(tmp_path / "a.duet"), str(tmp_path / "b.duet")]
    )
    (first, second) = json.loads(told.output)["bars"]
    assert first["left"]["drums"] == ["kick", ".", ".", "."]
    assert second["right"]["voice1"] == ["F4", "-", "E4", "-"]
    same = CliRunner().invoke(app, ["compare", *[str(tmp_path / "a.duet")] * 2])
    assert "no bar differs" in same.output


def test_the_notes_of_a_ledger_keep_bar_beat_length_and_name() -> None:
    """480 ticks a beat; General MIDI: 36 is Bass Drum 1."""
    ledger = {
        "source": {
            "ticks_per_beat": 480,
            "tracks": [
                {"parts": [{"part": 1, "name": "lead"}]},
                {"parts": [{"part": 2, "name": "kit"}]},
            ],
        },
        "notes": [
            {"part": 1, "pitch": 60, "drum": False, "bar": 3, "beat": 2.5, "duration_tick": 720},
            {"part": 2, "pitch": 36, "drum": True, "bar": 4, "beat": 1, "duration_tick": 10},
        ],
    }
    assert song_notes(ledger) == [
        SongNote("C4 of 'lead'", 60, False, 3, Fraction(5, 2), Fraction(3, 2)),
        SongNote("Bass Drum 1 of 'kit'", 36, True, 4, Fraction(1), Fraction(1, 48)),
    ]


def test_a_note_is_heard_anywhere_in_its_length_and_nowhere_else() -> None:
    """In bar 2 E4 sounds for all four beats on the left, on the right from beat 3 on."""
    asked = [note("two beats", 64, 2, 1, 2), note("three beats", 64, 2, 1, 3)]
    (_, bar) = compare(Side(LEFT, ENGINE, 0), Side(RIGHT, ENGINE, 0), asked).bars
    assert [each.name for each in bar.lost] == ["two beats"]


def test_a_note_outside_the_sheet_is_heard_nowhere() -> None:
    """After its end, and before its first step; all of these pitches sound at the other end."""
    asked = [note("after", 60, 2, 5, 1), note("before", 64, 1, -1, 1), note("last", 64, 2, 4, 9)]
    (_, bar) = compare(Side(LEFT, ENGINE, 0), Side(RIGHT, ENGINE, 0), asked).bars
    assert (bar.lost, bar.brought_back) == ((), ())
    silent = replace(LEFT, voice1=(REST,) * 8)
    first, bar = compare(Side(LEFT, ENGINE, 0), Side(silent, ENGINE, 0), asked).bars
    assert [each.name for each in (*first.lost, *bar.lost)] == ["last"]


@pytest.mark.parametrize(
    ("settings", "ledger", "found"),
    [
        ("", {"transpose": 3}, 0),
        ("--transpose", {"transpose": 3}, 0),
        ("--transpose 5", {"transpose": 3}, 5),
        ("--step 1/4 --transpose -2 --mute 3", None, -2),
        ("--transpose auto", {"transpose": 3}, 3),
        ("--transpose auto", {"transpose": "3"}, 0),
        ("--transpose auto", None, 0),
    ],
)
def test_how_far_a_song_was_moved_is_said_by_the_sheet_or_else_the_ledger(
    settings: str, ledger: dict[str, object] | None, found: int
) -> None:
    assert _transpose(replace(LEFT, settings=settings), ledger) == found


def test_a_wider_terminal_is_used_and_never_exceeded() -> None:
    found = compare(Side(LEFT, ENGINE, 0), Side(RIGHT, ENGINE, 0), None)
    for width in (80, 81, 120):
        text = side_by_side(found, "a" * 99, "b" * 99, width)
        assert max(map(len, text.splitlines())) == width
