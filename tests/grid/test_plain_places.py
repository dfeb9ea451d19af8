"""Attacks, places, passages, sections, swing and tempo against looking at each note by itself."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from random import Random
from statistics import median

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.grid import Section, plan_grid
from arranger.grid.attacks import Attacks, find_attacks
from arranger.grid.model import grid_bars
from arranger.grid.onbeat import follows_own_beat
from arranger.grid.passage import rough_bars
from arranger.grid.sections import alike_bars, find_sections
from arranger.grid.steps.place import half_up, place_ends, place_onsets, place_played
from arranger.grid.steps.swing import carry, find_swing
from arranger.grid.timeline import BarLabel, Timeline, prevailing_bpm
from arranger.settings import GridSettings
from arranger.song.model import Song, TempoChange
from arranger.song.time import timed_columns
from tests.grid.songs import TICKS, song_of

ENGINE = load_engine("twin-phase")


# Attacks: a beat is half a second


def attacks_by_loops(song: Song) -> list[int]:
    """Return the attack of each note: see `arranger.grid.attacks`."""
    second = 2 * TICKS
    notes = list(song.notes)
    ticks = sorted({note.onset for note in notes})
    starts = [tick == ticks[0] for tick in ticks]
    for place, (before, tick) in enumerate(pairwise(ticks), 1):
        near = tick - before <= 0.035 * second
        starts[place] = not near
        for note in notes:
            if note.onset != tick or note.drum or not near:
                continue
            # Of a chord the last in the file goes before, the first comes after.
            earlier = [n for n in notes if n.part == note.part and n.onset < tick]
            first = next(n for n in notes if n.part == note.part and n.onset == tick)
            if earlier and note is first:
                other = max(earlier, key=lambda n: (n.onset, n.id))
                ended = other.onset + other.duration <= tick
                grace = other.duration < 0.09 * second and note.duration >= 3 * other.duration
                starts[place] |= ended and not grace
    reference = 0
    for place, tick in enumerate(ticks):
        if starts[place]:
            reference = tick
        elif tick - reference > 0.14 * second:
            starts[place] = True
            reference = tick
    number = {tick: sum(starts[: place + 1]) - 1 for place, tick in enumerate(ticks)}
    return [number[note.onset] for note in notes]


def test_attacks_are_what_starts_together() -> None:
    random = Random(1)
    for _ in range(150):
        parts = []
        for _ in range(2):
            at, part = 0.0, []
            for _ in range(random.randrange(1, 14)):
                length = random.choice((0.01, 0.05, 0.17, 0.19, 0.6))
                part.append((at, length, 60))
                at += random.choice((0.0, 0.02, 0.05, 0.069, 0.071, 0.5))
            parts.append(part)
        song = song_of(*parts, drums=frozenset({1} if random.random() < 0.3 else ()))
        found = find_attacks(timed_columns(song))
        assert found.of_note.tolist() == attacks_by_loops(song)
        lengths = [min(max(note.duration / (2 * TICKS), 0.01), 0.25) for note in song.notes]
        # All are as loud: 0.75.
        assert found.weight == pytest.approx([length * 0.85**2 for length in lengths])


# Places


def some_attacks(random: Random, count: int) -> Attacks:
    of_note = sorted(random.randrange(count) for _ in range(2 * count))
    numbers = {old: new for new, old in enumerate(dict.fromkeys(of_note))}
    return Attacks(
        of_note=np.array([numbers[old] for old in of_note]),
        weight=np.array([random.uniform(0.1, 1) for _ in of_note]),
        count=len(numbers),
    )


def means(values: list[float], attacks: Attacks) -> list[float]:
    found = []
    for attack in range(attacks.count):
        own = [n for n, of in enumerate(attacks.of_note.tolist()) if of == attack]
        weight = sum(attacks.weight[n] for n in own)
        found.append(sum(values[n] * attacks.weight[n] for n in own) / weight)
    return found


def test_halves_go_up_and_so_does_what_is_a_half_but_for_rounding() -> None:
    values = [0.5, 1.5, 2.5, -0.5, 0.49999, 0.5 - 1e-10, 3.0, 3.2, -1.5]
    assert half_up(np.array(values)).tolist() == [1, 2, 3, 0, 0, 1, 3, 3, -1]


def test_onsets_go_to_the_step_nearest_to_their_attack() -> None:
    random = Random(2)
    for _ in range(30):
        attacks = some_attacks(random, 8)
        values = [random.uniform(0, 20) for _ in attacks.of_note]
        mean = means(values, attacks)
        found = place_onsets(np.array(values), attacks)
        assert found.tolist() == [math.floor(mean[of] + 0.5) for of in attacks.of_note.tolist()]


def played_by_loops(at: list[float], steps_a_beat: int) -> list[int]:
    """Return the step of each attack: eight rounds of who is how likely late, and how uneven all are."""
    usual = [1 / steps_a_beat] * steps_a_beat
    variance = 0.2**2
    late = [0.0] * len(at)
    for _ in range(8):
        counted = [0.5] * steps_a_beat
        wrong = 0.0
        for n, position in enumerate(at):
            low = math.floor(position)
            part = position - low
            before, after = usual[low % steps_a_beat], usual[(low + 1) % steps_a_beat]
            here = before * math.exp(-(part**2) / (2 * variance))
            there = after * math.exp(-((1 - part) ** 2) / (2 * variance))
            late[n] = there / (here + there) if here + there else float(part > 0.5)
            counted[low % steps_a_beat] += 1 - late[n]
            counted[(low + 1) % steps_a_beat] += late[n]
            wrong += (1 - late[n]) * part**2 + late[n] * (1 - part) ** 2
        usual = [c / sum(counted) for c in counted]
        variance = max(wrong / len(at), 0.02**2)
    return [math.floor(position) + (late[n] >= 0.5) for n, position in enumerate(at)]


def test_played_attacks_go_where_the_songs_rhythm_makes_it_likely() -> None:
    random = Random(3)
    moved = 0
    for _ in range(30):
        attacks = some_attacks(random, 24)
        grid = random.choice(((0, 2), (0, 2, 3), (0, 1, 2, 3)))
        uneven = random.choice((0.05, 0.3, 0.4))
        exact = [4 * (n // 3) + random.choice(grid) for n in range(attacks.count)]
        values = [exact[of] + random.gauss(0, uneven) for of in attacks.of_note.tolist()]
        wanted = played_by_loops(means(values, attacks), 4)
        found = place_played(np.array(values), attacks, 4)
        assert found.tolist() == [wanted[of] for of in attacks.of_note.tolist()]
        moved += (found != place_onsets(np.array(values), attacks)).any()
    assert moved > 5


def test_of_two_steps_that_are_as_likely_the_later_has_the_attack() -> None:
    alone = Attacks(of_note=np.array([0]), weight=np.ones(1), count=1)
    assert place_played(np.array([2.5]), alone, 4).tolist() == [3]


def test_who_plays_evenly_is_believed() -> None:
    """Of a thousand exact attacks the deviation is a fiftieth of a step, so a hair before half is early."""
    exact = np.arange(1000.0) * 4
    for off, step in ((3.497, 3), (3.4999, 4)):
        values = np.append(exact, 4000 + off)
        attacks = Attacks(of_note=np.arange(1001), weight=np.ones(1001), count=1001)
        found = place_played(values, attacks, 4)
        assert found.tolist() == [*range(0, 4000, 4), 4000 + step]
        assert played_by_loops(values.tolist(), 4) == found.tolist()


def test_ends_meet_the_next_attack_of_their_part_where_they_nearly_do() -> None:
    random = Random(4)
    met = 0
    for _ in range(120):
        count = random.randrange(1, 10)
        places = sorted(random.choice((0, 1, 2.02, 4.3, 8, 12.98, 17)) for _ in range(count))
        steps = [math.floor(p + 0.5) for p in places]
        lasts = [random.choice((0.2, 0.99, 1.51, 1.8, 3.18, 3.42, 4.0, 4.3, 5)) for _ in places]
        part = [random.randrange(2) for _ in places]
        found = place_ends(
            np.array(steps), np.array(places), np.array(places) + np.array(lasts), np.array(part)
        )
        for n in range(count):
            position_of_end = places[n] + lasts[n]
            end = math.floor(position_of_end + 0.5 + 1e-9)
            later = [(s, p) for s, p, q in zip(steps, places, part, strict=True)
                     if q == part[n] and s > steps[n]]  # fmt: skip
            if later:
                step, position = min(later)
                gap = position - position_of_end
                long = lasts[n] >= 0.85 * (position - places[n])
                on_step = abs(position_of_end - end) < 0.02
                if end <= step and gap > 0 and (gap <= 0.5 or (long and not on_step)):
                    met += end != step
                    end = step
            assert found[n] == max(end, steps[n] + 1)
    assert met > 5


# Passages: quavers from bar 2 to bar 4, on steps of a quaver


def planned(*notes: tuple[float, float, int], **settings: object):
    chosen = GridSettings(step=Fraction(1, 2), beat="file", **settings)  # type: ignore[arg-type]
    return plan_grid(song_of(notes), ENGINE, chosen)


@pytest.mark.parametrize(
    ("first", "last", "length", "bars"),
    [
        (4, 15.5, 0.5, [2, 3, 4]),
        (4 - 1 / 32, 15.5, 0.5, [2, 3, 4]),  # a hair before its bar line
        (3.5, 15.5, 0.5, [1, 2, 3, 4]),
        (4, 15.5, 0.7, [2, 3, 4]),  # dies away just over the bar line
        (4, 15.5, 0.8, [2, 3, 4, 5]),
        (4, 15.5, 0, [2, 3, 4]),
        (4, 16 - 1 / 32, 0.1, [2, 3, 4, 5]),
        (0, 0, 4, [1]),
        (0, 0, 4.5, [1, 2]),
    ],
)
def test_bars_with_sound_in_them_are_the_passage(
    first: float, last: float, length: float, bars: list[int]
) -> None:
    grid = planned((first, 0.5 if first != last else length, 60), (last, length, 62))
    assert [bar.number for bar in grid.bars] == bars
    assert grid.steps == 8 * len(bars)
    assert grid.first_tick == 4 * TICKS * (bars[0] - 1)
    assert grid.bar_ticks == tuple(4 * TICKS * (n - 1) for n in (*bars, bars[-1] + 1))


@pytest.mark.parametrize(
    ("first", "last", "length", "bars"),
    [
        (4, 15.5, 0.5, (1, 3)),
        (4 - 1 / 16, 15.5, 0.5, (1, 3)),
        (4 - 1 / 15, 15.5, 0.5, (0, 3)),
        (4, 15.5, 0.5 + 1 / 16, (1, 3)),
        (4, 15.5, 0.5 + 1 / 15, (1, 4)),
        (4, 23.5, 3, (1, 5)),  # bars are no more than there are
        (4, 16, 0, (1, 3)),  # the last onset is carried over the line, if it is
    ],
)
def test_a_sixteenth_of_a_beat_beside_a_bar_line_is_on_it(
    first: float, last: float, length: float, bars: tuple[int, int]
) -> None:
    timeline = Timeline(
        basis="file", onset_beats=np.array([first, last]), end_beats=np.array([4, last + length]),
        bar_beats=np.arange(0, 28, 4.0), bar_ticks=np.arange(7), labels=(BarLabel(1, 4, 4),) * 6,
        bpm=120, own_bpm=120,
    )  # fmt: skip
    assert rough_bars(timeline, GridSettings()) == bars


def test_asked_bars_may_be_the_first_and_the_last_but_no_others() -> None:
    notes = [(n, 1, 60) for n in range(16)]
    for asked in ((1, 1), (4, 4), (1, 4), (2, 3)):
        grid = planned(*notes, bars=asked)
        assert (grid.bars[0].number, grid.bars[-1].number) == asked
        assert grid.onset_steps[grid.onset_steps >= 0].tolist() == list(range(0, grid.steps, 2))
        assert grid.end_steps[grid.onset_steps >= 0].max() == grid.steps
    for asked in ((0, 1), (4, 5)):
        with pytest.raises(Exception, match=r"no bar [05].*it has bars 1 to 4"):
            planned(*notes, bars=asked)


def test_the_limit_of_steps_is_exact() -> None:
    notes = [(n, 1, 60) for n in range(16)]
    assert planned(*notes, max_steps=32).steps == 32
    with pytest.raises(Exception, match="take 32 steps, more than the limit of 31"):
        planned(*notes, max_steps=31)
    later = [(n + 8, 1, 60) for n in range(8)]
    assert planned(*later, max_steps=16).steps == 16, "silence before the song takes none"


# Sections


def sections_by_loops(rows: list[list[tuple[int, int, int]]], steps: list[int]) -> list[list[bool]]:
    """Return which bars are alike: nine tenths of the notes that either has, in both."""
    sets = [set(row) for row in rows]
    return [
        [
            bool(a & b) and len(a & b) >= 0.9 * len(a | b) and steps[i] == steps[j]
            for j, b in enumerate(sets)
        ]
        for i, a in enumerate(sets)
    ]


def found_sections(rows: list[list[tuple[int, int, int]]], steps: list[int]) -> list[Section]:
    bars = grid_bars((n, size, 4, 4) for n, size in enumerate(steps, 1))
    notes = [
        (bar.first_step + place, part, pitch)
        for bar, row in zip(bars, rows, strict=True)
        for place, part, pitch in row
    ]
    notes += [(-1, 0, 60), (bars[-1].first_step + bars[-1].steps, 0, 60)]
    onset, part, pitch = (np.array(column, np.int64) for column in zip(*notes, strict=True))
    return list(find_sections(alike_bars(bars, onset, part, pitch)))


def test_sections_are_runs_of_bars_that_come_again() -> None:
    random = Random(5)
    named = 0
    for _ in range(60):
        kinds = [[(n % 12, n % 2, random.randrange(50, 60)) for n in range(12)] for _ in range(9)]
        kinds[8] = []
        verse = [random.randrange(8) for _ in range(random.choice((4, 5, 6)))]
        order = [
            *verse,
            random.randrange(9),
            *verse,
            *(random.randrange(9) for _ in range(4)),
            *verse,
        ]
        rows = [list(kinds[kind]) for kind in order]
        for row in rows:
            if row and random.random() < 0.3:
                # One of 13 differs: 12 of 13 are shared with another that lacks it.
                row.append((random.randrange(12), 3, 100))
        steps = [12 if random.random() < 0.9 else 16 for _ in rows]
        alike = sections_by_loops(rows, steps)
        found = found_sections(rows, steps)
        by_name: dict[str, list[Section]] = {}
        taken: set[int] = set()
        for section in found:
            by_name.setdefault(section.name, []).append(section)
            mine = set(range(section.first_bar, section.first_bar + section.bars))
            assert not mine & taken
            taken |= mine
            assert section.bars >= 4
        assert [s.first_bar for s in found] == sorted(s.first_bar for s in found)
        assert list(by_name) == sorted(by_name)
        for same in by_name.values():
            assert len(same) >= 2
            for section in same:
                for n in range(section.bars):
                    assert alike[same[0].first_bar + n][section.first_bar + n]
        # Nothing of four bars that comes again is left outside.
        longest = max(
            (
                n
                for a in range(len(rows))
                for b in range(a + 1, len(rows))
                for n in range(1, min(b - a, len(rows) - b) + 1)
                if all(alike[a + k][b + k] and {a + k, b + k}.isdisjoint(taken) for k in range(n))
            ),
            default=0,
        )
        assert longest < 4
        named += bool(found)
    assert named > 20


def test_a_pitch_of_one_part_is_no_pitch_of_the_next() -> None:
    row = [(n, 0, 40 + n) for n in range(6)]
    high, low = [*row, (0, 0, 127)], [*row, (0, 1, 0)]
    assert found_sections([high] * 4 + [low] * 4, [12] * 8) == []


def test_of_very_many_kinds_only_equal_bars_are_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    row = [(n, 0, 60 + n) for n in range(12)]
    kinds = [[(place, part, pitch + 12 * k) for place, part, pitch in row] for k in range(4)]
    nearly = [[*kind, (0, 1, 40)] for kind in kinds]
    silent: list[list[tuple[int, int, int]]] = [[]] * 4
    rows = [*kinds, *silent, *kinds, *nearly, *silent]
    assert [s.first_bar for s in found_sections(rows, [12] * 20)] == [0, 8, 12]
    monkeypatch.setattr("arranger.grid.sections.MOST_CELLS", 10)
    # A note that is written twice is one.
    rows[8] = [*rows[8], rows[8][0]]
    assert found_sections(rows, [12] * 20) == [Section("A", 0, 4), Section("A", 8, 4)]
    assert found_sections(rows, [*[12] * 8, *[13] * 12]) == []


# Swing


@pytest.mark.parametrize("unit", [1.0, 0.5])
@pytest.mark.parametrize(
    ("place", "found"),
    [(0.569, False), (0.571, True), (0.65, True), (0.729, True), (0.731, False), (0.5, False)],
)
def test_swing_stands_between_so_much_of_a_pair(unit: float, place: float, found: bool) -> None:
    beats = np.array([unit * (pair + off) for pair in range(8) for off in (0.0, place)])
    swing = find_swing(beats)
    assert (swing is not None) == found
    if swing is not None:
        assert swing == (unit, pytest.approx(place), 8)


def pairs(places: list[float], *others: float) -> np.ndarray:
    return np.sort([*(n + p for n, p in enumerate(places)), *others])


@pytest.mark.parametrize(
    ("beats", "found"),
    [
        (pairs([0.65] * 8, *range(8)), True),
        (pairs([0.65] * 7, *range(7)), False),  # too few
        (pairs([0.65] * 6 + [0.72] * 2, *range(8)), True),  # three of four are alike
        (pairs([0.65] * 5 + [0.72] * 3, *range(8)), False),
        (pairs([0.65] * 8, *range(4)), True),  # half of them have a note on their beat
        (pairs([0.65] * 8, *range(3)), False),
        (pairs([0.65] * 8, 0.3, 1.3, *range(8)), True),
        (pairs([0.65] * 8, 0.3, 1.3, 2.3, *range(8)), False),  # triplets
        (pairs([0.65] * 8, 0.08, 0.92, 1.08, 1.92), True),
        (pairs([0.65] * 8, 0.12, 0.88, 1.12, 1.88), False),
        (pairs([0.65] * 8, 0.1, 0.9, 1.1, 1.9), False),  # what is on a bound is beyond it
        (pairs([0.65] * 8, 0.25, 1.25, 2.25, *range(8)), True),
        (pairs([0.65] * 8, 0.42, 1.42, 2.42, *range(8)), True),
        (pairs([0.65] * 7, 7.8, *range(8)), False),
        (pairs([0.57] * 8, *range(8)), True),
        (pairs([0.73] * 8, *range(8)), True),
    ],
)
def test_swing_needs_company(beats: np.ndarray, found: bool) -> None:
    assert (find_swing(beats) is not None) == found


def test_swung_notes_are_carried_evenly() -> None:
    swing = find_swing(pairs([0.6] * 8, *range(8)))
    assert swing is not None
    beats = np.array([0.0, 0.3, 0.6, 0.8, 1.0, 3.6, 3.9])
    assert carry(beats, swing, 0.5) == pytest.approx([0, 0.25, 0.5, 0.75, 1, 3.5, 3.875])
    halves = swing._replace(unit=0.5)
    assert carry(beats / 2, halves, 0.5) == pytest.approx(carry(beats, swing, 0.5) / 2)


# Does a song follow its own beat?


def test_the_verdict_is_that_of_the_mean_vector() -> None:
    random = Random(6)
    verdicts = set()
    for _ in range(80):
        count = random.choice((20, 31, 32, 60, 200))
        division = random.choice((1, 2, 3, 4, 8))
        uneven = random.choice((0.0, 0.01, 0.04, 0.2))
        shift = random.choice((0.0, 0.0, 0.02, 0.05, 0.15))
        places = [random.randrange(200) / division for _ in range(count)]
        notes = [(max(p + shift + random.gauss(0, uneven), 0), 1, 60) for p in places]
        song = song_of(notes)
        if random.random() < 0.1:
            song = replace(song, own_beat=False)
        found = follows_own_beat(song)
        ticks = sorted({note.onset for note in song.notes})
        vectors = {
            d: sum(cmath.exp(2j * cmath.pi * d * t / TICKS) for t in ticks) / len(ticks)
            for d in (1, 2, 3, 4, 6, 8, 12)
        }
        best = max(abs(v) for v in vectors.values())
        chosen = next(d for d, v in vectors.items() if abs(v) >= 0.9 * best)
        strength, angle = abs(vectors[chosen]), cmath.phase(vectors[chosen])
        few = len(ticks) < 32
        keeps = few or (strength >= 0.35 and 7 * math.exp(-len(ticks) / 4 * strength**2) < 0.01)
        chance = abs(angle) / math.pi if keeps else 1.0
        near = few or chance < 0.1

        def on(parts: int, ticks: list[int] = ticks) -> float:
            size = TICKS / parts
            return sum(abs(t - size * round(t / size)) <= 0.51 for t in ticks) / len(ticks)

        close = near or (keeps and abs(angle) / (2 * math.pi * chosen) < 1 / 48)
        exact = (close and on(24) >= 0.9) or on(1) >= 0.3
        assert found.division == chosen
        assert found.onsets == len(ticks)
        assert found.exact == exact
        assert found.keeps_tempo == (song.own_beat and (exact or keeps))
        assert found.follows == (song.own_beat and (exact or (keeps and near)))
        assert found.probability == pytest.approx(chance)
        assert found.statistic == pytest.approx(strength * math.cos(angle))
        assert found.shift_beats == pytest.approx(angle / (2 * math.pi * chosen), abs=1e-9)
        verdicts.add((found.exact, found.keeps_tempo, found.follows))
    assert len(verdicts) >= 4


@pytest.mark.parametrize(
    ("ticks", "off", "on", "exact"),
    [
        (100, 0, 40, True),  # rounded to ticks: half of one off at most
        (100, 1, 40, False),
        (480, 0, 36, True),
        (480, 0, 35, False),  # fewer than nine in ten
        (480, 1, 40, False),
        (96, 0, 40, True),
        (95, 0, 40, False),  # so coarse that all is on some division
    ],
)
def test_what_stands_on_24ths_was_written(ticks: int, off: int, on: int, exact: bool) -> None:
    """40 onsets on 24ths of beats, none on a beat, and the rest of them between."""
    places = [round((n + (6, 18, 12, 6, 18, 8)[n % 6] / 24) * ticks) + off for n in range(on)]
    places += [round((n + 0.5 + 1 / 48) * ticks) for n in range(on, 40)]
    song = song_of([(place / TICKS, 0.1, 60) for place in places], ticks_per_beat=ticks)
    verdict = follows_own_beat(song)
    assert verdict.onsets == 40
    assert verdict.exact == exact


def test_the_tempo_that_prevails_is_the_median_of_all_ticks() -> None:
    random = Random(7)
    for _ in range(60):
        changes = {0: 500_000}
        for _ in range(random.randrange(5)):
            changes[random.randrange(60)] = random.choice((300_000, 400_000, 600_000))
        song = replace(
            song_of([(0, 1, 60)]),
            tempos=tuple(map(TempoChange, *zip(*sorted(changes.items()), strict=True))),
        )
        first = random.randrange(40)
        last = first + random.randrange(1, 40)
        rules = [changes[max(t for t in changes if t <= tick)] for tick in range(first, last)]
        found = prevailing_bpm(song, first, last)
        low, high = sorted(rules)[(len(rules) - 1) // 2], sorted(rules)[len(rules) // 2]
        assert found in (pytest.approx(60e6 / low), pytest.approx(60e6 / high))
        if low == high:
            assert found == pytest.approx(60e6 / median(rules))


def test_the_tempo_of_a_song_without_length_is_that_of_its_tick() -> None:
    tempos = (TempoChange(0, 500_000), TempoChange(6, 300_000))
    song = replace(song_of([(0, 1, 60)]), tempos=tempos)
    assert [prevailing_bpm(song, tick, tick) for tick in (0, 5, 6)] == [120, 120, 200]
