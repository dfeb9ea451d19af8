"""From a song to a sheet that knows its song: the stages in a row, and what goes back to them.

pipeline      the stages in a row: song, grid, reduction, sheet
keys          the key that the song names for each bar
measure       how many bytes two rows take, which the reduction is handed
marked        a MIDI file that was made from a sheet becomes it again
by_hand       the account of a sheet with edits kept
reuse         which notes have to be accounted anew after an edit
behind        the song behind a sheet, and the account of the sheet as it stands now
numbers       the numbers of its bars, the song's beside them
weigh_sheet   what was weighed in a bar of a sheet
"""

from arranger.conversion.measure import measure_of
from arranger.conversion.pipeline import Conversion, convert

__all__ = ["Conversion", "convert", "measure_of"]
