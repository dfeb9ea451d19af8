"""Clean track bytes become mido's messages, each distinct message parsed only once.

The bytes have been checked or mended before (`arranger.song.syntax`, `arranger.song.walk`), so that
cutting them into events is plain arithmetic. What each event means is for mido to say. A song says
the same few hundred messages over and over; parsing each of them once takes about a third of the
time of ``mido.MidiFile``, needs no memory for messages that are done with, and departs from it in
what it gets wrong or leaves open:

1. The time of meta events that mido has no name for is kept.
2. Text is Latin-1, byte for byte, whatever charset another thread has set in mido.
3. Events that no later stage looks at (other metas, long system-exclusive messages, escapes) are
   not parsed at all; their time goes to the next event.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import mido

from arranger.song.syntax import END_OF_TRACK, KEY, METRE, PORT, TEMPO, data_bytes

if TYPE_CHECKING:
    from collections.abc import Iterator

LONGEST_EXCLUSIVE = 64
"""Bytes; the messages that mean something here have about ten."""

TEXTS = {
    0x01: ("text", "text"),
    0x02: ("copyright", "text"),
    0x03: ("track_name", "name"),
    0x04: ("instrument_name", "name"),
    0x05: ("lyrics", "text"),
    0x06: ("marker", "text"),
    0x07: ("cue_marker", "text"),
    0x09: ("device_name", "name"),
}
"""By meta type mido's name of a text, and what it calls its content."""

_OTHER_METAS = frozenset((PORT, END_OF_TRACK, TEMPO, METRE, KEY))
KEPT_METAS = _OTHER_METAS | frozenset(TEXTS)
"""The meta types that are read."""

_MOST_KNOWN = 50_000
"""Distinct messages that are kept parsed; a hostile file has millions."""


def read_messages(data: bytes, start: int = 0, end: int | None = None) -> Iterator[tuple[int, Any]]:
    """Yield the delta time in ticks and the message of each event in ``data[start:end]``.

    Messages are shared: their own ``time`` is always 0. The bytes must be by the standard, and end
    with an end-of-track event.
    """
    known: dict[bytes, Any] = {}
    end = len(data) if end is None else end
    parse = mido.Message.from_bytes
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
            message, place = _other(data, place)
            if message is not None:
                yield delta, message
                delta = 0
            continue
        if message is None:
            if len(known) >= _MOST_KNOWN:
                known.clear()
            message = known[code] = parse(code)
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


def _other(data: bytes, place: int) -> tuple[Any, int]:
    """Return the meta or system-exclusive message at a place, or None, and where it ends."""
    status = data[place]
    head = place + (2 if status == 0xFF else 1)
    length, start = _quantity(data, head)
    end = start + length
    if status == 0xFF:
        return _meta(data[head - 1], data[start:end], data[place:end]), end
    if status == 0xF0 and length <= LONGEST_EXCLUSIVE:
        return mido.Message("sysex", data=data[start:end].removesuffix(b"\xf7")), end
    return None, end


def _meta(kind: int, content: bytes, whole: bytes) -> Any:
    if kind in TEXTS:
        name, attribute = TEXTS[kind]
        return mido.MetaMessage(name, **{attribute: content.decode("latin-1")})
    return mido.MetaMessage.from_bytes(whole) if kind in _OTHER_METAS else None
