from arranger.columns import Ints

def gather(
    data: bytes,
    controllers: bytes,
    metas: bytes,
    notes: Ints,
    others: Ints,
    pauses: Ints,
    start: int,
    end: int,
    tick: int,
    device: int,
    longest_pause: int,
    longest_exclusive: int,
    /,
) -> tuple[int, int, int, int]:
    """Write the notes, other events and pauses of a track; return how many, and its last tick."""
