"""Which tone of a chord is which: root, third, fifth, seventh, as musicians name them."""

from __future__ import annotations

from functools import lru_cache

DEGREES = {
    0: "root",
    1: "ninth",
    2: "ninth",
    3: "third",
    4: "third",
    5: "fourth",
    6: "fifth",
    7: "fifth",
    8: "fifth",
    9: "sixth",
    10: "seventh",
    11: "seventh",
}
"""By semitones above the root; common practice, no source."""


_TRIADS = ({4, 7}, {3, 7}, {3, 6}, {4, 8})
"""Major, minor, diminished, augmented: third and fifth above the root."""


@lru_cache(maxsize=4096)
def root_of(classes: frozenset[int], bass: int | None) -> int | None:
    """Return the root of a chord, or None where no triad is in it.

    Of several roots that of the lowest tone is taken, else that with a seventh or the most usual fifth.

    Parameters
    ----------
    classes
        Pitch classes, 0 to 11.
    bass
        The class of the lowest tone, if there is one.

    >>> root_of(frozenset({0, 4, 7}), 0), root_of(frozenset({9, 0, 4, 7}), 9)
    (0, 9)
    >>> root_of(frozenset({0, 4, 7}), 4), root_of(frozenset({0, 2}), 0)
    (0, None)
    """
    best: tuple[int, int] | None = None
    for root in sorted(classes):
        above = {(each - root) % 12 for each in classes}
        if not any(triad <= above for triad in _TRIADS):
            continue
        worth = 4 * (root == bass) + 2 * (7 in above) + bool(above & {10, 11})
        if best is None or worth > best[0]:
            best = worth, root
    return None if best is None else best[1]


def degree(pitch: int, root: int | None) -> str | None:
    """Return what a pitch is above a root, such as "third"; None without a root.

    >>> degree(64, 0), degree(60, None)
    ('third', None)
    """
    return None if root is None else DEGREES[(pitch - root) % 12]
