"""Damaged and unusual MIDI bytes: what is read, and that each repair is listed with its place."""

from __future__ import annotations

import re

import pytest

from arranger.song import Repair
from arranger.song.midi.mend import mend
from arranger.song.repairs import Repairs
from tests.song.midi_bytes import (
    END,
    QUARTER_C4,
    QUARTER_E4,
    chunk,
    header,
    notes,
    one_track,
    read,
    track,
)

C4 = (0, 96, 60)
E4 = (96, 96, 64)
GOOD = header() + track(QUARTER_C4, QUARTER_E4)


def case(name: str, data: bytes, expected: list[tuple[int, int, int]], *repairs: str) -> object:
    return pytest.param(data, expected, repairs, id=name)


CASES = [
    # Chunks
    case("healthy", GOOD, [C4, E4]),
    case(
        "alien chunk before the track",
        header() + chunk("XFIH", b"\x01\x02\x03") + track(QUARTER_C4),
        [C4],
        "file, byte 0x000e: a chunk 'XFIH' was passed over",
    ),
    case(
        "alien chunk after the track",
        GOOD + chunk("XFKM", b"\x01\x02\x03"),
        [C4, E4],
        "a chunk 'XFKM' was passed over",
    ),
    case(
        "alien chunk of wrong length",
        header() + chunk("XFIH", b"\x01\x02\x03", 99) + track(QUARTER_C4),
        [C4],
        "11 bytes that are no chunk were passed over",
    ),
    case("junk before the header", b"\x00" * 128 + GOOD, [C4, E4], "taken out of what surrounds"),
    case("junk after the last chunk", GOOD + b"\x1a\x00hello", [C4, E4], "7 bytes that are no"),
    case("a zero byte between chunks", header(1, 2) + track(QUARTER_C4) + b"\0" +
         track(QUARTER_E4), [C4, (0, 96, 64)], "1 byte that are no chunk"),
    case(
        "RIFF wrapping",
        b"RIFF" + (len(GOOD) + 12).to_bytes(4, "little") + b"RMIDdata"
        + len(GOOD).to_bytes(4, "little") + GOOD,
        [C4, E4],
        "file, byte 0x0014: the MIDI data was taken out",
    ),
    case(
        "RIFF wrapping with another RIFF chunk behind",
        b"RIFF\0\0\0\0RMIDdata" + len(GOOD).to_bytes(4, "little") + GOOD + b"LIST\4\0\0\0INFO",
        [C4, E4],
        "taken out",
    ),
    case(
        "header of 8 bytes",
        chunk("MThd", bytes.fromhex("0000 0001 0060 0000")) + track(QUARTER_C4),
        [C4],
        "file, byte 0x0000: a header of 8 bytes",
    ),
    case(
        "header that says 5 bytes",
        chunk("MThd", b"\0\0\0\1\0x", 5) + track(QUARTER_C4),  # 120 ticks a beat
        [C4],
        "a header of 5 bytes: the first 6 were read",
    ),
    case(
        "header that says 4 bytes",
        chunk("MThd", bytes.fromhex("0000 0001 0060"), 4) + track(QUARTER_C4),
        [C4],
        "a header of 4 bytes",
    ),
    case(
        "header of enormous length",
        chunk("MThd", bytes.fromhex("0000 0001 0060"), 0xFFFFFFF0) + track(QUARTER_C4),
        [C4],
        "a header of 4294967280 bytes",
    ),
    case("no header", track(QUARTER_C4), [C4], "no header: 480 ticks a beat assumed"),
    case("too many tracks counted", header(1, 9) + track(QUARTER_C4), [C4], "counts 9 tracks"),
    case("no tracks counted", header(1, 0) + track(QUARTER_C4), [C4], "counts 0 tracks, there are 1"),
    case(
        "too few tracks counted",
        header(1, 1) + track(QUARTER_C4) + track(QUARTER_E4),
        [C4, (0, 96, 64)],
        "counts 1 tracks, there are 2",
    ),
    case("unknown format", header(7) + track(QUARTER_C4), [C4], "format 7 read as format 1"),
    case(
        "format 0 with two tracks",
        header(0, 2) + track(QUARTER_C4) + track(QUARTER_E4),
        [C4, (0, 96, 64)],
        "format 0 with several tracks",
    ),
    case("an odd SMPTE rate", header(0, 1, 0xE660) + track(QUARTER_C4), [C4], "rate, 26 frames a second"),
    case("no ticks in a frame", header(0, 1, 0xE800) + track(QUARTER_C4), [C4], "no ticks in a frame"),
    case("no ticks in a beat", header(0, 1, 0) + track(QUARTER_C4), [C4], "no ticks in a beat"),
    # Track lengths and ends
    case(
        "track length too short",
        header() + track(QUARTER_C4, QUARTER_E4, length=8),
        [C4, E4],
        "track 1, byte 0x0012: the chunk says 8 bytes, its events take 20",
    ),
    case(
        "track length of zero",
        header() + track(QUARTER_C4, QUARTER_E4, length=0),
        [C4, E4],
        "says 0 bytes",
    ),
    case(
        "track length too long",
        header() + track(QUARTER_C4, QUARTER_E4, length=4000),
        [C4, E4],
        "says 4,000 bytes, its events take 20",
    ),
    case(
        "track length that covers the next track",
        header(1, 2) + track(QUARTER_C4, length=40) + track(QUARTER_E4),
        [C4, (0, 96, 64)],
        "says 40 bytes, its events take 12",
    ),
    case("no end-of-track", header() + track(QUARTER_C4, end=""), [C4], "no end-of-track event"),
    case(
        "no end-of-track before another track",
        header(1, 2) + track(QUARTER_C4, end="") + track(QUARTER_E4),
        [C4, (0, 96, 64)],
        "track 1, byte 0x001e: no end-of-track event",
    ),
    case("truncated in a message", GOOD[:-6], [C4, (96, 96, 64)], "a channel message is cut off",
         "no end-of-track event", "its events take 14", "1 note had no end"),
    case("truncated in a delta time", header() + track(QUARTER_C4, "81", end=""), [C4],
         "a delta time without an event is cut off", "no end-of-track event"),
    case("truncated in a meta", header() + track(QUARTER_C4, "00 FF 03 20 41 42", end="", length=90),
         [C4], "a meta event that breaks off is cut off",
         "no end-of-track event", "its events take 14"),
    case("truncated in the end-of-track", header() + track(QUARTER_C4, "00 FF 2F", end="", length=12),
         [C4], "an end-of-track event that breaks off", "its events take 11"),
    case("an end-of-track of a length that isn't there", header() + track(QUARTER_C4, end="00 FF 2F 7F"),
         [C4], "an end-of-track event that breaks off"),
    case("truncated to its header of the second track", header(1, 2) + track(QUARTER_C4) + b"MTrk",
         [C4], "4 bytes that are no chunk", "counts 2 tracks, there are 1"),
    case("a damaged track name", header(1, 2) + track(QUARTER_C4).replace(b"MTrk", b"MTrj") +
         track(QUARTER_E4), [C4, (0, 96, 64)], "a chunk 'MTrj' was read as a track"),
    case("a name that isn't even letters after a track without its end",
         header(1, 2) + track(QUARTER_C4, end="") + track(QUARTER_E4).replace(b"MTrk", b"\0Trk"),
         [C4, (0, 96, 64)], "no end-of-track event", "was read as a track"),
    case("a track name that lost a letter", header(1, 2) + track(QUARTER_C4)[1:] +
         track(QUARTER_E4).replace(b"MTrk", b"MTk"), [C4, (0, 96, 64)],
         "a chunk 'Trk' was read as a track", "a chunk 'MTk' was read as a track"),
    case("a header that lost a byte", header()[:-1] + track(QUARTER_C4), [C4],
         "a header cut short by the first track", "no ticks in a beat"),
    case("a damaged header name", GOOD.replace(b"MThd", b"MUhd"), [C4, E4],
         "a chunk b'MUhd' was read as the header"),
    case("a pause of half a million beats", one_track("FF FF FF 7F F8", QUARTER_C4, QUARTER_E4),
         [C4, E4], "0xF8",
         "track 1, tick 0: a pause of 268,435,455 ticks: left out"),
    case("events after end-of-track", header() + track(QUARTER_C4, END, QUARTER_E4), [C4, E4],
         "events after an end-of-track event: read on"),
    case("junk after end-of-track", header() + track(QUARTER_C4, END, "FA FB FC FD", end=""), [C4],
         "4 bytes after the end-of-track event: passed over"),
    # Bytes inside tracks
    case("velocity above 127", one_track("00 90 3C C0 60 80 3C 40"), [C4],
         "track 1, byte 0x0019: data byte 0xC0 is above 0x7F: clipped"),
    case("note above 127 keeps its low bits", one_track("00 90 BC 40 60 80 3C 40"), [C4],
         "data byte 0xBC"),
    case("controller above 127", one_track("00 B0 07 FF", QUARTER_C4), [C4], "data byte 0xFF"),
    case("real-time byte inside a message", one_track("00 90 F8 3C 40 60 80 3C 40"), [C4],
         "byte 0xF8 inside a message: passed over"),
    case("real-time event", one_track("00 F8", QUARTER_C4), [C4],
         "system byte 0xF8 inside a track: passed over"),
    case("its delta time is kept", one_track("60 F8", QUARTER_C4), [(96, 96, 60)], "0xF8"),
    case("undefined status", one_track("00 F4", QUARTER_C4, "00 FD", QUARTER_E4), [C4, E4],
         "0xF4", "0xFD"),
    case("song position with its data", one_track("00 F2 10 20", QUARTER_C4), [C4], "0xF2"),
    case("time code with its data", one_track("00 F1 10", QUARTER_C4), [C4], "0xF1"),
    case("song select with its data", one_track("00 F3 10", QUARTER_C4), [C4], "0xF3"),
    case("tune request", one_track("00 F6", QUARTER_C4), [C4], "0xF6"),
    case("running status after a meta", one_track("00 90 3C 40", "60 FF 01 01 41", "00 3C 00"),
         [C4], "running status after a meta or system-exclusive event: kept"),
    case("running status after a sysex", one_track("00 90 3C 40", "60 F0 02 7E F7", "00 3C 00"),
         [C4], "running status after a meta"),
    case("running status before any status", one_track("00 3C 40", QUARTER_C4), [C4],
         "data without a status byte"),
    case("the greatest data before any status", one_track("00 7F 40", QUARTER_C4), [C4],
         "data without a status byte"),
    case("delta time of five bytes", one_track("81 80 80 80 00 90 3C 40 60 80 3C 40", QUARTER_E4),
         [(0, 96, 60), (96, 96, 64)], "a delta time of more than four bytes"),
    case("sysex without its length", one_track("00 F0 41 10 42 12 40 00 7F 00 41 F7", QUARTER_C4,
         QUARTER_E4, QUARTER_C4), [C4, E4, (192, 96, 60)], "a system-exclusive event of wrong length"),
    case("sysex with high bytes", one_track("00 F0 04 7E 99 01 F7", QUARTER_C4), [C4],
         "bytes above 0x7F: left out"),
    case("escape with a status byte", one_track("60 F7 02 F3 01", QUARTER_C4), [(96, 96, 60)]),
    # Meta events
    case("tempo of two bytes", one_track("00 FF 51 02 07 A1", QUARTER_C4), [C4],
         "tempo of 2 bytes: left out"),
    case("tempo of zero", one_track("00 FF 51 03 00 00 00", QUARTER_C4), [C4], "tempo of zero"),
    case("tempo with a wrong length byte", one_track("00 FF 51 04 07 A1 20", QUARTER_C4, QUARTER_E4,
         QUARTER_C4), [C4, E4, (192, 96, 60)], "tempo of 4 bytes: mended"),
    case("time signature of two bytes", one_track("00 FF 58 02 03 02", QUARTER_C4), [C4],
         "time signature of 2 bytes: mended"),
    case("time signature 0/4", one_track("00 FF 58 04 00 02 18 08", QUARTER_C4), [C4],
         "time signature 0/2^2: left out"),
    case("time signature 4/2^200", one_track("00 FF 58 04 04 C8 18 08", QUARTER_C4), [C4],
         "time signature 4/2^200"),
    case("key of 12 sharps", one_track("00 FF 59 02 0C 00", QUARTER_C4), [C4],
         "key signature of 12 sharps, mode 0"),
    case("key of one byte", one_track("00 FF 59 01 FE", QUARTER_C4), [C4], "mended"),
    case("key of mode 7", one_track("00 FF 59 02 00 07", QUARTER_C4), [C4], "mode 7"),
    case("channel prefix of no bytes", one_track("00 FF 20 00", QUARTER_C4), [C4], "channel prefix"),
    case("sequence number of one byte", one_track("00 FF 00 01 05", QUARTER_C4), [C4],
         "sequence number of 1 bytes"),
    case("sequence number of three bytes", one_track("00 FF 00 03 05 06 07", QUARTER_C4), [C4],
         "sequence number of 3 bytes: left out"),
    case("SMPTE offset of four bytes", one_track("00 FF 54 04 41 00 00 00", QUARTER_C4), [C4],
         "SMPTE offset"),
    case("end of track with content", header() + track(QUARTER_C4, end="00 FF 2F 01 00"), [C4],
         "end of track of 1 bytes: mended"),
    case("unknown meta keeps its time", one_track("60 FF 60 01 00", QUARTER_C4), [(96, 96, 60)]),
    case("text meta of an unnamed type", one_track("60 FF 0A 01 41", QUARTER_C4), [(96, 96, 60)]),
    case("sequencer-specific meta", one_track("60 FF 7F 03 00 00 41", QUARTER_C4), [(96, 96, 60)]),
]  # fmt: skip


