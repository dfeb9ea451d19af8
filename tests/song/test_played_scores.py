"""What music21's objects become: stretches of the written score, ties, metres, channels, by plain rules."""

from __future__ import annotations

from itertools import pairwise
from random import Random
from types import SimpleNamespace

import pytest

from arranger.errors import LimitError, SongError
from arranger.song.model import MetreChange
from arranger.song.score import notation
from arranger.song.score.gathered import Gathered, ScoreNote
from arranger.song.score.notation import PlayedStretch
from tests.song.midi_bytes import read
from tests.song.test_scores import BEAT, COLLECTION, bar, in_beats, musicxml, tone


def bars_of(*lengths: int) -> list[notation._Bar]:
    return [notation._Bar(sum(lengths[:n]), (length, 4)) for n, length in enumerate(lengths)]


def test_bars_in_the_order_in_which_they_are_played_are_stretches() -> None:
    random = Random(3)
    for _ in range(80):
        lengths = [random.randrange(1, 5) for _ in range(5)]
        end = sum(lengths) - random.randrange(min(lengths[-1], 2))
        order = [random.randrange(5) for _ in range(random.randrange(1, 9))]
        start = random.randrange(3)
        spans, stop = notation._spans(bars_of(*lengths), order, start, end)
        # every tick that is played, with when; what ends the piece has no length
        played = []
        at = start
        for index in order:
            first = sum(lengths[:index])
            played += [
                (tick, at + tick - first) for tick in range(first, min(first + lengths[index], end))
            ]
            at += max(min(first + lengths[index], end) - first, 0)
        found = [
            (tick, span.at + tick - span.since)
            for span in spans
            for tick in range(span.since, min(span.until, end))
        ]
        assert (found, stop) == (played, at)
        assert len(spans) == 1 + sum(b != a + 1 for a, b in pairwise(order))
        assert all(span.until == end + 1 for span in spans if span.until > sum(lengths[:4]))
    assert notation._spans(bars_of(3), [], 7, 3) == ([PlayedStretch(0, 4, 7)], 10)


def test_what_starts_in_a_stretch_is_played_and_what_holds_there_in_force() -> None:
    written = [(0, "a"), (3, "b"), (3, "c"), (5, "d"), (8, "e")]
    spans = [PlayedStretch(3, 8, 100), PlayedStretch(1, 4, 200), PlayedStretch(5, 5, 300)]
    assert list(notation._played(written, spans)) == [
        ((3, "b"), 97), ((3, "c"), 97), ((5, "d"), 97), ((3, "b"), 199), ((3, "c"), 199),
    ]  # fmt: skip
    assert list(notation._in_force(written, spans)) == [
        (100, (3, "c")), (102, (5, "d")), (200, (0, "a")), (202, (3, "b")), (202, (3, "c")), (300, (5, "d")),
    ]  # fmt: skip
    assert list(notation._in_force(written[1:], [PlayedStretch(0, 4, 9)])) == [
        (12, (3, "b")),
        (12, (3, "c")),
    ]
    assert [notation._last_before(written, at) for at in (-1, 0, 2, 3, 9)] == [
        None,
        "a",
        "a",
        "c",
        "e",
    ]


def note(onset: int, end: int, pitch: int = 60) -> ScoreNote:
    return ScoreNote(onset, end, 0, pitch, 90, 0, 0, False)


def joined(*parts: tuple[ScoreNote, str], limit: int = 9) -> list[tuple[int, int, int]]:
    found, tied = Gathered(limit), dict[int, int]()
    for each, tie in parts:
        notation._join_or_add(each, tie, tied, found)
    return [(each.onset, each.end, each.pitch) for each in found.notes]


