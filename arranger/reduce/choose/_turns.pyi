from arranger.columns import Floats, Ints

def chosen(
    columns: Ints,
    chords: Ints,
    sounding: Ints,
    later: Floats,
    found: Ints,
    sooner: float,
    reach: int,
    unheard: int,
    /,
) -> None:
    """Write the pitches that the voices are asked for."""
