"""What networks of convolutions over time are made of, run by numpy.

Weights are halves (16 bits) in an ``.npz`` file of this package; sums are of 32 bits.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Frames = NDArray[np.float32]
    Weights = dict[str, Frames]


def convolved(frames: Frames, taps: Frames, apart: int) -> Frames:
    """Return the convolution of frames, with silence around them; shape (frames, outputs).

    ``taps`` has the shape (taps, inputs, outputs), and stand ``apart`` frames from each other.
    """
    count, reach = len(frames), len(taps) // 2
    result: Frames = frames @ taps[reach]
    for tap in range(len(taps)):
        shift = (tap - reach) * apart
        if shift < 0 and -shift < count:
            result[-shift:] += frames[:shift] @ taps[tap]
        elif 0 < shift < count:
            result[:-shift] += frames[shift:] @ taps[tap]
    return result


def add_block(
    frames: Frames, taps: Frames, bias: Frames, mix: Frames, mix_bias: Frames, apart: int
) -> None:
    """Add to frames, in place, what a convolution hears in them, mixed: ``mix`` is (outputs, outputs)."""
    heard = convolved(frames, taps, apart)
    heard += bias
    np.maximum(heard, np.float32(0.0), out=heard)
    frames += heard @ mix
    frames += mix_bias


@cache
def load_weights(name: str) -> Weights:
    """Return the weights in a file of this package, by their names."""
    data = files("arranger.grid.track.networks").joinpath(name).read_bytes()
    with np.load(BytesIO(data)) as found:
        return {key: found[key].astype(np.float32) for key in found.files}
