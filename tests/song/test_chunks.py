"""Where header and tracks lie: the words of each rule at both sides of its bounds."""

from __future__ import annotations

import pytest

from arranger.song.midi.chunks import (
    MidiHeader,
    midi_start,
    next_track,
    read_header,
    track_limit,
    unwrapped_end,
)
from tests.song.midi_bytes import chunk, header, track

ONE = track("00 90 3C 40")


@pytest.mark.parametrize(
    ("data", "start"),
    [
        (header(), 0),
        (b"xy" + header(), 2),
        (b"the letters MThd in a text", -1),
        (b"MThd\0\0\1", 0),
        (b"xMThd\0\0\1", -1),
        (ONE, 0),
        (b"x" + ONE, 1),
        (b"MTrk", -1),
        (b"abcd\0\0\0\6wordsx" + ONE, 0),
        (b"xabcd\0\0\0\6wordsx" + ONE, 1),
        (b"abcd\0\0\0\7wordsx" + ONE, 14),
        (b"bcd\0\0\0\6wordsx" + ONE, 13),
    ],
)
def test_midi_data_start_at_a_header_or_a_track(data: bytes, start: int) -> None:
    assert midi_start(data) == start


@pytest.mark.parametrize(
    ("data", "end"),
    [
        (b"RIFF....RMIDdata\3\0\0\0abcdef", 23),
        (b"RIFF....RMIDdata\0\1\0\0abcdef", 26),
        (b"RIFF....RMIXdata\3\0\0\0abcdef", 26),
        (b"RIFX....RMIDdata\3\0\0\0abcdef", 26),
        (b"RIFF....RMIDdatx\3\0\0\0abcdef", 26),
    ],
)
def test_wrapped_data_end_as_the_wrapping_says(data: bytes, end: int) -> None:
    assert unwrapped_end(data, 20) == end


WORDS = bytes.fromhex("0001 0002 0060")


@pytest.mark.parametrize(
    ("data", "found", "told"),
    [
        (header(1, 2), MidiHeader(1, 2, 96, 15), ""),
        (header(2, 2), MidiHeader(2, 2, 96, 15), ""),
        (header(3, 2), MidiHeader(1, 2, 96, 15), "9:format 3 read"),
        (header(1, 2, 0), MidiHeader(1, 2, 480, 15), "13:no ticks in a beat"),
        (header(1, 2, 0x8000), MidiHeader(1, 2, 480, 15), "13:no ticks in a frame"),
        (header(1, 2, 0xE700), MidiHeader(1, 2, 480, 15), "13:no ticks in a frame"),
        (header(1, 2, 0xE728), MidiHeader(1, 2, 0xE728, 15), ""),
        (header(1, 2, 0xE628), MidiHeader(1, 2, 0xE628, 15), "13:an odd SMPTE rate, 26 frames"),
        (header(1, 2, 0xE601), MidiHeader(1, 2, 0xE601, 15), "13:an odd SMPTE rate, 26 frames"),
        (header(1, 2, 0x7FFF), MidiHeader(1, 2, 0x7FFF, 15), ""),
        (ONE, MidiHeader(1, 0, 480, 1), "1:no header: 480 ticks"),
        (chunk("MThX", WORDS), MidiHeader(1, 2, 96, 15), "1:a chunk b'MThX'"),
        (chunk("MThd", WORDS + b"12"), MidiHeader(1, 2, 96, 17), "1:a header of 8 bytes"),
        (chunk("MThd", WORDS + b"12") + b"Abcd", MidiHeader(1, 2, 96, 17), "1:a header of 8 bytes"),
        (chunk("MThd", WORDS + b"12") + b"Abc1", MidiHeader(1, 2, 96, 15), "1:a header of 8 bytes"),
        (chunk("MThd", WORDS, 7) + b"x", MidiHeader(1, 2, 96, 16), "1:a header of 7 bytes"),
        (chunk("MThd", WORDS, 7), MidiHeader(1, 2, 96, 15), "1:a header of 7 bytes"),
        (chunk("MThd", WORDS, 5), MidiHeader(1, 2, 96, 15), "1:a header of 5 bytes"),
        (
            chunk("MThd", WORDS[:4], 6) + ONE,
            MidiHeader(1, 2, 480, 13),
            "1:a header cut 13:no ticks",
        ),
        (
            chunk("MThd", WORDS[:5], 6) + ONE,
            MidiHeader(1, 2, 480, 14),
            "1:a header cut 13:no ticks",
        ),
        (header(1, 2) + ONE, MidiHeader(1, 2, 96, 15), ""),
        (chunk("MThd", b"", 6) + ONE, MidiHeader(0, 0, 480, 9), "1:a header cut 13:no ticks"),
        (b"MThd\0\0\0\6\0\1\0", MidiHeader(1, 0, 480, 15), "13:no ticks"),
    ],
)
def test_a_header_is_read_with_what_is_wrong_in_it(
    data: bytes, found: MidiHeader, told: str
) -> None:
    repairs: list[tuple[int, str]] = []
    assert read_header(b"." + data, 1, repairs) == found
    for (place, what), wanted in zip(
        repairs, told.replace(" 13:", "|13:").split("|") if told else [], strict=True
    ):
        assert f"{place}:{what}".startswith(wanted)


