"""Whose turn it is, read a second time: moment by moment, with a list of all that was heard."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from arranger.reduce.choose import turns as turns_module
from arranger.reduce.choose.candidates import Tones, find_repeats
from arranger.reduce.choose.turns import asked_for, turning, turns
from tests.reduce.test_turns import gridded, problem_of

if TYPE_CHECKING:
    from arranger.grid.model import Grid
    from arranger.reduce.choose.candidates import ChoiceProblem

FIRST_CHOICE = {7: 0.0, 3: 0.1, 4: 0.1, 0: 0.2}
"""Turns that the tones of a triad wait, by semitones above its root; others ten."""


Moment = dict[str, Any]
"""What is known of a segment."""


def root_of(moments: list[Moment]) -> int:
    """Return the root of the triad that some moments fit best: the lowest class of several."""
    weights = dict.fromkeys(range(12), 0)
    for moment in moments:
        for pitch, tune in moment["sounding"]:
            lowest = pitch == min(moment["sounding"])[0]
            weights[pitch % 12] += moment["length"] * (1 if tune else 2) * (1 + lowest)
    fits = [
        weights[root]
        + weights[(root + 7) % 12]
        + max(weights[(root + 3) % 12], weights[(root + 4) % 12])
        for root in range(12)
    ]
    return fits.index(max(fits))


def described(problem: ChoiceProblem, tones: Tones, grid: Grid, broken: list[bool]) -> list[Moment]:
    """Return what sounds in each segment, told apart by what it is."""
    starts, are_beats = turns(grid, np.array(broken))
    beat_of = dict(zip(starts.tolist(), are_beats.tolist(), strict=True))
    order = sorted(beat_of)
    moments: list[Moment] = []
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


class Plain:
    """Gives the turns, and remembers."""

    def __init__(self, moments: list[Moment], grid: Grid, lines: list[bool]) -> None:
        self.moments, self.grid, self.lines = moments, grid, lines
        self.heard: list[tuple[int, int]] = []  # turn and pitch class, since the harmony began
        self.turn = self.begun = 0
        self.bar = self.bass = -1
        self.asked, self.found = {1: -1, 2: -1}, {1: -1, 2: -1}
        self.turns: dict[int, list[int]] = {1: [], 2: []}  # the classes that had them

    def given(self, place: int) -> tuple[int, int]:
        """Return what both voices are asked for in a segment."""
        now = self.moments[place]
        self.turn += now["turn"]
        chord = now["chord"]
        if not now["broken"] or not chord:
            self.asked = {1: -1, 2: -1}
            return -1, -1
        changes = now["struck"] and chord[0] % 12 != self.bass
        if now["bar"] != self.bar or changes:
            self.heard, self.begun = [], self.turn
        self.bar, self.bass = now["bar"], chord[0] % 12
        if now["turn"]:
            self.heard += [(self.turn, pitch_class) for pitch_class in now["tune"]]
        if changes or (now["turn"] and now["beat"]):
            self.asked[2] = chord[0]
            self.heard.append((self.turn, self.bass))
            if now["turn"]:
                self.turns[2].append(self.bass)
        else:
            upper = [pitch for pitch in chord if pitch != chord[0]]
            self.give(2, now, (upper or chord) if now["upbeat"] else chord)
        if now["top"] >= 0:
            self.found[1] = now["top"]
        others = [pitch for pitch in chord if pitch != self.asked[2]]
        answered = any(self.lines[part] for part in now["parts"])
        if others and not answered and rests(self.moments, place, self.grid):
            self.give(1, now, [p for p in others if abs(p - self.found[1]) <= 12] or others)
        else:
            self.asked[1] = -1
        return self.asked[1], self.asked[2]

    def give(self, voice: int, now: Moment, offered: list[int]) -> None:
        if now["turn"] or self.asked[voice] not in offered:
            root = root_of([each for each in self.moments if each["beats"] == now["beats"]])
            last_two = self.turns[voice][-2:]
            if now["turn"] and len(last_two) == 2 and len(set(last_two)) == 1:
                offered = [p for p in offered if p % 12 not in last_two] or offered
            ways = [(self.wait(voice, p, root), abs(p - self.found[voice]), p) for p in offered]
            self.asked[voice] = self.found[voice] = min(ways)[2]
            if now["turn"]:
                self.turns[voice].append(self.asked[voice] % 12)
        self.heard.append((self.turn, self.asked[voice] % 12))

    def wait(self, voice: int, pitch: int, root: int) -> float:
        times = [at for at, pitch_class in self.heard if pitch_class == pitch % 12]
        since = max(times) if times else self.begun - 10
        sooner = 2 if voice == 2 and pitch % 12 == self.bass else 0
        return since + FIRST_CHOICE.get((pitch - root) % 12, 10.0) - sooner


def rests(moments: list[Moment], place: int, grid: Grid) -> bool:
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
    seed: int,
    step: str,
    seconds: float,
    heads: list[tuple[int, int, int]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every other time by what stands in for what is compiled."""
    if seed % 2:
        monkeypatch.setattr(turns_module, "_compiled", None)
    random = Random(seed)
    for _ in range(12):
        grid = gridded(*heads, step=step, seconds=seconds)
        bars = [random.random() < 0.85 for _ in grid.bars]
        broken = [on for bar, on in zip(grid.bars, bars, strict=True) for _ in range(bar.steps)]
        tones = some_tones(random, grid.steps)
        problem = problem_of(tones, grid)
        lines = [random.random() < 0.2 for _ in range(3)]
        found = asked_for(problem, grid, np.array(broken), np.array(lines))
        moments = described(problem, tones, grid, broken)
        plain = Plain(moments, grid, lines)
        wanted = [plain.given(place) for place in range(len(moments))]
        assert list(zip(*found.tolist(), strict=True)) == wanted
        takes = turning(problem, np.array(broken), np.array(lines))
        assert takes[1].tolist() == [broken[start] for start in problem.starts]
        assert takes[0].tolist() == [
            now["broken"]
            and rests(moments, place, grid)
            and not any(lines[part] for part in now["parts"])
            for place, now in enumerate(moments)
        ]
