"""Messages that turn a channel into drums or back, and coarse tuning, as events of their channel.

Sources, from memory: MIDI 1.0 registered parameters (RPN 0 pitch bend range, RPN 2 coarse tuning,
64 = none); General MIDI 1 and 2 system messages (universal non-real-time, sub-ID 09) with GM2 bank
120 for rhythm and 121 for melody; the GS address of "use for rhythm part" (40 1x 15) and the XG
address of "part mode" (08 nn 07) with bank 127 for drum kits and 126 for effect kits. A bank takes
effect with the next program change.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

from arranger.song.events import BEND_RANGE, COARSE, DRUM, PROGRAM
from arranger.song.general_midi import PERCUSSION_CHANNEL

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from arranger.song.events import ChannelEvent, Exclusive

_BANK, _DATA, _NRPN_LOW, _NRPN_HIGH, _RPN_LOW, _RPN_HIGH = 0, 6, 98, 99, 100, 101
_DATA_LOW = 38
CODES = frozenset((_BANK, _DATA, _DATA_LOW, _NRPN_LOW, _NRPN_HIGH, _RPN_LOW, _RPN_HIGH, PROGRAM))
"""The channel events that this module looks at."""

_NO_PARAMETER = (127, 127)
_GM2_RHYTHM, _GM2_MELODY, _XG_EFFECTS, _XG_DRUMS = 120, 121, 126, 127


def mode_events(
    events: Sequence[ChannelEvent], exclusives: Iterable[Exclusive]
) -> list[ChannelEvent]:
    """Return the events of the codes `DRUM`, `COARSE` and `BEND_RANGE` that messages amount to.

    Parameters
    ----------
    events
        Channel events with a code in `CODES`, in playing order.
    exclusives
        System-exclusive messages, in playing order.
    """
    messages = list(exclusives)
    derived = [event for message in messages for event in _from_exclusive(message)]
    declared = [(message[:3], _standard(message[-1])) for message in messages]
    declared = [entry for entry in declared if entry[1]]
    moments = [moment for moment, _name in declared]
    banks: dict[tuple[int, int], int] = {}
    parameters: dict[tuple[int, int], tuple[int, int]] = {}
    ranges: dict[tuple[int, int], int] = {}
    for tick, place, order, track, channel, code, value in events:
        key = (track, channel)
        made: tuple[int, int] | None = None
        if code == _BANK:
            banks[key] = value
        elif code == PROGRAM:
            last = bisect_right(moments, (tick, place, order)) - 1
            standard = declared[last][1] if last >= 0 else ""
            drum = _bank_drum(banks.get(key), standard, channel)
            made = None if drum is None else (DRUM, drum)
        elif code in {_NRPN_LOW, _NRPN_HIGH}:
            parameters[key] = _NO_PARAMETER
        elif code in {_RPN_LOW, _RPN_HIGH}:
            high, low = parameters.get(key, _NO_PARAMETER)
            parameters[key] = (high, value) if code == _RPN_LOW else (value, low)
        elif code == _DATA and parameters.get(key) == (0, 2):
            made = (COARSE, value - 64)
        elif code == _DATA and parameters.get(key) == (0, 0):
            ranges[key] = 100 * value
            made = (BEND_RANGE, ranges[key])
        elif code == _DATA_LOW and parameters.get(key) == (0, 0):
            made = (BEND_RANGE, ranges.get(key, 200) // 100 * 100 + value)
        if made is not None:
            derived.append((tick, place, order, track, channel, *made))
    return derived


def _standard(data: tuple[int, ...]) -> str:
    """Return which set of rules a system-exclusive message turns on, or an empty string."""
    if data[:1] == (0x7E,) and data[2:3] == (0x09,):
        return {1: "GM", 2: "GM off", 3: "GM2"}.get(data[3] if len(data) > 3 else 0, "")
    if data[:1] == (0x41,) and data[2:7] == (0x42, 0x12, 0x40, 0x00, 0x7F):
        return "GS"
    if data[:1] == (0x43,) and data[2:6] == (0x4C, 0x00, 0x00, 0x7E):
        return "XG"
    return ""


def _bank_drum(bank: int | None, standard: str, channel: int) -> int | None:
    """Return 1 or 0 when a bank makes a channel play drums or not, None when it leaves it."""
    if bank is None or standard == "GS":
        return None
    if bank in {_GM2_RHYTHM, _XG_DRUMS} or (bank == _XG_EFFECTS and standard == "XG"):
        return 1
    if channel & 15 == PERCUSSION_CHANNEL:
        return 0 if bank == _GM2_MELODY else None
    return 0


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
