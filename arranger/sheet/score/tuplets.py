"""Where notes of a voice need tuplets: as few and as simple ones as say when they begin."""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import TYPE_CHECKING

from arranger.sheet.score.values import Tuplet

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.sheet.score.metre import Metre


def find_tuplets(
    cuts: list[Fraction], start: Fraction, end: Fraction, metre: Metre
) -> tuple[Tuplet, ...]:
    """Return the tuplets of a bar, in order.

    Parameters
    ----------
    cuts
        All times at which something begins or ends, in order.
    start, end
        Of the bar.
    metre
        Its metre.

    >>> from arranger.sheet.score.metre import metre_of
    >>> third = Fraction(1, 3)
    >>> waltz = metre_of(3, 4, third)
    >>> find_tuplets([third, 2 * third, Fraction(1)], Fraction(0), Fraction(3), waltz)
    (Tuplet(start=Fraction(0, 1), length=Fraction(1, 1), actual=3, normal=2),)
    """
    if all(not cut.denominator & (cut.denominator - 1) for cut in cuts):
        return ()
    found: list[Tuplet] = []
    at, _ = metre.beat_at(start)
    while at < end:
        _, beat = metre.beat_at(at)
        if _is_slow_triplet(cuts, at, beat, end, metre):
            found.append(Tuplet(at, 2 * beat, 3, 2))
            at += 2 * beat
            continue
        parts = 3 if metre.has_three(beat) else 1
        for part in range(parts):
            found += _tuplets(cuts, at + beat * part / parts, beat / parts)
        at += beat
    return tuple(found)


def _inside(cuts: list[Fraction], start: Fraction, length: Fraction) -> list[Fraction]:
    """Return the cuts inside a stretch, as shares of it."""
    return [(cut - start) / length for cut in cuts if start < cut < start + length]


def _is_slow_triplet(
    cuts: list[Fraction], start: Fraction, beat: Fraction, end: Fraction, metre: Metre
) -> bool:
    """Return whether three notes take the time of two beats, from an even one on."""
    if metre.has_three(beat) or start % (2 * beat) or start + 2 * beat > end:
        return False
    inside = _inside(cuts, start, 2 * beat)
    return bool(inside) and all(cut.denominator == 3 for cut in inside)


def _tuplets(cuts: list[Fraction], start: Fraction, length: Fraction) -> Iterator[Tuplet]:
    """Yield the tuplets of a beat or a piece of one."""
    inside = _inside(cuts, start, length)
    odd = lcm(*(_odd_part(cut.denominator) for cut in inside))
    if odd == 1:
        return
    if Fraction(1, 2) in inside:
        for half in (start, start + length / 2):
            yield from _tuplets(cuts, half, length / 2)
        return
    yield Tuplet(start, length, odd, 2 ** (odd.bit_length() - 1))


def _odd_part(number: int) -> int:
    return number // (number & -number)
