"""What each step would cost, read a second time: note by note, by the table of terms."""

from __future__ import annotations

import math
from collections import defaultdict
from fractions import Fraction
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.errors import LimitError
from arranger.grid.attacks import Attacks, find_attacks
from arranger.grid.steps.choose import choose_step
from arranger.grid.timeline import BarLabel, Timeline
from arranger.settings import STEP_CHOICES, GridSettings
from arranger.song.time import timed_columns
from tests.grid.songs import TICKS, song_of
from tests.reduce.little_songs import taking

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.grid.model import StepChoice
    from arranger.song.model import Song

ENGINES = (
    load_engine("twin-phase"),
    taking(load_engine("twin-phase")),
    load_engine("pc-alternate"),
)


def nearest(position: float) -> int:
    return math.floor(position + 0.5 + 1e-9)


def share(value: float, low: float, high: float) -> float:
    return min(max((value - low) / (high - low), 0.0), 1.0)


def plain_choice(
    song: Song, attacks: Attacks, lines: list[float], bpm: float, tracked: bool, engine: Engine,
    step: Fraction,
) -> tuple[float, float, bool, tuple[int, int, int, int, int]]:  # fmt: skip
    """Return cost, the rhythm's share of it, whether the step may be the raster, and what is counted.

    Counted are steps, and how many notes are moved, collide, are shortened, and stand off their places.
    """
    starts = attacks.mean(np.array([note.onset / TICKS for note in song.notes])).tolist()
    attack_of = attacks.of_note.tolist()

    def position(beat: float) -> float:
        return (beat - lines[0]) / step

    inside = [
        note for note in song.notes
        if lines[0] - 1 / 16 <= starts[attack_of[note.id]] < lines[-1] - 1 / 16
    ]  # fmt: skip
    faults = 0.0
    moved = collided = shortened = misplaced = 0
    by_part: defaultdict[int, dict[int, int]] = defaultdict(dict)
    beat = 60 / bpm
    unheard, plain = (0.03, 0.08) if tracked else (0.01, 0.05)
    for note in inside:
        at = starts[attack_of[note.id]]
        off = abs(position(at) - nearest(position(at))) * float(step)
        faults += share(off * beat, unheard, plain)
        misplaced += share(off * beat, unheard, plain) > 0.5
        moved += off > 0.01
        attacks_of_part = by_part[note.part]
        attacks_of_part[attack_of[note.id]] = attacks_of_part.get(attack_of[note.id], 0) + 1
        if not note.drum and note.duration / TICKS / step < 0.5 - 1e-9:
            shortened += 1
    for counts in by_part.values():
        before = None
        for attack in sorted(counts):
            here = nearest(position(starts[attack]))
            collided += counts[attack] * (here == before)
            before = here
    faults += (1 if tracked else 3) * collided + 0.05 * shortened
    rhythm = 100 * faults / max(len(inside), 1)
    moments = [starts[attack] for attack in {attack_of[note.id] for note in inside}]
    away = [abs(position(at) - nearest(position(at))) * float(step) * beat for at in moments]
    raster = sum(each <= unheard + 1e-9 for each in away) >= 0.97 * len(away)
    raster &= step <= Fraction(1, 4) or collided <= 0.01 * len(inside)

    hole = share(step * beat, 0.13, 0.25)
    if engine.gap is None:
        last: dict[tuple[int, int], int] = {}
        for note in sorted(inside, key=lambda n: attack_of[n.id]):
            before = last.get((note.part, note.pitch))
            if before is not None and not note.drum and attack_of[before] != attack_of[note.id]:
                first, again = (starts[attack_of[n]] for n in (before, note.id))
                ended = (song.notes[before].onset + song.notes[before].duration) / TICKS
                if nearest(position(again)) - nearest(position(first)) == 1:
                    faults += 0.5
                elif (again - ended) / step < 0.5 - 1e-9:
                    faults += 0.25 * hole
            last[note.part, note.pitch] = note.id
    if engine.drum_takes_step and not all(note.drum for note in inside):
        faults += 0.5 * hole * len({attack_of[note.id] for note in inside if note.drum})

    cost = 100 * faults / max(len(inside), 1)
    between = [abs(position(line) - nearest(position(line))) * float(step) > 0.01 for line in lines]
    cost += 50 * sum(between) / len(lines)
    eighths = [8 * (starts[attack_of[note.id]] - lines[0]) for note in inside]
    if step in {Fraction(1, 3), Fraction(1, 6), Fraction(1, 12)}:
        cost += 2 * all(abs(e - nearest(e)) < 0.08 for e in eighths)
    cost -= 3 * math.log2(step)
    ratios = [length.seconds / (step * beat) for length in engine.step_lengths]
    cost += max(100 * (min(max(r, 1 / r) for r in ratios) - 1) - 2, 0)
    steps = max(nearest(position(lines[-1])), 1)
    return cost, rhythm, raster, (steps, moved, collided, shortened, misplaced)


