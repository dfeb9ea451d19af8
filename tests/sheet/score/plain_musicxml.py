"""A second reading of MusicXML: what sounds, and whether what is drawn says the same."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator
    from xml.etree.ElementTree import Element

LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SIGNS = {"flat-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}
KINDS = ["whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th"]
KINDS += ["512th", "1024th"]


class Read(NamedTuple):
    """A note, or with ties several as one; times in quarter notes."""

    start: Fraction
    end: Fraction
    what: object
    """A MIDI number, or place and instrument of a drum."""


def read_part(part: Element) -> list[Read]:
    """Return the notes of a part in order; everything that is drawn is compared with it."""
    found: list[Read] = []
    now = Fraction(0)
    sharps = 0
    for measure in part.findall("measure"):
        sharps = int(measure.findtext("attributes/key/fifths") or sharps)
        notes = list(_timed(measure, now, int(part.findtext(".//divisions"))))
        said: dict[str, int] = {}
        for start, end, note in notes:
            what = _what(note)
            ties = [tie.get("type") for tie in note.findall("tie")]
            assert ties == [tie.get("type") for tie in note.findall("notations/tied")]
            if "stop" in ties:
                assert found[-1][1:] == (start, what)
                found[-1] = found[-1]._replace(end=end)
            elif what is not None:
                found.append(Read(start, end, what))
            if isinstance(what, int):
                _check_accidental(note, said, sharps, tied="stop" in ties)
        for voice in ("1", "2"):
            _check_beams([n for *_, n in notes if n.findtext("voice") == voice])
            _check_tuplets([n for *_, n in notes if n.findtext("voice") == voice])
        now = max(end for _, end, _ in notes)
    return sorted(found, key=lambda each: (each.start, str(each.what)))


def drawn_length(note: Element) -> Fraction:
    """Return how long a note is by its head, flags, dots and tuplet."""
    kind = note.findtext("type")
    plain = Fraction(8) if kind == "breve" else Fraction(4, 2 ** KINDS.index(kind))
    length = plain * (2 - Fraction(1, 2 ** len(note.findall("dot"))))
    if (ratio := note.find("time-modification")) is not None:
        length *= Fraction(int(ratio.findtext("normal-notes")), int(ratio.findtext("actual-notes")))
    return length


def _timed(
    measure: Element, now: Fraction, divisions: int
) -> Iterator[tuple[Fraction, Fraction, Element]]:
    at = now
    for each in measure:
        length = Fraction(each.findtext("duration") or 0) / divisions
        if each.tag == "backup":
            at -= length
            assert at == now
        elif each.tag == "note":
            assert length > 0
            if each.find("type") is not None:
                assert drawn_length(each) == length
            else:
                assert each.find("rest").get("measure") == "yes"
            if each.find("chord") is not None:
                at -= length
            yield at, at + length, each
            at += length


def _what(note: Element) -> object:
    if (pitch := note.find("pitch")) is not None:
        octave = int(pitch.findtext("octave")) + 1
        alter = int(pitch.findtext("alter") or 0)
        return 12 * octave + LETTERS[pitch.findtext("step")] + alter
    if (drum := note.find("unpitched")) is not None:
        place = f"{drum.findtext('display-step')}{drum.findtext('display-octave')}"
        return place, note.find("instrument").get("id")
    return None


def _check_accidental(note: Element, said: dict[str, int], sharps: int, *, tied: bool) -> None:
    """Compare how far a note is altered with what is drawn in the bar, or else the signature."""
    letter, octave = note.findtext("pitch/step"), note.findtext("pitch/octave")
    order = "FCGDAEB" if sharps > 0 else "BEADGCF"
    in_signature = (1 if sharps > 0 else -1) * (letter in order[: abs(sharps)])
    before = said.get(letter + octave, in_signature)
    alter = int(note.findtext("pitch/alter") or 0)
    drawn = note.findtext("accidental")
    if tied:
        assert drawn is None
        return
    assert alter == (before if drawn is None else SIGNS[drawn])
    assert drawn is None or before != alter, "a needless accidental"
    said[letter + octave] = alter


def _check_beams(notes: list[Element]) -> None:
    """See that each beam begins, goes on and ends, and that a note has as many as flags."""
    open_beams = 0
    for note in notes:
        if note.find("chord") is not None:
            continue
        kinds = [beam.text for beam in note.findall("beam")]
        if not kinds:
            assert open_beams == 0
            continue
        assert len(kinds) == KINDS.index(note.findtext("type")) - KINDS.index("quarter")
        for level, kind in enumerate(kinds):
            assert (kind in ("continue", "end")) == (level < open_beams)
        open_beams = sum(kind in ("begin", "continue") for kind in kinds)
    assert open_beams == 0


def _check_tuplets(notes: list[Element]) -> None:
    """See that tuplets start and stop, with one ratio inside and none outside, and nest with beams."""
    inside, members, reached_in = None, [], False
    for note in notes:
        if note.find("chord") is not None:
            continue
        ratio = note.find("time-modification")
        said = None if ratio is None else tuple(each.text for each in ratio)
        edges = [each.get("type") for each in note.findall("notations/tuplet")]
        beam = note.findtext("beam")
        unbracketed = note.find("notations/tuplet[@bracket='no']") is not None
        assert beam or not unbracketed, "nothing shows what the tuplet holds"
        if "start" in edges:
            assert inside is None
            inside, members, reached_in = said, [], beam in ("continue", "end")
        assert said == inside
        members.append(beam)
        if "stop" in edges:
            reaches_out = beam in ("begin", "continue")
            assert all(members) or not (reached_in or reaches_out)
            inside = None
    assert inside is None
