"""What notes are worth, found by looking at every note and every moment by itself.

A second reading of what `arranger.reduce.worth` says it measures, with its weights in numbers. Only what
is learned (`tune_model.npy`) and the words of names are taken from there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

from arranger.song.time import seconds_at

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from arranger.reduce.worth.copies import Copy
    from arranger.song import Song

TOGETHER = 0.035
TINY = 1e-9


@dataclass(frozen=True)
class Heard:
    """A note in seconds."""

    id: int
    part: int
    pitch: int
    loudness: float
    tonal: bool
    onset: float
    end: float

    @property
    def length(self) -> float:
        return self.end - self.onset

    def covers(self, moment: float) -> bool:
        return self.onset == moment or self.onset <= moment < self.end


class Plain:
    """A song."""

    def __init__(self, song: Song, muted: Sequence[int] = ()) -> None:
        self.song = song
        self.parts = range(len(song.parts))
        self.notes = [
            Heard(n.id, n.part, n.pitch, n.loudness, not n.drum and n.part not in muted,
                  *seconds_at(song, (n.onset, n.onset + n.duration)).tolist())
            for n in song.notes
        ]  # fmt: skip
        self.tonal = [note for note in self.notes if note.tonal]
        times = sorted({t for note in self.notes for t in (note.onset, note.end)})
        self.moments = [*pairwise(times), (times[-1], times[-1])]

    def of(self, part: int) -> list[Heard]:
        """Return the tonal notes of a part in order of onset and pitch."""
        return sorted((n for n in self.tonal if n.part == part), key=lambda n: (n.onset, n.pitch))

    # Who is on top

    def on_top(
        self, score: Callable[[Heard], float], notes: Sequence[Heard]
    ) -> list[tuple[Heard, float]]:
        """Return for each moment the covering note of the highest score, and how long it lasts."""
        found = []
        for begin, end in self.moments:
            there = [note for note in notes if note.covers(begin)]
            if there:
                found.append((max(there, key=lambda n: (score(n), n.id)), end - begin))
        return found

    def share(self, score: Callable[[Heard], float], notes: Sequence[Heard]) -> list[float]:
        """Return for each note of the song the share of its time in which it is on top, to 1."""
        held = [0.0] * len(self.notes)
        for note, seconds in self.on_top(score, notes):
            held[note.id] += seconds
        return [min(held[n.id] / max(n.length, TINY), 1.0) for n in self.notes]

    # Parts

    def seconds_of(self, part: int, score: Callable[[Heard], float]) -> float:
        return sum(s for note, s in self.on_top(score, self.tonal) if note.part == part)

    def sounding(self, part: int) -> float:
        mine = [n for n in self.of(part) if n.length > 0]
        return sum(b - a for a, b in self.moments if any(n.covers(a) for n in mine))

    def facts(self, part: int, likely: Sequence[float]) -> dict[str, float]:
        mine = self.of(part)
        count = max(len(mine), 1)
        sounding = max(self.sounding(part), TINY)
        lasts = [max(n.length, 1e-3) for n in mine]
        all_last = [max(n.length, 1e-3) for n in self.tonal]
        total = sum(b - a for a, b in self.moments if any(n.covers(a) for n in self.tonal))
        overall = _mean([n.loudness for n in self.tonal], all_last)
        alone = single = smooth = 0
        for place, note in enumerate(mine):
            before = max((n.end for n in mine[:place]), default=-math.inf)
            alone += before - note.onset <= 0.25 * note.length
            near = [n for n in mine[max(place - 1, 0) : place + 2] if n is not note]
            single += all(abs(n.onset - note.onset) > TOGETHER for n in near)
            smooth += place > 0 and 1 <= abs(note.pitch - mine[place - 1].pitch) <= 7
        pitches = [n.pitch for n in mine]
        spread = sum((pitches.count(p) / count) ** 2 for p in set(pitches))
        return {
            "top": self.seconds_of(part, lambda n: n.pitch) / sounding,
            "bottom": self.seconds_of(part, lambda n: -n.pitch) / sounding,
            "tune": self.seconds_of(part, lambda n: likely[n.id]) / sounding,
            "solo": alone / count,
            "single": single / count,
            "active": self.sounding(part) / max(total, TINY),
            "register": _mean(pitches, lasts),
            "smooth": smooth / count,
            "variety": 1 / max(spread, TINY),
            "louder": _mean([n.loudness for n in mine], lasts) - overall if mine else 0.0,
        }

    # Notes

    def top_of_chords(self, likely: Sequence[float]) -> list[float]:
        """Raise the top of block chords: up to half a log odd, from 75 to 80 % of such notes."""
        near = [
            sum(abs(other.onset - note.onset) <= TOGETHER for other in self.tonal) >= 3
            for note in self.tonal
        ]
        if not near:
            return list(likely)
        weight = min(max((sum(near) / len(near) - 0.75) / 0.05, 0.0), 1.0)
        top = self.share(lambda n: n.pitch, self.tonal)
        odds = [math.exp(0.5 * weight * (2 * share - 1)) for share in top]
        return [p * o / (p * o + 1 - p) for p, o in zip(likely, odds, strict=True)]

    def salience(self, echoes: Sequence[int]) -> list[float]:
        if not self.tonal:
            return [1.0] * len(self.notes)
        raw = [
            (0.2 + n.loudness) * min(max(n.length, 0.05), 4.0) ** 0.25 * self.exposure(n)
            for n in self.notes
        ]
        usual = median(raw[n.id] for n in self.tonal)
        found = [min(max(value / usual, 0.1), 4.0) for value in raw]
        return [0.3 * value if n in echoes else value for n, value in enumerate(found)]

    def exposure(self, note: Heard) -> float:
        """Return the mean share of the sounding weight that a note's pitch class has, times classes."""
        if not note.tonal:
            return 1.0
        total = time = 0.0
        for begin, end in self.moments:
            if note.covers(begin):
                there = [n for n in self.tonal if n.covers(begin)]
                whole = sum(n.loudness + 0.01 for n in there)
                own = sum(n.loudness + 0.01 for n in there if (n.pitch - note.pitch) % 12 == 0)
                classes = len({n.pitch % 12 for n in there})
                total += own / whole * classes * (end - begin + 1e-6)
                time += end - begin + 1e-6
        return total / time

    def bass(self, roles: Sequence[str], tune: Sequence[float]) -> list[float]:
        def depth(note: Heard) -> float:
            return (256 if roles[note.part] == "bass" else 0) - note.pitch

        share = self.share(depth, self.tonal)
        found = []
        for note in self.notes:
            value = share[note.id]
            if roles[note.part] != "bass":
                near = [n.pitch for n in self.tonal if n.onset - 1.0 <= note.onset <= n.onset + 1.0]
                value *= math.exp(-(note.pitch - min([*near, note.pitch])) / 5.0)
            found.append(value * (1 - tune[note.id]))
        return found

    def tune(
        self, likely: Sequence[float], facts: Sequence[dict[str, float]], roles: Sequence[str],
        scores: Sequence[float],
    ) -> list[float]:  # fmt: skip
        carries = self.carrying(likely, roles, scores)
        if "bass" in roles:
            likely = self.handed_up(likely, roles)
        found = []
        for part in self.parts:
            own = self.share(lambda n: likely[n.id], self.of(part))
            for note in self.notes:
                if note.part == part and note.tonal:
                    least = (0.5 + 0.45 * facts[part]["solo"]) * own[note.id]
                    if facts[part]["single"] > 0.95 and len(self.parts) > 1:
                        least = 0.95
                    found.append((note.id, carries(note) * max(likely[note.id], least)))
        by_note = dict(found)
        return [by_note.get(note.id, 0.0) for note in self.notes]

    def handed_up(self, likely: Sequence[float], roles: Sequence[str]) -> list[float]:
        """Return the likelihoods, the greatest of each chord at its top and the least below it."""
        found = list(likely)
        for chord in self._chains(lambda n: n.part):
            if roles[chord[0].part] != "bass":
                every = [likely[note.id] for note in chord]
                found = [min(every) if self.notes[i] in chord else v for i, v in enumerate(found)]
                found[max(chord, key=lambda n: (n.pitch, n.onset, n.id)).id] = max(every)
        return found

    def carrying(
        self, likely: Sequence[float], roles: Sequence[str], scores: Sequence[float]
    ) -> Callable[[Heard], float]:
        """Return how probable it is that a note's part has the tune in the two seconds it starts in.

        By going through every way in which the tune may pass from part to part.
        """
        can = [part for part in self.parts if roles[part] not in ("drums", "muted")]
        if len(can) <= 1:
            return lambda note: float(note.part in can)
        many = int(max(note.onset for note in self.notes) / 2) + 1
        seen = [[self._seen(at, part, likely) for part in self.parts] for at in range(many)]
        change = math.exp(-3.0) / max(len(self.parts) - 1, 1)
        stay = 1 - change * (len(self.parts) - 1)
        best = max(scores[part] for part in can)
        ways: dict[tuple[int, ...], float] = {(): 1.0}
        for at in range(many):
            ways = {
                (*way, part): weight
                * math.exp(0.8 * (scores[part] - best) + seen[at][part])
                * (1 if not way else stay if way[-1] == part else change)
                for way, weight in ways.items()
                for part in can
            }
        whole = sum(ways.values())

        def carries(note: Heard) -> float:
            at = int(note.onset / 2)
            return sum(weight for way, weight in ways.items() if way[at] == note.part) / whole

        return carries

    def _seen(self, at: int, part: int, likely: Sequence[float]) -> float:
        there = [n for n in self.of(part) if int(n.onset / 2) == at]
        if not there:
            return -4.0
        weight = [min(max(n.length, 0.02), 2.0) * (likely[n.id] + 0.01) for n in there]
        mean = min(max(_mean([likely[n.id] for n in there], weight), 0.05), 0.95)
        return 0.25 * math.log(mean / (1 - mean))

    def _chains(self, key: Callable[[Heard], int]) -> list[list[Heard]]:
        found: list[list[Heard]] = []
        for note in sorted(self.tonal, key=lambda n: (key(n), n.onset)):
            last = found[-1][-1] if found else None
            if last and key(last) == key(note) and note.onset - last.onset <= TOGETHER:
                found[-1].append(note)
            else:
                found.append([note])
        return found

    def doubles(
        self, importance: Sequence[float], echoes: Sequence[Copy]
    ) -> tuple[list[int], list[int]]:
        """Return what each note doubles in unison, and at the octave."""
        made = []
        for key, in_octaves in ((lambda n: n.pitch, False), (lambda n: n.pitch % 12, True)):
            of = [-1] * len(self.notes)
            for chain in self._chains(key):
                leader = max(chain, key=lambda n: (importance[n.id], -chain.index(n)))
                for note in chain:
                    of[note.id] = -1 if note is leader else leader.id
            for copy in echoes:
                if (copy.octaves != 0) == in_octaves:
                    self._join(copy, of)
            made.append(of)
        unison, octave = made
        return unison, [-1 if unison[n] >= 0 else to for n, to in enumerate(octave)]

    def _join(self, copy: Copy, of: list[int]) -> None:
        leaders = set(of)
        for echo, original in zip(copy.notes.tolist(), copy.originals.tolist(), strict=True):
            rings = self.notes[echo].onset < self.notes[original].end
            if rings and echo not in leaders and of[echo] < 0:
                of[echo] = of[original] if of[original] >= 0 else original


