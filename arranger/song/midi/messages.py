"""Clean track bytes become messages, each distinct channel message read only once.

The bytes have been checked or mended before (`arranger.song.midi.syntax`, `arranger.song.midi.walk`),
so that cutting them into events is plain arithmetic, by the Standard MIDI File and MIDI 1.0. A song says
the same few hundred messages over and over, and no memory is needed for those that are done with. Where
``_events.c`` was compiled it walks through a track, and only what is no note is read here. Texts stay
Latin-1, byte for byte. Events that no later stage looks at (other metas, long system-exclusive messages,
escapes) are passed over; their time goes to the next event.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.song.midi.syntax import END_OF_TRACK, KEY, METRE, PORT, TEMPO, data_bytes

if TYPE_CHECKING:
    from collections.abc import Iterator

LONGEST_EXCLUSIVE = 64
"""Bytes; the messages that mean something here have about ten."""

_CHANNEL_KINDS = {
    0x8: "note_off",
    0x9: "note_on",
    0xA: "polytouch",
    0xB: "control_change",
    0xC: "program_change",
    0xD: "aftertouch",
    0xE: "pitchwheel",
}
TEXTS = {
    0x01: "text",
    0x02: "copyright",
    0x03: "track_name",
    0x04: "instrument_name",
    0x05: "lyrics",
    0x06: "marker",
    0x07: "cue_marker",
    0x09: "device_name",
}
"""Meta types that are texts."""

_OTHER_METAS = frozenset((PORT, END_OF_TRACK, TEMPO, METRE, KEY))
KEPT_METAS = _OTHER_METAS | frozenset(TEXTS)
"""The meta types that are read."""

_MOST_KNOWN = 50_000
"""Distinct messages that are kept parsed; a hostile file has millions."""


class Message(NamedTuple):
    """One event, without its time."""

    kind: str
    channel: int = -1
    """0..15; -1: it is of no channel."""
    number: int = 0
    """The first data byte: a key, a controller, a program."""
    value: Any = 0
    """The second: a velocity, a value; -8192..8191 of the pitch wheel. Of a meta event what it says,
    of a system-exclusive one the data between F0 and F7."""


def read_messages(
    data: bytes, start: int = 0, end: int | None = None
) -> Iterator[tuple[int, Message]]:
    """Yield the delta time in ticks and the message of each event in ``data[start:end]``.

    The bytes must be by the standard, and end with an end-of-track event.
    """
    known: dict[bytes, Message] = {}
    end = len(data) if end is None else end
    place = start
    status = b""
    size = delta = 0
    while place < end:
        byte = data[place]
        place += 1
        if byte < 0x80:
            delta += byte
        else:
            ticks, place = _quantity(data, place - 1)
            delta += ticks
        byte = data[place]
        if byte < 0x80:
            message = known.get(code := status + data[place : place + size])
            place += size
        elif byte < 0xF0:
            status = data[place : place + 1]
            size = data_bytes(byte)
            message = known.get(code := data[place : place + size + 1])
            place += size + 1
        else:
            message, place = message_at(data, place)
            if message is not None:
                yield delta, message
                delta = 0
            continue
        if message is None:
            if len(known) >= _MOST_KNOWN:
                known.clear()
            message = known[code] = message_of(code)
        yield delta, message
        delta = 0


def _quantity(data: bytes, place: int) -> tuple[int, int]:
    """Return the variable-length quantity at a place, and where it ends."""
    value = 0
    while True:
        byte = data[place]
        place += 1
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, place


def message_of(code: bytes) -> Message:
    """Return the channel message of a status and its data bytes."""
    kind, number = _CHANNEL_KINDS[code[0] >> 4], code[1]
    value = code[2] if len(code) > 2 else 0
    if kind == "pitchwheel":
        value = (value << 7 | number) - 8192
    return Message(kind, code[0] & 0x0F, number, value)


def message_at(data: bytes, place: int) -> tuple[Message | None, int]:
    """Return the meta or system-exclusive message at a place, or None, and where it ends."""
    status = data[place]
    head = place + (2 if status == 0xFF else 1)
    length, start = _quantity(data, head)
    end = start + length
    if status == 0xFF:
        return _meta(data[head - 1], data[start:end]), end
    if status == 0xF0 and length <= LONGEST_EXCLUSIVE:
        return Message("sysex", value=tuple(data[start:end].removesuffix(b"\xf7"))), end
    return None, end


def _meta(kind: int, content: bytes) -> Message | None:
    if kind in TEXTS:
        return Message(TEXTS[kind], value=content.decode("latin-1"))
    if kind == PORT:
        return Message("midi_port", value=content[0] if content else 0)
    if kind == TEMPO:
        return Message("set_tempo", value=int.from_bytes(content))
    if kind == METRE:
        return Message("time_signature", value=(content[0], 1 << content[1]))
    if kind == KEY:
        sharps = (content[0] ^ 0x80) - 0x80
        return Message("key_signature", value=(sharps, content[1] == 1))
    return Message("end_of_track") if kind == END_OF_TRACK else None
