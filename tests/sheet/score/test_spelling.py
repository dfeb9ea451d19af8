"""Keys and names of tones, beside music21's own scores and tables."""

from __future__ import annotations

from itertools import pairwise, product
from random import Random

import music21
import pytest
from music21.analysis.discrete import AardenEssen

from arranger.sheet.score.key import MAJOR, MINOR, Key, find_key, find_keys
from arranger.sheet.score.spelling import Accidentals, Name, tone_names

C_MAJOR, A_MINOR, G_SHARP_MINOR = Key(0, minor=False), Key(0, minor=True), Key(5, minor=True)


def test_the_profiles_are_those_that_were_published() -> None:
    """Source: music21's table of B. Aarden's profiles."""
    table = AardenEssen()
    assert list(MAJOR) == table.getWeights("major")
    assert list(MINOR) == table.getWeights("minor")


@pytest.mark.parametrize("sharps", range(-5, 7))
def test_a_scale_is_in_its_own_key(sharps: int) -> None:
    """Source: music21's scales. Tonic and fifth sound longest."""
    for minor in (False, True):
        key = music21.key.KeySignature(sharps).asKey("minor" if minor else "major")
        seconds = [0.0] * 12
        for degree, length in zip(key.pitches[:7], (3, 1, 2, 1, 3, 1, 1), strict=True):
            seconds[degree.pitchClass] += length
        assert find_key(seconds) == Key(sharps, minor=minor)
        assert [Key(sharps, minor=minor).has(pitch) for pitch in range(12)] == [
            bool(length) for length in seconds
        ]
    assert find_key([0.0] * 12) == find_key([1.0] * 12) == C_MAJOR


def tones_of(key: str, bars: int) -> list[list[tuple[int, float]]]:
    """Return bars of a scale up and down, with longer tonic and fifth."""
    pitches = music21.key.Key(key).pitches
    row = [(pitch.midi, 1.0) for pitch in (*pitches, *reversed(pitches[:-1]))]
    return [[(row[0][0], 6.0), (row[4][0], 6.0), *row]] * bars


def test_a_key_changes_where_that_spares_accidentals() -> None:
    """A scale a semitone higher has five tones outside of the key before, ten in each bar here."""
    g, a_flat = Key(1, minor=False), Key(-4, minor=False)
    assert find_keys([*tones_of("G", 8), *tones_of("A-", 4)]) == [g] * 8 + [a_flat] * 4
    assert find_keys([*tones_of("G", 8), *tones_of("A-", 1), *tones_of("G", 8)]) == [g] * 17
    third = [*tones_of("G", 8), *tones_of("A-", 6), *tones_of("G", 8)]
    assert find_keys(third) == [g] * 8 + [a_flat] * 6 + [g] * 8
    assert find_keys([*tones_of("G", 8), *tones_of("c", 8)])[-1] == Key(-3, minor=True)
    assert find_keys([[], []]) == [C_MAJOR] * 2


def test_no_other_signatures_cost_less() -> None:
    """An accidental costs 1, a change 24, to begin in another key than that of the whole 8, a bar in it 1/4."""
    random = Random(6)
    every = range(-5, 7)
    changed = 0
    for _ in range(40):
        bars: list[list[tuple[int, float]]] = []
        for _ in range(3):
            key = Key(random.choice(every), minor=False)
            scale = [pitch for pitch in range(60, 84) if key.has(pitch)]
            bars.append([(random.choice(scale), 1.0) for _ in range(random.choice((4, 40, 90)))])
        lengths = [float(sum(p % 12 == c for bar in bars for p, _ in bar)) for c in range(12)]
        home = find_key(lengths).sharps
        # The tones of a signature are six fifths in a row up from its lowest, F for C major.
        outside = [
            {s: sum((7 * p - s + 1) % 12 > 6 for p, _ in bar) for s in every} for bar in bars
        ]

        def cost(path: tuple[int, ...], outside=outside, home=home) -> float:  # type: ignore[no-untyped-def]
            read = sum(of_bar[s] for of_bar, s in zip(outside, path, strict=True))
            away = sum(s != home for s in path) / 4 + 8 * (path[0] != home)
            return float(read + away + 24 * sum(a != b for a, b in pairwise(path)))

        found = tuple(key.sharps for key in find_keys(bars))
        assert cost(found) == min(map(cost, product(every, repeat=3)))
        changed += len(set(found)) > 1
    assert changed > 4


