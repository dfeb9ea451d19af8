"""A sheet as MusicXML: two staves for the voices, and a line for the drums if there are any.

music21 writes the file, so it is what notation programs expect. The notes are the sheet's, as
written in its rows: what a drum silences is not left out.

Numbered departures from what is written in the sheet:

1. Tones are cut at bar lines, and where one note value can't express them, and tied.
2. A drum is an unpitched note of one step with the sound's name below it.
3. A hold with nothing before it is a rest.
4. A bar that its metre doesn't fill, or that is too long for it, has a metre of its own that isn't
   printed; the first one is a pickup. Where no metre is that long (a length in triplets), readers
   fill the bar up.
5. Names are made printable, since XML can't hold control characters.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from music21 import clef, duration, layout, metadata, meter, note, stream, tempo, tie
from music21.musicxml.m21ToXml import GeneralObjectExporter
from music21.stream.makeNotation import makeTupletBrackets

from arranger.errors import one_line
from arranger.rows import tone_spans
from arranger.sheet.played import played_steps, step_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from music21.base import Music21Object

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

_MIDDLE_C = 60
_VALUES = tuple(
    sorted(
        {Fraction(value, 4) * dots for value in (16, 8, 4, 2, 1) for dots in (1, Fraction(3, 2))}
        | {Fraction(2**n, 24) for n in range(6)}
        | {Fraction(1, 8), Fraction(1, 16)}
    )
)
"""Lengths in quarter notes that one note can have: plain, dotted and triplets."""

_Span = tuple[int, int, int | str]
"""First step, end step, and what sounds: a pitch or a drum's name."""


def to_musicxml(sheet: Sheet, engine: Engine) -> bytes:
    """Return the sheet as a MusicXML file.

    Raises
    ------
    SheetError
        If the engine can't play the sheet, or a step is no share of a beat that notation has.
    """
    played_steps(sheet, engine)
    length = step_length(sheet, engine)
    bpm = 60.0 * float(sheet.step_beats) / length.seconds
    score = stream.Score()
    score.insert(0, metadata.Metadata(title=one_line(sheet.title)))
    staves: list[stream.PartStaff] = []
    for name, row in (("voice 1", sheet.voice1), ("voice 2", sheet.voice2)):
        spans = list(tone_spans(row))
        pitches = [pitch for _, _, pitch in spans]
        high = not pitches or sum(pitches) >= _MIDDLE_C * len(pitches)
        staff = stream.PartStaff(id=name)
        staff.partName = name
        opening: list[Music21Object] = [clef.TrebleClef() if high else clef.BassClef()]
        if not staves:
            opening.append(tempo.MetronomeMark(number=round(bpm, 2), referent=1.0))
        _fill(staff, sheet, spans, opening)
        staves.append(staff)
    for staff in staves:
        score.insert(0, staff)
    score.insert(0, layout.StaffGroup(staves, symbol="brace", barTogether=True))
    if any(sheet.drums):
        hits = [(at, at + 1, name) for at, name in enumerate(sheet.drums) if name is not None]
        drums = stream.Part(id="drums")
        drums.partName = "drums"
        _fill(drums, sheet, hits, [clef.PercussionClef()])
        score.insert(0, drums)
    for part in score.parts:
        part.makeAccidentals(inPlace=True)
        part.makeBeams(inPlace=True)
        makeTupletBrackets(part, inPlace=True)
    # Its own makeNotation would cut and tie once more, and can't where bars leave their metre.
    exporter = GeneralObjectExporter(score)
    exporter.makeNotation = False
    written: bytes = exporter.parse()
    return written


def export_musicxml(sheet: Sheet, engine: Engine, _options: object) -> bytes:
    """Return the sheet as MusicXML; the exporter of ``--as musicxml``."""
    return to_musicxml(sheet, engine)


