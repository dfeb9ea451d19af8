"""Reading against a plain player that goes by the rules: `tests.song.plain_player`."""

from __future__ import annotations

import re
from collections import Counter
from random import Random

import pytest

from arranger.song import Song, read_song_bytes
from tests.song.midi_bytes import chunk, header
from tests.song.plain_player import GM, GM2, GM_OFF, GS, XG, Event, Sounding, played

CHANNELS = (0, 1, 9, 10)
GS_RHYTHM = [
    (0x41, 16, 0x42, 0x12, 0x40, 0x10 | block, 0x15, on, 0)
    for block in (0, 1, 2, 9, 10, 11)
    for on in (0, 1, 2)
]
XG_PARTS = [(0x43, 16, 0x4C, 8, channel, 7, mode) for channel in CHANNELS for mode in (0, 1, 2)]
EXCLUSIVES = [GM, GM_OFF, GM2, GS, XG] * 3 + GS_RHYTHM + XG_PARTS
NEARLY = [
    (0x41, 16, 0x42, 0x12, 0x40, 0x21, 0x15, 1, 0),
    (0x41, 16, 0x42, 0x12, 0x40, 0x11, 0x14, 1, 0),
    (0x41, 16, 0x42, 0x12, 0x40, 0x11, 0x15),
    (0x43, 16, 0x4C, 8, 0, 8, 1),
    (0x43, 16, 0x4C, 8, 0, 7),
    (0x43, 16, 0x4C, 9, 0, 7, 1),
    (0x7E, 127, 9),
    (0x7E, 127, 8, 1),
    (0x7D, 127, 9, 1),
]
"""Messages that say nothing about drums."""

SILENCES = [(n, 0) for n in (120, 121, 123, 124, 127)]
SUSTAIN = [(64, 0), (64, 63), (64, 64), (64, 127)] * 3 + SILENCES
SOSTENUTO = [(66, 0), (66, 127)] * 3 + [(64, 0), (64, 127)]
FADERS = [
    (7, 0),
    (7, 0),
    (7, 64),
    (7, 127),
    (11, 0),
    (11, 0),
    (11, 90),
    (10, 20),
    (10, 90),
    (121, 0),
]
BANKS = [(0, b) for b in (0, 8, 120, 121, 126, 127)] + [(32, b) for b in (0, 5, 120)]
PARAMETERS = [(101, 0), (100, 0), (100, 2), (6, 3), (6, 12), (6, 60), (6, 127), (38, 50), (38, 4)]
PARAMETERS += [(101, 1), (99, 0), (98, 0), (121, 0), (101, 0), (100, 2)]
RANGES = [[(101, 0), (100, 0), (6, n)] for n in (1, 2, 12)]
BENDS = [0, 0, 8191, -8192, 4096, -4096, 2048, 3072, 5120, 5119, 5121, 700, 8000]
"""With a range of two semitones 5120 is as far from 1 as still counts."""

CONTROLS = {"sustain": SUSTAIN, "sostenuto": SOSTENUTO, "faders": FADERS, "banks": BANKS}

KINDS = ("sustain", "sostenuto", "faders", "banks", "parameters", "bends", "exclusives")


