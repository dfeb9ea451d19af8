"""What the other layers need to know of an engine: its pitches, step lengths and drum sounds.

An engine is described by a TOML file (``arranger.engine.profile``); this is that description worked
out. Frequencies are what the routine really plays, in Hz, from exact clock arithmetic.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from arranger.engine.profile import DrumPart, Profile


class Pitch(NamedTuple):
    """One entry of the pitch table."""

    midi: int
    setting: int
    """What the routine counts with: a period in passes of its loop, or a phase increment."""
    frequency_hz: float
    cents: float
    """Played minus equal temperament at A4 = 440 Hz."""


class StepLength(NamedTuple):
    """One entry of the list of step lengths."""

    setting: int
    """What the routine counts with (passes of the sound loop, timer ticks)."""
    cycles: int
    """Clock cycles from one step to the next, all overhead counted."""
    seconds: float


class DrumSound(NamedTuple):
    """One drum sound: parts that sound one after the other, at most until the step ends."""

    name: str
    """A word of lower-case letters, digits and hyphens: "kick", "snare", "hat"."""
    percussion_keys: tuple[int, ...]
    """General MIDI percussion keys that it stands in for."""
    weight: float
    """0..1: how much it carries the metre; a kick 1, a hat little."""
    parts: tuple[DrumPart, ...]
    joins: tuple[str, ...] = ()
    """The sounds that it says at once, by name; none for a plain one."""

    @property
    def cycles(self) -> int:
        """Clock cycles that it lasts; 0: to the end of its step."""
        lengths = [part.cycles for part in self.parts]
        return sum(lengths) if all(lengths) else 0

    def within(self, room: int) -> tuple[DrumPart, ...]:
        """Return the parts that there is room for, each with the cycles that it sounds."""
        found: list[DrumPart] = []
        for part in self.parts:
            if room > 0:
                found.append(part._replace(cycles=min(part.cycles or room, room)))
                room -= found[-1].cycles
        return tuple(found)


MOST_OF_STEP = 0.75
"""Share of its step that a drum sounds for at most, where voices sound after it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """A playing routine. Build one with `arranger.engine.load_engine`."""

    name: str
    title: str
    clock_hz: int
    method: str
    """How the pin is driven: "phase", "counter" or "alternate"."""
    pitches: Mapping[int, Pitch]
    """By MIDI number; what is not in it can't be played."""
    left_out: tuple[Pitch, ...] = ()
    """Pitches of the description that the routine would play as another note."""
    step_lengths: tuple[StepLength, ...]
    """Strictly increasing; at least one."""
    drums: tuple[DrumSound, ...]
    drum_takes_step: bool
    """True when a drum silences both voices for the whole step."""
    code_bytes: int
    """Bytes of the player."""
    memory_bytes: int
    """Bytes that player and song may take together."""
    profile: Profile
    """The description it was worked out from, with what only sound and machine code need."""

    @property
    def lowest(self) -> int:
        """The lowest playable MIDI number."""
        return min(self.pitches)

    @property
    def highest(self) -> int:
        """The highest playable MIDI number."""
        return max(self.pitches)

    def silences(self, drum: DrumSound) -> bool:
        """Return whether no voice is heard on a step on which a drum sounds."""
        return self.drum_takes_step or not drum.cycles

    def silencing(self, names: Iterable[str | None]) -> frozenset[str]:
        """Return which sounds of a drum row, by name, let no voice be heard on their step.

        One that isn't the engine's does so where all its drums do.
        """
        sounds = self.sounds
        return frozenset(
            name
            for name in {*names}
            if name is not None
            and (self.silences(sounds[name]) if name in sounds else self.drum_takes_step)
        )

    @property
    def gap(self) -> DrumSound | None:
        """The sound, if any, that is nothing but a short silence: it parts a tone from the next."""
        rests = (drum for drum in self.drums if all(part.kind == "rest" for part in drum.parts))
        return next((drum for drum in rests if not self.silences(drum)), None)

    def parts_in(self, drum: DrumSound, step: StepLength) -> tuple[DrumPart, ...]:
        """Return the parts of a drum that its step has room for, each with the cycles it lasts.

        Where voices sound after it, a drum lasts at most `MOST_OF_STEP`.
        """
        room = step.cycles - self.profile.steps.overhead_cycles
        return drum.within(room if self.silences(drum) else int(MOST_OF_STEP * room))

    def hidden_seconds(self, drum: DrumSound, step: StepLength) -> float:
        """Return for how long from the start of its step a drum lets no voice be heard."""
        if self.silences(drum):
            return step.seconds
        return sum(part.cycles for part in self.parts_in(drum, step)) / self.clock_hz

    @property
    def sounds(self) -> dict[str, DrumSound]:
        """The drum sounds by name."""
        return {drum.name: drum for drum in self.drums}

    def drum_for(self, percussion_key: int) -> DrumSound | None:
        """Return the sound that stands in for a General MIDI percussion key, or None."""
        return next((drum for drum in self.drums if percussion_key in drum.percussion_keys), None)

    def nearest_step_length(self, seconds: float) -> StepLength:
        """Return the step length nearest in ratio to one asked for in seconds (> 0)."""
        # Of a rising list only the two on either side can be nearest; there may be hundreds.
        after = bisect_left(self.step_lengths, seconds, key=lambda entry: entry.seconds)
        return min(
            self.step_lengths[max(after - 1, 0) : after + 1],
            key=lambda entry: max(entry.seconds / seconds, seconds / entry.seconds),
        )