PLACES = {
    "alien chunk before the track": "0:e",
    "alien chunk after the track": "0:2a",
    "alien chunk of wrong length": "0:e",
    "junk before the header": "0:80",
    "junk after the last chunk": "0:2a",
    "a zero byte between chunks": "0:22",
    "RIFF wrapping": "0:14",
    "RIFF wrapping with another RIFF chunk behind": "0:14",
    "header of 8 bytes": "0:0",
    "header that says 4 bytes": "0:0",
    "header that says 5 bytes": "0:0",
    "header of enormous length": "0:0",
    "no header": "0:0",
    "too many tracks counted": "0:a",
    "no tracks counted": "0:a",
    "too few tracks counted": "0:a",
    "unknown format": "0:8",
    "format 0 with two tracks": "0:8",
    "an odd SMPTE rate": "0:c",
    "no ticks in a frame": "0:c",
    "no ticks in a beat": "0:c",
    "track length too short": "1:12",
    "track length of zero": "1:12",
    "track length too long": "1:12",
    "track length that covers the next track": "1:12",
    "no end-of-track": "1:1e",
    "no end-of-track before another track": "1:1e",
    "truncated in a message": "1:22 1:24 1:12 1@192",
    "truncated in a delta time": "1:1e 1:1f",
    "truncated in a meta": "1:1e 1:24 1:12",
    "truncated in the end-of-track": "1:1f 1:12",
    "an end-of-track of a length that isn't there": "1:1f",
    "truncated to its header of the second track": "0:22 0:a",
    "a damaged track name": "0:e",
    "a name that isn't even letters after a track without its end": "1:1e 0:1e",
    "a track name that lost a letter": "0:e 0:21",
    "a header that lost a byte": "0:0 0:c",
    "a damaged header name": "0:0",
    "a pause of half a million beats": "1:1a 1@0",
    "events after end-of-track": "1:22",
    "junk after end-of-track": "1:22",
    "velocity above 127": "1:19",
    "note above 127 keeps its low bits": "1:18",
    "controller above 127": "1:19",
    "real-time byte inside a message": "1:18",
    "undefined status": "1:17 1:21",
    "running status after a meta": "1:20",
    "running status after a sysex": "1:20",
    "running status before any status": "1:16",
    "the greatest data before any status": "1:16",
    "delta time of five bytes": "1:16",
    "end of track with content": "1:1f",
}
"""Track (0: the file) and byte, or tick after an @, of each repair; of any other it is the status of the
first event, at 1:17: 14 bytes of header, 8 of the track's, and a delta time before it."""


