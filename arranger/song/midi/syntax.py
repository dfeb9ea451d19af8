r"""The grammar of events in a Standard MIDI File, as byte patterns, and the strict check.

Sources: Standard MIDI Files 1.0 (RP-001) for delta times, meta events and their lengths; MIDI 1.0
for status bytes. An event is a delta time and a message:

- channel messages ``8n 9n An Bn En`` carry two data bytes, ``Cn Dn`` one; data bytes are below 0x80.
  The status byte may be left out when it is that of the event before (running status);
- meta events ``FF type length ...`` and system-exclusive events ``F0/F7 length ...`` end running
  status;
- ``FF 2F 00`` ends every track.

The patterns run in C over whole stretches of channel messages, so that the check of a healthy file
costs a small share of parsing it.
"""

from __future__ import annotations

import re
from struct import unpack_from

QUANTITY = rb"[\x80-\xff]{0,3}[\x00-\x7f]"
"""A variable-length quantity: at most four bytes, seven bits each."""


def _pattern(text: bytes) -> re.Pattern[bytes]:
    """Compile a pattern: Q is a quantity, D a data byte, T and S are the statuses of two and one."""
    for name, meaning in (
        (b"Q", QUANTITY),
        (b"D", rb"[\x00-\x7f]"),
        (b"T", rb"[\x80-\xbf\xe0-\xef]"),
        (b"S", rb"[\xc0-\xdf]"),
    ):
        text = text.replace(name, meaning)
    return re.compile(text)


_ALL_CHANNEL_EVENTS = _pattern(rb"(?:QTDD(?:QT?DD)*+|QSD(?:QS?D)*+)*+".replace(b"Q", b"(?>Q)"))
"""Channel events of any kind, as many as follow each other; the first has its status byte.

Fast for want of groups and of going back. Before Python 3.11.5 such patterns may end in the wrong
place (a defect of ``re``), so only `strict_end` trusts this one: it then takes good files for bad.
"""

CHANNEL_EVENTS = _pattern(rb"Q(?:(T)DD(?:QDD)*|(S)D(?:QD)*)")
"""A channel event with its status byte, and those that follow under the same running status.

The only group that matched holds the status byte.
"""

RUNNING_EVENTS = {1: _pattern(rb"(?:QD)*"), 2: _pattern(rb"(?:QDD)*")}
"""Events without status byte, by the number of data bytes of the status that rules."""

UNCLIPPED_EVENT = _pattern(rb"Q(?:T[\x00-\xff]{2}|S[\x00-\xff])")
"""A channel event with its status byte whose data bytes may be anything."""

_ALL_UNCLIPPED_EVENTS = _pattern(
    rb"(?:QT[\x00-\xff]{2}(?:QD[\x00-\xff])*+|QS[\x00-\xff](?:QD)*+)*+".replace(b"Q", b"(?>Q)")
)

OTHER_EVENT = _pattern(rb"(Q)(?:\xff(D)|([\xf0\xf7]))(Q)")
"""Delta, meta type or system-exclusive status, and length; the content follows."""

END_OF_TRACK = 0x2F
PORT, TEMPO, METRE, KEY = 0x21, 0x51, 0x58, 0x59
_PREFIX, _SMPTE, _SEQUENCE = 0x20, 0x54, 0x00

METAS: dict[int, tuple[str, tuple[int, ...]]] = {
    _SEQUENCE: ("sequence number", (0, 2)),
    _PREFIX: ("channel prefix", (1,)),
    PORT: ("port", (0, 1)),
    END_OF_TRACK: ("end of track", (0,)),
    TEMPO: ("tempo", (3,)),
    _SMPTE: ("SMPTE offset", (5,)),
    METRE: ("time signature", (4,)),
    KEY: ("key signature", (2,)),
}
"""What they are called, and the lengths that they may have."""

MOST_DENOMINATOR_POWER = 6
"""Bars are counted in at most 64th notes; a finer metre is damage."""


def data_bytes(status: int) -> int:
    """Return how many data bytes a channel status (0x80..0xEF) takes."""
    return 1 if 0xC0 <= status < 0xE0 else 2


