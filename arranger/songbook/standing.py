"""The record of a song whose sheet was edited by hand and left alone: what its files say."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from arranger.engine import load_engine
from arranger.errors import ArrangerError
from arranger.reduce.reasons import OUTCOMES
from arranger.report.hearing import LINES
from arranger.report.query import read_ledger
from arranger.report.sheet_side import sheet_side
from arranger.sheet.record.base import base_of
from arranger.songbook.changes import file_time
from arranger.songbook.converted import along, bytes_limit, strips
from arranger.songbook.doubts import WORDS
from arranger.songbook.record import FORMAT, Record, notes_digest

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
        told = _told(read_ledger(paths[1]))
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
        edited_at=file_time(paths[0]),
        format=FORMAT,
        **_played(sheet, paths[0]),
        **told,
    )


def _played(sheet: Sheet, path: Path) -> dict[str, Any]:
    """Return the fields of a record that a sheet and its engine tell; none if it can't be played."""
    try:
        engine = load_engine(sheet.engine, beside=path)
        side = sheet_side(sheet, engine)
    except ArrangerError:
        return {}
    limit = bytes_limit(engine, None)
    return {
        "seconds": round(side.seconds, 3),
        "song_bytes": limit + 1 if side.song_bytes is None else side.song_bytes,
        "bytes_limit": limit,
    }


def _told(ledger: dict[str, Any]) -> dict[str, Any]:
    """Return the fields of a record that a ledger tells."""
    source, grid, notes = ledger["source"], ledger["grid"], ledger["notes"]
    outcomes = Counter(str(note["outcome"]) for note in notes)
    totals = ledger["totals"]
    heard = totals.get("heard")  # absent in ledgers of earlier versions
    bars = [[_share(bar["heard"], line) for line in LINES] for bar in ledger["bars"]]
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
            *(
                [note[key] for note in notes]
                for key in ("onset_tick", "duration_tick", "pitch", "drum")
            ),
        ),
        "heard": () if heard is None else tuple(_share(heard, line) for line in LINES),
        "lost": totals.get("lost"),
        "strips": strips(along(bars)),
        "doubts": (("beat", WORDS["beat"]),) if grid["basis"] == "tracked" else (),
    }


def _share(heard: dict[str, Any], line: str) -> int | None:
    share = heard[line]
    return None if share is None else int(share)