def short_place(repair: Repair) -> str:
    of_file = re.sub(r"file, byte 0x0*(?=.)", "0:", repair.place)
    return re.sub(
        r"track (\d+), tick (\d+)", r"\1@\2",
        re.sub(r"track (\d+), byte 0x0*(?=.)", r"\1:", of_file),
    )  # fmt: skip


@pytest.mark.parametrize(("data", "expected", "repairs"), CASES)
def test_what_can_be_read_is_read(
    data: bytes,
    expected: list[tuple[int, int, int]],
    repairs: tuple[str, ...],
    request: pytest.FixtureRequest,
) -> None:
    song = read(data)
    assert notes(song) == expected
    listed = [f"{repair.place}: {repair.what}" for repair in song.repairs]
    for repair, line in zip(repairs, listed, strict=True):
        assert repair in line
    places = PLACES.get(request.node.callspec.id, "1:17" if repairs else "")
    assert " ".join(map(short_place, song.repairs)) == places


def test_where_every_velocity_is_too_large_none_is_taken_for_something_else() -> None:
    # With status bytes, under running status, and where the end of the track is lost as well.
    for events, end in (("00 90 3C C0 60 80 3C 40", END), ("00 90 3C C0 60 3C 80", END),
                        ("00 90 3C C0 60 80 3C 40", "")):  # fmt: skip
        song = read(header() + track(*[events] * 40, end=end))
        if events.endswith("80"):
            assert len(song.notes) == 80  # a velocity of 0x80 is a start, by its own fault
        else:
            assert notes(song) == [(96 * n, 96, 60) for n in range(40)]
        assert {note.velocity for note in song.notes} == {127}


