"""A plain player: what each note of a MIDI file sounds like, by the rules and nothing else.

A second reading of the rules that the heads of `arranger.song.midi.events`, `channels`, `pedals`, `bends` and
`modes` state (MIDI 1.0, RP-015, General MIDI 2, GS and XG messages, from memory). It goes through all
messages again for each note, and asks at each tick, so that nothing is looked up in a clever way.
"""

from __future__ import annotations

from typing import NamedTuple

PERCUSSION = 9
RHYTHM, MELODY, EFFECTS, DRUMS = 120, 121, 126, 127
"""Banks: GM2's two, XG's two."""
GM, GM_OFF, GM2 = (0x7E, 127, 9, 1), (0x7E, 127, 9, 2), (0x7E, 127, 9, 3)
GS = (0x41, 16, 0x42, 0x12, 0x40, 0, 0x7F, 0, 0x41)
XG = (0x43, 16, 0x4C, 0, 0, 0x7E, 0)
STANDARDS = {GM: "GM", GM_OFF: "off", GM2: "GM2", GS: "GS", XG: "XG"}
GS_BLOCKS = (9, 0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15)
"""The channel, from 0, of each block of GS."""


class Event(NamedTuple):
    """A message and when it is played."""

    tick: int
    track: int
    order: int
    """Which message of its track it is."""
    kind: str
    """"on", "off", "control", "program", "bend" or "exclusive"."""
    channel: int
    number: int = 0
    value: int = 0
    data: tuple[int, ...] = ()

    @property
    def moment(self) -> tuple[int, int, int]:
        """Sorts into playing order: faders reach the notes that start on their tick."""
        fader = self.kind == "control" and self.number in (7, 10, 11)
        return self.tick, -1 if fader else self.track, self.order


class Setting(NamedTuple):
    """A setting that some message makes."""

    moment: tuple[int, int, int]
    track: int
    channel: int
    what: str
    value: int


class Sounding(NamedTuple):
    """A note as it sounds."""

    onset: int
    duration: int
    rings: int
    """For how long at its end its key is up."""
    pitch: int
    shift: int
    loudness: float
    part: tuple[int, int, int, int, bool]
    """Track, channel, program, bank, drums."""
    pan: int
    wheel: str
    """"moved" by the bend, "ignored" where a bend is too short or between semitones, or empty."""


class _Key(NamedTuple):
    start: Event
    end: int
    end_order: int

    def before(self, moment: tuple[int, int, int]) -> bool:
        return (self.start.tick, self.start.track, self.start.order) < moment


def played(events: list[Event], end_tick: int) -> list[Sounding]:
    """Return all notes, in the order of onset, track and file, each of whose keys comes up."""
    settings = sorted(_settings(sorted(events, key=lambda event: event.moment)))
    keys = sorted(_keys(events), key=lambda key: key.start.moment)
    found = []
    for place, key in enumerate(keys):
        again = min(
            (k.start.tick for k in keys[place + 1 :] if _same_pitch(k.start, key.start)),
            default=end_tick,
        )
        up, end = _ends(key, events, again, end_tick)
        found.append(_sounding(key.start, up, end, settings))
    return found


def _same_pitch(one: Event, other: Event) -> bool:
    return (one.channel, one.number) == (other.channel, other.number)


def _keys(events: list[Event]) -> list[_Key]:
    """Pair starts and ends: the first end belongs to the first start, track by track."""
    found = []
    held: list[Event] = []
    for event in sorted(events, key=lambda event: (event.track, event.order)):
        held = [start for start in held if start.track == event.track]
        ended: list[Event] = []
        if event.kind == "on" and event.value:
            held.append(event)
        elif event.kind in ("on", "off"):
            ended = [start for start in held if _same_pitch(start, event)][:1]
        elif event.kind == "control" and event.number in (120, *range(123, 128)):
            ended = [start for start in held if start.channel == event.channel]
        for start in ended:
            held.remove(start)
            found.append(_Key(start, event.tick, event.order))
    return found


def _ends(key: _Key, events: list[Event], again: int, end_tick: int) -> tuple[int, int]:
    """Return when a note's key is up, and when it ends: no pedal holds it, or it is silenced."""
    on_channel = sorted(
        (e for e in events if e.kind == "control" and e.channel == key.start.channel),
        key=lambda event: event.moment,
    )
    later = [e for e in on_channel if e.tick > key.start.tick]
    off = next((e for e in later if e.number == 120 or e.number >= 123), None)
    silence = next((e.tick for e in later if e.number == 120), end_tick)
    up = (key.end, key.start.track, key.end_order)
    if off is not None and off.tick < key.end:
        up = off.moment
    sustain = sostenuto = caught = is_up = False
    ended = end_tick
    for moment, event in sorted(
        [*((e.moment, e) for e in on_channel), (up, None)],
        key=lambda entry: (entry[0], entry[1] is None),
    ):
        if event is None:
            is_up = True
        elif event.number == 64:
            sustain = event.value >= 64
        elif event.number == 66:
            pressed = event.value >= 64
            if pressed and not sostenuto and key.before(moment) and not is_up:
                caught = True
            caught = caught and pressed
            sostenuto = pressed
        elif event.number == 121:
            sustain = sostenuto = caught = False
        if is_up and not sustain and not caught:
            ended = moment[0]
            break
    return min(up[0], silence), min(max(up[0], min(ended, again)), silence)


