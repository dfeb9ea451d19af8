"""``NAME.ledger.csv``: the ledger as a table for spreadsheets (RFC 4180, UTF-8, comma).

The columns and their order are stable; new ones are added at the end. ``part_name`` comes from
inside the file: where it starts like a formula it gets a leading apostrophe, so that a spreadsheet
shows it and does not compute it. The JSON ledger has it unchanged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.errors import one_line
from arranger.pitch import pitch_name
from arranger.report.account import account
from arranger.report.columns import text_columns

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.pipeline import Conversion

COLUMNS = (
    "id",
    "track",
    "part",
    "part_name",
    "channel",
    "bar",
    "beat",
    "onset_tick",
    "duration_tick",
    "onset_seconds",
    "pitch",
    "pitch_name",
    "velocity",
    "drum",
    "outcome",
    "reasons",
    "voice",
    "step",
    "steps",
    "pitch_out",
    "sound",
    "explanation",
)

_NAMES = [pitch_name(pitch) for pitch in range(128)]


def ledger_csv(conversion: Conversion) -> bytes:
    """Return the ledger as CSV; several reasons are separated by a space."""
    columns = {**text_columns(conversion), **_own_columns(conversion)}
    rows = map(",".join, zip(*(columns[name] for name in COLUMNS), strict=True))
    return "\r\n".join([",".join(COLUMNS), *rows, ""]).encode("utf-8", "backslashreplace")


def _own_columns(conversion: Conversion) -> dict[str, list[str]]:
    """Return the columns that are written otherwise than in JSON."""
    found = account(conversion)
    note, entry = found.note, found.entry
    texts = text_columns(conversion)
    names = [quoted(as_text(one_line(part.name))) for part in conversion.song.parts]
    reasons = {each: " ".join(each) for each in set(entry["reasons"])}
    return {
        "part_name": [names[part] for part in note["part"]],
        "pitch_name": [
            "" if drum else _NAMES[pitch]
            for pitch, drum in zip(note["pitch"], note["drum"], strict=True)
        ],
        "drum": ["yes" if drum else "no" for drum in note["drum"]],
        "outcome": list(entry["outcome"]),
        "reasons": [reasons[each] for each in entry["reasons"]],
        "voice": _or_empty(texts["voice"]),
        "step": _or_empty(texts["step"]),
        "steps": _or_empty(texts["steps"]),
        "pitch_out": _or_empty(texts["pitch_out"]),
        "sound": [each or "" for each in entry["sound"]],
        "explanation": [quoted(told) for told in found.explanation],
    }


def _or_empty(texts: Sequence[str]) -> list[str]:
    """Return numbers as text with nothing where JSON has null."""
    return ["" if text == "null" else text for text in texts]


def quoted(text: str) -> str:
    """Return a text as one field."""
    return '"' + text.replace('"', '""') + '"'


def as_text(name: str) -> str:
    """Return a name that no spreadsheet takes for a formula."""
    return f"'{name}" if name[:1] in {"=", "+", "-", "@", "\t"} else name
