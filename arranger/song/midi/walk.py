"""The walk through the events of one track, mending what is not by the standard.

Stretches by the standard are copied as they stand. Where they aren't, the walk weighs a few
readings of what is there and takes the one after which the most bytes make sense (`Walk._reach`);
ties go to the reading named first. What it changes goes to the list of repairs.

What no later stage looks at (other text types, long system-exclusive messages, escapes) is left out
without a word, its time kept.

Costs stay proportional to the file: each reading looks at most `_WINDOW` bytes ahead, and after
`_MOST_REPAIRS` repairs the rest of a track is left out.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from arranger.song.midi import syntax
from arranger.song.midi.messages import KEPT_METAS, LONGEST_EXCLUSIVE
from arranger.song.midi.syntax import (
    CHANNEL_EVENTS,
    END_OF_TRACK,
    OTHER_EVENT,
    RUNNING_EVENTS,
    UNCLIPPED_EVENT,
    data_bytes,
    encode_quantity,
    meta_flaw,
    quantity,
)

if TYPE_CHECKING:
    from arranger.song.repairs import Repairs

_WINDOW = 96
_SURE = 24
"""After skipping bytes, so many that make sense are a sign of being back in step."""
_MOST_REPAIRS = 20_000
_STRETCH = 1 << 16
"""Bytes that are copied or searched at a time: patterns need memory in proportion."""
_LONGEST_DELTA = 0x0FFFFFFF
_EMPTY_META = b"\xff\x7f\x00"
_SYSTEM_LENGTHS = {0xF1: 1, 0xF2: 2, 0xF3: 1}


@dataclass(slots=True)
class Walk:
    """The walk through one track."""

    data: bytes
    place: int
    limit: int
    declared: int
    track: int
    repairs: Repairs
    status: int = 0
    """The channel status that rules; 0: none yet."""
    cancelled: bool = False
    """Whether a meta or system-exclusive event has ended running status since."""
    pending: int = 0
    """Ticks of events that were left out, to be added to the next delta time."""
    out: bytearray = field(default_factory=bytearray)
    """The clean events, with an end-of-track event last once `run` is through."""
    out_status: int = 0
    """The status that rules in ``out``."""
    ended: bool = False
    start: int = field(init=False)
    only_clipped: bool | None = None
    """Whether all damage of the track is in data bytes; None: not needed so far."""

    def __post_init__(self) -> None:
        self.start = self.place

    def run(self) -> None:
        """Walk to the end of the track."""
        while not self.ended:
            self._copy()
            if self.place >= self.limit:
                self._note(self.place, "no end-of-track event: the track ends with its data")
                break
            if self.place == self.declared and self._reach(self.place, 0) < _SURE:
                self._note(self.place, "no end-of-track event: the track ends with its chunk")
                break
            if self.repairs.count > _MOST_REPAIRS:
                self._note(self.place, "too much damage: the rest of the track was left out")
                self.place = self.limit
                break
            self._event()
        self._emit(0, b"\xff\x2f\x00")

    # Writing

    def _note(self, byte: int, what: str, kind: str | None = None) -> None:
        self.repairs.add(self.track, byte, what, kind)

    def _emit(self, delta: int, message: bytes) -> None:
        """Write one event."""
        delta += self.pending
        self.pending = 0
        while delta > _LONGEST_DELTA:
            self.out += encode_quantity(_LONGEST_DELTA) + _EMPTY_META
            delta -= _LONGEST_DELTA
        self.out += encode_quantity(delta) + message
        self.out_status = message[0] if message[0] < 0xF0 else 0

    def _copy(self) -> None:
        """Copy channel events as they stand, as far as they are by the standard."""
        while True:
            stop = min(self.limit, self.place + _STRETCH)
            start = self.place
            if self.status and self.out_status == self.status and not self.pending:
                pattern = RUNNING_EVENTS[data_bytes(self.status)]
                found = pattern.match(self.data, start, stop)
                if found is not None and found.end() > start:
                    self.place = found.end()
                    self.out += found.group()
                    continue
            found = CHANNEL_EVENTS.match(self.data, start, stop)
            if found is None:
                return
            self.status = self.data[found.start(found.lastindex or 0)]
            self.cancelled = False
            self.place = found.end()
            if self.pending:
                delta = self._delta(start)
                self._emit(quantity(delta), self.data[start + len(delta) : self.place])
            else:
                self.out += found.group()
            self.out_status = self.status

    # Reading

    def _delta(self, place: int) -> bytes:
        """Return the quantity at a place; empty when it is cut off or longer than four bytes."""
        for end in range(place + 1, min(place + 4, self.limit) + 1):
            if self.data[end - 1] < 0x80:
                return self.data[place:end]
        return b""

    def _event(self) -> None:
        """Read one event that `_copy` left."""
        delta = self._delta(self.place)
        head = self.place + len(delta)
        if head >= self.limit or (not delta and self.limit - self.place < 4):
            self._cut_off("a delta time without an event")
            return
        status = self.data[head]
        if not delta:
            self._resynchronize(self.place, "a delta time of more than four bytes")
        elif status < 0x80 and self.status:
            if self.cancelled:
                self._note(head, "running status after a meta or system-exclusive event: kept")
            self._channel(quantity(delta), self.status, head)
        elif status < 0x80:
            self._resynchronize(self.place, "data without a status byte")
        elif status < 0xF0:
            self._channel(quantity(delta), status, head + 1)
        elif status == 0xFF:
            self._meta(quantity(delta), head)
        elif status in {0xF0, 0xF7}:
            self._exclusive(quantity(delta), head)
        else:
            self._note(
                head,
                f"system byte 0x{status:02X} inside a track: passed over",
                "system byte inside a track: passed over",
            )
            self.pending += quantity(delta)
            self.place = min(head + 1 + _SYSTEM_LENGTHS.get(status, 0), self.limit)

    def _channel(self, delta: int, status: int, first: int) -> None:
        """Read a channel message whose data starts at ``first``."""
        count = data_bytes(status)
        end = first + count
        if end > self.limit:
            self.pending += delta
            self._cut_off("a channel message")
            return
        self.status = status
        self.cancelled = False
        message = self.data[first:end]
        if message.isascii():
            self.place = end
            self._emit(delta, bytes((status, *message)))
            return
        bad = next(place for place in range(first, end) if self.data[place] > 0x7F)
        without = self.data[first:bad] + self.data[bad + 1 : end + 1]
        if self.only_clipped is None:
            end_told = min(self.declared, self.limit)
            self.only_clipped = syntax.ends_when_clipped(self.data, self.start, end_told)
        stray = self._reach(end + 1, status) if len(without) == count and without.isascii() else -1
        clipped = self._reach(end, status, unclipped=True)
        cut = self._reach(bad, status)
        best = clipped if self.only_clipped else max(stray, clipped, cut)
        value = self.data[bad]
        if stray == best and not self.only_clipped and (value >= 0xF8 or clipped < best):
            self._note(bad, f"byte 0x{value:02X} inside a message: passed over", "stray byte")
            self.place = end + 1
            self._emit(delta, bytes((status, *without)))
        elif clipped == best:
            self._note(bad, f"data byte 0x{value:02X} is above 0x7F: clipped", "data byte clipped")
            self.place = end
            self._emit(delta, bytes((status, *_clipped(status, message))))
        else:
            self._note(bad, "a message that breaks off: left out")
            self.place = bad
            self.pending += delta

    def _meta(self, delta: int, head: int) -> None:
        """Read the meta event whose 0xFF is at ``head``."""
        length = self._delta(head + 2)
        start = head + 2 + len(length)
        end = start + quantity(length)
        self.cancelled = True
        if not length or end > self.limit:
            if self.data.startswith(b"\x2f", head + 1):
                self._note(head, "an end-of-track event that breaks off: taken for one")
                self._end(self.limit)
            else:
                self._resynchronize(head, "a meta event that breaks off")
            return
        kind, content = self.data[head + 1], self.data[start:end]
        flaw = meta_flaw(kind, content)
        if flaw is not None:
            mended, end = self._mended_meta(kind, content, start, end)
            what = "left out" if mended is None else "mended"
            self._note(head, f"{flaw}: {what}", f"{syntax.METAS[kind][0]} {what}")
            if mended is None:
                self.pending += delta
                self.place = end
                return
            content = mended
        self.place = end
        if kind == END_OF_TRACK:
            self.pending += delta
            self._end(end)
        elif kind in KEPT_METAS:
            self._emit(delta, bytes((0xFF, kind)) + encode_quantity(len(content)) + content)
        else:
            self.pending += delta

    def _mended_meta(
        self, kind: int, content: bytes, start: int, end: int
    ) -> tuple[bytes | None, int]:
        """Return the content of a bad meta event made good, or None, and where it ends."""
        right = {END_OF_TRACK: 0, syntax.TEMPO: 3, syntax.METRE: 4, syntax.KEY: 2}.get(kind)
        if right is not None and len(content) != right:
            # Is only the length wrong? Then what follows the right length makes sense.
            other = start + right
            proper = self.data[start:other]
            better = self._reach(other, 0) > self._reach(end, 0)
            if better and other <= self.limit and meta_flaw(kind, proper) is None:
                return proper, other
        if kind == END_OF_TRACK:
            return b"", end
        if kind == syntax.METRE and 2 <= len(content) != 4:
            content = content[:2] + b"\x18\x08"
        elif kind == syntax.KEY and content:
            content = content[:1] + (content[1:2] or b"\x00")
        else:
            return None, end
        return (content, end) if meta_flaw(kind, content) is None else (None, end)

    def _end(self, end: int) -> None:
        """Take an end-of-track event, unless good events follow it inside the chunk."""
        if end < self.declared <= self.limit:
            if syntax.strict_end(self.data, end, self.declared) == self.declared:
                self._note(end, "events after an end-of-track event: read on")
                return
            left = self.declared - end
            self._note(end, f"{left} bytes after the end-of-track event: passed over")
            end = self.declared
        self.place = end
        self.ended = True

    def _exclusive(self, delta: int, head: int) -> None:
        """Read the system-exclusive event or escape whose status is at ``head``."""
        length = self._delta(head + 1)
        start = head + 1 + len(length)
        end = start + quantity(length)
        self.cancelled = True
        content = self.data[start : min(end, start + LONGEST_EXCLUSIVE + 1)]
        doubtful = not length or end > self.limit
        if not doubtful and self.data[head] == 0xF0 and self.data[end - 1] != 0xF7:
            doubtful = self._reach(end, 0) < _SURE
        if doubtful:
            close = self.data.find(b"\xf7", head + 1, min(self.limit, head + _STRETCH)) + 1
            if close and self._reach(close, 0) >= _SURE:
                self._note(head, "a system-exclusive event of wrong length: left out")
                self.pending += delta
                self.place = close
                return
            if not length or end > self.limit:
                self._resynchronize(head, "a system-exclusive event that breaks off")
                return
        self.place = end
        message = content.removesuffix(b"\xf7")
        if not message.isascii() and self.data[head] == 0xF0 and len(content) == end - start:
            self._note(head, "a system-exclusive event with bytes above 0x7F: left out")
        if message.isascii() and len(message) < LONGEST_EXCLUSIVE and self.data[head] == 0xF0:
            self._emit(delta, b"\xf0" + encode_quantity(len(message) + 1) + message + b"\xf7")
        else:
            self.pending += delta

    # Getting back in step

    def _reach(self, start: int, status: int, *, unclipped: bool = False) -> int:
        """Return how many bytes from here make sense, `_WINDOW` when all of them do.

        With ``unclipped``, the data bytes of events with a status byte may be anything: where one
        is too large, often all are.
        """
        stop = min(self.limit, start + _WINDOW)
        place = start
        while place < stop:
            before = place
            if status:
                running = RUNNING_EVENTS[data_bytes(status)].match(self.data, place, stop)
                place = running.end() if running is not None else place
            while found := CHANNEL_EVENTS.match(self.data, place, stop):
                place = found.end()
                status = 0
            if unclipped and (found := UNCLIPPED_EVENT.match(self.data, place, stop)):
                place = found.end()
                status = 0
            other = OTHER_EVENT.match(self.data, place, stop)
            if other is not None:
                content = other.end()
                end = content + quantity(other[4])
                if other[2] == b"\x2f" and end == content:
                    return _WINDOW
                if end > self.limit or (
                    other[2] and meta_flaw(other[2][0], self.data[content:end]) is not None
                ):
                    break
                place = end
            if place == before:
                break
        if place >= stop or (stop < self.limit and place > stop - 8):
            return _WINDOW
        return place - start

    def _resynchronize(self, bad: int, what: str) -> None:
        """Pass over bytes from ``bad`` until events with a status byte make sense again."""
        stop = min(bad + _WINDOW, self.limit)
        place = next((p for p in range(bad + 1, stop) if self._in_step(p)), stop)
        if place == self.limit:
            self._cut_off(what)
            return
        self.place = place
        self.out_status = 0
        self.cancelled = True
        self._note(bad, f"{what}: {place - bad} bytes passed over", what)

    def _in_step(self, place: int) -> bool:
        """Return whether so many bytes make sense from here that it can't be chance."""
        reached = self._reach(place, 0)
        return reached >= _SURE or (reached > 3 and place + reached >= self.limit - 3)

    def _cut_off(self, what: str) -> None:
        """Leave out what the end of the data cuts through."""
        self._note(self.place, f"{what} is cut off by the end of the track: left out")
        self.place = self.limit


def _clipped(status: int, message: bytes) -> bytes:
    """Return data bytes within 0..127.

    A note number or program keeps its low seven bits, so that a note and its end still find each
    other; any other value above 127 becomes 127.
    """
    first, *rest = message
    if status < 0xB0 or 0xC0 <= status < 0xD0:
        first &= 0x7F
    return bytes(min(byte, 0x7F) for byte in (first, *rest))
