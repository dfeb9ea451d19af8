from arranger.columns import Ints

def solve(
    counts: Ints,
    sides: Ints,
    places: Ints,
    node: Ints,
    move1: Ints,
    move2: Ints,
    slots1: Ints,
    slots2: Ints,
    /,
) -> int:
    """Write the slots of the cheapest path and return its cost."""
