from typing import Any

from numpy.typing import NDArray

def price(
    columns: tuple[NDArray[Any], ...],
    width: int,
    delay: float,
    crossing: float,
    units: float,
    /,
    *whole: int,
) -> None:
    """Write what every choice of every segment costs."""