def some_song(random: Random) -> Song:
    """Return two parts and drums, straight, in thirds or uneven, with chords and repeated pitches."""
    grain = random.choice((2, 3, 4, 8, 12, 16))
    uneven = random.choice((0.0, 0.0, 0.02, 0.1))
    parts = []
    for _ in range(random.randrange(1, 4)):
        part = []
        for _ in range(random.randrange(1, 20)):
            at = max(random.randrange(9 * grain) / grain + random.uniform(-uneven, uneven), 0)
            part.append(
                (at, random.choice((0.05, 0.1, 0.24, 0.5, 1.0)), random.choice((60, 60, 64)))
            )
        parts.append(part)
    drums = frozenset(n for n in range(len(parts)) if random.random() < 0.25)
    return song_of(*parts, drums=drums)


def choices(
    song: Song, lines: list[float], bars: tuple[int, int], bpm: float, engine: Engine, *,
    tracked: bool = False, **settings: object,
) -> tuple[StepChoice, ...]:  # fmt: skip
    notes = timed_columns(song)
    timeline = Timeline(
        basis="tracked" if tracked else "file",
        onset_beats=notes.onset / TICKS,
        end_beats=notes.end / TICKS,
        bar_beats=np.array(lines),
        bar_ticks=np.array(lines, dtype=np.int64),
        labels=(BarLabel(1, 4, 4),) * (len(lines) - 1),
        bpm=bpm,
        own_bpm=bpm,
    )
    chosen = GridSettings(**settings)  # type: ignore[arg-type]
    return choose_step(notes, find_attacks(notes), timeline, engine, chosen, bars)


def test_each_step_costs_what_the_terms_add_up_to() -> None:
    random = Random(11)
    for number in range(90):
        song = some_song(random)
        engine = ENGINES[number % 3]
        lines = random.choice(
            ([0.0, 4.0, 8.0, 12.0], [0.0, 1.5, 4.0, 8.25, 10.0], [0.0, 3.98, 8.005, 12.0])
        )
        first = random.randrange(len(lines) - 1)
        last = random.randrange(first, len(lines) - 1)
        bpm, tracked = (
            random.choice((30.0, 97.0, 120.0, 240.0, 700.0, 9000.0)),
            random.random() < 0.3,
        )
        found = choices(song, lines, (first, last), bpm, engine, tracked=tracked)
        attacks = find_attacks(timed_columns(song))
        every = [Fraction(1, parts) for parts in (1, 2, 3, 4, 6, 8, 12)]
        near = [step for step in every if off_tempo(engine, bpm, step) <= 3]
        assert {choice.step_beats for choice in found} == set(near or every)
        read = {
            step: plain_choice(song, attacks, lines[first : last + 2], bpm, tracked, engine, step)
            for step in every
        }
        raster = next((step for step in every if read[step][2]), None)
        for choice in found:
            cost, rhythm, _, counted = read[choice.step_beats]
            if raster is not None and choice.step_beats < raster:
                cost += max(read[raster][1] - rhythm, 0)
            assert choice.cost == pytest.approx(cost, abs=1e-6)
            assert choice[2:] == counted


def off_tempo(engine: Engine, bpm: float, step: Fraction) -> float:
    ratios = [length.seconds / (float(step) * 60 / bpm) for length in engine.step_lengths]
    return 100 * (min(max(r, 1 / r) for r in ratios) - 1)


def test_the_cheapest_comes_first_but_what_is_asked_for_before_and_what_is_too_long_after() -> None:
    random = Random(12)
    for _ in range(12):
        song = some_song(random)
        most = random.choice((10, 30, 60, 1000))
        usual = choices(song, [0.0, 4.0, 8.0], (0, 1), 120.0, ENGINES[0], max_steps=most)
        keys = [(choice.steps > most, choice.cost, -choice.step_beats) for choice in usual]
        assert keys == sorted(keys)
        for step in (Fraction(1, 5), Fraction(1, 2), Fraction(3, 4)):
            asked = choices(
                song, [0.0, 4.0, 8.0], (0, 1), 120.0, ENGINES[0], max_steps=1000, step=step
            )
            assert asked[0].step_beats == step
            assert len(asked) == 7 + (step != Fraction(1, 2))


