"""The worked examples of the Standard MIDI File 1.0 specification, byte for byte.

Source: "Standard MIDI Files 1.0" (MIDI Manufacturers Association, RP-001), the example of one piece
written as a format 0 and as a format 1 file, and the table of variable-length quantities; from
memory.
"""

from __future__ import annotations

import pytest

from arranger.settings import ReadSettings
from arranger.song import MetreChange, TempoChange, read_song_bytes
from arranger.song.midi.syntax import encode_quantity, quantity

FORMAT_0 = bytes.fromhex(
    "4D546864 00000006 0000 0001 0060"  # header: format 0, one track, 96 ticks a beat
    "4D54726B 0000003B"  # track of 59 bytes
    "00 FF 58 04 04 02 18 08"  # 4/4
    "00 FF 51 03 07 A1 20"  # 500,000 microseconds a beat
    "00 C0 05 00 C1 2E 00 C2 46"  # programs 5, 46, 70 on channels 1, 2, 3
    "00 92 30 60 00 3C 60"  # C3 and C4 on channel 3; running status
    "60 91 43 40"  # G4 on channel 2
    "60 90 4C 20"  # E5 on channel 1
    "81 40 82 30 40 00 3C 40"  # end of channel 3, after 192 ticks
    "00 81 43 40 00 80 4C 40"  # end of the others
    "00 FF 2F 00"
)

FORMAT_1 = bytes.fromhex(
    "4D546864 00000006 0001 0004 0060"
    "4D54726B 00000014"  # the tempo track
    "00 FF 58 04 04 02 18 08"
    "00 FF 51 03 07 A1 20"
    "83 00 FF 2F 00"
    "4D54726B 00000010"  # channel 1
    "00 C0 05 81 40 90 4C 20 81 40 4C 00 00 FF 2F 00"
    "4D54726B 0000000F"  # channel 2
    "00 C1 2E 60 91 43 40 82 20 43 00 00 FF 2F 00"
    "4D54726B 00000015"  # channel 3
    "00 C2 46 00 92 30 60 00 3C 60 83 00 30 00 00 3C 00 00 FF 2F 00"
)

# Channel from 0, onset, duration, pitch, velocity: from the specification's own table of events.
NOTES = {
    (2, 0, 384, 48, 96),
    (2, 0, 384, 60, 96),
    (1, 96, 288, 67, 64),
    (0, 192, 192, 76, 32),
}


def test_the_format_0_example_reads_as_printed() -> None:
    song = read_song_bytes(FORMAT_0, "example.mid")
    assert {(n.channel, n.onset, n.duration, n.pitch, n.velocity) for n in song.notes} == NOTES
    assert song.ticks_per_beat == 96
    assert song.tempos == (TempoChange(0, 500_000),)
    assert song.metres == (MetreChange(0, 4, 4),)
    assert {part.channel: part.program for part in song.parts} == {0: 5, 1: 46, 2: 70}
    assert song.repairs == ()


def test_the_format_1_example_holds_the_same_music() -> None:
    song = read_song_bytes(FORMAT_1, "example.mid")
    assert {(n.channel, n.onset, n.duration, n.pitch, n.velocity) for n in song.notes} == NOTES
    assert [track.notes for track in song.tracks] == [0, 1, 1, 2]
    assert {part.channel: part.program for part in song.parts} == {0: 5, 1: 46, 2: 70}
    assert song.repairs == ()


# The specification's examples of variable-length quantities: number and bytes.
QUANTITIES = [
    (0x00000000, "00"),
    (0x00000040, "40"),
    (0x0000007F, "7F"),
    (0x00000080, "81 00"),
    (0x00002000, "C0 00"),
    (0x00003FFF, "FF 7F"),
    (0x00004000, "81 80 00"),
    (0x00100000, "C0 80 00"),
    (0x001FFFFF, "FF FF 7F"),
    (0x00200000, "81 80 80 00"),
    (0x08000000, "C0 80 80 00"),
    (0x0FFFFFFF, "FF FF FF 7F"),
]


@pytest.mark.parametrize(("number", "encoded"), QUANTITIES)
def test_the_table_of_variable_length_quantities(number: int, encoded: str) -> None:
    assert quantity(bytes.fromhex(encoded)) == number
    assert encode_quantity(number) == bytes.fromhex(encoded)
    track = bytes.fromhex(encoded + "90 3C 40 01 80 3C 40 00 FF 2F 00")
    data = FORMAT_0[:14] + b"MTrk" + len(track).to_bytes(4) + track
    song = read_song_bytes(data, "example.mid", ReadSettings(max_beats=5 * (number + 1)))
    assert [(note.onset, note.duration) for note in song.notes] == [(number, 1)]
    assert song.repairs == ()
