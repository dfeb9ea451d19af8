"""What each note is worth to a listener: the evidence that the optimisation weighs.

Found by ``arranger.reduce.worth.weigh.weigh`` from the whole song, before any voice is allocated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from arranger.columns import Floats, Ints
    from arranger.settings import ReduceSettings


class RoleEvidence(NamedTuple):
    """One thing that speaks for or against a role."""

    what: str
    """Such as "name says tune" or "plays alone on top 83 % of the time"."""
    weight: float
    """Added to the score; negative speaks against."""


class PartRole(NamedTuple):
    """The role of one part and why."""

    part: int
    role: str
    """"tune", "bass", "harmony", "drums" or "muted"."""
    tune_score: float
    bass_score: float
    evidence: tuple[RoleEvidence, ...]
    """What decided, strongest first."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """One entry a note of ``Song.notes``, in that order; drums have 0 for tune and bass."""

    tune: Floats
    """Shape (notes,), 0..1: how surely the note belongs to the tune."""
    bass: Floats
    """Shape (notes,), 0..1: how surely it belongs to the bass line."""
    salience: Floats
    """Shape (notes,), > 0, about 1 for a note like most: how audible and important it is."""
    duplicate_of: Ints
    """Shape (notes,): the id of the note whose pitch it doubles, or -1. Never a chain."""
    octave_of: Ints
    """Shape (notes,): the id of the note that it doubles in another octave, or -1."""
    roles: tuple[PartRole, ...]
    """One a part, in the order of ``Song.parts``."""
    likely: Floats | None = None
    """Shape (notes,): how likely each note is the tune, all parts taken as one; None: not kept."""
    settings: ReduceSettings | None = None
    """What named the parts; None: not kept."""
