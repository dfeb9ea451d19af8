"""The groove: which drum sounds on which step, decided once for all bars whose drums are alike.

Of drums that fall on one step a joint sound says as many as the engine has one for; else the
weightiest stands. That choice looks at which drums they are and at their place in the metre, never
at loudness, so that alike bars stay alike. Whether a hit stands at all is decided for all its
places in alike bars together: what it is worth there against what it hides of the voices (only
where a drum silences them), and against the bytes that it takes (only where those are limited).

What is alike follows published groove similarity: two states, kick against snare and its like,
place by place in the bar, predict what listeners call similar better than the distance of all
drums does (F. Bruford et al., "Towards a perceptual similarity of drum loops", ISMIR 2020, from
memory). So hits with a kick or a snare share the fate of those in bars with the same kicks and
snares, other hits that of those in bars where all drums are the same.
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.bars import metre_beat
from arranger.columns import begins, order_of, unchanging

if TYPE_CHECKING:
    from collections.abc import Mapping
    from fractions import Fraction

    from arranger.columns import Bools, Floats, Ints
    from arranger.engine.model import DrumSound, Engine
    from arranger.grid.model import Grid
    from arranger.reduce.choose.candidates import ChoiceProblem
    from arranger.reduce.choose.costs import Costs
    from arranger.song.notes import Columns

ACCENTS = (1.0, 0.85, 0.4)
"""Share of its weight that a drum has on the first beat of a bar, on another beat of the metre, and
between beats: it is the beats that carry the metre."""

LIGHT_SHARE = 0.75
"""Share of its worth that a hit has there, where it silences the voices."""

BACKBEAT = 1.25
"""How much more a snare weighs than its engine says on all beats but the first of a bar."""

KICK_KEYS = frozenset((35, 36))
SNARE_KEYS = frozenset((38, 39, 40))


class Hits(NamedTuple):
    """The drums that sound, one sound a step at most."""

    steps: Ints
    """Shape (d,): strictly increasing."""
    notes: Ints
    """Shape (d,): the id of a note that the sound comes from."""
    sounds: tuple[DrumSound, ...]

    def silent(self, engine: Engine) -> Bools:
        """Return which of them let no voice be heard on their step; shape (d,)."""
        by_name = {sound.name: sound for sound in self.sounds}
        silences = {name: engine.silences(sound) for name, sound in by_name.items()}
        return np.array([silences[sound.name] for sound in self.sounds], dtype=np.bool_)

    def rows(self, steps: int) -> tuple[list[str | None], list[int]]:
        """Return for each of so many steps the name of its sound or None, and the note or -1."""
        names: list[str | None] = [None] * steps
        notes = [-1] * steps
        rows = zip(self.steps.tolist(), self.notes.tolist(), self.sounds, strict=True)
        for step, note, sound in rows:
            names[step], notes[step] = sound.name, note
        return names, notes

    def with_more(self, more: Mapping[int, int], sound: DrumSound) -> Hits:
        """Return the hits with one sound more, given as its notes by step."""
        at = [*self.steps.tolist(), *more]
        notes = [*self.notes.tolist(), *more.values()]
        sounds = [*self.sounds, *([sound] * len(more))]
        order = sorted(range(len(at)), key=at.__getitem__)
        return Hits(
            np.array([at[i] for i in order], dtype=np.int64),
            np.array([notes[i] for i in order], dtype=np.int64),
            tuple([sounds[i] for i in order]),
        )


class Groove(NamedTuple):
    """What may sound on each step that has a drum, before it is decided whether it does."""

    hits: Hits
    """All of them."""
    worth: Floats
    """Shape (d,): what leaving a hit out costs, in beats of the tune."""
    fates: Ints
    """Shape (d,): hits with the same number are decided together."""
    unplayable: frozenset[int]
    """Ids of drum notes that the engine has no sound for."""

    def chosen(self, harm: Floats, price: float = 0.0) -> Hits:
        """Return the hits that are worth more than they cost, over all places with the same fate.

        ``harm``: shape (d,): what each hit hides, in beats of the tune.
        ``price``: of a hit, where bytes are limited.
        """
        gain = np.bincount(self.fates, self.worth - harm - price)
        kept = np.flatnonzero(gain[self.fates] > 0)
        sounds = self.hits.sounds
        return Hits(
            self.hits.steps[kept],
            self.hits.notes[kept],
            tuple([sounds[index] for index in kept.tolist()]),
        )


def groove_of(
    notes: Columns,
    ids: Ints,
    sounds: Mapping[int, DrumSound | None],
    engine: Engine,
    grid: Grid,
    *,
    amount: str,
    costs: Costs,
) -> Groove:
    """Return what may sound.

    ``notes``: the song's notes.
    ``ids``: the drum notes that may sound, in order.
    ``sounds``: the sound of each percussion key among them, or None.
    ``engine``: its joint sounds.
    ``grid``: where the notes stand.
    ``amount``: "light" or "full": how much they may take from the voices.
    ``costs``: the cost table.
    """
    by_name = {sound.name: sound for sound in sounds.values() if sound is not None}
    all_names = sorted(by_name)
    kind_of = {
        key: -1 if sound is None else all_names.index(sound.name) for key, sound in sounds.items()
    }
    kinds = np.array([kind_of[key] for key in notes.pitch[ids].tolist()], dtype=np.int64)
    unplayable = frozenset(ids[kinds < 0].tolist())
    ids, kinds = ids[kinds >= 0], kinds[kinds >= 0]
    # of those that say the same on a step the loudest
    order = order_of(-notes.loudness[ids], kinds, grid.onset_steps[ids])
    ids, kinds = ids[order], kinds[order]
    onsets = grid.onset_steps[ids]
    loudest = begins(onsets) | begins(kinds)
    ids, kinds, onsets = ids[loudest], kinds[loudest], onsets[loudest]
    firsts = np.flatnonzero(begins(onsets))
    steps, starts = onsets[firsts], [*firsts.tolist(), len(ids)]
    names = [all_names[kind] for kind in kinds.tolist()]
    asked = [tuple(names[first:end]) for first, end in pairwise(starts)]
    accent = accents(grid)[steps]
    choose = _Chooser(by_name, engine)
    said = list(map(choose.best, asked, (accent == ACCENTS[1]).tolist()))
    weights = np.array([by_name[name].weight for name in all_names])
    each = (weights[kinds] * (0.5 + 0.5 * notes.loudness[ids])).tolist()
    sums = [
        sum([each[first + n] for n in own]) for first, (_, own) in zip(starts, said, strict=False)
    ]
    share = costs.drum * (LIGHT_SHARE if amount == "light" else 1.0)
    return Groove(
        hits=Hits(
            steps,
            ids[firsts + np.array([own[0] for _, own in said], dtype=np.int64)],
            tuple([sound for sound, _ in said]),
        ),
        worth=share * accent * np.array(sums, dtype=np.float64),
        fates=_fates(grid, steps, asked, choose.kicks | choose.snares),
        unplayable=unplayable,
    )


class _Chooser:
    """Says which sound stands for several; remembers."""

    def __init__(self, by_name: Mapping[str, DrumSound], engine: Engine) -> None:
        self._by_name = by_name
        self._joint = [sound for sound in engine.drums if sound.joins]
        self._best: dict[tuple[tuple[str, ...], bool], tuple[DrumSound, tuple[int, ...]]] = {}
        keys = {name: frozenset(sound.percussion_keys) for name, sound in by_name.items()}
        self.kicks = frozenset(name for name in keys if keys[name] & KICK_KEYS)
        self.snares = frozenset(name for name in keys if keys[name] & SNARE_KEYS)

    def best(self, names: tuple[str, ...], backbeat: bool) -> tuple[DrumSound, tuple[int, ...]]:
        """Return the sound, and which of the names it says, the weightiest first."""
        key = (names, backbeat)
        if key not in self._best:
            ways: list[tuple[DrumSound, tuple[str, ...]]] = [
                (self._by_name[name], (name,)) for name in names
            ]
            ways += [
                (sound, tuple(sorted(sound.joins, key=lambda n: (-self._weight(n, backbeat), n))))
                for sound in self._joint
                if {*names}.issuperset(sound.joins)
            ]
            sound, said = max(ways, key=lambda way: sum(self._weight(n, backbeat) for n in way[1]))
            self._best[key] = sound, tuple(map(names.index, said))
        return self._best[key]

    def _weight(self, name: str, backbeat: bool) -> float:
        factor = BACKBEAT if backbeat and name in self.snares else 1.0
        return factor * self._by_name[name].weight


def _fates(grid: Grid, steps: Ints, names: list[tuple[str, ...]], heavy: frozenset[str]) -> Ints:
    """Return the same number for hits that are decided together."""
    starts = np.array([bar.first_step for bar in grid.bars], dtype=np.int64)
    bars = np.searchsorted(starts, steps, side="right") - 1
    framing = {each: heavy.intersection(each) for each in {*names}}
    frames = [framing[each] for each in names]
    places = (steps - starts[bars]).tolist()
    hits = [*zip(places, names, strict=True)]
    heavy_hits = [*zip(places, frames, strict=True)]
    alike: dict[object, int] = {}
    numbers: dict[object, int] = {}
    fates = []
    for first, end in pairwise((*np.flatnonzero(begins(bars)).tolist(), len(hits))):
        whole = alike.setdefault(tuple(hits[first:end]), len(alike))
        framed = tuple([hit for hit in heavy_hits[first:end] if hit[1]])
        frame = alike.setdefault(framed, len(alike))
        for place, here in heavy_hits[first:end]:
            fate = (place, here, frame if here else whole)
            fates.append(numbers.setdefault(fate, len(numbers)))
    return np.array(fates, dtype=np.int64)


def harm_of(groove: Groove, problem: ChoiceProblem, engine: Engine, costs: Costs) -> Floats:
    """Return what each hit hides of the voices: something only if it silences its whole step.

    That is what the two worthiest tones lose that sound there, in beats of the tune; ``problem`` is
    laid out as if there were no drums.
    """
    steps = groove.hits.steps
    segments = np.searchsorted(problem.starts, steps, side="right") - 1
    tones = problem.candidates[segments, 1:3]
    onset, end = problem.tones.onset[tones], problem.tones.end[tones]
    start = np.where(end - onset == 1, costs.attack, costs.delay * costs.attack)
    lost = costs.sustain / problem.steps_per_beat + (onset == steps[:, None]) * start
    lost = np.where(tones >= 0, lost * problem.tones.worth[tones], 0.0)
    harm: Floats = groove.hits.silent(engine) * lost.sum(axis=1)
    return harm


def accents(grid: Grid) -> Floats:
    """Return the metrical weight of every step, by `ACCENTS`; shape (steps,)."""
    found = np.full(grid.steps, ACCENTS[2])
    for bar in grid.bars:
        beats = _beats(bar.numerator, bar.denominator, bar.steps, grid.step_beats)
        found[beats + bar.first_step] = ACCENTS[1]
        found[bar.first_step] = ACCENTS[0]
    return found


@lru_cache(maxsize=256)
def _beats(numerator: int, denominator: int, steps: int, step_beats: Fraction) -> Ints:
    """Return the steps of a bar on which a beat of its metre falls exactly."""
    beat = metre_beat(numerator, denominator) / step_beats
    places = (count * beat for count in range(math.ceil(steps / beat)))
    return unchanging(np.array([int(p) for p in places if p.denominator == 1], dtype=np.int64))
