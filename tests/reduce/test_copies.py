"""Parts that copy others: doubling, octave, echo; and what only looks like a copy."""

import numpy as np

from arranger.reduce.worth.copies import Copy, find_copies
from arranger.reduce.worth.duplicates import doubles
from arranger.reduce.worth.note_table import note_table
from arranger.reduce.worth.roles import _weigh_copy
from tests.reduce.little_songs import Line, song_of
from tests.reduce.test_roles import BASS, TUNE


def moved(line, beats=0.0, semitones=0):
    return [(onset + beats, length, pitch + semitones) for onset, length, pitch in line]


def copies_of(*lines):
    song = song_of(*(Line(line) for line in lines))
    return note_table(song), find_copies(note_table(song), len(lines))


def test_an_echo_of_one_note_that_doubles_another_stays_with_that():
    """The second line starts with the first, and is an echo of the third as well."""
    song = song_of(Line([(0, 1, 60)]), Line([(0, 1, 60)]), Line([(0, 2, 64)]))
    echo = Copy(1, 2, 0.3, 0, np.array([1]), np.array([2]))
    importance = np.array([3.0, 1.0, 2.0])
    assert doubles(note_table(song), importance, [echo])[0].tolist() == [-1, 0, -1]
    assert doubles(note_table(song), importance[[1, 0, 2]], [echo])[0].tolist() == [1, -1, -1]


def test_an_echo_is_known_by_its_delay():
    # half a beat at 120 beats a minute is a quarter of a second
    table, (copy,) = copies_of(TUNE, BASS, moved(TUNE, 0.5))
    assert (copy.part, copy.of, copy.octaves, copy.is_echo) == (2, 0, 0, True)
    assert abs(copy.delay - 0.25) < 1e-6
    assert (table.pitch[copy.notes] == table.pitch[copy.originals]).all()
    assert np.allclose(table.onset[copy.notes] - table.onset[copy.originals], 0.25)


def test_an_echo_that_comes_first_in_the_file_is_still_the_echo():
    _, (copy,) = copies_of(moved(TUNE, 0.5), TUNE)
    assert (copy.part, copy.of) == (0, 1)


def test_a_doubling_at_the_octave():
    _, (copy,) = copies_of(TUNE, moved(TUNE, 0.0, -12))
    assert (copy.part, copy.of, copy.octaves, copy.is_echo) == (1, 0, -1, False)


def test_a_doubling_that_leaves_some_notes_out():
    _, (copy,) = copies_of(TUNE, TUNE[::2] + BASS[:1])
    assert (copy.part, copy.of, len(copy.notes)) == (1, 0, 16)


def test_a_canon_and_another_line_are_music():
    assert copies_of(TUNE, moved(TUNE, 8.0))[1] == []
    assert copies_of(TUNE, BASS)[1] == []
    assert copies_of(TUNE, moved(TUNE, 0.0, -3))[1] == []


def test_echoes_double_what_still_sounds_and_never_in_a_chain():
    table, found = copies_of(TUNE, TUNE, moved(TUNE, 0.5))
    importance = 1.0 / (1.0 + np.arange(len(table.pitch)))
    same, _ = doubles(table, importance, found)
    assert (same[table.part == 2] >= 0).all()
    pointing = np.flatnonzero(same >= 0)
    assert (same[same[pointing]] == -1).all()
    short = [(onset, 0.25, pitch) for onset, _, pitch in TUNE]
    table, found = copies_of(short, moved(short, 0.5))
    assert found[0].is_echo
    assert (doubles(table, importance, found)[0] == -1).all()


def notes_of(count, pitch=60, every=1.0, start=0.0):
    return [(start + every * i, 0.5, pitch + (i * i) % 7) for i in range(count)]


def test_a_copy_has_eight_notes_and_four_of_five_from_the_other_part():
    assert len(copies_of(notes_of(8), notes_of(8))[1]) == 1
    assert copies_of(notes_of(7), notes_of(7))[1] == []
    line = notes_of(10)
    for own, found in ((2, True), (3, False)):
        # Notes of its own, at about the same height, between the others'.
        others = [(onset + 0.4, 0.2, 63) for onset, _, _ in line[:own]]
        _, copies = copies_of(line, line[own:] + others)
        assert bool(copies) == found
        if found:
            assert len(copies[0].notes) == 8
    # The other part must be nearly as long itself.
    long, short = notes_of(20), notes_of(15)
    ((copy,),) = copies_of(long, short)[1:]
    assert (copy.part, copy.of, len(copy.notes)) == (1, 0, 15)
    for many, part in ((15, 0), (16, 1)):
        (copy,) = copies_of(notes_of(many), long)[1]
        assert (copy.part, copy.of, len(copy.notes)) == (part, 1 - part, many)


