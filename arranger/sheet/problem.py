"""Problems found in a sheet: where, what, and what to do about it."""

from __future__ import annotations

from typing import NamedTuple

ERROR = "error"
WARNING = "warning"


class Problem(NamedTuple):
    """One problem. Lines and columns are counted from 1, columns in characters."""

    severity: str
    """`ERROR`: it can't be played as written. `WARNING`: it can, but perhaps isn't meant so."""
    code: str
    """A short fixed name, for scripts: "unknown-pitch"."""
    line: int
    column: int
    width: int
    """How many characters it concerns; at least 1."""
    what: str
    remedy: str

    @property
    def place(self) -> str:
        """The place in words."""
        return f"line {self.line}, column {self.column}"
