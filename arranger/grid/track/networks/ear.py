"""The network that hears beats and bars, run by numpy.

Frames of a fiftieth of a second go through a few narrow convolutions; four at a time through many
wide ones, whose taps stand up to 128 such frames apart, so that each hears half a minute either way,
and what all frames have in common besides; and back. Each block is a convolution added to what came in.
``tests/benchmarks/train_beats.py`` trains its weights, ``beats.npz``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.track.networks.layers import add_block, convolved

if TYPE_CHECKING:
    from arranger.grid.track.networks.layers import Frames, Weights

TAKEN = 4
"""Frames that the wide layers take together."""
OUTER_SPREADS, INNER_SPREADS, LAST_SPREADS = (1, 2, 4), (1, 2, 4, 8, 16, 32, 64, 128, 1, 8), (1, 2)
WHOLE = {4: 0, 8: 1}
"""Wide blocks after which the mean over the song is heard."""
METRES = 6
"""How many numbers of beats a bar are told apart: 1 to 6."""


class NetworkOdds(NamedTuple):
    """What the network says of a song."""

    odds: Frames
    """Log odds of a beat, and of a bar line, at each frame; shape (frames, 2)."""
    metres: Frames
    """Log odds of 1 to 6 beats a bar against each other, of the song; shape (METRES,)."""
    thirds: float
    """Log odds that beats divide in three."""


def listen(weights: Weights, frames: Frames) -> NetworkOdds:
    """Return what the network says of a song's frames."""
    count = len(frames)
    frames = np.pad(frames, ((0, -count % TAKEN), (0, 0)))
    outer = _relu(convolved(frames, weights["first.weight"], 1) + weights["first.bias"])
    for number, spread in enumerate(OUTER_SPREADS):
        _block(outer, weights, f"outer.{number}", spread)
    down = weights["down.weight"]
    inner = outer.reshape(len(outer) // TAKEN, -1) @ down.reshape(-1, down.shape[2])
    inner = _relu(inner + weights["down.bias"])
    for number, spread in enumerate(INNER_SPREADS):
        _block(inner, weights, f"inner.{number}", spread)
        if number in WHOLE:
            name = f"whole.{WHOLE[number]}"
            mean = _relu(inner).mean(axis=0)
            inner += mean @ weights[f"{name}.weight"] + weights[f"{name}.bias"]
    inner = _relu(inner)
    up = weights["up.weight"]
    risen = inner @ up.transpose(1, 0, 2).reshape(up.shape[1], -1)
    outer += risen.reshape(len(outer), -1) + weights["up.bias"]
    for number, spread in enumerate(LAST_SPREADS):
        _block(outer, weights, f"after.{number}", spread)
    odds = _relu(outer) @ weights["last.weight"][0] + weights["last.bias"]
    metre = inner @ weights["metre.weight"][0] + weights["metre.bias"]
    logs = metre[:, :METRES] - _log_sum(metre[:, :METRES])
    return NetworkOdds(odds[:count], logs.mean(axis=0), float(metre[:, -1].mean()))


def _relu(x: Frames) -> Frames:
    result: Frames = np.maximum(x, np.float32(0.0))
    return result


def _log_sum(x: Frames) -> Frames:
    top = x.max(axis=1, keepdims=True)
    result: Frames = top + np.log(np.exp(x - top).sum(axis=1, keepdims=True))
    return result


def _block(x: Frames, weights: Weights, name: str, spread: int) -> None:
    """Add a block to ``x``, in place."""
    taps, mix = weights[f"{name}.taps.weight"], weights[f"{name}.mix.weight"][0]
    add_block(x, taps, weights[f"{name}.taps.bias"], mix, weights[f"{name}.mix.bias"], spread)
