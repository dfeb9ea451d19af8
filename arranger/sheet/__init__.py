"""The sheet: two voices and drums as an editable text file.

model                                         the value, and what holds and rests mean
text · parse, lines, header, blocks, bar_line, written · read, with the grammar
lexical, values · io                          · as files
as_bars                                       bars that are as another one
digest, keep · packed, base, align            edits: recognised, never overwritten · what was
                                              generated, and which bar is which of it
merge, timeline, row_merge, merge_header      edits joined with a new conversion, by mark and step
refit, fitting, not_taken, pieces             in other steps, key, engine · as comments · bars alone
check, problem, tidy · compare, side_by_side  what is wrong, aligned columns · two sheets
passage, watch, spread                        listening while editing
played, sounds                                what each step sounds like · its drum sounds
midi, mark · musicxml                         other programs: there and back · there
============================================  ====================================================
=======
=============================================  ===================================================
model                                          the value, and what holds and rests mean
text · parse, lines, header, blocks, bar_line  written · read, with the grammar
lexical, values, cells, meant · io             words, what was meant by a wrong one · as files
as_bars, fold                                  bars that are as another one
blank                                          one to begin with
numbers · digest, keep                         the song's beside the sheet's · edits recognised
packed, base, align, bar_order                 what was generated, and which bar is which of it
merge, timeline, row_merge, merge_header       edits joined with a new conversion, step by step
refit, fitting, not_taken, pieces              in other steps, key, engine · as comments · bars
check, problem, tidy · compare, side_by_side   what is wrong, aligned columns · two sheets
history, versions, delta · undo, differing     all that stood there, in a file beside it · going back
bar_edits · passage, watch, spread             bars copied, moved, changed · listening while editing
played, sounds                                 what each step sounds like · its drum sounds
midi, mark · score/                            other programs: there and back · as notation
=============================================  ===================================================

The rest of the package sees what is listed below; the commands import the modules that they need.
"""

from arranger.rows import HOLD, REST, Row, tones
from arranger.sheet.digest import is_edited, with_digest
from arranger.sheet.io import read_sheet, write_sheet
from arranger.sheet.model import Comment, Sheet, SheetBar
from arranger.sheet.parse import parse
from arranger.sheet.text import format_sheet

__all__ = [
    "HOLD",
    "REST",
    "Comment",
    "Row",
    "Sheet",
    "SheetBar",
    "format_sheet",
    "is_edited",
    "parse",
    "read_sheet",
    "tones",
    "with_digest",
    "write_sheet",
]
