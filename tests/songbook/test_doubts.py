"""What a conversion may have taken wrongly, told of songs that give cause."""

from __future__ import annotations

import random
from pathlib import Path
from typing import TYPE_CHECKING

import mido
import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.options import build_settings
from arranger.song import read_song
from arranger.song.midi.held_pedals import STAYS_DOWN
from arranger.songbook.known.doubts import WORDS, doubts_of
from tests.benchmarks.human import play

if TYPE_CHECKING:
    from arranger.song.model import Song
    from arranger.songbook.known.doubts import Doubt

DEMO_SONGS = Path(__file__).parents[2] / "demo_songs"


def doubts(song: Path | Song, **asked: object) -> dict[str, str]:
    settings = build_settings(asked)
    read = read_song(song) if isinstance(song, Path) else song
    found: tuple[Doubt, ...] = doubts_of(convert(read, load_engine("twin-phase"), settings))
    assert list(dict(found)) == [word for word in WORDS if word in dict(found)]
    return dict(found)


def written(path: Path, *, metre: bool, pedal: bool = False) -> Path:
    """Write two parts that wander about in the same range, and a bass."""
    chance = random.Random(10)
    midi = mido.MidiFile(ticks_per_beat=96)
    for part, lowest in enumerate((67, 67, 40)):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=f"oar {part}")])
        if metre and not part:
            track.append(mido.MetaMessage("time_signature", numerator=3, denominator=4))
        if pedal:
            track.append(mido.Message("control_change", channel=part, control=64, value=127))
        for _ in range(48):
            pitch = lowest + chance.choice((0, 2, 4, 5, 7, 9))
            track.append(mido.Message("note_on", channel=part, note=pitch, velocity=80))
            track.append(mido.Message("note_off", channel=part, note=pitch, time=48))
        midi.tracks.append(track)
    midi.save(path)
    return path


def test_a_plain_song_gives_no_cause() -> None:
    assert doubts(DEMO_SONGS / "boat_parade.mid") == {}


def test_a_beat_by_ear_is_told_where_the_report_doubts_it() -> None:
    assert "beat" not in doubts(DEMO_SONGS / "tide_clock.mid"), "the beat is sure"
    played = play([[(n / 2, 0.5, 60 + n % 5) for n in range(120)]], 3, bpm=80)
    found = doubts(played.song)["beat"]
    assert "was found by ear, sure to" in found
    assert "--tempo" in found


def test_a_metre_that_nobody_says_is_told(tmp_path: Path) -> None:
    silent = written(tmp_path / "silent.mid", metre=False)
    assert "they are taken to be of 4/4" in doubts(silent)["metre"]
    assert "metre" not in doubts(silent, metre="3/4")
    assert "metre" not in doubts(written(tmp_path / "said.mid", metre=True))


def test_parts_that_are_alike_are_told_and_one_that_was_asked_for_is_not(tmp_path: Path) -> None:
    song = written(tmp_path / "song.mid", metre=True)
    told = doubts(song)["parts"]
    assert "was taken for the tune, but part" in told
    assert "nearly as likely" in told
    assert "the tune" not in doubts(song, tune="oar 1").get("parts", "")


@pytest.mark.parametrize("pedal", [False, True])
def test_a_pedal_that_stays_down_is_told(tmp_path: Path, *, pedal: bool) -> None:
    found = doubts(written(tmp_path / "song.mid", metre=True, pedal=pedal))
    assert (STAYS_DOWN in found.get("pedal", "")) is pedal
