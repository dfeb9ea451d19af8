"""The grid: from song time to the engine's steps.

track     Beat tracking for songs that don't follow their own beat
bars      Where bars begin: as asked, as the file states, as the music has them
steps     Which step, and what of the song falls on which
attacks   Attacks: onsets that are meant together, taken together before anything is rounded
doubt     What isn't sure of beat and bars, and the readings that could be right instead
loops     Where a piece goes on after its last step
model     The grid: how song time maps to the engine's steps
onbeat    Does a file follow its own beat? A statistical test
passage   Which bars of the song become the sheet: those asked for, or those
plan      From a song and an engine to a grid: the order of the decisions
remarks   What a reader should know of a grid
sections  Repeated passages, so that an edit can be made once
tempi     Changes of tempo that matter, by bar
timeline  Where notes and bar lines stand in beats, whichever way the beats were found
tracked   The timeline of a song whose beats were tracked
"""

from arranger.grid.bars.disputed import HeardBars, heard_bars
from arranger.grid.doubt import Doubt, OtherReading
from arranger.grid.model import Grid, GridBar, Section, StepChoice
from arranger.grid.onbeat import BeatVerdict, follows_own_beat
from arranger.grid.plan import plan_grid

__all__ = [
    "BeatVerdict", "Doubt", "Grid", "GridBar", "HeardBars", "OtherReading", "Section", "StepChoice",
    "follows_own_beat", "heard_bars", "plan_grid",
]  # fmt: skip
