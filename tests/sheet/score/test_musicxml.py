"""A sheet as MusicXML 4.0, read back by music21 and by a plain reading of our own."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import music21
import pytest
from hypothesis import given, settings

from arranger.engine import load_engine
from arranger.engine.model import DrumSound
from arranger.engine.profile import DrumPart
from arranger.rows import HOLD, REST, tone_spans
from arranger.sheet import Sheet, SheetBar
from arranger.sheet.score.drums import strokes_of
from arranger.sheet.score.measures import metre_as_long_as
from arranger.sheet.score.musicxml import to_musicxml
from arranger.sheet.sounds import sounds_of
from tests.sheet.playable import playable
from tests.sheet.test_midi import SMALL

from .plain_musicxml import Read, read_part

if TYPE_CHECKING:
    from arranger.engine.model import Engine

ENGINE = load_engine("twin-phase")


def written(sheet: Sheet, engine: Engine = ENGINE) -> ElementTree.Element:
    return ElementTree.fromstring(to_musicxml(sheet, engine))


def tones(row: tuple[int, ...], step: Fraction) -> list[Read]:
    return [Read(start * step, end * step, pitch) for start, end, pitch in tone_spans(row)]


@settings(max_examples=20)
@given(playable())
def test_a_score_says_what_the_rows_say(given: tuple[Sheet, Engine]) -> None:
    """Tones with their lengths, drums with their onsets; all that is drawn agrees (`read_part`)."""
    sheet, engine = given
    parts = [read_part(part) for part in written(sheet, engine).findall("part")]
    assert parts[:2] == [tones(row, sheet.step_beats) for row in (sheet.voice1, sheet.voice2)]
    sounds = sounds_of(sheet, engine)
    hits = [
        (at * sheet.step_beats, f"drum-{stroke.name}")
        for at, name in enumerate(sheet.drums)
        if name is not None
        for voice in strokes_of(name, sounds)
        for stroke in voice
    ]
    assert sorted((hit.start, hit.what[1]) for part in parts[2:] for hit in part) == sorted(hits)


@pytest.mark.filterwarnings("ignore:.*does not map")  # it knows no claps and no rides
@settings(max_examples=10)
@given(playable())
def test_music21_reads_the_notes_of_the_sheet(given: tuple[Sheet, Engine]) -> None:
    sheet, engine = given
    score = music21.converter.parseData(to_musicxml(sheet, engine), format="musicxml")
    for part, row in zip(score.parts, (sheet.voice1, sheet.voice2), strict=False):
        found: list[Read] = []
        for note in part.flatten().notes:
            start = Fraction(note.offset).limit_denominator(1000)
            end = start + Fraction(note.quarterLength).limit_denominator(1000)
            if note.tie is not None and note.tie.type != "start":
                assert found[-1][1:] == (start, note.pitch.midi)
                found[-1] = found[-1]._replace(end=end)
            else:
                found.append(Read(start, end, note.pitch.midi))
        assert found == tones(row, sheet.step_beats)


def test_parts_are_called_what_they_are() -> None:
    root = written(SMALL)
    names = [each.text for each in root.iter("part-name")]
    assert names == ["voice 1", "voice 2", "drums"]
    assert root.findtext("movement-title") == "Low tide"
    silent = written(replace(SMALL, drums=(None, *["gap"] * 7)))
    assert len(silent.findall("part")) == 2  # a silence is nothing to be struck


def test_a_title_with_control_characters_gives_readable_xml() -> None:
    root = written(replace(SMALL, title="a\x00b\x1b"))
    assert root.findtext("movement-title") == "a\\x00b\\x1b"


def score(rows: str, **changes: object) -> ElementTree.Element:
    """Return the score of a sheet in quarter notes; rows are those of voice 1, a bar each."""
    bars = [row.split() for row in rows.split("|")]
    cells = tuple(
        {"-": HOLD, ".": REST}.get(word) or music21.pitch.Pitch(word).midi
        for row in bars
        for word in row
    )
    sheet = Sheet(
        title="", engine="twin-phase", step_beats=Fraction(1), tempo=120, voice1=cells,
        voice2=(REST,) * len(cells), drums=(None,) * len(cells),
        bars=tuple(SheetBar(number, len(row), 4, 4) for number, row in enumerate(bars, 1)),
    )  # fmt: skip
    return written(replace(sheet, **changes))


def test_key_metre_and_tempo_stand_at_the_beginning() -> None:
    first = score("E4 G#4 B4 E5 | D#5 C#5 B4 A4 | G#4 F#4 E4 - | A4 - B4 -").find("part/measure")
    assert (first.findtext(".//fifths"), first.findtext(".//mode")) == ("4", "major")
    assert (first.findtext(".//beats"), first.findtext(".//beat-type")) == ("4", "4")
    assert first.findtext(".//beat-unit") == "quarter"
    assert first.findtext(".//per-minute") == "120"
    assert float(first.find(".//sound").get("tempo")) == pytest.approx(120, rel=0.01)


def test_a_change_of_key_is_said_in_each_voice_after_a_double_bar_line() -> None:
    low, high = "C4 D4 E4 F4 | G4 A4 B4 C5 |" * 8, "D-4 E-4 F4 G-4 | A-4 B-4 C5 D-5 |" * 8
    parts = score((low + high).removesuffix("|")).findall("part")
    for part in parts[:2]:
        keys = [measure.findtext("attributes/key/fifths") for measure in part]
        assert keys == ["0", *[None] * 15, "-5", *[None] * 15]
        styles = [measure.findtext("barline/bar-style") for measure in part]
        assert styles == [*[None] * 15, "light-light", *[None] * 15, "light-heavy"]
    assert not list(parts[0].iter("accidental"))


def test_a_metronome_mark_counts_the_beats_of_the_metre() -> None:
    bars = (SheetBar(1, 6, 6, 8),)
    first = score("C4 D4 E4 F4 G4 A4", bars=bars, step_beats=Fraction(1, 2)).find("part/measure")
    assert first.findtext(".//beat-unit") == "quarter"
    assert first.find(".//beat-unit-dot") is not None
    assert first.findtext(".//per-minute") == "80"


def test_a_pickup_is_not_counted_whichever_way_it_is_said() -> None:
    """By a bar that its metre doesn't fill, and by a short metre, as MIDI files do."""
    for bars in (
        (SheetBar(0, 1, 4, 4), SheetBar(1, 4, 4, 4)),
        (SheetBar(0, 1, 1, 4), SheetBar(1, 4, 4, 4)),
    ):
        measures = score("C4 D4 E4 F4 G4", bars=bars).findall("part[1]/measure")
        assert [each.get("implicit") for each in measures] == ["yes", None]
        assert [each.get("number") for each in measures] == ["0", "1"]
        assert [time.findtext("beats") for each in measures for time in each.iter("time")] == ["4"]
    bars = (SheetBar(1, 3, 3, 4), SheetBar(2, 4, 4, 4))
    measures = score("C4 D4 E4 F4 G4 A4 B4", bars=bars).findall("part[1]/measure")
    assert [each.get("implicit") for each in measures] == [None, None]


