"""The record of a song whose sheet was edited by hand and left alone: what its files say."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from arranger.errors import ArrangerError
from arranger.reduce.reasons import OUTCOMES
from arranger.report.query import read_ledger
from arranger.sheet.record.base import base_of
from arranger.songbook.record import Record, lost_shares, notes_digest

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from arranger.sheet.model import Sheet


def standing_record(relative: str, place: str, sheet: Sheet, paths: Sequence[Path]) -> Record:
    """Return the record of an edited sheet and of the ledger beside it.

    Parameters
    ----------
    relative, place
        Of the song, as in `Record`.
    sheet
        The sheet, read.
    paths
        Where the song's files are, as `arranger.outputs.output_paths` says.
    """
    told: dict[str, Any] = {}
    try:
        told = _told(read_ledger(paths[1]), len(sheet.bars))
    except ArrangerError as error:
        told["message"] = f"edited by hand; its ledger {error.what}"
    except (LookupError, TypeError, ValueError, ArithmeticError, AttributeError):
        told["message"] = "edited by hand; its ledger is not as the format says"
    if "engine" not in told or not base_of(sheet).has("engine", sheet):
        told["engine"] = sheet.engine
    return Record(
        relative=relative,
        place=place,
        state="kept-edit",
        title=sheet.title,
        steps=sheet.steps,
        bars=len(sheet.bars),
        step=str(sheet.step_beats),
        outputs=tuple(path.name for path in paths if path.exists()),
        edited=True,
        **told,
    )


def _told(ledger: dict[str, Any], bars: int) -> dict[str, Any]:
    """Return the fields of a record that a ledger tells."""
    source, grid, notes = ledger["source"], ledger["grid"], ledger["notes"]
    outcomes = Counter(str(note["outcome"]) for note in notes)
    placed = [note for note in notes if "beyond-limit" not in note["reasons"]]
    first = min((note["bar"] for note in placed), default=0)
    last = max((note["bar"] for note in placed), default=0)
    names = {
        str(part["role"]): str(part["name"])
        for track in source["tracks"]
        for part in reversed(track["parts"])
    }
    return {
        "engine": str(ledger["engine"]),
        "notes": len(notes),
        **{outcome: outcomes[outcome] for outcome in OUTCOMES},
        "asked_bpm": round(float(grid["asked_bpm"]), 3),
        "played_bpm": round(float(grid["played_bpm"]), 3),
        "tune": names.get("tune", ""),
        "bass": names.get("bass", ""),
        "notes_digest": notes_digest(
            int(source["ticks_per_beat"]),
            ((n["onset_tick"], n["duration_tick"], n["pitch"], n["drum"]) for n in notes),
        ),
        "strip": lost_shares(
            last - first + 1,
            min(bars, last - first + 1),
            ((note["bar"] - first, note["outcome"] == "dropped") for note in placed),
        ),
    }
