"""General MIDI Level 1: names of programs and of percussion keys, one table each.

Source: the General MIDI Level 1 sound set and percussion map (MIDI Manufacturers Association,
1991), written down from memory; ``tests/published`` compares both with reference libraries.
Programs are 0..127 here (the standard prints 1..128); percussion keys are MIDI note numbers.
"""

from __future__ import annotations

from arranger.errors import UsageError, did_you_mean

PERCUSSION_CHANNEL = 9
"""Channel 10, counted from 0."""

_PROGRAMS = """
Acoustic Grand Piano, Bright Acoustic Piano, Electric Grand Piano, Honky-tonk Piano,
Electric Piano 1, Electric Piano 2, Harpsichord, Clavi,
Celesta, Glockenspiel, Music Box, Vibraphone, Marimba, Xylophone, Tubular Bells, Dulcimer,
Drawbar Organ, Percussive Organ, Rock Organ, Church Organ, Reed Organ, Accordion, Harmonica,
Tango Accordion,
Acoustic Guitar (nylon), Acoustic Guitar (steel), Electric Guitar (jazz),
Electric Guitar (clean), Electric Guitar (muted), Overdriven Guitar, Distortion Guitar,
Guitar Harmonics,
Acoustic Bass, Electric Bass (finger), Electric Bass (pick), Fretless Bass, Slap Bass 1,
Slap Bass 2, Synth Bass 1, Synth Bass 2,
Violin, Viola, Cello, Contrabass, Tremolo Strings, Pizzicato Strings, Orchestral Harp, Timpani,
String Ensemble 1, String Ensemble 2, Synth Strings 1, Synth Strings 2, Choir Aahs, Voice Oohs,
Synth Voice, Orchestra Hit,
Trumpet, Trombone, Tuba, Muted Trumpet, French Horn, Brass Section, Synth Brass 1, Synth Brass 2,
Soprano Sax, Alto Sax, Tenor Sax, Baritone Sax, Oboe, English Horn, Bassoon, Clarinet,
Piccolo, Flute, Recorder, Pan Flute, Blown Bottle, Shakuhachi, Whistle, Ocarina,
Lead 1 (square), Lead 2 (sawtooth), Lead 3 (calliope), Lead 4 (chiff), Lead 5 (charang),
Lead 6 (voice), Lead 7 (fifths), Lead 8 (bass + lead),
Pad 1 (new age), Pad 2 (warm), Pad 3 (polysynth), Pad 4 (choir), Pad 5 (bowed), Pad 6 (metallic),
Pad 7 (halo), Pad 8 (sweep),
FX 1 (rain), FX 2 (soundtrack), FX 3 (crystal), FX 4 (atmosphere), FX 5 (brightness),
FX 6 (goblins), FX 7 (echoes), FX 8 (sci-fi),
Sitar, Banjo, Shamisen, Koto, Kalimba, Bag pipe, Fiddle, Shanai,
Tinkle Bell, Agogo, Steel Drums, Woodblock, Taiko Drum, Melodic Tom, Synth Drum, Reverse Cymbal,
Guitar Fret Noise, Breath Noise, Seashore, Bird Tweet, Telephone Ring, Helicopter, Applause,
Gunshot
"""
"""Sixteen families of eight, each beginning a line."""

_PERCUSSION = """
Acoustic Bass Drum, Bass Drum 1, Side Stick, Acoustic Snare, Hand Clap, Electric Snare,
Low Floor Tom, Closed Hi-Hat, High Floor Tom, Pedal Hi-Hat, Low Tom, Open Hi-Hat, Low-Mid Tom,
Hi-Mid Tom, Crash Cymbal 1, High Tom, Ride Cymbal 1, Chinese Cymbal, Ride Bell, Tambourine,
Splash Cymbal, Cowbell, Crash Cymbal 2, Vibraslap, Ride Cymbal 2, Hi Bongo, Low Bongo,
Mute Hi Conga, Open Hi Conga, Low Conga, High Timbale, Low Timbale, High Agogo, Low Agogo,
Cabasa, Maracas, Short Whistle, Long Whistle, Short Guiro, Long Guiro, Claves, Hi Wood Block,
Low Wood Block, Mute Cuica, Open Cuica, Mute Triangle, Open Triangle
"""
"""From key 35 to 81."""


def _names(table: str) -> tuple[str, ...]:
    return tuple(" ".join(table.split()).split(", "))


PROGRAM_NAMES = _names(_PROGRAMS)
"""By program number 0..127."""

PERCUSSION_NAMES = dict(enumerate(_names(_PERCUSSION), 35))
"""By percussion key; keys outside 35..81 have no name in Level 1."""


def percussion_name(key: int) -> str:
    """Return the name of a percussion key, or "key N" where Level 1 has none.

    >>> percussion_name(38), percussion_name(20)
    ('Acoustic Snare', 'key 20')
    """
    return PERCUSSION_NAMES.get(key, f"key {key}")


def percussion_key(text: str) -> int:
    """Return the percussion key of a number or of a name of Level 1, in letters of any case.

    Raises
    ------
    UsageError
        If it is neither; offers the nearest name.

    >>> percussion_key("56"), percussion_key("cowbell"), percussion_key("closed hi-hat")
    (56, 56, 42)
    """
    if text.isascii() and text.isdigit() and len(text) < 4 and int(text) < 128:
        return int(text)
    keys = {name.lower(): key for key, name in PERCUSSION_NAMES.items()}
    if text.lower() not in keys:
        raise UsageError(
            f"{text!r} is no drum of General MIDI",
            remedy=did_you_mean(
                text.lower(), keys, "give a percussion key from 0 to 127, or a name like cowbell"
            ),
        )
    return keys[text.lower()]
