"""The grid: from song time to the engine's steps."""

from arranger.grid.model import Grid, GridBar, Section, StepChoice
from arranger.grid.onbeat import BeatVerdict, follows_own_beat
from arranger.grid.plan import plan_grid

__all__ = [
    "BeatVerdict",
    "Grid",
    "GridBar",
    "Section",
    "StepChoice",
    "follows_own_beat",
    "plan_grid",
]
