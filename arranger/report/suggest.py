"""Settings to try instead, each with the effect that it has because it was tried."""

from __future__ import annotations

from typing import NamedTuple


class Suggestion(NamedTuple):
    """One command to try and what it gives."""

    options: str
    """To be added to the command line."""
    what: str
    heard_more: int
    """Notes heard, against the conversion as it is."""
    kept_more: int
    loss_change: float
    """Share of the loss that is gained (negative) or added; see `arranger.report.losses`."""
