"""Outcomes and reasons: the words of the ledger and one sentence template for each.

A template is filled with ``by`` (the notes that took the place, as "C5 (tune) and A2 (bass)"),
``pitch_out`` (the name of the pitch heard), ``moved`` ("12 ms late"), ``late`` ("35 ms") and ``steps``
("2 steps"); each uses only what it needs.
"""

from __future__ import annotations

OUTCOMES: dict[str, str] = {
    "kept": "sounds as written",
    "changed": "sounds, but moved, shortened, lengthened, folded or by turns",
    "merged": "its pitch is heard, as part of another note",
    "dropped": "not heard",
}

AFTER_DRUM = "it starts {late} late, right after {by}"
"""Also said of a note that a drum on its step lets start a little later."""

REASONS: dict[str, str] = {
    "moved-to-step": "it is moved to the nearest step, {moved}",
    "lengthened-to-step": "it lasts {steps}, since a tone lasts whole steps",
    "shortened-by-next-note": "it lasts {steps}, then gives way to {by}",
    "shortened-for-gap": "its last step is silent so that the next {pitch_out} is heard to start",
    "delayed-by-drum": AFTER_DRUM,
    "octave-folded": "it sounds as {pitch_out}, the octave that the pitch table has",
    "broken-chord": "it takes turns with the other notes of its chord, {steps} in all",
    "same-pitch-doubled": "the same pitch sounds already, from {by}",
    "octave-doubled": "it doubles {by} at the octave",
    "repeat-tied": "it repeats {by}, which sounds up to its start, so the two are one long tone",
    "voices-full": "both voices were busy with {by}",
    "no-turn": "its chord is broken, and the turns went to {by}",
    "stands-alone": "a voice was free, but it would stand alone there, between other lines",
    "same-step": "{by} on the same step took its place",
    "outside-pitch-table": "no octave of it is in the pitch table",
    "under-drum": "{by} silences both voices on its only step",
    "no-drum-sound": "the engine has no sound for this drum",
    "drum-thinned": "left out so that {by} can be heard",
    "track-muted": "its track is muted",
    "silent": "it is too soft to be heard in the song",
    "beyond-limit": "it lies outside the passage that was converted",
    "by-hand": "by the hand that changed the bar",
}

CHANGED: dict[str, str] = {"voices-full": "it starts {moved}, when {by} gave way"}
"""Other words for a reason when the note is heard all the same."""

LATER: dict[str, str] = {
    "voices-full": "both voices were busy with {by} for a beat or more; later it fills in",
    "under-drum": "drums silence both voices for a beat or more, {by} first; later it fills in",
}
"""Other words for a reason when the start of the note is lost and it is heard much later."""

OTHER_OCTAVE = "it sounds as {pitch_out}"
"""Instead of ``octave-folded`` where the hand chose the octave."""

FOR_BYTES = "left out so that the song takes fewer bytes"
"""Instead of ``beyond-limit`` for a note inside the passage."""

DRUM_OFF = "drums like it are left out, as was asked"
"""Instead of ``track-muted`` for a note whose track isn't."""
