"""The songbook: many songs converted together, resumable, with nothing lost."""

from arranger.songbook.book import BookChoice, BookResult, convert_book
from arranger.songbook.pool import core_count
from arranger.songbook.record import REASON_CODES, Record

__all__ = [
    "REASON_CODES",
    "BookChoice",
    "BookResult",
    "Record",
    "convert_book",
    "core_count",
]