def _mean(values: Sequence[float], weights: Sequence[float]) -> float:
    return sum(v * w for v, w in zip(values, weights, strict=True)) / max(sum(weights), TINY)


FAMILIES = (
    (8, 15, 0.2, -1.0), (32, 39, -3.0, 3.0), (42, 43, -0.8, 1.2), (46, 46, -0.5, -0.3),
    (47, 47, -3.0, 0.5), (48, 51, -0.6, 0.0), (52, 54, 0.8, -0.8), (56, 57, 0.3, -0.3),
    (58, 58, -0.8, 1.5), (64, 67, 0.6, -0.3), (68, 69, 0.5, -0.8), (70, 70, -0.3, 0.8),
    (71, 79, 0.8, -0.8), (80, 87, 1.0, -0.8), (88, 103, -1.5, -0.8), (112, 119, -1.5, -1.0),
    (120, 127, -3.0, -3.0),
)  # fmt: skip
"""First and last program (from 0) of a family, and what it speaks for the tune and for the bass."""


def speaks(
    program: int, vote: tuple[str, float] | None, facts: dict[str, float]
) -> list[list[float]]:
    """Return all that speaks for a part as tune and as bass; what counts under 0.05 is left out."""
    pairs = [(tune, bass) for first, last, tune, bass in FAMILIES if first <= program <= last]
    if vote is not None:
        role, weight = vote
        tune, bass = {"tune": (1, -0.5), "bass": (-1, 1), "harmony": (-0.5, -0.5)}[role]
        pairs.append((tune * weight, bass * weight))
    height = (facts["register"] - 64) / 12
    low = 0.5 if height <= -1 else -1.5 * height - 1
    pairs += [
        (1.5 * facts["top"] - 0.75, -1.5 * facts["top"]),
        (-facts["bottom"], 3 * facts["bottom"] - 1.5),
        (3 * facts["tune"] - 1.5, -2 * facts["tune"]),
        (2 * facts["solo"] - 1.2, facts["solo"] - 0.6),
        (2 * min(facts["active"], 0.5) - 0.8, 2 * min(facts["active"], 0.5) - 0.8),
        (-0.6 * max(-height, height - 1.5, 0) ** 2, low),
        (facts["smooth"] - 0.4, 0),
        (0.3 * min(facts["variety"], 8) - 1.5, 0),
        (3 * facts["louder"], 0),
    ]
    return [
        [weight for weight in column if abs(weight) >= 0.05] for column in zip(*pairs, strict=True)
    ]
