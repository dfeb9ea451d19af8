"""The record of a song whose sheet was edited by hand and left alone.

What is heard of the song is reckoned with the sheet as it stands: it is converted as the sheet's header
says, and told against the sheet; ledger, page and sound are written anew, the sheet is not. So a song
that was mended by hand leaves the top of the worklist, and is heard there as it was mended.
Where the song is another file than then, or can't be told against the sheet, its ledger is asked.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from arranger.conversion.behind import behind_song, in_sheet
from arranger.engine import load_engine
from arranger.errors import ArrangerError
from arranger.outputs import output_paths, write_account
from arranger.reduce.reasons import OUTCOMES
from arranger.report.heard.hearing import LINES
from arranger.report.ledger.query import read_ledger
from arranger.report.summaries.sheet_side import sheet_side
from arranger.sheet.played import played_steps
from arranger.sheet.record.base import base_of
from arranger.songbook.known.converted import along, bytes_limit, done_record, strips
from arranger.songbook.known.song_record import SongRecord, file_time, notes_digest

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.conversion import Conversion
    from arranger.outputs import OutputChoice
    from arranger.sheet.model import Sheet
    from arranger.song.model import Song


KEPT = "kept-edit"


def standing_record(
    relative: str, place: str, sheet: Sheet, song: Song, choice: OutputChoice
) -> SongRecord:
    """Return the record of an edited sheet, when its other files are as it is.

    ``relative``, ``place``: of the song, as in `SongRecord`.
    ``sheet``: the sheet, read.
    ``song``: the song as it is now.
    ``choice``: which files a song has, and where.

    Raises `OutputError` if one of the files can't be written.
    """
    name = place.rsplit("/", 1)[-1]
    paths = output_paths(choice, name)
    found = _as_it_stands(paths[0], sheet, song)
    if found is not None:
        write_account(found, name, choice)
    outputs = tuple(each.name for each in paths if each.exists())
    if found is None:
        return _of_files(relative, place, sheet, paths, outputs)
    record = done_record(relative, place, found, outputs, file_time(paths[0]), KEPT)
    return replace(record, title=sheet.title)


def _as_it_stands(path: Path, sheet: Sheet, song: Song) -> Conversion | None:
    """Return the account of a song in a sheet; None if it can't be told against it."""
    if sheet.source_sha256 != song.sha256:
        return None
    try:
        played_steps(sheet, load_engine(sheet.engine, beside=path))
        return in_sheet(behind_song(path, sheet, Path(song.file), song), sheet).conversion
    except ArrangerError:  # a setting that is no more, or what its engine can't play
        return None


def _of_files(
    relative: str, place: str, sheet: Sheet, paths: Sequence[Path], outputs: tuple[str, ...]
) -> SongRecord:
    """Return the record of an edited sheet and of the ledger beside it."""
    told: dict[str, Any] = {}
    try:
        told = _told(read_ledger(paths[1]))
    except ArrangerError as error:
        told["message"] = f"edited by hand; its ledger {error.what}"
    except (LookupError, TypeError, ValueError, ArithmeticError, AttributeError):
        told["message"] = "edited by hand; its ledger is not as the format says"
    if "engine" not in told or not base_of(sheet).has("engine", sheet):
        told["engine"] = sheet.engine
    return SongRecord(
        relative=relative,
        place=place,
        state=KEPT,
        title=sheet.title,
        steps=sheet.steps,
        bars=len(sheet.bars),
        step=str(sheet.step_beats),
        outputs=outputs,
        edited=True,
        edited_at=file_time(paths[0]),
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
    }


def _share(heard: dict[str, Any], line: str) -> int | None:
    share = heard[line]
    return None if share is None else int(share)
