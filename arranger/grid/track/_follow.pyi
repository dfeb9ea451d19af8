from arranger.columns import Floats, Ints

def followed(
    seconds: Floats,
    strength: Floats,
    earliest: Ints,
    starts: Floats,
    score: Floats,
    came: Ints,
    passed: Floats,
    range_: float,
    empty_beat: float,
    beat: float,
    /,
) -> None:
    """Write score, origin and beats passed of each hypothesis."""