def test_a_tie_goes_on_where_the_next_note_of_its_pitch_begins() -> None:
    first, second, third = note(0, 4), note(4, 6), note(6, 9)
    assert joined((first, "start"), (second, "stop")) == [(0, 6, 60)]
    assert joined((first, "start"), (second, "continue"), (third, "stop")) == [(0, 9, 60)]
    assert joined((first, "start"), (second, "stop"), (third, "stop")) == [(0, 6, 60), (6, 9, 60)]
    assert joined((first, "start"), (second, "")) == [(0, 4, 60), (4, 6, 60)]
    assert joined((first, ""), (second, "stop")) == [(0, 4, 60), (4, 6, 60)]
    assert joined((first, "start"), (third, "stop")) == [(0, 4, 60), (6, 9, 60)], "a gap"
    assert joined((first, "start"), (note(4, 6, 62), "stop")) == [(0, 4, 60), (4, 6, 62)]
    grace = note(4, 4)
    assert joined((grace, "start"), (second, "stop")) == [(4, 4, 60), (4, 6, 60)]
    assert joined((first, "start"), (second, "stop"), limit=1) == [(0, 6, 60)]
    with pytest.raises(LimitError, match="more than 1 notes"):
        joined((first, "start"), (second, ""), limit=1)


def test_channels_and_programs_are_those_of_midi() -> None:
    """Sixteen channels of which the tenth is the drums', 128 programs (MIDI 1.0, General MIDI)."""
    assert [notation._channel(track, None, False)[0] for track in range(16)] == [
        *range(9),
        *range(10, 16),
        0,
    ]
    for given, program in ((0, 0), (127, 127), (128, 0), (-1, 0), ("40", 0), (None, 0)):
        player = SimpleNamespace(midiProgram=given)
        assert notation._channel(0, player, False) == (0, program)
        assert notation._channel(0, player, True) == (9, 0)
    pitched, struck = SimpleNamespace(pitch=SimpleNamespace(ps=61.4)), SimpleNamespace()
    for channel, drum in ((9, True), (8, False), (None, False)):
        assert notation._pitch(pitched, SimpleNamespace(midiChannel=channel)) == (61, drum)
    assert notation._pitch(pitched, None) == (61, False)
    assert notation._pitch(struck, None) == (38, True), "a snare"
    assert notation._pitch(struck, SimpleNamespace(percMapPitch=0)) == (0, True)
    own = SimpleNamespace(storedInstrument=SimpleNamespace(percMapPitch=50))
    assert notation._pitch(own, SimpleNamespace(percMapPitch=0)) == (50, True)


def test_a_metre_is_told_where_bars_are_not_as_the_one_before_says() -> None:
    beat = notation.TICKS_PER_BEAT
    bars = [
        notation._Bar(beat * at, metre)
        for at, metre in ((0, (4, 4)), (4, (4, 4)), (8, (3, 4)), (11, (3, 4)), (13, (3, 4)))
    ]
    for measured, short in ((True, [13]), (False, [])):
        found = Gathered(9)
        notation._add_metres(bars, [PlayedStretch(0, 99 * beat, 0)], measured, found)
        ticks = {0: (4, 4), 8: (3, 4)} | dict.fromkeys(short, (3, 4))
        assert found.metres == {
            beat * at: MetreChange(beat * at, *metre) for at, metre in ticks.items()
        }
    later = Gathered(9)
    notation._add_metres(bars[2:3], [PlayedStretch(8 * beat, 11 * beat, 50)], True, later)
    assert later.metres == {50: MetreChange(50, 3, 4)}


def test_bars_before_any_metre_have_four_quarters() -> None:
    time = b"<time><beats>3</beats><beat-type>4</beat-type></time>"
    song = read(musicxml(bar(1, tone("C", 4, 8)) + bar(2, tone("D", 4, 8))).replace(time, b""))
    assert song.metres == (MetreChange(0, 4, 4),)


def test_loudness_is_that_of_the_last_mark_and_never_silent() -> None:
    def mark(name: str) -> str:
        return f"<direction><direction-type><dynamics><{name}/></dynamics></direction-type></direction>"

    song = read(
        musicxml(bar(1, tone("C", 4, 2), mark("n"), tone("D", 4, 2), mark("fff"), tone("E", 4, 2)))
    )
    # music21's scale: fff is 0.9; no mark is 90 of 127
    assert [each.velocity for each in song.notes][::2] == [90, 114]
    assert song.notes[1].velocity >= 1