def test_other_lengths_have_a_metre_that_is_not_printed() -> None:
    bars = (SheetBar(1, 4, 4, 4), SheetBar(2, 3, 4, 4), SheetBar(3, 4, 4, 4))
    times = score("C4 D4 E4 F4 | G4 A4 B4 | C5 - - -", bars=bars).findall("part[1]/measure//time")
    found = [(time.findtext("beats"), time.get("print-object")) for time in times]
    assert found == [("4", None), ("3", "no"), ("4", None)]
    bars = (SheetBar(1, 4, 4, 4), SheetBar(2, 2, 2, 3))  # thirds of a whole note are none
    times = score("C4 D4 E4 F4 | G4 A4", bars=bars).findall("part[1]/measure//time")
    assert [(t.findtext("beats"), t.findtext("beat-type")) for t in times] == [
        ("4", "4"),
        ("2", "4"),
    ]


@pytest.mark.parametrize(
    ("length", "metre"),
    [("4", (4, 4)), ("3", (3, 4)), ("1", (1, 4)), ("7/2", (7, 8)), ("1/4", (1, 16)),
     ("8", (8, 4)), ("4/3", None), ("1/3", None)],
)  # fmt: skip
def test_a_bar_of_any_length_has_a_metre_where_there_is_one(
    length: str, metre: tuple[int, int] | None
) -> None:
    assert metre_as_long_as(Fraction(length)) == metre


def repeats(root: ElementTree.Element) -> list[list[str | None]]:
    """Return the bar lines of each measure of the last part that say something."""
    return [
        [
            repeat.get("direction") if (repeat := line.find("repeat")) is not None else "end"
            for line in measure.iter("barline")
        ]
        for measure in root.findall("part")[-1].findall("measure")
    ]


def test_where_the_piece_goes_on_is_a_repeat_sign() -> None:
    tune = "C4 D4 E4 F4 | G4 A4 B4 C5"
    assert repeats(score(tune)) == [[], ["end"]]
    assert repeats(score(tune, loop_step=0)) == [[], ["backward"]]
    assert repeats(score(tune, loop_step=4)) == [[], ["forward", "backward"]]
    within = score(tune, loop_step=6)
    assert repeats(within) == [[], [], ["forward", "backward"]]
    last = within.findall("part[1]/measure")[-2:]
    assert [(each.get("number"), each.get("implicit")) for each in last] == [
        ("2", None),
        ("2", "yes"),
    ]
    assert [len(each.findall("note")) for each in last] == [2, 2]