def test_repairs_of_one_kind_are_counted_after_the_first_few() -> None:
    song = read(one_track(*["00 90 3C C0 60 80 3C 40"] * 9))
    clipped = [repair for repair in song.repairs if "clipped" in repair.what]
    assert [repair.place for repair in clipped[:2]] == [
        "track 1, byte 0x0019",
        "track 1, byte 0x0021",
    ]
    assert clipped[5:] == [Repair("track 1", "4 more: data byte clipped")]


def test_a_track_of_nothing_but_damage_is_given_up_in_the_end() -> None:
    # Each real-time byte is a repair of its own; the limit keeps time in proportion.
    song = read(one_track(QUARTER_C4, "00 F8" * 21_000, QUARTER_E4))
    assert notes(song) == [C4]
    assert "too much damage: the rest of the track was left out" in [r.what for r in song.repairs]
    assert len(song.repairs) < 20


def test_time_before_an_event_that_is_not_kept_counts_under_running_status_too() -> None:
    """A key up without its status byte, after a meta event of a kind that nobody knows."""
    song = read(one_track("00 90 3C 40", "30 FF 60 01 00", "30 3C 00", "00 3C 40 60 3C 00"))
    assert notes(song) == [(0, 96, 60), (96, 96, 60)]


def test_the_longest_pause_that_can_be_written_stays_one() -> None:
    """Four bytes of seven bits (Standard MIDI Files 1.0); the bad velocity has the track mended."""
    pause = "FF FF FF 7F FF 06 01 41"
    data = header() + track("00 90 3C C0", pause, "00 80 3C 40")
    (content,) = mend(data, 0, len(data), 16, Repairs()).tracks
    assert bytes.fromhex(pause) in bytes(content)
    data = header() + track("00 90 3C C0 81 00 F4", pause, "00 80 3C 40")
    (content,) = mend(data, 0, len(data), 16, Repairs()).tracks
    assert bytes.fromhex("FF FF FF 7F FF 7F 00") in bytes(content), "a longer one is two"


