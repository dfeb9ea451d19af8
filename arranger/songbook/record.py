"""What the songbook remembers of one song: small, plain, the same whatever worker made it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from arranger.sheet.record.digest import is_edited

if TYPE_CHECKING:
    from collections.abc import Iterable

    from arranger.conversion import Conversion

STRIP_VALUES = 48
"""Bars of a song are gathered into at most so many values for its small overview strip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
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
    strip: tuple[float, ...] = ()
    """Share of notes not heard, from start to end of the song, 0..1."""
    outputs: tuple[str, ...] = ()
    """Names of the files written, without folder."""
    edited: bool = False
    """Whether the sheet there holds edits by hand."""
    why: tuple[tuple[str, str], ...] = ()
    """Why this run converted it or left it: codes of `arranger.songbook.why` with their sentences."""

    def values(self) -> dict[str, Any]:
        """Return the fields by name."""
        # dataclasses.asdict copies deeply, which takes longer than all else in a large songbook.
        return {entry.name: getattr(self, entry.name) for entry in fields(self)}

    def to_json(self) -> str:
        """Return the record as one line of JSON."""
        return json.dumps(self.values(), sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Record:
        """Return the record that `to_json` wrote."""
        values: dict[str, Any] = json.loads(text)
        values["strip"] = tuple(values["strip"])
        values["outputs"] = tuple(values["outputs"])
        values["why"] = tuple((code, sentence) for code, sentence in values["why"])
        return cls(**values)


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


def done_record(
    relative: str, place: str, conversion: Conversion, outputs: tuple[str, ...]
) -> Record:
    """Return the record of a converted song."""
    song, reduction = conversion.song, conversion.reduction
    outcomes = reduction.ledger.outcomes()
    names = {role.role: song.parts[role.part].name for role in reversed(reduction.roles)}
    return Record(
        relative=relative,
        place=place,
        state="done",
        edited=is_edited(conversion.sheet),
        title=song.title,
        engine=conversion.engine.name,
        notes=len(song.notes),
        kept=outcomes["kept"],
        changed=outcomes["changed"],
        merged=outcomes["merged"],
        dropped=outcomes["dropped"],
        steps=conversion.grid.steps,
        bars=len(conversion.grid.bars),
        step=str(conversion.grid.step_beats),
        asked_bpm=round(conversion.grid.asked_bpm, 3),
        played_bpm=round(conversion.grid.played_bpm, 3),
        tune=names.get("tune", ""),
        bass=names.get("bass", ""),
        notes_digest=notes_digest(
            song.ticks_per_beat, ((n.onset, n.duration, n.pitch, n.drum) for n in song.notes)
        ),
        strip=_strip(conversion),
        outputs=outputs,
    )


def notes_digest(beat: int, notes: Iterable[tuple[int, int, int, bool]]) -> str:
    """Return a digest of what is played when.

    The order of tracks, velocities, names and the file's resolution don't matter.

    Parameters
    ----------
    beat
        Ticks a beat.
    notes
        Onset and length in ticks, pitch, and whether it is a drum.
    """
    played = sorted(
        (round(onset * 960 / beat), round(duration * 960 / beat), pitch, drum)
        for onset, duration, pitch, drum in notes
    )
    return hashlib.sha256(repr(played).encode()).hexdigest()


def _strip(conversion: Conversion) -> tuple[float, ...]:
    onsets = conversion.grid.onset_steps.tolist()
    return lost_shares(
        conversion.grid.steps,
        len(conversion.grid.bars),
        (
            (onsets[entry.note], entry.outcome == "dropped")
            for entry in conversion.reduction.ledger.entries
            if onsets[entry.note] >= 0
        ),
    )


def lost_shares(length: int, bars: int, notes: Iterable[tuple[int, bool]]) -> tuple[float, ...]:
    """Return the share of notes dropped from start to end of a song, at most a value a bar.

    Parameters
    ----------
    length
        Of the song, in any unit.
    bars
        How many bars it has.
    notes
        Where each starts, from 0, in that unit, and whether it was dropped.
    """
    wide = min(STRIP_VALUES, bars)
    asked, lost = [0] * wide, [0] * wide
    for start, dropped in notes:
        slot = min(start * wide // max(length, 1), wide - 1)
        asked[slot] += 1
        lost[slot] += dropped
    return tuple(
        round(missing / max(total, 1), 3) for missing, total in zip(lost, asked, strict=True)
    )
