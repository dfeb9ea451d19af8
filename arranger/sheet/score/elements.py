"""Elements of MusicXML 4.0, their children in the order that it asks for.

Notes and rests; and what stands in a bar beside them: clef, key and metre, tempo, marks, repeat signs.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement

from arranger.sheet.score.note_values import kind_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from arranger.sheet.score.clefs import Clef
    from arranger.sheet.score.drums import Stroke
    from arranger.sheet.score.key import Key
    from arranger.sheet.score.measures import Measure
    from arranger.sheet.score.score_bars import ScoreBar, Value
    from arranger.sheet.score.spelling import Name


def add(parent: Element, tag: str, text: object) -> None:
    """Add an element with a text."""
    SubElement(parent, tag).text = str(text)


def clef_of(clef: Clef | None) -> Element:
    """Return a clef; None is that of drums."""
    written = Element("clef")
    add(written, "sign", clef.sign if clef else "percussion")
    if clef:
        add(written, "line", clef.line)
        if clef.octave:
            add(written, "clef-octave-change", clef.octave)
    return written


def key_of(key: Key) -> Element:
    """Return a key signature."""
    written = Element("key")
    add(written, "fifths", key.sharps)
    add(written, "mode", "minor" if key.minor else "major")
    return written


def metre_element(measure: Measure) -> Element:
    """Return the metre that readers are told."""
    assert measure.said is not None  # noqa: S101 -- there is nothing to say then
    written = Element("time") if measure.is_printed else Element("time", {"print-object": "no"})
    add(written, "beats", measure.said[0])
    add(written, "beat-type", measure.said[1])
    return written


def tempo_mark(measure: Measure, asked: float, played: float) -> Element:
    """Return a metronome mark, in whole beats of a measure's metre.

    ``measure``: the one that it stands in.
    ``asked``: quarter notes a minute that it says.
    ``played``: what programs play.
    """
    beat = measure.metre.beats[0]
    kind = kind_of(beat)
    if kind is None:
        beat, kind = Fraction(1), ("quarter", 0)
    direction, inside = _direction()
    mark = SubElement(inside, "metronome")
    add(mark, "beat-unit", kind[0])
    for _ in range(kind[1]):
        SubElement(mark, "beat-unit-dot")
    add(mark, "per-minute", max(round(asked / float(beat)), 1))
    SubElement(direction, "sound", tempo=f"{played:.6g}")
    return direction


def rehearsal_mark(section: str) -> Element:
    """Return the mark of a section that begins."""
    direction, inside = _direction()
    add(inside, "rehearsal", section)
    return direction


def words(text: str) -> Element:
    """Return words above the staff."""
    direction, inside = _direction()
    add(inside, "words", text)
    return direction


def barline(*, repeat: str = "") -> Element:
    """Return a repeat sign, "forward" or "backward"; without one it is the end of the piece."""
    forward = repeat == "forward"
    written = Element("barline", location="left" if forward else "right")
    add(written, "bar-style", "heavy-light" if forward else "light-heavy")
    if repeat:
        SubElement(written, "repeat", direction=repeat)
    return written


def double_barline() -> Element:
    """Return what stands before a change of key."""
    written = Element("barline", location="right")
    add(written, "bar-style", "light-light")
    return written


def _direction() -> tuple[Element, Element]:
    """Return a direction above the staff, and where what it says belongs."""
    direction = Element("direction", placement="above")
    return direction, SubElement(direction, "direction-type")


ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


def rest(value: Value, bar: ScoreBar, divisions: int, voice: int = 1) -> Element:
    """Return a rest."""
    note = Element("note")
    written = SubElement(note, "rest")
    if not value.kind:
        written.set("measure", "yes")
    _add_length(note, value, divisions)
    _add_kind(note, value, voice)
    _add_notations(note, value, bar, ())
    return note


def tone(
    value: Value, name: Name, bar: ScoreBar, divisions: int, beams: Sequence[str], *, shown: bool
) -> Element:
    """Return a note of a voice; its accidental is written if it is to be shown."""
    note = Element("note")
    pitch = SubElement(note, "pitch")
    add(pitch, "step", name.letter)
    if name.alter:
        add(pitch, "alter", name.alter)
    add(pitch, "octave", name.octave)
    ties = [kind for kind, tied in (("stop", value.tied_from), ("start", value.tied_to)) if tied]
    _add_length(note, value, divisions)
    for kind in ties:
        SubElement(note, "tie", type=kind)
    _add_kind(note, value, 1, ACCIDENTALS[name.alter] if shown else "")
    _add_beams(note, beams)
    _add_notations(note, value, bar, ties)
    return note


def hit(
    value: Value,
    strokes: Sequence[Stroke],
    bar: ScoreBar,
    divisions: int,
    beams: Sequence[str],
    voice: int,
) -> list[Element]:
    """Return the notes of drums that are struck at once; voice 1 has its stems up, 2 down."""
    notes = []
    for place, stroke in enumerate(strokes):
        note = Element("note")
        if place:
            SubElement(note, "chord")
        unpitched = SubElement(note, "unpitched")
        add(unpitched, "display-step", stroke.letter)
        add(unpitched, "display-octave", stroke.octave)
        _add_length(note, value, divisions)
        SubElement(note, "instrument", id=instrument_of(stroke))
        _add_kind(note, value, voice)
        add(note, "stem", "up" if voice == 1 else "down")
        if stroke.head != "normal":
            add(note, "notehead", stroke.head)
        if not place:
            _add_beams(note, beams)
            _add_notations(note, value, bar, ())
        notes.append(note)
    return notes


def backup(bar: ScoreBar, divisions: int) -> Element:
    """Return the way back to the beginning of a bar, for another voice."""
    found = Element("backup")
    add(found, "duration", (bar.measure.end - bar.measure.start) * divisions)
    return found


def instrument_of(stroke: Stroke) -> str:
    """Return how the instrument of a drum is referred to."""
    return f"drum-{stroke.name}"


def _add_length(note: Element, value: Value, divisions: int) -> None:
    add(note, "duration", (value.end - value.start) * divisions)


def _add_kind(note: Element, value: Value, voice: int, accidental: str = "") -> None:
    """Add voice, note value, dots, accidental and the ratio of a tuplet."""
    add(note, "voice", voice)
    if value.kind:
        add(note, "type", value.kind)
    for _ in range(value.dots):
        SubElement(note, "dot")
    if accidental:
        add(note, "accidental", accidental)
    if value.tuplet is not None:
        ratio = SubElement(note, "time-modification")
        add(ratio, "actual-notes", value.tuplet.actual)
        add(ratio, "normal-notes", value.tuplet.normal)


def _add_beams(note: Element, beams: Sequence[str]) -> None:
    for number, beam in enumerate(beams, 1):
        SubElement(note, "beam", number=str(number)).text = beam


def _add_notations(note: Element, value: Value, bar: ScoreBar, ties: Sequence[str]) -> None:
    """Add ties, and where a tuplet starts or stops; a bracket unless one beam has all of it."""
    edges: list[Element] = [Element("tied", type=kind) for kind in ties]
    if value.tuplet is not None:
        inside = [each for each in bar.values if each.tuplet == value.tuplet]
        if value == inside[0]:
            beamed = all(each.what is not None and each.kind not in _UNBEAMED for each in inside)
            bracket = "no" if beamed and len(inside) > 1 else "yes"
            edges.append(Element("tuplet", type="start", bracket=bracket))
        if value == inside[-1]:
            edges.append(Element("tuplet", type="stop"))
    if edges:
        SubElement(note, "notations").extend(edges)


_UNBEAMED = ("breve", "whole", "half", "quarter")
