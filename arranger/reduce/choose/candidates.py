"""What the optimisation chooses from: tones on the grid, cut into segments.

A **tone** is what one or several notes ask for: the same pitch over the same steps. A **segment** is
a run of steps in which no tone starts, is released or ends; a step that a drum silences is one of its own. In each segment a voice holds one of a short list of candidates, or rests (slot 0).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from arranger.columns import distinct, order_of, ranges
from arranger.reduce.choose.costs import LEAST_WORTH

if TYPE_CHECKING:
    from arranger.columns import Bools, Floats, Ints
    from arranger.reduce.choose.costs import Costs
    from arranger.reduce.worth.weights import Weights

NO_STEPS: Ints = np.zeros(0, dtype=np.int64)

MOST_CANDIDATES = 12
"""Tones weighed in one segment, the worthiest first. The optimum is exact over these."""

MOST_CELLS = 8_000_000
"""Segments times pairs of candidates: a longer song gets fewer candidates, to bound memory."""

MOST_SOUNDING = 4_000_000
"""Pairs of a tone and a segment: if there are more, the longest tones are taken to end earlier."""

OFF_STEP = 0.5
"""What a note loses of its weights for every step that it stands off its step: of two that meet on
one, the note that belongs there comes first."""

IN_LINE = 0.5
"""Tune or bass weight from which a note belongs to the line."""

DUPLICATE_SHARE = 0.3
"""Of its salience, for a note that doubles another one at the same pitch."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tones:
    """Arrays with one entry a tone, in order of onset, end and pitch."""

    note: Ints
    """The id of the note that the tone stands for."""
    pitch: Ints
    onset: Ints
    """In steps."""
    end: Ints
    """In steps, exclusive."""
    released: Ints
    """In steps, at most the end: from there on only a pedal holds it."""
    part: Ints
    tune: Floats
    bass: Floats
    worth: Floats
    """In beats of the tune, per beat."""
    plain_worth: Floats
    """The part of the worth that the same pitch or an octave of another tone can stand in for: not
    that of tune and bass, or a line would be chopped by what doubles it."""
    repeats: Ints
    """Whether the same pitch ends where the tone starts: 0 no, 1 a tone of one step, 2 a longer."""

    def __len__(self) -> int:
        """Return how many tones there are."""
        return len(self.note)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChoiceProblem:
    """Segments and candidates. T segments, K slots at most (slot 0 is the rest)."""

    tones: Tones
    steps: int
    steps_per_beat: float
    starts: Ints
    """Shape (T,): the step on which each segment starts; the first is 0."""
    lengths: Ints
    """Shape (T,): in steps, at least 1."""
    candidates: Ints
    """Shape (T, K): tone of each slot; -1 for the rest and for unused slots."""
    counts: Ints
    """Shape (T,): slots in use, the rest included."""
    covered: Bools
    """Shape (T,): whether a drum silences both voices for the whole segment."""
    unheard: Bools
    """Shape (tones,): whether drums silence all steps of a tone."""
    most: int
    """Tones weighed in one segment at most."""
    overfull: int
    """Segments in which more tones sounded than were weighed."""
    overlong: int
    """Tones that were taken to end early, since too many sound for too long."""


def gather_tones(
    ids: Ints,
    pitch: Ints,
    onset: Ints,
    end: Ints,
    part: Ints,
    *,
    released: Ints,
    offset: Floats,
    weights: Weights,
    costs: Costs,
    separate_parts: bool = False,
) -> tuple[Tones, Ints]:
    """Merge notes that ask for the same pitch over the same steps.

    Parameters
    ----------
    ids
        Shape (n,): the ids of the notes that can sound.
    pitch, onset, end, part
        Shape (n,): pitch as it will be played, first step, step after the last, index of the part.
    released
        Shape (n,): step from which only a pedal holds each note.
    offset
        Shape (n,): where each note is written minus its step, in steps.
    weights
        Of all notes of the song.
    costs
        The cost table.
    separate_parts
        Keep notes of different parts apart.

    Returns
    -------
    tones
        The tones.
    tone_of
        Shape (n,): the tone of each note.
    """
    share = 1.0 - OFF_STEP * np.minimum(np.abs(offset), 1.0)
    tune, bass = share * weights.tune[ids], share * weights.bass[ids]
    share = np.where(weights.duplicate_of[ids] >= 0, DUPLICATE_SHARE * share, share)
    salience = share * weights.salience[ids]
    rank = costs.salience * salience + costs.tune * tune + costs.bass * bass
    span = int(end.max(initial=0)) + 1
    key = (onset * span + end) * 128 + pitch
    if separate_parts:
        key = key * (int(part.max(initial=0)) + 1) + part
    order = order_of(ids, -rank, key)
    sorted_key = key[order]
    first = np.flatnonzero(np.diff(sorted_key, prepend=-1))
    lead = order[first]
    tone_of = np.empty(len(ids), dtype=np.int64)
    tone_of[order] = np.repeat(np.arange(len(first)), np.diff(first, append=len(ids)))
    best = [np.maximum.reduceat(a[order], first) if len(ids) else a for a in (tune, bass, salience)]
    up = np.maximum.reduceat(released[order], first) if len(ids) else released
    plain = np.maximum(costs.salience * best[2], LEAST_WORTH)
    tones = Tones(
        note=ids[lead],
        pitch=pitch[lead],
        onset=onset[lead],
        end=end[lead],
        released=np.minimum(up, end[lead]),
        part=part[lead],
        tune=best[0],
        bass=best[1],
        worth=plain + costs.tune * best[0] + costs.bass * best[1],
        plain_worth=plain,
        repeats=find_repeats(pitch[lead], onset[lead], end[lead]),
    )
    return tones, tone_of


