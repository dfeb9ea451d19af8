"""Other libraries' reading of the same files: mido, pretty_midi and music21.

mido (PyPI: mido) gives messages; notes are paired here, first in first out. pretty_midi (PyPI:
pretty-midi) gives notes in seconds. music21 (PyPI: music21) gives scores, from its own corpus.
"""

from __future__ import annotations

import io
from collections import Counter
from pathlib import Path
from random import Random
from typing import Any

import mido
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from music21 import converter, corpus, harmony

from arranger.errors import SongError
from arranger.settings import ReadSettings
from arranger.song import Song, read_song, read_song_bytes
from arranger.song.midi import mend
from arranger.song.repairs import Repairs
from arranger.song.time import seconds_at
from tests.song.mutations import mutations
from tests.song.test_mutations import seeds as damage_seeds

DEMOS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))


def as_mido_sees(file: mido.MidiFile) -> Counter[tuple[int, int, int, int, int]]:
    """Return track, channel, pitch, onset, duration of each note that has an end."""
    found: Counter[tuple[int, int, int, int, int]] = Counter()
    for index, track in enumerate(file.tracks):
        tick = 0
        waiting: dict[tuple[int, int], list[int]] = {}
        for message in track:
            tick += message.time
            if message.type not in {"note_on", "note_off"}:
                continue
            key = (message.channel, message.note)
            if message.type == "note_on" and message.velocity > 0:
                waiting.setdefault(key, []).append(tick)
            elif waiting.get(key):
                onset = waiting[key].pop(0)
                found[index, message.channel, message.note, onset, tick - onset] += 1
    return found


def as_we_see(song: Song) -> Counter[tuple[int, int, int, int, int]]:
    return Counter((n.track, n.channel, n.pitch, n.onset, n.duration) for n in song.notes)


@pytest.mark.parametrize("file", DEMOS, ids=lambda file: file.stem)
def test_demo_songs_hold_the_notes_that_mido_and_pretty_midi_see(file: Path) -> None:
    song = read_song(file)
    assert as_we_see(song) == as_mido_sees(mido.MidiFile(file))
    theirs = sorted(
        (note.pitch, note.start, note.end)
        for instrument in pretty_midi.PrettyMIDI(str(file)).instruments
        for note in instrument.notes
    )
    onsets = seconds_at(song, [note.onset for note in song.notes])
    ends = seconds_at(song, [note.onset + note.duration for note in song.notes])
    pitches = [note.pitch for note in song.notes]
    ours = sorted(zip(pitches, onsets, ends, strict=True))
    assert [entry[0] for entry in ours] == [entry[0] for entry in theirs]
    # pretty_midi adds up seconds tempo by tempo in floats, as is done here.
    assert [entry[1:] for entry in ours] == [
        (pytest.approx(start, abs=1e-6), pytest.approx(end, abs=1e-6)) for _, start, end in theirs
    ]


# Streams of messages that hypothesis makes: ends always follow, sometimes late.

NOTE = st.tuples(
    st.integers(0, 200),  # onset after the note before
    st.integers(0, 400),  # duration
    st.integers(0, 15),
    st.integers(0, 127),
    st.integers(1, 127),
)
EXTRA = st.one_of(
    st.builds(lambda n: mido.Message("program_change", program=n), st.integers(0, 127)),
    st.builds(lambda n: mido.Message("polytouch", value=n), st.integers(0, 127)),
    st.builds(lambda n: mido.Message("aftertouch", value=n), st.integers(0, 127)),
    st.builds(lambda n: mido.Message("control_change", control=1, value=n), st.integers(0, 127)),
    st.builds(lambda data: mido.Message("sysex", data=data), st.lists(st.integers(0, 127))),
    st.builds(lambda text: mido.MetaMessage("text", text=text), st.text("ab \xe9", max_size=9)),
    st.builds(
        lambda n, data: mido.UnknownMetaMessage(n, data),
        st.integers(0x60, 0x7E),
        st.lists(st.integers(0, 255), max_size=5),
    ),
)


def midi_track(notes: list[tuple[int, ...]], extras: list[tuple[int, Any]]) -> mido.MidiTrack:
    events: list[tuple[int, int, Any]] = []
    onset = 0
    for gap, duration, channel, pitch, velocity in notes:
        onset += gap
        on = mido.Message("note_on", channel=channel, note=pitch, velocity=velocity)
        off = mido.Message("note_off", channel=channel, note=pitch)
        events += [(onset, 0, on), (onset + duration, 1, off)]
    events += [(tick, 2, message) for tick, message in extras]
    events.sort(key=lambda event: event[:2])
    track = mido.MidiTrack()
    now = 0
    for tick, _, message in events:
        message.time = tick - now
        track.append(message)
        now = tick
    return track


