"""``NAME.ledger.csv``: the ledger as a table for spreadsheets (RFC 4180, UTF-8, comma).

The columns and their order are stable; new ones are added at the end. ``part_name`` comes from
inside the file: where it starts like a formula it gets a leading apostrophe, so that a spreadsheet
shows it and does not compute it. The JSON ledger has it unchanged.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from arranger.errors import one_line
from arranger.pitch import pitch_name
from arranger.report.account import account

if TYPE_CHECKING:
    from collections.abc import Iterator

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
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    writer.writerows(_rows(conversion))
    return text.getvalue().encode()


def _rows(conversion: Conversion) -> Iterator[tuple[object, ...]]:
    found = account(conversion)
    names = [_as_text(one_line(part.name)) for part in conversion.song.parts]
    for note, entry, seconds, bar, beat, told in zip(
        found.notes,
        found.entries,
        found.onset_seconds,
        found.bar,
        found.beat,
        found.explanation,
        strict=True,
    ):
        voice, step, steps = entry.spans[0] if entry.spans else (None, None, None)
        yield (
            note.id,
            note.track,
            note.part + 1,
            names[note.part],
            note.channel,
            bar,
            beat,
            note.onset,
            note.duration,
            seconds,
            note.pitch,
            "" if note.drum else _NAMES[note.pitch],
            note.velocity,
            "yes" if note.drum else "no",
            entry.outcome,
            " ".join(entry.reasons),
            voice or "",
            step,
            steps,
            entry.pitch_out,
            entry.sound,
            told,
        )


def _as_text(name: str) -> str:
    return f"'{name}" if name[:1] in {"=", "+", "-", "@", "\t"} else name
