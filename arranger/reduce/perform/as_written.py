"""The texture "as-written": two parts named "voice 1" and "voice 2" are the voices, as they are.

Nothing is weighed: no gaps are made, a tone stands where it is written even under a drum, and of
drums only those that share a step with a heavier one are left out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from arranger.errors import SettingsError
from arranger.reduce.perform.performance import Held, perform

if TYPE_CHECKING:
    from arranger.reduce.choose.prepare import Prepared
    from arranger.reduce.perform.performance import Performance
    from arranger.song.model import Song

NAMES = {"voice 1": 1, "voice 2": 2}


def perform_as_written(song: Song, prepared: Prepared) -> Performance:
    """Return what sounds when the two parts are played as they are.

    A note ends where the next of its part starts; of notes on one step the highest stays.

    Raises `SettingsError` if the song has no part named "voice 1" or "voice 2".
    """
    voices = {p.index: NAMES.get(p.name.strip().lower(), 0) for p in song.parts if not p.drum}
    if not any(voices.values()):
        raise SettingsError(
            "no part is named 'voice 1' or 'voice 2', which the texture as-written plays",
            remedy="name two one-line parts so, or choose another texture",
        )
    tones = prepared.problem.tones
    voice_of = np.array([voices[int(part)] for part in tones.part], dtype=np.int64)
    found = []
    for voice in (1, 2):
        mine = np.flatnonzero(voice_of == voice)
        mine = mine[np.lexsort((tones.pitch[mine], tones.onset[mine]))]
        start = tones.onset[mine]
        after = np.append(start[1:], prepared.problem.steps)[: len(start)]
        columns = Held(np.full(len(mine), voice), mine, start, np.minimum(tones.end[mine], after))
        found.append([column[start < after] for column in columns])
    held = Held(*map(np.concatenate, zip(*found, strict=True)))
    return perform(prepared.problem, held, prepared.hits, verbatim=True)