@given(
    st.lists(
        st.tuples(
            st.lists(NOTE, max_size=20),
            st.lists(st.tuples(st.integers(0, 4000), EXTRA), max_size=5),
        ),
        min_size=1,
        max_size=4,
    ),
    st.integers(1, 32767),
)
@settings(max_examples=150, deadline=None)
def test_generated_files_hold_the_notes_that_were_written(
    tracks: list[tuple[list[tuple[int, ...]], list[tuple[int, Any]]]], resolution: int
) -> None:
    file = mido.MidiFile(type=1, ticks_per_beat=resolution)
    file.tracks = [midi_track(*track) for track in tracks]
    written = io.BytesIO()
    file.save(file=written)
    song = read_song_bytes(written.getvalue(), "made.mid")
    # The messages as written are the oracle: read back, mido loses the time of unknown metas.
    assert as_we_see(song) == as_mido_sees(file)
    assert song.repairs == ()
    assert song.ticks_per_beat == resolution
    # The mending reader finds nothing to mend in them, and reads the same.
    repairs = Repairs()
    data = written.getvalue()
    mended = mend.mend(data, 0, len(data), 99, repairs)
    assert repairs.listed() == []
    again = b"".join(b"MTrk" + len(track).to_bytes(4) + track for track in mended.tracks)
    assert read_song_bytes(data[:14] + again, "made.mid").notes == song.notes


# Scores of music21's corpus

PIECES = [
    "bach/bwv66.6.mxl",
    "bach/bwv1.6.mxl",
    "bach/bwv349.mxl",
    "schoenberg/opus19/movement2.mxl",
    "ryansMammoth/PaddyMilesFricasseeReel.abc",
    "ryansMammoth/SwallowTailJig.abc",
    "palestrina/Credo_67_c.krn",
    "palestrina/Benedictus_40_b.krn",
    "demos/multiple-verses.xml",
]


def as_music21_sees(score: Any) -> Counter[tuple[int, float, float, int]]:
    """Return part, onset, length and pitch of each note: ties joined, repeats written out."""
    score = score.toSoundingPitch()
    if any(True for _ in score.recurse().getElementsByClass("Repeat")):
        score = score.expandRepeats()
    found: Counter[tuple[int, float, float, int]] = Counter()
    for index, part in enumerate(score.parts):
        for element in part.stripTies().flatten().notes:
            if not isinstance(element, harmony.Harmony):
                length = 0.0 if element.duration.isGrace else float(element.quarterLength)
                for pitch in element.pitches:
                    found[index, round(float(element.offset), 3), round(length, 3), pitch.midi] += 1
    return found


@pytest.mark.parametrize("name", PIECES)
def test_corpus_pieces_hold_the_notes_that_music21_sees(name: str) -> None:
    file = corpus.getWork(name)
    song = read_song(file)
    expected = as_music21_sees(converter.parse(file, forceSource=True))
    ours = Counter(
        (n.track, round(n.onset / 10080, 3), round(n.duration / 10080, 3), n.pitch)
        for n in song.notes
    )
    assert ours == expected
    assert song.repairs == ()


def test_an_analysis_without_notes_is_refused() -> None:
    with pytest.raises(SongError, match="an analysis of harmony without notes"):
        read_song(corpus.getWork("bach/choraleAnalyses/riemenschneider001.rntxt"))


def test_of_damaged_files_no_note_is_lost_that_mido_reads() -> None:
    readable = 0
    everything = ReadSettings(sustain=False, max_beats=10**10)
    for data in mutations(damage_seeds(), Random(77), 2500):
        try:
            theirs = as_mido_sees(mido.MidiFile(file=io.BytesIO(data)))
        except Exception:  # noqa: BLE001 - mido raises anything on damage
            continue
        if theirs:
            readable += 1
            ours = read_song_bytes(data, "damaged.mid", everything)
            # mido reads on where the standard (SMF 1.0, meta event 2F) has a track end
            ended = any("after the end-of-track" in repair.what for repair in ours.repairs)
            assert ended or len(ours.notes) >= theirs.total()
    # mido alone reads about one of these files in thirteen; all of them must be among ours.
    assert readable > 150
