"""The sheet: two voices and drums as an editable text file.

=====================  =========================================================================
model, io              the value, and what holds and rests mean · as files
form/                  as text: written, read, what is wrong in it
check, tidy            what its engine can't play, or plays otherwise · columns aligned
record/, keep          how edits are recognised, by bar and row, and kept from being overwritten
merging/               edits joined with a new conversion
history/               all that stood there, in a file beside it: undo
bar_edits/, blank      bars copied, moved, changed · a sheet to begin with
compare, side_by_side  two sheets
excerpt, watch         listening while editing
played, sounds         what each step sounds like · its drum sounds
midi, mark, score/     other programs: as MIDI and back, as notation
=====================  =========================================================================

The rest of the package sees what is listed below; the commands import the modules that they need.
"""

from arranger.rows import HOLD, REST, Row, tones
from arranger.sheet.form.parse import parse
from arranger.sheet.form.text import format_sheet
from arranger.sheet.io import read_sheet, write_sheet
from arranger.sheet.model import Comment, Sheet, SheetBar
from arranger.sheet.record.digest import is_edited, with_digest

__all__ = [
    "HOLD", "REST", "Comment", "Row", "Sheet", "SheetBar", "format_sheet", "is_edited", "parse",
    "read_sheet", "tones", "with_digest", "write_sheet",
]  # fmt: skip
