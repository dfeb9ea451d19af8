def entries(
    arrays: tuple[object, ...],
    step_seconds: float,
    steps_per_beat: float,
    loose: float,
    drum_seconds: float,
    start_seconds: float,
    end_share: float,
    heard_share: float,
    most_takers: int,
    /,
) -> tuple[bytes, bytes]:
    """Write what became of tones; return their spans and the notes that they blame."""
