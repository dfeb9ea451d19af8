"""Whose turn it is, read a second time: moment by moment, with a list of all that was heard."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from arranger.grid.model import Grid
from arranger.reduce.choose.candidates import Problem, Tones, find_repeats
from arranger.reduce.choose.turns import asked_for, turning, turns
from tests.reduce.test_turns import gridded, problem_of

FIRST_CHOICE = {7: 0.0, 3: 0.1, 4: 0.1, 0: 0.2}
"""Turns that the tones of a triad wait, by semitones above its root; others ten."""


def root_of(moments: list[dict[str, list[tuple[int, bool]] | int]]) -> int:
    """Return the root of the triad that some moments fit best: the lowest class of several."""
    weights = dict.fromkeys(range(12), 0)
    for moment in moments:
        sounding = moment["sounding"]
        assert isinstance(sounding, list)
        for pitch, tune in sounding:
            each = 1 if tune else 2
            if pitch == min(sounding)[0]:
                each *= 2
            weights[pitch % 12] += each * moment["length"]  # type: ignore[operator]
    fits = [
        weights[root]
        + weights[(root + 7) % 12]
        + max(weights[(root + 3) % 12], weights[(root + 4) % 12])
        for root in range(12)
    ]
    return fits.index(max(fits))


def described(
    problem: Problem, tones: Tones, grid: Grid, broken: list[bool]
) -> list[dict[str, object]]:
    """Return what sounds in each segment, told apart by what it is."""
    starts, are_beats = turns(grid, np.array(broken))
    beat_of = dict(zip(starts.tolist(), are_beats.tolist(), strict=True))
    order = sorted(beat_of)
    moments: list[dict[str, object]] = []
    beats = 0
    for start, length in zip(problem.starts.tolist(), problem.lengths.tolist(), strict=True):
        here = [t for t in range(len(tones)) if tones.onset[t] <= start < tones.end[t]]
        tune = [t for t in here if tones.tune[t] >= 0.5]
        rest = [t for t in here if t not in tune]
        step = grid.step_length.seconds
        faded = [t for t in rest if (start - tones.released[t]) * step >= 0.5]
        if len(faded) < len(rest):
            rest = [t for t in rest if t not in faded]
        top = max((int(tones.pitch[t]) for t in tune), default=-1)
        chord = sorted((int(tones.pitch[t]), t) for t in rest if tones.pitch[t] != top)
        next_turn = next((turn for turn in order if turn > start), None)
        beats += beat_of.get(start, False)
        moments.append(
            {
                "start": start, "length": length, "broken": broken[start],
                "bar": max(bar.number for bar in grid.bars if bar.first_step <= start),
                "turn": start in beat_of, "beat": beat_of.get(start, False), "beats": beats,
                "upbeat": start in beat_of and (next_turn is None or beat_of[next_turn]),
                "struck": bool(chord) and tones.onset[chord[0][1]] == start,
                "tune": {int(tones.pitch[t]) % 12 for t in tune}, "top": top,
                "chord": [pitch for pitch, _ in chord],
                "parts": {int(tones.part[t]) for t in here if tones.tune[t] < 0.5},
                "sounding": [(int(tones.pitch[t]), t in tune) for t in (*tune, *rest)],
            }
        )  # fmt: skip
    return moments


def plain_asked(
    problem: Problem, tones: Tones, grid: Grid, broken: list[bool], lines: list[bool]
) -> list[tuple[int, int]]:
    """Return what both voices are asked for in each segment."""
    moments: list[dict] = described(problem, tones, grid, broken)  # type: ignore[type-arg]
    found = []
    heard: list[tuple[int, int]] = []  # turn and pitch class, since the harmony began
    turn = begun = 0
    bar, bass = None, None
    last_asked = {1: -1, 2: -1}
    last_found = {1: -1, 2: -1}
    for place, now in enumerate(moments):
        turn += now["turn"]
        chord = now["chord"]
        if not now["broken"] or not chord:
            last_asked = {1: -1, 2: -1}
            found.append((-1, -1))
            continue
        changes = now["struck"] and chord[0] % 12 != bass
        if now["bar"] != bar or changes:
            heard, begun = [], turn
        bar, bass = now["bar"], chord[0] % 12
        if now["turn"]:
            heard += [(turn, pitch_class) for pitch_class in now["tune"]]
        root = root_of([moment for moment in moments if moment["beats"] == now["beats"]])

        def asked(voice: int, offered: list[int]) -> int:
            def wait(pitch: int) -> tuple[float, int, int]:
                times = [at for at, pitch_class in heard if pitch_class == pitch % 12]
                since = max(times) if times else begun - 10
                since += FIRST_CHOICE.get((pitch - root) % 12, 10.0)
                if voice == 2 and pitch % 12 == bass:
                    since -= 2
                return since, abs(pitch - last_found[voice]), pitch

            if now["turn"] or last_asked[voice] not in offered:
                last_asked[voice] = last_found[voice] = min(offered, key=wait)
            heard.append((turn, last_asked[voice] % 12))
            return last_asked[voice]

        if changes or (now["turn"] and now["beat"]):
            last_asked[2] = chord[0]
            heard.append((turn, bass))
        else:
            asked(2, [p for p in chord if p != chord[0]] or chord if now["upbeat"] else chord)
        if now["top"] >= 0:
            last_found[1] = now["top"]
        others = [pitch for pitch in chord if pitch != last_asked[2]]
        if others and rests(moments, place, grid) and not any(lines[p] for p in now["parts"]):
            near = [pitch for pitch in others if abs(pitch - last_found[1]) <= 12]
            asked(1, near or others)
        else:
            last_asked[1] = -1
        found.append((last_asked[1], last_asked[2]))
    return found


def rests(moments: list[dict], place: int, grid: Grid) -> bool:  # type: ignore[type-arg]
    """Return whether the tune rests for a quarter note or more around a moment."""
    if moments[place]["tune"]:
        return False
    first = after = place
    while first > 0 and not moments[first - 1]["tune"]:
        first -= 1
    while after < len(moments) and not moments[after]["tune"]:
        after += 1
    return sum(moment["length"] for moment in moments[first:after]) * grid.step_beats >= 1


def some_tones(random: Random, steps: int) -> Tones:
    """Return tones of three parts, some of them the tune, some rung on by a pedal; no pitch twice at once."""
    rows: list[tuple[int, int, int, int, int, float]] = []
    for _ in range(random.randrange(1, 26)):
        onset = random.choice((random.randrange(steps), random.randrange(steps) // 4 * 4))
        end = min(onset + random.choice((1, 2, 4, 8, 16, 24)), steps)
        up = random.choice((end, end, random.randint(onset + 1, end)))
        pitch = random.choice((36, 40, 43, 48, 52, 55, 58, 60, 64, 67, 71, 76, 84))
        if not any(row[3] == pitch and row[0] < end and onset < row[1] for row in rows):
            tune = random.choice((0.0, 0.0, 0.4, 0.5, 1.0)) if pitch > 58 else 0.0
            rows.append((onset, end, up, pitch, random.randrange(3), tune))
    onset, end, up, pitch, part = (
        np.array(column, dtype=np.int64)
        for column in list(zip(*sorted(rows), strict=True))[:5]
    )  # fmt: skip
    tune = np.array([row[5] for row in sorted(rows)])
    return Tones(
        note=np.arange(len(rows)), pitch=pitch, onset=onset, end=end, released=up, part=part,
        tune=tune, bass=np.zeros(len(rows)), worth=1.0 + tune, plain_worth=np.ones(len(rows)),
        repeats=find_repeats(pitch, onset, end),
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("step", "seconds", "heads"),
    [
        ("1/4", 0.125, [(16, 4, 4), (12, 3, 4), (14, 7, 8)]),
        ("1/4", 0.08, [(12, 6, 8)] * 3),
        ("1/8", 0.05, [(16, 2, 4)] * 3),
        ("1/3", 0.1, [(12, 4, 4)] * 3),
    ],
)
def test_turns_go_to_whom_a_look_at_all_that_was_heard_gives_them(
    seed: int, step: str, seconds: float, heads: list[tuple[int, int, int]]
) -> None:
    random = Random(seed)
    for _ in range(12):
        grid = gridded(*heads, step=step, seconds=seconds)
        bars = [random.random() < 0.85 for _ in grid.bars]
        broken = [on for bar, on in zip(grid.bars, bars, strict=True) for _ in range(bar.steps)]
        tones = some_tones(random, grid.steps)
        problem = problem_of(tones, grid)
        lines = [random.random() < 0.2 for _ in range(3)]
        found = asked_for(problem, grid, np.array(broken), np.array(lines))
        assert list(zip(*found.tolist(), strict=True)) == plain_asked(
            problem, tones, grid, broken, lines
        )
        takes = turning(problem, np.array(broken), np.array(lines))
        assert takes[1].tolist() == [broken[start] for start in problem.starts]
        moments: list[dict] = described(problem, tones, grid, broken)  # type: ignore[type-arg]
        assert takes[0].tolist() == [
            now["broken"]
            and rests(moments, place, grid)
            and not any(lines[part] for part in now["parts"])
            for place, now in enumerate(moments)
        ]
