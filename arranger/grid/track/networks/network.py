"""A small network of convolutions over time, run by numpy.

One convolution, then blocks, each a convolution whose taps stand twice as far apart as those of the
block before, added to what came in; then two numbers a frame: the logarithms of the odds that a beat,
and a bar, begins there. ``tests/benchmarks/train_bars.py`` trains its weights,
``bars.npz``.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from arranger.grid.track.networks.layers import add_block, convolved, load_weights

if TYPE_CHECKING:
    from arranger.grid.track.networks.layers import Frames, Weights


class ConvolutionBlock(NamedTuple):
    """A convolution and what mixes its result."""

    taps: Frames
    """Shape (taps, inputs, outputs)."""
    bias: Frames
    mix: Frames
    """Shape (outputs, outputs)."""
    mix_bias: Frames


class Network(NamedTuple):
    """All weights."""

    first: Frames
    first_bias: Frames
    blocks: tuple[ConvolutionBlock, ...]
    last: Frames
    """Shape (outputs, 2)."""
    last_bias: Frames


def network_odds(network: Network, frames: Frames) -> Frames:
    """Return the log odds of a beat and of a bar line at each frame, shape (frames, 2)."""
    inner = convolved(frames, network.first, 1) + network.first_bias
    np.maximum(inner, 0.0, out=inner)
    for number, block in enumerate(network.blocks):
        add_block(inner, *block, 1 << number)
    result: Frames = np.maximum(inner, 0.0) @ network.last + network.last_bias
    return result


@cache
def load(name: str) -> Network:
    """Return a network of the package by its file's name."""
    return network_of(load_weights(name))


def network_of(arrays: Weights) -> Network:
    """Return a network of its weights, by their names."""
    count = len({key.split(".")[1] for key in arrays if key.startswith("block.")})
    blocks = tuple(
        ConvolutionBlock(
            *(arrays[f"block.{n}.{part}"] for part in ("taps", "bias", "mix", "mix_bias"))
        )
        for n in range(count)
    )
    return Network(
        arrays["first"], arrays["first_bias"], blocks, arrays["last"], arrays["last_bias"]
    )
