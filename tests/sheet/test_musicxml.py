"""A sheet as MusicXML, read back by music21: the same notes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import music21
from hypothesis import given, settings

from arranger.engine import load_engine
from arranger.rows import HOLD, REST, tone_spans
from arranger.sheet.musicxml import to_musicxml

from .playable import playable
from .test_midi import SMALL

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.sheet import Sheet


def read_back(part: music21.stream.Part) -> list[tuple[Fraction, Fraction, int]]:
    """Return onset and end in quarter notes and pitch of each note, ties joined."""
    found: list[tuple[Fraction, Fraction, int]] = []
    for note in part.flatten().notes:
        start = Fraction(note.offset).limit_denominator(1000)
        end = start + Fraction(note.quarterLength).limit_denominator(1000)
        if note.tie is not None and note.tie.type != "start":
            assert found[-1][1:] == (start, note.pitch.midi)
            found[-1] = (found[-1][0], end, note.pitch.midi)
        else:
            found.append((start, end, note.pitch.midi))
    return found


@settings(max_examples=15, deadline=None)
@given(playable())
def test_music21_reads_the_notes_of_the_sheet(given: tuple[Sheet, Engine]) -> None:
    sheet, engine = given
    score = music21.converter.parseData(to_musicxml(sheet, engine), format="musicxml")
    parts = list(score.parts)
    for part, row in zip(parts, (sheet.voice1, sheet.voice2), strict=False):
        expected = [
            (start * sheet.step_beats, end * sheet.step_beats, pitch)
            for start, end, pitch in tone_spans(row)
        ]
        assert read_back(part) == expected


def test_both_voices_stand_in_one_system_of_two_staves() -> None:
    """MusicXML 4.0: ``staves`` in a part's attributes is the number of its staves."""
    root = ElementTree.fromstring(to_musicxml(SMALL, load_engine("twin-phase")))
    assert [staves.text for staves in root.iter("staves")] == ["2"]
    assert {staff.text for staff in root.find("part").iter("staff")} == {"1", "2"}
    assert root.findtext(".//movement-title") == "Low tide"


def test_a_title_with_control_characters_gives_readable_xml() -> None:
    written = to_musicxml(replace(SMALL, title="a\x00b\x1b"), load_engine("twin-phase"))
    assert ElementTree.fromstring(written).findtext(".//movement-title") == "a\\x00b\\x1b"


def test_drums_are_unpitched_notes_with_their_names() -> None:
    root = ElementTree.fromstring(to_musicxml(SMALL, load_engine("twin-phase")))
    drums = root.findall("part")[-1]
    assert [text.text for text in drums.iter("text")] == ["kick", "snare"]
    assert len(list(drums.iter("unpitched"))) == 2


def test_each_voice_has_the_clef_that_it_lies_in() -> None:
    """MusicXML 4.0: sign G for a treble, F for a bass clef; a voice without notes gets a treble."""
    engine = load_engine("twin-phase")

    def signs(voice1: tuple[int, ...], voice2: tuple[int, ...]) -> list[str | None]:
        root = ElementTree.fromstring(
            to_musicxml(replace(SMALL, voice1=voice1, voice2=voice2), engine)
        )
        return [sign.text for sign in root.find("part").iter("sign")]

    high, low = (72, *[HOLD] * 7), (43, *[HOLD] * 7)
    assert signs(high, low) == ["G", "F"]
    assert signs(low, high) == ["F", "G"]
    assert signs((60, *[HOLD] * 7), (59, *[HOLD] * 7)) == ["G", "F"]
    assert signs((REST,) * 8, low) == ["G", "F"]
