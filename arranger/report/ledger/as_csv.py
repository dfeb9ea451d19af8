"""``NAME.ledger.csv``: the ledger as a table for spreadsheets (RFC 4180, UTF-8, comma).

The columns and their order are stable; new ones are added at the end. ``part_name`` comes from
inside the file: where it starts like a formula it gets a leading apostrophe, so that a spreadsheet
shows it and does not compute it. The JSON ledger has it unchanged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import TextColumn, value_texts
from arranger.errors import one_line
from arranger.pitch import pitch_name
from arranger.reduce.reasons import OUTCOMES
from arranger.report.account_columns import account_of, sentence_columns
from arranger.report.column_json import stretches, table_text
from arranger.report.heard.problems import ranking

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from arranger.conversion import Conversion
    from arranger.report.column_json import Cell

COLUMNS = (
    "id", "track", "part", "part_name", "channel", "bar", "beat", "onset_tick", "duration_tick",
    "onset_seconds", "pitch", "pitch_name", "velocity", "drum", "outcome", "reasons", "voice",
    "step", "steps", "pitch_out", "sound", "explanation", "late_seconds", "song_bar", "bar_rank",
)  # fmt: skip

_NAMES = [pitch_name(pitch) for pitch in range(128)]


def ledger_csv(conversion: Conversion) -> bytes:
    """Return the ledger as CSV; several reasons are separated by a space."""
    return b"".join(ledger_csv_pieces(conversion))


def ledger_csv_pieces(conversion: Conversion) -> Iterator[bytes]:
    """Yield the ledger as CSV piece by piece, so that a long song's isn't in memory as a whole."""
    yield f"{','.join(COLUMNS)}\r\n".encode()
    for notes, texts in stretches(conversion):
        columns = {**texts, **_own_columns(conversion, notes, texts)}
        pieces: list[str | TextColumn] = []
        for name in COLUMNS:
            pieces += [*columns[name], ","]
        table = table_text([*pieces[:-1], "\r\n"], len(notes))
        yield table.encode("utf-8", "backslashreplace")


def _own_columns(
    conversion: Conversion, notes: range, texts: Mapping[str, Cell]
) -> dict[str, Cell]:
    """Return the columns that are written otherwise than in JSON."""
    these, found = slice(notes.start, notes.stop), account_of(conversion)
    asked, entry = conversion.song.columns, conversion.reduction.ledger.columns
    names = [csv_field(unformulated(one_line(part.name))) for part in conversion.song.parts]
    pitch = np.where(asked.drum, len(_NAMES), asked.pitch)[these]
    sentence = (column.changed(_doubled) for column in sentence_columns(conversion, notes))
    empty = {name: _or_empty(texts[name]) for name in ("voice", "step", "steps", "pitch_out")}
    return empty | {
        "part_name": (TextColumn(names, asked.part[these]),),
        "pitch_name": (TextColumn([*_NAMES, ""], pitch),),
        "drum": (TextColumn(["no", "yes"], asked.drum[these].astype(np.int64)),),
        "outcome": (TextColumn([*OUTCOMES], found.outcome[these]),),
        "reasons": (TextColumn([*map(" ".join, found.all_reasons)], found.reason[these]),),
        "sound": (value_texts(entry.sound[these], lambda sound: sound or ""),),
        "explanation": ('"', *sentence, '"'),
        "bar_rank": (_ranks(conversion, these),),
    }


def _ranks(conversion: Conversion, these: slice) -> TextColumn:
    """Return the place of each note's bar in the order of mending; empty: nothing to mend there."""
    ranks = [""] * (len(conversion.grid.bars) + 1)  # the last, -1, of notes outside
    for rank, problem in enumerate(ranking(conversion), 1):
        for bar in problem.bars:
            ranks[bar.place] = str(rank)
    return TextColumn(ranks, account_of(conversion).bar_index[these])


def _or_empty(cell: Cell) -> Cell:
    """Return numbers as text with nothing where JSON has null."""
    return tuple(
        piece if isinstance(piece, str) else piece.changed(lambda text: text.replace("null", ""))
        for piece in cell
    )


def csv_field(text: str) -> str:
    """Return a text as one field."""
    return f'"{_doubled(text)}"'


def _doubled(text: str) -> str:
    return text.replace('"', '""')


def unformulated(name: str) -> str:
    """Return a name that no spreadsheet takes for a formula."""
    return f"'{name}" if name[:1] in {"=", "+", "-", "@", "\t"} else name