def test_a_repeat_that_ends_before_the_first_bar_ends_none() -> None:
    back = '<barline location="left"><repeat direction="backward"/></barline>'
    song = read(musicxml(bar(1, back, tone("C", 4, 6)) + bar(2, tone("D", 4, 6))))
    assert in_beats(song) == [(0, 3, 60), (3, 3, 62)]
    forward = '<barline location="left"><repeat direction="forward"/></barline>'
    before = read(
        musicxml(
            bar(1, tone("C", 4, 6))
            + bar(2, forward, tone("D", 4, 6))
            + bar(3, back, tone("E", 4, 6))
        )
    )
    assert [each.pitch for each in before.notes] == [60, 62, 62, 64]


@pytest.mark.parametrize(("asked", "times"), [(0, 2), (1, 2), (3, 3), (16, 16), (17, 16)])
def test_a_repeat_is_played_twice_to_sixteen_times(asked: int, times: int) -> None:
    back = f'<barline location="right"><repeat direction="backward" times="{asked}"/></barline>'
    song = read(musicxml(bar(1, tone("C", 4, 6), extra=back)))
    assert [each.onset // BEAT for each in song.notes] == [3 * n for n in range(times)]
    assert len(song.repairs) == (asked > 16)


@pytest.mark.parametrize(("fifths", "told"), [(7, True), (-7, True), (8, False), (-8, False)])
def test_keys_have_up_to_seven_signs(fifths: int, told: bool) -> None:
    data = musicxml(bar(1, tone("C", 4, 6))).replace(b"<fifths>2", f"<fifths>{fifths}".encode())
    keys = read(data).keys
    assert [(key.tick, key.sharps) for key in keys] == ([(0, fifths)] if told else [])


def test_limits_and_the_numbers_of_tunes_are_exact() -> None:
    whole = read(COLLECTION, max_beats=7, max_tracks=2, max_notes=7)
    assert len(whole.notes) == 7
    assert [(part.name, part.pan, part.notes) for part in whole.parts] == [
        ("Acoustic Grand Piano", 64, 4),
        ("Acoustic Grand Piano", 64, 3),
    ]
    for limit in ({"max_beats": 6}, {"max_tracks": 1}, {"max_notes": 6}):
        with pytest.raises(LimitError):
            read(COLLECTION, **limit)
    assert [each.pitch for each in read(COLLECTION, pattern=1).notes] == [60, 62, 64, 65]
    with pytest.raises(SongError, match="no pattern 0"):
        read(COLLECTION, pattern=0)


def test_notes_of_parts_are_in_order_of_their_onsets_and_parts_as_they_first_sound() -> None:
    rest = "<note><rest/><duration>2</duration></note>"
    numbers = (1, 2)
    listed = "".join(
        f'<score-part id="P{n}"><part-name> part  {n}</part-name></score-part>' for n in numbers
    )
    parts = "".join(
        f'<part id="P{n}">{bar(1, *content)}</part>'
        for n, content in zip(
            numbers,
            ((rest, tone("C", 4, 2), tone("D", 4, 2)), (tone("E", 4, 4), tone("F", 4, 2))),
            strict=True,
        )
    )
    song = read(
        f'<score-partwise version="4.0"><part-list>{listed}</part-list>{parts}</score-partwise>'.encode()
    )
    assert [(each.id, each.track, each.part, each.pitch) for each in song.notes] == [
        (0, 1, 0, 64), (1, 0, 1, 60), (2, 0, 1, 62), (3, 1, 0, 65),
    ]  # fmt: skip
    assert [(part.track, part.name, part.notes) for part in song.parts] == [
        (1, "part 2", 2),
        (0, "part 1", 2),
    ]
    assert [(track.name, track.notes) for track in song.tracks] == [("part 1", 2), ("part 2", 2)]
    assert song.title == "test"