def test_a_step_that_misses_the_tempo_is_not_offered_unless_all_do_or_it_is_asked_for() -> None:
    song = song_of([(n / 12, 0.08, 60 + n % 7) for n in range(96)])
    lines = [0.0, 4.0, 8.0]
    quick = choices(song, lines, (0, 1), 300.0, ENGINES[0])
    assert {choice.step_beats for choice in quick} == {
        step for step in STEP_CHOICES if off_tempo(ENGINES[0], 300.0, step) <= 3
    }
    assert 0 < len(quick) < 7
    asked = choices(song, lines, (0, 1), 300.0, ENGINES[0], step=Fraction(1, 12))
    assert asked[0].step_beats == Fraction(1, 12)
    assert len(choices(song, lines, (0, 1), 9000.0, ENGINES[0])) == 7


@pytest.mark.parametrize(
    ("quick", "step"),
    [(1, Fraction(1, 2)), (2, Fraction(1, 2)), (3, Fraction(1, 4))],
)
def test_no_finer_step_for_one_note_in_a_hundred(quick: int, step: Fraction) -> None:
    """Quavers with a few semiquavers, which merge with the notes after them."""
    line = [(n / 2, 0.5, 60 + n % 7) for n in range(200 - quick)]
    line += [(16 * n + 0.25, 0.25, 80) for n in range(quick)]
    found = choices(song_of(line), [*map(float, range(0, 101, 4))], (0, 24), 120.0, ENGINES[0])
    assert found[0].step_beats == step


@pytest.mark.parametrize(("quick", "step"), [(2, Fraction(1, 3)), (6, Fraction(1, 6))])
def test_three_steps_a_beat_are_fewer_than_are_easy(quick: int, step: Fraction) -> None:
    """Triplets with a few half as long, which merge with the notes after them."""
    line = [(n / 3, 1 / 3, 60 + n % 7) for n in range(240)]
    line += [(8 * n + 1 / 6, 1 / 6, 80) for n in range(quick)]
    found = choices(song_of(line), [*map(float, range(0, 81, 4))], (0, 19), 100.0, ENGINES[0])
    assert found[0].step_beats == step


def test_past_four_steps_a_beat_it_takes_more_than_three_attacks_in_a_hundred() -> None:
    for few, step in ((6, Fraction(1, 4)), (7, Fraction(1, 8))):
        line = [(n / 4, 0.25, 60 + n % 7) for n in range(200 - few)]
        line += [(4 * n + 1 / 8, 1 / 8, 80) for n in range(few)]
        found = choices(song_of(line), [*map(float, range(0, 53, 4))], (0, 12), 90.0, ENGINES[0])
        assert found[0].step_beats == step


def test_a_step_is_too_long_only_beyond_the_limit() -> None:
    song = song_of([(0, 1, 60)])
    for settings, steps in (({}, 8), ({"step": Fraction(1, 2)}, 16)):
        first, *_ = choices(
            song, [0.0, 4.0, 8.0], (0, 1), 120.0, ENGINES[0], max_steps=steps, **settings
        )
        assert first.steps == steps
        with pytest.raises(LimitError, match=f"{steps} steps, more than the limit of {steps - 1}"):
            choices(
                song, [0.0, 4.0, 8.0], (0, 1), 120.0, ENGINES[0], max_steps=steps - 1, **settings
            )


def test_a_step_of_just_so_many_steps_as_there_may_be_is_chosen() -> None:
    line = song_of([(n / 2, 0.5, 60 + n % 7) for n in range(16)])
    for most, step in ((16, Fraction(1, 2)), (15, Fraction(1))):
        found = choices(line, [0.0, 4.0, 8.0], (0, 1), 120.0, ENGINES[0], max_steps=most)
        assert found[0].step_beats == step


def test_short_tones_that_repeat_on_neighbouring_steps_cost_no_less_for_their_rests() -> None:
    """A repetition that can't be heard counts once; that the tone before it is short saves nothing."""
    costs = []
    for length in (1.0, 0.45):  # on a step of a beat both last a step; the shorter is lengthened
        song = song_of([(beat, length, 60) for beat in range(8)])
        found = choices(song, [0.0, 4.0, 8.0], (0, 1), 120.0, ENGINES[1])
        costs.append(next(choice.cost for choice in found if choice.step_beats == 1))
    assert costs[1] == pytest.approx(costs[0] + 100 * 0.05)
