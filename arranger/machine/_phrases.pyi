from arranger.columns import Ints

def phrases(symbols: Ints, sizes: Ints, most: int, phrase_bytes: int, /) -> list[list[int]]:
    """Return a song and the phrases in it."""
