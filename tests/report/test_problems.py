"""How what a bar lacks is told: how many notes, beats and tones by name, and when by number."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.reduce.ledger import columns_of
from arranger.report.heard.problems import _scene, _tones_told, ranking, root_of
from arranger.settings import ReduceSettings, Settings
from tests.reduce.little_songs import Line, song_of

if TYPE_CHECKING:
    from arranger.conversion import Conversion


@pytest.fixture(scope="module")
def whole() -> Conversion:
    """Return a bar of eighths, C D E F G A B C over one long C, with eight drum hits."""
    tune = [(at / 2, 0.5, pitch) for at, pitch in enumerate((72, 74, 76, 77, 79, 81, 83, 84))]
    keys = (36, 36, 38, 36, 42, 36, 36, 36)
    song = song_of(
        Line(tune, "tune"),
        Line([(0, 4, 48)], "bass"),
        Line([(at / 2, 0.25, key) for at, key in enumerate(keys)], "kit", drum=True),
    )
    chosen = ReduceSettings(texture="melody-bass", tune="tune", bass="bass")
    found = convert(song, load_engine("twin-phase"), Settings(reduce=chosen))
    entries = tuple(
        entry._replace(outcome="kept", reasons=()) for entry in found.reduction.ledger.entries
    )
    ledger = replace(found.reduction.ledger, columns=columns_of(entries))
    return replace(found, reduction=replace(found.reduction, ledger=ledger))


def without(whole: Conversion, part: int, gone: tuple[int, ...], **changes: object) -> str:
    """Return what is said where notes of a part are left out, or fare otherwise."""
    notes = [note.id for note in whole.song.notes if note.part == part]
    entries = list(whole.reduction.ledger.entries)
    fate = {"outcome": "dropped", "reasons": ("voices-full",), "spans": (), **changes}
    for at in gone:
        entries[notes[at]] = entries[notes[at]]._replace(**fate)
    ledger = replace(whole.reduction.ledger, columns=columns_of(tuple(entries)))
    poor = replace(whole, reduction=replace(whole.reduction, ledger=ledger))
    (problem,) = ranking(poor)
    return problem.sentence


def test_a_bar_that_lacks_nothing_is_none_to_mend(whole: Conversion) -> None:
    assert ranking(whole) == ()


@pytest.mark.parametrize(
    ("gone", "told"),
    [
        ((0,), "C5 on beat 1 is missing"),
        ((1, 3), "D5 on beat 1.5 and F5 on beat 2.5 are missing"),
        ((0, 1, 2), "C5 on beat 1, D5 on beat 1.5 and E5 on beat 2 are missing"),
        ((0, 1, 2, 3), "4 of the tune's 8 notes are missing, the first on beat 1"),
        ((3, 4, 5, 6, 7), "5 of the tune's 8 notes are missing, the first on beat 2.5"),
        (tuple(range(8)), "the tune's 8 notes are missing"),
    ],
)
def test_up_to_three_notes_of_a_line_are_named(
    whole: Conversion, gone: tuple[int, ...], told: str
) -> None:
    assert without(whole, 0, gone).removeprefix("the tune's ") == told.removeprefix("the tune's ")


def test_two_things_that_befell_a_line_are_told(whole: Conversion) -> None:
    notes = [note.id for note in whole.song.notes if note.part == 0]
    entries = list(whole.reduction.ledger.entries)
    entries[notes[0]] = entries[notes[0]]._replace(outcome="dropped", reasons=("voices-full",))
    entries[notes[1]] = entries[notes[1]]._replace(outcome="merged", reasons=("repeat-tied",))
    entries[notes[2]] = entries[notes[2]]._replace(
        outcome="changed", reasons=("moved-to-step",), late_seconds=-0.2
    )
    ledger = replace(whole.reduction.ledger, columns=columns_of(tuple(entries)))
    (problem,) = ranking(replace(whole, reduction=replace(whole.reduction, ledger=ledger)))
    assert problem.sentence == (
        "the tune's C5 on beat 1 is missing and the tune's D5 on beat 1.5 isn't struck anew"
    )
    assert without(whole, 0, (2,), **entries[notes[2]]._asdict() | {"note": notes[2]}) == (
        "the tune's E5 on beat 2 starts early"
    )


@pytest.mark.parametrize(
    ("gone", "told"),
    [
        ((0,), "the bass drum on beat 1 is missing"),
        ((0, 1, 3, 5), "the bass drum on beats 1, 1.5, 2.5 and 3.5 is missing"),
        ((0, 1, 3, 5, 6), "the bass drum (5 times) is missing"),
        ((0, 2), "the bass drum on beat 1 and the acoustic snare on beat 2 are missing"),
        ((0, 2, 4), "3 of 8 drum hits are missing"),
        (tuple(range(8)), "the drums are missing"),
    ],
)
def test_drums_that_are_missing(whole: Conversion, gone: tuple[int, ...], told: str) -> None:
    assert without(whole, 2, gone) == told


@pytest.mark.parametrize(
    ("lacking", "most", "told"),
    [
        ({("root", 2): [0]}, 2, "the pad's root on beat 1 is missing"),
        ({("root", 2): [0, 1, 2, 3]}, 2, "the pad's root is missing"),
        ({("root", 2): [0, 1, 3]}, 2, "the pad's root on beats 1, 2 and 4 is missing"),
        ({("ninth", 2): [0, 1], ("root", 2): [3]}, 1,
         "the pad's root on beat 4 and 1 more tone of the chords are missing"),
        ({("ninth", 2): [0, 1, 2, 3], ("root", 2): [3]}, 1,
         "the pad's ninth and 1 more tone of the chords are missing"),
        ({("root", 2): [3], ("ninth", 2): [0, 1, 2, 3]}, 1,
         "the pad's ninth and 1 more tone of the chords are missing"),
        ({("root", 2): [0], ("third", 2): [0], ("=1", 1): [1], ("=11", 1): [1]}, 1,
         "the pad's root and third on beat 1 and 2 more tones of the chords are missing"),
        ({("=0", 1): [1], ("=11", 1): [1]}, 2, "the low strings' C and B on beat 2 are missing"),
    ],
)  # fmt: skip
def test_what_makes_a_chord_is_told_first_and_on_the_most_beats(
    hand: Conversion, lacking: dict[tuple[str, int], list[int]], most: int, told: str
) -> None:
    """A root, third, fifth or seventh counts as much as three other tones, each beat as one."""
    assert _tones_told(_scene(hand), lacking, 4, most) == told


def converted(*lines: Line) -> Conversion:
    chosen = ReduceSettings(texture="melody-bass", tune="tune", bass="bass")
    return convert(song_of(*lines), load_engine("twin-phase"), Settings(reduce=chosen))


def test_tones_are_missing_where_none_of_the_voices_has_them() -> None:
    """G major: the tune has D for two beats, then G; the pad holds B and D over the next bar too."""
    tune = [(0, 1, 74), (1, 1, 74), (2, 1, 79), (3, 1, 79), (4, 4, 79)]
    pad = [(0, 8, 59), (0, 8, 62)]
    found = ranking(converted(Line(tune, "tune"), Line(pad, "pad"), Line([(0, 8, 43)], "bass")))
    told = {bar.number: problem.sentence for problem in found for bar in problem.bars}
    assert told == {
        1: "the pad's third and the pad's fifth on beats 3 and 4 are missing",
        2: "the pad's fifth and third are missing",
    }


@pytest.mark.parametrize(
    ("hits", "told"), [(1, "the bass drum on beat 1 is missing"), (2, "the drums are missing")]
)
def test_all_drums_are_two_at_least(hits: int, told: str) -> None:
    kit = Line([(at, 0.25, 36) for at in range(hits)], "kit", drum=True)
    song = converted(Line([(0, 4, 72)], "tune"), Line([(0, 4, 48)], "bass"), kit)
    (sentence,) = (problem.sentence for problem in ranking(without_drums(song)))
    assert sentence == told


def without_drums(found: Conversion) -> Conversion:
    entries = tuple(
        entry._replace(outcome="dropped", reasons=("voices-full",), spans=())
        if found.song.notes[entry.note].drum
        else entry._replace(outcome="kept", reasons=())
        for entry in found.reduction.ledger.entries
    )
    ledger = replace(found.reduction.ledger, columns=columns_of(entries))
    return replace(found, reduction=replace(found.reduction, ledger=ledger))


def test_up_to_four_beats_are_named(hand: Conversion) -> None:
    for beats, on in (([0, 1, 2, 3], "beats 1, 2, 3 and 4"), ([0, 1, 2, 3, 4], "5 beats")):
        told = _tones_told(_scene(hand), {("root", 2): beats}, 8, 2)
        assert told == f"the pad's root on {on} is missing"


def test_the_root_is_the_lowest_one_else_has_a_fifth_else_a_seventh() -> None:
    """Of all chords of up to five tones above C, and of C alone."""
    triads = ({0, 4, 7}, {0, 3, 7}, {0, 3, 6}, {0, 4, 8})
    for count in range(5):
        for others in combinations(range(1, 12), count):
            classes = frozenset((0, *others))
            above = {root: {(each - root) % 12 for each in classes} for root in classes}
            roots = [root for root in classes if any(triad <= above[root] for triad in triads)]
            for bass in (0, *others[-1:]):
                wanted = max(
                    roots,
                    key=lambda root: (
                        root == bass, 7 in above[root], bool({10, 11} & above[root]), -root,
                    ),
                    default=None,
                )  # fmt: skip
                assert root_of(classes, bass) == wanted, (classes, bass)
