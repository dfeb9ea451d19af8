"""The stages in a row: what reaches the sheet besides notes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.conversion import convert
from arranger.conversion.pipeline import written_tempo
from arranger.engine import load_engine
from arranger.options import build_settings
from arranger.report import summary
from arranger.settings import STEP_CHOICES, Settings
from arranger.sheet import format_sheet, parse
from arranger.sheet.played import step_length
from arranger.song import read_song

if TYPE_CHECKING:
    from arranger.engine.model import Engine


def sung(path: Path) -> Path:
    """Write four bars, a word a crotchet."""
    track = mido.MidiTrack()
    for beat, word in enumerate("one two three four".split() * 4):  # noqa: SIM905 - reads better
        track.append(mido.MetaMessage("lyrics", text=f"{word}{beat // 4 + 1} "))
        track.append(mido.Message("note_on", note=60 + beat % 5, velocity=80))
        track.append(mido.Message("note_off", note=60 + beat % 5, time=480))
    midi = mido.MidiFile(ticks_per_beat=480)
    midi.tracks.append(track)
    midi.save(path)
    return path


def words(path: Path, **settings: object) -> dict[int, str]:
    chosen = build_settings(settings)
    sheet = convert(read_song(path), load_engine("twin-phase"), chosen).sheet
    assert parse(format_sheet(sheet)) == sheet
    assert all(comment.bar >= 0 for comment in sheet.comments)
    return {sheet.bars[comment.bar].number: comment.text for comment in sheet.comments}


def test_words_stand_above_their_bars(tmp_path: Path) -> None:
    found = words(sung(tmp_path / "sung.mid"))
    assert found == {bar: f"words: one{bar} two{bar} three{bar} four{bar}" for bar in (1, 2, 3, 4)}


def test_a_passage_has_only_its_own_words(tmp_path: Path) -> None:
    found = words(sung(tmp_path / "sung.mid"), bars="2-3")
    assert found == {bar: f"words: one{bar} two{bar} three{bar} four{bar}" for bar in (2, 3)}


def test_words_stand_above_their_bars_when_the_clock_is_followed(tmp_path: Path) -> None:
    path = sung(tmp_path / "sung.mid")
    midi = mido.MidiFile(path)
    # Twice as slow from the second bar on.
    midi.tracks.append(mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000, time=1920)]))
    midi.type = 1
    midi.save(path)
    found = words(path, clock="clock")
    assert found == {bar: f"words: one{bar} two{bar} three{bar} four{bar}" for bar in (1, 2, 3, 4)}


DEMO = Path(__file__).parents[1] / "demo_songs" / "two_gulls.mid"
CONVERSION = convert(read_song(DEMO), load_engine("twin-phase"), Settings())
GRID, SHEET = CONVERSION.grid, CONVERSION.sheet


@settings(max_examples=100)
@given(
    st.sampled_from(["twin-phase", "twin-counter", "pc-alternate"]).map(load_engine),
    st.sampled_from(STEP_CHOICES),
    st.floats(20, 400) | st.floats(1e-4, 1e7),
)
def test_the_tempo_that_is_written_leads_to_the_step_length(
    engine: Engine, step: Fraction, bpm: float
) -> None:
    chosen = engine.nearest_step_length(float(step) * 60 / bpm)
    grid = replace(GRID, step_beats=step, asked_bpm=bpm, step_length=chosen)
    tempo = written_tempo(grid, engine)
    text = format_sheet(replace(SHEET, engine=engine.name, step_beats=step, tempo=tempo))
    assert step_length(parse(text), engine) == chosen
    if 20 <= bpm <= 400:
        assert tempo == pytest.approx(bpm, abs=0.0051)


def test_the_tempo_is_written_as_asked_for_or_as_played() -> None:
    engine = load_engine("twin-phase")
    step = engine.nearest_step_length(0.25)
    grid = replace(GRID, step_beats=Fraction(1, 2), step_length=step, asked_bpm=119.99996)
    assert written_tempo(grid, engine) == 120
    for bpm in (90.0, 0.0):  # an exact length was chosen otherwise
        assert written_tempo(replace(grid, asked_bpm=bpm), engine) == round(30 / step.seconds, 2)


def pedalled(path: Path, changes: bool) -> Path:
    """Write eight bars of tune and broken chords, whose pedal is changed with the bar or not."""
    tune, piano = mido.MidiTrack(), mido.MidiTrack([mido.MetaMessage("track_name", name="Piano")])
    for bar in range(8):
        if changes or bar == 0:
            piano.append(mido.Message("control_change", channel=1, control=64, value=0))
            piano.append(mido.Message("control_change", channel=1, control=64, value=127))
        for pitch in ((36, 52, 55, 60), (35, 50, 55, 62))[bar % 2]:
            tune.append(mido.Message("note_on", note=pitch + 24, velocity=100))
            tune.append(mido.Message("note_off", note=pitch + 24, time=480))
            piano.append(mido.Message("note_on", channel=1, note=pitch, velocity=70))
            piano.append(mido.Message("note_off", channel=1, note=pitch, time=240))
            piano.append(mido.MetaMessage("text", time=240))
    midi = mido.MidiFile(ticks_per_beat=480)
    midi.tracks.extend((tune, piano))
    midi.save(path)
    return path


def test_a_pedal_that_stays_down_makes_no_drone_and_is_told(tmp_path: Path) -> None:
    engine = load_engine("twin-phase")
    held, changed = (
        convert(read_song(pedalled(tmp_path / "song.mid", changes)), engine, build_settings({}))
        for changes in (False, True)
    )
    assert (held.sheet.voice1, held.sheet.voice2) == (changed.sheet.voice1, changed.sheet.voice2)
    assert held.reduction.ledger == changed.reduction.ledger
    told = "the pedal of 'Piano' stays down through many harmonies"
    assert any(remark.startswith(told) for remark in summary(held).remarks)
    assert not any(remark.startswith(told) for remark in summary(changed).remarks)
