"""What the songbook remembers of one song: small, plain, the same whatever worker made it.

And what became of the song since the run before: its record beside the one that was known.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from arranger.report.heard.hearing import LINES

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import ArrayLike

    from arranger.songbook.asked.job import Job


@dataclass(frozen=True, slots=True, kw_only=True)
class SongRecord:
    """One song's line in the songbook. Failed songs have a reason and no counts."""

    relative: str
    place: str
    state: str
    """"done", "kept-edit" (its sheet was edited by hand and left alone) or "failed".

    Of a kept edit everything here is told of the files that stand there, whatever was asked for.
    """
    reason: str = ""
    """For a failed song a stable code: see `REASON_CODES`."""
    message: str = ""
    title: str = ""
    engine: str = ""
    notes: int = 0
    kept: int = 0
    changed: int = 0
    merged: int = 0
    dropped: int = 0
    steps: int = 0
    bars: int = 0
    step: str = ""
    asked_bpm: float = 0.0
    played_bpm: float = 0.0
    tune: str = ""
    bass: str = ""
    notes_digest: str = ""
    """Equal for songs with the same notes, whatever the file."""
    outputs: tuple[str, ...] = ()
    """Names of the files written, without folder."""
    edited: bool = False
    """Whether the sheet there holds edits by hand."""
    edited_at: str = ""
    """When that sheet was last written by a hand: UTC, as in ``2026-01-31T18:05:09Z``."""
    heard: tuple[int | None, ...] = ()
    """How much of each of `arranger.report.heard.hearing.LINES` is heard, 0 to 100; None for what the song
    lacks. Empty where nobody knows."""
    lost: int | None = None
    """What isn't heard, of 1000, each line weighed as in the report (`arranger.report.heard.losses.WORTH`)."""
    strips: tuple[str, ...] = ()
    """How much of each line is heard along the song: see `arranger.songbook.known.converted.strips`."""
    seconds: float = 0.0
    """How long the piece is, once through."""
    song_bytes: int = 0
    """What the song takes, without its player."""
    bytes_limit: int = 0
    """What it may take: ``max-bytes``, or what the engine has beside the player. 0 where nobody knows."""
    doubts: tuple[tuple[str, str], ...] = ()
    """What may have been taken wrongly: a word of `arranger.songbook.known.doubts.WORDS` and a sentence."""
    change: str = ""
    """What became of the song since the run before; nothing where it was left as it was."""
    why: tuple[tuple[str, str], ...] = ()
    """Why this run converted it or left it: codes of `arranger.songbook.known.why` with their sentences."""

    @property
    def fits(self) -> bool:
        """Whether the song takes no more bytes than it may, as far as is known."""
        return self.bytes_limit == 0 or self.song_bytes <= self.bytes_limit

    def values(self) -> dict[str, Any]:
        """Return the fields by name."""
        # dataclasses.asdict copies deeply, which takes longer than all else in a large songbook.
        return {entry.name: getattr(self, entry.name) for entry in fields(self)}

    def to_json(self) -> str:
        """Return the record as one line of JSON."""
        return json.dumps(self.values(), sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Return the record that `to_json` wrote."""
        values: dict[str, Any] = json.loads(text)
        # Those of other versions lack some fields, or have others.
        return cls(**{name: _frozen(values[name]) for name in _NAMES & values.keys()})


_NAMES = frozenset(entry.name for entry in fields(SongRecord))

REASON_CODES = {
    "unreadable": "the file can't be read as a song",
    "limit": "the song is larger than a limit",
    "settings": "a setting doesn't fit the song",
    "unwritable": "an output can't be written",
    "time": "it took longer than the time limit",
    "memory": "it took more memory than the limit",
    "crashed": "the worker process died on it",
    "defect": "the program failed on it, which is a defect of the program",
}
"""Why a song failed, in a word that stays the same between versions."""


def _frozen(value: Any) -> Any:
    return tuple(map(_frozen, value)) if isinstance(value, list) else value


def notes_digest(
    beat: int, onsets: ArrayLike, durations: ArrayLike, pitches: ArrayLike, drums: ArrayLike
) -> str:
    """Return a digest of what is played when.

    The order of notes and tracks, velocities, names and the file's resolution don't matter.

    ``beat``: ticks a beat.
    ``onsets``, ``durations``: of each note, in ticks.
    ``pitches``, ``drums``: of each note, and whether it is a drum.
    """
    ticks = np.asarray([onsets, durations], np.float64)
    played = np.concatenate(
        [np.rint(ticks * 960 / beat), np.asarray([pitches, drums], np.float64)]
    ).astype("<i8")
    in_order = played[:, np.lexsort(played[::-1])]
    return hashlib.sha256(in_order.tobytes()).hexdigest()


def failed(job: Job, reason: str, message: str) -> SongRecord:
    """Return the record of a song that wasn't converted."""
    return SongRecord(
        relative=job.relative, place=job.place, state="failed", reason=reason, message=message
    )


def overdue(job: Job) -> SongRecord:
    """Return the record of a song that met its time limit."""
    return failed(job, "time", f"it took longer than {job.seconds:g} seconds")


NEW = "new"
SAME = "as before"


def change_of(before: SongRecord | None, now: SongRecord) -> str:
    """Return what became of a song that was converted again, in a few words.

    Parameters
    ----------
    before
        What the run before knew of it; None if nothing.
    now
        What it is now.

    Returns
    -------
    change
        As in "tune +3, bytes -120": per cent more of a line heard, bytes less. `SAME` where all figures
        are as they were, `NEW` for a song that wasn't there.
    """
    if before is None:
        return NEW
    if now.state == "failed":
        return SAME if before.reason == now.reason else "fails now"
    if before.state == "failed":
        return "failed before"
    return ", ".join(_differences(before, now)) or SAME


def _differences(before: SongRecord, now: SongRecord) -> Iterator[str]:
    if now.edited != before.edited:
        yield "edited" if now.edited else "edits gone"
    if now.engine != before.engine:
        yield f"for {now.engine}"
    # Records of earlier versions, and of sheets without a ledger, don't say what is heard.
    for line, was, share in zip(LINES, before.heard, now.heard, strict=False):
        if was != share:
            yield f"{line} {(share or 0) - (was or 0):+}"
    if before.bytes_limit and now.song_bytes != before.song_bytes:
        yield f"bytes {now.song_bytes - before.song_bytes:+}"
    if now.steps != before.steps:
        yield f"steps {now.steps - before.steps:+}"


def file_time(path: Path) -> str:
    """Return when a file was last written, as records tell it; nothing if there is none."""
    try:
        seconds = path.stat().st_mtime
    except OSError:
        return ""
    return datetime.fromtimestamp(int(seconds), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def with_change(before: SongRecord | None, now: SongRecord) -> SongRecord:
    """Return a record that came back with what became of its song, and since when it is edited.

    A sheet that keeps its edits is written anew, but not by a hand.
    """
    written = any(code == "sheet" for code, _ in now.why)
    edited_at = now.edited_at
    if now.edited and not written and before is not None and before.edited_at:
        edited_at = before.edited_at
    return replace(now, change=change_of(before, now), edited_at=edited_at)
