"""A sheet as MIDI: read by other programs, and converted back to the same sheet."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import mido
import music21
import pytest
from hypothesis import assume, given, settings

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.errors import SheetError
from arranger.rows import HOLD, REST
from arranger.settings import Settings
from arranger.sheet import Sheet, SheetBar
from arranger.sheet.form import as_bars
from arranger.sheet.midi import percussion_keys, to_midi
from arranger.sheet.model import SheetSound, SoundPart
from arranger.sheet.played import step_length
from arranger.song import TempoChange, read_song_bytes

from .playable import ENGINES, playable, settled

if TYPE_CHECKING:
    from arranger.engine.model import Engine

SMALL = Sheet(
    title="Low tide",
    engine="twin-phase",
    step_beats=Fraction(1, 2),
    length=load_engine("twin-phase").nearest_step_length(0.25).setting,
    bars=(SheetBar(1, 8, 4, 4),),
    voice1=(60, HOLD, REST, 62, 62, HOLD, HOLD, REST),
    voice2=(REST, REST, 43, HOLD, HOLD, HOLD, REST, REST),
    drums=("kick", None, None, None, "snare", None, None, None),
)


@settings(max_examples=30, deadline=None)
@given(playable())
def test_converting_the_midi_of_a_sheet_gives_the_sheet_back(given: tuple[Sheet, Engine]) -> None:
    sheet, engine = given
    song = read_song_bytes(to_midi(sheet, engine), "again.mid")
    assume(song.notes)
    again = convert(song, engine, Settings(engine=engine.name)).sheet
    # a bar is as another only while both play the same
    rows = {"voice1": settled(sheet.voice1), "voice2": settled(sheet.voice2)}
    sheet = as_bars.settled(replace(sheet, **rows))  # type: ignore[arg-type]
    assert (again.voice1, again.voice2) == (sheet.voice1, sheet.voice2)
    for name in (
        "title",
        "engine",
        "step_beats",
        "tempo",
        "length",
        "bars",
        "drums",
        "sounds",
        "loop_step",
    ):
        assert getattr(again, name) == getattr(sheet, name), name


def test_each_note_of_a_joint_sound_is_heard() -> None:
    """They were said to be left out for each other."""
    engine = load_engine("twin-phase")
    sheet = replace(SMALL, drums=("kick-hat", None, "hat", None, "snare-crash", None, None, None))
    song = read_song_bytes(to_midi(sheet, engine), "again.mid")
    again = convert(song, engine, Settings())
    assert again.sheet.drums == sheet.drums
    drums = [entry for entry in again.reduction.ledger.entries if song.notes[entry.note].drum]
    assert [entry.outcome for entry in drums] == ["kept"] * 5


def test_mido_reads_the_notes_that_stand_in_the_sheet() -> None:
    """Independent reader: mido; ticks by hand (240 a step of half a beat at 480 a beat)."""
    file = mido.MidiFile(file=io.BytesIO(to_midi(SMALL, load_engine("twin-phase"))))
    assert file.type == 1
    assert [track.name for track in file.tracks] == ["Low tide", "voice 1", "voice 2", "drums"]
    assert _notes(file.tracks[1]) == [(0, 480, 60), (720, 960, 62), (960, 1680, 62)]
    assert _notes(file.tracks[2]) == [(480, 1440, 43)]
    # General MIDI Level 1 percussion map: 35 Acoustic Bass Drum or 36 Bass Drum 1; 38, 40 snares.
    (kick, snare) = _notes(file.tracks[3])
    assert kick[2] in (35, 36)
    assert snare[2] in (38, 40)
    assert {m.channel for m in file.tracks[3] if m.type == "note_on"} == {9}


def test_music21_reads_the_same_notes() -> None:
    """A second reader with a parser of its own: music21. In quarter notes, by hand from `SMALL`."""
    written = to_midi(SMALL, load_engine("twin-phase"))
    score = music21.converter.parseData(written, format="midi")
    found = {
        part.partName: [(n.offset, n.quarterLength, n.pitch.midi) for n in part.flatten().notes]
        for part in list(score.parts)[:2]
    }
    assert found == {
        "voice 1": [(0.0, 1.0, 60), (1.5, 0.5, 62), (2.0, 1.5, 62)],
        "voice 2": [(1.0, 2.0, 43)],
    }


def test_the_tempo_is_what_the_engine_plays() -> None:
    engine = load_engine("twin-phase")
    file = mido.MidiFile(file=io.BytesIO(to_midi(SMALL, engine)))
    seconds = next(e.seconds for e in engine.step_lengths if e.setting == SMALL.length)
    assert file.length == pytest.approx(8 * seconds, abs=8e-6)  # tempo in whole microseconds


@pytest.mark.parametrize("name", ENGINES)
def test_each_drum_sound_has_a_key_of_its_own(name: str) -> None:
    """Also 64 of the sheet's own, for which General MIDI has no name."""
    engine = load_engine(name)
    part = SoundPart("kick", (1180, 118), 1000)
    own = tuple(SheetSound(f"own-{number}", (part,)) for number in range(64))
    names = tuple(each.name for each in (*engine.drums, *own))
    rest = (REST,) * len(names)
    sheet = replace(SMALL, voice1=rest, voice2=rest, drums=names, sounds=own)
    keys = percussion_keys(sheet, engine)
    assert set(keys) == set(names)
    joined = {drum.name: drum.joins for drum in engine.drums if drum.joins}
    plain = [name for name in names if name not in joined]
    assert len({keys[name] for name in plain}) == len(plain)
    assert all(len(keys[name]) == 1 and 0 <= keys[name][0] < 128 for name in plain)
    assert keys["kick"][0] in (35, 36)  # General MIDI Level 1 percussion map
    for name, joins in joined.items():
        assert set(keys[name]) == {keys[each][0] for each in joins}


