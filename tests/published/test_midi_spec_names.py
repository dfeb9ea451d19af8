"""General MIDI Level 1 names against pretty_midi's tables (PyPI: pretty-midi, 0.2.11).

Departures, each by the printed standard (from memory): program 8 is "Clavi" (there "Clavinet"), 55
"Synth Voice" ("Synth Choir"), 84 "Lead 4 (chiff)" with brackets, 110 "Bag pipe" in two words;
hi-hats are hyphenated.
"""

from __future__ import annotations

import pretty_midi

from arranger.song.general_midi import PERCUSSION_NAMES, PROGRAM_NAMES, percussion_name

DEPARTURES = {7: "clavinet", 54: "synth choir", 83: "lead 4 chiff", 109: "bagpipe"}


def test_all_128_programs() -> None:
    theirs = [name.lower() for name in pretty_midi.constants.INSTRUMENT_MAP]
    ours = [name.lower() for name in PROGRAM_NAMES]
    differing = {number: theirs[number] for number in range(128) if theirs[number] != ours[number]}
    assert differing == DEPARTURES


def test_all_47_percussion_keys() -> None:
    assert list(PERCUSSION_NAMES) == list(range(35, 82))
    for key, name in PERCUSSION_NAMES.items():
        theirs = pretty_midi.note_number_to_drum_name(key)
        assert name.lower().replace("-", " ") == theirs.lower().replace("-", " ")
    assert percussion_name(34) == "key 34"
