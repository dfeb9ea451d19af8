"""Song data for the player: events as bytes, phrases that are stored once, and tables.

Steps that sound alike are one event. An event is a byte that says its kind, and a byte for each voice
that changes; the table of kinds has a word each (how long, which voices change, which drum), the table
of tones what the voices count with. What sounds like something else is a phrase, and a byte in its
place (`arranger.machine.phrases`). See the player's source for the format; the time that the player
takes is the same however the phrases are put together.
"""

from __future__ import annotations

from functools import cache
from itertools import accumulate, chain
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.columns import begins, in_turn
from arranger.engine.player_check import PASS_CYCLES, chunking
from arranger.errors import SheetError
from arranger.machine.phrases import find_phrases
from arranger.pitch import pitch_name
from arranger.sheet.played import step_length
from arranger.sound.schedule import NOISE_TAPS, SILENT_PERIOD, different_events, drum_timing

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from arranger.columns import Ints
    from arranger.engine.model import DrumSound, Engine
    from arranger.engine.profile import DrumPart
    from arranger.machine.phrases import Phrases
    from arranger.sheet.model import Sheet
    from arranger.sound.schedule import Event

RETURN, AGAIN, FIRST_PHRASE = 0, 1, 2
"""Bytes of the song: a phrase ends; the loop goes round; from here on the phrases, then the kinds."""
END_OF_PIECE = 0x0002
_VOICE1, _VOICE2 = 0x80, 0x40
_MOST_PARTS = 63
_MOST_SYMBOLS = 256
_MOST_TONES = 128
STACK_WORDS = 10
"""What the player keeps beside the places: where to go on, what the voices count with, two of a drum."""
_KICK_TAPS = 0x01
"""With these taps a register full of ones stays so."""


class DataLine(NamedTuple):
    """A line of song data: bytes, or words."""

    values: tuple[int | str, ...]
    comment: str


class PackedSong(NamedTuple):
    """What the player reads, apart from addresses."""

    song: tuple[DataLine, ...]
    """Bytes."""
    loop: int | None
    """The line of the song to go on with after its end; None: the piece ends."""
    phrases: tuple[tuple[DataLine, ...], ...]
    """Bytes of each, with its end."""
    kinds: tuple[DataLine, ...]
    """A word a kind of event."""
    tones: tuple[DataLine, ...]
    """A word each."""
    drums: tuple[tuple[str, tuple[DataLine, ...]], ...]
    """Label of each drum sound that occurs, and the words of its parts."""
    depth: int
    """Words that the player keeps on its stack, at most: a place for each phrase that is begun."""

    bytes: int
    """How many bytes the song takes, with the room for the places to go back to."""


class _Kind(NamedTuple):
    """What an event is apart from its tones."""

    steps: int
    first: bool
    """Whether voice 1 changes."""
    second: bool
    drum: str | None
    """The name of the sound that it begins with."""


class _Told(NamedTuple):
    """An event as it is told: the settings of the voices that change."""

    kind: _Kind
    settings: tuple[int, ...]


class _Content(NamedTuple):
    """What song data is made of."""

    told: list[_Told]
    """The different events."""
    kinds: tuple[_Kind, ...]
    tones: list[int]
    drums: dict[str, tuple[DataLine, ...]]
    numbers: dict[str | None, int]
    """Of the drums; see `_numbers`."""
    found: Phrases

    @property
    def depth(self) -> int:
        """Words that the player keeps on its stack, at most."""
        return _depth(self.found, len(self.told)) + STACK_WORDS

    @property
    def bytes(self) -> int:
        """How many bytes the song takes, with the room for the places to go back to."""
        phrases = self.found.phrases
        sizes = [*(1 + len(event.settings) for event in self.told), *[1] * len(phrases)]
        symbols = chain(self.found.sequence, *phrases)
        held = sum([sizes[symbol] for symbol in symbols]) + 1 + len(phrases)  # and their ends
        words = sum(len(line.values) for lines in self.drums.values() for line in lines)
        words += len(self.kinds) + (self.found.loop is None) + len(self.tones)
        return held + 2 * (words + len(phrases) + self.depth) + bool(self.drums)


