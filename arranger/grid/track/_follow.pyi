from numpy import int8, int32
from numpy.typing import NDArray

from arranger.columns import Ints

def followed(
    gains: NDArray[int32],
    periods: Ints,
    price: NDArray[int32],
    begin: NDArray[int32],
    onward: NDArray[int32],
    came: NDArray[int8],
    fresh: NDArray[int8],
    found: Ints,
    reach: int,
    /,
) -> None:
    """Write the best way on from each frame, and where the best beat ends."""
