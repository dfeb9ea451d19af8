"""The drum sounds that a sheet can be played with: its engine's, and its own before them.

A sheet tells lengths in milliseconds, so that people can read them; the engine counts clock cycles,
and this project's own player whole passes of its loop. The nearest is taken.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from arranger.engine.model import DrumSound
from arranger.engine.player_check import player_part_faults
from arranger.engine.profile import DrumPart
from arranger.engine.profile_check import part_faults
from arranger.errors import SheetError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from arranger.engine.model import Engine
    from arranger.engine.profile import DrumKind
    from arranger.engine.profile_check import ProfileFault
    from arranger.sheet.model import Sheet, SheetSound


def sounds_of(sheet: Sheet, engine: Engine) -> Mapping[str, DrumSound]:
    """Return the drum sounds that a sheet's rows can name, by name: the engine's, then its own.

    A sound of the sheet that is called as one of the engine's stands in its place, percussion keys
    and weight included; any other has none.

    Raises `SheetError` if the engine can't play one that the sheet defines.
    """
    return sound_table(sheet.sounds, engine)


def sound_table(own: Sequence[SheetSound], engine: Engine) -> Mapping[str, DrumSound]:
    """Return the same of the sounds alone that a sheet defines; see `sounds_of`."""
    sounds = {drum.name: drum for drum in engine.drums}
    for sound in own:
        fault = sound_fault(sound, engine)
        if fault is not None:
            raise SheetError(
                f"{engine.name} can't play it: {fault.what}",
                place=f"drum {sound.name}",
                remedy=fault.remedy,
            )
        known = sounds.get(sound.name, DrumSound(sound.name, (), 0.0, ()))
        sounds[sound.name] = known._replace(parts=_parts(sound, engine))
    return sounds


def gaps_of(sounds: Mapping[str, DrumSound]) -> frozenset[str]:
    """Return the names of those that are nothing but a rest, which parts repeated tones."""
    return frozenset(
        name for name, sound in sounds.items() if all(part.kind == "rest" for part in sound.parts)
    )


def sound_fault(sound: SheetSound, engine: Engine) -> ProfileFault | None:
    """Return the first thing that an engine can't play of a sheet's sound, or None."""
    profile = engine.profile
    for part in _parts(sound, engine):
        for fault in part_faults(profile, part, ()):
            return fault
        for fault in player_part_faults(part, ()) if profile.player else ():
            return fault
    return None


def _parts(sound: SheetSound, engine: Engine) -> tuple[DrumPart, ...]:
    unit = engine.profile.loop.cycles if engine.profile.player else 1
    return tuple(
        DrumPart(
            cast("DrumKind", kind),
            settings,
            length and max(round(length * engine.clock_hz / 1e6 / unit), 1) * unit,
        )
        for kind, settings, length in sound.parts
    )
