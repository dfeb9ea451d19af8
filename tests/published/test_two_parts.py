"""Two-part music comes through with nothing dropped.

Source of the music: two-part works of the fourteenth century in the music21 corpus ("trecento",
after *Polyphonic Music of the Fourteenth Century*, volumes 6 and 12).
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING

import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.rows import tones
from arranger.settings import Settings
from arranger.song import read_song
from tests.benchmarks.corpus import midi_of

if TYPE_CHECKING:
    from pathlib import Path

WORKS = (
    "PMFC_06-Jacopo-03b-Di_Novo",
    "PMFC_06_Piero_2-Chavalcando",
    "PMFC_12_20-Agnus Dei Gherardello",
)


@pytest.mark.parametrize("work", WORKS)
def test_two_parts_lose_no_note(work: str, tmp_path: Path) -> None:
    from music21 import corpus

    found = [path for path in corpus.getComposer("trecento") if path.stem == work]
    assert len(found) == 1
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = corpus.parse(found[0])
    assert len(score.parts) == 2
    path = tmp_path / "work.mid"
    midi_of(score).save(path)
    song = read_song(path)
    conversion = convert(song, load_engine("twin-phase"), Settings())
    reduction, grid = conversion.reduction, conversion.grid
    assert reduction.ledger.outcomes()["dropped"] == 0

    voices = list(zip(tones(reduction.voice1), tones(reduction.voice2), strict=True))
    for note in song.notes:
        # every note is heard from its first step, moved into the table where it has to be
        pitch = reduction.ledger.entries[note.id].pitch_out
        assert pitch is not None
        assert pitch in voices[int(grid.onset_steps[note.id])]
        assert pitch == note.pitch
