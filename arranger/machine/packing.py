"""Song data for the player: events as words, phrases that are stored once, and the order they come in.

What sounds like something earlier is stored once (`arranger.machine.phrases`). Within a phrase only
what changes is written: a voice's word stands where the voice changes, steps that sound alike are one
event, and a drum is a number in the flags of its event. See the player's source for the format; the
time that the player takes is the same however the phrases are put together.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from arranger.engine.player import PASS_CYCLES, chunking
from arranger.machine.phrases import ORDER_ENTRY_BYTES, find_phrases
from arranger.pitch import pitch_name
from arranger.sheet.played import step_length
from arranger.sound.schedule import (
    NOISE_TAPS,
    drum_timing,
    events,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.engine.model import DrumSound, Engine
    from arranger.machine.phrases import Phrase
    from arranger.sheet.model import Sheet

Word = int | str
"""A number or a label."""

SPEAKER_BIT = 0x10
"""The bit of the port that moves the speaker."""

_VOICE1, _VOICE2, _LAST, _DRUM = 0x01, 0x40, 0x04, 0x80
_NUMBER = 8
"""The lowest bit of a drum's number among the flags."""
_FAR = 7
"""The number of all drums whose words a word of the event points to."""
END_OF_PIECE = 0x0082
_KICK_TAPS = 0x01
"""With these taps a register full of ones stays so."""


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
    drums: tuple[tuple[str, tuple[Line, ...]], ...]
    """Label of each drum sound that occurs, and the words of its parts."""

    @property
    def bytes(self) -> int:
        """How many bytes the song takes."""
        lines = [line for phrase in self.phrases for line in phrase]
        lines += [line for _label, parts in self.drums for line in parts]
        words = sum(len(line.words) for line in lines)
        entries = len(self.order) + (self.loop is None)
        return 2 * words + ORDER_ENTRY_BYTES * entries + 2 * (self.loop is None)


def pack(sheet: Sheet, engine: Engine) -> PackedSong:
    """Return the song data of a sheet.

    Raises
    ------
    SheetError
        If the engine can't play the sheet.
    """
    bars = events(sheet, engine)
    loop_bar = None if sheet.loop_step is None else _bar_at(bars, sheet.loop_step)
    found = find_phrases(bars, loop_bar)
    step = step_length(sheet, engine).setting
    drums = _drums(found.phrases, engine, step)
    numbers = _numbers(drums)
    chunks, _ = chunking(step)
    names = {pitch.setting: pitch_name(pitch.midi) for pitch in engine.pitches.values()} | {0: "."}
    return PackedSong(
        found.order,
        found.loop,
        tuple(tuple(_lines(phrase, engine, chunks, names, numbers)) for phrase in found.phrases),
        tuple((drum_label(drum), lines) for drum, lines in drums.items()),
    )


def drum_label(drum: DrumSound) -> str:
    """Return the label of a drum sound's words."""
    return "drum_" + drum.name.replace("-", "_")


def _drums(
    phrases: Sequence[Phrase], engine: Engine, step: int
) -> dict[DrumSound, tuple[Line, ...]]:
    """Return the drums' words, those first that save most by a number: hits for their parts."""
    hits = Counter(event.drum for phrase in phrases for event in phrase if event.drum is not None)
    lines = {drum: tuple(_drum_lines(drum, engine, step)) for drum in hits}
    return dict(sorted(lines.items(), key=lambda item: -hits[item[0]] / len(item[1])))


def _numbers(drums: dict[DrumSound, tuple[Line, ...]]) -> dict[DrumSound, int]:
    """Return the numbers of the drums: how many parts lie before, or `_FAR`."""
    found = {}
    begun = 0
    for drum, lines in drums.items():
        found[drum] = min(begun, _FAR)
        begun += len(lines)
    return found


def _bar_at(bars: Sequence[Phrase], step: int) -> int:
    begun = 0
    for number, bar in enumerate(bars):
        if begun == step:
            return number
        begun += sum(event.steps for event in bar)
    message = f"no bar begins at step {step}"
    raise ValueError(message)


def _lines(
    phrase: Phrase,
    engine: Engine,
    chunks: int,
    names: dict[int, str],
    numbers: dict[DrumSound, int],
) -> Iterator[Line]:
    first: int | None = None
    second: int | None = None
    for index, event in enumerate(phrase):
        flags = _LAST * (index == len(phrase) - 1)
        words: list[Word] = []
        comment = ""
        if event.drum is not None:
            flags |= _DRUM | numbers[event.drum] * _NUMBER
            if numbers[event.drum] == _FAR:
                words.append(drum_label(event.drum))
            comment = f"{event.drum.name}, "
        if event.setting1 != first:
            flags |= _VOICE1
            words.append(_tone(event.setting1, engine))
        if event.setting2 != second:
            flags |= _VOICE2
            words.append(_tone(event.setting2, engine))
        first, second = event.setting1, event.setting2
        comment += f"{names[first]} {names[second]}" + f" x {event.steps}" * (event.steps > 1)
        yield Line((event.steps * chunks << 8 | flags, *words), comment)


def _tone(setting: int, engine: Engine) -> int:
    """Return what a voice is given."""
    if engine.method == "phase":
        return setting
    return SPEAKER_BIT << 8 | setting if setting else 1


def _drum_lines(drum: DrumSound, engine: Engine, step_passes: int) -> Iterator[Line]:
    """Yield the words of a drum's parts, the last with what is left of the step's chunks."""
    timing = drum_timing(drum, engine, step_passes)
    _, chunk = chunking(step_passes)
    spent, begun = divmod(timing.passes, chunk)
    left = chunk - begun - 3 << 8 | spent
    after = (0,) * (len(timing.parts) - 1 + bool(timing.silence))
    for (part, passes), ending in zip(timing.parts, (*after, left), strict=False):
        if part.kind == "rest":
            yield Line((0, 0, passes + 1, ending), f"rest {drum.name}")
            continue
        first, growth = (*(value // PASS_CYCLES for value in part.settings), 0)[:2]
        taps = _KICK_TAPS if part.kind == "kick" else NOISE_TAPS
        yield Line(
            (SPEAKER_BIT << 8 | taps, first << 8 | growth, passes + 1, ending),
            f"{part.kind} {drum.name}",
        )
    if timing.silence:
        yield Line((0, 0, timing.silence + 1, left), "silence")
