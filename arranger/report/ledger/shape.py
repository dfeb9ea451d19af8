"""What a written ledger must be like to be asked; `ledger.schema.json` states the whole format."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class _Shape(BaseModel):
    model_config = ConfigDict(strict=True)


class _Part(_Shape):
    part: int
    name: str


class _Track(_Shape):
    parts: list[_Part]


class _Source(_Shape):
    file: str
    title: str = ""
    tracks: list[_Track]


class _Note(_Shape):
    id: int
    part: int
    bar: int
    song_bar: int | None = None
    beat: float
    outcome: str
    reasons: list[str]
    explanation: str


class _Bar(_Shape):
    bar: int
    song_bar: int
    heard: dict[str, int | None]
    rank: int | None
    lacks: str


class _Passage(_Shape):
    explanation: str


class LedgerShape(_Shape):
    """The members that `arranger.report.ledger.query` reads, with their types."""

    source: _Source
    bars: list[_Bar] = []
    passages: list[_Passage] = []
    notes: list[_Note]