def quantity(encoded: bytes) -> int:
    """Return the value of a variable-length quantity.

    >>> quantity(bytes.fromhex("8140"))
    192
    """
    value = 0
    for byte in encoded:
        value = value << 7 | byte & 0x7F
    return value


def encode_quantity(value: int) -> bytes:
    """Return a value (0..0x0FFFFFFF) as a variable-length quantity.

    >>> encode_quantity(192).hex()
    '8140'
    """
    encoded = bytearray((value & 0x7F,))
    while value := value >> 7:
        encoded.insert(0, 0x80 | value & 0x7F)
    return bytes(encoded)


def meta_flaw(kind: int, content: bytes) -> str | None:
    """Return what is wrong with a meta event, or None."""
    if kind not in METAS:
        return None
    name, lengths = METAS[kind]
    if len(content) not in lengths:
        return f"{name} of {len(content)} bytes"
    if kind == TEMPO and not any(content):
        return "tempo of zero"
    if kind == METRE and not (content[0] and content[1] <= MOST_DENOMINATOR_POWER):
        return f"time signature {content[0]}/2^{content[1]}"
    if kind == KEY and not ((content[0] + 7) & 0xFF <= 14 and content[1] <= 1):
        sharps = (content[0] ^ 0x80) - 0x80
        return f"key signature of {sharps} sharps, mode {content[1]}"
    if kind == _SMPTE and not _is_smpte_offset(content):
        return "SMPTE offset out of range"
    return None


def _is_smpte_offset(content: bytes) -> bool:
    hour, minutes, seconds, _frames, hundredths = content
    return hour >> 5 <= 3 and minutes < 60 and seconds < 60 and hundredths < 100


def is_division(word: int) -> bool:
    """Return whether a header's division says how long a tick is."""
    if not word & 0x8000:
        return word > 0
    return 256 - (word >> 8) in {24, 25, 29, 30} and bool(word & 0xFF)


def is_healthy(data: bytes) -> bool:
    """Return whether a file keeps to the standard in every byte."""
    if len(data) < 14 or not data.startswith(b"MThd\x00\x00\x00\x06"):
        return False
    midi_format, tracks, division = header_words(data)
    if midi_format > 2 or not 0 < tracks < 0x8000 or (midi_format == 0 and tracks > 1):
        return False
    if not is_division(division):
        return False
    place = 14
    for _ in range(tracks):
        end = chunk_end(data, place)
        if not data.startswith(b"MTrk", place) or end > len(data):
            return False
        if strict_end(data, place + 8, end) != end:
            return False
        place = end
    return place == len(data)


def header_words(data: bytes) -> tuple[int, int, int]:
    """Return format, number of tracks and division of a file that begins with its header."""
    midi_format, tracks, division = unpack_from(">8x3H", data)
    return midi_format, tracks, division


def chunk_end(data: bytes, place: int) -> int:
    """Return where the chunk at a place ends as it says."""
    body = place + 8
    return body + int.from_bytes(data[place + 4 : body])


def strict_end(data: bytes, start: int, limit: int) -> int | None:
    """Return where the track that starts here ends after its end-of-track event.

    Returns None when anything is not by the standard.
    """
    place = start
    while True:
        found = _ALL_CHANNEL_EVENTS.match(data, place, limit)
        if found is not None:
            place = found.end()
        other = OTHER_EVENT.match(data, place, limit)
        if other is None:
            return None
        _delta, kind, exclusive, length = other.groups()
        place = other.end()
        content = data[place : place + quantity(length)]
        place += quantity(length)
        if place > limit:
            return None
        if kind is None:
            if exclusive == b"\xf0" and not content.removesuffix(b"\xf7").isascii():
                return None
        elif meta_flaw(kind[0], content) is not None:
            return None
        elif kind[0] == END_OF_TRACK:
            return place


def ends_when_clipped(data: bytes, start: int, limit: int) -> bool:
    """Return whether a track's events end exactly at its limit if data bytes may be anything.

    Then damage is in the data bytes only, and each of them is where it should be.
    """
    place = start
    while True:
        found = _ALL_UNCLIPPED_EVENTS.match(data, place, limit)
        if found is not None:
            place = found.end()
        other = OTHER_EVENT.match(data, place, limit)
        if other is None:
            return False
        place = other.end() + quantity(other[4])
        if other[2] == b"\x2f":
            return place == limit
