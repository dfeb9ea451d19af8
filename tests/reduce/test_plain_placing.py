"""Placing, folding, tones, segments and textures against looking at each note and step by itself."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import groupby, pairwise, product
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.engine import load_engine
from arranger.engine.model import Pitch
from arranger.grid.model import Grid, GridBar, Section, grid_bars
from arranger.reduce.choose.candidates import (
    Tones,
    find_repeats,
    gather_tones,
    lay_out,
    line_ends,
)
from arranger.reduce.choose.costs import costs_from
from arranger.reduce.choose.textures import textures_of_bars, weights_for
from arranger.reduce.place.fold import fold
from arranger.reduce.place.pedal import end_of_ring, without_ring
from arranger.reduce.place.placed import graces, place
from arranger.reduce.place.transpose import best_key
from arranger.reduce.worth.weigh import weigh
from arranger.reduce.worth.weights import Weights
from arranger.settings import ReduceSettings
from tests.reduce.little_songs import BEAT, Line, grid_of, pedalled, song_of
from tests.reduce.plain_weighing import Plain
from tests.reduce.test_plain_weighing import some_song

if TYPE_CHECKING:
    from arranger.engine.model import Engine
    from arranger.song import Song

ENGINE = load_engine("twin-phase")


def table_of(pitches: list[int], random: Random | None = None) -> Engine:
    """Return an engine of some pitches, each a few cents off."""
    cents = {p: 0.0 if random is None else random.uniform(-40, 40) for p in pitches}
    return replace(ENGINE, pitches={p: Pitch(p, p, 440.0, cents[p]) for p in pitches})


# Folding

NARROW = table_of([pitch for pitch in range(60, 76) if pitch != 65])
"""Fifteen pitches; no F but a high one that isn't there: 65 can't be played in any octave."""


def folded_price(shifts: list[int], chords: list[list[int]], rested: list[bool]) -> float:
    """Return what folding costs: 0.3 a note and octave, 2 a change of octave, 0.3 after a rest."""
    price = sum(0.3 * abs(s) * len(c) for s, c in zip(shifts, chords, strict=True))
    for before, after, rest in zip(shifts, shifts[1:], rested[1:], strict=False):
        price += (0.3 if rest else 2.0) * abs(after - before)
    return price


def test_folding_costs_as_little_as_any_way_to_fold() -> None:
    random = Random(3)
    several = 0
    for _ in range(150):
        onset, lasts, at = [], [], 0
        chords: list[list[int]] = []
        for _ in range(random.randrange(1, 5)):
            chord = random.sample(range(50, 90), random.choice((1, 1, 2)))
            chords.append([pitch for pitch in sorted(chord) if pitch % 12 != 5])
            onset += [at] * len(chord)
            lasts += [random.choice((1, 2, 3))] * len(chord)
            at += random.choice((1, 2, 4, 5))
        pitches = [pitch for chord in chords for pitch in chord]
        starts = sorted(set(onset))
        onset = [s for s, chord in zip(starts, chords, strict=True) for _ in chord]
        end = [on + last for on, last in zip(onset, lasts, strict=False)]
        if not pitches:
            continue
        columns = [np.array(c, np.int64) for c in (pitches, [0] * len(onset), onset, end)]
        found = fold(*columns, steps_per_beat=2.0, engine=NARROW)
        assert set(found.tolist()) <= set(NARROW.pitches)
        octaves = ((found - columns[0]) // 12).tolist()
        assert (found - columns[0] == 12 * np.array(octaves)).all()
        chords = [chord for chord in chords if chord]
        shifts = [
            {o for o, n in zip(octaves, onset, strict=True) if n == s} for s in sorted(set(onset))
        ]
        if any(len(shift) > 1 for shift in shifts):
            # A chord that no shift brings into the table as a whole: all notes by themselves.
            assert not all(
                any(all(p + 12 * s in NARROW.pitches for p in chord) for s in range(-3, 4))
                for chord in chords
            )
            continue
        ways = [
            [s for s in range(-3, 4) if all(p + 12 * s in NARROW.pitches for p in chord)]
            for chord in chords
        ]
        if not all(ways):
            continue
        several += len(chords) > 1
        onsets = sorted(set(onset))
        rested = [
            s - max([e for o, e in zip(onset, end, strict=True) if o < s], default=-9) >= 2
            for s in onsets
        ]
        if all(pitch in NARROW.pitches for pitch in pitches):
            assert octaves == [0] * len(octaves)
            continue
        cheapest = min(folded_price(list(way), chords, rested) for way in product(*ways))
        mine = folded_price([min(shift) for shift in shifts], chords, rested)
        assert mine == pytest.approx(cheapest)
    assert several > 40


def test_a_pitch_class_that_the_table_lacks_is_refused_and_breaks_no_line() -> None:
    line = np.array([77, 78, 65, 74], np.int64)
    places = np.arange(4)
    found = fold(line, places * 0, places, places + 1, steps_per_beat=1.0, engine=NARROW)
    assert found.tolist() == [-1, 66, -1, 62]


# Lines that ring


def ends_by_loops(song: Song) -> list[int]:
    """Return where notes end when the ringing lines are cut: see `arranger.reduce.place.pedal`."""
    notes = list(song.notes)
    ends = [note.onset + note.duration for note in notes]
    for part in song.parts:
        line = [note for note in notes if note.part == part.index and not note.drum]
        pairs = list(pairwise(line))
        together = [a for a, b in pairs if b.onset - a.onset <= BEAT / 16]
        rings = [
            (a, b)
            for a, b in pairs
            if b.onset - a.onset > BEAT / 16 and a.onset + a.duration - b.onset > BEAT / 8
        ]
        if len(together) <= 0.05 * len(line) and len(rings) >= 0.3 * len(line):
            for a, b in rings:
                ends[a.id] = b.onset
    return ends


def test_lines_that_ring_end_where_they_go_on() -> None:
    random = Random(8)
    cut = 0
    for _ in range(150):
        parts = []
        for _ in range(2):
            gaps = [random.choice((0.05, 0.0625, 0.07, 0.5, 1, 1, 1, 1, 1)) for _ in range(25)]
            gaps = [gap if gap > 0.2 or random.random() < 0.3 else 1 for gap in gaps]
            line, at = [], 0.0
            longest = random.choice((1.1, 1.125, 1.13, 1.5))
            for gap in gaps:
                line.append((at, random.choice((gap, longest, longest)), 60 + len(line) % 5))
                at += gap
            parts.append(Line(line, drum=random.random() < 0.1))
        song = pedalled(song_of(*parts), 0.5)
        lines = without_ring(song)
        ups = song.columns.end - song.columns.rings
        assert (lines.columns.rings == np.maximum(lines.columns.end - ups, 0)).all()
        assert lines.columns.end.tolist() == ends_by_loops(song)
        cut += lines is not song
        assert (lines is song) == (ends_by_loops(song) == song.columns.end.tolist())
        grid = grid_of(song)
        ends = end_of_ring(song, lines, grid.onset_steps, grid.end_steps)
        for note in song.notes:
            steps, end = grid.onset_steps, int(grid.end_steps[note.id])
            if lines.notes[note.id].duration != note.duration:
                own = [steps[n.id] for n in song.notes if n.part == note.part]
                after = [s for s in own if s > steps[note.id]]
                end = max(min([end, *after]), steps[note.id] + 1)
            assert ends[note.id] == end
    assert 30 < cut < 140


# Places


def test_notes_stand_where_the_grid_has_them_and_end_where_time_is_stretched() -> None:
    """A beat is four steps long, then six; a grace note leads to the longest that starts with it."""
    lines = [
        Line([(0, 1, 60), (1, 0, 61), (1, 1, 62), (1, 0.5, 66), (3, 2, 64)], "tune"),
        Line([(0, 0.5, 40), (1, 0, 41), (2, 4, 43)], "bass"),
        Line([(0, 1, 70), (1, 1, 72)], "soft", velocity=3),
        Line([(0, 1, 80)], "barely", velocity=4),
        Line([(1, 0, 36), (1, 1, 38)], "kit", drum=True),
    ]
    song = song_of(*lines)
    assert graces(song) == {4: 5}
    at = {0: 0.0, 1: 4.25, 2: 10.0, 3: 15.75}
    positions = np.array([at[note.onset // BEAT] for note in song.notes])
    grid = replace(grid_of(song), positions=positions, onset_steps=np.array(positions, np.int64))
    steps = grid.onset_steps.copy()
    steps[-1] = -1
    grid = replace(grid, onset_steps=steps)
    weights = weigh(song, ReduceSettings(mute=("bass",)))
    placed = place(song, grid, weights.roles)
    late = {1: 0.25, 3: 0.75}
    assert placed.offset.tolist() == [
        0.0 if note.id == len(steps) - 1 else late.get(note.onset // BEAT, 0.0)
        for note in song.notes
    ]
    ends = {0.5: 2.125, 1.0: 4.25, 1.5: 7.125, 2.0: 10.0}
    for note in song.notes:
        end = (note.onset + note.duration) / BEAT
        # After the last onset that is inside, at beat 2, a beat has the grid's four steps.
        assert placed.written_end[note.id] == pytest.approx(ends.get(end, 10 + 4 * (end - 2)))
    named = {0: "tune", 1: "bass", 2: "soft", 3: "barely", 4: "kit"}
    why = {"bass": "track-muted", "soft": "silent"}
    expected = {note.id: why[named[note.part]] for note in song.notes if named[note.part] in why}
    assert placed.refused == {**expected, 4: "same-step", len(steps) - 1: "beyond-limit"}
    assert placed.usable.tolist() == [note.id not in placed.refused for note in song.notes]


def test_keys_come_up_on_the_nearest_step_within_their_notes() -> None:
    """A beat is four steps long, then six."""
    line = Line([(0, 2, 60), (0.5, 0.5, 64), (1, 1, 62), (2, 1, 65)], "piano")
    for held in (0.01, 0.3, 0.5, 1.0, 1.6, 9.0):
        song = pedalled(song_of(line), held)
        positions = np.array([0.0, 2.0, 4.0, 10.0])
        ends = np.array([10, 4, 10, 14])
        grid = replace(
            grid_of(song),
            positions=positions,
            onset_steps=np.array(positions, np.int64),
            end_steps=ends,
        )
        placed = place(song, grid, weigh(song, ReduceSettings()).roles)
        for note in song.notes:
            at = note.onset / BEAT
            up = at + min(held, note.duration / BEAT)
            step = 4 * up if up <= 1 else 4 + 6 * (up - 1) if up <= 2 else 10 + 4 * (up - 2)
            assert placed.written_end[note.id] - placed.rings[note.id] == pytest.approx(
                step, abs=0.02
            )
            nearest = max(int(np.floor(step + 0.5)), int(positions[note.id]) + 1)
            assert placed.released[note.id] == min(nearest, ends[note.id])


def test_the_best_key_is_the_cheapest_of_all() -> None:
    random = Random(2)
    for _ in range(40):
        song = some_song(random)
        grid = grid_of(song)
        low = random.choice((40, 55))
        pitches = [p for p in range(low, low + 25) if p % 12 != 3]
        engine = table_of(pitches, random)
        weights = weigh(song, ReduceSettings())
        held: dict[int, float] = {}
        for note in song.notes:
            if not note.drum:
                steps = int(grid.end_steps[note.id] - grid.onset_steps[note.id])
                worth = weights.tune[note.id] + weights.bass[note.id] + 0.05
                held[note.pitch] = held.get(note.pitch, 0.0) + steps * worth

        def price(pitch: int, engine: Engine = engine) -> float:
            octaves = [p for p in engine.pitches if (p - pitch) % 12 == 0]
            if not octaves:
                return 4.0
            cents = engine.pitches[min(octaves, key=lambda p: abs(p - pitch))].cents
            return (cents / 12) ** 2 + (0 if pitch in octaves else 2)

        def cost(shift: int, held: dict[int, float] = held) -> float:
            whole = sum(held.values()) or 1.0
            return sum(n * price(p + shift) for p, n in held.items()) / whole + 0.02 * abs(shift)

        best = best_key(song, engine, grid, weights)
        assert cost(best) == pytest.approx(min(cost(shift) for shift in range(-12, 13)))


# Tones and segments


def weights_of(random: Random, count: int) -> Weights:
    return Weights(
        tune=np.array([random.random() for _ in range(count)]),
        bass=np.array([random.random() for _ in range(count)]),
        salience=np.array([random.uniform(0.1, 4) for _ in range(count)]),
        duplicate_of=np.array([random.choice((-1, -1, 0)) for _ in range(count)]),
        octave_of=np.full(count, -1),
        roles=(),
    )


def some_tones(random: Random, count: int) -> dict[str, np.ndarray]:
    onset = np.array([random.randrange(12) for _ in range(count)], np.int64)
    return {
        "ids": np.array(random.sample(range(count + 5), count), np.int64),
        "pitch": np.array([random.choice((60, 61, 72)) for _ in range(count)], np.int64),
        "onset": onset,
        "end": onset + np.array([random.choice((1, 2, 5)) for _ in range(count)], np.int64),
        "part": np.array([random.randrange(3) for _ in range(count)], np.int64),
        "released": onset + np.array([random.choice((1, 2, 5)) for _ in range(count)], np.int64),
    }


@pytest.mark.parametrize("separate", [False, True])
def test_notes_that_ask_for_the_same_are_one_tone(separate: bool) -> None:
    random = Random(4)
    costs = costs_from({})
    for _ in range(60):
        count = random.randrange(12)
        asked = some_tones(random, count)
        weights = weights_of(random, count + 5)
        offset = np.array([random.choice((0.0, -0.3, 0.5, 1.7)) for _ in range(count)])
        tones, tone_of = gather_tones(
            **asked, offset=offset, weights=weights, costs=costs, separate_parts=separate
        )
        rows = [
            {
                "id": int(asked["ids"][n]),
                "what": tuple(int(asked[name][n]) for name in ("onset", "end", "pitch"))
                + ((int(asked["part"][n]),) if separate else ()),
                "part": int(asked["part"][n]),
                "released": int(asked["released"][n]),
                # Half of its worth is lost by what is a whole step off.
                "share": 1 - 0.5 * min(abs(offset[n]), 1),
            }
            for n in range(count)
        ]
        for row in rows:
            note, share = row["id"], row["share"]
            row["tune"], row["bass"] = share * weights.tune[note], share * weights.bass[note]
            doubled = 0.3 if weights.duplicate_of[note] >= 0 else 1.0
            row["plain"] = share * doubled * weights.salience[note]
            row["rank"] = 0.3 * row["plain"] + row["tune"] + 0.7 * row["bass"]
        groups = sorted({row["what"] for row in rows})
        assert [groups.index(row["what"]) for row in rows] == tone_of.tolist()
        assert len(tones) == len(groups)
        for at, what in enumerate(groups):
            mine = [row for row in rows if row["what"] == what]
            lead = max(mine, key=lambda row: (row["rank"], -row["id"]))
            assert (tones.note[at], tones.part[at]) == (lead["id"], lead["part"])
            assert (tones.onset[at], tones.end[at], tones.pitch[at]) == what[:3]
            best = {key: max(row[key] for row in mine) for key in ("tune", "bass", "plain")}
            plain = max(0.2 * best["plain"], 0.15)
            assert tones.plain_worth[at] == pytest.approx(plain)
            assert tones.released[at] == min(max(row["released"] for row in mine), what[1])
            assert tones.worth[at] == pytest.approx(plain + best["tune"] + 0.7 * best["bass"])
            ended = [
                min(int(e - o), 2)
                for o, e, p in zip(tones.onset, tones.end, tones.pitch, strict=True)
                if e == what[0] and p == what[2]
            ]
            assert tones.repeats[at] == max(ended, default=0)
        assert find_repeats(tones.pitch, tones.onset, tones.end).tolist() == tones.repeats.tolist()


def test_a_note_of_a_line_ends_where_its_next_starts() -> None:
    random = Random(6)
    for _ in range(60):
        count = random.randrange(12)
        asked = some_tones(random, count)
        lines = [np.array([random.choice((0.2, 0.5, 0.9)) for _ in range(count)]) for _ in range(2)]
        wanted = []
        for n in range(count):
            end = asked["end"][n]
            for weight in lines:
                if weight[n] >= 0.5:
                    after = [
                        on
                        for on, part, w in zip(asked["onset"], asked["part"], weight, strict=True)
                        if part == asked["part"][n] and w >= 0.5 and on > asked["onset"][n]
                    ]
                    end = min([end, *after])
            wanted.append(end)
        found = line_ends(asked["part"], asked["onset"], asked["end"], *lines)
        assert found.tolist() == wanted


def made_tones(random: Random, count: int) -> Tones:
    asked = some_tones(random, count)
    worth = np.array([random.random() for _ in range(count)])
    return Tones(
        note=asked["ids"], pitch=asked["pitch"], onset=asked["onset"], end=asked["end"],
        released=np.minimum(asked["released"], asked["end"]), part=asked["part"], tune=worth, bass=worth, worth=worth, plain_worth=worth,
        repeats=np.array([random.randrange(3) for _ in range(count)]),
    )  # fmt: skip


def test_every_step_has_the_worthiest_tones_that_sound_on_it() -> None:
    random = Random(7)
    for _ in range(80):
        tones = made_tones(random, random.randrange(1, 14))
        steps = 18
        struck = sorted(random.sample(range(steps), random.choice((0, 3, 12))))
        hits = sorted({*struck, *random.sample(range(steps), 3)})
        more = sorted(random.sample(range(steps), 2))
        most = random.choice((2, 3, 12))
        found = lay_out(
            tones, steps=steps, steps_per_beat=4.0, hit_steps=np.array(hits, np.int64),
            silent_steps=np.array(struck, np.int64), more_bounds=np.array(more, np.int64), most=most,
        )  # fmt: skip
        edges = {0, *tones.onset.tolist(), *tones.released.tolist(), *tones.end.tolist(), *more}
        edges |= {edge for step in struck for edge in (step, step + 1)}
        starts = sorted(edge for edge in edges if edge < steps)
        assert found.starts.tolist() == starts
        assert found.lengths.tolist() == [
            b - a for a, b in zip(starts, [*starts[1:], steps], strict=True)
        ]
        crowded = 0
        for segment, start in enumerate(starts):
            there = [n for n in range(len(tones)) if tones.onset[n] <= start < tones.end[n]]
            there.sort(key=lambda n: -tones.worth[n])
            crowded += len(there) > most
            wanted = [-1, *there[:most]]
            row = found.candidates[segment].tolist()
            assert row == wanted + [-1] * (len(row) - len(wanted))
            assert found.counts[segment] == len(wanted)
            assert found.covered[segment] == (start in struck)
        assert (found.overfull, found.most, found.overlong) == (crowded, most, 0)
        for tone in range(len(tones)):
            on = range(tones.onset[tone], tones.end[tone])
            assert found.unheard[tone] == all(step in struck for step in on)
            again = 0 if tones.onset[tone] in hits else tones.repeats[tone]
            assert found.tones.repeats[tone] == again


def test_tones_that_are_taken_to_end_earlier_are_released_by_then(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("arranger.reduce.choose.candidates.MOST_SOUNDING", 20)
    random = Random(10)
    earlier = 0
    for _ in range(40):
        found = lay_out(made_tones(random, 10), steps=18, steps_per_beat=4.0)
        assert (found.tones.released <= found.tones.end).all()
        earlier += found.overlong
    assert earlier > 40


# Textures


def test_heights_rank_notes_for_the_two_highest() -> None:
    random = Random(9)
    for _ in range(40):
        song = some_song(random)
        plain = Plain(song)
        weights = weigh(song, ReduceSettings())
        found = weights_for(song, weights, "two-highest")
        first = plain.share(lambda n: n.pitch, plain.tonal)
        below = plain.share(
            lambda n, first=first: -1 if first[n.id] >= 0.5 else n.pitch, plain.tonal
        )
        second = [0.0 if a >= 0.5 else b for a, b in zip(first, below, strict=True)]
        assert found.tune == pytest.approx(first)
        assert found.bass == pytest.approx(second)
        assert found.salience == pytest.approx(0.3 * weights.salience)
        chords = weights_for(song, weights, "bass-and-chord")
        assert not chords.tune.any()
        factor = np.where(weights.tune >= 0.5, 0.2, 4.0)
        assert chords.salience == pytest.approx(factor * weights.salience)


def bars_of(*heads: tuple[int, int, int]) -> tuple[GridBar, ...]:
    """Return bars from their steps, numerator and denominator, numbered from 5."""
    return grid_bars((number, *head) for number, head in enumerate(heads, 5))


EMPTY = grid_of(song_of(Line([(0, 1, 60)])))


def gridded(step: Fraction, bars: tuple[GridBar, ...], **changes: object) -> Grid:
    steps = bars[-1].first_step + bars[-1].steps
    return replace(EMPTY, step_beats=step, bars=bars, steps=steps, **changes)  # type: ignore[arg-type]


def test_bars_and_sections_name_where_a_texture_is() -> None:
    grid = gridded(
        Fraction(1, 2), bars_of(*[(8, 4, 4)] * 6), sections=(Section("A", 1, 2), Section("A", 4, 1))
    )

    def with_texture(where: str) -> list[int]:
        settings = ReduceSettings(section_textures={where: "two-highest"})
        names = textures_of_bars(grid, settings).tolist()
        assert {name for name, _ in groupby(names)} <= {"two-highest", "auto"}
        return [
            bar.number for bar, name in zip(grid.bars, names, strict=True) if name == "two-highest"
        ]

    assert with_texture("7") == [7]
    assert with_texture("6-8") == [6, 7, 8]
    assert with_texture("9-20") == [9, 10]
    assert with_texture("A") == [6, 7, 9]
    last = textures_of_bars(grid, ReduceSettings(section_textures={"10": "two-highest"}))
    assert (last == "two-highest").tolist() == [False] * 5 + [True]