def packed_bytes(sheet: Sheet, engine: Engine) -> int:
    """Return how many bytes `pack` packs a sheet into, and raise what it does."""
    return _content(sheet, engine).bytes


def pack(sheet: Sheet, engine: Engine) -> PackedSong:
    """Return the song data of a sheet.

    Raises
    ------
    SheetError
        If the engine can't play the sheet, or its events are of too many kinds.
    """
    chunks, _ = chunking(step_length(sheet, engine).setting)
    return _laid_out(_content(sheet, engine), engine, chunks)


def _content(sheet: Sheet, engine: Engine) -> _Content:
    heard = different_events(sheet, engine)
    sounds = {event.drum.name: event.drum for event in heard[0] if event.drum is not None}
    most = _MOST_SYMBOLS - FIRST_PHRASE - (sheet.loop_step is None)
    told, sequence, loop = _told(*heard, sheet.loop_step)
    if len({event.kind for event in told}) > most:
        told, sequence, loop = _told(*heard, sheet.loop_step, both=True)
    kinds = tuple(dict.fromkeys(event.kind for event in told))
    room = most - len(kinds)
    tones = sorted({setting for event in told for setting in event.settings})
    if room < 0 or len(tones) > _MOST_TONES:
        raise SheetError(
            "it has too many pitches, or kinds of events: lengths and drums",
            remedy="use fewer drum sounds, or split the piece",
        )
    found = find_phrases(sequence, [1 + len(event.settings) for event in told], loop, room)
    step = step_length(sheet, engine).setting
    drums = {name: tuple(_drum_lines(drum, engine, step)) for name, drum in sounds.items()}
    return _Content(told, kinds, tones, drums, _numbers(drums), found)


def _told(
    different: Sequence[Event], which: Ints, loop_step: int | None, *, both: bool = False
) -> tuple[list[_Told], list[int], int | None]:
    """Return the different events as they are told, which of them each is, and at which the loop begins.

    Where the piece or the loop begins both voices are told: what sounded before differs. ``both``:
    they always are, so that there are fewer kinds of events.
    """
    columns = np.array([event[:3] for event in different], dtype=np.int64).reshape(-1, 3).T
    steps, setting1, setting2 = columns[:, which]
    drums = [event.drum and event.drum.name for event in different]
    number = {name: at for at, name in enumerate(dict.fromkeys(drums))}
    drum = np.array([number[name] for name in drums], dtype=np.int64)[which]
    begun = np.cumsum(steps) - steps
    anew = (begun == 0) | (begun == loop_step) | both
    first, second = (begins(setting) | anew for setting in (setting1, setting2))
    at, sequence = in_turn(steps, first, second, setting1 * first, setting2 * second, drum)
    rows = (column[at].tolist() for column in (first, second, which))
    told = [
        _as_told(different[event], first, second)
        for first, second, event in zip(*rows, strict=True)
    ]
    return told, sequence.tolist(), None if loop_step is None else int((begun < loop_step).sum())


def _as_told(event: Event, first: bool, second: bool) -> _Told:
    steps, setting1, setting2, drum = event
    kind = _Kind(steps, first, second, drum and drum.name)
    return _Told(kind, (setting1,) * first + (setting2,) * second)


