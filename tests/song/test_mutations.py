"""Thousands of damaged files: read or refused in one line, and what is read keeps the laws."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from pathlib import Path
from random import Random

import numpy as np

from arranger.errors import ArrangerError
from arranger.song import Song, read_song_bytes
from tests.published.test_midi_spec import FORMAT_0, FORMAT_1
from tests.song.midi_bytes import QUARTER_C4, QUARTER_E4, header, track
from tests.song.mutations import mutations
from tests.song.test_mend import CASES
from tests.song.test_strict import some_file, song_of_many_notes

DEMOS = Path(__file__).parents[2] / "demo_songs"
# Any of these in a message would be a Python error let through as text.
SIGNS_OF_A_DEFECT = ("Error", "Traceback", "object at 0x", "NoneType")


def seeds() -> list[bytes]:
    cases = [case.values[0] for case in CASES]
    demos = [(DEMOS / f"{name}.mid").read_bytes()[:1500] for name in ("ferry_waltz", "tide_clock")]
    return [*cases, *demos, FORMAT_0, FORMAT_1]


def check_laws(song: Song) -> None:
    """Check what later stages rely on."""
    assert [note.id for note in song.notes] == list(range(len(song.notes)))
    assert all(
        a.onset <= b.onset and (a.onset, a.track) <= (b.onset, b.track)
        for a, b in itertools.pairwise(song.notes)
    )
    for note in song.notes:
        assert note.onset >= 0
        assert note.duration >= 0
        assert 0 <= note.pitch <= 127
        assert 1 <= note.velocity <= 127
        assert 0 <= note.loudness <= 1
        part = song.parts[note.part]
        assert (part.track, part.channel, part.drum) == (note.track, note.channel, note.drum)
    assert Counter(note.part for note in song.notes) == {p.index: p.notes for p in song.parts}
    assert [part.index for part in song.parts] == list(range(len(song.parts)))
    assert all(part.name for part in song.parts)
    assert song.ticks_per_beat > 0
    for changes in (song.tempos, song.metres):
        ticks = [change.tick for change in changes]
        assert ticks[0] == 0
        assert all(a < b for a, b in itertools.pairwise(ticks))
    assert all(change.microseconds_per_beat > 0 for change in song.tempos)
    assert all(m.numerator > 0 and m.denominator in {1, 2, 4, 8, 16, 32, 64} for m in song.metres)


def test_damaged_files_are_read_or_refused_in_one_line() -> None:
    outcomes: Counter[str] = Counter()
    refusals: list[str] = []
    for data in mutations(seeds(), Random(20), 2000):
        try:
            song = read_song_bytes(data, "damaged.mid")
        except ArrangerError as error:
            refusals.append(str(error))
        else:
            outcomes["mended" if song.repairs else "read"] += 1
            check_laws(song)
    # Most injuries leave music: the run is no run if nearly all files are refused.
    assert outcomes["mended"] > 1000
    assert len(refusals) < 600
    assert not [line for line in refusals if "\n" in line]
    assert not [line for line in refusals if any(sign in line for sign in SIGNS_OF_A_DEFECT)]


def test_pure_noise_is_refused_or_read_but_never_breaks() -> None:
    random = Random(4)
    for _ in range(300):
        body = random.randbytes(random.randrange(400))
        try:
            song = read_song_bytes(FORMAT_0[:14] + b"MTrk\0\0\1\0" + body, "noise.mid")
        except ArrangerError:
            continue
        check_laws(song)


OFTEN = {
    "the chunk says N bytesN its events take N": 450,
    "no end-of-track event: the track ends with its data": 225,
    "data byte N is above N: clipped": 199,
    "a message that breaks off: left out": 178,
    "N notes had no end: ended at the next note of that pitch or the end of the track": 119,
    "the header counts N tracksN there are N": 111,
    "data without a status byte: N bytes passed over": 98,
    "byte N inside a message: passed over": 93,
    "a channel message is cut off by the end of the track: left out": 85,
    "N bytes that are no chunk were passed over": 80,
    "a header of N bytes: the first N were read": 58,
    "a chunk N was read as a track": 55,
    "a delta time without an event is cut off by the end of the track: left out": 55,
    "N note had no end: ended at the next note of that pitch or the end of the track": 49,
    "no song that is known here; songs are MIDI, MusicXML, ABC, Humdrum or MEI files": 47,
    "the MIDI data was taken out of what surrounds it": 47,
    "running status after a meta or system-exclusive event: kept": 41,
    "a pause of N ticks: left out": 40,
    "a MIDI header without any track": 40,
    "format N read as format N": 40,
    "a meta event that breaks off: N bytes passed over": 33,
    "a chunk bN was read as the header": 32,
    "no header: N ticks a beat assumed": 32,
    "data without a status byte is cut off by the end of the track: left out": 27,
    "N byte that are no chunk were passed over": 22,
    "system byte N inside a track: passed over": 18,
    "a header cut short by the first track": 17,
    "a meta event that breaks off is cut off by the end of the track: left out": 13,
    "an end-of-track event that breaks off: taken for one": 12,
    "no end-of-track event: the track ends with its chunk": 11,
    "a system-exclusive event of wrong length: left out": 11,
}


def test_what_is_mended_in_files_damaged_at_random() -> None:
    """How often each repair is made is what reading does now: whoever changes it means to."""
    random = Random(21)
    whole = [some_file(random) for _ in range(12)] + [song_of_many_notes(random) for _ in range(4)]
    whole += [header(1, 2) + track(QUARTER_C4 * 3) + track(QUARTER_E4 * 4), FORMAT_1]
    made: Counter[str] = Counter()
    total = np.zeros(5, np.int64)
    for data in mutations(whole, random, 700):
        try:
            song = read_song_bytes(data, "damaged.mid")
        except ArrangerError as error:
            made[re.sub(r"\d+", "N", str(error))] += 1
            continue
        made.update(re.sub(r"0x\w+|[\d,]+|'[^']+'", "N", each.what) for each in song.repairs)
        columns = song.columns
        places = re.findall(r"0x(\w+)", " ".join(each.place for each in song.repairs))
        total += [len(columns), *(each.sum() for each in (columns.onset, columns.duration, columns.pitch)),
                  sum(int(place, 16) for place in places)]  # fmt: skip
    often = {what: count for what, count in made.items() if count >= 10}
    assert often == OFTEN
    assert made.total() - sum(often.values()) == 67
    # notes, their onsets, durations and pitches, and the bytes of repairs, added up
    assert total.tolist() == [9329, 1447992999, 541448747, 607555, 207081]
