"""A row of the sheet as bars of note values: tones tied over bar lines and beats, rests between, beams.

Eighths and shorter notes of one beat hang together.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from arranger.sheet.score.note_values import KINDS, Tuplet, find_tuplets, kind_of, split

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from arranger.sheet.score.measures import Measure, Metre


class Sound(NamedTuple):
    """Something that sounds from one step to another."""

    start: int
    end: int
    what: int
    """Which it is: its place among all of its voice."""


class Value(NamedTuple):
    """A note or a rest as it is written. Times are quarter notes, as in `Metre`."""

    start: Fraction
    end: Fraction
    what: int | None
    """What sounds; None: it is a rest."""
    tied_from: bool = False
    tied_to: bool = False
    kind: str = ""
    """Of `KINDS`; "" for a rest that fills its bar."""
    dots: int = 0
    tuplet: Tuplet | None = None


class ScoreBar(NamedTuple):
    """One measure of a voice."""

    measure: Measure
    values: tuple[Value, ...]
    """They fill it."""


def write_tones(
    tones: Sequence[Sound], measures: Sequence[Measure], step: Fraction
) -> list[ScoreBar]:
    """Return the bars of a voice, in which each tone sounds to its end."""
    found = []
    for measure, spans in _by_measure(tones, measures, step):
        cuts = {at for span in spans for at in span[:2]}
        found.append(_bar(measure, spans, _tuplets(cuts, measure)))
    return found


def write_hits(
    hits: Sequence[Sound], measures: Sequence[Measure], step: Fraction
) -> list[ScoreBar]:
    """Return the bars of the drums: one value for each hit, to the next one or the end of its beat.

    That is common practice (no source): how long a drum rings isn't written.
    """
    found = []
    for measure, spans in _by_measure(hits, measures, step):
        metre = measure.metre
        onsets = [span.start for span in spans]
        ends = [
            min(later, sum(metre.beat_at(at), Fraction(0)))
            for at, later in zip(onsets, [*onsets[1:], measure.end], strict=False)
        ]
        tuplets = _tuplets({*onsets, *ends}, measure)
        cut = []
        for span, limit in zip(spans, ends, strict=True):
            inside = next((each for each in tuplets if _is_in(span.start, each)), None)
            last = min(limit, inside.start + inside.length) if inside else limit
            last = min([last, *(each.start for each in tuplets if each.start > span.start)])
            value = split(span.start, last, metre, inside, rest=False)[0]
            cut.append(span._replace(end=value[1]))
        found.append(_bar(measure, cut, tuplets))
    return found


def _tuplets(cuts: set[Fraction], measure: Measure) -> tuple[Tuplet, ...]:
    edges = sorted({*cuts, measure.start, measure.end})
    return find_tuplets(edges, measure.start, measure.end, measure.metre)


def _by_measure(
    sounding: Sequence[Sound], measures: Sequence[Measure], step: Fraction
) -> Iterator[tuple[Measure, list[Value]]]:
    """Yield what sounds in each measure, cut at the bar lines."""
    waiting = list(reversed(sounding))
    for measure in measures:
        first, last = measure.first_step, measure.first_step + measure.steps
        spans: list[Value] = []
        while waiting and waiting[-1].start < last:
            each = waiting.pop()
            from_step, to_step = max(each.start, first), min(each.end, last)
            spans.append(
                Value(
                    measure.start + (from_step - first) * step,
                    measure.start + (to_step - first) * step,
                    each.what,
                    tied_from=each.start < first,
                    tied_to=each.end > last,
                )
            )
            if each.end > last:
                waiting.append(each)
                break
        yield measure, spans


def _bar(measure: Measure, spans: Sequence[Value], tuplets: Sequence[Tuplet]) -> ScoreBar:
    """Return a measure of notes with rests between them."""
    length = measure.end - measure.start
    said = measure.said
    if not spans and said and length == Fraction(4 * said[0], said[1]):
        return ScoreBar(measure, (Value(measure.start, measure.end, None),))
    values: list[Value] = []
    at = measure.start
    for span in spans:
        if at < span.start:
            values += _values(Value(at, span.start, None), measure.metre, tuplets)
        values += _values(span, measure.metre, tuplets)
        at = span.end
    if at < measure.end:
        values += _values(Value(at, measure.end, None), measure.metre, tuplets)
    return ScoreBar(measure, tuple(values))


def _is_in(time: Fraction, tuplet: Tuplet) -> bool:
    return tuplet.start <= time < tuplet.start + tuplet.length


def _values(span: Value, metre: Metre, tuplets: Sequence[Tuplet]) -> Iterator[Value]:
    """Yield the values of a span: cut at the ends of tuplets, then as notation splits them."""
    edges = {edge for each in tuplets for edge in (each.start, each.start + each.length)}
    inner = sorted(edge for edge in edges if span.start < edge < span.end)
    for start, end in zip([span.start, *inner], [*inner, span.end], strict=True):
        tuplet = next((each for each in tuplets if _is_in(start, each)), None)
        for first, last in split(start, end, metre, tuplet, rest=span.what is None):
            share = Fraction(tuplet.actual, tuplet.normal) if tuplet else 1
            kind = kind_of((last - first) * share)
            assert kind is not None  # noqa: S101 -- split makes nothing else
            yield Value(
                first,
                last,
                span.what,
                tied_from=span.what is not None and (span.tied_from or first > span.start),
                tied_to=span.what is not None and (span.tied_to or last < span.end),
                kind=kind[0],
                dots=kind[1],
                tuplet=tuplet,
            )


_FLAGS = {kind: flags for flags, kind in enumerate(KINDS[KINDS.index("eighth") :], 1)}


def beams_of(bar: ScoreBar) -> list[tuple[str, ...]]:
    """Return the beams of each value of a bar, from the outermost one, as MusicXML calls them."""
    found: list[tuple[str, ...]] = []
    for (_, flagged), group in groupby(bar.values, lambda value: _group(bar, value)):
        values = list(group)
        if flagged and len(values) > 1:
            found += [_beams(bar, values, index) for index in range(len(values))]
        else:
            found += [()] * len(values)
    return found


def _group(bar: ScoreBar, value: Value) -> tuple[object, bool]:
    """Return what notes under one beam share, and whether the value can have a beam.

    They share a beat. What isn't beamed as a whole shares a tuplet, since no beam may reach out of it:
    in some readers, verovio's among them, one of the two has to be in the other.
    """
    beat = bar.measure.metre.beat_at(value.start)
    if value.tuplet is not None:
        inside = [each for each in bar.values if each.tuplet == value.tuplet]
        if value.tuplet.length > beat[1] or not all(map(_is_flagged, inside)):
            return value.tuplet, _is_flagged(value)
    return beat, _is_flagged(value)


def _is_flagged(value: Value) -> bool:
    return value.what is not None and value.kind in _FLAGS


def _beams(bar: ScoreBar, values: Sequence[Value], index: int) -> tuple[str, ...]:
    """Return the beams of one of the values under a beam."""
    found = []
    for level in range(1, _FLAGS[values[index].kind] + 1):
        before = index > 0 and _FLAGS[values[index - 1].kind] >= level
        after = index + 1 < len(values) and _FLAGS[values[index + 1].kind] >= level
        if before or after:
            found.append("continue" if before and after else "end" if before else "begin")
        else:
            value = values[index]
            ahead = bar.measure.metre.strength(value.start) > bar.measure.metre.strength(value.end)
            last = index + 1 == len(values)
            found.append("forward hook" if index == 0 or (ahead and not last) else "backward hook")
    return tuple(found)
