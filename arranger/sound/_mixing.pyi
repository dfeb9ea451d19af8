from arranger.columns import Floats, Ints
from arranger.sound.audio import Samples

def add(sums: Floats, firsts: Ints, rows: Ints, gains: Floats, table: Floats, taps: int, /) -> None:
    """Add kernels to sums."""

def integrate(
    taken: Floats,
    growing: Floats,
    fading: Floats,
    heights: Floats,
    heard: Samples,
    channel: int,
    channels: int,
    peak: float,
    /,
) -> None:
    """Write the leaky integral of sums."""
