"""Whole files: what is by the standard, byte by byte, and that mending leaves such files alone."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random

import pytest

from arranger.song import read_song_bytes
from arranger.song.midi import reading as midi
from arranger.song.midi.mend import mend
from arranger.song.midi.syntax import is_healthy, meta_flaw
from arranger.song.repairs import Repairs
from tests.song.midi_bytes import chunk, header, meta, track
from tests.song.mutations import mutated
from tests.song.test_plain_player import KINDS, some_events, written

DEMOS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))


def meta_is_right(kind: int, content: bytes) -> bool:
    """Return whether a meta event is one by the Standard MIDI File 1.0 (RP-001)."""
    if kind == 0x00:
        return len(content) in (0, 2)
    if kind == 0x20:
        return len(content) == 1
    if kind == 0x21:
        return len(content) <= 1  # the port, common practice
    if kind == 0x2F:
        return content == b""
    if kind == 0x51:
        return len(content) == 3 and content != b"\0\0\0"
    if kind == 0x54:
        if len(content) != 5:
            return False
        rate_and_hour, minutes, seconds, _frames, hundredths = content
        return rate_and_hour < 128 and minutes <= 59 and seconds <= 59 and hundredths <= 99
    if kind == 0x58:
        return len(content) == 4 and content[0] > 0 and 2 ** content[1] <= 64
    if kind == 0x59:
        sharps = [*range(8), *range(256 - 7, 256)]
        return len(content) == 2 and content[0] in sharps and content[1] in (0, 1)
    return True


class _Wrong(Exception):  # noqa: N818 -- it only ends the reading
    pass


def file_is_right(data: bytes) -> bool:
    """Return whether every byte of a file is by the standard, reading one after the other."""
    try:
        return _read(data)
    except (_Wrong, IndexError):
        return False


def _read(data: bytes) -> bool:
    words = [data[8] * 256 + data[9], data[10] * 256 + data[11]]
    if data[:8] != b"MThd\0\0\0\6" or words[0] > 2 or not 1 <= words[1] <= 32767:
        return False
    if words[0] == 0 and words[1] != 1:
        return False
    if data[12] >= 128:
        if 256 - data[12] not in (24, 25, 29, 30) or data[13] == 0:
            return False
    elif data[12] == data[13] == 0:
        return False
    place = 14
    for _ in range(words[1]):
        if data[place : place + 4] != b"MTrk" or len(data) < place + 8:
            return False
        size = int.from_bytes(data[place + 4 : place + 8])
        body = data[place + 8 : place + 8 + size]
        if len(body) != size:
            return False
        _read_track(body)
        place += 8 + size
    return place == len(data)


def _read_track(body: bytes) -> None:
    place = status = 0

    def number() -> int:
        nonlocal place
        value = 0
        for _ in range(4):
            byte = body[place]
            place += 1
            value = value * 128 + byte % 128
            if byte < 128:
                return value
        raise _Wrong

    while True:
        number()
        byte = body[place]
        if byte >= 128:
            place += 1
        if byte == 0xFF:
            status = 0
            kind = body[place]
            place += 1
            size = number()
            content = body[place : place + size]
            place += size
            if kind > 127 or len(content) < size or not meta_is_right(kind, content):
                raise _Wrong
            if kind == 0x2F:
                if place != len(body):
                    raise _Wrong
                return
        elif byte in (0xF0, 0xF7):
            status = 0
            size = number()
            content = body[place : place + size]
            place += size
            data = content[:-1] if content[-1:] == b"\xf7" else content
            if len(content) < size or (byte == 0xF0 and any(b > 127 for b in data)):
                raise _Wrong
        elif byte > 0xF0:
            raise _Wrong
        else:
            status = byte if byte >= 128 else status
            if not status:
                raise _Wrong
            for _ in range(1 if status >> 4 in (0xC, 0xD) else 2):
                if body[place] > 127:
                    raise _Wrong
                place += 1


METAS = [
    meta(0x00, b"\0\1"), meta(0x01, b"text"), meta(0x03, b"name"), meta(0x05, b"la"),
    meta(0x20, b"\1"), meta(0x21, b"\1"), meta(0x51, b"\7\xa1\x20"), meta(0x54, b"\x41\2\3\4\5"),
    meta(0x58, b"\3\2\x18\x08"), meta(0x59, b"\xfd\1"), meta(0x7F, b"\0\1\2"),
    "F0 05 7E 7F 09 01 F7", "F0 04 43 12 00 01", "F7 02 F3 01", "F0 42" + "11" * 65 + "F7",
]  # fmt: skip
"""What stands between notes; the last is too long to be looked at."""


def some_file(random: Random) -> bytes:
    """Return a healthy file with all kinds of events, some under running status."""
    events = []
    for _ in range(random.randrange(1, 12)):
        delta = random.choice(("00", "18", "81 00", "FF 7F"))
        pitch = random.randrange(128)
        events.append(
            random.choice(
                (
                    f"{delta} {random.choice(METAS)}",
                    f"{delta} 9{random.randrange(16):X} {pitch:02X} 40 {delta} {pitch:02X} 00",
                    f"{delta} C3 {pitch:02X} 00 11",
                    f"{delta} E2 00 50",
                    f"{delta} B1 0B 20 00 07 30",
                )
            )
        )
    return header(1, 1, random.choice((96, 0xE728))) + track(*events)


def test_a_file_is_healthy_where_each_byte_is_by_the_standard() -> None:
    random = Random(11)
    right = 0
    for _ in range(2500):
        data = some_file(random)
        assert file_is_right(data)
        assert is_healthy(data)
        for _ in range(random.randrange(1, 3)):
            data = mutated(data, random)
        if random.random() < 0.5:
            # Mend the length, so that the damage is only inside.
            size = (len(data) - 22).to_bytes(4) if len(data) > 22 else b"\0\0\0\0"
            data = data[:18] + size + data[22:]
        assert is_healthy(data) == file_is_right(data), data.hex(" ")
        right += is_healthy(data)
    assert 200 < right < 2300


def test_the_words_of_the_header_have_bounds() -> None:
    one = track("00 90 3C 40 60 3C 00")
    for midi_format, tracks, division in (
        *((f, n, 96) for f in range(4) for n in range(3)),
        *((0, 1, word) for word in (0, 1, 0x7FFF, 0x8000, 0xE800, 0xE801, 0xE9FF, 0xE728, 0xE328)),
        *((0, 1, word) for word in (0xE228, 0xE128, 0xE528, 0xFF28)),
    ):
        for there in range(1, 4):
            data = header(midi_format, tracks, division) + one * there
            assert is_healthy(data) == file_is_right(data)
    assert not is_healthy(b"")
    assert not is_healthy(header() + chunk("MTrk", bytes.fromhex("00 FF 2F 05"), 9)), (
        "it isn't all there"
    )
    for count in (0x7FFF, 0x8000):
        assert is_healthy(header(1, count) + track() * count) == (count < 0x8000)
    assert not any(is_healthy((header() + one)[:size]) for size in range(len(header() + one)))
    assert not is_healthy(header(1, 0)), "a file has a track"
    assert is_healthy(header(1, 1) + one) != is_healthy(header(1, 1) + one + b"\0")


def test_metas_are_right_as_the_standard_says() -> None:
    contents = [bytes(n) for n in range(7)]
    contents += [bytes((a, b)) for a in (*range(12), *range(244, 256)) for b in range(4)]
    contents += [bytes((a, b, 24, 8)) for a in (0, 1, 255) for b in range(9)]
    contents += [b"\0\0\1", b"\0\1\0", b"\1\0\0", b"\xff\xff\xff"]
    for at, values in enumerate(((127, 128), (59, 60), (59, 60), (255,), (99, 100))):
        for value in values:
            content = bytearray(5)
            content[at] = value
            contents.append(bytes(content))
    for kind in range(128):
        for content in contents:
            assert (meta_flaw(kind, content) is None) == meta_is_right(kind, content), (
                kind,
                content,
            )


def test_mending_changes_nothing_that_is_by_the_standard(monkeypatch: pytest.MonkeyPatch) -> None:
    random = Random(12)
    files = [path.read_bytes() for path in DEMOS]
    files += [some_file(random) for _ in range(150)]
    files += [written(some_events(random, KINDS)) for _ in range(60)]
    read = [read_song_bytes(data, "whole.mid") for data in files]
    monkeypatch.setattr(midi, "is_healthy", lambda _data: False)
    for data, song in zip(files, read, strict=True):
        assert read_song_bytes(data, "whole.mid") == song


def test_damage_around_the_music_leaves_the_music() -> None:
    """A real-time byte, an alien chunk and a wrong count of tracks."""
    random = Random(13)
    for _ in range(60):
        healthy = some_file(random)
        whole = read_song_bytes(healthy, "whole.mid")
        body = bytes([0, 0xF8]) + healthy[22:]
        damaged = (
            healthy[:10] + b"\0\4" + healthy[12:14] + chunk("XFIH", b"abc") + chunk("MTrk", body)
        )
        song = read_song_bytes(damaged, "damaged.mid")
        assert (song.notes, song.tempos) == (whole.notes, whole.tempos)
        told = [repair.what for repair in song.repairs]
        assert told[0] == "a chunk 'XFIH' was passed over"
        assert [repair.place for repair in song.repairs][:3] == [
            "file, byte 0x000e", "track 1, byte 0x0022", "file, byte 0x000a",
        ]  # fmt: skip
        assert told[2] == "the header counts 4 tracks, there are 1"


def test_what_was_mended_is_by_the_standard_whatever_the_damage() -> None:
    random = Random(14)
    seeds = [some_file(random) for _ in range(60)]
    seeds += [written(some_events(random, KINDS)) for _ in range(30)]
    for data in seeds * 6:
        damaged = mutated(data, random)
        made = Repairs()
        for content in mend(damaged, 0, len(damaged), 16, made).tracks:
            _read_track(content)


def song_of_many_notes(random: Random) -> bytes:
    """Return a file of 60 quavers on some channels; half of them under running status."""
    events = []
    for _ in range(60):
        channel, pitch = random.randrange(3), random.randrange(36, 96)
        events.append(
            random.choice(
                (
                    f"00 9{channel} {pitch:02X} 50 30 8{channel} {pitch:02X} 40",
                    f"00 9{channel} {pitch:02X} 50 30 {pitch:02X} 00",
                )
            )
        )
        if random.random() < 0.2:
            events.append("00 " + random.choice(METAS[:12]))
    return header(1, 1, 96) + track(*events)


INJURIES = {
    "a bit of a byte is turned": lambda data, at, random: (
        data[:at] + bytes((data[at] ^ 1 << random.randrange(8),)) + data[at + 1 :]
    ),
    "another byte stands there": lambda data, at, random: (
        data[:at] + bytes((random.randrange(256),)) + data[at + 1 :]
    ),
    "a byte is lost": lambda data, at, _random: data[:at] + data[at + 1 :],
    "a byte came in": lambda data, at, random: data[:at] + random.randbytes(1) + data[at:],
    "four bytes are lost": lambda data, at, _random: data[:at] + data[at + 4 :],
    "the rest is cut off": lambda data, at, _random: data[:at],
}


def heard_again(injury: str, count: int = 120) -> float:
    """Return the share of notes, of those before the cut, that a damaged file still has.

    They count wherever they stand, since what is lost may take its time with it.
    """
    random = Random(injury)
    whole = found = 0
    for _ in range(count):
        data = song_of_many_notes(random)
        at = random.randrange(22, len(data))
        damaged = INJURIES[injury](data, at, random)
        wanted = Counter(note.pitch for note in read_song_bytes(data, "whole.mid").notes)
        left = (at - 22) / (len(data) - 22) if "cut off" in injury else 1.0
        whole += round(60 * left)
        again = Counter(note.pitch for note in read_song_bytes(damaged, "damaged.mid").notes)
        found += (wanted & again).total()
    return found / whole


@pytest.mark.parametrize(
    ("injury", "least"),
    [
        ("a bit of a byte is turned", 0.983),
        ("another byte stands there", 0.970),
        ("a byte is lost", 0.895),
        ("a byte came in", 0.935),
        ("four bytes are lost", 0.958),
        ("the rest is cut off", 1.0),
    ],
)
def test_one_injury_costs_few_notes_of_sixty(injury: str, least: float) -> None:
    """One note is a sixtieth; the bounds are what reading does now: lower is worse."""
    assert heard_again(injury) >= least
