"""What an engine's TOML file says, and within which limits.

A profile says what a playing routine does, in the clock's cycles; `arranger.engine.load` works the
pitch table, the step lengths and the drum sounds out from it. The limits stand in the annotations;
`arranger.engine.schema` holds a musician's own file to them, and refuses unknown keys.

The signal model (``method``):

``phase``
    Each voice adds an increment to a phase accumulator of ``pitch.bits`` bits once a pass of the
    sound loop; its level is the accumulator's highest bit.
    f = increment * clock / (2 ** bits * loop.cycles).
``counter``
    Each voice counts ``setting`` passes, then flips its level.
    f = clock / (2 * setting * loop.cycles).
``alternate``
    One square-wave timer channel with a divisor, handed from voice to voice every ``loop.turn``
    passes (ticks) of ``loop.cycles`` clocks of the timer. f = clock / divisor.
``frequencies``
    The pitch table lists frequencies; each voice is an ideal square wave, looked at once a pass.

Except for ``alternate``, the level of voice 1 goes to the pin at cycle ``loop.voice1_write`` of a
pass and stays until cycle ``loop.voice2_write``, from where on voice 2 holds it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple

from arranger.engine import layout
from arranger.engine.layout import Layout, layout_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    # Not at run time: pydantic takes a tenth of a second to import.
    from pydantic import Field

RESERVED_NAMES = ("new",)
"""Words of the command line that can't name an engine."""

Method = Literal["phase", "counter", "alternate", "frequencies"]
DrumKind = Literal["kick", "noise", "rest"]


class SoundLoop(NamedTuple):
    """One pass of the sound loop."""

    cycles: Annotated[int, Field(gt=0, le=1_000_000)]
    """How long one pass takes."""
    voice1_write: Annotated[int, Field(ge=0)] = 0
    """The cycle of the pass from which the pin shows voice 1."""
    voice2_write: Annotated[int, Field(ge=0)] = 0
    """The cycle of the pass from which the pin shows voice 2; 0: half way through the pass."""
    turn: Annotated[int, Field(gt=0, le=10_000)] = 8
    """Method ``alternate``: for how many passes a voice has the channel."""

    @property
    def second_write(self) -> int:
        """``voice2_write``, or half way through the pass."""
        return self.voice2_write or self.cycles // 2


class PitchTable(NamedTuple):
    """What the voices can play."""

    lowest: str = ""
    highest: str = ""
    """Pitch names; the table between them is worked out. Left out when ``table`` is given."""
    bits: Annotated[int, Field(ge=4, le=32)] = 16
    """Width of a setting: no increment, period or divisor needs more."""
    table: Mapping[str, int | float] = {}
    """The routine's own table: a setting (method ``frequencies``: Hz) by pitch name."""


class Steps(NamedTuple):
    """The list of step lengths: count * passes_per_count * loop.cycles + overhead_cycles."""

    first: Annotated[int, Field(gt=0, le=1_000_000)] = 1
    last: Annotated[int, Field(gt=0, le=1_000_000)] = 1
    """The list is every count from first to last; ignored when ``counts`` is given."""
    counts: Annotated[
        tuple[Annotated[int, Field(gt=0, le=1_000_000)], ...], Field(strict=False, max_length=4096)
    ] = ()
    passes_per_count: Annotated[int, Field(gt=0, le=1_000_000)] = 1
    overhead_cycles: Annotated[int, Field(ge=0, le=1_000_000_000)] = 0
    """Cycles between steps, in which the pin stands still."""


class DrumPart(NamedTuple):
    """A stretch of a drum sound."""

    kind: DrumKind
    """A falling tone, noise, or a stretch in which the pin stands still."""
    settings: Annotated[tuple[int, ...], Field(strict=False)]
    """What the routine is given, as in `Drum`."""
    cycles: Annotated[int, Field(ge=0, le=1_000_000_000)] = 0
    """Clock cycles that it lasts; 0: to the end of the step."""


