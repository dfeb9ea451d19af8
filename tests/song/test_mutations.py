"""Thousands of damaged files: read or refused in one line, and what is read keeps the laws."""

from __future__ import annotations

import itertools
from collections import Counter
from pathlib import Path
from random import Random

from arranger.errors import ArrangerError
from arranger.song import Song, read_song_bytes
from tests.published.test_midi_spec import FORMAT_0, FORMAT_1
from tests.song.mutations import mutations
from tests.song.test_mend import CASES

DEMOS = Path(__file__).parents[2] / "demo_songs"
# Any of these in a message would be a Python error let through as text.
SIGNS_OF_A_DEFECT = ("Error", "Traceback", "object at 0x", "NoneType")


def seeds() -> list[bytes]:
    cases = [case.values[0] for case in CASES]
    demos = [(DEMOS / f"{name}.mid").read_bytes()[:1500] for name in ("ferry_waltz", "tide_clock")]
    return [*cases, *demos, FORMAT_0, FORMAT_1]


def check_laws(song: Song) -> None:
    """Check what later stages rely on."""
    assert [note.id for note in song.notes] == list(range(len(song.notes)))
    assert all(
        a.onset <= b.onset and (a.onset, a.track) <= (b.onset, b.track)
        for a, b in itertools.pairwise(song.notes)
    )
    for note in song.notes:
        assert note.onset >= 0
        assert note.duration >= 0
        assert 0 <= note.pitch <= 127
        assert 1 <= note.velocity <= 127
        assert 0 <= note.loudness <= 1
        part = song.parts[note.part]
        assert (part.track, part.channel, part.drum) == (note.track, note.channel, note.drum)
    assert Counter(note.part for note in song.notes) == {p.index: p.notes for p in song.parts}
    assert [part.index for part in song.parts] == list(range(len(song.parts)))
    assert all(part.name for part in song.parts)
    assert song.ticks_per_beat > 0
    for changes in (song.tempos, song.metres):
        ticks = [change.tick for change in changes]
        assert ticks[0] == 0
        assert all(a < b for a, b in itertools.pairwise(ticks))
    assert all(change.microseconds_per_beat > 0 for change in song.tempos)
    assert all(m.numerator > 0 and m.denominator in {1, 2, 4, 8, 16, 32, 64} for m in song.metres)


def test_damaged_files_are_read_or_refused_in_one_line() -> None:
    outcomes: Counter[str] = Counter()
    refusals: list[str] = []
    for data in mutations(seeds(), Random(20), 3000):
        try:
            song = read_song_bytes(data, "damaged.mid")
        except ArrangerError as error:
            refusals.append(str(error))
        else:
            outcomes["mended" if song.repairs else "read"] += 1
            check_laws(song)
    # Most injuries leave music: the run is no run if nearly all files are refused.
    assert outcomes["mended"] > 1500
    assert len(refusals) < 900
    assert not [line for line in refusals if "\n" in line]
    assert not [line for line in refusals if any(sign in line for sign in SIGNS_OF_A_DEFECT)]


def test_pure_noise_is_refused_or_read_but_never_breaks() -> None:
    random = Random(4)
    for _ in range(300):
        body = random.randbytes(random.randrange(400))
        try:
            song = read_song_bytes(FORMAT_0[:14] + b"MTrk\0\0\1\0" + body, "noise.mid")
        except ArrangerError:
            continue
        check_laws(song)