def test_sections_are_rehearsal_marks_once() -> None:
    bars = (SheetBar(1, 4, 4, 4, section="A"), SheetBar(2, 4, 4, 4, section="B-2"))
    root = score("C4 D4 E4 F4 | G4 A4 B4 C5", bars=bars)
    assert [each.text for each in root.iter("rehearsal")] == ["A", "B-2"]


def test_drums_stand_where_drummers_look_for_them() -> None:
    """A hit lasts to the next of its voice or its beat's end; a joint sound is what it joins."""
    row = ("kick-hat", None, "hat", None, "snare-hat", None, None, "kick-snare")
    root = score(
        "C4 - - - - - - -", drums=row, bars=(SheetBar(1, 8, 4, 4),), step_beats=Fraction(1, 2)
    )
    part = root.findall("part")[2]
    assert part.findtext(".//clef/sign") == "percussion"
    found = [
        (
            note.findtext("voice"),
            note.findtext("unpitched/display-step", "") + note.findtext("unpitched/display-octave", ""),
            note.findtext("notehead"), note.findtext("type"), note.findtext("stem"),
        )
        for note in part.iter("note")
    ]  # fmt: skip
    assert found == [
        ("1", "G5", "x", "quarter", "up"), ("1", "G5", "x", "quarter", "up"),
        ("1", "G5", "x", "quarter", "up"), ("1", "", None, "eighth", None),
        ("1", "C5", None, "eighth", "up"),
        ("2", "F4", None, "quarter", "down"), ("2", "", None, "quarter", None),
        ("2", "C5", None, "quarter", "down"), ("2", "", None, "eighth", None),
        ("2", "F4", None, "eighth", "down"),
    ]  # fmt: skip
    # General MIDI Level 1: 36 bass drum, 38 snare, 42 closed hi-hat; counted from 1 here.
    keys = {
        each.get("id"): each.findtext("midi-unpitched") for each in root.iter("midi-instrument")
    }
    assert [keys[f"drum-{name}"] for name in ("kick", "snare", "hat")] == ["37", "39", "43"]


STAFF = {
    (36, 35): "space 1", (41, 43): "space 2", (45,): "line 3", (38, 40): "space 3",
    (47,): "line 4", (48, 50): "space 4", (51, 59): "line 5 x", (42,): "space 5 x",
    (46,): "space 5 circle-x", (44,): "space 0 x", (49, 57): "line 6 x", (52, 55): "space 6 x",
    (53,): "line 5 diamond", (37,): "space 3 x", (76, 56): "space 4 diamond", (77,): "line 4 diamond",
    (80, 81): "line 7 diamond", (39,): "line 4 x", (54,): "line 3 x",
}  # fmt: skip
"""Percussion keys and where they are written: lines and spaces of the staff, from below.

Keys of General MIDI Level 1; after N. Weinberg, "Guide to Standardized Drumset Notation", Percussive
Arts Society, 1998, from memory.
"""


def test_drums_are_written_on_the_lines_and_spaces_of_the_standard() -> None:
    for keys, place in STAFF.items():
        for key in keys:
            sound = DrumSound("it", (key,), 1.0, (DrumPart("noise", (1,), 100),))
            upper, lower = strokes_of("it", {"it": sound})
            (stroke,) = (*upper, *lower)
            above = stroke.octave * 7 + "CDEFGAB".index(stroke.letter) - (4 * 7 + 2)  # E4: line 1
            kind = "space" if above % 2 else "line"
            told = f"{kind} {(above + 1) // 2 if above % 2 else above // 2 + 1}"
            told += "" if stroke.head == "normal" else f" {stroke.head}"
            assert (told, stroke.key, bool(upper)) == (place, key, above >= 7)


def test_a_hat_under_another_cymbal_is_played_with_the_foot() -> None:
    part = score("C4 - - -", drums=("ride-hat", None, "hat", None)).findall("part")[2]
    found = [
        (note.findtext("unpitched/display-step"), note.findtext("voice"))
        for note in part.iter("note")
        if note.find("unpitched") is not None
    ]
    assert found == [("F", "1"), ("G", "1"), ("D", "2")]


def test_a_drum_of_no_known_key_is_a_diamond_on_the_middle_line() -> None:
    sound = DrumSound("it", (), 1.0, (DrumPart("noise", (1,), 100),))
    assert strokes_of("it", {"it": sound}) == ((), (("it", "B", 4, "diamond", None),))
