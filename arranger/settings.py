"""Everything a user can choose, one frozen value a stage. Defaults are what the tool does unasked.

How they are spelled on the command line and in files is in `arranger.options`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

STEP_CHOICES = tuple(Fraction(1, parts) for parts in (1, 2, 3, 4, 6, 8, 12))
"""The steps that are tried, as shares of a beat."""

TEXTURES = (
    "auto", "tune-and-bass", "broken-chord", "two-highest", "bass-and-chord", "as-written",
)  # fmt: skip
DRUM_AMOUNTS = ("none", "light", "full")
BEATS = ("auto", "file", "track")
SWINGS = ("auto", "play", "straighten")
CLOCKS = ("beat", "clock")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadSettings:
    """How a song file is read."""

    sustain: bool = True
    """Whether the sustain pedal lengthens notes."""
    pattern: int | None = None
    """Which pattern of a format 2 file, from 1; None: all, one after the other."""
    max_bytes: int = 64_000_000
    max_notes: int = 1_000_000
    max_tracks: int = 4096
    max_beats: int = 50_000
    """Beats from the start to the end of the last note; seven hours at 120 a minute."""
    score_seconds: float = 60.0
    """Time that reading a score (not a MIDI file) may take, the start of its reader included."""
    score_megabytes: int = 2000
    """Memory that reading a score may take."""
    drum_channels: tuple[int, ...] | None = None
    """Channels 1..16 that play drums; None: channel 10 and what the file says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GridSettings:
    """How song time becomes steps."""

    step: Fraction | None = None
    """A step as a share of a beat; None: chosen."""
    tempo: float | None = None
    """Beats a minute to play at; None: the song's. Also helps beat tracking."""
    beat: str = "auto"
    """"file": follow the file's beats, "track": find them from the onsets, "auto": by a test."""
    first_beat: float | None = None
    """Seconds of a downbeat; also helps beat tracking."""
    metre: tuple[int, int] | None = None
    """Metre of all bars, as 3, 4; None: the song's, or one that is heard."""
    pickup: Fraction | None = None
    """Beats from the first note to the first bar line; None: by the song, or by ear."""
    swing: str = "auto"
    """"play", "straighten" or "auto"."""
    clock: str = "beat"
    """"beat": tempo changes are flattened; "clock": they become longer and shorter tones."""
    bars: tuple[int, int] | None = None
    """First and last bar to convert, as numbered in the song; None: all."""
    loop: str = "auto"
    """"auto" (markers, controller 111), "none", or a bar number to go back to."""
    max_steps: int = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ReduceSettings:
    """How parts become two voices."""

    tune: str | None = None
    """The part that carries the tune: its number (from 1) or part of its name; None: by evidence."""
    bass: str | None = None
    mute: tuple[str, ...] = ()
    transpose: int | str = 0
    """Semitones, or "auto"."""
    texture: str = "auto"
    """One of `TEXTURES`; "auto": by what each passage is made of."""
    section_textures: Mapping[str, str] = field(default_factory=dict)
    """Other textures by section ("A") or bars of the sheet ("9-16"); later ones win."""
    drums: str = "full"
    drum_sounds: tuple[tuple[int, str | None], ...] = ()
    """Percussion keys, in order, and the engine's sound that each has instead of its own; None: the
    notes are left out."""
    costs: Mapping[str, float] = field(default_factory=dict)
    """Overrides of the cost table, by term."""
    max_bytes: int | None = None
    """Bytes that the song may take, and is simplified to fit; None: as many as it needs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All stages together."""

    engine: str = "twin-phase"
    read: ReadSettings = field(default_factory=ReadSettings)
    grid: GridSettings = field(default_factory=GridSettings)
    reduce: ReduceSettings = field(default_factory=ReduceSettings)
