"""What is heard and lost, worked out by hand from the rules at `arranger.report.heard.hearing` and `losses`."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.reduce.ledger import Span, columns_of
from arranger.reduce.reasons import REASONS
from arranger.report.heard.hearing import beats_of
from arranger.report.heard.losses import (
    DECIDED,
    bar_losses,
    beats_heard,
    heard_along,
    heard_of,
    song_heard,
    song_lost,
)
from arranger.report.heard.problems import ranking
from arranger.settings import ReduceSettings, Settings
from tests.reduce.little_songs import Line, song_of

if TYPE_CHECKING:
    from arranger.conversion import Conversion


def changed(hand: Conversion, note: int, **changes: object) -> Conversion:
    """Return the conversion with another entry for a note."""
    entries = list(hand.reduction.ledger.entries)
    entries[note] = entries[note]._replace(**changes)
    ledger = replace(hand.reduction.ledger, columns=columns_of(tuple(entries)))
    return replace(hand, reduction=replace(hand.reduction, ledger=ledger))


def test_how_much_of_each_note_is_heard(hand: Conversion) -> None:
    # The pad's B sounds nowhere; the fourth tune note runs on from the third; the last one stands
    # 62.5 ms off its step: 2.5 of 190 ms of its start, which is half of it.
    assert heard_of(hand).tolist() == [100, 100, 0, 100, 0, 100, 50, 90, 99]


@pytest.mark.parametrize(
    ("late", "spans", "heard"),
    [
        (0.0, (Span(1, 0, 1),), 75),  # half of its time
        (0.25, (Span(1, 0, 2),), 50),  # no start
        (0.155, (Span(1, 0, 2),), 75),  # halfway between 60 and 250 ms
        (0.0, (Span(1, 1, 1),), 25),  # a step of 0.25 s late, so half of its time as well
    ],
)
def test_a_note_of_the_tune_is_half_start_half_time(
    hand: Conversion, late: float, spans: tuple[Span, ...], heard: int
) -> None:
    poor = changed(
        hand, 0, outcome="changed", reasons=("voices-full",), spans=spans, late_seconds=late
    )
    assert heard_of(poor)[0] == pytest.approx(heard, abs=1)


def test_a_note_that_another_sounds_for_is_whole_but_for_what_it_lacks(hand: Conversion) -> None:
    """Half of a note is its start, which one that is tied to another hasn't; an octave costs a tenth."""
    for reasons, heard in (
        (("same-pitch-doubled",), 100),
        (("repeat-tied",), 50),
        (("octave-doubled",), 90),
        (("octave-doubled", "repeat-tied"), 45),
    ):
        assert heard_of(changed(hand, 6, reasons=reasons))[6] == heard


def test_a_bass_by_turns_is_whole_and_a_tune_is_not(hand: Conversion) -> None:
    turns: dict[str, object] = {"outcome": "changed", "reasons": ("broken-chord",)}
    assert heard_of(changed(hand, 1, **turns, spans=(Span(2, 0, 1),)))[1] == 100
    assert heard_of(changed(hand, 0, **turns, spans=(Span(1, 0, 1),)))[0] == 75


def test_a_line_gives_way_to_its_next_note(hand: Conversion) -> None:
    """Written over the next one, a note of one voice can't be heard longer than up to that."""
    ends = hand.grid.end_steps.copy()
    ends[5] = 8
    poor = changed(hand, 5, outcome="changed", reasons=("shortened-by-next-note",))
    assert heard_of(replace(poor, grid=replace(poor.grid, end_steps=ends)))[5] == 100


def test_a_chord_is_heard_as_far_as_its_pitch_is_on_each_beat(hand: Conversion) -> None:
    ends = hand.grid.end_steps.copy()
    ends[2] = 8  # the pad's B lasts the bar
    grid = replace(hand.grid, end_steps=ends)
    sounding = (*hand.reduction.voice2[:4], 71, 71, *hand.reduction.voice2[6:])
    turning = replace(hand, grid=grid, reduction=replace(hand.reduction, voice2=sounding))
    assert heard_of(turning)[2] == 25  # on the third of four beats, an octave higher