class Drum(NamedTuple):
    """One drum sound."""

    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=24)]
    kind: DrumKind
    percussion_keys: Annotated[tuple[Annotated[int, Field(ge=0, le=127)], ...], Field(strict=False)]
    """General MIDI percussion keys that it stands in for."""
    weight: Annotated[float, Field(ge=0, le=1)]
    settings: Annotated[tuple[int, ...], Field(strict=False)]
    """kick: first half period in cycles, growth of each next one in cycles.
    noise: cycles between random bits. rest: none.
    Method ``alternate``: kick: first divisor, growth a pass; noise: smallest divisor, bit mask of
    what chance may add to it, anew each pass."""
    cycles: Annotated[int, Field(ge=0, le=1_000_000_000)] = 0
    """How long it sounds; 0: the whole step."""
    then: Annotated[tuple[DrumPart, ...], Field(strict=False, max_length=3)] = ()
    """What sounds after it, as part of the same hit."""
    joins: Annotated[tuple[str, ...], Field(strict=False)] = ()
    """The drums that it says at once, by name, where they fall together."""

    @property
    def parts(self) -> tuple[DrumPart, ...]:
        """All that sounds, in order."""
        return (DrumPart(self.kind, self.settings, self.cycles), *self.then)


class Memory(NamedTuple):
    """What the piece costs."""

    code_bytes: Annotated[int, Field(ge=0, le=1_000_000)]
    total_bytes: Annotated[int, Field(gt=0, le=16_000_000)]
    """Bytes that player and song may take together."""


class Port(NamedTuple):
    """Where this project's own Z80 player finds the speaker and the keys."""

    number: Annotated[int, Field(ge=0, le=255)] = 254
    """The port that is written."""
    speaker: Annotated[int, Field(ge=0, le=7)] = 4
    """The bit of it that moves the speaker."""
    idle: Annotated[int, Field(ge=0, le=255)] = 0
    """What its other bits are at first: those of a byte, with a 0 for the speaker."""
    key_port: Annotated[int, Field(ge=0, le=255)] = 254
    """The port that keys are read from, with a 0 in the upper half of the address."""
    key_mask: Annotated[int, Field(ge=0, le=255)] = 31
    """Its bits that are 0 while a key is down; 0: no key stops the player."""

    @property
    def speaker_bit(self) -> int:
        """The speaker's bit as the value of a byte."""
        return 1 << self.speaker


class Profile(NamedTuple):
    """An engine's TOML file."""

    format: Literal["arranger-engine"]
    version: Literal[1]
    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=40)]
    title: Annotated[str, Field(min_length=1, max_length=200)]
    method: Method
    clock_hz: Annotated[int, Field(ge=1000, le=1_000_000_000)]
    loop: SoundLoop
    pitch: PitchTable
    steps: Steps
    memory: Memory
    drum_takes_step: bool = True
    """Whether a drum silences both voices until the next step, not just while it sounds."""
    player: Literal["", "z80"] = ""
    """Which of this project's own players plays it, cycle for cycle; none: a routine elsewhere."""
    port: Port = Port()
    drum: Annotated[tuple[Drum, ...], Field(strict=False)] = ()
    export: Layout | None = None
    """How its song data look; None: as this program has them."""


TABLES: Mapping[str, type[Any]] = {
    "loop": SoundLoop,
    "pitch": PitchTable,
    "steps": Steps,
    "memory": Memory,
    "port": Port,
    "then": DrumPart,
    "drum": Drum,
    **layout.TABLES,
}
"""The tables inside a file, by key; ``drum`` is a list of them, and ``then`` a list inside a drum."""


def profile_of(values: Mapping[str, Any]) -> Profile:
    """Return the profile of a TOML file that keeps to the schema."""

    def frozen(name: str, value: Any) -> Any:
        if name == "then":
            return tuple(table(name, each) for each in value)
        return tuple(value) if isinstance(value, list) else value

    def table(key: str, found: Mapping[str, Any]) -> Any:
        if key == "export":
            return layout_of(found)
        return TABLES[key](**{name: frozen(name, value) for name, value in found.items()})

    inside: dict[str, Any] = {
        key: tuple(table(key, each) for each in found) if key == "drum" else table(key, found)
        for key, found in values.items()
        if key in TABLES
    }
    return Profile(**{**values, **inside})
