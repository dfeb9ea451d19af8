"""Pedals that stay down: where their notes are taken to end, and what is told."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.song.midi.held_pedals import HeldPedal, end_with_harmony, harmony_ends, remarks_on
from arranger.song.midi.raw import RawNotes
from tests.reduce.little_songs import Line, pedalled, song_of
from tests.song.midi_bytes import chunk, header, read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.song import Song

BEAT = 96
TOUCH = BEAT // 16

Keys = list[tuple[int, int, int, int]]
"""Onset, key up, end and pitch of each note, in order of onset."""


@st.composite
def keys(draw: st.DrawFn) -> Keys:
    """Draw notes under a pedal, whose pitches end where they are struck again."""
    found = []
    for _ in range(draw(st.integers(1, 14))):
        onset = BEAT // 2 * draw(st.integers(0, 20)) + draw(st.sampled_from((0, 0, 6, 7)))
        up = onset + draw(st.sampled_from((1, 30, 48, 54, 96, 700)))
        pitch = draw(st.sampled_from((36, 38, 43, 48, 49, 60, 64, 67, 71)))
        found.append((onset, up, up + draw(st.sampled_from((0, 5, 200, 2000))), pitch))
    return sorted(found)


def ends_of(notes: Keys) -> tuple[list[int], int]:
    columns = (np.array(column, dtype=np.int64) for column in zip(*notes, strict=True))
    ends, changes = harmony_ends(*columns, BEAT)
    return ends.tolist(), changes


def plain_ends(notes: Keys) -> tuple[list[int], int]:
    """Return the same by asking at each attack, of all notes, which sound and which only ring."""
    ends = [max(up, min(end, onset + 4 * BEAT)) for onset, up, end, _ in notes]
    changes = 0
    done = -1
    for place, (at, *_) in enumerate(notes):
        if place <= done:
            continue
        struck = [n for n in range(place, len(notes)) if notes[n][0] <= at + 6]
        done = struck[-1]
        latest = {notes[n][3]: n for n in range(place)}
        sounding = [n for n in latest.values() if ends[n] > at]
        lowest = min((notes[n][3] for n in sounding), default=-99)
        rings = [n for n in sounding if notes[n][1] <= at + 6 < ends[n]]
        distances = {abs(notes[n][3] - notes[m][3]) % 12 for n in rings for m in struck}
        if min(notes[n][3] for n in struck) <= lowest + 12 and distances & {1, 2, 10, 11}:
            changes += 1
            for n in rings:
                ends[n] = max(notes[n][1], at)
    return ends, changes


@settings(max_examples=120, deadline=None)
@given(keys())
def test_notes_end_where_a_look_at_all_of_them_says(notes: Keys) -> None:
    assert ends_of(notes) == plain_ends(notes)


@settings(max_examples=40)
@given(keys())
def test_no_note_gets_longer_or_ends_before_its_key_is_up(notes: Keys) -> None:
    for (onset, up, end, _), now in zip(notes, ends_of(notes)[0], strict=True):
        assert up <= now <= end
        assert now <= max(up, onset + 4 * BEAT)
        assert up < end or now == end


@settings(max_examples=40)
@given(keys(), st.integers(-36, 56), st.integers(0, 5000))
def test_key_and_place_in_the_song_make_no_difference(notes: Keys, up: int, later: int) -> None:
    moved = [(o + later, k + later, e + later, p + up) for o, k, e, p in notes]
    ends, changes = ends_of(notes)
    assert ends_of(moved) == ([end + later for end in ends], changes)


@settings(max_examples=40)
@given(keys())
def test_one_harmony_rings_for_four_beats(notes: Keys) -> None:
    """Without a second between any two, only time ends what a pedal holds."""
    alike = [(o, u, e, 36 + 12 * (p % 4) + (0, 4, 7)[p % 3]) for o, u, e, p in notes]
    ends, changes = ends_of(alike)
    assert changes == 0
    assert ends == [max(up, min(end, onset + 4 * BEAT)) for onset, up, end, _ in alike]


def raw(notes: Keys) -> RawNotes:
    onset, up, end, pitch = (np.array(each, np.int64) for each in zip(*sorted(notes), strict=True))
    zeros = np.zeros_like(onset)
    return RawNotes(
        onset=onset, track=zeros, order=zeros, channel=zeros + 3, pitch=pitch, velocity=zeros + 80,
        end=end, end_order=zeros, rings=end - up,
    )  # fmt: skip


def scale(first: int, last: int, end: int) -> Keys:
    """Return a note a beat, up by semitones, with keys down for half a beat and a pedal till an end."""
    return [(at * BEAT, at * BEAT + 48, end * BEAT, 40 + at) for at in range(first, last)]


@pytest.mark.parametrize(("last", "long"), [(8 * BEAT, False), (8 * BEAT + 1, True)])
def test_a_pedal_is_long_from_more_than_two_bars_on(last: int, long: bool) -> None:
    notes = raw([(onset, up, last, pitch) for onset, up, _, pitch in scale(0, 8, 8)])
    found = end_with_harmony(notes, np.arange(8), [(0, last)], BEAT)
    assert found == [(3, 0, last)] * long
    ends = [BEAT * beat for beat in range(1, 8)] if long else [last] * 7
    assert notes.end.tolist() == [*ends, last]
    assert notes.rings.tolist() == [e - o - 48 for o, e in zip(notes.onset, notes.end, strict=True)]


def test_a_long_pedal_under_which_nothing_is_played_is_no_held_one() -> None:
    notes = raw(scale(0, 4, 4))
    assert end_with_harmony(notes, np.arange(4), [(8 * BEAT, 99 * BEAT)], BEAT) == []


def test_each_pedal_counts_the_harmonies_that_come_while_it_is_down() -> None:
    """The first is short, the second has one harmony; a key stays down under both."""
    key = (0, 30 * BEAT, 30 * BEAT, 70)
    chord = [(9 * BEAT, 9 * BEAT + 48, 20 * BEAT, pitch) for pitch in (45, 52)]
    notes = raw([key, *scale(0, 7, 7), *chord])
    before = notes.end.tolist()
    spans = [(0, 7 * BEAT), (8 * BEAT, 20 * BEAT)]
    assert end_with_harmony(notes, np.arange(10), spans, BEAT) == []
    assert notes.end.tolist() == before
    again = raw([key, *scale(0, 7, 7), *scale(9, 14, 20)])
    first = again.end[:8].tolist()
    assert end_with_harmony(again, np.arange(13), spans, BEAT) == [(3, 8 * BEAT, 20 * BEAT)]
    assert again.end[:8].tolist() == first
    assert (again.end[8:] // BEAT).tolist() == [10, 11, 12, 13, 17]


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["a"], "pedal of 'a' stays"),
        (["a", "b"], "pedals of 'a' and 'b' stay"),
        (["a", "b", "c"], "pedals of 'a', 'b' and 'c' stay"),
        (["a", "b", "c", "d"], "pedals of 'a', 'b' and 2 more parts stay"),
    ],
)
def test_the_parts_that_ring_are_named(names: list[str], said: str) -> None:
    lines = [Line([(0, 4, 60)], name) for name in names]
    drums = Line([(0, 4, 36)], "kit", drum=True)
    made = pedalled(song_of(*lines, Line([(0, 1, 60)], "short"), drums), 1.0)
    held = [HeldPedal(channel, 0, 960) for channel in range(6)]
    (remark,) = remarks_on(made, made.columns.part, held)
    assert said in remark


# Songs

TONIC, DOMINANT = (36, 52, 55, 60), (35, 50, 55, 62)


def song(
    chords: Sequence[Sequence[int]],
    pedal: Sequence[tuple[float, int]],
    channel: int = 0,
    **options: object,
) -> Song:
    """Return broken chords of a bar each, keys down for half a beat, and pedal events by beat."""
    events = [(int(at * BEAT), 1, bytes((0xB0 | channel, 64, value))) for at, value in pedal]
    for bar, chord in enumerate(chords):
        for beat, pitch in enumerate(chord):
            at = (4 * bar + beat) * BEAT
            events.append((at, 2, bytes((0x90 | channel, pitch, 80))))
            events.append((at + BEAT // 2, 0, bytes((0x80 | channel, pitch, 0))))
    body, before = b"\0\xff\x03\x05Piano", 0
    for at, _, message in sorted(events):
        wait = at - before
        body += (bytes((0x80 | wait >> 7, wait & 127)) if wait > 127 else bytes((wait,))) + message
        before = at
    return read(header(1, 1, BEAT) + chunk("MTrk", body + b"\0\xff\x2f\0"), **options)


def beats(made: Song) -> list[float]:
    """Return how many beats each note lasts."""
    return [note.duration / BEAT for note in made.notes]


def test_a_pedal_that_is_never_lifted_is_told_and_changed_with_the_harmony() -> None:
    made = song([TONIC, DOMINANT] * 2, [(0, 127)])
    # each tone rings to the end of its bar, where the bass brings the next harmony
    assert beats(made) == [4, 3, 2, 1] * 3 + [3.5, 2.5, 1.5, 0.5]
    assert [note.rings / BEAT for note in made.notes] == [b - 0.5 for b in beats(made)]
    assert made.remarks == (
        "the pedal of 'Piano' stays down through many harmonies, from 0:00 to 0:07; "
        "notes are taken to end where the harmony changes",
    )


def test_it_plays_as_if_the_player_had_changed_it() -> None:
    held = song([TONIC, DOMINANT] * 2, [(0, 127)])
    changed = [(at, value) for bar in range(4) for at, value in ((4 * bar, 0), (4 * bar, 127))]
    assert held.notes == song([TONIC, DOMINANT] * 2, changed).notes


@pytest.mark.parametrize(
    ("chords", "pedal"),
    [
        ([TONIC, DOMINANT] * 2, [(0, 127), (8, 0), (8, 127)]),  # two bars each
        ([TONIC, DOMINANT, TONIC, TONIC], [(0, 127)]),  # only two new harmonies
        ([TONIC] * 4, [(0, 127)]),
        ([TONIC, DOMINANT] * 2, [(0, 127), (16, 0)][1:]),  # not down
    ],
)
def test_other_pedals_stay_as_they_are(
    chords: list[Sequence[int]], pedal: list[tuple[float, int]]
) -> None:
    made = song(chords, pedal)
    assert made.remarks == ()
    ups = [at for at, value in pedal if value == 0] + [15.5]
    again = {}
    for note in reversed(made.notes):
        onset = note.onset / BEAT
        end = min([up for up in ups if up > onset]) if pedal[0][1] else onset + 0.5
        assert (note.onset + note.duration) / BEAT == min(end, again.get(note.pitch, 99))
        again[note.pitch] = onset


def test_nothing_is_told_where_the_pedal_is_left_out_or_drums_have_it() -> None:
    assert song([TONIC, DOMINANT] * 2, [(0, 127)], sustain=False).remarks == ()
    assert song([TONIC, DOMINANT] * 2, [(0, 127)], channel=9).remarks == ()


def test_several_pedals_are_told_in_one_remark() -> None:
    twice = [(0, 127), (17, 0), (18, 127), (36, 0)]
    (said,) = song([TONIC, DOMINANT] * 5, twice).remarks
    assert "harmonies, 2 times, the longest from 0:09 to 0:18;" in said
