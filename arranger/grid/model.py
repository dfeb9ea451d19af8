"""The grid: how song time maps to the engine's steps.

Step 0 is the first step of the sheet. Steps are counted in whole numbers; positions before rounding
are floats in steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable
    from fractions import Fraction

    from arranger.columns import Floats, Ints
    from arranger.engine.model import StepLength
    from arranger.grid.doubt import Doubt
    from arranger.grid.timeline import Timeline
    from arranger.settings import GridSettings


class GridBar(NamedTuple):
    """One bar of the sheet, in steps."""

    number: int
    """As people count it: the song's bar number; a pickup is bar 0."""
    first_step: int
    steps: int
    numerator: int
    denominator: int
    song_number: int | None = None
    """The song's number of the bar, where a hand gave it another; None: the same, or not in the song."""
    in_song: bool = True
    """False for a bar that a hand put in."""


def grid_bars(heads: Iterable[tuple[int, int, int, int]]) -> tuple[GridBar, ...]:
    """Return bars in a row, from the number, steps, numerator and denominator of each."""
    bars: list[GridBar] = []
    start = 0
    for number, steps, numerator, denominator in heads:
        bars.append(GridBar(number, start, steps, numerator, denominator))
        start += steps
    return tuple(bars)


class StepChoice(NamedTuple):
    """One candidate for the step and what it would cost; the chosen one is among them."""

    step_beats: Fraction
    cost: float
    """Lower is better; unit and terms are documented at ``arranger.grid.steps.choose``."""
    steps: int
    """How many steps the song would take."""
    moved: int
    """Notes that would not start on a step."""
    collided: int
    """Notes that would start on the same step as another of their part that they follow."""
    shortened: int
    """Notes shorter than half a step."""
    misplaced: int = 0
    """Notes of those moved so far that it is plainly heard."""


class Section(NamedTuple):
    """A repeated passage, by its name ("A", "B") and its bars (indices into ``Grid.bars``)."""

    name: str
    first_bar: int
    bars: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Where every note of the song stands in steps.

    The arrays have one entry a note of ``Song.notes``, in that order. A note outside the converted
    passage (``--bars``) or beyond a limit has ``onset_steps == -1``.
    """

    step_beats: Fraction
    """A step as a share of a beat (quarter note)."""
    basis: str
    """"file" when the song's own beats are followed, "tracked" when they were found by ear."""
    first_tick: int
    """The tick of step 0."""
    steps: int
    """How many steps the sheet has; at least 1."""
    bars: tuple[GridBar, ...]
    """Cover steps 0..steps exactly, in order."""
    step_length: StepLength
    """What the engine will really play."""
    asked_bpm: float
    """Beats per minute that the song asks for (the median over its beats)."""
    onset_steps: Ints
    """Shape (notes,): the step on which each note starts, or -1."""
    end_steps: Ints
    """Shape (notes,): the step before which each note ends; at least onset + 1."""
    positions: Floats
    """Shape (notes,): where each onset really stands, in steps."""
    first_number: int | None = None
    """The song's number of the bar at `first_tick`, if that isn't the first of ``bars``."""
    bar_ticks: tuple[int, ...] = ()
    """The tick at which each bar starts, and that at which the last ends; empty if not known."""
    beats_seconds: tuple[float, ...] = ()
    """When tracked: the time of each beat in the song, in seconds; of dotted ones in compound metres."""
    alternatives: tuple[StepChoice, ...] = ()
    """All candidates, best first."""
    sections: tuple[Section, ...] = ()
    loop_step: int | None = None
    """Where the piece goes on after its last step; None when it ends."""
    timeline: Timeline | None = None
    """The song's beats, before any swing is played or straightened."""
    settings: GridSettings | None = None
    """What was asked for."""
    doubts: tuple[Doubt, ...] = ()
    """What isn't sure of beat and bars."""
    remarks: tuple[str, ...] = ()
    """What a reader of the report should know: tempo changes flattened, silence trimmed, swing."""

    @property
    def played_bpm(self) -> float:
        """Beats per minute that the engine will really play."""
        return 60.0 * float(self.step_beats) / self.step_length.seconds
