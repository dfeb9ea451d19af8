"""One sentence a note, from the templates of `arranger.reduce.reasons`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.pitch import pitch_name
from arranger.reduce.reasons import REASONS

if TYPE_CHECKING:
    from arranger.pipeline import Conversion
    from arranger.reduce.ledger import Entry


def explanations(conversion: Conversion) -> list[str]:
    """Return one sentence a note, in order."""
    return [_sentence(conversion, entry) for entry in conversion.reduction.ledger.entries]


def _sentence(conversion: Conversion, entry: Entry) -> str:
    song = conversion.song
    note = song.notes[entry.note]
    head = f"{pitch_name(note.pitch)} of '{song.parts[note.part].name}': {entry.outcome}"
    if not entry.reasons:
        return head
    by = " and ".join(pitch_name(song.notes[other].pitch) for other in entry.by) or "other notes"
    told = REASONS[entry.reasons[0]].format(
        by=by,
        pitch_out="" if entry.pitch_out is None else pitch_name(entry.pitch_out),
        moved="off the step",
        steps="",
        voice="",
        sound=entry.sound,
        limit="",
    )
    return f"{head}, {told}"