def _settings(events: list[Event]) -> list[Setting]:
    found: list[Setting] = []
    standard = ""
    banks: dict[tuple[int, int], list[int]] = {}
    bank_drums: set[tuple[int, int]] = set()
    touched: set[int] = set()
    selected: dict[tuple[int, int], list[int]] = {}
    ranges: dict[tuple[int, int], int] = {}

    def make(event: Event, what: str, value: int, channel: int | None = None) -> None:
        channel = event.channel if channel is None else channel
        found.append(Setting(event.moment, event.track, channel, what, value))
        if what == "drums":
            touched.add(channel)

    for event in events:
        key = (event.track, event.channel)
        if event.kind == "exclusive":
            turned_on = STANDARDS.get(event.data, "")
            standard = turned_on or standard
            if turned_on and turned_on != "off":
                for channel in sorted(touched):
                    make(event, "drums", int(channel == PERCUSSION), channel)
            match event.data:
                case (0x41, 16, 0x42, 0x12, 0x40, block, 0x15, on, *_) if block >> 4 == 1:
                    make(event, "drums", int(on > 0), GS_BLOCKS[block & 15])
                case (0x43, 16, 0x4C, 8, channel, 7, on, *_):
                    make(event, "drums", int(on > 0), channel)
        elif event.kind == "bend":
            make(event, "bend", event.value)
        elif event.kind == "program":
            make(event, "program", event.number)
            if key in banks:
                high, low = banks[key]
                make(event, "bank", 128 * high + low)
                drums = {"GS": (), "XG": (RHYTHM, DRUMS, EFFECTS)}.get(standard, (RHYTHM, DRUMS))
                if high in drums:
                    bank_drums.add(key)
                    make(event, "drums", 1)
                elif key in bank_drums or (high == MELODY and event.channel == PERCUSSION):
                    bank_drums.discard(key)
                    make(event, "drums", 0)
        elif event.kind == "control":
            number, value = event.number, event.value
            which = selected.setdefault(key, [127, 127])
            if number in (0, 32):
                banks.setdefault(key, [0, 0])[number // 32] = value
            elif number in (7, 10, 11):
                make(event, {7: "volume", 10: "pan", 11: "expression"}[number], value)
            elif number in (100, 101):
                which[101 - number] = value
            elif number in (98, 99, 121):
                which[:] = [127, 127]
            elif number == 6 and which == [0, 2]:
                make(event, "coarse", value - 64)
            elif number == 6 and which == [0, 0]:
                ranges[key] = 100 * value
                make(event, "range", 100 * value)
            elif number == 38 and which == [0, 0]:
                make(event, "range", ranges.get(key, 200) + value)
            if number == 121:
                make(event, "bend reset", 0)
                at = (event.tick, -1, event.order)
                found.append(Setting(at, event.track, event.channel, "expression reset", 127))
    return found


def _ruling(start: Event, settings: list[Setting], what: str) -> list[Setting]:
    """Return what sets one thing for a note's track: its own settings, or else its channel's."""
    kinds = {what, f"{what} reset", "range" if what == "bend" else what}
    of_channel = [s for s in settings if s.channel == start.channel and s.what in kinds]
    own = any(s.track == start.track and not s.what.endswith("reset") for s in of_channel)
    return [s for s in of_channel if s.track == start.track or not own]


def _value(start: Event, settings: list[Setting], what: str, default: int) -> int:
    return next(
        (s.value for s in reversed(_ruling(start, settings, what)) if s.moment < start.moment),
        default,
    )


def _sounding(start: Event, up: int, end: int, settings: list[Setting]) -> Sounding:
    drums = bool(_value(start, settings, "drums", int(start.channel == PERCUSSION)))
    program, bank = (_value(start, settings, what, 0) for what in ("program", "bank"))
    shift = 0 if drums else _value(start, settings, "coarse", 0)
    if not 0 <= start.number + shift <= 127:
        shift = 0
    stream = [] if drums else _ruling(start, settings, "bend")
    bent = _bent(start.tick, end, stream)
    moved = bent != 0 and 0 <= start.number + shift + bent <= 127
    turned = [s for s in stream if s.what == "bend" and s.value and start.tick <= s.moment[0] < end]
    shift += bent if moved else 0
    return Sounding(
        onset=start.tick,
        duration=end - start.tick,
        rings=end - up,
        pitch=start.number + shift,
        shift=shift,
        loudness=start.value * _level(start, end, settings) / 127**3,
        part=(start.track, start.channel, program, bank, drums),
        pan=_value(start, settings, "pan", 64),
        wheel="moved" if moved else "ignored" if turned else "",
    )


def _level(start: Event, end: int, settings: list[Setting]) -> int:
    """Return volume times expression: at the start, or of a note that fades in the greatest."""
    now = {"volume": 100, "expression": 127}
    at_start, inside = 100 * 127, 0
    for move in sorted(_ruling(start, settings, "volume") + _ruling(start, settings, "expression")):
        now[move.what.removesuffix(" reset")] = move.value
        level = now["volume"] * now["expression"]
        if move.moment[0] <= start.tick:
            at_start = level
        elif move.moment[0] < end:
            inside = max(inside, level)
    return at_start or inside


def _bent(onset: int, end: int, stream: list[Setting]) -> int:
    """Return the semitone that the bend is near to in the middle and for more than half of a note."""
    if not any(setting.what == "bend" for setting in stream):
        return 0
    here = [_semitone(stream, tick) for tick in range(onset, end)]
    semitone = here[(onset + end) // 2 - onset] if here else 0
    return semitone if 2 * here.count(semitone) > len(here) else 0


def _semitone(stream: list[Setting], tick: int) -> int:
    """Return the semitone to which a bend comes as near as a quarter of one; 0 for none."""
    bend, cents = 0, 200
    for setting in stream:
        if setting.moment[0] <= tick:
            if setting.what == "range":
                cents = setting.value
            else:
                bend = setting.value
    whole = 100 * 8192
    nearest = (2 * bend * cents + whole) // (2 * whole)
    return nearest if 4 * abs(bend * cents - nearest * whole) <= whole else 0
