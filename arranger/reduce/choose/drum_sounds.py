"""Which sound stands in for which percussion key: the engine's choice, and the settings' before it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from arranger.errors import UsageError, did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from arranger.engine.model import DrumSound, Engine
    from arranger.settings import ReduceSettings

LIGHT_WEIGHT = 0.5
"""Least weight of a sound that is played where drums shall be light."""


def sounds_by_key(
    engine: Engine, keys: Iterable[int], settings: ReduceSettings
) -> dict[int, DrumSound | None]:
    """Return the sound that each percussion key has; None if it has none or is switched off.

    ``engine``: its sounds, and which keys they stand in for.
    ``keys``: General MIDI percussion keys.
    ``settings``: whose ``drum_sounds`` go before what the engine says.

    Raises `UsageError` if the settings name a sound that the engine doesn't have, or its gap,
    whether a key asks for it or not.
    """
    gap = engine.gap
    named = {drum.name: drum for drum in engine.drums if drum is not gap}
    asked: dict[int, DrumSound | None] = {}
    for key, name in settings.drum_sounds:
        if name is not None and name not in named:
            raise UsageError(
                f"{engine.name} has no drum sound {name!r}",
                remedy=did_you_mean(name, named, f"choose from {', '.join((*named, 'off'))}"),
            )
        asked[key] = None if name is None else named[name]
    return {key: asked[key] if key in asked else engine.drum_for(key) for key in keys}


def switched_off(settings: ReduceSettings) -> frozenset[int]:
    """Return the percussion keys whose notes the settings leave out."""
    return frozenset(key for key, name in settings.drum_sounds if name is None)


def left_out(sounds: Mapping[int, DrumSound | None], settings: ReduceSettings) -> frozenset[int]:
    """Return the percussion keys, of those with a sound, whose notes are not asked for.

    That is those switched off, and where drums shall be light or none, those too light.
    """
    if settings.drums == "none":
        return frozenset(sounds)
    least = LIGHT_WEIGHT if settings.drums == "light" else 0.0
    light = {key for key, sound in sounds.items() if sound is not None and sound.weight < least}
    return switched_off(settings) | light