def test_a_key_keeps_its_low_bits_and_any_other_value_is_clipped() -> None:
    """The second byte of each message is above 0x7F; MIDI 1.0: A0 is aftertouch of a key."""
    events = "00 90 BC 40 00 A0 BC 40 00 B0 8B 40 00 C0 85 60 80 3C 40"
    data = header() + track(*[events] * 3)
    made = Repairs()
    (content,) = mend(data, 0, len(data), 16, made).tracks
    found = bytes(content)
    for message in ("90 3C 40", "A0 3C 40", "C0 05"):
        assert bytes.fromhex(message) in found
    assert bytes.fromhex("B0 7F 40") in found


def test_a_long_tempo_is_left_out_where_its_length_may_be_right() -> None:
    """What follows makes sense after three bytes (a delta of 128) and after four (a delta of 0)."""
    after = "00 90 3C 40 60 80 3C 40"
    song = read(one_track("00 FF 51 04 07 A1 20 81", after))
    assert any("left out" in repair.what for repair in song.repairs)
    assert notes(song) == [C4]
    mended = read(one_track("00 FF 51 04 07 A1 20", after))
    assert any("mended" in repair.what for repair in mended.repairs)
    assert mended.tempos[0].microseconds_per_beat == 0x07A120


@pytest.mark.parametrize("event", ["51 {} 07 A1 21", "58 {} 03 02 18 08", "59 {} 02 00"])
@pytest.mark.parametrize("more", [-1, 1, 2])
def test_only_the_length_is_wrong_where_what_follows_the_right_one_makes_sense(
    event: str, more: int
) -> None:
    """MIDI 1.0, Standard MIDI Files: a tempo has 3 bytes, a time signature 4, a key signature 2."""
    size = len(event.split()) - 2
    right, wrong = (
        read(one_track(QUARTER_C4, f"00 FF {event.format(f'{each:02X}')}", QUARTER_E4, QUARTER_C4))
        for each in (size, size + more)
    )
    assert notes(wrong) == notes(right)
    assert wrong.tempos + wrong.metres + wrong.keys == right.tempos + right.metres + right.keys
    assert [repair.what.split(": ")[1] for repair in wrong.repairs] == ["mended"]


@pytest.mark.parametrize("frames", [24, 25, 29, 30])
def test_a_division_in_frames_is_no_damage(frames: int) -> None:
    """MIDI 1.0, Standard MIDI Files: the upper byte is the negative number of frames a second."""
    song = read(header(1, 1, ((256 - frames) << 8) | 40) + track(QUARTER_C4))
    assert [note.pitch for note in song.notes] == [60]
    assert not [repair for repair in song.repairs if "division" in repair.what]
    assert not song.own_beat
