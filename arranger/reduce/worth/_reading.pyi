from arranger.reduce.worth.tune_model import Floats

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