@pytest.mark.parametrize(("many", "sharps"), [(24, 0), (25, 1)])
def test_a_change_has_to_spare_more_accidentals_than_it_costs(many: int, sharps: int) -> None:
    """F sharps after C major, which G major has: a change, and a quarter for the bar in it."""
    home = [[(pitch, 8.0) for pitch in (60, 64, 65, 67)]] * 40
    found = find_keys([*home, [(71, 0.01), (71, 0.01), *[(66, 0.01)] * many]])
    assert [key.sharps for key in found] == [0] * 40 + [sharps]


def names(tones: str, key: Key, other: str = "") -> str:
    line, beside = (
        [(at, at + 1, music21.pitch.Pitch(tone).midi) for at, tone in enumerate(text.split())]
        for text in (tones, other)
    )
    signs = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
    found = tone_names(line, beside, lambda _: key, 8)
    return " ".join(f"{name.letter}{signs[name.alter]}{name.octave}" for name in found)


@pytest.mark.parametrize(
    ("tones", "key", "other"),
    [
        ("C4 C#4 D4 D#4 E4", C_MAJOR, ""),
        ("E4 Eb4 D4 Db4 C4", C_MAJOR, ""),
        ("A4 G#4 A4 E4", A_MINOR, ""),
        ("E4 E4 G#4 B4 E4", A_MINOR, ""),
        ("B4 D#5 F#5 D#5 B4", Key(1, minor=False), "B2 B2 F#2 F#2 B2"),  # a chord of B major
        ("F4 Ab4 C5 Ab4 F4", C_MAJOR, "F3 C3 F3 C3 F3"),
        ("C4 G#4 G#4 A4", C_MAJOR, "F3 C3 F3 C3"),  # one tone, one name
        ("G#4 F##4 G#4 D#4", G_SHARP_MINOR, ""),
        ("C#4 B#3 C#4 G#4", Key(4, minor=True), ""),
        ("D#4 D4 D#4 G#4", G_SHARP_MINOR, ""),  # no C##: that is for leading tones
        ("Eb4 A3 A3 Bb4", Key(-7, minor=True), ""),
        ("Bb4 Cb5 Bb4 Db5", Key(-6, minor=False), ""),
    ],
)
def test_tones_are_spelled_by_key_line_and_harmony(tones: str, key: Key, other: str) -> None:
    assert names(tones, key, other) == tones


def test_a_tone_that_is_struck_again_keeps_its_name_while_the_key_lasts() -> None:
    """In a chord of F minor first, of E major long after it."""
    flat, sharp = [(0, 1, 65), (1, 2, 72)], [(40, 41, 64), (41, 42, 71), (42, 43, 66)]
    again = [(2, 3, 68), (41, 42, 68)]
    found = tone_names(again, [*flat, *sharp], lambda _: C_MAJOR, 4)
    assert [name.letter for name in found] == ["A", "A"]
    assert tone_names(again[1:], sharp, lambda _: C_MAJOR, 4)[0].letter == "G"
    between = [again[0], (20, 21, 69), again[1]]
    found = tone_names(between, [*flat, *sharp], lambda _: C_MAJOR, 4)
    assert [name.letter for name in found] == ["A", "A", "G"]
    other = tone_names(again, [*flat, *sharp], lambda at: Key(1 if at > 20 else 0, minor=False), 4)
    assert [name.letter for name in other] == ["A", "G"]


def test_names_are_those_of_printed_scores() -> None:
    """Two chorales of music21's corpus, outer voices: every name is the edition's."""
    for number, sharps, minor in (("bwv66.6", 3, True), ("bwv269", 1, False)):
        score = music21.corpus.parse(number)
        lines = [
            [note for note in part.flatten().notes if note.tie is None or note.tie.type == "start"]
            for part in (score.parts[0], score.parts[-1])
        ]
        spans = [
            [(int(note.offset * 4), int((note.offset + note.quarterLength) * 4), note.pitch.midi)
             for note in line] for line in lines
        ]  # fmt: skip
        for line, own, other in zip(lines, spans, spans[::-1], strict=True):
            key = Key(sharps, minor=minor)
            assert tone_names(own, other, lambda _, key=key: key, 8) == [
                Name(note.pitch.step, int(note.pitch.alter), note.pitch.octave) for note in line
            ]


def test_accidentals_are_written_where_they_are_needed() -> None:
    signs = Accidentals(2)
    row = [("F", 1), ("F", 0), ("F", 0), ("F", 1), ("C", 1), ("G", 1)]
    assert [signs.needed(Name(*each, 4), tied=False) for each in row] == [
        False, True, False, True, False, True,
    ]  # fmt: skip
    assert signs.needed(Name("G", 0, 5), tied=False) is False  # another octave
    signs = Accidentals(2)
    assert signs.needed(Name("G", 1, 4), tied=True) is False
    assert signs.needed(Name("G", 1, 4), tied=False) is True