@pytest.mark.parametrize(
    ("denominator", "length"), [(1, 64), (2, 32), (4, 16), (16, 4), (64, 1), (128, 1)]
)
def test_beats_are_as_long_as_their_metre_says(
    hand: Conversion, denominator: int, length: int
) -> None:
    """In 64ths of a whole note, at least one; a step is an eighth here."""
    bar = hand.grid.bars[0]._replace(numerator=3, denominator=denominator)
    found = beats_of(replace(hand.grid, bars=(bar, hand.grid.bars[1])))
    first = found.bar == 0
    assert set(found.length[first].tolist()) == {length}
    assert set(found.length[~first].tolist()) == {16}
    assert found.number[first].tolist()[0] == 1


@pytest.mark.parametrize(
    ("tune", "bass", "pad", "named"),
    [
        (74, 47, 55, "root"),  # G major on B
        (74, 43, 59, "third"),
        (71, 43, 62, "fifth"),
        (74, 43, 58, "third"),  # G minor
    ],
)
def test_what_is_missing_of_a_chord_is_called_by_its_place_in_it(
    hand: Conversion, tune: int, bass: int, pad: int, named: str
) -> None:
    """The first beat; the pad's tone isn't played."""
    notes = list(hand.song.notes)
    for note, pitch in ((0, tune), (1, bass), (2, pad)):
        notes[note] = notes[note]._replace(pitch=pitch)
    voices = hand.reduction.voice1, hand.reduction.voice2
    rows = ((tune, *voices[0][1:]), (bass, *voices[1][1:]))
    reduction = replace(hand.reduction, voice1=rows[0], voice2=rows[1])
    other = replace(hand, song=replace(hand.song, notes=notes), reduction=reduction)
    other = changed(changed(other, 0, pitch_out=tune), 1, pitch_out=bass)
    assert f"the pad's {named} is missing" in ranking(other)[0].sentence


@pytest.mark.parametrize(
    ("root", "pad", "told"),
    [
        (43, (59, 62, 65), "fifth, seventh and third"),  # G: B, D, F
        (48, (64, 67, 69), "third, fifth and sixth"),  # C: E, G, A, and not A minor on C
    ],
)
def test_all_tones_that_a_chord_lacks_are_told_by_its_lowest_one(
    root: int, pad: tuple[int, ...], told: str
) -> None:
    song = song_of(
        Line([(beat, 1, root + 36) for beat in range(8)], "tune"),
        Line([(bar, 4, pitch) for bar in (0, 4) for pitch in pad], "pad"),
        Line([(0, 4, root), (4, 4, root)], "bass"),
    )
    chosen = ReduceSettings(texture="melody-bass", tune="tune", bass="bass")
    now = convert(song, load_engine("twin-phase"), Settings(reduce=chosen))
    assert {problem.sentence for problem in ranking(now)} == {f"the pad's {told} are missing"}


def test_a_note_that_rings_on_over_the_end_is_asked_for_up_to_there(hand: Conversion) -> None:
    ends = hand.grid.end_steps.copy()
    longer = [replace(hand, grid=replace(hand.grid, end_steps=ends.copy())) for _ in range(2)]
    for other, end in zip(longer, (16, 99), strict=True):
        other.grid.end_steps[8] = end
    assert bar_losses(longer[0]) == bar_losses(longer[1])
    assert heard_of(longer[1])[8] < heard_of(hand)[8]


