"""What stands in a bar beside its notes: clef, key and metre, tempo, rehearsal marks, repeat signs."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement

from arranger.sheet.score.values import kind_of

if TYPE_CHECKING:
    from arranger.sheet.score.clefs import Clef
    from arranger.sheet.score.key import Key
    from arranger.sheet.score.measures import Measure


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


def metre_of(measure: Measure) -> Element:
    """Return the metre that readers are told."""
    assert measure.said is not None  # noqa: S101 -- there is nothing to say then
    written = Element("time") if measure.is_printed else Element("time", {"print-object": "no"})
    add(written, "beats", measure.said[0])
    add(written, "beat-type", measure.said[1])
    return written


def tempo_mark(measure: Measure, asked: float, played: float) -> Element:
    """Return a metronome mark, in whole beats of a measure's metre.

    Parameters
    ----------
    measure
        The one that it stands in.
    asked
        Quarter notes a minute that it says.
    played
        What programs play.
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
