"""A small network of convolutions over time, run by numpy.

One convolution, then blocks, each a convolution whose taps stand twice as far apart as those of the
block before, added to what came in; then two numbers a frame: the logarithms of the odds that a beat,
and a bar, begins there. Weights are halves (16 bits) in an ``.npz`` file; sums are of 32 bits.
``tests/benchmarks/train_bars.py`` trains them.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Frames = NDArray[np.float32]

TAPS = 5


class Block(NamedTuple):
    """A convolution and what mixes its result."""

    taps: Frames
    """Shape (TAPS, inputs, outputs)."""
    bias: Frames
    mix: Frames
    """Shape (outputs, outputs)."""
    mix_bias: Frames


class Network(NamedTuple):
    """All weights."""

    first: Frames
    first_bias: Frames
    blocks: tuple[Block, ...]
    last: Frames
    """Shape (outputs, 2)."""
    last_bias: Frames


def run(network: Network, frames: Frames) -> Frames:
    """Return the log odds of a beat and of a bar line at each frame, shape (frames, 2)."""
    inner = _convolved(frames, network.first, 1) + network.first_bias
    np.maximum(inner, 0.0, out=inner)
    for number, block in enumerate(network.blocks):
        heard = _convolved(inner, block.taps, 1 << number)
        heard += block.bias
        np.maximum(heard, 0.0, out=heard)
        inner += heard @ block.mix
        inner += block.mix_bias
    result: Frames = np.maximum(inner, 0.0) @ network.last + network.last_bias
    return result


def _convolved(frames: Frames, taps: Frames, apart: int) -> Frames:
    """Return the convolution of frames, with silence around them; shape (frames, outputs)."""
    count, reach = len(frames), len(taps) // 2
    result: Frames = frames @ taps[reach]
    for tap in range(len(taps)):
        shift = (tap - reach) * apart
        if shift < 0 and -shift < count:
            result[-shift:] += frames[:shift] @ taps[tap]
        elif 0 < shift < count:
            result[:-shift] += frames[shift:] @ taps[tap]
    return result


@cache
def load(name: str) -> Network:
    """Return a network of the package by its file's name."""
    data = files("arranger.grid.track").joinpath(name).read_bytes()
    with np.load(BytesIO(data)) as found:
        arrays = {key: found[key].astype(np.float32) for key in found.files}
    count = len({key.split(".")[1] for key in arrays if key.startswith("block.")})
    blocks = tuple(
        Block(*(arrays[f"block.{n}.{part}"] for part in ("taps", "bias", "mix", "mix_bias")))
        for n in range(count)
    )
    return Network(
        arrays["first"], arrays["first_bias"], blocks, arrays["last"], arrays["last_bias"]
    )
