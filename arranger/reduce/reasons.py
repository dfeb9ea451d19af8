"""Outcomes and reasons: the words of the ledger and one sentence template for each.

A template is filled with ``by`` (the notes that took the place, as "C5 (tune) and A2 (bass)"),
``pitch_out`` (the name of the pitch heard), ``moved`` ("12 ms late"), ``steps``, ``voice``,
``sound`` and ``limit``; each uses only what it needs.
"""

from __future__ import annotations

OUTCOMES: dict[str, str] = {
    "kept": "sounds as written",
    "changed": "sounds, but moved, shortened, lengthened or folded",
    "merged": "its pitch is heard, as part of another note",
    "dropped": "not heard",
}

REASONS: dict[str, str] = {
    "moved-to-step": "it starts {moved}, on the nearest step",
    "lengthened-to-step": "it lasts one whole step, the shortest note there is",
    "shortened-by-next-note": "its voice was needed for {by}",
    "shortened-for-gap": "its last step is silent so that the next {pitch_out} is heard to start",
    "delayed-by-drum": "it starts after {by}, which takes both voices for a step",
    "octave-folded": "it sounds as {pitch_out}, in the octave that the pitch table has",
    "broken-chord": "it takes turns with the other notes of its chord",
    "same-pitch-doubled": "the same pitch sounds already, from {by}",
    "octave-doubled": "it doubles {by} at the octave",
    "repeat-tied": "it repeats the pitch before it with no step free between, so it is one long tone",
    "voices-full": "both voices were busy with {by}",
    "same-step": "{by} starts on the same step in its place",
    "outside-pitch-table": "no octave of it is in the pitch table",
    "under-drum": "{by} takes both voices on its only step",
    "no-drum-sound": "the engine has no sound for this drum",
    "drum-thinned": "left out so that {by} can be heard",
    "track-muted": "its track is muted",
    "silent": "it is too soft to be heard in the song",
    "beyond-limit": "it lies outside the passage that was converted",
}
