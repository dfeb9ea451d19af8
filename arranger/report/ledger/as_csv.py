"""``NAME.ledger.csv``: the ledger as a table for spreadsheets (RFC 4180, UTF-8, comma).

The columns and their order are stable; new ones are added at the end. ``part_name`` comes from
inside the file: where it starts like a formula it gets a leading apostrophe, so that a spreadsheet
shows it and does not compute it. The JSON ledger has it unchanged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.errors import one_line
from arranger.pitch import pitch_name
from arranger.report.account_columns import account_of, sentences_of
from arranger.report.column_json import rows, stretches
from arranger.report.heard.problems import ranking

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from arranger.conversion import Conversion

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
        pieces: list[str | Sequence[str]] = []
        for name in COLUMNS:
            pieces += [columns[name], ","]
        table = rows([*pieces[:-1], "\r\n"], len(notes))
        yield table.encode("utf-8", "backslashreplace")


def _own_columns(
    conversion: Conversion, notes: range, texts: Mapping[str, Sequence[str]]
) -> dict[str, list[str]]:
    """Return the columns that are written otherwise than in JSON."""
    these = slice(notes.start, notes.stop)
    asked = conversion.song.columns
    keys = zip(asked.pitch[these].tolist(), asked.drum[these].tolist(), strict=True)
    drums = asked.drum[these].tolist()
    entry = conversion.reduction.ledger.columns
    names = [csv_field(unformulated(one_line(part.name))) for part in conversion.song.parts]
    reasons = {each: " ".join(each) for each in {*entry.reasons[these]}}
    return {
        "part_name": [names[part] for part in asked.part[these].tolist()],
        "pitch_name": ["" if drum else _NAMES[pitch] for pitch, drum in keys],
        "drum": ["yes" if drum else "no" for drum in drums],
        "outcome": [*entry.outcome[these]],
        "reasons": [reasons[each] for each in entry.reasons[these]],
        "voice": _or_empty(texts["voice"]),
        "step": _or_empty(texts["step"]),
        "steps": _or_empty(texts["steps"]),
        "pitch_out": _or_empty(texts["pitch_out"]),
        "sound": [sound or "" for sound in entry.sound[these]],
        "explanation": [csv_field(each) for each in sentences_of(conversion, notes)],
        "bar_rank": _ranks(conversion, these),
    }


def _ranks(conversion: Conversion, these: slice) -> list[str]:
    """Return the place of each note's bar in the order of mending; empty: nothing to mend there."""
    ranks = {
        bar.place: str(rank)
        for rank, problem in enumerate(ranking(conversion), 1)
        for bar in problem.bars
    }
    return [ranks.get(place, "") for place in account_of(conversion).bar_index[these].tolist()]


def _or_empty(texts: Sequence[str]) -> list[str]:
    """Return numbers as text with nothing where JSON has null."""
    return ["" if text == "null" else text for text in texts]


def csv_field(text: str) -> str:
    """Return a text as one field."""
    return '"' + text.replace('"', '""') + '"'


def unformulated(name: str) -> str:
    """Return a name that no spreadsheet takes for a formula."""
    return f"'{name}" if name[:1] in {"=", "+", "-", "@", "\t"} else name