@pytest.mark.parametrize(
    ("data", "place", "told"),
    [
        (ONE, 1, []),
        (b"MTrk\0\0\0\0", 1, []),
        (b"MTrk\0\0\0", -1, [(1, "7 bytes that")]),
        (b"", -1, []),
        (b"x", -1, [(1, "1 byte that")]),
        (b"Trk" + ONE[4:], 0, [(1, "a chunk 'Trk' was read")]),
        (b"MTk" + ONE[4:], 0, [(1, "a chunk 'MTk' was read")]),
        (b"MTxx" + ONE[4:], 1, [(1, "a chunk 'MTxx' was read")]),
        (b"xTrx" + ONE[4:], 1, [(1, "a chunk 'xTrx' was read")]),
        (b"Mxxx" + ONE[4:], -1, [(1, "a chunk 'Mxxx' was passed")]),
        (header() + ONE, 15, [(1, "a chunk 'MThd' was passed")]),
        (chunk("abcd", b"12") + ONE, 11, [(1, "a chunk 'abcd' was passed")]),
        (chunk("ab d", b"") * 2 + ONE, 17, [(1, "a chunk 'ab d'"), (9, "a chunk 'ab d'")]),
        (chunk("ab~d", b"12") + ONE, 11, [(1, "a chunk 'ab~d' was passed")]),
        (b"ab\x7fd" + chunk("abcd", b"12")[4:] + ONE, 11, [(1, "10 bytes that")]),
        (b"ab\x1fd" + chunk("abcd", b"12")[4:] + ONE, 11, [(1, "10 bytes that")]),
        (chunk("abcd", b"12", 3) + ONE, 11, [(1, "10 bytes that")]),
        (chunk("abcd", b"12", 1) + ONE, 11, [(1, "10 bytes that")]),
        (chunk("abcd", b"12", 9), -1, [(1, "10 bytes that")]),
        (chunk("abcd", b"12") + chunk("wxyz", b"1"), -1, [(1, "a chunk 'abcd'"), (11, "a chunk 'wxyz'")]),
        (chunk("abcd", b"12") + chunk("wxyz", b"1", 2), -1, [(1, "19 bytes that")]),
        (b"\0\0\0Trk" + ONE[4:], 3, [(4, "a chunk 'Trk' was read")]),
        (b"\0" * 7 + b"Trk" + ONE[4:], 7, [(8, "a chunk 'Trk' was read")]),
        (b"\0" * 8 + b"Trk" + ONE[4:], -1, [(1, "23 bytes that")]),
        (b"\0\0\0Trk12345", -1, [(1, "11 bytes that")]),
        (b"\0\0\0Trk123456", 3, [(4, "a chunk 'Trk' was read")]),
        (b"\0\0\0" + ONE + b"Trk", 4, [(1, "3 bytes that")]),
    ],
)  # fmt: skip
def test_the_next_track_is_found_past_other_chunks_and_damage(
    data: bytes, place: int, told: list[tuple[int, str]]
) -> None:
    repairs: list[tuple[int, str]] = []
    assert next_track(b"." + data, 1, 1 + len(data), repairs) == place
    for (at, what), (wanted, words) in zip(repairs, told, strict=True):
        assert at == wanted
        assert what.startswith(words)


def test_after_a_hundred_other_chunks_the_next_track_is_searched_for() -> None:
    for count, listed in ((100, 100), (101, 101)):
        repairs: list[tuple[int, str]] = []
        data = chunk("abcd", b"1") * count + ONE
        assert next_track(data, 0, len(data), repairs) == 9 * count
        assert len(repairs) == listed
        assert ("no chunk" in repairs[-1][1]) == (count > 100)


@pytest.mark.parametrize(
    ("data", "limit"),
    [
        (ONE, (17, True)),
        (ONE + ONE, (17, True)),
        (ONE + b"xTrx\0\0\0\0", (17, True)),
        (ONE + b"abcd\0\0\0\1x", (17, True)),
        (ONE + b"abcd\0\0\0\2x", (26, False)),
        (chunk("MTrk", b"12345", 4) + ONE, (14, False)),
        (chunk("MTrk", b"12345", 6) + ONE, (14, False)),
        (chunk("MTrk", b"12345", 99), (14, False)),
        (chunk("MTrk", b"12345", 4), (14, False)),
        (chunk("MTrk", b"1234M", 4), (14, False)),
    ],
)
def test_the_length_of_a_track_is_believed_where_a_chunk_or_the_end_follows(
    data: bytes, limit: tuple[int, bool]
) -> None:
    assert track_limit(b"." + data, 1, 1 + len(data)) == limit
