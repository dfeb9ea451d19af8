"""The record of a converted song: its figures, by the same measure as its report."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from arranger.report.heard.losses import beats_heard, heard_along, song_heard, song_lost
from arranger.report.summaries.summary import piece_bytes
from arranger.sheet.record.digest import is_edited
from arranger.songbook.known.doubts import doubts_of
from arranger.songbook.known.song_record import SongRecord, notes_digest

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.conversion import Conversion
    from arranger.engine.model import Engine

STRIP_COLUMNS = 32
"""Columns of a song's small strips; songs of fewer bars have one a bar."""
LEVELS = 9
"""Steps by which strips tell how much is heard; the last means all of it."""
NOTHING_ASKED = "-"


def done_record(
    relative: str,
    place: str,
    conversion: Conversion,
    outputs: tuple[str, ...],
    edited_at: str = "",
    state: str = "done",
) -> SongRecord:
    """Return the record of a converted song; ``edited_at`` is told where the sheet holds edits.

    ``state`` is another for a sheet that was left alone, whose account this is as it stands.
    """
    song, reduction = conversion.song, conversion.reduction
    columns = song.columns
    outcomes = reduction.ledger.outcomes()
    names = {role.role: song.parts[role.part].name for role in reversed(reduction.roles)}
    edited = state != "done" or is_edited(conversion.sheet)
    return SongRecord(
        relative=relative,
        place=place,
        state=state,
        edited=edited,
        edited_at=edited_at if edited else "",
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
            song.ticks_per_beat, columns.onset, columns.duration, columns.pitch, columns.drum
        ),
        outputs=outputs,
        heard=song_heard(conversion),
        lost=song_lost(beats_heard(conversion)),
        strips=_strips(conversion),
        seconds=round(conversion.grid.steps * conversion.grid.step_length.seconds, 3),
        song_bytes=piece_bytes(conversion),
        bytes_limit=bytes_limit(conversion.engine, conversion.settings.reduce.max_bytes),
        doubts=doubts_of(conversion),
    )


def bytes_limit(engine: Engine, asked: int | None) -> int:
    """Return how many bytes a song may take, without its player."""
    beside_player = engine.memory_bytes - engine.code_bytes
    return beside_player if asked is None else min(asked, beside_player)


def strips(shares: Sequence[Sequence[int | None]]) -> tuple[str, ...]:
    """Return the strips of a song: a text a line, a character a column.

    Parameters
    ----------
    shares
        For each column how much of each line is heard, 0 to 100; None where it asks nothing.

    Returns
    -------
    strips
        A digit a column, 0 to `LEVELS`, or `NOTHING_ASKED`. A line that the song lacks has no text.
    """
    found = []
    for line in zip(*shares, strict=True):
        asked = any(share is not None for share in line)
        found.append("".join(map(_level, line)) if asked else "")
    return tuple(found)


def along(bars: Sequence[Sequence[int | None]]) -> list[list[int | None]]:
    """Return what is heard of a song's bars as that of at most `STRIP_COLUMNS` columns: the mean."""
    columns = min(STRIP_COLUMNS, len(bars))
    edges = [place * len(bars) // columns for place in range(columns + 1)] if columns else []
    return [
        [_mean(line) for line in zip(*bars[start:end], strict=True)]
        for start, end in pairwise(edges)
    ]


def _mean(shares: Sequence[int | None]) -> int | None:
    asked = [share for share in shares if share is not None]
    return sum(asked) // len(asked) if asked else None


def _level(share: int | None) -> str:
    return NOTHING_ASKED if share is None else str(share * LEVELS // 100)


def _strips(conversion: Conversion) -> tuple[str, ...]:
    found, bars = beats_heard(conversion), len(conversion.grid.bars)
    columns = min(STRIP_COLUMNS, bars)
    beats = len(found.beats.bar)
    return strips(heard_along(found, np.arange(beats) * columns // max(beats, 1), columns))
