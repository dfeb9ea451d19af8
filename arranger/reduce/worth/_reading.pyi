from numpy import float64
from numpy.typing import NDArray

from arranger.reduce.worth.tune_model import Floats

def look_around(
    onset: NDArray[float64],
    length: Floats,
    pitch: Floats,
    loudness: Floats,
    log_length: Floats,
    value: Floats,
    message: Floats,
    message_bias: Floats,
    kernel: Floats,
    kernel_bias: Floats,
    seen: Floats,
    /,
) -> None:
    """Write what stands around each note, added up by where it lies."""

def read_both_ways(
    asked: Floats,
    nothing: Floats,
    keep: Floats,
    bias: Floats,
    found: Floats,
    chunk: int,
    warm_up: int,
    /,
) -> None:
    """Write the states of the units after each note."""