class _Piece(NamedTuple):
    """What sounds within a bar: a span, or the part of one between two bar lines."""

    start: int
    end: int
    what: int | str | None
    tied_from: bool
    tied_to: bool


def _by_bar(spans: Sequence[_Span], sheet: Sheet) -> Iterator[list[_Piece]]:
    """Yield the pieces of each bar, rests included; they fill it."""
    waiting = [_Piece(*span, tied_from=False, tied_to=False) for span in reversed(spans)]
    at = 0
    for bar in sheet.bars:
        bar_end = at + bar.steps
        pieces: list[_Piece] = []
        while waiting and waiting[-1].start < bar_end:
            piece = waiting.pop()
            if piece.start > at:
                pieces.append(_Piece(at, piece.start, None, tied_from=False, tied_to=False))
            if piece.end > bar_end:
                waiting.append(piece._replace(start=bar_end, tied_from=True))
                piece = piece._replace(end=bar_end, tied_to=True)
            pieces.append(piece)
            at = piece.end
        if at < bar_end:
            pieces.append(_Piece(at, bar_end, None, tied_from=False, tied_to=False))
            at = bar_end
        yield pieces


def _fill(
    staff: stream.Part, sheet: Sheet, spans: Sequence[_Span], opening: Sequence[Music21Object]
) -> None:
    """Write spans into measures; the first one has the opening signs."""
    written: tuple[int, int] | None = None
    for bar, pieces in zip(sheet.bars, _by_bar(spans, sheet), strict=True):
        measure = stream.Measure(number=bar.number)
        full = Fraction(4 * bar.numerator, bar.denominator)
        length = bar.steps * sheet.step_beats
        metre: tuple[int, int] | None = (bar.numerator, bar.denominator)
        if written is None:
            for sign in opening:
                measure.insert(0, sign)
            if length < full:
                measure.paddingLeft = full - length
        if length != full and not (written is None and length < full):
            metre = _metre_of(length)
        if metre is not None and metre != written and not metre[1] & (metre[1] - 1):
            signature = meter.TimeSignature(f"{metre[0]}/{metre[1]}")
            signature.style.hideObjectOnPrint = metre != (bar.numerator, bar.denominator)
            measure.insert(0, signature)
            written = metre
        for piece in pieces:
            for value in _notes(piece, sheet.step_beats):
                measure.append(value)
        staff.append(measure)


def _metre_of(length: Fraction) -> tuple[int, int] | None:
    """Return a metre whose bars are so many quarter notes long; None if none is."""
    whole = length / 4
    if whole.denominator & (whole.denominator - 1):
        return None
    scale = max(1, 4 // whole.denominator)
    return whole.numerator * scale, whole.denominator * scale


def _notes(piece: _Piece, step_beats: Fraction) -> Iterator[note.GeneralNote]:
    """Yield the notes that write a piece, tied together, or rests."""
    lengths = _values((piece.end - piece.start) * step_beats, step_beats)
    for index, length in enumerate(lengths):
        written: note.GeneralNote
        if piece.what is None:
            written = note.Rest()
        elif isinstance(piece.what, str):
            written = note.Unpitched()
            written.lyric = piece.what
        else:
            written = note.Note(piece.what)
        before = index > 0 or piece.tied_from
        after = index + 1 < len(lengths) or piece.tied_to
        if piece.what is not None and (before or after):
            written.tie = tie.Tie("continue" if before and after else "stop" if before else "start")
        written.duration = duration.Duration(length)
        yield written


def _values(length: Fraction, step_beats: Fraction) -> list[Fraction]:
    """Return lengths that add up to one, each a value that a note can have.

    Largest first, among the values that are whole numbers of steps.
    """
    values = [value for value in _VALUES if (value / step_beats).denominator == 1]
    if step_beats not in values:
        values = [step_beats * 2**n for n in range(6)]
    found: list[Fraction] = []
    left = length
    while left:
        value = max(value for value in values if value <= left)
        found.append(value)
        left -= value
    return found