def some_events(random: Random, kinds: tuple[str, ...]) -> list[Event]:
    """Return what two tracks play, track by track."""
    found: list[Event] = []
    channels = random.sample(CHANNELS, 2)
    for track in range(2):
        order = 0
        down: list[tuple[int, int]] = []

        def add(tick: int, kind: str, channel: int, *values: object) -> None:
            nonlocal order
            found.append(Event(tick, track, order, kind, channel, *values))  # noqa: B023
            order += 1

        ticks = sorted(random.randrange(30) for _ in range(random.randrange(2, 40)))
        for tick in ticks:
            channel = random.choice(channels)
            kind = random.choice((*kinds, "on", "on", "off", "off"))
            if kind == "off" and down:
                add(tick, "off", *down.pop(random.randrange(len(down))))
            elif kind in ("on", "off"):
                down.append((channel, random.choice((3, 60, 60, 61, 125))))
                add(tick, "on", *down[-1], random.choice((1, 64, 127)))
            elif kind == "bends":
                add(tick, "bend", channel, 0, random.choice(BENDS))
            elif kind == "exclusives":
                data = random.choice(EXCLUSIVES if random.random() < 0.8 else NEARLY)
                add(tick, "exclusive", -1, 0, 0, data)
            elif kind == "banks" and random.random() < 0.5:
                add(tick, "program", channel, random.choice((0, 0, 40)))
            elif kind == "parameters" and random.random() < 0.4:
                for control in random.choice(RANGES):
                    add(tick, "control", channel, *control)
            else:
                add(tick, "control", channel, *random.choice(CONTROLS.get(kind, PARAMETERS)))
        last = ticks[-1] + random.randrange(8)
        for key in down:
            add(last, "off", *key)
    return found


def written(events: list[Event]) -> bytes:
    tracks = [b"", b""]
    now = [0, 0]
    for e in events:
        low, high = (e.value + 8192) & 127, (e.value + 8192) >> 7
        tracks[e.track] += (
            bytes((e.tick - now[e.track],))
            + {
                "on": bytes((0x90 | e.channel & 15, e.number, e.value & 127)),
                "off": bytes((0x80 | e.channel & 15, e.number, 0)),
                "control": bytes((0xB0 | e.channel & 15, e.number, e.value & 127)),
                "program": bytes((0xC0 | e.channel & 15, e.number)),
                "bend": bytes((0xE0 | e.channel & 15, low, high)),
                "exclusive": bytes((0xF0, len(e.data) + 1, *e.data, 0xF7)),
            }[e.kind]
        )
        now[e.track] = e.tick
    return header(1, 2, 24) + b"".join(chunk("MTrk", t + b"\0\xff\x2f\0") for t in tracks)


def found_in(song: Song) -> list[tuple[object, ...]]:
    columns = song.columns
    rows = zip(
        columns.onset.tolist(), columns.duration.tolist(), columns.rings.tolist(),
        columns.pitch.tolist(), columns.shift.tolist(), [round(level, 9) for level in columns.loudness.tolist()],
        columns.drum.tolist(), columns.part.tolist(), strict=True,
    )  # fmt: skip
    return list(rows)


def wanted_of(notes: list[Sounding]) -> list[tuple[object, ...]]:
    """Return what the song should hold: parts are numbered as they first sound."""
    parts = list(dict.fromkeys(note.part for note in notes))
    return [
        (note.onset, note.duration, note.rings, note.pitch, note.shift, round(note.loudness, 9),
         note.part[-1], parts.index(note.part))
        for note in notes
    ]  # fmt: skip


def told(song: Song, what: str) -> int:
    """Return how many notes a remark is about."""
    numbers = [
        re.search(r"(\d+) notes?", remark) for remark in song.remarks if remark.startswith(what)
    ]
    return sum(int(number[1]) for number in numbers if number)


@pytest.mark.parametrize("kinds", [*((kind,) for kind in KINDS), KINDS], ids=" ".join)
def test_notes_sound_as_a_plain_player_sounds_them(kinds: tuple[str, ...]) -> None:
    random = Random(" ".join(kinds))
    for _ in range(80):
        events = some_events(random, kinds)
        notes = played(events, max(event.tick for event in events))
        song = read_song_bytes(written(events), "made.mid")
        assert found_in(song) == wanted_of(notes)
        heard = Counter(note.wheel for note in notes)
        assert told(song, "pitch bend moved") == heard["moved"]
        assert told(song, "vibrato and slides") == heard["ignored"]
        # A part stands where its first note stood.
        first = {note.part: note for note in reversed(notes)}
        assert [(p.track, p.channel, p.program, p.drum, p.pan) for p in song.parts] == [
            (track, channel, program, drum, first[part].pan)
            for part in dict.fromkeys(note.part for note in notes)
            for track, channel, program, _bank, drum in (part,)
        ]