def test_loss_of_each_bar(hand: Conversion) -> None:
    first, second = bar_losses(hand)
    # A beat of the tune, of three, lost half; the pad's beat is lost; on a beat of drums a triangle of 78
    # beside a kick of 93.
    assert first.losses == (30 * 500, 0, 10 * 1000, 7 * 457)
    assert first.heard == (83, 100, 0, 54)
    assert (first.notes, first.dropped, first.loss) == (7, 2, 28_199)
    assert second.losses == (30 * 10, 20 * 100, 0, 0)
    assert second.heard == (99, 90, None, None)
    assert (second.notes, second.dropped) == (2, 0)
    assert song_heard(hand) == (87, 95, 0, 54)
    # Four beats of the tune, two of the bass, one of the harmony and one of the drums are asked for.
    asked = 4 * 30 + 2 * 20 + 10 + 7
    assert song_lost(beats_heard(hand)) == -(-(28_199 + 2_300) // asked)


def test_a_song_of_which_nothing_is_heard_has_lost_all(hand: Conversion) -> None:
    found = beats_heard(hand)
    assert song_lost(found._replace(lost=np.full_like(found.lost, 1000))) == 1000
    assert song_lost(found._replace(lost=np.full_like(found.lost, 1))) == 1
    assert song_lost(found._replace(asked=np.zeros_like(found.asked))) == 0


def test_what_is_heard_along_a_song_is_told_of_each_place(hand: Conversion) -> None:
    found = beats_heard(hand)
    bars = heard_along(found, found.beats.bar, 2)
    assert bars == [bar.heard for bar in bar_losses(hand)]
    thirds = heard_along(found, np.array([0, 0, 0, 1, 1, 1, 2, 2]), 3)
    assert thirds == [(100, 100, 0, 54), (74, 90, None, None), (None, None, None, None)]


def test_what_was_asked_to_be_left_out_is_no_loss(hand: Conversion) -> None:
    muted = changed(hand, 2, reasons=("track-muted",))
    assert bar_losses(muted)[0].heard == (83, 100, None, 54)
    assert bar_losses(muted)[0].dropped == 1


def test_the_worst_bar_comes_first_and_says_what_it_lacks(hand: Conversion) -> None:
    first, second = ranking(hand)
    assert first.named == "bar 1"
    assert first.sentence == (
        "the tune's G4 on beat 4 isn't struck anew; the pad's B is missing; "
        "the open triangle on beat 2.5 is missing"
    )
    assert first.lines == (0, 2, 3)
    assert (second.named, second.lines) == ("bar 2", (1,))
    assert second.sentence == "the bass's G0 on beat 1 sounds in another octave"


@pytest.mark.parametrize(
    ("late", "spans", "told"),
    [
        (0.2, (Span(1, 0, 2),), "the tune's G4 on beat 1 starts late and"),
        (0.0, (Span(1, 0, 1),), "the tune's G4 on beat 1 is cut short and"),
    ],
)
def test_what_befell_a_note_is_told(
    hand: Conversion, late: float, spans: tuple[Span, ...], told: str
) -> None:
    poor = changed(
        hand, 0, outcome="changed", reasons=("voices-full",), spans=spans, late_seconds=late
    )
    assert ranking(poor)[0].sentence.startswith(told)


def test_many_notes_of_a_line_are_counted(hand: Conversion) -> None:
    gone = hand
    for note in (0, 5, 6, 8):
        gone = changed(gone, note, outcome="dropped", reasons=("voices-full",), spans=())
    sentence = ranking(gone)[0].sentence
    assert sentence.startswith("the tune's G4 on beats 1, 3 and 4 are missing; ")
    one_bar = replace(gone.grid, bars=(gone.grid.bars[0]._replace(steps=16),))
    sentence = ranking(replace(gone, grid=one_bar))[0].sentence
    assert sentence.startswith("the tune's 4 notes are missing; ")


def test_alike_bars_stand_together(parade: Conversion) -> None:
    told = ranking(parade)
    assert len({problem.sentence for problem in told}) == len(told)
    places = [bar.place for problem in told for bar in problem.bars]
    assert len(places) == len(set(places))
    assert any(len(problem.bars) > 1 for problem in told)
    worst = [max(bar.loss for bar in problem.bars) for problem in told]
    assert worst == sorted(worst, reverse=True)


def test_every_reason_has_short_words() -> None:
    assert set(DECIDED) == set(REASONS)
