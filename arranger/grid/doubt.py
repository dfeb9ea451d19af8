"""What isn't sure of beat and bars: a doubt, and the readings that could be right instead."""

from __future__ import annotations

from typing import NamedTuple


class OtherReading(NamedTuple):
    """Another reading of beat or bars."""

    what: str
    """In words: "half as fast"."""
    option: str
    """What chooses it, ready for the command line: "--tempo 60"."""


class Doubt(NamedTuple):
    """Something that isn't sure of beat or bars."""

    about: str
    """"beat" or "bars"."""
    what: str
    """In words."""
    sure: float | None
    """How likely it is right, 0..1; None where no number is known."""
    others: tuple[OtherReading, ...]
    """The likeliest other readings, at most two."""