def joint_engine() -> Engine:
    """Return an engine on which two sounds say kick and snare at once."""
    engine = load_engine("twin-phase")
    kick = engine.drums[0]
    joints = (
        kick._replace(name=name, percussion_keys=(), joins=("kick", "snare")) for name in "ab"
    )
    return replace(engine, drums=(*(drum for drum in engine.drums if not drum.joins), *joints))


def test_a_joint_sound_is_written_as_those_it_joins_and_read_back() -> None:
    engine = joint_engine()
    sheet = replace(SMALL, drums=("a", "kick", None, "b", "snare", "a", "a", None))
    written = to_midi(sheet, engine)
    track = mido.MidiFile(file=io.BytesIO(written)).tracks[3]
    assert min(message.time for message in track) >= 0
    notes = sorted(_notes(track))
    kick, snare = notes[2][2], notes[4][2]
    assert [key for start, _, key in notes if start == 0] == sorted([kick, snare])
    # The second of two sounds that say the same can only be told by a key of its own.
    (other,) = [key for start, _, key in notes if start == 3 * 240]
    assert other not in (kick, snare)
    again = convert(read_song_bytes(written, "x.mid"), engine, Settings())
    assert again.sheet.drums == sheet.drums
    assert len(again.reduction.ledger.entries) == len(again.song.notes)


def test_notes_that_no_sound_says_at_once_are_arranged_like_any_song() -> None:
    engine = joint_engine()
    written = to_midi(
        replace(SMALL, drums=("a", None, None, None, "hat", None, None, None)), engine
    )
    plain = load_engine("twin-phase")
    plain = replace(plain, drums=tuple(drum for drum in plain.drums if not drum.joins))
    again = convert(read_song_bytes(written, "x.mid"), plain, Settings())
    assert again.sheet.drums[0] in ("kick", "snare")
    assert not any("made from a sheet" in remark for remark in again.grid.remarks)


def test_more_sounds_than_keys_are_refused() -> None:
    engine = load_engine("twin-phase")
    kick = engine.drums[0]
    names = tuple(f"d{number}" for number in range(129))
    many = tuple(kick._replace(name=name, percussion_keys=()) for name in names)
    sheet = replace(SMALL, bars=(SheetBar(1, 129, 4, 4),), voice1=(REST,) * 129,
                    voice2=(REST,) * 129, drums=names)  # fmt: skip
    with pytest.raises(SheetError, match="has 129 drum sounds, and MIDI 128"):
        to_midi(sheet, replace(engine, drums=many))


def test_notes_that_were_changed_elsewhere_are_arranged_like_any_song() -> None:
    engine = load_engine("twin-phase")
    file = mido.MidiFile(file=io.BytesIO(to_midi(SMALL, engine)))
    for message in file.tracks[1]:
        if message.type in ("note_on", "note_off") and message.note == 60:
            message.note = 127  # not in the pitch table
    content = io.BytesIO()
    file.save(file=content)
    again = convert(read_song_bytes(content.getvalue(), "x.mid"), engine, Settings())
    assert 127 not in again.sheet.voice1
    assert len(again.reduction.ledger.entries) == len(again.song.notes)


def test_a_sheet_that_the_engine_cannot_play_is_refused() -> None:
    with pytest.raises(SheetError, match="outside the pitch table"):
        to_midi(replace(SMALL, voice1=(127, *SMALL.voice1[1:])), load_engine("twin-phase"))


def _notes(track: mido.MidiTrack) -> list[tuple[int, int, int]]:
    now, sounding, found = 0, {}, []
    for message in track:
        now += message.time
        if message.type == "note_on":
            sounding[message.note] = now
        elif message.type == "note_off":
            found.append((sounding.pop(message.note), now, message.note))
    return found


def test_another_engine_plays_at_the_same_tempo() -> None:
    """A length is the sheet's own engine's; elsewhere its seconds count, or the tempo beside it."""
    twin, other = load_engine("twin-phase"), load_engine("pc-alternate")
    seconds = step_length(SMALL, twin).seconds
    song = read_song_bytes(to_midi(SMALL, twin), "x.mid")
    sheet = convert(song, other, Settings(engine=other.name)).sheet
    assert sheet.length is None
    assert step_length(sheet, other) == other.nearest_step_length(seconds)
    asked = replace(SMALL, tempo=121.0)  # played as 119.6
    song = read_song_bytes(to_midi(asked, twin), "x.mid")
    sheet = convert(song, other, Settings(engine=other.name)).sheet
    assert (sheet.tempo, sheet.length) == (121.0, None)


@pytest.mark.parametrize("name", ["twin-phase", "pc-alternate"])
@pytest.mark.parametrize("lines", [(7440, None), (7440, 121.0), (None, 121.0)])
def test_a_tempo_changed_in_another_program_counts(
    name: str, lines: tuple[int | None, float | None]
) -> None:
    sheet = replace(SMALL, length=lines[0], tempo=lines[1])
    song = read_song_bytes(to_midi(sheet, load_engine("twin-phase")), "x.mid")
    slower = replace(song, tempos=(TempoChange(0, 600_000),))
    again = convert(slower, load_engine(name), Settings(engine=name)).sheet
    assert (again.tempo, again.length) == (100.0, None)
    beat = song.tempos[0].microseconds_per_beat
    rounded = replace(song, tempos=(TempoChange(0, round(beat * 1.0008)),))
    if name == "twin-phase":
        again = convert(rounded, load_engine(name), Settings(engine=name)).sheet
        assert (again.length, again.tempo) == lines
