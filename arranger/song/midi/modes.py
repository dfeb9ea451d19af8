"""Messages that turn a channel into drums or back, and coarse tuning, as events of their channel.

Sources, from memory: MIDI 1.0 registered parameters (RPN 0 pitch bend range, RPN 2 coarse tuning,
64 = none); General MIDI 1 and 2 system messages (universal non-real-time, sub-ID 09) with GM2 bank
120 for rhythm and 121 for melody, which also put every channel back to what it was (as the resets of
GS and XG do); the GS address of "use for rhythm part" (40 1x 15) and the XG
address of "part mode" (08 nn 07) with bank 127 for drum kits and 126 for effect kits. A bank takes
effect with the next program change. Reset-all-controllers selects no parameter (RP-015).
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

from arranger.song.general_midi import PERCUSSION_CHANNEL
from arranger.song.midi.events import BANK, BEND_RANGE, COARSE, DRUM, PROGRAM, RESET

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from arranger.song.midi.events import ChannelEvent, Exclusive

_BANK_HIGH, _BANK_LOW = 0, 32
_BANK_CODES = frozenset((_BANK_HIGH, _BANK_LOW, PROGRAM))
_DATA, _DATA_LOW = 6, 38
_OTHER_LOW, _OTHER_HIGH, _PARAMETER_LOW, _PARAMETER_HIGH = 98, 99, 100, 101
_PARAMETER_CODES = frozenset(
    (_DATA, _DATA_LOW, _OTHER_LOW, _OTHER_HIGH, _PARAMETER_LOW, _PARAMETER_HIGH, RESET)
)
CODES = _BANK_CODES | _PARAMETER_CODES
"""The channel events that this module looks at."""

_NO_PARAMETER = (127, 127)
_OFF = "GM off"
_GM2_RHYTHM, _GM2_MELODY, _XG_EFFECTS, _XG_DRUMS = 120, 121, 126, 127


def mode_events(
    events: Sequence[ChannelEvent], exclusives: Sequence[Exclusive]
) -> list[ChannelEvent]:
    """Return the events of the codes `DRUM`, `BANK`, `COARSE` and `BEND_RANGE` that follow.

    ``events``: channel events with a code in `CODES`, in playing order.
    ``exclusives``: system-exclusive messages, in playing order.
    """
    standards = [(*message[:4], _standard(message[-1])) for message in exclusives]
    standards = [entry for entry in standards if entry[-1]]
    found = [event for message in exclusives for event in _from_exclusive(message)]
    found += _from_banks(events, standards)
    return [*found, *_undone(found, standards), *_from_parameters(events)]


_Standard = tuple[int, int, int, int, str]
"""Tick, track, order in the track and first channel of a message that turns on a standard; its name."""


def _undone(
    found: Iterable[ChannelEvent], standards: Iterable[_Standard]
) -> Iterator[ChannelEvent]:
    """Yield that a channel plays drums no more, or does again, since a standard was turned on."""
    since: dict[int, tuple[int, int, int]] = {}
    for event in found:
        if event[5] == DRUM:
            since[event[4]] = min(event[:3], since.get(event[4], event[:3]))
    for tick, track, order, device, name in standards:
        for channel in range(device, device + 16) if name != _OFF else ():
            if channel in since and since[channel] < (tick, track, order):
                own = int(channel & 15 == PERCUSSION_CHANNEL)
                yield (tick, track, order, track, channel, DRUM, own)


def _from_banks(
    events: Iterable[ChannelEvent], standards: Sequence[_Standard]
) -> Iterator[ChannelEvent]:
    """Yield what the bank does that a program change brings into force."""
    moments = [entry[:3] for entry in standards]
    banks: dict[tuple[int, int], tuple[int, int]] = {}
    drums: set[tuple[int, int]] = set()
    for tick, place, order, track, channel, code, value in events:
        key = (track, channel)
        if code == _BANK_HIGH:
            banks[key] = (value, banks[key][1] if key in banks else 0)
        elif code == _BANK_LOW:
            banks[key] = (banks[key][0] if key in banks else 0, value)
        elif code == PROGRAM and key in banks:
            high, low = banks[key]
            where = (tick, place, order, track, channel)
            yield (*where, BANK, high << 7 | low)
            last = bisect_right(moments, where[:3]) - 1
            plays = _is_drum_bank(high, standards[last][-1] if last >= 0 else "")
            if plays:
                drums.add(key)
                yield (*where, DRUM, 1)
            elif key in drums or (high == _GM2_MELODY and channel & 15 == PERCUSSION_CHANNEL):
                drums.discard(key)
                yield (*where, DRUM, 0)


def _from_parameters(events: Iterable[ChannelEvent]) -> Iterator[ChannelEvent]:
    """Yield what data entry does to the registered parameter that is selected."""
    selected: dict[tuple[int, int], tuple[int, int]] = {}
    ranges: dict[tuple[int, int], int] = {}
    for tick, place, order, track, channel, code, value in events:
        key = (track, channel)
        where = (tick, place, order, track, channel)
        high, low = selected.get(key, _NO_PARAMETER)
        if code in {_OTHER_LOW, _OTHER_HIGH, RESET}:
            selected[key] = _NO_PARAMETER
        elif code == _PARAMETER_HIGH:
            selected[key] = (value, low)
        elif code == _PARAMETER_LOW:
            selected[key] = (high, value)
        elif code == _DATA and (high, low) == (0, 2):
            yield (*where, COARSE, value - 64)
        elif code == _DATA and (high, low) == (0, 0):
            ranges[key] = 100 * value
            yield (*where, BEND_RANGE, ranges[key])
        elif code == _DATA_LOW and (high, low) == (0, 0):
            yield (*where, BEND_RANGE, ranges.get(key, 200) + value)


def _standard(data: tuple[int, ...]) -> str:
    """Return which set of rules a system-exclusive message turns on, or an empty string."""
    if data[:1] == (0x7E,) and data[2:3] == (0x09,):
        return {1: "GM", 2: _OFF, 3: "GM2"}.get(data[3] if len(data) > 3 else 0, "")
    if data[:1] == (0x41,) and data[2:7] == (0x42, 0x12, 0x40, 0x00, 0x7F):
        return "GS"
    if data[:1] == (0x43,) and data[2:6] == (0x4C, 0x00, 0x00, 0x7E):
        return "XG"
    return ""


def _is_drum_bank(bank: int, standard: str) -> bool:
    """Return whether a bank holds drums, by the standard that the file has turned on."""
    if standard == "GS":
        return False
    return bank in {_GM2_RHYTHM, _XG_DRUMS} or (bank == _XG_EFFECTS and standard == "XG")


def _from_exclusive(message: Exclusive) -> Iterable[ChannelEvent]:
    """Yield what a GS or XG message says about one channel."""
    tick, place, order, device, data = message
    channel = drum = -1
    if len(data) >= 8 and data[0] == 0x41 and data[2:5] == (0x42, 0x12, 0x40):
        if data[5] >> 4 == 1 and data[6] == 0x15:
            # Block 0 is channel 10, blocks 1..9 are channels 1..9, A..F are channels 11..16.
            block = data[5] & 15
            channel = PERCUSSION_CHANNEL if block == 0 else block - (block <= PERCUSSION_CHANNEL)
            drum = int(data[7] > 0)
    elif len(data) >= 7 and data[0] == 0x43 and data[2:4] == (0x4C, 0x08) and data[5] == 0x07:
        channel, drum = data[4] & 15, int(data[6] > 0)
    if channel >= 0:
        yield (tick, place, order, place, device | channel, DRUM, drum)
