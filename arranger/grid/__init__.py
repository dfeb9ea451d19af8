"""The grid: from song time to the engine's steps.

track     Beat tracking for songs that don't follow their own beat
asked_bars  Bars as the user says: their metre, and where the first bar line is
attacks   Attacks: onsets that are meant together, taken together before anything is rounded
choose    Choosing the step: what each candidate would cost the music
disputed  Whether the music has other bars than those that its file states, and which
doubts    What isn't sure of beat and bars, and the other readings
loops     Where a piece goes on after its last step
metre_names  What bars that were heard are called, and where they begin as options say it
metres    Bars by ear for a song that has beats but no bars
model     The grid: how song time maps to the engine's steps
off_step   Bars whose notes keep to another division of the beat than the step
onbeat    Does a file follow its own beat? A statistical test
passage   Which bars of the song become the sheet: those asked for, or those
place     Placing notes on steps, once the step is chosen
plan      From a song and an engine to a grid: the order of the decisions
remarks   What a reader should know of a grid
sections  Repeated passages, so that an edit can be made once
step_words  What a step costs, in words
swing     Swing: off-beats that come late, all by about as much
tempi     Changes of tempo that matter, by bar
timeline  Where notes and bar lines stand in beats, whichever way the beats were found
tracked   The timeline of a song whose beats were tracked
"""

from arranger.grid.disputed import HeardBars, heard_bars
from arranger.grid.model import Doubt, Grid, GridBar, OtherReading, Section, StepChoice
from arranger.grid.onbeat import BeatVerdict, follows_own_beat
from arranger.grid.plan import plan_grid

__all__ = [
    "BeatVerdict", "Doubt", "Grid", "GridBar", "HeardBars", "OtherReading", "Section", "StepChoice",
    "follows_own_beat", "heard_bars", "plan_grid",
]  # fmt: skip
