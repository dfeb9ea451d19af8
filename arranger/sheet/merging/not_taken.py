"""What a merge leaves below a bar as comments: the version that the sheet doesn't have.

Without its ``#`` each line is a row of the bar again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.sheet.form.text import BELOW, ROWS, bar_text
from arranger.sheet.model import Comment

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.model import Sheet

NOT_TAKEN = "generated now, but the edit was kept:"
TYPED = "by hand, but not all of it fits here:"
"""What stands below is nowhere else, so no merge takes it away."""


def not_taken(
    sheet: Sheet, bar: int, rows: Sequence[int], which: str = "", head: str = NOT_TAKEN
) -> list[Comment]:
    """Return rows of a bar (1, 2 the voices, 3 the drums) as comments, to stand below an edit."""
    texts = bar_text(sheet, bar)
    lines = [f"{ROWS[row]:<10}{texts[row - 1]}" for row in rows]
    return [Comment(0, text, BELOW) for text in (which + head, *lines)]


def without_not_taken(comments: Sequence[Comment]) -> list[Comment]:
    """Return the comments of a bar without what an earlier merge generated and left below."""
    kept: list[Comment] = []
    inside = False
    for comment in comments:
        if comment.row == BELOW and comment.text.endswith(NOT_TAKEN):
            inside = True
        elif not (inside and comment.row == BELOW and comment.text.startswith(ROWS[1:BELOW])):
            inside = False
            kept.append(comment)
    return kept