def line_ends(part: Ints, onset: Ints, end: Ints, *weights: Floats) -> Ints:
    """Return where notes end as part of their line: at the latest where its next note starts.

    Notes under a held pedal ring on, and players join notes; but a line has moved on by then.

    ``part``, ``onset``, ``end``: shape (n,): of notes in any order, in steps.
    ``weights``: each of shape (n,): how surely each note belongs to a line (tune, bass). Notes of
    the same part that belong to it by `IN_LINE` or more follow each other.
    """
    ends = end.copy()
    span = int(onset.max(initial=0)) + 1
    for weight in weights:
        line = np.flatnonzero(weight >= IN_LINE)
        keys = part[line] * span + onset[line]
        order = distinct(keys)
        place = np.searchsorted(order, keys, side="right")
        after = np.append(order, np.iinfo(np.int64).max)[place]
        followed = after // span == part[line]
        ends[line[followed]] = np.minimum(ends[line], after % span)[followed]
    return ends


def find_repeats(pitch: Ints, onset: Ints, end: Ints) -> Ints:
    """Return for each tone the length, at most 2, of the longest of its pitch that ends there."""
    ends, starts = end * 128 + pitch, onset * 128 + pitch
    order = order_of(np.minimum(end - onset, 2), ends)
    place = np.searchsorted(ends[order], starts, side="right") - 1
    found = order[np.maximum(place, 0)]
    repeated = (place >= 0) & (ends[found] == starts) if len(order) else np.zeros(0, dtype=np.bool_)
    return np.where(repeated, np.minimum(end - onset, 2)[found], 0)


def lay_out(
    tones: Tones,
    *,
    steps: int,
    steps_per_beat: float,
    hit_steps: Ints = NO_STEPS,
    silent_steps: Ints = NO_STEPS,
    more_bounds: Ints = NO_STEPS,
    gaps_are_short: bool = False,
    most: int = MOST_CANDIDATES,
) -> ChoiceProblem:
    """Cut the song into segments and list the candidates of each.

    ``tones``: as of `gather_tones`.
    ``steps``: steps of the sheet.
    ``steps_per_beat``: steps in a quarter note.
    ``hit_steps``: the steps on which a drum sounds: what repeats a pitch there is heard to start.
    ``silent_steps``: those on which it silences both voices for the whole step, strictly
    increasing.
    ``more_bounds``: steps on which voices may change besides.
    ``gaps_are_short``: whether a gap before a repetition takes less than a step.
    ``most``: bound on the candidates of a segment.
    """
    edges = (tones.onset, tones.released, tones.end, silent_steps, silent_steps + 1, more_bounds)
    bounds = distinct(np.concatenate((*edges, (0, steps))))
    starts, lengths = bounds[:-1], np.diff(bounds)
    covered = np.zeros(len(starts), dtype=np.bool_)
    covered[np.searchsorted(starts, silent_steps)] = True
    covered_before = np.concatenate(([0], np.cumsum(covered)))
    most = int(np.clip(math.isqrt(MOST_CELLS // len(starts)) - 1, 2, most))
    first = np.searchsorted(starts, tones.onset)
    asked = np.searchsorted(starts, tones.end) - first
    spans = np.minimum(asked, _longest(asked))
    hit = np.zeros(steps, dtype=np.bool_)
    hit[hit_steps] = True
    repeats = np.where(hit[tones.onset], 0, tones.repeats)
    if gaps_are_short:
        repeats = 2 * (repeats > 0)
    end = bounds[first + spans]
    released = np.minimum(tones.released, end)
    tones = replace(tones, end=end, released=released, repeats=repeats)
    by_worth = np.argsort(-tones.worth, kind="stable")
    many = spans[by_worth]
    tone = np.repeat(by_worth, many)
    segment = np.repeat(first[by_worth], many) + ranges(many)
    order = order_of(segment)
    in_order = segment[order]
    sounding = np.bincount(in_order, minlength=len(starts))
    rank = ranges(sounding)
    kept = rank < most
    slots = int(min(sounding.max(initial=0), most)) + 1
    candidates = np.full((len(starts), slots), -1, dtype=np.int64)
    candidates[in_order[kept], rank[kept] + 1] = tone[order[kept]]
    return ChoiceProblem(
        tones=tones,
        steps=steps,
        steps_per_beat=steps_per_beat,
        starts=starts,
        lengths=lengths,
        candidates=candidates,
        counts=np.minimum(sounding, most) + 1,
        covered=covered,
        unheard=covered_before[first + spans] - covered_before[first] == spans,
        most=most,
        overfull=int(np.count_nonzero(sounding > most)),
        overlong=int(np.count_nonzero(spans < asked)),
    )


def _longest(spans: Ints) -> int:
    """Return the most segments that a tone may span so that all together stay in bounds."""
    low, high = 1, int(spans.max(initial=1))
    while low < high:
        middle = (low + high + 1) // 2
        if int(np.minimum(spans, middle).sum()) <= MOST_SOUNDING:
            low = middle
        else:
            high = middle - 1
    return low
