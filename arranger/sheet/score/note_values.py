"""Lengths as note values: what is tied, so that the beats stay in sight.

Common practice, no source. A note is one value if it begins on a place at least as strong as each
that it hides, or ends on a stronger one, or is twice as long as what it is off a beat (an eighth, a
quarter, an eighth); the middle of a bar is hidden by nothing but a dotted half note on its first
beat, and by what fills the bar. Dotted beats are hidden by whole numbers of them only. Rests are
stricter: they begin on a stronger place than each that they hide, are dotted only where they fill a
dotted beat, and go over beats only where they fill half of a bar. Tuplets are as few and as simple as
say when notes begin.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from math import lcm
from typing import TYPE_CHECKING, NamedTuple

from arranger.errors import SheetError
from arranger.sheet.score.measures import BAR, BEAT, MIDDLE, Metre, strength_in_beat

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.sheet.score.measures import Metre


KINDS = (
    "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th",
    "512th", "1024th",
)  # fmt: skip
"""Names of MusicXML 4.0 (``note-type-value``), each half as long as the one before."""

_LONGEST = Fraction(8)
_SHORTEST = _LONGEST / 2 ** (len(KINDS) - 1)
_LONG = 2 * _LONGEST


class Tuplet(NamedTuple):
    """A stretch in which so many notes take the time of so many others."""

    start: Fraction
    length: Fraction
    actual: int
    normal: int


Span = tuple[Fraction, Fraction]
"""From when to when."""


def kind_of(length: Fraction) -> tuple[str, int] | None:
    """Return the note value and its dots of a length in quarter notes, or None.

    >>> kind_of(Fraction(3, 4)), kind_of(Fraction(5, 4))
    (('eighth', 1), None)
    """
    dots = int(length.numerator % 3 == 0)
    plain = length / 3 * 2 if dots else length
    share = _LONGEST / plain
    if share.denominator > 1 or share.numerator & (share.numerator - 1):
        return None
    place = share.numerator.bit_length() - 1
    return (KINDS[place], dots) if place < len(KINDS) else None


@cache
def split(
    start: Fraction, end: Fraction, metre: Metre, tuplet: Tuplet | None, rest: bool
) -> tuple[Span, ...]:
    """Return the values that a stretch is written in; it lies in a tuplet or outside of all.

    Raises `SheetError` if notation has no value that is so short.
    """
    found = []
    waiting = list(reversed([*_chunks(start, end, metre)]))
    while waiting:
        start, end = waiting.pop()
        hidden = [*_hidden(start, end, metre, tuplet)]
        if _is_value(start, end, hidden, metre, tuplet, rest=rest):
            found.append((start, end))
            continue
        if not hidden or end - start < _SHORTEST:
            raise SheetError(
                "a step is too small a share of a beat for notation",
                remedy="a score has notes down to the 1024th",
            )
        strongest = max(strength for strength, _ in hidden)
        cuts = [at for strength, at in hidden if strength == strongest]
        cut = cuts[-1 if _strength(start, metre, tuplet) >= strongest else 0]
        waiting += [(cut, end), (start, cut)]
    return tuple(found)


def _chunks(start: Fraction, end: Fraction, metre: Metre) -> Iterator[Span]:
    """Yield pieces that aren't longer than what is worth looking at as a whole."""
    while end - start > _LONG:
        beat, _ = metre.beat_at(start + _LONGEST)
        cut = max(beat, start + _LONGEST / 2)
        yield start, cut
        start = cut
    yield start, end


def _strength(time: Fraction, metre: Metre, tuplet: Tuplet | None) -> int:
    if tuplet is None:
        return metre.strength(time)
    return strength_in_beat((time - tuplet.start) % tuplet.length, tuplet.length, tuplet.actual)


def _hidden(
    start: Fraction, end: Fraction, metre: Metre, tuplet: Tuplet | None
) -> Iterator[tuple[int, Fraction]]:
    """Yield the places inside a stretch that notes may begin on, and how strong each is."""
    if tuplet is not None:
        origin, unit = tuplet.start, tuplet.length / tuplet.actual
    else:
        origin, beat = metre.beat_at(start)
        unit = beat / (3 if metre.has_three(beat) else 1)
    fine = unit / max(((each - origin) / unit).denominator for each in (start, end)) / 2
    time = start + fine - (start - origin) % fine
    while time < end:
        strength = _strength(time, metre, tuplet)
        if strength:
            yield strength, time
        time += fine


def _is_value(
    start: Fraction,
    end: Fraction,
    hidden: list[tuple[int, Fraction]],
    metre: Metre,
    tuplet: Tuplet | None,
    *,
    rest: bool,
) -> bool:
    """Return whether a stretch may be written as one value."""
    length = end - start if tuplet is None else (end - start) * tuplet.actual / tuplet.normal
    kind = kind_of(length)
    if kind is None:
        return False
    dotted = kind[1] > 0
    inside = max((strength for strength, _ in hidden), default=0)
    first, last = _strength(start, metre, tuplet), _strength(end, metre, tuplet)
    in_three = tuplet is None and metre.has_three(metre.beat_at(start)[1])
    if rest:
        if inside >= BEAT:
            return inside == BEAT and min(first, last) >= MIDDLE and dotted == in_three
        return first > inside and (not dotted or (in_three and min(first, last) >= BEAT))
    if inside >= MIDDLE:
        return first == BAR and (last == BAR or (dotted and not in_three))
    if inside == BEAT and in_three:
        return min(first, last) >= BEAT and dotted
    if first >= inside or last > inside:
        return True
    middle = (start + end) / 2
    strongest = [at for strength, at in hidden if strength == inside]
    return not dotted and strongest == [middle] and first == last == inside - 1


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

    >>> from arranger.sheet.score.measures import metre_of
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
