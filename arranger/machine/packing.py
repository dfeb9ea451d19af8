"""Song data for the player: events as words, phrases that are stored once, and the order they come in.

A bar that sounds like an earlier one is stored once. Bars that always follow each other are one
phrase. Within a phrase only what changes is written: a voice's word stands where the voice changes,
and steps that sound alike are one event. See the player's source for the format; the time that the
player takes is the same however the bars are put together.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.player import chunking
from arranger.pitch import pitch_name
from arranger.sheet.played import step_length
from arranger.sound.schedule import (
    DRUM_OVERHEAD_PASSES,
    NOISE_TAPS,
    Event,
    drum_passes,
    events,
)

if TYPE_CHECKING:
    from arranger.engine.model import DrumSound, Engine
    from arranger.sheet.model import Sheet

Word = int | str
"""A number or a label."""

SPEAKER_BIT = 0x10
"""The bit of the port that moves the speaker."""

_VOICE1, _VOICE2, _LAST, _SPECIAL = 0x01, 0x40, 0x04, 0x80
_KICK_TAPS = 0x01
"""With these taps a register full of ones stays so."""
_END_OF_PHRASE = _SPECIAL
END_OF_PIECE = 0x0200 | _SPECIAL | _VOICE1
_ORDER_ENTRY_BYTES = 4


class Line(NamedTuple):
    """A line of song data."""

    words: tuple[Word, ...]
    comment: str


class PackedSong(NamedTuple):
    """What the player reads, apart from addresses."""

    order: tuple[int, ...]
    """Indices into ``phrases``, in the order in which they are played."""
    loop: int | None
    """The place in the order to go on with after its end; None: the piece ends."""
    phrases: tuple[tuple[Line, ...], ...]
    drums: tuple[tuple[str, Line], ...]
    """Label and words of each drum sound that occurs."""

    @property
    def bytes(self) -> int:
        """How many bytes the song takes."""
        lines = [line for phrase in self.phrases for line in phrase]
        words = sum(len(line.words) for line in (*lines, *(line for _label, line in self.drums)))
        entries = len(self.order) + (self.loop is None)
        return 2 * words + _ORDER_ENTRY_BYTES * entries + 2 * (self.loop is None)


def pack(sheet: Sheet, engine: Engine) -> PackedSong:
    """Return the song data of a sheet.

    Raises
    ------
    SheetError
        If the engine can't play the sheet.
    """
    bars = events(sheet, engine)
    loop_bar = None if sheet.loop_step is None else _bar_at(bars, sheet.loop_step)
    numbers: dict[tuple[Event, ...], int] = {}
    sequence = [numbers.setdefault(bar, len(numbers)) for bar in bars]
    phrases: dict[tuple[int, ...], int] = {}
    order: list[int] = []
    loop = None
    contents = list(numbers)
    for start, run in _phrases(sequence, loop_bar):
        if start == loop_bar:
            loop = len(order)
        order.append(phrases.setdefault(run, len(phrases)))
    step = step_length(sheet, engine)
    chunks, _ = chunking(step.setting)
    names = {pitch.setting: pitch_name(pitch.midi) for pitch in engine.pitches.values()} | {0: "."}
    drums = dict.fromkeys(event.drum for bar in bars for event in bar if event.drum is not None)
    return PackedSong(
        tuple(order),
        loop,
        tuple(
            tuple(_lines([event for bar in run for event in contents[bar]], names, engine, chunks))
            for run in phrases
        ),
        tuple((drum_label(drum), _drum_line(drum, engine, step.setting)) for drum in drums),
    )


def drum_label(drum: DrumSound) -> str:
    """Return the label of a drum sound's words."""
    return "drum_" + drum.name.replace("-", "_")


def _bar_at(bars: list[tuple[Event, ...]], step: int) -> int:
    begun = 0
    for number, bar in enumerate(bars):
        if begun == step:
            return number
        begun += sum(event.steps for event in bar)
    message = f"no bar begins at step {step}"
    raise ValueError(message)


def _phrases(sequence: list[int], loop_bar: int | None) -> list[tuple[int, tuple[int, ...]]]:
    """Return the runs of bars that always follow each other, with the place each begins at."""
    after: dict[int, set[int]] = {}
    before: dict[int, set[int]] = {}
    for first, second in pairwise([-1, *sequence, -1]):
        after.setdefault(first, set()).add(second)
        before.setdefault(second, set()).add(first)
    runs: list[tuple[int, tuple[int, ...]]] = []
    for place, bar in enumerate(sequence):
        joined = (
            runs
            and place != loop_bar
            and len(before[bar]) == 1
            and len(after[sequence[place - 1]]) == 1
        )
        if joined:
            start, run = runs[-1]
            runs[-1] = (start, (*run, bar))
        else:
            runs.append((place, (bar,)))
    return runs


def _lines(phrase: list[Event], names: dict[int, str], engine: Engine, chunks: int) -> list[Line]:
    found = []
    first: int | None = None
    second: int | None = None
    for index, event in enumerate(phrase):
        last = index == len(phrase) - 1
        if event.drum is not None:
            word = (last << 8) | _SPECIAL | _VOICE1
            found.append(Line((word, drum_label(event.drum)), event.drum.name))
            continue
        flags = _LAST * last
        words: list[Word] = []
        if event.setting1 != first:
            flags |= _VOICE1
            words.append(_tone(event.setting1, engine))
        if event.setting2 != second:
            flags |= _VOICE2
            words.append(_tone(event.setting2, engine))
        first, second = event.setting1, event.setting2
        comment = f"{names[first]} {names[second]}" + f" x {event.steps}" * (event.steps > 1)
        found.append(Line((event.steps * chunks << 8 | flags, *words), comment))
    if phrase[-1].drum is None:
        found.append(Line((_END_OF_PHRASE,), "end of phrase"))
    return found


def _tone(setting: int, engine: Engine) -> int:
    """Return what a voice is given."""
    if engine.method == "phase":
        return setting
    return SPEAKER_BIT << 8 | setting if setting else 1


def _drum_line(drum: DrumSound, engine: Engine, step_passes: int) -> Line:
    cycles = engine.profile.loop.cycles
    kind, settings, _ = drum.parts[0]
    first, growth = (*(value // cycles for value in settings), 0)[:2]
    room = step_passes - DRUM_OVERHEAD_PASSES
    sounding = drum_passes(drum, engine, room)
    taps = _KICK_TAPS if kind == "kick" else NOISE_TAPS
    return Line(
        (taps, first << 8 | growth, sounding + 1, room - sounding + 1), f"{kind} {drum.name}"
    )
