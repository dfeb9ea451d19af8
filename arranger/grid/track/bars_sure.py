"""How sure bar lines are: the likelihood that at least four in five of them are right, and of few others.

A weighted sum of a few features is the logarithm of the odds; the weights (``weights.json``) are fitted on
pieces that the networks weren't trained on, one set for each way of finding bars
(``tests/benchmarks/train_bar_sureness.py``).

=========  ==============================================================
feature    bars have much of it when
=========  ==============================================================
`one`      always 1
`own`      they gain much: log odds a bar, less what lengths cost
`moved`    they gain more, a bar, than even bars of their length from anywhere else
`counted`  they gain more, a bar, than even bars of another length
`best`     they gain hardly less, a bar, than the likeliest that there are
`bars`     there are many: logarithm
`alike`    most have the same length
`beat`     the beat is sure: log odds; 0 for the file's own
=========  ==============================================================

What is gained a bar counts up to `MOST`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.track.feature_weights import weights_of
from arranger.grid.track.sureness import log_odds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.columns import Floats, Ints

    Lengths = Sequence[tuple[int, float]]
    """Lengths of a bar in places, and what each costs a bar."""

BAR_FEATURES = ("one", "own", "moved", "counted", "best", "bars", "alike", "beat")
MOST = 6.0
ODD_COST = 1.0
"""What a bar of a length costs that isn't a usual one."""


class EvenBars(NamedTuple):
    """Bars that are all alike."""

    size: int
    """Places of a bar."""
    first: int
    """The first bar line, less than `size`."""
    score: float
    """Log odds gained, less what lengths cost."""


class WeighedBars(NamedTuple):
    """Bars, and what might be instead of them."""

    size: int
    """The commonest length, in places."""
    score: float
    bars: int
    alike: float
    """The share of bars with the commonest length."""
    moved: EvenBars
    """The likeliest even bars of that length that begin elsewhere."""
    counted: EvenBars
    """The likeliest of another length."""
    in_twos: EvenBars
    """The likelier of these bars counted in twos and halved, which are oftener meant than `counted`; that, if both
    are unusual."""

    def sure(self, kind: str, best: float, beat: float = 0.5) -> float:
        """Return how likely the bars are right, 0..1.

        ``kind``: "bars_heard", "bars_stated" (on the file's own beat) or "bars_tracked".
        ``best``: score of the likeliest bars.
        ``beat``: how sure the beat is, if it isn't the file's.
        """
        at = float(self.features(best, beat) @ weights_of(kind, BAR_FEATURES))
        return 1.0 / (1.0 + float(np.exp(-at)))

    def features(self, best: float, beat: float) -> Floats:
        """Return the features, shape (len(BAR_FEATURES),)."""
        against = (0.0, self.moved.score, self.counted.score, max(best, self.score))
        gains = (self.score - np.array(against)) / self.bars
        gains = np.clip(gains, -MOST, MOST)
        return np.array((1.0, *gains, np.log(self.bars), self.alike, log_odds(beat)))


def weigh_bars(odds: Floats, lines: Ints, lengths: Lengths) -> WeighedBars:
    """Return what speaks for bars and for others.

    ``odds``: shape (places,): log odds of a bar line at each place.
    ``lines``: the places at which bars begin, and where the last ends; at least two.
    """
    costs, sizes = dict(lengths), np.diff(lines)
    inside = lines[lines < len(odds)]
    size = int(np.bincount(sizes).argmax())
    paid = sum(costs.get(each, ODD_COST) for each in sizes[: len(inside)].tolist())
    place = int(np.bincount(lines % size).argmax())
    moved = [
        each
        for each in even_bars(odds, ((size, costs.get(size, ODD_COST)),))
        if each.first != place
    ]
    counted = even_bars(odds, [each for each in lengths if each[0] != size])
    in_twos = [
        each
        for each in counted
        if each.size in (2 * size, size / 2) and (each.first - place) % min(size, each.size) == 0
    ]
    best = max(counted, key=_score)
    return WeighedBars(
        size,
        float(odds[inside].sum()) - paid,
        len(inside),
        float(np.mean(sizes == size)),
        max(moved, key=_score, default=EvenBars(size, place, 0.0)),
        best,
        max(in_twos, key=_score, default=best),
    )


def even_bars(odds: Floats, lengths: Lengths) -> list[EvenBars]:
    """Return all bars that are alike, of some lengths."""
    return [
        EvenBars(size, first, float((odds[first::size] - cost).sum()))
        for size, cost in lengths
        for first in range(min(size, len(odds)))
    ]


def _score(bars: EvenBars) -> float:
    return bars.score
