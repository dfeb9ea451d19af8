"""The groove: what falls together, what is alike, what is left out."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import load_engine
from arranger.engine.model import DrumSound
from arranger.engine.profile import DrumPart
from arranger.grid.model import GridBar
from arranger.reduce import reduce
from arranger.reduce.choose.candidates import lay_out
from arranger.reduce.choose.costs import Costs
from arranger.reduce.choose.groove import Groove, Hits, _beats, accents, groove_of, harm_of
from arranger.settings import ReduceSettings
from tests.reduce.little_songs import Line, grid_of, song_of, taking, tones_of

if TYPE_CHECKING:
    from arranger.grid.model import Grid
    from arranger.song.model import Song

ENGINE = load_engine("twin-phase")
PLAIN = ReduceSettings()
TUNE = Line([(beat, 1, 72 + beat % 3) for beat in range(8)], "melody")
KEYS = {"kick": 36, "snare": 38, "hat": 42, "open": 46, "ride": 51, "crash": 49}


def barred(song: Song) -> Grid:
    """Return a grid of sixteenths in bars of four beats."""
    grid = grid_of(song)
    bars = [
        GridBar(n + 1, s, min(16, grid.steps - s), 4, 4)
        for n, s in enumerate(range(0, grid.steps, 16))
    ]
    return replace(grid, bars=tuple(bars))


def drums_of(*bars: dict[float, str], **options: object) -> list[str | None]:
    """Return the drum row of bars of four beats, given as sounds by beat (from 0)."""
    hits = [
        (4 * bar + beat, 0.25, KEYS[name])
        for bar, found in enumerate(bars)
        for beat, names in found.items()
        for name in names.split()
    ]
    song = song_of(TUNE, Line(sorted(hits), "drums", drum=True))
    engine = replace(ENGINE, **options)  # type: ignore[arg-type]
    return list(reduce(song, engine, barred(song), PLAIN).drums)


def test_a_row_has_a_name_and_a_note_where_a_drum_is() -> None:
    kick, hat = ENGINE.drums[0], ENGINE.drums[1]
    hits = Hits(np.array([1, 3]), np.array([7, 0]), (kick, hat))
    assert hits.rows(5) == ([None, kick.name, None, hat.name, None], [-1, 7, -1, 0, -1])
    more = hits.with_more({0: 9, 2: 8}, hat)
    assert more.rows(4)[1] == [9, 7, 8, 0]
    assert [sound.name for sound in more.sounds] == [hat.name, kick.name, hat.name, hat.name]


@pytest.mark.parametrize(
    ("together", "said"),
    [
        ("kick snare", "kick-snare"),
        ("kick hat", "kick-hat"),
        ("snare hat", "snare-hat"),
        ("kick open", "kick-hat-open"),
        ("snare crash", "snare-crash"),
        ("kick snare hat", "kick-snare"),
        ("ride hat", "ride-hat"),
        ("hat open", "hat-open"),
    ],
)
def test_what_falls_together_is_said_at_once(together: str, said: str) -> None:
    assert drums_of({1.0: together})[4] == said


def test_a_backbeat_is_a_snare_where_no_sound_says_both() -> None:
    plain = tuple(drum for drum in ENGINE.drums if not drum.joins)
    row = drums_of(dict.fromkeys((0.0, 1.0, 2.0, 3.0), "kick snare"), drums=plain)
    assert row[::4][:4] == ["kick", "snare", "snare", "snare"]


@settings(max_examples=30)
@given(
    st.lists(st.integers(0, 15), min_size=1, max_size=6, unique=True),
    st.lists(st.sampled_from(sorted(KEYS)), min_size=6, max_size=6),
    st.booleans(),
    st.integers(0, 3),
)
def test_alike_bars_stay_alike(
    places: list[int], names: list[str], takes_step: bool, other: int
) -> None:
    """Also where the tune differs, and where drums take the whole step."""
    bar = {place / 4: name for place, name in zip(places, names, strict=False)}
    fill = {other / 4: "snare", 3.75: "crash"}
    hits = [
        (4 * number + beat, 0.25, KEYS[name])
        for number, found in enumerate((bar, bar, fill, bar))
        for beat, name in found.items()
    ]
    tune = [(beat / 2, 0.5, 60 + beat * 7 % 24) for beat in range(11)] + [(15, 1, 72)]
    song = song_of(Line(tune, "melody"), Line(sorted(hits), "drums", drum=True))
    engine = replace(ENGINE, drum_takes_step=takes_step)
    row = reduce(song, engine, barred(song), PLAIN).drums
    played = [
        [None if name == "gap" else name for name in row[at : at + 16]]
        + [None] * (at + 16 - len(row))
        for at in (0, 16, 48)
    ]
    assert played[0] == played[1] == played[2]
    if not takes_step:
        assert [n for n in played[0] if n] == [
            {"open": "hat-open"}.get(name, name) for _, name in sorted(bar.items())
        ]


def test_light_drums_are_those_that_carry_the_metre() -> None:
    bar = {0.0: "kick hat", 0.5: "hat", 1.0: "snare hat", 1.5: "ride"}
    hits = [(b, 0.25, KEYS[n]) for b, names in bar.items() for n in names.split()]
    song = song_of(TUNE, Line(hits, "drums", drum=True))
    found = reduce(song, ENGINE, barred(song), replace(PLAIN, drums="light"))
    assert [name for name in found.drums if name] == ["kick", "snare"]
    reasons = {entry.reasons for entry in found.ledger.entries if song.notes[entry.note].drum}
    assert reasons == {(), ("track-muted",)}, "also of the hats that fall on a kick"


def test_a_hit_goes_where_it_hides_more_than_it_is_worth() -> None:
    """Two bars with one hat each: over both it hides more, whatever one bar alone would say."""
    held = DrumSound("hat", (42,), 0.2, (DrumPart("noise", (118,), 0),))
    assert (ENGINE.silences(held), ENGINE.silences(ENGINE.drums[0])) == (True, False)
    engine = replace(ENGINE, drums=(held,))
    hats = Line([(0.5, 0.25, 42), (4.5, 0.25, 42)], "drums", drum=True)
    quiet = song_of(Line([(5, 3, 72)], "melody"), hats)
    assert reduce(quiet, engine, barred(quiet), PLAIN).drums[2::16][:2] == ("hat", "hat")
    busy = Line([(beat / 4, 0.25, 60 + beat % 5) for beat in range(16)] + [(5, 3, 72)], "melody")
    both = song_of(busy, hats)
    assert set(reduce(both, engine, barred(both), PLAIN).drums) == {None}


def test_a_hit_hides_what_two_tones_last_under_it_and_starts_that_have_no_later_step() -> None:
    hat = ENGINE.drums[0]
    steps = np.array((0, 2, 3))
    groove = Groove(Hits(steps, steps, (hat,) * 3), np.ones(3), np.arange(3), frozenset())
    tones = tones_of((0, 4, 60, 0.0), (2, 3, 72, 0.0))  # each worth 1
    problem = lay_out(tones, steps=4, steps_per_beat=4.0)
    costs = Costs(attack=0.5, sustain=0.25, delay=0.125)
    # a step of a tone: 1/16 beat; a start that comes late: 1/16 beat; one that never comes: 1/2
    hidden = harm_of(groove, problem, taking(ENGINE), costs)
    assert hidden.tolist() == [0.125, 0.0625 + 0.5625, 0.0625]
    assert not harm_of(groove, problem, ENGINE, costs).any(), "tones go on in the same step"


def sounding(*bars: dict[int, str], weights: dict[str, float], keys: dict[str, int]) -> Groove:
    """Return the groove of bars of four beats, given as plain sounds by step."""
    drums = tuple(DrumSound(name, (keys[name],), weights[name], ()) for name in weights)
    hits = [
        (4 * bar + step / 4, 0.25, keys[name])
        for bar, found in enumerate(bars)
        for step, names in found.items()
        for name in names.split()
    ]
    song = song_of(TUNE, Line(sorted(hits), "drums", drum=True))
    engine, ids = replace(ENGINE, drums=drums), np.flatnonzero(song.columns.drum)
    sounds = {keys[drum.name]: drum for drum in drums}
    given = (song.columns, ids, sounds, engine, barred(song))
    return groove_of(*given, amount="full", costs=Costs())


@pytest.mark.parametrize("key", range(33, 43))
def test_a_snare_weighs_a_quarter_more_on_a_backbeat(key: int) -> None:
    """General MIDI: 38 and 40 are snares, 39 is the hand clap."""
    for other, wins in ((1.24, key in (38, 39, 40)), (1.26, False)):
        weights, keys = {"other": other, "this": 1.0}, {"other": 60, "this": key}
        row = sounding({0: "other this", 4: "other this"}, weights=weights, keys=keys).hits
        assert [sound.name for sound in row.sounds] == ["other", "this" if wins else "other"]


@pytest.mark.parametrize("key", range(33, 43))
def test_bars_are_alike_that_have_the_same_kicks_and_snares(key: int) -> None:
    """General MIDI: 35 and 36 are bass drums."""
    weights, keys = {"hat": 0.2, "this": 1.0}, {"hat": 60, "this": key}
    bars = {0: "this"}, {0: "this", 2: "hat"}
    fates = sounding(*bars, weights=weights, keys=keys).fates.tolist()
    assert (fates[0] == fates[1]) == (key in (35, 36, 38, 39, 40))
    assert fates[2] not in fates[:2]


def test_what_is_worth_as_much_as_it_costs_goes() -> None:
    hits = Hits(np.arange(4), np.arange(4), (ENGINE.drums[0],) * 4)
    groove = Groove(hits, np.array([0.5, 0.5, 0.5, 0.625]), np.array([0, 0, 1, 2]), frozenset())
    assert groove.chosen(np.array([0.25, 0.75, 0.25, 0.5])).steps.tolist() == [2, 3]
    assert groove.chosen(np.zeros(4), price=0.5).steps.tolist() == [3]


def test_every_hit_that_is_asked_for_is_named_and_worth_what_its_sounds_are() -> None:
    hits = [(0, 0.25, 36), (0, 0.25, 42), (0, 0.25, 46), (1, 0.25, 27)]
    song = song_of(TUNE, Line(hits, "drums", drum=True, velocity=127))
    notes = [note for note in song.notes if note.drum]
    grid = barred(song)
    sounds = {note.pitch: ENGINE.drum_for(note.pitch) for note in notes} | {27: None}
    given = (song.columns, np.flatnonzero(song.columns.drum), sounds, ENGINE, grid)
    groove = groove_of(*given, amount="full", costs=Costs())
    light = groove_of(*given, amount="light", costs=Costs())
    assert light.worth == pytest.approx(0.75 * groove.worth)
    assert groove.hits.steps.tolist() == [0]
    assert groove.hits.sounds[0].name == "kick-hat-open"
    weights = {drum.name: drum.weight for drum in ENGINE.drums}
    assert groove.worth == pytest.approx(0.9 * (weights["kick"] + weights["hat-open"]))
    assert groove.unplayable == {next(note.id for note in notes if note.pitch == 27)}
    assert groove.chosen(np.zeros(1), price=2.0).sounds == ()


def test_accents_follow_the_metre() -> None:
    found = accents(barred(song_of(TUNE)))[:17:2].tolist()
    assert found == [1, 0.4, 0.85, 0.4, 0.85, 0.4, 0.85, 0.4, 1]


@pytest.mark.parametrize(
    ("metre", "steps", "step", "beats"),
    [
        ((4, 4), 16, Fraction(1, 4), [0, 4, 8, 12]),
        ((6, 8), 12, Fraction(1, 4), [0, 6]),
        ((4, 4), 6, Fraction(2, 3), [0, 3]),
        ((4, 4), 5, Fraction(1, 2), [0, 2, 4]),
    ],
)
def test_beats_are_the_steps_on_which_one_falls_exactly(
    metre: tuple[int, int], steps: int, step: Fraction, beats: list[int]
) -> None:
    assert _beats(*metre, steps, step).tolist() == beats
