"""Which key a score is in: the song's where it names one that means something, else the found one."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import mido
import pytest

from arranger.conversion import Conversion, convert
from arranger.engine import load_engine
from arranger.settings import Settings
from arranger.sheet.bar_edits.structure import move_bars
from arranger.sheet.bar_edits.which_bars import Chosen
from arranger.sheet.merging.merge import merge
from arranger.sheet.score.key import MAJOR, MINOR, Key, choose_keys, find_key, find_keys
from arranger.sheet.score.measures import measures_of
from arranger.sheet.score.parts import keys_of
from arranger.song import read_song

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.sheet import Sheet

ENGINE = load_engine("twin-phase")


def song(folder: Path, keys: list[tuple[int, str]], pitches: list[int]) -> Path:
    """Write a song of quarter notes in 4/4 that names keys, each with the bar where it begins."""
    file = mido.MidiFile(ticks_per_beat=96)
    head, track = mido.MidiTrack(), mido.MidiTrack()
    tick = 0
    for bar, key in keys:
        head.append(mido.MetaMessage("key_signature", key=key, time=bar * 384 - tick))
        tick = bar * 384
    for pitch in pitches:
        track.append(mido.Message("note_on", note=pitch, velocity=90))
        track.append(mido.Message("note_off", note=pitch, time=96))
    file.tracks += [head, track]
    path = folder / "harbour.mid"
    file.save(path)
    return path


def converted(path: Path, transpose: int = 0) -> Conversion:
    settings = Settings()
    settings = replace(settings, reduce=replace(settings.reduce, transpose=transpose))
    return convert(read_song(path), ENGINE, settings)


def sharps(sheet: Sheet) -> list[tuple[int, bool]]:
    return [(key.sharps, key.minor) for key in keys_of(sheet, measures_of(sheet))]


TUNE = [67, 71, 74, 79, 76, 74, 71, 69, 67, 74, 71, 67, 69, 71, 69, 67]
"""G, A, B, D and E alone: in G major, and without a tone outside of C or D major."""


@pytest.mark.parametrize(
    ("named", "expected"),
    [
        ("Em", (1, True)),
        ("D", (2, False)),
        ("Ebm", (1, False)),  # the tones don't bear it out
        ("C", (1, False)),  # as programs write that know no key
        ("", (1, False)),
    ],
)
def test_the_songs_key_is_taken_where_it_means_something(
    tmp_path: Path, named: str, expected: tuple[int, bool]
) -> None:
    path = song(tmp_path, [(0, named)] if named else [], TUNE)
    assert sharps(converted(path).sheet) == [expected] * 4


def test_a_key_goes_with_its_bars_and_with_the_song(tmp_path: Path) -> None:
    tune = [60, 64, 67, 72, 71, 67, 62, 60]
    higher = [pitch + 2 for pitch in tune]
    path = song(tmp_path, [(0, "C"), (2, "D")], tune + higher)
    sheet = converted(path).sheet
    assert sharps(sheet) == [(0, False), (0, False), (2, False), (2, False)]
    moved = move_bars(sheet, Chosen(2, 4), 0).sheet
    assert sharps(moved) == [(2, False), (2, False), (0, False), (0, False)]
    again = merge(moved, converted(path, 1).sheet, ENGINE).sheet
    assert sharps(again) == [(-3, False), (-3, False), (-5, False), (-5, False)]
    edited = merge(replace(sheet, title="Quay"), converted(path, -12).sheet, ENGINE).sheet
    assert sharps(edited) == sharps(sheet)


@pytest.mark.parametrize("minor", [False, True])
def test_every_key_is_found_by_the_name_with_fewer_accidentals(minor: bool) -> None:
    """Five flats to six sharps."""
    for sharps in range(-5, 7):
        tonic = (7 * sharps - 3 * minor) % 12
        profile = MINOR if minor else MAJOR
        lengths = [profile[(pitch - tonic) % 12] for pitch in range(12)]
        assert find_key(lengths) == Key(sharps, minor)


SCALE = [(pitch, 9.0) for pitch in (60, 60, 62, 64, 64, 65, 67, 67, 69, 71)] * 50


@pytest.mark.parametrize(
    ("accidentals", "where", "spared"),
    [
        ([24], "end", False),  # a change costs 24 of them, and a quarter for the bar
        ([25], "end", True),
        ([25, 0, 0], "end", True),
        ([25, 0, 0, 0, 0], "end", False),
        ([32], "start", False),  # to begin in another key costs 8 more
        ([33], "start", True),
    ],
)
def test_the_key_changes_where_that_spares_more_than_it_costs(
    accidentals: list[int], where: str, spared: bool
) -> None:
    others = [[(61, 0.01)] * count for count in accidentals]
    bars = [*others, SCALE] if where == "start" else [SCALE, *others]
    found = find_keys(bars)
    home = found.pop(-1 if where == "start" else 0)
    assert home == Key(0, minor=False)
    assert [key != home for key in found] == [spared] * len(found)


def test_a_named_key_may_have_a_tenth_more_of_the_tones_outside() -> None:
    """F is in C major and not in G major, which has F sharp."""
    named = Key(1, minor=False)
    for astray, taken in ((1, True), (2, False)):
        bar = [*[(pitch, 9.0) for pitch in (60, 62, 64, 67, 60, 64, 67, 72, 69, 71)[astray:]]]
        bar += [(65, 1.0)] * astray
        assert find_keys([bar]) == [Key(0, minor=False)]
        assert (choose_keys([bar], [named]) == [named]) == taken