def test_a_copy_comes_at_most_so_late_and_a_doubling_nearly_together():
    # At 120 beats a minute 1.6 beats are 0.8 s, and 0.07 beats 35 ms.
    line = notes_of(12, every=4.0)
    for late, kind in ((0.06, False), (0.08, True), (1.58, True), (1.7, None)):
        _, copies = copies_of(line, moved(line, late))
        if kind is None:
            assert copies == []
        else:
            assert [copy.is_echo for copy in copies] == [kind]
            assert copies[0].delay == max(copies[0].delay, 0.0)
            assert abs(copies[0].delay - late / 2) < 1e-3
            assert copies[0].part == 1
    early = copies_of(moved(line, 0.05), line)[1]
    assert [copy.delay for copy in early] == [0.0]


def test_octaves_are_counted_from_the_mean_pitch():
    line = notes_of(12)
    for semitones, octaves in ((24, 2), (12, 1), (-12, -1), (-36, -3)):
        (copy,) = copies_of(line, moved(line, 0.0, semitones))[1]
        assert (copy.part, copy.octaves) == (1, octaves)
        assert copy.originals.tolist() == sorted(copy.originals.tolist())
    assert copies_of(line, moved(line, 0.0, 7))[1] == []


def test_each_note_of_a_copy_is_paired_with_the_nearest_of_its_pitch():
    """The same pitch every half second, echoed a quarter of a second later, unevenly by 10 ms."""
    line = [(float(i), 0.5, 60) for i in range(12)]
    uneven = [
        (onset + 0.5 + 0.02 * (n % 2), length, pitch)
        for n, (onset, length, pitch) in enumerate(line)
    ]
    table, (copy,) = copies_of(line, uneven)
    assert len(copy.notes) == 12
    assert np.allclose(table.onset[copy.notes] - table.onset[copy.originals], 0.255, atol=0.006)
    assert abs(copy.delay - 0.255) < 0.006


def test_only_the_busiest_parts_are_compared(monkeypatch):
    monkeypatch.setattr("arranger.reduce.worth.copies.MOST_PARTS", 2)
    line = notes_of(12)
    _, copies = copies_of(
        notes_of(9, pitch=30), line, notes_of(9, pitch=30), line + notes_of(2, 60, start=20.0)
    )
    assert [(copy.part, copy.of) for copy in copies] == [(3, 1)]


def test_a_copy_lies_two_and_a_half_semitones_astray_at_most_on_average():
    tune = [(n, 1, 60) for n in range(10)]
    for others, copied in (((72, 73), True), ((73, 73), False)):
        own = [*tune[:8], *((8 + n, 1, pitch) for n, pitch in enumerate(others))]
        table = note_table(song_of(Line(tune), Line(own)))
        assert bool(find_copies(table, 2)) == copied


def test_the_48_parts_with_the_most_notes_are_compared():
    lines = [Line([(n, 1, 60 + n % 5) for n in range(8)]) for _ in range(49)]
    found = find_copies(note_table(song_of(*lines)), 49)
    assert [(copy.part, copy.of) for copy in found] == [(part, 0) for part in range(1, 48)]


def test_what_a_copy_tells_of_both_parts():
    """An echo is neither tune nor bass; a doubling speaks for or against the tune alone."""
    none = np.array([], dtype=np.int64)

    def told(delay, octaves, pan=64):
        song = song_of(Line([(0, 1, 60)]), Line([(0, 1, 60)], pan=pan))
        scored = [([], []), ([], [])]
        _weigh_copy(song, Copy(1, 0, delay, octaves, none, none), scored)
        return [
            tuple([(each.what, each.weight) for each in side] for side in part) for part in scored
        ]

    echo = [("echoes part 1 0.25 s later", -3.0)]
    assert told(0.25, 1) == [([], []), (echo, echo)]
    assert told(0.0, 1) == [([], []), ([("doubles part 1 an octave above", -0.5)], [])]
    assert told(0.0, -1) == [([], []), ([("doubles part 1 an octave below", -0.5)], [])]
    says = [[("is doubled by part " + part + " on the other side", 0.4)] for part in "21"]
    assert told(0.0, 0, 104) == told(0.0, 0, 24) == [(said, []) for said in says]
    assert told(0.0, 0, 103) == told(0.0, 0, 25) == [([], []), ([], [])]
