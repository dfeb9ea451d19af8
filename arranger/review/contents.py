"""The small pages of a review: the sheets of a folder, and why a sheet can't be shown yet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.errors import SheetError
from arranger.report.pages.build import asset, rendered

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from arranger.review.live import State

MOST_SHEETS = 10_000


def sheets_in(folder: Path) -> list[Path]:
    """Return the sheets below a folder, in order of their names.

    Raises
    ------
    SheetError
        If there is none.
    """
    found = sorted(path for path in folder.rglob("*.duet") if path.is_file())[:MOST_SHEETS]
    if not found:
        raise SheetError(
            "holds no sheet", file=folder, remedy="arranger songbook writes one for each song"
        )
    return found


def contents_page(folder: Path, sheets: Sequence[Path]) -> str:
    """Return a page that offers the sheets of a folder."""
    names = [str(path.relative_to(folder)) for path in sheets]
    return rendered(
        "review.html",
        title=f"Songs in {folder.name or 'this folder'}",
        trouble="",
        problems=(),
        songs=names,
        style=asset("style.css"),
    )


def trouble_page(state: State, name: str) -> str:
    """Return a page that says why a sheet can't be shown, and looks again."""
    problems = [] if state.checked is None else state.checked.problems
    return rendered(
        "review.html",
        title=name,
        trouble=state.trouble or "The sheet has errors.",
        problems=problems[:50],
        songs=(),
        style=asset("style.css"),
    )
