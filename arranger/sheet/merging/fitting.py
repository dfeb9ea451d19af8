"""What becomes of tones and drums by hand in another key or on another engine."""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING

from arranger.engine.tuning import folded
from arranger.pitch import pitch_name
from arranger.sheet.merging.pieces import Conflict
from arranger.sheet.merging.row_merge import ToneShift

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.sheet.merging.merged_bars import Sides

_HIGHEST = 127


class Fitting:
    """Fits edits to an engine, and notes what couldn't be fitted by octaves or by name."""

    def __init__(self, engine: Engine | None, sides: Sides) -> None:
        self._moves = sides.moves
        self._engine = engine if sides.folds else None
        same = sides.typed.engine == sides.now.engine
        self._drums = None if engine is None or same else list(engine.sounds)
        self._own = {sound.name for side in (sides.typed, sides.now) for sound in side.sounds}
        self._told: dict[str, Conflict] = {}
        self.move = ToneShift(self.pitch, sides.moves, sides.folds)

    @property
    def conflicts(self) -> list[Conflict]:
        """What was fitted by force."""
        return list(self._told.values())

    def pitch(self, pitch: int) -> int:
        """Return where a tone by hand goes: with the key, and by octaves into the engine's table."""
        moved = pitch + self._moves
        engine = self._engine
        if engine is None or moved in engine.pitches or not engine.pitches:
            return _within(moved)
        found = folded(engine, moved)
        if found is None:
            found = min(engine.pitches, key=lambda other: abs(other - moved))
            self._tell(pitch_name(_within(moved)), f"{pitch_name(found)} is the nearest")
        return found

    def drum(self, name: str) -> str | None:
        """Return by which sound a hit by hand is played; None: by none, the engine has no drums."""
        drums = self._drums
        if drums is None or name in drums or name in self._own:
            return name
        found = next((part for part in name.split("-") if part in drums), None)
        found = found or next(iter(get_close_matches(name, drums, 1, 0.0)), None)
        self._tell(name, f"{found} is played" if found else "it is left out")
        return found

    def _tell(self, what: str, instead: str) -> None:
        told = f"{what} by hand is not among what the engine plays: {instead}"
        self._told.setdefault(what, Conflict(None, told))


def _within(pitch: int) -> int:
    """Return a pitch moved by octaves to where pitches are."""
    while pitch < 0:
        pitch += 12
    while pitch > _HIGHEST:
        pitch -= 12
    return pitch
