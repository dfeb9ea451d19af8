"""How likely each note belongs to the tune, where parts and names don't tell: a small learned model.

Two stages of boosted trees: the first sees a note among its neighbours (`near_features`), the second
also how the first judged the notes around it (`wide_features`), which is how the register, loudness
and line of the song's tune get known. The trees stand in ``tune_model.json``, with how they were
made. Only additions and comparisons happen at run time.

All tests of one level of a tree are the same ("oblivious" trees), so that a tree of depth d is d
tests and a table of 2**d values: whole rows of notes are tested at once. See "Boosted trees" in
Hastie, Tibshirani, Friedman: The Elements of Statistical Learning, chapter 10.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

from arranger.columns import unchanging
from arranger.reduce.worth.tune_features import near_features, neighbours, wide_features

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from arranger.reduce.worth.tune_features import Floats, Voicing


_BLOCK = 2048
"""Notes that are looked at together: so few that their tests stay in the cache."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forest:
    """Trees that are summed. ``depth`` tests a tree; leaf index bit k is the result of test k."""

    features: tuple[str, ...]
    bias: float
    tested: NDArray[np.int64]
    """Shape (depth, trees): the index into ``features``."""
    thresholds: Floats
    """Shape (depth, trees): a test is true when the feature is greater."""
    leaves: Floats
    """Shape (trees, 2 ** depth)."""

    def log_odds(self, found: Mapping[str, Floats]) -> Floats:
        """Return the sum of the trees for each note.

        Parameters
        ----------
        found
            The features by name, each of shape (notes,).
        """
        rows = np.stack([found[name] for name in self.features])
        blocks = [self._sums(rows[:, at : at + _BLOCK]) for at in range(0, rows.shape[1], _BLOCK)]
        return np.concatenate(blocks) + np.float32(self.bias)

    def _sums(self, rows: Floats) -> Floats:
        leaf = np.zeros((len(self.leaves), rows.shape[1]), dtype=np.uint8)
        for bit, (tested, thresholds) in enumerate(zip(self.tested, self.thresholds, strict=True)):
            leaf |= (rows[tested] > thresholds[:, None]).view(np.uint8) << bit
        table = np.arange(len(self.leaves))[:, None] << len(self.tested)
        summed: Floats = self.leaves.ravel().take(leaf + table).sum(axis=0, dtype=np.float32)
        return summed


def tune_likelihood(notes: Voicing) -> Floats:
    """Return how likely each note belongs to the tune, 0..1; shape (notes,)."""
    first, second = _stages()
    beside = neighbours(notes)
    found = near_features(notes, beside)
    likely = _share(first.log_odds(found))
    found |= wide_features(notes, beside, likely)
    return _share(second.log_odds(found))


def _share(log_odds: Floats) -> Floats:
    """Return the probability of log odds."""
    return (1.0 / (1.0 + np.exp(-log_odds))).astype(np.float32)


@cache
def _stages() -> tuple[Forest, Forest]:
    text = files("arranger.reduce.worth").joinpath("tune_model.json").read_text("utf-8")
    first, second = (read_forest(stage) for stage in json.loads(text)["stages"])
    return first, second


def read_forest(stage: Mapping[str, Any]) -> Forest:
    """Return the trees of one stage of ``tune_model.json``.

    Each tree is a list: its tests as alternating feature names and thresholds, then its leaves.
    """
    features = tuple(stage["features"])
    place = {name: index for index, name in enumerate(features)}
    tests = [tree["if"] for tree in stage["trees"]]
    return Forest(
        features=features,
        bias=float(stage["bias"]),
        tested=unchanging(
            np.array([[place[name] for name in test[::2]] for test in tests]).T.copy()
        ),
        thresholds=unchanging(np.array([test[1::2] for test in tests], dtype=np.float32).T.copy()),
        leaves=unchanging(np.array([tree["then"] for tree in stage["trees"]], dtype=np.float32)),
    )
