"""The sheet: two voices and drums as an editable text file."""

from arranger.sheet.digest import is_edited, with_digest
from arranger.sheet.io import read_sheet, write_sheet
from arranger.sheet.model import HOLD, REST, Comment, Row, Sheet, SheetBar, tones
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