def _laid_out(content: _Content, engine: Engine, chunks: int) -> PackedSong:
    told, kinds, settings, drums, numbers, found = content
    names = {pitch.setting: pitch_name(pitch.midi) for pitch in engine.pitches.values()} | {0: "."}
    first_kind = FIRST_PHRASE + len(found.phrases)
    places = {kind: first_kind + index for index, kind in enumerate(kinds)}

    tones = {setting: 2 * index for index, setting in enumerate(settings)}

    @cache
    def line(symbol: int) -> DataLine:
        if symbol >= len(told):
            number = symbol - len(told)
            return DataLine((FIRST_PHRASE + number,), f"phrase {number}")
        event = told[symbol]
        values = places[event.kind], *[tones[setting] for setting in event.settings]
        text = " ".join([names[setting] for setting in event.settings])
        return DataLine(values, f"{_kind_text(event.kind)} {text}".strip())

    ends = found.loop is None
    ending = (
        DataLine((first_kind + len(kinds),), "the piece ends")
        if ends
        else DataLine((AGAIN,), "again")
    )
    return PackedSong(
        (*map(line, found.sequence), ending),
        found.loop,
        tuple((*map(line, phrase), DataLine((RETURN,), "")) for phrase in found.phrases),
        (
            *(_kind_line(kind, chunks, numbers) for kind in kinds),
            *(DataLine((END_OF_PIECE,), "the piece ends") for _ in range(ends)),
        ),
        tuple(DataLine((_tone(setting, engine),), names[setting]) for setting in settings),
        tuple(("drum_" + name.replace("-", "_"), lines) for name, lines in drums.items()),
        content.depth,
        content.bytes,
    )


def _depth(found: Phrases, kinds: int) -> int:
    depths = {}

    def depth(symbols: Sequence[int]) -> int:
        for symbol in set(symbols):
            if symbol >= kinds and symbol not in depths:
                depths[symbol] = 1 + depth(found.phrases[symbol - kinds])
        return max([depths.get(symbol, 0) for symbol in symbols], default=0)

    return depth(found.sequence)


def _numbers(drums: dict[str, tuple[DataLine, ...]]) -> dict[str | None, int]:
    """Return the numbers of the drums: how many parts lie before, from 1; of no drum: 0."""
    begun = list(accumulate(map(len, drums.values()), initial=1))
    if drums and begun[-2] > _MOST_PARTS:
        raise SheetError(
            f"its drum sounds have more than {_MOST_PARTS} parts", remedy="use fewer drum sounds"
        )
    return {None: 0, **dict(zip(drums, begun, strict=False))}


def _kind_text(kind: _Kind) -> str:
    return f"x {kind.steps} {kind.drum or ''}".strip()


def _kind_line(kind: _Kind, chunks: int, numbers: dict[str | None, int]) -> DataLine:
    flags = _VOICE1 * kind.first | _VOICE2 * kind.second | numbers[kind.drum]
    return DataLine((kind.steps * chunks << 8 | flags,), _kind_text(kind))


def _tone(setting: int, engine: Engine) -> int:
    """Return what a voice is given."""
    if engine.method == "phase":
        return setting
    return engine.profile.port.speaker_bit << 8 | setting if setting else SILENT_PERIOD


def _drum_lines(drum: DrumSound, engine: Engine, step_passes: int) -> Iterator[DataLine]:
    """Yield the words of a drum's parts, the first with what is left of the step's chunks."""
    timing = drum_timing(drum, engine, step_passes)
    _, chunk = chunking(step_passes)
    spent, begun = divmod(timing.passes, chunk)
    first = (-spent & 0xFF) << 8 | chunk - begun - 2
    yield from drum_words(drum.name, timing.parts, engine.profile.port.speaker_bit, first)
    if timing.silence:
        yield DataLine((0, 0, 0, timing.silence + 1), "silence")


def drum_words(
    name: str, parts: Iterable[tuple[DrumPart, int]], speaker: int, first: int
) -> Iterator[DataLine]:
    """Yield four words for each part of a drum sound.

    ``parts``: each with the passes that it sounds.
    ``speaker``: the bit that moves the speaker.
    ``first``: the word with which the first part begins: it is not 0, and says what follows the
    drum.
    """
    for part, passes in parts:
        taps = half = growth = 0
        if part.kind != "rest":
            half, growth = (*(value // PASS_CYCLES for value in part.settings), 0)[:2]
            taps = speaker << 8 | (_KICK_TAPS if part.kind == "kick" else NOISE_TAPS)
        yield DataLine((first, taps, half << 8 | growth, passes + 1), f"{part.kind} {name}")
        first = 0
